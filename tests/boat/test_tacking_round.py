"""A tack in place of a gybe, where a gybe costs so much more: in steady and in changing wind."""

from __future__ import annotations

from dataclasses import replace

import pytest

from changing_winds import DEPARTURE, Formula, leg
from goosewing.boat.model import Manoeuvres
from goosewing.plan import make
from goosewing.weather.steady import SteadyWeather

WINDS = {
    "steady": SteadyWeather(0.0, 12.0),
    # It swings once about the course, from one side to the other: she changes sides once.
    "changing": Formula(lambda t, _lat, _lon: (-12.0 + 3.0 * t, 12.0, float("nan"), 0.0, 0.0)),
}


def turns_of(boat, weather):
    """Kinds of the turns of a run of 40 nm dead before the wind's mean, and the whole plan."""
    plan = make(leg(57.0, 11.0, 180.0, 40.0), boat, weather, DEPARTURE)
    kinds = [
        m.kind
        for one in plan.legs
        for b in one.boards
        for m in b.manoeuvres
        if m.kind in ("tack", "gybe")
    ]
    return kinds, plan


@pytest.fixture
def without_pole(brisvik):
    """Only main and jib: from one broad reach to the other."""
    return replace(brisvik, sail_sets=brisvik.sail_sets[:1])


@pytest.mark.parametrize("wind", WINDS)
def test_she_tacks_round_where_a_gybe_costs_much_more(without_pole, wind):
    costs = Manoeuvres(tack_s=73.0, gybe_s=176.0)
    kinds, plan = turns_of(replace(without_pole, manoeuvres=costs), WINDS[wind])
    assert kinds
    assert set(kinds) == {"tack"}
    assert all(m.cost_s == 73.0 for b in plan.legs[0].boards for m in b.manoeuvres)
    (said,) = [notice for notice in plan.notices if "tacks round" in notice]
    assert said.endswith("A tack costs her 73 s, a gybe 176 s.")


@pytest.mark.parametrize("wind", WINDS)
def test_it_is_never_slower_than_gybing(without_pole, wind):
    dear, cheap = (
        turns_of(
            replace(without_pole, manoeuvres=Manoeuvres(tack_s=73.0, gybe_s=gybe)), WINDS[wind]
        )
        for gybe in (176.0, 73.0)
    )
    # A gybe that costs what the tack costs: the same boards at the same price.
    assert dear[1].elapsed_h == pytest.approx(cheap[1].elapsed_h, rel=1e-4)


@pytest.mark.parametrize("wind", WINDS)
def test_for_a_few_seconds_nobody_rounds_up(without_pole, wind):
    kinds, plan = turns_of(without_pole, WINDS[wind])
    assert kinds
    assert set(kinds) == {"gybe"}
    assert not any("tacks round" in notice for notice in plan.notices)
