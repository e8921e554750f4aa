"""A stand-in for the engine, for faults that a healthy engine does not show.

Speaks the same lines. How it behaves stands in ``orders.json`` beside its wrapper, read at each
start; lines dropped into ``say.jsonl`` there are spoken at the next tick. All it hears goes to
``heard.jsonl``.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from pathlib import Path
from typing import Any

IDS = {
    "plan": "11111111-1111-4111-8111-111111111111",
    "layline": "22222222-2222-4222-8222-222222222222",
    "tack": "33333333-3333-4333-8333-333333333333",
    "note": "44444444-4444-4444-8444-444444444444",
    "band": "55555555-5555-4555-8555-555555555555",
}


def speak(message: dict[str, Any]) -> None:
    print(json.dumps(message), flush=True)


def line_string(points: list[dict[str, float]], role: str) -> dict[str, Any]:
    return {
        "type": "Feature",
        "geometry": {
            "type": "LineString",
            "coordinates": [[point["lon"], point["lat"]] for point in points],
        },
        "properties": {
            "role": role,
            "coordinatesMeta": [{"name": str(point.get("name", "T"))} for point in points],
        },
    }


def resources(points: list[dict[str, float]], name: str) -> list[dict[str, Any]]:
    turn = {"latitude": points[0]["lat"], "longitude": points[0]["lon"]}
    place = {"type": "Point", "coordinates": [points[0]["lon"], points[0]["lat"]]}
    return [
        {
            "kind": "routes",
            "id": IDS["plan"],
            "value": {"name": f"Plan of {name}", "feature": line_string(points, "plan")},
        },
        {
            "kind": "routes",
            "id": IDS["layline"],
            "value": {"name": "Layline", "feature": line_string(points[-2:], "layline")},
        },
        {
            "kind": "waypoints",
            "id": IDS["tack"],
            "value": {
                "name": "T1",
                "type": "tack",
                "feature": {"type": "Feature", "geometry": place, "properties": {}},
            },
        },
        {
            "kind": "notes",
            "id": IDS["note"],
            "value": {"title": "Tack", "mimeType": "text/plain", "position": turn},
        },
        {
            "kind": "laylines",
            "id": "mark-port",
            "value": {"tack": "port", "feature": line_string(points[-2:], "layline")},
        },
        {"kind": "regions", "id": IDS["band"], "value": band(points[-2:])},
    ]


def band(points: list[dict[str, float]]) -> dict[str, Any]:
    """A thin triangle about a line, as a layline's band is."""
    corners = [[point["lon"], point["lat"]] for point in points]
    ring = [*corners, [corners[0][0] + 0.01, corners[0][1]], corners[0]]
    return {
        "name": "Band",
        "feature": {
            "type": "Feature",
            "geometry": {"type": "Polygon", "coordinates": [ring]},
            "properties": {"role": "layline"},
        },
    }


def gone() -> list[dict[str, Any]]:
    kinds = {
        "plan": "routes",
        "layline": "routes",
        "tack": "waypoints",
        "note": "notes",
        "band": "regions",
    }
    named = [{"kind": kind, "id": IDS[role], "value": None} for role, kind in kinds.items()]
    return [*named, {"kind": "laylines", "id": "mark-port", "value": None}]


class Stand:
    """The stand-in itself."""

    def __init__(self, room: Path) -> None:
        self.room = room
        self.orders = json.loads((room / "orders.json").read_text())
        self.state = {"state": "advising", "message": "port tack", "ages_s": {}}

    def run(self) -> None:
        if self.orders.get("ignores_term"):
            signal.signal(signal.SIGTERM, signal.SIG_IGN)
        with (self.room / "heard.jsonl").open("a", buffering=1) as heard:
            for text in sys.stdin:
                heard.write(text)
                message = json.loads(text)
                getattr(self, message["type"])(message)

    def hello(self, _: dict[str, Any]) -> None:
        if self.orders.get("mode") == "crash":
            sys.exit("SomeError: it broke at once")
        if "refuse" in self.orders:
            speak({"type": "error", "message": self.orders["refuse"], "fatal": True})
            sys.exit(2)
        version = self.orders.get("version", 1)
        speak({"type": "hello", "version": version, "name": "goosewing", "release": "0.0.0"})

    def tick(self, _: dict[str, Any]) -> None:
        self.misbehave()
        speak({"type": "status", **self.state})
        if "panel" in self.orders:
            speak({"type": "panel", **self.orders["panel"]})
        said = self.room / "say.jsonl"
        if said.exists():
            lines = said.read_text().splitlines()
            said.unlink()
            for line in lines:
                self.say(line)

    def say(self, line: str) -> None:
        if line == "DIE":
            print("Traceback:\nSomeError: it broke", file=sys.stderr, flush=True)
            os._exit(3)
        message = json.loads(line)
        if message["type"] == "status":
            self.state = message
        speak(message)

    def misbehave(self) -> None:
        mode = self.orders.get("mode")
        if mode == "hang":
            time.sleep(3600)
        if mode == "junk":
            print('no JSON at all\n[1, 2]\nnull\n{"type": 7}', flush=True)
        if mode == "endless":
            sys.stdout.write("x" * (17 * 1024 * 1024))
            sys.stdout.flush()
        if mode == "flood":
            for _ in range(50):
                sys.stderr.write("noise without end " * 50_000)
            sys.stderr.flush()

    def plan(self, message: dict[str, Any]) -> None:
        deltas = [
            {"path": "performance.targetAngle", "value": 0.75},
            {"path": "navigation.racing.layline.distance", "value": 926},
            *self.orders.get("extra_deltas", []),
        ]
        speak(
            {
                "type": "publish",
                "reason": "replanned",
                "resources": resources(message["points"], message["name"]),
                "deltas": deltas,
                "plan": {"format": "goosewing.plan/1", "legs": [], "of": message["id"]},
            }
        )

    def observe(self, _: dict[str, Any]) -> None:
        time.sleep(self.orders.get("observe_s", 0))

    def acknowledge(self, message: dict[str, Any]) -> None:
        """Know T1 alone."""
        if message.get("point", "T1") != "T1":
            fault = {"content": None, "message": f"there is no {message['point']}"}
            speak({"type": "answered", "id": message["id"], **fault})
        else:
            speak({"type": "answered", "id": message["id"], "content": {}})

    undo = carry = answer = acknowledge

    def clear(self, _: dict[str, Any]) -> None:
        cleared = {"reason": "cleared", "resources": gone(), "deltas": [], "plan": None}
        speak({"type": "publish", **cleared})

    def export(self, message: dict[str, Any]) -> None:
        content = "<gpx/>" if message["format"] == "gpx" else "<gpx>handheld</gpx>"
        speak({**message, "content": content})

    def coast(self, message: dict[str, Any]) -> None:
        if message.get("south") == "die":
            os._exit(3)
        fault = {"content": None, "message": "coast: south must be less"}
        content = {"content": {"type": "FeatureCollection", "of": message}}
        speak(
            {"type": "coast", "id": message["id"], **(content if message.get("north") else fault)}
        )

    def bye(self, _: dict[str, Any]) -> None:
        sys.exit(0)


if __name__ == "__main__":
    Stand(Path(os.environ["FAKE_ENGINE_ROOM"])).run()
