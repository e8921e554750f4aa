"""Whether advice can be given: ages of the inputs, what is missing, and how it is said."""

from __future__ import annotations

from typing import TYPE_CHECKING

from goosewing.live.core import sensing
from goosewing.live.core.standing import name_at, next_stop, present_board

if TYPE_CHECKING:
    from goosewing.live.core.state import Desk, ServiceState, State

HEADING = ("heading_deg", "heading_magnetic_deg")
WIND = ("aws_kn", "tws_kn", "ground_wind_kn")


def ages(state: State) -> dict[str, float | None]:
    """Return how old each input is, in seconds; None where there never was one."""
    now = state.now_s
    seen = {
        "position": state.place.seen_s if state.place else None,
        "wind": state.wind.seen_s if state.wind else None,
        "heading": _newest(state, *HEADING),
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
    limit = desk.rules.wind_stale_s
    if state.wind is not None and state.now_s - state.wind.seen_s <= limit:
        return None
    felt = _newest(state, *WIND)
    if felt is not None and state.now_s - felt <= limit and state.sense.heading_deg is None:
        return _no_heading(state, desk)
    return "no wind yet" if state.wind is None else f"no wind for more than {limit:.0f} s"


def _no_heading(state: State, desk: Desk) -> str:
    """The wind is felt, but nobody knows where the bow points."""
    compass = _newest(state, *HEADING)
    if compass is None:
        return "no heading: the wind's direction is not known"
    if state.now_s - compass <= desk.rules.heading_stale_s:
        return "no variation for the magnetic heading: the wind's direction is not known"
    limit = desk.rules.heading_stale_s
    return f"no heading for more than {limit:.0f} s: the wind's direction is not known"


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
    if state.question is not None:
        return "waiting", state.question.words
    if state.failure is not None:
        return "failed", f"No plan: {state.failure}"
    if state.planned is None:
        return "waiting", "Planning."
    said = [_doing(state), *_lacking(state)]
    disagree = state.told.disagree
    return "advising", " ".join([*said, disagree] if disagree else said)


def _doing(state: State) -> str:
    if state.pending is not None:
        return f"{state.pending.point}, {state.pending.words}: waiting to be acknowledged."
    board = present_board(state)
    assert board is not None
    assert state.route is not None
    stop = next_stop(state)
    target = name_at(stop) if stop else state.route.marks[state.route.next].name
    return f"{board.tack.capitalize()} tack, {board.sail_set}, to {target}."


def _lacking(state: State) -> list[str]:
    said = []
    if state.sense.speed_from == "polar":
        said.append("No log: boat speed by the polar, stream unknown.")
    elif state.sense.speed_from == "ground":
        said.append("No log: boat speed from that over the ground, stream as last known.")
    if state.sense.heading_from == sensing.COURSE:
        said.append("No heading: course over ground instead, stream unknown.")
    elif state.sense.heading_from == sensing.WATER_COURSE:
        said.append("No heading: by the course over ground, stream as last known.")
    elif state.sense.heading_deg is None:
        said.append("No heading: tack and stream unknown.")
    if state.told.shifts_off is not None:
        said.append(state.told.shifts_off)
    return said
