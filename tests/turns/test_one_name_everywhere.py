"""Whatever shows a plan calls its turns by the same names, in the same places."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import gpxpy
import pynmea2
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from pynmea2.nmea_utils import dm_to_sd

from goosewing import plan as planning
from goosewing.exchange.document import format_plan_json
from goosewing.exchange.geojson import format_geojson
from goosewing.exchange.gpx.marks import read_marks
from goosewing.exchange.gpx.plans import format_plan
from goosewing.exchange.handheld.files import parse_contents
from goosewing.exchange.handheld.plans import fit_plan
from goosewing.exchange.handheld.routes import PRESETS, fit
from goosewing.exchange.nmea.routes import format_contents
from goosewing.report.picture import draw
from goosewing.turns import names
from goosewing.weather.steady import SteadyWeather
from goosewing_cli.show import show_plan

SAMPLES = Path(__file__).parents[2] / "sample_routes"
DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)


@pytest.fixture(scope="module")
def plan(brisvik):
    """The sample's round, its first mark left on a hand, so that every kind of turn is in it."""
    start, east, *rest = read_marks(SAMPLES / "kattegat.gpx").marks
    left = replace(east, leave="port", leave_distance_nm=0.2)
    return planning.make((start, left, *rest), brisvik, SteadyWeather(315.0, 10.0), DEPARTURE)


@pytest.fixture(scope="module")
def places(plan):
    """Names and places of the turns, by the plan itself."""
    return {
        board.point: (board.start.lat, board.start.lon)
        for leg in plan.legs
        for board in leg.boards
        if board.point is not None
    }


def test_the_plan_has_several_kinds_of_turns(plan):
    assert names(plan) == ("T1", "G1", "P1")


def near(found, places):
    assert found.keys() == places.keys()
    for name, place in found.items():
        assert place == pytest.approx(places[name], abs=1e-6)


def test_the_document(plan, places):
    boards = [b for leg in json.loads(format_plan_json(plan))["legs"] for b in leg["boards"]]
    near({b["point"]: (b["start"]["lat"], b["start"]["lon"]) for b in boards if b["point"]}, places)


def test_route_and_handheld_gps(plan, places):
    marks = {mark.name for mark in plan.marks}
    text = format_plan(plan)
    route = gpxpy.parse(text).routes[0].points
    near({p.name: (p.latitude, p.longitude) for p in route if p.name not in marks}, places)
    for made in (fit_plan(plan), fit(parse_contents(text), PRESETS["small"])):
        points = made.contents.routes[0].points
        near({p.name: p.place for p in points if p.name in places}, places)


def test_sentences(plan, places):
    sentences = [pynmea2.parse(each) for each in format_contents(fit_plan(plan).contents)]
    found = {
        each.waypoint_id: (dm_to_sd(each.lat), dm_to_sd(each.lon))
        for each in sentences
        if each.sentence_type == "WPL" and each.waypoint_id in places
    }
    assert found.keys() == places.keys()
    for name, place in found.items():
        # A sentence tells minutes to four decimals: 1e-4' is 2e-6°.
        assert place == pytest.approx(places[name], abs=2e-6)


def test_features_of_geojson(plan, places):
    features = json.loads(format_geojson(plan))["features"]
    of_turns = [f for f in features if f["properties"]["feature"] == "manoeuvre"]
    near(
        {
            f["properties"]["point"]: tuple(reversed(f["geometry"]["coordinates"]))
            for f in of_turns
            if f["properties"]["point"]
        },
        places,
    )
    boards = [f["properties"]["point"] for f in features if f["properties"]["feature"] == "board"]
    assert [each for each in boards if each] == list(places)


def test_table_and_picture(plan, places, capsys):
    show_plan(plan)
    table = capsys.readouterr().out
    figure = Figure(figsize=(9.0, 8.0), layout="constrained")
    FigureCanvasAgg(figure)
    draw(figure, plan)
    words = [each.get_text() for each in figure.axes[0].texts]
    for name in places:
        assert table.count(f"Z  {name}: ") == 1
        assert sum(each.startswith(f"{name} ") for each in words) == 1
