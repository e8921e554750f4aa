"""What every planner writes down alike: manoeuvres with their times, and the sums of a plan."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

from goosewing.boat import manoeuvres
from goosewing.records import Fix, Leg, Manoeuvre, Plan

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from goosewing.boat.manoeuvres import Mode
    from goosewing.boat.model import Boat
    from goosewing.records import Mark


class Clock(NamedTuple):
    """Where the reckoning stands: the time, and the mode she is in."""

    time: datetime
    mode: Mode | None
    twa_deg: float


def time_of(fix: Fix) -> datetime:
    """Return the time of a fix that has one, as every end of a board has."""
    if fix.time is None:  # pragma: no cover - boards always carry times
        raise AssertionError("a board's ends carry times")
    return fix.time


def manoeuvres_due(
    boat: Boat, reckoning: Clock, mode: Mode, twa_deg: float, place: Fix
) -> list[Manoeuvre]:
    """List the manoeuvres that bring her from where the reckoning stands into a mode.

    Each begins when the one before is done; none if her first sails are free.
    """
    if reckoning.mode is None:
        return []
    tacking = reckoning.twa_deg + twa_deg < 180.0
    done, time = [], reckoning.time
    for kind in manoeuvres.steps(reckoning.mode, mode, tacking=tacking):
        cost = manoeuvres.step_cost_s(boat, kind)
        done.append(Manoeuvre(kind=kind, lat=place.lat, lon=place.lon, time=time, cost_s=cost))
        time += timedelta(seconds=cost)
    return done


def tables_missing(boat: Boat, legs: Sequence[Leg]) -> list[str]:
    """Say of which sail sets the leeway could not be known."""
    sailed = {board.sail_set for leg in legs for board in leg.boards}
    return [
        f"{sails.name}: no heel table, so its leeway is taken as zero."
        for sails in boat.sail_sets
        if sails.heel is None and sails.name in sailed
    ]


def plan_of(
    boat: Boat,
    marks: Sequence[Mark],
    departure: datetime,
    legs: tuple[Leg, ...],
    notices: Sequence[str],
    conditions: str = "",
) -> Plan:
    """Sum up the legs."""
    elapsed = sum(leg.elapsed_h for leg in legs)
    straight = _sum_or_none(leg.straight_h for leg in legs)
    return Plan(
        boat=boat.name,
        departure=departure,
        arrival=departure + timedelta(hours=elapsed),
        conditions=conditions,
        elapsed_h=elapsed,
        distance_nm=sum(board.distance_nm for leg in legs for board in leg.boards),
        log_nm=sum(board.log_nm for leg in legs for board in leg.boards),
        straight_h=straight,
        saved_min=None if straight is None else (straight - elapsed) * 60.0,
        bound_h=_sum_or_none(leg.bound_h for leg in legs),
        relaxed_h=None,
        marks=tuple(marks),
        legs=legs,
        notices=tuple(notices),
    )


def _sum_or_none(hours: Iterable[float | None]) -> float | None:
    """Add up what is known of every leg; what is not known of one is not known of all."""
    known = list(hours)
    return None if None in known else sum(h for h in known if h is not None)
