"""What the running service costs, as ratios within one run."""

from __future__ import annotations

import gc
import math
import time
from pathlib import Path

import pytest

from conftest import SAMPLES
from goosewing.exchange.document import format_seconds
from goosewing.live.core.orders import carry_out
from goosewing.live.core.state import Order
from goosewing.live.host.session import Session
from sailing_boat import SailingBoat, Waters, observation, tick

BRISVIK = SAMPLES / "brisvik"


def talking(noise: bool = True):
    """A session under way on a long beat, and the boat that feeds it."""
    swing = (lambda t: 315.0 + 3.0 * math.sin(t / 40.0)) if noise else (lambda _: 315.0)
    boat = SailingBoat(BRISVIK, Waters(swing, lambda _: 10.0, (0.5, 0.3)), 56.5, 12.0, 271.0)
    session = Session()
    session.in_turn({"type": "hello", "version": 1, "boat": str(BRISVIK / "boat.toml")})
    for _ in range(60):
        boat.sail(1.0)
        session.in_turn(observation(boat))
        session.in_turn(tick(boat))
    points = [{"lat": 56.5, "lon": 12.0, "name": "A"}, {"lat": 57.2, "lon": 10.8, "name": "B"}]
    session.in_turn({"type": "plan", "id": "r", "name": "R", "points": points})
    for _ in range(5):
        boat.sail(1.0)
        session.in_turn(observation(boat))
        session.in_turn(tick(boat))
    assert session.state.planned is not None
    return session, boat


def fed(session: Session, boat: SailingBoat, seconds: int, each_second: int) -> float:
    """Feed so many lines a second; return the processor's seconds spent on them."""
    spent = 0.0
    for _ in range(seconds):
        boat.sail(1.0)
        base = observation(boat)
        lines = []
        for part in range(each_second):
            one = base["values"][part % len(base["values"])]
            at = format_seconds(boat.time.timestamp() + part / each_second - 1.0)
            lines.append({**base, "time": at, "values": [one]})
        lines.append(tick(boat))
        begun = time.process_time()
        for line in lines:
            session.in_turn(line)
        spent += time.process_time() - begun
    return spent


@pytest.mark.benchmark(group="live")
def test_an_observation_costs_less_than_a_tenth_of_a_plan(benchmark):
    session, boat = talking()
    order: Order = session.state.planned.order
    begun = time.process_time()
    for _ in range(10):
        carry_out(order, session.keeper.desk)
    plan_s = (time.process_time() - begun) / 10.0
    spent = benchmark.pedantic(fed, (session, boat, 60, 50), rounds=1)
    benchmark.extra_info["observation_to_plan"] = spent / (60 * 51) / plan_s
    # Seconds of processor for each second of fifty observations.
    benchmark.extra_info["share_of_a_core_at_50_a_second"] = spent / 60.0
    # And a second with all sensors in one line, closed by its tick.
    benchmark.extra_info["whole_second_to_plan"] = fed(session, boat, 60, 1) / 60.0 / plan_s


def resident_pages() -> int:
    return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])


@pytest.mark.long
@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="no /proc: a Linux matter")
@pytest.mark.benchmark(group="live")
def test_memory_stays_flat_over_a_day(benchmark):
    """A day in steps of twenty seconds, every one looked at, plans made as they are wanted."""
    session, boat = talking()

    def hours(count: int) -> None:
        for _ in range(count * 180):
            boat.sail(20.0)
            session.in_turn(observation(boat))
            session.in_turn(tick(boat))
            if session.state.pending is not None:
                point = session.state.pending.point
                session.in_turn({"type": "acknowledge", "point": point})

    hours(3)
    gc.collect()
    first = resident_pages()
    benchmark.pedantic(hours, (21,), rounds=1)
    gc.collect()
    benchmark.extra_info["memory_after_24_h_to_3_h"] = resident_pages() / first
    benchmark.extra_info["plans_made"] = session.state.orders
    assert session.state.orders > 10
