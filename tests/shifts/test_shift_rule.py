"""The rule sailed by a sailor of its own, who knows the boat's tables and asks when to turn."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from goosewing.errors import InputError, NoPlanError
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.shifts import Shifts, shift_rule
from goosewing.shifts.chances import with_chances
from goosewing.weather.steady import SteadyWeather
from shift_sailor import NORTHERLY, Sailor, by, to_the_layline

DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)
MARK = Mark(name="Windward", lat=57.0 + 5.0 / 60.0, lon=11.0)
START = Mark(name="Start", lat=57.0, lon=11.0)


@pytest.fixture(scope="module")
def sailor(brisvik):
    return Sailor(brisvik)


@pytest.mark.long
@pytest.mark.parametrize(
    ("sigma", "tau", "gain"),
    [(5.0, 10.0, 0.015), (8.0, 15.0, 0.03), (5.0, 2.0, -0.001), (0.5, 10.0, -0.001)],
)
def test_the_rule_beats_sailing_on_to_the_layline(brisvik, sailor, sigma, tau, gain):
    shifts = Shifts(sigma_deg=sigma, tau_min=tau)
    rule = shift_rule(START, MARK, brisvik, NORTHERLY, DEPARTURE, shifts)
    ruled = sailor.sail(shifts, by(rule, MARK), 2000, 7, rule.tack)
    fixed = sailor.sail(shifts, to_the_layline, 2000, 7, rule.tack)
    saved = (fixed - ruled) / fixed.mean()
    error = saved.std() / np.sqrt(len(saved))
    assert saved.mean() >= gain
    if gain > 0.0:
        assert saved.mean() > 2.6 * error  # p < 0.01
    assert rule.expected_h == pytest.approx(ruled.mean(), rel=0.005)
    assert rule.fixed_plan_h == pytest.approx(fixed.mean(), rel=0.01)


@pytest.mark.long
@pytest.mark.parametrize("pinch_deg", [0.0, 0.5])
@pytest.mark.parametrize(("sigma", "tau"), [(5.0, 10.0), (8.0, 15.0), (5.0, 2.0), (0.5, 10.0)])
def test_eight_of_ten_sails_come_in_within_the_band(brisvik, sigma, tau, pinch_deg):
    # Four times a thousand, so that chance leaves 0.6 % of the share that the law gives.
    shifts = Shifts(sigma_deg=sigma, tau_min=tau)
    plan = make([START, MARK], brisvik, NORTHERLY, DEPARTURE)
    told = with_chances(plan, brisvik, NORTHERLY, shifts, "As given.").chances.elapsed_h
    tack = plan.legs[0].boards[0].tack
    rule = shift_rule(START, MARK, brisvik, NORTHERLY, DEPARTURE, shifts, tack=tack)
    theirs = Sailor(brisvik, pinch_deg).sail(shifts, by(rule, MARK), 4000, 11, tack)
    inside = ((theirs >= told.p10) & (theirs <= told.p90)).mean()
    assert inside == pytest.approx(0.80, abs=0.04)
    assert np.median(theirs) == pytest.approx(told.p50, rel=0.004)


def test_the_same_seed_sails_the_same_winds(brisvik):
    shifts = Shifts(sigma_deg=5.0, tau_min=10.0)
    rule = shift_rule(START, MARK, brisvik, NORTHERLY, DEPARTURE, shifts)
    assert rule.sailed(50, seed=5).elapsed_h.tolist() == rule.sailed(50, seed=5).elapsed_h.tolist()


def test_without_shifts_it_takes_the_steady_plans_time(brisvik):
    steady = make([START, MARK], brisvik, NORTHERLY, DEPARTURE).elapsed_h
    calm = Shifts(sigma_deg=0.01, tau_min=10.0)
    rule = shift_rule(START, MARK, brisvik, NORTHERLY, DEPARTURE, calm)
    assert rule.expected_h == pytest.approx(steady, rel=0.005)
    assert rule.fixed_plan_h == pytest.approx(steady, rel=0.005)
    assert rule.sailed(20).turns.tolist() == [1] * 20


def with_tacks_of(boat, seconds):
    return replace(boat, manoeuvres=replace(boat.manoeuvres, tack_s=seconds))


@pytest.mark.long
def test_the_dearer_a_tack_the_fewer(brisvik):
    shifts = Shifts(sigma_deg=5.0, tau_min=10.0)
    turns, hours, headed = [], [], []
    for seconds in (1.0, 25.0, 100.0, 1800.0):
        boat = with_tacks_of(brisvik, seconds)
        rule = shift_rule(START, MARK, boat, NORTHERLY, DEPARTURE, shifts)
        sailed = rule.sailed(500)
        turns.append(sailed.turns.mean())
        hours.append(rule.expected_h)
        headed.append(rule.headed_by_deg(0.0, 2.5)[0])
    assert turns == sorted(turns, reverse=True)
    assert hours == sorted(hours)
    assert headed[:3] == sorted(headed[:3])
    # A tack of half an hour is made once, unless she is headed after it; one that costs next
    # to nothing is made on every header.
    assert turns[-1] == pytest.approx(1.0, abs=0.2)
    assert headed[0] < 1.5
    assert turns[0] > 10.0


def test_port_and_starboard_are_mirror_images(brisvik):
    shifts = Shifts(sigma_deg=5.0, tau_min=10.0)
    rule = shift_rule(START, MARK, brisvik, NORTHERLY, DEPARTURE, shifts, tack="port")
    other = shift_rule(START, MARK, brisvik, NORTHERLY, DEPARTURE, shifts, tack="starboard")
    assert rule.expected_h == pytest.approx(other.expected_h, rel=1e-6)
    lat, east = 57.04, 0.05
    for shift in (-8.0, -3.0, 0.0, 3.0, 8.0):
        one = rule.turn_now(lat, 11.0 + east, shift % 360.0, "port")
        two = rule.turn_now(lat, 11.0 - east, -shift % 360.0, "starboard")
        assert bool(one) == bool(two)


def test_turned_on_the_earth_it_is_the_same(brisvik):
    shifts = Shifts(sigma_deg=5.0, tau_min=10.0)
    rule = shift_rule(START, MARK, brisvik, NORTHERLY, DEPARTURE, shifts)
    east = Mark(name="East", lat=0.0, lon=5.0 / 60.0)
    west = Mark(name="West", lat=0.0, lon=0.0)
    turned = shift_rule(west, east, brisvik, SteadyWeather(90.0, 10.0), DEPARTURE, shifts)
    assert turned.expected_h == pytest.approx(rule.expected_h, rel=0.005)


def test_a_run_is_gybed_on_the_lifts(brisvik):
    shifts = Shifts(sigma_deg=8.0, tau_min=15.0)
    rule = shift_rule(MARK, START, brisvik, SteadyWeather(0.0, 7.0), DEPARTURE, shifts)
    sailed = rule.sailed(1000)
    assert rule.expected_h <= rule.fixed_plan_h
    assert rule.expected_h == pytest.approx(sailed.elapsed_h.mean(), rel=0.01)


def test_in_a_stream_too_the_sails_take_the_expected_time(brisvik):
    shifts = Shifts(sigma_deg=5.0, tau_min=10.0)
    weather = SteadyWeather(0.0, 10.0, set_deg=70.0, drift_kn=1.0)
    rule = shift_rule(START, MARK, brisvik, weather, DEPARTURE, shifts)
    sailed = rule.sailed(1000).elapsed_h
    assert rule.expected_h == pytest.approx(sailed.mean(), rel=0.01)
    assert rule.expected_h < rule.fixed_plan_h


def test_what_makes_no_sense_is_refused(brisvik):
    shifts = Shifts(sigma_deg=5.0, tau_min=10.0)
    far = Mark(name="Far", lat=60.0, lon=11.0)
    with pytest.raises(InputError, match="up to 100 nm"):
        shift_rule(START, far, brisvik, NORTHERLY, DEPARTURE, shifts)
    with pytest.raises(InputError, match=r"lie 0\.0 nm apart"):
        shift_rule(START, START, brisvik, NORTHERLY, DEPARTURE, shifts)
    with pytest.raises(NoPlanError, match="no sail set may be carried"):
        shift_rule(START, MARK, brisvik, SteadyWeather(0.0, 60.0), DEPARTURE, shifts)
