"""What a hostile hand found: no names, closed folders, full disks, terminals of few letters."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from contextlib import redirect_stdout
from io import StringIO
from pathlib import Path

import pytest

from goosewing.errors import InputError
from goosewing.exchange import boat_folder
from goosewing.files import disk
from goosewing_cli.main import outcome

BOAT = ("--boat", "brisvik/boat.toml")
PLAN = ("plan", "marks.gpx", *BOAT, "--wind", "315/10", "--depart", "2027-06-12T05:00Z")
LIVE = ("live", "--nmea", "log.nmea", "--marks", "marks.gpx", *BOAT)
PROGRAM = (sys.executable, "-c", "from goosewing_cli.main import run; run()")


def held(folder: Path) -> dict[str, bytes | None]:
    return {
        str(each.relative_to(folder)): each.read_bytes() if each.is_file() else None
        for each in folder.rglob("*")
    }


def refused(run, desk, *words):
    before = held(desk)
    ran = run(*words)
    assert ran.code == 2
    assert held(desk) == before
    (line,) = ran.err.splitlines()
    assert len(line) <= 300
    return line


# ---- names --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "words",
    [
        (*PLAN, "--out", ""),
        (*PLAN, "--picture", ""),
        ("plan", "", *BOAT, "--wind", "315/10"),
        ("demo", "--out", ""),
        ("boat", "estimate", "brisvik/dimensions.toml", "--out", ""),
        (*LIVE, "--gpx-dir", ""),
        (*LIVE, "--state", ""),
    ],
)
def test_no_name_is_not_the_folder_she_is_in(run, desk, words):
    """As where a shell's variable is not set."""
    assert "expected a name, got ''" in refused(run, desk, *words)


def test_a_distance_of_no_sense_is_refused_where_there_is_nothing_to_keep_it_from(run, desk):
    for far in ("-1", "0", "nan"):
        said = refused(run, desk, *PLAN, "--danger-distance", far)
        assert "--danger-distance must be above 0" in said


def test_marks_are_no_wind(run, desk):
    said = refused(run, desk, *PLAN[:4], "--wind", "marks.gpx")
    assert "GRIB" in said
    assert "TOML" in said
    assert "line 1" not in said


@pytest.mark.parametrize("mark", [";", "\t"])
def test_a_table_of_the_tide_has_decimal_commas_as_every_other(run, desk, mark):
    """A spreadsheet of half of Europe parts cells by semicolons."""
    rows = [("time", "height_m"), ("2027-06-12T05:00Z", "1,4"), ("2027-06-13T05:00Z", "2,4")]
    (desk / "tide.csv").write_text("".join(f"{mark.join(row)}\n" for row in rows))
    ran = run(*PLAN, "--tide", "tide.csv", "--json")
    assert ran.code == 0
    (desk / "plain.csv").write_text(
        (desk / "tide.csv").read_text().replace(",", ".").replace(mark, ",")
    )
    plain = run(*PLAN, "--tide", "plain.csv", "--json")
    assert json.loads(ran.out)["legs"] == json.loads(plain.out)["legs"]


# ---- folders and disks --------------------------------------------------------------------------


def test_a_closed_folder_is_told_before_anything_is_planned(run, desk, monkeypatch):
    monkeypatch.setattr(
        "goosewing_cli.planning.make", lambda *_: pytest.fail("planned in vain"), raising=True
    )
    asked = os.access

    def closed(path, mode):
        return not (Path(path) == desk and mode & os.W_OK) and asked(path, mode)

    monkeypatch.setattr(disk.os, "access", closed)
    said = refused(run, desk, *PLAN, "--out", "x.gpx")
    assert "the folder is write-protected" in said


def full(monkeypatch, name):
    """The disk is full when a file of this name is to be written."""
    writing = disk._replace

    def refuses(target, raw, mode):
        if target.name == name:
            raise OSError(28, "No space left on device")
        writing(target, raw, mode)

    monkeypatch.setattr(disk, "_replace", refuses)


def test_no_folder_of_a_demo_is_left(run, desk, monkeypatch):
    full(monkeypatch, "plan.json")
    said = refused(run, desk, "demo", "--out", "new/demo")
    assert "plan.json: cannot be written: No space left on device" in said


def test_a_boat_s_file_is_told_by_its_own_name(tmp_path, monkeypatch):
    full(monkeypatch, "b.csv")
    with pytest.raises(InputError, match=r"^\S*/boat/b\.csv: cannot be written: No space left"):
        boat_folder.write_folder(tmp_path / "boat", {"a.csv": "1", "b.csv": "2"})
    assert not list(tmp_path.iterdir())


def test_targets_are_not_worked_out_for_a_place_that_can_not_be_written(run, desk, monkeypatch):
    monkeypatch.setattr(
        "goosewing.velocities.targets.targets", lambda *_: pytest.fail("worked out in vain")
    )
    assert "no such folder" in refused(run, desk, "targets", *BOAT, "--picture", "no/p.png")


# ---- terminals ----------------------------------------------------------------------------------


def said_in(encoding, desk, *words):
    environment = {**os.environ, "PYTHONIOENCODING": encoding, "COLUMNS": "80"}
    ran = subprocess.run(
        [*PROGRAM, *words], cwd=desk, env=environment, capture_output=True, check=False
    )
    assert ran.returncode == 0, ran.stderr
    assert not ran.stderr
    return ran.stdout


def test_a_terminal_of_few_letters_shows_the_same_table(desk):
    whole = said_in("utf-8", desk, *PLAN).decode("utf-8")
    for encoding in ("ascii", "latin-1"):
        shown = said_in(encoding, desk, *PLAN).decode(encoding)
        assert [len(line) for line in shown.splitlines()] == [len(x) for x in whole.splitlines()]
        assert "?" not in shown
    assert " 271d " in said_in("ascii", desk, *PLAN).decode("ascii")


def test_what_was_shortened_for_a_handheld_is_told_by_few_letters_too(desk):
    said_in("utf-8", desk, *PLAN, "--out", "plan.gpx")
    words = ("handheld", "plan.gpx", "--out", "small.gpx")
    said = said_in("latin-1", desk, *words).decode("latin-1")
    assert 'shortened: name "Anholt E" > ' in said
    assert "?" not in said


def test_a_document_is_in_utf_8_whatever_the_terminal(desk):
    (desk / "marks.gpx").write_text(
        (desk / "marks.gpx").read_text(encoding="utf-8").replace("Anholt E", "Ærø Ω"),
        encoding="utf-8",
    )
    for words in (PLAN, ("targets", *BOAT)):
        documents = [said_in(each, desk, *words, "--json") for each in ("utf-8", "cp1252")]
        assert documents[0] == documents[1]
    document = json.loads(said_in("ascii", desk, *PLAN, "--json"))
    assert document["marks"][1]["name"] == "Ærø Ω"


def test_a_document_goes_to_whatever_takes_text_alone(desk, monkeypatch):
    monkeypatch.chdir(desk)
    with redirect_stdout(StringIO()) as told:
        assert outcome([*PLAN, "--json"]) == 0
    assert json.loads(told.getvalue())["format"] == "goosewing.plan/1"
