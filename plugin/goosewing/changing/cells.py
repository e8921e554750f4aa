"""Square cells in the Mercator plane, lying along a leg: where states of a search are kept.

The plane is conformal: a boat's velocity keeps its direction there, and only its scale
changes with latitude. So the search moves states in the plane alone, in cells along and
across the leg, and asks for latitudes and longitudes only where weather is looked up.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.changing.motion import degrees_per_hour
from goosewing.earth import geodesy

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.earth.course import Course
    from goosewing.units import Array, BoolArray

    Numbers = NDArray[np.intp]

LATITUDES = 4000
"""Latitudes tabulated over a grid: between two of them they are linear to less than a metre."""

HIGHEST_DEG = 89.0


class Places(NamedTuple):
    """Places about which a way may bend; arrays of shape (n,)."""

    lat: Array
    lon: Array
    nm_per_deg: Array
    """Miles to a degree of the Mercator plane there."""


class Here(NamedTuple):
    """Where states are on the earth; arrays of shape (n,)."""

    lat: Array
    lon: Array
    cells_per_nm: Array
    bend: Array
    """By what share that scale changes with each cell northwards."""


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Square cells along a leg.

    Attributes
    ----------
    ahead, aside : int
        Cells before the start and beyond the mark; and to either side.
    allowed : ndarray of bool, shape (rows, columns), optional
        Cells that are searched; all if None.
    """

    course: Course
    cell_deg: float
    ahead: int
    aside: int
    allowed: BoolArray | None = None
    _north: Array = field(init=False, repr=False)
    _lat: Array = field(init=False, repr=False)
    _scale: Array = field(init=False, repr=False)

    def __post_init__(self) -> None:
        rows, columns = self.shape
        corners = np.array([[0, 0], [rows, 0], [0, columns], [rows, columns]], dtype=float)
        offset = self.to_plane(corners - np.array([self.ahead, self.aside]))
        start = self._start_north
        highest = float(geodesy.isometric_latitude(HIGHEST_DEG))
        low, high = start + offset.north_deg.min() - 1.0, start + offset.north_deg.max() + 1.0
        north = np.linspace(max(low, -highest), min(high, highest), LATITUDES)
        lat = geodesy.latitude_from_isometric(north)
        _, scale = degrees_per_hour(lat, np.ones(LATITUDES), np.zeros(LATITUDES))
        object.__setattr__(self, "_north", north)
        object.__setattr__(self, "_lat", lat)
        object.__setattr__(self, "_scale", scale / self.cell_deg)

    @property
    def _start_north(self) -> float:
        return float(geodesy.isometric_latitude(self.course.lat1))

    @property
    def shape(self) -> tuple[int, int]:
        """Rows, along the leg, and columns, across it."""
        along = int(np.ceil(self.course.mercator_deg / self.cell_deg))
        return along + 2 * self.ahead + 1, 2 * self.aside + 1

    @property
    def start(self) -> tuple[float, float]:
        """Where the start is, in cells."""
        return float(self.ahead), float(self.aside)

    @property
    def mark(self) -> tuple[float, float]:
        """Where the mark is, in cells."""
        return self.course.mercator_deg / self.cell_deg + self.ahead, float(self.aside)

    def place(self, lat: Array, lon: Array) -> tuple[Array, Array]:
        """Cells along and across, as fractions."""
        course = self.course
        offset = geodesy.mercator_offset(course.lat1, course.lon1, lat, lon)
        cells = self.from_plane(np.column_stack((offset.east_deg, offset.north_deg)))
        return cells[:, 0], cells[:, 1]

    def from_plane(self, east_north_deg: Array) -> Array:
        """Turn offsets from the leg's start in the plane into cells, shape (n, 2)."""
        angle = np.radians(self.course.bearing_deg)
        along = np.array([np.sin(angle), np.cos(angle)])
        across = np.array([np.cos(angle), -np.sin(angle)])
        cells = east_north_deg @ np.column_stack((along, across)) / self.cell_deg
        return np.asarray(cells + np.array([self.ahead, self.aside]))

    def to_plane(self, cells: Array) -> geodesy.Offset:
        """Turn differences in cells, shape (n, 2), into offsets in the plane."""
        angle = np.radians(self.course.bearing_deg)
        sin, cos = np.sin(angle), np.cos(angle)
        along, across = cells.T * self.cell_deg
        return geodesy.Offset(along * sin + across * cos, along * cos - across * sin)

    def here(self, along: Array, across: Array) -> Here:
        """Where places in cells are, by table; latitudes beyond it are those at its edge."""
        angle = np.radians(self.course.bearing_deg)
        sin, cos = np.sin(angle) * self.cell_deg, np.cos(angle) * self.cell_deg
        ahead, aside = along - self.ahead, across - self.aside
        north = self._start_north + ahead * cos - aside * sin
        at = (north - self._north[0]) / (self._north[1] - self._north[0])
        low = np.minimum(np.maximum(at, 0.0), LATITUDES - 2).astype(np.intp)
        part = np.minimum(np.maximum(at - low, 0.0), 1.0)
        lat, scale = (
            table[low] + part * (table[low + 1] - table[low]) for table in (self._lat, self._scale)
        )
        lon = self.course.lon1 + ahead * sin + aside * cos
        bend = np.radians(self.cell_deg) * np.sin(np.radians(lat))
        return Here(lat, lon, scale, bend)

    def places(self, cells: Array) -> Places:
        """Where places in cells, shape (n, 2), are on the earth, exactly."""
        offset = self.to_plane(cells - np.array([self.ahead, self.aside]))
        lat = geodesy.latitude_from_isometric(self._start_north + offset.north_deg)
        _, per_nm = degrees_per_hour(lat, np.ones(len(lat)), np.zeros(len(lat)))
        return Places(lat, self.course.lon1 + offset.east_deg, 1.0 / per_nm)

    def cells(self, along: Array, across: Array) -> Numbers:
        """Index of the cell of each place, in cells; −1 outside the area."""
        i, j = np.floor(along + 0.5), np.floor(across + 0.5)
        with np.errstate(invalid="ignore"):
            inside = (i >= 0) & (i < self.shape[0]) & (j >= 0) & (j < self.shape[1])
        flat = np.where(inside, i * self.shape[1] + j, -1.0).astype(np.intp)
        if self.allowed is not None:
            flat = np.where((flat >= 0) & self.allowed.ravel()[flat], flat, -1)
        return flat

    def middles(self, cell: Numbers) -> tuple[Array, Array]:
        """Middles of cells, along and across."""
        row, column = np.divmod(cell, self.shape[1])
        return row.astype(float), column.astype(float)
