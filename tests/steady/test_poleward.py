"""Long legs in high latitudes: two boards by way of a higher one, sailed by a stranger.

How much a great circle is shorter than the loxodrome is asked of GeographicLib; where the
boards lead is reckoned by SciPy's Runge-Kutta from the printed orders alone.
"""

from __future__ import annotations

import math

import pytest
from geographiclib.geodesic import Geodesic

from changing_winds import DEPARTURE
from goosewing.earth import geodesy
from goosewing.earth.course import course_between
from goosewing.exchange import document
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.steady import solver
from goosewing.velocities.velocity_set import best_made_good_kn
from goosewing.weather.steady import SteadyWeather
from order_sailor import sail_plan

CASES = [(64.0, 90.0, 875.0), (-60.0, 270.0, 1200.0), (55.0, 75.0, 1500.0)]


def marks_of(lat, bearing, nm):
    far = geodesy.loxodrome_direct(lat, -30.0, bearing, nm)
    return [
        Mark(name="A", lat=lat, lon=-30.0), Mark(name="B", lat=float(far.lat), lon=float(far.lon))
    ]  # fmt: skip


@pytest.mark.parametrize("off", [0.0, 75.0, 135.0])
@pytest.mark.parametrize(("lat", "bearing", "nm"), CASES)
def test_a_way_through_a_higher_latitude_is_sailed_and_is_faster(brisvik, lat, bearing, nm, off):
    marks, weather = marks_of(lat, bearing, nm), SteadyWeather((bearing + off) % 360.0, 10.0)
    plan = make(marks, brisvik, weather, DEPARTURE)
    boards = plan.legs[0].boards
    course = course_between(marks[0].lat, marks[0].lon, marks[1].lat, marks[1].lon)
    assert len(boards) == 2
    turn = boards[0].end
    to_turn = geodesy.loxodrome_inverse(lat, -30.0, turn.lat, turn.lon)
    aside = math.radians(float(to_turn.bearing_deg) - bearing)
    poleward = -math.copysign(1.0, lat) * math.copysign(1.0, math.sin(math.radians(bearing)))
    assert poleward * math.sin(aside) > 0.0
    told = document.plan_document(plan)
    for board in told["legs"][0]["boards"]:
        # In steady wind a board has one order, its own.
        own = {name: board[name] for name in ("steer", "heading_deg", "twa_deg")}
        board["orders"] = [{**board["start"], **own}]
    assert all(board.as_told for board in sail_plan(brisvik, weather, told))
    # Two boards save three quarters of what an arc does (below), on what she could make along
    # the loxodrome; where they turn onto the other tack, that is paid first.
    assert plan.bound_h is None
    held = solver.sailable(brisvik, solver.steady_airs(brisvik, weather))
    hull_h = course.distance_nm / best_made_good_kn(held, course.bearing_deg)
    turns_h = sum(each.cost_s for each in plan.legs[0].manoeuvres) / 3600.0
    assert plan.elapsed_h - turns_h < hull_h * (1.0 - 0.75 * 0.5 * saved(marks))
    assert plan.relaxed_h <= plan.elapsed_h - turns_h + 1e-9


def saved(marks):
    """Share by which the geodesic is shorter than the loxodrome."""
    one, two = marks
    line = Geodesic.WGS84.Inverse(one.lat, one.lon, two.lat, two.lon)["s12"]
    along = float(geodesy.loxodrome_inverse(one.lat, one.lon, two.lat, two.lon).distance_nm)
    return 1.0 - line / 1852.0 / along


@pytest.mark.parametrize("off", [75.0, 90.0, 120.0])
def test_reaching_two_boards_save_most_of_what_the_great_circle_would(brisvik, off):
    # An arc's chord in place of two of its halves: three quarters of what is saved, to second
    # order, were all angles as fast; a reach's are, to some tenths of a per cent.
    marks = marks_of(64.0, 90.0, 875.0)
    plan = make(marks, brisvik, SteadyWeather(90.0 + off, 10.0), DEPARTURE)
    gained = 1.0 - plan.elapsed_h / plan.straight_h
    assert 0.4 * saved(marks) < gained < 1.2 * saved(marks)


def test_near_the_equator_and_on_a_meridian_the_loxodrome_is_kept(brisvik):
    for lat, bearing in ((2.0, 90.0), (60.0, 0.0)):
        marks = marks_of(lat, bearing, 800.0)
        plan = make(marks, brisvik, SteadyWeather((bearing + 90.0) % 360.0, 10.0), DEPARTURE)
        (board,) = plan.legs[0].boards
        assert board.elapsed_h == pytest.approx(plan.straight_h, rel=1e-6)
        assert math.isclose(plan.bound_h, plan.elapsed_h, rel_tol=1e-3)


def test_mirrored_east_and_west_she_takes_as_long(brisvik):
    marks = marks_of(64.0, 90.0, 875.0)
    west = [Mark(name=mark.name, lat=mark.lat, lon=-mark.lon) for mark in marks]
    for off in (40.0, 135.0):
        here = make(marks, brisvik, SteadyWeather(90.0 + off, 10.0), DEPARTURE)
        there = make(west, brisvik, SteadyWeather(270.0 - off, 10.0), DEPARTURE)
        assert here.elapsed_h == pytest.approx(there.elapsed_h, rel=1e-6)
