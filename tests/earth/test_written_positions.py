"""Positions and zones as people write them, and what must not pass for one."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from goosewing.earth.positions import local_clock, parse_position, parse_zone
from goosewing.errors import InputError
from goosewing.words.figures import position_words

KATTEGAT = (57 + 30.5 / 60, 11 + 20.0 / 60)


@pytest.mark.parametrize(
    "text",
    [
        "57°30.5'N 11°20.0'E",
        "57 30.5N, 011 20.0E",
        "57°30′30″N 11°20′0″E",
        "N57°30.5' E011°20'",
        "N 57 30.5 E 11 20",
        "57°30.5'N11°20'E",
        "57 30 30 11 20 0",
        "57 30.5 11 20",
        "57.5083333333333, 11.3333333333333",
        "57.5083333333333 11.3333333333333",
        "57.5083333333333N/11.3333333333333E",
        " 57° 30.5' n ; 11° 20.0' e ",
        "+57.5083333333333 +11.3333333333333",
    ],
)
def test_one_place_in_many_spellings(text):
    assert parse_position(text) == pytest.approx(KATTEGAT, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("-33.5, -70.25", (-33.5, -70.25)),
        ("33°30'S 70°15'W", (-33.5, -70.25)),
        ("-0°30', -0°15'", (-0.5, -0.25)),
        ("0°30'S 0°15'W", (-0.5, -0.25)),
        ("0 0", (0.0, 0.0)),
        ("90N 180E", (90.0, -180.0)),
        ("90S 180W", (-90.0, -180.0)),
    ],
)
def test_signs_and_seams(text, expected):
    assert parse_position(text) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "expected a position"),
        ("57.5", "expected a position"),
        ("57.5N", "expected a position"),
        ("the harbour", "expected a latitude"),
        ("off Vinga 57.5 11.3", "expected"),
        ("57.5, 11.3, 12m", "expected"),
        ("57.5 11.3 12", "expected a position"),
        ("91, 11", "latitude must be 90 degrees at most"),
        ("90°0.1'N 11°E", "latitude must be 90"),
        ("57, 181", "longitude must be 180 degrees at most"),
        ("57, 400", "longitude must be 180"),
        ("57°75'N 11°20'E", "minutes and seconds must be under 60"),
        ("57°60'N 11°20'E", "minutes and seconds must be under 60"),
        ("57.5°30'N 11°20'E", "minutes and seconds must be under 60"),
        ("11°20'E, 57°30'N", "latitude can't be E; latitude comes first"),
        ("57N 11N", "longitude can't be N"),
        ("57N 11", "one half has a hemisphere"),
        ("57, 11E", "one half has a hemisphere"),
        ("-57N 11E", "both a sign and a hemisphere"),
        ("N57N E11", "expected"),
        ("nan, 11", "expected a latitude"),
        ("inf, 11", "expected a latitude"),
        ("1e1, 11", "expected a latitude"),
        ("57,5 11,3", "expected"),
        ("٥٧, 11", "expected a latitude"),
        ("9" * 300 + ", 1", "expected a latitude"),
    ],
)
def test_what_is_no_position_is_refused(text, words):
    with pytest.raises(InputError, match=words):
        parse_position(text)


@given(st.floats(-90, 90), st.floats(-179.99, 179.99))
def test_decimals_come_back(lat, lon):
    assert parse_position(f"{lat:.9f}, {lon:.9f}") == pytest.approx((lat, lon), abs=1e-9)


@given(st.floats(-90, 90), st.floats(-179.99, 179.99))
def test_what_is_printed_can_be_read(lat, lon):
    # The words print hundredths of a minute.
    assert parse_position(position_words(lat, lon)) == pytest.approx((lat, lon), abs=0.0051 / 60)


@given(st.text(max_size=30))
def test_anything_else_is_refused_or_on_the_earth(text):
    with suppress(InputError):
        lat, lon = parse_position(text)
        assert -90 <= lat <= 90
        assert -180 <= lon < 180


def test_zones():
    noon = datetime(2027, 6, 1, 12, 0, tzinfo=UTC)
    assert local_clock(noon, parse_zone("Europe/Stockholm")) == "14:00 CEST"
    assert local_clock(noon, parse_zone("UTC")) == "12:00 UTC"
    assert local_clock(noon, parse_zone("z")) == "12:00 UTC"
    assert local_clock(noon, parse_zone("-03:30")) == "08:30 -03:30"
    assert parse_zone("+0200").utcoffset(noon) == timedelta(hours=2)
    with pytest.raises(InputError, match="zone"):
        local_clock(datetime(2027, 6, 1), UTC)


@pytest.mark.parametrize(
    "text", ["", "Atlantis/Capital", "+24:00", "+02:60", "2", "../etc/passwd", "Europe", "a\0b",
             "/etc/localtime"],
)  # fmt: skip
def test_bad_zones_are_refused(text):
    with pytest.raises(InputError):
        parse_zone(text)


def test_hyphens_between_degrees_and_minutes_are_no_signs():
    assert parse_position("56-44.5N 012-18.0E") == pytest.approx((56 + 44.5 / 60, 12.3))
    assert parse_position("56-44-30S, 012-18-00W") == pytest.approx((-56.7416666667, -12.3))
    with pytest.raises(InputError):
        parse_position("56-44.5 012-18.0")
