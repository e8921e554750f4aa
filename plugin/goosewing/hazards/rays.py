"""How far rays run before they meet an edge: many rays of one direction, both ways at once.

Pure plane geometry, in whatever units the caller has. Seen along the rays each edge hides an
interval of them, so rays sorted across their direction tell at once which of them each edge
lies on. Most outlines lie on none, which is seen from the circle about each.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from goosewing.units import AnyArray, Array, BoolArray

    Numbers = NDArray[np.intp]

AT_ONCE = 1 << 21
"""So many crossings at most are laid out at a time."""


@dataclass(frozen=True, slots=True, eq=False)
class Outlines:
    """Closed rings of edges, ring after ring, and a circle about each."""

    corners: Array
    """Shape (e, 2): where edges start; each ends where the next of its ring does, the last at the
    ring's first."""
    count: Numbers
    """How many edges each ring has, shape (r,)."""
    middle: Array
    """Shape (r, 2)."""
    radius: Array
    """Shape (r,)."""

    @classmethod
    def of(cls, shapes: AnyArray, middle: Array, scale: float) -> Outlines:
        """Take the rings of polygons, shifted and scaled.

        Parameters
        ----------
        shapes : ndarray of Polygon or MultiPolygon
        middle : ndarray, shape (2,)
            What becomes zero.
        scale : float
            By how much distances from there are stretched.
        """
        import shapely

        points, ring = shapely.get_coordinates(shapely.get_rings(shapes), return_index=True)
        # Of each ring the last point is the first once more.
        edges = np.flatnonzero(ring[1:] == ring[:-1])
        corners, ring = (points[edges] - middle) * scale, ring[edges]
        first = np.flatnonzero(np.diff(ring, prepend=-1) > 0)
        if not first.size:
            return cls(corners, first, corners, np.empty(0))
        low, high = (each.reduceat(corners, first) for each in (np.minimum, np.maximum))
        count = np.diff(first, append=len(corners))
        return cls(corners, count, 0.5 * (low + high), 0.5 * np.hypot(*(high - low).T))

    def some(self, rings: BoolArray) -> tuple[Array, Numbers]:
        """Return the corners of some rings, and the number of the one that follows on each."""
        count = self.count[rings]
        follows = np.arange(1, int(count.sum()) + 1)
        ends = np.cumsum(count)
        follows[ends - 1] = ends - count
        return self.corners[np.repeat(rings, self.count)], follows


def run_free(
    places: Array, direction: Array, outlines: Outlines, reach: float
) -> tuple[Array, Array]:
    """Measure how far rays run free, ahead and behind.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        Where the rays begin.
    direction : ndarray, shape (2,)
        A unit vector, one for all.
    outlines : Outlines
        What ends them.
    reach : float
        No ray is followed farther.

    Returns
    -------
    ahead, behind : ndarray, shape (n,)
        Distance to the first edge crossed along the direction, and against it; `reach`
        where there is none.
    """
    ahead, behind = np.full(len(places), reach), np.full(len(places), reach)
    if not len(places):
        return ahead, behind
    turn = np.array([[direction[0], -direction[1]], [direction[1], direction[0]]])
    along, across = (places @ turn).T
    order = np.argsort(across, kind="stable")
    along, across = along[order], across[order]
    rings = _in_the_way(along, across, outlines, turn, reach)
    edges = _Edges.of(*outlines.some(rings), turn, across)
    near, far = np.full(len(places), reach), np.full(len(places), -reach)
    for edge, ray in edges.crossings():
        on = edges.at_zero[edge] + edges.slope[edge] * across[ray] - along[ray]
        np.minimum.at(near, ray, np.where(on > 0.0, on, reach))
        np.maximum.at(far, ray, np.where(on < 0.0, on, -reach))
    ahead[order], behind[order] = near, -far
    return ahead, behind


def _in_the_way(
    along: Array, across: Array, outlines: Outlines, turn: Array, reach: float
) -> BoolArray:
    """Tell which rings rays may meet that are sorted across their direction."""
    x, y = (outlines.middle @ turn).T
    room = outlines.radius + 1e-9 * (1.0 + np.abs(y))
    first = np.searchsorted(across, y - room)
    until = np.searchsorted(across, y + room, side="right")
    near = (x >= float(along.min()) - reach - room) & (x <= float(along.max()) + reach + room)
    return np.asarray((until > first) & near)


class _Edges(NamedTuple):
    """Edges that lie on any ray: where along the rays, as a line over what is across."""

    first: Numbers
    """The first ray that each lies on,"""
    rays: Numbers
    """and on how many."""
    at_zero: Array
    slope: Array

    @classmethod
    def of(cls, corners: Array, follows: Numbers, turn: Array, across: Array) -> _Edges:
        """Find the rays of edges from corners to what follows on each."""
        x, y = (corners @ turn).T
        ray = np.searchsorted(across, y)
        some = np.flatnonzero(ray != ray[follows])
        one, other = ray[some], ray[follows[some]]
        x1, y1, x2, y2 = x[some], y[some], x[follows[some]], y[follows[some]]
        slope = (x2 - x1) / (y2 - y1)
        return cls(np.minimum(one, other), np.abs(one - other), x1 - slope * y1, slope)

    def crossings(self) -> Iterator[tuple[Numbers, Numbers]]:
        """Yield, some at a time, which edge lies on which ray, edge by edge."""
        total = np.cumsum(self.rays)
        begin = 0
        while begin < len(self.rays):
            done = int(total[begin - 1]) if begin else 0
            stop = max(begin + 1, int(np.searchsorted(total, done + AT_ONCE, side="right")))
            count = self.rays[begin:stop]
            before = total[begin:stop] - count - done
            edge = np.repeat(np.arange(begin, stop), count)
            ray = np.repeat(self.first[begin:stop] - before, count) + np.arange(len(edge))
            yield edge, ray
            begin = stop
