"""How she lies to the laylines of the next mark, and what of it is told."""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING

from goosewing.earth import local_plane
from goosewing.laylines import steady
from goosewing.live.core.copies import replace
from goosewing.live.core.standing import next_mark, to_mark
from goosewing.live.core.state import Event
from goosewing.records import FromHere

if TYPE_CHECKING:
    from goosewing.live.core.state import Desk, Lie, State
    from goosewing.velocities.velocity_set import VelocitySet

PASSED_BETWEEN_LOOKS_NM = 0.1
LOST_LAYLINE_NM = 0.1
"""So far from a layline she was on, she is short of it again."""


def lies(state: State) -> tuple[FromHere, ...]:
    """Say how she lies to the laylines of the next mark, in the wind of now.

    As `goosewing.laylines.steady.from_here`, in the plane: this is asked every second.
    """
    held = state.held
    if held is None or not len(held) or state.place is None:
        return ()
    mark, bearing_of = next_mark(state), to_mark(state)
    if bearing_of.distance_nm < 0.01:
        return ()
    bearing = math.degrees(math.atan2(bearing_of.east_nm, bearing_of.north_nm)) % 360.0
    needed = [one.index for one in steady.needed_velocities(held, bearing)]
    sails = [held.modes[held.mode[at]] for at in needed]
    return tuple(
        _lies_to(held, mark.name, bearing_of, own, other)
        for own, one in zip(needed, sails, strict=True)
        for other, two in zip(needed, sails, strict=True)
        if own != other and one.sail_set == two.sail_set and not one.poled
    )


def _lies_to(
    held: VelocitySet, mark: str, bearing: local_plane.Bearing, own: int, other: int
) -> FromHere:
    """Tell how she lies to the layline of velocity `own` when she sails velocity `other`."""
    mode = held.modes[held.mode[own]]
    line = float(held.east_kn[own]), float(held.north_kn[own])
    course = math.degrees(math.atan2(*line))
    velocity = float(held.east_kn[other]), float(held.north_kn[other])
    off = local_plane.right_of_nm(bearing, course)
    rate = local_plane.right_rate_kn(velocity, course)
    lie = partial(FromHere, mark=mark, tack=mode.tack, sail_set=mode.name)
    if abs(off) <= steady.ON_THE_LAYLINE_NM:
        return lie(state="on it", distance_nm=0.0, elapsed_h=0.0)
    if rate == 0.0:
        return lie(state="out of reach")
    hours = -off / rate
    if hours < 0.0:
        return lie(state="overstood", overstood_nm=abs(off))
    angle = math.radians(course)
    to_go = bearing.east_nm * math.sin(angle) + bearing.north_nm * math.cos(angle)
    gained = velocity[0] * math.sin(angle) + velocity[1] * math.cos(angle)
    if to_go - hours * gained < 0.0:
        return lie(state="out of reach")
    return lie(state="short of it", distance_nm=hours * math.hypot(*velocity), elapsed_h=hours)


def met(state: State, _: Desk) -> tuple[State, list[Event]]:
    """Tell when she comes upon a layline, and when she has gone past it."""
    events = []
    for line in lies(state):
        key = (line.tack, line.sail_set)
        before = state.told.lies.get(key)
        now = _lie(before, line)
        if now != before:
            told = replace(state.told, lies={**state.told.lies, key: now})
            state = replace(state, told=told)
            event = _event(state, line, before, now)
            events += [event] if event else []
    return state, events


def _lie(before: Lie | None, line: FromHere) -> Lie:
    """Return how she lies, with room between so that it does not chatter."""
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


def _event(state: State, line: FromHere, before: Lie | None, now: Lie) -> Event | None:
    if before == "short" and now == "on":
        return Event(
            time_s=state.now_s, kind="on_layline", severity="alert",
            message=f"On the {line.tack}-tack layline to {line.mark}.",
            values={"mark": line.mark, "tack": line.tack, "sail_set": line.sail_set},
        )  # fmt: skip
    # Whoever is still on the other tack is told of it at the turn.
    if before in ("short", "on") and now == "over" and line.tack == state.tack:
        return overstood(state, line.overstood_nm or 0.0, f"the {line.tack}-tack layline")
    return None


def overstood(state: State, over_nm: float, what: str) -> Event:
    """Return what is told when she has sailed past a line."""
    return Event(
        time_s=state.now_s, kind="overstood", severity="warn",
        message=f"Overstood: {over_nm:.2f} nm beyond {what}.", values={"overstood_nm": over_nm},
    )  # fmt: skip
