"""The drawn polar against SciPy's hull, the plan's own boards, and sets that are hardly any."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from goosewing import plan as planning
from goosewing.boat.model import Boat, Leeway, Manoeuvres, PolarTable, SailSet
from goosewing.records import Mark
from goosewing.velocities.polar_view import choice, curves, polar_view
from goosewing.velocities.velocity_set import TWO_ANGLES_GAIN, Airs, airs_over_water, velocity_set
from goosewing.weather.steady import SteadyWeather
from random_boats import random_boat

FREE = Manoeuvres(tack_s=0, gybe_s=0, set_pole_s=0, strike_pole_s=0, change_sails_s=0)
AIRS = Airs(315.0, 10.0, 0.35, 0.2)


def leaving(corners, bearing_deg: float) -> float | None:
    """How far along a ray from the origin the farther crossing with a polygon's edges lies."""
    angle = np.radians(bearing_deg)
    along = corners @ np.array([np.sin(angle), np.cos(angle)])
    across = corners @ np.array([np.cos(angle), -np.sin(angle)])
    found = []
    for (a1, c1), (a2, c2) in zip(
        zip(along, across, strict=True),
        zip(np.roll(along, -1), np.roll(across, -1), strict=True),
        strict=True,
    ):
        if c1 * c2 <= 0.0 and c1 != c2:
            found.append(a1 + (a2 - a1) * c1 / (c1 - c2))
    best = max(found, default=-1.0)
    return best if best > 0.0 else None


@pytest.mark.parametrize("stream", [(0.0, 0.0), (0.35, 0.2), (-3.0, 7.0)])
@pytest.mark.parametrize("tws", [5.0, 10.0, 21.0])
def test_the_hull_is_scipys(brisvik, stream, tws):
    """Qhull (scipy.spatial.ConvexHull) on the same velocities: same area, corners on it."""
    held = velocity_set(brisvik, Airs(40.0, tws, *stream))
    theirs = ConvexHull(np.column_stack((held.east_kn, held.north_kn)))
    hull = polar_view(held, None).hull
    x, y = hull.T
    area = 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    assert area == pytest.approx(theirs.volume, rel=1e-9)  # Positive: anticlockwise.
    # Qhull's facets as outward normals and offsets: every corner lies on one, none beyond.
    beyond = hull @ theirs.equations[:, :2].T + theirs.equations[:, 2]
    assert float(beyond.max()) < 1e-9
    assert float(np.abs(beyond.max(axis=1)).max()) < 1e-9


def leaves(held, bearing):
    points = np.column_stack((held.east_kn, held.north_kn))
    return leaving(points[ConvexHull(points, qhull_options="QJ").vertices], bearing)


@settings(max_examples=60)
@given(seed=st.integers(0, 10_000), bearing=st.floats(0.0, 360.0), tws=st.floats(2.0, 20.0))
def test_the_choice_leaves_scipys_hull_where_the_ray_does(seed, bearing, tws):
    airs = Airs(20.0, tws, 0.8, -0.5)
    held = velocity_set(random_boat(seed), airs, step_deg=1.0)
    if len(held) < 3:
        return
    expected = leaves(held, bearing)
    chosen, made_good = choice(held, bearing)
    if expected is None or expected < 1e-6:
        assert chosen == () or made_good < 1e-5
        return
    # A straight course has the very angle, which lies beyond the chord between two samples.
    finest = leaves(velocity_set(random_boat(seed), airs, step_deg=0.05), bearing)
    assert expected * (1.0 - TWO_ANGLES_GAIN) <= made_good <= finest * (1.0 + TWO_ANGLES_GAIN)
    # Qhull's hull is joggled by parts in 1e11, and one angle may stand for two that gain 0.05 %.
    angle = np.radians(bearing)
    mixed = sum(c.share * np.array([c.east_kn, c.north_kn]) for c in chosen)
    assert mixed == pytest.approx(made_good * np.array([np.sin(angle), np.cos(angle)]), abs=1e-6)
    assert sum(c.share for c in chosen) == pytest.approx(1.0)
    over_ground = [c.share * c.speed_over_ground_kn for c in chosen]
    assert over_ground == sorted(over_ground, reverse=True)


@pytest.mark.parametrize(
    ("bearing", "boards"),
    [(320.0, 2), (300.0, 2), (45.0, 1), (150.0, 2), (180.0, 1), (128.0, 1), (136.0, 2), (230.0, 1)],
)
def test_the_choice_is_that_of_a_plan_without_costs(brisvik, bearing, boards):
    """Three miles on WGS 84 (GeographicLib): plane and ellipsoid part by less than 1e-4."""
    boat = replace(brisvik, manoeuvres=FREE)
    weather = SteadyWeather(315.0, 10.0, 60.0, 0.4)
    there = Geodesic.WGS84.Direct(57.0, 11.0, bearing, 3.0 * 1852.0)
    marks = [
        Mark(name="A", lat=57.0, lon=11.0),
        Mark(name="B", lat=there["lat2"], lon=there["lon2"]),
    ]
    made = planning.make(marks, boat, weather, datetime(2027, 6, 1, tzinfo=UTC))
    leg = made.legs[0]
    east, north = (-10.0 * f(np.radians(315.0)) for f in (np.sin, np.cos))
    stream = 0.4 * np.sin(np.radians(60.0)), 0.4 * np.cos(np.radians(60.0))
    held = velocity_set(boat, airs_over_water(boat, east, north, *stream))
    course = Geodesic.WGS84.Inverse(57.0, 11.0, there["lat2"], there["lon2"])
    middle = Geodesic.WGS84.Direct(57.0, 11.0, course["azi1"], course["s12"] / 2.0)
    chosen, made_good = choice(held, middle["azi2"] % 360.0)  # The loxodrome's, nearly.
    assert len(leg.boards) == len(chosen) == boards
    of_plan = sorted(
        (b.tack, b.sail_set, b.twa_deg, b.elapsed_h / leg.elapsed_h) for b in leg.boards
    )
    of_view = sorted((c.tack, c.sail_set, c.twa_deg, c.share) for c in chosen)
    for ours, theirs in zip(of_view, of_plan, strict=True):
        assert ours[:2] == theirs[:2]
        assert ours[2] == pytest.approx(theirs[2], abs=0.05)
        assert ours[3] == pytest.approx(theirs[3], abs=2e-3)
    assert made_good == pytest.approx(3.0 / leg.elapsed_h, rel=1e-3)


def test_the_curves_are_the_set_itself_thinned(brisvik):
    held = velocity_set(brisvik, AIRS)
    found = curves(held, 2.0)
    assert [(c.tack, c.sail_set) for c in found] == [(m.tack, m.name) for m in held.modes]
    everything = set(zip(held.east_kn, held.north_kn, strict=True))
    for curve in found:
        assert set(zip(curve.east_kn, curve.north_kn, strict=True)) <= everything
        assert len(curve.twa_deg) < 100
        assert np.all(np.diff(curve.twa_deg) > 0.0)
        assert np.all(np.diff(curve.twa_deg) <= 2.0 + 0.25 + 1e-9)
    jib = next(c for c in found if c.sail_set == "main and jib")
    of_jib = held.twa_deg[held.mode == 0]
    assert (jib.twa_deg[0], jib.twa_deg[-1]) == (of_jib[0], of_jib[-1])


def test_the_outline_leaves_out_what_no_eye_sees(brisvik):
    view = polar_view(velocity_set(brisvik, AIRS), 320.0)
    thin = view.outline(0.005)
    assert len(thin) < len(view.hull) / 3
    full = ConvexHull(view.hull)
    assert ConvexHull(thin).volume == pytest.approx(full.volume, rel=2e-3)
    assert float((thin @ full.equations[:, :2].T + full.equations[:, 2]).max()) < 1e-9


# ---- sets that are hardly any -------------------------------------------------------------


def test_in_a_calm_there_is_the_stream_alone(brisvik):
    held = velocity_set(replace(brisvik, sail_sets=brisvik.sail_sets[:1]), Airs(0.0, 0.0, 0.0, 1.5))
    view = polar_view(held, 0.0)
    assert view.hull.shape == (1, 2)
    assert view.hull[0] == pytest.approx([0.0, 1.5])
    assert view.made_good_kn == pytest.approx(1.5)
    assert sum(c.share for c in view.chosen) == pytest.approx(1.0)
    against = polar_view(held, 180.0)
    assert (against.chosen, against.made_good_kn) == ((), None)
    assert view.outline(0.01).shape == (1, 2)


def test_in_a_calm_without_stream_nothing_is_reached(brisvik):
    view = polar_view(velocity_set(brisvik, Airs(0.0, 0.0)), 90.0)
    assert (view.chosen, view.made_good_kn) == ((), None)
    assert np.all(view.hull == 0.0)


def test_in_a_storm_nothing_is_carried(brisvik):
    view = polar_view(velocity_set(brisvik, Airs(0.0, 70.0)), 90.0)
    assert (view.curves, view.chosen, view.made_good_kn) == ((), (), None)
    assert view.hull.shape == (0, 2)


def one_angle(twa: float) -> Boat:
    table = PolarTable(tws_kn=np.array([10.0]), twa_deg=np.array([twa]), values=np.array([[6.0]]))
    return Boat(
        name="one angle", polar_angle="track", leeway=Leeway(coefficient=0.0), manoeuvres=FREE,
        sail_sets=(SailSet(name="spinnaker", polar=table),),
    )  # fmt: skip


def test_one_angle_on_two_tacks_is_a_line():
    held = velocity_set(one_angle(120.0), Airs(0.0, 10.0))
    view = polar_view(held, 180.0)
    # 6 kn at 120° off a northerly: 3 kn made good dead downwind, half the time on each tack.
    assert view.made_good_kn == pytest.approx(3.0)
    assert [c.share for c in view.chosen] == pytest.approx([0.5, 0.5])
    assert {c.tack for c in view.chosen} == {"port", "starboard"}
    assert len(view.hull) == 2
    assert [len(c.twa_deg) for c in view.curves] == [1, 1]
    straight = polar_view(held, 120.0)
    (one,) = straight.chosen
    assert one.share == pytest.approx(1.0)
    assert straight.made_good_kn == pytest.approx(6.0)


def test_without_a_mark_nothing_is_chosen(brisvik):
    view = polar_view(velocity_set(brisvik, AIRS), None)
    assert (view.bearing_deg, view.chosen, view.made_good_kn) == (None, (), None)
    assert len(view.hull) > 10
