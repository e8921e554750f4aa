"""Interpolation in a polar table, leeway, and what may be carried."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from goosewing.boat.model import (
    Boat,
    Leeway,
    Manoeuvres,
    Performance,
    PolarTable,
    SailSet,
    leeway_angle,
    row_angles,
    sailing,
    wind_limit_text,
)
from goosewing.errors import InputError

TWS = np.array([6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 20.0])
TWA = np.array([52.0, 60.0, 75.0, 90.0, 110.0, 120.0, 135.0, 150.0])
# ORC Club certificate, 2011, as printed in a sailing magazine (content.yudu.com, library A1sjob,
# June issue, resource 66; read): boat speed in knots.
CERTIFICATE = np.array(
    [
        [4.46, 5.53, 6.20, 6.61, 6.84, 6.97, 7.10],
        [4.82, 5.89, 6.47, 6.85, 7.11, 7.24, 7.38],
        [5.15, 6.15, 6.71, 7.05, 7.34, 7.58, 7.81],
        [5.25, 6.29, 6.88, 7.27, 7.47, 7.66, 8.03],
        [5.13, 6.28, 6.92, 7.33, 7.68, 8.02, 8.42],
        [4.96, 6.07, 6.71, 7.15, 7.52, 7.88, 8.57],
        [4.20, 5.37, 6.25, 6.78, 7.17, 7.51, 8.16],
        [3.49, 4.51, 5.45, 6.20, 6.71, 7.09, 7.75],
    ]
)
ROUNDING = 1e-12


@pytest.fixture
def table() -> PolarTable:
    return PolarTable(TWS, TWA, CERTIFICATE)


def _boat(**changes: object) -> Boat:
    heel = PolarTable([10.0], [30.0, 180.0], [[20.0], [2.0]])
    polar = PolarTable([10.0], [30.0, 180.0], [[4.0], [5.0]])
    sails = SailSet(name="both", polar=polar, heel=heel, twa_deg=(40.0, 170.0), tws_kn=(4.0, 9.0))
    return Boat(**{"name": "Test", "sail_sets": (sails,), **changes})  # type: ignore[arg-type]


# --- interpolation -----------------------------------------------------------------


@pytest.mark.parametrize("column", range(len(TWS)))
def test_within_a_wind_column_it_is_scipys_shape_preserving_cubic(table, column):
    angles = np.linspace(52.0, 150.0, 1961)
    expected = PchipInterpolator(TWA, CERTIFICATE[:, column])(angles)
    np.testing.assert_allclose(table.at(angles, TWS[column]), expected, rtol=ROUNDING)


def test_at_the_nodes_it_is_the_table(table):
    np.testing.assert_allclose(table.at(TWA[:, None], TWS), CERTIFICATE, rtol=ROUNDING)


def test_between_two_columns_it_is_linear_in_the_wind(table):
    left, right = (PchipInterpolator(TWA, CERTIFICATE[:, k])(100.0) for k in (2, 3))
    assert table.at(100.0, 10.5) == pytest.approx(0.75 * left + 0.25 * right, rel=ROUNDING)


def test_below_the_first_column_it_goes_to_zero_in_no_wind(table):
    assert table.at(90.0, 3.0) == pytest.approx(5.25 / 2.0, rel=ROUNDING)
    assert table.at(90.0, 0.0) == 0.0


def test_a_column_at_no_wind_is_taken_as_it_stands():
    table = PolarTable([0.0, 10.0], [50.0, 90.0], [[0.0, 5.0], [0.0, 6.0]])
    assert table.at(50.0, 5.0) == pytest.approx(2.5, rel=ROUNDING)


def test_one_angle_and_one_wind_make_a_table():
    table = PolarTable([10.0], [180.0], [[4.6]])
    np.testing.assert_allclose(table.at(180.0, [0.0, 5.0, 10.0]), [0.0, 2.3, 4.6], rtol=ROUNDING)
    assert np.isnan(table.at(179.9, 10.0))


@pytest.mark.parametrize(
    ("twa", "tws"), [(51.9, 10), (150.1, 10), (90, 20.1), (90, -1), (np.nan, 10), (90, np.nan)]
)
def test_outside_the_table_there_is_no_number(table, twa, tws):
    assert np.isnan(table.at(twa, tws))


def test_angles_and_winds_broadcast(table):
    assert table.at(90.0, 10.0).shape == ()
    assert table.at(TWA[:, None], TWS).shape == (8, 7)
    assert table.at(np.zeros((0,)), 10.0).shape == (0,)


@settings(deadline=None)
@given(st.data(), st.integers(2, 7), st.integers(1, 5))
def test_no_value_leaves_the_four_entries_around_it(data, angles, winds):
    steps = st.floats(0.5, 20.0)
    twa = 10.0 + np.cumsum(data.draw(st.lists(steps, min_size=angles, max_size=angles)))
    tws = np.cumsum(data.draw(st.lists(steps, min_size=winds, max_size=winds)))
    cell = st.floats(0.0, 15.0, allow_subnormal=False)
    values = np.array(
        data.draw(st.lists(cell, min_size=angles * winds, max_size=angles * winds))
    ).reshape(angles, winds)
    table = PolarTable(tws, twa, values)
    share = np.linspace(0.0, 1.0, 7)
    for i in range(angles - 1):
        for j in range(winds - 1):
            corners = values[i : i + 2, j : j + 2]
            a = twa[i] + share[:, None] * (twa[i + 1] - twa[i])
            inner = table.at(np.minimum(a, twa[-1]), tws[j] + share * 0.99 * (tws[j + 1] - tws[j]))
            assert inner.min() >= corners.min() - 1e-9
            assert inner.max() <= corners.max() + 1e-9


def test_next_to_no_difference_between_angles_makes_no_noise():
    table = PolarTable([10.0], [30.0, 40.0, 50.0], [[0.0], [1e-308], [3e-308]])
    assert table.at(45.0, 10.0) == pytest.approx(0.0, abs=1e-300)


@pytest.mark.parametrize(
    ("tws", "twa", "values", "said"),
    [
        ([6, 6], [50, 90], np.ones((2, 2)), "ascend"),
        ([6, 8], [90, 50], np.ones((2, 2)), "ascend"),
        ([6, 8], [50, 90], np.ones((2, 3)), "shape"),
        ([6, 8], [50, 190], np.ones((2, 2)), "beyond 180"),
        ([-6, 8], [50, 90], np.ones((2, 2)), "negative"),
        ([6, 8], [50, 90], -np.ones((2, 2)), "negative"),
        ([6, 8], [50, 90], np.full((2, 2), np.nan), "finite"),
        ([0, 8], [50, 90], np.ones((2, 2)), "zeros at 0 kn"),
        ([0], [50, 90], np.zeros((2, 1)), "above it"),
        ([], [50, 90], np.zeros((2, 0)), "at least one"),
    ],
)
def test_a_senseless_table_is_refused(tws, twa, values, said):
    with pytest.raises(InputError, match=said):
        PolarTable(np.array(tws, dtype=float), np.array(twa, dtype=float), values)


def test_a_table_can_not_be_changed_behind_its_back():
    values = CERTIFICATE.copy()
    table = PolarTable(TWS, TWA, values)
    values[:] = 0.0
    assert table.at(90.0, 10.0) == pytest.approx(6.88)
    with pytest.raises(ValueError, match="read-only"):
        table.values[0, 0] = 1.0


# --- leeway ------------------------------------------------------------------------


def test_leeway_is_about_ten_degrees_at_thirty_of_heel_and_five_and_a_half_knots():
    # Common practice, no source; k = 10.
    assert leeway_angle(30.0, 5.5, 10.0, 20.0) == pytest.approx(10.0, abs=0.2)


def test_leeway_agrees_with_garretts_rule_for_a_twelve_metre_yacht():
    # Garrett, The Symmetry of Sailing (1987): 464·sin(heel)/V², quoted second-hand.
    heel = np.array([5.0, 10.0, 15.0, 20.0, 25.0])
    rule = 464.0 * np.sin(np.radians(heel)) / 6.0**2
    np.testing.assert_allclose(leeway_angle(heel, 6.0, 8.1, 20.0), rule, rtol=0.035)


def test_leeway_is_limited_and_left_out_without_steerage_or_heel():
    np.testing.assert_array_equal(
        leeway_angle([20.0, 20.0, 20.0, np.nan], [1.0, 0.09, 0.0, 5.0], 10.0, 15.0),
        [15.0, 0.0, 0.0, 0.0],
    )


def test_a_heading_polar_adds_leeway_to_the_row_and_a_track_polar_takes_it_off():
    by_bow = sailing(_boat(), 0, 60.0, 8.0)
    by_track = sailing(_boat(polar_angle="track"), 0, 60.0, 8.0)
    assert by_bow.leeway_deg == by_track.leeway_deg > 5.0
    assert (by_bow.twa_deg, by_bow.track_angle_deg) == (60.0, 60.0 + by_bow.leeway_deg)
    assert (by_track.twa_deg, by_track.track_angle_deg) == (60.0 - by_bow.leeway_deg, 60.0)


def test_a_track_polar_holds_the_bow_against_the_sector():
    boat = _boat(polar_angle="track")
    leeway = float(sailing(boat, 0, 42.0, 8.0).leeway_deg)
    assert leeway > 2.0
    assert not sailing(boat, 0, 42.0, 8.0).possible
    assert sailing(_boat(), 0, 42.0, 8.0).possible


def test_the_track_of_a_heading_polar_may_pass_dead_downwind():
    s = sailing(_boat(), 0, 180.0, 8.0)
    assert s.track_angle_deg > 180.0


def test_leeway_follows_the_speed_really_sailed():
    slow = _boat(performance=Performance(upwind=0.9, reach=0.9, run=0.9))
    ratio = sailing(slow, 0, 100.0, 8.0).leeway_deg / sailing(_boat(), 0, 100.0, 8.0).leeway_deg
    assert ratio == pytest.approx(1.0 / 0.9**2)


# --- what may be carried ------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "tws", "gust", "possible"),
    [
        (40.0, 8.0, None, True),
        (39.9, 8.0, None, False),
        (170.0, 8.0, None, True),
        (170.1, 8.0, None, False),
        (100.0, 4.0, None, True),
        (100.0, 3.9, None, False),
        (100.0, 9.0, None, True),
        (100.0, 9.1, None, False),
        (100.0, 8.0, 9.0, True),
        (100.0, 8.0, 9.1, False),
        (100.0, 8.0, np.nan, True),
        (100.0, 9.1, 5.0, False),
        (100.0, 3.9, 8.0, False),
        (100.0, np.nan, None, False),
    ],
)
def test_sector_and_wind_limits(row, tws, gust, possible):
    assert bool(sailing(_boat(), 0, row, tws, gust).possible) is possible


def test_nothing_is_sailed_outside_the_table():
    sails = SailSet(name="a", polar=PolarTable([10.0], [30.0, 150.0], [[4.0], [5.0]]))
    boat = Boat(name="b", sail_sets=(sails,))
    s = sailing(boat, 0, [29.9, 30.0, 150.0, 150.1, 90.0], [8, 8, 8, 8, 10.1])
    assert s.possible.tolist() == [False, True, True, False, False]
    # The table tells speeds, the limit tells what is safe: a gust leaves the first alone.
    assert sailing(boat, 0, 90.0, 10.0, 14.0).possible
    assert np.isnan(s.heel_deg).all()
    assert (s.leeway_deg == 0.0).all()


def test_sailing_broadcasts():
    s = sailing(_boat(), 0, np.zeros((5, 1)) + 60.0, [6.0, 8.0, 9.0], np.nan)
    assert {a.shape for a in s} == {(5, 3)}


# --- the rest of the boat -----------------------------------------------------------


def test_performance_is_blended_between_upwind_reach_and_run():
    factor = Performance(upwind=0.8, reach=1.0, run=0.9).factor
    angles = [0, 60, 75, 90, 120, 135, 150, 180]
    expected = [0.8, 0.8, 0.9, 1.0, 1.0, 0.95, 0.9, 0.9]
    np.testing.assert_allclose(factor(angles), expected, rtol=ROUNDING)


def test_scaled_multiplies_all_three_factors_and_nothing_else():
    boat = _boat(performance=Performance(upwind=0.8, reach=1.0, run=0.9)).scaled(0.5)
    assert (boat.performance.upwind, boat.performance.reach) == (0.4, 0.5)
    assert boat.performance.run == pytest.approx(0.45)
    assert boat.sail_sets == boat.scaled(1.0).sail_sets
    with pytest.raises(InputError, match="at most 2"):
        boat.scaled(5.0)


def test_an_unknown_sail_set_is_answered_with_those_she_has():
    with pytest.raises(InputError, match='no sail set "spinnaker"; she has "both"'):
        _boat().index("spinnaker")
    assert _boat().index("both") == 0


def test_sampled_angles_hold_grid_nodes_and_edges():
    polar = PolarTable([10.0], [30.1, 47.3, 180.0], [[1.0], [2.0], [3.0]])
    angles = row_angles(SailSet(name="a", polar=polar, twa_deg=(35.05, 180.0)), 0.25)
    assert {30.1, 47.3, 180.0, 35.05, 30.25, 90.0} <= set(angles)
    assert (angles[0], angles[-1]) == (30.1, 180.0)
    assert np.diff(angles).min() > 1e-6
    assert np.diff(angles).max() <= 0.25 + 1e-9


@settings(deadline=None)
@given(st.floats(0.01, 5.0))
def test_sampled_angles_never_leave_the_table_nor_repeat(step):
    polar = PolarTable([10.0], [30.3, 60.0, 179.7], [[1.0], [2.0], [3.0]])
    angles = row_angles(SailSet(name="a", polar=polar, twa_deg=(0.0, 180.0)), step)
    assert np.isfinite(polar.at(angles, 10.0)).all()
    assert np.all(np.diff(angles) > 0.0)
    assert np.diff(angles).max() <= step + 1e-9


def test_a_grid_angle_that_misses_a_node_by_rounding_only_is_that_node():
    polar = PolarTable([10.0], [30.3, 60.3, 179.7], [[1.0], [2.0], [3.0]])
    assert 603 * 0.1 != 60.3
    angles = row_angles(SailSet(name="a", polar=polar), 0.1)
    assert 60.3 in angles
    assert np.diff(angles).min() > 0.09


def test_the_wind_limits_in_words():
    assert wind_limit_text(_boat()) == "both from 4 to 9 kn"


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: Leeway(coefficient=-1.0), "leeway coefficient"),
        (lambda: Leeway(largest_deg=float("nan")), "largest leeway"),
        (lambda: Performance(reach=0.0), "performance reach"),
        (lambda: Performance(run=2.1), "performance run"),
        (lambda: Manoeuvres(tack_s=-1.0), "manoeuvre tack_s"),
        (lambda: Manoeuvres(gybe_s=float("inf")), "manoeuvre gybe_s"),
        (lambda: _boat(sail_sets=()), "at least one sail set"),
        (lambda: _boat(sail_sets=_boat().sail_sets * 2), 'two sail sets are called "both"'),
        (lambda: _boat(polar_angle="bow"), 'must be "heading" or "track"'),
        (lambda: _boat(polar_height_m=0.0), "polar_height_m"),
    ],
)
def test_senseless_boats_are_refused(make, said):
    with pytest.raises(InputError, match=said):
        make()
