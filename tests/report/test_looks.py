"""Port and starboard stay apart for colour-blind eyes, in black and white, and on dark screens."""

import io
import re
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

pytest.importorskip("matplotlib")
pytest.importorskip("jinja2")
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from conftest import SAMPLES
from goosewing.exchange.gpx.marks import read_marks
from goosewing.foresight.on_the_way import look_ahead
from goosewing.plan import make
from goosewing.report import debrief_picture
from goosewing.report.card import format_card
from goosewing.report.picture import DASHED, PORT, STARBOARD, draw, draw_plan
from goosewing.report.sheet import format_sheet
from goosewing.report.targets_picture import COLOURS, LINES, draw_targets
from goosewing.weather.steady import SteadyWeather
from panel_browser import axe_source, chromium

DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)

# G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A physiologically-based model for simulation
# of color vision deficiency," IEEE Transactions on Visualization and Computer Graphics 15 (6),
# 2009, table of severity 1.0, for linear sRGB. From memory; their rows must sum to one, as a
# grey stays the grey it is.
SEEN_BY = {
    "all": np.eye(3),
    "protanopes": np.array([
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ]),
    "deuteranopes": np.array([
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ]),
    "tritanopes": np.array([
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ]),
}  # fmt: skip

# IEC 61966-2-1 (sRGB), D65.
XYZ = np.array([
    [0.4124564, 0.3575761, 0.1804375],
    [0.2126729, 0.7151522, 0.0721750],
    [0.0193339, 0.1191920, 0.9503041],
])  # fmt: skip
WHITE = np.array([0.95047, 1.0, 1.08883])

FAR_APART = 20.0
"""In CIE 1976 L*a*b*; 2.3 is a just noticeable difference (Mahy, Van Eycken, Oosterlinck 1994)."""


def linear(colour):
    value = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def lab(colour, eyes):
    xyz = XYZ @ np.clip(SEEN_BY[eyes] @ linear(colour), 0.0, 1.0) / WHITE
    f = np.where(xyz > 216 / 24389, np.cbrt(xyz), (24389 / 27 * xyz + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(one, other):
    """By WCAG 2.2."""
    low, high = sorted(float(XYZ[1] @ linear(each)) for each in (one, other))
    return (high + 0.05) / (low + 0.05)


@pytest.fixture(scope="module")
def planned(brisvik):
    marks = read_marks(SAMPLES / "kattegat.gpx").marks
    wind = SteadyWeather(315.0, 10.0)
    return look_ahead(make(marks, brisvik, wind, DEPARTURE), wind)


@pytest.mark.parametrize("eyes", SEEN_BY)
def test_a_grey_stays_grey(eyes):
    assert SEEN_BY[eyes].sum(axis=1) == pytest.approx([1.0] * 3, abs=2e-6)


@pytest.mark.parametrize("eyes", SEEN_BY)
def test_port_and_starboard_are_far_apart_in_all_eyes(eyes):
    assert np.linalg.norm(lab(PORT, eyes) - lab(STARBOARD, eyes)) > FAR_APART


@pytest.mark.parametrize("colour", [PORT, STARBOARD])
def test_words_in_the_tacks_colours_are_read(colour):
    assert contrast(colour, "#f4f8fb") >= 4.5


def dark_colours():
    css = format_css()
    block = css[css.index("prefers-color-scheme: dark") :]
    return dict(re.findall(r"--(\w+): (#[0-9a-f]{3,6});", block[: block.index("}")]))


def format_css():
    from importlib.resources import files

    return (files("goosewing.report") / "templates" / "paper.css").read_text(encoding="utf-8")


@pytest.mark.parametrize("eyes", SEEN_BY)
def test_the_dark_look_is_read_and_tells_them_apart(eyes):
    dark = dark_colours()
    for name in ("ink", "quiet", "port", "starboard"):
        assert contrast(dark[name], dark["paper"]) >= 4.5
    assert np.linalg.norm(lab(dark["port"], eyes) - lab(dark["starboard"], eyes)) > FAR_APART


def test_lines_differ_without_any_colour(planned):
    figure = Figure(figsize=(9.0, 8.0), layout="constrained")
    FigureCanvasAgg(figure)
    draw(figure, planned)
    patterns = {PORT: set(), STARBOARD: set()}
    for line in figure.axes[0].lines:
        if line.get_color() in patterns and line.get_linewidth() == 2.2:
            patterns[line.get_color()].add(str(line._dash_pattern))
    assert patterns[PORT]
    assert patterns[STARBOARD]
    assert not patterns[PORT] & patterns[STARBOARD]
    # The stroke of its dashes is longer than the gap, or it would look like a rhumb line.
    assert DASHED[1][0] > 2 * DASHED[1][1]
    assert debrief_picture.SIDES["port"][1] != debrief_picture.SIDES["starboard"][1]


def test_the_sheet_tells_them_by_words_shapes_and_dashes(planned, brisvik):
    page = format_sheet(planned, brisvik)
    css = format_css()
    # Shapes of the buoyage (can to port, cone to starboard): an arrow would read as a turn.
    assert '.port::before { content: "■ "' in css
    assert '.starboard::before { content: "▲ "' in css
    for tack in ("port", "starboard"):
        assert f"{tack} tack, " in page
    curves = re.findall(rf'<polyline[^>]*stroke="({PORT}|{STARBOARD})"[^>]*', page)
    assert {*curves} == {PORT, STARBOARD}
    for found in re.finditer(rf'<polyline[^>]*stroke="({PORT}|{STARBOARD})"[^>]*', page):
        assert ("stroke-dasharray" in found[0]) is (found[1] == STARBOARD)


def test_sail_sets_differ_by_pattern_and_in_all_eyes():
    patterns = [str(each) for each in LINES[:4]]
    assert len(set(patterns)) == 4
    for eyes in SEEN_BY:
        for at, one in enumerate(COLOURS[:4]):
            for other in COLOURS[at + 1 : 4]:
                assert np.linalg.norm(lab(one, eyes) - lab(other, eyes)) > 10.0


def test_pictures_in_svg_follow_a_dark_screen(planned, brisvik):
    for svg in (draw_plan(planned, "svg"), draw_targets(brisvik, [10.0], "svg")):
        assert b"prefers-color-scheme: dark" in svg
        from xml.etree.ElementTree import parse

        parse(io.BytesIO(svg))


@pytest.mark.long
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_sheet_and_card_are_fit_for_all_by_day_and_night(planned, brisvik, tmp_path, scheme):
    """axe-core judges contrast among the rest."""
    playwright = pytest.importorskip("playwright.sync_api")
    try:
        axe = axe_source()
    except Exception as why:
        pytest.skip(str(why))
    found = chromium()
    if found is None:
        pytest.skip("no Chromium")
    named = replace(planned, boat="Brisvik")
    (tmp_path / "sheet.html").write_text(format_sheet(named, brisvik), encoding="utf-8")
    (tmp_path / "card.html").write_text(format_card(brisvik, [6.0, 10.0, 20.0]), encoding="utf-8")
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=found, args=["--no-sandbox"])
        for name in ("sheet.html", "card.html"):
            tab = browser.new_page(viewport={"width": 800, "height": 900}, color_scheme=scheme)
            tab.goto((tmp_path / name).as_uri())
            ground = tab.evaluate("getComputedStyle(document.body).backgroundColor")
            assert (ground == "rgb(255, 255, 255)") is (scheme == "light")
            tab.evaluate(axe)
            faults = tab.evaluate("axe.run()")["violations"]
            assert [each["id"] for each in faults] == []
        browser.close()
