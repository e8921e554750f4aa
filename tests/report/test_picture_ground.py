"""Land and hazards behind a plan: in the picture, under its limits, by kind."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import shapely

pytest.importorskip("matplotlib")
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from goosewing.boat.read import read_boat
from goosewing.exchange.gpx.marks import read_marks
from goosewing.hazards.areas import Area, Hazards
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.report.ground import STYLES
from goosewing.report.picture import draw, write_picture
from goosewing.weather.steady import SteadyWeather

SAMPLES = Path(__file__).parents[2] / "sample_routes"
BOAT = read_boat(SAMPLES / "brisvik" / "boat.toml")
MARKS = read_marks(SAMPLES / "kattegat.gpx").marks


def planned(marks=MARKS):
    return make(marks, BOAT, SteadyWeather(315, 10), datetime(2027, 6, 12, 5, tzinfo=UTC))


def pixels(plan, hazards, *places):
    """Colours at places (lat, lon), and the limits of the picture."""
    figure = Figure(figsize=(9.0, 8.0), layout="constrained")
    canvas = FigureCanvasAgg(figure)
    draw(figure, plan, hazards)
    canvas.draw()
    image = np.asarray(canvas.buffer_rgba())
    axes = figure.axes[0]
    found = []
    for lat, lon in places:
        x, y = axes.transData.transform((lon, lat))
        found.append("#{:02x}{:02x}{:02x}".format(*image[len(image) - 1 - int(y), int(x), :3]))
    return found, (*axes.get_xlim(), *axes.get_ylim()), axes


def area(west, south, east, north, kind="land", hole=None):
    shape = shapely.box(west, south, east, north)
    return Area(shape=shape if hole is None else shape.difference(hole), kind=kind, name=kind)


def test_land_is_grey_where_it_lies_and_its_holes_are_water():
    hole = shapely.box(12.0, 56.44, 12.06, 56.46)
    island = area(11.95, 56.42, 12.1, 56.48, hole=hole)
    (land, lake, sea), _, _ = pixels(
        planned(), Hazards.of([island]), (56.43, 12.02), (56.455, 12.03), (56.51, 12.02)
    )
    assert land == STYLES["land"]["facecolor"]
    assert lake == sea == "#f4f8fb"


def test_a_danger_of_the_user_s_has_its_name_on_the_chart():
    plan = planned()
    rock = replace(plan.marks[0], name="Midgrund", lat=56.6, lon=12.0)
    figure = Figure(figsize=(9.0, 8.0), layout="constrained")
    FigureCanvasAgg(figure)
    draw(figure, replace(plan, dangers=(rock,)))
    assert "Midgrund" in [text.get_text() for text in figure.axes[0].texts]


def test_the_limits_of_the_picture_stay_and_kinds_are_in_the_legend():
    plan = planned()
    everything = [
        area(0.0, 40.0, 11.7, 70.0), area(12.0, 56.4, 12.1, 56.42, "shoal"),
        area(12.0, 56.45, 12.0001, 56.4501, "danger"), area(30.0, 50.0, 31.0, 51.0, "area"),
    ]  # fmt: skip
    _, bare, _ = pixels(plan, None)
    _, drawn, axes = pixels(plan, Hazards.of(everything, 0.3))
    # But for the two lines that the longer key takes from the frame's height.
    assert drawn == pytest.approx(bare, abs=0.02)
    words = [text.get_text() for text in axes.get_legend().get_texts()]
    # What lies outside the picture needs no entry.
    assert words[5:] == ["land", "shoal", "danger", "kept 0.3 nm off"]


def test_a_danger_too_small_to_be_seen_gets_a_cross():
    rock = area(12.0, 56.45, 12.0001, 56.4501, "danger")
    _, _, axes = pixels(planned(), Hazards.of([rock]))
    crosses = [line for line in axes.get_lines() if line.get_marker() == "+"]
    assert np.allclose(crosses[0].get_xydata(), [[12.00005, 56.45005]], atol=1e-6)


@pytest.mark.parametrize("west", [179.8, -180.2, 539.8])
def test_across_the_antimeridian_land_lies_where_it_is(west):
    marks = [Mark(name="A", lat=-17.0, lon=179.7), Mark(name="B", lat=-17.0, lon=-179.7)]
    island = area(west, -17.06, west + 0.1, -17.02)
    (land,), _, _ = pixels(planned(marks), Hazards.of([island]), (-17.04, 179.85))
    assert land == STYLES["land"]["facecolor"]


def test_it_is_written(tmp_path):
    write_picture(tmp_path / "plan.svg", planned(), hazards=Hazards.of([area(11, 56, 11.7, 57)]))
    assert STYLES["land"]["facecolor"] in (tmp_path / "plan.svg").read_text()
