"""What is printed and drawn, given what nobody should give: one line, and all files or none."""

from __future__ import annotations

import json
import sys

import gpxpy
import pytest

pytest.importorskip("matplotlib")
pytest.importorskip("jinja2")

SAIL = ("--boat", "brisvik/boat.toml", "--wind", "315/10", "--depart", "2027-06-12T05:00Z")
PLAN = ("plan", "marks.gpx", *SAIL)
EVERY = ("--out", "p.gpx", "--sheet", "p.html", "--picture", "p.svg", "--handheld", "h.gpx",
         "--geojson", "p.geojson")  # fmt: skip
EVIL = '<img src=x onerror="alert(1)">&amp;\u202e\u2066\x1b[2J' + "x" * 10_000
"""Markup, marks that turn the direction of writing, a terminal's order to wipe, and length."""


def made(desk):
    asked = {"p.gpx", "p.html", "p.svg", "h.gpx", "p.geojson", "p.pdf", "t.svg", "c.html"}
    return {each.name for each in desk.iterdir()} & asked


@pytest.fixture
def evil(desk):
    # A control character is none that XML may hold: it comes as what a careless program writes.
    name = EVIL.replace("\x1b", "").replace("&", "&amp;").replace("<", "&lt;")
    (desk / "marks.gpx").write_text(
        '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><rte>'
        f"<name>{name}</name><cmt>{name}</cmt>"
        '<rtept lat="56.7050" lon="12.3000"><name>Start</name></rtept>'
        f'<rtept lat="56.7200" lon="11.8500"><name>{name}</name><desc>{name}</desc></rtept>'
        "</rte></gpx>",
        encoding="utf-8",
    )
    return desk


def test_a_name_of_markup_turned_writing_and_ten_thousand_letters(evil, run):
    ran = run(*PLAN, *EVERY, "--coast", "--what-if", "--hourly")
    assert ran.code == 0
    sheet, svg = ((evil / each).read_text(encoding="utf-8") for each in ("p.html", "p.svg"))
    for text in (ran.out, sheet, svg):
        assert "\u202e" not in text
        assert "\u2066" not in text
        assert "x" * 300 not in text
        assert "\x1b" not in text
    assert "<img" not in sheet + svg
    assert "&lt;img" in sheet
    # A chart plotter's file keeps what it was given, and stays well-formed.
    read = gpxpy.parse((evil / "p.gpx").read_text(encoding="utf-8"))
    assert read.routes[0].name.startswith("<img src=x")
    assert len(read.routes[0].name) > 10_000
    small = gpxpy.parse((evil / "h.gpx").read_text(encoding="utf-8"))
    assert all(len(point.name) <= 6 for point in small.routes[0].points)
    json.loads((evil / "p.geojson").read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        (("--sheet", "nowhere/p.html"), "no such folder"),
        (("--picture", "marks.gpx"), "marks.gpx"),
        (("--sheet", "p.doc"), "must end in .html or .pdf"),
        (("--picture", "p.bmp"), "must end in .png, .svg, .pdf"),
        (("--geojson", "brisvik"), "brisvik"),
        (("--handheld", "p.gpx"), "same name"),
    ],
)
def test_of_several_outputs_all_or_none_are_written(desk, run, bad, said):
    others = [each for pair in zip(EVERY[::2], EVERY[1::2], strict=True) if pair[0] != bad[0]
              for each in pair]  # fmt: skip
    before = (desk / "marks.gpx").read_bytes()
    ran = run(*PLAN, *others, *bad)
    assert ran.code == 2
    assert len(ran.err.splitlines()) == 1
    assert said in ran.err
    assert made(desk) == set()
    assert (desk / "marks.gpx").read_bytes() == before


def test_what_was_there_stays_where_one_of_several_fails(desk, run, monkeypatch):
    """The disk fills up at the last file."""
    from goosewing.files import disk

    (desk / "p.gpx").write_text("what was there")
    real, written = disk.os.replace, []

    def full(source, target, *rest, **more):
        if str(target).endswith("p.geojson"):
            raise OSError(28, "No space left on device")
        written.append(target)
        return real(source, target, *rest, **more)

    monkeypatch.setattr(disk.os, "replace", full)
    ran = run(*PLAN, *EVERY)
    monkeypatch.undo()
    assert ran.code == 2
    assert len(ran.err.splitlines()) == 1
    assert made(desk) <= {"p.gpx"}
    assert (desk / "p.gpx").read_text() == "what was there"


def test_no_coast_for_the_area_is_no_fault(desk, run):
    """In the midst of an ocean the coast has nothing: the sheet is drawn, and says what it saw."""
    (desk / "marks.gpx").write_text(
        '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><rte>'
        '<rtept lat="-48" lon="-125"><name>A</name></rtept>'
        '<rtept lat="-48.2" lon="-125.1"><name>B</name></rtept></rte></gpx>'
    )
    ran = run(*PLAN, *EVERY, "--coast")
    assert ran.code == 0
    sheet = (desk / "p.html").read_text(encoding="utf-8")
    assert "built-in coast" in sheet
    assert ">land<" not in sheet


@pytest.mark.parametrize(
    ("command", "module", "extra"),
    [
        ((*PLAN, "--sheet", "p.html", "--out", "p.gpx"), "jinja2", "[sheet]"),
        ((*PLAN, "--sheet", "p.html", "--out", "p.gpx"), "matplotlib", "[sheet]"),
        ((*PLAN, "--sheet", "p.pdf", "--out", "p.gpx"), "weasyprint", "[sheet]"),
        ((*PLAN, "--picture", "p.svg", "--out", "p.gpx"), "matplotlib", "[picture]"),
        (("targets", *SAIL[:2], "--card", "c.html"), "jinja2", "[sheet]"),
        (("targets", *SAIL[:2], "--picture", "t.svg"), "matplotlib", "[picture]"),
    ],
)
def test_a_missing_extra_is_named_and_nothing_written(
    desk, run, monkeypatch, command, module, extra
):
    from importlib import util

    from goosewing.report import pages

    # As if it had never been installed: found by no finder, and not to be imported.
    found = util.find_spec
    monkeypatch.setattr(util, "find_spec", lambda n, *a: None if n == module else found(n, *a))
    for name in [each for each in sys.modules if each.split(".")[0] == module]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, module, None)
    pages._environment.cache_clear()
    ran = run(*command)
    pages._environment.cache_clear()
    assert ran.code == 2
    assert len(ran.err.splitlines()) == 1
    assert extra in ran.err
    assert "Traceback" not in ran.err + ran.out
    assert made(desk) == set()


@pytest.mark.long
def test_two_hundred_boards_are_printed_whole(desk, run):
    ran = run(*PLAN[:2], *SAIL[:2], "--wind", "280/10", "--depart", "2027-06-12T05:00Z",
              "--corridor", "0.06", *EVERY, "--json")  # fmt: skip
    assert ran.code == 0
    boards = [board for leg in json.loads(ran.out)["legs"] for board in leg["boards"]]
    assert len(boards) > 80
    sheet = (desk / "p.html").read_text(encoding="utf-8")
    assert sheet.count('data-head="course through water, COG"') >= len(boards)


@pytest.mark.usefixtures("evil")
@pytest.mark.parametrize(
    "command",
    [
        ("depart", "marks.gpx", *SAIL[:4], "--from", "2027-06-12T05:00Z", "--until",
         "2027-06-12T06:00Z"),
        ("laylines", "marks.gpx", *SAIL[:4], "--at", "56.70,12.25"),
        ("handheld", "marks.gpx", "--out", "h.gpx"),
    ],
)  # fmt: skip
def test_other_tables_bear_such_names_too(run, command):
    ran = run(*command)
    assert ran.code == 0
    assert "\u202e" not in ran.out
    assert "\u2066" not in ran.out
    assert "x" * 300 not in ran.out


def test_departures_say_that_no_land_was_looked_at_and_what_saved_less_than_nothing_means(run):
    span = ("--from", "2027-06-12T05:00Z", "--until", "2027-06-12T06:00Z")
    found = run("depart", "marks.gpx", *SAIL[:4], *span)
    assert found.out.count("Land and shoals were not looked at") == 1
    assert "less than 0" in found.out
    document = json.loads(run("depart", "marks.gpx", *SAIL[:4], *span, "--coast", "--json").out)
    assert not any("not looked at" in each for each in document["notices"])
    assert "built-in coast" in document["cautions"][0]


def test_an_option_of_two_meanings_points_to_the_other(run):
    ran = run("depart", "marks.gpx", *SAIL[:4], "--from", "waypoints")
    assert ran.code == 2
    assert "--marks-from waypoints" in ran.err
