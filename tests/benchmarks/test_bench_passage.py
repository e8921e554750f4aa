"""What a plan in changing wind costs, in evaluations of wind and polar on a million states.

Run with::

    pytest tests/benchmarks/test_bench_passage.py --benchmark-enable -s

Without ``--benchmark-enable`` they are skipped: they take minutes. The ratios, each taken
within one run, stand in ``extra_info``; what is asserted is that the answer is as good as
that of a search refined four times.
"""

from __future__ import annotations

import time
import tracemalloc
from functools import partial

import numpy as np
import pytest

from bench_tools import island
from changing_winds import DEPARTURE, START_H, leg
from goosewing.changing import solver
from goosewing.changing.motion import Waters
from goosewing.changing.ways import Search
from goosewing.hazards.areas import Hazards
from goosewing.plan import make
from ocean_fields import invented_ocean, restless_forecast

STATES = 1_000_000


@pytest.fixture(autouse=True)
def _only_when_asked(pytestconfig):
    if not pytestconfig.getoption("benchmark_enable"):
        pytest.skip("slow: only with --benchmark-enable")


def beat():
    weather = restless_forecast((55.0, 60.0), (7.0, 16.0), 40.0, base_deg=0.0, kn=11.0)
    return weather, leg(57.0, 11.0, 0.0, 60.0)


def run():
    weather = restless_forecast((48.0, 61.0), (-8.0, 18.0), 120.0, base_deg=40.0, kn=13.0)
    return weather, leg(57.0, 11.0, 220.0, 300.0)


def million_s(boat, weather, marks):
    """Seconds for wind and polar on a million states about the leg: the yardstick."""
    rng = np.random.default_rng(0)
    waters = Waters(boat, weather)
    lat, lon = (
        rng.uniform(*sorted(getattr(mark, name) for mark in marks), STATES)
        for name in ("lat", "lon")
    )
    time_h, row = START_H + rng.uniform(0.0, 24.0, STATES), rng.uniform(40.0, 180.0, STATES)
    taken = []
    for _ in range(3):
        start = time.perf_counter()
        waters.at_angle(waters.modes[0], row, waters.airs(time_h, lat, lon))
        taken.append(time.perf_counter() - start)
    return min(taken)


@pytest.mark.parametrize("case", [beat, run])
def test_a_passage_through_a_forecast(benchmark, brisvik, monkeypatch, case):
    weather, marks = case()
    plan = benchmark.pedantic(make, (marks, brisvik, weather, DEPARTURE), rounds=3, iterations=1)
    yardstick = million_s(brisvik, weather, marks)
    monkeypatch.setattr(solver, "Search", partial(Search, fineness=4.0))
    finer = make(marks, brisvik, weather, DEPARTURE)
    benchmark.extra_info.update(
        times_a_million_states=round(benchmark.stats.stats.min / yardstick, 1),
        elapsed_h=round(plan.elapsed_h, 3),
        slower_than_refined_four_times=f"{plan.elapsed_h / finer.elapsed_h - 1.0:+.3%}",
    )
    print(case.__name__, dict(benchmark.extra_info))
    assert plan.elapsed_h <= finer.elapsed_h * 1.005


def test_the_whole_plan_takes_little_longer_than_its_search(benchmark, brisvik, monkeypatch):
    """In a forecast of five days: ratios of process time within one run, and of the answers."""
    ocean = invented_ocean(0)
    weather = ocean.weather(step_h=3.0)
    search, spent, found = solver._search_all, [], []

    def timed(*args, **kwargs):
        begin = time.process_time()
        ways = search(*args, **kwargs)
        spent.append(time.process_time() - begin)
        found.append(ways[-1].arrival_h - START_H)
        return ways

    monkeypatch.setattr(solver, "_search_all", timed)
    begin = time.process_time()
    plan = benchmark.pedantic(
        make, (ocean.marks, brisvik, weather, DEPARTURE), rounds=1, iterations=1
    )
    whole = time.process_time() - begin
    benchmark.extra_info.update(
        times_its_search=round(whole / spent[0], 2),
        against_its_search=f"{plan.elapsed_h / found[0] - 1.0:+.3%}",
        above_the_relaxed=f"{plan.elapsed_h / plan.relaxed_h - 1.0:+.3%}",
        orders=sum(len(board.orders) for leg in plan.legs for board in leg.boards),
    )
    print(dict(benchmark.extra_info))
    # A board may be left out that gained less than it is worth, and a few seconds an order.
    assert plan.elapsed_h <= found[0] + 1.0 / 60.0 + 1e-4 * found[0]


def islands(marks, count=500, corners=20):
    """Islands of up to two miles about a leg, within thirty miles either side of it."""
    rng = np.random.default_rng(5)
    one, two = marks
    areas = []
    while len(areas) < count:
        share, aside = rng.uniform(0.02, 0.98), rng.uniform(-0.5, 0.5)
        lat = one.lat + share * (two.lat - one.lat) + aside
        lon = one.lon + share * (two.lon - one.lon)
        if min(abs(lat - m.lat) + abs(lon - m.lon) for m in marks) < 0.1:
            continue
        areas.append(
            island(rng, lat, lon, corners=corners, size_deg=(0.004, 0.03), stretch=1.7,
                   name=f"Island {len(areas)}")
        )  # fmt: skip
    return areas


def test_500_islands_about_a_passage_of_300_nm(benchmark, brisvik):
    weather, marks = run()
    hazards = Hazards.of(islands(marks), 0.1)
    start = time.perf_counter()
    free = make(marks, brisvik, weather, DEPARTURE)
    free_s = time.perf_counter() - start
    plan = benchmark.pedantic(
        make, (marks, brisvik, weather, DEPARTURE), {"hazards": hazards}, rounds=3, iterations=1
    )
    benchmark.extra_info.update(
        times_without=round(benchmark.stats.stats.median / free_s, 2),
        elapsed_h=round(plan.elapsed_h, 3),
        longer_than_without=f"{plan.elapsed_h / free.elapsed_h - 1.0:+.3%}",
    )
    print(dict(benchmark.extra_info))
    assert plan.elapsed_h >= free.elapsed_h * 0.995


@pytest.mark.parametrize("case", [beat, run])
def test_how_much_memory_a_passage_takes(benchmark, brisvik, case):
    weather, marks = case()
    tracemalloc.start()
    benchmark.pedantic(make, (marks, brisvik, weather, DEPARTURE), rounds=1, iterations=1)
    peak_mb = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    benchmark.extra_info["peak_mb"] = round(peak_mb)
    print(case.__name__, f"{peak_mb:.0f} MB")
    assert peak_mb < 500.0


def test_time_grows_no_faster_than_the_distance(benchmark, brisvik):
    """A table of seconds a mile; the forecast is three-hourly on a grid of one degree."""
    weather = restless_forecast(
        (0.0, 60.0), (-75.0, 20.0), 900.0, base_deg=60.0, kn=13.0, step_h=3.0, cell_deg=1.0
    )
    table = {}

    def every_length():
        for nm in (30, 100, 300, 1000, 3000):
            start = time.perf_counter()
            plan = make(leg(40.0, -10.0, 245.0, float(nm)), brisvik, weather, DEPARTURE)
            taken = time.perf_counter() - start
            table[nm] = (taken, 1000.0 * taken / nm, plan.elapsed_h, plan.relaxed_h)
            told = "{:.1f} s, {:.1f} ms a mile, plan {:.1f} h, relaxed {:.1f} h"
            print(nm, "nm:", told.format(*table[nm]))

    benchmark.pedantic(every_length, rounds=1, iterations=1)
    benchmark.extra_info["ms_a_mile"] = {nm: round(row[1], 1) for nm, row in table.items()}
    above = {nm: plan_h / least_h - 1.0 for nm, (_, _, plan_h, least_h) in table.items()}
    benchmark.extra_info["above_the_relaxed"] = {nm: f"{a:+.2%}" for nm, a in above.items()}
    assert above[1000] < 0.01
    assert above[3000] < 0.02
