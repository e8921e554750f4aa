"""One plan for a forecast of many members: how each would have it, and when they part.

Every member has a best plan of its own. Each of these plans is then sailed in every member's
wind (`goosewing.foresight.other_winds`), and that which takes least, in the mean or in the
worst tenth of members, is the one kept. What it takes more than the best known for a member is
its regret there.

No other candidates are made. On beats of 7 to 31 h in five ensembles of twenty drawn members
the plan for their mean wind was 13 to 65 min slower in the mean than the best of theirs: it goes
to the edge of a wind that nobody has. Plans kept to a corridor were 25 min to 4 h slower in the
mean; in the worst tenth three of eighteen were faster, by 10 min at most. The best plan's turning
points, moved for all winds at once, seemed to gain 8 to 26 min, but by tracks that no wind lets
her hold: planned over them anew, 23 min slower to 3 min faster was left of it.

Plans of members are cases of their own, so that members and departures can be planned side
by side by any `concurrent.futures.Executor`; each member's wind travels once.
"""

from __future__ import annotations

import pickle
from dataclasses import dataclass, replace
from datetime import UTC
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing import plan as plans
from goosewing.departures.compare import arriving_after, gathered, held_case, judged
from goosewing.earth.geodesy import loxodrome_inverse
from goosewing.errors import NoPlanError
from goosewing.foresight.other_winds import sailed_h
from goosewing.foresight.what_if import board_words, sequence, sequence_words
from goosewing.records import (
    Choice,
    Decision,
    Departure,
    EnsembleVerdict,
    Fix,
    MemberSailed,
    Spread,
)
from goosewing.totals import time_of
from goosewing.weather.base import datetime_from_hours, hours_from_datetime
from goosewing.weather.members import members_of, numbers_of
from goosewing.words.figures import listed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from concurrent.futures import Executor
    from datetime import datetime

    from goosewing.case import Case
    from goosewing.records import Plan, Prefer
    from goosewing.units import Array, BoolArray
    from goosewing.weather.base import Weather

WORST_SHARE = 0.1
"""The cautious look at so large a share of members, the slowest."""

APART_MIN = 20.0
"""Members that are under other tacks or sails for less are not counted as apart: they turn
a little sooner or later. Common practice, no source."""

LOOK_MIN = 1.0


class Planned(NamedTuple):
    """The best plan for one member, or why there is none."""

    plan: Plan | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class Chosen:
    """The plan kept, with its verdict, and the wind it was made for."""

    plan: Plan
    weather: Weather


# ---- every member's own plan -----------------------------------------------------------------


def case_of(case: Case, place: int) -> Case:
    """Return the case with one member's wind, by its place from 0.

    Raises
    ------
    InputError
        If the forecast has one member, or they are unlike.
    """
    return replace(case, weather=members_of(case.weather)[place])


def plan_member(case: Case) -> Planned:
    """Plan one member's passage.

    Raises
    ------
    InputError
        As `goosewing.plan.make`.
    """
    try:
        return Planned(plans.of_case(case), None)
    except NoPlanError as error:
        return Planned(None, str(error))


def held_member(place: int) -> tuple[Planned, ...]:
    """Plan a member of the case that this process holds, by its place from 0.

    See `goosewing.departures.compare.hold`.
    """
    return (plan_member(case_of(held_case(), place)),)


def _at(case: Case, times: Sequence[datetime]) -> tuple[Planned, ...]:
    return tuple(plan_member(replace(case, departure=time)) for time in times)


class _Parcel(NamedTuple):
    case: bytes
    times: tuple[datetime, ...]


def plan_members(
    case: Case,
    times: Sequence[datetime] | None = None,
    *,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[tuple[Planned, ...], ...]:
    """Plan every member at every departure.

    Parameters
    ----------
    case : Case
        Its weather an ensemble.
    times : sequence of datetime, optional
        Departures, aware; the case's own if None.
    executor : Executor, optional
        Plans them side by side: threads, processes, or other machines. A parcel is one
        member at all departures, so that each member's wind travels once. None: here.
    progress : callable, optional
        Told how many are done, and of how many.

    Returns
    -------
    tuple of tuple of Planned
        One for each departure; in it one for each member.

    Raises
    ------
    InputError
        If the forecast has one member, or they are unlike; or as `goosewing.plan.make`.
    """
    weathers = members_of(case.weather)
    times = [case.departure] if times is None else times
    total = len(weathers) * len(times)
    own = (replace(case, weather=each) for each in weathers)
    if executor is None:
        found: list[Planned] = []
        for member in own:
            found += _at(member, times)
            if progress is not None:
                progress(len(found), total)
        flat = tuple(found)
    else:
        parcels = [_Parcel(pickle.dumps(member), tuple(times)) for member in own]
        flat = gathered(executor, _unpacked, parcels, total, progress)
    return tuple(flat[at :: len(times)] for at in range(len(times)))


def _unpacked(parcel: _Parcel) -> tuple[Planned, ...]:
    return _at(_case_in(parcel.case), parcel.times)


@lru_cache(maxsize=1)
def _case_in(payload: bytes) -> Case:
    case: Case = pickle.loads(payload)
    return case


# ---- the one plan ----------------------------------------------------------------------------


def planned(
    case: Case,
    prefer: Prefer = "mean",
    *,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Chosen:
    """Plan for every member, and keep the plan that suits them best.

    Parameters
    ----------
    case, executor, progress
        See `plan_members`.
    prefer : "mean" or "cautious"

    Raises
    ------
    InputError
        If the forecast has one member, or they are unlike; or as `goosewing.plan.make`.
    NoPlanError
        If no member has a plan.
    """
    (found,) = plan_members(case, executor=executor, progress=progress)
    return chosen(case, found, prefer)


def chosen(case: Case, found: Sequence[Planned], prefer: Prefer) -> Chosen:
    """Keep of the members' plans the one that suits them best, with how it does in each.

    Parameters
    ----------
    case : Case
        Its weather an ensemble.
    found : sequence of Planned
        As `plan_members` gives them for one departure.
    prefer : "mean" or "cautious"

    Raises
    ------
    NoPlanError
        If no member has a plan.
    """
    weathers = members_of(case.weather)
    kept = [at for at, each in enumerate(found) if each.plan is not None]
    if not kept:
        raise NoPlanError(f"in no member is there a plan; in the first: {found[0].reason}")
    made = [plan for each in found if (plan := each.plan) is not None]
    table = sailed_h(made, case.boat, weathers)
    best = min(range(len(made)), key=lambda at: _rank(table[at], prefer))
    plan, place = made[best], kept[best]
    numbers = numbers_of(case.weather)
    verdict = _verdict(
        plan, numbers, numbers[place], prefer, table[best], _least(table, found), found
    )
    return Chosen(replace(plan, ensemble=verdict), weathers[place])


def preferred_at(case: Case, time: datetime, prefer: Prefer) -> Departure:
    """Tell a departure by the plan that suits an ensemble's members best.

    Parameters
    ----------
    case : Case
        Its weather an ensemble.
    time : datetime
    prefer : "mean" or "cautious"

    Returns
    -------
    Departure
        Its time and arrival are those in the mean, or in the slowest tenth; all else holds in the
        wind of the member whose plan it is. Without a plan where some member doesn't allow it.

    Raises
    ------
    InputError
        As `planned`.
    """
    time = time.astimezone(UTC)
    try:
        kept = planned(replace(case, departure=time), prefer)
    except NoPlanError as error:
        return Departure(departure=time, reason=str(error))
    verdict = kept.plan.ensemble
    assert verdict is not None
    lost = [str(each.member) for each in verdict.each if each.sailed_h is None]
    if lost:
        why = f"the best plan can't be sailed to its end in member {listed(lost)}"
        return Departure(departure=time, reason=why)
    hours = verdict.mean_h if prefer == "mean" else verdict.worst_tenth_h
    return arriving_after(judged(kept.plan, kept.weather), hours)


def held_preferred(time: datetime, prefer: Prefer) -> tuple[Departure, ...]:
    """Do as `preferred_at` for the case that this process holds (`compare.hold`)."""
    return (preferred_at(held_case(), time, prefer),)


def _rank(hours: Array, prefer: Prefer) -> tuple[int, float]:
    """Least is best: first whether all members can be sailed, then how long they take."""
    known = hours[np.isfinite(hours)]
    if not known.size:
        return len(hours), np.inf
    value = known.mean() if prefer == "mean" else worst_tenth(known)
    return len(hours) - known.size, float(value)


def worst_tenth(hours: Array) -> float:
    """Return the mean of the slowest tenth, at least one.

    Examples
    --------
    >>> worst_tenth(np.array([5.0, 9.0, 6.0]))
    9.0
    """
    count = max(1, round(WORST_SHARE * hours.size))
    return float(np.sort(hours)[-count:].mean())


def _least(table: Array, found: Sequence[Planned]) -> Array:
    """Return the least time known for every member: its own plan's, or another's in its wind."""
    own = [np.inf if each.plan is None else each.plan.elapsed_h for each in found]
    return np.asarray(np.fmin(np.nanmin(np.where(np.isnan(table), np.inf, table), axis=0), own))


def _verdict(
    plan: Plan,
    numbers: Sequence[int],
    number: int,
    prefer: Prefer,
    hours: Array,
    least: Array,
    found: Sequence[Planned],
) -> EnsembleVerdict:
    each = tuple(
        _member(plan, numbers[at], one, float(hours[at]), float(least[at]))
        for at, one in enumerate(found)
    )
    known = hours[np.isfinite(hours)]
    # A plan of the members always sails its own wind, but for a forecast that just covers it.
    known = known if known.size else np.array([plan.elapsed_h])
    regrets = [one.regret_min for one in each if one.regret_min is not None] or [0.0]
    own = [one.plan for one in found if one.plan is not None] or [plan]
    apart = [one.apart_nm for one in each if one.apart_nm is not None]
    return EnsembleVerdict(
        prefer=prefer,
        chosen=number,
        elapsed_h=_spread(known),
        mean_h=float(known.mean()),
        worst_tenth_h=worst_tenth(known),
        own_h=_spread(np.array([one.elapsed_h for one in own])),
        mean_regret_min=float(np.mean(regrets)),
        worst_regret_min=max(regrets),
        apart_nm=max(apart, default=None),
        decision=decision(plan, own),
        each=each,
    )


def _spread(hours: Array) -> Spread:
    p10, p50, p90 = (float(each) for each in np.percentile(hours, [10.0, 50.0, 90.0]))
    return Spread(p10=p10, p50=p50, p90=p90)


def _member(plan: Plan, number: int, one: Planned, hours: float, least: float) -> MemberSailed:
    sailed = hours if np.isfinite(hours) else None
    told = MemberSailed(
        member=number,
        sailed_h=sailed,
        regret_min=None if sailed is None else max(60.0 * (sailed - least), 0.0),
        reason=one.reason,
    )
    if one.plan is None:
        return told
    return replace(
        told,
        elapsed_h=one.plan.elapsed_h,
        apart_nm=apart_nm(plan, one.plan),
        sequence=tuple(sequence_words(leg, names) for leg, names in sequence(one.plan)),
        track=_track(one.plan),
    )


def _track(plan: Plan) -> tuple[Fix, ...]:
    boards = [board for leg in plan.legs for board in leg.boards]
    return (*(board.start for board in boards), boards[-1].end)


# ---- where they part -------------------------------------------------------------------------


class _Way(NamedTuple):
    """A plan's place and board at times; arrays of shape (n,)."""

    lat: Array
    lon: Array
    state: list[str]


def _way(plan: Plan, times_h: Array) -> _Way:
    boards = [(at, board) for at, leg in enumerate(plan.legs) for board in leg.boards]
    points = [point for _, board in boards for point in board.points]
    known = np.array([hours_from_datetime(point.time) for point in points])
    lon = np.unwrap([point.lon for point in points], period=360.0)
    starts = [hours_from_datetime(time_of(board.start)) for _, board in boards]
    on = np.maximum(np.searchsorted(starts, times_h, side="right") - 1, 0)
    return _Way(
        np.interp(times_h, known, [point.lat for point in points]),
        np.interp(times_h, known, lon),
        [board_words(boards[at][1]) for at in on],
    )


def apart_nm(one: Plan, other: Plan) -> float:
    """Return how far two plans are apart at most, at equal times while both are at sea. [nm]."""
    times = _times([one, other])
    a, b = _way(one, times), _way(other, times)
    return float(np.max(np.asarray(loxodrome_inverse(a.lat, a.lon, b.lat, b.lon).distance_nm)))


def _times(made: Sequence[Plan]) -> Array:
    """Minutes during which all are at sea."""
    first = max(hours_from_datetime(plan.departure) for plan in made)
    last = min(hours_from_datetime(plan.arrival) for plan in made)
    count = max(2, int(np.ceil((last - first) * 60.0 / LOOK_MIN)) + 1)
    return np.linspace(first, last, count)


def decision(plan: Plan, own: Sequence[Plan]) -> Decision | None:
    """Tell until when plans are under the same tack and sails, and what each does then.

    Parameters
    ----------
    plan : Plan
        The one kept: where the boat then is.
    own : sequence of Plan
        The members' best plans.

    Returns
    -------
    Decision or None
        None if they agree until the first of them arrives; being under another tack or sail
        set for less than `APART_MIN` is no disagreement.
    """
    times = _times([plan, *own])
    ways = [_way(each, times).state for each in own]
    states = np.array(ways)
    parted = _lasting((states != states[0]).any(axis=0), times)
    if not parted.any():
        return None
    at = int(np.argmax(parted))
    later = min(int(np.searchsorted(times, times[at] + APART_MIN / 120.0)), len(times) - 1)
    names, counts = np.unique(states[:, later], return_counts=True)
    order = np.argsort(-counts, kind="stable")
    here = _way(plan, times[at : at + 1])
    return Decision(
        time=datetime_from_hours(float(times[at])),
        lat=float(here.lat[0]),
        lon=float((here.lon[0] + 180.0) % 360.0 - 180.0),
        choices=tuple(Choice(board=str(names[n]), members=int(counts[n])) for n in order),
    )


def _lasting(parted: BoolArray, times_h: Array) -> BoolArray:
    """Keep only what lasts for `APART_MIN` or to the end."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], parted.astype(int), [0]))))
    kept = np.zeros(parted.shape, dtype=bool)
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        last = min(end, len(times_h) - 1)
        if times_h[last] - times_h[begin] >= APART_MIN / 60.0:
            kept[begin:end] = True
    return kept
