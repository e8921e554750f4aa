"""What separates a table's cells, and a line of it into its cells, whatever stands in it."""

from __future__ import annotations

import csv


def delimiter_of(header: str) -> str | None:
    """Return what separates a header's cells: a tab, else a semicolon, else a comma; None if none.

    Examples
    --------
    >>> delimiter_of("time;wind_from_deg;wind_kn"), delimiter_of("time")
    (';', None)
    """
    return next((each for each in "\t;," if each in header), None)


def cells_of(line: str, delimiter: str = ",") -> list[str]:
    """Split a line of a table at its delimiter; quotes hold a cell together.

    Parameters
    ----------
    line : str
        Without its end.
    delimiter : str
        One character.

    Returns
    -------
    list of str
        Never an error: a cell beyond the library's own limit, or a stray end of a line within
        one, is nothing that could be a number, and whoever reads the cells says so.

    Examples
    --------
    >>> cells_of('06:00,"1,5"')
    ['06:00', '1,5']
    """
    try:
        return next(csv.reader([line], delimiter=delimiter), [])
    except csv.Error:
        return line.split(delimiter)


def with_points(cells: list[str], delimiter: str) -> list[str]:
    """Write decimal commas as points, where no comma separates the cells.

    Examples
    --------
    >>> with_points(["06:00", "1,5"], ";"), with_points(["06:00", "1,5"], ",")
    (['06:00', '1.5'], ['06:00', '1,5'])
    """
    return cells if delimiter == "," else [cell.replace(",", ".") for cell in cells]
