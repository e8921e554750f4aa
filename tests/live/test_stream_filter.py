"""The stream, estimated against an independent boat: in a seaway, as the tide turns."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from conftest import SAMPLES
from core_watch import Watch, beyond
from goosewing.exchange.document import format_plan_json
from goosewing.exchange.geojson import format_geojson
from goosewing.exchange.gpx.plans import format_plan
from goosewing.live.core import sensing, stream_filter
from goosewing.live.core.figures import figures
from goosewing.live.host.session import Session
from goosewing.live.host.signalk import deltas
from goosewing.live.panel.document import panel
from sailing_boat import SailingBoat, Waters, observation, tick

BRISVIK = SAMPLES / "brisvik"
YAW_DEG, YAW_S, NOISE_DEG = 4.0, 6.3, 1.0
Stream = Callable[[float], tuple[float, float]]


class Sailed:
    """Close-hauled, a tack every ten minutes; what was told of the stream each second."""

    def __init__(
        self, stream: Stream, minutes: float, *, compass: float = 0.0, log: float = 1.0,
        bow_alone: bool = True,
    ) -> None:  # fmt: skip
        rng = np.random.default_rng(3)
        waters = Waters(lambda _: 315.0, lambda _: 11.0, stream(0.0))
        boat = SailingBoat(BRISVIK, waters, 56.5, 12.0, 271.0)
        self.session = Session()
        hello = {"type": "hello", "version": 1, "boat": str(BRISVIK / "boat.toml")}
        self.session.in_turn(hello)
        self.right: list[bool] = []
        for second in range(int(minutes * 60)):
            waters.stream = stream(float(second))
            side = 1.0 if (second // 600) % 2 else -1.0
            swing = YAW_DEG * math.sin(2.0 * math.pi * second / YAW_S)
            boat.heading = boat.wind_over_water()[0] + side * 44.0 + (0.0 if bow_alone else swing)
            boat.sail(1.0)
            seen = observation(boat)
            off = rng.normal(0.0, NOISE_DEG) + compass + (swing if bow_alone else 0.0)
            for value in seen["values"]:
                if value["path"] == "navigation.headingTrue":
                    value["value"] += math.radians(off)
                if value["path"] == "navigation.speedThroughWater":
                    value["value"] *= log
            self.session.in_turn(seen)
            self.session.in_turn(tick(boat))
            known = sensing.stream_kn(self.session.state, self.session.keeper.desk)
            self.right.append(known is not None and near(known, stream(float(second))))

    def share(self, first_min: float, last_min: float | None = None) -> float:
        last = None if last_min is None else int(last_min * 60)
        return float(np.mean(self.right[int(first_min * 60) : last]))


def near(found: tuple[float, float], true: tuple[float, float]) -> bool:
    """Within 0.2 kn and 20°."""
    turn = math.degrees(math.atan2(*found) - math.atan2(*true))
    turned = abs((turn + 180.0) % 360.0 - 180.0)
    return abs(math.hypot(*found) - math.hypot(*true)) <= 0.2 and turned <= 20.0


def steady(_: float) -> tuple[float, float]:
    return 0.6, 0.5


@pytest.mark.parametrize("bow_alone", [True, False])
def test_in_a_seaway_it_is_known_after_five_minutes(bow_alone):
    sailed = Sailed(steady, 25.0, bow_alone=bow_alone)
    assert sailed.share(5.0) >= 0.9


@pytest.mark.parametrize(("compass", "log"), [(2.0, 1.0), (0.0, 1.03), (2.0, 1.03)])
def test_on_both_tacks_log_and_compass_are_told_apart_from_the_stream(compass, log):
    sailed = Sailed(steady, 25.0, compass=compass, log=log)
    assert sailed.share(12.0) >= 0.9
    _, _, reads, points = sailed.session.state.stream.mean
    assert reads == pytest.approx(log - 1.0, abs=0.012)
    assert math.degrees(points) == pytest.approx(compass, abs=0.5)


def test_on_one_tack_the_doubt_says_that_they_are_not():
    one = Sailed(steady, 9.0).session.state
    both = Sailed(steady, 25.0).session.state
    doubts = [stream_filter.doubt_kn(each.stream, each.now_s) for each in (one, both)]
    assert doubts[0] > 0.15
    assert doubts[1] < 0.1


def test_a_turn_of_the_tide_is_followed_within_ten_minutes():
    sailed = Sailed(lambda t: (0.6, 0.5) if t < 900.0 else (-0.5, 0.6), 35.0)
    assert sailed.share(5.0, 15.0) >= 0.9
    assert sailed.share(25.0) >= 0.9


def test_without_log_what_another_instrument_tells_is_taken():
    stream = None
    for second in range(60):
        stream = stream_filter.told(stream, (0.8, -0.6), float(second))
    assert (stream.east_kn, stream.north_kn) == pytest.approx((0.8, -0.6), abs=0.01)


def test_what_was_not_measured_for_long_is_no_longer_known():
    state = Sailed(steady, 6.0).session.state
    doubts = [stream_filter.doubt_kn(state.stream, state.now_s + h * 3600.0) for h in (0, 1, 3)]
    assert doubts == sorted(doubts)
    assert doubts[2] > 0.35


def test_plan_page_and_exports_tell_one_stream_with_its_doubt(brisvik):
    watch = Watch(brisvik)
    watch.heading, watch.stream = 271.0, (0.6, 0.0)
    watch.sail(60)
    watch.heading = 359.0
    watch.sail(400)
    watch.route(beyond(318.0, 4.0))
    watch.sail(3)
    plan = watch.state.planned.plan
    shown = panel(watch.state, watch.desk)
    set_deg, drift, doubt = (shown["stream"][name] for name in ("set_deg", "drift_kn", "doubt_kn"))
    assert (set_deg, drift) == (pytest.approx(90.0, abs=15.0), pytest.approx(0.6, abs=0.15))
    assert 0.0 < doubt < 0.35
    told = f"The stream is as measured under way, ±{max(doubt, 0.051):.1f} kn."
    assert told in plan.conditions
    for text in (format_plan(plan), format_plan_json(plan).decode(), format_geojson(plan)):
        assert told in text
    (row,) = (row for row in shown["shown"]["rows"] if row["key"] == "stream")
    assert row["value"] == f"{round(set_deg):03d}° T {drift:.1f} ±{max(doubt, 0.051):.1f} kn"
    values = {each["path"]: each["value"] for each in deltas(figures(watch.state, watch.desk))}
    told_host = values["performance.goosewing.stream"]
    knot = 1852.0 / 3600.0
    assert told_host["setTrue"] == pytest.approx(math.radians(set_deg))
    assert told_host["drift"] == pytest.approx(drift * knot)
    assert told_host["driftStandardDeviation"] == pytest.approx(doubt * knot)


def test_a_stream_that_nobody_knows_is_said_to_be_left_out(brisvik):
    watch = Watch(brisvik)
    watch.heading = 271.0
    watch.sail(30, without=("stw_kn",))
    watch.route(beyond(318.0, 4.0))
    watch.sail(3, without=("stw_kn",))
    assert "not known: none is reckoned with" in watch.state.planned.plan.conditions
    values = {each["path"]: each["value"] for each in deltas(figures(watch.state, watch.desk))}
    assert values["performance.goosewing.stream"] is None
