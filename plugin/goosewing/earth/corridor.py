"""A channel along a leg that boards stay in: so far either side of the rhumb line.

The rhumb line is straight in the Mercator plane, and taken to go on beyond its ends.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from goosewing.earth import geodesy
from goosewing.earth.course import along_and_aside_deg

if TYPE_CHECKING:
    from goosewing.earth.course import Course
    from goosewing.units import Array

SPARE_NM = 0.001
"""Boards stay so much farther inside: about as far as they are made exact."""

COMING_IN = 4.0
"""Who starts outside has so many times as far along the leg to come in as she is outside."""


def room_aside(half: float, aside: Array, start: Array, ahead: Array) -> Array:
    """Return how far off a corridor's line places may lie, on the side they are on.

    Half its width; beside a start outside it as far as she is off, less and less ahead of her.

    Parameters
    ----------
    half : float
        Half the width.
    aside, ahead : ndarray
        How far to the right of the line places lie, and how far along it from the start.
    start : ndarray, shape ()
        How far to the right of it the start lies; all in one unit.
    """
    out = np.maximum(0.0, np.copysign(1.0, aside) * start - half)
    return np.asarray(half + np.clip(out - np.maximum(ahead, 0.0) / COMING_IN, 0.0, None))


@dataclass(frozen=True, slots=True)
class Corridor:
    """A channel of half a width either side of a leg's rhumb line.

    Who plans the rest of a leg starts beside that line, or even outside.
    """

    course: Course
    """The leg's own, from the mark behind to the mark ahead."""
    half_nm: float
    start: tuple[float, float] | None = None
    """Where she starts, latitude and longitude, if not on that line: from outside she may come in,
    but goes no farther out. [°]"""

    @property
    def narrowest_deg(self) -> float:
        """Half its width in the Mercator plane where it is least. [°]."""
        south, north = sorted((self.course.lat1, self.course.lat2))
        lowest = 0.0 if south <= 0.0 <= north else min(abs(south), abs(north))
        lowest = max(0.0, lowest - self.half_nm / 60.0)
        edge = geodesy.loxodrome_direct(lowest, 0.0, 90.0, self.half_nm)
        return float(edge.lon)

    def inside_nm(self, lat: Array, lon: Array) -> Array:
        """By how much places lie within the room she has, of the shape given. [nm].

        Negative outside it.
        """
        along, aside = self._off_nm(lat, lon)
        half = self.half_nm - SPARE_NM
        if self.start is None:
            return np.asarray(half - np.abs(aside))
        begun, out = self._off_nm(*(np.asarray(each) for each in self.start))
        return np.asarray(room_aside(half, aside, out, along - begun) - np.abs(aside))

    def _off_nm(self, lat: Array, lon: Array) -> tuple[Array, Array]:
        """How far along its line places lie, about; and how far to its right, never too little."""
        course = self.course
        along, aside = along_and_aside_deg(course, lat, lon)
        foot = geodesy.latitude_from_isometric(
            geodesy.isometric_latitude(course.lat1) + along * np.cos(np.radians(course.bearing_deg))
        )
        # The plane's scale between the two lies between theirs: the wider miles are the safe ones.
        wider = np.minimum(np.abs(lat), np.abs(foot))
        scale = geodesy.miles_per_degree(wider)
        return np.asarray(along * scale), np.asarray(aside * scale)
