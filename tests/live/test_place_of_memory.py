"""`live --state FILE`: a file kept for a restart is never somebody's own."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from goosewing.errors import InputError
from goosewing.live.alone.overlay import NAME
from goosewing.live.memory_file import check_content
from goosewing_cli.main import outcome

SAMPLES = Path(__file__).parents[2] / "sample_routes"
OURS = b'{"format":"goosewing.under-way/1","kept":{}}\n'

LIVE = ("live", "--nmea", "log.nmea", "--replay", "0", "--marks", "marks.gpx",
        "--boat", "brisvik/boat.toml", "--hazards", "reef.gpx")  # fmt: skip

REEF = """<?xml version="1.0"?>
<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="by hand">
  <wpt lat="56.0" lon="12.0"><name>Reef</name></wpt>
</gpx>
"""


@pytest.fixture
def desk(tmp_path, monkeypatch):
    lines = (SAMPLES / "brisvik_log.nmea").read_bytes().splitlines(keepends=True)
    (tmp_path / "log.nmea").write_bytes(b"".join(lines[:60]))
    shutil.copy(SAMPLES / "afternoon.gpx", tmp_path / "marks.gpx")
    shutil.copytree(SAMPLES / "brisvik", tmp_path / "brisvik")
    (tmp_path / "reef.gpx").write_text(REEF)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def held(folder: Path) -> dict[str, bytes]:
    return {
        str(each.relative_to(folder)): each.read_bytes()
        for each in sorted(folder.rglob("*"))
        if each.is_file()
    }


def refused(capsys, desk, *words: str) -> str:
    before = held(desk)
    assert outcome([*LIVE, *words]) == 2
    said = capsys.readouterr().err
    assert said.startswith("goosewing: ")
    assert said.count("\n") == 1
    assert len(said.rstrip("\n")) <= 300
    assert held(desk) == before
    return said


INPUTS = ("log.nmea", "marks.gpx", "reef.gpx", "brisvik/boat.toml", "brisvik/main-and-jib.csv")


@pytest.mark.parametrize("name", INPUTS)
def test_an_input_is_not_kept_over(capsys, desk, name):
    assert (desk / name).is_file()
    assert "is an input and is not overwritten" in refused(capsys, desk, "--state", name)


@pytest.mark.parametrize("name", INPUTS)
def test_nor_by_a_link(capsys, desk, name):
    (desk / "soft.json").symlink_to(desk / name)
    os.link(desk / name, desk / "hard.json")
    for link in ("soft.json", "hard.json"):
        assert "is an input" in refused(capsys, desk, "--state", link)


def test_nor_is_the_copy_that_lies_beside_it(capsys, desk, monkeypatch):
    (desk / "marks.gpx").rename(desk / "marks.gpx.copy")
    monkeypatch.setattr(
        f"{__name__}.LIVE", tuple(each.replace("s.gpx", "s.gpx.copy") for each in LIVE)
    )
    said = refused(capsys, desk, "--state", "marks.gpx")
    assert "marks.gpx.copy: is an input" in said


def test_nor_is_another_output_the_same(capsys, desk):
    (desk / "overlay").mkdir()
    said = refused(capsys, desk, "--gpx-dir", "overlay", "--state", f"overlay/../overlay/{NAME}")
    assert "two outputs have the same name" in said


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("", "expected a name"),
        ("brisvik", "is a folder"),
        ("/", "is a folder"),
        ("/dev/full", "is a device"),
        ("log.nmea/x/y.json", "can't make the folder"),
        ("x" * 300, "too long"),
    ],
)
def test_where_nothing_can_be_kept_is_told_at_once(capsys, desk, name, words):
    assert words in refused(capsys, desk, "--state", name)


STRANGE = (
    b"<?xml version='1.0'?><gpx/>",
    b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR",
    b"[boat]\nname = 'x'\n",
    b"Call the harbour on 16.\n",
    b'{"format": "goosewing.plan/1"}',
    b"[]",
    b"\xff\xfe",
    b"\0" * 32768 + b"CD001",
)


@pytest.mark.parametrize("content", STRANGE)
@pytest.mark.parametrize("place", ["own", "own.copy"])
def test_what_is_somebodys_own_is_left_as_it_was(capsys, desk, content, place):
    (desk / place).write_bytes(content)
    said = refused(capsys, desk, "--state", "own")
    assert f"{place}: holds something else than marks passed" in said


@pytest.mark.parametrize(
    ("file", "copy"),
    [
        (None, None),
        (b"", None),
        (OURS, None),
        (OURS[:1], None),
        (OURS[:20], None),
        (b"\0" * 4096, None),
        (OURS[:40] + b"\0" * 100, None),
        (OURS.replace(b":", b" : ").replace(b",", b",\n "), None),
        (None, OURS),
        *((strange, OURS) for strange in STRANGE),
        (OURS, b"torn"),
    ],
)
def test_what_is_ours_is_taken_however_damaged(tmp_path, file, copy):
    """A disk that failed while it was written to must not keep a watch from beginning."""
    path = tmp_path / "under-way.json"
    for each, content in ((path, file), (tmp_path / "under-way.json.copy", copy)):
        if content is not None:
            each.write_bytes(content)
    check_content(path)


def test_an_empty_file_is_anybodys_but_not_what_lies_beside_it(tmp_path):
    (tmp_path / "kept").touch()
    (tmp_path / "kept.copy").write_text("mine")
    with pytest.raises(InputError, match=r"kept\.copy: holds something else"):
        check_content(tmp_path / "kept")


def test_a_new_file_is_kept_in_a_new_folder_and_taken_again(capsys, desk):
    for _ in range(2):
        assert outcome([*LIVE, "--state", "new/folder/kept.json"]) == 0
        assert (desk / "new" / "folder" / "kept.json").read_bytes().startswith(OURS[:31])
    capsys.readouterr()


def test_no_folder_is_left_where_it_is_refused(capsys, desk):
    refused(capsys, desk, "--gpx-dir", "overlay", "--state", "marks.gpx")
    assert not (desk / "overlay").exists()
