"""What is met from stop to stop, how dangers are passed, and what wind and stream become."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

import changing_winds
from changing_winds import turning
from conftest import SAMPLES
from goosewing.case import Case
from goosewing.compass.headings import with_variation
from goosewing.exchange.document import format_plan_json, parse_plan
from goosewing.exchange.gpx.marks import read_marks
from goosewing.foresight import later, what_if
from goosewing.foresight.on_the_way import look_ahead
from goosewing.options import Options
from goosewing.plan import make, of_case
from goosewing.records import Mark
from goosewing.turns import stops
from goosewing.weather.combine import CombinedWeather, HeldWeather, high_waters, hold_last
from goosewing.weather.read import read_weather
from goosewing.weather.steady import SteadyWeather

DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)
METRES_PER_NM = 1852.0


ALIKE = (
    *("log_nm", "distance_nm", "elapsed_h", "boat_speed_kn", "speed_over_ground_kn"),
    *("course_over_ground_deg", "leeway_deg", "awa_deg", "aws_kn"),
)
"""What a board and its only stretch both tell."""


@pytest.fixture(scope="module")
def marks():
    return read_marks(SAMPLES / "kattegat.gpx").marks


@pytest.fixture(scope="module")
def steady(brisvik, marks):
    wind = SteadyWeather(315.0, 10.0, 100.0, 0.8)
    return look_ahead(make(marks, brisvik, wind, DEPARTURE), wind)


@pytest.fixture(scope="module")
def swung(brisvik, marks):
    """A wind that turns all along, and an order an hour."""
    wind = turning(9.0, 240.0, 12.0)
    made = make(marks, brisvik, wind, changing_winds.DEPARTURE, Options(watch_h=1.0))
    return with_variation(look_ahead(made, wind), 4.0)


def boards_of(plan):
    return [board for leg in plan.legs for board in leg.boards]


def test_in_steady_wind_a_stretch_is_the_board(steady):
    run = 0.0
    for board in boards_of(steady):
        held = board.stretch
        assert held.log_at_nm == pytest.approx(run, abs=1e-6)
        run += board.log_nm
        for name in ALIKE:
            assert getattr(held, name) == pytest.approx(getattr(board, name), abs=1e-4)
        assert held.last_heading_deg == board.heading_deg


def test_orders_along_a_board_share_its_time_and_miles(swung):
    shared = 0
    for board in boards_of(swung):
        found = [order.stretch for order in board.orders]
        shared += len(found) > 1
        assert sum(each.log_nm for each in found) == pytest.approx(board.log_nm, rel=1e-9)
        assert sum(each.distance_nm for each in found) == pytest.approx(board.distance_nm, rel=1e-9)
        assert sum(each.elapsed_h for each in found) == pytest.approx(board.elapsed_h, abs=1e-6)
        assert found[0] == board.stretch
        for one, two in pairwise(found):
            assert two.log_at_nm == pytest.approx(one.log_at_nm + one.log_nm, abs=1e-9)
    assert shared


def test_what_is_held_is_held_to_the_end_of_an_order(swung):
    """By the wind at that end: the angle to it, or the heading, is what it was."""
    checked = 0
    for board in boards_of(swung):
        side = 1.0 if board.tack == "port" else -1.0
        for order in board.orders:
            held = order.stretch
            if order.steer == "heading":
                assert held.last_heading_deg == pytest.approx(order.heading_deg, abs=1e-6)
                continue
            off = (held.last_heading_deg - held.last_twd_deg) * side % 360.0
            assert off == pytest.approx(order.twa_deg, abs=1e-6)
            checked += 1
    assert checked


def test_apparent_wind_and_leeway_of_every_point_are_those_of_its_own_triangle(swung):
    """In components along and across the bow: the handbook's triangle, worked out anew."""
    for board in boards_of(swung):
        for point in board.points[:: max(1, len(board.points) // 5)]:
            twa, leeway = np.radians([point.twa_deg, point.leeway_deg])
            fore = point.tws_kn * np.cos(twa) + point.boat_speed_kn * np.cos(leeway)
            abeam = point.tws_kn * np.sin(twa) - point.boat_speed_kn * np.sin(leeway)
            assert point.aws_kn == pytest.approx(np.hypot(fore, abeam), abs=1e-9)
            assert point.awa_deg == pytest.approx(np.degrees(np.arctan2(abeam, fore)), abs=1e-9)


def test_the_end_of_a_stretch_is_on_every_dial(swung):
    for board in boards_of(swung):
        for order in board.orders:
            last = order.stretch
            off = last.last_heading_deg - last.last_heading_magnetic_deg
            assert off % 360.0 == pytest.approx(4.0)


def test_hours_tell_log_and_the_mark_ahead(steady):
    logs = [hour.log_nm for hour in steady.hours]
    assert logs == sorted(logs)
    assert logs[0] == 0.0
    assert logs[-1] == pytest.approx(steady.log_nm, abs=1e-6)
    for hour in steady.hours:
        mark = steady.legs[hour.leg].boards[-1].end
        line = Geodesic.WGS84.Inverse(hour.lat, hour.lon, mark.lat, mark.lon)
        assert hour.from_mark.mark == steady.legs[hour.leg].destination
        # The rhumb line is longer than the geodesic by no more than this over such a leg.
        assert hour.from_mark.distance_nm == pytest.approx(line["s12"] / METRES_PER_NM, rel=1e-3)
        board = steady.legs[hour.leg].boards[hour.board]
        assert hour.awa_deg == pytest.approx(board.awa_deg, abs=1e-6)
        assert hour.speed_over_ground_kn == pytest.approx(board.speed_over_ground_kn, rel=1e-3)


def isometric(lat_deg):
    """Snyder, Map Projections (USGS Professional Paper 1395), equation 7-7, from memory."""
    sine, e = np.sin(np.radians(lat_deg)), np.sqrt(0.00669437999014)
    return np.degrees(np.arctanh(sine) - e * np.arctanh(e * sine))


@pytest.mark.parametrize(("off_nm", "side"), [(0.8, "starboard"), (-0.8, "port")])
def test_a_danger_abeam_of_a_board_is_passed_at_its_distance(brisvik, marks, off_nm, side):
    """Put square off the middle of a board's loxodrome by another library's geodesics."""
    wind = SteadyWeather(315.0, 10.0)
    made = make(marks, brisvik, wind, DEPARTURE)
    board = max(boards_of(made), key=lambda each: each.distance_nm)
    lat = 0.5 * (board.start.lat + board.end.lat)
    ends = [isometric(board.start.lat), isometric(board.end.lat)]
    share = (isometric(lat) - ends[0]) / (ends[1] - ends[0])
    lon = board.start.lon + share * (board.end.lon - board.start.lon)
    square = board.course_over_ground_deg + (90.0 if off_nm > 0 else -90.0)
    rock = Geodesic.WGS84.Direct(lat, lon, square, abs(off_nm) * METRES_PER_NM)
    danger = Mark(name="Skarv", lat=rock["lat2"], lon=rock["lon2"])
    (found,) = look_ahead(replace(made, dangers=(danger,)), wind).passed
    assert found.distance_nm == pytest.approx(abs(off_nm), abs=0.002)
    assert found.side == side
    begins, ends = board.start.time, board.end.time
    assert abs(found.time - (begins + (ends - begins) / 2)) < timedelta(minutes=3)
    assert (found.bearing_deg - square + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.5)


def test_dangers_far_away_are_not_told(brisvik, marks):
    wind = SteadyWeather(315.0, 10.0)
    made = make(marks, brisvik, wind, DEPARTURE)
    far = Mark(name="Far", lat=marks[0].lat + 0.5, lon=marks[0].lon - 1.0)
    assert look_ahead(replace(made, dangers=(far,)), wind).passed == ()


def test_nothing_becomes_of_a_steady_wind(steady, brisvik):
    assert steady.later == steady.afterwards == steady.tides == ()
    wind = SteadyWeather(315.0, 10.0, 100.0, 0.8)
    assert what_if.late(steady, brisvik, wind) == ()


def test_later_and_afterwards_are_what_the_source_tells(swung):
    wind = turning(9.0, 240.0, 12.0)
    assert {each.point for each in swung.later} >= {mark.name for mark in swung.marks}
    # Where a turn takes its minutes, what its board begins with is told, as in the orders.
    begins = {
        stop.name: stop.board.start.time
        for stop in stops(swung)
        if stop.board is not None and stop.order is None
    }
    for each in swung.later:
        time = begins.get(each.point, each.time)
        for delay, here in zip(each.delays_h, each.weather, strict=True):
            at = (time - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds() / 3600.0 + delay
            met = wind.at(at, each.lat, each.lon)
            assert here.wind_kn == pytest.approx(np.hypot(met.wind_east_kn, met.wind_north_kn))
    times = [each.time for each in swung.afterwards]
    assert times[0] == swung.arrival
    assert times[-1] >= swung.arrival + later.AFTER
    assert all(time.minute in (0, 30) and time.second == 0 for time in times[1:])


def test_on_time_she_arrives_as_planned_and_an_hour_late_an_hour_later_in_the_same_wind(
    brisvik, marks
):
    """In a wind that is the same an hour later, by construction."""
    wind = turning(0.0, 240.0, 12.0)
    made = look_ahead(make(marks, brisvik, wind, changing_winds.DEPARTURE), wind)
    found = what_if.late(made, brisvik, wind)
    assert [(each.mark, each.delay_h) for each in found] == [
        (stop.name, hours)
        for stop in [each for each in stops(made) if each.board is not None][-what_if.MOST_LATE :]
        for hours in later.delays_h(made)[1:]
    ]
    for each in found:
        gone = each.arrival - made.arrival
        assert gone.total_seconds() == pytest.approx(3600.0 * each.delay_h, abs=1.0)
    ordered = {stop.name: stop.order or stop.board for stop in stops(made)}
    for each in found:
        off = each.heading_deg - ordered[each.mark].heading_deg
        assert (off + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.05)
        assert each.reason is None


def test_she_is_not_late_by_the_lee(brisvik):
    """A dead run in a veering wind, whose direction at each hour is told by its own rate.

    Track and bow are one line with the wind dead aft: no leeway, no stream. Sailed late, the wind
    is so far over the other quarter as it has veered meanwhile.
    """
    rate, run = 4.0, changing_winds.leg(57.0, 11.0, 90.0, 12.0)
    wind = turning(rate, 262.0, 12.0)
    made = look_ahead(
        make(run, brisvik, wind, changing_winds.DEPARTURE, Options(watch_h=1.0)), wind
    )
    dead = {
        stop.name: stop.board
        for stop in stops(made)
        if stop.board is not None and stop.board.poled and stop.board.tack == "starboard"
    }
    refused, kept = 0, 0
    for each in what_if.late(made, brisvik, wind):
        # Orders are told up to the place from which on they fail.
        assert (each.heading_deg is None) is (each.fails_at == each.mark)
        if each.until_time is not None:
            assert each.last_twa_deg <= 180.0
            assert 0.0 < each.speed_over_ground_kn < 8.0
        if each.arrival is None:
            refused += 1
            assert each.reason == "by the lee"
            assert each.fails_at in dead
            continue
        if each.mark in dead:
            begins = next(stop for stop in stops(made) if stop.name == each.mark)
            at = begins.board.start.time if begins.order is None else begins.time
            then = (at - changing_winds.DEPARTURE) / timedelta(hours=1) + each.delay_h
            # On starboard tack the wind is on her starboard side, up to dead aft.
            assert (262.0 + rate * then - each.heading_deg) % 360.0 <= 180.01
            kept += 1
    assert refused
    assert kept


def test_where_her_tracks_fail_the_rest_is_planned_from_there(brisvik):
    """As the same engine plans it from that place and hour, in the sails that are up."""
    run = changing_winds.leg(57.0, 11.0, 90.0, 12.0)
    wind = turning(4.0, 262.0, 12.0)
    case = Case(marks=run, boat=brisvik, weather=wind, departure=changing_winds.DEPARTURE,
                options=Options(watch_h=1.0))  # fmt: skip
    made = look_ahead(of_case(case), wind)
    made = replace(made, late=what_if.late(made, brisvik, wind))
    failing = what_if.begun_anew(made)
    assert 0 < len(failing) <= what_if.MOST_ANEW
    where = failing[0]
    told = what_if.planned_anew(case, made, where)
    stop = next(each for each in stops(made) if each.name == where.mark)
    assert told.anew.first.time == stop.time + timedelta(hours=where.delay_h)
    here = Mark(name="here", lat=stop.lat, lon=stop.lon)
    alone = make([here, run[-1]], brisvik, wind, told.anew.first.time, Options(watch_h=1.0))
    # With the pole up and to be struck she is no sooner there than with any sails at choice.
    assert told.anew.arrival >= alone.arrival - timedelta(seconds=30)
    again = what_if.with_anew(made, [told])
    assert [each.anew is not None for each in again.late].count(True) == 1
    boom = None
    for turn in told.anew.turns:
        kinds = [step.kind for step in turn.crew]
        if "gybe" in kinds and "strike_pole" in kinds:
            boom = kinds.index("gybe")
            assert kinds.index("strike_pole") < kinds.index("preventer_off") < boom
    assert boom is not None


def test_how_late_is_told_by_the_passage(steady):
    assert later.delays_h(replace(steady, elapsed_h=2.5)) == (0.0, 1 / 3, 1.0, 2.0)
    assert later.delays_h(replace(steady, elapsed_h=70.0)) == (0.0, 1.0, 3.0, 6.0)


def test_high_waters_are_found_wherever_the_tables_are():
    tidal = read_weather(SAMPLES / "tidal_stream.toml", wanted="stream")
    port, waters = high_waters(tidal)
    assert waters == tuple(tidal.high_waters)
    both = CombinedWeather(SteadyWeather(200.0, 10.0), tidal)
    assert high_waters(both) == (port, waters)
    held = hold_last(both)
    assert isinstance(held, HeldWeather)
    assert high_waters(held) == (port, waters)
    assert high_waters(SteadyWeather(200.0, 10.0)) == ("", ())


def test_all_of_it_stands_in_the_document(swung):
    again = parse_plan(format_plan_json(swung))
    assert [b.stretch is not None for b in boards_of(again)] == [True] * len(boards_of(swung))
    assert len(again.later) == len(swung.later)
    assert len(again.afterwards) == len(swung.afterwards)
    assert again.hours[1].log_nm == swung.hours[1].log_nm


def test_late_at_a_mark_that_is_passed_twice_she_is_planned_from_that_passing(brisvik):
    """Round a mark and back, on to a third: each passing has hours of its own, and what is left."""
    wind = turning(12.0, 240.0, 12.0)
    start, north = changing_winds.leg(57.0, 11.0, 0.0, 6.0)
    _, east = changing_winds.leg(57.0, 11.0, 90.0, 6.0)
    course = [start, north, start, replace(east, name="C")]
    made = look_ahead(make(course, brisvik, wind, changing_winds.DEPARTURE), wind)
    found = [each for each in what_if.late(made, brisvik, wind) if each.mark == start.name]
    hours = [stop.time for stop in stops(made) if stop.name == start.name]
    assert len(set(hours)) == 2
    assert {each.time for each in found} <= set(hours)
    again = next(each for each in found if each.time == hours[1])
    case = Case(marks=tuple(course), boat=brisvik, weather=wind, departure=changing_winds.DEPARTURE)
    anew = what_if.planned_anew(case, made, again).anew
    direct = make(
        course[2:], brisvik, wind, hours[1] + timedelta(hours=again.delay_h),
        Options(start_with=made.legs[1].boards[-1].sail_set,
                start_tack=made.legs[1].boards[-1].tack),
    )  # fmt: skip
    assert anew.elapsed_h == pytest.approx(direct.elapsed_h, rel=1e-6)
    kept = replace(made, marks=made.marks[2:], legs=made.legs[2:])
    assert anew.same_boards is (what_if.sequence(direct) == what_if.sequence(kept))


def test_another_plan_comes_to_a_turn_by_the_dial_that_its_own_sheet_shows(brisvik, marks):
    """The variation changes by 10° over each degree of latitude: where it is taken can be seen."""

    def variation(lat, _lon, _time):
        return 10.0 * (lat - 56.0)

    wind = SteadyWeather(315.0, 10.0)
    case = Case(marks=tuple(marks), boat=brisvik, weather=wind, departure=DEPARTURE)
    change = what_if.Change(wind_factor=0.9)
    lighter = what_if.planned_if(case, look_ahead(of_case(case), wind), change)
    own = make(marks, brisvik, SteadyWeather(315.0, 9.0), DEPARTURE)
    own = with_variation(look_ahead(own, wind), variation)
    found = with_variation(replace(own, what_if=(lighter,)), variation).what_if[0]
    comes = [turn.comes_magnetic_deg for turn in found.turns if turn.comes_deg is not None]
    shown = [stop.before.stretch.last_heading_magnetic_deg for stop in stops(own) if stop.before]
    assert len(comes) > 1
    assert comes == pytest.approx(shown[: len(comes)], abs=1e-6)
