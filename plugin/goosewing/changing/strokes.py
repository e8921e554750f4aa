"""When wind or stream shift at a stroke: an hour before which all is otherwise than after it.

No step of an integration may go across such an hour, or it takes the one for the other for half
its length. Forecasts and tables go over from time to time; a formula need not.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from goosewing.units import Array
    from goosewing.weather.base import Weather

LOOK_H = 1.0 / 12.0
"""The weather is looked at so often. [h]"""

LEAST_KN = 0.5
"""What shifts by less isn't looked at more closely. [kn]"""

HALVINGS = 24
"""So often is the time between two looks halved: to a hundredth of a second."""

LEFT = 0.5
"""A shift of which so large a share is left between the last two looks is one at a stroke."""


def strokes_h(
    weather: Weather, lat: float, lon: float, begin_h: float, end_h: float
) -> tuple[float, ...]:
    """Find when wind or stream shift at a stroke at one place.

    Parameters
    ----------
    weather : Weather
    lat, lon : float
        [°]
    begin_h, end_h : float
        Between these, hours since 1970-01-01T00:00Z. [h]

    Returns
    -------
    tuple of float
        The first hours after each shift, ascending. [h]
    """

    def blowing(time_h: Array) -> Array:
        here = weather.at(time_h, np.full(time_h.shape, lat), np.full(time_h.shape, lon))
        return np.stack((
            here.wind_east_kn, here.wind_north_kn, here.stream_east_kn, here.stream_north_kn
        ))  # fmt: skip

    times = np.arange(begin_h, end_h + LOOK_H, LOOK_H)
    shifts = np.linalg.norm(np.diff(blowing(times), axis=1), axis=0)
    at = np.flatnonzero(shifts > LEAST_KN)
    low, high = times[at], times[at + 1]
    for _ in range(HALVINGS if at.size else 0):
        middle = 0.5 * (low + high)
        before, now, after = blowing(low), blowing(middle), blowing(high)
        early = np.linalg.norm(now - before, axis=0) > np.linalg.norm(after - now, axis=0)
        low, high = np.where(early, low, middle), np.where(early, middle, high)
    left = np.linalg.norm(blowing(high) - blowing(low), axis=0)
    return tuple(high[left > LEFT * shifts[at]].tolist())
