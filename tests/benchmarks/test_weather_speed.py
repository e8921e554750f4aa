"""How fast a forecast answers: a million states at once."""

import numpy as np
import pytest

from goosewing.weather.grid import GridWeather, LatLonGrid, ProjectedGrid, layer_of

STATES = 1_000_000
LAMBERT = "+proj=lcc +lat_0=50 +lat_1=50 +lon_0=5 +R=6371229"
GRIDS = {
    "regular": LatLonGrid(np.arange(40.0, 61.0, 0.25), np.arange(-10.0, 20.0, 0.25)),
    "Lambert": ProjectedGrid(LAMBERT, np.arange(-15e5, 15e5, 25e3), np.arange(-13e5, 13e5, 25e3)),
}


@pytest.mark.parametrize("grid", list(GRIDS.values()), ids=list(GRIDS))
def test_a_million_states_of_an_hourly_forecast(benchmark, grid):
    rng = np.random.default_rng(0)
    values = rng.normal(size=(120, grid.points)).astype(np.float32)
    columns = {"wind_east_kn": values, "wind_north_kn": values}
    weather = GridWeather((layer_of(columns, grid, np.arange(120.0)),))
    states = (rng.uniform(0, 119, STATES), rng.uniform(45, 55, STATES), rng.uniform(0, 10, STATES))
    got = benchmark(weather.at, *states)
    assert np.isfinite(got.wind_east_kn).all()
