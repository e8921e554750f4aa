"""Speed, heel and depowering in equilibrium, for many winds and angles at once.

Two balances: drive against drag, heeling against righting moment. Depowering, first by
flattening and then by reefing, is chosen for speed within a largest heel. All cells are
solved together by SciPy's bracketing solver on arrays: heel is the one root of a balance
that falls from 0° to 60°; speed is the *greatest* at which drag overtakes drive, looked
for on a coarse scale first, since near hull speed there may be several.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from goosewing.boat.estimate.appendages import (
    effective_span_m,
    induced_drag_n,
    keel_heel_drag_n,
    keel_residuary,
    leeway_rad,
)
from goosewing.boat.estimate.friction import dynamic_pressure, ittc57, reynolds_number
from goosewing.boat.estimate.hull import (
    GRAVITY_M_S2,
    drag_curve,
    heel_growth,
    heel_residuary,
    heeled_wetted_share,
    residuary_katgert,
    righting_arm,
)
from goosewing.boat.estimate.sails import airflow

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from goosewing.boat.estimate.sails import Airflow, SailPlan
    from goosewing.boat.estimate.yacht import Yacht
    from goosewing.units import Array, BoolArray

LARGEST_LOOKED_AT = np.radians(60.0)
"""No balance of heel is looked for beyond it: she is knocked down, in rad."""

SIDE_FORCE_DEPTH = 0.43
"""Where the water holds against the sails, as a share of the draught below the surface: ORC."""

SLOWEST_M_S = 0.05
FASTEST_FROUDE = 0.75
"""The regressions end here."""

SPEEDS_LOOKED_AT = 28
DEPOWERINGS = 12
BETWEEN = 7
"""Depowerings looked at first, and then about the best of them."""

HEEL_MARGIN = np.radians(0.25)
"""So far short of the largest heel depowering is chosen, where heel decides. [rad]"""

SPEED_FOR_NOTHING = 5e-3
"""Full depowering must bring this much, or she carries on with full sail, in m/s."""


@dataclass(frozen=True, slots=True)
class Water:
    """What the water does to one yacht, ready for many speeds."""

    yacht: Yacht
    _waves: Callable[[Array], Array]

    @classmethod
    def of(cls, yacht: Yacht) -> Water:
        """Work out the drag curves of a yacht once."""
        hull = yacht.hull
        nodes = [
            residuary_katgert(hull),
            heel_residuary(hull),
            keel_residuary(hull, yacht.keel, yacht.draft_m),
        ]
        return cls(yacht, drag_curve(nodes))

    def drag_n(self, speed: Array, heel: Array, side_force: Array) -> Array:
        """Return the whole resistance, in N.

        Parameters
        ----------
        speed, heel, side_force : ndarray
            [m/s], [rad], and the force square to the mast's plane [N].
        """
        yacht, hull = self.yacht, self.yacht.hull
        froude = hull.froude(speed)
        shares = self._waves(froude)
        upright = shares[..., 0] + shares[..., 1] * heel_growth(heel) + shares[..., 2]
        waves = hull.weight_n * upright * yacht.resistance
        keel = keel_heel_drag_n(hull, yacht.keel, yacht.draft_m, froude, heel)
        heel_deg = np.degrees(heel)
        span = effective_span_m(hull, yacht.draft_m, yacht.keel.taper, froude, heel_deg)
        induced = induced_drag_n(side_force, span, speed)
        return np.asarray(waves + keel + induced + self.friction_n(speed, heel))

    def friction_n(self, speed: Array, heel: Array) -> Array:
        """Return the friction of hull and foils, and the propeller's drag, in N."""
        yacht, hull = self.yacht, self.yacht.hull
        # Seven tenths of the waterline stand for the length of the water's path: with the
        # Delft series, whose residuary resistance was taken off so.
        line = ittc57(reynolds_number(speed, 0.7 * hull.lwl_m))
        wetted = hull.wetted_m2 * heeled_wetted_share(hull, np.degrees(heel))
        pressure = dynamic_pressure(speed)
        skin = pressure * line * wetted
        foils = yacht.keel.friction_n(speed) + yacht.rudder.friction_n(speed)
        return np.asarray(yacht.friction * (skin + foils) + pressure * yacht.propeller_m2)

    def righting_nm(self, heel: Array, twa: Array) -> Array:
        """Return the righting moment of hull and crew, in N·m."""
        yacht = self.yacht
        arm = righting_arm(yacht.hull, yacht.metacentric_height_m, heel)
        return np.asarray(yacht.mass_kg * GRAVITY_M_S2 * arm + self._crew_nm(heel, twa))

    def _crew_nm(self, heel: Array, twa: Array) -> Array:
        """Return the crew's moment: to windward once she heels, less as the wind comes aft.

        Between 2.5° and 7.5° they move over (ORC); two fifths of the beam off the middle
        close-hauled, nothing from 120° on (our choice).
        """
        yacht = self.yacht
        moved = np.clip((np.degrees(heel) - 2.5) / 5.0, 0.0, 1.0)
        angle = np.clip((np.degrees(twa) - 60.0) / 60.0, 0.0, 1.0)
        out = 0.40 * yacht.rig.beam_m * np.cos(0.5 * np.pi * angle)
        return np.asarray(yacht.crew_kg * GRAVITY_M_S2 * out * moved * np.cos(heel))


class Cells(NamedTuple):
    """Where an equilibrium is looked for; arrays of one shape."""

    twa: Array
    """True wind angle off the water track, in rad."""
    tws: Array
    """True wind at 10 m, in m/s."""


class Equilibrium(NamedTuple):
    """Where she settles; of the shape of the cells, NaN where she doesn't."""

    speed: Array
    """[m/s]"""
    heel: Array
    """[rad]"""
    leeway: Array
    """[rad]"""
    how_far: Array
    """Depowering, 0 to 1."""
    awa_deg: Array
    solved: BoolArray
    """Whether both balances hold within the largest heel."""


class Ship(NamedTuple):
    """A yacht under a sail plan."""

    water: Water
    plan: SailPlan

    def air(self, speed: Array, heel: Array, cells: Cells, how_far: Array) -> Airflow:
        """Return the forces of the air at any speed and heel, in balance or not."""
        flow = airflow(self.plan, speed, heel, cells.twa, cells.tws, how_far)
        factor = self.water.yacht.sail_force
        if factor == 1.0:
            return flow
        return flow._replace(
            drive_n=factor * flow.drive_n,
            heeling_n=factor * flow.heeling_n,
            moment_nm=factor * flow.moment_nm,
        )

    def heeling(self, heel: Array, speed: Array, twa: Array, tws: Array, how_far: Array) -> Array:
        """Return heeling less righting moment, in N·m."""
        cells = Cells(twa, tws)
        flow = self.air(speed, heel, cells, how_far)
        arm = SIDE_FORCE_DEPTH * self.water.yacht.draft_m
        moment = flow.moment_nm + arm * flow.heeling_n
        return np.asarray(moment - self.water.righting_nm(heel, twa))

    def heel(self, speed: Array, cells: Cells, how_far: Array) -> Array:
        """Return the heel in balance at a speed; NaN where she is knocked down, in rad."""
        shape = np.broadcast_shapes(speed.shape, cells.twa.shape, how_far.shape)
        found = _root(
            self.heeling, np.zeros(shape), np.full(shape, LARGEST_LOOKED_AT),
            (speed, cells.twa, cells.tws, how_far), HEEL_TOLERANCE,
        )  # fmt: skip
        # Dead before the wind nothing heels her: the balance is zero, or a hair below it.
        upright = self.heeling(np.zeros(shape), speed, cells.twa, cells.tws, how_far) <= 0.0
        return np.asarray(np.where(upright, 0.0, found))

    def left_over(self, speed: Array, heel: Array, cells: Cells, how_far: Array) -> Array:
        """Return drive less drag [N] and heeling less righting moment [N·m], shape (2, ...)."""
        flow = self.air(speed, heel, cells, how_far)
        net = flow.drive_n - self.water.drag_n(speed, heel, flow.heeling_n)
        return np.stack((net, self.heeling(heel, speed, *cells, how_far)))

    def surplus(self, speed: Array, twa: Array, tws: Array, how_far: Array) -> Array:
        """Return drive less drag at a speed, heeled as she then is; NaN if knocked down, in N."""
        cells = Cells(twa, tws)
        heel = self.heel(speed, cells, how_far)
        flow = self.air(speed, heel, cells, how_far)
        return np.asarray(flow.drive_n - self.water.drag_n(speed, heel, flow.heeling_n))


HEEL_TOLERANCE = 1e-6
SPEED_TOLERANCE = 1e-5


def _root(
    function: Callable[..., Array], low: Array, high: Array, args: tuple[Array, ...], near: float
) -> Array:
    """Return roots between brackets, NaN where there is no change of sign."""
    from scipy.optimize import elementwise

    found: Any = elementwise.find_root(
        function, (low, high), args=args, tolerances={"xatol": near, "xrtol": 0.0}
    )
    return np.asarray(np.where(found.success, found.x, np.nan))


def equilibrium(yacht: Yacht, plan: SailPlan, cells: Cells) -> Equilibrium:
    """Find speed, heel and depowering for every cell.

    Parameters
    ----------
    yacht : Yacht
    plan : SailPlan
    cells : Cells
        Arrays of one shape.

    Returns
    -------
    Equilibrium
    """
    shape = cells.twa.shape
    flat = Cells(cells.twa.ravel(), cells.tws.ravel())
    ship = Ship(Water.of(yacht), plan)
    coarse = np.tile(np.linspace(0.0, 1.0, DEPOWERINGS), (flat.twa.size, 1))
    first = _best(*_at_each_depowering(ship, flat, coarse), coarse, yacht.largest_heel_rad)
    about = first.how_far[:, np.newaxis] + np.linspace(-1.0, 1.0, BETWEEN) / (DEPOWERINGS - 1)
    fine = np.clip(about, 0.0, 1.0)
    chosen = _best(*_at_each_depowering(ship, flat, fine), fine, yacht.largest_heel_rad)
    return _settled(ship, flat, chosen, shape)


def _at_each_depowering(ship: Ship, cells: Cells, how_far: Array) -> tuple[Array, Array]:
    """Return speed and heel of every cell at each of its depowerings, both (cells, steps)."""
    wide = Cells(cells.twa[:, np.newaxis], cells.tws[:, np.newaxis])
    size = how_far.shape
    every = Cells(*(np.broadcast_to(each, size).ravel() for each in wide))
    steps = how_far.ravel()
    low, high = _bracket(ship, every, steps)
    there = np.isfinite(low)
    speed, heel = np.full(low.shape, np.nan), np.full(low.shape, np.nan)
    if there.any():
        some, by = Cells(every.twa[there], every.tws[there]), steps[there]
        found = _root(
            ship.surplus, low[there], high[there], (some.twa, some.tws, by), SPEED_TOLERANCE
        )
        speed[there] = found
        heel[there] = ship.heel(found, some, by)
    return speed.reshape(size), heel.reshape(size)


def _bracket(ship: Ship, cells: Cells, how_far: Array) -> tuple[Array, Array]:
    """Return the two speeds looked at between which drag overtakes drive for the last time."""
    hull = ship.water.yacht.hull
    fastest = FASTEST_FROUDE * np.sqrt(GRAVITY_M_S2 * hull.lwl_m)
    speeds = np.linspace(SLOWEST_M_S, fastest, SPEEDS_LOOKED_AT)
    size = (speeds.size, how_far.size)
    every = [
        np.broadcast_to(each, size)
        for each in (speeds[:, np.newaxis], cells.twa, cells.tws, how_far)
    ]
    # A balance of heel to half a degree will do to see the sign.
    drives = ship.surplus(*every) > 0.0
    falls = drives[:-1] & ~drives[1:]
    last = speeds.size - 2 - np.argmax(falls[::-1], axis=0)
    any_fall = falls.any(axis=0)
    low = np.where(any_fall, speeds[last], np.nan)
    return low, np.where(any_fall, speeds[last + 1], np.nan)


class _Chosen(NamedTuple):
    speed: Array
    how_far: Array


def _best(speed: Array, heel: Array, how_far: Array, largest_heel: float) -> _Chosen:
    """Choose each cell's depowering: fastest within the largest heel, full sail where it's equal.

    Between the steps the choice is that of a parabola through the best and its
    neighbours, or, where heel forbids the step before, of the line on which heel meets
    its limit.
    """
    allowed = np.isfinite(speed) & (heel <= largest_heel)
    worth = np.where(allowed, speed - SPEED_FOR_NOTHING * how_far, -np.inf)
    at = np.argmax(worth, axis=1)
    rows = np.arange(len(at))
    before = np.maximum(at - 1, 0)
    better = _top_of_parabola(how_far, worth, rows, at)
    # Where heel forbids the step before, which would be quicker: as far as heel allows.
    limited = (at > 0) & ~allowed[rows, before] & (speed[rows, before] > speed[rows, at])
    over = np.where(limited, heel[rows, before] - heel[rows, at], 1.0)
    # On that line heel may be a little off: short of the limit, so that it holds.
    share = np.clip((largest_heel - HEEL_MARGIN - heel[rows, at]) / over, 0.0, 1.0)
    to_limit = how_far[rows, at] + share * (how_far[rows, before] - how_far[rows, at])
    none = ~allowed.any(axis=1)
    return _Chosen(
        np.where(none, np.nan, speed[rows, at]),
        np.where(none, 0.0, np.where(limited, to_limit, better)),
    )


def _top_of_parabola(
    how_far: Array, worth: Array, rows: NDArray[np.intp], at: NDArray[np.intp]
) -> Array:
    """Return where the parabola through the best step and its neighbours is highest."""
    before, after = np.maximum(at - 1, 0), np.minimum(at + 1, how_far.shape[1] - 1)
    low, top, high = worth[rows, before], worth[rows, at], worth[rows, after]
    middle = (before < at) & (at < after) & np.isfinite(low) & np.isfinite(high)
    low, top, high = (np.where(middle, each, 0.0) for each in (low, top, high))
    bend = low - 2.0 * top + high
    shift = np.divide(0.5 * (low - high), bend, out=np.zeros_like(bend), where=bend < 0.0)
    step = 0.5 * (how_far[rows, after] - how_far[rows, before])
    return np.asarray(how_far[rows, at] + step * np.clip(shift, -1.0, 1.0))


def _settled(ship: Ship, cells: Cells, chosen: _Chosen, shape: tuple[int, ...]) -> Equilibrium:
    """Solve once more at the depowering chosen, and tell all there is to tell."""
    how_far = np.where(np.isfinite(chosen.speed), chosen.how_far, 0.0)
    low, high = _bracket(ship, cells, how_far)
    there = np.isfinite(chosen.speed) & np.isfinite(low)
    speed, heel, leeway, awa = (np.full(cells.twa.shape, np.nan) for _ in range(4))
    if there.any():
        some, by = Cells(cells.twa[there], cells.tws[there]), how_far[there]
        found = _root(
            ship.surplus, low[there], high[there], (some.twa, some.tws, by), SPEED_TOLERANCE
        )
        tilt = ship.heel(found, some, by)
        flow = ship.air(found, tilt, some, by)
        yacht = ship.water.yacht
        speed[there], heel[there], awa[there] = found, tilt, flow.awa_deg
        leeway[there] = leeway_rad(
            yacht.hull, yacht.keel, yacht.rudder, flow.heeling_n, found, tilt
        )
    solved = np.isfinite(speed) & np.isfinite(heel)
    return Equilibrium(
        *(each.reshape(shape) for each in (speed, heel, leeway, how_far, awa, solved))
    )
