from __future__ import annotations

import os
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from goosewing.errors import InputError
from goosewing.files import disk
from goosewing.files.disk import read_bytes, write_atomically


def contents(folder: Path) -> dict[str, bytes]:
    return {each.name: each.read_bytes() for each in folder.iterdir() if each.is_file()}


def test_what_is_written_is_what_is_read(tmp_path: Path) -> None:
    path = tmp_path / "out.gpx"
    write_atomically(path, "Väst\r\nØst\n")
    assert path.read_bytes() == "Väst\r\nØst\n".encode()
    write_atomically(str(path), b"\x00\xff")
    assert read_bytes(path, "anything") == b"\x00\xff"
    assert contents(tmp_path) == {"out.gpx": b"\x00\xff"}


def test_a_new_file_has_the_mode_of_any_new_file(tmp_path: Path) -> None:
    (tmp_path / "plain").write_bytes(b"")
    write_atomically(tmp_path / "ours", b"x")
    assert (tmp_path / "ours").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_a_replaced_file_keeps_its_mode(tmp_path: Path) -> None:
    path = tmp_path / "ours"
    path.write_bytes(b"old")
    path.chmod(0o640)
    write_atomically(path, b"new")
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert path.read_bytes() == b"new"


@pytest.mark.parametrize("fails", ["write", "fsync", "replace"])
@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_a_failure_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fails: str, error: BaseException
) -> None:
    path = tmp_path / "plan.gpx"
    path.write_bytes(b"old")

    def fail(*_: object) -> None:
        raise error

    if fails == "replace":
        monkeypatch.setattr(Path, "replace", fail)
    elif fails == "fsync":
        monkeypatch.setattr(os, "fsync", fail)
    else:
        monkeypatch.setattr(os, "fdopen", fail)
    expected = KeyboardInterrupt if isinstance(error, KeyboardInterrupt) else InputError
    with pytest.raises(expected) as caught:
        write_atomically(path, b"new")
    assert contents(tmp_path) == {"plan.gpx": b"old"}
    if expected is InputError:
        assert "No space left on device" in str(caught.value)
        assert "plan.gpx" in str(caught.value)


def test_the_disk_is_asked_to_keep_it_before_the_rename(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    fsync, replace = os.fsync, Path.replace
    monkeypatch.setattr(os, "fsync", lambda handle: (done.append("fsync"), fsync(handle))[1])
    monkeypatch.setattr(Path, "replace", lambda a, b: (done.append("rename"), replace(a, b))[1])
    write_atomically(tmp_path / "x", b"1")
    assert done[:2] == ["fsync", "rename"]


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
def test_what_a_killed_process_left_is_taken_away_after_a_day(tmp_path: Path) -> None:
    killed = "import os, sys; from pathlib import Path; from goosewing.files import disk; "
    killed += "disk.os.fsync = lambda _: os.kill(os.getpid(), 9); "
    killed += "disk.write_atomically(Path(sys.argv[1]) / 'x', b'1')"
    for _ in range(2):
        ended = subprocess.run([sys.executable, "-c", killed, str(tmp_path)], check=False)
        assert ended.returncode == -signal.SIGKILL
    old, new = tmp_path.iterdir()
    folder = tmp_path / f".goosewing-{'0' * 16}.tmp"
    folder.mkdir()
    (folder / "boat.toml").write_bytes(b"")
    others = [".goosewing-abc.tmp", "goosewing-0123456789abcdef.tmp", "plan.tmp"]
    for name in others:
        (tmp_path / name).write_bytes(b"")
    aside = tmp_path / f".goosewing-{'1' * 16}.tmp"
    aside.symlink_to(tmp_path / others[0])
    two_days_ago = time.time() - 2 * 86400.0
    for each in (old, folder, aside, *(tmp_path / name for name in others)):
        os.utime(each, (two_days_ago, two_days_ago), follow_symlinks=False)
    write_atomically(tmp_path / "y", b"2")
    left = {each.name for each in tmp_path.iterdir()}
    assert left == {"y", new.name, *others}


@pytest.mark.parametrize("way", ["itself", "dots", "symlink", "hardlink", "input is a symlink"])
def test_an_input_is_never_overwritten(tmp_path: Path, way: str) -> None:
    marks = tmp_path / "marks.gpx"
    marks.write_bytes(b"mine")
    other = tmp_path / "other.gpx"
    given: Path = marks
    if way in ("symlink", "input is a symlink"):
        other.symlink_to(marks)
    elif way == "hardlink":
        other.hardlink_to(marks)
    elif way == "dots":
        (tmp_path / "sub").mkdir()
        other = tmp_path / "sub" / ".." / "marks.gpx"
    else:
        other = marks
    if way == "input is a symlink":
        given, other = other, marks
    with pytest.raises(InputError, match="is an input and is not overwritten"):
        write_atomically(other, b"theirs", inputs=[tmp_path / "boat.toml", given])
    assert marks.read_bytes() == b"mine"


def test_a_symlink_to_another_file_stays_a_symlink(tmp_path: Path) -> None:
    (tmp_path / "deep").mkdir()
    real, link = tmp_path / "deep" / "real", tmp_path / "link"
    real.write_bytes(b"old")
    link.symlink_to(real)
    write_atomically(link, b"new")
    assert link.is_symlink()
    assert real.read_bytes() == b"new"


def test_places_that_cannot_be_written(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    for path, words in {
        tmp_path / "none" / "x": "no such folder",
        tmp_path: "is a folder",
        tmp_path / "pipe": "is a device or pipe",
        Path(os.devnull): "is a device or pipe",
        tmp_path / ("x" * 300): "File name too long",
        tmp_path / "a\x00b": "cannot be written",
        tmp_path / "loop": "cannot be written",
    }.items():
        with pytest.raises(InputError, match=words) as caught:
            write_atomically(path, b"x")
        assert "\n" not in str(caught.value)
    assert Path(os.devnull).is_char_device()
    assert contents(tmp_path) == {}


def test_a_write_protected_file_is_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "locked"
    path.write_bytes(b"old")
    path.chmod(0o444)
    # The tests may run as root, whom no permission stops.
    monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(InputError, match="is write-protected"):
        write_atomically(path, b"new")
    assert path.read_bytes() == b"old"


def test_a_folder_without_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(InputError, match=r"x: cannot be written: Permission denied"):
        write_atomically(tmp_path / "x", b"new")


def test_files_that_cannot_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "empty").write_bytes(b"")
    for path, words in {
        tmp_path / "none": "no such file",
        tmp_path: "is a folder",
        tmp_path / "empty": "is empty",
        tmp_path / "a\x00b": "cannot be read",
        tmp_path / "line\nbreak": "no such file",
    }.items():
        with pytest.raises(InputError, match=words) as caught:
            read_bytes(path, "marks")
        assert "\n" not in str(caught.value)
        assert "marks" in str(caught.value)

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    (tmp_path / "x").write_bytes(b"x")
    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(InputError, match="Permission denied"):
        read_bytes(tmp_path / "x", "marks")


def test_a_path_of_undecodable_bytes_can_be_shown() -> None:
    assert disk.shown(Path(os.fsdecode(b"caf\xe9.gpx"))) == "caf\N{REPLACEMENT CHARACTER}.gpx"
