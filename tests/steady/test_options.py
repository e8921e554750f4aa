"""What a navigator asks of a steady plan: corridor, stream, margin, first board, start."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st
from pyproj import Geod, Transformer

from goosewing.boat.model import Manoeuvres
from goosewing.errors import InputError, NoPlanError
from goosewing.options import Options
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.weather.steady import SteadyWeather
from random_boats import random_boat

DEPARTURE = datetime(2027, 6, 1, 6, 0, tzinfo=UTC)
FREE = Manoeuvres(tack_s=0, gybe_s=0, set_pole_s=0, strike_pole_s=0, change_sails_s=0)
MERCATOR = Transformer.from_crs("EPSG:4326", "EPSG:3395", always_xy=True)
GEOD = Geod(ellps="WGS84")
WGS84_A, WGS84_E2 = 6378137.0, 0.00669437999014


def leg(lat, lon, bearing_deg, nm):
    there = Geodesic.WGS84.Direct(lat, lon, bearing_deg, nm * 1852.0)
    return [
        Mark(name="A", lat=lat, lon=lon),
        Mark(name="B", lat=there["lat2"], lon=there["lon2"]),
    ]


def planned(boat, marks, wind=(0.0, 10.0), stream=(0.0, 0.0), **options):
    return make(marks, boat, SteadyWeather(*wind, *stream), DEPARTURE, Options(**options))


# ---- corridor --------------------------------------------------------------------------------


def straight(a, b, count):
    """Points on a loxodrome, which is straight in the Mercator plane."""
    (x1, x2), (y1, y2) = MERCATOR.transform([a.lon, b.lon], [a.lat, b.lat])
    share = np.linspace(0.0, 1.0, count)
    return MERCATOR.transform(x1 + share * (x2 - x1), y1 + share * (y2 - y1), direction="INVERSE")


def farthest_off_nm(plan):
    """How far the boards stray from the rhumb line: to the nearest of its points, by PROJ."""
    lon, lat = straight(plan.marks[0], plan.marks[1], 6001)
    worst = 0.0
    for board in plan.legs[0].boards:
        for east, north in zip(*straight(board.start, board.end, 5), strict=True):
            square = (lat - north) ** 2 + ((lon - east) * np.cos(np.radians(north))) ** 2
            near = np.argsort(square)[:50]
            metres = GEOD.inv(np.full(50, east), np.full(50, north), lon[near], lat[near])[2]
            worst = max(worst, float(metres.min()) / 1852.0)
    return worst


@pytest.mark.parametrize("lat", [0.0, 57.0, -70.0])
@pytest.mark.parametrize("bearing", [0.0, 14.0, 342.0, 185.0])
@pytest.mark.parametrize("half", [0.15, 0.5, 2.0])
def test_a_corridor_is_never_left(brisvik, lat, bearing, half):
    # At 6 kn a quarter of the boards would leave the narrowest by a cable without it.
    plan = planned(brisvik, leg(lat, 11.0, bearing, 10.0), (0.0, 6.0), corridor_nm=half)
    # Points of the line lie 3 m apart.
    assert farthest_off_nm(plan) <= half + 2.0 / 1852.0


@pytest.mark.parametrize("bearing", [0.0, 10.0, 95.0, 330.0])
@pytest.mark.parametrize("stream", [(0.0, 0.0), (60.0, 1.0)])
def test_on_the_equator_a_corridor_costs_its_tacks_and_nothing_else(brisvik, bearing, stream):
    marks = leg(0.0, 20.0, bearing, 10.0)
    wind = (bearing, 10.0)
    wide = planned(brisvik, marks, wind, stream)
    narrow = planned(brisvik, marks, wind, stream, corridor_nm=0.5)
    more = sum(m.cost_s for m in narrow.legs[0].manoeuvres) - sum(
        m.cost_s for m in wide.legs[0].manoeuvres
    )
    assert len(narrow.legs[0].boards) > len(wide.legs[0].boards)
    assert (narrow.elapsed_h - wide.elapsed_h) * 3600.0 == pytest.approx(more, abs=1.0)


def test_a_corridor_that_holds_no_board_of_a_minute_is_refused(brisvik):
    with pytest.raises(InputError, match="leaves boards of under a minute on the way to B"):
        planned(brisvik, leg(57.0, 11.0, 0.0, 5.0), corridor_nm=0.01)


# ---- a uniform stream ------------------------------------------------------------------------


def vector(direction_deg, speed):
    angle = math.radians(direction_deg)
    return np.array([speed * math.sin(angle), speed * math.cos(angle)])


def direction(v):
    return math.degrees(math.atan2(v[0], v[1])) % 360.0


def shifted(mark, east_nm, north_nm):
    """A position near the equator moved by miles east and north."""
    meridian = WGS84_A * (1.0 - WGS84_E2)
    return replace(
        mark,
        lat=mark.lat + math.degrees(north_nm * 1852.0 / meridian),
        lon=mark.lon + math.degrees(east_nm * 1852.0 / WGS84_A),
    )


# Not shrunk: each example plans a passage many times over.
@settings(max_examples=40, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(
    st.floats(0, 360), st.floats(3, 12), st.floats(0, 360), st.floats(6, 16), st.floats(0, 360),
    st.floats(0.1, 1.8),
)  # fmt: skip
def test_a_stream_is_a_mark_that_drifts_the_other_way(
    brisvik, bearing, nm, wind_from, wind_kn, set_deg, drift
):
    # In the water's own frame nothing else happens: so no stream under the lee bow gains a yard.
    boat = replace(brisvik, manoeuvres=FREE)
    marks = leg(0.0, 20.0, bearing, nm)
    stream = vector(set_deg, drift)
    over_water = -vector(wind_from, wind_kn) - stream
    try:
        there = planned(boat, marks, (wind_from, wind_kn), (set_deg, drift), first="faster")
    except NoPlanError:
        assume(False)
    assume(there.elapsed_h < 8.0)
    hours, water_wind = there.elapsed_h, (direction(-over_water), float(np.hypot(*over_water)))
    for _ in range(60):
        met = shifted(marks[1], *(-stream * hours))
        here = planned(boat, [marks[0], met], water_wind, first="faster")
        if abs(here.elapsed_h - hours) < 1e-7:
            break
        hours = here.elapsed_h
    assert here.elapsed_h == pytest.approx(there.elapsed_h, rel=3e-4)
    assert here.log_nm == pytest.approx(there.log_nm, rel=2e-3)


def test_under_the_lee_bow_or_not_both_orders_take_equally_long(brisvik):
    # A stream across the wind is under the lee bow on one tack and on the weather bow on the other.
    marks = leg(0.0, 20.0, 0.0, 8.0)
    times = [
        planned(brisvik, marks, (0.0, 10.0), (90.0, 1.2), first=side).elapsed_h
        for side in ("port", "starboard")
    ]
    assert times[0] == pytest.approx(times[1], rel=1e-6)


# ---- how she starts --------------------------------------------------------------------------


@pytest.mark.parametrize("tack", ["port", "starboard"])
def test_the_tack_she_is_on_costs_nothing_and_the_other_a_tack(brisvik, tack):
    marks = leg(57.0, 11.0, 30.0, 6.0)
    free = planned(brisvik, marks, first="port")
    plan = planned(brisvik, marks, first="port", start_with="main and jib", start_tack=tack)
    extra = 0.0 if tack == "port" else brisvik.manoeuvres.tack_s
    assert (plan.elapsed_h - free.elapsed_h) * 3600.0 == pytest.approx(extra, abs=1e-6)


def test_unknown_sails_at_the_start_list_those_she_has(brisvik):
    with pytest.raises(InputError, match='no sail set "genoa"; she has "main and jib"'):
        planned(brisvik, leg(57.0, 11.0, 30.0, 6.0), start_with="genoa")


@pytest.mark.parametrize(
    ("options", "fault"),
    [
        ({"margin_deg": -0.1}, "margin must be 0 to 45"),
        ({"margin_deg": float("nan")}, "margin must be 0 to 45"),
        ({"corridor_nm": 0.0}, "corridor must be wider than 0"),
        ({"corridor_nm": float("inf")}, "corridor must be wider than 0"),
    ],
)
def test_options_that_make_no_sense_are_refused(options, fault):
    with pytest.raises(InputError, match=fault):
        Options(**options)


def altered(plan):
    """How often course is altered on one tack and sail set."""
    boards = plan.legs[0].boards
    return sum(a.tack == b.tack and a.sail_set == b.sail_set for a, b in pairwise(boards))


def test_a_course_is_altered_only_where_that_gains_what_it_is_worth():
    # Rough tables have dents that two angles about them jump.
    seen = 0
    for seed in range(60):
        boat, marks = random_boat(seed), leg(57.0, 11.0, 6.0 * seed, 2.0)
        try:
            best, usual, never = (
                planned(boat, marks, worth_min=worth) for worth in (0.0, 1.0, 1440.0)
            )
        except NoPlanError:
            continue
        seen += altered(best)
        # On a leg of less than 100 minutes a hundredth of it is enough.
        worth_h = min(1.0 / 60.0, 0.01 * best.elapsed_h)
        assert best.elapsed_h <= usual.elapsed_h <= best.elapsed_h + worth_h + 1e-9
        assert altered(usual) <= altered(best)
        if altered(usual):
            assert never.elapsed_h >= usual.elapsed_h
        else:
            assert never.elapsed_h == pytest.approx(usual.elapsed_h, abs=1e-9)
    assert seen


@pytest.mark.parametrize(
    ("lat", "bearing", "nm", "bound"),
    [
        (64.0, 90.0, 875.0, False),
        (57.0, 90.0, 60.0, True),
        (10.0, 90.0, 600.0, True),
        (64.0, 0.0, 600.0, True),
    ],
)
def test_along_a_curved_loxodrome_the_best_is_an_estimate(brisvik, lat, bearing, nm, bound):
    marks = leg(lat, -30.0, bearing, nm)
    # How much shorter the geodesic is, by GeographicLib, against the loxodrome, by PROJ's plane.
    ends = [MERCATOR.transform(mark.lon, mark.lat) for mark in marks]
    plan = planned(brisvik, marks, wind=(bearing + 120.0, 10.0))
    assert (plan.bound_h is not None) == bound
    assert (plan.relaxed_h is None) == bound
    assert plan.legs[0].bound_h == (plan.bound_h if bound else None)
    course = math.atan2(ends[1][0] - ends[0][0], ends[1][1] - ends[0][1])
    if abs(math.cos(course)) > 0.9:
        return
    length = nm * 1852.0
    middle = math.radians((marks[0].lat + marks[1].lat) / 2.0)
    curved = (length / WGS84_A * math.tan(middle) * math.sin(course)) ** 2 / 24.0
    assert (curved > 5e-4) == (not bound)
