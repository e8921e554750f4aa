"""How far rays run before they meet an edge: many rays of one direction at once.

Pure plane geometry, in whatever units the caller has.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.units import Array, BoolArray

    Numbers = NDArray[np.intp]

STRIPS = 1500
"""The plane is cut into so many strips along the rays; a ray looks at the edges in its own."""

LONGEST_STRIPS = 8.0
"""Edges are cut to so many strips' width first, so that their order along a strip is known."""

AT_ONCE = 1 << 18


def run_free(places: Array, direction: Array, start: Array, end: Array, reach: float) -> Array:
    """Measure how far rays run free.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        Where the rays begin.
    direction : ndarray, shape (2,)
        A unit vector, one for all.
    start, end : ndarray, shape (e, 2)
        The edges.
    reach : float
        No ray is followed farther.

    Returns
    -------
    ndarray, shape (n,)
        Distance to the first edge crossed ahead; `reach` where there is none.
    """
    found = np.full(len(places), reach)
    if not len(places) or not len(start):
        return found
    turn = np.array([[direction[0], -direction[1]], [direction[1], direction[0]]])
    # Columns: along the rays, across them.
    here, a, b = places @ turn, start @ turn, end @ turn
    low, width = float(here[:, 1].min()), float(np.ptp(here[:, 1])) / STRIPS
    width = max(width, 1e-6 * reach)
    near = (np.maximum(a[:, 1], b[:, 1]) >= low) & (
        np.minimum(a[:, 1], b[:, 1]) <= low + width * STRIPS
    )
    near &= np.maximum(a[:, 0], b[:, 0]) >= here[:, 0].min()
    near &= np.minimum(a[:, 0], b[:, 0]) <= here[:, 0].max() + reach
    a, b = _cut(a[near], b[near], LONGEST_STRIPS * width)
    for part in range(0, len(here), AT_ONCE):
        some = slice(part, part + AT_ONCE)
        found[some] = _first_met(here[some], a, b, low, width, reach)
    return found


def _cut(a: Array, b: Array, longest: float) -> tuple[Array, Array]:
    count = np.ceil(np.abs(b[:, 0] - a[:, 0]) / longest).astype(np.intp).clip(1)
    edge = np.repeat(np.arange(len(a)), count)
    number = (np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count))[:, np.newaxis]
    parts, step = count[edge, np.newaxis], (b - a)[edge]
    return a[edge] + step * (number / parts), a[edge] + step * ((number + 1) / parts)


def _first_met(here: Array, a: Array, b: Array, low: float, width: float, reach: float) -> Array:
    first = np.floor((np.minimum(a[:, 1], b[:, 1]) - low) / width).clip(0, STRIPS).astype(np.intp)
    last = np.floor((np.maximum(a[:, 1], b[:, 1]) - low) / width).clip(0, STRIPS).astype(np.intp)
    wanted = np.unique(np.floor((here[:, 1] - low) / width).astype(np.intp).clip(0, STRIPS))
    used = np.zeros(STRIPS + 2, dtype=np.intp)
    used[wanted + 1] = 1
    used = np.cumsum(used)
    some = used[last + 1] > used[first]
    a, b, first, last = a[some], b[some], first[some], last[some]
    count = last - first + 1
    edge = np.repeat(np.arange(len(a)), count)
    strip = first[edge] + np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    begin = np.minimum(a[:, 0], b[:, 0])[edge]
    order = np.lexsort((begin, strip))
    edge, strip, begin = edge[order], strip[order], begin[order]
    longest = float(np.max(np.abs(b[:, 0] - a[:, 0]), initial=0.0))
    return _walked(here, a, b, edge, strip, begin, longest, low, width, reach)


def _walked(
    here: Array, a: Array, b: Array, edge: Numbers, strip: Numbers, begin: Array,
    longest: float, low: float, width: float, reach: float,
) -> Array:  # fmt: skip
    """Let every ray walk along its strip from edge to edge until none can be nearer."""
    found = np.full(len(here), reach)
    own = np.floor((here[:, 1] - low) / width).clip(0, STRIPS)
    span = float(np.ptp(begin)) + float(np.ptp(here[:, 0])) + longest + reach if len(begin) else 1.0
    base = min(float(begin.min(initial=np.inf)), float(here[:, 0].min())) - longest
    key = strip * span + (begin - base)
    at = np.searchsorted(key, own * span + (here[:, 0] - longest - base))
    until = np.searchsorted(strip, own, side="right")
    ray = np.flatnonzero(at < until)
    while ray.size:
        one = edge[at[ray]]
        met = _distance(here[ray], a[one], b[one])
        found[ray] = np.minimum(found[ray], met)
        at[ray] += 1
        on = at[ray] < until[ray]
        ray = ray[on]
        ray = ray[begin[at[ray]] - here[ray, 0] < found[ray]]
    return found


def _distance(here: Array, a: Array, b: Array) -> Array:
    """Return how far ahead each ray crosses its edge, infinite where it does not."""
    one, other = a[:, 1] - here[:, 1], b[:, 1] - here[:, 1]
    crosses: BoolArray = (one > 0.0) != (other > 0.0)
    span = np.where(crosses, one - other, 1.0)
    along = a[:, 0] + one / span * (b[:, 0] - a[:, 0]) - here[:, 0]
    return np.where(crosses & (along > 0.0), along, np.inf)
