"""What goes wrong aboard, tried in a real host: it is said, no advice is given, all recovers."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from signalk_host import COURSE, RESOURCES, FakeEngine, Host, gone, running, until

HERE = {"latitude": 57.0, "longitude": 11.0}
ROUTE = [(57.0, 11.0), (57.1, 11.1), (57.2, 11.0)]
PLAN = "11111111-1111-4111-8111-111111111111"
TARGET = "performance.targetAngle"


@pytest.fixture
def bare(shared_host: Host) -> Iterator[Host]:
    """The shared host, the plugin put away after the test whatever state it was in."""
    yield shared_host
    shared_host.put_away()


def planned(host: Host) -> str:
    route = host.store_route("Beat", ROUTE)
    code, answer = host.order("plan", {"routeId": route})
    assert code == 200, answer
    until(lambda: PLAN in host.resources("routes"), say=host.status)
    return route


def pid_of(host: Host) -> int:
    return int(host.status()["engine"]["pid"])


def last_fault(host: Host) -> str:
    return str((host.status()["engine"]["lastFault"] or {}).get("reason"))


def memory_mb(host: Host) -> float:
    assert host.process is not None
    pages = Path(f"/proc/{host.process.pid}/statm").read_text().split()[1]
    return int(pages) * os.sysconf("SC_PAGE_SIZE") / 1e6


def test_no_boat_file_named(bare):
    bare.configure({})
    until(lambda: "name a boat file" in bare.panel(), say=bare.panel)
    assert bare.status()["state"] == "stopped"
    assert bare.order("plan", {"routeId": "x"})[0] == 503


def test_python_missing_and_then_there(bare, engine):
    elsewhere = engine.python.with_name("absent")
    bare.configure({**engine.configuration(), "python": str(elsewhere)})
    until(lambda: "there is no such program" in bare.panel(), say=bare.panel)
    assert bare.status()["state"] == "failed"
    assert bare.order("acknowledge", {"point": "T1"})[0] == 503
    elsewhere.symlink_to(engine.python)
    until(lambda: running(bare), say=bare.status)
    until(lambda: bare.panel() == "port tack", say=bare.panel)


def test_python_that_can_not_be_run(bare, engine):
    engine.python.chmod(0o644)
    bare.configure(engine.configuration())
    until(lambda: "can't start" in bare.panel(), say=bare.panel)


def test_goosewing_not_installed_in_that_python(bare, engine):
    engine.python.write_text(
        '#!/bin/sh\necho "/usr/bin/python3: No module named goosewing" >&2\nexit 1\n'
    )
    bare.configure(engine.configuration())
    until(lambda: "No module named goosewing" in bare.panel(), say=bare.panel)
    assert "ended with code 1" in bare.status()["message"]


def test_boat_file_refused_and_then_mended(bare, engine):
    engine.order(refuse="/boat.toml: no sail set, wanted at least one [[sail_sets]]")
    bare.configure(engine.configuration())
    until(lambda: "no sail set" in bare.panel(), say=bare.panel)
    engine.order()
    until(lambda: running(bare), say=bare.status)


def test_an_engine_that_dies_at_once_is_not_started_in_a_frenzy(bare, engine):
    engine.order(mode="crash")
    bare.configure(engine.configuration())
    until(
        lambda: bare.status()["state"] == "failed" and bare.status()["engine"]["restarts"],
        say=bare.status,
    )
    before, begun = bare.status()["engine"]["restarts"], time.monotonic()
    time.sleep(3)
    # After 0.25, 0.5, 1 and 2 s: no more than three in any three seconds, but it goes on.
    assert bare.status()["engine"]["restarts"] - before <= time.monotonic() - begun + 0.5
    until(lambda: bare.status()["engine"]["restarts"] > before, say=bare.status)
    assert "it broke at once" in bare.panel()


def test_killed_engine_withdraws_advice_and_comes_back_with_the_plan(host, engine):
    route = planned(host)
    until(lambda: host.value(TARGET) == 0.75)
    first = host.resources("routes")
    engine.say(
        {
            "type": "event",
            "kind": "approach",
            "state": "alert",
            "message": "T1 in 2 min",
            "values": {},
        }
    )
    until(lambda: isinstance(host.value("notifications.navigation.goosewing.approach"), dict))
    # So that the time in between is long enough to be seen.
    engine.python.rename(engine.python.with_name("aside"))
    os.kill(pid_of(host), signal.SIGKILL)
    until(lambda: host.value(TARGET) is None, say=host.status)
    assert host.value("notifications.navigation.goosewing.approach")["state"] == "normal"
    until(lambda: "can't start" in host.panel(), say=host.panel)
    engine.python.with_name("aside").rename(engine.python)
    until(lambda: len(engine.heard("plan")) == 2, say=host.status)
    assert engine.heard("plan")[1] == engine.heard("plan")[0]
    until(lambda: host.value(TARGET) == 0.75)
    assert host.resources("routes").keys() == first.keys()
    assert host.status()["route"]["id"] == route
    until(lambda: host.status()["state"] == "advising", say=host.status)


def test_hung_engine_is_replaced(bare, engine):
    bare.configure(engine.configuration(patience_s=6))
    until(lambda: running(bare), say=bare.status)
    planned(bare)
    engine.order(mode="hang")
    engine.say("DIE")
    until(lambda: len(engine.heard("hello")) == 2, say=bare.status)
    hung = until(lambda: bare.status()["engine"]["pid"], say=bare.status)
    engine.order()
    until(lambda: "gave no answer for 6 s" in last_fault(bare), within_s=12, say=bare.status)
    until(lambda: gone(hung))
    until(
        lambda: len(engine.heard("plan")) == 3 and bare.status()["state"] == "advising",
        say=bare.status,
    )


def test_engine_that_will_not_stop_is_ended(bare, engine):
    engine.order(mode="hang", ignores_term=True)
    bare.configure(engine.configuration())
    until(lambda: engine.heard("tick"), say=bare.status)
    pid = pid_of(bare)
    bare.configure(engine.configuration(), enabled=False)
    until(lambda: gone(pid))


def test_two_saves_at_once_leave_one_engine(host, engine):
    started = [pid_of(host)]
    for _ in range(3):
        host.configure(engine.configuration())
    until(lambda: len(engine.heard("hello")) >= 3 and running(host), say=host.status)
    time.sleep(1.0)
    # The engine in service is the only one that hears the time.
    until(lambda: all(map(gone, started)))
    before, begun = len(engine.heard("tick")), time.monotonic()
    time.sleep(3.0)
    until(lambda: len(engine.heard("tick")) - before >= 2, say=host.status)
    assert len(engine.heard("tick")) - before <= time.monotonic() - begun + 1.5


def test_plan_of_an_engine_that_stays_away_is_taken_down(host, engine):
    planned(host)
    engine.python.unlink()
    os.kill(pid_of(host), signal.SIGKILL)
    until(lambda: host.value(TARGET) is None)
    assert PLAN in host.resources("routes")
    until(lambda: PLAN not in host.resources("routes"), within_s=15, say=host.status)
    assert host.resources("laylines") == {}


def test_flood_on_stderr_disturbs_nobody(host, engine):
    engine.order(mode="flood")  # 45 MB at each tick
    engine.say("DIE")
    until(lambda: len(engine.heard("hello")) == 2, say=host.status)
    before = memory_mb(host)
    seen = len(engine.heard("tick"))
    until(lambda: len(engine.heard("tick")) >= seen + 3, say=host.status)
    assert running(host)
    assert memory_mb(host) < before + 100
    assert "noise" not in host.log()


def test_junk_between_the_lines_is_passed_over(host, engine):
    engine.order(mode="junk")
    engine.say("DIE")
    until(lambda: host.status()["engine"]["unreadable"] >= 4, say=host.status)
    planned(host)
    assert host.status()["state"] == "advising"


def test_a_line_without_end_ends_the_engine(host, engine):
    engine.order(mode="endless")
    engine.say("DIE")
    until(lambda: "line without end" in last_fault(host), say=host.status)
    engine.order()
    until(lambda: host.status()["state"] == "advising", say=host.status)


def test_engine_of_another_version(bare, engine):
    engine.order(version=2)
    bare.configure(engine.configuration())
    until(lambda: "update both together" in bare.panel(), say=bare.panel)


def publish(**what: Any) -> dict[str, Any]:
    return {"type": "publish", "reason": "update", **what}


def test_nonsense_from_the_engine_harms_nothing(host, engine):
    engine.say(
        publish(resources=7, deltas=None),
        publish(resources=[None], plan=None),
        publish(resources=[{"kind": "charts", "id": "x", "value": {}}]),
        publish(resources=[{"kind": "routes", "id": "no-uuid", "value": {"feature": {}}}]),
        publish(resources=[{"kind": "routes", "id": PLAN, "value": {"name": "no feature"}}]),
        publish(resources=[], deltas=[None, {"path": 7, "value": 1}]),
        {"type": "event"},
        {"type": "event", "kind": "../x", "state": "alert", "message": "?", "values": None},
        {"type": "status"},
        {"type": "error"},
        {"type": "export", "id": "never-asked", "content": "x"},
        {"type": "unheard-of"},
        {"type": "toString"},
        {"type": "status", "state": "advising", "message": "still here"},
    )
    until(lambda: "still here" in host.status()["message"], say=host.status)
    assert host.resources("routes").keys() & {"no-uuid", "x", PLAN} == set()
    planned(host)
    assert len(engine.heard("hello")) == 1
    assert host.status()["faults"] == 2  # the two that the host itself refused


def test_engine_slower_than_the_data_gets_the_newest_and_no_queue(host, engine):
    engine.order(observe_s=0.005)
    engine.say("DIE")
    until(lambda: len(engine.heard("hello")) == 2 and running(host), say=host.status)
    before = memory_mb(host)
    for burst in range(20):
        updates = [
            {
                "$source": "test.A",
                "values": [
                    {"path": "environment.wind.speedApparent", "value": burst * 100 + n},
                    {"path": "navigation.headingTrue", "value": n / 100},
                ],
            }
            for n in range(100)
        ]
        assert host.ask("POST", "/plugins/feeder/delta", {"updates": updates})[0] == 200
    last = lambda: [  # noqa: E731
        value["value"]
        for message in engine.heard("observe")
        for value in message["values"]
        if value["path"] == "environment.wind.speedApparent"
    ]
    until(lambda: last()[-1:] == [1999], say=host.status)
    assert host.status()["engine"]["dropped"] > 1000
    assert memory_mb(host) < before + 60
    assert last() == sorted(last())
    assert len(engine.heard("hello")) == 2


def test_no_number_is_passed_on_as_unknown(host, engine):
    host.feed({"navigation.speedThroughWater": "NaN", "environment.wind.speedTrue": "Infinity"})
    host.feed({"navigation.position": None})
    path_values: dict[str, Any] = {}

    def all_there() -> bool:
        for message in engine.heard("observe"):
            path_values.update({value["path"]: value["value"] for value in message["values"]})
        return path_values.get("navigation.position", 0) is None

    until(all_there, say=lambda: path_values)
    assert path_values["navigation.speedThroughWater"] is None
    assert path_values["environment.wind.speedTrue"] is None


def test_route_deleted_while_planned(host, engine):
    route = planned(host)
    assert host.ask("DELETE", f"{RESOURCES}/routes/{route}")[0] == 200
    until(lambda: engine.heard("clear"), say=host.status)
    until(lambda: PLAN not in host.resources("routes"), say=host.status)
    until(lambda: "was deleted" in host.panel(), say=host.panel)
    assert host.value(TARGET) is None
    # And another can be planned at once.
    planned(host)
    until(lambda: "was deleted" not in host.panel(), say=host.panel)


def test_stale_data_withdraws_live_values(host, engine):
    planned(host)
    until(lambda: host.value(TARGET) == 0.75)
    engine.say({"type": "status", "state": "stale", "message": "no wind for 60 s"})
    until(lambda: host.value(TARGET) is None)
    assert "no wind for 60 s" in host.panel()
    engine.say(
        {"type": "status", "state": "advising", "message": "wind again"},
        publish(resources=[], deltas=[{"path": TARGET, "value": 0.8}], plan=None),
    )
    until(lambda: host.value(TARGET) == 0.8)
    assert host.panel() == "wind again"


@pytest.mark.parametrize("how", [signal.SIGTERM], ids=["ended"])
def test_host_restarted_under_way(host_files, tmp_path, how):
    engine = FakeEngine(tmp_path)
    (tmp_path / "host").mkdir()
    host = Host(
        host_files, tmp_path / "host", plug_configuration=engine.configuration(route="active")
    ).start()
    try:
        host.feed({"navigation.position": HERE})
        route = host.store_route("Passage", ROUTE)
        host.ask(
            "PUT", f"{COURSE}/activeRoute", {"href": f"/resources/routes/{route}", "pointIndex": 1}
        )
        until(lambda: PLAN in host.resources("routes"), say=host.status)
        pid = pid_of(host)
        host.stop(how)
        # No engine outlives its host.
        until(lambda: gone(pid))
        assert not [path for path in host.folder.rglob("*") if PLAN in path.name]
        host.start()
        until(lambda: PLAN in host.resources("routes"), say=host.status)
        assert host.status()["route"]["id"] == route
    finally:
        host.stop()
