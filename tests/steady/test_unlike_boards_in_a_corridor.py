"""Boards of two kinds that alternate in a corridor: each is sailed as it is drawn."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic

from goosewing.boat.read import read_boat
from goosewing.options import Options
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.weather.steady import SteadyWeather

BRISVIK = Path(__file__).parents[2] / "sample_routes" / "brisvik" / "boat.toml"
DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)
START, END = Mark(name="A", lat=56.72, lon=11.85), Mark(name="B", lat=56.47, lon=12.10)
"""It bears 151°: with the wind from 315° a reach and wing-and-wing on the same tack."""


@pytest.mark.parametrize("margin_deg", [0.0, 5.0])
@pytest.mark.parametrize("corridor_nm", [0.4, 0.6, 0.8, 1.0, 1.5])
@pytest.mark.parametrize("from_deg", [315.0, 325.0, 345.0])
def test_course_and_speed_are_those_between_the_ends(from_deg, corridor_nm, margin_deg):
    made = make(
        (START, END), read_boat(BRISVIK), SteadyWeather(from_deg, 10.0), DEPARTURE,
        Options(corridor_nm=corridor_nm, margin_deg=margin_deg),
    )  # fmt: skip
    boards = made.legs[0].boards
    for board in boards:
        line = Geodesic.WGS84.Inverse(
            board.start.lat, board.start.lon, board.end.lat, board.end.lon
        )
        # Half-way a geodesic of a few miles runs as the loxodrome does.
        course = (line["azi1"] + line["azi2"]) / 2.0
        off = (course - board.course_over_ground_deg + 180.0) % 360.0 - 180.0
        assert abs(off) < 0.01
        assert line["s12"] / 1852.0 / board.elapsed_h == pytest.approx(
            board.speed_over_ground_kn, rel=1e-4
        )
        track = board.twd_deg + (1 if board.tack == "port" else -1) * (
            board.twa_deg + board.leeway_deg
        )
        assert abs((track - course + 180.0) % 360.0 - 180.0) < 0.01


def test_such_boards_occur():
    made = make(
        (START, END), read_boat(BRISVIK), SteadyWeather(315.0, 10.0), DEPARTURE,
        Options(corridor_nm=1.0),
    )  # fmt: skip
    boards = made.legs[0].boards
    assert len(boards) > 2
    assert len({board.poled for board in boards}) == 2
