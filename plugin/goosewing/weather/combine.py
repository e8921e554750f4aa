"""Wind from one source, stream from another, and the last values held on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from goosewing.units import BoolArray
from goosewing.weather.base import (
    STREAM,
    WIND,
    Conditions,
    Coverage,
    Weather,
    hours_from_datetime,
    intersect,
)

if TYPE_CHECKING:
    from goosewing.weather.tides import HighWater


def holds(weather: Weather) -> frozenset[str]:
    """What a source knows of `Conditions`; a source that doesn't say is taken to know wind."""
    return frozenset(getattr(weather, "holds", WIND))


def stream_reaches(weather: Weather, lat: ArrayLike, lon: ArrayLike) -> BoolArray | None:
    """Whether what tells a stream reaches places; None where that is no question.

    Tables of a tidal stream may be taken to end in still water: then nothing is unknown there,
    and yet nothing was told.
    """
    if isinstance(weather, HeldWeather):
        return stream_reaches(weather.source, lat, lon)
    if isinstance(weather, CombinedWeather):
        return stream_reaches(weather.stream, lat, lon)
    reaches = getattr(weather, "reaches", None)
    return None if reaches is None else np.asarray(reaches(lat, lon))


def high_waters(weather: Weather) -> tuple[str, tuple[HighWater, ...]]:
    """Return the port and the high waters that a source's stream hangs on; none if on none."""
    if isinstance(weather, HeldWeather):
        return high_waters(weather.source)
    if isinstance(weather, CombinedWeather):
        return high_waters(weather.stream)
    found = tuple(getattr(weather, "high_waters", ()))
    return getattr(weather, "port", "") if found else "", found


@dataclass(frozen=True, slots=True)
class CombinedWeather:
    """Wind and gust of one source with the stream of another.

    Parameters
    ----------
    wind, stream : Weather
        Whatever else each of them knows is left aside.

    Raises
    ------
    InputError
        If the two have no time in common.
    """

    wind: Weather
    stream: Weather

    def __post_init__(self) -> None:
        intersect(self.wind.coverage, self.stream.coverage)

    @property
    def holds(self) -> frozenset[str]:
        """Wind and gust as the one knows them, and the stream."""
        return (holds(self.wind) - {*STREAM}) | {*STREAM}

    @property
    def coverage(self) -> Coverage:
        """Where and when both are known."""
        return intersect(self.wind.coverage, self.stream.coverage)

    @property
    def varies_in_time(self) -> bool:
        """Whether either changes with time."""
        return self.wind.varies_in_time or self.stream.varies_in_time

    @property
    def varies_in_place(self) -> bool:
        """Whether either changes with place."""
        return self.wind.varies_in_place or self.stream.varies_in_place

    def at(self, time_h: ArrayLike, lat: ArrayLike, lon: ArrayLike) -> Conditions:
        """Ground wind of the one, stream of the other (see `Weather.at`)."""
        air = self.wind.at(time_h, lat, lon)
        water = self.stream.at(time_h, lat, lon)
        return air._replace(
            stream_east_kn=water.stream_east_kn, stream_north_kn=water.stream_north_kn
        )


@dataclass(frozen=True, slots=True)
class HeldWeather:
    """A source whose last values hold on after its end.

    Each of two combined sources is held from its own end. Before the start there
    still is nothing.
    """

    source: Weather

    @property
    def holds(self) -> frozenset[str]:
        """What the source knows."""
        return holds(self.source)

    @property
    def coverage(self) -> Coverage:
        """As the source, without an end."""
        return replace(self.source.coverage, end=None)

    @property
    def varies_in_time(self) -> bool:
        """As the source."""
        return self.source.varies_in_time

    @property
    def varies_in_place(self) -> bool:
        """As the source."""
        return self.source.varies_in_place

    def held(self, time_h: ArrayLike) -> BoolArray:
        """Whether the values at each time are the last ones held on.

        Parameters
        ----------
        time_h : array_like, shape (...)
            Hours since 1970-01-01T00:00Z. [h]

        Returns
        -------
        ndarray of bool, shape (...)
            True after the end of the source (of either, where two are combined).
        """
        times = np.asarray(time_h, dtype=np.float64)
        end = self.source.coverage.end
        return np.asarray(times > (np.inf if end is None else hours_from_datetime(end)))

    def at(self, time_h: ArrayLike, lat: ArrayLike, lon: ArrayLike) -> Conditions:
        """Ground wind and stream, the last ones after the end (see `Weather.at`)."""
        if isinstance(self.source, CombinedWeather):
            parts = (HeldWeather(self.source.wind), HeldWeather(self.source.stream))
            return CombinedWeather(*parts).at(time_h, lat, lon)
        times = np.asarray(time_h, dtype=np.float64)
        end = self.source.coverage.end
        if end is not None:
            times = np.minimum(times, hours_from_datetime(end))
        return self.source.at(times, lat, lon)


def hold_last(weather: Weather) -> HeldWeather:
    """Let the last values of a source hold on after its end.

    Examples
    --------
    >>> from goosewing.weather.steady import SteadyWeather
    >>> bool(hold_last(SteadyWeather(240.0, 12.0)).held(1e6))
    False
    """
    return weather if isinstance(weather, HeldWeather) else HeldWeather(weather)
