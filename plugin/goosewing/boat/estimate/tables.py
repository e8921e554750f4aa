"""The boat with her tables: sail sets, heel, leeway, bands; in knots and degrees.

The balance counts angles by the water track, in flat water. Its best angles are 2 to 5°
closer to the wind than yachts are sailed in a sea (common practice, no source). So its rows
are taken for the bow's: leeway, which grows with wind and heel as the sea does, then comes
on top, and to windward she makes 3 to 7 % less good than the balance would have it, about
what waves cost her.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat.estimate.balance import Cells, equilibrium
from goosewing.boat.estimate.band import FOUR_IN_FIVE, spread
from goosewing.boat.estimate.sails import (
    main_alone,
    main_and_jib,
    main_and_spinnaker,
    wing_and_wing,
)
from goosewing.boat.estimate.yacht import yacht
from goosewing.boat.model import Band, Boat, Leeway, Performance, PolarTable, SailSet
from goosewing.units import METRES_PER_SECOND_PER_KNOT

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from goosewing.boat.estimate.dimensions import Dimensions
    from goosewing.boat.estimate.sails import SailPlan
    from goosewing.boat.estimate.yacht import Guess, Yacht
    from goosewing.units import Array

WINDS_KN = (4.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0, 30.0)
ANGLES_DEG = (
    *(32.0, 36.0, 40.0, 44.0, 48.0, 52.0, 60.0, 70.0, 80.0, 90.0),
    *(100.0, 110.0, 120.0, 130.0, 140.0, 150.0, 160.0, 170.0, 180.0),
)

MAIN_ALONE_FROM_DEG = 52.0
POLED_FROM_DEG = 150.0
SPINNAKER_DEG = (80.0, 180.0)
"""Closer to the wind a mainsail alone, a pole or a spinnaker is not what she would carry."""

POLE_TO_KN = 22.0
SPINNAKER_TO_KN = 18.0
"""Winds in which a small crew has them down; common practice, no source. [kn]"""

CREW = Performance(upwind=0.97, reach=0.97, run=0.97)
"""Crews make 96 to 98 % of what a boat can do; common practice, no source."""

UPWIND_DEG = (36.0, 60.0)
LEAST_HEEL_DEG = 5.0
LEAST_SPEED_KN = 3.0
"""Where leeway is held against heel over speed squared: she must be driven."""

LARGEST_LEEWAY_DEG = 20.0


class LeewayFit(NamedTuple):
    """k of leeway = k·heel/STW², as her own balance has it."""

    coefficient: float
    low: float
    high: float
    """The middle four fifths of the cells."""
    cells: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A boat made from measurements, and how far to trust her.

    Attributes
    ----------
    boat : Boat
        With bands; rows by the bow.
    yacht : Yacht
        What the balance was made from.
    leeway : LeewayFit
    guesses : tuple of Guess
        What wasn't measured.
    outside : tuple of str
        What lies outside the tested range of the formulas.
    unsolved : tuple of (str, float, float)
        Sail set, angle [°] and wind [kn] of the cells without a balance; 0 in the tables.
    """

    boat: Boat
    yacht: Yacht
    leeway: LeewayFit
    guesses: tuple[Guess, ...]
    outside: tuple[str, ...]
    unsolved: tuple[tuple[str, float, float], ...]


class _Kind(NamedTuple):
    plan_of: Callable[[Yacht], SailPlan]
    twa_deg: tuple[float, float]
    tws_kn: tuple[float, float]
    poled: bool = False


def _kinds(given: Dimensions, winds: Sequence[float]) -> list[_Kind]:
    last = max(winds)
    kinds = [
        _Kind(lambda made: main_and_jib(made.rig, made.lift), (0.0, 180.0), (0.0, last)),
        _Kind(
            lambda made: main_alone(made.rig, made.lift),
            (MAIN_ALONE_FROM_DEG, 180.0),
            (0.0, last),
        ),
        _Kind(
            lambda made: wing_and_wing(made.rig, made.lift),
            (POLED_FROM_DEG, 180.0),
            (0.0, min(POLE_TO_KN, last)),
            poled=True,
        ),
    ]
    if given.spinnaker_m2 is not None:
        kinds.append(
            _Kind(
                lambda made: main_and_spinnaker(made.rig, made.spinnaker, made.lift),
                SPINNAKER_DEG,
                (0.0, min(SPINNAKER_TO_KN, last)),
            )
        )
    return kinds


def estimate(
    given: Dimensions,
    *,
    winds_kn: Sequence[float] = WINDS_KN,
    angles_deg: Sequence[float] = ANGLES_DEG,
) -> Estimate:
    """Predict a boat's speed, heel and leeway from her measurements.

    Parameters
    ----------
    given : Dimensions
    winds_kn, angles_deg : sequence of float
        Columns and rows of the tables; a sail set has the rows of its sector.

    Returns
    -------
    Estimate

    Raises
    ------
    InputError
        If the measurements contradict each other, or nothing balances anywhere.
    """
    base = yacht(given)
    made = [_sail_set(given, base, kind, winds_kn, angles_deg) for kind in _kinds(given, winds_kn)]
    fit = _leeway(made[0])
    boat = Boat(
        name=given.name,
        polar_angle="heading",
        sail_sets=tuple(each.sails for each in made),
        leeway=Leeway(coefficient=fit.coefficient, largest_deg=LARGEST_LEEWAY_DEG),
        performance=CREW,
    )
    return Estimate(
        boat=boat,
        yacht=base,
        leeway=fit,
        guesses=base.guesses,
        outside=base.outside,
        unsolved=tuple(cell for each in made for cell in each.unsolved),
    )


class _Made(NamedTuple):
    sails: SailSet
    leeway_deg: Array
    unsolved: list[tuple[str, float, float]]


def _sail_set(
    given: Dimensions,
    base: Yacht,
    kind: _Kind,
    winds_kn: Sequence[float],
    angles_deg: Sequence[float],
) -> _Made:
    plan = kind.plan_of(base)
    rows = np.array([each for each in angles_deg if each >= kind.twa_deg[0]])
    winds = np.array(winds_kn)
    cells = grid(rows, winds)
    found = equilibrium(base, plan, cells)
    sigma = np.where(found.solved, spread(given, kind.plan_of, cells, found), 0.0)
    speed = np.where(found.solved, found.speed, 0.0) / METRES_PER_SECOND_PER_KNOT
    heel = np.degrees(np.where(found.solved, found.heel, 0.0))
    # As written to files, so that a boat read back is this one to the last digit.
    shown = _rounded(speed, 2)
    off = FOUR_IN_FIVE * sigma
    band = Band(
        PolarTable(winds, rows, np.minimum(shown, _rounded(speed * np.exp(-off), 2))),
        PolarTable(winds, rows, np.maximum(shown, _rounded(speed * np.exp(off), 2))),
        np.zeros(speed.shape),
    )
    sails = SailSet(
        name=plan.name,
        polar=PolarTable(winds, rows, shown),
        heel=PolarTable(winds, rows, _rounded(heel, 1)),
        twa_deg=kind.twa_deg,
        tws_kn=kind.tws_kn,
        poled=kind.poled,
        band=band,
    )
    unsolved = [(plan.name, float(rows[i]), float(winds[j])) for i, j in np.argwhere(~found.solved)]
    return _Made(sails, np.degrees(found.leeway), unsolved)


def _rounded(values: Array, decimals: int) -> Array:
    return np.asarray(np.round(values, decimals), dtype=np.float64)


def grid(angles_deg: Array, winds_kn: Array) -> Cells:
    """Return the cells of a table: angles down, winds across, in SI units."""
    twa, tws = np.broadcast_arrays(
        np.radians(angles_deg)[:, np.newaxis], winds_kn * METRES_PER_SECOND_PER_KNOT
    )
    return Cells(np.array(twa), np.array(tws))


def _leeway(made: _Made) -> LeewayFit:
    """Fit leeway = k·heel/STW² to the balance where she is driven close-hauled.

    The median of k over the cells, so that an odd one doesn't count for more.
    """
    polar, heel = made.sails.polar, made.sails.heel
    assert heel is not None
    rows = (polar.twa_deg >= UPWIND_DEG[0]) & (polar.twa_deg <= UPWIND_DEG[1])
    driven = (heel.values >= LEAST_HEEL_DEG) & (polar.values >= LEAST_SPEED_KN)
    use = driven & rows[:, np.newaxis]
    if not use.any():
        usual = Leeway().coefficient
        return LeewayFit(usual, usual, usual, 0)
    k = made.leeway_deg[use] * polar.values[use] ** 2 / heel.values[use]
    low, middle, high = (round(float(each), 1) for each in np.percentile(k, (10, 50, 90)))
    return LeewayFit(middle, low, high, int(use.sum()))
