"""A boat that sails by what the service says: her own polar, leeway and water, no engine code.

She reads nothing of the package: her speed comes from the sample boat's tables by
SciPy's own interpolation, her leeway and her track from plane trigonometry, her place
from a sphere of the ellipsoid's local radii.
"""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from scipy.interpolate import PchipInterpolator

KNOT = 1852.0 / 3600.0
START = datetime(2027, 6, 12, 5, tzinfo=UTC)


class Table:
    """Monotone cubics in angle, straight lines in wind, to zero in no wind."""

    def __init__(self, path: Path) -> None:
        with path.open() as file:
            cells = list(csv.reader(file))
        self.winds = np.array([0.0, *(float(c) for c in cells[0][1:])])
        angles = np.array([float(row[0]) for row in cells[1:]])
        values = np.array([[float(c) for c in row[1:]] for row in cells[1:]])
        self.first, self.last = angles[0], angles[-1]
        self.curves = [PchipInterpolator(angles, column) for column in values.T]

    def __call__(self, twa: float, tws: float) -> float:
        twa = min(max(twa, self.first), self.last)
        at = [0.0, *(float(curve(twa)) for curve in self.curves)]
        return float(np.interp(tws, self.winds, at))


@dataclass
class Waters:
    """Wind over the ground and stream at a time."""

    wind_from: Callable[[float], float]
    wind_kn: Callable[[float], float]
    stream: tuple[float, float] = (0.0, 0.0)
    """Towards east and north. [kn]"""


@dataclass
class SailingBoat:
    """What is real: the tables, the water, where she is."""

    folder: Path
    waters: Waters
    lat: float
    lon: float
    heading: float
    sail_set: str = "main and jib"
    seconds: float = 0.0
    stopped_s: float = 0.0
    speed: float = 0.0
    noise: np.random.Generator | None = None
    tables: dict[str, tuple[Table, Table | None]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in ("main-and-jib", "wing-and-wing", "main-alone"):
            heel = self.folder / f"{name}-heel.csv"
            self.tables[name.replace("-", " ").replace("wing and wing", "wing-and-wing")] = (
                Table(self.folder / f"{name}.csv"), Table(heel) if heel.exists() else None,
            )  # fmt: skip

    @property
    def time(self) -> datetime:
        return START + timedelta(seconds=self.seconds)

    def wind_over_water(self) -> tuple[float, float]:
        """Direction from, speed."""
        blows = math.radians(self.waters.wind_from(self.seconds))
        speed = self.waters.wind_kn(self.seconds)
        east = -speed * math.sin(blows) - self.waters.stream[0]
        north = -speed * math.cos(blows) - self.waters.stream[1]
        return math.degrees(math.atan2(-east, -north)) % 360.0, math.hypot(east, north)

    def on_bow(self) -> float:
        """True wind angle, signed: negative to port."""
        return (self.wind_over_water()[0] - self.heading + 180.0) % 360.0 - 180.0

    def leeway(self) -> float:
        heel = self.tables[self.sail_set][1]
        if heel is None or self.speed < 0.1:
            return 0.0
        tws = self.wind_over_water()[1]
        return min(10.0 * heel(abs(self.on_bow()), tws) / self.speed**2, 20.0)

    def through_water(self) -> tuple[float, float]:
        track = math.radians(self.heading - math.copysign(self.leeway(), self.on_bow()))
        return self.speed * math.sin(track), self.speed * math.cos(track)

    def over_ground(self) -> tuple[float, float]:
        east, north = self.through_water()
        return east + self.waters.stream[0], north + self.waters.stream[1]

    def sail(self, dt: float) -> None:
        """Go on for a step; while the crew is at a manoeuvre she lies still at its place."""
        resting = min(self.stopped_s, dt)
        self.stopped_s -= resting
        tws = self.wind_over_water()[1]
        self.speed = self.tables[self.sail_set][0](abs(self.on_bow()), tws)
        east, north = self.over_ground()
        hours = (dt - resting) / 3600.0
        phi = math.radians(self.lat)
        # Radii of WGS 84 at this latitude, in nautical miles.
        w = math.sqrt(1.0 - 0.00669437999014 * math.sin(phi) ** 2)
        across = 6378137.0 / 1852.0 / w
        along = across * (1.0 - 0.00669437999014) / w**2
        self.lat += math.degrees(north * hours / along)
        self.lon += math.degrees(east * hours / (across * math.cos(phi)))
        self.seconds += dt

    def nm_to(self, lat: float, lon: float) -> float:
        middle = math.cos(math.radians((lat + self.lat) / 2.0))
        return 60.0 * math.hypot(lat - self.lat, (lon - self.lon) * middle)

    def sensors(self) -> list[dict[str, Any]]:
        """What a host would pass on, in SI."""
        jitter = self.noise.normal if self.noise is not None else lambda *_: 0.0
        twd, tws = self.wind_over_water()
        blows = math.radians(twd)
        still = self.stopped_s > 0.0
        through = (0.0, 0.0) if still else self.through_water()
        east = -tws * math.sin(blows) - through[0]
        north = -tws * math.cos(blows) - through[1]
        felt_from = math.degrees(math.atan2(-east, -north)) + jitter(0.0, 3.0)
        awa = (felt_from - self.heading + 180.0) % 360.0 - 180.0
        over = (0.0, 0.0) if still else self.over_ground()
        return [
            {"path": "navigation.position",
             "value": {"latitude": self.lat, "longitude": self.lon}},
            {"path": "navigation.headingTrue", "value": math.radians(self.heading % 360.0)},
            {"path": "navigation.speedThroughWater", "value": math.hypot(*through) * KNOT},
            {"path": "navigation.courseOverGroundTrue",
             "value": math.atan2(*over) % (2 * math.pi)},
            {"path": "navigation.speedOverGround", "value": math.hypot(*over) * KNOT},
            {"path": "environment.wind.angleApparent", "value": math.radians(awa)},
            {"path": "environment.wind.speedApparent",
             "value": max(math.hypot(east, north) + jitter(0.0, 0.5), 0.0) * KNOT},
        ]  # fmt: skip


def stamp(time: datetime) -> str:
    return time.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def observation(boat: SailingBoat) -> dict[str, Any]:
    return {"type": "observe", "time": stamp(boat.time), "source": "sim",
            "values": boat.sensors()}  # fmt: skip


def tick(boat: SailingBoat) -> dict[str, Any]:
    return {"type": "tick", "time": stamp(boat.time)}


@dataclass
class Helm:
    """Steers what the last plan says, turns when she is told to, and acknowledges."""

    boat: SailingBoat
    plan: dict[str, Any] | None = None
    board: int = 0
    events: list[dict[str, Any]] = field(default_factory=list)
    log: list[dict[str, Any]] = field(default_factory=list)
    first_plan_h: float | None = None
    marks: int = 1
    """To be rounded before she has arrived."""

    @property
    def finished(self) -> bool:
        return [e["kind"] for e in self.events].count("mark_rounded") >= self.marks

    def hear(self, messages: list[dict[str, Any]]) -> Iterator[dict[str, Any]]:
        """Take what the service says; yield what the crew answers."""
        for message in messages:
            assert message["type"] != "error", message
            if message["type"] == "publish" and message["plan"]:
                self.plan, self.board = message["plan"], 0
                if self.first_plan_h is None:
                    self.first_plan_h = self.plan["elapsed_h"]
                    self._carry(self.plan["legs"][0]["boards"][0])
            if message["type"] == "publish" and message["reason"] == "cleared":
                self.plan = None
            if message["type"] == "event":
                self.events.append(message)
                if message["kind"] == "turn_now":
                    yield from self._turn(message["values"]["point"])

    def _turn(self, point: str) -> Iterator[dict[str, Any]]:
        """Do what is due before the next board; the crew then says so."""
        assert self.plan is not None
        leg = self.plan["legs"][0]
        boards, turns = leg["boards"], leg["manoeuvres"]
        at_once = [m for m in turns if m["time"] < boards[0]["start"]["time"]]
        following = 0 if self.board == 0 and at_once else self.board + 1
        done = boards[following - 1]["end"]["time"] if following else ""
        ready = boards[following]["start"]["time"]
        self.boat.stopped_s += sum(m["cost_s"] for m in turns if done <= m["time"] < ready)
        self.board = following
        self._carry(boards[following])
        yield {"type": "acknowledge", "point": point}

    def _carry(self, board: dict[str, Any]) -> None:
        self.boat.sail_set = board["sail_set"]

    def steer(self) -> None:
        """Keep the board's wind angle."""
        if self.plan is None:
            return
        board = self.plan["legs"][0]["boards"][self.board]
        side = 1.0 if board["tack"] == "port" else -1.0
        self.boat.heading = (self.boat.wind_over_water()[0] + side * board["twa_deg"]) % 360.0


def passage(
    boat: SailingBoat,
    helm: Helm,
    say: Callable[[dict[str, Any]], list[dict[str, Any]]],
    *,
    step_s: float = 2.0,
    at_most_h: float = 12.0,
) -> float:
    """Sail until the last mark is rounded; return the hours from the first plan on."""
    begun: float | None = None
    while boat.seconds < at_most_h * 3600.0 and not helm.finished:
        for message in (observation(boat), tick(boat)):
            helm.log.append(message)
            waiting = list(helm.hear(say(message)))
            while waiting:
                answer = waiting.pop(0)
                helm.log.append(answer)
                waiting += helm.hear(say(answer))
        if begun is None and helm.plan is not None:
            begun = boat.seconds
        helm.steer()
        boat.sail(step_s)
    assert helm.finished, (boat.lat, boat.lon, helm.events[-3:])
    assert begun is not None
    return (boat.seconds - begun) / 3600.0


def lines(messages: list[dict[str, Any]]) -> str:
    return "".join(json.dumps(m) + "\n" for m in messages)
