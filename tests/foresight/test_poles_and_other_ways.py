"""When poles are struck, how far a helm may err, and how near other ways pass to dangers."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

import changing_winds
from changing_winds import turning
from conftest import SAMPLES
from goosewing.case import Case
from goosewing.exchange.document import format_plan_json, parse_plan
from goosewing.exchange.gpx.elements import told
from goosewing.exchange.gpx.marks import read_marks
from goosewing.exchange.gpx.plans import format_plan
from goosewing.files.gpx import parse_gpx
from goosewing.foresight import what_if
from goosewing.foresight.on_the_way import look_ahead
from goosewing.foresight.passing import BESIDE_NM, near
from goosewing.plan import make
from goosewing.records import Fix, Mark
from goosewing.turns import stops
from goosewing.weather.steady import SteadyWeather
from goosewing.words.brief import compact
from goosewing.words.crew import in_turn_words
from goosewing.words.points import briefing, err_words, sentence, steering

DEPARTURE = datetime(2027, 6, 12, 5, tzinfo=UTC)
METRES_PER_NM = 1852.0

DOWNWIND = tuple(
    Mark(name=name, lat=lat, lon=lon)
    for name, lat, lon in (("Start", 57.4, 11.0), ("Half", 57.2, 11.0), ("End", 57.0, 11.05))
)


@pytest.fixture(scope="module", params=["steady", "turning"])
def run(request, brisvik):
    """A run southwards that is begun and ended wing-and-wing."""
    if request.param == "steady":
        wind, departure = SteadyWeather(0.0, 12.0), DEPARTURE
    else:
        wind, departure = turning(2.0, 350.0, 12.0), changing_winds.DEPARTURE
    return look_ahead(make(DOWNWIND, brisvik, wind, departure), wind)


def boards_of(plan):
    return [board for leg in plan.legs for board in leg.boards]


def test_a_pole_left_up_at_a_board_s_end_is_begun_to_be_struck_so_long_before(run, brisvik):
    boards = boards_of(run)
    assert boards[-1].poled
    for board, after in pairwise((*boards, None)):
        struck = after is None or any(m.kind == "strike_pole" for m in after.manoeuvres)
        down = board.pole_down
        assert (down is not None) is (board.poled and struck)
        if down is None:
            continue
        assert down.counted is (after is not None)
        assert down.takes_s == brisvik.manoeuvres.strike_pole_s
        assert board.end.time - down.time == timedelta(seconds=down.takes_s)
        # So far off as she then sails in that time, by an independent library.
        off_m = Geodesic.WGS84.Inverse(down.lat, down.lon, board.end.lat, board.end.lon)["s12"]
        hours = down.takes_s / 3600.0
        assert off_m / METRES_PER_NM == pytest.approx(
            board.points[-1].boat_speed_kn * hours, rel=0.03
        )
        held = board.orders[-1] if board.orders else board
        ends = held.stretch.log_at_nm + held.stretch.log_nm
        assert ends - down.log_at_nm == pytest.approx(off_m / METRES_PER_NM, rel=0.03)
        assert down.from_mark.distance_nm == pytest.approx(off_m / METRES_PER_NM, abs=1e-3)


def test_no_time_of_a_plan_counts_the_last_strike(run):
    cost_s = sum(each.cost_s for leg in run.legs for each in leg.manoeuvres)
    sailed_h = sum(board.elapsed_h for board in boards_of(run))
    assert run.elapsed_h == pytest.approx(sailed_h + cost_s / 3600.0)
    assert run.arrival == pytest.approx(boards_of(run)[-1].end.time, abs=timedelta(seconds=1))


def test_every_output_tells_the_last_strike_and_reads_it_back(run):
    assert parse_plan(format_plan_json(run)).legs[-1].boards[-1].pole_down is not None
    last = [*stops(run)][-1]
    briefed = briefing(last, run.departure)
    begins = (last.pole_down.time + timedelta(seconds=30)).strftime("%H%MZ")
    assert sentence(briefed).startswith(f"strike the pole from {begins}, arrive ")
    for length, words in ((40, f"strike the pole from {begins}"), (18, "pole d")):
        assert words in compact(briefed, length)
    point = parse_gpx(format_plan(run).encode(), where="plan").root.findall(".//{*}rtept")[-1]
    texts = [getattr(point.find(f"{{*}}{tag}"), "text", None) for tag in ("desc", "cmt", "time")]
    again = told(point, texts, run.departure, last=True)
    assert again.strike_from == briefed.strike_from.replace(microsecond=0)


def test_near_dead_downwind_the_helm_is_told_the_wind_s_side_and_its_room(run):
    low, high = 170.0, 180.0
    for board in boards_of(run):
        held = steering(board)
        words = err_words(held)
        assert (words is not None) is (not board.engine and board.twa_deg >= low)
        if words is None:
            continue
        wind = "dead aft" if board.twa_deg > 176.0 else f"on the {board.tack} quarter"
        least = board.twa_deg - 5.0 if not board.poled else max(board.twa_deg - 5.0, low)
        within = f"{least:.0f} to {min(board.twa_deg + 5.0, 180.0):.0f}°"
        assert words == f"wind {wind}: TWA {within}, never by the lee"
        if board.poled:
            assert board.sails_twa_deg == (low, high)
            assert held.higher_deg == pytest.approx(board.twa_deg - low, abs=1e-9)
        assert held.lower_deg == pytest.approx(180.0 - board.twa_deg, abs=1e-9)


def test_preventer_and_pole_are_made_ready_before_she_bears_away(brisvik):
    """From a reach onto wing-and-wing; common practice, no source."""
    marks = [
        Mark(name=name, lat=lat, lon=lon)
        for name, lat, lon in (("A", 57.3, 10.6), ("B", 57.3, 11.0), ("C", 56.9, 11.0))
    ]
    wind = SteadyWeather(2.0, 14.0)
    made = look_ahead(make(marks, brisvik, wind, DEPARTURE), wind)
    said = [
        in_turn_words(stop)
        for stop in stops(made)
        if any(each.kind == "set_pole" for each in stop.manoeuvres)
    ]
    assert said
    ready = [stop.pole_ready for stop in stops(made) if stop.pole_ready is not None]
    assert len(ready) == len(said)
    for stop in stops(made):
        if (begun := stop.pole_ready) is None:
            continue
        # So long before as setting it takes; all of it still on the board before.
        assert stop.time - begun.time == timedelta(seconds=brisvik.manoeuvres.set_pole_s)
        assert begun.heading_deg == pytest.approx(stop.before.stretch.last_heading_deg, abs=0.5)
        kinds = {each.kind for each in stop.manoeuvres}
        rigged = any(each.kind == "rig_preventer" for each in stop.crew if each.time == begun.time)
        assert rigged is not bool(kinds & {"gybe", "tack"})
    for words in said:
        # What is rigged first is ordered before.
        assert words.startswith(("turn to ", "bear away to "))
        assert ", then set the pole to " in words
        assert "make the pole ready" not in words


@pytest.mark.parametrize("wind_deg", range(0, 360, 30))
def test_the_hands_work_has_its_order_and_its_sides(brisvik, wind_deg):
    """Common practice, no source: a preventer holds the boom dead downwind and with a pole set; it
    comes off before the boom crosses, is eased off where that only comes in, and goes on before
    she bears away, or on the new side after a gybe. The pole stands to windward, on the tack's
    side; the headsail comes to leeward."""
    marks = [
        Mark(name=name, lat=lat, lon=lon)
        for name, lat, lon in (("A", 57.3, 10.6), ("B", 57.3, 11.0), ("C", 56.9, 11.0))
    ]
    made = make(marks, brisvik, SteadyWeather(float(wind_deg), 12.0), DEPARTURE)
    other = {"port": "starboard", "starboard": "port"}
    boards = boards_of(made)
    for board, after in zip(boards, (*boards[1:], None), strict=True):
        kinds = [step.kind for step in board.crew]
        side = {step.kind: step.side for step in board.crew}
        times = [step.time for step in board.crew]
        assert times == sorted(times)
        assert len(set(kinds)) == len(kinds)
        held = board.poled or board.points[-1].twa_deg >= 170.0
        holds = after is not None and (after.poled or after.twa_deg >= 170.0)
        crosses = bool({"tack", "gybe"} & set(kinds))
        assert ("preventer_off" in kinds) is (held and crosses)
        assert ("ease_preventer" in kinds) is (held and not crosses and not holds)
        assert ("rig_preventer" in kinds) is (holds and (crosses or not held))
        if "preventer_off" in kinds and crosses:
            assert kinds.index("preventer_off") < kinds.index("gybe")
        if "ease_preventer" in kinds and "turn" in kinds:
            assert kinds.index("turn") < kinds.index("ease_preventer")
        if "rig_preventer" in kinds:
            assert side["rig_preventer"] == other[after.tack]
            turn = next(kind for kind in ("gybe", "tack", "turn", "set_pole") if kind in kinds)
            assert (kinds.index("rig_preventer") > kinds.index(turn)) is crosses
        kept = after is not None and after.poled and not crosses
        assert ("strike_pole" in kinds) is (board.poled and not kept)
        if "set_pole" in kinds:
            assert side["set_pole"] == after.tack
            assert kinds[-1] == "set_pole"
        if after is not None:
            assert board.crew == () or times[-1] <= after.start.time
            done = {each.kind for each in after.manoeuvres}
            assert done <= set(kinds)


@pytest.mark.parametrize("seed", range(8))
def test_how_near_a_way_passes_is_the_least_of_many_looks(seed):
    """By GeographicLib at places laid out densely along it: equal steps in latitude and longitude.

    That straight line on a plate carrée and the rhumb line between two places some miles apart
    are no more than metres from one another.
    """
    rng = np.random.default_rng(seed)
    way = [Fix(lat=57.0 + rng.uniform(-0.1, 0.1), lon=11.0 + rng.uniform(-0.2, 0.2))
           for _ in range(5)]  # fmt: skip
    danger = Mark(name="Rock", lat=57.0, lon=11.0)
    lat, lon = (
        np.concatenate([
            np.linspace(getattr(a, axis), getattr(b, axis), 400) for a, b in pairwise(way)
        ])
        for axis in ("lat", "lon")
    )  # fmt: skip
    looks = [
        Geodesic.WGS84.Inverse(danger.lat, danger.lon, y, x)["s12"] / METRES_PER_NM
        for y, x in zip(lat, lon, strict=True)
    ]
    off_nm = min(looks)
    (found,) = near([danger], way) or (None,)
    there, course = (
        Geodesic.WGS84.Inverse(way[0].lat, way[0].lon, to.lat, to.lon)["azi1"]
        for to in (danger, way[1])
    )
    # Nearest where the way begins, and abaft the beam: left astern, and not passed.
    astern = looks.index(off_nm) == 0 and abs((there - course + 180.0) % 360.0 - 180.0) > 90.0
    if off_nm > 3.0 or (astern and off_nm > BESIDE_NM):
        assert found is None
    else:
        assert found.distance_nm == pytest.approx(off_nm, abs=0.02)


def test_other_ways_and_other_winds_tell_the_danger_that_they_pass(brisvik):
    marks = read_marks(SAMPLES / "kattegat.gpx").marks
    wind = SteadyWeather(315.0, 10.0)
    made = make(marks, brisvik, wind, DEPARTURE)
    with_ways = [leg for leg in made.legs if leg.alternatives]
    assert with_ways
    track = with_ways[0].alternatives[0].track
    assert len(track) == len(with_ways[0].alternatives[0].boards) + 1
    rock = Mark(name="Rock", lat=track[0].lat, lon=track[0].lon)
    seen = look_ahead(replace(made, dangers=(rock,)), wind)
    leg = seen.legs[made.legs.index(with_ways[0])]
    assert leg.alternatives[0].near[0].name == "Rock"
    assert leg.alternatives[0].near[0].distance_nm == pytest.approx(0.0, abs=1e-6)
    case = Case(marks=marks, boat=brisvik, weather=wind, departure=DEPARTURE)
    lighter = what_if.planned_if(case, seen, what_if.Change(wind_factor=0.9))
    assert [each.name for each in lighter.near] == ["Rock"]
    assert lighter.first.time == DEPARTURE
