"""Who may do what at the plugin's doors, on hosts with users."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from signalk_host import DOORS, SECRET, FakeEngine, Host, running, until

ROUTE = [(57.0, 11.0), (57.1, 11.1), (57.2, 11.0)]
USERS = [
    {"username": "admin", "type": "admin"},
    {"username": "nav", "type": "readwrite"},
    {"username": "look", "type": "readonly"},
]


def secured(*, allow_readonly: bool) -> dict[str, object]:
    return {
        "allow_readonly": allow_readonly,
        "expiration": "NEVER",
        "secretKey": SECRET,
        "users": USERS,
        "devices": [],
        "acls": [],
        "allowDeviceAccessRequests": False,
        "allowNewUserRegistration": False,
    }


@pytest.fixture(scope="module", params=[True, False], ids=["all-may-look", "users-only"])
def guarded(request, host_files, tmp_path_factory) -> Iterator[tuple[Host, FakeEngine, bool]]:
    room = tmp_path_factory.mktemp("guarded")
    (room / "host").mkdir()
    engine = FakeEngine(room)
    host = Host(
        host_files,
        room / "host",
        secured=secured(allow_readonly=request.param),
        plug_configuration=engine.configuration(),
    ).start()
    until(lambda: host.status(user="look")["state"] == "advising")
    yield host, engine, request.param
    host.stop()


def test_reading(guarded):
    host, _, open_to_all = guarded
    for user in ("admin", "nav", "look"):
        assert host.get(f"{DOORS}/status", user=user)[0] == 200
    assert host.get(f"{DOORS}/status")[0] == (200 if open_to_all else 401)
    assert host.get(f"{DOORS}/export/gpx")[0] == (409 if open_to_all else 401)
    assert host.get(f"{DOORS}/status", user="nobody")[0] == 401


def test_what_is_offered_depends_on_who_asks(guarded):
    host, _, open_to_all = guarded
    everything = [
        *("plan", "acknowledge", "undo", "carry", "answer"),
        *("activate", "clear", "export"),
    ]
    for door in ("can", "panel"):
        found = {}
        for user in ("admin", "nav", "look"):
            code, answer = host.get(f"{DOORS}/{door}", user=user)
            assert code == 200
            found[user] = answer if door == "can" else answer["can"]
        assert found == {"admin": everything, "nav": everything, "look": ["export"]}
    for door in ("panel", "polar", "routes", "coast", "can", "activated"):
        expected = 401 if not open_to_all else 400 if door == "coast" else 200
        assert host.get(f"{DOORS}/{door}")[0] == expected


def test_orders(guarded):
    host, engine, open_to_all = guarded
    route = host.store_route("Beat", ROUTE, user="nav")
    for name, body in (
        ("plan", {"routeId": route}),
        ("acknowledge", {"point": "T1"}),
        ("activate", {}),
        ("clear", {}),
    ):
        heard = len(engine.heard(name))
        assert host.order(name, body, user="look")[0] == 403, name
        assert host.order(name, body)[0] == (403 if open_to_all else 401), name
        assert host.order(name, body, user="nobody")[0] == 401, name
        assert len(engine.heard(name)) == heard
        assert host.order(name, body, user="nav")[0] == 200, name
        if name == "plan":
            until(lambda: host.status(user="nav")["published"]["routes"])
        if name != "activate":
            until(lambda name=name, heard=heard: len(engine.heard(name)) == heard + 1)


def test_without_security_the_crew_may(host):
    route = host.store_route("Beat", ROUTE)
    assert running(host)
    assert host.order("plan", {"routeId": route})[0] == 200
