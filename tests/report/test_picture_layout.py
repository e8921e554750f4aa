"""A picture's key never crowds out its chart, and words stand where they were put."""

import io
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

pytest.importorskip("matplotlib")
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from conftest import SAMPLES
from goosewing.compass.headings import with_variation
from goosewing.exchange.gpx.marks import read_marks
from goosewing.foresight.on_the_way import look_ahead
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.report import ground, picture
from goosewing.report.labels import LED_FROM_POINTS
from goosewing.report.picture import any_script, draw
from goosewing.report.sheet import CHART_INCHES, LOW_CHART_INCHES
from goosewing.shifts import Shifts
from goosewing.shifts.chances import with_chances
from goosewing.weather.steady import SteadyWeather

DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)
LONG = "Buoy of the shoal that is left on the port hand"


def in_shifts(brisvik, names):
    """Beats, one after the other, so that each leg has a rule of its own in the key."""
    marks = [
        Mark(name=name, lat=57.72 + 0.07 * number, lon=10.6 + 0.45 * number)
        for number, name in enumerate(names)
    ]
    weather = SteadyWeather(60.0, 10.0)
    plan = make(marks, brisvik, weather, DEPARTURE)
    return with_chances(plan, brisvik, weather, Shifts(sigma_deg=5.0, tau_min=10.0), "As given.")


@pytest.fixture(scope="module")
def shifty(brisvik):
    return in_shifts(brisvik, ["Start", LONG, "Finish"])


def extent(artist, canvas):
    return artist.get_window_extent(canvas.get_renderer())


@pytest.mark.parametrize("name", [LONG, "M" * 200, "$x_1$ and $"])
@pytest.mark.parametrize(
    ("size", "framed"), [(CHART_INCHES, False), (LOW_CHART_INCHES, False), ((9.0, 8.0), True)]
)
def test_a_key_of_many_words_leaves_the_chart_its_room(shifty, size, framed, name):
    # Warnings are errors here: a layout that collapses would be one.
    chances = shifty.chances
    rules = tuple(replace(rule, mark=name) for rule in chances.rules)
    assert len([rule for rule in rules if rule.cone]) == 2
    plan = replace(shifty, chances=replace(chances, rules=rules))
    figure = Figure(figsize=size, layout="constrained")
    canvas = FigureCanvasAgg(figure)
    with any_script():
        draw(figure, plan, framed=framed)
    axes = figure.axes[0]
    frame, key = axes.get_window_extent(), extent(axes.get_legend(), canvas)
    width, height = figure.bbox.size
    assert frame.width > 0.75 * width
    assert frame.height > 0.5 * height
    assert 0.0 < key.x0 < key.x1 < width
    assert 0.0 < key.y0 < key.y1 < frame.y0


def test_a_key_of_many_legs_tells_the_cone_once(shifty):
    rules = shifty.chances.rules * 5
    plan = replace(shifty, chances=replace(shifty.chances, rules=rules))
    figure = Figure(figsize=CHART_INCHES, layout="constrained")
    FigureCanvasAgg(figure)
    draw(figure, plan, framed=False)
    words = [text.get_text() for text in figure.axes[0].get_legend().get_texts()]
    assert words.count("either tack will do") == 1
    assert not any("headed" in each for each in words)


@pytest.mark.parametrize(("size", "framed"), [(CHART_INCHES, False), ((9.0, 8.0), True)])
@pytest.mark.parametrize("kind", ["svg", "png", "pdf"])
def test_nothing_moves_after_words_are_placed(shifty, size, framed, kind):
    figure = Figure(figsize=size, layout="constrained")
    canvas = FigureCanvasAgg(figure)
    boxes = np.array(draw(figure, shifty, framed=framed))
    axes = figure.axes[0]
    before = axes.get_position().get_points(), axes.get_xlim(), axes.get_ylim()
    figure.savefig(io.BytesIO(), format=kind)
    after = axes.get_position().get_points(), axes.get_xlim(), axes.get_ylim()
    for one, other in zip(before, after, strict=True):
        assert np.asarray(other) == pytest.approx(np.asarray(one), abs=1e-9)
    frame = axes.get_window_extent()
    assert (boxes[:, :2] >= [frame.x0, frame.y0]).all()
    assert (boxes[:, 2:] <= [frame.x1, frame.y1]).all()
    # Of the names and turns that must be there, each is where it was put.
    texts = [extent(each, canvas) for each in axes.texts if each.get_text()]
    for box in boxes:
        assert min(np.abs(np.ravel(t.get_points()) - box).max() for t in texts) < 2.0


def drawn(plan, size=LOW_CHART_INCHES):
    figure = Figure(figsize=size, layout="constrained")
    canvas = FigureCanvasAgg(figure)
    with any_script():
        draw(figure, plan, framed=False)
    return figure, canvas


def on_the_way(brisvik, from_deg, stream=(None, 0.0)):
    weather = SteadyWeather(from_deg, 10.0, *stream)
    marks = read_marks(SAMPLES / "kattegat.gpx").marks
    return look_ahead(make(marks, brisvik, weather, DEPARTURE), weather)


@pytest.mark.parametrize("from_deg", [15.0, 195.0, 315.0])
def test_the_key_names_what_is_drawn_and_nothing_else(brisvik, from_deg):
    plan = on_the_way(brisvik, from_deg)
    figure, _ = drawn(plan)
    names = {text.get_text() for text in figure.axes[0].get_legend().get_texts()}
    boards = [board for leg in plan.legs for board in leg.boards]
    for tack in ("port", "starboard"):
        assert (f"{tack} tack" in names) is any(board.tack == tack for board in boards)
        poled = any(board.poled and board.tack == tack for board in boards)
        assert (f"pole set, {tack} tack" in names) is poled
    assert ("layline into the mark" in names) is any(leg.laylines for leg in plan.legs)
    assert "stream" not in names
    assert "wind over the ground" in names


@pytest.mark.parametrize("variation", [None, 4.0])
def test_a_board_s_label_has_the_heading_that_the_helm_steers(brisvik, variation):
    plan = on_the_way(brisvik, 315.0)
    plan = plan if variation is None else with_variation(plan, variation)
    figure, _ = drawn(plan)
    said = [text.get_text() for text in figure.axes[0].texts if "steer " in text.get_text()]
    headings = {
        tuple(
            f"{round(each) % 360:03d}°{dial}"
            for each, dial in zip(
                (board.heading_deg, board.heading_magnetic_deg), "TM", strict=True
            )
            if each is not None
        )
        for leg in plan.legs
        for board in leg.boards
    }
    found = {tuple(words[words.index("steer ") + 6 :].split()) for words in said}
    assert found
    assert found <= headings


def segments(axes, style):
    """Where thin lines or arrows begin and end. [points]."""
    return [
        (np.array(each.get_position()), np.array(each.xy))
        for each in axes.texts
        if not each.get_text() and getattr(each, "arrow_patch", None) is not None
        and each.arrowprops["arrowstyle"] == style
    ]  # fmt: skip


@pytest.mark.parametrize("from_deg", [15.0, 195.0, 315.0])
def test_words_far_from_their_place_are_led_to_it(brisvik, from_deg):
    plan = on_the_way(brisvik, from_deg)
    figure, canvas = drawn(plan)
    axes, per_point = figure.axes[0], figure.dpi / 72.0
    led = segments(axes, "-")
    names = {mark.name: (mark.lon, mark.lat) for mark in plan.marks}
    checked = 0
    for text in axes.texts:
        place = names.get(text.get_text())
        if place is None:
            continue
        checked += 1
        x, y = axes.transData.transform(place) / per_point
        box = extent(text, canvas)
        aside = max(box.x0 / per_point - x, x - box.x1 / per_point, 0.0)
        above = max(box.y0 / per_point - y, y - box.y1 / per_point, 0.0)
        far = np.hypot(aside, above) > LED_FROM_POINTS
        there = any(np.hypot(*(end - (x, y))) < 1.0 for _, end in led)
        assert there or not far
    assert checked == len(plan.marks)


@pytest.mark.parametrize("from_deg", [15.0, 195.0, 315.0])
@pytest.mark.parametrize("turned_deg", [0.0, 90.0, 180.0])
def test_arrows_of_wind_and_stream_stand_apart_and_within(brisvik, from_deg, turned_deg):
    """Those of one place, where both are in one line, too; nor out of the frame: by shapely."""
    shapely = pytest.importorskip("shapely")
    plan = on_the_way(brisvik, from_deg, ((from_deg + turned_deg) % 360.0, 1.0))
    figure, _ = drawn(plan)
    found = segments(figure.axes[0], picture.ARROW["arrowstyle"])
    assert len(found) >= 4
    # All of the wind's are drawn before all of the stream's.
    colours = [each.arrowprops["color"] for each in arrows(figure.axes[0])]
    winds = [each for each, colour in zip(found, colours, strict=True) if colour == picture.QUIET]
    streams = [each for each, colour in zip(found, colours, strict=True) if colour != picture.QUIET]
    assert winds
    assert streams
    (x0, y0), (x1, y1) = figure.axes[0].get_window_extent().get_points() * 72.0 / figure.dpi
    frame = shapely.box(x0, y0, x1, y1)
    for wind in winds:
        assert frame.covers(shapely.LineString(wind))
        for stream in streams:
            apart = shapely.LineString(wind).distance(shapely.LineString(stream))
            assert apart > 72.0 * 0.02 or not beside_each_other(wind, stream)


def arrows(axes):
    return [
        each
        for each in axes.texts
        if not each.get_text() and getattr(each, "arrow_patch", None) is not None
        and each.arrowprops["arrowstyle"] == picture.ARROW["arrowstyle"]
    ]  # fmt: skip


def beside_each_other(wind, stream):
    """Whether they are of one place: their middles stand either side of her track."""
    apart = np.hypot(*(sum(wind) / 2.0 - sum(stream) / 2.0))
    return apart == pytest.approx(72.0 * 2.0 * picture.BESIDE_IN, rel=0.02)


def test_bands_of_shifts_and_areas_have_hatches_of_their_own():
    hatches = {*picture.BAND_HATCH.values(), ground.STYLES["area"]["hatch"]}
    assert len({each[0] for each in hatches}) == 3
