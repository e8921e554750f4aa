"""Whether the sun is up, on arrays: enough to say when a pole may stay set.

Low-precision solar position of the Astronomical Almanac (from memory), good to
0.01° between 1950 and 2050; sunrise and sunset at 0.833° below the horizon,
which allows for refraction and the sun's radius.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from goosewing.units import Array, BoolArray

HOURS_TO_J2000 = 262980.0
"""Hours from 1970-01-01T00:00Z to 2000-01-01T12:00Z."""

HORIZON_DEG = -0.833


def elevation_deg(time_h: ArrayLike, lat: ArrayLike, lon: ArrayLike) -> Array:
    """Return the height of the sun's centre above the horizon, without refraction.

    Parameters
    ----------
    time_h : array_like
        Hours since 1970-01-01T00:00Z. [h]
    lat, lon : array_like
        Position. [°]

    Returns
    -------
    ndarray
        Broadcast over the three. [°]
    """
    hours = np.asarray(time_h, dtype=np.float64) - HOURS_TO_J2000
    days = hours / 24.0
    mean_longitude = 280.460 + 0.9856474 * days
    anomaly = np.radians(357.528 + 0.9856003 * days)
    ecliptic = np.radians(mean_longitude + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2.0 * anomaly))
    obliquity = np.radians(23.439 - 4e-7 * days)
    right_ascension = np.arctan2(np.cos(obliquity) * np.sin(ecliptic), np.cos(ecliptic))
    declination = np.arcsin(np.sin(obliquity) * np.sin(ecliptic))
    # Greenwich mean sidereal time turns 15.04107° an hour.
    sidereal = np.radians(280.46062 + 360.98564737 * days + np.asarray(lon, dtype=np.float64))
    hour_angle = sidereal - right_ascension
    phi = np.radians(lat)
    height = np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.cos(
        hour_angle
    )
    return np.asarray(np.degrees(np.arcsin(np.clip(height, -1.0, 1.0))))


def is_daylight(time_h: ArrayLike, lat: ArrayLike, lon: ArrayLike) -> BoolArray:
    """Say whether the sun's upper limb is above the horizon, broadcast over the three."""
    return np.asarray(elevation_deg(time_h, lat, lon) > HORIZON_DEG)
