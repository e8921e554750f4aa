r"""Piecewise cubics that keep the shape of their table: no overshoot, no new humps.

At an inner node the slope is the weighted harmonic mean of the slopes of the two
neighbouring pieces, and zero where these differ in sign [1]_; at the ends a one-sided
three-point formula, held back so that the shape is kept. Written out here, in numpy,
because every plan needs it and importing ``scipy.interpolate``, which has it too, takes
longer than the whole plan; the tests hold the one against the other.

References
----------
.. [1] F. N. Fritsch and J. Butland, "A method for constructing local monotone piecewise
   cubic interpolants," SIAM J. Sci. Comput., vol. 5, no. 2, pp. 300-304, 1984,
   doi:10.1137/0905021; cited as in SciPy's documentation of ``PchipInterpolator``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from goosewing.units import Array


def shape_preserving_cubics(x: Array, y: Array) -> Array:
    """Build the cubics between the nodes of several curves over the same nodes.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Nodes, ascending, at least two.
    y : ndarray, shape (n, m)
        Values of m curves.

    Returns
    -------
    ndarray, shape (n - 1, m, 4)
        Coefficients of the powers of the distance from the left node, highest first.
    """
    h = np.diff(x)[:, np.newaxis]
    chord = np.diff(y, axis=0) / h
    slope = _slopes(h, chord)
    left, right = slope[:-1], slope[1:]
    cubic = (left + right - 2.0 * chord) / h**2
    square = (3.0 * chord - 2.0 * left - right) / h
    return np.stack((cubic, square, left, y[:-1]), axis=-1)


def _slopes(h: Array, chord: Array) -> Array:
    """Return the slope at every node, shape (n, m), from the pieces' widths and chords."""
    if len(h) == 1:
        return np.concatenate((chord, chord))
    first = _end_slope(h[0], h[1], chord[0], chord[1])
    last = _end_slope(h[-1], h[-2], chord[-1], chord[-2])
    return np.concatenate((first[np.newaxis], _inner_slopes(h, chord), last[np.newaxis]))


def _inner_slopes(h: Array, chord: Array) -> Array:
    before, after = chord[:-1], chord[1:]
    w1, w2 = 2.0 * h[1:] + h[:-1], h[1:] + 2.0 * h[:-1]
    # (w1 + w2) / (w1/before + w2/after), without dividing by a chord of next to nothing.
    below = w1 * after + w2 * before
    same = (np.sign(before) * np.sign(after) > 0.0) & (below != 0.0)
    share = np.divide(after, below, out=np.zeros_like(below), where=same)
    return np.asarray((w1 + w2) * share * before)


def _end_slope(h_end: Array, h_next: Array, end: Array, following: Array) -> Array:
    slope = ((2.0 * h_end + h_next) * end - h_end * following) / (h_end + h_next)
    slope = np.where(np.sign(slope) != np.sign(end), 0.0, slope)
    turns = (np.sign(end) != np.sign(following)) & (np.abs(slope) > 3.0 * np.abs(end))
    return np.asarray(np.where(turns, 3.0 * end, slope))
