"""What a leg could take at best: an estimate, by what each hour of the boards is worth.

Along boards of least time the costate tells how many hours a mile made anywhere would
save at the mark (Pontryagin's principle; Bryson and Ho, *Applied Optimal Control*, 1975,
chapter 2). Where another tack, sail set or angle than the one sailed would make more of
it, so much is missed. What of that could be gained is told by the best sequence of tacks
and sail sets along the boards, every change between two of them paid for at its cheapest
(dynamic programming over the steps, after Bellman). Angles are free at every moment, no
board is too short, no order is held; and places are those of the boards: to first order
that is the least time about them. It is never above their own time; it is no bound, for
other boards, far from these, may be faster.

Were manoeuvres free too, as this estimate once had it, it would say what nobody could
sail: along a beat in restless winds the costate of one board makes another tack at every
swing of the wind look worth its while, 1.5 % of 1,000 nm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from goosewing.boat import manoeuvres
from goosewing.boat.model import row_angles
from goosewing.changing.motion import Waters, degrees_per_hour

if TYPE_CHECKING:
    from goosewing.changing.shooting import Orders, States
    from goosewing.units import Array
    from goosewing.velocities.velocity_set import Airs

ROW_STEP_DEG = 2.0


def relaxed_h(course: Orders, states: States, price: Array, elapsed_h: float) -> float:
    """Estimate the least time of a leg, manoeuvres paid for.

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
    worth = 0.5 * (worth[:-1] + worth[1:])
    hours = np.diff(states.time_h)
    hours -= np.append(course.pause_h[1:], 0.0)
    made = np.stack((np.diff(states.lat), np.diff(states.lon)), axis=1)
    own = np.einsum("mj,mj->m", worth, made) / hours
    middle = [0.5 * (values[:-1] + values[1:]) for values in (states.lat, states.lon)]
    time_h = states.time_h[:-1] + 0.5 * hours
    most = most_made_good(course.waters, time_h, middle[0], middle[1], worth)
    # What was sailed can be sailed, whatever a look at the middle of a step says.
    at, sailed = np.arange(len(own)), np.array([helm.mode for helm in course.helms])[course.order]
    most[at, sailed] = np.fmax(most[at, sailed], own)
    rate = np.maximum(most.max(axis=1), 0.0)
    gains = hours[:, np.newaxis] * (most - own[:, np.newaxis])
    costs = manoeuvres.cost_table_h(course.waters.boat, course.waters.modes).min(axis=0)
    paid = float(np.sum(course.pause_h * rate))
    return float(elapsed_h - max(paid + most_gained(gains, rate, costs), 0.0))


def most_gained(gains: Array, rate: Array, costs: Array) -> float:
    """Most that a sequence of modes gains over m steps, its changes paid for.

    Parameters
    ----------
    gains : ndarray, shape (m, modes)
        Hours gained in each step; -inf where a mode can't be sailed.
    rate : ndarray, shape (m,)
        What an hour lost before a step costs. [h/h]
    costs : ndarray, shape (modes, modes)
        From each mode to each. [h]
    """
    best = gains[0]
    for each, lost in zip(gains[1:], rate[1:], strict=True):
        best = (best[:, np.newaxis] - lost * costs).max(axis=0) + each
    return float(best.max())


def most_made_good(waters: Waters, time_h: Array, lat: Array, lon: Array, worth: Array) -> Array:
    """Most that any angle of each tack and sail set makes of what a degree is worth.

    Parameters
    ----------
    time_h, lat, lon : ndarray, shape (m,)
    worth : ndarray, shape (m, 2)
        Of a degree of latitude, and of longitude. [h/°]

    Returns
    -------
    ndarray, shape (m, modes)
        Hours saved an hour; -inf where those sails can't be carried, and under engine.
    """
    airs = waters.airs(time_h, lat, lon)
    wide: Airs[Array] = type(airs)(*(values[:, np.newaxis] for values in airs))
    best = np.full((len(lat), len(waters.modes)), -np.inf)
    for number, mode in enumerate(waters.modes):
        if mode.engine:
            continue
        rows = row_angles(waters.boat.sail_sets[mode.sail_set], ROW_STEP_DEG)
        going = waters.at_angle(mode, rows[np.newaxis], wide)
        north, east = degrees_per_hour(lat[:, np.newaxis], going.east_kn, going.north_kn)
        made = worth[:, :1] * north + worth[:, 1:] * east
        possible = going.possible
        if mode.poled:
            possible = possible & waters.pole_allowed(time_h, lat, lon)[:, np.newaxis]
        best[:, number] = np.where(possible, made, -np.inf).max(axis=1)
    return best
