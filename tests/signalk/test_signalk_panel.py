"""What the plugin tells a display: the engine's words while it speaks, nulls when it does not."""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from goosewing.live.panel.document import blank
from signalk_host import COURSE, DOORS, RESOURCES, Host, until

HERE = {"latitude": 57.0, "longitude": 11.0}
ROUTE = [(57.0, 11.0), (57.1, 11.1), (57.2, 11.0)]
PLAN = "11111111-1111-4111-8111-111111111111"
READING = ("panel", "polar", "coast", "routes", "can", "activated", "plan")
FIGURE = {"vmg_kn": 4.2}
SHOWN = {
    **blank("port tack", "advising", "2026-11-25T12:00:00.000Z"),
    "figures": FIGURE,
    "polar": {"number": 3},
    "events": [{"kind": "of the engine"}],
}
POLAR = {"type": "polar", "format": "goosewing.polar/1", "number": 3, "curves": []}


@pytest.fixture
def showing(host: Host, engine: Any) -> Host:
    """The engine speaks a panel every second, and a polar once."""
    engine.order(panel=SHOWN)
    engine.say("DIE")
    until(lambda: shown(host)["figures"] == FIGURE, say=host.status)
    engine.say(POLAR)
    until(lambda: host.get(f"{DOORS}/polar")[1], say=host.status)
    return host


def shown(host: Host) -> dict[str, Any]:
    code, answer = host.get(f"{DOORS}/panel")
    assert code == 200, answer
    return dict(answer)


def no_figure(document: dict[str, Any]) -> bool:
    groups = ("boat", "wind", "ages_s", "figures")
    values = [value for group in groups for value in document[group].values()]
    return set(values) == {None} and document["laylines"] == [] and not document["next"]


def test_the_engines_panel_is_passed_on(showing):
    document = shown(showing)
    own = {"message", "events", "plan", "polar", "activated", "can"}
    assert {k: v for k, v in document.items() if k not in own} == {
        k: v for k, v in SHOWN.items() if k not in own
    }
    assert document["message"] == "port tack"
    assert document["can"] == [
        "plan",
        "acknowledge",
        "undo",
        "carry",
        "answer",
        "activate",
        "clear",
        "export",
    ]
    assert document["can"] == showing.get(f"{DOORS}/can")[1]
    assert document["activated"] is document["plan"] is None


def test_events_are_the_last_eight_newest_first(showing, engine):
    event = {"type": "event", "kind": "on_layline", "state": "normal", "values": {"secret": 1}}
    engine.say(*({**event, "message": f"number {at}"} for at in range(10)))
    until(lambda: len(showing.status()["events"]) == 10)
    events = shown(showing)["events"]
    assert [e["message"] for e in events] == [f"number {at}" for at in range(9, 1, -1)]
    assert set(events[0]) == {"time", "kind", "state", "message"}


def test_numbers_change_with_what_they_number_and_never_come_again(showing, engine):
    route = showing.store_route("Beat", ROUTE)
    seen = []
    for _ in range(2):
        showing.order("plan", {"routeId": route})
        before = seen[-1:]
        until(lambda before=before: shown(showing)["plan"] not in [None, *before])
        seen.append(shown(showing)["plan"])
    assert shown(showing)["plan"] == seen[-1]
    polar = shown(showing)["polar"]
    assert polar == {"number": showing.get(f"{DOORS}/polar")[1]["number"]}
    engine.say("DIE")
    until(lambda: len(engine.heard("hello")) == 3, say=showing.status)
    until(lambda: shown(showing)["plan"] not in [None, *seen], say=showing.status)
    engine.say(POLAR)
    until(lambda: shown(showing)["polar"])
    assert shown(showing)["polar"]["number"] > polar["number"]
    showing.order("clear")
    until(lambda: shown(showing)["plan"] is None)


def test_a_polar_that_no_longer_holds_is_not_shown(showing, engine):
    engine.say({"type": "panel", **SHOWN, "polar": None})
    until(lambda: showing.get(f"{DOORS}/polar") == (200, None))


def test_an_engine_that_dies_leaves_no_figure(showing, engine):
    engine.order(mode="crash", panel=SHOWN)
    engine.say("DIE")
    until(lambda: shown(showing)["state"] == "failed", say=showing.status)
    document = shown(showing)
    # The helm is told what it means; why stands on the host's own page.
    assert document["message"].startswith("No advice: the engine has stopped")
    assert "broke" in showing.status()["engine"]["lastFault"]["reason"]
    assert no_figure(document)
    assert set(document) == {*SHOWN, "activated", "can"}
    assert document["polar"] is None
    assert showing.get(f"{DOORS}/polar") == (200, None)
    engine.order(panel=SHOWN)
    until(lambda: shown(showing)["figures"] == FIGURE, within_s=40, say=showing.status)


def test_a_silent_engine_leaves_no_figure(showing, engine):
    engine.order(mode="hang", panel=SHOWN)
    engine.say("DIE")
    until(lambda: len(engine.heard("hello")) == 3, say=showing.status)
    until(lambda: "silent for" in shown(showing)["message"], say=showing.status)
    document = shown(showing)
    assert document["state"] == "failed"
    assert no_figure(document)


def test_a_display_that_comes_first_is_told_to_wait(host):
    document = shown(host)
    assert (document["state"], document["time"]) == ("waiting", None)
    assert no_figure(document)
    assert document["cautions"]


def test_a_stopped_plug_says_so_at_every_door(host, engine):
    host.configure(engine.configuration(), enabled=False)
    until(lambda: host.get(f"{DOORS}/panel")[0] == 503)
    for door in READING:
        code, answer = host.get(f"{DOORS}/{door}")
        assert (code, answer["state"], answer["statusCode"]) == (503, "FAILED", 503), door


# ---- routes and the course ------------------------------------------------------------------


def test_routes_are_the_crews_own(host):
    for code in (found := host.get(f"{DOORS}/routes")[1]):
        host.ask("DELETE", f"{RESOURCES}/routes/{code['id']}")
    assert isinstance(found, list)
    beta, alpha = host.store_route("Beta", ROUTE), host.store_route("Alpha", ROUTE[:2])
    host.order("plan", {"routeId": beta})
    until(lambda: PLAN in host.resources("routes"))
    feature = {"type": "Feature", "geometry": {"type": "LineString", "coordinates": []}}
    host.ask("POST", f"{RESOURCES}/routes", {"name": "Empty", "feature": feature})
    assert host.get(f"{DOORS}/routes") == (
        200,
        [{"id": alpha, "name": "Alpha", "points": 2}, {"id": beta, "name": "Beta", "points": 3}],
    )


def test_what_the_crew_has_activated(host):
    host.feed({"navigation.position": HERE})
    route = host.store_route("Beat", ROUTE)
    assert host.get(f"{DOORS}/activated") == (200, None)
    host.ask("PUT", f"{COURSE}/activeRoute", {"href": f"/resources/routes/{route}"})
    stored = {"routeId": route, "name": "Beat", "plan": False}
    until(lambda: host.get(f"{DOORS}/activated") == (200, stored))
    host.order("plan", {"routeId": route})
    until(lambda: PLAN in host.resources("routes"))
    _, answer = host.order("activate")
    copy = {"routeId": answer["routeId"], "name": "Plan of Beat, as activated", "plan": True}
    assert shown(host)["activated"] == copy
    host.ask("DELETE", COURSE)
    until(lambda: shown(host)["activated"] is None)


# ---- the coast ----------------------------------------------------------------------------


def test_the_coast_is_asked_of_the_engine(host, engine):
    code, answer = host.get(f"{DOORS}/coast?south=56&west=11&north=57&east=12.5&sneaked=1")
    assert code == 200
    (asked,) = engine.heard("coast")
    assert {k: v for k, v in asked.items() if k != "id"} == {
        "type": "coast", "south": "56", "west": "11", "north": "57", "east": "12.5",
    }  # fmt: skip
    assert answer["of"] == asked


def test_a_box_the_engine_refuses(host):
    code, answer = host.get(f"{DOORS}/coast?south=56&west=11&north=&east=12")
    assert (code, answer["message"]) == (400, "coast: south must be less")


def test_an_engine_that_dies_over_a_coast(host, engine):
    code, answer = host.get(f"{DOORS}/coast?south=die&west=11&north=57&east=12")
    assert (code, answer["message"]) == (503, "the engine ended")
    engine.order(mode="crash")
    engine.say("DIE") if host.status()["engine"]["state"] == "running" else None
    until(lambda: shown(host)["state"] == "failed", say=host.status)
    code, answer = host.get(f"{DOORS}/coast?south=56&west=11&north=57&east=12")
    assert code == 503


# ---- many displays ---------------------------------------------------------------------------


def test_five_displays_poll_and_the_engine_hears_none_of_it(showing, engine):
    stop = threading.Event()

    def poll(_: int) -> list[str]:
        states = []
        while not stop.is_set():
            states.append(shown(showing)["state"])
            assert showing.get(f"{DOORS}/polar")[0] == 200
            time.sleep(0.1)
        return states

    begun, heard = time.monotonic(), len(engine.heard())
    with ThreadPoolExecutor(5) as pool:
        displays = [pool.submit(poll, at) for at in range(5)]
        time.sleep(4.0)
        stop.set()
        seen = [display.result(20.0) for display in displays]
    assert all(set(states) == {"advising"} and len(states) > 5 for states in seen)
    # A tick a second, and nothing else.
    assert {m["type"] for m in engine.heard()[heard:]} <= {"tick", "observe"}
    ticks = len([m for m in engine.heard()[heard:] if m["type"] == "tick"])
    assert ticks <= time.monotonic() - begun + 2


def test_the_page_is_served_and_finds_its_doors(shared_host):
    code, page = shared_host.get("/goosewing-signalk/")
    assert code == 200
    assert '<meta name="goosewing-api" content="/signalk/v1/api/goosewing">' in page
