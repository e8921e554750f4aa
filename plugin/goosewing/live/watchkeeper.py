"""One watch of the core: its state, what it must not forget, and what it told last.

Host, stand-alone watch and panel are listeners of it: each gives it observations and takes
the records that follow, and each has its own words or units for them at its own rim.
"""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from typing import TYPE_CHECKING

from goosewing.live.core import memory
from goosewing.live.core.state import (
    Carries,
    Clear,
    Event,
    Memory,
    Order,
    PlanFailed,
    Route,
    State,
    Tick,
)
from goosewing.live.core.step import refusal, step
from goosewing.live.planner import attempt

if TYPE_CHECKING:
    from collections.abc import Callable

    from goosewing.live.core.state import Desk, Observation, Output, PlanReady
    from goosewing.live.memory_file import MemoryFile

EVENTS_KEPT = 8
"""So many of the latest events are kept for who looks later."""


class Watchkeeper:
    """Takes observations into the core; knows neither threads nor clocks.

    Parameters
    ----------
    desk : Desk

    Attributes
    ----------
    state : State
        Of the core.
    desk : Desk
        May be replaced: the variation is told under way.
    events : deque of Event
        The latest, newest first.
    """

    def __init__(self, desk: Desk) -> None:
        self.state = State()
        self.desk = desk
        self.events: deque[Event] = deque(maxlen=EVENTS_KEPT)
        self._file: MemoryFile | None = None
        self._routed = False

    def refusal(self, given: Observation) -> str | None:
        """Say in one line why an order of the crew can't be carried out; None if it can."""
        return refusal(self.state, given, self.desk)

    def observe(self, observation: Observation) -> tuple[Output, ...]:
        """Take one observation; what follows, orders for plans among it, in order."""
        observation = self._with_memory(observation)
        self.state, outputs = step(self.state, observation, self.desk)
        self._keep(observation)
        self.events.extendleft(output for output in outputs if isinstance(output, Event))
        return outputs

    def made(self, order: Order, ready: PlanReady | str) -> tuple[Output, ...]:
        """Take the plan that was made for an order, or the reason why there is none."""
        if isinstance(ready, str):
            return self.observe(PlanFailed(number=order.number, message=ready))
        return self.observe(ready)

    def in_turn(
        self, observation: Observation, make: Callable[[Order, Desk], PlanReady | str] = attempt
    ) -> tuple[Output, ...]:
        """Take one observation, and make the plans that it asks for at once."""
        outputs = list(self.observe(observation))
        # The list grows as plans ask for further ones.
        for output in outputs:
            if isinstance(output, Order):
                outputs += self.made(output, make(output, self.desk))
        return tuple(output for output in outputs if not isinstance(output, Order))

    # ---- what survives a restart ----------------------------------------------------------

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
