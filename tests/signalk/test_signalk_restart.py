"""What was passed stays passed in a host: engine killed, settings saved, host started again."""

from __future__ import annotations

import json
import math
import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic

from signalk_host import COURSE, DOORS, SAMPLES, Host, until

KNOT = 1852 / 3600
START = (56.70, 12.10)
COURSE_DEG, SPEED_KN = 90.0, 25.0
CONFIGURATION = {
    "python": sys.executable,
    "boat": str(SAMPLES / "brisvik" / "boat.toml"),
    "forecast": False,
}


def far(lat: float, lon: float, bearing: float, nm: float) -> tuple[float, float]:
    there = Geodesic.WGS84.Direct(lat, lon, bearing, nm * 1852)
    return there["lat2"], there["lon2"]


DAN = far(*START, COURSE_DEG, 0.3)
HED = far(*DAN, 120.0, 6.0)


class Boat:
    """Reaching, faster than any of her size, so that the test is short."""

    def __init__(self, host: Host) -> None:
        self.host = host
        self.lat, self.lon = START
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        last = time.monotonic()
        while not self._ended.wait(0.4):
            now = time.monotonic()
            nm = SPEED_KN * (now - last) / 3600.0
            last = now
            if Geodesic.WGS84.Inverse(*START, self.lat, self.lon)["s12"] < 1852 * 1.5:
                self.lat, self.lon = far(self.lat, self.lon, COURSE_DEG, nm)
            try:
                self.host.feed(self.values())
            except OSError:
                continue  # The host is being started again.

    def values(self) -> dict[str, Any]:
        return {
            "navigation.position": {"latitude": self.lat, "longitude": self.lon},
            "navigation.headingTrue": math.radians(COURSE_DEG),
            "navigation.courseOverGroundTrue": math.radians(COURSE_DEG),
            "environment.wind.directionTrue": 0.0,
            "environment.wind.speedTrue": 10.0 * KNOT,
        }

    def end(self) -> None:
        self._ended.set()
        self._thread.join(5)


@pytest.fixture(scope="module")
def sailing(host_files: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Host]:
    """On the way to Hed, Dan rounded; the host's own course still points at Dan."""
    folder = tmp_path_factory.mktemp("restart")
    host = Host(host_files, folder, plug_configuration=CONFIGURATION).start()
    boat = Boat(host)
    until(lambda: panel(host)["boat"]["lat"], within_s=60, say=host.status)
    route = host.store_route("R", [START, DAN, HED])
    active = {"href": f"/resources/routes/{route}", "pointIndex": 1, "reverse": False}
    assert host.ask("PUT", f"{COURSE}/activeRoute", active)[0] == 200
    until(lambda: next_mark(host) == "R 2", within_s=120, say=lambda: panel(host))
    # Well past it, that she may not round it once more.
    until(lambda: far_from_dan(boat) > 0.3, within_s=60)
    assert host.get(COURSE)[1]["activeRoute"]["pointIndex"] == 1
    yield host
    boat.end()
    host.stop()


def far_from_dan(boat: Boat) -> float:
    return float(Geodesic.WGS84.Inverse(*DAN, boat.lat, boat.lon)["s12"]) / 1852


def panel(host: Host) -> dict[str, Any]:
    code, answer = host.get(f"{DOORS}/panel")
    return dict(answer) if code == 200 else {"boat": {"lat": None}, "route": None, "plan": None}


def next_mark(host: Host) -> str | None:
    """The mark that a plan leads to."""
    shown = panel(host)
    return shown["route"]["next"] if shown["route"] and shown["plan"] and shown["next"] else None


def never_back(host: Host) -> None:
    """Until she is led on to Hed again she is led to nothing else, and told to turn nowhere."""
    led = []

    def on() -> bool:
        led.append(next_mark(host))
        return led[-1] == "R 2"

    until(on, within_s=90, say=lambda: panel(host))
    assert set(led) <= {None, "R 2"}
    kinds = [each["kind"] for each in panel(host)["events"]]
    assert "turn_now" not in kinds


def test_the_engine_is_killed(sailing):
    pid = sailing.status()["engine"]["pid"]
    os.kill(pid, signal.SIGKILL)
    until(lambda: sailing.status()["engine"]["pid"] not in (pid, None), within_s=60)
    never_back(sailing)
    assert "want of memory" in sailing.status()["engine"]["lastFault"]["reason"]


def test_the_settings_are_saved(sailing):
    pid = sailing.status()["engine"]["pid"]
    sailing.configure({**CONFIGURATION, "performance": 0.95})
    until(lambda: sailing.status().get("engine", {}).get("pid") not in (pid, None), within_s=60)
    never_back(sailing)


def test_the_host_is_started_again(sailing):
    sailing.stop()
    sailing.start()
    until(lambda: sailing.status().get("engine", {}).get("pid"), within_s=60)
    never_back(sailing)


def test_after_hours_the_crew_is_asked_and_answers(sailing):
    sailing.put_away()
    kept = sailing.folder / "plugin-config-data" / "goosewing" / "under-way.json"
    document = json.loads(kept.read_text())
    assert document["kept"]["passed"] == ["R 1"]
    document["kept"]["time_s"] -= 3 * 3600.0
    kept.write_text(json.dumps(document))
    sailing.configure(CONFIGURATION)
    question = until(lambda: (panel(sailing).get("shown") or {}).get("question"), within_s=90)
    assert "R 1 lies astern as it was kept 3 h ago. Rounded?" in question["words"]
    assert panel(sailing)["next"] is None
    assert sailing.order("answer", {"question": "passed", "choice": "perhaps"})[0] == 409
    assert sailing.order("answer", {"question": "passed", "choice": "yes"})[0] == 200
    never_back(sailing)
