"""Logs as tables: CSV with a time and a column for each sensor, and a CSV of winds beside a track.

Columns are named by what they hold and their unit: ``time`` (ISO 8601 with its zone),
``heading_deg``, ``heading_magnetic_deg``, ``variation_deg``, ``stw_kn``, ``sog_kn``, ``cog_deg``,
``lat``, ``lon``, ``awa_deg``, ``aws_kn`` (negative angles to port, or counted all round),
``twa_deg``, ``tws_kn``, ``twd_deg``, ``heel_deg`` (positive to starboard), ``engine_rpm``; or as in
our other tables (``boat_speed_kn``, ``wind_from_deg``, ``wind_kn``). Cells are separated by commas,
semicolons or tabs.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice

import numpy as np

from goosewing.errors import InputError
from goosewing.files.cells import cells_of, delimiter_of
from goosewing.logbook.gather import Gathering
from goosewing.logbook.read.signalk import seconds_of
from goosewing.logbook.samples import CHANNELS, turned
from goosewing.units import Array

AT_ONCE = 20_000
"""Rows turned into arrays together."""

ALSO = {
    "boat_speed_kn": "stw_kn",
    "speed_over_ground_kn": "sog_kn",
    "course_over_ground_deg": "cog_deg",
    "wind_from_deg": "twd_deg",
    "wind_kn": "tws_kn",
    "roll_deg": "heel_deg",
}
"""Names that the same columns have in our other tables."""

ON_THE_BOW = ("awa_deg", "twa_deg")


def delimiter_with_time(header: str) -> str | None:
    """Return what separates a header's cells; None if it names no time."""
    mark = delimiter_of(header)
    names = [cell.strip().strip('"').lower() for cell in header.split(mark)]
    return mark if mark is not None and "time" in names else None


def read_table(lines: Iterable[str], into: Gathering, where: str) -> None:
    """Read a table of readings.

    Raises
    ------
    InputError
        With the row and column at fault.
    """
    rows = _rows(lines, where)
    header = next(rows)
    columns = _columns(header[1], where)
    while block := list(islice(rows, AT_ONCE)):
        _take(block, columns, into, where)


def _rows(lines: Iterable[str], where: str) -> Iterator[tuple[int, list[str]]]:
    mark: str | None = None
    for number, line in enumerate(lines, 1):
        plain = line.lstrip("\ufeff").strip()
        if not plain or plain.startswith("#"):
            continue
        if mark is None:
            mark = delimiter_with_time(plain)
            if mark is None:
                raise InputError(
                    "expected a header with a column time, and columns such as stw_kn, awa_deg",
                    where=f"{where}, row {number}",
                )
        yield number, cells_of(plain, mark)


def _columns(header: Sequence[str], where: str) -> dict[str, int]:
    names = [cell.strip().lower() for cell in header]
    names = [ALSO.get(name, name) for name in names]
    known = {name: at for at, name in enumerate(names) if name in CHANNELS or name == "time"}
    if len(known) < 2:
        raise InputError(
            f"no column of readings; those that are read: {', '.join(CHANNELS)}", where=where
        )
    return known


def _take(
    block: list[tuple[int, list[str]]], columns: dict[str, int], into: Gathering, where: str
) -> None:
    times = np.array([_time(row, columns["time"], number, where) for number, row in block])
    for name, at in columns.items():
        if name == "time":
            continue
        values = np.array([_number(row, at, number, name, where) for number, row in block])
        into.add(name, f"column {name}", times, turned(values) if name in ON_THE_BOW else values)


def _time(row: list[str], at: int, number: int, where: str) -> float:
    text = row[at].strip() if at < len(row) else ""
    seconds = seconds_of(text)
    if seconds is None:
        raise InputError(
            f"expected an ISO 8601 time with its zone, such as 2027-06-01T06:00:00Z, got "
            f'"{text[:30]}"',
            where=f"{where}, row {number}, column time",
        )
    return seconds


def _number(row: list[str], at: int, number: int, name: str, where: str) -> float:
    text = row[at].strip() if at < len(row) else ""
    if not text:
        return float("nan")
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise InputError(
            f'"{text[:30]}" is not a number', where=f"{where}, row {number}, column {name}"
        ) from None


def track_courses(time_s: Array, lat: Array, lon: Array) -> tuple[Array, Array, Array]:
    """Return the middle times, courses [°] and speeds [kn] between a track's points.

    Points under a second apart are passed over; so are those over a minute apart.
    """
    from goosewing.earth.geodesy import loxodrome_inverse

    keep = np.concatenate(([True], np.diff(time_s) >= 1.0))
    time_s, lat, lon = time_s[keep], lat[keep], lon[keep]
    step = np.diff(time_s)
    line = loxodrome_inverse(lat[:-1], lon[:-1], lat[1:], lon[1:])
    good = step <= 60.0
    speed = np.asarray(line.distance_nm) / step * 3600.0
    middle = time_s[:-1] + step / 2.0
    return middle[good], np.asarray(line.bearing_deg)[good], speed[good]
