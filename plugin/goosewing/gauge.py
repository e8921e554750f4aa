r"""How long any displacement takes in one wind and stream: for many at once.

The time for a displacement :math:`D` by the fastest mix of boards,

.. math:: g(D) = \min \{ t : D \in t\,\mathrm{conv}(V) \},

is a gauge: positively homogeneous and subadditive, as long as only hull and stream
decide. So a detour never saves time, and the fastest way round polygons bends at their
corners alone. Infinite where the stream carries her off.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.velocity import ON_THE_RAY_KN, hull_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.units import Array
    from goosewing.velocity import VelocitySet

_AT_ONCE = 1 << 21
"""Numbers held at a time: 16 MB."""


@dataclass(frozen=True, slots=True, eq=False)
class Gauge:
    """The hull of all velocities, by which displacements are timed."""

    vertices: Array
    """Shape (h, 2): towards east and north, anticlockwise. [kn]"""

    @classmethod
    def of(cls, held: VelocitySet) -> Gauge:
        """Take the hull of what the boat can hold."""
        points = np.column_stack((held.east_kn, held.north_kn))
        return cls(points[hull_of(points)])

    def speed_kn(self, directions: Array) -> Array:
        """Return the greatest speed made good along directions.

        Parameters
        ----------
        directions : ndarray, shape (n, 2)
            Unit vectors, east and north.

        Returns
        -------
        ndarray, shape (n,)
            Zero where nothing can be made good. [kn]
        """
        at_once = max(1, _AT_ONCE // max(len(self.vertices), 1))
        speeds = [
            farthest_crossing(self.vertices, np.roll(self.vertices, -1, axis=0), some)[0]
            for some in np.array_split(directions, len(directions) // at_once + 1)
        ]
        return np.concatenate(speeds)


def farthest_crossing(
    start: Array, end: Array, directions: Array
) -> tuple[Array, NDArray[np.intp], Array]:
    """Find where rays from nothing cross straight pieces between velocities, farthest out.

    Parameters
    ----------
    start, end : ndarray, shape (h, 2)
        The pieces' ends. [kn]
    directions : ndarray, shape (n, 2)
        Unit vectors.

    Returns
    -------
    speed_kn : ndarray, shape (n,)
        Zero where a ray crosses none.
    piece : ndarray of int, shape (n,)
    share : ndarray, shape (n,)
        How far along the piece, 0 to 1.
    """
    if not len(start):
        none = np.zeros(len(directions))
        return none, none.astype(np.intp), none
    along1, across1 = directions @ start.T, _cross(directions, start)
    along2, across2 = directions @ end.T, _cross(directions, end)
    span = across1 - across2
    share = np.divide(across1, span, out=np.zeros_like(span), where=span != 0.0)
    speed = along1 + share * (along2 - along1)
    # Both ends on the ray: the farther of them.
    flat = span == 0.0
    share = np.where(flat & (along2 > along1), 1.0, share)
    speed = np.where(flat, np.maximum(along1, along2), speed)
    meets = (across1 * across2 <= 0.0) & ~(flat & (across1 != 0.0))
    speed = np.where(meets & (speed > ON_THE_RAY_KN), speed, 0.0)
    piece = np.argmax(speed, axis=1)
    every = np.arange(len(directions))
    return speed[every, piece], piece, share[every, piece]


def _cross(directions: Array, velocities: Array) -> Array:
    """Cross products of every direction with every velocity, shape (n, h); tiny ones are none."""
    across = np.outer(directions[:, 0], velocities[:, 1])
    across -= np.outer(directions[:, 1], velocities[:, 0])
    return np.where(np.abs(across) < ON_THE_RAY_KN, 0.0, across)


class Pairs(NamedTuple):
    """Pairs of velocities that are neighbours on the hull of their two modes; shape (k,) each."""

    first: NDArray[np.intp]
    """Index into the velocity set."""
    second: NDArray[np.intp]


def neighbours(held: VelocitySet) -> Pairs:
    """Find the pairs of boards of which mixes are made, on whatever bearing.

    On the hull of two modes (or of one, where its curve caves in) these are the sides
    that lead from one curve to another place: mixes lie on them.
    """
    first: list[int] = []
    second: list[int] = []
    for one in range(len(held.modes)):
        for other in range(one, len(held.modes)):
            members = np.flatnonzero((held.mode == one) | (held.mode == other))
            around = members[hull_of(np.column_stack((held.east_kn, held.north_kn))[members])]
            after = np.roll(around, -1)
            crosses = held.mode[around] != held.mode[after]
            if one == other:
                crosses = np.abs(after - around) > 1
            for a, b in zip(around[crosses].tolist(), after[crosses].tolist(), strict=True):
                if a != b:
                    first.append(a)
                    second.append(b)
    return Pairs(np.array(first, dtype=np.intp), np.array(second, dtype=np.intp))


def along_one_mode(held: VelocitySet, directions: Array) -> tuple[Array, Array]:
    """Give how fast each mode alone makes good directions, and at which wind angle.

    Returns
    -------
    speed_kn, twa_deg : ndarray, shape (n, M)
        Speed zero where a mode can't; to the accuracy of the sampling.
    """
    points = np.column_stack((held.east_kn, held.north_kn))
    speed = np.zeros((len(directions), len(held.modes)))
    twa = np.zeros_like(speed)
    for mode in range(len(held.modes)):
        own = np.flatnonzero(held.mode == mode)
        if not own.size:
            continue
        # A curve of one velocity alone is a piece of no length.
        low, high = (own[:-1], own[1:]) if own.size > 1 else (own, own)
        found, piece, share = farthest_crossing(points[low], points[high], directions)
        speed[:, mode] = found
        angle = held.twa_deg
        twa[:, mode] = angle[low[piece]] + share * (angle[high[piece]] - angle[low[piece]])
    return speed, twa
