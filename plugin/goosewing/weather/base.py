"""The one small protocol that every source of wind and current follows.

Times are hours since 1970-01-01T00:00Z (`hours_from_datetime`), so that
arrays of them are plain doubles; vectors are components *towards* east and
north, in knots, over the ground.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal, NamedTuple, Protocol, runtime_checkable

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


Name = Literal["wind_east_kn", "wind_north_kn", "gust_kn", "stream_east_kn", "stream_north_kn"]
"""What a column of a layer means: the fields of `Conditions`."""

WIND: tuple[Name, Name] = ("wind_east_kn", "wind_north_kn")
STREAM: tuple[Name, Name] = ("stream_east_kn", "stream_north_kn")
GUST: tuple[Name] = ("gust_kn",)


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

    @property
    def bounded(self) -> bool:
        """Whether there are places where it has no values."""
        return None not in (self.lat_south, self.lat_north, self.lon_west, self.lon_east)


def intersect(*parts: Coverage) -> Coverage:
    """Where and when all of several coverages hold.

    Raises
    ------
    InputError
        If they have no time in common.
    """
    starts = [part.start for part in parts if part.start is not None]
    ends = [part.end for part in parts if part.end is not None]
    start, end = max(starts, default=None), min(ends, default=None)
    if start is not None and end is not None and start > end:
        raise InputError(
            f"wind and stream have no time in common: one begins {start:%Y-%m-%dT%H:%MZ}, "
            f"the other ends {end:%Y-%m-%dT%H:%MZ}"
        )
    souths = [part.lat_south for part in parts if part.lat_south is not None]
    norths = [part.lat_north for part in parts if part.lat_north is not None]
    west, east = _shared_meridians(parts)
    return Coverage(
        start=start,
        end=end,
        lat_south=max(souths, default=None),
        lat_north=min(norths, default=None),
        lon_west=west,
        lon_east=east,
    )


def _shared_meridians(parts: Sequence[Coverage]) -> tuple[float | None, float | None]:
    west: float | None = None
    east: float | None = None
    for part in parts:
        if part.lon_west is None or part.lon_east is None:
            continue
        if west is None or east is None:
            west, east = part.lon_west, part.lon_east
            continue
        # The other part's winding that overlaps best.
        middle = 0.5 * (west + east)
        turn = 360.0 * round((middle - 0.5 * (part.lon_west + part.lon_east)) / 360.0)
        west, east = max(west, part.lon_west + turn), min(east, part.lon_east + turn)
    return west, east


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
