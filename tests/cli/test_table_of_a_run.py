"""The table of a run: the pole struck beforehand, the wind's side, dangers of other ways."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from goosewing.foresight.on_the_way import look_ahead
from goosewing.live.panel.table import shown_plan
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.weather.steady import SteadyWeather
from goosewing_cli.show import show_plan

DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)


@pytest.fixture(scope="module")
def run(brisvik):
    marks = [Mark(name=name, lat=lat, lon=11.0) for name, lat in (("Start", 57.3), ("End", 57.0))]
    wind = SteadyWeather(3.0, 12.0)
    made = make(marks, brisvik, wind, DEPARTURE)
    rock = Mark(name="Rock", lat=57.1, lon=11.01)
    return look_ahead(replace(made, dangers=(rock,)), wind)


def test_the_table_and_the_panel_tell_the_strike_and_the_wind_s_side(run, capsys):
    show_plan(run)
    table = " ".join(capsys.readouterr().out.split())
    last = run.legs[-1].boards[-1]
    begins = (last.pole_down.time + timedelta(seconds=30)).strftime("%H%MZ")
    shown = shown_plan(run)["legs"][-1]["rows"]
    strike = next(row for row in shown if row.get("name") == "Before End")
    assert strike["time"] == begins
    lee = {"port": "starboard", "starboard": "port"}[last.tack]
    held = "preventer on till the main comes in"
    # No nearer to dead aft than that, where hands are forward.
    up = f"come up to {round(last.pole_down.heading_deg) % 360:03d}°"
    assert last.pole_down.up_deg == pytest.approx(last.points[-1].twa_deg - 170.0, abs=0.5)
    assert strike["words"] == f"{up}, then strike the pole, headsail to {lee}, {held} (3 min)"
    assert strike["more"] == ["in none of the times: arrival up to 3 min later"]
    assert shown.index(strike) == len(shown) - 2
    assert f"{begins} Before End: come up" in table
    wind = "dead aft" if last.twa_deg > 176.0 else f"on the {last.tack} quarter"
    side = f"wind {wind}: TWA "
    assert "in none of the times: arrival up to" in table
    (board,) = [row for row in shown if row["kind"] == "board" and row["poled"]][-1:]
    assert board["more"][-1].startswith(side)
    assert "never by the lee" in table


def test_the_table_and_the_panel_tell_when_the_pole_is_made_ready(brisvik, capsys):
    """From a reach: before she bears away onto wing-and-wing. Common practice, no source."""
    marks = [
        Mark(name=name, lat=lat, lon=lon)
        for name, lat, lon in (("A", 57.3, 10.6), ("B", 57.3, 11.0), ("C", 56.9, 11.0))
    ]
    wind = SteadyWeather(2.0, 14.0)
    made = look_ahead(make(marks, brisvik, wind, DEPARTURE), wind)
    ready = [board.pole_ready for leg in made.legs for board in leg.boards if board.pole_ready]
    assert ready
    show_plan(made)
    table = " ".join(capsys.readouterr().out.split())
    rows = [row for leg in shown_plan(made)["legs"] for row in leg["rows"]]
    told = [row for row in rows if "make the pole ready to " in row.get("words", "")]
    assert len(told) == len(ready) == table.count("pole ready to")
    for row, begun in zip(told, ready, strict=True):
        begins = (begun.time + timedelta(seconds=30)).strftime("%H%MZ")
        assert row["time"] == begins
        assert row["name"].startswith("Before ")
        assert row["more"] == ["in none of the times: she sails on"]
        assert f"{begins} {row['name']}: " in table
    # In the order of time, as told.
    assert [row["time"] for row in rows] == sorted(row["time"] for row in rows)


def test_another_way_s_row_tells_how_near_it_passes(run, capsys):
    show_plan(run)
    table = " ".join(capsys.readouterr().out.split())
    near = [each for each in run.legs[0].alternatives if each.near]
    assert near
    assert "passes Rock" in table
