"""What the host is given of a plan in changing wind: every order at its own place, once."""

from changing_winds import DEPARTURE, turning
from conftest import SAMPLES
from goosewing.exchange.gpx.marks import read_marks
from goosewing.live.core.state import Route
from goosewing.live.host.signalk import resources
from goosewing.options import Options
from goosewing.plan import make


def test_an_order_along_a_board_is_no_second_turn_at_its_beginning(brisvik):
    marks = read_marks(SAMPLES / "kattegat.gpx").marks
    made = make(marks, brisvik, turning(9.0, 240.0, 12.0), DEPARTURE, Options(watch_h=1.0))
    boards = [board for leg in made.legs for board in leg.boards]
    later = [order for board in boards for order in board.orders[1:]]
    assert later
    found = resources(made, Route(id="r", name="Round", marks=marks))
    (route,) = (
        each
        for (kind, _), each in found.items()
        if kind == "routes" and each["feature"]["properties"]["role"] == "plan"
    )
    told = route["feature"]["properties"]["coordinatesMeta"]
    places = route["feature"]["geometry"]["coordinates"]
    for order in later:
        (at,) = (number for number, each in enumerate(told) if each["name"] == order.point)
        assert places[at] == [round(order.lon, 7), round(order.lat, 7)]
        assert told[at]["description"].startswith("alter course, on ")
        assert f"steer {round(order.heading_deg) % 360:03d}°" in told[at]["description"]
    turns = [each for (kind, _), each in found.items() if kind == "waypoints"]
    for order in later:
        (turn,) = (each for each in turns if each["name"] == order.point)
        assert turn["feature"]["geometry"]["coordinates"] == [
            round(order.lon, 7), round(order.lat, 7),
        ]  # fmt: skip
