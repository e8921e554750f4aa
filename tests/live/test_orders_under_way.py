"""Along one board the helm is given several orders: each at its place, told ahead, by its name."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from core_watch import Watch, beyond
from goosewing.compass.headings import with_variation
from goosewing.live.alone.one_line import one_line
from goosewing.live.alone.overlay import next_point
from goosewing.live.alone.steering import guide
from goosewing.live.core import orders, standing
from goosewing.live.core.state import Order, PlanReady, State
from goosewing.live.core.step import step
from goosewing.live.host import signalk
from goosewing.live.panel.document import panel
from goosewing.records import Board, Plan
from goosewing.records import Order as Told

PLACES = (0.0, 0.15, 0.3)
"""Where the first board's orders are given, as shares of it."""


def along(board: Board, share: float, **told: Any) -> Told:
    begin, end = board.start, board.end
    assert begin.time is not None
    return Told(
        time=begin.time + timedelta(hours=share * board.elapsed_h),
        lat=begin.lat + share * (end.lat - begin.lat),
        lon=begin.lon + share * (end.lon - begin.lon), **told,
    )  # fmt: skip


def by_three_orders(plan: Plan) -> Plan:
    """The first board by a heading, then by an angle to the wind, then by another heading."""
    leg = plan.legs[0]
    board = leg.boards[0]
    heading, twa = board.heading_deg, board.twa_deg
    told = (
        along(board, PLACES[0], steer="heading", heading_deg=heading, twa_deg=twa),
        along(board, PLACES[1], steer="angle", heading_deg=heading, twa_deg=twa + 1.0),
        along(board, PLACES[2], steer="heading", heading_deg=heading + 4.0, twa_deg=twa),
    )
    boards = (replace(board, orders=told, points=board.points[:1]), *leg.boards[1:])
    return replace(plan, legs=(replace(leg, boards=boards), *plan.legs[1:]))


class Ordered(Watch):
    """A service whose plans have several orders along the first board."""

    def take(self, observation) -> None:
        waiting = [observation]
        while waiting:
            self.state, outputs = step(self.state, waiting.pop(0), self.desk)
            self.outputs += outputs
            for output in outputs:
                if isinstance(output, Order):
                    plan = by_three_orders(orders.carry_out(output, self.desk))
                    waiting.append(PlanReady(number=output.number, plan=plan))


@pytest.fixture
def ordered(brisvik) -> Ordered:
    watch = Ordered(brisvik)
    watch.heading = 271.0
    watch.sail(30)
    watch.route(beyond(318.0, 3.0))
    watch.sail(2)
    return watch


def shown(watch: Watch) -> dict[str, Any]:
    return panel(watch.state, watch.desk)


def until(watch: Watch, point: str) -> None:
    while not any(event.values["point"] == point for event in watch.events("new_order")):
        assert watch.state.pending is None
        watch.sail(1)


def test_each_order_is_next_then_holds_and_nobody_has_to_acknowledge_it(ordered):
    board = ordered.state.planned.plan.legs[0].boards[0]
    first, second, third = board.orders
    assert (first.point, second.point, third.point) == (None, "A1", "A2")
    document = shown(ordered)
    assert document["board"]["order"].startswith(f"steer {round(first.heading_deg):03d}° T (TWA")
    assert document["next"]["point"] == "A1"
    assert document["next"]["order"] == (
        f"steer TWA {second.twa_deg:.0f}° ({round(second.heading_deg):03d}° T)"
    )
    assert "Alter course in" in document["next"]["text"]
    distance = document["next"]["distance_nm"]
    assert distance == pytest.approx(PLACES[1] * board.distance_nm, rel=0.03)
    assert document["next"]["time_s"] == pytest.approx(distance / 5.5 * 3600.0, rel=0.1)

    until(ordered, "A1")
    assert ordered.state.nth == 1
    (told,) = ordered.events("new_order")
    assert (told.severity, told.message) == ("alert", "A1 now: alter course.")
    passed = standing.to_place(ordered.state, second.lat, second.lon).distance_nm
    assert passed < 0.03
    document = shown(ordered)
    assert (document["shown"]["now"]["by"], document["next"]["point"]) == ("angle", "A2")
    assert document["shown"]["now"]["twa"] == f"{second.twa_deg:.0f}°"
    # For a minute it is said to be new.
    assert document["shown"]["now"]["title"] == "A1 now: steer"
    ordered.sail(61)
    assert shown(ordered)["shown"]["now"]["title"] == "Steer now"
    assert "waiting" not in ordered.last_status().message

    until(ordered, "A2")
    document = shown(ordered)
    assert document["shown"]["now"]["steer"] == f"{round(third.heading_deg):03d}° T"
    assert document["next"]["point"] == "T1"
    assert f"steer {round(third.heading_deg):03d}° T" in one_line(document)
    # And the turn at the board's end is one that waits for the crew, as ever.
    while ordered.state.pending is None:
        ordered.sail(1)
    assert ordered.state.pending.point == "T1"


def test_stand_by_is_said_before_an_order_too(ordered):
    until(ordered, "A2")
    said = [event.message for event in ordered.events("approach")]
    assert any(words.startswith("Stand by: A1 in") for words in said)
    assert all("alter course" in words for words in said if "A1" in words or "A2" in words)


def test_a_tack_before_the_last_order_is_noticed(ordered):
    ordered.heading = 359.0
    ordered.sail(60)
    assert "On port tack before T1" in ordered.events("turn_now")[0].message


def test_what_is_published_and_sent_lies_at_the_order_s_place(ordered):
    state: State = ordered.state
    plan = with_variation(state.planned.plan, lambda *_: 3.0)
    second = plan.legs[0].boards[0].orders[1]
    found = signalk.resources(plan, state.route)
    waypoints = [value for (kind, _), value in found.items() if kind == "waypoints"]
    (there,) = [each for each in waypoints if each["name"] == "A1"]
    assert there["feature"]["geometry"]["coordinates"] == pytest.approx([second.lon, second.lat])
    assert there["description"].startswith("alter course")
    (note,) = [
        value for (kind, _), value in found.items()
        if kind == "notes" and value["title"].startswith("A1")
    ]  # fmt: skip
    assert note["title"] == "A1: alter course"
    route = next(
        value for (kind, _), value in found.items()
        if kind == "routes" and value["feature"]["properties"]["role"] == "plan"
    )  # fmt: skip
    places = route["feature"]["geometry"]["coordinates"]
    assert len(places) == len({tuple(place) for place in places})
    led = guide(state, None, {})
    assert led is not None
    assert (led.waypoint, led.end) == ("A1", (second.lat, second.lon))
    point = next_point(plan)
    assert point is not None
    assert (point.name, point.lat, point.lon) == ("A1", second.lat, second.lon)
