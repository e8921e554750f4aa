"""The picture of the targets: what is drawn is what the targets say."""

from dataclasses import replace

import numpy as np
import pytest

pytest.importorskip("matplotlib")
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from goosewing.errors import InputError
from goosewing.report.targets_picture import DOTS, draw, draw_targets, write_targets_picture
from goosewing.velocities.targets import targets

WINDS = [6.0, 12.0]


@pytest.fixture(scope="module")
def drawn(brisvik):
    figure = Figure(figsize=(10.0, 9.0), layout="constrained")
    FigureCanvasAgg(figure)
    draw(figure, brisvik, WINDS)
    return figure


def dots(axes):
    """Where best angles are marked."""
    return [(x, y) for line in axes.lines if line.get_marker() == "o" for x, y in line.get_xydata()]


def test_best_angles_stand_at_their_apparent_angle_and_speed_made_good(brisvik, drawn):
    found = targets(brisvik, WINDS).wind_speeds
    for wind, axes in zip(found, drawn.axes[1::2], strict=True):
        marked = dots(axes)
        assert len(marked) == len(wind.upwind) + len(wind.downwind)
        for sign, best in [(1, t) for t in wind.upwind] + [(-1, t) for t in wind.downwind]:
            near = min(
                marked, key=lambda at: abs(at[0] - best.awa_deg) + abs(at[1] - sign * best.vmg_kn)
            )
            assert near == pytest.approx((best.awa_deg, sign * best.vmg_kn), abs=1e-9)
        greatest = max(wind.upwind, key=lambda each: each.vmg_kn)
        words = " ".join(text.get_text() for text in axes.texts)
        assert f"AWA {greatest.awa_deg:.0f}°, TWA {greatest.twa_deg:.0f}°" in words
        assert f"{greatest.boat_speed_kn:.1f} kn, made good {greatest.vmg_kn:.1f}" in words


def test_no_curve_rises_above_its_best_point(brisvik, drawn):
    for wind, axes in zip(targets(brisvik, WINDS).wind_speeds, drawn.axes[1::2], strict=True):
        up, down = (max(t.vmg_kn for t in each) for each in (wind.upwind, wind.downwind))
        y = np.concatenate([line.get_ydata() for line in axes.lines if line.get_linewidth() <= 2.0])
        assert y.max() == pytest.approx(up, abs=0.01)
        assert y.min() == pytest.approx(-down, abs=0.01)


def test_what_is_worth_sailing_lies_on_the_hull_and_what_is_dotted_inside(drawn):
    """By shapely's distances: half a percent is what no crew can tell."""
    shapely = pytest.importorskip("shapely")
    for axes in drawn.axes[::2]:
        (hull,) = (line for line in axes.lines if line.get_linewidth() == 0.9)
        ring = shapely.LineString(hull.get_xydata())
        off = {True: [], False: []}
        for line in axes.lines:
            if line.get_zorder() == 3:
                points = line.get_xydata()
                share = [ring.distance(shapely.Point(p)) / np.hypot(*p) for p in points]
                off[line.get_linewidth() == 2.0].append(max(share))
        assert off[True]
        assert off[False]
        assert max(off[True]) < 0.006
        assert min(off[False]) > 0.004


def test_the_hull_encloses_all_curves(drawn):
    shapely = pytest.importorskip("shapely")
    for axes in drawn.axes[::2]:
        (hull,) = (line for line in axes.lines if line.get_linewidth() == 0.9)
        solid = shapely.Polygon(hull.get_xydata()).buffer(1e-3)
        assert solid.equals(shapely.convex_hull(solid)) or solid.area == pytest.approx(
            shapely.convex_hull(solid).area, rel=1e-6
        )
        for line in axes.lines:
            if line.get_zorder() == 3:
                assert all(solid.covers(shapely.Point(point)) for point in line.get_xydata())


def test_endings_winds_and_names(brisvik, tmp_path):
    with pytest.raises(InputError, match="4 wind speeds at most, got 5"):
        draw_targets(brisvik, [4.0, 6.0, 8.0, 10.0, 12.0])
    with pytest.raises(InputError, match=r"must end in \.png"):
        write_targets_picture(tmp_path / "t.doc", brisvik, WINDS)
    first, *rest = brisvik.sail_sets
    strange = replace(first, name="$x_1$ <b>" + "y" * 9999)
    named = replace(brisvik, name="$z$" * 99, sail_sets=(strange, *rest))
    write_targets_picture(tmp_path / "t.svg", named, WINDS)
    text = (tmp_path / "t.svg").read_text(encoding="utf-8")
    assert "<b>" not in text
    assert DOTS[1][0] < DOTS[1][1]
    # In a wind for no sails there is nothing to draw, and no fault.
    assert draw_targets(brisvik, [80.0]).startswith(b"\x89PNG")
