"""Steering data: what they say, when they say nothing, and that they wait at a turn."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pynmea2
import pytest
from geographiclib.geodesic import Geodesic

from conftest import SAMPLES
from goosewing.exchange.nmea.readings import Framer
from goosewing.exchange.nmea.routes import LONGEST, checksum
from goosewing.exchange.nmea.wires import Address, Sender
from goosewing.live.alone import steering
from goosewing.live.alone.watch import Setup, Watch
from goosewing.live.core.state import Desk, Route
from goosewing.live.host.session import observation_of
from goosewing.live.panel.counter import Asked
from goosewing.records import Mark
from nmea_boat import VARIATION, Told, instruments, listen
from sailing_boat import Helm, SailingBoat, Waters

BRISVIK = SAMPLES / "brisvik"
START = (56.5, 12.0)
MARK = Mark(name="Upwind", lat=56.56, lon=11.94)
REACH = Mark(name="West", lat=56.4978, lon=11.9549)
BACK = Mark(name="Beyond", lat=56.52, lon=11.99)
"""To the first she reaches on starboard tack, from it on port: she has to tack there."""


class Kept(Sender):
    """A sender that keeps what it is given."""

    def __init__(self) -> None:
        super().__init__(Address(kind="udp", host="127.0.0.1", port=9), print)
        self.routes: list[tuple[str, ...]] = []
        self.steered: list[tuple[str, ...]] = []

    def route(self, sentences) -> None:
        self.routes.append(tuple(sentences))

    def steer(self, sentences) -> None:
        self.steered.append(tuple(sentences))


class Voyage:
    """The simulated boat, a watch that hears her sentences, and a receiver."""

    def __init__(self, boat: Any, *marks: Mark, heading: float = 271.0) -> None:
        waters = Waters(lambda _: 315.0, lambda _: 10.0)
        self.boat = SailingBoat(BRISVIK, waters, *START, heading)
        self.sender, self.told = Kept(), Told()
        route = Route(id="marks", name="R", marks=(Mark(name="Start", lat=56.5, lon=12.0), *marks))
        setup = Setup(desk=Desk(boat=boat), route=route, steers=True)
        self.watch = Watch(setup, self.told, sender=self.sender)
        self.watch.counter = self.told
        self.helm = Helm(self.boat, marks=len(marks))
        self.framer = Framer()
        self.watch.begin(self.now)

    @property
    def now(self) -> float:
        return self.boat.time.timestamp()

    @property
    def state(self):
        return self.watch.keeper.state

    def second(self, *, deaf: bool = False) -> None:
        if not deaf:
            listen(self.watch, self.framer, "".join(instruments(self.boat)).encode(), self.now)
        self.watch.tick(self.now)
        for answer in self.helm.hear(self.told.taken()):
            self.answers.append(answer)
        self.helm.steer()
        self.boat.sail(self.step_s)

    answers: list[dict[str, Any]]
    step_s = 1.0

    def until(self, what, at_most: int = 8000) -> None:
        for _ in range(at_most):
            if what():
                return
            self.second()
        raise AssertionError(self.told.lines[-3:])

    def acknowledge(self) -> None:
        waiting, self.answers = self.answers, []
        for answer in waiting:
            self.watch.receive(Asked(observation_of(answer)))
            self.answers += self.helm.hear(self.told.taken())

    def last(self) -> dict[str, Any]:
        """What was sent in the last second, read by pynmea2."""
        return {m.sentence_type: m for m in map(pynmea2.parse, self.sender.steered[-1])}


@pytest.fixture
def voyage(brisvik):
    found = Voyage(brisvik, MARK)
    found.answers = []
    return found


def legal(sentence: str) -> None:
    assert sentence.endswith("\r\n")
    assert len(sentence) <= LONGEST == 82
    body, star, digits = sentence[1:-2].partition("*")
    assert star
    assert digits == checksum(body)
    pynmea2.parse(sentence, check=True)


def test_before_any_advice_everything_says_nothing(voyage):
    voyage.second(deaf=True)
    said = voyage.last()
    assert (said["RMB"].status, said["RMB"].arrival_alarm) == ("V", "V")
    assert said["RMB"].dest_waypoint_id == ""
    # As gpsd's daemon logs have them: $GPXTE,V,V,,,N,S and $GPBWC,125106,,,,,,T,,M,,N,,S.
    assert voyage.sender.steered[-1][1].startswith("$GPXTE,V,V,,,N,N*")
    assert voyage.sender.steered[-1][2].split(",")[2:13] == [*[""] * 5, "T", "", "M", "", "N", ""]


def test_it_leads_to_the_turning_point_by_geographiclibs_great_circle(voyage):
    voyage.until(lambda: voyage.state.planned is not None)
    for _ in range(30):
        voyage.second()
    said = voyage.last()
    rmb, bwc, xte = said["RMB"], said["BWC"], said["XTE"]
    stage = voyage.state.planned.plan.legs[0].boards[1].start
    assert rmb.status == "A"
    assert rmb.dest_waypoint_id == bwc.waypoint_name == "T1"
    assert rmb.arrival_alarm == "V"
    place = voyage.state.place
    line = Geodesic.WGS84.Inverse(place.lat, place.lon, stage.lat, stage.lon)
    true = line["azi1"] % 360.0
    # Fields have three decimals of a minute (2 m), a tenth of a degree, a hundredth of a mile.
    assert float(rmb.dest_range) == pytest.approx(line["s12"] / 1852.0, abs=0.006)
    assert float(rmb.dest_true_bearing) == pytest.approx(true, abs=0.06)
    assert float(bwc.true_track) == pytest.approx(true, abs=0.06)
    assert float(bwc.mag_track) == pytest.approx((true - VARIATION) % 360.0, abs=0.06)
    assert float(bwc.range_next) == pytest.approx(line["s12"] / 1852.0, abs=0.006)
    # Her own way over the ground towards it: she steers for it, nearly.
    assert float(rmb.dest_velocity) == pytest.approx(voyage.boat.speed, abs=0.2)
    lat = int(rmb.dest_lat[:2]) + float(rmb.dest_lat[2:]) / 60.0
    assert lat == pytest.approx(stage.lat, abs=1e-5)
    assert float(xte.cross_track_err_dist) < 0.02
    assert bwc.timestamp.hour == datetime.fromtimestamp(voyage.state.now_s, UTC).hour


@pytest.mark.parametrize(("pushed", "side"), [(90.0, "L"), (-90.0, "R")])
def test_off_her_line_it_says_by_how_much_and_where_to_steer(voyage, pushed, side):
    voyage.until(lambda: voyage.state.planned is not None)
    for _ in range(5):
        voyage.second()
    board = voyage.state.planned.plan.legs[0].boards[0]
    across = math.radians(board.course_over_ground_deg + pushed)
    place = voyage.state.place
    # A twentieth of a mile to the right or the left of where she is on it.
    lat = place.lat + 0.05 * math.cos(across) / 60.0
    lon = place.lon + 0.05 * math.sin(across) / 60.0 / math.cos(math.radians(place.lat))
    state = replace(voyage.state, place=replace(place, lat=lat, lon=lon))
    guide = steering.guide(state, None, {})
    rmb, xte, _ = map(pynmea2.parse, steering.sentences(state, voyage.watch.desk, guide))
    assert float(rmb.cross_track_error) == pytest.approx(0.05, abs=0.011)
    assert rmb.cte_correction_dir == side
    assert xte.correction_dir == side


@pytest.mark.long
def test_it_waits_at_the_turn_until_the_crew_has_acknowledged(voyage):
    voyage.step_s = 4.0
    voyage.until(lambda: voyage.state.pending is not None)
    before = voyage.last()["RMB"]
    point = voyage.state.pending.point
    heard = len(voyage.sender.steered)
    # The crew does nothing for ten minutes; she sails on past it, whatever plan would be better.
    for _ in range(150):
        voyage.boat.stopped_s = 0.0
        voyage.second()
        voyage.boat.heading = 271.0
    later = [pynmea2.parse(each[0]) for each in voyage.sender.steered[heard:]]
    assert {(m.status, m.dest_waypoint_id, m.arrival_alarm) for m in later} == {("A", point, "A")}
    assert {(m.dest_lat, m.dest_lon) for m in later} == {(before.dest_lat, before.dest_lon)}
    voyage.acknowledge()
    for _ in range(5):
        voyage.second()
    after = voyage.last()["RMB"]
    assert (after.status, after.arrival_alarm) == ("A", "V")
    assert (after.dest_lat, after.dest_lon) != (before.dest_lat, before.dest_lon)


def test_a_plan_that_begins_with_a_turn_leads_nowhere_before_it_is_acknowledged(brisvik):
    voyage = Voyage(brisvik, Mark(name="North", lat=56.56, lon=12.05))
    voyage.answers = []
    voyage.until(lambda: voyage.state.pending is not None)
    assert voyage.state.pending.board == 0
    assert voyage.last()["RMB"].status == "V"
    voyage.acknowledge()
    voyage.second()
    voyage.second()
    assert voyage.last()["RMB"].status == "A"


def test_at_a_mark_with_a_turn_it_stays_with_the_mark(brisvik):
    """Round the mark she tacks: the next leg is not begun for the crew."""
    voyage = Voyage(brisvik, REACH, BACK)
    voyage.answers, voyage.step_s = [], 4.0

    def rounded() -> bool:
        if voyage.state.route is not None and voyage.state.route.next == 1:
            voyage.acknowledge()
        return any("West rounded" in text for text, _ in voyage.told.lines)

    voyage.until(rounded)
    voyage.second()
    assert voyage.state.pending is not None
    said = voyage.last()["RMB"]
    assert (said.status, said.dest_waypoint_id, said.arrival_alarm) == ("A", "WEST", "A")


def test_stale_advice_is_not_valid(voyage):
    voyage.until(lambda: voyage.state.planned is not None)
    voyage.second()
    assert voyage.last()["RMB"].status == "A"
    for _ in range(15):
        voyage.second(deaf=True)
    assert {m.data[0] for m in voyage.last().values() if m.sentence_type != "BWC"} == {"V"}
    for _ in range(3):
        voyage.second()
    assert voyage.last()["RMB"].status == "A"


@pytest.mark.long
def test_when_she_has_arrived_there_is_nothing_to_steer_by(voyage):
    voyage.step_s = 4.0

    def there() -> bool:
        voyage.acknowledge()
        return voyage.state.finished is not None

    voyage.until(there)
    voyage.second()
    assert voyage.last()["RMB"].status == "V"
    assert voyage.told.said("Upwind rounded.")
    for sent in (*voyage.sender.routes, *voyage.sender.steered):
        for sentence in sent:
            legal(sentence)
    # On the way the arrival flag was set within the circle of the mark.
    flags = [pynmea2.parse(s[0]) for s in voyage.sender.steered]
    assert any(f.dest_waypoint_id == "UPWIND" and f.arrival_alarm == "A" for f in flags)


def test_the_names_are_those_of_the_route_that_was_sent(voyage):
    voyage.until(lambda: voyage.state.planned is not None)
    voyage.second()
    (route,) = (m for m in map(pynmea2.parse, voyage.sender.routes[-1]) if m.sentence_type == "RTE")
    names = set(route.waypoint_list)
    rmb = voyage.last()["RMB"]
    assert {rmb.origin_waypoint_id, rmb.dest_waypoint_id} <= names
    wpl = {m.waypoint_id: m for m in map(pynmea2.parse, voyage.sender.routes[-1][:-1])}
    lat = wpl[rmb.dest_waypoint_id].lat
    assert int(lat[:2]) + float(lat[2:]) / 60.0 == pytest.approx(
        int(rmb.dest_lat[:2]) + float(rmb.dest_lat[2:]) / 60.0, abs=2e-5
    )


@pytest.mark.parametrize("talker", ["GP", "EC", "II"])
def test_the_longest_that_can_be_said_stays_within_a_sentence(voyage, talker):
    voyage.until(lambda: voyage.state.planned is not None)
    voyage.second()
    far = replace(voyage.state.place, lat=-57.123456, lon=-169.987654)
    state = replace(voyage.state, place=far)
    guide = steering.Guide(
        origin="WWWWWW", waypoint="WWWWWW", begin=(-56.5, -11.0), end=(59.98765, 179.98765),
        arrived=True,
    )  # fmt: skip
    said = steering.sentences(state, voyage.watch.desk, guide, talker=talker)
    for sentence in said:
        legal(sentence)
    # As far as RMB's fields go (gpsd's NMEA.adoc: 9.99 and 999.9 stand for all beyond).
    rmb = pynmea2.parse(said[0])
    assert (rmb.cross_track_error, float(rmb.dest_range)) == ("9.99", 999.9)
    for sentence in steering.nothing(state.now_s, talker=talker):
        legal(sentence)
