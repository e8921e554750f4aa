"""The words of a picture: all within it, none over another, few over lines."""

from dataclasses import replace
from datetime import UTC, datetime
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("matplotlib")
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from goosewing.boat.read import read_boat
from goosewing.exchange.gpx import read_marks
from goosewing.plan import Options, make
from goosewing.report import labels
from goosewing.report.picture import draw
from goosewing.weather.steady import SteadyWeather

SAMPLES = Path(__file__).parents[2] / "sample_routes"
DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)


def drawn(plan):
    figure = Figure(figsize=(9.0, 8.0), layout="constrained")
    FigureCanvasAgg(figure)
    boxes = draw(figure, plan)
    return figure.axes[0].get_window_extent(), boxes


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
    frame, boxes = drawn(plan)
    assert len(boxes) >= len(plan.marks)
    for left, bottom, right, top in boxes:
        assert frame.x0 < left < right < frame.x1
        assert frame.y0 < bottom < top < frame.y1
    for a, b in combinations(boxes, 2):
        assert a[0] >= b[2] or b[0] >= a[2] or a[1] >= b[3] or b[1] >= a[3]


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
