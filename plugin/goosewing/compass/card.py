"""A deviation card from a CSV file.

Two columns, ``heading_deg,deviation_deg``: the heading *by compass*, 0 to 360,
and the deviation, east positive, or with its letter as on a paper card (2W, 3.5E).
Comma, semicolon or tab between them; a decimal comma where the delimiter isn't one.
"""

from __future__ import annotations

import math
import re
from pathlib import Path

from goosewing.compass.deviation import DeviationCard, card_fault
from goosewing.errors import InputError
from goosewing.files.cells import cells_of, delimiter_of, with_points
from goosewing.files.disk import read_bytes, shown

COLUMNS = ("heading_deg", "deviation_deg")


def read_card(path: Path | str) -> DeviationCard:
    """Read a deviation card; see `parse_card`.

    Raises
    ------
    InputError
        As `parse_card`, and if the file can't be read.
    """
    data = read_bytes(path, "a deviation card")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("is not UTF-8 text (expected CSV)", where=shown(path)) from None
    return parse_card(text, where=shown(path))


def parse_card(text: str, *, where: str = "deviation card") -> DeviationCard:
    """Read a deviation card from CSV text.

    Parameters
    ----------
    text : str
        With the header ``heading_deg,deviation_deg``.
    where : str
        The file, for messages.

    Raises
    ------
    InputError
        If the header is another, a row has no two numbers, a heading stands
        twice, a deviation is over 30°, 000 and 360 differ, headings are fewer
        than 8 or more than 45° apart; with the row.
    """
    rows = _rows(text)
    if not rows or tuple(cell.casefold() for cell in rows[0][1]) != COLUMNS:
        number = rows[0][0] if rows else 1
        raise InputError(f"row {number}: expected the header {','.join(COLUMNS)}", where=where)
    entries = [_entry(cells, number, where) for number, cells in rows[1:]]
    if not entries:
        raise InputError("no rows below the header, expected 8 headings or more", where=where)
    headings, deviations = zip(*entries, strict=True)
    fault = card_fault(headings, deviations)
    if fault:
        raise InputError(f"row {rows[1 + fault.entry][0]}: {fault.words}", where=where)
    return DeviationCard(headings_deg=headings, deviations_deg=deviations)


def _rows(text: str) -> list[tuple[int, list[str]]]:
    """Return the rows that hold anything, with their numbers from 1."""
    header = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = delimiter_of(header) or ","
    stripped = (
        (number, [cell.strip() for cell in cells_of(line, delimiter)])
        for number, line in enumerate(text.splitlines(), 1)
    )
    found = [(number, cells) for number, cells in stripped if any(cells)]
    return [(number, with_points(cells, delimiter)) for number, cells in found]


def _entry(cells: list[str], number: int, where: str) -> tuple[float, float]:
    if len(cells) != len(COLUMNS):
        raise InputError(
            f"row {number}: expected a heading and a deviation, got {len(cells)} cells", where=where
        )
    heading, deviation = cells
    return (
        _number(heading, COLUMNS[0], number, where),
        _number(_signed(deviation), COLUMNS[1], number, where),
    )


def _signed(cell: str) -> str:
    """Write 2W as -2 and 3.5E as 3.5; whatever has both sign and letter stays what it is."""
    written = re.fullmatch(r"([\d.]+)\s*°?\s*([EW])", cell, re.IGNORECASE)
    if written is None:
        return cell
    return f"-{written[1]}" if written[2] in "Ww" else written[1]


def _number(cell: str, column: str, row: int, where: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(
            f'row {row}: {column} must be a number of degrees, got "{shown(cell)}"', where=where
        )
    return value
