"""What was passed stays passed: killed and started again, after a short gap and a long one."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest

from core_watch import HERE, Watch, beyond
from goosewing.earth import local_plane
from goosewing.live.core import memory, sensing
from goosewing.live.core.state import Acknowledge, Answer, Carries, Memory, Route, State
from goosewing.live.core.step import refusal
from goosewing.live.memory_file import MemoryFile
from goosewing.records import Mark

FIRST = beyond(225.0, 0.6)
SECOND = (FIRST[0] - 3.0 / 60.0, FIRST[1])
MARKS = (
    Mark(name="Start", lat=HERE[0], lon=HERE[1]),
    Mark(name="Dan", lat=FIRST[0], lon=FIRST[1]),
    Mark(name="Hed", lat=SECOND[0], lon=SECOND[1]),
)


@pytest.fixture
def rounded(brisvik) -> Watch:
    """On the way to Hed, Dan rounded."""
    watch = Watch(brisvik)
    watch.twd, watch.heading, watch.speed = 315.0, 225.0, 6.0
    watch.sail(30)
    watch.take(Route(id="r", name="R", marks=MARKS))
    while not watch.events("mark_rounded"):
        watch.sail(1)
    watch.heading = 180.0
    watch.sail(240)
    assert watch.state.route.next == 2
    return watch


def again(before: Watch, brisvik, gap_s: float, kept: Memory | None, **route) -> Watch:
    """A new service on the same boat, so much later, told of the same route from its first mark."""
    watch = Watch(brisvik)
    watch.twd, watch.heading, watch.speed = before.twd, before.heading, before.speed
    watch.lat, watch.lon, watch.now = before.lat, before.lon, before.now + gap_s
    if kept is not None:
        watch.state = memory.begun(State(), kept)
    watch.take(Route(id="other", name="R", marks=MARKS, next=1, remembered=kept, **route))
    watch.sail(5)
    return watch


def test_after_a_short_gap_a_mark_that_was_rounded_stays_rounded(rounded, brisvik):
    kept = memory.of(rounded.state)
    watch = again(rounded, brisvik, 20.0, kept)
    assert watch.state.route.next == 2
    assert watch.state.planned.order.next == 2
    assert watch.state.question is None
    assert "Dan rounded before the restart: on to Hed" in watch.events("mark_rounded")[0].message
    assert not watch.events("turn_now")


def test_without_what_was_kept_a_mark_astern_is_asked_about_and_nothing_ordered(rounded, brisvik):
    rounded.sail(900)
    watch = again(rounded, brisvik, 20.0, None)
    watch.sail(60)
    (asked,) = watch.events("asked")
    assert "Dan lies astern" in asked.message
    assert watch.state.planned is None
    assert watch.last_status().state == "waiting"
    assert "Rounded?" in watch.last_status().message
    assert not watch.events("turn_now")
    watch.take(Answer(question="passed", choice="yes"))
    watch.sail(3)
    assert watch.state.planned.order.next == 2


def test_after_a_long_gap_the_crew_is_asked(rounded, brisvik):
    kept = memory.of(rounded.state)
    watch = again(rounded, brisvik, 3 * 3600.0, kept)
    (asked,) = watch.events("asked")
    assert "kept 3 h ago" in asked.message
    assert watch.state.planned is None
    watch.take(Answer(question="passed", choice="no"))
    # By a wind that is heard for some seconds nobody is told to turn.
    watch.sail(10)
    assert watch.state.planned.order.next == 1


def test_after_a_gap_in_which_she_has_gone_farther_than_she_can_the_crew_is_asked(rounded, brisvik):
    kept = replace(memory.of(rounded.state), lat=rounded.lat - 0.2)
    watch = again(rounded, brisvik, 20.0, kept)
    assert watch.events("asked")


def test_other_marks_have_another_memory(rounded, brisvik):
    kept = replace(memory.of(rounded.state), content=memory.content_of(MARKS[::-1]))
    assert again(rounded, brisvik, 5.0, kept).state.route.next == 1


def test_where_the_crew_names_the_next_mark_what_was_passed_does_not_count(rounded, brisvik):
    kept = memory.of(rounded.state)
    assert again(rounded, brisvik, 5.0, kept, resume=False).state.route.next == 1


def begun_anew_before_a_turn(brisvik):
    """A watch that remembers a turn which waited, 20 s after one that ended."""
    watch = Watch(brisvik)
    watch.heading = 271.0
    watch.sail(30)
    watch.route(beyond(318.0, 2.0))
    while watch.state.pending is None:
        watch.sail(5)
    kept = memory.of(watch.state)
    new = Watch(brisvik)
    new.lat, new.lon, new.now, new.heading = watch.lat, watch.lon, watch.now + 20.0, watch.heading
    new.state = memory.begun(State(), kept)
    new.take(replace(watch.state.route, next=1, remembered=kept))
    new.sail(5)
    return new


def test_a_turn_that_waited_is_asked_about(brisvik):
    new = begun_anew_before_a_turn(brisvik)
    (asked,) = new.events("asked")
    assert "T1 (onto port tack) was due before the restart. Done?" in asked.message
    assert new.state.planned is None
    new.heading = 359.0
    new.take(Answer(question="turn", choice="yes"))
    new.sail(20)
    assert new.state.planned.plan.legs[0].boards[0].tack == "port"
    # Names go on where they were.
    assert "T1" not in [board.point for board in new.state.planned.plan.legs[0].boards]


def test_a_turn_that_is_still_to_be_made_is_planned_again_by_its_name(brisvik):
    new = begun_anew_before_a_turn(brisvik)
    new.take(Answer(question="turn", choice="no"))
    new.sail(10)
    assert new.state.pending.point == "T1"
    assert new.events("turn_now")[-1].message == "T1 now: onto port tack."
    new.heading = 359.0
    new.sail(120)
    assert new.events("turn_done")[-1].message == "T1 done: she is on port tack."


def test_a_turn_that_was_made_meanwhile_needs_no_answer(brisvik):
    new = begun_anew_before_a_turn(brisvik)
    new.heading = 359.0
    new.sail(90)
    assert new.events("answered")[-1].message == "T1 is done: she is on port tack."
    assert new.state.planned.plan.legs[0].boards[0].tack == "port"


def test_an_autopilot_s_turn_waits_for_the_crew_s_answer(brisvik):
    new = begun_anew_before_a_turn(brisvik)
    new.desk = replace(new.desk, steers=True)
    new.heading = 359.0
    new.sail(600)
    assert not new.events("answered")
    assert new.state.planned is None


def test_a_turn_that_nobody_answers_for_is_planned_again(brisvik):
    new = begun_anew_before_a_turn(brisvik)
    new.sail(280)
    assert new.state.planned is None
    new.sail(40)
    message = new.events("answered")[-1].message
    assert message == "No answer for 5 min: T1 is taken as still to be made."
    assert new.state.planned is not None


def test_who_rounds_the_mark_has_done_with_the_turn_before_it(brisvik):
    new = begun_anew_before_a_turn(brisvik)
    mark = new.state.route.marks[1]
    new.desk = replace(new.desk, rules=replace(new.desk.rules, answer_within_s=1e9))
    way = local_plane.towards(new.lat, new.lon, mark.lat, mark.lon)
    new.heading = math.degrees(math.atan2(way.east_nm, way.north_nm)) % 360.0
    new.twd = new.heading + 90.0
    new.sail(int((way.distance_nm + 0.2) / new.speed * 3600.0))
    assert new.state.question is None
    assert new.events("mark_rounded")
    assert not new.events("answered")


def test_marks_that_were_asked_about_lie_behind_who_rounds_the_next(rounded, brisvik):
    rounded.sail(900)
    watch = again(rounded, brisvik, 20.0, None)
    assert "Dan lies astern" in watch.events("asked")[0].message
    for _ in range(3600):
        if watch.state.question is None:
            break
        watch.heading = 180.0
        watch.sail(1)
    said = [event.message for event in watch.events("mark_rounded")]
    assert said == ["Dan taken as rounded: Hed is.", "Hed rounded."]
    assert watch.events("mark_rounded")[0].values["marks"] == ["Dan"]
    assert watch.state.route is None
    assert watch.state.finished == "Hed"
    assert watch.state.passed == ()


def test_a_mark_passed_far_off_is_asked_about_under_way(brisvik):
    watch = Watch(brisvik)
    watch.twd, watch.heading, watch.speed = 315.0, 200.0, 6.0
    watch.sail(30)
    watch.take(Route(id="r", name="R", marks=MARKS))
    watch.sail(1200)
    (asked,) = watch.events("asked")
    assert "Dan lies astern by position and route. Rounded?" in asked.message
    assert watch.state.route.next == 1
    watch.take(Answer(question="passed", choice="yes"))
    watch.sail(3)
    assert watch.state.planned.order.next == 2


def test_answers_to_what_was_not_asked_are_refused(rounded):
    said = refusal(rounded.state, Answer(question="passed", choice="yes"), rounded.desk)
    assert said == "nothing was asked"


# ---- heard for some seconds only -----------------------------------------------------------


def gust_first(brisvik, bearing: float) -> Watch:
    """A watch begun anew, on starboard tack, in a gust 20° off the mean wind: at its first look."""
    watch = Watch(brisvik)
    watch.twd, watch.heading = 335.0, 271.0
    watch.route(beyond(bearing, 4.0))
    watch.sail(2)
    assert sensing.wind_airs(watch.state, watch.desk)[0] == pytest.approx(335.0)
    watch.twd = 315.0
    return watch


def test_nobody_is_told_to_turn_by_a_second_s_wind(brisvik):
    watch = gust_first(brisvik, 30.0)
    watch.sail(8)
    assert watch.events() == []
    assert watch.last_status().message == "Planning."
    watch.sail(3)
    (due,) = watch.events("turn_now")
    assert due.message.endswith("onto port tack.")
    order = watch.state.planned.order
    # A plain mean of ten looks or more: 20° at one of them is at most 2°.
    assert abs(order.wind_from_deg - 315.0) <= 2.0
    assert not order.hasty


def test_a_plan_that_stands_at_once_is_made_anew_when_wind_and_stream_are_heard(brisvik):
    watch = gust_first(brisvik, 271.0)
    first = watch.state.planned.order
    assert first.hasty
    watch.sail(11)
    later = watch.state.planned.order
    assert not later.hasty
    assert abs(later.wind_from_deg - 315.0) <= 2.0 < abs(first.wind_from_deg - 315.0)
    watch.sail(60)
    assert watch.state.planned.order is later


def test_a_stream_that_a_turn_hides_is_waited_for_but_not_for_ever(brisvik):
    watch = Watch(brisvik)
    watch.stream = (0.8, 0.0)
    watch.route(beyond(359.0, 4.0))

    def turned(seconds: int) -> None:
        for _ in range(seconds):
            watch.heading += 15.0
            watch.sail(1)

    turned(20)
    assert sensing.stream_kn(watch.state, watch.desk) is None
    assert not sensing.heard(watch.state, watch.desk)
    turned(22)
    assert sensing.stream_kn(watch.state, watch.desk) is None
    assert sensing.heard(watch.state, watch.desk)


# ---- what is up ----------------------------------------------------------------------------


def downwind(brisvik) -> Watch:
    """Dead downwind, where no instrument tells the tack."""
    watch = Watch(brisvik)
    watch.twd, watch.heading, watch.speed = 45.0, 225.0, 4.5
    watch.sail(30)
    return watch


def test_the_crew_tells_what_is_up_and_a_pole_to_be_set_is_announced(brisvik):
    watch = downwind(brisvik)
    assert watch.state.tack is None
    watch.take(Carries(sail_set="main and jib", tack="port"))
    watch.route(beyond(225.0, 8.0))
    watch.sail(5)
    (due,) = watch.events("turn_now")
    assert "set the pole for wing-and-wing" in due.message


def test_what_is_up_is_remembered(brisvik):
    watch = downwind(brisvik)
    watch.take(Carries(sail_set="main and jib", tack="port"))
    watch.route(beyond(225.0, 8.0))
    watch.sail(5)
    watch.take(Acknowledge(point=watch.state.pending.point))
    watch.sail(5)
    kept = memory.of(watch.state)
    assert kept.sail_set == "wing-and-wing"
    new = downwind(brisvik)
    new.now = watch.now + 60.0
    new.state = memory.begun(State(), kept)
    new.take(replace(watch.state.route, next=1, remembered=kept))
    new.sail(10)
    assert not new.events("turn_now")
    assert new.state.planned.plan.legs[0].boards[0].sail_set == "wing-and-wing"
    assert new.state.planned.order.start_with == "wing-and-wing"


@pytest.mark.parametrize(("sail_set", "tack", "words"), [
    ("spinnaker", "port", "she has no spinnaker"), ("main and jib", "both", "port or starboard"),
])  # fmt: skip
def test_what_can_not_be_up_is_refused(rounded, sail_set, tack, words):
    assert words in refusal(rounded.state, Carries(sail_set=sail_set, tack=tack), rounded.desk)


# ---- on disk ------------------------------------------------------------------------------------


def test_what_is_kept_is_read_back(rounded, tmp_path):
    told: list[str] = []
    kept = memory.of(rounded.state)
    path = tmp_path / "new folder" / "under-way.json"
    MemoryFile(path, told.append).note(kept)
    assert MemoryFile(path, told.append).kept == kept
    assert json.loads(path.read_text())["format"] == "goosewing.under-way/1"
    assert not told
    assert [each.name for each in path.parent.iterdir()] == ["under-way.json"]


def test_it_is_written_when_something_changes_and_once_a_minute(rounded, tmp_path):
    path = tmp_path / "under-way.json"
    file = MemoryFile(path, lambda _: None)
    kept = memory.of(rounded.state)
    file.note(kept)
    path.unlink()
    file.note(replace(kept, time_s=kept.time_s + 59.0))
    assert not path.exists()
    file.note(replace(kept, time_s=kept.time_s + 61.0))
    assert path.exists()
    path.unlink()
    file.note(replace(kept, time_s=kept.time_s + 62.0, next=1))
    assert path.exists()


DAMAGED = (
    b"", b"{", b"[]", b'{"format": "x", "kept": {}}', b"\xff\xfe", b'{"more": ' + b"[" * 20000,
)  # fmt: skip


@pytest.mark.parametrize("content", DAMAGED)
def test_what_can_not_be_read_is_told_in_one_line_and_left_aside(tmp_path: Path, content: bytes):
    told: list[str] = []
    path = tmp_path / "under-way.json"
    path.write_bytes(content)
    assert MemoryFile(path, told.append).kept is None
    assert len(told) == 1
    assert "\n" not in told[0]


@pytest.mark.parametrize("content", DAMAGED)
def test_what_can_not_be_read_is_taken_from_its_copy(rounded, tmp_path, content):
    told: list[str] = []
    path, kept = tmp_path / "under-way.json", memory.of(rounded.state)
    file = MemoryFile(path, told.append)
    file.note(kept)
    file.note(replace(kept, time_s=kept.time_s + 11.0))
    path.write_bytes(content)
    again = MemoryFile(path, told.append)
    assert again.kept == kept
    (line,) = told
    assert "can't be read" in line
    assert line.endswith("; its copy is taken, under-way.json.copy")
    assert "\n" not in line
    assert len(line) < 300
    # What is damaged is replaced at the next look, not when it would be old.
    again.note(replace(kept, time_s=kept.time_s + 12.0))
    assert MemoryFile(path, told.append).kept == replace(kept, time_s=kept.time_s + 12.0)
    assert len(told) == 1


def test_the_copy_follows_when_the_file_is_at_rest(rounded, tmp_path):
    path, copy = tmp_path / "under-way.json", tmp_path / "under-way.json.copy"
    kept, file = memory.of(rounded.state), MemoryFile(path, lambda _: None)
    file.note(kept)
    file.note(replace(kept, time_s=kept.time_s + 9.0))
    assert not copy.exists()
    file.note(replace(kept, time_s=kept.time_s + 11.0))
    assert copy.read_bytes() == path.read_bytes()
    # At the next change the copy still holds what was so before it.
    file.note(replace(kept, time_s=kept.time_s + 12.0, next=1))
    assert copy.read_bytes() != path.read_bytes()
    file.note(replace(kept, time_s=kept.time_s + 22.0, next=1))
    assert copy.read_bytes() == path.read_bytes()


def test_who_takes_the_file_away_begins_anew(rounded, tmp_path):
    path, kept = tmp_path / "under-way.json", memory.of(rounded.state)
    file = MemoryFile(path, lambda _: None)
    file.note(kept)
    file.note(replace(kept, time_s=kept.time_s + 11.0))
    path.unlink()
    assert MemoryFile(path, lambda _: None).kept is None


def test_a_disk_that_refuses_is_told_once(rounded, tmp_path):
    told: list[str] = []
    (tmp_path / "no folder").write_text("")
    file = MemoryFile(tmp_path / "no folder" / "under-way.json", told.append)
    kept = memory.of(rounded.state)
    for at in range(3):
        file.note(replace(kept, next=at))
    assert len(told) == 1
