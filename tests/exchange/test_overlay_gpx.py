"""The plotter's GPX under way: valid, whole, true to what the service tells, and it heals."""

from __future__ import annotations

import errno
import os
import shutil
from datetime import UTC, datetime
from pathlib import Path

import gpxpy
import pytest

from goosewing import plan as planning
from goosewing.exchange.nmea.readings import Framer
from goosewing.files import disk
from goosewing.live.alone import overlay
from goosewing.live.alone.overlay import NAME, NOTHING, Overlay, format_overlay
from goosewing.live.alone.watch import Setup, Watch
from goosewing.live.core.state import Clear, Desk, Route
from goosewing.live.panel.counter import Asked
from goosewing.options import Options
from goosewing.records import Mark, Plan
from goosewing.turns import numbered_like
from goosewing.weather.steady import SteadyWeather
from nmea_boat import Told, instruments, listen
from sailing_boat import SailingBoat, Waters

SAMPLES = Path(__file__).parents[2] / "sample_routes"
BEGIN = datetime(2027, 6, 12, 5, tzinfo=UTC)
START = Mark(name="Start", lat=56.5, lon=12.0)
UPWIND = Mark(name="Upwind", lat=56.56, lon=11.94)
DOWN = Mark(name="Down", lat=56.48, lon=12.06)


def planned(boat, *marks: Mark, **options) -> Plan:
    weather = SteadyWeather(315, 10)
    return planning.make(marks, boat, weather, BEGIN, Options(**options))


def as_told(plan: Plan) -> Plan:
    """The plan as the service names it: a turn due at once has a name too."""
    return numbered_like(plan, None, at_once=True)


@pytest.fixture(params=["ahead", "at once", "none"])
def plan(request, brisvik) -> Plan:
    return as_told({
        "ahead": lambda: planned(brisvik, START, UPWIND, DOWN),
        "at once": lambda: planned(
            brisvik, START, Mark(name="North", lat=56.56, lon=12.05), UPWIND,
            start_with="main and jib", start_tack="starboard",
        ),
        "none": lambda: planned(brisvik, START, Mark(name="West", lat=56.5, lon=11.8)),
    }[request.param]())  # fmt: skip


def test_it_is_valid_and_says_what_the_service_says(plan, assert_valid):
    text = format_overlay(plan)
    assert_valid(text)
    read = gpxpy.parse(text)
    (route,) = read.routes
    first, *later = plan.legs[0].boards
    at = {(round(p.latitude, 5), round(p.longitude, 5)): p.name for p in route.points}
    for board in later:
        assert at[round(board.start.lat, 5), round(board.start.lon, 5)] == board.point
    names = [p.name for p in route.points]
    assert len(set(names)) == len(names)
    ahead = first if first.manoeuvres else next(iter(later), None)
    assert [w.name for w in read.waypoints] == ([] if ahead is None else [ahead.point])
    if ahead is not None:
        place = ahead.start
        assert read.waypoints[0].latitude == pytest.approx(place.lat, abs=1e-6)
        assert read.waypoints[0].longitude == pytest.approx(place.lon, abs=1e-6)
    lines = [line for leg in plan.legs for line in leg.laylines]
    assert len(read.tracks) == len(lines) > 0


def test_a_turn_at_once_has_a_name_that_no_other_has(brisvik):
    plan = as_told(planned(
        brisvik, START, UPWIND, start_with="main and jib", start_tack="starboard", first="port"
    ))  # fmt: skip
    first, second = plan.legs[0].boards
    assert (first.point, second.point) == ("T1", "T2")
    read = gpxpy.parse(format_overlay(plan))
    assert [w.name for w in read.waypoints] == ["T1"]
    assert [p.name for p in read.routes[0].points] == ["Start", "T2", "Upwind"]


def test_without_a_plan_it_is_valid_and_holds_none(assert_valid):
    assert_valid(NOTHING)
    read = gpxpy.parse(NOTHING)
    assert [*read.routes, *read.tracks, *read.waypoints] == []


# ---- under way -----------------------------------------------------------------------------------


class Sailing:
    def __init__(self, boat, folder: Path) -> None:
        waters = Waters(lambda _: 315.0, lambda _: 10.0)
        self.boat = SailingBoat(SAMPLES / "brisvik", waters, START.lat, START.lon, 271.0)
        route = Route(id="marks", name="R", marks=(START, UPWIND))
        self.told = Told()
        self.watch = Watch(Setup(desk=Desk(boat=boat), route=route, overlay=folder), self.told)
        self.framer, self.file = Framer(), folder / NAME
        self.watch.begin(self.boat.time.timestamp())

    def sail(self, seconds: int) -> None:
        for _ in range(seconds):
            now = self.boat.time.timestamp()
            listen(self.watch, self.framer, "".join(instruments(self.boat)).encode(), now)
            self.watch.tick(now)
            self.boat.sail(1.0)

    def warnings(self) -> list[str]:
        return [text for text, _ in self.told.lines if NAME in text]


def test_an_old_plan_does_not_stand_for_a_new_one(brisvik, tmp_path):
    (tmp_path / NAME).write_text("yesterday's")
    sailing = Sailing(brisvik, tmp_path)
    assert sailing.file.read_text() == NOTHING
    sailing.sail(3)
    assert len(gpxpy.parse(sailing.file.read_text()).routes) == 1
    sailing.watch.receive(Asked(Clear()))
    assert sailing.file.read_text() == NOTHING


def test_headings_by_compass_stand_in_it(brisvik, tmp_path):
    sailing = Sailing(brisvik, tmp_path)
    sailing.sail(70)
    assert 'heading_magnetic_deg="' in sailing.file.read_text()


def full(*_: object) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_a_full_disk_is_told_once_the_old_file_stays_whole_and_it_heals(
    brisvik, tmp_path, monkeypatch
):
    sailing = Sailing(brisvik, tmp_path)
    with monkeypatch.context() as patched:
        patched.setattr(disk.os, "fsync", full)
        sailing.sail(25)
    assert sailing.file.read_text() == NOTHING
    assert [path.name for path in tmp_path.iterdir()] == [NAME]
    (warning,) = sailing.warnings()
    assert os.strerror(errno.ENOSPC) in warning
    assert "\n" not in warning
    sailing.sail(15)
    assert len(gpxpy.parse(sailing.file.read_text()).routes) == 1
    assert sailing.warnings()[1:] == [f"{NAME} is written again."]


def test_a_folder_that_is_gone_is_not_made_anew_and_comes_back(brisvik, tmp_path):
    stick = tmp_path / "stick"
    stick.mkdir()
    sailing = Sailing(brisvik, stick)
    shutil.rmtree(stick)
    sailing.sail(25)
    assert not stick.exists()
    assert len(sailing.warnings()) == 1
    stick.mkdir()
    sailing.sail(15)
    assert len(gpxpy.parse(sailing.file.read_text()).routes) == 1


def test_it_is_not_tried_more_often_than_every_ten_seconds(monkeypatch, tmp_path):
    tries = []
    monkeypatch.setattr(
        overlay, "write_atomically", lambda *_, **__: tries.append(1) or _refuse()
    )  # fmt: skip
    held = Overlay(path=tmp_path / NAME, tell=lambda _: None, inputs=())
    held.hold("x", 0.0)
    for second in range(60):
        held.heal(float(second))
    assert len(tries) == 6


def _refuse() -> None:
    from goosewing.errors import InputError

    raise InputError("no")


def test_marks_are_never_overwritten(tmp_path):
    marks = tmp_path / NAME
    marks.write_text("the crew's")
    told: list[str] = []
    Overlay(path=marks, tell=told.append, inputs=(marks,)).hold(NOTHING, 0.0)
    assert marks.read_text() == "the crew's"
    assert "is an input" in told[0]
