"""The coast that comes with the package: coarse, for all the world, and not for navigation.

Natural Earth's land at 1:10 million, on a grid of 0.0036° of longitude and 0.0017° of
latitude (`tests/make_coast.py` makes the file beside this module). Of islands it has the
larger ones only, of rocks, shoals and harbour works none.
"""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np
import shapely
from shapely import STRtree

from goosewing.errors import InputError

if TYPE_CHECKING:
    from shapely import MultiPolygon

    Shapes: TypeAlias = np.ndarray[tuple[int], np.dtype[np.object_]]

CREDIT = "Coast: Natural Earth, 1:10 million, public domain."

WARNING = (
    "The built-in coast is coarse, half a mile out in places, and knows no rocks, shoals, "
    "small islands or harbour works, and takes lakes for land: not for navigation."
)


def land(south: float, west: float, north: float, east: float) -> MultiPolygon:
    """Return the land within a box.

    Parameters
    ----------
    south, north : float
        From -90 to 90. [°]
    west, east : float
        From -180 to 180; `west` greater than `east` for a box across the antimeridian. [°]

    Returns
    -------
    MultiPolygon
        Longitude and latitude in WGS 84, valid, perhaps empty, cut off at the box.
        Longitudes run on eastwards from `west`, beyond 180 in a box across the antimeridian,
        so that land there is in one piece. [°]

    Raises
    ------
    InputError
        If the box is none.

    Examples
    --------
    >>> kattegat = land(56.0, 10.0, 58.0, 13.0)
    >>> from shapely import Point
    >>> bool(kattegat.contains(Point(10.2, 56.17))), bool(kattegat.contains(Point(11.5, 57.0)))
    (True, False)
    """
    _check(south, west, north, east)
    # The clipping fails at numbers that are all but zero.
    south, west, north, east = (
        limit if abs(limit) > 1e-9 else 0.0 for limit in (south, west, north, east)
    )
    if west <= east:
        return _multi(_within(south, west, north, east))
    behind = _multi(_within(south, west, north, 180.0))
    ahead = _multi(_within(south, -180.0, north, east))
    ahead = shapely.transform(ahead, lambda lonlat: lonlat + np.array([360.0, 0.0]))
    return _multi(shapely.union(behind, ahead))


def _check(south: float, west: float, north: float, east: float) -> None:
    if not -90.0 <= south <= north <= 90.0:
        raise InputError(f"a box of the coast runs from south to north, got {south:g} to {north:g}")
    if not (-180.0 <= west <= 180.0 and -180.0 <= east <= 180.0):
        raise InputError(f"longitudes must be from -180 to 180, got {west:g} and {east:g}")


def _within(south: float, west: float, north: float, east: float) -> Shapes:
    """Return the land within a box, and perhaps lines and points where it only touches it."""
    polygons, tree = _world()
    box = shapely.box(west, south, east, north)
    near = polygons[tree.query(box)]
    extent = shapely.bounds(near)
    beyond = (extent < [west, south, -np.inf, -np.inf]) | (extent > [np.inf, np.inf, east, north])
    cut = beyond.any(axis=1)
    return np.concatenate([near[~cut], shapely.intersection(near[cut], box)])


def _multi(shapes: Any) -> MultiPolygon:
    # Twice, as a collection may hold a MultiPolygon.
    parts = shapely.get_parts(shapely.get_parts(shapes))
    return shapely.MultiPolygon([part for part in parts if part.geom_type == "Polygon"])


@cache
def _world() -> tuple[Shapes, STRtree]:
    """Read all land, and index it by its boxes; once."""
    with resources.files(__package__).joinpath("coast.npz").open("rb") as stream:
        stored = np.load(stream, allow_pickle=False)
        grid = np.cumsum(stored["steps"], axis=0)
        points = stored["origin"] + stored["scale"] * grid
        ends = (stored["ring_ends"], stored["polygon_ends"])
    # The grid's last line to the east is 180 but for rounding.
    points = np.clip(points, [-180.0, -90.0], [180.0, 90.0])
    polygons = shapely.from_ragged_array(shapely.GeometryType.POLYGON, points, ends)
    return polygons, STRtree(polygons)
