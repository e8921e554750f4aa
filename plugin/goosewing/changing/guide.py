"""What remains from every place of a leg, as a search backwards from the mark found it.

Kept as hours a degree of the Mercator plane to the goal: that changes slowly from cell
to cell, right up to the goal, where the hours themselves come to a point.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.changing.cells import Grid
    from goosewing.units import Array

    Numbers = NDArray[np.intp]

BLUR_CELLS = 0.8
"""Between neighbouring cells the hours jump by what a step is long: that is evened out."""

FAR_BLUR_CELLS = 6.0
"""Cells that nobody came to take the hours of those about them."""


@dataclass(frozen=True, slots=True, eq=False)
class Guide:
    """Hours to go.

    Attributes
    ----------
    grid : Grid
        On which they were found.
    per_deg : ndarray, shape (modes, rows, columns)
        Hours a degree of the plane to the goal.
    """

    grid: Grid
    per_deg: Array

    @classmethod
    def of(
        cls, grid: Grid, place: tuple[Array, Array], mode: Numbers, hours: Array, modes: int
    ) -> Guide:
        """Learn from states that reached the goal in so many hours."""
        along, across = place
        cells = grid.cells(along, across)
        far = _distance_deg(grid, along, across)
        ok = (cells >= 0) & (far > grid.cell_deg)
        sums = np.zeros((modes, int(np.prod(grid.shape))))
        known = np.zeros_like(sums)
        np.add.at(sums, (mode[ok], cells[ok]), hours[ok] / far[ok])
        np.add.at(known, (mode[ok], cells[ok]), 1.0)
        shape = (modes, *grid.shape)
        return cls(grid, _evened(sums.reshape(shape), known.reshape(shape)))

    def hours(self, grid: Grid, along: Array, across: Array) -> Array:
        """Hours from n places of another grid along the leg, in every mode; shape (n, modes)."""
        scale = grid.cell_deg / self.grid.cell_deg
        rows = (along - grid.ahead) * scale + self.grid.ahead
        columns = (across - grid.aside) * scale + self.grid.aside
        i, part_i = _within(rows, self.per_deg.shape[1])
        j, part_j = _within(columns, self.per_deg.shape[2])
        near = (1.0 - part_j) * self.per_deg[:, i, j] + part_j * self.per_deg[:, i, j + 1]
        far = (1.0 - part_j) * self.per_deg[:, i + 1, j] + part_j * self.per_deg[:, i + 1, j + 1]
        per_deg = (1.0 - part_i) * near + part_i * far
        return np.asarray((per_deg * _distance_deg(grid, along, across)).T)


def _distance_deg(grid: Grid, along: Array, across: Array) -> Array:
    ahead, aside = grid.mark
    return np.asarray(np.hypot(along - ahead, across - aside) * grid.cell_deg)


def _within(at: Array, size: int) -> tuple[Numbers, Array]:
    low = np.minimum(np.maximum(at, 0.0), size - 2).astype(np.intp)
    return low, np.minimum(np.maximum(at - low, 0.0), 1.0)


def _evened(sums: Array, known: Array) -> Array:
    """Even values out, mode by mode, where they are known; elsewhere take those about."""
    from scipy.ndimage import gaussian_filter

    near, far = (
        [gaussian_filter(part, (0.0, blur, blur), mode="constant") for part in (sums, known)]
        for blur in (BLUR_CELLS, FAR_BLUR_CELLS)
    )
    everywhere = sums.sum() / known.sum()
    fallback = np.where(far[1] > 1e-9, far[0] / np.maximum(far[1], 1e-9), everywhere)
    return np.asarray(np.where(near[1] > 1e-3, near[0] / np.maximum(near[1], 1e-3), fallback))
