"""What else the legs of a plan in changing wind could be sailed by, and what that costs.

In steady wind a plan brings its alternatives along (`goosewing.steady.alternatives`). Where
the wind changes each is a plan of its own, made by the same engine: the leg alone, begun
when the plan begins it and under the sails she then has, with other sail sets or the other
board first. Its minutes are those of the leg.

A search over a field of weather, or among islands by the thousand, is no proof that nothing
is faster. What of all this turns out faster than the plan, and was free to be sailed, becomes
the plan: the passage is planned again with that leg so, and asked anew what else would do.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from goosewing import plan as plans
from goosewing.case import OneLeg
from goosewing.departures.compare import held_case
from goosewing.errors import GoosewingError
from goosewing.foresight.pieces import cuts_of
from goosewing.marks import lines, rounding
from goosewing.records import OTHER_SIDE, Alternative, AlternativeBoard, Fix
from goosewing.steady.alternatives import BROAD_REACH_DEG, CLOSE_HAULED_DEG
from goosewing.totals import time_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from concurrent.futures import Executor
    from datetime import datetime

    from goosewing.boat.model import Boat, SailSet
    from goosewing.case import Case
    from goosewing.records import AlternativeKind, Leg, Mark, Plan

NEVER_KN = (1e6, 2e6)
"""No wind: sails with these limits are aboard, but never carried."""

FASTER_MIN = 0.1
"""What is faster than the plan by more becomes the plan: 6 s, as often"""

MOST_ADOPTED = 3
"""as this."""


class Question(NamedTuple):
    """One alternative of one leg, or two of which the second may be the first.

    The fastest way without the pole is often a reach all the way, and then it is the
    fastest of those as well: nothing is planned for it.
    """

    leg: int
    kind: AlternativeKind
    and_reaching: bool = False


class NotFound(NamedTuple):
    """That a leg could not be planned with the other board first, and why."""

    first: str
    reason: str


Answer = tuple[Alternative | NotFound, ...]


def add(case: Case, made: Plan, *, executor: Executor | None = None) -> Plan:
    """Add the alternatives of those legs that have none yet; none is faster than the plan then.

    Parameters
    ----------
    case : Case
        What the plan was made from.
    made : Plan
    executor : Executor, optional
        Plans them side by side. None: here, one by one.
    """

    def ask(of: Plan, asked: Sequence[Question]) -> Sequence[Answer]:
        if executor is None:
            return [answers(case, of, each) for each in asked]
        waiting = [executor.submit(answers, case, of, each) for each in asked]
        return [each.result() for each in waiting]

    return fastest(case, made, ask)


def fastest(
    case: Case, made: Plan, ask: Callable[[Plan, Sequence[Question]], Sequence[Answer]]
) -> Plan:
    """Add alternatives as `add`, asked in whatever process.

    Parameters
    ----------
    case : Case
        What the plan was made from.
    made : Plan
    ask : callable
        Answers questions of a plan, as `answers` does for each.

    Returns
    -------
    Plan
        Another than was given where an alternative proved faster that the options allow.
    """
    for _ in range(MOST_ADOPTED):
        asked = questions(case, made)
        found = ask(made, asked) if asked else ()
        better = _adopted(case, made, asked, found)
        if better is None:
            break
        case, made = better
    else:
        asked = questions(case, made)
        found = ask(made, asked)
    return with_answers(made, asked, found)


def _adopted(
    case: Case, made: Plan, asked: Sequence[Question], found: Sequence[Answer]
) -> tuple[Case, Plan] | None:
    """Plan the passage with a leg as it was found to be faster; None if that makes it no faster.

    Of a course whose marks are left on a hand, or are lines, the legs hang together otherwise;
    and a plan that was chosen among those of an ensemble's members is compared with theirs.
    """
    if made.ensemble is not None or lines.any_in(made.marks) or rounding.needed(made.marks):
        return None
    leg, how = _faster(case, asked, found)
    if how is None:
        return None
    legs = list(case.legs or (OneLeg(),) * len(made.legs))
    legs[leg] = how
    case = replace(case, legs=tuple(legs))
    try:
        again = plans.of_case(case)
    except GoosewingError:
        return None
    if again.elapsed_h > made.elapsed_h - FASTER_MIN / 60.0:
        return None
    return case, replace(again, route=made.route, dangers=made.dangers)


def _faster(
    case: Case, asked: Sequence[Question], found: Sequence[Answer]
) -> tuple[int, OneLeg | None]:
    """Say how the first leg that could be faster is so, by the fastest alternative of it."""
    better = [
        (question.leg, each.added_min, how)
        for question, answer in zip(asked, found, strict=True)
        for each in answer
        if isinstance(each, Alternative) and each.added_min < -FASTER_MIN
        for how in [_sailed_so(case, each)]
        if how is not None
    ]
    return min(better, key=lambda one: one[:2], default=(0, 0.0, None))[::2]


def _sailed_so(case: Case, each: Alternative) -> OneLeg | None:
    """Say how a leg is sailed as an alternative is; None where that is not as she was asked to."""
    first, begins = case.options.first, each.boards[0].tack
    if each.kind == "other board first":
        return OneLeg(None, begins) if first in (None, "faster") else None
    tacks = {board.tack for board in each.boards}
    if first in ("port", "starboard") and begins != first and first in tacks:
        return None
    return OneLeg(_restricted(case.boat, each.kind), None)


def held_answer(made: Plan, question: Question) -> tuple[Answer, ...]:
    """Answer for the case that this process holds (`goosewing.departures.compare.hold`)."""
    return (answers(held_case(), made, question),)


def with_answers(made: Plan, asked: Sequence[Question], found: Sequence[Answer]) -> Plan:
    """Put what was found into the legs; the best of other tacks and sails is the second best.

    Where the other board can't come first, a notice says why.
    """
    legs, said = list(made.legs), []
    for number, leg in enumerate(made.legs):
        answered = [
            each
            for question, answer in zip(asked, found, strict=True)
            if question.leg == number
            for each in answer
        ]
        own = [each for each in answered if isinstance(each, Alternative)]
        legs[number] = replace(leg, alternatives=(*leg.alternatives, *own, *_second(leg, own)))
        ends = f"{made.marks[number].name} to {made.marks[number + 1].name}"
        said += [
            f"{ends}, {each.first} board first: none found, because {each.reason}."
            for each in answered
            if isinstance(each, NotFound)
        ]
    return replace(made, legs=tuple(legs), notices=(*made.notices, *said))


def _second(leg: Leg, found: Sequence[Alternative]) -> list[Alternative]:
    held = {(board.tack, board.sail_set) for board in leg.boards}
    others = [each for each in found if {(one.tack, one.sail_set) for one in each.boards} != held]
    best = min(others, key=lambda each: each.added_min, default=None)
    return [] if best is None else [replace(best, kind="second best")]


def questions(case: Case, made: Plan) -> tuple[Question, ...]:
    """List what is worth asking of each leg: no kind that the plan itself is."""
    asked: list[Question] = []
    for number, leg in enumerate(made.legs):
        if not leg.alternatives and not any(board.engine for board in leg.boards):
            asked += _of_leg(number, _kinds(case.boat, leg))
    return tuple(asked)


def _of_leg(number: int, kinds: Sequence[AlternativeKind]) -> list[Question]:
    both = "without the pole" in kinds and "reaching all the way" in kinds
    return [
        Question(number, kind, and_reaching=both and kind == "without the pole")
        for kind in kinds
        if not (both and kind == "reaching all the way")
    ]


def _kinds(boat: Boat, leg: Leg) -> list[AlternativeKind]:
    poled = [board.poled for board in leg.boards]
    kinds: list[AlternativeKind] = ["other board first"] if len(leg.boards) > 1 else []
    if any(poled):
        kinds.append("without the pole")
    downwind = max(board.twa_deg for board in leg.boards) > CLOSE_HAULED_DEG
    if downwind and not all(poled) and any(sails.poled for sails in boat.sail_sets):
        kinds.append("poled all the way")
    if downwind and not all(_reaches(board.twa_deg, board.poled) for board in leg.boards):
        kinds.append("reaching all the way")
    return kinds


def _reaches(twa_deg: float, poled: bool) -> bool:
    return not poled and CLOSE_HAULED_DEG < twa_deg < BROAD_REACH_DEG


def answers(case: Case, made: Plan, question: Question) -> Answer:
    """Plan one leg as asked; nothing where it can't be sailed so, or comes to the plan itself.

    Of the other board first it is told why it can't.
    """
    leg, own = made.legs[question.leg], _sailed(case, made, question)
    if isinstance(own, NotFound):
        return (own,)
    kinds = [question.kind]
    if question.and_reaching and own is not None and _reaches_all_along(own):
        kinds.append("reaching all the way")
    found: Answer = () if own is None else tuple(_alternative(own, leg, kind) for kind in kinds)
    if len(kinds) == 1 and question.and_reaching:
        found += answers(case, made, Question(question.leg, "reaching all the way"))
    return found


def _reaches_all_along(leg: Leg) -> bool:
    return all(
        _reaches(point.twa_deg, board.poled) for board in leg.boards for point in board.points
    )


def _sailed(case: Case, made: Plan, question: Question) -> Leg | NotFound | None:
    leg = made.legs[question.leg]
    before = made.legs[question.leg - 1].boards[-1] if question.leg else None
    options = case.options
    if before is not None and not before.engine:
        options = replace(options, start_with=before.sail_set, start_tack=before.tack)
    first = leg.boards[0].tack
    if question.kind == "other board first":
        options = replace(options, first=OTHER_SIDE[first])
    elif options.first in ("port", "starboard"):
        options = replace(options, first=None)
    ends = _ends(made, question.leg)
    try:
        plan = plans.of_case(
            replace(
                case, marks=ends, boat=_restricted(case.boat, question.kind),
                departure=_begins(leg), options=options, notices=(), legs=(),
            ),
            compare=False,
        )  # fmt: skip
    except GoosewingError as error:
        if question.kind != "other board first" or options.first is None:
            return None
        return NotFound(options.first, str(error).rstrip("."))
    (own,) = plan.legs
    if question.kind == "other board first" and own.boards[0].tack == first:
        return None
    if question.kind == "reaching all the way" and not all(
        _reaches(board.twa_deg, board.poled) for board in own.boards
    ):
        return None
    return own


def _ends(made: Plan, number: int) -> tuple[Mark, Mark]:
    start, end = made.legs[number].boards[0].start, made.legs[number].boards[-1].end
    a, b = made.marks[number], made.marks[number + 1]
    return (
        replace(a, lat=start.lat, lon=start.lon, leave=None),
        replace(b, lat=end.lat, lon=end.lon, leave=None),
    )


def _begins(leg: Leg) -> datetime:
    board = leg.boards[0]
    return board.manoeuvres[0].time if board.manoeuvres else time_of(board.start)


def _restricted(boat: Boat, kind: AlternativeKind) -> Boat:
    if kind == "other board first":
        return boat
    return replace(boat, sail_sets=tuple(_as_asked(sails, kind) for sails in boat.sail_sets))


def _as_asked(sails: SailSet, kind: AlternativeKind) -> SailSet:
    barred = {
        "without the pole": sails.poled,
        "poled all the way": not sails.poled,
        "reaching all the way": sails.poled,
    }
    if barred.get(kind, False):
        return replace(sails, tws_kn=NEVER_KN)
    if kind != "reaching all the way":
        return sails
    low, high = max(sails.twa_deg[0], CLOSE_HAULED_DEG), min(sails.twa_deg[1], BROAD_REACH_DEG)
    return replace(sails, twa_deg=(low, high)) if low < high else replace(sails, tws_kn=NEVER_KN)


def _alternative(own: Leg, leg: Leg, kind: AlternativeKind) -> Alternative:
    return Alternative(
        kind=kind,
        added_min=60.0 * (own.elapsed_h - leg.elapsed_h),
        elapsed_h=own.elapsed_h,
        boards=tuple(
            AlternativeBoard(
                tack=board.tack,
                sail_set=board.sail_set,
                twa_deg=board.twa_deg,
                elapsed_h=board.elapsed_h,
                heading_deg=board.heading_deg,
            )
            for board in own.boards
        ),
        manoeuvres=tuple(each.kind for each in own.manoeuvres),
        track=tuple(
            Fix(lat=point.lat, lon=point.lon) for board in own.boards for point in cuts_of(board)
        ),
    )
