"""A departure among depths that count with the tide while she is over them.

At first she is planned as if the highest tide to come held everywhere. What she then is over with
too little water is kept clear of, and she is planned again, until there is nothing of the kind: so
a bar is crossed at its hours of enough water, and gone round, or not passed at all, at others. The
plan that comes out is over no depth with too little water. It need not be the fastest: what
was shut once stays shut for this departure, also for a longer way that would come by later, and
nobody waits under way.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import shapely

from goosewing import plan as plans
from goosewing.earth.geodesy import isometric_latitude, latitude_from_isometric
from goosewing.errors import NoPlanError
from goosewing.hazards.areas import Hazards
from goosewing.weather.base import hours_from_datetime

if TYPE_CHECKING:
    from collections.abc import Iterator

    from goosewing.case import Case
    from goosewing.hazards.areas import Area
    from goosewing.hazards.tidal import TidalDepths
    from goosewing.records import Plan
    from goosewing.units import Array, BoolArray

SPARE_H = 0.5
"""The lowest tide counts from so long before she is over a depth until so long after: common
practice, no source. [h]"""

ROUNDS = 8
"""After so many plans whatever is too shallow at any hour to come is kept clear of."""

LOOK_H = 1.0 / 60.0
MILES_PER_DEGREE = 60.0


class Run(NamedTuple):
    """Pieces of her way, each a loxodrome; arrays of shape (n,)."""

    lat1: Array
    lon1: Array
    lat2: Array
    lon2: Array
    begin_h: Array
    end_h: Array

    def some(self, which: BoolArray) -> Run:
        """Return some of the pieces."""
        return Run(*(each[which] for each in self))

    def over(self, hazards: Hazards) -> BoolArray:
        """Tell which of them cross something."""
        return hazards.crossed(self.lat1, self.lon1, self.lat2, self.lon2)


def planned_in_time(case: Case) -> Plan:
    """Plan a case whose depths count with the tide of the hour.

    Parameters
    ----------
    case : Case
        With hazards, and `depths`.

    Raises
    ------
    InputError, NoPlanError
        As `goosewing.plan.of_case`; the second also where a mark has too little water.
    """
    depths, hazards = case.depths, case.hazards
    assert depths is not None
    assert hazards is not None
    charted_m, start_h = depths.charted_m(hazards), hours_from_datetime(case.departure)
    shut = depths.shut(charted_m, depths.tide.highest_m(start_h))
    for _ in range(ROUNDS):
        made = _planned(case, depths, shut)
        shallow = too_shallow(made, hazards, depths, ~shut)
        if not shallow.any():
            return made
        shut |= shallow
    return _planned(case, depths, shut | depths.shut(charted_m, depths.tide.lowest_from(start_h)))


def _planned(case: Case, depths: TidalDepths, shut: BoolArray) -> Plan:
    hazards = case.hazards
    assert hazards is not None
    _check_marks(case, depths, shut)
    made = replace(case, hazards=depths.among(hazards, shut), depths=None, kept=None)
    return plans.of_case(made)


def _check_marks(case: Case, depths: TidalDepths, shut: BoolArray) -> None:
    """Refuse, for this departure alone, marks that have too little water at their time."""
    hazards = case.hazards
    assert hazards is not None
    shoals = depths.among(hazards, shut & np.isfinite(depths.charted_m(hazards)))
    for mark in case.marks:
        area = shoals.at(mark.lat, mark.lon)
        if area is not None:
            raise NoPlanError(f"{mark.name or 'a mark'} lies over {_shallow_words(area)}")


def _shallow_words(area: Area) -> str:
    return f"{area.called}, which has too little water at this time"


def too_shallow(made: Plan, hazards: Hazards, depths: TidalDepths, asked: BoolArray) -> BoolArray:
    """Tell which areas a plan is over, or within the clearance of, with too little water.

    Parameters
    ----------
    made : Plan
    hazards : Hazards
        With n areas.
    depths : TidalDepths
    asked : ndarray of bool, shape (n,)
        Which of them are looked at.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    found = np.zeros(len(hazards), dtype=bool)
    way = _way(made)
    way = way.some(way.over(depths.among(hazards, asked)))
    start_h = hours_from_datetime(made.departure)
    for at in _near(hazards, asked, way):
        area = hazards.areas[at]
        over = _over(Hazards.of([area], hazards.clearance_nm), way)
        if over is None:
            continue
        begin_h = np.maximum(over.begin_h - SPARE_H, start_h)
        height_m = depths.tide.lowest_between(begin_h, over.end_h + SPARE_H)
        assert area.depth_m is not None
        found[at] = bool(depths.shut(area.depth_m, height_m).any())
    return found


def _way(made: Plan) -> Run:
    """Return a plan's way from place to place, where she lies at a turn as well."""
    points = [point for leg in made.legs for board in leg.boards for point in board.points]
    lat, lon = np.array([each.lat for each in points]), np.array([each.lon for each in points])
    time_h = np.array([hours_from_datetime(each.time) for each in points])
    return Run(lat[:-1], lon[:-1], lat[1:], lon[1:], time_h[:-1], time_h[1:])


def _near(hazards: Hazards, asked: BoolArray, way: Run) -> Iterator[int]:
    """Go over the areas whose boxes, with their clearance, meet those of the pieces."""
    if not len(way.lat1):
        return
    margin = 1.1 * hazards.clearance_nm / MILES_PER_DEGREE
    widest = np.maximum(np.abs(way.lat1), np.abs(way.lat2))
    across = margin / np.cos(np.radians(np.minimum(widest + margin, 89.0)))
    # The shorter way round, as pieces are sailed.
    lon2 = way.lon1 + (way.lon2 - way.lon1 + 180.0) % 360.0 - 180.0
    west, east = np.minimum(way.lon1, lon2) - across, np.maximum(way.lon1, lon2) + across
    south, north = np.minimum(way.lat1, way.lat2) - margin, np.maximum(way.lat1, way.lat2) + margin
    which = np.flatnonzero(asked)
    tree = shapely.STRtree([hazards.areas[at].shape for at in which])
    boxes = [shapely.box(west + turn, south, east + turn, north) for turn in (-360.0, 0.0, 360.0)]
    yield from which[np.unique(tree.query(np.concatenate(boxes))[1])].tolist()


def _over(alone: Hazards, way: Run) -> Run | None:
    """Return the parts of a way over an area, to the minute; None if it isn't."""
    pieces = way.some(way.over(alone))
    if not len(pieces.lat1):
        return None
    minutes = _cut(pieces)
    over = minutes.over(alone)
    # What only a whole piece is seen to cross counts as long as that takes.
    return minutes.some(over) if over.any() else pieces


def _cut(pieces: Run) -> Run:
    """Cut loxodromes into parts of a minute: straight lines of one speed in the Mercator plane."""
    count = np.maximum(np.ceil((pieces.end_h - pieces.begin_h) / LOOK_H), 1.0).astype(np.intp)
    whole = np.repeat(np.arange(len(count)), count)
    nth = np.arange(len(whole)) - np.repeat(np.cumsum(count) - count, count)
    begin, end = nth / count[whole], (nth + 1) / count[whole]
    north1, north2 = isometric_latitude(pieces.lat1), isometric_latitude(pieces.lat2)
    east = (pieces.lon2 - pieces.lon1 + 180.0) % 360.0 - 180.0

    def at(share: Array) -> tuple[Array, Array, Array]:
        lat = latitude_from_isometric(north1[whole] + share * (north2 - north1)[whole])
        took_h = (pieces.end_h - pieces.begin_h)[whole]
        lon = pieces.lon1[whole] + share * east[whole]
        return lat, lon, pieces.begin_h[whole] + share * took_h

    (lat1, lon1, begin_h), (lat2, lon2, end_h) = at(begin), at(end)
    return Run(lat1, lon1, lat2, lon2, begin_h, end_h)
