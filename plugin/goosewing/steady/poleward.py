"""Long legs in high latitudes: two boards by way of a higher one.

A mile poleward covers more of the Mercator plane, so that on a long leg two boards that leave the
loxodrome for the higher latitude may be faster than what its hull has for them, as a great circle
is shorter than the loxodrome. Which boards is no question of one hull any more: pairs of all
velocities are laid out on the ellipsoid, coarsely at first, then finely about the best of each
pair of modes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from goosewing.steady.boards import (
    Choices,
    joined,
    lay_out,
    one_board_choices,
    two_board_choices,
)
from goosewing.velocities.velocity_set import (
    TWO_ANGLES_GAIN,
    along_and_across,
    straight_velocities,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.earth.course import Course
    from goosewing.steady.boards import Ways
    from goosewing.units import Array, BoolArray
    from goosewing.velocities.velocity_set import VelocitySet

    Numbers = NDArray[np.intp]

STRIDES = (8, 2, 1)
"""Every so many of the sampled velocities are looked at, round after round."""

ABOUT = 6
"""After the first round, so many steps to either side of the best of each pair of modes."""

SLOWER = 1.15
"""Pairs whose mix on the plane is so many times slower than the hull are left out: no way through
a higher latitude gains as much between two places that a plan leads to."""

MOST_PAIRS = 40_000

LEAST_SLANT = 0.01
"""A board that leads less far aside than this share of its way is the straight course."""


def poleward_choices(held: VelocitySet, course: Course, known: Ways) -> Choices:
    """Find pairs of velocities that by way of a higher latitude beat what is known.

    Parameters
    ----------
    held : VelocitySet
    course : Course
        Long, and curved on the ellipsoid.
    known : Ways
        The ways of one board, and of two by the hull.

    Returns
    -------
    Choices
        In both orders; of each pair of modes at most the fastest, and only where it gains
        `TWO_ANGLES_GAIN` on the fastest way known in these two modes.
    """
    pairs = _pairs(held, course)
    if not len(pairs):
        return _choices(held, pairs)
    best, hours = _best_of_modes(held, course, pairs)
    for stride in STRIDES[1:]:
        best, hours = _best_of_modes(held, course, _about(held, best, stride))
    usual = [_known_h(known, *held.mode[pair]) for pair in best]
    return _choices(held, best[hours < np.array(usual) * (1.0 - TWO_ANGLES_GAIN)])


def with_poleward(held: VelocitySet, course: Course, known: Ways) -> Ways:
    """Lay out the ways of one board, of two by the hull, and of two by a higher latitude."""
    more = poleward_choices(held, course, known)
    if not len(more.turns):
        return known
    straight = straight_velocities(held, course.bearing_deg)
    usual = joined(
        one_board_choices(straight), two_board_choices(held, course.bearing_deg, straight)
    )
    return lay_out(held, course, joined(usual, more))


def _pairs(held: VelocitySet, course: Course) -> Numbers:
    """Coarse pairs, one to either side of the loxodrome, in both orders; shape (n, 2)."""
    along, across = along_and_across(held.east_kn, held.north_kn, course.bearing_deg)
    thin = np.flatnonzero((np.arange(len(held)) % STRIDES[0] == 0) & (along > 0.0))
    left, right = thin[across[thin] < 0.0], thin[across[thin] >= 0.0]
    one, two = (each.ravel() for each in np.meshgrid(left, right, indexing="ij"))
    apart = np.maximum(across[two] - across[one], 1e-12)
    mixed = (along[one] * across[two] - along[two] * across[one]) / apart
    order = np.argsort(-mixed)[:MOST_PAIRS]
    kept = order[mixed[order] * SLOWER > mixed.max(initial=0.0)]
    pairs = np.column_stack((one[kept], two[kept]))
    return np.concatenate((pairs, pairs[:, ::-1]))


def _about(held: VelocitySet, best: Numbers, stride: int) -> Numbers:
    """Pairs about some, of the same modes; shape (n, 2)."""
    steps = stride * np.arange(-ABOUT, ABOUT + 1)
    moved = np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1).reshape(-1, 2)
    near = best[:, np.newaxis] + moved
    inside = np.clip(near, 0, len(held) - 1)
    same = (inside == near) & (held.mode[inside] == held.mode[best][:, np.newaxis])
    return np.asarray(near[same.all(axis=2)])


def _best_of_modes(held: VelocitySet, course: Course, pairs: Numbers) -> tuple[Numbers, Array]:
    """Lay pairs out; return the fastest of each pair of modes, shape (p, 2), and its hours."""
    hours = lay_out(held, course, _choices(held, pairs, reverse=False)).elapsed_h.sum(axis=1)
    hours = np.where(_aside(held, course, pairs) & np.isfinite(hours), hours, np.inf)
    key = held.mode[pairs[:, 0]] * len(held.modes) + held.mode[pairs[:, 1]]
    order = np.lexsort((hours, key))
    first = order[np.append(True, np.diff(key[order]) != 0)]
    return pairs[first], hours[first]


def _aside(held: VelocitySet, course: Course, pairs: Numbers) -> BoolArray:
    """Whether a pair's velocities lead to either side of the loxodrome, neither along it."""
    along, across = along_and_across(held.east_kn, held.north_kn, course.bearing_deg)
    slant = np.where(along > 0.0, across / np.maximum(along, 1e-12), np.nan)[pairs]
    return np.asarray((slant.prod(axis=1) < 0.0) & (np.abs(slant).min(axis=1) > LEAST_SLANT))


def _known_h(known: Ways, one: int, two: int) -> float:
    """Hours of the fastest way known under these modes alone."""
    used = known.mode[:, [0, min(1, known.mode.shape[1] - 1)]]
    single = known.turns == 0
    same = np.where(single, (used[:, 0] == one) | (used[:, 0] == two), False)
    same |= ~single & (np.sort(used, axis=1) == np.sort([one, two])).all(axis=1)
    return float(np.min(known.elapsed_h.sum(axis=1)[same], initial=np.inf))


def _choices(held: VelocitySet, pairs: Numbers, *, reverse: bool = True) -> Choices:
    count = len(pairs)
    if reverse:
        pairs = np.concatenate((pairs, pairs[:, ::-1]))
    rows = held.row_deg[pairs].reshape(-1, 2)
    return Choices(
        held.mode[pairs].reshape(-1, 2), rows, rows[:, 1], np.ones(len(pairs), dtype=np.intp),
        np.roll(np.arange(len(pairs)), count),
    )  # fmt: skip
