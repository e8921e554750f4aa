"""A wind that comes otherwise than forecast: stronger or lighter, veered or backed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from goosewing.errors import InputError
from goosewing.units import BoolArray
from goosewing.weather.base import Conditions, Coverage, Weather
from goosewing.weather.combine import holds


@dataclass(frozen=True, slots=True)
class AlteredWeather:
    """A source with its ground wind scaled and turned; the stream stays as it is.

    Parameters
    ----------
    source : Weather
    wind_factor : float
        On the speed of wind and gust.
    shift_deg : float
        By which the wind is turned; veered (clockwise) is positive. [°]

    Raises
    ------
    InputError
        If the factor is negative or not finite, or the shift not finite.
    """

    source: Weather
    wind_factor: float = 1.0
    shift_deg: float = 0.0

    def __post_init__(self) -> None:
        if not 0.0 <= self.wind_factor < np.inf:
            raise InputError(f"a wind's factor must be 0 or more, got {self.wind_factor:g}")
        if not np.isfinite(self.shift_deg):
            raise InputError(f"a wind's shift must be finite, got {self.shift_deg:g}")

    @property
    def holds(self) -> frozenset[str]:
        """What the source knows."""
        return holds(self.source)

    @property
    def coverage(self) -> Coverage:
        """As the source."""
        return self.source.coverage

    @property
    def varies_in_time(self) -> bool:
        """As the source."""
        return self.source.varies_in_time

    @property
    def varies_in_place(self) -> bool:
        """As the source."""
        return self.source.varies_in_place

    def held(self, time_h: ArrayLike) -> BoolArray:
        """Whether the values at each time are the source's last ones held on, shape (...)."""
        of_source = getattr(self.source, "held", None)
        times = np.asarray(time_h, dtype=np.float64)
        return np.zeros(times.shape, bool) if of_source is None else np.asarray(of_source(times))

    def at(self, time_h: ArrayLike, lat: ArrayLike, lon: ArrayLike) -> Conditions:
        """Ground wind and stream (see `Weather.at`)."""
        here = self.source.at(time_h, lat, lon)
        if not self.shift_deg:
            # Asked a thousand times a plan: what turns nothing is not worth its sums.
            return here._replace(
                wind_east_kn=here.wind_east_kn * self.wind_factor,
                wind_north_kn=here.wind_north_kn * self.wind_factor,
                gust_kn=here.gust_kn * self.wind_factor,
            )
        turn = np.radians(self.shift_deg)
        # A clockwise turn of a vector given towards east and north.
        east = here.wind_east_kn * np.cos(turn) + here.wind_north_kn * np.sin(turn)
        north = here.wind_north_kn * np.cos(turn) - here.wind_east_kn * np.sin(turn)
        return here._replace(
            wind_east_kn=east * self.wind_factor,
            wind_north_kn=north * self.wind_factor,
            gust_kn=here.gust_kn * self.wind_factor,
        )
