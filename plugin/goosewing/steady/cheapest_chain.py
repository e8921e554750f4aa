"""The cheapest chain of ways to sail, manoeuvres included, and which of two boards comes first.

A manoeuvre at a mark belongs to the leg that begins there, and what it costs
depends on the board on which the mark was reached; so the ways to sail the
legs are chosen together, by dynamic programming over the marks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from goosewing.errors import NoPlanError
from goosewing.options import First

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from goosewing.boat.manoeuvres import Mode
    from goosewing.steady.boards import Ways
    from goosewing.units import Array, BoolArray

LONGER_FIRST_ALLOWANCE = 0.002
"""The longer board comes first where that adds no more than this share of the
plan's total: it leaves the most room for a shift. Common practice, no source."""


WORTH_SHARE = 0.01
"""On a short leg a board need not gain more than this share of the leg's time."""

SCRAP_H = 1.0 / 60.0
"""No crew sails a board shorter than this if they need not. Common practice, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class Costs:
    """What manoeuvres cost between modes, and how she starts."""

    modes: tuple[Mode, ...]
    table_h: Array
    """Shape (2, M, M): gybing, tacking; mode before, mode after, in hours."""
    start_modes: tuple[int, ...] = ()
    """The modes she may be in at the first mark; empty if her first sails are free."""

    def between(
        self, before: NDArray[np.intp], before_twa: Array, after: NDArray[np.intp], after_twa: Array
    ) -> Array:
        """Cost of getting from one mode at one wind angle to another, broadcast, in hours."""
        tacking = (before_twa + after_twa < 180.0).astype(np.intp)
        cost: Array = self.table_h[tacking, before, after]
        return cost

    def inside(self, ways: Ways) -> Array:
        """Cost of the turns within each way, shape (o,), in hours."""
        if ways.mode.shape[1] < 2:
            return np.zeros(len(ways))
        one, two = ways.mode[:, 0], ways.mode[:, 1]
        # The turns alternate; only the board into the mark may have an angle of its own, and
        # no margin makes a gybe of a tack.
        there = self.between(one, ways.twa_deg[:, 0], two, ways.twa_deg[:, 1])
        back = self.between(two, ways.twa_deg[:, 1], one, ways.twa_deg[:, 0])
        inside = np.ceil(ways.turns / 2) * there + np.floor(ways.turns / 2) * back
        if ways.alternating is None:
            return inside
        return np.where(ways.alternating, inside, self._one_by_one(ways))

    def _one_by_one(self, ways: Ways) -> Array:
        mode, twa = ways.mode, ways.twa_deg
        each = self.between(mode[:, :-1], twa[:, :-1], mode[:, 1:], twa[:, 1:])
        turns = np.arange(each.shape[1]) < ways.turns[:, np.newaxis]
        return np.asarray(np.sum(np.where(turns, each, 0.0), axis=1))

    def own_h(self, ways: Ways) -> Array:
        """Time of each way with the turns within it, shape (o,), in hours."""
        return np.asarray(ways.elapsed_h.sum(axis=1) + self.inside(ways))

    def starting(self, ways: Ways) -> Array:
        """Cost of getting from her first sails to each way's first board, shape (o,), in hours."""
        if not self.start_modes:
            return np.zeros(len(ways))
        before = np.array(self.start_modes)[:, np.newaxis]
        twa = ways.twa_deg[:, 0]
        return np.asarray(np.min(self.between(before, twa, ways.mode[:, 0], twa), axis=0))

    def joining(self, before: Ways, after: Ways) -> Array:
        """Cost at the mark between every way of a leg and every way of the next, in hours."""
        every = np.arange(len(before))
        last, last_twa = before.mode[every, before.last], before.twa_deg[every, before.last]
        return self.between(
            last[:, np.newaxis], last_twa[:, np.newaxis], after.mode[:, 0], after.twa_deg[:, 0]
        )


def cheapest(legs: Sequence[Ways], costs: Costs, allowed: Sequence[BoolArray]) -> list[int]:
    """Choose one way for each leg so that the sum of times and manoeuvre costs is least.

    Parameters
    ----------
    legs : sequence of Ways
        The ways to sail each leg; none empty.
    costs : Costs
    allowed : sequence of bool arrays
        Which ways of each leg may be chosen.

    Returns
    -------
    list of int
        The index of the chosen way of each leg.

    Raises
    ------
    NoPlanError
        If no chain of allowed ways can be sailed.
    """
    own = [_own_h(ways, costs, may) for ways, may in zip(legs, allowed, strict=True)]
    total = own[0] + costs.starting(legs[0])
    came_from: list[NDArray[np.intp]] = []
    for before, after, h in zip(legs[:-1], legs[1:], own[1:], strict=True):
        reached = total[:, np.newaxis] + costs.joining(before, after)
        came_from.append(np.argmin(reached, axis=0))
        total = np.min(reached, axis=0) + h
    if not np.isfinite(total.min()):
        raise NoPlanError("no boards lead over all marks as asked: try less margin or more room")
    chosen = [int(np.argmin(total))]
    for back in reversed(came_from):
        chosen.append(int(back[chosen[-1]]))
    return chosen[::-1]


def _own_h(ways: Ways, costs: Costs, allowed: BoolArray) -> Array:
    hours = costs.own_h(ways)
    return np.where(allowed & np.isfinite(hours), hours, np.inf)


def manoeuvring_h(legs: Sequence[Ways], costs: Costs, chosen: Sequence[int]) -> float:
    """Sum of all manoeuvre costs of a chain, in hours."""
    total = float(costs.starting(legs[0])[chosen[0]])
    total += sum(float(costs.inside(w)[i]) for w, i in zip(legs, chosen, strict=True))
    pairs = zip(legs[:-1], legs[1:], chosen[:-1], chosen[1:], strict=True)
    return total + sum(float(costs.joining(a, b)[i, j]) for a, b, i, j in pairs)


def sailing_h(legs: Sequence[Ways], chosen: Sequence[int]) -> float:
    """Time under way of a chain, manoeuvres not counted, in hours."""
    return sum(float(w.elapsed_h[i].sum()) for w, i in zip(legs, chosen, strict=True))


def first_allowed(ways: Ways, modes: Sequence[Mode], first: First | None) -> BoolArray:
    """Return which ways begin as wished, shape (o,).

    Single boards and two boards on one tack are always allowed; so are both
    orders where neither board is the longer.
    """
    allowed = np.ones(len(ways), dtype=bool)
    if first in (None, "faster") or ways.mode.shape[1] < 2:
        return allowed
    if first == "longer":
        longer = ways.distance_nm[:, 0] >= ways.distance_nm[:, 1]
        return np.asarray((ways.turns != 1) | longer | ~longer[ways.partner])
    side = np.array([m.tack == first for m in modes])
    changes = side[ways.mode[:, :-1]] != side[ways.mode[:, 1:]]
    if ways.alternating is None:
        changes = changes[:, :1]
    inner = np.arange(changes.shape[1]) < ways.turns[:, np.newaxis]
    turns = np.any(changes & (inner | (np.arange(changes.shape[1]) == 0)), axis=1)
    return np.asarray((ways.turns == 0) | ~turns | side[ways.mode[:, 0]])


def without_scraps(ways: Ways, costs: Costs, allowed: BoolArray) -> BoolArray:
    """Leave out ways with a board of under a minute, where that takes less than a minute more.

    A board of a few seconds is no board: held on past the place of a turn it saves
    next to nothing, and the crew would turn at once.

    Returns
    -------
    ndarray of bool, shape (o,)
        Of `allowed`, those that stay; at least one does.
    """
    own = _own_h(ways, costs, allowed)
    last = ways.turns[:, np.newaxis]
    board = np.arange(ways.mode.shape[1])
    shortest = np.min(np.where(board <= last, ways.elapsed_h, np.inf), axis=1)
    scraps = (ways.turns > 0) & (shortest < SCRAP_H)
    rest = float(np.min(own[~scraps], initial=np.inf))
    return np.asarray(allowed & ~(scraps & (own > rest - SCRAP_H)))


def worth_altering(ways: Ways, costs: Costs, allowed: BoolArray, worth_h: float) -> BoolArray:
    """Leave out ways that alter course on one tack and sail set for less than that is worth.

    Parameters
    ----------
    worth_h : float
        What a board must gain on the straight course with the same sails; on a short leg
        no more than `WORTH_SHARE` of it. [h]

    Returns
    -------
    ndarray of bool, shape (o,)
        Of `allowed`, those that stay; at least one does.
    """
    own = _own_h(ways, costs, allowed)
    if ways.mode.shape[1] < 2 or not np.isfinite(own).any():
        return allowed
    gain = min(worth_h, WORTH_SHARE * float(own.min()))
    mode, straight = ways.mode[:, 0], ways.turns == 0
    alone = np.full(int(mode.max()) + 1, np.inf)
    np.minimum.at(alone, mode[straight], own[straight])
    bent = (ways.turns == 1) & (mode == ways.mode[:, 1])
    with np.errstate(invalid="ignore"):
        idle = bent & (own > alone[mode] - gain)
    return np.asarray(allowed & ~idle)


def longer_first(
    legs: Sequence[Ways],
    costs: Costs,
    chosen: Sequence[int],
    *,
    free: Sequence[bool] | None = None,
    clear: Sequence[BoolArray | None] | None = None,
) -> list[int]:
    """Put the longer board first, leg by leg, where that costs next to nothing.

    The other order is taken where it leaves the sum of all manoeuvre costs
    unchanged and adds at most `LONGER_FIRST_ALLOWANCE` of the plan's total; on
    legs that are not `free` the navigator's own wish stands, and an order that is not
    `clear` of hazards is none.
    """
    kept = list(chosen)
    cost = manoeuvring_h(legs, costs, chosen)
    allowance = LONGER_FIRST_ALLOWANCE * (cost + sailing_h(legs, chosen))
    for leg, ways in enumerate(legs):
        now = kept[leg]
        if free is not None and not free[leg]:
            continue
        if ways.turns[now] != 1 or ways.distance_nm[now, 0] >= ways.distance_nm[now, 1]:
            continue
        other = int(ways.partner[now])
        # Dead upwind neither is the longer, and rounding must not decide.
        if ways.distance_nm[other, 0] <= ways.distance_nm[other, 1] * (1.0 + 1e-9):
            continue
        among = None if clear is None else clear[leg]
        if among is not None and not among[other]:
            continue
        trial = [*kept[:leg], other, *kept[leg + 1 :]]
        added = float(ways.elapsed_h[other].sum() - ways.elapsed_h[now].sum())
        unchanged = abs(manoeuvring_h(legs, costs, trial) - cost) < 1e-9
        if unchanged and added <= allowance:
            kept = trial
    return kept
