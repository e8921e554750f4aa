"""The plan from here on for a plotter that reads GPX: one file, kept up to date."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from goosewing.errors import InputError
from goosewing.exchange.gpx.plans import format_plan
from goosewing.files.disk import write_atomically
from goosewing.records import Mark
from goosewing.turns import stops
from goosewing.words.points import stop_sentence

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from goosewing.records import Plan

NAME = "goosewing-overlay.gpx"

TRY_AGAIN_S = 10.0
"""How soon a file that could not be written is tried again."""

NOTHING = """<?xml version="1.0" encoding="UTF-8"?>
<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="Goosewing">
  <metadata>
    <name>No plan</name>
    <desc>There is no plan: it is done, was cleared, or could not be made.</desc>
  </metadata>
</gpx>
"""
"""What stands in the file when there is no plan: no old route may be taken for a new one."""


def next_point(plan: Plan) -> Mark | None:
    """Return the first turning point ahead as a waypoint; None if the leg has none."""
    on_this_leg = (stop for stop in stops(plan) if stop.leg == 0)
    ahead = next((stop for stop in on_this_leg if stop.mark is None or stop.manoeuvres), None)
    if ahead is None:
        return None
    name, words = ahead.point or plan.legs[0].origin, stop_sentence(ahead, plan.departure)
    return Mark(name=name, lat=ahead.lat, lon=ahead.lon, description=words)


def format_overlay(plan: Plan) -> str:
    """Write route, laylines and the next turning point as GPX 1.1."""
    ahead = next_point(plan)
    return format_plan(plan, waypoints=() if ahead is None else (ahead,))


@dataclass(slots=True, kw_only=True)
class Overlay:
    """The file: what it is to hold, and whether it does.

    Attributes
    ----------
    path : Path
    tell : callable
        Takes a line of plain words: once when the file can't be written, once when it can.
    inputs : iterable of paths
        Files that are never overwritten.
    """

    path: Path
    tell: Callable[[str], None]
    inputs: Iterable[Path]
    _wanted: str | None = None
    _failed_s: float | None = None

    def hold(self, text: str, now_s: float) -> None:
        """Write what the file is to hold from now on; the old file stays whole if it can't be."""
        self._wanted = text
        self._write(now_s)

    def heal(self, now_s: float) -> None:
        """Try again what could not be written."""
        if self._wanted is not None and self._failed_s is not None:
            if abs(now_s - self._failed_s) < TRY_AGAIN_S:
                return
            self._write(now_s)

    def _write(self, now_s: float) -> None:
        assert self._wanted is not None
        try:
            write_atomically(self.path, self._wanted, inputs=self.inputs)
        except InputError as error:
            if self._failed_s is None:
                self.tell(f"{error}; the file before it stands, and it is tried again.")
            self._failed_s = now_s
            return
        if self._failed_s is not None:
            self.tell(f"{self.path.name} is written again.")
        self._wanted = self._failed_s = None
