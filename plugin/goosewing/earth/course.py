"""The loxodrome from one place to the next: its length, its bearing, its length in the plane."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from goosewing.earth import geodesy

if TYPE_CHECKING:
    from goosewing.units import Array

EARTH_RADIUS_NM = 3440.0


@dataclass(frozen=True, slots=True)
class Course:
    """The loxodrome from one mark to the next."""

    lat1: float
    lon1: float
    lat2: float
    lon2: float
    distance_nm: float
    bearing_deg: float
    mercator_deg: float
    """Its length in the Mercator plane, in degrees of longitude."""


CURVED_SHARE = 5e-4
"""From this on a loxodrome is too curved for what is worked out along it to be a bound."""


def is_curved(course: Course) -> bool:
    """Whether a way through higher latitudes may be shorter by a share that counts.

    To second order the geodesic between its ends is shorter by (L·tan φ·sin α/R)²/24, as an
    arc's chord is than the arc: L its length, φ the latitude, α the course, R the earth's radius.
    """
    lat = np.radians(max(abs(course.lat1), abs(course.lat2)))
    turned = course.distance_nm / EARTH_RADIUS_NM * np.tan(lat) * np.sin(
        np.radians(course.bearing_deg)
    )  # fmt: skip
    return bool(turned**2 / 24.0 > CURVED_SHARE)


def course_between(lat1: float, lon1: float, lat2: float, lon2: float) -> Course:
    """Measure the loxodrome between two positions."""
    line = geodesy.loxodrome_inverse(lat1, lon1, lat2, lon2)
    offset = geodesy.mercator_offset(lat1, lon1, lat2, lon2)
    length = float(np.hypot(offset.east_deg, offset.north_deg))
    return Course(lat1, lon1, lat2, lon2, float(line.distance_nm), float(line.bearing_deg), length)


def along_and_aside_deg(
    course: Course, lat: Array | float, lon: Array | float
) -> tuple[Array, Array]:
    """Return how far along a loxodrome places lie, and how far to its right.

    In the Mercator plane, in which it is straight, and taken to go on beyond its ends.

    Parameters
    ----------
    course : Course
    lat, lon : ndarray or float
        Of one shape. [°]

    Returns
    -------
    along, aside : ndarray
        Of that shape, in degrees of longitude.
    """
    offset = geodesy.mercator_offset(course.lat1, course.lon1, lat, lon)
    angle = np.radians(course.bearing_deg)
    sin, cos = np.sin(angle), np.cos(angle)
    along = offset.east_deg * sin + offset.north_deg * cos
    return along, np.asarray(offset.east_deg * cos - offset.north_deg * sin)
