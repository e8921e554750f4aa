"""A mark left on a hand: whoever follows the route must not be led over it."""

from __future__ import annotations

from datetime import UTC, datetime

import gpxpy
import pytest
from geographiclib.geodesic import Geodesic

from goosewing.exchange.gpx.marks import parse_marks
from goosewing.exchange.gpx.plans import format_plan
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.weather.steady import SteadyWeather

OFF_NM = 0.3


@pytest.fixture(scope="module", params=["on the way", "at the end"])
def plan(request, brisvik):
    leave = {"leave": "port", "leave_distance_nm": OFF_NM}
    middle = leave if request.param == "on the way" else {}
    last = leave if request.param == "at the end" else {}
    marks = [
        Mark(name="A", lat=57.0, lon=11.0),
        Mark(name="B", lat=57.1, lon=11.0, **middle),
        Mark(name="C", lat=57.0, lon=11.2, **last),
    ]
    return make(marks, brisvik, SteadyWeather(0.0, 10.0), datetime(2027, 6, 1, 6, tzinfo=UTC))


def nm_apart(a, b):
    return Geodesic.WGS84.Inverse(a.lat, a.lon, b.latitude, b.longitude)["s12"] / 1852.0


def test_the_route_passes_the_mark_at_its_distance(plan):
    gpx = gpxpy.parse(format_plan(plan))
    left = next(mark for mark in plan.marks if mark.leave)
    points = gpx.routes[0].points
    nearest = min(nm_apart(left, point) for point in points)
    assert nearest == pytest.approx(OFF_NM, rel=0.05)
    ends = [fix for leg in plan.legs for b in leg.boards for fix in (b.start, b.end)]
    for point in points:
        assert min(nm_apart(fix, point) for fix in ends) < 1e-4


def test_a_waypoint_stands_at_the_mark_itself(plan):
    gpx = gpxpy.parse(format_plan(plan))
    left = next(mark for mark in plan.marks if mark.leave)
    assert [w.name for w in gpx.waypoints] == [f"{left.name} itself"]
    assert nm_apart(left, gpx.waypoints[0]) < 1e-4


def test_read_back_the_mark_is_where_it_was(plan):
    read = parse_marks(format_plan(plan).encode())
    for mark, again in zip(plan.marks, read.marks, strict=True):
        assert (again.name, again.leave, again.leave_distance_nm) == (
            mark.name, mark.leave, mark.leave_distance_nm,
        )  # fmt: skip
        assert again.lat == pytest.approx(mark.lat, abs=1e-7)
        assert again.lon == pytest.approx(mark.lon, abs=1e-7)
