"""The plan where wind and stream change: search, polish, and what is told of both.

The search finds which tack and sail set follow which; the polish makes the
boards exact. Between the two the sequence is tidied as a crew would: boards
that are not worth their manoeuvre go, and a board gets a second angle only
where that pays.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat import manoeuvres
from goosewing.changing import board_records, least_time
from goosewing.changing import guesses as outlook
from goosewing.changing.engine_rule import Lulls
from goosewing.changing.guesses import Outlook
from goosewing.changing.motion import Waters
from goosewing.changing.polish import MANY_ROUNDS, USUAL_ROUNDS, Helm, Start, polish
from goosewing.changing.search import Root, Search, Stretch, Way, search_leg
from goosewing.earth import geodesy
from goosewing.earth.course import Course, course_between
from goosewing.errors import InputError, NoPlanError, OutsideForecastError
from goosewing.records import Leg, Mark, Plan
from goosewing.steady import motoring
from goosewing.totals import Clock, plan_of, tables_missing, time_of
from goosewing.weather.base import datetime_from_hours, hours_from_datetime
from goosewing.words.figures import clock, off_the_wind, three_figures

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from numpy.typing import NDArray

    from goosewing.boat.model import Boat
    from goosewing.changing.keep_clear import Offing
    from goosewing.hazards.areas import Area, Hazards
    from goosewing.options import First, Options
    from goosewing.records import Steer
    from goosewing.units import Array
    from goosewing.weather.base import Coverage, Weather

SHORTEST_BOARD_MIN = 20.0
"""What a crew would call too short a board on a passage. Common practice, no source."""

SHORTEST_SHARE = 0.08
"""On a short leg a board may be as short as this share of it."""

SPLIT_GAIN = 2e-3
"""A board gets a second angle only if that saves this share of the leg's time."""

SPLIT_GAIN_FREE = 5e-5
"""The same where the navigator lets boards be as short as they like."""

SPLIT_ROUNDS = 4
MOST_BOARDS = 48
"""Splitting goes no further than this many boards on a leg."""

FEWER_BOARDS_H = 1.0 / 240.0
"""A board is dropped even where that costs up to a quarter of a minute: it is work for the crew."""

MOST_REORDERED = 8
"""Longer sequences keep the order that the search found."""

LEAST_GAIN_H = 1e-4
"""Less than half a second is no reason to change the order."""

WIDEST = 30.0
"""The last search for a way round looks so many times as far as the first."""

SHORTEST_PIECE_NM = 0.002
"""Places of a way that are closer together are one."""

MOST_TRIED = 8
"""So many of the places in sight are tried as the next one."""

ROUNDS = 20

ROUNDS_OF_PAUSES = 3
"""A turn near the beam may prove a gybe where a tack was meant: so often it is put right."""

SWING_DEG = 20.0
MOST_PIECES = 8
"""A stretch of the search whose angle swings farther than this starts as several boards."""

STEADY_ANGLE_DEG = 14.0
"""Within this of a best angle the helm keeps an angle to the wind; reaching, a heading."""

NEVER_H = 1e6
"""So long on a board that a change is free to be made: at a mark, or at the start."""


@dataclass(frozen=True, slots=True, eq=False)
class Boards:
    """A sequence of boards with the pauses before them."""

    helms: tuple[Helm, ...]
    pauses_h: tuple[float, ...]

    @property
    def elapsed_h(self) -> float:
        """Boards and manoeuvres together, in hours."""
        return sum(h.hours for h in self.helms) + sum(self.pauses_h)


class Places(NamedTuple):
    """Places of a way that was found, each shape (n,)."""

    mode: NDArray[np.intp]
    """The mode in which it was reached; of the first, that of the second."""
    lat: Array
    lon: Array
    time_h: Array


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """One leg of the passage while it is being planned."""

    waters: Waters
    course: Course
    outlook: Outlook
    start_h: float
    shortest_h: float
    before: Clock
    exact: bool = False
    """Whether sequences are compared in the shortest steps of the integration."""
    first: First | None = None
    """Which board was asked to come first."""
    offing: Offing | None = None
    """The hazards about the leg, and the way between them."""

    @property
    def ends(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Latitude and longitude of where it begins and of its mark."""
        return (self.course.lat1, self.course.lon1), (self.course.lat2, self.course.lon2)

    @property
    def start(self) -> Start:
        """Where and when it begins, and where it ends."""
        c = self.course
        return Start(time_h=self.start_h, lat=c.lat1, lon=c.lon1, mark_lat=c.lat2, mark_lon=c.lon2)


def solve(
    marks: Sequence[Mark],
    boat: Boat,
    weather: Weather,
    departure: datetime,
    options: Options,
    notices: Sequence[str] = (),
    progress: Callable[[str, float], None] | None = None,
    hazards: Hazards | None = None,
) -> Plan:
    """Plan a passage in wind and stream that change; see `goosewing.plan.make`."""
    if options.corridor_nm is not None or options.margin_deg:
        raise InputError("a corridor or a margin can be kept in steady wind only")
    waters = Waters(boat, weather, hazards, _lulls(boat, options))
    _check_start(weather, departure, marks)
    start_h = hours_from_datetime(departure)
    courses = [course_between(a.lat, a.lon, b.lat, b.lon) for a, b in pairwise(marks)]
    views = _outlooks(waters, courses, start_h)
    ways = _search_all(waters, marks, courses, views, start_h, options, progress)
    reckoning = Clock(departure.astimezone(UTC), *_first_sails(waters, ways[0], options))
    legs: list[Leg] = []
    relaxed = 0.0
    aheads = [waters.modes[way.stretches[0].mode] for way in ways[1:]]
    for course, view, way, ahead, (origin, mark) in zip(
        courses, views, ways, [*aheads, None], pairwise(marks), strict=True
    ):
        now = hours_from_datetime(reckoning.time)
        stage = Stage(
            _bound_for(waters, course), course, view, now, _shortest_h(options, way), reckoning,
            first=options.first, offing=_offing(waters, course, way),
        )  # fmt: skip
        boards = _polished(stage, way, mark, ahead)
        leg, reckoning = board_records.leg_record(
            waters, course, origin, mark, boards.helms, reckoning
        )
        leg, least = _compared(stage, leg)
        leg = replace(leg, reasons=(*leg.reasons, *motoring.told(leg, boat.engine)))
        relaxed += least
        legs.append(leg)
    made = plan_of(
        boat, marks, departure.astimezone(UTC), tuple(legs),
        (*notices, *tables_missing(boat, legs), *_beyond_notice(legs)),
        f"{options.source or 'Wind and stream as they change'}.",
    )  # fmt: skip
    if weather.varies_in_place:
        return replace(made, bound_h=None, relaxed_h=min(relaxed, made.elapsed_h))
    return replace(made, bound_h=_bound_of_all_h(waters, courses, start_h, made))


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
    return f"begins {first}" if last is None else f"covers {first} to {last}"


def _outlooks(waters: Waters, courses: Sequence[Course], start_h: float) -> list[Outlook]:
    views = []
    for course in courses:
        view = outlook.along(waters, course, start_h)
        views.append(view)
        start_h += course.distance_nm * view.hours_per_nm(course.bearing_deg)
    return views


def _shortest_h(options: Options, way: Way) -> float:
    if options.shortest_board_min is not None:
        return options.shortest_board_min / 60.0
    leg_h = way.arrival_h - float(way.stretches[0].time_h[0])
    found = [float(np.ptp(part.time_h)) for part in way.stretches[:-1]]
    return min(SHORTEST_BOARD_MIN / 60.0, SHORTEST_SHARE * leg_h, *found)


# ---- the search over all legs ----------------------------------------------------------------


def _search_all(
    waters: Waters,
    marks: Sequence[Mark],
    courses: Sequence[Course],
    views: Sequence[Outlook],
    start_h: float,
    options: Options,
    progress: Callable[[str, float], None] | None,
) -> list[Way]:
    """Search leg by leg, each from every mode in which the mark before may be reached."""
    roots = _first_roots(waters, options, start_h)
    found: list[list[Way]] = []
    for course, view, (origin, mark) in zip(courses, views, pairwise(marks), strict=True):
        told = None if progress is None else (lambda nm, name=mark.name: progress(name, nm))
        _check_open(waters, course, origin, mark)
        for what in _searches(waters, options, _searched_shortest_h(options, course, view)):
            ways = _search(waters, course, view, roots, what, told)
            if ways:
                break
        else:
            raise _not_reached(waters, mark, roots)
        found.append(ways)
        roots = tuple(Root(way.mode, way.arrival_h, NEVER_H) for way in ways)
    best = min(range(len(found[-1])), key=lambda i: found[-1][i].arrival_h)
    chain = []
    for ways in reversed(found):
        chain.append(ways[best])
        best = ways[best].root
    return chain[::-1]


def _check_open(waters: Waters, course: Course, origin: Mark, mark: Mark) -> None:
    """Refuse a leg between waters that hazards part."""
    if waters.hazards is None or not _across(waters, course):
        return
    from goosewing.hazards import closed_ways as gaps
    from goosewing.hazards import free_water

    if free_water.is_shut_off(waters.hazards, course):
        raise NoPlanError(gaps.closed(waters.hazards, course, origin.name, mark.name))


def _across(waters: Waters, course: Course) -> Area | None:
    """What lies across the straight course."""
    if waters.hazards is None:
        return None
    return waters.hazards.what_blocks(course.lat1, course.lon1, course.lat2, course.lon2)


def _searches(waters: Waters, options: Options, shortest_h: float) -> list[Search]:
    """How a leg is searched, each where the one before found nothing.

    Between hazards boards may have to be shorter, the grid finer, or the way round longer.
    """
    wished = Search(shortest_h=shortest_h)
    if waters.hazards is None:
        return [wished]
    short = wished if options.shortest_board_min is not None else Search()
    tries = [wished, short, replace(short, fineness=3.0), replace(short, widest=WIDEST)]
    return list(dict.fromkeys(tries))


def _search(
    waters: Waters,
    course: Course,
    view: Outlook,
    roots: tuple[Root, ...],
    what: Search,
    progress: Callable[[float], None] | None = None,
) -> list[Way]:
    return search_leg(
        _bound_for(waters, course), course, roots, what,
        gauge=view.gauge, fastest_kn=view.fastest_kn, best_rows=view.best_rows, progress=progress,
    )  # fmt: skip


def _searched_shortest_h(options: Options, course: Course, view: Outlook) -> float:
    hours = course.distance_nm * view.hours_per_nm(course.bearing_deg)
    wished = (
        SHORTEST_BOARD_MIN if options.shortest_board_min is None else options.shortest_board_min
    )
    return min(wished / 60.0, SHORTEST_SHARE * hours)


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


def _not_reached(waters: Waters, mark: Mark, roots: Sequence[Root]) -> NoPlanError:
    cover = waters.weather.coverage
    start = datetime_from_hours(min(root.time_h for root in roots))
    setting_out = f"setting out at {start:%Y-%m-%d} {clock(start)}"
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


def _offing(waters: Waters, course: Course, way: Way) -> Offing | None:
    """The hazards that the boards of a leg are kept off; None if there are none about it."""
    if waters.hazards is None:
        return None
    from goosewing.changing.keep_clear import Offing

    return Offing.of(waters.hazards, course, *way.places)


# ---- polishing a leg -------------------------------------------------------------------------


def _polished(stage: Stage, way: Way, mark: Mark, ahead: manoeuvres.Mode | None) -> Boards:
    """Make the boards of a way exact, and as few as a crew would sail."""
    helms = tuple(h for part in way.stretches for h in _helms(stage, part))
    for exact in (False, True):
        judged = replace(stage, exact=exact)
        best = _begun(judged, way, helms)
        if best is None:
            continue
        best = _reordered(judged, _dropped(judged, best), ahead)
        best = _begun_as_wished(judged, best, ahead)
        made = _finished(judged, _split(judged, best))
        if made is not None:
            return made
    raise NoPlanError(f"no boards could be brought to {mark.name}: try another departure")


def _begun(stage: Stage, way: Way, helms: Sequence[Helm]) -> Boards | None:
    """Make the first boards; among hazards, where the optimiser finds none, by the way itself."""
    one = _try(stage, _joined(helms))
    found = None
    if one is None and stage.offing is not None:
        found = _from_place_to_place(stage, way)
    return found or _tidied(stage, helms, one)


def _from_place_to_place(stage: Stage, way: Way) -> Boards | None:
    """Sail the search's own way, which crosses nothing, by straight boards between its places."""
    places, at = _places_of(way), 0
    helms: tuple[Helm, ...] = ()
    while at < len(places.lat) - 1:
        for onward, mode in _onward(stage, places, at):
            added = _straight_on(stage, helms, places, (at, onward), mode)
            if added is not None:
                helms, at = added, onward
                break
        else:
            return None
    return _try(stage, helms) or Boards(helms, _pauses_h(stage, helms))


def _places_of(way: Way) -> Places:
    """Join the stretches of a way; of each place, the mode in which it was reached."""
    parts = way.stretches
    rest = [part.lat[1:] for part in parts]
    modes = [np.full(len(lat), part.mode) for lat, part in zip(rest, parts, strict=True)]

    def joined(name: str) -> Array:
        first = getattr(parts[0], name)[:1]
        return np.concatenate((first, *(getattr(part, name)[1:] for part in parts)))

    mode = np.concatenate(([parts[0].mode], *modes))
    return Places(mode, joined("lat"), joined("lon"), joined("time_h"))


def _onward(stage: Stage, places: Places, at: int) -> Iterator[tuple[int, int]]:
    """Places in sight to sail to next, and the mode: its own and far first, then any."""
    assert stage.offing is not None
    after = np.arange(at + 1, len(places.lat))
    seen = after[stage.offing.sees(places.lat, places.lon, at)]
    own = int(places.mode[at + 1])
    others = np.flatnonzero(places.mode[after] != own)
    end = at + 1 + int(others[0]) if others.size else len(places.lat)
    near = seen[seen < end]
    picked = near[np.linspace(0, len(near) - 1, min(len(near), MOST_TRIED)).astype(int)]
    yield from ((int(k), own) for k in picked[::-1])
    every = [i for i, mode in enumerate(stage.waters.modes) if not mode.engine]
    yield from ((int(k), mode) for k in seen[:MOST_TRIED] for mode in every)


def _straight_on(
    stage: Stage, helms: tuple[Helm, ...], places: Places, ends: tuple[int, int], mode: int
) -> tuple[Helm, ...] | None:
    """Add a straight board from one place to another; None if the mode can't hold it."""
    first, last = ends
    lat1, lon1 = float(places.lat[first]), float(places.lon[first])
    lat2, lon2 = float(places.lat[last]), float(places.lon[last])
    line = geodesy.loxodrome_inverse(lat1, lon1, lat2, lon2)
    if float(line.distance_nm) < SHORTEST_PIECE_NM:
        return helms
    hours = max(float(places.time_h[last] - places.time_h[first]), 1e-3)
    # What is steered differs from the course by leeway and stream: a first guess.
    bearing = float(line.bearing_deg)
    helm = Helm(mode=mode, steer="heading", control_deg=bearing, hours=hours)
    pauses = _pauses_h(stage, (*helms, helm))
    begun_h = stage.start_h + sum(h.hours for h in helms) + sum(pauses[:-1])
    start = Start(time_h=begun_h, lat=lat1, lon=lon1, mark_lat=lat2, mark_lon=lon2)
    made = polish(stage.waters, (helm,), start, pauses[-1:])
    return None if made is None else (*helms, *made)


def _helms(stage: Stage, part: Stretch) -> list[Helm]:
    """Turn a stretch of the search into orders to the helm, several where the angle swings."""
    helms = []
    for first, last in pairwise(_cuts(stage, part)):
        rows = part.row_deg[first + 1 : last + 1]
        known = rows[np.isfinite(rows)]
        at = (float(part.lat[first]), float(part.lon[first]), float(part.time_h[first]))
        hours = float(part.time_h[last] - part.time_h[first])
        helms.append(
            _helm(stage, part.mode, float(np.mean(known)) if known.size else 90.0, hours, at)
        )
    return helms


def _cuts(stage: Stage, part: Stretch) -> list[int]:
    """Where a stretch is cut into orders: by its swing, and where land lies before its end."""
    even: list[int] = np.linspace(0, len(part.row_deg) - 1, _pieces(part) + 1).astype(int).tolist()
    if stage.offing is None:
        return even
    seen = stage.offing.in_sight(part.lat, part.lon)
    return seen if len(seen) >= len(even) else even


def _pieces(part: Stretch) -> int:
    """Into how many orders a stretch is cut, by how far its angle swings."""
    known = part.row_deg[np.isfinite(part.row_deg)]
    if known.size < 2:
        return 1
    swing = float(np.ptp(np.percentile(known, (10, 90))))
    return int(np.clip(np.ceil(swing / SWING_DEG), 1, min(MOST_PIECES, known.size)))


def _helm(
    stage: Stage, number: int, row_deg: float, hours: float, at: tuple[float, float, float]
) -> Helm:
    steer = _steering(stage, number, row_deg)
    control = row_deg
    if steer == "heading":
        lat, lon, time = at
        mode = stage.waters.modes[number]
        control = float(
            board_records.instant(
                stage.waters, mode, "angle", row_deg, time, lat, lon
            ).going.heading_deg[0]
        )
    return Helm(mode=number, steer=steer, control_deg=control, hours=hours)


def _steering(stage: Stage, number: int, row_deg: float) -> Steer:
    mode = stage.waters.modes[number]
    if mode.engine:
        return "heading"
    best = stage.outlook.best_rows[mode.sail_set]
    close = best.size and np.min(np.abs(best - row_deg)) < STEADY_ANGLE_DEG
    return "angle" if mode.poled or close else "heading"


def _pauses_h(stage: Stage, helms: Sequence[Helm]) -> tuple[float, ...]:
    """What the manoeuvres before each board will cost, as far as it can be told beforehand."""
    boat, modes = stage.waters.boat, stage.waters.modes
    pauses = []
    before, twa_before = stage.before.mode, stage.before.twa_deg
    for helm in helms:
        mode, twa = modes[helm.mode], _twa_deg(stage, helm)
        tacking = twa_before + twa < 180.0
        kinds = () if before is None else manoeuvres.steps(before, mode, tacking=tacking)
        pauses.append(sum(manoeuvres.step_cost_s(boat, kind) for kind in kinds) / 3600.0)
        before, twa_before = mode, twa
    return tuple(pauses)


def _twa_deg(stage: Stage, helm: Helm) -> float:
    """Angle off the wind of an order to the helm; of a heading, in the wind at the start."""
    if helm.steer == "angle":
        return helm.control_deg
    airs = stage.waters.airs(stage.start_h, stage.course.lat1, stage.course.lon1)
    return abs(float(geodesy.wrap_180(helm.control_deg - float(airs.twd_deg))))


def _pauses_sailed_h(stage: Stage, helms: Sequence[Helm]) -> tuple[float, ...]:
    """What the manoeuvres before each board do cost, by the angles where they are done."""
    origin, mark = (Mark(name="", lat=lat, lon=lon) for lat, lon in stage.ends)
    leg, _ = board_records.leg_record(stage.waters, stage.course, origin, mark, helms, stage.before)
    starts = [time_of(board.start) for board in leg.boards]
    ends = [stage.before.time, *(time_of(board.end) for board in leg.boards)]
    gaps = [(start - end).total_seconds() for start, end in zip(starts, ends[:-1], strict=True)]
    return tuple(round(gap, 3) / 3600.0 for gap in gaps)


def _joined(helms: Sequence[Helm]) -> tuple[Helm, ...]:
    """Join neighbours that have become one board."""
    joined: list[Helm] = []
    for helm in helms:
        if joined and joined[-1].mode == helm.mode and joined[-1].steer == helm.steer:
            last = joined.pop()
            total = last.hours + helm.hours
            control = (last.control_deg * last.hours + helm.control_deg * helm.hours) / total
            joined.append(replace(last, control_deg=control, hours=total))
        else:
            joined.append(helm)
    return tuple(joined)


def _tidied(stage: Stage, helms: Sequence[Helm], one: Boards | None) -> Boards | None:
    """Polish a sequence with several angles for each stretch, where that pays against one."""
    one = one or _brought_to_the_mark(stage, _joined(helms))
    several = None
    if len(_joined(helms)) != len(helms):
        several = _try(stage, helms)
    if one is None or several is None:
        return one or several or _any_straight(stage)
    return several if several.elapsed_h < one.elapsed_h * (1.0 - _split_gain(stage)) else one


def _brought_to_the_mark(stage: Stage, helms: tuple[Helm, ...]) -> Boards | None:
    """Drop the shortest board of a sequence as long as it can't be brought to the mark."""
    best = _sailed_about_the_engine(stage, helms)
    while True:
        if best is not None or len(helms) == 1:
            return best
        shortest = min(range(len(helms)), key=lambda i: helms[i].hours)
        helms = _without(helms, shortest, bent=stage.offing is not None)
        best = _try(stage, helms)


def _sailed_about_the_engine(stage: Stage, helms: tuple[Helm, ...]) -> Boards | None:
    """Polish a sequence with a short board under sail at an end that is under engine.

    The search looks at the engine's use but once a step: a lull may begin later and end
    sooner than it thought.
    """
    modes = stage.waters.modes
    short = max(stage.shortest_h, 0.05 * sum(helm.hours for helm in helms))
    motored = [at for at, helm in enumerate(helms) if modes[helm.mode].engine]
    if not motored:
        return None
    first = motored[0] if sum(h.hours for h in helms[: motored[0]]) < short else 0
    last = motored[-1] if sum(h.hours for h in helms[motored[-1] + 1 :]) < short else len(helms)
    helms = helms[first : last + 1]
    trials = []
    for number, mode in enumerate(modes):
        board = Helm(
            mode=number, steer="heading", control_deg=stage.course.bearing_deg, hours=short
        )
        if not mode.engine and modes[helms[-1].mode].engine:
            trials.append((*helms, board))
        if not mode.engine and modes[helms[0].mode].engine:
            trials.append((board, *helms))
    made = [found for found in (_try(stage, trial) for trial in trials) if found is not None]
    return min(made, key=lambda boards: boards.elapsed_h, default=None)


def _split_gain(stage: Stage) -> float:
    return SPLIT_GAIN if stage.shortest_h > 0.0 else SPLIT_GAIN_FREE


def _any_straight(stage: Stage) -> Boards | None:
    """Try every mode alone, steering for the mark: the last resort of a tiny leg."""
    hours = stage.course.distance_nm * stage.outlook.hours_per_nm(stage.course.bearing_deg)
    trials = [
        _try(
            stage,
            (Helm(mode=i, steer="heading", control_deg=stage.course.bearing_deg, hours=hours),),
        )
        for i in range(len(stage.waters.modes))
    ]
    made = [trial for trial in trials if trial is not None]
    return min(made, key=lambda boards: boards.elapsed_h, default=None)


def _try(
    stage: Stage, helms: Sequence[Helm], beat_h: float = np.inf, effort: int = USUAL_ROUNDS
) -> Boards | None:
    pauses = _pauses_h(stage, helms)
    made = polish(
        stage.waters, helms, stage.start, pauses, offing=stage.offing, effort=effort,
        shortest_h=stage.shortest_h, exact=stage.exact, beat_h=beat_h,
    )  # fmt: skip
    return None if made is None else Boards(made, pauses)


def _without(helms: Sequence[Helm], index: int, *, bent: bool = False) -> tuple[Helm, ...]:
    """Leave a board out and give its time to the others.

    Among hazards boards of one tack and sail set may be bent on purpose: there only what
    the board parted is joined.
    """
    left = [h for i, h in enumerate(helms) if i != index]
    share = 1.0 + helms[index].hours / max(sum(h.hours for h in left), 1e-9)
    left = [replace(h, hours=h.hours * share) for h in left]
    if not bent:
        return _joined(left)
    beside = slice(max(index - 1, 0), index + 1)
    parted = [h for h in left[beside] if h.mode != helms[index].mode]
    middle = _joined(left[beside]) if len(parted) == 2 else left[beside]
    return (*left[: beside.start], *middle, *left[beside.stop :])


def _dropped(stage: Stage, best: Boards) -> Boards:
    """Leave out boards, the shortest first, as long as that costs next to nothing."""
    improved = True
    while improved and len(best.helms) > 1:
        improved = False
        order = sorted(range(len(best.helms)), key=lambda i: best.helms[i].hours)
        for index in order[:6]:
            fewer = _without(best.helms, index, bent=stage.offing is not None)
            trial = _try(stage, fewer, best.elapsed_h)
            if trial is not None and trial.elapsed_h < best.elapsed_h + _allowance_h(stage, best):
                best, improved = trial, True
                break
    return best


def _reordered(stage: Stage, best: Boards, ahead: manoeuvres.Mode | None) -> Boards:
    """Sail the same boards in another order where that is faster.

    Orders often differ by less than the search can tell: by the convergence of
    the meridians, or by a slow shift of the wind.
    """
    for _ in range(len(best.helms) - 1):
        trials = [_try(stage, helms, best.elapsed_h) for helms in _orders(best.helms)]
        made = [trial for trial in trials if trial is not None]
        fastest = min(made, key=lambda boards: _until_ahead_h(stage, boards, ahead), default=best)
        if (
            _until_ahead_h(stage, fastest, ahead)
            > _until_ahead_h(stage, best, ahead) - LEAST_GAIN_H
        ):
            break
        best = fastest
    return best


def _orders(helms: tuple[Helm, ...]) -> list[tuple[Helm, ...]]:
    """List the orders with two neighbours exchanged; the whole the other way round."""
    if len(helms) > MOST_REORDERED:
        return []
    orders = [
        (*helms[:i], helms[i + 1], helms[i], *helms[i + 2 :])
        for i in range(len(helms) - 1)
        if helms[i].mode != helms[i + 1].mode
    ]
    if len(helms) > 2:
        orders.append(helms[::-1])
    return orders


def _begun_as_wished(stage: Stage, best: Boards, ahead: manoeuvres.Mode | None) -> Boards:
    """Let the board come first that was asked for, where the leg has such a one."""
    if _begins_as_wished(stage, best.helms):
        return best
    orders = [
        (best.helms[i], *best.helms[:i], *best.helms[i + 1 :]) for i in range(1, len(best.helms))
    ]
    # In a wind that turns against the wish, a short board of it may be all it takes.
    orders += [
        (replace(helm, hours=max(stage.shortest_h, 0.05 * best.elapsed_h)), *best.helms)
        for helm in best.helms[1:]
    ]
    trials = [_try(stage, _joined(helms)) for helms in orders if _begins_as_wished(stage, helms)]
    made = [trial for trial in trials if trial is not None]
    return min(made, key=lambda boards: _until_ahead_h(stage, boards, ahead), default=best)


def _begins_as_wished(stage: Stage, helms: Sequence[Helm]) -> bool:
    tacks = [stage.waters.modes[helm.mode].tack for helm in helms]
    if stage.first == "longer":
        return helms[0].hours >= max(helm.hours for helm in helms)
    return stage.first not in tacks or tacks[0] == stage.first


def _until_ahead_h(stage: Stage, boards: Boards, ahead: manoeuvres.Mode | None) -> float:
    """Boards of a leg, and what then brings her onto the first board of the next."""
    if ahead is None:
        return boards.elapsed_h
    last = boards.helms[-1]
    kinds = manoeuvres.steps(
        stage.waters.modes[last.mode], ahead, tacking=_twa_deg(stage, last) < 90.0
    )
    cost = sum(manoeuvres.step_cost_s(stage.waters.boat, kind) for kind in kinds)
    return boards.elapsed_h + cost / 3600.0


def _allowance_h(stage: Stage, best: Boards) -> float:
    share = 5e-4 if stage.shortest_h > 0.0 else 1e-6
    return min(FEWER_BOARDS_H, share * best.elapsed_h)


def _split(stage: Stage, best: Boards) -> Boards:
    """Give long boards a second angle where that pays."""
    gain = _split_gain(stage)
    for _ in range(SPLIT_ROUNDS):
        halves = [part for helm in best.helms for part in _halves(stage, helm)]
        if len(halves) == len(best.helms) or len(halves) > MOST_BOARDS:
            break
        trial = _try(stage, halves, effort=_effort(stage))
        if trial is None or trial.elapsed_h > best.elapsed_h * (1.0 - gain):
            break
        best = trial
    return best


def _effort(stage: Stage) -> int:
    """Boards of any shortness are asked for by whoever wants the last second."""
    return ROUNDS if stage.shortest_h > 0.0 else MANY_ROUNDS + 20


def _finished(stage: Stage, best: Boards) -> Boards | None:
    """Optimise the sequence that was settled on once more, exactly and with patience."""
    pauses = best.pauses_h
    helms = best.helms
    for _ in range(ROUNDS_OF_PAUSES):
        made = polish(
            stage.waters, helms, stage.start, pauses, offing=stage.offing,
            shortest_h=stage.shortest_h, effort=MANY_ROUNDS,
        )  # fmt: skip
        if made is None:
            return best if stage.exact else None
        helms, supposed, pauses = made, pauses, _pauses_sailed_h(stage, made)
        if np.allclose(pauses, supposed, rtol=0.0, atol=1e-6):
            break
    return Boards(helms, pauses)


def _halves(stage: Stage, helm: Helm) -> list[Helm]:
    if helm.hours < 2.0 * max(stage.shortest_h, 1e-3):
        return [helm]
    return [replace(helm, hours=helm.hours / 2.0)] * 2


# ---- what the leg is compared with -----------------------------------------------------------


def _compared(stage: Stage, leg: Leg) -> tuple[Leg, float]:
    """Add the straight course, the bound and the reasons; return the relaxed time too."""
    across = _across(stage.waters, stage.course)
    straight = None
    if across is None:
        straight = outlook.straight_h(stage.waters, stage.course, stage.start_h, leg.elapsed_h)
    least, relaxed = None, leg.elapsed_h
    if stage.waters.weather.varies_in_place:
        relaxed = _relaxed_h(stage, leg)
    elif not any(board.engine for board in leg.boards):
        least = least_time.least_time_h(stage.waters, stage.course, stage.start_h, leg.elapsed_h)
    compared = replace(
        leg,
        straight_h=straight,
        saved_min=None if straight is None else (straight - leg.elapsed_h) * 60.0,
        bound_h=None if least is None else min(least, leg.elapsed_h),
        reasons=_reasons(stage, leg, straight, across),
    )
    return compared, relaxed


def _relaxed_h(stage: Stage, leg: Leg) -> float:
    """Search once more with manoeuvres free: an estimate of the best possible."""
    ways = _search(
        stage.waters, stage.course, stage.outlook, (Root(-1, stage.start_h, NEVER_H),),
        Search(free=True),
    )  # fmt: skip
    found = min((way.arrival_h for way in ways), default=np.inf) - stage.start_h
    return float(min(found, leg.elapsed_h))


def _reasons(
    stage: Stage, leg: Leg, straight: float | None, across: Area | None
) -> tuple[str, ...]:
    first, last = leg.boards[0].points[0], leg.boards[-1].points[-1]
    bearing = stage.course.bearing_deg
    begin = stage.waters.airs(stage.start_h, first.lat, first.lon)
    end = stage.waters.airs(hours_from_datetime(last.time), last.lat, last.lon)
    off = abs(float(geodesy.wrap_180(bearing - float(begin.twd_deg))))
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
    return min(at - start_h, made.elapsed_h)


def _beyond_notice(legs: Sequence[Leg]) -> list[str]:
    if not any(board.beyond_forecast for leg in legs for board in leg.boards):
        return []
    return ["The forecast ends on the way: boards marked so hold its last values on."]
