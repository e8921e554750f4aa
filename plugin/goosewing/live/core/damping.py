r"""Averages that forget, for samples that come when they come.

Winds and streams are averaged as *vectors*, so that the seam at 360° and winds that
box the compass need no special case:

.. math:: \bar w \leftarrow \bar w + (1 - e^{-\Delta t/\tau})\,(w - \bar w)

With samples at uneven intervals this is the exact exponential average of a value
held since the sample before. Until the average is as old as it remembers, the weight
is at least :math:`\Delta t / (\text{age} + \Delta t)`: a plain mean, so that the
first sample does not count for more than the others.

The wind's time constant depends on its strength:

.. math:: \tau = \tau_{10} \cdot 10\,\text{kn} / W, \quad \tau_{10}/3 \le \tau \le 2\tau_{10}

Light air wanders farther and more slowly than a breeze, and a plan that followed it
would be made anew all the time; common practice, no source.
"""

from __future__ import annotations

import math

from goosewing.live.core.state import Average

AT_KN = 10.0
"""The wind at which the time constant is the one that was set. [kn]"""


def wind_tau_s(wind_kn: float, tau_at_10_s: float) -> float:
    """Time constant of the damped wind, in seconds.

    Examples
    --------
    >>> wind_tau_s(10.0, 60.0), wind_tau_s(5.0, 60.0), wind_tau_s(40.0, 60.0), wind_tau_s(0.0, 60.0)
    (60.0, 120.0, 20.0, 120.0)
    """
    if wind_kn <= 0.0:
        return 2.0 * tau_at_10_s
    return min(max(tau_at_10_s * AT_KN / wind_kn, tau_at_10_s / 3.0), 2.0 * tau_at_10_s)


def damped(
    before: Average | None, east_kn: float, north_kn: float, seen_s: float, tau_s: float
) -> Average:
    """Take one more sample into an average.

    Parameters
    ----------
    before : Average or None
        None begins anew.
    east_kn, north_kn : float
        The sample, *towards* east and north. [kn]
    seen_s : float
        When it was taken; not before the last one. [s]
    tau_s : float
        Time constant. [s]
    """
    if before is None:
        return Average(east_kn=east_kn, north_kn=north_kn, since_s=seen_s, seen_s=seen_s)
    step = max(seen_s - before.seen_s, 0.0)
    if step == 0.0:
        return before
    share = max(1.0 - math.exp(-step / tau_s), step / (seen_s - before.since_s + step))
    return Average(
        east_kn=before.east_kn + share * (east_kn - before.east_kn),
        north_kn=before.north_kn + share * (north_kn - before.north_kn),
        since_s=before.since_s,
        seen_s=seen_s,
    )


def strength_kn(average: Average) -> float:
    """Return the length of a damped vector, in knots."""
    return math.hypot(average.east_kn, average.north_kn)


def towards_deg(east_kn: float, north_kn: float) -> float:
    """Return where a vector points, in [0, 360).

    Examples
    --------
    >>> towards_deg(-1.0, 0.0), towards_deg(0.0, 0.0)
    (270.0, 0.0)
    """
    return math.degrees(math.atan2(east_kn, north_kn)) % 360.0


def from_deg(east_kn: float, north_kn: float) -> float:
    """Return where a wind comes *from*, in [0, 360).

    Examples
    --------
    >>> from_deg(0.0, -4.0)
    0.0
    """
    return towards_deg(0.0 - east_kn, 0.0 - north_kn)


def vector(towards: float, speed_kn: float) -> tuple[float, float]:
    """Resolve a velocity *towards* a direction [°] into east and north, in knots."""
    angle = math.radians(towards)
    return speed_kn * math.sin(angle), speed_kn * math.cos(angle)


def turned_deg(after_deg: float, before_deg: float) -> float:
    """Return the turn from one direction to another, in [-180, 180), clockwise positive.

    Examples
    --------
    >>> turned_deg(2.0, 358.0), turned_deg(358.0, 2.0)
    (4.0, -4.0)
    """
    return (after_deg - before_deg + 180.0) % 360.0 - 180.0
