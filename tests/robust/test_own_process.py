"""Readers that die, hang or devour memory cost one line, whichever way the child is made."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from conftest import SAMPLES
from goosewing.errors import InputError
from goosewing.files import own_process
from goosewing.files.own_process import read_apart

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no signals, no limits")


def whole(path: Path) -> dict[str, np.ndarray]:
    print("a library's own words", flush=True)
    os.write(2, b"and its complaints\n")
    return {path.read_text(): np.arange(1_000_000.0)}


def dies(_: Path) -> None:
    os.kill(os.getpid(), signal.SIGSEGV)


def hangs(_: Path) -> None:
    time.sleep(60.0)


def turns_and_turns(_: Path) -> None:
    while True:
        pass


def devours(_: Path) -> float:
    return float(np.ones(1_000_000_000).sum())


def refuses(path: Path) -> None:
    raise InputError("holds no wind", where=path.name)


def breaks(_: Path) -> None:
    raise KeyError("lat\nlon")


def children() -> set[int]:
    """Processes of ours, the dead that nobody has asked after among them."""
    found = set()
    for each in Path("/proc").glob("[0-9]*/stat"):
        # A process may end while it is looked at.
        with contextlib.suppress(OSError):
            number, _, rest = each.read_text().partition(" (")
            if int(rest.rpartition(") ")[2].split()[1]) == os.getpid():
                found.add(int(number))
    return found


@pytest.fixture(params=["forked", "fresh"])
def child(request, monkeypatch):
    alone = request.param == "forked"
    if alone and not own_process._TASKS.exists():
        pytest.skip("no fork here")
    monkeypatch.setattr(own_process, "_alone", lambda: alone)
    # A fresh interpreter has its imports to do first.
    monkeypatch.setattr(own_process, "SECONDS", 1.0 if alone else 4.0)


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "wind.grib2"
    path.write_text("what it holds")
    return path


def nothing() -> None:
    pass


@pytest.mark.usefixtures("child")
def test_what_is_whole_is_handed_over_and_libraries_are_silent(file, capfd):
    made = read_apart(whole, file, ready=nothing)
    assert list(made) == ["what it holds"]
    np.testing.assert_array_equal(made["what it holds"], np.arange(1_000_000.0))
    assert capfd.readouterr() == ("", "")


@pytest.mark.long
@pytest.mark.usefixtures("child")
@pytest.mark.parametrize(
    ("read", "said"),
    [
        (dies, "wind.grib2: is damaged: reading it ended in SIGSEGV"),
        (turns_and_turns, "wind.grib2: is damaged: reading it had not ended after"),
        (devours, "wind.grib2: wants more than 0.8 GB of memory"),
        (refuses, "wind.grib2: holds no wind"),
        (
            breaks,
            "wind.grib2: can't be decoded: damaged, or of no kind that is known",
        ),
    ],
)
def test_what_goes_wrong_is_one_line(file, read, said):
    with pytest.raises(InputError) as told:
        read_apart(read, file, ready=nothing)
    assert str(told.value).startswith(said)
    assert "\n" not in str(told.value)


@pytest.mark.long
@pytest.mark.usefixtures("child")
def test_what_waits_for_nothing_is_ended_by_the_clock(file, monkeypatch):
    monkeypatch.setattr(own_process, "WAITS", 2.0)
    begun = time.monotonic()
    with pytest.raises(InputError, match="had not ended"):
        read_apart(hangs, file, ready=nothing)
    assert time.monotonic() - begun < 30.0


@pytest.mark.skipif(not own_process._TASKS.exists(), reason="threads are not counted here")
def test_beside_another_thread_nothing_is_forked():
    ends = threading.Event()
    thread = threading.Thread(target=ends.wait)
    thread.start()
    try:
        assert not own_process._alone()
    finally:
        ends.set()
        thread.join()


@pytest.mark.usefixtures("child")
@pytest.mark.skipif(not own_process._TASKS.exists(), reason="no /proc to look in")
def test_no_child_is_left(file):
    before = children()
    for read in (whole, refuses, dies):
        with contextlib.suppress(InputError):
            read_apart(read, file, ready=nothing)
    assert children() <= before


@pytest.mark.skipif(not own_process._TASKS.exists(), reason="threads are not counted here")
def test_a_command_reads_a_forecast_without_a_second_interpreter():
    # Which costs it the start of one, 0.2 s of processor time; a fork 0.02.
    code = (
        "from goosewing.files import own_process\n"
        "own_process._fresh = None\n"
        "from goosewing_cli.main import run; run()"
    )
    words = [sys.executable, "-c", code, "weather", str(SAMPLES / "forecast.grib2")]
    environment = {name: value for name, value in os.environ.items() if "THREADS" not in name}
    ran = subprocess.run(words, env=environment, capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stderr) == (0, "")
