"""A boat written as a folder: the boat file, her tables, her band; all of it or nothing.

What is written is what `goosewing.boat.read.read_boat` reads.
"""

from __future__ import annotations

import json
import os
import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from goosewing.boat.bands import COLUMNS
from goosewing.errors import InputError
from goosewing.files.disk import shown, unfinished_in, write_atomically

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from goosewing.boat.model import Band, Boat, PolarTable, SailSet

BOAT_FILE = "boat.toml"
CONFIDENCE_FILE = "confidence.csv"

WIDEST_REMARK = 96


def format_boat(boat: Boat, remarks: Sequence[str] = ()) -> dict[str, str]:
    """Write a boat as text: the boat file and every table that it names.

    Parameters
    ----------
    boat : Boat
        Speeds are written to 0.01 kn, heel to 0.1°.
    remarks : sequence of str
        Put as comments at the top of the boat file.

    Returns
    -------
    dict
        Texts by file name, the boat file last.
    """
    files: dict[str, str] = {}
    names = _file_names([sails.name for sails in boat.sail_sets])
    for sails, name in zip(boat.sail_sets, names, strict=True):
        files[f"{name}.csv"] = format_table(sails.polar, decimals=2)
        if sails.heel is not None:
            files[f"{name}-heel.csv"] = format_table(sails.heel, decimals=1)
    if boat.has_band:
        files[CONFIDENCE_FILE] = _bands(boat)
    return {**files, BOAT_FILE: _boat_toml(boat, names, remarks)}


def format_table(table: PolarTable, *, decimals: int) -> str:
    """Write a table in the rectangular form: winds across, angles down."""
    header = ",".join(("deg/kn", *(f"{tws:g}" for tws in table.tws_kn)))
    rows = (
        ",".join((f"{twa:g}", *(f"{value:.{decimals}f}" for value in row)))
        for twa, row in zip(table.twa_deg, table.values, strict=True)
    )
    return "\n".join((header, *rows)) + "\n"


def _bands(boat: Boat) -> str:
    lines = [",".join(COLUMNS)]
    for sails in boat.sail_sets:
        if sails.band is not None:
            name = '"' + sails.name.replace('"', '""') + '"'
            lines += [f"{name},{row}" for row in _band_rows(sails.polar, sails.band)]
    return "\n".join(lines) + "\n"


def _band_rows(polar: PolarTable, band: Band) -> Iterator[str]:
    for i, twa in enumerate(polar.twa_deg):
        for j, tws in enumerate(polar.tws_kn):
            speeds = (table.values[i, j] for table in (polar, band.low, band.high))
            told = ",".join(f"{speed:.2f}" for speed in speeds)
            yield f"{twa:g},{tws:g},{told},{band.stretches[i, j]:.0f}"


def _file_names(sail_sets: Sequence[str]) -> list[str]:
    """Make a file name of each sail set's: plain letters and digits, no two alike."""
    names: list[str] = []
    for number, sail_set in enumerate(sail_sets, 1):
        name = re.sub(r"[^0-9a-z]+", "-", sail_set.lower()).strip("-") or f"sails-{number}"
        names.append(name if name not in names else f"{name}-{number}")
    return names


def _boat_toml(boat: Boat, names: Sequence[str], remarks: Sequence[str]) -> str:
    blocks = [[*_comments(remarks), *_head(boat)]]
    for table in ("leeway", "performance", "manoeuvres", "engine"):
        record = getattr(boat, table)
        if record is not None:
            keys = ((key, getattr(record, key)) for key in record.__dataclass_fields__)
            blocks.append([f"[{table}]", *_pairs(keys)])
    blocks += [_sail_set(*each) for each in zip(boat.sail_sets, names, strict=True)]
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def _head(boat: Boat) -> Iterator[str]:
    yield from _pairs(
        (
            ("name", boat.name),
            ("polar_angle", boat.polar_angle),
            ("polar_height_m", boat.polar_height_m),
            ("night_poled", boat.night_poled),
            ("confidence", CONFIDENCE_FILE if boat.has_band else None),
        )
    )


def _sail_set(sails: SailSet, name: str) -> list[str]:
    heel = None if sails.heel is None else f"{name}-heel.csv"
    winds = (sails.tws_kn[0], sails.strongest_tws_kn)
    keys = (
        ("name", sails.name),
        ("polar", f"{name}.csv"),
        ("heel", heel),
        ("twa_deg", sails.twa_deg),
        ("tws_kn", winds),
        ("poled", sails.poled or None),
    )
    return ["[[sail_sets]]", *_pairs(keys)]


def _pairs(keys: Iterable[tuple[str, object]]) -> Iterator[str]:
    for key, value in keys:
        if value is not None:
            yield f"{key} = {_toml(value)}"


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float | int):
        return repr(round(float(value), 6))
    if isinstance(value, tuple):
        return f"[{', '.join(_toml(each) for each in value)}]"
    # A JSON string is a basic string of TOML too.
    return json.dumps(str(value))


def _comments(remarks: Sequence[str]) -> Iterator[str]:
    import textwrap

    for remark in remarks:
        yield from textwrap.wrap(
            " ".join(remark.split()), WIDEST_REMARK, initial_indent="# ", subsequent_indent="#   "
        )


def check_folder(folder: Path, names: Iterable[str]) -> None:
    """Refuse now what `write_folder` would refuse later, and touch nothing.

    Raises
    ------
    InputError
        If the place is no folder, its parent is missing, or a file of one of these names
        lies in it already.
    """
    try:
        if folder.exists() and not folder.is_dir():
            raise InputError("is a file, expected a folder to write to", where=shown(folder))
        if not folder.resolve().parent.is_dir():
            raise InputError(
                f"no such folder: {shown(folder.resolve().parent)}", where=shown(folder)
            )
        for name in names:
            if os.path.lexists(folder / name):
                raise InputError(
                    "is there already and is not overwritten; name another folder",
                    where=shown(folder / name),
                )
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError("is no possible name of a folder", where=shown(folder)) from None


def write_folder(folder: Path, files: Mapping[str, str]) -> list[Path]:
    """Write texts into a folder, all of them or none; make the folder if there is none.

    Parameters
    ----------
    folder : path
    files : mapping
        Texts by file name; the last one is put in its place last.

    Returns
    -------
    list of path
        What was written.

    Raises
    ------
    InputError
        As `check_folder`, or if the disk refuses; nothing is left then.
    """
    check_folder(folder, files)
    new = not folder.exists()
    done: list[Path] = []
    staging = unfinished_in(folder.parent)
    try:
        staging.mkdir()
        for name, text in files.items():
            try:
                write_atomically(staging / name, text)
            except InputError as error:
                raise InputError(error.reason, where=shown(folder / name)) from error
        folder.mkdir(exist_ok=True)
        for name in files:
            # A link fails where a file has come to lie meanwhile; a rename would replace it.
            os.link(staging / name, folder / name)
            done.append(folder / name)
    except OSError as error:
        _take_back(folder, done, new=new)
        reason = error.strerror or str(error)
        raise InputError(f"cannot be written: {reason}", where=shown(folder)) from error
    except BaseException:
        _take_back(folder, done, new=new)
        raise
    finally:
        shutil.rmtree(staging, ignore_errors=True)
    return done


def _take_back(folder: Path, done: Sequence[Path], *, new: bool) -> None:
    for path in done:
        path.unlink(missing_ok=True)
    if new and folder.is_dir() and not any(folder.iterdir()):
        folder.rmdir()
