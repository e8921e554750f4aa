"""Polished boards written down as records, point by point; laylines drawn back from the mark."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat.model import Sailing
from goosewing.changing.motion import Airs, Going, Waters, advance
from goosewing.changing.polish import steps_for
from goosewing.earth import geodesy
from goosewing.records import Board, BoardPoint, Fix, Layline, Leg, Mark
from goosewing.totals import Clock, hours_of, manoeuvres_due, time_of
from goosewing.weather import wind
from goosewing.weather.base import datetime_from_hours, hours_from_datetime

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.boat.manoeuvres import Mode
    from goosewing.changing.polish import Helm
    from goosewing.earth.course import Course
    from goosewing.records import Steer, Tack
    from goosewing.units import Array

LAYLINE_STEP_H = 0.25
LONGEST_LAYLINE_H = 48.0


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
    helms: Sequence[Helm],
    reckoning: Clock,
) -> tuple[Leg, Clock]:
    """Integrate the boards of a leg once more and write them down.

    Returns
    -------
    Leg
        Without bounds and without a straight course to compare.
    Clock
        Where the reckoning stands at the mark.
    """
    lat, lon = course.lat1, course.lon1
    boards: list[Board] = []
    for helm in helms:
        mode = waters.modes[helm.mode]
        place = Fix(lat=lat, lon=lon)
        now = hours_from_datetime(reckoning.time)
        first = instant(waters, mode, helm.steer, helm.control_deg, now, lat, lon)
        due = manoeuvres_due(
            waters.boat, reckoning, mode, float(first.going.sailing.twa_deg[0]), place
        )
        ready = reckoning.time + timedelta(seconds=sum(m.cost_s for m in due))
        board = _board(waters, mode, helm, hours_from_datetime(ready), lat, lon)
        boards.append(replace(board, manoeuvres=tuple(due)))
        lat, lon = board.end.lat, board.end.lon
        reckoning = Clock(time_of(board.end), mode, board.points[-1].twa_deg)
    leg = Leg(
        origin=origin.name,
        destination=mark.name,
        elapsed_h=hours_of(boards),
        straight_h=None,
        saved_min=None,
        bound_h=None,
        boards=tuple(boards),
        laylines=_sailed_layline(waters, course, mark, helms, boards),
    )
    return leg, reckoning


def _board(waters: Waters, mode: Mode, helm: Helm, start_h: float, lat: float, lon: float) -> Board:
    times, lats, lons = _trace(waters, mode, helm, start_h, lat, lon)
    airs, going = _known(waters, mode, helm, times, lats, lons)
    gone = geodesy.loxodrome_inverse(lats[:-1], lons[:-1], lats[1:], lons[1:]).distance_nm
    distance = float(np.sum(gone))
    log = float(np.trapezoid(going.sailing.boat_speed_kn, times))
    sailing = going.sailing
    apparent = wind.apparent_wind(
        sailing.twa_deg[0], float(airs.tws_kn[0]), sailing.boat_speed_kn[0], sailing.leeway_deg[0]
    )
    course = wind.direction_to(going.east_kn, going.north_kn)
    points = tuple(
        BoardPoint(
            lat=float(lats[i]),
            lon=float(geodesy.wrap_longitude(lons[i])),
            time=datetime_from_hours(times[i]),
            heading_deg=float(going.heading_deg[i]),
            course_over_ground_deg=float(course[i]),
            twa_deg=float(sailing.twa_deg[i]),
            tws_kn=float(airs.tws_kn[i]),
        )
        for i in range(len(times))
    )
    heel = float(sailing.heel_deg[0])
    return Board(
        tack=mode.tack if not mode.engine else _windward(points[0], float(airs.twd_deg[0])),
        sail_set=mode.name,
        steer=helm.steer,
        start=_fix(points[0]),
        end=_fix(points[-1]),
        heading_deg=points[0].heading_deg,
        course_over_ground_deg=points[0].course_over_ground_deg,
        twa_deg=points[0].twa_deg,
        tws_kn=float(airs.tws_kn[0]),
        awa_deg=float(apparent.awa_deg),
        aws_kn=float(apparent.aws_kn),
        boat_speed_kn=log / helm.hours,
        speed_over_ground_kn=distance / helm.hours,
        leeway_deg=float(sailing.leeway_deg[0]),
        heel_deg=None if np.isnan(heel) else heel,
        distance_nm=distance,
        log_nm=log,
        elapsed_h=helm.hours,
        points=points,
        twd_deg=float(airs.twd_deg[0]) % 360.0,
        poled=mode.poled,
        engine=mode.engine,
        beyond_forecast=_beyond(waters, times),
    )


def _windward(point: BoardPoint, twd_deg: float) -> Tack:
    """Return the side from which the wind comes."""
    return "port" if float(geodesy.wrap_180(point.heading_deg - twd_deg)) >= 0.0 else "starboard"


def _known(
    waters: Waters, mode: Mode, helm: Helm, times: Array, lats: Array, lons: Array
) -> tuple[Airs, Going]:
    """How she goes at every point; at one just past a table's or a forecast's end as at its next.

    A board is sailed by the middles of its steps; its very ends may lie a hair beyond.
    """
    airs = waters.airs(times, lats, lons)
    going = waters.steered(mode, helm.steer, helm.control_deg, airs)
    known = np.flatnonzero(np.isfinite(going.sailing.boat_speed_kn + going.east_kn))
    if len(known) == len(times) or not len(known):
        return airs, going
    nearest = known[np.abs(np.arange(len(times))[:, np.newaxis] - known).argmin(axis=1)]
    sailing = Sailing(*(values[nearest] for values in going.sailing))
    filled = Going(
        going.east_kn[nearest],
        going.north_kn[nearest],
        going.possible[nearest],
        sailing,
        going.heading_deg[nearest],
    )
    return Airs(*(values[nearest] for values in airs)), filled


def _fix(point: BoardPoint) -> Fix:
    return Fix(lat=point.lat, lon=point.lon, time=point.time)


def _beyond(waters: Waters, times: Array) -> bool:
    held = getattr(waters.weather, "held", None)
    return bool(held is not None and np.any(held(times)))


def _trace(
    waters: Waters, mode: Mode, helm: Helm, start_h: float, lat: float, lon: float
) -> tuple[Array, Array, Array]:
    """Integrate one board in the same steps as the polish did; points at every step."""
    steps = steps_for(helm.hours)
    step = np.array([helm.hours / steps])
    times, lats, lons = [np.array([start_h])], [np.array([lat])], [np.array([lon])]
    for _ in range(steps):
        moved = advance(
            waters, mode, helm.steer, helm.control_deg, times[-1], lats[-1], lons[-1], step
        )
        lats.append(moved[0])
        lons.append(moved[1])
        times.append(times[-1] + step)
    return np.concatenate(times), np.concatenate(lats), np.concatenate(lons)


def _sailed_layline(
    waters: Waters, course: Course, mark: Mark, helms: Sequence[Helm], boards: Sequence[Board]
) -> tuple[Layline, ...]:
    last = helms[-1]
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
    """
    time, lat, lon = np.array([arrival_h]), np.array([mark.lat]), np.array([mark.lon])
    at_mark = instant(waters, mode, steer, control_deg, arrival_h, mark.lat, mark.lon).going
    points = [Fix(lat=mark.lat, lon=mark.lon, time=datetime_from_hours(arrival_h))]
    left = length_nm
    while left > 0.0 and arrival_h - float(time[0]) < LONGEST_LAYLINE_H:
        step = np.array([-LAYLINE_STEP_H])
        back = advance(waters, mode, steer, control_deg, time, lat, lon, step)
        if not back[2][0] or not np.isfinite(back[0][0]):
            break
        gone = float(geodesy.loxodrome_inverse(lat, lon, *back[:2]).distance_nm[0])
        if gone > left:
            step = step * left / gone
            back = advance(waters, mode, steer, control_deg, time, lat, lon, step)
        lat, lon, time, left = back[0], back[1], time + step, left - gone
        fix = Fix(lat=float(lat[0]), lon=float(geodesy.wrap_longitude(lon[0])),
                  time=datetime_from_hours(float(time[0])))  # fmt: skip
        points.append(fix)
    course = float(wind.direction_to(at_mark.east_kn[0], at_mark.north_kn[0]))
    return Layline(
        mark=mark.name,
        tack=mode.tack,
        sail_set=mode.name,
        course_over_ground_deg=course,
        points=tuple(reversed(points)),
    )
