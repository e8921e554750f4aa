"""Sails sailed wrong on purpose by the independent simulator: the debrief must say how."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from conftest import SAMPLES
from goosewing.boat.model import PolarTable
from goosewing.boat.read import read_boat
from goosewing.errors import InputError
from goosewing.exchange.boat_folder import format_table
from goosewing.logbook.debrief import CAUSES, PlanPoint, debrief
from goosewing.logbook.fit import Wish, put_right
from goosewing.logbook.read.plan_points import read_plan_points
from goosewing_cli.main import outcome
from log_simulator import START, Sailed, Table, Truth, nmea, sail

from .conftest import BRISVIK, as_log, truth  # isort: skip

CALM = {
    "crew_spread": 0.0, "speed_noise": 0.01, "vane_noise_deg": 2.0, "wind_noise": 0.02,
    "stream_kn": 0.3,
}  # fmt: skip
BEST_UP, BEST_DOWN = 44.0, 159.0
"""Of main and jib, by the targets command in 10 and in 8 kn."""


def boards_of(angles, minutes=12.0, first=1.0):
    """Boards of so many minutes at these angles, the tacks in turn."""
    spans = minutes if isinstance(minutes, list) else [minutes] * len(angles)
    return np.concatenate([
        np.full(int(60 * span), first * (-1.0) ** i * angle)
        for i, (angle, span) in enumerate(zip(angles, spans, strict=True))
    ])  # fmt: skip


def sailed(wanted, seed=1, wind=10.0, aboard=None, **how):
    return sail(aboard or truth(**CALM), wanted, seed, tws=(wind, 0.3), wind_shift=2.0, **how)


def main_and_jib():
    boat = read_boat(BRISVIK / "boat.toml")
    return replace(boat, sail_sets=boat.sail_sets[:1])


def judged(log, boat=None, plan=()):
    boat = boat or main_and_jib()
    logged = as_log(log)
    return debrief(logged, put_right(logged, Wish(), boat), boat, plan)


def slow_when_deep(folder):
    """Brisvik's main and jib, slow with the wind dead aft; and her table as a file."""
    boat = main_and_jib()
    sails = boat.sail_sets[0]
    values = sails.polar.values.copy()
    values[sails.polar.twa_deg >= 160.0] *= 0.85
    polar = PolarTable(sails.polar.tws_kn, sails.polar.twa_deg, values)
    path = folder / "slow.csv"
    path.write_text(format_table(polar, decimals=4), encoding="utf-8")
    return replace(boat, sail_sets=(replace(sails, polar=polar),)), path


def minutes(found, what):
    return next(each.minutes for each in found.costs if each.what == what)


def test_sailed_to_the_targets_nothing_is_lost():
    found = judged(sailed(boards_of([BEST_UP] * 6)))
    assert sum(each.minutes for each in found.costs) < 0.02 * 60.0 * found.sailed_h
    for board in found.boards:
        assert board.point == "upwind"
        assert board.vmg_kn == pytest.approx(board.target_vmg_kn, rel=0.04)
        assert board.twa_deg == pytest.approx(board.best_twa_deg, abs=2.5)


@pytest.mark.parametrize(
    ("angle", "wind", "what"),
    [(36.0, 10.0, "pinching"), (56.0, 10.0, "footing"), (132.0, 8.0, "too high"),
     (168.0, 8.0, "too deep")],
)  # fmt: skip
def test_angles_are_called_by_their_names(angle, wind, what, tmp_path):
    boat, path = slow_when_deep(tmp_path)
    aboard = Truth(Table(path), Table(BRISVIK / "main-and-jib-heel.csv"), **CALM)
    log = sailed(boards_of([angle] * 6), wind=wind, aboard=aboard)
    found = judged(log, boat)
    assert found.most == what
    # The tables' own arithmetic, by SciPy: what is made good at this angle against the best.
    polar, rows = Table(path), np.arange(30.0, 180.5, 0.5)
    heel = Table(BRISVIK / "main-and-jib-heel.csv")
    winds = np.full(rows.size, float(np.mean(log.true["tws_kn"])))
    speed = polar(rows, winds)
    leeway = np.minimum(10.0 * heel(rows, winds) / np.maximum(speed, 0.1) ** 2, 20.0)
    good = np.abs(speed * np.cos(np.radians(rows + leeway))) * np.where(
        (rows < 90.0) == (angle < 90.0), 1.0, 0.0
    )
    lost = 1.0 - np.interp(angle, rows, good) / good.max()
    judged_h = found.sailed_h - 5 * 120.0 / 3600.0
    assert minutes(found, what) == pytest.approx(60.0 * judged_h * lost, rel=0.25)


@pytest.mark.parametrize("stop_s", [40.0, 70.0])
def test_a_turn_costs_what_she_lay_still(stop_s):
    found = judged(sailed(boards_of([BEST_UP] * 6), stop_s=stop_s))
    assert [turn.kind for turn in found.manoeuvres] == ["tack"] * 5
    costs = [turn.cost_s for turn in found.manoeuvres]
    assert np.median(costs) == pytest.approx(stop_s, abs=6.0)
    beyond = sum(max(cost - 25.0, 0.0) for cost in costs) / 60.0
    assert minutes(found, "manoeuvres") == pytest.approx(beyond)
    assert found.most == "manoeuvres"


def exact(angles, minutes, *, twd=300.0, tws=11.0, stop_s=25.0):
    """A log without wave, puff or noise: closed forms alone. Returns it and how she goes."""
    wanted = boards_of(angles, minutes)
    side = np.sign(wanted)
    polar, heels = (Table(BRISVIK / f"main-and-jib{part}.csv") for part in ("", "-heel"))
    winds = np.full(wanted.size, tws)
    speed, heel = polar(np.abs(wanted), winds), heels(np.abs(wanted), winds)
    leeway = np.minimum(10.0 * heel / speed**2, 20.0)
    stopped = np.zeros(wanted.size, dtype=bool)
    for turn in np.flatnonzero(np.diff(side)) + 1:
        stopped[turn : turn + int(stop_s)] = True
    speed = np.where(stopped, 0.0, speed)
    heading = np.mod(twd - wanted, 360.0)
    track, lee, off = np.radians(heading - side * leeway), np.radians(leeway), np.radians(wanted)
    ground = speed[:, np.newaxis] * np.column_stack((np.sin(track), np.cos(track)))
    fore = tws * np.cos(off) + speed * np.cos(lee)
    abeam = tws * np.sin(off) - side * speed * np.sin(lee)
    way = np.cumsum(ground, axis=0) / 3600.0
    read = {
        "heading_deg": heading, "stw_kn": speed, "heel_deg": -side * heel,
        "awa_deg": np.degrees(np.arctan2(abeam, fore)), "aws_kn": np.hypot(fore, abeam),
        "sog_kn": speed, "cog_deg": np.degrees(track) % 360.0,
        "lat": 57.0 + way[:, 1] / 60.0, "lon": 11.0 + way[:, 0] / 60.0 / np.cos(np.radians(57.0)),
    }  # fmt: skip
    return Sailed(START + np.arange(wanted.size), {}, read)


@pytest.mark.parametrize("heel_logged", [True, False])
def test_without_any_noise_turns_cost_to_the_second(heel_logged):
    log = exact([38.0, 38.0, 38.0, 38.0, 150.0, 150.0], [15.0] * 4 + [20.0] * 2)
    if not heel_logged:
        del log.read["heel_deg"]
    found = judged(log)
    assert [turn.kind for turn in found.manoeuvres] == ["tack"] * 3 + ["gybe"] * 2
    for turn in found.manoeuvres:
        assert turn.cost_s == pytest.approx(25.0, abs=3.0)
    assert found.most == "pinching"
    for board in found.boards[:4]:
        assert board.twa_deg == pytest.approx(38.0, abs=0.5)


def test_turns_are_where_and_when_they_were():
    log = sailed(boards_of([BEST_UP, BEST_UP, 150.0, 150.0]), wind=8.0)
    found = judged(log)
    kinds = [turn.kind for turn in found.manoeuvres]
    assert kinds[0] == "tack"
    assert kinds[-1] == "gybe"
    assert found.manoeuvres[0].time.timestamp() - START == pytest.approx(720.0, abs=30.0)
    tacks = [board.tack for board in found.boards]
    assert tacks[0] == "starboard"
    assert tacks[1] == "port"


def test_past_the_layline():
    # The last board but one goes on too far; on the last she frees off to the mark.
    log = sailed(boards_of([BEST_UP, BEST_UP, BEST_UP, 62.0], [12.0, 12.0, 25.0, 20.0]))
    found = judged(log)
    assert found.most == "overstood"
    past = found.boards[-1].overstood_nm
    # Plane trigonometry: back along the board before until the mark bears the best angle.
    hours = 20.0 / 60.0
    speed = float(np.median(log.true["stw_kn"][-1000:]))
    lee = float(np.median(log.true["leeway_deg"][-1000:]))
    best_lee = float(np.median(log.true["leeway_deg"][1600:2800]))
    freer = np.radians(62.0 + lee - BEST_UP - best_lee)
    expected = speed * hours * np.sin(freer) / np.sin(np.radians(2 * (BEST_UP + best_lee)))
    assert past == pytest.approx(expected, rel=0.25)
    assert minutes(found, "footing") < 1.0


def test_wrong_sails():
    alone = Truth(Table(BRISVIK / "main-alone.csv"), Table(BRISVIK / "main-alone-heel.csv"), **CALM)
    log = sailed(boards_of([80.0] * 4, 15.0), aboard=alone)
    found = judged(log, read_boat(BRISVIK / "boat.toml"))
    assert found.most == "wrong sails"
    assert {board.sail_set for board in found.boards} == {"main alone"}


def test_the_sector_not_worth_sailing():
    # In 10 kn Brisvik reaches or runs wing-and-wing; between the two she gets there later.
    log = sailed(boards_of([152.0] * 4, 15.0))
    found = judged(log, read_boat(BRISVIK / "boat.toml"))
    assert found.most == "not worth sailing"
    assert sum(board.not_worth_min for board in found.boards) > 40.0


def test_a_slow_boat_is_slow_and_not_ill_steered():
    # Common practice, no source: crews reach 96 to 98 % of their target.
    slow = Truth(
        Table(BRISVIK / "main-and-jib.csv", 0.96), Table(BRISVIK / "main-and-jib-heel.csv"), **CALM
    )
    found = judged(sailed(boards_of([BEST_UP] * 6), aboard=slow))
    hours = found.sailed_h - 5 * 120.0 / 3600.0
    assert minutes(found, "other") == pytest.approx(0.04 * 60.0 * hours, rel=0.35)
    assert minutes(found, "pinching") + minutes(found, "footing") < 1.0


def test_engine_hours_are_no_boards():
    log = sailed(boards_of([BEST_UP] * 6), engine=[(1500, 2900)])
    found = judged(log)
    assert found.engine_h == pytest.approx(1400 / 3600, abs=0.1)
    assert found.sailed_h < 72 / 60 - 0.3


def test_nothing_sailed_is_refused():
    log = sailed(boards_of([BEST_UP] * 3))
    log.read["engine_rpm"] = np.full(log.time_s.size, 1500.0)
    with pytest.raises(InputError, match="holds nothing sailed"):
        judged(log)


def test_time_against_the_plan():
    log = sailed(boards_of([BEST_UP] * 4))
    lat, lon = float(log.read["lat"][2000]), float(log.read["lon"][2000])
    planned = datetime.fromtimestamp(START + 1700.0, UTC)
    plan = (
        PlanPoint(name="Buoy", lat=lat, lon=lon, time=planned, mark=True),
        PlanPoint(name="T1", lat=lat, lon=lon, time=planned, mark=False),
        PlanPoint(name="Far", lat=lat + 1.0, lon=lon, time=planned, mark=True),
    )
    found = judged(log, plan=plan)
    assert [mark.mark for mark in found.marks] == ["Buoy", "Far"]
    assert found.marks[0].late_min == pytest.approx(5.0, abs=0.3)
    assert found.marks[1].passed is None


def test_a_boat_mirrored_is_judged_the_same():
    log = sailed(boards_of([38.0] * 6))
    one = judged(log)
    log.read["awa_deg"], log.read["heel_deg"] = -log.read["awa_deg"], -log.read["heel_deg"]
    for name in ("heading_deg", "cog_deg"):
        log.read[name] = np.mod(-log.read[name], 360.0)
    log.read["lon"] = 22.0 - log.read["lon"]
    other = judged(log)
    assert [b.tack for b in other.boards] == [
        "port" if b.tack == "starboard" else "starboard" for b in one.boards
    ]
    for ours, theirs in zip(one.costs, other.costs, strict=True):
        assert theirs.minutes == pytest.approx(ours.minutes, abs=0.05)


# ---- the command --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def log_file(tmp_path_factory):
    path = tmp_path_factory.mktemp("logs") / "sail.nmea"
    path.write_text(nmea(sailed(boards_of([37.0] * 4))), encoding="ascii")
    return path


def test_the_document(log_file, capsys):
    assert outcome(["debrief", str(log_file), "--boat", str(BRISVIK / "boat.toml"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["format"] == "goosewing.debrief/1"
    assert told["most"] == "pinching"
    assert {each["what"] for each in told["costs"]} == set(CAUSES)
    assert told["manoeuvres"][0]["kind"] == "tack"
    assert told["manoeuvres"][0]["time"].endswith("Z")
    assert {"tack", "vmg_kn", "target_vmg_kn", "leeway_deg"} <= set(told["boards"][0])


def test_the_sheet_and_the_picture(log_file, tmp_path, capsys):
    picture = tmp_path / "sail.png"
    words = ["debrief", str(log_file), "--boat", str(BRISVIK / "boat.toml")]
    assert outcome([*words, "--picture", str(picture)]) == 0
    said = capsys.readouterr().out
    assert "Most would have been saved by not pinching" in " ".join(said.split())
    assert all(len(line) <= 80 for line in said.splitlines() if not line.startswith("Written"))
    assert picture.read_bytes().startswith(b"\x89PNG")


def test_a_plan_is_read_with_its_marks_and_their_times(tmp_path, capsys):
    plan = tmp_path / "plan.gpx"
    words = ["plan", str(SAMPLES / "kattegat.gpx"), "--boat", str(BRISVIK / "boat.toml")]
    words += ["--wind", "315/10", "--depart", "2027-06-12T06:00Z", "--out", str(plan), "--json"]
    assert outcome(words) == 0
    told = json.loads(capsys.readouterr().out)
    points = read_plan_points(plan)
    marks = [point for point in points if point.mark]
    assert [mark.name for mark in marks] == [told["legs"][0]["from"]] + [
        leg["to"] for leg in told["legs"]
    ]
    assert len(points) > len(marks)
    arrival = datetime.fromisoformat(told["arrival"])
    assert marks[-1].time is not None
    assert abs((marks[-1].time - arrival).total_seconds()) <= 1.0


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--boat", "nowhere.toml"], "no such file"),
        ([], "--boat FILE is needed"),
        (["--boat", str(BRISVIK / "boat.toml"), "--picture", "x.doc"], "a picture must end in"),
        (["--boat", str(BRISVIK / "boat.toml"), "--plan", str(BRISVIK / "boat.toml")], "GPX"),
    ],
)
def test_what_makes_no_sense_is_refused_in_one_line(log_file, capsys, words, said):
    assert outcome(["debrief", str(log_file), *words]) == 2
    told = capsys.readouterr().err
    assert said in told
    assert told.count("\n") == 1
