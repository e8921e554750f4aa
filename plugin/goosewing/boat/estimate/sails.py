"""What the sails give at an apparent wind angle, reefed and flattened; and the windage.

Coefficients are those of individual sails on their measured area as the ORC published them
in the documentation of its velocity prediction in 2013 (the low-lift set for cruisers, the
high-lift set for racers), read in texts that quote it. Two things have no published source
and are our own choice, marked so: how far the mainsail blankets a jib on its own side, and
the coefficients of a jib poled out on the other side.

References
----------
.. [1] Offshore Racing Congress, *ORC VPP Documentation 2013* (second-hand).
.. [2] G. S. Hazen, *A Model of Sail Aerodynamics for Diverse Rig Types*, 1980: heights of
   the centres of effort (via Larsson and Eliasson).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from goosewing.units import Array

AIR_KG_M3 = 1.225

ROUGHNESS_M = 0.001
"""Length of the logarithmic wind profile of the ORC (from memory), in m."""

REFERENCE_HEIGHT_M = 10.0
"""True wind speeds of the tables blow at this height, in m."""

LEAST_FLAT = 0.62
"""Sails can be flattened to this share of their lift [1]_."""

LEAST_REEF = 0.40
"""Smallest share of the rig's height left by reefing: about a sixth of the area; our choice."""

REEFING_BEGINS = 0.4
"""Share of the way of depowering that is flattening; the rest is reefing; our choice."""

Lift = Literal["low", "high"]
SailKind = Literal["main", "jib", "poled jib", "symmetric", "asymmetric"]

# Apparent wind angle, then lift and drag; degrees.
_MAIN = np.array(
    [
        # AWA, CL low, CL high, CD low, CD high
        (0.0, 0.0, 0.0, 0.043, 0.034),
        (7.0, 0.862, 0.948, 0.026, 0.017),
        (9.0, 1.052, 1.138, 0.023, 0.015),
        (12.0, 1.164, 1.250, 0.023, 0.015),
        (28.0, 1.347, 1.427, 0.033, 0.026),
        (60.0, 1.239, 1.269, 0.113, 0.113),
        (90.0, 1.125, 1.125, 0.383, 0.383),
        (120.0, 0.838, 0.838, 0.969, 0.969),
        (150.0, 0.296, 0.296, 1.316, 1.316),
        (180.0, -0.112, -0.112, 1.345, 1.345),
    ]
)
_JIB = np.array(
    [
        # AWA, CL low, CL high, CD; nothing is sheeted closer than 7°.
        (0.0, 0.0, 0.0, 0.050),
        (7.0, 0.0, 0.0, 0.050),
        (15.0, 1.000, 1.100, 0.032),
        (20.0, 1.375, 1.475, 0.031),
        (27.0, 1.450, 1.500, 0.037),
        (50.0, 1.430, 1.430, 0.250),
        (60.0, 1.250, 1.250, 0.350),
        (100.0, 0.400, 0.400, 0.730),
        (150.0, 0.000, 0.000, 0.950),
        (180.0, -0.100, -0.100, 0.900),
    ]
)
_SYMMETRIC = np.array(
    [
        (0.0, 0.0, 0.213),
        (28.0, 0.000, 0.213),
        (41.0, 0.978, 0.321),
        (50.0, 1.241, 0.425),
        (60.0, 1.454, 0.587),
        (67.0, 1.456, 0.598),
        (75.0, 1.437, 0.619),
        (100.0, 1.190, 0.850),
        (115.0, 0.951, 0.911),
        (130.0, 0.706, 0.935),
        (150.0, 0.425, 0.935),
        (180.0, 0.000, 0.935),
    ]
)
_ASYMMETRIC = np.array(
    [
        # Tacked on the centre line.
        (0.0, 0.0, 0.191),
        (28.0, 0.026, 0.191),
        (41.0, 1.018, 0.280),
        (50.0, 1.277, 0.366),
        (60.0, 1.471, 0.523),
        (67.0, 1.513, 0.448),
        (75.0, 1.444, 0.556),
        (100.0, 1.137, 0.757),
        (115.0, 0.829, 0.790),
        (130.0, 0.560, 0.776),
        (150.0, 0.250, 0.620),
        (180.0, -0.120, 0.400),
    ]
)
_POLED_JIB = np.array(
    [
        # AWA, drag, drag if the pole does as little as it may: no published table; our choice.
        # Dead downwind it is that of the ORC's jib and spinnaker, 0.90 to 0.95.
        (0.0, 0.0, 0.0),
        (100.0, 0.0, 0.0),
        (110.0, 0.30, 0.0),
        (120.0, 0.60, 0.0),
        (130.0, 0.80, 0.38),
        (140.0, 0.90, 0.75),
        (150.0, 0.95, 0.95),
        (180.0, 1.00, 1.00),
    ]
)
_BLANKETED = np.array([(0.0, 1.0), (100.0, 1.0), (160.0, 0.25), (180.0, 0.10)])
"""Share of a jib's forces left to leeward of the main; no published law; our choice."""

_PARASITE = {
    "main": 0.01379,
    "jib": 0.016,
    "poled jib": 0.0,
    "symmetric": 0.019,
    "asymmetric": 0.019,
}
"""Drag that grows with the square of lift, of each sail [1]_."""

_EFFECTIVE_HEIGHT = np.array(
    [
        (0.0, 1.006), (5.0, 1.09), (9.3, 1.16), (15.0, 1.213), (18.0, 1.222), (21.0, 1.218),
        (26.5, 1.162), (32.3, 1.094), (38.0, 1.023), (43.8, 0.955), (52.4, 0.870),
        (61.0, 0.842), (69.6, 0.811), (78.0, 0.800), (90.0, 0.800), (180.0, 0.800),
    ]
)  # fmt: skip
"""Height of the wing over that of the rig, falling as the sheets are eased [1]_."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rig:
    """Mast and boom, as measured; areas are the sails' own.

    Attributes
    ----------
    luff_m, foot_m : float
        Of the mainsail: P and E. [m]
    foretriangle_height_m, foretriangle_base_m : float
        I and J. [m]
    overlap : float
        The jib's width (LP) over J.
    boom_height_m : float
        Of the boom above the sheer: BAS. [m]
    freeboard_m : float
    beam_m, length_m : float
        Greatest beam and length over all. [m]
    main_m2, jib_m2, spinnaker_m2 : float
    roach : float
        Share by which the mainsail is larger than its triangle.
    """

    luff_m: float
    foot_m: float
    foretriangle_height_m: float
    foretriangle_base_m: float
    overlap: float
    boom_height_m: float
    freeboard_m: float
    beam_m: float
    length_m: float
    main_m2: float
    jib_m2: float
    spinnaker_m2: float = 0.0
    roach: float = 0.1

    @property
    def height_m(self) -> float:
        """Top of the sails above the water, in m."""
        return self.freeboard_m + max(self.luff_m + self.boom_height_m, self.foretriangle_height_m)

    @property
    def main_effort_m(self) -> float:
        """Centre of effort of the full mainsail above the water [1]_ [2]_, in m."""
        return self.freeboard_m + self.boom_height_m + 0.39 * self.luff_m


@dataclass(frozen=True, slots=True, kw_only=True)
class Sail:
    """One sail of a sail set."""

    kind: SailKind
    area_m2: float
    effort_m: float
    """Its centre of effort above the water, unreefed, in m."""
    blanketed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SailPlan:
    """The sails set together, and the rig that they hang on."""

    name: str
    rig: Rig
    sails: tuple[Sail, ...]
    lift: Lift = "low"
    blanketing: float = 1.0
    """How much of the loss to leeward of the main is counted: 0 for clear wind."""
    poled_at_worst: float = 0.0
    """How far a poled jib's drag goes from the usual, 0, to the least, 1."""

    @property
    def area_m2(self) -> float:
        """Of all sails together, in m²."""
        return sum(sail.area_m2 for sail in self.sails)

    @property
    def fractionality(self) -> float:
        """Height of the foretriangle over that of the mainsail's head; 0 without a headsail."""
        if len(self.sails) == 1:
            return 0.0
        rig = self.rig
        return rig.foretriangle_height_m / (rig.luff_m + rig.boom_height_m)


def main_and_jib(rig: Rig, lift: Lift = "low") -> SailPlan:
    """Both on the same side, the jib in the main's lee when the wind is aft."""
    sails = (_main(rig), _headsail(rig, "jib", blanketed=True))
    return SailPlan(name="main and jib", rig=rig, sails=sails, lift=lift)


def main_alone(rig: Rig, lift: Lift = "low") -> SailPlan:
    """No headsail."""
    return SailPlan(name="main alone", rig=rig, sails=(_main(rig),), lift=lift)


def wing_and_wing(rig: Rig, lift: Lift = "low") -> SailPlan:
    """The jib poled out on the other side, in clear wind: an estimate, no published table."""
    sails = (_main(rig), _headsail(rig, "poled jib"))
    return SailPlan(name="wing-and-wing", rig=rig, sails=sails, lift=lift)


def main_and_spinnaker(rig: Rig, kind: SailKind, lift: Lift = "low") -> SailPlan:
    """The jib handed."""
    effort = rig.freeboard_m + 0.58 * rig.foretriangle_height_m
    spinnaker = Sail(kind=kind, area_m2=rig.spinnaker_m2, effort_m=effort)
    return SailPlan(name="main and spinnaker", rig=rig, sails=(_main(rig), spinnaker), lift=lift)


def _main(rig: Rig) -> Sail:
    return Sail(kind="main", area_m2=rig.main_m2, effort_m=rig.main_effort_m)


def _headsail(rig: Rig, kind: SailKind, *, blanketed: bool = False) -> Sail:
    effort = rig.freeboard_m + 0.39 * rig.foretriangle_height_m
    return Sail(kind=kind, area_m2=rig.jib_m2, effort_m=effort, blanketed=blanketed)


# --- coefficients ----------------------------------------------------------------------------


@cache
def _curve(kind: SailKind, lift: Lift) -> Callable[[Array], Array]:
    """Return lift and drag over the apparent wind angle in degrees, shape (..., 2)."""
    from scipy.interpolate import PchipInterpolator

    high = lift == "high"
    if kind == "main":
        columns = _MAIN[:, (2, 4) if high else (1, 3)]
        angles = _MAIN[:, 0]
    elif kind == "jib":
        angles, columns = _JIB[:, 0], _JIB[:, (2 if high else 1, 3)]
    elif kind == "poled jib":
        angles = _POLED_JIB[:, 0]
        columns = np.column_stack((np.zeros(angles.size), _POLED_JIB[:, 1]))
    else:
        table = _SYMMETRIC if kind == "symmetric" else _ASYMMETRIC
        angles, columns = table[:, 0], table[:, 1:]
    curve: Any = PchipInterpolator(angles, columns)
    return lambda awa_deg: np.asarray(curve(awa_deg))


def coefficients(kind: SailKind, awa_deg: Array, lift: Lift = "low") -> tuple[Array, Array]:
    """Return lift and drag coefficients of one sail in clear wind.

    Parameters
    ----------
    kind : str
    awa_deg : ndarray
        Apparent wind angle, 0 to 180. [°]
    lift : "low" or "high"
        Which of the two published sets.
    """
    both = _curve(kind, lift)(awa_deg)
    return both[..., 0], both[..., 1]


def poled_drag_at_worst(awa_deg: Array) -> Array:
    """Return the drag of a poled jib where the pole does as little as it may: our choice."""
    return np.asarray(np.interp(awa_deg, _POLED_JIB[:, 0], _POLED_JIB[:, 2]))


def wind_at(height_m: float, tws_m_s: Array) -> Array:
    """Return the wind at a height over the sea, from that at 10 m, by the ORC's profile.

    Examples
    --------
    >>> print(f"{wind_at(6.0, 1.0):.3f}")
    0.945
    """
    share = np.log(height_m / ROUGHNESS_M) / np.log(REFERENCE_HEIGHT_M / ROUGHNESS_M)
    return np.asarray(tws_m_s * share)


class Depowered(NamedTuple):
    """How much is left of the sails."""

    flat: Array
    """Lift over full lift."""
    reef: Array
    """Height over full height."""


def depowered(how_far: Array) -> Depowered:
    """Flatten first, then reef: from nothing at 0 to all that can be done at 1."""
    flattening = np.minimum(how_far / REEFING_BEGINS, 1.0)
    reefing = np.maximum(how_far - REEFING_BEGINS, 0.0) / (1.0 - REEFING_BEGINS)
    return Depowered(1.0 - (1.0 - LEAST_FLAT) * flattening, 1.0 - (1.0 - LEAST_REEF) * reefing)


class Airflow(NamedTuple):
    """What the air does to her."""

    drive_n: Array
    """Along the course, in N."""
    heeling_n: Array
    """Square to the mast's plane, in N."""
    moment_nm: Array
    """Of the heeling force about the waterline, in N·m."""
    awa_deg: Array
    """In the heeled plane, in °."""


def airflow(
    plan: SailPlan, speed: Array, heel: Array, twa: Array, tws_m_s: Array, how_far: Array
) -> Airflow:
    """Return the forces of sails and windage.

    Parameters
    ----------
    plan : SailPlan
    speed : ndarray
        Along the water track. [m/s]
    heel, twa : ndarray
        Heel, and true wind angle off the water track. [rad]
    tws_m_s : ndarray
        True wind at 10 m. [m/s]
    how_far : ndarray
        Depowering, 0 to 1: see `depowered`.

    Notes
    -----
    The wind is taken at the mainsail's centre of effort. Forces act in the heeled plane,
    where the wind's component across is less by cos φ; the coefficients are read at a
    smaller heel, 10·(φ/30°)² degrees, since the crew trims anew [1]_.
    """
    wind = wind_at(plan.rig.main_effort_m, tws_m_s)
    ahead = wind * np.cos(twa) + speed
    abeam = wind * np.sin(twa)
    across = abeam * np.cos(heel)
    trimmed = np.radians(10.0) * (heel / np.radians(30.0)) ** 2
    awa_deg = np.degrees(np.arctan2(abeam * np.cos(trimmed), ahead))
    squared = ahead**2 + across**2
    sine, cosine = across / np.sqrt(squared), ahead / np.sqrt(squared)
    pressure = 0.5 * AIR_KG_M3 * squared
    sails = _sail_forces(plan, awa_deg, depowered(how_far))
    hull = _windage(plan.rig, sine, cosine, heel)
    lift, drag = pressure * sails.lift_m2, pressure * (sails.drag_m2 + hull.area_m2)
    of_sails = lift * cosine + pressure * sails.drag_m2 * sine
    of_hull = pressure * hull.area_m2 * sine
    return Airflow(
        drive_n=lift * sine - drag * cosine,
        heeling_n=of_sails + of_hull,
        moment_nm=of_sails * sails.effort_m + pressure * hull.moment_m3 * sine,
        awa_deg=awa_deg,
    )


class _SailForces(NamedTuple):
    lift_m2: Array
    drag_m2: Array
    effort_m: Array


def _sail_forces(plan: SailPlan, awa_deg: Array, left: Depowered) -> _SailForces:
    """Combine the sails of a set by their areas [1]_; lift and drag over dynamic pressure."""
    area = plan.area_m2
    total_lift = total_drag = parasite = 0.0 * awa_deg
    weight = height = 0.0 * awa_deg
    rig = plan.rig
    for sail in plan.sails:
        lift, drag = coefficients(sail.kind, awa_deg, plan.lift)
        if sail.blanketed:
            lee = np.interp(awa_deg, _BLANKETED[:, 0], _BLANKETED[:, 1])
            clear = 1.0 - plan.blanketing * (1.0 - lee)
            lift, drag = lift * clear, drag * clear
        if sail.kind == "poled jib" and plan.poled_at_worst:
            drag = drag + plan.poled_at_worst * (poled_drag_at_worst(awa_deg) - drag)
        share = sail.area_m2 / area
        total_lift = total_lift + share * lift
        total_drag = total_drag + share * drag
        parasite = parasite + share * lift**2 * _PARASITE[sail.kind]
        force = share * np.hypot(lift, drag)
        weight, height = weight + force, height + force * (sail.effort_m - rig.freeboard_m)
    with_flat = left.flat * total_lift
    induced = area / (np.pi * _wing_height_m(plan, awa_deg, left.reef) ** 2) * left.reef**2
    drag = total_drag + left.flat**2 * parasite + induced * with_flat**2
    less = 1.0 - left.flat
    lowered = 1.0 - 0.203 * less - 0.451 * less * max(1.0 - plan.fractionality, 0.0)
    effort = rig.freeboard_m + left.reef * height / np.maximum(weight, 1e-9)
    reefed = area * left.reef**2
    return _SailForces(reefed * with_flat, reefed * drag, effort * lowered)


def _wing_height_m(plan: SailPlan, awa_deg: Array, reef: Array) -> Array:
    """Return the span of the wing that the rig makes [1]_; the part for a reef is our choice."""
    rig = plan.rig
    overlap = rig.overlap if len(plan.sails) > 1 else 0.0
    shape = 0.68 + 0.31 * plan.fractionality + 0.075 * overlap
    escape = 1.1 + 0.08 * (rig.roach - 0.2) + 0.5 * (shape - 1.1)
    gap = np.interp(awa_deg, _EFFECTIVE_HEIGHT[:, 0], _EFFECTIVE_HEIGHT[:, 1])
    return np.asarray(rig.height_m * escape * gap * (0.25 + 0.75 * reef))


class _Windage(NamedTuple):
    area_m2: Array
    """Drag area, with its coefficient, in m²."""
    moment_m3: Array
    """The same times its height, in m³."""


def _windage(rig: Rig, sine: Array, cosine: Array, heel: Array) -> _Windage:
    """Return the drag areas of hull, mast, wires and crew [1]_; crew and mast our choice."""
    front, side = cosine**2, sine**2
    leaning = np.abs(np.sin(heel))
    board = rig.freeboard_m * rig.length_m + 0.5 * 0.7 * rig.length_m * rig.beam_m * leaning
    hull = 0.68 * (rig.freeboard_m * rig.beam_m * front + board * side)
    mast = rig.height_m**2 * (0.4 * 0.0065 * front + 0.6 * 0.0105 * side)
    spars = mast + 0.035 * 1.1 * rig.height_m
    crew = 0.6
    low = 0.66 * (rig.freeboard_m + rig.beam_m * leaning)
    moment = hull * low + spars * 0.5 * rig.height_m + crew * (rig.freeboard_m + 0.5)
    return _Windage(hull + spars + crew, moment)
