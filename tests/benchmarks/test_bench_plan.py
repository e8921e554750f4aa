"""What a plan costs: one steady leg against trying all pairs, and the whole command.

Run with::

    pytest tests/benchmarks --benchmark-enable --benchmark-only

The ratios, each taken within one run, stand in the table's ``extra_info``
(``--benchmark-json FILE``); what is asserted is that both ways find the same.
"""

from __future__ import annotations

import os
import subprocess
import sys

import numpy as np
import pytest

from bench_tools import seconds
from goosewing.earth.course import course_between
from goosewing.steady.boards import ways_to_sail
from goosewing.velocities.velocity_set import (
    STEP_DEG,
    Airs,
    along_and_across,
    best_made_good_kn,
    straight_velocities,
    velocity_set,
)

BEARING_DEG = 20.0
AIRS = Airs(twd_deg=0.0, tws_kn=10.0, stream_east_kn=0.6, stream_north_kn=-0.3)
PAIRS_AT_ONCE = 2_000_000
"""Rows are tried in blocks of so many pairs, which numpy likes best."""


def best_of_all_pairs_kn(held, bearing_deg):
    """The greatest speed made good along a bearing by any two velocities: all tried, in numpy.

    A mix of two velocities, one to each side of the bearing, points along it if their
    shares cancel across; of all mixes that do, the fastest.
    """
    along, across = along_and_across(held.east_kn, held.north_kn, bearing_deg)
    best = -np.inf
    block = max(1, PAIRS_AT_ONCE // len(along))
    with np.errstate(divide="ignore", invalid="ignore"):
        for start in range(0, len(along), block):
            a, c = (
                along[start : start + block, np.newaxis],
                across[start : start + block, np.newaxis],
            )
            share = across / (across - c)
            speed = np.where((share >= 0) & (share <= 1), share * a + (1 - share) * along, -np.inf)
            best = max(best, float(np.max(speed)))
    return best


@pytest.mark.parametrize("step_deg", [0.5, STEP_DEG])
def test_a_steady_leg_against_all_pairs_of_velocities(benchmark, brisvik, step_deg):
    held = velocity_set(brisvik, AIRS, step_deg=step_deg)
    naive = best_of_all_pairs_kn(held, BEARING_DEG)
    fast = benchmark(best_made_good_kn, held, BEARING_DEG)
    assert fast == pytest.approx(naive, rel=1e-9)
    if not benchmark.disabled:
        slow_s = seconds(lambda: best_of_all_pairs_kn(held, BEARING_DEG), rounds=5)
        fast_s = benchmark.stats.stats.median
        benchmark.extra_info.update(velocities=len(held), times_faster=round(slow_s / fast_s, 1))


def test_every_way_to_sail_the_leg_against_all_pairs_of_velocities(benchmark, brisvik):
    """What a plan needs of a leg: for every pair of modes the best two boards, in both orders,
    with their turning points on the ellipsoid; against nothing but the speed of the best pair.
    """
    course = course_between(57.0, 11.0, 57.3, 11.2)
    held = velocity_set(brisvik, AIRS)
    ways, _ = benchmark(ways_to_sail, held, course)
    naive = best_of_all_pairs_kn(held, course.bearing_deg)
    straight = straight_velocities(held, course.bearing_deg).along_kn.max(initial=0.0)
    best = course.distance_nm / np.nanmin(ways.elapsed_h.sum(axis=1))
    # Meridians converge: one order of the boards is a little faster than the mix in the plane.
    assert best == pytest.approx(max(naive, straight), rel=3e-3)
    if not benchmark.disabled:
        slow_s = seconds(lambda: best_of_all_pairs_kn(held, course.bearing_deg), rounds=5)
        times = round(slow_s / benchmark.stats.stats.median, 1)
        benchmark.extra_info.update(velocities=len(held), ways=len(ways), times_faster=times)


def test_a_million_states_of_a_table_against_one_column_of_it(benchmark, brisvik):
    """The table's boat speeds, against NumPy's linear interpolation in one of its columns."""
    polar = brisvik.sail_sets[0].polar
    random = np.random.default_rng(7)
    twa, tws = random.uniform(52.0, 150.0, 10**6), random.uniform(0.0, 20.0, 10**6)
    found = benchmark.pedantic(polar.at, args=(twa, tws), rounds=3)
    assert np.isfinite(found).all()
    if not benchmark.disabled:
        column = seconds(lambda: np.interp(twa, polar.twa_deg, polar.values[:, 0]))
        benchmark.extra_info["times_one_column"] = round(benchmark.stats.stats.min / column, 1)


IMPORTS = (sys.executable, "-c", "import numpy, scipy.interpolate, pyproj, shapely, gpxpy")
ROUNDS = 9


def test_the_plan_command_against_importing_what_such_a_thing_imports(benchmark, request):
    """By processor time, for the machine may be shared: the least of several in turn."""
    samples = request.config.rootpath / "sample_routes"
    plan = (
        sys.executable, "-c", "from goosewing_cli.main import run; run()",
        "plan", samples / "kattegat.gpx", "--boat", samples / "brisvik" / "boat.toml",
        "--wind", "315/10", "--depart", "2027-06-12T05:00Z",
    )  # fmt: skip
    spent: dict[tuple[str, ...], list[float]] = {plan: [], IMPORTS: []}

    def process(command):
        before = os.times()
        printed = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        after = os.times()
        user = after.children_user - before.children_user
        spent[command].append(user + after.children_system - before.children_system)
        return printed

    def both():
        process(IMPORTS)
        return process(plan)

    first = both()
    assert benchmark.pedantic(both, rounds=ROUNDS, iterations=1) == first
    least = {command: min(taken) for command, taken in spent.items()}
    benchmark.extra_info.update(
        plan_s=round(least[plan], 3),
        imports_s=round(least[IMPORTS], 3),
        times_the_imports=round(least[plan] / least[IMPORTS], 2),
    )
