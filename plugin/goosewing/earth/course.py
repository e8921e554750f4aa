"""The loxodrome from one place to the next: its length, its bearing, its length in the plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from goosewing.earth import geodesy


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


def course_between(lat1: float, lon1: float, lat2: float, lon2: float) -> Course:
    """Measure the loxodrome between two positions."""
    line = geodesy.loxodrome_inverse(lat1, lon1, lat2, lon2)
    offset = geodesy.mercator_offset(lat1, lon1, lat2, lon2)
    length = float(np.hypot(offset.east_deg, offset.north_deg))
    return Course(lat1, lon1, lat2, lon2, float(line.distance_nm), float(line.bearing_deg), length)
