"""Chart cells made by GDAL's S-57 writer: what of them is kept clear of at which safe depth."""

from __future__ import annotations

import struct

import pytest
import shapely

import s57_cells
from goosewing.errors import InputError
from goosewing.hazards.areas import Hazards
from goosewing.hazards.read import chart_cells
from goosewing.hazards.read.files import kind_of_file, read_hazards


def square(lat, lon, side=0.05):
    return [(lat, lon), (lat, lon + side), (lat + side, lon + side), (lat + side, lon)]


@pytest.fixture
def cell(tmp_path):
    """Begin a cell, or say loudly why there can be none."""

    def begin(name="DK4KATTG.000"):
        try:
            s57_cells.library()
        except s57_cells.WriterUnavailableError as fault:
            pytest.skip(f"no S-57 writer on this machine: {fault}")
        return s57_cells.Cell(tmp_path / name)

    return begin


def names(path, safe_depth_m):
    return {(area.kind, area.name) for area in read_hazards(path, safe_depth_m=safe_depth_m).areas}


@pytest.fixture
def kattegat(cell):
    with cell() as made:
        made.area("M_COVR", square(56.0, 11.0, 0.6), CATCOV=1)
        made.area("DEPARE", square(56.0, 11.0, 0.6), DRVAL1=10.0, DRVAL2=20.0)
        made.area("DEPARE", square(56.1, 11.1), DRVAL1=2.0, DRVAL2=5.0)
        made.area("DEPARE", square(56.2, 11.1), DRVAL1=-1.5, DRVAL2=0.0)
        made.area("DEPARE", square(56.3, 11.1))
        made.line("DEPARE", [(56.0, 11.0), (56.1, 11.1)], DRVAL1=0.0, DRVAL2=0.0)
        made.area("DRGARE", square(56.4, 11.1), DRVAL1=4.0, OBJNAM="Dybe Rende")
        made.area("LNDARE", square(56.1, 11.3), OBJNAM="Hesselø")
        made.point("LNDARE", (56.2, 11.3))
        made.area("UNSARE", square(56.5, 11.1))
        made.line("COALNE", [(56.0, 11.5), (56.5, 11.5)])
        made.line("DEPCNT", [(56.0, 11.52), (56.5, 11.52)], VALDCO=2.0)
        made.line("BRIDGE", [(56.0, 11.54), (56.5, 11.54)])
    return made.path


def test_a_cell_is_told_by_what_it_holds(kattegat):
    assert kind_of_file(kattegat) == "S-57"


def test_depths_and_land_by_the_safe_depth(kattegat):
    always = {
        ("land", "Hesselø"), ("land", "land"), ("shoal", "unsurveyed water"),
        ("shoal", "shallow water, -1.5 m"), ("shoal", "shallow water, depth not given"),
    }  # fmt: skip
    assert names(kattegat, 2.0) == always
    assert names(kattegat, 3.0) == {*always, ("shoal", "shallow water, 2 m")}
    assert names(kattegat, 4.5) == {
        *always, ("shoal", "shallow water, 2 m"), ("shoal", "Dybe Rende"),
    }  # fmt: skip


def test_areas_lie_where_they_were_drawn(kattegat):
    areas = read_hazards(kattegat, safe_depth_m=3.0).areas
    island = next(area for area in areas if area.name == "Hesselø")
    assert island.shape.equals(shapely.box(11.3, 56.1, 11.35, 56.15))
    assert island.source == "DK4KATTG.000"
    hazards = Hazards.of(areas)
    assert hazards.crossed(56.12, 11.25, 56.12, 11.45)
    # Coastline, contour and bridge are no areas of their own.
    assert not hazards.crossed(56.12, 11.45, 56.12, 11.59)


DANGERS = [
    # class, attributes, counts at a safe depth of 3 m
    ("UWTROC", {"VALSOU": 1.5, "WATLEV": 3}, True),
    ("UWTROC", {"VALSOU": 3.0, "WATLEV": 3}, False),
    ("UWTROC", {"VALSOU": 8.0, "WATLEV": 3}, False),
    ("UWTROC", {"WATLEV": 3}, True),
    ("UWTROC", {}, True),
    ("UWTROC", {"WATLEV": 4}, True),
    ("UWTROC", {"WATLEV": 5, "VALSOU": 0.0}, True),
    ("WRECKS", {"CATWRK": 2}, True),
    ("WRECKS", {"CATWRK": 1}, False),
    ("WRECKS", {"CATWRK": 1, "VALSOU": 2.0}, True),
    ("WRECKS", {"CATWRK": 2, "VALSOU": 12.0}, False),
    ("WRECKS", {"CATWRK": 5, "WATLEV": 2, "VALSOU": 12.0}, True),
    ("OBSTRN", {}, True),
    ("OBSTRN", {"CATOBS": 6}, True),
    ("OBSTRN", {"CATOBS": 7}, False),
    ("OBSTRN", {"CATOBS": 7, "VALSOU": 0.5}, True),
    ("OBSTRN", {"VALSOU": 5.0}, False),
    ("MARCUL", {}, True),
    ("MARCUL", {"VALSOU": 6.0}, False),
    ("FSHFAC", {}, True),
    ("MORFAC", {"CATMOR": 1}, True),
    ("MORFAC", {"CATMOR": 7}, False),
    ("SLCONS", {}, True),
]


@pytest.mark.parametrize(("acronym", "attributes", "counted"), DANGERS)
def test_dangers_by_depth_and_category(cell, acronym, attributes, counted):
    with cell() as made:
        made.area("DEPARE", square(56.0, 11.0, 0.6), DRVAL1=10.0)
        made.point(acronym, (56.25, 11.25), **attributes)
    areas = read_hazards(made.path, safe_depth_m=3.0).areas
    assert [area.kind for area in areas] == (["danger"] if counted else [])


def test_points_and_lines_are_a_hair_wide_and_grow_with_the_clearance(cell):
    with cell() as made:
        made.point("UWTROC", (56.25, 11.25), VALSOU=1.0)
        made.line("SLCONS", [(56.3, 11.2), (56.3, 11.3)])
    areas, notices, _ = read_hazards(made.path, safe_depth_m=3.0)
    assert any("by the clearance alone" in notice for notice in notices)
    bare, kept = Hazards.of(areas), Hazards.of(areas, 0.5)
    assert bare.crossed(56.29, 11.25, 56.31, 11.25)
    # 0.4 nm north of the rock.
    assert not bare.inside(56.25 + 0.4 / 60, 11.25)
    assert kept.inside(56.25 + 0.4 / 60, 11.25)


def test_what_the_navigator_is_told(kattegat):
    _, (said, *_), _ = read_hazards(kattegat, safe_depth_m=3.0)
    assert "charted depths under 3 m" in said
    assert "bridges" in said
    assert "Beyond 56°00.00'N 011°00.00'E to 56°36.00'N 011°36.00'E" in said


def test_a_cell_without_depth_areas_says_so(cell):
    with cell() as made:
        made.area("LNDARE", square(56.1, 11.3))
    _, notices, _ = read_hazards(made.path, safe_depth_m=3.0)
    assert any("holds no depth areas: only land and dangers" in notice for notice in notices)


def test_deep_water_without_a_danger_is_a_chart_all_the_same(cell):
    with cell() as made:
        made.area("DEPARE", square(56.0, 11.0), DRVAL1=30.0)
    assert read_hazards(made.path, safe_depth_m=3.0).areas == ()


def test_a_cell_with_nothing_of_the_sort(cell):
    with cell() as made:
        made.line("DEPCNT", [(56.0, 11.52), (56.5, 11.52)], VALDCO=2.0)
    with pytest.raises(InputError, match="holds no areas"):
        read_hazards(made.path, safe_depth_m=3.0)


def test_a_cell_needs_a_safe_depth(kattegat):
    with pytest.raises(InputError, match="--safe-depth 3") as fault:
        read_hazards(kattegat)
    assert "\n" not in str(fault.value)


def with_parameters(path, datum, unit):
    """Change HDAT and DUNI in the DSPM field, which the writer sets to 2 and 1."""
    data = path.read_bytes()
    before = struct.pack("<BBBIB", 2, 7, 23, 52_000, 1)
    assert data.count(before) == 1
    path.write_bytes(data.replace(before, struct.pack("<BBBIB", datum, 7, 23, 52_000, unit)))


def test_depths_in_fathoms_are_refused(kattegat):
    with_parameters(kattegat, 2, 3)
    with pytest.raises(InputError, match="not in metres"):
        read_hazards(kattegat, safe_depth_m=3.0)


def test_another_datum_is_told(kattegat):
    with_parameters(kattegat, 6, 1)
    assert any("not in WGS 84" in each for each in read_hazards(kattegat, safe_depth_m=3.0).notices)


def test_a_cut_off_cell_is_one_clear_line(kattegat):
    data = kattegat.read_bytes()
    kattegat.write_bytes(data[: len(data) // 3])
    with pytest.raises(InputError, match=r"DK4KATTG\.000") as fault:
        read_hazards(kattegat, safe_depth_m=3.0)
    assert "\n" not in str(fault.value)


def test_every_class_is_in_the_catalogue():
    import csv
    from pathlib import Path

    import pyogrio

    table = Path(pyogrio.get_gdal_data_path()) / "s57objectclasses.csv"
    with table.open(encoding="utf-8") as stream:
        rows = {row[2]: row for row in csv.reader(stream) if len(row) > 7}
    for acronym, taken in chart_cells.CLASSES.items():
        attributes = set(rows[acronym][3].split(";"))
        needed = {taken.depth, taken.harmless[0] if taken.harmless else ""} - {""}
        assert needed <= attributes
        # Lines and points of the group that covers the sea floor: only depth areas repeat.
        assert not taken.area_only or "Area" in rows[acronym][7]
