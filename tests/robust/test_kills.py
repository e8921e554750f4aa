"""Commands that write, killed at random moments: every file is the old one or the new one."""

from __future__ import annotations

import json
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from xml.etree import ElementTree

import pytest

from conftest import SAMPLES

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(sys.platform == "win32", reason="no signals"),
]

RUN = [sys.executable, "-c", "from goosewing_cli.main import run; run()"]
PLAN = ("plan", "marks.gpx", "--boat", "brisvik/boat.toml", "--wind", "315/10",
        "--depart", "2027-06-12T05:00Z")  # fmt: skip
WRITERS = {
    "plan": (
        (*PLAN, "--out", "a.gpx", "--geojson", "a.geojson", "--handheld", "small.gpx",
         "--sheet", "a.html"),
        ("a.gpx", "a.geojson", "small.gpx", "a.html"),
    ),
    "laylines": (
        ("laylines", "marks.gpx", "--boat", "brisvik/boat.toml", "--wind", "315/10",
         "--out", "a.gpx"),
        ("a.gpx",),
    ),
    "handheld": (("handheld", "marks.gpx", "--out", "small.gpx"), ("small.gpx",)),
    "boat": (
        ("boat", "estimate", "brisvik/dimensions.toml", "--out", "made"),
        ("made/boat.toml",),
    ),
}  # fmt: skip
KILLS = 6
OLD = b"what stood here before"


@pytest.fixture
def desk(tmp_path):
    shutil.copy(SAMPLES / "kattegat.gpx", tmp_path / "marks.gpx")
    shutil.copytree(SAMPLES / "brisvik", tmp_path / "brisvik")
    return tmp_path


def started(desk: Path, words: tuple[str, ...]) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [*RUN, *words], cwd=desk, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )


def check_whole(file: Path) -> bool:
    """Tell whether a file is the new one; it must be whole, or the old one."""
    raw = file.read_bytes()
    if raw == OLD:
        return False
    if file.suffix == ".gpx":
        ElementTree.fromstring(raw)
    elif file.suffix == ".geojson":
        json.loads(raw)
    elif file.suffix == ".html":
        assert raw.rstrip().endswith(b"</html>")
    else:
        assert raw.endswith(b"\n")
    return True


def fresh(desk: Path, files: tuple[str, ...]) -> None:
    shutil.rmtree(desk / "made", ignore_errors=True)
    for name in files:
        if "/" not in name:
            (desk / name).write_bytes(OLD)


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
@pytest.mark.parametrize("command", WRITERS)
def test_every_file_is_the_old_or_the_new_one(command, how, desk):
    words, files = WRITERS[command]
    fresh(desk, files)
    begun = time.monotonic()
    whole = started(desk, words)
    _, said = whole.communicate()
    assert whole.returncode == 0, said
    takes_s = time.monotonic() - begun
    hand = random.Random(f"{command}:{how}")
    for _ in range(KILLS):
        fresh(desk, files)
        process = started(desk, words)
        # Most of it is work; what is written comes at the end.
        time.sleep(takes_s * hand.choice((hand.uniform(0.0, 1.0), hand.uniform(0.7, 1.1))))
        process.send_signal(how)
        _, said = process.communicate()
        if how is signal.SIGTERM:
            # Before Python runs there is no handler; from then on it ends as with ^C.
            assert process.returncode in (0, 130, -signal.SIGTERM), said
        there = [desk / name for name in files if (desk / name).exists()]
        new = [check_whole(file) for file in there]
        if process.returncode == 130:
            assert b"Traceback" not in said
            # All or none: what was written before the end came is put back.
            assert len(set(new)) <= 1
        if how is not signal.SIGKILL:
            assert not list(desk.rglob("*.tmp"))
