"""The plan where wind and stream change: search, polish, and what is told of both.

The search finds which tack and sail set follow which; the polish makes the
boards exact. Between the two the sequence is tidied as a crew would: boards
that are not worth their manoeuvre go, and a board gets a second angle only
where that pays.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat import manoeuvres
from goosewing.case import OneLeg, corridor_on
from goosewing.changing import board_records, guesses, least_time
from goosewing.changing.engine_rule import Lulls
from goosewing.changing.guesses import Outlook
from goosewing.changing.motion import Waters
from goosewing.changing.recall import Recall, Settled
from goosewing.changing.relaxed import relaxed_h
from goosewing.changing.search import search_leg
from goosewing.changing.settling import (
    ROUGH_ORDERS,
    Boards,
    Stage,
    breaks_the_watch,
    resettled,
    settled,
    shortest_board_h,
)
from goosewing.changing.strokes import strokes_h
from goosewing.changing.ways import Root, Search, Way, fastest_of
from goosewing.earth import geodesy
from goosewing.earth.course import Course, course_between, is_curved
from goosewing.errors import NoPlanError, OutsideForecastError
from goosewing.records import Leg, Mark, Plan
from goosewing.steady import motoring
from goosewing.steady.boards import check_corridor
from goosewing.totals import Clock, plan_of, tables_missing
from goosewing.weather.base import datetime_from_hours, hours_from_datetime
from goosewing.weather.combine import stream_reaches
from goosewing.words.figures import clock, off_the_wind, three_figures

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.boat.model import Boat
    from goosewing.case import Case
    from goosewing.changing.keep_clear import Offing
    from goosewing.earth.corridor import Corridor
    from goosewing.hazards.areas import Area
    from goosewing.hazards.kept import Kept
    from goosewing.options import First, Options
    from goosewing.records import Tack
    from goosewing.weather.base import Coverage, Weather

SHORTEST_BOARD_MIN = 20.0
"""What a crew would call too short a board on a passage. Common practice, no source."""

LONGEST_ROUGH_H = 6.0
"""Nor are orders longer while sequences are compared: over weeks they would lead astray. [h]"""

SHORTER = 0.98
"""A board so much shorter than was asked for isn't one as asked for."""

SHORTEST_SHARE = 0.08
"""On a short leg a board may be as short as this share of it."""

WIDEST = 30.0
"""The last search for a way round looks so many times as far as the first."""

SAMPLED_TO = 1e-4
"""Share to which the bound is known: directions and times are sampled."""

BOUND_LOOKS = 1.05
"""So many times the plan's own time the bound is looked for. [h/h]"""

WATCH_H = 2.0
"""The helm gets a new order at most so often, unless the navigator says otherwise. [h]"""

SHORTEST_WATCH_H = 1.0 / 30.0
MOST_ORDERS = 40
"""Where boards may be of any shortness, a leg gets about so many orders at most."""

SLOWEST_KN = 0.5
"""A shift of the weather at a stroke is looked for as long as she takes at this speed. [kn]"""

CALM_KN = 1.0
"""No wind to sail by. [kn]"""

LOOKED_H = 48.0
LOOKS_IN_TIME, LOOKS_ON_THE_WAY = 40, 9
"""Where a mark is not reached the weather is looked at so often, for so long at most."""

NEVER_H = 1e6
"""So long on a board that a change is free to be made: at a mark, or at the start."""


def solve(
    case: Case,
    firsts: Sequence[First | None] | None = None,
    *,
    progress: Callable[[str, float], None] | None = None,
    recall: Recall | None = None,
    compare: bool = True,
) -> Plan:
    """Plan a passage in wind and stream that change; see `goosewing.plan.make`.

    `firsts` says leg by leg which board comes first; the options' wish if not given. What
    `recall` holds of a passage that is nearly this one is not searched for again. With
    `compare` the plan is told beside the straight course and what it could take at best.
    """
    marks, boat, weather, options = case.marks, case.boat, case.weather, case.options
    asked = case.legs or (OneLeg(),) * (len(marks) - 1)
    wishes = [leg.first or options.first for leg in asked] if firsts is None else list(firsts)
    waters = _waters(case)
    _check_start(weather, case.departure, marks)
    courses = [course_between(a.lat, a.lon, b.lat, b.lon) for a, b in pairwise(marks)]
    trip = _Trip(waters, marks, courses, wishes, case.departure.astimezone(UTC), options, asked)
    trip = trip._replace(compared=not compare, kept=case.kept)
    written = None if recall is None else _recalled(trip, recall)
    if written is None:
        written = _searched(trip, progress)
    if recall is not None:
        recall.keep(written.settled)
    legs = written.legs
    made = plan_of(
        boat, marks, trip.departure, legs,
        (
            *case.notices, *tables_missing(boat, legs), *_beyond_notice(legs), *written.notices,
            *_no_stream_notice(weather, legs),
        ),
        f"{options.source or 'Wind and stream as they change'}.",
    )  # fmt: skip
    in_place = weather.varies_in_place or any(is_curved(course) for course in courses)
    if in_place or written.relaxed_h is None:
        return replace(made, bound_h=None, relaxed_h=written.relaxed_h)
    return replace(made, bound_h=_bound_of_all_h(waters, courses, trip.start_h, made))


def _waters(case: Case) -> Waters:
    """Put the boat into her weather, and find where it shifts at a stroke if it can."""
    waters = Waters(case.boat, case.weather, case.hazards, _lulls(case.boat, case.options))
    if case.weather.varies_in_place or not case.weather.varies_in_time:
        return waters
    begin_h, start = hours_from_datetime(case.departure), case.marks[0]
    nm = sum(
        float(geodesy.geodesic_inverse(a.lat, a.lon, b.lat, b.lon).distance_nm)
        for a, b in pairwise(case.marks)
    )
    end_h = begin_h + min(nm / SLOWEST_KN, least_time.LONGEST_H)
    return replace(waters, strokes_h=strokes_h(case.weather, start.lat, start.lon, begin_h, end_h))


class _Trip(NamedTuple):
    """What is to be planned."""

    waters: Waters
    marks: Sequence[Mark]
    courses: Sequence[Course]
    wishes: Sequence[First | None]
    departure: datetime
    options: Options
    legs: Sequence[OneLeg]
    other: bool = False
    """Whether, of the two searches among hazards, the one that is not usual comes first."""
    compared: bool = False
    """Whether the plan is only compared with another: no minutes are spent on finding it."""
    kept: Kept | None = None

    @property
    def start_h(self) -> float:
        return hours_from_datetime(self.departure)

    def waters_of(self, at: int) -> Waters:
        """The boat as she is to sail one leg."""
        boat = self.legs[at].boat
        return self.waters if boat is None else replace(self.waters, boat=boat)


class _Written(NamedTuple):
    """Legs as they are told, how they were planned, and what all of them take without turns."""

    legs: tuple[Leg, ...]
    settled: tuple[Settled, ...]
    relaxed_h: float | None
    """None where that was not worked out."""
    notices: tuple[str, ...] = ()


Settle = Callable[[int, Clock], Settled]
"""Makes the boards of a leg, by its number and where the reckoning stands at its beginning."""


def _searched(trip: _Trip, progress: Callable[[str, float], None] | None) -> _Written:
    """Search the ways over all legs, and settle their boards.

    Among hazards there are two searches: what the one finds no boards for the other may. Where
    there are very many the other takes minutes: of a plan that is only compared with another it is
    not asked.
    """
    views = _outlooks(trip)
    try:
        return _searched_by(trip, views, progress)
    except OutsideForecastError:
        raise
    except NoPlanError as error:
        other = _otherwise(trip)
        if other is None or not all(_may_take_long(trip, course) for course in trip.courses):
            raise
        try:
            return _searched_by(other, views, progress)
        except NoPlanError:
            raise error from None


def _otherwise(trip: _Trip) -> _Trip | None:
    """Let the other search come first on legs among hazards; None where there are none such."""
    waters = trip.waters
    if waters.hazards is None or trip.options.shortest_board_min is not None:
        return None
    from goosewing.changing import islands
    from goosewing.hazards import free_water

    if not any(islands.are_some(waters.hazards, course) for course in trip.courses):
        return None
    if any(free_water.is_shut_off(waters.hazards, course) for course in trip.courses):
        return None
    return trip._replace(other=True)


def _may_take_long(trip: _Trip, course: Course) -> bool:
    """Whether states are searched on a leg whatever it takes: among very many hazards, minutes."""
    hazards = trip.waters.hazards
    if hazards is None or not trip.compared:
        return True
    from goosewing.changing import islands

    return not islands.are_many(hazards, course)


def _searched_by(
    trip: _Trip, views: Sequence[Outlook], progress: Callable[[str, float], None] | None
) -> _Written:
    waters, options = trip.waters, trip.options
    ways = _search_all(trip, views, progress)
    aheads = [*(waters.modes[way.stretches[0].mode] for way in ways[1:]), None]

    def settle(at: int, reckoning: Clock) -> Settled:
        return _settled(trip, at, views[at], ways[at], reckoning, aheads[at])

    begun = Clock(trip.departure, *_first_sails(waters, ways[0], options))
    return _written(trip, settle, begun, compare=not trip.compared)


def _settled(
    trip: _Trip, at: int, view: Outlook, way: Way, reckoning: Clock, ahead: manoeuvres.Mode | None
) -> Settled:
    """Make the boards of one leg of the way that was found over it."""
    waters, options, course = trip.waters_of(at), trip.options, trip.courses[at]
    now = hours_from_datetime(reckoning.time)
    stage = Stage(
        _bound_for(waters, course), course, view, now, _shortest_h(options, way), reckoning,
        watch_h=_watch_h(options, way), worth_h=options.worth_min / 60.0,
        first=trip.wishes[at], offing=_offing(waters, course, way),
        corridor=corridor_on(options, course, at), margin_deg=options.margin_deg,
        rough_h=min((way.arrival_h - now) / ROUGH_ORDERS, LONGEST_ROUGH_H),
        straight_h=_straight_h(trip.waters, course, now, way.arrival_h - now),
    )  # fmt: skip
    return Settled(stage, settled(stage, way, trip.marks[at + 1], ahead))


def _recalled(trip: _Trip, recall: Recall) -> _Written | None:
    """Bring boards that were planned before to where the marks are now; None if they can't be.

    A leg that was not planned before, as between two places at one mark, is searched alone.
    """
    known = recall.near(trip.courses, trip.start_h)
    if not any(known):
        return None

    def settle(at: int, reckoning: Clock) -> Settled:
        leg = known[at]
        return _alone(trip, at, reckoning) if leg is None else _resettled(trip, at, leg, reckoning)

    first = Clock(trip.departure, None, 0.0)
    if known[0] is not None:
        first = known[0].stage.before._replace(time=trip.departure)
    try:
        return _written(trip, settle, first, compare=False)
    except NoPlanError:
        return None


def _resettled(trip: _Trip, at: int, leg: Settled, reckoning: Clock) -> Settled:
    course, now = trip.courses[at], hours_from_datetime(reckoning.time)
    stage = replace(
        leg.stage, waters=_bound_for(trip.waters, course), course=course, start_h=now,
        before=reckoning, first=trip.wishes[at], straight_h=None,
        corridor=corridor_on(trip.options, course, at),
    )  # fmt: skip
    return Settled(stage, resettled(stage, leg.boards, trip.marks[at + 1]))


def _alone(trip: _Trip, at: int, reckoning: Clock) -> Settled:
    """Plan a leg as if it were the last one."""
    course, now = trip.courses[at], hours_from_datetime(reckoning.time)
    view = guesses.along(trip.waters, course, now)
    roots = _first_roots(trip.waters, trip.options, now)
    if reckoning.mode is not None:
        roots = (Root(trip.waters.modes.index(reckoning.mode), now, NEVER_H),)
    way = min(_ways_over(trip, at, view, roots, None), key=lambda way: way.arrival_h)
    if at == 0:
        reckoning = Clock(trip.departure, *_first_sails(trip.waters, way, trip.options))
    return _settled(trip, at, view, way, reckoning, None)


def _written(trip: _Trip, settle: Settle, reckoning: Clock, *, compare: bool = True) -> _Written:
    """Plan leg after leg, each from where and when the one before ends.

    What a leg could take at best is worked out but for trials, of which it is the greater part.
    """
    legs: list[Leg] = []
    made: list[Settled] = []
    said_of: list[str] = []
    relaxed = 0.0
    for at, (course, (origin, mark)) in enumerate(
        zip(trip.courses, pairwise(trip.marks), strict=True)
    ):
        stage, boards, _ = settle(at, reckoning)
        leg, reckoning = board_records.leg_record(
            stage.waters, course, origin, mark, boards, reckoning
        )
        if compare:
            freely = replace(stage, waters=_bound_for(trip.waters, course))
            leg, least = _compared(freely, boards, leg)
            relaxed += least
            said_of += _wishes_not_kept(trip.options, stage, boards, leg)
        said = motoring.told(leg, trip.waters.boat.engine)
        legs.append(replace(leg, reasons=(*leg.reasons, *said)))
        made.append(Settled(stage, boards, trip.start_h))
    return _Written(tuple(legs), tuple(made), relaxed if compare else None, tuple(said_of))


def _wishes_not_kept(options: Options, stage: Stage, boards: Boards, leg: Leg) -> list[str]:
    """Say where only shorter boards or sooner orders than were asked for lead to the mark."""
    said = []
    shortest_h = (options.shortest_board_min or 0.0) / 60.0
    if shortest_board_h(boards) < SHORTER * shortest_h:
        said.append(
            f"On the way to {leg.destination} there are boards shorter than the "
            f"{options.shortest_board_min:g} min asked for: no others were found."
        )
    if options.watch_h is not None and breaks_the_watch(stage, boards):
        said.append(
            f"On the way to {leg.destination} orders follow one another sooner than the watch of "
            f"{options.watch_h:g} h asked for: no others were found."
        )
    return said


def _lulls(boat: Boat, options: Options) -> Lulls | None:
    return Lulls(boat, boat.engine) if options.engine and boat.engine is not None else None


def _bound_for(waters: Waters, course: Course) -> Waters:
    """Let the engine's rule look to this leg's mark."""
    if waters.lulls is None:
        return waters
    return replace(waters, toward=(course.lat2, course.lon2))


# ---- before the search -----------------------------------------------------------------------


def _check_start(weather: Weather, departure: datetime, marks: Sequence[Mark]) -> None:
    """Refuse a departure outside the forecast's time, and marks outside its area."""
    cover = weather.coverage
    early = cover.start is not None and departure < cover.start
    late = cover.end is not None and departure > cover.end
    if early or late:
        span = _span_words(cover)
        leaving = f"{departure.astimezone(UTC):%Y-%m-%d} {clock(departure)}"
        raise OutsideForecastError(
            f"the forecast {span}, departure is {leaving}", ends_too_soon=late
        )
    for mark in marks:
        here = weather.at(hours_from_datetime(departure), mark.lat, mark.lon)
        for what, value in (("wind", here.wind_east_kn), ("stream", here.stream_east_kn)):
            if not np.isfinite(value):
                raise OutsideForecastError(f"the forecast knows no {what} at {mark.name}")


def _span_words(cover: Coverage) -> str:
    first, last = (
        None if time is None else f"{time:%Y-%m-%d} {clock(time)}"
        for time in (cover.start, cover.end)
    )
    if first is None:
        return f"ends {last}"
    if cover.start == cover.end:
        return f"holds one time only, {first}"
    return f"begins {first}" if last is None else f"covers {first} to {last}"


def _outlooks(trip: _Trip) -> list[Outlook]:
    views, start_h = [], trip.start_h
    for at, course in enumerate(trip.courses):
        view = guesses.along(trip.waters_of(at), course, start_h)
        views.append(view)
        start_h += course.distance_nm * view.hours_per_nm(course.bearing_deg)
    return views


def _shortest_h(options: Options, way: Way) -> float:
    if options.shortest_board_min is not None:
        return options.shortest_board_min / 60.0
    leg_h = way.arrival_h - way.begins_h
    # The board into the mark may be shorter than one that is left by choice.
    found = [float(np.ptp(part.time_h)) for part in way.stretches]
    return min(SHORTEST_BOARD_MIN / 60.0, SHORTEST_SHARE * leg_h, *found)


def _watch_h(options: Options, way: Way) -> float:
    """How long an order to the helm is held at least."""
    if options.watch_h is not None:
        return max(options.watch_h, SHORTEST_WATCH_H)
    if options.shortest_board_min != 0.0:
        return WATCH_H
    return max((way.arrival_h - way.begins_h) / MOST_ORDERS, SHORTEST_WATCH_H)


# ---- the search over all legs ----------------------------------------------------------------


def _search_all(
    trip: _Trip, views: Sequence[Outlook], progress: Callable[[str, float], None] | None
) -> list[Way]:
    """Search leg by leg, each from every mode in which the mark before may be reached."""
    waters, options = trip.waters, trip.options
    roots = _first_roots(waters, options, trip.start_h)
    found: list[list[Way]] = []
    for at, view in enumerate(views):
        ways = _ways_over(trip, at, view, roots, progress)
        found.append(ways)
        roots = tuple(Root(way.mode, way.arrival_h, NEVER_H) for way in ways)
    best = min(range(len(found[-1])), key=lambda i: found[-1][i].arrival_h)
    chain = []
    for ways in reversed(found):
        chain.append(ways[best])
        best = ways[best].root
    return chain[::-1]


def _ways_over(
    trip: _Trip,
    at: int,
    view: Outlook,
    roots: tuple[Root, ...],
    progress: Callable[[str, float], None] | None,
) -> list[Way]:
    """Search one leg, the fastest way for each mode of arrival.

    Raises
    ------
    NoPlanError
        If its mark is not reached.
    """
    waters, options, course = trip.waters_of(at), trip.options, trip.courses[at]
    origin, mark = trip.marks[at : at + 2]
    told = None if progress is None else partial(progress, mark.name)
    among = partial(_ways_among, trip, at, view, roots)
    corners = _corners_looked_at(trip, course)
    ways = among(corners[:1])
    if ways:
        return ways
    _check_open(trip, waters, course, origin, mark)
    if options.corridor_nm is not None:
        check_corridor(view.fastest_kn, mark.name, options.corridor_nm)
    may_take_long = _may_take_long(trip, course)
    ways = among(corners[1:] if may_take_long else _few(corners[1:]))
    if ways:
        return ways
    if not may_take_long:
        raise _not_reached(waters, course, mark, roots, options.corridor_nm)
    corridor = corridor_on(options, course, at)
    shortest_h = _searched_shortest_h(options, course, view)
    for what in _searches(waters, options, shortest_h, corridor):
        search = partial(_search, waters, course, view, what, told)
        ways = _begun_as_wished(waters, trip.wishes[at], roots, search)
        if ways:
            return ways
    raise _not_reached(waters, course, mark, roots, options.corridor_nm)


def _check_open(trip: _Trip, waters: Waters, course: Course, origin: Mark, mark: Mark) -> None:
    """Refuse a leg between waters that hazards part."""
    if waters.hazards is None or not _across(waters, course):
        return
    from goosewing.changing import islands

    if islands.is_open(trip.kept, waters.hazards, course):
        return
    from goosewing.hazards import closed_ways, free_water

    if free_water.is_shut_off(waters.hazards, course):
        raise NoPlanError(closed_ways.closed(waters.hazards, course, origin.name, mark.name))


def _across(waters: Waters, course: Course) -> Area | None:
    """What lies across the straight course."""
    if waters.hazards is None:
        return None
    return waters.hazards.what_blocks(course.lat1, course.lon1, course.lat2, course.lon2)


def _searches(
    waters: Waters, options: Options, shortest_h: float, corridor: Corridor | None
) -> list[Search]:
    """How a leg is searched, each where the one before found nothing.

    Between hazards boards may have to be shorter, the grid finer, or the way round longer.
    """
    wished = Search(shortest_h=shortest_h, corridor=corridor)
    if waters.hazards is None:
        return [wished]
    short = wished if options.shortest_board_min is not None else replace(wished, shortest_h=0.0)
    tries = [wished, short, replace(short, fineness=3.0), replace(short, widest=WIDEST)]
    return list(dict.fromkeys(tries))


def _corners_looked_at(trip: _Trip, course: Course) -> tuple[int, ...]:
    """Among how many corners boards are looked for that are pinned to them; none if elsewise."""
    hazards = trip.waters.hazards
    if hazards is None or trip.options.shortest_board_min is not None:
        return ()
    from goosewing.changing import islands

    many = islands.are_many(hazards, course)
    if many == trip.other or not islands.are_some(hazards, course):
        return ()
    return islands.corners_looked_at(hazards, course)


def _few(corners: tuple[int, ...]) -> tuple[int, ...]:
    from goosewing.steady.pinned_boards import MOST_CORNERS

    return tuple(count for count in corners if count <= MOST_CORNERS[0])


def _ways_among(
    trip: _Trip, at: int, view: Outlook, roots: tuple[Root, ...], corners: tuple[int, ...]
) -> list[Way]:
    """Search a leg among very many hazards, over more and more of their corners."""
    if not corners:
        return []
    from goosewing.changing import islands

    course = trip.courses[at]
    hours = course.distance_nm * view.hours_per_nm(course.bearing_deg)
    corridor, every = corridor_on(trip.options, course, at), at + 1 < len(trip.courses)
    for most in corners:
        search = partial(
            islands.ways_among, trip.waters_of(at), course, hours=hours, corridor=corridor,
            every=every, most_corners=most, kept=trip.kept,
        )  # fmt: skip
        ways = _begun_as_wished(trip.waters, trip.wishes[at], roots, search)
        if ways:
            return ways
    return []


def _search(
    waters: Waters,
    course: Course,
    view: Outlook,
    what: Search,
    progress: Callable[[float], None] | None,
    roots: tuple[Root, ...],
) -> list[Way]:
    return search_leg(
        _bound_for(waters, course), course, roots, what,
        gauge=view.gauge, fastest_kn=view.fastest_kn, progress=progress,
    )  # fmt: skip


def _begun_as_wished(
    waters: Waters,
    first: First | None,
    roots: tuple[Root, ...],
    search: Callable[[tuple[Root, ...]], list[Way]],
) -> list[Way]:
    """Search ways that begin on the tack asked for; those that keep to one tack are all right.

    Only where the fastest ways do neither is the leg searched once more, from that tack alone.
    """
    ways = search(roots)
    if first not in ("port", "starboard"):
        return ways
    good = [way for way in ways if _begins_on(waters, first, way)]
    if len(good) == len(ways):
        return ways
    wished, come_from = _roots_on(waters, first, roots)
    for way in search(wished) if wished else []:
        at = come_from[way.root]
        good.append(replace(way, root=at, root_mode=roots[at].mode))
    return fastest_of(good) or ways


def _begins_on(waters: Waters, tack: Tack, way: Way) -> bool:
    """Whether a way begins on a tack, or is never on it."""
    tacks = [waters.modes[part.mode].tack for part in way.stretches]
    return tacks[0] == tack or tack not in tacks


def _roots_on(
    waters: Waters, tack: Tack, roots: Sequence[Root]
) -> tuple[tuple[Root, ...], list[int]]:
    """Begin on a tack, the turn onto it paid; and say of each beginning which root it is from."""
    costs = manoeuvres.cost_table_h(waters.boat, waters.modes).min(axis=0)
    wished, come_from = [], []
    for at, root in enumerate(roots):
        for number, mode in enumerate(waters.modes):
            if mode.tack != tack or mode.engine:
                continue
            cost = 0.0 if root.mode < 0 else float(costs[root.mode, number])
            # On the board that she is on already she may change sails at once.
            long = root.sailed_h if root.mode in (-1, number) else 0.0
            wished.append(Root(number, root.time_h + cost, long))
            come_from.append(at)
    return tuple(wished), come_from


def _searched_shortest_h(options: Options, course: Course, view: Outlook) -> float:
    hours = course.distance_nm * view.hours_per_nm(course.bearing_deg)
    wished = (
        SHORTEST_BOARD_MIN if options.shortest_board_min is None else options.shortest_board_min
    )
    shortest = min(wished / 60.0, SHORTEST_SHARE * hours)
    if options.corridor_nm is None or options.shortest_board_min is not None:
        return shortest
    # From the middle to the edge she must be able to sail a board.
    return min(shortest, options.corridor_nm / view.fastest_kn)


def _first_roots(waters: Waters, options: Options, start_h: float) -> tuple[Root, ...]:
    """How she may begin: under any sails, or under those she has and whatever they change to."""
    if options.start_with is None and options.start_tack is None:
        return (Root(-1, start_h, NEVER_H),)
    sails = None if options.start_with is None else waters.boat.index(options.start_with)
    tack = options.start_tack
    fits = [
        Root(i, start_h, NEVER_H)
        for i, mode in enumerate(waters.modes)
        if sails in (None, mode.sail_set) and tack in (None, mode.tack) and not mode.engine
    ]
    return tuple(fits) or (Root(-1, start_h, NEVER_H),)


def _first_sails(
    waters: Waters, way: Way, options: Options
) -> tuple[manoeuvres.Mode | None, float]:
    """What she is under when the passage begins, if that was said."""
    if options.start_with is None and options.start_tack is None:
        return None, 0.0
    first = way.stretches[0].mode if way.root_mode < 0 else way.root_mode
    return waters.modes[first], 90.0


def _not_reached(
    waters: Waters,
    course: Course,
    mark: Mark,
    roots: Sequence[Root],
    corridor_nm: float | None,
) -> NoPlanError:
    if corridor_nm is not None:
        return NoPlanError(
            f"{mark.name} is not reached within a corridor of {corridor_nm:g} nm either side, or "
            "not in this wind and stream at all, or not before the forecast ends"
        )
    cover = waters.weather.coverage
    begins_h = min(root.time_h for root in roots)
    start = datetime_from_hours(begins_h)
    setting_out = f"setting out at {start:%Y-%m-%d} {clock(start)}"
    why = _what_lacks(waters, course, begins_h)
    if why:
        return OutsideForecastError(
            f"{mark.name} is not reached: {why}, {setting_out}", ends_too_soon=False
        )
    if cover.end is not None:
        return OutsideForecastError(
            f"{mark.name} is not reached before the forecast ends on {cover.end:%Y-%m-%d} at "
            f"{clock(cover.end)}, {setting_out}; or wind beyond every sail set's limits, or the "
            "stream, bars the way",
            ends_too_soon=True,
        )
    if cover.lat_north is not None:
        return OutsideForecastError(
            f"{mark.name} is not reached within the area of the forecast, {setting_out}"
        )
    return NoPlanError(f"{mark.name} can't be made in this wind and stream")


def _what_lacks(waters: Waters, course: Course, start_h: float) -> str:
    """Say what the weather lacks along the straight course: wind at all, or times and places."""
    cover = waters.weather.coverage
    end_h = start_h + LOOKED_H if cover.end is None else hours_from_datetime(cover.end)
    times = np.linspace(start_h, max(end_h, start_h), LOOKS_IN_TIME)[:, np.newaxis]
    at = geodesy.loxodrome_direct(
        course.lat1, course.lon1, course.bearing_deg,
        course.distance_nm * np.linspace(0.0, 1.0, LOOKS_ON_THE_WAY),
    )  # fmt: skip
    airs = waters.airs(times, at.lat[np.newaxis], at.lon[np.newaxis])
    known = np.isfinite(airs.tws_kn)
    if known.any() and float(np.nanmax(airs.tws_kn)) < CALM_KN:
        most = float(np.nanmax(airs.tws_kn))
        return f"on the way there is a calm, {most:.1f} kn of wind at most as far as it is known"
    silent = times[~known.any(axis=1), 0]
    if known.any() and silent.size:
        first, last = (datetime_from_hours(float(time)) for time in silent[[0, -1]])
        return (
            f"the forecast has no values between about {first:%Y-%m-%d} {clock(first)} and "
            f"{last:%Y-%m-%d} {clock(last)}"
        )
    if not known.all(axis=0).any() or (~known).all(axis=0).any():
        return "the forecast has no values at places on the straight course"
    return ""


def _offing(waters: Waters, course: Course, way: Way) -> Offing | None:
    """The hazards that the boards of a leg are kept off; None if there are none about it."""
    if waters.hazards is None or way.pins is not None:
        return None
    from goosewing.changing.keep_clear import Offing

    return Offing.of(waters.hazards, course, *way.places)


def _straight_h(waters: Waters, course: Course, start_h: float, hours: float) -> float | None:
    if _across(waters, course) is not None:
        return None
    return guesses.straight_h(waters, course, start_h, hours)


# ---- what the leg is compared with -----------------------------------------------------------


def _compared(stage: Stage, boards: Boards, leg: Leg) -> tuple[Leg, float]:
    """Add the straight course, the bound and the reasons; return the relaxed time too."""
    across = _across(stage.waters, stage.course)
    straight = stage.straight_h
    least, relaxed = None, leg.elapsed_h
    if stage.waters.weather.varies_in_place or is_curved(stage.course):
        made = boards.polished
        course = replace(made.course, waters=stage.waters)
        relaxed = relaxed_h(course, boards.states, made.price, leg.elapsed_h)
    elif not any(board.engine for board in leg.boards):
        least = least_time.least_time_h(
            stage.waters, stage.course, stage.start_h, BOUND_LOOKS * leg.elapsed_h
        )
        relaxed = leg.elapsed_h if least is None else least
    compared = replace(
        leg,
        straight_h=straight,
        saved_min=None if straight is None else (straight - leg.elapsed_h) * 60.0,
        bound_h=None if least is None else _sampled(least, leg.elapsed_h),
        reasons=_reasons(stage, leg, straight, across),
    )
    return compared, relaxed


def _reasons(
    stage: Stage, leg: Leg, straight: float | None, across: Area | None
) -> tuple[str, ...]:
    first, last = leg.boards[0].points[0], leg.boards[-1].points[-1]
    bearing = stage.course.bearing_deg
    begin = stage.waters.airs(stage.start_h, first.lat, first.lon)
    end = stage.waters.airs(hours_from_datetime(last.time), last.lat, last.lon)
    # Both stand beside it to the degree: whoever subtracts them finds this.
    off = abs(float(geodesy.wrap_180(round(bearing) - round(float(begin.twd_deg)))))
    said = [
        f"{leg.destination} bears {three_figures(bearing)}, {off_the_wind(off)} at the start; "
        f"on the way the wind over the water goes from {three_figures(float(begin.twd_deg))} "
        f"{float(begin.tws_kn):.0f} kn to {three_figures(float(end.twd_deg))} "
        f"{float(end.tws_kn):.0f} kn."
    ]
    if across is not None:
        called = across.called
        said.append(f"{called[0].upper()}{called[1:]} lies across the straight course.")
    elif straight is None:
        said.append("No single sail set can hold the straight course all the way.")
    return tuple(said)


def _sampled(least_h: float, elapsed_h: float) -> float:
    """A bound that the plan is below by no more than it is sampled to is the plan's own time."""
    return elapsed_h if elapsed_h < least_h < elapsed_h * (1.0 + SAMPLED_TO) else least_h


def _bound_of_all_h(
    waters: Waters, courses: Sequence[Course], start_h: float, made: Plan
) -> float | None:
    """Return the least time over all legs, each begun when the one before could end at best.

    A leg's own bound begins when the plan begins it: their sum would be none,
    where the wind is better earlier.
    """
    if len(courses) == 1:
        return made.legs[0].bound_h
    at = start_h
    for course, leg in zip(courses, made.legs, strict=True):
        least = least_time.least_time_h(waters, course, at, 2.0 * leg.elapsed_h)
        if least is None:
            return None
        at += least
    return _sampled(at - start_h, made.elapsed_h)


def _no_stream_notice(weather: Weather, legs: Sequence[Leg]) -> list[str]:
    """Say where the stream's tables don't reach, and none was reckoned with."""
    boards = [board for leg in legs for board in leg.boards]
    points = [point for board in boards for point in board.points]
    lat, lon = np.array([(point.lat, point.lon) for point in points]).T
    reached = stream_reaches(weather, lat, lon)
    if reached is None or reached.all():
        return []
    if not reached.any():
        return ["The stream's tables reach no place of this passage: no stream was reckoned with."]
    sizes = np.cumsum([len(board.points) for board in boards])
    short = sum(not part.all() for part in np.split(reached, sizes[:-1]))
    return [
        f"The stream's tables don't reach all of the way: on {short} of {len(boards)} boards no "
        "stream was reckoned with where they end."
    ]


def _beyond_notice(legs: Sequence[Leg]) -> list[str]:
    if not any(board.beyond_forecast for leg in legs for board in leg.boards):
        return []
    return ["The forecast ends on the way: boards marked so hold its last values on."]
