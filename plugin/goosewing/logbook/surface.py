r"""A polar from scattered stretches: quantile regression with smoothness, a prior, and a band.

The logarithm of boat speed is what is known beforehand (the base polar, else the form that a
small displacement yacht's polar has) and a smooth departure from it,

.. math:: \log v_i = m(\theta_i, w_i) + b_i^T d + e_i, \qquad d \sim N(0, K)

on the table's own nodes, b_i the weights of the four nodes around a stretch. K says that
departures are alike where angle and wind are alike: a Gaussian process, its amplitude and
lengths averaged over by how well each explains the log, as what is not known of them is doubt
too. Of the errors e a part wanders, and neighbours share it. The quantile is that of the check
function, reached by pseudo-observations; the equivalent variance of one is
:math:`\tau(1-\tau)/f(0)^2`, f their density there, as in quantile regression.

The band was chosen by measured coverage, on four invented logs of twelve hours with a base that
flatters, where the true polar is known: the truth lay in 80 % bands in 80 of 100 cells with this
one; in 57 with the bootstrap over half hours, which knows nothing of a cell without stretches nor
of what smoothing bends; in 71 with split conformal bands, which ranged from 59 to 92.

References
----------
Rasmussen and Williams, *Gaussian Processes for Machine Learning* (2006), chapters 2 and 5;
Koenker, *Quantile Regression* (2005), chapter 3; both from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from goosewing.logbook.estimates import TO_DEVIATION, normal_quantile
from goosewing.units import Array, BoolArray

BAND = 0.80
"""Share of true values that a band holds."""

AMPLITUDES = (0.02, 0.04, 0.08, 0.16)
"""Of the smooth departure, in logarithm of speed: averaged over."""

ANGLE_LENGTHS = (0.15, 0.3, 0.6, 1.2)
"""In the logarithm of the angle."""

WIND_LENGTHS = (0.3, 0.7, 1.5)
"""In the logarithm of the wind."""

TOGETHER = (0.0, 0.15, 0.35, 0.6)
"""Shares of the errors' variance that neighbours in time share: the best is taken."""

SPANS_S = (600.0, 1800.0, 7200.0)
"""In which a shared error forgets itself: a helm's, a crew's, a sea's. The best is taken. [s]"""

MOST_KNOTS = 500

MOST_POINTS = 5000
"""Of more stretches every second, third … is taken."""

PILOT, PILOT_ERROR, LEAST_ERROR = (0.08, 0.6, 0.7), 0.05, 0.003
"""Kernel and errors of the first, rough fit; least error of a stretch, in logarithm of speed."""

COMMON = 0.15
"""Departure that all cells share: a foul bottom, a slow crew; our choice."""

MORE_ANGLES_DEG = (25.0, 30.0, 35.0, 45.0, 60.0, 90.0, 120.0, 150.0, 165.0, 180.0)
MORE_WINDS_KN = (2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0, 20.0, 25.0, 30.0, 40.0)
"""Nodes that are laid beyond a table's edges."""

EDGE_DEG, EDGE_KN = 5.0, 1.5
"""So far beyond a table's edge a stretch counts for its outermost cells."""

WIND_TREND, ANGLE_TREND, POINTING_TREND = 0.12, 0.08, 0.25
"""How far what is known beforehand may be off in its growth with the wind, a factor e of it,
between beating and running, and in how close she points: so that the band widens beyond the
data; our choice."""

WITH_A_BASE, WITHOUT_A_BASE = (1.0, 0.25), (1.15, 0.3)
"""By measured coverage: the band's factor, and the part of a stretch's own error that no number of
stretches averages out, as a minute's means of a gusty wind lie beside a bent polar."""

STEPS = 30

FORM = (
    1.8928, 0.2169, -0.1855, -0.3117, -0.3475, 0.3959, -0.2905, 0.2661, 0.1274,
    -0.2177, -0.1045, -0.0871,
)  # fmt: skip
"""Logarithm of a small displacement yacht's speed, in cosines of the angle and the logarithm of
the wind: laid through the polar of an invented 10 m yacht by a velocity prediction with
published coefficients, to 2.6 %. Only its form counts; its size comes from the log."""


def usual_form(twa_deg: Array, tws_kn: Array) -> Array:
    """Return the logarithm of a small displacement yacht's speed, where nothing else is known.

    Parameters
    ----------
    twa_deg, tws_kn : ndarray, shape (...)
        Held to 30° to 180°, 3 to 30 kn. [°, kn]
    """
    c = np.cos(np.radians(np.clip(twa_deg, 30.0, 180.0)))
    x = np.log(np.clip(tws_kn, 3.0, 30.0) / 10.0)
    powers = [c**0, c, c**2, c**3, c**4, x, x * c, x * c**2, x * c**3, x**2, x**2 * c, x**2 * c**2]
    return np.asarray(sum(a * p for a, p in zip(FORM, powers, strict=True)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Points:
    """Steady stretches as points of a polar; arrays of shape (n,).

    Attributes
    ----------
    twa_deg, tws_kn : [°, kn]
    speed_kn : [kn]
    time_s : [s]
    """

    twa_deg: Array
    tws_kn: Array
    speed_kn: Array
    time_s: Array

    def only(self, keep: BoolArray | NDArray[np.intp]) -> Points:
        """Return some of them."""
        return Points(
            twa_deg=self.twa_deg[keep],
            tws_kn=self.tws_kn[keep],
            speed_kn=self.speed_kn[keep],
            time_s=self.time_s[keep],
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surface:
    """A polar with its band; values of shape (angles, winds).

    Attributes
    ----------
    twa_deg, tws_kn : the table's own.
    speed_kn : boat speed of the quantile asked for.
    low_kn, high_kn : 80 % band.
    stretches : int, how many lie nearest to each cell.
    error : float
        What one stretch's logarithm of speed departs from the surface, robust standard deviation.
    together : float
        Share of its variance that neighbours in time share.
    """

    twa_deg: Array
    tws_kn: Array
    speed_kn: Array
    low_kn: Array
    high_kn: Array
    stretches: NDArray[np.intp]
    error: float
    together: float


Known = Callable[[Array, Array], Array]
"""Logarithm of speed known beforehand, by angle and wind."""


def fit_surface(
    points: Points,
    twa_deg: Array,
    tws_kn: Array,
    known: Known = usual_form,
    *,
    quantile: float = 0.5,
    besides: Array | float = 0.0,
    shape: bool = True,
) -> Surface:
    """Fit a polar to stretches.

    Parameters
    ----------
    points : Points
    twa_deg : ndarray, shape (a,)
        Ascending rows of the table. [°]
    tws_kn : ndarray, shape (w,)
        Ascending columns, above 0. [kn]
    known : callable
        What is known beforehand.
    quantile : float
        Which quantile of speed; 0.5 the median.
    besides : array_like, shape (a, w) or scalar
        Standard deviation, in logarithm of speed, of what all stretches have wrong together:
        the log's factor, the vane.
    shape : bool
        Whether it must have the shape every polar has.
    """
    rows, columns = np.meshgrid(twa_deg, tws_kn, indexing="ij")
    wider = _padded(twa_deg, MORE_ANGLES_DEG), _padded(tws_kn, MORE_WINDS_KN)
    every = -(-points.twa_deg.size // MOST_POINTS)
    problem = _problem(points.only(np.arange(0, points.twa_deg.size, every)), *wider, known)
    found = _averaged(problem, quantile)
    own = (
        np.searchsorted(wider[0], twa_deg)[:, np.newaxis] * wider[1].size
        + np.searchsorted(wider[1], tws_kn)
    ).ravel()
    covariance = found.covariance[np.ix_(own, own)]
    beforehand = known(rows, columns)
    mean = beforehand + found.mean[own].reshape(rows.shape)
    own_spread = np.sqrt(np.diag(covariance)).reshape(rows.shape)
    factor, leaves = WITHOUT_A_BASE if known is usual_form else WITH_A_BASE
    all_share = np.square(besides) + (leaves * found.error) ** 2
    spread = factor * np.sqrt(own_spread**2 + all_share)
    shaped = _shaped(mean, own_spread, beforehand, twa_deg, tws_kn) if shape else mean
    reach = normal_quantile(0.5 + BAND / 2.0) * spread
    count = _counted(points, twa_deg, tws_kn)
    return Surface(
        twa_deg=twa_deg,
        tws_kn=tws_kn,
        speed_kn=np.exp(shaped),
        low_kn=np.exp(np.minimum(mean - reach, shaped)),
        high_kn=np.exp(np.maximum(mean + reach, shaped)),
        stretches=count,
        error=found.error,
        together=found.together,
    )


def _padded(nodes: Array, more: tuple[float, ...]) -> Array:
    """Nodes beyond a table's edges, so that what lies beyond doesn't pull at its edge."""
    beyond = [each for each in more if not nodes[0] * 0.93 <= each <= nodes[-1] * 1.07]
    return np.sort(np.concatenate((nodes, beyond)))


def _counted(points: Points, twa_deg: Array, tws_kn: Array) -> NDArray[np.intp]:
    """How many stretches lie nearest to each cell of a table, and within it."""
    row, down = _between(twa_deg, points.twa_deg)
    column, right = _between(tws_kn, points.tws_kn)
    inside = (points.twa_deg >= twa_deg[0] - EDGE_DEG) & (points.twa_deg <= twa_deg[-1] + EDGE_DEG)
    inside &= (points.tws_kn >= tws_kn[0] - EDGE_KN) & (points.tws_kn <= tws_kn[-1] + EDGE_KN)
    nearest = (row + (down > 0.5)) * tws_kn.size + column + (right > 0.5)
    counted = np.bincount(nearest[inside], minlength=twa_deg.size * tws_kn.size)
    return counted.reshape(twa_deg.size, tws_kn.size)


# ---- the table's nodes ---------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Problem:
    nodes: tuple[Array, Array]
    """Angles and winds of the nodes, flat."""
    weights: Array
    """Of the nodes around each stretch, shape (n, nodes)."""
    departure: Array
    """Logarithm of speed less what is known beforehand."""
    size: Array
    """Relative size of the errors to be expected."""
    time_s: Array
    scaled: Array
    """Weights by the relative size of the errors."""


def _problem(points: Points, twa_deg: Array, tws_kn: Array, known: Known) -> _Problem:
    order = np.argsort(points.time_s, kind="stable")
    part = points.only(order)
    row, row_share = _between(twa_deg, part.twa_deg)
    column, column_share = _between(np.log(tws_kn), np.log(part.tws_kn))
    weights = np.zeros((part.twa_deg.size, twa_deg.size * tws_kn.size))
    at = np.arange(part.twa_deg.size)
    for down in (0, 1):
        for right in (0, 1):
            share = np.abs(1.0 - down - row_share) * np.abs(1.0 - right - column_share)
            node = np.minimum(row + down, twa_deg.size - 1) * tws_kn.size
            weights[at, node + np.minimum(column + right, tws_kn.size - 1)] += share
    rows, columns = (each.ravel() for each in np.meshgrid(twa_deg, tws_kn, indexing="ij"))
    departure = np.log(part.speed_kn) - known(part.twa_deg, part.tws_kn)
    alike = np.ones(departure.size)
    raw = _Problem((rows, columns), weights, departure, alike, part.time_s, weights)
    size = _relative_size(raw, part)
    return replace(raw, size=size, scaled=weights / size[:, np.newaxis])


def _between(nodes: Array, at: Array) -> tuple[NDArray[np.intp], Array]:
    """Which node lies before each value, and how far it is to the next; held to the ends."""
    if nodes.size == 1:
        return np.zeros(at.size, dtype=np.intp), np.zeros(at.size)
    left = np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, nodes.size - 2)
    share = np.clip((at - nodes[left]) / (nodes[left + 1] - nodes[left]), 0.0, 1.0)
    return left, share


def _relative_size(problem: _Problem, points: Points) -> Array:
    """How the errors grow or shrink with wind and angle: light air is uneven."""
    noise = _noise(problem, PILOT_ERROR, 0.0, 0.0)
    solved = _solve(noise, _kernel(problem.nodes, *PILOT), problem.departure)
    residual = np.abs(problem.departure - problem.weights @ solved.mean)
    design = np.column_stack((
        np.ones(residual.size), np.log(points.tws_kn), np.cos(np.radians(points.twa_deg)),
    ))  # fmt: skip
    target = np.log(np.maximum(residual, 1e-3))
    ridge = np.diag([1e-9, 5.0, 5.0])
    trend = np.linalg.solve(design.T @ design + ridge, design.T @ target)
    size = np.exp(design @ trend - (design @ trend).mean())
    return np.asarray(np.clip(size, 0.4, 2.5))


def _kernel(nodes: tuple[Array, Array], amplitude: float, angle: float, wind: float) -> Array:
    u, v = np.log(np.maximum(nodes[0], 15.0)), np.log(np.maximum(nodes[1], 1.0))
    apart = ((u[:, np.newaxis] - u) / angle) ** 2 + ((v[:, np.newaxis] - v) / wind) ** 2
    grows, turns = np.log(nodes[1] / 10.0), np.cos(np.radians(nodes[0]))
    points = np.exp(-(np.maximum(nodes[0], 25.0) - 30.0) / 10.0)
    trends = WIND_TREND**2 * np.outer(grows, grows) + ANGLE_TREND**2 * np.outer(turns, turns)
    trends += POINTING_TREND**2 * np.outer(points, points)
    own = 1e-6 * np.eye(u.size)
    return np.asarray(COMMON**2 + trends + amplitude**2 * np.exp(-0.5 * apart) + own)


# ---- solving -------------------------------------------------------------------------------------


class _Solved(NamedTuple):
    mean: Array
    covariance: Array
    evidence: float


@dataclass(frozen=True, slots=True)
class _Noise:
    """Errors of stretches: their own, and a wander that neighbours in time share.

    With the wander's values at knots eliminated, all that is left of the stretches is a matrix
    and a way to project a target on the nodes: what any kernel is then solved with.
    """

    problem: _Problem
    own: float
    """Variance of what is a stretch's own."""
    shared: Array
    """Weights of the wander's knots, shape (n, knots)."""
    inverse: Array
    """Covariance of the wander given the stretches, shape (knots, knots)."""
    information: Array
    determinant: float

    def projected(self, target: Array) -> tuple[Array, float]:
        """Project a target on the nodes; return its square by the errors' covariance too."""
        scaled = target / self.problem.size / self.own
        less = scaled - self.shared @ (self.inverse @ (self.shared.T @ scaled)) / self.own
        return self.problem.scaled.T @ less, float(target / self.problem.size @ less)


def _noise(problem: _Problem, error: float, together: float, span_s: float) -> _Noise:
    """Errors of this deviation, of whose variance a share wanders and forgets itself in a span."""
    own = error**2 * (1.0 - together)
    weights = problem.scaled
    if not together:
        none, nothing = np.zeros((problem.size.size, 0)), np.zeros((0, 0))
        determinant = problem.size.size * np.log(own)
        return _Noise(problem, own, none, nothing, weights.T @ weights / own, float(determinant))
    shared, correlation = _wander(problem.time_s, span_s)
    kernel = correlation * (error**2 * together)
    inner = np.linalg.inv(kernel) + shared.T @ shared / own
    inverse: Array = np.asarray(np.linalg.inv(inner), dtype=np.float64)
    cross = shared.T @ weights / own
    information = np.asarray(weights.T @ weights / own - cross.T @ inverse @ cross)
    determinant = (
        problem.size.size * np.log(own) + np.linalg.slogdet(kernel)[1] + np.linalg.slogdet(inner)[1]
    )
    return _Noise(problem, own, shared, inverse, information, float(determinant))


def _wander(time_s: Array, span_s: float) -> tuple[Array, Array]:
    """Weights of knots half a span apart, and their correlation."""
    place = (time_s - time_s[0]) / (span_s / 2.0)
    left = np.floor(place).astype(np.intp)
    used, at = np.unique(np.concatenate((left, left + 1)), return_inverse=True)
    weights = np.zeros((time_s.size, used.size))
    rows = np.arange(time_s.size)
    weights[rows, at[: time_s.size]] += 1.0 - (place - left)
    weights[rows, at[time_s.size :]] += place - left
    apart = np.abs(used[:, np.newaxis] - used) / 2.0
    return weights, np.exp(-apart) + 1e-6 * np.eye(used.size)


def _solve(noise: _Noise, kernel: Array, target: Array) -> _Solved:
    """Posterior mean and covariance of the nodes, and the evidence for this kernel."""
    covariance, log_inner = _posterior(noise, kernel)
    rhs, square = noise.projected(target)
    mean = covariance @ rhs
    evidence = -0.5 * (square - rhs @ mean + noise.determinant + log_inner)
    return _Solved(mean, covariance, float(evidence))


def _posterior(noise: _Noise, kernel: Array) -> tuple[Array, float]:
    # (K⁻¹+A)⁻¹ without K⁻¹: with L the kernel's factor, L(I+LᵀAL)⁻¹Lᵀ.
    factor = np.linalg.cholesky(kernel)
    inner = np.eye(len(kernel)) + factor.T @ noise.information @ factor
    lower = np.linalg.cholesky(inner)
    half = np.linalg.solve(lower, factor.T)
    return half.T @ half, float(2.0 * np.log(np.diag(lower)).sum())


class _Averaged(NamedTuple):
    mean: Array
    covariance: Array
    error: float
    together: float


def _averaged(problem: _Problem, quantile: float) -> _Averaged:
    """Average over kernels by their evidence; then bring the mean to the quantile."""
    first = _noise(problem, PILOT_ERROR, 0.0, 0.0)
    pilot = _solve(first, _kernel(problem.nodes, *PILOT), problem.departure)
    residual = (problem.departure - problem.weights @ pilot.mean) / problem.size
    middle = float(np.median(residual))
    error = max(TO_DEVIATION * float(np.median(np.abs(residual - middle))), LEAST_ERROR)
    # For the choice of kernels a few wild stretches must not speak louder than the others.
    tame = problem.weights @ pilot.mean + problem.size * np.clip(
        residual, -2.5 * error, 2.5 * error
    )
    noise, together, span_s = _hanging_together(problem, error, tame)
    choices = [(a, u, w) for a in AMPLITUDES for u in ANGLE_LENGTHS for w in WIND_LENGTHS]
    solved = [_solve(noise, _kernel(problem.nodes, *choice), tame) for choice in choices]
    evidence = np.array([each.evidence for each in solved])
    share = np.exp(evidence - evidence.max())
    share /= share.sum()
    means = np.array([each.mean for each in solved])
    mean = share @ means
    between = means - mean
    within = np.tensordot(share, np.array([each.covariance for each in solved]), axes=1)
    covariance = within + (between * share[:, np.newaxis]).T @ between
    kernel = _kernel(problem.nodes, *choices[int(np.argmax(share))])
    at_quantile, widen = _at_quantile(problem, kernel, (error, together, span_s), mean, quantile)
    return _Averaged(at_quantile, covariance * widen, error, together)


def _hanging_together(
    problem: _Problem, error: float, target: Array
) -> tuple[_Noise, float, float]:
    """Choose, by the evidence, how much of the errors neighbours share, and for how long."""
    kernel = _kernel(problem.nodes, *PILOT)
    best: tuple[float, _Noise, float, float] | None = None
    hours = np.unique(np.floor(problem.time_s / 600.0)).size / 6.0
    for span_s in SPANS_S:
        if hours * 3600.0 / span_s * 2.0 > MOST_KNOTS:
            continue
        for together in TOGETHER if span_s == SPANS_S[-1] else TOGETHER[1:]:
            noise = _noise(problem, error, together, span_s)
            evidence = _solve(noise, kernel, target).evidence
            if best is None or evidence > best[0]:
                best = (evidence, noise, together, span_s)
    if best is None:
        return _noise(problem, error, 0.0, 0.0), 0.0, 0.0
    return best[1:]


def _at_quantile(
    problem: _Problem,
    kernel: Array,
    errors: tuple[float, float, float],
    mean: Array,
    quantile: float,
) -> tuple[Array, float]:
    """Move the mean to the quantile by pseudo-observations; say by how much the doubt grows."""
    error, together, span_s = errors
    residual = (problem.departure - problem.weights @ mean) / problem.size
    start = float(np.quantile(residual, quantile))
    width = 0.3 * error
    density = float(np.mean(np.abs(residual - start) < width)) / (2.0 * width)
    density = max(density, 0.05 / error)
    variance = quantile * (1.0 - quantile) / density**2
    noise = _noise(problem, float(np.sqrt(variance)), together, span_s)
    covariance, _ = _posterior(noise, kernel)
    # What all stretches lie above or below the mean is taken off first, and learned apart.
    offset, at = start * problem.size, mean
    for _ in range(STEPS):
        residual = (problem.departure - problem.weights @ at - offset) / problem.size
        below = 1.0 / (1.0 + np.exp(np.clip(residual / (0.2 * error), -30.0, 30.0)))
        pseudo = problem.weights @ at + problem.size * (quantile - below) / density
        at = at + 0.5 * (covariance @ noise.projected(pseudo)[0] - at)
    average = np.full(mean.size, start * float(np.median(problem.size)))
    return at + average, max(variance / error**2, 1.0)


# ---- shape ---------------------------------------------------------------------------------------


def _shaped(mean: Array, doubt: Array, known: Array, twa_deg: Array, tws_kn: Array) -> Array:
    """Bring a table into the shape that polars have, each value moved as its doubt lets it.

    In angle speed rises to one highest value and falls beyond; in wind it grows no faster than
    the wind, and abaft the beam it doesn't fall before the wind is strong. A rule that what is
    known beforehand breaks itself is no rule for this boat. Neighbours that break one are moved
    towards each other until none is left (projections on half-spaces in turn).
    """
    rising = np.where(np.arange(twa_deg.size - 1)[:, np.newaxis] < mean.argmax(axis=0), 1.0, -1.0)
    kept_angle = np.diff(known, axis=0) * rising >= 0.0
    growth = np.diff(np.log(tws_kn))
    kept_most = np.diff(known, axis=1) <= growth
    gentle = (twa_deg >= ABAFT_DEG)[:, np.newaxis] & (tws_kn[1:] <= STRONG_KN)
    kept_least = gentle & (np.diff(known, axis=1) >= 0.0)
    now = mean.copy()
    for _ in range(ROUNDS):
        for first in (0, 1):
            edges = slice(first, None, 2)
            _push(now, doubt, 0, edges, rising[edges], 0.0, kept_angle[edges])
            most = kept_most[:, edges]
            _push(now, doubt, 1, edges, np.full(most.shape, -1.0), -growth[edges], most)
            least = kept_least[:, edges]
            _push(now, doubt, 1, edges, np.ones(least.shape), 0.0, least)
    return now


ABAFT_DEG, STRONG_KN, ROUNDS = 90.0, 20.0, 60


def _push(
    now: Array,
    doubt: Array,
    axis: int,
    edges: slice,
    sign: Array,
    least: Array | float,
    rule: BoolArray,
) -> None:
    """Bring sign·(after - before) to `least` or more across some edges, in place."""
    before = [slice(None), slice(None)]
    after = [slice(None), slice(None)]
    last = now.shape[axis] - 1
    begin = edges.start or 0
    before[axis], after[axis] = slice(begin, last, 2), slice(begin + 1, None, 2)
    low, high = tuple(before), tuple(after)
    short = np.where(rule, np.maximum(least - sign * (now[high] - now[low]), 0.0), 0.0)
    share = doubt[high] ** 2 / (doubt[high] ** 2 + doubt[low] ** 2)
    now[high] += sign * short * share
    now[low] -= sign * short * (1.0 - share)
