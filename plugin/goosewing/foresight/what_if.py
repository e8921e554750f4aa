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
from goosewing.changing.motion import BY_THE_LEE_DEG, Waters
from goosewing.departures.compare import held_case
from goosewing.errors import NoPlanError
from goosewing.foresight.later import SHORT_H, delays_h
from goosewing.foresight.passing import near
from goosewing.foresight.pieces import Piece, pieces_of
from goosewing.foresight.stretches import cuts, seen_from_mark, with_stretches
from goosewing.records import Late, Turn, WhatIf
from goosewing.turns import stops
from goosewing.velocities.velocity_set import (
    airs_over_water,
    along_and_across,
    straight_velocities,
    velocities,
    velocity_set,
)
from goosewing.weather.altered import AlteredWeather
from goosewing.weather.base import hours_from_datetime
from goosewing.words.points import alters_to, steering

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from concurrent.futures import Executor
    from datetime import datetime

    from goosewing.boat.model import Boat
    from goosewing.case import Case
    from goosewing.records import Board, BoardPoint, LateReason, Plan
    from goosewing.turns import Stop
    from goosewing.velocities.velocity_set import VelocitySet
    from goosewing.weather.base import Weather

NEAR_DEG = BY_THE_LEE_DEG
"""So far off a board's course still counts as sailing it, where its sails go no nearer: as far as
a plan's own heading may bring the wind over the other quarter. [°]"""

DEAD_AFT_DEG = 179.5
"""Sails that go nearest to a course with the wind so far aft would have it by the lee. [°]"""

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
        plan = with_stretches(plans.of_case(asked, compare=False))
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
        first=_turn(plan, next(stops(plan)), plan.departure),
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
    """Where something is done or another course is steered, and each mark on the way."""
    return tuple(
        _turn(plan, stop, time)
        for stop in stops(plan)
        if stop.manoeuvres or stop.kind == "course change"
        if not (stop.last or (stop.leg == stop.at == stop.nth == 0 and not stop.manoeuvres))
        if (time := stop.manoeuvres[0].time if stop.manoeuvres else stop.time) is not None
    )


def _turn(plan: Plan, stop: Stop, time: datetime) -> Turn:
    held, board = stop.order or stop.board, stop.board
    return Turn(
        kinds=tuple(each.kind for each in stop.manoeuvres),
        lat=stop.lat,
        lon=stop.lon,
        time=time,
        heading_deg=None if held is None else held.heading_deg,
        mark=None if stop.mark is None else stop.mark.name,
        from_mark=(
            seen_from_mark(plan.legs[stop.leg], stop.lat, stop.lon) if stop.mark is None else None
        ),
        tack=None if board is None or board.engine else board.tack,
        sail_set=None if board is None else board.sail_set,
        poled=board is not None and board.poled,
        alters_to=None if held is None else alters_to(stop.before, held),
        keep_twa_deg=None if board is None else steering(board, stop.nth).keep_twa_deg,
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
        going = pace.along(piece, now)
        if isinstance(going, str):
            return None
        sailed = min(piece.distance_nm, max(end - now, 0.0) * going.speed_kn)
        left -= sailed
        now += piece.distance_nm / going.speed_kn
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
    pace, piece_h = _Pace(boat, weather), LATE_PIECES_H[made.elapsed_h > SHORT_H]
    stages = _stages(made, piece_h)
    on_time_h = [_on_time_h(stage, pace) for stage in stages]
    return tuple(
        _late(made, stages[at:], on_time_h[at:], pace, delay_h)
        for at in range(len(stages))
        for delay_h in delays_h(made)[1:]
    )


class _Stage(NamedTuple):
    """From a place at which something else is held to the next."""

    name: str
    begins_h: float
    """Before anything is done there. [h]"""
    held: Board
    pieces: list[Piece]


def _stages(made: Plan, piece_h: float) -> list[_Stage]:
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
        begins_h = hours_from_datetime(stop.time)
        found.append(_Stage(stop.name, begins_h, held, pieces_of(held, piece_h)))
    return found[-MOST_LATE:]


def _on_time_h(stage: _Stage, pace: _Pace) -> float:
    """Return how long a stage takes on time in its pieces; as planned, if they are too coarse."""
    took = pace.sailed_h(stage.pieces, stage.begins_h)
    if isinstance(took, str):
        return sum(piece.pause_h + piece.planned_h for piece in stage.pieces)
    return took


def _late(
    made: Plan, stages: Sequence[_Stage], on_time_h: Sequence[float], pace: _Pace, delay_h: float
) -> Late:
    """Tell when she is at the last mark, if she begins some legs so much later than planned.

    By how much longer than on time these pieces take: what they are coarser than the plan's own
    integration is in both.
    """
    first = stages[0]
    answer = Late(mark=first.name, delay_h=delay_h, arrival=None)
    begins = pace.begins(first.held, delay_h)
    if isinstance(begins, str):
        return replace(answer, reason=begins, fails_at=first.name)
    now = first.begins_h + delay_h
    for stage in stages:
        took = pace.sailed_h(stage.pieces, now)
        if isinstance(took, str):
            return replace(answer, reason=took, fails_at=stage.name)
        now += took
    lost_h = now - first.begins_h - sum(on_time_h)
    return replace(
        answer,
        arrival=made.arrival + timedelta(hours=lost_h),
        heading_deg=begins.heading_deg,
    )


class _Going(NamedTuple):
    """How she keeps to a track."""

    speed_kn: float
    """Along it. [kn]"""
    heading_deg: float


class _Pace:
    """How she goes along a plan's tracks in the other wind, under its own sails."""

    def __init__(self, boat: Boat, weather: Weather) -> None:
        self._boat, self._waters = boat, Waters(boat, weather)

    def sailed_h(self, pieces: Sequence[Piece], begins_h: float) -> float | LateReason:
        """Return how long pieces take one after the other, or why one can't be held."""
        now = begins_h
        for piece in pieces:
            now += piece.pause_h
            going = self.along(piece, now)
            if isinstance(going, str):
                return going
            now += piece.distance_nm / going.speed_kn
        return now - begins_h

    def begins(self, held: Board, delay_h: float) -> _Going | LateReason:
        """Tell how the track of a board is kept where it begins, so much later."""
        first = held.points[0]
        if held.engine:
            return _Going(held.boat_speed_kn, first.heading_deg)
        time_h = hours_from_datetime(first.time) + delay_h
        return self._at(held, time_h, first.lat, first.lon, first.course_over_ground_deg)

    def along(self, piece: Piece, now_h: float) -> _Going | LateReason:
        """Tell how a piece's track is kept, begun at this hour."""
        if piece.board.engine:
            return _Going(piece.distance_nm / piece.planned_h, piece.bearing_deg)
        middle_h = now_h + piece.planned_h / 2.0
        return self._at(piece.board, middle_h, piece.lat, piece.lon, piece.bearing_deg)

    def _at(
        self, board: Board, time_h: float, lat: float, lon: float, bearing_deg: float
    ) -> _Going | LateReason:
        values = [float(each) for each in self._waters.weather.at(time_h, lat, lon)]
        if not np.isfinite(values[0]):
            return "no forecast"
        if board.poled and not self._waters.pole_allowed(time_h, lat, lon):
            return "out of the sails' angles"
        east, north, gust, set_east, set_north = values
        airs = airs_over_water(self._boat, east, north, set_east, set_north, gust)
        return _kept(velocity_set(self._boat, airs), board, bearing_deg)


def _kept(held: VelocitySet, board: Board, bearing_deg: float) -> _Going | LateReason:
    """Fastest way to keep a track in a board's tack and sails, or why it can't be kept.

    At the edge of a sector she steers as near to the course as these sails let her: dead before
    the wind rather than by the lee.
    """
    wanted = board.tack, board.sail_set
    numbers = [at for at, mode in enumerate(held.modes) if (mode.tack, mode.name) == wanted]
    found = straight_velocities(held, bearing_deg)
    own = np.flatnonzero(np.isin(found.mode, numbers))
    if own.size:
        best = own[np.argmax(found.along_kn[own])]
        exact, _ = velocities(
            held.boat, held.modes, held.airs, found.mode[[best]], found.row_deg[[best]]
        )
        return _Going(float(found.along_kn[best]), float(exact.heading_deg[0]))
    mine = np.flatnonzero(np.isin(held.mode, numbers))
    if not mine.size:
        return "out of the sails' angles"
    along, across = along_and_across(held.east_kn[mine], held.north_kn[mine], bearing_deg)
    off_deg = np.abs(np.degrees(np.arctan2(across, along)))
    at = int(np.argmin(off_deg))
    if off_deg[at] > NEAR_DEG:
        beyond = held.twa_deg[mine[at]] > DEAD_AFT_DEG
        return "by the lee" if beyond else "out of the sails' angles"
    return _Going(float(along[at]), float(held.heading_deg[mine[at]]))
