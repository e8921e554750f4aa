"""A board steered by several orders: each is told, at its place, by one name."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import gpxpy
import pytest

from goosewing.compass.headings import with_variation
from goosewing.exchange.document import format_plan_json, parse_plan
from goosewing.exchange.geojson import format_geojson
from goosewing.exchange.gpx.marks import parse_marks
from goosewing.exchange.gpx.plans import format_plan
from goosewing.exchange.handheld.files import format_contents, parse_contents
from goosewing.exchange.handheld.plans import fit_plan
from goosewing.exchange.handheld.routes import PRESETS, fit
from goosewing.records import Board, BoardPoint, Fix, Leg, Manoeuvre, Mark, Order, Plan
from goosewing.turns import names, numbered, numbered_like, stops
from goosewing.words.points import steering
from goosewing_cli.show import show_plan

DEPARTURE = datetime(2027, 6, 1, 6, tzinfo=UTC)


def point(hours: float, heading_deg: float) -> BoardPoint:
    """Northwards at 6 kn."""
    return BoardPoint(
        lat=57.0 + hours / 10.0, lon=11.0, time=DEPARTURE + timedelta(hours=hours),
        heading_deg=heading_deg, course_over_ground_deg=0.0, twa_deg=60.0, tws_kn=10.0,
    )  # fmt: skip


def order(hours: float, steer: str, heading_deg: float) -> Order:
    at = point(hours, heading_deg)
    return Order(
        time=at.time, lat=at.lat, lon=at.lon, steer=steer,  # type: ignore[arg-type]
        heading_deg=heading_deg, twa_deg=60.0,
    )  # fmt: skip


def board(tack: str, points: tuple[BoardPoint, ...], orders: tuple[Order, ...], **more) -> Board:
    first, last = points[0], points[-1]
    hours = (last.time - first.time) / timedelta(hours=1)
    ends = [Fix(lat=each.lat, lon=each.lon, time=each.time) for each in (first, last)]
    return Board(
        tack=tack, sail_set="main and jib", steer=orders[0].steer,  # type: ignore[arg-type]
        start=ends[0], end=ends[1], heading_deg=first.heading_deg, course_over_ground_deg=0.0,
        twa_deg=60.0, tws_kn=10.0, awa_deg=40.0, aws_kn=14.0, boat_speed_kn=6.0,
        speed_over_ground_kn=6.0, leeway_deg=3.0, heel_deg=None, distance_nm=6.0 * hours,
        log_nm=6.0 * hours, elapsed_h=hours, points=points, orders=orders, **more,
    )  # fmt: skip


@pytest.fixture
def plan() -> Plan:
    """A board by three orders (a heading, an angle that swings, a heading), a tack, one order."""
    first = board(
        "port",
        (point(0, 350), point(1, 0), point(1.5, 5), point(2, 8), point(3, 8)),
        (order(0, "heading", 350.0), order(1, "angle", 0.0), order(2, "heading", 8.0)),
    )
    place = first.end
    turn = Manoeuvre(kind="tack", lat=place.lat, lon=place.lon, time=place.time, cost_s=0.0)  # type: ignore[arg-type]
    second = board(
        "starboard", (point(3, 300), point(4, 300)), (order(3, "heading", 300.0),),
        manoeuvres=(turn,),
    )  # fmt: skip
    marks = (Mark(name="A", lat=57.0, lon=11.0), Mark(name="B", lat=57.4, lon=11.0))
    leg = Leg(
        origin="A", destination="B", elapsed_h=4.0, straight_h=None, saved_min=None, bound_h=None,
        boards=(first, second), laylines=(),
    )  # fmt: skip
    return numbered(Plan(
        boat="trial", departure=DEPARTURE, arrival=DEPARTURE + timedelta(hours=4), elapsed_h=4.0,
        distance_nm=24.0, log_nm=24.0, straight_h=None, saved_min=None, bound_h=None,
        relaxed_h=None, marks=marks, legs=(leg,), notices=(),
    ))  # fmt: skip


ROUTE = ["A", "A1", "A2", "T1", "B"]


def test_every_order_but_the_first_of_a_board_is_a_turning_point(plan):
    assert [stop.name for stop in stops(plan)] == ROUTE
    assert [stop.kind for stop in stops(plan)][1:4] == ["course change", "course change", "tack"]
    assert names(plan) == ("A1", "A2", "T1")


def test_what_swings_is_judged_order_by_order(plan):
    first = plan.legs[0].boards[0]
    assert [steering(first, nth).keep_twa_deg for nth in range(3)] == [None, 60.0, None]
    assert [steering(first, nth).heading_deg for nth in range(3)] == [350.0, 0.0, 8.0]


def test_route_and_handheld_gps_tell_each_order(plan):
    text = format_plan(plan)
    route = gpxpy.parse(text).routes[0].points
    assert [each.name for each in route] == ROUTE
    assert [each.description for each in route] == [
        "on port tack, main and jib, steer 350°, 0600Z",
        "alter course, on port tack, main and jib, steer 000° at first, "
        "keep the true wind at 60°, 0700Z",
        "alter course, on port tack, main and jib, steer 008°, 0800Z",
        "onto starboard tack, main and jib, steer 300°, 0900Z",
        "arrive 1000Z",
    ]
    direct = fit_plan(plan)
    assert [each.comment for each in direct.contents.routes[0].points] == [
        "P, 350, 0600Z", "P TWA60 000", "P, 008, 0800Z", "TACK S 300 0900Z", "ARRIVE 1000Z",
    ]  # fmt: skip
    by_file = fit(parse_contents(text), replace(PRESETS["small"], extensions=False))
    assert format_contents(by_file.contents) == format_contents(direct.contents)
    assert [mark.name for mark in parse_marks(text.encode()).marks] == ["A", "B"]


def test_the_document_comes_back_whole(plan):
    written = json.loads(format_plan_json(plan))
    orders = written["legs"][0]["boards"][0]["orders"]
    assert [each["point"] for each in orders] == [None, "A1", "A2"]
    assert parse_plan(json.dumps(written).encode()) == plan


def test_features(plan):
    features = json.loads(format_geojson(plan))["features"]
    found = [f for f in features if f["properties"]["feature"] == "order"]
    assert [f["properties"]["point"] for f in found] == ["A1", "A2"]
    assert found[0]["geometry"] == {"type": "Point", "coordinates": [11.0, 57.1]}


def test_the_table_gives_each_order_a_row(plan, capsys):
    show_plan(with_variation(plan, 4.0))
    table = capsys.readouterr().out
    assert "0700Z  A1: alter course" in table
    assert "0800Z  A2: alter course" in table
    assert "57°06.00'N 011°00.00'E" in table
    row = next(line for line in table.splitlines() if "A2: alter course" in line)
    assert row.rstrip().endswith("008°T")


def test_dials_follow_each_order(plan):
    orders = with_variation(plan, 4.0).legs[0].boards[0].orders
    assert [each.heading_magnetic_deg for each in orders] == [346.0, 356.0, 4.0]


def test_orders_ahead_keep_their_names(plan):
    # An hour and a half later: A1 lies behind.
    first, second = plan.legs[0].boards
    rest = replace(first, start=Fix(lat=57.15, lon=11.0), orders=first.orders[1:], point=None)
    here = (Mark(name="Here", lat=57.15, lon=11.0), plan.marks[1])
    anew = replace(plan, marks=here, legs=(replace(plan.legs[0], boards=(rest, second)),))
    assert names(numbered(anew)) == ("A1", "T1")
    assert names(numbered_like(anew, plan)) == ("A2", "T1")
