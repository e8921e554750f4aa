"""Where the engine is used in changing wind: where sailing makes too little good towards the mark.

The speed made good is that of the best mix of boards in the wind and stream of one place
and time, manoeuvres left out, as if they held: where the ray towards the mark leaves the
hull of all velocities (`goosewing.velocities.velocity_set`). Where no sails can be carried,
or the stream sets her off whatever she sails, nothing is made good.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from goosewing.boat.model import row_angles, sailing
from goosewing.velocities.velocity_set import Airs, along_and_across, fastest_mix, velocity_set

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.boat.model import Boat, Engine
    from goosewing.units import Array, BoolArray

    Numbers = NDArray[np.intp]

ROW_STEP_DEG = 3.0
"""Spacing of the angles looked at, the table's own angles aside: good to 0.1 % of the hull."""

TABLE_STEP_KN = 1.0
BEARINGS = 19
"""Of what is made good in the worst direction a table tells enough to leave most states out."""

SPARE_KN = 0.3
"""What that table may be wrong by, between its winds and bearings."""


@dataclass(frozen=True, slots=True, eq=False)
class Lulls:
    """The rule by which the engine of a boat is used."""

    boat: Boat
    engine: Engine

    def motored(self, here: Airs[Array], bearing_deg: Array, pole_allowed: BoolArray) -> BoolArray:
        """Whether the engine is used.

        Parameters
        ----------
        here : Airs[Array]
        bearing_deg : ndarray, shape (n,)
            Of the mark. [°]
        pole_allowed : ndarray of bool, shape (n,)

        Returns
        -------
        ndarray of bool, shape (n,)
            False where wind or stream are unknown.
        """
        known = np.isfinite(here.tws_kn + here.stream_east_kn)
        at = np.flatnonzero(known & ~self._surely_sailed(here))
        used = np.zeros(len(known), dtype=bool)
        if at.size:
            some = Airs(*(values[at] for values in here))
            made_good = self.made_good_kn(some, bearing_deg[at], pole_allowed[at])
            used[at] = made_good < self.engine.least_vmc_kn
        return used

    def _surely_sailed(self, here: Airs[Array]) -> BoolArray:
        winds, least = _least_made_good_kn(self.boat)
        drift = np.hypot(here.stream_east_kn, here.stream_north_kn)
        worst = np.interp(here.tws_kn, winds, least) - drift - SPARE_KN
        # A gust may bar what the mean wind allows.
        gusty = np.fmax(here.gust_kn, here.tws_kn) > winds[-1]
        return np.asarray((worst > self.engine.least_vmc_kn) & ~gusty)

    def made_good_kn(self, here: Airs[Array], bearing_deg: Array, pole_allowed: BoolArray) -> Array:
        """Best speed made good under sail, shape (n,); 0 where there is none. [kn]."""
        wide = Airs(*(values[:, np.newaxis] for values in here))
        along, across = [], []
        for number, sails in enumerate(self.boat.sail_sets):
            rows = row_angles(sails, ROW_STEP_DEG)[np.newaxis, :]
            held = sailing(self.boat, number, rows, wide.tws_kn, wide.gust_kn)
            possible = held.possible
            if sails.poled:
                possible = possible & pole_allowed[:, np.newaxis]
            speed = np.where(possible, held.boat_speed_kn, np.nan)
            for side in (1.0, -1.0):
                track = np.radians(wide.twd_deg + side * held.track_angle_deg)
                east = speed * np.sin(track) + wide.stream_east_kn
                north = speed * np.cos(track) + wide.stream_north_kn
                ahead, aside = along_and_across(east, north, bearing_deg[:, np.newaxis])
                along.append(ahead)
                across.append(aside)
        return farthest_mix_kn(np.concatenate(along, axis=1), np.concatenate(across, axis=1))


def farthest_mix_kn(along_kn: Array, across_kn: Array) -> Array:
    """Tell what `fastest_mix` makes good along rays, one ray and one set of velocities a row.

    Parameters
    ----------
    along_kn, across_kn : ndarray, shape (n, k)
        Velocities along each row's ray and to the right of it; NaN for none. [kn]

    Returns
    -------
    ndarray, shape (n,)
        Zero where the ray misses the hull, or leaves it behind. [kn]
    """
    mix = fastest_mix(along_kn, np.nan_to_num(across_kn), np.isfinite(along_kn))
    return np.nan_to_num(mix.speed_kn)


@lru_cache(maxsize=4)
def _least_made_good_kn(boat: Boat) -> tuple[Array, Array]:
    """Winds, and what is made good in each in the worst direction, without a pole. [kn]."""
    strongest = min(sails.strongest_tws_kn for sails in boat.sail_sets)
    winds = np.arange(0.0, strongest + 1e-9, TABLE_STEP_KN)
    return winds, np.array([_worst_kn(boat, float(tws)) for tws in winds])


def _worst_kn(boat: Boat, tws_kn: float) -> float:
    held = velocity_set(boat, Airs(0.0, tws_kn), step_deg=ROW_STEP_DEG)
    poled = np.array([mode.poled for mode in held.modes])[held.mode]
    member = ~poled[np.newaxis]
    worst = np.inf
    for bearing in np.linspace(0.0, 180.0, BEARINGS):
        along, across = along_and_across(held.east_kn, held.north_kn, bearing)
        worst = min(worst, float(np.nan_to_num(fastest_mix(along, across, member).speed_kn[0])))
    return worst
