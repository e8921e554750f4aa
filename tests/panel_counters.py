"""A counter that says what it is told to say, for attacks on the server in front of it."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import Any

from goosewing.live.counter import Refusal


class SmallCounter:
    """Knows one document of each kind, and writes down what it was ordered."""

    def __init__(self) -> None:
        self.ordered: list[tuple[str, dict[str, Any]]] = []
        self.boxes: list[tuple[float, ...]] = []
        self.shown: dict[str, Any] = {"format": "goosewing.panel/1", "state": "waiting"}
        self.fault: Exception | None = None
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
        return [{"id": "a", "name": "Afternoon", "points": 3}]

    def coast(self, south: float, west: float, north: float, east: float) -> dict[str, Any]:
        self.held.wait(10)
        self.boxes.append((south, west, north, east))
        return {"type": "FeatureCollection", "features": [], "credit": "nobody"}

    def export(self, format: str) -> str:  # noqa: A002 (the protocol's own name)
        if self.fault is None and format == "handheld":
            raise Refusal(409, "there is no plan")
        return str(self._answer("<gpx>Ærø</gpx>"))

    def order(self, name: str, body: Mapping[str, Any]) -> dict[str, Any]:
        self.ordered.append((name, dict(body)))
        return dict(self._answer({"name": "Afternoon"}))
