"""The own panel server: the page in a browser on board, without any host.

It runs on a thread of its own and listens on this machine only, unless told another
interface; then everybody must bring a token.
"""

from __future__ import annotations

import asyncio
import errno
import mimetypes
import re
import socket
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

import goosewing
from goosewing.errors import InputError
from goosewing.live.panel.gate import Gate
from goosewing.live.panel.guard import Guard, bracketed, is_any, token_for

if TYPE_CHECKING:
    from goosewing.live.panel.counter import Counter
    from goosewing.live.panel.doors import Doors

META = re.compile(rb'(<meta\s+name="goosewing-api"\s+content=")[^"]*(")')
"""Where the page reads the address of the documents."""

KINDS = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".mjs": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".json": "application/json",
    ".webmanifest": "application/manifest+json",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".ico": "image/x-icon",
    ".woff2": "font/woff2",
}
"""Not left to the machine's own table, which may call a script plain text."""

START_S = 10.0

KEEPALIVE_S = 15.0
"""How long a connection may stay open between two requests: a page asks once a second."""

STOP_S = 5.0
SETTLE_S = 0.01


def serve(
    counter: Counter,
    *,
    host: str = "127.0.0.1",
    port: int,
    token: str | None = None,
    pages: Path | None = None,
) -> PanelServer:
    """Serve the panel until closed, on a thread of its own.

    Parameters
    ----------
    counter : Counter
        Asked for everything that is shown; from several threads.
    host : str
        The interface to listen on. Any other than this machine's own asks for a token.
    port : int
        Its port, 0 for any free one.
    token : str, optional
        At least 16 characters; made up where one is needed and none given.
    pages : Path, optional
        The folder of the page, if not the one that comes with the package.

    Returns
    -------
    PanelServer
        Running. Close it, or use it in a ``with`` statement.

    Raises
    ------
    InputError
        If the extra is missing, the page is not there, the port is taken or the
        interface is not this machine's.
    """
    try:
        from goosewing.live.panel.doors import Doors
    except ModuleNotFoundError as missing:
        if missing.name is None or missing.name.startswith("goosewing"):
            raise
        raise InputError(
            'the panel needs aiohttp: in Goosewing\'s folder, pip install ".[panel]"'
        ) from None
    page = Page(pages if pages is not None else page_folder())
    listening = _listen(host, port)
    guard = Guard(
        address=host, port=listening.getsockname()[1], token=_token(listening, host, token)
    )
    return PanelServer(guard, listening, Doors(counter, guard, page.read))


def _token(listening: socket.socket, host: str, token: str | None) -> str | None:
    try:
        return token_for(host, token)
    except InputError:
        listening.close()
        raise


def page_folder() -> Path:
    """Return where the page lies: in the installed package, or in the checkout.

    Raises
    ------
    InputError
        If it is in neither.
    """
    package = Path(goosewing.__file__).parent
    for folder in (package / "panel_pages", package.parent / "signalk" / "public"):
        if (folder / "index.html").is_file():
            return folder
    raise InputError("the panel's page is missing: install Goosewing again")


class Page:
    """The files of the page, by their paths: nothing but what lay in the folder at the start.

    Raises
    ------
    InputError
        If there is no page in the folder, or it does not say where it reads its documents.
    """

    def __init__(self, folder: Path) -> None:
        files = [path for path in folder.rglob("*") if path.is_file() and not path.is_symlink()]
        self._files = {path.relative_to(folder).as_posix(): path for path in files}
        index = self._files.get("index.html")
        if index is None:
            raise InputError("expected the panel's page, index.html", where=str(folder))
        if not META.search(index.read_bytes()):
            raise InputError('expected <meta name="goosewing-api" …>', where=str(index))

    def read(self, name: str) -> tuple[bytes, str]:
        """Return content and kind of a file; the page itself reads its documents here.

        Raises
        ------
        LookupError
            If the folder held no such file.
        """
        path = self._files[name or "index.html"]
        try:
            content = path.read_bytes()
        except OSError:
            raise LookupError(name) from None
        if path.suffix == ".html":
            content = META.sub(rb"\g<1>/api\g<2>", content)
        return content, _kind(path)


def _kind(path: Path) -> str:
    known = KINDS.get(path.suffix.lower())
    return known or mimetypes.guess_type(path.name)[0] or "application/octet-stream"


def _listen(host: str, port: int) -> socket.socket:
    """Take the port, or say in one line why not."""
    if not 0 <= port <= 65535:
        raise InputError(f"port: expected 0 to 65535, got {port}")
    try:
        family, kind, proto, _, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
    except (OSError, UnicodeError):
        raise InputError(f"no interface {host!r}: expected one of this machine's") from None
    listening = socket.socket(family, kind, proto)
    try:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(address)
        listening.listen(128)
    except OSError as error:
        listening.close()
        raise InputError(_why_not(error, host, port)) from None
    return listening


def _why_not(error: OSError, host: str, port: int) -> str:
    if error.errno == errno.EADDRINUSE:
        return f"port {port} is taken by another program: choose another"
    if error.errno == errno.EADDRNOTAVAIL:
        return f"no interface {host!r}: expected one of this machine's"
    return f"can't listen on {bracketed(host)}:{port}: {error.strerror}"


def outward() -> str | None:
    """Return this machine's number in its network, None if it is in none; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            # A number kept for documentation (RFC 5737): it asks which way packets would leave.
            asking.connect(("192.0.2.1", 9))
        except OSError:
            return None
        return str(asking.getsockname()[0])


class PanelServer:
    """A running server; made by `serve`."""

    def __init__(self, guard: Guard, listening: socket.socket, doors: Doors) -> None:
        self._guard = guard
        self._doors = doors
        self.gate = Gate()
        self._ready = threading.Event()
        self._stop: Callable[[], object] = lambda: None
        self._thread = threading.Thread(
            target=lambda: asyncio.run(self._serve(listening)), name="panel-server", daemon=True
        )
        self._thread.start()
        if not self._ready.wait(START_S):
            raise InputError(f"the panel did not start within {START_S:g} s")

    @property
    def port(self) -> int:
        """Return where it listens."""
        return self._guard.port

    @property
    def token(self) -> str | None:
        """Return what everybody must bring, None if nothing."""
        return self._guard.token

    @property
    def url(self) -> str:
        """Return what to open in the browser, with the token if one is asked for."""
        told = self._guard.address
        name = (outward() or self._guard.name) if is_any(told) else bracketed(told)
        return f"http://{name}:{self.port}/" + (f"?token={self.token}" if self.token else "")

    def close(self) -> None:
        """Stop at once; connections that are open are cut."""
        self._stop()
        self._thread.join(STOP_S)
        self._doors.close()

    def __enter__(self) -> PanelServer:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    async def _serve(self, listening: socket.socket) -> None:
        from aiohttp import web

        loop, end = asyncio.get_running_loop(), asyncio.Event()
        loop.set_exception_handler(self.gate.fault)
        self._stop = lambda: loop.is_closed() or loop.call_soon_threadsafe(end.set)
        runner = web.AppRunner(
            self._doors.application(), access_log=None, shutdown_timeout=0.2,
            keepalive_timeout=KEEPALIVE_S,
        )  # fmt: skip
        await runner.setup()
        assert runner.server is not None
        doors = self.gate.guarded(runner.server)
        server = await loop.create_server(doors, sock=listening)
        try:
            self._ready.set()
            await end.wait()
        finally:
            # A connection that is just being taken up must be taken up whole: a server that is
            # closed meanwhile would lose it, and nobody would ever close it.
            with suppress(NotImplementedError, ValueError):
                loop.remove_reader(listening)
            await asyncio.sleep(SETTLE_S)
            server.close()
            await runner.cleanup()
            self.gate.close()
            await asyncio.sleep(SETTLE_S)
