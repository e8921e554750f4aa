"""What was measured of a yacht, and what no yacht can measure."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Literal, NamedTuple, get_args

from goosewing.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

YachtType = Literal["light", "moderate", "heavy"]
Propeller = Literal["none", "folding", "feathering", "fixed two-blade", "fixed three-blade"]


class _Span(NamedTuple):
    least: float
    most: float
    unit: str


LIMITS: Mapping[str, _Span] = {
    "length_overall_m": _Span(5.0, 18.0, "m"),
    "waterline_length_m": _Span(4.0, 17.0, "m"),
    "beam_m": _Span(1.5, 5.5, "m"),
    "waterline_beam_m": _Span(1.2, 5.0, "m"),
    "draft_m": _Span(0.6, 3.5, "m"),
    "displacement_kg": _Span(400.0, 30000.0, "kg"),
    "righting_moment_kgm_per_deg": _Span(5.0, 1500.0, "kg·m per degree"),
    "freeboard_m": _Span(0.4, 2.2, "m"),
    "prismatic": _Span(0.48, 0.65, ""),
    "midship": _Span(0.55, 0.90, ""),
    "buoyancy_aft": _Span(0.48, 0.60, ""),
    "flotation_aft": _Span(0.48, 0.62, ""),
    "keel_span_m": _Span(0.3, 3.0, "m"),
    "keel_chord_m": _Span(0.2, 5.0, "m"),
    "keel_thickness": _Span(0.05, 0.25, ""),
    "rudder_span_m": _Span(0.3, 2.5, "m"),
    "rudder_chord_m": _Span(0.1, 1.5, "m"),
    "mainsail_luff_m": _Span(4.0, 24.0, "m"),
    "mainsail_foot_m": _Span(1.2, 8.5, "m"),
    "foretriangle_height_m": _Span(4.0, 24.0, "m"),
    "foretriangle_base_m": _Span(1.2, 7.5, "m"),
    "jib_overlap": _Span(0.6, 1.6, ""),
    "boom_above_deck_m": _Span(0.2, 2.5, "m"),
    "mainsail_m2": _Span(4.0, 100.0, "m²"),
    "jib_m2": _Span(2.0, 110.0, "m²"),
    "spinnaker_m2": _Span(8.0, 300.0, "m²"),
    "crew_kg": _Span(40.0, 1500.0, "kg"),
    "stores_kg": _Span(0.0, 5000.0, "kg"),
    "largest_heel_deg": _Span(10.0, 35.0, "degrees"),
}
"""What a displacement yacht of 5 to 18 m may measure; beyond it the file is refused."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Dimensions:
    """As the owner measured them; None where nobody did.

    Attributes
    ----------
    name : str
    type : "light", "moderate" or "heavy"
        Stands in for what wasn't measured.
    length_overall_m : float
        The one measurement that is always needed. [m]
    waterline_length_m, beam_m, waterline_beam_m, draft_m, freeboard_m : float or None
        At rest, in the trim that she sails in; draft to the bottom of the keel. [m]
    displacement_kg : float or None
        Light, as in her papers. [kg]
    righting_moment_kgm_per_deg : float or None
        At 1° of heel, as a stability or measurement certificate gives it. [kg·m/°]
    prismatic, midship : float or None
        Coefficients of the canoe body.
    buoyancy_aft, flotation_aft : float or None
        Centres of buoyancy and flotation from the stem at the waterline, as shares of it.
    keel_span_m, keel_chord_m, keel_thickness, rudder_span_m, rudder_chord_m : float or None
        Below the canoe body; mean chord [m]; thickness over chord.
    mainsail_luff_m, mainsail_foot_m, foretriangle_height_m, foretriangle_base_m : float or None
        P, E, I and J. [m]
    jib_overlap : float or None
        Its width square to the luff over J: 1.0 is a working jib.
    boom_above_deck_m : float or None
    mainsail_m2, jib_m2, spinnaker_m2 : float or None
        The sails' own areas; no spinnaker if None. [m²]
    spinnaker : "symmetric" or "asymmetric"
    propeller : str or None
    crew_kg, stores_kg : float or None
        What is aboard when she sails. [kg]
    largest_heel_deg : float
        She is flattened and reefed to stay within it. [°]
    sails : "cruising" or "racing"
        Which of the two published sets of coefficients.
    """

    name: str
    type: YachtType
    length_overall_m: float
    waterline_length_m: float | None = None
    beam_m: float | None = None
    waterline_beam_m: float | None = None
    draft_m: float | None = None
    displacement_kg: float | None = None
    righting_moment_kgm_per_deg: float | None = None
    freeboard_m: float | None = None
    prismatic: float | None = None
    midship: float | None = None
    buoyancy_aft: float | None = None
    flotation_aft: float | None = None
    keel_span_m: float | None = None
    keel_chord_m: float | None = None
    keel_thickness: float | None = None
    rudder_span_m: float | None = None
    rudder_chord_m: float | None = None
    mainsail_luff_m: float | None = None
    mainsail_foot_m: float | None = None
    foretriangle_height_m: float | None = None
    foretriangle_base_m: float | None = None
    jib_overlap: float | None = None
    boom_above_deck_m: float | None = None
    mainsail_m2: float | None = None
    jib_m2: float | None = None
    spinnaker_m2: float | None = None
    spinnaker: Literal["symmetric", "asymmetric"] = "symmetric"
    propeller: Propeller | None = None
    crew_kg: float | None = None
    stores_kg: float | None = None
    largest_heel_deg: float = 25.0
    sails: Literal["cruising", "racing"] = "cruising"

    def __post_init__(self) -> None:
        for each in fields(self):
            _check(each.name, getattr(self, each.name))


_CHOICES: Mapping[str, tuple[str, ...]] = {
    "type": get_args(YachtType),
    "propeller": get_args(Propeller),
    "spinnaker": ("symmetric", "asymmetric"),
    "sails": ("cruising", "racing"),
}


def _check(name: str, value: float | str | None) -> None:
    if value is None:
        return
    if name in _CHOICES and value not in _CHOICES[name]:
        known = ", ".join(f'"{each}"' for each in _CHOICES[name])
        raise InputError(f'{name} must be one of {known}, got "{value}"')
    span = LIMITS.get(name)
    if span is None or isinstance(value, str):
        return
    if not span.least <= value <= span.most:
        unit = f" {span.unit}" if span.unit else ""
        raise InputError(f"{name} must be {span.least:g} to {span.most:g}{unit}, got {value:g}")
