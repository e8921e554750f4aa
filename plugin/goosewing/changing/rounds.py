"""One round of the search: states taken up in the order of their times, on one grid.

States keep their exact position; the grid serves only to forget: of all states in one cell
and one mode (tack and sail set) the best is kept, judged by its time plus a fair guess of
what remains. A batch is taken up at once, so that none is looked at before it is final.

Earlier is only better where she can stay. A boat that the stream carries off whatever
she sails gives her cell free again: whoever comes there later, in another stream, is
as welcome as she was.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from goosewing.changing.cells import Grid, Here, Places
from goosewing.changing.fans import Fans, fans_of
from goosewing.changing.guide import Guide
from goosewing.changing.motion import Waters
from goosewing.changing.shooting import limits_deg
from goosewing.changing.states import (
    NOBODY,
    Arrival,
    GroundSpread,
    Store,
    Straight,
    straight_along,
    straight_to,
)
from goosewing.changing.ways import Root, Search, Way, stretches_of
from goosewing.earth import geodesy
from goosewing.velocities.velocity_set import Airs

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from goosewing.earth.corridor import Corridor
    from goosewing.earth.course import Course
    from goosewing.hazards.areas import Hazards
    from goosewing.hazards.free_water import Waterways
    from goosewing.units import Array, BoolArray

    Numbers = NDArray[np.intp]
    Column = NDArray[Any]

LONGEST_WAITING = 3.0
LONGEST_GUESSES = 30.0
WAIT_H = 48.0
"""No leg is searched for longer than so many times its guess, and two days of waiting for wind;
whether she waits for a stream that carries her off, for fewer."""

TRUSTED = 0.98
"""What a coarse round backwards tells of the hours that remain may be so much too long."""

WINDOW = 0.9
"""States are taken up together that lie within so much of a step."""

PART_H = 2.0
PARTS = (2, 4)
"""What is kept of a step is sailed again in parts of so many hours, and so many of them. [h]"""

SHORTEST_CUT = 0.02
"""At the edge of a corridor a step of less than this share of a whole one is none."""

NARROW_DEG = 30.0
NARROW_ARRIVES = 4.0
"""In a narrower sector the mark is reached from up to so many steps away."""

QUARTERS = (0.25, 0.5, 0.75, 1.0)
"""Where on a step the weather is asked at the edge of what is known."""


@dataclass(frozen=True, eq=False)
class SearchedLeg:
    """What all rounds of one search share."""

    waters: Waters
    course: Course
    roots: tuple[Root, ...]
    what: Search
    gauge: Array
    fastest_kn: float
    costs: Array
    progress: Callable[[float], None] | None

    @cached_property
    def narrow(self) -> BoolArray:
        """Which modes have a sector so narrow that few courses are left, shape (modes,)."""
        limits = [limits_deg(self.waters, mode.sail_set) for mode in self.waters.modes]
        return np.array([high - low < NARROW_DEG for low, high in limits])

    @cached_property
    def sail_sets(self) -> Numbers:
        """The sail set of each mode."""
        return np.array([mode.sail_set for mode in self.waters.modes])

    @cached_property
    def sides(self) -> Numbers:
        """The side of each mode, as `Mode.side`."""
        return np.array([mode.side for mode in self.waters.modes])

    @cached_property
    def under_engine(self) -> BoolArray:
        """Which modes are under engine."""
        return np.array([mode.engine for mode in self.waters.modes])

    @property
    def guess_h(self) -> float:
        """A fair guess of its hours."""
        return self.course.distance_nm * float(np.min(self.gauge[-1]))

    @property
    def begins_h(self) -> float:
        """When it begins at the latest."""
        return max(root.time_h for root in self.roots)

    @property
    def nm_per_deg(self) -> float:
        """Miles to a degree of the Mercator plane, on the whole."""
        return self.course.distance_nm / self.course.mercator_deg

    def run(self, grid: Grid, step_h: float, apart_deg: float, **more: Any) -> Round:
        """Run a round; what more it takes is told at `Round`."""
        fans = fans_of(self.waters.boat, apart_deg / float(np.sqrt(self.what.fineness)))
        made = Round(self, grid, step_h, fans, **more)
        made.run()
        return made


@dataclass(slots=True, eq=False)
class Round:
    """One search on one grid."""

    leg: SearchedLeg
    grid: Grid
    step_h: float
    fans: Fans
    waits: bool = False
    """Whether a boat that is carried off leaves her cell to whoever comes later."""
    backwards_from_h: float | None = None
    """If she sails backwards in time, from the mark to the start: when she leaves the mark.
    The times of states then count hours before the epoch instead of after it."""
    guide: Guide | None = None
    """What remains, as a round backwards found it."""
    beat_h: float = np.inf
    """Nobody is followed who can't arrive by then. [h]"""
    store: Store = field(default_factory=Store.empty)
    water: Waterways | None = field(init=False)
    corners: Places = field(init=False)
    number: Numbers = field(init=False)
    """Of each cell (and part of one) among those that are searched; −1 for the others."""
    tilt: Array = field(init=False)
    """How the guess of what remains changes across a cell, by slot; shape (slots, 2). [h a cell]"""
    least_h: Array = field(init=False)
    """Least time from each cell to the mark. [h]"""
    best: Array = field(init=False)
    holder: Numbers = field(init=False)
    left: list[Numbers] = field(default_factory=list)
    """States that could not hold their place, batch by batch."""
    arrived: dict[int, Arrival] = field(default_factory=dict)
    touched: bool = False
    """Whether anybody came to the edge of the area."""
    carried_off: bool = False
    """Whether the stream was anywhere stronger than the boat."""
    rim: BoolArray | None = None
    """Cells at the edge of what is unknown, shape (cells,): there each place is asked."""

    @property
    def modes(self) -> int:
        """The number of modes."""
        return len(self.leg.waters.modes)

    @property
    def sign(self) -> float:
        """Which way time runs."""
        return 1.0 if self.backwards_from_h is None else -1.0

    @property
    def roots(self) -> tuple[Root, ...]:
        """How it may begin."""
        if self.backwards_from_h is None:
            return self.leg.roots
        return (Root(-1, -self.backwards_from_h, np.inf),)

    def _clock_h(self, time_h: Array) -> Array:
        """The hour by the clock; before the start the weather of the start holds."""
        if self.backwards_from_h is None:
            return time_h
        return np.maximum(-time_h, self.leg.begins_h)

    @property
    def origin(self) -> tuple[float, float]:
        """Where it begins, in cells."""
        return self.grid.start if self.backwards_from_h is None else self.grid.mark

    @property
    def goal(self) -> tuple[float, float]:
        """Where it is to end, in cells."""
        return self.grid.mark if self.backwards_from_h is None else self.grid.start

    @property
    def begins_h(self) -> float:
        """When it begins at the latest."""
        return max(root.time_h for root in self.roots)

    def __post_init__(self) -> None:
        self.water = _waterways(self.leg.waters.hazards, self.grid)
        if self.water is not None:
            self.corners = self.grid.places(self.water.corners.place)
        owner = self._number_cells()
        self._guess(owner)
        size = len(owner) * self.modes
        self.best = np.full(size, np.inf)
        self.holder = np.full(size, -1, dtype=np.intp)
        self._shut_unknown(owner)

    # ---- the cells --------------------------------------------------------------------------

    def _number_cells(self) -> Numbers:
        """Number the cells that are searched; return the cell of each number."""
        cells = int(np.prod(self.grid.shape))
        owner = np.arange(cells) if self.water is None else self.water.owner
        allowed = self.grid.allowed
        searched = np.ones(len(owner), dtype=bool) if allowed is None else allowed.ravel()[owner]
        self.number = np.full(len(owner), -1, dtype=np.intp)
        self.number[searched] = np.arange(int(searched.sum()))
        return np.asarray(owner[searched])

    def _guess(self, owner: Numbers) -> None:
        """Guess what remains from each cell, and how that changes across it."""
        along, across = self.grid.middles(owner)
        far = np.hypot(along - self.goal[0], across - self.goal[1])
        nm = self.leg.nm_per_deg * self.grid.cell_deg
        self.least_h = np.maximum(far - 1.5, 0.0) * nm / self.leg.fastest_kn
        if self.guide is not None:
            known = TRUSTED * self.guide.hours(self.grid, along, across).min(axis=1)
            self.least_h = np.maximum(self.least_h, known)
        ends = [
            [self._to_go_h(along + 0.5 * a, across + 0.5 * c, nm) for a, c in pair]
            for pair in (((1, 0), (-1, 0)), ((0, 1), (0, -1)))
        ]
        self.tilt = np.stack([(high - low).ravel() for high, low in ends], axis=1)

    def _to_go_h(self, along: Array, across: Array, nm_per_cell: float) -> Array:
        """A fair guess of the hours to go, shape (n, modes): as she sails, or after one change."""
        if self.guide is not None:
            return self.guide.hours(self.grid, along, across)
        ahead, aside = self.goal[0] - along, self.goal[1] - across
        bearing = self.leg.course.bearing_deg + np.degrees(
            np.arctan2(self.sign * aside, self.sign * ahead)
        )
        bearing %= 360.0
        low = bearing.astype(np.intp)
        part = bearing - low
        per_nm = self.leg.gauge[:, low] * (1.0 - part) + self.leg.gauge[:, low + 1] * part
        hours = np.hypot(ahead, aside) * nm_per_cell * per_nm
        return np.asarray(np.minimum(hours[:-1], hours[-1] + self._least_change_h()).T)

    def _least_change_h(self) -> Array:
        costs = self._costs.min(axis=0)
        elsewhere = np.where(np.eye(self.modes, dtype=bool), np.inf, costs)
        least = elsewhere.min(axis=1)
        return np.where(np.isfinite(least), least, 0.0)[:, np.newaxis]

    def _shut_unknown(self, owner: Numbers) -> None:
        """Let nobody into cells of which wind or stream are never known: islands, as a rule."""
        weather = self.leg.waters.weather
        if not weather.varies_in_place:
            return
        along, across = self.grid.middles(owner)
        here = self.grid.here(along, across)
        unknown = np.ones(len(owner), dtype=bool)
        first = min(root.time_h for root in self.leg.roots)
        for share in (0.0, 0.5, 1.0):
            at = self.leg.waters.airs(first + share * self.leg.guess_h, here.lat, here.lon)
            unknown &= ~np.isfinite(at.tws_kn)
        near_ends = np.zeros(len(owner), dtype=bool)
        for end in (self.grid.start, self.grid.mark):
            near_ends |= (np.abs(along - end[0]) < 1.5) & (np.abs(across - end[1]) < 1.5)
        shut = np.flatnonzero(unknown & ~near_ends)
        self.number[np.flatnonzero(self.number >= 0)[shut]] = -2
        if shut.size:
            self.rim = _about(self.grid, owner[shut])

    # ---- the waves --------------------------------------------------------------------------

    def run(self) -> None:
        """Take up states batch by batch until nothing can arrive earlier."""
        pending = self._start()
        while pending.size:
            times = self.store.time[pending]
            first = float(times.min())
            if first > self._deadline():
                break
            self._give_free()
            now = times <= first + WINDOW * self.step_h
            batch, pending = pending[now], pending[~now]
            batch = batch[self.holder[self.store.slot[batch]] == batch]
            if not batch.size:
                continue
            self._tell(batch)
            pending = np.concatenate((pending, *self._go_on(batch)))

    def _tell(self, batch: Numbers) -> None:
        if self.leg.progress is None:
            return
        along, across = self.store.along[batch], self.store.across[batch]
        far = np.hypot(along - self.goal[0], across - self.goal[1])
        self.leg.progress(float(far.min()) * self.leg.nm_per_deg * self.grid.cell_deg)

    @property
    def _costs(self) -> Array:
        """What it costs to come from one mode into another, the way time runs. [h]."""
        return self.leg.costs if self.backwards_from_h is None else self.leg.costs.swapaxes(1, 2)

    @property
    def _latest_h(self) -> float:
        return self.begins_h + LONGEST_GUESSES * self.leg.guess_h + WAIT_H

    def _deadline(self) -> float:
        if not self.arrived:
            return min(self._latest_h, self.beat_h)
        first = min(found.time_h for found in self.arrived.values())
        return min(self._latest_h, first + float(self.leg.costs.max()))

    def _start(self) -> Numbers:
        along, across = (np.array([value]) for value in self.origin)
        square = self.grid.cells(along, across)
        cell = square if self.water is None else self.water.slot(square, along, across)
        born = []
        for number, root in enumerate(self.roots):
            modes = [root.mode] if root.mode >= 0 else range(self.modes)
            for mode in modes:
                slot = self.number[cell] * self.modes + mode
                if root.time_h >= self.best[slot[0]]:
                    continue
                born.append(self._keep(
                    slot, np.array([root.time_h]), time=root.time_h, along=along, across=across,
                    mode=mode, row=np.nan, sailed=root.sailed_h, parent=-1 - number, square=square,
                ))  # fmt: skip
        return np.concatenate(born)

    def _give_free(self) -> None:
        """Give those cells free whose states were carried off in the last batch."""
        for states in self.left:
            slot = self.store.slot[states]
            self.best[slot[self.holder[slot] == states]] = np.inf
        self.left.clear()

    def _go_on(self, batch: Numbers) -> list[Numbers]:
        s, half = self.store, 0.5 * self.step_h
        along, across = self._half_way(batch)
        here = self.grid.here(along, across)
        time_h = self._clock_h(s.time[batch] + half)
        airs = self.leg.waters.airs(time_h, here.lat, here.lon)
        unknown = ~np.isfinite(airs.tws_kn)
        if unknown.any():
            # On the old course she would leave the weather; another one may not.
            here = self.grid.here(s.along[batch], s.across[batch])
            again = self.leg.waters.airs(time_h, here.lat, here.lon)
            airs = Airs(*(np.where(unknown, a, b) for a, b in zip(again, airs, strict=True)))
        spread = self._spread(batch, airs, time_h, here.lat, here.lon)
        self._note_left(batch, airs)
        return [self._change(batch, airs), self._sail(batch, spread)]

    def _half_way(self, batch: Numbers) -> tuple[Array, Array]:
        """Where she will be in half a step if she goes on as she came."""
        s = self.store
        before = np.maximum(s.parent[batch], 0)
        hours = s.time[batch] - s.time[before]
        same = (s.parent[batch] >= 0) & (s.mode[before] == s.mode[batch]) & (hours > 0.0)
        part = np.divide(0.5 * self.step_h, hours, out=np.zeros(len(batch)), where=same)
        part = np.minimum(part, 1.0)
        along = s.along[batch] + part * (s.along[batch] - s.along[before])
        return along, s.across[batch] + part * (s.across[batch] - s.across[before])

    # ---- changes of tack and sails -----------------------------------------------------------

    def _change(self, batch: Numbers, airs: Airs[Array]) -> Numbers:
        """Let states that have sailed long enough change tack or sails where they are."""
        s = self.store
        # Sails are set as soon as they draw; but not, under engine, in the same moment as
        # they were handed, which would be a turn for nothing.
        shortest = np.full(self.modes, max(self.leg.what.shortest_h, 1e-9))
        shortest[self.leg.under_engine] = 1e-9
        long_enough = s.sailed[batch] >= shortest[s.mode[batch]]
        if not long_enough.any() or self.modes < 2:
            return np.zeros(0, dtype=np.intp)
        low, _ = self.fans.bins(airs.tws_kn[long_enough])
        batch = batch[long_enough]
        wanted = self.fans.worth_setting[self.leg.sail_sets[:, np.newaxis], low].T
        wanted &= s.mode[batch][:, np.newaxis] != np.arange(self.modes)
        which, after = np.nonzero(wanted)
        before = batch[which]
        time = s.time[before] + self._cost_h(before, after)
        slot = s.slot[before] - s.mode[before] + after
        value = time + self._tilted(slot, s.along[before], s.across[before])
        at = self._winners(slot, value, np.flatnonzero(value < self.best[slot] - 1e-9))
        before = before[at]
        return self._keep(
            slot[at], value[at], time=time[at], along=s.along[before], across=s.across[before],
            mode=after[at], row=np.nan, sailed=0.0, parent=before, square=s.square[before],
        )  # fmt: skip

    def _cost_h(self, before: Numbers, after: Numbers) -> Array:
        s = self.store
        tacking = (np.nan_to_num(s.row[before], nan=180.0) < 90.0).astype(np.intp)
        cost = self._costs[tacking, s.mode[before], after]
        # At the start and at a mark the angle sailed next is not known yet: the cheaper turn.
        either = self._costs[:, s.mode[before], after].min(axis=0)
        return np.where(np.isnan(s.row[before]), either, cost)

    # ---- sailing on --------------------------------------------------------------------------

    def _spread(
        self, batch: Numbers, airs: Airs[Array], time_h: Array, lat: Array, lon: Array
    ) -> GroundSpread:
        """Velocities over the ground of every state, along and across the leg."""
        mode = self.store.mode[batch]
        sets = self.leg.sail_sets[mode]
        ok = self.fans.carried(sets, airs)
        ok &= self._allowed(mode, airs, time_h, lat, lon)
        got = self.fans.spread(sets, airs, ok)
        turns = self._turns(mode, airs)[:, got.state]
        along, across = _over_ground(got.ahead_kn, got.aside_kn, turns)
        count = np.bincount(got.state, minlength=len(batch))
        along, across = self.sign * along, self.sign * across
        return GroundSpread(got.state, got.row_deg, along, across, np.cumsum(count) - count, count)

    def _turns(self, mode: Numbers, airs: Airs[Array]) -> Array:
        """What turns velocities ahead and aside in n winds into ones along and across the leg.

        Cosine and sine of the wind's direction from the leg's, these for what goes aside, and
        the stream, shape (6, n).
        """
        wind = np.radians(airs.twd_deg - self.leg.course.bearing_deg)
        course = np.radians(self.leg.course.bearing_deg)
        sin, cos = np.sin(wind), np.cos(wind)
        stream_along = airs.stream_east_kn * np.sin(course) + airs.stream_north_kn * np.cos(course)
        stream_across = airs.stream_east_kn * np.cos(course) - airs.stream_north_kn * np.sin(course)
        side = self.leg.sides[mode]
        return np.stack((cos, sin, side * sin, side * cos, stream_along, stream_across))

    def _allowed(
        self, mode: Numbers, airs: Airs[Array], time_h: Array, lat: Array, lon: Array
    ) -> BoolArray:
        """Whether a pole may be set, and the engine be used."""
        ok = np.ones(len(mode), dtype=bool)
        poled, engine = (
            np.array([getattr(m, name) for m in self.leg.waters.modes])[mode]
            for name in ("poled", "engine")
        )
        if poled.any() and not self.leg.waters.boat.night_poled:
            ok[poled] = self.leg.waters.pole_allowed(time_h[poled], lat[poled], lon[poled])
        if engine.any():
            some = Airs(*(values[engine] for values in airs))
            ok[engine] = self.leg.waters.motored(some, time_h[engine], lat[engine], lon[engine])
        return ok

    def _sail(self, batch: Numbers, spread: GroundSpread) -> Numbers:
        """Sail every angle of each state's mode for a step, and straight for the mark."""
        s, step = self.store, self.step_h
        here = self.grid.here(s.along[batch], s.across[batch])
        aim = self._aim(batch, spread, here)
        state = np.concatenate((spread.state, aim.owner))
        row = np.concatenate((spread.row, aim.row))
        scale = (here.cells_per_nm * step)[state]
        along = np.concatenate((spread.along_kn, aim.speed_kn * aim.along[aim.owner])) * scale
        across = np.concatenate((spread.across_kn, aim.speed_kn * aim.across[aim.owner])) * scale
        slow = self._slow(spread, along, across, len(batch))
        # The scale half way there: the plane stretches polewards.
        stretch = 1.0 + 0.5 * here.bend[state] * self._north(along, across)
        along = s.along[batch][state] + along * stretch
        across = s.across[batch][state] + across * stretch
        hours = np.full(len(state), step)
        steps = (state, along, across, hours, row)
        if self.leg.what.corridor is not None:
            steps = self._cut_at_the_edge(batch, here, *steps)
        born = [self._sailed(batch, *steps, slow)]
        if self.water is not None:
            born.append(self._bend(batch, spread, here, slow))
        return np.concatenate(born)

    def _cut_at_the_edge(
        self, batch: Numbers, here: Here, state: Numbers, along: Array, across: Array,
        hours: Array, row: Array,
    ) -> tuple[Numbers, Array, Array, Array, Array]:  # fmt: skip
        """Let steps that would leave the corridor end at its edge: there she turns."""
        corridor = self.leg.what.corridor
        assert corridor is not None
        begun, begun_aside = (each[batch][state] for each in (self.store.along, self.store.across))
        before, moved, side, edge = self._room(corridor, batch, here, state, (along, across))
        over = side * (before + moved) > edge
        share = np.divide(side * edge - before, moved, out=np.ones_like(moved), where=over)
        at = np.flatnonzero(share > SHORTEST_CUT)
        cut = begun + share * (along - begun), begun_aside + share * (across - begun_aside)
        return state[at], cut[0][at], cut[1][at], (share * hours)[at], row[at]

    def _leaves(
        self, corridor: Corridor, batch: Numbers, here: Here, state: Numbers, there: Array
    ) -> BoolArray:
        """Whether places that states sail to, shape (n, 2) in cells, lie outside a corridor."""
        before, moved, side, edge = self._room(corridor, batch, here, state, (*there.T,))
        return np.asarray(side * (before + moved) > edge)

    def _room(
        self, corridor: Corridor, batch: Numbers, here: Here, state: Numbers, there: Sequence[Array]
    ) -> tuple[Array, Array, Array, Array]:
        """How far to the right of a corridor's line states are and move, and to what edge.

        Returns
        -------
        before, moved, side, edge : ndarray, shape (n,)
            `side` is that to which they move, -1 or 1; from outside none may go farther out.
        """
        begun = (each[batch][state] for each in (self.store.along, self.store.across))
        before = self._beside(corridor, *begun)
        moved = self._beside(corridor, *there) - before
        side = np.copysign(1.0, moved)
        edge = np.maximum(corridor.half_nm * here.cells_per_nm[state], side * before)
        return before, moved, side, edge

    def _beside(self, corridor: Corridor, along: Array, across: Array) -> Array:
        """How far to the right of a corridor's line places lie, in cells."""
        mark, aside = self.grid.mark
        angle = np.radians(corridor.course.bearing_deg - self.grid.course.bearing_deg)
        return np.asarray((across - aside) * np.cos(angle) - (along - mark) * np.sin(angle))

    @staticmethod
    def _slow(spread: GroundSpread, along: Array, across: Array, size: int) -> BoolArray:
        """Which states get nowhere out of a cell within the step."""
        slow = np.zeros(size, dtype=bool)
        moving = np.flatnonzero(spread.size)
        if moving.size:
            run = np.hypot(along[: len(spread.state)], across[: len(spread.state)])
            slow[moving] = np.maximum.reduceat(run, spread.begin[moving]) < 1.0
        return slow

    def _sailed(
        self, batch: Numbers, state: Numbers, along: Array, across: Array, hours: Array,
        row: Array, slow: BoolArray, *, again: bool = True,
    ) -> Numbers:  # fmt: skip
        """Keep those of the states sailed to that are the best of their cell and mode so far.

        A state that is too slow to leave its cell within a step may take its
        parent's place there, though it can't be better: else a lull would end the search.
        """
        s = self.store
        square = self.grid.cells(along, across)
        cell = square if self.water is None else self.water.slot(square, along, across)
        number = np.where(cell >= 0, self.number[cell], -1)
        self.touched |= bool(np.any(number == -1)) and self.grid.allowed is None
        at = np.flatnonzero(number >= 0)
        parent = batch[state[at]]
        time = s.time[parent] + hours[at]
        soon = time + self.least_h[number[at]] <= self._deadline()
        at, parent, time = at[soon], parent[soon], time[soon]
        slot = number[at] * self.modes + s.mode[parent]
        value = time + self._tilted(slot, along[at], across[at])
        better = value < self.best[slot] - 1e-9
        better |= slow[state[at]] & (self.holder[slot] == parent)
        in_the_open = self.water is None and self.rim is None
        kept = np.flatnonzero(better)
        if kept.size and not in_the_open:
            kept = kept[self._clear(parent[kept], along[at[kept]], across[at[kept]],
                                    square[at[kept]])]  # fmt: skip
        kept = self._winners(slot, value, kept)
        at, slot, value, parent = at[kept], slot[kept], value[kept], parent[kept]
        ends, square, hours, row = (along[at], across[at]), square[at], hours[at], row[at]
        if again and len(at):
            ends = self._sailed_again(parent, *ends, hours, row)
            square, slot = self._placed(parent, *ends)
            value = s.time[parent] + hours + self._tilted(np.maximum(slot, 0), *ends)
            better = (slot >= 0) & (value < self.best[slot] - 1e-9)
            better |= (slot >= 0) & slow[state[at]] & (self.holder[slot] == parent)
            kept = np.flatnonzero(better)
            if kept.size and not in_the_open:
                kept = kept[self._clear(parent[kept], ends[0][kept], ends[1][kept], square[kept])]
            kept = self._winners(slot, value, kept)
        else:
            kept = np.arange(len(at))
        parent, hours = parent[kept], hours[kept]
        return self._keep(
            slot[kept], value[kept], time=s.time[parent] + hours, along=ends[0][kept],
            across=ends[1][kept], mode=s.mode[parent], row=row[kept],
            sailed=s.sailed[parent] + hours, parent=parent, square=square[kept],
        )  # fmt: skip

    def _placed(self, parent: Numbers, along: Array, across: Array) -> tuple[Numbers, Numbers]:
        """Cells and slots of places, in their parents' modes; slots are −1 where nobody goes."""
        square = self.grid.cells(along, across)
        cell = square if self.water is None else self.water.slot(square, along, across)
        number = np.where(cell >= 0, self.number[cell], -1)
        return square, np.where(number >= 0, number * self.modes + self.store.mode[parent], -1)

    def _sailed_again(
        self, parent: Numbers, along: Array, across: Array, hours: Array, row: Array
    ) -> tuple[Array, Array]:
        """Where steps end when sailed in parts, each by the wind half way along it as it is sailed.

        Until here a step was sailed by the wind half way along the old course. In a corridor it
        may end at the edge, and does.
        """
        which = np.flatnonzero(~self.leg.under_engine[self.store.mode[parent]])
        if self.leg.what.corridor is not None or not which.size:
            return along, across
        s, count = self.store, int(np.clip(np.ceil(self.step_h / PART_H - 1e-9), *PARTS))
        parent, row, part = parent[which], row[which], hours[which] / count
        mode, time = s.mode[parent], s.time[parent]
        place = np.stack((s.along[parent], s.across[parent]))
        going = (np.stack((along, across))[:, which] - place) / hours[which]
        for number in range(count):
            here = self.grid.here(*(place + 0.5 * part * going))
            time_h = self._clock_h(time + (number + 0.5) * part)
            made = self._made_good(mode, row, time_h, here)
            # Where the weather isn't known she goes on as she went.
            going = np.where(np.isfinite(made), made, going)
            place = place + part * going
        along, across = along.copy(), across.copy()
        along[which], across[which] = place
        return along, across

    def _made_good(self, mode: Numbers, row: Array, time_h: Array, here: Here) -> Array:
        """Cells an hour along and across the leg, the way time runs, shape (2, n)."""
        airs = self.leg.waters.airs(time_h, here.lat, here.lon)
        velocity = self.fans.velocities(self.leg.sail_sets[mode], row, airs)
        ground = np.stack(_over_ground(*velocity, self._turns(mode, airs)))
        return np.asarray(self.sign * here.cells_per_nm * ground)

    def _tilted(self, slot: Numbers, along: Array, across: Array) -> Array:
        """What the place within its cell adds to the guess of what remains."""
        tilt = self.tilt.take(slot, axis=0)
        aside = tilt[:, 0] * (along - np.floor(along + 0.5))
        return np.asarray(aside + tilt[:, 1] * (across - np.floor(across + 0.5)))

    def _winners(self, slot: Numbers, value: Array, at: Numbers) -> Numbers:
        """Of some states the best of each slot."""
        if not at.size:
            return at
        slots, values = slot[at], value[at]
        order = np.argsort(slots, kind="stable")
        slots, values = slots[order], values[order]
        starts = np.flatnonzero(np.append(True, slots[1:] != slots[:-1]))
        least = np.repeat(np.minimum.reduceat(values, starts), np.diff(np.append(starts, len(at))))
        best = np.flatnonzero(values == least)
        first = np.append(True, slots[best][1:] != slots[best][:-1])
        winners: Numbers = at[order[best[first]]]
        return winners

    def _keep(self, slot: Numbers, value: Array, **block: Column | float) -> Numbers:
        index = self.store.add(len(slot), slot=slot, **block)
        self.best[slot] = value
        self.holder[slot] = index
        return index

    def _clear(self, parent: Numbers, along: Array, across: Array, square: Numbers) -> BoolArray:
        """Tell which steps, from parents to new states, cross no hazard and nothing unknown."""
        s, water, hazards = self.store, self.water, self.leg.waters.hazards
        middle = self.grid.cells(0.5 * (s.along[parent] + along), 0.5 * (s.across[parent] + across))
        clear: BoolArray = np.asarray((middle < 0) | (self.number[middle] != -2))
        if self.rim is not None:
            near = np.flatnonzero(clear & (self.rim[square] | self.rim[middle]))
            clear[near] = self._known(parent[near], along[near], across[near])
        if water is None or hazards is None:
            return clear
        length = np.hypot(along - s.along[parent], across - s.across[parent])
        at = np.flatnonzero(clear & water.doubtful(s.square[parent], square, length))
        if at.size:
            begin = self.grid.places(np.column_stack((s.along[parent[at]], s.across[parent[at]])))
            end = self.grid.places(np.column_stack((along[at], across[at])))
            clear[at] = ~hazards.crossed(begin.lat, begin.lon, end.lat, end.lon)
        return clear

    def _known(self, parent: Numbers, along: Array, across: Array) -> BoolArray:
        """Whether the weather is known at the quarters and the end of steps, when they begin."""
        s = self.store
        known = np.ones(len(parent), dtype=bool)
        for share in QUARTERS:
            here = self.grid.here(
                s.along[parent] + share * (along - s.along[parent]),
                s.across[parent] + share * (across - s.across[parent]),
            )
            airs = self.leg.waters.airs(self._clock_h(s.time[parent]), here.lat, here.lon)
            known &= np.isfinite(airs.tws_kn)
        return known

    def _note_left(self, batch: Numbers, airs: Airs[Array]) -> None:
        """Note which states the stream carries off whatever they sail, while it still changes."""
        drift = np.hypot(airs.stream_east_kn, airs.stream_north_kn)
        away = np.degrees(np.arctan2(-airs.stream_east_kn, -airs.stream_north_kn)) - airs.twd_deg
        carried_off = drift > self.fans.made_good_kn(airs, away) + 1e-9
        self.carried_off |= bool(carried_off.any())
        if self.waits:
            latest_h = self.begins_h + LONGEST_WAITING * self.leg.guess_h + WAIT_H
            self.left.append(batch[carried_off & (self.store.time[batch] < latest_h)])

    # ---- straight for marks and corners -------------------------------------------------------

    def _aim(self, batch: Numbers, spread: GroundSpread, here: Here) -> Straight:
        """Sail straight for the mark where the mode can; note who arrives within the step."""
        s = self.store
        ahead, aside = self.goal[0] - s.along[batch], self.goal[1] - s.across[batch]
        far = np.maximum(np.hypot(ahead, aside), 1e-300)
        units = (ahead / far, aside / far)
        straight = straight_to(spread.state, np.arange(len(spread.state)), spread, *units)
        scale = here.cells_per_nm * (1.0 + 0.5 * here.bend * self._north(ahead, aside))
        at = straight.owner
        hours = far[at] / (straight.speed_kn * scale[at])
        # Near the mark the cone of places from which a narrow sector fetches it is narrower than a
        # cell, where whoever is earlier and can't fetch it drives out who can.
        narrow = self.leg.narrow[s.mode[batch[at]]]
        near = np.flatnonzero(hours <= np.where(narrow, NARROW_ARRIVES, 1.05) * self.step_h)
        if near.size:
            self._note_arrivals(
                batch[at[near]], s.time[batch[at[near]]] + hours[near], straight.row[near]
            )
        return straight

    def _north(self, along: Array, across: Array) -> Array:
        """How far differences in cells lead north, in cells."""
        angle = np.radians(self.leg.course.bearing_deg)
        return np.asarray(along * np.cos(angle) - across * np.sin(angle))

    def _note_arrivals(self, index: Numbers, time: Array, row: Array) -> None:
        ok = self._may_arrive(index, time)
        for number in np.unique(self.store.mode[index[ok]]):
            at = np.flatnonzero(ok & (self.store.mode[index] == number))
            first = at[np.argmin(time[at])]
            if time[first] < self.arrived.get(int(number), NOBODY).time_h:
                self.arrived[int(number)] = Arrival(
                    float(time[first]), int(index[first]), float(row[first])
                )

    def _may_arrive(self, index: Numbers, time: Array) -> BoolArray:
        """Whether the last step is free of hazards, and the weather known at its end."""
        s, hazards = self.store, self.leg.waters.hazards
        course = self.leg.course
        mark = (course.lat2, course.lon2) if self.sign > 0.0 else (course.lat1, course.lon1)
        time = self._clock_h(time)
        there = self.leg.waters.airs(time, *(np.full(len(index), value) for value in mark))
        ok = np.isfinite(there.tws_kn)
        place = self.grid.places(np.column_stack((s.along[index], s.across[index])))
        if hazards is not None:
            ok &= ~hazards.crossed(place.lat, place.lon, *mark)
        engine = self.leg.under_engine[s.mode[index]]
        if (engine & ok).any():
            airs = self.leg.waters.airs(time, place.lat, place.lon)
            ok &= ~engine | self.leg.waters.motored(airs, time, place.lat, place.lon)
        return np.asarray(ok)

    def _bend(self, batch: Numbers, spread: GroundSpread, here: Here, slow: BoolArray) -> Numbers:
        """Sail straight for corners of hazards within a step."""
        s, water = self.store, self.water
        assert water is not None
        which, corner = water.bends(s.square[batch], s.along[batch], s.across[batch])
        there = water.corners.place[corner]
        ahead, aside = there[:, 0] - s.along[batch][which], there[:, 1] - s.across[batch][which]
        far = np.maximum(np.hypot(ahead, aside), 1e-300)
        straight = straight_along(spread, which, ahead / far, aside / far)
        at = straight.owner
        scale = here.cells_per_nm[which[at]] * (
            1.0 + 0.5 * here.bend[which[at]] * self._north(ahead[at], aside[at])
        )
        hours = far[at] / (straight.speed_kn * scale)
        made = hours <= 1.05 * self.step_h
        if self.leg.what.corridor is not None:
            made &= ~self._leaves(self.leg.what.corridor, batch, here, which[at], there[at])
        at, hours = at[made], hours[made]
        place = there[at]
        return self._sailed(
            batch, which[at], place[:, 0], place[:, 1], hours, straight.row[made], slow,
            again=False,
        )  # fmt: skip

    @property
    def hours(self) -> float:
        """How long the fastest way takes. [h]."""
        best = min(self.arrived.values())
        at = best.last
        while at >= 0:
            at = int(self.store.parent[at])
        return best.time_h - self.roots[-1 - at].time_h

    def learnt(self) -> Guide:
        """What remains from every place, of a round backwards."""
        s = self.store
        kept = self.holder[self.holder >= 0]
        place = s.along[kept], s.across[kept]
        hours = s.time[kept] - self.begins_h
        return Guide.of(self.grid, place, s.mode[kept], hours, self.modes)

    # ---- ways -----------------------------------------------------------------------------------

    def ways(self) -> list[Way]:
        """Return the best way found for each mode of arrival."""
        return [self._trace(mode, found) for mode, found in sorted(self.arrived.items())]

    def _trace(self, mode: int, found: Arrival) -> Way:
        s = self.store
        chain = [found.last]
        while s.parent[chain[-1]] >= 0:
            chain.append(int(s.parent[chain[-1]]))
        root = -1 - int(s.parent[chain[-1]])
        chain.reverse()
        at = np.array(chain)
        places = self.grid.places(np.column_stack((s.along[at], s.across[at])))
        modes = np.append(s.mode[at], mode)
        # The start is itself, to the last digit.
        lat = np.concatenate(([self.leg.course.lat1], places.lat[1:], [self.leg.course.lat2]))
        lon = np.concatenate(([self.leg.course.lon1], places.lon[1:], [self.leg.course.lon2]))
        lon[-1] += 360.0 * np.round((lon[-2] - lon[-1]) / 360.0)
        time = np.append(s.time[at], found.time_h)
        row = np.append(s.row[at], found.row)
        parts = tuple(stretches_of(modes, lat, lon, time, row))
        return Way(root, self.leg.roots[root].mode, parts, found.time_h)


def _over_ground(ahead: Array, aside: Array, turns: Array) -> tuple[Array, Array]:
    """Velocities over the ground, along and across the leg, by what `Round._turns` tells."""
    cos, sin, side_sin, side_cos, stream_along, stream_across = turns
    along = ahead * cos - aside * side_sin + stream_along
    return along, ahead * sin + aside * side_cos + stream_across


def _waterways(hazards: Hazards | None, grid: Grid) -> Waterways | None:
    """Draw hazards into a grid; None if it holds none."""
    if hazards is None:
        return None
    from goosewing.hazards.free_water import waterways

    shores = _shores(hazards, grid)
    return waterways(shores, grid.shape, grid.allowed) if shores else None


def _shores(hazards: Hazards, grid: Grid) -> list[Any]:
    """Return what may not be met, in a grid's cells."""
    import shapely

    start = np.array([grid.course.lon1, float(geodesy.isometric_latitude(grid.course.lat1))])
    frame = (np.array(grid.shape) - np.array([grid.ahead, grid.aside])).max() * grid.cell_deg
    reach = 1.5 * max(frame, grid.ahead * grid.cell_deg, grid.aside * grid.cell_deg)
    near = hazards.shapes_in(np.concatenate((start - reach, start + reach)))
    return list(shapely.transform(near, lambda plane: grid.from_plane(plane - start)))


def _about(grid: Grid, cells: Numbers) -> BoolArray:
    """Cells and those beside them, shape (cells,)."""
    from scipy.ndimage import maximum_filter

    mask = np.zeros(grid.shape, dtype=np.uint8)
    mask.ravel()[cells] = 1
    return np.asarray(maximum_filter(mask, size=3, mode="constant").ravel() > 0)
