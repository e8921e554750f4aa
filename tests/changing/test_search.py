"""The search by itself: what it returns can be sailed, and it finds a way wherever there is one."""

from __future__ import annotations

import math

import numpy as np
import pytest

from changing_winds import START_H, Formula, leg
from goosewing.boat.model import sailing
from goosewing.changing import guesses
from goosewing.changing.cells import Grid
from goosewing.changing.exact_ways import sailed_exactly
from goosewing.changing.motion import Waters
from goosewing.changing.resailed import Steps, resailed
from goosewing.changing.search import _best_of_rows, search_leg
from goosewing.changing.ways import Root, Search, Stretch, Way
from goosewing.earth.course import course_between
from goosewing.records import Mark
from goosewing.weather.base import STREAM, WIND
from goosewing.weather.grid import GridWeather, LatLonGrid, layer_of
from ocean_fields import five_days, invented_ocean, restless_forecast

EQUATOR_NM, ECCENTRICITY_2 = 6378137.0 / 1852.0, 0.00669437999014
"""WGS 84."""


def searched(boat, weather, marks):
    """The fastest way from mark to mark."""
    one, two = marks
    waters = Waters(boat, weather)
    course = course_between(one.lat, one.lon, two.lat, two.lon)
    view = guesses.along(waters, course, START_H)
    ways = search_leg(
        waters, course, (Root(-1, START_H, np.inf),), Search(shortest_h=1.0 / 3.0),
        gauge=view.gauge, fastest_kn=view.fastest_kn,
    )  # fmt: skip
    return waters, min(ways, key=lambda way: way.arrival_h)


def rates(waters, mode, row, time_h, lat, lon):
    """Degrees an hour north and east at an angle to the wind, by the tests' own sums."""
    here = waters.weather.at(time_h, lat, lon)
    stream = float(here.stream_east_kn), float(here.stream_north_kn)
    east, north = float(here.wind_east_kn) - stream[0], float(here.wind_north_kn) - stream[1]
    twd, tws = math.degrees(math.atan2(-east, -north)), math.hypot(east, north)
    held = sailing(waters.boat, mode.sail_set, row, tws)
    track = math.radians(twd + mode.side * float(held.track_angle_deg))
    speed = float(held.boat_speed_kn)
    w2 = 1.0 - ECCENTRICITY_2 * math.sin(math.radians(lat)) ** 2
    prime = EQUATOR_NM / math.sqrt(w2)
    return np.array([
        math.degrees((speed * math.cos(track) + stream[1]) * w2 / (prime * (1 - ECCENTRICITY_2))),
        math.degrees((speed * math.sin(track) + stream[0]) / (prime * math.cos(math.radians(lat)))),
    ])  # fmt: skip


def sailed(waters, way, step_h=0.05):
    """Where the angles of a way lead: Runge and Kutta's classical fourth-order rule."""
    place = np.array([way.stretches[0].lat[0], way.stretches[0].lon[0]])
    for part in way.stretches:
        mode = waters.modes[part.mode]
        for row, begin, end in zip(part.row_deg[1:], part.time_h, part.time_h[1:], strict=False):
            count = max(1, math.ceil((end - begin) / step_h))
            h = (end - begin) / count
            for t in begin + h * np.arange(count):
                k1 = rates(waters, mode, row, t, *place)
                k2 = rates(waters, mode, row, t + h / 2, *(place + h / 2 * k1))
                k3 = rates(waters, mode, row, t + h / 2, *(place + h / 2 * k2))
                k4 = rates(waters, mode, row, t + h, *(place + h * k3))
                place = place + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
    return place


def miles(place, mark):
    """Between a place and a mark near it."""
    north = (place[0] - mark.lat) * 60.0
    return math.hypot(north, (place[1] - mark.lon) * 60.0 * math.cos(math.radians(mark.lat)))


@pytest.mark.long
@pytest.mark.parametrize("ocean", [five_days(), invented_ocean(3)], ids=lambda o: o.name)
def test_the_way_found_leads_to_the_mark_when_sailed_angle_by_angle(brisvik, ocean):
    waters, way = searched(brisvik, ocean.weather(step_h=3.0), ocean.marks)
    assert way.exact
    # A second-order rule in quarter hours against a fourth-order one, over hundreds of miles of
    # a field with creases.
    assert miles(sailed(waters, way), ocean.marks[1]) < 1e-3 * ocean.nm
    for before, after in zip(way.stretches, way.stretches[1:], strict=False):
        assert after.time_h[0] >= before.time_h[-1]


@pytest.mark.long
def test_the_way_of_a_thousand_miles_through_restless_winds_can_be_sailed(brisvik):
    """In them what is late at one place meets other winds at all that follow."""
    weather = restless_forecast(
        (20.0, 52.0), (-40.0, 2.0), 400.0, base_deg=60.0, kn=13.0, step_h=3.0, cell_deg=1.0
    )
    marks = leg(40.0, -10.0, 245.0, 1000.0)
    waters, way = searched(brisvik, weather, marks)
    assert way.exact
    # Hour by hour, for over days no two rules of integration keep together in such winds.
    for part in way.stretches:
        for at in range(0, len(part.lat) - 1, 7):
            ends = slice(at, at + 2)
            one = Stretch(*(part[:1]), *(values[ends] for values in part[1:]))
            off = sailed(waters, Way(0, -1, (one,), float(one.time_h[-1]))) - [
                one.lat[-1], one.lon[-1]
            ]  # fmt: skip
            assert math.hypot(*off) * 60.0 < 0.01


def test_steps_promised_too_short_are_sailed_through_the_same_places(brisvik):
    """Eight days due east along the equator, hours two in a hundred too short.

    The wind swings by 25° to either side of north in 19 h, so that a few hours late she needs
    other angles everywhere.
    """

    def swinging(t, _lat, _lon):
        return 25.0 * np.sin(2.0 * np.pi * t / 19.0), 12.0 + 3.0 * np.sin(t / 9.0), np.nan, 0.0, 0.0

    waters, count = Waters(brisvik, Formula(swinging)), 200
    lon = 0.1 * np.arange(count + 1.0)
    hours, rows, promised = 0.0, [], []
    for _ in range(count):
        twd, tws = swinging(hours + 0.45, 0.0, 0.0)[:2]
        rows.append(90.0 - twd)
        promised.append(0.98 * 6.01 / float(sailing(brisvik, 0, rows[-1], tws).boat_speed_kn))
        hours += promised[-1]
    none, every = np.zeros(count), np.zeros(count, dtype=int)
    steps = Steps(
        every, every, np.array(rows), np.array(promised), none, none + START_H, none, lon[:-1],
        none, lon[1:],
    )  # fmt: skip
    made, exact = resailed(waters, steps)
    assert waters.modes[0].tack == "port"
    assert exact.all()
    assert np.abs(made.to_lon - lon[1:]).max() < 1e-9
    assert np.abs(made.to_lat).max() < 1e-9
    times = np.append(made.begins_h, made.begins_h[-1] + made.hours[-1])
    way = Stretch(0, none, lon, times, np.append(np.nan, made.row_deg))
    place = sailed(waters, Way(0, -1, (way,), float(times[-1])))
    assert place == pytest.approx([0.0, lon[-1]], abs=2e-3 * lon[-1])


def test_of_each_row_of_cells_those_of_the_fastest_ways_are_looked_at_next():
    grid = Grid(course_between(57.0, 11.0, 58.0, 11.0), 0.1, 2, 20)
    rng = np.random.default_rng(1)
    cells = rng.permutation(int(np.prod(grid.shape)))[:400]
    total_h = rng.permutation(400).astype(float)
    chosen = _best_of_rows(grid, np.repeat(cells, 2), np.repeat(total_h, 2) + [0.0, 0.5] * 400, 6)
    rows = cells // grid.shape[1]
    for row in range(grid.shape[0]):
        own = np.flatnonzero(rows == row)
        best = cells[own[np.argsort(total_h[own])[:6]]]
        assert set(chosen[chosen // grid.shape[1] == row]) == set(best)


@pytest.mark.parametrize("too_strong_at_h", [2.3, 2.6, 2.9])
def test_a_pole_is_struck_where_the_wind_gets_too_strong_for_it(brisvik, too_strong_at_h):
    """A way dead before a rising wind that keeps the pole for the whole of its third hour."""
    most_kn = brisvik.sail_sets[brisvik.index("wing-and-wing")].tws_kn[1]

    def wind(t, _lat, _lon):
        return 0.0, most_kn + 0.8 * (t - too_strong_at_h), np.nan, 0.0, 0.0

    waters = Waters(brisvik, Formula(wind))
    poled, plain = (
        next(at for at, mode in enumerate(waters.modes) if mode.poled == wanted)
        for wanted in (True, False)
    )
    lat, times = 57.0 - 0.1 * np.arange(6.0), START_H + np.array([0.0, 1.0, 2.0, 3.0, 4.0, 5.0])
    rows, lon, pause = np.append(np.nan, np.full(5, 180.0)), np.full(6, 11.0), 0.05
    before = Stretch(poled, lat[:4], lon[:4], times[:4], rows[:4])
    after = Stretch(plain, lat[3:], lon[3:], times[3:] + pause, np.append(np.nan, rows[4:]))
    (way,) = sailed_exactly(waters, [Way(0, -1, (before, after), float(times[-1]))])
    assert way.exact
    before, after = way.stretches
    assert START_H < before.time_h[-1] < START_H + too_strong_at_h
    assert after.time_h[0] == pytest.approx(before.time_h[-1] + pause)
    assert [after.lat[0], after.lat[-1]] == pytest.approx([before.lat[-1], lat[-1]], abs=1e-9)
    place = sailed(waters, way)
    assert miles(place, Mark(name="B", lat=lat[-1], lon=11.0)) < 0.01


def test_between_marks_that_lie_as_one_nothing_is_sailed(brisvik):
    waters = Waters(brisvik, Formula(lambda *_: (0.0, 10.0, np.nan, 0.0, 0.0)))
    one, first, none = np.ones(1), np.zeros(1, dtype=int), np.zeros(1)
    steps = Steps(
        first, first, 90.0 * one, none, none, START_H * one, 57.0 * one, none, 57.0 * one, none
    )
    made, exact = resailed(waters, steps)
    assert exact.all()
    assert made.hours == pytest.approx(none)


def test_an_island_without_values_is_gone_round(brisvik):
    lats, lons = np.arange(56.0, 58.01, 0.05), np.arange(10.0, 12.51, 0.05)
    lat, lon = np.meshgrid(lats, lons, indexing="ij")
    island = np.hypot((lat - 57.0) * 60.0, (lon - 11.2) * 60.0 * math.cos(math.radians(57.0))) < 6.0
    still = np.where(island, np.nan, 0.0)
    fields = dict(zip((*WIND, *STREAM), (0.0 * lat, 0.0 * lat - 12.0, still, still), strict=True))
    times = np.array([0.0, 60.0])
    columns = {name: np.stack([value, value]) for name, value in fields.items()}
    weather = GridWeather((layer_of(columns, LatLonGrid(lats, lons), START_H + times),))
    _, way = searched(brisvik, weather, leg(57.0, 10.6, 90.0, 40.0))
    assert way.exact
    lat, lon = way.places
    off = np.hypot((lat - 57.0) * 60.0, (lon - 11.2) * 60.0 * math.cos(math.radians(57.0)))
    assert off.min() > 5.9


def test_a_foul_stream_at_the_mark_is_waited_for(brisvik):
    """Six hours of a stream that outruns her, then six of a fair one."""

    def tide(t, _lat, _lon):
        return 0.0, 8.0, np.nan, 0.0, -4.0 * np.sign(np.sin(np.pi * (t + 1e-6) / 6.0))

    _, way = searched(brisvik, Formula(tide), leg(57.0, 11.0, 0.0, 20.0))
    assert 6.0 < way.arrival_h - START_H < 12.0
