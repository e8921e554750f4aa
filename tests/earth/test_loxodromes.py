"""Loxodromes and the latitudes they are made of, against quadrature and invariants."""

import math

import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.special import roots_legendre

from goosewing.earth import geodesy
from goosewing.errors import InputError

# WGS 84, written out here so that a slip in the engine's constants shows.
A_NM = 6378137.0 / 1852
E2 = 0.00669437999014131  # f(2 - f), NIMA TR 8350.2
METRE_NM = 1 / 1852
TENTH_MM_NM = 1e-4 / 1852
NANODEGREE = 1e-9

latitudes = st.floats(-89.0, 89.0)
longitudes = st.floats(-180.0, 180.0)
courses = st.floats(0.0, 360.0)


NODES, WEIGHTS = roots_legendre(40)
PANELS = 24


def integral(function, lat1, lat2):
    """Gauss-Legendre quadrature in panels; good to rounding as near a pole as half a degree."""
    edges = np.linspace(math.radians(lat1), math.radians(lat2), PANELS + 1)
    half = np.diff(edges) / 2
    at = (edges[:-1] + half)[:, np.newaxis] + half[:, np.newaxis] * NODES
    return float(np.sum(function(at) @ WEIGHTS * half))


def meridian_nm(lat1, lat2):
    """Meridian arc: the integral of the radius of curvature M."""
    return integral(lambda x: A_NM * (1 - E2) / (1 - E2 * np.sin(x) ** 2) ** 1.5, lat1, lat2)


def isometric_deg(lat1, lat2):
    """Difference of isometric latitude: the integral of M / (N cos φ)."""
    slope = integral(lambda x: (1 - E2) / ((1 - E2 * np.sin(x) ** 2) * np.cos(x)), lat1, lat2)
    return math.degrees(slope)


# --- Latitudes ----------------------------------------------------------------------------


@pytest.mark.parametrize("lat", [-89.5, -66.0, -1e-3, 0.0, 12.0, 45.0, 57.3, 80.0, 89.5])
def test_latitudes_against_quadrature(lat):
    arc, iso = meridian_nm(0.0, lat), isometric_deg(0.0, lat)
    assert geodesy.meridian_arc(lat) == pytest.approx(arc, abs=1e-10)
    assert geodesy.latitude_from_meridian_arc(arc) == pytest.approx(lat, abs=1e-12)
    assert geodesy.isometric_latitude(lat) == pytest.approx(iso, abs=1e-11)
    assert geodesy.latitude_from_isometric(iso) == pytest.approx(lat, abs=1e-12)


@given(st.floats(-90.0, 90.0))
@example(90.0)
@example(-90.0)
def test_latitudes_there_and_back(lat):
    back = geodesy.latitude_from_meridian_arc(geodesy.meridian_arc(lat))
    assert back == pytest.approx(lat, abs=1e-13)
    back = geodesy.latitude_from_isometric(geodesy.isometric_latitude(lat))
    assert back == pytest.approx(lat, abs=1e-13)


@given(st.floats(-1e5, 1e5))
def test_isometric_latitude_never_passes_a_pole(iso):
    assert abs(geodesy.latitude_from_isometric(iso)) <= 90.0
    assert geodesy.latitude_from_isometric(-iso) == -geodesy.latitude_from_isometric(iso)


def test_poles():
    assert geodesy.isometric_latitude(90.0) == np.inf
    assert geodesy.isometric_latitude(-90.0) == -np.inf
    assert geodesy.latitude_from_isometric(np.inf) == 90.0
    assert geodesy.meridian_arc(-90.0) == -geodesy.QUARTER_MERIDIAN_NM
    assert geodesy.latitude_from_meridian_arc(geodesy.QUARTER_MERIDIAN_NM) == 90.0


# --- Mercator offset -----------------------------------------------------------------------


@given(latitudes, latitudes)
def test_offset_is_a_difference_of_isometric_latitudes(lat1, lat2):
    north = geodesy.mercator_offset(lat1, 0.0, lat2, 0.0).north_deg
    plain = geodesy.isometric_latitude(lat2) - geodesy.isometric_latitude(lat1)
    assert north == pytest.approx(plain, abs=1e-12)


@pytest.mark.parametrize("lat", [0.0, 30.0, -57.0, 85.0])
def test_offset_keeps_its_digits_when_short(lat):
    # 0.1 mm: a plain difference would have kept four digits.
    near = lat + 1e-9
    scale = (1 - E2) / (1 - E2 * math.sin(math.radians(lat)) ** 2) / math.cos(math.radians(lat))
    north = geodesy.mercator_offset(lat, 0.0, near, 0.0).north_deg
    # The scale itself changes by 2e-11 tan φ on the way.
    assert north == pytest.approx(scale * (near - lat), rel=3e-10)


@pytest.mark.parametrize(
    ("lon1", "lon2", "east"),
    [(179.5, -178.5, 2.0), (-178.5, 179.5, -2.0), (0.0, 180.0, 180.0), (0.0, -180.0, 180.0),
     (350.0, 10.0, 20.0), (180.0, -180.0, 0.0), (720.0, 1.0, 1.0)],
)  # fmt: skip
def test_offset_goes_the_shorter_way(lon1, lon2, east):
    assert geodesy.mercator_offset(50.0, lon1, 51.0, lon2).east_deg == east


# --- Inverse and direct ---------------------------------------------------------------------


@given(latitudes, longitudes, latitudes, longitudes)
def test_inverse_against_quadrature(lat1, lon1, lat2, lon2):
    east = math.remainder(lon2 - lon1, 360.0)
    assume(abs(lat2 - lat1) > 1e-3)  # the quotient of quadratures is good to 1e-10 there
    assume(abs(abs(east) - 180.0) > 1e-9)
    iso, arc = isometric_deg(lat1, lat2), meridian_nm(lat1, lat2)
    lox = geodesy.loxodrome_inverse(lat1, lon1, lat2, lon2)
    course = math.degrees(math.atan2(east, iso)) % 360.0
    assert abs(geodesy.wrap_180(lox.bearing_deg - course)) < NANODEGREE
    assert lox.distance_nm == pytest.approx(math.hypot(arc, east * arc / iso), abs=TENTH_MM_NM)


@given(latitudes, courses, st.floats(0.001, 5000.0))
def test_direct_against_quadrature(lat, course, distance):
    rise = distance * math.cos(math.radians(course))
    wanted = meridian_nm(0.0, lat) + rise
    assume(abs(wanted) < meridian_nm(0.0, 89.0))
    assume(abs(rise) > 1e-3)
    end_lat = brentq(lambda x: meridian_nm(0.0, x) - wanted, -89.5, 89.5, xtol=1e-12)
    end = geodesy.loxodrome_direct(lat, 0.0, course, distance)
    assert end.lat == pytest.approx(end_lat, abs=NANODEGREE)
    # East along the latitude's own scale, from the end just checked: its error would grow there.
    per_mile = isometric_deg(lat, float(end.lat)) / meridian_nm(lat, float(end.lat))
    turn = distance * math.sin(math.radians(course)) * per_mile
    assert abs(math.remainder(end.lon - turn, 360.0)) < NANODEGREE * (1.0 + abs(turn))


@given(latitudes, longitudes, courses, st.floats(0.0, 3000.0))
@example(60.0, 179.0, 90.0, 50.0)
@example(60.0, -179.0, 270.0, 50.0)
@example(0.0, 0.0, 90.0, 5e-324)
@example(50.0, 0.0, 90.0 + 1e-13, 1000.0)
def test_there_and_back(lat, lon, course, distance):
    assume(abs(geodesy.meridian_arc(lat) + distance * np.cos(np.radians(course))) < 5340.0)
    end = geodesy.loxodrome_direct(lat, lon, course, distance)
    assert -180.0 <= end.lon < 180.0
    back = geodesy.loxodrome_direct(end.lat, end.lon, course + 180.0, distance)
    off = geodesy.mercator_offset(lat, lon, back.lat, back.lon)
    assert abs(off.east_deg) < 1e-10
    assert abs(off.north_deg) < 1e-10


@given(latitudes, longitudes, courses, st.floats(1e-6, 1000.0))
def test_inverse_undoes_direct(lat, lon, course, distance):
    assume(abs(geodesy.meridian_arc(lat) + distance * np.cos(np.radians(course))) < 5340.0)
    end = geodesy.loxodrome_direct(lat, lon, course, distance)
    turn = distance / (60.0 * np.cos(np.radians(max(abs(lat), abs(float(end.lat))))))
    assume(turn < 179.0)
    lox = geodesy.loxodrome_inverse(lat, lon, end.lat, end.lon)
    assert lox.distance_nm == pytest.approx(distance, abs=TENTH_MM_NM)
    # The ends are rounded to 3e-14° of longitude, which is 2e-12 nm across the course.
    by = 1e-10 + np.degrees(4e-12 / distance)
    assert abs(geodesy.wrap_180(lox.bearing_deg - course)) < by


@given(latitudes, longitudes, latitudes, longitudes, st.floats(-720.0, 720.0))
def test_mirror_and_shift(lat1, lon1, lat2, lon2, shift):
    assume(abs(abs(math.remainder(lon2 - lon1, 360.0)) - 180.0) > 1e-6)
    lox = geodesy.loxodrome_inverse(lat1, lon1, lat2, lon2)
    mirrored = geodesy.loxodrome_inverse(-lat1, lon1, -lat2, lon2)
    shifted = geodesy.loxodrome_inverse(lat1, lon1 + shift, lat2, lon2 + shift)
    back = geodesy.loxodrome_inverse(lat2, lon2, lat1, lon1)
    for other in (mirrored, shifted, back):
        assert other.distance_nm == pytest.approx(lox.distance_nm, abs=1e-8)
    assume(lox.distance_nm > 0.1)
    assert abs(geodesy.wrap_180(mirrored.bearing_deg - (180.0 - lox.bearing_deg))) < 1e-9
    assert abs(geodesy.wrap_180(shifted.bearing_deg - lox.bearing_deg)) < 1e-9
    assert abs(geodesy.wrap_180(back.bearing_deg - lox.bearing_deg - 180.0)) < 1e-9


@given(latitudes, st.floats(0.001, 3000.0))
def test_east_is_no_special_case(lat, distance):
    # A course turned by 1e-9° moves the end by its radians, and by nothing more.
    east = geodesy.loxodrome_direct(lat, 0.0, 90.0, distance)
    assume(abs(geodesy.meridian_arc(lat)) < 5330.0)
    for turned in (90.0 - 1e-9, 90.0 + 1e-9):
        end = geodesy.loxodrome_direct(lat, 0.0, turned, distance)
        shift = np.radians(1e-9) * distance
        assert abs(end.lat - east.lat) * 60 < 1.02 * shift + 1e-11
        # The parallel's scale changes by tan φ: at 89° by 57 times the shift.
        turn = distance / (60.0 * np.cos(np.radians(lat)))
        change = turn * np.tan(np.radians(abs(lat))) * np.radians(shift / 59.0)
        off = math.remainder(end.lon - east.lon, 360.0)
        assert abs(off) < 1.1 * change + 1e-12 * (1.0 + turn)


@pytest.mark.parametrize("lat", [0.0, 45.0, -60.0, 80.0])
@pytest.mark.parametrize("rise_nm", [1e-2, -1e-3, 1e-6, 1e-12])
def test_nearly_along_a_parallel(lat, rise_nm):
    course = 90.0 - math.degrees(math.asin(rise_nm / 500.0))
    end = geodesy.loxodrome_direct(lat, 0.0, course, 500.0)
    # Miles to radians of longitude over a strip so thin, by Simpson's rule.
    phi = np.radians([lat, lat + (end.lat - lat) / 2, end.lat])
    per_mile = np.sqrt(1 - E2 * np.sin(phi) ** 2) / (A_NM * np.cos(phi)) @ [1 / 6, 4 / 6, 1 / 6]
    departure = math.sqrt(500.0**2 - rise_nm**2)
    assert end.lon == pytest.approx(math.degrees(departure * per_mile), abs=1e-10)


def test_parallel_keeps_its_latitude():
    end = geodesy.loxodrome_direct(59.0, 179.0, [90.0, 270.0], 100.0)
    assert end.lat.tolist() == [59.0, 59.0]


def test_meridian_keeps_its_longitude():
    end = geodesy.loxodrome_direct([-80.0, 10.0], -5.0, [0.0, 180.0], 4000.0)
    assert end.lon.tolist() == [-5.0, -5.0]


# --- Poles ------------------------------------------------------------------------------


def test_past_a_pole():
    # GeographicLib's test 10 is 0.27 m past the pole; it answers with no longitude, we refuse.
    with pytest.raises(InputError, match="past a pole"):
        geodesy.loxodrome_direct(0.0, 0.0, 0.0, 10001966 * METRE_NM)
    with pytest.raises(InputError, match="past a pole"):
        geodesy.loxodrome_direct([0.0, -89.0], 0.0, [0.0, 190.0], 100.0)
    with pytest.raises(InputError, match="past a pole"):
        geodesy.latitude_from_meridian_arc(5401.0)


def test_from_and_to_a_pole():
    end = geodesy.loxodrome_direct(90.0, 30.0, 180.0, geodesy.QUARTER_MERIDIAN_NM)
    assert end == pytest.approx((0.0, 30.0), abs=1e-13)
    end = geodesy.loxodrome_direct(0.0, 30.0, 0.0, geodesy.QUARTER_MERIDIAN_NM)
    assert end == (90.0, 30.0)
    assert geodesy.loxodrome_inverse(10.0, 30.0, -90.0, 120.0).bearing_deg == 180.0
    assert geodesy.loxodrome_inverse(90.0, 30.0, 90.0, 120.0).distance_nm == 0.0
    with pytest.raises(InputError, match="must follow a meridian"):
        geodesy.loxodrome_direct(90.0, 30.0, 179.0, 100.0)


# --- Refusals and shapes ----------------------------------------------------------------


@pytest.mark.parametrize(
    "call",
    [
        lambda: geodesy.loxodrome_inverse(91.0, 0.0, 0.0, 0.0),
        lambda: geodesy.loxodrome_inverse(0.0, 0.0, [0.0, -90.5], 0.0),
        lambda: geodesy.loxodrome_inverse(0.0, np.inf, 0.0, 0.0),
        lambda: geodesy.loxodrome_direct(0.0, np.inf, 0.0, 1.0),
        lambda: geodesy.loxodrome_direct(0.0, 0.0, np.inf, 1.0),
        lambda: geodesy.loxodrome_direct(0.0, 0.0, 90.0, np.inf),
        lambda: geodesy.isometric_latitude(90.1),
        lambda: geodesy.meridian_arc(-90.1),
        lambda: geodesy.loxodromes_meet(90.0, 0.0, 0.0, 0.0, 0.0, 0.0),
        lambda: geodesy.cross_track_nm(0.0, 0.0, 10.0, 10.0, 10.0, 370.0),
        lambda: geodesy.cross_track_nm(0.0, 0.0, -90.0, 10.0, 10.0, 20.0),
    ],
)
def test_refused_in_one_line(call):
    with pytest.raises(InputError) as caught:
        call()
    assert "\n" not in str(caught.value)


def test_nan_stays_where_it_is():
    end = geodesy.loxodrome_direct([np.nan, 50.0], 0.0, [0.0, 45.0], 10.0)
    assert np.isnan(end.lat).tolist() == np.isnan(end.lon).tolist() == [True, False]
    lox = geodesy.loxodrome_inverse(50.0, 0.0, [np.nan, 51.0], 1.0)
    assert np.isnan(lox.distance_nm).tolist() == [True, False]


@pytest.mark.parametrize("shaped", [float, np.array, lambda x: np.array([x]), lambda x: [x] * 2])
def test_scalars_and_arrays_agree(shaped):
    end = geodesy.loxodrome_direct(shaped(50.0), shaped(-5.0), shaped(45.0), shaped(100.0))
    assert np.shape(end.lat) == np.shape(end.lon) == np.shape(shaped(0.0))
    # Recomputed by GeographicLib.
    np.testing.assert_allclose(end.lat, 51.177235953, rtol=0, atol=NANODEGREE)
    np.testing.assert_allclose(end.lon, -3.150640585, rtol=0, atol=NANODEGREE)


def test_broadcasting():
    lat, lon = np.array([[10.0], [20.0]]), np.array([1.0, 2.0, 3.0])
    end = geodesy.loxodrome_direct(lat, lon, 0.0, 60.0)
    assert end.lat.shape == end.lon.shape == (2, 3)
    end.lat[0, 0] = 0.0  # its own memory, not a view spread over the row
    assert end.lat[0, 1] != 0.0
    assert geodesy.loxodrome_inverse(lat, lon, 0.0, 0.0).distance_nm.shape == (2, 3)
    assert geodesy.mercator_offset(lat, lon, 0.0, 0.0).north_deg.shape == (2, 3)
    meeting = geodesy.loxodromes_meet(lat, lon, 10.0, 30.0, 5.0, 100.0)
    assert {each.shape for each in meeting} == {(2, 3)}
    assert geodesy.cross_track_nm(lat, lon, 0.0, 0.0, 1.0, 1.0).shape == (2, 3)


# --- Two courses meet --------------------------------------------------------------------


@given(
    st.floats(-75.0, 75.0), longitudes, courses, st.floats(1.0, 500.0),
    st.floats(5.0, 175.0), st.booleans(), st.floats(1.0, 500.0),
)  # fmt: skip
@example(0.0, 179.9, 90.0, 100.0, 90.0, True, 100.0)
def test_meeting_is_where_the_boards_were_sailed(lat, lon, course1, nm1, turn, right, nm2):
    course2 = course1 + (turn if right else -turn)
    corner = geodesy.loxodrome_direct(lat, lon, course1, nm1)
    end = geodesy.loxodrome_direct(corner.lat, corner.lon, course2, nm2)
    meeting = geodesy.loxodromes_meet(lat, lon, course1, end.lat, end.lon, course2)
    assert meeting.first_nm == pytest.approx(nm1, abs=1e-7)
    assert meeting.second_nm == pytest.approx(nm2, abs=1e-7)
    off = geodesy.mercator_offset(corner.lat, corner.lon, meeting.lat, meeting.lon)
    assert np.hypot(*off) < 1e-9
    # The same two lines, one of them the other way: its length turns negative.
    behind = geodesy.loxodromes_meet(lat, lon, course1 + 180.0, end.lat, end.lon, course2)
    assert behind.first_nm == pytest.approx(-nm1, abs=1e-7)
    beyond = geodesy.loxodromes_meet(lat, lon, course1, end.lat, end.lon, course2 + 180.0)
    assert beyond.second_nm == pytest.approx(-nm2, abs=1e-7)


@pytest.mark.parametrize("course", [0.0, 33.0, 45.0, 90.0, 201.7])
def test_parallel_courses_never_meet(course):
    for other in (course, course + 180.0):
        meeting = geodesy.loxodromes_meet(10.0, 20.0, course, 11.0, 22.0, other)
        assert all(np.isnan(each) for each in meeting)


def test_courses_that_meet_only_at_the_pole():
    meeting = geodesy.loxodromes_meet(10.0, 20.0, 0.0, 10.0, 21.0, 1e-12)
    assert all(np.isnan(each) for each in meeting)


# --- Off the line -----------------------------------------------------------------------


@pytest.mark.parametrize("course", [0.0, 37.0, 90.0, 135.0, 264.0])
@pytest.mark.parametrize("lat", [0.0, 35.0, -57.0, 60.0])
@pytest.mark.parametrize("off", [-100.0, -1.0, 0.01, 100.0])
def test_cross_track_is_nearly_the_shortest_way(course, lat, off):
    side = geodesy.loxodrome_direct(lat, 179.5, course + 90.0, off)
    line = geodesy.loxodrome_direct(lat, 179.5, course, np.array([-300.0, 300.0]))
    found = geodesy.cross_track_nm(*side, line.lat[0], line.lon[0], line.lat[1], line.lon[1])
    assert found == pytest.approx(off, abs=1e-8)
    # The shortest geodesic to any point of the line, by trying them.
    along = np.linspace(-10.0, 10.0, 4001) * max(1.0, abs(off) / 100)
    points = geodesy.loxodrome_direct(lat, 179.5, course, along)
    shortest = geodesy.geodesic_inverse(*side, *points).distance_nm.min()
    assert shortest <= abs(off) * (1 + 1e-6)
    # As documented; at the equator the sampling and fourth orders remain.
    bend = (np.tan(np.radians(lat)) * off / A_NM) ** 2 / 6
    assert shortest > abs(off) * (1 - 1.05 * bend - 1e-6)


def test_cross_track_side():
    # Northwards, east is right; southwards, left; westwards, north is right.
    assert geodesy.cross_track_nm(10.5, 1.0, 10.0, 0.0, 11.0, 0.0) > 0
    assert geodesy.cross_track_nm(10.5, 1.0, 11.0, 0.0, 10.0, 0.0) < 0
    assert geodesy.cross_track_nm(11.0, 179.0, 10.0, -179.0, 10.0, 178.0) > 0
