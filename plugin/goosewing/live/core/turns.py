"""The next turn: how far off, told ahead, due, made, or sailed past."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from goosewing.earth import local_plane
from goosewing.live.core import lines, orders, rounding, sensing
from goosewing.live.core.copies import replace
from goosewing.live.core.damping import turned_deg
from goosewing.live.core.sensing import lasting
from goosewing.live.core.standing import (
    board_after_mark,
    held_from,
    live,
    name_at,
    name_of,
    next_board,
    next_mark,
    next_stop,
    present_board,
    to_mark,
    to_place,
)
from goosewing.live.core.state import Countdown, Done, Event, Pending
from goosewing.totals import time_of
from goosewing.words.crew import begun_words

if TYPE_CHECKING:
    from collections.abc import Mapping

    from goosewing.live.core.standing import Live
    from goosewing.live.core.state import Acknowledge, Desk, State, Undo
    from goosewing.records import Board, Tack
    from goosewing.turns import Stop

TURN_NOW_S = 1.0
"""One look ahead: a turn due before the next one is due now."""

SMOOTHED_S = 30.0
"""Time constant of the time to a turn."""

SLOWEST_FALL = 0.5
"""While it is smoothed the time ahead still falls by this share of the time that passes."""

COUNTED_WITHIN_S = 15.0
"""Over a longer gap, or with a clock set ahead, no time ahead has simply run on."""

FAR_APART_SHARE, FAR_APART_S, FAR_APART_FOR_S = 0.25, 20.0, 20.0
"""Measured farther from the smoothed one for so long, a time ahead is taken as it is measured."""

LEAST_MADE_GOOD_KN = 0.1
"""Slower than this towards the mark, no time of arrival means anything. [kn]"""

GATHERS_WAY_S = 120.0
"""So long measured, what she makes over the ground tells how she goes on."""

LOOKS_PAST = 10.0
"""Within so many times the distance at which it is rounded, it is asked whether she will."""

AGAIN_SHARE = 1.5
"""So many times a stand-by away again, it is told again."""


class Turn(NamedTuple):
    """How she lies to where the next board, or the next order along this one, begins."""

    stop: Stop
    short: bool
    off_nm: float
    distance_nm: float | None
    """Along her course; None where she does not sail towards it."""
    time_s: float | None


def turn_ahead(state: State, desk: Desk) -> Turn | None:
    """Return how far off the next turning point is; None under the last order of a leg.

    Nor is there one where she rounds the mark before it could be of use.
    """
    stop, board = next_stop(state), present_board(state)
    if stop is None or board is None or state.planned is None:
        return None
    if stop.order is not None:
        return _order_ahead(state, board, stop)
    after = stop.board
    assert after is not None
    if state.pending is None and _rounds_without(state, desk, board):
        return None
    if state.planned.order.forecast:
        # In changing wind the line of the board after curves: its beginning counts.
        place, course = board.end, after.course_over_ground_deg
    else:
        place, course = after.end, live(state.held, after).course_deg
    off = local_plane.right_of_nm(to_place(state, place.lat, place.lon), course)
    now = live(state.held, board)
    planned_rate = local_plane.right_rate_kn((now.east_kn, now.north_kn), course)
    short = off * planned_rate < 0.0
    velocity = _velocity_ahead(state, board, now)
    rate = local_plane.right_rate_kn(velocity, course)
    if not short or rate * planned_rate <= 0.0:
        return Turn(stop, short, abs(off), None if short else 0.0, None if short else 0.0)
    hours = abs(off / rate)
    return Turn(stop, short, abs(off), hours * math.hypot(*velocity), hours * 3600.0)


def _rounds_without(state: State, desk: Desk, board: Board) -> bool:
    """Whether the boards after a turn are too short to matter, and this one leads by the mark."""
    if not rounding.last_turn_is_idle(state, desk):
        return False
    velocity = _velocity_ahead(state, board, live(state.held, board))
    return _passes_nm(to_mark(state), velocity) <= rounding.radius_nm(next_mark(state), desk)


def _order_ahead(state: State, board: Board, stop: Stop) -> Turn:
    """Return how far off another order is: she is there where its place comes abeam."""
    begin = held_from(board, state.nth)
    line = local_plane.towards(begin.lat, begin.lon, stop.lat, stop.lon)
    course = math.degrees(math.atan2(line.east_nm, line.north_nm))
    left = -local_plane.beyond_nm(to_place(state, stop.lat, stop.lon), course)
    if left <= 0.0:
        return Turn(stop, False, 0.0, 0.0, 0.0)
    east, north = _velocity_ahead(state, board, live(state.held, board))
    speed = (east * line.east_nm + north * line.north_nm) / max(line.distance_nm, 1e-9)
    if speed <= LEAST_MADE_GOOD_KN:
        return Turn(stop, True, 0.0, left, None)
    return Turn(stop, True, 0.0, left, left / speed * 3600.0)


def _velocity_ahead(state: State, board: Board, now: Live) -> tuple[float, float]:
    """Return the velocity that times ahead are told by, towards east and north. [kn].

    What she makes over the ground; after a turn, until she has gathered way again, as
    much of what her tables say of this board as is not measured yet.
    """
    made, planned = state.course_made, (now.east_kn, now.north_kn)
    if made is None:
        return planned
    measured = made.east_kn, made.north_kn
    if state.tack not in (None, board.tack) and not board.poled:
        return measured
    share = min((made.seen_s - made.since_s) / GATHERS_WAY_S, 1.0)
    east, north = (p + share * (m - p) for p, m in zip(planned, measured, strict=True))
    return east, north


def mark_ahead(state: State, desk: Desk) -> tuple[float, float | None]:
    """Return how far off the next mark is, and in what time; None where she makes nothing good.

    Where her course leads by so near that she rounds it, the time is to where it comes
    abeam: towards the mark itself she makes nothing good there.
    """
    bearing = to_mark(state)
    board = present_board(state)
    if board is None or bearing.distance_nm == 0.0:
        return bearing.distance_nm, None
    east, north = _velocity_ahead(state, board, live(state.held, board))
    towards = (east * bearing.east_nm + north * bearing.north_nm) / bearing.distance_nm
    if towards <= LEAST_MADE_GOOD_KN:
        return bearing.distance_nm, None
    speed = math.hypot(east, north)
    if _passes_nm(bearing, (east, north)) <= rounding.radius_nm(next_mark(state), desk):
        return bearing.distance_nm, bearing.distance_nm * towards / speed**2 * 3600.0
    return bearing.distance_nm, bearing.distance_nm / towards * 3600.0


def _passes_nm(bearing: local_plane.Bearing, velocity: tuple[float, float]) -> float:
    """Return how far off the mark lies where it comes abeam. [nm]."""
    return abs(local_plane.right_of_nm(bearing, math.degrees(math.atan2(*velocity))))


def leads_past(state: State, desk: Desk) -> bool:
    """Whether, on the board into a mark, she will pass it too far off to round it."""
    bearing, made = to_mark(state), state.course_made
    radius = rounding.radius_nm(next_mark(state), desk)
    near = 2.0 * radius < bearing.distance_nm < LOOKS_PAST * radius
    if made is None or not near or state.pending is not None or next_stop(state) is not None:
        return False
    if made.seen_s - made.since_s < GATHERS_WAY_S:
        return False
    return _passes_nm(bearing, (made.east_kn, made.north_kn)) > radius


# ---- the time to it ----------------------------------------------------------------------


def time_ahead_s(state: State) -> float | None:
    """Return the smoothed time to the next turn or mark; None where it is not known. [s]."""
    count = state.countdown
    return None if count is None else max(count.due_s - state.now_s, 0.0)


def counted_down(state: State, desk: Desk) -> State:
    """Keep the time to the next turn, or to the mark, so that it falls steadily."""
    turn = turn_ahead(state, desk)
    if turn is not None:
        name, time_s = name_at(turn.stop), turn.time_s
    else:
        name, time_s = next_mark(state).name, mark_ahead(state, desk)[1]
    if time_s is None:
        return replace(state, countdown=None)
    measured, before = state.now_s + time_s, state.countdown
    gap_s = math.inf if before is None else state.now_s - before.seen_s
    if before is None or before.point != name or gap_s > COUNTED_WITHIN_S:
        fresh = Countdown(point=name, due_s=measured, seen_s=state.now_s)
        return replace(state, countdown=fresh)
    return replace(state, countdown=_smoothed(before, measured, state.now_s))


def _smoothed(before: Countdown, measured_s: float, now_s: float) -> Countdown:
    step, off = now_s - before.seen_s, measured_s - before.due_s
    left = max(before.due_s - now_s, 0.0)
    apart = abs(off) > FAR_APART_S + FAR_APART_SHARE * left
    since = (before.apart_since_s or now_s) if apart else None
    if since is not None and now_s - since >= FAR_APART_FOR_S:
        return Countdown(point=before.point, due_s=measured_s, seen_s=now_s)
    # Near the turn what is measured is nearly true, and must be met.
    tau = min(SMOOTHED_S, max(left / 3.0, 1.0))
    moved = off * (1.0 - math.exp(-step / tau))
    due = before.due_s + min(moved, (1.0 - SLOWEST_FALL) * step)
    return Countdown(point=before.point, due_s=due, seen_s=now_s, apart_since_s=since)


# ---- told ahead ----------------------------------------------------------------------------


def turning(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """Tell what is due of the next turn, or of the mark where the leg ends."""
    state = counted_down(state, desk)
    state, handled = _pole(state)
    state, events = _told_of_turn(state, desk)
    return state, [*handled, *events]


def _pole(state: State) -> tuple[State, list[Event]]:
    """Tell once when the pole is to be handled, so that it is done at the board's end.

    So long before as the plan has it: also before the last mark, and where it is made ready.
    """
    board, left_s = present_board(state), _to_the_end_s(state)
    begun = None if board is None else board.pole_down or board.pole_ready
    if board is None or begun is None or left_s is None or left_s > begun.takes_s:
        return state, []
    assert state.route is not None
    after = next_board(state)
    point = next_mark(state).name if after is None else name_of(after)
    told = state.route.next, point
    if state.pending is not None or state.told.pole == told:
        return state, []
    words = f"{begun_words(board.crew, begun)}: {point} in {_minutes(left_s)}."
    event = Event(
        time_s=state.now_s, kind="handle_pole", severity="alert",
        message=f"{words[0].upper()}{words[1:]}", values={"point": point, "time_s": left_s},
    )  # fmt: skip
    return replace(state, told=replace(state.told, pole=told)), [event]


def _to_the_end_s(state: State) -> float | None:
    """Return the time to the end of the present board; beyond other orders by the plan. [s]."""
    board, stop, left_s = present_board(state), next_stop(state), time_ahead_s(state)
    if board is None or left_s is None or stop is None or stop.order is None:
        return left_s
    return left_s + (time_of(board.end) - stop.order.time).total_seconds()


def _told_of_turn(state: State, desk: Desk) -> tuple[State, list[Event]]:
    turn = turn_ahead(state, desk)
    if turn is None:
        if state.pending is not None:
            return _made(state, desk)
        state, events = _mark_stood_by(state, desk)
        return _strayed(state, desk), events
    if state.pending is not None:
        state, events = _made(state, desk)
        return (state, events) if events else _late(state, desk, turn)
    return _ahead(state, desk, turn)


def _ahead(state: State, desk: Desk, turn: Turn) -> tuple[State, list[Event]]:
    name, words = name_at(turn.stop), orders.stop_words(turn.stop)
    time_s = time_ahead_s(state)
    values = {"point": name, "distance_nm": turn.distance_nm, "time_s": time_s}
    after = next_board(state)
    if after is None:
        state = _strayed(state, desk)
    else:
        state, early = _early(state, desk, after)
        if early:
            message = f"On {after.tack} tack before {name_of(after)}."
            if desk.steers:
                message += " Acknowledge it to be planned from here."
            return _due(state, message, {**values, "point": name_of(after)})
    if turn.short and (turn.time_s is None or turn.time_s > TURN_NOW_S):
        return _stood_by(state, desk, name, words, values)
    if not sensing.heard(state, desk):
        return state, []
    if turn.stop.order is not None:
        return _under_new_order(state, turn.stop)
    return _due(state, f"{name} now: {words}.", values)


def _due(state: State, message: str, values: Mapping[str, object]) -> tuple[State, list[Event]]:
    """Let the turn onto the next board wait for the crew."""
    state = replace(state, pending=pending_at(state, state.board + 1))
    event = Event(
        time_s=state.now_s, kind="turn_now", severity="warn", message=message, values=values
    )
    return state, [event]


def _under_new_order(state: State, stop: Stop) -> tuple[State, list[Event]]:
    """Tell what is steered from here on: nothing else is done, so nobody is waited for."""
    words = f"{name_at(stop)} now: {orders.stop_words(stop)}."
    event = Event(
        time_s=state.now_s, kind="new_order", severity="alert", message=words,
        values={"point": name_at(stop)},
    )  # fmt: skip
    return replace(state, nth=stop.nth, nth_since_s=state.now_s, countdown=None), [event]


def pending_at(state: State, number: int) -> Pending:
    """Return the turn before a board of the present leg, as one that waits."""
    assert state.planned is not None
    board = state.planned.plan.legs[0].boards[number]
    came_from = _tack_before(state, number)
    return Pending(
        point=name_of(board), board=number, tack=board.tack, sail_set=board.sail_set,
        words=orders.turn_words(board),
        changes_tack=came_from is not None and came_from != board.tack,
    )  # fmt: skip


def _tack_before(state: State, number: int) -> Tack | None:
    assert state.planned is not None
    if number > 0:
        return state.planned.plan.legs[0].boards[number - 1].tack
    return state.planned.order.start_tack


def _stood_by(
    state: State, desk: Desk, name: str, words: str, values: Mapping[str, object]
) -> tuple[State, list[Event]]:
    """Tell the crew to stand by, each time once."""
    time_s = time_ahead_s(state)
    told = state.told.stood_by
    before = told[1] if told is not None and told[0] == name else math.inf
    if time_s is None:
        return state, []
    if time_s > AGAIN_SHARE * max(desk.rules.stand_by_s, default=0.0) and before < math.inf:
        return replace(state, told=replace(state.told, stood_by=None)), []
    due = [each for each in desk.rules.stand_by_s if time_s <= each < before]
    if not due:
        return state, []
    state = replace(state, told=replace(state.told, stood_by=(name, min(due))))
    distance = values["distance_nm"]
    miles = f", {distance:.2f} nm" if isinstance(distance, float) else ""
    event = Event(
        time_s=state.now_s, kind="approach", severity="alert",
        message=f"Stand by: {name} in {_minutes(time_s)}{miles}: {words}.", values=values,
    )  # fmt: skip
    return state, [event]


def _minutes(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 100.0 else f"{seconds / 60.0:.0f} min"


def _mark_stood_by(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """Tell ahead of a mark where she turns by much."""
    after, board = board_after_mark(state), present_board(state)
    if after is None or board is None:
        return state, []
    turn = turned_deg(after.heading_deg, board.heading_deg)
    if abs(turn) < desk.rules.large_turn_deg and not after.manoeuvres:
        return state, []
    distance, _ = mark_ahead(state, desk)
    name = next_mark(state).name
    hand = "starboard" if turn > 0.0 else "port"
    words = f"turn {abs(turn):.0f}° to {hand}"
    if after.manoeuvres:
        words = f"{orders.turn_words(after)}, {words}"
    values = {"mark": name, "distance_nm": distance, "time_s": time_ahead_s(state)}
    return _stood_by(state, desk, name, words, values)


# ---- made, early, late, strayed --------------------------------------------------------------


def _early(state: State, desk: Desk, after: Board) -> tuple[State, bool]:
    """Whether she has turned before the point was reached."""
    board = present_board(state)
    assert board is not None
    turned = board.tack != after.tack and state.tack == after.tack
    state, for_s = lasting(state, "early", turned)
    return state, turned and for_s >= desk.rules.turned_for_s


def _made(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """Notice that a turn was made: the tack has changed, and she has settled on it.

    Where steering data are sent, an autopilot follows them: there only the crew says so.
    """
    pending = state.pending
    assert pending is not None
    settled = pending.changes_tack and state.tack == pending.tack and _settled(state, desk)
    state, for_s = lasting(state, "settled", settled)
    if not settled or pending.undone or desk.steers or for_s < desk.rules.turned_for_s:
        return state, []
    event = Event(
        time_s=state.now_s, kind="turn_done",
        message=f"{pending.point} done: she is on {pending.tack} tack.",
        values={"point": pending.point},
    )  # fmt: skip
    return after_turn(state), [event]


def _settled(state: State, desk: Desk) -> bool:
    """Whether she keeps about the wind angle of the board after the turn."""
    assert state.planned is not None
    assert state.pending is not None
    board: Board = state.planned.plan.legs[0].boards[state.pending.board]
    off = sensing.off_bow_deg(state)
    return (
        off is not None
        and not sensing.swinging(state, desk)
        and abs(abs(off) - board.twa_deg) <= desk.rules.settled_deg
    )


def after_turn(state: State) -> State:
    """Return the state in which the turn that waited has been made."""
    pending, planned = state.pending, state.planned
    assert pending is not None
    assert planned is not None
    done = Done(
        pending=pending, planned=planned, board=state.board, nth=state.nth, tack=state.tack,
        sail_set=state.sail_set, time_s=state.now_s,
    )  # fmt: skip
    since = replace(state.since.of_plan(), on_port=None, on_starboard=None)
    return replace(
        state, pending=None, done=done, board=pending.board, nth=0, tack=pending.tack,
        sail_set=pending.sail_set, up_since_s=state.now_s, wanted=f"{pending.point} is done",
        since=since, told=state.told.of_plan(), countdown=None,
    )  # fmt: skip


def may_undo(state: State, desk: Desk) -> Done | None:
    """Return the turn that can still be taken back; None if there is none."""
    done = state.done
    if done is None or state.pending is not None or state.route is None:
        return None
    same_leg = done.planned.order.next == state.route.next
    return done if same_leg and state.now_s - done.time_s <= desk.rules.undo_s else None


def why_not_acknowledged(state: State, given: Acknowledge) -> str | None:
    """Say why a turn can't be acknowledged; None if it can."""
    if state.planned is None:
        return "there is no plan, so no turn to acknowledge"
    if state.pending is None:
        following = next_board(state)
        named = f"; the next is {name_of(following)}" if following is not None else ""
        return f"no turn waits to be acknowledged{named}"
    if given.point != state.pending.point:
        return f"there is no {given.point:.20} to acknowledge: {state.pending.point} waits"
    return None


def why_not_undone(state: State, desk: Desk, given: Undo) -> str | None:
    """Say why a turn can't be taken back; None if it can."""
    done = may_undo(state, desk)
    if done is None:
        return "there is no turn to take back"
    if done.pending.point != given.point:
        return f"{given.point:.20} can't be taken back: {done.pending.point} was the last turn"
    return None


def undone(state: State, done: Done) -> tuple[State, Event]:
    """Return the state in which the turn still waits."""
    pending = replace(done.pending, undone=True)
    event = Event(
        time_s=state.now_s, kind="turn_undone", severity="alert",
        message=f"{pending.point} still to be made: {pending.words}.",
        values={"point": pending.point},
    )  # fmt: skip
    state = replace(
        state, pending=pending, done=None, planned=done.planned, board=done.board, nth=done.nth,
        sail_set=done.sail_set, waiting=None, wanted=None, countdown=None,
    )  # fmt: skip
    return state, event


def _strayed(state: State, desk: Desk) -> State:
    """On the last board of a leg a turn that no plan asked for calls for a new plan."""
    board = present_board(state)
    assert board is not None
    off = state.pending is None and state.tack is not None and state.tack != board.tack
    state, for_s = lasting(state, "strayed", off and not board.poled)
    if for_s >= desk.rules.moved_for_s:
        return replace(state, wanted=f"she is on {state.tack} tack")
    return state


def _late(state: State, desk: Desk, turn: Turn) -> tuple[State, list[Event]]:
    """Tell once that she sailed on past a turn."""
    assert state.pending is not None
    gone = not turn.short and turn.off_nm > desk.rules.overstood_nm
    still = state.pending.board > 0 and state.tack != state.pending.tack
    if not (gone and still) or state.told.late:
        return state, []
    event = lines.overstood(state, turn.off_nm, f"the line of {name_at(turn.stop)}")
    return replace(state, told=replace(state.told, late=True)), [event]
