"""What benchmarks share: a call's time, and islands to sail among."""

from __future__ import annotations

import statistics
import time

import numpy as np
from shapely import Polygon

from goosewing.hazards.areas import Area


def seconds(what, *, rounds=3):
    """Median time of a call."""
    taken = []
    for _ in range(rounds):
        start = time.perf_counter()
        what()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def island(rng, lat, lon, *, corners, size_deg, stretch, name):
    """An island of uneven outline; `size_deg` from smallest to largest, `stretch` east and west."""
    angle = (np.arange(corners) + rng.uniform(0.0, 0.8, corners)) * 2.0 * np.pi / corners
    size = rng.uniform(*size_deg) * rng.uniform(0.6, 1.0, corners)
    shape = np.column_stack((lon + stretch * size * np.cos(angle), lat + size * np.sin(angle)))
    return Area(shape=Polygon(shape), name=name)
