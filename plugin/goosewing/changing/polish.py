"""Boards re-optimised through wind and stream until they hit the mark in the least time.

The search says which tack and sail set follow which; here the helm's angles and the boards'
lengths are made exact. Every trial is a passage that can be sailed and ends at the mark
(`goosewing.changing.shooting`); a step is the best of a quadratic programme in which the
angles' own curvature, and how wind and stream change with place and time, are measured.
What is not faster is not taken: nothing that comes out is slower than what the orders
began with.

Boards that cross a hazard are optimised again within the limits that
`goosewing.changing.keep_clear` tells, until they cross none.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.changing import quadratic, windows
from goosewing.changing.motion import Waters
from goosewing.changing.shooting import (
    STEP_H,
    Helm,
    Orders,
    Start,
    States,
    board_numbers,
    groups_of,
    limits_deg,
)
from goosewing.changing.windows import Window
from goosewing.units import METRES_PER_NM

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.changing.keep_clear import Limits, Offing, Path
    from goosewing.changing.shooting import Nearby
    from goosewing.earth.corridor import Corridor
    from goosewing.units import Array

ROUGH_STEPS = 100
"""While the optimiser is still looking about, a whole leg gets about so many steps."""

LONGEST_STEP_H = 1.0
"""But none is longer than this: forecasts are hourly at best. [h]"""

ROUNDS_OF_WINDOWS = 4
"""Sails that can't be carried to a board's end are tried in less time, so often at most."""

LOOK_AFTER = 3
"""Whether they can is looked at after this step of the optimiser too, counted from nought."""

ROUNDS_OF_STEPS = 3
"""A board that grew or shrank gets other steps, and the mark is closed again, so often at most."""

ROUNDS_OF_LIMITS = 8
"""Boards are kept off what they cross, and off what they then cross, so often at most."""

BEYOND_NM = 5e-4
"""Boards that reach less far beyond a limit keep to it: a metre."""

CLOSE_ENOUGH_DEG = 0.25 / METRES_PER_NM / 60.0
"""How near the last order must end, and how near each place must be to where the orders lead."""

CLOSE_SHARE = 2e-5
"""On a leg of a few miles no farther off than this share of it: on one mile 0.25 m are a second in
an hour and a half, more than its bound is sampled to."""

CLOSEST_DEG = 1e-3 * CLOSE_ENOUGH_DEG
"""A leg may have no length."""

ROUGHLY_CLOSE_DEG = 12.0 * CLOSE_ENOUGH_DEG
"""While sequences are compared: three metres are half a second."""

USUAL_ROUNDS = 8
MANY_ROUNDS = 12

ROUNDS_BACK = 4
"""Steps of the optimiser that bring boards back within limits in finer steps of the integration."""

CHORDS = 4
"""Passes of Newton's method with the same derivatives."""

ONE_SIDED, MANY_STEPS = 2, 300
"""So often derivatives are measured on one side only, and of no more steps than this."""

CLOSER = 0.5
"""These are taken anew when what is left grows less by no more than this."""

FAR_OFF_DEG = 60.0
"""What is so far off is given up."""

FRESH, FRESH_STEP = 5, 2
"""So often these are taken anew while the mark is closed for the first time, and after a step."""

NO_GAIN, NO_ROUGH_GAIN = 4e-7, 4e-6
"""A step that promises less than this share of the time isn't taken; the latter while sequences
are compared."""

ASTRAY = 1.1
"""What, partly closed, is so many times slower than the time to beat is given up."""

HOPELESS = 1.05
"""What first closes on the mark so much slower than the time to beat is given up."""

STEPS_TELL = 1e-3
"""Other steps of the integration may tell a time so much shorter, as a share."""

HOPED = (2.5, 1.5, 1.2, 1.0)
"""So many times what the second order promises is hoped for, before each step. Of 94 sequences
tried over 45 oceans those that came from behind and proved faster had needed 1.1 at most."""

WIDE = (12.0, 0.35)
"""The first steps change an angle by so many degrees at most, a length by so large a share."""

TRIES = 9
NARROWEST = 1e-3
"""Of these, the smallest share that is tried."""

CONTROL_SCALE_DEG = 10.0
SHORTEST_H = 1e-3
"""A board without a least length of its own gets no shorter. [h]"""

HOURS_A_MILE = 2.0
"""What a mile beyond a limit, or an hour beyond a window, is taken to cost in a trial."""


@dataclass(frozen=True, slots=True, eq=False)
class Polished:
    """Orders that end at the mark, and the places that they lead through."""

    helms: tuple[Helm, ...]
    states: States
    course: Orders
    """The orders, cut into the steps that they were integrated in."""
    bounds: tuple[Array, Array]
    """Least and largest value of each variable."""
    windows: tuple[Window, ...] = ()
    """When each board's sails can be carried, where that was found to matter."""
    bent: Array | None = None
    """Curvature of the time over each control, shape (k,). [h/°²]"""

    @property
    def sailed_h(self) -> float:
        """Hours under way, manoeuvres left out."""
        return sum(helm.hours for helm in self.helms)

    @property
    def price(self) -> Array:
        """Hours that a degree of the end's latitude and longitude, missed, is worth. [h/°]."""
        near = self.course.nearby(self.states, self.course.variables, bends=False)
        return _price(self.course, near.jacobian, self.bounds)


class _Trial(NamedTuple):
    """A passage that can be sailed and ends at the mark."""

    x: Array
    states: States


@dataclass(frozen=True, slots=True, eq=False)
class _Linear:
    """Limits of the variables that are linear: bounds, and rows A with floors b of A·x ≥ b."""

    course: Orders
    windows: tuple[Window, ...]
    low: Array
    high: Array
    rows: Array
    floors: Array

    @classmethod
    def of(cls, course: Orders, shortest_h: float, windows: tuple[Window, ...]) -> _Linear:
        """Tell them of orders whose boards have a least length and windows of time."""
        bounds = _bounds(course, shortest_h)
        return cls(course, windows, *bounds, *_rows(course, shortest_h, windows))


def as_sailed(course: Orders, states: States, shortest_h: float) -> Polished:
    """Take orders whose places are known exactly as they are."""
    return Polished(course.helms, states, course, _bounds(course, shortest_h))


def _bounds(course: Orders, shortest_h: float) -> tuple[Array, Array]:
    """Least and largest value of each variable."""
    low, high = np.full(course.size, -np.inf), np.full(course.size, np.inf)
    orders = len(course.helms)
    for k, helm in enumerate(course.helms):
        if helm.held:
            low[k] = high[k] = helm.control_deg
        elif helm.steer == "angle":
            low[k], high[k] = limits_deg(course.waters, course.waters.modes[helm.mode].sail_set)
    boards = board_numbers(course.helms)
    alone = boards[-1] == 0
    each = boards[np.searchsorted(course.groups, np.arange(course.groups[-1] + 1))]
    single = np.bincount(each)[each] == 1
    least = np.where(single & (not alone), max(shortest_h, SHORTEST_H), SHORTEST_H / 10.0)
    low[orders:] = least
    return low, high


def _rows(course: Orders, shortest_h: float, windows: tuple[Window, ...]) -> tuple[Array, Array]:
    """Rows and floors by which boards are long enough, and within their windows."""
    boards, orders = board_numbers(course.helms), len(course.helms)
    lengths = np.zeros((orders, course.size))
    lengths[np.arange(orders), orders + course.groups] = course.share
    until = np.cumsum(lengths, axis=0)
    ready = course.start.time_h + np.cumsum(course.pauses_h)
    rows, floors = [], []
    for board in range(int(boards[-1]) + 1):
        mine = np.flatnonzero(boards == board)
        if len(np.unique(course.groups[mine])) > 1 and boards[-1] > 0:
            rows.append(lengths[mine].sum(axis=0))
            floors.append(max(shortest_h, SHORTEST_H))
        if board < len(windows):
            first, last = int(mine[0]), int(mine[-1])
            window = windows[board]
            begun = until[first] - lengths[first]
            rows += [begun, -until[last]]
            floors += [window.opens_h - ready[first], ready[first] - window.closes_h]
    finite = np.isfinite(floors) if floors else np.zeros(0, dtype=bool)
    return (
        np.array(rows).reshape(-1, course.size)[finite], np.array(floors, dtype=float)[finite]
    )  # fmt: skip


class _Model(NamedTuple):
    """How time and miss change about a trial, to second order."""

    near: Nearby
    hessian: Array
    slope: Array
    programme: quadratic.Programme | None

    @property
    def gain_h(self) -> float:
        """What the best step would gain, were all as the second order has it. [h]."""
        return 0.0 if self.programme is None else self.programme.gain


@dataclass(slots=True, eq=False)
class _Problem:
    """Least time over controls and lengths."""

    course: Orders
    shortest_h: float
    windows: tuple[Window, ...] = ()
    """To be kept to, one for each board."""
    limits: Limits | None = None
    """Where to keep off hazards."""
    beat_h: float = np.inf
    """What is much slower at first is given up. [h]"""
    corridor: Corridor | None = None
    """Where to stay."""
    step_h: float = STEP_H
    """The shortest steps of the integration. [h]"""
    no_gain: float = NO_GAIN
    """What a step must promise, as a share of the time."""
    close_deg: float = CLOSE_ENOUGH_DEG
    """How near it must come to the mark, and each step to the next. [°]"""
    known: _Linear | None = None
    """The linear limits, as long as neither orders nor windows change."""

    @property
    def orders(self) -> int:
        """The number of orders."""
        return len(self.course.helms)

    @property
    def scale(self) -> Array:
        """What a variable is counted in."""
        return _scale(self.course)

    # ---- limits that are linear --------------------------------------------------------------

    @property
    def linear(self) -> _Linear:
        """Limits that are linear in the variables."""
        known = self.known
        if known is None or known.course is not self.course or known.windows != self.windows:
            known = self.known = _Linear.of(self.course, self.shortest_h, self.windows)
        return known

    def bounds(self) -> tuple[Array, Array]:
        """Least and largest value of each variable."""
        return self.linear.low, self.linear.high

    def rows(self) -> tuple[Array, Array]:
        """Rows A and floors b of A·x ≥ b: boards long enough, and within their windows."""
        return self.linear.rows, self.linear.floors

    def keep_to_windows(self, seen: Sequence[Window]) -> bool:
        """Keep each board within what was seen; tell whether there is room at all."""
        before = self.windows or (Window(),) * len(seen)
        self.windows = tuple(a.within(b) for a, b in zip(before, seen, strict=True))
        return all(window.opens_h < window.closes_h for window in self.windows)

    # ---- keeping off hazards -----------------------------------------------------------------

    def path(self, states: States) -> Path:
        """Where a trial leads."""
        from goosewing.changing import keep_clear as offing

        turns = np.zeros(len(states.lat), dtype=bool)
        turns[self.course.first[1:]] = True
        return offing.Path(states.lat, states.lon, states.time_h, turns)

    def off_nm(self, states: States) -> Array:
        """By how much a trial keeps to the limits, shape (m,). [nm]."""
        one = states.lat[np.newaxis], states.lon[np.newaxis]
        return np.asarray(self._off_nm(states, *one)[0])

    def off_slope(self, states: States, near: Nearby) -> Array:
        """Derivative of that by the variables, shape (m, n)."""
        if not self.limits and self.corridor is None:
            return np.zeros((0, self.course.size))
        size = 1e-4 * self.scale
        beside = near.spread * size
        lat = np.vstack((states.lat, states.lat + beside[:, 0].T))
        lon = np.vstack((states.lon, states.lon + beside[:, 1].T))
        off = self._off_nm(states, lat, lon)
        return np.asarray(((off[1:] - off[0]) / size[:, np.newaxis]).T)

    def _off_nm(self, states: States, lat: Array, lon: Array) -> Array:
        """By how much trials, shape (B, p), about one keep to the limits, shape (B, m)."""
        off = np.zeros((len(lat), 0))
        if self.limits:
            from goosewing.changing import keep_clear as offing

            off = np.asarray(offing.off_nm(self.limits, self.path(states), lat, lon))
        if self.corridor is not None:
            off = np.hstack((off, self.corridor.inside_nm(lat[:, 1:-1], lon[:, 1:-1])))
        return off

    # ---- trials ------------------------------------------------------------------------------

    def time_h(self, trial: _Trial) -> float:
        """Hours under way, and what going beyond limits is taken to cost."""
        beyond = float(np.sum(np.maximum(-self.off_nm(trial.states), 0.0)))
        rows, floors = self.rows()
        beyond += float(np.sum(np.maximum(floors - rows @ trial.x, 0.0)))
        return float(trial.x[self.orders :].sum()) + HOURS_A_MILE * beyond

    def closed(
        self, trial: _Trial, near: Nearby, gaps: Array | None = None
    ) -> tuple[_Trial | None, bool]:
        """Undo the gaps between steps and close on the mark by the least change.

        The gaps are looked up, unless they are known already.

        Returns
        -------
        trial : _Trial or None
            The last one come to; where the passes with the same derivatives don't come nearer,
            what the first of them came to. None if there is no way on.
        done : bool
            Whether it is closed.
        """
        first, before = None, np.inf
        for _ in range(CHORDS):
            gaps = self.course.gaps(trial.states, trial.x) if gaps is None else gaps
            miss = self.course.misses(trial.states)
            worst = self._off(near, gaps, miss)
            if worst < self.close_deg:
                return trial, True
            if first is not None and not worst < CLOSER * before:
                return first, False
            if not worst < FAR_OFF_DEG:
                return None, False
            moved = self._nearer(trial, near, gaps, miss)
            if moved is None:
                return first, False
            trial, before, gaps = moved, worst, None
            first = first or moved
        return trial, False

    def _off(self, near: Nearby, gaps: Array, miss: Array) -> float:
        """How far any place lies from where the orders lead, and that from the mark; in degrees.

        Gaps of many steps are of one sign, as a rule: each of a decimetre, they are metres.
        """
        astray = np.abs(self.course.undone(near, gaps))
        return max(float(astray.max()), float(np.abs(miss).max()))

    def _least_change(
        self, x: Array, jacobian: Array, wanted: Array, low: Array, high: Array
    ) -> Array | None:
        """Smallest change of all variables that moves the end as wanted, within bounds."""
        scale = self.scale
        free, fixed = high > low, np.zeros(len(x))
        for _ in range(4):
            rows = np.where(free, jacobian * scale, 0.0)
            left = wanted - jacobian @ fixed
            change = np.linalg.lstsq(rows, left, rcond=1e-9)[0] * scale * free + fixed
            beyond = (x + change < low - 1e-12) | (x + change > high + 1e-12)
            if not beyond.any():
                return change if np.abs(jacobian @ change - wanted).max() < 1e-6 else None
            fixed = np.where(beyond, np.clip(x + change, low, high) - x, fixed)
            free &= ~beyond
        return None

    def begun(self, states: States | None) -> _Trial | None:
        """Close on the mark for the first time, from places that are guessed or sailed."""
        x = np.clip(self.course.variables, *self.bounds())
        return self.closed_afresh(
            _Trial(x, self.course.sailed(x) if states is None else states), FRESH,
            most_h=ASTRAY * self.beat_h,
        )  # fmt: skip

    def closed_afresh(
        self, trial: _Trial | None, times: int, *, most_h: float = np.inf
    ) -> _Trial | None:
        """Close on the mark with derivatives taken anew; give up what grows too long."""
        for taken in range(times):
            if trial is None or not np.isfinite(np.concatenate(trial.states)).all():
                return None
            if taken and float(trial.x[self.orders :].sum()) > most_h:
                return None
            near = self._to_close_by(trial, taken)
            if not np.isfinite(near.jacobian).all():
                return None
            trial, done = self.closed(trial, near, near.gaps)
            if done:
                return trial
        return None

    def _to_close_by(self, trial: _Trial, taken: int) -> Nearby:
        """Measure on one side only at first; over very many steps, or in vain, on both."""
        if taken < ONE_SIDED and len(self.course.order) < MANY_STEPS:
            return self.course.roughly_nearby(trial.states, trial.x)
        return self.course.nearby(trial.states, trial.x, bends=False)

    def _nearer(self, trial: _Trial, near: Nearby, gaps: Array, miss: Array) -> _Trial | None:
        """One pass towards the mark."""
        x, states = trial
        amiss = miss + np.einsum("mij,mj->i", near.onward[1:], gaps)
        change = self._least_change(x, near.jacobian, -amiss, *self.bounds())
        if change is None:
            return None
        moved = self.course.undone(near, gaps) + near.spread @ change
        states = States(*(v + d for v, d in zip(states, moved.T, strict=True)))
        return _Trial(x + change, states) if np.all(np.abs(states.lat) < 89.9) else None

    def optimised(self, trial: _Trial, rounds: int) -> tuple[_Trial, Array | None]:
        """Take steps as long as they gain something; what comes out is never slower.

        Where there is a time to beat, they end as soon as they can't be hoped to come below it.
        Within limits of hazards or a corridor what the second order promises tells nothing: a
        step's worth lies in what it leaves beyond them.
        """
        time, width = self.time_h(trial), 1.0
        in_the_open = not self.limits and self.corridor is None
        hessian: Array | None = None
        for taken in range(rounds):
            model = self._model(trial)
            hessian = model.hessian
            hoped_h = HOPED[min(taken, len(HOPED) - 1)] * model.gain_h
            if in_the_open and time - hoped_h > self.beat_h:
                break
            made, width = self._step(trial, model, time, width)
            if made is None:
                break
            gained = time - self.time_h(made)
            trial, time = made, time - gained
            if gained < self.no_gain * time or (taken == LOOK_AFTER and self._strays(trial)):
                break
        return trial, hessian

    def _strays(self, trial: _Trial) -> bool:
        """Whether sails can't be carried, where no window was seen yet: it must be begun anew."""
        if self.windows:
            return False
        return not self.course.settled_at(trial.x).carried(trial.states).all()

    def _model(self, trial: _Trial) -> _Model:
        """Measure how time and miss would change about a trial."""
        near = self.course.nearby(trial.states, trial.x, bends=True)
        hessian = self.course.hessian(
            near, _price(self.course, near.jacobian, self.bounds(), trial.x)
        )
        slope, scale = np.zeros(self.course.size), self.scale
        slope[self.orders :] = 1.0
        programme = quadratic.Programme.of(
            hessian * np.outer(scale, scale), slope * scale, near.jacobian * scale
        )
        return _Model(near, hessian, slope, programme)

    def _step(
        self, trial: _Trial, model: _Model, time: float, width: float
    ) -> tuple[_Trial | None, float]:
        """Take the best step that proves faster, narrower each time."""
        if model.programme is None:
            return None, width
        near, hessian, slope = model.near, model.hessian, model.slope
        rows, floors = self._limits_of_step(trial, near)
        scale = self.scale
        for _ in range(TRIES):
            if width < NARROWEST:
                break
            fence, wall = self._fence(trial.x, width)
            step = model.programme.least(
                np.vstack((rows, fence)) * scale, np.concatenate((floors, wall))
            )
            if step is None:
                # No room within so narrow a fence to come back within limits.
                width *= 4.0
                if width > 4.0:
                    return None, width
                continue
            step = step * scale
            promised = -float(slope @ step + 0.5 * step @ hessian @ step)
            beyond = self.time_h(trial) - float(trial.x[self.orders :].sum())
            if promised + beyond < 0.5 * self.no_gain * time:
                return None, width
            moved = near.spread @ step
            states = States(*(v + d for v, d in zip(trial.states, moved.T, strict=True)))
            tried = _Trial(trial.x + step, states)
            made, done = self.closed(tried, near)
            made = made if done else self.closed_afresh(made, FRESH_STEP)
            if made is not None and self.time_h(made) < time - 0.05 * (promised + beyond):
                good = time - self.time_h(made) > 0.5 * (promised + beyond)
                return made, min(width * (2.0 if good else 1.0), 3.0)
            width *= 0.3
        return None, width

    def _limits_of_step(self, trial: _Trial, near: Nearby) -> tuple[Array, Array]:
        rows, floors = self.rows()
        slope, off = self.off_slope(trial.states, near), self.off_nm(trial.states)
        return np.vstack((rows, slope)), np.concatenate((floors - rows @ trial.x, -off))

    def _fence(self, x: Array, width: float) -> tuple[Array, Array]:
        """Bounds of one step."""
        low, high = self.bounds()
        far = np.full(len(x), WIDE[0] * width)
        lengths = x[self.orders :]
        far[self.orders :] = width * (WIDE[1] * lengths + 0.03 * lengths.sum() / len(lengths))
        one = np.eye(len(x))
        down, up = np.maximum(-far, low - x), np.minimum(far, high - x)
        return np.vstack((one, -one)), np.concatenate((np.minimum(down, 0.0), -np.maximum(up, 0.0)))


def _scale(course: Orders) -> Array:
    """What a variable is counted in."""
    orders = len(course.helms)
    lengths = course.variables[orders:]
    usual = max(float(lengths.sum()) / 10.0, 1e-3)
    return np.concatenate((np.full(orders, CONTROL_SCALE_DEG), np.full(len(lengths), usual)))


def _price(
    course: Orders, jacobian: Array, bounds: tuple[Array, Array], x: Array | None = None
) -> Array:
    """Hours that a degree of the miss is worth: the multipliers, by least squares."""
    x = course.variables if x is None else x
    free = (x > bounds[0] + 1e-9) & (x < bounds[1] - 1e-9)
    slope = np.zeros(len(x))
    slope[len(course.helms) :] = 1.0
    scale = _scale(course) * free
    return np.asarray(np.linalg.lstsq((jacobian * scale).T, -slope * scale, rcond=None)[0])


def polish(
    waters: Waters,
    helms: Sequence[Helm],
    start: Start,
    pauses_h: Sequence[float],
    *,
    shortest_h: float = 0.0,
    rounds: int = USUAL_ROUNDS,
    exact: bool = True,
    offing: Offing | None = None,
    guess: States | None = None,
    beat_h: float = np.inf,
    each: bool = False,
    windows: tuple[Window, ...] = (),
    corridor: Corridor | None = None,
    step_h: float = STEP_H,
) -> Polished | None:
    """Re-optimise orders until they end at the mark in the least time.

    Parameters
    ----------
    waters : Waters
    helms : sequence of Helm
        A fair first guess; those of one tack and sail set that follow one another are one
        board, and keep their shares of its length, but not among hazards.
    start : Start
    pauses_h : sequence of float
        What the manoeuvres before each order cost. [h]
    shortest_h : float
        No board gets shorter; a single one may. [h]
    rounds : int
        Most steps of the optimiser.
    exact : bool
        Whether to end in the shortest steps of the integration; sequences may be
        compared in longer ones.
    offing : Offing, optional
        The hazards to keep off.
    guess : States, optional
        Places on the way, at any times of it; sailed by the guess if None.
    each : bool
        Whether each order has a length of its own; it has among hazards, and where the weather
        shifts at a stroke.
    windows : tuple of Window
        When each board's sails can be carried, where that is known already.
    corridor : Corridor, optional
        Where to stay.
    step_h : float
        The shortest steps: where fronts pass they may have to be shorter than usual. [h]
    beat_h : float
        A sequence that can first be sailed only much slower than this, or is not known to
        come below it by then, is given up. [h]

    Returns
    -------
    Polished or None
        None if this sequence can't be brought to the mark, its sails can't be carried,
        or it can't be kept off hazards.
    """
    hours = sum(helm.hours for helm in helms)
    rough = float(np.clip(hours / ROUGH_STEPS, step_h, LONGEST_STEP_H))
    least = SHORTEST_H / 10.0
    each = each or offing is not None or bool(waters.strokes_h)
    course = Orders(
        waters, tuple(replace(h, hours=max(h.hours, least)) for h in helms),
        groups_of(helms, each=each), np.asarray(pauses_h), start, rough,
    )  # fmt: skip
    problem = _Problem(
        course, shortest_h, windows, beat_h=beat_h, corridor=corridor, step_h=step_h,
        no_gain=NO_GAIN if exact else NO_ROUGH_GAIN,
        close_deg=_close_deg(start) if exact or offing is not None else ROUGHLY_CLOSE_DEG,
    )  # fmt: skip
    with np.errstate(invalid="ignore", over="ignore"):
        if offing is None:
            return _carried(problem, guess, rounds, exact=exact)
        return _kept_off(problem, offing, guess, rounds, exact=exact)


def _close_deg(start: Start) -> float:
    """How near the mark of a leg is to be closed on. [°]."""
    north = start.mark_lat - start.lat
    east = (start.mark_lon - start.lon + 180.0) % 360.0 - 180.0
    far = float(np.hypot(north, east * np.cos(np.radians(start.lat))))
    return float(np.clip(CLOSE_SHARE * far, CLOSEST_DEG, CLOSE_ENOUGH_DEG))


def _kept_off(
    problem: _Problem, offing: Offing, guess: States | None, rounds: int, *, exact: bool
) -> Polished | None:
    """Optimise within more and more limits, until nothing is crossed."""
    limits = offing.known
    for _ in range(ROUNDS_OF_LIMITS):
        made = _carried(replace(problem, limits=limits), guess, rounds, exact=exact)
        if made is None:
            return None
        path = replace(problem, course=made.course).path(made.states)
        if offing.is_free(path):
            offing.remember(limits, path)
            return made
        more = limits.also(offing.limits_of(path))
        if len(more) == len(limits):
            return None
        limits = more
    return None


def _carried(
    problem: _Problem, guess: States | None, rounds: int, *, exact: bool
) -> Polished | None:
    """Optimise so that sails can be carried to every board's end."""
    # Every round sets out from the first guess, in which the sails could most likely be
    # carried, not from what the round before came to without knowing that they can't.
    for _ in range(ROUNDS_OF_WINDOWS):
        made = _optimised(replace(problem), guess, rounds, exact=exact)
        if made is None:
            return None
        seen, possible = windows.judged(made.course, made.states)
        if possible:
            return _in_wider_windows(problem, made, rounds, exact=exact)
        if not problem.keep_to_windows(seen):
            return None
    return None


def _in_wider_windows(problem: _Problem, made: Polished, rounds: int, *, exact: bool) -> Polished:
    """Look beyond the windows that boards fill, and optimise again where they may be longer.

    A window was seen along a way on which the sails could not be carried; along this one they
    may be, for longer.
    """
    if not rounds or np.isfinite(problem.beat_h):
        return made
    for _ in range(ROUNDS_OF_WINDOWS):
        wider = windows.widened(made.course, made.states, made.windows)
        if wider == made.windows:
            break
        again = _optimised(
            replace(problem, course=made.course, windows=wider), made.states, rounds, exact=exact
        )
        if again is None or again.sailed_h >= made.sailed_h:
            break
        if not windows.judged(again.course, again.states)[1]:
            break
        made = again
    return made


def _optimised(
    problem: _Problem, guess: States | None, rounds: int, *, exact: bool
) -> Polished | None:
    """Optimise and close on the mark in steps that fit what came out."""
    if guess is not None:
        guess = _at_steps(problem.course, guess)
    trial = problem.begun(guess)
    if trial is None or trial.x[problem.orders :].sum() > HOPELESS * problem.beat_h:
        return None
    hessian = None
    if rounds and problem.course.size > 2:
        trial, hessian = problem.optimised(trial, rounds)
        if problem.time_h(trial) > problem.beat_h * (1.0 + STEPS_TELL):
            return None
    for _ in range(ROUNDS_OF_STEPS):
        step_h = problem.step_h if exact else problem.course.step_h
        course = problem.course
        if step_h == course.step_h and course.steps_fit(trial.x):
            break
        problem.course = course.moved_to(trial.x, step_h)
        again = problem.begun(_at_steps(problem.course, trial.states))
        if again is None:
            return None
        trial = again
        if rounds and np.any(problem.off_nm(trial.states) < -BEYOND_NM):
            trial, hessian = problem.optimised(trial, ROUNDS_BACK)
    if np.any(problem.off_nm(trial.states) < -BEYOND_NM):
        return None
    final = problem.course.settled_at(trial.x)
    bent = None if hessian is None else np.diag(hessian)[: problem.orders]
    return Polished(
        final.helms, trial.states, final, problem.bounds(),
        problem.windows, bent,
    )  # fmt: skip


def _at_steps(course: Orders, guess: States) -> States:
    """Places of a guess at the times of a course's steps, the guess stretched to its length."""
    x = course.variables
    hours = course.hours(x)[course.order] * course.weight / course.share[course.order]
    after = np.append(course.pause_h[1:], 0.0)
    begin = course.start.time_h + course.pause_h[0]
    times = np.concatenate(([begin], begin + np.cumsum(hours + after)))
    known = guess.time_h
    span = max(float(known[-1] - known[0]), 1e-9)
    share = (times - times[0]) / max(float(times[-1] - times[0]), 1e-9)
    at = known[0] + share * span
    lat = np.interp(at, known, guess.lat)
    lon = np.interp(at, known, np.unwrap(guess.lon, period=360.0))
    lat[0], lon[0] = course.start.lat, course.start.lon
    return States(lat, lon, times)
