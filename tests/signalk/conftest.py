"""A real host for the plugin's tests."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from signalk_host import FakeEngine, Host, HostUnavailableError, install, running, until


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
    """The shared host with the plugin running on a stand-in engine, and put away again."""
    shared_host.configure(engine.configuration())
    until(lambda: engine.heard("hello") and running(shared_host), say=shared_host.status)
    yield shared_host
    shared_host.ask("DELETE", "/signalk/v2/api/vessels/self/navigation/course")
    shared_host.put_away()
