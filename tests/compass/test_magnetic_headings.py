"""Plans with headings by compass, and what is said about them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from goosewing.compass.deviation import DeviationCard
from goosewing.compass.headings import parse_variation, variation_model, with_variation
from goosewing.errors import InputError
from goosewing.records import Board, BoardPoint, Fix, Leg, Mark, Plan

START = datetime(2027, 6, 1, 6, 0, tzinfo=UTC)
END = datetime(2027, 6, 1, 8, 0, tzinfo=UTC)


def one_board_plan(heading_deg: float, when: datetime = START, lat: float = 57.0) -> Plan:
    ends = [(lat, 11.0), (lat + 0.1, 11.0)]
    points = tuple(
        BoardPoint(lat=a, lon=b, time=when, heading_deg=heading_deg, course_over_ground_deg=0.0,
                   twa_deg=43.0, tws_kn=12.0) for a, b in ends)  # fmt: skip
    board = Board(
        tack="port", sail_set="main and jib", steer="angle",
        start=Fix(lat=lat, lon=11.0, time=when),
        end=Fix(lat=lat + 0.1, lon=11.0, time=END), heading_deg=heading_deg,
        course_over_ground_deg=0.0, twa_deg=43.0, tws_kn=12.0, awa_deg=30.0, aws_kn=15.0,
        boat_speed_kn=5.0, speed_over_ground_kn=5.0, leeway_deg=4.0, heel_deg=None,
        distance_nm=10.0,
        log_nm=10.0, elapsed_h=2.0, points=points,
    )  # fmt: skip
    leg = Leg(origin="Start", destination="B", elapsed_h=2.0, straight_h=None, saved_min=None,
              bound_h=None, boards=(board,), laylines=())  # fmt: skip
    marks = (Mark(name="Start", lat=lat, lon=11.0), Mark(name="B", lat=lat + 0.1, lon=11.0))
    return Plan(
        boat="Brisvik", departure=when, arrival=when, elapsed_h=2.0, distance_nm=10.0, log_nm=10.0,
        straight_h=None, saved_min=None, bound_h=None, relaxed_h=None, marks=marks, legs=(leg,),
        notices=("First.",),
    )  # fmt: skip


CARD = DeviationCard(headings_deg=tuple(range(0, 360, 45)), deviations_deg=(-3.0,) * 8)


@pytest.mark.parametrize(
    ("true", "variation", "magnetic", "compass"),
    [(48.0, 5.0, 43.0, 46.0), (2.0, 5.0, 357.0, 0.0), (358.0, -5.0, 3.0, 6.0),
     (0.0, 0.0, 0.0, 3.0)],
)  # fmt: skip
def test_headings_on_all_dials(true, variation, magnetic, compass):
    plan = one_board_plan(true)
    made = with_variation(plan, variation, CARD)
    board = made.legs[0].boards[0]
    assert board.heading_deg == true
    assert board.heading_magnetic_deg == pytest.approx(magnetic, abs=1e-9)
    assert board.heading_compass_deg == pytest.approx(compass, abs=1e-9)
    assert plan.legs[0].boards[0].heading_magnetic_deg is None
    without = with_variation(plan, variation).legs[0].boards[0]
    assert without.heading_compass_deg is None
    blank = replace(board, heading_magnetic_deg=None, heading_compass_deg=None)
    assert blank == plan.legs[0].boards[0]


def test_the_source_is_told():
    notices = with_variation(one_board_plan(48.0), -3.5, CARD).notices
    assert notices == (
        "First.",
        "Magnetic headings by a variation of 3.5°W, as entered.",
        "Compass headings by the deviation card, linear between its headings.",
    )


def test_any_function_serves():
    asked = []

    def variation(lat: float, lon: float, time: datetime) -> float:
        asked.append((lat, lon, time))
        return 1.0 + lat / 100

    made = with_variation(one_board_plan(48.0), variation)
    assert made.legs[0].boards[0].heading_magnetic_deg == pytest.approx(46.43)
    assert (57.0, 11.0, START) in asked
    assert made.notices[-1] == "Magnetic headings by variation 1.6°E at Start."


def test_the_model_tells_its_error_and_its_age():
    pytest.importorskip("pygeomag")
    model = variation_model()
    made = with_variation(one_board_plan(48.0), model)
    assert made.notices[-1].startswith("Magnetic headings by the World Magnetic Model 2025, ")
    assert "°E at Start, stated error ±0.4°." in made.notices[-1]
    late = with_variation(one_board_plan(48.0, datetime(2031, 1, 1, tzinfo=UTC)), model)
    assert "valid for 2025 to 2030" in late.notices[-1]
    assert "2031-01-01" in late.notices[-1]
    assert model.notice(START) is None
    assert model.notice(datetime(2024, 12, 31, tzinfo=UTC)) is not None
    with pytest.raises(InputError, match="says nothing about 2041"):
        model(57.0, 11.0, datetime(2041, 1, 1, tzinfo=UTC))


def test_a_flat_field_is_told():
    pytest.importorskip("pygeomag")
    made = with_variation(one_board_plan(48.0, lat=88.0), variation_model())
    assert any("too flat" in each for each in made.notices)


@pytest.mark.parametrize(
    ("text", "value"),
    [("-3.5", -3.5), ("5.5E", 5.5), ("3W", -3.0), ("3°w", -3.0), ("+2", 2.0), ("0", 0.0),
     (" model ", "model"), ("180", 180.0)],
)  # fmt: skip
def test_variations_are_read(text, value):
    assert parse_variation(text) == value


@pytest.mark.parametrize(
    "text", ["", "x", "nan", "inf", "-3E", "181", "-180.5", "5,5", "5N", "1e2", "models", "٣"]
)
def test_bad_variations_are_refused(text):
    with pytest.raises(InputError, match="variation"):
        parse_variation(text)


@pytest.mark.parametrize("variation", [181.0, float("nan"), float("inf")])
def test_impossible_variations_are_refused(variation):
    with pytest.raises(InputError, match="180 degrees at most"):
        with_variation(one_board_plan(48.0), variation)


def test_times_without_a_zone_are_refused():
    pytest.importorskip("pygeomag")
    with pytest.raises(InputError, match="zone"):
        variation_model()(57.0, 11.0, datetime(2027, 1, 1))
    with pytest.raises(InputError, match="latitude"):
        variation_model()(91.0, 11.0, START)


def test_a_missing_package_is_said(monkeypatch):
    import sys

    variation_model.cache_clear()
    monkeypatch.setitem(sys.modules, "pygeomag", None)
    with pytest.raises(InputError, match=r'pip install "\.\[variation\]"'):
        variation_model()
