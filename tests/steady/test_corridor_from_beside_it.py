"""A corridor lies along the leg as a whole, also for one who plans from within it or beside it."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod, Transformer

from goosewing.errors import NoPlanError
from goosewing.options import Options
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.weather.steady import SteadyWeather

DEPARTURE = datetime(2027, 6, 1, 6, 0, tzinfo=UTC)
MERCATOR = Transformer.from_crs("EPSG:4326", "EPSG:3395", always_xy=True)
GEOD = Geod(ellps="WGS84")


class Unchanging(SteadyWeather):
    """A steady wind that says of itself that it changes."""

    varies_in_time = True


A = Mark(name="A", lat=57.0, lon=11.0)


def from_a(bearing_deg, nm):
    there = Geodesic.WGS84.Direct(A.lat, A.lon, bearing_deg, nm * 1852.0)
    return Mark(name="B", lat=there["lat2"], lon=there["lon2"])


def on_the_line(b, share):
    """Places on the loxodrome from A to B, straight in the Mercator plane; by PROJ."""
    (x1, x2), (y1, y2) = MERCATOR.transform([A.lon, b.lon], [A.lat, b.lat])
    share = np.asarray(share)
    return MERCATOR.transform(x1 + share * (x2 - x1), y1 + share * (y2 - y1), direction="INVERSE")


def beside(b, share, right_nm):
    lon, lat = on_the_line(b, [share, share + 1e-3])
    bearing = Geodesic.WGS84.Inverse(lat[0], lon[0], lat[1], lon[1])["azi1"]
    there = Geodesic.WGS84.Direct(lat[0], lon[0], bearing + 90.0, right_nm * 1852.0)
    return Mark(name="Here", lat=there["lat2"], lon=there["lon2"])


def off_nm(b, places):
    """How far places lie from the line: to the nearest of many of its points, by PROJ."""
    lon, lat = on_the_line(b, np.linspace(0.0, 1.0, 6001))
    worst = 0.0
    for place in places:
        near = np.argsort((lat - place.lat) ** 2 + ((lon - place.lon) * 0.54) ** 2)[:20]
        ones = np.ones(20)
        metres = GEOD.inv(place.lon * ones, place.lat * ones, lon[near], lat[near])[2]
        worst = max(worst, float(metres.min()) / 1852.0)
    return worst


def planned(boat, marks, weather, **options):
    return make(marks, boat, weather, DEPARTURE, Options(corridor_from=(A.lat, A.lon), **options))


def ends(plan):
    return [board.end for board in plan.legs[0].boards[:-1]]


@settings(max_examples=40, deadline=None)
@given(
    bearing=st.floats(0.0, 359.0), off_wind=st.floats(-50.0, 50.0), downwind=st.booleans(),
    share=st.floats(0.0, 0.9), right=st.floats(-1.5, 1.5),
    half_nm=st.sampled_from([0.15, 0.5, 1.0]),
    tack=st.sampled_from(["port", "starboard"]), margin_deg=st.sampled_from([0.0, 3.0]),
)  # fmt: skip
def test_boards_keep_to_the_legs_own_channel_and_come_in_from_outside(
    brisvik, bearing, off_wind, downwind, share, right, half_nm, tack, margin_deg
):
    b = from_a(bearing, 10.0)
    here = beside(b, share, right * half_nm)
    wind = SteadyWeather((bearing + off_wind + 180.0 * downwind) % 360.0, 10.0)
    asked = {"start_tack": tack, "margin_deg": margin_deg}
    plan = planned(brisvik, (here, b), wind, corridor_nm=half_nm, **asked)
    free = planned(brisvik, (here, b), wind, **asked)
    # The line is looked at every 3 m, and a corridor's own width is exact to a metre or two.
    assert off_nm(b, ends(plan)) <= max(half_nm, off_nm(b, [here])) + 0.002
    assert plan.elapsed_h >= free.elapsed_h - 1e-6


@pytest.mark.parametrize("right", [-0.45, -0.2, 0.0, 0.3, 0.5])
def test_a_corridor_costs_its_tacks_and_nothing_else_wherever_she_starts(brisvik, right):
    """On the equator, where the plane's scale is one and orders don't matter; common practice."""
    start = Mark(name="A", lat=0.0, lon=11.0)
    here = Mark(name="Here", lat=0.05, lon=11.0 + right / 60.0)
    b = Mark(name="B", lat=10.0 / 60.0, lon=11.0)
    wind = SteadyWeather(10.0, 10.0)
    options = {"corridor_from": (start.lat, start.lon), "start_tack": "starboard"}
    free = make((here, b), brisvik, wind, DEPARTURE, Options(**options))
    kept = make((here, b), brisvik, wind, DEPARTURE, Options(corridor_nm=0.5, **options))
    tacks = [plan.legs[0].boards for plan in (free, kept)]
    more = sum(len(board.manoeuvres) for board in tacks[1]) - sum(
        len(board.manoeuvres) for board in tacks[0]
    )
    cost = more * brisvik.manoeuvres.tack_s / 3600.0
    assert kept.elapsed_h - free.elapsed_h == pytest.approx(cost, abs=2e-5)


def test_who_has_just_gone_about_at_the_edge_sails_to_the_other_one(brisvik):
    """Planned from where she is, the next turn lies at the leg's far edge: a whole width away."""
    b = from_a(0.0, 10.0)
    here = beside(b, 0.3, -0.5)
    plan = planned(brisvik, (here, b), SteadyWeather(0.0, 10.0), corridor_nm=0.5, start_tack="port")
    first = plan.legs[0].boards[0]
    assert first.tack == "port"
    assert off_nm(b, [first.end]) > 0.4
    assert (
        Geodesic.WGS84.Inverse(here.lat, here.lon, first.end.lat, first.end.lon)["s12"]
        > 0.9 * 1852.0
    )


def test_near_the_edge_she_stands_on_to_it_only_if_that_is_asked_for(brisvik):
    b = from_a(0.0, 10.0)
    here = beside(b, 0.3, -0.45)
    wind = SteadyWeather(0.0, 10.0)
    asked = planned(
        brisvik, (here, b), wind, corridor_nm=0.5, start_tack="starboard", first="starboard"
    )
    assert asked.legs[0].boards[0].tack == "starboard"
    assert off_nm(b, ends(asked)) <= 0.501
    with pytest.raises(NoPlanError, match="as asked"):
        planned(
            brisvik, (beside(b, 0.3, -0.6), b), wind, corridor_nm=0.5, start_tack="starboard",
            first="starboard",
        )  # fmt: skip


@pytest.mark.parametrize(("share", "right"), [(0.0, 0.3), (0.4, -0.45), (0.6, 0.5), (0.3, 0.7)])
def test_in_a_wind_that_changes_it_is_the_same_channel(brisvik, share, right):
    b = from_a(20.0, 10.0)
    here = beside(b, share, right)
    steady = planned(brisvik, (here, b), SteadyWeather(10.0, 11.0), corridor_nm=0.5)
    found = planned(brisvik, (here, b), Unchanging(10.0, 11.0), corridor_nm=0.5)
    assert off_nm(b, ends(found)) <= max(0.5, off_nm(b, [here])) + 0.002
    assert found.elapsed_h <= steady.elapsed_h * 1.004
    # Boards off the best angle may save a turn, and no more.
    assert found.elapsed_h >= steady.elapsed_h - brisvik.manoeuvres.tack_s / 3600.0 - 1e-3
