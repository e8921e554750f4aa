"""CF NetCDF, against xarray's own interpolation."""

import subprocess
import sys
from datetime import UTC, datetime

import numpy as np
import pytest
import xarray as xr

from goosewing.errors import InputError
from goosewing.units import METRES_PER_SECOND_PER_KNOT
from goosewing.weather.base import hours_from_datetime
from goosewing.weather.netcdf import from_dataset, read_netcdf

START_H = hours_from_datetime(datetime(2027, 6, 1, 6, tzinfo=UTC))
TIMES = np.datetime64("2027-06-01T06:00", "ns") + np.arange(3) * np.timedelta64(3, "h")
LATS, LONS = np.arange(55.0, 59.0, 0.5), np.arange(9.0, 13.0, 0.25)
PLACE = {
    "lat": ("lat", LATS, {"standard_name": "latitude", "units": "degrees_north"}),
    "lon": ("lon", LONS, {"standard_name": "longitude", "units": "degrees_east"}),
}


def noise(seed=0, shape=(3, 8, 16), largest=15.0):
    return np.random.default_rng(seed).uniform(-largest, largest, shape)


def variable(standard_name, values, *, units="m s-1", dims=("time", "lat", "lon")):
    return (dims, values, {"standard_name": standard_name, "units": units})


def dataset(*, units="m s-1", coords=None, **more):
    return xr.Dataset(
        {
            "u10": variable("eastward_wind", noise(1), units=units),
            "v10": variable("northward_wind", noise(2), units=units),
            **more,
        },
        coords={"time": ("time", TIMES), **PLACE, **(coords or {})},
    )


def states(size=500):
    rng = np.random.default_rng(5)
    return rng.uniform(0, 6, size), rng.uniform(55, 58.5, size), rng.uniform(9, 12.75, size)


def interpolated(array, hours, lat, lon):
    """xarray's own linear interpolation at scattered states."""
    moments = TIMES[0] + (hours * 3.6e12).astype("timedelta64[ns]")
    names = dict(zip(("time", "lat", "lon"), (moments, lat, lon), strict=True))
    return array.interp({name: ("state", value) for name, value in names.items()}).values


@pytest.mark.parametrize(
    "reorder",
    [
        lambda ds: ds,
        lambda ds: ds.isel(lat=slice(None, None, -1)),
        lambda ds: ds.isel(lon=slice(None, None, -1)),
        lambda ds: ds.transpose("lon", "time", "lat"),
        lambda ds: ds.assign_coords(lon=(ds.lon + 360.0).assign_attrs(ds.lon.attrs)),
        lambda ds: ds.rename(lat="rows", lon="columns", time="when"),
    ],
    ids=["as it is", "southwards", "westwards", "transposed", "another winding", "other names"],
)
def test_agrees_with_xarray(reorder):
    plain = dataset(gust=variable("wind_speed_of_gust", np.abs(noise(3))))
    hours, lat, lon = states()
    got = from_dataset(reorder(plain)).at(START_H + hours, lat, lon)
    for name, part in (
        ("u10", got.wind_east_kn),
        ("v10", got.wind_north_kn),
        ("gust", got.gust_kn),
    ):
        truth = interpolated(plain[name], hours, lat, lon)
        np.testing.assert_allclose(part * METRES_PER_SECOND_PER_KNOT, truth, atol=1e-6)


@pytest.mark.parametrize("kind", ["NETCDF4", "NETCDF3_64BIT"])
def test_a_file_is_read_as_the_dataset_is(kind, tmp_path):
    file = tmp_path / "wind.dat"
    engine = "h5netcdf" if kind == "NETCDF4" else "scipy"
    packed = {"dtype": "int16", "scale_factor": 0.001, "_FillValue": -32767}
    plain = dataset()
    plain["u10"][1, 2, 3] = np.nan
    plain.to_netcdf(
        file,
        engine=engine,
        format=None if kind == "NETCDF4" else kind,
        encoding={"u10": packed, "time": {"units": "minutes since 2020-01-01"}},
    )
    hours, lat, lon = states()
    got, truth = (
        source.at(START_H + hours, lat, lon) for source in (read_netcdf(file), from_dataset(plain))
    )
    np.testing.assert_allclose(got.wind_east_kn, truth.wind_east_kn, atol=2e-3)
    np.testing.assert_allclose(got.wind_north_kn, truth.wind_north_kn, atol=1e-6)
    assert np.isnan(got.wind_east_kn).any()


# One of each in knots: exact by the definitions of the nautical mile and the knot.
@pytest.mark.parametrize(
    ("units", "knots"),
    [("m s-1", 3600 / 1852), ("knots", 1.0), ("km h-1", 1000 / 1852), ("cm s-1", 36 / 1852)],
)
def test_units_are_turned_to_knots(units, knots):
    got = from_dataset(dataset(units=units)).at(START_H, 55.0, 9.0)
    assert got.wind_east_kn == pytest.approx(noise(1)[0, 0, 0] * knots)


def test_direction_and_speed_become_components_before_interpolation():
    shape = (3, 8, 16)
    angle = np.broadcast_to(np.array([350.0, 10.0, 10.0])[:, None, None], shape)
    ds = dataset(
        wd=variable("wind_from_direction", angle, units="degree"),
        ws=variable("wind_speed", np.full(shape, 10.0), units="knots"),
    ).drop_vars(["u10", "v10"])
    got = from_dataset(ds).at(START_H + 1.5, 56.0, 10.0)
    assert got.wind_east_kn == pytest.approx(0.0, abs=1e-6)
    assert got.wind_north_kn == pytest.approx(-10.0 * np.cos(np.radians(10.0)))


def test_a_current_is_taken_from_the_shallowest_depth():
    dims = ("time", "depth", "lat", "lon")
    u, v = noise(7, (3, 2, 8, 16), 1.0), noise(8, (3, 2, 8, 16), 1.0)
    ds = xr.Dataset(
        {
            "uo": variable("eastward_sea_water_velocity", u, dims=dims),
            "vo": variable("northward_sea_water_velocity", v, dims=dims),
        },
        coords={
            "time": ("time", TIMES),
            "depth": ("depth", [5.0, 0.5], {"standard_name": "depth", "units": "m"}),
            **PLACE,
        },
    )
    got = from_dataset(ds).at(START_H, 55.0, 9.0)
    assert got.stream_east_kn * METRES_PER_SECOND_PER_KNOT == pytest.approx(u[0, 1, 0, 0])
    assert np.isnan(got.wind_east_kn)


def test_of_several_heights_the_10_m_one_counts():
    dims = ("time", "height", "lat", "lon")
    u = noise(7, (3, 3, 8, 16))
    levels = {"height": ("height", [100.0, 10.0, 2.0], {"standard_name": "height", "units": "m"})}
    ds = dataset(coords=levels).drop_vars(["u10", "v10"])
    ds["u"] = variable("eastward_wind", u, dims=dims)
    ds["v"] = variable("northward_wind", u, dims=dims)
    got = from_dataset(ds).at(START_H, 55.0, 9.0)
    assert got.wind_east_kn * METRES_PER_SECOND_PER_KNOT == pytest.approx(u[0, 1, 0, 0])
    with pytest.raises(InputError, match="no level at 10 m"):
        from_dataset(ds.isel(height=[0]))


def test_members_are_kept():
    dims = ("number", "time", "lat", "lon")
    u = noise(9, (4, 3, 8, 16))
    ds = dataset().drop_vars(["u10", "v10"])
    ds["u"] = variable("eastward_wind", u, dims=dims)
    ds["v"] = variable("northward_wind", u, dims=dims)
    weather = from_dataset(ds)
    assert weather.members == 4
    for member in range(4):
        got = weather.member(member).at(START_H, 55.0, 9.0).wind_east_kn
        assert got * METRES_PER_SECOND_PER_KNOT == pytest.approx(u[member, 0, 0, 0])


def test_a_run_time_beside_the_valid_times_is_no_matter():
    reference = {"standard_name": "forecast_reference_time"}
    ds = dataset().rename(time="step").rename_vars(step="valid_time")
    ds = ds.assign_coords(time=((), TIMES[0] - np.timedelta64(6, "h"), reference))
    ds["valid_time"].attrs["standard_name"] = "time"
    assert from_dataset(ds).coverage.start == datetime(2027, 6, 1, 6, tzinfo=UTC)


def broken(ds, change):
    ds = ds.copy(deep=True)
    result = change(ds)
    return ds if result is None else result


def unitless(ds):
    del ds["u10"].attrs["units"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda ds: ds.drop_vars("v10"), "only eastward_wind, expected northward_wind"),
        (lambda ds: ds.drop_vars(["u10", "v10"]), "neither a wind nor a current"),
        (lambda ds: ds["u10"].attrs.update(units="furlong fortnight-1"), "furlong"),
        (unitless, "no unit"),
        (lambda ds: ds.isel(time=[1, 0, 2]), "times must increase"),
        (lambda ds: ds.isel(time=[0, 0, 1]), "times must increase"),
        (lambda ds: ds.isel(lat=[0, 2, 1]), "must ascend"),
        (lambda ds: ds.assign(u10=ds["u10"].copy(data=np.full((3, 8, 16), np.nan))), "missing"),
        (lambda ds: ds.assign(u10=ds["u10"].copy(data=np.full((3, 8, 16), 900.0))), "its unit"),
        (lambda ds: ds.drop_vars("lon"), "no coordinate longitude"),
        (lambda ds: ds.drop_vars("time"), "no time"),
        (lambda ds: ds.assign(w=ds["u10"]), "several variables"),
        (lambda ds: ds.expand_dims(soil=2), "dimension 'soil'"),
    ],
)
def test_faults_are_one_line(change, said):
    with pytest.raises(InputError, match=said) as caught:
        from_dataset(broken(dataset(), change))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("magic", [b"\x89HDF\r\n\x1a\n", b"CDF\x01"])
def test_a_damaged_file_is_one_line(magic, tmp_path):
    file = tmp_path / "wind.nc"
    file.write_bytes(magic + b"\x07" * 100)
    with pytest.raises(InputError, match=r"wind\.nc: the NetCDF file is damaged") as caught:
        read_netcdf(file)
    assert "\n" not in str(caught.value)


def test_without_xarray_the_extra_is_named(tmp_path):
    file = tmp_path / "wind.nc"
    file.write_bytes(b"CDF\x01")
    code = (
        "import sys; sys.modules['xarray'] = None\n"
        "from goosewing.errors import InputError\n"
        "from goosewing.weather.netcdf import read_netcdf\n"
        f"try: read_netcdf({str(file)!r})\n"
        "except InputError as error: print(error)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert 'pip install ".[netcdf]"' in done.stdout
