"""What of a plan's sails only the boat knows: how far they are carried, when a pole is struck.

A pole is struck with the wind well aft, but not dead aft where hands are forward, on the board
that it was carried on: its crew begins so long before that board ends as it takes, and the miles
run meanwhile are that board's own. It is
made ready, and where the boom stays on its side the preventer rigged, before she bears away: so
long before as setting it takes. Common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from goosewing.boat.manoeuvres import step_cost_s
from goosewing.earth import geodesy
from goosewing.earth.angles import wrap_180
from goosewing.records import (
    DEAD_DOWNWIND_DEG,
    OTHER_SIDE,
    CrewStep,
    FromMark,
    PoleDown,
    PoleReady,
    PoleUp,
)
from goosewing.totals import time_of
from goosewing.turns import altered_to

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from goosewing.boat.model import Boat
    from goosewing.records import Board, BoardPoint, Manoeuvre, ManoeuvreKind, Plan


def with_sail_handling(plan: Plan, boat: Boat, *, sails_up: bool = False) -> Plan:
    """Add to each board between which angles its sails are carried, and when its pole is handled.

    Parameters
    ----------
    plan : Plan
    boat : Boat
        For which it was made.
    sails_up : bool
        Whether she comes to the first mark under the sails of her first board.

    Returns
    -------
    Plan
        None of its times and distances other than before: striking the pole before the last
        mark is in none of them.
    """
    boards = [board for leg in plan.legs for board in leg.boards]
    sectors = _sectors(boat)
    told = iter(
        replace(
            _handled(board, after, boat),
            sails_twa_deg=None if board.engine else sectors.get(board.sail_set),
        )
        for board, after in pairwise((*boards, None))
        if board is not None
    )
    legs = (replace(leg, boards=tuple(next(told) for _ in leg.boards)) for leg in plan.legs)
    up = None if sails_up or not plan.legs[0].boards else _pole_up(plan, boat)
    return replace(plan, legs=tuple(legs), pole_up=up)


def _pole_up(plan: Plan, boat: Boat) -> PoleUp | None:
    """Tell how she comes to begin with the pole up; None where it is set at the first mark.

    Preventer and pole are made ready on any course, as before a turn; then she bears away.
    """
    board = plan.legs[0].boards[0]
    if not board.poled or any(each.kind == "set_pole" for each in board.manoeuvres):
        return None
    takes_s = step_cost_s(boat, "set_pole")
    begins = plan.departure - timedelta(seconds=takes_s)
    first, start = begins - timedelta(seconds=takes_s), board.points[0]
    back_nm = board.speed_over_ground_kn * takes_s / 3600.0
    there = geodesy.loxodrome_direct(
        start.lat, start.lon, start.course_over_ground_deg + 180.0, back_nm
    )
    return PoleUp(
        time=begins,
        lat=float(there.lat),
        lon=float(geodesy.wrap_longitude(there.lon)),
        takes_s=takes_s,
        heading_deg=board.heading_deg,
        from_mark=FromMark(
            mark=plan.marks[0].name,
            bearing_deg=(start.course_over_ground_deg + 180.0) % 360.0,
            distance_nm=back_nm,
        ),
        crew=(
            CrewStep(kind="rig_preventer", time=first, side=OTHER_SIDE[board.tack]),
            CrewStep(kind="ready_pole", time=first, side=board.tack),
            CrewStep(kind="set_pole", time=begins, side=board.tack),
        ),
    )


def _handled(board: Board, after: Board | None, boat: Boat) -> Board:
    down, ready = _pole_down(board, after, boat), _pole_ready(board, after)
    crew = crew_steps(board, after, down=down, ready=ready)
    return replace(board, pole_down=down, pole_ready=ready, crew=crew)


def _sectors(boat: Boat) -> dict[str, tuple[float, float]]:
    return {
        sails.name: (
            max(sails.twa_deg[0], sails.polar.first_twa_deg),
            min(sails.twa_deg[1], sails.polar.last_twa_deg),
        )
        for sails in boat.sail_sets
    }


def _pole_down(board: Board, after: Board | None, boat: Boat) -> PoleDown | None:
    """Tell when a board's pole is struck, if it is where the board ends; None if not."""
    if not board.poled:
        return None
    struck = _done(after).get("strike_pole")
    if after is not None and struck is None:
        return None
    takes_s = step_cost_s(boat, "strike_pole") if struck is None else struck.cost_s
    begun = _before_the_end(board, takes_s)
    after_it = sum(each.time > begun["time"] for each in board.points)
    deepest = max(each.twa_deg for each in board.points[-after_it - 1 :])
    up_deg = max(deepest - DEAD_DOWNWIND_DEG, 0.0)
    turned = up_deg if board.tack == "starboard" else -up_deg
    begun["heading_deg"] = (begun["heading_deg"] + turned) % 360.0
    return PoleDown(counted=struck is not None, up_deg=up_deg, **begun)


def _pole_ready(board: Board, after: Board | None) -> PoleReady | None:
    """Tell when the next board's pole is made ready; None if it is in use, or not to be set."""
    done = _done(after)
    if board.poled or "set_pole" not in done:
        return None
    return PoleReady(**_before_the_end(board, done["set_pole"].cost_s))


def _done(after: Board | None) -> dict[ManoeuvreKind, Manoeuvre]:
    return {} if after is None else {each.kind: each for each in after.manoeuvres}


def _before_the_end(board: Board, takes_s: float) -> dict[str, Any]:
    """Say where she is so long before a board ends; where it begins, if it is no longer."""
    begins = time_of(board.end) - timedelta(seconds=takes_s)
    here = point_at(board, max(begins, time_of(board.start)))
    return {
        "time": here.time, "lat": here.lat, "lon": here.lon,
        "takes_s": takes_s, "heading_deg": here.heading_deg,
    }  # fmt: skip


# ---- the hands' work, one after the other ------------------------------------------------------

TURNS: frozenset[ManoeuvreKind] = frozenset({"tack", "gybe"})
"""In which the boom comes over."""


def _held_boom(twa_deg: float, board: Board) -> bool:
    """Whether a preventer holds the boom: with a pole set, or near dead downwind."""
    return not board.engine and (board.poled or twa_deg >= DEAD_DOWNWIND_DEG)


def crew_steps(
    board: Board,
    after: Board | None,
    *,
    down: PoleDown | None = None,
    ready: PoleReady | None = None,
) -> tuple[CrewStep, ...]:
    """List the hands' work about the place where a board ends, in order.

    The preventer comes off last before the boom crosses; where it doesn't, as the boom is sheeted
    in and the wind no longer dead aft. It is rigged before she bears away, on the new side after
    a gybe. The pole is struck on the board that it was carried on; what follows has its times
    without that. Common practice, no source.

    Parameters
    ----------
    board : Board
    after : Board or None
        The next one; None at the last mark.
    down, ready : PoleDown, PoleReady or None
        When the pole is begun to be handled before; without, what is done to it is done there.
    """
    there, done = time_of(board.end), _done(after)
    held = _held_boom(board.points[-1].twa_deg, board)
    holds = after is not None and _held_boom(after.twa_deg, after)
    turned = bool(done.keys() & TURNS)
    lee = OTHER_SIDE[(board if after is None else after).tack]
    steps: list[CrewStep] = []
    if holds and not (held or turned):
        begins = there if ready is None else ready.time
        steps.append(CrewStep(kind="rig_preventer", time=begins, side=lee))
    if ready is not None and after is not None:
        steps.append(CrewStep(kind="ready_pole", time=ready.time, side=after.tack))
    if down is not None or "strike_pole" in done:
        begins = there if down is None else down.time
        steps.append(CrewStep(kind="strike_pole", time=begins, side=board.tack))
        if not turned and not (after is not None and after.engine):
            steps.append(CrewStep(kind="headsail_over", time=begins, side=lee))
    if held and turned:
        begins = there if down is None else down.time
        steps.append(CrewStep(kind="preventer_off", time=begins))
    if down is None and (struck := done.get("strike_pole")) is not None:
        there += timedelta(seconds=struck.cost_s)
    frees = held and not (turned or holds)
    comes_deg = board.points[-1].heading_deg if down is None else down.heading_deg
    return (
        *steps,
        *_at_the_turn(comes_deg, after, there, rigs=holds and turned, frees=frees),
    )


def _at_the_turn(
    comes_deg: float, after: Board | None, there: datetime, *, rigs: bool, frees: bool
) -> Iterator[CrewStep]:
    """List what is done from a turn on: the turn itself, then preventer, pole or sails."""
    if after is None:
        if frees:
            yield CrewStep(kind="ease_preventer", time=there)
        return
    done = _done(after)
    turn = next((done[kind] for kind in ("tack", "gybe") if kind in done), None)
    lee, now = OTHER_SIDE[after.tack], there
    if turn is not None:
        assert turn.kind in ("tack", "gybe")
        yield CrewStep(kind=turn.kind, time=now, side=lee)
        now += timedelta(seconds=turn.cost_s)
    elif (hand := altered_to(comes_deg, after.heading_deg)) is not None:
        yield CrewStep(kind="turn", time=now, side=hand)
    if frees:
        yield CrewStep(kind="ease_preventer", time=now)
    if rigs:
        yield CrewStep(kind="rig_preventer", time=now, side=lee)
    if (set_pole := done.get("set_pole")) is not None:
        yield CrewStep(kind="set_pole", time=now, side=after.tack)
        now += timedelta(seconds=set_pole.cost_s)
    if "change_sails" in done:
        yield CrewStep(kind="change_sails", time=now)


def point_at(board: Board, time: datetime) -> BoardPoint:
    """Return where she is on a board at a time of it, and what she then steers.

    Between two of its points she goes along a rhumb line, as fast all along.
    """
    for a, b in pairwise(board.points):
        if a.time <= time < b.time:
            share = (time - a.time) / (b.time - a.time)
            line = geodesy.loxodrome_inverse(a.lat, a.lon, b.lat, b.lon)
            here = geodesy.loxodrome_direct(
                a.lat, a.lon, line.bearing_deg, share * float(line.distance_nm)
            )
            swung = share * float(wrap_180(b.heading_deg - a.heading_deg))
            return replace(
                a, time=time, lat=float(here.lat), lon=float(geodesy.wrap_longitude(here.lon)),
                heading_deg=(a.heading_deg + swung) % 360.0,
            )  # fmt: skip
    return board.points[0 if time <= board.points[0].time else -1]
