r"""Marks left on a hand and at a distance: where to aim instead of at the mark.

What is asked for is fixed by the marks alone, as a string drawn from mark to
mark would lie: the rhumb lines into a mark and out of it turn by
:math:`w \in [-180°, 180°]`, clockwise positive. Where they turn back, by more than
`TURNS_BACK_DEG` (or where the navigator says so), the mark is rounded, that is turned
towards: :math:`w \in (-360°, 0°]` to port, :math:`[0°, 360°)` to starboard. Seen from the
mark she then sweeps :math:`w - 180°` leaving it to port, :math:`w + 180°` to starboard; every
way of sailing must, whatever its boards.

With the course of the board into a mark :math:`\delta_1` and that of the one out
of it :math:`\delta_2` clockwise of their rhumb lines, within 180°, the boards turn
by :math:`b = w + \delta_2 - \delta_1`. Leaving the mark to port at distance
:math:`d` (to starboard everything is mirrored):

- She turns away from it, or not at all: one aim point at :math:`d`, on the
  bisector of the two beams.
- She turns towards it: as many aim points as keep every part :math:`a` of the
  turn within 120°, each on the bisector of its part at :math:`d / \cos(a/2)`, so
  that all boards touch the circle around the mark.

::

      turning away          turning towards it         turning far towards it
          M                        ______                    A₂────────
          │ d                     ╱  M   ╲                   │   ___
      ────A───╲                  A────────────               │  ╱   ╲
               ╲                ╱                            │ │  M  │
                                                             A₁─╲___╱──

The courses depend on the aim points, and the boards chosen may too; so the
passage is planned again with each set of aim points until they rest, and then
the boards are looked at: whether every one of them keeps off, what they sweep,
and on which hand the mark lies where she is closest. That hand may differ only
where her boards turn away by more than half a turn: she comes up to a mark that
is not to be rounded, and goes back the other way round.

Pure: what plans the passage is handed in.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, product
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.earth import geodesy
from goosewing.errors import InputError, NoPlanError
from goosewing.options import First
from goosewing.records import OTHER_SIDE, Board, Leg, Mark, Plan, Side
from goosewing.steady.cheapest_chain import SCRAP_H
from goosewing.units import METRES_PER_NM, Array

if TYPE_CHECKING:
    from goosewing.hazards.areas import Hazards

Solve = Callable[[Sequence[Mark], Sequence[First | None]], Plan]
"""Plans a passage over points; a wish for each leg which board comes first."""

ONE_POINT_UP_TO_DEG = 120.0
"""A larger turn towards the mark takes more aim points: one would lie over 2 d away."""

TURNS_BACK_DEG = 135.0
"""A mark at which the course turns by more than this is rounded whichever way it turns: a
windward mark left to port is gone round to port though the finish lies to starboard of it, and
she crosses her own track. Common practice, no source; of a course's marks the Racing Rules of
Sailing say likewise that the string representing her track, drawn taut, touches each mark that
is designated a rounding mark (definition "Sail the Course", from memory)."""

ROUNDS = 8
AT_REST_M = 1.0
AT_REST_SHARE = 0.002
"""Aim points rest when none moves by more than either: a metre, or this share of d."""

TOO_CLOSE = 0.99
"""Boards keep at least this share of the distance asked for."""

BENT_SHARE = 0.9
"""Boards that pass at no less than this share of it only bend towards the mark, as the wind turns
on them: aim points a little farther off put that right."""

WIDE = 1.05
"""Passing at more than this share of the distance is wider than it need be."""

SAME_COURSE_DEG = 0.1
"""Boards of one tack and sail set whose courses differ by less are one board."""

TIED = 1.001
"""Boards whose closest points differ by less than this are all looked at for the hand."""

WORSE_SHARE = 1e-3
"""A plan made afresh is taken unless it is slower by more than this share."""

DIRECTIONS = 72
STANDOFFS = (1.0, 1.4142)
"""Where nothing else works: aim points tried all round the mark, at these shares of d."""

LOOKED_ALONG = 3
"""So many boards into a mark, and out of it, are tried as those that touch its circle."""

STRINGS = 12
"""As many rows of aim points are tried where one aim point can't lead her round."""

_SIDES: tuple[First, First] = ("port", "starboard")

Place = tuple[float, float]
Aims = tuple[tuple[Place, ...], ...]
"""For each mark its aim points, at least one; of the first its own place."""


class Turn(NamedTuple):
    """How the rhumb lines turn at a mark, and so how she has to pass it."""

    course_in_deg: float
    course_out_deg: float
    """Where the passage ends, that of the line in."""
    turn_deg: float
    """Clockwise positive; from -180 to 180, but towards the mark where it is rounded."""
    sweep_deg: float
    """By how much she goes round the mark, clockwise positive, seen from it."""


class Passing(NamedTuple):
    """How close boards come to a mark, and on which hand it then lies."""

    distance_nm: float
    right_hand: bool


class _Wishes(NamedTuple):
    """Which board comes first: on each leg, and between the aim points of each mark."""

    legs: tuple[First | None, ...]
    between: tuple[First | None, ...]


@dataclass(frozen=True, slots=True)
class _Trial:
    """A passage over aim points, and what is wrong with it."""

    plan: Plan
    aims: Aims
    wishes: _Wishes
    lead: tuple[int, ...]
    """For each leg, how many of its boards lie between the aim points where it begins."""
    failing: tuple[int, ...]
    """Marks passed too close, on the wrong hand, or by the wrong way round."""
    other_hand: tuple[int, ...]
    """Marks where she turns back short of them, with the mark on the other hand."""
    wide: tuple[int, ...]
    """Marks passed wider than need be."""

    @property
    def rank(self) -> tuple[int, int, int, float]:
        return len(self.failing), len(self.other_hand), len(self.wide), self.plan.elapsed_h


def needed(marks: Sequence[Mark]) -> bool:
    """Tell whether any mark is to be left at a distance."""
    return any(is_left(mark) for mark in marks)


def is_left(mark: Mark) -> bool:
    """Tell whether a mark is to be left at a distance, on a hand."""
    return mark.leave is not None and mark.leave_distance_nm > 0.0


def rhumb_turn(before: Mark, mark: Mark, after: Mark | None) -> Turn:
    """Return how the rhumb lines turn at a mark that is left on a hand.

    Parameters
    ----------
    before, mark : Mark
    after : Mark or None
        None if the passage ends at the mark.
    """
    into = _rhumb_deg(before, mark)
    out = into if after is None else _rhumb_deg(mark, after)
    right = _right(mark.leave)
    turn = float(geodesy.wrap_180(out - into))
    turns_back = after is not None and abs(turn) > TURNS_BACK_DEG
    if right * turn > 0.0 and (turns_back if mark.rounding is None else mark.rounding):
        turn -= right * 360.0
    return Turn(into, out, turn, turn - right * 180.0)


def _rhumb_deg(a: Mark, b: Mark) -> float:
    return float(geodesy.loxodrome_inverse(a.lat, a.lon, b.lat, b.lon).bearing_deg)


def _right(side: Side | None) -> float:
    """+1 where she passes to the right of the mark, which then lies to port; else -1."""
    return -1.0 if side == "starboard" else 1.0


def aim_points(
    mark: Place, side: Side, distance_nm: float, course_in_deg: float, turn_deg: float
) -> tuple[Place, ...]:
    """Return where to aim to leave a mark on a hand.

    Parameters
    ----------
    mark : (lat, lon)
    side : "port" or "starboard"
        The hand on which the mark is left.
    distance_nm : float
        How far off. [nm]
    course_in_deg : float
        Course over the ground of the board into the mark. [°]
    turn_deg : float
        From there to the board out of it, clockwise positive; more than half a turn
        is not the same as less the other way. [°]

    Returns
    -------
    tuple of (lat, lon)
        One; for a turn towards the mark one for every 120° of it.
    """
    right = _right(side)
    # Positive away from the mark: to the right where it lies to port.
    away = right * turn_deg
    parts = max(1, int(np.ceil(-away / ONE_POINT_UP_TO_DEG)))
    each = away / parts
    off_nm = distance_nm / np.cos(np.radians(each / 2.0)) if away < 0.0 else distance_nm
    directions = [course_in_deg + right * (90.0 + each * (0.5 + part)) for part in range(parts)]
    return tuple(_place_off(mark, direction, off_nm) for direction in directions)


def _place_off(mark: Place, direction_deg: float, distance_nm: float) -> Place:
    place = geodesy.geodesic_direct(*mark, direction_deg, distance_nm)
    return float(place.lat), float(place.lon)


def passing(mark: Place, side: Side, boards: Sequence[Board]) -> Passing:
    """Measure how close boards come to a mark, and on which hand it then lies.

    Parameters
    ----------
    mark : (lat, lon)
    side : "port" or "starboard"
        The hand on which it should lie.
    boards : sequence of Board
        In and out, in sailing order.
    """
    points = [[(p.lat, p.lon) for p in board.points] for board in boards if len(board.points) > 1]
    start = np.array([p for line in points for p in line[:-1]])
    end = np.array([p for line in points for p in line[1:]])
    distance, across = _closest(mark, start, end)
    nearest = distance <= distance.min() * TIED
    hand = -1.0 if side == "port" else 1.0
    return Passing(float(distance.min()), bool(np.all(across[nearest] * hand > 0.0)))


def swept_deg(mark: Place, places: Sequence[Place]) -> float:
    """Measure how far a path goes round a mark, seen from it, clockwise positive.

    Parameters
    ----------
    mark : (lat, lon)
    places : sequence of (lat, lon)
        The path's corners; it is straight between them in the Mercator plane. [°]

    Returns
    -------
    float
        Whole turns are counted: -360 is once round, anticlockwise. [°]
    """
    lat, lon = np.array(places).T
    offset = geodesy.mercator_offset(*mark, lat, lon)
    bearing = np.degrees(np.arctan2(offset.east_deg, offset.north_deg))
    return float(np.sum(geodesy.wrap_180(np.diff(bearing))))


def _closest(mark: Place, start: Array, end: Array) -> tuple[Array, Array]:
    """Return the closest distance of straight runs to a mark, and how far right of each it lies.

    Parameters
    ----------
    start, end : ndarray, shape (n, 2)
        Latitudes and longitudes. [°]

    Returns
    -------
    distance_nm : ndarray, shape (n,)
    across : ndarray, shape (n,)
        Of the sign of the side on which the mark lies, right positive.
    """
    # Straight lines in the Mercator plane, whose angles are true; distances on the earth.
    a = geodesy.mercator_offset(*mark, start[:, 0], start[:, 1])
    b = geodesy.mercator_offset(*mark, end[:, 0], end[:, 1])
    east, north = b.east_deg - a.east_deg, b.north_deg - a.north_deg
    square = np.maximum(east**2 + north**2, 1e-30)
    share = np.clip(-(a.east_deg * east + a.north_deg * north) / square, 0.0, 1.0)
    lon = mark[1] + a.east_deg + share * east
    lat = geodesy.latitude_from_isometric(
        geodesy.isometric_latitude(mark[0]) + a.north_deg + share * north
    )
    across = a.north_deg * east - a.east_deg * north
    return geodesy.geodesic_inverse(*mark, lat, lon).distance_nm, across


def around(
    marks: Sequence[Mark],
    solve: Solve,
    first: First | None = None,
    hazards: Hazards | None = None,
    *,
    afresh: Solve | None = None,
    hasty: bool = False,
) -> Plan:
    """Plan a passage that leaves its marks on the hands and at the distances asked for.

    Parameters
    ----------
    marks : sequence of Mark
    solve : callable
        Plans the passage over aim points.
    first : First, optional
        The navigator's own wish for every leg.
    hazards : Hazards, optional
        Marks that stand in one are not aimed at themselves.
    afresh : callable, optional
        Plans without what earlier trials taught: asked where the aim points rest.
    hasty : bool
        Where aim points don't rest, whether to take the first others that do, not the best.

    Returns
    -------
    Plan
        Over the marks as given; the boards end at the aim points.

    Raises
    ------
    InputError
        If the start is to be left on a hand, or a distance is no less than a
        leg beside the mark.
    NoPlanError
        If no boards leave a mark so.
    """
    _check(marks)
    task = _Task(tuple(marks), solve, _turns(marks), hasty)
    wishes = _Wishes((first,) * (len(marks) - 1), (None,) * len(marks))
    best = task.settled(_first_aims(marks, task.turns, hazards), wishes)
    for _ in range(2 * len(marks)):
        amiss = (*best.failing, *best.other_hand)
        if not amiss:
            break
        better = task.otherwise(best, amiss[0], free=first is None)
        if better.rank >= best.rank:
            break
        best = better
    if best.failing:
        raise NoPlanError(_cannot_be_left(marks, best.failing[0]))
    best = task.tidied(best)
    if afresh is not None:
        best = task._replace(solve=afresh).once_more(best)
    return task.over_the_marks(best)


def _check(marks: Sequence[Mark]) -> None:
    if is_left(marks[0]):
        raise InputError(
            f"{marks[0].name} can't be left to {marks[0].leave}: the passage starts there"
        )
    apart = [
        float(geodesy.geodesic_inverse(a.lat, a.lon, b.lat, b.lon).distance_nm)
        for a, b in pairwise(marks)
    ]
    for at, mark in enumerate(marks):
        shortest = min(apart[max(at - 1, 0) : at + 1])
        if is_left(mark) and mark.leave_distance_nm >= shortest:
            raise InputError(
                f"{mark.name} can't be left {mark.leave_distance_nm:g} nm off: "
                f"the leg beside it is only {shortest:.2f} nm long"
            )


def _cannot_be_left(marks: Sequence[Mark], at: int) -> str:
    mark = marks[at]
    return (
        f"{mark.name} can't be left to {mark.leave} at {mark.leave_distance_nm:g} nm: in this "
        "wind no boards in and out were found that keep that far off with the mark on that hand "
        "and turn round it as the marks do"
    )


def _turns(marks: Sequence[Mark]) -> tuple[Turn | None, ...]:
    return tuple(
        rhumb_turn(marks[at - 1], mark, marks[at + 1] if at + 1 < len(marks) else None)
        if is_left(mark)
        else None
        for at, mark in enumerate(marks)
    )


class _Task(NamedTuple):
    """The marks, what plans a passage over aim points, and the turns at marks that are left."""

    marks: tuple[Mark, ...]
    solve: Solve
    turns: tuple[Turn | None, ...]
    hasty: bool = False
    """Whether the first thing that does is taken: where a plan takes long."""

    def settled(self, aims: Aims, wishes: _Wishes) -> _Trial:
        """Plan and aim in turn until the aim points rest; return the best plan met.

        Raises
        ------
        NoPlanError
            If the marks themselves can't be made.
        """
        return min(self._rounds(aims, wishes), key=lambda trial: trial.rank)

    def _rounds(self, aims: Aims, wishes: _Wishes) -> list[_Trial]:
        """Return the trial at rest alone, or all of them where none comes to rest."""
        seen: list[_Trial] = []
        farther = [1.0] * len(self.marks)
        for _ in range(ROUNDS):
            trial = self.tried(aims, wishes)
            if trial is None:
                break
            aims = self._aims(trial, farther)
            rests = self._at_rest(trial.aims, aims)
            if rests and not trial.failing:
                return [trial]
            seen.append(trial)
            if rests:
                near = [(at, self._share_off(trial, at)) for at in trial.failing]
                if any(share < BENT_SHARE for _, share in near):
                    break
                for at, share in near:
                    farther[at] /= share
                aims = self._aims(trial, farther)
        return seen

    def _share_off(self, trial: _Trial, at: int) -> float:
        """At what share of its distance the boards pass a mark."""
        mark = self.marks[at]
        assert mark.leave is not None
        boards = [board for leg in trial.plan.legs[at - 1 : at + 1] for board in leg.boards]
        found = passing((mark.lat, mark.lon), mark.leave, boards)
        return found.distance_nm / mark.leave_distance_nm

    def tried(self, aims: Aims, wishes: _Wishes) -> _Trial | None:
        """Plan over these aim points; None if one of them can't be made."""
        points = [
            replace(mark, lat=lat, lon=lon, leave=None, leave_distance_nm=0.0)
            for mark, of_mark in zip(self.marks, aims, strict=True)
            for lat, lon in of_mark
        ]
        firsts: list[First | None] = []
        for of_mark, leg, between in zip(aims[1:], wishes.legs, wishes.between[1:], strict=True):
            firsts += [leg, *[between] * (len(of_mark) - 1)]
        try:
            plan = self.solve(points, firsts)
        except NoPlanError:
            # The marks themselves must be within reach; aim points need not be.
            if aims == _own_places(self.marks):
                raise
            return None
        legs, lead = _merged(plan.legs, aims)
        return self._judged(replace(plan, legs=legs), aims, wishes, lead)

    def _judged(self, plan: Plan, aims: Aims, wishes: _Wishes, lead: tuple[int, ...]) -> _Trial:
        failing, other_hand, wide = [], [], []
        for at, (mark, turn) in enumerate(zip(self.marks, self.turns, strict=True)):
            if mark.leave is None or turn is None:
                continue
            boards = [board for leg in plan.legs[at - 1 : at + 1] for board in leg.boards]
            found = passing((mark.lat, mark.lon), mark.leave, boards)
            share = found.distance_nm / mark.leave_distance_nm
            astray = abs(self._swept_deg(at, boards) - turn.sweep_deg) > 1.0
            turned = _right(mark.leave) * _boards_turn_deg(plan.legs, lead, at, turn)
            if share < TOO_CLOSE or astray or not (found.right_hand or turned > 180.0):
                failing.append(at)
            elif not found.right_hand:
                other_hand.append(at)
            elif share > WIDE:
                wide.append(at)
        return _Trial(plan, aims, wishes, lead, tuple(failing), tuple(other_hand), tuple(wide))

    def _swept_deg(self, at: int, boards: Sequence[Board]) -> float:
        """Measure how far she goes round a mark, from the mark before it to the one after it."""
        mark, before = self.marks[at], self.marks[at - 1]
        path = [(point.lat, point.lon) for board in boards for point in board.points]
        if at + 1 < len(self.marks):
            end = (self.marks[at + 1].lat, self.marks[at + 1].lon)
        else:
            # Where the passage ends she is taken to go on along the line she came by.
            turn = self.turns[at]
            assert turn is not None
            end = _place_off((mark.lat, mark.lon), turn.course_out_deg, mark.leave_distance_nm)
        return swept_deg((mark.lat, mark.lon), [(before.lat, before.lon), *path, end])

    def once_more(self, trial: _Trial) -> _Trial:
        """Plan over the same aim points; the trial stays where that proves much the worse."""
        again = self.tried(trial.aims, trial.wishes)
        if again is None or again.rank[:3] > trial.rank[:3]:
            return trial
        slower = again.plan.elapsed_h > trial.plan.elapsed_h * (1.0 + WORSE_SHARE)
        return trial if slower else again

    def _aims(self, trial: _Trial, farther: Sequence[float]) -> Aims:
        """Where to aim by the boards of a trial, so much farther off than straight boards need."""
        legs = trial.plan.legs
        aims: list[tuple[Place, ...]] = [((self.marks[0].lat, self.marks[0].lon),)]
        for at, (mark, turn) in enumerate(zip(self.marks[1:], self.turns[1:], strict=True), 1):
            place = (mark.lat, mark.lon)
            if mark.leave is None or turn is None:
                aims.append((place,))
                continue
            into = legs[at - 1].boards[-1].points[-1].course_over_ground_deg
            turned = _boards_turn_deg(legs, trial.lead, at, turn)
            off_nm = mark.leave_distance_nm * farther[at]
            aims.append(aim_points(place, mark.leave, off_nm, into, turned))
        return tuple(aims)

    def _at_rest(self, before: Aims, after: Aims) -> bool:
        for mark, old, new in zip(self.marks, before, after, strict=True):
            if len(old) != len(new):
                return False
            limit = min(AT_REST_M, AT_REST_SHARE * mark.leave_distance_nm * METRES_PER_NM)
            if any(_metres(a, b) > limit for a, b in zip(old, new, strict=True) if a != b):
                return False
        return True

    def otherwise(self, trial: _Trial, at: int, *, free: bool) -> _Trial:
        """Return the best of other orders of boards beside a mark; else of aim points round it."""
        if self.hasty:
            return self._otherwise_in_haste(trial, at, free=free)
        found = [trial]
        for wishes in self._other_wishes(trial, at, free=free):
            found += self._rounds(trial.aims, wishes)
        best = min(found, key=lambda each: each.rank)
        if at not in trial.failing or len(best.failing) < len(trial.failing):
            return best
        tried = [best, *self._along_boards(best, at)]
        if all(at in each.failing for each in tried):
            tried += [*self._strings(trial, at), *self._all_round(trial, at)]
        return min(tried, key=lambda each: each.rank)

    def _along_boards(self, trial: _Trial, at: int) -> list[_Trial]:
        """Aim so that other boards than those next to a mark touch the circle round it.

        A short board beside the mark turns into the next one before she is clear: then it is
        the next one that has to keep off.
        """
        mark, turn = self.marks[at], self.turns[at]
        assert mark.leave is not None
        assert turn is not None
        if at + 1 == len(self.marks):
            return []
        legs, lead = trial.plan.legs, trial.lead
        into = [b.points[-1].course_over_ground_deg for b in legs[at - 1].boards[-LOOKED_ALONG:]]
        out = [b.points[0].course_over_ground_deg for b in legs[at].boards[lead[at] :]]
        place, off_nm = (mark.lat, mark.lon), mark.leave_distance_nm
        rows = [
            aim_points(place, mark.leave, off_nm, a, _turned_deg(turn, a, b))
            for a, b in product(into, out[:LOOKED_ALONG])
        ]
        tried: list[_Trial] = []
        for row in dict.fromkeys(rows):
            tried += self._rounds((*trial.aims[:at], row, *trial.aims[at + 1 :]), trial.wishes)
        return tried

    def _otherwise_in_haste(self, trial: _Trial, at: int, *, free: bool) -> _Trial:
        """Try one thing after the other, as soon as one does the mark is passed."""
        tries: tuple[Callable[[], list[_Trial]], ...] = (
            lambda: self._strings(trial, at) if at in trial.failing else [],
            lambda: [
                each
                for wishes in self._other_wishes(trial, at, free=free)
                for each in self._rounds(trial.aims, wishes)
            ],
            lambda: self._all_round(trial, at) if at in trial.failing else [],
        )
        best = trial
        for found in tries:
            best = min([best, *found()], key=lambda each: each.rank)
            if at not in (*best.failing, *best.other_hand):
                # From there the aim points may come to rest after all.
                return min([best, *self._rounds(best.aims, best.wishes)], key=lambda t: t.rank)
        return best

    def _other_wishes(self, trial: _Trial, at: int, *, free: bool) -> list[_Wishes]:
        beside: list[tuple[First | None, ...]] = [trial.wishes.legs[at - 1 : at + 1]]
        if free:
            beside = [(into, out) for into in _SIDES for out in (None, *_SIDES)]
        found = []
        for pair, side in product(beside, (None, *_SIDES)):
            legs, between = list(trial.wishes.legs), list(trial.wishes.between)
            legs[at - 1 : at + 1] = pair[: len(legs) - at + 1]
            between[at] = side
            found.append(_Wishes(tuple(legs), tuple(between)))
        return found

    def _all_round(self, trial: _Trial, at: int) -> list[_Trial]:
        tried: list[_Trial] = []
        for share in STANDOFFS:
            tried += self._ring(trial, at, share)
            if any(at not in each.failing for each in tried):
                break
        return tried

    def _ring(self, trial: _Trial, at: int, share: float) -> list[_Trial]:
        """Try aim points all round a mark, at this share of its distance."""
        mark = self.marks[at]
        off_nm = share * mark.leave_distance_nm
        rows = [
            (_place_off((mark.lat, mark.lon), 360.0 / DIRECTIONS * number, off_nm),)
            for number in range(DIRECTIONS)
        ]
        return self._with_aims(trial, at, rows)

    def _strings(self, trial: _Trial, at: int) -> list[_Trial]:
        """Try rows of aim points that lead round a mark as its rhumb lines do."""
        mark, turn = self.marks[at], self.turns[at]
        assert mark.leave is not None
        assert turn is not None
        if at + 1 == len(self.marks):
            return []
        spread = 90.0 * (np.arange(STRINGS) / (STRINGS - 1) * 2.0 - 1.0)
        place, off_nm = (mark.lat, mark.lon), mark.leave_distance_nm
        rows = [
            aim_points(place, mark.leave, off_nm, turn.course_in_deg + one, turn.turn_deg + more)
            for one in spread
            for more in (0.0, -one, -90.0 * _right(mark.leave))
        ]
        return self._with_aims(trial, at, rows)

    def _with_aims(self, trial: _Trial, at: int, rows: Sequence[tuple[Place, ...]]) -> list[_Trial]:
        tried = [
            self.tried((*trial.aims[:at], row, *trial.aims[at + 1 :]), trial.wishes) for row in rows
        ]
        return [each for each in tried if each is not None]

    def tidied(self, trial: _Trial) -> _Trial:
        """Turn at the other end of boards that are all but nothing, where that does as well."""
        for at in range(1, len(self.marks)):
            if self.turns[at] is None:
                continue
            for other in self._with_aims(trial, at, _rows_without_scraps(trial, at)):
                if other.rank[:3] <= trial.rank[:3] and _scraps(other) < _scraps(trial):
                    trial = other
                    break
        return trial

    def over_the_marks(self, trial: _Trial) -> Plan:
        """Return the plan with the marks as they were given."""
        told = [_short_of_it(self.marks[at]) for at in trial.other_hand]
        return replace(trial.plan, marks=self.marks, notices=(*trial.plan.notices, *told))


def _short_of_it(mark: Mark) -> str:
    assert mark.leave is not None
    return (
        f"{mark.name} is not rounded: on these boards she turns back short of it, and has it to "
        f"{OTHER_SIDE[mark.leave]} where she is closest."
    )


def _boards_turn_deg(legs: Sequence[Leg], lead: Sequence[int], at: int, turn: Turn) -> float:
    """Return by how much the boards into a mark and out of it turn, clockwise positive."""
    into = legs[at - 1].boards[-1].points[-1].course_over_ground_deg
    if at == len(legs):
        return 0.0
    # The boards between two aim points are no course out of the mark.
    out = legs[at].boards[lead[at]].points[0].course_over_ground_deg
    return _turned_deg(turn, into, out)


def _turned_deg(turn: Turn, into_deg: float, out_deg: float) -> float:
    # Each against its own rhumb line: the two may lie more than half a turn apart.
    before = float(geodesy.wrap_180(into_deg - turn.course_in_deg))
    return turn.turn_deg + float(geodesy.wrap_180(out_deg - turn.course_out_deg)) - before


def _own_places(marks: Sequence[Mark]) -> Aims:
    return tuple(((mark.lat, mark.lon),) for mark in marks)


def _first_aims(
    marks: Sequence[Mark], turns: Sequence[Turn | None], hazards: Hazards | None
) -> Aims:
    """Return the marks' own places, but for those in a hazard where boards like the rhumb lines do.

    Raises
    ------
    NoPlanError
        If that lies in a hazard as well.
    """
    aims = list(_own_places(marks))
    for at, (mark, turn) in enumerate(zip(marks, turns, strict=True)):
        place = (mark.lat, mark.lon)
        if hazards is None or turn is None or mark.leave is None or not hazards.inside(*place):
            continue
        aims[at] = aim_points(
            place, mark.leave, mark.leave_distance_nm, turn.course_in_deg, turn.turn_deg
        )
        for aim in aims[at]:
            area = hazards.at(*aim)
            if area is not None:
                raise NoPlanError(
                    f"{mark.name} can't be left to {mark.leave} at {mark.leave_distance_nm:g} nm: "
                    f"{area.called} reaches farther out"
                )
    return tuple(aims)


def _metres(a: Place, b: Place) -> float:
    return float(geodesy.geodesic_inverse(*a, *b).distance_nm) * METRES_PER_NM


def _merged(legs: Sequence[Leg], aims: Aims) -> tuple[tuple[Leg, ...], tuple[int, ...]]:
    """Join the short legs between aim points to the leg that begins at the mark.

    Returns
    -------
    legs : tuple of Leg
        From mark to mark.
    lead : tuple of int
        How many boards of each lie between the aim points where it begins.
    """
    waiting = list(legs)
    joined: list[Leg] = []
    lead: list[int] = []
    short: list[Leg] = []
    for of_mark in aims[1:]:
        leg = waiting.pop(0)
        own = len(leg.boards)
        for each in reversed(short):
            leg = _joined(each, leg)
        joined.append(leg)
        lead.append(len(leg.boards) - own)
        short = [waiting.pop(0) for _ in of_mark[1:]]
    return tuple(joined), tuple(lead)


def _scraps(trial: _Trial) -> int:
    return sum(board.elapsed_h < SCRAP_H for leg in trial.plan.legs for board in leg.boards)


def _rows_without_scraps(trial: _Trial, at: int) -> list[tuple[Place, ...]]:
    """Return the aim points of a mark with one of them moved along a board of under a minute."""
    rows = []
    for board in (each for leg in trial.plan.legs[at - 1 : at + 1] for each in leg.boards):
        start, end = (board.start.lat, board.start.lon), (board.end.lat, board.end.lon)
        for here, there in ((start, end), (end, start)) if board.elapsed_h < SCRAP_H else ():
            row = tuple(there if _metres(p, here) < AT_REST_M else p for p in trial.aims[at])
            if row != trial.aims[at] and len(set(row)) == len(row):
                rows.append(row)
    return rows


def _boards_joined(before: Sequence[Board], after: Sequence[Board]) -> tuple[Board, ...]:
    """Put boards one after the other; what goes on as it was is one board."""
    a, b = before[-1], after[0]
    turned = geodesy.wrap_180(b.course_over_ground_deg - a.course_over_ground_deg)
    # Under engine the tack means nothing.
    alike = (
        not b.manoeuvres
        and a.sail_set == b.sail_set
        and (a.tack == b.tack or (a.engine and b.engine))
    )
    if not alike or abs(turned) > SAME_COURSE_DEG:
        return (*before, *after)
    hours, nm = a.elapsed_h + b.elapsed_h, a.distance_nm + b.distance_nm
    log_nm = a.log_nm + b.log_nm
    one = replace(
        a,
        end=b.end,
        distance_nm=nm,
        log_nm=log_nm,
        elapsed_h=hours,
        boat_speed_kn=log_nm / hours,
        speed_over_ground_kn=nm / hours,
        points=(*a.points[:-1], *b.points[1:]),
        orders=(*a.orders, *b.orders),
        via=(*a.via, *b.via),
        beyond_forecast=a.beyond_forecast or b.beyond_forecast,
    )
    return (*before[:-1], one, *after[1:])


def _joined(short: Leg, leg: Leg) -> Leg:
    straight = None
    if short.straight_h is not None and leg.straight_h is not None:
        straight = short.straight_h + leg.straight_h
    bound = None
    if short.bound_h is not None and leg.bound_h is not None:
        bound = short.bound_h + leg.bound_h
    elapsed = short.elapsed_h + leg.elapsed_h
    return replace(
        leg,
        elapsed_h=elapsed,
        straight_h=straight,
        saved_min=None if straight is None else (straight - elapsed) * 60.0,
        bound_h=bound,
        boards=_boards_joined(short.boards, leg.boards),
        # Those of the leg's main part are none of the whole.
        alternatives=(),
    )
