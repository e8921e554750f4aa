"""What the plugin passes on, puts on show and takes away, with a stand-in engine in a real host."""

from __future__ import annotations

import json
import math
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest

from signalk_host import COURSE, DOORS, RESOURCES, Host, node, until

HERE = {"latitude": 57.0, "longitude": 11.0}
ROUTE = [(57.0, 11.0), (57.1, 11.1), (57.2, 11.0)]
PLAN, LAYLINE = ("11111111-1111-4111-8111-111111111111", "22222222-2222-4222-8222-222222222222")
STANDARD = Path(__file__).parent / "check_standard.js"


def faults_by_the_standard(host: Host, given: dict[str, Any]) -> list[str]:
    done = subprocess.run(
        [node(), str(STANDARD)],
        cwd=host.files,
        input=json.dumps(given),
        capture_output=True,
        text=True,
        check=True,
    )
    return list(json.loads(done.stdout))


def planned(host: Host, name: str = "Beat") -> str:
    """A stored route, planned, its plan on show."""
    route = host.store_route(name, ROUTE)
    code, answer = host.order("plan", {"routeId": route})
    assert code == 200, answer
    until(lambda: len(host.status()["published"]["routes"]) == 2, say=host.status)
    return route


def own(host: Host, kind: str = "routes") -> dict[str, Any]:
    entries = host.resources(kind)
    return {key: value for key, value in entries.items() if value["$source"] == "goosewing"}


def heard_of(host: Host, path: str) -> list[Any]:
    _, heard = host.get("/plugins/feeder/heard")
    return [entry["value"] for entry in heard if entry["path"] == path]


def test_hello_carries_the_configuration(host, engine):
    hello = engine.heard("hello")[0]
    kept = host.folder / "plugin-config-data" / "goosewing" / "under-way.json"
    assert hello.pop("state") == str(kept)
    assert hello == {
        "type": "hello",
        "version": 1,
        "boat": "/boat.toml",
        "performance": 1,
        "options": {"prefer": {}},
    }


def test_values_reach_the_engine_as_the_host_has_them(host, engine):
    at = "2026-11-25T12:00:00.000Z"
    host.feed({"navigation.position": HERE, "environment.wind.speedTrue": 5.4}, at=at)
    host.feed({"environment.wind.angleApparent": None}, source="other.B", at=at)

    def values() -> dict[tuple[str, str], Any]:
        return {
            (message["source"], value["path"]): (message["time"], value["value"])
            for message in engine.heard("observe")
            for value in message["values"]
        }

    until(lambda: ("other.B", "environment.wind.angleApparent") in values(), say=values)
    found = values()
    assert found["test.A", "navigation.position"] == (at, HERE)
    assert found["test.A", "environment.wind.speedTrue"] == (at, 5.4)
    assert found["other.B", "environment.wind.angleApparent"] == (at, None)


def test_values_of_before_the_start_reach_an_engine_that_starts_later(host, engine):
    host.feed({"navigation.headingTrue": 0.5})
    until(lambda: "headingTrue" in str(engine.heard("observe")))
    engine.say("DIE")
    until(lambda: len(engine.heard("hello")) == 2, say=host.status)
    after = lambda: str(engine.heard()[-1 - engine.heard()[::-1].index(engine.heard("hello")[1]) :])  # noqa: E731
    until(lambda: "headingTrue" in after())


def test_other_paths_and_own_values_stay_outside(host, engine):
    host.feed({"electrical.batteries.house.voltage": 12.5, "navigation.headingTrue": 0.7})
    until(lambda: "headingTrue" in str(engine.heard("observe")))
    assert "voltage" not in str(engine.heard("observe"))


def test_plan_names_points_and_the_next_one(host, engine):
    route = planned(host)
    assert engine.heard("plan") == [
        {
            "type": "plan",
            "id": route,
            "name": "Beat",
            "points": [
                {"lat": lat, "lon": lon, "name": f"Beat {n}"} for n, (lat, lon) in enumerate(ROUTE)
            ],
            "from_here": True,
            "next": 1,
            "resume": True,
        }
    ]


def test_a_route_sailed_backwards(host, engine):
    route = host.store_route("Back", ROUTE)
    host.order("plan", {"routeId": route, "reverse": True, "next": 2})
    until(lambda: engine.heard("plan"))
    (plan,) = engine.heard("plan")
    assert [point["name"] for point in plan["points"]] == ["Back 2", "Back 1", "Back 0"]
    assert plan["next"] == 2


def test_plan_is_on_show_and_valid_by_the_standard(host):
    planned(host)
    shown = {kind: own(host, kind) for kind in ("routes", "waypoints", "notes")}
    assert {kind: len(entries) for kind, entries in shown.items()} == {
        "routes": 2,
        "waypoints": 1,
        "notes": 1,
    }
    assert list(own(host, "laylines")) == ["mark-port"]
    until(lambda: own(host, "regions"), say=host.status)
    shown["regions"] = own(host, "regions")
    (region,) = shown["regions"].values()
    (ring,) = region["feature"]["geometry"]["coordinates"]
    assert ring[0] == ring[-1]
    deltas = [
        {"path": "performance.targetAngle", "value": host.value("performance.targetAngle")},
        {
            "path": "navigation.racing.layline.distance",
            "value": host.value("navigation.racing.layline.distance"),
        },
    ]
    assert [delta["value"] for delta in deltas] == [0.75, 926]
    assert faults_by_the_standard(host, {"resources": shown, "deltas": deltas}) == []


def test_the_standard_check_can_fail(host):
    bad = {"name": "x", "timestamp": "t", "$source": "s", "feature": {"geometry": {"type": "Blob"}}}
    found = faults_by_the_standard(
        host,
        {
            "resources": {
                "notes": {"no-uuid": {"title": "x"}},
                "routes": {
                    PLAN: {
                        **bad,
                        "feature": {"geometry": {"type": "LineString", "coordinates": [[200, 91]]}},
                    }
                },
            },
            "deltas": [{"path": "performance.nonsense", "value": 1}],
        },
    )
    text = " ".join(found)
    assert "not an id" in text
    assert "no place on earth" in text
    assert "a line of 1 points" in text
    assert "not a path of the standard" in text


def test_one_property_of_a_resource(host):
    planned(host)
    door = f"{RESOURCES}/laylines/mark-port/feature/properties/role"
    # Laylines are put up one after the other.
    until(lambda: "value" in host.get(door)[1])
    code, answer = host.get(door)
    assert (code, answer["value"]) == (200, "layline")


def test_users_routes_stay_as_they_are(host):
    route = planned(host)
    before = host.resources("routes")[route]
    host.order("clear")
    until(lambda: not own(host))
    assert host.resources("routes")[route] == before
    stored = list((host.folder / "resources").rglob("*"))
    assert not [path for path in stored if PLAN in path.name or LAYLINE in path.name]


def test_new_routes_of_the_user_go_to_the_users_own_store(host):
    route = planned(host, "Mine")
    assert host.resources("routes")[route]["$source"] == "resources-provider"


def test_what_is_ours_is_changed_by_us_alone(host):
    planned(host)
    value = own(host)[PLAN]
    code, _ = host.ask("PUT", f"{RESOURCES}/routes/{PLAN}", {**value, "name": "Other"})
    assert code in (400, 404)
    code, _ = host.ask("DELETE", f"{RESOURCES}/routes/{PLAN}")
    assert code in (400, 404)
    assert own(host)[PLAN] == value


def test_a_new_plan_replaces_the_old_and_nothing_piles_up(host):
    planned(host)
    first = own(host)
    planned(host, "Second")
    until(lambda: "Second" in own(host)[PLAN]["name"])
    assert own(host).keys() == first.keys()


def test_displays_hear_of_what_comes_and_goes(host):
    planned(host)
    host.order("clear")
    until(lambda: not own(host))
    values = heard_of(host, f"resources.routes.{PLAN}")
    assert values[-1] is None
    assert values[-2]["name"] == "Plan of Beat"


def test_displays_hear_when_the_plug_stops(host, engine):
    planned(host)
    host.configure(engine.configuration(), enabled=False)
    until(lambda: heard_of(host, f"resources.routes.{LAYLINE}")[-1:] == [None])
    assert own(host) == {}
    assert host.value("performance.targetAngle") is None
    assert engine.heard()[-1] == {"type": "bye"}


def test_publish_options_are_kept(shared_host, engine):
    publish = {"plan": True, "laylines": False, "targets": False, "alerts": "off"}
    shared_host.feed({"performance.targetAngle": -1.0})
    shared_host.configure(engine.configuration(publish=publish))
    until(lambda: engine.heard("tick"), say=shared_host.status)
    route = shared_host.store_route("Beat", ROUTE)
    shared_host.order("plan", {"routeId": route})
    until(lambda: own(shared_host))
    event = {"type": "event", "kind": "overstood", "state": "alert", "message": "overstood"}
    engine.say({**event, "values": {}})
    until(lambda: shared_host.status()["events"])
    assert list(own(shared_host)) == [PLAN]
    assert own(shared_host, "laylines") == {}
    assert own(shared_host, "regions") == {}
    assert shared_host.value("performance.targetAngle") == -1.0
    assert shared_host.value("notifications.navigation.goosewing.overstood") == "absent"
    shared_host.put_away()


def test_events_become_notifications_and_end(host, engine):
    event = {"type": "event", "kind": "on_layline", "values": {}, "message": "on the layline"}
    engine.say({**event, "state": "alert"})
    path = "notifications.navigation.goosewing.onLayline"
    until(lambda: isinstance(host.value(path), dict))
    raised = host.value(path)
    assert (raised["state"], raised["method"]) == ("alert", ["visual"])
    assert raised["message"] == "on the layline"
    assert (
        faults_by_the_standard(
            host,
            {
                "resources": {},
                "deltas": [
                    {"path": path, "value": {k: raised[k] for k in ("state", "method", "message")}}
                ],
            },
        )
        == []
    )
    engine.say({**event, "state": "normal", "message": "past it"})
    until(lambda: host.value(path)["state"] == "normal")
    assert host.value(path)["method"] == []
    assert [e["state"] for e in host.status()["events"]] == ["alert", "normal"]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("beyond_limits", "within_limits"),
        ("stale", "recovered"),
        ("approach", "turn_now"),
        ("wing_pays", "wing_no_longer_pays"),
        ("overstood", "mark_rounded"),
        ("turn_now", "turn_done"),
        ("turn_now", "replanned"),
        ("asked", "answered"),
        ("dead_downwind", "clear_of_dead_downwind"),
    ],
)
def test_an_event_ends_what_it_puts_an_end_to(host, engine, first, second):
    event = {"type": "event", "message": "so it is", "values": {}}
    name = re.sub("_(.)", lambda found: found[1].upper(), first)
    path = f"notifications.navigation.goosewing.{name}"
    engine.say({**event, "kind": first, "state": "warn"})
    until(lambda: (host.value(path) or {}) != "absent" and host.value(path)["state"] == "warn")
    engine.say({**event, "kind": second, "state": "normal"})
    until(lambda: host.value(path)["state"] == "normal", say=host.status)


def test_acknowledging_ends_the_call_to_turn(host, engine):
    path = "notifications.navigation.goosewing.turnNow"
    event = {"type": "event", "kind": "turn_now", "state": "warn", "message": "T1 now: tack."}
    engine.say({**event, "values": {"point": "T1"}})
    until(lambda: isinstance(host.value(path), dict) and host.value(path)["state"] == "warn")
    host.order("acknowledge", {"point": "T1"})
    assert host.value(path)["state"] == "normal"


def test_options_reach_the_engine_and_wrong_ones_do_not(shared_host, engine):
    options = {"corridor_nm": 1.5, "margin_deg": "much", "prefer": {"wind": "mast.WI", "log": ""}}
    # A list in the host's form may end in an empty line: the others must not be lost with it.
    options |= {"hazards": ["/charts/reef.geojson", ""], "coast": True, "clearance_nm": "wide"}
    shared_host.configure(engine.configuration(options=options, performance=7))
    until(lambda: engine.heard("hello"), say=shared_host.status)
    hello = engine.heard("hello")[0]
    assert hello["options"] == {
        "corridor_nm": 1.5, "prefer": {"wind": "mast.WI"},
        "hazards": ["/charts/reef.geojson"], "coast": True,
    }  # fmt: skip
    assert hello["performance"] == 1
    shared_host.put_away()


def test_warnings_sound(host, engine):
    engine.say(
        {
            "type": "event",
            "kind": "beyond_limits",
            "state": "warn",
            "message": "too much wind",
            "values": {},
        }
    )
    path = "notifications.navigation.goosewing.beyondLimits"
    until(lambda: isinstance(host.value(path), dict) and host.value(path)["state"] == "warn")
    assert host.value(path)["method"] == ["visual", "sound"]


def test_nothing_that_steers_or_stands_in_for_an_instrument_is_published(host, engine):
    closed = [
        "steering.autopilot.target.headingTrue",
        "navigation.courseRhumbline.nextPoint.position",
        "navigation.course.nextPoint",
        "navigation.destination.commonName",
        "environment.wind.speedTrue",
        "environment.current",
        "navigation.position",
        "performance.targetAngle/../x",
        "",
    ]
    deltas = [{"path": path, "value": 1.5} for path in closed]
    engine.say(
        {"type": "publish", "reason": "update", "resources": [], "deltas": deltas, "plan": None}
    )
    until(lambda: host.status()["refused"], say=host.status)
    assert host.status()["refused"] == [f"data on {path}" for path in closed]
    for path in closed[:-2]:
        assert host.value(path) != 1.5


def test_acknowledgement_goes_to_the_engine_and_moves_no_course(host, engine):
    planned(host)
    before = host.get(COURSE)
    assert host.order("acknowledge", {"point": "T1"}) == (
        200,
        {"state": "COMPLETED", "statusCode": 200, "point": "T1"},
    )
    (order,) = engine.heard("acknowledge")
    assert order["point"] == "T1"
    assert host.get(COURSE) == before


@pytest.mark.parametrize(("name", "body", "code"), [
    ("acknowledge", {"point": "T9"}, 409), ("undo", {"point": "T9"}, 409),
    ("undo", {"point": "T1"}, 200), ("undo", {}, 400), ("carry", {"tack": "port"}, 400),
    ("carry", {"sailSet": "main and jib", "tack": "port"}, 200), ("answer", {"choice": "yes"}, 400),
    ("answer", {"question": "passed", "choice": "yes"}, 200),
])  # fmt: skip
def test_what_the_crew_says_is_taken_or_refused_in_one_line(host, engine, name, body, code):
    planned(host)
    status, answer = host.order(name, body)
    assert status == code, answer
    if code == 409:
        assert answer["message"] == "there is no T9"
    if code == 400:
        assert engine.heard(name) == []


def test_an_alarm_ends_by_its_own_turn_alone(host, engine):
    planned(host)
    due = {"type": "event", "time": "2026-11-25T12:00:00Z", "kind": "turn_now", "state": "warn",
           "message": "T1 now", "values": {"point": "T1"}}  # fmt: skip
    engine.say(due)
    path = "notifications.navigation.goosewing.turnNow"
    until(lambda: (host.value(path) or {}) != "absent" and host.value(path)["state"] == "warn")
    assert host.order("acknowledge", {"point": "T9"})[0] == 409
    assert host.value(path)["state"] == "warn"
    assert host.order("acknowledge", {"point": "T1"})[0] == 200
    until(lambda: host.value(path)["state"] == "normal")


def test_planning_sets_no_course(host):
    planned(host)
    assert host.get(COURSE)[1]["activeRoute"] is None


def test_an_activated_plan_stays_as_the_crew_took_it(host):
    host.feed({"navigation.position": HERE})
    planned(host)
    code, answer = host.order("activate")
    assert code == 200, answer
    active = host.get(COURSE)[1]
    assert active["activeRoute"]["href"] == f"/resources/routes/{answer['routeId']}"
    assert active["activeRoute"]["pointIndex"] == 1
    assert active["nextPoint"]["position"]["latitude"] == ROUTE[1][0]

    # A later plan shows beside it; the course she steers by stays.
    moved = host.store_route("Later", [(58.0, 11.0), (58.1, 11.1), (58.2, 11.0)])
    host.order("plan", {"routeId": moved})
    until(lambda: "Later" in own(host)[PLAN]["name"])
    assert host.get(COURSE)[1]["nextPoint"] == active["nextPoint"]
    assert own(host)[answer["routeId"]]["name"] == "Plan of Beat, as activated"

    # Activated again, the former copy goes.
    _, again = host.order("activate")
    until(lambda: answer["routeId"] not in own(host))
    assert host.get(COURSE)[1]["activeRoute"]["href"].endswith(again["routeId"])
    assert host.get(COURSE)[1]["nextPoint"]["position"]["latitude"] == 58.1
    # So does the last one, but not from under her keel.
    host.order("clear")
    until(lambda: list(own(host)) == [again["routeId"]], say=lambda: own(host))
    host.ask("DELETE", COURSE)
    until(lambda: own(host) == {}, say=lambda: own(host))


def test_a_plan_the_crew_follows_from_a_display_is_held_too(host):
    host.feed({"navigation.position": HERE})
    planned(host)
    code, _ = host.ask(
        "PUT", f"{COURSE}/activeRoute", {"href": f"/resources/routes/{PLAN}", "pointIndex": 1}
    )
    assert code == 200
    before = host.get(COURSE)[1]["nextPoint"]
    moved = host.store_route("Later", [(58.0, 11.0), (58.1, 11.1), (58.2, 11.0)])
    host.order("plan", {"routeId": moved})
    until(lambda: own(host)[LAYLINE]["feature"]["geometry"]["coordinates"][0][1] == 58.1)
    assert own(host)[PLAN]["name"] == "Plan of Beat"
    assert host.get(COURSE)[1]["nextPoint"] == before
    host.ask("DELETE", COURSE)
    until(lambda: own(host)[PLAN]["name"] == "Plan of Later")


def test_exports(host):
    planned(host)
    assert host.get(f"{DOORS}/export/gpx") == (200, "<gpx/>")
    assert host.get(f"{DOORS}/export/handheld") == (200, "<gpx>handheld</gpx>")
    code, answer = host.get(f"{DOORS}/export/constructor")
    assert (code, "gpx or handheld" in answer["message"]) == (404, True)
    _, plan = host.get(f"{DOORS}/plan")
    assert plan["format"] == "goosewing.plan/1"


@pytest.mark.parametrize(
    ("door", "body", "code", "words"),
    [
        ("plan", {}, 400, "name a stored route"),
        ("plan", {"routeId": "99999999-9999-4999-8999-999999999999"}, 404, "there is no route"),
        ("plan", {"routeId": "../../settings"}, 404, "there is no route"),
        ("acknowledge", {}, 400, "name the turning point"),
        ("activate", {}, 409, "no plan to activate"),
    ],
)
def test_orders_that_can_not_be_done_say_why(host, door, body, code, words):
    status, answer = host.order(door, body)
    assert (status, answer["state"]) == (code, "FAILED")
    assert words in answer["message"]


def test_nothing_to_export(host):
    code, answer = host.get(f"{DOORS}/export/gpx")
    assert (code, answer["message"]) == (409, "there is no plan to export")


def test_a_point_that_is_not_there(host):
    route = host.store_route("Beat", ROUTE)
    assert host.order("plan", {"routeId": route, "next": 3})[0] == 400
    assert host.order("plan", {"routeId": route, "next": "1"})[0] == 400


def test_a_plan_is_not_planned_again(host):
    planned(host)
    code, answer = host.order("plan", {"routeId": PLAN})
    assert (code, "a plan already" in answer["message"]) == (409, True)


def test_orders_come_as_json_only(host):
    # A form of another web page can be sent without asking; JSON can't.
    assert host.order("clear", {}, kind="text/plain")[0] == 415


def test_a_route_without_points_is_refused(host):
    code, answer = host.ask("POST", f"{RESOURCES}/routes", {"name": "Empty", "feature": {}})
    assert code == 201
    code, refusal = host.order("plan", {"routeId": answer["id"]})
    assert (code, refusal["message"]) == (400, "the route has no usable points")


def test_the_active_route_is_planned_and_followed(shared_host, engine):
    host = shared_host
    host.feed({"navigation.position": HERE})
    host.configure(engine.configuration(route="active"))
    until(lambda: engine.heard("tick"), say=host.status)
    route = host.store_route("Active", ROUTE)
    host.ask(
        "PUT", f"{COURSE}/activeRoute", {"href": f"/resources/routes/{route}", "pointIndex": 1}
    )
    until(lambda: engine.heard("plan"), say=host.status)
    assert (engine.heard("plan")[0]["id"], engine.heard("plan")[0]["next"]) == (route, 1)
    # The crew passes to the next point.
    host.ask("PUT", f"{COURSE}/activeRoute/nextPoint", {"value": 1})
    until(lambda: len(engine.heard("plan")) == 2, say=host.status)
    assert engine.heard("plan")[1]["next"] == 2
    # Activating the plan itself is no reason to plan it.
    until(lambda: own(host))
    host.order("activate")
    until(lambda: host.status()["activated"])
    ticks = len(engine.heard("tick"))
    until(lambda: len(engine.heard("tick")) > ticks + 2)
    assert len(engine.heard("plan")) == 2
    assert host.status()["notice"] == ""
    # And without a course, there is nothing to plan.
    host.ask("DELETE", COURSE)
    until(lambda: engine.heard("clear") or not own(host), say=host.status)
    host.put_away()


def test_a_route_the_crew_edits_is_planned_anew_from_the_mark_reached(host, engine):
    route = planned(host)
    engine.say(
        {
            "type": "event",
            "kind": "mark_rounded",
            "state": "normal",
            "message": "rounded",
            "values": {"mark": "Beat 1", "next": 2, "route": route},
        }
    )
    until(lambda: host.status()["events"])
    value = host.resources("routes")[route]
    value["feature"]["geometry"]["coordinates"][2] = [11.05, 57.25]
    body = {"name": value["name"], "feature": value["feature"]}
    assert host.ask("PUT", f"{RESOURCES}/routes/{route}", body)[0] == 200
    until(lambda: len(engine.heard("plan")) == 2, say=host.status)
    again = engine.heard("plan")[1]
    assert again["next"] == 2
    assert (again["points"][2]["lat"], again["points"][2]["lon"]) == (57.25, 11.05)


def test_forecast_of_the_hosts_provider_goes_with_the_plan(host, engine):
    host.feed({"navigation.position": HERE})
    reports = [
        {
            "date": "2026-11-25T12:00:00Z",
            "wind": {"speedTrue": 1852 / 360, "directionTrue": math.pi, "gust": 1852 / 300},
            "water": {"surfaceCurrentSpeed": 1852 / 3600, "surfaceCurrentDirection": math.pi / 2},
        },
        {"date": "2026-11-25T13:00:00Z", "wind": {"speedTrue": 5, "directionTrue": 1.0}},
        {"date": "2026-11-25T14:00:00Z", "wind": {"speedTrue": None, "directionTrue": 1.0}},
        {"date": "no time", "wind": {"speedTrue": 5, "directionTrue": 1.0}},
        {"date": "2026-11-25T15:00:00Z"},
    ]
    assert host.ask("POST", "/plugins/feeder/forecast", reports)[0] == 200
    planned(host)
    first, second = engine.heard("plan")[0]["forecast"]
    assert first == {
        "time": "2026-11-25T12:00:00.000Z",
        "wind_from_deg": pytest.approx(180),
        "wind_kn": pytest.approx(10),
        "gust_kn": pytest.approx(12),
        "set_deg": pytest.approx(90),
        "drift_kn": pytest.approx(1),
    }
    assert (second["gust_kn"], second["set_deg"], second["drift_kn"]) == (None, None, None)
    assert host.get("/plugins/feeder/asked")[1] == HERE
    assert host.status()["route"]["forecast"] == "used"
    # Nothing of the forecast stands on a measured path.
    assert host.value("environment.wind.gust") == "absent"


def test_status_is_shown_to_the_user(host, engine):
    engine.say(
        {"type": "status", "state": "stale", "message": "no wind for 30 s", "ages_s": {"wind": 30}}
    )
    until(lambda: "no wind for 30 s" in host.panel(), say=host.panel)
    assert host.status()["state"] == "stale"
    assert host.status()["advice"]["ages_s"] == {"wind": 30}


def test_configuration_offers_no_steering(host):
    _, plugins = host.get("/skServer/plugins")
    (plugin,) = (p for p in plugins if p["id"] == "goosewing")
    assert plugin["schema"]["required"] == ["boat"]
    assert not re.search("steer|autopilot", json.dumps(plugin["schema"]["properties"]))
