"""Areas to keep clear of from GeoJSON, GPX, shapefiles and GeoPackages."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import textwrap

import numpy as np
import pyogrio
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod, Transformer
from shapely.geometry import mapping

from goosewing.errors import InputError
from goosewing.hazards.areas import Hazards
from goosewing.hazards.read.files import kind_of, read_hazards
from goosewing.hazards.read.shapes import Box

WGS84 = Geod(ellps="WGS84")
UTM32 = Transformer.from_crs("EPSG:4326", "EPSG:32632", always_xy=True)
SQUARE = shapely.box(11.0, 56.5, 11.5, 56.8)


def feature(shape, **properties):
    geometry = shape if shape is None or isinstance(shape, dict) else mapping(shape)
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def collection(*features, **more):
    return {"type": "FeatureCollection", "features": list(features), **more}


@pytest.fixture
def saved(tmp_path):
    def save(content, name="areas.geojson"):
        path = tmp_path / name
        if isinstance(content, bytes):
            path.write_bytes(content)
        else:
            path.write_text(content if isinstance(content, str) else json.dumps(content))
        return path

    return save


def write_layer(path, shapes, crs, *, names=None, layer="shoals", **more):
    fields = {} if names is None else {"NAME": np.array(names, dtype=object)}
    pyogrio.raw.write(
        path,
        geometry=np.array([None if s is None else shapely.to_wkb(s) for s in shapes], dtype=object),
        field_data=list(fields.values()),
        fields=list(fields),
        geometry_type=next((s.geom_type for s in shapes if s is not None), "Polygon"),
        crs=crs,
        layer=layer,
        **more,
    )
    return path


# ---- GeoJSON ----------------------------------------------------------------------------------


def test_geojson_gives_areas_with_their_names(saved):
    path = saved(collection(feature(SQUARE, Name="Anholt reef"), feature(shapely.box(0, 0, 1, 1))))
    areas, notices, cut = read_hazards(path)
    assert [area.name for area in areas] == ["Anholt reef", ""]
    assert {area.kind for area in areas} == {"area"}
    assert {area.source for area in areas} == {"areas.geojson"}
    assert areas[0].shape.equals(SQUARE)
    assert (notices, cut) == ((), False)


@pytest.mark.parametrize(
    "content",
    [
        mapping(SQUARE),
        feature(SQUARE),
        {"type": "GeometryCollection", "geometries": [mapping(SQUARE)]},
    ],
    ids=["geometry", "feature", "geometry collection"],
)
def test_every_root_that_rfc_7946_knows_is_read(saved, content):
    areas = read_hazards(saved(content)).areas
    assert len(areas) == 1
    assert areas[0].shape.equals(SQUARE)


def test_heights_are_dropped_and_a_byte_order_mark_passes(saved):
    solid = shapely.force_3d(SQUARE, 12.0)
    path = saved(b"\xef\xbb\xbf" + json.dumps(feature(solid)).encode())
    assert not read_hazards(path).areas[0].shape.has_z


def test_the_crs_member_of_2008_is_honoured(saved):
    there = shapely.transform(SQUARE, lambda p: np.column_stack(UTM32.transform(*p.T)))
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32632"}}
    shape = read_hazards(saved(collection(feature(there), crs=crs))).areas[0].shape
    assert np.allclose(shape.bounds[::2], SQUARE.bounds[::2], atol=1e-3)
    for corner in shapely.get_coordinates(SQUARE):
        assert shape.distance(shapely.Point(corner)) < 1e-9


def test_crs_84_is_what_it_always_was(saved):
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}}
    shape = read_hazards(saved(collection(feature(SQUARE), crs=crs))).areas[0].shape
    assert shape.equals(SQUARE)


def test_an_area_cut_at_the_antimeridian_is_one_again(saved):
    # The example of RFC 7946, 3.1.9.
    split = {
        "type": "MultiPolygon",
        "coordinates": [
            [[[180.0, 40.0], [180.0, 50.0], [170.0, 50.0], [170.0, 40.0], [180.0, 40.0]]],
            [[[-170.0, 40.0], [-170.0, 50.0], [-180.0, 50.0], [-180.0, 40.0], [-170.0, 40.0]]],
        ],
    }
    shape = read_hazards(saved(split)).areas[0].shape
    assert shape.geom_type == "Polygon"
    assert shape.bounds == (170.0, 40.0, 190.0, 50.0)


def test_an_area_that_jumps_across_the_antimeridian_stays_small(saved):
    jumping = shapely.Polygon(
        [(179, -17), (-179, -17), (-179, -16), (179, -16)],
        [
            [(179.5, -16.6), (-179.5, -16.6), (-179.5, -16.4), (179.5, -16.4)],
            [(-179.3, -16.6), (-179.1, -16.6), (-179.1, -16.4)],
        ],
    )
    shape = read_hazards(saved(feature(jumping))).areas[0].shape
    assert shape.bounds == (179.0, -17.0, 181.0, -16.0)
    # One degree by two less 0.2 by one and half of 0.2 by 0.2: the holes went along.
    assert shape.area == pytest.approx(2.0 - 0.2 - 0.02)
    assert not shape.contains(shapely.Point(180.8, -16.55))


def test_a_map_of_the_whole_earth_is_no_jump(saved):
    antarctica = shapely.box(-180.0, -90.0, 180.0, -70.0)
    assert read_hazards(saved(feature(antarctica))).areas[0].shape.equals(antarctica)


def test_a_long_oblique_edge_keeps_its_place(saved):
    # Straight in longitude and latitude, as RFC 7946 (3.1.1) has it.
    oblique = shapely.Polygon([(10.0, 56.0), (12.0, 58.0), (10.0, 58.0)])
    shape = read_hazards(saved(feature(oblique))).areas[0].shape
    hazards = Hazards.of(read_hazards(saved(feature(oblique))).areas)
    lon, lat = 11.0, 57.0
    assert shape.boundary.distance(shapely.Point(lon, lat)) < 1e-12
    # 50 m to either side of the middle of that edge; undivided, it would lie 460 m off.
    assert not hazards.inside(lat - 50 / 111_120, lon)
    assert hazards.inside(lat + 50 / 111_120, lon)


def test_points_and_lines_become_dangers_a_hair_wide(saved):
    rock, wire = shapely.Point(11.2, 56.5), shapely.LineString([(11.0, 56.0), (11.4, 56.0)])
    areas, notices, _ = read_hazards(saved(collection(feature(rock, name="Rock"), feature(wire))))
    assert [area.kind for area in areas] == ["danger", "danger"]
    # Five metres to either side, more than the metre that counts as touching.
    metres = 10.0
    west, south, east, north = areas[0].shape.bounds
    assert WGS84.inv(west, 56.5, east, 56.5)[2] == pytest.approx(metres, rel=0.01)
    assert WGS84.inv(11.2, south, 11.2, north)[2] == pytest.approx(metres, rel=0.01)
    hazards = Hazards.of(areas)
    assert hazards.crossed(55.9, 11.2, 56.1, 11.2)
    assert hazards.crossed(56.5, 11.1, 56.5, 11.3)
    assert any("2 of its shapes are points or lines" in notice for notice in notices)


@pytest.mark.parametrize(
    ("name", "points", "square_deg"),
    [
        # A bow tie: both wings count.
        ("bow tie", [(10, 55), (12, 57), (12, 55), (10, 57)], 2.0),
        # A five-pointed star: its middle, gone round twice, is no water. Area of a pentagram of
        # circumradius 1 with its middle, 1.12257 (mathworld.wolfram.com/Pentagram.html, by hand).
        ("star", [(10 + np.sin(a), 55 + np.cos(a)) for a in np.arange(5) * 4 * np.pi / 5], 1.12257),
    ],
)
def test_broken_outlines_are_repaired_outwards(saved, name, points, square_deg):
    areas, notices, _ = read_hazards(saved(feature(shapely.Polygon(points), name=name)))
    assert sum(area.shape.area for area in areas) == pytest.approx(square_deg, rel=1e-3)
    assert all(area.shape.is_valid for area in areas)
    assert any(name in notice and "repaired" in notice for notice in notices)


def test_holes_of_broken_outlines_stay_open(saved):
    outer, hole = [(10, 55), (14, 55), (14, 59), (10, 59)], [(11, 56), (12, 56), (12, 57), (11, 57)]
    broken = shapely.Polygon([*outer, (14, 55), (15, 54)], [hole])
    areas = read_hazards(saved(feature(broken))).areas
    assert not areas[0].shape.contains(shapely.Point(11.5, 56.5))
    assert areas[0].shape.contains(shapely.Point(13.0, 56.5))


@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6)), min_size=3, max_size=9))
@settings(deadline=None, max_examples=60)
def test_a_repaired_outline_holds_what_it_goes_round(tmp_path_factory, corners):
    path = tmp_path_factory.mktemp("ring") / "x.geojson"
    path.write_text(json.dumps(feature(shapely.Polygon([(x, y) for x, y in corners]))))
    shapes = [area.shape for area in read_hazards(path).areas]
    assert all(shape.is_valid for shape in shapes)
    at = np.random.default_rng(1).uniform(0.0, 6.0, (40, 2))
    ring = np.array([*corners, corners[0]])
    # The angle under which the ring is seen from a place is so many turns.
    seen = np.unwrap(np.arctan2(*(ring[:, None] - at).T[::-1]), axis=1)
    turns = np.rint((seen[:, -1] - seen[:, 0]) / (2 * np.pi))
    clear = shapely.distance(shapely.points(at), shapely.LineString(ring)) > 1e-3
    inside = np.any([shapely.intersects(shape, shapely.points(at)) for shape in shapes], axis=0)
    assert np.array_equal(inside[clear], (turns != 0)[clear])


def test_overlapping_parts_stay_areas(saved):
    both = shapely.MultiPolygon([shapely.box(10, 55, 12, 57), shapely.box(11, 56, 13, 58)])
    areas = read_hazards(saved(feature(both))).areas
    assert areas[0].shape.contains(shapely.Point(11.5, 56.5))
    assert areas[0].shape.area == pytest.approx(7.0)


def test_an_area_without_width_is_a_danger(saved):
    flat = shapely.Polygon([(10, 56), (11, 56), (10.5, 56)])
    (area,) = read_hazards(saved(feature(flat))).areas
    assert area.kind == "danger"
    assert Hazards.of([area]).crossed(55.9, 10.5, 56.1, 10.5)


def test_entries_without_a_place_are_left_out_and_counted(saved):
    areas, notices, _ = read_hazards(saved(collection(feature(None), feature(SQUARE))))
    assert len(areas) == 1
    assert any("1 of its entries" in notice for notice in notices)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "is empty"),
        (" \n ", "is empty"),
        ("{", "is no GeoJSON"),
        ('{"type": "Polygon", "coordinates": NaN}', "is no GeoJSON"),
        ("{" * 90_000, "is no GeoJSON"),
        ('{"a":' * 90_000, "is no GeoJSON"),
        ("[1, 2]", "is none of the kinds"),
        ('{"marks": 3}', "is JSON but not GeoJSON"),
        ({"type": "Topology"}, "is JSON but not GeoJSON"),
        (collection(), "holds no areas"),
        (collection(feature(None)), "holds no areas"),
        ({"type": "FeatureCollection"}, "no list of features"),
        (collection(3), "feature 1 is no Feature"),
        (collection(feature(SQUARE), feature({"type": "Circle"})), "feature 2: 'Circle' is no"),
        (collection(feature({"type": "Polygon"})), "feature 1: its coordinates make no Polygon"),
        (
            collection(feature({"type": "Polygon", "coordinates": [[[11, 56], [12, 57]]]})),
            "make no Polygon",
        ),
        (
            collection(feature({"type": "Polygon", "coordinates": [[["a", 1], [2, 3], [4, 5]]]})),
            "make no Polygon",
        ),
        (feature({"type": "Point", "coordinates": [500000, 6200000]}), "no longitude and latitude"),
        (feature({"type": "Point", "coordinates": [57.0, 111.0]}), "no longitude and latitude"),
        (collection(crs={"type": "link", "properties": {"href": "x"}}), '"crs" names no'),
        (collection(crs={"properties": {"name": "EPSG:999999"}}), "system is not known"),
        (collection(crs={"properties": {"name": "EPSG:5773"}}), "no map of the earth"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_in_one_line(saved, content, words):
    with pytest.raises(InputError) as fault:
        read_hazards(saved(content))
    assert words in str(fault.value)
    assert "areas.geojson" in str(fault.value)
    assert "\n" not in str(fault.value)
    assert len(str(fault.value)) < 400


@pytest.mark.parametrize("head", [b"\x1f\x8b...", b"PK\x03\x04...", b"\xfd7zXZ..", b"BZh91AY"])
def test_packed_files_are_to_be_unpacked(head):
    with pytest.raises(InputError, match="unpack it first"):
        kind_of(head)


def test_a_name_may_lie_about_what_a_file_is(saved):
    assert len(read_hazards(saved(feature(SQUARE), "areas.shp")).areas) == 1


def test_missing_files_and_folders(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_hazards(tmp_path / "none.geojson")
    with pytest.raises(InputError, match="is a folder"):
        read_hazards(tmp_path)


def test_a_file_too_large_is_refused_before_it_is_read(saved, monkeypatch):
    monkeypatch.setattr("goosewing.hazards.read.files.LARGEST_TEXT", 100)
    with pytest.raises(InputError, match="GeoPackage"):
        read_hazards(saved(collection(feature(SQUARE), feature(SQUARE))))


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats(allow_nan=False) | st.text(max_size=5)
        | st.sampled_from(["Polygon", "Point", "Feature", "FeatureCollection", "MultiPolygon"]),
        lambda inner: st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(["type", "coordinates", "geometry", "features", "crs", "properties"]),
            inner, max_size=4,
        ),
        max_leaves=20,
    )
)  # fmt: skip
@settings(deadline=None, max_examples=60)
def test_no_json_brings_it_down(tmp_path_factory, content):
    path = tmp_path_factory.mktemp("any") / "x.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [content]}))
    with pytest.raises(InputError):
        read_hazards(path)
    path.write_text(json.dumps({"type": "Feature", "geometry": content}))
    with contextlib.suppress(InputError):
        assert read_hazards(path).areas


# ---- near -------------------------------------------------------------------------------------


def test_what_is_far_away_may_be_left_out(saved):
    path = saved(collection(feature(SQUARE, name="here"), feature(shapely.box(20, 40, 21, 41))))
    areas, _, cut = read_hazards(path, near=Box(55.0, 10.0, 58.0, 13.0))
    assert [area.name for area in areas] == ["here"]
    assert cut
    areas, _, cut = read_hazards(path, near=Box(0.0, 0.0, 10.0, 5.0))
    assert (areas, cut) == ((), True)


@pytest.mark.parametrize(
    ("bounds", "meets"),
    [
        ((178.5, -18, 179.5, -17), True), ((-179.5, -18, -178.5, -17), True),
        ((180.5, -18, 181.5, -17), True), ((-181.5, -18, -180.5, -17), True),
        ((170.0, -18, 190.0, -17), True), ((-176.0, -18, -175.0, -17), False),
        ((176.0, -18, 177.5, -17), False), ((179.0, 1, 179.5, 2), False),
        ((-180.0, -90, 180.0, -15), True),
    ],
)  # fmt: skip
def test_a_box_across_the_antimeridian_meets_what_lies_there(bounds, meets):
    assert Box(-20.0, 178.0, 0.0, -178.0).touches(bounds) is meets


# ---- GPX --------------------------------------------------------------------------------------


def gpx(inner, namespace=' xmlns="http://www.topografix.com/GPX/1/1"'):
    return f'<?xml version="1.0"?>\n<gpx version="1.1" creator="x"{namespace}>\n{inner}\n</gpx>'


def points(tag, places):
    return "".join(f'<{tag} lat="{lat}" lon="{lon}"/>' for lat, lon in places)


RING = [(56.5, 11.0), (56.5, 11.5), (56.8, 11.5), (56.8, 11.0)]


@pytest.mark.parametrize("namespace", [
    ' xmlns="http://www.topografix.com/GPX/1/1"', ' xmlns="http://www.topografix.com/GPX/1/0"', "",
])  # fmt: skip
def test_gpx_tracks_and_routes_are_outlines(saved, namespace):
    inner = (
        f"<rte><name>Reef</name>{points('rtept', [*RING, RING[0]])}</rte>"
        f"<trk><name>Bank</name><trkseg>{points('trkpt', RING)}</trkseg><trkseg/></trk>"
    )
    areas, notices, _ = read_hazards(saved(gpx(inner, namespace), "drawn.gpx"))
    assert [area.name for area in areas] == ["Reef", "Bank"]
    assert all(area.shape.equals(SQUARE) for area in areas)
    # The track's ends lie a quarter of its way apart.
    assert len(notices) == 1
    assert "closed by a straight line" in notices[0]


def test_the_gap_that_is_closed_is_told(saved):
    inner = f"<trk><trkseg>{points('trkpt', RING)}</trkseg></trk>"
    (notice,) = read_hazards(saved(gpx(inner), "drawn.gpx")).notices
    # 0.3° of latitude: 18.03 nm at 56.65° N by GeographicLib.
    assert "18 nm" in notice


def test_an_outline_across_the_antimeridian(saved):
    ring = [(-17, 179), (-17, -179), (-16, -179), (-16, 179)]
    inner = f"<rte>{points('rtept', ring)}</rte>"
    shape = read_hazards(saved(gpx(inner), "drawn.gpx")).areas[0].shape
    assert shape.bounds == (179.0, -17.0, 181.0, -16.0)


def test_waypoints_count_where_nothing_else_is_drawn_or_where_they_say_danger(saved):
    fuel = '<wpt lat="56.7" lon="11.2"><name>Fuel</name></wpt>'
    (area,) = read_hazards(saved(gpx(fuel), "drawn.gpx")).areas
    assert (area.name, area.kind) == ("Fuel", "danger")
    both = read_hazards(saved(gpx(f"{fuel}<rte>{points('rtept', RING)}</rte>"), "drawn.gpx"))
    assert len(both.areas) == 1
    assert any("its waypoints are left out: they" in notice for notice in both.notices)
    rock = '<wpt lat="56.7" lon="11.2"><name>Skarv</name><sym>Rock</sym></wpt>'
    every = f"{fuel}{rock}<rte>{points('rtept', RING)}</rte>"
    third = read_hazards(saved(gpx(every), "drawn.gpx"))
    assert [area.name for area in third.areas if area.kind == "danger"] == ["Skarv"]
    assert any("left out, but for those that say danger" in each for each in third.notices)


BOMB = (
    '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
    "<gpx><trk><name>&b;</name></trk></gpx>"
)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (gpx(""), "holds no areas"),
        (gpx("<rte/>"), "holds no areas"),
        (gpx(f"<rte><name>Two</name>{points('rtept', RING[:2])}</rte>"), "three different points"),
        (gpx(f"<rte>{points('rtept', [RING[0]] * 5)}</rte>"), "three different points"),
        (gpx(f"<rte>{points('rtept', [*RING, (91, 0)])}</rte>"), "lat must be from -90 to 90"),
        (gpx('<rte><rtept lat="56"/></rte>'), "lon is missing"),
        (gpx('<rte><rtept lat="nan" lon="1"/></rte>'), "lat is not a decimal number"),
        ("<kml/>", "not GPX"),
        ("<gpx><trk>", "not well-formed"),
        (BOMB, "entities, which are refused"),
        ("<a>" * 200 + "</a>" * 200, "nested"),
    ],
)
def test_gpx_that_is_wrong_is_told_in_one_line(saved, content, words):
    with pytest.raises(InputError) as fault:
        read_hazards(saved(content, "drawn.gpx"))
    assert words in str(fault.value)
    assert "drawn.gpx" in str(fault.value)
    assert "\n" not in str(fault.value)


# ---- by GDAL ----------------------------------------------------------------------------------


def in_utm(shape):
    return shapely.transform(shape, lambda p: np.column_stack(UTM32.transform(*p.T)))


@pytest.mark.parametrize("ending", [".shp", ".gpkg"])
def test_shapefiles_and_geopackages_in_utm_come_out_where_pyproj_puts_them(tmp_path, ending):
    square = shapely.box(500_000, 6_260_000, 540_000, 6_300_000)
    path = write_layer(tmp_path / f"shoals{ending}", [square], "EPSG:32632", names=["Tunø Knob"])
    areas, notices, _ = read_hazards(path)
    back = Transformer.from_crs("EPSG:32632", "EPSG:4326", always_xy=True)
    assert notices == ()
    (area,) = areas
    assert area.name == "Tunø Knob"
    for x, y in [(500_000, 6_260_000), (540_000, 6_300_000), (520_000, 6_300_000)]:
        # Corners, and the middle of an edge, which is straight in UTM: within 0.2 m.
        at = shapely.Point(back.transform(x, y))
        assert area.shape.boundary.distance(at) * 111_120 < 0.2
    # Snyder (USGS 1395, p. 58): the scale on UTM's central meridian is 0.9996, so that an
    # area of 1600 km² there is 1600/0.9996² on the ellipsoid, and a little less beside it.
    assert abs(WGS84.geometry_area_perimeter(area.shape)[0]) / 1e6 == pytest.approx(1601.2, abs=0.2)


def test_all_layers_of_a_geopackage_are_read(tmp_path):
    path = write_layer(tmp_path / "two.gpkg", [SQUARE], "EPSG:4326", layer="one")
    write_layer(path, [shapely.Point(11.2, 56.0)], "EPSG:4326", layer="two", append=True)
    areas = read_hazards(path).areas
    assert sorted(area.kind for area in areas) == ["area", "danger"]


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:32632"])
def test_only_what_is_near_is_read_of_a_geopackage(tmp_path, crs):
    near, far = SQUARE, shapely.box(10.0, 40.0, 10.2, 40.2)
    shapes = [near, far] if crs == "EPSG:4326" else [in_utm(near), in_utm(far)]
    path = write_layer(tmp_path / "two.gpkg", shapes, crs, names=["near", "far"])
    areas, _, cut = read_hazards(path, near=Box(55.0, 10.0, 58.0, 13.0))
    assert [area.name for area in areas] == ["near"]
    assert cut
    assert read_hazards(path, near=Box(0.0, -30.0, 5.0, -20.0)) == ((), (), True)


def test_near_across_the_antimeridian_reads_both_sides_once(tmp_path):
    shapes = [shapely.box(179, -17, 179.5, -16), shapely.box(-179.5, -17, -179, -16),
              shapely.box(-180, -19, 180, -18.5)]  # fmt: skip
    path = write_layer(tmp_path / "fiji.gpkg", shapes, "EPSG:4326", names=["w", "e", "both"])
    areas = read_hazards(path, near=Box(-20.0, 178.0, -10.0, -178.0)).areas
    assert sorted(area.name for area in areas) == ["both", "e", "w"]


def test_a_shapefile_without_prj_is_taken_for_degrees_only_if_it_can_be(tmp_path):
    path = write_layer(tmp_path / "bare.shp", [SQUARE], "EPSG:4326")
    path.with_suffix(".prj").unlink()
    areas, notices, _ = read_hazards(path)
    assert areas[0].shape.equals(SQUARE)
    assert any("taken as longitude and latitude" in notice for notice in notices)
    path = write_layer(tmp_path / "metres.shp", [in_utm(SQUARE)], "EPSG:32632")
    path.with_suffix(".prj").unlink()
    with pytest.raises(InputError, match=r"metres\.shp: says nothing .* \.prj"):
        read_hazards(path)


def test_a_coordinate_system_damaged_on_the_way_is_one_line(tmp_path):
    path = write_layer(tmp_path / "square.shp", [SQUARE], "EPSG:4326")
    system = path.with_suffix(".prj")
    system.write_bytes(system.read_bytes().replace(b"GCS_WGS", b"GCS\x80WGS"))
    with pytest.raises(InputError, match=r"square\.shp: its coordinate system makes no sense"):
        read_hazards(path)


def test_broken_and_missing_shapes_of_a_layer(tmp_path):
    bow = shapely.Polygon([(10, 55), (12, 57), (12, 55), (10, 57)])
    path = write_layer(tmp_path / "bow.gpkg", [bow, None], "EPSG:4326", names=["Bow", None])
    areas, notices, _ = read_hazards(path)
    assert areas[0].shape.area == pytest.approx(2.0)
    assert any("Bow" in notice and "repaired" in notice for notice in notices)
    assert any("have no place" in notice for notice in notices)


def test_a_cut_off_shapefile_and_a_false_geopackage(tmp_path):
    path = write_layer(tmp_path / "cut.shp", [SQUARE], "EPSG:4326")
    path.with_suffix(".shx").unlink()
    with pytest.raises(InputError, match="can't be read as shapefile"):
        read_hazards(path)
    false = tmp_path / "false.gpkg"
    false.write_bytes(b"SQLite format 3\0" + b"\xff" * 4096)
    with pytest.raises(InputError, match="can't be read as GeoPackage"):
        read_hazards(false)


def test_a_layer_that_holds_nothing(tmp_path):
    path = write_layer(tmp_path / "empty.gpkg", [], "EPSG:4326")
    with pytest.raises(InputError, match="holds no areas"):
        read_hazards(path)


WITHOUT_EXTRA = """
import sys
sys.modules["pyogrio"] = None
from goosewing.hazards.read.files import read_hazards
try:
    print(len(read_hazards(sys.argv[1], safe_depth_m=3.0).areas), "areas")
except ValueError as error:
    print(error)
print({"pyproj", "pyogrio._io", "pandas"} & set(sys.modules))
"""


def without_extra(path):
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(WITHOUT_EXTRA), str(path)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return done.stdout.splitlines()


def test_geojson_and_gpx_need_no_extra_and_load_nothing_else(saved):
    assert without_extra(saved(feature(SQUARE)))[0] == "1 areas"
    said, loaded = without_extra(saved(gpx(f"<rte>{points('rtept', RING)}</rte>"), "a.gpx"))
    assert said == "1 areas"
    assert "pyogrio._io" not in loaded


def test_without_the_extra_one_line_tells_how_to_get_it(tmp_path):
    path = write_layer(tmp_path / "one.gpkg", [SQUARE], "EPSG:4326")
    assert 'pip install ".[hazards]"' in without_extra(path)[0]


# ---- what would hang ------------------------------------------------------------------------


def test_a_ring_that_crosses_itself_thousands_of_times_is_refused(tmp_path):
    rng = np.random.default_rng(1)
    ring = np.column_stack((11.0 + rng.random(2000), 57.0 + rng.random(2000))).tolist()
    geometry = {"type": "Polygon", "coordinates": [[*ring, ring[0]]]}
    path = tmp_path / "knot.geojson"
    path.write_text(json.dumps({"type": "Feature", "properties": {}, "geometry": geometry}))
    with pytest.raises(InputError, match="crosses itself more than 5000 times"):
        read_hazards(path)


@pytest.mark.parametrize(
    ("crs", "words"),
    [
        ("+proj=stere +lat_0=90 +a=1", "can't be turned into WGS 84"),
        ("+proj=merc +to_meter=1e-9 +ellps=WGS84", "counts in units of 1e-09 m"),
        ("EPSG:25832", "lies nowhere on the earth"),
    ],
)
def test_a_coordinate_system_or_number_without_sense_is_one_line(tmp_path, crs, words):
    ring = [[5e5, 6.3e6], [6e5, 6.3e6], [6e5, 7e12], [5e5, 6.3e6]]
    path = tmp_path / "far.geojson"
    path.write_text(
        json.dumps({
            "type": "Feature", "properties": {}, "crs": {"properties": {"name": crs}},
            "geometry": {"type": "Polygon", "coordinates": [ring]},
        })
    )  # fmt: skip
    with pytest.raises(InputError, match=words) as caught:
        read_hazards(path)
    assert "\n" not in str(caught.value)


def test_true_is_no_longitude(tmp_path):
    ring = [[True, False], [11.3, 57.05], [11.3, 57.1], [True, False]]
    path = tmp_path / "true.geojson"
    path.write_text(json.dumps({"type": "Polygon", "coordinates": [ring]}))
    with pytest.raises(InputError, match="make no Polygon"):
        read_hazards(path)
