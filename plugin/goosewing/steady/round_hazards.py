r"""Boards round hazards: which turning points, which boards, manoeuvres in the choice.

A way from mark to mark that keeps clear can be slid, board by board, until each board
between two turns touches a hazard, or it has fewer turns. So the ways to look at lead
over places that hazards' corners are: from each to the next on one board, or on two that
meet in free water, in either order. Two boards of one mode and angle that meet at a corner
are one board. Where even the shortest two boards don't fit, as in a channel, they are
repeated, n times over the line, on one side of it or about it.

The cheapest chain of such pieces is looked for from the start on (a label for every mode
that she begins with and every one she may be in), the time on the taut string as the guess
of what remains: it is never too long, so the first chain to reach the mark is the best.
Corners farther off than any such chain reaches are left out beforehand.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field
from itertools import chain
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from goosewing.earth import geodesy
from goosewing.earth.course import Course, course_between
from goosewing.hazards import taut_string
from goosewing.hazards.taut_string import MARK, START, Places, Taut
from goosewing.steady.boards import Choices, Ways, lay_out, with_margin
from goosewing.steady.cheapest_chain import SCRAP_H, first_allowed
from goosewing.steady.lane import Lane
from goosewing.velocities.travel_time import Gauge, Pairs, along_one_mode, neighbours
from goosewing.velocities.velocity_set import (
    TWO_ANGLES_GAIN,
    VelocitySet,
    straight_velocities,
    velocities,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from goosewing.earth.corridor import Corridor
    from goosewing.hazards.areas import Area, Hazards
    from goosewing.hazards.kept import Kept
    from goosewing.options import First
    from goosewing.steady import pinned_boards
    from goosewing.steady.cheapest_chain import Costs
    from goosewing.units import AnyArray, Array, BoolArray

SPACING_NM = 0.1
"""Corners closer together than this, and than most of the clearance, are one."""

MOST_FOR_BOUND = 4000
"""Among more corners no string is drawn for the bound's sake alone."""

MOST_PLACES = 96
"""So many corners at most are turned at: those nearest to the taut string, by time."""

REPEATS = (*range(2, 13), 14, 16, 18, 20, 23, 26, 30, 34, 39, 45, 52, 60)
"""How often two boards are repeated where once does not fit."""

FEW_HAZARDS = 24
"""Among more hazards than so many about a leg no string is drawn: its boards are pinned."""

MANY = 1500
"""Among more than so many it takes minutes to find out that sails asked for lead nowhere."""

CLOSE_LIMITS = (1.02, 1.05)
"""So near to it is tried first, where that leaves few corners: they are looked at more closely."""

LIMITS = (1.2, 1.6)
"""Ways are looked for up to so many times the time in open water, and then without a limit."""

BOUNCES = 8
"""Where nothing else is found boards are held from shore to shore, so many in a row."""

NEVER_H = 1e6
"""Two velocities that point all but the same way or opposite ways make no pair."""


@dataclass(frozen=True, slots=True, eq=False)
class Room:
    """What the search for one leg asks: the hazards, the boat and the room there is."""

    hazards: Hazards
    held: VelocitySet
    gauge: Gauge
    leg: Array
    """As `Hazards.in_plane` gives it. [°]"""
    lane: Lane | None = None
    """The corridor that she stays in."""
    kept: Kept | None = None

    def free(self, points: Array) -> BoolArray:
        """Tell which paths, shape (n, p, 2) in the plane, keep clear all along; shape (n,)."""
        count, corners, _ = points.shape
        fits = np.ones(count, dtype=bool)
        if self.lane is not None:
            fits = np.all(self.lane.holds(points), axis=1)
        ends = np.concatenate((points[fits, :-1], points[fits, 1:]), axis=2).reshape(-1, 4)
        met = self.hazards.met(ends).reshape(-1, corners - 1)
        fits[fits] = ~met.any(axis=1)
        return fits


class Pieces(NamedTuple):
    """Ways from one place to others on one board or two alternating; arrays of shape (e,)."""

    to: NDArray[np.intp]
    mode1: NDArray[np.intp]
    twa1: Array
    mode2: NDArray[np.intp]
    """The mode she arrives in."""
    twa2: Array
    hours: Array
    inside_h: Array
    """Cost of the turns within. [h]"""
    first: NDArray[np.intp]
    second: NDArray[np.intp]
    """Velocities of the two boards, by their index in the set; -1 for a single board."""
    repeats: NDArray[np.intp]
    about: BoolArray
    """Whether the repeated boards lie about the line, not on one side of it."""


class Label(NamedTuple):
    """How she may come to a place."""

    place: int
    mode: int
    twa_deg: float
    first: int
    hours: float
    before: int
    """The label that it goes on from, -1 at the start."""
    piece: tuple[int, int, int, int, bool]
    """Mode if a single board, velocities, repeats and whether about the line."""


@dataclass(slots=True, eq=False)
class _Search:
    """The search over one leg."""

    room: Room
    costs: Costs
    places: Places
    ahead: Array
    """Shape (n,): least time from each place to the mark. [h]"""
    behind: Array
    """Shape (n,): less than the time from the start to each place. [h]"""
    pairs: Pairs
    slack_h: float
    """Ways that take longer than the best by up to this are wanted too."""
    first_modes: frozenset[int] | None
    modes: frozenset[int] | None
    limit_h: float
    labels: list[Label] = field(default_factory=list)
    best: dict[tuple[int, int, int], float] = field(default_factory=dict)
    pieces: dict[int, Pieces] = field(default_factory=dict)

    def run(self) -> list[Label]:
        """Return the labels at the mark, the best of each first and last mode."""
        found: list[Label] = []
        waiting: list[tuple[float, int]] = []
        self._enter(waiting, Label(START, -1, 0.0, -1, 0.0, -1, (-1, -1, -1, 0, False)))
        while waiting:
            total, number = heapq.heappop(waiting)
            if total > self.limit_h:
                break
            label = self.labels[number]
            if label.hours > self._least(label) + 1e-9:
                continue
            if label.place == MARK:
                found.append(label)
                self.limit_h = min(self.limit_h, total + self.slack_h)
                continue
            self._go_on(waiting, number)
        return found

    def _key(self, label: Label) -> tuple[int, int, int]:
        # Where no other leg's manoeuvres depend on it, how she began is no matter.
        return label.place, label.first if self.slack_h > 0.0 else -1, label.mode

    def _least(self, label: Label) -> float:
        return self.best.get(self._key(label), np.inf)

    def _enter(self, waiting: list[tuple[float, int]], label: Label) -> None:
        self.best[self._key(label)] = label.hours
        self.labels.append(label)
        total = label.hours + float(self.ahead[label.place])
        heapq.heappush(waiting, (total, len(self.labels) - 1))

    def _go_on(self, waiting: list[tuple[float, int]], number: int) -> None:
        label = self.labels[number]
        pieces = self._pieces_from(label.place)
        hours = label.hours + pieces.hours + pieces.inside_h
        if label.mode >= 0:
            hours = hours + self.costs.between(
                np.array(label.mode), np.array(label.twa_deg), pieces.mode1, pieces.twa1
            )
        useful = hours + self.ahead[pieces.to] <= self.limit_h
        if label.mode < 0 and self.first_modes is not None:
            useful &= np.isin(pieces.mode1, list(self.first_modes))
        for at in np.flatnonzero(useful)[np.argsort(hours[useful], kind="stable")].tolist():
            mode1 = int(pieces.mode1[at])
            new = Label(
                int(pieces.to[at]),
                int(pieces.mode2[at]),
                float(pieces.twa2[at]),
                label.first if label.first >= 0 else mode1,
                float(hours[at]),
                number,
                (
                    mode1 if pieces.first[at] < 0 else -1,
                    int(pieces.first[at]),
                    int(pieces.second[at]),
                    int(pieces.repeats[at]),
                    bool(pieces.about[at]),
                ),
            )
            if new.hours < self._least(new) - 1e-9 and not self._worse_than_turning(new):
                self._enter(waiting, new)

    def _worse_than_turning(self, new: Label) -> bool:
        """Whether another label of this place reaches the same mode by a turn in less time."""
        place, first, mode = self._key(new)
        twa = np.array(new.twa_deg)
        for other in range(len(self.costs.modes)):
            hours = self.best.get((place, first, other), np.inf)
            if other != mode and hours < new.hours:
                turn = self.costs.between(np.array(other), twa, np.array(mode), twa)
                if hours + float(turn) <= new.hours:
                    return True
        return False

    def _pieces_from(self, place: int) -> Pieces:
        if place not in self.pieces:
            self.pieces[place] = _joined([each for each in self._drawn_from(place) if len(each.to)])
        return self.pieces[place]

    def _drawn_from(self, place: int) -> list[Pieces]:
        to = np.flatnonzero(np.isfinite(self.ahead) & (np.arange(len(self.places)) != START))
        to = to[to != place]
        least = taut_string.hours_between(self.room.gauge, self.places, np.array([place]), to)
        to = to[self._in_time(place, to, least)]
        if not to.size:
            return []
        miles, towards = taut_string.lines_between(self.places, np.full(len(to), place), to)
        straight = self.room.free(
            np.stack((np.broadcast_to(self.places.at[place], (len(to), 2)), self.places.at[to]), 1)
        )
        alone = along_one_mode(self.room.held, towards)
        singles = self._singles(place, to, miles, alone, straight)
        return [singles, *self._doubles(place, to, miles, towards, alone[0], straight)]

    def _in_time(self, place: int, to: NDArray[np.intp], hours: Array) -> BoolArray:
        return np.asarray(self.behind[place] + hours + self.ahead[to] <= self.limit_h)

    def _wanted(self, modes: NDArray[np.intp]) -> BoolArray:
        if self.modes is None:
            return np.ones(modes.shape, dtype=bool)
        return np.isin(modes, list(self.modes))

    def _singles(
        self,
        place: int,
        to: NDArray[np.intp],
        miles: Array,
        alone: tuple[Array, Array],
        straight: BoolArray,
    ) -> Pieces:
        speed, twa = alone
        row, mode = np.nonzero((speed > 0.0) & straight[:, np.newaxis])
        hours = miles[row] / speed[row, mode]
        keep = self._in_time(place, to[row], hours) & self._wanted(mode)
        row, mode, hours = row[keep], mode[keep], hours[keep]
        twa = twa[row, mode]
        none = np.full(len(row), -1)
        return Pieces(
            to[row], mode, twa, mode, twa, hours, np.zeros(len(row)), none, none,
            np.zeros(len(row), dtype=np.intp), np.zeros(len(row), dtype=bool),
        )  # fmt: skip

    def _doubles(
        self,
        place: int,
        to: NDArray[np.intp],
        miles: Array,
        towards: Array,
        alone_kn: Array,
        straight: BoolArray,
    ) -> list[Pieces]:
        held = self.room.held
        velocity = np.column_stack((held.east_kn, held.north_kn))
        a, b = velocity[self.pairs.first], velocity[self.pairs.second]
        turning = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        run = miles[:, np.newaxis, np.newaxis] * towards[:, np.newaxis]
        with np.errstate(divide="ignore", invalid="ignore"):
            first_h = (run[..., 0] * b[:, 1] - run[..., 1] * b[:, 0]) / turning
            second_h = (a[:, 0] * run[..., 1] - a[:, 1] * run[..., 0]) / turning
        hours = first_h + second_h
        # A sliver of a board is none.
        some = (first_h > 1e-6 * hours) & (second_h > 1e-6 * hours) & (hours < NEVER_H)
        some &= self._in_time(place, to[:, np.newaxis], hours)
        some &= self._wanted(held.mode[self.pairs.first]) & self._wanted(
            held.mode[self.pairs.second]
        )
        row, pair = np.nonzero(some)
        row, pair = self._repaying(row, pair, hours, miles, alone_kn)
        if not row.size:
            return []
        scale = (np.hypot(*(self.places.at[to] - self.places.at[place]).T) / miles)[row]
        legs = [
            a[pair] * (first_h[row, pair] * scale)[:, np.newaxis],
            b[pair] * (second_h[row, pair] * scale)[:, np.newaxis],
        ]
        found = []
        for first, second, one, two in (
            (self.pairs.first, self.pairs.second, legs[0], legs[1]),
            (self.pairs.second, self.pairs.first, legs[1], legs[0]),
        ):
            taken = _Doubles(
                place, to[row], first[pair], second[pair], hours[row, pair], one, two,
                np.minimum(first_h[row, pair], second_h[row, pair]), straight[row],
            )  # fmt: skip
            found += self._fitting(taken)
        return found

    def _repaying(
        self,
        row: NDArray[np.intp],
        pair: NDArray[np.intp],
        hours: Array,
        miles: Array,
        alone_kn: Array,
    ) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Leave out two angles of one mode that gain next to nothing on the one between them."""
        held = self.room.held
        mode = held.mode[self.pairs.first[pair]]
        same = mode == held.mode[self.pairs.second[pair]]
        if not same.any():
            return row, pair
        alone = alone_kn[row, mode] * (1.0 + TWO_ANGLES_GAIN)
        keep = ~same | (hours[row, pair] * alone < miles[row])
        return row[keep], pair[keep]

    def _fitting(self, taken: _Doubles) -> list[Pieces]:
        """Take the two boards once where they fit, else as often as they must be repeated."""
        start = self.places.at[taken.place]
        ends = np.stack(
            (
                np.broadcast_to(start, taken.one.shape),
                start + taken.one,
                start + taken.one + taken.two,
            ),
            axis=1,
        )
        fits = self.room.free(ends)
        found = [self._made(taken, np.flatnonzero(fits), 1, about=False)]
        # Round a corner no repeating helps, nor where a longer board is free already.
        open_ = np.flatnonzero(~fits & taken.straight)
        for times in REPEATS:
            open_ = open_[taken.shortest[open_] / times >= SCRAP_H]
            turns = self._turns_h(taken, open_) * (2 * times - 1)
            open_ = open_[self._in_time(taken.place, taken.to[open_], taken.hours[open_] + turns)]
            for about in (False, True):
                if not open_.size:
                    break
                fits = self.room.free(
                    start + _zigzag(taken.one[open_], taken.two[open_], times, about)
                )
                found.append(self._made(taken, open_[fits], times, about=about))
                open_ = open_[~fits]
        return found

    def _turns_h(self, taken: _Doubles, rows: NDArray[np.intp]) -> Array:
        held = self.room.held
        one, two = taken.first[rows], taken.second[rows]
        return self.costs.between(
            held.mode[one], held.twa_deg[one], held.mode[two], held.twa_deg[two]
        )

    def _made(self, taken: _Doubles, rows: NDArray[np.intp], times: int, *, about: bool) -> Pieces:
        held = self.room.held
        one, two = taken.first[rows], taken.second[rows]
        # About the line she ends as she began: its last board is half of a first one.
        last = one if about else two
        there = self._turns_h(taken, rows)
        back = self.costs.between(
            held.mode[two], held.twa_deg[two], held.mode[one], held.twa_deg[one]
        )
        inside = there * times + back * (times if about else times - 1)
        keep = self._in_time(taken.place, taken.to[rows], taken.hours[rows] + inside)
        rows, one, two, last = rows[keep], one[keep], two[keep], last[keep]
        often, around = np.full(len(rows), times), np.full(len(rows), about)
        return Pieces(
            taken.to[rows], held.mode[one], held.twa_deg[one], held.mode[last], held.twa_deg[last],
            taken.hours[rows], inside[keep], one, two, often, around,
        )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _Doubles:
    """Two boards from a place to others; arrays of shape (d,) or (d, 2)."""

    place: int
    to: NDArray[np.intp]
    first: NDArray[np.intp]
    second: NDArray[np.intp]
    hours: Array
    one: Array
    two: Array
    """The boards in the plane. [°]"""
    shortest: Array
    straight: BoolArray


def _zigzag(one: Array, two: Array, times: int, about: bool) -> Array:
    """Return the path of two boards repeated, from nothing on, shape (d, p, 2)."""
    if about:
        parts = [one / 2.0, *[two, one] * (times - 1), two, one / 2.0]
    else:
        parts = [one, two] * times
    steps = np.stack(parts, axis=1) / times
    return np.concatenate((np.zeros((len(one), 1, 2)), np.cumsum(steps, axis=1)), axis=1)


def _joined(every: Sequence[Pieces]) -> Pieces:
    if not every:
        none = np.zeros(0)
        whole = np.zeros(0, dtype=np.intp)
        return Pieces(
            whole, whole, none, whole, none, none, none, whole, whole, whole, whole.astype(bool)
        )
    to, mode1, twa1, mode2, twa2, hours, inside, first, second, repeats, about = (
        np.concatenate(values) for values in zip(*every, strict=True)
    )
    return Pieces(to, mode1, twa1, mode2, twa2, hours, inside, first, second, repeats, about)


# --- From the search's chains to ways laid out ---------------------------------------------


class Side(NamedTuple):
    """A hazard passed, and on which hand."""

    area: Area
    hand: Literal["port", "starboard"]


@dataclass(frozen=True, slots=True, eq=False)
class Round:
    """All ways to sail a leg among hazards."""

    ways: Ways
    """The direct ways first, as they are without hazards; then those round them."""
    clear: BoolArray
    """Shape (o,): which of them cross nothing."""
    direct: int
    """How many are direct."""
    passed: tuple[tuple[Side, ...], ...]
    """For each way, at which hazards it turns."""
    blocked_by: tuple[Area | None, ...]
    """For each direct way, the first hazard that it meets."""
    across: Area | None
    """What lies across the straight course."""
    straight: bool
    """Whether she could sail that, but for what lies across it."""
    bound_h: float
    """Time on the taut string; zero where the straight course is free. [h]"""


class Wishes(NamedTuple):
    """What the navigator and the legs beside ask of a leg."""

    margin_deg: float
    corridor: Corridor | None
    first: First | None
    """Which of two boards comes first."""
    slack_h: float
    """By how much a slower way may win, through the manoeuvres at its ends. [h]"""
    hasty: bool = False
    """Whether what is found is only compared with another plan: no minutes are spent on it."""


def ways_round(
    hazards: Hazards,
    held: VelocitySet,
    course: Course,
    ways: Ways,
    costs: Costs,
    wishes: Wishes,
    kept: Kept | None = None,
) -> Round | None:
    """Find the ways to sail a leg that cross no hazard.

    Parameters
    ----------
    hazards : Hazards
    held : VelocitySet
    course : Course
        The straight course.
    ways : Ways
        The direct ways to sail it, hazards or not.
    costs : Costs
    wishes : Wishes
    kept : Kept, optional
        Where what is worked out for it stays for the next plan.

    Returns
    -------
    Round or None
        None where neither the straight course nor any direct way meets a hazard.
    """
    crossing = hazards.crossed_along(ways.lat, ways.lon)
    clear = ~np.any(crossing, axis=1)
    across = hazards.what_blocks(course.lat1, course.lon1, course.lat2, course.lon2)
    if across is None and clear.all():
        return None
    leg = hazards.in_plane(course.lat1, course.lon1, course.lat2, course.lon2)
    corridor = wishes.corridor
    lane = None if corridor is None else Lane.of(hazards, corridor, leg)
    room = Room(hazards, held, Gauge.of(held), leg, lane, kept)
    own = np.where(np.isfinite(ways.elapsed_h.sum(axis=1)), costs.own_h(ways), np.inf)
    may = clear & first_allowed(ways, held.modes, wishes.first)
    best_clear = float(np.min(own[may], initial=np.inf))
    looked_for = _side_asked(wishes) or np.any(own[~clear] < best_clear + wishes.slack_h)
    found: list[_Laid] = []
    if many_about(hazards, leg):
        bound_h, found = 0.0, []
        if looked_for:
            found = _among_many(room, course, costs, wishes, best_clear)
        none = not found and not may.any() and not _hastily(room, wishes)
        if none and not taut_string.connected(hazards, leg, waters_of(leg)):
            bound_h = float("inf")
    else:
        bound_h, found = _among_few(
            room, course, costs, wishes, best_clear, across=across is not None,
            looked_for=bool(looked_for),
        )  # fmt: skip
    every = _put_together(ways, found)
    return Round(
        every,
        np.concatenate((clear, np.ones(len(found), dtype=bool))),
        len(ways),
        ((),) * len(ways) + tuple(each.passed for each in found),
        tuple(None if free else _first_met(hazards, ways, at) for at, free in enumerate(clear)),
        across,
        bool(np.any(ways.turns == 0)),
        bound_h,
    )


def _among_few(
    room: Room,
    course: Course,
    costs: Costs,
    wishes: Wishes,
    best_clear_h: float,
    *,
    across: bool,
    looked_for: bool,
) -> tuple[float, list[_Laid]]:
    """Return the time on the taut string, and the ways round found along it."""
    from goosewing.steady import pinned_boards

    spacing = max(SPACING_NM, 0.85 * room.hazards.clearance_nm)
    string = taut_string.drawn(room.hazards, room.gauge, room.leg, spacing_nm=spacing)
    bound_h = _bound_h(room, string) if across else 0.0
    if not looked_for:
        return bound_h, []
    found: list[_Laid] = []
    if np.isfinite(string.hours[START]):
        most = pinned_boards.MOST_CORNERS[0]
        found = _pinned(room, course, costs, wishes, best_clear_h, string.box, 0, most)
    limit = min([best_clear_h, *(each.own_h(costs) for each in found)])
    return bound_h, found + _detours(room, course, costs, wishes, limit, string, spacing)


def waters_of(leg: Array) -> Array:
    """A box about a leg in the plane, wide enough for any way round that is worth it."""
    length = float(np.hypot(*(leg[2:] - leg[:2])))
    low, high = np.minimum(leg[:2], leg[2:]), np.maximum(leg[:2], leg[2:])
    return np.concatenate((low - taut_string.ROOM * length, high + taut_string.ROOM * length))


def many_about(hazards: Hazards, leg: Array) -> bool:
    """Tell whether there are more hazards about a leg than a string can be drawn round."""
    return len(hazards.reaching_into(waters_of(leg))[0]) > FEW_HAZARDS


def _hastily(room: Room, wishes: Wishes) -> bool:
    """Whether what the first search doesn't find is looked for no more."""
    return wishes.hasty and len(room.hazards.reaching_into(waters_of(room.leg))[0]) > MANY


def _among_many(
    room: Room, course: Course, costs: Costs, wishes: Wishes, best_clear_h: float
) -> list[_Laid]:
    """Find ways between more hazards than a string can be drawn round."""
    from goosewing.steady import pinned_boards

    box = waters_of(room.leg)
    wider = box + 2.0 * np.max(box[2:] - box[:2]) * np.array([-1.0, -1.0, 1.0, 1.0])
    few, more, all_ = pinned_boards.MOST_CORNERS
    first, bounces, farther = (box, 0, few), (box, BOUNCES, few), (wider, 0, all_)

    def others() -> Iterator[tuple[Array, int, int]]:
        # A mainland across the line is gone round farther out: here are no boards.
        if not taut_string.connected(room.hazards, room.leg, box):
            yield from (farther, bounces)
            return
        about = pinned_boards.About.of(room.hazards, room.gauge, room.leg, box)
        if about.crowded(np.inf, few):
            yield from ((box, 0, more), (box, 0, all_))
        yield from (bounces, farther)

    for waters, often, most in chain([first], () if _hastily(room, wishes) else others()):
        found = _pinned(room, course, costs, wishes, best_clear_h, waters, often, most)
        if found:
            return found
    return []


def _pinned(
    room: Room,
    course: Course,
    costs: Costs,
    wishes: Wishes,
    best_clear_h: float,
    box: Array,
    bounces: int,
    most_corners: int,
) -> list[_Laid]:
    """Find ways whose boards lie against hazards; the first search that finds any is enough."""
    from goosewing.steady import pinned_boards

    side = np.array([mode.side for mode in costs.modes])
    for net in _nets(room, costs, wishes, best_clear_h, box, bounces, most_corners):
        found = [
            laid
            for first, only in _tacks(wishes, side)
            for chain in pinned_boards.free_chains(net.net, first, only, wishes.slack_h)
            for laid in [_chain_laid(room, course, net.net.graph, chain, wishes.margin_deg)]
            if laid is not None
        ]
        if min((each.own_h(costs) for each in found), default=np.inf) <= net.enough_h:
            return found
    return []


class _Limited(NamedTuple):
    """A net of the boards on all ways that are fast enough, and up to which time it is enough."""

    net: pinned_boards.Net
    limit_h: float
    enough_h: float
    """Whatever is found within this, no wider net holds a faster way; infinite: nor any at all."""


def _nets(
    room: Room,
    costs: Costs,
    wishes: Wishes,
    best_clear_h: float,
    box: Array,
    bounces: int,
    most_corners: int,
) -> Iterator[_Limited]:
    """Yield nets wider and wider, the first of them that of a plan of the same waters before."""
    from goosewing.steady import pinned_boards

    lane = None if room.lane is None else (room.lane.line.tobytes(), room.lane.half_deg)
    from_what = (
        room.hazards, room.leg.tobytes(), box.tobytes(), lane, bounces, most_corners,
        *(each.tobytes() for each in (room.held.east_kn, room.held.north_kn, costs.table_h)),
    )  # fmt: skip
    about = pinned_boards.About.of(room.hazards, room.gauge, room.leg, box)
    speeds = pinned_boards.Speeds.of(room.held)
    before: _Limited | None = None if room.kept is None else room.kept.of(from_what)
    asked_before = False
    for times in (*CLOSE_LIMITS, *LIMITS, np.inf):
        enough = times * about.least_h
        limit = min(best_clear_h, enough) + wishes.slack_h
        if times in CLOSE_LIMITS and about.crowded(limit, most_corners):
            continue  # As many corners as a wider limit takes.
        # Bounded by a way that is known to be clear, nothing wider is of use.
        enough = enough if limit >= enough else np.inf
        if before is not None and before.limit_h >= limit:
            if not asked_before:
                yield before._replace(enough_h=max(before.enough_h, enough))
            asked_before = True
            continue
        graph = pinned_boards.graph_of(
            about, room.held, costs,
            spacing_nm=max(0.1, 0.85 * room.hazards.clearance_nm), lane=room.lane,
            limit_h=limit, speeds=speeds, bounces=bounces, most_corners=most_corners,
        )  # fmt: skip
        made = _Limited(pinned_boards.Net.of(graph), limit, enough)
        if room.kept is not None:
            room.kept.keep(from_what, made)
        yield made


def _chain_laid(
    room: Room,
    course: Course,
    graph: pinned_boards.Graph,
    chain: pinned_boards.Chain,
    margin_deg: float,
) -> _Laid | None:
    """Lay out a chain of boards that lie against hazards; None if that leaves it no room."""
    from goosewing.steady import pinned_boards

    modes: list[int] = []
    rows: list[float] = []
    path: list[tuple[float, float]] = [(course.lat1, course.lon1)]
    held, places = room.held, graph.waters.places
    for step in chain.steps:
        end = _place(places, step.end // graph.modes, course)
        laid = _step_laid(held, pinned_boards.drawn(graph, step), step, path[-1], end)
        if step is chain.steps[-1] and step.second >= 0 and margin_deg:
            straight = course_between(*path[-1], *end)
            laid = _alternating(held, straight, step.first, step.second, 1, margin_deg)
        if laid is None:
            return None
        for mode, row, at in laid:
            if modes and modes[-1] == mode and abs(rows[-1] - row) < 1e-6:
                path[-1] = at
                continue
            modes.append(mode)
            rows.append(row)
            path.append(at)
    lat, lon = np.array(path).T
    chained = [START, *(step.end // graph.modes for step in chain.steps)]
    corners = [place for place in chained if place < 2 or places.solid[place] >= 0]
    passed = _passed(room, places, corners)
    whole = _timed(room, np.array(modes), np.array(rows), lat, lon, passed)
    return _straightened(room, _without_scraps(room, whole))


def _step_laid(
    held: VelocitySet,
    drawn: pinned_boards.Drawn,
    step: pinned_boards.Step,
    start: tuple[float, float],
    end: tuple[float, float],
) -> Laid | None:
    if step.first < 0:
        straight = straight_velocities(held, course_between(*start, *end).bearing_deg)
        at = np.flatnonzero(straight.mode == step.mode)
        return [(step.mode, float(straight.row_deg[at[0]]), end)] if at.size else None
    turned = drawn.points[1:-1]
    ends = [
        (float(lat), float(geodesy.wrap_longitude(lon)))
        for lat, lon in zip(
            geodesy.latitude_from_isometric(turned[:, 1]), turned[:, 0], strict=True
        )
    ]
    return [
        (int(held.mode[number]), float(held.row_deg[number]), at)
        for number, at in zip(drawn.numbers, [*ends, end], strict=True)
    ]


def _first_met(hazards: Hazards, ways: Ways, way: int) -> Area | None:
    for board in range(int(ways.turns[way]) + 1):
        lat, lon = ways.lat[way], ways.lon[way]
        met = hazards.what_blocks(lat[board], lon[board], lat[board + 1], lon[board + 1])
        if met is not None:
            return met
    return None


def _bound_h(room: Room, string: Taut) -> float:
    """Time on the taut string round every corner; zero where there are too many to look at."""
    if not np.isfinite(string.hours[START]):
        return float("inf")
    hazards, leg = room.hazards, room.leg
    fine = taut_string.places_of(hazards, leg, string.solids, string.box, 0.0)
    if len(fine) > MOST_FOR_BOUND:
        return 0.0
    found = taut_string.drawn(hazards, room.gauge, leg, start_from=string.solids)
    return float(found.hours[START])


@dataclass(frozen=True, slots=True, eq=False)
class _Laid:
    """A way round, laid out: b boards."""

    mode: NDArray[np.intp]
    row_deg: Array
    twa_deg: Array
    distance_nm: Array
    elapsed_h: Array
    lat: Array
    lon: Array
    passed: tuple[Side, ...]

    def own_h(self, costs: Costs) -> float:
        """Time with the turns within it, in hours."""
        mode, twa = self.mode, self.twa_deg
        turns = costs.between(mode[:-1], twa[:-1], mode[1:], twa[1:])
        return float(self.elapsed_h.sum() + turns.sum())


def _detours(
    room: Room,
    course: Course,
    costs: Costs,
    wishes: Wishes,
    best_clear_h: float,
    string: Taut,
    spacing: float,
) -> list[_Laid]:
    pairs = neighbours(room.held)
    side = np.array([mode.side for mode in costs.modes])
    found: list[_Laid] = []
    limit = best_clear_h + wishes.slack_h
    if not np.isfinite(limit):
        along_h, found = _along(room, course, string, costs, wishes, pairs)
        limit = along_h + wishes.slack_h
    if not np.isfinite(limit):
        limit = SLOWEST * float(string.hours[START])
    if not np.isfinite(limit):
        return []
    limit *= 1.0 + COMPARED
    wide = taut_string.drawn(
        room.hazards, room.gauge, room.leg,
        spacing_nm=spacing, within_h=limit, start_from=string.solids,
    )  # fmt: skip
    kept = _nearest(room, wide, limit, string.places.at[string.string])
    for first, only in _tacks(wishes, side):
        search = _Search(
            room, costs, kept[0], kept[1], kept[2], pairs, wishes.slack_h, first, only, limit
        )
        for label in search.run():
            laid = _laid_out(room, course, search, label, wishes.margin_deg)
            if laid is not None:
                found.append(laid)
    return found


COMPARED = 1e-3
"""Times are compared to this share while searching, and exact only when laid out."""

SLOWEST = 4.0
"""Where no boards fit along the taut string: ways are looked for up to so many times its time."""


def _side_asked(wishes: Wishes) -> int:
    """+1 if the first board must be on port tack, −1 on starboard, 0 if it is free."""
    return {"port": 1, "starboard": -1}.get(wishes.first or "", 0)


def _tacks(
    wishes: Wishes, side: NDArray[np.intp]
) -> list[tuple[frozenset[int] | None, frozenset[int] | None]]:
    """Return which modes may come first, and which may be used at all, search by search."""
    if not _side_asked(wishes):
        return [(None, None)]
    wanted = frozenset(np.flatnonzero(side == _side_asked(wishes)).tolist())
    other = frozenset(np.flatnonzero(side != _side_asked(wishes)).tolist())
    # Without a change of tack neither board is the first.
    return [(wanted, None), (None, other)]


def _along(
    room: Room, course: Course, string: Taut, costs: Costs, wishes: Wishes, pairs: Pairs
) -> tuple[float, list[_Laid]]:
    """Return the best boards that turn at the taut string's corners alone, and how long they take.

    With corners farther off there may be faster ones, but these are boards in any case.
    """
    if not string.string:
        return float("inf"), []
    places = [START, MARK, *string.string[1:-1]]
    side = np.array([mode.side for mode in costs.modes])
    best, found = float("inf"), []
    for first, only in _tacks(wishes, side):
        search = _Search(
            room, costs, string.places.some(np.array(places)), string.hours[places],
            np.zeros(len(places)), pairs, 0.0, first, only, best,
        )  # fmt: skip
        for label in search.run():
            best = min(best, label.hours)
            laid = _laid_out(room, course, search, label, wishes.margin_deg)
            found += [] if laid is None else [laid]
    return best, found


def _nearest(room: Room, wide: Taut, limit_h: float, known: Array) -> tuple[Places, Array, Array]:
    """Keep the corners on ways that may be fast enough, the fastest of them, and those known."""
    every = np.arange(len(wide.places))
    behind = taut_string.hours_between(room.gauge, wide.places, np.array([START]), every)
    total = behind + wide.hours
    total[[START, MARK, *wide.string]] = -1.0
    # About a long detour corners by the hundred might be nearer to both ends than these.
    total[np.any(np.all(wide.places.at[:, np.newaxis] == known, axis=2), axis=1)] = -1.0
    most = max(MOST_PLACES, 2 * len(wide.string))
    order = np.argsort(total, kind="stable")[: most + 2]
    kept = np.sort(order[total[order] <= limit_h])
    return wide.places.some(kept), wide.hours[kept], behind[kept]


def _laid_out(
    room: Room, course: Course, search: _Search, label: Label, margin_deg: float
) -> _Laid | None:
    """Lay out a chain exactly; None if rounding or the margin leaves it no room."""
    chain = [label]
    while chain[-1].before >= 0:
        chain.append(search.labels[chain[-1].before])
    chain.reverse()
    modes: list[int] = []
    rows: list[float] = []
    path = [(course.lat1, course.lon1)]
    for there in chain[1:]:
        end = _place(search.places, there.place, course)
        margin = margin_deg if there.place == MARK else 0.0
        piece = _piece_laid(room.held, course_between(*path[-1], *end), there.piece, margin)
        if piece is None:
            return None
        for mode, row, at in piece:
            if modes and modes[-1] == mode and abs(rows[-1] - row) < 1e-9:
                path[-1] = at
                continue
            modes.append(mode)
            rows.append(row)
            path.append(at)
        path[-1] = end
    lat, lon = np.array(path).T
    passed = _passed(room, search.places, [each.place for each in chain])
    whole = _timed(room, np.array(modes), np.array(rows), lat, lon, passed)
    return _straightened(room, _without_scraps(room, whole))


def _without_scraps(room: Room, laid: _Laid | None) -> _Laid | None:
    """Let the boards beside one of under a minute go on until they meet, where nothing is there."""
    if laid is None:
        return None
    inner = np.arange(1, len(laid.mode) - 1)
    same = (laid.mode[inner - 1] == laid.mode[inner]) & (laid.mode[inner] == laid.mode[inner + 1])
    for at in inner[same & (laid.elapsed_h[inner] < SCRAP_H)]:
        exact, _ = velocities(
            room.held.boat, room.held.modes, room.held.airs, laid.mode, laid.row_deg
        )
        course = np.degrees(np.arctan2(exact.east_kn, exact.north_kn))
        lat, lon = laid.lat, laid.lon
        meeting = geodesy.loxodromes_meet(
            lat[at - 1], lon[at - 1], course[at - 1], lat[at + 2], lon[at + 2], course[at + 1]
        )
        if not (meeting.first_nm > 0.0 and meeting.second_nm > 0.0):
            continue
        shorter = _timed(
            room,
            np.delete(laid.mode, at),
            np.delete(laid.row_deg, at),
            np.concatenate((lat[:at], [meeting.lat], lat[at + 2 :])),
            np.concatenate((lon[:at], [meeting.lon], lon[at + 2 :])),
            laid.passed,
        )
        longer_h = np.inf if shorter is None else shorter.elapsed_h.sum() - laid.elapsed_h.sum()
        if longer_h < SCRAP_H:
            return _without_scraps(room, shorter)
    return laid


def _straightened(room: Room, laid: _Laid | None) -> _Laid | None:
    """Let two boards of one tack and sail set be one, where it is free and gives nothing away.

    From corner to corner their angles may lie a tenth of a degree apart, which nobody steers.
    """
    if laid is None:
        return None
    for at in np.flatnonzero(laid.mode[:-1] == laid.mode[1:]):
        lat, lon = np.delete(laid.lat, at + 1), np.delete(laid.lon, at + 1)
        course = course_between(lat[at], lon[at], lat[at + 1], lon[at + 1])
        straight = straight_velocities(room.held, course.bearing_deg)
        found = np.flatnonzero(straight.mode == laid.mode[at])
        if not found.size:
            continue
        row = np.delete(laid.row_deg, at)
        row[at] = straight.row_deg[found[0]]
        one = _timed(room, np.delete(laid.mode, at), row, lat, lon, laid.passed)
        most_h = (1.0 + TWO_ANGLES_GAIN) * laid.elapsed_h[at : at + 2].sum()
        if one is not None and one.elapsed_h[at] <= most_h:
            return _straightened(room, one)
    return laid


def _place(places: Places, at: int, course: Course) -> tuple[float, float]:
    if at == MARK:
        return course.lat2, course.lon2
    return float(places.lat[at]), float(geodesy.wrap_longitude(places.at[at, 0]))


Laid = list[tuple[int, float, tuple[float, float]]]
"""Boards: mode, polar angle, and where each ends."""


def _piece_laid(
    held: VelocitySet, course: Course, piece: tuple[int, int, int, int, bool], margin_deg: float
) -> Laid | None:
    mode, first, second, times, about = piece
    end = (course.lat2, course.lon2)
    if mode >= 0:
        straight = straight_velocities(held, course.bearing_deg)
        at = np.flatnonzero(straight.mode == mode)
        return [(mode, float(straight.row_deg[at[0]]), end)] if at.size else None
    if about or times == 1:
        return _alternating(held, course, first, second, 2 * times if about else 1, margin_deg)
    laid: Laid = []
    start = (course.lat1, course.lon1)
    iso1, iso2 = geodesy.isometric_latitude(np.array([course.lat1, course.lat2]))
    east = geodesy.mercator_offset(course.lat1, course.lon1, course.lat2, course.lon2).east_deg
    for number in range(1, times + 1):
        share = number / times
        lat = float(geodesy.latitude_from_isometric(iso1 + share * (iso2 - iso1)))
        lon = float(geodesy.wrap_longitude(course.lon1 + share * east))
        there = end if number == times else (lat, lon)
        margin = margin_deg if number == times else 0.0
        laid += _alternating(held, course_between(*start, *there), first, second, 1, margin)
        start = there
    return laid


def _alternating(
    held: VelocitySet, course: Course, first: int, second: int, turns: int, margin_deg: float
) -> Laid:
    pair = np.array([[first, second]])
    choice = Choices(
        held.mode[pair],
        held.row_deg[pair],
        held.row_deg[pair[:, turns % 2]],
        np.array([turns]),
        np.array([0]),
    )
    if margin_deg:
        choice, _ = with_margin(held, course, choice, margin_deg)
    way = lay_out(held, course, choice)
    return [
        (
            int(way.mode[0, at]),
            float(way.row_deg[0, at]),
            (float(way.lat[0, at + 1]), float(way.lon[0, at + 1])),
        )
        for at in range(turns + 1)
    ]


def _timed(
    room: Room,
    mode: NDArray[np.intp],
    row: Array,
    lat: Array,
    lon: Array,
    passed: tuple[Side, ...],
) -> _Laid | None:
    held = room.held
    if np.any(room.hazards.crossed_along(lat, lon)):
        return None
    exact, _ = velocities(held.boat, held.modes, held.airs, mode, row)
    line = geodesy.loxodrome_inverse(lat[:-1], lon[:-1], lat[1:], lon[1:])
    elapsed = line.distance_nm / np.hypot(exact.east_kn, exact.north_kn)
    return _Laid(mode, row, exact.twa_deg, line.distance_nm, elapsed, lat, lon, passed)


def _passed(room: Room, places: Places, chain: Sequence[int]) -> tuple[Side, ...]:
    """Say at which hazards a chain of places turns, and on which hand they lie."""
    found: dict[int, Side] = {}
    for before, here, after in zip(chain, chain[1:], chain[2:], strict=False):
        inward = places.before[here] + places.after[here] - 2.0 * places.at[here]
        along = places.at[after] - places.at[before]
        left = along[0] * inward[1] - along[1] * inward[0] > 0.0
        east, north = places.at[here].tolist()
        area = room.hazards.area_of(int(places.solid[here]), north, east)
        found.setdefault(id(area), Side(area, "port" if left else "starboard"))
    return tuple(found.values())


def _put_together(ways: Ways, found: Sequence[_Laid]) -> Ways:
    """Add ways round to the direct ones, with as many columns as the longest needs."""
    columns = max([ways.mode.shape[1], *(len(each.mode) for each in found)])
    turns = np.array([len(each.mode) - 1 for each in found], dtype=np.intp)

    def both(direct: AnyArray, rows: list[AnyArray], width: int) -> AnyArray:
        widened = np.pad(direct, ((0, 0), (0, width - direct.shape[1])), mode="edge")
        return np.concatenate(
            [widened, *(np.pad(r, (0, width - len(r)), mode="edge")[np.newaxis] for r in rows)]
        )

    def none_after(direct: Array, rows: list[Array]) -> Array:
        widened = np.pad(direct, ((0, 0), (0, columns - direct.shape[1])))
        return np.concatenate(
            [widened, *(np.pad(r, (0, columns - len(r)))[np.newaxis] for r in rows)]
        )

    number = np.arange(len(ways), len(ways) + len(found))
    alternating = np.concatenate((np.ones(len(ways), dtype=bool), np.zeros(len(found), dtype=bool)))
    return Ways(
        both(ways.mode, [each.mode for each in found], columns),
        both(ways.row_deg, [each.row_deg for each in found], columns),
        both(ways.twa_deg, [each.twa_deg for each in found], columns),
        none_after(ways.distance_nm, [each.distance_nm for each in found]),
        none_after(ways.elapsed_h, [each.elapsed_h for each in found]),
        both(ways.lat, [each.lat for each in found], columns + 1),
        both(ways.lon, [each.lon for each in found], columns + 1),
        np.concatenate((ways.turns, turns)),
        np.concatenate((ways.partner, number)).astype(np.intp),
        alternating,
    )
