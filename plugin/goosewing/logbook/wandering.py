"""How the wind wandered in a log: its shifts, and its puffs and lulls of minutes.

From means over a minute, the sensors' errors taken off as for a polar
(`goosewing.logbook.fit.put_right`): a vane that reads wrong would shift the wind at every
tack. What turns steadily over the whole log is the weather's, which a forecast knows, and is
taken off and told apart. Gusts of seconds are no part of it: a masthead's motion can't be told
from them, and no boat answers them by turning.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.errors import InputError
from goosewing.logbook.fit import Wish, put_right
from goosewing.shifts.model import (
    Shifts,
    check_enough,
    check_long_enough,
    from_mean_deg,
    wander_of,
    wanders_of,
)

if TYPE_CHECKING:
    from goosewing.logbook.fit import Read
    from goosewing.logbook.samples import Log
    from goosewing.units import Array

STEP_S = 60.0
"""Between directions: the length of a stretch. [s]"""

LEAST_TWS_KN = 2.0
"""In less wind a direction means little; our choice."""

REPLICAS = 200
MOST_DRAWN = 4_000_000
"""Logs drawn from the law that was found, to tell how far off it may be; fewer of a long one."""

CERTAIN = 0.95
SEED = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A figure with its interval; None at the end where the log sets no limit."""

    value: float
    low: float
    high: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ShiftsFound:
    """What a log tells of the wind's wandering.

    Attributes
    ----------
    sigma_deg, tau_min : Told
        Spread of the direction, and how long its shifts last; 95 % interval. [°, min]
    mean_from_deg : float
        Over the whole log. [° true]
    turning_deg_h : float
        How it turned over the whole log, veering positive; taken off. [°/h]
    speed_share, speed_tau_min : Told or None
        The same of the wind's speed, as a share of its mean; None where the log is too short
        for it. No rule uses it.
    lasting_h : float
        From the first minute to the last. [h]
    minutes : int
        Of them known: under sail, on a steady course.
    notices : tuple of str
    """

    sigma_deg: Told
    tau_min: Told
    mean_from_deg: float
    turning_deg_h: float
    speed_share: Told | None
    speed_tau_min: Told | None
    lasting_h: float
    minutes: int
    notices: tuple[str, ...] = ()

    @property
    def shifts(self) -> Shifts:
        """As the programme takes them."""
        return Shifts(sigma_deg=self.sigma_deg.value, tau_min=self.tau_min.value)


class _Minutes(NamedTuple):
    """Wind at even times, NaN where unknown; arrays of shape (n,)."""

    hours: Array
    twd_deg: Array
    tws_kn: Array


def shifts_from_log(log: Log, variation_deg: float | None = None) -> ShiftsFound:
    """Tell from a log how the wind wandered.

    Parameters
    ----------
    log : Log
    variation_deg : float, optional
        Of a magnetic compass, where the log has none. [°]

    Raises
    ------
    InputError
        If it has no wind, too few steady minutes under sail, or spans less than ten
        correlation times: the message says how long a log it would take.
    """
    read = put_right(log, Wish(variation_deg=variation_deg))
    try:
        return _found(_minutes(read), log.notices)
    except InputError as error:
        raise InputError(str(error), where=read.where) from None


def _minutes(read: Read) -> _Minutes:
    """Put the steady stretches under sail on even minutes; of two in one the later counts."""
    middle = (read.sailed.begin_s + read.sailed.end_s) / 2.0
    known = np.isfinite(read.wind.twd_deg) & (read.wind.tws_kn >= LEAST_TWS_KN)
    middle, twd, tws = middle[known], read.wind.twd_deg[known], read.wind.tws_kn[known]
    if not middle.size:
        return _Minutes(np.zeros(1), np.full(1, np.nan), np.full(1, np.nan))
    at = np.round((middle - middle[0]) / STEP_S).astype(np.intp)
    even = np.full((2, int(at[-1]) + 1), np.nan)
    even[:, at] = twd, tws
    hours = np.arange(even.shape[1], dtype=np.float64) * STEP_S / 3600.0
    return _Minutes(hours, even[0], even[1])


def _found(minutes: _Minutes, notices: tuple[str, ...]) -> ShiftsFound:
    away = from_mean_deg(minutes.twd_deg)
    check_enough(away)
    mean = float(np.nanmean(np.mod(minutes.twd_deg - away, 360.0)))
    deviation, slope = _without_line(minutes.hours, away)
    lasting_h = float(minutes.hours[-1])
    sigma, tau = _told(deviation, lasting_h)
    share = minutes.tws_kn / float(np.nanmean(minutes.tws_kn))
    try:
        speed: tuple[Told | None, Told | None] = _told(
            _without_line(minutes.hours, share)[0], lasting_h
        )
    except InputError:
        speed = None, None
    return ShiftsFound(
        sigma_deg=sigma,
        tau_min=tau,
        mean_from_deg=mean,
        turning_deg_h=slope,
        speed_share=speed[0],
        speed_tau_min=speed[1],
        lasting_h=lasting_h,
        minutes=int(np.isfinite(deviation).sum()),
        notices=notices,
    )


def _without_line(hours: Array, values: Array) -> tuple[Array, float]:
    known = np.isfinite(values)
    slope, start = np.polyfit(hours[known], values[known], 1)
    return values - (start + slope * hours), float(slope)


def _told(deviation: Array, lasting_h: float) -> tuple[Told, Told]:
    """Spread and correlation time [min], with their intervals."""
    step_h = STEP_S / 3600.0
    found = wander_of(deviation, step_h, fitted=2)
    check_long_enough(lasting_h, found.tau_h)
    spread, tau_h = _replicas(deviation, found.tau_h)
    # The means over a minute wander a little less than the wind itself.
    of_means = float(Shifts(sigma_deg=1.0, tau_min=60.0 * found.tau_h).spread_of_mean_deg(step_h))
    return (
        _interval(found.spread / of_means, spread),
        _interval(60.0 * found.tau_h, tau_h / found.tau_h),
    )


def _interval(value: float, ratio: Array) -> Told:
    """The interval from what drawn logs came out at, as ratios to what they were drawn from."""
    low, high = np.quantile(ratio, [(1.0 - CERTAIN) / 2.0, (1.0 + CERTAIN) / 2.0])
    most = value / float(low)
    return Told(value=value, low=value / float(high), high=most if np.isfinite(most) else None)


def _replicas(deviation: Array, tau_h: float) -> tuple[Array, Array]:
    """Draw logs of the same minutes, and measure each; spreads are drawn as 1."""
    count = int(np.clip(MOST_DRAWN // deviation.size, 40, REPLICAS))
    random = np.random.default_rng(SEED)
    fade = float(np.exp(-STEP_S / 3600.0 / tau_h))
    drawn = random.standard_normal((count, deviation.size))
    drawn[:, 1:] *= np.sqrt(1.0 - fade**2)
    walks = _filtered(drawn, fade)
    hours = np.arange(deviation.size) * STEP_S / 3600.0
    known = np.isfinite(deviation)
    walks = np.where(known, walks, np.nan)
    line = np.stack((np.ones(int(known.sum())), hours[known] - hours[known].mean()))
    fitted = np.linalg.lstsq(line.T, walks[:, known].T, rcond=None)[0]
    walks[:, known] -= (line.T @ fitted).T
    return wanders_of(walks, STEP_S / 3600.0, fitted=2)


def _filtered(drawn: Array, fade: float) -> Array:
    from scipy.signal import lfilter

    return np.asarray(lfilter([1.0], [1.0, -fade], drawn, axis=1))
