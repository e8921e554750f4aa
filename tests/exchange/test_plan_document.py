from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from goosewing.errors import InputError
from goosewing.exchange import document
from goosewing.records import Plan

# The members that the published format names, level by level.
PLAN = """format boat departure arrival elapsed_h distance_nm log_nm straight_h saved_min
    bound_h relaxed_h legs notices cautions"""
LEG = "from to elapsed_h straight_h saved_min bound_h boards manoeuvres laylines"
BOARD = """tack sail_set steer start end heading_deg heading_magnetic_deg course_over_ground_deg
    twa_deg tws_kn awa_deg aws_kn boat_speed_kn speed_over_ground_kn leeway_deg heel_deg
    distance_nm log_nm elapsed_h points"""
POINT = "lat lon time heading_deg course_over_ground_deg twa_deg tws_kn"


@pytest.fixture
def written(build: SimpleNamespace) -> dict:
    return json.loads(document.format_plan_json(build.full()))


def test_every_member_of_the_format_is_there(written: dict) -> None:
    leg = written["legs"][0]
    board = leg["boards"][0]
    assert set(PLAN.split()) <= set(written)
    assert set(LEG.split()) <= set(leg)
    assert set(BOARD.split()) <= set(board)
    assert set(POINT.split()) <= set(board["points"][0])
    assert set(board["start"]) == {"lat", "lon", "time"}
    assert set(leg["manoeuvres"][0]) == {"kind", "lat", "lon", "time", "cost_s"}
    assert set(leg["laylines"][0]) == {
        "mark", "tack", "sail_set", "course_over_ground_deg", "points",
    }  # fmt: skip
    assert written["format"] == "goosewing.plan/1"
    assert next(iter(written)) == "format"
    assert (leg["from"], leg["to"]) == ("A", "B")
    assert leg["reasons"] == ["It is upwind."]
    assert board["heading_compass_deg"] is None
    assert [mark["name"] for mark in written["marks"]] == ["A", "B", "C"]
    assert written["marks"][1]["leave"] == "port"
    assert "extras" not in written["marks"][0]


def test_unknown_is_null_and_times_are_whole_seconds_of_utc(written: dict) -> None:
    assert written["relaxed_h"] is None
    assert written["legs"][0]["laylines"][0]["points"][0]["time"] is None
    assert written["departure"] == "2027-06-01T06:00:00Z"


@pytest.mark.parametrize(
    ("time", "text"),
    [
        (datetime(2027, 6, 1, 5, 59, 59, 500_000, tzinfo=UTC), "2027-06-01T06:00:00Z"),
        (datetime(2027, 6, 1, 5, 59, 59, 499_999, tzinfo=UTC), "2027-06-01T05:59:59Z"),
        (datetime(2027, 12, 31, 23, 59, 59, 900_000, tzinfo=UTC), "2028-01-01T00:00:00Z"),
        (
            datetime(2027, 6, 1, 1, tzinfo=timezone(timedelta(hours=2))),
            "2027-05-31T23:00:00Z",
        ),
    ],
)
def test_times(time: datetime, text: str) -> None:
    assert document.format_time(time) == text


def test_a_time_without_zone_is_refused(build: SimpleNamespace) -> None:
    plan = replace(build.full(), departure=datetime(2027, 6, 1))
    with pytest.raises(InputError, match="zone"):
        document.plan_document(plan)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), np.float64("nan")])
def test_no_number_may_be_infinite_or_none_at_all(build: SimpleNamespace, value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        document.plan_document(replace(build.full(), elapsed_h=value))


def test_array_numbers_are_numbers() -> None:
    content = document.document("x/1", a=np.float32(0.5), b=np.array([1, 2]), c=np.float64(1.5))
    assert json.loads(document.format_json(content)) == {
        "format": "x/1", "a": 0.5, "b": [1, 2], "c": 1.5,
    }  # fmt: skip
    assert type(content["c"]) is float
    with pytest.raises(TypeError, match="object has no place"):
        document.document("x/1", a=object())


def test_laylines_alone_are_a_document_too(build: SimpleNamespace) -> None:
    line = build.layline("B", "port", (57.0, 11.0), (57.1, 11.0))
    content = document.document("goosewing.laylines/1", boat="Brisvik", laylines=[line])
    assert content["laylines"][0]["points"][1] == {"lat": 57.1, "lon": 11.0, "time": None}


def in_whole_seconds(plan: Plan) -> Plan:
    return document.parse_plan(document.format_plan_json(plan))


def test_a_plan_comes_back_as_it_went(build: SimpleNamespace) -> None:
    plan = build.full()
    back = in_whole_seconds(plan)
    assert back.departure == datetime(2027, 6, 1, 6, tzinfo=UTC)
    assert back.legs[1].boards[0].awa_deg == plan.legs[1].boards[0].awa_deg
    assert back.marks == plan.marks
    assert replace(back, departure=plan.departure, arrival=plan.arrival, legs=plan.legs) == plan
    assert in_whole_seconds(back) == back


@settings(deadline=None)
@given(
    figure=st.floats(allow_nan=False, allow_infinity=False),
    name=st.text(st.characters(exclude_categories=["Cs"]), min_size=1),
)
def test_any_figure_and_any_name_come_back(
    build: SimpleNamespace, figure: float, name: str
) -> None:
    plan = replace(build.full(), saved_min=figure, boat=name)
    back = in_whole_seconds(plan)
    assert (back.saved_min, back.boat) == (figure, name)


def test_indented_or_on_one_line(build: SimpleNamespace) -> None:
    plan = build.full()
    wide, tight = document.format_plan_json(plan), document.format_plan_json(plan, indent=None)
    assert wide.startswith(b'{\n  "format": "goosewing.plan/1",\n')
    assert tight.count(b"\n") == 1
    assert tight.endswith(b"}\n")
    assert json.loads(wide) == json.loads(tight)
    assert document.format_plan_json(build.full()) == wide


def test_a_plan_of_strangers_may_leave_out_ours_and_add_theirs(written: dict) -> None:
    del written["marks"]
    for leg in written["legs"]:
        del leg["reasons"]
        leg["colour"] = "red"
    written["departure"] = "2027-06-01T08:00:00+02:00"
    plan = document.parse_plan(json.dumps(written).encode())
    assert plan.marks == ()
    assert plan.departure == datetime(2027, 6, 1, 6, tzinfo=UTC)
    assert plan.departure.tzinfo is UTC


def test_a_document_with_manoeuvres_beside_its_boards_alone_is_the_same_plan(
    build: SimpleNamespace, written: dict
) -> None:
    for board in (board for leg in written["legs"] for board in leg["boards"]):
        del board["manoeuvres"], board["point"]
    assert document.parse_plan(json.dumps(written).encode()) == in_whole_seconds(build.full())
    for board in (board for leg in written["legs"] for board in leg["boards"]):
        board["start"]["time"] = None
    back = document.parse_plan(json.dumps(written).encode())
    assert [len(b.manoeuvres) for leg in back.legs for b in leg.boards] == [0, 1, 2, 1, 1]


def broken(data: dict, fault: str) -> dict:
    board = data["legs"][0]["boards"][0]
    match fault:
        case "no format":
            del data["format"]
        case "other format":
            data["format"] = "goosewing.plan/2"
        case "no figure":
            del data["elapsed_h"]
        case "no from":
            del data["legs"][0]["from"]
        case "text for number":
            board["twa_deg"] = "43"
        case "unknown tack":
            board["tack"] = "larboard"
        case "no zone":
            data["departure"] = "2027-06-01T06:00:00"
        case "off the earth":
            board["start"]["lat"] = 91.0
        case "legs no list":
            data["legs"] = 3
        case "leg no object":
            data["legs"] = [3]
    return data


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("no format", '"format": "goosewing.plan/1"'),
        ("other format", '"format": "goosewing.plan/1"'),
        ("no figure", "`elapsed_h`"),
        ("no from", "`from`"),
        ("text for number", r"legs\[0\].boards\[0\].twa_deg"),
        ("unknown tack", r"legs\[0\].boards\[0\].tack"),
        ("no zone", "lacks its zone"),
        ("off the earth", "91"),
        ("legs no list", "legs"),
        ("leg no object", r"legs\[0\]"),
    ],
)
def test_a_broken_plan_is_refused_in_one_line(written: dict, fault: str, words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        document.parse_plan(json.dumps(broken(written, fault)).encode(), where="plan.json")
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("plan.json: ")


@pytest.mark.parametrize(
    "data", [b"", b"{", b"[1]", b"null", b"\xff\xfe", b'{"format": NaN}', b"[" * 100_000]
)
def test_what_is_no_plan_at_all_is_refused_in_one_line(data: bytes) -> None:
    with pytest.raises(InputError) as caught:
        document.parse_plan(data)
    assert "\n" not in str(caught.value)


def test_to_disk(tmp_path: Path, build: SimpleNamespace) -> None:
    path = tmp_path / "plan.json"
    document.write_json(path, build.full())
    assert path.read_bytes() == document.format_plan_json(build.full())
    with pytest.raises(InputError, match="is an input"):
        document.write_json(path, {"format": "x/1"}, inputs=[path])
