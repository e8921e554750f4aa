"""Plans in changing wind and stream: what must hold of every one of them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, timedelta
from functools import partial
from itertools import pairwise

import numpy as np
import pytest
from astral import Observer
from astral.sun import sunrise, sunset
from hypothesis import given, settings
from hypothesis import strategies as st

from changing_winds import DEPARTURE, FREE, START_H, Formula, leg, metres_apart, sailed, turning
from goosewing.boat.model import PolarTable, SailSet
from goosewing.changing import solver
from goosewing.changing.ways import Search
from goosewing.errors import NoPlanError, OutsideForecastError
from goosewing.options import Options
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.weather.base import WIND
from goosewing.weather.combine import hold_last
from goosewing.weather.grid import GridWeather, LatLonGrid, layer_of
from goosewing.weather.steady import SteadyWeather


def waving(t, lat, lon):
    """Wind and stream that change with both time and place."""
    return (
        25.0 * np.sin(2.0 * np.pi * t / 19.0 + 2.0 * lat) + 15.0 * np.sin(1.3 * lon + t / 11.0),
        11.0 + 3.0 * np.sin(t / 9.0 + lon),
        np.nan,
        0.6 * np.sin(2.0 * np.pi * t / 12.4),
        0.4 * np.cos(2.0 * np.pi * t / 12.4),
    )


EVERYWHERE = Formula(waving, in_place=True)


def planned(boat, marks, weather, **options):
    return make(marks, boat, weather, DEPARTURE, Options(**options))


def boards_of(plan):
    return [board for part in plan.legs for board in part.boards]


def seconds(time, other):
    return abs((time - other).total_seconds())


def check_joins(plan):
    """Boards, manoeuvres and legs follow one another without a gap."""
    now, here = plan.departure, plan.marks[0]
    for part, mark in zip(plan.legs, plan.marks[1:], strict=True):
        done = list(part.manoeuvres)
        for board in part.boards:
            while done and seconds(done[0].time, now) < 1.0:
                now += timedelta(seconds=done.pop(0).cost_s)
            assert seconds(board.start.time, now) < 0.01
            assert metres_apart(board.start, here) < 0.01
            now, here = board.end.time, board.end
            assert seconds(now, board.start.time + timedelta(hours=board.elapsed_h)) < 0.01
            assert [board.points[0].lat, board.points[-1].lat] == [board.start.lat, board.end.lat]
            assert all(a.time < b.time for a, b in pairwise(board.points))
        assert not done
        assert metres_apart(here, mark) < 5.0
        costs = sum(each.cost_s for each in part.manoeuvres) / 3600.0
        spent = sum(board.elapsed_h for board in part.boards) + costs
        assert part.elapsed_h == pytest.approx(spent, abs=1e-9)
    assert seconds(now, plan.arrival) < 0.01
    assert plan.elapsed_h == pytest.approx(sum(part.elapsed_h for part in plan.legs), abs=1e-9)


def check_sailed(boat, weather, plan, within_m):
    """Each order to the helm, integrated by the test, ends where the plan says."""
    for board in boards_of(plan):
        lat, lon = sailed(boat, weather, board)
        there = Mark(name="sailed", lat=lat, lon=lon)
        assert metres_apart(there, board.end) < within_m * max(1.0, board.elapsed_h)


# ---- boards ----------------------------------------------------------------------------------


@pytest.mark.long
@pytest.mark.parametrize(
    ("lat", "lon", "bearing", "nm"),
    [
        (57.0, 11.0, 0.0, 40.0),
        (57.0, 11.0, 185.0, 50.0),
        (-33.0, 179.7, 80.0, 45.0),
        (75.0, 20.0, 20.0, 30.0),
        (0.1, -0.2, 150.0, 30.0),
    ],
)
@pytest.mark.parametrize("place", [False, True])
def test_boards_join_end_at_the_mark_and_can_be_sailed(brisvik, lat, lon, bearing, nm, place):
    weather = EVERYWHERE if place else turning(4.0, 10.0, 9.0, 0.4, (0.3, -0.5))
    plan = planned(brisvik, leg(lat, lon, bearing, nm), weather)
    check_joins(plan)
    check_sailed(brisvik, weather, plan, within_m=20.0)
    least = plan.relaxed_h if place else plan.bound_h
    assert least <= plan.elapsed_h * (1.0 + 1e-4)
    assert all(-180.0 <= point.lon < 180.0 for b in boards_of(plan) for point in b.points)


@pytest.mark.long
def test_several_marks_are_reached_in_turn(brisvik):
    a, b = leg(56.0, 11.0, 20.0, 25.0)
    c = replace(leg(b.lat, b.lon, 200.0, 20.0)[1], name="C")
    d = replace(leg(c.lat, c.lon, 290.0, 18.0)[1], name="D")
    plan = planned(brisvik, [a, b, c, d], EVERYWHERE)
    check_joins(plan)
    check_sailed(brisvik, EVERYWHERE, plan, within_m=20.0)
    assert [(part.origin, part.destination) for part in plan.legs] == [
        ("A", "B"), ("B", "C"), ("C", "D"),
    ]  # fmt: skip


@pytest.mark.long
def test_marks_a_cables_length_apart_are_reached_too(brisvik):
    for bearing in (5.0, 95.0, 185.0):
        plan = planned(brisvik, leg(57.0, 11.0, bearing, 200.0 / 1852.0), turning(5.0))
        check_joins(plan)
        assert plan.elapsed_h < 0.1


@pytest.mark.long
@pytest.mark.parametrize("shortest", [15.0, 45.0, 90.0])
def test_no_board_is_shorter_than_asked(brisvik, shortest):
    plan = planned(brisvik, leg(57.0, 11.0, 0.0, 40.0), EVERYWHERE, shortest_board_min=shortest)
    boards = boards_of(plan)
    assert len(boards) > 1
    assert min(board.elapsed_h for board in boards) >= shortest / 60.0 - 1e-6


@pytest.mark.long
def test_longer_boards_cost_time_never_gain_it(brisvik):
    times = [
        planned(brisvik, leg(57.0, 11.0, 0.0, 40.0), EVERYWHERE, shortest_board_min=m).elapsed_h
        for m in (0.0, 60.0, 150.0)
    ]
    assert all(b >= a * (1.0 - 1e-3) for a, b in pairwise(times))


@pytest.mark.long
@pytest.mark.parametrize("tack", ["port", "starboard"])
def test_the_sails_she_is_under_are_changed_at_a_cost(brisvik, tack):
    marks = leg(57.0, 11.0, 0.0, 15.0)
    weather = turning(4.0)
    free = planned(brisvik, marks, weather)
    held = planned(brisvik, marks, weather, start_with="main alone", start_tack=tack)
    check_joins(held)
    first = held.legs[0].boards[0]
    changed = first.sail_set != "main alone" or first.tack != tack
    assert changed == bool(
        held.legs[0].manoeuvres and held.legs[0].manoeuvres[0].time == held.departure
    )
    assert held.elapsed_h >= free.elapsed_h * (1.0 - 1e-3)
    assert held.elapsed_h <= free.elapsed_h + (300.0 + 45.0) / 3600.0 + 1e-3


# ---- the same in other words -----------------------------------------------------------------


@pytest.mark.long
@pytest.mark.parametrize("bearing", [0.0, 75.0, 165.0, 180.0, 200.0])
@pytest.mark.parametrize("stream", [(0.0, 0.0), (30.0, 1.5)])
def test_wind_and_stream_that_only_might_change_give_the_steady_plan(brisvik, bearing, stream):
    steady = SteadyWeather(0.0, 11.0, *stream)
    here = steady.at(0.0, 0.0, 0.0)
    might = Formula(
        lambda *_: (0.0, 11.0, np.nan, float(here.stream_east_kn), float(here.stream_north_kn))
    )
    marks = leg(57.0, 11.0, bearing, 25.0)
    expected = planned(brisvik, marks, steady)
    found = planned(brisvik, marks, might)
    assert found.elapsed_h == pytest.approx(expected.elapsed_h, rel=1e-3)


def test_mirrored_in_the_meridian_it_takes_the_same_time(brisvik):
    def mirrored(t, lat, lon):
        twd, kn, gust, east, north = waving(t, lat, -lon)
        return -twd, kn, gust, -east, north

    marks = leg(56.0, 11.0, 25.0, 40.0)
    there = [replace(mark, lon=-mark.lon) for mark in marks]
    one = planned(brisvik, marks, EVERYWHERE)
    other = planned(brisvik, there, Formula(mirrored, in_place=True))
    assert other.elapsed_h == pytest.approx(one.elapsed_h, rel=2e-3)


@pytest.mark.long
def test_across_the_antimeridian_it_takes_the_time_it_takes_elsewhere(brisvik):
    times = [
        planned(brisvik, leg(-20.0, lon, 60.0, 30.0), turning(4.0, 40.0)).elapsed_h
        for lon in (11.0, 179.8, -180.0)
    ]
    assert times == pytest.approx([times[0]] * 3, rel=1e-4)


# ---- more to choose from ---------------------------------------------------------------------


def extra_sails(seed):
    rng = np.random.default_rng(seed)
    low, high = sorted(rng.uniform(40.0, 180.0, 2))
    angles = np.linspace(low, max(high, low + 20.0), 5).clip(0, 180)
    angles = np.unique(angles)
    values = np.outer(rng.uniform(0.5, 1.1, angles.size), [3.0, 5.5, 7.0, 7.5])
    table = PolarTable(tws_kn=np.array([5.0, 10.0, 16.0, 30.0]), twa_deg=angles, values=values)
    return SailSet(name="extra", polar=table)


@pytest.mark.long
@given(seed=st.integers(0, 10_000), bearing=st.sampled_from([0.0, 60.0, 120.0, 165.0, 180.0]))
@settings(max_examples=4, derandomize=True)
def test_a_free_extra_sail_set_never_slows_a_plan(brisvik, seed, bearing):
    boat = replace(brisvik, manoeuvres=FREE)
    more = replace(boat, sail_sets=(*boat.sail_sets, extra_sails(seed)))
    marks = leg(57.0, 11.0, bearing, 30.0)
    without = planned(boat, marks, EVERYWHERE)
    assert planned(more, marks, EVERYWHERE).elapsed_h <= without.elapsed_h * 1.002


@pytest.mark.long
@pytest.mark.parametrize(
    ("bearing", "nm", "place"),
    [(0.0, 40.0, True), (180.0, 45.0, True), (170.0, 40.0, False), (100.0, 50.0, True)],
)
def test_a_finer_search_never_gives_a_slower_plan(brisvik, monkeypatch, bearing, nm, place):
    weather = EVERYWHERE if place else turning(4.0)
    marks = leg(56.0, 11.0, bearing, nm)
    usual = planned(brisvik, marks, weather)
    monkeypatch.setattr(solver, "Search", partial(Search, fineness=2.0))
    finer = planned(brisvik, marks, weather)
    assert finer.elapsed_h <= usual.elapsed_h * 1.002
    # And the usual one is not far from it.
    assert usual.elapsed_h <= finer.elapsed_h * 1.005


# ---- limits of the sails ---------------------------------------------------------------------


def poled(plan):
    return [board for board in boards_of(plan) if board.sail_set == "wing-and-wing"]


@pytest.mark.long
def test_the_pole_stays_down_in_gusts_beyond_its_limit(brisvik):
    marks = leg(57.0, 11.0, 185.0, 25.0)
    assert poled(planned(brisvik, marks, turning(1.0, kn=15.0)))
    assert poled(planned(brisvik, marks, turning(1.0, kn=15.0, gust=21.0)))
    assert not poled(planned(brisvik, marks, turning(1.0, kn=15.0, gust=23.0)))


@pytest.mark.long
def test_the_pole_comes_down_before_the_gusts_reach_its_limit(brisvik):
    def rising(t, _lat, _lon):
        return 0.0, 15.0, 18.0 + t, 0.0, 0.0

    plan = planned(brisvik, leg(57.0, 11.0, 180.0, 60.0), Formula(rising))
    running = poled(plan)
    assert running
    # The limit is 22 kn, reached after four hours; steps of a quarter hour, judged at their middle.
    last = max(board.end.time for board in running)
    assert last <= DEPARTURE + timedelta(hours=4, minutes=8)
    assert last >= DEPARTURE + timedelta(hours=3)


@pytest.mark.long
def test_by_night_the_pole_stays_down_where_the_boat_file_says_so(brisvik):
    boat = replace(brisvik, night_poled=False)
    marks = leg(45.0, -10.0, 180.0, 150.0)
    weather = turning(0.3, kn=12.0)
    free = poled(planned(brisvik, marks, weather))
    assert any(board.start.time.day < board.end.time.day for board in free)
    plan = planned(boat, marks, weather)
    check_joins(plan)
    running = poled(plan)
    assert sum(board.elapsed_h for board in running) > 8.0
    slack = timedelta(minutes=10)  # steps of a quarter hour, judged at their middle
    for board in running:
        for point in board.points:
            where = Observer(point.lat, point.lon, 0.0)
            day = (point.time + timedelta(hours=point.lon / 15.0)).date()
            assert point.time >= sunrise(where, day, tzinfo=UTC) - slack
            assert point.time <= sunset(where, day, tzinfo=UTC) + slack


# ---- forecasts that end, streams that are too strong, areas that are too small ----------------


def forecast(hours, lat=(55.0, 60.0), lon=(8.0, 16.0)):
    """A turning wind written on a grid of a quarter degree, hour by hour."""
    lats, lons = np.arange(lat[0], lat[1] + 0.1, 0.25), np.arange(lon[0], lon[1] + 0.1, 0.25)
    times = START_H + np.arange(hours + 1.0)
    angle = np.radians(3.0 * np.arange(hours + 1.0))[:, np.newaxis] * np.ones(lats.size * lons.size)
    parts = {WIND[0]: -11.0 * np.sin(angle), WIND[1]: -11.0 * np.cos(angle)}
    return GridWeather((layer_of(parts, LatLonGrid(lats, lons), times),))


def test_a_forecast_that_ends_too_early_is_said_in_one_line(brisvik):
    with pytest.raises(
        OutsideForecastError, match=r"^B is not reached before the forecast ends"
    ) as fault:
        planned(brisvik, leg(57.0, 11.0, 0.0, 60.0), forecast(6))
    assert "2027-06-01 at 1200Z" in str(fault.value)
    assert "\n" not in str(fault.value)


def test_a_forecast_that_has_nothing_at_the_start_is_said_in_one_line(brisvik):
    with pytest.raises(OutsideForecastError, match=r"^the forecast knows no wind at A$"):
        planned(brisvik, leg(50.0, 11.0, 0.0, 60.0), forecast(6))


def test_a_forecast_whose_area_ends_before_the_mark_is_said_in_one_line(brisvik):
    with pytest.raises(OutsideForecastError, match=r"^the forecast knows no wind at B$"):
        planned(brisvik, leg(59.5, 11.0, 0.0, 60.0), forecast(40))


@pytest.mark.long
def test_held_on_its_last_values_mark_the_boards_and_are_said(brisvik):
    end = DEPARTURE + timedelta(hours=6)
    plan = planned(brisvik, leg(57.0, 11.0, 0.0, 60.0), hold_last(forecast(6)))
    check_joins(plan)
    for board in boards_of(plan):
        assert board.beyond_forecast == (board.end.time > end)
    assert any(board.beyond_forecast for board in boards_of(plan))
    assert any("forecast ends" in notice for notice in plan.notices)


@pytest.mark.parametrize("place", [False, True])
def test_a_stream_too_strong_is_no_plan(brisvik, place):
    weather = Formula(lambda t, _lat, _lon: (2.0 * t, 8.0, np.nan, 0.0, -9.0), in_place=place)
    with pytest.raises(NoPlanError, match="B can't be made"):
        planned(brisvik, leg(57.0, 11.0, 0.0, 20.0), weather)
    plan = planned(brisvik, leg(57.0, 11.0, 180.0, 20.0), weather)
    check_joins(plan)
    assert plan.elapsed_h < 20.0 / 9.0


@pytest.mark.long
def test_where_the_wind_is_far_aside_the_search_goes_there(brisvik):
    """Next to no wind on the rhumb line, a fresh breeze half a degree north of it."""

    def aside(_t, lat, _lon):
        share = np.clip((lat - 0.1) / 0.3, 0.0, 1.0)
        return 270.0, 2.0 + 14.0 * share, np.nan, 0.0, 0.0

    marks = leg(0.0, 11.0, 90.0, 30.0)
    plan = planned(brisvik, marks, Formula(aside, in_place=True, in_time=False))
    check_joins(plan)
    straight = plan.straight_h
    assert straight is not None
    north = max(point.lat for board in boards_of(plan) for point in board.points)
    assert north > 0.3
    assert plan.elapsed_h < 0.9 * straight
