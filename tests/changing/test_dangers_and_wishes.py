"""What dangers do to orders: nothing where they are far; where they are near, what is said."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise

import numpy as np
from shapely import Polygon, box

from changing_winds import DEPARTURE, Formula, leg
from goosewing.hazards.areas import Area, Hazards
from goosewing.options import Options
from goosewing.plan import make

MARKS = leg(57.0, 11.0, 90.0, 50.0)


def swinging():
    """A breeze from about north."""
    return Formula(lambda t, *_: (20.0 * np.sin(t / 6.0), 10.0, np.nan, 0.0, 0.0))


def cape():
    """Land across the straight course, that is passed to the south."""
    return Polygon([(11.6, 57.3), (11.6, 56.92), (11.75, 56.9), (11.9, 56.92), (11.9, 57.3)])


def planned(brisvik, *shapes, **options):
    hazards = Hazards.of([Area(shape=shape) for shape in shapes], 0.1) if shapes else None
    return make(MARKS, brisvik, swinging(), DEPARTURE, Options(**options), hazards=hazards)


def test_a_danger_far_off_changes_nothing(brisvik):
    alone = planned(brisvik, watch_h=2.0)
    beside = planned(brisvik, box(11.7, 57.2, 11.72, 57.22), watch_h=2.0)
    orders = [
        [order for board in plan.legs[0].boards for order in board.orders]
        for plan in (alone, beside)
    ]
    assert orders[0] == orders[1]
    assert beside.elapsed_h == alone.elapsed_h


def freshening():
    """A breeze from north that changes in strength only: no order is due to a shift."""
    return Formula(lambda t, *_: (0.0, 10.0 + 2.0 * np.sin(t / 3.0), np.nan, 0.0, 0.0))


def test_orders_that_land_asks_for_sooner_than_the_watch_are_told(brisvik):
    hazards = Hazards.of([Area(shape=cape())], 0.1)
    seen = set()
    for watch_h in (0.5, 2.0, 6.0):
        plan = make(
            MARKS, brisvik, freshening(), DEPARTURE, Options(watch_h=watch_h), hazards=hazards
        )
        soonest = min(
            (
                after.time - order.time
                for board in plan.legs[0].boards
                for order, after in pairwise(board.orders)
            ),
            default=timedelta(days=1),
        )
        told = [note for note in plan.notices if "sooner than the watch of" in note]
        assert bool(told) == (soonest < timedelta(hours=0.99 * watch_h))
        seen.add(bool(told))
    assert True in seen


def test_boards_shorter_than_asked_for_are_told(brisvik):
    # Out of a bay that opens to the west, then east to the mark: its mouth is an hour away, so
    # that boards of three hours lead nowhere.
    bay = Polygon(
        [(11.05, 57.3), (11.05, 56.7), (10.9, 56.7), (10.9, 56.68), (11.07, 56.68), (11.07, 57.32),
         (10.9, 57.32), (10.9, 57.3)]
    )  # fmt: skip
    plan = planned(brisvik, bay, shortest_board_min=180.0)
    shortest_h = min(board.elapsed_h for board in plan.legs[0].boards)
    told = [note for note in plan.notices if "shorter than the 180 min asked for" in note]
    assert bool(told) == (len(plan.legs[0].boards) > 1 and shortest_h < 2.9)
