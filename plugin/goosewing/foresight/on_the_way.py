"""What a plan meets on its way: wind and stream at every board and hour, and what asks for care.

Everything is read from the plan's own points and from the weather it was made for; nothing
is planned anew. Beaufort's forces are those of the World Meteorological Organization's
table (Manual on Codes, WMO-No. 306, section E): force 6 begins at 22 kn, 7 at 28, 8 at 34.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.departures.compare import judged
from goosewing.earth import geodesy
from goosewing.foresight import later, passing
from goosewing.foresight.later import SHORT_H
from goosewing.foresight.met import wind_and_stream
from goosewing.foresight.stretches import log_run_nm, with_stretches
from goosewing.records import CAUTIONS, FromMark, Hour
from goosewing.weather.base import datetime_from_hours, hours_from_datetime
from goosewing.words.figures import clock, hours_and_minutes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from goosewing.records import Board, BoardPoint, Departure, Fix, Leg, Order, Plan
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


def _with_bearings(legs: Sequence[Leg]) -> tuple[Leg, ...]:
    """Say where every board begins, and every order along it, as seen from the leg's mark."""
    return tuple(
        replace(leg, boards=tuple(_from_mark(leg, board) for board in leg.boards)) for leg in legs
    )


def _from_mark(leg: Leg, board: Board) -> Board:
    orders = tuple(replace(order, from_mark=_seen(leg, order)) for order in board.orders)
    return replace(board, from_mark=_seen(leg, board.start), orders=orders)


def _seen(leg: Leg, place: Fix | Order) -> FromMark:
    return _seen_at(leg, place.lat, place.lon)


def _seen_at(leg: Leg, lat: float, lon: float) -> FromMark:
    mark = leg.boards[-1].end
    line = geodesy.loxodrome_inverse(mark.lat, mark.lon, lat, lon)
    return FromMark(
        mark=leg.destination,
        bearing_deg=float(line.bearing_deg) % 360.0,
        distance_nm=float(line.distance_nm),
    )


# ---- hour by hour ------------------------------------------------------------------------------


class _Track(NamedTuple):
    """Every point of a plan, shape (n,) each."""

    time_h: Array
    lat: Array
    lon: Array
    heading_deg: Array
    course_deg: Array
    gone_nm: Array
    log_nm: Array
    """What the log has run since the departure."""
    number: NDArray[np.intp]
    """Which board, counted over all legs."""
    points: tuple[BoardPoint, ...]


def by_hours(plan: Plan, weather: Weather) -> tuple[Hour, ...]:
    """Tell the passage hour by hour, at full hours of UTC, its beginning and end included.

    Passages of up to `SHORT_H` are told every half hour, of more than `MOST_HOURS` watch by watch.
    """
    track = _track(plan)
    times = np.array([hours_from_datetime(time) for time in _full_hours(plan)])
    # A board's own last point stands before the next one's first, at the same time or earlier.
    at = np.clip(np.searchsorted(track.time_h, times, side="right") - 1, 0, len(track.time_h) - 1)
    lat, lon = (np.interp(times, track.time_h, each) for each in (track.lat, track.lon))
    gone, run = (np.interp(times, track.time_h, each) for each in (track.gone_nm, track.log_nm))
    speed = _over_ground_kn(track, at)
    met = wind_and_stream(weather, times, lat, lon)
    places = [
        (leg, board) for leg, each in enumerate(plan.legs) for board in range(len(each.boards))
    ]
    return tuple(
        Hour(
            time=datetime_from_hours(times[i]),
            lat=float(lat[i]),
            lon=float(geodesy.wrap_longitude(lon[i])),
            leg=places[int(track.number[at[i]])][0],
            board=places[int(track.number[at[i]])][1],
            heading_deg=float(track.heading_deg[at[i]]),
            course_over_ground_deg=float(track.course_deg[at[i]]),
            weather=here,
            to_go_nm=max(float(track.gone_nm[-1] - gone[i]), 0.0),
            log_nm=float(run[i]),
            from_mark=_seen_at(plan.legs[places[int(track.number[at[i]])][0]], lat[i], lon[i]),
            awa_deg=track.points[at[i]].awa_deg,
            aws_kn=track.points[at[i]].aws_kn,
            boat_speed_kn=track.points[at[i]].boat_speed_kn,
            speed_over_ground_kn=float(speed[i]),
        )
        for i, here in enumerate(met)
        if here is not None
    )


def _over_ground_kn(track: _Track, at: NDArray[np.intp]) -> Array:
    """Speed over the ground from points on to the next of the same board, or from the last one."""
    ends = np.minimum(at + 1, len(track.time_h) - 1)
    ends = np.where(track.number[ends] == track.number[at], ends, at)
    begins = np.maximum(ends - 1, 0)
    hours = track.time_h[ends] - track.time_h[begins]
    speeds: Array = (track.gone_nm[ends] - track.gone_nm[begins]) / np.maximum(hours, 1e-9)
    return speeds


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
    points = tuple(point for board in boards for point in board.points)
    rows = [
        (
            hours_from_datetime(point.time),
            point.lat,
            point.lon,
            point.heading_deg,
            point.course_over_ground_deg,
        )
        for point in points
    ]
    time_h, lat, lon, heading, course = np.array(rows).T
    number = np.repeat(np.arange(len(boards)), [len(board.points) for board in boards])
    pieces = geodesy.loxodrome_inverse(lat[:-1], lon[:-1], lat[1:], lon[1:]).distance_nm
    gone = np.concatenate(([0.0], np.cumsum(pieces)))
    before = np.cumsum([0.0, *(board.log_nm for board in boards[:-1])])
    log = np.concatenate([
        start + log_run_nm(board) for start, board in zip(before, boards, strict=True)
    ])  # fmt: skip
    return _Track(
        time_h, lat, np.unwrap(lon, period=360.0), heading, course, gone, log, number, points
    )


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
