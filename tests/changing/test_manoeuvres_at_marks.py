"""Manoeuvres are chosen over the whole passage: a wind that does not change, but is said to, must
give the steady plan, which is worked out in closed form over all marks together.

A pole that takes ten minutes to set and as long to strike makes the choice at each mark tell.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from changing_winds import DEPARTURE, leg
from goosewing.boat.model import Manoeuvres
from goosewing.plan import make
from goosewing.records import Mark
from goosewing.weather.steady import SteadyWeather

SLOW_POLE = Manoeuvres(tack_s=25, gybe_s=45, set_pole_s=600, strike_pole_s=600, change_sails_s=300)


class Unchanging(SteadyWeather):
    """A steady wind that says of itself that it changes."""

    varies_in_time = True


def course():
    """Three legs, two of them of a couple of hours; the second turns back across the first."""
    one, two = leg(56.705, 12.3, 273.0, 15.0)
    three = leg(two.lat, two.lon, 122.0, 17.0)[1]
    four = leg(three.lat, three.lon, 178.0, 11.4)[1]
    return [
        Mark(name=name, lat=mark.lat, lon=mark.lon)
        for name, mark in zip("ABCD", (one, two, three, four), strict=True)
    ]


@pytest.mark.parametrize(
    "from_deg",
    [
        340.0,
        *(pytest.param(deg, marks=pytest.mark.long) for deg in (20.0, 80.0, 110.0, 290.0, 315.0)),
    ],
)
def test_with_a_slow_pole_the_passage_is_no_slower_than_the_steady_one(brisvik, from_deg):
    boat = replace(brisvik, manoeuvres=SLOW_POLE)
    steady = make(course(), boat, SteadyWeather(from_deg, 10.0), DEPARTURE)
    found = make(course(), boat, Unchanging(from_deg, 10.0), DEPARTURE)
    assert found.elapsed_h <= steady.elapsed_h * 1.003
    # Two boards of a leg on the ellipsoid may come in either order, not only the longer first.
    assert found.elapsed_h >= steady.elapsed_h * 0.997
