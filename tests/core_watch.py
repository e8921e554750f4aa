"""The core of the running service fed a second at a time, its plans made at once."""

from __future__ import annotations

import math
from typing import Any

from goosewing.live.core.orders import carry_out
from goosewing.live.core.state import (
    Desk,
    Event,
    Order,
    PlanReady,
    Reading,
    Route,
    State,
    Status,
    Tick,
)
from goosewing.live.core.step import step
from goosewing.live.host import signalk
from goosewing.records import Mark

NOON = signalk.seconds("2027-06-12T12:00:00Z")
HERE = (56.5, 12.0)


class Watch:
    """Feeds the core a second at a time; plans are made at once."""

    def __init__(self, boat, **desk: Any) -> None:
        self.desk = Desk(boat=boat, **desk)
        self.state = State()
        self.now = NOON
        self.outputs: list[Any] = []
        self.lat, self.lon = HERE
        self.twd, self.tws, self.heading = 315.0, 10.0, 265.0
        self.speed, self.stream = 5.5, (0.0, 0.0)
        self.sources = ("sim",)
        self.moving = True

    def take(self, observation) -> None:
        waiting = [observation]
        while waiting:
            self.state, outputs = step(self.state, waiting.pop(0), self.desk)
            self.outputs += outputs
            for output in outputs:
                if isinstance(output, Order):
                    plan = carry_out(output, self.desk)
                    waiting.append(PlanReady(number=output.number, plan=plan))

    def values(self) -> dict[str, Any]:
        track = math.radians(self.heading)
        east = self.speed * math.sin(track) + self.stream[0]
        north = self.speed * math.cos(track) + self.stream[1]
        if self.moving:
            self.lat += north / 3600.0 / 60.0
            self.lon += east / 3600.0 / 60.0 / math.cos(math.radians(self.lat))
        return {
            "position": (self.lat, self.lon),
            "heading_deg": self.heading % 360.0,
            "stw_kn": self.speed,
            "leeway_deg": 0.0,
            "sog_kn": math.hypot(east, north),
            "cog_deg": math.degrees(math.atan2(east, north)) % 360.0,
            "twd_deg": self.twd % 360.0,
            "tws_kn": self.tws,
        }

    def sail(self, seconds: int, *, without: tuple[str, ...] = (), **other: Any) -> None:
        for _ in range(seconds):
            self.now += 1.0
            values = {k: v for k, v in self.values().items() if k not in without}
            values.update(other)
            for source in self.sources:
                self.take(Reading(time_s=self.now, source=source, values=tuple(values.items())))
            self.take(Tick(time_s=self.now))

    def route(self, *points: tuple[float, float], **more: Any) -> None:
        marks = tuple(
            Mark(name=f"M{at}", lat=lat, lon=lon)
            for at, (lat, lon) in enumerate([(self.lat, self.lon), *points])
        )
        self.take(Route(id="r", name="R", marks=marks, **more))

    def events(self, kind: str | None = None) -> list[Event]:
        found = [o for o in self.outputs if isinstance(o, Event)]
        return [e for e in found if kind in (None, e.kind)]

    def last_status(self) -> Status:
        return [o for o in self.outputs if isinstance(o, Status)][-1]


def beyond(bearing: float, miles: float) -> tuple[float, float]:
    angle = math.radians(bearing)
    lat = HERE[0] + miles * math.cos(angle) / 60.0
    return lat, HERE[1] + miles * math.sin(angle) / 60.0 / math.cos(math.radians(HERE[0]))
