"""Why there is no way round: what closes it, and how wide the widest gap is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import shapely

from goosewing.earth import geodesy
from goosewing.earth.angles import wrap_longitude
from goosewing.hazards import taut_string
from goosewing.hazards.areas import Hazards
from goosewing.velocities.travel_time import Gauge
from goosewing.words.figures import listed, position_words

if TYPE_CHECKING:
    from goosewing.earth.course import Course
    from goosewing.hazards.areas import Area
    from goosewing.units import Array

ROUNDS = 8
"""Halvings of the clearance: the gap's width is found to 0.4 % of it."""

LEGS_ABOUT = 4.0
LEAST_ABOUT_NM = 20.0
"""How far around a leg the waters are looked at: in lengths of the leg, and at least."""

AT_MOST_NAMED = 3

ANGLES = 64
"""Corners of the gauge of a boat that goes alike on every course."""


class Gap(NamedTuple):
    """The widest gap through which a passage could lead."""

    width_nm: float
    lat: float
    lon: float
    one: Area
    other: Area


def closed(hazards: Hazards, course: Course, origin: str, destination: str) -> str:
    """Say that no way leads from one mark to the next, and why.

    Returns
    -------
    str
        One line, naming what closes the way and, where a smaller clearance would open
        one, the widest gap.
    """
    where = f"no way leads from {origin} to {destination}"
    gap = widest_gap(hazards, course)
    if gap is not None:
        names = dict.fromkeys((gap.one.called, gap.other.called))
        between = f"between {listed(names)}" if len(names) > 1 else f"in {listed(names)}"
        return (
            f"{where}: the widest gap, {between} at {position_words(gap.lat, gap.lon)}, is "
            f"{gap.width_nm:.2g} nm wide, and the clearance asks {hazards.clearance_nm:g} nm "
            "either side"
        )
    names = dict.fromkeys(area.called for area in _around(hazards, course))
    return f"{where}: it is closed by {listed(list(names)[:AT_MOST_NAMED] or ['hazards'])}"


def widest_gap(hazards: Hazards, course: Course) -> Gap | None:
    """Find the gap that a smaller clearance would open first, None if none does."""
    if not _connected(hazards, course, 0.0):
        return None
    low, high = 0.0, hazards.clearance_nm
    for _ in range(ROUNDS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _connected(hazards, course, middle) else (low, middle)
    return _narrowest(hazards, course, low)


def _frame(hazards: Hazards, course: Course) -> tuple[Array, Array]:
    """Return the leg in the plane, and west, south, east, north of the waters about it."""
    leg = hazards.in_plane(course.lat1, course.lon1, course.lat2, course.lon2)
    about = max(LEGS_ABOUT * course.distance_nm, LEAST_ABOUT_NM)
    room = about * course.mercator_deg / course.distance_nm
    low, high = np.minimum(leg[:2], leg[2:]), np.maximum(leg[:2], leg[2:])
    return leg, np.concatenate((low - room, high + room))


def _free(hazards: Hazards, box: Array) -> Any:
    return shapely.get_parts(
        shapely.difference(shapely.box(*box), shapely.union_all(hazards.shapes_in(box)))
    )


def _connected(hazards: Hazards, course: Course, clearance_nm: float) -> bool:
    leg, box = _frame(hazards, course)
    return taut_string.connected(Hazards.of(hazards.areas, clearance_nm), leg, box)


def _around(hazards: Hazards, course: Course) -> list[Area]:
    """Return the areas that enclose the start or the mark, whichever has less water."""
    leg, box = _frame(hazards, course)
    waters = _free(hazards, box)
    pools = [
        pool
        for place in shapely.points(leg.reshape(2, 2))
        for pool in waters[shapely.intersects(waters, place)]
    ]
    if not pools:
        return []
    least = min(pools, key=shapely.area)
    return hazards.areas_along(shapely.get_coordinates(least.exterior))


def _narrowest(hazards: Hazards, course: Course, clearance_nm: float) -> Gap | None:
    """Follow the way that a clearance just leaves, and find where it is narrowest."""
    opened = Hazards.of(hazards.areas, clearance_nm)
    leg, _ = _frame(hazards, course)
    angle = np.arange(ANGLES) * 2.0 * np.pi / ANGLES
    string = taut_string.drawn(
        opened, Gauge.around(np.column_stack((np.cos(angle), np.sin(angle)))), leg
    )
    if not string.string:
        return None
    path = shapely.segmentize(
        shapely.linestrings(string.places.at[string.string]), course.mercator_deg / 200.0
    )
    points = shapely.get_coordinates(path)
    return _gap_at(hazards, points)


def _gap_at(hazards: Hazards, points: Array) -> Gap | None:
    best: tuple[float, Array, Array] | None = None
    shapes = shapely.union_all(hazards.drawn_in(_box_of(points)))
    if shapely.is_empty(shapes):
        return None
    for place in points:
        one = shapely.get_coordinates(shapely.shortest_line(shapely.points(place), shapes))[1]
        ray = place - (one - place) * np.array([[0.0], [3.0]])
        over = shapely.intersection(shapely.linestrings(ray), shapes)
        if shapely.is_empty(over):
            continue
        other = shapely.get_coordinates(shapely.shortest_line(shapely.points(place), over))[1]
        width = float(np.hypot(*(other - one)))
        if best is None or width < best[0]:
            best = (width, one, other)
    if best is None:
        return None
    _, one, other = best
    lat = geodesy.latitude_from_isometric(np.array([one[1], other[1]]))
    width = float(geodesy.geodesic_inverse(lat[0], one[0], lat[1], other[0]).distance_nm)
    areas = [hazards.areas_along(each[np.newaxis])[0] for each in (one, other)]
    middle = float(wrap_longitude(0.5 * (one[0] + other[0])))
    return Gap(width, float(lat.mean()), middle, areas[0], areas[1])


def _box_of(points: Array) -> Array:
    return np.concatenate((points.min(axis=0) - 1.0, points.max(axis=0) + 1.0))
