"""Polar tables in text files, rectangular or long, read and held to account.

Whatever is wrong is refused in one line with file, row and column. Rows are counted
as an editor counts lines, columns from 1.

A table comes in one of two forms. *Rectangular*: the first row holds true wind
speeds, the first column true wind angles, the first cell is ignored::

    deg/kn,  6,    10
    40,      3.63, 4.95
    50,      4.48, 5.88

*Long*: columns ``twa_deg``, ``tws_kn``, ``boat_speed_kn`` and, if known, ``heel_deg``,
one line for each angle and wind, in any order, none left out. Cells are separated by
tabs, semicolons or commas; with the first two, and within quotes, the decimal sign may
be a comma. Blank lines and lines that begin with ``#`` are skipped.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from goosewing.boat.model import PolarTable
from goosewing.errors import InputError
from goosewing.files.cells import cells_of, delimiter_of
from goosewing.files.disk import read_bytes

if TYPE_CHECKING:
    import os
    from collections.abc import Sequence

Quantity = Literal["boat_speed_kn", "heel_deg"]
"""What the cells of a rectangular table hold."""

LARGEST_FILE_BYTES = 4_000_000
"""Far beyond any boat's table; whatever is larger is some other file."""

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?", re.ASCII)
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0e-\x1f]")


class _Limit(NamedTuple):
    what: str
    largest: float
    unit: str


_LIMITS = {
    "twa_deg": _Limit("a true wind angle", 180.0, "degrees"),
    "tws_kn": _Limit("a true wind speed", 60.0, "kn"),
    "boat_speed_kn": _Limit("a boat speed", 60.0, "kn"),
    "heel_deg": _Limit("a heel angle", 60.0, "degrees"),
}


class Tables(NamedTuple):
    """What one table file holds; None for what it does not."""

    boat_speed: PolarTable | None
    heel: PolarTable | None


@dataclass(frozen=True, slots=True)
class _Row:
    number: int
    cells: list[str]


@dataclass(frozen=True, slots=True)
class _Sheet:
    """The rows of a table file that hold anything."""

    file: Path
    rows: list[_Row]

    def fault(self, message: str, row: int, column: int | str | None = None) -> InputError:
        place = f"{self.file}, row {row}"
        return InputError(message, where=place if column is None else f"{place}, column {column}")

    def number(self, row: _Row, index: int, name: str, column: int | str | None = None) -> float:
        """Return one cell as a number within the limits of what it stands for."""
        column = index + 1 if column is None else column
        limit, cell = _LIMITS[name], row.cells[index]
        expected = f"expected {limit.what}, 0 to {limit.largest:g} {limit.unit}"
        if not cell:
            raise self.fault(f"empty cell, {expected}", row.number, column)
        if not _NUMBER.fullmatch(cell):
            raise self.fault(f'"{_shown(cell)}" is not a number, {expected}', row.number, column)
        value = float(cell.replace(",", "."))
        if not 0.0 <= value <= limit.largest:
            raise self.fault(f"{expected}, got {_shown(cell)}", row.number, column)
        return value


def _shown(cell: str) -> str:
    return cell if len(cell) <= 30 else f"{cell[:27]}..."


def read_table(path: str | os.PathLike[str], quantity: Quantity = "boat_speed_kn") -> Tables:
    """Read a polar table, rectangular or long.

    Parameters
    ----------
    path : path-like
    quantity : "boat_speed_kn" or "heel_deg"
        What the cells hold if the table is rectangular; a long one names its columns.

    Returns
    -------
    Tables

    Raises
    ------
    InputError
        With file, row and column of what is wrong.
    """
    file = Path(path)
    sheet = _Sheet(file, _rows(file_text(file), file))
    header = sheet.rows[0]
    # The first cell of a rectangular table may say "twa_deg" too.
    if {cell.lower() for cell in header.cells[1:]} & set(_LIMITS):
        return _long(sheet)
    table = _rectangular(sheet, quantity)
    return Tables(table, None) if quantity == "boat_speed_kn" else Tables(None, table)


def cell_place(path: str | os.PathLike[str], twa_deg: float, tws_kn: float) -> str:
    """Tell where in a table's file the cell of an angle and a wind stands, as in messages.

    Raises
    ------
    InputError
        If the file holds no such table any more.

    Examples
    --------
    Such as ``polar.csv, row 3, column 2``; in a long table ``polar.csv, row 7``.
    """
    file = Path(path)
    sheet = _Sheet(file, _rows(file_text(file), file))
    header, *body = sheet.rows
    if {cell.lower() for cell in header.cells[1:]} & set(_LIMITS):
        names = _columns(sheet, header)
        twa, tws = names["twa_deg"], names["tws_kn"]
        for row in body:
            here = (sheet.number(row, twa, "twa_deg"), sheet.number(row, tws, "tws_kn"))
            if here == (twa_deg, tws_kn):
                return f"{file}, row {row.number}"
        raise sheet.fault(f"no row for {twa_deg:g} degrees at {tws_kn:g} kn", header.number)
    winds = [sheet.number(header, c, "tws_kn") for c in range(1, len(header.cells))]
    for row in body:
        if sheet.number(row, 0, "twa_deg") == twa_deg and tws_kn in winds:
            return f"{file}, row {row.number}, column {winds.index(tws_kn) + 2}"
    raise sheet.fault(f"no cell for {twa_deg:g} degrees at {tws_kn:g} kn", header.number)


def file_text(file: Path) -> str:
    """Return the text of a file, or say why there is none.

    Raises
    ------
    InputError
        If it is missing, can't be read, or is no text.
    """
    raw = read_bytes(file, "a boat file or a table", most_bytes=LARGEST_FILE_BYTES)
    text = _decoded(raw)
    if text is None or _CONTROL.search(text):
        raise InputError("not a text file", where=str(file))
    return text


def _decoded(raw: bytes) -> str | None:
    # Spreadsheets save UTF-8 with or without a byte-order mark, UTF-16 as "Unicode
    # text", and the old Western code page, in which a degree sign is not valid UTF-8.
    wide = raw.startswith((b"\xff\xfe", b"\xfe\xff"))
    for encoding in ("utf-16",) if wide else ("utf-8-sig", "cp1252"):
        try:
            return raw.decode(encoding)
        except UnicodeDecodeError:
            continue
    return None


def _rows(text: str, file: Path) -> list[_Row]:
    lines = list(enumerate(re.split(r"\r\n|\r|\n", text), start=1))
    written = [(number, line) for number, line in lines if line.strip()]
    plain = [(number, line) for number, line in written if not line.lstrip().startswith("#")]
    if not plain:
        raise InputError("the table is empty", where=str(file))
    delimiter = delimiter_of(plain[0][1].strip())
    if delimiter is None:
        expected = "expected cells separated by tabs, semicolons or commas"
        raise InputError(expected, where=f"{file}, row {plain[0][0]}")
    rows = [_Row(number, _cells(line, delimiter)) for number, line in plain]
    rows = [row for row in rows if any(row.cells)]
    if not rows:
        raise InputError("the table is empty", where=str(file))
    _check_no_hidden_header(written, rows, delimiter, file)
    return _even(rows, file)


def _cells(line: str, delimiter: str) -> list[str]:
    return [cell.strip() for cell in cells_of(line, delimiter)]


def _check_no_hidden_header(
    written: Sequence[tuple[int, str]], rows: list[_Row], delimiter: str, file: Path
) -> None:
    """Refuse a row of wind speeds behind a ``#``: the first angle would pass for them."""
    for number, line in written:
        if number >= rows[0].number:
            return
        cells = _cells(line, delimiter)[1:]
        if len(cells) == len(rows[0].cells) - 1 and all(map(_NUMBER.fullmatch, cells)):
            raise InputError(
                "the wind speeds stand behind a #, which makes the row a comment",
                where=f"{file}, row {number}",
            )


def _even(rows: list[_Row], file: Path) -> list[_Row]:
    """Drop the empty cells that spreadsheets leave at the right; refuse ragged rows."""
    header = rows[0].cells
    width = max(i + 1 for i, cell in enumerate(header) if cell)
    for row in rows:
        used = len(row.cells)
        while used > width and not row.cells[used - 1]:
            used -= 1
        if used != width:
            raise InputError(
                f"{used} cells, expected {width} as in the first row",
                where=f"{file}, row {row.number}",
            )
    return [_Row(row.number, row.cells[:width]) for row in rows]


def _rectangular(sheet: _Sheet, quantity: Quantity) -> PolarTable:
    header, *body = sheet.rows
    if len(header.cells) < 2 or not body:
        raise sheet.fault(
            "expected a first row of wind speeds and a first column of wind angles", header.number
        )
    columns = range(1, len(header.cells))
    winds = [sheet.number(header, c, "tws_kn") for c in columns]
    _check_ascent(sheet, winds, "wind speeds", [(header.number, c + 1) for c in columns])
    angles = [sheet.number(row, 0, "twa_deg") for row in body]
    _check_ascent(sheet, angles, "wind angles", [(row.number, 1) for row in body])
    values = np.array([[sheet.number(row, c, quantity) for c in columns] for row in body])
    if winds[0] == 0.0:
        _check_calm(
            sheet,
            [(row.number, 2, row_values[0]) for row, row_values in zip(body, values, strict=True)],
        )
    if winds[-1] == 0.0:
        raise sheet.fault("expected a wind speed above 0 kn", header.number)
    return PolarTable(np.array(winds), np.array(angles), values)


def _check_ascent(
    sheet: _Sheet, values: list[float], what: str, places: list[tuple[int, int]]
) -> None:
    for before, value, (row, column) in zip(values, values[1:], places[1:], strict=False):
        if value == before:
            raise sheet.fault(f"duplicate: {value:g} appears twice among the {what}", row, column)
        if value < before:
            raise sheet.fault(f"{what} must ascend, got {value:g} after {before:g}", row, column)


def _check_calm(sheet: _Sheet, cells: Sequence[tuple[int, int | str, float]]) -> None:
    for row, column, value in cells:
        if value > 0.0:
            raise sheet.fault(f"expected 0 in 0 kn of wind, got {value:g}", row, column)


def _long(sheet: _Sheet) -> Tables:
    header, *body = sheet.rows
    place = _columns(sheet, header)
    if not body:
        raise sheet.fault("no rows below the column names", header.number)
    at = {name: [sheet.number(row, i, name, name) for row in body] for name, i in place.items()}
    twa, row_of = np.unique(at["twa_deg"], return_inverse=True)
    tws, column_of = np.unique(at["tws_kn"], return_inverse=True)
    _check_complete(sheet, body, at)
    if tws[-1] == 0.0:
        raise sheet.fault("expected a wind speed above 0 kn", header.number)

    def table(name: str) -> PolarTable | None:
        if name not in at:
            return None
        values = np.zeros((twa.size, tws.size))
        values[row_of, column_of] = at[name]
        calm = [
            (row.number, name, v)
            for row, v, w in zip(body, at[name], at["tws_kn"], strict=True)
            if w == 0.0
        ]
        _check_calm(sheet, calm)
        return PolarTable(tws, twa, values)

    return Tables(table("boat_speed_kn"), table("heel_deg"))


def _columns(sheet: _Sheet, header: _Row) -> dict[str, int]:
    names = [cell.lower() for cell in header.cells]
    for i, name in enumerate(names):
        if name not in _LIMITS:
            raise sheet.fault(
                f'unknown column "{_shown(name)}"; known are {", ".join(_LIMITS)}',
                header.number,
                i + 1,
            )
        if name in names[:i]:
            raise sheet.fault(f'duplicate column "{name}"', header.number, i + 1)
    for name in ("twa_deg", "tws_kn"):
        if name not in names:
            raise sheet.fault(f'the column "{name}" is missing', header.number)
    if len(names) < 3:
        raise sheet.fault('the column "boat_speed_kn" is missing', header.number)
    return {name: i for i, name in enumerate(names)}


def _check_complete(sheet: _Sheet, body: list[_Row], at: dict[str, list[float]]) -> None:
    """Refuse a combination of angle and wind that stands twice or not at all."""
    seen: dict[tuple[float, float], int] = {}
    for row, cell in zip(body, zip(at["twa_deg"], at["tws_kn"], strict=True), strict=True):
        if cell in seen:
            raise sheet.fault(
                f"duplicate: {cell[0]:g} degrees at {cell[1]:g} kn stands in row {seen[cell]} "
                "already",
                row.number,
            )
        seen[cell] = row.number
    for twa in sorted(set(at["twa_deg"])):
        for tws in sorted(set(at["tws_kn"])):
            if (twa, tws) not in seen:
                raise InputError(
                    f"no row for {twa:g} degrees at {tws:g} kn; every angle needs every wind speed",
                    where=str(sheet.file),
                )
