"""A watch in this process, fed by the sample log, for pages that look at it."""

from __future__ import annotations

import json
import threading
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from goosewing.live.core.state import Observation, Route, Tick
from goosewing.live.host.session import desk_from, observation_of
from goosewing.live.panel.counter import Asked, WatchCounter
from goosewing.live.watchkeeper import Watchkeeper
from goosewing.records import Mark

SAMPLES = Path(__file__).parents[1] / "sample_routes"
Message = dict[str, Any]


def log() -> list[Message]:
    """What the host said on the afternoon."""
    lines = (SAMPLES / "brisvik_log.jsonl").read_text(encoding="utf-8").splitlines()
    messages = [json.loads(line) for line in lines]
    messages[0]["boat"] = str(SAMPLES / "brisvik" / "boat.toml")
    return messages


class Voyage:
    """A boat that is where the log left her, with a clock that goes on.

    Attributes
    ----------
    counter : WatchCounter
        What displays ask.
    silent : bool
        Whether her instruments say nothing, while time goes on.
    """

    def __init__(self, routes: tuple[Route, ...] = ()) -> None:
        self.counter = WatchCounter(self._asked, lambda: routes)
        self.keeper: Watchkeeper | None = None
        self.silent = False
        self._lock = threading.Lock()
        self._last: Message = {}
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def _asked(self, asked: Asked) -> None:
        with self._lock:
            assert self.keeper is not None
            why_not = self.keeper.refusal(asked.order)
            if why_not is None:
                self._observe(asked.order)
            asked.answer(why_not)

    def _put(self, message: Message) -> None:
        with self._lock:
            self._take(message)

    def _take(self, message: Message) -> None:
        if message["type"] == "hello":
            self.keeper = Watchkeeper(desk_from(message))
        else:
            self._observe(observation_of(message))

    def _observe(self, observation: Observation) -> None:
        assert self.keeper is not None
        self.counter.tell(self.keeper.in_turn(observation))
        if isinstance(observation, Tick):
            self.counter.look(self.keeper)

    def sail(self, messages: list[Message]) -> None:
        """Take lines of the log."""
        for message in messages:
            self._put(message)
            if message["type"] == "observe":
                self._last = message
                self._put({"type": "tick", "time": message["time"]})

    def sail_on(self, observed: list[Message], step_s: float = 10.0) -> None:
        """Take what the log observed, at times that follow upon what her clock says by now."""
        for message in observed:
            with self._lock:
                self._last = {**message, "time": _later(self._last["time"], step_s)}
                for each in (self._last, {"type": "tick", "time": self._last["time"]}):
                    self._take(each)

    def begin(self) -> Voyage:
        """Let the clock go on by itself."""
        self._thread.start()
        return self

    def later(self, seconds: float = 1.0) -> None:
        """Let a second pass; the instruments repeat what they said."""
        with self._lock:
            self._last = {**self._last, "time": _later(self._last["time"], seconds)}
            if not self.silent:
                self._take(self._last)
            self._take({"type": "tick", "time": self._last["time"]})

    def _run(self) -> None:
        while not self._ended.wait(1.0):
            self.later()

    def end(self) -> None:
        """Stop the clock."""
        self._ended.set()
        if self._thread.is_alive():
            self._thread.join(5)


def _later(time: str, seconds: float) -> str:
    then = datetime.fromisoformat(time) + timedelta(seconds=seconds)
    return then.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def stored(name: str, points: list[Message], key: str) -> Route:
    """Return a route as the counter keeps it."""
    marks = tuple(Mark(lat=p["lat"], lon=p["lon"], name=p["name"]) for p in points)
    return Route(id=key, name=name, marks=marks)
