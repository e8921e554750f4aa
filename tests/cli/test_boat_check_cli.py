"""`goosewing boat check` as its users meet it."""

from __future__ import annotations

import json


def slip(desk, old, new):
    table = desk / "brisvik" / "main-and-jib.csv"
    text = table.read_text(encoding="utf-8")
    assert text.count(old) == 1
    table.write_text(text.replace(old, new), encoding="utf-8")


def test_a_sound_boat_is_said_to_be_and_shows_her_targets(run):
    ran = run("boat", "check", "brisvik/boat.toml")
    assert ran.code == 0
    assert ran.out.startswith("Nothing odd found.\n")
    assert "Brisvik: targets" in ran.out
    assert "Not for sole navigation" in ran.out


def test_a_slip_is_shown_with_file_row_and_column(desk, run):
    # Row 4 is 38°, column 5 is 10 kn: 4.76 with its point one place too far right.
    slip(desk, "4.26,4.76", "4.26,47.6")
    ran = run("boat", "check", "brisvik/boat.toml")
    assert ran.code == 0
    odd = [line for line in ran.out.splitlines() if line.startswith("Odd: ")]
    assert len(odd) == 1
    assert "main-and-jib.csv, row 4, column 5: at 38° in 10 kn of wind, 47.6 kn" in odd[0]


def test_the_document_says_the_same(desk, run):
    slip(desk, "4.26,4.76", "4.26,47.6")
    ran = run("boat", "check", "brisvik/boat.toml", "--json")
    content = json.loads(ran.out)
    assert content["format"] == "goosewing.boat-check/1"
    (odd,) = content["odd"]
    assert (odd["sail_set"], odd["twa_deg"], odd["tws_kn"]) == ("main and jib", 38.0, 10.0)
    assert odd["where"].endswith("main-and-jib.csv, row 4, column 5")
    assert content["targets"]["wind_speeds"]


def test_a_boat_that_cannot_be_read_is_refused_in_one_line(run):
    ran = run("boat", "check", "nothing.toml")
    assert ran.code == 2
    assert ran.out == ""
    assert ran.err.count("\n") == 1


def test_boat_alone_shows_what_there_is(run):
    ran = run("boat")
    assert ran.code == 0
    assert "check" in ran.out
