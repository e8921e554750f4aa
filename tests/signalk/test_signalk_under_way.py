"""Under way in a host: a turn noticed, what is up, what is missing, a run dead downwind."""

from __future__ import annotations

import math
import re
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic

from signalk_host import DOORS, SAMPLES, SELF, Host, until

KNOT = 1852 / 3600
START = (56.70, 12.10)
TWD, TWS_KN, SPEED_KN = 315.0, 10.0, 5.5
STARBOARD, PORT, BROAD = 271.0, 359.0, 315.0 - 150.0
DEAD_DOWNWIND = 315.0 - 177.0
NOTICE = "notifications.navigation.goosewing"
CONFIGURATION = {
    "python": sys.executable,
    "boat": str(SAMPLES / "brisvik" / "boat.toml"),
    "forecast": False,
}


class Boat:
    """Sails where she is steered, and speaks twice a second; what is silent she leaves out."""

    def __init__(self, host: Host) -> None:
        self.host = host
        self.lat, self.lon = START
        self.heading = STARBOARD
        self.silent: set[str] = set()
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._ended.wait(0.5):
            there = Geodesic.WGS84.Direct(self.lat, self.lon, self.heading, SPEED_KN * KNOT * 0.5)
            self.lat, self.lon = there["lat2"], there["lon2"]
            values = {k: v for k, v in self.values().items() if k not in self.silent}
            try:
                self.host.feed(values)
            except OSError:
                continue

    def values(self) -> dict[str, Any]:
        off = math.radians((TWD - self.heading + 180.0) % 360.0 - 180.0)
        return {
            "navigation.position": {"latitude": self.lat, "longitude": self.lon},
            "navigation.headingTrue": math.radians(self.heading),
            "navigation.courseOverGroundTrue": math.radians(self.heading),
            "navigation.speedOverGround": SPEED_KN * KNOT,
            "navigation.speedThroughWater": SPEED_KN * KNOT,
            "environment.wind.angleTrueWater": off,
            "environment.wind.speedTrue": TWS_KN * KNOT,
        }

    def end(self) -> None:
        self._ended.set()
        self._thread.join(5)


@pytest.fixture(scope="module")
def afloat(
    host_files: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Host, Boat]]:
    """On starboard tack, and the plan begins with a turn onto port."""
    folder = tmp_path_factory.mktemp("underway")
    host = Host(host_files, folder, plug_configuration=CONFIGURATION).start()
    boat = Boat(host)
    until(lambda: panel(host)["boat"]["lat"], say=host.status)
    until(lambda: panel(host)["boat"].get("tack") == "starboard", say=lambda: panel(host))
    mark = Geodesic.WGS84.Direct(*START, 20.0, 5.0 * 1852)
    route = host.store_route("R", [START, (mark["lat2"], mark["lon2"])], names=["Start", "Dan"])
    assert host.order("plan", {"routeId": route})[0] == 200
    yield host, boat
    boat.end()
    host.stop()


def panel(host: Host) -> dict[str, Any]:
    code, answer = host.get(f"{DOORS}/panel")
    return dict(answer) if code == 200 else {"boat": {"lat": None}}


def state_of(host: Host, kind: str) -> str | None:
    found = host.value(f"{NOTICE}.{kind}")
    return found["state"] if isinstance(found, dict) else None


def told(host: Host) -> list[str]:
    return [event["kind"] for event in host.status()["events"]]


def test_an_order_names_what_exists_and_a_turn_made_is_noticed(afloat):
    host, boat = afloat
    until(lambda: state_of(host, "turnNow") == "warn", say=host.status)
    now = until(lambda: (panel(host).get("shown") or {}).get("now"), say=host.status)
    assert now["title"] == "T1 now: steer"
    code, answer = host.order("acknowledge", {"point": "T9"})
    assert (code, answer["message"]) == (409, "there is no T9 to acknowledge: T1 waits")
    assert state_of(host, "turnNow") == "warn"
    boat.heading = PORT
    until(lambda: "turn_done" in told(host), within_s=120, say=lambda: panel(host))
    until(lambda: state_of(host, "turnNow") == "normal", say=host.status)
    undo = until(lambda: panel(host)["shown"]["undo"], say=lambda: panel(host))
    assert undo["point"] == "T1"
    assert host.order("undo", {"point": "T1"})[0] == 200
    until(lambda: (panel(host)["next"] or {}).get("awaiting"), say=lambda: panel(host))
    assert host.order("acknowledge", {"point": "T1"})[0] == 200
    until(lambda: not (panel(host)["next"] or {"awaiting": True})["awaiting"], say=host.status)
    code, answer = host.order("acknowledge", {"point": "T1"})
    assert code == 409
    assert "no turn waits" in answer["message"]


def test_nothing_stands_on_the_path_of_the_host_s_own_course(afloat):
    host, _ = afloat
    ours = until(
        lambda: host.get(f"{SELF}/performance/goosewing/velocityMadeGoodToMark")[1], say=host.status
    )
    assert ours["value"] == pytest.approx(SPEED_KN * KNOT, rel=0.1)
    assert host.value("performance.velocityMadeGoodToWaypoint") == "absent"
    stream = host.value("performance.goosewing.stream")
    assert stream is None or stream["driftStandardDeviation"] > 0.0


def test_a_heading_that_is_missing_is_named(afloat):
    host, boat = afloat
    boat.silent = {
        "navigation.headingTrue", "navigation.courseOverGroundTrue", "navigation.speedOverGround",
    }  # fmt: skip
    words = until(
        lambda: next((w for w in [panel(host)["message"]] if "no heading" in w), None),
        within_s=90, say=lambda: panel(host),
    )  # fmt: skip
    assert "no wind" not in words
    assert panel(host)["next"] is None
    boat.silent = set()
    until(lambda: panel(host)["state"] == "advising", say=lambda: panel(host))


def test_what_is_up_is_told_and_outlives_the_engine(afloat):
    host, _ = afloat
    pid = host.status()["engine"]["pid"]
    assert host.order("carry", {"sailSet": "main alone", "tack": "port"})[0] == 200
    until(lambda: panel(host)["shown"]["up"]["sail_set"] == "main alone", say=lambda: panel(host))
    host.configure({**CONFIGURATION, "performance": 0.97})
    until(lambda: (host.status().get("engine") or {}).get("pid") not in (pid, None))
    up = until(lambda: (panel(host).get("shown") or {}).get("up"), say=host.status)
    assert (up["known"], up["sail_set"], up["tack"]) == (True, "main alone", "port")


def test_a_run_nearly_dead_downwind_is_warned_of_until_it_is_over(afloat):
    host, boat = afloat
    boat.heading = DEAD_DOWNWIND
    until(lambda: state_of(host, "deadDownwind") == "warn", within_s=90, say=host.status)
    # It is told when it is seen first, with the angle of that moment: on her way to 177°.
    told = host.value(f"{NOTICE}.deadDownwind")["message"]
    assert re.match(r"True wind 17[5-9]° to starboard, nearly dead downwind", told), told
    until(lambda: "dead downwind" in panel(host)["shown"]["caution"], say=lambda: panel(host))
    boat.heading = BROAD
    until(lambda: state_of(host, "deadDownwind") == "normal", within_s=90, say=host.status)
