"""Plans in changing wind among islands by the thousand: found, clear, and as fast as they can be.

The times that places are reached at least are held against linear programmes (SciPy), boards
against geodesics (PROJ), and a wind that stays against the steady planner.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
import shapely
from pyproj import Geod
from scipy.optimize import linprog

from archipelagos import across, strewn
from goosewing.case import Case
from goosewing.changing import islands
from goosewing.changing.motion import Waters
from goosewing.changing.spell_nets import LONGEST, SpellNet
from goosewing.changing.spells import LOOKED, Reach, spells
from goosewing.changing.ways import Root
from goosewing.earth import geodesy
from goosewing.earth.course import course_between
from goosewing.exchange.document import format_plan_json
from goosewing.foresight import alternatives
from goosewing.hazards.areas import Hazards
from goosewing.hazards.kept import Kept
from goosewing.plan import make, of_case
from goosewing.steady.round_hazards import waters_of
from goosewing.weather.base import hours_from_datetime
from goosewing.weather.steady import SteadyWeather
from goosewing.weather.table import parse_table
from order_sailor import sail_plan

DEPARTURE = datetime(2027, 6, 1, 6, 0, tzinfo=UTC)
GEOD = Geod(ellps="WGS84")
NM = 1852.0


def turning(from_deg, turn_deg_h, knots=10.0, more_kn_h=0.0, hours=60):
    lines = [
        f"{(DEPARTURE + timedelta(hours=h)).isoformat()},"
        f"{(from_deg + turn_deg_h * h) % 360.0:.4f},{knots + more_kn_h * h:.4f}"
        for h in range(0, hours, 2)
    ]
    return parse_table("\n".join(["time,wind_from_deg,wind_kn", *lines]))


def least_offing_nm(plan, areas):
    """Least geodesic distance from boards, point by point, to islands."""
    tree = shapely.STRtree([area.shape for area in areas])
    least = math.inf
    for board in (board for leg in plan.legs for board in leg.boards):
        ends = np.array([(point.lat, point.lon) for point in board.points])
        share = np.linspace(0.0, len(ends) - 1.0, 1 + int(board.distance_nm / 0.02) + len(ends))
        lat, lon = (np.interp(share, np.arange(len(ends)), column) for column in ends.T)
        place, shape = tree.query(shapely.points(lon, lat), predicate="dwithin", distance=0.01)
        shores = tree.geometries[shape]
        assert not shapely.intersects(shores, shapely.points(lon, lat)[place]).any()
        foot = shapely.shortest_line(shapely.points(lon, lat)[place], shores)
        ends = shapely.get_coordinates(foot).reshape(-1, 2, 2)
        off = GEOD.inv(ends[:, 0, 0], ends[:, 0, 1], ends[:, 1, 0], ends[:, 1, 1])[2]
        least = min(least, float(np.min(off, initial=np.inf)) / NM)
    return least


def check_sound(plan, areas, clearance):
    # What is turned at stands a metre farther out; half a metre is the integration's.
    assert least_offing_nm(plan, areas) >= clearance - 1.0 / NM
    boards = plan.legs[0].boards
    assert (boards[-1].end.lat, boards[-1].end.lon) == pytest.approx(
        (plan.marks[-1].lat, plan.marks[-1].lon), abs=1e-6
    )
    assert plan.bound_h is not None
    assert plan.elapsed_h >= plan.bound_h * (1.0 - 1e-6)


def test_running_off_among_many_islands_she_finds_a_way(brisvik):
    marks = across(45.0, 10.0)
    areas = strewn(1800, 5, clear_of=marks, side_nm=18.0)
    plan = make(marks, brisvik, turning(225.0, 3.0), DEPARTURE, hazards=Hazards.of(areas, 0.05))
    check_sound(plan, areas, 0.05)


@pytest.mark.parametrize("wind_from", [45.0, 135.0])
def test_spells_in_which_nothing_is_of_use_any_more_are_passed_over(brisvik, wind_from):
    """Among few corners she comes in some spells only to such as are too late for the mark."""
    marks = across(45.0, 8.0)
    areas = strewn(30, 0, clear_of=marks, side_nm=9.0)
    weather, begins_h = turning(wind_from, 20.0), hours_from_datetime(DEPARTURE)
    course = course_between(marks[0].lat, marks[0].lon, marks[1].lat, marks[1].lon)
    (way,) = islands.ways_among(
        Waters(brisvik, weather, hazards=Hazards.of(areas, 0.05)), course,
        (Root(-1, begins_h, 0.0),), 2.5, None, every=False, most_corners=6000,
    )  # fmt: skip
    lines = [shapely.linestrings(part.lon, part.lat) for part in way.stretches]
    assert lines[-1].coords[-1] == pytest.approx((marks[1].lon, marks[1].lat), abs=1e-6)
    assert not shapely.intersects(shapely.union_all([each.shape for each in areas]), lines).any()
    bound_h = make(marks, brisvik, weather, DEPARTURE).bound_h
    assert bound_h is not None
    assert way.arrival_h - begins_h >= bound_h


def test_no_board_that_can_begin_in_a_spell_is_left_out(brisvik, monkeypatch):
    """Those drawn are held against boards to wherever there is time for, however late."""
    draw, counted = SpellNet.draw, []

    def both(net, *where):
        before = len(net.boards)
        draw(net, *where)
        longest_h = LONGEST * (net.end_h - net.begin_h)
        if len(net.boards) > before and math.isfinite(longest_h):
            near, anywhere = net.graph.near, net.graph.limit_h - net.graph.ahead >= net.begin_h
            for net.graph.near in (near, anywhere):
                mixed = net.graph.mixed()
                counted.append(sum(int(np.sum(each.hours <= longest_h)) for each in mixed))

    monkeypatch.setattr(SpellNet, "draw", both)
    marks = across(45.0, 18.0)
    areas = strewn(1600, 5, clear_of=marks, side_nm=30.0)
    make(marks, brisvik, turning(225.0, 2.0), DEPARTURE, hazards=Hazards.of(areas, 0.05))
    assert sum(counted) > 0
    assert counted[::2] == counted[1::2]


@pytest.mark.long
@pytest.mark.parametrize("wind_from", [45.0, 130.0, 225.0])
def test_among_thousands_a_plan_is_found_and_keeps_clear(brisvik, wind_from):
    marks = across(45.0, 20.0)
    areas = strewn(3000, 5, clear_of=marks, side_nm=24.0)
    weather = turning(wind_from, 3.0)
    plan = make(marks, brisvik, weather, DEPARTURE, hazards=Hazards.of(areas, 0.05))
    check_sound(plan, areas, 0.05)
    # Tacks and gybes by the dozen cost what they cost.
    assert plan.elapsed_h <= 1.25 * make(marks, brisvik, weather, DEPARTURE).elapsed_h


@pytest.mark.long
@pytest.mark.parametrize("wind_from", [45.0, 120.0, 225.0])
def test_among_ten_thousand_islands(brisvik, wind_from):
    marks = across(45.0)
    areas = strewn(10_000, 1, clear_of=marks)
    hazards = Hazards.of(areas, 0.05)
    weather = turning(wind_from, 3.0)
    plan = make(marks, brisvik, weather, DEPARTURE, hazards=hazards)
    check_sound(plan, areas, 0.05)
    assert plan.elapsed_h <= 1.25 * make(marks, brisvik, weather, DEPARTURE).elapsed_h
    told = make(marks, brisvik, turning(wind_from, 0.0), DEPARTURE, hazards=hazards)
    steady = make(marks, brisvik, SteadyWeather(wind_from, 10.0), DEPARTURE, hazards=hazards)
    assert told.elapsed_h == pytest.approx(steady.elapsed_h, rel=0.005)


@pytest.mark.long
def test_a_wind_that_stays_takes_as_long_as_in_the_steady_planner(brisvik):
    marks = across(45.0, 20.0)
    areas = strewn(3000, 5, clear_of=marks, side_nm=24.0)
    for wind_from in (45.0, 200.0):
        told, steady = (
            make(marks, brisvik, weather, DEPARTURE, hazards=Hazards.of(areas, 0.05))
            for weather in (turning(wind_from, 0.0), SteadyWeather(wind_from, 10.0))
        )
        assert told.elapsed_h == pytest.approx(steady.elapsed_h, rel=0.005)


@pytest.mark.long
@pytest.mark.parametrize("wind_from", [45.0, 200.0, 225.0])
def test_no_other_way_among_many_islands_is_faster_than_the_plan(brisvik, wind_from):
    marks = across(45.0, 10.0)
    areas = strewn(1800, 5, clear_of=marks, side_nm=18.0)
    weather, kept = turning(wind_from, 3.0), Kept()
    case = Case(
        marks=marks, boat=brisvik, weather=weather, departure=DEPARTURE,
        hazards=Hazards.of(areas, 0.05), kept=kept,
    )  # fmt: skip
    found = of_case(case)
    # One leg, one set of corners: her other ways are looked for among the same.
    ((key, corners),) = kept.found.items()
    told = alternatives.add(case, found)
    assert kept.of(key) is corners
    check_sound(told, areas, 0.05)
    assert told.elapsed_h <= found.elapsed_h
    assert all(each.added_min >= -0.1 for each in told.legs[0].alternatives)
    document = json.loads(format_plan_json(told))
    assert all(board.as_told for board in sail_plan(brisvik, weather, document))
    # And she sails the same, whether anything was kept or not.
    alone = of_case(replace(case, kept=None))
    assert alone.elapsed_h == pytest.approx(found.elapsed_h, abs=1e-9)


# ---- how soon places are reached in open water ---------------------------------------------------


def soonest_h(weather, run):
    """The least time of a displacement by spells' velocities: a linear programme in each spell."""
    ends = [spell.end_h for spell in weather[:-1]]
    begins = [spell.begin_h for spell in weather]
    for number in range(len(weather)):
        known = weather[: number + 1]
        columns = np.concatenate([np.stack((s.held.east_kn, s.held.north_kn)) for s in known], 1)
        of = np.repeat(np.arange(number + 1), [len(s.held) for s in known])
        whole = [
            (of == k).astype(float) for k in range(number)
        ]  # fmt: skip
        least = linprog(
            (of == number).astype(float),
            A_eq=np.vstack((columns, *whole)),
            b_eq=[*run, *(ends[k] - begins[k] for k in range(number))],
        )
        if least.status == 0 and (
            number == len(weather) - 1 or least.fun <= ends[number] - begins[number]
        ):
            return begins[number] - begins[0] + least.fun
    raise AssertionError("never reached")


@pytest.mark.parametrize("turn_deg_h", [0.0, 4.0, -9.0])
def test_places_are_reached_as_a_linear_programme_says(brisvik, turn_deg_h):
    one, two = across(70.0)
    course = course_between(one.lat, one.lon, two.lat, two.lon)
    waters = Waters(brisvik, turning(60.0, turn_deg_h, more_kn_h=0.3))
    start_h = hours_from_datetime(DEPARTURE)
    weather = spells(waters, course, start_h, 9.0)
    assert len(weather) > 1
    leg = Hazards.of(strewn(1), 0.0).in_plane(one.lat, one.lon, two.lat, two.lon)
    reach = Reach.of(weather, leg, waters_of(leg))
    rng = np.random.default_rng(1)
    at = leg[:2] + rng.uniform(-0.5, 0.5, (8, 2))
    found = reach.behind(at)
    for place, hours in zip(at, found, strict=True):
        scale = geodesy.miles_per_degree(geodesy.latitude_from_isometric(place[1]))
        least = soonest_h(weather, (place - leg[:2]) * min(float(scale), reach.scale_at_ends))
        # Less by what the directions looked at lie apart.
        assert least * 0.99 <= hours <= least * (1.0 + 1e-6)
    table, _ = reach.roughly(at)
    assert table == pytest.approx(found, abs=0.1)
    assert np.all(reach.behind(at) + reach.ahead(at) >= reach.behind(leg[np.newaxis, 2:]) - 1e-6)


def test_many_nights_without_a_pole_are_as_many_spells(brisvik):
    lat, lon = 57.0, 11.0
    far = geodesy.loxodrome_direct(lat, lon, 250.0, 700.0)
    course = course_between(lat, lon, float(far.lat), float(far.lon))
    start_h = hours_from_datetime(DEPARTURE)
    by_day_alone = Waters(replace(brisvik, night_poled=False), SteadyWeather(0.0, 10.0))
    found = spells(by_day_alone, course, start_h, 300.0)
    # Some 20 days of one wind: day and night in turn, and nothing else.
    assert len(found) == pytest.approx(2 * LOOKED * 300.0 / 24.0, abs=2.0)
