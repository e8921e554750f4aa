"""Angles reduced to a turn: the seams above all."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from goosewing.earth import geodesy
from goosewing.earth.angles import sin_cos_deg
from goosewing.errors import InputError

angles = st.floats(-1e6, 1e6)
JUST_BELOW = math.nextafter(180.0, 0.0)


@pytest.mark.parametrize(
    ("angle", "half", "whole", "lon"),
    [
        (0.0, 0.0, 0.0, 0.0),
        (-0.0, 0.0, 0.0, 0.0),
        (180.0, 180.0, 180.0, -180.0),
        (-180.0, 180.0, 180.0, -180.0),
        (540.0, 180.0, 180.0, -180.0),
        (-540.0, 180.0, 180.0, -180.0),
        (360.0, 0.0, 0.0, 0.0),
        (-360.0, 0.0, 0.0, 0.0),
        (359.5, -0.5, 359.5, -0.5),
        (-1e-17, -1e-17, 0.0, -1e-17),
        (-5e-324, -5e-324, 0.0, -5e-324),
        (JUST_BELOW, JUST_BELOW, JUST_BELOW, JUST_BELOW),
        (-JUST_BELOW, -JUST_BELOW, 360.0 - JUST_BELOW, -JUST_BELOW),
        (190.0, -170.0, 190.0, -170.0),
        (725.25, 5.25, 5.25, 5.25),
    ],
)
@pytest.mark.parametrize("shaped", [float, np.array, lambda x: [x, x]])
def test_seams(angle, half, whole, lon, shaped):
    for wrap, expected in (
        (geodesy.wrap_180, half),
        (geodesy.wrap_360, whole),
        (geodesy.wrap_longitude, lon),
    ):
        found = wrap(shaped(angle))
        assert np.shape(found) == np.shape(shaped(angle))
        assert np.all(found == expected)
        if expected == 0.0:
            assert not np.any(np.signbit(found))  # -0.0 would print a sign


@given(angles)
def test_within_the_interval_and_the_same_direction(angle):
    half, whole, lon = (
        geodesy.wrap_180(angle),
        geodesy.wrap_360(angle),
        geodesy.wrap_longitude(angle),
    )
    assert -180.0 < half <= 180.0
    assert 0.0 <= whole < 360.0
    assert -180.0 <= lon < 180.0
    # IEEE 754 remainder is exact.
    exact = math.remainder(angle, 360.0)
    for found, by in ((half, 0.0), (lon, 0.0), (whole, 6e-14)):
        assert abs(math.remainder(float(found) - exact, 360.0)) <= by


WRAPS = [geodesy.wrap_180, geodesy.wrap_360, geodesy.wrap_longitude]


@pytest.mark.parametrize("wrap", [*WRAPS, sin_cos_deg])
def test_infinity_is_no_angle(wrap):
    with pytest.raises(InputError, match="finite"):
        wrap([0.0, np.inf])


@pytest.mark.parametrize("wrap", WRAPS)
def test_nan_stays(wrap):
    assert np.isnan(wrap([np.nan, 400.0])).tolist() == [True, False]


@given(angles)
def test_sine_and_cosine(angle):
    sine, cosine = sin_cos_deg(angle)
    exact = math.radians(math.remainder(angle, 360.0))
    assert sine == pytest.approx(math.sin(exact), abs=5e-16)
    assert cosine == pytest.approx(math.cos(exact), abs=5e-16)
    # Within the doubles that a half turn leaves exact, the opposite is exactly opposite.
    whole = round(angle)
    ahead, astern = sin_cos_deg(whole), sin_cos_deg(whole + 180)
    assert (ahead[0], ahead[1]) == (-astern[0], -astern[1])
