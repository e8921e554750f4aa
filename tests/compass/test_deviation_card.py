"""True, magnetic and compass headings, and the card that joins the last two."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from goosewing.compass.card import parse_card, read_card
from goosewing.compass.deviation import DeviationCard, east_or_west, magnetic_from_true
from goosewing.errors import InputError

EIGHT = tuple(range(0, 360, 45))


def card(*deviations: float, headings: tuple[float, ...] = EIGHT) -> DeviationCard:
    return DeviationCard(headings_deg=headings, deviations_deg=deviations)


def semicircular(a: float, b: float, c: float) -> DeviationCard:
    angles = np.radians(EIGHT)
    return card(*(a + b * np.sin(angles) + c * np.cos(angles)))


# A worked line of the kind every handbook has (T V M D C), from memory: true 100°,
# variation 10°W, magnetic 110°, deviation 5°E, compass 105°. It follows from the rule
# "west is added from true to compass, east subtracted", which has no other reading.
def test_a_line_of_the_handbook():
    assert magnetic_from_true(100.0, -10.0) == 110.0
    assert card(*[5.0] * 8).compass_from_magnetic(110.0) == 105.0


def test_the_card_is_entered_by_compass():
    # 20°E on compass 090 alone: compass 090 is magnetic 110, while magnetic 090 is
    # steered by less than 090.
    only_east = card(0, 0, 20, 0, 0, 0, 0, 0)
    assert only_east.deviation_at(90.0) == 20.0
    assert only_east.compass_from_magnetic(110.0) == 90.0
    compass = float(only_east.compass_from_magnetic(90.0))
    assert compass == pytest.approx(45.0 + 45.0 * 45.0 / 65.0, abs=1e-9)


def test_it_closes_over_north():
    around = card(4, 0, 0, 0, 0, 0, 0, -4)
    assert around.deviation_at(337.5) == 0.0
    assert around.deviation_at(-22.5) == around.deviation_at(337.5)
    assert around.deviation_at(360.0) == 4.0
    assert around.compass_from_magnetic(2.0) == pytest.approx(358.3018867924528, abs=1e-9)


@given(
    st.floats(-10, 10), st.floats(-10, 10), st.floats(-10, 10),
    st.lists(st.floats(0, 359.999999), min_size=1, max_size=5),
)  # fmt: skip
def test_there_and_back(a, b, c, headings):
    swung = semicircular(a, b, c)
    compass = swung.compass_from_magnetic(headings)
    assert np.all((compass >= 0) & (compass < 360))
    back = (compass + swung.deviation_at(compass) - headings + 180) % 360 - 180
    np.testing.assert_allclose(back, 0.0, atol=1e-9)


@pytest.mark.parametrize("deviation", [-30.0, -10.0, 10.0, 30.0])
def test_one_deviation_all_round(deviation):
    magnetic = np.arange(0.0, 360.0, 1.0)
    found = card(*[deviation] * 8).compass_from_magnetic(magnetic)
    np.testing.assert_allclose(found, (magnetic - deviation) % 360.0, atol=1e-9)


def test_scalars_and_arrays_agree():
    swung = semicircular(1.0, 5.0, -3.0)
    headings = np.arange(0.0, 720.0, 7.0).reshape(-1, 1)
    found = swung.compass_from_magnetic(headings)
    assert found.shape == headings.shape
    assert found[3, 0] == swung.compass_from_magnetic(21.0)


def test_order_does_not_matter():
    mixed = DeviationCard(
        headings_deg=(360, 90, 45, 180, 135, 270, 225, 315),
        deviations_deg=(2, 3, 4, -2, 1, -3, -4, -1),
    )
    plain = card(2, 4, 3, 1, -2, -4, -3, -1)
    angles = np.arange(0, 360, 1.0)
    np.testing.assert_array_equal(mixed.deviation_at(angles), plain.deviation_at(angles))


def test_spoken():
    assert east_or_west(5.06) == "5.1°E"
    assert east_or_west(-12.0) == "12.0°W"


# Files ---------------------------------------------------------------------------------------

ROWS = [f"{heading},{deviation}" for heading, deviation in zip(EIGHT, (2, 4, 3, 1, -2, -4, -3, -1),
        strict=True)]  # fmt: skip


def text_of(rows: list[str]) -> str:
    return "heading_deg,deviation_deg\n" + "\n".join(rows) + "\n"


def test_a_card_is_read(tmp_path):
    (tmp_path / "card.csv").write_text("﻿" + text_of([*ROWS, "360,2"]), encoding="utf-8")
    assert read_card(tmp_path / "card.csv").deviation_at(45.0) == 4.0
    european = text_of(ROWS).replace(",", ";").replace(";4", ";4,5")
    assert parse_card(european).deviation_at(45.0) == 4.5


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([*ROWS[:7], "315,31"], "row 9: deviation must be 30 degrees at most, got 31"),
        ([*ROWS[:7], "315,x"], 'row 9: deviation_deg must be a number of degrees, got "x"'),
        ([*ROWS[:7], "315,nan"], "row 9: deviation_deg must be a number"),
        ([*ROWS[:7], "inf,1"], "row 9: heading_deg must be a number"),
        ([*ROWS[:7], "361,1"], "row 9: heading must be 0 to 360 degrees, got 361"),
        ([*ROWS[:7], "-45,1"], "row 9: heading must be 0 to 360 degrees, got -45"),
        ([*ROWS[:7], "315"], "row 9: expected a heading and a deviation, got 1 cells"),
        ([*ROWS, "45,4"], "row 10: heading 45 stands twice"),
        ([*ROWS, "360,3"], "row 10: the card doesn't close"),
        (ROWS[:7], "row 8: 8 headings are needed, got 7"),
        ([*ROWS[:3], "", *ROWS[4:], "10,2", "20,2"], "row 4: no deviation from 90 to 180"),
        ([*ROWS[1:], "30,2"], "row 8: no deviation from 315 to 30"),
        ([], "no rows below the header"),
        ([*ROWS, "50,-9"], "row 3: deviation falls from 45 to 50 by as much as the heading"),
    ],
)
def test_unfit_cards_are_refused_with_their_row(rows, words):
    with pytest.raises(InputError) as caught:
        parse_card(text_of(rows), where="card.csv")
    assert str(caught.value).startswith(f"card.csv: {words}")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("text", ["", "0,1\n", "heading,deviation\n0,1\n"])
def test_a_wrong_header_is_refused(text):
    with pytest.raises(InputError, match="expected the header heading_deg,deviation_deg"):
        parse_card(text)


def test_unfit_cards_are_refused_without_a_file_too():
    with pytest.raises(InputError, match="entry 3"):
        card(0, 0, 40, 0, 0, 0, 0, 0)
    with pytest.raises(InputError, match="one deviation for each heading"):
        card(1, 2)
    with pytest.raises(InputError):
        card(0, 0, float("nan"), 0, 0, 0, 0, 0)
    with pytest.raises(InputError, match="8 headings"):
        card(headings=())


def test_a_card_may_be_written_with_letters_as_on_paper():
    letters = ["2W", "1.5 W", "0", "1E", "2.5e", "2°E", "1E", "0.5W"]
    numbers = [-2.0, -1.5, 0.0, 1.0, 2.5, 2.0, 1.0, -0.5]
    rows = "".join(f"{45 * at},{text}\n" for at, text in enumerate(letters))
    card = parse_card("heading_deg,deviation_deg\n" + rows)
    assert list(card.deviations_deg) == numbers
    with pytest.raises(InputError, match=r'row 2.*"-2W"'):
        parse_card("heading_deg,deviation_deg\n" + rows.replace("2W", "-2W"))
