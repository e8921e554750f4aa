"""What the search alone costs, in evaluations of wind and polar, and how near a finer one it comes.

Run with::

    pytest tests/benchmarks/test_bench_search.py --benchmark-enable -s
"""

from __future__ import annotations

import time

import numpy as np
import pytest

from changing_winds import START_H
from goosewing.changing import guesses
from goosewing.changing.motion import Waters
from goosewing.changing.search import search_leg
from goosewing.changing.ways import Root, Search
from goosewing.earth.course import course_between
from ocean_fields import five_days, invented_ocean

STATES = 1_000_000


@pytest.fixture(autouse=True)
def _only_when_asked(pytestconfig):
    if not pytestconfig.getoption("benchmark_enable"):
        pytest.skip("slow: only with --benchmark-enable")


def searched(waters, marks, fineness=1.0):
    """Hours of the fastest way."""
    one, two = marks
    course = course_between(one.lat, one.lon, two.lat, two.lon)
    view = guesses.along(waters, course, START_H)
    ways = search_leg(
        waters, course, (Root(-1, START_H, np.inf),),
        Search(shortest_h=1.0 / 3.0, fineness=fineness),
        gauge=view.gauge, fastest_kn=view.fastest_kn,
    )  # fmt: skip
    return min(way.arrival_h for way in ways) - START_H


def million_s(waters, marks):
    """Seconds of this processor for wind and polar on a million states about the leg."""
    rng = np.random.default_rng(0)
    lat, lon = (
        rng.uniform(*sorted(getattr(mark, name) for mark in marks), STATES)
        for name in ("lat", "lon")
    )
    time_h, row = START_H + rng.uniform(0.0, 24.0, STATES), rng.uniform(40.0, 180.0, STATES)
    start = time.process_time()
    waters.at_angle(waters.modes[0], row, waters.airs(time_h, lat, lon))
    return time.process_time() - start


@pytest.mark.parametrize("ocean", [five_days(), invented_ocean(3)], ids=lambda o: o.name)
def test_a_search_over_days(benchmark, brisvik, ocean):
    waters = Waters(brisvik, ocean.weather())
    yardstick = min(million_s(waters, ocean.marks) for _ in range(3))
    start = time.process_time()
    hours = benchmark.pedantic(searched, (waters, ocean.marks), rounds=3, iterations=1)
    taken = (time.process_time() - start) / 3.0
    finer = searched(waters, ocean.marks, 4.0)
    benchmark.extra_info.update(
        times_a_million_states=round(taken / yardstick, 1),
        elapsed_h=round(hours, 3),
        slower_than_four_times_finer=f"{hours / finer - 1.0:+.3%}",
    )
    print(ocean.name, dict(benchmark.extra_info))
    assert hours <= finer * 1.005
