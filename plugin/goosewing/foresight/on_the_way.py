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
from goosewing.records import CAUTIONS, FromMark, Hour, WindAndStream
from goosewing.totals import time_of
from goosewing.weather import wind
from goosewing.weather.base import datetime_from_hours, hours_from_datetime
from goosewing.words.figures import clock, hours_and_minutes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.records import Board, Departure, Fix, Leg, Order, Plan
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

SHORT_H = 4.0
"""So short a passage is told every half hour: a stream turns within it."""

NO_LAND = (
    "Land and shoals were not looked at: the boards may cross them. Name hazards or the coast to "
    "keep clear of."
)


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
        With weather and bearings at the start of every board, the passage by hours, notices
        of what asks for care, and cautions that say what was looked at.
    """
    legs = _with_bearings(_with_weather(plan.legs, weather))
    said = [*warnings(judged(plan, weather))]
    if (looked_at is None or not land) and NO_LAND not in plan.notices:
        said.append(NO_LAND)
    seen = replace(
        plan, legs=legs, notices=(*plan.notices, *said), cautions=cautions_for(looked_at)
    )
    return replace(seen, hours=by_hours(seen, weather))


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


def wind_and_stream(
    weather: Weather, time_h: Array, lat: Array, lon: Array
) -> list[WindAndStream | None]:
    """Look up wind and stream over the ground, one record a place; None where unknown.

    Parameters
    ----------
    weather : Weather
    time_h, lat, lon : ndarray, shape (n,)
    """
    here = weather.at(time_h, lat, lon)
    columns = [np.broadcast_to(np.asarray(each, dtype=np.float64), time_h.shape) for each in here]
    east, north, gust, set_east, set_north = columns
    from_deg, kn = wind.direction_from(east, north), np.hypot(east, north)
    set_deg, drift = wind.direction_to(set_east, set_north), np.hypot(set_east, set_north)
    return [
        None
        if not np.isfinite(kn[i])
        else WindAndStream(
            wind_from_deg=float(from_deg[i]) % 360.0,
            wind_kn=float(kn[i]),
            gust_kn=float(gust[i]) if np.isfinite(gust[i]) else None,
            set_deg=float(set_deg[i]) % 360.0 if drift[i] > 0.0 else None,
            drift_kn=float(drift[i]) if np.isfinite(drift[i]) else 0.0,
        )
        for i in range(len(time_h))
    ]


def _with_weather(legs: Sequence[Leg], weather: Weather) -> tuple[Leg, ...]:
    starts = [board.start for leg in legs for board in leg.boards]
    time_h = np.array([hours_from_datetime(time_of(fix)) for fix in starts])
    found = iter(
        wind_and_stream(
            weather, time_h, np.array([f.lat for f in starts]), np.array([f.lon for f in starts])
        )
    )
    return tuple(
        replace(leg, boards=tuple(replace(board, weather=next(found)) for board in leg.boards))
        for leg in legs
    )


def _with_bearings(legs: Sequence[Leg]) -> tuple[Leg, ...]:
    """Say where every board begins, and every order along it, as seen from the leg's mark."""
    return tuple(
        replace(leg, boards=tuple(_from_mark(leg, board) for board in leg.boards)) for leg in legs
    )


def _from_mark(leg: Leg, board: Board) -> Board:
    orders = tuple(replace(order, from_mark=_seen(leg, order)) for order in board.orders)
    return replace(board, from_mark=_seen(leg, board.start), orders=orders)


def _seen(leg: Leg, place: Fix | Order) -> FromMark:
    mark = leg.boards[-1].end
    line = geodesy.loxodrome_inverse(mark.lat, mark.lon, place.lat, place.lon)
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
    number: Array
    """Which board, counted over all legs."""


def by_hours(plan: Plan, weather: Weather) -> tuple[Hour, ...]:
    """Tell the passage hour by hour, at full hours of UTC, its beginning and end included.

    Passages of up to `SHORT_H` are told every half hour, of more than `MOST_HOURS` watch by watch.
    """
    track = _track(plan)
    times = np.array([hours_from_datetime(time) for time in _full_hours(plan)])
    # A board's own last point stands before the next one's first, at the same time or earlier.
    at = np.clip(np.searchsorted(track.time_h, times, side="right") - 1, 0, len(track.time_h) - 1)
    lat, lon = (np.interp(times, track.time_h, each) for each in (track.lat, track.lon))
    gone = np.interp(times, track.time_h, track.gone_nm)
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
        )
        for i, here in enumerate(met)
        if here is not None
    )


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
    rows = [
        (
            hours_from_datetime(point.time),
            point.lat,
            point.lon,
            point.heading_deg,
            point.course_over_ground_deg,
            number,
        )
        for number, board in enumerate(boards)
        for point in board.points
    ]
    time_h, lat, lon, heading, course, number = np.array(rows).T
    pieces = geodesy.loxodrome_inverse(lat[:-1], lon[:-1], lat[1:], lon[1:]).distance_nm
    gone = np.concatenate(([0.0], np.cumsum(pieces)))
    return _Track(
        time_h, lat, np.unwrap(lon, period=360.0), heading, course, gone, number.astype(int)
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
