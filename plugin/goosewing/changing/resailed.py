"""Ways of the search sailed once more, exactly.

The search moves its states by few parts of a step, and by tables. Here every step of a way
is integrated as the helm would sail it, one angle to the wind held, and angle and hours
are corrected until it ends where the next one begins (Newton's method, all steps of all
ways at once, each begun as much later as those before it take longer). What an angle at
the edge of its sector can't correct is spread over the steps that can, and the last one
ends at the mark.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.changing.motion import degrees_per_hour
from goosewing.earth import geodesy
from goosewing.velocities.velocity_set import Airs

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.changing.motion import Waters
    from goosewing.units import Array, BoolArray

    Numbers = NDArray[np.intp]

STEP_H = 0.25
"""Longest step of the integration, second order: as the boards are polished. [h]"""

ROUNDS = 20
NUDGE_DEG, LONGER, NUDGE_H = 0.2, 0.01, 0.05
LEAST_H = 1e-6
_TURNED, _LONGER, _LATER = np.eye(4)[1:, :, np.newaxis]
"""Every step as it is, turned, longer and later, shape (4, 1)."""

LARGEST_TURN_DEG = 6.0
"""No round changes an angle by more."""

LONGEST_CHANGE = 1.6
"""Nor hours by a larger factor."""

CLOSE_ENOUGH_DEG = 0.5 / 1852.0 / 60.0
"""Half a metre."""

CREEPING_KN = 0.4
"""Slower than that a step is sailed for its hours, wherever it then ends."""


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """Steps of several ways, way by way; arrays of shape (n,).

    Attributes
    ----------
    way : ndarray of int
        To which way each belongs, ascending.
    start_h : ndarray
        When that way begins. [h]
    pause_h : ndarray
        What passes before the step. [h]
    lat, lon, to_lat, to_lon : ndarray
        Where it begins and ends; each begins where the one before ends. [°]
    """

    way: Numbers
    mode: Numbers
    row_deg: Array
    hours: Array
    pause_h: Array
    start_h: Array
    lat: Array
    lon: Array
    to_lat: Array
    to_lon: Array

    def of(self, way: int) -> Steps:
        """The steps of one way."""
        own = self.way == way
        return Steps(*(getattr(self, name)[own] for name in self.__slots__))

    @property
    def firsts(self) -> Numbers:
        """The first step of each way."""
        return np.flatnonzero(np.append(True, self.way[1:] != self.way[:-1]))

    @property
    def begins_h(self) -> Array:
        """When each step begins. [h]."""
        return self.start_h + self.summed(self.pause_h + self.hours) - self.hours

    def summed(self, values: Array) -> Array:
        """Sums of values along each way, each step's own included."""
        total = np.cumsum(values)
        before = (total - values)[self.firsts]
        return np.asarray(total - before[self._nth])

    @property
    def _nth(self) -> Numbers:
        return np.cumsum(np.append(True, self.way[1:] != self.way[:-1])) - 1

    def spread(self, totals: Array, shares: Array) -> Array:
        """Spread a total of each way over its steps by their shares."""
        of_way = np.add.reduceat(shares, self.firsts)
        per_share = np.divide(totals, of_way, out=np.zeros_like(totals), where=of_way > 0.0)
        return np.asarray(shares * per_share[self._nth])

    def totals(self, values: Array) -> Array:
        """Sums of values over each way, shape (ways,)."""
        return np.asarray(np.add.reduceat(values, self.firsts))


class _Effects(NamedTuple):
    """How far a degree, an hour more and an hour later move a step's end; shape (2, n) each."""

    row: Array
    hours: Array
    begun: Array


class _Ends(NamedTuple):
    lon: Array
    north: Array
    """Isometric latitude. [°]"""
    possible: BoolArray


def resailed(waters: Waters, steps: Steps) -> tuple[Steps, BoolArray]:
    """Correct angles and hours until every step ends where the next begins.

    Parameters
    ----------
    waters : Waters
    steps : Steps
        As the search found them.

    Returns
    -------
    steps : Steps
        Exact: `hours`, `row_deg` and places corrected.
    exact : ndarray of bool, shape (ways,)
        Whether a way came out so, its sails carried all along.
    """
    if not len(steps.way):
        return steps, np.zeros(0, dtype=bool)
    return _Correction(waters, steps).run()


class _Correction:
    """The rounds of one correction; places are kept in the Mercator plane."""

    def __init__(self, waters: Waters, steps: Steps) -> None:
        self.waters, self.steps = waters, steps
        self.row, self.hours = steps.row_deg.copy(), steps.hours.copy()
        limits = [_limits(waters, number) for number in range(len(waters.modes))]
        self.low, self.high = np.array(limits)[steps.mode].T
        self.row = np.clip(self.row, self.low, self.high)
        self.lon, self.to_lon = steps.lon.copy(), steps.to_lon.copy()
        self.north = np.asarray(geodesy.isometric_latitude(steps.lat))
        self.to_north = np.asarray(geodesy.isometric_latitude(steps.to_lat))
        far = np.hypot(self.to_lon - self.lon, self.to_north - self.north)
        scale = np.cos(np.radians(steps.lat))
        self.held = far * 60.0 * scale < CREEPING_KN * steps.hours
        self.by_mode = [
            (number, np.flatnonzero(steps.mode == number)) for number in np.unique(steps.mode)
        ]

    def run(self) -> tuple[Steps, BoolArray]:
        for _ in range(ROUNDS):
            ends, effects = self._sailed_beside()
            miss = self._miss(ends)
            if np.nanmax(np.abs(miss), initial=0.0) < 0.02 * CLOSE_ENOUGH_DEG:
                break
            self._turn(effects, miss)
        ends = self._sail(self._begins_h(), self.row, self.hours)
        good = (np.hypot(*self._miss(ends)) < CLOSE_ENOUGH_DEG) & ends.possible
        exact = np.logical_and.reduceat(good, self.steps.firsts)
        return self._made(), exact

    def _miss(self, ends: _Ends) -> Array:
        return np.stack((self.to_lon - ends.lon, self.to_north - ends.north))

    def _begins_h(self) -> Array:
        return replace(self.steps, hours=self.hours).begins_h

    def _sailed_beside(self) -> tuple[_Ends, _Effects]:
        """Sail every step, and a little otherwise: turned, longer, later."""
        nudge = np.where(self.row + NUDGE_DEG > self.high, -NUDGE_DEG, NUDGE_DEG)
        begins = self._begins_h() + NUDGE_H * _LATER
        # Between two marks that lie as one there are steps of no length.
        more = LONGER * np.maximum(self.hours, LEAST_H)
        row, hours = self.row + nudge * _TURNED, self.hours + more * _LONGER
        ends = self._sail(begins, row, hours)
        place = np.stack((ends.lon, ends.north))
        turned, longer, later = np.moveaxis(place[:, 1:] - place[:, :1], 1, 0)
        as_it_is = _Ends(ends.lon[0], ends.north[0], ends.possible[0])
        return as_it_is, _Effects(turned / nudge, longer / more, later / NUDGE_H)

    def _turn(self, effects: _Effects, miss: Array) -> None:
        """One step of Newton's method for every step; what can't be corrected shifts the rest."""
        row, hours, stuck = self._changes(effects, miss)
        gained = effects.row * row + effects.hours * hours
        gained += effects.begun * (self.steps.summed(hours) - hours)
        self.row, self.hours = self.row + row, self.hours + hours
        self._shift(np.nan_to_num(miss - gained), stuck)

    def _changes(self, effects: _Effects, miss: Array) -> tuple[Array, Array, BoolArray]:
        """Changes of angle and hours, each step begun as much later as those before it took.

        Also which steps can't be corrected: an angle stays within its sector, hours change by
        no more than their share.
        """
        least = np.maximum(self.low - self.row, -LARGEST_TURN_DEG)
        most = np.minimum(self.high - self.row, LARGEST_TURN_DEG)
        row, hours = _solved(effects.row, effects.hours, miss)
        row_later, hours_later = _solved(effects.row, effects.hours, -effects.begun)
        # With the angle at its limit the hours do what they can.
        along = np.sum(effects.hours**2, axis=0)
        alone = np.array([np.sum(part * effects.hours, axis=0)
                          for part in (miss, effects.row, effects.begun)])  # fmt: skip
        alone = np.divide(alone, along, out=np.zeros_like(alone), where=along > 0.0)
        solved = np.isfinite(np.stack((row, hours, row_later, hours_later))).all(axis=0)
        free = ~self.held & solved
        shortest, longest = (
            self.hours * (factor - 1.0) for factor in (1.0 / LONGEST_CHANGE, LONGEST_CHANGE)
        )
        first = np.append(True, self.steps.way[1:] != self.steps.way[:-1])
        columns = (
            first, free, row, row_later, hours, hours_later, least, most, shortest, longest, *alone
        )  # fmt: skip
        found = np.zeros((3, len(row)))
        late_h = 0.0
        for k, step in enumerate(zip(*(column.tolist() for column in columns), strict=True)):
            begins, may, turn, by_late, length, more, low, high, short, long, *own = step
            late_h = 0.0 if begins else late_h
            if not may:
                found[2, k] = 1.0
                continue
            turn, length = turn + by_late * late_h, length + more * late_h
            kept = min(max(turn, low), high)
            if kept != turn:
                length = own[0] - own[1] * kept - own[2] * late_h
            length = min(max(length, short), long)
            # One that only turns too far for this round is corrected in the next.
            found[:, k] = kept, length, kept != turn and abs(kept) < LARGEST_TURN_DEG
            late_h += length
        return found[0], found[1], found[2] > 0.0

    def _shift(self, left: Array, stuck: BoolArray) -> None:
        """Move places so that stuck steps end where they get to, and the others make up for it."""
        steps = self.steps
        give = np.where(stuck, 0.0, self.hours)
        lost = np.where(stuck, left, 0.0)
        moved = [steps.summed(steps.spread(steps.totals(each), give) - each) for each in lost]
        for values, begin, shift in (
            (self.to_lon, self.lon, moved[0]), (self.to_north, self.north, moved[1])
        ):  # fmt: skip
            values += shift
            begin[1:] += np.where(steps.way[1:] == steps.way[:-1], shift[:-1], 0.0)

    def _sail(self, begins_h: Array, row: Array, hours: Array) -> _Ends:
        """Integrate all steps by the midpoint rule, as `goosewing.changing.motion.advance`.

        Shapes (n,), or (v, n) for steps sailed in v ways.
        """
        # As many parts for all of them, lest a little more time be sailed in other ones.
        count = max(2, int(np.ceil(float(np.max(self.hours)) / STEP_H)))
        step = hours / count
        time = begins_h.copy()
        lat = geodesy.latitude_from_isometric(self.north) + np.zeros(row.shape)
        lon = self.lon + np.zeros(row.shape)
        possible = np.ones(row.shape, dtype=bool)
        for _ in range(count):
            east, north, _ = self._going(time, lat, lon, row)
            dlat, dlon = degrees_per_hour(lat, east, north)
            half = 0.5 * step
            mid_lat, mid_lon = lat + half * dlat, lon + half * dlon
            east, north, ok = self._going(time + half, mid_lat, mid_lon, row)
            dlat, dlon = degrees_per_hour(mid_lat, east, north)
            lat, lon, time = lat + step * dlat, lon + step * dlon, time + step
            possible &= ok
        lost = ~(np.abs(lat) < 90.0)
        ends = np.asarray(geodesy.isometric_latitude(np.where(lost, 0.0, lat)))
        return _Ends(lon, np.where(lost, np.nan, ends), possible & ~lost)

    def _going(
        self, time_h: Array, lat: Array, lon: Array, row: Array
    ) -> tuple[Array, Array, BoolArray]:
        airs = self.waters.airs(time_h, lat, lon)
        east, north = np.empty(row.shape), np.empty(row.shape)
        possible = np.empty(row.shape, dtype=bool)
        for number, at in self.by_mode:
            mode = self.waters.modes[number]
            here = Airs(*(values[..., at] for values in airs))
            going = self.waters.at_angle(mode, row[..., at], here)
            ok = going.possible
            if mode.poled:
                ok = ok & self.waters.pole_allowed(time_h[..., at], lat[..., at], lon[..., at])
            east[..., at], north[..., at] = going.east_kn, going.north_kn
            possible[..., at] = ok
        return east, north, possible

    def _made(self) -> Steps:
        lat = np.asarray(geodesy.latitude_from_isometric(self.north))
        to_lat = np.asarray(geodesy.latitude_from_isometric(self.to_north))
        return replace(
            self.steps, row_deg=self.row, hours=self.hours, lat=lat, lon=self.lon,
            to_lat=to_lat, to_lon=self.to_lon,
        )  # fmt: skip


def _limits(waters: Waters, number: int) -> tuple[float, float]:
    """Angles between which a mode is sailed; under engine all round."""
    mode = waters.modes[number]
    if mode.engine:
        return -360.0, 720.0
    sails = waters.boat.sail_sets[mode.sail_set]
    low, high = sails.polar.first_twa_deg, sails.polar.last_twa_deg
    if waters.boat.polar_angle == "heading":
        low, high = max(low, sails.twa_deg[0]), min(high, sails.twa_deg[1])
    return low, max(low, high)


def _solved(by_row: Array, by_hours: Array, miss: Array) -> tuple[Array, Array]:
    """Changes of angle and hours that undo the misses; not finite where there are none."""
    det = by_row[0] * by_hours[1] - by_row[1] * by_hours[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        row = (miss[0] * by_hours[1] - miss[1] * by_hours[0]) / det
        hours = (by_row[0] * miss[1] - by_row[1] * miss[0]) / det
    return row, hours
