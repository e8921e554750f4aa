"""Marks: rounded, passed far off, or left astern before the service knew of them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from goosewing.earth import local_plane
from goosewing.live.core.copies import replace
from goosewing.live.core.sensing import lasting
from goosewing.live.core.standing import next_mark, next_stop, to_mark, to_place, under_way
from goosewing.live.core.state import Choice, Event, Question

if TYPE_CHECKING:
    from goosewing.live.core.state import Desk, Route, State
    from goosewing.records import Mark

LEAST_LINE_NM = 0.01
"""Two marks closer than this give no course."""

WELL_PAST_NM = 0.2
"""So far along the next leg, a mark that was not rounded is asked about."""


def rounding(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """Note a mark as rounded once she has been near it and is past its perpendicular.

    While it is asked whether others were rounded, it is the mark after them that is looked at:
    who rounds it has left them behind.
    """
    asked = state.question
    if asked is None or asked.key != "passed" or state.route is None:
        return _rounding(state, desk)
    names = [mark.name for mark in state.route.marks[state.route.next : asked.next]]
    beyond = replace(
        state, route=replace(state.route, next=asked.next), passed=(*state.passed, *names)
    )
    after, events = _rounding(beyond, desk)
    if not events:
        return replace(state, nearest_nm=after.nearest_nm), []
    onward = state.route.marks[asked.next].name
    words = f"{' and '.join(names)} taken as rounded: {onward} is."
    return after, [rounded_event(state, words, names, asked.next), *events]


def _rounding(state: State, desk: Desk) -> tuple[State, list[Event]]:
    route = state.route
    if route is None or state.place is None:
        return state, []
    mark, bearing = next_mark(state), to_mark(state)
    nearest = bearing.distance_nm
    if state.nearest_nm is not None:
        nearest = min(nearest, state.nearest_nm)
    state = replace(state, nearest_nm=nearest)
    course = _arriving_deg(state, route, route.next)
    past = course is not None and local_plane.beyond_nm(bearing, course) > 0.0
    if not (past or _abeam(state, desk, bearing)):
        return state, []
    if nearest > radius_nm(mark, desk):
        return _passed_far_off(state, desk, route)
    event = Event(
        time_s=state.now_s, kind="mark_rounded", message=f"{mark.name} rounded.",
        severity="alert",
        values={"mark": mark.name, "next": route.next + 1, "route": route.id},
    )  # fmt: skip
    return on_to(state, route.next + 1, f"{mark.name} is rounded"), [event]


def rounded_event(state: State, words: str, names: list[str], following: int) -> Event:
    """Tell that marks before `following` are taken as rounded, without anyone having seen it."""
    route = "" if state.route is None else state.route.id
    values = {"marks": names, "next": following, "route": route}
    return Event(time_s=state.now_s, kind="mark_rounded", message=words, values=values)


def radius_nm(mark: Mark, desk: Desk) -> float:
    """Return how near she must have been to a mark for it to be rounded. [nm]."""
    return max(desk.rules.rounding_nm, 1.2 * mark.leave_distance_nm)


def last_turn_is_idle(state: State, desk: Desk) -> bool:
    """Whether the boards after the next turn lie within the distance at which the mark is rounded.

    A mark that is left on a hand has a place to turn at, and an autopilot is led through all.
    """
    stop = next_stop(state)
    if stop is None or stop.order is not None or state.planned is None or desk.steers:
        return False
    mark = next_mark(state)
    left = sum(board.distance_nm for board in state.planned.plan.legs[0].boards[stop.at :])
    return mark.leave is None and left <= radius_nm(mark, desk)


def _abeam(state: State, desk: Desk, bearing: local_plane.Bearing) -> bool:
    """Whether a mark that she has been near lies abeam or abaft, with no turn left to make."""
    made, nearest = state.course_made, state.nearest_nm
    if made is None or nearest is None or state.pending is not None or not under_way(state):
        return False
    if nearest > radius_nm(next_mark(state), desk) or not last_turn_is_idle(state, desk):
        return False
    return made.east_kn * bearing.east_nm + made.north_kn * bearing.north_nm <= 0.0


def on_to(state: State, following: int, why: str) -> State:
    """Take the marks before `following` as rounded, and sail to that one, or be there."""
    route = state.route
    assert route is not None
    passed = tuple(mark.name for mark in route.marks[route.next : following])
    state = replace(
        state, nearest_nm=None, pending=None, done=None, countdown=None, question=None, waits=None,
        passed=(*state.passed, *passed),
    )  # fmt: skip
    if following < len(route.marks):
        return replace(state, route=replace(route, next=following), wanted=why)
    return replace(
        state, route=None, planned=None, waiting=None, finished=passed[-1], wanted=None,
        held=None, passed=(),
    )  # fmt: skip


def _arriving_deg(state: State, route: Route, number: int) -> float | None:
    """Return the course of the leg into a mark, from the mark before or where she began."""
    mark = route.marks[number]
    if number > 0:
        before = route.marks[number - 1]
        lat, lon = before.lat, before.lon
    elif state.planned is not None:
        start = state.planned.plan.marks[0]
        lat, lon = start.lat, start.lon
    else:
        return None
    line = local_plane.towards(lat, lon, mark.lat, mark.lon)
    return _course_deg(line)


def _course_deg(line: local_plane.Bearing) -> float | None:
    if line.distance_nm < LEAST_LINE_NM:
        return None
    return math.degrees(math.atan2(line.east_nm, line.north_nm))


# ---- astern --------------------------------------------------------------------------------


def _passed_far_off(state: State, desk: Desk, route: Route) -> tuple[State, list[Event]]:
    """Ask about a mark that she has left astern without having been near it."""
    behind = (
        state.question is None
        and route.next not in state.told.astern
        and _astern(state, route, route.next)
    )
    state, for_s = lasting(state, "astern", behind)
    if not behind or for_s < desk.rules.astern_for_s:
        return state, []
    return ask_of_marks(state, leaving_astern(state, route), "by position and route")


def leaving_astern(state: State, route: Route) -> int:
    """Return the number of the first mark, from the next one on, that does not lie astern."""
    at = route.next
    while at + 1 < len(route.marks) and _astern(state, route, at):
        at += 1
    return at


def _astern(state: State, route: Route, number: int) -> bool:
    """Whether she is past a mark and well along the leg that begins at it."""
    if number + 1 >= len(route.marks):
        return False
    mark, after = route.marks[number], route.marks[number + 1]
    arriving = _arriving_deg(state, route, number)
    leg = local_plane.towards(mark.lat, mark.lon, after.lat, after.lon)
    leaving = _course_deg(leg)
    if arriving is None or leaving is None:
        return False
    bearing = to_place(state, mark.lat, mark.lon)
    along = local_plane.beyond_nm(bearing, leaving)
    across = abs(local_plane.right_of_nm(bearing, leaving))
    past = local_plane.beyond_nm(bearing, arriving) > 0.0
    return past and along > max(WELL_PAST_NM, across)


def ask_of_marks(state: State, following: int, why: str) -> tuple[State, list[Event]]:
    """Ask whether the marks before `following` were rounded."""
    route = state.route
    assert route is not None
    names = [mark.name for mark in route.marks[route.next : following]]
    if not names:
        return state, []
    said, onward = " and ".join(names), route.marks[following].name
    question = Question(
        key="passed",
        words=f"{said} {'lies' if len(names) == 1 else 'lie'} astern {why}. Rounded?",
        choices=(
            Choice("yes", f"Rounded: on to {onward}"),
            Choice("no", f"Not rounded: to {names[0]}"),
        ),
        next=following,
    )
    # By number: on a closed course a name comes round again.
    asked_of = range(route.next, following)
    told = replace(state.told, astern=(*state.told.astern, *asked_of))
    return asked(replace(state, told=told), question)


def asked(state: State, question: Question) -> tuple[State, list[Event]]:
    """Put a question to the crew."""
    event = Event(
        time_s=state.now_s, kind="asked", severity="warn", message=question.words,
        values={"question": question.key, "choices": [each.key for each in question.choices]},
    )  # fmt: skip
    question = replace(question, asked_s=state.now_s)
    return replace(state, question=question, nearest_nm=None), [event]
