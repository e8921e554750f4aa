"""Where sentences come from and go to: TCP, UDP, serial lines, files.

An address is written ``tcp://HOST:PORT``, ``udp://HOST:PORT``, ``serial:DEVICE[:BAUD]`` or
as the name of a file, whoever listens or sends. `send` hands a route over once, at a pace
that a receiver bears; `Listener` and `Sender` hold a link, each on a thread of its own: one
that is not there, or that drops, is tried again and again, ten seconds apart at most; it is
told once when it goes and once when it comes. What is impossible (an address that is
none, a file that is missing, an extra that is not installed) is refused at once.

No wire confirms anything: sent means handed over, and where a port goes away on the
way, nothing is claimed to have been sent.
"""

from __future__ import annotations

import contextlib
import ipaddress
import socket
import struct
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, Protocol
from urllib.parse import urlsplit

from goosewing.errors import InputError
from goosewing.files.disk import MOST_BYTES_OF_LOG, check_readable, shown, write_atomically

Kind = Literal["tcp", "udp", "serial", "file"]

DEFAULT_PACE = 10.0
"""Sentences a second; old receivers lose some beyond (common practice, no source)."""

DEFAULT_BAUD = 4800
"""The rate of NMEA 0183 (from memory)."""

BAUDS = (1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200)

BITS_PER_BYTE = 10
"""On a serial line: start bit, eight bits, stop bit."""

LONGEST_WAIT_S = 10.0
"""Between two tries to reach a link that is not there."""

LOOK_S = 0.5
"""How often a waiting link looks whether it is to end."""

PATIENCE_S = 10.0
"""How long a connection may take to come about, or a receiver to take a sentence."""

FAREWELL_S = 1.0
"""How long to listen, after the last sentence, for the other end's refusal."""

CHUNK = 4096

WAYS_IN = "tcp://HOST:PORT, udp://[HOST]:PORT, serial:DEVICE[:BAUD] or the name of a log"
WAYS_OUT = "tcp://HOST:PORT, udp://HOST:PORT or serial:DEVICE[:BAUD]"
WAYS_ONCE = f"{WAYS_OUT.replace(' or ', ', ')} or FILE"


@dataclass(frozen=True, slots=True, kw_only=True)
class Address:
    """Where a link leads.

    Attributes
    ----------
    kind : "tcp", "udp", "serial" or "file"
    host : str
        Empty for every interface (UDP in).
    port : int
    path : str
        Of the device or the file.
    baud : int
    """

    kind: Kind
    host: str = ""
    port: int = 0
    path: str = ""
    baud: int = DEFAULT_BAUD

    @property
    def words(self) -> str:
        """How it is called in a message."""
        if self.path:
            return shown(self.path)
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{self.kind}://{host}:{self.port}"


def parse_address(text: str) -> Address:
    """Read where sentences come from.

    Raises
    ------
    InputError
        If it is none of the ways there are, or incomplete.

    Examples
    --------
    >>> parse_address("udp://:10110")
    Address(kind='udp', host='', port=10110, path='', baud=4800)
    >>> parse_address("serial:/dev/ttyUSB0:38400").baud
    38400
    """
    if text.startswith("serial:"):
        return _serial(text)
    if text.startswith(("tcp:", "udp:")):
        return _network(text)
    if not text.strip() or "://" in text:
        raise InputError(f"expected {WAYS_IN}, got {text!r}")
    return Address(kind="file", path=text)


def parse_receiver(text: str) -> Address:
    """Read where sentences are sent.

    Raises
    ------
    InputError
        If it is none of the ways there are, or incomplete.
    """
    address = parse_address(text) if text.startswith(("tcp:", "udp:", "serial:")) else None
    if address is None or (address.kind == "udp" and not address.host):
        raise InputError(f"expected {WAYS_OUT}, got {text!r}")
    return address


def parse_target(text: str) -> Address:
    """Read where sentences are sent once: a receiver, or a file.

    Raises
    ------
    InputError
        If it is none of the ways there are, or incomplete.
    """
    if text.startswith(("tcp:", "udp:", "serial:")):
        return parse_receiver(text)
    if not text.strip() or "://" in text:
        raise InputError(f"expected {WAYS_ONCE}, got {text!r}")
    return Address(kind="file", path=text)


def _network(text: str) -> Address:
    kind: Kind = "tcp" if text.startswith("tcp") else "udp"
    with contextlib.suppress(ValueError):
        parts = urlsplit(text)
        extra = parts.path.strip("/") or parts.query or parts.fragment or parts.username
        named = parts.hostname or kind == "udp"
        if text.startswith(f"{kind}://") and named and parts.port and not extra:
            return Address(kind=kind, host=parts.hostname or "", port=parts.port)
    host = "HOST" if kind == "tcp" else "[HOST]"
    raise InputError(f"expected {kind}://{host}:PORT with a port of 1 to 65535, got {text!r}")


def _serial(text: str) -> Address:
    whole = text.removeprefix("serial:")
    # The baud after "@" as well: it has been written so.
    device, found, rate = whole.rpartition("@" if "@" in whole else ":")
    # A device's own name may hold colons.
    if not found or (":" in whole and "@" not in whole and not _all_digits(rate)):
        device, rate = whole, str(DEFAULT_BAUD)
    if not device or rate not in map(str, BAUDS):
        rates = ", ".join(map(str, BAUDS))
        raise InputError(f"expected serial:DEVICE[:BAUD], BAUD one of {rates}, got {text!r}")
    return Address(kind="serial", path=device, baud=int(rate))


def _all_digits(text: str) -> bool:
    return text.isascii() and text.isdigit()


def check(address: Address) -> None:
    """Refuse now what no trying again will mend.

    Raises
    ------
    InputError
        If a log is missing or no file, or pyserial (extra ``serial``) is.
    """
    if address.kind == "serial":
        pyserial()
    if address.kind == "file":
        _check_log(Path(address.path))


def _check_log(path: Path) -> None:
    device = False
    with contextlib.suppress(OSError, ValueError):
        device = path.is_char_device()
    if device:
        raise InputError(f"is a device: write serial:{shown(path)}", where=shown(path))
    check_readable(path, f"a log of sentences; {WAYS_IN}", most_bytes=MOST_BYTES_OF_LOG)


# ---- ports ------------------------------------------------------------------------------


class Port(Protocol):
    """An open link."""

    def read(self) -> bytes | None:
        """Wait a moment for bytes; none came: empty; the other end has closed: None."""

    def write(self, data: bytes) -> None:
        """Hand over bytes."""

    def finish(self) -> None:
        """Make sure, as far as it can be, that the last bytes went out too."""

    def close(self) -> None:
        """Let go."""


class TcpPort:
    """A connection that was made from here."""

    def __init__(self, address: Address) -> None:
        self._socket = socket.create_connection((address.host, address.port), timeout=PATIENCE_S)
        _watch_over(self._socket)
        self._socket.settimeout(LOOK_S)

    def read(self) -> bytes | None:
        """Wait a moment for bytes."""
        try:
            return self._socket.recv(CHUNK) or None
        except TimeoutError:
            return b""

    def write(self, data: bytes) -> None:
        """Hand over bytes, and see whether the receiver has gone."""
        self._socket.settimeout(PATIENCE_S)
        self._socket.sendall(data)
        self._socket.settimeout(LOOK_S)

    def finish(self) -> None:
        """Listen for a refusal of the last bytes, and hand over no more.

        A receiver that has gone answers them with a reset, and only listening shows it. One
        that stays silent has at least not refused them.
        """
        self._socket.shutdown(socket.SHUT_WR)
        self._socket.settimeout(FAREWELL_S)
        with contextlib.suppress(TimeoutError):
            while self._socket.recv(CHUNK):
                pass

    def gone(self) -> bool:
        """Whether the other end has closed; what it said is thrown away."""
        self._socket.setblocking(False)
        try:
            while data := self._socket.recv(CHUNK):
                del data
        except BlockingIOError:
            return False
        except OSError:
            return True
        finally:
            self._socket.settimeout(LOOK_S)
        return True

    def close(self) -> None:
        """Let go."""
        self._socket.close()


def _watch_over(connection: socket.socket) -> None:
    """Let the system find out within half a minute that the other end is no longer there."""
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for name, value in (("TCP_KEEPIDLE", 10), ("TCP_KEEPINTVL", 5), ("TCP_KEEPCNT", 3)):
        if hasattr(socket, name):
            connection.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)


class UdpPort:
    """Datagrams that are sent to this machine; each ends what it holds."""

    def __init__(self, address: Address) -> None:
        group = _group(address.host)
        family = socket.AF_INET6 if ":" in address.host else socket.AF_INET
        self._socket = socket.socket(family, socket.SOCK_DGRAM)
        try:
            if group:
                # Others on this machine may listen to the same group.
                self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            self._socket.bind((address.host, address.port))
            if group:
                joined = struct.pack("4s4s", group, b"\0\0\0\0")
                self._socket.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, joined)
        except BaseException:
            self._socket.close()
            raise
        self._socket.settimeout(LOOK_S)

    def read(self) -> bytes | None:
        """Wait a moment for a datagram."""
        try:
            return self._socket.recv(65535) + b"\r\n"
        except TimeoutError:
            return b""

    def write(self, data: bytes) -> None:
        """Never: this end listens."""

    def finish(self) -> None:
        """Nothing went out."""

    def close(self) -> None:
        """Let go."""
        self._socket.close()


def _group(host: str) -> bytes | None:
    """Return a multicast group's four bytes, if the host is one."""
    with contextlib.suppress(ValueError):
        if ipaddress.IPv4Address(host).is_multicast:
            return socket.inet_aton(host)
    return None


class UdpOut:
    """Datagrams to a receiver, or to all of a network."""

    def __init__(self, address: Address) -> None:
        found = socket.getaddrinfo(address.host, address.port, type=socket.SOCK_DGRAM)
        family, kind, protocol, _, to = found[0]
        self._to: Any = to
        self._socket = socket.socket(family, kind, protocol)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)

    def read(self) -> bytes | None:
        """Never: this end speaks."""
        return b""

    def write(self, data: bytes) -> None:
        """Send one datagram."""
        # Nobody there yet is no fault of a datagram's.
        with contextlib.suppress(ConnectionRefusedError):
            self._socket.sendto(data, self._to)

    def finish(self) -> None:
        """Each datagram has gone."""

    def close(self) -> None:
        """Let go."""
        self._socket.close()


class SerialPort:
    """A serial line."""

    def __init__(self, address: Address) -> None:
        self._port: Any = pyserial().Serial(
            address.path, address.baud, timeout=LOOK_S, write_timeout=PATIENCE_S
        )

    def read(self) -> bytes | None:
        """Wait a moment for bytes."""
        first = self._port.read(1)
        return bytes(first + self._port.read(min(self._port.in_waiting, CHUNK)) if first else b"")

    def write(self, data: bytes) -> None:
        """Hand over bytes, and wait until they are on the line."""
        self._port.write(data)
        self._port.flush()

    def finish(self) -> None:
        """Each sentence was waited for already."""

    def close(self) -> None:
        """Let go."""
        with contextlib.suppress(*FAULTS):
            self._port.close()


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


def reason(error: BaseException) -> str:
    """Say in a few words what the system refused."""
    text = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return " ".join(text.split()) or type(error).__name__


def _faults() -> tuple[type[BaseException], ...]:
    """Return what a link that goes away raises: pyserial's own errors are OSErrors."""
    try:
        from termios import error
    except ImportError:  # Windows has no termios.
        return (OSError, UnicodeError)
    # pyserial raises a TypeError where a port is closed under a waiting read.
    return (OSError, UnicodeError, TypeError, error)


FAULTS = _faults()


def open_in(address: Address) -> Port:
    """Open a link to listen to."""
    ways: dict[str, Callable[[Address], Port]] = {
        "tcp": TcpPort, "udp": UdpPort, "serial": SerialPort,
    }  # fmt: skip
    return ways[address.kind](address)


def open_out(address: Address) -> Port:
    """Open a link to send to."""
    ways: dict[str, Callable[[Address], Port]] = {
        "tcp": TcpPort, "udp": UdpOut, "serial": SerialPort,
    }  # fmt: skip
    return ways[address.kind](address)


# ---- once -----------------------------------------------------------------------------------


def check_pace(pace: float) -> None:
    """Refuse a pace that no wire is asked to keep.

    Raises
    ------
    InputError
        If it is not above 0, or over 1000 sentences a second.
    """
    if not 0.0 < pace <= 1000.0:
        raise InputError(f"the pace must be above 0 and at most 1000 sentences a second: {pace:g}")


def send(
    sentences: Sequence[str],
    address: Address,
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
    address : Address
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
        If it can't be opened, or goes away on the way; or pyserial (extra ``serial``)
        is missing.
    """
    check_pace(pace)
    if address.kind == "file":
        write_atomically(address.path, "".join(sentences), inputs=inputs)
        return
    rate = address.baud / BITS_PER_BYTE if address.kind == "serial" else None
    try:
        port = open_out(address)
    except FAULTS as error:
        raise InputError(f"can't open {address.words}: {reason(error)}") from None
    with contextlib.closing(port):
        transmit(
            sentences,
            port,
            words=address.words,
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
            left = begun + max(1.0 / pace, needed) - clock()
            if left > 0.0:
                sleep(left)
        port.finish()
    except FAULTS as error:
        raise InputError(
            f"{words} went away ({reason(error)}) after {handed_over} of {len(sentences)} "
            "sentences had been handed over; nothing is claimed sent, send all of them again"
        ) from None


# ---- links that come back ------------------------------------------------------------------


class _Link:
    """What has a thread, and tries again."""

    def __init__(self, address: Address, tell: Callable[[str], None]) -> None:
        self.address = address
        self._tell = tell
        self._told_down = False
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name=address.words, daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def end(self, within_s: float = 2.0) -> None:
        """Close the link, and wait until that is done."""
        self._ending.set()
        if self._thread.ident is not None:
            self._thread.join(within_s)

    def _run(self) -> None:
        wait_s = 1.0
        while not self._ending.is_set():
            begun = time.monotonic()
            self._once()
            # One that held for a while is tried again soon.
            wait_s = 1.0 if time.monotonic() - begun > LONGEST_WAIT_S else wait_s
            self._ending.wait(wait_s)
            wait_s = min(2.0 * wait_s, LONGEST_WAIT_S)

    def _once(self) -> None:
        try:
            port = self._open()
        except FAULTS as error:
            self._down(f"is not there ({reason(error)}); it is tried again and again")
            return
        try:
            self._serve(port)
        except FAULTS as error:
            self._down(f"dropped ({reason(error)}); it is tried again and again")
        finally:
            port.close()

    def _came(self) -> None:
        if self._told_down:
            self._tell(f"{self.address.words} is there.")
        self._told_down = False

    def _down(self, words: str) -> None:
        if not self._told_down and not self._ending.is_set():
            self._tell(f"{self.address.words} {words}.")
        self._told_down = True

    def _open(self) -> Port:
        raise NotImplementedError

    def _serve(self, port: Port) -> None:
        raise NotImplementedError


class Listener(_Link):
    """A link that bytes come in by.

    Parameters
    ----------
    address : Address
        TCP, UDP or serial.
    hear : callable
        Takes the bytes, on the link's thread.
    tell : callable
        Takes a line of plain words when the link goes or comes.
    """

    def __init__(
        self, address: Address, hear: Callable[[bytes], None], tell: Callable[[str], None]
    ) -> None:
        super().__init__(address, tell)
        self._hear = hear
        # A port of this machine is free or it is not: nobody waits for that.
        self._ready: Port | None = _bound(address) if address.kind == "udp" else None

    def _open(self) -> Port:
        port, self._ready = self._ready, None
        return port if port is not None else open_in(self.address)

    def _serve(self, port: Port) -> None:
        while not self._ending.is_set():
            data = port.read()
            if data is None:
                raise ConnectionError("closed by the other end")
            if data:
                # Not before: one that opens and shuts again is not there.
                self._came()
                self._hear(data)


def _bound(address: Address) -> Port:
    try:
        return UdpPort(address)
    except FAULTS as error:
        raise InputError(f"can't listen on {address.words}: {reason(error)}") from None


class Sender(_Link):
    """A link that sentences go out by: paced, steering data first, never a queue without end.

    A new route takes the place of what is still unsent of the one before; after a break
    it is sent again, whole.
    """

    def __init__(
        self, address: Address, tell: Callable[[str], None], *, pace: float = DEFAULT_PACE
    ) -> None:
        super().__init__(address, tell)
        self._gap_s = 1.0 / pace
        self._lock = threading.Condition()
        self._route: tuple[str, ...] = ()
        self._unsent: deque[str] = deque()
        self._steering: deque[str] = deque()
        self._held = self._missed = False
        self.sent = 0

    def route(self, sentences: Iterable[str]) -> bool:
        """Send a route, in place of the one before, or none; return whether there was one."""
        with self._lock:
            before, self._route = self._route, tuple(sentences)
            self._unsent = deque(self._route)
            self._missed = False
            self._lock.notify()
        return bool(before)

    def hold(self, held: bool) -> None:
        """While there is no advice, a route is not sent again after a break."""
        with self._lock:
            self._held = held
            if self._missed and not held:
                self._unsent, self._missed = deque(self._route), False
                self._lock.notify()

    def steer(self, sentences: Iterable[str]) -> None:
        """Send steering data; what was not sent of the second before is out of date."""
        with self._lock:
            self._steering = deque(sentences)
            self._lock.notify()

    def _open(self) -> Port:
        return open_out(self.address)

    def _serve(self, port: Port) -> None:
        self._came()
        with self._lock:
            self._missed = self._held
            self._unsent = deque(() if self._held else self._route)
        while (sentence := self._next(port)) is not None:
            begun = time.monotonic()
            port.write(sentence.encode("ascii"))
            self.sent += 1
            needed = len(sentence) * BITS_PER_BYTE / self.address.baud
            gap = max(self._gap_s, needed if self.address.kind == "serial" else 0.0)
            if not self._ending.is_set():
                time.sleep(max(gap - (time.monotonic() - begun), 0.0))

    def _next(self, port: Port) -> str | None:
        """Wait for a sentence; None at the end."""
        while True:
            with self._lock:
                if self._steering:
                    return self._steering.popleft()
                if self._ending.is_set():
                    return None
                if self._unsent:
                    return self._unsent.popleft()
                self._lock.wait(LOOK_S)
            if isinstance(port, TcpPort) and port.gone():
                raise ConnectionError("closed by the other end")


# ---- logs -----------------------------------------------------------------------------------


def read_log(path: Path | str) -> Iterator[bytes]:
    """Read a log piece by piece.

    Raises
    ------
    InputError
        If the disk refuses.
    """
    try:
        with Path(path).open("rb") as file:
            while data := file.read(65536):
                yield data
    except OSError as error:
        raise InputError(f"the log cannot be read: {reason(error)}", where=shown(path)) from None
