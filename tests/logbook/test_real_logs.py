"""Logs that real yachts kept: those that the open standard's server brings in its package."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from goosewing_cli.main import outcome
from signalk_host import HostUnavailableError, install, node


@pytest.fixture(scope="module")
def modules():
    """The server's packages. Without node or registry: skipped, or failed if required."""
    try:
        return install(print) / "node_modules"
    except HostUnavailableError as why:
        if os.environ.get("GOOSEWING_REQUIRE_SIGNALK"):
            pytest.fail(f"no Signal K server: {why}")
        pytest.skip(f"no Signal K server: {why}")


def test_a_day_mostly_under_engine_without_compass_is_refused_and_why(modules, tmp_path, capsys):
    log = modules / "signalk-server" / "samples" / "plaka.log"
    assert log.read_bytes().count(b"\n") > 115_000
    assert outcome(["boat", "fit", str(log), "--out", str(tmp_path / "boat")]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "h were under engine" in said
    assert "no compass" in said
    assert not (tmp_path / "boat").exists()


def test_the_same_day_tells_nothing_of_leeway(modules, capsys):
    log = modules / "signalk-server" / "samples" / "plaka.log"
    assert outcome(["boat", "leeway", str(log)]) == 2
    assert "without a heading" in capsys.readouterr().err


def test_ten_minutes_of_reaching_give_a_table_and_no_polar(modules, tmp_path, capsys):
    script = Path(__file__).parent / "n2k_deltas.js"
    raw = modules / "signalk-server" / "samples" / "aava-n2k.data"
    done = subprocess.run(
        [node(), str(script), str(modules), str(raw)], capture_output=True, check=True, timeout=120
    )
    log = tmp_path / "reaching.jsonl"
    log.write_bytes(done.stdout)
    table = tmp_path / "stretches.csv"
    assert outcome(["boat", "fit", str(log), "--stretches", str(table)]) == 0
    rows = table.read_text(encoding="utf-8").splitlines()
    assert len(rows) == 11
    assert all(",starboard," in row and row.endswith(",no") for row in rows[1:])
    angles = [float(row.split(",")[3]) for row in rows[1:]]
    assert 60.0 < min(angles) <= max(angles) < 90.0
    capsys.readouterr()
    both = ["--out", str(tmp_path / "boat"), "--stretches", str(tmp_path / "other.csv")]
    assert outcome(["boat", "fit", str(log), *both]) == 2
    assert "10 steady stretches under sail, expected 40" in capsys.readouterr().err
    # All that was asked for or nothing.
    assert not (tmp_path / "other.csv").exists()
