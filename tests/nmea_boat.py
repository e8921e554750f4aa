"""The simulated boat's instruments as NMEA 0183, written by pynmea2 and not by the package."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import pynmea2

from goosewing.exchange.nmea.readings import Framer, heard
from goosewing.live.alone.watch import Watch
from goosewing.live.core.state import Cleared, Event, Output, Replaced
from goosewing.live.host import signalk
from goosewing.live.host.session import observation_of
from goosewing.live.panel.counter import Asked
from goosewing.live.watchkeeper import Watchkeeper
from sailing_boat import KNOT, Helm, SailingBoat

VARIATION = 4.5
"""East. [°]"""


def written(talker: str, kind: str, *fields: str) -> str:
    return f"${str(pynmea2.NMEASentence.parse(_raw(talker, kind, fields)))[1:]}\r\n"


def _raw(talker: str, kind: str, fields: tuple[str, ...]) -> str:
    return f"${talker}{kind},{','.join(fields)}"


def place(lat: float, lon: float) -> tuple[str, str, str, str]:
    north, east = divmod(round(abs(lat) * 600000), 600000), divmod(round(abs(lon) * 600000), 600000)
    return (
        f"{north[0]:02d}{north[1] / 1e4:07.4f}", "N" if lat >= 0 else "S",
        f"{east[0]:03d}{east[1] / 1e4:07.4f}", "E" if lon >= 0 else "W",
    )  # fmt: skip


def rmc(time: datetime, lat: float, lon: float, sog: float, cog: float) -> str:
    return written(
        "GP", "RMC", f"{time:%H%M%S}.00", "A", *place(lat, lon), f"{sog:.2f}", f"{cog:.1f}",
        f"{time:%d%m%y}", f"{abs(VARIATION):.1f}", "E" if VARIATION >= 0 else "W", "A",
    )  # fmt: skip


def instruments(boat: SailingBoat) -> list[str]:
    """What her instruments say now: position, compass, log, apparent wind."""
    said: dict[str, Any] = {each["path"]: each["value"] for each in boat.sensors()}
    sog = said["navigation.speedOverGround"] / KNOT
    cog = math.degrees(said["navigation.courseOverGroundTrue"])
    true = math.degrees(said["navigation.headingTrue"])
    magnetic = (true - VARIATION) % 360.0
    awa = math.degrees(said["environment.wind.angleApparent"]) % 360.0
    aws = said["environment.wind.speedApparent"] / KNOT
    stw = said["navigation.speedThroughWater"] / KNOT
    return [
        rmc(boat.time, boat.lat, boat.lon, sog, cog),
        written("HC", "HDG", f"{magnetic:.1f}", "", "", f"{VARIATION:.1f}", "E"),
        written("VW", "VHW", "", "T", f"{magnetic:.1f}", "M", f"{stw:.2f}", "N", "", "K"),
        written("WI", "MWV", f"{awa:.1f}", "R", f"{aws:.2f}", "N", "A"),
    ]


@dataclass
class Told:
    """Stands where the crew and the displays are, and keeps what was said."""

    lines: list[tuple[str, str]] = field(default_factory=list)
    shown: list[tuple[str, bool]] = field(default_factory=list)
    messages: list[dict[str, Any]] = field(default_factory=list)

    def line(self, text: str, severity: str = "normal") -> None:
        self.lines.append((text, severity))

    def status(self, words: Callable[[], str], *, changed: bool) -> None:
        self.shown.append((words(), changed))

    def tell(self, outputs: Sequence[Output]) -> None:
        for output in outputs:
            if isinstance(output, Event):
                self.messages.append(signalk.event_message(output))
            elif isinstance(output, Replaced):
                self.messages.append(signalk.publication("replanned", [], None, output.plan))
            elif isinstance(output, Cleared):
                self.messages.append(signalk.publication("cleared", [], None, None))

    def look(self, keeper: Watchkeeper) -> None:
        """Displays would draw now."""

    def error(self, message: str) -> None:
        """Displays would show a fault."""

    def taken(self) -> list[dict[str, Any]]:
        found, self.messages = self.messages, []
        return found

    def said(self, words: str) -> bool:
        return any(words in text for text, _ in self.lines)


def listen(watch: Watch, framer: Framer, data: bytes, now_s: float) -> None:
    """Let a watch hear bytes, as its links would."""
    for sentence in framer.feed(data):
        said = heard(sentence)
        if said is not None:
            watch.hear(said, said.talker, now_s)


def sailed(
    boat: SailingBoat,
    watch: Watch,
    told: Told,
    helm: Helm,
    *,
    step_s: float,
    each: Callable[[str], None] = lambda _: None,
    at_most_h: float = 6.0,
) -> None:
    """Sail by what the service says, hearing and told by sentences alone, until she is there."""
    watch.counter = told  # type: ignore[assignment]
    framer = Framer()
    watch.begin(boat.time.timestamp())
    while boat.seconds < at_most_h * 3600.0 and not helm.finished:
        said = "".join(instruments(boat))
        each(said)
        now_s = boat.time.timestamp()
        listen(watch, framer, said.encode("ascii"), now_s)
        watch.tick(now_s)
        waiting = list(helm.hear(told.taken()))
        for answer in waiting:
            watch.receive(Asked(observation_of(answer)))
            waiting += helm.hear(told.taken())
        helm.steer()
        boat.sail(step_s)
    assert helm.finished, (boat.lat, boat.lon, told.lines[-3:])
