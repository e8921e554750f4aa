"""What `boat check` finds odd: slips put into sound tables, each at its cell."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from goosewing.boat.model import Boat, Leeway, Manoeuvres, Performance, PolarTable, SailSet
from goosewing.boat.oddities import oddities
from goosewing.boat.read import read_boat, table_files
from goosewing.boat.tables import cell_place
from goosewing.errors import InputError

BRISVIK = Path(__file__).parents[2] / "sample_routes" / "brisvik" / "boat.toml"


def with_cell(table, row, column, value):
    values = np.array(table.values)
    values[row, column] = value
    return PolarTable(table.tws_kn, table.twa_deg, values)


def cells(boat):
    return {(odd.sail_set, odd.table, odd.twa_deg, odd.tws_kn) for odd in oddities(boat)}


def changed(boat, number, **members):
    sets = list(boat.sail_sets)
    sets[number] = replace(sets[number], **members)
    return replace(boat, sail_sets=tuple(sets))


def test_the_sample_boat_is_sound():
    assert oddities(read_boat(BRISVIK)) == ()


@settings(max_examples=40)
@given(st.data())
def test_a_speed_typed_twice_as_fast_is_found_at_its_cell(data):
    boat = read_boat(BRISVIK)
    polar = boat.sail_sets[0].polar
    row = data.draw(st.integers(0, polar.twa_deg.size - 1))
    column = data.draw(st.integers(0, polar.tws_kn.size - 1))
    slip = with_cell(polar, row, column, 3.0 * polar.values[row, column])
    found = cells(changed(boat, 0, polar=slip))
    assert ("main and jib", "polar", polar.twa_deg[row], polar.tws_kn[column]) in found
    # The cells around it aren't blamed for its fault.
    assert len(found) == 1


@settings(max_examples=40)
@given(st.data())
def test_a_speed_typed_at_half_is_found_at_its_cell_only(data):
    boat = read_boat(BRISVIK)
    polar = boat.sail_sets[0].polar
    row = data.draw(st.integers(2, polar.twa_deg.size - 2))
    column = data.draw(st.integers(2, polar.tws_kn.size - 2))
    found = cells(
        changed(boat, 0, polar=with_cell(polar, row, column, 0.7 * polar.values[row, column]))
    )
    assert ("main and jib", "polar", polar.twa_deg[row], polar.tws_kn[column]) in found


def test_heel_beyond_reason_and_heel_dropped_are_found():
    boat = read_boat(BRISVIK)
    heel = boat.sail_sets[0].heel
    assert cells(changed(boat, 0, heel=with_cell(heel, 3, 4, 48.0))) == {
        ("main and jib", "heel", heel.twa_deg[3], heel.tws_kn[4])
    }
    assert cells(changed(boat, 0, heel=with_cell(heel, 3, 6, 1.0))) == {
        ("main and jib", "heel", heel.twa_deg[3], heel.tws_kn[6])
    }


@pytest.mark.parametrize(
    ("members", "word"),
    [
        ({"leeway": Leeway(coefficient=0.5)}, "leeway coefficient is 0.5"),
        ({"leeway": Leeway(coefficient=60.0)}, "leeway coefficient is 60"),
        ({"performance": Performance(run=0.5)}, "performance run is 0.5"),
        ({"manoeuvres": Manoeuvres(tack_s=900.0)}, "manoeuvres tack_s is 900"),
    ],
)
def test_figures_out_of_the_usual_are_named(members, word):
    (odd,) = oddities(replace(read_boat(BRISVIK), **members))
    assert word in odd.what
    assert odd.sail_set is None


def test_winds_in_which_the_sails_are_down_are_not_looked_at():
    boat = read_boat(BRISVIK)
    polar = boat.sail_sets[1].polar
    last = polar.tws_kn.size - 1
    assert polar.tws_kn[last] > boat.sail_sets[1].tws_kn[1]
    slip = with_cell(polar, 3, last, 0.0)
    assert oddities(changed(boat, 1, polar=slip)) == ()
    assert len(cells(changed(boat, 1, polar=slip, tws_kn=(4.0, 25.0)))) == 1


def test_cells_of_no_way_are_listed_but_not_the_angles_she_never_sails():
    winds, angles = np.array([0.0, 10.0, 30.0]), np.array([0.0, 32.0, 40.0, 60.0])
    speeds = np.array([[0, 0, 0], [0, 4, 0], [0, 4.5, 0], [0, 5, 6]], dtype=float)
    polar = PolarTable(winds, angles, speeds)
    heel = PolarTable(winds, angles, np.array([[0.0, 10.0, 10.0]] * 4))
    jib = SailSet(name="jib", polar=polar, heel=heel)
    boat = Boat(name="B", sail_sets=(jib,))
    assert cells(boat) == {("jib", "polar", 32.0, 30.0), ("jib", "polar", 40.0, 30.0)}
    assert len(oddities(boat)) == 2
    assert all("no way" in odd.what for odd in oddities(boat))
    assert cells(changed(boat, 0, twa_deg=(45.0, 180.0))) == set()
    assert cells(changed(boat, 0, tws_kn=(0.0, 20.0))) == set()


def test_limits_that_do_not_fit_their_table_are_named():
    boat = read_boat(BRISVIK)
    (odd,) = oddities(changed(boat, 0, tws_kn=(0.0, 45.0)))
    assert "carried to 45 kn, but its table ends at 35 kn" in odd.what
    (odd,) = oddities(changed(boat, 0, heel=None))
    assert "no heel table" in odd.what
    forward = PolarTable(np.array([10.0]), np.array([90.0, 180.0]), np.array([[5.0], [4.0]]))
    poled = SailSet(name="wing", polar=forward, poled=True)
    (odd,) = oddities(Boat(name="B", sail_sets=(poled,)))
    assert "poled and carried from 90°" in odd.what


def test_a_table_that_begins_too_far_off_the_wind_is_named():
    polar = PolarTable(
        np.array([10.0]), np.array([48.0, 60.0, 90.0]), np.array([[6.0], [6.2], [6.3]])
    )
    heel = PolarTable(polar.tws_kn, polar.twa_deg, np.full((3, 1), 10.0))
    (odd,) = oddities(Boat(name="B", sail_sets=(SailSet(name="jib", polar=polar, heel=heel),)))
    assert "best upwind at its table's first row, 48°" in odd.what


# --- where a cell stands in its file ---------------------------------------------------------


def test_a_cell_is_named_by_the_rows_an_editor_counts(tmp_path):
    table = tmp_path / "polar.csv"
    table.write_text("# by hand\n\ntwa,6,10\n40,3,4\n# remark\n50,4,5\n", encoding="utf-8")
    assert cell_place(table, 50.0, 10.0) == f"{table}, row 6, column 3"
    table.write_text("twa_deg,tws_kn,boat_speed_kn\n40,6,3\n40,10,4\n", encoding="utf-8")
    assert cell_place(table, 40.0, 10.0) == f"{table}, row 3"
    with pytest.raises(InputError, match="no row for 41 degrees"):
        cell_place(table, 41.0, 10.0)


def test_the_file_of_each_table_is_known():
    files = table_files(BRISVIK)
    assert files["main and jib", "polar"].name == "main-and-jib.csv"
    assert files["main and jib", "heel"].name == "main-and-jib-heel.csv"
