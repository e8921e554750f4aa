"""Ways of the search sailed once more, exactly.

The search moves its states by one step of the wind half way along it, as far as it can
tell beforehand where that will be. Here every step of a way is integrated as the helm
would sail it, one angle to the wind held, and angle and hours are corrected until it
ends where the next one begins (Newton's method, all steps of all ways at once). What an
angle at the edge of its sector can't correct is spread over the steps that can, and the
last one ends at the mark.
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

ROUNDS = 14
NUDGE_DEG = 0.2
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
        self.ends_lon = steps.summed(self.to_lon - self.lon)

    def run(self) -> tuple[Steps, BoolArray]:
        for _ in range(ROUNDS):
            ends = self._sail(self._begins_h(), self.row, self.hours)
            miss = np.stack((self.to_lon - ends.lon, self.to_north - ends.north))
            if np.nanmax(np.abs(miss), initial=0.0) < 0.02 * CLOSE_ENOUGH_DEG:
                break
            self._turn(ends, miss)
        ends = self._sail(self._begins_h(), self.row, self.hours)
        off = np.hypot(self.to_lon - ends.lon, self.to_north - ends.north)
        good = (off < CLOSE_ENOUGH_DEG) & ends.possible
        exact = np.logical_and.reduceat(good, self.steps.firsts)
        return self._made(), exact

    def _begins_h(self) -> Array:
        return replace(self.steps, hours=self.hours).begins_h

    def _turn(self, ends: _Ends, miss: Array) -> None:
        """One step of Newton's method for every step; what can't be corrected shifts the rest."""
        begins = self._begins_h()
        nudge = np.where(self.row + NUDGE_DEG > self.high, -NUDGE_DEG, NUDGE_DEG)
        turned = self._sail(begins, self.row + nudge, self.hours)
        longer = self._sail(begins, self.row, self.hours * 1.01)
        by_row = np.stack((turned.lon - ends.lon, turned.north - ends.north)) / nudge
        by_hours = np.stack((longer.lon - ends.lon, longer.north - ends.north))
        by_hours /= 0.01 * self.hours
        row, hours = _solved(by_row, by_hours, miss)
        wanted = np.clip(row, -LARGEST_TURN_DEG, LARGEST_TURN_DEG)
        allowed = np.clip(self.row + wanted, self.low, self.high) - self.row
        clamped = np.abs(allowed - row) > 1e-9
        # With the angle at its limit the hours do what they can.
        along = np.sum(by_hours**2, axis=0)
        rest = np.sum((miss - by_row * allowed) * by_hours, axis=0)
        alone = np.divide(rest, along, out=np.zeros_like(along), where=along > 0.0)
        hours = np.where(clamped, alone, hours)
        factor = np.clip(1.0 + hours / self.hours, 1.0 / LONGEST_CHANGE, LONGEST_CHANGE)
        free = ~self.held & np.isfinite(factor + allowed)
        allowed, factor = np.where(free, allowed, 0.0), np.where(free, factor, 1.0)
        gained = by_row * allowed + by_hours * (self.hours * (factor - 1.0))
        self.row, self.hours = self.row + allowed, self.hours * factor
        self._shift(np.nan_to_num(miss - gained), ~free | clamped)

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
        """Integrate all steps by the midpoint rule, as `goosewing.changing.motion.advance`."""
        count = max(2, int(np.ceil(float(np.max(hours)) / STEP_H)))
        step = hours / count
        time = begins_h.copy()
        lat, lon = np.asarray(geodesy.latitude_from_isometric(self.north)), self.lon.copy()
        possible = np.ones(len(row), dtype=bool)
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
        east, north = np.empty(len(row)), np.empty(len(row))
        possible = np.empty(len(row), dtype=bool)
        for number in np.unique(self.steps.mode):
            at = np.flatnonzero(self.steps.mode == number)
            mode = self.waters.modes[number]
            here = Airs(*(values[at] for values in airs))
            going = self.waters.at_angle(mode, row[at], here)
            ok = going.possible
            if mode.poled:
                ok = ok & self.waters.pole_allowed(time_h[at], lat[at], lon[at])
            east[at], north[at], possible[at] = going.east_kn, going.north_kn, ok
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
