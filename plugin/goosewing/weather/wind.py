"""Wind, stream and boat as vectors in the horizontal plane.

A wind is named by where it comes *from*, a stream by where it sets *towards*;
components always point *towards* east and north. Angles are degrees, speeds
knots, heights metres, and every argument broadcasts against the others.
True wind is the wind over the *water*: ground wind less stream. Angles on the
wind (``twa_deg``, ``awa_deg``) are measured from the bow, 0 to 180.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from goosewing.earth.angles import sin_cos_deg, wrap_360
from goosewing.errors import InputError, NoPlanError
from goosewing.units import Array


class Components(NamedTuple):
    """A velocity, *towards* east and north [kn]."""

    east: Array
    north: Array


class TrueWind(NamedTuple):
    """Wind over the water."""

    twd_deg: Array
    """Direction it comes *from*, in [0, 360). [°] true"""
    tws_kn: Array


class ApparentWind(NamedTuple):
    """Wind as felt on board."""

    awa_deg: Array
    """From the bow, 0 to 180. [°]"""
    aws_kn: Array


class WindOnBow(NamedTuple):
    """True wind as seen from the boat."""

    twa_deg: Array
    """From the bow, 0 to 180. [°]"""
    tws_kn: Array


class Track(NamedTuple):
    """What boat and stream make good together over the ground."""

    course_deg: Array
    """In [0, 360); 0 where nothing is made good. [°] true"""
    speed_kn: Array


class Steer(NamedTuple):
    """What to steer in a stream, and what that makes good."""

    course_deg: Array
    """Course through the water, in [0, 360). [°] true"""
    speed_made_good_kn: Array
    """Over the ground along the wanted track, greater than zero [kn]."""


# --- Directions and components -----------------------------------------------------


def components_from(direction_from_deg: ArrayLike, speed_kn: ArrayLike) -> Components:
    """Resolve what comes *from* a direction, a wind, into components.

    Parameters
    ----------
    direction_from_deg : array_like, shape (...)
        Direction it comes from, clockwise from true north. [°]
    speed_kn : array_like, shape (...)
        Its speed. [kn]

    Returns
    -------
    Components
        Shape (...), *towards* east and north; a wind from 270° has no northing
        at all. [kn]

    Examples
    --------
    >>> wind = components_from(270.0, 10.0)
    >>> print(wind.east, wind.north)
    10.0 0.0
    """
    towards = components_to(direction_from_deg, speed_kn)
    # Adding zero leaves no negative zeros, which would turn a calm round.
    return Components(0.0 - towards.east, 0.0 - towards.north)


def components_to(direction_to_deg: ArrayLike, speed_kn: ArrayLike) -> Components:
    """Resolve what goes *towards* a direction, a stream or a boat, into components.

    Parameters
    ----------
    direction_to_deg : array_like, shape (...)
        Direction it goes towards, clockwise from true north. [°]
    speed_kn : array_like, shape (...)
        Its speed. [kn]

    Returns
    -------
    Components
        Shape (...), *towards* east and north. [kn]
    """
    sine, cosine = sin_cos_deg(direction_to_deg)
    speed = np.asarray(speed_kn, dtype=np.float64)
    return Components(speed * sine + 0.0, speed * cosine + 0.0)


def direction_to(east: ArrayLike, north: ArrayLike) -> Array:
    """Return the direction a velocity goes *towards*.

    Parameters
    ----------
    east, north : array_like, shape (...)
        Components *towards* east and north, of any unit.

    Returns
    -------
    ndarray, shape (...)
        Clockwise from true north, in [0, 360); 0 for no velocity. [°]
    """
    east, north = np.asarray(east) + 0.0, np.asarray(north) + 0.0
    return wrap_360(np.degrees(np.arctan2(east, north)))


def direction_from(east: ArrayLike, north: ArrayLike) -> Array:
    """Return the direction a velocity comes *from*, as winds are named.

    Parameters
    ----------
    east, north : array_like, shape (...)
        Components *towards* east and north, of any unit.

    Returns
    -------
    ndarray, shape (...)
        Clockwise from true north, in [0, 360); 0 for a calm. [°]

    Examples
    --------
    >>> print(direction_from(4.0, 0.0), direction_from(0.0, 0.0))
    270.0 0.0
    """
    return direction_to(0.0 - np.asarray(east), 0.0 - np.asarray(north))


def true_wind(
    wind_east: ArrayLike, wind_north: ArrayLike, stream_east: ArrayLike, stream_north: ArrayLike
) -> TrueWind:
    """Return the wind over the water: ground wind less stream, as vectors.

    Parameters
    ----------
    wind_east, wind_north : array_like, shape (...)
        Ground wind, components *towards* east and north. [kn]
    stream_east, stream_north : array_like, shape (...)
        Stream, likewise. [kn]

    Returns
    -------
    TrueWind
        Shape (...): direction it comes *from* [°], speed [kn].

    Examples
    --------
    >>> twd_deg, tws_kn = true_wind(0.0, -10.0, 0.0, 2.0)
    >>> print(twd_deg, tws_kn)
    0.0 12.0
    """
    east: Array = np.subtract(wind_east, stream_east, dtype=np.float64)
    north: Array = np.subtract(wind_north, stream_north, dtype=np.float64)
    return TrueWind(direction_from(east, north), np.hypot(east, north))


# --- On board --------------------------------------------------------------------


def apparent_wind(
    twa_deg: ArrayLike, tws_kn: ArrayLike, boat_speed_kn: ArrayLike, leeway_deg: ArrayLike = 0.0
) -> ApparentWind:
    r"""Return the wind felt on board, in the horizontal plane.

    Parameters
    ----------
    twa_deg : array_like, shape (...)
        True wind angle from the bow, 0 to 180. [°]
    tws_kn : array_like, shape (...)
        True wind speed. [kn]
    boat_speed_kn : array_like, shape (...)
        Speed through the water, along the water track. [kn]
    leeway_deg : array_like, shape (...), optional
        Water track from heading, positive to leeward. [°]

    Returns
    -------
    ApparentWind
        Shape (...): angle from the bow, 0 to 180 [°], and speed [kn]. Where
        leeway carries the wind across bow or stern, the angle is measured on the
        side it then comes from.

    Notes
    -----
    .. math::
        f = W\cos\theta + S\cos\lambda, \qquad a = W\sin\theta - S\sin\lambda

    fore and abeam: the triangle of the ORC's Speed Guide Explanation, appendix A,
    with the boat moving along its water track.

    Examples
    --------
    >>> awa_deg, aws_kn = apparent_wind(40.0, 11.6, 6.3)
    >>> print(f"{awa_deg:.2f} {aws_kn:.2f}")
    26.15 16.92
    """
    boat = components_to(leeway_deg, boat_speed_kn)
    wind = components_to(twa_deg, tws_kn)
    fore, abeam = wind.north + boat.north, wind.east - boat.east
    return ApparentWind(_off_the_bow(fore, abeam), np.hypot(fore, abeam))


def true_from_apparent(
    awa_deg: ArrayLike, aws_kn: ArrayLike, boat_speed_kn: ArrayLike, leeway_deg: ArrayLike = 0.0
) -> WindOnBow:
    """Return the true wind behind an apparent one, the inverse of `apparent_wind`.

    Parameters
    ----------
    awa_deg : array_like, shape (...)
        Apparent wind angle from the bow, 0 to 180. [°]
    aws_kn : array_like, shape (...)
        Apparent wind speed. [kn]
    boat_speed_kn : array_like, shape (...)
        Speed through the water, along the water track. [kn]
    leeway_deg : array_like, shape (...), optional
        Water track from heading, positive to leeward. [°]

    Returns
    -------
    WindOnBow
        Shape (...): angle from the bow, 0 to 180 [°], and speed [kn].

    Examples
    --------
    >>> twa_deg, tws_kn = true_from_apparent(60.0, 10.0, 5.0)
    >>> print(f"{twa_deg:.2f} {tws_kn:.4f}")
    90.00 8.6603
    """
    boat = components_to(leeway_deg, boat_speed_kn)
    wind = components_to(awa_deg, aws_kn)
    fore, abeam = wind.north - boat.north, wind.east + boat.east
    return WindOnBow(_off_the_bow(fore, abeam), np.hypot(fore, abeam))


def _off_the_bow(fore: Array, abeam: Array) -> Array:
    angle: Array = np.degrees(np.arctan2(np.abs(abeam), fore + 0.0))
    return angle


# --- Boat and stream -----------------------------------------------------------------


def made_good(
    course_deg: ArrayLike, speed_kn: ArrayLike, set_deg: ArrayLike, drift_kn: ArrayLike
) -> Track:
    """Return what a course through the water makes good over the ground.

    Parameters
    ----------
    course_deg, speed_kn : array_like, shape (...)
        Course [° true] and speed [kn] through the water.
    set_deg, drift_kn : array_like, shape (...)
        Stream: direction it flows *towards* [° true] and speed [kn].

    Returns
    -------
    Track
        Shape (...): course [°] and speed [kn] over the ground.

    Examples
    --------
    >>> track = made_good(80.0, 10.0, 140.0, 2.0)
    >>> print(f"{track.course_deg:.2f} {track.speed_kn:.2f}")
    88.95 11.14
    """
    boat, stream = components_to(course_deg, speed_kn), components_to(set_deg, drift_kn)
    east, north = boat.east + stream.east, boat.north + stream.north
    return Track(direction_to(east, north), np.hypot(east, north))


def course_to_steer(
    track_deg: ArrayLike, speed_kn: ArrayLike, set_deg: ArrayLike, drift_kn: ArrayLike
) -> Steer:
    """Return the course through the water that makes good a wanted track.

    Of two courses that would, the one that makes good more.

    Parameters
    ----------
    track_deg : array_like, shape (...)
        Wanted course over the ground. [°] true
    speed_kn : array_like, shape (...)
        Speed through the water, whatever the course. [kn]
    set_deg, drift_kn : array_like, shape (...)
        Stream: direction it flows *towards* [° true] and speed [kn].

    Returns
    -------
    Steer
        Shape (...): course through the water [°], speed made good [kn].

    Raises
    ------
    InputError
        If a boat speed is negative.
    NoPlanError
        If, for any element, the stream across the track is stronger than the
        boat, or nothing is made good along it.

    Examples
    --------
    >>> steer = course_to_steer(95.0, 12.0, 170.0, 2.5)
    >>> print(f"{steer.course_deg:.2f} {steer.speed_made_good_kn:.3f}")
    83.39 12.402
    """
    speed = _not_negative("speed_kn", speed_kn)
    across, along = components_to(np.subtract(set_deg, track_deg), drift_kn)
    if np.any(np.abs(across) > speed):
        raise NoPlanError("the stream sets across the track faster than the boat sails")
    upstream = np.sqrt((speed - across) * (speed + across))
    gained = upstream + along
    if np.any(gained <= 0.0):
        raise NoPlanError("the stream sets against the track as fast as the boat sails, or faster")
    correction = np.degrees(np.arctan2(-across, upstream))
    return Steer(wrap_360(track_deg + correction), gained)


# --- Height and force --------------------------------------------------------------


def wind_at_height(
    speed_kn: ArrayLike,
    height_m: ArrayLike,
    wanted_height_m: ArrayLike,
    exponent: float = 0.11,
) -> Array:
    r"""Carry a wind speed from one height above the water to another.

    Parameters
    ----------
    speed_kn : array_like, shape (...)
        Wind speed at `height_m`. [kn]
    height_m, wanted_height_m : array_like, shape (...)
        Heights above the water, greater than zero. [m]
    exponent : float, optional
        Of the power law. 0.11 ± 0.03 is the figure of Hsu, Meindl and
        Gilhousen (1994) for near-neutral air over the sea (from memory).

    Returns
    -------
    ndarray, shape (...)
        Wind speed at `wanted_height_m`. [kn]

    Raises
    ------
    InputError
        If a height is zero or less, or a speed negative.

    Notes
    -----
    .. math:: U(z) = U(z_r) \, (z / z_r)^\alpha

    Examples
    --------
    >>> print(f"{wind_at_height(10.0, 15.0, 10.0):.3f}")
    9.564
    """
    speed = _not_negative("speed_kn", speed_kn)
    height, wanted = (
        _above_water("height_m", height_m),
        _above_water("wanted_height_m", wanted_height_m),
    )
    at_height: Array = speed * (wanted / height) ** exponent
    return at_height


def _not_negative(name: str, value: ArrayLike) -> Array:
    array = np.asarray(value, dtype=np.float64)
    below = array < 0.0
    if np.any(below):
        raise InputError(f"{name} must not be negative, got {array[below].flat[0]:g}")
    return array


def _above_water(name: str, value: ArrayLike) -> Array:
    array = np.asarray(value, dtype=np.float64)
    under = array <= 0.0
    if np.any(under):
        raise InputError(f"{name} must be greater than 0 m, got {array[under].flat[0]:g}")
    return array
