"""Forecasts of many members, drawn from an Ornstein-Uhlenbeck process and written by ecCodes.

No forecast centre made these numbers. Each member's direction and speed wander about one
mean wind, and fan out from the start as a forecast's members do; a truth is one more of
the same kind, unknown to the plan.
"""

from __future__ import annotations

import numpy as np

from changing_winds import START_H
from goosewing.units import METRES_PER_SECOND_PER_KNOT
from goosewing.weather.grid import WIND, Ensemble, GridWeather, LatLonGrid, layer_of
from goosewing.weather.wind import components_from

STEP = 0.5
LAT, LON = np.arange(56.0, 59.01, STEP), np.arange(10.0, 13.01, STEP)
GRID = {
    "Ni": len(LON),
    "Nj": len(LAT),
    "latitudeOfFirstGridPointInDegrees": LAT[-1],
    "latitudeOfLastGridPointInDegrees": LAT[0],
    "longitudeOfFirstGridPointInDegrees": LON[0],
    "longitudeOfLastGridPointInDegrees": LON[-1],
    "iDirectionIncrementInDegrees": STEP,
    "jDirectionIncrementInDegrees": STEP,
}
AT_10_M = {
    "typeOfFirstFixedSurface": 103,
    "scaleFactorOfFirstFixedSurface": 0,
    "scaledValueOfFirstFixedSurface": 10,
}


def walk(random, sigma, tau_h, hours):
    """A path of the process from nought, at whole hours: exact steps of its law."""
    fade = np.exp(-1.0 / tau_h)
    now, path = 0.0, [0.0]
    for _ in range(hours):
        now = now * fade + sigma * np.sqrt(1.0 - fade**2) * random.standard_normal()
        path.append(now)
    return np.array(path)


def components(seed, *, hours=48, sigma_deg=15.0, tau_h=12.0, from_deg=0.0, kn=10.0, spread_kn=1.0):
    """East and north at whole hours, shape (hours + 1, parallels, meridians). [kn]"""
    random = np.random.default_rng(seed)
    turn = walk(random, sigma_deg, tau_h, hours)[:, None, None]
    faster = walk(random, spread_kn, tau_h, hours)[:, None, None]
    direction = from_deg + turn + 2.0 * (LAT[None, :, None] - 57.0) + 0.0 * LON
    return components_from(direction % 360.0, np.clip(kn + faster + 0.0 * direction, 4.0, 22.0))


def member(seed, **law):
    east, north = components(seed, **law)
    return GridWeather(
        (
            layer_of(
                dict(zip(WIND, (east, north), strict=True)),
                LatLonGrid(LAT, LON),
                START_H + np.arange(len(east)),
            ),
        )
    )


def ensemble(count, first_seed=0, **law):
    return Ensemble(tuple(member(first_seed + number, **law) for number in range(count)))


def messages(number, count, east, north, hours=None):
    """GRIB 2 of one member: product definition template 4.1, an individual ensemble forecast."""
    from goosewing.weather._eccodes import load

    eccodes = load()
    for hour in range(len(east)) if hours is None else hours:
        for parameter, knots in ((2, east), (3, north)):
            handle = eccodes.codes_grib_new_from_samples("GRIB2")
            keys = {
                "dataDate": 20270601, "dataTime": 600, **GRID,
                "productDefinitionTemplateNumber": 1, **AT_10_M,
                "parameterCategory": 2, "parameterNumber": parameter, "bitsPerValue": 16,
                "numberOfForecastsInEnsemble": count, "perturbationNumber": number,
                "endStep": hour,
            }  # fmt: skip
            for key, value in keys.items():
                eccodes.codes_set(handle, key, value)
            rows = knots[hour][::-1] * METRES_PER_SECOND_PER_KNOT
            eccodes.codes_set_values(handle, np.asarray(rows, dtype=np.float64).ravel())
            yield eccodes.codes_get_message(handle)
            eccodes.codes_release(handle)


def write_grib(path, count, first_seed=0, first_number=0, **law):
    """Write an ensemble as one file."""
    path.write_bytes(
        b"".join(
            part
            for number in range(count)
            for part in messages(
                first_number + number, count, *components(first_seed + number, **law)
            )
        )
    )
    return path


def write_netcdf(path, count, first_seed=0, first_number=0, **law):
    """Write an ensemble with a dimension of members, as CF has it (realization)."""
    import xarray

    both = np.array([components(first_seed + number, **law) for number in range(count)])
    hours = np.arange(both.shape[2])
    axes = ("realization", "time", "latitude", "longitude")
    times = np.datetime64("2027-06-01T06:00", "ns") + hours * np.timedelta64(1, "h")
    named = {"u10": (both[:, 0], "eastward_wind"), "v10": (both[:, 1], "northward_wind")}
    data = xarray.Dataset(
        {
            name: (axes, knots, {"standard_name": standard, "units": "knot"})
            for name, (knots, standard) in named.items()
        },
        coords={
            "realization": (
                "realization", first_number + np.arange(count), {"standard_name": "realization"}
            ),
            "time": times,
            "latitude": ("latitude", LAT, {"standard_name": "latitude", "units": "degrees_north"}),
            "longitude": (
                "longitude", LON, {"standard_name": "longitude", "units": "degrees_east"}
            ),
        },
    )  # fmt: skip
    data.to_netcdf(path, engine="h5netcdf")
    return path
