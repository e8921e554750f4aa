"""What else a leg could be sailed by: the same minutes as planning it so."""

from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from goosewing.boat.manoeuvres import cost_table_h
from goosewing.errors import NoPlanError
from goosewing.options import Options
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.steady import alternatives, cheapest_chain, solver
from goosewing.weather.steady import SteadyWeather
from goosewing.words.alternatives import alternative_lines, alternative_name
from random_boats import random_boat

JUNE = datetime(2027, 6, 12, 6, tzinfo=UTC)
SECOND_MIN = 1.0 / 60.0
"""Times are sums of the same boards: a second is rounding of the search for the best angle."""


def marks(*places):
    return [Mark(name=f"M{at}", lat=lat, lon=lon) for at, (lat, lon) in enumerate(places)]


DOWNWIND = marks((57.0, 11.0), (57.0, 11.7))
TRIANGLE = marks((56.7, 12.3), (56.71, 11.8), (56.5, 12.2), (56.3, 12.2))


def with_sails(boat, *names):
    kept = tuple(sails for sails in boat.sail_sets if sails.name in names)
    return replace(boat, sail_sets=kept)


def alternative(plan, kind, leg=0):
    found = [each for each in plan.legs[leg].alternatives if each.kind == kind]
    return found[0] if found else None


@pytest.mark.parametrize("wind_from", [262.0, 270.0, 278.0, 285.0])
def test_without_the_pole_is_the_plan_of_a_boat_that_has_none(brisvik, wind_from):
    wind = SteadyWeather(wind_from, 12.0)
    plan = make(DOWNWIND, brisvik, wind, JUNE)
    unpoled = [sails.name for sails in brisvik.sail_sets if not sails.poled]
    bare = make(DOWNWIND, with_sails(brisvik, *unpoled), wind, JUNE)
    assert any(board.poled for leg in plan.legs for board in leg.boards)
    other = alternative(plan, "without the pole")
    assert other.added_min == pytest.approx(60 * (bare.elapsed_h - plan.elapsed_h), abs=SECOND_MIN)
    assert other.elapsed_h == pytest.approx(bare.elapsed_h, abs=SECOND_MIN / 60)
    assert other.manoeuvres == tuple(m.kind for m in bare.legs[0].manoeuvres)


def test_wing_and_wing_all_the_way_is_the_plan_of_a_boat_with_nothing_else(brisvik):
    seen = 0
    for miles in (0.2, 0.5, 1.0):  # on short legs the pole isn't worth its handling
        short = marks((57.0, 11.0), (57.0, 11.0 + miles / 32.8))
        jib = Options(start_with="main and jib", start_tack="port")
        plan = make(short, brisvik, SteadyWeather(274.0, 14.0), JUNE, jib)
        other = alternative(plan, "poled all the way")
        if other is None:
            assert all(board.poled for board in plan.legs[0].boards)
            continue
        seen += 1
        poled = make(short, with_sails(brisvik, "wing-and-wing"), SteadyWeather(274.0, 14.0), JUNE)
        pole_h = brisvik.manoeuvres.set_pole_s / 3600.0
        sailed_h = sum(board.elapsed_h for board in other.boards)
        assert sailed_h == pytest.approx(poled.elapsed_h, abs=SECOND_MIN / 60)
        assert other.elapsed_h - sailed_h == pytest.approx(pole_h, abs=1e-9)
        assert other.added_min == pytest.approx(
            60 * (other.elapsed_h - plan.elapsed_h), abs=SECOND_MIN
        )
    assert seen


@pytest.mark.parametrize("first", ["port", "starboard"])
def test_the_other_board_first_is_the_plan_asked_to_begin_so(brisvik, first):
    beat = marks((57.0, 11.0), (57.3, 11.1))
    wind = SteadyWeather(10.0, 12.0)
    plan = make(beat, brisvik, wind, JUNE)
    asked = make(beat, brisvik, wind, JUNE, Options(first=first))
    other = alternative(plan, "other board first")
    if plan.legs[0].boards[0].tack == first:
        assert other.boards[0].tack != first
    else:
        assert other.boards[0].tack == first
        expected = 60 * (asked.elapsed_h - plan.elapsed_h)
        assert other.added_min == pytest.approx(expected, abs=SECOND_MIN)


def test_straight_is_the_straight_course_where_no_manoeuvre_is_due(brisvik):
    seen = 0
    for off in np.arange(4.0, 180.0, 8.0):
        plan = make(DOWNWIND, brisvik, SteadyWeather(90.0 + off, 10.0), JUNE)
        other = alternative(plan, "straight")
        if other is None:
            assert len(plan.legs[0].boards) == 1 or plan.saved_min is None
            continue
        seen += 1
        assert len(other.boards) == 1
        assert other.added_min == pytest.approx(plan.saved_min, abs=SECOND_MIN)
    assert seen


@given(wind_from=st.floats(0, 359), wind_kn=st.floats(6, 20))
def test_nothing_else_is_faster_than_a_plan_that_may_do_as_it_likes(brisvik, wind_from, wind_kn):
    try:
        plan = make(TRIANGLE, brisvik, SteadyWeather(wind_from, wind_kn), JUNE,
                    Options(first="faster"))  # fmt: skip
    except NoPlanError:
        return
    for leg in plan.legs:
        planned = [(board.tack, board.sail_set) for board in leg.boards]
        for each in leg.alternatives:
            assert each.added_min > -SECOND_MIN
            assert [(b.tack, b.sail_set) for b in each.boards] != planned or each.added_min > 0
            assert each.elapsed_h >= sum(board.elapsed_h for board in each.boards)


@pytest.mark.parametrize("seed", range(6))
def test_minutes_are_those_of_the_cheapest_chain_through_each_way(seed):
    boat = random_boat(seed + 50)
    held = solver.sailable(boat, solver.steady_airs(boat, SteadyWeather(40.0 * seed, 9.0)))
    legs = [solver.leg_choice(held, a, b, Options()).ways for a, b in pairwise(TRIANGLE)]
    costs = cheapest_chain.Costs(held.modes, cost_table_h(boat, held.modes), (seed % 3,))
    free = [np.ones(len(ways), dtype=bool) for ways in legs]
    chosen = cheapest_chain.cheapest(legs, costs, free)
    found = alternatives.excess(legs, costs, chosen, free, free)

    def total(picks):
        return cheapest_chain.sailing_h(legs, picks) + cheapest_chain.manoeuvring_h(
            legs, costs, picks
        )

    for number, ways in enumerate(legs):
        for way in range(len(ways)):
            only = [*free[:number], np.arange(len(ways)) == way, *free[number + 1 :]]
            forced = total(cheapest_chain.cheapest(legs, costs, only)) - total(chosen)
            assert found.hours[number][way] == pytest.approx(forced, abs=1e-9)


def test_what_it_costs_is_told_in_the_order_of_the_minutes(brisvik):
    plan = make(DOWNWIND, brisvik, SteadyWeather(283.0, 12.0), JUNE)
    lines = alternative_lines(plan.legs[0])
    minutes = sorted(each.added_min for each in plan.legs[0].alternatives)
    assert lines[0].added == ("the same" if minutes[0] < 0.5 else f"+{minutes[0]:.0f} min")
    names = " ".join(line.name for line in lines)
    assert "straight" in names
    assert "without the pole" in names
    assert all(alternative_name(each) for each in plan.legs[0].alternatives)


@pytest.mark.parametrize("wind_from", np.arange(0.0, 360.0, 15.0))
def test_no_reason_contradicts_the_minutes(brisvik, wind_from):
    plan = make(TRIANGLE, brisvik, SteadyWeather(float(wind_from), 11.0), JUNE)
    for leg in plan.legs:
        said = " ".join(leg.reasons)
        straight = [each for each in leg.alternatives if each.kind == "straight"]
        if "would take" in said:
            assert f"{straight[0].added_min:.0f} min longer" in said
        if "so she keeps" in said:
            kept = said.split("she keeps ")[1].rstrip(".")
            assert kept in {board.sail_set for board in leg.boards}
    assert all(a.destination == b.origin for a, b in pairwise(plan.legs))
