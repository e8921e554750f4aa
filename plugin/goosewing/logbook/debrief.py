"""What a sail was worth: every board and turn against what the boat can do.

Time is lost by angle, by speed, in turns and past laylines. Beating and running, what counts
is the speed made good up or down the wind, the best of which the boat's own tables give; on
other courses, the share of what the fastest way in that direction would make. Angles are
judged minute by minute, as a helm can hold them; a minute that stays in the groove, within
1 % of the best, costs nothing by its angle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import Literal, NamedTuple

import numpy as np

from goosewing.boat.model import Boat, SailSet, sailing
from goosewing.errors import InputError
from goosewing.logbook.boards import (
    AFTER_S,
    BEFORE_S,
    Best,
    Seconds,
    Span,
    Turn,
    chains,
    seconds,
    spans,
    turns,
)
from goosewing.logbook.fit import Read
from goosewing.logbook.samples import Log, turned
from goosewing.records import CAUTIONS
from goosewing.units import Array, BoolArray
from goosewing.velocities.targets import Target, WindTargets

What = Literal[
    "pinching", "footing", "too deep", "too high", "overstood", "manoeuvres", "wrong sails",
    "not worth sailing", "other",
]  # fmt: skip
CAUSES: tuple[What, ...] = (
    "pinching", "footing", "too deep", "too high", "overstood", "manoeuvres", "wrong sails",
    "not worth sailing", "other",
)  # fmt: skip

JUDGED_S = 60.0
"""Over which an angle is judged."""

PAST_LAYLINE_DEG = 3.0
"""Closer to the layline than this is no overstanding; our choice."""

OTHER_SAILS, ITS_OWN = 0.06, 0.03
"""Sails are called wrong if others were so much faster, and hers as fast as these; our choice."""

AT_A_MARK_NM = 0.5
"""A mark passed farther off was not rounded."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where and when."""

    lat: float | None
    lon: float | None
    time: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardSailed:
    """One board, means over it; angles from the bow.

    Attributes
    ----------
    tack : "port" or "starboard"
    point : "upwind", "reach" or "downwind"
    sail_set : str
        As they are taken to have been.
    start, end : Place
    elapsed_h, log_nm : duration and distance through the water
    twa_deg, tws_kn, boat_speed_kn, leeway_deg : as sailed
    polar_speed_kn : what the tables say at that angle in that wind
    vmg_kn, target_vmg_kn, best_twa_deg : None on a reach
    not_worth_min : minutes in the sector not worth sailing
    overstood_nm : sailed past the layline
    lost_min : against the targets
    """

    tack: Literal["port", "starboard"]
    point: Literal["upwind", "reach", "downwind"]
    sail_set: str
    start: Place
    end: Place
    elapsed_h: float
    log_nm: float
    twa_deg: float
    tws_kn: float
    boat_speed_kn: float
    polar_speed_kn: float
    vmg_kn: float | None
    target_vmg_kn: float | None
    best_twa_deg: float | None
    leeway_deg: float
    not_worth_min: float
    overstood_nm: float
    lost_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnSailed:
    """One tack or gybe and what it cost.

    Attributes
    ----------
    cost_s : float
        Seconds lost against holding on at the speeds before and after.
    boat_file_s : float
        What the boat file reckons with.
    """

    kind: Literal["tack", "gybe"]
    time: datetime
    lat: float | None
    lon: float | None
    cost_s: float
    boat_file_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """Minutes lost by one cause."""

    what: What
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkPassed:
    """A mark of the plan: when it was to be passed, and when it was.

    Attributes
    ----------
    late_min : float or None
        None where she never came near it.
    """

    mark: str
    planned: datetime | None
    passed: datetime | None
    late_min: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanPoint:
    """A point of a plan's route."""

    name: str
    lat: float
    lon: float
    time: datetime | None
    mark: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Debrief:
    """A sail, judged."""

    boat: str
    start: datetime
    end: datetime
    sailed_h: float
    engine_h: float
    log_nm: float
    boards: tuple[BoardSailed, ...]
    manoeuvres: tuple[TurnSailed, ...]
    costs: tuple[Cost, ...]
    most: What | None
    marks: tuple[MarkPassed, ...] = ()
    notices: tuple[str, ...] = ()
    cautions: tuple[str, ...] = CAUTIONS


def debrief(
    log: Log,
    read: Read,
    boat: Boat,
    plan: Sequence[PlanPoint] = (),
    *,
    variation_deg: float | None = None,
) -> Debrief:
    """Judge a sail.

    Parameters
    ----------
    log : Log
    read : Read
        The same log's stretches and sensors, by `goosewing.logbook.fit.put_right`.
    boat : Boat
        Whose tables are the targets.
    plan : sequence of PlanPoint
        The route of the plan she sailed by, if there was one.
    variation_deg : float, optional
        Of a magnetic compass, where the log has none. [°]

    Raises
    ------
    InputError
        If the log holds nothing sailed.
    """
    went = seconds(log, read, variation_deg)
    best = Best(boat)
    found = turns(went)
    boards = spans(went, found, best)
    if not boards:
        raise InputError(
            f"holds nothing sailed: of {read.tally.logged_h:.1f} h logged, "
            f"{read.tally.engine_h:.1f} h were under engine",
            where=read.where,
        )
    judged = _judge(went, boards, found, best)
    stood = _overstood(went, boards, judged, best, [p for p in plan if p.mark])
    turned_ = tuple(_turn(went, turn, boat) for turn in found)
    costs = _costs(judged, stood, turned_)
    return Debrief(
        boat=boat.name,
        start=_time(went.time_s[0]),
        end=_time(went.time_s[-1]),
        sailed_h=float(sum(went.step_s[b.slice].sum() for b in boards) / 3600.0),
        engine_h=read.tally.engine_h,
        log_nm=float(sum((went.stw_kn * went.step_s)[b.slice].sum() for b in boards) / 3600.0),
        boards=tuple(
            _board(went, board, number, judged, stood, best) for number, board in enumerate(boards)
        ),
        manoeuvres=turned_,
        costs=costs,
        most=_most(costs),
        marks=_marks(went, plan),
        notices=(*log.notices, *_notices(log, read)),
    )


def _notices(log: Log, read: Read) -> list[str]:
    found = []
    if not read.motion.log_factor.told:
        found.append("The log's factor can't be told from this log, and is taken as 1.")
    if not read.heel_logged:
        found.append("No heel in it: the boat file's table stands for hers.")
    if not read.vane.upwash_deg.told and log.has("awa_deg"):
        found.append("What the vane reads wrong can't be told from this log; it is taken as right.")
    if not log.dated:
        found.append("The log tells no date.")
    return found


# ---- judging minutes -----------------------------------------------------------------------------


class Minute(NamedTuple):
    """A minute of a board."""

    board: int
    first: int
    end: int
    hours: float
    what: What | None
    """What its angle is, if it costs anything."""
    by_angle: float
    """Share of its time lost by its angle."""
    by_speed: float
    """By being slower than the tables at that angle; negative if faster."""
    by_sails: float
    sail_set: str
    not_worth: bool


def _judge(went: Seconds, boards: list[Span], found: list[Turn], best: Best) -> list[Minute]:
    """Judge every minute of every board that isn't part of a turn."""
    turning = _turning(went, found)
    minutes: list[Minute] = []
    for chain in chains(boards, went):
        turned_in_it = len(chain) > 1 and any(
            boards[a].tack != boards[b].tack for a, b in pairwise(chain)
        )
        for number in chain:
            sails = _sails_of(went, boards[number], turning, best)
            minutes += _judge_board(
                went, number, boards[number], turning, best, sails, turned_in_it
            )
    return minutes


def _turning(went: Seconds, found: list[Turn]) -> BoolArray:
    part = np.zeros(went.time_s.size, dtype=bool)
    for turn in found:
        part[went.between(turn.at, -BEFORE_S, AFTER_S)] = True
    return part


def _judge_board(
    went: Seconds,
    number: int,
    board: Span,
    turning: BoolArray,
    best: Best,
    sails: tuple[SailSet, float],
    turned_in_it: bool,
) -> list[Minute]:
    into = np.floor((went.time_s[board.slice] - went.time_s[board.first]) / JUDGED_S)
    edges = np.flatnonzero(np.concatenate(([True], np.diff(into) > 0))) + board.first
    ends = np.append(edges[1:], board.end)
    found = []
    for first, end in zip(edges.tolist(), ends.tolist(), strict=True):
        part = slice(first, end)
        if turning[part].mean() > 0.5:
            continue
        twa, tws, stw = (
            float(np.nanmean(each[part])) for each in (went.twa_deg, went.tws_kn, went.stw_kn)
        )
        if not np.isfinite([twa, tws, stw]).all() or tws < 1.0:
            continue
        what, by_angle, not_worth = _angle(board, best, twa, tws, turned_in_it, sails[0])
        table = _speed(best.boat, sails[0], twa, tws)
        found.append(
            Minute(
                board=number,
                first=first,
                end=end,
                hours=float(went.step_s[part].sum() / 3600.0),
                what=what,
                by_angle=by_angle,
                by_speed=0.0 if table is None else 1.0 - stw / table,
                by_sails=sails[1],
                sail_set=sails[0].name,
                not_worth=not_worth,
            )
        )
    return found


def _speed(boat: Boat, sails: SailSet, twa_deg: float, tws_kn: float) -> float | None:
    """What the tables say, held to their edges; None where they say nothing."""
    polar = sails.polar
    row = np.array([float(np.clip(twa_deg, polar.first_twa_deg, polar.last_twa_deg))])
    wind = np.array([min(tws_kn, polar.last_tws_kn)])
    speed = float(sailing(boat, boat.index(sails.name), row, wind).boat_speed_kn[0])
    return speed if np.isfinite(speed) and speed > 0.3 else None


def _angle(
    board: Span, best: Best, twa_deg: float, tws_kn: float, turned_in_it: bool, sails: SailSet
) -> tuple[What | None, float, bool]:
    """What an angle is, which share of the time it loses, whether it's in a sector not worth it."""
    wind = best.targets(tws_kn)
    if board.point != "upwind" and _idle_sector(wind, twa_deg):
        return "not worth sailing", _share_lost(best, wind, twa_deg, tws_kn, sails), True
    target = best.target(tws_kn, board.point, sails.name)
    if target is None or _in(target.groove_twa_deg, twa_deg):
        return None, 0.0, False
    narrow = twa_deg < target.groove_twa_deg[0]
    up = board.point == "upwind"
    # On one board alone a freer angle is only her way to a mark.
    if narrow != up and not turned_in_it:
        return None, 0.0, False
    good = _made_good(best, sails, twa_deg, tws_kn)
    lost = 1.0 - (good if up else -good) / target.vmg_kn
    names: dict[tuple[bool, bool], What] = {
        (True, True): "pinching", (True, False): "footing",
        (False, True): "too high", (False, False): "too deep",
    }  # fmt: skip
    return names[up, narrow], float(np.clip(lost, 0.0, 1.0)), False


def _idle_sector(wind: WindTargets, twa_deg: float) -> bool:
    """Whether an angle lies between two that are worth sailing, and isn't itself.

    Two other boards get there sooner, then, than one at this angle.
    """
    carried = [each.twa_deg for each in wind.carry]
    if any(_in(sector, twa_deg) for sector in carried):
        return False
    return any(high < twa_deg for _, high in carried) and any(low > twa_deg for low, _ in carried)


def _made_good(best: Best, sails: SailSet, twa_deg: float, tws_kn: float) -> float:
    """Speed made good up the wind (negative: down) that the tables give at an angle."""
    boat, polar = best.boat, sails.polar
    row = np.array([float(np.clip(twa_deg, polar.first_twa_deg, polar.last_twa_deg))])
    wind = np.array([min(tws_kn, polar.last_tws_kn)])
    told = sailing(boat, boat.index(sails.name), row, wind)
    # Beyond the table's edge the speed is the edge's own, and the angle hers.
    beyond = twa_deg - float(told.twa_deg[0]) if boat.polar_angle == "heading" else 0.0
    track = float(told.track_angle_deg[0]) + beyond
    return float(told.boat_speed_kn[0] * np.cos(np.radians(track)))


def _in(sector: tuple[float, float], twa_deg: float) -> bool:
    return sector[0] <= twa_deg <= sector[1]


def _share_lost(
    best: Best, wind: WindTargets, twa_deg: float, tws_kn: float, sails: SailSet
) -> float:
    """Against the faster mix of the two worthwhile angles on either side of an idle sector."""
    edges = sorted((angle, each.sail_set) for each in wind.carry for angle in each.twa_deg)
    below = [each for each in edges if each[0] <= twa_deg]
    above = [each for each in edges if each[0] >= twa_deg]
    own = _speed(best.boat, sails, twa_deg, tws_kn)
    if not below or not above or own is None:
        return 0.0
    boat = best.boat
    vectors = []
    for angle, name in (below[-1], above[0]):
        speed = _speed(boat, boat.sail_sets[boat.index(name)], angle, tws_kn) or 0.0
        vectors.append(speed * np.array([np.sin(np.radians(angle)), np.cos(np.radians(angle))]))
    ray = np.array([np.sin(np.radians(twa_deg)), np.cos(np.radians(twa_deg))])
    edge = vectors[1] - vectors[0]
    across = ray[0] * edge[1] - ray[1] * edge[0]
    if abs(across) < 1e-9:
        return 0.0
    reach = (vectors[0][0] * edge[1] - vectors[0][1] * edge[0]) / across
    return float(np.clip(1.0 - own / reach, 0.0, 1.0)) if reach > 0.0 else 0.0


def _sails_of(went: Seconds, board: Span, turning: BoolArray, best: Best) -> tuple[SailSet, float]:
    """The sails that a board is taken to have been sailed under, and the share these lost.

    Those that her targets carry there; others only if she was as fast as these should be,
    and the targets' own would have been faster by far.
    """
    boat = best.boat
    there = np.arange(board.first, board.end)
    there = there[np.isfinite(went.twa_deg[there])]
    part = there[~turning[there]]
    part = part if part.size else there
    twa, tws, stw = (
        float(np.median(each[part])) for each in (went.twa_deg, went.tws_kn, went.stw_kn)
    )
    speeds = {}
    for sails in boat.sail_sets:
        inside = sails.twa_deg[0] <= twa <= sails.twa_deg[1]
        inside &= sails.tws_kn[0] <= tws <= sails.strongest_tws_kn
        polar = sails.polar
        inside &= polar.first_twa_deg - 10.0 <= twa <= polar.last_twa_deg
        speed = _speed(boat, sails, twa, tws) if inside else None
        if speed is not None:
            speeds[sails.name] = speed
    if not speeds:
        return boat.sail_sets[0], 0.0
    fastest = max(speeds, key=lambda name: speeds[name])
    nearest = min(speeds, key=lambda name: abs(np.log(max(stw, 0.1) / speeds[name])))
    slower = 1.0 - speeds[nearest] / speeds[fastest]
    own = abs(np.log(max(stw, 0.1) / speeds[nearest])) < ITS_OWN
    if slower > OTHER_SAILS and own:
        return boat.sail_sets[boat.index(nearest)], slower
    return boat.sail_sets[boat.index(fastest)], 0.0


# ---- laylines ------------------------------------------------------------------------------------


class Stood(NamedTuple):
    """How far past the layline the board before the last of a beat or run was sailed."""

    board: int
    """The last board, on which the mark was reached."""
    past_nm: float
    minutes: float


def _overstood(
    went: Seconds,
    boards: list[Span],
    judged: list[Minute],
    best: Best,
    marks: Sequence[PlanPoint],
) -> list[Stood]:
    found = []
    for chain in chains(boards, went):
        legs = [_to_mark(went, boards, chain, marks)] if len(chain) > 1 else []
        for last in legs:
            if last is not None and last > 0 and boards[last].tack != boards[last - 1].tack:
                stood = _past(went, boards, last, judged, best)
                if stood is not None:
                    found.append(stood)
    return found


def _to_mark(
    went: Seconds, boards: list[Span], chain: list[int], marks: Sequence[PlanPoint]
) -> int | None:
    """The board of a beat or run on which its mark was reached: the last one."""
    last = chain[-1]
    if boards[last].point == "reach":
        return None
    if not marks:
        return last
    end = boards[last].end - 1
    lat, lon = went.lat[end], went.lon[end]
    if not np.isfinite(lat):
        return last
    return last if min(_nm(lat, lon, m.lat, m.lon) for m in marks) < AT_A_MARK_NM else None


def _past(
    went: Seconds, boards: list[Span], last: int, judged: list[Minute], best: Best
) -> Stood | None:
    """Whether the last board was freer than the layline: how far the one before went past it."""
    board, before = boards[last], boards[last - 1]
    part = _own(judged, last)
    previous = _own(judged, last - 1)
    if not part or not previous:
        return None
    there = slice(part[0].first, board.end)
    tws = float(np.nanmean(went.tws_kn[there]))
    up = board.point == "upwind"
    target = best.target(tws, board.point, part[0].sail_set)
    if target is None:
        return None
    # Through the water, so that the stream drops out: from the last turn to the mark.
    hours = went.step_s[there] / 3600.0
    track = np.radians(went.track_deg[there] - float(_middle(went.twd_deg[there])))
    across = float((went.stw_kn[there] * hours * np.abs(np.sin(track))).sum())
    along = float((went.stw_kn[there] * hours * np.cos(track)).sum())
    length = float(np.hypot(across, along))
    best_track = target.twa_deg + target.leeway_deg
    angle = float(np.degrees(np.arctan2(across, along)))
    freer = angle - best_track if up else best_track - angle
    usual = float(np.median([np.nanmean(went.twa_deg[m.first : m.end]) for m in previous]))
    own = float(np.nanmean(went.twa_deg[there]))
    habit = own - usual if up else usual - own
    if freer < PAST_LAYLINE_DEG or habit < PAST_LAYLINE_DEG or length < 0.02:
        return None
    return _past_by(went, boards, last, (length, angle, best_track), target, before)


def _past_by(
    went: Seconds,
    boards: list[Span],
    last: int,
    figures: tuple[float, float, float],
    target: Target,
    before: Span,
) -> Stood:
    length, angle, best_track = figures
    there = before.slice
    hours = went.step_s[there] / 3600.0
    speed_before = float(np.average(went.stw_kn[there], weights=hours))
    track = np.abs(turned(went.track_deg[there] - went.twd_deg[there]))
    angle_before = float(np.median(track))
    # Back along the board before, until the mark bears the best board's course.
    past = length * np.sin(np.radians(abs(angle - best_track)))
    past /= np.sin(np.radians(min(best_track + angle_before, 360.0 - best_track - angle_before)))
    past = float(min(past, speed_before * hours.sum()))
    a, b = np.radians(angle), np.radians(angle_before)
    ideal = np.hypot(length * np.sin(a) - past * np.sin(b), length * np.cos(a) + past * np.cos(b))
    board = boards[last].slice
    own_hours = float(went.step_s[board].sum() / 3600.0)
    ratio = min(length / max(own_hours, 1e-6) / max(target.boat_speed_kn, 0.5), 1.0)
    actual_h = past / max(speed_before, 0.3) + own_hours
    lost_h = actual_h - float(ideal) / (target.boat_speed_kn * max(ratio, 0.5))
    return Stood(last, past, max(60.0 * lost_h, 0.0))


def _own(judged: list[Minute], number: int) -> list[Minute]:
    return [each for each in judged if each.board == number]


def _middle(angle_deg: Array) -> float:
    radians = np.radians(angle_deg[np.isfinite(angle_deg)])
    if not radians.size:
        return float("nan")
    return float(np.degrees(np.arctan2(np.sin(radians).mean(), np.cos(radians).mean())))


def _nm(lat1: float, lon1: float, lat2: float, lon2: float) -> float:
    from goosewing.earth.geodesy import geodesic_inverse

    return float(geodesic_inverse(lat1, lon1, lat2, lon2).distance_nm)


# ---- turns ---------------------------------------------------------------------------------------


def _turn(went: Seconds, turn: Turn, boat: Boat) -> TurnSailed:
    """What a turn cost: the way not made good, by the speed made good before and after."""
    # What is made good up the wind on one side of the turn may be down the wind on the other.
    before = _steady(went.upwind_kn[went.between(turn.at, -150.0, -BEFORE_S)])
    after = _steady(went.upwind_kn[went.between(turn.at, AFTER_S, AFTER_S + 130.0)])
    if before is None:
        before = after
    if after is None:
        after = before
    window = went.between(turn.at, -BEFORE_S, AFTER_S)
    cost = 0.0
    if before is not None and after is not None:
        wanted = np.where(went.time_s[window] < went.time_s[turn.at], before, after)
        short = np.sign(wanted) * (wanted - went.upwind_kn[window])
        lost_nm = float(np.nansum(short * went.step_s[window])) / 3600.0
        cost = lost_nm / max(0.5 * (abs(before) + abs(after)), 0.5) * 3600.0
    lat, lon = (float(each[turn.at]) for each in (went.lat, went.lon))
    reckoned = boat.manoeuvres.tack_s if turn.kind == "tack" else boat.manoeuvres.gybe_s
    return TurnSailed(
        kind=turn.kind,
        time=_time(went.time_s[turn.at]),
        lat=_known(lat),
        lon=_known(lon),
        cost_s=max(cost, 0.0),
        boat_file_s=reckoned,
    )


def _steady(values: Array) -> float | None:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size >= 5 else None


# ---- the sum -------------------------------------------------------------------------------------


def _costs(
    judged: list[Minute], stood: list[Stood], turned_: Sequence[TurnSailed]
) -> tuple[Cost, ...]:
    """Minutes by cause, the greatest first; those of a turn beyond what the boat file reckons."""
    minutes = dict.fromkeys(CAUSES, 0.0)
    free = {each.board for each in stood}
    slower = 0.0
    for each in judged:
        if each.what is not None:
            minutes[each.what] += 60.0 * each.hours * _angle_cost(each, each.board in free)
        minutes["wrong sails"] += 60.0 * each.hours * each.by_sails
        slower += 60.0 * each.hours * each.by_speed
    minutes["other"] = max(slower, 0.0)
    minutes["overstood"] = sum(each.minutes for each in stood)
    minutes["manoeuvres"] = sum(max(t.cost_s - t.boat_file_s, 0.0) for t in turned_) / 60.0
    ordered = sorted(minutes.items(), key=lambda pair: -pair[1])
    return tuple(Cost(what=what, minutes=spent) for what, spent in ordered)


def _angle_cost(minute: Minute, past_layline: bool) -> float:
    # Past a layline a freer angle is the way to the mark: the layline has its cost already.
    return 0.0 if past_layline and minute.what in FREER else minute.by_angle


FREER = ("footing", "too high")

WORTH_SAYING_MIN = 0.05


def _most(costs: Sequence[Cost]) -> What | None:
    """The one thing to change: sailing faster at the same angle is none, unless nothing else is."""
    things = [each for each in costs if each.what != "other" and each.minutes >= WORTH_SAYING_MIN]
    if things:
        return things[0].what
    return "other" if any(each.minutes >= WORTH_SAYING_MIN for each in costs) else None


def _board(
    went: Seconds,
    board: Span,
    number: int,
    judged: list[Minute],
    stood: list[Stood],
    best: Best,
) -> BoardSailed:
    own = _own(judged, number)
    parts = [np.arange(each.first, each.end) for each in own]
    clear = np.concatenate(parts) if parts else np.arange(board.first, board.end)
    twa, tws, stw, leeway = (
        float(np.nanmean(each[clear]))
        for each in (went.twa_deg, went.tws_kn, went.stw_kn, went.leeway_deg)
    )
    sails = own[0].sail_set if own else best.boat.sail_sets[0].name
    target = best.target(tws, board.point, sails)
    sign = 1.0 if board.point == "upwind" else -1.0
    past = next((each for each in stood if each.board == number), None)
    table = _speed(best.boat, best.boat.sail_sets[best.boat.index(sails)], twa, tws)
    hours = float(went.step_s[board.slice].sum() / 3600.0)
    lost = sum(
        60.0 * m.hours * (_angle_cost(m, past is not None) + m.by_speed + m.by_sails) for m in own
    )
    return BoardSailed(
        tack=board.tack,
        point=board.point,
        sail_set=sails,
        start=_place(went, board.first),
        end=_place(went, board.end - 1),
        elapsed_h=hours,
        log_nm=float(np.nansum((went.stw_kn * went.step_s)[board.slice]) / 3600.0),
        twa_deg=twa,
        tws_kn=tws,
        boat_speed_kn=stw,
        polar_speed_kn=table or stw,
        vmg_kn=None if target is None else _vmg(sign * went.upwind_kn[clear]),
        target_vmg_kn=None if target is None else target.vmg_kn,
        best_twa_deg=None if target is None else target.twa_deg,
        leeway_deg=leeway,
        not_worth_min=sum(60.0 * m.hours for m in own if m.not_worth),
        overstood_nm=0.0 if past is None else past.past_nm,
        lost_min=lost + (0.0 if past is None else past.minutes),
    )


def _vmg(made_good_kn: Array) -> float | None:
    known = made_good_kn[np.isfinite(made_good_kn)]
    return float(known.mean()) if known.size else None


def _place(went: Seconds, at: int) -> Place:
    return Place(
        lat=_known(float(went.lat[at])),
        lon=_known(float(went.lon[at])),
        time=_time(went.time_s[at]),
    )


def _known(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _time(seconds_: float) -> datetime:
    return datetime.fromtimestamp(float(seconds_), UTC)


# ---- the plan ------------------------------------------------------------------------------------


def _marks(went: Seconds, plan: Sequence[PlanPoint]) -> tuple[MarkPassed, ...]:
    """When each mark was passed, in the plan's order, against when it was to be."""
    from goosewing.earth.geodesy import geodesic_inverse

    there = np.flatnonzero(np.isfinite(went.lat) & np.isfinite(went.lon))
    found = []
    begin = 0
    for point in (each for each in plan if each.mark):
        passed = None
        left = there[there >= begin]
        if left.size:
            away = np.asarray(
                geodesic_inverse(
                    went.lat[left], went.lon[left], np.full(left.size, point.lat),
                    np.full(left.size, point.lon),
                ).distance_nm
            )  # fmt: skip
            # The first time that she is nearest to it, within reach.
            near = np.flatnonzero(away < AT_A_MARK_NM)
            if near.size:
                run = near[: int(np.argmax(np.append(np.diff(near) > 1, True))) + 1]
                at = left[run[int(np.argmin(away[run]))]]
                passed, begin = _time(went.time_s[at]), int(at)
        late = (
            None
            if passed is None or point.time is None
            else (passed - point.time).total_seconds() / 60.0
        )
        found.append(MarkPassed(mark=point.name, planned=point.time, passed=passed, late_min=late))
    return tuple(found)
