r"""Shapes on the earth drawn in the ellipsoidal Mercator plane, and grown by a distance there.

The plane is that of `goosewing.earth.geodesy`: longitude against isometric latitude, both in
degrees, in which a board is straight. Its scale changes with latitude, so a shape is
grown in bands of latitude within which the scale is all but constant. A circle of
radius :math:`c` about latitude :math:`\varphi` is, to second order in :math:`c`, a
circle of the plane from :math:`\psi(\varphi - c)` to :math:`\psi(\varphi + c)`.

Shapes' edges are straight in latitude and longitude, as RFC 7946 has them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from goosewing.earth import geodesy
from goosewing.earth.angles import wrap_180
from goosewing.units import METRES_PER_NM

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.units import AnyArray, Array

POLE_DEG = 89.5
"""Shapes are cut off here: no plan goes so far, and a pole lies infinitely far off in the plane."""

STRAIGHT_TO_M = 0.1
"""Long edges, straight in latitude and longitude, are bent in the plane to within this."""

POLAR_DEG = 85.0
POLAR_STRAIGHT_TO_M = 50.0
"""Beyond this latitude edges are bent to within so much only: the plane has no end there."""

BAND = 0.003
POLAR_BAND = 0.03
"""Share by which the scale may change over a band, and beyond `POLAR_DEG`."""

SHORT_EDGE_DEG = 0.25
"""Edges that reach into high latitudes are divided so far first, each then by its own latitude."""

QUADRANT = 12
"""Chords to a quarter of a round corner; they touch the circle from outside."""

# GEOS rounds the number of chords to a corner: one may be half as long again as a full share.
_CIRCUMSCRIBED = 1.0002 / float(np.cos(0.75 * np.pi / (2 * QUADRANT)))

_MITRE = 10.0

ONE_CORNER_DEG = 45.0
"""Corners close together become one up to this turn: its corner lies 8 % farther off."""


def in_plane(shapes: AnyArray) -> tuple[AnyArray, NDArray[np.intp]]:
    """Draw polygons, given in longitude and latitude, in the Mercator plane.

    Parameters
    ----------
    shapes : ndarray of Polygon or MultiPolygon, shape (n,)
        Coordinates longitude, latitude. [°]

    Returns
    -------
    parts : ndarray of Polygon, shape (p,)
        Coordinates longitude, isometric latitude; longitudes run on over the antimeridian. [°]
    owner : ndarray of int, shape (p,)
        Which shape each is part of.
    """
    parts, owner = shapely.get_parts(shapely.force_2d(shapes), return_index=True)
    parts, owner = _of_area(_without_jumps(parts), owner)
    if not len(parts):
        return parts, owner
    highest = np.abs(shapely.bounds(parts)[:, [1, 3]]).max(axis=1)
    polar = highest > POLAR_DEG
    parts[~polar] = shapely.segmentize(parts[~polar], _step_deg(highest[~polar]))
    parts[polar] = [_divided(part) for part in parts[polar]]
    return _together(shapely.transform(parts, _to_plane)), owner


def _step_deg(highest_deg: Array) -> Array:
    """Return how long edges may be, by the highest latitude that they reach [°]."""
    lat = np.radians(np.minimum(highest_deg, POLE_DEG))
    bend = np.tan(lat) / np.cos(lat)
    return np.asarray(
        np.degrees(np.sqrt(8.0 * _straight_to_rad(highest_deg) / np.maximum(bend, 1e-3)))
    )


def _straight_to_rad(highest_deg: Array) -> Array:
    metres = np.where(highest_deg > POLAR_DEG, POLAR_STRAIGHT_TO_M, STRAIGHT_TO_M)
    return np.asarray(metres / METRES_PER_NM / geodesy.EQUATORIAL_RADIUS_NM)


def _divided(part: Any) -> Any:
    """Divide a polygon's edges, each as its own latitude asks."""
    rings = [
        _ring_divided(shapely.get_coordinates(ring))
        for ring in shapely.get_rings(shapely.segmentize(part, SHORT_EDGE_DEG))
    ]
    return shapely.Polygon(rings[0], rings[1:])


def _ring_divided(ring: Array) -> Array:
    a, b = ring[:-1], ring[1:]
    step = _step_deg(np.maximum(np.abs(a[:, 1]), np.abs(b[:, 1])))
    count = np.ceil(np.hypot(*(b - a).T) / step).astype(np.intp).clip(1)
    edge = np.repeat(np.arange(len(a)), count)
    number = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    points = a[edge] + (b - a)[edge] * (number / count[edge])[:, np.newaxis]
    return np.concatenate((points, ring[-1:]))


def _to_plane(lon_lat: Array) -> Array:
    lat = np.clip(lon_lat[:, 1], -POLE_DEG, POLE_DEG)
    return np.column_stack((lon_lat[:, 0], geodesy.isometric_latitude(lat)))


def _without_jumps(parts: AnyArray) -> AnyArray:
    """Let rings run on over the antimeridian that jump from one side of it to the other."""
    points, at = shapely.get_coordinates(parts, return_index=True)
    jump = (np.abs(np.diff(points[:, 0])) > 180.0) & (np.diff(at) == 0)
    for i in np.unique(at[:-1][jump]):
        rings = [_run_on(shapely.get_coordinates(ring)) for ring in shapely.get_rings(parts[i])]
        if all(np.allclose(ring[0], ring[-1]) for ring in rings):
            middle = np.mean(rings[0][:, 0])
            holes = [ring - [360.0 * round((np.mean(ring[:, 0]) - middle) / 360.0), 0.0]
                     for ring in rings[1:]]  # fmt: skip
            parts[i] = shapely.Polygon(rings[0], holes)
    return parts


def _run_on(ring: Array) -> Array:
    step = np.diff(ring[:, 0])
    # A whole turn along a parallel is how shapes round a pole are closed.
    short = np.where(np.abs(step) < 359.999, wrap_180(step), step)
    lon = ring[0, 0] + np.concatenate(([0.0], np.cumsum(short)))
    return np.column_stack((lon, ring[:, 1]))


def _together(parts: AnyArray) -> AnyArray:
    """Turn parts by whole circles so that the widest empty sector of longitude lies outside."""
    bounds = shapely.bounds(parts)
    middle = 0.5 * (bounds[:, 0] + bounds[:, 2])
    turned = wrap_180(middle)
    order = np.sort(turned)
    gaps = np.diff(np.concatenate((order, order[:1] + 360.0)))
    first = order[(int(np.argmax(gaps)) + 1) % len(order)]
    shift = np.where(turned < first, turned + 360.0, turned) - middle
    if not np.any(shift):
        return parts
    return moved(parts, np.column_stack((np.round(shift / 360.0) * 360.0, np.zeros(len(parts)))))


def moved(shapes: AnyArray, by: Array) -> AnyArray:
    """Move each shape by its own offset in the plane, shape (n, 2)."""
    points, at = shapely.get_coordinates(shapes, return_index=True)
    return np.asarray(shapely.set_coordinates(shapes.copy(), points + by[at]))


def grown(parts: AnyArray, distance_nm: float, *, beyond_m: float = 0.0) -> AnyArray:
    """Grow polygons of the plane by a true distance, never less and at most 1 % more.

    Parameters
    ----------
    parts : ndarray of Polygon, shape (p,)
    distance_nm : float
        Above 0, up to 20. [nm]
    beyond_m : float
        So much farther still. [m]

    Returns
    -------
    ndarray of Polygon or MultiPolygon, shape (p,)
    """
    pieces, of_part = _banded(parts)
    bounds = shapely.bounds(pieces)
    lat = geodesy.latitude_from_isometric(bounds[:, [1, 3]])
    highest = np.max(np.abs(lat), axis=1)
    radius, shift = _circle_deg(highest, distance_nm)
    straight_to = np.degrees(_straight_to_rad(highest)) * geodesy.miles_per_degree(0.0)
    beyond = (beyond_m / METRES_PER_NM + straight_to) / geodesy.miles_per_degree(highest)
    # In a band that holds the equator the circles' shifts, all but nothing, cancel.
    sign = np.where(lat[:, 0] >= 0.0, 1.0, np.where(lat[:, 1] <= 0.0, -1.0, 0.0))
    wide = shapely.buffer(pieces, radius * _CIRCUMSCRIBED + beyond, quad_segs=QUADRANT)
    wide = moved(wide, np.column_stack((np.zeros(len(wide)), shift * sign)))
    return _united(wide, of_part, len(parts))


def _circle_deg(lat_deg: Array, distance_nm: float) -> tuple[Array, Array]:
    """Return radius and northward shift of the plane's circle about a northern latitude [°]."""
    arc = geodesy.meridian_arc(lat_deg)
    end = geodesy.latitude_from_meridian_arc(
        np.minimum([arc - distance_nm, arc + distance_nm], geodesy.QUARTER_MERIDIAN_NM - 1e-3)
    )
    south, north = geodesy.isometric_latitude(end)
    middle = geodesy.isometric_latitude(lat_deg)
    return 0.5 * (north - south), 0.5 * (north + south) - middle


def _united(pieces: AnyArray, of_part: NDArray[np.intp], count: int) -> AnyArray:
    united: AnyArray = np.empty(count, dtype=object)
    amount = np.bincount(of_part, minlength=count)
    alone = amount[of_part] == 1
    united[of_part[alone]] = pieces[alone]
    for part in np.flatnonzero(amount > 1):
        united[part] = shapely.union_all(pieces[of_part == part])
    return united


def _banded(parts: AnyArray) -> tuple[AnyArray, NDArray[np.intp]]:
    """Cut polygons into bands of latitude in each of which the scale is all but constant."""
    ends = -np.log(np.cos(np.radians([POLAR_DEG, POLE_DEG])))
    scales = np.concatenate(
        (np.arange(BAND, ends[0], BAND), np.arange(ends[0], ends[1] + POLAR_BAND, POLAR_BAND))
    )
    edges = np.degrees(np.arccos(np.exp(-scales)))
    levels = geodesy.isometric_latitude(np.clip(edges, 0.0, POLE_DEG))
    levels = np.concatenate((-levels[::-1], levels))
    bounds = shapely.bounds(parts)
    first = np.searchsorted(levels, bounds[:, 1], side="right")
    last = np.searchsorted(levels, bounds[:, 3], side="left")
    pieces, of_part = [parts[last <= first]], [np.flatnonzero(last <= first)]
    for part in np.flatnonzero(last > first):
        own = _slices(parts[part], levels[first[part] : last[part]])
        pieces.append(own)
        of_part.append(np.full(len(own), part))
    return np.concatenate(pieces), np.concatenate(of_part).astype(np.intp)


def _slices(shape: Any, levels: Array) -> AnyArray:
    """Cut one polygon along parallels, halving, so that no cut looks at the whole of it twice."""
    if not len(levels):
        return np.array([shape], dtype=object)
    middle = len(levels) // 2
    west, south, east, north = shapely.bounds(shapely.buffer(shapely.envelope(shape), 1.0))
    below = shapely.intersection(shape, shapely.box(west, south, east, levels[middle]))
    above = shapely.intersection(shape, shapely.box(west, levels[middle], east, north))
    halves = [
        _slices(half, rest)
        for half, rest in ((below, levels[:middle]), (above, levels[middle + 1 :]))
        if not shapely.is_empty(half)
    ]
    return np.concatenate(halves)


_POLYGON, _COLLECTION = 3, 7
"""As `shapely.get_type_id` numbers them."""


def shrunk(parts: AnyArray, distance_m: float) -> AnyArray:
    """Take the outermost rim off polygons, but leave whole what is thinner than twice that.

    Returns
    -------
    ndarray of Polygon or MultiPolygon, shape (p,)
    """
    lat = geodesy.latitude_from_isometric(shapely.bounds(parts)[:, [1, 3]])
    rim = distance_m / METRES_PER_NM / geodesy.miles_per_degree(np.min(np.abs(lat), axis=1))
    inner = shapely.buffer(parts, -rim, join_style="mitre", mitre_limit=_MITRE)
    # Of an islet of a few metres GEOS may leave an outline that crosses itself.
    broken = ~shapely.is_valid(inner)
    inner[broken] = shapely.make_valid(inner[broken], method="structure", keep_collapsed=False)
    again = shapely.buffer(inner, 1.01 * rim, join_style="mitre", mitre_limit=_MITRE)
    # Moles and necks: what would be lost altogether.
    left = np.asarray(shapely.union(inner, shapely.difference(parts, again)))
    for at in np.flatnonzero(shapely.get_type_id(left) == _COLLECTION):
        pieces = shapely.get_parts(left[at])
        left[at] = shapely.multipolygons(pieces[shapely.get_type_id(pieces) == _POLYGON])
    return left


def outward_corners(
    shapes: AnyArray, flat_m: float, spacing_nm: float = 0.0
) -> tuple[Array, Array, Array, NDArray[np.intp]]:
    """Return the corners of polygons that stand out towards what is free.

    Parameters
    ----------
    shapes : ndarray of Polygon or MultiPolygon, shape (p,)
    flat_m : float
        Corners that stand out less are none. [m]
    spacing_nm : float
        Corners closer together become one, where their sides go on to meet. [nm]

    Returns
    -------
    corners, before, after : ndarray, shape (n, 2)
        Each corner and its neighbours along the outline, the polygon on the left hand.
    number : ndarray of int, shape (n,)
        Which polygon each belongs to.
    """
    parts, number = _of_area(*_parts_of(shapes, np.arange(len(shapes))))
    if not len(parts):
        none = np.zeros((0, 2))
        return none, none, none, np.zeros(0, dtype=np.intp)
    lat = geodesy.latitude_from_isometric(shapely.bounds(parts)[:, [1, 3]])
    scale = geodesy.miles_per_degree(np.max(np.abs(lat), axis=1))
    parts = shapely.orient_polygons(shapely.simplify(parts, flat_m / METRES_PER_NM / scale))
    rings, of_ring = shapely.get_rings(parts, return_index=True)
    points, at = shapely.get_coordinates(rings, return_index=True)
    first = np.concatenate(([True], at[1:] != at[:-1]))
    last = np.concatenate((first[1:], [True]))
    # A ring's last point is its first again.
    places = np.flatnonzero(~last)
    after, before = places + 1, places - 1
    before[first[places]] = np.flatnonzero(last) - 1
    into, out = points[places] - points[before], points[after] - points[places]
    turn = np.arctan2(into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0], np.sum(into * out, axis=1))
    spacing = spacing_nm / scale[of_ring[at[places]]]
    head, tail = _groups(turn, np.hypot(*out.T), at[places], spacing)
    corners = _mitred(points[places], into, out, head, tail)
    owner = number[of_ring[at[places[head]]]]
    return corners, points[before[head]], points[after[tail]], owner


def _groups(
    turn: Array, length: Array, ring: NDArray[np.intp], spacing: Array
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Gather corners that stand out into groups that turn little and lie close together.

    Returns
    -------
    head, tail : ndarray of int, shape (g,)
        First and last corner of each group.
    """
    most = np.radians(ONE_CORNER_DEG)
    head: list[int] = []
    tail: list[int] = []
    turned, gone = 0.0, 0.0
    for at in np.flatnonzero(turn > 0.0).tolist():
        if tail and tail[-1] == at - 1 and ring[at] == ring[at - 1]:
            gone += float(length[at - 1])
            turned += float(turn[at])
            if turned <= most and gone < spacing[at]:
                tail[-1] = at
                continue
        head.append(at)
        tail.append(at)
        turned, gone = float(turn[at]), 0.0
    return np.array(head, dtype=np.intp), np.array(tail, dtype=np.intp)


def _mitred(
    points: Array, into: Array, out: Array, head: NDArray[np.intp], tail: NDArray[np.intp]
) -> Array:
    """Return where the side into a group's first corner meets the side out of its last."""
    a, b = into[head], out[tail]
    apart = points[tail] - points[head]
    crossing = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    share = (apart[:, 0] * b[:, 1] - apart[:, 1] * b[:, 0]) / np.where(crossing > 0, crossing, 1.0)
    return points[head] + np.where(head == tail, 0.0, share)[:, np.newaxis] * a


def _parts_of(shapes: AnyArray, number: NDArray[np.intp]) -> tuple[AnyArray, NDArray[np.intp]]:
    parts, index = shapely.get_parts(shapes, return_index=True)
    return parts, number[index]


def _of_area(parts: AnyArray, number: NDArray[np.intp]) -> tuple[AnyArray, NDArray[np.intp]]:
    keep = (shapely.get_type_id(parts) == shapely.GeometryType.POLYGON) & ~shapely.is_empty(parts)
    return parts[keep], number[keep]


def joined(parts: AnyArray) -> AnyArray:
    """Unite polygons that touch or overlap, so that no seam is left between them."""
    tree = shapely.STRtree(parts)
    one, other = tree.query(parts, predicate="intersects")
    touching = np.unique(np.concatenate((one[one != other], other[one != other])))
    if not touching.size:
        return parts
    rest = np.setdiff1d(np.arange(len(parts)), touching)
    united = shapely.get_parts(shapely.union_all(parts[touching]))
    united = united[shapely.get_type_id(united) == shapely.GeometryType.POLYGON]
    return np.concatenate((parts[rest], united))
