"""Several files asked for: all are written, or all are as they were."""

import pytest

from goosewing.errors import InputError
from goosewing.files import disk


def test_all_are_written(tmp_path):
    disk.write_all({tmp_path / "a": "one", tmp_path / "b": b"two"})
    assert (tmp_path / "a").read_text() == "one"
    assert (tmp_path / "b").read_bytes() == b"two"


def test_one_that_the_disk_refuses_leaves_the_others_as_they_were(tmp_path, monkeypatch):
    (tmp_path / "old").write_text("before")
    writing = disk.write_atomically

    def full(path, data, **more):
        if path.name == "third":
            raise InputError("cannot be written: No space left on device", where=str(path))
        writing(path, data, **more)

    monkeypatch.setattr(disk, "write_atomically", full)
    wanted = {tmp_path / "old": "after", tmp_path / "new": "x", tmp_path / "third": "y"}
    with pytest.raises(InputError, match="No space left"):
        disk.write_all(wanted)
    assert (tmp_path / "old").read_text() == "before"
    assert [path.name for path in tmp_path.iterdir()] == ["old"]


def test_an_input_among_them_stops_all(tmp_path):
    (tmp_path / "marks.gpx").write_text("marks")
    wanted = {tmp_path / "a": "x", tmp_path / "marks.gpx": "y"}
    with pytest.raises(InputError, match="is an input"):
        disk.write_all(wanted, inputs=[tmp_path / "marks.gpx"])
    assert not (tmp_path / "a").exists()


def test_what_a_link_leads_to_is_put_back_and_the_link_stays(tmp_path):
    (tmp_path / "link").symlink_to(tmp_path / "new")

    def fails():
        with disk.as_before([tmp_path / "link"]):
            disk.write_atomically(tmp_path / "link", "x")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fails()
    assert (tmp_path / "link").is_symlink()
    assert not (tmp_path / "new").exists()
