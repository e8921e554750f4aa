"""The coast for a display: land within a box, as GeoJSON; a picture, never for navigation."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from goosewing.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

Bounds = tuple[float, float, float, float]
"""South, west, north, east. [°]"""

WIDEST_DEG = 60.0
"""A wider box is no picture of a passage."""

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
    width = (east - west) % 360.0
    if width == 0.0 or max(width, north - south) > WIDEST_DEG:
        raise InputError(f"coast: the box must be up to {WIDEST_DEG:g} degrees wide and high")
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

    from goosewing.exchange import coast

    land = coast.land(south, west, north, east)
    finest = max(north - south, (east - west) % 360.0) * DRAWN_SHARE
    land = shapely.set_precision(shapely.simplify(land, finest), 1e-5)
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
