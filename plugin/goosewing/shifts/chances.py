"""What a shifty wind makes of a plan: its spread, its laylines, its chances, and when to turn."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.earth.geodesy import loxodrome_direct, loxodrome_inverse
from goosewing.errors import NoPlanError
from goosewing.records import (
    Chances,
    Fetch,
    Fix,
    LaylineBand,
    LegRule,
    Mark,
    Plan,
    Spread,
)
from goosewing.shifts.game import PINCH_DEG, Game, game_to
from goosewing.shifts.rule import ShiftRule, mean_airs, shift_rule
from goosewing.shifts.sails import Course, sail
from goosewing.steady.solver import sailable
from goosewing.units import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from goosewing.boat.model import Boat
    from goosewing.records import Leg
    from goosewing.shifts.model import Shifts
    from goosewing.units import Array
    from goosewing.weather.base import Weather

SAILS = 4000
"""So many that the tenth and the ninetieth percentile are known to 0.5 % of all sails."""

CENTRAL_80 = 1.2815515655446004
"""Standard deviations either side of the mean that hold 80 % of a normal law."""

BAND_POINTS = 9


class _LegSailed(NamedTuple):
    elapsed_h: Array
    fetch: float | None
    rule: ShiftRule | None
    game: Game | None
    notice: str | None = None
    """Why no chance is reckoned for it, where that is for no engine or pole of the plan's."""


def with_chances(plan: Plan, boat: Boat, weather: Weather, shifts: Shifts, source: str) -> Plan:
    """Add to a plan what a shifty wind makes of it.

    Parameters
    ----------
    plan : Plan
    boat, weather
        As it was made with; on each leg the wind and stream halfway at its beginning hold.
    shifts : Shifts
    source : str
        Where the shifts' figures come from, in words.

    Returns
    -------
    Plan
        With `Plan.chances`. Legs under engine, and those with the pole up, take the plan's time;
        so does a leg for which nothing can be reckoned, and a notice says which and why: no sails
        may be carried in its wind, no boards without a pole lead there, or in shifty wind its mark
        isn't reached in a sensible time.
    """
    legs = [
        _leg(plan.marks[number], plan.marks[number + 1], leg, boat, weather, shifts, number)
        for number, leg in enumerate(plan.legs)
    ]
    total = sum((each.elapsed_h for each in legs), np.zeros(SAILS))
    p10, p50, p90 = np.percentile(total, [10.0, 50.0, 90.0])
    fetch = [
        Fetch(mark=leg.destination, chance=each.fetch)
        for leg, each in zip(plan.legs, legs, strict=True)
        if each.fetch is not None
    ]
    rules = [_told(each.rule) for each in legs if each.rule is not None]
    bands = [
        band
        for leg, each in zip(plan.legs, legs, strict=True)
        if each.game is not None
        for band in leg_bands(leg, each.game, shifts)
    ]
    chances = Chances(
        sigma_deg=shifts.sigma_deg,
        tau_min=shifts.tau_min,
        source=source,
        elapsed_h=Spread(p10=float(p10), p50=float(p50), p90=float(p90)),
        winds_held=weather.varies_in_time or weather.varies_in_place,
        fetch=tuple(fetch),
        rules=tuple(rules),
        bands=tuple(bands),
    )
    notices = [each.notice for each in legs if each.notice is not None]
    return replace(plan, chances=chances, notices=(*plan.notices, *notices))


def _leg(
    origin: Mark, mark: Mark, leg: Leg, boat: Boat, weather: Weather, shifts: Shifts, seed: int
) -> _LegSailed:
    steady = np.full(SAILS, leg.elapsed_h)
    if any(board.poled or board.engine for board in leg.boards):
        return _LegSailed(steady, None, None, None)
    begin, tack = leg.boards[0].start, leg.boards[0].tack
    time = begin.time
    assert time is not None
    start = Mark(name=origin.name, lat=begin.lat, lon=begin.lon)
    at_mark_h = sum(each.cost_s for each in leg.boards[0].manoeuvres) / SECONDS_PER_HOUR
    two = len({board.tack for board in leg.boards}) > 1
    try:
        if two:
            rule = shift_rule(start, mark, boat, weather, time, shifts, tack=tack)
            game, course = rule.game, rule.course
            elapsed = rule.sailed(SAILS, seed=seed).elapsed_h
        else:
            rule = None
            held = sailable(boat, mean_airs(boat, weather, start, mark, time))
            game = game_to(held, start, mark)
            x, y = (float(each) for each in game.place(start.lat, start.lon))
            course = Course(game, shifts, x, y, int(tack != game.modes[0].tack))
            elapsed = sail(course, "layline", SAILS, seed=seed).elapsed_h
        turns = sail(course, "layline", SAILS, seed=seed, pinched_deg=PINCH_DEG).turns
    except NoPlanError as error:
        why = str(error).rstrip(".")
        notice = f"Shifts on the leg to {mark.name}: nothing is reckoned, its time is the plan's: "
        return _LegSailed(steady, None, None, None, f"{notice}{why}.")
    return _LegSailed(elapsed + at_mark_h, float((turns <= int(two)).mean()), rule, game)


def _told(rule: ShiftRule) -> LegRule:
    halfway = max(rule.course.y, 0.0) / 2.0
    headed = min(rule.headed_by_deg(0.0, halfway))
    return LegRule(
        mark=rule.game.mark.name,
        mean_wind_from_deg=rule.game.mean_twd_deg,
        headed_deg=headed if np.isfinite(headed) else None,
        inside_nm=rule.inside_nm(halfway),
        expected_h=rule.expected_h,
        fixed_plan_h=rule.fixed_plan_h,
        downwind=rule.downwind,
        cone=tuple(
            Fix(lat=float(lat), lon=float(lon)) for lat, lon in zip(*rule.cone(), strict=True)
        ),
    )


def leg_bands(leg: Leg, game: Game, shifts: Shifts) -> tuple[LaylineBand, ...]:
    """Draw the band of every layline of a leg that one of the game's two boards sails."""
    found = []
    for line in leg.laylines:
        on = [mode.tack for mode in game.modes].index(line.tack)
        if line.sail_set == game.modes[on].name:
            found.append(_band(line.points[0], game, on, shifts))
    return tuple(found)


def _band(far: Fix, game: Game, on: int, shifts: Shifts) -> LaylineBand:
    mark = game.mark
    length = float(loxodrome_inverse(far.lat, far.lon, mark.lat, mark.lon).distance_nm)
    distance = length * np.linspace(1.0, 0.0, BAND_POINTS)
    mean = game.at(np.zeros(1))
    hours = distance / float(np.hypot(mean.right_kn[on, 0], mean.ahead_kn[on, 0]))
    spread = CENTRAL_80 * shifts.spread_of_mean_deg(hours)
    edges = [_edge(game, on, distance, side * spread) for side in (-1.0, 1.0)]
    return LaylineBand(
        mark=mark.name,
        tack=game.modes[on].tack,
        sail_set=game.modes[on].name,
        backed=edges[0],
        veered=edges[1],
    )


def _edge(game: Game, on: int, distance: Array, shift: Array) -> tuple[Fix, ...]:
    moved = game.at(shift)
    course = game.axis_deg + np.degrees(np.arctan2(moved.right_kn[on], moved.ahead_kn[on]))
    place = loxodrome_direct(game.mark.lat, game.mark.lon, course + 180.0, distance)
    return tuple(
        Fix(lat=float(lat), lon=float(lon)) for lat, lon in zip(place.lat, place.lon, strict=True)
    )
