"""The one small protocol that every source of wind and current follows.

Times are hours since 1970-01-01T00:00Z (`hours_from_datetime`), so that
arrays of them are plain doubles; vectors are components *towards* east and
north, in knots, over the ground.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import NamedTuple, Protocol, runtime_checkable

from numpy.typing import ArrayLike

from goosewing.errors import InputError
from goosewing.units import SECONDS_PER_HOUR, Array

NO_KIND = "is not GRIB, NetCDF, CSV or TOML (text must be UTF-8)"
"""What is said of a file that is nothing which is read here."""

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class Conditions(NamedTuple):
    """Ground wind and stream, all of one shape; components *towards* east and north. [kn]."""

    wind_east_kn: Array
    wind_north_kn: Array
    gust_kn: Array
    """NaN where the source knows no gust."""
    stream_east_kn: Array
    stream_north_kn: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """Where and when a source has values; None means everywhere or always.

    ``lon_west`` to ``lon_east`` runs eastwards and may cross the antimeridian
    (``lon_east`` then exceeds 180).
    """

    start: datetime | None = None
    end: datetime | None = None
    lat_south: float | None = None
    lat_north: float | None = None
    lon_west: float | None = None
    lon_east: float | None = None


@runtime_checkable
class Weather(Protocol):
    """Ground wind and stream at these times and places."""

    @property
    def coverage(self) -> Coverage:
        """What the source covers."""
        ...

    @property
    def varies_in_time(self) -> bool:
        """Whether anything changes with time."""
        ...

    @property
    def varies_in_place(self) -> bool:
        """Whether anything changes with place."""
        ...

    def at(self, time_h: ArrayLike, lat: ArrayLike, lon: ArrayLike) -> Conditions:
        """Ground wind and stream, broadcast over the three arguments.

        Parameters
        ----------
        time_h : array_like
            Hours since 1970-01-01T00:00Z. [h]
        lat, lon : array_like
            Positions; longitudes of any winding. [°]

        Returns
        -------
        Conditions
            NaN in every component where the source does not cover a state: the
            search discards such states, and the plan says what was missing.
        """
        ...


def hours_from_datetime(time: datetime) -> float:
    """Hours since 1970-01-01T00:00Z of an aware time.

    Raises
    ------
    InputError
        If the time carries no zone.
    """
    if time.utcoffset() is None:
        raise InputError(f"a time must carry its zone, got {time.isoformat()}")
    return (time - EPOCH).total_seconds() / SECONDS_PER_HOUR


def datetime_from_hours(time_h: float) -> datetime:
    """Return the UTC time of `hours_from_datetime`, to the microsecond."""
    return EPOCH + timedelta(hours=float(time_h))
