"""The panel's link: lost and found, many at once, and to its own server only."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import pytest

from goosewing.live.panel.server import serve
from panel_browser import PHONE, WIDE, impacts, keep, script
from panel_counters import ShowCounter
from panel_voyage import Voyage, log, stored

LINK = "html[data-link='{}']"


def link(page: Any, state: str, *, within_s: float) -> float:
    """Wait for the page to say how its link is; return how long it took. [s]."""
    begun = time.monotonic()
    page.wait_for_selector(LINK.format(state), timeout=within_s * 1000)
    return time.monotonic() - begun


def figures(page: Any) -> str:
    return str(page.inner_text("#figures"))


def looks(page: Any) -> dict[str, str]:
    """How each room with figures that age is drawn: frame, ground and ink."""
    return dict(page.evaluate(script("looks")))


def test_a_lost_server_is_told_and_comes_back_by_itself(opened, show, axe):
    with serve(show, port=0) as server:
        page = opened(server.url, PHONE)
        link(page, "good", within_s=30)
        page.wait_for_selector("#boards tbody tr.board")
        assert not page.is_visible("#lost")
        fresh, before, port = looks(page), figures(page), server.port
    assert link(page, "lost", within_s=3) < 3
    assert page.is_visible("#lost")
    box = page.locator("#lost").bounding_box()
    assert box["y"] >= 0
    assert box["y"] + box["height"] <= PHONE[1]
    assert "Link lost" in page.inner_text("#lost")
    assert "old" in page.inner_text("#next-title")
    # What stands there from before is shown as old, all of it.
    assert figures(page) == before
    aged = looks(page)
    assert len(fresh) >= 5
    assert aged.keys() == fresh.keys()
    for room, look in aged.items():
        assert look != fresh[room], room
        assert look.startswith("dashed"), room
    keep(page, "phone-day-lost")
    assert impacts(page, axe) == []
    first = page.inner_text("#lost-age")
    page.wait_for_timeout(1200)
    assert page.inner_text("#lost-age") != first
    rows = show.moment["panel"]["shown"]["rows"]
    next(row for row in rows if row["key"] == "wind")["value"] = "123° T 22.2 kn"
    with serve(show, port=port):
        link(page, "good", within_s=30)
        page.wait_for_selector("#figure-wind:has-text('123° T 22.2 kn')")
        assert not page.is_visible("#lost")
        assert "old" not in page.inner_text("#next-title")
        assert looks(page) == fresh


def test_a_server_that_hangs_is_as_lost_as_one_that_is_gone(opened, shown, show):
    page = opened(shown.url, WIDE)
    link(page, "good", within_s=30)
    show.held.clear()
    assert link(page, "lost", within_s=3.5) < 3.5
    show.held.set()
    link(page, "good", within_s=30)


def test_a_server_in_trouble_is_told_in_its_words(opened, shown, show):
    page = opened(shown.url, PHONE)
    link(page, "good", within_s=30)
    show.fault = ZeroDivisionError("inside")
    link(page, "lost", within_s=3)
    assert "a fault in the engine (ZeroDivisionError)" in page.inner_text("#lost")
    show.fault = None
    link(page, "good", within_s=30)


def test_a_picture_that_stands_still_is_not_passed_off_as_live(opened, shown, show):
    page = opened(shown.url, PHONE)
    link(page, "good", within_s=30)
    show.still = True
    link(page, "lost", within_s=8)
    assert "stands still" in page.inner_text("#lost")


def test_an_engine_without_advice_is_told_as_such(opened, shown, show, moments):
    page = opened(shown.url, PHONE)
    page.wait_for_selector("#next[data-due='ahead']")
    show.turn("stale")
    page.wait_for_selector("html[data-state='stale']")
    assert page.is_visible("#stale")
    assert page.get_attribute("#next", "data-due") == "none"
    heading = moments["advising"]["panel"]["next"]["heading_deg"]
    assert f"{round(heading):03d}" not in page.inner_text("#next")


# ---- nobody else ------------------------------------------------------------------------------


def test_nothing_is_asked_of_anybody_else(browser, shown):
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    elsewhere: list[str] = []

    def gate(route: Any) -> None:
        url = route.request.url
        if url.startswith((shown.url, "data:")):
            route.continue_()
        else:
            elsewhere.append(url)
            route.abort()

    context.route("**/*", gate)
    page = context.new_page()
    page.goto(shown.url)
    page.wait_for_selector("#boards tbody tr.board")
    page.wait_for_selector("#polar svg")
    page.click("#see-boat")
    page.click("#chart .leaflet-control-zoom-in")
    page.click("#eyes")
    page.wait_for_selector("#plan-route:enabled")
    page.click("#plan-route")
    page.wait_for_timeout(1500)
    assert elsewhere == []
    context.close()


# ---- several at once -------------------------------------------------------------------------


class Counting(ShowCounter):
    """One that leaves its answers to a voyage, and counts."""

    def __init__(self, moments: Any, voyage: Voyage) -> None:
        super().__init__(moments)
        self.voyage = voyage

    def panel(self) -> dict[str, Any]:
        self.asked.append("panel")
        return self.voyage.counter.panel()

    def polar(self) -> dict[str, Any] | None:
        self.asked.append("polar")
        return self.voyage.counter.polar()

    def plan(self) -> dict[str, Any] | None:
        self.asked.append("plan")
        return self.voyage.counter.plan()


TABS, WATCHED_S = 5, 20


@pytest.fixture(scope="module")
def tabs(browser: Any, moments: Any) -> Iterator[tuple[list[Any], Counting, float]]:
    """Five tabs, watched while the other tests of this file go on."""
    lines = log()
    voyage = Voyage((stored("Afternoon", lines[19]["points"], "a"),))
    voyage.sail(lines[:60])
    counter = Counting(moments, voyage)
    with serve(counter, port=0) as server:
        voyage.begin()
        # In one context: a browser gives all its tabs together six lines to one server.
        context = browser.new_context(viewport={"width": 1280, "height": 800})
        pages = [context.new_page() for _ in range(TABS)]
        for page in pages:
            page.goto(server.url)
        for page in pages:
            link(page, "good", within_s=30)
            page.evaluate(script("watch"))
        counter.asked.clear()
        yield pages, counter, time.monotonic()
        context.close()
        voyage.end()


@pytest.fixture(autouse=True)
def watched_meanwhile(tabs: Any) -> None:
    """Open the tabs before the first test."""


def test_five_tabs_are_all_live_and_ask_little(tabs):
    pages, counter, begun = tabs
    pages[0].wait_for_timeout(max(0.0, WATCHED_S - (time.monotonic() - begun)) * 1000)
    for page in pages:
        assert page.evaluate("[...links]") == ["good"]
        assert page.evaluate("seen.size") >= 0.8 * WATCHED_S
    asked, lasted = list(counter.asked), time.monotonic() - begun
    assert 0.7 * TABS * lasted <= asked.count("panel") <= 1.2 * TABS * (lasted + 1)
    # The plan does not change: it is not fetched again.
    assert asked.count("plan") == 0
    assert asked.count("polar") <= TABS * (lasted + 1)
