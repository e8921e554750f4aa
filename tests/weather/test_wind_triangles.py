"""Wind and stream triangles: invariants, seams and refusals."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from goosewing.earth.angles import wrap_180
from goosewing.errors import InputError, NoPlanError
from goosewing.weather import wind

directions = st.floats(0.0, 360.0)
speeds = st.floats(0.0, 60.0)
some_speed = st.floats(0.1, 60.0)


def turned(a, b):
    return abs(float(wrap_180(a - b)))


# --- Components -----------------------------------------------------------------------------


@given(directions, some_speed)
def test_direction_and_components_undo_each_other(direction, speed):
    from_there = wind.components_from(direction, speed)
    assert turned(wind.direction_from(*from_there), direction) < 1e-12
    assert np.hypot(*from_there) == pytest.approx(speed, rel=1e-14)
    to_there = wind.components_to(direction, speed)
    assert turned(wind.direction_to(*to_there), direction) < 1e-12
    assert (to_there.east, to_there.north) == (-from_there.east, -from_there.north)


@pytest.mark.parametrize(
    ("direction", "east", "north"),
    [(0, 0, -10), (90, -10, 0), (180, 0, 10), (270, 10, 0), (360, 0, -10)],
)
@pytest.mark.parametrize("shaped", [float, np.array, lambda x: [x], lambda x: [x, x]])
def test_quarters_are_exact(direction, east, north, shaped):
    found = wind.components_from(shaped(direction), 10.0)
    assert np.shape(found.east) == np.shape(shaped(direction))
    assert np.all(found.east == east)
    assert np.all(found.north == north)
    assert not np.any(np.signbit(found.east) & (found.east == 0))  # -0.0 turns a calm round
    assert not np.any(np.signbit(found.north) & (found.north == 0))
    assert np.all(wind.direction_from(*found) == direction % 360)


def test_calm_comes_from_north():
    for east, north in ((0.0, 0.0), (-0.0, 0.0), (0.0, -0.0), (-0.0, -0.0)):
        assert wind.direction_from(east, north) == 0.0
        assert wind.direction_to(east, north) == 0.0
    assert wind.direction_from(*wind.components_from(217.0, 0.0)) == 0.0


@given(st.floats(-60, 60), st.floats(-60, 60))
def test_direction_is_below_360(east, north):
    assert 0.0 <= wind.direction_to(east, north) < 360.0
    assert 0.0 <= wind.direction_from(east, north) < 360.0


def test_a_hair_west_of_north_is_not_360():
    assert wind.direction_to(-1e-20, 1.0) == 0.0


# --- Wind over the water ---------------------------------------------------------------------


@given(directions, speeds, directions, speeds)
def test_true_wind_with_the_stream_is_the_ground_wind(from_deg, wind_kn, set_deg, drift_kn):
    ground = wind.components_from(from_deg, wind_kn)
    stream = wind.components_to(set_deg, drift_kn)
    true = wind.true_wind(*ground, *stream)
    over_water = wind.components_from(true.twd_deg, true.tws_kn)
    assert over_water.east + stream.east == pytest.approx(ground.east, abs=1e-12)
    assert over_water.north + stream.north == pytest.approx(ground.north, abs=1e-12)


def test_wind_against_the_stream_is_stronger_over_the_water():
    # Common practice: wind over tide. A northerly of 10 kn on a stream setting north at 3.
    true = wind.true_wind(*wind.components_from(0.0, 10.0), *wind.components_to(0.0, 3.0))
    assert true == (0.0, 13.0)
    true = wind.true_wind(*wind.components_from(0.0, 10.0), *wind.components_to(180.0, 3.0))
    assert true == (0.0, 7.0)


@given(directions, speeds, directions, speeds, directions)
def test_turning_everything_turns_the_true_wind(from_deg, wind_kn, set_deg, drift_kn, turn):
    plain = wind.true_wind(
        *wind.components_from(from_deg, wind_kn), *wind.components_to(set_deg, drift_kn)
    )
    other = wind.true_wind(
        *wind.components_from(from_deg + turn, wind_kn),
        *wind.components_to(set_deg + turn, drift_kn),
    )
    assert other.tws_kn == pytest.approx(plain.tws_kn, abs=1e-11)
    assume(plain.tws_kn > 0.01)
    assert turned(other.twd_deg, plain.twd_deg + turn) < 1e-9


# --- On board ---------------------------------------------------------------------------------


@given(st.floats(0.0, 180.0), speeds, st.floats(0.0, 20.0), st.floats(0.0, 20.0))
def test_apparent_and_true_undo_each_other(twa, tws, boat, leeway):
    # Where leeway carries the wind across the bow or stern, its side is not told.
    assume(tws * np.sin(np.radians(twa)) >= boat * np.sin(np.radians(leeway)))
    awa, aws = wind.apparent_wind(twa, tws, boat, leeway)
    assert 0.0 <= awa <= 180.0
    true = wind.true_from_apparent(awa, aws, boat, leeway)
    assert true.tws_kn == pytest.approx(tws, abs=1e-12)
    assume(tws > 0.01)
    assert true.twa_deg == pytest.approx(twa, abs=1e-9)


@given(directions, st.sampled_from([-1, 1]), st.floats(0, 180), some_speed, st.floats(0, 20),
       st.floats(0, 20))  # fmt: skip
def test_apparent_wind_is_ground_wind_less_boat(heading, side, twa, tws, boat, leeway):
    # The same triangle drawn on the chart: wind from heading ± twa, track turned to leeward.
    track = heading - side * leeway
    felt = wind.true_wind(
        *wind.components_from(heading + side * twa, tws), *wind.components_to(track, boat)
    )
    awa, aws = wind.apparent_wind(twa, tws, boat, leeway)
    assert aws == pytest.approx(felt.tws_kn, abs=1e-11)
    assume(aws > 0.01)
    assert abs(turned(felt.twd_deg, heading) - awa) < 1e-9


def test_apparent_wind_at_rest_and_dead_ahead():
    assert wind.apparent_wind(73.0, 12.0, 0.0) == pytest.approx((73.0, 12.0), abs=1e-12)
    assert wind.apparent_wind(0.0, 12.0, 5.0) == (0.0, 17.0)
    assert wind.apparent_wind(180.0, 12.0, 5.0) == (180.0, 7.0)
    assert wind.apparent_wind(180.0, 5.0, 12.0) == (0.0, 7.0)
    assert wind.apparent_wind(180.0, 5.0, 5.0) == (0.0, 0.0)


def test_leeway_brings_the_apparent_wind_ahead():
    without, with_leeway = wind.apparent_wind(45.0, 10.0, 5.0, [0.0, 6.0]).awa_deg
    assert with_leeway < without


# --- Stream -------------------------------------------------------------------------------------


@given(directions, some_speed, directions, speeds)
def test_what_is_steered_makes_good_the_track(track, speed, set_deg, drift):
    try:
        steer = wind.course_to_steer(track, speed, set_deg, drift)
    except NoPlanError:
        across = drift * np.sin(np.radians(set_deg - track))
        along = drift * np.cos(np.radians(set_deg - track))
        reach = np.sqrt(max(speed**2 - across**2, 0.0))
        assert abs(across) > speed * (1 - 1e-12) or reach + along < 1e-6
        return
    found = wind.made_good(steer.course_deg, speed, set_deg, drift)
    assert found.speed_kn == pytest.approx(steer.speed_made_good_kn, abs=1e-6)
    assume(found.speed_kn > 0.01)
    # Where the stream takes all the speed there is, the square root keeps half the digits.
    assert turned(found.course_deg, track) < 1e-4


@given(directions, some_speed, directions, st.floats(0, 30), directions)
def test_turning_and_mirroring_the_stream_triangle(track, speed, set_deg, drift, turn):
    assume(drift < 0.9 * speed)
    plain = wind.course_to_steer(track, speed, set_deg, drift)
    turned_all = wind.course_to_steer(track + turn, speed, set_deg + turn, drift)
    assert turned_all.speed_made_good_kn == pytest.approx(plain.speed_made_good_kn, abs=1e-10)
    assert turned(turned_all.course_deg, plain.course_deg + turn) < 1e-9
    mirrored = wind.course_to_steer(-track, speed, -set_deg, drift)
    assert mirrored.speed_made_good_kn == pytest.approx(plain.speed_made_good_kn, abs=1e-10)
    assert turned(mirrored.course_deg, -plain.course_deg) < 1e-9


@pytest.mark.parametrize(
    ("set_deg", "drift", "because"),
    [(90.0, 5.1, "across the track"), (180.0, 5.0, "against"), (180.0, 7.0, "against"),
     (150.0, 9.0, "against")],
)  # fmt: skip
def test_no_course_makes_it(set_deg, drift, because):
    with pytest.raises(NoPlanError, match=because):
        wind.course_to_steer(0.0, 5.0, set_deg, drift)
    with pytest.raises(NoPlanError, match=because):
        wind.course_to_steer([0.0, 0.0], 5.0, [0.0, set_deg], [0.0, drift])


def test_a_fair_stream_faster_than_the_boat_is_used():
    # Two courses keep the track; the one that makes good more has both speeds in it.
    steer = wind.course_to_steer(0.0, 5.0, 30.0, 8.0)
    assert steer.speed_made_good_kn == pytest.approx(3.0 + 8.0 * np.cos(np.pi / 6), abs=1e-12)
    assert steer.course_deg == pytest.approx(360.0 - np.degrees(np.arcsin(4.0 / 5.0)), abs=1e-12)


def test_shapes():
    steer = wind.course_to_steer(np.zeros((2, 1)), 6.0, np.zeros(3), 1.0)
    assert steer.course_deg.shape == steer.speed_made_good_kn.shape == (2, 3)
    assert np.shape(wind.apparent_wind(40.0, [5.0, 6.0], 5.0).awa_deg) == (2,)


# --- Height -------------------------------------------------------------------------


@given(speeds, st.floats(1.0, 40.0), st.floats(1.0, 40.0), st.floats(0.0, 0.3))
def test_up_the_mast_and_down_again(speed, low, high, exponent):
    aloft = wind.wind_at_height(speed, low, high, exponent)
    assert wind.wind_at_height(aloft, high, low, exponent) == pytest.approx(speed, rel=1e-13)
    assert (aloft >= speed) == (high >= low) or aloft == pytest.approx(speed, rel=1e-13)


@pytest.mark.parametrize(
    "call",
    [
        lambda: wind.wind_at_height(10.0, 0.0, 10.0),
        lambda: wind.wind_at_height(10.0, 10.0, [10.0, -1.0]),
        lambda: wind.wind_at_height(-1.0, 10.0, 10.0),
        lambda: wind.course_to_steer(0.0, -1.0, 0.0, 0.0),
        lambda: wind.components_to(np.inf, 1.0),
    ],
)
def test_refused_in_one_line(call):
    with pytest.raises(InputError) as caught:
        call()
    assert "\n" not in str(caught.value)
