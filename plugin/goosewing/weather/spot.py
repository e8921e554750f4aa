"""What a source says of one place and time, as a person asks for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from goosewing.errors import OutsideForecastError
from goosewing.units import Array
from goosewing.weather import wind
from goosewing.weather.base import STREAM, Coverage, Weather, hours_from_datetime
from goosewing.weather.combine import holds


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Ground wind and stream at one place and time; None: not known.

    Attributes
    ----------
    lat, lon : float or None
        None where no place was named, for a source that says the same everywhere. [°]
    time : datetime
        Aware.
    wind_from_deg, wind_kn, gust_kn : float or None
        Where the wind blows *from* [° true]; its speeds [kn].
    set_deg, drift_kn : float or None
        Where the stream flows *towards* [° true] (None where there is no drift); its speed [kn].
    """

    lat: float | None
    lon: float | None
    time: datetime
    wind_from_deg: float | None
    wind_kn: float | None
    gust_kn: float | None
    set_deg: float | None
    drift_kn: float | None


def spot(weather: Weather, time: datetime, lat: float | None, lon: float | None) -> Spot:
    """Ask a source about one place and time.

    Parameters
    ----------
    weather : Weather
        Any source.
    time : datetime
        Aware.
    lat, lon : float or None
        Position; None for anywhere, of a source that says the same everywhere. [°]

    Raises
    ------
    InputError
        If the time carries no zone.
    OutsideForecastError
        If the source knows nothing there and then.
    """
    here = weather.at(hours_from_datetime(time), lat or 0.0, lon or 0.0)
    from_deg, kn = _named(here.wind_east_kn, here.wind_north_kn, wind.direction_from)
    set_deg, drift = _named(here.stream_east_kn, here.stream_north_kn, wind.direction_to)
    if STREAM[0] not in holds(weather):
        set_deg, drift = None, None
    if kn is None and drift is None:
        raise OutsideForecastError(_outside(weather.coverage, time))
    gust = float(here.gust_kn)
    return Spot(
        lat=lat, lon=lon, time=time, wind_from_deg=from_deg, wind_kn=kn,
        gust_kn=gust if np.isfinite(gust) else None,
        set_deg=set_deg if drift else None, drift_kn=drift,
    )  # fmt: skip


def _named(
    east_kn: Array, north_kn: Array, direction: Callable[[Array, Array], Array]
) -> tuple[float | None, float | None]:
    if not np.isfinite(east_kn + north_kn):
        return None, None
    return float(direction(east_kn, north_kn)), float(np.hypot(east_kn, north_kn))


def _outside(cover: Coverage, time: datetime) -> str:
    early = cover.start is not None and time < cover.start
    late = cover.end is not None and time > cover.end
    if early or late:
        first, last = (
            "" if end is None else f"{end:%Y-%m-%dT%H:%MZ}" for end in (cover.start, cover.end)
        )
        return f"the time is outside: there are values from {first} to {last}"
    return "there are no values at this position"
