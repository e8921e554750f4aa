"""A beat and a run through the skerries south of Kihti, in the Archipelago Sea: a real coast.

`GOOSEWING_SKERRY_PICTURES=DIR` keeps the pictures. They are made to be looked at: is every board
clear of islands, can all words be read over them?
"""

from __future__ import annotations

import importlib.metadata
import os
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import numpy as np
import pyproj
import pytest
import shapely

import skerries
from goosewing.hazards.areas import TOUCH_M, Area, Hazards
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.report.picture import draw_plan
from goosewing.weather.steady import SteadyWeather
from goosewing.weather.table import parse_table

pytestmark = pytest.mark.long

WATERS = (59.6, 20.4, 60.4, 22.4)
CLEARANCE_NM = 0.05
DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)
FJORD, SOUND, SEA = (
    Mark(name=name, lat=lat, lon=lon)
    for name, lat, lon in (("Fjord", 60.12, 20.98), ("Sound", 59.975, 21.13), ("Sea", 59.74, 21.3))
)
WAYS = {"beat": (FJORD, SOUND, SEA), "run": (SEA, SOUND, FJORD)}
STEADY = SteadyWeather(170.0, 11.0)
VEERING = """time,wind_from_deg,wind_kn
2027-06-12T04:00Z,150,9
2027-06-12T08:00Z,190,12
2027-06-12T12:00Z,215,14
2027-06-12T18:00Z,240,12
2027-06-13T06:00Z,250,10
"""


@pytest.fixture(scope="module")
def land():
    try:
        return skerries.islands(*WATERS)
    except importlib.metadata.PackageNotFoundError:
        pytest.skip(f'{skerries.PACKAGE} is not installed: pip install -e ".[coasts]"')


@pytest.fixture(scope="module")
def coast(land):
    return Hazards.of([Area(shape=each, kind="land") for each in land], CLEARANCE_NM)


STRAIGHT_M = 0.1
"""An islet's edge of a kilometre, straight in one projection, bends in another by 3 cm here."""


def metres_off(land, plan):
    """How near each board comes to land, by PROJ.

    In an azimuthal equidistant plane about the middle of these waters: 30 miles off, distances are
    out by 1e-5 of themselves.
    """
    plane = pyproj.Transformer.from_crs(
        "EPSG:4326", "+proj=aeqd +lat_0=59.95 +lon_0=21.2 +ellps=WGS84 +units=m", always_xy=True
    )

    def drawn(shapes):
        return shapely.transform(
            shapes, lambda at: np.column_stack(plane.transform(at[:, 0], at[:, 1]))
        )

    boards = [board for leg in plan.legs for board in leg.boards]
    tracks = [_loxodromes([(p.lon, p.lat) for p in board.points]) for board in boards]
    tree = shapely.STRtree(drawn(np.array(land)))
    return tree.query_nearest(drawn(np.array(tracks)), return_distance=True)[1]


def _loxodromes(places):
    """Straight lines of PROJ's ellipsoidal Mercator, with a place every 20 m (40 m of its own)."""
    mercator = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:3395", always_xy=True)
    line = shapely.LineString(np.column_stack(mercator.transform(*np.array(places).T)))
    lon, lat = mercator.transform(*shapely.get_coordinates(line.segmentize(40.0)).T,
                                  direction="INVERSE")  # fmt: skip
    return shapely.LineString(np.column_stack((lon, lat)))


@pytest.mark.parametrize("weather", [STEADY, parse_table(VEERING)], ids=["steady", "veering"])
@pytest.mark.parametrize("way", WAYS)
def test_every_board_keeps_clear_of_real_skerries(brisvik, land, coast, way, weather):
    assert len(land) > 5000
    plan = make(WAYS[way], brisvik, weather, DEPARTURE, hazards=coast)
    assert metres_off(land, plan).min() >= CLEARANCE_NM * 1852.0 - TOUCH_M - STRAIGHT_M
    if weather is STEADY:
        # She alters course only where an island asks for it.
        for leg in plan.legs:
            for one, other in pairwise(leg.boards):
                straight = one.start.lat, one.start.lon, other.end.lat, other.end.lon
                alike = (one.tack, one.sail_set) == (other.tack, other.sail_set)
                assert not alike or coast.crossed(*straight)
    # In open water she is no later.
    free = make(WAYS[way], brisvik, weather, DEPARTURE)
    assert metres_off(land, free).min() < 50.0
    print(
        metres_off(land, plan).min(), metres_off(land, free).min(), plan.elapsed_h, free.elapsed_h
    )
    assert free.elapsed_h <= plan.elapsed_h <= 1.15 * free.elapsed_h
    picture = draw_plan(plan, hazards=coast)
    folder = os.environ.get("GOOSEWING_SKERRY_PICTURES")
    if folder:
        name = f"{way}-{'steady' if weather is STEADY else 'veering'}.png"
        (Path(folder) / name).write_bytes(picture)


def test_the_coast_is_where_it_is(land):
    """By the islands' own places, from memory: Kokar's church, Uto's lighthouse, open sea."""
    lons, lats = [20.91, 21.37, 21.0], [59.92, 59.78, 59.70]
    near_deg = shapely.distance(shapely.union_all(land), shapely.points(lons, lats))
    assert near_deg[:2].max() < 0.02
    assert near_deg[2] > 0.05
