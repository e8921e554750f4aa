"""When to leave: the same passage planned for many times of departure, and what each would be like.

Every departure is a plan of its own, so that they can be made side by side: by one
process, or by any `concurrent.futures.Executor`. Where a case is planned changes no digit of
it, as long as the libraries of linear algebra have the same number of threads there (their
sums of products hang on it in the last bit).

What is counted on the way:

- *close-hauled*: under sail with the bow within 60° of the true wind, where the boat
  file's upwind factor holds in full. Common practice, no source.
- *wind against stream*: the ground wind blows from within 60° of where a stream of more
  than 1 kn sets to. Common practice, no source.
- *dead downwind*: under sail within 10° of straight before the true wind, where a
  small shift or a wave gybes her. Common practice, no source.
- *night*: between sunset and sunrise at the place where she then is (`goosewing.earth.sun`).
- *strongest wind and gust*: over the ground, at the forecast's height, as forecasts are read.
"""

from __future__ import annotations

import pickle
from concurrent.futures import as_completed
from dataclasses import replace
from datetime import UTC, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

import numpy as np

from goosewing import plan as plans
from goosewing.case import Case
from goosewing.earth.sun import is_daylight
from goosewing.errors import NoPlanError, OutsideForecastError
from goosewing.options import Options
from goosewing.records import DEAD_DOWNWIND_DEG, Departure
from goosewing.totals import time_of
from goosewing.weather.base import hours_from_datetime

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from concurrent.futures import Executor, Future
    from datetime import datetime

    from goosewing.boat.model import Boat
    from goosewing.records import Board, Mark, Plan
    from goosewing.units import Array, BoolArray
    from goosewing.weather.base import Conditions, Weather

    Progress = Callable[[int, int], None]

_Found = TypeVar("_Found")

CLOSE_HAULED_DEG = 60.0
"""Bow's angle to the true wind up to which she counts as close-hauled. [°]"""

AGAINST_DEG = 60.0
"""Angle between the wind's origin and the stream's set up to which the two meet. [°]"""

AGAINST_KN = 1.0
"""A weaker stream raises no sea worth counting. Common practice, no source. [kn]"""

LOOK_H = 1.0 / 60.0
"""So often the way is looked at: every minute. [h]"""

MOST_LOOKS = 50_000

CHUNKS = 16
"""Into so many parcels the cases are cut for an executor whose workers hold nothing yet."""


def planned_at(case: Case, time: datetime) -> Departure:
    """Plan a case's departure at another time; a passage that can't be made says why.

    Raises
    ------
    InputError
        As `goosewing.plan.make`: what is wrong with one departure is wrong with all.
    """
    time = time.astimezone(UTC)
    try:
        made = _made(replace(case, departure=time))
    except NoPlanError as error:
        soon = isinstance(error, OutsideForecastError) and error.ends_too_soon
        return Departure(departure=time, reason=str(error), ends_too_soon=soon)
    return judged(made, case.weather)


def _made(case: Case) -> Plan:
    if case.depths is None:
        return plans.of_case(case)
    from goosewing.departures.own_tide import planned_in_time

    return planned_in_time(case)


def departures(
    marks: Sequence[Mark],
    boat: Boat,
    weather: Weather,
    times: Sequence[datetime],
    options: Options | None = None,
    *,
    hazards: Any = None,
    notices: Sequence[str] = (),
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> tuple[Departure, ...]:
    """Plan the passage for every time of departure, the best first.

    Parameters
    ----------
    marks, boat, weather, options, hazards, notices
        As `goosewing.plan.make`.
    times : sequence of datetime
        Aware.
    executor : Executor, optional
        Plans parcels of cases side by side: threads, processes, or other machines. Boat and
        weather go along once a parcel, and a worker keeps them. None: here, one by one.
    progress : callable, optional
        Told how many are done, and of how many.

    Returns
    -------
    tuple of Departure
        As `best_first`; those without a plan stand last.

    Raises
    ------
    InputError
        As `goosewing.plan.make`.
    """
    for time in times:
        hours_from_datetime(time)
    if not times:
        return ()
    case = Case(
        marks=tuple(marks), boat=boat, weather=weather, departure=times[0],
        options=options or Options(), hazards=hazards, notices=tuple(notices),
    )  # fmt: skip
    if executor is None:
        return best_first(_one_by_one(case, times, progress))
    payload = pickle.dumps(case)
    parcels = [_Parcel(payload, chunk) for chunk in in_chunks(times, CHUNKS)]
    return best_first(gathered(executor, _unpacked, parcels, len(times), progress))


def _one_by_one(
    case: Case, times: Sequence[datetime], progress: Progress | None
) -> Iterable[Departure]:
    for done, time in enumerate(times, 1):
        yield planned_at(case, time)
        if progress is not None:
            progress(done, len(times))


def best_first(found: Iterable[Departure]) -> tuple[Departure, ...]:
    """Put the shortest passage first; of those equal to the minute, an arrival by day.

    Of what still is equal the earlier departure comes first; those without a plan last.
    """
    return tuple(sorted(found, key=_rank))


def _rank(each: Departure) -> tuple[float, bool, datetime]:
    minutes = np.inf if each.elapsed_h is None else float(round(each.elapsed_h * 60.0))
    return minutes, not each.arrives_in_daylight, each.departure


# ---- side by side ----------------------------------------------------------------------------


class _Parcel(NamedTuple):
    """Cases that travel together, with what they have in common."""

    case: bytes
    times: tuple[datetime, ...]


def in_chunks(times: Sequence[datetime], count: int) -> list[tuple[datetime, ...]]:
    """Cut times into at most so many parts of nearly the same length, in their order."""
    size = max(1, -(-len(times) // count))
    return [tuple(times[at : at + size]) for at in range(0, len(times), size)]


def _unpacked(parcel: _Parcel) -> tuple[Departure, ...]:
    case = _case_of(parcel.case)
    return tuple(planned_at(case, time) for time in parcel.times)


@lru_cache(maxsize=1)
def _case_of(payload: bytes) -> Case:
    # A worker unpacks boat and weather once, however many parcels it is given.
    case: Case = pickle.loads(payload)
    return case


_held: list[Case] = []


def hold(case: Case) -> None:
    """Keep a case in this process: what the processes of a pool of one's own begin with."""
    _held[:] = [case]


def held_case() -> Case:
    """Return the case that this process holds."""
    return _held[0]


def held_at(times: tuple[datetime, ...]) -> tuple[Departure, ...]:
    """Plan departures of the case that this process holds (`hold`)."""
    return tuple(planned_at(held_case(), time) for time in times)


def gathered(
    executor: Executor,
    plan_part: Callable[[Any], tuple[_Found, ...]],
    parts: Sequence[Any],
    total: int,
    progress: Progress | None = None,
    *,
    called_off_by: tuple[type[BaseException], ...] = (BaseException,),
) -> tuple[_Found, ...]:
    """Let an executor plan parts of the work, and put them together in their order.

    What has not begun is called off where one fails or the wait is interrupted, or by what is
    named: whoever ends the processes themselves must find the work as it is.
    """
    waiting = [executor.submit(plan_part, part) for part in parts]
    try:
        _watched(waiting, total, progress)
    except called_off_by:
        for future in waiting:
            future.cancel()
        raise
    return tuple(each for future in waiting for each in future.result())


def _watched(
    waiting: Sequence[Future[tuple[Any, ...]]], total: int, progress: Progress | None
) -> None:
    done = 0
    for future in as_completed(waiting):
        done += len(future.result())
        if progress is not None:
            progress(done, total)


# ---- what a passage would be like ------------------------------------------------------------


class _Looks(NamedTuple):
    """The way, looked at once a minute; arrays of shape (n,)."""

    time_h: Array
    lat: Array
    lon: Array

    def hours(self, where: BoolArray) -> float:
        """Hours for which something holds, by the trapezoidal rule: to half a minute a change."""
        return float(np.trapezoid(where.astype(np.float64), self.time_h))


def judged(made: Plan, weather: Weather) -> Departure:
    """Tell what a planned passage would be like.

    Parameters
    ----------
    made : Plan
    weather : Weather
        That for which it was made.
    """
    boards = [board for leg in made.legs for board in leg.boards]
    looks = _looks(boards, made)
    here = weather.at(*looks)
    end = boards[-1].end
    return Departure(
        departure=made.departure,
        arrival=made.arrival,
        elapsed_h=made.elapsed_h,
        saved_min=made.saved_min,
        upwind_h=sum((_close_hauled_h(board) for board in boards if not board.engine), 0.0),
        poled_h=sum((board.elapsed_h for board in boards if board.poled), 0.0),
        engine_h=made.engine_h,
        strongest_wind_kn=_strongest(np.hypot(here.wind_east_kn, here.wind_north_kn)),
        strongest_gust_kn=_strongest(here.gust_kn),
        against_h=looks.hours(wind_against_stream(here)),
        night_h=looks.hours(~is_daylight(*looks)),
        dead_downwind_h=sum((_dead_downwind_h(board) for board in boards), 0.0),
        arrives_in_daylight=bool(is_daylight(hours_from_datetime(made.arrival), end.lat, end.lon)),
        beyond_forecast_h=_beyond_h(looks, weather),
        plan=made,
    )


def arriving_after(told: Departure, hours: float) -> Departure:
    """Give a departure with a plan another time on the way than its own."""
    assert told.plan is not None
    end = told.plan.legs[-1].boards[-1].end
    arrival = told.departure + timedelta(hours=hours)
    light = bool(is_daylight(hours_from_datetime(arrival), end.lat, end.lon))
    return replace(told, elapsed_h=hours, arrival=arrival, arrives_in_daylight=light)


def _looks(boards: Sequence[Board], made: Plan) -> _Looks:
    """Look at the way once a minute, manoeuvres and all."""
    points = [point for board in boards for point in board.points]
    known_h = np.array([hours_from_datetime(point.time) for point in points])
    first, last = hours_from_datetime(made.departure), hours_from_datetime(made.arrival)
    count = int(np.clip(np.ceil((last - first) / LOOK_H), 1, MOST_LOOKS))
    time = np.linspace(first, last, count + 1)
    lon = np.unwrap([point.lon for point in points], period=360.0)
    return _Looks(
        time, np.interp(time, known_h, [p.lat for p in points]), np.interp(time, known_h, lon)
    )


def _close_hauled_h(board: Board) -> float:
    return board.elapsed_h * float(np.mean(_angles_deg(board) <= CLOSE_HAULED_DEG))


def _dead_downwind_h(board: Board) -> float:
    if board.engine:
        return 0.0
    return board.elapsed_h * float(np.mean(_angles_deg(board) >= DEAD_DOWNWIND_DEG))


def _angles_deg(board: Board) -> Array:
    """Wind angles along a board, looked at once a minute."""
    start = hours_from_datetime(time_of(board.start))
    known = np.array([hours_from_datetime(point.time) for point in board.points])
    count = max(1, int(np.ceil(board.elapsed_h / LOOK_H)))
    middles = start + (np.arange(count) + 0.5) * board.elapsed_h / count
    return np.interp(middles, known, [point.twa_deg for point in board.points])


def wind_against_stream(here: Conditions) -> BoolArray:
    """Whether the ground wind blows against a stream that is worth counting.

    Parameters
    ----------
    here : Conditions, arrays of shape (...)

    Returns
    -------
    ndarray of bool, shape (...)
        True where the wind comes from within 60° of the direction to which a stream
        of more than 1 kn sets; False where either is unknown.
    """
    wind_kn = np.hypot(here.wind_east_kn, here.wind_north_kn)
    drift_kn = np.hypot(here.stream_east_kn, here.stream_north_kn)
    along = here.wind_east_kn * here.stream_east_kn + here.wind_north_kn * here.stream_north_kn
    meeting = -along >= np.cos(np.radians(AGAINST_DEG)) * wind_kn * drift_kn
    return np.asarray(meeting & (drift_kn > AGAINST_KN) & (wind_kn > 0.0))


def _strongest(speed_kn: Array) -> float | None:
    known = speed_kn[np.isfinite(speed_kn)]
    return float(known.max()) if known.size else None


def _beyond_h(looks: _Looks, weather: Weather) -> float:
    held = getattr(weather, "held", None)
    return 0.0 if held is None else looks.hours(np.asarray(held(looks.time_h)))
