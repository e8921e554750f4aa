"""How fast a forecast is read, and how fast it answers: a million states at once."""

import os
import subprocess
import sys

import numpy as np
import pytest

from conftest import SAMPLES
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


READS = """
import os
from pathlib import Path
from goosewing.files import own_process
from goosewing.weather.read import read_weather

def spent():
    return sum(os.times()[:4])

begun = spent()
{}
read_weather(Path({!r}))
print(spent() - begun)
"""
WAYS = {
    "a fork": "assert own_process._alone()",
    "a new interpreter": "own_process._alone = lambda: False",
    "here": "own_process.read_apart = lambda read, path, ready: read(path)",
}


@pytest.mark.skipif(sys.platform != "linux", reason="no fork, or threads are not counted")
def test_a_forecast_read_by_a_child(benchmark):
    """Processor time of a process that reads one forecast, its child's with it."""
    alone = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}

    def spent(way):
        code = READS.format(way, str(SAMPLES / "forecast.grib2"))
        words = [sys.executable, "-c", code]
        return float(subprocess.run(words, env=alone, capture_output=True, check=True).stdout)

    taken = benchmark.pedantic(
        lambda: {name: min(spent(way) for _ in range(5)) for name, way in WAYS.items()}, rounds=1
    )
    for name in ("a fork", "a new interpreter"):
        benchmark.extra_info[f"{name} / read here"] = taken[name] / taken["here"]
        benchmark.extra_info[f"{name}, more ms"] = 1000.0 * (taken[name] - taken["here"])
