"""A simulated boat, her sums her own, sails by the service's plan and events alone."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from conftest import SAMPLES
from goosewing.live.host.session import Session
from sailing_boat import Helm, SailingBoat, Waters, observation, passage, tick

BRISVIK = SAMPLES / "brisvik"
START = (56.5, 12.0)


def steady(value: float):
    return lambda _: value


def from_start(bearing: float, miles: float) -> tuple[float, float]:
    angle = math.radians(bearing)
    lat = START[0] + miles * math.cos(angle) / 60.0
    return lat, START[1] + miles * math.sin(angle) / 60.0 / math.cos(math.radians(START[0]))


def sailed(waters: Waters, bearing: float, miles: float, heading: float, *, noise=None):
    """Hours sailed, hours planned at the start, and what was told."""
    boat = SailingBoat(BRISVIK, waters, *START, heading, noise=noise)
    session, helm = Session(), Helm(boat)
    session.in_turn({"type": "hello", "version": 1, "boat": str(BRISVIK / "boat.toml")})
    for _ in range(60):  # Two minutes, for the stream to be known.
        boat.sail(2.0)
        session.in_turn(observation(boat))
        session.in_turn(tick(boat))
    mark = from_start(bearing, miles)
    points = [{"lat": boat.lat, "lon": boat.lon, "name": "Start"},
              {"lat": mark[0], "lon": mark[1], "name": "Mark"}]  # fmt: skip
    session.in_turn({"type": "plan", "id": "r", "name": "R", "points": points})
    hours = passage(boat, helm, session.in_turn)
    return hours, helm.first_plan_h, helm.events


def kinds(events) -> list[str]:
    return [event["kind"] for event in events]


@pytest.mark.long
def test_a_beat_in_a_stream_takes_the_time_that_was_planned():
    waters = Waters(steady(315.0), steady(10.0), stream=(0.5, 0.3))
    hours, planned, events = sailed(waters, 320.0, 4.0, 271.0)
    assert hours == pytest.approx(planned, rel=0.03)
    assert kinds(events).count("turn_now") == 1
    assert kinds(events)[-1] == "mark_rounded"


@pytest.mark.long
def test_a_run_with_the_pole_takes_the_time_that_was_planned():
    waters = Waters(steady(45.0), steady(10.0), stream=(0.3, 0.3))
    hours, planned, events = sailed(waters, 210.0, 5.0, 225.0)
    assert hours == pytest.approx(planned, rel=0.03)
    assert [e["values"]["point"] for e in events if e["kind"] == "turn_now"] == ["P1"]
    assert kinds(events)[-1] == "mark_rounded"


@pytest.mark.long
def test_noise_on_the_wind_costs_little():
    waters = Waters(steady(315.0), steady(10.0))
    noise = np.random.default_rng(7)
    hours, planned, events = sailed(waters, 315.0, 3.0, 271.0, noise=noise)
    assert hours == pytest.approx(planned, rel=0.03)
    assert kinds(events).count("turn_now") <= 2


@pytest.mark.long
def test_in_a_wind_that_swings_she_arrives():
    """Ten degrees either way in half an hour: the first plan does not foresee it."""
    swing = 1800.0 / (2.0 * math.pi)
    waters = Waters(
        lambda t: 315.0 + 10.0 * math.sin(t / swing), steady(10.0), stream=(0.4, 0.0)
    )  # fmt: skip
    hours, planned, events = sailed(waters, 315.0, 4.0, 271.0)
    assert {"headed", "lifted"} <= set(kinds(events))
    assert kinds(events)[-1] == "mark_rounded"
    # A swing about the mean, not played, costs a few hundredths of the steady time.
    assert hours == pytest.approx(planned, rel=0.1)


def test_the_sample_log_replays_to_its_end(monkeypatch):
    """Made by tests/make_sample_log.py; every line as the service heard it."""
    log = SAMPLES / "brisvik_log.jsonl"
    assert log.stat().st_size <= 300_000
    monkeypatch.chdir(SAMPLES)
    session, events = Session(), []
    for line in log.read_text(encoding="utf-8").splitlines():
        sent = session.in_turn(json.loads(line))
        events += [message for message in sent if message["type"] == "event"]
    rounded = [e["values"]["mark"] for e in events if e["kind"] == "mark_rounded"]
    assert rounded == ["Dan", "Hed"]
    assert not [e for e in events if e["kind"] in ("stale", "position_jumped", "clock")]
