"""What the command line's tests share: copies of the sample, and a way to run."""

from __future__ import annotations

import math
import shutil
from pathlib import Path
from typing import NamedTuple

import pytest

from goosewing_cli import planning
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
def run(desk, capsys, monkeypatch):  # noqa: ARG001 - for the working directory
    """Run `goosewing` in this process and hand back its exit code and what it printed."""
    # On a slow machine any work is long: how far it has come has tests of its own.
    monkeypatch.setattr(planning, "SECONDS_A_LINE", math.inf)

    def ran(*arguments):
        code = outcome([str(each) for each in arguments])
        said = capsys.readouterr()
        return Ran(code, said.out, said.err)

    return ran


ROUND = """<?xml version="1.0" encoding="UTF-8"?>
<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="by hand">
  <rte>
    <name>A round</name>
    <rtept lat="56.45" lon="12.35"><name>Start</name></rtept>
    <rtept lat="56.72" lon="11.85"><name>Anholt E</name><sym>buoy</sym></rtept>
    <rtept lat="56.87" lon="12.15"><name>Turn</name></rtept>
    <rtept lat="56.64" lon="12.42"><name>Finish</name></rtept>
  </rte>
</gpx>
"""


@pytest.fixture
def round_of_its_own(desk):
    """Marks that stay as they are: the sample's may change."""
    (desk / "marks.gpx").write_text(ROUND, encoding="utf-8")
