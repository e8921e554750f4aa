"""Where she lies to a line, in the plane around her: for the end of a board, not for oceans."""

from __future__ import annotations

import math
from typing import NamedTuple

from goosewing import earth


class Bearing(NamedTuple):
    """How a place lies from her, as components *towards* east and north. [nm]."""

    east_nm: float
    north_nm: float
    distance_nm: float


def towards(lat: float, lon: float, there_lat: float, there_lon: float) -> Bearing:
    """Return how `there` lies from here along the loxodrome."""
    line = earth.loxodrome_inverse(lat, lon, there_lat, there_lon)
    angle, distance = math.radians(float(line.bearing_deg)), float(line.distance_nm)
    return Bearing(distance * math.sin(angle), distance * math.cos(angle), distance)


def right_of_nm(to_point: Bearing, course_deg: float) -> float:
    """Return how far she is to the right of the line of this course through the point, in miles."""
    angle = math.radians(course_deg)
    return to_point.north_nm * math.sin(angle) - to_point.east_nm * math.cos(angle)


def beyond_nm(to_point: Bearing, course_deg: float) -> float:
    """Return how far she is past the perpendicular to this course through the point, in miles."""
    angle = math.radians(course_deg)
    return -(to_point.east_nm * math.sin(angle) + to_point.north_nm * math.cos(angle))


def right_rate_kn(velocity: tuple[float, float], course_deg: float) -> float:
    """Return the part of a velocity (east, north) that goes to the right of a course, in knots."""
    angle = math.radians(course_deg)
    return velocity[0] * math.cos(angle) - velocity[1] * math.sin(angle)
