"""A page of strangers in the same browser: it changes nothing here, and reads nothing."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest

from goosewing.live.panel.server import serve
from panel_browser import script
from panel_counters import SmallCounter

SECRET = "Waiting for nobody"

ATTACK = script("attack")


class Page(BaseHTTPRequestHandler):
    """An empty page, at any name and any path."""

    def do_GET(self) -> None:
        body = b"<!doctype html><title>Weather</title><body>"
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: Any) -> None:
        pass


class Careless(Page):
    """A server that does what anybody says: the attack must work on it."""

    ordered: list[str]

    def do_GET(self) -> None:
        self._answer(json.dumps({"message": SECRET}).encode())
        if "/api/clear" in self.path:
            self.ordered.append(f"GET {self.path}")

    def do_POST(self) -> None:
        self.rfile.read(int(self.headers.get("Content-Length", 0)))
        self.ordered.append(f"POST {self.path} {self.headers.get('Content-Type')}")
        self._answer(b"{}")

    def do_OPTIONS(self) -> None:
        self._answer(b"")

    def _answer(self, body: bytes) -> None:
        self.send_response(200)
        self.send_header("Access-Control-Allow-Origin", self.headers.get("Origin", "*"))
        self.send_header("Access-Control-Allow-Headers", "Content-Type")
        self.send_header("Access-Control-Allow-Credentials", "true")
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)


def running(handler: type[BaseHTTPRequestHandler]) -> Iterator[str]:
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_address[1]}/"
    server.shutdown()
    server.server_close()
    thread.join(5)


@pytest.fixture(scope="module")
def stranger() -> Iterator[str]:
    yield from running(Page)


@pytest.fixture
def careless() -> Iterator[Any]:
    class Own(Careless):
        ordered: list[str] = []  # noqa: RUF012

    for url in running(Own):
        yield url, Own.ordered


@pytest.fixture
def counter() -> SmallCounter:
    counter = SmallCounter()
    counter.shown["message"] = SECRET
    return counter


def attacked(browser: Any, at: str, base: str) -> tuple[list[str], list[str]]:
    """Open a stranger's page in a browser that has the panel open too, and let it try."""
    context = browser.new_context()
    context.new_page().goto(base)
    page = context.new_page()
    page.goto(at)
    found = page.evaluate(ATTACK, base)
    context.close()
    return found["read"], found["tried"]


def test_the_attack_works_on_a_careless_server(browser, stranger, careless):
    base, ordered = careless
    read, tried = attacked(browser, stranger, base)
    assert any(SECRET in each for each in read)
    assert len(tried) > 20
    kinds = " ".join(ordered)
    for kind in ("application/json", "text/plain", "urlencoded", "multipart", "GET"):
        assert kind in kinds, kind


@pytest.mark.parametrize("name", ["127.0.0.1", "evil.example"])
def test_a_strangers_page_changes_nothing_and_reads_nothing(browser, stranger, counter, name):
    at = stranger.replace("127.0.0.1", name)
    with serve(counter, port=0) as server:
        read, tried = attacked(browser, at, server.url)
    assert len(tried) > 20
    assert read == []
    assert counter.ordered == []


def test_nor_does_it_with_the_cookie_of_a_crew_member(browser, stranger, counter):
    with serve(counter, port=0, token="a-token-of-the-skipper") as server:
        context = browser.new_context()
        page = context.new_page()
        page.goto(server.url)
        base = server.url.partition("?")[0]
        assert page.url == base
        assert page.evaluate("fetch('api/panel').then(a => a.status)") == 200
        assert page.evaluate("document.cookie") == ""
        other = context.new_page()
        other.goto(stranger)
        found = other.evaluate(ATTACK, base)
        assert found["read"] == []
        # Nor may it open the panel's window and look over its shoulder.
        opened = other.evaluate(
            "base => { const w = open(base); return w === null || w.closed }", base
        )
        other.wait_for_timeout(500)
        assert other.evaluate("1") == 1
        assert isinstance(opened, bool)
        context.close()
    assert counter.ordered == []


def test_a_name_that_was_pointed_here_reads_nothing(browser, counter):
    # The stranger's page has been loaded, then its name is made to mean this machine.
    with serve(counter, port=0) as server:
        page = browser.new_context().new_page()
        for path in ("", "api/panel", "index.html"):
            answer = page.goto(f"http://evil.example:{server.port}/{path}")
            assert answer.status == 403
            assert SECRET not in page.content()
        assert page.evaluate("fetch('/api/panel').then(a => a.status)") == 403
        kind = "{'Content-Type': 'application/json'}"
        sent = f"fetch('/api/clear', {{method: 'POST', headers: {kind}, body: '{{}}'}})"
        assert page.evaluate(f"{sent}.then(a => a.status)") == 403
        page.context.close()
    assert counter.ordered == []
