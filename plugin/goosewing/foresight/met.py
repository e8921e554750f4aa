"""Wind and stream over the ground at places and times, as records."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from goosewing.records import WindAndStream
from goosewing.weather import wind

if TYPE_CHECKING:
    from goosewing.units import Array
    from goosewing.weather.base import Weather


def wind_and_stream(
    weather: Weather, time_h: Array, lat: Array, lon: Array
) -> list[WindAndStream | None]:
    """Look up wind and stream over the ground, one record a place; None where unknown.

    Parameters
    ----------
    weather : Weather
    time_h, lat, lon : ndarray, shape (n,)
    """
    here = weather.at(time_h, lat, lon)
    columns = [np.broadcast_to(np.asarray(each, dtype=np.float64), time_h.shape) for each in here]
    east, north, gust, set_east, set_north = columns
    from_deg, kn = wind.direction_from(east, north), np.hypot(east, north)
    set_deg, drift = wind.direction_to(set_east, set_north), np.hypot(set_east, set_north)
    return [
        None
        if not np.isfinite(kn[i])
        else WindAndStream(
            wind_from_deg=float(from_deg[i]) % 360.0,
            wind_kn=float(kn[i]),
            gust_kn=float(gust[i]) if np.isfinite(gust[i]) else None,
            set_deg=float(set_deg[i]) % 360.0 if drift[i] > 0.0 else None,
            drift_kn=float(drift[i]) if np.isfinite(drift[i]) else 0.0,
        )
        for i in range(len(time_h))
    ]
