"""States of a search, where they can go over the ground, and how they arrive."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from goosewing.velocities.velocity_set import ON_THE_RAY_KN

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.units import Array

    Numbers = NDArray[np.intp]
    Column = NDArray[Any]


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
