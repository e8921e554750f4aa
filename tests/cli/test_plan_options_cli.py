"""The options of `goosewing plan` for a passage under way."""

from __future__ import annotations

import json
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from pyproj import Transformer

PLAN = (
    "plan", "marks.gpx", "--boat", "brisvik/boat.toml", "--wind", "315/10",
    "--depart", "2027-06-12T20:00Z",
)  # fmt: skip
GPX = "{http://www.topografix.com/GPX/1/1}"
GOOSE = "{urn:goosewing:gpx:1}"


pytestmark = pytest.mark.usefixtures("round_of_its_own")


def document(run, *more):
    ran = run(*PLAN, *more, "--json")
    assert ran.code == 0, ran.err
    return json.loads(ran.out)


def refused(ran, code=2):
    assert ran.code == code, ran.err
    assert ran.out == ""
    (line,) = ran.err.splitlines()
    return line


def test_from_here_to_the_next_mark(run):
    made = document(run, "--at", "56°40.0'N 12°00.0'E", "--next", "Turn")
    assert [(leg["from"], leg["to"]) for leg in made["legs"]] == [
        ("Here", "Turn"),
        ("Turn", "Finish"),
    ]
    start = made["legs"][0]["boards"][0]["start"]
    assert (start["lat"], start["lon"]) == pytest.approx((56.0 + 40.0 / 60.0, 12.0))
    assert "Left behind: Start, Anholt E." in made["notices"]


def test_from_beside_the_line_the_corridor_is_the_legs_own(run):
    """She starts west of the line from Start to Anholt E, and turns at the edges about it."""
    start, mark = (56.45, 12.35), (56.72, 11.85)
    at = (56.59, 12.08)
    made = document(
        run, "--at", "{},{}".format(*at), "--next", "Anholt E", "--corridor", "0.6",
        "--start-tack", "starboard",
    )  # fmt: skip
    ends = [(board["end"]["lat"], board["end"]["lon"]) for board in made["legs"][0]["boards"]]
    assert ends[-1] == pytest.approx(mark)
    assert len(ends) > 4
    off = [right_of_nm(start, mark, end) for end in ends]
    assert right_of_nm(start, mark, at) < -0.2
    assert 0.5 < max(off) < 0.61
    assert -0.5 > min(off) > -0.61


def right_of_nm(a, b, at):
    """How far right of the loxodrome between two places a third lies, by PROJ's Mercator."""
    plane = Transformer.from_crs("EPSG:4326", "EPSG:3395", always_xy=True)
    (x, y), (u, v) = (
        np.subtract(plane.transform(p[1], p[0]), plane.transform(a[1], a[0])) for p in (b, at)
    )
    return (u * y - v * x) / np.hypot(x, y) * np.cos(np.radians(at[0])) / 1852.0


def test_at_on_land_is_fine(run):
    # Well inland in Jutland: no chart is asked.
    assert document(run, "--at", "56.3,9.5")["legs"][0]["from"] == "Here"


def test_at_the_first_mark_is_said(run):
    made = document(run, "--at", "56.45,12.35")
    assert made["legs"][0]["from"] == "Start"
    assert "She is at Start already: the plan starts there." in made["notices"]


def test_from_here_she_goes_to_the_mark_that_lies_ahead(run):
    made = document(run, "--at", "56.55,12.15")
    assert (made["legs"][0]["from"], made["legs"][0]["to"]) == ("Here", "Anholt E")
    said = "She is on the way to Anholt E, left behind: Start. Else say --next."
    assert said in made["notices"]


def test_before_the_start_and_far_from_all_legs_it_is_said_that_all_marks_are_kept(run):
    for at in ("56.40,12.42", "56.3,9.5"):
        made = document(run, "--at", at)
        assert (made["legs"][0]["from"], made["legs"][0]["to"]) == ("Here", "Start")
        assert "All marks are kept, Start first: name the next with --next." in made["notices"]


def test_where_two_legs_are_about_as_near_the_next_mark_is_asked_for(run):
    line = refused(run(*PLAN, "--at", "56.701,11.85"))
    assert line.endswith("say which with --next MARK")
    assert "Anholt E, Turn" in line


def test_local_time_stands_beside_utc(run):
    shown = run(*PLAN, "--zone", "Europe/Stockholm").out
    assert "2000Z  22:00" in shown
    assert "Local time: departure 2027-06-12 22:00 CEST, arrival 2027-06-13" in shown
    assert max(map(len, shown.splitlines())) <= 80


def test_magnetic_and_compass_headings(run, desk):
    card = "heading_deg,deviation_deg\n" + "\n".join(f"{h},2" for h in range(0, 360, 45))
    (desk / "card.csv").write_text(card, encoding="utf-8")
    made = document(run, "--variation", "5", "--deviation", "card.csv")
    for leg in made["legs"]:
        for board in leg["boards"]:
            true, magnetic = board["heading_deg"], board["heading_magnetic_deg"]
            assert magnetic == pytest.approx((true - 5.0) % 360.0)
            assert board["heading_compass_deg"] == pytest.approx((true - 7.0) % 360.0)
    shown = run(
        *PLAN, "--variation", "5", "--deviation", "card.csv", "--zone", "Europe/Stockholm"
    ).out
    assert max(map(len, shown.splitlines())) <= 80


def test_a_mark_left_on_a_hand_keeps_its_own_place_in_the_gpx(run, desk):
    assert run(*PLAN, "--leave", "Anholt E=port:0.2", "--out", "plan.gpx").code == 0
    root = ElementTree.parse(desk / "plan.gpx").getroot()
    point = next(
        each for each in root.iter(f"{GPX}rtept") if each.findtext(f"{GPX}name") == "Anholt E"
    )
    # The route leads past the mark; a waypoint and goose:leave tell where the mark itself is.
    assert (float(point.get("lat")), float(point.get("lon"))) != (56.72, 11.85)
    itself = next(root.iter(f"{GPX}wpt"))
    assert (float(itself.get("lat")), float(itself.get("lon"))) == (56.72, 11.85)
    leave = next(each for each in point.iter() if each.tag.endswith("}leave"))
    assert (float(leave.get("lat")), float(leave.get("lon"))) == (56.72, 11.85)
    leave = point.find(f"{GPX}extensions/{GOOSE}leave")
    assert (leave.get("side"), float(leave.get("distance_nm"))) == ("port", 0.2)
    # Read back, the extension says the same as the option.
    again = run("plan", "plan.gpx", *PLAN[2:], "--json")
    assert json.loads(again.out)["legs"] == document(run, "--leave", "Anholt E=port:0.2")["legs"]
    assert "leave to port, 0.2 nm off" in run(*PLAN, "--leave", "Anholt E=port:0.2").out


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--at", "nowhere"), "expected a position"),
        (("--at", "57.5"), "expected a position"),
        (("--at", "90,0"), "planning ends at 89 degrees"),
        (("--next", "Skagen"), "there are Start, Anholt E, Turn, Finish"),
        (("--next", "Finish"), "only one mark"),
        (("--leave", "Anholt E"), "must be written MARK=port:0.2"),
        (("--leave", "Anholt E=left:0.2"), "to port or to starboard"),
        (("--leave", "Anholt E=port:-1"), "the distance must be above 0"),
        (("--leave", "Skagen=port:0.2"), "no mark is called 'Skagen'"),
        (("--leave", "Start=port:0.2"), "the passage starts there"),
        (("--leave", "Turn=port:40"), "the leg beside it is only"),
        (("--variation", "181"), "180 degrees at most"),
        (("--variation", "wobbly"), "variation must be degrees"),
        (("--deviation", "card.csv"), "--deviation needs --variation"),
        (("--variation", "5", "--deviation", "none.csv"), "none.csv"),
        (("--zone", "Nowhere"), "expected a time zone"),
        (("--corridor", "0.01"), "leaves boards of under a minute"),
        (("--corridor", "-1"), "corridor must be wider than 0"),
        (("--margin", "60"), "margin must be 0 to 45"),
        (("--start-with", "genoa"), 'no sail set "genoa"'),
        (("--start-tack", "left"), "left"),
        (("--first", "left"), "left"),
    ],
)
def test_bad_input_is_one_clear_line(run, more, words):
    line = refused(run(*PLAN, *more))
    assert line.startswith("goosewing: ")
    assert words in line


def test_a_wrong_word_is_refused_without_the_words_of_the_library(run):
    ran = run(*PLAN, "--first", "leeward")
    assert ran.code == 2
    assert "'leeward' is not one of 'port', 'starboard', 'longer', 'faster'" in ran.err
    assert "Value error" not in ran.err


def test_the_engine_is_told_in_table_and_document(run, desk):
    calm = ("plan", "marks.gpx", "--boat", "brisvik/boat.toml", "--wind", "315/3", "--engine")
    ran = run(*calm, "--depart", "2027-06-12T05:00Z")
    assert ran.code == 0
    assert "start the engine" in ran.out
    assert "under engine" in ran.out
    assert re.search(r"Under engine: \d+ h \d\d min, \d+\.\d litres\.", ran.out)
    made = json.loads(run(*calm, "--depart", "2027-06-12T05:00Z", "--json").out)
    hours = sum(b["elapsed_h"] for leg in made["legs"] for b in leg["boards"] if b["engine"])
    assert made["engine_h"] == pytest.approx(hours)
    assert made["engine_litres"] == pytest.approx(2.0 * hours)
    toml = desk / "brisvik" / "boat.toml"
    text = toml.read_text(encoding="utf-8")
    start, end = text.index("[engine]"), text.index("[[sail_sets]]")
    toml.write_text(text[:start] + text[end:], encoding="utf-8")
    ran = run(*calm)
    assert (ran.code, ran.out, ran.err.count("\n")) == (2, "", 1)
    assert "the boat file of Brisvik has no [engine] table" in ran.err
