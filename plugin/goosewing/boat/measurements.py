"""Files of a yacht's measurements (TOML), read and held to account.

The keys are those of `goosewing.boat.estimate.dimensions.Dimensions`. Whatever is wrong is
refused in one line that names the file and the key.
"""

from __future__ import annotations

from dataclasses import MISSING, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from goosewing.boat.estimate.dimensions import LIMITS, Dimensions
from goosewing.boat.estimate.yacht import yacht
from goosewing.boat.read import checked, placed, toml_of
from goosewing.errors import InputError

if TYPE_CHECKING:
    import os


def _described() -> type[msgspec.Struct]:
    """Describe the file's keys: numbers where there are limits, texts elsewhere."""
    keys: list[Any] = []
    for each in fields(Dimensions):
        kind = float if each.name in LIMITS else str
        needed = each.default is MISSING
        keys.append((each.name, kind) if needed else (each.name, kind | None, None))
    return msgspec.defstruct("Measurements", keys, forbid_unknown_fields=True)


def read_dimensions(path: str | os.PathLike[str]) -> Dimensions:
    """Read a file of measurements, and see that they can belong to one yacht.

    Parameters
    ----------
    path : path-like
        A TOML file.

    Returns
    -------
    Dimensions

    Raises
    ------
    InputError
        If the file can't be read, a key is unknown or missing, a measurement is out of
        range, or two of them contradict each other.
    """
    file = Path(path)
    keys = checked(_described(), toml_of(file), str(file))
    given = {
        name: value for name in keys.__struct_fields__ if (value := getattr(keys, name)) is not None
    }
    if not given["name"].strip() or not given["name"].isprintable():
        raise InputError("expected a name of printable characters", where=f"{file}: name")
    with placed(str(file)):
        dimensions = Dimensions(**given)
        yacht(dimensions)
    return dimensions
