"""What an estimate costs: all cells at once against each from cold, and the whole of it.

Run with::

    pytest tests/benchmarks --benchmark-enable --benchmark-only

The ratios, each taken within one run, stand in the table's ``extra_info``; what is asserted is
that both ways find the same.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from bench_tools import seconds
from goosewing.boat.estimate.balance import Cells, Ship, Water, equilibrium
from goosewing.boat.estimate.dimensions import Dimensions
from goosewing.boat.estimate.sails import main_alone, main_and_jib, wing_and_wing
from goosewing.boat.estimate.tables import ANGLES_DEG, WINDS_KN, estimate, grid
from goosewing.boat.estimate.yacht import yacht

TEN = Dimensions(name="Ten", type="light", length_overall_m=10.0)
CELLS = grid(np.array(ANGLES_DEG), np.array(WINDS_KN))
SAMPLE = 12
"""So many cells are solved from cold, for the time of one."""


def three_sail_sets(boat):
    """Speeds of three sail sets over 9 winds and 19 angles each."""
    return [
        equilibrium(boat, plan(boat.rig), CELLS).speed
        for plan in (main_and_jib, main_alone, wing_and_wing)
    ]


def by_scipy_alone(boat, twa, tws):
    """One cell the textbook way: an optimiser over depowering, a root for each of its tries."""
    ship = Ship(Water.of(boat), main_and_jib(boat.rig))
    here = Cells(np.array(twa), np.array(tws))
    guess = (min(0.5 * tws, 3.2), 0.2)

    def at(how_far):
        def left(state):
            speed = max(float(state[0]), 0.05)
            both = ship.left_over(np.array(speed), np.array(state[1]), here, np.array(how_far))
            return both / (500.0, 5000.0)

        return optimize.root(left, guess)

    def slowness(how_far):
        found = at(how_far)
        too_far = max(float(found.x[1]) - boat.largest_heel_rad, 0.0)
        return -float(found.x[0]) + 20.0 * too_far

    best = optimize.minimize_scalar(slowness, bounds=(0.0, 1.0), method="bounded")
    return max(-slowness(0.0), -float(best.fun))


@pytest.mark.long
def test_all_cells_at_once_against_each_from_cold(benchmark):
    boat = yacht(TEN)
    found = benchmark.pedantic(three_sail_sets, (boat,), rounds=3, warmup_rounds=1)
    at_once_s = seconds(lambda: three_sail_sets(boat), rounds=1)
    rng = np.random.default_rng(2027)
    picked = [(int(i), int(j)) for i, j in zip(
        rng.integers(3, 19, SAMPLE), rng.integers(0, 6, SAMPLE), strict=True
    )]  # fmt: skip

    def ours_alone(i, j):
        one = Cells(CELLS.twa[i : i + 1, j], CELLS.tws[i : i + 1, j])
        return equilibrium(boat, main_and_jib(boat.rig), one).speed[0]

    cold_s = seconds(lambda: [ours_alone(*each) for each in picked], rounds=1)
    textbook_s = seconds(
        lambda: [by_scipy_alone(boat, CELLS.twa[each], CELLS.tws[each]) for each in picked],
        rounds=1,
    )
    cells = 3 * CELLS.twa.size
    benchmark.extra_info.update(
        cells=cells,
        seconds=round(at_once_s, 2),
        each_from_cold_over_at_once=round(cold_s / SAMPLE * cells / at_once_s, 1),
        each_by_scipy_alone_over_at_once=round(textbook_s / SAMPLE * cells / at_once_s, 1),
    )
    for i, j in picked:
        assert abs(ours_alone(i, j) - found[0][i, j]) < 1e-3
        alone = by_scipy_alone(boat, CELLS.twa[i, j], CELLS.tws[i, j])
        # Its bounded optimiser may stop short of the best, but is never above it.
        assert alone <= found[0][i, j] + 0.02


@pytest.mark.long
def test_a_whole_estimate(benchmark):
    made = benchmark.pedantic(estimate, (TEN,), rounds=3, warmup_rounds=1)
    whole_s = seconds(lambda: estimate(TEN), rounds=1)
    solving_s = seconds(lambda: three_sail_sets(yacht(TEN)), rounds=1)
    # Less than one: a pole isn't carried at all 19 angles; the rest is the band.
    benchmark.extra_info["whole_over_three_full_tables"] = round(whole_s / solving_s, 2)
    assert made.boat.sail_sets[0].polar.values.shape == (19, 9)
