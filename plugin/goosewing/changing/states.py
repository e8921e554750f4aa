"""States of a search, where they can go over the ground, and how they arrive."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from goosewing.velocities.velocity_set import ON_THE_RAY_KN

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.units import Array, BoolArray

    Numbers = NDArray[np.intp]
    Column = NDArray[Any]

STILL_KN = 1e-6
"""At less than this a velocity has no direction."""


@dataclass(slots=True, eq=False)
class Store:
    """All states of one round, growing by blocks."""

    time: Array
    along: Array
    across: Array
    """Where it is in the grid."""
    mode: Numbers
    row: Array
    sailed: Array
    parent: Numbers
    slot: Numbers
    """Where it is kept: a cell (or a part of one that land parts) in a mode."""
    square: Numbers
    """The cell it is in."""
    count: int = 0

    @classmethod
    def empty(cls) -> Store:
        """Return one with room for some."""
        value, number = np.empty(4096), np.empty(4096, dtype=np.intp)
        return cls(
            value, value.copy(), value.copy(), number, value.copy(), value.copy(),
            number.copy(), number.copy(), number.copy(),
        )  # fmt: skip

    _columns = ("time", "along", "across", "mode", "row", "sailed", "parent", "slot", "square")

    def add(self, size: int, **block: Column | float) -> Numbers:
        """Append states and return their indices."""
        while self.count + size > len(self.time):
            for name in self._columns:
                old = getattr(self, name)
                setattr(self, name, np.concatenate((old, np.empty_like(old))))
        added = slice(self.count, self.count + size)
        for name in self._columns:
            getattr(self, name)[added] = block[name]
        self.count += size
        return np.arange(added.start, added.stop)


class GroundSpread(NamedTuple):
    """Where the states of a batch can go: velocities over the ground, along and across the leg."""

    state: Numbers
    """Of each velocity, number in the batch; ascending, and rows ascend within a state."""
    row: Array
    along_kn: Array
    across_kn: Array
    begin: Numbers
    size: Numbers
    """Where each state's velocities begin, and how many they are."""


class Arrival(NamedTuple):
    """The best arrival in one mode: when, from which state, by which angle."""

    time_h: float
    last: int
    row: float


NOBODY = Arrival(np.inf, -1, np.nan)


class Straight(NamedTuple):
    """Fastest velocities straight along given directions, of those who have any."""

    owner: Numbers
    row: Array
    speed_kn: Array
    along: Array
    across: Array
    """All directions asked for, by owner."""


def straight_to(
    owner: Numbers, entry: Numbers, spread: GroundSpread, along: Array, across: Array
) -> Straight:
    """Find the fastest velocity of each owner straight along its direction.

    Parameters
    ----------
    owner : ndarray of int, shape (c,)
        Whose each candidate is, ascending.
    entry : ndarray of int, shape (c,)
        Which velocity of the spread it is; ascending in angle within an owner.
    along, across : ndarray, shape (owners,)
        The directions, of length one.
    """
    u, v = along[owner], across[owner]
    a, c = spread.along_kn[entry], spread.across_kn[entry]
    ahead, aside = a * u + c * v, c * u - a * v
    aside = np.where(np.abs(aside) < ON_THE_RAY_KN, 0.0, aside)
    meets = (owner[1:] == owner[:-1]) & (aside[1:] * aside[:-1] <= 0.0)
    at = np.flatnonzero(meets)
    span = aside[at] - aside[at + 1]
    share = np.divide(aside[at], span, out=np.zeros(len(at)), where=np.abs(span) > 1e-12)
    speed = ahead[at] + share * (ahead[at + 1] - ahead[at])
    row = spread.row[entry]
    row = row[at] + share * (row[at + 1] - row[at])
    made = np.flatnonzero(speed > 1e-6)
    owners = owner[at[made]]
    order = np.lexsort((-speed[made], owners))
    first = order[np.append(True, owners[order][1:] != owners[order][:-1])[: len(order)]]
    return Straight(owners[first], row[made[first]], speed[made[first]], along, across)


def straight_along(spread: GroundSpread, state: Numbers, along: Array, across: Array) -> Straight:
    """Find the fastest velocity straight along directions, many of each state.

    Where a state's velocities turn one way from row to row, as they do but in a stream that is
    about as fast as she, the two on either side of a direction are found by halving.

    Parameters
    ----------
    state : ndarray of int, shape (d,)
        Whose each direction is; `Straight.owner` counts the directions.
    along, across : ndarray, shape (d,)
        Of length one.
    """
    turned, turns_one_way = _turned(spread)
    entry = np.flatnonzero(turns_one_way[spread.state])
    asked = np.flatnonzero(turns_one_way[state])
    if not entry.size:
        return _straight_of(spread, state, np.arange(len(state)), along, across)
    begin = spread.begin[state[asked]]
    angle = np.arctan2(across[asked], along[asked])
    first = np.arctan2(spread.across_kn[begin], spread.along_kn[begin])
    hand = np.sign(turned[begin + 1])
    on = np.mod(hand * (angle - first), 2.0 * np.pi)
    # No turn reaches so far round: the key of one state ends before the next one's begins.
    key = spread.state[entry] * 8.0 + np.abs(turned[entry])
    high = entry[np.minimum(np.searchsorted(key, state[asked] * 8.0 + on), len(entry) - 1)]
    high = np.clip(high, begin + 1, begin + spread.size[state[asked]] - 1)
    a, c = (np.stack((v[high - 1], v[high])) for v in (spread.along_kn, spread.across_kn))
    u, v = along[asked], across[asked]
    ahead, aside = a * u + c * v, c * u - a * v
    aside = np.where(np.abs(aside) < ON_THE_RAY_KN, 0.0, aside)
    span = aside[0] - aside[1]
    share = np.divide(aside[0], span, out=np.zeros(len(asked)), where=np.abs(span) > 1e-12)
    speed = ahead[0] + share * (ahead[1] - ahead[0])
    row = spread.row[high - 1] + share * (spread.row[high] - spread.row[high - 1])
    made = np.flatnonzero((aside[0] * aside[1] <= 0.0) & (speed > 1e-6))
    rest = _straight_of(spread, state, np.flatnonzero(~turns_one_way[state]), along, across)
    return Straight(
        np.concatenate((asked[made], rest.owner)),
        np.concatenate((row[made], rest.row)),
        np.concatenate((speed[made], rest.speed_kn)),
        along,
        across,
    )


def _turned(spread: GroundSpread) -> tuple[Array, BoolArray]:
    """How far each velocity lies round from its state's first [rad]; which states turn one way."""
    step = np.diff(np.arctan2(spread.across_kn, spread.along_kn), prepend=0.0)
    step = np.mod(step + np.pi, 2.0 * np.pi) - np.pi
    some = np.flatnonzero(spread.size)
    begin, one_way = spread.begin[some], np.zeros(len(spread.size), dtype=bool)
    if not some.size:
        return step, one_way
    step[begin] = 0.0
    total = np.cumsum(step)
    turned = total - np.repeat(total[begin], spread.size[some])
    step[begin] = np.inf
    grows = np.minimum.reduceat(step, begin) > 0.0
    step[begin] = -np.inf
    grows |= np.maximum.reduceat(step, begin) < 0.0
    speed = np.hypot(spread.along_kn, spread.across_kn)
    grows &= np.minimum.reduceat(speed, begin) > STILL_KN
    round_ = np.abs(turned[begin + spread.size[some] - 1]) < 2.0 * np.pi
    one_way[some] = grows & round_ & (spread.size[some] > 1)
    return turned, one_way


def _straight_of(
    spread: GroundSpread, state: Numbers, some: Numbers, along: Array, across: Array
) -> Straight:
    """As `straight_to`, of some of the directions."""
    count = spread.size[state[some]]
    owner = np.repeat(some, count)
    starts = np.cumsum(count) - count
    entry = np.arange(len(owner)) + np.repeat(spread.begin[state[some]] - starts, count)
    return straight_to(owner, entry, spread, along, across)
