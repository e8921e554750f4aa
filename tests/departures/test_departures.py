"""When to leave: what is counted on the way, held against hand sums and an almanac library."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from astral import Observer
from astral.sun import sunset

from changing_winds import DEPARTURE, START_H, Formula, leg
from goosewing.departures.compare import best_first, departures, wind_against_stream
from goosewing.errors import InputError
from goosewing.plan import make
from goosewing.weather.base import Conditions, Coverage, datetime_from_hours, hours_from_datetime
from goosewing.weather.combine import CombinedWeather, hold_last
from goosewing.weather.steady import SteadyWeather
from goosewing.weather.tides import parse_tides
from goosewing.weather.wind import components_to

A_LOOK_H = 1.0 / 60.0
"""The way is looked at once a minute."""


def hourly(count, start=DEPARTURE, step_h=1.0):
    return [start + timedelta(hours=step_h * number) for number in range(count)]


def steady(*values, **more):
    """A wind that changes nowhere, told to be one that changes: the search plans it."""
    return Formula(lambda *_: values, **more)


# ---- which is best ---------------------------------------------------------------------------


@pytest.mark.long
@pytest.mark.parametrize(
    "weather",
    [SteadyWeather(0.0, 10.0), steady(0.0, 10.0, np.nan, 0.0, 0.0)],
    ids=["steady", "told as changing"],
)
def test_in_a_steady_wind_every_departure_takes_as_long(brisvik, weather):
    found = departures(leg(57.0, 11.0, 0.0, 12.0), brisvik, weather, hourly(4, step_h=7.0))
    elapsed = [each.elapsed_h for each in found]
    assert max(elapsed) <= 1.001 * min(elapsed)


def test_it_pays_to_wait_for_a_wind_that_frees(brisvik):
    # Dead to windward for six hours, then on the beam: in 10 kn a beat makes some 4 kn
    # good, a reach well over 5; whoever leaves after the shift reaches all the way.
    weather = Formula(lambda t, *_: (np.where(t < 6.0, 0.0, 90.0), 10.0, np.nan, 0.0, 0.0))
    marks = leg(57.0, 11.0, 0.0, 20.0)
    found = departures(marks, brisvik, weather, hourly(3, step_h=3.5))
    assert [each.departure for each in found] == [
        DEPARTURE + timedelta(hours=h) for h in (7, 3.5, 0)
    ]
    reach = make(marks, brisvik, SteadyWeather(90.0, 10.0), DEPARTURE)
    beat = make(marks, brisvik, SteadyWeather(0.0, 10.0), DEPARTURE)
    assert found[0].elapsed_h == pytest.approx(reach.elapsed_h, rel=1e-3)
    assert found[2].elapsed_h == pytest.approx(beat.elapsed_h, rel=5e-3)
    assert found[0].upwind_h == 0.0
    turning = sum(m.cost_s for m in found[2].plan.legs[0].manoeuvres) / 3600.0
    assert found[2].upwind_h == pytest.approx(found[2].elapsed_h - turning, abs=1e-6)


def test_she_stays_to_windward_until_the_wind_shifts_at_a_stroke(brisvik):
    weather = Formula(lambda t, *_: (np.where(t < 6.0, 0.0, 90.0), 10.0, np.nan, 0.0, 0.0))
    begin = DEPARTURE + timedelta(hours=3.5)
    (found,) = departures(leg(57.0, 11.0, 0.0, 20.0), brisvik, weather, [begin])
    # Between two points of a board, which lie up to a quarter of an hour apart.
    assert found.upwind_h == pytest.approx(2.5, abs=0.25)


def test_of_equals_the_one_that_arrives_by_day_comes_first_then_the_earlier(brisvik):
    evening = datetime(2027, 6, 1, 19, tzinfo=UTC)
    found = departures(
        leg(57.0, 11.0, 90.0, 12.0),
        brisvik,
        SteadyWeather(0.0, 10.0),
        [evening + timedelta(hours=h) for h in (0, 4, 7, 11)],
    )
    # 12 nm take some two hours; the sun sets about 1955Z and rises about 0235Z.
    assert [each.departure.hour for each in found] == [2, 6, 19, 23]
    assert [each.arrives_in_daylight for each in found] == [True, True, False, False]
    assert best_first(reversed(found)) == found


# ---- what is counted -------------------------------------------------------------------------


@pytest.mark.long
def test_the_wind_meets_the_stream_where_the_hand_sum_says(brisvik):
    # Wind from north. From six hours before high water the stream sets north, at most 1.8 kn, as
    # a rule of twelfths would have it in straight pieces; it passes 1 kn upwards two thirds into
    # the second hour and downwards a third into the fifth: 2 h 40 min from 4 h 20 min before HW.
    rates = [0.0, 0.6, 1.2, 1.8, 1.2, 0.6, 0.0, 0.6, 1.2, 1.8, 1.2, 0.6, 0.0]
    rows = [[h, 0 if h < 0 else 180, r, r] for h, r in zip(range(-6, 7), rates, strict=True)]
    high = datetime(2027, 6, 1, 12, tzinfo=UTC)
    tides = parse_tides(
        f"springs_range_m = 4\nneaps_range_m = 2\n[[high_water]]\ntime = {high.isoformat()}\n"
        f"range_m = 3\n[[stream]]\nhours = {rows}\n"
    )
    weather = CombinedWeather(SteadyWeather(0.0, 12.0), tides)
    times = [high - timedelta(hours=6), high - timedelta(hours=3), high]
    found = departures(leg(57.0, 11.0, 90.0, 30.0), brisvik, weather, times)
    against = {(each.departure - high) / timedelta(hours=1): each.against_h for each in found}
    assert all(each.elapsed_h > 13.0 / 3.0 for each in found)
    assert against[-6.0] == pytest.approx(8.0 / 3.0, abs=A_LOOK_H)
    assert against[-3.0] == pytest.approx(4.0 / 3.0, abs=A_LOOK_H)
    assert against[0.0] == 0.0


@pytest.mark.parametrize(
    ("setting_deg", "drift_kn", "meets"),
    [
        *((0, 1.5, True), (59, 1.5, True), (61, 1.5, False), (301, 1.5, True), (299, 1.5, False)),
        *((180, 3.0, False), (0, 1.0, False), (0, 1.001, True)),
    ],
)
def test_within_sixty_degrees_and_over_a_knot_wind_meets_stream(setting_deg, drift_kn, meets):
    east, north = components_to(180.0, 10.0)  # from north
    stream = components_to(setting_deg, drift_kn)
    assert bool(wind_against_stream(Conditions(east, north, np.nan, *stream))) is meets


def test_no_wind_meets_no_stream():
    assert not wind_against_stream(
        Conditions(*np.zeros((2, 1)), np.nan, np.zeros(1), np.ones(1) * 2)
    )


def test_night_begins_at_an_almanac_library_s_sunset(brisvik):
    start = datetime(2027, 6, 1, 17, tzinfo=UTC)
    (found,) = departures(leg(57.0, 11.0, 90.0, 30.0), brisvik, SteadyWeather(0.0, 10.0), [start])
    # Where she is when the sun sets, found by asking where that is once more.
    lon = 11.5
    for _ in range(3):
        down = sunset(Observer(57.0, lon, 0.0), date(2027, 6, 1), tzinfo=UTC)
        share = (down - start) / (found.arrival - start)
        lon = 11.0 + share * (found.plan.marks[1].lon - 11.0)
    expected = (found.arrival - down) / timedelta(hours=1)
    assert 1.0 < expected < 3.0
    # Both almanacs are low-precision series; refraction alone is uncertain by minutes.
    assert found.night_h == pytest.approx(expected, abs=2.0 / 60.0 + A_LOOK_H)
    assert found.arrives_in_daylight is False


def test_strongest_wind_and_gust_are_those_met_over_the_ground(brisvik):
    # 10 kn that grow by a knot an hour, gusts a third more, and a stream with the wind.
    weather = Formula(lambda t, *_: (0.0, 10.0 + t, (10.0 + t) * 4.0 / 3.0, 0.0, -1.0))
    (found,) = departures(leg(57.0, 11.0, 90.0, 30.0), brisvik, weather, [DEPARTURE])
    assert found.strongest_wind_kn == pytest.approx(10.0 + found.elapsed_h, abs=1e-6)
    assert found.strongest_gust_kn == pytest.approx((10.0 + found.elapsed_h) * 4 / 3, abs=1e-6)


def test_a_gust_that_nobody_knows_is_unknown(brisvik):
    marks = leg(57.0, 11.0, 180.0, 12.0)
    (found,) = departures(marks, brisvik, SteadyWeather(0.0, 10.0), [DEPARTURE])
    assert found.strongest_gust_kn is None
    poled = [board.elapsed_h for board in found.plan.legs[0].boards if board.poled]
    assert poled
    assert found.poled_h == pytest.approx(sum(poled))


def test_hours_beyond_the_forecast_are_counted_from_its_end(brisvik):
    ends = datetime_from_hours(START_H + 2.0)
    source = steady(0.0, 10.0, np.nan, 0.0, 0.0, coverage=Coverage(start=DEPARTURE, end=ends))
    (found,) = departures(leg(57.0, 11.0, 90.0, 30.0), brisvik, hold_last(source), [DEPARTURE])
    beyond = hours_from_datetime(found.arrival) - hours_from_datetime(ends)
    assert found.beyond_forecast_h == pytest.approx(beyond, abs=A_LOOK_H)


# ---- what can't be planned -------------------------------------------------------------------


def test_departures_without_a_plan_stand_last_with_their_reason(brisvik):
    cover = Coverage(start=DEPARTURE, end=DEPARTURE + timedelta(hours=6))
    weather = Formula(
        lambda t, *_: (0.0, np.where(t <= 6.0, 10.0, np.nan), np.nan, 0.0, 0.0), coverage=cover
    )
    marks = leg(57.0, 11.0, 90.0, 15.0)
    found = departures(
        marks, brisvik, weather, [DEPARTURE + timedelta(hours=h) for h in (5, -1, 0)]
    )
    assert [(each.departure - DEPARTURE) / timedelta(hours=1) for each in found] == [0, -1, 5]
    assert [each.plan is None for each in found] == [False, True, True]
    assert "begins" in found[1].reason or "covers" in found[1].reason
    assert not found[1].ends_too_soon
    assert "before the forecast ends" in found[2].reason
    assert found[2].ends_too_soon


def test_what_is_wrong_with_all_is_raised(brisvik):
    with pytest.raises(InputError, match="zone"):
        departures(leg(57.0, 11.0, 0.0, 5.0), brisvik, SteadyWeather(0, 10), [datetime(2027, 6, 1)])
    with pytest.raises(InputError, match="at least two"):
        departures(leg(57.0, 11.0, 0.0, 5.0)[:1], brisvik, SteadyWeather(0, 10), [DEPARTURE])


def test_progress_is_told(brisvik):
    told = []
    departures(
        leg(57.0, 11.0, 90.0, 5.0), brisvik, SteadyWeather(0.0, 10.0), hourly(3),
        progress=lambda *each: told.append(each),
    )  # fmt: skip
    assert told == [(1, 3), (2, 3), (3, 3)]
