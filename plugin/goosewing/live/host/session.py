"""One conversation with a host: messages in, messages and orders for plans out.

It holds the state of the core and what has been published; it knows neither threads nor
clocks, so a conversation can be replayed in one piece.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import goosewing
from goosewing.boat.read import read_boat
from goosewing.errors import GoosewingError, InputError
from goosewing.exchange.gpx.plans import format_plan
from goosewing.live.core import health, memory
from goosewing.live.core.damping import turned_deg
from goosewing.live.core.orders import made
from goosewing.live.core.state import (
    Acknowledge,
    Answer,
    Carries,
    Clear,
    Cleared,
    Desk,
    Event,
    Figures,
    Memory,
    Observation,
    Order,
    Output,
    PlanFailed,
    PlanReady,
    Replaced,
    Route,
    Rules,
    State,
    Status,
    Tick,
    Undo,
    Update,
)
from goosewing.live.core.step import refusal, step
from goosewing.live.host import signalk
from goosewing.live.memory_file import MemoryFile
from goosewing.live.panel import document as panel
from goosewing.live.panel import shore
from goosewing.live.panel.table import shown_plan

if TYPE_CHECKING:
    from goosewing.hazards.chart import Chart
    from goosewing.live.host.signalk import Resources
    from goosewing.records import Plan
    from goosewing.velocities.velocity_set import VelocitySet

VERSION = 1

BEARING_DRAWN_DEG = 1.0
"""The polar of the moment is told anew when the bearing of the mark has moved by more. [°]"""

Message = dict[str, Any]

MOST_STAND_BYS = 5

NUMBERS: Mapping[str, tuple[float, float]] = {
    "margin_deg": (0.0, 45.0),
    "corridor_nm": (0.01, 1000.0),
    "shortest_board_min": (0.0, 1440.0),
    "variation_deg": (-180.0, 180.0),
}
"""Options of the desk, with least and greatest."""

CREW_ORDERS = ("acknowledge", "undo", "carry", "answer")
"""What the crew may say that can be refused: answered by id, where one is given."""

CHART_OPTIONS = ("hazards", "safe_depth_m", "coast", "clearance_nm")


class HelloError(InputError):
    """The greeting can't be answered: nothing can follow."""


def desk_from(hello: Mapping[str, Any]) -> Desk:
    """Set up the desk as the host's greeting wants it.

    Raises
    ------
    HelloError
        Saying what is wrong and what was expected.
    """
    try:
        return _desk(hello)
    except GoosewingError as error:
        raise HelloError(str(error)) from None


def _desk(hello: Mapping[str, Any]) -> Desk:
    if hello.get("version") != VERSION:
        raise InputError(f"hello: expected version {VERSION}, got {hello.get('version')!r}")
    path = hello.get("boat")
    if not isinstance(path, str) or not path:
        raise InputError("hello: expected boat, the path of a boat file")
    boat = read_boat(Path(path))
    performance = hello.get("performance")
    if performance is not None:
        boat = boat.scaled(_number("performance", performance, 0.01, 2.0))
    options = hello.get("options") or {}
    if not isinstance(options, Mapping):
        raise InputError("hello: options must be an object")
    return _with_options(Desk(boat=boat), options)


def _with_options(desk: Desk, options: Mapping[str, Any]) -> Desk:
    known = {
        *NUMBERS,
        *CHART_OPTIONS,
        "rounding_nm",
        "prefer",
        "wind_paths",
        "stand_by_min",
        "shifts",
    }
    for name in options:
        if name not in known:
            raise InputError(
                f"hello: unknown option {name!r}; there are {', '.join(sorted(known))}"
            )
    given = {k: v for k, v in options.items() if v is not None}
    chosen: dict[str, Any] = {
        name: _number(name, given[name], *NUMBERS[name]) for name in NUMBERS if name in given
    }
    prefer = given.get("prefer", {})
    if not isinstance(prefer, Mapping) or not all(isinstance(v, str) for v in prefer.values()):
        raise InputError("hello: prefer must be an object of names of sources")
    paths = given.get("wind_paths", "true")
    if paths not in ("true", "apparent"):
        raise InputError(f'hello: wind_paths must be "true" or "apparent", got {paths!r}')
    rules = Rules()
    if "rounding_nm" in given:
        rules = replace(rules, rounding_nm=_number("rounding_nm", given["rounding_nm"], 0.005, 5.0))
    if "stand_by_min" in given:
        rules = replace(rules, stand_by_s=_stand_by_s(given["stand_by_min"]))
    return replace(
        desk, rules=rules, prefer=dict(prefer), wind_paths=paths, chart=_chart(given),
        shifts=_shifts(given.get("shifts")), **chosen,
    )  # fmt: skip


def _shifts(text: Any) -> str | None:
    """Check what is said of shifts; nothing, or an empty line, is none."""
    if text is None or text == "":
        return None
    if not isinstance(text, str):
        raise InputError(f'hello: shifts must be such as "5/10", or "auto", got {text!r}')
    from goosewing.shifts.model import parse_shifts

    parse_shifts(text, 10.0)
    return text


def _stand_by_s(minutes: Any) -> tuple[float, ...]:
    if not isinstance(minutes, list) or len(minutes) > MOST_STAND_BYS:
        raise InputError(f"hello: stand_by_min must be a list of at most {MOST_STAND_BYS} minutes")
    each = {_number("stand_by_min", value, 0.1, 60.0) for value in minutes}
    return tuple(60.0 * value for value in sorted(each, reverse=True))


def _chart(given: Mapping[str, Any]) -> Chart | None:
    """Read what is kept clear of: once, and whole, as the route may be any."""
    if not any(given.get(name) for name in CHART_OPTIONS):
        return None
    paths, coast = given.get("hazards", []), given.get("coast", False)
    if not isinstance(paths, list) or not all(isinstance(each, str) and each for each in paths):
        raise InputError("hello: hazards must be a list of paths")
    if not isinstance(coast, bool):
        raise InputError(f"hello: coast must be true or false, got {coast!r}")
    safe_depth = given.get("safe_depth_m")
    from goosewing.hazards.chart import DEEPEST_M, WIDEST_CLEARANCE_NM, read_chart

    if safe_depth is not None:
        safe_depth = _number("safe_depth_m", safe_depth, 0.1, DEEPEST_M)
    clearance = _number("clearance_nm", given.get("clearance_nm", 0.0), 0.0, WIDEST_CLEARANCE_NM)
    return read_chart(paths, safe_depth_m=safe_depth, coast=coast, clearance_nm=clearance)


def _number(name: str, value: Any, least: float, most: float) -> float:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or not least <= value <= most:
        raise InputError(f"hello: {name} must be {least:g} to {most:g}, got {value!r}")
    return float(value)


class Session:
    """The state of one conversation.

    Attributes
    ----------
    state : State
        Of the core.
    desk : Desk or None
        None before the greeting.
    """

    def __init__(self) -> None:
        self.state = State()
        self.desk: Desk | None = None
        self._file: MemoryFile | None = None
        self._routed = False
        self._said: list[str] = []
        self._published: Resources = {}
        self._plan: Plan | None = None
        self._events: deque[Event] = deque(maxlen=panel.EVENTS_SHOWN)
        self._drawn: tuple[VelocitySet | None, float | None, int | None] = (None, None, None)
        self._polars = 0

    def receive(self, message: Mapping[str, Any]) -> tuple[list[Message], list[Order]]:
        """Take one message.

        Returns
        -------
        messages : list
            To be sent to the host, in order.
        orders : list of Order
            Plans that are wanted.

        Raises
        ------
        HelloError
            If the greeting can't be answered.
        InputError
            If the message makes no sense; the conversation goes on.
        """
        kind = message.get("type")
        if kind == "hello":
            if self.desk is not None:
                raise InputError("hello was said already")
            self.desk = desk_from(message)
            self._remember(message.get("state"))
            name = {"version": VERSION, "name": "goosewing", "release": goosewing.__version__}
            return [{"type": "hello", **name}], []
        if self.desk is None:
            raise InputError(f"expected hello first, got {kind!r}")
        if kind == "export":
            return [self._export(message)], []
        if kind == "coast":
            return [coast_message(message)], []
        observation = _observation(kind, message)
        if kind in CREW_ORDERS:
            return self._ordered(observation, message.get("id"))
        sent, orders = self.observe(observation)
        return (sent + self._look() if kind == "tick" else sent), orders

    def _ordered(
        self, observation: Observation, identity: Any
    ) -> tuple[list[Message], list[Order]]:
        """Carry out an order of the crew, or say in one line why not."""
        assert self.desk is not None
        why_not = refusal(self.state, observation, self.desk)
        answer = {"type": "answered", "id": identity}
        if why_not is not None:
            if identity is None:
                raise InputError(why_not)
            return [{**answer, "content": None, "message": why_not}], []
        sent, orders = self.observe(observation)
        return ([*sent, {**answer, "content": {}}] if identity is not None else sent), orders

    # ---- what survives a restart ----------------------------------------------------------

    def _remember(self, path: Any) -> None:
        if isinstance(path, str) and path:
            self.remember(MemoryFile(Path(path), self._said.append))

    def remember(self, file: MemoryFile) -> None:
        """Take up what was kept before, and keep what is passed from now on."""
        self._file = file
        if file.kept is not None:
            self.state = memory.begun(self.state, file.kept)

    def _with_memory(self, observation: Observation) -> Observation:
        if isinstance(observation, Route) and self._file is not None and observation.resume:
            return replace(observation, remembered=self._file.kept)
        return observation

    def _keep(self, observation: Observation) -> None:
        """Write down what must survive; before there is a route, what is up alone."""
        if self._file is None:
            return
        self._routed = self._routed or isinstance(observation, Route | Clear)
        if not isinstance(observation, Tick | Clear | Carries):
            return
        now = memory.of(self.state)
        if not self._routed:
            kept = self._file.kept or Memory(content=memory.NO_ROUTE, time_s=self.state.now_s)
            up = isinstance(observation, Carries)
            now = memory.with_up(kept, self.state) if up else None
        if now is not None:
            self._file.note(now)

    def _look(self) -> list[Message]:
        """Return what displays are shown after a tick: the polar if it changed, and the panel."""
        assert self.desk is not None
        sent = self._polar()
        number = None if self._drawn[0] is None else self._polars
        document = panel.panel(self.state, self.desk, self._events, number)
        said = [{"type": "error", "message": words, "fatal": False} for words in self._said]
        self._said.clear()
        return [*said, *sent, {"type": "panel", **document}]

    def _polar(self) -> list[Message]:
        assert self.desk is not None
        held, bearing = self.state.held, panel.bearing_deg(self.state, self.desk)
        if held is None or health.wind_fault(self.state, self.desk) is not None:
            self._drawn = (None, None, None)
            return []
        following = None if self.state.route is None else self.state.route.next
        before, pointed, led = self._drawn
        if held is before and following == led and not _swung(pointed, bearing):
            return []
        # Shapely, which the hull needs, is loaded when it is first drawn.
        from goosewing.velocities.polar_view import polar_view

        self._drawn = (held, bearing, following)
        self._polars += 1
        view = polar_view(held, bearing)
        return [{"type": "polar", **panel.polar(view, self._polars, self.state, self.desk)}]

    def observe(self, observation: Observation) -> tuple[list[Message], list[Order]]:
        """Take one observation into the core, and put what follows into messages."""
        assert self.desk is not None
        observation = self._with_memory(observation)
        self.state, outputs = step(self.state, observation, self.desk)
        self._keep(observation)
        self._events.extendleft(output for output in outputs if isinstance(output, Event))
        orders = [output for output in outputs if isinstance(output, Order)]
        sent = [self._message(output) for output in outputs if not isinstance(output, Order)]
        return sent, orders

    def made(self, order: Order, ready: PlanReady | str) -> tuple[list[Message], list[Order]]:
        """Take the plan that was made for an order, or the reason why there is none."""
        if isinstance(ready, str):
            return self.observe(PlanFailed(number=order.number, message=ready))
        return self.observe(ready)

    def in_turn(self, message: Mapping[str, Any]) -> list[Message]:
        """Take one message, and make the plans that it asks for at once."""
        sent, orders = self.receive(message)
        while orders:
            assert self.desk is not None
            order = orders.pop(0)
            more, further = self.made(order, attempt(order, self.desk))
            sent += more
            orders += further
        return sent

    def _message(self, output: Output) -> Message:
        if isinstance(output, Event):
            return signalk.event_message(output)
        if isinstance(output, Status):
            return signalk.status_message(output)
        if isinstance(output, Update):
            return signalk.publication("update", [], output.figures, None)
        if isinstance(output, Replaced):
            return self._publish(
                "replanned", signalk.resources(output.plan, output.route, output.bands), output.plan
            )
        assert isinstance(output, Cleared)
        return self._publish("cleared", {}, None)

    def _publish(self, reason: str, after: Resources, plan: Plan | None) -> Message:
        changed = signalk.changes(self._published, after)
        self._published, self._plan = after, plan
        figures = None if plan is not None else Figures()
        message = signalk.publication(reason, changed, figures, plan)
        if plan is not None:
            message["plan"]["shown"] = shown_plan(plan)
        return message

    def _export(self, message: Mapping[str, Any]) -> Message:
        wanted = message.get("format")
        if wanted not in ("gpx", "handheld"):
            raise InputError(f'export: format must be "gpx" or "handheld", got {wanted!r}')
        if self._plan is None:
            raise InputError("export: there is no plan")
        content = _handheld(self._plan) if wanted == "handheld" else format_plan(self._plan)
        return {"type": "export", "id": message.get("id"), "format": wanted, "content": content}


def _swung(before_deg: float | None, now_deg: float | None) -> bool:
    if before_deg is None or now_deg is None:
        return before_deg is not now_deg
    return abs(turned_deg(now_deg, before_deg)) > BEARING_DRAWN_DEG


def coast_message(message: Mapping[str, Any]) -> Message:
    """Answer a request for the coast; it needs nothing of the conversation.

    Where the box makes no sense, the content is None and ``message`` says why.
    """
    answer = {"type": "coast", "id": message.get("id")}
    try:
        return {**answer, "content": shore.document(*shore.bounds(message))}
    except InputError as error:
        return {**answer, "content": None, "message": str(error)}


def _handheld(plan: Plan) -> str:
    from goosewing.exchange.handheld.files import format_contents
    from goosewing.exchange.handheld.plans import fit_plan

    return format_contents(fit_plan(plan).contents)


def _observation(kind: Any, message: Mapping[str, Any]) -> Observation:
    if kind == "observe":
        return signalk.reading(message.get("time"), message.get("source"), message.get("values"))
    if kind == "tick":
        return Tick(time_s=signalk.seconds(message.get("time")))
    if kind == "plan":
        return signalk.route(message)
    if kind == "acknowledge":
        return Acknowledge(point=str(message.get("point")))
    if kind == "undo":
        return Undo(point=str(message.get("point")))
    if kind == "carry":
        tack: Any = str(message.get("tack"))
        return Carries(sail_set=str(message.get("sail_set")), tack=tack)
    if kind == "answer":
        return Answer(question=str(message.get("question")), choice=str(message.get("choice")))
    if kind == "clear":
        return Clear()
    raise InputError(f"unknown type {kind!r}")


def attempt(order: Order, desk: Desk) -> PlanReady | str:
    """Make the plan of an order, or say in one line why there is none."""
    try:
        return made(order, desk)
    except GoosewingError as error:
        return str(error)
    except Exception as error:
        # No fault in the engine may end the watch, or leave an old plan standing as if it
        # were new: it is told, and tried again.
        return f"the planner failed ({type(error).__name__}: {error})"
