"""Courses round the buoys: the string rule by winding about each mark, lines, gates and laps."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import gpxpy
import numpy as np
import pynmea2
import pytest

from goosewing.errors import InputError
from goosewing.exchange.gpx.marks import parse_marks
from goosewing.exchange.gpx.plans import format_plan
from goosewing.exchange.handheld.plans import fit_plan
from goosewing.exchange.nmea import routes as nmea
from goosewing.live.host import signalk
from goosewing.marks import from_here
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.weather.steady import SteadyWeather

DEPARTURE = datetime(2027, 6, 1, 6, 0, tzinfo=UTC)
OFF_NM = 0.03
WINDS = tuple(range(0, 360, 18))


def at(name, east_nm, north_nm, **about):
    lat = 57.0 + north_nm / 60.0
    return Mark(
        name=name, lat=lat, lon=11.0 + east_nm / 60.0 / math.cos(math.radians(57.0)), **about
    )


def left(name, east_nm, north_nm, side="port"):
    return at(name, east_nm, north_nm, leave=side, leave_distance_nm=OFF_NM)


def line(name, port, starboard):
    return [at(f"{name} (port end)", *port), at(f"{name} (starboard end)", *starboard)]


def planned(boat, marks, wind=0.0, kn=10.0):
    return make(marks, boat, SteadyWeather(wind, kn), DEPARTURE)


def winding_deg(plan, number):
    """Sum of the angles that the boards' ends subtend at a mark, on a flat sea of a few miles.

    From the mark before to the mark after; straight between, which no board of a few miles
    is off by a metre.
    """
    mark = plan.marks[number]
    boards = [board for leg in plan.legs[number - 1 : number + 1] for board in leg.boards]
    fixes = [boards[0].start, *(board.end for board in boards)]
    x = np.array([(fix.lon - mark.lon) * math.cos(math.radians(57.0)) for fix in fixes])
    y = np.array([fix.lat - mark.lat for fix in fixes])
    share = np.linspace(0.0, 1.0, 50)[:, np.newaxis]
    x = (x[:-1] + share * np.diff(x)).T.ravel()
    y = (y[:-1] + share * np.diff(y)).T.ravel()
    return math.degrees(float(np.sum((np.diff(np.arctan2(x, y)) + np.pi) % (2 * np.pi) - np.pi)))


def string_deg(plan, number):
    """What a string to the marks beside it winds about a mark that it touches: a circle, more or
    less by the angle between the two legs (Racing Rules of Sailing, definition of "Sail the
    Course": drawn taut it touches each rounding mark; from memory)."""
    before, mark, after = plan.marks[number - 1 : number + 2]

    def bearing(a, b):
        east = (b.lon - a.lon) * math.cos(math.radians(57.0))
        return math.degrees(math.atan2(east, b.lat - a.lat))

    turn = (bearing(mark, after) - bearing(before, mark)) % 360.0
    if mark.leave == "port":
        # Towards port, that is anticlockwise, all of the turn.
        return (turn - 360.0 if turn else 0.0) - 180.0
    return turn + 180.0


def check_string(plan):
    for number, mark in enumerate(plan.marks[1:-1], 1):
        if mark.leave is None:
            continue
        # The string itself touches marks off their places: a few degrees at these distances.
        assert winding_deg(plan, number) == pytest.approx(string_deg(plan, number), abs=25.0)


def windward_leeward(aside_nm, laps):
    marks = [at("Start", 0.0, 0.0)]
    for lap in range(laps):
        marks.append(left("Windward", 0.0, 1.5))
        if lap + 1 < laps:
            marks.append(left("Leeward", 0.0, 0.1))
    return [*marks, at("Finish", aside_nm, 0.0)]


@pytest.mark.long
@pytest.mark.parametrize("laps", [1, 2])
@pytest.mark.parametrize("aside_nm", [0.0, 0.05, -0.05, 0.3, -0.3])
def test_windward_and_leeward_marks_are_rounded_in_every_wind(brisvik, aside_nm, laps):
    for wind in WINDS[:: 1 if laps == 1 else 4]:
        check_string(planned(brisvik, windward_leeward(aside_nm, laps), wind))


def test_a_windward_mark_to_port_is_rounded_though_the_finish_lies_to_starboard_of_it(brisvik):
    plan = planned(brisvik, windward_leeward(0.05, 1))
    # Once round and the two degrees by which the finish lies off.
    assert winding_deg(plan, 1) == pytest.approx(-361.9, abs=1.5)


@pytest.mark.parametrize("side", ["port", "starboard"])
def test_a_triangle_is_rounded_on_its_own_hand_in_every_wind(brisvik, side):
    across = -0.8 if side == "port" else 0.8
    marks = [
        at("Start", 0.0, 0.0), left("Windward", 0.0, 1.5, side), left("Wing", across, 0.75, side),
        left("Leeward", 0.0, 0.1, side), at("Finish", 0.0, 1.4),
    ]  # fmt: skip
    for wind in WINDS:
        check_string(planned(brisvik, marks, wind))


def test_who_says_a_mark_is_not_rounded_is_heard(brisvik):
    marks = windward_leeward(0.3, 1)
    plan = planned(brisvik, [marks[0], replace(marks[1], rounding=False), marks[2]])
    assert winding_deg(plan, 1) > -180.0


# ---- lines and gates -------------------------------------------------------------------------


def gate_course(laps=2, gate_east=(-0.05, 0.05), tilt_nm=0.0):
    # Looking downwind, as she comes, the port mark of the gate lies to the east.
    marks = line("Start", (-0.1, -tilt_nm), (0.1, tilt_nm))
    for lap in range(laps):
        marks.append(left("Windward", 0.0, 1.5))
        if lap + 1 < laps:
            marks += line("Gate", (gate_east[1], 0.2), (gate_east[0], 0.2))
    return [*marks, *line("Finish", (0.1, 0.0), (-0.1, 0.0))]


@pytest.mark.long
@pytest.mark.parametrize("wind", WINDS[::4])
def test_of_a_gate_one_mark_is_rounded_on_its_hand_between_the_two(brisvik, wind):
    plan = planned(brisvik, gate_course(), wind)
    gate = plan.marks[2]
    assert gate.name == "Gate"
    port, starboard = (end for end in (plan.lines[1].port, plan.lines[1].starboard))
    assert (gate.lat, gate.lon) == ((port if gate.leave == "port" else starboard).lat,
                                    (port if gate.leave == "port" else starboard).lon)  # fmt: skip
    check_string(plan)
    # She passes between the two: over the straight line that joins them, from north to south.
    boards = [board for leg in plan.legs[1:3] for board in leg.boards]
    crossings = []
    for board in boards:
        (y1, x1), (y2, x2) = ((fix.lat, fix.lon) for fix in (board.start, board.end))
        if y1 > port.lat >= y2:
            crossings.append(x1 + (y1 - port.lat) / (y1 - y2) * (x2 - x1))
    assert any(starboard.lon < lon < port.lon for lon in crossings)


@pytest.mark.long
def test_the_faster_mark_of_a_gate_is_chosen(brisvik):
    plan = planned(brisvik, gate_course(), 20.0)
    chosen = plan.marks[2].leave
    assert plan.lines[1].favoured == chosen
    for end in ("port", "starboard"):
        alone = [m for m in gate_course() if not m.name.startswith("Gate")]
        mark = next(m for m in gate_course() if m.name == f"Gate ({end} end)")
        alone.insert(3, replace(mark, name="Alone", leave=end, leave_distance_nm=0.01))
        assert plan.elapsed_h <= planned(brisvik, alone, 20.0).elapsed_h + 1e-9


@pytest.mark.parametrize(("tilt_nm", "end"), [(0.02, "starboard"), (-0.02, "port")])
def test_the_end_nearer_to_the_wind_is_favoured_by_what_it_gains(brisvik, tilt_nm, end):
    marks = [*line("Start", (-0.1, -tilt_nm), (0.1, tilt_nm)), at("Windward", 0.0, 2.0)]
    plan = planned(brisvik, marks)
    start = plan.lines[0]
    assert start.favoured == end
    assert start.bias_deg == pytest.approx(math.degrees(math.atan(0.2)), abs=0.1)
    # Made good to windward: four cables over the line's ends, nine metres inside each.
    ends = [start.port, start.starboard]
    hours = [
        planned(
            brisvik, [replace(each, name="Start", line=None, line_end=None), marks[-1]]
        ).elapsed_h
        for each in ends
    ]
    assert start.gain_s == pytest.approx(abs(hours[1] - hours[0]) * 3600.0, rel=0.12)
    assert any(f"the {end} end is favoured: 11° off square" in said for said in plan.notices)


def test_a_line_square_to_the_wind_has_no_favoured_end(brisvik):
    marks = [*line("Start", (-0.1, 0.0), (0.1, 0.0)), at("Windward", 0.0, 2.0)]
    plan = planned(brisvik, marks)
    assert plan.lines[0].bias_deg == pytest.approx(0.0, abs=0.1)
    assert plan.lines[0].gain_s < 3.0


def test_an_end_alone_is_refused(brisvik):
    with pytest.raises(InputError, match=r"Start \(port end\) has no other end beside it"):
        planned(brisvik, [at("Start (port end)", 0.0, 0.0), at("B", 0.0, 2.0)])


# ---- in and out of files, laps ---------------------------------------------------------------

GPX = """<gpx version="1.1" creator="hand" xmlns="http://www.topografix.com/GPX/1/1"
 xmlns:goose="urn:goosewing:gpx:1"><rte>
<rtept lat="57" lon="11"><name>Pin</name>
 <extensions><goose:line name="Start" end="port"/></extensions></rtept>
<rtept lat="57" lon="11.003"><name>Boat</name>
 <extensions><goose:line name="Start" end="starboard"/></extensions></rtept>
<rtept lat="57.025" lon="11.0015"><name>Windward</name><desc>leave to port</desc>
 <extensions><goose:leave side="port" distance_nm="0.03" rounding="yes"/></extensions></rtept>
<rtept lat="57" lon="11.002"><name>Finish</name></rtept></rte></gpx>"""


def test_lines_and_roundings_are_read_and_written(brisvik):
    read = parse_marks(GPX.encode()).marks
    assert [(m.line, m.line_end) for m in read[:2]] == [("Start", "port"), ("Start", "starboard")]
    assert read[2].rounding is True
    plan = planned(brisvik, read)
    assert [(each.name, each.kind) for each in plan.lines] == [("Start", "start")]
    written = format_plan(plan)
    assert "<name>Pin</name>" in written
    assert 'rounding="yes"' in written
    again = parse_marks(written.encode()).marks
    assert (again[1].leave, again[1].rounding) == ("port", True)


@pytest.mark.parametrize("wrong", ['end="left"', 'name=""'])
def test_a_line_without_sense_is_refused_with_its_place(wrong):
    text = GPX.replace('end="port"' if "end" in wrong else 'name="Start"', wrong, 1)
    with pytest.raises(InputError, match=r"line 3.*goose:line"):
        parse_marks(text.encode())


def test_a_word_in_name_or_description_gives_the_hand_if_asked():
    marks = parse_marks(GPX.replace("<extensions><goose:leave", "<extensions><goose:was").encode())
    assert marks.marks[2].leave is None
    worded = from_here.leaving_by_words(marks.marks, 0.05).marks
    assert [(m.leave, m.leave_distance_nm) for m in worded] == [
        (None, 0.0), (None, 0.0), ("port", 0.05), (None, 0.0),
    ]  # fmt: skip
    both = [at("A", 0, 0), at("port or starboard", 0, 1), at("to starboard", 0, 2)]
    told = from_here.leaving_by_words(both, 0.05)
    assert told.marks[1].leave is None
    assert told.notices == ("port or starboard says both hands: it is left on neither.",)
    with pytest.raises(InputError, match="no mark says port or starboard"):
        from_here.leaving_by_words([at("A", 0, 0), at("Airport", 0, 1)], 0.05)


def test_on_the_second_lap_the_next_mark_is_its_second_time():
    marks = windward_leeward(0.0, 2)
    ahead = from_here.from_next(marks, "Windward#2").marks
    assert [m.name for m in ahead] == ["Windward", "Finish"]
    with pytest.raises(InputError, match="stands 2 times among the marks, not 3"):
        from_here.from_next(marks, "Windward#3")


def test_of_a_closed_course_the_start_is_not_left_on_a_hand():
    marks = [at("Base", 0, 0), at("Top", 0, 1), at("Base", 0, 0), at("Top", 0, 1)]
    sided = from_here.leaving(marks, [from_here.Leave("Base", "port", 0.03)])
    assert [m.leave for m in sided] == [None, None, "port", None]


def passes(marks, name):
    return [number for number, mark in enumerate(marks) if mark.name == name]


def test_each_pass_of_a_mark_is_named_apart_wherever_names_must_be_unlike(brisvik):
    marks = [at("Start", 0, -0.2), *windward_leeward(0.0, 3)[1:]]
    marks = [replace(mark, name=mark.name.replace("Windward", "Bülk Luv")) for mark in marks]
    plan = planned(brisvik, marks, 10.0)
    assert len(passes(plan.marks, "Bülk Luv")) == 3
    fitted = fit_plan(plan)
    (route,) = fitted.contents.routes
    names = [point.name for point in route.points]
    assert len(set(names)) == len(names)
    assert [name for name in names if name.startswith("BULLU")] == ["BULLUV", "BULLU2", "BULLU3"]
    sentences = nmea.format_contents(fitted.contents)
    waypoints = [pynmea2.parse(each).waypoint_id for each in sentences if "WPL" in each]
    assert len(set(waypoints)) == len(waypoints)
    parsed = [pynmea2.parse(each) for each in sentences if "RTE" in each]
    assert [name for each in parsed for name in each.waypoint_list] == names
    # Marks that she doesn't touch, and laylines: each once, and apart.
    aside = [point.name for point in fitted.contents.waypoints]
    assert len(set(aside)) == len(aside) == 2
    tracks = gpxpy.parse(format_plan(plan)).tracks
    assert len({track.name.casefold() for track in tracks}) == len(tracks)
    assert any(track.name.endswith(" 3") and "Bülk Luv" in track.name for track in tracks)
    # A file of a route keeps the names that the marks have.
    again = parse_marks(format_plan(plan).encode()).marks
    assert passes(again, "Bülk Luv") == passes(plan.marks, "Bülk Luv")


def test_a_service_tells_the_passes_of_a_mark_apart(brisvik):
    course = windward_leeward(0.0, 2)
    told = {"points": [{"lat": m.lat, "lon": m.lon, "name": m.name} for m in course], "next": 3}
    marks = signalk.route(told).marks
    assert [m.name for m in marks] == ["Start", "Windward", "Leeward", "Windward#2", "Finish"]
    # Under way what lies behind is left out: the names stay what they were.
    ahead = planned(brisvik, [marks[2], *marks[3:]])
    assert [leg.destination for leg in ahead.legs] == ["Windward#2", "Finish"]
    (route,) = fit_plan(ahead).contents.routes
    assert "WINDW2" in [point.name for point in route.points]


def test_marks_that_are_called_so_already_and_ends_of_gates_keep_their_names():
    gate = line("Gate", (-0.05, 0.0), (0.05, 0.0))
    top, second = at("Top", 0, 1), at("Top#2", 0, 2)
    named = from_here.named_apart([*gate, top, second, *gate, top])
    assert [m.name for m in named] == [
        *(end.name for end in gate), "Top", "Top#2", *(end.name for end in gate), "Top",
    ]  # fmt: skip
