"""Another way that proves faster than the plan becomes it, if she was free to sail it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from archipelagos import across
from goosewing.case import Case
from goosewing.foresight import alternatives as instead
from goosewing.options import Options
from goosewing.plan import of_case
from goosewing.records import Alternative, AlternativeBoard
from goosewing.weather.table import parse_table

DEPARTURE = datetime(2027, 6, 1, 6, 0, tzinfo=UTC)
WIND = "\n".join(
    ["time,wind_from_deg,wind_kn", *(f"2027-06-01T{h:02d}:00Z,{20 + h},11" for h in range(6, 20))]
)


def other_way(made, kind, tacks, added_min):
    board = AlternativeBoard(
        tack="port", sail_set="main and jib", twa_deg=45.0, elapsed_h=0.5, heading_deg=None
    )
    return Alternative(
        kind=kind, added_min=added_min, elapsed_h=made.elapsed_h + added_min / 60.0,
        boards=tuple(replace(board, tack=tack) for tack in tacks), manoeuvres=(), track=(),
    )  # fmt: skip


@pytest.fixture(scope="module")
def beat(brisvik):
    case = Case(
        marks=across(25.0, 5.0), boat=brisvik, weather=parse_table(WIND), departure=DEPARTURE
    )
    return case, of_case(case)


def planned_again(case, made, monkeypatch, way):
    """Return how the leg was asked to be sailed, each time that the passage was planned again."""
    asked = []

    def plan(again, **_how):
        asked.append(again.legs)
        return replace(made, elapsed_h=made.elapsed_h - 0.1)

    monkeypatch.setattr(instead.plans, "of_case", plan)
    answers = iter([way])

    def ask(_of, questions):
        return [(each,) if (each := next(answers, None)) else () for _ in questions]

    told = instead.fastest(case, made, ask)
    return asked, told


def test_the_other_board_first_is_the_plan_if_it_is_faster(beat, monkeypatch):
    case, made = beat
    first = made.legs[0].boards[0].tack
    other = "port" if first == "starboard" else "starboard"
    way = other_way(made, "other board first", (other, first), -3.0)
    ((asked,),), told = planned_again(case, made, monkeypatch, way)
    assert (asked.boat, asked.first) == (None, other)
    assert told.elapsed_h < made.elapsed_h


@pytest.mark.parametrize(
    ("kind", "tacks", "first", "free"),
    [
        ("other board first", ("port", "starboard"), "starboard", False),
        ("other board first", ("port", "starboard"), "longer", False),
        ("other board first", ("port", "starboard"), "faster", True),
        ("without the pole", ("port", "starboard"), "starboard", False),
        ("without the pole", ("starboard", "port"), "starboard", True),
        # Who keeps to one tack all the way has no board to begin with.
        ("without the pole", ("port",), "starboard", True),
    ],
)
def test_what_was_asked_for_is_kept_to(beat, monkeypatch, kind, tacks, first, free):
    case, made = beat
    asked = replace(case, options=Options(first=first))
    way = other_way(made, kind, tacks, -3.0)
    again, told = planned_again(asked, made, monkeypatch, way)
    assert bool(again) == free
    assert (told.elapsed_h < made.elapsed_h) == free
    if not free:
        assert way in told.legs[0].alternatives


def test_what_is_as_fast_but_for_seconds_stays_another_way(beat, monkeypatch):
    case, made = beat
    way = other_way(made, "without the pole", ("port", "starboard"), -0.05)
    again, told = planned_again(case, made, monkeypatch, way)
    assert again == []
    assert way in told.legs[0].alternatives
