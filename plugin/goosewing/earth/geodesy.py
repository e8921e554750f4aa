r"""Geodesics and loxodromes on the WGS 84 ellipsoid, arrays in, arrays out.

A geodesic is the shortest line; a loxodrome is the line of constant course
that a boat steers. Positions are ``lat, lon`` in degrees, courses degrees
true, distances nautical miles of 1852 m. All arguments broadcast against each
other; scalars in give scalars out. NaN in any argument gives NaN for that
element; anything else without an answer is refused.

Geodesics are Karney's algorithms [1]_ through PROJ. In the ellipsoidal
Mercator plane (longitude against *isometric latitude*, both here in degrees;
60 of them to a meridional part) a loxodrome is a straight line, and its length
is the meridian arc it covers times the secant of the course. Latitudes of the
three kinds are turned into each other by series in the third flattening
:math:`n`, to sixth order, as in [2]_; the truncated terms are below 1e-19.

Differences along a loxodrome are taken exactly, never by subtracting two
nearly equal numbers (the idea of [3]_). Hence a course of 90° is no special
case: its formulas go over into the parallel smoothly.

References
----------
The papers are cited from memory; the tests hold the series against quadrature.

.. [1] C. F. F. Karney, "Algorithms for geodesics," J. Geodesy, vol. 87, pp. 43-55,
   2013, doi:10.1007/s00190-012-0578-z.
.. [2] C. F. F. Karney, "On auxiliary latitudes," Survey Review, vol. 56, 2024.
.. [3] C. F. F. Karney, "The area of rhumb polygons," Stud. Geophys. Geod., vol. 68,
   pp. 99-120, 2024, doi:10.1007/s11200-024-0709-z.
"""

from __future__ import annotations

import math
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from goosewing.earth.angles import sin_cos_deg, wrap_180, wrap_360, wrap_longitude
from goosewing.errors import InputError
from goosewing.units import METRES_PER_NM, Array

__all__ = [
    "ECCENTRICITY_SQUARED",
    "EQUATORIAL_RADIUS_NM",
    "FLATTENING",
    "QUARTER_MERIDIAN_NM",
    "Arrival",
    "Line",
    "Loxodrome",
    "Meeting",
    "Offset",
    "Position",
    "cross_track_nm",
    "geodesic_direct",
    "geodesic_inverse",
    "isometric_latitude",
    "latitude_from_isometric",
    "latitude_from_meridian_arc",
    "loxodrome_direct",
    "loxodrome_inverse",
    "loxodromes_meet",
    "mercator_offset",
    "meridian_arc",
    "miles_per_degree",
    "wrap_180",
    "wrap_360",
    "wrap_longitude",
]

EQUATORIAL_RADIUS_NM = 6378137.0 / METRES_PER_NM
"""Semi-major axis of WGS 84. [nm]"""

FLATTENING = 1.0 / 298.257223563
"""Flattening of WGS 84."""

ECCENTRICITY_SQUARED = FLATTENING * (2.0 - FLATTENING)
"""Square of the first eccentricity of WGS 84."""

_E2 = ECCENTRICITY_SQUARED
_E = math.sqrt(_E2)
_N = FLATTENING / (2.0 - FLATTENING)

_RECTIFYING_RADIUS_NM = (
    EQUATORIAL_RADIUS_NM / (1.0 + _N) * (1.0 + _N**2 / 4.0 + _N**4 / 64.0 + _N**6 / 256.0)
)

QUARTER_MERIDIAN_NM = _RECTIFYING_RADIUS_NM * math.pi / 2.0
"""From the equator to a pole along a meridian. [nm]"""

# Coefficients of sin 2kx, k = 1 to 6, in the third flattening n [2].
_GEODETIC_FROM_RECTIFYING = (
    3 / 2 * _N - 27 / 32 * _N**3 + 269 / 512 * _N**5,
    21 / 16 * _N**2 - 55 / 32 * _N**4 + 6759 / 4096 * _N**6,
    151 / 96 * _N**3 - 417 / 128 * _N**5,
    1097 / 512 * _N**4 - 15543 / 2560 * _N**6,
    8011 / 2560 * _N**5,
    293393 / 61440 * _N**6,
)
_RECTIFYING_FROM_GEODETIC = (
    -3 / 2 * _N + 9 / 16 * _N**3 - 3 / 32 * _N**5,
    15 / 16 * _N**2 - 15 / 32 * _N**4 + 135 / 2048 * _N**6,
    -35 / 48 * _N**3 + 105 / 256 * _N**5,
    315 / 512 * _N**4 - 189 / 512 * _N**6,
    -693 / 1280 * _N**5,
    1001 / 2048 * _N**6,
)
_GEODETIC_FROM_CONFORMAL = (
    2 * _N - 2 / 3 * _N**2 - 2 * _N**3 + 116 / 45 * _N**4 + 26 / 45 * _N**5 - 2854 / 675 * _N**6,
    7 / 3 * _N**2 - 8 / 5 * _N**3 - 227 / 45 * _N**4 + 2704 / 315 * _N**5 + 2323 / 945 * _N**6,
    56 / 15 * _N**3 - 136 / 35 * _N**4 - 1262 / 105 * _N**5 + 73814 / 2835 * _N**6,
    4279 / 630 * _N**4 - 332 / 35 * _N**5 - 399572 / 14175 * _N**6,
    4174 / 315 * _N**5 - 144838 / 6237 * _N**6,
    601676 / 22275 * _N**6,
)

_NEGLIGIBLE = 1e-290
"""A step so short that its quotients would meet the bottom of the range of doubles."""

_OVERSHOOT_RAD = 1e-14
"""Rounding forgiven at a pole: 64 nanometres."""


class Line(NamedTuple):
    """A geodesic from one position to another."""

    distance_nm: Array
    initial_bearing_deg: Array
    """Course at the start, in [0, 360). [°] true"""
    final_bearing_deg: Array
    """Course on arrival, in [0, 360). [°] true"""


class Loxodrome(NamedTuple):
    """A line of constant course from one position to another."""

    distance_nm: Array
    bearing_deg: Array
    """The course, in [0, 360). [°] true"""


class Position(NamedTuple):
    """Where a line ends; longitude in [-180, 180)."""

    lat: Array
    lon: Array


class Arrival(NamedTuple):
    """Where a geodesic ends, and its course there; longitude in [-180, 180)."""

    lat: Array
    lon: Array
    final_bearing_deg: Array
    """Course on arrival, in [0, 360). [°] true"""


class Offset(NamedTuple):
    """From one position to another in the ellipsoidal Mercator plane [°]."""

    east_deg: Array
    """Difference of longitude, in (-180, 180]."""
    north_deg: Array
    """Difference of isometric latitude."""


class Meeting(NamedTuple):
    """Where two courses meet, and how far it is along each."""

    lat: Array
    lon: Array
    first_nm: Array
    """From the first point to the meeting; negative if it lies behind. [nm]"""
    second_nm: Array
    """From the meeting to the second point; negative if the meeting lies beyond. [nm]"""


# --- Geodesics -----------------------------------------------------------------


def geodesic_inverse(lat1: ArrayLike, lon1: ArrayLike, lat2: ArrayLike, lon2: ArrayLike) -> Line:
    """Find the shortest line between positions.

    Parameters
    ----------
    lat1, lon1, lat2, lon2 : array_like, shape (...)
        Start and end; longitudes of any winding. [°]

    Returns
    -------
    Line
        Shape (...): distance [nm], course at the start and on arrival [°].

    Raises
    ------
    InputError
        If a latitude is beyond a pole or a value infinite.

    Examples
    --------
    >>> line = geodesic_inverse(40.6, -73.8, 49.01666667, 2.55)
    >>> print(f"{line.distance_nm:.2f} {line.initial_bearing_deg:.3f}")
    3160.49 53.470
    """
    start = _finite("lon1", lon1), _latitude("lat1", lat1)
    end = _finite("lon2", lon2), _latitude("lat2", lat2)
    first, last, metres = _geod().inv(
        *_own_buffers(*start, *end), inplace=True, return_back_azimuth=False
    )
    return Line(_scaled(metres, 1.0 / METRES_PER_NM), wrap_360(first), wrap_360(last))


def geodesic_direct(
    lat: ArrayLike, lon: ArrayLike, bearing_deg: ArrayLike, distance_nm: ArrayLike
) -> Arrival:
    """Follow the shortest line from a position.

    Parameters
    ----------
    lat, lon : array_like, shape (...)
        Start; longitudes of any winding. [°]
    bearing_deg : array_like, shape (...)
        Course at the start, clockwise from true north. [°]
    distance_nm : array_like, shape (...)
        Distance; negative goes backwards. [nm]

    Returns
    -------
    Arrival
        Shape (...): the end and the course there.

    Raises
    ------
    InputError
        If a latitude is beyond a pole or a value infinite.
    """
    given = (_finite("lon", lon), _latitude("lat", lat), _finite("bearing_deg", bearing_deg))
    metres = _finite("distance_nm", distance_nm) * METRES_PER_NM
    end_lon, end_lat, final = _geod().fwd(
        *_own_buffers(*given, metres), inplace=True, return_back_azimuth=False
    )
    return Arrival(_scaled(end_lat, 1.0), wrap_longitude(end_lon), wrap_360(final))


@cache
def _geod() -> Any:
    # Loaded on the first geodesic: loxodromes do without it.
    from pyproj import Geod

    return Geod(a=EQUATORIAL_RADIUS_NM * METRES_PER_NM, rf=1.0 / FLATTENING)


def _own_buffers(*given: Array) -> list[Any]:
    """Broadcast to fresh arrays that the library may overwrite; floats if all are scalars."""
    shape = np.broadcast_shapes(*(np.shape(each) for each in given))
    if not shape:
        return [float(each) for each in given]
    return [np.array(np.broadcast_to(each, shape), order="C") for each in given]


def _scaled(value: Any, factor: float) -> Array:
    scaled: Array = np.multiply(value, factor)
    return scaled


# --- Latitudes and the meridian -----------------------------------------------------


def isometric_latitude(lat_deg: ArrayLike) -> Array:
    r"""Return the isometric latitude: northing in the ellipsoidal Mercator plane.

    Parameters
    ----------
    lat_deg : array_like, shape (...)
        Latitude, north positive. [°]

    Returns
    -------
    ndarray, shape (...)
        In degrees of longitude at the equator; 60 times it are the handbook's
        meridional parts. Infinite at a pole. [°]

    Raises
    ------
    InputError
        If a latitude is beyond a pole.

    Notes
    -----
    .. math:: \psi = \sinh^{-1}\tan\varphi - e\,\tanh^{-1}(e\sin\varphi)

    Examples
    --------
    >>> print(f"{60 * isometric_latitude(45.0):.4f}")
    3013.6479
    """
    sine, cosine = _sin_cos_lat(_latitude("lat_deg", lat_deg))
    with np.errstate(divide="ignore"):
        conformal = np.arcsinh(sine / cosine)
    isometric: Array = np.degrees(conformal - _E * np.arctanh(_E * sine))
    return isometric


def latitude_from_isometric(iso_deg: ArrayLike) -> Array:
    """Return the latitude of an isometric latitude, the inverse of `isometric_latitude`.

    Parameters
    ----------
    iso_deg : array_like, shape (...)
        Isometric latitude, north positive; infinity is a pole. [°]

    Returns
    -------
    ndarray, shape (...)
        Latitude. [°]
    """
    iso = np.radians(np.asarray(iso_deg, dtype=np.float64))
    # The Gudermannian, in the form that can't overflow.
    conformal = 2.0 * np.arctan(np.tanh(0.5 * iso))
    return _clipped_degrees(_series(_GEODETIC_FROM_CONFORMAL, conformal))


def meridian_arc(lat_deg: ArrayLike) -> Array:
    """Return the length of the meridian from the equator to a latitude.

    Parameters
    ----------
    lat_deg : array_like, shape (...)
        Latitude, north positive. [°]

    Returns
    -------
    ndarray, shape (...)
        Of the sign of the latitude. [nm]

    Raises
    ------
    InputError
        If a latitude is beyond a pole.

    Examples
    --------
    >>> print(f"{meridian_arc(90.0) * 1852:.3f}")
    10001965.729
    """
    return _RECTIFYING_RADIUS_NM * _rectifying(_latitude("lat_deg", lat_deg))


def latitude_from_meridian_arc(arc_nm: ArrayLike) -> Array:
    """Return the latitude at a distance from the equator, the inverse of `meridian_arc`.

    Parameters
    ----------
    arc_nm : array_like, shape (...)
        Distance from the equator along a meridian, north positive. [nm]

    Returns
    -------
    ndarray, shape (...)
        Latitude. [°]

    Raises
    ------
    InputError
        If the distance is more than a quarter of the meridian.
    """
    rectifying = _short_of_the_poles(np.asarray(arc_nm, dtype=np.float64) / _RECTIFYING_RADIUS_NM)
    return _clipped_degrees(_series(_GEODETIC_FROM_RECTIFYING, rectifying))


# --- Loxodromes -----------------------------------------------------------------


def mercator_offset(lat1: ArrayLike, lon1: ArrayLike, lat2: ArrayLike, lon2: ArrayLike) -> Offset:
    r"""Return the straight line between positions in the ellipsoidal Mercator plane.

    Parameters
    ----------
    lat1, lon1, lat2, lon2 : array_like, shape (...)
        Start and end; longitudes of any winding. [°]

    Returns
    -------
    Offset
        Shape (...): the shorter way round in longitude, in (-180, 180] (half a
        turn counts as east), and the difference of isometric latitude, infinite
        to or from a pole. [°]

    Raises
    ------
    InputError
        If a latitude is beyond a pole or a value infinite.

    Notes
    -----
    With :math:`s, c` sine and cosine of the latitudes, free of cancellation:

    .. math::
        \Delta\psi = \sinh^{-1}\frac{s_2 - s_1}{c_1 c_2}
        - e\,\tanh^{-1}\frac{e (s_2 - s_1)}{1 - e^2 s_1 s_2}, \qquad
        s_2 - s_1 = 2\cos\frac{\varphi_1 + \varphi_2}{2} \sin\frac{\varphi_2 - \varphi_1}{2}
    """
    start, end = _latitude("lat1", lat1), _latitude("lat2", lat2)
    east = wrap_180(wrap_180(lon2) - wrap_180(lon1))
    north = np.degrees(_isometric_difference(start, end))
    return Offset(*_of_one_shape(east, north))


def loxodrome_inverse(
    lat1: ArrayLike, lon1: ArrayLike, lat2: ArrayLike, lon2: ArrayLike
) -> Loxodrome:
    """Find the line of constant course between positions, the shorter way round.

    Parameters
    ----------
    lat1, lon1, lat2, lon2 : array_like, shape (...)
        Start and end; longitudes of any winding. [°]

    Returns
    -------
    Loxodrome
        Shape (...): distance [nm] and course [°]. Half a turn of longitude goes
        east. To a pole the course is that of the meridian; between equal
        positions distance and course are 0.

    Raises
    ------
    InputError
        If a latitude is beyond a pole or a value infinite.

    Examples
    --------
    >>> lox = loxodrome_inverse(50.0, 179.5, 52.0, -178.5)
    >>> print(f"{lox.distance_nm:.4f} {lox.bearing_deg:.4f}")
    142.0481 32.2466
    """
    start, end = _latitude("lat1", lat1), _latitude("lat2", lat2)
    east, north = mercator_offset(start, lon1, end, lon2)
    meridian_nm = _meridian_difference_nm(start, end)
    parallel_nm = east * miles_per_degree(start, end)
    bearing = wrap_360(np.degrees(np.arctan2(east, north)))
    return Loxodrome(np.hypot(meridian_nm, parallel_nm), bearing)


def loxodrome_direct(
    lat: ArrayLike, lon: ArrayLike, bearing_deg: ArrayLike, distance_nm: ArrayLike
) -> Position:
    """Follow a line of constant course from a position.

    Parameters
    ----------
    lat, lon : array_like, shape (...)
        Start; longitudes of any winding. [°]
    bearing_deg : array_like, shape (...)
        Course, clockwise from true north. [°]
    distance_nm : array_like, shape (...)
        Distance; negative goes backwards. [nm]

    Returns
    -------
    Position
        Shape (...): the end.

    Raises
    ------
    InputError
        If a latitude is beyond a pole, a value infinite, or the line would run
        past a pole (or wind round it without end).

    Examples
    --------
    >>> end = loxodrome_direct(50.0, -5.0, 45.0, 100.0)
    >>> print(f"{end.lat:.6f} {end.lon:.6f}")
    51.177236 -3.150641
    """
    start = _latitude("lat", lat)
    sine, cosine = sin_cos_deg(bearing_deg)
    arc = _finite("distance_nm", distance_nm) / _RECTIFYING_RADIUS_NM
    step = arc * cosine
    rectifying = _rectifying(start)
    _short_of_the_poles(rectifying + step)
    rise = _series_step(_GEODETIC_FROM_RECTIFYING, rectifying, step)
    turn = _longitude_turned(arc * sine, _isometric_per_rectifying(start, rise, step))
    end_lat: Array = np.clip(start + np.degrees(rise), -90.0, 90.0)
    end_lon = wrap_longitude(_finite("lon", lon) + np.degrees(turn))
    return Position(*_of_one_shape(end_lat, end_lon))


def _longitude_turned(east: Array, per_rectifying: Array) -> Array:
    """Return the change of longitude, which has no bound where a pole is touched [rad]."""
    with np.errstate(invalid="ignore"):
        turn: Array = east * per_rectifying
    if np.all(np.isfinite(turn)):
        return turn
    # Along a meridian there is none, the pole itself included.
    turn = np.where((east == 0.0) & ~np.isnan(per_rectifying), 0.0, turn)
    if np.any(np.isinf(turn)):
        raise InputError("a loxodrome that touches a pole must follow a meridian")
    return turn


def loxodromes_meet(
    lat1: ArrayLike,
    lon1: ArrayLike,
    bearing1_deg: ArrayLike,
    lat2: ArrayLike,
    lon2: ArrayLike,
    bearing2_deg: ArrayLike,
) -> Meeting:
    """Find where a course from one point meets a course into another.

    Point 1 is left on the first course and point 2 reached on the second, both
    steered forwards: two boards and the turn between them.

    Parameters
    ----------
    lat1, lon1, lat2, lon2 : array_like, shape (...)
        The two points, not poles; longitudes of any winding. [°]
    bearing1_deg : array_like, shape (...)
        Course over the ground away from point 1. [°]
    bearing2_deg : array_like, shape (...)
        Course over the ground into point 2. [°]

    Returns
    -------
    Meeting
        Shape (...): the place and the two lengths, negative where a course would
        have to be followed backwards. All four are NaN where the courses are
        parallel, or so nearly so that they'd meet only at a pole.

    Raises
    ------
    InputError
        If a latitude is at or beyond a pole, or a value infinite.

    Notes
    -----
    Two straight lines in the Mercator plane, with point 2 the shorter way round
    from point 1; the same courses meet again on every further turn about the
    earth, which is not looked for.

    Examples
    --------
    >>> meeting = loxodromes_meet(0.0, 179.0, 45.0, 0.0, -179.0, 135.0)
    >>> print(f"{meeting.lon:.1f} {meeting.first_nm:.3f} {meeting.second_nm:.3f}")
    -180.0 85.001 85.001
    """
    start, end = _below_pole("lat1", lat1), _below_pole("lat2", lat2)
    east, north = mercator_offset(start, lon1, end, lon2)
    (sine1, cosine1), (sine2, cosine2) = sin_cos_deg(bearing1_deg), sin_cos_deg(bearing2_deg)
    crossing = sine1 * cosine2 - cosine1 * sine2
    crossing = np.where(crossing == 0.0, np.nan, crossing)
    first_deg = (east * cosine2 - north * sine2) / crossing
    second_deg = (sine1 * north - cosine1 * east) / crossing
    lat = latitude_from_isometric(isometric_latitude(start) + first_deg * cosine1)
    lat = np.where(np.abs(lat) < 90.0, lat, np.nan)
    # Parallels have no crossing to turn by, and a pole no longitude to turn to.
    lon = wrap_longitude(wrap_180(lon1) + np.where(np.isnan(lat), np.nan, first_deg * sine1))
    first_nm = first_deg * miles_per_degree(start, lat)
    second_nm = second_deg * miles_per_degree(lat, end)
    return Meeting(*_of_one_shape(lat, lon), first_nm, second_nm)


def cross_track_nm(
    lat: ArrayLike,
    lon: ArrayLike,
    lat1: ArrayLike,
    lon1: ArrayLike,
    lat2: ArrayLike,
    lon2: ArrayLike,
) -> Array:
    r"""Return how far positions lie to the right of the loxodrome through two points.

    Parameters
    ----------
    lat, lon : array_like, shape (...)
        Positions, not poles; longitudes of any winding. [°]
    lat1, lon1, lat2, lon2 : array_like, shape (...)
        The loxodrome's start and end, not poles; it goes on beyond both. [°]

    Returns
    -------
    ndarray, shape (...)
        Distance off, positive to the right of the way from 1 to 2. [nm]

    Raises
    ------
    InputError
        If a latitude is at or beyond a pole, a value infinite, or the two points
        of a loxodrome are one.

    Notes
    -----
    The exact length of the loxodrome that crosses the line at a right angle. The
    shortest distance is less by up to :math:`\tan^2\varphi\,(d/R)^2/6` of it, d the
    distance off and R the earth's radius: at 60° of latitude 4e-6 in 10 nm, 4e-4
    in 100 nm.
    """
    place, start, end = (
        _below_pole("lat", lat),
        _below_pole("lat1", lat1),
        _below_pole("lat2", lat2),
    )
    line_east, line_north = mercator_offset(start, lon1, end, lon2)
    length = np.hypot(line_east, line_north)
    if np.any(length == 0.0):
        raise InputError("a loxodrome needs two different points")
    east, north = mercator_offset(start, lon1, place, lon)
    right_deg = (east * line_north - north * line_east) / length
    along_deg = (east * line_east + north * line_north) / length
    foot = latitude_from_isometric(isometric_latitude(start) + along_deg * line_north / length)
    right: Array = right_deg * miles_per_degree(foot, place)
    return right


# --- What the loxodromes are made of ----------------------------------------------


def miles_per_degree(lat1: ArrayLike, lat2: ArrayLike | None = None) -> Array:
    """Return the scale of the Mercator plane at a latitude, or its mean between two [nm/°].

    Meridian arc over isometric latitude; where the latitudes are equal, its
    limit, the length of a degree of the parallel.

    Parameters
    ----------
    lat1, lat2 : array_like, shape (...)
        Latitudes, north positive. [°]

    Returns
    -------
    ndarray, shape (...)
        [nm/°]

    Examples
    --------
    >>> print(f"{miles_per_degree(60.0):.4f}")
    30.1296
    """
    start = np.asarray(lat1, dtype=float)
    sine, cosine = _sin_cos_lat(start)
    parallel = np.radians(EQUATORIAL_RADIUS_NM * cosine / np.sqrt(1.0 - _E2 * sine * sine))
    if lat2 is None:
        return np.asarray(parallel)
    end = np.asarray(lat2, dtype=float)
    isometric = np.degrees(_isometric_difference(start, end))
    rises = ~(np.abs(isometric) <= _NEGLIGIBLE)  # NaN passes, to come out as NaN
    between = _meridian_difference_nm(start, end) / np.where(rises, isometric, 1.0)
    scale: Array = np.where(rises, between, parallel)
    return scale[()]


def _meridian_difference_nm(lat1: Array, lat2: Array) -> Array:
    step = np.radians(lat2 - lat1)
    return _RECTIFYING_RADIUS_NM * _series_step(_RECTIFYING_FROM_GEODETIC, np.radians(lat1), step)


def _isometric_difference(lat1: Array, lat2: Array) -> Array:
    """Return the difference of isometric latitudes, ±infinity to or from a pole [rad]."""
    sine1, cosine1 = _sin_cos_lat(lat1)
    sine2, cosine2 = _sin_cos_lat(lat2)
    _, cosine_mean = _sin_cos_lat(0.5 * (lat1 + lat2))
    rise = 2.0 * cosine_mean * np.sin(np.radians(0.5 * (lat2 - lat1)))
    # From a pole to itself it is nothing, not an infinity less another.
    difference = np.where(lat1 == lat2, 0.0, _isometric_step(sine1, cosine1, sine2, cosine2, rise))
    return difference[()]


def _isometric_step(
    sine1: Array, cosine1: Array, sine2: Array, cosine2: Array, rise: Array
) -> Array:
    """Return the isometric step of `mercator_offset`; `rise` is sine2 - sine1 [rad]."""
    with np.errstate(divide="ignore", invalid="ignore"):
        sphere = np.arcsinh(rise / (cosine1 * cosine2))
    step: Array = sphere - _E * np.arctanh(_E * rise / (1.0 - _E2 * sine1 * sine2))
    return step


def _isometric_per_rectifying(lat_deg: Array, rise: Array, step: Array) -> Array:
    """Return isometric over rectifying latitude along a step, and its limit on a parallel.

    The step is `rise` in geodetic and `step` in rectifying latitude [rad]. Sines
    and cosines of the far end come from those of the start by addition: where
    many points share a start, that halves the work.
    """
    sine1, cosine1 = _sin_cos_lat(lat_deg)
    limit = _RECTIFYING_RADIUS_NM / EQUATORIAL_RADIUS_NM * np.sqrt(1.0 - _E2 * sine1 * sine1)
    half_sine, half_cosine = np.sin(0.5 * rise), np.cos(0.5 * rise)
    sine = sine1 * half_cosine + cosine1 * half_sine
    cosine = cosine1 * half_cosine - sine1 * half_sine
    sine2 = sine * half_cosine + cosine * half_sine
    cosine2 = np.maximum(cosine * half_cosine - sine * half_sine, 0.0)
    isometric = _isometric_step(sine1, cosine1, sine2, cosine2, 2.0 * cosine * half_sine)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(np.abs(step) > _NEGLIGIBLE, isometric / step, limit / cosine1)


def _series(coefficients: tuple[float, ...], angle: Array) -> Array:
    """Return angle + Σ c_k sin 2k·angle, by Clenshaw's summation [rad]."""
    sine, cosine = np.sin(2.0 * angle), np.cos(2.0 * angle)
    double = 2.0 * cosine
    later, latest = 0.0 * angle, 0.0 * angle
    for coefficient in reversed(coefficients):
        later, latest = latest, coefficient + double * latest - later
    total: Array = angle + sine * latest
    return total


def _series_step(coefficients: tuple[float, ...], start: Array, step: Array) -> Array:
    """Return the difference of `_series` between start and start + step, exactly [rad].

    Each term is sin 2k(start + step) - sin 2k·start = 2 cos k(2·start + step) sin k·step,
    the multiples by Chebyshev's recurrence.
    """
    sine, cosine = np.sin(step), np.cos(step)
    centre = np.cos(2.0 * start) * cosine - np.sin(2.0 * start) * sine
    twice_cosine, twice_centre = 2.0 * cosine, 2.0 * centre
    sines, centres = sine, centre
    last_sines: Array | float = 0.0
    last_centres: Array | float = 1.0
    total: Array = step + (2.0 * coefficients[0]) * (centre * sine)
    for coefficient in coefficients[1:]:
        sines, last_sines = twice_cosine * sines - last_sines, sines
        centres, last_centres = twice_centre * centres - last_centres, centres
        total = total + (2.0 * coefficient) * (centres * sines)
    return total


def _rectifying(lat_deg: Array) -> Array:
    return _series(_RECTIFYING_FROM_GEODETIC, np.radians(lat_deg))


def _short_of_the_poles(rectifying: Array) -> Array:
    """Clip rounding at the poles; refuse what lies beyond [rad]."""
    if np.any(np.abs(rectifying) > math.pi / 2.0 + _OVERSHOOT_RAD):
        far = float(np.nanmax(np.abs(rectifying))) * _RECTIFYING_RADIUS_NM
        raise InputError(
            f"the line runs past a pole: {far:.4f} nm from the equator, "
            f"and a pole is {QUARTER_MERIDIAN_NM:.4f} nm from it"
        )
    clipped: Array = np.clip(rectifying, -math.pi / 2.0, math.pi / 2.0)
    return clipped


def _clipped_degrees(latitude_rad: Array) -> Array:
    clipped: Array = np.clip(np.degrees(latitude_rad), -90.0, 90.0)
    return clipped


def _sin_cos_lat(lat_deg: Array) -> tuple[Array, Array]:
    """Sine and cosine of latitudes; the cosine is never negative, and 0 at a pole."""
    return np.sin(np.radians(lat_deg)), np.sin(np.radians(90.0 - np.abs(lat_deg)))


def _of_one_shape(first: Array, second: Array) -> tuple[Array, Array]:
    if first.shape == second.shape:
        return first[()], second[()]
    first, second = np.broadcast_arrays(first, second)
    return first.copy(), second.copy()


def _latitude(name: str, lat_deg: ArrayLike) -> Array:
    lat = np.asarray(lat_deg, dtype=np.float64)
    beyond = np.abs(lat) > 90.0
    if np.any(beyond):
        raise InputError(f"{name} must be -90 to 90 degrees, got {lat[beyond].flat[0]:g}")
    return lat


def _below_pole(name: str, lat_deg: ArrayLike) -> Array:
    lat = _latitude(name, lat_deg)
    if np.any(np.abs(lat) == 90.0):
        raise InputError(f"{name} must not be a pole: every course from it is due north or south")
    return lat


def _finite(name: str, value: ArrayLike) -> Array:
    array = np.asarray(value, dtype=np.float64)
    if np.any(np.isinf(array)):
        raise InputError(f"{name} must be finite, got infinity")
    return array
