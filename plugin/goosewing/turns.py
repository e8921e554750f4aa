"""Where a plan turns, and what each turn is called: once, for every output.

A plan is a row of stops: its marks, and between them the turning points at which a board
begins. Tack and gybe, pole and sails, the engine and a mere bend beside a shoal each have
their letter and are numbered over the whole passage: T1, T2, G1, P1, C1, E1, A1. The name
stands in the board that begins there (`goosewing.records.Board.point`), and table, JSON,
GPX, handheld GPS, overlay, sentences and panel repeat it. A turn made at a mark has
the mark's name.

A plan made anew under way takes over the names of the turns that are still ahead
(`numbered_like`): a crew that has been told of T3 waits for T3.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal, NamedTuple, TypeAlias

from goosewing.earth.angles import wrap_180
from goosewing.earth.geodesy import geodesic_inverse

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from datetime import datetime

    from goosewing.records import (
        Board,
        CrewStep,
        Manoeuvre,
        Mark,
        Order,
        Plan,
        PoleDown,
        PoleReady,
        Side,
    )

TurnKind = Literal["tack", "gybe", "pole", "sail change", "engine", "course change"]
"""What a turning point is for; of several manoeuvres the turn names it."""

LETTERS: dict[TurnKind, str] = {
    "tack": "T",
    "gybe": "G",
    "pole": "P",
    "sail change": "C",
    "engine": "E",
    "course change": "A",
}

_MANOEUVRES: dict[TurnKind, set[str]] = {
    "tack": {"tack"},
    "gybe": {"gybe"},
    "pole": {"set_pole", "strike_pole"},
    "sail change": {"change_sails"},
}

SAME_PLACE_NM = 0.5
"""A turn that a new plan moves by no more is the same turn to the crew. [nm]"""

SAME_SHARE = 1.0 / 3.0
"""Nor one that moves by no more than this share of the way there: far ahead, laylines swing."""


SAME_DEG = 1.0
"""A heading that is altered by less is the same to the helm. [°]"""


def altered_to(from_deg: float, to_deg: float) -> Side | None:
    """Tell to which hand a heading is altered; None where it is the same to the helm.

    Examples
    --------
    >>> altered_to(350.0, 10.0), altered_to(10.0, 350.0), altered_to(359.8, 0.2)
    ('starboard', 'port', None)
    """
    by_deg = float(wrap_180(to_deg - from_deg))
    if abs(by_deg) < SAME_DEG:
        return None
    return "starboard" if by_deg > 0.0 else "port"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """A place of a plan's route: a mark or a turning point, and what begins there.

    Attributes
    ----------
    name : str or None
        The mark's, or the turning point's; None only in a plan that was never numbered.
    lat, lon : float
        Where she passes; off a mark that is left on a hand. [°]
    time : datetime or None
        When she is there, before anything is done.
    mark : Mark or None
        None at a turning point.
    board : Board or None
        The board that begins there, with its manoeuvres, or goes on under another order;
        None at the last mark, and where two marks are one place.
    order : Order or None
        The order that is given there, along a board.
    leg, at, nth : int
        Which leg begins or goes on there, with which of its boards, under which of its
        orders.
    motored, after_engine : bool
        Whether she comes here under engine; whether she then sails on.
    last : bool
        Whether the passage ends here.
    before : Board, Order or None
        What was steered until here; None where the passage begins.
    pole_down : PoleDown or None
        Where the crew begins to strike the pole, if it is to be down here.
    pole_ready : PoleReady or None
        Where the crew begins to make the pole ready, if it is set here.
    crew : tuple of CrewStep
        What hands do about this place, in order.
    """

    name: str | None
    lat: float
    lon: float
    time: datetime | None
    mark: Mark | None = None
    board: Board | None = None
    order: Order | None = None
    leg: int
    at: int = 0
    nth: int = 0
    motored: bool = False
    after_engine: bool = False
    last: bool = False
    before: Board | Order | None = None
    pole_down: PoleDown | None = None
    pole_ready: PoleReady | None = None
    crew: tuple[CrewStep, ...] = ()

    @property
    def manoeuvres(self) -> tuple[Manoeuvre, ...]:
        """What the crew does here, in order."""
        return () if self.board is None or self.order is not None else self.board.manoeuvres

    @property
    def point(self) -> str | None:
        """What the turn here is called, in the plan's records."""
        if self.order is not None:
            return self.order.point
        return None if self.board is None else self.board.point

    @property
    def kind(self) -> TurnKind:
        """What the crew does here, in one word: the turn, if there is one."""
        if self.order is not None:
            return "course change"
        if self.board is not None and self.board.engine:
            return "engine"
        done = {each.kind for each in self.manoeuvres}
        for kind, manoeuvres in _MANOEUVRES.items():
            if done & manoeuvres:
                return kind
        return "sail change" if self.after_engine else "course change"


def stops(plan: Plan) -> Iterator[Stop]:
    """Walk along a plan: its marks and turning points in sailing order.

    Parameters
    ----------
    plan : Plan
        With a mark at each end of every leg.
    """
    time: datetime | None = plan.departure
    under_engine = False
    before: Board | Order | None = None
    pole_down: PoleDown | None = None
    pole_ready: PoleReady | None = None
    crew: tuple[CrewStep, ...] = ()
    for number, (mark, leg) in enumerate(zip(plan.marks, plan.legs, strict=False)):
        if not leg.boards:
            yield Stop(
                name=mark.name, lat=mark.lat, lon=mark.lon, time=time, mark=mark, leg=number,
                before=before,
            )  # fmt: skip
        for at, board in enumerate(leg.boards):
            # A mark left on a hand is passed at its distance, and the route leads past it too:
            # whoever follows the route must not be led over the mark itself.
            here = board.start if at or mark.leave else mark
            yield Stop(
                name=board.point if at else mark.name,
                lat=here.lat,
                lon=here.lon,
                time=time,
                mark=None if at else mark,
                board=board,
                leg=number,
                at=at,
                motored=under_engine,
                after_engine=under_engine and not board.engine,
                before=before,
                pole_down=pole_down,
                pole_ready=pole_ready,
                crew=crew,
            )
            yield from _along(board, number, at)
            before = board.orders[-1] if board.orders else board
            time, under_engine = board.end.time, board.engine
            pole_down, pole_ready, crew = board.pole_down, board.pole_ready, board.crew
    yield replace(_last_stop(plan), before=before, pole_down=pole_down, crew=crew)


def _along(board: Board, leg: int, at: int) -> Iterator[Stop]:
    """Walk along a board: where another order is given."""
    for nth, order in enumerate(board.orders[1:], 1):
        yield Stop(
            name=order.point,
            lat=order.lat,
            lon=order.lon,
            time=order.time,
            board=board,
            order=order,
            leg=leg,
            at=at,
            nth=nth,
            motored=board.engine,
            before=board.orders[nth - 1],
        )


def _last_stop(plan: Plan) -> Stop:
    mark = plan.marks[-1]
    boards = plan.legs[-1].boards
    there = boards[-1].end if mark.leave and boards else mark
    return Stop(
        name=mark.name,
        lat=there.lat,
        lon=there.lon,
        time=plan.arrival,
        mark=mark,
        leg=len(plan.legs),
        last=True,
    )


def names(plan: Plan) -> tuple[str, ...]:
    """Return what the turning points of a plan are called, in sailing order."""
    boards = [board for leg in plan.legs for board in leg.boards]
    found = (name for b in boards for name in (b.point, *(order.point for order in b.orders)))
    return tuple(each for each in found if each is not None)


def numbered(plan: Plan) -> Plan:
    """Name the turning points of a plan, over the whole passage.

    No name is one of its marks', in either case of letters.
    """
    numbers = Numbers({mark.name.casefold() for mark in plan.marks})
    return _with_points(
        plan,
        {_key(stop): numbers.next(LETTERS[stop.kind]) for stop in stops(plan) if stop.mark is None},
    )


def numbered_like(
    plan: Plan, before: Plan | None, used: Iterable[str] = (), *, at_once: bool = False
) -> Plan:
    """Name the turning points of a plan made anew, those still ahead as in the plan before.

    A turn is still the same if it is of the same kind, onto the same tack and sails, on the
    way to the same mark, in the same order, and not far from where it was. A manoeuvre
    that is due where the new plan begins keeps the name it was announced by as well. All others
    get numbers that were never used.

    Parameters
    ----------
    plan : Plan
        The new one, from where she is now.
    before : Plan or None
        The one she was sailing, its turns named; None if there was none.
    used : iterable of str
        What turns of this passage were called that `before` no longer has, such as those
        that lie behind: never used again.
    at_once : bool
        Whether a manoeuvre that is due where the plan begins has a name of its own, if none
        was announced: under way there is no mark to call it by.
    """
    known = [plan] if before is None else [plan, before]
    numbers = Numbers({mark.name.casefold() for each in known for mark in each.marks})
    numbers.after((*used, *(() if before is None else names(before))))
    new = [turn for turn in _turns(plan) if turn.stop.mark is None or turn.stop.manoeuvres]
    old = [] if before is None else [turn for turn in _turns(before) if turn.name]
    kept = _same_turns(new, old, plan.marks)
    points: dict[_Key, str] = {}
    for stop in (turn.stop for turn in new):
        if _key(stop) in kept:
            points[_key(stop)] = kept[_key(stop)]
        elif stop.mark is None or at_once:
            points[_key(stop)] = numbers.next(LETTERS[stop.kind])
    return _with_points(plan, points)


_Key: TypeAlias = tuple[int, int, int]
"""Leg, board and order."""


def _key(stop: Stop) -> _Key:
    return stop.leg, stop.at, stop.nth


class _Turn(NamedTuple):
    """A turning point, or the place where she is, and what makes it the same in another plan."""

    stop: Stop
    name: str | None
    what: tuple[str, ...]


def _turns(plan: Plan) -> list[_Turn]:
    """List turning points, with the place where the plan begins as one."""
    return [
        _Turn(stop, stop.point, (stop.kind, plan.legs[stop.leg].destination, *_under(board)))
        for stop in stops(plan)
        if (board := stop.board) is not None and (stop.mark is None or stop.leg == 0)
    ]


def _under(board: Board) -> tuple[str, str]:
    # Under engine the tack means nothing.
    return board.sail_set, "" if board.engine else board.tack


def _same_turns(
    new: Sequence[_Turn], old: Sequence[_Turn], marks: Sequence[Mark]
) -> dict[_Key, str]:
    """Pair turns so that most stay, and lie nearest, their order kept; names by leg and board."""
    called = {mark.name.casefold() for mark in marks}
    # The best pairing of the first i of one and the first j of the other, built up row by row.
    best: list[list[tuple[float, dict[_Key, str]]]] = [
        [(0.0, {}) for _ in range(len(old) + 1)] for _ in range(len(new) + 1)
    ]
    for i, turn in enumerate(new, 1):
        for j, was in enumerate(old, 1):
            choices = [best[i - 1][j], best[i][j - 1]]
            likeness = _likeness(turn, was, marks[0])
            if likeness > 0.0 and was.name is not None and was.name.casefold() not in called:
                worth, pairs = best[i - 1][j - 1]
                choices.append((worth + likeness, {**pairs, _key(turn.stop): was.name}))
            best[i][j] = max(choices, key=lambda each: each[0])
    return best[-1][-1][1]


def _likeness(turn: _Turn, was: _Turn, start: Mark) -> float:
    """Tell how surely two turns are the same: from 0, not at all, to 1, in the same place."""
    if turn.what != was.what:
        return 0.0
    allowed_nm = max(SAME_PLACE_NM, SAME_SHARE * _apart_nm(turn.stop, start))
    return max(0.0, 1.0 - _apart_nm(turn.stop, was.stop) / allowed_nm)


def _apart_nm(one: Stop, other: Stop | Mark) -> float:
    return float(geodesic_inverse(one.lat, one.lon, other.lat, other.lon).distance_nm)


def _with_points(plan: Plan, points: Mapping[_Key, str]) -> Plan:
    def named(board: Board, leg: int, at: int) -> Board:
        orders = tuple(
            replace(order, point=points.get((leg, at, nth)) if nth else None)
            for nth, order in enumerate(board.orders)
        )
        return replace(board, point=points.get((leg, at, 0)), orders=orders)

    legs = (
        replace(leg, boards=tuple(named(b, number, at) for at, b in enumerate(leg.boards)))
        for number, leg in enumerate(plan.legs)
    )
    return replace(plan, legs=tuple(legs))


@dataclass(slots=True)
class Numbers:
    """Short names, each once, none of them taken in either case of letters.

    Attributes
    ----------
    taken : set of str
        Names of others, casefolded.
    last : dict
        The highest number given, by prefix.
    """

    taken: set[str]
    last: dict[str, int] = field(default_factory=dict)

    def after(self, given: Iterable[str]) -> None:
        """Go on counting behind these."""
        for name in given:
            found = re.fullmatch(r"([A-Z]+)(\d+)", name)
            if found:
                prefix, number = found[1], int(found[2])
                self.last[prefix] = max(number, self.last.get(prefix, 0))

    def next(self, prefix: str) -> str:
        """Return the next name of a prefix."""
        number = self.last.get(prefix, 0) + 1
        while f"{prefix}{number}".casefold() in self.taken:
            number += 1
        self.last[prefix] = number
        self.taken.add(f"{prefix}{number}".casefold())
        return f"{prefix}{number}"
