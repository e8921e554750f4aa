"""Plans in steady wind: against bounds, against facts of the trade, and what must not change."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import assume, given
from hypothesis import strategies as st

from goosewing.boat.model import Manoeuvres
from goosewing.earth import geodesy
from goosewing.errors import InputError, NoPlanError
from goosewing.options import Options
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.weather.steady import SteadyWeather
from random_boats import random_boat

DEPARTURE = datetime(2027, 6, 1, 6, 0, tzinfo=UTC)
FREE = Manoeuvres(tack_s=0, gybe_s=0, set_pole_s=0, strike_pole_s=0, change_sails_s=0)
AT_THE_MARK_M = 5.0
EARTH_NM = 3437.75
"""Radius of the earth, as the contract's rule for the order of boards uses it. [nm]"""


def marks_at(*positions):
    return [Mark(name=f"M{i}", lat=lat, lon=lon) for i, (lat, lon) in enumerate(positions)]


def leg_from(lat, lon, bearing_deg, distance_nm):
    end = geodesy.loxodrome_direct(lat, lon, bearing_deg, distance_nm)
    return marks_at((lat, lon), (float(end.lat), float(end.lon)))


def planned(boat, marks, wind=(0.0, 10.0), stream=(0.0, 0.0), **options):
    return make(marks, boat, SteadyWeather(*wind, *stream), DEPARTURE, Options(**options))


def metres(a, b):
    return Geodesic.WGS84.Inverse(a.lat, a.lon, b.lat, b.lon)["s12"]


def check_joins(plan):
    """Boards join, end at the marks, and the sums are sums."""
    clock, place = plan.departure, plan.marks[0]
    for leg, mark in zip(plan.legs, plan.marks[1:], strict=True):
        costs = sum(m.cost_s for m in leg.manoeuvres)
        assert leg.elapsed_h == pytest.approx(sum(b.elapsed_h for b in leg.boards) + costs / 3600)
        for board in leg.boards:
            assert metres(board.start, place) < AT_THE_MARK_M
            assert board.start.time >= clock - timedelta(milliseconds=1)
            clock, place = board.end.time, board.end
        assert metres(place, mark) < AT_THE_MARK_M
    assert abs((plan.arrival - clock).total_seconds()) < 0.01
    assert plan.elapsed_h == pytest.approx(sum(leg.elapsed_h for leg in plan.legs))


# ---- shapes of plans -------------------------------------------------------------------------


def test_a_mark_dead_upwind_is_beaten_to_on_both_tacks(brisvik):
    plan = planned(brisvik, leg_from(57.0, 11.0, 0.0, 10.0))
    boards = plan.legs[0].boards
    assert [m.kind for m in plan.legs[0].manoeuvres] == ["tack"]
    assert {b.tack for b in boards} == {"port", "starboard"}
    assert all(b.twa_deg < 60 for b in boards)
    assert plan.straight_h is None
    assert plan.saved_min is None
    check_joins(plan)


def test_a_mark_abeam_is_sailed_straight(brisvik):
    plan = planned(brisvik, leg_from(57.0, 11.0, 90.0, 10.0))
    assert len(plan.legs[0].boards) == 1
    assert plan.saved_min == pytest.approx(0.0, abs=1e-6)
    assert plan.legs[0].boards[0].tack == "port"
    check_joins(plan)


def test_dead_downwind_wing_and_wing_holds_the_straight_course(brisvik):
    plan = planned(brisvik, leg_from(57.0, 11.0, 180.0, 10.0))
    assert [b.sail_set for b in plan.legs[0].boards] == ["wing-and-wing"]
    check_joins(plan)


def test_160_off_the_wind_she_runs_wing_and_wing_and_reaches_up(brisvik):
    # Common practice, no source.
    marks = leg_from(57.0, 11.0, 160.0, 1.0)
    best = planned(replace(brisvik, manoeuvres=FREE), marks)
    jib = [s for s in brisvik.sail_sets if s.name == "main and jib"]
    blanketed = planned(replace(brisvik, sail_sets=tuple(jib)), marks)
    assert {b.sail_set for b in best.legs[0].boards} == {"wing-and-wing", "main and jib"}
    gain_min = (blanketed.straight_h - best.elapsed_h) * 60
    assert 1.0 <= gain_min <= 3.5


def test_below_the_break_even_distance_she_stays_on_one_sail_set_and_says_so(brisvik):
    short = planned(brisvik, leg_from(57.0, 11.0, 160.0, 0.5))
    assert len({b.sail_set for b in short.legs[0].boards}) == 1
    said = next(r for r in short.legs[0].reasons if "pays on legs over" in r)
    pays = float(said.split("over ")[1].split(" nm")[0])
    assert 0.5 < pays < 200
    for distance, sets in ((pays * 0.9, 1), (pays * 1.1, 2)):
        plan = planned(brisvik, leg_from(57.0, 11.0, 160.0, distance))
        assert len({b.sail_set for b in plan.legs[0].boards}) == sets


def test_sailing_the_beat_for_boat_speed_instead_of_vmg_costs_time(brisvik):
    # Common practice, no source: the knotmeter tempts her to fall off.
    best = planned(brisvik, leg_from(57.0, 11.0, 0.0, 10.0)).elapsed_h
    free = [replace(s, twa_deg=(60.0, 180.0)) for s in brisvik.sail_sets]
    falling_off = planned(replace(brisvik, sail_sets=tuple(free)), leg_from(57.0, 11.0, 0.0, 10.0))
    assert falling_off.legs[0].boards[0].boat_speed_kn > 5.5
    assert falling_off.elapsed_h > 1.15 * best


def test_a_pole_manoeuvre_is_listed_step_by_step(brisvik):
    # Upwind to a mark, then dead downwind for long enough: bear away and set the pole.
    marks = marks_at((57.0, 11.0), (57.2, 11.0), (56.5, 11.0))
    plan = planned(brisvik, marks)
    kinds = [m.kind for m in plan.legs[1].manoeuvres]
    assert kinds[-1] == "set_pole"
    place = plan.legs[1].manoeuvres[0]
    assert metres(place, marks[1]) < 0.01
    gaps = [b.time - a.time for a, b in itertools.pairwise(plan.legs[1].manoeuvres)]
    assert gaps == [timedelta(seconds=m.cost_s) for m in plan.legs[1].manoeuvres[:-1]]
    check_joins(plan)


# ---- bounds ----------------------------------------------------------------------------------


@given(
    st.integers(0, 5000), st.floats(-75, 75), st.floats(-180, 179.9), st.floats(0, 360),
    st.floats(0.01, 60), st.floats(0, 360), st.floats(4, 18), st.floats(0, 360), st.floats(0, 3),
)  # fmt: skip
def test_a_plan_never_beats_its_bound(seed, lat, lon, bearing, length, wind, kn, set_deg, drift):
    boat = replace(random_boat(seed), manoeuvres=FREE)
    marks = leg_from(lat, lon, bearing, length)
    try:
        # Else an altering of course that gains less than a minute is left out.
        plan = planned(boat, marks, (wind, kn), (set_deg, drift), worth_min=0.0)
    except NoPlanError:
        assume(False)
    check_joins(plan)
    # The bound is the mean of both orders to the first order; one of them is half the
    # difference faster.
    accuracy_h = 0.5 * orders_differ_h(plan)
    assert plan.elapsed_h >= plan.bound_h * (1 - 1e-4) - accuracy_h
    # Without manoeuvre costs it also reaches it, to the same accuracy.
    assert plan.elapsed_h <= plan.bound_h * (1 + 2e-3) + 2 * accuracy_h


def _widest(plan):
    """How far the boards reach from the loxodrome, and the highest latitude sailed."""
    a, b = plan.marks[0], plan.marks[-1]
    points = [p for board in plan.legs[0].boards for p in (board.start, board.end)]
    off = [
        abs(float(geodesy.cross_track_nm(p.lat, p.lon, a.lat, a.lon, b.lat, b.lon))) for p in points
    ]
    return max(off), max(abs(p.lat) for p in points)


def orders_differ_h(plan):
    """How much longer the two boards of a leg may take in the other order, from geometry alone.

    In the Mercator plane a board is a segment with a plane duration τ and a northing
    y = τ·n, n its northward speed, and takes τ·<k>, k = N·cos φ the length of a unit of the
    plane. In the other order each board is shifted by the other, so that, averages taken over
    the parallelogram of both orders and dk/dψ being -k·sin φ on the ellipsoid,

        T12 - T21 = (τ1·y2 - τ2·y1)·<k·sin φ> = t1·t2·(n2 - n1)·<k·sin φ> / (<k>1·<k>2)

    exactly. Where both boards make good the same speed along the course this is
    tan φ · h/R · |sin course|, h the distance of the turning point from the loxodrome. The
    averages are replaced by the largest and least values.
    """
    boards = plan.legs[0].boards
    if len(boards) == 1:
        return 0.0
    north = [b.speed_over_ground_kn * np.cos(np.radians(b.course_over_ground_deg)) for b in boards]
    lat = [boards[0].start.lat, boards[0].end.lat, boards[1].end.lat]
    isometric = [float(geodesy.isometric_latitude(each)) for each in lat]
    lat.append(float(geodesy.latitude_from_isometric(isometric[0] + isometric[2] - isometric[1])))
    phi = np.radians(np.abs(lat))
    k = 6378137.0 / 1852.0 / np.sqrt(1 - 0.00669438 * np.sin(phi) ** 2) * np.cos(phi)
    steepest = np.sin(phi.max()) * k.max() / k.min() ** 2
    return boards[0].elapsed_h * boards[1].elapsed_h * abs(north[1] - north[0]) * steepest


@given(st.floats(0, 360), st.floats(1, 30), st.floats(0, 360), st.floats(5, 18))
def test_on_the_equator_the_bound_is_met_to_one_part_in_ten_thousand(
    brisvik, bearing, nm, wind, kn
):
    marks = leg_from(0.0, 20.0, bearing, nm)
    plan = planned(replace(brisvik, manoeuvres=FREE), marks, (wind, kn))
    assert plan.elapsed_h >= plan.bound_h * (1 - 1e-4)
    assert plan.elapsed_h <= plan.bound_h * (1 + 1e-3)


# ---- invariants ------------------------------------------------------------------------------


@pytest.mark.long
@given(
    st.integers(0, 5000), st.floats(0, 360), st.floats(1, 30), st.floats(0, 360), st.floats(0, 2)
)
def test_mirrored_in_the_meridian_it_takes_the_same_time(seed, bearing, nm, set_deg, drift):
    boat = random_boat(seed)
    there = leg_from(57.0, 11.0, bearing, nm)
    mirrored = [replace(m, lon=22.0 - m.lon) for m in there]
    try:
        a = planned(boat, there, (20.0, 9.0), (set_deg, drift))
    except NoPlanError:
        assume(False)
    b = planned(boat, mirrored, (340.0, 9.0), ((360.0 - set_deg) % 360, drift))
    assert a.elapsed_h == pytest.approx(b.elapsed_h, rel=1e-9)


@pytest.mark.long
@given(
    st.integers(0, 5000), st.floats(0, 360), st.floats(5, 20), st.floats(0, 360), st.floats(0, 1.5)
)
def test_the_way_back_in_the_opposite_wind_takes_as_long(seed, bearing, nm, set_deg, drift):
    boat = random_boat(seed)
    marks = leg_from(57.0, 11.0, bearing, nm)
    try:
        out = planned(boat, marks, (20.0, 9.0), (set_deg, drift), first="faster")
    except NoPlanError:
        assume(False)
    back = planned(boat, marks[::-1], (200.0, 9.0), ((set_deg + 180) % 360, drift), first="faster")
    # Either can sail the other's track backwards in the time that the other takes; only where
    # turning one way costs more than turning back (a pole set, a pole struck) may the other
    # order of the same boards be cheaper, and never by more than the orders differ.
    equal_h = max(orders_differ_h(out), orders_differ_h(back))
    assert back.elapsed_h == pytest.approx(out.elapsed_h, abs=equal_h + 1e-9 * out.elapsed_h)


@pytest.mark.parametrize(
    "marks",
    [
        pytest.param([(57.0, 11.0), (57.00003, 11.00002)], id="a-few-metres"),
        pytest.param([(57.0, 11.0), (37.0, -40.0)], id="3000-miles"),
        pytest.param([(10.0, 179.8), (10.2, -179.7)], id="across-the-antimeridian"),
        pytest.param([(75.0, 15.0), (75.4, 15.2)], id="75-north"),
        pytest.param([(-0.1, 20.0), (0.1, 20.0)], id="across-the-equator"),
        pytest.param([(57.0, 11.0), (57.0, 11.5), (56.8, 11.5), (57.0, 11.0)], id="a-round"),
    ],
)
@pytest.mark.parametrize("wind", [0.0, 45.0, 133.0, 225.0, 301.0])
def test_near_far_and_odd_places_all_work(brisvik, marks, wind):
    plan = planned(brisvik, marks_at(*marks), (wind, 9.0), (70.0, 0.8))
    check_joins(plan)
    assert all(b.distance_nm >= 0 for leg in plan.legs for b in leg.boards)


# ---- the order of boards ---------------------------------------------------------------------


def test_converging_meridians_make_the_orders_differ_as_the_rule_says(brisvik):
    # tan φ · h/R · |sin course|; 0.45 % for an east–west beat of 20 nm at 57° N that is made
    # good at 45°, and more for a boat that makes good 49° with her leeway, as this one.
    marks = leg_from(57.0, 11.0, 90.0, 20.0)
    both = [planned(brisvik, marks, (90.0, 10.0), first=side) for side in ("port", "starboard")]
    faster = min(both, key=lambda plan: plan.elapsed_h)
    off, _ = _widest(faster)
    expected = np.tan(np.radians(57.0)) * off / EARTH_NM
    measured = abs(both[0].elapsed_h - both[1].elapsed_h) / faster.elapsed_h
    assert measured == pytest.approx(expected, rel=0.03)
    assert planned(brisvik, marks, (90.0, 10.0), first="faster").elapsed_h == faster.elapsed_h


def test_on_a_north_south_leg_the_orders_take_equally_long(brisvik):
    marks = leg_from(57.0, 11.0, 0.0, 20.0)
    both = [planned(brisvik, marks, (0.0, 10.0), first=side) for side in ("port", "starboard")]
    assert both[0].elapsed_h == pytest.approx(both[1].elapsed_h, rel=1e-9)


def test_the_longer_board_comes_first_where_that_costs_next_to_nothing(brisvik):
    for bearing in (345.0, 15.0, 350.0, 20.0):
        plan = planned(brisvik, leg_from(57.0, 11.0, bearing, 8.0))
        boards = plan.legs[0].boards
        assert len(boards) == 2
        assert boards[0].distance_nm > boards[1].distance_nm


@pytest.mark.parametrize("side", ["port", "starboard"])
def test_the_first_board_is_the_one_asked_for(brisvik, side):
    plan = planned(brisvik, leg_from(57.0, 11.0, 10.0, 8.0), first=side)
    assert plan.legs[0].boards[0].tack == side


# ---- the dynamic programme against trying everything -----------------------------------------


@pytest.mark.parametrize("seed", range(12))
def test_the_chain_of_boards_is_the_cheapest_of_all(seed):
    from goosewing.boat.manoeuvres import cost_table_h
    from goosewing.steady import cheapest_chain
    from goosewing.steady import solver as solve

    boat = random_boat(seed + 50)
    weather = SteadyWeather(30.0 * seed, 8.0)
    held = solve.sailable(boat, solve.steady_airs(boat, weather))
    marks = marks_at((57.0, 11.0), (57.05, 11.02), (57.0, 11.1), (56.95, 11.0))
    legs = [solve.leg_choice(held, a, b, Options()).ways for a, b in itertools.pairwise(marks)]
    costs = cheapest_chain.Costs(held.modes, cost_table_h(boat, held.modes))
    allowed = [np.ones(len(w), dtype=bool) for w in legs]
    chosen = cheapest_chain.cheapest(legs, costs, allowed)

    def total(picks):
        hours = cheapest_chain.sailing_h(legs, picks) + cheapest_chain.manoeuvring_h(
            legs, costs, picks
        )
        return np.inf if np.isnan(hours) else hours

    everything = itertools.product(*(range(len(w)) for w in legs))
    assert total(chosen) == pytest.approx(min(total(picks) for picks in everything), rel=1e-12)


# ---- what can't be done ----------------------------------------------------------------------


def test_no_wind_and_no_stream_is_no_plan(brisvik):
    with pytest.raises(NoPlanError, match="makes no way"):
        planned(brisvik, leg_from(57.0, 11.0, 90.0, 5.0), (0.0, 0.0))


def test_in_a_calm_the_stream_alone_carries_her_in_its_own_direction_and_sails_help(brisvik):
    # A stream under a calm is a wind over the water: 2 kn of it, from where the stream goes.
    plan = planned(brisvik, leg_from(57.0, 11.0, 90.0, 5.0), (0.0, 0.0), (90.0, 2.0))
    assert plan.legs[0].boards[0].tws_kn == pytest.approx(2.0)
    assert plan.elapsed_h < 2.5


def test_a_stream_too_strong_is_said_in_sailors_words(brisvik):
    with pytest.raises(NoPlanError, match=r"stream, setting 180° at 9\.0 kn, carries her off"):
        planned(brisvik, leg_from(57.0, 11.0, 0.0, 5.0), (0.0, 10.0), (180.0, 9.0))


def test_more_wind_than_any_sail_set_bears_is_no_plan(brisvik):
    with pytest.raises(NoPlanError, match="no sail set may be carried in 60"):
        planned(brisvik, leg_from(57.0, 11.0, 0.0, 5.0), (0.0, 60.0))


def test_equal_marks_in_a_row_are_dropped_and_said(brisvik):
    marks = marks_at((57.0, 11.0), (57.000001, 11.0), (57.1, 11.0), (57.1, 11.0))
    plan = planned(brisvik, marks)
    assert [m.name for m in plan.marks] == ["M0", "M2"]
    assert sum("dropped" in notice for notice in plan.notices) == 2


@pytest.mark.parametrize(
    ("marks", "fault"),
    [
        pytest.param([], "no marks", id="none"),
        pytest.param([(57.0, 11.0)], "only one mark", id="one"),
        pytest.param([(57.0, 11.0), (57.0, 11.0)], "only one mark", id="twice-the-same"),
        pytest.param([(57.0, 11.0), (89.9, 11.0)], "latitude 89.9", id="pole"),
        pytest.param([(57.0, 11.0), (float("nan"), 11.0)], "latitude nan", id="nan"),
    ],
)
def test_what_is_no_passage_is_refused(brisvik, marks, fault):
    with pytest.raises(InputError, match=fault):
        planned(brisvik, marks_at(*marks))


def test_a_departure_without_zone_is_refused(brisvik):
    with pytest.raises(InputError, match="zone"):
        make(marks_at((57, 11), (58, 11)), brisvik, SteadyWeather(0, 10), datetime(2027, 6, 1))
