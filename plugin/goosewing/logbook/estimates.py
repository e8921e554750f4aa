"""A number with its doubt; robust least squares that are honest where errors hang together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from goosewing.units import Array

HUBER = 1.5
"""In robust standard deviations: beyond, an error weighs less."""

ROUNDS, SETTLED = 12, 2e-3
"""At most so many rounds of weights; fewer once the scale changes by less than this share."""

TO_DEVIATION = 1.4826
"""Of a normal distribution's median absolute deviation."""

CERTAIN = 0.95
"""Share of the intervals of single quantities."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """What a log tells of one quantity.

    Attributes
    ----------
    value : float
        What is taken, the usual value where the log can't tell.
    low, high : float
        95 % interval.
    told : bool
        Whether this log can tell it.
    """

    value: float
    low: float
    high: float
    told: bool = True

    @property
    def deviation(self) -> float:
        """Standard deviation of its doubt."""
        return (self.high - self.low) / 2.0 / normal_quantile(0.5 + CERTAIN / 2.0)


def unknown(value: float, doubt: float) -> Estimate:
    """Return what this log can't tell: its usual value, and the doubt that was there before."""
    reach = normal_quantile(0.5 + CERTAIN / 2.0) * doubt
    return Estimate(value=value, low=value - reach, high=value + reach, told=False)


def normal_quantile(share: float) -> float:
    """Quantile of the normal distribution."""
    from statistics import NormalDist

    return NormalDist().inv_cdf(share)


def student_quantile(share: float, freedom: float) -> float:
    """Quantile of Student's distribution, by Cornish and Fisher's expansion.

    Good to 1 % from four degrees of freedom on; below, four are taken.
    """
    z, nu = normal_quantile(share), max(freedom, 4.0)
    first = (z**3 + z) / 4.0
    second = (5 * z**5 + 16 * z**3 + 3 * z) / 96.0
    third = (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384.0
    return z + first / nu + second / nu**2 + third / nu**3


class Solved(NamedTuple):
    """Coefficients of a robust regression."""

    value: Array
    covariance: Array
    residual: Array
    scale: float
    freedom: float
    """How many clusters there are to judge by, less the one they are judged against."""


def robust_fit(
    design: Array, target: Array, cluster: NDArray[np.intp], prior: Array, *, pairs: int = 1
) -> Solved:
    """Least squares by Huber's weights, with a prior, and a covariance by clusters.

    Parameters
    ----------
    design : ndarray, shape (n, p)
    target : ndarray, shape (n,)
    cluster : ndarray of int, shape (n,)
        Errors within one may hang together; those of different ones don't.
    prior : ndarray, shape (p, p)
        Precision of the coefficients about zero, known beforehand.
    pairs : int
        Rows after another that are one observation.

    Notes
    -----
    The covariance is the sandwich of White and of Liang and Zeger over clusters, the prior
    counted as data of its own.
    """
    from scipy import sparse

    # Most columns are knots of something that wanders: all but two of them are zero in a row.
    rows = sparse.csr_matrix(design)
    weight, scale = np.ones(target.size), 1.0
    for round_ in range(ROUNDS):
        by = weight / scale**2
        normal = (rows.T @ rows.multiply(by[:, np.newaxis])).toarray() + prior
        value = np.linalg.solve(normal, rows.T @ (target * by))
        residual = target - rows @ value
        size = np.sqrt(np.add.reduceat(residual**2, np.arange(0, residual.size, pairs)) / pairs)
        before, scale = scale, max(TO_DEVIATION * float(np.median(size)), 1e-6)
        if round_:
            weight = np.repeat(np.minimum(1.0, HUBER * scale / np.maximum(size, 1e-12)), pairs)
        if round_ > 2 and abs(scale / before - 1.0) < SETTLED:
            break
    inverse = np.linalg.inv(normal)
    names, group = np.unique(cluster, return_inverse=True)
    groups = names.size
    score = weight * residual / scale**2
    membership = sparse.csr_matrix((score, (group, np.arange(target.size))))
    total = (membership @ rows).toarray()
    meat = total.T @ total * (groups / max(groups - 1.0, 1.0)) + prior
    covariance = np.asarray(inverse @ meat @ inverse, dtype=np.float64)
    return Solved(
        np.asarray(value, dtype=np.float64), covariance, residual, scale, max(groups - 1.0, 1.0)
    )
