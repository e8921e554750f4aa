"""Wind that turns with time, the same everywhere: held against a linear programme by HiGHS.

The least time to make a displacement D good is ``min T: D = Σ Δt·conv(U(t))``, U the
velocities held at t. The test samples them from the polar, takes their hull by
qhull and solves the programme by `scipy.optimize.linprog`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.spatial import ConvexHull

from changing_winds import DEPARTURE, FREE, START_H, leg, turning
from goosewing.boat.model import sailing
from goosewing.changing import least_time
from goosewing.changing.motion import Waters
from goosewing.earth.course import course_between
from goosewing.options import Options
from goosewing.plan import make

STEP_H = 0.1
SAMPLED_DEG = 0.5

CASES = [
    (20, 0, 5, (0, 0)),
    (20, 0, -3, (0, 0)),
    (40, 0, 4, (0.5, 0.5)),
    (20, 180, 5, (0, 0)),
    (40, 180, -3, (0, 0.7)),
    (30, 90, 6, (0, 0)),
    (60, 20, 2, (0, 0)),
    (60, 160, 2, (0, 0)),
    (10, 0, 10, (0, 0)),
    (30, 190, 10, (0, -1)),
]
"""Distance [nm], bearing [°], the wind's turning [°/h] from north at the start, stream [kn]."""


def held_velocities(boat, weather, time_h):
    """Hull vertices of the velocities over the ground that can be held, shape (n, 2)."""
    here = weather.at(time_h, 0.0, 11.0)
    stream = np.array([float(here.stream_east_kn), float(here.stream_north_kn)])
    east, north = float(here.wind_east_kn) - stream[0], float(here.wind_north_kn) - stream[1]
    twd, tws = np.degrees(np.arctan2(-east, -north)), np.hypot(east, north)
    angles = np.arange(0.0, 180.0 + SAMPLED_DEG / 2, SAMPLED_DEG)
    points = []
    for number in range(len(boat.sail_sets)):
        held = sailing(boat, number, angles, tws)
        ok = held.possible
        for side in (1, -1):
            track = np.radians(twd + side * held.track_angle_deg[ok])
            speed = held.boat_speed_kn[ok]
            points.append(np.column_stack((speed * np.sin(track), speed * np.cos(track))))
    every = np.vstack(points) + stream
    return every[ConvexHull(every).vertices]


def farthest(velocities, displacement):
    """How many times the displacement can be made in all these steps, by the programme."""
    sizes = [len(v) for v in velocities]
    step_of = np.repeat(np.arange(len(sizes)), sizes)
    share = (step_of == np.arange(len(sizes))[:, np.newaxis]).astype(float)
    gained = np.column_stack((np.vstack(velocities).T, -displacement))
    answer = linprog(
        np.append(np.zeros(len(step_of)), -1.0),
        A_ub=np.column_stack((share, np.zeros(len(sizes)))), b_ub=np.full(len(sizes), STEP_H),
        A_eq=gained, b_eq=np.zeros(2), method="highs",
    )  # fmt: skip
    assert answer.status == 0, answer.message
    return -float(answer.fun)


def least_time_h(boat, weather, displacement, guess_h):
    """The time in which it can be made once: between the last step too few and the first enough."""
    count = int(guess_h / STEP_H) + 3
    velocities = [
        held_velocities(boat, weather, START_H + (i + 0.5) * STEP_H) for i in range(count)
    ]
    made = {0: 0.0, count: farthest(velocities, displacement)}
    few, enough = 0, count
    while enough - few > 1:
        # Progress is nearly even: guess by it, so that a handful of programmes do.
        even = few + (1.0 - made[few]) / (made[enough] - made[few]) * (enough - few)
        middle = min(max(int(even), few + 1), enough - 1)
        made[middle] = farthest(velocities[:middle], displacement)
        few, enough = (middle, enough) if made[middle] < 1.0 else (few, middle)
    return STEP_H * (few + (1.0 - made[few]) / (made[enough] - made[few]))


@pytest.mark.long
@pytest.mark.parametrize(("nm", "bearing", "rate", "stream"), CASES)
def test_a_plan_comes_within_half_a_per_cent_of_the_linear_programme(
    brisvik, nm, bearing, rate, stream
):
    boat = replace(brisvik, manoeuvres=FREE)
    weather = turning(rate, stream=stream)
    marks = leg(0.0, 11.0, bearing, nm)
    plan = make(
        leg(0.0, 11.0, bearing, nm), boat, weather, DEPARTURE, Options(shortest_board_min=0)
    )
    # On the equator's ellipsoid a mile of latitude is a little shorter than one of
    # longitude; over these distances the geodesic's bearing and length are the plane's.
    angle = np.radians(bearing)
    displacement = nm * np.array([np.sin(angle), np.cos(angle)])
    least = least_time_h(boat, weather, displacement, plan.elapsed_h)
    assert plan.elapsed_h <= least * 1.005
    assert plan.elapsed_h >= least * 0.999
    # The plan's own bound is never above its time; the sum behind it is asked for by itself.
    a, b = marks
    course = course_between(a.lat, a.lon, b.lat, b.lon)
    bound_h = least_time.least_time_h(Waters(boat, weather), course, START_H, 1.05 * plan.elapsed_h)
    assert bound_h == pytest.approx(least, rel=1e-4)
    assert plan.bound_h == pytest.approx(min(bound_h, plan.elapsed_h), rel=1e-6)
    assert plan.relaxed_h is None
