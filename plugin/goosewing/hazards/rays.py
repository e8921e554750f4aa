"""How far rays run before they meet an edge: many rays of one direction, both ways at once.

Pure plane geometry, in whatever units the caller has. Seen along the rays each edge hides an
interval of them, so rays sorted across their direction tell at once which of them each edge
lies on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from goosewing.units import Array

    Numbers = NDArray[np.intp]

AT_ONCE = 1 << 21
"""So many crossings at most are laid out at a time."""


def run_free(
    places: Array, direction: Array, start: Array, end: Array, reach: float
) -> tuple[Array, Array]:
    """Measure how far rays run free, ahead and behind.

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
    ahead, behind : ndarray, shape (n,)
        Distance to the first edge crossed along the direction, and against it; `reach`
        where there is none.
    """
    ahead, behind = np.full(len(places), reach), np.full(len(places), reach)
    if not len(places) or not len(start):
        return ahead, behind
    turn = np.array([[direction[0], -direction[1]], [direction[1], direction[0]]])
    # Columns: along the rays, across them.
    here, a, b = places @ turn, start @ turn, end @ turn
    order = np.argsort(here[:, 1], kind="stable")
    here = here[order]
    first = np.searchsorted(here[:, 1], np.minimum(a[:, 1], b[:, 1]))
    until = np.searchsorted(here[:, 1], np.maximum(a[:, 1], b[:, 1]))
    some = np.flatnonzero(until > first)
    near, far = np.full(len(places), reach), np.full(len(places), -reach)
    for edge, ray in _crossings(first[some], until[some]):
        on = _along(here[ray], a[some[edge]], b[some[edge]])
        np.minimum.at(near, ray, np.where(on > 0.0, on, reach))
        np.maximum.at(far, ray, np.where(on < 0.0, on, -reach))
    ahead[order], behind[order] = near, -far
    return ahead, behind


def _crossings(first: Numbers, until: Numbers) -> Iterator[tuple[Numbers, Numbers]]:
    """Yield, some at a time, which edge lies on which ray: those from first until, edge by edge."""
    total = np.cumsum(until - first)
    begin = 0
    while begin < len(first):
        done = int(total[begin - 1]) if begin else 0
        stop = max(begin + 1, int(np.searchsorted(total, done + AT_ONCE, side="right")))
        count = until[begin:stop] - first[begin:stop]
        edge = np.repeat(np.arange(begin, stop), count)
        yield edge, first[edge] + np.arange(len(edge)) - (total[edge] - count[edge - begin] - done)
        begin = stop


def _along(here: Array, a: Array, b: Array) -> Array:
    """How far ahead of its beginning each ray, or its line, crosses its edge."""
    share = (a[:, 1] - here[:, 1]) / (a[:, 1] - b[:, 1])
    return np.asarray(a[:, 0] + share * (b[:, 0] - a[:, 0]) - here[:, 0])
