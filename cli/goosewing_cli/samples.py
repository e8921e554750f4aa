"""Where the sample passages are: in the wheel, or beside the checkout."""

from __future__ import annotations

from pathlib import Path

from goosewing.errors import InputError


def sample_folder() -> Path:
    """Return the folder that holds the sample passages.

    Raises
    ------
    InputError
        If the installation lost them.
    """
    here = Path(__file__).resolve()
    for folder in (here.parent / "sample_routes", here.parents[2] / "sample_routes"):
        if (folder / "brisvik" / "boat.toml").is_file():
            return folder
    raise InputError("the sample passage is missing from this installation: install goosewing anew")
