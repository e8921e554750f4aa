"""Plans as GeoJSON, read by GDAL, and the cut at the antimeridian."""

from __future__ import annotations

import json
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from goosewing.exchange.geojson import (
    format_geojson,
    line_geometry,
    plan_features,
)


def by_kind(collection: dict, kind: str) -> list[dict]:
    return [each for each in collection["features"] if each["properties"]["feature"] == kind]


def test_a_plan_in_features(build):
    plan = build.full()
    made = json.loads(format_geojson(plan))
    assert made["type"] == "FeatureCollection"
    assert [each["properties"]["name"] for each in by_kind(made, "mark")] == ["A", "B", "C"]
    assert by_kind(made, "mark")[0]["geometry"] == {"type": "Point", "coordinates": [11.2, 57.1]}
    boards = by_kind(made, "board")
    assert [each["properties"]["tack"] for each in boards] == [
        board.tack for leg in plan.legs for board in leg.boards
    ]
    assert boards[0]["geometry"]["coordinates"] == [[11.2, 57.1], [11.2, 57.15]]
    assert boards[2]["properties"]["heading_magnetic_deg"] == 173.6
    assert boards[2]["properties"]["from"] == "B"
    turns = by_kind(made, "manoeuvre")
    assert [each["properties"]["kind"] for each in turns] == [
        turn.kind for leg in plan.legs for turn in leg.manoeuvres
    ]
    assert len(by_kind(made, "layline")) == 1
    assert made["cautions"] == list(plan.cautions)
    assert made["notices"] == list(plan.notices)


def test_gdal_reads_it(build, tmp_path):
    """GDAL (pyogrio) is the independent reader."""
    import pyogrio.raw

    (tmp_path / "p.geojson").write_text(format_geojson(build.full()), encoding="utf-8")
    meta, _, geometry, fields = pyogrio.raw.read(tmp_path / "p.geojson")
    kinds = fields[list(meta["fields"]).index("feature")]
    assert sorted(kinds) == sorted(
        each["properties"]["feature"] for each in plan_features(build.full())["features"]
    )
    assert all(shapely.is_valid(shapely.from_wkb(each)) for each in geometry)


def test_a_board_over_the_antimeridian_is_cut(build):
    plan = build.straight(build.mark("W", 50.0, 179.5), build.mark("E", 52.0, -178.5))
    board = by_kind(plan_features(plan), "board")[0]
    assert board["geometry"]["type"] == "MultiLineString"
    assert board["geometry"]["coordinates"] == [
        [[179.5, 50.0], [180.0, 50.5]],
        [[-180.0, 50.5], [-178.5, 52.0]],
    ]


@pytest.mark.parametrize(
    ("places", "expected"),
    [
        pytest.param([(0, 179), (1, 180)], [[[179, 0], [180, 1]]], id="ends-on-it"),
        pytest.param([(0, -180), (1, -179)], [[[-180, 0], [-179, 1]]], id="starts-on-it"),
        pytest.param([(0, 180), (1, 179)], [[[180, 0], [179, 1]]], id="leaves-westwards"),
        pytest.param(
            [(0, 179), (1, 180), (2, 179)], [[[179, 0], [180, 1], [179, 2]]], id="touches"
        ),
        pytest.param(
            [(0, 179), (1, -180), (2, -179)],
            [[[179, 0], [180, 1]], [[-180, 1], [-179, 2]]],
            id="a-point-on-it",
        ),
        pytest.param(
            [(0, -179), (1, -180), (2, 179)],
            [[[-179, 0], [-180, 1]], [[180, 1], [179, 2]]],
            id="a-point-on-it-westwards",
        ),
        pytest.param(
            [(0, 179), (2, -179), (4, 179)],
            [[[179, 0], [180, 1]], [[-180, 1], [-179, 2], [-180, 3]], [[180, 3], [179, 4]]],
            id="there-and-back",
        ),
    ],
)
def test_seams(places, expected):
    geometry = line_geometry(places)
    lines = [geometry["coordinates"]] if geometry["type"] == "LineString" else None
    assert (lines or geometry["coordinates"]) == expected


@given(st.lists(st.tuples(st.floats(-89, 89), st.floats(-180, 180)), min_size=2, max_size=8))
def test_no_piece_crosses_and_nothing_is_lost(places):
    geometry = line_geometry(places)
    single = geometry["type"] == "LineString"
    pieces = [geometry["coordinates"]] if single else geometry["coordinates"]
    for piece in pieces:
        assert len(piece) >= 2
        assert all(-180 <= lon <= 180 and -90 <= lat <= 90 for lon, lat in piece)
        assert all(abs(b[0] - a[0]) <= 180 + 1e-6 for a, b in pairwise(piece))
    for before, after in pairwise(pieces):
        assert before[-1][1] == after[0][1]
        assert {before[-1][0], after[0][0]} == {180.0, -180.0}
    found = np.array([each for piece in pieces for each in piece])
    for lat, lon in places:
        east = (found[:, 0] - lon + 180) % 360 - 180
        assert np.any((np.abs(found[:, 1] - lat) < 1e-6) & (np.abs(east) < 1e-6))


def test_coordinates_have_seven_decimals(build):
    plan = build.straight(build.mark("A", 57.123456789, 11.987654321), build.mark("B", 58.0, 11.0))
    place = by_kind(plan_features(plan), "mark")[0]["geometry"]["coordinates"]
    assert place == [11.9876543, 57.1234568]
