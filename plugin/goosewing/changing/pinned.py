"""Boards pinned to places, sailed exactly from each to the next.

Among islands by the thousand a way is a chain of boards from corner to corner. Each is a heading
held, so that it is straight but for what stream and leeway change; or, where the wind leaves
the heading's sector, an angle to the wind. Headings and lengths are found by Newton's method
for all boards at once, each begun when those before it have ended: a lag moves a board's
end little, so that the rounds come to rest by themselves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat import manoeuvres
from goosewing.changing.shooting import STEP_H, Helm, Orders, Start, States, steps_for
from goosewing.earth import geodesy
from goosewing.units import METRES_PER_NM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.changing.motion import Waters
    from goosewing.units import Array, BoolArray

    Numbers = NDArray[np.intp]

ROUNDS = 25
NUDGE_DEG, LONGER = 0.25, 0.01

LARGEST_TURN_DEG = 8.0
LONGEST_CHANGE = 1.5
"""No round changes a control by more, nor a length by a larger factor."""

CLOSE_ENOUGH_DEG = 0.05 / METRES_PER_NM / 60.0
AT_REST_H = 1e-7

SHORTEST_H = 1e-5


@dataclass(frozen=True, slots=True, eq=False)
class Pins:
    """Boards from place to place; arrays of shape (k,), places (k + 1,).

    Attributes
    ----------
    mode : ndarray of int
    heading_deg, hours : ndarray
        A fair guess.
    by_angle : ndarray of bool
        Which keep an angle to the wind.
    """

    mode: Numbers
    lat: Array
    lon: Array
    heading_deg: Array
    hours: Array
    by_angle: BoolArray

    def __len__(self) -> int:
        """Return the number of boards."""
        return len(self.mode)


class Before(NamedTuple):
    """How she comes to the first board."""

    mode: manoeuvres.Mode | None
    twa_deg: float


class Sailed(NamedTuple):
    """Boards as they are sailed."""

    course: Orders
    states: States
    fits: BoolArray
    """Which boards end where they should, their sails carried all along, shape (k,)."""


def sailed(
    waters: Waters, pins: Pins, start_h: float, before: Before, *, step_h: float = STEP_H
) -> Sailed:
    """Sail boards from place to place.

    Parameters
    ----------
    waters : Waters
    pins : Pins
    start_h : float
        When she sets out, or the mark before is reached. [h]
    before : Before
    step_h : float
        The longest step of the integration. [h]
    """
    made = _Pinned(waters, pins, start_h, before, step_h).run()
    if made.fits.all() or pins.by_angle.all():
        return made
    again = replace(pins, by_angle=pins.by_angle | ~made.fits)
    return _Pinned(waters, again, start_h, before, step_h).run()


class _Pinned:
    """The rounds of one."""

    def __init__(
        self, waters: Waters, pins: Pins, start_h: float, before: Before, step_h: float
    ) -> None:
        self.waters, self.pins, self.before = waters, pins, before
        self.hours = np.maximum(pins.hours, SHORTEST_H)
        self.counts = np.array([steps_for(each, step_h) for each in self.hours.tolist()])
        self.start = Start(
            time_h=start_h, lat=float(pins.lat[0]), lon=float(pins.lon[0]),
            mark_lat=float(pins.lat[-1]), mark_lon=float(pins.lon[-1]),
        )  # fmt: skip
        self.control = pins.heading_deg.copy()
        self.step_h = step_h
        self.pauses_h = np.zeros(len(pins))
        if pins.by_angle.any():
            self._to_angles()

    @property
    def begins_h(self) -> Array:
        """When each board begins, its manoeuvre over. [h]."""
        lengths = self.pauses_h + self.hours
        return np.asarray(self.start.time_h + np.cumsum(lengths) - self.hours)

    def run(self) -> Sailed:
        orders = self._orders(np.ones(len(self.pins), dtype=np.intp))
        done = np.zeros(len(self.pins), dtype=bool)
        for _ in range(ROUNDS):
            before = self.hours.sum() + self.pauses_h.sum()
            miss = self._round(orders)
            self.pauses_h = self._pauses_h()
            done = np.hypot(*miss) < CLOSE_ENOUGH_DEG
            moved = abs(float(self.hours.sum() + self.pauses_h.sum()) - before)
            if done.all() and moved < AT_REST_H:
                break
        return self._made(orders, done)

    def _orders(self, counts: Numbers) -> Orders:
        helms = tuple(
            Helm(
                mode=mode, steer="angle" if by_angle else "heading",
                control_deg=control if by_angle else control % 360.0, hours=hours,
            )
            for mode, by_angle, control, hours in zip(
                self.pins.mode.tolist(), self.pins.by_angle.tolist(), self.control.tolist(),
                self.hours.tolist(), strict=True,
            )
        )  # fmt: skip
        return Orders(
            self.waters, helms, np.arange(len(helms)), self.pauses_h, self.start, self.step_h,
            tuple(counts.tolist()),
        )  # fmt: skip

    def _inputs(self) -> Array:
        pins = self.pins
        return np.stack((pins.lat[:-1], pins.lon[:-1], self.begins_h, self.control, self.hours))

    def _round(self, orders: Orders) -> Array:
        """One pass of Newton's method for every board; return by how much they missed."""
        inputs = np.repeat(self._inputs()[:, np.newaxis], 3, axis=1)
        inputs[3, 1] += NUDGE_DEG
        inputs[4, 2] *= 1.0 + LONGER
        ends = orders.apart(inputs, self.counts)[-1]
        scale = np.cos(np.radians(self.pins.lat[1:]))
        missed = np.stack((
            self.pins.lat[1:] - ends[0], geodesy.wrap_180(self.pins.lon[1:] - ends[1]) * scale
        ))  # fmt: skip
        miss = missed[:, 0]
        turned = (missed[:, 0] - missed[:, 1]) / NUDGE_DEG
        longer = (missed[:, 0] - missed[:, 2]) / (LONGER * self.hours)
        det = turned[0] * longer[1] - turned[1] * longer[0]
        with np.errstate(divide="ignore", invalid="ignore"):
            turn = (miss[0] * longer[1] - miss[1] * longer[0]) / det
            more = (turned[0] * miss[1] - turned[1] * miss[0]) / det
        good = np.isfinite(turn) & np.isfinite(more)
        turn = np.clip(np.where(good, turn, 0.0), -LARGEST_TURN_DEG, LARGEST_TURN_DEG)
        hours = self.hours + np.where(good, more, 0.0)
        self.control = self.control + turn
        self.hours = np.clip(hours, self.hours / LONGEST_CHANGE, self.hours * LONGEST_CHANGE)
        return np.where(np.isfinite(miss), miss, np.inf)

    def _bows(self) -> tuple[Array, Array]:
        """Angle of the bow off the wind where boards begin and where they end, shape (k,)."""
        pins, begins = self.pins, self.begins_h
        first = self.waters.airs(begins, pins.lat[:-1], pins.lon[:-1])
        last = self.waters.airs(begins + self.hours, pins.lat[1:], pins.lon[1:])
        return tuple(
            np.where(
                pins.by_angle, self.control, np.abs(geodesy.wrap_180(self.control - airs.twd_deg))
            )
            for airs in (first, last)
        )  # type: ignore[return-value]

    def _to_angles(self) -> None:
        bow = self._bows_of_headings()
        self.control = np.where(self.pins.by_angle, bow, self.control)

    def _bows_of_headings(self) -> Array:
        pins, middle = self.pins, self.begins_h + 0.5 * self.hours
        airs = self.waters.airs(middle, pins.lat[:-1], pins.lon[:-1])
        return np.asarray(np.abs(geodesy.wrap_180(pins.heading_deg - airs.twd_deg)))

    def _pauses_h(self) -> Array:
        """What the manoeuvres before the boards cost, by the angles at which they are made. [h]."""
        boat, modes = self.waters.boat, self.waters.modes
        first, last = self._bows()
        before, twa = self.before
        pauses = []
        for number, begun, ended in zip(
            self.pins.mode.tolist(), first.tolist(), last.tolist(), strict=True
        ):
            tacking = manoeuvres.is_tacked(boat, twa + begun)
            mode = modes[number]
            kinds = () if before is None else manoeuvres.steps(before, mode, tacking=tacking)
            pauses.append(sum(manoeuvres.step_cost_s(boat, kind) for kind in kinds) / 3600.0)
            before, twa = mode, ended
        return np.array(pauses)

    def _made(self, orders: Orders, done: BoolArray) -> Sailed:
        course = self._orders(self.counts)
        steps = orders.apart(self._inputs()[:, np.newaxis], self.counts)
        places = np.stack(steps)[:, :, 0]
        states = _states(course, places, self.begins_h, self.counts)
        fits = np.logical_and.reduceat(course.carried(states), course.first)
        known = np.logical_and.reduceat(np.isfinite(states.lat[:-1]), course.first)
        return Sailed(course, states, done & fits & known)


def _states(course: Orders, places: Array, begins_h: Array, counts: Numbers) -> States:
    """Join where boards are after each step, shape (steps + 1, 2, k), into one way."""
    lat, lon, time = [], [], []
    lengths = [helm.hours for helm in course.helms]
    for k, count in enumerate(counts.tolist()):
        lat.append(places[:count, 0, k])
        lon.append(places[:count, 1, k])
        time.append(begins_h[k] + lengths[k] * np.arange(count) / count)
    last = int(counts[-1])
    lat.append(places[last : last + 1, 0, -1])
    lon.append(places[last : last + 1, 1, -1])
    time.append(np.array([begins_h[-1] + lengths[-1]]))
    return States(*(np.concatenate(each) for each in (lat, lon, time)))
