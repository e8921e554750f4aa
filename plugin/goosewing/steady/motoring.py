"""A leg under engine in steady wind and stream: where it is, and the heading that makes it good.

She motors straight along the loxodrome at one speed through the water; the heading is
set off against the stream, as on the chart: the water track and the stream, laid off
from one point, must end on the course line.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from goosewing.earth import geodesy
from goosewing.errors import NoPlanError
from goosewing.steady.boards import Ways
from goosewing.weather import wind
from goosewing.words.figures import clock, listed, off_the_wind, three_figures

if TYPE_CHECKING:
    from goosewing.boat.model import Boat, Engine
    from goosewing.earth.course import Course
    from goosewing.records import Leg, Plan
    from goosewing.velocities.velocity_set import Airs, VelocitySet


def heading_to_make_good(
    speed_kn: float, bearing_deg: float, stream_east_kn: float, stream_north_kn: float
) -> tuple[float, float] | None:
    """Set a heading off against the stream.

    Parameters
    ----------
    speed_kn : float
        Through the water. [kn]
    bearing_deg : float
        Course to be made good over the ground. [°]
    stream_east_kn, stream_north_kn : float
        Components *towards* east and north. [kn]

    Returns
    -------
    heading_deg, speed_over_ground_kn : float
        None if the stream sets her off the course or back along it. [°], [kn]

    Examples
    --------
    >>> heading, speed = heading_to_make_good(5.0, 0.0, 3.0, 0.0)
    >>> round(heading, 2), round(speed, 2)
    (323.13, 4.0)
    """
    set_deg = wind.direction_to(stream_east_kn, stream_north_kn)
    drift_kn = np.hypot(stream_east_kn, stream_north_kn)
    try:
        steer = wind.course_to_steer(bearing_deg, speed_kn, set_deg, drift_kn)
    except NoPlanError:
        return None
    return float(steer.course_deg), float(steer.speed_made_good_kn)


def motored_way(held: VelocitySet, course: Course, mode: int) -> Ways | None:
    """Lay out a leg under engine as the one way to sail it; None if the stream is too strong.

    Parameters
    ----------
    mode : int
        Index of the engine among the modes of `held`.
    """
    engine, airs = held.boat.engine, held.airs
    assert engine is not None
    found = heading_to_make_good(
        engine.speed_kn, course.bearing_deg, airs.stream_east_kn, airs.stream_north_kn
    )
    if found is None:
        return None
    heading, speed = found
    row = np.full((1, 1), (heading - airs.twd_deg) % 360.0)
    one = np.zeros(1, dtype=np.intp)
    return Ways(
        mode=np.full((1, 1), mode, dtype=np.intp),
        row_deg=row,
        twa_deg=np.abs(geodesy.wrap_180(row)),
        distance_nm=np.full((1, 1), course.distance_nm),
        elapsed_h=np.full((1, 1), course.distance_nm / speed),
        lat=np.array([[course.lat1, course.lat2]]),
        lon=np.array([[course.lon1, course.lon2]]),
        turns=one,
        partner=one,
    )


def why(mark: str, course: Course, airs: Airs[float], engine: Engine, made_good_kn: float) -> str:
    """Say why a leg is motored; `made_good_kn` is NaN where nothing is made good under sail."""
    off = abs(float(geodesy.wrap_180(course.bearing_deg - airs.twd_deg)))
    lie = "" if airs.tws_kn < CALM_KN else f", {off_the_wind(off)}"
    makes = f"makes {made_good_kn:.1f} kn" if made_good_kn > 0.0 else "makes nothing"
    return (
        f"{mark} bears {three_figures(course.bearing_deg)}{lie}: under sail she {makes} good "
        f"towards it, less than {engine.least_vmc_kn:g} kn, so she motors."
    )


def told(leg: Leg, engine: Engine | None) -> tuple[str, ...]:
    """Say from when to when a leg in changing wind is motored, and why."""
    if engine is None:
        return ()
    spans = [
        f"from {clock(board.start.time)} to {clock(board.end.time)}"
        for board in leg.boards
        if board.engine and board.start.time is not None and board.end.time is not None
    ]
    if not spans:
        return ()
    return (
        f"Under engine {listed(spans)}: under sail she would make less than "
        f"{engine.least_vmc_kn:g} kn good towards {leg.destination}.",
    )


def summed_up(plan: Plan, boat: Boat) -> Plan:
    """Add up what is motored; where any is, the bound of the boards is none of the plan.

    The least time under sail is no least time for who may motor in part; and how much
    may be motored hangs on where she would be, which no programme over times tells.
    """
    hours = sum((b.elapsed_h for leg in plan.legs for b in leg.boards if b.engine), 0.0)
    litres = None if boat.engine is None else boat.engine.litres_per_hour
    summed = replace(plan, engine_h=hours, engine_litres=None if litres is None else litres * hours)
    if not hours:
        return summed
    return replace(summed, bound_h=None, notices=(*plan.notices, NO_BOUND, *_in_a_blow(plan)))


def _in_a_blow(plan: Plan) -> list[str]:
    boards = [board for leg in plan.legs for board in leg.boards if board.engine]
    strongest = max(point.tws_kn for board in boards for point in board.points)
    if strongest < BLOW_KN:
        return []
    return [
        f"Under engine in up to {strongest:.0f} kn of wind: the boat file's speed is one for "
        "quiet water."
    ]


BLOW_KN = 15.0
"""In more wind a small yacht's engine may not keep up its speed. Common practice, no source."""

NO_BOUND = "Under engine for a part: no least time is told, for that under sail is none."

CALM_KN = 0.05
"""So little wind comes from nowhere."""
