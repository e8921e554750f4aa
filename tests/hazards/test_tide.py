"""The tide over charted depths: numbers, tables, and what of a chart cell it covers."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from goosewing.errors import InputError
from goosewing.hazards import chart
from goosewing.hazards.read.chart_cells import CLASSES, _depths, counts
from goosewing.hazards.read.tide import read_tide

TABLE = """# heights above chart datum
time,height_m
2027-06-01T06:00Z,0.4
2027-06-01T12:00Z,3.4
2027-06-01T18:00Z,0.2
"""


def at(hour, minute=0):
    return datetime(2027, 6, 1, hour, minute, tzinfo=UTC)


@pytest.fixture
def table(tmp_path):
    path = tmp_path / "tide.csv"
    path.write_text(TABLE)
    return read_tide(str(path))


def test_a_number_of_metres_holds_always():
    assert read_tide("1.5").lowest_m(at(6), at(20)) == 1.5
    assert read_tide("-0.3").lowest_m(at(6)) == -0.3


@pytest.mark.parametrize(
    ("start", "end", "lowest"),
    [
        (at(6), at(18), 0.2), (at(9), at(12), 1.9), (at(9), at(15), 1.8),
        (at(12), at(12, 30), 3.1334), (at(10), None, 0.2),
    ],
)  # fmt: skip
def test_of_a_table_the_lowest_while_under_way_counts(table, start, end, lowest):
    # Half a metre an hour up, 3.2 m in six hours down: straight lines between the rows.
    assert table.lowest_m(start, end) == pytest.approx(lowest, abs=1e-3)


def test_beyond_the_table_nothing_is_known(table):
    with pytest.raises(InputError, match="must reach from the departure to the arrival"):
        table.lowest_m(at(5), at(7))
    with pytest.raises(InputError, match="must reach"):
        table.lowest_m(at(17), at(19))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time,height\n", "expected the header time,height_m"),
        ("time,height_m\n2027-06-01T06:00,1\n2027-06-01T07:00Z,1\n", "line 2: the time .* zone"),
        ("time,height_m\n2027-06-01T06:00Z,x\n2027-06-01T07:00Z,1\n", "line 2: expected a time"),
        ("time,height_m\n2027-06-01T06:00Z,99\n2027-06-01T07:00Z,1\n", "line 2: the height must"),
        ("time,height_m\n2027-06-01T06:00Z,1\n", "two rows at least"),
        ("time,height_m\n2027-06-01T06:00Z,1\n2027-06-01T05:00Z,1\n", "row 2 is no later"),
    ],
)
def test_a_table_that_is_none_is_refused_with_its_line(tmp_path, text, words):
    path = tmp_path / "tide.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=words):
        read_tide(str(path))


def test_with_a_tide_less_of_the_charted_depths_counts():
    depths = {"DRVAL1": [-1.0, 0.5, 2.0, 5.0, float("nan")]}
    for safe_m, expected in ((3.0, [True, True, True, False, True]),
                             (3.0 - 2.0, [True, True, False, False, True]),
                             (3.0 - 3.5, [True, False, False, False, True])):  # fmt: skip
        assert counts(CLASSES["DEPARE"], depths, 5, safe_m).tolist() == expected


def test_it_is_said_whether_the_tide_counts():
    assert _depths(3.0, None) == ("charted depths under 3 m", "the tide, ")
    assert _depths(3.0, 1.2)[0] == "depths under 3 m with a tide of 1.2 m, charted 1.8 m,"


def test_without_chart_cells_safe_depth_and_tide_say_that_they_do_nothing(tmp_path):
    path = tmp_path / "area.geojson"
    path.write_text('{"type": "Point", "coordinates": [11.0, 57.0]}')
    said = chart.read_chart([path], safe_depth_m=3.0, tide_m=1.0, clearance_nm=0.1).notices
    assert (
        "The safe depth does nothing: no chart cell (S-57) is among what is kept clear of." in said
    )
    assert "The tide does nothing: no chart cell (S-57) is among what is kept clear of." in said
    silent = chart.read_chart([path], clearance_nm=0.1).notices
    assert not any("does nothing" in each for each in silent)
