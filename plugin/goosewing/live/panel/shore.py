"""The coast for a display: land within a box, as GeoJSON; a picture, never for navigation."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from goosewing.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from shapely import MultiPolygon

Bounds = tuple[float, float, float, float]
"""South, west, north, east. [°]"""

DRAWN_SHARE = 1.0 / 4000.0
"""Detail finer than this share of the box is not seen on a screen."""

SIDES = ("south", "west", "north", "east")


def bounds(asked: Mapping[str, Any]) -> Bounds:
    """Read the box of a request; west greater than east lies across the antimeridian.

    Raises
    ------
    InputError
        Saying which side is wrong and what was expected.

    Examples
    --------
    >>> bounds({"south": "56", "west": 11, "north": 57, "east": 12.5})
    (56.0, 11.0, 57.0, 12.5)
    """
    south, west, north, east = (_degrees(side, asked.get(side)) for side in SIDES)
    if not south < north:
        raise InputError(f"coast: south must be less than north, got {south:g} and {north:g}")
    if west == east:
        raise InputError(f"coast: west and east must differ, got {west:g} twice")
    return south, west, north, east


def _degrees(side: str, value: Any) -> float:
    most = 90.0 if side in ("south", "north") else 180.0
    try:
        degrees = math.nan if isinstance(value, bool) else float(value)
    except (TypeError, ValueError, OverflowError):
        degrees = math.nan
    if not abs(degrees) <= most:
        raise InputError(f"coast: {side} must be -{most:g} to {most:g} degrees, got {value!r:.40}")
    return degrees


def document(south: float, west: float, north: float, east: float) -> dict[str, Any]:
    """Return the land within a box as a GeoJSON FeatureCollection.

    Parameters
    ----------
    south, west, north, east : float
        As `bounds` gives them. [°]

    Returns
    -------
    dict
        With the members ``credit`` and ``warning`` besides those of RFC 7946.
    """
    import shapely

    from goosewing.hazards import coast

    width = east - west if west < east else east - west + 360.0
    land = _drawn(coast.land(south, west, north, east), max(north - south, width) * DRAWN_SHARE)
    features = []
    if not land.is_empty:
        shape = shapely.geometry.mapping(land)
        features.append({"type": "Feature", "properties": {}, "geometry": shape})
    return {
        "type": "FeatureCollection",
        "credit": coast.CREDIT,
        "warning": coast.WARNING,
        "features": features,
    }


def _drawn(land: MultiPolygon, finest_deg: float) -> MultiPolygon:
    """Leave out what is not seen, and the digits that say nothing."""
    import numpy as np
    import shapely

    parts = shapely.get_parts(land)
    west, south, east, north = shapely.bounds(parts).reshape(-1, 4).T
    seen = parts[np.maximum(east - west, north - south) >= finest_deg]
    # As RFC 7946 has it: outlines anticlockwise.
    shapes = shapely.orient_polygons(shapely.simplify(seen, finest_deg))
    return shapely.MultiPolygon(list(shapely.transform(shapes, lambda lonlat: lonlat.round(5))))
