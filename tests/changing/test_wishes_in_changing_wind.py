"""What the navigator may ask for in a steady wind is kept in a changing one: corridor, margin, the
first board, marks left on a hand, lines and gates.

A wind that is called changing and does not change must give the steady plan's closed form;
where boards lead is measured on dense points by pyproj and GeographicLib.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from pyproj import Geod, Transformer

from changing_winds import DEPARTURE, front, leg, turning
from goosewing.errors import InputError, NoPlanError
from goosewing.options import Options
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.weather.steady import SteadyWeather
from order_sailor import sail_plan

MERCATOR = Transformer.from_crs("EPSG:4326", "EPSG:3395", always_xy=True)
WGS84 = Geod(ellps="WGS84")


class Unchanging(SteadyWeather):
    """A steady wind that says of itself that it changes."""

    varies_in_time = True


def planned(boat, marks, weather, **options):
    return make(marks, boat, weather, DEPARTURE, Options(**options))


def dense(boards, each=12):
    """Points along boards, straight in the Mercator plane between those that are told."""
    line = [(point.lon, point.lat) for board in boards for point in board.points]
    x, y = MERCATOR.transform(*np.array(line).T)
    at = np.linspace(0.0, len(line) - 1.0, each * len(line))
    steps = np.arange(len(line))
    return MERCATOR.transform(np.interp(at, steps, x), np.interp(at, steps, y), direction="INVERSE")


def farthest_off_nm(one, two, boards):
    """Greatest distance of boards from the rhumb line, a straight line of the Mercator plane."""
    x, y = MERCATOR.transform([one.lon, two.lon], [one.lat, two.lat])
    # The line goes on beyond its ends.
    share = np.linspace(-0.2, 1.2, 1500)
    lon, lat = MERCATOR.transform(
        x[0] + share * (x[1] - x[0]), y[0] + share * (y[1] - y[0]), direction="INVERSE"
    )
    worst = 0.0
    for here_lon, here_lat in zip(*dense(boards, 4), strict=True):
        east = (lon - here_lon) * 60.0 * math.cos(math.radians(here_lat))
        near = int(np.argmin(np.hypot(east, (lat - here_lat) * 60.0)))
        worst = max(worst, WGS84.inv(here_lon, here_lat, lon[near], lat[near])[2] / 1852.0)
    return worst


# ---- a corridor ------------------------------------------------------------------------------


@pytest.mark.parametrize("half_nm", [2.0, 0.5])
def test_a_corridor_in_a_wind_that_does_not_change_is_the_steady_plans(brisvik, half_nm):
    marks = leg(57.0, 11.0, 20.0, 12.0)
    steady = planned(brisvik, marks, SteadyWeather(10.0, 11.0), corridor_nm=half_nm)
    found = planned(brisvik, marks, Unchanging(10.0, 11.0), corridor_nm=half_nm)
    assert found.elapsed_h <= steady.elapsed_h * 1.002
    # Unlike boards need not reach equally far to both sides: one turn fewer may do.
    assert found.elapsed_h >= steady.elapsed_h * 0.997
    # The rhumb line is looked at every 20 m or so.
    assert farthest_off_nm(*marks, found.legs[0].boards) <= half_nm + 0.001


@pytest.mark.parametrize("seed", [11, pytest.param(4, marks=pytest.mark.long)])
def test_a_corridor_is_kept_while_a_front_passes(brisvik, seed):
    marks, weather = front(seed)
    free = planned(brisvik, marks, weather)
    kept = planned(brisvik, marks, weather, corridor_nm=0.5)
    assert farthest_off_nm(*marks, kept.legs[0].boards) <= 0.501
    assert kept.elapsed_h >= free.elapsed_h - 1e-3
    for sailed in sail_plan(brisvik, weather, document(kept)):
        assert sailed.as_told


def document(plan):
    from goosewing.exchange.document import plan_document

    return plan_document(plan)


def test_too_narrow_a_corridor_is_refused_as_in_a_steady_wind(brisvik):
    marks = leg(57.0, 11.0, 20.0, 12.0)
    with pytest.raises(InputError, match="leaves boards of under a minute"):
        planned(brisvik, marks, turning(), corridor_nm=0.01)


# ---- a margin --------------------------------------------------------------------------------


@pytest.mark.parametrize("first", ["port", "starboard"])
def test_a_margin_in_a_wind_that_does_not_change_is_the_steady_plans(brisvik, first):
    marks = leg(57.0, 11.0, 20.0, 12.0)
    wishes = {"margin_deg": 5.0, "first": first}
    steady = planned(brisvik, marks, SteadyWeather(10.0, 11.0), **wishes)
    found = planned(brisvik, marks, Unchanging(10.0, 11.0), **wishes)
    assert found.elapsed_h == pytest.approx(steady.elapsed_h, rel=1e-3)
    courses = [plan.legs[0].boards[-1].course_over_ground_deg for plan in (steady, found)]
    assert courses[1] == pytest.approx(courses[0], abs=0.6)


def test_with_a_margin_she_turns_past_the_layline_as_the_wind_turns(brisvik):
    marks = leg(57.0, 11.0, 20.0, 12.0)
    just, freer = (
        planned(brisvik, marks, turning(8.0, 10.0, 11.0), first="port", margin_deg=margin)
        for margin in (0.0, 5.0)
    )
    into, out = (plan.legs[0].boards[-1] for plan in (just, freer))
    assert into.tack == out.tack == "starboard"
    assert into.course_over_ground_deg - out.course_over_ground_deg == pytest.approx(5.0, abs=1.5)
    assert freer.legs[0].boards[0].elapsed_h > just.legs[0].boards[0].elapsed_h
    for sailed in sail_plan(brisvik, turning(8.0, 10.0, 11.0), document(freer)):
        assert sailed.as_told


# ---- the first board -------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [0, 23])
def test_the_tack_asked_for_comes_first_and_the_other_is_no_faster_than_free(brisvik, seed):
    marks, weather = front(seed)
    free = planned(brisvik, marks, weather)
    for first in ("port", "starboard"):
        plan = planned(brisvik, marks, weather, first=first)
        tacks = [board.tack for board in plan.legs[0].boards]
        assert tacks[0] == first or first not in tacks
        assert plan.elapsed_h >= free.elapsed_h - 1.0 / 60.0
        if free.legs[0].boards[0].tack == first:
            assert plan.elapsed_h <= free.elapsed_h + 1.0 / 60.0


# ---- marks left on a hand --------------------------------------------------------------------


def closest(mark, boards):
    """Least distance of boards from a mark [nm], and whether it then lies to starboard."""
    lon, lat = dense(boards, 40)
    found = [
        Geodesic.WGS84.Inverse(mark.lat, mark.lon, la, lo)["s12"] / 1852.0
        for lo, la in zip(lon, lat, strict=True)
    ]
    k = min(max(int(np.argmin(found)), 1), len(found) - 2)
    course = Geodesic.WGS84.Inverse(lat[k - 1], lon[k - 1], lat[k + 1], lon[k + 1])["azi1"]
    to_mark = Geodesic.WGS84.Inverse(lat[k], lon[k], mark.lat, mark.lon)["azi1"]
    return min(found), math.sin(math.radians(to_mark - course)) > 0.0


@pytest.mark.parametrize("side", ["port", pytest.param("starboard", marks=pytest.mark.long)])
def test_a_mark_is_left_on_its_hand_as_the_wind_turns(brisvik, side):
    start, mark = leg(57.0, 11.0, 60.0, 8.0)
    end = leg(mark.lat, mark.lon, 120.0, 7.0)[1]
    left = Mark(name="M", lat=mark.lat, lon=mark.lon, leave=side, leave_distance_nm=0.2)
    weather = turning(6.0, 40.0, 11.0)
    plan = planned(brisvik, [start, left, end], weather)
    boards = [board for each in plan.legs for board in each.boards]
    distance, starboard = closest(left, boards)
    assert 0.2 * 0.985 <= distance <= 0.2 * 1.06
    assert starboard == (side == "starboard")
    assert plan.marks[1] == left
    for sailed in sail_plan(brisvik, weather, document(plan)):
        assert sailed.as_told


def test_the_same_in_a_wind_that_does_not_change_takes_as_long_as_in_a_steady_one(brisvik):
    start, mark = leg(57.0, 11.0, 60.0, 8.0)
    end = leg(mark.lat, mark.lon, 120.0, 7.0)[1]
    left = Mark(name="M", lat=mark.lat, lon=mark.lon, leave="port", leave_distance_nm=0.2)
    plans = [
        planned(brisvik, [start, left, end], weather)
        for weather in (SteadyWeather(40.0, 11.0), Unchanging(40.0, 11.0))
    ]
    assert plans[1].elapsed_h == pytest.approx(plans[0].elapsed_h, rel=3e-3)


# ---- lines -----------------------------------------------------------------------------------


def ends(name, lat, lon, width_nm):
    """A line's two ends, the port one to the west."""
    there = Geodesic.WGS84.Direct(lat, lon, 90.0, width_nm * 1852.0)
    return [
        Mark(name=f"{name} (port end)", lat=lat, lon=lon),
        Mark(name=f"{name} (starboard end)", lat=there["lat2"], lon=there["lon2"]),
    ]


def test_the_better_end_of_a_start_line_is_found_as_the_wind_turns(brisvik):
    line = ends("Start", 57.0, 11.0, 0.3)
    windward = leg(57.0, 11.0, 5.0, 5.0)[1]
    weather = turning(10.0, 10.0, 11.0)
    plan = planned(brisvik, [*line, windward], weather)
    at_ends = [
        planned(brisvik, [Mark(name="E", lat=end.lat, lon=end.lon), windward], weather).elapsed_h
        for end in line
    ]
    better = "port" if at_ends[0] < at_ends[1] else "starboard"
    assert plan.lines[0].favoured == better
    # She crosses nine metres inside an end.
    assert plan.lines[0].gain_s == pytest.approx(
        abs(at_ends[0] - at_ends[1]) * 3600.0, rel=0.12, abs=3.0
    )
    assert plan.elapsed_h <= min(at_ends) + 10.0 / 3600.0


@pytest.mark.long
def test_a_gate_is_rounded_at_one_of_its_marks_as_the_wind_turns(brisvik):
    start, windward = leg(57.0, 11.0, 10.0, 3.0)
    gate = ends("Gate", 57.02, 11.0, 0.1)
    weather = turning(8.0, 10.0, 11.0)
    plan = planned(brisvik, [start, windward, *gate, windward], weather)
    rounded = plan.lines[0]
    boards = [board for each in plan.legs for board in each.boards]
    passed = dict(zip(("port", "starboard"), (closest(end, boards) for end in gate), strict=True))
    assert rounded.favoured in (None, "port", "starboard")
    nearer = min(passed, key=lambda side: passed[side][0])
    assert passed[nearer][1] == (nearer == "starboard")


def test_what_no_choice_passes_is_told(brisvik):
    line = ends("Start", 57.0, 11.0, 0.3)
    windward = leg(57.0, 11.0, 5.0, 5.0)[1]
    with pytest.raises(NoPlanError, match="lines of this course can't be passed"):
        planned(brisvik, [*line, windward], turning(0.0, 10.0, 90.0))


def test_wishes_hold_together(brisvik):
    marks = leg(57.0, 11.0, 20.0, 12.0)
    for first, half_nm in itertools.product(("port", "starboard"), (1.5,)):
        plan = planned(
            brisvik, marks, turning(4.0, 10.0, 11.0), first=first, corridor_nm=half_nm,
            margin_deg=3.0,
        )  # fmt: skip
        assert plan.legs[0].boards[0].tack == first
        assert farthest_off_nm(*marks, plan.legs[0].boards) <= half_nm + 0.001
