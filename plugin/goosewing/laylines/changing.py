"""Laylines of a passage in wind and stream that change: curved, and with times.

Each line is integrated back from its mark, from the time at which a plan
expects her there. It holds for that time: who is late draws anew.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from goosewing.changing import board_records
from goosewing.changing.motion import Waters
from goosewing.earth.course import course_between
from goosewing.laylines.steady import (
    check_length,
    check_margin,
    cut_short,
    needed_velocities,
    sector_notices,
)
from goosewing.records import LaylineSheet
from goosewing.totals import time_of
from goosewing.velocities import velocity_set
from goosewing.weather.base import hours_from_datetime
from goosewing.words.figures import listed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.boat.model import Boat
    from goosewing.hazards.areas import Hazards
    from goosewing.records import Layline, Leg, Mark, Plan
    from goosewing.velocities.velocity_set import VelocitySet
    from goosewing.weather.base import Weather

EXPECTED = (
    "The lines curve with wind and stream as forecast, and hold for the time at which she is "
    "expected at each mark."
)


def sheet(
    plan: Plan,
    boat: Boat,
    weather: Weather,
    *,
    length_nm: float | None = None,
    margin_deg: float = 0.0,
    notices: Sequence[str] = (),
    hazards: Hazards | None = None,
) -> LaylineSheet:
    """Draw the laylines of every mark of a plan but the first.

    Parameters
    ----------
    plan : Plan
        Made with the same boat in the same weather; says when she is at each mark.
    boat : Boat
    weather : Weather
    length_nm : float, optional
        Length of each line; the leg's if None. Shorter where the weather is not
        known so far back. [nm]
    margin_deg : float
        Each line's course over the ground is turned so far to the safe side. [°]
    notices : sequence of str
        Carried along.
    hazards : Hazards, optional
        Where a line meets one it ends.

    Returns
    -------
    LaylineSheet
        Both tacks of the best VMG of each mark, in the wind that she is expected
        to find there, and the edges of poled sail sets' sectors. The points
        carry times.

    Raises
    ------
    InputError
        If length or margin make no sense.
    """
    check_length(length_nm)
    check_margin(margin_deg)
    waters = Waters(boat, weather)
    lines: list[Layline] = []
    bare: list[str] = []
    said: list[str] = []
    for (origin, mark), leg in zip(pairwise(plan.marks), plan.legs, strict=True):
        arrival_h = hours_from_datetime(time_of(leg.boards[-1].end))
        held = _held(waters, mark, arrival_h)
        drawn = _of_mark(waters, held, origin, mark, arrival_h, length_nm, margin_deg)
        lines += drawn
        said += sector_notices(held, drawn)
        if not drawn:
            bare.append(mark.name)
    if hazards is not None:
        lines = [cut_short(hazards, line) for line in lines]
    if bare:
        said.append(f"No layline can be drawn into {listed(bare)}.")
    return LaylineSheet(
        boat=boat.name,
        laylines=tuple(lines),
        notices=(*notices, EXPECTED, *dict.fromkeys(said), *_beyond(plan.legs)),
    )


def _held(waters: Waters, mark: Mark, arrival_h: float) -> VelocitySet:
    """What the boat can hold in the wind and stream that she will find at a mark."""
    here = waters.airs(arrival_h, mark.lat, mark.lon)
    return velocity_set.velocity_set(waters.boat, velocity_set.airs_at_one_place(here))


def _of_mark(
    waters: Waters,
    held: VelocitySet,
    origin: Mark,
    mark: Mark,
    arrival_h: float,
    length_nm: float | None,
    margin_deg: float,
) -> list[Layline]:
    if not len(held):
        return []
    course = course_between(origin.lat, origin.lon, mark.lat, mark.lon)
    length = course.distance_nm if length_nm is None else length_nm
    every = [
        board_records.layline_back(
            waters, mark, held.modes[held.mode[one.index]], "angle",
            float(held.row_deg[one.index]), arrival_h, length, aside_deg=one.safer * margin_deg,
        )
        for one in needed_velocities(held, course.bearing_deg)
    ]  # fmt: skip
    return [line for line in every if len(line.points) > 1]


def _beyond(legs: Sequence[Leg]) -> list[str]:
    late = [leg.destination for leg in legs if leg.boards[-1].beyond_forecast]
    return [f"Beyond the forecast, its last values held on: {listed(late)}."] if late else []
