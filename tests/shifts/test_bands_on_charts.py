"""Where the bands of laylines and the cone between them are drawn."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pyogrio
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from pyproj import Geod

from goosewing.exchange.document import format_plan_json, parse_plan
from goosewing.exchange.geojson import plan_features
from goosewing.exchange.gpx.plans import format_plan
from goosewing.records import Mark
from goosewing.report.picture import draw_plan
from goosewing.shifts import Shifts, shift_rule
from goosewing.shifts.game import game_to
from goosewing.shifts.rule import mean_airs
from goosewing.steady.solver import sailable
from goosewing.weather.steady import SteadyWeather

GOOSE = "{urn:goosewing:gpx:1}"
WGS84 = Geod(ellps="WGS84")
DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)
SHIFTS = Shifts(sigma_deg=5.0, tau_min=10.0)
START = Mark(name="Start", lat=57.0, lon=11.0)
MARK = Mark(name="Windward", lat=57.0 + 5.0 / 60.0, lon=11.0)


@pytest.fixture(scope="module")
def game(brisvik):
    airs = mean_airs(brisvik, SteadyWeather(20.0, 10.0), START, MARK, DEPARTURE)
    return game_to(sailable(brisvik, airs), START, MARK)


def test_in_gpx_a_track_goes_round_each_band(told, tmp_path):
    text = format_plan(told)
    (element,) = etree.fromstring(text.encode()).iter(f"{GOOSE}band")
    (band,) = told.chances.bands
    assert dict(element.attrib) == {
        "mark": "Windward", "tack": band.tack, "sail_set": band.sail_set, "shifts_percent": "80",
    }  # fmt: skip
    # GDAL, whose reader knows nothing of ours, finds the outline closed and through the mark.
    (tmp_path / "plan.gpx").write_text(text)
    _, _, geometries, (names,) = pyogrio.raw.read(
        tmp_path / "plan.gpx", layer="tracks", columns=["name"]
    )
    found = dict(zip(names, shapely.from_wkb(geometries), strict=True))
    (line,) = found[f"Layline band Windward {band.tack} main and jib"].geoms
    assert line.is_closed
    points = np.array(line.coords)[:, ::-1]
    mark = told.marks[1]
    assert np.abs(points - [mark.lat, mark.lon]).max(axis=1).min() < 1e-6
    assert "goose:band" not in format_plan(replace(told, chances=None))


def test_in_geojson_its_two_edges_are_lines(told):
    edges = [each for each in plan_features(told)["features"]
             if each["properties"]["feature"] == "band"]  # fmt: skip
    assert [each["properties"]["edge"] for each in edges] == ["backed", "veered"]
    (band,) = told.chances.bands
    for each, points in zip(edges, (band.backed, band.veered), strict=True):
        assert each["geometry"]["type"] == "LineString"
        assert len(each["geometry"]["coordinates"]) == len(points)


def test_the_document_holds_them_and_brings_them_back(told):
    raw = format_plan_json(told)
    held = json.loads(raw)["chances"]
    assert len(held["bands"][0]["backed"]) == len(told.chances.bands[0].backed)
    assert parse_plan(raw).chances == told.chances


def test_the_picture_says_when_to_tack(told):
    svg = draw_plan(told, "svg").decode()
    assert "tack when headed by over" in svg
    assert "layline in 8 of 10 shifts" in svg
    assert "tack when headed" not in draw_plan(replace(told, chances=None), "svg").decode()


def test_the_cone_lies_between_the_laylines_and_mirrors_itself(told, brisvik):
    (rule,) = told.chances.rules
    cone, mark = rule.cone, told.marks[1]
    half = len(cone) // 2
    assert cone[half].lat == pytest.approx(mark.lat, abs=1e-6)
    for left, right in zip(cone[:half], reversed(cone[half + 1 :]), strict=True):
        assert left.lat == pytest.approx(right.lat, abs=1e-5)
        assert mark.lon - left.lon == pytest.approx(right.lon - mark.lon, abs=1e-5)
        bearing, _, _ = WGS84.inv(mark.lon, mark.lat, right.lon, right.lat)
        # Her best track lies 47.7° off the wind: the laylines' own bearing from the mark.
        layline = next(line for line in told.legs[0].laylines)
        off = abs((layline.course_over_ground_deg + 180.0) % 360.0 - 180.0)
        assert 180.0 - bearing <= off + 0.5
    # At its edge she turns, and a little inside she doesn't.
    made = shift_rule(told.marks[0], mark, brisvik, SteadyWeather(0.0, 10.0), told.departure,
                      SHIFTS)  # fmt: skip
    edge = cone[half + half // 2]
    for share, turns in ((1.1, True), (0.8, False)):
        lon = mark.lon + share * (edge.lon - mark.lon)
        assert bool(made.turn_now(edge.lat, lon, 0.0, "port")) is turns


@given(st.floats(-4.0, 4.0), st.floats(-1.0, 6.0))
def test_a_place_in_the_plane_is_found_again(game, x, y):
    back = game.place(*game.position(x, y))
    assert np.hypot(back[0] - x, back[1] - y) < 1e-6
