"""What is met from stop to stop of a plan: read from its points, for a helm who has but paper.

A board that is steered by several orders is as many stretches. Its miles by log are shared
among them as its points' speeds through the water tell, so that they add up to the board's.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from goosewing.earth import geodesy
from goosewing.earth.angles import wrap_180
from goosewing.records import FromMark, PoleDown, PoleReady, Stretch
from goosewing.units import SECONDS_PER_HOUR
from goosewing.weather.base import hours_from_datetime

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.records import Board, BoardPoint, Leg, Plan, Steer, Tack
    from goosewing.units import Array


_Handled = TypeVar("_Handled", PoleDown, PoleReady)


def with_stretches(plan: Plan) -> Plan:
    """Add to every board and every order along it what is met until the next stop.

    Parameters
    ----------
    plan : Plan
    """
    legs: list[Leg] = []
    log_nm = 0.0
    for leg in plan.legs:
        boards = []
        for board in leg.boards:
            boards.append(_with_stretches(board, log_nm))
            log_nm += board.log_nm
        legs.append(replace(leg, boards=tuple(boards)))
    return replace(plan, legs=tuple(legs))


def _with_stretches(board: Board, log_at_nm: float) -> Board:
    found: list[Stretch] = []
    run = log_run_nm(board)
    for (first, last), points in zip(cuts(board), held_points(board), strict=True):
        log_nm = float(run[last] - run[first])
        found.append(_stretch(board.tack, points, log_at_nm + float(run[first]), log_nm))
    orders = tuple(
        replace(order, stretch=each)
        for order, each in zip(board.orders, found, strict=len(board.orders) > 0)
    )
    time = np.array([hours_from_datetime(point.time) for point in board.points])

    def log_at(handled: _Handled | None) -> _Handled | None:
        if handled is None:
            return None
        gone = float(np.interp(hours_from_datetime(handled.time), time, run))
        return replace(handled, log_at_nm=log_at_nm + gone)

    return replace(
        board,
        stretch=found[0],
        orders=orders,
        pole_down=log_at(board.pole_down),
        pole_ready=log_at(board.pole_ready),
    )


def log_run_nm(board: Board) -> Array:
    """Return what the log runs from a board's start to each of its points, shape (n,). [nm].

    By the points' speeds; where these are not known, by the clock.
    """
    time = np.array([hours_from_datetime(point.time) for point in board.points])
    speed = np.array([_known(point.boat_speed_kn) for point in board.points])
    speed = speed if np.all(np.isfinite(speed)) else np.ones_like(speed)
    run = np.concatenate(([0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(time))))
    scaled: Array = run * (board.log_nm / run[-1]) if run[-1] > 0.0 else run
    return scaled


def cuts(board: Board) -> list[tuple[int, int]]:
    """Numbers of the points at which each order begins, and is over."""
    time = np.array([hours_from_datetime(point.time) for point in board.points])
    begins = [hours_from_datetime(order.time) for order in board.orders[1:]]
    ends = [0, *(int(np.argmin(np.abs(time - begin))) for begin in begins), len(time) - 1]
    return list(pairwise(ends))


def held_points(board: Board) -> list[tuple[BoardPoint, ...]]:
    """Return a board's points order by order, each order's last one as it still holds there."""
    found = []
    for nth, (first, last) in enumerate(cuts(board)):
        points = board.points[first : last + 1]
        if last < len(board.points) - 1:
            held = board.orders[nth].steer
            points = (*points[:-1], _held_to(points[-1], points[-2], held))
        found.append(points)
    return found


def _held_to(end: BoardPoint, before: BoardPoint, held: Steer) -> BoardPoint:
    """Return the end of an order as it still holds there: the board's own point tells the next."""
    swung = 0.0
    if held == "angle" and end.twd_deg is not None and before.twd_deg is not None:
        swung = float(wrap_180(end.twd_deg - before.twd_deg))
    return replace(
        before,
        lat=end.lat,
        lon=end.lon,
        time=end.time,
        heading_deg=(before.heading_deg + swung) % 360.0,
        course_over_ground_deg=(before.course_over_ground_deg + swung) % 360.0,
        twd_deg=end.twd_deg,
    )


def _stretch(tack: Tack, points: Sequence[BoardPoint], log_at_nm: float, log_nm: float) -> Stretch:
    first, last = points[0], points[-1]
    hours = (points[-1].time - first.time).total_seconds() / SECONDS_PER_HOUR
    distance = _distance_nm(points)
    return Stretch(
        log_at_nm=log_at_nm,
        log_nm=log_nm,
        distance_nm=distance,
        elapsed_h=hours,
        boat_speed_kn=log_nm / hours if hours > 0.0 else first.boat_speed_kn or 0.0,
        speed_over_ground_kn=distance / hours if hours > 0.0 else 0.0,
        course_over_ground_deg=first.course_over_ground_deg,
        last_course_over_ground_deg=last.course_over_ground_deg,
        last_heading_deg=last.heading_deg,
        leeway_deg=first.leeway_deg,
        water_track_deg=water_track_deg(first, tack),
        last_water_track_deg=water_track_deg(last, tack),
        awa_deg=first.awa_deg,
        aws_kn=first.aws_kn,
        last_awa_deg=last.awa_deg,
        last_aws_kn=last.aws_kn,
        tws_kn=first.tws_kn,
        twd_deg=first.twd_deg,
        last_twd_deg=last.twd_deg,
    )


def seen_from_mark(leg: Leg, lat: float, lon: float) -> FromMark:
    """Tell where a place lies from the mark at a leg's end."""
    mark = leg.boards[-1].end
    line = geodesy.loxodrome_inverse(mark.lat, mark.lon, lat, lon)
    return FromMark(
        mark=leg.destination,
        bearing_deg=float(line.bearing_deg) % 360.0,
        distance_nm=float(line.distance_nm),
    )


def water_track_deg(point: BoardPoint, tack: Tack) -> float | None:
    """Turn the heading to leeward by the leeway: to port with the wind from starboard."""
    if point.leeway_deg is None:
        return None
    side = 1.0 if tack == "port" else -1.0
    return (point.heading_deg + side * point.leeway_deg) % 360.0


def _distance_nm(points: Sequence[BoardPoint]) -> float:
    lat, lon = np.array([(point.lat, point.lon) for point in points]).T
    pieces = geodesy.loxodrome_inverse(lat[:-1], lon[:-1], lat[1:], lon[1:]).distance_nm
    return float(np.sum(pieces))


def _known(value: Any) -> float:
    return np.nan if value is None else float(value)
