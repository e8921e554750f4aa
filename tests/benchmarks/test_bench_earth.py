"""How long 100 000 points on one line take, as a share of the bare geodesic library's time.

Run with ``pytest tests/benchmarks --benchmark-enable``; the ratio of the
fastest rounds is in each benchmark's ``extra_info``. Nothing fails for being
slow: a loaded machine is no fault of the code.
"""

import time

import numpy as np
import pytest
from pyproj import Geod

from goosewing.earth import geodesy

POINTS = 100_000
ROUNDS = 15
START = (50.0, -5.0)
COURSE = 45.0
DISTANCE_NM = np.linspace(0.0, 3000.0, POINTS)
GEOD = Geod(ellps="WGS84")


def bare():
    """The library on arrays that are ready for it."""
    lat, lon, course, metres = (
        np.full(POINTS, START[0]),
        np.full(POINTS, START[1]),
        np.full(POINTS, COURSE),
        DISTANCE_NM * 1852,
    )
    return lambda: GEOD.fwd(lon, lat, course, metres, return_back_azimuth=False)


def seconds(call):
    begun = time.perf_counter()
    call()
    return time.perf_counter() - begun


def fastest_ratio(ours, theirs):
    """Fastest of alternate rounds: both meet the same machine."""
    times = np.array([(seconds(ours), seconds(theirs)) for _ in range(ROUNDS)])
    return float(np.divide(*times.min(axis=0)))


@pytest.mark.benchmark(group="points on one line")
def test_points_on_a_geodesic(benchmark):
    theirs = bare()

    def ours():
        return geodesy.geodesic_direct(*START, COURSE, DISTANCE_NM)

    if benchmark.enabled:
        benchmark.extra_info["ratio_to_bare_library"] = fastest_ratio(ours, theirs)
    end = benchmark(ours)
    lon, lat, course = theirs()
    np.testing.assert_allclose(end.lat, lat, rtol=0, atol=1e-12)
    np.testing.assert_allclose(end.lon, lon, rtol=0, atol=1e-12)
    np.testing.assert_allclose(end.final_bearing_deg, course % 360, rtol=0, atol=1e-12)


@pytest.mark.benchmark(group="points on one line")
def test_points_on_a_loxodrome(benchmark):
    theirs = bare()

    def ours():
        return geodesy.loxodrome_direct(*START, COURSE, DISTANCE_NM)

    if benchmark.enabled:
        benchmark.extra_info["ratio_to_bare_library"] = fastest_ratio(ours, theirs)
    end = benchmark(ours)
    one_by_one = [geodesy.loxodrome_direct(*START, COURSE, each) for each in DISTANCE_NM[::9999]]
    np.testing.assert_allclose(
        np.transpose([end.lat[::9999], end.lon[::9999]]), one_by_one, rtol=0, atol=1e-12
    )
