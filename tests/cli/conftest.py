"""What the command line's tests share: copies of the sample, and a way to run."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import NamedTuple

import pytest

from goosewing_cli.main import outcome

SAMPLES = Path(__file__).parents[2] / "sample_routes"


class Ran(NamedTuple):
    code: int
    out: str
    err: str


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """A folder of its own with the sample's marks and boat in it, and the working directory."""
    shutil.copy(SAMPLES / "kattegat.gpx", tmp_path / "marks.gpx")
    shutil.copytree(SAMPLES / "brisvik", tmp_path / "brisvik")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def run(desk, capsys):  # noqa: ARG001 - for the working directory
    """Run `goosewing` in this process and hand back its exit code and what it printed."""

    def ran(*arguments):
        code = outcome([str(each) for each in arguments])
        said = capsys.readouterr()
        return Ran(code, said.out, said.err)

    return ran
