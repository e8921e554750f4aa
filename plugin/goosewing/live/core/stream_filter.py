r"""The stream, told apart from what log and compass read too much: a Kalman filter.

What moves over the ground and what log and compass say she makes through the water
differ by the stream, and by what the two instruments get wrong. With :math:`v` the velocity
through the water by them, a log that reads a share :math:`f` too much and a compass that
reads :math:`\delta` too far to the right,

.. math:: v_\mathrm{ground} - v = s - f\,v + \delta\,v^\perp + \text{noise},

:math:`v^\perp` being :math:`v` turned a quarter to the left. That is linear in the four
unknowns :math:`(s_e, s_n, f, \delta)`: on one heading they can't all be told apart, and the
uncertainty says so; after a tack the same :math:`f` and :math:`\delta` point elsewhere and
the stream does not, and they can. The stream wanders by :math:`q` a second, the
instruments hardly.

The noise of a measurement is taken as it is met: a seaway swings the bow by degrees
within seconds, and successive measurements share that swing, so that each counts as one
in `SHARED_S`.

Standard linear filter: R. E. Kalman, "A New Approach to Linear Filtering and Prediction
Problems", Journal of Basic Engineering 82 (1960), pages 35 to 45.
"""

from __future__ import annotations

import math

import numpy as np

from goosewing.live.core.copies import replace
from goosewing.live.core.damping import damped
from goosewing.live.core.state import Average, Stream
from goosewing.units import Array

FIRST_KN = 2.0
"""Before anything is measured the stream is nothing, give or take this."""

LOG_SHARE = 0.03
COMPASS_DEG = 2.0
"""What log and compass read too much, give or take: common practice after calibration."""

WANDER_KN2_S = 2.5e-5
"""Variance by which the stream wanders in a second: 0.3 kn in an hour. [kn²/s]"""

DRIFTS = (1e-10, 1e-10)
"""The same of log and compass: some hundredths of their doubt in a day. [1/s, rad²/s]"""

WANDERS = np.diag([WANDER_KN2_S, WANDER_KN2_S, *DRIFTS])

LEAST_NOISE_KN2 = 0.1**2
MOST_NOISE_KN2 = 1.5**2
NOISE_TAU_S = 60.0

SHARED_S = 3.0
"""So long the errors of a seaway hang together. [s]"""

TOLD_KN = 0.3
"""How well another instrument tells set and drift."""

LONGEST_STEP_S = 60.0

THROUGH_TAU_S = 30.0
"""Averaging of the velocity that the instruments' errors are reckoned by. [s]"""

TURNED_SHARE = 0.5
"""A velocity this share of itself away from the average is that of another heading."""


def sailed(
    before: Stream | None,
    over_kn: tuple[float, float],
    through_kn: tuple[float, float],
    now_s: float,
) -> Stream:
    """Take what was made over the ground and through the water, each towards east and north.

    Parameters
    ----------
    before : Stream or None
        None begins anew.
    over_kn, through_kn : tuple of float
        Velocities over the ground, and through the water by log, compass and leeway. [kn]
    now_s : float
        When. [s]
    """
    stream = before or _first(now_s)
    step = max(now_s - stream.seen_s, 0.0)
    if before is not None and step == 0.0:
        return stream
    through = _through(stream.through, through_kn, now_s)
    # The velocity of before, averaged: its errors must not be those of this measurement,
    # or a swinging compass would pass for a log that reads too much.
    east, north = (stream.through or through).east_kn, (stream.through or through).north_kn
    if through.since_s == now_s:
        east, north = through_kn
    h = np.array([[1.0, 0.0, -east, -north], [0.0, 1.0, -north, east]])
    measured = np.array([over_kn[0] - through_kn[0], over_kn[1] - through_kn[1]])
    mean, covariance = _predicted(stream, step)
    off = measured - h @ mean
    noise = _noise(stream.noise, float(off @ off) / 2.0, step)
    counted = noise * max(SHARED_S / max(step, 1.0), 1.0)
    mean, covariance = _updated(mean, covariance, h, off, counted)
    return replace(_stream(mean, covariance, noise, stream.since_s, now_s), through=through)


def _through(before: Average | None, now_kn: tuple[float, float], now_s: float) -> Average:
    """Average her velocity through the water; a turn begins it anew."""
    if before is not None:
        far = math.hypot(now_kn[0] - before.east_kn, now_kn[1] - before.north_kn)
        gone = now_s - before.seen_s > LONGEST_STEP_S
        if gone or far > TURNED_SHARE * math.hypot(*now_kn):
            before = None
    return damped(before, *now_kn, now_s, THROUGH_TAU_S)


def told(before: Stream | None, given_kn: tuple[float, float], now_s: float) -> Stream:
    """Take what another instrument tells of the stream, towards east and north. [kn]."""
    stream = before or _first(now_s)
    h = np.eye(2, 4)
    mean, covariance = _predicted(stream, max(now_s - stream.seen_s, 0.0))
    off = np.array(given_kn) - mean[:2]
    mean, covariance = _updated(mean, covariance, h, off, TOLD_KN**2)
    after = _stream(mean, covariance, stream.noise, stream.since_s, now_s)
    return replace(after, through=stream.through)


def doubt_kn(stream: Stream, now_s: float) -> float:
    """Return the standard deviation of the stream in the direction it is known worst, by now."""
    # The greater eigenvalue of a symmetric two by two, in plain floats: asked a dozen times a look.
    (east, both, *_), (_, north, *_), *_ = stream.covariance
    wandered = WANDER_KN2_S * max(now_s - stream.seen_s, 0.0)
    return math.sqrt(0.5 * (east + north) + math.hypot(0.5 * (east - north), both) + wandered)


def _first(now_s: float) -> Stream:
    sizes = (FIRST_KN, FIRST_KN, LOG_SHARE, math.radians(COMPASS_DEG))
    return _stream(np.zeros(4), np.diag(np.square(sizes)), 0.3**2, now_s, now_s)


def _predicted(stream: Stream, step_s: float) -> tuple[Array, Array]:
    return np.array(stream.mean), np.array(stream.covariance) + WANDERS * step_s


def _noise(before: float, met: float, step_s: float) -> float:
    """Follow how far measurements lie from what is expected."""
    share = 1.0 - math.exp(-min(max(step_s, 1.0), LONGEST_STEP_S) / NOISE_TAU_S)
    # One wild value must not make all that come deaf.
    met = min(met, MOST_NOISE_KN2)
    return min(max(before + share * (met - before), LEAST_NOISE_KN2), MOST_NOISE_KN2)


def _updated(
    mean: Array, covariance: Array, h: Array, off: Array, noise: float
) -> tuple[Array, Array]:
    gain = covariance @ h.T @ np.linalg.inv(h @ covariance @ h.T + noise * np.eye(2))
    left = np.eye(4) - gain @ h
    # Joseph's form: it stays symmetric and positive, however long the watch.
    return mean + gain @ off, left @ covariance @ left.T + noise * gain @ gain.T


def _stream(mean: Array, covariance: Array, noise: float, since_s: float, seen_s: float) -> Stream:
    east, north, log, compass = mean.tolist()
    rows = tuple(map(tuple, covariance.tolist()))
    return Stream(
        mean=(east, north, log, compass), covariance=rows, noise=noise,
        since_s=since_s, seen_s=seen_s,
    )  # fmt: skip
