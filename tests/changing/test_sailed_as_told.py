"""Plans sailed by a stranger, order by order, and held against the search they came from."""

from __future__ import annotations

from functools import partial
from itertools import pairwise

import numpy as np
import pytest

from changing_winds import DEPARTURE, START_H, front
from goosewing.changing import solver
from goosewing.changing.motion import BY_THE_LEE_DEG
from goosewing.changing.ways import Search
from goosewing.errors import OutsideForecastError
from goosewing.exchange.document import plan_document
from goosewing.options import Options
from goosewing.plan import make
from ocean_fields import OCEANS, invented_ocean
from order_sailor import hours, sail_plan

SHORT = [0, 4, 11, 23, 35, 47]
"""Seeds of fronts that are always sailed; the others of a hundred are a long test."""

OCEAN_SAMPLE = (2,)


@pytest.fixture
def searched(monkeypatch):
    """Note what the search of each plan found, in hours."""
    found = []
    search = solver._search_all

    def noted(*args, **kwargs):
        ways = search(*args, **kwargs)
        found.append(ways[-1].arrival_h - START_H)
        return ways

    monkeypatch.setattr(solver, "_search_all", noted)
    return found


def check_sailed_as_told(boat, weather, plan, *, watch_h=2.0):
    document = plan_document(plan)
    boards = [board for leg in document["legs"] for board in leg["boards"]]
    for board, sailed in zip(boards, sail_plan(boat, weather, document), strict=True):
        assert sailed.as_told, (board["start"], sailed)
        assert sailed.by_the_lee_deg <= BY_THE_LEE_DEG + 0.5
        # He looks oftener than the plan does: the bow may touch the table's edge between.
        assert sailed.outside_deg <= 0.5
        assert sailed.wrong_side_h == 0.0
        check_orders(board, watch_h)


def check_orders(board, watch_h):
    """The first is the board's own; the next comes after a watch, or when the wind has moved."""
    orders = board["orders"]
    own = [board[name] for name in ("steer", "heading_deg", "twa_deg")]
    assert [orders[0][name] for name in ("steer", "heading_deg", "twa_deg")] == own
    assert orders[0]["time"] == board["start"]["time"]
    for order, after in pairwise(orders):
        begin, end = hours(order["time"]), hours(after["time"])
        if end - begin < watch_h * 0.999:
            assert end - begin > 0.3
            assert wind_moved_deg(board, begin, end) >= 8.0


def wind_moved_deg(board, begin, end):
    """Degrees through which the wind over the water turned, back and forth counted."""
    side = 1.0 if board["tack"] == "port" else -1.0
    points = [each for each in board["points"] if begin - 0.01 <= hours(each["time"]) <= end + 0.01]
    from_deg = np.array([each["heading_deg"] - side * each["twa_deg"] for each in points])
    return float(np.abs(np.diff(np.unwrap(from_deg, period=360.0))).sum())


@pytest.mark.parametrize("seed", SHORT)
def test_a_short_passage_with_a_front_is_sailed_as_told(brisvik, searched, seed):
    marks, weather = front(seed)
    plan = make(marks, brisvik, weather, DEPARTURE)
    check_sailed_as_told(brisvik, weather, plan)
    assert plan.elapsed_h <= searched[0] + 1.0 / 60.0


@pytest.mark.long
@pytest.mark.parametrize("seed", [seed for seed in range(100) if seed not in SHORT])
def test_so_are_a_hundred(brisvik, searched, seed):
    test_a_short_passage_with_a_front_is_sailed_as_told(brisvik, searched, seed)


@pytest.mark.parametrize("seed", OCEAN_SAMPLE)
def test_days_at_sea_are_sailed_as_told(brisvik, searched, seed):
    ocean = invented_ocean(seed)
    weather = ocean.weather(step_h=3.0)
    plan = make(ocean.marks, brisvik, weather, DEPARTURE)
    check_sailed_as_told(brisvik, weather, plan)
    # A board may be left out that gained less than it is worth, and a few seconds an order.
    assert plan.elapsed_h <= searched[0] + 1.0 / 60.0 + 1e-4 * searched[0]
    assert plan.relaxed_h <= plan.elapsed_h


@pytest.mark.long
@pytest.mark.parametrize("seed", [seed for seed in OCEANS if seed not in OCEAN_SAMPLE])
def test_so_are_all_the_invented_oceans(brisvik, searched, seed):
    try:
        test_days_at_sea_are_sailed_as_told(brisvik, searched, seed)
    except OutsideForecastError as said:
        pytest.skip(str(said))


@pytest.mark.long
@pytest.mark.parametrize("seed", OCEANS)
def test_a_search_four_times_finer_gains_next_to_nothing(brisvik, monkeypatch, seed):
    ocean = invented_ocean(seed)
    weather = ocean.weather(step_h=3.0)
    usual = make(ocean.marks, brisvik, weather, DEPARTURE)
    monkeypatch.setattr(solver, "Search", partial(Search, fineness=4.0))
    finer = make(ocean.marks, brisvik, weather, DEPARTURE)
    assert usual.elapsed_h <= finer.elapsed_h * 1.005


@pytest.mark.long
def test_a_longer_watch_gives_fewer_orders_and_costs_little(brisvik):
    ocean = invented_ocean(3)
    weather = ocean.weather(step_h=3.0)
    plans = [
        make(ocean.marks, brisvik, weather, DEPARTURE, Options(watch_h=watch))
        for watch in (1.0, 4.0)
    ]
    often, seldom = (
        sum(len(board.orders) for leg in plan.legs for board in leg.boards) for plan in plans
    )
    assert seldom < often
    assert plans[0].elapsed_h * 0.9995 <= plans[1].elapsed_h <= plans[0].elapsed_h * 1.01
    check_sailed_as_told(brisvik, weather, plans[1], watch_h=4.0)
