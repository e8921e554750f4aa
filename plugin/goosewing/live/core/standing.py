"""Where she stands: in the plan, to the next mark, and how its boards go in the wind of now."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from goosewing.earth import local_plane
from goosewing.live.core import sensing
from goosewing.live.core.copies import replace
from goosewing.live.core.damping import turned_deg, vector
from goosewing.turns import stops
from goosewing.velocities.velocity_set import Airs, VelocitySet, airs_over_water, velocity_set

if TYPE_CHECKING:
    from goosewing.live.core.state import Desk, Planned, State
    from goosewing.records import Board, Fix, Mark, Order, Steer, Tack
    from goosewing.turns import Stop

NEW_AIRS_DEG, NEW_AIRS_KN = 0.5, 0.1
"""The velocity set is made anew when wind or stream have changed by more."""


# ---- in the plan ------------------------------------------------------------------------


def present_board(state: State) -> Board | None:
    """Return the board that the plan has her on."""
    if state.planned is None:
        return None
    boards = state.planned.plan.legs[0].boards
    return boards[state.planned.board_at(state.board)]


def next_board(state: State) -> Board | None:
    """Return the board after the present one of this leg; None at the last."""
    if state.planned is None:
        return None
    boards = state.planned.plan.legs[0].boards
    return boards[state.board + 1] if state.board + 1 < len(boards) else None


def board_after_mark(state: State) -> Board | None:
    """Return the first board of the leg after this one; None on the last leg."""
    if state.planned is None:
        return None
    legs = state.planned.plan.legs
    return legs[1].boards[0] if len(legs) > 1 and legs[1].boards else None


def next_stop(state: State) -> Stop | None:
    """Return where something else is done or steered next, on the way to the next mark.

    A turn that is due stays the next one until it is made; the orders along the board
    before it are then behind.
    """
    if state.planned is None:
        return None
    here, due = (state.board, state.nth), state.pending is not None
    for stop in stops(state.planned.plan):
        if stop.leg > 0:
            return None
        if stop.mark is None and (stop.at, stop.nth) > here and not (due and stop.order):
            return stop
    return None


def name_of(board: Board) -> str:
    """Return what the place is called where a board begins, within a leg."""
    return board.point or "A0"


def name_at(stop: Stop) -> str:
    """Return what a turning point within a leg is called."""
    return stop.point or "A0"


class Steered(NamedTuple):
    """What the helm holds, a heading or an angle to the wind, and what the other one then is."""

    steer: Steer
    heading_deg: float
    twa_deg: float


def steered(board: Board, nth: int, now_s: float) -> Steered:
    """Return how a board is steered under one of its orders; where that has begun, at this time.

    Under a heading the wind's angle swings along a board in changing wind, under an angle
    the heading does.
    """
    held = order_of(board, nth)
    begins, ends = held_from(board, nth).time, held_to(board, nth).time
    assert begins is not None
    assert ends is not None
    past = [
        point for point in board.points
        if begins <= point.time < ends and point.time.timestamp() <= now_s
    ]  # fmt: skip
    at = past[-1] if past else held
    if held.steer == "heading":
        return Steered(held.steer, held.heading_deg, at.twa_deg)
    return Steered(held.steer, at.heading_deg, held.twa_deg)


def order_of(board: Board, nth: int) -> Board | Order:
    """Return one of a board's orders; where it has but one, the board tells it."""
    return board.orders[nth] if nth < len(board.orders) else board


def held_from(board: Board, nth: int) -> Fix | Order:
    """Return where an order of a board begins to hold."""
    return board.orders[nth] if 0 < nth < len(board.orders) else board.start


def held_to(board: Board, nth: int) -> Fix | Order:
    """Return where an order of a board ends."""
    return board.orders[nth + 1] if nth + 1 < len(board.orders) else board.end


def under_way(state: State) -> bool:
    """Whether the plan is for the mark that is next, and begins where she is."""
    return (
        state.planned is not None
        and state.question is None
        and state.route is not None
        and state.route.from_here
        and state.place is not None
        and state.planned.order.next == state.route.next
    )


def poled_ahead(planned: Planned, board: int) -> bool:
    """Whether the plan sails poled out on the way to the next mark, from this board on."""
    return any(each.poled for each in planned.plan.legs[0].boards[board:])


# ---- to the next mark -------------------------------------------------------------------


def next_mark(state: State) -> Mark:
    """Return the mark to be sailed to; there is a route."""
    assert state.route is not None
    return state.route.marks[state.route.next]


def to_mark(state: State) -> local_plane.Bearing:
    """Return how the next mark lies from her; there is a route and a place."""
    mark = next_mark(state)
    return to_place(state, mark.lat, mark.lon)


def to_place(state: State, lat: float, lon: float) -> local_plane.Bearing:
    """Return how a place lies from her; hers is known."""
    assert state.place is not None
    return local_plane.towards(state.place.lat, state.place.lon, lat, lon)


# ---- in the wind of now -----------------------------------------------------------------


def headed_deg(shift_deg: float, tack: Tack | None) -> float:
    """Return by how much a shift of the wind heads her; negative where it lifts her. [°].

    On port tack a wind that goes to the right comes more from ahead.
    """
    return shift_deg if tack == "port" else -shift_deg


def refreshed(state: State, desk: Desk) -> State:
    """Keep the velocity set true to wind and stream."""
    if state.wind is None:
        return replace(state, held=None)
    twd, tws, east, north = sensing.wind_airs(state, desk)
    wind_east, wind_north = vector(twd + 180.0, tws)
    airs = airs_over_water(desk.boat, wind_east + east, wind_north + north, east, north)
    if state.held is not None and _alike(state.held.airs, airs):
        return state
    return replace(state, held=velocity_set(desk.boat, airs))


def _alike(one: Airs[float], two: Airs[float]) -> bool:
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
        # Entries of one mode are consecutive and ascend in wind angle.
        first, end = held.mode.searchsorted((number, number + 1))
        if first < end:
            after = first + held.twa_deg[first:end].searchsorted(board.twa_deg)
            one, two = max(after - 1, first), min(after, end - 1)
            low, high = float(held.twa_deg[one]), float(held.twa_deg[two])
            share = (board.twa_deg - low) / (high - low) if two > one else 0.0
            east, north, speed = (
                float(values[one]) + share * float(values[two] - values[one])
                for values in (held.east_kn, held.north_kn, held.boat_speed_kn)
            )
            return Live(math.degrees(math.atan2(east, north)) % 360.0, east, north, speed)
    east, north = vector(board.course_over_ground_deg, board.speed_over_ground_kn)
    return Live(board.course_over_ground_deg, east, north, board.boat_speed_kn)
