"""Boards re-optimised by exact integration through wind and stream until they hit the mark.

The search says which tack and sail set follow which; here the helm's angles and
the boards' lengths are made exact: least time, subject to ending at the mark
(sequential quadratic programming). All boards of all trial values are
integrated together, as arrays.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing import earth
from goosewing.motion import Waters, advance
from goosewing.units import METRES_PER_NM

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.records import Steer
    from goosewing.units import Array, BoolArray

STEP_H = 0.25
"""Longest step of the integration, second order. [h]"""

ROUGH_STEPS = 60
"""While the optimiser is still looking about, a whole leg gets about so many steps."""

LONGEST_STEP_H = 1.0
"""But none is longer than this: forecasts are hourly at best. [h]"""

ROUNDS_OF_STEPS = 3
"""A board that grew or shrank gets other steps, and the mark is closed again, so often at most."""

LEAST_STEPS = 2
"""Steps that even the shortest board gets."""

CLOSE_ENOUGH_NM = 0.5 / METRES_PER_NM
"""How near the last board must end: half a metre."""

MANY_ROUNDS = 40
EVALUATIONS_PER_ROUND = 2

NEAR_ENOUGH = 1e-4
"""A trial that misses the mark by less, in lengths of the leg, may be closed on it."""

CONTROL_SCALE_DEG = 10.0
NUDGE_DEG = 0.05
"""Change of a helm's angle by which its effect is measured. [°]"""

NUDGE_H = 1e-3
"""Change of a board's length by which its effect is measured, at most. [h]"""


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
    for i, helm in enumerate(helms):
        time = time + pauses_h[i]
        steps = steps_for(helm.hours, step_h)
        step = hours[:, i] / steps
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
    return Ends(lat, lon, time, possible)


@dataclass(slots=True, eq=False)
class _Problem:
    """Least time over controls and lengths, scaled for the optimiser."""

    waters: Waters
    helms: tuple[Helm, ...]
    start: Start
    pauses_h: tuple[float, ...]
    scale_nm: float
    step_h: float
    possible: bool = False
    """Whether the sails could be carried all the way in the last point asked about."""
    _at: Array | None = None
    _value: tuple[Array, Array] | None = None

    @property
    def count(self) -> int:
        return len(self.helms)

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
        """Return the same problem with x as its first guess, and steps that fit it."""
        return replace(self, helms=self.orders(x), _at=None, _value=None)

    def orders(self, x: Array) -> tuple[Helm, ...]:
        """Orders to the helm at x."""
        controls, hours = self.unpack(x)
        return tuple(
            replace(h, control_deg=float(c), hours=float(t))
            for h, c, t in zip(self.helms, controls, hours, strict=True)
        )

    def pack(self) -> Array:
        controls = np.array([h.control_deg for h in self.helms]) / CONTROL_SCALE_DEG
        return np.concatenate((controls, np.ones(self.count)))

    def misses(self, x: Array) -> Array:
        """How far east and north of the mark trials end, in lengths of the leg, shape (B, 2)."""
        ends = sail(
            self.waters, self.helms, *self.unpack(x), self.start, self.pauses_h, self.step_h
        )
        self.possible = bool(ends.possible[0])
        # A wild trial may run off the map; it only has to be seen to miss.
        lost = ~(np.abs(ends.lat) < 89.9) | ~np.isfinite(ends.lon)
        lat = np.where(lost, self.start.mark_lat, ends.lat)
        lon = np.where(lost, self.start.mark_lon, ends.lon)
        offset = earth.mercator_offset(self.start.mark_lat, self.start.mark_lon, lat, lon)
        nm_per_deg = 60.0 * np.cos(np.radians(self.start.mark_lat))
        miss = np.column_stack((offset.east_deg, offset.north_deg)) * nm_per_deg / self.scale_nm
        return np.where(lost[:, np.newaxis], 1e3, miss)

    def known(self, x: Array) -> bool:
        """Whether x was the last point asked about."""
        return self._at is not None and np.array_equal(self._at, x)

    def miss_and_slope(self, x: Array) -> tuple[Array, Array]:
        """The miss at x, shape (2,), and its derivative, shape (2, 2n), in one integration."""
        if self.known(x) and self._value is not None:
            return self._value
        size = 2 * self.count
        nudges = np.concatenate((
            np.full(self.count, NUDGE_DEG / CONTROL_SCALE_DEG), np.full(self.count, 1e-3)
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
    effort: int = 14,
    exact: bool = True,
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

    Returns
    -------
    tuple of Helm or None
        None if this sequence can't be brought to the mark, or its sails can't be carried.
    """
    leg = earth.loxodrome_inverse(start.lat, start.lon, start.mark_lat, start.mark_lon)
    helms = tuple(replace(h, hours=max(h.hours, 1e-4, shortest_h)) for h in helms)
    rough = np.clip(sum(h.hours for h in helms) / ROUGH_STEPS, STEP_H, LONGEST_STEP_H)
    problem = _Problem(
        waters, helms, start, tuple(pauses_h), max(float(leg.distance_nm), 1e-6), float(rough)
    )
    with np.errstate(invalid="ignore"):
        # A sequence that can't even be brought to the mark is not worth optimising.
        x = _close(problem, problem.pack(), rounds=6, near_nm=0.02 * problem.scale_nm)
        if x is not None and len(helms) > 1:
            x = _least_time(problem, x, shortest_h, effort)
        if x is None:
            return None
        if exact:
            problem.refine()
        x = _close(problem, x)
        for _ in range(ROUNDS_OF_STEPS):
            if x is None or problem.steps_fit(x):
                break
            problem = problem.moved_to(x)
            x = _close(problem, problem.pack())
    return None if x is None else _settled(problem, x)


def _least_time(problem: _Problem, x: Array, shortest_h: float, effort: int) -> Array:
    from scipy.optimize import minimize

    total = sum(h.hours for h in problem.helms)
    weights = np.concatenate((np.zeros(problem.count), [h.hours / total for h in problem.helms]))
    bounds = _bounds(problem, shortest_h)
    watch = _Watch(problem, weights, EVALUATIONS_PER_ROUND * effort)
    try:
        answer = minimize(
            lambda x: float(weights @ x),
            np.clip(x, *np.transpose(bounds)),
            jac=lambda x: weights,  # noqa: ARG005 - the objective is linear
            method="SLSQP",
            bounds=bounds,
            constraints={
                "type": "eq",
                "fun": lambda x: watch(x)[0],
                "jac": lambda x: watch(x)[1],
            },
            options={"maxiter": effort, "ftol": 1e-5 if effort < MANY_ROUNDS else 1e-7},
        )
    except _EnoughError:
        return x if watch.best is None else watch.best
    found: Array = answer.x
    return found


class _EnoughError(Exception):
    """The optimiser has had its share of integrations."""


@dataclass(slots=True, eq=False)
class _Watch:
    """Counts the integrations, and keeps the fastest trial that ends near the mark.

    Bilinear fields have creases, on which a line search can creep for long.
    """

    problem: _Problem
    weights: Array
    left: int
    best: Array | None = None
    least: float = np.inf

    def __call__(self, x: Array) -> tuple[Array, Array]:
        if self.left <= 0:
            raise _EnoughError
        if not self.problem.known(x):
            self.left -= 1
        miss, slope = self.problem.miss_and_slope(x)
        time = float(self.weights @ x)
        if np.hypot(*miss) < NEAR_ENOUGH and time < self.least:
            self.best, self.least = x.copy(), time
        return miss, slope


def _bounds(problem: _Problem, shortest_h: float) -> list[tuple[float, float]]:
    controls = []
    for helm in problem.helms:
        if helm.steer == "heading":
            low, high = helm.control_deg - 90.0, helm.control_deg + 90.0
        else:
            sails = problem.waters.boat.sail_sets[problem.waters.modes[helm.mode].sail_set]
            low = max(sails.polar.first_twa_deg, sails.twa_deg[0])
            high = min(sails.polar.last_twa_deg, sails.twa_deg[1])
        controls.append((low / CONTROL_SCALE_DEG, high / CONTROL_SCALE_DEG))
    lengths = [(shortest_h / h.hours if shortest_h else 1e-3, 20.0) for h in problem.helms]
    return controls + lengths


def _close(
    problem: _Problem, x: Array, rounds: int = 12, near_nm: float = CLOSE_ENOUGH_NM
) -> Array | None:
    """Bring the end onto the mark by the smallest change of all variables (Newton)."""
    for _ in range(rounds):
        miss, slope = problem.miss_and_slope(x)
        if np.hypot(*miss) * problem.scale_nm < near_nm:
            return x
        x = x - np.linalg.lstsq(slope, miss, rcond=None)[0]
        if not np.all(np.isfinite(x)) or np.any(x[problem.count :] <= 0.0):
            return None
    return None


def _settled(problem: _Problem, x: Array) -> tuple[Helm, ...] | None:
    if not problem.possible:
        return None
    return problem.orders(x)
