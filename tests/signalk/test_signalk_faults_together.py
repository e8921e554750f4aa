"""Several faults at once in a host: a seaway, a second lap, a host killed, its files damaged."""

from __future__ import annotations

import json
import math
import random
import signal
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic

from signalk_host import DOORS, SAMPLES, Host, until

KNOT = 1852 / 3600
START = (56.70, 12.10)
SPEED_KN = 30.0
YAW_DEG, YAW_S, NOISE_DEG = 4.0, 6.3, 1.0
LEG_NM, NEAR_NM = 0.1, 0.015
CONFIGURATION = {
    "python": sys.executable,
    "boat": str(SAMPLES / "brisvik" / "boat.toml"),
    "forecast": False,
    "options": {"rounding_nm": 0.05},
}


def far(place: tuple[float, float], bearing: float, nm: float) -> tuple[float, float]:
    there = Geodesic.WGS84.Direct(*place, bearing, nm * 1852)
    return there["lat2"], there["lon2"]


def lap() -> list[tuple[float, float]]:
    """Four marks, the last where she starts, every leg a reach in a northerly wind."""
    marks = [START]
    for bearing in (75.0, 105.0, 255.0):
        marks.append(far(marks[-1], bearing, LEG_NM))
    return [*marks[1:], START]


class Rounds:
    """Sails round the marks by herself, faster than any of her size, in a seaway."""

    def __init__(self, host: Host, marks: list[tuple[float, float]]) -> None:
        self.host, self.marks = host, marks
        self.lat, self.lon = START
        self.next = 0
        self._noise = random.Random(7)
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def begin(self) -> None:
        self._thread.start()

    def _run(self) -> None:
        last = time.monotonic()
        while not self._ended.wait(0.4):
            now = time.monotonic()
            bearing = self._to_mark()
            # However busy the machine is, she makes no leap past a mark.
            nm = min(SPEED_KN * (now - last) / 3600.0, NEAR_NM)
            last = now
            if self.next < len(self.marks):
                self.lat, self.lon = far((self.lat, self.lon), bearing, nm)
            self.feed(bearing, now)

    def _to_mark(self) -> float:
        """The course to the mark, or on past it."""
        while self.next < len(self.marks):
            line = Geodesic.WGS84.Inverse(self.lat, self.lon, *self.marks[self.next])
            if line["s12"] > NEAR_NM * 1852:
                return float(line["azi1"]) % 360.0
            self.lat, self.lon = far(self.marks[self.next], float(line["azi1"]), NEAR_NM / 2)
            self.next += 1
        return 285.0

    def feed(self, course: float, now: float) -> None:
        swing = YAW_DEG * math.sin(2.0 * math.pi * now / YAW_S)
        heading = course + swing + self._noise.gauss(0.0, NOISE_DEG)
        values = {
            "navigation.position": {"latitude": self.lat, "longitude": self.lon},
            "navigation.headingTrue": math.radians(heading % 360.0),
            "navigation.courseOverGroundTrue": math.radians(course % 360.0),
            "navigation.speedOverGround": SPEED_KN * KNOT,
            "navigation.speedThroughWater": SPEED_KN * KNOT,
            "environment.wind.directionTrue": 0.0,
            "environment.wind.speedTrue": 10.0 * KNOT,
        }
        try:
            self.host.feed(values)
        except OSError:
            return  # The host is being started again.

    def end(self) -> None:
        self._ended.set()
        self._thread.join(5)


class Looks:
    """What was led to at every look."""

    def __init__(self, host: Host) -> None:
        self.host = host
        self.next: list[int] = []

    def now(self) -> int | None:
        self._answer()
        route = self.host.status().get("route")
        if route is not None:
            self.next.append(int(route["next"]))
        return None if route is None else int(route["next"])

    def _answer(self) -> None:
        """The crew knows that she has rounded what lies astern."""
        code, panel = self.host.get(f"{DOORS}/panel")
        question = (panel.get("shown") or {}).get("question") if code == 200 else None
        if question:
            said = {"question": question["key"], "choice": "yes"}
            self.host.order("answer", said)


@pytest.fixture
def host(host_files: Path, tmp_path: Path):
    running = Host(host_files, tmp_path, plug_configuration=CONFIGURATION).start()
    yield running
    running.stop()


def asked_for(host: Host, marks: list[tuple[float, float]]) -> str:
    names = ["Start", *("East", "Far", "West", "Start")[: len(marks)] * 3]
    route = host.store_route("Rounds", [START, *marks], names=names[: len(marks) + 1])
    until(lambda: host.status().get("engine", {}).get("pid"), within_s=60)
    until(lambda: panel(host)["boat"]["lat"], within_s=60, say=host.status)
    assert host.order("plan", {"routeId": route})[0] == 200
    return route


def panel(host: Host) -> dict[str, Any]:
    code, answer = host.get(f"{DOORS}/panel")
    return dict(answer) if code == 200 else {"boat": {"lat": None}}


def test_killed_on_the_second_lap_in_a_seaway_with_its_memory_damaged(host):
    marks = [*lap(), *lap()]
    boat, looks = Rounds(host, marks), Looks(host)
    boat.begin()
    asked_for(host, marks)
    until(lambda: (looks.now() or 0) >= 6, within_s=300, say=host.status)
    assert looks.next == sorted(looks.next)
    host.stop(signal.SIGKILL)
    kept = host.folder / "plugin-config-data" / "goosewing" / "under-way.json"
    whole = kept.read_text()
    assert json.loads(whole)["kept"]["next"] >= 5
    kept.write_text(whole[: len(whole) // 2])
    host.start()
    again = Looks(host)
    # On from where she was, to the end: nothing of the first lap is led to once more.
    until(lambda: again.now() is None and again.next, within_s=300, say=host.status)
    assert min(again.next) >= max(looks.next)
    assert again.next == sorted(again.next)
    said = [event["message"] for event in host.status()["events"]]
    assert not [words for words in said if "fault" in words]
    assert boat.next == len(marks)
    boat.end()


def test_what_was_asked_for_is_planned_again_after_settings_and_after_the_host(host):
    marks = [far(START, 75.0, 3.0), far(START, 105.0, 6.0)]
    # Under way, to elsewhere: a place that stands still at thirty knots is no position.
    boat = Rounds(host, [far(START, 285.0, 60.0)])
    boat.begin()
    route = asked_for(host, marks)
    until(lambda: panel(host).get("plan"), within_s=120, say=host.status)
    pid = host.status()["engine"]["pid"]
    host.configure({**CONFIGURATION, "performance": 0.95})
    until(lambda: (host.status().get("engine") or {}).get("pid") not in (pid, None), within_s=60)
    until(lambda: panel(host).get("plan"), within_s=120, say=host.status)
    host.stop(signal.SIGKILL)
    host.start()
    until(lambda: panel(host).get("plan"), within_s=150, say=host.status)
    assert host.status()["route"]["id"] == route
    # Cleared, it stays cleared.
    assert host.order("clear")[0] == 200
    assert not host.asked_file().exists()
    host.stop()
    host.asked_file().write_text("{half")
    host.start()
    until(lambda: host.status().get("state") == "waiting", within_s=60, say=host.status)
    assert host.status()["route"] is None
    boat.end()
