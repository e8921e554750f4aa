"""How far off a polar may be: read, refused, carried to the edges, and written back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from goosewing.boat.model import Band, Boat, PolarTable, SailSet
from goosewing.boat.read import boat_files, read_boat
from goosewing.errors import InputError
from goosewing.exchange.boat_folder import format_boat, write_folder

BRISVIK = Path(__file__).parents[2] / "sample_routes" / "brisvik" / "boat.toml"

BOAT = """name = "B"
confidence = "confidence.csv"
[[sail_sets]]
name = "main and jib"
polar = "polar.csv"
[[sail_sets]]
name = "main alone"
polar = "polar.csv"
"""
POLAR = "deg/kn,6,10\n40,3.00,4.00\n90,5.00,6.00\n"
HEADER = "sail_set,twa_deg,tws_kn,boat_speed_kn,low_kn,high_kn,stretches\n"
ROWS = (
    "main and jib,90,6,5.00,4.50,5.25,3\n"
    "main and jib,40,6,3.00,2.70,3.30,0\n"
    "main and jib,40,10,4.00,3.80,4.20,12\n"
    "main and jib,90,10,6.00,6.00,6.60,1\n"
)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "boat.toml").write_text(BOAT, encoding="utf-8")
    (tmp_path / "polar.csv").write_text(POLAR, encoding="utf-8")
    (tmp_path / "confidence.csv").write_text(HEADER + ROWS, encoding="utf-8")
    return tmp_path


def with_band(sails, low, high):
    polar = sails.polar
    edges = [PolarTable(polar.tws_kn, polar.twa_deg, polar.values * f) for f in (low, high)]
    return replace(sails, band=Band(*edges, np.zeros(polar.values.shape)))


def test_the_band_of_each_cell_is_read_in_any_order(folder):
    boat = read_boat(folder / "boat.toml")
    assert boat.has_band
    band = boat.sail_sets[0].band
    np.testing.assert_allclose(band.low.values, [[2.7, 3.8], [4.5, 6.0]])
    np.testing.assert_allclose(band.high.values, [[3.3, 4.2], [5.25, 6.6]])
    np.testing.assert_array_equal(band.stretches, [[0, 12], [3, 1]])
    assert boat.sail_sets[1].band is None
    assert boat_files(folder / "boat.toml")[-1] == folder / "confidence.csv"


def test_a_polar_changed_by_hand_takes_its_band_along(folder):
    (folder / "polar.csv").write_text(POLAR.replace("5.00", "6.00"), encoding="utf-8")
    band = read_boat(folder / "boat.toml").sail_sets[0].band
    assert band.low.values[1, 0] == pytest.approx(6.0 * 0.9)


def test_at_an_edge_of_the_band_she_is_as_slow_or_as_fast_as_it_says(folder):
    boat = read_boat(folder / "boat.toml")
    slow, fast = boat.at_band("low"), boat.at_band("high")
    assert slow.sail_sets[0].polar.at(40.0, 6.0) == pytest.approx(2.7)
    assert fast.sail_sets[0].polar.at(40.0, 6.0) == pytest.approx(3.3)
    # What has no band stays, and none is left.
    assert slow.sail_sets[1].polar.at(40.0, 6.0) == pytest.approx(3.0)
    assert not slow.has_band


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("main and jib,90,10", "jib,90,10", 'confidence.csv: the boat file has no sail set "jib"'),
        ("main and jib,90,10", "main and jib,95,10", "no row for 90 degrees at 10 kn"),
        ("90,10,6.00,6.00,6.60", "90,10,6.00,6.10,6.60", "row 5: expected low_kn, boat_speed_kn"),
        ("4.50", "four", 'row 2, column low_kn: "four" is not a number'),
        (",12\n", "\n", "row 4: 6 cells, expected 7"),
        ("90,10", "40,10", "40 degrees at 10 kn stands in row 4 already"),
        ("tws_kn", "wind", "row 1: expected the columns sail_set,twa_deg"),
    ],
)
def test_what_is_wrong_is_refused_where_it_stands(folder, old, new, words):
    file = folder / "confidence.csv"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_boat(folder / "boat.toml")
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_missing_table_of_bands_is_said(folder):
    (folder / "confidence.csv").unlink()
    with pytest.raises(InputError, match=r'confidence: no such file: "confidence\.csv"'):
        read_boat(folder / "boat.toml")


def test_a_band_must_hold_its_polar():
    polar = PolarTable(np.array([10.0]), np.array([40.0, 90.0]), np.array([[4.0], [6.0]]))
    sails = SailSet(name="jib", polar=polar)
    with pytest.raises(InputError, match="does not hold"):
        with_band(sails, 1.01, 1.1)
    other = PolarTable(np.array([12.0]), polar.twa_deg, polar.values)
    with pytest.raises(InputError, match="not for its polar's"):
        replace(sails, band=Band(other, polar, np.zeros((2, 1))))


# --- written and read back -------------------------------------------------------------------


def same_table(one, other, atol):
    if one is None or other is None:
        return one is other
    return one.same_nodes(other) and np.allclose(one.values, other.values, atol=atol, rtol=0)


def test_what_is_written_reads_back(tmp_path):
    boat = read_boat(BRISVIK)
    sets = tuple(with_band(sails, 0.9, 1.1) for sails in boat.sail_sets)
    boat = replace(boat, sail_sets=sets, night_poled=False)
    written = write_folder(tmp_path / "made", format_boat(boat, ["a remark\nin two lines"]))
    assert written[-1].name == "boat.toml"
    back = read_boat(tmp_path / "made" / "boat.toml")
    assert replace(back, sail_sets=boat.sail_sets) == boat
    for one, other in zip(back.sail_sets, boat.sail_sets, strict=True):
        assert (one.name, one.twa_deg, one.tws_kn, one.poled) == (
            other.name,
            other.twa_deg,
            other.tws_kn,
            other.poled,
        )
        assert same_table(one.polar, other.polar, 0.0051)
        assert same_table(one.heel, other.heel, 0.051)
        assert same_table(one.band.low, other.band.low, 0.02)


def test_names_of_any_script_become_files_of_their_own(tmp_path):
    polar = PolarTable(np.array([10.0]), np.array([40.0]), np.array([[4.0]]))
    names = ("Großsegel, Fock", "großsegel fock", "мачта", '"wing"')
    sets = tuple(with_band(SailSet(name=n, polar=polar), 0.9, 1.1) for n in names)
    boat = Boat(name='The "B"', sail_sets=sets)
    write_folder(tmp_path / "b", format_boat(boat))
    back = read_boat(tmp_path / "b" / "boat.toml")
    assert tuple(sails.name for sails in back.sail_sets) == names
    assert back.name == 'The "B"'
    assert all(sails.band is not None for sails in back.sail_sets)
    assert len(list((tmp_path / "b").iterdir())) == 6


def test_nothing_is_overwritten_and_nothing_half_written(tmp_path):
    out = tmp_path / "out"
    files = {"a.csv": "1\n", "boat.toml": "x\n"}
    write_folder(out, files)
    with pytest.raises(InputError, match=r"a\.csv: is there already and is not overwritten"):
        write_folder(out, {**files, "b.csv": "2\n"})
    assert sorted(path.name for path in out.iterdir()) == ["a.csv", "boat.toml"]
    # A name that no disk takes: whatever was written before it is gone again.
    with pytest.raises(InputError, match="cannot be written"):
        write_folder(tmp_path / "new", {"a.csv": "1\n", "x" * 300: "2\n"})
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
    with pytest.raises(InputError, match="no such folder"):
        write_folder(tmp_path / "none" / "such", files)
    with pytest.raises(InputError, match="is a file"):
        write_folder(out / "a.csv", files)
