"""Half-sent requests by the hundred: the crew's page and the instruments' links live on."""

from __future__ import annotations

import contextlib
import json
import socket
import time
import urllib.request

import pytest

from goosewing.live.panel import gate
from goosewing.live.panel.server import serve
from panel_counters import SmallCounter
from signalk_host import until


@pytest.fixture
def server():
    with serve(SmallCounter(), port=0) as running:
        yield running


def ask(port: int) -> dict:
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/api/panel", timeout=30) as answer:
        return json.load(answer)


def half_sent(lines: contextlib.ExitStack, port: int, source: str, count: int) -> None:
    for _ in range(count):
        line = lines.enter_context(socket.socket())
        line.settimeout(5)
        line.bind((source, 0))
        with contextlib.suppress(OSError):
            line.connect(("127.0.0.1", port))
            line.sendall(b"GET /api/panel HTTP/1.1\r\nHost: ")


def test_three_hundred_half_sent_requests_take_no_more_than_their_share(server):
    with contextlib.ExitStack() as lines:
        half_sent(lines, server.port, "127.0.0.2", 300)
        until(lambda: server.gate.refused >= 300 - gate.MOST_FROM_ONE - 1)
        # Another address is served, and descriptors are left for the instruments.
        assert ask(server.port)["format"] == "goosewing.panel/1"
        for _ in range(gate.KEPT_FREE):
            lines.enter_context(socket.socket())
    assert server.gate.faults == 0


def test_from_many_addresses_there_is_a_limit_in_all(server):
    with contextlib.ExitStack() as lines:
        for last in range(2, 12):
            half_sent(lines, server.port, f"127.0.0.{last}", 12)
        until(lambda: server.gate.refused + server.gate._inside.total() >= 120)
        assert server.gate._inside.total() <= gate.most_in_all()
        assert server.gate.refused > 0


def test_a_request_that_does_not_come_is_cut_and_makes_room(server):
    server.gate.whole_within_s = 0.3
    with contextlib.ExitStack() as lines:
        half_sent(lines, server.port, "127.0.0.2", gate.MOST_FROM_ONE)
        until(lambda: server.gate.cut == gate.MOST_FROM_ONE)
        until(lambda: server.gate._inside.total() == 0)
    assert ask(server.port)["format"] == "goosewing.panel/1"


def test_a_page_that_asks_again_and_again_is_not_cut(server):
    server.gate.whole_within_s = 0.3
    with socket.create_connection(("127.0.0.1", server.port), timeout=30) as line:
        for _ in range(4):
            request = f"GET /api/panel HTTP/1.1\r\nHost: 127.0.0.1:{server.port}\r\n\r\n"
            line.sendall(request.encode())
            assert line.recv(65536).startswith(b"HTTP/1.1 200")
            time.sleep(0.25)
    assert server.gate.cut == 0


def test_faults_of_the_loop_are_counted_and_told_once_a_minute(caplog):
    door = gate.Gate()
    for _ in range(1000):
        door.fault(None, {"message": "socket.accept() out of system resource"})
    assert door.faults == 1000
    assert len(caplog.records) == 1
