"""The tests' own invented oceans: the files say what the formulas say."""

from __future__ import annotations

import numpy as np
import pytest

from changing_winds import START_H
from goosewing.weather.read import read_weather
from ocean_fields import five_days, invented_ocean

PACKING_KN = 2e-3
"""16 bits over what the winds span."""


@pytest.fixture(params=["write_grib", "write_netcdf"])
def write(request):
    return request.param


@pytest.mark.parametrize("ocean", [five_days(), invented_ocean(6)], ids=lambda o: o.name)
def test_a_file_holds_what_the_formulas_say_at_its_points(ocean, write, tmp_path):
    weather = read_weather(getattr(ocean, write)(tmp_path / "ocean", step_h=6.0, cell_deg=1.0))
    lats, lons = ocean.grid(1.0)
    t, lat, lon = np.meshgrid(ocean.times(6.0), lats, lons, indexing="ij")
    read = weather.at(START_H + t, lat, lon)
    said = ocean.at(t, lat, lon)
    for name, value in zip(
        ("wind_east_kn", "wind_north_kn", "stream_east_kn", "stream_north_kn"), said, strict=True
    ):
        np.testing.assert_allclose(getattr(read, name), value, atol=PACKING_KN)
