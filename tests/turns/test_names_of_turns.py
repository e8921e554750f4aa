"""Every turn has one name, in the plan, and keeps it when the plan is made anew."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from goosewing import plan as planning
from goosewing.earth.geodesy import loxodrome_direct
from goosewing.records import Board, Fix, Leg, Manoeuvre, Mark, Plan
from goosewing.turns import LETTERS, Numbers, names, numbered, numbered_like, stops
from goosewing.weather.steady import SteadyWeather

DEPARTURE = datetime(2027, 6, 1, 6, tzinfo=UTC)
SPEED_KN = 6.0

Step = tuple[str, str, str, float]
"""What is done, tack, sails and miles of a board."""


def board(lat: float, time: datetime, step: Step) -> Board:
    """A board due north, with what is done before it."""
    done, tack, sails, miles = step
    turns = tuple(
        Manoeuvre(kind=kind, lat=lat, lon=11.0, time=time, cost_s=0.0)  # type: ignore[arg-type]
        for kind in done.split()
    )
    hours = miles / SPEED_KN
    values: dict[str, Any] = dict.fromkeys(
        ("heading_deg", "course_over_ground_deg", "twa_deg", "tws_kn", "awa_deg", "aws_kn"), 0.0
    )
    values |= dict.fromkeys(("boat_speed_kn", "speed_over_ground_kn"), SPEED_KN)
    end = Fix(lat=lat + miles / 60.0, lon=11.0, time=time + timedelta(hours=hours))
    return Board(
        tack=tack, sail_set=sails, steer="heading",  # type: ignore[arg-type]
        start=Fix(lat=lat, lon=11.0, time=time), end=end, leeway_deg=0.0, heel_deg=None,
        distance_nm=miles, log_nm=miles, elapsed_h=hours, points=(), manoeuvres=turns,
        engine=sails == "engine", **values,
    )  # fmt: skip


def a_plan(*legs: Sequence[Step], lat: float = 57.0, marks: Sequence[str] = "ABCDEF") -> Plan:
    """A plan of boards due north, a mark at the end of each leg; not yet numbered."""
    time, made, places = DEPARTURE, [], [Mark(name=marks[0], lat=lat, lon=11.0)]
    for number, steps in enumerate(legs):
        boards = []
        for step in steps:
            boards.append(board(lat, time, step))
            lat, time = boards[-1].end.lat, time + timedelta(hours=boards[-1].elapsed_h)
        places.append(Mark(name=marks[number + 1], lat=lat, lon=11.0))
        made.append(
            Leg(origin=marks[number], destination=marks[number + 1], elapsed_h=1.0,
                straight_h=None, saved_min=None, bound_h=None, boards=tuple(boards), laylines=())
        )  # fmt: skip
    return Plan(
        boat="trial", departure=DEPARTURE, arrival=time, elapsed_h=1.0, distance_nm=1.0, log_nm=1.0,
        straight_h=None, saved_min=None, bound_h=None, relaxed_h=None, marks=tuple(places),
        legs=tuple(made), notices=(),
    )  # fmt: skip


START: Step = ("", "starboard", "main and jib", 3.0)
BEAT: tuple[Step, ...] = (
    START,
    ("tack", "port", "main and jib", 3.0),
    ("tack", "starboard", "main and jib", 3.0),
)


def test_each_kind_has_its_letter_and_its_own_numbers_over_all_legs():
    plan = numbered(
        a_plan(
            [*BEAT, ("", "starboard", "main and jib", 1.0)],
            [
                ("gybe set_pole", "port", "wing-and-wing", 2.0),
                ("strike_pole", "port", "main and jib", 2.0),
                ("gybe set_pole", "starboard", "wing-and-wing", 2.0),
                ("strike_pole change_sails", "starboard", "main alone", 2.0),
                ("change_sails", "starboard", "main and jib", 2.0),
            ],
            [
                ("", "starboard", "engine", 1.0),
                ("", "starboard", "main and jib", 1.0),
                ("tack", "port", "main and jib", 1.0),
                ("", "port", "engine", 1.0),
            ],
        )
    )
    # Strike and change together are the pole's; sails set after the engine are a change of sails.
    assert names(plan) == ("T1", "T2", "A1", "P1", "G1", "P2", "C1", "C2", "T3", "E1")
    assert [leg.boards[0].point for leg in plan.legs] == [None] * 3


def test_no_turn_is_called_like_a_mark_in_either_case_of_letters():
    assert names(numbered(a_plan(BEAT, marks=("t1", "T3")))) == ("T2", "T4")


def test_numbering_again_changes_nothing():
    plan = numbered(a_plan(BEAT, BEAT))
    assert numbered(plan) == plan


def test_a_stop_is_called_as_its_mark_or_its_board():
    plan = numbered(a_plan(BEAT, BEAT[1:]))
    assert [stop.name for stop in stops(plan)] == ["A", "T1", "T2", "B", "T3", "C"]
    assert [stop.last for stop in stops(plan)] == [False] * 5 + [True]


def test_a_plan_is_numbered_when_it_is_made(brisvik):
    marks = (Mark(name="S", lat=57.0, lon=11.0), Mark(name="N", lat=57.2, lon=11.0))
    plan = planning.make(marks, brisvik, SteadyWeather(0.0, 12.0), DEPARTURE)
    assert names(plan)[0] == "T1"
    assert numbered(plan) == plan


# ---- made anew under way ----------------------------------------------------------------------


def from_here(miles: float, *legs: Sequence[Step]) -> Plan:
    """A plan that begins so far on the way, as the service makes it."""
    return a_plan(*legs, lat=57.0 + miles / 60.0, marks=("Here", "B", "C"))


def test_turns_ahead_keep_their_names_and_those_behind_are_not_used_again():
    before = numbered(a_plan(BEAT, BEAT[1:]))
    assert names(before) == ("T1", "T2", "T3")
    # One mile past T1: what was the second tack is now the first.
    anew = from_here(4.0, [("", "port", "main and jib", 2.0), BEAT[2]], BEAT[1:])
    assert names(numbered(anew)) == ("T1", "T2")
    assert names(numbered_like(anew, before)) == ("T2", "T3")


def test_a_turn_that_is_new_gets_a_number_nobody_has_heard():
    before = numbered(a_plan(BEAT))
    anew = from_here(
        4.0,
        [
            ("", "port", "main and jib", 2.0),
            BEAT[2],
            ("tack", "port", "main and jib", 1.0),
            ("gybe", "starboard", "main and jib", 1.0),
        ],
    )
    assert names(numbered_like(anew, before)) == ("T2", "T3", "G1")
    assert names(numbered_like(anew, before, used=("T7", "G1"))) == ("T2", "T8", "G2")


def test_without_a_plan_before_numbers_go_on_behind_those_used():
    plan = a_plan(BEAT)
    assert numbered_like(plan, None) == numbered(plan)
    assert names(numbered_like(numbered(plan), None, used=("T4", "A1"))) == ("T5", "T6")


def test_another_kind_another_tack_other_sails_another_mark_or_far_off_is_another_turn():
    before = numbered(a_plan(BEAT))
    start = ("", "starboard", "main and jib", 2.0)
    for turn in (
        ("gybe", "port", "main and jib", 6.0),
        ("tack", "starboard", "main and jib", 6.0),
        ("tack", "port", "main alone", 6.0),
    ):
        (name,) = names(numbered_like(from_here(1.0, [start, turn]), before))
        assert name not in names(before)
    to_c = from_here(1.0, [start], [BEAT[0], BEAT[1]])
    assert names(numbered_like(to_c, before)) == ("T3",)
    for moved, name in ((0.4, "T1"), (0.9, "T1"), (2.0, "T3")):
        later = from_here(1.0, [("", "starboard", "main and jib", 2.0 + moved), BEAT[1]])
        assert names(numbered_like(later, before)) == (name,)


def test_what_is_due_right_here_keeps_the_name_it_was_announced_by():
    before = numbered(a_plan(BEAT))
    anew = numbered_like(from_here(2.95, [BEAT[1], BEAT[2]]), before)
    assert names(anew) == ("T1", "T2")
    assert [stop.name for stop in stops(anew)] == ["Here", "T2", "B"]


def test_under_engine_the_tack_does_not_make_another_turn():
    before = numbered(a_plan([START, ("", "port", "engine", 3.0)]))
    anew = from_here(1.0, [("", "starboard", "main and jib", 2.0), ("", "starboard", "engine", 3)])
    assert names(numbered_like(anew, before)) == ("E1",)


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["", "tack", "gybe", "set_pole", "change_sails", "strike_pole gybe"]),
        st.sampled_from(["port", "starboard"]),
        st.sampled_from(["main and jib", "wing-and-wing", "engine"]),
        st.floats(0.1, 5.0),
    ),
    min_size=1,
    max_size=6,
)


@settings(deadline=None, max_examples=60)
@given(st.lists(STEPS, min_size=1, max_size=3), st.lists(STEPS, min_size=1, max_size=3))
def test_names_are_never_given_twice_and_tell_their_kind(one, other):
    before = numbered(a_plan(*one))
    anew = numbered_like(a_plan(*other), before)
    given_names = names(anew)
    assert len(set(given_names)) == len(given_names)
    for stop in stops(anew):
        if stop.mark is None:
            assert stop.name is not None
            assert stop.name[0] == LETTERS[stop.kind]


@settings(deadline=None, max_examples=60)
@given(st.lists(STEPS, min_size=1, max_size=3))
def test_the_same_plan_made_anew_has_the_same_names(legs):
    before = numbered(a_plan(*legs))
    assert numbered_like(a_plan(*legs), before) == before


@pytest.mark.parametrize("bearing", [0.0, 90.0, 217.0])
def test_the_way_round_the_compass_changes_no_name(brisvik, bearing):
    far = loxodrome_direct(0.0, 11.0, bearing, 20.0)
    marks = (
        Mark(name="S", lat=0.0, lon=11.0), Mark(name="N", lat=float(far.lat), lon=float(far.lon)),
    )  # fmt: skip
    plan = planning.make(marks, brisvik, SteadyWeather(bearing, 12.0), DEPARTURE)
    assert names(plan) == ("T1",)


def test_numbers_go_on_behind_names_of_their_own_form_only():
    numbers = Numbers({"t2"})
    numbers.after(("T1", "Anholt 7", "t9"))
    assert [numbers.next("T"), numbers.next("T"), numbers.next("G")] == ["T3", "T4", "G1"]
