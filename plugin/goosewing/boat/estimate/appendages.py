"""Keel and rudder: their own drag, the drag that side force costs, and the leeway it takes.

References
----------
.. [1] J. A. Keuning and U. B. Sonnenberg, HISWA 1998, as in `goosewing.boat.estimate.hull`.
.. [2] J. A. Keuning and B. Verwerft, "A new method for the prediction of the side force on
   keel and rudder of a sailing yacht," 19th Chesapeake Sailing Yacht Symposium, 2009.
.. [3] L. F. Whicker and L. F. Fehlner, David Taylor Model Basin report 933, 1958: the lift
   slope of foils of low aspect.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from goosewing.boat.estimate.friction import (
    SEA_WATER_KG_M3,
    dynamic_pressure,
    foil_form_factor,
    ittc57,
    reynolds_number,
)
from goosewing.boat.estimate.hull import GRAVITY_M_S2, Hull, Nodes

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from goosewing.units import Array

FOIL_VOLUME = 0.65
"""Volume of a foil over area × chord × thickness ratio: usual sections, our choice."""

# Fn, A0 … A3 of [1]_: keel residuary over the weight of the keel's water.
KEEL_RESIDUARY = np.array(
    [
        (0.20, -0.00104, 0.00172, 0.00117, -0.00008),
        (0.25, -0.00550, 0.00597, 0.00390, -0.00009),
        (0.30, -0.01110, 0.01421, 0.00069, 0.00021),
        (0.35, -0.00713, 0.02632, -0.00232, 0.00039),
        (0.40, -0.03581, 0.08649, 0.00999, 0.00017),
        (0.45, -0.00470, 0.11592, -0.00064, 0.00035),
        (0.50, 0.00553, 0.07371, 0.05991, -0.00114),
        (0.55, 0.04822, 0.00660, 0.07048, -0.00035),
        (0.60, 0.01021, 0.14173, 0.06409, -0.00192),
    ]
)

# Heel in degrees, A1 … A4, B0, B1 of [1]_: effective span over draught.
EFFECTIVE_SPAN = np.array(
    [
        (0.0, 3.7455, -3.6246, 0.0589, -0.0296, 1.2306, -0.7256),
        (10.0, 4.4892, -4.8454, 0.0294, -0.0176, 1.4231, -1.2971),
        (20.0, 3.9592, -3.9804, 0.0283, -0.0075, 1.5450, -1.5622),
        (30.0, 3.4891, -2.9577, 0.0250, -0.0272, 1.4744, -1.3499),
    ]
)

SPAN_LIMITS = (0.35, 1.6)
"""The polynomial is not trusted beyond these shares of the draught; our choice."""

LAST_FROUDE = 0.6
"""No effective span was measured at a higher Froude number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Foil:
    """Keel or rudder."""

    span_m: float
    chord_m: float
    """Mean, in m."""
    thickness_ratio: float
    taper: float = 0.75
    """Tip chord over root chord."""

    @property
    def area_m2(self) -> float:
        """Area seen from the side, in m²."""
        return self.span_m * self.chord_m

    @property
    def volume_m3(self) -> float:
        """Volume, in m³."""
        return FOIL_VOLUME * self.area_m2 * self.chord_m * self.thickness_ratio

    @property
    def aspect(self) -> float:
        """Effective aspect ratio: the hull mirrors the foil."""
        return 2.0 * self.span_m**2 / self.area_m2

    @property
    def lift_slope(self) -> float:
        """Lift coefficient a radian [3]_, without sweep, in 1/rad."""
        return float(5.7 * self.aspect / (1.8 + np.sqrt(self.aspect**2 + 4.0)))

    def friction_n(self, speed_m_s: Array) -> Array:
        """Return the friction of both sides, with what thickness adds, in N."""
        friction = ittc57(reynolds_number(speed_m_s, self.chord_m))
        both_sides = 2.0 * self.area_m2 * foil_form_factor(self.thickness_ratio)
        return np.asarray(dynamic_pressure(speed_m_s) * friction * both_sides)


def keel_residuary(hull: Hull, keel: Foil, draft_m: float) -> Nodes:
    """Return the keel's residuary resistance over the *hull's* weight [1]_.

    Over the hull's weight, so that one curve of the Froude number holds all.
    """
    volume = keel.volume_m3
    # Its centre of buoyancy below its root: half the span.
    depth = hull.depth_m + 0.5 * keel.span_m
    terms = np.array(
        [
            1.0,
            draft_m / hull.bwl_m,
            depth / volume ** (1.0 / 3.0),
            hull.volume_m3 / volume,
        ]
    )
    share = np.maximum(KEEL_RESIDUARY[:, 1:] @ terms, 0.0) * volume / hull.volume_m3
    return Nodes(KEEL_RESIDUARY[:, 0], share)


def keel_heel_drag_n(hull: Hull, keel: Foil, draft_m: float, froude: Array, heel: Array) -> Array:
    """Return what heel adds to the keel's residuary resistance [1]_, in N."""
    factor = (
        -3.5837 * hull.depth_m / draft_m
        - 0.0518 * hull.bwl_m / hull.depth_m
        + 0.5958 * hull.bwl_m / draft_m
        + 0.2055 * hull.slenderness
    )
    weight = SEA_WATER_KG_M3 * GRAVITY_M_S2 * keel.volume_m3
    return np.asarray(weight * max(factor, 0.0) * froude**2 * np.abs(heel))


def effective_span_m(
    hull: Hull, draft_m: float, taper: float, froude: ArrayLike, heel_deg: ArrayLike
) -> Array:
    """Return the span of the wing without twist that would drag as little [1]_, in m."""
    ratio = hull.depth_m / draft_m
    terms = np.array([ratio, ratio**2, hull.bwl_m / hull.depth_m, taper])
    shape = EFFECTIVE_SPAN[:, 1:5] @ terms
    heel = np.abs(np.asarray(heel_deg))
    at = EFFECTIVE_SPAN[:, 0]
    form = np.interp(heel, at, shape)
    surface = np.interp(heel, at, EFFECTIVE_SPAN[:, 5]) + np.interp(
        heel, at, EFFECTIVE_SPAN[:, 6]
    ) * np.minimum(froude, LAST_FROUDE)
    return np.asarray(draft_m * np.clip(form * surface, *SPAN_LIMITS))


def induced_drag_n(side_force_n: Array, span_m: Array, speed_m_s: Array) -> Array:
    """Return the drag that a force square to the mast's plane costs: F²/(π·T_E²·½ρV²), in N."""
    return np.asarray(side_force_n**2 / (np.pi * span_m**2 * dynamic_pressure(speed_m_s)))


def leeway_rad(
    hull: Hull, keel: Foil, rudder: Foil, side_force_n: Array, speed_m_s: Array, heel: Array
) -> Array:
    """Return the leeway at which keel and rudder bear a side force [2]_ [3]_, in rad.

    The rudder works in the keel's wake: nine tenths of the speed and about six tenths of
    the angle, in place of the downwash formula (our simplification).
    """
    hull_effect = 1.0 + 1.80 * hull.depth_m / keel.span_m
    heel_effect = (1.0 - 0.382 * np.abs(heel)) * np.cos(heel)
    slopes = keel.area_m2 * keel.lift_slope + 0.81 * 0.6 * rudder.area_m2 * rudder.lift_slope
    bearing = dynamic_pressure(speed_m_s) * hull_effect * heel_effect * slopes
    drift = np.radians((0.405 * hull.bwl_m / hull.depth_m * heel) ** 2)
    return np.asarray(side_force_n / bearing + np.where(side_force_n > 0.0, drift, 0.0))
