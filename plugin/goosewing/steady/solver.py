"""The plan in steady wind and stream: closed form, leg by leg, chosen together."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from goosewing.boat import manoeuvres
from goosewing.boat.manoeuvres import Mode
from goosewing.boat.model import wind_limit_text
from goosewing.case import corridor_on
from goosewing.earth import geodesy
from goosewing.earth.course import Course, course_between, is_curved
from goosewing.errors import NoPlanError
from goosewing.options import First
from goosewing.records import Board, BoardPoint, Fix, Layline, Leg, Mark, Plan
from goosewing.steady import alternatives, cheapest_chain, motoring, poleward, reasons
from goosewing.steady.boards import Ways, check_corridor, ways_to_sail
from goosewing.totals import (
    Clock,
    held_long,
    hours_of,
    manoeuvres_due,
    plan_of,
    tables_missing,
    time_of,
)
from goosewing.velocities.velocity_set import (
    Airs,
    VelocitySet,
    airs_over_water,
    best_made_good_kn,
    velocities,
    velocity_set,
)
from goosewing.weather import wind
from goosewing.words.figures import steady_words, three_figures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.boat.model import Boat
    from goosewing.case import Case
    from goosewing.hazards.areas import Hazards
    from goosewing.options import Options
    from goosewing.steady.round_hazards import Round
    from goosewing.units import Array, BoolArray
    from goosewing.weather.base import Weather

LONGEST_LEG_H = 10 * 365 * 24
"""Way so slow that a leg takes ten years is no way; and no calendar holds a hundred such legs."""


BOUND_SAMPLED_TO = 1e-4
"""Share to which a bound is known: the hull's directions are sampled."""


@dataclass(frozen=True, slots=True, eq=False)
class LegChoice:
    """A leg with all ways to sail it."""

    origin: Mark
    destination: Mark
    course: Course
    ways: Ways
    straight_h: float
    bound_h: float
    motored: str = ""
    """Why it is motored; empty where it is sailed."""
    among: Round | None = None
    """What hazards leave of the ways; None where none is near."""

    @property
    def clear(self) -> BoolArray | None:
        """Which ways cross no hazard; None if all do."""
        return None if self.among is None else self.among.clear


def steady_airs(boat: Boat, weather: Weather) -> Airs[float]:
    """Return the one wind and stream of a steady weather, over the water."""
    here = weather.at(0.0, 0.0, 0.0)
    return airs_over_water(
        boat,
        float(here.wind_east_kn),
        float(here.wind_north_kn),
        float(here.stream_east_kn),
        float(here.stream_north_kn),
        float(here.gust_kn),
    )


def solve(
    case: Case, firsts: Sequence[First | None] | None = None, *, compare: bool = True
) -> Plan:
    """Plan a passage in steady wind and stream; see `goosewing.plan.make`.

    `firsts` says leg by leg which board comes first; the options' wish if not given. Without
    `compare` no minutes are spent among very many hazards.
    """
    boat, marks, options = case.boat, case.marks, case.options
    departure = case.departure.astimezone(UTC)
    airs = steady_airs(boat, case.weather)
    held = _with_engine(velocity_set(boat, airs)) if options.engine else sailable(boat, airs)
    wishes = [options.first] * (len(marks) - 1) if firsts is None else list(firsts)
    costs = _costs(boat, held.modes, options)
    legs = _legs(case, held, costs, wishes, compare=compare)
    ways = [leg.ways for leg in legs]
    allowed = [_allowed(held, leg, first) for leg, first in zip(legs, wishes, strict=True)]
    allowed = [
        cheapest_chain.worth_altering(w, costs, may, options.worth_min / 60.0)
        for w, may in zip(ways, allowed, strict=True)
    ]
    if firsts is not None:
        # Aim points lie where two boards meet, so that often one of them is all but nothing.
        allowed = [
            cheapest_chain.without_scraps(w, costs, may)
            for w, may in zip(ways, allowed, strict=True)
        ]
    chosen = cheapest_chain.cheapest(ways, costs, allowed)
    chosen = cheapest_chain.longer_first(
        ways,
        costs,
        chosen,
        free=[first is None for first in wishes],
        clear=[leg.clear for leg in legs],
    )
    possible = [
        np.ones(len(leg.ways), dtype=bool) if leg.clear is None else leg.clear for leg in legs
    ]
    found = alternatives.excess(ways, costs, chosen, allowed, possible)
    records = _records(held, legs, costs, chosen, departure, found)
    records = tuple(
        replace(leg, alternatives=alternatives.of_leg(boat, costs, ways, chosen, found, at))
        for at, leg in enumerate(records)
    )
    said = (*case.notices, *tables_missing(boat, records), *held_long(records))
    made = plan_of(boat, marks, departure, records, said, held_steady(case.weather))
    return _estimated_where_curved(made, legs)


def _estimated_where_curved(plan: Plan, legs: Sequence[LegChoice]) -> Plan:
    """Give the time at best as an estimate where ways off the loxodrome may beat its hull.

    The hull's time is a bound for boards near the loxodrome only: over hundreds of miles in high
    latitudes two boards through a higher one are up to 2 % faster, and more boards may be faster
    still, by what an arc gains on the two chords of its halves.
    """
    curved = [is_curved(leg.course) for leg in legs]
    if not any(curved) or plan.bound_h is None:
        return plan
    records = tuple(
        replace(leg, bound_h=None) if bent else leg
        for leg, bent in zip(plan.legs, curved, strict=True)
    )
    return replace(
        plan, legs=records, bound_h=None, relaxed_h=sum(_at_best_h(leg) for leg in legs)
    )  # fmt: skip


def _at_best_h(leg: LegChoice) -> float:
    """Hours of the hull along the loxodrome, or of faster boards off it; turns left out."""
    return min(leg.bound_h, float(np.nanmin(leg.ways.elapsed_h.sum(axis=1), initial=np.inf)))


def _legs(
    case: Case,
    held: VelocitySet,
    costs: cheapest_chain.Costs,
    wishes: Sequence[First | None],
    *,
    compare: bool = True,
) -> list[LegChoice]:
    """Work out every way to sail every leg; with the engine, that of the legs it is used on."""
    marks, options, hazards = case.marks, case.options, case.hazards
    found = []
    for at, ((origin, mark), first) in enumerate(zip(pairwise(marks), wishes, strict=True)):
        # What a leg begins and ends with may save a manoeuvre at its marks.
        joined = (bool(costs.start_modes) or at > 0) + (at + 1 < len(wishes))
        try:
            leg = leg_choice(held, origin, mark, options, at)
            if hazards is not None:
                leg = _among(case, hazards, held, leg, costs, first, joined, at, hasty=not compare)
        except NoPlanError:
            motored = _motored(hazards, held, origin, mark) if options.engine else None
            if motored is None:
                raise
            leg = motored
        else:
            leg = _motored_if_slow(hazards, held, leg, costs, first) if options.engine else leg
        found.append(leg)
    return found


def _with_engine(held: VelocitySet) -> VelocitySet:
    return replace(held, modes=(*held.modes, manoeuvres.engine_mode(held.boat)))


def _motored_if_slow(
    hazards: Hazards | None,
    held: VelocitySet,
    leg: LegChoice,
    costs: cheapest_chain.Costs,
    first: First | None,
) -> LegChoice:
    """Motor a leg whose fastest boards, turns and all, make too little good; none faster."""
    engine = held.boat.engine
    assert engine is not None
    hours = costs.own_h(leg.ways)[_allowed(held, leg, first)]
    made_good = leg.course.distance_nm / float(np.nanmin(hours, initial=np.inf))
    if not made_good < engine.least_vmc_kn:
        return leg
    motored = _motored(hazards, held, leg.origin, leg.destination, made_good)
    slower = motored is not None and motored.bound_h * made_good >= leg.course.distance_nm
    if motored is None or slower:
        return leg
    return replace(motored, straight_h=leg.straight_h)


def _motored(
    hazards: Hazards | None,
    held: VelocitySet,
    origin: Mark,
    mark: Mark,
    sailed_kn: float = 0.0,
) -> LegChoice | None:
    """Return the leg under engine, or None if stream or hazards bar the straight way."""
    course = course_between(origin.lat, origin.lon, mark.lat, mark.lon)
    ends = (course.lat1, course.lon1, course.lat2, course.lon2)
    if hazards is not None and bool(hazards.crossed(*ends)):
        return None
    ways = motoring.motored_way(held, course, len(held.modes) - 1)
    engine = held.boat.engine
    if ways is None or engine is None:
        return None
    said = motoring.why(mark.name, course, held.airs, engine, sailed_kn)
    hours = float(ways.elapsed_h[0, 0])
    return LegChoice(origin, mark, course, ways, float("nan"), hours, motored=said)


def _allowed(held: VelocitySet, leg: LegChoice, first: First | None) -> BoolArray:
    allowed = cheapest_chain.first_allowed(leg.ways, held.modes, first)
    return allowed if leg.clear is None else allowed & leg.clear


def _among(
    case: Case,
    hazards: Hazards,
    held: VelocitySet,
    leg: LegChoice,
    costs: cheapest_chain.Costs,
    first: First | None,
    joined: int,
    at: int,
    *,
    hasty: bool,
) -> LegChoice:
    """Give a leg near hazards the ways round them; at so many of its marks others join it.

    Raises
    ------
    NoPlanError
        If hazards leave no way to sail it, with the reason.
    """
    from goosewing.steady import round_hazards

    dearest = float(np.max(costs.table_h, initial=0.0))
    options = case.options
    corridor = corridor_on(options, leg.course, at)
    asked = round_hazards.Wishes(options.margin_deg, corridor, first, joined * dearest, hasty)
    among = round_hazards.ways_round(hazards, held, leg.course, leg.ways, costs, asked, case.kept)
    if among is None:
        return leg
    leg = _with_ways_round(leg, among)
    if not np.any(_allowed(held, leg, first)):
        raise NoPlanError(_no_way_round(hazards, leg, options, first))
    return leg


def _with_ways_round(leg: LegChoice, among: Round) -> LegChoice:
    return replace(
        leg,
        ways=among.ways,
        straight_h=leg.straight_h if among.across is None else float("nan"),
        bound_h=max(leg.bound_h, among.bound_h) if np.isfinite(among.bound_h) else leg.bound_h,
        among=among,
    )


def _no_way_round(hazards: Hazards, leg: LegChoice, options: Options, first: First | None) -> str:
    from goosewing.hazards import closed_ways

    origin, destination = leg.origin.name, leg.destination.name
    if leg.among is not None and not np.isfinite(leg.among.bound_h):
        return closed_ways.closed(hazards, leg.course, origin, destination)
    asked = []
    if options.corridor_nm is not None:
        asked.append(f"within a corridor of {options.corridor_nm:g} nm either side")
    if first in ("port", "starboard"):
        asked.append(f"with the {first} board first")
    if options.margin_deg:
        asked.append(f"with a margin of {options.margin_deg:g}°")
    what = leg.among.across if leg.among is not None else None
    name = "hazards" if what is None else what.called
    how = "".join(f" {each}" for each in asked) or " of a minute or more"
    return f"no boards{how} lead from {origin} to {destination} round {name}"


def held_steady(weather: Weather) -> str:
    """Say which wind and stream a steady plan is made for."""
    here = weather.at(0.0, 0.0, 0.0)
    east, north = float(here.wind_east_kn), float(here.wind_north_kn)
    set_east, set_north = float(here.stream_east_kn), float(here.stream_north_kn)
    words = steady_words(
        float(wind.direction_from(east, north)),
        float(np.hypot(east, north)),
        float(wind.direction_to(set_east, set_north)),
        float(np.hypot(set_east, set_north)),
    )
    return f"{words}, held steady."


def sailable(boat: Boat, airs: Airs[float]) -> VelocitySet:
    """Return what the boat can hold, or say why that is nothing.

    Raises
    ------
    NoPlanError
        If no sail set may be carried.
    """
    held = velocity_set(boat, airs)
    if not len(held):
        raise NoPlanError(
            f"no sail set may be carried in {airs.tws_kn:.1f} kn of true wind: "
            f"{wind_limit_text(boat)}"
        )
    return held


def leg_choice(
    held: VelocitySet, origin: Mark, destination: Mark, options: Options, at: int = 0
) -> LegChoice:
    """Work out every way to sail one leg, the passage's `at`th.

    Raises
    ------
    InputError
        If the corridor is too narrow to sail in.
    NoPlanError
        If the mark can't be made.
    """
    course = course_between(origin.lat, origin.lon, destination.lat, destination.lon)
    best = best_made_good_kn(held, course.bearing_deg)
    if not best * LONGEST_LEG_H > course.distance_nm:
        raise NoPlanError(_cannot_be_made(held, origin, destination, course))
    if options.corridor_nm is not None:
        fastest_kn = float(np.max(np.hypot(held.east_kn, held.north_kn)))
        check_corridor(fastest_kn, destination.name, options.corridor_nm)
    ways, straight_h = ways_to_sail(
        held, course, margin_deg=options.margin_deg, corridor=corridor_on(options, course, at)
    )
    if is_curved(course) and options.corridor_nm is None and not options.margin_deg:
        ways = poleward.with_poleward(held, course, ways)
    # The sampled hull may lie a hair inside the polar's own curve; the straight course is exact.
    bound_h = float(np.fmin(course.distance_nm / best, straight_h))
    return LegChoice(origin, destination, course, ways, straight_h, bound_h)


def _cannot_be_made(held: VelocitySet, origin: Mark, destination: Mark, course: Course) -> str:
    airs = held.airs
    drift = float(np.hypot(airs.stream_east_kn, airs.stream_north_kn))
    where = (
        f"{destination.name} can't be made from {origin.name}: it bears "
        f"{three_figures(course.bearing_deg)}"
    )
    if drift < 0.05:
        return f"{where}, and in {airs.tws_kn:.1f} kn of true wind she makes no way towards it"
    setting = three_figures(float(wind.direction_to(airs.stream_east_kn, airs.stream_north_kn)))
    return (
        f"{where}, and in {airs.tws_kn:.1f} kn of true wind the stream, setting {setting} at "
        f"{drift:.1f} kn, carries her off faster than she can sail towards it"
    )


def _costs(boat: Boat, modes: tuple[Mode, ...], options: Options) -> cheapest_chain.Costs:
    table = manoeuvres.cost_table_h(boat, modes)
    if options.start_with is None and options.start_tack is None:
        return cheapest_chain.Costs(modes, table)
    sails = None if options.start_with is None else boat.index(options.start_with)
    fits = [
        i
        for i, mode in enumerate(modes)
        if sails in (None, mode.sail_set)
        and options.start_tack in (None, mode.tack)
        and not mode.engine
    ]
    return cheapest_chain.Costs(modes, table, tuple(fits))


def _records(
    held: VelocitySet,
    legs: Sequence[LegChoice],
    costs: cheapest_chain.Costs,
    chosen: Sequence[int],
    departure: datetime,
    found: alternatives.Excess,
) -> tuple[Leg, ...]:
    reckoning = _at_start(held, legs[0].ways, costs, chosen[0], departure)
    records = []
    for leg, way, added_h in zip(legs, chosen, found.hours, strict=True):
        why = _reasons(held, leg, way, reckoning.mode, added_h)
        record, reckoning = _leg_record(held, leg, way, reckoning, why)
        records.append(record)
    return tuple(records)


def _reasons(
    held: VelocitySet, leg: LegChoice, way: int, before: Mode | None, added_h: Array
) -> tuple[str, ...]:
    mark = leg.destination.name
    if leg.motored:
        return (leg.motored,)
    if leg.among is None:
        return reasons.for_leg(held, leg.course, leg.ways, way, before, mark, added_h)
    return reasons.among_hazards(held, leg.course, leg.among, way, before, mark, added_h)


def _at_start(
    held: VelocitySet, ways: Ways, costs: cheapest_chain.Costs, way: int, departure: datetime
) -> Clock:
    if not costs.start_modes:
        return Clock(departure, None, 0.0)
    twa = ways.twa_deg[way, :1]
    candidates = np.array(costs.start_modes)
    price = costs.between(candidates, twa, ways.mode[way, 0], twa)
    return Clock(departure, held.modes[candidates[int(np.argmin(price))]], float(twa[0]))


def _leg_record(
    held: VelocitySet, leg: LegChoice, way: int, reckoning: Clock, why: tuple[str, ...]
) -> tuple[Leg, Clock]:
    boards: list[Board] = []
    ways = leg.ways
    for at in range(int(ways.turns[way]) + 1):
        mode = held.modes[ways.mode[way, at]]
        start = Fix(lat=float(ways.lat[way, at]), lon=float(ways.lon[way, at]))
        twa = float(ways.twa_deg[way, at])
        done = manoeuvres_due(held.boat, reckoning, mode, twa, start)
        ready = reckoning.time + timedelta(seconds=sum(m.cost_s for m in done))
        board = replace(_board(held, ways, way, at, ready), manoeuvres=tuple(done))
        boards.append(board)
        reckoning = Clock(time_of(board.end), mode, twa)
    elapsed = hours_of(boards)
    straight = None if np.isnan(leg.straight_h) else leg.straight_h
    record = Leg(
        origin=leg.origin.name,
        destination=leg.destination.name,
        elapsed_h=elapsed,
        straight_h=straight,
        saved_min=None if straight is None else (straight - elapsed) * 60.0,
        # Boards that nothing beats are no bound on what an engine may do.
        bound_h=None if leg.motored else _bound_h(leg, boards, elapsed),
        boards=tuple(boards),
        laylines=_sailed_laylines(leg, boards),
        reasons=why,
    )
    return record, reckoning


def _bound_h(leg: LegChoice, boards: Sequence[Board], elapsed_h: float) -> float:
    """Return what nothing beats, as it was found, never cut to what was sailed.

    The hull's time is that of boards in both orders, in the mean and to the first order: where
    boards prove faster by less than half of what their order matters, so much is taken off, or
    no more than is proved. Where they prove faster still, what is proved is told.
    """
    if elapsed_h >= leg.bound_h:
        return leg.bound_h
    if elapsed_h >= leg.bound_h * (1.0 - BOUND_SAMPLED_TO):
        return elapsed_h
    # Two doubts that add up: of the plane, and of the sampled hull.
    nearly = leg.bound_h * (1.0 - BOUND_SAMPLED_TO) - 0.5 * _order_matters_h(boards)
    proved = leg.bound_h * (_least(leg, boards) - BOUND_SAMPLED_TO)
    return max(nearly, proved) if elapsed_h >= nearly else proved


def _order_matters_h(boards: Sequence[Board]) -> float:
    """Return by how much boards may differ from the same in reverse order, at most.

    Of two, t₁·t₂·(n₂ − n₁)·⟨k·sin φ⟩/(⟨k⟩₁·⟨k⟩₂), n the northward speeds, k the scale of the
    Mercator plane and dk/dψ = −k·sin φ (ψ the isometric latitude); the means are replaced by the
    largest and least values.
    """
    lat = np.array([boards[0].start.lat, *(board.end.lat for board in boards)])
    isometric = geodesy.isometric_latitude(lat)
    # Where the boards lead in reverse order.
    lat = np.append(lat, geodesy.latitude_from_isometric(isometric[0] + isometric[-1] - isometric))
    scale = np.degrees(geodesy.miles_per_degree(lat))
    steepest = np.max(np.abs(np.sin(np.radians(lat)))) * np.max(scale) / np.min(scale) ** 2
    took = np.array([board.elapsed_h for board in boards])
    towards = np.radians([board.course_over_ground_deg for board in boards])
    north = np.array([board.speed_over_ground_kn for board in boards]) * np.cos(towards)
    pairs = np.abs(took[:, None] * took * (north[:, None] - north))
    return float(0.5 * np.sum(pairs) * steepest)


def _least(leg: LegChoice, boards: Sequence[Board]) -> float:
    """Return the least share of the hull's time that boards so near a pole can take.

    A mile poleward covers more of the Mercator plane, in every direction alike: who covers it at
    most k times as fast as the hull on the loxodrome takes no less than 1/k of its time.
    """
    course = leg.course
    lat = np.array([course.lat1, course.lat2, *(board.end.lat for board in boards)])
    nearest = np.min(geodesy.miles_per_degree(lat))
    if leg.among is None:
        farthest = np.max(geodesy.miles_per_degree(course.lat1, course.lat2))
    else:
        # Round hazards the time is that of a string, which may dip to the lowest.
        crosses = np.min(lat) < 0.0 < np.max(lat)
        farthest = np.max(geodesy.miles_per_degree(np.append(lat, 0.0) if crosses else lat))
    return float(nearest / farthest)


def _board(held: VelocitySet, ways: Ways, way: int, at: int, start: datetime) -> Board:
    index, row = ways.mode[way, at], ways.row_deg[way, at]
    exact, _ = velocities(held.boat, held.modes, held.airs, np.array(index), np.array(row))
    mode = held.modes[index]
    elapsed, distance = float(ways.elapsed_h[way, at]), float(ways.distance_nm[way, at])
    end = start + timedelta(hours=elapsed)
    ends = [
        Fix(lat=float(ways.lat[way, i]), lon=float(ways.lon[way, i]), time=time)
        for i, time in ((at, start), (at + 1, end))
    ]
    apparent = wind.apparent_wind(
        exact.twa_deg, held.airs.tws_kn, exact.boat_speed_kn, exact.leeway_deg
    )
    # Alike at the board's start and all along it.
    sailed: dict[str, Any] = {
        "heading_deg": float(exact.heading_deg),
        "course_over_ground_deg": float(wind.direction_to(exact.east_kn, exact.north_kn)),
        "twa_deg": float(exact.twa_deg),
        "tws_kn": held.airs.tws_kn,
        "awa_deg": float(apparent.awa_deg),
        "aws_kn": float(apparent.aws_kn),
        "boat_speed_kn": float(exact.boat_speed_kn),
        "leeway_deg": float(exact.leeway_deg),
        "twd_deg": held.airs.twd_deg,
    }
    points = (BoardPoint(lat=e.lat, lon=e.lon, time=time_of(e), **sailed) for e in ends)
    return Board(
        tack="starboard" if mode.engine and row > 180.0 else mode.tack,
        sail_set=mode.name,
        steer="heading" if mode.engine else "angle",
        start=ends[0],
        end=ends[1],
        speed_over_ground_kn=float(np.hypot(exact.east_kn, exact.north_kn)),
        heel_deg=None if np.isnan(exact.heel_deg) else float(exact.heel_deg),
        distance_nm=distance,
        log_nm=float(exact.boat_speed_kn) * elapsed,
        elapsed_h=elapsed,
        points=tuple(points),
        poled=mode.poled,
        engine=mode.engine,
        **sailed,
    )


def _sailed_laylines(leg: LegChoice, boards: Sequence[Board]) -> tuple[Layline, ...]:
    """Draw the layline of the board sailed into the mark; a straight course needs none."""
    if len(boards) < 2:
        return ()
    into = boards[-1]
    mark = Fix(lat=leg.destination.lat, lon=leg.destination.lon)
    far = geodesy.loxodrome_direct(
        mark.lat, mark.lon, into.course_over_ground_deg + 180.0, leg.course.distance_nm
    )
    return (
        Layline(
            mark=leg.destination.name,
            tack=into.tack,
            sail_set=into.sail_set,
            course_over_ground_deg=into.course_over_ground_deg,
            points=(Fix(lat=float(far.lat), lon=float(far.lon)), mark),
        ),
    )
