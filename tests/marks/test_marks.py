"""Marks from here on, behind her dropped, left on a hand."""

from __future__ import annotations

import pytest

from goosewing.errors import InputError
from goosewing.marks import from_here
from goosewing.records import Mark

ROUND = tuple(
    Mark(name=name, lat=57.0 + n / 10, lon=11.0) for n, name in enumerate(["A", "B", "C", "B"])
)


def test_marks_behind_her_are_dropped_and_said():
    made = from_here.from_next(ROUND, "C")
    assert [m.name for m in made.marks] == ["C", "B"]
    assert made.notices == ("Left behind: A, B.",)


def test_a_name_is_found_whatever_its_case_unless_both_stand_there():
    assert from_here.from_next(ROUND, " c ").marks[0].name == "C"
    both = (Mark(name="b", lat=0, lon=0), Mark(name="B", lat=1, lon=1))
    assert from_here.from_next(both, "B").marks == both[1:]


def test_a_name_that_stands_twice_is_said():
    assert any("2 times" in notice for notice in from_here.from_next(ROUND, "B").notices)


@pytest.mark.parametrize("name", ["D", "", "A, B"])
def test_an_unknown_mark_lists_those_there_are(name):
    with pytest.raises(InputError, match=r"no mark is called .*; there are A, B, C$"):
        from_here.from_next(ROUND, name)


def test_her_own_position_comes_first():
    made = from_here.starting_here(ROUND, 56.5, 10.0)
    assert (made.marks[0].name, made.marks[0].lat, made.marks[0].lon) == ("Here", 56.5, 10.0)
    assert made.marks[1:] == ROUND
    assert made.notices == ()


def test_at_the_first_mark_she_is_told_so_and_starts_from_it():
    sided = (
        Mark(name="A", lat=57.0, lon=11.0, leave="port", leave_distance_nm=0.2),
        *ROUND[1:],
    )
    made = from_here.starting_here(sided, 57.000001, 11.0)
    assert [m.name for m in made.marks] == ["A", "B", "C", "B"]
    assert made.marks[0].leave is None
    assert made.notices == ("She is at A already: the plan starts there.",)


def test_every_mark_of_a_name_is_left_so():
    made = from_here.leaving(ROUND, [from_here.Leave("B", "starboard", 0.3)])
    assert [(m.leave, m.leave_distance_nm) for m in made] == [
        (None, 0.0),
        ("starboard", 0.3),
        (None, 0.0),
        ("starboard", 0.3),
    ]


@pytest.mark.parametrize(
    ("text", "leave"),
    [
        ("B=port:0.2", ("B", "port", 0.2)),
        ("Buoy 3 = Starboard : 1", ("Buoy 3", "starboard", 1.0)),
        ("x=y=port:.5", ("x=y", "port", 0.5)),
    ],
)
def test_how_a_mark_is_left_is_read(text, leave):
    assert from_here.parse_leave(text) == leave


@pytest.mark.parametrize(
    "text",
    ["", "B", "B=port", "=port:0.2", "B=left:0.2", "B=port:0", "B=port:-1", "B=port:near",
     "B=port:nan", "B=port:100", "B:port=0.2"],
)  # fmt: skip
def test_how_no_mark_is_left_is_refused(text):
    with pytest.raises(InputError, match="--leave"):
        from_here.parse_leave(text)


@pytest.mark.parametrize("swapped", [0, 1])
def test_latitude_and_longitude_exchanged_are_asked_after(swapped):
    from goosewing.plan import usable_marks

    marks = [Mark(name="Out", lat=56.5, lon=11.5), Mark(name="Bell buoy", lat=56.55, lon=11.8)]
    assert usable_marks(marks)[1] == ()
    odd = marks[swapped]
    marks[swapped] = Mark(name=odd.name, lat=odd.lon, lon=odd.lat)
    kept, notices = usable_marks(marks)
    assert len(kept) == 2
    assert "latitude and longitude exchanged" in " ".join(notices)


def test_a_leg_over_an_ocean_is_not_asked_after():
    from goosewing.plan import usable_marks

    marks = [Mark(name="Out", lat=50.0, lon=-5.0), Mark(name="Far", lat=38.5, lon=-28.6)]
    assert usable_marks(marks)[1] == ()
