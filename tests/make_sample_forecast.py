"""Makes sample_routes/forecast.grib2, an invented forecast for the Kattegat.

Run ``python tests/make_sample_forecast.py`` to write it anew. No forecast centre made these
numbers: a north-westerly of a summer's day veers until the afternoon, freshens with the heat
over land and backs again at night.
"""

from pathlib import Path

import numpy as np

from goosewing.units import METRES_PER_SECOND_PER_KNOT
from goosewing.weather import wind

FILE = Path(__file__).parents[1] / "sample_routes" / "forecast.grib2"
RUN = {"dataDate": 20270612, "dataTime": 300}
HOURS = range(37)
NORTH, SOUTH, WEST, EAST, STEP = 57.75, 55.75, 10.5, 13.25, 0.25
GRID = {
    "Ni": round((EAST - WEST) / STEP) + 1,
    "Nj": round((NORTH - SOUTH) / STEP) + 1,
    "latitudeOfFirstGridPointInDegrees": NORTH,
    "latitudeOfLastGridPointInDegrees": SOUTH,
    "longitudeOfFirstGridPointInDegrees": WEST,
    "longitudeOfLastGridPointInDegrees": EAST,
    "iDirectionIncrementInDegrees": STEP,
    "jDirectionIncrementInDegrees": STEP,
}
AT_10_M = {
    "typeOfFirstFixedSurface": 103,
    "scaleFactorOfFirstFixedSurface": 0,
    "scaledValueOfFirstFixedSurface": 10,
}
NUMBERS = {"east": 2, "north": 3, "gust": 22}
"""Parameters of category 2 of discipline 0 (WMO code table 4.2)."""


def ground_wind(hour, lat, lon):
    """Direction it comes from [°] and speed [kn], `hour` hours into the forecast."""
    day = np.sin(2.0 * np.pi * (hour - 4.0) / 24.0)
    from_deg = 314.0 + 13.0 * day + 4.0 * (lat - 56.6) + 3.0 * (lon - 12.0)
    kn = 10.0 + 1.4 * day + 0.8 * (56.6 - lat) - 0.6 * (lon - 12.0)
    return from_deg, kn


def fields():
    """Hour and fields [m/s] in the order of the file, rows from north to south."""
    lat, lon = np.meshgrid(
        NORTH - STEP * np.arange(GRID["Nj"]), WEST + STEP * np.arange(GRID["Ni"]), indexing="ij"
    )
    for hour in HOURS:
        from_deg, kn = ground_wind(hour, lat, lon)
        east, north = wind.components_from(from_deg, kn)
        yield hour, {"east": east, "north": north, "gust": 1.35 * kn}


def message(eccodes, hour, name, knots):
    handle = eccodes.codes_grib_new_from_samples("GRIB2")
    keys = RUN | GRID | AT_10_M | {"parameterCategory": 2, "parameterNumber": NUMBERS[name]}
    for key, value in (keys | {"bitsPerValue": 12, "endStep": hour}).items():
        eccodes.codes_set(handle, key, value)
    eccodes.codes_set_values(handle, knots.ravel() * METRES_PER_SECOND_PER_KNOT)
    made = eccodes.codes_get_message(handle)
    eccodes.codes_release(handle)
    return made


def content():
    """The whole file."""
    from goosewing.weather._eccodes import load

    return b"".join(
        message(load(), hour, name, knots)
        for hour, every in fields()
        for name, knots in every.items()
    )


if __name__ == "__main__":
    FILE.write_bytes(content())
