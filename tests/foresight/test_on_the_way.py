"""What a plan meets on its way, against the weather itself and other people's geodesics."""

from datetime import UTC, datetime

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from changing_winds import DEPARTURE, leg, turning
from goosewing.earth import geodesy
from goosewing.foresight.on_the_way import REEFS, SHORT_H, force, look_ahead, warnings
from goosewing.plan import make
from goosewing.records import CAUTIONS, Departure
from goosewing.weather.steady import SteadyWeather

JUNE = datetime(2027, 6, 12, 6, tzinfo=UTC)
BEAT = leg(57.0, 11.0, 10.0, 12.0)


@pytest.fixture(scope="module")
def seen(brisvik):
    wind = SteadyWeather(20.0, 12.0, 90.0, 1.0)
    return look_ahead(make(BEAT, brisvik, wind, JUNE), wind)


def test_every_board_knows_wind_and_stream(seen):
    for board in seen.legs[0].boards:
        assert board.weather.wind_from_deg == pytest.approx(20.0)
        assert board.weather.wind_kn == pytest.approx(12.0)
        assert board.weather.gust_kn is None
        assert board.weather.set_deg == pytest.approx(90.0)
        assert board.weather.drift_kn == pytest.approx(1.0)


def test_turns_lie_where_they_are_told_from_the_mark(seen):
    """On twelve miles the rhumb line and GeographicLib's geodesic differ by metres."""
    mark = seen.marks[-1]
    for board in seen.legs[0].boards:
        line = Geodesic.WGS84.Inverse(mark.lat, mark.lon, board.start.lat, board.start.lon)
        assert board.from_mark.mark == mark.name
        assert board.from_mark.distance_nm == pytest.approx(line["s12"] / 1852.0, abs=1e-3)
        off = geodesy.wrap_180(board.from_mark.bearing_deg - line["azi1"])
        assert abs(float(off)) < 0.2


def test_hours_are_full_hours_and_lie_on_the_boards(seen):
    times = [hour.time for hour in seen.hours]
    assert times == sorted(times)
    assert (times[0], times[-1]) == (seen.departure, seen.arrival)
    # So short a passage is told every half hour.
    assert seen.elapsed_h <= SHORT_H
    assert all(time.minute in (0, 30) and time.second == 0 for time in times[1:-1])
    assert seen.hours[0].to_go_nm == pytest.approx(seen.distance_nm, rel=1e-9)
    assert seen.hours[-1].to_go_nm == pytest.approx(0.0, abs=1e-9)
    for before, after in zip(seen.hours[:-1], seen.hours[1:], strict=True):
        gone = before.to_go_nm - after.to_go_nm
        hours = (after.time - before.time).total_seconds() / 3600.0
        board = seen.legs[0].boards[before.board]
        if (before.leg, before.board) == (after.leg, after.board):
            assert gone == pytest.approx(board.speed_over_ground_kn * hours, rel=1e-6)
            line = Geodesic.WGS84.Inverse(before.lat, before.lon, after.lat, after.lon)
            # Between the ends of a board latitude and longitude are interpolated, each by itself:
            # on ten miles of a rhumb line that is metres off.
            assert line["s12"] / 1852.0 == pytest.approx(gone, abs=1e-3)


def test_in_changing_wind_each_hour_has_its_own(brisvik):
    wind = turning(10.0, 60.0, 12.0)
    ends = leg(57.0, 11.0, 0.0, 9.0)
    seen = look_ahead(make(ends, brisvik, wind, DEPARTURE), wind)
    for hour in seen.hours:
        later = (hour.time - DEPARTURE).total_seconds() / 3600.0
        assert hour.weather.wind_from_deg == pytest.approx(60.0 + 10.0 * later, abs=0.01)


# Forces and their first knot: WMO-No. 306, Manual on Codes, code table 4.3's Beaufort scale.
@pytest.mark.parametrize(
    ("kn", "expected"),
    [(0, 0), (1, 1), (3, 1), (4, 2), (10, 3), (11, 4), (17, 5), (22, 6), (27, 6), (28, 7), (34, 8),
     (48, 10), (64, 12)],
)  # fmt: skip
def test_beaufort(kn, expected):
    assert force(float(kn)) == expected


def found(**members):
    light = {"night_h": 0.0, "against_h": 0.0, "dead_downwind_h": 0.0, "strongest_wind_kn": 10.0}
    return Departure(departure=JUNE, arrival=JUNE, **{**light, **members})


@pytest.mark.parametrize(
    ("members", "words"),
    [
        ({"strongest_wind_kn": 24.0}, "Strong wind: up to 24 kn, force 6."),
        ({"strongest_gust_kn": 31.0}, "Strong gusts: up to 31 kn, force 7."),
        ({"against_h": 1.5}, "Wind against stream for 1 h 30 min"),
        ({"dead_downwind_h": 0.5}, "Within 10° of dead downwind for 30 min"),
        ({"night_h": 2.0, "arrives_in_daylight": False}, "By night for 2 h 00 min"),
    ],
)
def test_what_asks_for_care_is_said_and_nothing_else(members, words):
    line, *more = warnings(found(**members))
    assert line.startswith(words)
    # Beside strong wind it is said that the plan takes no reef.
    assert more == ([REEFS] if words.startswith("Strong") else [])
    assert warnings(found()) == ()


def test_dead_downwind_is_counted_by_the_angle(brisvik):
    ends = leg(57.0, 11.0, 100.0, 10.0)
    wind = SteadyWeather(282.0, 12.0)
    seen = look_ahead(make(ends, brisvik, wind, JUNE), wind)
    near = sum(b.elapsed_h for b in seen.legs[0].boards if b.twa_deg >= 170.0)
    assert near > 0.5
    assert any("dead downwind" in notice for notice in seen.notices)


def test_what_was_not_looked_at_is_said_and_what_was(brisvik):
    wind = SteadyWeather(20.0, 12.0)
    made = make(BEAT, brisvik, wind, JUNE)
    blind, sighted = look_ahead(made, wind), look_ahead(made, wind, looked_at="what lies in a.json")
    assert any("not looked at" in notice for notice in blind.notices)
    assert not any("not looked at" in notice for notice in sighted.notices)
    assert blind.cautions == CAUTIONS
    assert "seen only what lies in a.json" in sighted.cautions[0]
    assert sighted.cautions[1:] == CAUTIONS[1:]
    assert np.all([hour.to_go_nm >= 0 for hour in sighted.hours])
