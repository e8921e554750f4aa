"""A bar that has enough water about high water only: when to leave, held against sums by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
import shapely

from goosewing.case import Case
from goosewing.departures.compare import planned_at
from goosewing.departures.own_tide import SPARE_H
from goosewing.hazards.areas import Area, Hazards
from goosewing.hazards.read.tide import Tide
from goosewing.hazards.tidal import TidalDepths
from goosewing.records import Mark
from goosewing.weather.base import hours_from_datetime
from goosewing.weather.steady import SteadyWeather

# A beam wind, due east along the equator: one board, sailed at one speed, a minute of arc a mile
# and 0.18 % (the equator's radius to the nautical mile).
HIGH_WATER = datetime(2027, 6, 1, 12, tzinfo=UTC)
MILES = 12.0
WEST_NM, EAST_NM = 5.0, 6.0
CHARTED_M, SAFE_M = 1.0, 3.0
RISE_M_H = 0.5
"""Straight up from 0 m for six hours to 3 m, and down again."""

EQUATOR_NM = 2.0 * np.pi * 6378137.0 / 1852.0 / 360.0


def lon(miles):
    return 20.0 + miles / EQUATOR_NM


MARKS = (Mark(name="West", lat=0.0, lon=20.0), Mark(name="East", lat=0.0, lon=lon(MILES)))


def tide(first_h=-6.0, last_h=6.0):
    at_h = hours_from_datetime(HIGH_WATER) + np.array([first_h, 0.0, last_h])
    return Tide(at_h, np.array([3.0 + RISE_M_H * first_h, 3.0, 3.0 - RISE_M_H * last_h]), "tide")


def strip(west_nm, east_nm, south, north, **more):
    return Area(shape=shapely.box(lon(west_nm), south, lon(east_nm), north), **more)


BAR = strip(WEST_NM, EAST_NM, -0.05, 0.05, kind="shoal", name="bar", depth_m=CHARTED_M)
CANAL = shapely.box(lon(-2.0), -0.04, lon(MILES + 2.0), 0.04)
LAND = (Area(shape=CANAL.buffer(0.5).difference(CANAL), kind="land"),)


@pytest.fixture
def case_of(brisvik):
    def build(*areas, marks=MARKS, table=None, clearance_nm=0.0):
        return Case(
            marks=marks, boat=brisvik, weather=SteadyWeather(0.0, 10.0), departure=HIGH_WATER,
            hazards=Hazards.of(areas, clearance_nm),
            depths=TidalDepths(tide=table or tide(), safe_depth_m=SAFE_M),
        )  # fmt: skip

    return build


def speed_kn(case):
    free = planned_at(replace(case, hazards=None, depths=None), HIGH_WATER)
    (board,) = free.plan.legs[0].boards
    assert board.distance_nm == pytest.approx(MILES, rel=1e-6)
    return MILES / free.elapsed_h


def every_ten_minutes(first_h, last_h):
    return [HIGH_WATER + timedelta(minutes=10 * at)
            for at in range(round(6 * first_h), round(6 * last_h) + 1)]  # fmt: skip


def over_the_bar(found):
    points = [(p.lon, p.lat) for b in found.plan.legs[0].boards for p in b.points]
    return shapely.LineString(points).intersects(BAR.shape.buffer(-1e-4))


@pytest.mark.parametrize("clearance_nm", [0.0, 0.5])
def test_a_bar_is_open_for_departures_that_come_to_it_with_enough_water(case_of, clearance_nm):
    case = case_of(BAR, *(LAND if clearance_nm == 0.0 else ()), clearance_nm=clearance_nm)
    knots = speed_kn(case)
    # Two metres of tide are in from two hours before high water until two hours after, and are
    # asked for from half an hour before she is over the bar, or its clearance, until as long after.
    enough_h = (CHARTED_M + 3.0 - SAFE_M) / RISE_M_H
    opens_h = -enough_h + SPARE_H - (WEST_NM - clearance_nm) / knots
    closes_h = enough_h - SPARE_H - (EAST_NM + clearance_nm) / knots
    asked = 0
    for time in every_ten_minutes(-5.0, 2.0):
        at_h = (time - HIGH_WATER) / timedelta(hours=1)
        if min(abs(at_h - opens_h), abs(at_h - closes_h)) < 1.5 / 60.0:
            continue  # The way over it is looked at once a minute.
        found = planned_at(case, time)
        straight = found.plan is not None and over_the_bar(found)
        assert straight == (opens_h < at_h < closes_h), at_h
        asked += straight
        if clearance_nm == 0.0:
            # There is no way round it.
            assert (found.plan is not None) == straight
        else:
            assert found.elapsed_h > MILES / knots - 1e-9
    assert asked >= 5


def test_a_mark_that_falls_dry_is_reached_at_its_hours_alone(case_of):
    case = case_of(strip(MILES - 0.5, MILES + 0.5, -0.05, 0.05, name="pool", depth_m=CHARTED_M))
    to_it_h = (MILES - 0.5) / speed_kn(case)
    there = planned_at(case, HIGH_WATER - timedelta(hours=to_it_h))
    assert there.plan is not None
    late = planned_at(case, HIGH_WATER + timedelta(hours=2.0))
    assert late.plan is None
    assert late.reason == "East lies over pool, which has too little water at this time"


def test_beyond_the_table_no_depth_is_known(case_of):
    # At high water still on the bar, but half an hour after it the table has ended.
    open_until = planned_at(case_of(BAR, *LAND), HIGH_WATER - timedelta(hours=1.0))
    assert open_until.plan is not None
    ended = case_of(BAR, *LAND, table=tide(last_h=0.4))
    assert planned_at(ended, HIGH_WATER - timedelta(hours=1.0)).plan is None


def test_what_always_counts_is_kept_clear_of_at_any_tide(case_of):
    case = case_of(strip(WEST_NM, EAST_NM, -0.05, 0.05, kind="danger"))
    found = planned_at(case, HIGH_WATER - timedelta(hours=1.0))
    assert not over_the_bar(found)


def test_the_lowest_height_of_spans():
    table = tide()
    start = hours_from_datetime(HIGH_WATER)
    spans = np.array([[-1.0, 1.0], [-3.0, -2.0], [1.0, 4.0], [5.0, 7.0]]) + start
    expected = [2.5, 1.5, 1.0, -np.inf]
    assert table.lowest_between(*spans.T) == pytest.approx(expected)
    assert table.highest_m(start - 2.0) == pytest.approx(3.0)
    assert table.highest_m(start + 2.0) == pytest.approx(2.0)
    assert table.lowest_from(start - 2.0) == pytest.approx(0.0)
