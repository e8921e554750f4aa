"""When a plan is made anew, whether it changes what is advised, and what of that is told."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import numpy as np

from goosewing.earth import local_plane
from goosewing.live.core import orders, sensing, shifty, turns
from goosewing.live.core.copies import replace
from goosewing.live.core.damping import from_deg, strength_kn, turned_deg
from goosewing.live.core.sensing import lasting
from goosewing.live.core.standing import (
    headed_deg,
    held_from,
    held_to,
    next_mark,
    poled_ahead,
    present_board,
    steered,
    to_place,
    under_way,
)
from goosewing.live.core.state import Event, Reason
from goosewing.units import SECONDS_PER_HOUR
from goosewing.velocities.velocity_set import along_and_across, fastest_mix
from goosewing.words.figures import hours_and_minutes

if TYPE_CHECKING:
    from goosewing.live.core.state import Desk, EventKind, Order, Planned, State
    from goosewing.records import Board, Plan

SHIFT_TOLD_DEG = 5.0
"""A shift of fewer degrees is not worth a word."""

SHIFT_HELD_DEG = 10.0
"""Nor is one of fewer than these, where the answer is to hold on."""


def _stood_by_now(state: State) -> bool:
    """Whether the crew stands by for a turn."""
    return state.told.stood_by is not None


def _tried(state: State, tried: bool) -> State:
    return replace(state, told=replace(state.told, wing_tried=tried))


def why_anew(state: State, desk: Desk) -> tuple[State, Reason | None]:
    """Return why a plan is to be made now, or None."""
    if state.route is None or state.waiting is not None or state.stale:
        return state, None
    if state.question is not None or state.remembered is not None:
        return state, None  # What the crew alone knows decides where to.
    if state.pending is not None:
        return state, None  # Nothing leads past a turn that was not acknowledged.
    hears = sensing.heard(state, desk)
    if state.wanted is not None:
        return state, Reason(state.wanted) if hears or not state.hasty else None
    if state.planned is not None and state.planned.order.hasty and hears:
        return state, Reason("wind and stream are heard", quiet=True)
    if state.planned is None:
        failed = state.failed_s
        again = failed is not None and state.now_s - failed >= desk.rules.retry_s
        return state, Reason("another try") if again else None
    latest = state.weighed or state.planned.order
    state, reason = _moved(state, desk, state.planned)
    apart = state.now_s - latest.time_s >= desk.rules.plans_apart_s
    return state, reason if apart else None


def _moved(state: State, desk: Desk, planned: Planned) -> tuple[State, Reason | None]:
    """Look at each thing that a plan counts on: what was, since the plan last weighed."""
    # Off her line she needs another one, if the advice is the same or not.
    state, off = _left_the_line(state, desk, planned)
    found = [Reason(off, quiet=True)] if off else []
    for find in (_wind_moved, _stream_moved, _pole_turned, shifty.mean_moved):
        state, words = find(state, desk, planned)
        found += [Reason(words, quiet=True, keeps=True)] if words else []
    asked = None if desk.shift_rule is None else desk.shift_rule(state, desk)
    found = [Reason(asked), *found] if asked else found
    return state, found[0] if found else None


def _wind_moved(state: State, desk: Desk, planned: Planned) -> tuple[State, str | None]:
    assert state.wind is not None
    rules = desk.rules
    east, north = orders.expected_wind(state.weighed or planned.order, state.now_s)
    expected, strength = math.hypot(east, north), strength_kn(state.wind)
    turn = turned_deg(from_deg(*shifty.planned_for(state, desk)), from_deg(east, north))
    least = max(rules.wind_moved_kn, rules.wind_moved_share * expected)
    turned = abs(turn) > rules.wind_moved_deg and min(expected, strength) > 2.0
    stronger = abs(strength - expected) > least
    state, for_s = lasting(state, "wind_moved", turned or stronger)
    if for_s < rules.moved_for_s:
        return state, None
    if turned:
        hand = "right" if turn > 0.0 else "left"
        return state, f"the wind went {abs(turn):.0f}° to the {hand}"
    return state, f"the wind is {strength:.0f} kn, no longer {expected:.0f}"


def _stream_moved(state: State, desk: Desk, planned: Planned) -> tuple[State, str | None]:
    stream = sensing.stream_kn(state, desk)
    if stream is None:
        return state, None
    east, north = orders.expected_stream(state.weighed or planned.order, state.now_s)
    change = math.hypot(stream[0] - east, stream[1] - north)
    state, for_s = lasting(state, "stream_moved", change > desk.rules.stream_moved_kn)
    if for_s < desk.rules.moved_for_s:
        return state, None
    return state, f"the stream changed by {change:.1f} kn"


def _left_the_line(state: State, desk: Desk, _: Planned) -> tuple[State, str | None]:
    board = present_board(state)
    if board is None or not under_way(state):
        return state, None
    begin, end = held_from(board, state.nth), held_to(board, state.nth)
    line = local_plane.towards(begin.lat, begin.lon, end.lat, end.lon)
    course = math.degrees(math.atan2(line.east_nm, line.north_nm))
    off = abs(local_plane.right_of_nm(to_place(state, end.lat, end.lon), course))
    least = max(desk.rules.off_track_nm, desk.rules.off_track_share * line.distance_nm)
    mark = next_mark(state)
    near = to_place(state, mark.lat, mark.lon).distance_nm < 2.0 * desk.rules.rounding_nm
    past = turns.leads_past(state, desk)
    state, for_s = lasting(state, "off_track", past or (off > least and not near))
    if for_s < desk.rules.moved_for_s:
        return state, None
    if past:
        return state, f"her course leads past {mark.name}"
    return state, f"she is {off:.2f} nm off the line of this board"


def _pole_turned(state: State, desk: Desk, planned: Planned) -> tuple[State, str | None]:
    """Want a new plan when the wind makes wing-and-wing pay, or no longer pay, on this leg."""
    gain = _wing_gain(state, desk, planned) if under_way(state) else None
    if gain is None or _stood_by_now(state):
        return state, None
    if poled_ahead(planned, state.board):
        turned = gain[0] < desk.rules.wing_loss
    else:
        turned = gain[0] >= desk.rules.wing_gain and gain[1] > 0.0
    state, for_s = lasting(state, "wing_turned", turned)
    if not turned:
        return (_tried(state, False) if state.told.wing_tried else state), None
    if for_s < desk.rules.wing_for_s or state.told.wing_tried:
        return state, None
    return _tried(state, True), "wing-and-wing weighed anew"


# ---- what a new plan changes ---------------------------------------------------------------


Change = Literal["nothing", "figures", "advice"]
"""What a new plan changes: nothing worth a line; places and times; what the crew is to do."""

STEERED_ELSE_DEG = 5.0
MOVED_SHARE, MOVED_NM = 0.1, 0.1
LATER_SHARE, LATER_S = 0.03, 120.0
"""By more than these a new plan's first turn, heading or arrival is another."""


def change(before: State, plan: Plan) -> Change:
    """Say what a new plan changes of the one that stands."""
    assert before.planned is not None
    old, new = before.planned.plan.legs[0].boards[before.board :], plan.legs[0].boards
    if [_way(board) for board in old[:2]] != [_way(board) for board in new[:2]]:
        return "advice"
    one, two = old[0], new[0]
    now = steered(one, before.nth, before.now_s)
    turned = now.steer == "heading" and abs(turned_deg(two.heading_deg, now.heading_deg))
    apart = local_plane.towards(one.end.lat, one.end.lon, two.end.lat, two.end.lon).distance_nm
    left = to_place(before, two.end.lat, two.end.lon).distance_nm
    later = _arrival_s(plan) - _arrival_s(before.planned.plan)
    other = (
        len(old) != len(new)
        or turned > STEERED_ELSE_DEG
        or apart > max(MOVED_NM, MOVED_SHARE * left)
        or abs(later) > max(LATER_S, LATER_SHARE * plan.elapsed_h * SECONDS_PER_HOUR)
    )
    return "figures" if other else "nothing"


def _way(board: Board) -> tuple[str, str]:
    return board.tack, board.sail_set


def _arrival_s(plan: Plan) -> float:
    return plan.arrival.timestamp()


def verdict(before: State, order: Order, plan: Plan) -> list[Event]:
    """Say what a new plan changes: the shift that it answers first, then the plan."""
    events = []
    if before.planned is not None and before.tack is not None:
        shift = _shift_event(before, order, plan)
        events += [shift] if shift else []
    pole = _pole_event(before, order, plan)
    events += [pole] if pole else []
    if order.quiet and before.planned is not None and change(before, plan) != "advice":
        return events  # The figures on show are new; there is nothing to do otherwise.
    return [*events, _new_plan(before, order, plan)]


def _new_plan(before: State, order: Order, plan: Plan) -> Event:
    leg = plan.legs[0]
    boards = f"{len(leg.boards)} boards" if len(leg.boards) > 1 else "one board"
    words = (
        f"New plan ({order.reason}): {boards} to {leg.destination}, "
        f"{hours_and_minutes(plan.elapsed_h)} in all."
    )
    values = {"reason": order.reason, "elapsed_h": plan.elapsed_h, "number": order.number}
    return Event(time_s=before.now_s, kind="replanned", message=words, values=values)


def _shift_event(before: State, order: Order, plan: Plan) -> Event | None:
    if abs(order.shift_deg) < SHIFT_TOLD_DEG:
        return None
    if before.planned is not None and before.planned.rule is not None:
        return None  # Shifts are answered by their rule.
    boards = plan.legs[0].boards
    pays = boards[0].tack != before.tack
    other_h = sum(b.elapsed_h for b in boards if b.tack != before.tack)
    own_h = sum(b.elapsed_h for b in boards if b.tack == before.tack)
    longer = not pays and other_h > 1.1 * own_h
    if not pays and abs(order.shift_deg) < SHIFT_HELD_DEG:
        return None
    if pays:
        what = "the other tack now pays"
    elif longer:
        what = "the longer board is now on the other tack, but turning at once gains nothing"
    else:
        what = "hold on"
    kind: EventKind = "headed" if headed_deg(order.shift_deg, before.tack) > 0.0 else "lifted"
    return Event(
        time_s=before.now_s, kind=kind,
        severity="alert" if pays else "normal",
        message=f"{kind.capitalize()} {abs(order.shift_deg):.0f}°: {what}.",
        values={"shift_deg": order.shift_deg, "other_tack_pays": pays, "other_tack_longer": longer},
    )  # fmt: skip


def _pole_event(before: State, order: Order, plan: Plan) -> Event | None:
    """Tell when the new plan poles out where the one before did not, or the other way round."""
    if before.planned is None or before.planned.order.next != order.next:
        return None
    was = poled_ahead(before.planned, before.board)
    poled = [board for board in plan.legs[0].boards if board.poled]
    if was == bool(poled):
        return None
    words = "Wing-and-wing no longer pays."
    if poled:
        minutes = sum(board.elapsed_h for board in poled) * 60.0
        words = f"{poled[0].sail_set.capitalize()} now pays, for {minutes:.0f} min."
    return Event(
        time_s=before.now_s, kind="wing_pays" if poled else "wing_no_longer_pays",
        message=words, severity="alert", values={"mark": plan.legs[0].destination},
    )  # fmt: skip


def _wing_gain(state: State, desk: Desk, planned: Planned) -> tuple[float, float] | None:
    """Return the gain of the poled sails towards the mark: as a ratio, and in hours after costs."""
    held = state.held
    if held is None or not len(held) or not any(s.poled for s in desk.boat.sail_sets):
        return None
    # Seen from where the plan began: as she nears the mark the board into it always wins.
    start, mark = planned.plan.marks[0], next_mark(state)
    leg = local_plane.towards(start.lat, start.lon, mark.lat, mark.lon)
    bearing = math.degrees(math.atan2(leg.east_nm, leg.north_nm))
    left_nm = to_place(state, mark.lat, mark.lon).distance_nm
    poled = np.array([mode.poled for mode in held.modes])[held.mode]
    along, across = along_and_across(held.east_kn, held.north_kn, bearing)
    mix = fastest_mix(along, across, np.array([np.ones_like(poled), ~poled]))
    with_pole, without = (float(v) for v in mix.speed_kn)
    if not (with_pole > 0.0 and without > 0.0):
        return None
    costs = desk.boat.manoeuvres
    saved = left_nm * (1.0 / without - 1.0 / with_pole)
    return with_pole / without, saved - (costs.set_pole_s + costs.strike_pole_s) / 3600.0
