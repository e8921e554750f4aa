"""What a navigator wants of a passage: the words, the limits, the nearest miss."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from goosewing.departures.wants import (
    choose,
    cost_words,
    miss_words,
    misses,
    nearest,
    parse_wants,
    want_costs,
)
from goosewing.errors import InputError, NoPlanError
from goosewing.records import Departure

START = datetime(2027, 6, 1, 6, tzinfo=UTC)


def departure(hour=0, **more):
    given = {
        "elapsed_h": 8.0, "arrives_in_daylight": True, "strongest_gust_kn": 20.0, "night_h": 0.0,
        "upwind_h": 2.0, "against_h": 0.0, "strongest_wind_kn": 15.0, "poled_h": 0.0,
        "beyond_forecast_h": 0.0, "plan": object(), "arrival": START + timedelta(hours=hour + 8),
    }  # fmt: skip
    return Departure(departure=START + timedelta(hours=hour), **{**given, **more})


@pytest.mark.parametrize(
    ("text", "more", "met"),
    [
        ("daylight", {"arrives_in_daylight": False}, False),
        ("daylight", {}, True),
        ("gust<=20", {}, True),
        ("gust<20", {}, False),
        ("gust<=19.9", {}, False),
        ("gust<=60", {"strongest_gust_kn": None}, False),
        ("night<=0", {}, True),
        ("night<0", {}, False),
        ("upwind<=4,against<=1,night<=2,wind<=20,elapsed<=12", {}, True),
        ("upwind<=4,against<=1,night<=2,wind<=14,elapsed<=12", {}, False),
        ("poled<1", {"poled_h": 1.5}, False),
        ("beyond<=0", {"beyond_forecast_h": 0.5}, False),
    ],
)
def test_limits_are_kept_to(text, more, met):
    assert (misses(departure(**more), parse_wants(text)) == ()) is met


@pytest.mark.parametrize(
    "text",
    ["", "daylight,", "gust", "gust>20", "gust<=x", "gust<=-1", "sun<3", "daylight<3", "gust<=nan",
     "gust=<3", "gust<=1e400", "GUST<=20", "gust<=٣"],
)  # fmt: skip
def test_other_words_are_refused_in_one_line_that_names_them(text):
    with pytest.raises(InputError, match="a want is daylight, or one of") as refused:
        parse_wants(text)
    assert "\n" not in str(refused.value)


def test_no_wants_are_met_by_all():
    assert parse_wants(None) == ()
    assert len(choose([departure(0), departure(1)], ()).meeting) == 2


def test_those_that_miss_and_those_without_a_plan_are_set_apart():
    dark = departure(1, arrives_in_daylight=False)
    none = departure(2, plan=None, reason="no wind")
    chosen = choose([dark, departure(0), none], parse_wants("daylight"))
    assert [each.departure.hour for each in chosen.meeting] == [6]
    assert [each.departure.hour for each in chosen.others] == [7]
    assert [each.reason for each in chosen.failed] == ["no wind"]


def test_the_nearest_misses_the_fewest_then_by_the_least():
    wants = parse_wants("daylight,gust<=20,night<2")
    two = departure(0, strongest_gust_kn=20.1, night_h=2.0)
    far = departure(1, strongest_gust_kn=30.0)
    near = departure(2, strongest_gust_kn=22.0)
    assert nearest([two, far, near], wants) is near
    with pytest.raises(NoPlanError) as refused:
        choose([two, far, near], wants)
    assert str(refused.value) == (
        "none of 3 planned departures meets daylight,gust<=20,night<2; nearest is "
        "2027-06-01 0800Z, which misses gust<=20 (22.0 kn)"
    )


def test_each_want_s_cost_is_told_by_itself():
    wants = parse_wants("daylight,gust<=20,night<2")
    short = departure(0, elapsed_h=8.0, arrives_in_daylight=False, strongest_gust_kn=25.0)
    longer = departure(1, elapsed_h=9.5, strongest_gust_kn=25.0)
    costs = want_costs([short, longer], wants)
    assert [each.added_h for each in costs] == [1.5, None, 0.0]
    assert cost_words(costs[0]).endswith("1 h 30 min longer than the shortest passage")
    assert cost_words(costs[1]) == "gust<=20: no departure meets it"


def test_a_miss_is_said_with_what_it_is():
    each = departure(0, arrives_in_daylight=False, strongest_gust_kn=None)
    said = miss_words(each, parse_wants("daylight,gust<30"))
    assert said == "daylight (arrives at 1400Z) and gust<30 (not known)"


def test_why_none_can_be_planned_is_said_once_or_from_both_ends():
    one, other = (departure(h, plan=None, reason=f"reason {h}") for h in (0, 1))
    with pytest.raises(NoPlanError, match=r"^no departure can be planned: reason 0$"):
        choose([one, one], ())
    both = r"none of 2 departures can be planned: 2027-06-01 0600Z: reason 0; .*0700Z: reason 1"
    with pytest.raises(NoPlanError, match=both):
        choose([other, one], ())
