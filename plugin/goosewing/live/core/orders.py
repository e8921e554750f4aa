"""What plan is wanted, and the making of it: from an order to `goosewing.plan.make`."""

from __future__ import annotations

import math
from datetime import datetime
from typing import TYPE_CHECKING

from goosewing import plan as planning
from goosewing.compass.headings import with_variation
from goosewing.live.core import shifty
from goosewing.live.core.copies import replace
from goosewing.live.core.damping import from_deg, strength_kn, towards_deg, turned_deg, vector
from goosewing.live.core.sensing import (
    carried,
    heard,
    stream_doubt_kn,
    stream_kn,
    variation_deg,
)
from goosewing.live.core.state import (
    Desk,
    Order,
    Outlook,
    Pending,
    PlanReady,
    Reason,
    Route,
    State,
)
from goosewing.marks.from_here import starting_here
from goosewing.options import Options
from goosewing.turns import LETTERS, names, stops
from goosewing.units import SECONDS_PER_HOUR
from goosewing.weather.base import datetime_from_hours
from goosewing.weather.combine import hold_last
from goosewing.weather.series import series
from goosewing.weather.steady import SteadyWeather
from goosewing.words.figures import give_or_take, manoeuvre_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from goosewing.records import Board, Plan, Tack
    from goosewing.turns import Stop
    from goosewing.weather.base import Weather

FORECAST_TAKES_OVER_S = 3600.0
"""The measured wind is believed now and passes into the forecast's within the hour:
common practice, no source."""


def wanted(state: State, route: Route, reason: Reason, desk: Desk) -> Order:
    """Write down the plan that is wanted now, from the wind, the stream and the place of now."""
    assert state.wind is not None
    known = stream_kn(state, desk)
    stream = known or (0.0, 0.0)
    wind = shifty.planned_for(state, desk)
    east, north = wind[0] + stream[0], wind[1] + stream[1]
    marks = route.marks[max(route.next - 1, 0) :]
    if route.from_here:
        assert state.place is not None
        marks = starting_here(route.marks[route.next :], state.place.lat, state.place.lon).marks
    return Order(
        number=state.orders + 1,
        reason=reason.words,
        quiet=reason.quiet,
        keeps=reason.keeps,
        time_s=state.now_s,
        marks=marks,
        route_id=route.id,
        next=route.next,
        wind_from_deg=from_deg(east, north),
        wind_kn=math.hypot(east, north),
        set_deg=towards_deg(*stream),
        drift_kn=math.hypot(*stream),
        stream_doubt_kn=stream_doubt_kn(state, desk),
        forecast=route.forecast,
        start_tack=_known_tack(state) if route.from_here else None,
        start_with=carried(state) if route.from_here else None,
        shift_deg=_shift(state),
        wants_rule=shifty.wants_rule(state, desk),
        behind=route.marks[route.next - 1] if route.from_here and route.next > 0 else None,
        hasty=not heard(state, desk),
    )


def _known_tack(state: State) -> Tack | None:
    """Return the tack she is on: under a poled headsail no wind tells it, but the plan does."""
    if state.planned is None:
        return state.tack
    boards = state.planned.plan.legs[0].boards
    board = boards[state.planned.board_at(state.board)]
    return board.tack if board.poled or state.tack is None else state.tack


def _shift(state: State) -> float:
    if state.planned is None or state.wind is None or strength_kn(state.wind) < 1.0:
        return 0.0
    east, north = expected_wind(state.planned.order, state.now_s)
    return turned_deg(from_deg(state.wind.east_kn, state.wind.north_kn), from_deg(east, north))


def expected_wind(order: Order, time_s: float) -> tuple[float, float]:
    """Return the wind over the water that a plan counts on, *towards* east and north. [kn]."""
    rows = rows_of(order)
    stream = expected_stream(order, time_s)
    wind = _between([(r.time_s, *vector(r.wind_from_deg + 180.0, r.wind_kn)) for r in rows], time_s)
    return wind[0] - stream[0], wind[1] - stream[1]


def expected_stream(order: Order, time_s: float) -> tuple[float, float]:
    """Return the stream that a plan counts on, *towards* east and north. [kn]."""
    rows = rows_of(order)
    return _between(
        [(r.time_s, *vector(r.set_deg or 0.0, r.drift_kn or 0.0)) for r in rows], time_s
    )


def _between(rows: Sequence[tuple[float, float, float]], time_s: float) -> tuple[float, float]:
    after = next((at for at, row in enumerate(rows) if row[0] >= time_s), None)
    if after is None:
        return rows[-1][1:]
    if after == 0:
        return rows[0][1:]
    (t0, e0, n0), (t1, e1, n1) = rows[after - 1], rows[after]
    share = (time_s - t0) / (t1 - t0)
    return e0 + share * (e1 - e0), n0 + share * (n1 - n0)


def rows_of(order: Order) -> tuple[Outlook, ...]:
    """Return the wind the order counts on: what is measured now, then the forecast."""
    now = Outlook(
        time_s=order.time_s,
        wind_from_deg=order.wind_from_deg,
        wind_kn=order.wind_kn,
        set_deg=order.set_deg,
        drift_kn=order.drift_kn,
    )
    later = [r for r in order.forecast if r.time_s >= order.time_s + FORECAST_TAKES_OVER_S]
    # A forecast that says nothing of the stream does not make it vanish.
    kept = [
        r if r.drift_kn is not None else replace(r, set_deg=now.set_deg, drift_kn=now.drift_kn)
        for r in later
    ]
    return (now, *kept)


def weather_of(order: Order) -> Weather:
    """Return the wind and stream of an order: steady, or measured passing to forecast."""
    rows = rows_of(order)
    if len(rows) == 1:
        return SteadyWeather(order.wind_from_deg, order.wind_kn, order.set_deg, order.drift_kn)
    return hold_last(
        series(
            [row.time_s / SECONDS_PER_HOUR for row in rows],
            [row.wind_from_deg for row in rows],
            [row.wind_kn for row in rows],
            gust_kn=[math.nan if row.gust_kn is None else row.gust_kn for row in rows],
            set_deg=[row.set_deg or 0.0 for row in rows],
            drift_kn=[row.drift_kn or 0.0 for row in rows],
        )
    )


def _utc(time_s: float) -> datetime:
    return datetime_from_hours(time_s / 3600.0)


def carry_out(order: Order, desk: Desk) -> Plan:
    """Make the plan.

    Raises
    ------
    InputError, NoPlanError
        As `goosewing.plan.make`.
    """
    options = Options(
        # Without a leg of its own a corridor is drawn from where she is, so that either board
        # may come first: just gone about at its edge, she would be sent back at once.
        first=order.start_tack if desk.corridor_nm is not None and order.behind is None else None,
        margin_deg=desk.margin_deg,
        corridor_nm=desk.corridor_nm,
        corridor_from=None if order.behind is None else (order.behind.lat, order.behind.lon),
        shortest_board_min=desk.shortest_board_min,
        start_tack=order.start_tack,
        start_with=order.start_with,
        source="Wind and stream measured now, then by forecast",
    )
    chart = desk.chart
    made = planning.make(
        order.marks, desk.boat, weather_of(order), _utc(order.time_s), options,
        notices=() if chart is None else chart.notices,
        hazards=None if chart is None else chart.around(order.marks),
    )  # fmt: skip
    return replace(made, conditions=f"{made.conditions} {stream_words(order)}".strip())


def stream_words(order: Order) -> str:
    """Say how well the stream of an order is known, wherever the plan goes."""
    doubt = order.stream_doubt_kn
    if doubt is None:
        return "The stream is not known: none is reckoned with."
    return f"The stream is as measured under way, {give_or_take(doubt)}."


def made(order: Order, desk: Desk) -> PlanReady:
    """Make the plan, and with it the rule for shifts where one is wanted.

    Raises
    ------
    InputError, NoPlanError
        As `goosewing.plan.make`.
    """
    return shifty.worked_out(order, desk, carry_out(order, desk))


def by_compass(plan: Plan, state: State, desk: Desk) -> Plan:
    """Fill in the magnetic headings of a plan, where a variation is known."""
    variation = variation_deg(state, desk)
    return plan if variation is None else with_variation(plan, lambda *_: variation)


def turn_words(board: Board) -> str:
    """Say what is done where a board begins."""
    kinds = [each.kind for each in board.manoeuvres]
    if not kinds:
        return "alter course"
    return manoeuvre_words(kinds, board.tack, board.sail_set)


def stop_words(stop: Stop) -> str:
    """Say what is done at a turning point."""
    if stop.order is not None or stop.board is None:
        return "alter course"
    return turn_words(stop.board)


def still_called(plan: Plan, waits: Pending) -> Plan:
    """Return a plan in which a turn that the crew waits for keeps its name."""
    letter = waits.point.rstrip("0123456789")
    for stop in stops(plan):
        if stop.leg > 0 or stop.board is None or stop.order is not None:
            continue
        due = stop.mark is None or stop.manoeuvres
        onto = (stop.board.tack, stop.board.sail_set) == (waits.tack, waits.sail_set)
        if due and onto and LETTERS[stop.kind] == letter:
            boards = list(plan.legs[0].boards)
            boards[stop.at] = replace(stop.board, point=waits.point)
            first = replace(plan.legs[0], boards=tuple(boards))
            return replace(plan, legs=(first, *plan.legs[1:]))
    return plan


def last_names(used: Iterable[str], plan: Plan) -> tuple[str, ...]:
    """Return the highest name of each letter that was ever used: all that must be remembered.

    Examples
    --------
    >>> _highest(["T1", "T12", "A2", "T3"])
    ('A2', 'T12')
    """
    return _highest([*used, *names(plan)])


def _highest(every: Iterable[str]) -> tuple[str, ...]:
    best: dict[str, int] = {}
    for name in every:
        letter, number = name.rstrip("0123456789"), name.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
        if number.isdigit():
            best[letter] = max(best.get(letter, 0), int(number))
    return tuple(f"{letter}{number}" for letter, number in sorted(best.items()))
