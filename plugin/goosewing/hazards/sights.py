"""Which corners are joined by lines that touch both: candidates for boards from one to the other.

Of all pairs of corners near each other most are joined by lines through their own hazards. The
directions in which a line touches a corner are a double wedge, from the edge that leads into
it to the one that leads out. So in the sea cut into bands, each sorted from west to east, the
corners within a wedge are a run of neighbours in each band, found without a look at the others.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.hazards.taut_string import touches

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.hazards.taut_string import Places
    from goosewing.units import Array

    Numbers = NDArray[np.intp]

BANDS = 6
"""So many bands are as high as half of the corners look far,"""

MOST_BANDS = 60
"""and so many at least as high as any does."""

STEEPEST = 1e9

WIDER_RAD = 1e-7
"""Wedges are taken to be wider by this: what touches is decided by `touches`."""


class Wedges(NamedTuple):
    """Directions of lines that touch corners, from east to north; arrays of shape (w,)."""

    place: Numbers
    low: Array
    high: Array
    """Within half a turn. [rad]"""


def pairs_touching(places: Places, at: Array, reach: Array) -> tuple[Numbers, Numbers]:
    """Return pairs of corners that lines join which touch both.

    Parameters
    ----------
    places : Places
        Those that are no corners, without neighbours, are left out.
    at : ndarray, shape (n, 2)
        Where they are, in any plane in which the directions are the same.
    reach : ndarray, shape (n,)
        How far each looks.

    Returns
    -------
    one, other : ndarray of int, shape (p,)
        Each pair once, if either of both looks as far.
    """
    reach = np.minimum(reach, float(np.hypot(*np.ptp(at, axis=0))) + 1e-9)
    wedges = wedges_of(places)
    found = [_upwards(side * at, wedges, reach) for side in (1.0, -1.0)]
    one, other = (np.concatenate(each) for each in zip(*found, strict=True))
    run = at[other] - at[one]
    square = np.einsum("ij,ij->i", run, run)
    near = (square <= reach[one] ** 2) & (square > 0.0)
    # Found from both, a pair is kept once.
    near &= (one < other) | (square > reach[other] ** 2)
    near &= np.isfinite(places.before[other, 0])
    one, other, run = one[near], other[near], run[near]
    for corner in (0, 1):
        touch = touches(places, (one, other)[corner], run)
        one, other, run = one[touch], other[touch], run[touch]
    # Where a wedge is cut in two, the runs of both halves may hold the same corner.
    key = one * len(at) + other
    order = np.argsort(key)
    first = order[np.diff(key[order], prepend=-1) > 0]
    return one[first], other[first]


def wedges_of(places: Places) -> Wedges:
    """Return the directions in which lines touch corners, cut where they lie due west."""
    into, out = places.at - places.before, places.after - places.at
    begin = np.arctan2(into[:, 1], into[:, 0])
    turn = np.mod(np.arctan2(out[:, 1], out[:, 0]) - begin, 2.0 * np.pi)
    begin, turn = np.where(turn > np.pi, (begin + turn, 2.0 * np.pi - turn), (begin, turn))
    corner = np.flatnonzero(np.isfinite(begin))
    low = np.mod(begin[corner] - WIDER_RAD, np.pi)
    high = low + turn[corner] + 2.0 * WIDER_RAD
    on = np.flatnonzero(high > np.pi)
    return Wedges(
        np.concatenate((corner, corner[on])),
        np.concatenate((low, np.zeros(len(on)))),
        np.concatenate((np.minimum(high, np.pi), np.minimum(high[on] - np.pi, np.pi))),
    )


def _upwards(at: Array, wedges: Wedges, reach: Array) -> tuple[Numbers, Numbers]:
    """Return each wedge's corner, and what lies, about, within its upper half."""
    if not len(wedges.place):
        return wedges.place, wedges.place
    own = reach[wedges.place]
    high = max(float(np.median(own)) / BANDS, float(own.max()) / MOST_BANDS)
    x, y = (at - at.min(axis=0)).T
    band = np.floor(y / high).astype(np.intp)
    # No run of one band reaches into another's part of the key.
    longest = float(own.max())
    width = float(x.max()) + 2.0 * longest + 1.0
    key = band * width + x + longest
    order = np.argsort(key)
    key = key[order]
    some = _Bands(wedges, x[wedges.place] + longest, y[wedges.place], own, high, width)
    found = [some.runs(key, up, order) for up in range(int(longest / high) + 2)]
    one, other = (np.concatenate(each) for each in zip(*found, strict=True))
    # Its own band reaches below it, where the other half of the wedge lies.
    east, north = (at[other] - at[one]).T
    above = (north > 0.0) | ((north == 0.0) & (east > 0.0))
    return one[above], other[above]


class _Bands(NamedTuple):
    """Where wedges begin, and how the sea is cut into bands."""

    wedges: Wedges
    x: Array
    y: Array
    reach: Array
    high: float
    width: float

    def runs(self, key: Array, up: int, order: Numbers) -> tuple[Numbers, Numbers]:
        """Return what lies within the wedges, so many bands above their own."""
        band = np.floor(self.y / self.high) + up
        bottom = np.maximum(band * self.high - self.y, 0.0)
        top = np.minimum((band + 1.0) * self.high - self.y, self.reach)
        east, west = _leaning(self.wedges.low), _leaning(self.wedges.high)
        left = np.maximum(np.minimum(bottom * west, top * west), -self.reach)
        right = np.minimum(np.maximum(bottom * east, top * east), self.reach)
        from_ = np.searchsorted(key, band * self.width + self.x + left)
        until = np.searchsorted(key, band * self.width + self.x + right, side="right")
        count = np.where(bottom <= self.reach, np.maximum(until - from_, 0), 0)
        wedge = np.repeat(np.arange(len(count)), count)
        at = from_[wedge] + np.arange(len(wedge)) - (np.cumsum(count) - count)[wedge]
        return self.wedges.place[wedge], order[at]


def _leaning(angle: Array) -> Array:
    """How far east a line at an angle leads for one to the north."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.clip(1.0 / np.tan(angle), -STEEPEST, STEEPEST))
