"""A yacht made whole: what wasn't measured is guessed from her type, and said.

References
----------
.. [1] Offshore Racing Congress, *ORC VPP Documentation 2013*: the default righting moment
   (second-hand).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat.estimate.appendages import Foil
from goosewing.boat.estimate.friction import SEA_WATER_KG_M3
from goosewing.boat.estimate.hull import Hull, metacentre_above_keel_m
from goosewing.boat.estimate.sails import Lift, Rig, SailKind
from goosewing.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from goosewing.boat.estimate.dimensions import Dimensions, Propeller

PROPELLER_DRAG_M2: Mapping[Propeller, float] = {
    "none": 0.0,
    "folding": 0.003,
    "feathering": 0.0075,
    "fixed two-blade": 0.015,
    "fixed three-blade": 0.05,
}
"""Drag area of a propeller that stands still; common practice, no source, in m²."""

KG_PER_CREW = 80.0
"""Our choice."""


class Guess(NamedTuple):
    """A measurement that was missing, and what stands in for it."""

    key: str
    value: float | str
    spread: float
    """One standard deviation as a share of the value: common practice, no source."""


# By type: length over beam and so on of usual yachts. Common practice, no source.
_BY_TYPE: Mapping[str, Mapping[str, float]] = {
    "waterline_share": {"light": 0.89, "moderate": 0.85, "heavy": 0.80},
    # Beam over the square root of length, both in metres: small yachts are beamier.
    "beam_by_root": {"light": 1.06, "moderate": 1.05, "heavy": 1.03},
    "draft_share": {"light": 0.200, "moderate": 0.180, "heavy": 0.155},
    # Long tons over (waterline in feet / 100)³.
    "displacement_length": {"light": 150.0, "moderate": 220.0, "heavy": 290.0},
    # Sail area in square feet over displacement in cubic feet to the power 2/3.
    "sail_displacement": {"light": 19.0, "moderate": 16.5, "heavy": 14.5},
    "stores_share": {"light": 0.05, "moderate": 0.07, "heavy": 0.08},
}

_PROPELLER_BY_TYPE: Mapping[str, Propeller] = {
    "light": "folding",
    "moderate": "folding",
    "heavy": "fixed two-blade",
}

STOUTEST, MOST_SLENDER = 3.6, 9.5
"""No monohull with a keel is stouter or more slender; our choice."""

LEAST_SAIL_RATIO, LARGEST_SAIL_RATIO = 7.0, 45.0
"""Square feet over cubic feet to the 2/3: a motor sailer, a racing machine; our choice."""

KG_PER_LONG_TON = 1016.047
M_PER_FOOT = 0.3048


@dataclass(frozen=True, slots=True, kw_only=True)
class Yacht:
    """Everything that the balance needs, measured or guessed."""

    name: str
    hull: Hull
    keel: Foil
    rudder: Foil
    rig: Rig
    draft_m: float
    mass_kg: float
    """As she sails, in kg."""
    metacentric_height_m: float
    crew_kg: float
    propeller_m2: float
    largest_heel_rad: float
    lift: Lift
    spinnaker: SailKind
    guesses: tuple[Guess, ...] = ()
    outside: tuple[str, ...] = ()
    """What lies outside the range of the hulls that the regressions were made from."""
    resistance: float = 1.0
    """Factor on the residuary resistance, to see what its doubt does."""
    friction: float = 1.0
    sail_force: float = 1.0


@dataclass(slots=True)
class _Filled:
    """Fills in what is missing and keeps a list of it."""

    given: Dimensions
    guesses: list[Guess] = field(default_factory=list)

    def value(self, key: str, instead: float, spread: float) -> float:
        """Return what was measured, or what stands in for it."""
        measured: float | None = getattr(self.given, key)
        if measured is not None:
            return float(measured)
        self.guesses.append(Guess(key, float(instead), spread))
        return float(instead)

    def by_type(self, what: str) -> float:
        return _BY_TYPE[what][self.given.type]


def yacht(given: Dimensions) -> Yacht:
    """Complete what was measured to everything that the balance needs.

    Parameters
    ----------
    given : Dimensions

    Returns
    -------
    Yacht
        With its guesses, and with what lies outside the tested range.

    Raises
    ------
    InputError
        If the measurements contradict each other: a waterline longer than the yacht, a
        hull without volume, a righting moment that leaves her unstable.
    """
    filled = _Filled(given)
    size = _size(filled)
    weights = _weights(filled, size.lwl)
    keel, rudder = _foils(filled, size)
    hull = _hull(filled, size, weights.sailing, keel, rudder)
    rig = _rig(filled, size, weights.light)
    _check_sails(rig, weights.light)
    made = Yacht(
        name=given.name,
        hull=hull,
        keel=keel,
        rudder=rudder,
        rig=rig,
        draft_m=size.draft,
        mass_kg=weights.sailing,
        metacentric_height_m=_metacentric_height(filled, hull, rig, size.draft, weights.light),
        crew_kg=weights.crew,
        propeller_m2=_propeller(filled),
        largest_heel_rad=float(np.radians(given.largest_heel_deg)),
        lift="high" if given.sails == "racing" else "low",
        spinnaker=given.spinnaker,
        guesses=tuple(filled.guesses),
    )
    return replace(made, outside=outside_the_series(hull))


class _Size(NamedTuple):
    """Length, waterline, beam, waterline beam, draft, all in metres."""

    loa: float
    lwl: float
    beam: float
    bwl: float
    draft: float


def _size(filled: _Filled) -> _Size:
    loa = filled.given.length_overall_m
    lwl = filled.value("waterline_length_m", filled.by_type("waterline_share") * loa, 0.03)
    beam = filled.value("beam_m", filled.by_type("beam_by_root") * np.sqrt(loa), 0.05)
    bwl = filled.value("waterline_beam_m", 0.82 * beam, 0.04)
    draft = filled.value("draft_m", filled.by_type("draft_share") * loa, 0.10)
    if lwl > loa:
        raise InputError(f"waterline_length_m, {lwl:g}, is greater than length_overall_m, {loa:g}")
    if bwl > beam:
        raise InputError(f"waterline_beam_m, {bwl:g}, is greater than beam_m, {beam:g}")
    return _Size(loa, lwl, beam, bwl, draft)


class _Weights(NamedTuple):
    """Empty, her crew's, and all that she sails with, in kg."""

    light: float
    crew: float
    sailing: float


def _weights(filled: _Filled, lwl: float) -> _Weights:
    light = filled.value("displacement_kg", _displacement(filled, lwl), 0.12)
    crew = filled.value("crew_kg", 2 * KG_PER_CREW, 0.3)
    stores = filled.value("stores_kg", filled.by_type("stores_share") * light, 0.5)
    return _Weights(light, crew, light + crew + stores)


def _displacement(filled: _Filled, lwl_m: float) -> float:
    hundred_feet = lwl_m / M_PER_FOOT / 100.0
    return filled.by_type("displacement_length") * hundred_feet**3 * KG_PER_LONG_TON


def _foils(filled: _Filled, size: _Size) -> tuple[Foil, Foil]:
    lwl, draft = size.lwl, size.draft
    keel = Foil(
        span_m=filled.value("keel_span_m", 0.78 * draft, 0.10),
        chord_m=filled.value("keel_chord_m", 0.11 * lwl, 0.15),
        thickness_ratio=filled.value("keel_thickness", 0.12, 0.15),
    )
    rudder = Foil(
        span_m=filled.value("rudder_span_m", 0.62 * draft, 0.12),
        chord_m=filled.value("rudder_chord_m", 0.040 * lwl, 0.15),
        thickness_ratio=0.12,
    )
    if keel.span_m >= draft:
        raise InputError(f"keel_span_m, {keel.span_m:g}, leaves no hull in draft_m, {draft:g}")
    return keel, rudder


def _hull(filled: _Filled, size: _Size, mass: float, keel: Foil, rudder: Foil) -> Hull:
    lwl, bwl = size.lwl, size.bwl
    volume = mass / SEA_WATER_KG_M3 - keel.volume_m3 - rudder.volume_m3
    prismatic = filled.value("prismatic", 0.56, 0.02)
    midship = filled.value("midship", 0.72, 0.04)
    if volume <= 0.0:
        raise InputError("displacement_kg is less than what keel and rudder alone displace")
    slenderness = lwl / volume ** (1.0 / 3.0)
    if not STOUTEST <= slenderness <= MOST_SLENDER:
        raise InputError(
            f"displacement_kg and waterline_length_m, {lwl:.3g}, don't go together: length over "
            f"the cube root of volume is {slenderness:.3g}, expected {STOUTEST:g} to "
            f"{MOST_SLENDER:g}"
        )
    depth = volume / (prismatic * midship * lwl * bwl)
    if depth >= 0.8 * size.draft:
        raise InputError(
            f"displacement_kg and waterline measurements make the hull alone {depth:.2f} m "
            f"deep, too much for draft_m, {size.draft:g}"
        )
    return Hull(
        lwl_m=lwl,
        bwl_m=bwl,
        depth_m=depth,
        volume_m3=volume,
        prismatic=prismatic,
        midship=midship,
        lcb=filled.value("buoyancy_aft", 0.535, 0.01),
        lcf=filled.value("flotation_aft", 0.56, 0.01),
    )


def _rig(filled: _Filled, size: _Size, light: float) -> Rig:
    given = filled.given
    # A sloop of this sail area: main and foretriangle alike, the luff 2.9 times its foot.
    square_feet = filled.by_type("sail_displacement") * (
        light / SEA_WATER_KG_M3 / M_PER_FOOT**3
    ) ** (2.0 / 3.0)
    half = 0.5 * square_feet * M_PER_FOOT**2
    luff = filled.value("mainsail_luff_m", _luff(given, half), 0.06)
    foot = filled.value("mainsail_foot_m", luff / 2.9, 0.08)
    boom = filled.value("boom_above_deck_m", 0.12 * size.loa, 0.25)
    height = filled.value("foretriangle_height_m", luff + boom - 0.04 * luff, 0.06)
    base = filled.value("foretriangle_base_m", 0.29 * height, 0.08)
    overlap = filled.value("jib_overlap", 1.05, 0.08)
    roach = 0.1
    return Rig(
        luff_m=luff,
        foot_m=foot,
        foretriangle_height_m=height,
        foretriangle_base_m=base,
        overlap=overlap,
        boom_height_m=boom,
        freeboard_m=filled.value("freeboard_m", 0.11 * size.loa, 0.15),
        beam_m=size.beam,
        length_m=size.loa,
        main_m2=filled.value("mainsail_m2", 0.5 * luff * foot * (1.0 + roach), 0.06),
        jib_m2=filled.value("jib_m2", 0.5 * np.hypot(height, base) * overlap * base, 0.08),
        spinnaker_m2=given.spinnaker_m2 or 0.0,
        roach=roach,
    )


def _check_sails(rig: Rig, light_kg: float) -> None:
    """Refuse sails that their spars or her weight belie: a slip of the pen."""
    triangle = 0.5 * rig.luff_m * rig.foot_m
    if not 0.6 <= rig.main_m2 / triangle <= 1.5:
        raise InputError(
            f"mainsail_m2, {rig.main_m2:.3g}, can't be set on mainsail_luff_m {rig.luff_m:.3g} and "
            f"mainsail_foot_m {rig.foot_m:.3g}, a triangle of {triangle:.3g} m²"
        )
    feet = (light_kg / SEA_WATER_KG_M3 / M_PER_FOOT**3) ** (2.0 / 3.0)
    ratio = (rig.main_m2 + rig.jib_m2) / M_PER_FOOT**2 / feet
    if not LEAST_SAIL_RATIO <= ratio <= LARGEST_SAIL_RATIO:
        raise InputError(
            f"mainsail and jib of {rig.main_m2 + rig.jib_m2:.3g} m² don't go with displacement_kg "
            f"{light_kg:.4g}: sail area over displacement is {ratio:.3g}, expected "
            f"{LEAST_SAIL_RATIO:g} to {LARGEST_SAIL_RATIO:g}"
        )


def _luff(given: Dimensions, half_m2: float) -> float:
    """Return the luff of a mainsail of known or usual area."""
    area = given.mainsail_m2 or half_m2
    if given.mainsail_foot_m is not None:
        return float(area / (0.55 * given.mainsail_foot_m))
    return float(np.sqrt(2.9 * area / 0.55))


def _propeller(filled: _Filled) -> float:
    kind = filled.given.propeller
    if kind is None:
        kind = _PROPELLER_BY_TYPE[filled.given.type]
        filled.guesses.append(Guess("propeller", kind, 0.5))
    return PROPELLER_DRAG_M2[kind]


def _metacentric_height(filled: _Filled, hull: Hull, rig: Rig, draft: float, light: float) -> float:
    """Return GM in sailing trim: measured, or halfway between two ways to guess it.

    The ORC's default is low for cruisers, a centre of gravity at the waterline is high;
    their mean came nearest to published certificates (our choice).
    """
    measured = filled.given.righting_moment_kgm_per_deg
    one_degree = float(np.sin(np.radians(1.0)))
    if measured is not None:
        return float(measured / (light * one_degree))
    orc = _orc_righting_moment(hull, rig, draft, light) / (light * one_degree)
    at_waterline = metacentre_above_keel_m(hull) - hull.depth_m
    guess = 0.5 * (orc + at_waterline)
    if guess <= 0.2:
        raise InputError(
            f"these measurements leave her unstable (metacentric height {guess:.2f} m): "
            "look at displacement_kg, beam_m and waterline_beam_m"
        )
    filled.guesses.append(Guess("righting_moment_kgm_per_deg", guess * light * one_degree, 0.15))
    return guess


def _orc_righting_moment(hull: Hull, rig: Rig, draft: float, light: float) -> float:
    """Return the ORC's default righting moment [1]_, in kg·m/°."""
    volume_m = (light / SEA_WATER_KG_M3) ** (1.0 / 3.0)
    area = rig.main_m2 + rig.jib_m2
    arm = _sail_centre_m(rig) + 0.45 * draft
    share = (
        -0.00410481
        - 0.00003999 * hull.bwl_m / hull.depth_m
        - 0.00017008 * volume_m / hull.lwl_m
        + 0.000019183 * area * arm / hull.bwl_m**3
        + 0.003602739 * hull.bwl_m / volume_m
    )
    return float(1.025 * light * hull.lwl_m * share)


def _sail_centre_m(rig: Rig) -> float:
    jib = rig.freeboard_m + 0.39 * rig.foretriangle_height_m
    total = rig.main_m2 + rig.jib_m2
    return float((rig.main_effort_m * rig.main_m2 + jib * rig.jib_m2) / total)


def outside_the_series(hull: Hull) -> tuple[str, ...]:
    """Tell what of a hull lies outside the models that the regressions were made from."""
    volume = hull.volume_m3 ** (1.0 / 3.0)
    spans = (
        ("waterline length over beam", hull.lwl_m / hull.bwl_m, 2.73, 5.00),
        ("waterline beam over hull depth", hull.bwl_m / hull.depth_m, 2.46, 19.38),
        ("length over the cube root of volume", hull.slenderness, 4.34, 8.50),
        ("centre of buoyancy", hull.lcb, 0.500, 0.582),
        ("centre of flotation", hull.lcf, 0.518, 0.595),
        ("prismatic coefficient", hull.prismatic, 0.52, 0.60),
        ("midship coefficient", hull.midship, 0.65, 0.78),
        ("waterplane over volume to the 2/3", hull.waterplane_m2 / volume**2, 3.78, 12.67),
    )
    return tuple(
        f"{what} {value:.3g} lies outside the tested {least:g} to {most:g}"
        for what, value, least, most in spans
        if not least <= value <= most
    )
