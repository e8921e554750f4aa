"""Areas to keep clear of, from files of every usual kind, told apart by what they hold.

GeoJSON and GPX need nothing besides the package; shapefiles, GeoPackages and S-57 cells
are read by GDAL, through the extra ``hazards``. Everything comes out in WGS 84.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal, NamedTuple

from goosewing.errors import InputError
from goosewing.files.disk import (
    MOST_BYTES_OF_FIELDS,
    check_readable,
    read_bytes,
    read_head,
    shown,
)
from goosewing.hazards.read.shapes import Box, Gathered, printable

if TYPE_CHECKING:
    from goosewing.hazards.areas import Area

Kind = Literal["GeoJSON", "GPX", "shapefile", "GeoPackage", "S-57"]

AREAS = "areas to keep clear of"
HEAD_BYTES = 4096
LARGEST_TEXT = 100_000_000
"""Bytes of a GeoJSON or GPX file, read as a whole; more is better kept in a GeoPackage."""

PACKED = {b"\x1f\x8b": "gzip", b"BZh": "bzip2", b"PK\x03\x04": "zip", b"\xfd7zXZ": "xz"}
EXPECTED = "expected GeoJSON, GPX, a shapefile (.shp), a GeoPackage or an S-57 cell (.000)"


class HazardsRead(NamedTuple):
    """The areas of a file, and what the navigator should know about them."""

    areas: tuple[Area, ...]
    notices: tuple[str, ...]
    cut: bool = False
    """Whether anything was left out as too far away."""


def read_hazards(
    path: Path | str,
    *,
    safe_depth_m: float | None = None,
    tide_m: float | None = None,
    near: Box | None = None,
) -> HazardsRead:
    """Read a file of areas to keep clear of.

    Parameters
    ----------
    path : path
        GeoJSON, GPX, shapefile, GeoPackage or S-57 cell.
    safe_depth_m : float, optional
        Less depth than this is kept clear of; S-57 cells need it. [m]
    tide_m : float, optional
        Height of tide over their charted depths. [m]
    near : Box, optional
        What lies wholly outside may be left out.

    Returns
    -------
    areas : tuple of Area
        At least one, unless `near` leaves out all.
    notices : tuple of str
    cut : bool
        Whether `near` left out any.

    Raises
    ------
    InputError
        If the file can't be read, is of another kind, holds no shape, or one that is
        broken beyond repair; one line that says where.
    """
    file = Path(path)
    kind = kind_of_file(file)
    if kind == "S-57" and safe_depth_m is None:
        raise InputError(
            "is an S-57 cell: it needs a safe depth, such as --safe-depth 3 (metres)",
            where=shown(file),
        )
    gathered = Gathered(source=printable(file.name))
    _gather(gathered, file, kind, safe_depth_m or 0.0, tide_m, near)
    if not (gathered.areas or gathered.known or gathered.cut):
        raise InputError("holds no areas, lines or points", where=shown(file))
    kept = tuple(each for each in gathered.areas if near is None or near.touches(each.shape.bounds))
    cut = gathered.cut or len(kept) < len(gathered.areas)
    return HazardsRead(kept, tuple(gathered.notices()), cut)


def _gather(
    gathered: Gathered,
    file: Path,
    kind: Kind,
    safe_depth_m: float,
    tide_m: float | None,
    near: Box | None,
) -> None:
    # Each reader's libraries are loaded only when a file asks for them.
    if kind == "GeoJSON":
        from goosewing.hazards.read import geojson

        geojson.gather(gathered, _text(file))
    elif kind == "GPX":
        from goosewing.hazards.read import tracks

        tracks.gather(gathered, _text(file))
    elif kind == "S-57":
        from goosewing.hazards.read import chart_cells

        chart_cells.gather(gathered, file, safe_depth_m, tide_m)
    else:
        from goosewing.hazards.read import layers

        layers.gather(gathered, file, kind, near)


def _text(file: Path) -> bytes:
    size = check_readable(file, AREAS, most_bytes=MOST_BYTES_OF_FIELDS)
    if size > LARGEST_TEXT:
        raise InputError(
            f"holds {size / 1e6:.0f} MB, and {LARGEST_TEXT / 1e6:.0f} MB of text are read at "
            "most: keep it as a GeoPackage, or cut out the waters you sail",
            where=shown(file),
        )
    return read_bytes(file, AREAS, most_bytes=LARGEST_TEXT)


# What it is ---------------------------------------------------------------------------------


def kind_of_file(path: Path) -> Kind:
    """Tell a file's kind from what it holds.

    Raises
    ------
    InputError
        If it can't be read or is of no known kind.
    """
    head = read_head(path, AREAS, HEAD_BYTES, most_bytes=MOST_BYTES_OF_FIELDS)
    try:
        return kind_of(head)
    except InputError as error:
        raise InputError(str(error), where=shown(path)) from None


def kind_of(head: bytes) -> Kind:
    """Tell a file's kind from its first bytes, `HEAD_BYTES` of them.

    Raises
    ------
    InputError
        If it is empty, packed, or none that is read here.
    """
    text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if not text:
        raise InputError(f"is empty, {EXPECTED}")
    for magic, name in PACKED.items():
        if head.startswith(magic):
            raise InputError(f"is packed ({name}), unpack it first")
    if head.startswith(b"\x00\x00\x27\x0a"):
        return "shapefile"
    if head.startswith(b"SQLite format 3\0"):
        return "GeoPackage"
    # ISO 8211: five digits, the interchange level, a leader; S-57 names its data set so.
    if head[:5].isdigit() and head[6:7] == b"L" and b"DSID" in head:
        return "S-57"
    if text.startswith(b"{"):
        return "GeoJSON"
    if text.startswith(b"<") or head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "GPX"
    raise InputError(f"is none of the kinds that are read: {EXPECTED}")
