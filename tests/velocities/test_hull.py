"""The hull against an independent linear programme, and what must not change under it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import linprog

from goosewing.velocities import velocity_set
from goosewing.velocities.velocity_set import Airs, fastest_mix
from random_boats import random_boat

ON_THE_PLANE = 1e-6
"""Relative: what the hull's time may differ from the linear programme's."""


def least_time(east, north, bearing_deg, distance_nm):
    """min Σt such that Σ t·v = D, t ≥ 0, by HiGHS; None if there is no such mix."""
    angle = np.radians(bearing_deg)
    target = distance_nm * np.array([np.sin(angle), np.cos(angle)])
    answer = linprog(
        np.ones(len(east)), A_eq=np.vstack((east, north)), b_eq=target, method="highs",
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )  # fmt: skip
    return answer.fun if answer.success else None


def random_airs(seed: int, strongest_stream: float = 9.0) -> tuple[Airs, float]:
    rng = np.random.default_rng(1000 + seed)
    stream = rng.uniform(0, strongest_stream) * (rng.random() < 0.7)
    toward = rng.uniform(0, 2 * np.pi)
    airs = Airs(
        rng.uniform(0, 360), rng.uniform(0, 20), stream * np.sin(toward), stream * np.cos(toward)
    )
    return airs, rng.uniform(0, 360)


@pytest.mark.parametrize("seed", range(300))
def test_the_hull_equals_the_linear_programme(seed):
    airs, bearing = random_airs(seed)
    held = velocity_set.velocity_set(random_boat(seed), airs, step_deg=0.5)
    if not len(held):
        pytest.skip("this random boat carries nothing in this wind")
    best = velocity_set.best_made_good_kn(held, bearing)
    expected = least_time(held.east_kn, held.north_kn, bearing, 10.0)
    if expected is None:
        assert np.isnan(best)
    else:
        assert 10.0 / best == pytest.approx(expected, rel=ON_THE_PLANE)


def test_the_random_cases_include_marks_that_cannot_be_made_and_streams_faster_than_the_boat():
    out_of_reach = outrun = 0
    for seed in range(300):
        airs, bearing = random_airs(seed)
        held = velocity_set.velocity_set(random_boat(seed), airs, step_deg=0.5)
        if len(held):
            out_of_reach += np.isnan(velocity_set.best_made_good_kn(held, bearing))
            drift = np.hypot(airs.stream_east_kn, airs.stream_north_kn)
            outrun += drift > held.boat_speed_kn.max()
    assert out_of_reach >= 20
    assert outrun >= 20


def test_the_farther_crossing_counts_where_the_stream_outruns_the_boat():
    # A square of water velocities carried off at 5 kn: the ray enters at 4 and leaves at 6.
    along = np.array([4.0, 5.0, 6.0, 5.0])
    across = np.array([0.0, 1.0, 0.0, -1.0])
    mix = fastest_mix(along, across, np.ones((1, 4), dtype=bool))
    assert mix.speed_kn[0] == pytest.approx(6.0)


@pytest.mark.parametrize(
    ("along", "across", "expected"),
    [
        pytest.param([], [], np.nan, id="empty"),
        pytest.param([3.0], [0.0], 3.0, id="one-velocity-on-the-ray"),
        pytest.param([3.0], [0.5], np.nan, id="one-velocity-off-the-ray"),
        pytest.param([0.0, 0.0], [0.0, 0.0], np.nan, id="calm-without-stream"),
        pytest.param([2.0, 4.0], [-1.0, 1.0], 3.0, id="two"),
        pytest.param([1.0, 2.0, 3.0], [-1.0, 0.0, 1.0], 2.0, id="collinear"),
        pytest.param([-2.0, -4.0], [-1.0, 1.0], np.nan, id="behind"),
        pytest.param([5.0, 5.0, 1.0], [1.0, 1.0, -1.0], 3.0, id="twice-the-same"),
    ],
)
def test_degenerate_sets(along, across, expected):
    along, across = np.array(along, dtype=float), np.array(across, dtype=float)
    mix = fastest_mix(along, across, np.ones((1, len(along)), dtype=bool))
    assert mix.speed_kn[0] == pytest.approx(expected, nan_ok=True)


@given(st.integers(0, 10_000), st.floats(0, 360), st.floats(0, 360))
def test_turning_the_whole_problem_changes_nothing(seed, turn, bearing):
    boat, (airs, _) = random_boat(seed), random_airs(seed)
    stream = np.hypot(airs.stream_east_kn, airs.stream_north_kn)
    towards = np.degrees(np.arctan2(airs.stream_east_kn, airs.stream_north_kn))
    angle = np.radians(towards + turn)
    turned = Airs(airs.twd_deg + turn, airs.tws_kn, stream * np.sin(angle), stream * np.cos(angle))
    here = velocity_set.velocity_set(boat, airs, step_deg=2.0)
    there = velocity_set.velocity_set(boat, turned, step_deg=2.0)
    a = velocity_set.best_made_good_kn(here, bearing)
    b = velocity_set.best_made_good_kn(there, bearing + turn)
    assert a == pytest.approx(b, rel=1e-9, abs=1e-6, nan_ok=True)


@given(st.integers(0, 10_000))
def test_port_and_starboard_mirror_each_other_exactly(seed):
    rng = np.random.default_rng(seed)
    airs = Airs(0.0, rng.uniform(2, 20), 0.0, rng.uniform(-2, 2))
    held = velocity_set.velocity_set(random_boat(seed), airs, step_deg=2.0)
    port = np.array([m.tack == "port" for m in held.modes])[held.mode]
    assert np.array_equal(held.east_kn[port], -held.east_kn[~port])
    assert np.array_equal(held.north_kn[port], held.north_kn[~port])


@given(st.integers(0, 10_000), st.floats(-6, 6), st.floats(-6, 6))
def test_a_vector_added_to_wind_and_stream_shifts_every_ground_velocity_by_it(seed, east, north):
    boat = random_boat(seed)
    rng = np.random.default_rng(seed)
    we, wn, se, sn = rng.uniform(-8, 8, 4)
    here = velocity_set.velocity_set(
        boat, velocity_set.airs_over_water(boat, we, wn, se, sn), step_deg=2
    )
    there = velocity_set.velocity_set(
        boat,
        velocity_set.airs_over_water(boat, we + east, wn + north, se + east, sn + north),
        step_deg=2,
    )
    assert len(here) == len(there)
    assert there.east_kn == pytest.approx(here.east_kn + east, abs=1e-9)
    assert there.north_kn == pytest.approx(here.north_kn + north, abs=1e-9)


def straight_and_hull(boat, airs, bearing):
    held = velocity_set.velocity_set(boat, airs)
    straight = velocity_set.straight_velocities(held, bearing)
    assert len(set(straight.mode.tolist())) == len(straight.mode)
    exact, possible = velocity_set.velocities(
        boat, held.modes, airs, straight.mode, straight.row_deg
    )
    _, across = velocity_set.along_and_across(exact.east_kn, exact.north_kn, bearing)
    assert np.all(possible)
    assert across == pytest.approx(0.0, abs=1e-6)
    return straight, velocity_set.best_made_good_kn(held, bearing)


@given(st.integers(0, 10_000), st.floats(0, 360))
def test_a_straight_velocity_lies_on_its_bearing(seed, bearing):
    airs, _ = random_airs(seed, strongest_stream=2.0)
    # Under 0.1 kn of boat speed the leeway is zero by definition: there the curve has a gap.
    assume(airs.tws_kn > 2.0)
    straight_and_hull(random_boat(seed), airs, bearing)


@given(st.floats(0, 360), st.floats(2, 20), st.floats(0, 2), st.floats(0, 360))
def test_a_straight_velocity_never_beats_the_hull(brisvik, bearing, tws, drift, towards):
    angle = np.radians(towards)
    airs = Airs(0.0, tws, drift * np.sin(angle), drift * np.cos(angle))
    straight, best = straight_and_hull(brisvik, airs, bearing)
    if straight.mode.size:
        # The sampled hull lies inside the curve by its chord: 0.25° of a polar's bulge.
        assert straight.along_kn.max() <= best * (1 + 1e-4)


def test_the_hull_for_drawing_encloses_every_velocity(brisvik):
    import shapely

    held = velocity_set.velocity_set(brisvik, Airs(320.0, 10.0, 0.4, -0.2))
    corners = velocity_set.hull(held)
    outline = shapely.Polygon(np.column_stack((held.east_kn[corners], held.north_kn[corners])))
    points = shapely.points(held.east_kn, held.north_kn)
    assert shapely.distance(outline, points).max() < 1e-9
    assert outline.exterior.is_ccw
