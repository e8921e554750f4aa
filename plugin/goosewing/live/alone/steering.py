r"""What a plotter or a pilot is told to steer by: RMB, XTE and BWC, once a second.

Only where the crew has asked for it. The waypoint is the next turning point of the board
she is on, or the mark. It is never changed for the one after it at a tack, a gybe or a
pole by itself: while a turn waits to be acknowledged the data stay those to the waypoint
she came for, with the arrival flag set. Without valid advice every status says ``V``
and the fields are empty.

The sentences' fields are read in public documentation of the format; the standard itself
was not open. RMB: status, cross-track error [nm] and the side to steer to, waypoint she
comes from and waypoint she goes to with its position, range [nm], true bearing, closing
speed [kn], arrival flag, mode. XTE: two statuses, cross-track error, side, unit, mode.
BWC: time, waypoint's position, bearing true and magnetic, distance, name, mode; along the
great circle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from goosewing.earth import geodesy, local_plane
from goosewing.exchange.nmea.routes import (
    DEFAULT_TALKER,
    clean_name,
    format_latitude,
    format_longitude,
    format_sentence,
)
from goosewing.live.core import health, sensing, standing
from goosewing.turns import stops

if TYPE_CHECKING:
    from collections.abc import Mapping

    from goosewing.exchange.handheld.routes import Contents
    from goosewing.live.core.state import Desk, Planned, State
    from goosewing.records import Plan

Place = tuple[float, float]
"""Latitude and longitude. [°]"""

MOST_XTE_NM = 9.99
"""The field in RMB holds no more."""

MOST_RANGE_NM = 999.9

LONGEST_NAME = 6
"""Characters: with two names as long RMB just stays within a sentence's 82 bytes."""

SAME_PLACE_DEG = 1e-6

HAS_LINE_NM = 0.01
"""Two ends closer than this give no line to be off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """The waypoint she is led to.

    Attributes
    ----------
    origin, waypoint : str
        Names, as the receiver has them.
    begin, end : tuple of float
        The line she is to sail: latitude and longitude of its two ends. [°]
    arrived : bool
        She is there, and what comes next waits for the crew or for a new plan.
    """

    origin: str
    waypoint: str
    begin: Place
    end: Place
    arrived: bool = False


def guide(state: State, before: Guide | None, names: Mapping[Place, str]) -> Guide | None:
    """Return the waypoint to be led to.

    Parameters
    ----------
    state : State
    before : Guide or None
        The one of the second before.
    names : mapping
        What the receiver calls the places of the plan.

    Returns
    -------
    Guide or None
        None where there is none: no plan, or a turn due at once before anything was steered for.
    """
    if state.planned is None or state.route is None:
        return None
    awaited = state.pending is not None or state.planned.order.next != state.route.next
    if awaited and before is not None:
        return replace(_at_the_mark(state, state.planned, before, names), arrived=True)
    if awaited and (state.pending is None or state.pending.board == 0):
        return None
    return _to_next(state, state.planned, names, arrived=awaited)


def _at_the_mark(
    state: State, planned: Planned, before: Guide, names: Mapping[Place, str]
) -> Guide:
    """Lead to the mark that was rounded just now, also where a turn before it was left out."""
    assert state.route is not None
    if state.pending is not None or planned.order.next == state.route.next:
        return before
    end = planned.plan.legs[0].boards[-1].end
    mark = names.get((end.lat, end.lon)) or planned.plan.legs[0].destination
    return replace(before, waypoint=_short(mark), end=(end.lat, end.lon))


def _to_next(state: State, planned: Planned, names: Mapping[Place, str], *, arrived: bool) -> Guide:
    plan = planned.plan
    boards, at = plan.legs[0].boards, planned.board_at(state.board)
    begin, last = standing.held_from(boards[at], state.nth), boards[-1].end
    following = standing.next_stop(state)
    there = (last.lat, last.lon) if following is None else (following.lat, following.lon)
    title = standing.name_at(following) if following else plan.legs[0].destination
    here = begin.lat, begin.lon
    named = standing.order_of(boards[at], state.nth).point
    origin = names.get(here) or named or plan.legs[0].origin
    return Guide(
        origin=_short(origin), waypoint=_short(names.get(there) or title),
        begin=here, end=there, arrived=arrived or (following is None and _near(state, there)),
    )  # fmt: skip


def _near(state: State, there: Place) -> bool:
    """Whether she is within the arrival circle: the distance at which a mark is rounded."""
    place = state.place
    return place is not None and local_plane.towards(place.lat, place.lon, *there).distance_nm < 0.1


def _short(name: str) -> str:
    return clean_name(name)[:LONGEST_NAME].strip() or "WPT"


def names_of(contents: Contents, plan: Plan) -> dict[Place, str]:
    """Return what a receiver calls the places of a plan, by the route it was sent."""
    points = [p for route in contents.routes for p in route.points if p.name]
    places = [
        (fix.lat, fix.lon)
        for leg in plan.legs for board in leg.boards for fix in (board.start, board.end)
    ]  # fmt: skip
    places += [(stop.lat, stop.lon) for stop in stops(plan) if stop.order is not None]
    found: dict[Place, str] = {}
    for place in places:
        for point in points:
            if _apart_deg(place, point.place) <= SAME_PLACE_DEG:
                found.setdefault(place, str(point.name))
    return found


def _apart_deg(one: Place, two: Place) -> float:
    return max(abs(one[0] - two[0]), abs((one[1] - two[1] + 180.0) % 360.0 - 180.0))


def sentences(
    state: State, desk: Desk, leads: Guide | None, *, talker: str = DEFAULT_TALKER
) -> tuple[str, ...]:
    """Return RMB, XTE and BWC of this second, with their line ends.

    Parameters
    ----------
    state : State
    desk : Desk
    leads : Guide or None
        The waypoint.
    talker : str
        Who speaks.
    """
    valid = leads is not None and state.place is not None
    if not valid or health.status(state)[0] != "advising":
        return nothing(state.now_s, talker=talker)
    assert leads is not None
    fields = {
        "RMB": _rmb(state, leads),
        "XTE": _xte(state, leads),
        "BWC": _bwc(state, desk, leads),
    }
    return tuple(format_sentence(talker, kind, each) for kind, each in fields.items())


def nothing(now_s: float, *, talker: str = DEFAULT_TALKER) -> tuple[str, ...]:
    """Return the three that say there is nothing to steer by."""
    return (
        format_sentence(talker, "RMB", ["V", *[""] * 11, "V", "N"]),
        format_sentence(talker, "XTE", ["V", "V", "", "", "N", "N"]),
        format_sentence(talker, "BWC", [_utc(now_s), *[""] * 5, "T", "", "M", "", "N", "", "N"]),
    )


def _rmb(state: State, leads: Guide) -> list[str]:
    off = _off_line_nm(state, leads)
    distance, bearing = _great_circle(state, leads)
    closing = _closing_kn(state, leads)
    return [
        "A", f"{min(abs(off), MOST_XTE_NM):.2f}", _side(off), leads.origin, leads.waypoint,
        *format_latitude(leads.end[0], 3), *format_longitude(leads.end[1], 3),
        f"{min(distance, MOST_RANGE_NM):.2f}", _bearing(bearing),
        "" if closing is None else f"{closing:.1f}", "A" if leads.arrived else "V", "A",
    ]  # fmt: skip


def _xte(state: State, leads: Guide) -> list[str]:
    off = _off_line_nm(state, leads)
    return ["A", "A", f"{abs(off):.3f}", _side(off), "N", "A"]


def _bwc(state: State, desk: Desk, leads: Guide) -> list[str]:
    distance, bearing = _great_circle(state, leads)
    variation = sensing.variation_deg(state, desk)
    magnetic = "" if variation is None else _bearing(bearing - variation)
    return [
        _utc(state.now_s), *format_latitude(leads.end[0], 3), *format_longitude(leads.end[1], 3),
        _bearing(bearing), "T", magnetic, "M", f"{distance:.2f}", "N", leads.waypoint, "A",
    ]  # fmt: skip


def _off_line_nm(state: State, leads: Guide) -> float:
    """Return how far she is to the right of her line, negative to the left of it. [nm]."""
    assert state.place is not None
    line = local_plane.towards(*leads.begin, *leads.end)
    if line.distance_nm < HAS_LINE_NM:
        return 0.0
    course = math.degrees(math.atan2(line.east_nm, line.north_nm))
    return local_plane.right_of_nm(
        local_plane.towards(state.place.lat, state.place.lon, *leads.end), course
    )


def _side(off_nm: float) -> str:
    """Return the side to steer to."""
    return "L" if off_nm > 0.0 else "R"


def _great_circle(state: State, leads: Guide) -> tuple[float, float]:
    assert state.place is not None
    line = geodesy.geodesic_inverse(state.place.lat, state.place.lon, *leads.end)
    return float(line.distance_nm), float(line.initial_bearing_deg)


def _closing_kn(state: State, leads: Guide) -> float | None:
    assert state.place is not None
    track = sensing.ground_track(state)
    to = local_plane.towards(state.place.lat, state.place.lon, *leads.end)
    if track is None or to.distance_nm == 0.0:
        return None
    speed = (track[0] * to.east_nm + track[1] * to.north_nm) / to.distance_nm
    return round(speed, 1) + 0.0


def _bearing(degrees: float) -> str:
    return f"{round(degrees, 1) % 360.0:05.1f}"


def _utc(now_s: float) -> str:
    """Return ``hhmmss.00``."""
    second = int(now_s) % 86400 if math.isfinite(now_s) else 0
    return f"{second // 3600:02d}{second // 60 % 60:02d}{second % 60:02d}.00"
