"""Hazard files and coast in one: what lies round a passage, and where it ends."""

from __future__ import annotations

import json

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod
from shapely.geometry import mapping

from goosewing.errors import InputError
from goosewing.hazards import coast
from goosewing.hazards.areas import Area
from goosewing.hazards.chart import Chart, box_around, read_chart
from goosewing.records import Mark

WGS84 = Geod(ellps="WGS84")
KATTEGAT = (Mark(name="A", lat=56.7, lon=12.3), Mark(name="B", lat=57.2, lon=11.3))


def saved(path, *shapes):
    features = [{"type": "Feature", "properties": {}, "geometry": mapping(s)} for s in shapes]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def test_nothing_asked_for_is_no_chart():
    assert read_chart() is None


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"clearance_nm": 0.3}, "a clearance needs hazard files"),
        ({"safe_depth_m": 3.0}, "a safe depth needs hazard files"),
        ({"coast": True, "clearance_nm": -0.1}, "clearance must be 0 to 10"),
        ({"coast": True, "clearance_nm": 10.1}, "clearance must be 0 to 10"),
        ({"coast": True, "clearance_nm": float("nan")}, "clearance must be 0 to 10"),
        ({"coast": True, "safe_depth_m": 0.0}, "safe depth must be above 0"),
        ({"coast": True, "safe_depth_m": 101.0}, "safe depth must be above 0"),
    ],
)
def test_numbers_that_make_no_sense(asked, words):
    with pytest.raises(InputError, match=words):
        read_chart(**asked)


def test_the_coast_brings_its_warning_and_credit():
    chart = read_chart(coast=True, clearance_nm=0.1)
    assert chart.notices == (coast.WARNING, coast.CREDIT)


def test_no_clearance_is_told(tmp_path):
    path = saved(tmp_path / "reef.geojson", shapely.box(11.5, 56.9, 11.6, 57.0))
    assert read_chart([path]).notices == (
        "No clearance was asked for: boards may pass land and dangers as close as can be.",
    )
    assert read_chart([path], clearance_nm=0.1).notices == ()


def test_files_and_coast_together(tmp_path):
    path = saved(tmp_path / "reef.geojson", shapely.box(11.5, 56.9, 11.6, 57.0))
    hazards = read_chart([path], coast=True, clearance_nm=0.25).around(KATTEGAT)
    assert hazards.clearance_nm == 0.25
    assert hazards.at(56.95, 11.55).source == "reef.geojson"
    # Læsø's middle, and mid-Kattegat; positions from memory.
    assert hazards.at(57.27, 11.05).kind == "land"
    assert hazards.at(56.8, 12.0) is None


def test_files_alone_have_no_end(tmp_path):
    path = saved(tmp_path / "reef.geojson", shapely.box(11.5, 56.9, 11.6, 57.0))
    assert len(read_chart([path]).around(KATTEGAT)) == 1


def test_a_file_of_which_nothing_lies_near_is_told(tmp_path):
    # Latitude and longitude exchanged: a shoal of the Kattegat off Somalia.
    path = saved(tmp_path / "swapped.geojson", shapely.box(56.9, 11.5, 57.0, 11.6))
    notices = read_chart([path], clearance_nm=0.1, near=box_around(KATTEGAT)).notices
    assert len(notices) == 1
    assert "swapped.geojson" in notices[0]
    assert "exchanged" in notices[0]


def test_what_was_left_out_is_fenced_off(tmp_path):
    path = saved(
        tmp_path / "two.geojson", shapely.box(11.5, 56.9, 11.6, 57), shapely.box(1, 1, 2, 2)
    )
    box = box_around(KATTEGAT)
    for chart in (read_chart([path]), read_chart([path], near=box)):
        hazards = chart.around(KATTEGAT)
        for lat, lon in [(box.south - 0.5, 12), (box.north + 0.5, 12),
                         (57, box.west - 0.5), (57, box.east + 0.5)]:  # fmt: skip
            assert hazards.at(lat, lon).name == "the edge of the waters looked at"
            assert hazards.crossed(57.0, 12.0, lat, lon)
        assert not hazards.crossed(57.0, 12.0, 57.5, 12.5)


def test_the_same_waters_are_made_once():
    chart = read_chart(coast=True)
    first = chart.around(KATTEGAT)
    moved = (Mark(name="Here", lat=56.71, lon=12.29), KATTEGAT[1])
    assert chart.around(moved) is first
    fiji = (Mark(name="A", lat=-17.0, lon=179.5), Mark(name="B", lat=-17.0, lon=-179.5))
    elsewhere = chart.around(fiji)
    assert elsewhere is not first
    assert chart.around(fiji) is elsewhere


def test_across_the_antimeridian():
    fiji = (Mark(name="A", lat=-18.3, lon=179.0), Mark(name="B", lat=-18.3, lon=-179.2))
    hazards = read_chart(coast=True).around(fiji)
    # Taveuni lies on the antimeridian, Viti Levu west of it (from memory).
    assert hazards.at(-16.85, -179.95).kind == "land"
    assert hazards.at(-17.8, 178.0).kind == "land"
    assert not hazards.crossed(-18.3, 179.0, -18.3, -179.2)


lats, lons = st.floats(-80.0, 80.0), st.floats(-180.0, 179.999)


@given(st.lists(st.tuples(lats, lons), min_size=1, max_size=5))
@settings(deadline=None, max_examples=60)
def test_the_box_holds_all_marks_and_room_round_them(places):
    marks = [Mark(name=str(at), lat=lat, lon=lon) for at, (lat, lon) in enumerate(places)]
    box = box_around(marks)
    assert -90.0 < box.south < box.north < 90.0
    assert -180.0 <= box.west <= 180.0
    assert -180.0 <= box.east <= 180.0
    for mark in marks:
        assert box.south <= mark.lat <= box.north
        assert box.width_deg == 360.0 or (mark.lon - box.west) % 360.0 <= box.width_deg
        for bearing in (0.0, 90.0, 180.0, 270.0):
            lon, lat, _ = WGS84.fwd(mark.lon, mark.lat, bearing, 170.0 * 1852.0)
            if abs(lat) < 88.0:
                assert box.touches((lon, lat, lon, lat))
    # Whole degrees, so that a boat under way stays in the same waters.
    assert np.all(np.array(box) == np.rint(box))


def test_the_room_grows_with_the_passage():
    # 30° of longitude at 40° N: 1380 nm (by hand, cos 40° = 0.766), 23° of latitude.
    box = box_around((Mark(name="A", lat=40.0, lon=-40.0), Mark(name="B", lat=40.0, lon=-10.0)))
    assert box.north > 62.9
    assert box.south < 17.1


def test_kiel_to_the_north_sea_looks_as_far_as_skagen():
    # Positions from memory; the way by sea leads round Skagen, 57°45'N.
    marks = (Mark(name="Kiel", lat=54.45, lon=10.2), Mark(name="Esbjerg", lat=55.4, lon=8.2))
    assert box_around(marks).north > 57.9


def test_areas_far_from_the_passage_are_not_asked():
    near = Area(shape=shapely.box(11.5, 56.9, 11.6, 57.0), name="near")
    far = Area(shape=shapely.box(-60.0, 10.0, -59.0, 11.0), name="far")
    hazards = Chart(areas=(near, far)).around(KATTEGAT)
    assert [area.name for area in hazards.areas][:1] == ["near"]
    assert "far" not in {area.name for area in hazards.areas}
