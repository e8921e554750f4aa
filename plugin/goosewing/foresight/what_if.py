"""What a plan hangs on: the same passage in a lighter, stronger or turned wind, and at other times.

Each case is a plan of its own, made by the same engine, so that they can be made side by
side by any executor. Besides, the plan as it stands is sailed through the other wind: along
its own boards, under its own sails, at the speed that she then makes on those courses.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing import plan as plans
from goosewing.departures.compare import held_case
from goosewing.errors import NoPlanError
from goosewing.foresight.later import SHORT_H
from goosewing.foresight.passing import near
from goosewing.foresight.pieces import Piece, pieces_of
from goosewing.foresight.stretches import cuts
from goosewing.records import Late, Turn, WhatIf
from goosewing.turns import stops
from goosewing.velocities.velocity_set import (
    airs_over_water,
    along_and_across,
    straight_velocities,
    velocity_set,
)
from goosewing.weather.altered import AlteredWeather
from goosewing.weather.base import hours_from_datetime

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from concurrent.futures import Executor
    from datetime import datetime

    from goosewing.boat.model import Boat
    from goosewing.case import Case
    from goosewing.records import Board, BoardPoint, Plan
    from goosewing.turns import Stop
    from goosewing.velocities.velocity_set import VelocitySet
    from goosewing.weather.base import Weather

NEAR_DEG = 5.0
"""So far off a board's course still counts as sailing it, where its sails go no nearer. [°]"""


LATE_H = (1.0, 2.0, 3.0)
"""How late she may be at a mark. [h]"""

LATE_PIECES_H = (0.5, 1.0)
"""Boards are sailed late in pieces of no less: on a short passage, and on a long one. [h]"""

MOST_LATE = 8
"""Of so many stops, the last, it is told what being late there does."""


class Change(NamedTuple):
    """What is other than in the plan."""

    wind_factor: float = 1.0
    shift_deg: float = 0.0
    delay_h: float = 0.0


CHANGES = (
    *(Change(wind_factor=factor) for factor in (0.8, 0.9, 1.1, 1.2)),
    *(Change(shift_deg=shift) for shift in (-10.0, 10.0)),
    *(Change(delay_h=delay) for delay in (-2.0, 2.0)),
)
"""What is asked of every plan."""


def ask(
    case: Case,
    made: Plan,
    *,
    executor: Executor | None = None,
    changes: Sequence[Change] = CHANGES,
    progress: Callable[[int, int], None] | None = None,
) -> Plan:
    """Add to a plan what it hangs on.

    Parameters
    ----------
    case : Case
        What the plan was made from.
    made : Plan
    executor : Executor, optional
        Plans the changes side by side. None: here, one by one.
    changes : sequence of Change
    progress : callable, optional
        Told how many are done, and of how many.

    Raises
    ------
    InputError
        As `goosewing.plan.make`.
    """
    if executor is None:
        found: Iterable[WhatIf] = (planned_if(case, made, change) for change in changes)
    else:
        waiting = [executor.submit(planned_if, case, made, change) for change in changes]
        found = (each.result() for each in waiting)
    answers = []
    for each in found:
        answers.append(each)
        if progress is not None:
            progress(len(answers), len(changes))
    return replace(made, what_if=tuple(answers), late=late(made, case.boat, case.weather))


def held_if(made: Plan, change: Change) -> tuple[WhatIf, ...]:
    """Plan a change of the case that this process holds (`goosewing.departures.compare.hold`)."""
    return (planned_if(held_case(), made, change),)


def planned_if(case: Case, made: Plan, change: Change) -> WhatIf:
    """Plan the passage as changed, and sail the plan as it stands through that change.

    Parameters
    ----------
    case : Case
        What the plan was made from.
    made : Plan
    change : Change
    """
    other = changed(case.weather, change)
    departure = made.departure + timedelta(hours=change.delay_h)
    answer = WhatIf(
        wind_factor=change.wind_factor,
        shift_deg=change.shift_deg,
        delay_h=change.delay_h,
        behind_nm=behind_nm(made, case.boat, other, change.delay_h),
    )
    try:
        asked = replace(case, weather=other, departure=departure, notices=())
        plan = plans.of_case(asked, compare=False)
    except NoPlanError as error:
        return replace(answer, reason=str(error))
    same = sequence(plan) == sequence(made)
    return replace(
        answer,
        elapsed_h=plan.elapsed_h,
        arrival=plan.arrival,
        same_boards=same,
        sequence=() if same else tuple(sequence_words(leg, names) for leg, names in sequence(plan)),
        turns=_turns(plan),
        first=_turn(next(stops(plan)), plan.departure),
        near=near(made.dangers, [*_points(plan)]),
    )


def changed(weather: Weather, change: Change) -> Weather:
    """Return the weather with a change's wind."""
    if (change.wind_factor, change.shift_deg) == (1.0, 0.0):
        return weather
    return AlteredWeather(weather, change.wind_factor, change.shift_deg)


def sequence(plan: Plan) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Tell which tack and sail set follow which, leg by leg; neighbours alike count once."""
    legs = []
    for leg in plan.legs:
        words = [board_words(board) for board in leg.boards]
        kept = [here for at, here in enumerate(words) if not at or here != words[at - 1]]
        legs.append((leg.destination, tuple(kept)))
    return tuple(legs)


def board_words(board: Board) -> str:
    """Name a board's tack and sails."""
    return board.sail_set if board.engine else f"{board.tack} tack, {board.sail_set}"


def sequence_words(destination: str, names: Sequence[str]) -> str:
    """Name a leg's boards."""
    return f"to {destination}: {'; '.join(names)}"


def _turns(plan: Plan) -> tuple[Turn, ...]:
    """Where something is done, and where between two marks another course is steered."""
    return tuple(
        _turn(stop, time)
        for stop in stops(plan)
        if stop.manoeuvres or (stop.mark is None and stop.kind == "course change")
        if (time := stop.manoeuvres[0].time if stop.manoeuvres else stop.time) is not None
    )


def _turn(stop: Stop, time: datetime) -> Turn:
    held = stop.order or stop.board
    return Turn(
        kinds=tuple(each.kind for each in stop.manoeuvres),
        lat=stop.lat,
        lon=stop.lon,
        time=time,
        heading_deg=None if held is None else held.heading_deg,
    )


def _points(plan: Plan) -> Iterator[BoardPoint]:
    return (point for leg in plan.legs for board in leg.boards for point in board.points)


# ---- the plan as it stands, in the other wind --------------------------------------------------


def behind_nm(made: Plan, boat: Boat, weather: Weather, delay_h: float = 0.0) -> float | None:
    """Sail a plan's own boards in another wind; tell what is left at its hour of arrival.

    She keeps to the tracks of the plan, and so steers as close or as free as that takes.

    Parameters
    ----------
    made : Plan
    boat : Boat
    weather : Weather
        The other wind, and the stream.
    delay_h : float
        By which she leaves later; the promised hour is then as much later. [h]

    Returns
    -------
    float or None
        Along the boards to the last mark, 0 where she is there; None where a board's
        course can't be held under its sails. [nm]
    """
    now = hours_from_datetime(made.departure) + delay_h
    end = hours_from_datetime(made.arrival) + delay_h
    pieces = [piece for leg in made.legs for board in leg.boards for piece in pieces_of(board)]
    left = sum(piece.distance_nm for piece in pieces)
    pace = _Pace(boat, weather)
    for piece in pieces:
        now += piece.pause_h
        speed = pace.speed_kn(piece, now)
        if speed is None:
            return None
        sailed = min(piece.distance_nm, max(end - now, 0.0) * speed)
        left -= sailed
        now += piece.distance_nm / speed
        if now >= end:
            break
    return max(left, 0.0)


def late(made: Plan, boat: Boat, weather: Weather) -> tuple[Late, ...]:
    """Sail a plan's own boards from each of its marks and turns on, later than planned.

    Parameters
    ----------
    made : Plan
    boat : Boat
    weather : Weather
        That for which it was made. Where it doesn't change with time nothing is told.
    """
    if not weather.varies_in_time:
        return ()
    pace = _Pace(boat, weather)
    stages = _stages(made)
    piece_h = LATE_PIECES_H[made.elapsed_h > SHORT_H]
    pieces = [pieces_of(held, piece_h) for _, _, held in stages]
    begins = [hours_from_datetime(time) for _, time, _ in stages]
    on_time = [pace.sailed_h(each, begin) for each, begin in zip(pieces, begins, strict=True)]
    return tuple(
        Late(
            mark=name,
            delay_h=delay_h,
            arrival=_arrival(made, begins[at], pieces[at:], on_time[at:], pace, delay_h),
        )
        for at, (name, _, _) in enumerate(stages)
        for delay_h in LATE_H
    )


def _stages(made: Plan) -> list[tuple[str, datetime, Board]]:
    """Name the last places at which something else is held, each with the board up to the next."""
    found = []
    for stop in stops(made):
        if stop.board is None or stop.name is None or stop.time is None:
            continue
        first, last = cuts(stop.board)[stop.nth]
        points = stop.board.points[first : last + 1]
        held = replace(
            stop.board,
            points=points,
            elapsed_h=(points[-1].time - points[0].time) / timedelta(hours=1),
            manoeuvres=stop.manoeuvres,
        )
        found.append((stop.name, stop.time, held))
    return found[-MOST_LATE:]


def _arrival(
    made: Plan,
    begins_h: float,
    pieces: Sequence[Sequence[Piece]],
    on_time_h: Sequence[float | None],
    pace: _Pace,
    delay_h: float,
) -> datetime | None:
    """Tell when she is at the last mark, if she begins some legs so much later than planned.

    By how much longer than on time these pieces take: what they are coarser than the plan's own
    integration is in both.
    """
    whole = [piece for leg in pieces for piece in leg]
    took = pace.sailed_h(whole, begins_h + delay_h)
    planned = [each for each in on_time_h if each is not None]
    if took is None or len(planned) < len(on_time_h):
        return None
    return made.arrival + timedelta(hours=delay_h + took - sum(planned))


class _Pace:
    """How fast she goes along pieces in the other wind; the same piece asked for once."""

    def __init__(self, boat: Boat, weather: Weather) -> None:
        self._boat, self._weather = boat, weather

    def sailed_h(self, pieces: Sequence[Piece], begins_h: float) -> float | None:
        """Return how long pieces take one after the other; None if one can't be held."""
        now = begins_h
        for piece in pieces:
            now += piece.pause_h
            speed = self.speed_kn(piece, now)
            if speed is None:
                return None
            now += piece.distance_nm / speed
        return now - begins_h

    def speed_kn(self, piece: Piece, now_h: float) -> float | None:
        if piece.board.engine:
            return piece.distance_nm / piece.planned_h
        here = self._weather.at(now_h + piece.planned_h / 2.0, piece.lat, piece.lon)
        values = [float(each) for each in here]
        if not np.isfinite(values[0]):
            return None
        east, north, gust, set_east, set_north = values
        airs = airs_over_water(self._boat, east, north, set_east, set_north, gust)
        held = velocity_set(self._boat, airs)
        if not len(held):
            return None
        return _along_kn(held, piece)


def _along_kn(held: VelocitySet, piece: Piece) -> float | None:
    """Fastest speed along a piece in its board's tack and sails; None if that can't be held.

    At the edge of a sector she steers as near to the course as these sails let her.
    """
    wanted = piece.board.tack, piece.board.sail_set
    numbers = [at for at, mode in enumerate(held.modes) if (mode.tack, mode.name) == wanted]
    found = straight_velocities(held, piece.bearing_deg)
    speeds = found.along_kn[np.isin(found.mode, numbers)]
    if not speeds.size:
        along, across = along_and_across(held.east_kn, held.north_kn, piece.bearing_deg)
        near = np.abs(across) <= np.tan(np.radians(NEAR_DEG)) * along
        speeds = along[np.isin(held.mode, numbers) & near]
    return float(np.max(speeds, initial=0.0)) or None
