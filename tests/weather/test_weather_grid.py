"""Fields on grids: where they are exact, where they end, and their seams."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod, Proj
from scipy.interpolate import RegularGridInterpolator

from goosewing.errors import InputError
from goosewing.weather.base import Weather, datetime_from_hours
from goosewing.weather.grid import (
    Axis,
    Ensemble,
    Everywhere,
    GridWeather,
    LatLonGrid,
    ProjectedGrid,
    ReducedGrid,
    Stations,
    enclosing_box,
    layer_of,
)

ROUNDING_KN = 1e-9
START_H = 500_000.0
LAMBERT = "+proj=lcc +lat_0=57 +lat_1=57 +lon_0=11 +R=6371229"


def forecast(grid, east, north=None, times=(START_H, START_H + 3.0)):
    """Wind whose components are given at (time, point)."""
    north = east if north is None else north
    shape = (len(times), grid.points)
    columns = {
        "wind_east_kn": np.broadcast_to(east, shape),
        "wind_north_kn": np.broadcast_to(north, shape),
    }
    return GridWeather((layer_of(columns, grid, times),))


def lat_lon(lats, lons):
    lat, lon = np.meshgrid(lats, lons, indexing="ij")
    return LatLonGrid(lats, lons), lat.ravel(), lon.ravel()


coefficients = st.tuples(*[st.floats(-2.0, 2.0)] * 4)
share = st.floats(0.0, 1.0)


@given(coefficients, share, share, share)
def test_what_is_linear_in_time_and_place_comes_back_exactly(linear, ahead, up, right):
    a, b, c, d = linear
    grid, lat, lon = lat_lon(np.array([50.0, 50.5, 52.0]), np.arange(-3.0, 4.0, 1.5))
    steps = np.array([[0.0], [3.0]])
    weather = forecast(grid, a + b * lat + c * lon + d * steps)
    time, here, there = 3.0 * ahead, 50.0 + 2.0 * up, -3.0 + 6.0 * right
    got = weather.at(START_H + time, here, there)
    # A nanosecond in 57 years is the double's own step in hours since 1970.
    assert got.wind_east_kn == pytest.approx(a + b * here + c * there + d * time, abs=1e-8)


def test_agrees_with_scipy_on_an_uneven_grid():
    rng = np.random.default_rng(7)
    lats, lons, times = np.array([40.0, 41.0, 43.5, 44.0]), np.arange(5.0, 9.0, 0.5), np.arange(4.0)
    values = rng.normal(size=(4, 4, 8))
    weather = forecast(LatLonGrid(lats, lons), values.reshape(4, -1), times=times)
    asked = np.column_stack(
        (rng.uniform(0, 3, 2000), rng.uniform(40, 44, 2000), rng.uniform(5, 8.5, 2000))
    )
    truth = RegularGridInterpolator((times, lats, lons), values)(asked)
    np.testing.assert_allclose(weather.at(*asked.T).wind_east_kn, truth, atol=ROUNDING_KN)


def test_angles_are_never_interpolated():
    # 350° and 10° at equal speed: halfway is 0°, and weaker; never 180°.
    grid = Everywhere()
    east = np.array([[10.0 * np.sin(np.radians(170.0))], [10.0 * np.sin(np.radians(190.0))]])
    north = np.array([[10.0 * np.cos(np.radians(170.0))], [10.0 * np.cos(np.radians(190.0))]])
    got = forecast(grid, east, north).at(START_H + 1.5, 0.0, 0.0)
    assert got.wind_east_kn == pytest.approx(0.0, abs=ROUNDING_KN)
    assert got.wind_north_kn == pytest.approx(-10.0 * np.cos(np.radians(10.0)), abs=ROUNDING_KN)


@given(st.integers(-3, 3), st.floats(-180.0, 180.0), st.floats(-20.0, 20.0))
def test_the_winding_of_longitudes_does_not_matter(turns, lon, lat):
    values = np.random.default_rng(1).normal(size=(3, 36))
    lats = np.array([-20.0, 0.0, 20.0])
    east_of_greenwich = forecast(LatLonGrid(lats, np.arange(0.0, 360.0, 10.0)), values.ravel())
    rolled = np.roll(values, 18, axis=1)
    from_the_date_line = forecast(LatLonGrid(lats, np.arange(-180.0, 180.0, 10.0)), rolled.ravel())
    one = east_of_greenwich.at(START_H, lat, lon).wind_east_kn
    other = from_the_date_line.at(START_H, lat, lon + 360.0 * turns).wind_east_kn
    assert np.isfinite(one)
    assert one == pytest.approx(other, abs=ROUNDING_KN)


def test_a_grid_may_cross_the_date_line():
    lons = np.array([178.0, 179.0, -180.0, -179.0])
    weather = forecast(LatLonGrid(np.array([10.0, 11.0]), lons), np.tile([0.0, 1.0, 2.0, 3.0], 2))
    at = np.array([178.5, 179.5, 180.0, -180.0, -179.5, 180.5, -181.5])
    got = weather.at(START_H, 10.5, at).wind_east_kn
    np.testing.assert_allclose(got, [0.5, 1.5, 2.0, 2.0, 2.5, 2.5, 0.5], atol=ROUNDING_KN)
    assert np.isnan(weather.at(START_H, 10.5, [177.9, -178.9, 0.0]).wind_east_kn).all()
    assert (weather.coverage.lon_west, weather.coverage.lon_east) == (178.0, 181.0)


def test_a_global_grid_closes_between_its_last_and_first_meridian():
    lons = np.arange(0.0, 360.0, 90.0)
    weather = forecast(LatLonGrid(np.array([0.0, 1.0]), lons), np.tile([0.0, 1.0, 2.0, 3.0], 2))
    got = weather.at(START_H, 0.0, [315.0, -45.0, 359.0, -1e-9, 360.0]).wind_east_kn
    np.testing.assert_allclose(got, [1.5, 1.5, 3 / 90, 0.0, 0.0], atol=1e-8)
    assert weather.coverage.lon_west is None


def test_outside_in_time_or_place_there_is_nothing():
    grid, lat, lon = lat_lon(np.array([50.0, 51.0]), np.array([0.0, 1.0]))
    weather = forecast(grid, lat + lon)
    outside = [(-0.01, 50.5, 0.5), (3.01, 50.5, 0.5), (1, 49.9, 0.5), (1, 51.1, 0.5)]
    outside += [(1, 50.5, -0.1), (1, 50.5, 1.1), (np.nan, 50.5, 0.5), (1, np.nan, 0.5)]
    for state in outside:
        got = weather.at(START_H + state[0], *state[1:])
        assert all(np.isnan(part) for part in got), state
    inside = weather.at(START_H + np.array([0.0, 3.0]), [50.0, 51.0], [0.0, 1.0])
    assert np.isfinite(inside.wind_east_kn).all()
    assert (inside.stream_east_kn == 0.0).all()


def test_a_missing_point_spoils_its_cells_and_nothing_else():
    grid, lat, _ = lat_lon(np.arange(50.0, 53.0), np.arange(0.0, 4.0))
    values = lat.copy()
    values[5] = np.nan  # 51° N 1° E
    weather = forecast(grid, values)
    lats = [50.5, 51.5, 51.0, 51.0, 51.0, 50.5, 50.0]
    lons = [0.5, 1.5, 0.999, 1.0, 2.0, 2.5, 1.0]
    got = weather.at(START_H + 1.0, lats, lons).wind_east_kn
    assert np.isnan(got).tolist() == [True, True, True, True, False, False, False]
    assert got[4:] == pytest.approx([51.0, 50.5, 50.0])


def test_scalars_and_arrays_broadcast():
    grid, lat, lon = lat_lon(np.array([50.0, 51.0]), np.array([0.0, 1.0]))
    weather = forecast(grid, lat + lon)
    assert isinstance(weather, Weather)
    assert weather.at(START_H, 50.0, 0.0).wind_east_kn.shape == ()
    got = weather.at(START_H + np.zeros((2, 1, 1)), np.full((3, 1), 50.5), np.full(4, 0.5))
    assert {part.shape for part in got} == {(2, 3, 4)}


def test_more_states_than_a_chunk_are_all_answered():
    grid, lat, _ = lat_lon(np.array([50.0, 51.0]), np.array([0.0, 1.0]))
    lats = np.linspace(50.0, 51.0, 50_000)
    got = forecast(grid, lat).at(START_H + 1.0, lats, 0.3).wind_east_kn
    np.testing.assert_allclose(got, lats, atol=1e-8)


def test_a_projected_grid_finds_its_own_points():
    grid = ProjectedGrid(LAMBERT, np.arange(-3e5, 3e5, 5e4), np.arange(-2e5, 3e5, 5e4))
    lat, lon = grid.positions()
    truth_lon, truth_lat = Proj(LAMBERT)(*np.meshgrid(grid.x, grid.y), inverse=True)
    np.testing.assert_allclose(lat, truth_lat)
    np.testing.assert_allclose(lon, truth_lon)
    values = np.random.default_rng(2).normal(size=lat.size)
    got = forecast(grid, values).at(START_H, lat.ravel(), lon.ravel() + 360.0)
    np.testing.assert_allclose(got.wind_east_kn, values, atol=1e-6)
    assert np.isnan(forecast(grid, values).at(START_H, 57.0, 30.0).wind_east_kn)


@pytest.mark.parametrize(
    "projection",
    [
        LAMBERT,
        "+proj=stere +lat_0=90 +lat_ts=60 +lon_0=-30 +R=6371229",
        "+proj=stere +lat_0=-90 +lat_ts=-60 +lon_0=170 +R=6371229",
        "+proj=merc +lat_ts=20 +lon_0=5 +R=6371229",
    ],
)
def test_turned_winds_point_as_the_meridian_convergence_says(projection):
    south = "lat_0=-90" in projection
    x_0, y_0 = Proj(projection)(11.0, -57.0 if south else 57.0)
    grid = ProjectedGrid(projection, x_0 + np.arange(-4, 5) * 1e5, y_0 + np.arange(-4, 5) * 1e5)
    lat, lon = grid.positions()
    east, north = grid.true_from_grid(np.zeros(lat.shape), np.ones(lat.shape))
    got = np.degrees(np.arctan2(east, north))
    # Outside truth: PROJ's own derivatives of the projection.
    convergence = Proj(projection).get_factors(lon, lat).meridian_convergence
    assert np.abs((got - convergence + 180.0) % 360.0 - 180.0).max() < 1e-6
    np.testing.assert_allclose(np.hypot(east, north), 1.0, atol=1e-9)
    # And by hand, from a point a little north along the meridian.
    x_1, y_1 = Proj(projection)(lon, lat)
    x_2, y_2 = Proj(projection)(lon, lat + 1e-4)
    grid_bearing_of_north = np.degrees(np.arctan2(x_2 - x_1, y_2 - y_1))
    assert np.abs((got + grid_bearing_of_north + 180.0) % 360.0 - 180.0).max() < 1e-3


@given(st.floats(-40.0, 40.0), st.floats(-40.0, 40.0))
def test_turning_keeps_the_speed(u, v):
    grid = ProjectedGrid(LAMBERT, np.arange(-3e5, 3e5, 1e5), np.arange(-3e5, 3e5, 1e5))
    shape = (grid.y.size, grid.x.size)
    east, north = grid.true_from_grid(np.full(shape, u), np.full(shape, v))
    np.testing.assert_allclose(np.hypot(east, north), np.hypot(u, v), rtol=1e-6, atol=1e-9)


def test_a_reduced_grid_is_linear_along_its_rows():
    counts = np.array([4, 8, 4])
    grid = ReducedGrid(np.array([-10.0, 0.0, 10.0]), counts)
    lon = np.concatenate([np.arange(n) * 360.0 / n for n in counts])
    lat = np.repeat([-10.0, 0.0, 10.0], counts)
    weather = forecast(grid, np.abs(lon - 180.0) / 2)
    got = weather.at(START_H, lat, lon).wind_east_kn
    np.testing.assert_allclose(got, np.abs(lon - 180.0) / 2, atol=ROUNDING_KN)
    np.testing.assert_allclose(
        weather.at(START_H, 5.0, [30.0, 100.0, 359.0]).wind_east_kn, [75.0, 40.0, 89.5], atol=1e-8
    )
    assert np.isnan(weather.at(START_H, 10.5, 0.0).wind_east_kn)


def test_stations_are_exact_where_they_stand_and_end_at_their_reach():
    grid = Stations(np.array([57.0, 57.5, 57.2]), np.array([11.0, 11.0, 11.6]))
    weather = forecast(grid, [5.0, 10.0, 20.0])
    at = weather.at(START_H, [57.0, 57.5, 57.2], [11.0, 11.0, 371.6]).wind_east_kn
    np.testing.assert_allclose(at, [5.0, 10.0, 20.0], atol=1e-4)
    # Half-way between two on one meridian they count alike (a third far off counts little).
    pair = forecast(Stations(np.array([57.0, 58.0]), np.array([11.0, 11.0])), [5.0, 10.0])
    assert pair.at(START_H, 57.5, 11.0).wind_east_kn == pytest.approx(7.5)
    assert np.isfinite(pair.at(START_H, 56.01, 11.0).wind_east_kn)
    assert np.isnan(pair.at(START_H, 55.99, 11.0).wind_east_kn)
    assert pair.coverage.lat_south == pytest.approx(56.0)


def test_station_weights_fall_with_the_square_of_the_distance():
    lat, lon = np.array([57.0, 57.4, 56.8]), np.array([11.0, 11.7, 11.3])
    grid = Stations(lat, lon)
    _, weight = grid.corners(np.array([57.1]), np.array([11.2]))
    # Distances on the ellipsoid, by pyproj: within 0.5 % of the navigator's sphere.
    distance = Geod(ellps="WGS84").inv(lon, lat, np.full(3, 11.2), np.full(3, 57.1))[2]
    expected = distance**-2.0 / np.sum(distance**-2.0)
    np.testing.assert_allclose(weight[:, 0], expected, rtol=0.01)


def test_columns_of_several_layers_meet():
    grid, ones = Everywhere(), np.ones((2, 1))
    layers = (
        layer_of({"wind_east_kn": ones, "wind_north_kn": ones}, grid, [0.0, 6.0]),
        layer_of({"gust_kn": np.array([[20.0]])}, grid, [3.0]),
        layer_of({"stream_east_kn": ones, "stream_north_kn": ones}, grid, [2.0, 4.0]),
    )
    weather = GridWeather(layers)
    got = weather.at([1.0, 3.0, 5.0], 0.0, 0.0)
    assert got.wind_east_kn.tolist() == [1.0, 1.0, 1.0]
    np.testing.assert_array_equal(got.gust_kn, [np.nan, 20.0, np.nan])
    np.testing.assert_array_equal(got.stream_east_kn, [np.nan, 1.0, np.nan])
    assert weather.coverage.start == datetime_from_hours(2.0)
    assert weather.coverage.end == datetime_from_hours(4.0)
    assert not weather.varies_in_place
    assert weather.varies_in_time


def test_members_are_asked_for_by_number():
    one, other = forecast(Everywhere(), [[1.0]] * 2), forecast(Everywhere(), [[2.0]] * 2)
    ensemble = Ensemble((one, other))
    assert ensemble.members == 2
    assert ensemble.member(1).at(START_H, 0, 0).wind_east_kn == 2.0
    assert ensemble.at(START_H, 0, 0).wind_east_kn == 1.0
    assert one.member(0) is one
    for bad in (-1, 2):
        with pytest.raises(InputError, match="no member"):
            ensemble.member(bad)


@pytest.mark.parametrize(
    ("times", "values", "said"),
    [
        ([3.0, 3.0], np.ones((2, 1)), "times must increase"),
        ([3.0, 2.0], np.ones((2, 1)), "times must increase"),
        ([2.0, 3.0], np.full((2, 1), np.nan), "missing"),
        ([2.0, 3.0], np.full((2, 1), 700.0), "is its unit right"),
        ([], np.ones((0, 1)), "at least one time"),
    ],
)
def test_fields_that_cannot_be_are_refused(times, values, said):
    columns = {"wind_east_kn": values, "wind_north_kn": values}
    with pytest.raises(InputError, match=said):
        layer_of(columns, Everywhere(), np.array(times))


def test_coordinates_must_ascend():
    with pytest.raises(InputError, match="number 3"):
        LatLonGrid(np.array([1.0, 2.0, 1.5]), np.array([0.0, 1.0]))
    with pytest.raises(InputError, match="more than one turn"):
        LatLonGrid(np.array([1.0, 2.0]), np.arange(0.0, 500.0, 10.0))
    with pytest.raises(InputError):
        Axis(np.array([0.0, np.nan]))


def test_the_box_around_positions_may_cross_the_date_line():
    box = enclosing_box(np.array([1.0, 2.0, 3.0]), np.array([179.0, -179.0, 175.0]))
    assert (box.lon_west, box.lon_east) == (175.0, 181.0)
    assert enclosing_box(np.array([60.0] * 72), np.arange(-180.0, 180.0, 5.0)).lon_west is None
