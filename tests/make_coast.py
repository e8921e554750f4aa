"""Turn Natural Earth's land into the package's coast: python tests/make_coast.py [land-10m.json].

Natural Earth (naturalearthdata.com) is in the public domain; its 1:10m land is taken from the
npm registry's package world-atlas 2.0.2, which carries it as TopoJSON on a grid of
0.0036° of longitude and 0.0017° of latitude. That grid is kept. Polygons that run across the
antimeridian are cut there, and Antarctica is closed round the pole. "Null Island", which the
data set draws at 0° 0° to catch mistakes, is left out; so are islets that the grid makes a line.
"""

from __future__ import annotations

import fcntl
import json
import os
import subprocess
import sys
import tarfile
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely import affinity

import signalk_host

PACKAGE, VERSION = "world-atlas", "2.0.2"
COAST = Path(__file__).parents[1] / "plugin" / "goosewing" / "hazards" / "coast.npz"


def fetch() -> Path:
    """Return the package's land, fetched at the first call on a machine; raises HostUnavailable."""
    caches = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    folder = caches / "goosewing-tests" / PACKAGE / VERSION
    folder.mkdir(parents=True, exist_ok=True)
    packed = folder / f"{PACKAGE}-{VERSION}.tgz"
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not packed.exists():
            signalk_host.npm(folder, "pack", f"{PACKAGE}@{VERSION}", timeout=90)
        with tarfile.open(packed) as archive:
            archive.extract("package/land-10m.json", folder, filter="data")
    return folder / "package" / "land-10m.json"


def turned(topology: dict[str, Any]) -> dict[str, np.ndarray]:
    """Return the arrays of the package's file: steps of the rings on the grid, and their counts."""
    transform = topology["transform"]
    scale, origin = np.array(transform["scale"]), np.array(transform["translate"])
    arcs = [np.cumsum(np.array(arc), axis=0) for arc in topology["arcs"]]
    geometries = topology["objects"]["land"]["geometries"]
    world = round(360.0 / scale[0])
    # The pole, on the grid.
    pole = int(np.ceil((90.0 + origin[1]) / scale[1]))
    polygons = [
        part
        for geometry in geometries
        for rings in geometry["arcs"]
        for part in _polygon([_ring(ring, arcs) for ring in rings], world, -pole)
    ]
    whole = shapely.make_valid(shapely.union_all(polygons, grid_size=1.0))
    null_island = shapely.Point(-origin / scale)
    parts = [part for part in shapely.get_parts(whole) if not part.contains(null_island)]
    parts.sort(key=lambda part: part.bounds)
    kind, points, (ring_ends, polygon_ends) = shapely.to_ragged_array(parts)
    assert kind == shapely.GeometryType.POLYGON
    grid = np.rint(points).astype(np.int32)
    assert np.array_equal(grid, points), "a corner off the grid"
    return {
        "scale": scale,
        "origin": origin,
        "steps": np.diff(grid, axis=0, prepend=np.zeros((1, 2), np.int32)).astype(np.int32),
        "ring_ends": ring_ends.astype(np.int32),
        "polygon_ends": polygon_ends.astype(np.int32),
    }


def _ring(numbers: list[int], arcs: list[np.ndarray]) -> np.ndarray:
    """Join arcs into a closed ring; a negative number is an arc backwards (TopoJSON 2.1.4)."""
    pieces = [arcs[number] if number >= 0 else arcs[~number][::-1] for number in numbers]
    return np.concatenate([pieces[0], *(piece[1:] for piece in pieces[1:])])


def _polygon(rings: list[np.ndarray], world: int, pole: int) -> list[shapely.Polygon]:
    """Cut a polygon of the globe into polygons of the plane from 0 to `world`."""
    unwound = [_unwound(ring, world) for ring in rings]
    outer = unwound[0]
    if outer[0, 0] != outer[-1, 0]:
        outer = _round_the_pole(outer, pole)
    shape = shapely.make_valid(shapely.Polygon(outer))
    for hole in unwound[1:]:
        turns = round((outer[:, 0].mean() - hole[:, 0].mean()) / world)
        beside = shapely.Polygon(hole + np.array([turns * world, 0]))
        shape = shape.difference(shapely.make_valid(beside))
    low, high = (int(edge // world) for edge in (shape.bounds[0], shape.bounds[2]))
    cut = []
    for turn in range(low, high + 1):
        sheet = shapely.box(turn * world, pole, (turn + 1) * world, 10**6)
        cut.append(affinity.translate(shape.intersection(sheet), -turn * world))
    return [part for each in cut for part in shapely.get_parts(each) if part.area > 0.0]


def _unwound(ring: np.ndarray, world: int) -> np.ndarray:
    steps = np.diff(ring, axis=0)
    steps[:, 0] -= world * np.rint(steps[:, 0] / world).astype(int)
    return ring[0] + np.concatenate([[[0, 0]], np.cumsum(steps, axis=0)])


def _round_the_pole(ring: np.ndarray, pole: int) -> np.ndarray:
    """Close a coast that runs round the earth along the pole."""
    return np.concatenate([ring, [[ring[-1, 0], pole], [ring[0, 0], pole]], ring[:1]])


def main() -> None:
    source = Path(sys.argv[1]) if len(sys.argv) > 1 else fetch()
    made = turned(json.loads(source.read_text(encoding="utf-8")))
    np.savez_compressed(COAST, **made)
    print(f"{COAST}: {COAST.stat().st_size} bytes, {len(made['polygon_ends']) - 1} polygons")


if __name__ == "__main__":
    try:
        main()
    except (signalk_host.HostUnavailableError, subprocess.SubprocessError) as fault:
        sys.exit(str(fault))
