"""The rim towards the host: units in, shapes and ids out, and what is never written."""

from __future__ import annotations

import json
import math
import re
import uuid

import pytest
from hypothesis import given
from hypothesis import strategies as st

from conftest import SAMPLES
from goosewing.errors import InputError
from goosewing.live.core.state import Figures
from goosewing.live.host import signalk
from goosewing.live.host.session import HelloError, Session

KNOT = 1852.0 / 3600.0
HELLO = {"type": "hello", "version": 1, "boat": str(SAMPLES / "brisvik" / "boat.toml")}
PLAN = {
    "type": "plan", "id": "0d8d0b5e-8a51-4f7b-9a34-2f3f1cd3d111", "name": "Home",
    "points": [{"lat": 56.5, "lon": 12.0, "name": "A"}, {"lat": 56.55, "lon": 11.92, "name": "B"}],
}  # fmt: skip


def observe(second: int, **more):
    values = {
        "navigation.position": {"latitude": 56.5, "longitude": 12.0 - second * 1e-5},
        "navigation.headingTrue": math.radians(271.0),
        "environment.wind.directionTrue": math.radians(315.0),
        "environment.wind.speedTrue": 10.0 * KNOT,
        "navigation.speedThroughWater": 5.5 * KNOT,
        **more,
    }
    return {
        "type": "observe", "time": f"2027-06-12T12:{second // 60:02d}:{second % 60:02d}.000Z",
        "source": "sim", "values": [{"path": k, "value": v} for k, v in values.items()],
    }  # fmt: skip


def tick(second: int):
    return {"type": "tick", "time": f"2027-06-12T12:{second // 60:02d}:{second % 60:02d}.000Z"}


def talked(session: Session, first: int, last: int):
    sent = []
    for second in range(first, last):
        sent += session.in_turn(observe(second)) + session.in_turn(tick(second))
    return sent


@pytest.fixture
def session() -> Session:
    session = Session()
    (hello,) = session.in_turn(HELLO)
    assert hello["version"] == 1
    return session


@pytest.fixture
def planned(session):
    talked(session, 0, 20)
    sent = session.in_turn(PLAN)
    return session, sent + talked(session, 20, 30)


def publications(sent, reason):
    return [m for m in sent if m["type"] == "publish" and m["reason"] == reason]


@pytest.mark.parametrize(("path", "si", "name", "inside"), [
    ("navigation.speedOverGround", 5.144444, "sog_kn", 10.0),
    ("navigation.courseOverGroundTrue", math.pi / 2, "cog_deg", 90.0),
    ("environment.wind.angleApparent", -math.pi / 4, "awa_deg", -45.0),
    ("environment.wind.speedTrue", 1852.0, "tws_kn", 3600.0),
    ("navigation.magneticVariation", -0.0541, "variation_deg", -3.1),
])  # fmt: skip
def test_si_becomes_knots_and_degrees(path, si, name, inside):
    """Pairs as a Signal K server gives them for NMEA sentences of round knots and degrees."""
    reading = signalk.reading("2027-06-12T12:00:00Z", "x", [{"path": path, "value": si}])
    ((found, value),) = reading.values
    assert found == name
    assert value == pytest.approx(inside, rel=1e-3)


def test_null_strings_and_unknown_paths_do_no_harm():
    values = [
        {"path": "navigation.position", "value": None},
        {"path": "navigation.speedOverGround", "value": "fast"},
        {"path": "navigation.headingTrue", "value": None},
        {"path": "environment.current", "value": {"setTrue": 1.0, "drift": None}},
        {"path": "electrical.batteries.1.voltage", "value": 12.6},
        {"path": "sails.inventory.jib", "value": {"name": "main and jib", "active": True}},
    ]
    found = dict(signalk.reading("2027-06-12T12:00:00Z", "x", values).values)
    assert found["position"] is None
    assert math.isnan(found["sog_kn"])
    assert found["heading_deg"] is None
    assert found["drift_kn"] is None
    assert found["sail:jib"] == "main and jib"
    assert len(found) == 6


@given(st.lists(st.text(max_size=5), min_size=1, max_size=3))
def test_ids_have_the_shape_of_version_four_and_stay(parts):
    one = signalk.stable_id(*parts)
    assert one == signalk.stable_id(*parts)
    parsed = uuid.UUID(one)
    assert parsed.version == 4
    assert parsed.variant == uuid.RFC_4122
    assert str(parsed) == one


def test_a_plan_is_published_as_route_points_notes_and_laylines(planned):
    _, sent = planned
    (message,) = publications(sent, "replanned")
    by_kind: dict[str, list] = {}
    for each in message["resources"]:
        assert uuid.UUID(each["id"]).version == 4
        by_kind.setdefault(each["kind"], []).append(each["value"])
    assert set(by_kind) == {"routes", "waypoints", "notes", "laylines"}
    assert message["plan"]["format"] == "goosewing.plan/1"
    route = next(r for r in by_kind["routes"] if r["name"] == "Home: boards")
    line = route["feature"]["geometry"]["coordinates"]
    meta = route["feature"]["properties"]["coordinatesMeta"]
    assert len(line) == len(meta) == 3
    assert [each["name"] for each in meta] == ["Here", "T1", "B"]
    # GeoJSON is longitude first (RFC 7946, section 3.1.1); notes name theirs.
    assert line[-1] == pytest.approx([11.92, 56.55])
    assert route["distance"] == pytest.approx(message["plan"]["distance_nm"] * 1852.0)
    (waypoint,), (note,) = by_kind["waypoints"], by_kind["notes"]
    assert waypoint["name"] == "T1"
    assert waypoint["type"] == "tack"
    assert note["title"] == "T1: onto port tack"
    lon, lat = waypoint["feature"]["geometry"]["coordinates"]
    assert note["position"] == {"latitude": lat, "longitude": lon}
    assert len(by_kind["laylines"]) == len([r for r in by_kind["routes"] if "layline" in r["name"]])


def test_ids_stay_over_plans_and_what_is_left_over_is_deleted(planned):
    session, sent = planned
    (first,) = publications(sent, "replanned")
    had = {(each["kind"], each["id"]) for each in first["resources"]}
    sent = session.in_turn(
        {**PLAN, "points": [PLAN["points"][0], {"lat": 56.5, "lon": 12.3, "name": "C"}]}
    )
    sent += talked(session, 30, 35)
    state: dict = {}
    for message in [first, *[m for m in sent if m["type"] == "publish"]]:
        for each in message["resources"]:
            key = (each["kind"], each["id"])
            if each["value"] is None:
                del state[key]
            else:
                state[key] = each["value"]
    assert len([1 for kind, _ in state if kind == "routes"]) >= 1
    assert ("waypoints" not in {kind for kind, _ in state}) or had & set(state)
    route_id = signalk.stable_id(PLAN["id"], "plan", 0)
    assert ("routes", route_id) in had & set(state)


def test_clearing_takes_everything_away(planned):
    session, sent = planned
    (first,) = publications(sent, "replanned")
    (cleared,) = publications(session.in_turn({"type": "clear"}), "cleared")
    assert all(each["value"] is None for each in cleared["resources"])
    assert {each["id"] for each in cleared["resources"]} == {
        each["id"] for each in first["resources"]
    }
    assert all(each["value"] is None for each in cleared["deltas"])


def test_nothing_is_written_that_steers_or_is_measured(planned):
    session, sent = planned
    sent = sent + talked(session, 30, 100)
    paths = {d["path"] for m in sent if m["type"] == "publish" for d in m["deltas"]}
    assert len(paths) > 10
    for path in paths:
        assert re.match(r"performance\.|navigation\.racing\.(oppositeL|l)ayline\.", path), path
        assert not re.search(r"steering|autopilot|course|destination|environment|position", path)


def test_figures_go_out_in_si():
    figures = Figures(target_angle_deg=45.0, target_speed_kn=6.0, layline_nm=1.0, layline_s=600.0)
    found = {d["path"]: d["value"] for d in signalk.deltas(figures)}
    assert found["performance.targetAngle"] == pytest.approx(math.pi / 4)
    assert found["performance.targetSpeed"] == pytest.approx(3.0866667)
    assert found["navigation.racing.layline.distance"] == pytest.approx(1852.0)
    assert found["navigation.racing.layline.time"] == 600.0
    assert found["performance.leeway"] is None


def test_beat_and_gybe_targets_are_those_of_the_tables(planned):
    """Brisvik in 10 kn: the target of `goosewing.velocities.targets`, which has its own tests."""
    from goosewing.boat.read import read_boat
    from goosewing.velocities.targets import targets

    _, sent = planned
    found = {d["path"]: d["value"] for m in publications(sent, "update") for d in m["deltas"]}
    boat = read_boat(SAMPLES / "brisvik" / "boat.toml")
    (wind,) = targets(boat, [10.0]).wind_speeds
    beat = max(wind.upwind, key=lambda t: t.vmg_kn)
    gybe = max(wind.downwind, key=lambda t: t.vmg_kn)
    assert math.degrees(found["performance.beatAngle"]) == pytest.approx(beat.twa_deg, abs=0.5)
    assert found["performance.beatAngleVelocityMadeGood"] / KNOT == pytest.approx(
        beat.vmg_kn, rel=1e-3
    )
    assert found["performance.gybeAngleVelocityMadeGood"] / KNOT == pytest.approx(
        gybe.vmg_kn, rel=1e-3
    )
    # Heading 271°, wind from 315°: the other tack heads 359°.
    assert math.degrees(found["performance.tackTrue"]) == pytest.approx(359.0)


@pytest.mark.parametrize("wanted", ["gpx", "handheld"])
def test_the_plan_is_exported(planned, wanted):
    import gpxpy

    session, _ = planned
    (message,) = session.in_turn({"type": "export", "id": "x", "format": wanted})
    assert message["id"] == "x"
    read = gpxpy.parse(message["content"])
    assert len(read.routes[0].points) == 3


@pytest.mark.parametrize(("change", "words"), [
    ({"version": 2}, "version 1"), ({"boat": None}, "boat"), ({"boat": "/no/such.toml"}, "such"),
    ({"performance": "much"}, "performance"), ({"options": {"margin_deg": 90}}, "margin_deg"),
    ({"options": {"colour": 1}}, "colour"), ({"options": []}, None),
    ({"options": {"wind_paths": "felt"}}, "wind_paths"),
])  # fmt: skip
def test_a_greeting_that_makes_no_sense_says_what(change, words):
    if words is None:
        assert Session().in_turn({**HELLO, **change})
        return
    with pytest.raises(HelloError, match=words):
        Session().in_turn({**HELLO, **change})


@pytest.mark.parametrize(("message", "words"), [
    ({"type": "sing"}, "unknown type"), ({"type": "tick", "time": 5}, "time"),
    ({"type": "tick", "time": "2027-06-12T12:00:00"}, "zone"),
    ({"type": "observe", "time": "2027-06-12T12:00:00Z", "values": 3}, "values"),
    ({**PLAN, "points": []}, "points"), ({**PLAN, "points": [{"lat": 91, "lon": 0}]}, "earth"),
    ({**PLAN, "points": [{"lat": None, "lon": 0}]}, "earth"), ({**PLAN, "next": 2}, "next"),
    ({**PLAN, "from_here": 1}, "from_here"), ({**PLAN, "forecast": {}}, "forecast"),
    ({**PLAN, "forecast": [{"time": "2027-06-12T12:00:00Z", "wind_from_deg": 400}]}, "wind_from"),
    ({"type": "export", "format": "gpx"}, "no plan"), ({"type": "export", "format": "x"}, "format"),
    (HELLO, "already"),
])  # fmt: skip
def test_a_message_that_makes_no_sense_says_what(session, message, words):
    with pytest.raises(InputError, match=words):
        session.in_turn(message)
    assert "\n" not in words


def test_everything_sent_is_json_without_nan(planned):
    session, sent = planned
    for message in sent + talked(session, 30, 60):
        json.dumps(message, allow_nan=False)
