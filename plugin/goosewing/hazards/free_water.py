"""What hazards leave free of a grid of square cells.

Which steps need a look, which cells are parted, and about which corners a way may
bend. All here is in the grid's own units: x along it, y across, a cell reaching half a
unit to either side of its number. Pure: numbers in, numbers out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np
import shapely

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.earth.course import Course
    from goosewing.hazards.areas import Hazards
    from goosewing.units import AnyArray, Array, BoolArray

    Numbers = NDArray[np.intp]

SAMPLE_CELLS = 0.5
"""Spacing at which shores are drawn into the grid."""

DOUBT_CELLS = 2.0
"""A place in one cell and a shore in another are nearer than the cells' middles by at most so
much: two half diagonals, and what lies between two samples of the shore."""

MOST_VERTICES = 400
"""Larger shapes are cut into pieces first: a cell then meets a small one."""

SLIVER_CELLS = 1e-6
"""A part of a cell of less than this area is none."""

ON_THE_SHORE_CELLS = 1e-4

SIMPLER_CELLS = 0.02
"""Corners that stick out by less are none; a way bends so far off the others."""

OFF_THE_CORNER_CELLS = 1.2 * SIMPLER_CELLS
MITRE = 3.0
"""Sharp corners are passed at up to so many times that distance."""

ABOUT = 4.0
"""In lengths of a leg: how far around it the waters are looked at."""

REACH_CELLS = 4.0
"""Corners are aimed at from no farther than this: a step is seldom longer."""


class Corners(NamedTuple):
    """Where ways may bend: just off corners that stick out into the water; shape (n, 2) each."""

    place: Array
    before: Array
    after: Array
    """Where the shore comes from and goes on to."""


def is_shut_off(hazards: Hazards, course: Course) -> bool:
    """Tell whether hazards part the ends of a leg, on waters that end within sight of it.

    What parts them lies about one of them, areas that meet taken together: no other is looked at.
    """
    leg = hazards.in_plane(course.lat1, course.lon1, course.lat2, course.lon2)
    room = ABOUT * course.mercator_deg
    low, high = np.minimum(leg[:2], leg[2:]) - room, np.maximum(leg[:2], leg[2:]) + room
    places = leg.reshape(2, 2)
    lands = [hazards.shapes_in(np.concatenate((low, high)))]
    # What meets by the boxes about it first: it is found sooner, and is more than enough.
    for predicate in (None, "intersects"):
        lands = [found for land in lands for found in _lands_about(land, places, predicate)]
    return any(_parts(land, places) for land in lands)


def _lands_about(
    shapes: AnyArray, places: Array, predicate: Literal["intersects"] | None
) -> list[AnyArray]:
    """Group shapes that meet; return the groups whose box has one of the places, shape (n, 2)."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    if not len(shapes):
        return []
    one, other = shapely.STRtree(shapes).query(shapes, predicate=predicate)
    meet = coo_array((np.ones(len(one), dtype=np.int8), (one, other)), shape=(len(shapes),) * 2)
    count, group = connected_components(meet, directed=False)
    bounds = shapely.bounds(shapes)
    low, high = np.full((count, 2), np.inf), np.full((count, 2), -np.inf)
    np.minimum.at(low, group, bounds[:, :2])
    np.maximum.at(high, group, bounds[:, 2:])
    within = (low[:, np.newaxis] <= places) & (places <= high[:, np.newaxis])
    about = np.flatnonzero(np.any(np.all(within, axis=2), axis=1))
    return [shapes[group == each] for each in about.tolist()]


def _parts(land: AnyArray, places: Array) -> bool:
    """Tell whether land lies between two places, round one of them or over it."""
    west, south, east, north = shapely.total_bounds(land)
    room = 0.01 * max(east - west, north - south)
    frame = shapely.box(west - room, south - room, east + room, north + room)
    waters = shapely.get_parts(shapely.difference(frame, shapely.union_all(land)))
    outer = shapely.intersects(waters, frame.exterior)
    lies_in = [
        shapely.intersects(waters, place) if shapely.intersects(frame, place) else outer
        for place in shapely.points(places)
    ]
    return not bool(np.any(lies_in[0] & lies_in[1]))


@dataclass(frozen=True, slots=True, eq=False)
class Waterways:
    """A grid with its hazards.

    Attributes
    ----------
    room_cells : ndarray, shape (rows, columns)
        Distance to the nearest shore, no less than so many cells.
    """

    room_cells: Array
    corners: Corners
    _near: Numbers
    """Corners within reach of each cell, one cell's after the other's."""
    _near_until: Numbers
    _parted: BoolArray
    """Whether a cell's water lies in parts, shape (rows * columns,)."""
    _parts: Any
    """Tree of those parts."""
    _cell: Numbers
    """The cell of each part."""
    _slot: Numbers
    """Where the states in each part are kept: numbers from rows * columns on, but for the first."""

    @property
    def slots(self) -> int:
        """Cells and parts of cells together."""
        return max(self.room_cells.size, int(self._slot.max(initial=0)) + 1)

    @property
    def owner(self) -> Numbers:
        """The cell to which each slot belongs, shape (slots,)."""
        owner = np.zeros(self.slots, dtype=np.intp)
        cells = self.room_cells.size
        owner[:cells] = np.arange(cells)
        owner[self._slot] = self._cell
        return owner

    def doubtful(self, cell: Numbers, other: Numbers, length_cells: Array) -> BoolArray:
        """Tell which steps between two cells might meet a shore: both ends are too near it."""
        room = self.room_cells.ravel()
        return np.asarray(room[cell] + room[other] <= length_cells)

    def bends(self, cell: Numbers, x: Array, y: Array) -> tuple[Numbers, Numbers]:
        """Pair places with the corners within reach that a line from there passes on one hand.

        Returns
        -------
        place, corner : ndarray of int, shape (p,)
        """
        first = np.where(cell > 0, self._near_until[cell - 1], 0)
        count = np.where(cell >= 0, self._near_until[cell] - first, 0)
        place = np.repeat(np.arange(len(cell)), count)
        number = np.arange(len(place)) - np.repeat(np.cumsum(count) - count, count)
        corner = self._near[first[place] + number]
        here = np.column_stack((x[place], y[place]))
        at = self.corners.place[corner]
        sides = [
            _cross(at - here, other[corner] - at)
            for other in (self.corners.before, self.corners.after)
        ]
        passed = (sides[0] * sides[1] >= 0.0) & np.any(at != here, axis=1)
        return place[passed], corner[passed]

    def slot(self, cell: Numbers, x: Array, y: Array) -> Numbers:
        """Return where states are kept: by cell, or by the part of it on whose water they are."""
        at = np.flatnonzero((cell >= 0) & self._parted[cell])
        if not at.size:
            return cell
        place, part = self._parts.query(
            shapely.points(x[at], y[at]), predicate="dwithin", distance=ON_THE_SHORE_CELLS
        )
        own = self._cell[part] == cell[at[place]]
        slots = cell.copy()
        slots[at[place[own]]] = self._slot[part[own]]
        return slots


def waterways(shores: list[Any], shape: tuple[int, int], allowed: BoolArray | None) -> Waterways:
    """Draw hazards into a grid.

    Parameters
    ----------
    shores : list of shapely polygons
        In the grid's units.
    shape : (int, int)
        Rows and columns.
    allowed : ndarray of bool, optional
        Cells that matter; all if None.
    """
    from scipy.ndimage import distance_transform_edt

    shore = _drawn(shores, shape)
    if not shore.any():
        room = np.full(shape, np.inf)
    else:
        room = np.maximum(distance_transform_edt(~shore) - DOUBT_CELLS, 0.0)
    cells, parts = _parted(shores, shore if allowed is None else shore & allowed)
    parted = np.zeros(room.size, dtype=bool)
    parted[cells] = True
    _, first = np.unique(cells, return_index=True)
    slots = room.size + np.arange(len(cells))
    slots[first] = cells[first]
    corners = corners_of(shores, shape)
    near, until = _within_reach(corners, room, allowed)
    return Waterways(room, corners, near, until, parted, shapely.STRtree(parts), cells, slots)


def corners_of(shores: list[Any], shape: tuple[int, int]) -> Corners:
    """List the corners of shores, within a grid's frame, that stick out into free water."""
    simple = shapely.simplify(np.array(shores, dtype=object), SIMPLER_CELLS)
    rings, owner = shapely.get_rings(simple, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    # The last point of a ring is its first: its neighbours are those of the first.
    is_last = np.append(ring[1:] != ring[:-1], True)
    at = np.flatnonzero(~is_last)
    starts = np.flatnonzero(np.append(True, is_last[:-1]))
    last = np.flatnonzero(is_last)
    is_first = np.isin(at, starts)
    before = points[np.where(is_first, last[ring[at]] - 1, at - 1)]
    here, after = points[at], points[at + 1]
    hole = np.append(False, owner[1:] == owner[:-1])
    land_left = np.where(shapely.is_ccw(rings) != hole, 1.0, -1.0)[ring[at]]
    frame = (here >= -0.5).all(axis=1) & (here <= np.array(shape) - 0.5).all(axis=1)
    out = frame & (_cross(here - before, after - here) * land_left > 0.0)
    here, before, after, left = here[out], before[out], after[out], land_left[out]
    place = here + _outward(here - before, after - here, left)
    buried, _ = shapely.STRtree(shores).query(shapely.points(place), predicate="intersects")
    free = np.ones(len(place), dtype=bool)
    free[buried] = False
    return Corners(place[free], before[free], after[free])


def _outward(into: Array, out: Array, land_left: Array) -> Array:
    """How far from each corner a way bends, so that it keeps off both its edges."""
    normals = [
        np.column_stack((edge[:, 1], -edge[:, 0]))
        * (land_left / np.maximum(np.hypot(*edge.T), 1e-12))[:, np.newaxis]
        for edge in (into, out)
    ]
    middle = normals[0] + normals[1]
    square = np.maximum(np.sum(middle**2, axis=1), 4.0 / MITRE**2)[:, np.newaxis]
    return np.asarray(OFF_THE_CORNER_CELLS * 2.0 * middle / square)


def _within_reach(
    corners: Corners, room: Array, allowed: BoolArray | None
) -> tuple[Numbers, Numbers]:
    """For every cell the corners within reach, and where in that list each cell's end."""
    from scipy.spatial import cKDTree

    near = room <= REACH_CELLS
    cells = np.flatnonzero(near if allowed is None else near & allowed)
    counts = np.zeros(room.size, dtype=np.intp)
    if not len(corners.place) or not cells.size:
        return np.zeros(0, dtype=np.intp), counts
    middles = np.column_stack(np.divmod(cells, room.shape[1])).astype(float)
    lists = cKDTree(corners.place).query_ball_point(middles, REACH_CELLS)
    counts[cells] = [len(each) for each in lists]
    return np.concatenate([np.array(each, dtype=np.intp) for each in lists]), np.cumsum(counts)


def _cross(a: Array, b: Array) -> Array:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def _drawn(shores: list[Any], shape: tuple[int, int]) -> BoolArray:
    """Mark the cells through which a shore runs."""
    marked = np.zeros(shape, dtype=bool)
    a, b = _edges(shores)
    x, y = _sampled(*_clipped(a, b, shape)).T
    row, column = (np.floor(value + 0.5).astype(np.intp) for value in (x, y))
    inside = (row >= 0) & (row < shape[0]) & (column >= 0) & (column < shape[1])
    marked[row[inside], column[inside]] = True
    return marked


def _edges(shores: list[Any]) -> tuple[Array, Array]:
    """Both ends of every edge, shape (n, 2) each."""
    rings = shapely.get_rings(shores) if shores else []
    points, ring = shapely.get_coordinates(rings, return_index=True)
    same = ring[1:] == ring[:-1]
    return points[:-1][same], points[1:][same]


def _clipped(a: Array, b: Array, shape: tuple[int, int]) -> tuple[Array, Array]:
    """Cut edges to the grid's frame; those wholly outside are left out."""
    along = b - a
    with np.errstate(divide="ignore", invalid="ignore"):
        low, high = (-0.5 - a) / along, (np.array(shape) - 0.5 - a) / along
    # An edge along an axis is within that axis's limits for good, or never.
    still = along == 0.0
    within = (a >= -0.5) & (a <= np.array(shape) - 0.5)
    first = np.where(still, np.where(within, -np.inf, np.inf), np.minimum(low, high))
    last = np.where(still, np.where(within, np.inf, -np.inf), np.maximum(low, high))
    begin = np.maximum(first.max(axis=1), 0.0)[:, np.newaxis]
    end = np.minimum(last.min(axis=1), 1.0)[:, np.newaxis]
    seen = (begin <= end)[:, 0]
    begin, end = begin[seen], end[seen]
    return a[seen] + begin * along[seen], a[seen] + end * along[seen]


def _sampled(a: Array, b: Array) -> Array:
    """Points along edges, close enough that no cell is passed over by much, shape (m, 2)."""
    count = np.ceil(np.hypot(*(b - a).T) / SAMPLE_CELLS).astype(np.intp) + 1
    edge = np.repeat(np.arange(len(a)), count)
    number = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    share = (number / np.maximum(count[edge] - 1, 1))[:, np.newaxis]
    return np.asarray(a[edge] + share * (b[edge] - a[edge]))


def _parted(shores: list[Any], shore: BoolArray) -> tuple[Numbers, list[Any]]:
    """List the parts of all cells whose water lies in several, cell by cell."""
    cells = np.flatnonzero(shore)
    row, column = np.divmod(cells, shore.shape[1])
    free = shapely.box(row - 0.5, column - 0.5, row + 0.5, column + 0.5)
    pieces = np.array(_pieces(shores, shore.shape), dtype=object)
    place, piece = shapely.STRtree(pieces).query(free, predicate="intersects")
    order = np.argsort(place, kind="stable")
    place, piece = place[order], piece[order]
    nth = np.arange(len(place)) - np.searchsorted(place, place)
    for n in range(int(nth.max(initial=-1)) + 1):
        at = nth == n
        free[place[at]] = shapely.difference(free[place[at]], pieces[piece[at]])
    part, owner = shapely.get_parts(free, return_index=True)
    real = shapely.area(part) > SLIVER_CELLS
    part, owner = part[real], owner[real]
    several = np.bincount(owner, minlength=len(cells))[owner] > 1
    return cells[owner[several]], list(part[several])


def _pieces(shores: list[Any], shape: tuple[int, int]) -> list[Any]:
    """Cut shapes to the grid's frame, and large ones up."""
    frame = shapely.box(-0.5, -0.5, shape[0] - 0.5, shape[1] - 0.5)
    waiting = [each for each in shores if each.intersects(frame)]
    done = []
    while waiting:
        each = waiting.pop()
        if shapely.get_num_coordinates(each) <= MOST_VERTICES:
            done.append(each)
        else:
            waiting += [half for half in _halves(each, frame) if not half.is_empty]
    return done


def _halves(shape: Any, frame: Any) -> list[Any]:
    """Both halves of what lies within the frame, cut across the longer side."""
    x1, y1, x2, y2 = shapely.intersection(shape, frame).bounds
    mid_x, mid_y = (x1 + x2) / 2.0, (y1 + y2) / 2.0
    if x2 - x1 > y2 - y1:
        boxes = (shapely.box(x1, y1, mid_x, y2), shapely.box(mid_x, y1, x2, y2))
    else:
        boxes = (shapely.box(x1, y1, x2, mid_y), shapely.box(x1, mid_y, x2, y2))
    return [shapely.intersection(shape, box) for box in boxes]
