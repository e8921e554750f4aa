"""The sail card: its figures are the targets', and its picture is the polar's."""

import re
from dataclasses import replace

import numpy as np
import pytest

pytest.importorskip("jinja2")

from goosewing.errors import InputError
from goosewing.report.card import format_card, write_card
from goosewing.velocities.crossovers import asks_for_a_reef, best_of, crossovers
from goosewing.velocities.targets import targets

WINDS = (6.0, 10.0, 20.0, 30.0)


def test_the_picture_shows_the_fastest_sails_of_the_tables(brisvik):
    found = crossovers(brisvik, WINDS)
    for at, tws in enumerate(WINDS):
        for number, twa in enumerate(found.twa_deg):
            speeds = []
            for sails in brisvik.sail_sets:
                low, high = sails.twa_deg
                may = low <= twa <= high and sails.tws_kn[0] <= tws <= sails.strongest_tws_kn
                speed = sails.speed_and_heel(np.array([twa]), np.array([tws]))[0][0]
                speeds.append(speed if may and np.isfinite(speed) else -1.0)
            best = int(np.argmax(speeds)) if max(speeds) > 0.0 else -1
            assert found.fastest[at, number] == best


def test_no_angle_between_the_best_ones_is_left_without_sails(brisvik):
    """From the best angle upwind to dead downwind something can always be carried."""
    found = crossovers(brisvik, WINDS)
    for at, wind in enumerate(found.targets.wind_speeds):
        beyond = found.twa_deg > best_of(wind.upwind).twa_deg
        assert np.all(found.fastest[at, beyond] >= 0)


def test_two_boards_are_sooner_where_no_sector_is_worth_sailing(brisvik):
    found = crossovers(brisvik, WINDS)
    for at, wind in enumerate(found.targets.wind_speeds):
        for number, twa in enumerate(found.twa_deg):
            held = any(s.twa_deg[0] - 1 <= twa <= s.twa_deg[1] + 1 for s in wind.carry)
            assert found.sooner_by_two[at, number] == (not held)


def test_the_table_tells_the_targets(brisvik):
    page = format_card(brisvik, WINDS)
    for wind in targets(brisvik, WINDS).wind_speeds:
        for best in (best_of(wind.upwind), best_of(wind.downwind)):
            assert f"{best.boat_speed_kn:.1f}<" in page
            assert f">{best.vmg_kn:.1f}<" in page
    angles = [int(each) for each in re.findall(r">(\d+)° \(", page)]
    assert len(angles) == 2 * len(WINDS)


def test_the_page_holds_the_very_targets_that_are_printed(brisvik):
    made = targets(brisvik, tuple(reversed(WINDS)))
    found = crossovers(brisvik, WINDS, made=made)
    assert found.targets.wind_speeds == made.wind_speeds[::-1]
    assert crossovers(brisvik, WINDS).targets == targets(brisvik, WINDS)
    page = format_card(brisvik, WINDS, made)
    assert page == format_card(brisvik, WINDS)
    for wind in made.wind_speeds:
        for sector in wind.carry:
            assert f"{sector.sail_set} {sector.twa_deg[0]:.0f}–{sector.twa_deg[1]:.0f}°" in page
        best = best_of(wind.upwind)
        assert f">{best.heel_deg:.0f}°/{best.leeway_deg:.0f}°<" in page


@pytest.mark.parametrize(
    ("heel", "leeway", "said"),
    [(20.0, 5.0, None), (26.0, 5.0, "heel 26°"), (20.0, 9.0, "leeway 9°"),
     (27.0, 9.4, "heel 27° and leeway 9°"), (None, 0.0, None)],
)  # fmt: skip
def test_a_reef_is_asked_for_by_heel_or_leeway(brisvik, heel, leeway, said):
    best = best_of(targets(brisvik, [10.0]).wind_speeds[0].upwind)
    assert asks_for_a_reef(replace(best, heel_deg=heel, leeway_deg=leeway)) == said


def test_names_are_words_and_a_card_is_html(brisvik, tmp_path):
    first, *rest = brisvik.sail_sets
    named = replace(brisvik, sail_sets=(replace(first, name="<b>jib</b>" + "y" * 9999), *rest))
    page = format_card(named, WINDS)
    assert "<b>" not in page
    assert "y" * 50 not in page
    with pytest.raises(InputError, match=r"must end in \.html"):
        write_card(tmp_path / "card.png", brisvik, WINDS)
    write_card(tmp_path / "card.html", brisvik, WINDS)
    assert (tmp_path / "card.html").read_text(encoding="utf-8") == format_card(brisvik, WINDS)
