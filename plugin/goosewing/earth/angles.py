"""Angles in degrees: reduced to one turn, and resolved without rounding at the quarters."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from goosewing.errors import InputError
from goosewing.units import Array


def wrap_180(angle_deg: ArrayLike) -> Array:
    """Reduce angles to (-180, 180].

    Parameters
    ----------
    angle_deg : array_like, shape (...)
        Angles of any winding; NaN stays NaN. [°]

    Returns
    -------
    ndarray, shape (...)
        The same directions, in (-180, 180]; exact, no rounding. [°]

    Raises
    ------
    InputError
        If an angle is infinite.

    Examples
    --------
    >>> print(wrap_180(190.0), wrap_180(180.0), wrap_180(-180.0))
    -170.0 180.0 180.0
    """
    angle = _within_a_turn(angle_deg)
    # Sums of 360 and something from 180 to 360 of the other sign are exact.
    angle = np.where(angle > 180.0, angle - 360.0, angle)
    wrapped: Array = np.where(angle <= -180.0, angle + 360.0, angle) + 0.0
    return wrapped


def wrap_360(angle_deg: ArrayLike) -> Array:
    """Reduce angles to [0, 360).

    Parameters
    ----------
    angle_deg : array_like, shape (...)
        Angles of any winding; NaN stays NaN. [°]

    Returns
    -------
    ndarray, shape (...)
        The same directions, in [0, 360). [°]

    Raises
    ------
    InputError
        If an angle is infinite.

    Examples
    --------
    >>> print(wrap_360(-90.0), wrap_360(360.0), wrap_360(-1e-17))
    270.0 0.0 0.0
    """
    angle = _within_a_turn(angle_deg)
    angle = np.where(angle < 0.0, angle + 360.0, angle)
    # A tiny negative angle has just been rounded up to 360 itself.
    wrapped: Array = np.where(angle >= 360.0, 0.0, angle) + 0.0
    return wrapped


def wrap_longitude(lon: ArrayLike) -> Array:
    """Reduce longitudes to [-180, 180), the interval that GPX 1.1 allows.

    Parameters
    ----------
    lon : array_like, shape (...)
        Longitudes of any winding, east positive; NaN stays NaN. [°]

    Returns
    -------
    ndarray, shape (...)
        The same meridians, in [-180, 180); exact, no rounding. [°]

    Raises
    ------
    InputError
        If a longitude is infinite.

    Examples
    --------
    >>> print(wrap_longitude(180.0), wrap_longitude(-181.0), wrap_longitude(540.0))
    -180.0 179.0 -180.0
    """
    angle = np.asarray(lon, dtype=np.float64)
    if np.all(np.abs(angle) < 180.0):
        return angle + 0.0
    angle = _within_a_turn(angle)
    angle = np.where(angle >= 180.0, angle - 360.0, angle)
    wrapped: Array = np.where(angle < -180.0, angle + 360.0, angle) + 0.0
    return wrapped


def sin_cos_deg(angle_deg: ArrayLike) -> tuple[Array, Array]:
    """Sine and cosine of angles in degrees, exact at every quarter turn.

    The angle is reduced to within 45° of a quarter turn before it becomes
    radians, so that a course of 270° has no northing at all, and two opposite
    courses have exactly opposite components.

    Parameters
    ----------
    angle_deg : array_like, shape (...)
        Angles of any winding; NaN stays NaN. [°]

    Returns
    -------
    sine, cosine : ndarray, shape (...)
        Of the angles.

    Raises
    ------
    InputError
        If an angle is infinite.

    Examples
    --------
    >>> sine, cosine = sin_cos_deg([0.0, 90.0, 180.0, 270.0])
    >>> print(sine, cosine)
    [ 0.  1.  0. -1.] [ 1.  0. -1.  0.]
    """
    angle = _within_a_turn(angle_deg)
    quarters = np.rint(angle / 90.0)
    rest = np.radians(angle - 90.0 * quarters)
    sine, cosine = np.sin(rest), np.cos(rest)
    odd = np.remainder(quarters, 2.0) == 1.0
    half_turned = np.remainder(quarters, 4.0)
    sine_sign = np.where(half_turned >= 2.0, -1.0, 1.0)
    cosine_sign = np.where((half_turned == 1.0) | (half_turned == 2.0), -1.0, 1.0)
    return (
        sine_sign * np.where(odd, cosine, sine) + 0.0,
        cosine_sign * np.where(odd, sine, cosine) + 0.0,
    )


def _within_a_turn(angle_deg: ArrayLike) -> Array:
    """Reduce angles to (-360, 360), exactly; most are there already."""
    angle = np.asarray(angle_deg, dtype=np.float64)
    if np.all(np.abs(angle) < 360.0):
        return angle
    if np.any(np.isinf(angle)):
        raise InputError("an angle must be a finite number of degrees, got infinity")
    reduced: Array = np.fmod(angle, 360.0)
    return reduced
