"""A real host for the plug's tests."""

from __future__ import annotations

import json
import os
import shlex
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from signalk_host import Host, HostUnavailableError, install, until

FAKE = Path(__file__).parent / "fake_engine.py"


@pytest.fixture(scope="session")
def host_files(request: pytest.FixtureRequest) -> Path:
    """The server's files. Without node or registry: skipped, or failed where they are required."""
    reporter = request.config.pluginmanager.get_plugin("terminalreporter")

    def tell(text: str) -> None:
        if reporter:
            reporter.write_line(f"\n{text}")

    try:
        return install(tell)
    except HostUnavailableError as why:
        if os.environ.get("GOOSEWING_REQUIRE_SIGNALK"):
            pytest.fail(f"no Signal K server: {why}")
        pytest.skip(f"no Signal K server: {why}")


class FakeEngine:
    """A room in which the stand-in engine is started, and what it was told there."""

    def __init__(self, room: Path) -> None:
        self.room = room
        self.python = room / "python"
        self.python.write_text(
            f"#!/bin/sh\nFAKE_ENGINE_ROOM={shlex.quote(str(room))}\nexport FAKE_ENGINE_ROOM\n"
            f"exec {shlex.quote(sys.executable)} -u {shlex.quote(str(FAKE))}\n"
        )
        self.python.chmod(0o755)
        self.order()

    def order(self, **orders: Any) -> None:
        """How it behaves from its next start on."""
        (self.room / "orders.json").write_text(json.dumps(orders))

    def say(self, *messages: dict[str, Any] | str) -> None:
        """Let it speak these at its next tick; the word DIE ends it."""
        lines = [m if isinstance(m, str) else json.dumps(m) for m in messages]
        draft = self.room / "draft"
        draft.write_text("\n".join(lines))
        until(lambda: not (self.room / "say.jsonl").exists())
        draft.rename(self.room / "say.jsonl")

    def heard(self, kind: str | None = None) -> list[dict[str, Any]]:
        path = self.room / "heard.jsonl"
        whole = path.read_text() if path.exists() else ""
        messages = [
            json.loads(line) for line in whole.splitlines(keepends=True) if line[-1] == "\n"
        ]
        return [m for m in messages if kind in (None, m["type"])]

    def configuration(self, **more: Any) -> dict[str, Any]:
        return {"python": str(self.python), "boat": "/boat.toml", "route": "asked", **more}


def running(host: Host) -> bool:
    status = host.status()
    return status["state"] != "stopped" and status["engine"]["state"] == "running"


@pytest.fixture(scope="session")
def shared_host(host_files: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Host]:
    host = Host(host_files, tmp_path_factory.mktemp("host")).start()
    yield host
    host.stop()


@pytest.fixture
def engine(tmp_path: Path) -> FakeEngine:
    return FakeEngine(tmp_path)


@pytest.fixture
def host(shared_host: Host, engine: FakeEngine) -> Iterator[Host]:
    """The shared host with the plug running on a stand-in engine, and put away again."""
    shared_host.configure(engine.configuration())
    until(lambda: engine.heard("hello") and running(shared_host), say=shared_host.status)
    yield shared_host
    shared_host.ask("DELETE", "/signalk/v2/api/vessels/self/navigation/course")
    shared_host.configure(engine.configuration(), enabled=False)
    until(lambda: shared_host.status()["state"] == "stopped", say=shared_host.status)
