"""Plans made beside the watch, one at a time, so that it never waits for one."""

from __future__ import annotations

import time
from threading import Condition, Thread
from typing import TYPE_CHECKING, Any

from goosewing.errors import GoosewingError
from goosewing.live.core.orders import made

if TYPE_CHECKING:
    from collections.abc import Callable

    from goosewing.live.core.state import Desk, Order, PlanReady


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


class Planner:
    """Makes one plan at a time, on a thread of its own.

    Parameters
    ----------
    done : callable
        Takes an order and what was made of it, on that thread.
    make : callable
        Makes the plan of an order; it must not raise.

    Attributes
    ----------
    engine_ms : float or None
        How long the last plan took. [ms]
    """

    def __init__(
        self,
        done: Callable[[Order, Any], None],
        make: Callable[[Order, Desk], Any] = attempt,
    ) -> None:
        self._done = done
        self._make = make
        self._lock = Condition()
        self._next: tuple[Order, Desk] | None = None
        self.engine_ms: float | None = None
        Thread(target=self._run, name="planner", daemon=True).start()

    def order(self, order: Order, desk: Desk) -> None:
        """Want a plan; an order that has not been begun is replaced."""
        with self._lock:
            self._next = (order, desk)
            self._lock.notify()

    def _run(self) -> None:
        while True:
            with self._lock:
                while self._next is None:
                    self._lock.wait()
                (order, desk), self._next = self._next, None
            begun = time.perf_counter()
            plan = self._make(order, desk)
            self.engine_ms = round((time.perf_counter() - begun) * 1000.0, 1)
            self._done(order, plan)
