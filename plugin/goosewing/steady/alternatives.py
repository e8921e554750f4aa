"""What else a leg could be sailed by, and what that costs against the plan.

Every way to sail a leg is known (`goosewing.steady.boards`), and what a whole passage takes
if one leg is sailed by one of them follows from the cheapest chain run forwards to the leg
and backwards from it: so each alternative is exact for the passage, manoeuvres at the marks
included, and all of them together cost one more run of the chain.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat import manoeuvres
from goosewing.earth import geodesy
from goosewing.records import Alternative, AlternativeBoard, Fix
from goosewing.units import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from goosewing.boat.manoeuvres import Mode
    from goosewing.boat.model import Boat
    from goosewing.records import AlternativeKind, ManoeuvreKind
    from goosewing.steady.boards import Ways
    from goosewing.steady.cheapest_chain import Costs
    from goosewing.units import Array, BoolArray

CLOSE_HAULED_DEG, BROAD_REACH_DEG = 60.0, 165.0
"""Bow's angles to the true wind between which she reaches. Common practice, no source. [°]"""


class Excess(NamedTuple):
    """What each way to sail each leg adds to the passage."""

    hours: tuple[Array, ...]
    """Shape (o,) each: more than the plan takes; infinite where a way can't be sailed. [h]"""
    before: tuple[NDArray[np.intp], ...]
    """Shape (o,) each: by which way the leg before is then sailed; -1 on the first leg."""


def excess(
    legs: Sequence[Ways],
    costs: Costs,
    chosen: Sequence[int],
    allowed: Sequence[BoolArray],
    possible: Sequence[BoolArray],
) -> Excess:
    """Work out what the passage would take if one leg were sailed otherwise.

    Parameters
    ----------
    legs : sequence of Ways
    costs : Costs
    chosen : sequence of int
        The way of each leg that the plan takes.
    allowed : sequence of bool arrays
        Which ways the other legs may then be sailed by: those that the plan could choose.
    possible : sequence of bool arrays
        Which ways of the leg itself are looked at.
    """
    own = [costs.own_h(ways) for ways in legs]
    joints = [costs.joining(a, b) for a, b in pairwise(legs)]
    reached, before = [costs.starting(legs[0])], [np.full(len(legs[0]), -1)]
    for ways_h, may, joint in zip(own[:-1], allowed[:-1], joints, strict=True):
        through = np.where(may, reached[-1] + ways_h, np.inf)[:, np.newaxis] + joint
        before.append(np.argmin(through, axis=0))
        reached.append(np.min(through, axis=0))
    onward = [np.zeros(len(legs[-1]))]
    for ways_h, may, joint in zip(own[:0:-1], allowed[:0:-1], joints[::-1], strict=True):
        onward.insert(0, np.min(joint + np.where(may, ways_h + onward[0], np.inf), axis=1))
    total = [
        np.where(may & np.isfinite(h), come + h + go, np.inf)
        for may, h, come, go in zip(possible, own, reached, onward, strict=True)
    ]
    planned = _planned_h(costs, legs, own, joints, chosen)
    return Excess(tuple(hours - planned for hours in total), tuple(before))


def _planned_h(
    costs: Costs,
    legs: Sequence[Ways],
    own: Sequence[Array],
    joints: Sequence[Array],
    chosen: Sequence[int],
) -> float:
    sailed = sum(float(hours[way]) for hours, way in zip(own, chosen, strict=True))
    pairs = zip(joints, chosen[:-1], chosen[1:], strict=True)
    begun = float(costs.starting(legs[0])[chosen[0]])
    return sailed + begun + sum(float(joint[a, b]) for joint, a, b in pairs)


def of_leg(
    boat: Boat, costs: Costs, legs: Sequence[Ways], chosen: Sequence[int], found: Excess, at: int
) -> tuple[Alternative, ...]:
    """List the alternatives of one leg, each the fastest of its kind.

    A kind that the plan itself is, or that can't be sailed, is left out.

    Parameters
    ----------
    boat : Boat
    costs, legs, chosen
        As for `excess`.
    found : Excess
    at : int
        Which leg.
    """
    ways, hours = legs[at], found.hours[at]
    if costs.modes[ways.mode[chosen[at], 0]].engine:
        return ()
    listed = []
    for kind, of_kind in _kinds(costs.modes, ways, chosen[at]):
        among = np.where(of_kind, hours, np.inf)
        best = int(np.argmin(among))
        if np.isfinite(among[best]):
            before = _before(costs, legs, found, at, best)
            listed.append(_alternative(boat, costs.modes, ways, best, before, kind, among[best]))
    return tuple(listed)


def _kinds(
    modes: tuple[Mode, ...], ways: Ways, way: int
) -> Iterator[tuple[AlternativeKind, BoolArray]]:
    """Say which ways are of which kind; of those kinds that the way taken is not."""
    sailed = np.arange(ways.mode.shape[1]) <= ways.turns[:, np.newaxis]
    poled = np.array([mode.poled for mode in modes])[ways.mode]
    port = np.array([mode.tack == "port" for mode in modes])[ways.mode[:, 0]]
    straight = ways.turns == 0
    never = ~np.any(poled & sailed, axis=1)
    always = np.all(poled | ~sailed, axis=1)
    off = (ways.twa_deg > CLOSE_HAULED_DEG) & (ways.twa_deg < BROAD_REACH_DEG)
    reaching = np.all((off & ~poled) | ~sailed, axis=1)
    others: list[tuple[AlternativeKind, BoolArray]] = [
        ("straight", straight),
        ("other board first", ~straight & (port != port[way])),
        ("without the pole", never),
        ("poled all the way", always),
        ("reaching all the way", reaching),
        ("second best", _unlike(ways, way)),
    ]
    yield from ((kind, which) for kind, which in others if not which[way])


def _unlike(ways: Ways, way: int) -> BoolArray:
    """Which ways are of other tacks and sail sets, in whatever order, than the one taken."""
    board = np.arange(ways.mode.shape[1])
    number = int(ways.mode.max(initial=0)) + 1
    held = np.zeros((len(ways), number), dtype=bool)
    row, column = np.nonzero(board <= ways.turns[:, np.newaxis])
    held[row, ways.mode[row, column]] = True
    return np.asarray(np.any(held != held[way], axis=1))


def _before(
    costs: Costs, legs: Sequence[Ways], found: Excess, at: int, way: int
) -> tuple[Mode, float] | None:
    """What she sails under, and at which wind angle, when the leg begins; None if free."""
    if at:
        last = legs[at - 1]
        row = int(found.before[at][way])
        board = int(last.last[row])
        return costs.modes[last.mode[row, board]], float(last.twa_deg[row, board])
    if not costs.start_modes:
        return None
    twa = legs[0].twa_deg[way, :1]
    candidates = np.array(costs.start_modes)
    price = costs.between(candidates, twa, legs[0].mode[way, 0], twa)
    return costs.modes[candidates[int(np.argmin(price))]], float(twa[0])


def _alternative(
    boat: Boat,
    modes: tuple[Mode, ...],
    ways: Ways,
    way: int,
    before: tuple[Mode, float] | None,
    kind: AlternativeKind,
    added_h: float,
) -> Alternative:
    boards: list[AlternativeBoard] = []
    done: list[ManoeuvreKind] = []
    for board in range(int(ways.turns[way]) + 1):
        mode, twa = modes[ways.mode[way, board]], float(ways.twa_deg[way, board])
        if before is not None:
            tacking = manoeuvres.is_tacked(boat, before[1] + twa)
            done += manoeuvres.steps(before[0], mode, tacking=tacking)
        before = mode, twa
        hours = float(ways.elapsed_h[way, board])
        boards.append(
            AlternativeBoard(tack=mode.tack, sail_set=mode.name, twa_deg=twa, elapsed_h=hours)
        )
    cost_h = sum(manoeuvres.step_cost_s(boat, each) for each in done) / SECONDS_PER_HOUR
    return Alternative(
        kind=kind,
        added_min=float(added_h) * 60.0,
        elapsed_h=sum(each.elapsed_h for each in boards) + cost_h,
        boards=tuple(boards),
        manoeuvres=tuple(done),
        track=tuple(
            Fix(lat=float(ways.lat[way, at]), lon=float(geodesy.wrap_longitude(ways.lon[way, at])))
            for at in range(int(ways.turns[way]) + 2)
        ),
    )
