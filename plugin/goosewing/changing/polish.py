"""Boards re-optimised by exact integration through wind and stream until they hit the mark.

The search says which tack and sail set follow which; here the helm's angles and
the boards' lengths are made exact: least time, subject to ending at the mark
(sequential quadratic programming). All boards of all trial values are
integrated together, as arrays.

Boards that cross a hazard are optimised again within the limits that
`goosewing.changing.keep_clear` tells, until they cross none.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from goosewing.changing.motion import Waters, advance
from goosewing.earth import geodesy
from goosewing.units import METRES_PER_NM

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.changing.keep_clear import Limits, Offing, Path
    from goosewing.records import Steer
    from goosewing.units import Array, BoolArray

STEP_H = 0.25
"""Longest step of the integration, second order. [h]"""

ROUGH_STEPS = 60
"""While the optimiser is still looking about, a whole leg gets about so many steps."""

LONGEST_STEP_H = 1.0
"""But none is longer than this: forecasts are hourly at best. [h]"""

ROUNDS_OF_WINDOWS = 4
"""Sails that can't be carried to a board's end are tried in less time, so often at most."""

ROUNDS_OF_STEPS = 3
"""A board that grew or shrank gets other steps, and the mark is closed again, so often at most."""

ROUNDS_OF_LIMITS = 8
"""Boards are kept off what they cross, and off what they then cross, so often at most."""

BEYOND = 1e-6
"""Boards that reach less far beyond a limit keep to it, in lengths of the leg."""

LEAST_STEPS = 2
"""Steps that even the shortest board gets."""

CLOSE_ENOUGH_NM = 0.5 / METRES_PER_NM
"""How near the last board must end: half a metre."""

USUAL_ROUNDS = 14
MANY_ROUNDS = 40
EVALUATIONS_PER_ROUND = 2

TRIALS_WITHOUT_GAIN = 16
NO_GAIN = 2e-6
"""So many trials that gain less than this share of the time are enough."""

TRIALS_BEFORE_GIVING_UP = 8
HOPELESS = 1.01
"""After so many trials, what is this much slower than the time to beat is given up."""

NEAR_ENOUGH = 1e-4
"""A trial that misses the mark by less, in lengths of the leg, may be closed on it."""

CONTROL_SCALE_DEG = 10.0
LOOK_H = 1.0 / 60.0
LOOK_ROUND_H = 3.0
"""When the engine is used is looked up by the minute, so long before and after a board. [h]"""

SLACK_H = 1.5 * LOOK_H
"""What a board under engine may stick out. [h]"""

NUDGE_DEG = 0.05
"""Change of a helm's angle by which its effect is measured. [°]"""

NUDGE_SHARE = 1e-3
"""Change of a board's length by which its effect is measured, as a share of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Helm:
    """A board as an order to the helm."""

    mode: int
    steer: Steer
    control_deg: float
    """The polar's angle to keep, or the heading."""
    hours: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """Where and when a leg begins, and where it must end."""

    time_h: float
    lat: float
    lon: float
    mark_lat: float
    mark_lon: float


class Ends(NamedTuple):
    """Where trial sequences end; arrays of shape (B,)."""

    lat: Array
    lon: Array
    time_h: Array
    possible: BoolArray
    windows: tuple[Window, ...]
    """Of the first trial: when each board's sails may be carried, as far as it was seen."""
    lats: list[Array]
    lons: list[Array]
    """At every step on the way, from the start on."""
    times: list[float]
    """The first trial's times there."""

    @property
    def track(self) -> tuple[Array, Array, Array]:
        """Latitude and longitude of every step, shape (B, p), and the first trial's times there.

        Put together only for whoever looks at it: most integrations are asked for their ends.
        """
        return np.stack(self.lats, axis=1), np.stack(self.lons, axis=1), np.array(self.times)


class Window(NamedTuple):
    """Hours between which a board must be sailed: by daylight, or before it blows too hard."""

    opens_h: float = -np.inf
    closes_h: float = np.inf

    @classmethod
    def seen(cls, begin_h: float, step_h: float, carried: Sequence[bool]) -> Window:
        """Tell it from the steps of a board that could be sailed; empty if neither end could."""
        if all(carried):
            return cls()
        if carried[0]:
            return cls(closes_h=begin_h + step_h * carried.index(False))
        if carried[-1]:
            return cls(opens_h=begin_h + step_h * (len(carried) - carried[::-1].index(False)))
        return cls(np.inf, -np.inf)

    @classmethod
    def round_about(cls, begin_h: float, end_h: float, times_h: Array, used: BoolArray) -> Window:
        """Tell it from when something may be used: the run that a board shares most with.

        Parameters
        ----------
        begin_h, end_h : float
            Of the board. [h]
        times_h : ndarray, shape (n,)
            Ascending, from well before to well after it; a run to either end is open. [h]
        used : ndarray of bool, shape (n,)
        """
        padded = np.concatenate(([False], used, [False]))
        firsts, ends = np.flatnonzero(padded[1:] != padded[:-1]).reshape(-1, 2).T
        if not len(firsts):
            return cls(np.inf, -np.inf)
        opens, closes = times_h[firsts], times_h[ends - 1]
        best = int(np.argmax(np.minimum(closes, end_h) - np.maximum(opens, begin_h)))
        return cls(
            -np.inf if firsts[best] == 0 else float(opens[best]),
            np.inf if ends[best] == len(used) else float(closes[best]),
        )

    def within(self, other: Window) -> Window:
        """Both at once."""
        return Window(max(self.opens_h, other.opens_h), min(self.closes_h, other.closes_h))


def steps_for(hours: float, step_h: float = STEP_H) -> int:
    """Return into how many steps of the integration a board is cut."""
    return max(LEAST_STEPS, int(np.ceil(hours / step_h)))


def sail(
    waters: Waters,
    helms: Sequence[Helm],
    controls_deg: Array,
    hours: Array,
    start: Start,
    pauses_h: Sequence[float],
    step_h: float = STEP_H,
) -> Ends:
    """Integrate trial sequences of boards.

    Parameters
    ----------
    waters : Waters
    helms : sequence of Helm, length n
        Modes and ways of steering; their own values only set the steps.
    controls_deg, hours : ndarray, shape (B, n)
        Trial values.
    start : Start
    pauses_h : sequence of float, length n
        What the manoeuvres before each board cost; she lies still meanwhile. [h]
    step_h : float
        Longest step. [h]
    """
    count = len(hours)
    time = np.full(count, start.time_h)
    lat, lon = np.full(count, start.lat), np.full(count, start.lon)
    possible = np.ones(count, dtype=bool)
    windows = []
    lats, lons, times = [lat], [lon], [start.time_h]
    for i, helm in enumerate(helms):
        time = time + pauses_h[i]
        steps = steps_for(helm.hours, step_h)
        step = hours[:, i] / steps
        begin, carried = float(time[0]), []
        for _ in range(steps):
            lat, lon, ok = advance(
                waters,
                waters.modes[helm.mode],
                helm.steer,
                controls_deg[:, i],
                time,
                lat,
                lon,
                step,
            )
            time = time + step
            possible &= ok
            carried.append(bool(ok[0]))
            lats.append(lat)
            lons.append(lon)
            times.append(float(time[0]))
        windows.append(Window.seen(begin, float(step[0]), carried))
    return Ends(lat, lon, time, possible, tuple(windows), lats, lons, times)


@dataclass(slots=True, eq=False)
class _Problem:
    """Least time over controls and lengths, scaled for the optimiser."""

    waters: Waters
    helms: tuple[Helm, ...]
    start: Start
    pauses_h: tuple[float, ...]
    scale_nm: float
    step_h: float
    shortest_h: float
    possible: bool = False
    """Whether the sails could be carried all the way in the last point asked about."""
    seen: tuple[Window, ...] = ()
    """And when."""
    windows: tuple[Window, ...] = ()
    """To be kept to."""
    limits: Limits | None = None
    """Where to keep off hazards."""
    path: Path | None = None
    """Where the last point asked about led."""
    _at: Array | None = None
    _value: tuple[Array, Array] | None = None

    @property
    def count(self) -> int:
        return len(self.helms)

    @property
    def motored(self) -> bool:
        """Whether any board is under engine."""
        return any(self.waters.modes[helm.mode].engine for helm in self.helms)

    def unpack(self, x: Array) -> tuple[Array, Array]:
        """Controls and hours of scaled variables, shape (…, n) each."""
        hours_scale = np.array([h.hours for h in self.helms])
        return x[..., : self.count] * CONTROL_SCALE_DEG, x[..., self.count :] * hours_scale

    def refine(self) -> None:
        """Integrate in the final, shorter steps from here on."""
        if self.step_h != STEP_H:
            self.step_h, self._at = STEP_H, None

    def steps_fit(self, x: Array) -> bool:
        """Whether boards of these lengths would be cut into as many steps as they were."""
        hours = self.unpack(x)[1].tolist()
        return all(
            steps_for(new, self.step_h) == steps_for(helm.hours, self.step_h)
            for new, helm in zip(hours, self.helms, strict=True)
        )

    def moved_to(self, x: Array) -> _Problem:
        """Return the same problem with x as its first guess, in steps that fit it."""
        return replace(self, helms=self.orders(x), _at=None, _value=None)

    def orders(self, x: Array) -> tuple[Helm, ...]:
        """Orders to the helm at x."""
        controls, hours = self.unpack(x)
        return tuple(
            replace(h, control_deg=float(c), hours=float(t))
            for h, c, t in zip(self.helms, controls, hours, strict=True)
        )

    def keep_to_windows(self, seen: tuple[Window, ...]) -> bool:
        """Keep each board within what was seen; tell whether there is room at all."""
        before = self.windows or (Window(),) * self.count
        self.windows = tuple(a.within(b) for a, b in zip(before, seen, strict=True))
        return all(window.opens_h < window.closes_h for window in self.windows)

    def room(self) -> tuple[Array, Array]:
        """Rows A and values b of A·x + b ≥ 0: no board begins too soon or ends too late."""
        lengths = np.tri(self.count) * np.array([h.hours for h in self.helms])
        ends = np.hstack((np.zeros_like(lengths), lengths))
        begins = np.vstack((np.zeros((1, 2 * self.count)), ends[:-1]))
        ready = self.start.time_h + np.cumsum(self.pauses_h)
        windows = np.array(self.windows or (Window(),) * self.count)
        rows = np.vstack((begins, -ends))
        values = np.concatenate((ready - windows[:, 0], windows[:, 1] - ready))
        finite = np.isfinite(values)
        return rows[finite], values[finite]

    def pack(self) -> Array:
        controls = np.array([h.control_deg for h in self.helms]) / CONTROL_SCALE_DEG
        return np.concatenate((controls, np.ones(self.count)))

    def misses(self, x: Array) -> Array:
        """How trials fare, in lengths of the leg, shape (B, 2 + m).

        First how far east and north of the mark they end; then by how much they keep
        to the limits, negative beyond.
        """
        ends = sail(
            self.waters, self.helms, *self.unpack(x), self.start, self.pauses_h, self.step_h
        )
        self.possible, self.seen = bool(ends.possible[0]), ends.windows
        # A wild trial may run off the map; it only has to be seen to miss.
        lost = ~(np.abs(ends.lat) < 89.9) | ~np.isfinite(ends.lon)
        lat = np.where(lost, self.start.mark_lat, ends.lat)
        lon = np.where(lost, self.start.mark_lon, ends.lon)
        offset = geodesy.mercator_offset(self.start.mark_lat, self.start.mark_lon, lat, lon)
        nm_per_deg = 60.0 * np.cos(np.radians(self.start.mark_lat))
        miss = np.column_stack((offset.east_deg, offset.north_deg)) * nm_per_deg / self.scale_nm
        return np.where(lost[:, np.newaxis], 1e3, self._with_limits(miss, ends))

    def _with_limits(self, miss: Array, ends: Ends) -> Array:
        if self.limits is None:
            return miss
        from goosewing.changing import keep_clear as offing

        lat, lon, time_h = ends.track
        self.path = offing.Path(lat[0], lon[0], time_h, self._turns(len(time_h)))
        if not np.isfinite(self.path.lat + self.path.lon).all():
            return np.column_stack((miss, np.zeros((len(miss), len(self.limits)))))
        off = offing.off_nm(self.limits, self.path, lat, lon)
        return np.column_stack((miss, off / self.scale_nm))

    def _turns(self, count: int) -> BoolArray:
        """Which steps of the track end a board, but for the last."""
        steps = [steps_for(helm.hours, self.step_h) for helm in self.helms]
        turns = np.zeros(count, dtype=bool)
        turns[np.cumsum(steps)[:-1]] = True
        return turns

    def known(self, x: Array) -> bool:
        """Whether x was the last point asked about."""
        return self._at is not None and np.array_equal(self._at, x)

    def miss_and_slope(self, x: Array) -> tuple[Array, Array]:
        """What `misses` tells of x, and its derivative, shape (…, 2n), in one integration."""
        if self.known(x) and self._value is not None:
            return self._value
        size = 2 * self.count
        nudges = np.concatenate((
            np.full(self.count, NUDGE_DEG / CONTROL_SCALE_DEG), np.full(self.count, NUDGE_SHARE)
        ))  # fmt: skip
        trials = np.vstack((x, x + np.diag(nudges), x - np.diag(nudges)))
        misses = self.misses(trials)
        slope = (misses[1 : size + 1] - misses[size + 1 :]) / (2.0 * nudges[:, np.newaxis])
        self._at, self._value = x.copy(), (misses[0], slope.T)
        return self._value


def polish(
    waters: Waters,
    helms: Sequence[Helm],
    start: Start,
    pauses_h: Sequence[float],
    *,
    shortest_h: float = 0.0,
    effort: int = USUAL_ROUNDS,
    exact: bool = True,
    beat_h: float = np.inf,
    offing: Offing | None = None,
) -> tuple[Helm, ...] | None:
    """Re-optimise a sequence of boards until it ends at the mark in the least time.

    Parameters
    ----------
    waters : Waters
    helms : sequence of Helm
        A fair first guess.
    start : Start
    pauses_h : sequence of float
        What the manoeuvres before each board cost. [h]
    shortest_h : float
        No board gets shorter; a single one may. [h]
    effort : int
        Most rounds of the optimiser; many also make it more exacting.
    exact : bool
        Whether to end in the shortest steps of the integration; sequences may be
        compared in longer ones.
    beat_h : float
        A sequence that stays well slower than this, manoeuvres and all, is given up early. [h]
    offing : Offing, optional
        The hazards to keep off.

    Returns
    -------
    tuple of Helm or None
        None if this sequence can't be brought to the mark, its sails can't be carried,
        or it can't be kept off hazards.
    """
    leg = geodesy.loxodrome_inverse(start.lat, start.lon, start.mark_lat, start.mark_lon)
    helms = tuple(replace(h, hours=max(h.hours, 1e-4, shortest_h)) for h in helms)
    rough = np.clip(sum(h.hours for h in helms) / ROUGH_STEPS, STEP_H, LONGEST_STEP_H)
    problem = _Problem(
        waters, helms, start, tuple(pauses_h), max(float(leg.distance_nm), 1e-6), float(rough),
        shortest_h if len(helms) > 1 else 0.0,
    )  # fmt: skip
    with np.errstate(invalid="ignore"):
        if offing is None:
            made = _carried(problem, effort, beat_h, exact=exact)
        else:
            made = _kept_off(problem, offing, effort, beat_h, exact=exact)
    return None if made is None else made.helms


def _kept_off(
    problem: _Problem, offing: Offing, effort: int, beat_h: float, *, exact: bool
) -> _Problem | None:
    """Optimise within more and more limits, until nothing is crossed."""
    limits = offing.known
    for _ in range(ROUNDS_OF_LIMITS):
        made = _carried(replace(problem, limits=limits), effort, beat_h, exact=exact)
        if made is None or made.path is None:
            return None
        if offing.is_free(made.path):
            offing.remember(limits, made.path)
            return made
        more = limits.also(offing.limits_of(made.path))
        if len(more) == len(limits):
            return None
        limits = more
    return None


def _carried(problem: _Problem, effort: int, beat_h: float, *, exact: bool) -> _Problem | None:
    """Optimise so that sails can be carried to every board's end."""
    # A sequence that can't even be brought to the mark is not worth optimising.
    x = _close(problem, problem.pack(), rounds=6, near_nm=0.02 * problem.scale_nm, free=True)
    if x is None:
        return None
    # The engine may well be faster than the sails when it has to stop.
    if problem.motored and not problem.keep_to_windows(_judged(problem.moved_to(x))[0]):
        return None
    # Every round sets out from the first guess, in which the sails could most likely be
    # carried, not from what the round before came to without knowing that they can't.
    for _ in range(ROUNDS_OF_WINDOWS):
        made = _optimised(problem, x, effort, beat_h, exact=exact)
        if made is None:
            return None
        seen, possible = _judged(made)
        if not problem.keep_to_windows(seen):
            return None
        if possible:
            return made
    return None


def _judged(made: _Problem) -> tuple[tuple[Window, ...], bool]:
    """When each board may be sailed, and whether all are; the engine's use looked at closely."""
    if not made.motored:
        return made.seen, made.possible
    controls = np.array([[helm.control_deg for helm in made.helms]])
    hours = np.array([[helm.hours for helm in made.helms]])
    ends = sail(made.waters, made.helms, controls, hours, made.start, made.pauses_h, made.step_h)
    possible, windows, first = bool(ends.possible[0]), list(ends.windows), 0
    lat, lon, time_h = ends.track
    for at, helm in enumerate(made.helms):
        last = first + steps_for(helm.hours, made.step_h)
        if made.waters.modes[helm.mode].engine:
            part = slice(first, last + 1)
            times = time_h[part].copy()
            times[0] += made.pauses_h[at]
            window = _used_about(made.waters, times, lat[0, part], lon[0, part])
            possible &= window.opens_h - SLACK_H <= times[0]
            possible &= bool(times[-1] <= window.closes_h + SLACK_H)
            windows[at] = window
        first = last
    return tuple(windows), bool(possible)


def _used_about(waters: Waters, time_h: Array, lat: Array, lon: Array) -> Window:
    """Look every minute, from well before a board to well after, whether the engine is used."""
    begin, end = float(time_h[0]), float(time_h[-1])
    times = np.arange(begin - LOOK_ROUND_H, end + LOOK_ROUND_H, LOOK_H)
    lats, lons = np.interp(times, time_h, lat), np.interp(times, time_h, lon)
    used = waters.motored(waters.airs(times, lats, lons), times, lats, lons)
    return Window.round_about(begin, end, times, used)


def _optimised(
    problem: _Problem, x: Array, effort: int, beat_h: float, *, exact: bool
) -> _Problem | None:
    """Optimise from x and close on the mark; what was found is the answer's own first guess."""
    if problem.count > 1:
        found = _least_time(problem, x, effort, beat_h)
        if found is None:
            return None
        x = found
    made = problem.moved_to(x)
    if exact:
        made.refine()
    for _ in range(ROUNDS_OF_STEPS):
        closed = _close(made, made.pack())
        if closed is None:
            return None
        fits = made.steps_fit(closed)
        made = made.moved_to(closed)
        if fits:
            break
    return made


def _least_time(problem: _Problem, x: Array, effort: int, beat_h: float) -> Array | None:
    from scipy.optimize import minimize

    total = sum(h.hours for h in problem.helms)
    weights = np.concatenate((np.zeros(problem.count), [h.hours / total for h in problem.helms]))
    bounds = _bounds(problem)
    hopeless = HOPELESS * (beat_h - sum(problem.pauses_h)) / total
    watch = _Watch(problem, weights, EVALUATIONS_PER_ROUND * effort, hopeless)
    try:
        answer = minimize(
            lambda x: float(weights @ x),
            np.clip(x, *np.transpose(bounds)),
            jac=lambda x: weights,  # noqa: ARG005 - the objective is linear
            method="SLSQP",
            bounds=bounds,
            constraints=[
                {"type": "eq", "fun": lambda x: watch(x)[0][:2], "jac": lambda x: watch(x)[1][:2]},
                *_hazards_to_keep_off(problem, watch),
                *_room_to_keep(problem),
            ],
            options={"maxiter": effort, "ftol": 1e-5 if effort < MANY_ROUNDS else 1e-7},
        )
    except _EnoughError:
        return x if watch.best is None else watch.best
    except _HopelessError:
        return None
    found: Array = answer.x
    return found


def _room_to_keep(problem: _Problem) -> list[dict[str, Any]]:
    rows, values = problem.room()
    if not len(rows):
        return []
    return [{"type": "ineq", "fun": lambda x: rows @ x + values, "jac": lambda _: rows}]


def _hazards_to_keep_off(problem: _Problem, watch: _Watch) -> list[dict[str, Any]]:
    if not problem.limits:
        return []
    return [{"type": "ineq", "fun": lambda x: watch(x)[0][2:], "jac": lambda x: watch(x)[1][2:]}]


class _EnoughError(Exception):
    """The optimiser has had its share of integrations, or gains nothing any more."""


class _HopelessError(Exception):
    """The sequence won't come near the time to beat."""


@dataclass(slots=True, eq=False)
class _Watch:
    """Counts the integrations, and keeps the fastest trial that ends near the mark.

    Bilinear fields have creases, on which a line search can creep for long.
    """

    problem: _Problem
    weights: Array
    most: int
    hopeless: float = np.inf
    """A sequence that is still slower than this after some trials is given up."""
    asked: int = 0
    gained: int = 0
    """Trials until the last one that gained something."""
    best: Array | None = None
    least: float = np.inf
    roughly: float = np.inf
    """Least time of a trial that ended somewhere near."""

    def __call__(self, x: Array) -> tuple[Array, Array]:
        if self.asked >= self.most or self.asked - self.gained > TRIALS_WITHOUT_GAIN:
            raise _EnoughError
        if self.asked > TRIALS_BEFORE_GIVING_UP and np.inf > self.roughly > self.hopeless:
            raise _HopelessError
        if not self.problem.known(x):
            self.asked += 1
        miss, slope = self.problem.miss_and_slope(x)
        time = float(self.weights @ x)
        amiss = _amiss(miss)
        if amiss < 10.0 * NEAR_ENOUGH:
            self.roughly = min(self.roughly, time)
        if amiss < NEAR_ENOUGH and time < self.least:
            if time < self.least * (1.0 - NO_GAIN):
                self.gained = self.asked
            self.best, self.least = x.copy(), time
        return miss, slope


def _bounds(problem: _Problem) -> list[tuple[float, float]]:
    controls = []
    for helm in problem.helms:
        if helm.steer == "heading":
            low, high = helm.control_deg - 90.0, helm.control_deg + 90.0
        else:
            sails = problem.waters.boat.sail_sets[problem.waters.modes[helm.mode].sail_set]
            low = max(sails.polar.first_twa_deg, sails.twa_deg[0])
            high = min(sails.polar.last_twa_deg, sails.twa_deg[1])
        controls.append((low / CONTROL_SCALE_DEG, high / CONTROL_SCALE_DEG))
    shortest = problem.shortest_h
    lengths = [(shortest / h.hours if shortest else 1e-3, 20.0) for h in problem.helms]
    return controls + lengths


def _amiss(miss: Array) -> float:
    """How far a trial is from the mark, or beyond a limit, in lengths of the leg."""
    return float(max(np.hypot(*miss[:2]), -np.min(miss[2:], initial=0.0)))


def _close(
    problem: _Problem,
    x: Array,
    rounds: int = 12,
    near_nm: float = CLOSE_ENOUGH_NM,
    *,
    free: bool = False,
) -> Array | None:
    """Bring the end onto the mark by the smallest change of all variables (Newton).

    Back within the limits too, unless it is free to go beyond them.
    """
    for _ in range(rounds):
        miss, slope = problem.miss_and_slope(x)
        beyond = np.append([True, True], miss[2:] < (-np.inf if free else -BEYOND))
        miss, slope = miss[beyond], slope[beyond]
        if np.hypot(*miss[:2]) * problem.scale_nm < near_nm and not beyond[2:].any():
            return x
        x = x - _newton_step(problem, x, miss, slope)
        if not np.all(np.isfinite(x)) or np.any(x[problem.count :] <= 0.0):
            return None
    return None


def _newton_step(problem: _Problem, x: Array, miss: Array, slope: Array) -> Array:
    """Smallest change of all variables that undoes the miss; boards that are short stay as long."""
    step = np.linalg.lstsq(slope, miss, rcond=None)[0]
    short = problem.unpack(x - step)[1] < problem.shortest_h
    if short.any():
        kept = np.concatenate((np.zeros(problem.count, dtype=bool), short))
        step = np.linalg.lstsq(np.where(kept, 0.0, slope), miss, rcond=None)[0]
    return np.asarray(step)
