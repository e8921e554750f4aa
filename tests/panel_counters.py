"""A counter that says what it is told to say, for attacks on the server in front of it."""

from __future__ import annotations

import copy
import threading
import time
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from goosewing.live.panel import shore
from goosewing.live.panel.counter import Refusal


class SmallCounter:
    """Knows one document of each kind, and writes down what it was ordered."""

    def __init__(self) -> None:
        self.ordered: list[tuple[str, dict[str, Any]]] = []
        self.boxes: list[tuple[float, ...]] = []
        self.shown: dict[str, Any] = {"format": "goosewing.panel/1", "state": "waiting"}
        self.listed = [{"id": "a", "name": "Afternoon", "points": 3}]
        self.fault: Exception | None = None
        self.refusal: Exception | None = None
        self.held = threading.Event()
        self.held.set()

    def _answer(self, value: Any) -> Any:
        if self.fault is not None:
            raise self.fault
        return value

    def panel(self) -> dict[str, Any]:
        return dict(self._answer(self.shown))

    def polar(self) -> dict[str, Any] | None:
        return None

    def plan(self) -> dict[str, Any] | None:
        return None

    def routes(self) -> list[dict[str, Any]]:
        return list(self.listed)

    def coast(self, south: float, west: float, north: float, east: float) -> dict[str, Any]:
        self.held.wait(10)
        self.boxes.append((south, west, north, east))
        return {"type": "FeatureCollection", "features": [], "credit": "nobody"}

    def export(self, format: str) -> str:  # noqa: A002 (the protocol's own name)
        self.held.wait(10)
        if self.fault is None and format == "handheld":
            raise Refusal(409, "there is no plan")
        return str(self._answer("<gpx>Ærø</gpx>"))

    def order(self, name: str, body: Mapping[str, Any]) -> dict[str, Any]:
        if self.refusal is not None:
            raise self.refusal
        self.ordered.append((name, dict(body)))
        return dict(self._answer({"name": "Afternoon"}))


class ShowCounter(SmallCounter):
    """Shows moments of a real passage, one at a time; only their time goes on.

    Attributes
    ----------
    moment : dict
        The documents of now: panel, polar, plan.
    still : bool
        Whether even their time stands.
    asked : list of str
        Which document was asked for, in order.
    """

    def __init__(self, moments: Mapping[str, dict[str, Any]]) -> None:
        super().__init__()
        self._moments = moments
        self._begun = time.monotonic()
        self.still = False
        self.asked: list[str] = []
        self.turn("advising")

    def turn(self, name: str) -> None:
        """Show another moment."""
        self.moment = copy.deepcopy(self._moments[name])

    def panel(self) -> dict[str, Any]:
        self.held.wait(10)
        self.asked.append("panel")
        shown = dict(self._answer(self.moment["panel"]))
        if shown["time"] is not None and not self.still:
            passed = timedelta(seconds=int(time.monotonic() - self._begun))
            now = datetime.fromisoformat(shown["time"]) + passed
            shown["time"] = now.isoformat(timespec="milliseconds").replace("+00:00", "Z")
        return shown

    def polar(self) -> dict[str, Any] | None:
        self.asked.append("polar")
        return self.moment["polar"]

    def plan(self) -> dict[str, Any] | None:
        self.asked.append("plan")
        return self.moment["plan"]

    def coast(self, south: float, west: float, north: float, east: float) -> dict[str, Any]:
        self.asked.append("coast")
        return shore.document(south, west, north, east)
