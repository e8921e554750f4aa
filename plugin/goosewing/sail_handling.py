"""What of a plan's sails only the boat knows: how far they are carried, when a pole is struck.

A pole is struck with the wind well aft, on the board that it was carried on: its crew begins so
long before that board ends as it takes, and the miles run meanwhile are that board's own. It is
made ready, and where the boom stays on its side the preventer rigged, before she bears away: so
long before as setting it takes. Common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

from goosewing.boat.manoeuvres import step_cost_s
from goosewing.earth import geodesy
from goosewing.earth.angles import wrap_180
from goosewing.records import PoleDown, PoleReady
from goosewing.totals import time_of

if TYPE_CHECKING:
    from datetime import datetime

    from goosewing.boat.model import Boat
    from goosewing.records import Board, BoardPoint, Plan


def with_sail_handling(plan: Plan, boat: Boat) -> Plan:
    """Add to each board between which angles its sails are carried, and when its pole is handled.

    Parameters
    ----------
    plan : Plan
    boat : Boat
        For which it was made.

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
            board,
            sails_twa_deg=None if board.engine else sectors.get(board.sail_set),
            pole_down=_pole_down(board, after, boat),
            pole_ready=_pole_ready(board, after),
        )
        for board, after in pairwise((*boards, None))
        if board is not None
    )
    legs = (replace(leg, boards=tuple(next(told) for _ in leg.boards)) for leg in plan.legs)
    return replace(plan, legs=tuple(legs))


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
    struck = [each for each in after.manoeuvres if each.kind == "strike_pole"] if after else []
    if after is not None and not struck:
        return None
    takes_s = struck[0].cost_s if struck else step_cost_s(boat, "strike_pole")
    here = _before_the_end(board, takes_s)
    return PoleDown(
        time=here.time,
        lat=here.lat,
        lon=here.lon,
        takes_s=takes_s,
        counted=bool(struck),
        heading_deg=here.heading_deg,
    )


def _pole_ready(board: Board, after: Board | None) -> PoleReady | None:
    """Tell when the next board's pole is made ready; None if it is in use, or not to be set."""
    done = {} if after is None else {each.kind: each for each in after.manoeuvres}
    if board.poled or "set_pole" not in done:
        return None
    takes_s = done["set_pole"].cost_s
    here = _before_the_end(board, takes_s)
    return PoleReady(
        time=here.time,
        lat=here.lat,
        lon=here.lon,
        takes_s=takes_s,
        preventer=not done.keys() & {"tack", "gybe"},
        heading_deg=here.heading_deg,
    )


def _before_the_end(board: Board, takes_s: float) -> BoardPoint:
    """Return where she is so long before a board ends; where it begins, if it is no longer."""
    begins = time_of(board.end) - timedelta(seconds=takes_s)
    return point_at(board, max(begins, time_of(board.start)))


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
