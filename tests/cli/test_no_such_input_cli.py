"""A missing file, a folder, a pipe, a device, a giant: told alike, whatever it was to hold."""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path

import pytest

from goosewing_cli.main import outcome

SAMPLES = Path(__file__).parents[2] / "sample_routes"
MARKS, BOAT = str(SAMPLES / "kattegat.gpx"), str(SAMPLES / "brisvik" / "boat.toml")
PLAN = ("plan", MARKS, "--boat", BOAT, "--wind", "315/10")

INPUTS = {
    "marks": ("plan", "{file}", "--boat", BOAT, "--wind", "315/10"),
    "boat": ("plan", MARKS, "--boat", "{file}", "--wind", "315/10"),
    "wind": ("plan", MARKS, "--boat", BOAT, "--wind", "{file}"),
    "stream": (*PLAN, "--current", "{file}"),
    "hazards": (*PLAN, "--hazards", "{file}"),
    "deviation": (*PLAN, "--variation", "3", "--deviation", "{file}"),
    "weather": ("weather", "{file}"),
    "handheld": ("handheld", "{file}", "--out", "small.gpx"),
    "boat-check": ("boat", "check", "{file}"),
    "leeway": ("boat", "leeway", "{file}"),
    "log": ("live", "--nmea", "{file}", "--marks", MARKS, "--boat", BOAT),
}
FIGURES = {"wind", "stream"}
UNFIT = {
    "missing": "no such file",
    "folder": "is a folder",
    "pipe": "is a device or pipe",
    "giant": "far too large",
    "empty": "is empty",
}


def an_unfit_file(folder: Path, kind: str) -> Path:
    path = folder / f"{kind}.dat"
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "giant":
        with path.open("wb") as file:
            file.truncate(30_000_000_000)  # holes: nothing is on the disk
    elif kind == "empty":
        path.touch()
    return path


@pytest.mark.skipif(sys.platform == "win32", reason="no pipes among files")
@pytest.mark.parametrize("kind", UNFIT)
@pytest.mark.parametrize("what", INPUTS)
def test_every_reader_says_the_same(what, kind, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    file = an_unfit_file(tmp_path, kind)
    code = outcome([part.format(file=file) for part in INPUTS[what]])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    # The terminal's width folds the line; as a line it is one.
    line = " ".join(err.split())
    # A wind or stream may be numbers as well, so what is no file is told with both.
    named = kind == "missing" and what in FIGURES
    said = "no weather file of that name" if named else UNFIT[kind]
    assert re.search(rf"{file.name}\W.*{said}", line), line
    assert err.count("\n") <= 1
    assert len(line) <= 300
    assert not (tmp_path / "small.gpx").exists()
