r"""Changing weather cut into spells that differ little within themselves, and what they bound.

Among islands by the thousand boards are pinned to corners, and what is looked for is a chain
of them (`goosewing.steady.pinned_boards`). In one spell a boat holds one set of velocities.
What a boat can reach in open water by a time is then the sum of the spells' hulls, each as
often as it lasts: a place :math:`D` from the start is reached no sooner than

.. math:: \max_u \min \{ t : u \cdot D \le \int_0^t h_s(u)\,\mathrm{d}s \},

:math:`h_s` being the support function of the velocities at the time. No turn is paid for
in it, and no island gone round.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.changing.motion import BY_THE_LEE_DEG, SAME_ANGLE_DEG
from goosewing.changing.shooting import limits_deg
from goosewing.earth import geodesy
from goosewing.velocities.travel_time import Gauge
from goosewing.velocities.velocity_set import Airs, VelocitySet, velocity_set

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.changing.motion import Waters
    from goosewing.earth.course import Course
    from goosewing.units import Array, BoolArray

    Numbers = NDArray[np.intp]

LOOKS = 96
"""So often the weather is looked at on the way."""

LOOKED = 1.6
"""In guesses of the leg's hours: how long."""

TURNED_DEG = 3.0
CHANGED = 0.1
SET_KN = 0.3
"""A wind that has turned or changed by more, or another stream, begins a new spell."""

MOST_SPELLS = 16
COARSER, COARSEST = 1.4, 30.0
"""Where there would be more spells, changes count when they are so many times larger, at most."""

DIRECTIONS = 48
LONG_SIDE_RAD = 0.1

CELLS = 90
"""Rows and columns of the table of times."""

NEARLY_FASTEST = 2e-3
"""Ways slower by this share count a third of the fastest for their middle,"""

PLACES = 12
"""which is drawn through so many places."""

LEAST_KN = 1e-3


class Spell(NamedTuple):
    """A time of nearly the same weather."""

    begin_h: float
    end_h: float
    """Infinite, of the last. [h]"""
    held: VelocitySet


def spells(waters: Waters, course: Course, start_h: float, hours: float) -> list[Spell]:
    """Cut the weather into spells, where she may be about then.

    Parameters
    ----------
    waters : Waters
    course : Course
    start_h : float
        When she sets out. [h]
    hours : float
        A guess of how long she takes. [h]

    Returns
    -------
    list of Spell
        One after the other, without what the weather doesn't know; perhaps none.
    """
    after = np.linspace(0.0, LOOKED * hours, LOOKS)
    share = np.minimum(after / hours, 1.0)
    at = geodesy.loxodrome_direct(
        course.lat1, course.lon1, course.bearing_deg, share * course.distance_nm
    )
    airs = waters.airs(start_h + after, at.lat, at.lon)
    poles = waters.pole_allowed(start_h + after, at.lat, at.lon)
    known = int(np.argmin(np.append(np.isfinite(airs.tws_kn), False)))
    if not known:
        return []
    coarser = 1.0
    cuts = _cuts(airs, poles, known, coarser)
    while len(cuts) > MOST_SPELLS and coarser < COARSEST:
        # Nights in which no pole is set stay what they are.
        coarser *= COARSER
        cuts = _cuts(airs, poles, known, coarser)
    found = []
    for first, until in zip(cuts, [*cuts[1:], known], strict=True):
        middle = (first + until - 1) // 2
        held = velocity_set(waters.boat, Airs(*(float(values[middle]) for values in airs)))
        end = start_h + float(after[until]) if until < known else np.inf
        if not poles[first:until].all():
            held = _without_poles(held)
        wind = airs.twd_deg[first : until + 1 if until < known else until]
        held = _kept_to(waters, held, np.asarray(geodesy.wrap_180(wind - airs.twd_deg[middle])))
        found.append(Spell(start_h + float(after[first]), end, held))
    return found


def _cuts(airs: Airs[Array], poles: BoolArray, known: int, coarser: float) -> list[int]:
    """Looks at which another spell begins."""
    cuts = [0]
    for at in range(1, known):
        first = cuts[-1]
        turned = abs(float(geodesy.wrap_180(airs.twd_deg[at] - airs.twd_deg[first])))
        faster = abs(float(airs.tws_kn[at]) - float(airs.tws_kn[first]))
        set_kn = np.hypot(
            airs.stream_east_kn[at] - airs.stream_east_kn[first],
            airs.stream_north_kn[at] - airs.stream_north_kn[first],
        )
        if (
            turned > coarser * TURNED_DEG
            or faster > coarser * CHANGED * max(float(airs.tws_kn[first]), 1.0)
            or set_kn > coarser * SET_KN
            or poles[at] != poles[first]
        ):
            cuts.append(at)
    return cuts


def _kept_to(waters: Waters, held: VelocitySet, turned_deg: Array) -> VelocitySet:
    """Leave out headings that the wind, as it turns, brings out of their sectors or by the lee."""
    limits = [limits_deg(waters, mode.sail_set) for mode in held.modes]
    low, high = np.array(limits)[held.mode].T
    high = np.where(high >= 180.0, 180.0 + BY_THE_LEE_DEG, high)
    side = np.array([mode.side for mode in held.modes])[held.mode]
    bows = held.twa_deg[:, np.newaxis] - side[:, np.newaxis] * turned_deg
    # An angle at the edge of its sector is sailed as such, where the wind stays.
    least, most = bows.min(axis=1) >= low - SAME_ANGLE_DEG, bows.max(axis=1) <= high
    return held.some(np.flatnonzero(least & most))


def _without_poles(held: VelocitySet) -> VelocitySet:
    poled = np.array([mode.poled for mode in held.modes])[held.mode]
    return held.some(np.flatnonzero(~poled))


@dataclass(frozen=True, eq=False)
class Reach:
    """How soon places are reached in open water, spell after spell, and the mark from there."""

    start: Array
    mark: Array
    """In the plane, shape (2,). [°]"""
    box: Array
    """Where times are tabulated. [°]"""
    knots_h: Array
    """When spells begin, from the first on, shape (k,). [h]"""
    support: Array
    """How far towards each direction she may be by then, shape (k, u). [nm]"""
    last: Array
    """How fast she goes on towards each in the last spell, shape (u,). [kn]"""
    towards: Array
    """Shape (u, 2): unit vectors."""
    scale_at_ends: float
    """Of the plane, the lesser of start and mark. [nm/°]"""

    @classmethod
    def of(cls, weather: list[Spell], leg: Array, box: Array) -> Reach:
        """Sum up spells over a leg and a box about it, as `Hazards.in_plane` draws them."""
        # Across what only mixes make good one direction tells, and none beside it nearly as well.
        towards = np.concatenate((all_round(), *(_normals(spell.held) for spell in weather)))
        fastest = np.stack([support_kn(spell.held, towards) for spell in weather])
        knots = np.array([spell.begin_h for spell in weather]) - weather[0].begin_h
        gained = np.diff(knots)[:, np.newaxis] * fastest[:-1]
        support = np.concatenate((np.zeros((1, len(towards))), np.cumsum(gained, axis=0)))
        ends = geodesy.latitude_from_isometric(leg[[1, 3]])
        scale = float(np.min(geodesy.miles_per_degree(ends)))
        return cls(leg[:2], leg[2:], box, knots, support, fastest[-1], towards, scale)

    def behind(self, at: Array) -> Array:
        """Return less than the time from the start to places, shape (n, 2); shape (n,). [h]."""
        return self._soonest(self._off(at - self.start, at), 0.0)

    def ahead(self, at: Array) -> Array:
        """Return less than the time from places to the mark, reached as soon as can be. [h]."""
        begun = self.behind(at)
        done = np.stack([self._by(begun, column) for column in range(len(self.towards))], axis=1)
        reached = self._soonest(self._off(self.mark - at, at) + done, begun)
        return np.asarray(reached - begun)

    def roughly(self, at: Array) -> tuple[Array, Array]:
        """Return about the times from the start to places and on to the mark, by a table."""
        low, high = self.box[:2], self.box[2:]
        where = np.clip((at - low) / (high - low), 0.0, 1.0) * (CELLS - 1)
        first = np.minimum(where.astype(np.intp), CELLS - 2)
        (x, y), (i, j) = (where - first).T, first.T
        weights = (1.0 - x) * (1.0 - y), x * (1.0 - y), (1.0 - x) * y, x * y
        corners = (i, j), (i + 1, j), (i, j + 1), (i + 1, j + 1)
        there, on = (
            sum(w * table[c] for w, c in zip(weights, corners, strict=True))
            for table in self._tables
        )
        return np.asarray(there), np.asarray(on)

    def aside(self, at: Array) -> Array:
        """Return how far places lie off the middle of the fastest ways, in degrees."""
        spine = self._spine
        least = np.full(len(at), np.inf)
        for low, along in zip(spine[:-1], np.diff(spine, axis=0), strict=True):
            x, y = at[:, 0] - low[0], at[:, 1] - low[1]
            square = max(float(along @ along), 1e-30)
            share = np.clip((x * along[0] + y * along[1]) / square, 0.0, 1.0)
            x -= share * along[0]
            y -= share * along[1]
            np.minimum(least, x * x + y * y, out=least)
        return np.asarray(np.sqrt(least))

    @cached_property
    def _tables(self) -> tuple[Array, Array]:
        """Of the times from the start and to the mark, shape (rows, columns)."""
        at = self._cells
        behind, ahead = (each.reshape(CELLS, CELLS) for each in (self.behind(at), self.ahead(at)))
        return behind, ahead

    @property
    def _cells(self) -> Array:
        low, high = self.box[:2], self.box[2:]
        east, north = (np.linspace(low[k], high[k], CELLS) for k in (0, 1))
        return np.stack(np.meshgrid(east, north, indexing="ij"), axis=2).reshape(-1, 2)

    @cached_property
    def _spine(self) -> Array:
        """The middle of the ways that are nearly the fastest, from start to mark, shape (p, 2)."""
        there, on = (table.ravel() for table in self._tables)
        least = float(np.min(there + on))
        slower = (there + on) / least - 1.0
        middles = [
            np.average(self._cells, axis=0, weights=np.exp(
                -slower / NEARLY_FASTEST - 0.5 * ((there / least - share) * PLACES) ** 2
            ))
            for share in np.arange(1, PLACES) / PLACES
        ]  # fmt: skip
        return np.array([self.start, *middles, self.mark])

    def _off(self, run: Array, at: Array) -> Array:
        """Miles towards each direction, shape (n, u), no more than they are."""
        scale = geodesy.miles_per_degree(geodesy.latitude_from_isometric(at[:, 1]))
        nm = np.minimum(scale, self.scale_at_ends)[:, np.newaxis] * run
        return np.asarray(nm @ self.towards.T)

    def _soonest(self, off: Array, least: Array | float) -> Array:
        """When she can have gone so far in all directions, shape (n,)."""
        found = np.zeros(len(off)) + least
        beyond = np.maximum(self.last, LEAST_KN)
        for column in range(len(self.towards)):
            by = np.maximum.accumulate(self.support[:, column])
            hours = np.interp(off[:, column], by, self.knots_h)
            hours += np.maximum(off[:, column] - by[-1], 0.0) / beyond[column]
            found = np.maximum(found, hours)
        return found

    def _by(self, time_h: Array, column: int) -> Array:
        """How far towards a direction she may be by times."""
        by = np.interp(time_h, self.knots_h, self.support[:, column])
        return np.asarray(by + np.maximum(time_h - self.knots_h[-1], 0.0) * self.last[column])


def all_round() -> Array:
    """Return directions all round, shape (DIRECTIONS, 2): unit vectors."""
    angle = np.linspace(0.0, 2.0 * np.pi, DIRECTIONS, endpoint=False)
    return np.column_stack((np.cos(angle), np.sin(angle)))


def _normals(held: VelocitySet) -> Array:
    """Directions across the long sides of a hull, shape (s, 2)."""
    gauge = Gauge.of(held)
    normal = gauge.normal[gauge.span_rad > LONG_SIDE_RAD]
    return np.asarray(normal / np.maximum(np.hypot(*normal.T), 1e-12)[:, np.newaxis])


def support_kn(held: VelocitySet, towards: Array) -> Array:
    """Return how fast velocities make good directions at most, shape (u,); 0 if there are none."""
    if not len(held):
        return np.zeros(len(towards))
    return np.asarray(np.max(towards @ np.stack((held.east_kn, held.north_kn)), axis=1))
