r"""Log factor, compass and leeway, from how she moves over the ground on both tacks.

What the log and the compass say, turned to leeward and carried by the stream, must be what
the receiver says:

.. math:: g = f V \, h(H - \delta - A\sin H - B\cos H \pm \lambda) + s(t),
          \quad \lambda = k\,\frac{\phi}{(f V)^2}

h the unit vector of a course, H what the compass shows, φ the heel, V what the log shows. The
stream s wanders. On one tack alone leeway, compass and stream can't be told apart; on both they
can, for leeway changes sides, a compass's error doesn't, and the stream stays where it was.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from goosewing.logbook.estimates import (
    CERTAIN,
    Estimate,
    Solved,
    robust_fit,
    student_quantile,
    unknown,
)
from goosewing.logbook.stretches import Stretches, thinned
from goosewing.units import Array

FEWEST_STRETCHES = 8
"""On each tack."""

LOG_DOUBT = 0.04
"""Of a log that nobody has looked at, as a share: known before; our choice."""

COMPASS_DOUBT_DEG = 10.0
DEVIATION_DOUBT_DEG = 3.0
LEEWAY_DOUBT = 60.0
"""So wide that it tells nothing of k."""

USUAL_LEEWAY, LEEWAY_UNTOLD = 10.0, 4.0
"""k and its doubt where nothing tells it: 5 to 20 are known of (common practice, no source)."""

FORMULA_LEAVES, LOG_LEAVES, COMPASS_LEAVES_DEG = 0.02, 0.001, 0.1
"""What no log takes away: of k for the formula and the heel sensor, as a share; of the log's
factor; of the compass. Our choice."""

STREAM_KNOT_S = 1200.0
STREAM_KN, STREAM_WANDERS_KN = 2.0, 0.35
"""A stream is so strong, and changes so much in twenty minutes: a strong tide's; our choice."""

MOST_KNOTS = 400

MOST_STRETCHES = 4000
"""More are thinned out: by then what is left of the doubt is not for lack of them."""

MOST_LEEWAY = np.radians(25.0)

ROUNDS = 3
"""Of a straight line laid on what bends little."""

LEAST_SPEED_KN, UPRIGHT_DEG = 3.0, 2.0
"""Slower, and not upright, tells nothing of leeway nor of what depends on it."""

HEELED_DEG = 4.0
"""Less tells nothing of leeway."""

TOLD_SPEED = 0.025
"""A log factor is told if its standard deviation is less."""

TOLD_COMPASS_DEG = 2.5

TOLD_LEEWAY = 4.0
"""The same of k."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """What her motion over the ground tells.

    Attributes
    ----------
    log_factor : Estimate
        Multiplies what the log shows.
    compass_offset_deg : Estimate
        What the compass reads too much, mean over all headings. [°]
    deviation_sin_deg, deviation_cos_deg : Estimate
        What it reads too much besides, on the sine and the cosine of the heading. [°]
    leeway : Estimate
        k. [° · kn² per °]
    boards : tuple of int
        On port and on starboard tack.
    why : str
        Why nothing is told, if nothing is.
    """

    log_factor: Estimate
    compass_offset_deg: Estimate
    deviation_sin_deg: Estimate
    deviation_cos_deg: Estimate
    leeway: Estimate
    boards: tuple[int, int] = (0, 0)
    why: str = ""

    def heading(self, compass_deg: Array) -> Array:
        """Return the true heading behind what the compass shows, in degrees."""
        radians = np.radians(compass_deg)
        wrong = (
            self.compass_offset_deg.value
            + self.deviation_sin_deg.value * np.sin(radians)
            + self.deviation_cos_deg.value * np.cos(radians)
        )
        return np.asarray(np.mod(compass_deg - wrong, 360.0))


def nothing_told(why: str, leeway: float | None = None) -> Motion:
    """Return the usual values, and why no more is known."""
    return Motion(
        log_factor=unknown(1.0, LOG_DOUBT),
        compass_offset_deg=unknown(0.0, COMPASS_DOUBT_DEG),
        deviation_sin_deg=unknown(0.0, DEVIATION_DOUBT_DEG),
        deviation_cos_deg=unknown(0.0, DEVIATION_DOUBT_DEG),
        leeway=unknown(USUAL_LEEWAY if leeway is None else leeway, LEEWAY_UNTOLD),
        why=why,
    )


def motion(sailed: Stretches, leeway: float | None = None, *, heel_logged: bool = True) -> Motion:
    """Tell log factor, compass and leeway from steady stretches under sail.

    Parameters
    ----------
    sailed : Stretches
    leeway : float, optional
        k as it is known beforehand, used where this log can't tell it.
    heel_logged : bool
        If not, the stretches' heel is a guess: leeway is then reckoned with, not told.
    """
    usable = np.isfinite(sailed.east_kn) & np.isfinite(sailed.heading_deg)
    # Where she hardly moves the keel stalls, and leeway follows no rule.
    usable &= (sailed.stw_kn >= LEAST_SPEED_KN) | (sailed.heel_deg < UPRIGHT_DEG)
    if not usable.any():
        return nothing_told("there is no heading, or nothing over the ground", leeway)
    part = thinned(sailed.only(usable), MOST_STRETCHES)
    counts = tuple(int(np.unique(part.board[part.side == s]).size) for s in (-1.0, 1.0))
    if min(int((part.side == s).sum()) for s in (-1.0, 1.0)) < FEWEST_STRETCHES:
        return nothing_told("it was not sailed on both tacks", leeway)
    usual_k = USUAL_LEEWAY if leeway is None else leeway
    found = _solve(part, usual_k, LEEWAY_DOUBT if heel_logged else LEEWAY_UNTOLD)
    judged = _judged(found, (counts[0], counts[1]), part, usual_k)
    if heel_logged:
        return judged
    # What was reckoned with is kept: the vane is judged by it too.
    guessed = unknown(float(np.clip(found.value[4], 0.0, 30.0)), LEEWAY_UNTOLD)
    return replace(judged, leeway=guessed, why="")


def _solve(part: Stretches, usual_k: float, doubt_of_k: float) -> Solved:
    hats = _hats(0.5 * (part.begin_s + part.end_s))
    prior = _prior(hats.shape[1], doubt_of_k)
    over_ground = np.stack((part.east_kn, part.north_kn), axis=-1)
    usual = np.zeros(len(prior))
    usual[0], usual[4] = 1.0, usual_k
    now = usual.copy()
    for _ in range(ROUNDS):
        predicted, columns = _reckoned(part, now[:5])
        # The prior lies about the usual values: what is solved for is how far she is off them.
        target = (over_ground - predicted + columns @ (now[:5] - usual[:5])).ravel()
        clusters = np.repeat(part.board, 2)
        solved = robust_fit(_with_stream(columns, hats), target, clusters, prior, pairs=2)
        now = solved.value + usual
    return solved._replace(value=now)


def _prior(knots: int, doubt_of_k: float) -> Array:
    """Precision of what is solved for, known beforehand."""
    doubt = np.array([
        LOG_DOUBT, np.radians(COMPASS_DOUBT_DEG), np.radians(DEVIATION_DOUBT_DEG),
        np.radians(DEVIATION_DOUBT_DEG), doubt_of_k,
    ])  # fmt: skip
    prior = np.zeros((5 + 2 * knots, 5 + 2 * knots))
    prior[range(5), range(5)] = 1.0 / doubt**2
    prior[5 : 5 + knots, 5 : 5 + knots] = prior[5 + knots :, 5 + knots :] = _wandering(knots)
    return prior


def _reckoned(part: Stretches, now: Array) -> tuple[Array, Array]:
    """Velocity through the water, shape (n, 2), and its derivatives, shape (n, 2, 5).

    By f, δ, A, B (radians) and k.
    """
    f, offset, sine, cosine, k = now
    heading = np.radians(part.heading_deg)
    per_k = np.radians(np.nan_to_num(part.heel_deg)) / (f * part.stw_kn) ** 2
    leeway = np.minimum(k * per_k, MOST_LEEWAY)
    # To starboard of what the compass shows: less what it reads too much, and to leeward.
    turn = -(offset + sine * np.sin(heading) + cosine * np.cos(heading)) - part.side * leeway
    # Means of the vectors, not vectors of the means: a boat that yaws makes less good.
    east, north = part.log_east_kn, part.log_north_kn
    ahead = np.stack(
        (east * np.cos(turn) + north * np.sin(turn), north * np.cos(turn) - east * np.sin(turn)),
        axis=-1,
    )
    across = f * np.stack((ahead[:, 1], -ahead[:, 0]), axis=-1)
    angles = (np.ones(len(part)), np.sin(heading), np.cos(heading), part.side * per_k)
    turning = -across[..., np.newaxis] * np.stack(angles, axis=-1)[:, np.newaxis, :]
    slower = ahead + across * (2.0 * part.side * leeway / f**2)[:, np.newaxis]
    return f * ahead, np.concatenate((slower[..., np.newaxis], turning), axis=2)


def _with_stream(columns: Array, hats: Array) -> Array:
    """Rows east and north in turn; to the boat's columns those of the stream's knots."""
    none = np.zeros_like(hats)
    stream = np.stack((np.hstack((hats, none)), np.hstack((none, hats))), axis=1)
    rows = 2 * len(columns)
    return np.hstack((columns.reshape(rows, 5), stream.reshape(rows, -1)))


def _hats(time_s: Array) -> Array:
    """Weights of the stream's knots at each time, shape (n, knots); knots only where she sails."""
    space = max(STREAM_KNOT_S, float(np.ptp(time_s)) / MOST_KNOTS)
    place = (time_s - time_s[0]) / space
    left = np.floor(place).astype(np.intp)
    share = place - left
    used, at = np.unique(np.concatenate((left, left + 1)), return_inverse=True)
    hats = np.zeros((time_s.size, used.size))
    rows = np.arange(time_s.size)
    hats[rows, at[: time_s.size]] += 1.0 - share
    hats[rows, at[time_s.size :]] += share
    return hats


def _wandering(knots: int) -> Array:
    """Precision of a stream that wanders from knot to knot, and is nowhere very strong."""
    step = np.diff(np.eye(knots), axis=0)
    return np.asarray(np.eye(knots) / STREAM_KN**2 + step.T @ step / STREAM_WANDERS_KN**2)


def _judged(found: Solved, boards: tuple[int, int], part: Stretches, usual_k: float) -> Motion:
    # Of few boards the five quantities themselves take up what the spread is judged by.
    boards_left = max(found.freedom + 1.0 - 5.0, 2.0)
    few = np.sqrt((found.freedom + 1.0) / boards_left)
    deviation = few * np.sqrt(np.diag(found.covariance)[:5])
    deviation = np.hypot(deviation, [LOG_LEAVES, *[np.radians(COMPASS_LEAVES_DEG)] * 3, 0.0])
    deviation[4] = np.hypot(deviation[4], FORMULA_LEAVES * found.value[4])
    reach = student_quantile(0.5 + CERTAIN / 2.0, found.freedom)

    def estimate(at: int, usual: float, doubt: float, enough: float) -> Estimate:
        factor = 180.0 / np.pi if 1 <= at <= 3 else 1.0
        value, spread = float(found.value[at] * factor), float(deviation[at] * factor)
        if spread > enough:
            return unknown(usual, doubt)
        return Estimate(value=value, low=value - reach * spread, high=value + reach * spread)

    heeled = part.heel_deg >= HEELED_DEG
    on_both = all((heeled & (part.side == s)).sum() >= FEWEST_STRETCHES for s in (-1.0, 1.0))
    k = estimate(4, usual_k, LEEWAY_UNTOLD, TOLD_LEEWAY)
    told_deviation = 0.6 * DEVIATION_DOUBT_DEG
    return Motion(
        log_factor=estimate(0, 1.0, LOG_DOUBT, TOLD_SPEED),
        compass_offset_deg=estimate(1, 0.0, COMPASS_DOUBT_DEG, TOLD_COMPASS_DEG),
        deviation_sin_deg=estimate(2, 0.0, DEVIATION_DOUBT_DEG, told_deviation),
        deviation_cos_deg=estimate(3, 0.0, DEVIATION_DOUBT_DEG, told_deviation),
        leeway=k if on_both else unknown(usual_k, LEEWAY_UNTOLD),
        boards=boards,
        why="" if on_both else "she was not heeled on both tacks, or her heel is not logged",
    )
