"""What a plan meets on its way: wind and stream at every board and hour, and what asks for care.

Everything is read from the plan's own points and from the weather it was made for; nothing
is planned anew. Beaufort's forces are those of the World Meteorological Organization's
table (Manual on Codes, WMO-No. 306, section E): force 6 begins at 22 kn, 7 at 28, 8 at 34.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.departures.compare import judged
from goosewing.earth import geodesy
from goosewing.earth.angles import wrap_180
from goosewing.foresight import later, passing
from goosewing.foresight.later import SHORT_H
from goosewing.foresight.met import wind_and_stream
from goosewing.foresight.stretches import (
    cuts,
    held_points,
    log_run_nm,
    seen_from_mark,
    water_track_deg,
    with_stretches,
)
from goosewing.records import CAUTIONS, Hour
from goosewing.weather.base import datetime_from_hours, hours_from_datetime
from goosewing.words.figures import clock, hours_and_minutes
from goosewing.words.points import steering

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from goosewing.records import (
        Board,
        BoardPoint,
        Departure,
        Fix,
        FromMark,
        Leg,
        Mark,
        Order,
        Plan,
        PoleWork,
        Stretch,
        WindAndStream,
    )
    from goosewing.units import Array
    from goosewing.weather.base import Weather

STRONG_WIND_KN, STRONG_GUST_KN = 22.0, 28.0
"""Force 6 in the wind, force 7 in its gusts. Common practice for small yachts, no source."""

FORCES_KN = (1, 4, 7, 11, 17, 22, 28, 34, 41, 48, 56, 64)
"""Where Beaufort's forces 1 to 12 begin. [kn]"""

LEAST_H = 1.0 / 12.0
"""Less than five minutes of something is not worth a word."""

MOST_HOURS = 400
"""A longer passage is told in longer steps."""

WATCH_H = 4.0

REEFS = (
    "Of reefs the plan knows only what a sail set of the boat file is for: reef as she asks, and "
    "times and angles are then others."
)

NO_LAND = "Land and shoals were not looked at: the boards may cross them."


def look_ahead(
    plan: Plan, weather: Weather, *, looked_at: str | None = None, land: bool = True
) -> Plan:
    """Add to a plan what it meets on its way.

    Parameters
    ----------
    plan : Plan
    weather : Weather
        That for which it was made.
    looked_at : str, optional
        What it was kept clear of, in words; None if nothing.
    land : bool
        Whether land or areas are among it, or single dangers alone.

    Returns
    -------
    Plan
        With weather and bearings at the start of every board and order, what is met from stop
        to stop, the passage by hours, what wind and stream become later, how dangers are
        passed, notices of what asks for care, and cautions that say what was looked at.
    """
    legs = _with_bearings(_with_weather(with_stretches(plan).legs, weather))
    legs = _with_speeds(legs, weather)
    legs = tuple(_with_near(leg, plan.dangers) for leg in legs)
    said = [*warnings(judged(plan, weather))]
    if (looked_at is None or not land) and NO_LAND not in plan.notices:
        said.append(NO_LAND)
    seen = replace(
        plan, legs=legs, notices=(*plan.notices, *said), cautions=cautions_for(looked_at)
    )
    return replace(
        seen,
        hours=by_hours(seen, weather),
        passed=passing.passed(seen),
        later=later.later(seen, weather),
        afterwards=later.afterwards(seen, weather),
        tides=later.tides(seen, weather),
    )


def cautions_for(looked_at: str | None) -> tuple[str, ...]:
    """Return the cautions, the first saying what was looked at."""
    if looked_at is None:
        return CAUTIONS
    return (
        "Not for sole navigation. Official charts, depth, traffic, the collision regulations and "
        f"local rules come first; of these the plan has seen only {looked_at}.",
        *CAUTIONS[1:],
    )


# ---- wind and stream ---------------------------------------------------------------------------


def _with_weather(legs: Sequence[Leg], weather: Weather) -> tuple[Leg, ...]:
    starts = [place for leg in legs for board in leg.boards for place in _places(board)]
    time_h = np.array([_hours_of(place) for place in starts])
    lat, lon = np.array([(place.lat, place.lon) for place in starts]).T
    found = iter(wind_and_stream(weather, time_h, lat, lon))

    def met(board: Board) -> Board:
        here = next(found)
        orders = tuple(replace(order, weather=next(found)) for order in board.orders)
        return replace(board, weather=here, orders=orders)

    return tuple(replace(leg, boards=tuple(met(board) for board in leg.boards)) for leg in legs)


def _places(board: Board) -> list[Fix | Order]:
    return [board.start, *board.orders]


def _hours_of(place: Fix | Order) -> float:
    assert place.time is not None
    return hours_from_datetime(place.time)


def _with_speeds(legs: Sequence[Leg], weather: Weather) -> tuple[Leg, ...]:
    """Add what log and plotter show where each stretch begins and ends."""
    ends = [
        (point, board.tack)
        for leg in legs
        for board in leg.boards
        for points in held_points(board)
        for point in (points[0], points[-1])
    ]
    time_h, lat, lon = (
        np.array(each)
        for each in (
            [hours_from_datetime(point.time) for point, _ in ends],
            [point.lat for point, _ in ends],
            [point.lon for point, _ in ends],
        )
    )
    track, log_kn = np.array(
        [(water_track_deg(point, tack), point.boat_speed_kn) for point, tack in ends], np.float64
    ).T
    _, over_kn = _made_good(track, log_kn, wind_and_stream(weather, time_h, lat, lon))
    found = iter(zip(log_kn[::2], log_kn[1::2], over_kn[::2], over_kn[1::2], strict=True))

    def told(board: Board) -> Board:
        each = [next(found) for _ in held_points(board)]
        orders = tuple(
            replace(order, stretch=_with_ends(order.stretch, *ends))
            for order, ends in zip(board.orders, each, strict=False)
        )
        return replace(board, orders=orders, stretch=_with_ends(board.stretch, *each[0]))

    return tuple(replace(leg, boards=tuple(told(board) for board in leg.boards)) for leg in legs)


def _with_ends(
    stretch: Stretch | None, log_kn: float, last_log_kn: float, over_kn: float, last_over_kn: float
) -> Stretch | None:
    if stretch is None:
        return None
    return replace(
        stretch,
        first_boat_speed_kn=_known(log_kn),
        last_boat_speed_kn=_known(last_log_kn),
        first_speed_over_ground_kn=_known(over_kn),
        last_speed_over_ground_kn=_known(last_over_kn),
    )


def _with_bearings(legs: Sequence[Leg]) -> tuple[Leg, ...]:
    """Say where every board begins, and every order along it, as seen from the leg's mark."""
    return tuple(
        replace(
            leg,
            boards=tuple(
                _from_mark(leg, board, before)
                for before, board in pairwise((None, *leg.boards))
                if board is not None
            ),
        )
        for leg in legs
    )


def _from_mark(leg: Leg, board: Board, before: Board | None) -> Board:
    held = held_points(board)
    comes = [None, *(points[-1].course_over_ground_deg for points in held[:-1])]
    orders = tuple(
        replace(order, from_mark=_seen(leg, order, course))
        for order, course in zip(board.orders, comes, strict=False)
    )
    down, ready, last = board.pole_down, board.pole_ready, held[-1][-1].course_over_ground_deg
    return replace(
        board,
        from_mark=_seen(
            leg,
            board.start,
            None if before is None else before.points[-1].course_over_ground_deg,
        ),
        orders=orders,
        pole_down=None if down is None else replace(down, from_mark=_seen(leg, down, last)),
        pole_ready=None if ready is None else replace(ready, from_mark=_seen(leg, ready, last)),
    )


def _seen(leg: Leg, place: Fix | Order | PoleWork, course_deg: float | None) -> FromMark:
    """Tell where a place lies from a leg's mark, and how fast that bearing draws on a course."""
    seen = seen_from_mark(leg, place.lat, place.lon)
    if course_deg is None:
        return seen
    across = abs(np.sin(np.radians(course_deg - seen.bearing_deg)))
    run_nm = seen.distance_nm * np.radians(1.0) / max(float(across), 1e-9)
    return replace(seen, run_per_degree_nm=float(run_nm) if run_nm < seen.distance_nm else None)


def _with_near(leg: Leg, dangers: Sequence[Mark]) -> Leg:
    """Say how near the other ways to sail a leg pass to dangers."""
    if not dangers:
        return leg
    others = tuple(
        replace(each, near=passing.near(dangers, each.track)) for each in leg.alternatives
    )
    return replace(leg, alternatives=others)


# ---- hour by hour ------------------------------------------------------------------------------


class _Track(NamedTuple):
    """Every point of a plan, order by order, shape (n,) each; NaN what is not known."""

    time_h: Array
    lat: Array
    lon: Array
    gone_nm: Array
    log_nm: Array
    """What the log has run since the departure."""
    heading_deg: Array
    course_deg: Array
    water_track_deg: Array
    boat_speed_kn: Array
    awa_deg: Array
    aws_kn: Array
    number: NDArray[np.intp]
    """Which order, counted over all boards: nothing is read between two orders."""
    board: NDArray[np.intp]
    """Which board, counted over all legs."""


_DIRECTIONS = ("heading_deg", "course_deg", "water_track_deg")


def by_hours(plan: Plan, weather: Weather) -> tuple[Hour, ...]:
    """Tell the passage hour by hour, at full hours of UTC, its beginning and end included.

    Passages of up to `SHORT_H` are told every half hour, of more than `MOST_HOURS` watch by watch.
    All that stands in a row holds at its own time, and what is made good is the triangle of the
    row's own course and speed through the water and stream.
    """
    times = np.array([hours_from_datetime(time) for time in _full_hours(plan)])
    here = _at(_track(plan), times)
    met = wind_and_stream(weather, times, here.lat, here.lon)
    course, speed = _made_good(here.water_track_deg, here.boat_speed_kn, met)
    course = np.where(np.isfinite(course), course, here.course_deg)
    places = [
        (leg, board) for leg, each in enumerate(plan.legs) for board in range(len(each.boards))
    ]
    to_go = np.maximum(here.gone_nm[-1] - here.gone_nm, 0.0)
    found = []
    for i, seen in enumerate(met):
        if seen is None:
            continue
        leg, board = places[int(here.board[i])]
        lat, lon = float(here.lat[i]), float(geodesy.wrap_longitude(here.lon[i]))
        found.append(
            Hour(
                time=datetime_from_hours(times[i]), lat=lat, lon=lon, leg=leg, board=board,
                heading_deg=float(here.heading_deg[i]) % 360.0,
                course_over_ground_deg=float(course[i]) % 360.0,
                weather=seen, to_go_nm=float(to_go[i]), log_nm=float(here.log_nm[i]),
                from_mark=seen_from_mark(plan.legs[leg], lat, lon),
                awa_deg=_known(here.awa_deg[i]), aws_kn=_known(here.aws_kn[i]),
                boat_speed_kn=_known(here.boat_speed_kn[i]),
                speed_over_ground_kn=_known(speed[i]),
            )
        )  # fmt: skip
    return tuple(found)


def _at(track: _Track, times: Array) -> _Track:
    """Read a track at times [h]: between two points of one order in proportion, else held."""
    # An order's own last point stands before the next one's first, at the same time or earlier.
    at = np.clip(np.searchsorted(track.time_h, times, side="right") - 1, 0, len(track.time_h) - 1)
    then = np.minimum(at + 1, len(track.time_h) - 1)
    then = np.where(track.number[then] == track.number[at], then, at)
    lasts = track.time_h[then] - track.time_h[at]
    share = np.where(
        lasts > 0.0, (times - track.time_h[at]) / np.where(lasts > 0.0, lasts, 1.0), 0.0
    )

    def between(name: str, each: Array) -> Array:
        by = each[then] - each[at]
        return np.asarray(each[at] + share * (wrap_180(by) if name in _DIRECTIONS else by))

    read = {name: between(name, getattr(track, name)) for name in track._fields[:-2]}
    return _Track(**read, number=track.number[at], board=track.board[at])


def _made_good(
    water_track_deg: Array, boat_speed_kn: Array, met: Sequence[WindAndStream | None]
) -> tuple[Array, Array]:
    """Course [°] and speed [kn] over the ground: what she makes through the water, and stream.

    NaN where that through the water is not known.
    """
    flow = [
        (0.0, 0.0) if each is None or each.set_deg is None else (each.set_deg, each.drift_kn)
        for each in met
    ]
    setting, drift = np.array(flow).T
    track, setting = np.radians(water_track_deg), np.radians(setting)
    east = boat_speed_kn * np.sin(track) + drift * np.sin(setting)
    north = boat_speed_kn * np.cos(track) + drift * np.cos(setting)
    return np.degrees(np.arctan2(east, north)) % 360.0, np.hypot(east, north)


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _full_hours(plan: Plan) -> list[datetime]:
    step = timedelta(hours=1.0 if plan.elapsed_h <= MOST_HOURS else WATCH_H)
    if plan.elapsed_h <= SHORT_H:
        step /= 2
    first = plan.departure.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    count = int((plan.arrival - first) / step) + 1
    full = [first + number * step for number in range(count + 1)]
    return [plan.departure, *(t for t in full if plan.departure < t < plan.arrival), plan.arrival]


def _track(plan: Plan) -> _Track:
    boards = [board for leg in plan.legs for board in leg.boards]
    orders = [
        (at, board, points, _on_the_dial(board, nth, points))
        for at, board in enumerate(boards)
        for nth, points in enumerate(held_points(board))
    ]
    rows = [
        (
            hours_from_datetime(point.time),
            point.lat,
            point.lon,
            heading,
            point.course_over_ground_deg,
            water_track_deg(point, board.tack),
            point.boat_speed_kn,
            point.awa_deg,
            point.aws_kn,
        )
        for _, board, points, headings in orders
        for point, heading in zip(points, headings, strict=True)
    ]
    # What a plan was written down without becomes NaN.
    time_h, lat, lon, *sailed = np.array(rows, dtype=np.float64).T
    counts = [len(points) for _, _, points, _ in orders]
    pieces = geodesy.loxodrome_inverse(lat[:-1], lon[:-1], lat[1:], lon[1:]).distance_nm
    heading, course, water_track, speed, awa, aws = sailed
    return _Track(
        time_h=time_h,
        lat=lat,
        lon=np.unwrap(lon, period=360.0),
        gone_nm=np.concatenate(([0.0], np.cumsum(pieces))),
        log_nm=_log_nm(boards),
        heading_deg=heading,
        course_deg=course,
        water_track_deg=water_track,
        boat_speed_kn=speed,
        awa_deg=awa,
        aws_kn=aws,
        number=np.repeat(np.arange(len(orders)), counts),
        board=np.repeat([at for at, *_ in orders], counts),
    )


def _on_the_dial(board: Board, nth: int, points: Sequence[BoardPoint]) -> list[float]:
    """Return what is steered at an order's points: its own heading, where that is held to its end.

    Also where an angle is kept that hardly makes the heading swing.
    """
    held = board.orders[nth] if board.orders else board
    if steering(board, nth).keep_twa_deg is not None:
        return [point.heading_deg for point in points]
    return [held.heading_deg] * len(points)


def _log_nm(boards: Sequence[Board]) -> Array:
    """What the log has run at every point of a track, shape (n,). [nm]."""
    begins = np.cumsum([0.0, *(board.log_nm for board in boards[:-1])])
    return np.concatenate([
        start + log_run_nm(board)[first : last + 1]
        for start, board in zip(begins, boards, strict=True)
        for first, last in cuts(board)
    ])  # fmt: skip


# ---- what asks for care ------------------------------------------------------------------------


def warnings(found: Departure) -> tuple[str, ...]:
    """Say what of a passage asks for care, a line each.

    Parameters
    ----------
    found : Departure
        As `goosewing.departures.compare.judged` tells it.
    """
    lines = [
        _strong("Strong wind", found.strongest_wind_kn, STRONG_WIND_KN),
        _strong("Strong gusts", found.strongest_gust_kn, STRONG_GUST_KN),
        _reefs(found),
        _lasting("Wind against stream for {}: a short, steep sea.", found.against_h),
        _lasting("Within 10° of dead downwind for {}: rig a preventer.", found.dead_downwind_h),
        _night(found),
    ]
    return tuple(line for line in lines if line is not None)


def _strong(what: str, kn: float | None, least_kn: float) -> str | None:
    # What is printed as the limit is over it.
    if kn is None or round(kn) < least_kn:
        return None
    return f"{what}: up to {kn:.0f} kn, force {force(kn)}."


def _reefs(found: Departure) -> str | None:
    strong = (found.strongest_wind_kn, STRONG_WIND_KN), (found.strongest_gust_kn, STRONG_GUST_KN)
    return REEFS if any(_strong("", kn, least) for kn, least in strong) else None


def force(wind_kn: float) -> int:
    """Return Beaufort's force of a wind.

    Examples
    --------
    >>> force(0.4), force(16.4), force(16.6), force(22.0), force(70.0)
    (0, 4, 5, 6, 12)
    """
    return int(np.searchsorted(FORCES_KN, round(wind_kn), side="right"))


def _lasting(words: str, hours: float | None) -> str | None:
    return None if hours is None or hours < LEAST_H else words.format(hours_and_minutes(hours))


def _night(found: Departure) -> str | None:
    if found.night_h is None or found.night_h < LEAST_H or found.arrival is None:
        return None
    light = "daylight" if found.arrives_in_daylight else "the dark"
    hours = hours_and_minutes(found.night_h)
    return f"By night for {hours}; arrival at {clock(found.arrival)} in {light}."
