"""A browser, and servers for it to look at."""

from __future__ import annotations

import copy
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NoReturn

import pytest

from goosewing.live.panel.server import PanelServer, serve
from panel_browser import Watch, axe_source, chromium
from panel_counters import ShowCounter
from panel_voyage import Voyage, log
from signalk_host import HostUnavailableError, install


def _without(what: str) -> NoReturn:
    if os.environ.get("GOOSEWING_REQUIRE_CHROMIUM"):
        pytest.fail(what)
    pytest.skip(what)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """The machine's Chromium; without one skipped, or failed where it is required."""
    program = chromium()
    if program is None:
        _without("no Chromium on this machine: apt-get install chromium brings one")
    from playwright.sync_api import sync_playwright

    from panel_browser import FLAGS

    # Not for the whole session: while it runs, no other test of this thread can run a loop.
    with sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=program, args=FLAGS)
        yield running
        running.close()


@pytest.fixture(scope="session")
def axe() -> str:
    try:
        return axe_source()
    except HostUnavailableError as why:
        _without(f"no axe-core: {why}")


@pytest.fixture
def opened(browser: Any) -> Iterator[Callable[..., Any]]:
    """Open an address at a size: a page that asks only its own server and makes no errors."""
    contexts = []

    def open_at(
        url: str, size: tuple[int, int] = (1280, 800), own: str | None = None, **how: Any
    ) -> Any:
        width, height = size
        how.setdefault("reduced_motion", "reduce")  # what is measured stands still
        context = browser.new_context(viewport={"width": width, "height": height}, **how)
        context.set_default_timeout(30000)
        watch = Watch(context)
        contexts.append((context, watch, own or url))
        page = context.new_page()
        page.goto(url)
        return page

    yield open_at
    for context, watch, url in contexts:
        context.close()
        assert watch.strangers(url) == []
        assert watch.said == []
        assert watch.dialogs == []


@pytest.fixture(scope="session")
def moments() -> dict[str, dict[str, Any]]:
    """What a display is told at several moments of the sample afternoon."""
    voyage, lines = Voyage(), log()

    def now() -> dict[str, Any]:
        counter = voyage.counter
        found = {"panel": counter.panel(), "polar": counter.polar(), "plan": counter.plan()}
        return copy.deepcopy(found)

    voyage.sail(lines[:20])
    found = {"waiting": now()}
    voyage.sail(lines[20:90])
    found["advising"] = now()
    rest = iter(lines[90:])
    while not (voyage.counter.panel()["next"] or {}).get("awaiting"):
        voyage.sail([next(rest)])
    found["due"] = now()
    assert found["due"]["panel"]["next"]["awaiting"]
    voyage.silent = True
    for _ in range(40):
        voyage.later()
    found["stale"] = now()
    voyage.counter.error("the boat file can't be read")
    found["failed"] = now()
    states = [moment["panel"]["state"] for moment in found.values()]
    assert states == ["waiting", "advising", "advising", "stale", "failed"]
    return found


@pytest.fixture
def show(moments: dict[str, dict[str, Any]]) -> ShowCounter:
    return ShowCounter(moments)


@pytest.fixture
def shown(show: ShowCounter) -> Iterator[PanelServer]:
    """The own server with the real page, on documents that stand still but for their time."""
    with serve(show, port=0) as server:
        yield server
    show.held.set()


@pytest.fixture(scope="session")
def host_files(request: pytest.FixtureRequest) -> Path:
    reporter = request.config.pluginmanager.get_plugin("terminalreporter")
    try:
        return install(lambda text: reporter.write_line(f"\n{text}") if reporter else None)
    except HostUnavailableError as why:
        if os.environ.get("GOOSEWING_REQUIRE_SIGNALK"):
            pytest.fail(f"no Signal K server: {why}")
        pytest.skip(f"no Signal K server: {why}")
