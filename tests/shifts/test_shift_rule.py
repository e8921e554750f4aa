"""The rule sailed by a sailor of its own, who knows the boat's tables and asks when to turn."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from goosewing.boat.model import sailing
from goosewing.errors import InputError, NoPlanError
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.shifts import Shifts, shift_rule
from goosewing.weather.steady import SteadyWeather

DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)
MARK = Mark(name="Windward", lat=57.0 + 5.0 / 60.0, lon=11.0)
START = Mark(name="Start", lat=57.0, lon=11.0)
NORTHERLY = SteadyWeather(0.0, 10.0)
TACK_H = 25.0 / 3600.0
STEP_H = 5.0 / 3600.0


class Sailor:
    """Knows the tables of the main and jib in 10 kn, upwind, and nothing of the engine's plane."""

    def __init__(self, boat):
        twa = np.arange(38.0, 120.0, 0.1)
        held = sailing(boat, 0, twa, 10.0, np.nan)
        self.track, self.kn = held.track_angle_deg, held.boat_speed_kn
        vmg = self.kn * np.cos(np.radians(self.track))
        self.best = int(np.argmax(vmg))

    def sail(self, shifts, turns, winds, seed, start_tack):
        """Sail from 5 nm to leeward in many winds; the winds depend on the seed alone."""
        random = np.random.default_rng(seed)
        east, north = np.zeros(winds), np.full(winds, -5.0)
        side = np.full(winds, 1.0 if start_tack == "port" else -1.0)
        wind, clock = np.zeros(winds), 0.0
        pause, since = np.zeros(winds), np.full(winds, np.inf)
        arrived = np.full(winds, np.nan)
        fade = np.exp(-STEP_H / shifts.tau_h)
        while np.isnan(arrived).any():
            assert clock < 6.0, "still at sea after six hours"
            at_sea = np.isnan(arrived)
            fetched, speed = self.fetched(east, north, wind, side)
            turn = at_sea & (pause <= 0.0) & ~fetched
            turn &= turns(self, east, north, wind, side, 60.0 * since)
            side, since = np.where(turn, -side, side), np.where(turn, 0.0, since)
            pause = np.where(turn, TACK_H, pause)
            free = np.clip(STEP_H - pause, 0.0, STEP_H) * at_sea
            pause = np.maximum(pause - STEP_H, 0.0)
            fetched, speed = self.fetched(east, north, wind, side)
            heading = np.radians(wind + side * self.track[self.best])
            distance = np.hypot(east, north)
            fast = np.where(fetched, speed, self.kn[self.best])
            near = at_sea & ((fast * free >= distance) & fetched | (distance < 0.01))
            arrived = np.where(near, clock + STEP_H - free + distance / fast, arrived)
            to_east = np.where(fetched, -east / distance, np.sin(heading))
            to_north = np.where(fetched, -north / distance, np.cos(heading))
            east, north = east + fast * free * to_east, north + fast * free * to_north
            wind = wind * fade + shifts.sigma_deg * np.sqrt(1 - fade**2) * random.standard_normal(
                winds
            )
            clock, since = clock + STEP_H, since + STEP_H
        return arrived

    def fetched(self, east, north, wind, side):
        """Whether the mark is fetched on this tack, at the best angle or freer; and the speed."""
        bearing = np.degrees(np.arctan2(-east, -north))
        off = side * ((bearing - wind + 180.0) % 360.0 - 180.0)
        speed = np.interp(off, self.track[self.best :], self.kn[self.best :])
        return (off >= self.track[self.best] - 0.5) & (off <= self.track[-1]), speed


def to_the_layline(sailor, east, north, wind, side, _minutes):
    return sailor.fetched(east, north, wind, -side)[0]


def by(rule):
    def turns(_sailor, east, north, wind, side, minutes):
        lat = MARK.lat + north / 60.0
        lon = MARK.lon + east / 60.0 / np.cos(np.radians(lat))
        tack = np.where(side > 0.0, "port", "starboard")
        return rule.turn_now(lat, lon, wind % 360.0, tack, minutes)

    return turns


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
    ruled = sailor.sail(shifts, by(rule), 2000, 7, rule.tack)
    fixed = sailor.sail(shifts, to_the_layline, 2000, 7, rule.tack)
    saved = (fixed - ruled) / fixed.mean()
    error = saved.std() / np.sqrt(len(saved))
    assert saved.mean() >= gain
    if gain > 0.0:
        assert saved.mean() > 2.6 * error  # p < 0.01
    assert rule.expected_h == pytest.approx(ruled.mean(), rel=0.005)
    assert rule.fixed_plan_h == pytest.approx(fixed.mean(), rel=0.01)


def test_our_own_sails_and_the_sailors_agree(brisvik, sailor):
    shifts = Shifts(sigma_deg=5.0, tau_min=10.0)
    rule = shift_rule(START, MARK, brisvik, NORTHERLY, DEPARTURE, shifts)
    ours = rule.sailed(2000, seed=5).elapsed_h
    theirs = sailor.sail(shifts, by(rule), 1000, 11, rule.tack)
    low, high = np.percentile(ours, [10.0, 90.0])
    inside = ((theirs >= low) & (theirs <= high)).mean()
    assert inside == pytest.approx(0.80, abs=0.04)
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
