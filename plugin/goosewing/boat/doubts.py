"""Cells of a polar table that look like slips of the pen: said, never refused."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from goosewing.boat.model import Boat, PolarTable, SailSet
    from goosewing.units import Array, BoolArray

TIMES_ITS_NEIGHBOURS = 1.8
"""A cell so many times as fast as those beside it is doubted. Common practice, no source."""

NEXT_ANGLE_DEG = 30.0
"""Angles farther apart say nothing of each other: in a coarse table speeds may well leap. [°]"""


def doubts(boat: Boat) -> tuple[str, ...]:
    """Say which table of a boat holds a boat speed that can hardly be meant, a line each.

    Parameters
    ----------
    boat : Boat

    Returns
    -------
    tuple of str
        Naming the sail set, the row by its angle and the column by its wind.

    Notes
    -----
    Doubted is a cell of more than 1.8 times both its neighbours in wind, or both in
    angle (at an edge the one that there is; beyond the last wind in proportion to the
    wind), and one whose VMG up or down the wind exceeds the true wind.
    """
    return tuple(line for sails in boat.sail_sets if (line := _doubt(sails)) is not None)


def _doubt(sails: SailSet) -> str | None:
    table = sails.polar
    leap, outrun = leaps(table), outruns(table)
    if not (leap | outrun).any():
        return None
    # The fastest of the doubted cells for its wind is the likeliest slip.
    faster = np.where(leap | outrun, table.values / np.fmax(table.tws_kn, 0.1), -1.0)
    row, column = np.unravel_index(int(np.argmax(faster)), faster.shape)
    why = (
        f"over {TIMES_ITS_NEIGHBOURS:g} times its neighbours"
        if leap[row, column]
        else "more made good along the wind than the wind blows"
    )
    return (
        f"{sails.name}: its polar says {table.values[row, column]:g} kn at "
        f"{table.twa_deg[row]:g}° in {table.tws_kn[column]:g} kn of wind, {why}: is it a slip?"
    )


def leaps(table: PolarTable) -> BoolArray:
    """Tell which cells are over 1.8 times both their neighbours, shape (n, m): see `doubts`."""
    speed, winds = table.values, table.tws_kn
    lower, upper = _beside(speed)
    if winds.size > 1 and winds[-2] > 0.0:
        # The last column has nothing faster beside it.
        lower[:, -1] *= winds[-1] / winds[-2]
    near = np.diff(table.twa_deg)[:, np.newaxis] <= NEXT_ANGLE_DEG
    closer, wider = (side.T for side in _beside(speed.T))
    closer[1:] = np.where(near, closer[1:], np.nan)
    wider[:-1] = np.where(near, wider[:-1], np.nan)
    return _over(speed, lower, upper) | _over(speed, closer, wider)


def _beside(values: Array) -> tuple[Array, Array]:
    """Return the values before and after each along the last axis; NaN where there is none."""
    gap = np.full((len(values), 1), np.nan)
    return np.hstack((gap, values[:, :-1])), np.hstack((values[:, 1:], gap))


def _over(speed: Array, one: Array, other: Array) -> BoolArray:
    greater = np.fmax(one, other)
    over: BoolArray = speed > TIMES_ITS_NEIGHBOURS * greater
    return over & (greater > 0.0)


def outruns(table: PolarTable) -> BoolArray:
    """Tell in which cells more is made good along the wind than it blows, shape (n, m)."""
    made_good = table.values * np.abs(np.cos(np.radians(table.twa_deg)))[:, np.newaxis]
    return np.asarray((made_good > table.tws_kn) & (table.tws_kn > 0.0))
