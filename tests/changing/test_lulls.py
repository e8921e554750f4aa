"""Lulls, nights, ends of tables and several legs: where a search or a bound may go wrong."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from changing_winds import FREE
from goosewing.earth import geodesy
from goosewing.exchange.document import format_plan_json
from goosewing.options import Options
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.steady import reasons
from goosewing.weather.read import read_weather
from goosewing.weather.steady import SteadyWeather

DEPARTURE = datetime(2027, 6, 1, 6, tzinfo=UTC)


def leg(bearing, nm):
    lat, lon = 57.0, 11.0
    end = geodesy.loxodrome_direct(lat, lon, bearing, nm)
    return [
        Mark(name="A", lat=lat, lon=lon),
        Mark(name="B", lat=float(end.lat), lon=float(end.lon)),
    ]


def table(folder: Path, *rows):
    path = folder / "wind.csv"
    lines = [f"{hour},{wind}" for hour, wind in rows]
    path.write_text("time,wind_from_deg,wind_kn\n" + "\n".join(lines) + "\n")
    return read_weather(path)


def at(hour):
    return f"2027-06-{1 + hour // 24:02d}T{hour % 24:02d}:00Z"


@pytest.mark.long
def test_a_lull_on_the_way_is_waited_out(brisvik, tmp_path):
    weather = table(
        tmp_path, (at(6), "0,10"), (at(8), "0,1"), (at(10), "0,1"), (at(11), "0,8"), (at(40), "0,8")
    )
    plan = make(leg(90.0, 30.0), brisvik, weather, DEPARTURE)
    assert len(plan.legs[0].boards) == 1
    # Two hours of the lull make next to nothing good: that long the passage takes longer.
    blown = make(leg(90.0, 30.0), brisvik, SteadyWeather(0.0, 8.0), DEPARTURE)
    assert blown.elapsed_h < plan.elapsed_h < blown.elapsed_h + 3.0


@pytest.mark.long
def test_by_night_the_pole_stays_down_in_a_steady_wind_too(brisvik):
    boat = replace(brisvik, night_poled=False)
    evening = datetime(2027, 6, 1, 21, 0, tzinfo=UTC)  # the sun sets about 1950Z here, in June
    plan = make(leg(180.0, 12.0), boat, SteadyWeather(0.0, 10.0), evening)
    assert not any(board.poled for board in plan.legs[0].boards)
    by_night = make(leg(180.0, 12.0), brisvik, SteadyWeather(0.0, 10.0), evening)
    assert any(board.poled for board in by_night.legs[0].boards)


@pytest.mark.long
def test_a_board_that_ends_beyond_the_table_has_no_nan(brisvik, tmp_path):
    # The wind passes 35 kn, the last that any table holds, within the last minutes of the leg.
    weather = table(tmp_path, (at(6), "0,20"), (at(10), "0,36"), (at(12), "0,36"))
    for nm in np.arange(24.0, 30.0, 1.0):
        try:
            plan = make(leg(90.0, float(nm)), brisvik, weather, DEPARTURE)
        except LookupError:
            continue
        assert b"NaN" not in format_plan_json(plan)


@pytest.mark.long
def test_the_bound_of_several_legs_is_a_bound(brisvik, tmp_path):
    # A dying wind, and tacks so dear that the plan is late at the middle mark.
    weather = table(tmp_path, (at(6), "0,12"), (at(11), "0,2"), (at(48), "0,2"))
    marks = [
        Mark(name="A", lat=57.0, lon=11.0),
        Mark(name="B", lat=57.06, lon=11.0),
        Mark(name="C", lat=57.06, lon=11.15),
    ]
    dear = replace(brisvik, manoeuvres=replace(brisvik.manoeuvres, tack_s=900.0))
    free = replace(brisvik, manoeuvres=FREE)
    plan = make(marks, dear, weather, DEPARTURE)
    least = make(marks, free, weather, DEPARTURE, Options(shortest_board_min=0))
    assert plan.bound_h <= least.elapsed_h * (1 + 1e-4)
    assert least.bound_h <= least.elapsed_h


@pytest.mark.parametrize("nm", [0.5, 1.5, 2.5, 5.0, 12.0])
def test_the_break_even_says_what_is_done(brisvik, nm):
    plan = make(leg(160.0, nm), brisvik, SteadyWeather(0.0, 10.0), DEPARTURE)
    said = [each for each in plan.legs[0].reasons if "pays on legs over" in each]
    changes = len({board.sail_set for board in plan.legs[0].boards}) > 1
    for each in said:
        pays = float(each.split("over ")[1].split(" nm")[0])
        assert changes == (nm > pays)
        assert ("so she keeps" in each) != changes
        assert pays < reasons.FAR_BEYOND * nm
