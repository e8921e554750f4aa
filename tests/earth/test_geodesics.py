"""Geodesics against a second library, and their invariants."""

import subprocess
import sys

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from geopy.distance import geodesic
from hypothesis import assume, given
from hypothesis import strategies as st

from goosewing.earth import geodesy
from goosewing.errors import InputError

latitudes = st.floats(-90.0, 90.0)
longitudes = st.floats(-180.0, 180.0)
courses = st.floats(0.0, 360.0)
MICROMETRE_NM = 1e-6 / 1852


@given(latitudes, longitudes, latitudes, longitudes)
def test_inverse_agrees_with_geographiclib_and_geopy(lat1, lon1, lat2, lon2):
    line = geodesy.geodesic_inverse(lat1, lon1, lat2, lon2)
    other = Geodesic.WGS84.Inverse(lat1, lon1, lat2, lon2)
    assert line.distance_nm == pytest.approx(other["s12"] / 1852, abs=MICROMETRE_NM)
    third = geodesic((lat1, lon1), (lat2, lon2)).nautical
    assert line.distance_nm == pytest.approx(third, abs=MICROMETRE_NM)
    # Courses, away from points and antipodes, where they mean little.
    assume(10.0 < line.distance_nm < 10700.0)
    assume(abs(lat1) < 89.9 and abs(lat2) < 89.9)
    assert abs(geodesy.wrap_180(line.initial_bearing_deg - other["azi1"])) < 1e-8
    assert abs(geodesy.wrap_180(line.final_bearing_deg - other["azi2"])) < 1e-8


@given(latitudes, longitudes, courses, st.floats(-10000.0, 10000.0))
def test_direct_agrees_with_geographiclib(lat, lon, course, distance):
    end = geodesy.geodesic_direct(lat, lon, course, distance)
    other = Geodesic.WGS84.Direct(lat, lon, course, distance * 1852)
    apart = Geodesic.WGS84.Inverse(float(end.lat), float(end.lon), other["lat2"], other["lon2"])
    assert apart["s12"] < 1e-6
    assert -180.0 <= end.lon < 180.0
    assert 0.0 <= end.final_bearing_deg < 360.0


@given(st.floats(-85.0, 85.0), longitudes, courses, st.floats(1.0, 9000.0))
def test_inverse_undoes_direct(lat, lon, course, distance):
    end = geodesy.geodesic_direct(lat, lon, course, distance)
    line = geodesy.geodesic_inverse(lat, lon, end.lat, end.lon)
    assert line.distance_nm == pytest.approx(distance, abs=MICROMETRE_NM)
    back = geodesy.geodesic_direct(end.lat, end.lon, end.final_bearing_deg, -distance)
    off = geodesy.geodesic_inverse(lat, lon, back.lat, back.lon)
    assert off.distance_nm < MICROMETRE_NM


@given(st.floats(-80.0, 80.0), longitudes, st.floats(-80.0, 80.0), longitudes)
def test_no_loxodrome_is_shorter(lat1, lon1, lat2, lon2):
    shortest = geodesy.geodesic_inverse(lat1, lon1, lat2, lon2).distance_nm
    assert geodesy.loxodrome_inverse(lat1, lon1, lat2, lon2).distance_nm >= shortest - 1e-9


def test_shapes():
    assert isinstance(float(geodesy.geodesic_inverse(0, 0, 1, 1).distance_nm), float)
    assert np.shape(geodesy.geodesic_inverse(np.array(0.0), 0, 1, 1).distance_nm) == ()
    lat, lon = np.array([[10.0], [20.0]]), np.array([1.0, 2.0, 3.0])
    end = geodesy.geodesic_direct(lat, lon, 45.0, 10.0)
    assert {each.shape for each in end} == {(2, 3)}
    line = geodesy.geodesic_inverse(lat, lon, end.lat, end.lon)
    np.testing.assert_allclose(line.distance_nm, 10.0, rtol=0, atol=1e-9)
    assert lat.tolist() == [[10.0], [20.0]]  # what the caller handed in is not overwritten


def test_arrays_handed_in_are_left_alone():
    given_arrays = [np.array([50.0, 51.0]), np.array([1.0, 2.0]), np.array([90.0, 45.0])]
    before = [each.copy() for each in given_arrays]
    geodesy.geodesic_direct(*given_arrays, np.array([10.0, 20.0]))
    geodesy.geodesic_inverse(*given_arrays[:2], *given_arrays[1:])
    for each, was in zip(given_arrays, before, strict=True):
        np.testing.assert_array_equal(each, was)


def test_refused_and_unknown():
    with pytest.raises(InputError, match=r"lat1 must be -90 to 90 degrees, got 90\.1$"):
        geodesy.geodesic_inverse([0.0, 90.1], 0.0, 0.0, 0.0)
    with pytest.raises(InputError, match="finite"):
        geodesy.geodesic_direct(0.0, 0.0, 0.0, np.inf)
    line = geodesy.geodesic_inverse([np.nan, 1.0], 0.0, 0.0, 0.0)
    assert np.isnan(line.distance_nm).tolist() == [True, False]


def test_loxodromes_do_without_the_geodesic_library():
    code = (
        "import sys; from goosewing.earth.geodesy import loxodrome_inverse as line;"
        "line(0, 0, 1, 1);"
        "print('pyproj' in sys.modules, 'scipy' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]
