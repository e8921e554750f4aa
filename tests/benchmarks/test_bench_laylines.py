"""How long laylines and targets take, as a share of planning.

Run with ``pytest tests/benchmarks --benchmark-enable``; the ratios are in each
benchmark's ``extra_info``. Nothing fails for being slow.
"""

import time
from datetime import UTC, datetime

import numpy as np
import pytest

from goosewing.laylines.steady import sheet
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.steady import solver
from goosewing.velocities.targets import targets
from goosewing.weather.steady import SteadyWeather

DEPARTURE = datetime(2027, 6, 1, 6, 0, tzinfo=UTC)
WEATHER = SteadyWeather(315.0, 10.0, 90.0, 0.8)
WINDS = np.linspace(5.0, 27.0, 12)
ROUNDS = 7


def fifty_marks():
    angle = np.linspace(0.0, 8.0 * np.pi, 51)
    return [
        Mark(name=f"M{i}", lat=float(57 + 0.2 * np.sin(a)), lon=float(11 + 0.3 * np.cos(1.3 * a)))
        for i, a in enumerate(angle)
    ]


def fastest(call):
    times = []
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        call()
        times.append(time.perf_counter() - begun)
    return min(times)


@pytest.mark.benchmark(group="laylines")
def test_laylines_of_fifty_marks(benchmark, brisvik):
    marks = fifty_marks()

    def ours():
        return sheet(solver.sailable(brisvik, solver.steady_airs(brisvik, WEATHER)), marks)

    if benchmark.enabled:
        plan = fastest(lambda: make(marks, brisvik, WEATHER, DEPARTURE))
        benchmark.extra_info["ratio_to_one_plan"] = fastest(ours) / plan
    assert {line.mark for line in benchmark(ours).laylines} == {m.name for m in marks[1:]}


@pytest.mark.benchmark(group="targets")
def test_targets_of_twelve_winds(benchmark, brisvik):
    marks = fifty_marks()[:2]
    if benchmark.enabled:
        leg = fastest(lambda: make(marks, brisvik, WEATHER, DEPARTURE))
        benchmark.extra_info["ratio_to_one_leg"] = fastest(lambda: targets(brisvik, WINDS)) / leg
    assert len(benchmark(targets, brisvik, WINDS).wind_speeds) == 12
