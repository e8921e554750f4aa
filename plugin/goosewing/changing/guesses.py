"""What the weather along a leg is like: guesses and limits for the search; the straight course."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from goosewing.boat.manoeuvres import all_modes
from goosewing.boat.model import row_angles, sailing
from goosewing.changing.engine_rule import farthest_mix_kn
from goosewing.earth import geodesy
from goosewing.velocities.velocity_set import (
    ON_THE_RAY_KN,
    Airs,
    VelocitySet,
    along_and_across,
    velocity_set,
)

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from goosewing.boat.model import Boat, Engine
    from goosewing.changing.motion import Waters
    from goosewing.earth.course import Course
    from goosewing.units import Array

SLOWEST_H_PER_NM = 10.0
"""The guess for a direction in which nothing is made good. [h/nm]"""

SAMPLES = 5
GAUGE_STEP_DEG = 2.0
GUESS_KN = 3.0
STRAIGHT_STEPS = 60
STRAIGHT_STEP_DEG = 1.0
STRAIGHT_SWEEPS = 12
STRAIGHT_RESTS = 1e-7
"""Times along a straight course rest when their sum moves by less than this share."""

LONGEST_STRAIGHT = 12.0
"""A straight course that takes this many times the plan's time is none."""


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """Guesses and limits along a leg.

    Attributes
    ----------
    gauge : ndarray, shape (M + 1, 361)
        Hours that a mile takes by bearing (`hours_per_mile`).
    fastest_kn : float
        What no speed over the ground exceeds.
    best_rows : list of ndarray
        For each sail set, its best angles up and down the wind in the winds met.
    """

    gauge: Array
    fastest_kn: float
    best_rows: list[Array]

    def hours_per_nm(self, bearing_deg: float) -> float:
        """Hours that a mile takes on a bearing, on the whole."""
        return float(np.interp(bearing_deg % 360.0, np.arange(361.0), self.gauge[-1]))


def along(waters: Waters, course: Course, start_h: float) -> Outlook:
    """Look along a leg, at the times when she may be there."""
    seen = _seen(waters, course, start_h)
    sets = [velocity_set(waters.boat, airs, step_deg=GAUGE_STEP_DEG) for airs in seen]
    gauges = [hours_per_mile(held) for held in sets if len(held)]
    modes = len(all_modes(waters.boat))
    gauge = _on_the_whole(gauges) if gauges else np.full((modes + 1, 361), SLOWEST_H_PER_NM)
    if waters.lulls is not None:
        gauge = _with_engine(gauge, waters.lulls.engine, seen)
    elif not gauges:
        gauge = np.full_like(gauge, 1.0 / GUESS_KN)
    drift = max((np.hypot(a.stream_east_kn, a.stream_north_kn) for a in seen), default=0.0)
    winds = [airs.tws_kn for airs in seen] or [10.0]
    rows = [_best_rows(waters.boat, i, winds) for i in range(len(waters.boat.sail_sets))]
    return Outlook(gauge, _fastest_kn(waters) + 1.5 * float(drift) + 0.5, rows)


def _on_the_whole(gauges: list[Array]) -> Array:
    """Hours that a mile takes at the mean of the speeds: one place in a calm says little of all."""
    return np.asarray(1.0 / np.mean([1.0 / gauge for gauge in gauges], axis=0))


def _with_engine(gauge: Array, engine: Engine, seen: list[Airs[float]]) -> Array:
    """Add the engine's hours per mile; with all modes it is used where sailing is too slow."""
    bearings = np.arange(361.0)
    east = float(np.mean([airs.stream_east_kn for airs in seen])) if seen else 0.0
    north = float(np.mean([airs.stream_north_kn for airs in seen])) if seen else 0.0
    along, across = along_and_across(np.full(361, east), np.full(361, north), bearings)
    ahead = np.sqrt(np.fmax(engine.speed_kn**2 - across**2, 0.0)) + along
    motored = 1.0 / np.fmax(ahead, 1.0 / SLOWEST_H_PER_NM)
    slow = gauge[-1] > 1.0 / engine.least_vmc_kn
    every = np.where(slow, np.fmin(gauge[-1], motored), gauge[-1])
    return np.concatenate((gauge[:-1], motored[np.newaxis], every[np.newaxis]))


def _seen(waters: Waters, course: Course, start_h: float) -> list[Airs[float]]:
    """Sample the airs along the loxodrome at a guessed speed; where unknown, nothing."""
    share = np.linspace(0.0, 1.0, SAMPLES)
    at = geodesy.loxodrome_direct(
        course.lat1, course.lon1, course.bearing_deg, share * course.distance_nm
    )
    times = start_h + share * course.distance_nm / GUESS_KN
    airs = waters.airs(times, at.lat, at.lon)
    return [
        Airs(*(float(value) for value in here))
        for here in zip(*airs, strict=True)
        if np.isfinite(here[1])
    ]


def _fastest_kn(waters: Waters) -> float:
    boat = waters.boat
    best = max(float(np.max(sails.polar.values)) for sails in boat.sail_sets)
    p = boat.performance
    motored = 0.0 if waters.lulls is None else waters.lulls.engine.speed_kn
    return max(best * max(p.upwind, p.reach, p.run), motored)


def _best_rows(boat: Boat, index: int, winds_kn: list[float]) -> Array:
    """Best angles up and down the wind of one sail set over the winds met."""
    sails = boat.sail_sets[index]
    rows = row_angles(sails, 0.5)
    tws = np.linspace(min(winds_kn), max(winds_kn), 3)[:, np.newaxis]
    held = sailing(boat, index, rows[np.newaxis, :], np.clip(tws, 1.0, sails.strongest_tws_kn))
    vmg = np.where(
        held.possible, held.boat_speed_kn * np.cos(np.radians(held.track_angle_deg)), 0.0
    )
    found = [rows[i] for i, v in zip(np.argmax(vmg, axis=1), vmg.max(axis=1), strict=True) if v > 0]
    found += [
        rows[i] for i, v in zip(np.argmin(vmg, axis=1), vmg.min(axis=1), strict=True) if v < 0
    ]
    return np.unique(found)


def straight_h(waters: Waters, course: Course, start_h: float, plan_h: float) -> float | None:
    """Return the time of the loxodrome with the best single tack and sail set, or None.

    Under each that can hold the course, the times at which she passes places along it are
    guessed and put right by the speeds made there then, until they rest: they act on one
    another little. Where they don't rest, or she may lie still, she marches step by step.
    """
    found: list[float | None] = []
    for number, mode in enumerate(waters.modes):
        if mode.engine or not _along_kn(waters, course, number, start_h, np.zeros(1))[0] > 0.0:
            continue
        hours = _passed_h(waters, course, start_h, plan_h, number)
        found.append(
            _marched_h(waters, course, start_h, plan_h, number) if hours is None else hours
        )
    return min((hours for hours in found if hours is not None), default=None)


def _passed_h(
    waters: Waters, course: Course, start_h: float, plan_h: float, number: int
) -> float | None:
    """Hours of one mode along the course, by places all at once; None if that doesn't rest."""
    piece = course.distance_nm / STRAIGHT_STEPS
    middle = piece * (np.arange(STRAIGHT_STEPS, dtype=np.float64) + 0.5)
    taken = np.full(STRAIGHT_STEPS, plan_h / STRAIGHT_STEPS)
    for _ in range(STRAIGHT_SWEEPS):
        time_h: Array = start_h + np.cumsum(taken) - 0.5 * taken
        before = taken
        taken = np.asarray(piece / _along_kn(waters, course, number, time_h, middle))
        longest = np.max(taken)
        if not (np.all(taken > 0.0) and longest < LONGEST_STRAIGHT * plan_h / STRAIGHT_STEPS):
            return None
        if abs(float(np.sum(taken - before))) < STRAIGHT_RESTS * plan_h:
            return float(np.sum(taken))
    return None


def _marched_h(
    waters: Waters, course: Course, start_h: float, plan_h: float, number: int
) -> float | None:
    """Hours of one mode along the course, by midpoint steps; None if it can't be held."""
    gone, hours, step_h = 0.0, 0.0, plan_h / STRAIGHT_STEPS

    def speed_kn(time_h: float, gone_nm: float) -> float:
        return float(_along_kn(waters, course, number, time_h, np.array([gone_nm]))[0])

    while hours < LONGEST_STRAIGHT * plan_h:
        middle = gone + speed_kn(start_h + hours, gone) * step_h / 2.0
        if not np.isfinite(middle):
            return None
        speed = speed_kn(start_h + hours + step_h / 2.0, middle)
        if not speed > 0.0:
            return None
        if gone + speed * step_h >= course.distance_nm:
            return hours + (course.distance_nm - gone) / speed
        gone, hours = gone + speed * step_h, hours + step_h
    return None


def _along_kn(
    waters: Waters, course: Course, number: int, time_h: ArrayLike, gone_nm: Array
) -> Array:
    """Fastest speed made good along the course in one mode, shape (n,); NaN where it can't."""
    mode = waters.modes[number]
    at = geodesy.loxodrome_direct(course.lat1, course.lon1, course.bearing_deg, gone_nm)
    rows = row_angles(waters.boat.sail_sets[mode.sail_set], STRAIGHT_STEP_DEG)
    airs = waters.airs(time_h, at.lat, at.lon)
    going = waters.at_angle(mode, rows, type(airs)(*(values[:, np.newaxis] for values in airs)))
    possible = going.possible
    if mode.poled:
        possible = possible & waters.pole_allowed(time_h, at.lat, at.lon)[:, np.newaxis]
    along, across = along_and_across(
        np.where(possible, going.east_kn, np.nan),
        np.where(possible, going.north_kn, np.nan),
        course.bearing_deg,
    )
    return fastest_crossing(along, across, rows)[0]


def fastest_crossing(along: Array, across: Array, rows: Array) -> tuple[Array, Array]:
    """Find the fastest velocity on the ray between neighbouring angles, for n states.

    Parameters
    ----------
    along, across : ndarray, shape (n, a)
        Velocities along the ray and to the right of it; NaN where not possible. [kn]
    rows : ndarray, shape (a,)
        The polar's angles of the columns. [°]

    Returns
    -------
    speed_kn, row_deg : ndarray, shape (n,)
        Interpolated along the chord; NaN where the mode can't sail that way.
    """
    across = np.where(np.abs(across) < ON_THE_RAY_KN, 0.0, across)
    a, b = across[:, :-1], across[:, 1:]
    with np.errstate(invalid="ignore"):
        meets = a * b <= 0.0
    span = a - b
    share = np.divide(a, span, out=np.zeros_like(span), where=meets & (np.abs(span) > 1e-12))
    speed = along[:, :-1] + share * (along[:, 1:] - along[:, :-1])
    speed = np.where(meets & (speed > 1e-6), speed, -np.inf)
    best = np.argmax(speed, axis=1)
    every = np.arange(len(best))
    row = rows[best] + share[every, best] * (rows[best + 1] - rows[best])
    found = np.isfinite(speed[every, best])
    return np.where(found, speed[every, best], np.nan), np.where(found, row, np.nan)


def hours_per_mile(held: VelocitySet) -> Array:
    """Tabulate the hours that a mile takes in steady airs, by bearing.

    Returns
    -------
    ndarray, shape (M + 1, 361)
        For each mode alone, and last for all together; large where that way
        nothing is made good. [h/nm]
    """
    bearings = np.arange(361.0)[:, np.newaxis]
    along, across = along_and_across(held.east_kn, held.north_kn, bearings)
    speeds = [
        farthest_mix_kn(along[:, held.mode == mode], across[:, held.mode == mode])
        if (held.mode == mode).any() else np.zeros(361)
        for mode in range(len(held.modes))
    ]  # fmt: skip
    speeds.append(farthest_mix_kn(along, across))
    return np.asarray(1.0 / np.fmax(speeds, 1.0 / SLOWEST_H_PER_NM))
