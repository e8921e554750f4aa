"""What the crew is told, of laylines, turns, shifts, the pole; and when a plan is made anew."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.laylines import steady
from goosewing.live.core import geometry, orders, sensing
from goosewing.live.core.damping import from_deg, strength_kn, turned_deg, vector
from goosewing.live.core.sensing import lasting
from goosewing.live.core.state import (
    Event,
    Figures,
    Order,
    Pending,
    Planned,
    Route,
    ServiceState,
    State,
)
from goosewing.records import FromHere
from goosewing.velocities.velocity_set import (
    Airs,
    VelocitySet,
    airs_over_water,
    along_and_across,
    fastest_mix,
    velocity_set,
)
from goosewing.words.figures import hours_and_minutes

if TYPE_CHECKING:
    from goosewing.live.core.orders import Stage
    from goosewing.live.core.state import Desk
    from goosewing.records import Board, Mark, Plan

NOTHING = Figures()
"""No figures: what displays are given where nothing is known."""

TURN_NOW_S = 1.0
"""One look ahead: a turn due before the next one is due now."""

PASSED_BETWEEN_LOOKS_NM = 0.1
LOST_LAYLINE_NM = 0.1
"""So far from a layline she was on, she is short of it again."""

SHIFT_TOLD_DEG = 5.0
"""A shift of fewer degrees is not worth a word."""

NEW_AIRS_DEG, NEW_AIRS_KN = 0.5, 0.1
"""The velocity set is made anew when wind or stream have changed by more."""


# ---- ages and staleness ---------------------------------------------------------------


def ages(state: State) -> dict[str, float | None]:
    """Return how old each input is, in seconds; None where there never was one."""
    now = state.now_s
    seen = {
        "position": state.place.seen_s if state.place else None,
        "wind": state.wind.seen_s if state.wind else None,
        "heading": _newest(state, "heading_deg", "heading_magnetic_deg"),
        "boat_speed": _newest(state, "stw_kn"),
        "course": _newest(state, "cog_deg", "sog_kn"),
        "current": _newest(state, "set_deg", "drift_kn"),
    }
    return {k: None if t is None else round(max(now - t, 0.0), 1) for k, t in seen.items()}


def _newest(state: State, *names: str) -> float | None:
    times = [s.seen_s for name in names for s in state.readings.get(name, {}).values()]
    return max(times, default=None)


def what_is_stale(state: State, desk: Desk) -> tuple[str, ...]:
    """Say, in plain words, which inputs forbid advice."""
    faults = [wind_fault(state, desk)]
    if state.route is None or state.route.from_here:
        faults.append(position_fault(state, desk))
    return tuple(fault for fault in faults if fault is not None)


def wind_fault(state: State, desk: Desk) -> str | None:
    """Say why the wind can't be relied on; None if it can."""
    if state.wind is None:
        return "no wind yet"
    if state.now_s - state.wind.seen_s > desk.rules.wind_stale_s:
        return f"no wind for more than {desk.rules.wind_stale_s:.0f} s"
    return None


def position_fault(state: State, desk: Desk) -> str | None:
    """Say why the position can't be relied on; None if it can."""
    place = state.place
    if place is None:
        return "no position yet"
    if place.doubted is not None:
        return "the position jumped and is in doubt"
    if state.now_s - place.seen_s > desk.rules.position_stale_s:
        return f"no position for more than {desk.rules.position_stale_s:.0f} s"
    if sensing.frozen(state, desk):
        return "the position is frozen while she makes way"
    return None


def status(state: State) -> tuple[ServiceState, str]:
    """Say what the service does, and what is wrong if something is."""
    if state.route is None:
        words = f"{state.finished} reached." if state.finished else "Waiting for a route."
        return "waiting", words
    if state.stale:
        kind: ServiceState = "stale" if state.planned or state.failure else "waiting"
        return kind, f"No advice: {' and '.join(state.stale)}."
    if state.failure is not None:
        return "failed", f"No plan: {state.failure}"
    if state.planned is None:
        return "waiting", "Planning."
    said = [_doing(state), *_lacking(state)]
    disagree = state.told.get("disagree")
    return "advising", " ".join([*said, str(disagree)] if disagree else said)


def _doing(state: State) -> str:
    if state.pending is not None:
        return f"{state.pending.point}, {state.pending.words}: waiting to be acknowledged."
    board = present_board(state)
    assert board is not None
    assert state.route is not None
    after = next_stage(state)
    target = after.name if after else state.route.marks[state.route.next].name
    return f"{board.tack.capitalize()} tack, {board.sail_set}, to {target}."


def _lacking(state: State) -> list[str]:
    said = []
    if state.sense.speed_from == "polar":
        said.append("No log: boat speed by the polar, stream unknown.")
    if state.sense.heading_from == "course over ground":
        said.append("No heading: course over ground instead, stream unknown.")
    elif state.sense.heading_deg is None:
        said.append("No heading: tack and stream unknown.")
    return said


# ---- where she stands in the plan --------------------------------------------------------


def present_board(state: State) -> Board | None:
    """Return the board that the plan has her on."""
    if state.planned is None:
        return None
    boards = state.planned.plan.legs[0].boards
    return boards[min(state.board, len(boards) - 1)]


def next_stage(state: State) -> Stage | None:
    """Return the board after the present one of this leg; None at the last."""
    if state.planned is None:
        return None
    stages = orders.stages(state.planned.plan.legs[0])
    return stages[state.board + 1] if state.board + 1 < len(stages) else None


def _mark(state: State) -> Mark:
    assert state.route is not None
    return state.route.marks[state.route.next]


def under_way(state: State) -> bool:
    """Whether the plan is for the mark that is next, and begins where she is."""
    return (
        state.planned is not None
        and state.route is not None
        and state.route.from_here
        and state.place is not None
        and state.planned.order.next == state.route.next
    )


def to_mark(state: State) -> geometry.Bearing:
    """Return how the next mark lies from her; there is a route and a place."""
    mark = _mark(state)
    return _to(state, mark.lat, mark.lon)


def _to(state: State, lat: float, lon: float) -> geometry.Bearing:
    assert state.place is not None
    return geometry.towards(state.place.lat, state.place.lon, lat, lon)


# ---- the velocity set of the present wind -------------------------------------------------


def refreshed(state: State, desk: Desk) -> State:
    """Keep the velocity set true to wind and stream."""
    if state.wind is None:
        return replace(state, held=None)
    twd, tws, east, north = sensing.wind_airs(state)
    wind_east, wind_north = vector(twd + 180.0, tws)
    airs = airs_over_water(desk.boat, wind_east + east, wind_north + north, east, north)
    if state.held is not None and _alike(state.held.airs, airs):
        return state
    return replace(state, held=velocity_set(desk.boat, airs))


def _alike(one: Airs, two: Airs) -> bool:
    return (
        abs(turned_deg(one.twd_deg, two.twd_deg)) <= NEW_AIRS_DEG
        and abs(one.tws_kn - two.tws_kn) <= NEW_AIRS_KN
        and abs(one.stream_east_kn - two.stream_east_kn) <= NEW_AIRS_KN
        and abs(one.stream_north_kn - two.stream_north_kn) <= NEW_AIRS_KN
    )


class Live(NamedTuple):
    """How a board of the plan would go in the wind of now."""

    course_deg: float
    east_kn: float
    north_kn: float
    boat_speed_kn: float


def live(held: VelocitySet | None, board: Board) -> Live:
    """Return how a board goes in the present wind; as planned where that wind forbids it."""
    if held is not None:
        number = next(
            n for n, m in enumerate(held.modes)
            if m.tack == board.tack and m.name == board.sail_set
        )  # fmt: skip
        at = np.flatnonzero(held.mode == number)
        if at.size:
            twa = held.twa_deg[at]
            order = np.argsort(twa)
            east, north, speed = (
                float(np.interp(board.twa_deg, twa[order], values[at][order]))
                for values in (held.east_kn, held.north_kn, held.boat_speed_kn)
            )
            return Live(math.degrees(math.atan2(east, north)) % 360.0, east, north, speed)
    east, north = vector(board.course_over_ground_deg, board.speed_over_ground_kn)
    return Live(board.course_over_ground_deg, east, north, board.boat_speed_kn)


# ---- marks -------------------------------------------------------------------------------


def rounding(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """Note a mark as rounded once she has been near it and is past its perpendicular."""
    route = state.route
    if route is None or state.place is None:
        return state, []
    mark = _mark(state)
    to_mark = _to(state, mark.lat, mark.lon)
    nearest = to_mark.distance_nm
    if state.nearest_nm is not None:
        nearest = min(nearest, state.nearest_nm)
    state = replace(state, nearest_nm=nearest)
    radius = max(desk.rules.rounding_nm, 1.2 * mark.leave_distance_nm)
    course = _arriving_deg(state, route)
    if course is None or nearest > radius or geometry.beyond_nm(to_mark, course) <= 0.0:
        return state, []
    event = Event(
        time_s=state.now_s, kind="mark_rounded", message=f"{mark.name} rounded.",
        severity="alert", values={"mark": mark.name},
    )  # fmt: skip
    return _next_mark(state, route, mark), [event]


def _arriving_deg(state: State, route: Route) -> float | None:
    """Return the course of the leg into the next mark, from the mark before or where she began."""
    mark = route.marks[route.next]
    if route.next > 0:
        before = route.marks[route.next - 1]
        lat, lon = before.lat, before.lon
    elif state.planned is not None:
        start = state.planned.plan.marks[0]
        lat, lon = start.lat, start.lon
    else:
        return None
    line = geometry.towards(lat, lon, mark.lat, mark.lon)
    if line.distance_nm < 0.01:
        return None
    return math.degrees(math.atan2(line.east_nm, line.north_nm))


def _next_mark(state: State, route: Route, mark: Mark) -> State:
    state = replace(state, nearest_nm=None, pending=None)
    if route.next + 1 < len(route.marks):
        return replace(
            state, route=replace(route, next=route.next + 1), wanted=f"{mark.name} is rounded"
        )
    return replace(
        state, route=None, planned=None, waiting=None, finished=mark.name, wanted=None, held=None
    )


# ---- what to tell ------------------------------------------------------------------------


def told(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """Find what the crew should be told now; each thing once."""
    state, events = _limits(state, desk)
    if not under_way(state):
        return state, events
    for find in (_laylines, _turning):
        state, more = find(state, desk)
        events = [*events, *more]
    return state, events


def _note(state: State, name: str, value: object) -> State:
    return replace(state, told={**state.told, name: value})


def lies(state: State) -> tuple[FromHere, ...]:
    """Say how she lies to the laylines of the next mark, in the wind of now.

    As `goosewing.laylines.steady.from_here`, in the plane: this is asked every second.
    """
    held = state.held
    if held is None or not len(held) or state.place is None:
        return ()
    mark = _mark(state)
    to_mark = _to(state, mark.lat, mark.lon)
    if to_mark.distance_nm < 0.01:
        return ()
    bearing = math.degrees(math.atan2(to_mark.east_nm, to_mark.north_nm)) % 360.0
    needed = [one.index for one in steady.needed_velocities(held, bearing)]
    sails = [held.modes[held.mode[at]] for at in needed]
    return tuple(
        _lies_to(held, mark.name, to_mark, own, other)
        for own, one in zip(needed, sails, strict=True)
        for other, two in zip(needed, sails, strict=True)
        if own != other and one.sail_set == two.sail_set and not one.poled
    )


def _lies_to(
    held: VelocitySet, mark: str, to_mark: geometry.Bearing, own: int, other: int
) -> FromHere:
    """Tell how she lies to the layline of velocity `own` when she sails velocity `other`."""
    mode = held.modes[held.mode[own]]
    line = float(held.east_kn[own]), float(held.north_kn[own])
    course = math.degrees(math.atan2(*line))
    velocity = float(held.east_kn[other]), float(held.north_kn[other])
    off, rate = geometry.right_of_nm(to_mark, course), geometry.right_rate_kn(velocity, course)
    lie = partial(FromHere, mark=mark, tack=mode.tack, sail_set=mode.name)
    if abs(off) <= steady.ON_THE_LAYLINE_NM:
        return lie(state="on it", distance_nm=0.0, elapsed_h=0.0)
    if rate == 0.0:
        return lie(state="out of reach")
    hours = -off / rate
    if hours < 0.0:
        return lie(state="overstood", overstood_nm=abs(off))
    angle = math.radians(course)
    to_go = to_mark.east_nm * math.sin(angle) + to_mark.north_nm * math.cos(angle)
    gained = velocity[0] * math.sin(angle) + velocity[1] * math.cos(angle)
    if to_go - hours * gained < 0.0:
        return lie(state="out of reach")
    return lie(state="short of it", distance_nm=hours * math.hypot(*velocity), elapsed_h=hours)


def _laylines(state: State, _: Desk) -> tuple[State, list[Event]]:
    events = []
    for line in lies(state):
        key = f"layline {line.tack} {line.sail_set}"
        before = state.told.get(key)
        now = _lie(before, line)
        if now != before:
            state = _note(state, key, now)
            event = _layline_event(state, line, before, now)
            events += [event] if event else []
    return state, events


def _lie(before: object, line: FromHere) -> str:
    """Return "short", "on" or "over", with room between so that it does not chatter."""
    if line.state == "on it":
        return "on"
    if line.state == "overstood":
        over = line.overstood_nm or 0.0
        if over <= PASSED_BETWEEN_LOOKS_NM and before in ("short", "on"):
            return "on"
        return "over"
    if line.state == "out of reach":
        return "out"
    if before == "on" and (line.distance_nm or LOST_LAYLINE_NM) < LOST_LAYLINE_NM:
        return "on"
    return "short"


def _layline_event(state: State, line: FromHere, before: object, now: str) -> Event | None:
    if before == "short" and now == "on":
        return Event(
            time_s=state.now_s, kind="on_layline", severity="alert",
            message=f"On the {line.tack}-tack layline to {line.mark}.",
            values={"mark": line.mark, "tack": line.tack, "sail_set": line.sail_set},
        )  # fmt: skip
    # Whoever is still on the other tack is told of it at the turn.
    if before in ("short", "on") and now == "over" and line.tack == state.tack:
        return _overstood(state, line.overstood_nm or 0.0, f"the {line.tack}-tack layline")
    return None


def _overstood(state: State, over_nm: float, what: str) -> Event:
    return Event(
        time_s=state.now_s, kind="overstood", severity="warn",
        message=f"Overstood: {over_nm:.2f} nm beyond {what}.", values={"overstood_nm": over_nm},
    )  # fmt: skip


class Turn(NamedTuple):
    """How she lies to the line of the board after the present one."""

    stage: Stage
    short: bool
    off_nm: float
    distance_nm: float | None
    """Along her course; None where she does not sail towards it."""
    time_s: float | None


def turn_ahead(state: State) -> Turn | None:
    """Return how far off the next turning point is; None on the last board of a leg."""
    stage, board = next_stage(state), present_board(state)
    if stage is None or board is None or state.planned is None:
        return None
    if state.planned.order.forecast:
        # In changing wind the line of the board after curves: its beginning counts.
        place, course = board.end, stage.board.course_over_ground_deg
    else:
        place, course = stage.board.end, live(state.held, stage.board).course_deg
    off = geometry.right_of_nm(_to(state, place.lat, place.lon), course)
    now = live(state.held, board)
    planned_rate = geometry.right_rate_kn((now.east_kn, now.north_kn), course)
    short = off * planned_rate < 0.0
    track = sensing.ground_track(state)
    velocity = (now.east_kn, now.north_kn) if track is None else track
    rate = geometry.right_rate_kn(velocity, course)
    if not short or rate * planned_rate <= 0.0:
        return Turn(stage, short, abs(off), None if short else 0.0, None if short else 0.0)
    hours = abs(off / rate)
    return Turn(stage, short, abs(off), hours * math.hypot(*velocity), hours * 3600.0)


def _turning(state: State, desk: Desk) -> tuple[State, list[Event]]:
    turn = turn_ahead(state)
    if turn is None:
        return _strayed(state, desk)
    if state.pending is not None:
        return _late(state, desk, turn)
    name, words = turn.stage.name, orders.turn_words(turn.stage)
    values = {"point": name, "distance_nm": turn.distance_nm, "time_s": turn.time_s}
    state, early = _early(state, desk, turn)
    if early or not turn.short or (turn.time_s is not None and turn.time_s <= TURN_NOW_S):
        tack = turn.stage.board.tack
        pending = Pending(point=name, board=state.board + 1, tack=tack, words=words)
        message = f"{name} now: {words}."
        if early:
            message = f"On {tack} tack before {name}: acknowledge it to be planned from here."
        event = Event(
            time_s=state.now_s, kind="turn_now", severity="warn", message=message, values=values
        )
        return replace(state, pending=pending), [event]
    soon = turn.time_s is not None and turn.time_s <= desk.rules.approach_s
    if soon and not state.told.get("approach"):
        assert turn.time_s is not None
        message = f"{name} in {_minutes(turn.time_s)}, {turn.distance_nm:.2f} nm: {words}."
        event = Event(
            time_s=state.now_s, kind="approach", severity="alert", message=message, values=values
        )
        return _note(state, "approach", name), [event]
    if turn.time_s is None or turn.time_s > 1.5 * desk.rules.approach_s:
        state = _note(state, "approach", None) if state.told.get("approach") else state
    return state, []


def _minutes(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 100.0 else f"{seconds / 60.0:.0f} min"


def _early(state: State, desk: Desk, turn: Turn) -> tuple[State, bool]:
    """Whether she has turned before the point was reached."""
    board = present_board(state)
    assert board is not None
    turned = board.tack != turn.stage.board.tack and state.tack == turn.stage.board.tack
    state, for_s = lasting(state, "moved early", turned)
    return state, turned and for_s >= desk.rules.turned_for_s


def _strayed(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """On the last board of a leg a turn that no plan asked for calls for a new plan."""
    board = present_board(state)
    assert board is not None
    off = state.pending is None and state.tack is not None and state.tack != board.tack
    state, for_s = lasting(state, "moved tack", off and not board.poled)
    if for_s >= desk.rules.moved_for_s:
        return replace(state, wanted=f"she is on {state.tack} tack"), []
    return state, []


def _late(state: State, desk: Desk, turn: Turn) -> tuple[State, list[Event]]:
    """Tell once that she sailed on past a turn."""
    assert state.pending is not None
    gone = not turn.short and turn.off_nm > desk.rules.overstood_nm
    still = state.pending.board > 0 and state.tack != state.pending.tack
    if not (gone and still) or state.told.get("late"):
        return state, []
    event = _overstood(state, turn.off_nm, f"the line of {turn.stage.name}")
    return _note(state, "late", True), [event]


def _wing_gain(state: State, desk: Desk, planned: Planned) -> tuple[float, float] | None:
    """Return the gain of the poled sails towards the mark: as a ratio, and in hours after costs."""
    held = state.held
    if held is None or not len(held) or not any(s.poled for s in desk.boat.sail_sets):
        return None
    # Seen from where the plan began: as she nears the mark the board into it always wins.
    start, mark = planned.plan.marks[0], _mark(state)
    leg = geometry.towards(start.lat, start.lon, mark.lat, mark.lon)
    bearing = math.degrees(math.atan2(leg.east_nm, leg.north_nm))
    left_nm = _to(state, mark.lat, mark.lon).distance_nm
    poled = np.array([mode.poled for mode in held.modes])[held.mode]
    along, across = along_and_across(held.east_kn, held.north_kn, bearing)
    mix = fastest_mix(along, across, np.array([np.ones_like(poled), ~poled]))
    with_pole, without = (float(v) for v in mix.speed_kn)
    if not (with_pole > 0.0 and without > 0.0):
        return None
    costs = desk.boat.manoeuvres
    saved = left_nm * (1.0 / without - 1.0 / with_pole)
    return with_pole / without, saved - (costs.set_pole_s + costs.strike_pole_s) / 3600.0


def _limits(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """Tell when the wind leaves what the sails set are carried in, and when it is back."""
    board, name = present_board(state), sensing.carried(state)
    if board is None or state.gusting is None or name is None:
        return state, []
    sails = next((s for s in desk.boat.sail_sets if s.name == name), None)
    if sails is None:
        return state, []
    wind, least, most = state.gusting.east_kn, sails.tws_kn[0], sails.strongest_tws_kn
    was = state.told.get("beyond")
    beyond = _beyond(wind, least, most, desk.rules.limit_back_kn if was else 0.0)
    state, for_s = lasting(state, "beyond", beyond != was)
    if beyond == was or for_s < desk.rules.limit_for_s:
        return state, []
    state, _ = lasting(state, "beyond", False)
    words = f"{wind:.0f} kn of true wind: within the limits of {name} again."
    if beyond:
        limit = f"to {most:g}" if beyond == "strong" else f"from {least:g}"
        words = f"{wind:.1f} kn of true wind: {name} is carried {limit} kn."
    event = Event(
        time_s=state.now_s, kind="beyond_limits" if beyond else "within_limits",
        message=words, severity="warn" if beyond else "normal",
        values={"tws_kn": wind, "sail_set": name},
    )  # fmt: skip
    return _note(state, "beyond", beyond), [event]


def _beyond(wind_kn: float, least: float, most: float, room: float) -> str | None:
    if wind_kn > most - room:
        return "strong"
    return "light" if wind_kn < least + (room if least > 0.0 else 0.0) else None


# ---- plans made anew -----------------------------------------------------------------------


def why_anew(state: State, desk: Desk) -> tuple[State, str | None]:
    """Return why a plan is to be made now, in plain words, or None."""
    if state.route is None or state.waiting is not None or state.stale:
        return state, None
    if state.pending is not None:
        return state, None  # Nothing leads past a turn that was not acknowledged.
    if state.wanted is not None:
        return state, state.wanted
    if state.planned is None:
        failed = state.failed_s
        again = failed is not None and state.now_s - failed >= desk.rules.retry_s
        return state, "another try" if again else None
    planned, reasons = state.planned, []
    for find in (_wind_moved, _stream_moved, _left_the_line, _pole_turned):
        state, reason = find(state, desk, planned)
        reasons += [reason] if reason else []
    if desk.shift_rule is not None:
        asked = desk.shift_rule(state, desk)
        reasons += [asked] if asked else []
    apart = state.now_s - planned.order.time_s >= desk.rules.plans_apart_s
    return state, reasons[0] if reasons and apart else None


def _wind_moved(state: State, desk: Desk, planned: Planned) -> tuple[State, str | None]:
    assert state.wind is not None
    rules = desk.rules
    east, north = orders.expected_wind(planned.order, state.now_s)
    expected, strength = math.hypot(east, north), strength_kn(state.wind)
    turn = turned_deg(from_deg(state.wind.east_kn, state.wind.north_kn), from_deg(east, north))
    least = max(rules.wind_moved_kn, rules.wind_moved_share * expected)
    turned = abs(turn) > rules.wind_moved_deg and min(expected, strength) > 2.0
    stronger = abs(strength - expected) > least
    state, for_s = lasting(state, "moved wind", turned or stronger)
    if for_s < rules.moved_for_s:
        return state, None
    if turned:
        hand = "right" if turn > 0.0 else "left"
        return state, f"the wind went {abs(turn):.0f}° to the {hand}"
    return state, f"the wind is {strength:.0f} kn, no longer {expected:.0f}"


def _stream_moved(state: State, desk: Desk, planned: Planned) -> tuple[State, str | None]:
    if state.stream is None:
        return state, None
    east, north = orders.expected_stream(planned.order, state.now_s)
    change = math.hypot(state.stream.east_kn - east, state.stream.north_kn - north)
    state, for_s = lasting(state, "moved stream", change > desk.rules.stream_moved_kn)
    if for_s < desk.rules.moved_for_s:
        return state, None
    return state, f"the stream changed by {change:.1f} kn"


def _left_the_line(state: State, desk: Desk, _: Planned) -> tuple[State, str | None]:
    board = present_board(state)
    if board is None or not under_way(state):
        return state, None
    line = geometry.towards(board.start.lat, board.start.lon, board.end.lat, board.end.lon)
    course = math.degrees(math.atan2(line.east_nm, line.north_nm))
    off = abs(geometry.right_of_nm(_to(state, board.end.lat, board.end.lon), course))
    least = max(desk.rules.off_track_nm, desk.rules.off_track_share * line.distance_nm)
    mark = _mark(state)
    near = _to(state, mark.lat, mark.lon).distance_nm < 2.0 * desk.rules.rounding_nm
    state, for_s = lasting(state, "moved track", off > least and not near)
    if for_s < desk.rules.moved_for_s:
        return state, None
    return state, f"she is {off:.2f} nm off the line of this board"


def poled_ahead(planned: Planned, board: int) -> bool:
    """Whether the plan sails poled out on the way to the next mark, from this board on."""
    return any(each.poled for each in planned.plan.legs[0].boards[board:])


def _pole_turned(state: State, desk: Desk, planned: Planned) -> tuple[State, str | None]:
    """Want a new plan when the wind makes wing-and-wing pay, or no longer pay, on this leg."""
    gain = _wing_gain(state, desk, planned) if under_way(state) else None
    if gain is None or state.told.get("approach"):
        return state, None
    if poled_ahead(planned, state.board):
        turned = gain[0] < desk.rules.wing_loss
    else:
        turned = gain[0] >= desk.rules.wing_gain and gain[1] > 0.0
    state, for_s = lasting(state, "wing turned", turned)
    if not turned:
        return (_note(state, "wing tried", None) if state.told.get("wing tried") else state), None
    if for_s < desk.rules.wing_for_s or state.told.get("wing tried"):
        return state, None
    return _note(state, "wing tried", True), "wing-and-wing weighed anew"


def verdict(before: State, order: Order, plan: Plan) -> list[Event]:
    """Say what a new plan changes: the shift that it answers first, then the plan."""
    events = []
    if before.planned is not None and before.tack is not None:
        shift = _shift_event(before, order, plan)
        events += [shift] if shift else []
    pole = _pole_event(before, order, plan)
    events += [pole] if pole else []
    leg = plan.legs[0]
    boards = f"{len(leg.boards)} boards" if len(leg.boards) > 1 else "one board"
    words = (
        f"New plan ({order.reason}): {boards} to {leg.destination}, "
        f"{hours_and_minutes(plan.elapsed_h)} in all."
    )
    values = {"reason": order.reason, "elapsed_h": plan.elapsed_h, "number": order.number}
    return [*events, Event(time_s=before.now_s, kind="replanned", message=words, values=values)]


def _shift_event(before: State, order: Order, plan: Plan) -> Event | None:
    if abs(order.shift_deg) < SHIFT_TOLD_DEG:
        return None
    # On port tack a wind that goes to the right comes more from ahead.
    headed = (order.shift_deg > 0.0) == (before.tack == "port")
    boards = plan.legs[0].boards
    pays = boards[0].tack != before.tack
    other_h = sum(b.elapsed_h for b in boards if b.tack != before.tack)
    own_h = sum(b.elapsed_h for b in boards if b.tack == before.tack)
    longer = not pays and other_h > 1.1 * own_h
    if pays:
        what = "the other tack now pays"
    elif longer:
        what = "the longer board is now on the other tack, but turning at once gains nothing"
    else:
        what = "hold on"
    kind = "headed" if headed else "lifted"
    return Event(
        time_s=before.now_s, kind="headed" if headed else "lifted", severity="alert",
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


# ---- figures -------------------------------------------------------------------------------


def figures(state: State, desk: Desk) -> Figures:
    """Work out the numbers for the displays."""
    found = _boat_figures(state, desk)
    board = present_board(state)
    if board is None or not under_way(state):
        return found
    now = live(state.held, board)
    turn = turn_ahead(state)
    awaiting = state.pending is not None
    lines = lies(state)
    own = next((line for line in lines if line.tack == state.tack), None)
    crossing = next((line for line in lines if line.tack != state.tack), None)
    return replace(
        found,
        target_angle_deg=board.twa_deg,
        target_speed_kn=now.boat_speed_kn,
        layline_nm=crossing.distance_nm if crossing else None,
        layline_s=_seconds(crossing),
        opposite_nm=own.distance_nm if own else None,
        opposite_s=_seconds(own),
        turn=state.pending.point if state.pending else turn.stage.name if turn else None,
        turn_nm=0.0 if awaiting else turn.distance_nm if turn else None,
        turn_s=0.0 if awaiting else turn.time_s if turn else None,
        awaiting=awaiting,
    )


def _seconds(line: FromHere | None) -> float | None:
    return None if line is None or line.elapsed_h is None else line.elapsed_h * 3600.0


def _boat_figures(state: State, desk: Desk) -> Figures:
    held, sense = state.held, state.sense
    if held is None or state.wind is None:
        return NOTHING
    twd, tws, _, _ = sensing.wind_airs(state)
    heading, speed = sense.heading_deg, sense.boat_speed_kn
    polar = None
    if heading is not None:
        twa = abs(turned_deg(twd, heading))
        by_tables = sensing.by_polar(desk, sensing.carried(state), twa, tws)
        polar = None if by_tables is None else float(by_tables.boat_speed_kn)
    logged = speed if sense.speed_from == "log" else None
    return Figures(
        beat=_best(held, 0.0),
        gybe=_best(held, 180.0),
        polar_speed_kn=polar,
        speed_ratio=logged / polar if logged is not None and polar else None,
        made_good_kn=_made_good(state, twd),
        made_good_to_mark_kn=_made_good_to_mark(state),
        opposite_heading_deg=None if heading is None else (2.0 * twd - heading) % 360.0,
        leeway_deg=sense.leeway_deg if heading is not None else None,
    )


def _best(held: VelocitySet, off_wind_deg: float) -> tuple[float, float, float] | None:
    if not len(held):
        return None
    east = held.east_kn - held.airs.stream_east_kn
    north = held.north_kn - held.airs.stream_north_kn
    good, _ = along_and_across(east, north, held.airs.twd_deg + off_wind_deg)
    at = int(np.argmax(good))
    return float(held.twa_deg[at]), float(held.boat_speed_kn[at]), float(good[at])


def _made_good(state: State, twd_deg: float) -> float | None:
    """Speed made good to windward along the water track, negative downwind. [kn]."""
    sense = state.sense
    if sense.heading_deg is None or sense.boat_speed_kn is None:
        return None
    off = abs(turned_deg(twd_deg, sense.heading_deg)) + sense.leeway_deg
    return sense.boat_speed_kn * math.cos(math.radians(off))


def _made_good_to_mark(state: State) -> float | None:
    track = sensing.ground_track(state)
    if track is None or state.route is None or state.place is None:
        return None
    mark = _mark(state)
    to_mark = _to(state, mark.lat, mark.lon)
    if to_mark.distance_nm == 0.0:
        return None
    return (track[0] * to_mark.east_nm + track[1] * to_mark.north_nm) / to_mark.distance_nm
