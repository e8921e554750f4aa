r"""Marks left on a hand and at a distance: where to aim instead of at the mark.

With course :math:`c_1` into a mark and :math:`c_2` out of it, leaving it to
port at distance :math:`d` (to starboard everything is mirrored):

- She turns away from it, or not at all: one aim point at :math:`d`, on the
  bisector of the two beams.
- She turns towards it by up to 120°: one aim point on the same line at
  :math:`d / \cos(a/2)`, so that both boards touch the circle around the mark.
- She turns towards it by more: two aim points, each for half of the turn, for
  one would lie far from the mark.

::

      turning away          turning towards it         turning far towards it
          M                        ______                    A₂────────
          │ d                     ╱  M   ╲                   │   ___
      ────A───╲                  A────────────               │  ╱   ╲
               ╲                ╱                            │ │  M  │
                                                             A₁─╲___╱──

The courses depend on the aim points, and the boards chosen may too; so the
passage is planned again with each set of aim points until they rest, and then
the boards are looked at: whether every one of them keeps off, and on which hand
the mark lies where she is closest.

Pure: what plans the passage is handed in.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise, product
from typing import NamedTuple

import numpy as np

from goosewing import earth
from goosewing.chain import First
from goosewing.errors import InputError, NoPlanError
from goosewing.records import Board, Leg, Mark, Plan, Side
from goosewing.units import METRES_PER_NM, Array

Solve = Callable[[Sequence[Mark], Sequence[First | None]], Plan]
"""Plans a passage over points; a wish for each leg which board comes first."""

ONE_POINT_UP_TO_DEG = 120.0
"""A larger turn towards the mark takes two aim points: one would lie over 2 d away."""

ROUNDS = 8
AT_REST_M = 1.0
AT_REST_SHARE = 0.002
"""Aim points rest when none moves by more than either: a metre, or this share of d."""

TOO_CLOSE = 0.99
"""Boards keep at least this share of the distance asked for."""

WIDE = 1.05
"""Passing at more than this share of the distance is wider than it need be."""

TIED = 1.001
"""Boards whose closest points differ by less than this are all looked at for the hand."""

DIRECTIONS = 72
STANDOFFS = (1.0, 1.4142)
"""Where nothing else works: aim points tried all round the mark, at these shares of d."""

_SIDES: tuple[First, First] = ("port", "starboard")

Place = tuple[float, float]
Aims = tuple[tuple[Place, ...], ...]
"""For each mark its aim points, one or two; of the first its own place."""


class Passing(NamedTuple):
    """How close boards come to a mark, and on which hand it then lies."""

    distance_nm: float
    right_hand: bool


@dataclass(frozen=True, slots=True)
class _Trial:
    """A passage over aim points, and what is wrong with it."""

    plan: Plan
    aims: Aims
    firsts: tuple[First | None, ...]
    failing: tuple[int, ...]
    """Marks passed too close or on the wrong hand."""
    wide: tuple[int, ...]
    """Marks passed wider than need be."""

    @property
    def rank(self) -> tuple[int, int, float]:
        return len(self.failing), len(self.wide), self.plan.elapsed_h


def needed(marks: Sequence[Mark]) -> bool:
    """Tell whether any mark is to be left at a distance."""
    return any(_is_left(mark) for mark in marks)


def _is_left(mark: Mark) -> bool:
    return mark.leave is not None and mark.leave_distance_nm > 0.0


def aim_points(
    mark: Place, side: Side, distance_nm: float, course_in_deg: float, course_out_deg: float | None
) -> tuple[Place, ...]:
    """Return where to aim to leave a mark on a hand.

    Parameters
    ----------
    mark : (lat, lon)
    side : "port" or "starboard"
        The hand on which the mark is left.
    distance_nm : float
        How far off. [nm]
    course_in_deg, course_out_deg : float
        Courses over the ground into the mark and out of it; None if the
        passage ends there. [°]

    Returns
    -------
    tuple of (lat, lon)
        One, or two for a turn of more than 120° towards the mark.
    """
    right = 1.0 if side == "port" else -1.0
    out = course_in_deg if course_out_deg is None else course_out_deg
    # Positive away from the mark: to the right where it lies to port.
    turn = right * float(earth.wrap_180(out - course_in_deg))
    halves = 2 if turn < -ONE_POINT_UP_TO_DEG else 1
    each = turn / halves
    off_nm = distance_nm / np.cos(np.radians(each / 2.0)) if turn < 0.0 else distance_nm
    directions = [course_in_deg + right * (90.0 + each * (0.5 + half)) for half in range(halves)]
    return tuple(_place_off(mark, direction, off_nm) for direction in directions)


def _place_off(mark: Place, direction_deg: float, distance_nm: float) -> Place:
    place = earth.geodesic_direct(*mark, direction_deg, distance_nm)
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
    a = earth.mercator_offset(*mark, start[:, 0], start[:, 1])
    b = earth.mercator_offset(*mark, end[:, 0], end[:, 1])
    east, north = b.east_deg - a.east_deg, b.north_deg - a.north_deg
    square = np.maximum(east**2 + north**2, 1e-30)
    share = np.clip(-(a.east_deg * east + a.north_deg * north) / square, 0.0, 1.0)
    lon = mark[1] + a.east_deg + share * east
    lat = earth.latitude_from_isometric(
        earth.isometric_latitude(mark[0]) + a.north_deg + share * north
    )
    across = a.north_deg * east - a.east_deg * north
    return earth.geodesic_inverse(*mark, lat, lon).distance_nm, across


def around(marks: Sequence[Mark], solve: Solve, first: First | None = None) -> Plan:
    """Plan a passage that leaves its marks on the hands and at the distances asked for.

    Parameters
    ----------
    marks : sequence of Mark
    solve : callable
        Plans the passage over aim points.
    first : First, optional
        The navigator's own wish for every leg.

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
    task = _Task(tuple(marks), solve)
    start = tuple(((mark.lat, mark.lon),) for mark in marks)
    best = task.settled(start, (first,) * (len(marks) - 1))
    for _ in range(len(marks)):
        if not best.failing:
            return task.over_the_marks(best)
        better = task.otherwise(best, best.failing[0], free=first is None)
        if better.rank >= best.rank:
            break
        best = better
    if best.failing:
        raise NoPlanError(_cannot_be_left(marks, best.failing[0]))
    return task.over_the_marks(best)


def _check(marks: Sequence[Mark]) -> None:
    if _is_left(marks[0]):
        raise InputError(
            f"{marks[0].name} can't be left to {marks[0].leave}: the passage starts there"
        )
    apart = [
        float(earth.geodesic_inverse(a.lat, a.lon, b.lat, b.lon).distance_nm)
        for a, b in pairwise(marks)
    ]
    for at, mark in enumerate(marks):
        shortest = min(apart[max(at - 1, 0) : at + 1])
        if _is_left(mark) and mark.leave_distance_nm >= shortest:
            raise InputError(
                f"{mark.name} can't be left {mark.leave_distance_nm:g} nm off: "
                f"the leg beside it is only {shortest:.2f} nm long"
            )


def _cannot_be_left(marks: Sequence[Mark], at: int) -> str:
    mark = marks[at]
    return (
        f"{mark.name} can't be left to {mark.leave} at {mark.leave_distance_nm:g} nm: in this "
        "wind no boards in and out keep that far off with the mark on that hand"
    )


class _Task(NamedTuple):
    """The marks and what plans a passage over aim points."""

    marks: tuple[Mark, ...]
    solve: Solve

    def settled(self, aims: Aims, firsts: tuple[First | None, ...]) -> _Trial:
        """Plan and aim in turn until the aim points rest; return the best plan met.

        Raises
        ------
        NoPlanError
            If the marks themselves can't be made.
        """
        return min(self._rounds(aims, firsts), key=lambda trial: trial.rank)

    def _rounds(self, aims: Aims, firsts: tuple[First | None, ...]) -> list[_Trial]:
        """Return the trial at rest alone, or all of them where none comes to rest."""
        seen: list[_Trial] = []
        for _ in range(ROUNDS):
            trial = self.tried(aims, firsts)
            if trial is None:
                break
            aims = self._aims(trial)
            if not trial.failing and self._at_rest(trial.aims, aims):
                return [trial]
            seen.append(trial)
        return seen

    def tried(self, aims: Aims, firsts: tuple[First | None, ...]) -> _Trial | None:
        """Plan over these aim points; None if one of them can't be made."""
        points = [
            replace(mark, lat=lat, lon=lon, leave=None, leave_distance_nm=0.0)
            for mark, of_mark in zip(self.marks, aims, strict=True)
            for lat, lon in of_mark
        ]
        wishes: list[First | None] = []
        for of_mark, first in zip(aims[1:], firsts, strict=True):
            wishes += [first, *[None] * (len(of_mark) - 1)]
        try:
            plan = self.solve(points, wishes)
        except NoPlanError:
            # The marks themselves must be within reach; aim points need not be.
            if aims == _own_places(self.marks):
                raise
            return None
        return self._judged(replace(plan, legs=_merged(plan.legs, aims)), aims, firsts)

    def _judged(self, plan: Plan, aims: Aims, firsts: tuple[First | None, ...]) -> _Trial:
        failing, wide = [], []
        for at, mark in enumerate(self.marks):
            if mark.leave is None or not _is_left(mark):
                continue
            boards = [board for leg in plan.legs[at - 1 : at + 1] for board in leg.boards]
            found = passing((mark.lat, mark.lon), mark.leave, boards)
            share = found.distance_nm / mark.leave_distance_nm
            if share < TOO_CLOSE or not found.right_hand:
                failing.append(at)
            elif share > WIDE:
                wide.append(at)
        return _Trial(plan, aims, firsts, tuple(failing), tuple(wide))

    def _aims(self, trial: _Trial) -> Aims:
        legs = trial.plan.legs
        aims: list[tuple[Place, ...]] = [((self.marks[0].lat, self.marks[0].lon),)]
        for at, mark in enumerate(self.marks[1:], 1):
            place = (mark.lat, mark.lon)
            if mark.leave is None or not _is_left(mark):
                aims.append((place,))
                continue
            into = legs[at - 1].boards[-1].points[-1].course_over_ground_deg
            # The short run between two aim points is no course out of the mark.
            after = legs[at].boards[_short_boards(trial, at) :] if at < len(legs) else ()
            out = after[0].points[0].course_over_ground_deg if after else None
            aims.append(aim_points(place, mark.leave, mark.leave_distance_nm, into, out))
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
        found = [trial]
        for into, out in product(_SIDES, (None, *_SIDES)) if free else ():
            firsts = list(trial.firsts)
            firsts[at - 1 : at + 1] = [into, out][: len(firsts) - at + 1]
            found += self._rounds(trial.aims, tuple(firsts))
        best = min(found, key=lambda each: each.rank)
        if len(best.failing) < len(trial.failing):
            return best
        return min([best, *self._all_round(trial, at)], key=lambda each: each.rank)

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
        places = [
            _place_off((mark.lat, mark.lon), 360.0 / DIRECTIONS * number, off_nm)
            for number in range(DIRECTIONS)
        ]
        tried = [
            self.tried((*trial.aims[:at], (place,), *trial.aims[at + 1 :]), trial.firsts)
            for place in places
        ]
        return [each for each in tried if each is not None]

    def over_the_marks(self, trial: _Trial) -> Plan:
        """Return the plan with the marks as they were given."""
        return replace(trial.plan, marks=self.marks)


def _own_places(marks: Sequence[Mark]) -> Aims:
    return tuple(((mark.lat, mark.lon),) for mark in marks)


def _metres(a: Place, b: Place) -> float:
    return float(earth.geodesic_inverse(*a, *b).distance_nm) * METRES_PER_NM


def _short_boards(trial: _Trial, at: int) -> int:
    """Count the boards of a leg that lie between the two aim points where it begins."""
    of_mark = trial.aims[at]
    if len(of_mark) < 2:
        return 0
    ends = [_metres((b.end.lat, b.end.lon), of_mark[1]) for b in trial.plan.legs[at].boards[:-1]]
    return int(np.argmin(ends)) + 1 if ends else 0


def _merged(legs: Sequence[Leg], aims: Aims) -> tuple[Leg, ...]:
    """Join the short leg between two aim points to the leg that begins at the mark."""
    waiting = list(legs)
    joined: list[Leg] = []
    short: Leg | None = None
    for of_mark in aims[1:]:
        leg = waiting.pop(0)
        joined.append(leg if short is None else _joined(short, leg))
        short = waiting.pop(0) if len(of_mark) > 1 else None
    return tuple(joined)


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
        boards=(*short.boards, *leg.boards),
        manoeuvres=(*short.manoeuvres, *leg.manoeuvres),
    )
