"""Fields on grids and at stations, interpolated as components.

A field is a table of values, one row per step of time and one column per
point; a grid is whatever can name, for a position, the few points around it
and their weights. So every kind of grid (regular, Gaussian, reduced, projected,
scattered stations) shares one interpolation: linear in time, and in space as
the grid's weights say (bilinear on grids). Only components are interpolated,
never angles. A position or time outside, or a missing point with any weight,
gives NaN.

Rows of points run northwards and columns eastwards, so ``lat`` and ``lon`` (or
the projection's ``y`` and ``x``) ascend.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from goosewing.errors import InputError
from goosewing.units import Array
from goosewing.weather.base import (
    GUST,
    STREAM,
    WIND,
    Conditions,
    Coverage,
    Name,
    datetime_from_hours,
    intersect,
)
from goosewing.weather.steady import LARGEST_DRIFT_KN, LARGEST_WIND_KN

IndexArray = NDArray[np.intp]

EDGE_DEG = 1e-3
"""How far outside its edge a grid still answers, as on the edge: GRIB 1 rounds to this. [°]"""

EDGE_CELLS = 1e-3
"""The same for projected grids, in cells."""

FULL_TURN_DEG = 360.0

CHUNK = 16_384
"""States interpolated at once, so that what belongs to them stays in the processor's cache."""

STATION_REACH_NM = 60.0
"""How far from the nearest station its values still hold (common practice, no source). [nm]"""

NM_PER_DEGREE_OF_LATITUDE = 60.0
"""On the sphere of the navigator's rule: weights between stations need no better. [nm]"""


class Grid(Protocol):
    """Names the points around a position, and their weights."""

    @property
    def points(self) -> int:
        """How many points the grid has."""
        ...

    @property
    def box(self) -> Coverage:
        """Where the grid has values."""
        ...

    def corners(self, lat: Array, lon: Array) -> tuple[IndexArray, Array]:
        """Points around each position, and their weights.

        Parameters
        ----------
        lat, lon : ndarray, shape (n,)
            Positions; longitudes of any winding. [°]

        Returns
        -------
        index : ndarray of int, shape (m, n)
            Numbers of the points.
        weight : ndarray, shape (m, n)
            Their weights, summing to 1; NaN outside the grid.
        """
        ...


@dataclass(frozen=True, slots=True)
class Axis:
    """Ascending coordinates along one side of a grid.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Coordinates, ascending strictly. [° or m]
    period : float, optional
        Coordinates this far apart are the same place (360° of longitude).
    edge : float
        How far outside the ends still counts as on them.
    """

    values: Array
    period: float | None = None
    edge: float = EDGE_DEG
    step: float | None = field(init=False)
    """Distance between neighbours, None where they are not evenly spaced."""
    closed: bool = field(init=False)
    """Whether the last point's neighbour is the first one again."""

    def __post_init__(self) -> None:
        values = self.values
        if values.ndim != 1 or values.size == 0 or not np.isfinite(values).all():
            raise InputError("a grid's coordinates must be numbers along one side")
        gaps = np.diff(values)
        if (gaps <= 0.0).any():
            at = int(np.argmax(gaps <= 0.0)) + 1
            raise InputError(f"a grid's coordinates must ascend, but number {at + 1} does not")
        object.__setattr__(self, "step", _even_step(values))
        object.__setattr__(self, "closed", self._closes())

    def _closes(self) -> bool:
        if self.period is None or self.values.size < 2:
            return False
        gap = self.values[0] + self.period - self.values[-1]
        largest = float(np.diff(self.values).max())
        return bool(self.edge < gap <= largest + self.edge)

    @property
    def spans_period(self) -> bool:
        """Whether every coordinate lies between two points."""
        if self.period is None:
            return False
        return self.closed or bool(self.values[-1] - self.values[0] >= self.period - self.edge)

    def index(self, coordinate: Array) -> Array:
        """Fractional index of each coordinate; NaN outside.

        Returns
        -------
        ndarray, shape (...)
            From 0 to n - 1, or to n where the axis closes on itself.
        """
        first, size = self.values[0], self.values.size
        offset = coordinate - first
        if self.period is not None:
            offset = offset - self.period * np.floor(offset / self.period)
            # Just west of the first point is a hair outside it, not a whole turn away.
            offset = np.where(offset > self.period - self.edge, offset - self.period, offset)
            if self.closed:
                offset = np.where(offset < 0.0, offset + self.period, offset)
        if self.step is not None:
            index = offset / self.step
            edge = self.edge / self.step
        else:
            known = self.values - first
            if self.closed and self.period is not None:
                known = np.append(known, self.period)
            index = np.interp(offset, known, np.arange(known.size, dtype=np.float64))
            index = np.where(offset < -self.edge, -1.0, index)
            index = np.where(offset > known[-1] + self.edge, known.size + 1.0, index)
            edge = 0.0
        last = float(size if self.closed else size - 1)
        index = np.where((index < -edge) | (index > last + edge), np.nan, index)
        return np.minimum(np.maximum(index, 0.0), last)

    def neighbours(self, index: Array) -> tuple[IndexArray, IndexArray, Array]:
        """Point below, point above and the fraction of the way; NaN fractions stay NaN."""
        size = self.values.size
        if size == 1:
            nought = np.zeros(index.shape, dtype=np.intp)
            return nought, nought, index
        most = size - 1 if self.closed else size - 2
        # `fmax` and `fmin` take the number where the other is NaN.
        low = np.fmin(np.fmax(index, 0.0), most).astype(np.intp)
        high = low + 1
        if self.closed:
            high = np.where(high == size, 0, high)
        return low, high, index - low


def _even_step(values: Array) -> float | None:
    if values.size < 2:
        return 1.0
    step = float(values[-1] - values[0]) / (values.size - 1)
    even = values[0] + step * np.arange(values.size)
    return step if bool(np.abs(values - even).max() <= 1e-6 * step) else None


def longitude_axis(lon: ArrayLike) -> Axis:
    """Axis of longitudes that run eastwards, of any winding (0 to 360, across 180° …).

    Raises
    ------
    InputError
        If they do not run eastwards, or cover more than one turn.
    """
    values = np.atleast_1d(np.asarray(lon, dtype=np.float64))
    values = np.unwrap(values, period=FULL_TURN_DEG)
    if values[-1] - values[0] > FULL_TURN_DEG + EDGE_DEG:
        raise InputError("a grid's longitudes must not cover more than one turn")
    return Axis(values, period=FULL_TURN_DEG)


def _bilinear(x_axis: Axis, y_axis: Axis, x: Array, y: Array) -> tuple[IndexArray, Array]:
    west, east, right = x_axis.neighbours(x_axis.index(x))
    south, north, up = y_axis.neighbours(y_axis.index(y))
    width = x_axis.values.size
    south, north = south * width, north * width
    index, weight = np.empty((4, right.size), dtype=np.intp), np.empty((4, right.size))
    left, down = 1.0 - right, 1.0 - up
    for k, (row, column, rise, run) in enumerate((
        (south, west, down, left), (south, east, down, right),
        (north, west, up, left), (north, east, up, right),
    )):  # fmt: skip
        np.add(row, column, out=index[k])
        np.multiply(rise, run, out=weight[k])
    return index, weight


@dataclass(frozen=True, slots=True)
class LatLonGrid:
    """Points on parallels and meridians, evenly spaced or not (Gaussian).

    Parameters
    ----------
    lat, lon : ndarray, shape (ny,), (nx,)
        Northwards and eastwards; longitudes of any winding. [°]

    Raises
    ------
    InputError
        If one does not ascend, or is not finite.
    """

    lat: Array
    lon: Array
    _y: Axis = field(init=False, repr=False)
    _x: Axis = field(init=False, repr=False)

    def __post_init__(self) -> None:
        lat = np.atleast_1d(np.asarray(self.lat, dtype=np.float64))
        object.__setattr__(self, "_y", Axis(lat))
        object.__setattr__(self, "_x", longitude_axis(self.lon))

    @property
    def points(self) -> int:
        """How many points the grid has."""
        return self._x.values.size * self._y.values.size

    @property
    def box(self) -> Coverage:
        """Where the grid has values."""
        return _box(self._y.values, self._x)

    def corners(self, lat: Array, lon: Array) -> tuple[IndexArray, Array]:
        """Four points around each position, and bilinear weights (see `Grid.corners`)."""
        return _bilinear(self._x, self._y, lon, lat)


def _box(lat: Array, x_axis: Axis) -> Coverage:
    south, north = float(lat.min()), float(lat.max())
    if x_axis.spans_period:
        return Coverage(lat_south=south, lat_north=north)
    west, east = float(x_axis.values[0]), float(x_axis.values[-1])
    turn = FULL_TURN_DEG * np.floor((west + 180.0) / FULL_TURN_DEG)
    return Coverage(lat_south=south, lat_north=north, lon_west=west - turn, lon_east=east - turn)


@dataclass(frozen=True, slots=True)
class ReducedGrid:
    """Rows of evenly spaced points right round the earth, fewer towards the poles.

    Linear along the two rows around a position, then linear between them.

    Parameters
    ----------
    lat : ndarray, shape (ny,)
        Parallels, northwards. [°]
    counts : ndarray of int, shape (ny,)
        Points on each parallel, the first on the meridian of Greenwich.
    """

    lat: Array
    counts: IndexArray
    _y: Axis = field(init=False, repr=False)
    _starts: IndexArray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_y", Axis(self.lat))
        object.__setattr__(self, "_starts", np.cumsum(self.counts) - self.counts)

    @property
    def points(self) -> int:
        """How many points the grid has."""
        return int(self.counts.sum())

    @property
    def box(self) -> Coverage:
        """Where the grid has values."""
        return Coverage(lat_south=float(self.lat[0]), lat_north=float(self.lat[-1]))

    def corners(self, lat: Array, lon: Array) -> tuple[IndexArray, Array]:
        """Two points on each of the two rows around a position (see `Grid.corners`)."""
        south, north, up = self._y.neighbours(self._y.index(lat))
        turn = np.mod(np.where(np.isfinite(lon), lon, 0.0) / FULL_TURN_DEG, 1.0)
        up = np.where(np.isfinite(lon), up, np.nan)
        low, high = self._along(south, turn), self._along(north, turn)
        index = np.stack((low[0], low[1], high[0], high[1]))
        down = 1.0 - up
        return index, np.stack(
            (down * (1.0 - low[2]), down * low[2], up * (1.0 - high[2]), up * high[2])
        )

    def _along(self, row: IndexArray, turn: Array) -> tuple[IndexArray, IndexArray, Array]:
        count, start = self.counts[row], self._starts[row]
        along = turn * count
        west = along.astype(np.intp) % count
        return start + west, start + (west + 1) % count, along - np.floor(along)


@dataclass(frozen=True, slots=True)
class ProjectedGrid:
    """Points on the straight lines of a map projection.

    Parameters
    ----------
    projection : str
        As PROJ writes it.
    x, y : ndarray, shape (nx,), (ny,)
        Coordinates in the projection, ascending. [m, or ° for rotated lat/lon]
    x_period : float, optional
        What x goes round by (360 for rotated lat/lon).
    unit : float
        What one of `x` and `y` is in PROJ's own numbers.
    """

    projection: str
    x: Array
    y: Array
    x_period: float | None = None
    unit: float = 1.0
    _x: Axis = field(init=False, repr=False)
    _y: Axis = field(init=False, repr=False)
    _proj: Any = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        from pyproj import Proj

        object.__setattr__(self, "_proj", Proj(self.projection))
        object.__setattr__(self, "_x", Axis(self.x, self.x_period, self._edge(self.x)))
        object.__setattr__(self, "_y", Axis(self.y, None, self._edge(self.y)))

    @staticmethod
    def _edge(values: Array) -> float:
        if values.size < 2:
            return EDGE_DEG
        return max(EDGE_CELLS * float(values[-1] - values[0]) / (values.size - 1), 0.0)

    @property
    def points(self) -> int:
        """How many points the grid has."""
        return self.x.size * self.y.size

    @property
    def box(self) -> Coverage:
        """The smallest box of parallels and meridians around the grid."""
        lat, lon = self.positions()
        return enclosing_box(lat.ravel(), lon.ravel())

    def positions(self) -> tuple[Array, Array]:
        """Latitude and longitude of every point.

        Returns
        -------
        lat, lon : ndarray, shape (ny, nx)
            [°]
        """
        return self._unproject(*np.meshgrid(self.x, self.y))

    def _unproject(self, x: Array, y: Array) -> tuple[Array, Array]:
        lon, lat = self._proj(x * self.unit, y * self.unit, inverse=True)
        return np.asarray(lat), np.asarray(lon)

    def project(self, lat: Array, lon: Array) -> tuple[Array, Array]:
        """Coordinates in the projection; not finite where it has none.

        Returns
        -------
        x, y : ndarray, shape (...)
            [m, or ° for rotated lat/lon]
        """
        x, y = self._proj(lon, lat)
        return np.asarray(x) / self.unit, np.asarray(y) / self.unit

    def corners(self, lat: Array, lon: Array) -> tuple[IndexArray, Array]:
        """Four points around each position, and bilinear weights (see `Grid.corners`)."""
        known = np.isfinite(lat) & np.isfinite(lon) & (np.abs(lat) <= 90.0)
        x, y = self.project(np.where(known, lat, 0.0), np.where(known, lon, 0.0))
        known &= np.isfinite(x) & np.isfinite(y)
        return _bilinear(self._x, self._y, np.where(known, x, np.nan), np.where(known, y, np.nan))

    def true_from_grid(self, along_x: ArrayLike, along_y: ArrayLike) -> tuple[Array, Array]:
        """Turn vectors along the grid's axes to true east and north.

        Parameters
        ----------
        along_x, along_y : ndarray, shape (..., ny, nx)
            Components towards ascending x and ascending y.

        Returns
        -------
        east, north : ndarray, shape (..., ny, nx)
            Components *towards* true east and north, in the same unit.

        Notes
        -----
        Each axis' direction on the ground is the difference of two positions a
        small step apart on it, so no projection needs a formula of its own.
        """
        x_east, x_north = self._direction(1.0, 0.0)
        y_east, y_north = self._direction(0.0, 1.0)
        right, up = np.asarray(along_x), np.asarray(along_y)
        return right * x_east + up * y_east, right * x_north + up * y_north

    def _direction(self, right: float, up: float) -> tuple[Array, Array]:
        x, y = np.meshgrid(self.x, self.y)
        # A ten-thousandth of a cell: far above rounding, far below any curvature.
        small = 1e-4 * float(self._x.step or 1.0)
        lat_1, lon_1 = self._unproject(x - right * small, y - up * small)
        lat_2, lon_2 = self._unproject(x + right * small, y + up * small)
        lon_change = (lon_2 - lon_1 + 180.0) % FULL_TURN_DEG - 180.0
        east = lon_change * np.cos(np.radians(0.5 * (lat_1 + lat_2)))
        north = lat_2 - lat_1
        length = np.hypot(east, north)
        return east / length, north / length


def enclosing_box(lat: Array, lon: Array) -> Coverage:
    """Smallest box of parallels and meridians around positions, across 180° if need be.

    Parameters
    ----------
    lat, lon : ndarray, shape (n,)
        [°]

    Returns
    -------
    Coverage
        Without times; no meridians where the longitudes go all round.
    """
    south, north = float(np.min(lat)), float(np.max(lat))
    around = np.unique(np.mod(lon, FULL_TURN_DEG))
    gaps = np.diff(np.append(around, around[0] + FULL_TURN_DEG))
    widest = int(np.argmax(gaps))
    # A grid that holds the pole has no gap worth the name.
    if gaps[widest] < 10.0 and around.size > 1:
        return Coverage(lat_south=south, lat_north=north)
    west = float(around[(widest + 1) % around.size])
    west -= FULL_TURN_DEG * float(np.floor((west + 180.0) / FULL_TURN_DEG))
    east = west + FULL_TURN_DEG - float(gaps[widest])
    return Coverage(lat_south=south, lat_north=north, lon_west=west, lon_east=east)


@dataclass(frozen=True, slots=True)
class Stations:
    """Scattered positions, each with its own values.

    Between them every station counts by the inverse square of its distance: the
    value at a station is its own, and nothing exceeds the largest. Farther than
    `reach_nm` from all of them there are no values.

    Parameters
    ----------
    lat, lon : ndarray, shape (n,)
        [°]
    reach_nm : float
        [nm]
    """

    lat: Array
    lon: Array
    reach_nm: float = STATION_REACH_NM

    @property
    def points(self) -> int:
        """How many stations there are."""
        return self.lat.size

    @property
    def box(self) -> Coverage:
        """The box around the stations, widened by their reach."""
        inner = enclosing_box(self.lat, self.lon)
        if not np.isfinite(self.reach_nm) or inner.lat_south is None or inner.lat_north is None:
            return Coverage()
        rise = self.reach_nm / NM_PER_DEGREE_OF_LATITUDE
        south, north = max(inner.lat_south - rise, -90.0), min(inner.lat_north + rise, 90.0)
        widest = float(np.cos(np.radians(max(abs(south), abs(north)))))
        if inner.lon_west is None or inner.lon_east is None or widest < 1e-3:
            return Coverage(lat_south=south, lat_north=north)
        side = rise / widest
        west, east = inner.lon_west - side, inner.lon_east + side
        if east - west >= FULL_TURN_DEG:
            return Coverage(lat_south=south, lat_north=north)
        turn = FULL_TURN_DEG * float(np.floor((west + 180.0) / FULL_TURN_DEG))
        return Coverage(
            lat_south=south, lat_north=north, lon_west=west - turn, lon_east=east - turn
        )

    def corners(self, lat: Array, lon: Array) -> tuple[IndexArray, Array]:
        """Every station, and its weight (see `Grid.corners`)."""
        distance = _distance_nm(self.lat[:, None], self.lon[:, None], lat, lon)
        # A metre from a station is at it.
        weight = 1.0 / np.maximum(distance, 1.0 / 1852.0) ** 2
        weight = np.where(distance < 1.0 / 1852.0, 1e12, weight)
        weight /= weight.sum(axis=0)
        weight[:, ~(distance.min(axis=0) <= self.reach_nm)] = np.nan
        number = np.arange(self.points, dtype=np.intp)[:, None]
        return np.broadcast_to(number, weight.shape), weight


def _distance_nm(lat_1: Array, lon_1: Array, lat_2: Array, lon_2: Array) -> Array:
    # Haversine on the sphere of 60 nm to the degree.
    half_lat, half_lon = np.radians(lat_2 - lat_1) / 2.0, np.radians(lon_2 - lon_1) / 2.0
    cosines = np.cos(np.radians(lat_1)) * np.cos(np.radians(lat_2))
    chord = np.sqrt(np.sin(half_lat) ** 2 + cosines * np.sin(half_lon) ** 2)
    angle = np.degrees(2.0 * np.arcsin(np.minimum(chord, 1.0)))
    return np.asarray(angle * NM_PER_DEGREE_OF_LATITUDE)


@dataclass(frozen=True, slots=True)
class Everywhere:
    """One set of values that holds in every place."""

    @property
    def points(self) -> int:
        """One."""
        return 1

    @property
    def box(self) -> Coverage:
        """No limits."""
        return Coverage()

    def corners(self, lat: Array, lon: Array) -> tuple[IndexArray, Array]:
        """The one point, wholly; NaN where the position is (see `Grid.corners`)."""
        weight = 1.0 + 0.0 * (lat + lon)
        return np.zeros((1, weight.size), dtype=np.intp), weight[None, :]


@dataclass(frozen=True, eq=False)
class Layer:
    """What some columns are at the steps of time and the points of a grid.

    Parameters
    ----------
    names : tuple of str
        What each column means.
    grid : Grid
        Where the points are.
    times_h : ndarray, shape (nt,)
        Hours since 1970-01-01T00:00Z, ascending strictly. [h]
    values : ndarray, shape (nt, points, k)
        Components *towards* east and north, and speeds; NaN: missing. [kn]

    Raises
    ------
    InputError
        If shapes disagree, times do not ascend or nothing but NaN is held.
    """

    names: tuple[Name, ...]
    grid: Grid
    times_h: Array
    values: NDArray[np.floating[Any]]

    def __post_init__(self) -> None:
        expected = (self.times_h.size, self.grid.points, len(self.names))
        if self.values.shape != expected:
            raise InputError(f"values must have the shape {expected}, got {self.values.shape}")
        if self.times_h.size == 0 or not np.isfinite(self.times_h).all():
            raise InputError("a forecast needs at least one time")
        gaps = np.diff(self.times_h)
        if (gaps <= 0.0).any():
            time = datetime_from_hours(self.times_h[1:][gaps <= 0.0][0])
            raise InputError(f"times must increase, but {time:%Y-%m-%dT%H:%MZ} does not")
        if not np.isfinite(self.values[..., 0]).any():
            raise InputError(f"every value of {self.names[0]} is missing")
        # Rows side by side, so that one look-up fetches all columns of a point.
        object.__setattr__(self, "values", np.ascontiguousarray(self.values))

    @cached_property
    def steps(self) -> Axis:
        """The steps of time; rounding to the microsecond must not put the ends outside."""
        return Axis(self.times_h, edge=1e-8)

    @cached_property
    def box(self) -> Coverage:
        """Where and when the layer has values."""
        return replace(
            self.grid.box,
            start=datetime_from_hours(self.times_h[0]),
            end=datetime_from_hours(self.times_h[-1]),
        )

    def at(self, time_h: Array, lat: Array, lon: Array) -> Array:
        """Columns at each state.

        Parameters
        ----------
        time_h, lat, lon : ndarray, shape (n,)
            [h], [°], [°]

        Returns
        -------
        ndarray, shape (n, k)
            [kn]; NaN outside.
        """
        early, late, ahead = self.steps.neighbours(self.steps.index(time_h))
        index, weight = self.grid.corners(lat, lon)
        points = self.grid.points
        flat = self.values.reshape(-1, len(self.names))
        got = _blend(flat, index + early * points, weight * (1.0 - ahead))
        if self.times_h.size > 1:
            got += _blend(flat, index + late * points, weight * ahead)
        self._mend(got, (early, late, ahead), (index, weight))
        return got

    def _mend(
        self,
        got: Array,
        times: tuple[IndexArray, IndexArray, Array],
        places: tuple[IndexArray, Array],
    ) -> None:
        # A missing point with no weight (the state is exactly on its neighbour) is no harm,
        # yet nought times NaN is NaN: those few states are worked out again without it.
        (early, late, ahead), (index, weight) = times, places
        if not np.isnan(got).any():
            return
        bad = np.isnan(got).any(axis=1) & np.isfinite(weight[0] * ahead)
        if not bad.any():
            return
        flat = self.values.reshape(-1, len(self.names))
        again = np.zeros((int(bad.sum()), len(self.names)))
        for step, share in ((early, 1.0 - ahead), (late, ahead)):
            rows = index[:, bad] + step[bad] * self.grid.points
            parts = (weight * share)[:, bad, None]
            again += np.where(parts == 0.0, 0.0, parts * flat[rows]).sum(axis=0)
        got[bad] = again


def _blend(flat: NDArray[np.floating[Any]], index: IndexArray, weight: Array) -> Array:
    return np.asarray(np.einsum("mn,mnk->nk", weight, flat.take(index, axis=0)))


@dataclass(frozen=True, eq=False)
class GridWeather:
    """Wind, gust and stream from layers (a forecast, a table, a set of stations).

    Where no layer holds a stream there is none (0); where none holds a gust or a
    wind, it is NaN.

    Parameters
    ----------
    layers : tuple of Layer
        No name twice.
    """

    layers: tuple[Layer, ...]
    members: int = field(default=1, init=False)
    """Ensemble members: one."""

    def member(self, number: int) -> GridWeather:
        """Member `number` of the ensemble, from 0: here only itself.

        Raises
        ------
        InputError
            If there is no such member.
        """
        return _chosen((self,), number)

    @property
    def holds(self) -> frozenset[str]:
        """What the layers know."""
        return frozenset(name for layer in self.layers for name in layer.names)

    @cached_property
    def coverage(self) -> Coverage:
        """Where and when wind and stream are both known; a gust may be known for less."""
        counted = [layer for layer in self.layers if layer.names != GUST] or list(self.layers)
        return intersect(*(layer.box for layer in counted))

    @property
    def varies_in_time(self) -> bool:
        """Whether anything changes with time."""
        return any(layer.times_h.size > 1 for layer in self.layers)

    @property
    def varies_in_place(self) -> bool:
        """Whether anything changes with place."""
        return not all(isinstance(layer.grid, Everywhere) for layer in self.layers)

    @property
    def times_h(self) -> Array:
        """Every step of time of any layer. [h]."""
        return np.unique(np.concatenate([layer.times_h for layer in self.layers]))

    def at(self, time_h: ArrayLike, lat: ArrayLike, lon: ArrayLike) -> Conditions:
        """Ground wind and stream, broadcast over the three arguments (see `Weather.at`)."""
        arrays = [np.asarray(part, dtype=np.float64) for part in (time_h, lat, lon)]
        shape = arrays[0].shape
        if not shape == arrays[1].shape == arrays[2].shape:
            arrays = list(np.broadcast_arrays(*arrays))
            shape = arrays[0].shape
        time, lats, lons = (part.reshape(-1) for part in arrays)
        found = self._blank(time.size)
        for start in range(0, time.size, CHUNK):
            part = slice(start, start + CHUNK)
            for layer in self.layers:
                got = layer.at(time[part], lats[part], lons[part])
                for column, name in enumerate(layer.names):
                    found[name][part] = got[:, column]
        _cover_alike(found, self.holds)
        return Conditions(**{name: value.reshape(shape) for name, value in found.items()})

    def _blank(self, size: int) -> dict[str, Array]:
        found: dict[str, Array] = {}
        for name in Conditions._fields:
            still = name in STREAM and name not in self.holds
            found[name] = np.full(size, 0.0 if still else np.nan)
        return found


def _cover_alike(found: dict[str, Array], holds: frozenset[str]) -> None:
    # A state outside the wind is outside: no stream of nought may make it look covered.
    if STREAM[0] not in holds and WIND[0] in holds:
        outside = np.isnan(found[WIND[0]])
        if outside.any():
            for name in STREAM:
                found[name][outside] = np.nan


@dataclass(frozen=True, eq=False)
class Ensemble:
    """Several forecasts of the same; the first (the control) speaks where one is asked for.

    Parameters
    ----------
    forecasts : tuple of GridWeather
        The control first, then by number.
    numbers : tuple of int
        What their file calls them; from 1 on in their order where it doesn't say.
    """

    forecasts: tuple[GridWeather, ...]
    numbers: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        """Count from 1 where the file doesn't number them."""
        if not self.numbers:
            object.__setattr__(self, "numbers", tuple(range(1, len(self.forecasts) + 1)))

    @property
    def members(self) -> int:
        """How many forecasts there are."""
        return len(self.forecasts)

    def member(self, number: int) -> GridWeather:
        """Return a forecast by its place, from 0 (the control), whatever its file calls it.

        Raises
        ------
        InputError
            If there is no such member.
        """
        return _chosen(self.forecasts, number)

    @property
    def holds(self) -> frozenset[str]:
        """What the control knows."""
        return self.forecasts[0].holds

    @property
    def coverage(self) -> Coverage:
        """What the control covers."""
        return self.forecasts[0].coverage

    @property
    def varies_in_time(self) -> bool:
        """Whether anything changes with time."""
        return self.forecasts[0].varies_in_time

    @property
    def varies_in_place(self) -> bool:
        """Whether anything changes with place."""
        return self.forecasts[0].varies_in_place

    @property
    def times_h(self) -> Array:
        """Steps of time of the control. [h]."""
        return self.forecasts[0].times_h

    def at(self, time_h: ArrayLike, lat: ArrayLike, lon: ArrayLike) -> Conditions:
        """Ground wind and stream of the control (see `Weather.at`)."""
        return self.forecasts[0].at(time_h, lat, lon)


def _chosen(forecasts: Sequence[GridWeather], number: int) -> GridWeather:
    if not 0 <= number < len(forecasts):
        raise InputError(
            f"the forecast has members 0 to {len(forecasts) - 1}, there is no member {number}"
        )
    return forecasts[number]


def layer_of(
    columns: Mapping[Name, NDArray[np.floating[Any]]], grid: Grid, times_h: ArrayLike
) -> Layer:
    """Layer from one array per name.

    Parameters
    ----------
    columns : mapping of ndarray, shape (nt, points) or (nt, ny, nx)
        [kn]
    grid : Grid
        Where the points are.
    times_h : array_like, shape (nt,)
        [h]

    Raises
    ------
    InputError
        If a value is absurd (a unit went wrong), or as `Layer` says.
    """
    for name, value in columns.items():
        _check_sane(name, value)
    times = np.atleast_1d(np.asarray(times_h, dtype=np.float64))
    stacked = np.stack(
        [np.asarray(value).reshape(times.size, grid.points) for value in columns.values()], axis=-1
    )
    return Layer(tuple(columns), grid, times, stacked)


def joined(layers: Sequence[Layer]) -> Iterator[Layer]:
    """Put layers of the same grid and times into one: one look-up then serves them all."""
    left = list(layers)
    while left:
        first = left.pop(0)
        alike = [
            layer
            for layer in left
            if layer.grid is first.grid and np.array_equal(layer.times_h, first.times_h)
        ]
        left = [layer for layer in left if layer not in alike]
        group = [first, *alike]
        names = tuple(name for layer in group for name in layer.names)
        values = np.concatenate([layer.values for layer in group], axis=-1)
        yield Layer(names, first.grid, first.times_h, values)


def _check_sane(name: Name, value: NDArray[np.floating[Any]]) -> None:
    largest = LARGEST_DRIFT_KN if name in STREAM else LARGEST_WIND_KN
    known = np.abs(value[np.isfinite(value)])
    if known.size and float(known.max()) > largest:
        raise InputError(
            f"{name} reaches {float(known.max()):.4g} knots, expected {largest:g} at most: "
            "is its unit right?"
        )
