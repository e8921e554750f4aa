"""Slips of the pen in a polar: each is named, and sound tables are left in peace."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from goosewing.boat.doubts import doubts
from goosewing.boat.model import Boat, PolarTable, SailSet
from goosewing.boat.read import read_boat

BRISVIK = Path(__file__).parents[2] / "sample_routes" / "brisvik" / "boat.toml"


def with_cell(boat, sails, row, column, value):
    """The boat with one cell of one table typed otherwise."""
    polar = boat.sail_sets[sails].polar
    values = np.array(polar.values)
    values[row, column] = value
    changed = replace(boat.sail_sets[sails], polar=PolarTable(polar.tws_kn, polar.twa_deg, values))
    sets = (*boat.sail_sets[:sails], changed, *boat.sail_sets[sails + 1 :])
    return replace(boat, sail_sets=sets)


def test_the_sample_boat_gives_no_doubt():
    assert doubts(read_boat(BRISVIK)) == ()


@pytest.mark.parametrize("sails", [0, 1, 2])
def test_a_lost_decimal_point_is_found_in_any_cell(sails):
    boat = read_boat(BRISVIK)
    polar = boat.sail_sets[sails].polar
    for row, column in np.ndindex(polar.values.shape):
        slip = with_cell(boat, sails, row, column, min(10.0 * polar.values[row, column], 60.0))
        (line,) = doubts(slip)
        assert line.startswith(f"{boat.sail_sets[sails].name}: its polar says ")
        assert f"at {polar.twa_deg[row]:g}° in {polar.tws_kn[column]:g} kn" in line


def test_running_faster_than_the_wind_is_doubted():
    polar = PolarTable(np.array([6.0, 10.0]), np.array([150.0, 180.0]), np.full((2, 2), 6.5))
    (line,) = doubts(Boat(name="B", sail_sets=(SailSet(name="jib", polar=polar),)))
    assert "6.5 kn at 180° in 6 kn of wind, more made good along the wind" in line


def test_a_coarse_table_may_leap():
    polar = PolarTable(
        np.array([10.0, 30.0]), np.array([0.0, 90.0, 180.0]), np.array([[0, 0], [5, 9], [2, 4]])
    )
    assert doubts(Boat(name="B", sail_sets=(SailSet(name="jib", polar=polar),))) == ()
