"""What a plan hangs on: the same passage in a lighter, stronger or turned wind, and at other times.

Each case is a plan of its own, made by the same engine, so that they can be made side by
side by any executor. Besides, the plan as it stands is sailed through the other wind: along
its own boards, under its own sails, at the speed that she then makes on those courses.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing import plan as plans
from goosewing.changing.motion import BY_THE_LEE_DEG, Waters
from goosewing.departures.compare import held_case
from goosewing.earth.geodesy import geodesic_inverse
from goosewing.errors import NoPlanError
from goosewing.foresight.later import SHORT_H, delays_h
from goosewing.foresight.met import wind_and_stream
from goosewing.foresight.passing import near
from goosewing.foresight.pieces import Piece, pieces_of
from goosewing.foresight.stretches import held_points, seen_from_mark, with_stretches
from goosewing.records import Begun, Board, Fix, Late, Mark, Turn, WhatIf
from goosewing.sail_handling import crew_steps
from goosewing.turns import SAME_PLACE_NM, stops
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

    from numpy.typing import NDArray

    from goosewing.boat.model import Boat
    from goosewing.case import Case
    from goosewing.records import BoardPoint, LateReason, Order, Plan
    from goosewing.turns import Stop
    from goosewing.velocities.velocity_set import VelocitySet
    from goosewing.weather.base import Weather

NEAR_DEG = BY_THE_LEE_DEG
"""So far off a board's course still counts as sailing it, where its sails go no nearer: as far as
a plan's own heading may bring the wind over the other quarter. [°]"""

PINCH_DEG = 2.0
"""So much closer to the wind than she makes best to windward her helm still holds her, at next to
no loss; to a track that asks for more she is faster in boards. Common practice, no source. [°]"""

DEAD_AFT_DEG = 179.5
"""Sails that go nearest to a course with the wind so far aft would have it by the lee. [°]"""

LATE_PIECES_H = (0.5, 1.0)
"""Boards are sailed late in pieces of no less: on a short passage, and on a long one. [h]"""

MOST_LATE = 8
"""Of so many stops, the last, it is told what being late there does."""

MOST_ANEW, SHORT_MOST_ANEW = 2, 4
"""So many plans at most are made anew from where her tracks can't be kept: each takes time, on a
short passage less of it."""


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
    made = replace(made, what_if=tuple(answers), late=late(made, case.boat, case.weather))
    return with_anew(made, [planned_anew(case, made, each) for each in begun_anew(made)])


def parts(made: Plan) -> list[tuple[Plan, Change | Late]]:
    """List what is to be planned to see what a plan hangs on, all of it at once.

    Parameters
    ----------
    made : Plan
        It is told already what being late does (`late`).
    """
    asked: list[Change | Late] = [*CHANGES, *begun_anew(made)]
    return [(made, each) for each in asked]


def held_part(made: Plan, part: Change | Late) -> tuple[WhatIf | Late, ...]:
    """Plan a part of the case that this process holds (`goosewing.departures.compare.hold`)."""
    case = held_case()
    if isinstance(part, Late):
        return (planned_anew(case, made, part),)
    return (planned_if(case, made, part),)


def with_parts(made: Plan, found: Sequence[WhatIf | Late]) -> Plan:
    """Add to a plan what became of its `parts`."""
    ifs = tuple(each for each in found if isinstance(each, WhatIf))
    anew = [each for each in found if isinstance(each, Late)]
    return with_anew(replace(made, what_if=ifs), anew)


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
    behind = behind_nm(made, case.boat, other, change.delay_h)
    answer = WhatIf(
        wind_factor=change.wind_factor,
        shift_deg=change.shift_deg,
        delay_h=change.delay_h,
        behind_nm=None if isinstance(behind, str) else behind,
        off_track=behind if isinstance(behind, str) else None,
    )
    asked = replace(case, weather=other, departure=departure, notices=())
    return _blown(_planned(asked, answer, made), made, other, departure)


def _blown(answer: WhatIf, made: Plan, weather: Weather, departure: datetime) -> WhatIf:
    """Tell which wind she then leaves with."""
    where = made.marks[0]
    hour = np.array([hours_from_datetime(departure)])
    (here,) = wind_and_stream(weather, hour, np.array([where.lat]), np.array([where.lon]))
    if here is None:
        return answer
    return replace(answer, wind_from_deg=here.wind_from_deg, wind_kn=here.wind_kn)


def _planned(asked: Case, answer: WhatIf, made: Plan, before: Board | None = None) -> WhatIf:
    """Plan a case, and tell how that is sailed; `before` is the board that she comes from."""
    try:
        plan = with_stretches(plans.of_case(asked, compare=False))
    except NoPlanError as error:
        return replace(answer, reason=str(error))
    same = sequence(plan) == sequence(made)
    first, *further = every = [*stops(plan)]
    if before is not None and first.board is not None:
        first = replace(first, crew=crew_steps(before, first.board))
    own = _turns(made, [*stops(made)])
    return replace(
        answer,
        elapsed_h=plan.elapsed_h,
        arrival=plan.arrival,
        same_boards=same,
        same_tracks=same and _same_places(_turns(plan, every), own),
        sequence=() if same else tuple(sequence_words(leg, names) for leg, names in sequence(plan)),
        turns=tuple(_called(each, own) for each in _turns(plan, [first, *further])),
        arriving=plan.legs[-1].boards[-1].crew if plan.legs[-1].boards else (),
        first=_turn(plan, first, plan.departure),
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


def _turns(plan: Plan, every: Sequence[Stop]) -> tuple[Turn, ...]:
    """Where something is done or another course is steered, and each mark on the way."""
    return tuple(
        _turn(plan, stop, time)
        for stop in every
        if stop.manoeuvres or stop.kind == "course change"
        if not (stop.last or (stop.leg == stop.at == stop.nth == 0 and not stop.manoeuvres))
        if (time := stop.manoeuvres[0].time if stop.manoeuvres else stop.time) is not None
    )


SAME_POINT_NM = 0.1
"""Nearer than this a place is the plan's own: no eye tells them apart. [nm]"""


def _called(turn: Turn, own: Sequence[Turn]) -> Turn:
    """Call a turn as the plan does, where it does the same there."""
    if turn.mark is not None:
        return turn
    does = turn.kinds, turn.tack, turn.sail_set
    near = [
        (float(geodesic_inverse(turn.lat, turn.lon, each.lat, each.lon).distance_nm), each.point)
        for each in own
        if each.point is not None and (each.kinds, each.tack, each.sail_set) == does
    ]
    off_nm, point = min(near, key=lambda each: each[0], default=(SAME_POINT_NM, None))
    return replace(turn, point=point if off_nm < SAME_POINT_NM else None)


def _same_places(turns: Sequence[Turn], others: Sequence[Turn]) -> bool:
    """Whether two plans turn at the same places, as near as the crew calls one turn."""
    return len(turns) == len(others) and all(
        float(geodesic_inverse(a.lat, a.lon, b.lat, b.lon).distance_nm) <= SAME_PLACE_NM
        for a, b in zip(turns, others, strict=True)
    )


def _turn(plan: Plan, stop: Stop, time: datetime) -> Turn:
    held, board = stop.order or stop.board, stop.board
    run = None if stop.before is None else stop.before.stretch
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
        point=None if stop.mark is not None else stop.name,
        tack=None if board is None or board.engine else board.tack,
        sail_set=None if board is None else board.sail_set,
        poled=board is not None and board.poled,
        alters_to=None if held is None else alters_to(stop.before, held),
        comes_deg=None if run is None else run.last_heading_deg,
        comes_from=_begun(stop.before),
        keep_twa_deg=None if board is None else steering(board, stop.nth).keep_twa_deg,
        crew=stop.crew,
    )


def _begun(held: Board | Order | None) -> Begun | None:
    """Tell where something began to be steered."""
    if held is None:
        return None
    there = held.start if isinstance(held, Board) else held
    return None if there.time is None else Begun(lat=there.lat, lon=there.lon, time=there.time)


def _points(plan: Plan) -> Iterator[BoardPoint]:
    return (point for leg in plan.legs for board in leg.boards for point in board.points)


# ---- the plan as it stands, in the other wind --------------------------------------------------


def behind_nm(made: Plan, boat: Boat, weather: Weather, delay_h: float = 0.0) -> float | LateReason:
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
    float or str
        Along the boards to the last mark, 0 where she is there; or why a board's course can't
        be held under its sails. [nm]
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
            return going
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


def begun_anew(made: Plan) -> list[Late]:
    """List where she is so late that the plan's tracks can't be kept from there on.

    Late farther back she can come there first, and is then so late there.
    """
    found = [each for each in made.late if each.fails_at == each.mark]
    most = SHORT_MOST_ANEW if made.elapsed_h <= SHORT_H else MOST_ANEW
    return found[-most:]


def with_anew(made: Plan, found: Sequence[Late]) -> Plan:
    """Put what was planned anew in the place of what could not be told."""
    told = {(each.mark, each.time, each.delay_h): each for each in found}
    late = tuple(told.get((each.mark, each.time, each.delay_h), each) for each in made.late)
    return replace(made, late=late)


def planned_anew(case: Case, made: Plan, where: Late) -> Late:
    """Plan the rest of a passage from where she is late, in the sails that she then has.

    Parameters
    ----------
    case : Case
        What the plan was made from.
    made : Plan
    where : Late
        Of a mark or turn of it.
    """
    there = where.mark, where.time
    stop = next(each for each in stops(made) if (each.name or UNNAMED, each.time) == there)
    assert stop.time is not None
    departure = stop.time + timedelta(hours=where.delay_h)
    before = _board_before(made, stop, departure)
    options = case.options
    if before is not None and not before.engine:
        options = replace(options, start_with=before.sail_set, start_tack=before.tack)
    here = Mark(name=where.mark, lat=stop.lat, lon=stop.lon)
    asked = replace(
        case,
        marks=(here, *made.marks[stop.leg + 1 :]),
        departure=departure,
        options=options,
        notices=(),
        kept=None,
    )
    begun, *whole = made.legs[stop.leg :]
    rest = replace(
        made,
        marks=made.marks[stop.leg :],
        legs=(replace(begun, boards=begun.boards[stop.at :]), *whole),
    )
    return replace(where, anew=_planned(asked, WhatIf(delay_h=where.delay_h), rest, before))


def _board_before(made: Plan, stop: Stop, then: datetime) -> Board | None:
    """Return the board on which she comes to a stop, ended there then; None where she departs."""
    there = Fix(lat=stop.lat, lon=stop.lon, time=then)
    if stop.order is not None:
        assert stop.board is not None
        return replace(stop.board, points=held_points(stop.board)[stop.nth - 1], end=there)
    boards = [board for leg in made.legs[: stop.leg] for board in leg.boards]
    boards += made.legs[stop.leg].boards[: stop.at]
    return replace(boards[-1], end=there) if boards else None


TOO_CLOSE: LateReason = "too close to the wind"

UNNAMED = "turn"
"""A turning point of a plan that was never numbered, as `goosewing.foresight.later` calls it."""


class _Stage(NamedTuple):
    """From a place at which something else is held to the next."""

    name: str
    time: datetime
    """Before anything is done there."""
    held: Board
    pieces: list[Piece]
    until: str
    until_time: datetime

    @property
    def begins_h(self) -> float:
        return hours_from_datetime(self.time)


def _stages(made: Plan, piece_h: float) -> list[_Stage]:
    """Name the last places at which something else is held, each with the board up to the next."""
    found = []
    for stop, after in pairwise(stops(made)):
        if stop.board is None or stop.time is None or after.time is None:
            continue
        points = held_points(stop.board)[stop.nth]
        held = replace(
            stop.board,
            points=points,
            elapsed_h=(points[-1].time - points[0].time) / timedelta(hours=1),
            manoeuvres=stop.manoeuvres,
        )
        found.append(
            _Stage(
                stop.name or UNNAMED, stop.time, held,
                pieces_of(held, piece_h), after.name or UNNAMED, after.time,
            )
        )  # fmt: skip
    return found[-MOST_LATE:]


def _on_time_h(stage: _Stage, pace: _Pace) -> float:
    """Return how long a stage takes on time in its pieces; as planned, if they are too coarse."""
    took = pace.sailed(stage.pieces, stage.begins_h)
    if isinstance(took, str):
        return sum(piece.pause_h + piece.planned_h for piece in stage.pieces)
    return took.hours


def _late(
    made: Plan, stages: Sequence[_Stage], on_time_h: Sequence[float], pace: _Pace, delay_h: float
) -> Late:
    """Tell when she is at the last mark, if she begins some legs so much later than planned.

    By how much longer than on time these pieces take: what they are coarser than the plan's own
    integration is in both.
    """
    first = stages[0]
    answer = Late(mark=first.name, delay_h=delay_h, arrival=None, time=first.time)
    now = first.begins_h + delay_h
    for at, stage in enumerate(stages):
        took = pace.sailed(stage.pieces, now)
        begins = pace.at(stage.held, now + _pause_h(stage), 0)
        reason = next((each for each in (took, begins) if isinstance(each, str)), None)
        if not (isinstance(took, str) or isinstance(begins, str)):
            ends = pace.at(stage.held, now + took.hours, -1)
            # Her middles may lie better than where she ends; by the lee the edge is held.
            reason = TOO_CLOSE if ends == TOO_CLOSE else None
        if reason is not None:
            return replace(answer, reason=reason, fails_at=stage.name)
        assert not isinstance(took, str)
        assert not isinstance(begins, str)
        now += took.hours
        if not at:
            answer = _told(answer, stage, begins, took, pace, on_time_h[0])
    if len(stages) == 1:
        return replace(answer, arrival=answer.until_time)
    lost_h = now - first.begins_h - sum(on_time_h)
    return replace(answer, arrival=made.arrival + timedelta(hours=lost_h))


def _pause_h(stage: _Stage) -> float:
    return sum(piece.pause_h for piece in stage.pieces)


def _told(
    answer: Late, stage: _Stage, begins: _Going, took: _Sailed, pace: _Pace, on_time_h: float
) -> Late:
    """Tell the orders from where she is late to the next stop, and when she comes there."""
    lost_h = took.hours - on_time_h
    until = stage.until_time + timedelta(hours=answer.delay_h + lost_h)
    ends = pace.at(stage.held, hours_from_datetime(until), -1, anyhow=True)
    ends = begins if isinstance(ends, str) else ends
    sails_h = sum(piece.planned_h for piece in stage.pieces) + lost_h
    return replace(
        answer,
        heading_deg=begins.heading_deg,
        last_heading_deg=ends.heading_deg,
        twa_deg=begins.twa_deg,
        last_twa_deg=ends.twa_deg,
        speed_over_ground_kn=sum(piece.distance_nm for piece in stage.pieces) / sails_h,
        until=stage.until,
        until_time=until,
        beside_nm=took.beside_nm,
    )


class _Going(NamedTuple):
    """How she keeps to a track."""

    speed_kn: float
    """Along it. [kn]"""
    heading_deg: float
    twa_deg: float | None = None
    """None under engine."""
    off_deg: float = 0.0
    """By how much she goes to starboard of it, as her sails go no nearer. [°]"""


class _Sailed(NamedTuple):
    """How long some pieces take, and how far beside their track she then is."""

    hours: float
    beside_nm: float


class _Pace:
    """How she goes along a plan's tracks in the other wind, under its own sails."""

    def __init__(self, boat: Boat, weather: Weather) -> None:
        self._boat, self._waters = boat, Waters(boat, weather)

    def sailed(self, pieces: Sequence[Piece], begins_h: float) -> _Sailed | LateReason:
        """Tell how pieces are sailed one after the other, or why one can't be held."""
        now, beside = begins_h, 0.0
        for piece in pieces:
            now += piece.pause_h
            going = self.along(piece, now)
            if isinstance(going, str):
                return going
            now += piece.distance_nm / going.speed_kn
            beside += piece.distance_nm * math.tan(math.radians(going.off_deg))
        return _Sailed(now - begins_h, beside)

    def at(
        self, held: Board, time_h: float, nth: int, *, anyhow: bool = False
    ) -> _Going | LateReason:
        """Tell how the track of a board is kept at one of its points, at this time.

        `anyhow`: as nearly as her sails go, however far that is off.
        """
        here = held.points[nth]
        if held.engine:
            return _Going(held.boat_speed_kn, here.heading_deg)
        near_deg = 180.0 if anyhow else NEAR_DEG
        return self._at(held, time_h, here.lat, here.lon, here.course_over_ground_deg, near_deg)

    def along(self, piece: Piece, now_h: float) -> _Going | LateReason:
        """Tell how a piece's track is kept, begun at this hour."""
        if piece.board.engine:
            return _Going(piece.distance_nm / piece.planned_h, piece.bearing_deg)
        middle_h = now_h + piece.planned_h / 2.0
        return self._at(piece.board, middle_h, piece.lat, piece.lon, piece.bearing_deg)

    def _at(
        self,
        board: Board,
        time_h: float,
        lat: float,
        lon: float,
        bearing_deg: float,
        near_deg: float = NEAR_DEG,
    ) -> _Going | LateReason:
        values = [float(each) for each in self._waters.weather.at(time_h, lat, lon)]
        if not np.isfinite(values[0]):
            return "no forecast"
        if board.poled and not self._waters.pole_allowed(time_h, lat, lon):
            return "out of the sails' angles"
        east, north, gust, set_east, set_north = values
        airs = airs_over_water(self._boat, east, north, set_east, set_north, gust)
        return _kept(velocity_set(self._boat, airs), board, bearing_deg, near_deg)


def _kept(
    held: VelocitySet, board: Board, bearing_deg: float, near_deg: float
) -> _Going | LateReason:
    """Fastest way to keep a track in a board's tack and sails, or why it can't be kept.

    At the edge of a sector she steers as near to the course as these sails let her: dead before
    the wind rather than by the lee.
    """
    wanted = board.tack, board.sail_set
    numbers = [at for at, mode in enumerate(held.modes) if (mode.tack, mode.name) == wanted]
    mine = np.flatnonzero(np.isin(held.mode, numbers))
    going = _nearest(held, mine, numbers, bearing_deg, near_deg)
    if isinstance(going, str) or going.twa_deg is None:
        return going
    return TOO_CLOSE if going.twa_deg < _closest_deg(held, mine) - PINCH_DEG else going


def _closest_deg(held: VelocitySet, mine: NDArray[np.intp]) -> float:
    """At which wind angle she makes best to windward through the water; 0 where she can't. [°]."""
    airs = held.airs
    east = held.east_kn[mine] - airs.stream_east_kn
    north = held.north_kn[mine] - airs.stream_north_kn
    to_windward, _ = along_and_across(east, north, airs.twd_deg)
    best = int(np.argmax(to_windward))
    return float(held.twa_deg[mine[best]]) if to_windward[best] > 0.0 else 0.0


def _nearest(
    held: VelocitySet,
    mine: NDArray[np.intp],
    numbers: Sequence[int],
    bearing_deg: float,
    near_deg: float,
) -> _Going | LateReason:
    """Say how she goes along a bearing in some modes, or as near to it as they let her."""
    found = straight_velocities(held, bearing_deg)
    own = np.flatnonzero(np.isin(found.mode, numbers))
    if own.size:
        best = own[np.argmax(found.along_kn[own])]
        exact, _ = velocities(
            held.boat, held.modes, held.airs, found.mode[[best]], found.row_deg[[best]]
        )
        return _Going(
            float(found.along_kn[best]), float(exact.heading_deg[0]), float(exact.twa_deg[0])
        )
    if not mine.size:
        return "out of the sails' angles"
    along, across = along_and_across(held.east_kn[mine], held.north_kn[mine], bearing_deg)
    off_deg = np.degrees(np.arctan2(across, along))
    at = int(np.argmin(np.abs(off_deg)))
    if abs(off_deg[at]) > near_deg:
        beyond = held.twa_deg[mine[at]] > DEAD_AFT_DEG
        return "by the lee" if beyond else "out of the sails' angles"
    return _Going(
        float(along[at]),
        float(held.heading_deg[mine[at]]),
        float(held.twa_deg[mine[at]]),
        float(off_deg[at]),
    )
