"""The numbers of the moment, for displays."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from goosewing.live.core import lines, sensing, turns
from goosewing.live.core.copies import replace
from goosewing.live.core.damping import towards_deg, turned_deg
from goosewing.live.core.standing import live, name_at, present_board, steered, to_mark, under_way
from goosewing.live.core.state import Figures
from goosewing.velocities.velocity_set import along_and_across

if TYPE_CHECKING:
    from goosewing.live.core.state import Desk, State
    from goosewing.records import FromHere
    from goosewing.velocities.velocity_set import VelocitySet

NOTHING = Figures()
"""No figures: what displays are given where nothing is known."""


def figures(state: State, desk: Desk) -> Figures:
    """Work out the numbers for the displays."""
    found = _boat_figures(state, desk)
    board = present_board(state)
    if board is None or not under_way(state):
        return found
    now = live(state.held, board)
    turn = turns.turn_ahead(state, desk)
    awaiting = state.pending is not None
    lying = lines.lies(state)
    own = next((line for line in lying if line.tack == state.tack), None)
    crossing = next((line for line in lying if line.tack != state.tack), None)
    return replace(
        found,
        target_angle_deg=steered(board, state.nth, state.now_s).twa_deg,
        target_speed_kn=now.boat_speed_kn,
        layline_nm=crossing.distance_nm if crossing else None,
        layline_s=_seconds(crossing),
        opposite_nm=own.distance_nm if own else None,
        opposite_s=_seconds(own),
        turn=state.pending.point if state.pending else name_at(turn.stop) if turn else None,
        turn_nm=0.0 if awaiting else turn.distance_nm if turn else None,
        turn_s=0.0 if awaiting else turns.time_ahead_s(state) if turn else None,
        awaiting=awaiting,
    )


def _seconds(line: FromHere | None) -> float | None:
    return None if line is None or line.elapsed_h is None else line.elapsed_h * 3600.0


def _boat_figures(state: State, desk: Desk) -> Figures:
    held, sense = state.held, state.sense
    if held is None or state.wind is None:
        return NOTHING
    twd, tws, _, _ = sensing.wind_airs(state, desk)
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
        stream=_stream(state, desk),
    )


def _stream(state: State, desk: Desk) -> tuple[float, float, float] | None:
    known, doubt = sensing.stream_kn(state, desk), sensing.stream_doubt_kn(state, desk)
    if known is None or doubt is None:
        return None
    return towards_deg(*known), math.hypot(*known), doubt


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
    bearing = to_mark(state)
    if bearing.distance_nm == 0.0:
        return None
    return (track[0] * bearing.east_nm + track[1] * bearing.north_nm) / bearing.distance_nm
