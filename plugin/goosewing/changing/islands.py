"""Ways among islands by the thousand, where wind and stream change.

The steady planner's net of boards pinned to corners (`goosewing.steady.pinned_boards`) is drawn
for each spell of the weather (`goosewing.changing.spells`), from the corners alone that she may
be at then (`goosewing.changing.spell_nets`): what may be seen from where is the same for all. The
fastest chain is found spell by spell, by Dijkstra's method from wherever the one before has
brought her; then its boards are sailed exactly, in the weather as it is
(`goosewing.changing.pinned`). One that proves impossible, or not clear, is left out, and the
chain looked for again.

A net tells times to some tenths of a per cent, so of those with a pole and without one the fastest
is known once they are sailed. What else she could do on a leg, under fewer sails, is looked for
among the same corners: nothing there is faster than what was found under all of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass, field, replace
from itertools import chain, pairwise, takewhile
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat import manoeuvres
from goosewing.changing.pinned import Before, Pins, sailed
from goosewing.changing.spell_nets import SpellNet, edge_keys
from goosewing.changing.spells import Reach, Spell, spells
from goosewing.changing.ways import Stretch, Way, fastest_of
from goosewing.earth import geodesy
from goosewing.hazards.taut_string import MARK, START
from goosewing.steady import pinned_boards, round_hazards
from goosewing.steady.cheapest_chain import Costs
from goosewing.steady.lane import Lane
from goosewing.steady.pinned_boards import Edges, Graph, Speeds
from goosewing.velocities.travel_time import Gauge

if TYPE_CHECKING:
    from collections.abc import Hashable, Sequence

    from numpy.typing import NDArray

    from goosewing.boat.model import Boat
    from goosewing.changing.motion import Waters
    from goosewing.changing.pinned import Sailed
    from goosewing.changing.ways import Root
    from goosewing.earth.corridor import Corridor
    from goosewing.earth.course import Course
    from goosewing.hazards.areas import Hazards
    from goosewing.hazards.kept import Kept
    from goosewing.units import Array, BoolArray
    from goosewing.weather.base import Weather

    Numbers = NDArray[np.intp]

TRIALS = 12
"""How often a chain is looked for again without what, sailed exactly, is no way."""

SPACING_NM = 0.1
"""Corners closer together than this, and than most of the clearance, are one."""

LOOKS_OVER = 2.0
"""Corners look over so many times the distance that lines run free between islands,"""

FEWEST = 2000
"""but no fewer are looked at than these;"""

FAR_FEWER = 0.7
"""where these are less than such a share of the usual ones, those are tried next."""

AT_ONCE_H = 1e-12
"""An explicit nothing would be no edge of the graph."""

LATER_H = 0.2
"""Corners and what is seen from them serve a plan that begins by so much sooner or later. [h]"""

TURN = -2
"""In place of a velocity: a manoeuvre on the spot."""


MANY = round_hazards.MANY
"""Among so many hazards about a leg boards are pinned to their corners first of all."""


def are_many(hazards: Hazards, course: Course) -> bool:
    """Whether there are very many hazards about a leg."""
    return _number_about(hazards, course) > MANY


def are_some(hazards: Hazards, course: Course) -> bool:
    """Whether there are enough hazards about a leg for boards to be pinned to their corners."""
    return _number_about(hazards, course) > round_hazards.FEW_HAZARDS


def _number_about(hazards: Hazards, course: Course) -> int:
    leg = hazards.in_plane(course.lat1, course.lon1, course.lat2, course.lon2)
    return len(hazards.reaching_into(round_hazards.waters_of(leg))[0])


def corners_looked_at(hazards: Hazards, course: Course) -> tuple[int, ...]:
    """Say among how many corners boards are looked for: first a few, then more and more.

    The more there are the less far each looks (`pinned_boards.NEIGHBOURS`). Between islands strewn
    at random lines run free for 1 / (number per square mile · width) miles on the whole; of
    the corners so many are looked at that each looks over a few times that.
    """
    leg = hazards.in_plane(course.lat1, course.lon1, course.lat2, course.lon2)
    box = round_hazards.waters_of(leg)
    _, boxes, corners = hazards.reaching_into(box)
    scale = course.distance_nm / course.mercator_deg
    area = float(np.prod(np.minimum(box[2:], boxes[:, 2:].max(axis=0))
                         - np.maximum(box[:2], boxes[:, :2].min(axis=0)))) * scale**2  # fmt: skip
    width = float(np.mean(boxes[:, 2:] - boxes[:, :2])) * scale
    run_nm = area / (len(boxes) * width)
    within = np.pi * (LOOKS_OVER * run_nm) ** 2 * float(corners.sum()) / area
    few, *more = pinned_boards.MOST_CORNERS
    first = int(np.clip(pinned_boards.NEIGHBOURS / within, FEWEST, few))
    return (first, *((few,) if first < FAR_FEWER * few else ()), *more)


def ways_among(
    waters: Waters,
    course: Course,
    roots: Sequence[Root],
    hours: float,
    corridor: Corridor | None,
    *,
    every: bool,
    most_corners: int,
    kept: Kept | None = None,
) -> list[Way]:
    """Find the fastest ways over a leg among many hazards.

    Parameters
    ----------
    waters : Waters
        With hazards.
    course : Course
    roots : sequence of Root
        How the leg may begin.
    hours : float
        A guess of how long it takes. [h]
    corridor : Corridor, optional
        Where to stay.
    every : bool
        Whether the fastest is asked for each mode of arrival, or that of all alone.
    most_corners : int
        Among so many of the corners that lie nearest to the fastest ways in open water.
    kept : Kept, optional
        Where those corners, and what is seen from them, stay for the next plan.

    Returns
    -------
    list of Way
        Empty if none was found.
    """
    hazards = waters.hazards
    assert hazards is not None
    begins_h = min(root.time_h for root in roots)
    leg = hazards.in_plane(course.lat1, course.lon1, course.lat2, course.lon2)
    lane = None if corridor is None else Lane.of(hazards, corridor, leg)
    key = _key(hazards, leg, lane, most_corners)
    known = None if kept is None else _known(kept.of(key), waters, begins_h)
    # Whoever meets a spell in which nothing can be held waits, and that is not searched here.
    told = spells(waters, course, begins_h, hours if known is None else known.hours)
    weather = list(takewhile(lambda spell: len(spell.held) > 0, told))
    if not weather:
        return []
    speeds = [pinned_boards.Speeds.of(spell.held) for spell in weather]
    search = _Islands(
        waters, course, tuple(roots), weather, speeds, leg, lane, hazards, every, hours
    )  # fmt: skip
    found, corners = search.run(most_corners, known)
    if kept is not None and search.joined and not found:
        kept.keep(_open_key(hazards, leg), True)
    if kept is not None and corners is not None:
        if known is None:
            kept.keep(key, corners)
        for each in kept.found.values():
            if isinstance(each, _Corners) and each is not corners:
                each.forget()
    return found


def is_open(kept: Kept | None, hazards: Hazards, course: Course) -> bool:
    """Whether free lines from the start to the mark were seen in a search that was kept."""
    leg = hazards.in_plane(course.lat1, course.lon1, course.lat2, course.lon2)
    return kept is not None and kept.of(_open_key(hazards, leg)) is not None


def _open_key(hazards: Hazards, leg: Array) -> Hashable:
    return "open", hazards, leg.tobytes()


def _key(hazards: Hazards, leg: Array, lane: Lane | None, most: int) -> Hashable:
    within = None if lane is None else (lane.line.tobytes(), lane.half_deg)
    return "islands", hazards, leg.tobytes(), within, most


def _known(corners: _Corners | None, waters: Waters, begins_h: float) -> _Corners | None:
    """Those among which a plan of the same leg was found, if in the same weather."""
    if corners is None or corners.weather is not waters.weather:
        return None
    return corners if abs(corners.begins_h - begins_h) <= LATER_H else None


@dataclass(slots=True, eq=False)
class _Islands:
    """The search over one leg."""

    waters: Waters
    course: Course
    roots: tuple[Root, ...]
    weather: list[Spell]
    speeds: list[Speeds]
    """Of each spell."""
    leg: Array
    lane: Lane | None
    hazards: Hazards
    every: bool
    hours: float
    joined: bool = False
    """Whether any corners were seen to join start and mark."""

    @property
    def _costs(self) -> Costs:
        modes = self.weather[0].held.modes
        return Costs(modes, manoeuvres.cost_table_h(self.waters.boat, modes))

    def run(self, most: int, known: _Corners | None) -> tuple[list[Way], _Corners | None]:
        """Look in wider and wider nets; what is found in time in one is enough.

        In that first among whose corners the leg was planned before. Tell too which it was.
        """
        for corners in chain(() if known is None else (known,), self._wider_and_wider(most)):
            self.joined = True
            found = self._found(corners)
            if found:
                return found, corners
        return [], None

    def _wider_and_wider(self, most: int) -> Iterator[_Corners]:
        box = round_hazards.waters_of(self.leg)
        reach = Reach.of(self.weather, self.leg, box)
        whole = Gauge.around(np.concatenate([
            np.column_stack((spell.held.east_kn, spell.held.north_kn)) for spell in self.weather
        ]))  # fmt: skip
        about = pinned_boards.About.of(self.hazards, whole, self.leg, box, reach)
        for limit_h, enough_h in self._limits(about, most):
            corners = _Corners.of(self, about, whole, limit_h, enough_h, most)
            if corners is not None:
                yield corners

    def _found(self, corners: _Corners) -> list[Way]:
        """Return the fastest ways among corners, if they are fast enough to be that."""
        net = corners.net_of(self)
        found = self._free(net, None)
        if not found or min(each.hours for each in found) > corners.enough_h:
            return []
        best = min(found, key=lambda each: each.hours)
        modes = self.weather[0].held.modes
        poled = [modes[part.mode].poled for part in best.way.stretches]
        for with_pole in (True, False):
            if with_pole in poled and (with_pole or not all(poled)):
                only = [n for n, mode in enumerate(modes) if mode.poled != with_pole]
                found += self._free(net, only)
        if not self.every:
            return [min(found, key=lambda each: each.hours).way]
        return fastest_of([each.way for each in found])

    def _limits(self, about: pinned_boards.About, most: int) -> Iterator[tuple[float, float]]:
        close, wide = round_hazards.CLOSE_LIMITS, round_hazards.LIMITS
        times: Sequence[float] = (*close, *wide, np.inf)
        if about.crowded(np.inf, most):
            # What is barred among the corners that are looked at is so whatever the limit.
            times = wide[:1] if most <= pinned_boards.MOST_CORNERS[0] else (wide[0], np.inf)
        for each in times:
            limit_h = each * about.least_h
            if each not in close or not about.crowded(limit_h, most):
                yield limit_h + self._slack_h, limit_h

    @property
    def _slack_h(self) -> float:
        return float(self._costs.table_h.max(initial=0.0)) if self.every else 0.0

    def _free(self, net: _Net, only: Sequence[int] | None) -> list[_Found]:
        """Return the fastest chains whose boards can be sailed and cross nothing."""
        for _ in range(TRIALS):
            chains = net.fastest(self.every, self._slack_h, only)
            made = [self._sailed(net, chain) for chain in chains]
            bad = [step for each in made for step in each.bad]
            if not bad:
                return [found for each in made for found in each.found]
            net.without(bad)
        return []

    def _sailed(self, net: _Net, chain: _Chain) -> _Made:
        boards = net.boards(chain)
        pins = Pins(
            np.array([board.mode for board in boards]),
            *self._places(boards),
            np.array([board.heading_deg for board in boards]),
            np.array([board.hours for board in boards]),
            np.zeros(len(boards), dtype=bool),
        )
        root = self.roots[chain.root]
        known = None if root.mode < 0 else self.waters.modes[root.mode]
        made = sailed(self.waters, pins, root.time_h, Before(known, 90.0))
        crossed = self.hazards.crossed_along(made.states.lat, made.states.lon)
        bad = np.logical_or.reduceat(crossed, made.course.first) | ~made.fits
        if bad.any():
            return _Made([step for at in np.flatnonzero(bad) for step in boards[at].steps], [])
        way = _way(made, pins, chain.root, root)
        return _Made([], [_Found(way.arrival_h - root.time_h, way)])

    def _places(self, boards: Sequence[_Board]) -> tuple[Array, Array]:
        there = np.array([boards[0].start, *(board.end for board in boards)])
        lat = np.asarray(geodesy.latitude_from_isometric(there[:, 1]))
        lon = there[:, 0] + 0.0
        turns = 360.0 * np.round((lon[0] - self.course.lon1) / 360.0)
        lon -= turns
        # Start and mark are themselves, to the last digit.
        lat[0], lon[0] = self.course.lat1, self.course.lon1
        lat[-1] = self.course.lat2
        lon[-1] = self.course.lon2 + 360.0 * np.round((lon[-1] - self.course.lon2) / 360.0)
        return lat, lon


class _Found(NamedTuple):
    hours: float
    way: Way


class _Made(NamedTuple):
    """A chain sailed exactly: boards that can't be, or the way."""

    bad: list[_Step]
    found: list[_Found]


def _way(made: Sailed, pins: Pins, number: int, root: Root) -> Way:
    """Put a way's stretches together, one for each board, and keep how its boards are pinned."""
    states, helms = made.states, made.course.helms
    last = np.append(made.course.first[1:], len(made.course.order))
    parts = []
    for k, helm in enumerate(helms):
        steps = slice(int(made.course.first[k]), int(last[k]) + 1)
        time = states.time_h[steps].copy()
        time[-1] = time[0] + helm.hours
        rows = np.full(len(time), np.nan)
        parts.append(Stretch(helm.mode, states.lat[steps], states.lon[steps], time, rows))
    by_angle = np.array([helm.steer == "angle" for helm in helms])
    exact = replace(
        pins,
        heading_deg=np.where(by_angle, pins.heading_deg, [helm.control_deg for helm in helms]),
        hours=np.array([helm.hours for helm in helms]),
        by_angle=by_angle,
    )
    return Way(number, root.mode, tuple(parts), float(states.time_h[-1]), pins=exact)


# --- The net -------------------------------------------------------------------------------------


class _Step(NamedTuple):
    """A piece of a chain: one board, or two that meet in free water."""

    spell: int
    start: int
    end: int
    first: int
    second: int
    begin_h: float
    end_h: float


class _Chain(NamedTuple):
    root: int
    steps: tuple[_Step, ...]


class _Board(NamedTuple):
    mode: int
    start: tuple[float, float]
    end: tuple[float, float]
    """In the plane. [°]"""
    heading_deg: float
    hours: float
    number: int
    """The velocity that it is made of, in its spell; -1 for another angle."""
    steps: tuple[_Step, ...]
    """What it was put together from."""


@dataclass(frozen=True, slots=True, eq=False)
class _Corners:
    """Corners of hazards and what is seen from each, for all plans of one leg."""

    weather: Weather
    begins_h: float
    graph: Graph
    one: Numbers
    other: Numbers
    """Which see which."""
    hours: float
    """The guess by which the weather was cut into spells."""
    enough_h: float
    """Whatever is found within this, no wider net holds a faster way."""
    latest: list[tuple[Boat, _Net]] = field(default_factory=list)
    """The last net between them, and for whom."""

    def forget(self) -> None:
        """Free what takes most room: tens of MB a leg."""
        self.latest.clear()
        if self.graph.runs is not None:
            self.graph.runs.clear()

    def net_of(self, of: _Islands) -> _Net:
        """Draw the net for a boat, or take hers that was drawn before."""
        for boat, net in self.latest:
            same = boat is of.waters.boat and net.weather[0].begin_h == of.weather[0].begin_h
            if same and net.takes(of.roots):
                return net
        self.latest[:] = []
        self.latest.append((of.waters.boat, _Net.of(of, self)))
        return self.latest[0][1]

    @classmethod
    def of(
        cls,
        of: _Islands,
        about: pinned_boards.About,
        whole: Gauge,
        limit_h: float,
        enough_h: float,
        most: int,
    ) -> _Corners | None:
        """Gather those on all ways within a limit; None if no lines join its ends."""
        graph = pinned_boards.graph_of(
            about, of.weather[0].held, of._costs,
            spacing_nm=max(SPACING_NM, 0.85 * of.hazards.clearance_nm), lane=of.lane,
            limit_h=limit_h, speeds=replace(of.speeds[0], gauge=whole), bounces=0,
            most_corners=most,
        )  # fmt: skip
        one, other = graph.in_sight()
        if not _joined(one, other, len(graph.waters.at)):
            return None
        one, other = one.astype(np.int32), other.astype(np.int32)
        graph.runs = {}
        begins_h = of.weather[0].begin_h
        return cls(of.waters.weather, begins_h, graph, one, other, of.hours, enough_h)


@dataclass(slots=True, eq=False)
class _Net:
    """Boards and turns, spell by spell; times count from the earliest beginning."""

    roots: tuple[Root, ...]
    costs: Costs
    weather: list[Spell]
    spells: list[SpellNet]
    limit_h: float
    now: list[Edges] = field(init=False)
    """The boards and turns that are looked at, of each spell."""
    time_h: Array = field(init=False)
    """When each state is come to, at best."""
    spell: Numbers = field(init=False)
    came: Numbers = field(init=False)
    """By which edge of which spell; -1 for how she begins."""
    root: Numbers = field(init=False)
    """From which root each state at the start comes."""

    @classmethod
    def of(cls, of: _Islands, corners: _Corners) -> _Net:
        """Begin one between corners, without boards."""
        graph, sight = copy(corners.graph), (corners.one, corners.other)
        graph.costs = of._costs
        begins_h = of.weather[0].begin_h
        # Who begins sooner or later meets a better wind by no more than as many minutes.
        graph.behind = np.maximum(graph.behind - abs(begins_h - corners.begins_h), 0.0)
        nets = [
            SpellNet.of(graph, spell, speeds, begins_h, sight)
            for spell, speeds in zip(of.weather, pairwise([*of.speeds, of.speeds[-1]]), strict=True)
            if spell.begin_h - begins_h <= graph.limit_h
        ]
        return cls(of.roots, graph.costs, of.weather, nets, graph.limit_h)

    @property
    def _graph(self) -> Graph:
        """Of the first spell: the places are the same in all."""
        return self.spells[0].graph

    @property
    def _per(self) -> int:
        return self._graph.modes

    @property
    def _count(self) -> int:
        return len(self._graph.waters.at) * self._per

    def without(self, steps: Sequence[_Step]) -> None:
        """Leave out some boards for good."""
        for number, net in enumerate(self.spells):
            net.without([(step.start, step.end) for step in steps if step.spell == number])

    def fastest(
        self, every: bool, slack_h: float, only: Sequence[int] | None = None
    ) -> list[_Chain]:
        """Return the fastest chain to the mark, or that for each mode of arrival.

        In some of the modes only, if said so.
        """
        self._begin()
        self.now = []
        for number in range(len(self.spells)):
            if not self._sail(number, only):
                break
        there = (MARK * self._per + np.arange(self._per)).reshape(-1, 2)
        ends = there[np.arange(len(there)), np.argmin(self.time_h[there], axis=1)]
        best = float(np.min(self.time_h[ends]))
        if not (np.isfinite(best) and best <= self.limit_h):
            return []
        if not every:
            ends = ends[[int(np.argmin(self.time_h[ends]))]]
        ends = ends[self.time_h[ends] <= min(best + slack_h, self.limit_h)]
        return [self._traced(int(end)) for end in ends]

    def _within(self, edges: Edges, only: Sequence[int] | None) -> Edges:
        if only is None:
            return edges
        may = np.isin(np.arange(self._per) // 2, only)
        return edges.some(may[edges.start % self._per] & may[edges.end % self._per])

    def takes(self, roots: tuple[Root, ...]) -> bool:
        """Take other roots, unless one is sooner under way: boards aren't drawn for such."""
        may = bool(np.all(self._begun(roots)[0] >= self._begun(self.roots)[0]))
        if may:
            self.roots = roots
        return may

    def _begun(self, roots: tuple[Root, ...]) -> tuple[Array, Numbers]:
        """When she is under what she begins with, at best, and from which root; by state."""
        begun, come = np.full(self._per, np.inf), np.full(self._per, -1, dtype=np.intp)
        least = np.min(self.costs.table_h, axis=0)
        for number, root in enumerate(roots):
            cost = np.zeros(len(least)) if not 0 <= root.mode < len(least) else least[root.mode]
            hours = np.repeat(root.time_h - self.weather[0].begin_h + cost, 2)
            come[hours < begun] = number
            begun = np.minimum(begun, hours)
        return begun, come

    def _begin(self) -> None:
        self.time_h = np.full(self._count, np.inf)
        self.came = np.full(self._count, -1, dtype=np.intp)
        self.spell = np.full(self._count, -1, dtype=np.intp)
        states = START * self._per + np.arange(self._per)
        self.time_h[states], self.root = self._begun(self.roots)

    def _sail(self, number: int, only: Sequence[int] | None) -> bool:
        """Sail on within a spell, and over its end; tell whether she is anywhere in it or later."""
        from scipy.sparse import csr_array
        from scipy.sparse.csgraph import dijkstra

        net = self.spells[number]
        begin, end = net.begin_h, min(net.end_h, self.limit_h + 1e-9)
        later = np.isfinite(self.time_h) & (self.time_h >= begin)
        now = np.flatnonzero(later & (self.time_h < end))
        if not now.size:
            self.now.append(pinned_boards.NO_EDGES)
            return bool(later.any())
        net.draw(now // self._per, self.time_h[now], self._left(begin, now))
        edges = self._within(net.edges(self.time_h), only)
        self.now.append(edges)
        count = self._count
        begins = np.searchsorted(edges.start, np.arange(count + 1))
        lines = csr_array(
            (
                np.concatenate((edges.hours, self.time_h[now] - begin)) + AT_ONCE_H,
                np.concatenate((edges.end, now)).astype(np.int32),
                np.append(begins, begins[-1] + len(now)).astype(np.int32),
            ),
            shape=(count + 1, count + 1),
        )
        hours, before = dijkstra(lines, indices=count, return_predecessors=True, limit=end - begin)
        hours, before = hours[:count], before[:count]
        came = np.flatnonzero(np.isfinite(hours) & (before >= 0) & (before < count))
        came = came[begin + hours[came] < self.time_h[came]]
        key = edge_keys(edges, count)
        at = np.searchsorted(key, before[came].astype(np.intp) * count + came)
        self._come(came, begin + hours[came], number, at)
        self._over_the_end(number, begin, end)
        return True

    def _left(self, begin: float, now: Numbers) -> BoolArray:
        """Which places she has left behind: all that she can turn to there, she could before."""
        first = np.min(self.time_h.reshape(-1, self._per), axis=1)
        left = first < begin - float(self.costs.table_h.max(initial=0.0))
        left[now // self._per] = False
        return np.asarray(left)

    def _over_the_end(self, number: int, begin: float, end: float) -> None:
        """Let boards that begin within a spell end after it."""
        edges = self.now[number]
        begun = self.time_h[edges.start]
        hours = begun + edges.hours
        some = np.flatnonzero((begun >= begin) & (begun < end) & (hours >= end))
        some = some[hours[some] < np.minimum(self.time_h[edges.end[some]], self.limit_h + 1e-9)]
        order = some[np.lexsort((hours[some], edges.end[some]))]
        first = order[np.diff(edges.end[order], prepend=-1) > 0]
        self._come(edges.end[first], hours[first], number, first)

    def _come(self, states: Numbers, time_h: Array, number: int, edge: Numbers) -> None:
        self.time_h[states], self.spell[states], self.came[states] = time_h, number, edge

    def _traced(self, end: int) -> _Chain:
        steps: list[_Step] = []
        state = end
        while self.came[state] >= 0:
            number, at = int(self.spell[state]), int(self.came[state])
            edges = self.now[number]
            before, first = int(edges.start[at]), int(edges.first[at])
            if first != TURN:
                steps.append(_Step(
                    number, before, state, first, int(edges.second[at]),
                    float(self.time_h[before]), float(self.time_h[state]),
                ))  # fmt: skip
            state = before
        return _Chain(int(self.root[state - START * self._per]), tuple(reversed(steps)))

    # The boards of a chain.

    def boards(self, chain: _Chain) -> list[_Board]:
        """Lay out the boards of a chain; what goes on as it went is one."""
        found: list[_Board] = []
        for step in chain.steps:
            for board in self._laid(step):
                if found and _goes_on(found[-1], board):
                    before = found.pop()
                    board = board._replace(
                        start=before.start, hours=before.hours + board.hours,
                        steps=before.steps + board.steps,
                    )  # fmt: skip
                found.append(board)
        return found

    def _laid(self, step: _Step) -> list[_Board]:
        graph = self.spells[step.spell].graph
        held = graph.held
        own = pinned_boards.Step(
            step.start, step.end, step.end % graph.modes // 2, step.first, step.second
        )
        drawn = pinned_boards.drawn(graph, own)
        length = np.hypot(*np.diff(drawn.points, axis=0).T)
        total = step.end_h - step.begin_h
        found = []
        speed = [
            1.0 if number < 0 else float(np.hypot(held.east_kn[number], held.north_kn[number]))
            for number in drawn.numbers
        ]
        hours = length / speed
        hours *= total / hours.sum()
        for k, (number, (start, end)) in enumerate(
            zip(drawn.numbers, pairwise(drawn.points), strict=True)
        ):
            mode = own.mode if number < 0 else int(held.mode[number])
            if number < 0:
                heading = _heading_deg(graph, mode, end - start)
            else:
                heading = float(held.heading_deg[number])
            found.append(_Board(
                mode, (float(start[0]), float(start[1])), (float(end[0]), float(end[1])),
                heading, float(hours[k]), number, (step,),
            ))  # fmt: skip
        return found


def _goes_on(one: _Board, other: _Board) -> bool:
    """Whether a board is the one before held on."""
    same = one.mode == other.mode and one.steps[0].spell == other.steps[0].spell
    return same and one.number == other.number >= 0


def _heading_deg(graph: Graph, mode: int, run: Array) -> float:
    """What is steered along a line under a mode, about."""
    _, twa = graph.speeds.along(run[np.newaxis] / np.hypot(*run))
    side = graph.held.modes[mode].side
    return float(graph.held.airs.twd_deg + side * twa[0, mode]) % 360.0


def _joined(one: Numbers, other: Numbers, count: int) -> bool:
    """Whether lines between places, each both ways, lead from the start to the mark."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    lines = coo_array((np.ones(len(one), dtype=np.int8), (one, other)), shape=(count, count))
    _, group = connected_components(lines, directed=False)
    return bool(group[START] == group[MARK])
