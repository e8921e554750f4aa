"""What a second core is worth when many departures are planned: a ratio within one run.

Run with::

    pytest tests/benchmarks/test_bench_departures.py --benchmark-enable -s

Without ``--benchmark-enable`` it is skipped: it takes minutes, and both cores to itself.
"""

from __future__ import annotations

import os
import statistics
import time
from datetime import timedelta

import pytest

from changing_winds import DEPARTURE, leg
from goosewing.case import Case
from goosewing.departures.compare import gathered, held_at
from goosewing.weather.table import parse_table
from goosewing_cli.main import ARITHMETIC_THREADS
from goosewing_cli.pool import pool

COUNT = 96
LEAST_JOB_S = 20.0
"""A job that is done sooner says more of starting processes than of planning."""


@pytest.fixture(autouse=True)
def _only_when_asked(pytestconfig, monkeypatch):
    if not pytestconfig.getoption("benchmark_enable"):
        pytest.skip("slow: only with --benchmark-enable")
    if len(os.sched_getaffinity(0)) < 2:
        pytest.skip("needs two cores")
    for name in ARITHMETIC_THREADS:
        monkeypatch.setenv(name, "1")


def planned_s(case, times, workers):
    """Seconds from nothing to all plans, processes and all."""
    start = time.perf_counter()
    with pool(case, workers) as executor:
        found = gathered(executor, held_at, [(at,) for at in times], len(times))
    assert all(each.plan is not None for each in found)
    return time.perf_counter() - start


def test_two_cores_against_one(benchmark, brisvik):
    hours = "\n".join(
        f"2027-06-{1 + h // 24:02d}T{h % 24:02d}:00Z,{10 * h % 360},{10 + h % 3}"
        for h in range(6, 24 * 5)
    )
    weather = parse_table(f"time,wind_from_deg,wind_kn\n{hours}\n")
    times = [DEPARTURE + timedelta(hours=number) for number in range(COUNT)]
    ends = tuple(leg(57.0, 11.0, 20.0, 10.0))
    case = Case(marks=ends, boat=brisvik, weather=weather, departure=times[0])
    one, two = [], []

    def both():
        one.append(planned_s(case, times, 1))
        two.append(planned_s(case, times, 2))

    benchmark.pedantic(both, rounds=3, iterations=1)
    ratio = statistics.median(one) / statistics.median(two)
    benchmark.extra_info.update(
        departures=COUNT,
        one_core_s=[round(each, 1) for each in one],
        two_cores_s=[round(each, 1) for each in two],
        times_as_fast=round(ratio, 2),
    )
    print(dict(benchmark.extra_info))
    assert statistics.median(one) >= LEAST_JOB_S
