"""The route of a long plan: its orders are turning points, and it keeps to the track sailed."""

from __future__ import annotations

from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from pyproj import Geod

from changing_winds import DEPARTURE
from goosewing.exchange.gpx.marks import parse_marks
from goosewing.exchange.gpx.plans import format_plan
from goosewing.plan import make
from ocean_fields import invented_ocean

GEOD = Geod(ellps="WGS84")
GPX = "{http://www.topografix.com/GPX/1/1}"


@pytest.fixture(scope="module")
def plan(brisvik):
    ocean = invented_ocean(2)
    return make(ocean.marks, brisvik, ocean.weather(step_h=3.0), DEPARTURE)


def off_nm(point, line):
    """Distance of a place from a fine line of places, by geodesics."""
    lat, lon = line.T
    _, _, metres = GEOD.inv(lon, lat, np.full(len(lon), point.lon), np.full(len(lat), point.lat))
    return float(np.min(metres)) / 1852.0


@pytest.mark.long
def test_a_route_leaves_the_track_by_no_more_than_half_a_mile(plan):
    root = ElementTree.fromstring(format_plan(plan))
    places = np.array([
        (float(each.get("lat")), float(each.get("lon"))) for each in root.iter(f"{GPX}rtept")
    ])  # fmt: skip
    line = np.vstack([np.linspace(a, b, 400) for a, b in pairwise(places)])
    points = [point for leg in plan.legs for board in leg.boards for point in board.points]
    assert max(off_nm(point, line) for point in points) < 0.5
    orders = sum(len(board.orders) for leg in plan.legs for board in leg.boards)
    assert len(places) > orders > 10


def test_of_its_route_only_the_marks_are_taken_again(plan):
    read = parse_marks(format_plan(plan).encode())
    assert [mark.name for mark in read.marks] == ["A", "B"]
