"""What a leg could take at best: an estimate, by what each hour of the boards is worth.

Along boards of least time the costate tells how many hours a mile made anywhere would
save at the mark (Pontryagin's principle; Bryson and Ho, *Applied Optimal Control*, 1975,
chapter 2). Where another tack, sail set or angle than the one sailed would make more of
it, and while a manoeuvre is made, so much is missed; without manoeuvre costs, and turning
as often as one likes, it would be gained. To first order that is the time of the relaxed
problem about these boards. It is never above their own time; it is no bound, for other
boards, far from these, may be faster.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from goosewing.boat.model import row_angles
from goosewing.changing.motion import Waters, degrees_per_hour

if TYPE_CHECKING:
    from goosewing.changing.shooting import Orders, States
    from goosewing.units import Array
    from goosewing.velocities.velocity_set import Airs

ROW_STEP_DEG = 2.0


def relaxed_h(course: Orders, states: States, price: Array, elapsed_h: float) -> float:
    """Estimate the time of a leg without manoeuvre costs.

    Parameters
    ----------
    course : Orders
        The boards' orders, cut into steps.
    states : States
        Where they lead.
    price : ndarray, shape (2,)
        Hours that a degree north and east of the end, missed, is worth. [h/°]
    elapsed_h : float
        What the boards and their manoeuvres take. [h]
    """
    near = course.nearby(states, course.variables, bends=False)
    worth = -np.einsum("i,mij->mj", price, near.onward)[:, :2]
    hours = np.diff(states.time_h)
    hours -= np.append(course.pause_h[1:], 0.0)
    made = np.stack((np.diff(states.lat), np.diff(states.lon)), axis=1)
    own = np.einsum("mj,mj->m", 0.5 * (worth[:-1] + worth[1:]), made) / hours
    middle = [0.5 * (values[:-1] + values[1:]) for values in (states.lat, states.lon)]
    time_h = states.time_h[:-1] + 0.5 * hours
    best = most_made_good(
        course.waters, time_h, middle[0], middle[1], 0.5 * (worth[:-1] + worth[1:])
    )
    missed = np.maximum(np.nan_to_num(best, nan=-np.inf), own) - own
    lost = course.pause_h * np.maximum(own + missed, 0.0)
    return float(elapsed_h - np.sum(hours * missed) - np.sum(lost))


def most_made_good(waters: Waters, time_h: Array, lat: Array, lon: Array, worth: Array) -> Array:
    """Most that any tack, sail set and angle make of what a degree is worth, shape (m,).

    Parameters
    ----------
    time_h, lat, lon : ndarray, shape (m,)
    worth : ndarray, shape (m, 2)
        Of a degree of latitude, and of longitude. [h/°]

    Returns
    -------
    ndarray, shape (m,)
        Hours saved an hour; -inf where no sails can be carried.
    """
    airs = waters.airs(time_h, lat, lon)
    wide: Airs[Array] = type(airs)(*(values[:, np.newaxis] for values in airs))
    best = np.full(len(lat), -np.inf)
    for mode in waters.modes:
        if mode.engine:
            continue
        rows = row_angles(waters.boat.sail_sets[mode.sail_set], ROW_STEP_DEG)
        going = waters.at_angle(mode, rows[np.newaxis], wide)
        north, east = degrees_per_hour(lat[:, np.newaxis], going.east_kn, going.north_kn)
        made = worth[:, :1] * north + worth[:, 1:] * east
        possible = going.possible
        if mode.poled:
            possible = possible & waters.pole_allowed(time_h, lat, lon)[:, np.newaxis]
        best = np.maximum(best, np.where(possible, made, -np.inf).max(axis=1))
    return best
