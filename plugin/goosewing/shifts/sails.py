"""A beat or run sailed in many drawn winds at once: by the rule, or on to the layline each time.

All runs advance together, a step of the clock at a time, as arrays; the winds are drawn from
the shifts' own law, exactly, and depend on the seed alone, so that two ways of sailing can be
compared wind by wind.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from goosewing.errors import NoPlanError
from goosewing.shifts.game import BEARINGS, HELD_DEG, Game

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.shifts.model import Shifts
    from goosewing.shifts.programme import Layers
    from goosewing.units import Array, BoolArray

STEP_S = 5.0
LONGEST_STEPS = 200_000
ARRIVED_NM = 0.01
"""Within 18 m the mark is alongside."""

TRIALS = 193
SLOWEST_KN = 0.1
WIDEST_DEG = 80.0
"""Shifts beyond this are cut: no wind turns back on itself within a beat."""


class Sailed(NamedTuple):
    """What n sails came to, shape (n,) each."""

    elapsed_h: Array
    turns: NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """Where to, from where, on which of the two tacks, in which shifts."""

    game: Game
    shifts: Shifts
    x: float
    y: float
    on: int


def sail(
    course: Course,
    by: Layers | Literal["layline"],
    count: int,
    *,
    seed: int = 0,
    step_s: float = STEP_S,
    pinched_deg: float = HELD_DEG,
) -> Sailed:
    """Sail to the mark in many winds, each of which starts as forecast.

    Parameters
    ----------
    course : Course
    by : Layers or "layline"
        The rule; or on to the layline of the moment, time after time.
    count : int
        How many winds.
    seed : int
        The same winds for the same seed, whatever is sailed by.
    step_s : float
        [s]
    pinched_deg : float
        See `Game.at`. [°]

    Raises
    ------
    NoPlanError
        If a boat hasn't arrived after a senseless time.
    """
    fleet = _Fleet(course, count, np.random.default_rng(seed), step_s / 3600.0, pinched_deg)
    for _ in range(LONGEST_STEPS):
        if not fleet.at_sea.any():
            return Sailed(fleet.elapsed_h, fleet.turns)
        fleet.step(by)
    raise NoPlanError(f"in shifty wind {course.game.mark.name} isn't reached in a sensible time")


class _Fleet:
    """The state of all boats, each with a clock of its own; `step` moves those at sea."""

    def __init__(
        self,
        course: Course,
        count: int,
        random: np.random.Generator,
        step_h: float,
        pinched_deg: float,
    ) -> None:
        self.game, self.shifts = course.game, course.shifts
        self.random, self.step_h = random, step_h
        widest = min(6.0 * course.shifts.sigma_deg, WIDEST_DEG)
        self.trial = np.linspace(-widest, widest, TRIALS)
        self.control = course.game.at(self.trial, pinched_deg)
        self.x, self.y = np.full(count, course.x), np.full(count, course.y)
        self.deviation, self.elapsed_h = np.zeros(count), np.zeros(count)
        self.on = np.full(count, course.on)
        self.turns = np.zeros(count, dtype=np.intp)
        self.at_sea = np.ones(count, dtype=bool)

    def step(self, by: Layers | Literal["layline"]) -> None:
        """Turn who should and sail the others for a step; every wind wanders on meanwhile."""
        speed = self._straight_kn(self.on, self.control.straight_kn)
        turn = self.at_sea & self._turns(by, speed)
        passed = np.where(turn, np.asarray(self.game.cost_h)[self.on], self.step_h)
        passed = self._advance(self.at_sea & ~turn, speed, passed)
        self.turns += turn
        self.on = np.where(turn, 1 - self.on, self.on)
        self.elapsed_h += np.where(self.at_sea, passed, 0.0)
        self.at_sea &= ~self.arrived
        mean, spread = self.shifts.after(self.deviation, passed)
        drawn = mean + spread * self.random.standard_normal(len(self.x))
        self.deviation = np.clip(drawn, self.trial[0], self.trial[-1])

    def _advance(self, sailing: BoolArray, speed: Array, passed: Array) -> Array:
        """Move the boats that sail; return how long each takes, less for one that arrives."""
        distance = np.hypot(self.x, self.y)
        straight = np.isfinite(speed)
        velocity = self._velocity(straight, speed, distance)
        reaches = straight & (np.nan_to_num(speed) * self.step_h >= distance)
        self.arrived = sailing & (reaches | (distance <= ARRIVED_NM))
        moved = np.where(sailing, self.step_h, 0.0)
        self.x = self.x + velocity.imag * moved
        self.y = self.y - velocity.real * moved
        last = distance / np.maximum(np.abs(velocity), SLOWEST_KN)
        taken: Array = np.where(self.arrived, last, passed)
        return taken

    def _velocity(
        self, straight: BoolArray, speed: Array, distance: Array
    ) -> NDArray[np.complex128]:
        best = np.array([w[at] for w, at in zip(self.game.water, self.game.best, strict=True)])
        by_wind = best[self.on] * np.exp(1j * np.radians(self.deviation)) + self.game.stream
        towards = (self.y - 1j * self.x) / np.maximum(distance, 1e-9)
        to_mark = np.nan_to_num(speed) * towards
        found: NDArray[np.complex128] = np.where(straight, to_mark, by_wind)
        return found

    def _turns(self, by: Layers | Literal["layline"], speed: Array) -> BoolArray:
        if by == "layline":
            other = self._straight_kn(1 - self.on, self.control.strictly_kn)
            return np.isnan(speed) & np.isfinite(other)
        found: BoolArray = by.gain_h(self.x, self.y, self.deviation, self.on) > 0.0
        return found

    def _straight_kn(self, on: NDArray[np.intp], table: Array) -> Array:
        """Speed straight to the mark, NaN where it isn't fetched."""
        bearing = np.degrees(np.arctan2(-self.x, self.y))
        row = (self.deviation - self.trial[0]) / (self.trial[1] - self.trial[0])
        at = np.rint((bearing + 180.0) / 360.0 * (BEARINGS - 1)).astype(np.intp)
        found: Array = table[on, np.rint(row).astype(np.intp), at]
        return found
