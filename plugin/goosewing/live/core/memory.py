"""What must survive a restart: which marks were rounded, which turn waits, what is up.

It belongs to the route's content, not to its name or id: the same marks in the same order.
After a short gap it is taken as it is. After a long one, or where she is not where she
can be, and where a turn waited, the crew is asked. A crew that has no hand free need not answer:
that a turn is made, or a later mark rounded, she shows by herself.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from goosewing.live.core import rounding, sensing
from goosewing.live.core.copies import replace
from goosewing.live.core.state import Choice, Event, Memory, Question

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.live.core.state import Answer, Desk, Pending, Route, State
    from goosewing.records import Mark

NO_ROUTE = ""
"""Stands for the content where no route is sailed."""


def content_of(marks: Sequence[Mark]) -> str:
    """Return what tells one list of marks from another: names, places, how they are left.

    Examples
    --------
    >>> from goosewing.records import Mark
    >>> there = (Mark(name="A", lat=1.0, lon=2.0), Mark(name="B", lat=1.5, lon=2.0))
    >>> content_of(there) == content_of(there), content_of(there) == content_of(there[::-1])
    (True, False)
    """
    rows = [
        f"{m.name}\x1f{m.lat:.6f}\x1f{m.lon:.6f}\x1f{m.leave}\x1f{m.leave_distance_nm:g}"
        for m in marks
    ]
    return hashlib.sha256("\x1e".join(rows).encode()).hexdigest()


def of(state: State) -> Memory | None:
    """Return what is to be kept now; None while what was kept before has not been looked at."""
    if state.remembered is not None or state.question is not None:
        return None
    place, route = state.place, state.route
    return Memory(
        content=NO_ROUTE if route is None else content_of(route.marks),
        time_s=state.now_s,
        next=0 if route is None else route.next,
        passed=state.passed,
        lat=None if place is None else place.lat,
        lon=None if place is None else place.lon,
        tack=state.tack,
        sail_set=state.sail_set,
        up_since_s=state.up_since_s,
        pending=state.pending,
        used=state.used,
    )


def with_up(kept: Memory, state: State) -> Memory:
    """Return what was kept with what the crew says is up now."""
    return replace(
        kept, tack=state.tack, sail_set=state.sail_set, up_since_s=state.up_since_s
    )  # fmt: skip


def same(one: Memory | None, other: Memory | None) -> bool:
    """Whether two say the same but for time and place."""
    if one is None or other is None:
        return one is other
    return one == replace(other, time_s=one.time_s, lat=one.lat, lon=one.lon)


# ---- taken up again ---------------------------------------------------------------------


def begun(state: State, kept: Memory) -> State:
    """Return a state that knows what was up before, whatever the route."""
    return replace(
        state, tack=kept.tack, sail_set=kept.sail_set, up_since_s=kept.up_since_s
    )  # fmt: skip


def resumed(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """Look once, as soon as she knows where she is, at what was kept of this route."""
    kept, route = state.remembered, state.route
    if kept is None or route is None or (route.from_here and state.place is None):
        return state, []
    state = replace(state, remembered=None)
    if kept.content != content_of(route.marks):
        following = rounding.leaving_astern(state, route)
        return rounding.ask_of_marks(state, following, "by position and route")
    return _again(state, desk, kept, route)


def _again(state: State, desk: Desk, kept: Memory, route: Route) -> tuple[State, list[Event]]:
    state = replace(state, used=kept.used)
    following = min(max(kept.next, route.next), len(route.marks) - 1)
    sure = _sure(state, desk, kept)
    if following > route.next and not sure:
        state, events = rounding.ask_of_marks(state, following, _gap_words(state, kept))
        return replace(state, question=_with_turn(state.question, kept.pending)), events
    events = []
    if following > route.next:
        names = [mark.name for mark in route.marks[route.next : following]]
        onward = route.marks[following].name
        words = f"{' and '.join(names)} rounded before the restart: on to {onward}."
        events = [rounding.rounded_event(state, words, names, following)]
        state = rounding.on_to(state, following, "started again")
    if kept.pending is not None:
        state, more = rounding.asked(state, _of_turn(kept.pending))
        events += more
    return state, events


def _sure(state: State, desk: Desk, kept: Memory) -> bool:
    """Whether little can have happened since: a short gap, and she is where she can be."""
    gap_s = state.now_s - kept.time_s
    if not 0.0 <= gap_s <= desk.rules.gap_s:
        return False
    if kept.lat is None or kept.lon is None or state.place is None:
        return True
    within = desk.rules.drifted_nm + desk.rules.gap_kn * gap_s / 3600.0
    return sensing.apart_nm(kept.lat, kept.lon, state.place.lat, state.place.lon) <= within


def _gap_words(state: State, kept: Memory) -> str:
    minutes = (state.now_s - kept.time_s) / 60.0
    if minutes < 0.0:
        return "as it was kept before"
    gap = f"{minutes:.0f} min" if minutes < 120.0 else f"{minutes / 60.0:.0f} h"
    return f"as it was kept {gap} ago"


def _of_turn(turn: Pending) -> Question:
    return Question(
        key="turn",
        words=f"{turn.point} ({turn.words}) was due before the restart. Done?",
        choices=(
            Choice("yes", f"Done: {turn.tack} tack, {turn.sail_set}"),
            Choice("no", "Not yet"),
        ),
        turn=turn,
    )


def _with_turn(question: Question | None, turn: Pending | None) -> Question | None:
    """Keep the turn for after the answer about the marks, if they were not rounded."""
    return question if question is None or turn is None else replace(question, turn=turn)


# ---- the crew's answers -------------------------------------------------------------------


def why_not_answered(state: State, given: Answer) -> str | None:
    """Say why an answer can't be taken; None if it can."""
    question = state.question
    if question is None:
        return "nothing was asked"
    if given.question != question.key:
        return f"what was asked is {question.key}"
    keys = [choice.key for choice in question.choices]
    if given.choice not in keys:
        return f"answer {' or '.join(keys)}, not {given.choice:.20}"
    return None


def answered(state: State, given: Answer) -> tuple[State, list[Event]]:
    """Take the crew's answer."""
    question = state.question
    assert question is not None
    state, yes = replace(state, question=None), given.choice == "yes"
    words = next(each.words for each in question.choices if each.key == given.choice)
    events = [Event(time_s=state.now_s, kind="answered", message=f"{words}.")]
    if question.key == "turn":
        return _of_turn_answered(state, question, yes=yes), events
    if yes and state.route is not None:
        names = [mark.name for mark in state.route.marks[state.route.next : question.next]]
        words = f"{' and '.join(names)} rounded."
        events += [rounding.rounded_event(state, words, names, question.next)]
        return rounding.on_to(state, question.next, "marks astern are rounded"), events
    state = replace(state, wanted=state.wanted or "not rounded", nearest_nm=None)
    if question.turn is not None:
        state, more = rounding.asked(state, _of_turn(question.turn))
        events += more
    return state, events


def _of_turn_answered(state: State, question: Question, *, yes: bool) -> State:
    turn = question.turn
    if turn is None or not yes:
        return replace(state, waits=turn)
    return replace(state, tack=turn.tack, sail_set=turn.sail_set, up_since_s=state.now_s)


# ---- what she does says it --------------------------------------------------------------------


def shown(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """Answer for the crew what she has shown: the turn is made, or was left for so long.

    As under way, where steering data are sent only the crew says that a turn was made. Marks
    rounded meanwhile are the business of `rounding`.
    """
    question = state.question
    if question is None or question.turn is None or question.key != "turn" or desk.steers:
        return state, []
    turn = question.turn
    made = turn.changes_tack and state.tack == turn.tack and not sensing.swinging(state, desk)
    state, for_s = sensing.lasting(state, "settled", made)
    if made and for_s >= desk.rules.turned_for_s:
        words = f"{turn.point} is done: she is on {turn.tack} tack."
        return _settled(state, question, words, yes=True)
    if state.now_s - question.asked_s < desk.rules.answer_within_s:
        return state, []
    minutes = desk.rules.answer_within_s / 60.0
    words = f"No answer for {minutes:.0f} min: {turn.point} is taken as still to be made."
    return _settled(state, question, words, yes=False)


def _settled(
    state: State, question: Question, words: str, *, yes: bool
) -> tuple[State, list[Event]]:
    event = Event(time_s=state.now_s, kind="answered", message=words)
    return _of_turn_answered(replace(state, question=None), question, yes=yes), [event]
