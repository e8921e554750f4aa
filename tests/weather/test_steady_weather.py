"""Steady wind and stream, and their text form."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from goosewing.errors import InputError
from goosewing.weather.base import Weather
from goosewing.weather.steady import (
    SteadyWeather,
    parse_current,
    parse_wind,
)
from goosewing.weather.wind import components_from, components_to, direction_to

ROUNDING = 1e-12


def test_follows_the_protocol():
    weather = SteadyWeather(240.0, 12.0)
    assert isinstance(weather, Weather)
    assert not weather.varies_in_time
    assert not weather.varies_in_place
    assert weather.coverage.start is None


@pytest.mark.parametrize(
    ("from_deg", "east", "north"),
    [(0.0, 0.0, -1.0), (90.0, -1.0, 0.0), (180.0, 0.0, 1.0), (270.0, 1.0, 0.0), (360.0, 0.0, -1.0)],
)
def test_a_wind_blows_from_and_a_stream_sets_towards(from_deg, east, north):
    assert components_from(from_deg, 1.0) == pytest.approx((east, north), abs=ROUNDING)
    assert components_to(from_deg, 1.0) == pytest.approx((-east, -north), abs=ROUNDING)


def test_at_broadcasts_and_keeps_the_shape():
    weather = SteadyWeather(270.0, 10.0, 0.0, 2.0, 14.0)
    got = weather.at(np.zeros((3, 1)), np.zeros(4), 11.0)
    assert {part.shape for part in got} == {(3, 4)}
    assert got.wind_east_kn == pytest.approx(10.0, abs=ROUNDING)
    assert got.stream_north_kn == pytest.approx(2.0, abs=ROUNDING)
    assert got.gust_kn == pytest.approx(14.0)
    assert np.isnan(SteadyWeather(270.0, 10.0).at(0.0, 0.0, 0.0).gust_kn)
    assert np.isnan(weather.at(0.0, math.nan, 0.0).wind_east_kn)


@settings(deadline=None)
@given(st.floats(0.0, 359.999), st.floats(0.01, 100.0))
def test_direction_comes_back(angle, speed):
    back = direction_to(*components_to(angle, speed))
    assert abs((back - angle + 180.0) % 360.0 - 180.0) < 1e-9
    assert 0.0 <= back < 360.0


@pytest.mark.parametrize(
    ("fields", "names"),
    [
        ((-1.0, 5.0), "wind_from_deg"),
        ((361.0, 5.0), "wind_from_deg"),
        ((math.nan, 5.0), "wind_from_deg"),
        ((10.0, -5.0), "wind_kn"),
        ((10.0, math.inf), "wind_kn"),
        ((10.0, 151.0), "wind_kn"),
        ((10.0, 5.0, 400.0, 1.0), "set_deg"),
        ((10.0, 5.0, 40.0, 31.0), "drift_kn"),
        ((10.0, 5.0, None, 1.0), "set_deg"),
        ((10.0, 5.0, None, 0.0, 4.0), "gust_kn"),
        ((10.0, 5.0, None, 0.0, math.nan), "gust_kn"),
    ],
)
def test_bad_values_are_refused_by_name(fields, names):
    with pytest.raises(InputError, match=names) as caught:
        SteadyWeather(*fields)
    assert "\n" not in str(caught.value)


def test_text_is_read():
    assert parse_wind(" 240 / 12 ") == (240.0, 12.0)
    assert parse_wind("360/0") == (360.0, 0.0)
    assert parse_current("090/1.5") == (90.0, 1.5)


@pytest.mark.parametrize(
    "text",
    [
        "abc",
        "400/10",
        "-10/5",
        "240/-1",
        "nan/5",
        "240/nan",
        "240 12",
        "240/12/3",
        "",
        "240/",
        "240/inf",
        "1/151",
    ],
)
def test_bad_text_is_refused_with_one_line(text):
    for parse in (parse_wind, parse_current):
        with pytest.raises(InputError) as caught:
            parse(text)
        assert "\n" not in str(caught.value)
