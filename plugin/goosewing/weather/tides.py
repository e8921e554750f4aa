"""Tidal streams as a navigator has them: set and rate by the hour from high water.

The format is this project's own, TOML, UTF-8::

    port = "Brisvik"            # whose high waters these are; optional
    springs_range_m = 5.8       # the range of tide to which the springs rates belong
    neaps_range_m = 2.9         # … and the neaps rates
    reach_nm = 10.0             # how far a table holds; optional, 10
    beyond = "unknown"          # or "no stream": what lies farther; optional

    [[high_water]]              # every high water from before the passage to after it
    time = 2027-06-01T05:12:00Z # with its zone
    range_m = 5.1               # the day's range of tide

    [[stream]]                  # one table; several are for several places
    name = "A"                  # optional
    lat = 57.10                 # optional where there is one table: it then holds everywhere
    lon = 11.20
    hours = [                   # hour from high water, set [° true], springs rate, neaps rate [kn]
      [-6, 210, 1.2, 0.6],
      # … one row for every whole hour
      [6, 205, 1.3, 0.7],
    ]

Instead of ``[[stream]]`` tables, ``table = "streams.csv"`` names a CSV beside the TOML
file, with the header ``hour,set_deg,springs_kn,neaps_kn`` and, for several tables,
``lat,lon``.

The rate is linear in the day's range, through neaps and springs and a little beyond,
as on the computation-of-rates diagram of a stream atlas, never below nought. Between
the whole hours, and from hour 6 of one tide to hour -6 of the next, the components are
linear in time. Where two tides overlap (less than 12 h apart), each counts to the
middle between its high water and the next. Between tables every one within reach counts
by the inverse square of its distance.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from goosewing.errors import InputError
from goosewing.files import toml
from goosewing.files.disk import read_text
from goosewing.units import Array, BoolArray
from goosewing.weather.base import (
    STREAM,
    Conditions,
    Coverage,
    Name,
    hours_from_datetime,
)
from goosewing.weather.grid import Everywhere, Grid, GridWeather, Stations, layer_of
from goosewing.weather.steady import LARGEST_DRIFT_KN
from goosewing.weather.table import LIMITS, parse_time, split_csv
from goosewing.weather.wind import components_to

HOURS = np.arange(-6.0, 7.0)
"""Hours from high water that a table has."""

CLOSEST_TIDES_H, WIDEST_TIDES_H = 9.0, 16.0
"""How far apart successive high waters may be: outside, one is missing or doubled."""

LARGEST_RANGE_M = 20.0
"""More than any tide on earth rises (16 m in the Bay of Fundy, from memory). [m]"""

FARTHEST_FACTOR = 1.5
"""How far beyond springs (or as far below neaps) a day's range may lie, of the difference."""

REACH_NM = 10.0
"""How far a table holds (common practice, no source). [nm]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class HighWater:
    """A high water and its day's range of tide."""

    time: datetime
    range_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StreamTable:
    """Set and rates at one place for the hours -6 to 6 from high water.

    Parameters
    ----------
    set_deg : ndarray, shape (13,)
        Direction the stream flows *towards*. [°]
    springs_kn, neaps_kn : ndarray, shape (13,)
        Rates. [kn]
    lat, lon : float, optional
        Where the table belongs; None: everywhere. [°]
    name : str
        What the chart calls it.
    """

    set_deg: Array
    springs_kn: Array
    neaps_kn: Array
    lat: float | None = None
    lon: float | None = None
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TidalStreams:
    """Tidal streams at given times and places; the wind is not known (NaN).

    Parameters
    ----------
    tables : sequence of StreamTable
        One anywhere, or several each with its place.
    high_waters : sequence of HighWater
        In order of time.
    springs_range_m, neaps_range_m : float
        Ranges of tide to which the rates belong. [m]
    reach_nm : float
        How far a table with a place holds. [nm]
    beyond : "unknown" or "no stream"
        What lies farther than that from every table.

    Raises
    ------
    InputError
        If high waters are missing or out of order, ranges absurd, or one of several
        tables has no place.
    """

    tables: Sequence[StreamTable]
    high_waters: Sequence[HighWater]
    springs_range_m: float
    neaps_range_m: float
    reach_nm: float = REACH_NM
    beyond: Literal["unknown", "no stream"] = "unknown"
    port: str = ""
    _field: GridWeather = field(init=False, repr=False)

    def __post_init__(self) -> None:
        _check_ranges(self.springs_range_m, self.neaps_range_m)
        _check_high_waters(self.high_waters)
        hours, keep = _knots(self.high_waters)
        east, north = self._components()
        columns: dict[Name, Array] = {
            STREAM[0]: east.reshape(-1, len(self.tables))[keep],
            STREAM[1]: north.reshape(-1, len(self.tables))[keep],
        }
        layer = layer_of(columns, self._grid(), hours)
        object.__setattr__(self, "_field", GridWeather((layer,)))

    def factor(self, range_m: float) -> float:
        """How springs-like a range is: 0 at neaps, 1 at springs."""
        return (range_m - self.neaps_range_m) / (self.springs_range_m - self.neaps_range_m)

    def _components(self) -> tuple[Array, Array]:
        # Shapes: (tides, 13 hours, tables).
        factor = np.array([self.factor(tide.range_m) for tide in self.high_waters])[:, None, None]
        if (factor > 1.0 + FARTHEST_FACTOR).any() or (factor < -FARTHEST_FACTOR).any():
            at = int(np.argmax(np.abs(factor - 0.5)))
            raise InputError(
                f"high water {at + 1}: a range of {self.high_waters[at].range_m:g} m is too far "
                f"from neaps {self.neaps_range_m:g} m and springs {self.springs_range_m:g} m"
            )
        springs = np.stack([table.springs_kn for table in self.tables], axis=-1)
        neaps = np.stack([table.neaps_kn for table in self.tables], axis=-1)
        sets = np.stack([table.set_deg for table in self.tables], axis=-1)
        return components_to(sets, np.maximum(neaps + factor * (springs - neaps), 0.0))

    def _grid(self) -> Grid:
        places = [(table.lat, table.lon) for table in self.tables]
        if len(places) == 1 and places[0][0] is None:
            return Everywhere()
        known = [(lat, lon) for lat, lon in places if lat is not None and lon is not None]
        if len(known) < len(places):
            raise InputError("every stream table needs lat and lon where there are several")
        if len(set(known)) < len(known):
            raise InputError("two stream tables have the same position")
        lat, lon = np.array(known, dtype=np.float64).T
        return Stations(lat, lon, self.reach_nm)

    @property
    def holds(self) -> frozenset[str]:
        """A stream, no wind."""
        return self._field.holds

    @property
    def times_h(self) -> Array:
        """Times at which a whole hour's value holds. [h]."""
        return self._field.times_h

    @property
    def coverage(self) -> Coverage:
        """From 6 h before the first high water to 6 h after the last."""
        whole = self._field.coverage
        if self.beyond == "unknown":
            return whole
        return Coverage(start=whole.start, end=whole.end)

    @property
    def varies_in_time(self) -> bool:
        """Always."""
        return True

    @property
    def varies_in_place(self) -> bool:
        """Whether the tables have places."""
        return self._field.varies_in_place

    def reaches(self, lat: ArrayLike, lon: ArrayLike) -> BoolArray:
        """Whether any table reaches places, whatever is taken to flow beyond."""
        time_h = 0.5 * (self.times_h[0] + self.times_h[-1])
        return np.asarray(np.isfinite(self._field.at(time_h, lat, lon).stream_east_kn))

    def at(self, time_h: ArrayLike, lat: ArrayLike, lon: ArrayLike) -> Conditions:
        """Stream, broadcast over the three arguments (see `Weather.at`)."""
        got = self._field.at(time_h, lat, lon)
        if self.beyond == "unknown":
            return got
        hours = np.asarray(time_h, dtype=np.float64)
        timely = (hours >= self.times_h[0]) & (hours <= self.times_h[-1])
        placed = np.isfinite(np.asarray(lat, dtype=np.float64) + np.asarray(lon, dtype=np.float64))
        still = np.isnan(got.stream_east_kn) & timely & placed
        return got._replace(
            stream_east_kn=np.where(still, 0.0, got.stream_east_kn),
            stream_north_kn=np.where(still, 0.0, got.stream_north_kn),
        )


def _check_ranges(springs_m: float, neaps_m: float) -> None:
    if not 0.0 < neaps_m < springs_m <= LARGEST_RANGE_M:
        raise InputError(
            "springs_range_m must exceed neaps_range_m, both above 0 m and at most "
            f"{LARGEST_RANGE_M:g} m, got {springs_m:g} and {neaps_m:g}"
        )


def _check_high_waters(tides: Sequence[HighWater]) -> None:
    if not tides:
        raise InputError("there is no high water, expected every one around the passage")
    for at, tide in enumerate(tides, start=1):
        if not 0.0 < tide.range_m <= LARGEST_RANGE_M:
            raise InputError(
                f"high water {at}: range_m must be above 0 and at most {LARGEST_RANGE_M:g}, "
                f"got {tide.range_m:g}"
            )
    hours = np.array([hours_from_datetime(tide.time) for tide in tides])
    for at, gap in enumerate(np.diff(hours), start=2):
        if not CLOSEST_TIDES_H <= gap <= WIDEST_TIDES_H:
            raise InputError(
                f"high water {at} comes {gap:.1f} h after the one before, expected "
                f"{CLOSEST_TIDES_H:g} to {WIDEST_TIDES_H:g} h: is one missing or out of order?"
            )


def _knots(tides: Sequence[HighWater]) -> tuple[Array, np.ndarray[Any, np.dtype[np.bool_]]]:
    """Hours at which components are given, and which of all (tide, hour) they are."""
    high = np.array([hours_from_datetime(tide.time) for tide in tides])
    middle = 0.5 * (high[1:] + high[:-1])
    hours = high[:, None] + HOURS
    after = np.append(-np.inf, middle)[:, None]
    before = np.append(middle, np.inf)[:, None]
    # At the very middle the later tide counts, so that no time comes twice.
    keep = (hours >= after) & (hours < before)
    return hours[keep], keep.reshape(-1)


def read_tides(path: str | os.PathLike[str]) -> TidalStreams:
    """Read the TOML of the module's head, and the CSV it names.

    Raises
    ------
    InputError
        With the file's name, the key or row at fault and what was expected.
    """
    file = Path(path)
    text = read_text(file, "tidal streams")
    try:
        name = toml.parsed(text).get("table")
        table = None if name is None else read_text(file.parent / str(name), "its table of streams")
        return parse_tides(text, table)
    except InputError as error:
        raise InputError(str(error), where=file.name) from None


def parse_tides(text: str, table: str | None = None) -> TidalStreams:
    """Read the TOML of the module's head.

    Parameters
    ----------
    text : str
        The TOML.
    table : str, optional
        The CSV that it names.

    Raises
    ------
    InputError
        With the key or row at fault and what was expected.
    """
    found = toml.parsed(text)
    _check_keys(found, "the file", set(_KEYS))
    beyond = found.get("beyond", "unknown")
    if beyond not in ("unknown", "no stream"):
        raise InputError(f"beyond must be 'unknown' or 'no stream', got {beyond!r}")
    tables = list(_inline_tables(found)) if table is None else _csv_tables(table)
    if not tables or (table is not None and "stream" in found):
        raise InputError("expected [[stream]] tables or one CSV named by 'table'")
    return TidalStreams(
        tables=tables,
        high_waters=[_high_water(one, at) for at, one in _listed(found, "high_water")],
        springs_range_m=_value(found, "springs_range_m", 0.0, LARGEST_RANGE_M, "the file"),
        neaps_range_m=_value(found, "neaps_range_m", 0.0, LARGEST_RANGE_M, "the file"),
        reach_nm=_value({"reach_nm": REACH_NM, **found}, "reach_nm", 0.1, 1000.0, "the file"),
        beyond=beyond,
        port=str(found.get("port", "")),
    )


_KEYS = (
    "port", "springs_range_m", "neaps_range_m", "reach_nm", "beyond",
    "table", "high_water", "stream",
)  # fmt: skip


def _check_keys(found: Mapping[str, Any], where: str, known: set[str]) -> None:
    for key in found:
        if key not in known:
            raise InputError(
                f"{where}: unknown key {key!r}, expected some of {', '.join(sorted(known))}"
            )


def _listed(found: Mapping[str, Any], key: str) -> Iterator[tuple[int, dict[str, Any]]]:
    entries = found.get(key, [])
    if not isinstance(entries, list) or not all(isinstance(one, dict) for one in entries):
        raise InputError(f"{key}: expected [[{key}]] tables")
    yield from enumerate(entries, start=1)


def _value(found: Mapping[str, Any], key: str, least: float, most: float, where: str) -> float:
    value = found.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
        got = "nothing" if value is None else repr(value)
        raise InputError(f"{where}: {key} must be a number from {least:g} to {most:g}, got {got}")
    return float(value)


def _high_water(entry: Mapping[str, Any], at: int) -> HighWater:
    where = f"high_water {at}"
    _check_keys(entry, where, {"time", "range_m"})
    time = entry.get("time")
    try:
        # TOML has times of its own; written as text they are read alike.
        moment = parse_time(time.isoformat() if isinstance(time, datetime) else str(time))
    except InputError as error:
        raise InputError(f"{where}: {error}") from None
    return HighWater(time=moment, range_m=_value(entry, "range_m", 0.0, LARGEST_RANGE_M, where))


def _inline_tables(found: Mapping[str, Any]) -> Iterator[StreamTable]:
    for at, entry in _listed(found, "stream"):
        where = f"stream {entry.get('name', at)}"
        _check_keys(entry, where, {"name", "lat", "lon", "hours"})
        lat, lon = (
            _value(entry, key, *LIMITS[key], where) if "lat" in entry or "lon" in entry else None
            for key in ("lat", "lon")
        )
        rows = entry.get("hours")
        if not isinstance(rows, list):
            raise InputError(f"{where}: hours must be a list of [hour, set, springs, neaps]")
        for number, row in enumerate(rows, start=1):
            _check_row(row, f"{where}, row {number} of hours")
        yield _table(np.array(rows, dtype=np.float64), where, lat, lon, str(entry.get("name", "")))


_LIMITS = ((-6.0, 6.0), (0.0, 360.0), (0.0, LARGEST_DRIFT_KN), (0.0, LARGEST_DRIFT_KN))


def _check_row(row: object, where: str) -> None:
    if not isinstance(row, list) or len(row) != len(_LIMITS):
        raise InputError(f"{where}: expected [hour, set, springs, neaps], got {row!r}")
    for value, (least, most) in zip(row, _LIMITS, strict=True):
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not least <= value <= most:
            raise InputError(
                f"{where}: expected a number from {least:g} to {most:g}, got {value!r}"
            )


def _table(
    rows: Array, where: str, lat: float | None, lon: float | None, name: str = ""
) -> StreamTable:
    if rows.shape != (HOURS.size, len(_LIMITS)) or (rows[:, 0] != HOURS).any():
        raise InputError(f"{where}: expected the hours -6 to 6, each once and in order")
    return StreamTable(
        set_deg=rows[:, 1],
        springs_kn=rows[:, 2],
        neaps_kn=rows[:, 3],
        lat=lat,
        lon=lon,
        name=name,
    )


def _csv_tables(text: str) -> list[StreamTable]:
    table = split_csv(text)
    needed = ("hour", "set_deg", "springs_kn", "neaps_kn")
    if set(table.header) not in (set(needed), {*needed, "lat", "lon"}):
        raise InputError(f"the table's header must be {','.join(needed)} and optionally lat,lon")
    rows = np.column_stack(
        [table.numbers(name, *limit) for name, limit in zip(needed, _LIMITS, strict=True)]
    )
    if "lat" not in table.header:
        return [_table(rows, "the table", None, None)]
    places = np.column_stack([table.numbers(name, *LIMITS[name]) for name in ("lat", "lon")])
    return [
        _table(rows[(places == one).all(axis=1)], f"the table at {one[0]:g}, {one[1]:g}", *one)
        for one in np.unique(places, axis=0).tolist()
    ]
