"""The process itself: greeting, garbage, a slow engine, too much data, the end of input."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import threading
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from conftest import SAMPLES
from goosewing.live import planner
from goosewing.live.host import service
from goosewing.live.host.session import Session
from goosewing.live.planner import attempt
from service_day import observe, seconds, stamp

HELLO = {"type": "hello", "version": 1, "boat": str(SAMPLES / "brisvik" / "boat.toml")}
START, END = {"lat": 56.5, "lon": 12.0, "name": "A"}, {"lat": 56.55, "lon": 11.92, "name": "B"}
PLAN = {"type": "plan", "id": "r", "name": "R", "points": [START, END]}


class Process:
    """The service as a host starts it."""

    def __init__(self, *arguments: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "goosewing.live", *arguments],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )  # fmt: skip
        self.received: list[dict] = []
        self.changed = threading.Condition()
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()

    def _read(self) -> None:
        for line in self.process.stdout:
            with self.changed:
                self.received.append(json.loads(line))
                self.changed.notify_all()

    def send(self, *messages) -> None:
        for message in messages:
            raw = message if isinstance(message, bytes) else json.dumps(message).encode()
            self.process.stdin.write(raw + b"\n")
        self.process.stdin.flush()

    def wait_for(self, what, timeout: float = 30.0) -> dict:
        end = time.monotonic() + timeout
        with self.changed:
            while True:
                for message in self.received:
                    if what(message):
                        return message
                left = end - time.monotonic()
                assert left > 0.0, self.received[-5:]
                self.changed.wait(left)

    def close(self) -> int:
        self.process.stdin.close()
        code = self.process.wait(10.0)
        self.reader.join(5.0)
        self.process.stdout.close()
        self.process.stderr.close()
        return code


@pytest.fixture
def process():
    started = Process()
    yield started
    if started.process.poll() is None:
        started.process.kill()
        started.close()


def test_hello_plan_observe_and_the_end_of_input(process):
    process.send(HELLO)
    hello = process.wait_for(lambda m: m["type"] == "hello")
    assert hello["name"] == "goosewing"
    process.send(*seconds(0, 10), PLAN, *seconds(10, 20))
    plan = process.wait_for(lambda m: m["type"] == "publish" and m["plan"])["plan"]
    assert plan["legs"][0]["to"] == "B"
    process.send(*seconds(20, 30))
    status = process.wait_for(lambda m: m["type"] == "status" and m["state"] == "advising")
    assert status["engine_ms"] > 0.0
    begun = time.monotonic()
    assert process.close() == 0
    assert time.monotonic() - begun < 3.0


def test_bye_ends_it(process):
    process.send(HELLO, {"type": "bye"})
    assert process.process.wait(20.0) == 0
    process.close()


def test_a_wrong_greeting_is_fatal(process):
    process.send({**HELLO, "boat": "/nowhere/boat.toml"})
    error = process.wait_for(lambda m: m["type"] == "error")
    assert error["fatal"] is True
    assert "\n" not in error["message"]
    assert process.process.wait(20.0) == 2
    process.close()


def test_garbage_kills_nothing(process):
    process.send(
        b"\xff\xfe not utf-8", b"{", b"[1, 2]", b"null", b"", b"[" * 5000, b'{"type": "tick"}',
        HELLO, b'{"type": "observe", "time": "2027-06-12T12:00:00Z", "values": [1]}',
        b'{"type": "observe", "time": "2027-06-12T12:00:00Z", "values": [{"path": 1}]}',
        {"type": "tick", "time": None}, {"type": "plan"}, {"type": ["x"]},
        b'{"type": "tick", "time": "2027-06-12T12:00:00Z", "x": NaN}',
        *seconds(0, 5), PLAN, *seconds(5, 15),
    )  # fmt: skip
    process.wait_for(lambda m: m["type"] == "publish" and m["plan"])
    errors = [m for m in process.received if m["type"] == "error"]
    assert len(errors) >= 10
    assert not any(m["fatal"] for m in errors)
    assert process.close() == 0


class Pipe(io.StringIO):
    """Lines that come as fast as they are read, and then a pause."""

    def __init__(self, messages, *, until: threading.Event) -> None:
        super().__init__()
        self._messages, self._until = messages, until

    def __iter__(self):
        for message in self._messages:
            yield json.dumps(message) + "\n"
        self._until.wait(20.0)


def test_a_slow_plan_blocks_no_observation():
    let_go, done, out = threading.Event(), threading.Event(), io.StringIO()
    seen: list[str] = []

    def slow(order, desk):
        seen.append(out.getvalue())
        let_go.wait(20.0)
        return attempt(order, desk)

    def messages():
        yield from (HELLO, *seconds(0, 5), PLAN, *seconds(5, 8))
        end = time.monotonic() + 10.0
        while not seen and time.monotonic() < end:
            time.sleep(0.01)
        for part in seconds(8, 60):
            yield part
            time.sleep(0.002)
        before = out.getvalue().count('"Planning."')
        seen.append(str(before))
        let_go.set()
        while '"replanned"' not in out.getvalue() and time.monotonic() < end:
            time.sleep(0.01)
        done.set()

    assert service.run(Pipe(messages(), until=done), out, make=slow) == 0
    # While the planner was at it, the status went on being told.
    assert int(seen[1]) >= 5
    assert '"replanned"' in out.getvalue()


def test_too_much_data_is_thinned_and_nothing_queues_without_end():
    inbox = service.Inbox()
    inbox.put({"type": "plan", "id": "kept"})
    for second in range(5000):
        inbox.put(observe(second / 100.0))
        inbox.put({"type": "tick", "time": stamp(second / 100.0)})
    inbox.end()
    left = []
    while (message := inbox.take()) is not None:
        left.append(message)
    assert len(left) <= service.MOST_WAITING + 1
    assert inbox.dropped > 9000
    assert left[0] == {"type": "plan", "id": "kept"}
    newest = [m for m in left if m["type"] == "observe"][-1]
    assert newest["time"] == stamp(49.99)


@given(st.lists(st.tuples(st.sampled_from("ab"), st.sampled_from("pqr"), st.integers(0, 99))))
def test_thinning_keeps_the_newest_of_every_path(values):
    messages = [
        {"type": "observe", "time": str(at), "source": s, "values": [{"path": p, "value": v}]}
        for at, (s, p, v) in enumerate(values)
    ]
    thinned = service.latest(messages)
    wanted = {(s, p): v for s, p, v in values}
    found = {(m["source"], e["path"]): e["value"] for m in thinned for e in m["values"]}
    assert found == wanted
    assert len(thinned) == len(wanted)


def test_a_fault_in_the_planner_is_told_and_the_watch_goes_on(monkeypatch):
    def broken(*_):
        raise ZeroDivisionError("by accident")

    monkeypatch.setattr(planner, "made", broken)
    talk = Session()
    talk.in_turn(HELLO)
    sent = []
    for message in (*seconds(0, 3), PLAN, *seconds(3, 10)):
        sent += talk.in_turn(message)
    assert [m for m in sent if m["type"] == "status"][-1]["state"] == "failed"


def replay(text: str) -> str:
    out = io.StringIO()
    assert service.run(io.StringIO(text), out, in_turn=True) == 0
    return out.getvalue()


def test_a_log_replays_to_the_same_letter():
    log = "".join(json.dumps(m) + "\n" for m in (HELLO, *seconds(0, 5), PLAN, *seconds(5, 60)))
    first = replay(log)
    assert '"replanned"' in first
    assert first == replay(log)


def test_a_log_replays_the_same_however_it_was_cut_on_the_way():
    log = "".join(json.dumps(m) + "\n" for m in (HELLO, *seconds(0, 5), PLAN, *seconds(5, 30)))
    raw = log.encode()
    outputs = []
    for size in (7, 4096):
        process = subprocess.Popen(
            [sys.executable, "-m", "goosewing.live", "--in-turn"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip
        for at in range(0, len(raw), size):
            process.stdin.write(raw[at : at + size])
            process.stdin.flush()
        process.stdin.close()
        outputs.append(process.stdout.read())
        process.stdout.close()
        assert process.wait(20.0) == 0
    assert outputs[0] == outputs[1]
    assert b'"replanned"' in outputs[0]
