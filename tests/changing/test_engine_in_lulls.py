"""Lulls in changing wind: when the engine is started and stopped, and what it saves."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from changing_winds import Formula, leg, metres_apart, sailed
from goosewing.boat.manoeuvres import all_modes
from goosewing.boat.model import Engine, sailing
from goosewing.changing.engine_rule import Lulls, farthest_mix_kn
from goosewing.options import Options
from goosewing.plan import make
from goosewing.velocities.velocity_set import Airs, best_made_good_kn, fastest_mix, velocity_set
from goosewing.weather.table import parse_table

DEPARTURE = datetime(2027, 6, 1, 6, tzinfo=UTC)
LEAST_KN, ENGINE_KN = 2.5, 5.5
A_LOOK_H = 1.0 / 60.0


@pytest.fixture(scope="module")
def motor(brisvik):
    return replace(brisvik, engine=Engine(speed_kn=ENGINE_KN, least_vmc_kn=LEAST_KN))


def falling_calm(from_deg=0.0):
    """Ten knots that die away between 0800Z and 0900Z and are back from 1000Z to 1100Z."""
    rows = [("06:00", 10), ("08:00", 10), ("09:00", 0), ("10:00", 0), ("11:00", 10), ("23:00", 10)]
    return parse_table(
        "time,wind_from_deg,wind_kn\n"
        + "\n".join(f"2027-06-01T{clock}:00Z,{from_deg},{kn}" for clock, kn in rows)
    )


def best_of_all_pairs_kn(boat, tws_kn, off_deg):
    """Greatest speed made good at an angle to the wind, all pairs of velocities tried."""
    east, north = [], []
    for mode in all_modes(boat):
        rows = np.arange(0.0, 180.01, 1.0)
        held = sailing(boat, mode.sail_set, rows, np.full(rows.shape, tws_kn))
        ok = held.possible
        track = np.radians(mode.side * held.track_angle_deg[ok] - off_deg)
        east.append(held.boat_speed_kn[ok] * np.sin(track))
        north.append(held.boat_speed_kn[ok] * np.cos(track))
    across, along = np.concatenate(east), np.concatenate(north)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = across / (across - across[:, np.newaxis])
        mixed = share * along[:, np.newaxis] + (1 - share) * along
    mixed = np.where((share >= 0) & (share <= 1), mixed, -np.inf)
    return max(float(mixed.max()), 0.0)


def bearing(here, mark):
    return Geodesic.WGS84.Inverse(here.lat, here.lon, mark.lat, mark.lon)["azi1"]


def wind_at_which(boat, off_deg, made_good_kn):
    """The wind in which so much is made good, by bisection."""
    low, high = 0.1, 10.0
    for _ in range(30):
        middle = (low + high) / 2.0
        if best_of_all_pairs_kn(boat, middle, off_deg) < made_good_kn:
            low = middle
        else:
            high = middle
    return low


@pytest.mark.long
@pytest.mark.parametrize("bearing_deg", [0.0, 90.0, 180.0])
def test_she_motors_from_when_to_when_the_polar_says(motor, bearing_deg):
    marks = leg(57.0, 11.0, bearing_deg, 30.0)
    plan = make(marks, motor, falling_calm(), DEPARTURE, Options(engine=True))
    under = [board for board in plan.legs[0].boards if board.engine]
    assert len(under) == 1
    # The wind passes the speed that counts on its way down and up again, ten knots an hour;
    # which it is hangs on how the mark then bears.
    down, up = (
        wind_at_which(motor, bearing(at, marks[1]), LEAST_KN) / 10.0
        for at in (under[0].start, under[0].end)
    )
    first = DEPARTURE + timedelta(hours=3.0 - down)
    last = DEPARTURE + timedelta(hours=4.0 + up)
    slack = timedelta(minutes=2)
    # A pole is handled on the way, three or four minutes before she can be off.
    if bearing_deg == 180.0:
        slack += timedelta(minutes=4)
    assert first - slack <= under[0].start.time <= first + slack
    assert last - slack <= under[0].end.time <= last + slack
    assert plan.engine_h == pytest.approx(under[0].elapsed_h)
    assert plan.engine_litres is None


@pytest.mark.long
def test_by_hand_a_reach_with_a_lull(motor):
    # Before and after the lull she reaches at the table's speed; in it she motors. What the
    # dying wind still gives is bounded from both sides.
    plan = make(leg(57.0, 11.0, 90.0, 30.0), motor, falling_calm(), DEPARTURE, Options(engine=True))
    full = best_of_all_pairs_kn(motor, 10.0, 90.0)
    tws = wind_at_which(motor, 90.0, LEAST_KN)
    dying_h = (10.0 - tws) / 10.0
    lull_h = 1.0 + 2.0 * tws / 10.0
    gone_most = 2.0 * full + 2.0 * dying_h * full + lull_h * ENGINE_KN
    gone_least = 2.0 * full + 2.0 * dying_h * LEAST_KN + lull_h * ENGINE_KN
    until_then = 2.0 + 2.0 * dying_h + lull_h
    assert until_then + (30.0 - gone_most) / full <= plan.elapsed_h * 1.001
    assert plan.elapsed_h <= until_then + (30.0 - gone_least) / full
    without = make(leg(57.0, 11.0, 90.0, 30.0), motor, falling_calm(), DEPARTURE)
    # Nothing is made good in the hour of calm, and next to nothing about it.
    assert without.elapsed_h - plan.elapsed_h > 0.7
    # No course is held straight through a dead calm.
    assert plan.straight_h is None


@pytest.mark.long
def test_each_board_leads_where_the_next_begins(motor):
    marks = leg(57.0, 11.0, 90.0, 30.0)
    plan = make(marks, motor, falling_calm(), DEPARTURE, Options(engine=True))
    for board in plan.legs[0].boards:
        if board.engine:
            # No stream: speed through the water for so long, on one heading.
            assert board.distance_nm == pytest.approx(ENGINE_KN * board.elapsed_h, rel=1e-6)
            assert board.course_over_ground_deg == pytest.approx(board.heading_deg, abs=1e-6)
            assert (board.leeway_deg, board.heel_deg) == (0.0, None)
            continue
        lat, lon = sailed(motor, falling_calm(), board)
        assert metres_apart(replace(marks[0], lat=lat, lon=lon), board.end) < 150.0
    assert metres_apart(plan.legs[0].boards[-1].end, marks[1]) < 1.0


@pytest.mark.long
def test_left_and_right_are_mirror_images(motor):
    def planned(sign):
        marks = leg(0.0, 0.0, 60.0, 25.0)
        marks[1] = replace(marks[1], lon=sign * marks[1].lon)
        return make(
            marks, motor, falling_calm(sign * 40.0 % 360.0), DEPARTURE, Options(engine=True)
        )

    right, left = planned(1.0), planned(-1.0)
    assert right.elapsed_h == pytest.approx(left.elapsed_h, rel=1e-3)
    assert right.engine_h == pytest.approx(left.engine_h, abs=3 * A_LOOK_H)
    assert right.engine_h > 1.0


@pytest.mark.long
def test_who_is_becalmed_at_the_start_motors_out(motor):
    # Calm for two hours, then soon a fair wind: eleven miles under engine, the rest under sail.
    weather = Formula(lambda t, *_: (0.0, np.clip(60.0 * (t - 2.0), 0, 10), np.nan, 0.0, 0.0))
    plan = make(leg(57.0, 11.0, 90.0, 20.0), motor, weather, DEPARTURE, Options(engine=True))
    first, *rest = plan.legs[0].boards
    assert first.engine
    assert first.elapsed_h == pytest.approx(2.0, abs=0.07)
    assert rest
    assert not any(board.engine for board in rest)
    full = best_of_all_pairs_kn(motor, 10.0, 90.0)
    assert plan.elapsed_h == pytest.approx(2.0 + (20.0 - 2.0 * ENGINE_KN) / full, rel=0.02)


@pytest.mark.long
def test_a_calm_that_lasts_is_motored_to_the_mark_and_off_its_stream(motor):
    # Three knots across and five and a half along the heading.
    weather = Formula(lambda *_: (180.0, 3.0, np.nan, 0.0, 3.0))
    plan = make(leg(57.0, 11.0, 90.0, 9.0), motor, weather, DEPARTURE, Options(engine=True))
    assert all(board.engine for board in plan.legs[0].boards)
    assert plan.elapsed_h == pytest.approx(9.0 / np.sqrt(ENGINE_KN**2 - 9.0), rel=2e-3)
    assert plan.legs[0].laylines == ()
    assert plan.bound_h is None
    assert any("no least time" in each for each in plan.notices)
    assert any(each.startswith("Under engine from") for each in plan.legs[0].reasons)


@pytest.mark.long
def test_over_several_legs_the_pole_and_the_bound_are_seen_to(motor):
    # Dead before the wind until it dies, and on under engine past a mark.
    first = leg(57.0, 11.0, 180.0, 12.0)
    marks = [*first, replace(leg(first[1].lat, 11.0, 170.0, 12.0)[1], name="C")]
    plan = make(marks, motor, falling_calm(), DEPARTURE, Options(engine=True))
    kinds = [(m.kind, m.time) for one in plan.legs for m in one.manoeuvres]
    under = [board for one in plan.legs for board in one.boards if board.engine]
    assert plan.engine_h == pytest.approx(sum(board.elapsed_h for board in under))
    assert [kind for kind, _ in kinds] == ["strike_pole", "set_pole"]
    assert kinds[0][1] + timedelta(seconds=180) == under[0].start.time
    assert plan.bound_h is None


@pytest.mark.long
def test_in_a_good_wind_it_stays_off_and_the_plan_is_the_same(motor):
    weather = Formula(lambda t, *_: (5.0 * t, 10.0, np.nan, 0.0, 0.0))
    marks = leg(57.0, 11.0, 20.0, 15.0)
    plain = make(marks, motor, weather, DEPARTURE)
    asked = make(marks, motor, weather, DEPARTURE, Options(engine=True))
    assert asked.engine_h == 0.0
    assert asked.elapsed_h == pytest.approx(plain.elapsed_h, rel=1e-6)
    assert asked.bound_h == pytest.approx(plain.bound_h, rel=1e-6)


@pytest.mark.long
def test_a_turn_is_never_made_by_way_of_the_engine(motor):
    # Handing sails and setting them on the other side costs nothing, but only where she motors.
    dear = replace(motor, manoeuvres=replace(motor.manoeuvres, tack_s=1800.0))
    weather = Formula(lambda *_: (0.0, 10.0, np.nan, 0.0, 0.0))
    plan = make(leg(57.0, 11.0, 0.0, 10.0), dear, weather, DEPARTURE, Options(engine=True))
    assert not any(board.engine for board in plan.legs[0].boards)
    assert [m.kind for m in plan.legs[0].manoeuvres] == ["tack"]


# ---- the rule --------------------------------------------------------------------------------


def states(count=400):
    rng = np.random.default_rng(5)
    twd, tws = rng.uniform(0.0, 360.0, count), rng.uniform(0.0, 40.0, count) ** 0.8
    gust = np.where(rng.random(count) < 0.3, rng.uniform(0.0, 45.0, count), np.nan)
    return Airs(
        twd, tws, rng.normal(0.0, 1.0, count), rng.normal(0.0, 1.0, count), gust
    ), rng.uniform(0.0, 360.0, count)  # fmt: skip


def test_the_rule_is_the_hull_s(motor):
    here, bearing = states()
    poled = np.ones(len(bearing), dtype=bool)
    used = Lulls(motor, motor.engine).motored(here, bearing, poled)
    assert 20 < np.count_nonzero(used) < 380
    for at in range(len(bearing)):
        airs = Airs(*(float(values[at]) for values in here))
        best = np.nan_to_num(best_made_good_kn(velocity_set(motor, airs), bearing[at]))
        # What is made good is sampled more coarsely here than there.
        if abs(best - LEAST_KN) > 0.01:
            assert used[at] == (best < LEAST_KN)


def test_by_night_the_pole_does_not_count_and_unknown_is_not_motored(motor):
    light = np.array([6.0])
    zero = np.zeros(1)
    here = Airs(zero, light, zero, zero, zero * np.nan)
    rule = Lulls(motor, motor.engine)
    by_day = rule.made_good_kn(here, np.array([180.0]), np.array([True]))
    by_night = rule.made_good_kn(here, np.array([180.0]), np.array([False]))
    assert by_night < by_day
    unknown = here._replace(tws_kn=zero * np.nan)
    assert not rule.motored(unknown, np.array([180.0]), np.array([True]))[0]


def test_row_by_row_the_mix_is_that_of_one_ray():
    rng = np.random.default_rng(11)
    along, across = rng.normal(1.0, 3.0, (300, 9)), rng.normal(0.0, 3.0, (300, 9))
    along[rng.random(along.shape) < 0.2] = np.nan
    found = farthest_mix_kn(along, across)
    for row in range(300):
        known = np.isfinite(along[row])[np.newaxis]
        speed = fastest_mix(np.nan_to_num(along[row]), across[row], known).speed_kn[0]
        assert found[row] == pytest.approx(np.nan_to_num(speed), abs=1e-9)


@pytest.mark.long
def test_what_departs_in_a_lull_is_told_with_its_hours_under_engine(motor):
    from goosewing.departures.compare import departures
    from goosewing.departures.wants import misses, parse_wants

    times = [DEPARTURE + timedelta(hours=h) for h in (0, 6)]
    found = departures(
        leg(57.0, 11.0, 90.0, 30.0), motor, falling_calm(), times, Options(engine=True)
    )
    hours = {each.departure.hour: each.engine_h for each in found}
    assert hours[12] == 0.0
    assert hours[6] == pytest.approx(1.5, abs=0.15)
    assert [bool(misses(each, parse_wants("engine<=1"))) for each in found] == [
        each.departure.hour == 6 for each in found
    ]
