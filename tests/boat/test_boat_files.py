"""Boat files and tables: every form read, every fault refused where it stands."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from goosewing.boat.read import read_boat, read_table
from goosewing.errors import InputError

RECTANGULAR = "deg/kn,6,10\n40,3.63,4.95\n50,4.48,5.88\n"
LONG = "twa_deg,tws_kn,boat_speed_kn\n40,6,3.63\n40,10,4.95\n50,6,4.48\n50,10,5.88\n"
SPEEDS = [[3.63, 4.95], [4.48, 5.88]]


def _file(folder, text, name="polar.csv"):
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def _refused(call, *args):
    with pytest.raises(InputError) as caught:
        call(*args)
    message = str(caught.value)
    assert "\n" not in message
    return message


# --- tables: what is read -------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        RECTANGULAR,
        LONG,
        "twa_deg,6,10\n40,3.63,4.95\n50,4.48,5.88",
        ",6,10\n40,3.63,4.95\n50,4.48,5.88",
        RECTANGULAR.replace(",", "\t"),
        RECTANGULAR.replace(",", ";"),
        RECTANGULAR.replace(",", ";").replace(".", ","),
        RECTANGULAR.replace(",", "\t").replace(".", ","),
        LONG.replace(",", ";").replace(".", ","),
        'twa,"6","10"\n"40","3,63","4,95"\n50,4.48,5.88\n',
        RECTANGULAR.replace("\n", "\r\n"),
        RECTANGULAR.replace("\n", "\r"),
        "\ufeff" + RECTANGULAR,
        "\ufeff" + LONG,
        RECTANGULAR.encode("utf-16"),
        RECTANGULAR.replace("deg/kn", "°/kn").encode("cp1252"),
        RECTANGULAR + "\n\n  \n,,\n",
        RECTANGULAR.replace("\n", ",,\n"),
        "# my boat, 2020\n\n" + RECTANGULAR.replace("50", "# a remark\n50"),
        RECTANGULAR.replace(",", " , "),
        "deg/kn,6,10\n40,3.63,4.95\n50,448e-2,+5.88\n",
        "tws_kn,boat_speed_kn,twa_deg\n10,5.88,50\n6,4.48,50\n10,4.95,40\n6,3.63,40\n",
        LONG.upper(),
    ],
)
def test_every_form_of_the_same_table_reads_the_same(tmp_path, text):
    tables = read_table(_file(tmp_path, text))
    assert tables.heel is None
    np.testing.assert_array_equal(tables.boat_speed.tws_kn, [6.0, 10.0])
    np.testing.assert_array_equal(tables.boat_speed.twa_deg, [40.0, 50.0])
    np.testing.assert_array_equal(tables.boat_speed.values, SPEEDS)


def test_a_long_table_may_bring_its_heel(tmp_path):
    text = "twa_deg,tws_kn,boat_speed_kn,heel_deg\n40,6,3.6,9\n40,10,4.9,18\n"
    tables = read_table(_file(tmp_path, text))
    np.testing.assert_array_equal(tables.boat_speed.values, [[3.6, 4.9]])
    np.testing.assert_array_equal(tables.heel.values, [[9.0, 18.0]])


def test_a_rectangular_table_holds_what_it_is_read_for(tmp_path):
    tables = read_table(_file(tmp_path, "a,6,10\n40,9,18\n"), "heel_deg")
    assert tables.boat_speed is None
    np.testing.assert_array_equal(tables.heel.values, [[9.0, 18.0]])


numbers = st.integers(0, 6000).map(lambda n: n / 100.0)


@settings(deadline=None, max_examples=50)
@given(st.data())
def test_a_table_written_in_either_form_comes_back(tmp_path_factory, data):
    twa = sorted(data.draw(st.sets(numbers, min_size=1, max_size=6)))
    tws = sorted(data.draw(st.sets(numbers.filter(bool), min_size=1, max_size=5)))
    rows = [[data.draw(numbers) for _ in tws] for _ in twa]
    wide = ["x;" + ";".join(map(str, tws))]
    wide += [";".join(map(str, [a, *row])) for a, row in zip(twa, rows, strict=True)]
    cells = [
        (a, w, v) for a, row in zip(twa, rows, strict=True) for w, v in zip(tws, row, strict=True)
    ]
    long = ["twa_deg\ttws_kn\tboat_speed_kn"]
    long += ["\t".join(map(str, c)) for c in data.draw(st.permutations(cells))]
    folder = tmp_path_factory.mktemp("tables")
    for lines in (wide, long):
        table = read_table(_file(folder, "\n".join(lines))).boat_speed
        np.testing.assert_array_equal(table.twa_deg, twa)
        np.testing.assert_array_equal(table.tws_kn, tws)
        np.testing.assert_array_equal(table.values, rows)


# --- tables: what is refused ----------------------------------------------------------


def _changed(old, new, text=RECTANGULAR):
    assert text.count(old) >= 1
    return text.replace(old, new, 1)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (_changed("4.48", "abc"), 'row 3, column 2: "abc" is not a number, expected a boat speed'),
        (_changed("4.48", "nan"), 'row 3, column 2: "nan" is not a number'),
        (_changed("4.95", "inf"), 'row 2, column 3: "inf" is not a number'),
        (_changed("4.95", "1_0"), 'row 2, column 3: "1_0" is not a number'),
        (_changed("4.95", "5 kn"), 'row 2, column 3: "5 kn" is not a number'),
        (_changed("4.48", ""), "row 3, column 2: empty cell, expected a boat speed"),
        (_changed("4.48", "-4.48"), "row 3, column 2: expected a boat speed, 0 to 60 kn, got -4"),
        (_changed("4.48", "60.1"), "row 3, column 2: expected a boat speed, 0 to 60 kn, got 60.1"),
        (_changed("4.48", "1e999"), "row 3, column 2: expected a boat speed, 0 to 60 kn"),
        (_changed("10", "61"), "row 1, column 3: expected a true wind speed, 0 to 60 kn, got 61"),
        (_changed("6", "-6"), "row 1, column 2: expected a true wind speed, 0 to 60 kn, got -6"),
        (_changed("6", "six"), 'row 1, column 2: "six" is not a number, expected a true wind'),
        (_changed("50", "181"), "row 3, column 1: expected a true wind angle, 0 to 180 degrees"),
        (_changed("40", "-40"), "row 2, column 1: expected a true wind angle, 0 to 180 degrees"),
        (_changed("10", "6"), "row 1, column 3: duplicate: 6 appears twice among the wind speeds"),
        (_changed("50", "40"), "row 3, column 1: duplicate: 40 appears twice among the wind angle"),
        (_changed("10", "5"), "row 1, column 3: wind speeds must ascend, got 5 after 6"),
        (_changed("50", "35"), "row 3, column 1: wind angles must ascend, got 35 after 40"),
        (_changed("4.48,", ""), "row 3: 2 cells, expected 3 as in the first row"),
        (_changed("5.88", "5.88,7"), "row 3: 4 cells, expected 3 as in the first row"),
        (_changed("40", "\n\n40") + "50,1", "row 6: 2 cells, expected 3"),
        (_changed("6", "0"), "row 2, column 2: expected 0 in 0 kn of wind, got 3.63"),
        ("a,0\n40,0\n", "row 1: expected a wind speed above 0 kn"),
        ("", "is empty"),
        ("\n \n# nothing\n", "the table is empty"),
        (",,\n,", "the table is empty"),
        ("twa,6,10\n", "row 1: expected a first row of wind speeds and a first column"),
        ("twa,\n40,", "row 1: expected a first row of wind speeds and a first column"),
        ("twa 6 10\n40 1 2\n", "row 1: expected cells separated by tabs, semicolons or commas"),
        (RECTANGULAR.replace(",", ";").replace("4.48", "1.234,5"), '"1.234,5" is not a number'),
        ("#" + RECTANGULAR, "row 1: the wind speeds stand behind a #"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "not a text file"),
        (b"twa,6\x00,10\n", "not a text file"),
        (b"\xff\xfe\x00", "not a text file"),
        (LONG + "50,10,6\n", "row 6: duplicate: 50 degrees at 10 kn stands in row 5 already"),
        (_changed("50,6,4.48\n", "", LONG), "no row for 50 degrees at 6 kn; every angle needs"),
        (_changed("4.48", "x", LONG), 'row 4, column boat_speed_kn: "x" is not a number'),
        (_changed("50,6", "190,6", LONG), "row 4, column twa_deg: expected a true wind angle"),
        (_changed("50,6", "50,61", LONG), "row 4, column tws_kn: expected a true wind speed"),
        (_changed("50,6,", "50,", LONG), "row 4: 2 cells, expected 3"),
        (LONG.split("\n")[0], "row 1: no rows below the column names"),
        (_changed("boat_speed_kn", "stw", LONG), 'row 1, column 3: unknown column "stw"; known'),
        (_changed("boat_speed_kn", "tws_kn", LONG), 'row 1, column 3: duplicate column "tws_kn"'),
        ("twa_deg,boat_speed_kn\n40,5\n", 'row 1: the column "tws_kn" is missing'),
        ("twa_deg,tws_kn\n40,5\n", 'row 1: the column "boat_speed_kn" is missing'),
        ("twa_deg,tws_kn,heel_deg\n40,5,61\n", "row 2, column heel_deg: expected a heel angle"),
        ("twa_deg,tws_kn,boat_speed_kn\n40,0,1\n40,5,2\n", "row 2, column boat_speed_kn: exp"),
        ("a," + "9" * 200_000 + "\n40,5\n", "row 1, column 2: expected a true wind"),
    ],
)  # fmt: skip
def test_every_fault_of_a_table_is_named_with_its_place(tmp_path, text, said):
    path = _file(tmp_path, text)
    message = _refused(read_table, path)
    assert message.startswith(str(path))
    assert said in message


def test_heel_above_sixty_degrees_is_refused(tmp_path):
    message = _refused(read_table, _file(tmp_path, "a,6\n40,61\n"), "heel_deg")
    assert "row 2, column 2: expected a heel angle, 0 to 60 degrees, got 61" in message


def test_what_is_no_file_is_refused(tmp_path):
    assert "no such file" in _refused(read_table, tmp_path / "none.csv")
    assert "is a folder" in _refused(read_table, tmp_path)
    assert "b: cannot be read" in _refused(read_table, "a\0b")
    big = _file(tmp_path, b"1," * 3_000_000)
    assert "far too large" in _refused(read_table, big)


# --- boat files -----------------------------------------------------------------------

FULL = """
name = "Test"
polar_angle = "track"
polar_height_m = 12
night_poled = false
[leeway]
coefficient = 9
largest_deg = 15.5
[performance]
upwind = 0.95
reach = 0.97
run = 0.96
[manoeuvres]
tack_s = 20
gybe_s = 40
set_pole_s = 200
strike_pole_s = 150
change_sails_s = 250
[[sail_sets]]
name = "main and jib"
polar = "polar.csv"
heel = "heel.csv"
twa_deg = [0, 180]
tws_kn = [0, 35]
[[sail_sets]]
name = "wing-and-wing"
polar = "polar.csv"
twa_deg = [45, 50]
tws_kn = [4, 9.5]
poled = true
"""
LEAST = '[[sail_sets]]\nname = "a"\npolar = "polar.csv"\n'


@pytest.fixture
def boat_with(tmp_path):
    """Write a boat file with two good tables beside it."""
    _file(tmp_path, RECTANGULAR)
    _file(tmp_path, "a;6;10\n40;9;18\n50;8;16", "heel.csv")
    return lambda text: _file(tmp_path, text, "boat.toml")


def test_every_key_arrives(boat_with):
    boat = read_boat(str(boat_with(FULL)))
    assert (boat.name, boat.polar_angle) == ("Test", "track")
    assert (boat.polar_height_m, boat.night_poled) == (12.0, False)
    assert (boat.leeway.coefficient, boat.leeway.largest_deg) == (9.0, 15.5)
    own = boat.performance
    assert (own.upwind, own.reach, own.run) == (0.95, 0.97, 0.96)
    costs = boat.manoeuvres
    assert (costs.tack_s, costs.gybe_s, costs.set_pole_s) == (20.0, 40.0, 200.0)
    assert (costs.strike_pole_s, costs.change_sails_s) == (150.0, 250.0)
    both, wing = boat.sail_sets
    assert (both.name, both.twa_deg, both.tws_kn, both.poled) == (
        "main and jib", (0.0, 180.0), (0.0, 35.0), False,
    )  # fmt: skip
    np.testing.assert_array_equal(both.heel.values, [[9.0, 18.0], [8.0, 16.0]])
    assert (wing.twa_deg, wing.tws_kn, wing.poled, wing.heel) == ((45, 50), (4, 9.5), True, None)


def test_what_is_left_out_has_a_default(boat_with):
    boat = read_boat(boat_with('\ufeffname = "Test"\r\n' + LEAST))
    assert (boat.polar_angle, boat.polar_height_m, boat.night_poled) == ("heading", 10.0, True)
    assert (boat.leeway.coefficient, boat.performance.run) == (10.0, 1.0)
    assert boat.sail_sets[0].twa_deg == (0.0, 180.0)
    assert boat.sail_sets[0].tws_kn == (0.0, float("inf"))


def test_a_long_polar_brings_heel_into_the_boat(tmp_path, boat_with):
    _file(tmp_path, "twa_deg,tws_kn,boat_speed_kn,heel_deg\n40,6,3,9\n50,6,4,8", "polar.csv")
    assert read_boat(boat_with('name = "T"\n' + LEAST)).sail_sets[0].heel.values[0, 0] == 9.0
    assert "heel is given twice" in _refused(read_boat, boat_with(FULL))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('name = "Test"', "", 'the key "name" is missing'),
        ('name = "Test"', 'name = " "', "name: expected a name of printable characters"),
        ('name = "Test"', 'name = "a\\nb"', "name: expected a name of printable characters"),
        ('name = "Test"', 'nmae = "Test"', 'unknown key "nmae"; known here: name, sail_sets'),
        ('name = "Test"', "name = 7", "name: expected a text in quotes, got a whole number"),
        ('"track"', '"bow"', 'polar_angle must be "heading" or "track", got "bow"'),
        ("polar_height_m = 12", "polar_height_m = 0", "polar_height_m must be 0.5 to 100 m"),
        ("night_poled = false", "night_poled = 0", "night_poled: expected true or false"),
        ("coefficient = 9", "coefficient = -9", "leeway coefficient must be 0 or more, got -9"),
        ("coefficient = 9", "coefficient = nan", "leeway coefficient must be 0 or more, got nan"),
        ("coefficient = 9", 'coefficient = "9"', "leeway.coefficient: expected a number"),
        ("coefficient = 9", "coeff = 9", 'unknown key "leeway.coeff"; known here: coefficient'),
        ("largest_deg = 15.5", "largest_deg = 91", "largest leeway must be 0 to 90 degrees"),
        ("run = 0.96", "run = 0", "performance run must be above 0 and at most 2, got 0"),
        ("run = 0.96", "run = 2.5", "performance run must be above 0 and at most 2, got 2.5"),
        ("run = 0.96", "run = true", "performance.run: expected a number"),
        ("tack_s = 20", "tack_s = -1", "manoeuvre tack_s must be 0 seconds or more, got -1"),
        ("tack_s = 20", "tack_s = inf", "manoeuvre tack_s must be 0 seconds or more, got inf"),
        ("tack_s = 20", "tack = 20", 'unknown key "manoeuvres.tack"'),
        ("tack_s = 20", "tack_s = 20\ntack_s = 21", "not a valid TOML file"),
        ("[leeway]", "[leeway", "not a valid TOML file"),
        ("coefficient = 9", "coefficient = " + "[" * 2000, "TOML file: too deeply nested"),
        ("poled = true", "polled = true", 'sail set 2: unknown key "polled"; known here: name'),
        ("poled = true", 'poled = "yes"', "sail set 2: poled: expected true or false"),
        ("[45, 50]", "[50, 45]", 'sail set "wing-and-wing": twa_deg must be two numbers'),
        ("[45, 50]", "[45, 181]", 'sail set "wing-and-wing": twa_deg must be two numbers'),
        ("[45, 50]", "[45]", "sail set 2: twa_deg: expected a list of length 2"),
        ("[45, 50]", '["45", 50]', "sail set 2: twa_deg[0]: expected a number"),
        ("[4, 9.5]", "[9.5, 4]", 'sail set "wing-and-wing": tws_kn must be two numbers'),
        ("[4, 9.5]", "[-4, 9.5]", 'sail set "wing-and-wing": tws_kn must be two numbers'),
        ("[4, 9.5]", "[4, nan]", 'sail set "wing-and-wing": tws_kn must be two numbers'),
        ('"wing-and-wing"', '"main and jib"', 'two sail sets are called "main and jib"'),
        ('"wing-and-wing"', '""', "sail set 2, name: expected a name of printable"),
        ('"heel.csv"', '"none.csv"', 'sail set 1, heel: no such file: "none.csv"'),
        ('"polar.csv"', '"none.csv"', 'sail set 1, polar: no such file: "none.csv"'),
        ('"polar.csv"', '""', "sail set 1, polar: expected a file name"),
        ('"polar.csv"', '"a\\u0000b"', "sail set 1, polar: expected a file name"),
        ('"polar.csv"', '"."', "is a folder"),
        ('"polar.csv"', "3", "sail set 1: polar: expected a text in quotes"),
    ],
)
def test_every_fault_of_a_boat_file_is_named(boat_with, old, new, said):
    assert old in FULL
    path = boat_with(FULL.replace(old, new, 1))
    message = _refused(read_boat, path)
    assert said in message
    assert "`" not in message
    if "folder" not in said:
        assert message.startswith(str(path))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('name = "T"', 'the key "sail_sets" is missing'),
        ('name = "T"\nsail_sets = []', "a boat needs at least one sail set"),
        ('name = "T"\nsail_sets = [1]', "sail_sets[0]: expected a table of keys"),
        ('name = "T"\nsail_sets = "a"', "sail_sets: expected a list"),
        ('name = "T"\n[[sail_sets]]\nname = "a"', 'sail set 1: the key "polar" is missing'),
        ('name = "T"\n' + LEAST + "twa_deg = [60, 180]", "has nothing within its twa_deg"),
        ('name = "T"\n' + LEAST + "tws_kn = [12, 20]", "its table ends at 10 kn"),
        ("\x00\x01", "not a text file"),
        ("", "is empty"),
    ],
)
def test_a_boat_without_usable_sails_is_refused(boat_with, text, said):
    assert said in _refused(read_boat, boat_with(text))


def test_a_heel_table_must_cover_the_polar(tmp_path, boat_with):
    _file(tmp_path, "a,6\n40,9\n50,8\n", "heel.csv")
    message = _refused(read_boat, boat_with(FULL))
    assert 'sail set "main and jib": its heel table does not cover' in message


def test_a_long_table_without_the_wanted_column_is_refused(tmp_path, boat_with):
    _file(tmp_path, LONG, "heel.csv")
    assert '"heel.csv" has no heel_deg column' in _refused(read_boat, boat_with(FULL))
    _file(tmp_path, LONG.replace("boat_speed_kn", "heel_deg"), "polar.csv")
    assert '"polar.csv" has no boat_speed_kn column' in _refused(read_boat, boat_with(FULL))


def test_a_fault_in_a_table_names_the_table(tmp_path, boat_with):
    path = _file(tmp_path, RECTANGULAR.replace("4.48", "x"))
    assert _refused(read_boat, boat_with(FULL)).startswith(f"{path}, row 3, column 2")


def test_a_missing_boat_file_is_refused():
    assert "no such file" in _refused(read_boat, Path("nowhere") / "boat.toml")


ENGINE = "\n[engine]\nspeed_kn = 5.5\nleast_vmc_kn = 2.5\nlitres_per_hour = 2\n"


def test_the_engine_arrives_if_there_is_one(boat_with):
    assert read_boat(boat_with(FULL)).engine is None
    engine = read_boat(boat_with(FULL + ENGINE)).engine
    assert (engine.speed_kn, engine.least_vmc_kn, engine.litres_per_hour) == (5.5, 2.5, 2.0)
    without = FULL + ENGINE.replace("litres_per_hour = 2\n", "")
    assert read_boat(boat_with(without)).engine.litres_per_hour is None


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("speed_kn = 5.5", "", 'the key "engine.speed_kn" is missing'),
        ("least_vmc_kn = 2.5", "", 'the key "engine.least_vmc_kn" is missing'),
        ("litres_per_hour", "litres", 'unknown key "engine.litres"; known here: speed_kn, least'),
        ("speed_kn = 5.5", 'speed_kn = "fast"', "engine.speed_kn: expected a number"),
        ("speed_kn = 5.5", "speed_kn = 0", "engine speed_kn must be 0.5 to 15, got 0"),
        ("speed_kn = 5.5", "speed_kn = 55", "engine speed_kn must be 0.5 to 15, got 55"),
        ("speed_kn = 5.5", "speed_kn = nan", "engine speed_kn must be 0.5 to 15, got nan"),
        ("= 2.5", "= 5.5", "engine least_vmc_kn must be above 0 and below its speed_kn, 5.5"),
        ("= 2.5", "= 0", "engine least_vmc_kn must be above 0 and below its speed_kn, 5.5, got 0"),
        ("hour = 2", "hour = 0", "engine litres_per_hour must be above 0 and at most 100, got 0"),
        ("hour = 2", "hour = 101", "engine litres_per_hour must be above 0 and at most 100"),
        ('"main and jib"', '"engine"', 'can have no sail set called "engine"'),
    ],
)
def test_an_engine_that_makes_no_sense_is_refused(boat_with, old, new, said):
    text = FULL + ENGINE
    assert old in text
    message = _refused(read_boat, boat_with(text.replace(old, new)))
    assert said in message
    assert "boat.toml" in message
