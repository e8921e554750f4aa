"""One conversation with a host: messages in, messages and orders for plans out.

It holds the watch and what has been published of it; it knows neither threads nor clocks, so
a conversation can be replayed in one piece.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import goosewing
from goosewing.boat.read import read_boat
from goosewing.errors import GoosewingError, InputError
from goosewing.live.core.state import (
    Acknowledge,
    Answer,
    Carries,
    Clear,
    Cleared,
    Desk,
    Event,
    Figures,
    Observation,
    Order,
    Output,
    PlanReady,
    Replaced,
    Rules,
    State,
    Status,
    Tick,
    Undo,
    Update,
)
from goosewing.live.export import exported
from goosewing.live.host import signalk
from goosewing.live.memory_file import MemoryFile
from goosewing.live.panel import shore
from goosewing.live.panel.display import Display
from goosewing.live.panel.table import shown_plan
from goosewing.live.planner import attempt
from goosewing.live.watchkeeper import Watchkeeper

if TYPE_CHECKING:
    from goosewing.hazards.chart import Chart
    from goosewing.live.host.signalk import Resources
    from goosewing.records import Plan

VERSION = 1

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

CHART_OPTIONS = ("hazards", "safe_depth_m", "tide_m", "coast", "clearance_nm")


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
    safe_depth, tide = given.get("safe_depth_m"), given.get("tide_m")
    from goosewing.hazards.chart import DEEPEST_M, WIDEST_CLEARANCE_NM, read_chart
    from goosewing.hazards.read.tide import HIGHEST_M

    if safe_depth is not None:
        safe_depth = _number("safe_depth_m", safe_depth, 0.1, DEEPEST_M)
    if tide is not None:
        tide = _number("tide_m", tide, -HIGHEST_M, HIGHEST_M)
    clearance = _number("clearance_nm", given.get("clearance_nm", 0.0), 0.0, WIDEST_CLEARANCE_NM)
    return read_chart(
        paths, safe_depth_m=safe_depth, tide_m=tide, coast=coast, clearance_nm=clearance
    )


def _number(name: str, value: Any, least: float, most: float) -> float:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or not least <= value <= most:
        raise InputError(f"hello: {name} must be {least:g} to {most:g}, got {value!r}")
    return float(value)


class Session:
    """One conversation: messages to observations, and what follows to messages.

    Attributes
    ----------
    keeper : Watchkeeper or None
        None before the greeting.
    """

    def __init__(self) -> None:
        self.keeper: Watchkeeper | None = None
        self._said: list[str] = []
        self._published: Resources = {}
        self._plan: Plan | None = None
        self._display = Display()

    @property
    def state(self) -> State:
        """What the core knows."""
        return State() if self.keeper is None else self.keeper.state

    @property
    def _kept(self) -> Watchkeeper:
        assert self.keeper is not None
        return self.keeper

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
            if self.keeper is not None:
                raise InputError("hello was said already")
            self.keeper = Watchkeeper(desk_from(message))
            self._remember(message.get("state"))
            name = {"version": VERSION, "name": "goosewing", "release": goosewing.__version__}
            return [{"type": "hello", **name}], []
        if self.keeper is None:
            raise InputError(f"expected hello first, got {kind!r}")
        if kind == "export":
            return [self._export(message)], []
        if kind == "coast":
            return [coast_message(message)], []
        observation = observation_of(message)
        if kind in CREW_ORDERS:
            return self._ordered(observation, message.get("id"))
        sent, orders = self.observe(observation)
        return (sent + self._look() if kind == "tick" else sent), orders

    def _ordered(
        self, observation: Observation, identity: Any
    ) -> tuple[list[Message], list[Order]]:
        """Carry out an order of the crew, or say in one line why not."""
        why_not = self._kept.refusal(observation)
        answer = {"type": "answered", "id": identity}
        if why_not is not None:
            if identity is None:
                raise InputError(why_not)
            return [{**answer, "content": None, "message": why_not}], []
        sent, orders = self.observe(observation)
        return ([*sent, {**answer, "content": {}}] if identity is not None else sent), orders

    def _remember(self, path: Any) -> None:
        if isinstance(path, str) and path:
            self._kept.remember(MemoryFile(Path(path), self._said.append))

    def _look(self) -> list[Message]:
        """Return what displays are shown after a tick: the polar if it changed, and the panel."""
        document, polar = self._display.look(self._kept)
        said = [{"type": "error", "message": words, "fatal": False} for words in self._said]
        self._said.clear()
        sent = [] if polar is None else [{"type": "polar", **polar}]
        return [*said, *sent, {"type": "panel", **document}]

    def observe(self, observation: Observation) -> tuple[list[Message], list[Order]]:
        """Take one observation into the core, and put what follows into messages."""
        return self._told(self._kept.observe(observation))

    def made(self, order: Order, ready: PlanReady | str) -> tuple[list[Message], list[Order]]:
        """Take the plan that was made for an order, or the reason why there is none."""
        return self._told(self._kept.made(order, ready))

    def _told(self, outputs: Iterable[Output]) -> tuple[list[Message], list[Order]]:
        sent: list[Message] = []
        orders: list[Order] = []
        for output in outputs:
            if isinstance(output, Order):
                orders.append(output)
            else:
                sent.append(self._message(output))
        return sent, orders

    def in_turn(self, message: Mapping[str, Any]) -> list[Message]:
        """Take one message, and make the plans that it asks for at once."""
        sent, orders = self.receive(message)
        while orders:
            order = orders.pop(0)
            more, further = self.made(order, attempt(order, self._kept.desk))
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
        content = exported(self._plan, wanted)
        return {"type": "export", "id": message.get("id"), "format": wanted, "content": content}


def coast_message(message: Mapping[str, Any]) -> Message:
    """Answer a request for the coast; it needs nothing of the conversation.

    Where the box makes no sense, the content is None and ``message`` says why.
    """
    answer = {"type": "coast", "id": message.get("id")}
    try:
        return {**answer, "content": shore.document(*shore.bounds(message))}
    except InputError as error:
        return {**answer, "content": None, "message": str(error)}


def observation_of(message: Mapping[str, Any]) -> Observation:
    """Read what a message of the host observes or orders.

    Raises
    ------
    InputError
        If it makes no sense.
    """
    kind = message.get("type")
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
