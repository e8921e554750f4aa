"""The passage sheet: its figures are the plan's, it fits paper and telephone, and reads aloud."""

import json
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from zoneinfo import ZoneInfo

import numpy as np
import pytest

pytest.importorskip("matplotlib")
pytest.importorskip("jinja2")

import changing_winds
from changing_winds import turning
from goosewing.case import Case
from goosewing.compass.headings import with_variation
from goosewing.errors import InputError
from goosewing.exchange.document import format_plan_json
from goosewing.exchange.gpx.marks import read_marks
from goosewing.foresight import what_if
from goosewing.foresight.on_the_way import look_ahead
from goosewing.hazards.chart import read_chart
from goosewing.options import Options
from goosewing.plan import make
from goosewing.report.sheet import (
    TIDE,
    check_ending,
    format_sheet,
    orders,
    sheet_bytes,
    spoken,
)
from goosewing.weather.steady import SteadyWeather
from goosewing.words.alternatives import longer_words
from goosewing.words.figures import position_words
from goosewing.words.what_if import behind_line, change_name
from panel_browser import axe_source, chromium

DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)
STOCKHOLM = ZoneInfo("Europe/Stockholm")


@pytest.fixture(scope="module")
def planned(brisvik):
    from conftest import SAMPLES

    marks = read_marks(SAMPLES / "kattegat.gpx").marks
    wind = SteadyWeather(315.0, 10.0, 100.0, 0.8)
    made = with_variation(make(marks, brisvik, wind, DEPARTURE), 4.0, None)
    case = Case(marks=made.marks, boat=brisvik, weather=wind, departure=made.departure)
    return look_ahead(what_if.ask(case, made), wind)


@pytest.fixture(scope="module")
def page(planned, brisvik):
    chart = read_chart(coast=True, clearance_nm=0.5)
    return format_sheet(planned, brisvik, hazards=chart.around(planned.marks), zone=STOCKHOLM)


ALL = 8
"""Columns of the orders that a line's words run across."""


class Tables(HTMLParser):
    """Cells of every table, row by row, and all other words; by the standard library's parser."""

    def __init__(self, text):
        super().__init__()
        self.tables, self.words, self._in = {}, [], None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        members = dict(attrs)
        if tag == "table":
            self.rows = self.tables.setdefault(members.get("id", f"t{len(self.tables)}"), [])
        elif tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")
            self._in = tag
            self._wide = int(dict(attrs).get("colspan", 1))
        elif tag == "br" and self._in:
            self.rows[-1][-1] += " "

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self._in = None
            # What stands below a line's figures, over all of them, is a row of its own.
            self.rows[-1] += [""] * (self._wide - 1 if self._wide < ALL else 0)

    def handle_data(self, data):
        if self._in:
            self.rows[-1][-1] += data
        else:
            self.words.append(data)


def squeezed(text):
    return " ".join(text.split())


def order_rows(page):
    """Each line's cells by their head; what stands below its figures belongs to where and what."""
    head, *rows = Tables(page).tables["orders-table"]
    columns = [squeezed(cell) for cell in head]
    found = []
    for row in rows:
        if len(row) == 1:
            found[-1]["Where, what"] += f" {squeezed(row[0])}"
        else:
            found.append(dict(zip(columns, map(squeezed, row), strict=True)))
    return found


def test_every_figure_of_the_orders_is_the_document_s(planned, page):
    document = json.loads(format_plan_json(planned))
    rows = order_rows(page)
    boards = [board for leg in document["legs"] for board in leg["boards"]]
    before = [row for row in rows if row["Where, what"].startswith("Before ")]
    struck = [row for row in before if "strike the pole" in row["Where, what"]]
    ready = [row for row in before if "make the pole ready" in row["Where, what"]]
    assert len(struck) + len(ready) == len(before) == len(rows) - len(boards) - 1
    for row, made_ready in zip(
        ready, [board["pole_ready"] for board in boards if board["pole_ready"]], strict=True
    ):
        check_beforehand(row, made_ready)
    begun = [board["pole_down"] for board in boards if board["pole_down"] is not None]
    for row, down in zip(struck, begun, strict=True):
        check_struck(row, down)
    for cells, board in zip((row for row in rows if row not in before), boards, strict=False):
        true, magnetic = round(board["heading_deg"]), round(board["heading_magnetic_deg"])
        assert cells["steer"] == f"{true % 360:03d}°T {magnetic % 360:03d}°M"
        side = 1.0 if board["tack"] == "port" else -1.0
        through = round(board["heading_deg"] + side * board["leeway_deg"]) % 360
        course = round(board["course_over_ground_deg"]) % 360
        assert cells["water °T COG °T"] == f"{through:03d}° {course:03d}°"
        angles = f"{board['twa_deg']:.0f}° {board['awa_deg']:.0f}° {board['aws_kn']:.0f} kn"
        assert cells["TWA AWA AWS"] == angles
        speeds = [board["boat_speed_kn"], board["speed_over_ground_kn"]]
        miles = [board["log_nm"], board["distance_nm"]]
        for name, values in (("log kn SOG kn", speeds), ("nm log ground", miles)):
            told = [float(each) for each in cells[name].split()]
            assert told == pytest.approx(values, abs=0.051)
        hours, minutes = re.match(r"(?:(\d+) h )?(\d+) min\b", cells["lasts"]).groups()
        # Between the printed times: of each half a minute may be rounded.
        lasts = int(hours or 0) * 60 + int(minutes)
        assert lasts == pytest.approx(board["elapsed_h"] * 60, abs=1.0)
        begins = (board["manoeuvres"] or [board["start"]])[0]["time"]
        told = datetime.fromisoformat(begins).astimezone(STOCKHOLM)
        local = cells["UTC CEST"].split()[1]
        minutes = int(local[:2]) * 60 + int(local[3:])
        assert abs(minutes - (told.hour * 60 + told.minute + told.second / 60)) <= 0.51
        away = board["from_mark"]
        back = round(away["bearing_deg"] + 180.0) % 360
        assert f"{away['mark']} bears {back:03d}°" in cells["Where, what"]
        assert f", {away['distance_nm']:.1f} nm" in cells["Where, what"]


def check_struck(row, down):
    check_beforehand(row, down)
    what, takes = row["Where, what"], f"{down['takes_s'] / 60:.0f} min"
    assert re.search(rf"[:,] (?:then )?strike the pole[^()]* \({takes}\)", what)
    assert (f"up to {takes} later" in what) is not down["counted"]


def check_beforehand(row, down):
    """What is done to a pole is told with its own time, place, log, headings and bearing."""
    what, (local,) = row["Where, what"], row["UTC CEST"].split()[1:]
    told = datetime.fromisoformat(down["time"]).astimezone(STOCKHOLM)
    minutes = int(local[:2]) * 60 + int(local[3:])
    assert abs(minutes - (told.hour * 60 + told.minute + told.second / 60)) <= 0.51
    assert f"hold {round(down['heading_magnetic_deg']) % 360:03d}°M" in what
    assert float(row["log at"]) == pytest.approx(down["log_at_nm"], abs=0.051)
    assert position_words(down["lat"], down["lon"]) in what
    away = down["from_mark"]
    assert f"{away['mark']} bears {round(away['bearing_deg'] + 180.0) % 360:03d}°" in what


def test_hours_alternatives_and_what_it_hangs_on_are_the_document_s(planned, page):
    found = Tables(page)
    _, *hours = found.tables["hours-table"]
    assert len(hours) == len(planned.hours)
    for row, hour in zip(hours, planned.hours, strict=True):
        assert squeezed(row[-1]) == f"{hour.to_go_nm:.1f}"
        blows, log = round(hour.weather.wind_from_deg) % 360, f"{hour.log_nm:.1f}"
        assert f"{blows:03d}° {hour.weather.wind_kn:.0f}" in map(squeezed, row)
        assert log in map(squeezed, row)
    words = squeezed(" ".join(found.words))
    cells = squeezed(" ".join(c for rows in found.tables.values() for r in rows for c in r))
    for leg in planned.legs:
        for each in leg.alternatives:
            if 0.5 <= each.added_min < 59.5:
                assert f"+{each.added_min:.0f} min" in cells
        assert squeezed(f"To {leg.destination}:") in words
        assert all(reason in words for reason in leg.reasons)
    _, *ifs = found.tables["what-if"]
    assert len(ifs) == len(planned.what_if)
    for row, each in zip(ifs, planned.what_if, strict=True):
        what, turns = map(squeezed, row)
        change, arrival, takes = re.fullmatch(r"(.*?) (\d{4}Z \d\d:\d\d) (.*)", what).groups()
        assert change == change_name(each)
        told = (each.arrival + timedelta(seconds=30)).strftime("%H%MZ")
        assert arrival.startswith(f"{told} ")
        # As the printed minutes of both arrivals tell it.
        clocks = [minute_of(time) for time in (each.arrival, planned.arrival)]
        assert takes == squeezed(longer_words(clocks[0] - clocks[1] - 60.0 * each.delay_h))
        assert clocks[0] - clocks[1] == pytest.approx(
            60.0 * (each.elapsed_h - planned.elapsed_h + each.delay_h), abs=1.0
        )
        parts = turns.split("; ")
        at = next(at for at, part in enumerate(parts) if re.match("(same|other) boards", part))
        advice, first = parts[at : at + 2]
        if not each.delay_h:
            blows = f"{round(each.wind_from_deg) % 360:03d}°T {each.wind_kn:.1f} kn"
            assert parts[0] == f"wind {blows} at first"
        other = "" if each.off_track is None and each.same_tracks else " on other tracks"
        assert advice.startswith(f"same boards{other}" if each.same_boards else "other boards")
        assert (each.off_track or "") in advice or not each.same_boards
        board = planned.legs[0].boards[0]
        same = (each.first.tack, each.first.sail_set) == (board.tack, board.sail_set)
        begins = "tack and sails as on page 1, " if same else (
            f"first {each.first.tack} tack, {each.first.sail_set}, "
        )  # fmt: skip
        assert first.startswith(begins)
        assert f", {round(each.first.heading_deg) % 360:03d}°" in first
        for turn in each.turns:
            assert (turn.time + timedelta(seconds=30)).strftime("%H%MZ") in turns
            carries_on = turn.mark and not turn.kinds and turn.alters_to is None
            assert carries_on or f", {round(turn.heading_deg) % 360:03d}°" in turns
            at = position_words(turn.lat, turn.lon)
            named = [
                mark.name for mark in planned.marks if position_words(mark.lat, mark.lon) == at
            ]
            # By name where page 1 turns.
            place = named[0] if named else turn.point or at
            assert re.search(rf"\d\d:\d\d {re.escape(place)}[:, ]", turns)
    assert behind_line(planned) in words
    assert all(caution in words for caution in (*planned.cautions, TIDE))


def minute_of(time):
    return (time + timedelta(seconds=30)).replace(second=0, microsecond=0).timestamp() / 60.0


def test_it_needs_nothing_from_anywhere(page):
    outside = re.findall(r"""(?:src|href)=["'](?!#)([^"']+)""", page)
    assert outside == []
    assert "@import" not in page
    assert re.findall(r"url\((?!#)[^)]*\)", page) == []
    assert "<script" not in page


def test_names_are_words_and_never_markup(brisvik):
    from conftest import SAMPLES

    marks = list(read_marks(SAMPLES / "kattegat.gpx").marks)
    evil = '<img src=x onerror="alert(1)">\u202e&amp;' + "x" * 10_000
    marks[1] = replace(marks[1], name=evil)
    wind = SteadyWeather(315.0, 10.0)
    made = look_ahead(make(marks, brisvik, wind, DEPARTURE), wind)
    text = format_sheet(made, brisvik)
    assert "<img" not in text
    assert "\u202e" not in text
    assert "x" * 100 not in text
    assert "&lt;img" in text


@pytest.mark.long
def test_many_boards_make_more_pages_and_no_fault(brisvik):
    from conftest import SAMPLES

    marks = read_marks(SAMPLES / "kattegat.gpx").marks
    there_and_back = [*marks, *marks[-2::-1]]
    wind = SteadyWeather(280.0, 10.0)
    narrow = Options(corridor_nm=0.06)
    made = look_ahead(make(there_and_back, brisvik, wind, DEPARTURE, narrow), wind)
    assert sum(len(leg.boards) for leg in made.legs) > 200
    text = format_sheet(made, brisvik)
    assert len(Tables(text).tables["orders-table"]) > 200


def test_endings_and_missing_packages_are_told(monkeypatch, tmp_path):
    with pytest.raises(InputError, match=r"must end in \.html or \.pdf"):
        check_ending(tmp_path / "sheet.doc")
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None if name == "jinja2" else 1)
    with pytest.raises(InputError, match=r"needs Jinja2.*\[sheet\]"):
        check_ending(tmp_path / "sheet.html")


def test_equal_plans_give_equal_sheets(planned, brisvik):
    assert format_sheet(planned, brisvik) == format_sheet(planned, brisvik)


@pytest.mark.long
def test_the_pdf_holds_the_same_figures_in_two_pages(planned, brisvik):
    pytest.importorskip("weasyprint")
    pypdf = pytest.importorskip("pypdf")
    import io

    read = pypdf.PdfReader(io.BytesIO(sheet_bytes(planned, brisvik, ".pdf", zone=STOCKHOLM)))
    assert len(read.pages) == 2
    words = squeezed(" ".join(each.extract_text() for each in read.pages))
    for leg in planned.legs:
        for board in leg.boards:
            assert f"{board.distance_nm:.1f}" in words
    assert squeezed(TIDE) in words
    # A4: 210 × 297 mm, in points (ISO 216).
    assert [round(float(side)) for side in read.pages[0].mediabox[2:]] == [595, 842]


def test_every_shape_beside_the_chart_carries_its_own_look(page):
    """Paper's renderer knows nothing of the page's rules within a drawing: by SVG 2, 13.2, a
    shape without a fill is black."""
    drawings = re.findall(r"<svg viewBox.*?</svg>", page[page.index('class="second"') :], re.S)
    assert len(drawings) >= 2
    for drawing in drawings:
        assert "var(" not in drawing
        assert "class=" not in drawing
        shapes = re.findall(r"<(path|polyline|polygon|circle|text)( [^>]*)>", drawing)
        assert shapes
        for kind, look in shapes:
            assert " fill=" in look
            assert kind == "text" or " stroke=" in look


@pytest.mark.long
def test_polars_on_paper_are_lines_and_no_blots(planned, brisvik):
    """Rasterised by PDFium: no square wider than any line or letter is wholly dark."""
    pytest.importorskip("weasyprint")
    pdfium = pytest.importorskip("pypdfium2")
    document = pdfium.PdfDocument(sheet_bytes(planned, brisvik, ".pdf", zone=STOCKHOLM))
    seen = 0
    for page in document:
        grey = np.asarray(page.render(scale=2.0).to_pil().convert("L"))
        dark = grey < 110
        seen += int(dark.sum())
        # Letters and lines are thinner than this square; blots aren't. [px]
        side = 16
        whole = np.lib.stride_tricks.sliding_window_view(dark, (side, side))[::4, ::4]
        assert not whole.all(axis=(2, 3)).any()
    assert seen > 1000


@pytest.mark.long
@pytest.mark.parametrize("width", [360, 794, 1280])
def test_it_fits_telephone_paper_and_screen_and_is_fit_for_all(page, tmp_path, width):
    """794 px is A4 at 96 px an inch; axe-core judges by WCAG."""
    playwright = pytest.importorskip("playwright.sync_api")
    (tmp_path / "sheet.html").write_text(page, encoding="utf-8")
    try:
        axe = axe_source()
    except Exception as why:
        pytest.skip(str(why))
    found = chromium()
    if found is None:
        pytest.skip("no Chromium")
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=found, args=["--no-sandbox"])
        tab = browser.new_page(viewport={"width": width, "height": 900})
        tab.goto((tmp_path / "sheet.html").as_uri())
        assert tab.evaluate("document.documentElement.scrollWidth") <= width
        tab.evaluate(axe)
        faults = tab.evaluate("axe.run()")["violations"]
        assert [each["id"] for each in faults] == []
        browser.close()


def test_an_order_along_a_board_has_its_own_time_place_and_heading(brisvik):
    """One told by its board's would have the helm alter course hours too early."""
    from conftest import SAMPLES

    marks = read_marks(SAMPLES / "kattegat.gpx").marks
    wind = turning(9.0, 240.0, 12.0)
    made = make(marks, brisvik, wind, changing_winds.DEPARTURE, Options(watch_h=1.0))
    made = with_variation(look_ahead(made, wind), 4.0)
    later = [
        (board, order) for leg in made.legs for board in leg.boards for order in board.orders[1:]
    ]
    assert later
    rows = {row.point: row for row in orders(made)}
    heard = " ".join(spoken(made))
    turned = 0
    for board, order in later:
        row = rows[order.point]
        before = board.orders[board.orders.index(order) - 1].stretch
        assert row.utc == (order.time + timedelta(seconds=30)).strftime("%H%MZ")
        assert row.steer[0].startswith(f"{round(order.heading_deg) % 360:03d}°")
        assert row.steer[1].startswith(f"{round(order.heading_magnetic_deg) % 360:03d}°")
        # Held till then was an angle: she comes from where the heading has swung to.
        by_deg = (order.heading_deg - before.last_heading_deg + 180.0) % 360.0 - 180.0
        hand = "starboard" if by_deg > 0.0 else "port"
        if abs(by_deg) >= 1.0:
            comes, then = (
                f"{round(each) % 360:03d}°"
                for each in (before.last_heading_magnetic_deg, order.heading_magnetic_deg)
            )
            assert row.todo == f"alter course to {hand}, {comes} to {then}M"
            turned += 1
        assert row.number is None
        assert row.miles[0] == f"{order.stretch.log_nm:.1f}"
        assert row.log_at == f"{order.stretch.log_at_nm:.1f}"
        back = f"{round(order.from_mark.bearing_magnetic_deg + 180.0) % 360:03d}°M"
        assert row.from_mark.startswith(f"{order.from_mark.mark} bears ")
        assert f" {back}, {order.from_mark.distance_nm:.1f} nm" in row.from_mark
        said = re.search(rf"{order.point}, [^:]*: ([^.]*)\.", heard)[1]
        assert f", on {board.tack} tack, {board.sail_set}, steer " in said
        assert said.startswith(f"alter course to {hand}" if abs(by_deg) >= 1.0 else "alter course")
        assert row.steer[0][:4] in said.replace("T", "")
    assert turned
    assert [row.number for row in orders(made) if row.number] == list(
        range(1, sum(len(leg.boards) for leg in made.legs) + 1)
    )


def test_the_log_is_added_up_for_the_navigator(planned):
    rows = [row for row in orders(planned) if not row.point.startswith("Before ")]
    boards = [board for leg in planned.legs for board in leg.boards]
    run = np.cumsum([0.0, *(board.log_nm for board in boards)])
    assert [float(row.log_at) for row in rows] == pytest.approx(run, abs=0.051)
    assert rows[-1].log_at == f"{planned.log_nm:.1f}"
