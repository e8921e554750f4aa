"""Height of tide over the charts' depths: a number of metres, or a table of times and heights.

The table is CSV, UTF-8, with the header ``time,height_m``; times carry their zone, heights
are above the datum of the charts. Between two rows, as between high and low water, the
height is taken along the straight line between them. Lines that begin with ``#`` are passed over.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from goosewing.errors import InputError
from goosewing.files.cells import cells_of, delimiter_of, with_points
from goosewing.files.disk import read_text, shown
from goosewing.units import Array
from goosewing.weather.base import hours_from_datetime

if TYPE_CHECKING:
    from collections.abc import Callable

HIGHEST_M = 20.0
"""No tide rises higher, nor falls as far below a chart's datum: a unit went wrong."""

HEADER = ["time", "height_m"]
LARGEST_BYTES = 10_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Tide:
    """Heights of tide; a single one holds always.

    Attributes
    ----------
    time_h : ndarray, shape (n,)
        Ascending. [h]
    height_m : ndarray, shape (n,)
    source : str
        The table, for messages; empty for a number.
    """

    time_h: Array
    height_m: Array
    source: str = ""

    def lowest_m(self, start: datetime, end: datetime | None = None) -> float:
        """Return the lowest height from one time to another.

        Parameters
        ----------
        start, end : datetime
            To the table's last time if there is no end.

        Raises
        ------
        InputError
            If the table doesn't reach over these times.
        """
        if not self.source:
            return float(self.height_m[0])
        first = hours_from_datetime(start)
        last = float(self.time_h[-1]) if end is None else hours_from_datetime(end)
        if first < self.time_h[0] - 1e-9 or last > self.time_h[-1] + 1e-9 or first > last:
            raise InputError(
                "the table of the tide must reach from the departure to the arrival, "
                f"{start:%Y-%m-%d %H:%M} UTC{'' if end is None else f' to {end:%Y-%m-%d %H:%M}'}",
                where=self.source,
            )
        inner = self.height_m[(self.time_h > first) & (self.time_h < last)]
        ends = np.interp([first, last], self.time_h, self.height_m)
        return float(np.min(np.concatenate((inner, ends))))

    def highest_m(self, start_h: float) -> float:
        """Return the highest height from a time [h] on, to the table's end."""
        return self._from(start_h, np.max)

    def lowest_from(self, start_h: float) -> float:
        """Return the lowest height from a time [h] on, to the table's end."""
        return self._from(start_h, np.min)

    def _from(self, start_h: float, most: Callable[[Array], float]) -> float:
        later = self.height_m[self.time_h > start_h]
        at_once = np.interp(start_h, self.time_h, self.height_m)
        return float(most(np.append(later, at_once)))

    def lowest_between(self, start_h: Array, end_h: Array) -> Array:
        """Return the lowest height of each of some spans of time; of what is not known, none.

        Parameters
        ----------
        start_h, end_h : ndarray, shape (n,)
            [h]

        Returns
        -------
        ndarray, shape (n,)
            Minus infinity where the table doesn't reach. [m]
        """
        if not self.source:
            return np.full(len(start_h), self.height_m[0])
        ends = np.interp([start_h, end_h], self.time_h, self.height_m).min(axis=0)
        within = (self.time_h > start_h[:, np.newaxis]) & (self.time_h < end_h[:, np.newaxis])
        inner = np.where(within, self.height_m, np.inf).min(axis=1)
        known = (start_h >= self.time_h[0] - 1e-9) & (end_h <= self.time_h[-1] + 1e-9)
        return np.where(known, np.minimum(ends, inner), -np.inf)

    def ends_before(self, time: datetime) -> bool:
        """Whether the table ends before this time; a single height never does."""
        return bool(self.source) and hours_from_datetime(time) > float(self.time_h[-1]) + 1e-9


def read_tide(text: str) -> Tide:
    """Read a tide given as metres or as the name of a table.

    Raises
    ------
    InputError
        If it is neither, or a height or time makes no sense.
    """
    try:
        metres = float(text)
    except ValueError:
        return _table(Path(text))
    if not abs(metres) <= HIGHEST_M:
        raise InputError(f"the tide must be -{HIGHEST_M:g} to {HIGHEST_M:g} m, got {text}")
    return Tide(np.zeros(1), np.array([metres]))


def _table(path: Path) -> Tide:
    text = read_text(path, "a table of the tide, or a number of metres", most_bytes=LARGEST_BYTES)
    lines = [
        (number, line)
        for number, line in enumerate(text.removeprefix("\ufeff").splitlines(), 1)
        if line.strip() and not line.startswith("#")
    ]
    mark = (delimiter_of(lines[0][1]) if lines else None) or ","
    rows = [with_points(cells_of(line, mark), mark) for _, line in lines]
    if not rows or [cell.strip() for cell in rows[0]] != HEADER:
        raise InputError(f"expected the header {','.join(HEADER)}", where=shown(path))
    read = [
        _row(row, f"{shown(path)}: line {number}")
        for row, (number, _) in zip(rows[1:], lines[1:], strict=True)
    ]
    if len(read) < 2:
        raise InputError("needs two rows at least", where=shown(path))
    time, height = np.array(read).T
    if np.any(np.diff(time) <= 0.0):
        late = int(np.flatnonzero(np.diff(time) <= 0.0)[0]) + 2
        raise InputError(f"row {late} is no later than the one before it", where=shown(path))
    return Tide(time, height, path.name)


def _row(row: list[str], where: str) -> tuple[float, float]:
    if len(row) != 2:
        raise InputError(f"expected time,height_m, got {len(row)} cells", where=where)
    try:
        time, height = datetime.fromisoformat(row[0].strip()), float(row[1])
    except ValueError:
        raise InputError(
            f"expected a time and a height, such as 2027-06-01T06:00Z,1.4, got {','.join(row)!r}",
            where=where,
        ) from None
    if time.utcoffset() is None:
        raise InputError(f"the time {row[0].strip()} needs its zone, such as Z", where=where)
    if not abs(height) <= HIGHEST_M:
        raise InputError(
            f"the height must be -{HIGHEST_M:g} to {HIGHEST_M:g} m, got {row[1]}", where=where
        )
    return hours_from_datetime(time), height
