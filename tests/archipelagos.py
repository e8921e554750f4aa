"""Seeded archipelagos: small islands strewn over a square of sea, for tests and benchmarks."""

from __future__ import annotations

import numpy as np
import shapely

from goosewing.hazards.areas import Area
from goosewing.records import Mark

SIDE_NM = 40.0
MIDDLE = (58.0, 18.0)


def strewn(count, seed=0, *, corners=20, radius_nm=(0.03, 0.12), side_nm=SIDE_NM, clear_of=()):
    """Return islands, as areas, strewn over a square about `MIDDLE`.

    Parameters
    ----------
    count : int
    seed : int
    corners : int
        Of each island.
    radius_nm : (float, float)
        Least and greatest mean radius of an island. [nm]
    side_nm : float
        Side of the square. [nm]
    clear_of : sequence of Mark
        No island reaches within 0.3 nm of these.
    """
    rng = np.random.default_rng(seed)
    north = rng.uniform(-0.5, 0.5, (count, 1)) * side_nm
    east = rng.uniform(-0.5, 0.5, (count, 1)) * side_nm
    angle = np.linspace(0.0, 2.0 * np.pi, corners, endpoint=False)
    radius = rng.uniform(*radius_nm, (count, 1)) * rng.uniform(0.6, 1.4, (count, corners))
    lat = MIDDLE[0] + (north + radius * np.sin(angle)) / 60.0
    lon = MIDDLE[1] + (east + radius * np.cos(angle)) / 60.0 / np.cos(np.radians(MIDDLE[0]))
    shapes = shapely.polygons(np.stack((lon, lat), axis=2))
    off = np.full(count, np.inf)
    for mark in clear_of:
        scaled = shapely.transform(shapes, lambda p: p * [0.53, 1.0])
        place = shapely.points(mark.lon * 0.53, mark.lat)
        off = np.minimum(off, shapely.distance(scaled, place) * 60.0)
    return [
        Area(shape=shape, name=f"Islet {at}", kind="land", source="strewn")
        for at, shape in enumerate(shapes)
        if off[at] > 0.3
    ]


def across(bearing_deg, length_nm=36.0):
    """Return two marks so far apart on a bearing, the middle of the square between them."""
    run = 0.5 * length_nm / 60.0
    north = run * np.cos(np.radians(bearing_deg))
    east = run * np.sin(np.radians(bearing_deg)) / np.cos(np.radians(MIDDLE[0]))
    return (
        Mark(name="A", lat=MIDDLE[0] - north, lon=MIDDLE[1] - east),
        Mark(name="B", lat=MIDDLE[0] + north, lon=MIDDLE[1] + east),
    )
