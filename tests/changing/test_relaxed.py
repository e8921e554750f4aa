"""What a leg could take at best: the best sequence of tacks and sails, every change paid for."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from changing_winds import DEPARTURE, Formula, leg
from goosewing.changing.relaxed import most_gained
from goosewing.plan import make

STEPS, MODES = 6, 3


def by_trying_all(gains, rate, costs):
    """Of all sequences of modes."""
    return max(
        sum(gains[at, mode] for at, mode in enumerate(modes))
        - sum(rate[at + 1] * costs[pair] for at, pair in enumerate(itertools.pairwise(modes)))
        for modes in itertools.product(range(MODES), repeat=STEPS)
    )


@pytest.mark.parametrize("seed", range(20))
def test_the_most_that_is_gained_is_that_of_the_best_of_all_sequences(seed):
    rng = np.random.default_rng(seed)
    gains = rng.normal(-0.02, 0.1, (STEPS, MODES))
    gains[rng.random(gains.shape) < 0.1] = -np.inf
    gains[:, 0] = 0.0
    rate, costs = rng.uniform(0.5, 1.5, STEPS), rng.uniform(0.0, 0.1, (MODES, MODES))
    np.fill_diagonal(costs, 0.0)
    assert most_gained(gains, rate, costs) == pytest.approx(by_trying_all(gains, rate, costs))


def test_free_changes_gain_each_steps_best_and_too_dear_ones_nothing():
    rng = np.random.default_rng(5)
    gains, rate = rng.normal(0.0, 0.1, (STEPS, MODES)), np.ones(STEPS)
    free, dear = np.zeros((MODES, MODES)), np.where(np.eye(MODES, dtype=bool), 0.0, 1e3)
    assert most_gained(gains, rate, free) == pytest.approx(gains.max(axis=1).sum())
    assert most_gained(gains, rate, dear) == pytest.approx(gains.sum(axis=0).max())


@pytest.mark.parametrize("bearing", [10.0, 60.0, 185.0])
def test_in_a_wind_that_hardly_varies_the_estimate_is_the_plan_itself(brisvik, bearing):
    """To windward and before the wind her two boards are the best there are, turns and all."""

    def nearly_steady(t, lat, _lon):
        return 0.5 * np.sin(lat), 10.0 + 0.05 * np.sin(t / 5.0), np.nan, 0.0, 0.0

    weather = Formula(nearly_steady, in_place=True)
    plan = make(leg(57.0, 11.0, bearing, 30.0), brisvik, weather, DEPARTURE)
    assert plan.relaxed_h <= plan.elapsed_h
    assert plan.relaxed_h == pytest.approx(plan.elapsed_h, rel=2e-3)
