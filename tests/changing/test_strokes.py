"""A wind that shifts at a stroke: exact integration, orders cut there, and a bound that is one.

Hand sums: until the shift she beats, after it she reaches, each at the speed of the steady plan.
"""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from changing_winds import DEPARTURE, START_H, Formula, leg
from goosewing.changing.strokes import strokes_h
from goosewing.plan import make
from goosewing.weather.base import datetime_from_hours
from goosewing.weather.steady import SteadyWeather

SHIFTS_H = 6.0


def shifting():
    """Ten knots from north, then from east."""
    return Formula(lambda t, *_: (np.where(t < SHIFTS_H, 0.0, 90.0), 10.0, np.nan, 0.0, 0.0))


@pytest.mark.parametrize("after_h", [2.9, 3.0, 3.5, 3.6, 4.1, 4.37])
def test_up_to_the_stroke_she_beats_and_after_it_she_reaches(brisvik, after_h):
    marks = leg(57.0, 11.0, 0.0, 20.0)
    made = make(marks, brisvik, shifting(), DEPARTURE + timedelta(hours=after_h))
    beat = make(marks, brisvik, SteadyWeather(0.0, 10.0), DEPARTURE)
    reach = make(marks, brisvik, SteadyWeather(90.0, 10.0), DEPARTURE)
    # Without manoeuvres: what the beat leaves after so many hours is reached.
    beating_h = SHIFTS_H - after_h
    least_h = beating_h + (1.0 - beating_h / beat.bound_h) * reach.bound_h
    # On the beat she may go to either side of the mark, by which she then reaches at a better
    # angle: sooner, by what a reach a few degrees freer or closer gains.
    assert made.bound_h == pytest.approx(least_h, rel=0.03)
    assert made.bound_h < least_h + 1e-3
    turns_h = sum(each.cost_s for each in made.legs[0].manoeuvres) / 3600.0
    assert turns_h == pytest.approx(brisvik.manoeuvres.tack_s / 3600.0)
    # The bound is one, and all that the plan is above it is its tack, in which she lies still.
    assert made.bound_h <= made.elapsed_h <= made.bound_h + turns_h + 2e-4 * made.elapsed_h


def test_an_order_is_given_at_the_stroke(brisvik):
    made = make(leg(57.0, 11.0, 0.0, 20.0), brisvik, shifting(), DEPARTURE + timedelta(hours=3.5))
    times = [order.time for board in made.legs[0].boards for order in board.orders]
    apart = [abs(time - datetime_from_hours(START_H + SHIFTS_H)) for time in times]
    assert min(apart) < timedelta(seconds=5)


def test_strokes_are_found_to_a_second_and_steep_fronts_are_none():
    def wind(t, *_):
        front = 90.0 + 60.0 * np.tanh((t - 20.0) / 0.05)
        return np.where(t < 7.123, front, front + 40.0), 10.0 + 0.3 * (t > 3.0), np.nan, 0.0, 0.0

    found = strokes_h(Formula(wind), 57.0, 11.0, START_H, START_H + 48.0)
    assert np.array(found) - START_H == pytest.approx([7.123], abs=1.0 / 3600.0)


def test_a_weather_that_is_steady_has_no_strokes():
    assert strokes_h(SteadyWeather(0.0, 10.0), 57.0, 11.0, START_H, START_H + 99.0) == ()
