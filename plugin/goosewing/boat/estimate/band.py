"""How far off an estimate may be: what the doubt in each of its inputs does to the speed.

Each input is put off by its own spread, the balance is followed to first order, and the
changes are added as independent errors. Measured figures have spreads too; guessed ones far
larger. What no input stands for, the model's own error, is set so that the published
speeds of three certified yachts lie in the band as often as it says. The band is for flat
water and good crews: what the sea and the helm cost isn't in it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from goosewing.boat.estimate.balance import Cells, Ship, Water
from goosewing.boat.estimate.yacht import PROPELLER_DRAG_M2, yacht
from goosewing.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from goosewing.boat.estimate.balance import Equilibrium
    from goosewing.boat.estimate.dimensions import Dimensions
    from goosewing.boat.estimate.sails import SailPlan
    from goosewing.boat.estimate.yacht import Yacht
    from goosewing.units import Array

FOUR_IN_FIVE = 1.2816
"""Standard deviations either side of the middle of a normal distribution that hold 80 %."""

MEASURED: Mapping[str, float] = {
    "waterline_length_m": 0.01,
    "beam_m": 0.005,
    "waterline_beam_m": 0.02,
    "draft_m": 0.02,
    # Papers tell what the designer hoped for.
    "displacement_kg": 0.05,
    "righting_moment_kgm_per_deg": 0.05,
    "mainsail_m2": 0.03,
    "jib_m2": 0.03,
    "mainsail_luff_m": 0.01,
    "foretriangle_height_m": 0.01,
}
"""Spread of what was measured, one standard deviation as a share; common practice, no source."""

RESIDUARY_SPREAD = 0.12
"""Of the Delft regressions: 15 % either way, taken as four times in five."""

FRICTION_SPREAD = 0.10
"""Paint, slime and a keel's fairing."""

SAIL_FORCE_SPREAD = 0.04
"""Between published sets of coefficients, at one area."""

MODEL_SPREAD = 0.015
"""What no input stands for, of the speed."""

DEPOWERED_SPREAD = 0.08
"""The same, for each unit of depowering: reefs, twist and sea are modelled coarsely."""

BLANKETING_SPREAD = 0.5
POLE_SPREAD = 0.7
"""One standard deviation of the two laws without a source, as shares of their whole effect."""

LIGHT_AIR_M_S = 3.0
LIGHT_AIR_SPREAD = 0.04
"""Below such a wind, more: it is unsteady, and rises faster with height."""

STEP = 1e-4
"""Of finite differences, in m/s and rad."""


def spread(given: Dimensions, plan_of: PlanMaker, cells: Cells, found: Equilibrium) -> Array:
    """Return one standard deviation of the speed, as a share of it.

    Parameters
    ----------
    given : Dimensions
    plan_of : callable
        Makes the sail plan of a yacht.
    cells : Cells
    found : Equilibrium
        As `equilibrium` found for these.

    Returns
    -------
    ndarray
        Of the cells' shape; NaN where there is no equilibrium.
    """
    base = yacht(given)
    ship = Ship(Water.of(base), plan_of(base))
    away = _Away(ship, cells, found)
    total = MODEL_SPREAD**2 + (DEPOWERED_SPREAD * found.how_far) ** 2
    light = np.clip(1.0 - cells.tws / LIGHT_AIR_M_S, 0.0, 1.0)
    total = total + (LIGHT_AIR_SPREAD * light) ** 2
    for other in _others(given, base, plan_of):
        total = total + away.share(other) ** 2
    return np.asarray(np.where(found.solved, np.sqrt(total), np.nan))


def _others(given: Dimensions, base: Yacht, plan_of: PlanMaker) -> Iterator[Ship]:
    """Yield the ship with each of its inputs one standard deviation off."""
    plan = plan_of(base)
    for key, value, share in _inputs(given, base):
        changed = _with(given, key, value, share)
        if changed is not None:
            yield Ship(Water.of(changed), plan_of(changed))
    for doubted in (
        replace(base, resistance=1.0 + RESIDUARY_SPREAD),
        replace(base, friction=1.0 + FRICTION_SPREAD),
        replace(base, sail_force=1.0 + SAIL_FORCE_SPREAD),
    ):
        yield Ship(Water.of(doubted), plan)
    yield Ship(Water.of(base), replace(plan, blanketing=1.0 - BLANKETING_SPREAD))
    yield Ship(Water.of(base), replace(plan, poled_at_worst=POLE_SPREAD))


def _inputs(given: Dimensions, base: Yacht) -> Iterator[tuple[str, float | str, float]]:
    """Yield each input with its value and its spread."""
    yield from base.guesses
    guessed = {guess.key for guess in base.guesses}
    for key, share in MEASURED.items():
        value = getattr(given, key)
        if value is not None and key not in guessed:
            yield key, value, share


def _with(given: Dimensions, key: str, value: float | str, share: float) -> Yacht | None:
    """Return the yacht with an input off by its spread: upwards, or downwards where that fails.

    Off upwards a measurement may leave its limits, or contradict another.
    """
    for sign in (1.0, -1.0):
        off = _draggier(value) if isinstance(value, str) else value * (1.0 + sign * share)
        members: dict[str, Any] = {key: off}
        try:
            return yacht(replace(given, **members))
        except InputError:
            continue
    return None


def _draggier(propeller: str) -> str:
    """Return the next propeller that drags more."""
    kinds = list(PROPELLER_DRAG_M2)
    return str(kinds[min(kinds.index(propeller) + 1, len(kinds) - 1)])  # type: ignore[arg-type]


class _Away:
    """Follows an equilibrium to first order, at the depowering chosen.

    That this is held is no loss: at its best, speed doesn't change with it to first order.
    """

    def __init__(self, ship: Ship, cells: Cells, found: Equilibrium) -> None:
        self._cells, self._how_far = cells, np.where(found.solved, found.how_far, 0.0)
        self._speed = np.where(found.solved, found.speed, 1.0)
        self._heel = np.where(found.solved, found.heel, 0.0)
        here = self._left(ship)
        faster = (self._left(ship, speed=STEP) - here) / STEP
        more = (self._left(ship, heel=STEP) - here) / STEP
        # Upright before the wind nothing balances: there the moment says nothing.
        self._here = here
        self._jacobian = np.moveaxis(np.stack((faster, more), axis=1), (0, 1), (-2, -1))

    def _left(self, ship: Ship, speed: float = 0.0, heel: float = 0.0) -> Array:
        return ship.left_over(self._speed + speed, self._heel + heel, self._cells, self._how_far)

    def share(self, other: Ship) -> Array:
        """Return by what share of her speed another ship is faster; held within a half."""
        change = np.moveaxis(self._left(other) - self._here, 0, -1)[..., np.newaxis]
        step = -np.linalg.solve(self._jacobian, change)[..., 0, 0]
        return np.asarray(np.clip(step / self._speed, -0.5, 0.5))


if TYPE_CHECKING:
    PlanMaker = Callable[[Yacht], SailPlan]
