"""Two sources together, and last values held on."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from goosewing.errors import InputError
from goosewing.weather.base import Weather, hours_from_datetime
from goosewing.weather.combine import CombinedWeather, hold_last
from goosewing.weather.steady import SteadyWeather
from goosewing.weather.table import parse_table

SIX = datetime(2027, 6, 1, 6, tzinfo=UTC)
SIX_H = hours_from_datetime(SIX)


def wind(*speeds, start=SIX):
    rows = (
        f"{(start + timedelta(hours=n)).isoformat()},270,{speed},{speed + 3},0,9"
        for n, speed in enumerate(speeds)
    )
    return parse_table("time,wind_from_deg,wind_kn,gust_kn,set_deg,drift_kn\n" + "\n".join(rows))


def stream(*rates, start=SIX):
    rows = (f"{(start + timedelta(hours=n)).isoformat()},90,{rate}" for n, rate in enumerate(rates))
    return parse_table("time,set_deg,drift_kn\n" + "\n".join(rows))


def test_wind_of_one_and_stream_of_the_other():
    both = CombinedWeather(wind(10, 20), stream(1, 2, 3))
    assert isinstance(both, Weather)
    got = both.at(SIX_H + np.array([0.0, 0.5, 1.5]), 57.0, 11.0)
    np.testing.assert_allclose(got.wind_east_kn, [10.0, 15.0, np.nan], atol=1e-8)
    np.testing.assert_allclose(got.gust_kn, [13.0, 18.0, np.nan], atol=1e-8)
    np.testing.assert_allclose(got.stream_east_kn, [1.0, 1.5, 2.5], atol=1e-8)
    # The stream that the wind's own table knows (north, 9 kn) is left aside.
    np.testing.assert_allclose(got.stream_north_kn, 0.0, atol=1e-8)
    assert both.coverage.end == SIX + timedelta(hours=1)
    assert both.varies_in_time
    assert not both.varies_in_place


def test_a_steady_wind_takes_any_stream():
    both = CombinedWeather(SteadyWeather(270.0, 10.0), stream(1, 2))
    assert both.at(SIX_H + 1.0, 0.0, 0.0).stream_east_kn == pytest.approx(2.0)
    assert both.coverage.start == SIX


def test_sources_without_common_time_are_refused():
    with pytest.raises(InputError, match="no time in common"):
        CombinedWeather(wind(10, 20), stream(1, 2, start=SIX + timedelta(days=1)))


def test_the_last_values_hold_on_and_are_marked():
    held = hold_last(wind(10, 20))
    assert isinstance(held, Weather)
    times = SIX_H + np.array([-0.5, 0.5, 1.0, 1.5, 100.0])
    got = held.at(times, 57.0, 11.0)
    np.testing.assert_allclose(got.wind_east_kn, [np.nan, 15.0, 20.0, 20.0, 20.0], atol=1e-8)
    np.testing.assert_allclose(got.gust_kn, [np.nan, 18.0, 23.0, 23.0, 23.0], atol=1e-8)
    assert held.held(times).tolist() == [False, False, False, True, True]
    assert held.coverage.end is None
    assert hold_last(held) is held


def test_each_of_two_sources_is_held_from_its_own_end():
    held = hold_last(CombinedWeather(wind(10, 20), stream(1, 2, 3)))
    times = SIX_H + np.array([1.5, 2.5])
    got = held.at(times, 57.0, 11.0)
    np.testing.assert_allclose(got.wind_east_kn, [20.0, 20.0], atol=1e-8)
    np.testing.assert_allclose(got.stream_east_kn, [2.5, 3.0], atol=1e-8)
    assert held.held(times).tolist() == [True, True]


def test_what_never_ends_is_never_held():
    assert not hold_last(SteadyWeather(270.0, 10.0)).held([0.0, 1e9]).any()
