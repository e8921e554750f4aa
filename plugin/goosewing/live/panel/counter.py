"""The counter between the running service and displays in the same process.

The service's thread speaks to it as to a host (`SessionCounter.send`), displays ask it from
any thread, and orders go the service's own way, through its queue.
"""

from __future__ import annotations

import itertools
import threading
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from goosewing.errors import InputError
from goosewing.live.panel import shore
from goosewing.live.panel.document import blank
from goosewing.records import Mark

Message = dict[str, Any]

CAN = ("plan", "acknowledge", "undo", "carry", "answer", "clear", "export")
"""What can be ordered without a host: no host's course can be set."""

SAID: Mapping[str, tuple[Mapping[str, str], str]] = {
    "acknowledge": ({"point": "point"}, '{"point": "T1"}'),
    "undo": ({"point": "point"}, '{"point": "T1"}'),
    "carry": ({"sailSet": "sail_set", "tack": "tack"}, '{"sailSet": "…", "tack": "port"}'),
    "answer": (
        {"question": "question", "choice": "choice"}, '{"question": "passed", "choice": "yes"}',
    ),
}  # fmt: skip
"""What the crew says: members of the order, with what the service calls them, and an example."""

SILENT_S = 6.0
"""A service that has not spoken for so long is told as failed."""

ANSWER_S = 15.0
"""How long an export is waited for."""


class Refusal(Exception):  # noqa: N818 - an answer, not a fault
    """A request that is understood but can't be done.

    Attributes
    ----------
    code : int
        The HTTP status it becomes.
    message : str
        One line.
    """

    def __init__(self, code: int, message: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message


class Counter(Protocol):
    """What a display asks; safe from any thread. All raise `Refusal`."""

    def panel(self) -> Message:
        """Return the panel document of this moment; always one."""
        ...

    def polar(self) -> Message | None:
        """Return the polar of the moment; None while the wind is not known."""
        ...

    def plan(self) -> Message | None:
        """Return the plan as ``goosewing.plan/1``; None without one."""
        ...

    def routes(self) -> list[Message]:
        """Return the routes that can be planned: id, name, number of points."""
        ...

    def coast(self, south: float, west: float, north: float, east: float) -> Message:
        """Return the land within a box, as GeoJSON."""
        ...

    def export(self, format: str) -> str:  # noqa: A002 - the word of the protocol
        """Return the plan as the text of a file: "gpx" or "handheld"."""
        ...

    def order(self, name: str, body: Mapping[str, Any]) -> Message:
        """Carry out an order of the crew: "plan", "acknowledge" or "clear"."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredRoute:
    """A route that the crew can have planned."""

    id: str
    name: str
    marks: tuple[Mark, ...]


class SessionCounter:
    """A counter for a service in the same process.

    It listens to what the service says (`send` and `error`, as a host's pipe would) and
    puts orders where the service takes its messages from.

    Parameters
    ----------
    put : callable
        Takes a message of the protocol, from any thread: the service's `Inbox.put`.
    routes : callable
        Returns the routes that can be planned now.
    clock : callable
        Seconds that never go back, to notice a service that has fallen silent.
    """

    def __init__(
        self,
        put: Callable[[Message], None],
        routes: Callable[[], Sequence[StoredRoute]] = tuple,
        *,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._put = put
        self._routes = routes
        self._clock = clock
        self._lock = threading.Condition()
        self._spoken = clock()
        self._panel: Message | None = None
        self._polar: Message | None = None
        self._plan: Message | None = None
        self._error = ""
        self._numbers = itertools.count(1)
        self._awaited: dict[str, str | Refusal | None] = {}

    # ---- the service's side -----------------------------------------------------------

    def send(self, messages: Iterable[Message]) -> None:
        """Take what the service says."""
        with self._lock:
            for message in messages:
                self._hear(message)
            self._spoken = self._clock()
            self._lock.notify_all()

    def error(self, message: str, *, fatal: bool = False) -> None:
        """Take an error the service tells."""
        with self._lock:
            self._error = " ".join(message.split())
            if fatal:
                self._panel = self._plan = self._polar = None
            if message.startswith("export"):
                # The service's errors carry no id; one export too many is refused at worst.
                refusal = Refusal(409, self._error)
                self._awaited = {k: v or refusal for k, v in self._awaited.items()}
            self._lock.notify_all()

    def _hear(self, message: Message) -> None:
        kind = message["type"]
        if kind == "panel":
            self._panel = _bare(message)
            if message["polar"] is None:
                self._polar = None
        elif kind == "polar":
            self._polar = _bare(message)
        elif kind == "publish":
            if message["reason"] == "replanned":
                self._error = ""
            if message["reason"] != "update":
                self._plan = message["plan"]
        elif kind == "export" and message["id"] in self._awaited:
            self._awaited[message["id"]] = message["content"]
        elif kind == "answered" and message["id"] in self._awaited:
            done = message["content"] is not None
            self._awaited[message["id"]] = "" if done else Refusal(409, message["message"])

    # ---- the displays' side --------------------------------------------------------------

    def panel(self) -> Message:
        """Return the panel document of this moment; of nulls if the service is silent."""
        with self._lock:
            silent, document = self._clock() - self._spoken, self._panel
            error = self._error
        if document is None:
            document = blank(error or "Starting.", "failed" if error else "waiting")
        elif silent > SILENT_S:
            words = error or f"The service has been silent for {silent:.0f} s."
            document = blank(words, time=document["time"])
        return {**document, "activated": None, "can": list(CAN)}

    def polar(self) -> Message | None:
        """Return the polar of the moment; None while the wind is not known."""
        with self._lock:
            return self._polar

    def plan(self) -> Message | None:
        """Return the plan as ``goosewing.plan/1``; None without one."""
        with self._lock:
            return self._plan

    def routes(self) -> list[Message]:
        """Return the routes that can be planned: id, name, number of points."""
        return [{"id": r.id, "name": r.name, "points": len(r.marks)} for r in self._routes()]

    def coast(self, south: float, west: float, north: float, east: float) -> Message:
        """Return the land within a box, as GeoJSON.

        Raises
        ------
        Refusal
            400 if the box makes no sense.
        """
        asked = {"south": south, "west": west, "north": north, "east": east}
        try:
            return shore.document(*shore.bounds(asked))
        except InputError as error:
            raise Refusal(400, str(error)) from None

    def export(self, format: str) -> str:  # noqa: A002
        """Return the plan as the text of a file.

        Raises
        ------
        Refusal
            404 for another format, 409 without a plan, 504 if the service does not answer.
        """
        if format not in ("gpx", "handheld"):
            raise Refusal(404, f"there is no format {format}: take gpx or handheld")
        if self.plan() is None:
            raise Refusal(409, "there is no plan to export")
        return self._ask({"type": "export", "format": format})

    def _ask(self, message: Message) -> str:
        """Put a message that is answered by id, and wait for the answer."""
        name = f"counter-{next(self._numbers)}"
        with self._lock:
            self._awaited[name] = None
        self._put({**message, "id": name})
        with self._lock:
            self._lock.wait_for(lambda: self._awaited[name] is not None, ANSWER_S)
            content = self._awaited.pop(name)
        if content is None:
            raise Refusal(504, "the service gave no answer")
        if isinstance(content, Refusal):
            raise content
        return content

    def order(self, name: str, body: Mapping[str, Any]) -> Message:
        """Carry out an order of the crew.

        Raises
        ------
        Refusal
            400 for an order that lacks something, 404 for an unknown one or an unknown
            route, 501 for one that needs a host.
        """
        orders = {"plan": self._order_plan, **dict.fromkeys(SAID, self._order_said)}
        if name == "clear":
            self._put({"type": "clear"})
            return {}
        if name == "activate":
            raise Refusal(501, "there is no host whose course could be set")
        if name not in orders:
            raise Refusal(404, f"there is no order {name}")
        return orders[name](name, body)

    def _order_plan(self, _: str, body: Mapping[str, Any]) -> Message:
        wanted = body.get("routeId")
        if not isinstance(wanted, str):
            raise Refusal(400, 'name a route: {"routeId": "…"}')
        route = next((r for r in self._routes() if r.id == wanted), None)
        if route is None:
            raise Refusal(404, f"there is no route {wanted:.60}")
        points = [{"lat": m.lat, "lon": m.lon, "name": m.name} for m in route.marks]
        self._put({"type": "plan", "id": route.id, "name": route.name, "points": points})
        return {"routeId": route.id, "name": route.name, "points": len(points)}

    def _order_said(self, name: str, body: Mapping[str, Any]) -> Message:
        """Pass on what the crew says; the service may refuse it."""
        members, example = SAID[name]
        given = {member: body.get(member) for member in members}
        if not all(isinstance(value, str) and value for value in given.values()):
            raise Refusal(400, f"say it so: {example}")
        self._ask({"type": name, **{members[member]: value for member, value in given.items()}})
        return given


def _bare(message: Message) -> Message:
    return {name: value for name, value in message.items() if name != "type"}
