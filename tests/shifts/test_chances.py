"""What a shifty wind makes of a plan, against the law it is drawn from."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from pyproj import Geod

from goosewing.plan import make
from goosewing.records import Mark
from goosewing.shifts import Shifts
from goosewing.shifts.chances import with_chances
from goosewing.shifts.model import why_withheld
from goosewing.weather.base import hours_from_datetime
from goosewing.weather.series import series
from goosewing.weather.steady import SteadyWeather
from goosewing.words.chances import chances_lines
from goosewing.words.figures import hours_and_minutes

DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)
MARKS = [
    Mark(name="Start", lat=57.0, lon=11.0),
    Mark(name="Windward", lat=57.0 + 5.0 / 60.0, lon=11.0),
]
SHIFTS = Shifts(sigma_deg=5.0, tau_min=10.0)


def test_the_spread_is_in_order_and_about_the_plan(told):
    spread = told.chances.elapsed_h
    assert spread.p10 < spread.p50 < spread.p90
    assert spread.p10 < told.elapsed_h
    assert spread.p50 == pytest.approx(told.elapsed_h, rel=0.05)


def test_on_the_layline_it_is_less_than_one_in_two_and_on_a_reach_certain(told):
    fetch = {each.mark: each.chance for each in told.chances.fetch}
    # The layline of the moment is met first in a lift, which then fades: fewer than half fetch.
    assert 0.2 < fetch["Windward"] < 0.5
    assert fetch["Beam"] == 1.0


def test_the_rule_is_for_the_beat_alone(told):
    (rule,) = told.chances.rules
    assert rule.mark == "Windward"
    assert not rule.downwind
    assert rule.mean_wind_from_deg == 0.0
    assert 1.0 < rule.headed_deg < 8.0
    assert 0.0 < rule.inside_nm < 2.5
    assert rule.expected_h < rule.fixed_plan_h


def test_a_band_is_as_wide_as_the_mean_shift_over_the_way_there(told):
    # The direction averaged over the time to the mark is normal, so that the band's half width
    # is 1.2816 of its standard deviations, in any distance (closed form; geodesics by PROJ).
    wgs84 = Geod(ellps="WGS84")
    bands = told.chances.bands
    assert {band.tack for band in bands} <= {"port", "starboard"}
    for band in bands:
        mark = band.backed[-1]
        assert (mark.lat, mark.lon) == (band.veered[-1].lat, band.veered[-1].lon)
        for one, two in list(zip(band.backed, band.veered, strict=True))[:-1]:
            first, _, metres = wgs84.inv(mark.lon, mark.lat, one.lon, one.lat)
            second, _, _ = wgs84.inv(mark.lon, mark.lat, two.lon, two.lat)
            hours = metres / 1852.0 / 5.4995
            half = abs((second - first + 180.0) % 360.0 - 180.0) / 2.0
            wanted = 1.2816 * float(SHIFTS.spread_of_mean_deg(hours))
            assert half == pytest.approx(wanted, rel=0.02)


def test_among_hazards_and_in_a_corridor_it_is_said_why_nothing_is_told():
    assert why_withheld(kept_clear=False, corridor_nm=None) is None
    assert "keeps clear of hazards." in why_withheld(kept_clear=True, corridor_nm=None)
    assert "keeps to a corridor." in why_withheld(kept_clear=False, corridor_nm=0.5)
    both = why_withheld(kept_clear=True, corridor_nm=0.5)
    assert both.endswith("keeps clear of hazards and keeps to a corridor.")


def test_it_is_told_in_words(told):
    lines = chances_lines(told)
    assert lines[0] == "As given."
    assert any("Eight times of ten" in line for line in lines)
    assert any(line.startswith("To Windward: tack when headed by more than") for line in lines)
    assert chances_lines(replace(told, chances=None)) == []


def test_in_changing_wind_the_spread_is_told_from_a_middle_of_its_own(told, brisvik):
    steady = [line for line in chances_lines(told) if "Eight times of ten" in line]
    assert "leg's beginning" not in steady[0]
    start = hours_from_datetime(DEPARTURE)
    weather = series([start, start + 24.0], [0.0, 30.0], [10.0, 7.0])
    plan = make(MARKS, brisvik, weather, DEPARTURE)
    changing = with_chances(plan, brisvik, weather, SHIFTS, "As given.")
    spread = changing.chances.elapsed_h
    (line,) = [each for each in chances_lines(changing) if "Eight times of ten" in each]
    less, more, middle = (
        hours_and_minutes(each)
        for each in (spread.p50 - spread.p10, spread.p90 - spread.p50, spread.p50)
    )
    assert f"from {less} less to {more} more than in the middle" in line
    assert f"That middle, {middle}, is reckoned with the wind at each leg's beginning" in line
    assert "turning by the rule told here" in line


def test_a_leg_for_which_nothing_can_be_reckoned_is_named_with_its_reason(brisvik):
    plan = make(MARKS, brisvik, SteadyWeather(0.0, 10.0), DEPARTURE)
    stormy = with_chances(plan, brisvik, SteadyWeather(0.0, 70.0), SHIFTS, "As given.")
    (said,) = set(stormy.notices) - set(plan.notices)
    assert said.startswith("Shifts on the leg to Windward: nothing is reckoned")
    assert "70.0 kn" in said
    assert stormy.chances.elapsed_h.p10 == pytest.approx(plan.elapsed_h)
    assert stormy.chances.fetch == ()


def test_where_all_is_reckoned_there_is_no_such_notice(told):
    assert not [line for line in told.notices if line.startswith("Shifts on the leg")]


def test_with_the_pole_up_the_plans_time_stands(brisvik):
    weather = SteadyWeather(0.0, 12.0)
    marks = [MARKS[1], MARKS[0]]
    plan = make(marks, brisvik, weather, DEPARTURE)
    assert any(board.poled for board in plan.legs[0].boards)
    chances = with_chances(plan, brisvik, weather, SHIFTS, "As given.").chances
    assert (chances.fetch, chances.rules) == ((), ())
    assert np.ptp([chances.elapsed_h.p10, chances.elapsed_h.p90]) == 0.0
