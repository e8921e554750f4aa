"""What listening to NMEA 0183 costs, as ratios within one run."""

from __future__ import annotations

import time

import pynmea2
import pytest

from conftest import SAMPLES
from goosewing.boat.read import read_boat
from goosewing.exchange.nmea.readings import Framer, heard
from goosewing.live.alone.watch import Setup, Watch
from goosewing.live.core.state import Desk, Route
from goosewing.records import Mark
from nmea_boat import Told, instruments, listen
from sailing_boat import SailingBoat, Waters

BRISVIK = SAMPLES / "brisvik"
START = Mark(name="Start", lat=56.5, lon=12.0)
UPWIND = Mark(name="Upwind", lat=57.2, lon=10.8)


def spent(watch: Watch, boat: SailingBoat, seconds: int, bursts: int) -> float:
    """Processor's seconds for so many seconds with so many bursts of four sentences each."""
    framer, total = Framer(), 0.0
    for _ in range(seconds):
        boat.sail(1.0)
        burst, now = "".join(instruments(boat)).encode(), boat.time.timestamp()
        begun = time.process_time()
        for part in range(bursts):
            listen(watch, framer, burst, now - 1.0 + part / bursts)
        watch.tick(now)
        total += time.process_time() - begun
    return total


@pytest.mark.benchmark(group="nmea")
def test_fifty_sentences_a_second_take_a_small_part_of_a_core(benchmark):
    boat = SailingBoat(
        BRISVIK, Waters(lambda _: 315.0, lambda _: 10.0, (0.5, 0.3)), 56.5, 12.0, 271.0
    )
    route = Route(id="marks", name="R", marks=(START, UPWIND))
    watch = Watch(Setup(desk=Desk(boat=read_boat(BRISVIK / "boat.toml")), route=route), Told())
    watch.begin(boat.time.timestamp())
    spent(watch, boat, 90, 1)
    once = spent(watch, boat, 60, 1)
    often = benchmark.pedantic(spent, (watch, boat, 60, 13), rounds=1)
    # Seconds of processor for each second of fifty-two sentences; and against four of them.
    benchmark.extra_info["share_of_a_core_at_52_a_second"] = often / 60.0
    benchmark.extra_info["cost_of_52_to_4_a_second"] = often / once
    assert watch.keeper.state.planned is not None


@pytest.mark.benchmark(group="nmea")
def test_reading_a_log_against_pynmea2(benchmark):
    wire = (SAMPLES / "brisvik_log.nmea").read_bytes()

    def ours() -> int:
        return sum(heard(sentence) is not None for sentence in Framer().feed(wire))

    def theirs() -> int:
        lines = wire.decode("ascii").splitlines()
        return sum(pynmea2.parse(line, check=True) is not None for line in lines)

    begun = time.process_time()
    count = theirs()
    other = time.process_time() - begun
    begun = time.process_time()
    assert ours() == count
    benchmark.extra_info["time_to_pynmea2s"] = (time.process_time() - begun) / other
    benchmark.pedantic(ours, rounds=1)
