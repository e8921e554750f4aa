"""The table of how far off a boat's polars may be, read and held to account.

One line for each sail set, angle and wind, in any order, none left out of a sail set that
is named at all::

    sail_set,twa_deg,tws_kn,boat_speed_kn,low_kn,high_kn,stretches
    main and jib,40,10,5.01,4.74,5.28,0

The truth lies between low and high four times in five. What counts is how far these lie
from the line's own boat speed, as shares of it: a polar that was changed by hand since
takes its band along.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat.model import Band, PolarTable
from goosewing.boat.tables import file_text
from goosewing.errors import InputError
from goosewing.files.cells import cells_of

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from goosewing.units import Array

COLUMNS = ("sail_set", "twa_deg", "tws_kn", "boat_speed_kn", "low_kn", "high_kn", "stretches")

FASTEST_KN = 60.0
"""As in a polar. [kn]"""


class BandRow(NamedTuple):
    """One cell of a sail set."""

    row: int
    """In the file, as an editor counts."""
    twa_deg: float
    tws_kn: float
    boat_speed_kn: float
    low_kn: float
    high_kn: float
    stretches: float


def read_bands(file: Path) -> dict[str, list[BandRow]]:
    """Read a table of bands.

    Returns
    -------
    dict of list
        The rows of each sail set that it names.

    Raises
    ------
    InputError
        With file, row and column of what is wrong.
    """
    lines = re.split(r"\r\n|\r|\n", file_text(file))
    written = [(i, line) for i, line in enumerate(lines, 1) if line.strip() and line[0] != "#"]
    if not written:
        raise InputError("the table is empty", where=str(file))
    (_, first), *body = written
    header = [cell.strip().lower() for cell in cells_of(first)]
    if tuple(header) != COLUMNS:
        raise InputError(
            f"expected the columns {','.join(COLUMNS)}", where=f"{file}, row {written[0][0]}"
        )
    rows: dict[str, list[BandRow]] = {}
    for number, line in body:
        name, row = _row(cells_of(line), number, file)
        rows.setdefault(name, []).append(row)
    return rows


def _row(cells: Sequence[str], number: int, file: Path) -> tuple[str, BandRow]:
    where = f"{file}, row {number}"
    if len(cells) != len(COLUMNS):
        raise InputError(f"{len(cells)} cells, expected {len(COLUMNS)}", where=where)
    values = [_number(cells[i], COLUMNS[i], where) for i in range(1, len(COLUMNS))]
    row = BandRow(number, *values)
    if not 0.0 <= row.twa_deg <= 180.0:
        raise InputError(f"expected 0 to 180 degrees, got {row.twa_deg:g}", where=where)
    if not 0.0 <= row.low_kn <= row.boat_speed_kn <= row.high_kn <= FASTEST_KN:
        raise InputError(
            f"expected low_kn, boat_speed_kn, high_kn in this order, 0 to {FASTEST_KN:g} kn, got "
            f"{row.low_kn:g}, {row.boat_speed_kn:g}, {row.high_kn:g}",
            where=where,
        )
    return cells[0].strip(), row


def _number(cell: str, column: str, where: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        value = float("nan")
    if not 0.0 <= value < 1e9:
        raise InputError(f'"{cell[:30]}" is not a number', where=f"{where}, column {column}")
    return value


def band_of(polar: PolarTable, rows: Sequence[BandRow], sail_set: str) -> Band:
    """Make a sail set's band from its rows, about the polar as it is now.

    Raises
    ------
    InputError
        If they aren't one for each angle and wind of the polar.
    """
    cells = _by_cell(rows, sail_set)
    wanted = [(float(twa), float(tws)) for twa in polar.twa_deg for tws in polar.tws_kn]
    for twa, tws in wanted:
        if (twa, tws) not in cells:
            raise InputError(f"{sail_set}: no row for {twa:g} degrees at {tws:g} kn")
    if len(cells) > len(wanted):
        twa, tws = next(cell for cell in cells if cell not in set(wanted))
        raise InputError(
            f"{sail_set}: its polar has no {twa:g} degrees at {tws:g} kn", where=f"row "
            f"{cells[twa, tws].row}",
        )  # fmt: skip
    found = np.array([cells[cell][3:] for cell in wanted]).reshape(*polar.values.shape, 4)
    speed, low, high, stretches = np.moveaxis(found, -1, 0)
    return Band(
        PolarTable(polar.tws_kn, polar.twa_deg, polar.values * _share(low, speed)),
        PolarTable(polar.tws_kn, polar.twa_deg, polar.values * _share(high, speed)),
        stretches,
    )


def _by_cell(rows: Sequence[BandRow], sail_set: str) -> Mapping[tuple[float, float], BandRow]:
    cells: dict[tuple[float, float], BandRow] = {}
    for row in rows:
        cell = (row.twa_deg, row.tws_kn)
        if cell in cells:
            raise InputError(
                f"{sail_set}: {cell[0]:g} degrees at {cell[1]:g} kn stands in row "
                f"{cells[cell].row} already", where=f"row {row.row}",
            )  # fmt: skip
        cells[cell] = row
    return cells


def _share(edge: Array, speed: Array) -> Array:
    return np.asarray(np.divide(edge, speed, out=np.ones_like(edge), where=speed > 0.0))
