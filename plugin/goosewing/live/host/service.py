"""The process: JSON lines in on standard input, JSON lines out on standard output.

Four threads: one reads and never waits for anything else, one takes the messages in
turn, one makes plans, one draws the coast. What comes faster than it can be taken is
thinned: of each path of each source the latest value is kept, the rest is dropped, so
nothing queues without end.
"""

from __future__ import annotations

import json
import os
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterable
from typing import IO, Any, Protocol

from goosewing.errors import GoosewingError
from goosewing.live.core.state import Desk, Order
from goosewing.live.host.session import HelloError, Message, Session, coast_message
from goosewing.live.planner import Planner, attempt

MOST_WAITING = 200
"""More messages than this, and old observations are dropped."""

LONGEST_LINE = 4_000_000
"""Characters; more is no message of this protocol."""

MOST_COASTS = 16
"""More requests for the coast than this do not wait."""

FAREWELL_S = 0.3
"""How long what was read before the end of input may still take."""


class Inbox:
    """Messages waiting to be taken: bounded, in order, the newest of each path."""

    def __init__(self) -> None:
        self._waiting: deque[Any] = deque()
        self._lock = threading.Condition()
        self._ended = False
        self.dropped = 0

    def put(self, message: Any) -> None:
        """Add a message; thin the observations if too many wait."""
        with self._lock:
            self._waiting.append(message)
            if len(self._waiting) > MOST_WAITING:
                thinned = latest(self._waiting)
                self.dropped += len(self._waiting) - len(thinned)
                self._waiting = deque(thinned)
            self._lock.notify()

    def end(self) -> None:
        """Let `take` return None once everything is taken."""
        with self._lock:
            self._ended = True
            self._lock.notify()

    def take(self) -> Any:
        """Wait for the next message; None at the end."""
        with self._lock:
            while not self._waiting:
                if self._ended:
                    return None
                self._lock.wait()
            return self._waiting.popleft()


def latest(messages: Iterable[Any]) -> list[Any]:
    """Keep everything but observations, of these the latest value of each source and path.

    Of the ticks the last one is kept.

    Examples
    --------
    >>> a = {"type": "observe", "time": "1", "source": "x", "values": [{"path": "p", "value": 1}]}
    >>> b = {"type": "observe", "time": "2", "source": "x", "values": [{"path": "p", "value": 2}]}
    >>> latest([a, {"type": "clear"}, b]) == [{"type": "clear"}, b]
    True
    """
    every = list(messages)
    kept: list[Any] = []
    seen: set[tuple[str, ...]] = set()
    for message in reversed(every):
        kind = message.get("type") if isinstance(message, dict) else None
        if kind == "tick":
            if ("tick",) not in seen:
                kept.append(message)
            seen.add(("tick",))
        elif kind == "observe" and isinstance(message.get("values"), list):
            newest = _unseen(message, seen)
            if newest:
                kept.append({**message, "values": newest})
        else:
            kept.append(message)
    return kept[::-1]


def _unseen(message: Message, seen: set[Any]) -> list[Any]:
    found = []
    for each in reversed(message["values"]):
        path = each.get("path") if isinstance(each, dict) else None
        key = (str(message.get("source")), str(path))
        if key not in seen:
            seen.add(key)
            found.append(each)
    return found[::-1]


class Listener(Protocol):
    """Whoever the service speaks to, from any thread."""

    def send(self, messages: Iterable[Message]) -> None:
        """Take messages, in order."""

    def error(self, message: str, *, fatal: bool = False) -> None:
        """Take an error."""


class Shore:
    """Draws the coast on a thread of its own; of too many requests the oldest go unanswered."""

    def __init__(self, listener: Listener) -> None:
        self._listener = listener
        self._asked: deque[Message] = deque(maxlen=MOST_COASTS)
        self._lock = threading.Condition()
        threading.Thread(target=self._run, name="shore", daemon=True).start()

    def ask(self, message: Message) -> None:
        """Want the coast within a box."""
        with self._lock:
            self._asked.append(message)
            self._lock.notify()

    def _run(self) -> None:
        while True:
            with self._lock:
                while not self._asked:
                    self._lock.wait()
                message = self._asked.popleft()
            try:
                self._listener.send([coast_message(message)])
            except Exception as error:
                # One picture that fails must not end the thread.
                self._listener.error(f"coast: {type(error).__name__}: {error}")


class Writer:
    """Lines on standard output, whole ones, from any thread."""

    def __init__(self, stream: IO[str]) -> None:
        self._stream = stream
        self._lock = threading.Lock()

    def send(self, messages: Iterable[Message]) -> None:
        """Write messages, a line each."""
        lines = "".join(f"{json.dumps(message, allow_nan=False)}\n" for message in messages)
        if lines:
            with self._lock:
                self._stream.write(lines)
                self._stream.flush()

    def error(self, message: str, *, fatal: bool = False) -> None:
        """Write an error, in one line."""
        words = " ".join(message.split())
        self.send([{"type": "error", "message": words, "fatal": fatal}])


def parsed(line: str) -> Message:
    """Read one line.

    Raises
    ------
    ValueError
        If it is no JSON object.
    """
    if len(line) > LONGEST_LINE:
        raise ValueError(f"a line of more than {LONGEST_LINE} characters")
    try:
        message = json.loads(line)
    except RecursionError:
        raise ValueError("not readable as JSON: too deep") from None
    except json.JSONDecodeError as error:
        raise ValueError(f"not readable as JSON: {error}") from None
    if not isinstance(message, dict):
        raise ValueError("expected a JSON object")
    return message


class Service:
    """Takes messages in turn and keeps the planner busy."""

    def __init__(
        self,
        writer: Listener,
        *,
        make: Callable[[Order, Desk], Any] = attempt,
        in_turn: bool = False,
    ) -> None:
        self.session = Session()
        self.inbox = Inbox()
        self._writer = writer
        self._planner = None if in_turn else Planner(self._made, make)
        self._shore = None if in_turn else Shore(writer)

    def handle(self, item: Any) -> int | None:
        """Take one message, or one finished plan; return an exit code to end with, or None."""
        try:
            if isinstance(item, tuple):
                self._send(*self.session.made(*item))
            elif item.get("type") == "bye":
                return 0
            elif item.get("type") == "coast" and self._shore is not None:
                self._shore.ask(item)
            elif self._planner is None:
                self._writer.send(self.session.in_turn(item))
            else:
                self._send(*self.session.receive(item))
        except HelloError as error:
            self._writer.error(str(error), fatal=True)
            return 2
        except GoosewingError as error:
            self._writer.error(str(error))
        except BrokenPipeError:
            return 0
        except Exception as error:
            # One line must never end the watch; the fault is told and written down.
            self._writer.error(f"a fault in the engine ({type(error).__name__}: {error})")
            print(f"goosewing: {type(error).__name__}: {error}", file=sys.stderr, flush=True)
        return None

    def _made(self, order: Order, plan: Any) -> None:
        self.inbox.put((order, plan))

    def _send(self, messages: list[Message], orders: list[Order]) -> None:
        assert self._planner is not None
        for order in orders:
            assert self.session.keeper is not None
            self._planner.order(order, self.session.keeper.desk)
        for message in messages:
            if message["type"] == "status":
                message["engine_ms"] = self._planner.engine_ms
                message["dropped"] = self.inbox.dropped
        self._writer.send(messages)

    def take_line(self, line: str) -> Message | None:
        """Read a line into a message; tell what is wrong with it and go on."""
        if not line.strip():
            return None
        try:
            return parsed(line)
        except ValueError as error:
            self._writer.error(str(error))
            return None


def run(
    lines: IO[str],
    out: IO[str],
    *,
    in_turn: bool = False,
    make: Callable[[Order, Desk], Any] = attempt,
) -> int:
    """Serve until the end of input.

    Parameters
    ----------
    lines, out : text streams
        Standard input and output.
    in_turn : bool
        Make each plan before the next line is read: a log then replays exactly.
    make : callable
        Makes the plan of an order.

    Returns
    -------
    int
        Exit code: 0, or 2 if the greeting could not be answered.
    """
    service = Service(Writer(out), make=make, in_turn=in_turn)
    if in_turn:
        return _run_in_turn(service, lines)
    code: list[int] = []
    worker = threading.Thread(target=_work, args=(service, code), name="worker", daemon=True)
    worker.start()
    for line in lines:
        message = service.take_line(line)
        if message is not None:
            service.inbox.put(message)
        if code:
            return code[0]
    service.inbox.end()
    worker.join(FAREWELL_S)
    return code[0] if code else 0


def _run_in_turn(service: Service, lines: IO[str]) -> int:
    for line in lines:
        message = service.take_line(line)
        code = None if message is None else service.handle(message)
        if code is not None:
            return code
    return 0


def _work(service: Service, code: list[int]) -> None:
    while (item := service.inbox.take()) is not None:
        result = service.handle(item)
        if result is not None:
            code.append(result)
            # The reader waits for a line that may never come.
            _leave(result)


def _leave(code: int) -> None:
    sys.stdout.flush()
    os._exit(code)


def main() -> None:
    """Serve on standard input and output; see `goosewing.live` for the protocol."""
    given = sys.argv[1:]
    if given not in ([], ["--in-turn"]):
        print("usage: python -m goosewing.live [--in-turn]", file=sys.stderr)
        raise SystemExit(2)
    # A byte that is no UTF-8 spoils its own line only.
    lines = open(0, encoding="utf-8", errors="replace", closefd=False)  # noqa: SIM115
    out = open(1, "w", encoding="utf-8", newline="\n", closefd=False)  # noqa: SIM115
    code = run(lines, out, in_turn=bool(given))
    try:
        out.flush()
    except BrokenPipeError:
        code = 0
    # A plan in the making does not hold up the end.
    os._exit(code)
