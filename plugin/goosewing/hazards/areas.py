"""What may not be crossed: land, and areas to keep out of, with a clearance around them.

Everything is worked out in the ellipsoidal Mercator plane (longitude against isometric
latitude, in degrees), where boards are straight; longitudes are unwrapped about each
piece, so that the antimeridian is no edge. Areas are grown by their clearance once, when
they are first met. The true clearance is never less than asked, and at most 1 % and
`TOUCH_M` more. What only touches an edge or a corner does not cross: lines may run along
the `corners`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np
import shapely

from goosewing.earth import geodesy
from goosewing.earth.angles import wrap_180, wrap_longitude
from goosewing.errors import InputError
from goosewing.hazards.outlines import (
    POLE_DEG,
    grown,
    in_plane,
    joined,
    moved,
    outward_corners,
    shrunk,
)
from goosewing.units import METRES_PER_NM

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from goosewing.units import AnyArray, Array, BoolArray

Kind = Literal["land", "danger", "shoal", "area"]

TOUCH_M = 1.0
"""Lines that come no farther than this over an edge touch it."""

FLAT_M = 0.25
"""Corners that stand out less than this are none."""

WIDEST_NM = 20.0
"""Nobody keeps farther off than this: a unit went wrong."""

MANY = 4096
"""From so many pieces on, a grid of free cells is worth its making."""

MANY_EACH = 40
"""And from so many for each area."""

FEW_LINES = 512
"""So few lines may be long: only boxes that they truly cross are met, and grown."""

CELLS = 192
"""Cells of that grid along either side."""

_CELLS_LONG = 4.0
"""Pieces are cut to this many cells before the grid is asked again."""

_AT_ONCE = 1 << 17

_CIRCLES = (0.0, -360.0, 360.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Area:
    """An area that may not be crossed.

    Attributes
    ----------
    shape : shapely.Polygon or shapely.MultiPolygon
        Longitude and latitude, WGS 84; holes are free. [°]
    name : str
        May be empty.
    kind : "land", "danger", "shoal" or "area"
    source : str
        The file it comes from, for messages.
    depth_m : float or None
        Its charted depth, where it counts for want of water alone; None where it always
        does. [m]
    """

    shape: Any
    name: str = ""
    kind: Kind = "area"
    source: str = ""
    depth_m: float | None = None

    @property
    def called(self) -> str:
        """Name and source, as messages say them."""
        words = {"land": "land", "danger": "a danger", "shoal": "a shoal", "area": "an area"}
        name = self.name or words[self.kind]
        return f"{name} ({self.source})" if self.source else name


class Corners(NamedTuple):
    """Outward corners of grown areas, about which a line may bend."""

    places: Array
    """Shape (n, 2): longitude and isometric latitude. [°]"""
    before: Array
    after: Array
    """Shape (n, 2): the neighbours along the outline, with the area on the left hand."""
    solid: NDArray[np.intp]
    """Shape (n,): which each belongs to."""
    over: NDArray[np.intp]
    """What lies over the corners that were left out, each once."""


class Hazards:
    """Areas with a clearance around them; immutable. See `Hazards.of`."""

    def __init__(self, areas: tuple[Area, ...], clearance_nm: float) -> None:
        self._areas = areas
        self._clearance_nm = clearance_nm
        self._asked = 0

    @classmethod
    def of(cls, areas: Iterable[Area], clearance_nm: float = 0.0) -> Hazards:
        """Gather areas.

        Parameters
        ----------
        areas : iterable of Area
        clearance_nm : float
            How far to keep off them. [nm]

        Raises
        ------
        InputError
            If a shape is no polygon or has none of its coordinates on the earth, or
            the clearance makes no sense.
        """
        kept = tuple(areas)
        if not 0.0 <= clearance_nm <= WIDEST_NM:
            raise InputError(f"the clearance must be 0 to {WIDEST_NM:g} nm, got {clearance_nm:g}")
        for area in kept:
            _check(area)
        return cls(kept, float(clearance_nm))

    def __len__(self) -> int:
        """Return the number of areas."""
        return len(self._areas)

    @property
    def areas(self) -> tuple[Area, ...]:
        """The areas as given."""
        return self._areas

    @property
    def clearance_nm(self) -> float:
        """How far to keep off them, in nautical miles."""
        return self._clearance_nm

    # --- Asked by planners ---------------------------------------------------------

    def crossed(
        self, lat1: ArrayLike, lon1: ArrayLike, lat2: ArrayLike, lon2: ArrayLike
    ) -> BoolArray:
        """Tell which pieces of loxodromes cross an area or its clearance.

        Parameters
        ----------
        lat1, lon1, lat2, lon2 : array_like, shape (...)
            Start and end, the shorter way round in longitude. [°]

        Returns
        -------
        ndarray of bool, shape (...)
            Whether a piece lies, in whole or in part, over an area; one that comes no
            farther than `TOUCH_M` over an edge or a corner does not cross. A piece with
            a NaN crosses nothing.
        """
        ends = np.broadcast_arrays(
            *(np.asarray(v, dtype=np.float64) for v in (lat1, lon1, lat2, lon2))
        )
        shape = ends[0].shape
        if not len(self):
            return np.zeros(shape, dtype=bool)
        crossed = self._crossed(*(each.ravel() for each in ends))
        return crossed.reshape(shape)

    def crossed_along(self, lat: ArrayLike, lon: ArrayLike) -> BoolArray:
        """Tell which pieces of lines cross an area: as `crossed`, from each place to the next.

        Parameters
        ----------
        lat, lon : array_like, shape (..., n)
            [°]

        Returns
        -------
        ndarray of bool, shape (..., n - 1)
        """
        lat, lon = np.asarray(lat), np.asarray(lon)
        return self.crossed(lat[..., :-1], lon[..., :-1], lat[..., 1:], lon[..., 1:])

    def inside(self, lat: ArrayLike, lon: ArrayLike) -> BoolArray:
        """Tell which places lie in an area or its clearance, and do not only touch it.

        Parameters
        ----------
        lat, lon : array_like, shape (...)
            [°]
        """
        return self.crossed(lat, lon, lat, lon)

    def at(self, lat: float, lon: float) -> Area | None:
        """Return the first area over a place, its clearance included."""
        return self.what_blocks(lat, lon, lat, lon)

    def what_blocks(self, lat1: float, lon1: float, lat2: float, lon2: float) -> Area | None:
        """Return the first area that a piece of a loxodrome meets, None if it crosses none."""
        if not len(self):
            return None
        ends = np.column_stack(self._ends(lat1, lon1, lat2, lon2))
        found: list[tuple[float, int, tuple[float, float]]] = []
        for turn in self._turns(ends):
            _line, solids, lines = self._pairs(_turned(ends, turn))
            start = shapely.get_coordinates(lines[0])[0]
            for solid, shape in zip(solids, self._forbidden(solids), strict=True):
                run = shapely.get_coordinates(shapely.intersection(lines[0], shape))
                # Of a line that is a place there is no run.
                run = run if len(run) else start[np.newaxis]
                off = np.hypot(*(run - start).T)
                at = int(np.argmin(off))
                found.append((float(off[at]), int(solid), (float(run[at, 0]), float(run[at, 1]))))
        if not found:
            return None
        _, solid, (east, north) = min(found)
        return self.area_of(solid, north, east)

    def free_share(self, lat1: float, lon1: float, lat2: float, lon2: float) -> float:
        """Return how much of a piece, from its start, is free: 1 where it crosses nothing."""
        if not len(self):
            return 1.0
        ends = np.column_stack(self._ends(lat1, lon1, lat2, lon2))
        length = float(np.hypot(ends[0, 2] - ends[0, 0], ends[0, 3] - ends[0, 1]))
        shares = [1.0]
        for turn in self._turns(ends):
            _line, solids, lines = self._pairs(_turned(ends, turn))
            start = shapely.points(ends[0, 0] + turn, ends[0, 1])
            for shape in self._forbidden(solids):
                run = shapely.intersection(lines[0], shape)
                # Short of it by the touch that the next question would find.
                off = float(shapely.distance(start, run)) - float(self._touch_deg(ends[0, 1]))
                shares.append(max(off, 0.0) / length if length else 0.0)
        return float(np.nanmin(shares))

    def distance_nm(self, lat: float, lon: float, area: Area) -> float:
        """Return how far a place lies from an area as drawn; negative inside it [nm]."""
        at = next(i for i, each in enumerate(self._areas) if each is area)
        east, north = self._plane(np.array([lat]), np.array([lon]))
        distances = [
            _signed_nm(shape, lat, lon, float(east[0]) + turn, float(north[0]))
            for shape in self._drawn[self._owner == at]
            for turn in _CIRCLES
        ]
        return min(distances, default=float("inf"))

    # --- In the plane, for whoever looks for a way round ------------------------------

    @cached_property
    def _in_plane(self) -> tuple[AnyArray, NDArray[np.intp]]:
        return in_plane(np.array([area.shape for area in self._areas], dtype=object))

    @property
    def _drawn(self) -> AnyArray:
        """The areas' parts without clearance, shape (p,)."""
        return self._in_plane[0]

    @property
    def _owner(self) -> NDArray[np.intp]:
        return self._in_plane[1]

    @cached_property
    def _solid(self) -> AnyArray:
        """What is to be kept off as one: the parts, shape (p,); those that touch are one.

        Seams between tiles of one coast must not open when rims come off; with a clearance
        there are none, and who owns a part stays known.
        """
        return self._drawn if self._clearance_nm > 0.0 else joined(self._drawn)

    @cached_property
    def _boxes(self) -> Array:
        """West, south, east, north of every solid with its clearance, shape (p, 4)."""
        bounds = shapely.bounds(self._solid)
        return np.asarray(bounds + self._reach_deg(bounds) * [-1.0, -1.0, 1.0, 1.0])

    def _reach_deg(self, bounds: Array) -> Array:
        lat = np.abs(geodesy.latitude_from_isometric(bounds[:, [1, 3]])).max(axis=1)
        off_nm = 1.02 * self._clearance_nm + 2.0 * TOUCH_M / METRES_PER_NM
        farthest = np.minimum(lat + off_nm / 55.0, POLE_DEG)
        return np.asarray(off_nm / geodesy.miles_per_degree(farthest))[:, np.newaxis]

    @staticmethod
    def _touch_deg(north_deg: float) -> Array:
        lat = geodesy.latitude_from_isometric(north_deg)
        return np.asarray(TOUCH_M / METRES_PER_NM / geodesy.miles_per_degree(lat))

    @cached_property
    def _tree(self) -> Any:
        return shapely.STRtree(shapely.box(*self._boxes.T))

    @cached_property
    def _extent(self) -> Array:
        """West, south, east, north of all there is, in degrees."""
        return np.concatenate((self._boxes[:, :2].min(axis=0), self._boxes[:, 2:].max(axis=0)))

    @cached_property
    def _grown(self) -> AnyArray:
        """Every solid as no piece may meet it, shape (p,); None until it is asked for."""
        return np.full(len(self._solid), None, dtype=object)

    @cached_property
    def _ready(self) -> BoolArray:
        return np.zeros(len(self._solid), dtype=bool)

    def forbidden(self, solids: NDArray[np.intp], box: Array) -> AnyArray:
        """Return what no piece may meet of some solids, shape (s,), within a box [°]."""
        return _clipped(self._forbidden(solids), box)

    def reaching_into(self, box: Array) -> tuple[NDArray[np.intp], Array, Array]:
        """Return the solids that reach into a box of the plane, not turned by whole circles.

        Returns
        -------
        solids : ndarray of int, shape (s,)
        boxes : ndarray, shape (s, 4)
            West, south, east and north of each with its clearance. [°]
        corners : ndarray, shape (s,)
            About how many stand out of each.
        """
        solids = np.sort(self._tree.query(shapely.box(*box)))
        return solids, self._boxes[solids], self._weights[solids]

    def boxes_of(self, solids: NDArray[np.intp]) -> Array:
        """West, south, east and north of some solids with their clearance, shape (s, 4) [°]."""
        return np.asarray(self._boxes[solids])

    @cached_property
    def _weights(self) -> Array:
        # Half of the vertices stand out; no more than a dozen of them are far apart.
        points = shapely.get_num_coordinates(self._solid)
        size = shapely.length(self._solid)
        spread = size * geodesy.miles_per_degree(
            geodesy.latitude_from_isometric(shapely.bounds(self._solid)[:, 1])
        )
        return np.asarray(np.minimum(0.6 * points, 4.0 + spread / max(self._clearance_nm, 0.02)))

    def _forbidden(self, solids: NDArray[np.intp]) -> AnyArray:
        """Return what no piece may meet: solids with their clearance, or all but their rims."""
        ready = self._ready[solids]
        if not ready.all():
            missing = np.unique(solids[~ready])
            shapes, off_nm = self._solid[missing], self._clearance_nm
            self._grown[missing] = grown(shapes, off_nm) if off_nm else shrunk(shapes, TOUCH_M)
            shapely.prepare(self._grown[missing])
            self._ready[missing] = True
        return np.asarray(self._grown[solids])

    @cached_property
    def _hearts(self) -> Array:
        """Middle and radius of a circle within every grown solid, shape (p, 3)."""
        return np.full((len(self._solid), 3), np.nan)

    def _hearts_of(self, solids: NDArray[np.intp]) -> Array:
        """Return such circles, shape (s, 3); of radius zero where the middle lies outside."""
        missing = np.unique(solids[np.isnan(self._hearts[solids, 2])])
        if missing.size:
            shapes = self._forbidden(missing)
            middle = shapely.centroid(shapes)
            radius = shapely.distance(middle, shapely.boundary(shapes)) * (1.0 - 1e-9)
            radius[~shapely.contains(shapes, middle)] = 0.0
            self._hearts[missing, :2] = shapely.get_coordinates(middle)
            self._hearts[missing, 2] = radius
        return np.asarray(self._hearts[solids])

    def _plane(self, lat: Array, lon: Array) -> tuple[Array, Array]:
        west, _, east, _ = self._extent
        middle = 0.5 * (west + east)
        return middle + wrap_180(lon - middle), geodesy.isometric_latitude(lat)

    def _ends(
        self, lat1: ArrayLike, lon1: ArrayLike, lat2: ArrayLike, lon2: ArrayLike
    ) -> tuple[Array, Array, Array, Array]:
        lats, lons = np.atleast_1d(lat1).astype(float), np.atleast_1d(lon1).astype(float)
        east, north = self._plane(lats, lons)
        far_east = east + wrap_180(np.asarray(lon2, dtype=float) - lons)
        far_north = np.atleast_1d(geodesy.isometric_latitude(lat2))
        return east, north, far_east, far_north

    def _turns(self, ends: Array) -> list[float]:
        """Whole circles by which pieces must be turned to meet what lies beyond half a circle."""
        west, _, east, _ = self._extent
        low, high = np.minimum(ends[:, 0], ends[:, 2]), np.maximum(ends[:, 0], ends[:, 2])
        return [turn for turn in _CIRCLES if np.any((high + turn >= west) & (low + turn <= east))]

    def _crossed(self, lat1: Array, lon1: Array, lat2: Array, lon2: Array) -> BoolArray:
        _, south, _, north = self._extent
        low, high = geodesy.latitude_from_isometric(np.array([south, north]))
        # Sifted by latitude before anything is worked out; a NaN passes no comparison.
        near = (np.maximum(lat1, lat2) >= low) & (np.minimum(lat1, lat2) <= high)
        near = np.flatnonzero(near & np.isfinite(lon1 + lon2))
        crossed = np.zeros(len(lat1), dtype=bool)
        if near.size:
            ends = self._ends(lat1[near], lon1[near], lat2[near], lon2[near])
            crossed[near] = self.met(np.column_stack(ends))
        return crossed

    @cached_property
    def _grid(self) -> _Grid:
        shapes = self._forbidden(np.arange(len(self._solid)))
        return _Grid.over(shapes, self._tree, self._extent)

    def met(self, ends: Array) -> BoolArray:
        """Tell which pieces in the plane cross an area.

        Parameters
        ----------
        ends : ndarray, shape (n, 4)
            Longitude and isometric latitude of start and end. [°]
        """
        hit = np.zeros(len(ends), dtype=bool)
        for turn in self._turns(ends):
            turned = _turned(ends, turn)
            if not self._asks_much(len(ends)):
                hit |= self._meeting(turned)
                continue
            for start in range(0, len(ends), _AT_ONCE):
                some = slice(start, start + _AT_ONCE)
                hit[some] |= self._sifted(turned[some])
        return hit

    def _asks_much(self, pieces: int) -> bool:
        """Whether a grid, for which every solid must be grown, has come to repay its making."""
        self._asked += pieces
        return "_grid" in self.__dict__ or self._asked >= max(MANY, MANY_EACH * len(self._solid))

    def _sifted(self, ends: Array) -> BoolArray:
        """Let the grid decide what it can; cut what is long, so that it can decide more."""
        hit = np.zeros(len(ends), dtype=bool)
        open_ = self._grid.taken(ends)
        hit[open_] = self._grid.in_the_midst(ends[open_])
        open_ = open_[~hit[open_]]
        pieces, of_end = _cut(ends[open_], self._grid.cell_deg * _CELLS_LONG)
        if len(pieces) > len(open_):
            kept = self._grid.taken(pieces)
            pieces, of_end = pieces[kept], of_end[kept]
        hit[open_[of_end[self._meeting(pieces)]]] = True
        return hit

    def _meeting(self, ends: Array) -> BoolArray:
        """Tell which pieces in the plane meet what is forbidden, exactly."""
        hit = np.zeros(len(ends), dtype=bool)
        if len(ends) <= FEW_LINES:
            hit[self._pairs(ends)[0]] = True
            return hit
        lines = _lines(*ends.T)
        line, solid = self._tree.query(lines)
        hearts = self._hearts_of(solid)
        hit[line[_apart(ends[line], hearts[:, :2]) < hearts[:, 2]]] = True
        open_ = np.flatnonzero(~hit[line])
        line, solid, _run = self._those_met(line[open_], solid[open_], lines)
        hit[line] = True
        return hit

    def _pairs(self, ends: Array) -> tuple[NDArray[np.intp], NDArray[np.intp], AnyArray]:
        """Return which piece meets which solid, and the pieces as lines."""
        lines = _lines(*ends.T)
        closely = "intersects" if len(lines) <= FEW_LINES else None
        line, solid = self._tree.query(lines, predicate=closely)
        return self._those_met(line, solid, lines)

    def _those_met(
        self, line: NDArray[np.intp], solid: NDArray[np.intp], lines: AnyArray
    ) -> tuple[NDArray[np.intp], NDArray[np.intp], AnyArray]:
        """Return which of pieces and solids meet."""
        # Pieces in order of solid, so that each prepared shape stays at hand.
        order = np.argsort(solid, kind="stable")
        line, solid = line[order], solid[order]
        met = shapely.intersects(self._forbidden(solid), lines[line])
        return line[met], solid[met], lines

    def seen(self, ends: Array, sight_deg: float) -> BoolArray:
        """Tell which lines in the plane cross nothing where most do: piece by piece from the start.

        Parameters
        ----------
        ends : ndarray, shape (n, 4)
            As for `met`. [°]
        sight_deg : float
            So long pieces are looked at one after the other. [°]
        """
        length = np.hypot(*(ends[:, 2:] - ends[:, :2]).T)
        free = np.ones(len(ends), dtype=bool)
        done, piece = np.zeros(len(ends)), sight_deg
        while True:
            open_ = np.flatnonzero(free & (done < length))
            if not open_.size:
                return free
            until = np.minimum(done[open_] + piece, length[open_])
            along = (ends[open_, 2:] - ends[open_, :2]) / length[open_, np.newaxis]
            start = ends[open_, :2] + along * done[open_, np.newaxis]
            # The last piece ends where the line does, to the last digit.
            last = (until >= length[open_])[:, np.newaxis]
            end = np.where(last, ends[open_, 2:], ends[open_, :2] + along * until[:, np.newaxis])
            free[open_] = ~self.met(np.concatenate((start, end), axis=1))
            done[open_] = until

    def solids_met(self, ends: Array) -> NDArray[np.intp]:
        """Return what pieces in the plane cross, as `corners` numbers it, each once."""
        found = [self._pairs(_turned(ends, turn))[1] for turn in self._turns(ends)]
        return np.unique(np.concatenate(found)) if found else np.zeros(0, dtype=np.intp)

    def area_of(self, solid: int, north_deg: float, east_deg: float) -> Area:
        """Return the area that a solid is, or, where it is many, its nearest to a place."""
        if self._clearance_nm > 0.0:
            return self._areas[int(self._owner[solid])]
        return self.areas_along(np.array([[east_deg, north_deg]]))[0]

    def shapes_in(self, box: Array) -> AnyArray:
        """Return what no piece may meet in a box of the plane, west, south, east, north [°]."""
        return self._turned_into(box, self._forbidden, self._tree)

    def drawn_in(self, box: Array) -> AnyArray:
        """Return the areas without clearance that reach into a box of the plane [°]."""
        return self._turned_into(box, lambda parts: self._drawn[parts], self._drawn_tree)

    @cached_property
    def _drawn_tree(self) -> Any:
        return shapely.STRtree(self._drawn)

    def _turned_into(
        self, box: Array, shapes: Callable[[NDArray[np.intp]], AnyArray], tree: Any
    ) -> AnyArray:
        found = []
        for turn in _CIRCLES:
            near = shapes(np.sort(tree.query(shapely.box(*_turned(box, turn)))))
            found.append(moved(near, np.tile([-turn, 0.0], (len(near), 1))) if turn else near)
        return np.concatenate(found)

    def areas_along(self, points: Array) -> list[Area]:
        """Return the areas nearest to places in the plane, shape (n, 2), each once, in order."""
        west, _, east, _ = self._extent
        middle = 0.5 * (west + east)
        places = np.column_stack((middle + wrap_180(points[:, 0] - middle), points[:, 1]))
        nearest = self._drawn_tree.nearest(shapely.points(places))
        return [self._areas[i] for i in dict.fromkeys(self._owner[nearest].tolist())]

    def in_plane(self, lat1: float, lon1: float, lat2: float, lon2: float) -> Array:
        """Draw a leg in the plane: longitude and isometric latitude of both ends, shape (4,)."""
        return np.concatenate(self._ends(lat1, lon1, lat2, lon2))

    def corners(self, solids: NDArray[np.intp], box: Array, spacing_nm: float = 0.0) -> Corners:
        """Return the outward corners of areas with their clearance, about which lines may bend.

        Lines from corner to corner along an outline cross nothing. Corners that lie over
        another area are left out.

        Parameters
        ----------
        solids : ndarray of int, shape (s,)
            As `solids_met` numbers them.
        box : ndarray, shape (4,)
            West, south, east and north in the plane; corners outside are left out. [°]
        spacing_nm : float
            Corners closer together become one, a little farther out, where they turn by
            45° or less between them. [nm]
        """
        found = [self._corners(solids, _turned(box, turn), spacing_nm, turn) for turn in _CIRCLES]
        places, before, after = (
            np.concatenate(each) for each in list(zip(*found, strict=True))[:3]
        )
        solid = np.concatenate([each.solid for each in found])
        ends = np.concatenate((places, places), axis=1)
        free = ~self.met(ends)
        over = self.solids_met(ends[~free])
        return Corners(places[free], before[free], after[free], solid[free], over)

    def _corners(
        self, solids: NDArray[np.intp], box: Array, spacing_nm: float, turn: float
    ) -> Corners:
        own = self._boxes[solids]
        near = np.all(own[:, :2] <= box[2:], axis=1) & np.all(own[:, 2:] >= box[:2], axis=1)
        solids = solids[near]
        frame = box + self._reach_deg(box[np.newaxis])[0] * [-3.0, -3.0, 3.0, 3.0]
        shapes = _clipped(self._solid[solids], frame)
        if self._clearance_nm > 0.0:
            shapes = grown(shapes, self._clearance_nm, beyond_m=TOUCH_M)
        points, before, after, number = outward_corners(shapes, FLAT_M, spacing_nm)
        inside = np.all((points >= box[:2]) & (points <= box[2:]), axis=1)
        back = np.array([turn, 0.0])
        return Corners(
            points[inside] - back,
            before[inside] - back,
            after[inside] - back,
            solids[number[inside]],
            solids[:0],
        )


def _clipped(shapes: AnyArray, frame: Array) -> AnyArray:
    """Leave out what lies beyond a frame of shapes that reach beyond it."""
    bounds = shapely.bounds(shapes)
    out = np.any(bounds[:, :2] < frame[:2], axis=1) | np.any(bounds[:, 2:] > frame[2:], axis=1)
    clipped = shapes.copy()
    clipped[out] = shapely.intersection(shapes[out], shapely.box(*frame))
    return clipped


def _check(area: Area) -> None:
    what = area.name or f"an area of kind {area.kind}"
    where = area.source or None
    kind = getattr(area.shape, "geom_type", type(area.shape).__name__)
    if kind not in ("Polygon", "MultiPolygon"):
        raise InputError(f"{what} must be a polygon, got a {kind}", where=where)
    if area.shape.is_empty:
        raise InputError(f"{what} is empty", where=where)
    west, south, east, north = area.shape.bounds
    if not (-90.0 <= south <= north <= 90.0 and -540.0 <= west <= east <= 540.0):
        raise InputError(
            f"{what} reaches from {south:g}, {west:g} to {north:g}, {east:g}: latitudes must be "
            "-90 to 90 and longitudes -180 to 180",
            where=where,
        )


def _turned(ends: Array, turn_deg: float) -> Array:
    """Turn pieces or boxes in the plane by whole circles."""
    return np.asarray(ends + np.array([turn_deg, 0.0, turn_deg, 0.0]))


def _apart(ends: Array, places: Array) -> Array:
    """How far pieces in the plane, shape (n, 4), pass from places, shape (n, 2)."""
    run, off = ends[:, 2:] - ends[:, :2], places - ends[:, :2]
    square = np.maximum(np.einsum("ij,ij->i", run, run), 1e-300)
    share = np.clip(np.einsum("ij,ij->i", run, off) / square, 0.0, 1.0)
    return np.asarray(np.hypot(*(off - share[:, np.newaxis] * run).T))


def _lines(east1: Array, north1: Array, east2: Array, north2: Array) -> AnyArray:
    points = np.stack((np.stack((east1, north1), -1), np.stack((east2, north2), -1)), axis=1)
    return np.asarray(shapely.linestrings(points))


def _signed_nm(shape: Any, lat: float, lon: float, east: float, north: float) -> float:
    place = shapely.Point(east, north)
    nearest = shapely.get_coordinates(shapely.shortest_line(place, shape.boundary))[1]
    foot = float(geodesy.latitude_from_isometric(nearest[1])), float(wrap_longitude(nearest[0]))
    distance = float(geodesy.geodesic_inverse(lat, lon, *foot).distance_nm)
    return -distance if shapely.intersects(shape, place) else distance


def _cut(ends: Array, longest_deg: Array) -> tuple[Array, NDArray[np.intp]]:
    """Cut pieces into equal ones no longer than this; say which piece each is part of."""
    share = np.max(np.abs(ends[:, 2:] - ends[:, :2]) / longest_deg, axis=1)
    count = np.maximum(np.ceil(share), 1.0).astype(np.intp)
    of_end = np.repeat(np.arange(len(ends)), count)
    if len(of_end) == len(ends):
        return ends, of_end
    number = np.arange(len(of_end)) - np.repeat(np.cumsum(count) - count, count)
    start, step = ends[of_end, :2], (ends[:, 2:] - ends[:, :2])[of_end]
    number, parts = number[:, np.newaxis], count[of_end, np.newaxis]
    # Computed alike, so that one piece ends exactly where the next begins.
    first, last = start + step * (number / parts), start + step * ((number + 1) / parts)
    return np.concatenate((first, last), axis=1), of_end


@dataclass(frozen=True, slots=True, eq=False)
class _Grid:
    """Which cells of a grid of the plane hold anything, summed up from a corner."""

    corner: Array
    cell_deg: Array
    """Shape (2,): its width and its height."""
    sums: NDArray[np.int64]
    full: BoolArray
    """Cells that lie wholly in what is forbidden."""

    @classmethod
    def over(cls, shapes: AnyArray, tree: Any, extent: Array) -> _Grid:
        west, south, east, north = extent
        across, up = np.linspace(west, east, CELLS + 1), np.linspace(south, north, CELLS + 1)
        boxes = shapely.box(
            across[:-1, np.newaxis], up[np.newaxis, :-1], across[1:, np.newaxis], up[np.newaxis, 1:]
        ).ravel()
        box, part = tree.query(boxes)
        order = np.argsort(part, kind="stable")
        box, part = box[order], part[order]
        taken, full = np.zeros(len(boxes), dtype=np.int64), np.zeros(len(boxes), dtype=bool)
        met = shapely.intersects(shapes[part], boxes[box])
        box, part = box[met], part[met]
        taken[box] = 1
        full[box[shapely.contains_properly(shapes[part], boxes[box])]] = True
        sums = np.zeros((CELLS + 1, CELLS + 1), dtype=np.int64)
        sums[1:, 1:] = taken.reshape(CELLS, CELLS).cumsum(axis=0).cumsum(axis=1)
        size = np.array([east - west, north - south]) / CELLS
        return cls(np.array([west, south]), size, sums, full.reshape(CELLS, CELLS))

    def _cells(self, points: Array, wider: float) -> NDArray[np.intp]:
        cells = np.floor((points - self.corner) / self.cell_deg + wider)
        return np.clip(cells, -1, CELLS).astype(np.intp)

    def taken(self, ends: Array) -> NDArray[np.intp]:
        """Return which pieces have a cell that holds anything in the box about them."""
        low = np.minimum(ends[:, :2], ends[:, 2:])
        high = np.maximum(ends[:, :2], ends[:, 2:])
        # A hair wider: what lies on a cell's edge belongs to both.
        i, j = np.clip(self._cells(low, -1e-6), 0, CELLS).T
        k, m = np.clip(self._cells(high, 1e-6) + 1, 0, CELLS).T
        found = self.sums[k, m] - self.sums[i, m] - self.sums[k, j] + self.sums[i, j]
        return np.flatnonzero(found > 0)

    def in_the_midst(self, ends: Array) -> BoolArray:
        """Tell which pieces begin in a cell that is wholly forbidden."""
        i, j = self._cells(ends[:, :2], 0.0).T
        known = (i >= 0) & (j >= 0) & (i < CELLS) & (j < CELLS)
        full = self.full[np.where(known, i, 0), np.where(known, j, 0)]
        return np.asarray(known & full)
