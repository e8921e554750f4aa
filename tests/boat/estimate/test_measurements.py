"""What is measured, guessed, refused: one line with file and key."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from goosewing.boat.estimate.dimensions import LIMITS, Dimensions
from goosewing.boat.estimate.yacht import yacht
from goosewing.boat.measurements import read_dimensions
from goosewing.errors import InputError

SAMPLE = Path(__file__).parents[3] / "sample_routes" / "brisvik" / "dimensions.toml"


def written(folder, text):
    file = folder / "dimensions.toml"
    file.write_text(text, encoding="utf-8")
    return file


def refused(file):
    with pytest.raises(InputError) as caught:
        read_dimensions(file)
    said = str(caught.value)
    assert "\n" not in said
    assert said.startswith(str(file))
    return said


def test_the_sample_is_read():
    given_ = read_dimensions(SAMPLE)
    assert (given_.name, given_.type, given_.draft_m) == ("Brisvik", "light", 1.85)
    guessed = {guess.key for guess in yacht(given_).guesses}
    assert "draft_m" not in guessed
    assert {"righting_moment_kgm_per_deg", "prismatic", "keel_chord_m"} <= guessed


def test_three_words_will_do_and_all_the_rest_is_said_to_be_guessed(tmp_path):
    file = written(tmp_path, 'name = "B"\ntype = "moderate"\nlength_overall_m = 9.5\n')
    made = yacht(read_dimensions(file))
    guessed = {guess.key for guess in made.guesses}
    assert {"waterline_length_m", "displacement_kg", "mainsail_m2", "propeller"} <= guessed
    assert all(guess.spread > 0.0 for guess in made.guesses)


def test_the_types_are_what_they_are_called():
    light, moderate, heavy = (
        yacht(Dimensions(name="B", type=kind, length_overall_m=10.0))
        for kind in ("light", "moderate", "heavy")
    )
    assert light.mass_kg < moderate.mass_kg < heavy.mass_kg
    assert light.hull.slenderness > moderate.hull.slenderness > heavy.hull.slenderness
    assert light.draft_m > moderate.draft_m > heavy.draft_m
    # Displacement over length, as the trade counts it: under 200 light, over 300 heavy.
    assert 4.1 < heavy.hull.slenderness < 4.7 < 5.2 < light.hull.slenderness < 6.3


HEAD = 'name = "B"\ntype = "light"\nlength_overall_m = 10\n'


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("length_overall_m = 10\n", 'the key "name" is missing'),
        ('name = "B"\ntype = "light"\n', 'the key "length_overall_m" is missing'),
        (HEAD.replace("light", "fat"), 'type must be one of "light", "moderate", "heavy"'),
        (HEAD + "lenght_m = 9\n", 'unknown key "lenght_m"; known here: length_overall_m'),
        (HEAD + "draft_m = 18.5\n", "draft_m must be 0.6 to 3.5 m, got 18.5"),
        (HEAD + "draft_m = nan\n", "draft_m must be 0.6 to 3.5 m, got nan"),
        (HEAD + "draft_m = -1.8\n", "draft_m must be"),
        (HEAD + 'draft_m = "deep"\n', "draft_m: expected a number"),
        (HEAD + "waterline_length_m = 11\n", "is greater than length_overall_m, 10"),
        (HEAD + "beam_m = 3\nwaterline_beam_m = 3.2\n", "is greater than beam_m, 3"),
        (HEAD + "displacement_kg = 25000\n", "displacement_kg"),
        (HEAD + "displacement_kg = 400\n", "displacement_kg"),
        (HEAD + "mainsail_m2 = 90\nmainsail_luff_m = 12\n", "mainsail_m2, 90, can't be set on"),
        (HEAD + "jib_m2 = 110\nmainsail_m2 = 70\n", "sail area over displacement is"),
        (HEAD + 'propeller = "jet"\n', 'propeller must be one of "none", "folding"'),
        (HEAD + "keel_span_m = 2.5\ndraft_m = 2\n", "leaves no hull in draft_m, 2"),
        (HEAD + "largest_heel_deg = 80\n", "largest_heel_deg must be 10 to 35 degrees"),
        (HEAD.replace("light", "heavy") + "beam_m = 2\ndraft_m = 3\n", "unstable"),
        (HEAD.replace('"B"', '" "'), "name: expected a name"),
        ("name = B\n", "not a valid TOML file"),
    ],
)
def test_what_makes_no_sense_is_refused_by_its_key(tmp_path, text, words):
    assert words in refused(written(tmp_path, text))


def test_a_missing_file_is_said(tmp_path):
    assert "no such file" in refused(tmp_path / "none.toml")


def test_beyond_the_tested_hulls_is_marked_not_refused():
    slim = Dimensions(
        name="B", type="light", length_overall_m=12.0, waterline_length_m=11.5, beam_m=2.4,
        waterline_beam_m=1.9, displacement_kg=3500, righting_moment_kgm_per_deg=90.0,
    )  # fmt: skip
    assert any("waterline length over beam" in fault for fault in yacht(slim).outside)
    assert yacht(Dimensions(name="B", type="light", length_overall_m=10.0)).outside == ()


@settings(max_examples=60)
@given(
    st.sampled_from(["light", "moderate", "heavy"]),
    st.floats(5.0, 18.0),
    st.dictionaries(st.sampled_from(sorted(LIMITS)), st.floats(0.0, 1.0), max_size=6),
)
def test_whatever_is_measured_it_is_a_yacht_or_one_line(kind, length, shares):
    measured = {
        key: LIMITS[key].least + share * (LIMITS[key].most - LIMITS[key].least)
        for key, share in shares.items()
    }
    try:
        made = yacht(replace(Dimensions(name="B", type=kind, length_overall_m=length), **measured))
    except InputError:
        return
    assert made.hull.depth_m > 0.0
    assert made.metacentric_height_m > 0.0
