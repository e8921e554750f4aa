"""Signal K logs: deltas, one JSON document a line, and the server's own multiplexed files.

SI and radians end here. Deltas about other vessels are left out; so are values that are
no measurement of this boat.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

import msgspec
import numpy as np

from goosewing.logbook.gather import Gathering
from goosewing.units import METRES_PER_SECOND_PER_KNOT

_DEGREES = 180.0 / math.pi
_KNOTS = 1.0 / METRES_PER_SECOND_PER_KNOT

PATHS: Mapping[str, tuple[str, float]] = {
    "navigation.headingTrue": ("heading_deg", _DEGREES),
    "navigation.headingMagnetic": ("heading_magnetic_deg", _DEGREES),
    "navigation.magneticVariation": ("variation_deg", _DEGREES),
    "navigation.speedThroughWater": ("stw_kn", _KNOTS),
    "navigation.speedOverGround": ("sog_kn", _KNOTS),
    "navigation.courseOverGroundTrue": ("cog_deg", _DEGREES),
    "environment.wind.angleApparent": ("awa_deg", _DEGREES),
    "environment.wind.speedApparent": ("aws_kn", _KNOTS),
    "environment.wind.angleTrueWater": ("twa_deg", _DEGREES),
    "environment.wind.speedTrue": ("tws_kn", _KNOTS),
    "environment.wind.directionTrue": ("twd_deg", _DEGREES),
}
"""What is read, and the factor into our units."""

OWN = frozenset({
    "navigation.speedThroughWater", "environment.wind.angleApparent",
    "navigation.headingMagnetic", "navigation.attitude",
})  # fmt: skip
"""What only the boat herself says; others are heard by AIS."""

AT_ONCE = 50_000
"""Readings held before they are averaged."""


class Value(msgspec.Struct):
    """One value of a delta."""

    path: str = ""
    value: Any = None


class Update(msgspec.Struct):
    """Values of one source and one time."""

    values: list[Value] = msgspec.field(default_factory=list)
    timestamp: str | None = None
    source: Any = None
    named: str | None = msgspec.field(default=None, name="$source")


class Line(msgspec.Struct):
    """A line of a log: a delta, a server's greeting, or a recording of our own service."""

    context: str | None = None
    updates: list[Update] = msgspec.field(default_factory=list)
    # Public name: "self" is the host's word for whose log this is.
    own: str | None = msgspec.field(default=None, name="self")
    type: str | None = None
    time: str | None = None
    values: list[Value] = msgspec.field(default_factory=list)
    source: Any = None


_DECODER = msgspec.json.Decoder(Line)
_UNREADABLE = (msgspec.DecodeError, UnicodeDecodeError, RecursionError)
"""What a line that is no JSON ends in; the last where it is nested too deep to follow."""


class Reader:
    """Takes lines; hands readings on in blocks.

    Attributes
    ----------
    damaged : int
        Lines that were no JSON of this kind.
    read : int
        Lines with values in them.
    """

    def __init__(self, into: Gathering, own: str | None, name: str = "") -> None:
        self._into = into
        self._own = own
        self._name = name
        self._held: dict[tuple[str, str], tuple[list[float], list[float]]] = {}
        self._count = 0
        self.damaged = 0
        self.read = 0
        self.timeless = 0

    def take(self, line: bytes, stamp_s: float | None = None) -> None:
        """Take one line; `stamp_s` is the file's own time for it."""
        try:
            told = _DECODER.decode(line)
        except _UNREADABLE:
            self.damaged += 1
            return
        if told.context is not None and told.context != (self._own or told.context):
            return
        if told.values:
            self._values(told.values, told.time, _source(told.source), stamp_s)
        for update in told.updates:
            source = update.named or _source(update.source)
            self._values(update.values, update.timestamp, source, stamp_s)

    def finish(self) -> None:
        """Hand on what is still held."""
        for (channel, source), (times, values) in self._held.items():
            who = f"{source} ({self._name})" if self._name else source
            self._into.add(channel, who, np.array(times), np.array(values))
        self._held.clear()
        self._count = 0

    def _values(
        self, values: Iterable[Value], time: str | None, source: str, stamp_s: float | None
    ) -> None:
        time_s = seconds_of(time) if time else stamp_s
        if time_s is None:
            self.timeless += 1
            return
        self.read += 1
        for each in values:
            known = PATHS.get(each.path)
            if known is not None:
                self._one(known[0], source, time_s, each.value, known[1])
            elif each.path == "navigation.position" and isinstance(each.value, dict):
                self._one("lat", source, time_s, each.value.get("latitude"), 1.0)
                self._one("lon", source, time_s, each.value.get("longitude"), 1.0)
            elif each.path == "navigation.attitude" and isinstance(each.value, dict):
                self._one("heel_deg", source, time_s, each.value.get("roll"), _DEGREES)
            elif each.path.startswith("propulsion.") and each.path.endswith(".revolutions"):
                self._one("engine_rpm", source, time_s, each.value, 60.0)

    def _one(self, channel: str, source: str, time_s: float, value: Any, factor: float) -> None:
        if not isinstance(value, int | float):
            return
        times, values = self._held.setdefault((channel, source), ([], []))
        times.append(time_s)
        values.append(value * factor)
        self._count += 1
        if self._count >= AT_ONCE:
            self.finish()


def _source(source: Any) -> str:
    if isinstance(source, dict):
        words = (source.get("label"), source.get("talker") or source.get("src"))
        return ".".join(str(word) for word in words if word) or "a device"
    return str(source or "a device")


def seconds_of(text: str) -> float | None:
    """Read an ISO 8601 time with its zone as seconds since 1970; None if it is none."""
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        return None
    return None if time.utcoffset() is None else time.timestamp()


def own_context(lines: Iterable[bytes]) -> str | None:
    """Find whose log it is: by the server's greeting, else by who says what only she can know."""
    seen: dict[str, int] = {}
    for line in lines:
        try:
            told = _DECODER.decode(line)
        except _UNREADABLE:
            continue
        if told.own:
            return told.own
        if told.context is not None:
            paths = {each.path for update in told.updates for each in update.values}
            seen[told.context] = seen.get(told.context, 0) + 1000 * len(paths & OWN) + 1
    return max(seen, key=lambda each: seen[each]) if seen else None
