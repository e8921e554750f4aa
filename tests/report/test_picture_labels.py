"""The words of a picture: all within it, none over another, few over lines."""

from dataclasses import replace
from datetime import UTC, datetime
from itertools import combinations
from pathlib import Path

import gpxpy
import numpy as np
import pytest

pytest.importorskip("matplotlib")
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from goosewing.boat.read import read_boat
from goosewing.exchange.gpx.marks import read_marks
from goosewing.exchange.gpx.plans import format_plan
from goosewing.options import Options
from goosewing.plan import make
from goosewing.report import labels
from goosewing.report.picture import draw, draw_plan
from goosewing.weather.steady import SteadyWeather

SAMPLES = Path(__file__).parents[2] / "sample_routes"
DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)


def drawn(plan):
    figure = Figure(figsize=(9.0, 8.0), layout="constrained")
    FigureCanvasAgg(figure)
    boxes = draw(figure, plan)
    return figure.axes[0].get_window_extent(), boxes


@pytest.mark.long
@pytest.mark.parametrize("corridor_nm", [None, 1.0, 0.4])
@pytest.mark.parametrize("from_deg", [15.0, 105.0, 195.0, 285.0, 315.0])
def test_words_stay_inside_and_off_each_other(from_deg, corridor_nm):
    plan = make(
        read_marks(SAMPLES / "kattegat.gpx").marks,
        read_boat(SAMPLES / "brisvik" / "boat.toml"),
        SteadyWeather(from_deg, 10.0),
        DEPARTURE,
        Options(corridor_nm=corridor_nm),
    )
    figure = Figure(figsize=(9.0, 8.0), layout="constrained")
    canvas = FigureCanvasAgg(figure)
    boxes = draw(figure, plan)
    axes = figure.axes[0]
    frame = axes.get_window_extent()
    assert len(boxes) >= len(plan.marks)
    (wind,) = (each for each in axes.texts if each.get_text().startswith("wind over"))
    b = wind.get_window_extent(canvas.get_renderer())
    assert frame.x0 < b.x0 < b.x1 < frame.x1
    assert frame.y0 < b.y0 < b.y1 < frame.y1
    boxes.append(np.array([b.x0, b.y0, b.x1, b.y1]))
    # The key stands below the frame, where no mark can lie under it, and whole.
    key = axes.get_legend().get_window_extent(canvas.get_renderer())
    assert 0.0 < key.y0 < key.y1 < frame.y0
    assert 0.0 < key.x0 < key.x1 < figure.bbox.width
    for left, bottom, right, top in boxes:
        assert frame.x0 < left < right < frame.x1
        assert frame.y0 < bottom < top < frame.y1
    for a, b in combinations(boxes, 2):
        assert a[0] >= b[2] or b[0] >= a[2] or a[1] >= b[3] or b[1] >= a[3]


@pytest.mark.parametrize("from_deg", [240.0, 315.0])
def test_what_to_steer_stands_nearer_its_own_board_than_any_other(from_deg):
    # Distances by shapely, another library than the one that places the words.
    shapely = pytest.importorskip("shapely")
    plan = make(
        read_marks(SAMPLES / "kattegat.gpx").marks,
        read_boat(SAMPLES / "brisvik" / "boat.toml"),
        SteadyWeather(from_deg, 10.0),
        DEPARTURE,
    )
    figure = Figure(figsize=(9.0, 8.0), layout="constrained")
    canvas = FigureCanvasAgg(figure)
    draw(figure, plan)
    axes = figure.axes[0]
    lines = {}
    for board in (board for leg in plan.legs for board in leg.boards):
        ends = [(board.start.lon, board.start.lat), (board.end.lon, board.end.lat)]
        line = shapely.LineString(axes.transData.transform(ends))
        lines[f"steer {round(board.heading_deg) % 360:03d}°T"] = line
    told = [each for each in axes.texts if "steer " in each.get_text()]
    boards = [board for leg in plan.legs for board in leg.boards]
    assert len(told) == len(boards)
    led = led_places(axes)
    for text in told:
        box = text.get_window_extent(canvas.get_renderer())
        words = shapely.box(box.x0, box.y0, box.x1, box.y1)
        nearest = min(lines, key=lambda steer: lines[steer].distance(words))
        if not text.get_text().endswith(nearest):
            # A thin line then leads from the words to their board.
            own = lines[next(each for each in lines if text.get_text().endswith(each))]
            assert any(
                own.distance(shapely.Point(place)) < 1.0
                and words.distance(shapely.Point(begins)) < 8.0
                for begins, place in led
            )


def led_places(axes):
    """Where thin lines begin and end, in pixels."""
    per_point = axes.figure.dpi / 72.0
    return [
        (np.array(each.get_position()) * per_point, np.array(each.xy) * per_point)
        for each in axes.texts
        if not each.get_text() and getattr(each, "arrow_patch", None) is not None
        and each.arrowprops["arrowstyle"] == "-"
    ]  # fmt: skip


def test_across_the_antimeridian_everything_is_in_one_place():
    marks = read_marks(SAMPLES / "kattegat.gpx").marks
    turned = [replace(m, lon=(m.lon + 167.9 + 180.0) % 360.0 - 180.0) for m in marks]
    boat = read_boat(SAMPLES / "brisvik" / "boat.toml")
    plan = make(turned, boat, SteadyWeather(315.0, 10.0), DEPARTURE)
    frame, boxes = drawn(plan)
    assert all(frame.x0 < box[0] < frame.x1 for box in boxes)


def test_a_line_is_filled_with_points_closer_than_a_word_is_high():
    line = labels.along(np.array([[0.0, 0.0], [30.0, 40.0], [30.0, 41.0]]), step_px=5.0)
    assert np.hypot(*np.diff(line, axis=0).T).max() <= 5.0 + 1e-9
    assert line[0].tolist() == [0.0, 0.0]
    assert line[-1].tolist() == [30.0, 41.0]


@pytest.mark.parametrize(
    "name", ["東京湾", "$x_1$ and $", "M" * 200, "עברית", "Grund \N{SAILBOAT} 3", "a_b^c\\d"]
)
def test_any_name_is_drawn_without_a_word_and_inside(name):
    # Warnings are errors here: a glyph that the font lacks would be one.
    marks = [replace(m, name=name) for m in read_marks(SAMPLES / "kattegat.gpx").marks]
    boat = read_boat(SAMPLES / "brisvik" / "boat.toml")
    plan = make(marks, boat, SteadyWeather(315.0, 10.0), DEPARTURE)
    assert draw_plan(replace(plan, boat=name)).startswith(b"\x89PNG")
    if name.isascii():
        frame, boxes = drawn(plan)
        assert min(box[0] for box in boxes) > frame.x0
        assert max(box[2] for box in boxes) < frame.x1


def test_turns_carry_the_names_that_the_route_gives_them():
    marks = read_marks(SAMPLES / "kattegat.gpx").marks
    boat = read_boat(SAMPLES / "brisvik" / "boat.toml")
    plan = make(marks, boat, SteadyWeather(315.0, 10.0), DEPARTURE)
    figure = Figure(figsize=(9.0, 8.0), layout="constrained")
    FigureCanvasAgg(figure)
    draw(figure, plan)
    words = [each.get_text() for each in figure.axes[0].texts]
    written = gpxpy.parse(format_plan(plan)).routes[0].points
    turns = [point.name for point in written if point.name not in {m.name for m in marks}]
    assert turns
    for name in turns:
        assert sum(each.startswith(f"{name} ") for each in words) == 1
    assert figure.axes[0].get_title() == plan.conditions


def test_words_too_long_for_either_side_are_moved_into_the_frame():
    figure = Figure(figsize=(9.0, 8.0))
    FigureCanvasAgg(figure)
    axes = figure.add_subplot(xlim=(0.0, 1.0), ylim=(0.0, 1.0))
    long = labels.Label(words="M" * 66, places=((0.2, 0.5),), style={"fontsize": 8})
    ((left, bottom, right, top),) = labels.place(axes, [long], np.zeros((0, 2)), [])
    (text,) = axes.texts
    frame, box = axes.get_window_extent(), text.get_window_extent(figure.canvas.get_renderer())
    assert right - left > 0.6 * frame.width
    assert frame.x0 < box.x0 < box.x1 < frame.x1
    assert frame.y0 < box.y0 < box.y1 < frame.y1
    assert [left, bottom, right, top] == pytest.approx([box.x0, box.y0, box.x1, box.y1], abs=1.0)


def test_no_word_over_the_ground_is_crossed_out_by_it():
    """Hatched islands lie behind the words: each stands off from them by a stroke of the ground."""
    plan = make(
        read_marks(SAMPLES / "kattegat.gpx").marks,
        read_boat(SAMPLES / "brisvik" / "boat.toml"),
        SteadyWeather(315.0, 10.0),
        DEPARTURE,
    )
    figure = Figure(figsize=(9.0, 8.0), layout="constrained")
    FigureCanvasAgg(figure)
    draw(figure, plan)
    words = [each for each in figure.axes[0].texts if each.get_text()]
    assert {"wind over", "nm"} <= {
        part for each in words for part in ("wind over", "nm") if part in each.get_text()
    }
    assert [each.get_text() for each in words if not each.get_path_effects()] == []
