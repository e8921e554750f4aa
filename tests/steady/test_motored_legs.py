"""Legs under engine in steady wind, against sums done by hand."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from changing_winds import leg
from goosewing.boat.model import Engine
from goosewing.earth import geodesy
from goosewing.errors import InputError, NoPlanError
from goosewing.exchange import document
from goosewing.exchange.geojson import format_geojson
from goosewing.exchange.gpx.plans import format_plan
from goosewing.options import Options
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.steady.motoring import heading_to_make_good
from goosewing.weather.steady import SteadyWeather
from goosewing.words.brief import compact
from goosewing.words.points import Briefing, Steering

DEPARTURE = datetime(2027, 6, 1, 6, tzinfo=UTC)
MOTORING = Options(engine=True)
A_SECOND_H = 1.0 / 3600.0


@pytest.fixture(scope="module")
def motor(brisvik):
    return replace(brisvik, engine=Engine(speed_kn=5.0, least_vmc_kn=2.5, litres_per_hour=1.5))


def with_engine(boat, **more):
    return replace(boat, engine=replace(boat.engine, **more))


def planned(marks, boat, *weather, **options):
    return make(marks, boat, SteadyWeather(*weather), DEPARTURE, Options(engine=True, **options))


def boards(plan):
    return [board for each in plan.legs for board in each.boards]


# ---- time, heading, litres -------------------------------------------------------------------


def test_in_a_calm_it_is_distance_over_speed(motor):
    plan = planned(leg(57.0, 11.0, 250.0, 12.0), motor, 0.0, 0.0)
    (board,) = boards(plan)
    assert plan.elapsed_h == pytest.approx(12.0 / 5.0, abs=A_SECOND_H)
    assert (board.engine, board.sail_set, board.steer) == (True, "engine", "heading")
    assert (board.leeway_deg, board.heel_deg, board.poled) == (0.0, None, False)
    assert (plan.engine_h, plan.engine_litres) == pytest.approx((2.4, 3.6), abs=1e-3)
    assert plan.straight_h is None
    assert plan.saved_min is None


@pytest.mark.parametrize(
    ("course_deg", "setting_deg", "drift_kn", "heading_deg", "speed_kn"),
    [
        # Chartwork: lay off the stream for an hour from the start, swing five miles from its end
        # onto the course line. Three, four and five make a right angle.
        (90.0, 180.0, 3.0, 90.0 - math.degrees(math.atan2(3, 4)), 4.0),
        (90.0, 0.0, 3.0, 90.0 + math.degrees(math.atan2(3, 4)), 4.0),
        (350.0, 80.0, 4.0, 350.0 - math.degrees(math.atan2(4, 3)), 3.0),
        (30.0, 30.0, 1.0, 30.0, 6.0),
        (30.0, 210.0, 1.0, 30.0, 4.0),
    ],
)
def test_the_stream_is_set_off_as_on_the_chart(
    motor, course_deg, setting_deg, drift_kn, heading_deg, speed_kn
):
    end = geodesy.loxodrome_direct(57.0, 11.0, course_deg, 6.0)
    marks = [
        Mark(name="A", lat=57.0, lon=11.0), Mark(name="B", lat=float(end.lat), lon=float(end.lon))
    ]  # fmt: skip
    # The wind goes with the water, so that none is felt.
    wind = (setting_deg + 180.0) % 360.0, drift_kn
    boat = with_engine(motor, least_vmc_kn=4.9)
    (board,) = boards(planned(marks, boat, *wind, setting_deg, drift_kn))
    assert board.heading_deg == pytest.approx(heading_deg % 360.0, abs=1e-6)
    assert board.course_over_ground_deg == pytest.approx(course_deg, abs=1e-6)
    assert board.speed_over_ground_kn == pytest.approx(speed_kn, abs=1e-6)
    assert board.elapsed_h == pytest.approx(6.0 / speed_kn, abs=1e-6)
    assert board.log_nm == pytest.approx(5.0 * board.elapsed_h)


@pytest.mark.parametrize("course_deg", [0.0, 77.0, 200.0, 311.0])
def test_no_other_heading_makes_the_course_good(course_deg):
    east, north = 1.3, -0.9
    heading, speed = heading_to_make_good(5.0, course_deg, east, north)
    every = np.radians(np.arange(0.0, 360.0, 0.01))
    ground = np.column_stack((5.0 * np.sin(every) + east, 5.0 * np.cos(every) + north))
    off = np.abs((np.degrees(np.arctan2(*ground.T)) - course_deg + 180.0) % 360.0 - 180.0)
    best = int(np.argmin(off))
    assert heading == pytest.approx(math.degrees(every[best]), abs=0.02)
    assert speed == pytest.approx(float(np.hypot(*ground[best])), abs=1e-3)


def test_a_stream_too_strong_is_no_plan(motor):
    assert heading_to_make_good(5.0, 0.0, 5.0, 0.0) is None
    assert heading_to_make_good(5.0, 0.0, 3.0, -4.0) is None
    with pytest.raises(NoPlanError, match="carries her off"):
        planned(leg(57.0, 11.0, 0.0, 5.0), motor, 180.0, 6.0, 180.0, 6.0)


def test_apparent_wind_is_that_of_her_own_way(motor):
    (board,) = boards(planned(leg(57.0, 11.0, 40.0, 5.0), motor, 0.0, 0.0))
    assert (board.aws_kn, board.awa_deg) == pytest.approx((5.0, 0.0), abs=1e-6)


@pytest.mark.parametrize(("course_deg", "tack"), [(90.0, "port"), (270.0, "starboard")])
def test_the_tack_is_the_side_of_the_wind(motor, course_deg, tack):
    (board,) = boards(planned(leg(57.0, 11.0, course_deg, 5.0), motor, 0.0, 1.0))
    assert (board.engine, board.tack) == (True, tack)


# ---- when it is used -------------------------------------------------------------------------


@pytest.mark.parametrize("bearing_deg", [0.0, 90.0, 180.0])
@pytest.mark.parametrize("tws_kn", [5.0, 10.0])
def test_it_is_used_below_the_least_made_good_turns_and_all(motor, bearing_deg, tws_kn):
    marks = leg(57.0, 11.0, bearing_deg, 9.0)
    dear = replace(motor, manoeuvres=replace(motor.manoeuvres, tack_s=400.0, gybe_s=300.0))
    sailed = make(marks, dear, SteadyWeather(0.0, tws_kn), DEPARTURE)
    made_good = 9.0 / sailed.elapsed_h
    for share in (0.995, 1.005):
        boat = with_engine(dear, speed_kn=9.0, least_vmc_kn=made_good * share)
        plan = planned(marks, boat, 0.0, tws_kn)
        assert all(board.engine is (share > 1.0) for board in boards(plan))


def test_a_slower_engine_is_not_used(motor):
    # With a stream across the course it makes less good than the sails.
    marks = leg(57.0, 11.0, 90.0, 9.0)
    boat = with_engine(motor, speed_kn=3.0, least_vmc_kn=2.9)
    sailed = make(marks, boat, SteadyWeather(0.0, 3.5, 0.0, 2.0), DEPARTURE)
    # Right-angled chartwork again: the square root of 3² - 2².
    assert math.sqrt(3.0**2 - 2.0**2) < 9.0 / sailed.elapsed_h < 2.9
    assert not any(board.engine for board in boards(planned(marks, boat, 0.0, 3.5, 0.0, 2.0)))


@pytest.mark.parametrize("tws_kn", [0.0, 50.0])
def test_where_no_sails_can_be_carried_sailing_counts_as_nothing(motor, tws_kn):
    plan = planned(leg(57.0, 11.0, 90.0, 10.0), motor, 0.0, tws_kn)
    assert plan.elapsed_h == pytest.approx(2.0, abs=A_SECOND_H)
    assert "makes nothing good" in plan.legs[0].reasons[0]
    assert any("quiet water" in each for each in plan.notices) is (tws_kn > 15.0)


def test_off_unless_asked_and_refused_without_one(motor):
    marks = leg(57.0, 11.0, 0.0, 9.0)
    plan = make(marks, motor, SteadyWeather(0.0, 4.0), DEPARTURE)
    assert not any(board.engine for board in boards(plan))
    assert (plan.engine_h, plan.engine_litres) == (None, None)
    none = replace(motor, engine=None)
    with pytest.raises(InputError, match=r"the boat file of Brisvik has no \[engine\] table"):
        make(marks, none, SteadyWeather(0.0, 4.0), DEPARTURE, MOTORING)


def test_without_need_the_plan_is_the_same(motor):
    marks = leg(57.0, 11.0, 0.0, 9.0)
    plain = make(marks, motor, SteadyWeather(0.0, 10.0), DEPARTURE)
    asked = planned(marks, motor, 0.0, 10.0)
    assert replace(asked, engine_h=None, engine_litres=None) == plain
    assert (asked.engine_h, asked.engine_litres) == (0.0, 0.0)


# ---- what belongs to it ----------------------------------------------------------------------


def corner(*bearings_nm):
    marks = [Mark(name="M0", lat=57.0, lon=11.0)]
    for number, (bearing, nm) in enumerate(bearings_nm, 1):
        end = leg(marks[-1].lat, marks[-1].lon, bearing, nm)[1]
        marks.append(replace(end, name=f"M{number}"))
    return marks


def test_the_pole_is_struck_before_and_set_after_and_nothing_else_costs(motor):
    # Dead before 10 kn, back dead to windward under engine, and down again.
    boat = with_engine(motor, speed_kn=6.0, least_vmc_kn=4.2)
    plan = planned(corner((180.0, 9.0), (0.0, 9.0), (180.0, 9.0)), boat, 0.0, 10.0)
    down, up, again = plan.legs
    assert [board.engine for board in boards(plan)] == [False, True, False]
    assert down.boards[-1].poled
    assert [m.kind for m in up.manoeuvres] == ["strike_pole"]
    assert [m.kind for m in again.manoeuvres] == ["set_pole"]
    assert up.elapsed_h == pytest.approx(9.0 / 6.0 + 180.0 / 3600.0, abs=1e-4)


def test_sails_handed_and_set_on_either_tack_cost_nothing(motor):
    # A reach, dead to windward under engine, and a reach back on the other tack.
    boat = with_engine(motor, least_vmc_kn=4.5)
    plan = planned(corner((90.0, 9.0), (0.0, 9.0), (270.0, 9.0)), boat, 0.0, 10.0)
    assert [(b.engine, b.tack) for b in boards(plan)][::2] == [
        (False, "port"),
        (False, "starboard"),
    ]
    assert boards(plan)[1].engine
    assert not any(each.manoeuvres for each in plan.legs)


def test_no_layline_no_bound_and_a_word_of_it(motor):
    plan = planned(corner((0.0, 9.0), (90.0, 9.0)), with_engine(motor, least_vmc_kn=4.5), 0.0, 10.0)
    assert [board.engine for board in boards(plan)] == [True, False]
    assert plan.legs[0].laylines == ()
    assert plan.legs[0].bound_h is None
    assert plan.legs[1].bound_h is not None
    assert plan.bound_h is None
    assert any("no least time is told" in each for each in plan.notices)


def test_the_straight_course_it_is_compared_with_is_sailed(motor):
    boat = with_engine(motor, speed_kn=8.0, least_vmc_kn=7.9)
    marks = leg(57.0, 11.0, 90.0, 9.0)
    sailed = make(marks, motor, SteadyWeather(0.0, 10.0), DEPARTURE)
    plan = planned(marks, boat, 0.0, 10.0)
    assert boards(plan)[0].engine
    assert plan.straight_h == pytest.approx(sailed.straight_h)
    assert plan.saved_min == pytest.approx((sailed.straight_h - 9.0 / 8.0) * 60.0, abs=0.05)


@pytest.mark.parametrize("bearing_deg", [10.0, 100.0, 170.0])
def test_left_and_right_are_mirror_images(motor, bearing_deg):
    def mirrored(sign):
        marks = [Mark(name="A", lat=57.0, lon=0.0), leg(57.0, 0.0, bearing_deg, 8.0)[1]]
        marks[1] = replace(marks[1], lon=sign * marks[1].lon)
        return planned(marks, motor, sign * 30.0 % 360.0, 4.0, sign * 70.0 % 360.0, 1.0)

    right, left = mirrored(1.0), mirrored(-1.0)
    assert right.elapsed_h == pytest.approx(left.elapsed_h, rel=1e-9)
    for one, other in zip(boards(right), boards(left), strict=True):
        assert one.engine == other.engine
        assert (one.heading_deg + other.heading_deg) % 360.0 == pytest.approx(0.0, abs=1e-6) or (
            one.heading_deg + other.heading_deg
        ) % 360.0 == pytest.approx(360.0, abs=1e-6)
        assert {one.tack, other.tack} == {"port", "starboard"}


def test_marks_left_on_a_hand_are_rounded_under_engine_too(motor):
    marks = corner((0.0, 6.0), (90.0, 6.0))
    marks[1] = replace(marks[1], leave="starboard", leave_distance_nm=0.2)
    plan = planned(marks, motor, 0.0, 0.0)
    assert all(board.engine for board in boards(plan))
    # Two legs and a quarter of a circle about the mark, on the chords' outside.
    least = (12.0 + math.pi / 2.0 * 0.2) / 5.0
    assert least < plan.elapsed_h < 1.02 * least


# ---- what is told of it ----------------------------------------------------------------------


def test_the_document_tells_it_and_is_read_back(motor):
    plan = planned(corner((0.0, 9.0), (90.0, 9.0)), motor, 0.0, 4.0)
    content = document.format_plan_json(plan)
    written = json.loads(content)
    assert written["engine_h"] == pytest.approx(1.8, abs=1e-3)
    assert written["engine_litres"] == pytest.approx(2.7, abs=1e-3)
    assert [b["engine"] for one in written["legs"] for b in one["boards"]] == [True, False]
    assert document.parse_plan(content).engine_h == plan.engine_h
    sailed = make(leg(57.0, 11.0, 0.0, 5.0), motor, SteadyWeather(0.0, 10.0), DEPARTURE)
    plain = json.loads(document.format_plan_json(sailed))
    assert (plain["engine_h"], plain["engine_litres"]) == (None, None)


def test_the_route_names_where_it_is_started_and_where_sails_are_set(motor):
    boat = with_engine(motor, least_vmc_kn=4.5)
    plan = planned(corner((90.0, 9.0), (0.0, 9.0), (270.0, 9.0)), boat, 0.0, 10.0)
    written = format_plan(plan)
    assert "<desc>under engine, steer 000°, " in written
    assert "<desc>set sail, on starboard tack, main and jib, steer 27" in written
    features = json.loads(format_geojson(plan))["features"]
    told = [f["properties"]["engine"] for f in features if f["properties"]["feature"] == "board"]
    assert told == [False, True, False]


MOTORED = Steering(tack="port", sail_set="engine", heading_deg=271.0, engine=True)


@pytest.mark.parametrize(
    ("length", "said"),
    [(40, "under engine, steer 271, 0815Z"), (16, "engine 271 0815Z"), (10, "engine 271")],
)
def test_a_small_receiver_shows_it(length, said):
    time = datetime(2027, 6, 1, 8, 15, tzinfo=UTC)
    assert compact(Briefing(steering=MOTORED, time=time), length) == said


def test_a_small_receiver_shows_the_pole_struck_before_it():
    assert compact(Briefing(kinds=("strike_pole",), steering=MOTORED), 16) in (
        "pole dn engine 271"[:16], "PD engine 271", "pole dn 271",
    )  # fmt: skip
