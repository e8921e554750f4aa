"""The README's install in a real host, the real engine, NMEA 0183 in over TCP, the plan out."""

from __future__ import annotations

import json
import math
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import gpxpy
import pytest
from geographiclib.geodesic import Geodesic

from signalk_host import CHECKOUT, DOORS, PLUG, SAMPLES, Host, gone, node, npm, until

STANDARD = Path(__file__).parent / "check_standard.js"
START, MARK = (56.70, 12.10), (56.78, 12.10)
KNOT = 1852 / 3600
PUBLISHED = [
    "performance.targetAngle",
    "performance.targetSpeed",
    "performance.beatAngle",
    "performance.leeway",
    "performance.polarSpeed",
    "navigation.racing.layline.distance",
    "navigation.racing.layline.time",
    "navigation.racing.oppositeLayline.distance",
    "navigation.racing.oppositeLayline.time",
]


def sentence(body: str) -> bytes:
    """An NMEA 0183 sentence: the exclusive or of its characters closes it (IEC 61162-1)."""
    closing = 0
    for letter in body:
        closing ^= ord(letter)
    return f"${body}*{closing:02X}\r\n".encode()


class Instruments:
    """A boat on port tack close-hauled in a northerly of 12 kn; the host dials in to her."""

    def __init__(self) -> None:
        self.socket = socket.socket()
        self.socket.bind(("127.0.0.1", 0))
        self.socket.listen(1)
        self.port = self.socket.getsockname()[1]
        self.begun = time.monotonic()
        self.silent: set[str] = set()
        self.ended = threading.Event()
        self.thread = threading.Thread(target=self._run, daemon=True)
        self.thread.start()

    def place(self) -> tuple[float, float]:
        hours = (time.monotonic() - self.begun) / 3600
        found = Geodesic.WGS84.Direct(*START, 45.0, 5.0 * hours * 1852)
        return found["lat2"], found["lon2"]

    def _run(self) -> None:
        self.socket.settimeout(0.2)
        while not self.ended.is_set():
            try:
                line, _ = self.socket.accept()
            except TimeoutError:
                continue
            with line:
                self._talk(line)

    def _talk(self, line: socket.socket) -> None:
        while not self.ended.wait(0.2):
            try:
                line.sendall(b"".join(self._said()))
            except OSError:
                return

    def _said(self) -> list[bytes]:
        now = datetime.now(UTC)
        lat, lon = self.place()
        north = f"{int(lat):02d}{lat % 1 * 60:07.4f},N"
        east = f"{int(lon):03d}{lon % 1 * 60:07.4f},E"
        bodies = [
            f"GPRMC,{now:%H%M%S}.{now.microsecond // 10000:02d},A,{north},{east},5.0,045.0,"
            f"{now:%d%m%y},3.1,E",
            "HEHDT,041.0,T",
            "IIVHW,041.0,T,,M,5.0,N,9.3,K",
            "WIMWV,319.0,T,12.0,N,A",
        ]
        return [sentence(body) for body in bodies if body[2:5] not in self.silent]

    def close(self) -> None:
        self.ended.set()
        self.thread.join(5)
        self.socket.close()


@pytest.fixture(scope="module")
def sailing(host_files: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    room = tmp_path_factory.mktemp("sailing")
    (room / "package.json").write_text('{"name": "config", "private": true}')
    # The second of the README's three commands, word for word but for the folder.
    npm(room, "--prefix", str(room), "install", "--install-links", str(PLUG), "--offline")
    instruments = Instruments()
    element = {
        "type": "providers/simple",
        "options": {
            "type": "NMEA0183",
            "logging": False,
            "subOptions": {
                "type": "tcp",
                "host": "127.0.0.1",
                "port": instruments.port,
                "validateChecksum": True,
            },
        },
    }
    host = Host(
        host_files,
        room,
        settings={"pipedProviders": [{"id": "nmea", "enabled": True, "pipeElements": [element]}]},
        plug_configuration={
            "python": sys.executable,
            "boat": str(SAMPLES / "brisvik" / "boat.toml"),
            "route": "active",
        },
        link_plug=False,
    ).start()
    yield host, instruments
    pid = host.status()["engine"]["pid"]
    host.stop()
    instruments.close()
    until(lambda: gone(pid))


@pytest.fixture(scope="module")
def planned(sailing: Any) -> dict[str, Any]:
    """What stands in the host once a beat of 5 nm is planned there."""
    host, _ = sailing
    until(lambda: isinstance(host.value("environment.wind.speedTrue"), float), say=host.log)
    route = host.store_route("Up", [START, MARK])
    href = {"href": f"/resources/routes/{route}", "pointIndex": 1}
    code, answer = host.ask(
        "PUT", "/signalk/v2/api/vessels/self/navigation/course/activeRoute", href
    )
    assert code == 200, answer
    until(lambda: host.status()["state"] == "advising", within_s=60, say=host.status)
    until(lambda: host.status()["published"]["laylines"], say=host.status)
    shown = {kind: ours(host, kind) for kind in ("routes", "waypoints", "notes", "laylines")}
    return {"route": route, **shown}


def ours(host: Host, kind: str) -> dict[str, Any]:
    return {k: v for k, v in host.resources(kind).items() if v["$source"] == "goosewing"}


def line(resource: dict[str, Any]) -> list[tuple[float, float]]:
    return [(lat, lon) for lon, lat in resource["feature"]["geometry"]["coordinates"]]


def plan_line(planned: dict[str, Any]) -> list[tuple[float, float]]:
    (route,) = (
        value
        for value in planned["routes"].values()
        if value["feature"]["properties"]["role"] == "plan"
    )
    return line(route)


def test_installed_package_is_a_copy(sailing):
    host, _ = sailing
    package = host.folder / "node_modules" / "goosewing-signalk"
    assert not package.is_symlink()
    assert sorted(p.name for p in package.iterdir()) == [
        "README.md",
        "index.js",
        "lib",
        "package.json",
        "public",
    ]
    named = host.get("/skServer/webapps")[1]
    (page,) = (each for each in named if each["name"] == "goosewing-signalk")
    assert page["signalk"]["displayName"] == "Goosewing"
    for path in ("", page["signalk"]["appIcon"].removeprefix("./")):
        assert host.get(f"/goosewing-signalk/{path}")[0] == 200


def test_the_plan_is_a_beat_that_ends_at_the_mark(sailing, planned):
    points = plan_line(planned)
    assert len(points) >= 3
    assert points[-1] == pytest.approx(MARK, abs=1e-6)
    lat, lon = points[0]
    away = Geodesic.WGS84.Inverse(lat, lon, *sailing[1].place())["s12"]
    # She has sailed on since the plan was made, at 5 kn for less than two minutes.
    assert away < 400
    for (lat1, lon1), (lat2, lon2) in pairwise(points):
        bearing = Geodesic.WGS84.Inverse(lat1, lon1, lat2, lon2)["azi1"]
        # Close-hauled in a northerly: no boat of this kind points higher than 35° or beats lower
        # than 60° with her leeway (common practice, no source).
        assert 35 < abs(bearing) < 60


def test_laylines_end_in_the_mark(planned):
    lines = [line(value) for value in planned["laylines"].values()]
    assert len(lines) >= 1
    for points in lines:
        ends = [Geodesic.WGS84.Inverse(*end, *MARK)["s12"] for end in (points[0], points[-1])]
        assert min(ends) < 1.0
        far = points[0] if ends[0] > ends[1] else points[-1]
        bearing = Geodesic.WGS84.Inverse(*far, *MARK)["azi1"]
        assert 35 < abs(bearing) < 60
    drawn = [
        line(value)
        for value in planned["routes"].values()
        if value["feature"]["properties"]["role"] == "layline"
    ]
    assert sorted(drawn) == sorted(lines)


def test_turning_points_lie_on_the_plan(planned):
    points = plan_line(planned)
    for waypoint in planned["waypoints"].values():
        lon, lat = waypoint["feature"]["geometry"]["coordinates"]
        assert min(math.dist((lat, lon), point) for point in points) < 1e-6
    places = {
        (n["position"]["latitude"], n["position"]["longitude"]) for n in planned["notes"].values()
    }
    assert len(places) == len(planned["waypoints"])


def test_all_of_it_is_valid_by_the_standard(sailing, planned):
    host, _ = sailing
    deltas = [{"path": path, "value": host.value(path)} for path in PUBLISHED]
    assert "absent" not in [delta["value"] for delta in deltas]
    resources = {kind: planned[kind] for kind in ("routes", "waypoints", "notes")}
    done = subprocess.run(
        [node(), str(STANDARD)],
        cwd=host.files,
        input=json.dumps({"resources": resources, "deltas": deltas}),
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(done.stdout) == []
    assert host.status()["refused"] == []
    assert host.status()["faults"] == 0
    keep = os.environ.get("GOOSEWING_SIGNALK_KEEP")
    if keep:
        Path(keep).write_text(json.dumps(planned))


@pytest.mark.usefixtures("planned")
def test_targets_are_those_of_the_command(sailing):
    # The command line at the same wind is the same engine by another way; the damped wind of the
    # service has settled to the steady 12 kn that the instruments give.
    host, _ = sailing
    boat = str(SAMPLES / "brisvik" / "boat.toml")
    words = ["targets", "--boat", boat, "--wind-speed", "12", "--json"]
    done = subprocess.run(
        [sys.executable, "-c", "from goosewing_cli.main import run; run()", *words],
        capture_output=True,
        text=True,
        check=True,
        cwd=CHECKOUT,
    )
    best = max(json.loads(done.stdout)["wind_speeds"][0]["upwind"], key=lambda row: row["vmg_kn"])
    assert abs(host.value("performance.beatAngle")) == pytest.approx(
        math.radians(best["twa_deg"]), abs=math.radians(1.0)
    )
    assert host.value("performance.beatAngleTargetSpeed") == pytest.approx(
        best["boat_speed_kn"] * KNOT, abs=0.1 * KNOT
    )


def test_a_display_sees_the_same_beat(sailing, planned):
    host, instruments = sailing
    code, shown = host.get(f"{DOORS}/panel")
    assert (code, shown["state"]) == (200, "advising")
    assert shown["route"]["marks"][-1]["lat"] == pytest.approx(MARK[0])
    away = Geodesic.WGS84.Inverse(shown["boat"]["lat"], shown["boat"]["lon"], *instruments.place())
    assert away["s12"] < 30
    assert shown["boat"]["heading_deg"] == pytest.approx(41.0, abs=0.1)
    # 3.1° east by the receiver's own sentence.
    assert shown["boat"]["heading_magnetic_deg"] == pytest.approx(37.9, abs=0.1)
    line = Geodesic.WGS84.Inverse(*instruments.place(), *MARK)
    assert shown["route"]["distance_nm"] == pytest.approx(line["s12"] / 1852.0, abs=0.02)
    following = shown["next"]
    assert following["text"].startswith("Onto starboard tack in ")
    corner = plan_line(planned)[1]
    left = Geodesic.WGS84.Inverse(*instruments.place(), *corner)["s12"] / 1852.0
    # She sails 45° over the ground, a few degrees beside the plan's own course.
    assert following["distance_nm"] == pytest.approx(left, rel=0.15)
    assert shown["wind"]["tws_kn"] == pytest.approx(12.0, abs=0.1)
    assert host.get(f"{DOORS}/plan")[1]["legs"][0]["to"] == shown["route"]["next"]
    assert shown["activated"]["routeId"] == planned["route"]
    assert shown["activated"]["plan"] is False


@pytest.mark.usefixtures("planned")
def test_a_display_draws_polar_and_coast(sailing):
    host, _ = sailing
    polar = host.get(f"{DOORS}/polar")[1]
    assert polar["number"] == host.get(f"{DOORS}/panel")[1]["polar"]["number"]
    assert {one["tack"] for one in polar["chosen"]} == {"port", "starboard"}
    assert sum(one["share"] for one in polar["chosen"]) == pytest.approx(1.0)
    code, coast = host.get(f"{DOORS}/coast?south=56&west=11.5&north=57.5&east=13")
    assert code == 200
    assert coast["features"]
    assert "navigation" in coast["warning"]
    for box in ("", "?south=a&west=1&north=2&east=3", "?south=57&west=11&north=56&east=12"):
        code, answer = host.get(f"{DOORS}/coast{box}")
        assert (code, answer["state"]) == (400, "FAILED")
        assert answer["message"].startswith("coast: ")
        assert "\n" not in answer["message"]


@pytest.mark.usefixtures("planned")
def test_measured_paths_stay_the_instruments_own(sailing):
    host, _ = sailing
    for path in ("environment/wind/speedTrue", "navigation/position"):
        _, node_ = host.get(f"/signalk/v1/api/vessels/self/{path}")
        assert node_["$source"].startswith("nmea.")
        assert "values" not in node_


@pytest.mark.usefixtures("planned")
def test_exports_are_read_by_another_reader(sailing):
    host, _ = sailing
    for form in ("gpx", "handheld"):
        code, content = host.get(f"{DOORS}/export/{form}")
        assert code == 200, content
        read = gpxpy.parse(content)
        end = read.routes[0].points[-1]
        assert (end.latitude, end.longitude) == pytest.approx(MARK, abs=1e-4)


@pytest.mark.usefixtures("planned")
def test_position_lost_and_found(sailing):
    host, instruments = sailing
    instruments.silent = {"RMC"}
    until(lambda: host.status()["state"] == "stale", within_s=30, say=host.status)
    assert "no position" in host.panel()
    shown = until(
        lambda: (found := host.get(f"{DOORS}/panel")[1])["state"] == "stale" and found,
        say=host.status,
    )
    assert (shown["boat"]["lat"], shown["next"], shown["board"]) == (None, None, None)
    assert set(shown["figures"].values()) == {None}
    until(lambda: host.value("navigation.racing.layline.distance") is None)
    instruments.silent = set()
    until(lambda: host.status()["state"] == "advising", within_s=30, say=host.status)
    until(lambda: isinstance(host.value("navigation.racing.layline.distance"), int | float))


def test_engine_killed_under_way(sailing, planned):
    host, _ = sailing
    pid = host.status()["engine"]["pid"]
    os.kill(pid, signal.SIGKILL)
    until(lambda: host.status()["engine"]["pid"] not in (None, pid), say=host.status)
    until(lambda: host.status()["state"] == "advising", within_s=60, say=host.status)
    until(lambda: ours(host, "routes").keys() == planned["routes"].keys(), say=host.status)


@pytest.mark.usefixtures("planned")
def test_boat_file_wrong_and_mended(sailing, tmp_path):
    host, _ = sailing
    boat = tmp_path / "boat.toml"
    boat.write_text("name = 'Nobody'\nspeed = 9\n")
    settings = {"python": sys.executable, "route": "active", "boat": str(boat)}
    host.configure(settings)
    until(
        lambda: "boat.toml" in host.panel() and "speed" in host.panel(), within_s=30, say=host.panel
    )
    assert ours(host, "routes") == {}
    good = SAMPLES / "brisvik" / "boat.toml"
    boat.write_text(
        good.read_text()
        .replace('polar = "', f'polar = "{good.parent}/')
        .replace('heel = "', f'heel = "{good.parent}/')
    )
    until(lambda: host.status()["state"] == "advising", within_s=60, say=host.status)
    assert ours(host, "routes")
