"""The panel's documents: what a display shows under way, stale, failed, with nothing known."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from conftest import SAMPLES
from goosewing.live.host.session import Session
from goosewing.live.panel import document as panel
from goosewing.live.watchkeeper import EVENTS_KEPT
from sailing_boat import KNOT, SailingBoat, Waters, observation, stamp, tick

BRISVIK = SAMPLES / "brisvik"
START = (56.5, 12.0)

SHAPE: dict[str, Any] = {
    "format": str, "time": str, "state": str, "message": str,
    "ages_s": ["position", "wind", "heading", "boat_speed", "course", "current"],
    "boat": ["lat", "lon", "heading_deg", "heading_magnetic_deg", "course_over_ground_deg",
             "speed_over_ground_kn", "boat_speed_kn", "east_kn", "north_kn", "tack", "ahead"],
    "wind": ["twd_deg", "tws_kn", "twa_deg", "awa_deg", "aws_kn"],
    "stream": ["set_deg", "drift_kn", "known", "doubt_kn"],
    "route": ["id", "name", "marks", "next", "bearing_deg", "bearing_magnetic_deg", "distance_nm"],
    "next": ["point", "kind", "due", "awaiting", "words", "text", "time_s", "distance_nm", "steer",
             "heading_deg", "heading_magnetic_deg", "twa_deg", "order", "tack", "sail_set"],
    "board": ["index", "tack", "sail_set", "words", "steer", "heading_deg", "heading_magnetic_deg",
              "twa_deg", "order"],
    "figures": ["vmg_kn", "vmc_kn", "target_twa_deg", "target_speed_kn", "polar_speed_kn",
                "speed_ratio", "layline_nm", "layline_s"],
    "laylines": list, "events": list, "plan": ["number"], "polar": ["number"], "cautions": list,
    "shown": ["now", "next", "rows", "wind", "stream", "made", "caution", "question", "up", "undo"],
}  # fmt: skip
"""The pinned document: members of objects, kinds of the rest."""

NO_STREAM = {"set_deg": None, "drift_kn": None, "known": False, "doubt_kn": None}

MAY_BE_NULL = {"shown", "time", "route", "next", "board", "plan", "polar"}


def check_shape(document: dict[str, Any]) -> None:
    assert set(document) == set(SHAPE)
    for name, wanted in SHAPE.items():
        value = document[name]
        if value is None:
            assert name in MAY_BE_NULL
        elif isinstance(wanted, list):
            assert set(value) == set(wanted), name
        else:
            assert isinstance(value, wanted), name
    json.dumps(document, allow_nan=False)


def beyond(bearing: float, miles: float, start: tuple[float, float] = START) -> dict[str, Any]:
    there = Geodesic.WGS84.Direct(*start, bearing, miles * 1852.0)
    return {"lat": there["lat2"], "lon": there["lon2"]}


class Sailing:
    """A boat that sails as she is told, and what displays were shown."""

    def __init__(self, heading: float, wind: float = 315.0, **options: Any) -> None:
        self.wind, self.strength, self.stream = wind, 10.0, (0.0, 0.0)
        waters = Waters(lambda _: self.wind, lambda _: self.strength, self.stream)
        self.boat = SailingBoat(BRISVIK, waters, *START, heading)
        self.session = Session()
        self.sent: list[dict[str, Any]] = []
        self.say({"type": "hello", "version": 1, "boat": str(BRISVIK / "boat.toml"),
                  "options": options})  # fmt: skip

    def say(self, message: dict[str, Any]) -> list[dict[str, Any]]:
        sent = self.session.in_turn(message)
        self.sent += sent
        return sent

    def sail(self, seconds: int, *, without: tuple[str, ...] = (), **more: Any) -> None:
        for _ in range(seconds):
            self.boat.sail(1.0)
            heard = observation(self.boat)
            heard["values"] = [v for v in heard["values"] if v["path"] not in without]
            heard["values"] += [{"path": path, "value": value} for path, value in more.items()]
            if heard["values"]:
                self.say(heard)
            self.say(tick(self.boat))

    def silent(self, seconds: int) -> None:
        for _ in range(seconds):
            self.boat.sail(1.0)
            self.say(tick(self.boat))

    def plan(self, *marks: dict[str, Any], **more: Any) -> None:
        points = [{"lat": self.boat.lat, "lon": self.boat.lon, "name": "Start"}]
        points += [{"name": f"Mark {at}", **mark} for at, mark in enumerate(marks, 1)]
        self.say({"type": "plan", "id": "r", "name": "Evening", "points": points, **more})

    def last(self, kind: str) -> dict[str, Any]:
        found = [m for m in self.sent if m["type"] == kind][-1]
        return {k: v for k, v in found.items() if k != "type"}

    @property
    def panel(self) -> dict[str, Any]:
        return self.last("panel")

    @property
    def polar(self) -> dict[str, Any]:
        return self.last("polar")

    @property
    def plan_shown(self) -> dict[str, Any]:
        return [m["plan"] for m in self.sent if m["type"] == "publish" and m["plan"]][-1]


@pytest.fixture
def beating() -> Sailing:
    """On starboard tack towards a mark upwind and to the right; variation 4° east."""
    sailing = Sailing(271.0, variation_deg=4.0)
    sailing.sail(30)
    sailing.plan(beyond(320.0, 2.0))
    sailing.sail(10)
    check_shape(sailing.panel)
    return sailing


# ---- under way --------------------------------------------------------------------------


def test_the_next_turn_lies_where_the_plan_has_it(beating):
    document = beating.panel
    assert document["state"] == "advising"
    following = document["next"]
    assert (following["kind"], following["due"], following["awaiting"]) == ("turn", "ahead", False)
    assert following["point"] == "T1"
    first, second = beating.plan_shown["legs"][0]["boards"]
    place = Geodesic.WGS84.Inverse(
        beating.boat.lat, beating.boat.lon, first["end"]["lat"], first["end"]["lon"]
    )
    # She sails the plan's own angle: the turn by her track is the plan's, to what a second sails.
    assert following["distance_nm"] == pytest.approx(place["s12"] / 1852.0, rel=0.01)
    speed = math.hypot(*beating.boat.over_ground())
    assert following["time_s"] == pytest.approx(
        following["distance_nm"] / speed * 3600.0, rel=0.005
    )
    for name in ("steer", "heading_deg", "twa_deg", "tack", "sail_set"):
        assert following[name] == second[name]
        assert document["board"][name] == first[name]
    # East is least: magnetic = true − variation (common practice), in panel and plan alike.
    for shown, board in ((document["board"], first), (following, second)):
        magnetic = (board["heading_deg"] - 4.0) % 360.0
        assert board["heading_magnetic_deg"] == pytest.approx(magnetic)
        assert shown["heading_magnetic_deg"] == board["heading_magnetic_deg"]
    assert any("variation 4" in notice for notice in beating.plan_shown["notices"])
    minutes = round(following["time_s"] / 60.0)
    steer = round(second["heading_deg"] - 4.0) % 360
    miles = following["distance_nm"]
    assert miles >= 1.0
    # What is held stands first: on a beat the angle to the wind.
    assert following["steer"] == "angle"
    assert following["order"] == f"steer TWA {second['twa_deg']:.0f}° ({steer:03d}° M)"
    ahead = f"Onto port tack in {minutes} min, {miles:.1f} nm"
    assert following["text"] == f"{ahead}; {following['order']}"
    assert following["words"] == "Onto port tack"
    assert document["board"]["words"] == "Starboard tack, main and jib"
    assert document["board"]["index"] == 0


def test_what_is_measured_is_shown_as_it_is(beating):
    document, boat = beating.panel, beating.boat
    east, north = boat.over_ground()
    assert document["time"] == stamp(boat.time)
    shown = document["boat"]
    assert (shown["lat"], shown["lon"]) == pytest.approx((boat.lat, boat.lon), abs=2e-5)
    assert shown["heading_deg"] == pytest.approx(271.0)
    assert shown["heading_magnetic_deg"] == pytest.approx(267.0)
    assert (shown["east_kn"], shown["north_kn"]) == pytest.approx((east, north), abs=1e-3)
    assert shown["speed_over_ground_kn"] == pytest.approx(math.hypot(east, north), abs=1e-3)
    assert shown["boat_speed_kn"] == pytest.approx(boat.speed, abs=1e-3)
    assert shown["tack"] == "starboard"
    # Her next ten minutes, by somebody else's geodesic.
    there = Geodesic.WGS84.Inverse(shown["lat"], shown["lon"], *shown["ahead"].values())
    assert there["s12"] / 1852.0 == pytest.approx(math.hypot(east, north) / 6.0, rel=1e-3)
    course = math.degrees(math.atan2(east, north))
    assert (there["azi1"] - course + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.1)
    assert document["wind"]["twd_deg"] == pytest.approx(315.0, abs=0.1)
    assert document["wind"]["tws_kn"] == pytest.approx(10.0, abs=0.05)
    assert document["wind"]["twa_deg"] == pytest.approx(44.0, abs=0.1)
    assert document["stream"]["drift_kn"] == pytest.approx(0.0, abs=0.02)
    assert document["stream"]["known"] is True
    assert document["ages_s"]["position"] <= 1.0
    route = document["route"]
    line = Geodesic.WGS84.Inverse(boat.lat, boat.lon, *beating_mark(route))
    assert route["bearing_deg"] == pytest.approx(line["azi1"] % 360.0, abs=0.05)
    assert route["bearing_magnetic_deg"] == pytest.approx(route["bearing_deg"] - 4.0)
    assert route["distance_nm"] == pytest.approx(line["s12"] / 1852.0, rel=1e-3)
    assert (route["id"], route["name"], route["next"]) == ("r", "Evening", "Mark 1")
    angle = math.radians(line["azi1"])
    made_good = east * math.sin(angle) + north * math.cos(angle)
    assert document["figures"]["vmc_kn"] == pytest.approx(made_good, abs=0.02)
    # To windward along her water track, leeway included.
    off = math.radians(44.0 + boat.leeway())
    assert document["figures"]["vmg_kn"] == pytest.approx(boat.speed * math.cos(off), abs=0.03)


def beating_mark(route: dict[str, Any]) -> tuple[float, float]:
    (mark,) = (m for m in route["marks"] if m["name"] == route["next"])
    return mark["lat"], mark["lon"]


def test_the_laylines_are_the_plans(beating):
    shown = beating.panel["laylines"]
    of_plan = beating.plan_shown["legs"][0]["laylines"]
    assert len(shown) == len(of_plan) > 0
    for ours, theirs in zip(shown, of_plan, strict=True):
        assert set(ours) == {"mark", "tack", "sail_set", "points"}
        assert (ours["mark"], ours["tack"]) == (theirs["mark"], theirs["tack"])
        assert ours["points"] == [{"lat": p["lat"], "lon": p["lon"]} for p in theirs["points"]]


@pytest.mark.long
def test_a_turn_is_due_until_it_is_acknowledged(beating):
    while not (beating.panel["next"] or {}).get("awaiting"):
        beating.sail(1)
        assert beating.boat.seconds < 3600.0
    before = [m["next"]["text"] for m in beating.sent if m["type"] == "panel" and m["next"]]
    assert any(
        re.fullmatch(r"Onto port tack in \d+ s, 0\.\d\d nm; steer TWA \d+° \(\d{3}° M\)", t)
        for t in before
    )
    number = beating.panel["plan"]["number"]
    for _ in range(3):
        check_shape(beating.panel)
        following = beating.panel["next"]
        assert (following["due"], following["text"]) == ("now", "Onto port tack now")
        assert (following["time_s"], following["distance_nm"]) == (0.0, 0.0)
        assert following["tack"] == "port"
        assert beating.panel["board"]["tack"] == "starboard"
        beating.sail(1)
    kinds = [e["kind"] for e in beating.panel["events"]]
    assert kinds.index("turn_now") < kinds.index("approach") < kinds.index("replanned")
    beating.boat.heading = 359.0
    beating.say({"type": "acknowledge", "point": "T1"})
    beating.sail(20)
    assert beating.panel["plan"]["number"] > number
    assert beating.panel["board"]["tack"] == "port"
    following = beating.panel["next"]
    assert following["kind"] == "mark"


def test_on_the_last_board_the_mark_is_so_many_minutes_off():
    sailing = Sailing(40.0)
    sailing.sail(30)
    sailing.plan(beyond(40.0, 3.0))
    sailing.sail(5)
    following = sailing.panel["next"]
    check_shape(sailing.panel)
    assert following["kind"] == "mark"
    assert following["point"] == "Mark 1"
    speed = math.hypot(*sailing.boat.over_ground())
    assert following["distance_nm"] == pytest.approx(
        sailing.boat.nm_to(**beyond(40.0, 3.0)), abs=0.02
    )
    assert following["time_s"] == pytest.approx(following["distance_nm"] / speed * 3600, rel=0.02)
    minutes = round(following["time_s"] / 60.0)
    assert following["text"] == f"Mark 1 in {minutes} min, {following['distance_nm']:.1f} nm"
    assert [following[name] for name in panel.STEERING] == [None] * len(panel.STEERING)


def test_at_a_mark_the_next_leg_is_told():
    sailing = Sailing(40.0)
    sailing.sail(30)
    first = beyond(40.0, 3.0)
    sailing.plan(first, beyond(300.0, 3.0, (first["lat"], first["lon"])))
    sailing.sail(5)
    following = sailing.panel["next"]
    board = sailing.plan_shown["legs"][1]["boards"][0]
    assert following["kind"] == "mark"
    assert (following["tack"], following["heading_deg"]) == (board["tack"], board["heading_deg"])
    steer = f"{round(board['heading_deg']) % 360:03d}° T"
    order = f"{steer} (TWA {board['twa_deg']:.0f}°)"
    if board["steer"] == "angle":
        order = f"TWA {board['twa_deg']:.0f}° ({steer})"
    # She is on port tack; without a variation the heading is a true one.
    words = "then " if board["tack"] == "port" else "then onto starboard tack, "
    assert following["text"].endswith(f"; {words}steer {order}")


def test_the_pole_is_told_in_the_words_of_the_plan():
    """Wind from the north-east, the mark on 210°: the pole first, then a broad board without."""
    sailing = Sailing(225.0, wind=45.0)
    sailing.sail(30)
    sailing.plan(beyond(210.0, 5.0))
    sailing.sail(5)
    first, second = sailing.plan_shown["legs"][0]["boards"]
    assert (first["sail_set"], second["sail_set"]) == ("wing-and-wing", "main and jib")
    following = sailing.panel["next"]
    assert following["words"] == "Strike the pole"
    assert following["text"].startswith("Strike the pole in ")
    assert sailing.panel["board"]["words"] == f"{first['tack'].capitalize()} tack, wing-and-wing"


def test_a_pole_to_be_set_at_once_is_due_now():
    sailing = Sailing(225.0, wind=45.0)
    jib = {"name": "main and jib", "active": True}
    sailing.sail(30, **{"sails.inventory.jib": jib})
    sailing.plan(beyond(225.0, 5.0))
    sailing.sail(5, **{"sails.inventory.jib": jib})
    kinds = [m["kind"] for m in sailing.plan_shown["legs"][0]["manoeuvres"]]
    assert kinds[-1] == "set_pole"
    following = sailing.panel["next"]
    gybe = f"Gybe onto {following['tack']} tack, s" if "gybe" in kinds else "S"
    assert following["text"] == f"{gybe}et the pole for wing-and-wing now"
    assert (following["due"], following["point"]) == ("now", sailing.panel["next"]["point"])


@pytest.mark.long
def test_in_a_turning_wind_the_board_swings_with_the_plan(beating):
    hours = ((hour, (315.0 + 15.0 * hour) % 360.0) for hour in range(1, 5))
    rows = [
        {"time": f"2027-06-12T{5 + hour:02d}:30:00Z", "wind_from_deg": wind, "wind_kn": 10.0}
        for hour, wind in hours
    ]
    beating.plan(beyond(330.0, 20.0), forecast=rows)
    beating.sail(3)
    state = beating.session.state
    board = state.planned.plan.legs[0].boards[0]
    assert len({round(point.heading_deg) for point in board.points}) > 3
    ends = [*(order.time for order in board.orders[1:]), board.end.time]
    for point in board.points[:-1]:
        nth = next(number for number, end in enumerate(ends) if point.time < end)
        later = replace(state, nth=nth, now_s=point.time.timestamp() + 1.0)
        shown = panel.panel(later, beating.session.keeper.desk)["board"]
        held = board.orders[nth]
        # What is ordered is held; the other one swings.
        if held.steer == "heading":
            assert (shown["heading_deg"], shown["twa_deg"]) == (held.heading_deg, point.twa_deg)
        else:
            assert (shown["heading_deg"], shown["twa_deg"]) == (point.heading_deg, held.twa_deg)


# ---- what is not known ----------------------------------------------------------------------


def test_without_a_route_her_own_figures_hold():
    sailing = Sailing(271.0)
    sailing.sail(10)
    document = sailing.panel
    check_shape(document)
    assert (document["state"], document["message"]) == ("waiting", "Waiting for a route.")
    assert [document[name] for name in ("route", "next", "board", "plan")] == [None] * 4
    assert document["figures"]["vmg_kn"] == pytest.approx(3.6, abs=0.4)
    assert document["figures"]["vmc_kn"] is None
    assert document["boat"]["heading_magnetic_deg"] is None
    assert sailing.polar["chosen"] == []
    assert sailing.polar["made_good_kn"] is None
    assert document["polar"] == {"number": sailing.polar["number"]}


def nothing(values: dict[str, Any], *but: str) -> bool:
    return all(value is None for name, value in values.items() if name not in but)


def test_before_anything_is_heard_nothing_is_known():
    sailing = Sailing(0.0)
    sailing.silent(3)
    document = sailing.panel
    check_shape(document)
    assert document["state"] == "waiting"
    assert all(nothing(document[name]) for name in ("boat", "wind", "figures", "ages_s"))
    assert document["stream"] == NO_STREAM
    assert document["polar"] is None


def test_no_old_figure_outlives_a_lost_position(beating):
    lost = ("navigation.position", "navigation.courseOverGroundTrue", "navigation.speedOverGround")
    beating.sail(15, without=lost)
    document = beating.panel
    check_shape(document)
    assert document["state"] == "stale"
    assert "no position" in document["message"]
    assert document["events"][0]["kind"] == "stale"
    gone = ("lat", "lon", "course_over_ground_deg", "speed_over_ground_kn", "east_kn", "north_kn")
    assert [document["boat"][name] for name in gone] == [None] * 6
    assert (document["next"], document["board"], document["laylines"]) == (None, None, [])
    assert nothing(document["figures"])
    assert document["route"]["bearing_deg"] is document["route"]["distance_nm"] is None
    assert document["route"]["next"] == "Mark 1"
    # The instruments that still speak are shown.
    assert document["boat"]["heading_deg"] == pytest.approx(271.0)
    assert document["wind"]["twd_deg"] == pytest.approx(315.0, abs=0.5)
    beating.sail(15)
    assert beating.panel["state"] == "advising"
    assert beating.panel["next"]["point"] == "T1"


def test_a_position_that_stands_still_while_she_makes_way_is_none(beating):
    place = {"latitude": beating.boat.lat, "longitude": beating.boat.lon}
    beating.sail(30, without=("navigation.position",), **{"navigation.position": place})
    assert "frozen" in beating.panel["message"]
    assert beating.panel["boat"]["lat"] is None
    assert beating.panel["next"] is None


def test_no_old_figure_outlives_a_lost_wind(beating):
    wind = ("environment.wind.angleApparent", "environment.wind.speedApparent")
    beating.sail(40, without=wind)
    document = beating.panel
    assert document["state"] == "stale"
    assert nothing(document["wind"])
    assert nothing(document["figures"])
    assert (document["next"], document["polar"]) == (None, None)
    assert document["boat"]["tack"] is None
    assert document["boat"]["lat"] is not None
    beating.sail(10)
    assert beating.panel["polar"] == {"number": beating.polar["number"]}


def test_what_stands_in_for_an_instrument_is_not_shown_as_one(beating):
    beating.sail(20, without=("navigation.headingTrue", "navigation.speedThroughWater"))
    document = beating.panel
    assert document["state"] == "advising"
    assert document["boat"]["heading_deg"] is None
    assert document["boat"]["boat_speed_kn"] is None
    assert document["boat"]["course_over_ground_deg"] is not None
    # What is known of the stream grows old slowly, and says so.
    before = beating.panel["stream"]["doubt_kn"]
    beating.sail(60, without=("navigation.headingTrue", "navigation.speedThroughWater"))
    assert beating.panel["stream"]["doubt_kn"] > before


def test_a_plan_that_cannot_be_made_leaves_nothing(beating):
    beating.strength = 60.0
    for _ in range(300):
        beating.sail(1)
        if beating.panel["state"] == "failed":
            break
    document = beating.panel
    check_shape(document)
    assert document["state"] == "failed"
    assert document["message"].startswith("No plan: ")
    assert [document[name] for name in ("next", "board", "plan")] == [None] * 3
    assert document["laylines"] == []
    assert nothing(document["figures"])


def test_after_the_last_mark_there_is_nothing_ahead():
    sailing = Sailing(40.0)
    sailing.sail(30)
    sailing.plan(beyond(40.0, 0.3))
    sailing.sail(1)
    while sailing.panel["route"] is not None:
        sailing.sail(1)
        assert sailing.boat.seconds < 1200.0
    assert sailing.panel["message"] == "Mark 1 reached."
    assert [sailing.panel[name] for name in ("next", "board", "plan")] == [None] * 3


def test_the_blank_document_is_of_the_same_shape():
    document = panel.blank("The engine is gone.")
    check_shape(document)
    assert document["state"] == "failed"
    assert all(nothing(document[name]) for name in ("boat", "wind", "figures", "ages_s"))


# ---- when it is sent ------------------------------------------------------------------------


def test_one_panel_after_every_tick_and_none_between(beating):
    beating.sent.clear()
    beating.sail(20)
    kinds = [m["type"] for m in beating.sent]
    assert kinds.count("panel") == 20
    sent = beating.say(observation(beating.boat))
    assert "panel" not in [m["type"] for m in sent]


def test_the_last_eight_events_newest_first(beating):
    for at in range(12):
        beating.sail(15, without=("navigation.position",) if at % 2 == 0 else ())
    events = beating.panel["events"]
    assert len(events) == EVENTS_KEPT == 8
    times = [event["time"] for event in events]
    assert times == sorted(times, reverse=True)
    assert set(events[0]) == {"time", "kind", "state", "message"}


# ---- the polar of the moment ---------------------------------------------------------------


def test_the_polar_is_told_when_wind_or_bearing_change(beating):
    beating.sent.clear()
    beating.sail(60)
    assert [m["type"] for m in beating.sent].count("polar") <= 2
    number = beating.panel["polar"]["number"]
    beating.wind = 320.0
    beating.sail(120)
    assert beating.panel["polar"]["number"] > number
    assert beating.polar["twd_deg"] == pytest.approx(320.0, abs=1.0)
    beating.sent.clear()
    beating.plan(beyond(100.0, 3.0))
    beating.sail(3)
    assert beating.polar["bearing_deg"] == pytest.approx(100.0, abs=3.0)


def test_the_polar_chooses_the_boards_of_the_plan(beating):
    document = beating.polar
    boards = beating.plan_shown["legs"][0]["boards"]
    chosen = document["chosen"]
    assert {(c["tack"], c["sail_set"]) for c in chosen} == {
        (b["tack"], b["sail_set"]) for b in boards
    }
    for one in chosen:
        board = next(b for b in boards if b["tack"] == one["tack"])
        assert one["twa_deg"] == pytest.approx(board["twa_deg"], abs=0.5)
        assert one["heading_magnetic_deg"] == pytest.approx((one["heading_deg"] - 4.0) % 360.0)
        assert one["speed_over_ground_kn"] == pytest.approx(board["speed_over_ground_kn"], rel=0.01)
        assert one["steered"] == f"{round(one['heading_magnetic_deg']) % 360:03d}° M"
        speed = f"{one['speed_over_ground_kn']:.1f} kn"
        assert one["words"] == f"{one['tack']} tack, {one['sail_set']}, {speed}"
    shown = document["shown"]
    bearing = f"{round(document['bearing_deg']) % 360:03d}° T"
    assert shown["mark"] == f"to Mark 1, {bearing}: {document['made_good_kn']:.1f} kn made good"
    assert shown["wind"] == "true wind 315° T 10.0 kn"
    assert shown["told"].startswith("Speeds over the ground, north up. True wind from 315° T")
    assert document["format"] == "goosewing.polar/1"
    for curve in document["curves"]:
        assert set(curve["points"][0]) == {"twa_deg", "east_kn", "north_kn", "boat_speed_kn"}
    # The same boat's table, read by SciPy: 10 kn of wind at 90°.
    expected = beating.boat.tables["main and jib"][0](90.0, document["tws_kn"])
    jib = next(c for c in document["curves"] if c["sail_set"] == "main and jib")
    beam = min(jib["points"], key=lambda p: abs(p["twa_deg"] - 90.0))
    assert beam["boat_speed_kn"] == pytest.approx(expected, abs=0.03)
    assert len(json.dumps(document)) < 60_000


@settings(max_examples=15)
@given(heading=st.integers(0, 359), bearing=st.integers(0, 359), wind=st.integers(0, 359))
def test_whatever_the_wind_the_document_keeps_its_shape(heading, bearing, wind):
    sailing = Sailing(float(heading), float(wind))
    sailing.sail(3)
    sailing.plan(beyond(float(bearing), 1.0))
    sailing.sail(3, **{"environment.wind.speedApparent": 5.0 * KNOT})
    check_shape(sailing.panel)
    following = sailing.panel["next"]
    if following is not None:
        assert following["text"].startswith(following["words"])
