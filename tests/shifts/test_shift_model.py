"""The shifts' law against closed forms, and what is read of it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from goosewing.errors import InputError
from goosewing.shifts import Shifts
from goosewing.shifts.model import parse_shifts, shifts_of, usual_shifts

SIGMAS = st.floats(0.1, 20.0)
TAUS = st.floats(1.0, 120.0)


def walk(shifts, step_h, steps, runs, seed):
    """Draw directions, starting at the mean."""
    random = np.random.default_rng(seed)
    now = np.zeros(runs)
    found = [now]
    for _ in range(steps):
        mean, spread = shifts.after(now, step_h)
        now = mean + spread * random.standard_normal(runs)
        found.append(now)
    return np.array(found)


@given(SIGMAS, TAUS, st.floats(-30.0, 30.0), st.floats(0.001, 2.0), st.floats(0.001, 2.0))
def test_two_steps_are_one(sigma, tau, now, first, second):
    # Chapman-Kolmogorov: the law of the sum of two times is that of one after the other.
    shifts = Shifts(sigma_deg=sigma, tau_min=tau)
    mean, spread = shifts.after(now, first)
    then, wider = shifts.after(mean, second)
    fade = np.exp(-second / shifts.tau_h)
    once, whole = shifts.after(now, first + second)
    assert then == pytest.approx(once, abs=1e-9)
    assert np.hypot(spread * fade, wider) == pytest.approx(whole, rel=1e-9)


def test_the_spread_is_the_closed_forms_variance():
    # Var = sigma^2 (1 - exp(-2 t / tau)) (Uhlenbeck and Ornstein 1930, from memory).
    shifts = Shifts(sigma_deg=5.0, tau_min=10.0)
    drawn = walk(shifts, 0.02, 40, 40_000, seed=1)
    hours = 0.02 * np.arange(41)
    wanted = 5.0 * np.sqrt(1.0 - np.exp(-2.0 * hours * 6.0))
    np.testing.assert_allclose(drawn.std(axis=1), wanted, atol=0.06)


def test_the_spread_of_a_mean_is_that_of_drawn_means():
    shifts = Shifts(sigma_deg=8.0, tau_min=15.0)
    drawn = walk(shifts, 0.01, 600, 4000, seed=2)[100:]  # settled after an hour
    for steps in (10, 50, 200):
        mean = drawn[: steps + 1].mean(axis=0)
        assert mean.std() == pytest.approx(float(shifts.spread_of_mean_deg(0.01 * steps)), rel=0.04)


def test_a_mean_over_no_time_is_the_moment_and_over_long_it_settles():
    shifts = Shifts(sigma_deg=5.0, tau_min=10.0)
    assert shifts.spread_of_mean_deg(0.0) == 5.0
    long = shifts.spread_of_mean_deg(100.0)
    assert long == pytest.approx(5.0 * np.sqrt(2.0 * shifts.tau_h / 100.0), rel=2e-3)


def test_figures_are_read_and_senseless_ones_refused():
    given_, words = parse_shifts("5/10", 10.0)
    assert (given_.sigma_deg, given_.tau_min) == (5.0, 10.0)
    assert "as given" in words
    for text in ("5", "5/", "a/b", "0/10", "50/10", "5/0", "5/9999", "-5/10", "5/10/3"):
        with pytest.raises(InputError) as caught:
            parse_shifts(text, 10.0)
        assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("kn", "least"), [(2.0, 17.8), (5.0, 7.1), (10.0, 3.7), (20.0, 3.7)])
def test_auto_never_lies_below_the_published_spread(kn, least):
    # Joffre and Laurila 1988 (abstract read): 0.32/V rad up to 5 m/s, 0.065 rad above.
    shifts, words = usual_shifts(kn)
    assert shifts.sigma_deg >= least - 0.25
    assert "published" in words
    assert "assumption" in words


def test_a_log_tells_its_shifts():
    truth = Shifts(sigma_deg=6.0, tau_min=8.0)
    drawn = walk(truth, 1.0 / 60.0, 6000, 20, seed=3)[60:]
    hours = np.arange(len(drawn)) / 60.0
    found = [shifts_of(hours, (355.0 + run) % 360.0) for run in drawn.T]
    assert np.median([each.sigma_deg for each in found]) == pytest.approx(6.0, rel=0.05)
    assert np.median([each.tau_min for each in found]) == pytest.approx(8.0, rel=0.1)


def test_a_log_too_short_says_how_long_it_would_take():
    veering = np.linspace(340.0, 380.0, 91) % 360.0
    with pytest.raises(InputError, match=r"too short: its shifts last about .* min are needed"):
        shifts_of(np.arange(91) / 60.0, veering)
    with pytest.raises(InputError, match="at least 20"):
        shifts_of(np.arange(5) / 60.0, np.zeros(5))
    with pytest.raises(InputError, match="never changes"):
        shifts_of(np.arange(50) / 60.0, np.zeros(50))
