"""The watch without a host: live sockets in and out, recorded logs, the clock, the crew."""

from __future__ import annotations

import math
import queue
import socket
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import partial
from pathlib import Path

import pynmea2
import pytest

from conftest import SAMPLES
from goosewing.exchange.gpx.marks import read_marks
from goosewing.exchange.nmea.readings import Framer
from goosewing.exchange.nmea.wires import Address
from goosewing.live.alone import watch as afloat
from goosewing.live.alone.overlay import NAME
from goosewing.live.alone.watch import (
    Bytes,
    Counts,
    Post,
    RunningClock,
    SeenTo,
    Setup,
    Watch,
    play,
    sail,
    timed,
)
from goosewing.live.core.state import Acknowledge, Answer, Desk, Route
from goosewing.live.panel.counter import Asked, WatchCounter
from goosewing.live.planner import Planner
from goosewing.records import Mark
from nmea_boat import Told, instruments, listen, sailed, written
from sailing_boat import Helm, SailingBoat, Waters

BRISVIK = SAMPLES / "brisvik"
START = Mark(name="Start", lat=56.5, lon=12.0)
UPWIND = Mark(name="Upwind", lat=56.56, lon=11.94)


def setup_for(boat, *marks: Mark, **more) -> Setup:
    route = Route(id="marks", name="R", marks=marks or (START, UPWIND))
    return Setup(desk=Desk(boat=boat), route=route, **more)


def new_boat(heading: float = 271.0, stream=(0.0, 0.0)) -> SailingBoat:
    waters = Waters(lambda _: 315.0, lambda _: 10.0, stream)
    return SailingBoat(BRISVIK, waters, START.lat, START.lon, heading)


def until(what: Callable[[], object], within_s: float = 60.0) -> None:
    ends = time.monotonic() + within_s
    while not what():
        assert time.monotonic() < ends, "waited in vain"
        time.sleep(0.01)


class Stop(KeyboardInterrupt):
    """Ends a watch, as Ctrl-C does."""


class Hurried(RunningClock):
    """A clock that runs so many times faster than a real one, until the watch is to end."""

    def __init__(self, begins: float, factor: float) -> None:
        origin = time.monotonic()
        super().__init__(lambda: begins, lambda: (time.monotonic() - origin) * factor)
        self.ends = self.ended = False

    def now(self) -> float:
        if self.ends and not self.ended:
            self.ended = True
            raise Stop
        return super().now()


class Afloat:
    """A watch on a thread, instruments that speak by UDP, a plotter that listens by TCP."""

    def __init__(self, setup: Callable[[Address], Setup], factor: float = 1.0) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.plotter = socket.socket()
        self.plotter.bind(("127.0.0.1", 0))
        self.plotter.listen()
        self.plotter.settimeout(20)
        out = Address(kind="tcp", host="127.0.0.1", port=self.plotter.getsockname()[1])
        self.boat, self.told, self.post = new_boat(), Told(), Post()
        self.clock = Hurried(self.boat.time.timestamp(), factor)
        self.ended: list[BaseException] = []
        address = Address(kind="udp", host="127.0.0.1", port=self.port)
        self.thread = threading.Thread(target=self._run, args=(setup(out), address))

    def _run(self, setup: Setup, address: Address) -> None:
        try:
            sail(setup, (address,), self.told, post=self.post, clock=self.clock)
        except Stop as stopped:
            self.ended.append(stopped)

    def say(self, data: bytes) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
            out.sendto(data, ("127.0.0.1", self.port))

    def speak(self) -> None:
        for line in instruments(self.boat):
            self.say(line.encode())

    def __enter__(self) -> Afloat:
        self.thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.clock.ends = True
        self.thread.join(20)
        self.plotter.close()
        assert not self.thread.is_alive()
        assert self.ended


def test_from_instruments_to_the_plotter_and_to_the_end(brisvik, tmp_path):
    """Sentences in by UDP; the plan out by TCP and as GPX; V last, and every socket closed."""

    def setup(out: Address) -> Setup:
        return setup_for(brisvik, receiver=out, steers=True, overlay=tmp_path)

    with Afloat(setup) as watch:
        connection, _ = watch.plotter.accept()
        connection.settimeout(20)
        got = b""
        while b"RTE," not in got or b"RMB,A" not in got:
            watch.speak()
            watch.boat.sail(0.2)
            watch.post.put(SeenTo()) if watch.told.said("T1 now") else None
            got += connection.recv(4096)
        assert "T1" in (tmp_path / NAME).read_text(encoding="utf-8")
        watch.clock.ends = True
        while data := connection.recv(4096):
            got += data
        connection.close()
    lines = got.decode("ascii").splitlines()
    kinds = [pynmea2.parse(line, check=True).sentence_type for line in lines]
    assert {"WPL", "RTE", "RMB", "XTE", "BWC"} == set(kinds)
    assert [pynmea2.parse(line).data[0] for line in lines if "RMB" in line][-1] == "V"
    assert not [t for t in threading.enumerate() if "127.0.0.1" in t.name]


@pytest.mark.long
def test_nothing_that_a_pilot_follows_is_sent_unasked(brisvik):
    with Afloat(lambda out: setup_for(brisvik, receiver=out)) as watch:
        connection, _ = watch.plotter.accept()
        connection.settimeout(20)
        got = b""
        while b"RTE," not in got:
            watch.speak()
            got += connection.recv(4096)
        connection.settimeout(0.1)
        for _ in range(25):
            watch.speak()
            with suppress(TimeoutError):
                got += connection.recv(4096)
        connection.close()
    assert {pynmea2.parse(x).sentence_type for x in got.decode().splitlines()} == {"WPL", "RTE"}


def test_a_talker_that_stops_ends_the_advice(brisvik):
    with Afloat(lambda out: setup_for(brisvik, receiver=out), factor=20.0) as watch:
        until(lambda: (watch.speak(), time.sleep(0.02), watch.told.said("New plan"))[2])
        until(lambda: watch.told.said("No advice: no position"))
        assert watch.told.shown[-1][0].startswith("STALE No advice: ")
        until(lambda: (watch.speak(), time.sleep(0.02), watch.told.said("Advice again"))[2])


def test_garbage_of_every_kind_is_counted_and_survived(brisvik):
    with Afloat(lambda out: setup_for(brisvik, receiver=out)) as watch:
        until(lambda: (watch.speak(), time.sleep(0.02), watch.told.said("New plan"))[2])
        for data in (b"$IIMWV,271.0,R,000.2,N,A*00\r\n", b"$GPRMC,12", b"\0" * 50,
                     b"\xff\xfe" * 100, b"x" * 9000, b"!AIVDM,1,1,,A,14eG;o@034o8,0*7D\r\n",
                     b"$GPRMC,,,,,,,,,,,*4B\r\n", b"$P\r\n$$$$\r\n"):  # fmt: skip
            watch.say(data)
        until(lambda: "damaged" in watch.told.shown[-1][0])
        watch.speak()
        time.sleep(0.3)
        assert watch.thread.is_alive()
    assert not watch.told.said("fault")


def test_only_garbage_is_told_once(brisvik):
    with Afloat(lambda out: setup_for(brisvik, receiver=out)) as watch:
        until(lambda: (watch.say(b"\xf3\x18" * 40), watch.told.said("Only garbage"))[1])
        time.sleep(1.2)
    assert sum("Only garbage" in text for text, _ in watch.told.lines) == 1


def test_a_compass_without_variation_is_told(brisvik):
    watch = Watch(setup_for(brisvik), told := Told())
    boat, framer = new_boat(), Framer()
    for _ in range(40):
        now = boat.time.timestamp()
        listen(watch, framer, written("HC", "HDG", "270.0", "", "", "", "").encode(), now)
        watch.tick(now)
        boat.sail(1.0)
    assert sum("--variation" in text for text, _ in told.lines) == 1


def test_the_model_tells_the_variation_where_she_is(brisvik):
    asked = []

    def model(lat: float, lon: float, time: datetime) -> float:
        asked.append((lat, lon, time))
        return 5.0

    watch = Watch(setup_for(brisvik, variation=model), Told())
    boat, framer = new_boat(), Framer()
    for _ in range(5):
        now = boat.time.timestamp()
        said = [s for s in instruments(boat) if "HDG" not in s and "RMC" not in s]
        lat, lon = boat.lat, boat.lon
        gll = written("GP", "GLL", "5630.0000", "N", "01200.0000", "E", "050000", "A")
        compass = written("HC", "HDM", "266.0", "M")
        listen(watch, framer, "".join([*said, gll, compass]).encode(), now)
        watch.tick(now)
        boat.sail(1.0)
    assert watch.keeper.state.sense.heading_deg == pytest.approx(271.0)
    assert asked == [(pytest.approx(lat, abs=0.01), pytest.approx(lon, abs=0.01), asked[0][2])]
    assert asked[0][2].tzinfo is UTC


@pytest.mark.long
def test_one_fault_in_the_engine_does_not_end_the_watch(brisvik, monkeypatch):
    with Afloat(lambda out: setup_for(brisvik, receiver=out)) as watch:
        until(lambda: (watch.speak(), time.sleep(0.02), watch.told.said("New plan"))[2])
        real, broken = afloat.Watch.hear, [True]

        def hear(*arguments):
            if broken:
                broken.clear()
                raise ZeroDivisionError("invented")
            return real(*arguments)

        monkeypatch.setattr(afloat.Watch, "hear", hear)
        until(lambda: (watch.speak(), watch.told.said("ZeroDivisionError"))[1])
        shown = len(watch.told.shown)
        until(lambda: len(watch.told.shown) > shown + 1)


def test_two_links_with_the_same_talker_are_two_sources():
    addresses = tuple(Address(kind="tcp", host="10.0.0.1", port=p) for p in (1, 2))
    ears, counts = afloat._Ears(addresses), Counts()
    line = b"$GPHDT,274.07,T*03\r\n"
    found = [source for n in (0, 1) for _, source in ears.hear(Bytes(n, line), counts)]
    assert found == ["GP on tcp://10.0.0.1:1", "GP on tcp://10.0.0.1:2"]
    # Half a sentence from the one and half from the other are no sentence.
    assert not [*ears.hear(Bytes(0, line[:9]), counts), *ears.hear(Bytes(1, line[9:]), counts)]


def test_bytes_are_dropped_and_counted_when_nobody_takes_them(monkeypatch):
    monkeypatch.setattr(afloat, "MOST_WAITING", 10)
    post = Post()
    for _ in range(25):
        post.put(Bytes(0, b"x"))
    post.put(SeenTo())
    assert post.dropped == 15
    taken = []
    while (item := post.take(0.0)) is not None:
        taken.append(item)
    assert len(taken) == 11
    assert taken[-1] == SeenTo()


# ---- the crew ------------------------------------------------------------------------------------


@pytest.mark.long
def test_the_crew_acknowledges(brisvik):
    watch = Watch(setup_for(brisvik), told := Told())
    boat, framer = new_boat(heading=0.0), Framer()
    watch.begin(boat.time.timestamp())
    watch.acknowledge()
    assert told.said("no turn to acknowledge")
    while watch.keeper.state.pending is None:
        listen(watch, framer, "".join(instruments(boat)).encode(), boat.time.timestamp())
        watch.tick(boat.time.timestamp())
        boat.sail(4.0)
        assert boat.seconds < 7200.0
    point = watch.keeper.state.pending.point
    watch.receive(asked := Asked(Acknowledge(point="another")))
    assert "there is no another to acknowledge" in asked.wait(1.0)
    assert watch.keeper.state.pending is not None
    # Enter pressed as the turn falls due was meant for something else.
    watch.acknowledge()
    assert told.said(f"{point} has only just fallen due")
    assert watch.keeper.state.pending.point == point
    watch.tick(boat.time.timestamp())
    watch.acknowledge()
    assert watch.keeper.state.pending is None
    assert told.said(f"{point} acknowledged")


def test_a_route_ordered_at_the_panel_keeps_the_hands_of_its_marks(brisvik):
    left = Mark(name="Upwind", lat=56.56, lon=11.94, leave="port", leave_distance_nm=0.2)
    watch = Watch(setup_for(brisvik, START, left), Told())
    watch.begin(0.0)
    counter = WatchCounter(watch.receive, lambda: (watch.setup.route,))
    counter.order("plan", {"routeId": watch.setup.route.id})
    assert watch.keeper.state.route.marks[1].leave == "port"


def test_what_was_rounded_stays_rounded_when_it_is_started_again(brisvik, tmp_path):
    """Two marks on a reach; killed past the first, and started anew by the same command."""
    dan, hed = Mark(name="Dan", lat=56.5, lon=12.02), Mark(name="Hed", lat=56.48, lon=12.1)
    setup = replace(setup_for(brisvik, START, dan, hed), state=tmp_path / "under-way.json")
    first, told = Watch(setup, Told()), Told()
    boat, framer = new_boat(heading=90.0), Framer()
    first.begin(boat.time.timestamp())

    def sail_on(watch: Watch, seconds: int) -> None:
        for _ in range(0, seconds, 2):
            boat.sail(2.0)
            now_s = boat.time.timestamp()
            listen(watch, framer, "".join(instruments(boat)).encode(), now_s)
            watch.tick(now_s)

    sail_on(first, 1200)
    assert first.keeper.state.route.next == 2
    again = Watch(setup, told)
    again.begin(boat.time.timestamp())
    sail_on(again, 30)
    assert again.keeper.state.route.next == 2
    assert again.keeper.state.planned.order.next == 2
    assert told.said("Dan rounded before the restart: on to Hed")
    assert not told.said("T1 now")


@pytest.mark.long
def test_several_faults_at_once_on_the_second_lap_in_a_seaway(brisvik, tmp_path):
    """Yaw of 4 degrees at 6.3 s; killed, its memory cut in half, then its copy as well."""
    lap = [
        Mark(name="East", lat=56.503, lon=12.012), Mark(name="Far", lat=56.5, lon=12.024),
        Mark(name="West", lat=56.497, lon=12.012), Mark(name="Start", lat=56.5, lon=12.0),
    ]  # fmt: skip
    marks, kept = [START, *lap, *lap], tmp_path / "under-way.json"
    setup = replace(setup_for(brisvik, *marks), state=kept)
    boat = SailingBoat(BRISVIK, Waters(lambda _: 0.0, lambda _: 10.0), START.lat, START.lon, 75.0)
    framer, led, at = Framer(), [], {"mark": 1, "past_s": 0.0, "course": 75.0}

    def sail_on(watch: Watch, seconds: int, answer: str | None = None) -> None:
        for second in range(seconds):
            mark = marks[at["mark"]]
            if boat.nm_to(mark.lat, mark.lon) > 0.03 and at["past_s"] == 0.0:
                east = (mark.lon - boat.lon) * math.cos(math.radians(mark.lat))
                at["course"] = math.degrees(math.atan2(east, mark.lat - boat.lat))
            else:
                # On past the mark before she turns.
                at["past_s"] += 1.0
                if at["past_s"] > 45.0:
                    at["mark"], at["past_s"] = at["mark"] + 1, 0.0
            boat.heading = (at["course"] + 4.0 * math.sin(2.0 * math.pi * second / 6.3)) % 360.0
            boat.sail(1.0)
            now_s = boat.time.timestamp()
            listen(watch, framer, "".join(instruments(boat)).encode(), now_s)
            watch.tick(now_s)
            state = watch.keeper.state
            if state.question is not None and answer is not None:
                watch.receive(Asked(Answer(question=state.question.key, choice=answer)))
            if state.planned is not None and state.route is not None and state.question is None:
                led.append(state.route.next)

    first = Watch(setup, Told())
    first.begin(boat.time.timestamp())
    while at["mark"] < 6:
        sail_on(first, 30)
        assert boat.seconds < 7200.0
    sail_on(first, 60)
    assert led[-1] == 6
    assert led == sorted(led)

    again = Watch(setup, Told())
    again.begin(boat.time.timestamp())
    led.clear()
    sail_on(again, 60)
    assert led
    assert set(led) == {at["mark"]}

    def cut(path: Path) -> None:
        whole = path.read_bytes()
        path.write_bytes(whole[: len(whole) // 2])

    # Its copy knows which lap it is.
    cut(kept)
    told = Told()
    third = Watch(setup, told)
    third.begin(boat.time.timestamp())
    led.clear()
    sail_on(third, 20)
    assert told.said("can't be read")
    assert led
    assert set(led) == {at["mark"]}

    cut(kept)
    cut(tmp_path / "under-way.json.copy")
    told = Told()
    fourth = Watch(setup, told)
    fourth.begin(boat.time.timestamp())
    led.clear()
    sail_on(fourth, 30)
    assert told.said("can't be read")
    # Which lap it is only the crew knows: what lies astern is asked about, and never led to.
    assert fourth.keeper.state.question is not None
    assert led == []
    sail_on(fourth, 60, answer="yes")
    following = marks[fourth.keeper.state.route.next].name
    assert following == marks[at["mark"]].name
    assert not told.said("fault")


# ---- the clock -----------------------------------------------------------------------------------


class Times:
    def __init__(self) -> None:
        self.wall, self.steady = 1_000_000.0, 50.0


@pytest.fixture
def clock():
    times = Times()
    return times, RunningClock(lambda: times.wall, lambda: times.steady)


def test_a_wall_clock_that_is_set_does_not_move_it(clock):
    times, running = clock
    times.wall += 9999.0
    times.steady += 5.0
    assert running.now() == 1_000_005.0


def test_two_receivers_that_say_that_it_is_later_are_believed(clock):
    times, running = clock
    assert not running.hear(1_008_000.0, "GP")
    times.steady += 1.0
    assert running.hear(1_008_001.0, "GN")
    assert running.now() == 1_008_001.0


def test_one_that_says_so_for_a_minute_is_believed(clock):
    times, running = clock
    believed = []
    for _ in range(70):
        believed.append(running.hear(times.steady + 1_008_000.0, "GP"))
        times.steady += 1.0
    assert believed.index(True) in range(59, 63)
    assert running.now() == pytest.approx(times.steady + 1_008_000.0)


def test_two_wild_times_from_one_source_do_not_set_the_clock_ahead_by_half_a_century(clock):
    times, running = clock
    wrong = 53 * 365.25 * 86400.0
    for second in range(120):
        wild = wrong if second in (10, 11) else 0.0
        assert not running.hear(running.now() + wild, "GP")
        times.steady += 1.0
    assert running.now() == 1_000_000.0 + 120.0


def test_good_times_heal_a_clock_that_was_set_wrong(clock):
    times, running = clock
    for source in ("GP", "GN"):
        running.hear(times.steady + 2e9, source)
    assert running.now() > 1.9e9
    for _ in range(70):
        times.steady += 1.0
        running.hear(times.steady + 999_950.0 + 30.0, "GP")
    assert running.now() == pytest.approx(times.steady + 999_980.0, abs=31.0)


def test_a_single_wild_time_is_not(clock):
    _, running = clock
    for _ in range(5):
        assert not running.hear(running.now() + 8000.0)
        assert not running.hear(running.now() + 0.5)
    assert running.now() == 1_000_000.0


def test_a_receiver_that_counts_weeks_wrong_is_not(clock):
    _, running = clock
    for _ in range(5):
        assert not running.hear(running.now() - 1024 * 7 * 86400.0)


# ---- logs ----------------------------------------------------------------------------------------


def played(brisvik, log, **more):
    told = Told()
    marks = read_marks(SAMPLES / "afternoon.gpx").marks
    setup = setup_for(brisvik, *marks, **more)
    return play(setup, log, told, speed=0.0, post=Post()), told


@pytest.mark.long
def test_the_sample_log_comes_to_its_end_with_its_own_times(brisvik):
    watch, told = played(brisvik, SAMPLES / "brisvik_log.nmea")
    assert watch.keeper.state.finished == "Hed"
    assert watch.counts.damaged == 0
    first = next(text for text, _ in told.lines if "New plan" in text)
    # The log's own time, ten seconds after its first wind: the plan begins with a turn.
    assert first.startswith("05:00:1")
    rounded = [text for text, _ in told.lines if text.endswith("rounded.")]
    assert [text[11:] for text in rounded] == ["Dan rounded.", "Hed rounded."]


@pytest.mark.long
def test_the_same_log_tells_the_same_twice(brisvik, tmp_path):
    log = tmp_path / "log.nmea"
    log.write_bytes((SAMPLES / "brisvik_log.nmea").read_bytes()[:60_000])
    one, two = (played(brisvik, log)[1] for _ in range(2))
    assert one.lines == two.lines
    assert len(one.lines) > 5


def test_a_log_without_times_is_a_second_a_burst(brisvik, tmp_path):
    log = tmp_path / "log.nmea"
    lines = (SAMPLES / "brisvik_log.nmea").read_text(encoding="ascii").splitlines()
    kept = [line for line in lines if "RMC" not in line]
    log.write_text("\r\n".join(kept[:300]), encoding="ascii")
    watch, told = played(brisvik, log)
    assert told.lines[0][0].startswith("The log has no times")
    assert watch.keeper.state.now_s % 86400.0 == pytest.approx(100.0, abs=1.0)


def test_a_log_with_a_hole_of_hours_ends_the_advice_and_goes_on(brisvik, tmp_path):
    boat, log = new_boat(), []
    for _ in range(30):
        log += instruments(boat)
        boat.sail(1.0)
    boat.seconds += 6 * 3600.0
    for _ in range(30):
        log += instruments(boat)
        boat.sail(1.0)
    path = tmp_path / "log.nmea"
    path.write_text("".join(log), encoding="ascii")
    begun = time.monotonic()
    _, told = played(brisvik, path)
    assert time.monotonic() - begun < 30.0
    assert told.said("No advice: no position")
    assert told.said("Advice again")


def test_a_log_played_at_a_pace_takes_its_time(brisvik, tmp_path):
    boat, log = new_boat(), []
    for _ in range(31):
        log += instruments(boat)
        boat.sail(1.0)
    path = tmp_path / "log.nmea"
    path.write_text("".join(log), encoding="ascii")
    begun = time.monotonic()
    play(setup_for(brisvik), path, Told(), speed=30.0, post=Post())
    assert 1.0 <= time.monotonic() - begun < 10.0


def test_damage_in_a_log_is_counted():
    counts = Counts()
    clock, sentences = timed([b"$GPHDT,274.07,T*03\r\n$GPHDT,274.07,T*04\r\n!AIVDM,1*2F\r\n",
                              b"$GPHDT,27"], counts, date(2027, 6, 12))  # fmt: skip
    assert len(list(sentences)) == 1
    assert (counts.read, counts.damaged) == (1, 3)
    assert clock.counted


# ---- the whole of a passage ------------------------------------------------------------------


@pytest.mark.long
def test_she_sails_by_sentences_and_arrives_in_the_time_that_was_planned(brisvik, tmp_path):
    """The simulated boat: her own sums, pynmea2's sentences, nothing of the engine."""
    told, boat = Told(), new_boat(stream=(0.4, 0.2))
    watch = Watch(setup_for(brisvik, overlay=tmp_path), told)
    helm = Helm(boat)
    sailed(boat, watch, told, helm, step_s=4.0)
    rounded = [e for e in helm.events if e["kind"] == "mark_rounded"]
    assert [e["values"]["mark"] for e in rounded] == ["Upwind"]
    assert boat.nm_to(UPWIND.lat, UPWIND.lon) < 0.15
    # The first plan does not know the stream yet: it takes two minutes to be known.
    assert boat.seconds / 3600.0 == pytest.approx(helm.first_plan_h, rel=0.12)
    assert math.isfinite(boat.lat)


def test_a_fault_in_a_second_leaves_nothing_to_steer_by(brisvik, monkeypatch):
    class Receiver:
        said: tuple[str, ...] = ()

        def hold(self, _held):
            pass

        def steer(self, sentences):
            self.said = tuple(sentences)

    receiver = Receiver()
    watch = Watch(replace(setup_for(brisvik), steers=True), told := Told(), sender=receiver)
    watch.begin(0.0)

    def fail(*_):
        raise RuntimeError("broken")

    monkeypatch.setattr(watch, "_doubt", fail)
    for second in range(3):
        afloat._safely(watch, partial(watch.tick, float(second)))
        parsed = [pynmea2.parse(line.strip(), check=True) for line in receiver.said]
        assert [each.sentence_type for each in parsed] == ["RMB", "XTE", "BWC"]
        assert parsed[0].status == "V"
    assert sum("RuntimeError" in text for text, _ in told.lines) == 1


def test_a_planner_that_fails_in_any_way_is_told(monkeypatch):
    def fail(*_):
        raise RuntimeError("broken")

    monkeypatch.setattr("goosewing.live.planner.made", fail)
    done = queue.Queue()
    planner = Planner(lambda _, plan: done.put(plan))
    for _ in range(2):
        planner.order(object(), object())
        assert done.get(timeout=10.0) == "the planner failed (RuntimeError: broken)"
