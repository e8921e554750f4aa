"""Shifts and ensembles, against one sail and one plan: ratios within one run.

Run with::

    pytest tests/benchmarks/test_bench_shifts.py --benchmark-enable -s
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from datetime import timedelta
from pathlib import Path

import pytest

from changing_winds import DEPARTURE, leg
from drawn_ensembles import ensemble, write_netcdf
from goosewing.case import Case
from goosewing.foresight import ensembles
from goosewing.records import Mark
from goosewing.shifts import Shifts, shift_rule
from goosewing.weather.steady import SteadyWeather
from goosewing_cli.main import ARITHMETIC_THREADS
from goosewing_cli.pool import side_by_side

START = Mark(name="Start", lat=57.0, lon=11.0)
MARK = Mark(name="Windward", lat=57.0 + 5.0 / 60.0, lon=11.0)
SAILS, LOOPED = 1000, 5
MEMBERS = 20
BOAT = Path(__file__).parents[2] / "sample_routes" / "brisvik" / "boat.toml"


@pytest.fixture(autouse=True)
def _only_when_asked(pytestconfig, monkeypatch):
    if not pytestconfig.getoption("benchmark_enable"):
        pytest.skip("slow: only with --benchmark-enable")
    for name in ARITHMETIC_THREADS:
        monkeypatch.setenv(name, "1")


def processor_s(work):
    begun = time.process_time()
    work()
    return time.process_time() - begun


def test_a_thousand_sails_against_a_loop_over_one(benchmark, brisvik):
    shifts = Shifts(sigma_deg=5.0, tau_min=10.0)
    northerly = SteadyWeather(0.0, 10.0)
    rule = shift_rule(START, MARK, brisvik, northerly, DEPARTURE, shifts)
    benchmark.pedantic(lambda: rule.sailed(SAILS), rounds=3, iterations=1)
    together = min(processor_s(lambda: rule.sailed(SAILS)) for _ in range(3))
    one = processor_s(lambda: [rule.sailed(1, seed=at) for at in range(LOOPED)]) / LOOPED
    worked_out = min(
        processor_s(lambda: shift_rule(START, MARK, brisvik, northerly, DEPARTURE, shifts))
        for _ in range(3)
    )
    benchmark.extra_info.update(
        sails=SAILS,
        together_s=round(together, 2),
        looped_s=round(SAILS * one, 1),
        times_as_fast=round(SAILS * one / together),
        rule_for_5_nm_s=round(worked_out, 2),
    )
    print(dict(benchmark.extra_info))


@pytest.fixture(scope="module", params=[60.0, 120.0])
def beat(brisvik, request):
    """A beat in a forecast of twenty members."""
    return Case(
        marks=tuple(leg(56.3, 11.5, 5.0, request.param)), boat=brisvik, weather=ensemble(MEMBERS),
        departure=DEPARTURE,
    )  # fmt: skip


def test_twenty_members_against_one_plan_on_two_cores(benchmark, beat):
    """By processor time, halved but for the end: others work on these cores as well."""
    numbers = range(MEMBERS)
    every = [ensembles.case_of(beat, number) for number in numbers]
    ensembles.plan_member(every[0])  # what is loaded once
    one_s = processor_s(lambda: [ensembles.plan_member(each) for each in every]) / len(every)
    before = os.times()
    parts = [(number,) for number in numbers]
    found = side_by_side(beat, ensembles.held_member, parts, 2, lambda _: None, and_here=True)
    after = os.times()
    theirs = sum(after[:4]) - sum(before[:4])  # this process and its children
    benchmark.pedantic(lambda: ensembles.chosen(beat, found, "mean"), rounds=1, iterations=1)
    own = min(processor_s(lambda: ensembles.chosen(beat, found, "mean")) for _ in range(3))
    benchmark.extra_info.update(
        members=MEMBERS,
        one_plan_s=round(one_s, 2),
        processes_s=round(theirs, 1),
        sailed_in_every_wind_s=round(own, 2),
        times_one_plan_on_two_cores=round((theirs / 2.0 + own) / one_s, 1),
    )
    print(dict(benchmark.extra_info))


@pytest.mark.parametrize("nm", [60.0, 120.0])
def test_twenty_members_by_the_command_against_one_plan_by_the_command(benchmark, tmp_path, nm):
    """With all that starts and is loaded, as the navigator waits for it."""
    marks = tmp_path / "marks.gpx"
    points = "".join(
        f'<rtept lat="{mark.lat}" lon="{mark.lon}"><name>{mark.name}</name></rtept>'
        for mark in leg(56.3, 11.5, 5.0, nm)
    )
    marks.write_text(
        '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<rte>{points}</rte></gpx>"
    )
    winds = write_netcdf(tmp_path / "members.nc", MEMBERS)
    asked = [
        str(Path(sys.executable).with_name("goosewing")), "plan", str(marks), "--boat", str(BOAT),
        "--wind", str(winds), "--depart", DEPARTURE.isoformat(), "--json",
    ]  # fmt: skip
    one = min(_took(asked) for _ in range(3))
    many = benchmark.pedantic(_took, args=([*asked, "--prefer", "mean"],), rounds=1)
    benchmark.extra_info.update(
        members=MEMBERS,
        one_plan_s=round(one[0], 1),
        members_s=round(many[0], 1),
        times_one_plan_by_the_clock=round(many[0] / one[0], 1),
        times_half_its_processor_time=round(many[1] / 2.0 / one[1], 1),
    )
    print(dict(benchmark.extra_info))


def _took(command):
    """By the clock, and of processors."""
    before, begun = os.times(), time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    after = os.times()
    theirs = after.children_user - before.children_user
    theirs += after.children_system - before.children_system
    return time.perf_counter() - begun, theirs


def test_what_a_dask_worker_costs(benchmark, brisvik):
    """What a process of Dask's takes to start, and for each plan beside the planning itself."""
    pytest.importorskip("distributed")
    from side_by_side import dask_workers

    case = Case(
        marks=tuple(leg(56.3, 11.5, 5.0, 60.0)), boat=brisvik, weather=ensemble(6),
        departure=DEPARTURE,
    )  # fmt: skip
    times = [DEPARTURE + timedelta(hours=6 * number) for number in range(3)]
    alone_s = processor_s(lambda: ensembles.plan_members(case, times))
    before, begun = os.times(), time.perf_counter()
    with dask_workers() as executor:
        list(executor.map(abs, [1, 2]))
        started_s = time.perf_counter() - begun
        benchmark.pedantic(
            lambda: ensembles.plan_members(case, times, executor=executor), rounds=1, iterations=1
        )
    after = os.times()
    theirs = after.children_user - before.children_user
    theirs += after.children_system - before.children_system
    plans = 6 * len(times)
    benchmark.extra_info.update(
        plans=plans,
        started_s=round(started_s, 1),
        one_process_s=round(alone_s, 1),
        two_workers_s=round(theirs, 1),
        extra_s_a_worker=round((theirs - alone_s) / 2.0, 1),
    )
    print(dict(benchmark.extra_info))
