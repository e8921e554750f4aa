"""Small quadratic programmes: least ½·dᵀHd + gᵀd, some rows kept exactly, others from below.

The rows kept exactly are taken out by their null space; of what is left H is made
convex (an optimum lies where it is; elsewhere the step is only a step). The rest is the
least distance programme of Lawson and Hanson, *Solving Least Squares Problems* (1974),
chapter 23, by their non-negative least squares as `scipy.optimize.nnls` has it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from goosewing.units import Array

FLATTEST = 1e-4
"""Curvature is taken as no less than this share of the greatest."""

SATISFIED = 1e-9
ROUNDS = 12
"""Rows that a step breaks are taken in, so often at most."""


@dataclass(frozen=True, slots=True, eq=False)
class Programme:
    """Least ½·dᵀHd + gᵀd over steps that keep some rows exactly; H made convex.

    In q the sum is ½|q|² but for a constant; the step is ``basis @ (q - aim)``.
    """

    basis: Array
    aim: Array

    @classmethod
    def of(cls, hessian: Array, slope: Array, kept: Array) -> Programme | None:
        """Take out the rows kept exactly.

        Parameters
        ----------
        hessian : ndarray, shape (n, n)
            Symmetric; negative curvature is taken as positive.
        slope : ndarray, shape (n,)
        kept : ndarray, shape (e, n)
            Rows whose product with the step must be nought.

        Returns
        -------
        Programme or None
            None if the numbers are none.
        """
        if not np.isfinite(hessian).all() or not np.isfinite(slope).all():
            return None
        free = _null_space(kept)
        values, vectors = np.linalg.eigh(free.T @ hessian @ free)
        size = np.abs(values)
        root = np.sqrt(np.maximum(size, max(FLATTEST * float(size.max(initial=0.0)), 1e-12)))
        basis = free @ vectors / root
        return cls(basis, basis.T @ slope)

    @property
    def gain(self) -> float:
        """By how much the best step lowers the sum where nothing else limits it."""
        return 0.5 * float(self.aim @ self.aim)

    def least(self, rows: Array, floor: Array) -> Array | None:
        """Return the step that is best within linear limits.

        Parameters
        ----------
        rows, floor : ndarray, shape (m, n) and (m,)
            Rows whose product with the step must not be less than the floor.

        Returns
        -------
        ndarray, shape (n,), or None
            None if no step keeps to all limits.
        """
        return _within(self.basis, self.aim, rows, floor)


def _null_space(kept: Array) -> Array:
    if not len(kept):
        return np.eye(kept.shape[1])
    full, _ = np.linalg.qr(kept.T, mode="complete")
    return np.asarray(full[:, len(kept) :])


def _within(basis: Array, aim: Array, rows: Array, floor: Array) -> Array | None:
    """Take in the rows that a step breaks, until it breaks none."""
    tight = np.zeros(len(rows), dtype=bool)
    step: Array = -basis @ aim
    for _ in range(ROUNDS):
        broken = rows @ step < floor - SATISFIED * (1.0 + np.abs(floor))
        if not broken.any():
            return step
        if not (broken & ~tight).any():
            return None
        tight |= broken
        moved = rows[tight] @ basis
        found = _least_distance(moved, floor[tight] + moved @ aim)
        if found is None:
            return None
        step = basis @ (found - aim)
    return None


def _least_distance(rows: Array, floor: Array) -> Array | None:
    """Return the shortest q with rows @ q ≥ floor."""
    from scipy.optimize import nnls

    scale = np.maximum(np.linalg.norm(rows, axis=1), 1e-300)
    rows, floor = rows / scale[:, np.newaxis], floor / scale
    matrix = np.vstack((rows.T, floor))
    wanted = np.zeros(len(matrix))
    wanted[-1] = 1.0
    try:
        weights, _ = nnls(matrix, wanted)
    except RuntimeError:
        return None
    left = matrix @ weights - wanted
    if abs(left[-1]) < 1e-14:
        return None
    return np.asarray(-left[:-1] / left[-1])
