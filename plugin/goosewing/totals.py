"""What every planner writes down alike: manoeuvres with their times, and the sums of a plan."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from goosewing.boat import manoeuvres
from goosewing.boat.doubts import doubts
from goosewing.earth.sun import is_daylight
from goosewing.records import Fix, Leg, Manoeuvre, Plan
from goosewing.units import SECONDS_PER_HOUR, nearest_minute
from goosewing.weather.base import hours_from_datetime
from goosewing.words.figures import clock, listed

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from goosewing.boat.manoeuvres import Mode
    from goosewing.boat.model import Boat
    from goosewing.records import Board, Mark


LONGEST_HELD_H = 48.0
"""A wind held steady for longer is no forecast. Common practice, no source."""

LEAST_BELOW_KN = 0.05
"""So much below a table's first wind is not worth a word."""


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
    tacking = manoeuvres.is_tacked(boat, reckoning.twa_deg + twa_deg)
    done, time = [], reckoning.time
    for kind in manoeuvres.steps(reckoning.mode, mode, tacking=tacking):
        cost = manoeuvres.step_cost_s(boat, kind)
        done.append(Manoeuvre(kind=kind, lat=place.lat, lon=place.lon, time=time, cost_s=cost))
        time += timedelta(seconds=cost)
    return done


def hours_of(boards: Sequence[Board]) -> float:
    """Add up the boards and what is done before them. [h]."""
    cost_s = sum(each.cost_s for board in boards for each in board.manoeuvres)
    return sum(board.elapsed_h for board in boards) + cost_s / SECONDS_PER_HOUR


def tables_missing(boat: Boat, legs: Sequence[Leg]) -> list[str]:
    """Say of which sail sets the leeway could not be known."""
    sailed = {board.sail_set for leg in legs for board in leg.boards}
    return [
        f"{sails.name}: no heel table, so its leeway is taken as zero."
        for sails in boat.sail_sets
        if sails.heel is None and sails.name in sailed
    ]


def notes(boat: Boat, departure: datetime, legs: Sequence[Leg]) -> list[str]:
    """Say what of a plan asks for a second look, a line each."""
    return [
        *doubts(boat), *_below_tables(boat, legs), *_tacked_round(boat, legs),
        *_poles_in_the_dark(departure, legs),
    ]  # fmt: skip


def held_long(legs: Sequence[Leg]) -> list[str]:
    """Say so where one wind is held for longer than it will last."""
    hours = sum(leg.elapsed_h for leg in legs)
    if hours <= LONGEST_HELD_H:
        return []
    return [f"One wind is held for {hours:.0f} h: no forecast says that."]


def _tacked_round(boat: Boat, legs: Sequence[Leg]) -> list[str]:
    """Say when she tacks where others gybe."""
    boards = [board for leg in legs for board in leg.boards]
    times = [
        clock(each.time)
        for one, two in pairwise(boards)
        for each in two.manoeuvres
        if each.kind == "tack" and one.points[-1].twa_deg + two.points[0].twa_deg >= 180.0
    ]
    if not times:
        return []
    costs = boat.manoeuvres
    return [
        f"She tacks round instead of gybing at {listed(times)}: round up, tack and bear away. "
        f"A tack costs her {costs.tack_s:g} s, a gybe {costs.gybe_s:g} s."
    ]


def _below_tables(boat: Boat, legs: Sequence[Leg]) -> list[str]:
    """Say where the wind is weaker than a sailed table knows."""
    lightest: dict[str, float] = {}
    for board in (board for leg in legs for board in leg.boards):
        tws = min(point.tws_kn for point in board.points)
        lightest[board.sail_set] = min(tws, lightest.get(board.sail_set, tws))
    said = []
    for sails in boat.sail_sets:
        first = float(min(wind for wind in sails.polar.tws_kn if wind > 0.0))
        least = lightest.get(sails.name, first)
        if least < first - LEAST_BELOW_KN:
            said.append(
                f"{least:.1f} kn is below the {first:g} kn at which the table of {sails.name} "
                "begins: its speeds are scaled down to zero."
            )
    return said


def _poles_in_the_dark(departure: datetime, legs: Sequence[Leg]) -> list[str]:
    """Say when the pole is handled between sunset and sunrise."""
    dark = [
        f"{POLE_WORDS[each.kind]} in the dark at {_when(each.time, departure)}"
        for leg in legs
        for each in leg.manoeuvres
        if each.kind in POLE_WORDS
        and not is_daylight(hours_from_datetime(each.time), each.lat, each.lon)
    ]
    return [f"The pole is {listed(dark)}."] if dark else []


POLE_WORDS = {"set_pole": "set", "strike_pole": "struck"}


def _when(time: datetime, departure: datetime) -> str:
    day, first = (nearest_minute(each).date() for each in (time, departure))
    return clock(time) if day == first else f"{clock(time)} on {day}"


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
        notices=(*notices, *notes(boat, departure, legs)),
    )


def _sum_or_none(hours: Iterable[float | None]) -> float | None:
    """Add up what is known of every leg; what is not known of one is not known of all."""
    known = list(hours)
    return None if None in known else sum(h for h in known if h is not None)
