"""The velocity prediction against published formulas, hulls and certificates.

Sources are named beside each; texts that quote a source stand in where it was not open.
"""

from __future__ import annotations

import numpy as np
import pytest

from goosewing.boat.estimate.appendages import Foil, effective_span_m, induced_drag_n
from goosewing.boat.estimate.balance import Water, equilibrium
from goosewing.boat.estimate.dimensions import Dimensions
from goosewing.boat.estimate.friction import foil_form_factor, ittc57
from goosewing.boat.estimate.hull import (
    Hull,
    Nodes,
    drag_curve,
    heel_growth,
    heeled_wetted_share,
    residuary_katgert,
)
from goosewing.boat.estimate.sails import (
    coefficients,
    main_and_jib,
    main_and_spinnaker,
    poled_drag_at_worst,
    wind_at,
)
from goosewing.boat.estimate.tables import estimate, grid
from goosewing.boat.estimate.yacht import yacht

KN = 1852.0 / 3600.0


# --- friction --------------------------------------------------------------------------------

# The line of the ITTC, Madrid 1957: a table's values, to its last digit (from memory).
ITTC = [(1e5, 8.333e-3), (1e6, 4.688e-3), (1e7, 3.000e-3), (1e8, 2.083e-3), (1e9, 1.531e-3)]


@pytest.mark.parametrize(("reynolds", "published"), ITTC)
def test_the_friction_line(reynolds, published):
    assert ittc57(reynolds) == pytest.approx(published, abs=0.51e-6)
    np.testing.assert_allclose(ittc57(np.array([reynolds] * 2)), published, atol=0.51e-6)


def test_a_foil_of_twelve_percent():
    # Hoerner, Fluid-Dynamic Drag: 1 + 2 t/c + 60 (t/c)^4.
    assert foil_form_factor(0.12) == pytest.approx(1.0 + 0.24 + 60 * 0.12**4, rel=1e-12)


# --- hull ------------------------------------------------------------------------------------


def series_hull(lcb, prismatic, slenderness, beam_depth, length_beam, lcf=0.56):
    """A hull of the systematic series by its ratios; of one cubic metre."""
    beam = slenderness / length_beam
    depth = beam / beam_depth
    midship = 1.0 / (slenderness * beam * depth) / prismatic
    return Hull(
        lwl_m=slenderness, bwl_m=beam, depth_m=depth, volume_m3=1.0, prismatic=prismatic,
        midship=midship, lcb=0.5 - lcb / 100.0, lcf=lcf,
    )  # fmt: skip


# Froude number, a0 … a8: Keuning and Sonnenberg, Approximation of the Hydrodynamic Forces on a
# Sailing Yacht based on the Delft Systematic Yacht Hull Series (1998), the regression before.
KEUNING_SONNENBERG = np.array(
    [
        (0.10, -0.0014, 0.0403, 0.0470, -0.0227, -0.0119, 0.0061, -0.0086, -0.0307, -0.0553),
        (0.15, 0.0004, -0.1808, 0.1793, -0.0004, 0.0097, 0.0118, -0.0055, 0.1721, -0.1728),
        (0.20, 0.0014, -0.1071, 0.0637, 0.0090, 0.0153, 0.0011, 0.0012, 0.1021, -0.0648),
        (0.25, 0.0027, 0.0463, -0.1263, 0.0150, 0.0274, -0.0299, 0.0110, -0.0595, 0.1220),
        (0.30, 0.0056, -0.8005, 0.4891, 0.0269, 0.0519, -0.0313, 0.0292, 0.7314, -0.3619),
        (0.35, 0.0032, -0.1011, -0.0813, -0.0382, 0.0320, -0.1481, 0.0837, 0.0223, 0.1587),
        (0.40, -0.0064, 2.3095, -1.5152, 0.0751, -0.0858, -0.5349, 0.1715, -2.4550, 1.1865),
        (0.45, -0.0171, 3.4017, -1.9862, 0.3242, -0.1450, -0.8043, 0.2952, -3.5284, 1.3575),
        (0.50, -0.0201, 7.1576, -6.3304, 0.5829, 0.1630, -0.3966, 0.5023, -7.1579, 5.2534),
        (0.55, 0.0495, 1.5618, -6.0661, 0.8641, 1.1702, 1.7610, 0.9176, -2.1191, 5.4281),
        (0.60, 0.0808, -5.3233, -1.1513, 0.9663, 1.6084, 2.7459, 0.8491, 4.7129, 1.1089),
    ]
)


def residuary_sonnenberg(hull):
    """Residuary resistance upright over the weight, by that older regression."""
    volume = hull.volume_m3 ** (1.0 / 3.0)
    terms = np.array(
        [
            hull.lcb,
            hull.prismatic,
            volume**2 / hull.waterplane_m2,
            hull.bwl_m / hull.lwl_m,
            volume**2 / hull.wetted_m2,
            hull.lcb / hull.lcf,
            hull.lcb**2,
            hull.prismatic**2,
        ]
    )
    table = KEUNING_SONNENBERG
    return Nodes(table[:, 0], table[:, 1] + table[:, 2:] @ terms * volume / hull.lwl_m)


YD40 = {
    "lwl_m": 10.02, "bwl_m": 3.17, "depth_m": 0.57, "volume_m3": 7.63, "prismatic": 0.56,
    "midship": 0.752, "lcb": 0.535,
}  # fmt: skip
"""The example yacht of Larsson and Eliasson, Principles of Yacht Design."""


def test_wetted_area_of_the_textbook_yacht():
    hull = Hull(**YD40, lcf=0.56)
    # The textbook prints 24.318; 13.6° of heel takes 25.2 m² to 24.7.
    assert hull.wetted_m2 == pytest.approx(24.318, abs=0.03)
    assert 25.2 * heeled_wetted_share(hull, 13.6) == pytest.approx(24.7, abs=0.06)


@pytest.mark.parametrize("lcf", [0.55, 0.56, 0.57])
def test_residuary_resistance_of_the_textbook_yacht(lcf):
    # The textbook's 0.00692 at Froude number 0.35 is by an older regression of the series;
    # 15 % is the doubt that the newer ones carry.
    hull = Hull(**YD40, lcf=lcf)
    for regression in (residuary_sonnenberg, residuary_katgert):
        curve = drag_curve([regression(hull)])
        assert curve(np.array(0.35))[0] == pytest.approx(0.00692, rel=0.15)


# Parent hull of the systematic series, as measured in 1981 (UCI Yacht Hydrodynamics data set):
# LCB -2.3 %, Cp 0.568, L/V^(1/3) 4.78, B/T 3.99, L/B 3.17; residuary over weight, thousandths.
PARENT = [(0.30, 3.76), (0.35, 7.16), (0.40, 20.11), (0.45, 49.49)]


@pytest.mark.parametrize(("froude", "measured"), PARENT)
@pytest.mark.parametrize("regression", [residuary_sonnenberg, residuary_katgert])
def test_the_parent_hull_as_measured(regression, froude, measured):
    # Both regressions are known to come out a fifth low between 0.30 and 0.45, with little
    # scatter: the models of 1981 had their appendages on.
    hull = series_hull(-2.3, 0.568, 4.78, 3.99, 3.17)
    share = drag_curve([regression(hull)])(np.array(froude))[0]
    assert 0.70 * measured <= 1000.0 * share <= 1.02 * measured


def test_two_regressions_of_the_series_agree():
    # Typed from two papers: a slip in either table would part them.
    hull = Hull(
        lwl_m=8.7, bwl_m=2.75, depth_m=0.508, volume_m3=4.90, prismatic=0.56, midship=0.72,
        lcb=0.535, lcf=0.56,
    )  # fmt: skip
    old, new = residuary_sonnenberg(hull), residuary_katgert(hull)
    at = np.arange(0.30, 0.61, 0.05)
    one = np.interp(at, old.froude, old.share)
    other = np.interp(at, new.froude, new.share)
    np.testing.assert_allclose(one, other, rtol=0.06)


def test_heel_grows_to_its_published_twenty_degrees():
    # 6 phi^1.7 is meant to be 1 at 20° (Keuning and Sonnenberg 1998).
    assert heel_growth(np.radians(20.0)) == pytest.approx(1.0, abs=0.01)


def test_what_a_knot_more_costs_at_hull_speed():
    # Common practice, no source: resistance doubles from 7 to 8 kn on a 10 m yacht, and is a
    # few percent of her weight at hull speed.
    water = Water.of(yacht(ten_metres()))
    speeds = np.array([7.0, 8.0]) * KN
    drag = water.drag_n(speeds, np.zeros(2), np.zeros(2))
    assert 1.6 <= drag[1] / drag[0] <= 2.5
    assert 0.015 <= drag[0] / (5150 * 9.81) <= 0.035


# --- foils -----------------------------------------------------------------------------------


def test_lift_slope_between_the_slender_wing_and_the_endless_one():
    # R. T. Jones: half pi times the aspect ratio for slender wings; thin aerofoil theory: two pi
    # for endless ones, of which sections with thickness and viscosity reach nine tenths.
    slender = Foil(span_m=0.1, chord_m=1.0, thickness_ratio=0.1)
    assert slender.lift_slope == pytest.approx(np.pi / 2 * slender.aspect, rel=0.05)
    endless = Foil(span_m=500.0, chord_m=1.0, thickness_ratio=0.1)
    assert endless.lift_slope == pytest.approx(0.9 * 2 * np.pi, rel=0.02)


def test_induced_drag_is_that_of_the_lifting_line():
    # Prandtl: D = L² / (pi b² q), for a wing of span b in a free stream.
    lift, span, speed = 2500.0, 2.0, 3.0
    pressure = 0.5 * 1025.0 * speed**2
    assert induced_drag_n(lift, span, speed) == pytest.approx(
        lift**2 / (np.pi * span**2 * pressure)
    )


def test_the_effective_span_shrinks_as_she_heels_and_speeds_up():
    # Keuning and Sonnenberg 1998: near the surface the wing loses its mirror.
    given = yacht(ten_metres())
    heel, froude = np.array([0.0, 10.0, 20.0, 30.0]), np.array([0.20, 0.30, 0.40])
    span = effective_span_m(given.hull, 1.95, 0.75, froude[:, np.newaxis], heel)
    assert np.all(np.diff(span, axis=1)[1:] < 0.0)
    assert np.all(np.diff(span, axis=0) < 0.0)
    assert np.all((span > 0.6 * 1.95) & (span < 1.2 * 1.95))


# --- sails and wind --------------------------------------------------------------------------

# ORC VPP Documentation 2013, low-lift set (second-hand): apparent wind angle, lift, drag.
ORC_SAILS = {
    "main": [(7, 0.862, 0.026), (28, 1.347, 0.033), (90, 1.125, 0.383), (180, -0.112, 1.345)],
    "jib": [(7, 0.0, 0.050), (20, 1.375, 0.031), (27, 1.450, 0.037), (100, 0.400, 0.730)],
    "symmetric": [(41, 0.978, 0.321), (67, 1.456, 0.598), (180, 0.0, 0.935)],
    "asymmetric": [(41, 1.018, 0.280), (67, 1.513, 0.448), (150, 0.250, 0.620)],
}


@pytest.mark.parametrize("kind", ORC_SAILS)
def test_sail_coefficients_at_their_published_angles(kind):
    for awa, lift, drag in ORC_SAILS[kind]:
        got = coefficients(kind, np.array(float(awa)))
        assert got == (pytest.approx(lift), pytest.approx(drag))


@pytest.mark.parametrize("kind", [*ORC_SAILS, "poled jib"])
@pytest.mark.parametrize("lift", ["low", "high"])
def test_between_its_angles_no_coefficient_overshoots(kind, lift):
    awa = np.linspace(0.0, 180.0, 721)
    lifts, drags = coefficients(kind, awa, lift)
    assert drags.min() >= 0.0
    assert lifts.max() <= 1.55
    assert np.abs(np.diff(drags)).max() < 0.02


def test_the_pole_gives_least_what_it_is_said_to_give():
    awa = np.linspace(0.0, 180.0, 181)
    _, usual = coefficients("poled jib", awa)
    assert np.all(poled_drag_at_worst(awa) <= usual + 0.005)
    # Dead before the wind a poled jib is a plate: ORC's jib and spinnaker have 0.90 and 0.935.
    assert 0.90 <= usual[-1] <= 1.05


def test_over_sixty_degrees_of_boom_adds_little():
    # Common practice, no source: from a broad reach on, with the boom right out, the drive of
    # the main hardly changes.
    awa = np.linspace(140.0, 180.0, 41)
    lift, drag = coefficients("main", awa)
    drive = lift * np.sin(np.radians(awa)) - drag * np.cos(np.radians(awa))
    assert drive.max() / drive.min() < 1.10


@pytest.mark.parametrize(
    ("height", "share"), [(3.0, 0.8693), (6.0, 0.9445), (10.0, 1.0), (15.0, 1.0440)]
)
def test_the_wind_profile_of_the_orc(height, share):
    # V(z)/V(10) = 1 + 0.1086 ln(z/10), roughness 1 mm (from memory; consistent in itself).
    assert wind_at(height, np.array(1.0)) == pytest.approx(share, abs=1e-4)


# --- whole yachts ----------------------------------------------------------------------------


def ten_metres(**members):
    given = {
        "name": "Ten", "type": "light", "length_overall_m": 10.0, "waterline_length_m": 8.7,
        "beam_m": 3.3, "waterline_beam_m": 2.75, "draft_m": 1.95, "displacement_kg": 4700,
        "mainsail_luff_m": 12.6, "mainsail_foot_m": 4.3, "mainsail_m2": 30.3, "jib_m2": 28.2,
        "foretriangle_height_m": 13.4, "foretriangle_base_m": 3.85, "propeller": "none",
        "crew_kg": 450, "stores_kg": 0, "largest_heel_deg": 28,
    }  # fmt: skip
    return Dimensions(**{**given, **members})


# Medians of certificates that the ORC publishes as open data, 2019 to 2025; waterlines from
# memory. LOA, LWL, beam, draft, light displacement, main, headsail, spinnaker, crew.
CERTIFIED = {
    "36 ft": (10.64, 9.3, 3.46, 2.22, 5494, 39.7, 39.5, 82.8, "symmetric", 621),
    "31 ft": (9.61, 8.4, 3.21, 1.93, 3712, 25.4, 27.0, 61.0, "symmetric", 430),
    "39 ft": (11.62, 10.2, 4.00, 1.89, 7920, 33.2, 40.4, 85.7, "asymmetric", 360),
}
CERTIFIED_ANGLES = (52.0, 60.0, 75.0, 90.0, 110.0, 120.0, 135.0, 150.0)
CERTIFIED_WINDS = (6.0, 10.0, 16.0, 20.0)
# Boat speed at those angles; then the beat's angle and VMG, and the run's VMG.
CERTIFICATES = {
    "36 ft": [
        (5.51, 5.78, 5.95, 5.85, 5.62, 5.43, 4.85, 4.10, 42.3, 3.66, 3.55),
        (6.93, 7.09, 7.20, 7.25, 7.30, 7.20, 6.83, 6.19, 38.8, 4.88, 5.38),
        (7.31, 7.51, 7.81, 8.02, 8.37, 8.39, 8.15, 7.75, 37.3, 5.26, 7.17),
        (7.37, 7.59, 7.97, 8.34, 8.75, 9.13, 9.00, 8.50, 37.6, 5.30, 7.89),
    ],
    "31 ft": [
        (4.88, 5.14, 5.29, 5.21, 5.17, 4.98, 4.44, 3.77, 43.5, 3.20, 3.26),
        (6.35, 6.54, 6.70, 6.78, 6.90, 6.80, 6.43, 5.79, 39.7, 4.38, 5.03),
        (6.93, 7.14, 7.42, 7.59, 8.01, 8.03, 7.80, 7.39, 38.0, 4.91, 6.79),
        (6.98, 7.21, 7.63, 7.96, 8.42, 8.83, 8.69, 8.18, 38.4, 4.92, 7.52),
    ],
    "39 ft": [
        (4.81, 5.16, 5.37, 5.27, 5.34, 5.18, 4.62, 3.90, 45.6, 3.09, 3.38),
        (6.50, 6.79, 7.01, 7.10, 7.29, 7.19, 6.77, 5.97, 41.9, 4.35, 5.18),
        (7.29, 7.53, 7.80, 7.95, 8.39, 8.39, 8.17, 7.74, 40.6, 5.03, 7.07),
        (7.31, 7.58, 7.99, 8.30, 8.71, 9.05, 8.92, 8.40, 41.0, 5.03, 7.82),
    ],
}  # fmt: skip


def certified(boat):
    loa, lwl, beam, draft, kg, main, jib, spinnaker, kind, crew = CERTIFIED[boat]
    return Dimensions(
        name=boat, type="light", length_overall_m=loa, waterline_length_m=lwl, beam_m=beam,
        draft_m=draft, displacement_kg=kg, mainsail_m2=main, jib_m2=jib, spinnaker_m2=spinnaker,
        spinnaker=kind, crew_kg=crew, stores_kg=0, propeller="folding", largest_heel_deg=28,
        sails="racing",
    )  # fmt: skip


def with_spinnaker(given, angles):
    """Speed at angles in the certificates' winds: by whichever sails are faster. [kn]"""
    base, cells = yacht(given), grid(np.array(angles), np.array(CERTIFIED_WINDS))
    plans = (main_and_jib(base.rig, "high"), main_and_spinnaker(base.rig, base.spinnaker, "high"))
    white, coloured = (equilibrium(base, plan, cells).speed / KN for plan in plans)
    reaching = np.array(angles)[:, np.newaxis] >= 65.0
    return np.fmax(white, np.where(reaching, coloured, 0.0))


@pytest.mark.parametrize("boat", CERTIFIED)
def test_speeds_of_certified_yachts(boat):
    found = with_spinnaker(certified(boat), CERTIFIED_ANGLES)
    published = np.array([row[:8] for row in CERTIFICATES[boat]]).T
    off = found / published - 1.0
    assert np.sqrt(np.mean(off**2)) <= 0.04


@pytest.mark.parametrize("boat", CERTIFIED)
def test_beats_and_runs_of_certified_yachts(boat):
    angles = np.arange(34.0, 52.0, 0.5)
    made_good = with_spinnaker(certified(boat), angles) * np.cos(np.radians(angles))[:, np.newaxis]
    beat, vmg = np.array([row[8:10] for row in CERTIFICATES[boat]]).T
    np.testing.assert_allclose(angles[made_good.argmax(axis=0)], beat, atol=3.1)
    np.testing.assert_allclose(made_good.max(axis=0), vmg, rtol=0.07)
    deep = np.arange(130.0, 180.5, 2.0)
    run = -with_spinnaker(certified(boat), deep) * np.cos(np.radians(deep))[:, np.newaxis]
    np.testing.assert_allclose(run.max(axis=0), [row[10] for row in CERTIFICATES[boat]], rtol=0.05)


def test_four_in_five_certified_speeds_lie_in_the_band():
    inside = []
    for boat, rows in CERTIFICATES.items():
        made = estimate(
            certified(boat), winds_kn=CERTIFIED_WINDS, angles_deg=(40.0, *CERTIFIED_ANGLES)
        )
        by_name = {sails.name: sails for sails in made.boat.sail_sets}
        for i, twa in enumerate(CERTIFIED_ANGLES):
            for tws, row in zip(CERTIFIED_WINDS, rows, strict=True):
                sets = [by_name["main and jib"]]
                if twa >= by_name["main and spinnaker"].polar.first_twa_deg:
                    sets.append(by_name["main and spinnaker"])
                fastest = max(sets, key=lambda sails: sails.polar.at(twa, tws))
                edges = (table.at(twa, tws) for table in (fastest.band.low, fastest.band.high))
                low, high = edges
                inside.append(low <= row[i] <= high)
    assert np.mean(inside) >= 0.8


# The example design YD-41 of Principles of Yacht Design and a published polar of it (digitised).
# Two other programs are 2 to 13 % off it: it checks the shape. From 90° on, in light airs
# sooner, it is for her large asymmetric spinnaker.
YD41 = Dimensions(
    name="YD-41", type="light", length_overall_m=12.5, waterline_length_m=11.9, beam_m=4.2,
    waterline_beam_m=3.18, draft_m=2.30, displacement_kg=6500, mainsail_luff_m=16.6,
    mainsail_foot_m=5.6, boom_above_deck_m=1.0, foretriangle_height_m=16.2,
    foretriangle_base_m=5.1, jib_overlap=1.06, freeboard_m=1.5, keel_span_m=1.9,
    keel_chord_m=0.89, rudder_span_m=1.15, rudder_chord_m=0.35, propeller="folding",
    crew_kg=500, stores_kg=0, largest_heel_deg=28, sails="racing",
)  # fmt: skip
YD41_WINDS = (4.0, 5.0, 6.0, 8.0)
YD41_ANGLES = (52.0, 60.0, 75.0)
YD41_SPEEDS = [
    (7.56, 7.98, 8.35),
    (8.06, 8.36, 8.79),
    (8.29, 8.59, 9.14),
    (8.55, 8.95, 9.63),
]


def test_a_published_polar_has_this_shape():
    base = yacht(YD41)
    cells = grid(np.array(YD41_ANGLES), np.array(YD41_WINDS) / KN)
    found = equilibrium(base, main_and_jib(base.rig, "high"), cells).speed / KN
    off = found / np.array(YD41_SPEEDS).T - 1.0
    assert np.abs(off).max() <= 0.13
    assert off.std() <= 0.02
