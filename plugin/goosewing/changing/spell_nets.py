"""Boards between corners that begin in one spell of the weather, drawn where they are asked for.

Among islands by the thousand she is at few corners at any time: those which the search has just
come to, and what she can reach from there before the spell ends. From these alone boards are
drawn, and from more of them when another search (one that may use fewer sails) comes to others.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from goosewing.changing.spells import all_round, support_kn
from goosewing.hazards.taut_string import START
from goosewing.steady import pinned_boards
from goosewing.steady.pinned_boards import Edges, together
from goosewing.velocities.travel_time import Gauge, Pairs, neighbours

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from goosewing.changing.spells import Spell
    from goosewing.steady.pinned_boards import Graph, Speeds
    from goosewing.units import Array, BoolArray
    from goosewing.velocities.velocity_set import VelocitySet

    Numbers = NDArray[np.intp]

LONGEST = 1.5
"""Boards last no longer than so many times the spell in which they begin."""

NOT_HELD = 1.5
LEAST_SLOWER = 0.97
"""What can't be sailed in the next spell, or can but faster, is taken to be so many times as long
there: a board begun late in a spell may still be changed, and hopes are not to be built on."""

PARTLY = 0.1
"""What lasts less than this share of a spell is taken to end within it."""

LEAST_TIME = pinned_boards.LEAST_SCALE * 0.5 * (1.0 + LEAST_SLOWER)
"""Boards are timed as no less than this share of what the spell's velocities take in the plane."""

SLOWEST_KN = 0.1
"""Towards where she makes good less, directions tell nothing."""


@dataclass(slots=True, eq=False)
class SpellNet:
    """Boards and turns that begin within one spell; times count from the earliest beginning."""

    graph: Graph
    """Of the corners, with this spell's velocities."""
    spell: Spell
    after: Speeds
    """Those of the next spell."""
    sight: tuple[Numbers, Numbers]
    """Which corners see which."""
    drawn: BoolArray = field(init=False)
    """From which places boards are drawn, shape (n,)."""
    boards: list[Edges] = field(default_factory=list)
    """As often as places were added."""
    refused: set[int] = field(default_factory=set)
    """Keys of those that are left out."""

    def __post_init__(self) -> None:
        self.drawn = np.zeros(len(self.graph.waters.at), dtype=bool)

    @classmethod
    def of(
        cls, corners: Graph, spell: Spell, speeds: tuple[Speeds, Speeds],
        begins_h: float, sight: tuple[Numbers, Numbers],
    ) -> SpellNet:  # fmt: skip
        """Begin one without boards.

        Parameters
        ----------
        corners : Graph
            The places, in any velocities.
        spell : Spell
        speeds : Speeds, Speeds
            Of this spell and of the next.
        begins_h : float
            When the first spell begins. [h]
        sight : ndarray of int, ndarray of int
            Which places see which.
        """
        return cls(_in_spell(corners, spell, speeds[0], begins_h), spell, speeds[1], sight)

    @property
    def begin_h(self) -> float:
        """From the first spell's beginning on, as all times here."""
        return self.graph.time[0]

    @property
    def end_h(self) -> float:
        """Infinite, of the last."""
        return self.graph.time[1]

    def soonest(self, place: Numbers, time_h: Array) -> Array:
        """Return less than the times at which places are come to by boards begun in the spell.

        Parameters
        ----------
        place : ndarray of int, shape (q,)
            Where she is in it,
        time_h : ndarray, shape (q,)
            and when.

        Returns
        -------
        ndarray, shape (n,)
            For every direction :math:`u` nobody gets on faster than the support :math:`h(u)` of the
            velocities, so it takes :math:`u·D/h(u)` at least, whatever is mixed.
        """
        at = self.graph.waters.at
        towards = all_round()
        speed = support_kn(self.spell.held, towards)
        towards, speed = towards[speed > SLOWEST_KN], speed[speed > SLOWEST_KN]
        if not len(speed):
            return self.graph.behind
        hours = LEAST_TIME * (at @ (towards / speed[:, np.newaxis]).T)
        begun = np.min(time_h[:, np.newaxis] - hours[place], axis=0)
        return np.asarray(np.maximum(np.max(hours + begun, axis=1), self.graph.behind))

    def draw(self, place: Numbers, time_h: Array, done: BoolArray) -> None:
        """Draw boards from wherever she may be in the spell, who is at places at times.

        Parameters
        ----------
        place, time_h
            As for `soonest`.
        done : ndarray of bool, shape (n,)
            Places that she had left behind when it began.
        """
        graph = self.graph
        soon = self.soonest(place, time_h)
        latest = graph.limit_h - graph.ahead
        useful = latest >= self.begin_h
        new = (soon < self.end_h) & useful & ~done & ~self.drawn
        if not new.any():
            return
        # No board that begins before the end lasts longer, as the velocities have it.
        graph.alive, graph.near = new, (soon < self.end_h + graph.longest_h) & useful
        one, other = self.sight
        some = new[one]
        both = [graph.straight(one[some], other[some]), *graph.mixed()]
        timed = [_as_it_turns(graph, each, self.spell, self.after) for each in both]
        self.boards.append(pinned_boards.fewest(timed))
        self.drawn |= new

    def without(self, states: Sequence[tuple[int, int]]) -> None:
        """Leave out boards from one state to another for good."""
        self.refused.update(start * self._count + end for start, end in states)

    @property
    def _count(self) -> int:
        return len(self.drawn) * self.graph.modes

    def edges(self, reached: Array) -> Edges:
        """Return what is drawn, and the turns between, ascending by start and end.

        Parameters
        ----------
        reached : ndarray, shape (n · modes,)
            When states are come to; infinite where they aren't.
        """
        # None were drawn where she comes so late to all places that nothing from there is of use.
        boards = together([pinned_boards.NO_EDGES, *self.boards])
        if self.refused:
            keys = np.fromiter(self.refused, dtype=np.intp, count=len(self.refused))
            boards = boards.some(~np.isin(edge_keys(boards, self._count), keys))
        used = self.graph.states_of(boards) | np.isfinite(reached).reshape(len(self.drawn), -1)
        used &= self.drawn[:, np.newaxis]
        # At the start she is under what she wants, or has paid for it.
        used[START] = False
        # What she turns to may be of use in the next spell alone.
        turns = self.graph.turns(used, np.ones_like(used))
        return _sorted(together([boards, turns]), self._count)


def _in_spell(graph: Graph, spell: Spell, speeds: Speeds, begins_h: float) -> Graph:
    """The same corners in another spell."""
    begin, end = spell.begin_h - begins_h, spell.end_h - begins_h
    board, one, two = pinned_boards.boards_of(spell.held, _worthy(spell.held, speeds.gauge))
    made = copy(graph)
    made.held, made.speeds, made.board = spell.held, speeds, board
    made.one, made.two = np.concatenate((one, two)), np.concatenate((two, one))
    made.time, made.longest_h = (begin, end), LONGEST * (end - begin)
    return made


def _worthy(held: VelocitySet, gauge: Gauge) -> Pairs:
    """Pairs that make good nearly as much as the best do, with the pole and without it.

    Dead before the wind no gybing is nearly as fast as a pole; but where that would be set and
    struck among islands again and again she may be faster for leaving it down.
    """
    pairs = neighbours(held)
    poled = np.array([mode.poled for mode in held.modes])[held.mode]
    found = [pinned_boards.worthy(held, gauge, pairs)]
    if poled.any() and not poled.all():
        without = ~(poled[pairs.first] | poled[pairs.second])
        some = Pairs(pairs.first[without], pairs.second[without])
        bare = Gauge.of(held.some(np.flatnonzero(~poled)))
        found.append(pinned_boards.worthy(held, bare, some))
    each = np.unique(np.column_stack([np.concatenate(side) for side in zip(*found, strict=True)]),
                     axis=0)  # fmt: skip
    return Pairs(each[:, 0], each[:, 1])


def _as_it_turns(graph: Graph, boards: Edges, spell: Spell, after: Speeds) -> Edges:
    """Time boards by the next spell too, as far as they are likely to last into it."""
    length_h = spell.end_h - spell.begin_h
    if not np.isfinite(length_h):
        return boards
    boards = boards.some(boards.hours <= LONGEST * length_h)
    long = np.flatnonzero(boards.hours > PARTLY * length_h)
    slower = _slower(graph, boards.some(long), after)
    share = np.minimum(boards.hours[long] / (2.0 * length_h), 1.0)
    hours = boards.hours.copy()
    hours[long] *= 1.0 + share * (slower - 1.0)
    return boards._replace(hours=hours)


def _slower(graph: Graph, boards: Edges, after: Speeds) -> Array:
    """How many times as long the same boards take in the next spell, or where they can't, as if."""

    def by_mode(towards: Array, mode: Numbers) -> Array:
        every = np.arange(len(mode))
        now, then = (speeds.along(towards)[0][every, mode] for speeds in (graph.speeds, after))
        known = (now > 0.0) & (then > 0.0)
        factor = np.divide(now, then, out=np.full(len(mode), NOT_HELD), where=known)
        return np.asarray(np.clip(factor, LEAST_SLOWER, NOT_HELD))

    at, per = graph.waters.at, graph.modes
    if boards.first.size and boards.first[0] >= 0:
        own = by_mode(graph.board.towards, graph.board.mode)
        one, two = (
            own[np.searchsorted(graph.board.number, number)]
            for number in (boards.first, boards.second)
        )
        return np.asarray(0.5 * (one + two))
    run = at[boards.end // per] - at[boards.start // per]
    return by_mode(run / np.hypot(*run.T)[:, np.newaxis], boards.start % per // 2)


def _sorted(edges: Edges, count: int) -> Edges:
    """Edges ascending by start and end, in as little room as they need."""
    ordered = edges.some(np.argsort(edge_keys(edges, count), kind="stable"))
    return Edges(
        ordered.start.astype(np.int32), ordered.end.astype(np.int32), ordered.hours,
        ordered.first.astype(np.int16), ordered.second.astype(np.int16),
    )  # fmt: skip


def edge_keys(edges: Edges, count: int) -> Numbers:
    """One number for start and end."""
    return np.asarray(edges.start.astype(np.intp) * count + edges.end)
