"""How many may stand at the own panel server's door, and for how long without a word.

Beyond this machine anybody on the network can open connections and never finish a request.
So: so many in all, so many from one address, and a request must have come whole within
some seconds. Then the instruments' links, which need descriptors of the same process, can
always be opened again.
"""

from __future__ import annotations

import asyncio
import logging
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

MOST = 64
"""Connections in all."""

MOST_FROM_ONE = 16
"""From one address: three browsers' worth."""

KEPT_FREE = 64
"""Descriptors that are never given to panels: instruments, files, plans."""

WHOLE_WITHIN_S = 10.0
"""How long the head of a request may take to arrive."""

TOLD_EVERY_S = 60.0

HEAD_ENDS = b"\r\n\r\n"


def most_in_all() -> int:
    """Return how many connections this process can spare."""
    try:
        import resource
    except ModuleNotFoundError:  # Not on this system: then its own limit holds.
        return MOST
    soft, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    return MOST if soft < 0 else max(min(MOST, (soft - KEPT_FREE) // 2), 1)


@dataclass(slots=True)
class Gate:
    """Counts who stands at the door.

    Attributes
    ----------
    most, from_one : int
        Connections in all, and from one address.
    whole_within_s : float
        How long the head of a request may take. [s]
    refused, cut, faults : int
        Connections not let in, and cut for want of a whole request; faults of the loop.
    """

    most: int = field(default_factory=most_in_all)
    from_one: int = MOST_FROM_ONE
    whole_within_s: float = WHOLE_WITHIN_S
    refused: int = 0
    cut: int = 0
    faults: int = 0
    _inside: Counter[str] = field(default_factory=Counter)
    _told_s: float = float("-inf")
    _open: set[asyncio.Transport] = field(default_factory=set)

    def enter(self, address: str) -> bool:
        """Let one in, or not."""
        if self._inside.total() >= self.most or self._inside[address] >= self.from_one:
            self.refused += 1
            return False
        self._inside[address] += 1
        return True

    def leave(self, address: str) -> None:
        """Note that one has gone."""
        self._inside[address] -= 1
        if self._inside[address] <= 0:
            del self._inside[address]

    def opened(self, transport: asyncio.Transport) -> None:
        """Note a connection, let in or not, until it is `gone`."""
        self._open.add(transport)

    def gone(self, transport: asyncio.Transport) -> None:
        """Note that a connection is closed."""
        self._open.discard(transport)

    def close(self) -> None:
        """Cut whoever is still there: the loop ends, and nobody else would close them."""
        for transport in tuple(self._open):
            transport.abort()

    def fault(self, _: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        """Count a fault of the loop; say so once a minute, in one line."""
        self.faults += 1
        now = time.monotonic()
        if now - self._told_s >= TOLD_EVERY_S:
            self._told_s = now
            logging.getLogger(__name__).warning(
                "panel: %s (%d so far)", context.get("message", "a fault"), self.faults
            )

    def guarded(self, inner: Callable[[], asyncio.Protocol]) -> Callable[[], asyncio.Protocol]:
        """Return a factory of protocols that let through what this gate allows."""
        return lambda: _Door(self, inner)


class _Door(asyncio.Protocol):
    """One connection: counted, and cut where its request does not come."""

    def __init__(self, gate: Gate, inner: Callable[[], asyncio.Protocol]) -> None:
        self._gate = gate
        self._make = inner
        self._inner: asyncio.Protocol | None = None
        self._address = ""
        self._transport: asyncio.Transport | None = None
        self._tail = b""
        self._timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        peer = transport.get_extra_info("peername")
        self._address = str(peer[0]) if peer else "?"
        self._transport = transport
        self._gate.opened(transport)
        if not self._gate.enter(self._address):
            transport.abort()
            return
        self._inner = self._make()
        self._inner.connection_made(transport)
        self._wait()

    def _wait(self) -> None:
        if self._timer is None:
            loop = asyncio.get_running_loop()
            self._timer = loop.call_later(self._gate.whole_within_s, self._cut)

    def _cut(self) -> None:
        self._gate.cut += 1
        if self._transport is not None:
            self._transport.abort()

    def data_received(self, data: bytes) -> None:
        if self._inner is None:
            return
        seen = self._tail + data
        if HEAD_ENDS in seen:
            self._stop_waiting()
        else:
            self._wait()
        self._tail = seen[-len(HEAD_ENDS) + 1 :]
        self._inner.data_received(data)

    def _stop_waiting(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def eof_received(self) -> bool | None:
        return None if self._inner is None else self._inner.eof_received()

    def pause_writing(self) -> None:
        if self._inner is not None:
            self._inner.pause_writing()

    def resume_writing(self) -> None:
        if self._inner is not None:
            self._inner.resume_writing()

    def connection_lost(self, error: Exception | None) -> None:
        self._stop_waiting()
        if self._transport is not None:
            self._gate.gone(self._transport)
        if self._inner is not None:
            self._gate.leave(self._address)
            self._inner.connection_lost(error)
