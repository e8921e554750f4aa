"""Shifts under way, answered by their rule: the mean, the plan for it, the turn that pays."""

from __future__ import annotations

import re

import pytest

from core_watch import NOON, Watch, beyond
from goosewing.live.core import orders
from goosewing.live.core.shifty import mean_from_deg
from goosewing.live.core.state import Order
from goosewing.live.core.step import step
from goosewing.live.host import signalk
from goosewing.live.host.session import HelloError, desk_from
from goosewing.records import Fix, LaylineBand

SHIFTS = "6/2"
"""Quick ones: their mean is known after eight minutes."""

SETTLED_S = 520


class Beating(Watch):
    """Beats towards a mark 4 nm upwind, close-hauled in whatever the wind is."""

    def __init__(self, boat, shifts=SHIFTS, **desk):
        super().__init__(boat, shifts=shifts, **desk)
        self.side = -1.0
        self.close_hauled()

    def take(self, observation):
        waiting = [observation]
        while waiting:
            self.state, outputs = step(self.state, waiting.pop(0), self.desk)
            self.outputs += outputs
            wanted = [each for each in outputs if isinstance(each, Order)]
            waiting += [orders.made(each, self.desk) for each in wanted]

    def close_hauled(self):
        self.heading = (self.twd + self.side * 44.0) % 360.0

    def blow(self, twd, seconds):
        self.twd = twd
        self.close_hauled()
        self.sail(seconds)


def settled(boat, **more):
    watch = Beating(boat, **more)
    watch.sail(5)
    watch.route(beyond(315.0, 4.0))
    watch.sail(SETTLED_S)
    return watch


@pytest.fixture(scope="module")
def before_any_shift(brisvik):
    return settled(brisvik)


def copied(watch):
    other = object.__new__(Beating)
    other.__dict__ = {**watch.__dict__, "outputs": []}
    return other


def test_the_mean_is_not_known_at_once_and_brings_a_rule_when_it_is(brisvik, before_any_shift):
    early = Beating(brisvik)
    early.sail(60)
    assert mean_from_deg(early.state, early.desk) is None
    state = before_any_shift.state
    assert mean_from_deg(state, before_any_shift.desk) == pytest.approx(315.0, abs=0.1)
    assert state.planned.rule.game.mean_twd_deg == pytest.approx(315.0, abs=0.1)
    assert state.planned.bands


def away_from_the_bow(watch, degrees):
    """A direction that heads her by so much: on port tack a veer, on starboard a back."""
    return watch.twd + degrees if watch.state.tack == "port" else watch.twd - degrees


def test_a_header_worth_a_tack_is_told_once(before_any_shift):
    watch = copied(before_any_shift)
    watch.blow(away_from_the_bow(watch, 12.0), 120)
    (event,) = watch.events("turn_pays")
    assert event.severity == "alert"
    assert re.fullmatch(r"Headed \d+° from the mean, 31[3-7]°: a tack now pays\.", event.message)
    assert event.values["mean_from_deg"] == pytest.approx(315.0, abs=2.5)
    assert not watch.events("headed")


def test_a_lift_and_a_small_header_are_sailed_on_in_silence(before_any_shift):
    for degrees in (1.0, -10.0):
        watch = copied(before_any_shift)
        watch.blow(away_from_the_bow(watch, degrees), 90)
        assert watch.events("turn_pays") == []
        assert watch.events("headed") + watch.events("lifted") == []


def test_after_the_tack_it_is_told_anew_when_she_is_headed_on_the_other(before_any_shift):
    watch = copied(before_any_shift)
    twd = watch.twd
    watch.blow(away_from_the_bow(watch, 12.0), 110)
    assert len(watch.events("turn_pays")) == 1
    watch.side = -watch.side  # she tacks
    watch.close_hauled()
    watch.sail(90)
    assert len(watch.events("turn_pays")) == 1
    watch.twd = twd
    watch.blow(away_from_the_bow(watch, 14.0), 120)
    assert len(watch.events("turn_pays")) == 2


def test_plans_are_for_the_mean_and_not_for_the_shift(before_any_shift):
    watch = copied(before_any_shift)
    watch.blow(away_from_the_bow(watch, 12.0), 100)
    for order in (each for each in watch.outputs if isinstance(each, Order)):
        assert order.wind_from_deg == pytest.approx(315.0, abs=2.5)


def test_without_shifts_or_with_a_corridor_nothing_of_it_happens(brisvik):
    for more in ({"shifts": None}, {"corridor_nm": 2.0}):
        watch = settled(brisvik, **more)
        assert watch.state.planned.rule is None
        watch.blow(away_from_the_bow(watch, 12.0), 60)
        assert watch.events("turn_pays") == []


def test_that_a_corridor_turns_shifts_off_is_told_once_and_stands_in_the_status(brisvik):
    watch = Beating(brisvik, corridor_nm=2.0)
    watch.sail(5)
    (event,) = watch.events("shifts_off")
    assert event.time_s <= NOON + 2.0
    assert "keeps to a corridor" in event.message
    watch.route(beyond(315.0, 4.0))
    watch.sail(60)
    assert len(watch.events("shifts_off")) == 1
    assert event.message in watch.last_status().message


def test_a_rule_that_cannot_be_worked_out_is_told_with_its_reason(brisvik):
    # A leg of more than 100 nm outlasts any one forecast wind, and is refused.
    watch = Beating(brisvik)
    watch.side = 1.0  # so that the plan begins on the tack she is on
    watch.close_hauled()
    watch.sail(5)
    watch.route(beyond(315.0, 120.0))
    watch.sail(SETTLED_S)
    assert watch.state.planned.rule is None
    (event,) = watch.events("shifts_off")
    assert "no rule is found" in event.message
    assert "100" in event.message
    assert event.message in watch.last_status().message


def test_where_shifts_are_answered_nothing_is_off(before_any_shift):
    assert before_any_shift.events("shifts_off") == []
    assert "off" not in before_any_shift.last_status().message


def test_the_host_is_told_the_bands_as_regions(before_any_shift):
    planned = before_any_shift.state.planned
    found = signalk.resources(planned.plan, before_any_shift.state.route, planned.bands)
    regions = [value for (kind, _), value in found.items() if kind == "regions"]
    assert len(regions) == len(planned.bands) >= 1
    (ring,) = regions[0]["feature"]["geometry"]["coordinates"]
    assert regions[0]["feature"]["geometry"]["type"] == "Polygon"
    assert ring[0] == ring[-1]  # RFC 7946, section 3.1.6
    mark = planned.plan.marks[1]
    assert [round(mark.lon, 7), round(mark.lat, 7)] in ring


def test_an_outline_goes_round():
    one, two, mark = (Fix(lat=lat, lon=0.0) for lat in (1.0, 2.0, 3.0))
    band = LaylineBand(mark="B", tack="port", sail_set="s", backed=(one, mark), veered=(two, mark))
    assert band.outline == (one, mark, two, one)


def test_senseless_shifts_are_refused_in_the_greeting():
    hello = {"version": 1, "boat": "sample_routes/brisvik/boat.toml"}
    assert desk_from({**hello, "options": {"shifts": "5/10"}}).shifts == "5/10"
    assert desk_from({**hello, "options": {"shifts": ""}}).shifts is None
    for wrong in ("99/10", 5, "often"):
        with pytest.raises(HelloError, match="shifts"):
            desk_from({**hello, "options": {"shifts": wrong}})
