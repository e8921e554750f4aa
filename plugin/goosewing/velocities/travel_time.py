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

from goosewing.velocities.velocity_set import ON_THE_RAY_KN, hull_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.units import Array
    from goosewing.velocities.velocity_set import VelocitySet

THINNED = 2
"""Every so many-th sample of a mode's curve does where its speed is only compared."""


@dataclass(frozen=True, slots=True, eq=False)
class Gauge:
    r"""The hull of all velocities, by which displacements are timed.

    Between the directions of two neighbouring vertices the time is linear in the
    displacement, :math:`g(D) = n \cdot D`; seen from rest these sides are the far ones.
    """

    start_rad: Array
    """Shape (h,): where the far sides begin, ascending; angles from east to north."""
    span_rad: Array
    normal: Array
    """Shape (h, 2): n of each, in hours per mile."""
    fastest_kn: float

    @classmethod
    def of(cls, held: VelocitySet) -> Gauge:
        """Take the hull of what the boat can hold."""
        return cls.around(np.column_stack((held.east_kn, held.north_kn)))

    @classmethod
    def around(cls, velocities: Array) -> Gauge:
        """Take the hull of velocities, shape (n, 2), east and north in knots."""
        a = velocities[hull_of(velocities)]
        b = np.roll(a, -1, axis=0)
        fastest = float(np.max(np.hypot(*velocities.T), initial=0.0))
        area = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        far = area > ON_THE_RAY_KN
        a, b, area = a[far], b[far], area[far]
        normal = np.column_stack((b[:, 1] - a[:, 1], a[:, 0] - b[:, 0])) / area[:, np.newaxis]
        start = np.arctan2(a[:, 1], a[:, 0])
        span = np.mod(np.arctan2(b[:, 1], b[:, 0]) - start, 2.0 * np.pi)
        order = np.argsort(start)
        return cls(start[order], span[order], normal[order], fastest)

    def hours_per_mile(self, directions: Array) -> Array:
        """Return how long a mile takes along directions.

        Parameters
        ----------
        directions : ndarray, shape (n, 2)
            Unit vectors, east and north.

        Returns
        -------
        ndarray, shape (n,)
            Infinite where nothing can be made good. [h/nm]
        """
        if not len(self.start_rad):
            return np.full(len(directions), np.inf)
        angle = np.arctan2(directions[:, 1], directions[:, 0])
        side = np.searchsorted(self.start_rad, angle, side="right") - 1
        beyond = np.mod(angle - self.start_rad[side], 2.0 * np.pi)
        hours = np.sum(self.normal[side] * directions, axis=1)
        # Rounding must not open a gap between one side and the next.
        return np.where(beyond <= self.span_rad[side] + 1e-9, hours, np.inf)


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


NO_TURN_RAD = 1e-6
"""A curve that turns by less from one velocity to the next may lie along a ray."""


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
        Speed zero where a mode can't; to a part in 1e3, for comparing.
    """
    points = np.column_stack((held.east_kn, held.north_kn))
    speed = np.zeros((len(directions), len(held.modes)))
    twa = np.zeros_like(speed)
    for mode in range(len(held.modes)):
        own = np.flatnonzero(held.mode == mode)
        if not own.size:
            continue
        own = np.union1d(own[::THINNED], own[-1:])
        # A curve of one velocity alone is a piece of no length.
        low, high = (own[:-1], own[1:]) if own.size > 1 else (own, own)
        crossing = _only_crossing(points[own], directions) if own.size > 2 else None
        if crossing is None:
            crossing = farthest_crossing(points[low], points[high], directions)
        found, piece, share = crossing
        speed[:, mode] = found
        angle = held.twa_deg
        twa[:, mode] = angle[low[piece]] + share * (angle[high[piece]] - angle[low[piece]])
    return speed, twa


def _only_crossing(curve: Array, directions: Array) -> tuple[Array, NDArray[np.intp], Array] | None:
    """As `farthest_crossing`, of a curve that each ray crosses once at most; None of any other.

    One search among its angles does then, and no look at every piece.
    """
    angle = np.unwrap(np.arctan2(curve[:, 1], curve[:, 0]))
    if angle[-1] < angle[0]:
        found = _only_crossing(curve[::-1], directions)
        if found is None:
            return None
        speed, piece, share = found
        return speed, len(curve) - 2 - piece, 1.0 - share
    turned = np.diff(angle)
    if not (np.all(turned > NO_TURN_RAD) and angle[-1] - angle[0] < 2.0 * np.pi - 0.1):
        return None
    towards = np.arctan2(directions[:, 1], directions[:, 0])
    # Rounding must not leave out the ends.
    towards = angle[0] + np.mod(towards - angle[0] + 1e-9, 2.0 * np.pi) - 1e-9
    meets = towards <= angle[-1] + 1e-9
    piece = np.clip(np.searchsorted(angle, towards, side="right") - 1, 0, len(turned) - 1)
    a, b = curve[piece], curve[piece + 1]
    across1 = directions[:, 0] * a[:, 1] - directions[:, 1] * a[:, 0]
    across2 = directions[:, 0] * b[:, 1] - directions[:, 1] * b[:, 0]
    share = np.clip(
        np.divide(across1, across1 - across2, out=np.zeros(len(piece)), where=across1 != across2),
        0.0, 1.0,
    )  # fmt: skip
    speed = np.einsum("ij,ij->i", directions, a + share[:, np.newaxis] * (b - a))
    return np.where(meets, speed, 0.0), piece, share
