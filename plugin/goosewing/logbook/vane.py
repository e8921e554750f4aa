"""The wind vane: how far to one side it reads, and by how much too wide, from both tacks together.

What the sails bend the wind before the vane sees it, upwash, widens the angle on both tacks:
the wind then seems to shift with every tack, and must not. A vane set askew reads too far to
starboard on both: the wind doesn't seem to shift then, but the boat seems to sail faster on one
tack than on the other at the same angle, and is the same boat on both.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from goosewing.logbook.estimates import CERTAIN, Estimate, robust_fit, student_quantile, unknown
from goosewing.logbook.motion import MOST_STRETCHES, Motion
from goosewing.logbook.samples import turned
from goosewing.logbook.stretches import Stretches, thinned
from goosewing.logbook.surface import usual_form
from goosewing.units import Array
from goosewing.weather.wind import true_from_apparent

UPWASH_DOUBT_DEG, OFFSET_DOUBT_DEG = 3.0, 4.0
"""Known beforehand of a vane nobody has looked at; our choice."""

FULL_TO_DEG, NONE_FROM_DEG = 40.0, 120.0
"""Apparent wind angles to which upwash is full and from which there is none; our choice."""

WIND_KNOT_S = 240.0
WIND_WANDERS_DEG = 2.5
"""How far the wind shifts in four minutes, typically; our choice."""

MOST_KNOTS = 500

FEWEST = 15
"""Stretches on each tack."""

LARGEST_DEG = 20.0

TOLD_DEG = 1.5
"""Standard deviation below which it is told."""

LEAVES_DEG = 0.2
"""What no log takes away of a vane's doubt; our choice."""

ROUNDS, MOST_AT_ONCE_DEG, SETTLED_DEG = 5, 2.0, 0.05

TACKS_DIFFER = 0.005
"""In logarithm of speed; our choice."""

SCATTER, DEPARTS = 0.03, 0.25
"""Of a stretch about her polar, and of her polar about the usual form, in logarithm of speed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Vane:
    """What the vane reads wrong.

    Attributes
    ----------
    offset_deg : Estimate
        Too far to starboard. [°]
    upwash_deg : Estimate
        Too wide on either side, close-hauled; less as she bears away. [°]
    """

    offset_deg: Estimate
    upwash_deg: Estimate

    def angle(self, awa_deg: Array) -> Array:
        """Return the apparent wind angle behind what the vane shows, negative to port, degrees."""
        own = turned(awa_deg - self.offset_deg.value)
        return np.asarray(own - np.sign(own) * self.upwash_deg.value * fading(own))


def fading(awa_deg: Array) -> Array:
    """Share of the upwash at an apparent wind angle: 1 close-hauled, 0 from abaft the beam."""
    return np.asarray(np.interp(np.abs(awa_deg), (FULL_TO_DEG, NONE_FROM_DEG), (1.0, 0.0)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrueWind:
    """True wind of stretches: angle from the bow, 0 to 180 [°], speed [kn], boat speed [kn]."""

    twa_deg: Array
    tws_kn: Array
    stw_kn: Array
    leeway_deg: Array
    twd_deg: Array


def leeway_of(part: Stretches, moved: Motion, stw_kn: Array) -> Array:
    """Leeway by her heel, in degrees; none where heel is not logged."""
    heel = np.nan_to_num(part.heel_deg)
    leeway = moved.leeway.value * heel / np.maximum(stw_kn, 1.0) ** 2
    return np.asarray(np.minimum(leeway, LARGEST_DEG))


def true_wind(part: Stretches, moved: Motion, vane: Vane) -> TrueWind:
    """Work out the true wind of stretches from what the sensors show, put right."""
    stw = part.stw_kn * moved.log_factor.value
    leeway = leeway_of(part, moved, stw)
    heading = moved.heading(part.heading_deg)
    if not np.isfinite(part.awa_deg).any():
        twa = np.abs(part.twa_deg)
        twd = np.mod(heading + part.twa_deg, 360.0)
        return TrueWind(twa_deg=twa, tws_kn=part.tws_kn, stw_kn=stw, leeway_deg=leeway, twd_deg=twd)
    awa = vane.angle(part.awa_deg)
    found = true_from_apparent(np.abs(awa), part.aws_kn, stw, leeway)
    side = np.where(awa >= 0.0, 1.0, -1.0)
    twd = np.mod(heading + side * found.twa_deg, 360.0)
    return TrueWind(
        twa_deg=found.twa_deg, tws_kn=found.tws_kn, stw_kn=stw, leeway_deg=leeway, twd_deg=twd
    )


def nothing_told() -> Vane:
    """Return a vane taken as right."""
    return Vane(
        offset_deg=unknown(0.0, OFFSET_DOUBT_DEG), upwash_deg=unknown(0.0, UPWASH_DOUBT_DEG)
    )


def vane(part: Stretches, moved: Motion) -> Vane:
    """Tell the vane's offset and upwash from steady stretches under sail.

    Parameters
    ----------
    part : Stretches
    moved : Motion
        What log, compass and leeway are, by `goosewing.logbook.motion`.
    """
    known = np.isfinite(part.awa_deg) & np.isfinite(part.aws_kn) & np.isfinite(part.stw_kn)
    known &= np.isfinite(part.heading_deg)
    part = thinned(part.only(known), MOST_STRETCHES)
    if min(int((part.side == side).sum()) for side in (-1.0, 1.0)) < FEWEST:
        return nothing_told()
    found = _from_helm(part)
    for _ in range(ROUNDS):
        before = found
        upwash = _upwash(part, moved, found)
        found = Vane(offset_deg=found.offset_deg, upwash_deg=upwash)
        found = Vane(offset_deg=_offset(part, moved, found), upwash_deg=upwash)
        changed = abs(found.offset_deg.value - before.offset_deg.value)
        if max(changed, abs(upwash.value - before.upwash_deg.value)) < SETTLED_DEG:
            break
    return found


def _from_helm(part: Stretches) -> Vane:
    """A first guess: close-hauled, helms hold the same angle on both tacks."""
    close = np.abs(part.awa_deg) < FULL_TO_DEG
    sides = [part.awa_deg[close & (part.side == side)] for side in (-1.0, 1.0)]
    start = nothing_told()
    if min(each.size for each in sides) < FEWEST:
        return start
    guess = float(np.clip(np.median(sides[0]) + np.median(sides[1]), -20.0, 20.0)) / 2.0
    return Vane(offset_deg=unknown(guess, OFFSET_DOUBT_DEG), upwash_deg=start.upwash_deg)


def _by_angle(part: Stretches, moved: Motion, found: Vane) -> tuple[TrueWind, Array, Array]:
    """True wind, and how its angle [°/°] and speed [kn/°] grow with the apparent angle."""
    step = 0.5
    wind = true_wind(part, moved, found)
    wider = Vane(
        offset_deg=found.offset_deg,
        upwash_deg=Estimate(value=found.upwash_deg.value - step, low=0.0, high=0.0),
    )
    other = true_wind(part, moved, wider)
    moves = step * np.maximum(fading(part.awa_deg), 1e-3)
    return wind, (other.twa_deg - wind.twa_deg) / moves, (other.tws_kn - wind.tws_kn) / moves


def _upwash(part: Stretches, moved: Motion, now: Vane) -> Estimate:
    """How much narrower the angle must be for the wind not to shift with her tacks."""
    wind, growth, _ = _by_angle(part, moved, now)
    time_s = 0.5 * (part.begin_s + part.end_s)
    hats = _hats(time_s)
    knots = hats.shape[1]
    steps = np.diff(np.eye(knots), axis=0)
    prior = np.zeros((1 + knots, 1 + knots))
    prior[0, 0] = 1.0 / UPWASH_DOUBT_DEG**2
    prior[1:, 1:] = steps.T @ steps / WIND_WANDERS_DEG**2 + 1e-8 * np.eye(knots)
    # Wind direction told = wind direction + side · growth · share · (what is too wide still).
    column = part.side * growth * fading(part.awa_deg)
    start = wind.twd_deg[0]
    # A slow wind crosses no half circle between neighbours of a few minutes.
    direction = start + np.degrees(np.unwrap(np.radians(turned(wind.twd_deg - start))))
    prior_value = np.zeros(1 + knots)
    prior_value[0] = -now.upwash_deg.value
    design = np.column_stack((column, hats))
    middle = float(np.median(direction))
    target = direction - middle - design @ prior_value
    solved = robust_fit(design, target, part.board, prior)
    value = now.upwash_deg.value + float(solved.value[0] + prior_value[0])
    return _told(value, float(np.sqrt(solved.covariance[0, 0])), solved.freedom, UPWASH_DOUBT_DEG)


def _told(value: float, deviation: float, freedom: float, doubt: float) -> Estimate:
    if deviation > TOLD_DEG:
        return unknown(0.0, doubt)
    reach = student_quantile(0.5 + CERTAIN / 2.0, freedom) * float(np.hypot(deviation, LEAVES_DEG))
    return Estimate(value=value, low=value - reach, high=value + reach)


def _hats(time_s: Array) -> Array:
    """Weights of the wind's knots at each time, shape (n, knots); knots only where she sails."""
    space = max(WIND_KNOT_S, float(np.ptp(time_s)) / MOST_KNOTS)
    place = (time_s - time_s[0]) / space
    left = np.floor(place).astype(np.intp)
    used, at = np.unique(np.concatenate((left, left + 1)), return_inverse=True)
    hats = np.zeros((time_s.size, used.size))
    rows = np.arange(time_s.size)
    hats[rows, at[: time_s.size]] += 1.0 - (place - left)
    hats[rows, at[time_s.size :]] += place - left
    return hats


def _offset(part: Stretches, moved: Motion, now: Vane) -> Estimate:
    """How far askew the vane is, for the boat to be as fast on one tack as on the other."""
    wind, angle_growth, speed_growth = _by_angle(part, moved, now)
    good = (wind.tws_kn > 3.0) & (wind.stw_kn > 1.0) & (wind.twa_deg > 20.0)
    angle, tws = wind.twa_deg[good], wind.tws_kn[good]
    basis, by_angle, by_speed, ridge = _smooth_basis(angle, tws)
    speed = np.log(wind.stw_kn[good]) - usual_form(angle, tws)
    curve = np.linalg.solve(basis.T @ basis / SCATTER**2 + ridge, basis.T @ speed / SCATTER**2)
    # What the curve says for a vane askew by a degree more.
    steeper = (usual_form(angle + 0.5, tws) - usual_form(angle - 0.5, tws)) + by_angle @ curve
    faster = (usual_form(angle, tws * 1.01) - usual_form(angle, tws)) / (0.01 * tws)
    slope = steeper * angle_growth[good] + (faster + by_speed @ curve) * speed_growth[good]
    column = part.side[good] * slope
    design = np.column_stack((column, basis))
    # The two tacks may differ a little besides: a sea from one side, a foul propeller.
    design = np.column_stack((design, part.side[good]))
    prior = np.zeros((design.shape[1], design.shape[1]))
    prior[0, 0] = 1.0 / OFFSET_DOUBT_DEG**2
    prior[1:-1, 1:-1] = ridge
    prior[-1, -1] = 1.0 / TACKS_DIFFER**2
    known = np.zeros(design.shape[1])
    known[0] = now.offset_deg.value
    solved = robust_fit(design, speed - design @ known, part.board[good], prior)
    # Too far to starboard, it reads too wide an angle there: she sails as at a closer one.
    more = float(np.clip(-(solved.value[0] + known[0]), -MOST_AT_ONCE_DEG, MOST_AT_ONCE_DEG))
    return _told(
        now.offset_deg.value + more,
        float(np.sqrt(solved.covariance[0, 0])),
        solved.freedom,
        OFFSET_DOUBT_DEG,
    )


def _smooth_basis(twa_deg: Array, tws_kn: Array) -> tuple[Array, Array, Array, Array]:
    """Cosines of the angle times powers of the wind's logarithm; their slopes; their precision.

    What they are laid over is the usual form; the finer the wave, the less of it is expected.
    """
    radians = np.radians(twa_deg)
    x = np.log(tws_kn / 10.0)
    columns, by_angle, by_speed, sizes = [], [], [], []
    for order in range(7):
        for power in range(3 if order < 4 else 1):
            wave, ripple = np.cos(order * radians), -order * np.sin(order * radians)
            columns.append(wave * x**power)
            by_angle.append(np.radians(ripple) * x**power)
            by_speed.append(wave * power * x ** max(power - 1, 0) / tws_kn)
            sizes.append(DEPARTS / (1.0 + order**2) / (1.0 + power))
    sizes[0] = 1.0
    precision = np.diag(1.0 / np.square(sizes))
    return np.column_stack(columns), np.column_stack(by_angle), np.column_stack(by_speed), precision
