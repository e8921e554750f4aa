"""Sentences to a file, over TCP or down a serial line, at a pace a receiver bears.

A target is written ``FILE``, ``tcp://HOST:PORT`` or ``serial:DEVICE[@BAUD]``.
Neither wire confirms anything: sent means handed over, and where a port goes
away on the way, nothing is claimed to have been sent.
"""

from __future__ import annotations

import socket
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, Self
from urllib.parse import urlsplit

from goosewing.errors import InputError
from goosewing.files.disk import shown, write_atomically

DEFAULT_PACE = 10.0
"""Sentences a second; old receivers lose some beyond (common practice, no source)."""

DEFAULT_BAUD = 4800
"""The rate of NMEA 0183 (from memory)."""

BAUDS = (1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200)

BITS_PER_BYTE = 10
"""On a serial line: start bit, eight bits, stop bit."""

PATIENCE_S = 10.0
"""How long a port may take to open or to accept a sentence."""

FAREWELL_S = 1.0
"""How long to listen, after the last sentence, for the other end's refusal."""


class Port(Protocol):
    """What sentences go out of."""

    def write(self, data: bytes) -> None:
        """Hand over bytes; `PortGoneError` if that can't be done."""

    def finish(self) -> None:
        """Make sure, as far as it can be, that the last bytes went out too."""


class PortGoneError(Exception):
    """The port doesn't take any more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """Where sentences go."""

    path: Path | None = None
    host: str | None = None
    tcp_port: int = 0
    device: str | None = None
    baud: int = DEFAULT_BAUD

    @property
    def words(self) -> str:
        """How it is called in a message."""
        if self.path is not None:
            return shown(self.path)
        return self.device or f"{self.host}:{self.tcp_port}"


def parse_target(text: str) -> Target:
    """Read a target from the command line.

    Raises
    ------
    InputError
        If it is empty, or a TCP or serial target is incomplete.

    Examples
    --------
    >>> parse_target("serial:/dev/ttyUSB0@9600").baud
    9600
    """
    if text.startswith("tcp:"):
        return _tcp_target(text)
    if text.startswith("serial:"):
        return _serial_target(text)
    if not text.strip():
        raise InputError("expected FILE, tcp://HOST:PORT or serial:DEVICE[@BAUD]")
    return Target(path=Path(text))


def _tcp_target(text: str) -> Target:
    with suppress(ValueError):
        parts = urlsplit(text)
        extra = parts.path.strip("/") or parts.query or parts.fragment or parts.username
        if text.startswith("tcp://") and parts.hostname and parts.port and not extra:
            return Target(host=parts.hostname, tcp_port=parts.port)
    raise InputError(f"expected tcp://HOST:PORT with a port of 1 to 65535, got {text!r}")


def _serial_target(text: str) -> Target:
    device, at, rate = text.removeprefix("serial:").partition("@")
    if not device or (at and rate not in map(str, BAUDS)):
        rates = ", ".join(map(str, BAUDS))
        raise InputError(f"expected serial:DEVICE[@BAUD], BAUD one of {rates}, got {text!r}")
    return Target(device=device, baud=int(rate) if at else DEFAULT_BAUD)


def send(
    sentences: Sequence[str],
    target: Target,
    *,
    pace: float = DEFAULT_PACE,
    inputs: Iterable[Path | str] = (),
    sleep: Callable[[float], None] = time.sleep,
    clock: Callable[[], float] = time.monotonic,
) -> None:
    """Write sentences to a file at once, or send them down a wire one by one.

    Parameters
    ----------
    sentences : sequence of str
        Whole, with line ends.
    target : Target
        Where to; a serial line is never given more than its rate carries.
    pace : float
        Most sentences a second.
    inputs : iterable of paths
        Files that must not be overwritten.
    sleep, clock : callable
        Waiting and monotonic time, both in seconds.

    Raises
    ------
    InputError
        If the target can't be opened, or goes away on the way.
    """
    if not 0.0 < pace <= 1000.0:
        raise InputError(f"the pace must be above 0 and at most 1000 sentences a second: {pace:g}")
    if target.path is not None:
        write_atomically(target.path, "".join(sentences), inputs=inputs)
        return
    rate = target.baud / BITS_PER_BYTE if target.device else None
    with open_port(target) as port:
        transmit(
            sentences,
            port,
            words=target.words,
            pace=pace,
            bytes_per_second=rate,
            sleep=sleep,
            clock=clock,
        )


def transmit(
    sentences: Sequence[str],
    port: Port,
    *,
    words: str,
    pace: float = DEFAULT_PACE,
    bytes_per_second: float | None = None,
    sleep: Callable[[float], None] = time.sleep,
    clock: Callable[[], float] = time.monotonic,
) -> None:
    """Send sentences one by one, each when the one before has had its time.

    Parameters
    ----------
    sentences : sequence of str
        Whole, with line ends.
    port : Port
        Open.
    words : str
        What the port is called in a message.
    pace : float
        Most sentences a second.
    bytes_per_second : float or None
        What the line carries.
    sleep, clock : callable
        Waiting and monotonic time, both in seconds.

    Raises
    ------
    InputError
        If the port goes away: how many of how many had been handed over.
    """
    handed_over = 0
    try:
        for sentence in sentences:
            begun = clock()
            port.write(sentence.encode("ascii"))
            handed_over += 1
            needed = len(sentence) / bytes_per_second if bytes_per_second else 0.0
            _wait_until(begun + max(1.0 / pace, needed), sleep, clock)
        port.finish()
    except PortGoneError as error:
        raise InputError(
            f"{words} went away ({error}) after {handed_over} of {len(sentences)} sentences "
            "had been handed over; nothing is claimed sent, send all of them again"
        ) from None


def _wait_until(moment: float, sleep: Callable[[float], None], clock: Callable[[], float]) -> None:
    left = moment - clock()
    if left > 0.0:
        sleep(left)


def open_port(target: Target) -> AbstractContextManager[Port]:
    """Open a TCP or serial target.

    Raises
    ------
    InputError
        If it can't be opened, or pyserial (extra ``serial``) is missing.
    """
    return _SerialPort(target) if target.device else _TcpPort(target)


class _TcpPort:
    def __init__(self, target: Target) -> None:
        try:
            self._socket = socket.create_connection(
                (target.host, target.tcp_port), timeout=PATIENCE_S
            )
        except (OSError, UnicodeError) as error:
            raise InputError(f"can't connect to {target.words}: {reason(error)}") from None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._socket.close()

    def write(self, data: bytes) -> None:
        try:
            self._socket.sendall(data)
        except OSError as error:
            raise PortGoneError(reason(error)) from None

    def finish(self) -> None:
        # A receiver that has gone answers the last bytes with a reset, and only
        # listening shows it. One that stays silent has at least not refused them.
        try:
            self._socket.shutdown(socket.SHUT_WR)
            self._socket.settimeout(FAREWELL_S)
            while self._socket.recv(4096):
                pass
        except TimeoutError:
            return
        except OSError as error:
            raise PortGoneError(reason(error)) from None


class _SerialPort:
    def __init__(self, target: Target) -> None:
        serial = pyserial()
        self._faults = _serial_faults()
        try:
            self._port: Any = serial.Serial(
                target.device, target.baud, timeout=PATIENCE_S, write_timeout=PATIENCE_S
            )
        except self._faults as error:
            raise InputError(f"can't open {target.words}: {reason(error)}") from None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        with suppress(*self._faults):
            self._port.close()

    def write(self, data: bytes) -> None:
        try:
            self._port.write(data)
            self._port.flush()
        except self._faults as error:
            raise PortGoneError(reason(error)) from None

    def finish(self) -> None:
        """Each sentence was waited for already."""


def pyserial() -> Any:
    """Return the library for serial ports.

    Raises
    ------
    InputError
        If it is not installed.
    """
    try:
        import serial
    except ImportError:
        raise InputError(
            'a serial port needs pyserial: in Goosewing\'s folder, pip install ".[serial]"'
        ) from None
    return serial


def _serial_faults() -> tuple[type[BaseException], ...]:
    """Return what a port that goes away raises: pyserial's own errors are OSErrors."""
    try:
        from termios import error
    except ImportError:  # Windows has no termios.
        return (OSError,)
    return (OSError, error)


def reason(error: BaseException) -> str:
    """Say in a few words what the system refused."""
    text = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return " ".join(text.split()) or type(error).__name__
