"""`goosewing boat estimate` as its users meet it: measured, made, planned with."""

from __future__ import annotations

import json

import numpy as np
import pytest

from goosewing.boat.oddities import oddities
from goosewing.boat.read import read_boat

SHORT = 'name = "Short"\ntype = "moderate"\nlength_overall_m = 9.2\n'


@pytest.fixture(scope="module")
def estimated(tmp_path_factory):
    """The sample's measurements made into a boat file, once; what was printed with it."""
    from pathlib import Path

    from click.testing import CliRunner

    from goosewing_cli.main import build_app

    folder = tmp_path_factory.mktemp("estimate") / "made"
    sample = Path(__file__).parents[2] / "sample_routes" / "brisvik" / "dimensions.toml"
    ran = CliRunner().invoke(
        build_app(), ["boat", "estimate", str(sample), "--out", str(folder), "--json"]
    )
    assert ran.exit_code == 0, ran.output
    return folder, json.loads(ran.stdout)


def test_what_is_written_is_a_sound_boat(estimated):
    folder, _ = estimated
    boat = read_boat(folder / "boat.toml")
    assert [sails.name for sails in boat.sail_sets] == [
        "main and jib",
        "main alone",
        "wing-and-wing",
    ]
    assert [sails.poled for sails in boat.sail_sets] == [False, False, True]
    assert boat.polar_angle == "heading"
    assert boat.has_band
    polar = boat.sail_sets[0].polar
    # Close-hauled in a gale there is no balance; nothing else is odd.
    still = {
        ("main and jib", polar.twa_deg[row], polar.tws_kn[column])
        for row, column in np.argwhere(polar.values == 0.0)
    }
    odd = oddities(boat)
    assert {(each.sail_set, each.twa_deg, each.tws_kn) for each in odd} == still
    assert all("no way" in each.what for each in odd)
    assert polar.values.shape == (19, 9)


def test_the_document_says_what_is_known_and_what_is_not(estimated):
    folder, content = estimated
    assert content["format"] == "goosewing.boat-estimate/1"
    assert content["boat"] == "Brisvik"
    boat = read_boat(folder / "boat.toml")
    assert content["leeway"]["coefficient"] == boat.leeway.coefficient
    assert content["leeway"]["low"] <= content["leeway"]["coefficient"] <= content["leeway"]["high"]
    assert {"key", "value", "spread"} == set(content["guessed"][0])
    assert content["outside"] == []
    for cell in content["unsolved"]:
        sails = boat.sail_sets[boat.index(cell["sail_set"])]
        assert sails.polar.at(cell["twa_deg"], cell["tws_kn"]) == 0.0
    ten = next(each for each in content["winds"] if each["tws_kn"] == 10.0)
    # Tacking through 76° to 92° by the compass: common practice, no source.
    assert 38.0 < ten["up"]["twa_deg"] < 46.0
    assert ten["up"]["low_kn"] < ten["up"]["boat_speed_kn"] < ten["up"]["high_kn"]
    assert ten["down"]["vmg_kn"] < 0.0 < ten["up"]["vmg_kn"]


def test_the_plan_reads_it_at_once_and_tells_the_spread(estimated, run):
    folder, _ = estimated
    ran = run(
        "plan", "marks.gpx", "--boat", folder / "boat.toml", "--wind", "315/10",
        "--depart", "2027-06-12T05:00Z", "--json",
    )  # fmt: skip
    assert ran.code == 0, ran.err
    plan = json.loads(ran.out)
    band = plan["band"]
    assert band["shortest_h"] < plan["elapsed_h"] < band["longest_h"]
    # Some percent either way, as the band has it.
    assert 1.04 < band["longest_h"] / band["shortest_h"] < 1.25


def test_the_table_and_the_boat_file_say_what_to_know(desk, run):
    (desk / "short.toml").write_text(SHORT, encoding="utf-8")
    ran = run("boat", "estimate", "short.toml", "--out", "made")
    assert ran.code == 0, ran.err
    said = " ".join(ran.out.split())
    assert said.startswith("Short: estimated from measurements")
    assert "guessed from her type: waterline_length_m" in said
    assert "no published coefficients of a poled jib" in said
    assert "Not for sole navigation" in said
    remarks = " ".join(
        line.lstrip("# ") for line in (desk / "made" / "boat.toml").read_text().splitlines()
    )
    assert "guessed from her type: waterline_length_m" in remarks
    assert "estimated from measurements" in remarks


def test_nothing_there_is_overwritten(desk, run):
    (desk / "short.toml").write_text(SHORT, encoding="utf-8")
    before = {path: path.read_bytes() for path in (desk / "brisvik").iterdir()}
    ran = run("boat", "estimate", "short.toml", "--out", "brisvik")
    assert ran.code == 2
    assert "is there already and is not overwritten" in ran.err
    assert {path: path.read_bytes() for path in (desk / "brisvik").iterdir()} == before


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (SHORT + "draft_m = 9\n", "bad.toml: draft_m must be 0.6 to 3.5 m, got 9"),
        (SHORT + "drafft_m = 1.8\n", 'bad.toml: unknown key "drafft_m"'),
        ("draft_m = 2\n", 'bad.toml: the key "name" is missing'),
    ],
)
def test_bad_measurements_are_refused_in_one_line_and_nothing_is_written(desk, run, text, words):
    (desk / "bad.toml").write_text(text, encoding="utf-8")
    ran = run("boat", "estimate", "bad.toml", "--out", "made")
    assert ran.code == 2
    assert ran.out == ""
    assert ran.err.count("\n") == 1
    assert words in ran.err
    assert not (desk / "made").exists()


def test_the_sample_table_is_not_far_from_the_estimate(estimated):
    # Both are of the same invented yacht; her tables are for the sea that a wind raises.
    folder, _ = estimated
    made = read_boat(folder / "boat.toml").sail_sets[0].polar
    sample = read_boat(folder.parents[0] / "made" / "boat.toml")
    from pathlib import Path

    samples = Path(__file__).parents[2] / "sample_routes"
    sample = read_boat(samples / "brisvik" / "boat.toml").sail_sets[0].polar
    twa, tws = np.meshgrid([60.0, 90.0, 120.0], [8.0, 12.0, 16.0])
    np.testing.assert_allclose(made.at(twa, tws) / sample.at(twa, tws), 1.0, atol=0.15)
