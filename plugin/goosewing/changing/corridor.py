"""A channel along a leg that boards stay in: so far either side of the rhumb line.

The rhumb line is straight in the Mercator plane, and taken to go on beyond its ends.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from goosewing.changing.motion import degrees_per_hour
from goosewing.earth import geodesy

if TYPE_CHECKING:
    from goosewing.earth.course import Course
    from goosewing.units import Array

SPARE_NM = 0.001
"""Boards stay so much farther inside: about as far as they are made exact."""


@dataclass(frozen=True, slots=True)
class Corridor:
    """A channel of half a width either side of a leg's rhumb line."""

    course: Course
    half_nm: float

    def inside_nm(self, lat: Array, lon: Array) -> Array:
        """By how much places lie within it, of the shape given; negative outside. [nm]."""
        course = self.course
        offset = geodesy.mercator_offset(course.lat1, course.lon1, lat, lon)
        angle = np.radians(course.bearing_deg)
        sin, cos = np.sin(angle), np.cos(angle)
        along = offset.east_deg * sin + offset.north_deg * cos
        across = offset.east_deg * cos - offset.north_deg * sin
        foot = geodesy.latitude_from_isometric(
            geodesy.isometric_latitude(course.lat1) + along * cos
        )
        # The plane's scale between the two lies between theirs: the wider miles are the safe ones.
        wider = np.minimum(np.abs(lat), np.abs(foot))
        _, deg_per_nm = degrees_per_hour(wider, np.ones(np.shape(lat)), np.zeros(np.shape(lat)))
        return np.asarray(self.half_nm - SPARE_NM - np.abs(across) / deg_per_nm)
