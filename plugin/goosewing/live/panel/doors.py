"""The doors of the own panel server: the page, what it reads, and the crew's orders.

The counter's answers are passed on as they are. It is asked on threads, so that a long
answer, a hung one, or a client that reads slowly holds up nobody else.
"""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from aiohttp import web

from goosewing.errors import GoosewingError
from goosewing.live.panel import shore
from goosewing.live.panel.counter import Counter, Refusal
from goosewing.live.panel.guard import HEADERS, Guard, RefusedError

BASE = "/api"

LARGEST_BODY = 64 * 1024
"""Bytes of an order."""

BODY_S = 10.0
"""How long an order may take to arrive."""

ANSWER_S = 20.0
"""How long the counter may take."""

ORDERS = ("plan", "acknowledge", "undo", "carry", "answer", "clear")
"""What the crew may order here; there is no host with an active route to set."""

FILES = {"gpx": "goosewing-plan.gpx", "handheld": "goosewing-handheld.gpx"}
"""The name that an export is saved under."""

PageFile = tuple[bytes, str]
"""Content and its kind."""

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


class Doors:
    """Answers requests.

    Parameters
    ----------
    counter : Counter
        Knows everything that is told.
    guard : Guard
        Says who may ask.
    read_page : callable
        Returns content and kind of a file of the page, by its path below the root;
        raises LookupError if there is none.
    """

    def __init__(
        self, counter: Counter, guard: Guard, read_page: Callable[[str], PageFile]
    ) -> None:
        self._counter = counter
        self._guard = guard
        self._read_page = read_page
        # The once-a-second question never waits behind a coast or an export.
        self._quick = ThreadPoolExecutor(4, thread_name_prefix="panel")
        self._long = ThreadPoolExecutor(4, thread_name_prefix="panel-long")

    def application(self) -> web.Application:
        """Return the application to run."""
        app = web.Application(client_max_size=LARGEST_BODY, middlewares=[self._guarded])
        app.on_response_prepare.append(_add_headers)
        for name, read in (("panel", self._counter.panel), ("polar", self._counter.polar)):
            app.router.add_get(f"{BASE}/{name}", self._reading(read))
        app.router.add_get(f"{BASE}/plan", self._reading(self._counter.plan))
        app.router.add_get(f"{BASE}/routes", self._reading(self._counter.routes))
        app.router.add_get(f"{BASE}/coast", self._coast)
        app.router.add_get(f"{BASE}/export/{{format}}", self._export)
        app.router.add_post(f"{BASE}/{{order}}", self._order)
        app.router.add_get(f"{BASE}{{rest:(/.*)?}}", _no_such_door)
        app.router.add_get("/{name:.*}", self._page)
        return app

    def close(self) -> None:
        """Take no more questions."""
        for pool in (self._quick, self._long):
            pool.shutdown(wait=False, cancel_futures=True)

    # Who may ask ---------------------------------------------------------------------------

    @web.middleware
    async def _guarded(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        try:
            self._guard.check_host(request.headers.getall("Host", []))
            self._guard.check_origin(request.headers["Host"], request.headers)
            if self._brings_token_in_url(request):
                return self._exchange(request)
            self._guard.check_token(request.headers, request.cookies)
            return await handler(request)
        except (RefusedError, Refusal) as refusal:
            return failed(_status(refusal.code), str(refusal.message))
        except web.HTTPException as error:
            return failed(error.status, _words(request, error.status))

    def _brings_token_in_url(self, request: web.Request) -> bool:
        in_url = request.path == "/" and "token" in request.query
        return self._guard.token is not None and in_url

    def _exchange(self, request: web.Request) -> web.Response:
        """Give a cookie for the token, and have the address forget it."""
        if not self._guard.is_token(request.query["token"]):
            raise RefusedError(401, "that is not the token of this panel: see where it was started")
        answer = web.Response(status=303, headers={"Location": "/", "Cache-Control": "no-store"})
        answer.set_cookie(
            self._guard.cookie_name, self._guard.cookie_value, httponly=True, samesite="Strict"
        )
        return answer

    # What is read --------------------------------------------------------------------------

    async def _page(self, request: web.Request) -> web.Response:
        try:
            content, kind = self._read_page(request.match_info["name"])
        except LookupError:
            raise web.HTTPNotFound from None
        headers = {"Content-Type": kind, "Cache-Control": "no-cache"}
        return web.Response(body=content, headers=headers)

    def _reading(self, read: Callable[[], Any]) -> Handler:
        async def answer(_: web.Request) -> web.Response:
            return await self._told(self._quick, read)

        return answer

    async def _coast(self, request: web.Request) -> web.Response:
        asked = dict(request.query)
        return await self._told(self._long, lambda: self._counter.coast(*shore.bounds(asked)))

    async def _export(self, request: web.Request) -> web.Response:
        wanted = request.match_info["format"]
        if wanted not in FILES:
            raise RefusedError(404, f"there is no such format: take {' or '.join(FILES)}")
        content = await self._asked(self._long, lambda: self._counter.export(wanted).encode())
        headers = {
            "Content-Type": "application/gpx+xml; charset=utf-8",
            "Content-Disposition": f'attachment; filename="{FILES[wanted]}"',
        }
        return web.Response(body=content, headers=headers)

    # What is ordered -----------------------------------------------------------------------

    async def _order(self, request: web.Request) -> web.Response:
        name = request.match_info["order"]
        if name not in ORDERS:
            raise RefusedError(404, f"there is no such order: {', '.join(ORDERS)}")
        # Another page can't send this kind without this server's leave, which it never gives.
        if request.content_type != "application/json":
            raise RefusedError(415, "send the order as application/json, {} if it needs nothing")
        body = await _body(request)
        done = {"state": "COMPLETED", "statusCode": 200}
        return await self._told(self._long, lambda: {**done, **self._counter.order(name, body)})

    # Asking the counter --------------------------------------------------------------------

    async def _told(self, pool: ThreadPoolExecutor, ask: Callable[[], Any]) -> web.Response:
        """Answer with what the counter says, in JSON."""
        content = await self._asked(pool, lambda: json.dumps(ask(), allow_nan=False).encode())
        return web.Response(body=content, content_type="application/json")

    async def _asked(self, pool: ThreadPoolExecutor, ask: Callable[[], bytes]) -> bytes:
        try:
            async with asyncio.timeout(ANSWER_S):
                return await asyncio.get_running_loop().run_in_executor(pool, ask)
        except TimeoutError:
            raise RefusedError(504, f"the engine gave no answer for {ANSWER_S:g} s") from None
        except Refusal:
            raise
        except GoosewingError as error:
            raise RefusedError(400, str(error)) from None
        except Exception as error:
            # One fault must not end the watch, and its details are no business of a page.
            logging.getLogger(__name__).warning("panel: %s: %s", type(error).__name__, error)
            raise RefusedError(500, f"a fault in the engine ({type(error).__name__})") from None


async def _add_headers(request: web.Request, answer: web.StreamResponse) -> None:
    answer.headers.update(HEADERS)
    if request.path.startswith(f"{BASE}/"):
        answer.headers["Cache-Control"] = "no-store"


async def _no_such_door(_: web.Request) -> web.StreamResponse:
    raise web.HTTPNotFound


async def _body(request: web.Request) -> dict[str, Any]:
    """Read the order, small and soon."""
    try:
        async with asyncio.timeout(BODY_S):
            raw = await request.read()
    except TimeoutError:
        raise RefusedError(408, f"the order did not arrive within {BODY_S:g} s") from None
    try:
        body = json.loads(raw.decode() or "{}")
    except (ValueError, RecursionError):
        raise RefusedError(400, "the order is not readable as JSON") from None
    if not isinstance(body, dict):
        raise RefusedError(400, "the order must be a JSON object, {} if it needs nothing")
    return body


def failed(code: int, message: str) -> web.Response:
    """Return the answer to what can't be done: one line."""
    told = {"state": "FAILED", "statusCode": code, "message": " ".join(message.split())}
    headers = {"Cache-Control": "no-store"}
    return web.json_response(told, status=code, headers=headers)


def _status(code: Any) -> int:
    """Return a refusal's code as the status it is, 500 if it is none."""
    return code if isinstance(code, int) and 400 <= code <= 599 else 500


def _words(request: web.Request, status: int) -> str:
    if status == 404:
        return "there is nothing here"
    if status == 405:
        return f"not by {request.method}"
    if status == 413:
        return f"an order of more than {LARGEST_BODY // 1024} kB"
    return "not understood"
