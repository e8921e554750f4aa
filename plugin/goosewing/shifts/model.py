r"""The direction of a shifty wind: a mean-reverting random walk about the forecast.

The deviation :math:`\theta` from the mean direction is an Ornstein–Uhlenbeck process,

.. math:: d\theta = -\theta\,dt/\tau + \sigma\sqrt{2/\tau}\,dW,

with standard deviation :math:`\sigma` and correlation time :math:`\tau`: after a time
:math:`t` it is normal with mean :math:`\theta e^{-t/\tau}` and variance
:math:`\sigma^2(1 - e^{-2t/\tau})`, exactly, so that steps of any length draw from one law.

References
----------
.. [1] S. M. Joffre and T. Laurila, "Standard deviations of wind speed and direction from
   observations over a smooth surface," J. Appl. Meteor., vol. 27, pp. 550-561, 1988 (the
   abstract read): at 10 m over a flat surface, one-minute data, the direction's standard
   deviation is 0.32/V rad up to 5 m/s, 0.065 rad above.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.errors import InputError
from goosewing.units import METRES_PER_SECOND_PER_KNOT

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from goosewing.units import Array, BoolArray

LARGEST_SIGMA_DEG = 45.0
"""Beyond this there is no mean direction to speak of."""

LONGEST_TAU_MIN = 1440.0
SHORTEST_TAU_MIN = 0.25
"""What comes and goes faster no boat answers."""

SLOW_SIGMA_DEG = 4.0
SLOW_TAU_MIN = 10.0
"""What is added to the one-minute floor, and how long shifts last: common practice, no source."""

FEWEST_CORRELATION_TIMES = 10.0
"""A log shorter than so many correlation times tells neither figure."""

FEWEST_DIRECTIONS = 20
PUT_BACK_ROUNDS = 20

_PAIR = re.compile(r"\s*(\d+(?:\.\d*)?|\.\d+)\s*/\s*(\d+(?:\.\d*)?|\.\d+)\s*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shifts:
    """How far and how slowly the wind's direction wanders.

    Attributes
    ----------
    sigma_deg : float
        Standard deviation of the direction about the forecast's. [°]
    tau_min : float
        Correlation time: after so long a shift has faded to 37 %. [min]

    Raises
    ------
    InputError
        If either makes no sense.
    """

    sigma_deg: float
    tau_min: float

    def __post_init__(self) -> None:
        if not 0.0 < self.sigma_deg <= LARGEST_SIGMA_DEG:
            raise InputError(
                f"the spread of shifts must be above 0 and at most {LARGEST_SIGMA_DEG:g} degrees, "
                f"got {self.sigma_deg:g}"
            )
        if not SHORTEST_TAU_MIN <= self.tau_min <= LONGEST_TAU_MIN:
            raise InputError(
                f"the time that shifts last must be {SHORTEST_TAU_MIN:g} to {LONGEST_TAU_MIN:g} "
                f"minutes, got {self.tau_min:g}"
            )

    @property
    def tau_h(self) -> float:
        """The correlation time. [h]."""
        return self.tau_min / 60.0

    def after(self, deviation_deg: ArrayLike, hours: ArrayLike) -> tuple[Array, Array]:
        """Return mean and standard deviation of the deviation some time later.

        Parameters
        ----------
        deviation_deg : array_like, shape (...)
            Now, clockwise positive. [°]
        hours : array_like, shape (...)

        Returns
        -------
        mean_deg, spread_deg : ndarray, shape (...)
        """
        fade = np.exp(-np.asarray(hours, dtype=np.float64) / self.tau_h)
        now = np.asarray(deviation_deg, dtype=np.float64)
        return now * fade, self.sigma_deg * np.sqrt(1.0 - fade**2)

    def spread_of_mean_deg(self, hours: ArrayLike) -> Array:
        r"""Return the standard deviation of the direction averaged over a time.

        Parameters
        ----------
        hours : array_like, shape (...)

        Notes
        -----
        Of the mean over :math:`T`, from the process's covariance integrated twice,

        .. math:: \frac{2\sigma^2\tau}{T}\left(1 - \frac{\tau}{T}(1 - e^{-T/\tau})\right).

        Examples
        --------
        >>> bool(np.isclose(Shifts(sigma_deg=5, tau_min=10).spread_of_mean_deg(1e-9), 5.0))
        True
        """
        turns = np.asarray(hours, dtype=np.float64) / self.tau_h
        small = turns < 1e-3  # the series, where the closed form cancels
        safe = np.where(small, 1.0, turns)
        share = 2.0 / safe * (1.0 + np.expm1(-safe) / safe)
        spread: Array = self.sigma_deg * np.sqrt(np.where(small, 1.0 - turns / 3.0, share))
        return spread


def bounds(*, kept_clear: bool, corridor_nm: float | None) -> str | None:
    """Say what a plan keeps to that the rule of shifts knows nothing of; None where nothing.

    Rule and chances are of open water: by a hazard, or out of a corridor, a turn "inside the
    layline", or one made late in a lift, may lead where the plan must not.

    Parameters
    ----------
    kept_clear : bool
        Whether hazards or a coast are kept clear of.
    corridor_nm : float or None
        Half the corridor's width. [nm]
    """
    kept = [
        *(["keeps clear of hazards"] if kept_clear else []),
        *([] if corridor_nm is None else ["keeps to a corridor"]),
    ]
    return " and ".join(kept) or None


def why_withheld(*, kept_clear: bool, corridor_nm: float | None) -> str | None:
    """Say in one line why nothing is told of shifts; None where it may be: see `bounds`."""
    kept = bounds(kept_clear=kept_clear, corridor_nm=corridor_nm)
    if kept is None:
        return None
    return (
        "Nothing is told of shifts: their rule and chances are for open water, and this plan "
        f"{kept}."
    )


def parse_shifts(text: str, tws_kn: float) -> tuple[Shifts, str]:
    """Read ``SIGMA/TAU`` or ``auto``, and say in words what was taken.

    Parameters
    ----------
    text : str
        Such as ``5/10``: 5°, 10 min.
    tws_kn : float
        True wind, for ``auto``. [kn]

    Raises
    ------
    InputError
        If it is neither, or the figures make no sense.
    """
    if text.strip().lower() == "auto":
        return usual_shifts(tws_kn)
    found = _PAIR.fullmatch(text)
    if found is None:
        raise InputError(f"shifts are written SIGMA/TAU, such as 5/10, or auto; got {text!r}")
    given = Shifts(sigma_deg=float(found[1]), tau_min=float(found[2]))
    return given, f"Shifts of {given.sigma_deg:g}° that last {given.tau_min:g} min, as given."


def usual_shifts(tws_kn: float) -> tuple[Shifts, str]:
    """Return the shifts to expect in a wind, and in words what they are made of.

    The published one-minute spread is the floor; slower shifts are added to it as independent.

    Examples
    --------
    >>> usual_shifts(10.0)[0].sigma_deg
    5.5
    """
    speed = max(tws_kn, 1.0) * METRES_PER_SECOND_PER_KNOT
    floor = math.degrees(0.32 / speed if speed <= 5.0 else 0.065)
    sigma = min(round(2.0 * math.hypot(floor, SLOW_SIGMA_DEG)) / 2.0, LARGEST_SIGMA_DEG)
    words = (
        f"Shifts of {sigma:g}° that last {SLOW_TAU_MIN:g} min, for {tws_kn:.0f} kn of wind: "
        f"{floor:.1f}° within minutes (published, over a smooth surface) and {SLOW_SIGMA_DEG:g}° "
        "of slower ones (an assumption); forecast errors are not in it."
    )
    return Shifts(sigma_deg=sigma, tau_min=SLOW_TAU_MIN), words


def shifts_of(hours: Array, twd_deg: Array) -> Shifts:
    """Learn the shifts from directions measured at even times.

    Parameters
    ----------
    hours : ndarray, shape (n,)
        Ascending, evenly spaced. [h]
    twd_deg : ndarray, shape (n,)
        True wind direction; NaN where none was measured. [°]

    Returns
    -------
    Shifts

    Raises
    ------
    InputError
        If there are too few, or they span less than ten correlation times: the message says
        how long a log it would take.

    Notes
    -----
    Deviations are taken from the circular mean; see `wander_of`.
    """
    deviation = from_mean_deg(twd_deg)
    check_enough(deviation)
    step_h = float(hours[-1] - hours[0]) / (len(hours) - 1)
    found = wander_of(deviation, step_h)
    check_long_enough(float(hours[-1] - hours[0]), found.tau_h)
    return Shifts(sigma_deg=found.spread, tau_min=max(found.tau_h * 60.0, SHORTEST_TAU_MIN))


def from_mean_deg(twd_deg: Array) -> Array:
    """Return directions from their circular mean; NaN stays NaN. [°]."""
    angle = np.radians(twd_deg)
    mean = np.arctan2(np.nanmean(np.sin(angle)), np.nanmean(np.cos(angle)))
    return np.asarray(np.degrees(np.angle(np.exp(1j * (angle - mean)))), dtype=np.float64)


def check_enough(deviation: Array) -> None:
    """Refuse too few measurements, and a direction that never changes."""
    known = int(np.isfinite(deviation).sum())
    if known < FEWEST_DIRECTIONS:
        raise InputError(
            f"shifts need at least {FEWEST_DIRECTIONS} measured directions, got {known}"
        )
    if not float(np.nanstd(deviation)) > 1e-6:
        raise InputError("the direction never changes: a frozen sensor, or no log of wind")


def check_long_enough(lasting_h: float, tau_h: float) -> None:
    """Refuse a log of less than ten correlation times, and say how long it would take."""
    if lasting_h >= FEWEST_CORRELATION_TIMES * tau_h:
        return
    lasts = min(tau_h, lasting_h)
    raise InputError(
        f"a log of {lasting_h * 60.0:.0f} min is too short: its shifts last about "
        f"{lasts * 60.0:.0f} min, and at least "
        f"{FEWEST_CORRELATION_TIMES * lasts * 60.0:.0f} min are needed"
    )


class Wander(NamedTuple):
    """Spread and correlation time of what wanders about a mean."""

    spread: float
    tau_h: float
    """Infinite where it never fades within half of what was measured."""


def wander_of(deviation: Array, step_h: float, *, fitted: int = 1) -> Wander:
    r"""Measure how far and how slowly something wanders.

    Parameters
    ----------
    deviation : ndarray, shape (n,)
        From the mean, at even times; NaN where there is none.
    step_h : float
        Between them. [h]
    fitted : int
        How much was fitted and taken off: 1 a mean, 2 a straight line.

    Notes
    -----
    The correlation time is where the autocorrelation has fallen to 1/e, between lags in a
    straight line. A mean over :math:`T` takes :math:`2\sigma^2\tau/T` with it, at every lag
    alike, and a line's slope about as much again: both are put back, round by round, without
    which a log of ten correlation times would tell half of :math:`\tau`.
    """
    spread, tau = wanders_of(deviation[np.newaxis], step_h, fitted=fitted)
    return Wander(float(spread[0]), float(tau[0]))


def wanders_of(deviation: Array, step_h: float, *, fitted: int = 1) -> tuple[Array, Array]:
    """Measure many at once, shape (m, n), all missing at the same times; see `wander_of`."""
    known = np.isfinite(deviation)
    covariance = _covariance(np.where(known, deviation, 0.0), known[0])
    lasting_h = step_h * (deviation.shape[1] - 1)
    lost = np.zeros((len(deviation), 1))
    for _ in range(PUT_BACK_ROUNDS):
        whole = covariance + lost
        tau = step_h * _lag_of_one_over_e(whole / whole[:, :1])
        share = np.minimum(2.0 * fitted * tau / lasting_h, 0.5)[:, np.newaxis]
        lost = np.minimum(share * whole[:, :1], covariance[:, :1])
    return np.sqrt((covariance + lost)[:, 0]), tau


def _covariance(values: Array, known: BoolArray) -> Array:
    """Return the covariance at each lag up to half the length, shape (m, n // 2)."""
    size = values.shape[1]
    power = np.abs(np.fft.rfft(values, 2 * size, axis=1)) ** 2
    pairs = np.fft.irfft(np.abs(np.fft.rfft(known.astype(np.float64), 2 * size)) ** 2, 2 * size)
    total = np.fft.irfft(power, 2 * size, axis=1)[:, : size // 2]
    return np.asarray(total / np.maximum(np.round(pairs[: size // 2]), 1.0))


def _lag_of_one_over_e(correlation: Array) -> Array:
    """Return the lag at which each autocorrelation falls to 1/e, in steps; infinite if never."""
    wanted = math.exp(-1.0)
    below = correlation < wanted
    at = np.maximum(np.argmax(below, axis=1), 1)
    every = np.arange(len(correlation))
    before, after = correlation[every, at - 1], correlation[every, at]
    lag = at - 1 + (before - wanted) / np.where(before > after, before - after, 1.0)
    return np.where(below.any(axis=1), lag, np.inf)
