"""The counter between the watch and displays in the same process.

The watch's thread tells it what follows and lets it look (`WatchCounter.tell`, `look`), displays
ask it from any thread, and the crew's orders wait in the watch's own queue (`Asked`).
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Protocol

from goosewing.errors import InputError
from goosewing.exchange.document import plan_document
from goosewing.live.core.state import (
    Acknowledge,
    Answer,
    Carries,
    Clear,
    Cleared,
    CrewOrder,
    Replaced,
    Route,
    Undo,
)
from goosewing.live.export import FORMATS, exported
from goosewing.live.panel import shore
from goosewing.live.panel.display import Display
from goosewing.live.panel.document import blank
from goosewing.live.panel.table import shown_plan

if TYPE_CHECKING:
    from goosewing.live.core.state import Output
    from goosewing.live.watchkeeper import Watchkeeper
    from goosewing.records import Plan

Message = dict[str, Any]

CAN = ("plan", "acknowledge", "undo", "carry", "answer", "clear", "export")
"""What can be ordered without a host: no host's course can be set."""

SAID: Mapping[str, tuple[tuple[str, ...], str]] = {
    "acknowledge": (("point",), '{"point": "T1"}'),
    "undo": (("point",), '{"point": "T1"}'),
    "carry": (("sailSet", "tack"), '{"sailSet": "…", "tack": "port"}'),
    "answer": (("question", "choice"), '{"question": "passed", "choice": "yes"}'),
}
"""What the crew says: members of the order, and an example."""

SILENT_S = 6.0
"""A service that has not spoken for so long is told as failed."""

ANSWER_S = 15.0
"""How long an order's answer is waited for."""


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


class Asked:
    """What the crew orders, and its answer; put by a display, taken by the watch's thread."""

    def __init__(self, order: CrewOrder | Route) -> None:
        self.order = order
        self._answer: queue.Queue[str | None] = queue.Queue()

    def answer(self, why_not: str | None) -> None:
        """Say that it was done, or in one line why not."""
        self._answer.put(why_not)

    def wait(self, within_s: float) -> str | None:
        """Return why it was not done; None if it was.

        Raises
        ------
        TimeoutError
            If nobody answers.
        """
        try:
            return self._answer.get(timeout=within_s)
        except queue.Empty:
            raise TimeoutError("the service gave no answer") from None


class WatchCounter:
    """A counter for a watch in the same process: one more listener of the core.

    Parameters
    ----------
    put : callable
        Takes an order of the crew, from any thread, for the watch's own.
    routes : callable
        Returns the routes that can be planned now.
    clock : callable
        Seconds that never go back, to notice a watch that has fallen silent.
    """

    def __init__(
        self,
        put: Callable[[Asked], None],
        routes: Callable[[], Sequence[Route]] = tuple,
        *,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._put = put
        self._routes = routes
        self._clock = clock
        self._lock = threading.Lock()
        self._display = Display()
        self._spoken = clock()
        self._panel: Message | None = None
        self._polar: Message | None = None
        self._plan: Plan | None = None
        self._told: Message | None = None
        self._error = ""

    # ---- the watch's side --------------------------------------------------------------

    def tell(self, outputs: Iterable[Output]) -> None:
        """Take what follows from an observation."""
        with self._lock:
            for output in outputs:
                if isinstance(output, Replaced):
                    self._plan, self._told, self._error = output.plan, None, ""
                elif isinstance(output, Cleared):
                    self._plan = self._told = None
            self._spoken = self._clock()

    def look(self, keeper: Watchkeeper) -> None:
        """Draw up what displays are shown, once a second."""
        document, polar = self._display.look(keeper)
        with self._lock:
            self._panel = document
            if document["polar"] is None:
                self._polar = None
            elif polar is not None:
                self._polar = polar
            self._spoken = self._clock()

    def error(self, message: str) -> None:
        """Take a fault in a look: what was shown before it stands no longer."""
        with self._lock:
            self._error = " ".join(message.split())
            self._panel = self._polar = self._plan = self._told = None

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
            if self._told is None and self._plan is not None:
                self._told = {**plan_document(self._plan), "shown": shown_plan(self._plan)}
            return self._told

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
            404 for another format, 409 where the plan can't be written, or there is none.
        """
        if format not in FORMATS:
            raise Refusal(404, f"there is no format {format}: take {' or '.join(FORMATS)}")
        with self._lock:
            plan = self._plan
        if plan is None:
            raise Refusal(409, "there is no plan to export")
        try:
            return exported(plan, format)
        except InputError as error:
            raise Refusal(409, str(error)) from None

    def order(self, name: str, body: Mapping[str, Any]) -> Message:
        """Carry out an order of the crew.

        Raises
        ------
        Refusal
            400 for an order that lacks something, 404 for an unknown one or an unknown
            route, 409 for one that can't be carried out, 501 for one that needs a host, 504
            where nobody answers.
        """
        orders = {"plan": self._order_plan, **dict.fromkeys(SAID, self._order_said)}
        if name == "clear":
            self._put(Asked(Clear()))
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
        self._put(Asked(route))
        return {"routeId": route.id, "name": route.name, "points": len(route.marks)}

    def _order_said(self, name: str, body: Mapping[str, Any]) -> Message:
        """Pass on what the crew says; the watch may refuse it."""
        members, example = SAID[name]
        given = {member: body.get(member) for member in members}
        if not all(isinstance(value, str) and value for value in given.values()):
            raise Refusal(400, f"say it so: {example}")
        asked = Asked(_said(name, given))
        self._put(asked)
        try:
            why_not = asked.wait(ANSWER_S)
        except TimeoutError as error:
            raise Refusal(504, str(error)) from None
        if why_not is not None:
            raise Refusal(409, why_not)
        return given


def _said(name: str, given: Mapping[str, Any]) -> CrewOrder:
    if name == "acknowledge":
        return Acknowledge(point=given["point"])
    if name == "undo":
        return Undo(point=given["point"])
    if name == "carry":
        return Carries(sail_set=given["sailSet"], tack=given["tack"])
    return Answer(question=given["question"], choice=given["choice"])
