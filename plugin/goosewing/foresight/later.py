"""What wind and stream become: at the last mark from the arrival on, elsewhere if she is late.

Only looked up; where nothing changes with time nothing is told.
"""

from __future__ import annotations

from datetime import UTC, timedelta
from typing import TYPE_CHECKING

import numpy as np

from goosewing.foresight.met import wind_and_stream
from goosewing.records import Foreseen, Later, Tide
from goosewing.turns import stops
from goosewing.weather.base import hours_from_datetime
from goosewing.weather.combine import high_waters

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from goosewing.records import Plan, WindAndStream
    from goosewing.weather.base import Weather

AFTER = timedelta(hours=3)
"""So long after the arrival it is told what wind and stream do: half a tide."""

STEP = timedelta(minutes=30)

SHORT_H = 4.0
"""So short a passage is told every half hour: a stream turns within it."""

DELAYS_H, LONG_DELAYS_H = (0.0, 1.0 / 3.0, 1.0, 2.0), (0.0, 1.0, 3.0, 6.0)
"""How late she may be, on time first: by day, and on a passage of `LONG_H` or more. [h]"""

LONG_H = 18.0

MOST_PLACES = 12
"""Of more places the marks and turns alone are told, then the marks, and of these the last."""

A_TIDE = timedelta(hours=13)
"""No longer than this lies between two high waters, but for a missing one."""


def afterwards(plan: Plan, weather: Weather) -> tuple[Foreseen, ...]:
    """Tell wind and stream at the last mark from the arrival on, at half hours or full ones.

    In the steps in which the passage itself is told: a short one by half hours.
    """
    if not weather.varies_in_time:
        return ()
    times = [plan.arrival]
    first = plan.arrival.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    at, step = first, STEP if plan.elapsed_h <= SHORT_H else 2 * STEP
    while at < plan.arrival + AFTER:
        at += step
        if at > plan.arrival:
            times.append(at)
    mark = plan.marks[-1]
    found = _met(weather, times, mark.lat, mark.lon)
    return tuple(
        Foreseen(time=time, weather=here)
        for time, here in zip(times, found, strict=True)
        if here is not None
    )


def delays_h(plan: Plan) -> tuple[float, ...]:
    """Return how late she may be, on time first: what is late depends on the passage. [h]."""
    return DELAYS_H if plan.elapsed_h < LONG_H else LONG_DELAYS_H


def later(plan: Plan, weather: Weather) -> tuple[Later, ...]:
    """Tell wind and stream at marks and turns, on time and late."""
    if not weather.varies_in_time:
        return ()
    every = [stop for stop in stops(plan) if stop.time is not None]
    if len(every) > MOST_PLACES:
        every = [stop for stop in every if stop.order is None]
    if len(every) > MOST_PLACES:
        every = [stop for stop in every if stop.mark is not None][-MOST_PLACES:]
    found, delays = [], delays_h(plan)
    for stop in every:
        assert stop.time is not None
        # Of a turn that takes minutes it is told what its board begins with, as elsewhere.
        begins = stop.board.start.time if stop.board and stop.order is None else None
        times = [(begins or stop.time) + timedelta(hours=delay) for delay in delays]
        found.append(
            Later(
                point=stop.name or "turn", lat=stop.lat, lon=stop.lon, time=stop.time,
                delays_h=delays, weather=tuple(_met(weather, times, stop.lat, stop.lon)),
            )
        )  # fmt: skip
    return tuple(found)


def _met(
    weather: Weather, times: Sequence[datetime], lat: float, lon: float
) -> list[WindAndStream | None]:
    time_h = np.array([hours_from_datetime(time) for time in times])
    places = (np.full(len(times), value) for value in (lat, lon))
    return wind_and_stream(weather, time_h, *places)


def tides(plan: Plan, weather: Weather) -> tuple[Tide, ...]:
    """Tell the high waters about a passage, if its stream hangs on tables of the tide."""
    port, found = high_waters(weather)
    first, last = plan.departure - A_TIDE, plan.arrival + A_TIDE
    return tuple(
        Tide(port=port, time=each.time.astimezone(UTC), range_m=each.range_m)
        for each in found
        if first <= each.time <= last
    )
