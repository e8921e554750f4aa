"""A stream that grows with the distance from a line: Zermelo's problem, solved in closed form.

Bryson & Ho, *Applied Optimal Control* (1975), section 2.7, example 2 (book not opened;
the law is derived here): ẋ = V·cos θ − V·y/h, ẏ = V·sin θ, least time to the origin.
From tan θ = tan θf − (V/h)·(tf − t):

    y/h = sec θ − sec θf,   V·(tf − t)/h = tan θf − tan θ,
    x/h = F(θ) − F(θf),     F = Λ − ½(sec θ·tan θ + Λ) + sec θf·tan θ,  Λ = ln|sec θ + tan θ|.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import fsolve

from changing_winds import DEPARTURE, FREE, Formula
from goosewing.boat.model import Boat, Leeway, PolarTable, SailSet
from goosewing.options import Options
from goosewing.plan import make
from goosewing.records import Mark

BOAT_KN, SHEAR_NM = 5.0, 10.0
DEGREE_OF_LATITUDE_NM = math.radians(6378137.0 * (1 - 0.00669437999014)) / 1852.0
DEGREE_OF_LONGITUDE_NM = math.radians(6378137.0) / 1852.0
"""At the equator of WGS 84: the radii of curvature there."""


def _f(theta, last):
    sec, tan = 1.0 / math.cos(theta), math.tan(theta)
    log = math.log(abs(sec + tan))
    return log - 0.5 * (sec * tan + log) + tan / math.cos(last)


def closed_form(x, y):
    """First and last heading [rad from +x, anticlockwise] and least time, with h = V = 1."""

    def miss(angles):
        first, last = angles
        return [
            _f(first, last) - _f(last, last) - x,
            1.0 / math.cos(first) - 1.0 / math.cos(last) - y,
        ]

    first, last = fsolve(miss, np.radians((105.0, 240.0)), xtol=1e-13)
    assert np.allclose(miss((first, last)), 0.0, atol=1e-9)
    return first, last, math.tan(last) - math.tan(first)


def isotropic():
    """A boat as fast on every angle, in every wind."""
    table = PolarTable(
        tws_kn=np.array([1.0, 100.0]), twa_deg=np.array([0.0, 90.0, 180.0]),
        values=np.full((3, 2), BOAT_KN),
    )  # fmt: skip
    return Boat(
        name="round", leeway=Leeway(coefficient=0.0), manoeuvres=FREE,
        sail_sets=(SailSet(name="all", polar=table),),
    )  # fmt: skip


def sheared(_t, lat, _lon):
    stream = -BOAT_KN * lat * DEGREE_OF_LATITUDE_NM / SHEAR_NM
    return 350.0, 30.0, np.nan, stream, 0.0


@pytest.mark.long
@pytest.mark.parametrize(
    ("x", "y", "published"),
    [(3.66, -1.86, 5.46), (3.5, -1.8, 5.26493205)],
    # Bryson & Ho give 5.46; Betts, Practical Methods for Optimal Control Using Nonlinear
    # Programming, 3rd ed., example 10.148, gives 5.26493205 (read in an optimisation
    # library's worked example).
)
def test_zermelos_shear_is_crossed_in_the_closed_forms_time(x, y, published):
    first, last, least = closed_form(x, y)
    assert least == pytest.approx(published, abs=5e-3 if published == 5.46 else 5e-7)
    marks = [
        Mark(
            name="A",
            lat=y * SHEAR_NM / DEGREE_OF_LATITUDE_NM,
            lon=x * SHEAR_NM / DEGREE_OF_LONGITUDE_NM,
        ),
        Mark(name="B", lat=0.0, lon=0.0),
    ]
    weather = Formula(sheared, in_time=False, in_place=True)
    plan = make(marks, isotropic(), weather, DEPARTURE, Options(shortest_board_min=0))
    taken = plan.elapsed_h * BOAT_KN / SHEAR_NM
    assert taken <= least * 1.003
    # Constant headings, piece by piece, can't beat the best of all.
    assert taken >= least * (1.0 - 1e-4)
    assert plan.bound_h is None
    assert plan.relaxed_h <= plan.elapsed_h
    boards = plan.legs[0].boards
    headings = [boards[0].heading_deg, boards[-1].points[-1].heading_deg]
    for heading, theta in zip(headings, (first, last), strict=True):
        off = (heading - (90.0 - math.degrees(theta)) + 180.0) % 360.0 - 180.0
        assert abs(off) < 4.0
