"""Which sails are fastest at which wind angle and wind speed, and where two boards are sooner."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from goosewing.velocities.targets import targets

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from goosewing.boat.model import Boat
    from goosewing.units import Array, BoolArray
    from goosewing.velocities.targets import Target, Targets, WindTargets

ANGLE_STEP_DEG = 2.0

REEF_HEEL_DEG, REEF_LEEWAY_DEG = 25.0, 8.0
"""More heel, or leeway, than this asks for less sail. Common practice, no source. [°]"""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Crossovers:
    """What to carry, over wind angle and wind speed.

    Attributes
    ----------
    sail_sets : tuple of str
        Their names, in the boat file's order.
    twa_deg : ndarray, shape (a,)
        Middles of the cells, from the bow. [°]
    tws_kn : ndarray, shape (w,)
        True wind, ascending. [kn]
    fastest : ndarray of int, shape (w, a)
        Which sail set is fastest there; -1 where none may be carried.
    sooner_by_two : ndarray of bool, shape (w, a)
        Where two boards at other angles get there sooner.
    targets : Targets
        For the same winds.
    """

    sail_sets: tuple[str, ...]
    twa_deg: Array
    tws_kn: Array
    fastest: NDArray[np.intp]
    sooner_by_two: BoolArray
    targets: Targets


def crossovers(boat: Boat, winds_kn: Sequence[float], *, made: Targets | None = None) -> Crossovers:
    """Find the fastest sail set over a grid of wind angles and wind speeds.

    Parameters
    ----------
    boat : Boat
    winds_kn : sequence of float
        True wind, in any order. [kn]
    made : Targets, optional
        The targets for these winds, if they are worked out already.

    Raises
    ------
    InputError
        As `goosewing.velocities.targets.targets`.
    """
    angles = np.arange(ANGLE_STEP_DEG / 2.0, 180.0, ANGLE_STEP_DEG)
    winds = np.array(sorted(winds_kn))
    speeds = np.stack([_speeds(boat, index, angles, winds) for index in range(len(boat.sail_sets))])
    known = np.where(np.isfinite(speeds), speeds, -1.0)
    if made is None:
        made = targets(boat, [float(kn) for kn in winds])
    ordered = replace(
        made, wind_speeds=tuple(sorted(made.wind_speeds, key=lambda each: each.tws_kn))
    )
    return Crossovers(
        sail_sets=tuple(sails.name for sails in boat.sail_sets),
        twa_deg=angles,
        tws_kn=winds,
        fastest=np.where(known.max(axis=0) > 0.0, known.argmax(axis=0), -1),
        sooner_by_two=np.array([_uncarried(wind, angles) for wind in ordered.wind_speeds]),
        targets=ordered,
    )


def _speeds(boat: Boat, index: int, angles: Array, winds: Array) -> Array:
    """Boat speed of one sail set, shape (w, a); NaN where it may not be carried."""
    sails = boat.sail_sets[index]
    tws, twa = np.meshgrid(winds, angles, indexing="ij")
    speed, _ = sails.speed_and_heel(twa, tws)
    low, high = sails.twa_deg
    may = (twa >= low) & (twa <= high) & (tws >= sails.tws_kn[0]) & (tws <= sails.strongest_tws_kn)
    return np.where(may, speed, np.nan)


def _uncarried(wind: WindTargets, angles: Array) -> BoolArray:
    half = ANGLE_STEP_DEG / 2.0
    covered = np.zeros(len(angles), dtype=bool)
    for sector in wind.carry:
        low, high = sector.twa_deg
        covered |= (angles + half >= low) & (angles - half <= high)
    return np.asarray(~covered)


def best_of(found: Sequence[Target]) -> Target | None:
    """Return the target with the best speed made good."""
    return max(found, key=lambda each: each.vmg_kn, default=None)


def asks_for_a_reef(target: Target) -> str | None:
    """Say why a target asks for less sail; None where it does not, or nobody knows."""
    if target.heel_deg is None:
        return None
    said = []
    if target.heel_deg > REEF_HEEL_DEG:
        said.append(f"heel {target.heel_deg:.0f}°")
    if target.leeway_deg > REEF_LEEWAY_DEG:
        said.append(f"leeway {target.leeway_deg:.0f}°")
    return " and ".join(said) or None
