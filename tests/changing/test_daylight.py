"""Sunrise and sunset against `astral`."""

from __future__ import annotations

from datetime import UTC, date, timedelta

import numpy as np
import pytest
from astral import Observer
from astral.sun import sunrise, sunset
from scipy.optimize import brentq

from goosewing.earth import sun
from goosewing.weather.base import hours_from_datetime

WITHIN_H = 2.0 / 60.0
"""Both are low-precision series; refraction at the horizon alone is uncertain by minutes."""

PLACES = [(0.0, 0.0), (36.1, -5.4), (-34.0, 151.0), (57.1, 11.2), (-54.8, -68.3), (64.1, -22.0)]
DAYS = [date(2025, 3, 20), date(2027, 6, 21), date(2026, 9, 5), date(2027, 12, 21)]


@pytest.mark.parametrize(("lat", "lon"), PLACES)
@pytest.mark.parametrize("day", DAYS)
@pytest.mark.parametrize("event", [sunrise, sunset])
def test_sunrise_and_sunset_are_those_of_an_almanac_library(lat, lon, day, event):
    expected = hours_from_datetime(event(Observer(lat, lon, 0.0), day, tzinfo=UTC))

    def above(time_h):
        return float(sun.elevation_deg(time_h, lat, lon)) - sun.HORIZON_DEG

    found = brentq(above, expected - 1.0, expected + 1.0)
    assert found == pytest.approx(expected, abs=WITHIN_H)
    later = timedelta(minutes=3) / timedelta(hours=1)
    assert bool(sun.is_daylight(expected + later, lat, lon)) is (event is sunrise)
    assert bool(sun.is_daylight(expected - later, lat, lon)) is (event is sunset)


def test_beyond_the_polar_circle_the_midsummer_sun_stays_up_and_the_midwinter_sun_down():
    noon = hours_from_datetime(sunrise(Observer(0, 0, 0), date(2027, 6, 21), tzinfo=UTC))
    hours = noon + timedelta(days=1) / timedelta(hours=1) * (1 / 96) * np.arange(96)
    assert sun.is_daylight(hours, 75.0, 20.0).all()
    assert not sun.is_daylight(hours + 183 * 24.0, 75.0, 20.0).any()
