"""Polished boards written down as records, point by point; laylines drawn back from the mark."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat.model import Sailing
from goosewing.changing.motion import Going, Waters, advance
from goosewing.changing.shooting import States
from goosewing.earth import geodesy
from goosewing.records import Board, BoardPoint, Fix, Layline, Leg, Mark, Order
from goosewing.totals import Clock, hours_of, manoeuvres_due, time_of
from goosewing.velocities.velocity_set import Airs
from goosewing.weather import wind
from goosewing.weather.base import datetime_from_hours, hours_from_datetime

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.boat.manoeuvres import Mode
    from goosewing.changing.settling import Boards
    from goosewing.changing.shooting import Helm
    from goosewing.earth.course import Course
    from goosewing.records import Steer, Tack
    from goosewing.units import Array

ROUTE_OFF_NM = 0.45
"""A route's straight lines leave the track that is sailed by no more than this. [nm]"""

LAYLINE_STEP_H, LONGEST_LAYLINE_STEP_H = 0.25, 1.0
LAYLINE_STEPS = 60
"""Where a layline is long, its steps grow so that they are about so many."""

LONGEST_LAYLINE_H = 48.0
SLOWEST_KN = 0.5


class Instant(NamedTuple):
    """How she goes at one place and time; 0-d arrays."""

    going: Going
    twd_deg: float
    tws_kn: float


def instant(
    waters: Waters,
    mode: Mode,
    steer: Steer,
    control_deg: float,
    time_h: float,
    lat: float,
    lon: float,
) -> Instant:
    """Ask how she goes at one place and time."""
    airs = waters.airs(np.array([time_h]), np.array([lat]), np.array([lon]))
    going = waters.steered(mode, steer, np.array([control_deg]), airs)
    return Instant(going, float(airs.twd_deg[0]), float(airs.tws_kn[0]))


def leg_record(
    waters: Waters,
    course: Course,
    origin: Mark,
    mark: Mark,
    boards: Boards,
    reckoning: Clock,
) -> tuple[Leg, Clock]:
    """Write down the boards of a leg, point by point as they were integrated.

    Returns
    -------
    Leg
        Without bounds and without a straight course to compare.
    Clock
        Where the reckoning stands at the mark.
    """
    steps = np.bincount(boards.polished.course.order)
    firsts = np.concatenate(([0], np.cumsum(steps)))
    pauses = np.append(boards.pauses_h[1:], 0.0)
    written: list[Board] = []
    for at in _runs(boards.helms):
        parts = [
            _part(boards.states, int(firsts[k]), int(firsts[k + 1]), float(pauses[k])) for k in at
        ]
        mode = waters.modes[boards.helms[at[0]].mode]
        board = _board(waters, mode, [boards.helms[k] for k in at], parts)
        place = Fix(lat=float(parts[0].lat[0]), lon=board.start.lon)
        due = manoeuvres_due(waters.boat, reckoning, mode, board.twa_deg, place)
        written.append(replace(board, manoeuvres=tuple(due)))
        reckoning = Clock(time_of(board.end), mode, board.points[-1].twa_deg)
    leg = Leg(
        origin=origin.name,
        destination=mark.name,
        elapsed_h=hours_of(written),
        straight_h=None,
        saved_min=None,
        bound_h=None,
        boards=tuple(written),
        laylines=_sailed_layline(waters, course, mark, boards.helms[-1], written),
    )
    return leg, reckoning


def _runs(helms: Sequence[Helm]) -> list[list[int]]:
    """Numbers of the orders of each board."""
    runs: list[list[int]] = []
    for k, helm in enumerate(helms):
        if runs and helms[runs[-1][-1]].mode == helm.mode:
            runs[-1].append(k)
        else:
            runs.append([k])
    return runs


def _part(states: States, first: int, last: int, pause_h: float) -> States:
    """Beginnings of an order's steps, and its end, before the pause that follows."""
    part = States(*(values[first : last + 1].copy() for values in states))
    part.time_h[-1] -= pause_h
    return part


class _Sailed(NamedTuple):
    """How she goes at points along orders."""

    time_h: Array
    lat: Array
    lon: Array
    airs: Airs[Array]
    going: Going


def _sailed(waters: Waters, mode: Mode, helm: Helm, part: States) -> _Sailed:
    """How she goes at the points of an order; just past a forecast's end as before it.

    Orders are sailed by the middles of their steps; their very ends may lie a hair beyond.
    """
    lats, lons, times = part
    airs = waters.airs(times, lats, lons)
    going = waters.steered(mode, helm.steer, helm.control_deg, airs)
    known = np.flatnonzero(np.isfinite(going.sailing.boat_speed_kn + going.east_kn))
    if len(known) == len(times) or not len(known):
        return _Sailed(times, lats, lons, airs, going)
    nearest = known[np.abs(np.arange(len(times))[:, np.newaxis] - known).argmin(axis=1)]
    sailing = Sailing(*(values[nearest] for values in going.sailing))
    filled = Going(
        going.east_kn[nearest],
        going.north_kn[nearest],
        going.possible[nearest],
        sailing,
        going.heading_deg[nearest],
    )
    return _Sailed(times, lats, lons, Airs(*(values[nearest] for values in airs)), filled)


def _board(waters: Waters, mode: Mode, helms: Sequence[Helm], parts: Sequence[States]) -> Board:
    sailed = [_sailed(waters, mode, helm, part) for helm, part in zip(helms, parts, strict=True)]
    log = sum(float(np.trapezoid(each.going.sailing.boat_speed_kn, each.time_h)) for each in sailed)
    # The end of an order is the beginning of the next, which says what is steered there.
    cut = [*(each for part in sailed[:-1] for each in _points(part)[:-1]), *_points(sailed[-1])]
    points = tuple(cut)
    lats, lons = np.array([(point.lat, point.lon) for point in points]).T
    distance = float(np.sum(
        geodesy.loxodrome_inverse(lats[:-1], lons[:-1], lats[1:], lons[1:]).distance_nm
    ))  # fmt: skip
    sailing, airs = sailed[0].going.sailing, sailed[0].airs
    apparent = _apparent(sailed[0])
    heel = float(sailing.heel_deg[0])
    hours = sum(helm.hours for helm in helms)
    return Board(
        tack=mode.tack if not mode.engine else _windward(points[0], float(airs.twd_deg[0])),
        sail_set=mode.name,
        steer=helms[0].steer,
        start=_fix(points[0]),
        end=_fix(points[-1]),
        heading_deg=points[0].heading_deg,
        course_over_ground_deg=points[0].course_over_ground_deg,
        twa_deg=points[0].twa_deg,
        tws_kn=float(airs.tws_kn[0]),
        awa_deg=float(apparent.awa_deg[0]),
        aws_kn=float(apparent.aws_kn[0]),
        boat_speed_kn=log / hours,
        speed_over_ground_kn=distance / hours,
        leeway_deg=float(sailing.leeway_deg[0]),
        heel_deg=None if np.isnan(heel) else heel,
        distance_nm=distance,
        log_nm=log,
        elapsed_h=hours,
        points=points,
        twd_deg=float(airs.twd_deg[0]) % 360.0,
        poled=mode.poled,
        engine=mode.engine,
        orders=tuple(
            _order(helm, _points(each)[0]) for helm, each in zip(helms, sailed, strict=True)
        ),
        via=_via(points, [each.time_h[0] for each in sailed]),
        beyond_forecast=_beyond(waters, np.concatenate([part.time_h for part in parts])),
    )


def _points(sailed: _Sailed) -> list[BoardPoint]:
    going, sailing = sailed.going, sailed.going.sailing
    course = wind.direction_to(going.east_kn, going.north_kn)
    apparent = _apparent(sailed)
    return [
        BoardPoint(
            lat=float(sailed.lat[i]),
            lon=float(geodesy.wrap_longitude(sailed.lon[i])),
            time=datetime_from_hours(sailed.time_h[i]),
            heading_deg=float(going.heading_deg[i]),
            course_over_ground_deg=float(course[i]),
            twa_deg=float(sailing.twa_deg[i]),
            tws_kn=float(sailed.airs.tws_kn[i]),
            awa_deg=float(apparent.awa_deg[i]),
            aws_kn=float(apparent.aws_kn[i]),
            boat_speed_kn=float(sailing.boat_speed_kn[i]),
            leeway_deg=float(sailing.leeway_deg[i]),
            twd_deg=float(sailed.airs.twd_deg[i]) % 360.0,
        )
        for i in range(len(sailed.time_h))
    ]


def _apparent(sailed: _Sailed) -> wind.ApparentWind:
    sailing = sailed.going.sailing
    return wind.apparent_wind(
        sailing.twa_deg, sailed.airs.tws_kn, sailing.boat_speed_kn, sailing.leeway_deg
    )


def _order(helm: Helm, point: BoardPoint) -> Order:
    return Order(
        time=point.time, lat=point.lat, lon=point.lon, steer=helm.steer,
        heading_deg=point.heading_deg, twa_deg=point.twa_deg,
    )  # fmt: skip


def _via(points: Sequence[BoardPoint], begins_h: Sequence[float]) -> tuple[Fix, ...]:
    """Pick places between orders so that straight lines by way of them keep to the track."""
    times = np.array([hours_from_datetime(point.time) for point in points])
    cuts = [int(np.argmin(np.abs(times - begin))) for begin in begins_h]
    picked: list[int] = []
    for first, last in zip(cuts, [*cuts[1:], len(points) - 1], strict=True):
        picked += _farthest(points, first, last)
    return tuple(_fix(points[at]) for at in picked)


def _farthest(points: Sequence[BoardPoint], first: int, last: int) -> list[int]:
    """Places between two where the line between leaves the track too far (Ramer, Douglas, Peucker).

    In the Mercator plane, where what a plotter steers from point to point is straight.
    """
    if last - first < 2:
        return []
    part = points[first : last + 1]
    lat, lon = np.array([(point.lat, point.lon) for point in part]).T
    offset = geodesy.mercator_offset(lat[0], lon[0], lat, lon)
    line = np.column_stack((offset.east_deg, offset.north_deg))
    line *= 60.0 * np.cos(np.radians(lat.mean()))
    end = line[-1] / max(float(np.hypot(*line[-1])), 1e-12)
    off = np.abs(line[:, 0] * end[1] - line[:, 1] * end[0])
    at = int(np.argmax(off))
    if off[at] <= ROUTE_OFF_NM:
        return []
    middle = first + at
    return [*_farthest(points, first, middle), middle, *_farthest(points, middle, last)]


def _windward(point: BoardPoint, twd_deg: float) -> Tack:
    """Return the side from which the wind comes."""
    return "port" if float(geodesy.wrap_180(point.heading_deg - twd_deg)) >= 0.0 else "starboard"


def _fix(point: BoardPoint) -> Fix:
    return Fix(lat=point.lat, lon=point.lon, time=point.time)


def _beyond(waters: Waters, times: Array) -> bool:
    held = getattr(waters.weather, "held", None)
    return bool(held is not None and np.any(held(times)))


def _sailed_layline(
    waters: Waters, course: Course, mark: Mark, last: Helm, boards: Sequence[Board]
) -> tuple[Layline, ...]:
    if len(boards) < 2 or waters.modes[last.mode].engine:
        return ()
    arrival_h = hours_from_datetime(time_of(boards[-1].end))
    line = layline_back(
        waters, mark, waters.modes[last.mode], last.steer, last.control_deg, arrival_h,
        course.distance_nm,
    )  # fmt: skip
    return (line,)


def layline_back(
    waters: Waters,
    mark: Mark,
    mode: Mode,
    steer: Steer,
    control_deg: float,
    arrival_h: float,
    length_nm: float,
    *,
    aside_deg: float = 0.0,
) -> Layline:
    """Draw a layline back from a mark, through the wind and stream as they will be.

    Parameters
    ----------
    arrival_h : float
        When the mark is expected to be reached; the line is integrated
        backwards in time from there. [h]
    length_nm : float
        How long to draw it over the ground; shorter where the weather is not known
        so far back. [nm]
    aside_deg : float
        By how much its course over the ground is turned clockwise all along: a margin. [°]
    """
    time, lat, lon = np.array([arrival_h]), np.array([mark.lat]), np.array([mark.lon])
    at_mark = instant(waters, mode, steer, control_deg, arrival_h, mark.lat, mark.lon).going
    points = [Fix(lat=mark.lat, lon=mark.lon, time=datetime_from_hours(arrival_h))]
    left = length_nm
    kn = max(float(np.hypot(at_mark.east_kn[0], at_mark.north_kn[0])), SLOWEST_KN)
    step_h = float(np.clip(length_nm / kn / LAYLINE_STEPS, LAYLINE_STEP_H, LONGEST_LAYLINE_STEP_H))
    while left > 0.0 and arrival_h - float(time[0]) < LONGEST_LAYLINE_H:
        step = np.array([-step_h])
        back = advance(waters, mode, steer, control_deg, time, lat, lon, step, aside_deg=aside_deg)
        if not back[2][0] or not np.isfinite(back[0][0]):
            break
        gone = float(geodesy.loxodrome_inverse(lat, lon, *back[:2]).distance_nm[0])
        if gone > left:
            step = step * left / gone
            back = advance(
                waters, mode, steer, control_deg, time, lat, lon, step, aside_deg=aside_deg
            )
        lat, lon, time, left = back[0], back[1], time + step, left - gone
        fix = Fix(lat=float(lat[0]), lon=float(geodesy.wrap_longitude(lon[0])),
                  time=datetime_from_hours(float(time[0])))  # fmt: skip
        points.append(fix)
    course = float(wind.direction_to(at_mark.east_kn[0], at_mark.north_kn[0]))
    course = (course + aside_deg) % 360.0
    return Layline(
        mark=mark.name,
        tack=mode.tack,
        sail_set=mode.name,
        course_over_ground_deg=course,
        points=tuple(reversed(points)),
    )
