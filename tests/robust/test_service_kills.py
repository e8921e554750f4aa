"""The running service, killed at random moments: what it keeps is whole, and it goes on."""

from __future__ import annotations

import contextlib
import json
import math
import random
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import gpxpy
import pytest

from conftest import SAMPLES
from goosewing.live.alone.overlay import NAME

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL"),
]

KILLS = 12
STEP_S = 60.0
"""Between two looks: as long as what was passed is kept before it is written anew."""
NOON_S = 12 * 3600.0
LEG_NM, SPEED_KN = 2.0, 6.0
MARKS = 20


def stamp(seconds: float) -> str:
    days, rest = divmod(seconds, 86400.0)
    return (
        f"2027-06-{12 + int(days):02d}T{int(rest // 3600):02d}:{int(rest % 3600) // 60:02d}"
        f":{rest % 60:06.3f}Z"
    )


def east_of_start(miles: float) -> dict[str, float]:
    """Along a parallel: one long reach in a northerly wind."""
    return {"latitude": 56.5, "longitude": 12.0 + miles / 60.0 / math.cos(math.radians(56.5))}


class Reach:
    """A boat that reaches past mark after mark, and the host that tells the service of it."""

    def __init__(self, kept: Path) -> None:
        self.kept = kept
        self.seconds = NOON_S
        self.answered_s = 0.0
        """Of the last look that the service has answered."""
        self.events: list[dict[str, Any]] = []
        self.next = ""

    @property
    def miles(self) -> float:
        return (self.seconds - NOON_S) / 3600.0 * SPEED_KN

    def begin(self) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "goosewing.live"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        self.say(
            type="hello", version=1, boat=str(SAMPLES / "brisvik" / "boat.toml"),
            state=str(self.kept), options={"rounding_nm": 0.15},
        )  # fmt: skip
        assert self.hear()["type"] == "hello"
        places = [east_of_start(LEG_NM * mark) for mark in range(MARKS)]
        points = [
            {"lat": each["latitude"], "lon": each["longitude"], "name": f"M{mark}"}
            for mark, each in enumerate(places)
        ]
        self.say(type="plan", id="r", name="R", points=points, next=1)

    def say(self, **message: Any) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps(message).encode() + b"\n")
        self.process.stdin.flush()

    def hear(self) -> dict[str, Any]:
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        if not line.endswith(b"\n"):
            raise BrokenPipeError
        return json.loads(line)

    def look(self) -> None:
        """Sail on for a while, tell of it, and hear what is shown."""
        self.seconds += STEP_S
        values = {
            "navigation.position": east_of_start(self.miles),
            "navigation.headingTrue": math.pi / 2, "environment.wind.directionTrue": 0.0,
            "environment.wind.speedTrue": 5.0, "navigation.speedThroughWater": 3.1,
            "navigation.speedOverGround": 3.1, "navigation.courseOverGroundTrue": math.pi / 2,
        }  # fmt: skip
        listed = [{"path": path, "value": value} for path, value in values.items()]
        told = stamp(self.seconds)
        self.say(type="observe", time=told, source="sim", values=listed)
        self.say(type="tick", time=told)
        while (message := self.hear())["type"] != "panel":
            assert message["type"] != "error", message
            if message["type"] == "event":
                self.events += [message]
                if message["kind"] == "asked":
                    # Started anew at a mark, it has not seen her near it; the crew has.
                    self.say(type="answer", question="passed", choice="yes")
        self.next = (message["route"] or {"next": ""})["next"]
        self.answered_s = self.seconds

    def until_killed(self, after_s: float) -> None:
        threading.Timer(after_s, self.process.kill).start()
        with contextlib.suppress(OSError):
            while True:
                self.look()
        self.process.wait(30)
        for pipe in (self.process.stdin, self.process.stdout):
            assert pipe is not None
            # What could not be said any more is not said later.
            with contextlib.suppress(BrokenPipeError):
                pipe.close()


def test_it_goes_on_where_it_was_however_often_it_is_killed(tmp_path):
    boat = Reach(tmp_path / "kept" / "under-way.json")
    hand = random.Random(19)
    for _ in range(KILLS):
        boat.begin()
        for _ in range(3):
            boat.look()
        boat.until_killed(hand.uniform(0.0, 0.25))
        document = json.loads(boat.kept.read_bytes())
        assert document["format"] == "goosewing.under-way/1"
        kept = document["kept"]
        written_s = (kept["time_s"] - NOON_S) % 86400.0 + NOON_S
        # Nothing older than the look before the last that was answered.
        assert boat.answered_s - STEP_S <= written_s <= boat.seconds
        behind = boat.miles / LEG_NM
        # Asked about a mark that it has not seen her round, the crew answers half a mile past it.
        assert behind - 1.4 <= kept["next"] - 1 <= behind + 0.1
        assert kept["passed"] == [f"M{mark}" for mark in range(1, kept["next"])]
        if kept["next"] > MARKS - 4:
            break
    # Every mark was told as she rounded it, none a second time.
    rounded = [each["values"] for each in boat.events if each["kind"] == "mark_rounded"]
    seen = [each["mark"] for each in rounded if "mark" in each]
    assert len(seen) == len(set(seen))
    told = {*seen, *(name for each in rounded for name in each.get("marks", ()))}
    assert told == {f"M{mark}" for mark in range(1, len(told) + 1)} >= set(kept["passed"])
    assert len(kept["passed"]) >= 3
    boat.begin()
    boat.look()
    boat.look()
    boat.process.kill()
    boat.process.communicate()
    assert int(boat.next[1:]) >= kept["next"]


def test_a_watch_without_a_host_leaves_whole_files(tmp_path):
    """Ten minutes of the sample log, as fast as can be: the overlay and what was passed."""
    lines = (SAMPLES / "brisvik_log.nmea").read_bytes().splitlines(keepends=True)
    (tmp_path / "log.nmea").write_bytes(b"".join(lines[:600]))
    shutil.copytree(SAMPLES / "brisvik", tmp_path / "brisvik")
    words = (
        "live", "--nmea", "log.nmea", "--replay", "0", "--marks",
        str(SAMPLES / "afternoon.gpx"), "--boat", "brisvik/boat.toml", "--gpx-dir", "overlay",
        "--state", "under-way.json",
    )  # fmt: skip
    run = [sys.executable, "-c", "from goosewing_cli.main import run; run()", *words]

    def started() -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            run, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )

    begun = time.monotonic()
    process = started()
    process.communicate()
    assert process.returncode == 0
    takes_s = time.monotonic() - begun
    overlay, kept = tmp_path / "overlay" / NAME, tmp_path / "under-way.json"
    hand = random.Random(20)
    for _ in range(KILLS // 2):
        process = started()
        time.sleep(takes_s * hand.uniform(0.2, 1.0))
        process.kill()
        process.communicate()
        gpxpy.parse(overlay.read_text(encoding="utf-8"))
        assert json.loads(kept.read_bytes())["format"] == "goosewing.under-way/1"
    process = started()
    said, _ = process.communicate()
    assert process.returncode == 0
    assert b"can't be read" not in said
