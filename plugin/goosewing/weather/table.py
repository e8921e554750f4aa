"""Wind, gust and stream from a table of text.

The format is this project's own: CSV (commas; or semicolons or tabs, and then decimal
commas as well), UTF-8, one header line, one row per time and
place, in UTC::

    time,wind_from_deg,wind_kn,gust_kn,set_deg,drift_kn,lat,lon
    2027-06-01T06:00Z,240,12,17,90,1.5,57.10,11.20

``time``, ``wind_from_deg`` and ``wind_kn`` are needed, or ``time``, ``set_deg`` and
``drift_kn`` for a table of the stream alone; the others come as they are known, in
pairs where they are pairs (``set_deg,drift_kn`` and ``lat,lon``). A time carries its
zone (``Z`` or ``+02:00``). A blank ``gust_kn`` is a gust not known. Lines that begin
with ``#`` are passed over. Without positions the table holds everywhere. With
positions, each has its own rows and all have the same times: positions that make a
full rectangle of parallels and meridians are interpolated bilinearly, others by the
inverse square of the distance, to 60 nm from the nearest.
"""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from goosewing.errors import InputError
from goosewing.files.cells import cells_of, delimiter_of, with_points
from goosewing.files.disk import read_text
from goosewing.units import Array
from goosewing.weather.base import GUST, STREAM, WIND, Name, hours_from_datetime
from goosewing.weather.grid import (
    Everywhere,
    Grid,
    GridWeather,
    IndexArray,
    LatLonGrid,
    Layer,
    Stations,
    layer_of,
)
from goosewing.weather.steady import (
    LARGEST_DRIFT_KN,
    LARGEST_WIND_KN,
)
from goosewing.weather.wind import components_from, components_to

WIND_COLUMNS = ("wind_from_deg", "wind_kn")
STREAM_COLUMNS = ("set_deg", "drift_kn")
PLACE_COLUMNS = ("lat", "lon")
LIMITS: dict[str, tuple[float, float]] = {
    "wind_from_deg": (0.0, 360.0),
    "wind_kn": (0.0, LARGEST_WIND_KN),
    "gust_kn": (0.0, LARGEST_WIND_KN),
    "set_deg": (0.0, 360.0),
    "drift_kn": (0.0, LARGEST_DRIFT_KN),
    "lat": (-90.0, 90.0),
    "lon": (-360.0, 360.0),
}
"""Least and greatest of each column."""


@dataclass(frozen=True, slots=True)
class TextTable:
    """Rows of a CSV with the number of the line that each stands on."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]

    def cells(self, column: str) -> list[str]:
        """Text of one column."""
        at = self.header.index(column)
        return [row[at].strip() for row in self.rows]

    def numbers(self, column: str, least: float, most: float, *, blank: bool = False) -> Array:
        """Numbers of one column.

        Raises
        ------
        InputError
            Naming row, column, what stood there and what was expected.
        """
        values = np.empty(len(self.rows))
        for at, text in enumerate(self.cells(column)):
            value = _number(text, blank=blank)
            if value is None or not (least <= value <= most or (blank and not text)):
                raise InputError(
                    f"row {self.lines[at]}, column {column}: expected a number from {least:g} to "
                    f"{most:g}, got {text!r}"
                )
            values[at] = value
        return values


def _number(text: str, *, blank: bool) -> float | None:
    if blank and not text:
        return math.nan
    try:
        return float(text)
    except ValueError:
        return None


def split_csv(text: str) -> TextTable:
    """Split a CSV into header and rows; blank lines and ``#`` lines are passed over.

    Raises
    ------
    InputError
        If there is no row, a name comes twice, or a row has another length than the
        header.
    """
    lines = text.lstrip("\ufeff").splitlines()
    delimiter = _delimiter(lines)
    rows = ((number, cells_of(line, delimiter)) for number, line in enumerate(lines, 1))
    found = [
        (number, tuple(with_points(row, delimiter)))
        for number, row in rows
        if any(cell.strip() for cell in row) and not row[0].lstrip().startswith("#")
    ]
    if len(found) < 2:
        raise InputError("expected a header line and at least one row")
    header = tuple(cell.strip().lower() for cell in found[0][1])
    for name in header:
        if header.count(name) > 1:
            raise InputError(f"row {found[0][0]}: the column {name!r} comes twice")
    for line, row in found[1:]:
        if len(row) != len(header):
            raise InputError(f"row {line}: expected {len(header)} cells, got {len(row)}")
    return TextTable(header, tuple(row for _, row in found[1:]), tuple(n for n, _ in found[1:]))


def _delimiter(lines: Sequence[str]) -> str:
    """Return what parts the cells of the header: a tab, a semicolon or a comma."""
    header = next(
        (line for line in lines if line.strip() and not line.lstrip().startswith("#")), ""
    )
    return delimiter_of(header) or ","


def parse_time(text: str) -> datetime:
    """Read an ISO 8601 time that carries its zone.

    Raises
    ------
    InputError
        If it is not a time, or has no zone.
    """
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(f"expected a time like 2027-06-01T06:00Z, got {text!r}") from None
    if time.utcoffset() is None:
        raise InputError(f"the time {text!r} has no zone, expected UTC like 2027-06-01T06:00Z")
    return time.astimezone(UTC)


def read_table(path: str | os.PathLike[str]) -> GridWeather:
    """Read the CSV of the module's head from a file.

    Raises
    ------
    InputError
        As `parse_table`, with the file's name before.
    """
    where = Path(path).name
    text = read_text(Path(path), "a table of wind or stream")
    try:
        return parse_table(text)
    except InputError as error:
        raise InputError(str(error), where=where) from None


def parse_table(text: str) -> GridWeather:
    """Read the CSV of the module's head.

    Parameters
    ----------
    text : str
        The table.

    Returns
    -------
    GridWeather
        It varies with place only if the table has positions.

    Raises
    ------
    InputError
        Naming row and column: unknown or missing columns, cells that are not numbers
        in range, times without zone or not increasing, positions without the times
        of the others.
    """
    table = split_csv(text)
    _check_header(table.header)
    hours = _hours(table)
    grid, place = _places(table)
    steps = _steps(table, hours, place)
    times = np.unique(hours)
    order = np.empty((times.size, grid.points), dtype=np.intp)
    order[steps, place] = np.arange(hours.size)
    return GridWeather(tuple(_layers(table, order, grid, times)))


def _check_header(header: Sequence[str]) -> None:
    known = ("time", *LIMITS)
    for name in header:
        if name not in known:
            raise InputError(f"unknown column {name!r}, expected some of {', '.join(known)}")
    if "time" not in header:
        raise InputError("the column 'time' is missing")
    for pair in (WIND_COLUMNS, STREAM_COLUMNS, PLACE_COLUMNS):
        there = [name for name in pair if name in header]
        if len(there) == 1:
            raise InputError(f"the column {there[0]!r} needs {set(pair).difference(there).pop()!r}")
    if "wind_kn" not in header and "drift_kn" not in header:
        raise InputError(f"the columns {','.join(WIND_COLUMNS)} are missing")
    if "gust_kn" in header and "wind_kn" not in header:
        raise InputError(f"the column 'gust_kn' needs {','.join(WIND_COLUMNS)}")


def _hours(table: TextTable) -> Array:
    hours = np.empty(len(table.rows))
    for at, text in enumerate(table.cells("time")):
        try:
            hours[at] = hours_from_datetime(parse_time(text))
        except InputError as error:
            raise InputError(f"row {table.lines[at]}, column time: {error}") from None
    return hours


def _places(table: TextTable) -> tuple[Grid, IndexArray]:
    """Return the grid that the positions make, and the point that each row belongs to."""
    if "lat" not in table.header:
        return Everywhere(), np.zeros(len(table.rows), dtype=np.intp)
    lat = table.numbers("lat", *LIMITS["lat"])
    lon = (table.numbers("lon", *LIMITS["lon"]) + 180.0) % 360.0 - 180.0
    positions, place = np.unique(np.column_stack((lat, lon)), axis=0, return_inverse=True)
    place = place.reshape(-1)
    if len(positions) == 1:
        return Stations(positions[:, 0], positions[:, 1]), place
    lats, lons = np.unique(positions[:, 0]), _eastwards(np.unique(positions[:, 1]))
    if len(positions) != lats.size * lons.size or min(lats.size, lons.size) < 2:
        return Stations(positions[:, 0], positions[:, 1]), place
    column = {float(value): at for at, value in enumerate(lons)}
    columns = np.array([column[float(value)] for value in lon], dtype=np.intp)
    return LatLonGrid(lats, lons), np.searchsorted(lats, lat) * lons.size + columns


def _eastwards(lon: Array) -> Array:
    """Put ascending longitudes so that the widest gap lies outside: across 180° if need be."""
    gaps = np.diff(np.append(lon, lon[0] + 360.0))
    return np.roll(lon, -(int(np.argmax(gaps)) + 1))


def _steps(table: TextTable, hours: Array, place: IndexArray) -> IndexArray:
    """Return the step of time of each row; every place must have every step, in order."""
    last: dict[int, float] = {}
    for at, (hour, point) in enumerate(zip(hours.tolist(), place.tolist(), strict=True)):
        if point in last and hour <= last[point]:
            text = table.cells("time")[at]
            raise InputError(
                f"row {table.lines[at]}, column time: times must increase, but {text} does not"
            )
        last[point] = hour
    times, step = np.unique(hours, return_inverse=True)
    counts = np.bincount(place)
    if (counts != times.size).any():
        at = int(np.argmax(place == int(np.argmax(counts != times.size))))
        raise InputError(
            f"row {table.lines[at]}: this position has {counts[place[at]]} of the {times.size} "
            "times, expected every position at every time"
        )
    return np.asarray(step.reshape(-1), dtype=np.intp)


def _layers(table: TextTable, order: IndexArray, grid: Grid, times: Array) -> list[Layer]:
    layers: list[Layer] = []
    if "wind_kn" in table.header:
        wind = components_from(*(table.numbers(name, *LIMITS[name]) for name in WIND_COLUMNS))
        layers.append(_layer(dict(zip(WIND, wind, strict=True)), order, grid, times))
    if "gust_kn" in table.header:
        gust = table.numbers("gust_kn", *LIMITS["gust_kn"], blank=True)
        if np.isfinite(gust).any():
            layers.append(_layer({GUST[0]: gust}, order, grid, times))
    if "drift_kn" in table.header:
        stream = components_to(*(table.numbers(name, *LIMITS[name]) for name in STREAM_COLUMNS))
        layers.append(_layer(dict(zip(STREAM, stream, strict=True)), order, grid, times))
    return layers


def _layer(columns: dict[Name, Array], order: IndexArray, grid: Grid, times: Array) -> Layer:
    return layer_of({name: value[order] for name, value in columns.items()}, grid, times)
