"""A search of our own for passages among a few islands in wind that changes with time alone.

It knows nothing of the planner's: labels are set on a lattice, time slice by time slice, for every
place and mode (tack and sail set), along straight lines in some two hundred directions; what that
finds is then a chain of places and modes, whose places are moved about, each as little as a few
metres, as long as the chain gets faster. Every chain can be sailed as it stands, so that its time
is never less than the least one; how much more it is, is told by lattices of another mesh and
another slant (`Found.spread`). Boats' speeds are those of `goosewing.velocities`, manoeuvres
cost what the boat file says, and land is shapely's.

Everything lies within a quarter of a degree of the equator, where a mile is as long everywhere to
one part in 1e5: places here are miles east and north of A.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import shapely

from goosewing.boat.manoeuvres import all_modes
from goosewing.velocities.velocity_set import Airs, velocity_set
from goosewing.weather.base import hours_from_datetime

NORTH_NM, EAST_NM = 59.7052, 60.1077
"""Miles in a degree of latitude and of longitude at the equator, WGS 84."""

NM = 1852.0
MESHES = (0.012, 0.0105)
SLANTS = (0.35, 1.0)
"""Lattices looked at: the mesh as a share of the leg, the slant. [nm/nm, radians]"""

APART_DEG = 1.7
FARTHEST = 22
"""Directions lie so far apart at least, and lead at most so many meshes on."""

TICK_H = 1.0 / 60.0
COURSE_DEG = 0.5
KNOTS = 0.25
"""Between these steps speeds are interpolated linearly."""

STRIDE_H = 0.06
"""A straight line is sailed in midpoint steps of about this time. [h]"""

WIDEST = 1.35
"""Places on an ellipse whose points are together so many legs from both marks."""

NEAR = 1.015
MOST_CHAINS = 6
"""Of chains no slower than this by the lattice, so many are moved about."""


class Chain(NamedTuple):
    """Places in miles, and the mode of each line between them."""

    hours: float
    places: list[tuple[float, float]]
    modes: list[int]


class Found(NamedTuple):
    """The fastest chain, and how much slower the best of the worst lattice is. [1]"""

    best: Chain
    spread: float


@dataclass(eq=False)
class Speeds:
    """Speed over the ground on any course at any time in any mode."""

    boat: object
    weather: object
    departure: object
    hours: float

    def __post_init__(self):
        assert self.boat.polar_height_m == 10.0
        self.modes = all_modes(self.boat)
        begin = hours_from_datetime(self.departure)
        ticks = np.arange(0.0, self.hours, TICK_H)
        here = self.weather.at(begin + ticks, np.zeros(len(ticks)), np.zeros(len(ticks)))
        east, north = np.asarray(here.wind_east_kn), np.asarray(here.wind_north_kn)
        self.twd = np.degrees(np.arctan2(-east, -north))
        tws = np.hypot(east, north)
        first = math.floor(tws.min() / KNOTS)
        whole = self._tables(KNOTS * np.arange(first, math.ceil(tws.max() / KNOTS) + 2))
        low = np.floor(tws / KNOTS).astype(int) - first
        part = (tws / KNOTS - low - first)[:, np.newaxis]
        by_wind = whole[:, low] * (1.0 - part) + whole[:, low + 1] * part
        # Courses off the wind become courses, tick by tick.
        courses = np.arange(0.0, 360.0, COURSE_DEG)
        off = np.mod(courses - self.twd[:, np.newaxis], 360.0) / COURSE_DEG
        at = np.floor(off).astype(int)
        part = off - at
        count = len(courses)
        tick = np.arange(len(ticks))[:, np.newaxis]
        one, other = by_wind[:, tick, at % count], by_wind[:, tick, (at + 1) % count]
        self.table = np.where((one > 0.0) & (other > 0.0), one * (1.0 - part) + other * part, 0.0)
        self.quick = self.table.tolist()

    def _tables(self, knots):
        """Speed by mode, wind and course off the wind; 0 where she can't go. Wind from north."""
        courses = np.arange(0.0, 360.0, COURSE_DEG)
        tables = np.zeros((len(self.modes), len(knots), len(courses)))
        for row, tws in enumerate(knots):
            held = velocity_set(self.boat, Airs(0.0, float(tws)))
            for mode in range(len(self.modes)):
                of = held.mode == mode
                if not of.any():
                    continue
                course = np.degrees(np.arctan2(held.east_kn[of], held.north_kn[of]))
                # Port tack's courses are to the right of the wind, and a little beyond the run.
                side = self.modes[mode].side
                course = np.mod(side * course, 360.0)
                order = np.argsort(course)
                speed = np.hypot(held.east_kn[of], held.north_kn[of])[order]
                wanted = np.mod(side * courses, 360.0)
                tables[mode, row] = np.interp(wanted, course[order], speed, left=0.0, right=0.0)
        return tables

    def at(self, mode, time_h, course_deg):
        """Speed at one time on one course; 0 where she can't go."""
        tick = time_h / TICK_H
        k = int(tick)
        part = tick - k
        turn = (course_deg % 360.0) / COURSE_DEG
        j = int(turn)
        share = turn - j
        rows = self.quick[mode]
        if k + 1 >= len(rows):
            return 0.0
        count = len(rows[0])
        j, i = j % count, (j + 1) % count
        a, b, c, d = rows[k][j], rows[k][i], rows[k + 1][j], rows[k + 1][i]
        if a <= 0.0 or b <= 0.0 or c <= 0.0 or d <= 0.0:
            return 0.0
        one, other = a + (b - a) * share, c + (d - c) * share
        return one + (other - one) * part

    def on(self, courses_deg):
        """Tables over time on given courses, which a degree aside can be held as well.

        Returns shape (modes, ticks, courses): so the chain found can be sailed when it is begun
        some seconds later than the lattice has it.
        """
        off = np.mod(courses_deg, 360.0) / COURSE_DEG
        at = np.floor(off).astype(int)
        part, count = off - at, self.table.shape[2]
        one, other = self.table[:, :, at % count], self.table[:, :, (at + 1) % count]
        held = np.all([self.table[:, :, (at + k) % count] > 0.0 for k in range(-2, 4)], axis=0)
        return np.where(held, one * (1.0 - part) + other * part, 0.0)


@dataclass(eq=False)
class Passage:
    """What is looked for: from (0, 0) to an end, in miles, clear of land."""

    speeds: Speeds
    end: tuple[float, float]
    land: object
    """Shapely's, in miles, grown by the clearance."""

    def __post_init__(self):
        shapely.prepare(self.land)
        costs = self.speeds.boat.manoeuvres
        self.tack_h, self.gybe_h = costs.tack_s / 3600.0, costs.gybe_s / 3600.0
        self.set_h, self.strike_h = costs.set_pole_s / 3600.0, costs.strike_pole_s / 3600.0
        self.sails_h = costs.change_sails_s / 3600.0
        assert costs.tack_s + 40.0 >= costs.gybe_s, "here nobody tacks round instead of gybing"

    @property
    def length(self):
        return math.hypot(*self.end)

    def cost_h(self, before, after, *, tacking):
        """What a change of mode takes: strike, turn, set or change (as `Manoeuvres` is read)."""
        one, other = self.speeds.modes[before], self.speeds.modes[after]
        if one == other:
            return 0.0
        whole = self.strike_h if one.poled else 0.0
        if one.tack != other.tack:
            whole += self.tack_h if tacking else self.gybe_h
        if other.poled:
            whole += self.set_h
        elif one.sail_set != other.sail_set and not one.poled:
            whole += self.sails_h
        return whole

    def clear(self, one, other):
        return not self.land.intersects(shapely.LineString((one, other)))

    # ---- a chain, sailed ------------------------------------------------------------------

    def sailed(self, time_h, mode, one, other):
        """When a straight line ends, and the course; inf where she can't hold it."""
        east, north = other[0] - one[0], other[1] - one[1]
        length = math.hypot(east, north)
        course = math.degrees(math.atan2(east, north))
        speed = self.speeds.at(mode, time_h, course)
        if speed <= 0.0:
            return math.inf, course
        strides = 1 + int(length / speed / STRIDE_H)
        stride = length / strides
        for _ in range(strides):
            first = self.speeds.at(mode, time_h, course)
            if first <= 0.0:
                return math.inf, course
            middle = self.speeds.at(mode, time_h + 0.5 * stride / first, course)
            if middle <= 0.0:
                return math.inf, course
            time_h += stride / middle
        return (time_h if self.speeds.at(mode, time_h, course) > 0.0 else math.inf), course

    def hours(self, places, modes):
        """How long a chain takes; inf where it can't be sailed."""
        time_h, twa = 0.0, 0.0
        for at, (mode, (one, other)) in enumerate(zip(modes, pairwise(places), strict=True)):
            course = math.degrees(math.atan2(other[0] - one[0], other[1] - one[1]))
            off = self._off(time_h, course)
            if at and mode != modes[at - 1]:
                time_h += self.cost_h(modes[at - 1], mode, tacking=twa + off < 180.0)
            time_h, _ = self.sailed(time_h, mode, one, other)
            if not time_h < math.inf:
                return math.inf
            twa = self._off(time_h, course)
        return time_h

    def _off(self, time_h, course):
        twd = self.speeds.twd[min(round(time_h / TICK_H), len(self.speeds.twd) - 1)]
        return abs((course - twd + 180.0) % 360.0 - 180.0)

    # ---- the lattice ----------------------------------------------------------------------

    def lattice(self, mesh, slant):
        """Find the fastest chain over a lattice for each mode of arrival."""
        count = math.ceil(self.length / mesh)
        mesh = self.length / count
        bearing = math.atan2(self.end[1], self.end[0])
        # A row of the lattice from mark to mark, the others stretched: marks lie on it.
        along = np.array([math.cos(bearing), math.sin(bearing)]) * mesh
        aside = np.array([math.cos(bearing + slant + 0.5), math.sin(bearing + slant + 0.5)])
        aside = aside * mesh / math.sin(slant + 0.5)
        wide = math.ceil(0.5 * self.length * math.sqrt(WIDEST**2 - 1.0) / mesh) + 1
        slip = math.ceil(wide / math.tan(slant + 0.5)) if slant + 0.5 < math.pi / 2 else 0
        spare = math.ceil(0.5 * (WIDEST - 1.0) * count) + abs(slip)
        i, j = np.meshgrid(
            np.arange(-spare, count + spare + 1), np.arange(-wide, wide + 1), indexing="ij"
        )
        shape = i.shape
        at = i[..., np.newaxis] * along + j[..., np.newaxis] * aside
        at = at.reshape(-1, 2)
        ends = np.hypot(*at.T) + np.hypot(*(at - self.end).T)
        good = (ends <= WIDEST * self.length) & ~shapely.intersects_xy(
            self.land, at[:, 0], at[:, 1]
        )
        start = int(np.ravel_multi_index((spare, wide), shape))
        mark = int(np.ravel_multi_index((spare + count, wide), shape))
        good[[start, mark]] = True
        steps = _directions(along, aside)
        runs = steps @ np.stack((along, aside))
        to, free = self._edges(at, good, shape, steps, runs)
        return self._labels(at, to, free, runs, start, mark)

    def _edges(self, at, good, shape, steps, runs):
        ij = np.stack(np.unravel_index(np.arange(len(at)), shape), axis=1)
        to = np.zeros((len(at), len(steps)), dtype=int)
        free = np.zeros(to.shape, dtype=bool)
        for number, (step, run) in enumerate(zip(steps, runs, strict=True)):
            there = ij + step
            inside = np.flatnonzero(np.all((there >= 0) & (there < shape), axis=1) & good)
            index = np.ravel_multi_index(tuple(there[inside].T), shape)
            inside, index = inside[good[index]], index[good[index]]
            lines = shapely.linestrings(np.stack((at[inside], at[inside] + run), axis=1))
            to[inside, number] = index
            free[inside, number] = ~shapely.intersects(self.land, lines)
        return to, free

    def _labels(self, at, to, free, runs, start, mark):
        modes = range(len(self.speeds.modes))
        lengths = np.hypot(*runs.T)
        courses = np.degrees(np.arctan2(runs[:, 0], runs[:, 1]))
        table = self.speeds.on(courses)
        last = table.shape[1] - 2
        # A slice is no longer than the shortest move: nothing in it leads to anything else in it.
        slice_h = float(lengths.min() / table.max())
        costs = np.array([[
            min(self.cost_h(a, b, tacking=True), self.cost_h(a, b, tacking=False)) for b in modes
        ] for a in modes])  # fmt: skip
        best = np.full((len(at), len(modes)), np.inf)
        best[start] = 0.0
        came = np.full((len(at), len(modes)), -1)
        done = np.zeros(best.shape, dtype=bool)
        now, bound = 0.0, np.inf
        numbers = np.arange(len(runs))[np.newaxis, :]
        while now < bound and now < (last - 1) * TICK_H:
            node, mode = np.nonzero((best < now + slice_h) & ~done)
            done[node, mode] = True
            for after in modes if len(node) else ():
                leave = best[node, mode] + np.where(node == start, 0.0, costs[mode, after])
                begin = leave[:, np.newaxis] / TICK_H
                reached, can = self._ahead(table[after], begin, lengths, numbers, last)
                there, open_ = to[node], free[node] & can
                which, by = np.nonzero(open_)
                target, when = there[which, by], reached[which, by]
                better = when < best[target, after]
                which, target, when = which[better], target[better], when[better]
                order = np.argsort(-when, kind="stable")
                which, target, when = which[order], target[order], when[order]
                best[target, after] = when
                came[target, after] = node[which] * len(modes) + mode[which]
            now += slice_h
            bound = NEAR * best[mark].min()
        near = np.flatnonzero(best[mark] <= min(NEAR * best[mark].min(), last * TICK_H))
        return [
            self._chain(at, came, start, mark, mode, best[mark, mode]) for mode in near.tolist()
        ]

    @staticmethod
    def _ahead(table, begin, lengths, numbers, last):
        """When each line ends that is begun at a tick and a bit; and whether it can be held."""

        def speed(tick):
            k = np.minimum(tick, last).astype(int)
            one, other = table[k, numbers], table[k + 1, numbers]
            between = one + (other - one) * (np.minimum(tick, last) - k)
            return np.where((one > 0.0) & (other > 0.0) & (tick < last), between, 0.0)

        with np.errstate(divide="ignore"):
            first = speed(begin)
            middle = speed(begin + 0.5 * lengths / first / TICK_H)
            end = begin + lengths / middle / TICK_H
        return end * TICK_H, (first > 0.0) & (middle > 0.0) & (speed(end) > 0.0)

    def _chain(self, at, came, start, mark, mode, hours):
        places, modes, here = [tuple(at[mark])], [], (mark, mode)
        count = len(self.speeds.modes)
        while here[0] != start:
            modes.append(here[1])
            here = divmod(int(came[here]), count)
            places.append(tuple(at[here[0]]))
        return Chain(float(hours), places[::-1], modes[::-1])

    # ---- moving its places about -----------------------------------------------------------

    def tidied(self, chain, *, seed=0):
        """Leave out what isn't needed and move places about, as long as the chain gets faster."""
        rng = np.random.default_rng(seed)
        places, modes = list(chain.places), list(chain.modes)
        hours = self.hours(places, modes)
        if hours == math.inf:
            return Chain(hours, places, modes)
        step = 0.02 * self.length
        while step > 2.0 / NM:
            places, modes, hours = self._without(*self._exchanged(places, modes, hours))
            before = hours
            places, hours = self._moved(places, modes, hours, step, rng)
            if before - hours < 2e-5 * hours:
                step *= 0.5
        return Chain(hours, places, modes)

    def _exchanged(self, places, modes, hours):
        """Sail two lines the other way about, where that is faster: for one, with fewer turns."""
        for at in range(1, len(places) - 1):
            one, here, other = places[at - 1 : at + 2]
            there = (one[0] + other[0] - here[0], one[1] + other[1] - here[1])
            trial = [*places[:at], there, *places[at + 1 :]]
            swapped = [*modes[: at - 1], modes[at], modes[at - 1], *modes[at + 1 :]]
            found = self.hours(trial, swapped)
            if found < hours and self.clear(one, there) and self.clear(there, other):
                places, modes, hours = trial, swapped, found
        return places, modes, hours

    def _without(self, places, modes, hours):
        """Leave out places, and with them the board before or behind, where that is no slower."""
        at = 1
        while at < len(places) - 1:
            fewer = [*places[:at], *places[at + 1 :]]
            trials = []
            if self.clear(places[at - 1], places[at + 1]):
                for mode in dict.fromkeys((modes[at - 1], modes[at])):
                    held = [*modes[: at - 1], mode, *modes[at + 1 :]]
                    trials.append((self.hours(fewer, held), held))
            found, held = min(trials, default=(math.inf, modes))
            if found <= hours:
                places, modes, hours = fewer, held, found
            else:
                at += 1
        return places, modes, hours

    def _moved(self, places, modes, hours, step, rng):
        """Move each place, and each board as a whole, a step in each of eight directions."""
        inner = range(1, len(places) - 1)
        groups = [(at, at + 1) for at in inner] + [
            (at, other + 1)
            for at in inner
            for other in range(at + 1, len(places) - 1)
            if len(set(modes[at:other])) == 1
        ]
        for at, end in groups:
            for turn in rng.uniform(0.0, 0.25 * math.pi) + 0.25 * math.pi * np.arange(8):
                east, north = step * math.cos(turn), step * math.sin(turn)
                there = [(x + east, y + north) for x, y in places[at:end]]
                trial = [*places[:at], *there, *places[end:]]
                found = self.hours(trial, modes)
                if found < hours and all(map(self.clear, trial[at - 1 : end], trial[at : end + 1])):
                    places, hours = trial, found
        return places, hours

    def fastest(self):
        """Look on every lattice; the best chain of all, and what the worst of them lost."""
        found = []
        for mesh, slant in zip(MESHES, SLANTS, strict=True):
            chains = sorted(self.lattice(mesh * self.length, slant))[:MOST_CHAINS]
            if chains:
                found.append(min(self.tidied(chain) for chain in chains))
        best = min(found)
        return Found(best, max(each.hours for each in found) / best.hours - 1.0)


def _directions(along, aside):
    """Steps of the lattice, the shortest in each direction, well spread over the compass."""
    i, j = np.meshgrid(*(2 * (np.arange(-FARTHEST, FARTHEST + 1),)), indexing="ij")
    steps = np.stack((i.ravel(), j.ravel()), axis=1)
    steps = steps[np.gcd(steps[:, 0], steps[:, 1]) == 1]
    runs = steps @ np.stack((along, aside))
    order = np.argsort(np.hypot(*runs.T), kind="stable")
    kept, taken = [], np.empty(0)
    for number in order:
        turn = math.degrees(math.atan2(*runs[number]))
        if taken.size == 0 or np.min(np.abs((taken - turn + 180.0) % 360.0 - 180.0)) >= APART_DEG:
            kept.append(number)
            taken = np.append(taken, turn)
    return steps[kept]
