"""GRIB, against ecCodes' own values and positions, PROJ, and a real forecast.

The files are made here from ecCodes' built-in samples; the real one stands in
tests/data with its source and licence beside it.
"""

import subprocess
import sys
from datetime import UTC, datetime
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from pyproj import Proj

import eccodes  # isort: skip - after pyproj: see goosewing.weather._eccodes

from goosewing.errors import InputError
from goosewing.units import METRES_PER_SECOND_PER_KNOT
from goosewing.weather.base import hours_from_datetime
from goosewing.weather.grib import arrange, read_grib
from goosewing.weather.steady import SteadyWeather

REAL = Path(__file__).parents[1] / "data" / "nam_20180917t00_10m_wind.grib2"
PACKING_KN = 2e-4
"""24 bits over 60 m/s, and what single precision holds."""

START_H = hours_from_datetime(datetime(2027, 6, 1, 6, tzinfo=UTC))
WIND_10M = {"typeOfFirstFixedSurface": 103, "scaleFactorOfFirstFixedSurface": 0,
            "scaledValueOfFirstFixedSurface": 10}  # fmt: skip
U10 = {"discipline": 0, "parameterCategory": 2, "parameterNumber": 2, **WIND_10M}
V10 = U10 | {"parameterNumber": 3}
GUST = U10 | {"parameterNumber": 22, "typeOfFirstFixedSurface": 1,
              "scaledValueOfFirstFixedSurface": 0}  # fmt: skip
U_SEA = {"discipline": 10, "parameterCategory": 1, "parameterNumber": 2,
         "typeOfFirstFixedSurface": 1}  # fmt: skip
V_SEA = U_SEA | {"parameterNumber": 3}

REGULAR = {
    "Ni": 5,
    "Nj": 4,
    "latitudeOfFirstGridPointInDegrees": 58.5,
    "latitudeOfLastGridPointInDegrees": 57.0,
    "longitudeOfFirstGridPointInDegrees": 10.0,
    "longitudeOfLastGridPointInDegrees": 12.0,
    "iDirectionIncrementInDegrees": 0.5,
    "jDirectionIncrementInDegrees": 0.5,
}
LAMBERT = {
    "gridType": "lambert",
    "Nx": 6,
    "Ny": 5,
    "latitudeOfFirstGridPointInDegrees": 54.0,
    "longitudeOfFirstGridPointInDegrees": 8.0,
    "LaDInDegrees": 57.0,
    "LoVInDegrees": 11.0,
    "Latin1InDegrees": 52.0,
    "Latin2InDegrees": 62.0,
    "DxInMetres": 50_000.0,
    "DyInMetres": 40_000.0,
    "jScansPositively": 1,
}
POLAR = {
    "gridType": "polar_stereographic",
    "Nx": 6,
    "Ny": 5,
    "latitudeOfFirstGridPointInDegrees": 55.0,
    "longitudeOfFirstGridPointInDegrees": 175.0,
    "LaDInDegrees": 60.0,
    "orientationOfTheGridInDegrees": 200.0,
    "DxInMetres": 100_000.0,
    "DyInMetres": 100_000.0,
    "jScansPositively": 1,
}
MERCATOR = {
    "gridType": "mercator",
    "Ni": 6,
    "Nj": 5,
    "latitudeOfFirstGridPointInDegrees": 10.0,
    "longitudeOfFirstGridPointInDegrees": 300.0,
    "latitudeOfLastGridPointInDegrees": 13.5,
    "longitudeOfLastGridPointInDegrees": 304.5,
    "LaDInDegrees": 20.0,
    "DiInMetres": 100_000.0,
    "DjInMetres": 100_000.0,
    "jScansPositively": 1,
}
ROTATED = REGULAR | {
    "gridType": "rotated_ll",
    "latitudeOfFirstGridPointInDegrees": 0.0,
    "latitudeOfLastGridPointInDegrees": -1.5,
    "longitudeOfFirstGridPointInDegrees": 359.0,
    "longitudeOfLastGridPointInDegrees": 1.0,
    "latitudeOfSouthernPoleInDegrees": -32.0,
    "longitudeOfSouthernPoleInDegrees": 15.0,
    "jScansPositively": 0,
}


def field(keys, values, *, step=0, run=(20270601, 600), sample="GRIB2", more=None):
    """One message as bytes; `values` as ecCodes wants them, in the message's own order."""
    handle = eccodes.codes_grib_new_from_samples(sample)
    try:
        for key, value in ({"dataDate": run[0], "dataTime": run[1]} | keys).items():
            eccodes.codes_set(handle, key, value)
        for key, value in {"bitsPerValue": 24, "endStep": step, **(more or {})}.items():
            eccodes.codes_set(handle, key, value)
        eccodes.codes_set_values(handle, np.asarray(values, dtype=np.float64))
        return eccodes.codes_get_message(handle)
    finally:
        eccodes.codes_release(handle)


def noise(size, seed=0):
    return np.random.default_rng(seed).uniform(-15.0, 15.0, size)


def points_of(message):
    """Latitude, longitude and value of every point, by ecCodes' own iterator."""
    handle = eccodes.codes_new_from_message(message)
    try:
        rows = eccodes.codes_grib_get_data(handle)
        return np.array([(row["lat"], row["lon"], row["value"]) for row in rows]).T
    finally:
        eccodes.codes_release(handle)


def written(folder, *messages):
    file = folder / "forecast.bin"
    file.write_bytes(b"".join(messages))
    return file


def assert_at_points(weather, east, north, time_h=START_H):
    lat, lon, u = points_of(east)
    _, _, v = points_of(north)
    got = weather.at(time_h, lat, lon)
    np.testing.assert_allclose(got.wind_east_kn * METRES_PER_SECOND_PER_KNOT, u, atol=PACKING_KN)
    np.testing.assert_allclose(got.wind_north_kn * METRES_PER_SECOND_PER_KNOT, v, atol=PACKING_KN)


@pytest.mark.parametrize(
    "grid",
    [REGULAR, LAMBERT, POLAR, MERCATOR, ROTATED, {"gridType": "regular_gg"}],
    ids=["regular", "Lambert", "polar stereographic", "Mercator", "rotated", "Gaussian"],
)
def test_at_the_grid_points_stand_eccodes_own_values(grid, tmp_path):
    sample = "regular_gg_sfc_grib2" if grid == {"gridType": "regular_gg"} else "GRIB2"
    handle = eccodes.codes_grib_new_from_samples(sample)
    for key, value in grid.items():
        eccodes.codes_set(handle, key, value)
    size = int(eccodes.codes_get(handle, "numberOfDataPoints"))
    eccodes.codes_release(handle)
    size = int(grid.get("Nx", grid.get("Ni", 0))) * int(grid.get("Ny", grid.get("Nj", 0))) or size
    messages = [
        field(grid | keys, noise(size, seed), sample=sample) for seed, keys in enumerate((U10, V10))
    ]
    assert_at_points(read_grib(written(tmp_path, *messages)), *messages)


@pytest.mark.parametrize("grid", [REGULAR, ROTATED], ids=["regular", "rotated"])
@pytest.mark.parametrize(("i", "j", "columns"), list(product((0, 1), repeat=3)))
def test_any_scanning_order_gives_eccodes_own_values(grid, i, j, columns, tmp_path):
    grid = dict(grid)
    if "Ni" in grid:
        for key, backwards in (("longitude", i), ("latitude", j)):
            first, last = (f"{key}Of{end}GridPointInDegrees" for end in ("First", "Last"))
            if backwards:
                grid[first], grid[last] = grid[last], grid[first]
    scanning = {"iScansNegatively": i, "jScansPositively": j, "jPointsAreConsecutive": columns}
    size = int(grid.get("Nx", grid.get("Ni", 0))) * int(grid.get("Ny", grid.get("Nj", 0)))
    messages = [
        field(grid | scanning | keys, noise(size, seed)) for seed, keys in enumerate((U10, V10))
    ]
    assert_at_points(read_grib(written(tmp_path, *messages)), *messages)


@pytest.mark.parametrize("grid", [LAMBERT, POLAR], ids=["Lambert", "polar stereographic"])
@pytest.mark.parametrize(("i", "j", "columns"), list(product((0, 1), repeat=3)))
def test_any_scanning_order_of_a_projected_grid_is_walked(grid, i, j, columns, tmp_path):
    # ecCodes 2.50 gives the positions of these grids as if rows always ran east and north; the
    # outside truth is flag table 3.4 of the WMO manual, walked by hand in PROJ's plane.
    scanning = {"iScansNegatively": i, "jScansPositively": j, "jPointsAreConsecutive": columns}
    width, height = grid["Nx"], grid["Ny"]
    values = noise(width * height)
    messages = [field(grid | scanning | keys, values) for keys in (U10, V10)]
    handle = eccodes.codes_new_from_message(messages[0])
    projection = Proj(eccodes.codes_get(handle, "projString"))
    eccodes.codes_release(handle)
    x_0, y_0 = projection(
        grid["longitudeOfFirstGridPointInDegrees"], grid["latitudeOfFirstGridPointInDegrees"]
    )
    right = (-1 if i else 1) * grid["DxInMetres"] * np.arange(width)
    up = (1 if j else -1) * grid["DyInMetres"] * np.arange(height)
    x, y = np.meshgrid(x_0 + right, y_0 + up, indexing="ij" if columns else "xy")
    lon, lat = projection(x.ravel(), y.ravel(), inverse=True)
    got = read_grib(written(tmp_path, *messages)).at(START_H, lat, lon)
    scale = METRES_PER_SECOND_PER_KNOT
    np.testing.assert_allclose(got.wind_east_kn * scale, values, atol=PACKING_KN)


@pytest.mark.parametrize("mode", list(product((False, True), repeat=4)))
def test_scanning_modes_are_undone_point_by_point(mode):
    # ecCodes 2.50 gives the positions of alternating rows as if they did not alternate, so the
    # outside truth here is flag table 3.4 of the WMO manual, walked by hand.
    from_east, from_south, columns_first, alternating = mode
    width, height = 4, 3
    xs = list(range(width))[:: -1 if from_east else 1]
    ys = list(range(height))[:: 1 if from_south else -1]
    walk = []
    for line, slow in enumerate(xs if columns_first else ys):
        fast = list(ys if columns_first else xs)
        if alternating and line % 2 == 1:
            fast.reverse()
        walk += [(y, slow) if columns_first else (slow, y) for y in fast]
    place = arrange(
        width,
        height,
        from_east=from_east,
        from_south=from_south,
        columns_first=columns_first,
        alternating=alternating,
    )
    assert [walk[number] for number in place] == list(product(range(height), range(width)))


def test_alternating_rows_of_a_file_are_undone(tmp_path):
    raw = noise(20).reshape(4, 5)
    plain = [field(REGULAR | keys, raw + number) for number, keys in enumerate((U10, V10))]
    raw[1::2] = raw[1::2, ::-1].copy()
    snake = [
        field(REGULAR | keys | {"alternativeRowScanning": 1}, raw + number)
        for number, keys in enumerate((U10, V10))
    ]
    assert_at_points(read_grib(written(tmp_path, *snake)), *plain)


@pytest.mark.parametrize("grid", [LAMBERT, POLAR], ids=["Lambert", "polar stereographic"])
def test_winds_relative_to_the_grid_are_turned_to_true_north(grid, tmp_path):
    size = grid["Nx"] * grid["Ny"]
    u, v = noise(size, 1), noise(size, 2)
    relative = {"resolutionAndComponentFlags": 8}
    messages = [field(grid | U10, u, more=relative), field(grid | V10, v, more=relative)]
    lat, lon, _ = points_of(messages[0])
    got = read_grib(written(tmp_path, *messages)).at(START_H, lat, lon)
    handle = eccodes.codes_new_from_message(messages[0])
    projection = Proj(eccodes.codes_get(handle, "projString"))
    eccodes.codes_release(handle)
    # Finite differences along the meridian give north in the projection's plane.
    x_1, y_1 = projection(lon, lat)
    x_2, y_2 = projection(lon, lat + 1e-4)
    north = np.arctan2(x_2 - x_1, y_2 - y_1)
    expected_east = u * np.cos(north) - v * np.sin(north)
    expected_north = u * np.sin(north) + v * np.cos(north)
    scale = METRES_PER_SECOND_PER_KNOT
    np.testing.assert_allclose(got.wind_east_kn * scale, expected_east, atol=2e-4)
    np.testing.assert_allclose(got.wind_north_kn * scale, expected_north, atol=2e-4)


def test_winds_of_a_rotated_grid_are_turned_by_the_spherical_triangle(tmp_path):
    u, v = noise(20, 1), noise(20, 2)
    relative = {"uvRelativeToGrid": 1}
    messages = [field(ROTATED | U10, u, more=relative), field(ROTATED | V10, v, more=relative)]
    lat, lon, _ = points_of(messages[0])
    got = read_grib(written(tmp_path, *messages)).at(START_H, lat, lon)
    # The grid's north lies on the great circle to its own north pole: 32° N of the south pole's
    # antipode, 180° on.
    pole_lat, pole_lon = np.radians(32.0), np.radians(195.0)
    phi, lam = np.radians(lat), np.radians(lon)
    bearing = np.arctan2(
        np.sin(pole_lon - lam) * np.cos(pole_lat),
        np.cos(phi) * np.sin(pole_lat) - np.sin(phi) * np.cos(pole_lat) * np.cos(pole_lon - lam),
    )
    expected_east = u * np.cos(bearing) + v * np.sin(bearing)
    expected_north = v * np.cos(bearing) - u * np.sin(bearing)
    scale = METRES_PER_SECOND_PER_KNOT
    np.testing.assert_allclose(got.wind_east_kn * scale, expected_east, atol=2e-4)
    np.testing.assert_allclose(got.wind_north_kn * scale, expected_north, atol=2e-4)


def test_a_real_forecast_with_both_components_in_one_message():
    weather = read_grib(REAL)
    assert weather.coverage.start == weather.coverage.end == datetime(2018, 9, 17, tzinfo=UTC)
    handles = list(_fields(REAL))
    fields = {name: np.array([values]).ravel() for name, *_, values in handles}
    lat, lon = handles[0][1], handles[0][2]
    got = weather.at(weather.times_h[0], lat, lon)
    scale = METRES_PER_SECOND_PER_KNOT
    np.testing.assert_allclose(got.gust_kn * scale, fields["gust"], atol=1e-4)
    # On a tangent Lambert cone the axes turn by sin 25° times the longitude from 265° E
    # (closed form; the grid's own two numbers, as ecCodes prints them).
    turn = np.radians(np.sin(np.radians(25.0)) * ((lon - 265.0 + 180.0) % 360.0 - 180.0))
    u, v = fields["10u"], fields["10v"]
    np.testing.assert_allclose(
        got.wind_east_kn * scale, u * np.cos(turn) + v * np.sin(turn), atol=5e-4
    )
    np.testing.assert_allclose(
        got.wind_north_kn * scale, v * np.cos(turn) - u * np.sin(turn), atol=5e-4
    )
    # Hurricane Florence's remains: the strongest gust of the field is a gale at most.
    assert 20.0 < np.nanmax(got.gust_kn) < 80.0


def _fields(path):
    eccodes.codes_grib_multi_support_on()
    try:
        with path.open("rb") as file:
            while (handle := eccodes.codes_grib_new_from_file(file)) is not None:
                parts = (
                    eccodes.codes_get_array(handle, key) for key in ("latitudes", "longitudes")
                )
                yield (
                    eccodes.codes_get(handle, "shortName"),
                    *parts,
                    eccodes.codes_get_values(handle),
                )
                eccodes.codes_release(handle)
    finally:
        eccodes.codes_grib_multi_support_off()


def test_a_reduced_gaussian_grid_gives_eccodes_own_values(tmp_path):
    size = 6114
    messages = [
        field(keys, noise(size, seed), sample="reduced_gg_sfc_grib2")
        for seed, keys in enumerate((U10, V10))
    ]
    assert_at_points(read_grib(written(tmp_path, *messages)), *messages)


def test_edition_1_with_wind_and_current(tmp_path):
    wind = {"table2Version": 2, "indicatorOfTypeOfLevel": 105, "level": 10, "centre": 7}
    sea = {"table2Version": 2, "indicatorOfTypeOfLevel": 1, "level": 0, "centre": 7}
    numbers = ((33, wind, 10.0), (34, wind, -3.0), (49, sea, 0.5), (50, sea, -1.0))
    messages = [
        field(REGULAR | more | {"indicatorOfParameter": number}, np.full(20, value), sample="GRIB1")
        for number, more, value in numbers
    ]
    weather = read_grib(written(tmp_path, *messages))
    got = np.array(weather.at(START_H, 57.3, 11.1)) * METRES_PER_SECOND_PER_KNOT
    np.testing.assert_allclose(got[[0, 1, 3, 4]], [10.0, -3.0, 0.5, -1.0], atol=1e-5)


def steady_file(folder, *, bits=24):
    """Wind 240° 12 kn, gust 17 kn, stream 090° 1.5 kn, at three steps."""
    steady = SteadyWeather(240.0, 12.0, 90.0, 1.5, 17.0)
    parts = np.array(steady.at(START_H, 57.0, 11.0)) * METRES_PER_SECOND_PER_KNOT
    messages = [
        field(REGULAR | keys, np.full(20, part), step=step, more={"bitsPerValue": bits})
        for step in (0, 3, 6)
        for keys, part in zip((U10, V10, GUST, U_SEA, V_SEA), parts, strict=True)
    ]
    return steady, written(folder, *messages)


def test_a_steady_field_is_the_steady_source_to_a_thousandth(tmp_path):
    steady, file = steady_file(tmp_path, bits=12)
    rng = np.random.default_rng(3)
    states = (
        START_H + rng.uniform(0, 6, 500),
        rng.uniform(57, 58.5, 500),
        rng.uniform(10, 12, 500),
    )
    got, expected = read_grib(file).at(*states), steady.at(*states)
    for one, other in zip(got, expected, strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-3, atol=1e-6)


def test_components_in_one_message_are_both_read(tmp_path):
    messages = [field(REGULAR | keys, noise(20, seed)) for seed, keys in enumerate((U10, V10))]
    multi = eccodes.codes_grib_multi_new()
    for message in messages:
        handle = eccodes.codes_new_from_message(message)
        # From section 4 on: the second field shares the first one's grid.
        eccodes.codes_grib_multi_append(handle, 4, multi)
        eccodes.codes_release(handle)
    file = tmp_path / "multi.grib2"
    with file.open("wb") as out:
        eccodes.codes_grib_multi_write(multi, out)
    eccodes.codes_grib_multi_release(multi)
    assert file.read_bytes().count(b"GRIB") == 1
    assert_at_points(read_grib(file), *messages)


def test_between_steps_the_components_are_linear_and_beyond_there_is_nothing(tmp_path):
    messages = [
        field(REGULAR | keys, np.full(20, value), step=step)
        for step, value in ((0, 4.0), (6, 10.0))
        for keys in (U10, V10)
    ]
    weather = read_grib(written(tmp_path, *messages))
    got = weather.at(START_H + np.array([-0.1, 0.0, 2.0, 6.0, 6.1]), 57.2, 11.3).wind_east_kn
    expected = np.array([np.nan, 4.0, 6.0, 10.0, np.nan]) / METRES_PER_SECOND_PER_KNOT
    np.testing.assert_allclose(got, expected, atol=PACKING_KN)


def test_the_latest_run_wins_at_each_time(tmp_path):
    old, new = (20270601, 0), (20270601, 600)
    parts = [(new, 0, 5.0), (new, 6, 6.0), (old, 6, 1.0), (old, 12, 1.0), (old, 18, 2.0)]
    messages = [
        field(REGULAR | keys, np.full(20, value), run=run, step=step)
        for run, step, value in parts
        for keys in (U10, V10)
    ]
    weather = read_grib(written(tmp_path, *messages))
    got = weather.at(START_H + np.array([0.0, 6.0, 12.0]), 57.2, 11.3).wind_east_kn
    expected = np.array([5.0, 6.0, 2.0]) / METRES_PER_SECOND_PER_KNOT
    np.testing.assert_allclose(got, expected, atol=PACKING_KN)


def test_members_are_kept_and_the_control_speaks(tmp_path):
    messages = [
        field(
            REGULAR | {"productDefinitionTemplateNumber": 1} | keys,
            np.full(20, float(member)),
            more={"perturbationNumber": member, "numberOfForecastsInEnsemble": 3},
        )
        for member in (2, 0, 1)
        for keys in (U10, V10)
    ]
    weather = read_grib(written(tmp_path, *messages))
    assert weather.members == 3
    assert weather.at(START_H, 57.0, 11.0).wind_east_kn == pytest.approx(0.0, abs=PACKING_KN)
    for member in range(3):
        got = weather.member(member).at(START_H, 57.0, 11.0).wind_east_kn
        assert got == pytest.approx(member / METRES_PER_SECOND_PER_KNOT, abs=PACKING_KN)


def test_missing_points_are_missing_and_their_neighbours_are_not(tmp_path):
    values = noise(20)
    values[7] = 9999.0
    messages = [
        field(REGULAR | keys | {"bitmapPresent": 1, "missingValue": 9999.0}, values)
        for keys in (U10, V10)
    ]
    weather = read_grib(written(tmp_path, *messages))
    lat, lon, known = points_of(messages[0])
    got = weather.at(START_H, lat, lon).wind_east_kn * METRES_PER_SECOND_PER_KNOT
    assert np.isnan(got).tolist() == [number == 7 for number in range(20)]
    keep = np.arange(20) != 7
    np.testing.assert_allclose(got[keep], known[keep], atol=PACKING_KN)
    assert np.isnan(weather.at(START_H, lat[7] + 0.1, lon[7]).wind_east_kn)


def test_other_levels_and_products_are_passed_over(tmp_path):
    high = {"scaledValueOfFirstFixedSurface": 100}
    spread = {"productDefinitionTemplateNumber": 2}
    messages = [field(REGULAR | keys, np.full(20, 5.0)) for keys in (U10, V10)]
    # Last, so that reading them would put them in the forecast's place.
    messages += [field(REGULAR | keys | high, np.full(20, 40.0)) for keys in (U10, V10)]
    messages += [
        field(REGULAR | spread | keys, np.full(20, 33.0), more={"derivedForecast": 4})
        for keys in (U10, V10)
    ]
    got = read_grib(written(tmp_path, *messages)).at(START_H, 57.0, 11.0)
    assert got.wind_east_kn * METRES_PER_SECOND_PER_KNOT == pytest.approx(5.0, abs=1e-5)


def refused(file):
    with pytest.raises(InputError) as caught:
        read_grib(file)
    assert "\n" not in str(caught.value)
    assert f"{file.name}: " in str(caught.value)
    return str(caught.value)


def test_what_cannot_be_used_is_refused_with_one_line(tmp_path, capfd):
    u, v = (field(REGULAR | keys, noise(20)) for keys in (U10, V10))
    temperature = field(REGULAR | {"parameterCategory": 0, "parameterNumber": 0}, noise(20))
    later = field(REGULAR | V10, noise(20), step=3)
    fine = field(REGULAR | V10 | {"Ni": 9, "iDirectionIncrementInDegrees": 0.25}, noise(36))
    storm = field(REGULAR | V10, np.full(20, 900.0))
    nothing = [
        field(REGULAR | keys | {"bitmapPresent": 1, "missingValue": 9999.0}, np.full(20, 9999.0))
        for keys in (U10, V10)
    ]
    said = {
        "cut short at field 2": (u, v[:-20]),
        "cut short at field 1": (u[:40],),
        "neither wind at 10 m nor a surface current": (temperature,),
        "only the eastward component of the wind": (u,),
        "only the northward component of the wind": (v,),
        "only the eastward component of the wind at 10 m at 2027-06-01T06:00Z": (u, later),
        "only the northward": (u, v, fine),
        "is its unit right": (u, storm),
        "every value of wind_east_kn is missing": nothing,
        "is empty": (b"",),
    }
    for expected, messages in said.items():
        line = refused(written(tmp_path, *messages))
        if expected != "only the northward":
            assert expected in line
        assert "different grids" in line or expected != "only the northward"
    refused(tmp_path / "missing.grib")
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("length", [8, 17, 60, 130, 180, 200])
def test_a_file_cut_anywhere_is_refused(length, tmp_path):
    u = field(REGULAR | U10, noise(20))
    refused(written(tmp_path, u, u[:length]))


def test_pyproj_keeps_its_own_library_beside_eccodes():
    # The wheels of both bring PROJ; loaded in the wrong order pyproj loses its database and the
    # interpreter crashes at its end.
    code = (
        "from goosewing.weather.grib import read_grib;"
        f"read_grib({str(REAL)!r});"
        "import pyproj;"
        "print(pyproj.CRS(4326).to_epsg(), pyproj.Geod(ellps='WGS84').inv(0, 0, 1, 0)[2])"
    )
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    # A degree of the equator on WGS 84: 6378137 m times pi / 180.
    assert done.stdout.split()[0] == "4326"
    assert float(done.stdout.split()[1]) == pytest.approx(111_319.490793, abs=1e-5)


def test_nothing_is_written_beside_the_file(tmp_path):
    _, file = steady_file(tmp_path)
    before = sorted(tmp_path.iterdir())
    read_grib(file)
    assert sorted(tmp_path.iterdir()) == before
