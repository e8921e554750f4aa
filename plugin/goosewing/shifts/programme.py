r"""When to turn on a shift: the best rule for a beat or run, by backward dynamic programming.

The state is where she lies in the layline diamond, how far the wind has shifted, and the
tack she is on. Both boards make good ground along the axis (`goosewing.shifts.game`), so
the axis serves as the clock: from the layer of positions nearest the mark outwards,

.. math:: V(x, \theta, a) = \min\{S(x, \theta, a),\; c_a + E[S(x, \theta', \bar a)]\},

where :math:`S` sails to the next layer: straight at the mark if it can be fetched, else at
the best angle to the wind of the moment; :math:`c_a` is what the turn costs, during which
the wind wanders on. Expectations over the wind are exact Gauss–Hermite sums of cubics.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.shifts.game import BEARINGS, LEAST_PROGRESS, Control, Game

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from goosewing.shifts.model import Shifts
    from goosewing.units import Array, BoolArray

DEVIATIONS = 33
WIDEST_SIGMAS = 3.5
NODES = 7
"""The wind: so many deviations out to so many standard deviations, and quadrature nodes."""

SLANTS = 241
"""Positions across each layer, by their bearing from the axis: finer towards the mark."""

NEAR_NM = 0.03
"""The mark's own neighbourhood, below which layers grow no finer."""

LAYER_SHARE = 0.02
WIDEST_LAYER_NM = 0.03
"""A layer is this share of the distance to go, but no deeper."""


@dataclass(frozen=True, slots=True, eq=False)
class Layers:
    """What turning now gains, on every layer of positions.

    `gain_h` interpolates it; beyond the last layer and the widest slant the nearest holds.
    """

    to_go_nm: Array
    """Ascending, shape (k,)."""
    slant: Array
    """Shape (s,): x / (y + `NEAR_NM`)."""
    deviation_deg: Array
    """Shape (d,)."""
    gain: NDArray[np.float32]
    """Shape (k, 2, d, s). [h]"""

    def gain_h(self, x: ArrayLike, y: ArrayLike, deviation: ArrayLike, on: ArrayLike) -> Array:
        """Return what turning now gains in hours, shape (...); below zero it costs.

        Parameters
        ----------
        x, y : array_like, shape (...)
            As `Game.place`. [nm]
        deviation : array_like, shape (...)
            Of the wind from its mean, clockwise. [°]
        on : array_like of int, shape (...)
            Which of the game's two tacks she is on.
        """
        across, ahead, shifted = (np.asarray(each, dtype=np.float64) for each in (x, y, deviation))
        tack = np.asarray(on, dtype=np.intp)
        y = np.clip(ahead, 0.0, self.to_go_nm[-1])
        at = np.clip(np.searchsorted(self.to_go_nm, y, side="right") - 1, 0, len(self.to_go_nm) - 2)
        share = (y - self.to_go_nm[at]) / (self.to_go_nm[at + 1] - self.to_go_nm[at])
        one, two = (self._in_layer(k, tack, across, y, shifted) for k in (at, at + 1))
        found: Array = one + share * (two - one)
        return found

    def _in_layer(
        self, k: NDArray[np.intp], on: NDArray[np.intp], x: Array, y: Array, deviation: Array
    ) -> Array:
        i, u = _cell(self.deviation_deg, deviation)
        j, v = _cell(self.slant, x / (y + NEAR_NM))
        gain = self.gain
        low = gain[k, on, i, j] * (1 - v) + gain[k, on, i, j + 1] * v
        high = gain[k, on, i + 1, j] * (1 - v) + gain[k, on, i + 1, j + 1] * v
        return low * (1 - u) + high * u


def _cell(even: Array, value: Array) -> tuple[NDArray[np.intp], Array]:
    """Return the cell of an even grid a value lies in, and its share along it, clipped."""
    place = np.clip((value - even[0]) / (even[1] - even[0]), 0.0, len(even) - 1.0)
    at = np.minimum(place.astype(np.intp), len(even) - 2)
    return at, place - at


class _Step(NamedTuple):
    """Positions of one layer, and where each control leads on the layer before."""

    slant: Array
    y: float
    nearer: float


def _to_go(farthest: float) -> Array:
    """Return layers from the mark out to the start itself, finer towards the mark."""
    layers = [0.0]
    while layers[-1] < farthest:
        layers.append(
            layers[-1] + min(LAYER_SHARE * (layers[-1] + NEAR_NM) + 1e-4, WIDEST_LAYER_NM)
        )
    if len(layers) <= 2:
        return np.array([0.0, farthest / 2.0, farthest])
    # A last layer beyond the start would add half a minute to what it takes from there.
    return np.array(layers) * (farthest / layers[-1])


def solved(game: Game, shifts: Shifts, x: float, y: float) -> tuple[Layers, Array]:
    """Solve the programme out to a start.

    Parameters
    ----------
    x, y : float
        The start, as `Game.place`. [nm]

    Returns
    -------
    layers : Layers
    expected_h : ndarray, shape (2,)
        At the start, the wind as forecast, on either tack. [h]
    """
    deviation = np.linspace(-WIDEST_SIGMAS, WIDEST_SIGMAS, DEVIATIONS) * shifts.sigma_deg
    control = game.at(deviation)
    to_go = _to_go(max(y, NEAR_NM))
    mean = game.at(np.zeros(1))
    lay = np.abs(mean.right_kn / mean.ahead_kn).max()
    widest = max(1.7 * lay, 1.1 * abs(x) / (max(y, 0.0) + NEAR_NM))
    slant = np.linspace(-widest, widest, SLANTS)
    turning = np.stack(
        [_expectation(deviation, np.full(DEVIATIONS, cost), shifts) for cost in game.cost_h]
    )
    cost = np.asarray(game.cost_h)[:, np.newaxis, np.newaxis]
    best = _at_the_mark(game, control, slant)
    gain = np.zeros((len(to_go), 2, DEVIATIONS, SLANTS), dtype=np.float32)
    for k in range(1, len(to_go)):
        moves = _moves(control, _Step(slant, float(to_go[k]), float(to_go[k - 1])))
        drift = np.stack([_expectation(deviation, hours, shifts) for hours in moves.best_h])
        sail = _sailed(moves, drift @ best)
        turn = cost + turning @ sail[::-1]
        gain[k] = sail - turn
        best = np.minimum(sail, turn)
    gain[0] = gain[1]
    expected = _at_start(best, slant, x, float(to_go[-1]))
    return Layers(to_go, slant, deviation, gain), expected


class _Moves(NamedTuple):
    """From one layer to the next nearer: times and where they lead, tack first."""

    best_h: Array
    """On the best angle, shape (2, d)."""
    back_h: Array
    """Besides, to come back from beyond the layer, shape (2, d, s)."""
    best_to: tuple[NDArray[np.intp], Array]
    """Cell and share on the nearer layer, shape (2, d, s)."""
    fetched: BoolArray
    """Whether the mark is fetched from there, shape (2, d, s)."""
    straight_h: Array
    """Straight to the mark, shape (2, d, s)."""
    straight_to: tuple[NDArray[np.intp], Array]
    """Shape (s,)."""


def _moves(control: Control, step: _Step) -> _Moves:
    x = step.slant * (step.y + NEAR_NM)
    depth = step.y - step.nearer
    mean_kn = control.ahead_kn.mean()
    ahead = np.maximum(control.ahead_kn, LEAST_PROGRESS * mean_kn)
    hours = depth / ahead
    lands = x + (control.right_kn * hours)[..., np.newaxis]
    speed = _speed_to_mark(control, x, step.y)
    fetched = np.isfinite(speed)
    length = depth * np.hypot(1.0, x / step.y)
    straight = np.divide(length, speed, out=np.zeros_like(speed), where=fetched)
    nearer = step.nearer + NEAR_NM
    # Beyond the widest slant she must first come all the way back across.
    beyond = np.maximum(np.abs(lands) - step.slant[-1] * nearer, 0.0)
    return _Moves(
        hours,
        beyond / np.abs(control.right_kn).mean(),
        _cell(step.slant, lands / nearer),
        fetched,
        straight,
        _cell(step.slant, x * (step.nearer / step.y) / nearer),
    )


def _speed_to_mark(control: Control, x: Array, y: float) -> Array:
    """Return the speed straight to the mark from places on a layer, shape (2, d, s)."""
    bearing = np.degrees(np.arctan2(-x, y))
    at = (bearing + 180.0) / 360.0 * (BEARINGS - 1)
    low = np.minimum(at.astype(np.intp), BEARINGS - 2)
    share = at - low
    found = control.straight_kn
    one, two = found[:, :, low], found[:, :, low + 1]
    # At the edge of what is fetched one neighbour is not: the other stands for both.
    one, two = np.where(np.isnan(one), two, one), np.where(np.isnan(two), one, two)
    near = np.where(share < 0.5, found[:, :, low], found[:, :, low + 1])
    speed: Array = np.where(np.isnan(near), np.nan, one + share * (two - one))
    return speed


def _sailed(moves: _Moves, later: Array) -> Array:
    """Time from a layer by the next nearer, whose expected times are `later`, shape (2, d, s)."""
    cell, share = moves.best_to
    low = np.take_along_axis(later, cell, axis=2)
    high = np.take_along_axis(later, cell + 1, axis=2)
    on = moves.best_h[..., np.newaxis] + moves.back_h + low + share * (high - low)
    cell, share = moves.straight_to
    straight = moves.straight_h + later[:, :, cell] * (1 - share) + later[:, :, cell + 1] * share
    found: Array = np.where(moves.fetched, np.minimum(straight, on), on)
    return found


def _at_the_mark(game: Game, control: Control, slant: Array) -> Array:
    """Time from beside the mark, on its own layer: reach back to it, turning first if need be."""
    speed = _speed_to_mark(control, slant * NEAR_NM, 1e-9)
    reach = np.abs(slant) * NEAR_NM / speed
    slow = np.abs(slant) * NEAR_NM / (LEAST_PROGRESS * control.ahead_kn.mean())
    reach = np.where(np.isnan(reach), np.inf, reach)
    cost = np.asarray(game.cost_h)[:, np.newaxis, np.newaxis]
    # Where neither board leads back, two turns and the way in between: a few cables at most.
    made: Array = np.minimum(np.minimum(reach, cost + reach[::-1]), cost + cost[::-1] + slow)
    return made


def _expectation(deviation: Array, hours: Array, shifts: Shifts) -> Array:
    """Return the matrix that takes values over deviations to their expectation later, (d, d)."""
    mean, spread = shifts.after(deviation, hours)
    nodes, weights = np.polynomial.hermite_e.hermegauss(NODES)
    later = mean[:, np.newaxis] + spread[:, np.newaxis] * nodes
    size = len(deviation)
    place = np.clip((later - deviation[0]) / (deviation[1] - deviation[0]), 0.0, size - 1.0)
    at = np.clip(place.astype(np.intp), 1, size - 3)
    t = place - at
    # Cubic Lagrange through four neighbours: a straight line between two would spread the wind.
    taps = (
        -t * (t - 1.0) * (t - 2.0) / 6.0,
        (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0,
        -(t + 1.0) * t * (t - 2.0) / 2.0,
        (t + 1.0) * t * (t - 1.0) / 6.0,
    )
    matrix = np.zeros((size, size))
    row = np.broadcast_to(np.arange(size)[:, np.newaxis], at.shape)
    for offset, tap in zip((-1, 0, 1, 2), taps, strict=True):
        np.add.at(matrix, (row, at + offset), tap * weights / weights.sum())
    return matrix


def _at_start(value: Array, slant: Array, x: float, y: float) -> Array:
    """Return the value at the start with the wind as forecast, on either tack, shape (2,)."""
    cell, share = _cell(slant, np.array([x / (y + NEAR_NM)]))
    of_mean = value[:, (DEVIATIONS - 1) // 2]
    found: Array = of_mean[:, cell[0]] * (1 - share[0]) + of_mean[:, cell[0] + 1] * share[0]
    return found
