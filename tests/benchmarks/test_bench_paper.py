"""What paper and questions cost, against the plan itself: ratios within one run.

Run with::

    pytest tests/benchmarks/test_bench_paper.py --benchmark-enable -s
"""

from __future__ import annotations

import os
import time
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from bench_tools import seconds
from conftest import SAMPLES
from goosewing.case import Case
from goosewing.exchange.gpx.marks import read_marks
from goosewing.foresight import what_if
from goosewing.foresight.on_the_way import look_ahead
from goosewing.plan import make, of_case
from goosewing.weather.read import read_weather
from goosewing.weather.steady import SteadyWeather
from goosewing_cli.main import ARITHMETIC_THREADS
from goosewing_cli.pool import side_by_side

JUNE = datetime(2027, 6, 12, 5, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _only_when_asked(pytestconfig, monkeypatch):
    if not pytestconfig.getoption("benchmark_enable"):
        pytest.skip("slow: only with --benchmark-enable")
    for name in ARITHMETIC_THREADS:
        monkeypatch.setenv(name, "1")


def test_the_sheet_against_the_plan_and_a_figure(benchmark, brisvik):
    pytest.importorskip("jinja2")
    pytest.importorskip("matplotlib")
    from goosewing.report.picture import draw_plan
    from goosewing.report.sheet import format_sheet

    marks = read_marks(SAMPLES / "kattegat.gpx").marks
    wind = SteadyWeather(315.0, 10.0, 100.0, 0.8)
    made = look_ahead(make(marks, brisvik, wind, JUNE), wind)
    format_sheet(made, brisvik)
    plan_s = seconds(lambda: make(marks, brisvik, wind, JUNE), rounds=5)
    figure_s = seconds(lambda: draw_plan(made, "svg"), rounds=5)
    sheet_s = seconds(lambda: format_sheet(made, brisvik), rounds=5)
    benchmark.extra_info |= {
        "plan_s": plan_s, "figure_s": figure_s, "sheet_s": sheet_s,
        "sheet_per_plan_and_figure": sheet_s / (plan_s + figure_s),
    }  # fmt: skip
    benchmark.pedantic(lambda: format_sheet(made, brisvik), rounds=1)
    print(benchmark.extra_info)


def ignore(_: float) -> None:
    """Take a progress that nobody looks at."""


def test_what_if_on_two_cores_against_one_plan(benchmark, brisvik):
    if len(os.sched_getaffinity(0)) < 2:
        pytest.skip("needs two cores")
    # A plan that takes seconds: of one that takes less, starting processes is most.
    weather = read_weather(SAMPLES / "forecast.grib2", wanted="wind")
    marks = read_marks(SAMPLES / "kattegat.gpx").marks
    case = Case(marks=marks, boat=brisvik, weather=weather, departure=JUNE)
    start = time.perf_counter()
    made = of_case(case)
    plan_s = time.perf_counter() - start

    def ask():
        late = replace(made, late=what_if.late(made, brisvik, weather))
        assert late.late
        # With the rest of the passage planned anew where she is too late for its tracks.
        parts = what_if.parts(late)
        benchmark.extra_info["anew"] = len(parts) - len(what_if.CHANGES)
        return what_if.with_parts(late, side_by_side(case, what_if.held_part, parts, 2, ignore))

    start = time.perf_counter()
    found = benchmark.pedantic(ask, rounds=1)
    asked_s = time.perf_counter() - start
    assert len(found.what_if) == len(what_if.CHANGES)
    benchmark.extra_info |= {
        "plan_s": plan_s, "what_if_s": asked_s, "what_if_per_plan": asked_s / plan_s,
    }  # fmt: skip
    print(benchmark.extra_info)
