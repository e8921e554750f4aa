"""From a way that the search found to the boards that are sailed, and the orders along them.

What the search found is sailable; made exact it is the first plan, and nothing that
follows may be slower than it but by what the crew is spared: a board that gains less than
it is worth, an order that gains a few seconds.

Within a board the helm's angle is free: it gets an order a watch, or where the wind has
moved far, each a heading held or an angle to the wind held, and nothing else happens
under it.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat import manoeuvres
from goosewing.boat.model import row_angles
from goosewing.changing.motion import BY_THE_LEE_DEG
from goosewing.changing.pinned import Before, sailed
from goosewing.changing.polish import MANY_ROUNDS, Polished, as_sailed, polish
from goosewing.changing.shooting import (
    STEP_H,
    Helm,
    Start,
    States,
    board_numbers,
    limits_deg,
)
from goosewing.earth import geodesy
from goosewing.errors import NoPlanError
from goosewing.totals import Clock

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import ArrayLike, NDArray

    from goosewing.changing.guesses import Outlook
    from goosewing.changing.keep_clear import Offing
    from goosewing.changing.motion import Waters
    from goosewing.changing.pinned import Pins
    from goosewing.changing.ways import Stretch, Way
    from goosewing.earth.corridor import Corridor
    from goosewing.earth.course import Course
    from goosewing.options import First
    from goosewing.records import Mark, Steer
    from goosewing.units import Array

MOVED_DEG = 10.0
"""A wind that has moved so far may have a new order of its own. [°]"""

STAYED_DEG = 0.9 * MOVED_DEG
"""A wind that has moved less hasn't moved: the optimiser's last look shifts an order's ends."""

ROUGH_ORDERS = 30
"""While sequences are compared a leg has about so many orders at most; those to be told are cut
when the sequence is known."""

ROOM = 1.06
"""Orders are cut so much longer than a watch."""

LOOKS = 24
"""The wind is looked at so often a watch."""

SOONEST_H = 1.0 / 3.0
"""But no sooner than this. [h]"""

A_MINUTE_H = 1.0 / 60.0
"""An order that ends so near a shift at a stroke ends there. [h]"""

SECONDS_H = 10.0 / 3600.0
"""What is slower than the search's way by no more is not slower. [h]"""

SHORTER_STEPS = (4, 16)
"""So many times shorter steps are taken, one after the other, where boards end farther off."""

OFF_NM, OFF_SHARE = 0.02, 5e-4
"""Than this, and this share of their length, when sailed more finely. [nm]"""

BOUNDED_OFF_NM, BOUNDED_OFF_SHARE = 2e-4, 2e-5
"""And where the plan is held against a bound, which is known to 1e-4 of the time. [nm]"""

WORTH_SHARE = 0.01
"""On a short leg it need not gain more than this share of the leg's time."""

FEWER_ORDERS_H = 4.0 / 3600.0
"""An order fewer may cost so many hours."""

ALL_FEWER_ORDERS = 1e-4
"""All of them together no more than this share of the time."""

HEADINGS_COST = 1e-4
"""Headings held in place of angles may cost so large a share of the time."""

SPARE_DEG = 4.0
"""Headings that at first prove to lead out of the table are tried so far inside it only."""

MOST_DROPPED_AT_ONCE = 6
MOST_REORDERED = 8
"""Longer sequences keep the order that the search found."""

LEAST_GAIN_H = 1e-4
"""Less than half a second is no reason to change the order."""

TRIAL_ROUNDS = 4
"""Steps of the optimiser before two sequences are compared."""

HOPELESS = 1.03
"""A sequence whose first closing is so much slower than the best is given up."""

SHORTEST_PIECE_NM = 0.002
"""Places of a way that are closer together are one."""

MOST_TRIED = 8
"""So many of the places in sight are tried as the next one."""

ROUNDS_OF_PAUSES = 3
"""A turn near the beam may prove a gybe where a tack was meant: so often it is put right."""

MARGIN_STEP_DEG = 0.5
"""Angles at which it is looked how she must sail for a margin."""

STEADY_ANGLE_DEG = 14.0
"""Within this of a best angle the helm keeps an angle to the wind; reaching, a heading."""


@dataclass(frozen=True, slots=True, eq=False)
class Boards:
    """Orders to the helm, what the manoeuvres before them cost, and where they lead."""

    helms: tuple[Helm, ...]
    pauses_h: tuple[float, ...]
    states: States
    polished: Polished

    @property
    def elapsed_h(self) -> float:
        """Boards and manoeuvres together, in hours."""
        return sum(h.hours for h in self.helms) + sum(self.pauses_h)

    @property
    def count(self) -> int:
        """The number of boards."""
        return int(board_numbers(self.helms)[-1]) + 1


class Places(NamedTuple):
    """Places of a way that was found, each shape (n,)."""

    mode: NDArray[np.intp]
    """The mode in which it was reached; of the first, that of the second."""
    lat: Array
    lon: Array
    time_h: Array


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """One leg of the passage while it is being planned."""

    waters: Waters
    course: Course
    outlook: Outlook
    start_h: float
    shortest_h: float
    before: Clock
    watch_h: float
    """How long an order is held at least, unless the wind moves. [h]"""
    worth_h: float
    """What a board must gain. [h]"""
    rough_h: float = 0.0
    """While sequences are compared orders are held so long at least. [h]"""
    exact: bool = False
    """Whether sequences are compared in the shortest steps of the integration."""
    first: First | None = None
    """Which board was asked to come first."""
    offing: Offing | None = None
    """The hazards about the leg, and the way between them."""
    step_h: float = STEP_H
    """The shortest steps of the integration. [h]"""
    corridor: Corridor | None = None
    """Where she is to stay."""
    margin_deg: float = 0.0
    """How far past the layline she is to turn. [°]"""
    straight_h: float | None = None
    """The time of the straight course under the best single sail set, where one holds it."""

    @property
    def start(self) -> Start:
        """Where and when it begins, and where it ends."""
        c = self.course
        return Start(time_h=self.start_h, lat=c.lat1, lon=c.lon1, mark_lat=c.lat2, mark_lon=c.lon2)


def settled(stage: Stage, way: Way, mark: Mark, ahead: manoeuvres.Mode | None) -> Boards:
    """Make the boards of a way exact, and as few as a crew would sail.

    Raises
    ------
    NoPlanError
        If nothing could be brought to the mark.
    """
    if way.pins is not None:
        return _pinned(stage, way.pins, mark)
    if stage.offing is not None and stage.offing.is_far:
        # Orders are held and joined as if nothing were there, unless they then cross it.
        with suppress(NoPlanError):
            freely = settled(replace(stage, offing=None), way, mark, ahead)
            if stage.offing.clears(freely.states.lat, freely.states.lon):
                return freely
    for exact in (False, True):
        judged = replace(stage, exact=exact, rough_h=0.0 if exact else stage.rough_h)
        best = _begun(judged, way)
        if best is None:
            continue
        best = _reordered(judged, _dropped(judged, best, ahead), ahead)
        best = _or_straight(judged, best, ahead)
        best = _begun_as_wished(judged, best, ahead)
        made = _finished(judged, _past_the_layline(judged, best, ahead))
        if made is not None:
            return _as_told(stage, _never_slower(stage, made, way))
    exactly = replace(stage, exact=True)
    found = _bent_everywhere(exactly, way)
    if found is not None:
        return _as_told(stage, _held_a_watch(exactly, found))
    raise NoPlanError(f"no boards could be brought to {mark.name}: try another departure")


def _never_slower(stage: Stage, made: Boards, way: Way) -> Boards:
    """Go back to the search's own way where all that followed made it slower than it may be.

    Slower it may be by what boards left out were worth, and by the seconds that fewer orders
    cost. Where something was asked for that the way doesn't keep to, it is no measure.
    """
    asked = stage.margin_deg or stage.first is not None or stage.offing is not None
    # The search's steps go across a stroke of the weather as if it came at their middle.
    asked = asked or any(way.begins_h < at < way.arrival_h for at in stage.waters.strokes_h)
    shortest_h = min(float(np.ptp(part.time_h)) for part in way.stretches)
    if asked or not way.exact or shortest_h < stage.shortest_h - 1e-9:
        return made
    way_h = way.arrival_h - way.begins_h
    saved = max(len(way.stretches) - made.count, 0)
    spared = saved * _worth_h(stage, made) + 2.0 * ALL_FEWER_ORDERS * way_h
    limit_h = way_h + made.pauses_h[0] + spared + SECONDS_H
    if made.elapsed_h <= limit_h:
        return made
    exact = replace(stage, exact=True)
    found = _bent_everywhere(exact, way)
    if found is None or found.elapsed_h >= made.elapsed_h:
        return made
    for simpler in (_held_a_watch(exact, _fewer_orders(exact, _cut_anew(exact, found))), found):
        if simpler.elapsed_h <= max(limit_h, found.elapsed_h):
            return simpler
    return found


def _as_told(stage: Stage, made: Boards) -> Boards:
    """Integrate in shorter steps where these are too long to tell where boards lead: at fronts."""
    bounded = not stage.waters.weather.varies_in_place
    nm, share = (BOUNDED_OFF_NM, BOUNDED_OFF_SHARE) if bounded else (OFF_NM, OFF_SHARE)
    for shorter in SHORTER_STEPS:
        off, sailed = made.polished.course.coarse_nm(made.states)
        numbers = board_numbers(made.helms)
        allowed = nm + share * np.bincount(numbers, sailed)
        if not np.any(np.bincount(numbers, off) > allowed):
            break
        finer = replace(stage, exact=True, step_h=STEP_H / shorter)
        again = _again(finer, made, made.helms)
        if again is None or _astray(finer, again).any():
            break
        made = _with_true_pauses(finer, again)
    return made


def resettled(stage: Stage, boards: Boards, mark: Mark) -> Boards:
    """Bring boards that were settled for a leg nearly like this one to its own ends.

    Raises
    ------
    NoPlanError
        If they can't be brought there.
    """
    exact = replace(stage, exact=True)
    guess = boards.states
    if not _begins_as_wished(exact, boards.helms):
        best = _begun_as_wished(exact, boards, None)
        made = None if best is boards else _finished(exact, best)
    else:
        made = _try(exact, boards.helms, guess=guess, rounds=TRIAL_ROUNDS)
    if made is None or _astray(exact, made).any():
        raise NoPlanError(f"the boards known can't be brought to {mark.name}")
    return _with_true_pauses(exact, made)


def _pinned(stage: Stage, pins: Pins, mark: Mark) -> Boards:
    """Sail boards that are pinned to corners among many islands from each to the next.

    Between them is little room: what the optimiser could gain there it would pay for with a limit
    for every island.
    """
    before = Before(stage.before.mode, stage.before.twa_deg)
    found: Boards | None = None
    for shorter in (1, *SHORTER_STEPS):
        made = sailed(stage.waters, pins, stage.start_h, before, step_h=STEP_H / shorter)
        course, states = made.course, made.states
        hazards = stage.waters.hazards
        crossed = hazards is not None and hazards.crossed_along(states.lat, states.lon).any()
        if crossed or not made.fits.all():
            break
        known = as_sailed(course, states, stage.shortest_h)
        found = Boards(course.helms, tuple(course.pauses_h.tolist()), states, known)
        off, miles = course.coarse_nm(states)
        if not np.any(off > OFF_NM + OFF_SHARE * miles):
            break
    if found is None:
        raise NoPlanError(f"no boards could be brought to {mark.name}: try another departure")
    return found


# ---- the first plan --------------------------------------------------------------------------


def _begun(stage: Stage, way: Way) -> Boards | None:
    """Make the search's way exact; where that fails, the same with fewer boards."""
    helms = tuple(h for part in way.stretches for h in _helms(stage, part, _cuts(stage, part)))
    guess = _guess(way)
    found = _try(stage, helms, guess=guess)
    if found is None and stage.rough_h > stage.watch_h:
        # Orders held so long may lead too far from the way: as many as a crew would have.
        return _begun(replace(stage, rough_h=0.0), way)
    found = found or _try(stage, helms)
    if found is None and stage.offing is not None:
        found = _from_place_to_place(stage, way) or _bent_everywhere(stage, way)
    return found or _brought_to_the_mark(stage, helms) or _any_straight(stage)


def _guess(way: Way) -> States:
    """Places of a way, at their times."""
    lat, lon = way.places
    return States(lat, lon, np.concatenate([part.time_h for part in way.stretches]))


def _helms(stage: Stage, part: Stretch, cuts: Sequence[float]) -> list[Helm]:
    """Turn a stretch of the search into orders, by the angles at which it was sailed."""
    rows = part.row_deg
    known = np.isfinite(rows)
    helms = []
    for begin, end in pairwise(cuts):
        within = known & (part.time_h > begin + 1e-9) & (part.time_h <= end + 1e-9)
        picked = rows[within] if within.any() else rows[known]
        row = float(np.mean(picked)) if picked.size else 90.0
        mode = stage.waters.modes[part.mode]
        helms.append(
            Helm(mode=part.mode, steer="angle", control_deg=row, hours=end - begin)
            if not mode.engine
            else Helm(
                mode=part.mode, steer="heading", control_deg=_heading(part, begin, end),
                hours=end - begin,
            )
        )  # fmt: skip
    return helms


def _heading(part: Stretch, begin: float, end: float) -> float:
    """Direction between two times of a stretch: what is steered but for the stream."""
    lat, lon = (np.interp((begin, end), part.time_h, values) for values in (part.lat, part.lon))
    return float(geodesy.loxodrome_inverse(lat[0], lon[0], lat[1], lon[1]).bearing_deg)


def _cuts(stage: Stage, part: Stretch) -> list[float]:
    """Times at which a stretch is cut into orders: by the watch, and where land lies between."""
    begin, end = float(part.time_h[0]), float(part.time_h[-1])
    count = max(1, int((end - begin) // stage.watch_h))
    if stage.offing is None:
        count = min(count, max(1, int((end - begin) / max(stage.rough_h, 1e-6))))
    even: list[float] = np.linspace(begin, end, count + 1).tolist()
    if stage.offing is None:
        strokes = [at for at in stage.waters.strokes_h if begin < at < end]
        return [begin, *_with_strokes(even[1:-1], strokes, SOONEST_H), end]
    seen = part.time_h[stage.offing.in_sight(part.lat, part.lon)].tolist()
    return seen if len(seen) >= len(even) else even


def _brought_to_the_mark(stage: Stage, helms: tuple[Helm, ...]) -> Boards | None:
    """Drop the shortest board of a sequence as long as it can't be brought to the mark."""
    best = _sailed_about_the_engine(stage, helms)
    while best is None:
        numbers = board_numbers(helms)
        if numbers[-1] == 0:
            return None
        helms = _without(helms, int(np.argmin(_board_hours(helms))))
        best = _try(stage, helms)
    return best


def _sailed_about_the_engine(stage: Stage, helms: tuple[Helm, ...]) -> Boards | None:
    """Polish a sequence with a short board under sail at an end that is under engine.

    The search looks at the engine's use but once a step: a lull may begin later and end
    sooner than it thought.
    """
    modes = stage.waters.modes
    short = max(stage.shortest_h, 0.05 * sum(helm.hours for helm in helms))
    motored = [at for at, helm in enumerate(helms) if modes[helm.mode].engine]
    if not motored:
        return None
    first = motored[0] if sum(h.hours for h in helms[: motored[0]]) < short else 0
    last = motored[-1] if sum(h.hours for h in helms[motored[-1] + 1 :]) < short else len(helms)
    helms = helms[first : last + 1]
    trials = []
    for number, mode in enumerate(modes):
        board = Helm(
            mode=number, steer="heading", control_deg=stage.course.bearing_deg, hours=short
        )
        if not mode.engine and modes[helms[-1].mode].engine:
            trials.append((*helms, board))
        if not mode.engine and modes[helms[0].mode].engine:
            trials.append((board, *helms))
    return _fastest(_try(stage, trial) for trial in trials)


def _any_straight(stage: Stage) -> Boards | None:
    """Try every mode alone, steering for the mark: the last resort of a tiny leg."""
    bearing = stage.course.bearing_deg
    hours = stage.course.distance_nm * stage.outlook.hours_per_nm(bearing)
    return _fastest(
        _try(stage, (Helm(mode=i, steer="heading", control_deg=bearing, hours=hours),))
        for i in range(len(stage.waters.modes))
    )


def _or_straight(stage: Stage, best: Boards, ahead: manoeuvres.Mode | None) -> Boards:
    """Take one board straight to the mark where the straight course alone is faster.

    Dead downwind, where a sector is narrow, the search may miss the one angle that fetches
    the mark; the straight course is known without it.
    """
    if best.count < 2:
        return best
    if stage.straight_h is None or stage.straight_h >= best.elapsed_h:
        return best
    alone = _any_straight(stage)
    if alone is None or _until_ahead_h(stage, alone, ahead) >= _until_ahead_h(stage, best, ahead):
        return best
    return alone


def _fastest(trials: Iterator[Boards | None]) -> Boards | None:
    made = [trial for trial in trials if trial is not None]
    return min(made, key=lambda boards: boards.elapsed_h, default=None)


def _from_place_to_place(stage: Stage, way: Way) -> Boards | None:
    """Sail the search's own way, which crosses nothing, by straight boards between its places."""
    places, at = _places_of(way), 0
    helms: tuple[Helm, ...] = ()
    while at < len(places.lat) - 1:
        for onward, mode in _onward(stage, places, at):
            added = _straight_on(stage, helms, places, (at, onward), mode)
            if added is not None:
                helms, at = added, onward
                break
        else:
            return None
    return _try(stage, helms) or _as_it_is(stage, helms, None)


def _bent_everywhere(stage: Stage, way: Way) -> Boards | None:
    """Sail the search's own way by an order from each of its places to the next."""
    every = (h for part in way.stretches for h in _helms(stage, part, part.time_h.tolist()))
    return _as_it_is(stage, tuple(every), _guess(way))


def _as_it_is(stage: Stage, helms: tuple[Helm, ...], guess: States | None) -> Boards | None:
    """Close a sequence on the mark and change no more; None if it then crosses a hazard."""
    pauses = _pauses_h(stage, helms)
    made = polish(
        stage.waters, helms, stage.start, pauses, rounds=0, exact=stage.exact, guess=guess,
        each=True,
    )  # fmt: skip
    if made is None:
        return None
    if stage.offing is not None and not stage.offing.clears(made.states.lat, made.states.lon):
        return None
    return Boards(made.helms, pauses, made.states, made)


def _places_of(way: Way) -> Places:
    """Join the stretches of a way; of each place, the mode in which it was reached."""
    parts = way.stretches
    rest = [part.lat[1:] for part in parts]
    modes = [np.full(len(lat), part.mode) for lat, part in zip(rest, parts, strict=True)]

    def joined(name: str) -> Array:
        first = getattr(parts[0], name)[:1]
        return np.concatenate((first, *(getattr(part, name)[1:] for part in parts)))

    mode = np.concatenate(([parts[0].mode], *modes))
    return Places(mode, joined("lat"), joined("lon"), joined("time_h"))


def _onward(stage: Stage, places: Places, at: int) -> Iterator[tuple[int, int]]:
    """Places in sight to sail to next, and the mode: its own and far first, then any."""
    assert stage.offing is not None
    after = np.arange(at + 1, len(places.lat))
    seen = after[stage.offing.sees(places.lat, places.lon, at)]
    own = int(places.mode[at + 1])
    others = np.flatnonzero(places.mode[after] != own)
    end = at + 1 + int(others[0]) if others.size else len(places.lat)
    near = seen[seen < end]
    picked = near[np.linspace(0, len(near) - 1, min(len(near), MOST_TRIED)).astype(int)]
    yield from ((int(k), own) for k in picked[::-1])
    every = [i for i, mode in enumerate(stage.waters.modes) if not mode.engine]
    yield from ((int(k), mode) for k in seen[:MOST_TRIED] for mode in every)


def _straight_on(
    stage: Stage, helms: tuple[Helm, ...], places: Places, ends: tuple[int, int], mode: int
) -> tuple[Helm, ...] | None:
    """Add a straight board from one place to another; None if the mode can't hold it."""
    first, last = ends
    lat1, lon1 = float(places.lat[first]), float(places.lon[first])
    lat2, lon2 = float(places.lat[last]), float(places.lon[last])
    line = geodesy.loxodrome_inverse(lat1, lon1, lat2, lon2)
    if float(line.distance_nm) < SHORTEST_PIECE_NM:
        return helms
    hours = max(float(places.time_h[last] - places.time_h[first]), 1e-3)
    # What is steered differs from the course by leeway and stream: a first guess.
    bearing = float(line.bearing_deg)
    helm = Helm(mode=mode, steer="heading", control_deg=bearing, hours=hours)
    pauses = _pauses_h(stage, (*helms, helm))
    begun_h = stage.start_h + sum(h.hours for h in helms) + sum(pauses[:-1])
    start = Start(time_h=begun_h, lat=lat1, lon=lon1, mark_lat=lat2, mark_lon=lon2)
    made = polish(stage.waters, (helm,), start, pauses[-1:])
    if made is None and not stage.waters.modes[mode].engine:
        angle = replace(helm, steer="angle", control_deg=_twa_deg(stage, helm))
        made = polish(stage.waters, (angle,), start, pauses[-1:])
    return None if made is None else (*helms, *made.helms)


# ---- trying sequences ------------------------------------------------------------------------


def _try(
    stage: Stage,
    helms: Sequence[Helm],
    *,
    guess: States | None = None,
    rounds: int = MANY_ROUNDS,
    beat_h: float = np.inf,
) -> Boards | None:
    pauses = _pauses_h(stage, helms)
    made = polish(
        stage.waters, helms, stage.start, pauses, offing=stage.offing, corridor=stage.corridor,
        step_h=stage.step_h, rounds=rounds, shortest_h=stage.shortest_h, exact=stage.exact,
        guess=guess, beat_h=beat_h - sum(pauses),
    )  # fmt: skip
    return None if made is None else Boards(made.helms, pauses, made.states, made)


def _pauses_h(stage: Stage, helms: Sequence[Helm]) -> tuple[float, ...]:
    """What the manoeuvres before each order will cost, as far as it can be told beforehand."""
    boat, modes = stage.waters.boat, stage.waters.modes
    pauses = []
    before, twa_before = stage.before.mode, stage.before.twa_deg
    for helm in helms:
        mode, twa = modes[helm.mode], _twa_deg(stage, helm)
        tacking = manoeuvres.is_tacked(boat, twa_before + twa)
        kinds = () if before is None else manoeuvres.steps(before, mode, tacking=tacking)
        pauses.append(sum(manoeuvres.step_cost_s(boat, kind) for kind in kinds) / 3600.0)
        before, twa_before = mode, twa
    return tuple(pauses)


def _twa_deg(stage: Stage, helm: Helm) -> float:
    """Angle off the wind of an order to the helm; of a heading, in the wind at the start."""
    if helm.steer == "angle":
        return helm.control_deg
    airs = stage.waters.airs(stage.start_h, stage.course.lat1, stage.course.lon1)
    return abs(float(geodesy.wrap_180(helm.control_deg - float(airs.twd_deg))))


def _board_hours(helms: Sequence[Helm]) -> Array:
    hours = [helm.hours for helm in helms]
    return np.bincount(board_numbers(helms), hours).astype(np.float64)


def _without(helms: Sequence[Helm], board: int) -> tuple[Helm, ...]:
    """Leave a board out and give its time to the others."""
    numbers = board_numbers(helms)
    left = [h for h, number in zip(helms, numbers, strict=True) if number != board]
    total = sum(h.hours for h in helms)
    share = total / max(sum(h.hours for h in left), 1e-9)
    return tuple(replace(h, hours=h.hours * share) for h in left)


def _dropped(stage: Stage, best: Boards, ahead: manoeuvres.Mode | None) -> Boards:
    """Leave out boards, the shortest first, that aren't worth their while."""
    improved = True
    while improved and best.count > 1:
        improved = False
        order = np.argsort(_board_hours(best.helms), kind="stable")
        for board in order[:MOST_DROPPED_AT_ONCE].tolist():
            fewer = _arranged(best, [at for at in range(best.count) if at != board])
            saved = best.count - int(board_numbers(fewer.helms)[-1]) - 1
            limit = _until_ahead_h(stage, best, ahead) + saved * _worth_h(stage, best)
            trial = _better(stage, best, fewer, limit, ahead)
            if trial is not None:
                best, improved = trial, True
                break
    return best


def _worth_h(stage: Stage, best: Boards) -> float:
    """What each board of a leg must gain."""
    return min(stage.worth_h, WORTH_SHARE * best.elapsed_h)


def _better(
    stage: Stage,
    best: Boards,
    other: _Sequence,
    limit_h: float,
    ahead: manoeuvres.Mode | None,
) -> Boards | None:
    """Polish another sequence; None unless it takes less than the limit, and begins as wished."""
    if _begins_as_wished(stage, best.helms) and not _begins_as_wished(stage, other.helms):
        return None
    trial = _try(stage, other.helms, guess=other.guess, rounds=TRIAL_ROUNDS, beat_h=limit_h)
    if trial is None or _until_ahead_h(stage, trial, ahead) > limit_h * HOPELESS:
        return None
    if _until_ahead_h(stage, trial, ahead) >= limit_h:
        return None
    return _try(stage, trial.helms, guess=trial.states) or trial


def _reordered(stage: Stage, best: Boards, ahead: manoeuvres.Mode | None) -> Boards:
    """Sail the same boards in another order where that is faster.

    Orders often differ by less than the search can tell: by the convergence of
    the meridians, or by a slow shift of the wind.
    """
    for _ in range(best.count - 1):
        limit = _until_ahead_h(stage, best, ahead) - LEAST_GAIN_H
        found = None
        for other in _sequences(best):
            trial = _better(stage, best, other, limit, ahead)
            if trial is not None:
                found, limit = trial, _until_ahead_h(stage, trial, ahead)
        if found is None:
            break
        best = found
    return best


class _Sequence(NamedTuple):
    """Orders to be tried, and where they may lead."""

    helms: tuple[Helm, ...]
    guess: States


def _sequences(best: Boards) -> list[_Sequence]:
    """List the orders with two neighbouring boards exchanged; the whole the other way round."""
    count = best.count
    if count > MOST_REORDERED:
        return []
    own = list(range(count))
    orders = [[*own[:i], i + 1, i, *own[i + 2 :]] for i in range(count - 1)]
    if count > 2:
        orders.append(own[::-1])
    return [_arranged(best, order) for order in orders]


def _arranged(best: Boards, boards: Sequence[int]) -> _Sequence:
    """Sail some of the boards, or all, in another order, each as far as it leads now.

    What is missing then, or too much, is given to all in equal measure.
    """
    each = _boards_of(best.helms)
    picked = [helm for board in boards for helm in each[board]]
    share = sum(h.hours for h in best.helms) / max(sum(h.hours for h in picked), 1e-9)
    helms = tuple(replace(helm, hours=helm.hours * share) for helm in picked)
    number = board_numbers(best.helms)[best.polished.course.order]
    at = np.concatenate([np.flatnonzero(number == board) for board in boards])
    states = best.states
    lat, lon, time = (
        np.concatenate(([known[0]], known[0] + np.cumsum(np.diff(known)[at])))
        for known in (states.lat, np.unwrap(states.lon, period=360.0), states.time_h)
    )
    part = (time - time[0]) / max(float(time[-1] - time[0]), 1e-9)
    ends = states.lat[-1] - lat[-1], np.unwrap(states.lon, period=360.0)[-1] - lon[-1]
    return _Sequence(helms, States(lat + part * ends[0], lon + part * ends[1], time))


def _boards_of(helms: Sequence[Helm]) -> list[tuple[Helm, ...]]:
    numbers = board_numbers(helms)
    return [
        tuple(h for h, number in zip(helms, numbers, strict=True) if number == board)
        for board in range(int(numbers[-1]) + 1)
    ]


def _begun_as_wished(stage: Stage, best: Boards, ahead: manoeuvres.Mode | None) -> Boards:
    """Let the board come first that was asked for, where the leg has such a one."""
    if _begins_as_wished(stage, best.helms):
        return best
    boards = _boards_of(best.helms)
    orders = [(boards[i], *boards[:i], *boards[i + 1 :]) for i in range(1, len(boards))]
    # In a wind that turns against the wish, a short board of it may be all it takes.
    short = max(stage.shortest_h, 0.05 * best.elapsed_h)
    orders += [((replace(board[0], hours=short),), *boards) for board in boards[1:]]
    every = [tuple(helm for board in order for helm in board) for order in orders]
    trials = [_try(stage, helms) for helms in every if _begins_as_wished(stage, helms)]
    made = [trial for trial in trials if trial is not None]
    return min(made, key=lambda boards: _until_ahead_h(stage, boards, ahead), default=best)


def _past_the_layline(stage: Stage, best: Boards, ahead: manoeuvres.Mode | None) -> Boards:
    """Let the board into the mark be sailed freer, so that she turns past the layline.

    Its course over the ground turns away from the board before it by the margin, which is the
    safe side upwind and downwind alike; a board that can't be sailed so stays as it was.
    """
    if not stage.margin_deg or best.count < 2:
        return best
    made = [_freer(stage, best)]
    for helms, _ in _sequences(best):
        other = _try(stage, helms) if _begins_as_wished(stage, helms) else None
        # What the margin costs depends on which board is the last.
        made += [] if other is None else [_freer(stage, other)]
    freer = [boards for boards in made if boards is not None]
    return min(freer, key=lambda boards: _until_ahead_h(stage, boards, ahead), default=best)


def _freer(stage: Stage, boards: Boards) -> Boards | None:
    """Sail the last board of some the margin freer; None if that can't be."""
    numbers = board_numbers(boards.helms)
    course, states = boards.polished.course, boards.states
    mine = np.flatnonzero(numbers == numbers[-1])
    last = np.append(course.first[1:], len(course.order))
    before = boards.helms[int(mine[0]) - 1]
    turn = int(course.first[mine[0]])
    came = float(_course_deg(stage, before, before.control_deg, states, turn)[0])
    helms = list(boards.helms)
    for k in mine.tolist():
        middle = int(course.first[k] + last[k]) // 2
        row = _freer_deg(stage, helms[k], states, middle, came)
        if row is None:
            return None
        helms[k] = replace(helms[k], control_deg=row, held=True)
    return _try(stage, helms, guess=states)


def _freer_deg(stage: Stage, helm: Helm, states: States, at: int, came_deg: float) -> float | None:
    """The polar's angle whose course lies the margin farther from the course she came by."""
    mode = stage.waters.modes[helm.mode]
    if mode.engine:
        return None
    rows = row_angles(stage.waters.boat.sail_sets[mode.sail_set], MARGIN_STEP_DEG)
    own = float(_course_deg(stage, helm, helm.control_deg, states, at)[0])
    away = np.sign(float(geodesy.wrap_180(own - came_deg)))
    wanted = own + away * stage.margin_deg
    if away * float(geodesy.wrap_180(wanted - came_deg)) <= stage.margin_deg:
        return None
    off = np.asarray(geodesy.wrap_180(_course_deg(stage, helm, rows, states, at) - wanted))
    meets = np.flatnonzero((off[:-1] * off[1:] <= 0.0) & (np.abs(off[1:] - off[:-1]) < 90.0))
    if not meets.size:
        return None
    k = meets[np.argmin(np.abs(rows[meets] - helm.control_deg))]
    return float(rows[k] + off[k] / (off[k] - off[k + 1]) * (rows[k + 1] - rows[k]))


def _course_deg(stage: Stage, helm: Helm, control_deg: ArrayLike, states: States, at: int) -> Array:
    """Courses over the ground at a step's beginning, steered as an order; NaN for none."""
    airs = stage.waters.airs(*(np.asarray(values)[[at]] for values in (
        states.time_h, states.lat, states.lon
    )))  # fmt: skip
    mode = stage.waters.modes[helm.mode]
    going = stage.waters.steered(mode, helm.steer, np.atleast_1d(control_deg), airs)
    course = np.degrees(np.arctan2(going.east_kn, going.north_kn))
    return np.where(going.possible, course, np.nan)


def _begins_as_wished(stage: Stage, helms: Sequence[Helm]) -> bool:
    tacks = [stage.waters.modes[helm.mode].tack for helm in helms]
    if stage.first == "longer":
        hours = _board_hours(helms)
        return bool(hours[0] >= hours.max())
    return stage.first not in tacks or tacks[0] == stage.first


def _until_ahead_h(stage: Stage, boards: Boards, ahead: manoeuvres.Mode | None) -> float:
    """Boards of a leg, and what then brings her onto the first board of the next."""
    if ahead is None:
        return boards.elapsed_h
    last = boards.helms[-1]
    tacking = manoeuvres.is_tacked(stage.waters.boat, 2.0 * _twa_deg(stage, last))
    kinds = manoeuvres.steps(stage.waters.modes[last.mode], ahead, tacking=tacking)
    cost = sum(manoeuvres.step_cost_s(stage.waters.boat, kind) for kind in kinds)
    return boards.elapsed_h + cost / 3600.0


# ---- orders as they are given ----------------------------------------------------------------


def _finished(stage: Stage, best: Boards) -> Boards | None:
    """Cut, steer and merge orders as a crew would have them; exactly, and with patience."""
    exact = replace(stage, exact=True)
    if stage.offing is None:
        best = _cut_anew(stage, best)
    made = _as_steered(exact, best)
    if made is None:
        return None
    return _with_true_pauses(exact, _held_a_watch(exact, _fewer_orders(exact, made)))


def _again(stage: Stage, best: Boards, helms: Sequence[Helm]) -> Boards | None:
    """Polish orders that differ little, with the pauses that they had."""
    pauses = best.pauses_h
    if len(helms) != len(best.helms):
        pauses = _pauses_carried(best, helms)
    made = polish(
        stage.waters, helms, stage.start, pauses, offing=stage.offing, corridor=stage.corridor,
        step_h=stage.step_h, rounds=MANY_ROUNDS, shortest_h=stage.shortest_h, exact=stage.exact,
        guess=best.states, windows=best.polished.windows,
    )  # fmt: skip
    return None if made is None else Boards(made.helms, pauses, made.states, made)


def _pauses_carried(best: Boards, helms: Sequence[Helm]) -> tuple[float, ...]:
    """Give the pause before each board to the first of its orders."""
    before: list[float] = [0.0] * best.count
    for number, pause in zip(board_numbers(best.helms).tolist(), best.pauses_h, strict=True):
        before[number] += pause
    numbers = board_numbers(helms).tolist()
    return tuple(
        before[number] if k == 0 or numbers[k - 1] != number else 0.0
        for k, number in enumerate(numbers)
    )


def _cut_anew(stage: Stage, best: Boards) -> Boards:
    """Give boards an order a watch, and more where the wind moves far within one."""
    helms: list[Helm] = []
    begin = stage.start_h
    pauses = iter(_pauses_carried(best, [board[0] for board in _boards_of(best.helms)]))
    for board in _boards_of(best.helms):
        begin += next(pauses)
        hours = sum(helm.hours for helm in board)
        helms += _recut(board, _edges(stage, best.states, begin, hours))
        begin += hours
    if [round(h.hours, 6) for h in helms] == [round(h.hours, 6) for h in best.helms]:
        return best
    made = _again(stage, best, helms)
    return best if made is None or made.elapsed_h > best.elapsed_h else made


def _edges(stage: Stage, states: States, begin: float, hours: float) -> Array:
    """Shares of a board's length at which its orders end, the last one 1."""
    # A board may yet become a little shorter.
    count = max(1, int(hours / (ROOM * stage.watch_h)))
    times = np.linspace(0.0, hours, LOOKS * count + 1)
    airs = stage.waters.airs(
        begin + times,
        np.interp(begin + times, states.time_h, states.lat),
        np.interp(begin + times, states.time_h, states.lon),
    )
    turned = np.abs(np.diff(np.unwrap(np.nan_to_num(airs.twd_deg), period=360.0)))
    moved = np.concatenate(([0.0], np.cumsum(turned)))
    edges, last = [], 0
    for at in range(1, len(times)):
        held = float(times[at] - times[last])
        shifted = float(moved[at] - moved[last]) >= MOVED_DEG and held >= SOONEST_H
        if (shifted or at - last >= LOOKS) and hours - times[at] >= SOONEST_H:
            edges.append(float(times[at]) / hours)
            last = at
    strokes = [(at - begin) / hours for at in stage.waters.strokes_h if begin < at < begin + hours]
    return np.array([*_with_strokes(edges, strokes, SOONEST_H / hours), 1.0])


def _with_strokes(edges: list[float], strokes: list[float], near: float) -> list[float]:
    """Put an edge where the weather shifts at a stroke, in place of those about it."""
    kept = [edge for edge in edges if all(abs(edge - at) > near for at in strokes)]
    return sorted(kept + strokes)


def _recut(board: Sequence[Helm], edges: Array) -> list[Helm]:
    """Cut a board into other orders, each with the mean of the controls that it takes over."""
    hours = np.array([helm.hours for helm in board])
    total = float(hours.sum())
    known = np.concatenate(([0.0], np.cumsum(hours)))
    controls = np.array([helm.control_deg for helm in board])
    if board[0].steer == "heading":
        controls = np.degrees(np.unwrap(np.radians(controls)))
    summed = np.concatenate(([0.0], np.cumsum(controls * hours)))
    ends = np.concatenate(([0.0], edges)) * total
    means = np.diff(np.interp(ends, known, summed)) / np.diff(ends)
    return [
        replace(board[0], control_deg=float(control), hours=float(length))
        for control, length in zip(means, np.diff(ends), strict=True)
    ]


def _as_steered(stage: Stage, best: Boards) -> Boards | None:
    """Let headings be held where that costs next to nothing, angles to the wind elsewhere."""
    by_angle = _again(stage, best, best.helms)
    if by_angle is None:
        return None
    wanted = [_steering(stage, helm) for helm in by_angle.helms]
    for spare in (0.0, SPARE_DEG):
        helms = _steered(stage, by_angle, wanted, spare)
        if helms == by_angle.helms:
            break
        made = _again(stage, by_angle, helms)
        if made is not None and not _astray(stage, made).any():
            slower = made.elapsed_h > by_angle.elapsed_h * (1.0 + HEADINGS_COST)
            return by_angle if slower else made
    return by_angle


def _steering(stage: Stage, helm: Helm) -> Steer:
    mode = stage.waters.modes[helm.mode]
    if mode.engine:
        return "heading"
    low, high = limits_deg(stage.waters, mode.sail_set)
    best = stage.outlook.best_rows[mode.sail_set]
    apart = np.abs(np.concatenate((best, [low, high])) - helm.control_deg)
    close = bool(np.min(apart) < STEADY_ANGLE_DEG)
    return "angle" if mode.poled or close else "heading"


def _steered(
    stage: Stage, boards: Boards, wanted: Sequence[Steer], spare_deg: float
) -> tuple[Helm, ...]:
    """Orders by angle put as headings where these are wanted and nothing else happens then.

    The heading is the mean over each order; the wind on the bow keeps so far from the edges
    of the table and the sector all along it.
    """
    orders = boards.polished.course
    airs = orders.waters.airs(*_timed(boards.states))
    twd = np.unwrap(np.nan_to_num(airs.twd_deg), period=360.0)
    last = np.append(orders.first[1:], len(orders.order))
    helms = []
    for k, (helm, steer) in enumerate(zip(boards.helms, wanted, strict=True)):
        mine = twd[orders.first[k] : last[k] + 1]
        mode = stage.waters.modes[helm.mode]
        low, high = limits_deg(stage.waters, mode.sail_set)
        bows = helm.control_deg + mode.side * (float(mine.mean()) - mine)
        kept = bool(bows.min() > low + spare_deg and bows.max() < high - spare_deg)
        if steer == helm.steer or not kept:
            helms.append(helm)
            continue
        heading = float(mine.mean()) + mode.side * helm.control_deg
        helms.append(replace(helm, steer=steer, control_deg=heading))
    return tuple(helms)


def _timed(states: States) -> tuple[Array, Array, Array]:
    return states.time_h, states.lat, states.lon


def _astray(stage: Stage, boards: Boards) -> Array:
    """Which headings would bring her out of the table or the sector, or by the lee; shape (k,)."""
    course = boards.polished.course
    bows = course.bows_deg(boards.states)
    astray = np.zeros(len(boards.helms), dtype=bool)
    for k, helm in enumerate(boards.helms):
        mode = stage.waters.modes[helm.mode]
        if helm.steer == "angle" or mode.engine:
            continue
        low, high = limits_deg(stage.waters, mode.sail_set)
        high = 180.0 + BY_THE_LEE_DEG if high >= 180.0 else high
        mine = bows[:, course.order == k]
        astray[k] = bool((mine < low).any() or (mine > high).any())
    return astray


def _fewer_orders(stage: Stage, best: Boards) -> Boards:
    """Join orders where that costs next to nothing; the mark is closed again, the price known."""
    allowed = FEWER_ORDERS_H
    for _ in range(3):
        helms = _joined(stage, best, allowed)
        if len(helms) == len(best.helms):
            return best
        made = _again(stage, best, helms)
        fewer = len(best.helms) - len(helms)
        budget = min(2.0 * FEWER_ORDERS_H * fewer, ALL_FEWER_ORDERS * best.elapsed_h)
        cheap = made is not None and made.elapsed_h < best.elapsed_h + budget
        if made is not None and cheap and not _astray(stage, made).any():
            return made
        allowed /= 6.0
    return best


def _held_a_watch(stage: Stage, best: Boards) -> Boards:
    """Join an order that ends within the watch, though the wind hasn't moved, with the next.

    Orders are cut before the last look of the optimiser, which moves their ends and the
    wind that they meet.
    """
    after = 0
    for _ in range(len(best.helms)):
        at = None if stage.offing is not None else _too_soon(stage, best, after)
        if at is None:
            break
        one, other = best.helms[at : at + 2]
        both = replace(other, hours=one.hours + other.hours)
        if one.steer == other.steer:
            both = _both(_Held(one, one.hours), _Held(other, other.hours)).helm
        helms = (*best.helms[:at], both, *best.helms[at + 2 :])
        made = _again(stage, best, helms)
        if made is None or _astray(stage, made).any():
            after = at + 1
        else:
            best = made
    return best


def shortest_board_h(boards: Boards) -> float:
    """Hours of the shortest of several boards; of a single one, which may be short, no end."""
    return float(_board_hours(boards.helms).min()) if boards.count > 1 else np.inf


def breaks_the_watch(stage: Stage, boards: Boards) -> bool:
    """Whether an order is followed sooner than a watch, though the wind hasn't moved."""
    almost = replace(stage, watch_h=0.99 * stage.watch_h)
    return _too_soon(almost, boards, 0) is not None


def _too_soon(stage: Stage, best: Boards, after: int) -> int | None:
    """The first order, from one on, that another of its board follows sooner than a watch."""
    orders = best.polished.course
    twd = np.unwrap(np.nan_to_num(stage.waters.airs(*_timed(best.states)).twd_deg), period=360.0)
    last = np.append(orders.first[1:], len(orders.order))
    for k, (helm, following) in enumerate(pairwise(best.helms)):
        moved = float(np.abs(np.diff(twd[orders.first[k] : last[k] + 1])).sum())
        soon = helm.mode == following.mode and helm.hours < stage.watch_h
        end_h = best.states.time_h[last[k]]
        shifts = any(abs(end_h - at) < A_MINUTE_H for at in stage.waters.strokes_h)
        if k >= after and soon and moved < STAYED_DEG and not shifts:
            return k
    return None


def _joined(stage: Stage, best: Boards, allowed_h: float) -> tuple[Helm, ...]:
    """Join neighbouring orders of a board, the cheapest first, by their own curvature.

    Two controls u and v whose curvatures are a and b cost, if both become their mean,
    ½·ab/(a + b)·(u − v)².
    """
    if stage.offing is not None or best.polished.bent is None:
        return best.helms
    bent = np.maximum(best.polished.bent, 1e-9).tolist()
    parts = [_Held(helm, b) for helm, b in zip(best.helms, bent, strict=True)]
    spent = 0.0
    while len(parts) > 1:
        prices = [_price_h(a, b) for a, b in pairwise(parts)]
        at = int(np.argmin(prices))
        spent += prices[at]
        if prices[at] > allowed_h or spent > 0.5 * ALL_FEWER_ORDERS * best.elapsed_h:
            break
        parts[at : at + 2] = [_both(parts[at], parts[at + 1])]
    return tuple(part.helm for part in parts)


class _Held(NamedTuple):
    """An order, and how its control's square costs. [h/°²]."""

    helm: Helm
    bent: float


def _price_h(one: _Held, other: _Held) -> float:
    """What it costs to hold one control in place of two; never, under other sails. [h]."""
    if one.helm.mode != other.helm.mode or one.helm.steer != other.helm.steer:
        return np.inf
    together = one.bent * other.bent / (one.bent + other.bent)
    return 0.5 * together * _apart_deg(one.helm, other.helm) ** 2


def _apart_deg(one: Helm, other: Helm) -> float:
    apart = other.control_deg - one.control_deg
    return apart if one.steer == "angle" else float(geodesy.wrap_180(apart))


def _both(one: _Held, other: _Held) -> _Held:
    bent = one.bent + other.bent
    control = one.helm.control_deg + other.bent / bent * _apart_deg(one.helm, other.helm)
    hours = one.helm.hours + other.helm.hours
    return _Held(replace(one.helm, control_deg=control, hours=hours), bent)


def _with_true_pauses(stage: Stage, best: Boards) -> Boards:
    """Put right what the manoeuvres cost by the angles at which they are made."""
    for _ in range(ROUNDS_OF_PAUSES):
        pauses = _pauses_sailed_h(stage, best)
        if np.allclose(pauses, best.pauses_h, rtol=0.0, atol=1e-6):
            break
        made = _again(stage, replace(best, pauses_h=pauses), best.helms)
        if made is None:
            break
        best = made
    return best


def _pauses_sailed_h(stage: Stage, best: Boards) -> tuple[float, ...]:
    """What the manoeuvres before each order do cost, by the angles where they are done."""
    course = best.polished.course
    bows = np.abs(course.bows_deg(best.states))
    last = np.append(course.first[1:], len(course.order)) - 1
    boat, modes = stage.waters.boat, stage.waters.modes
    before, twa_before = stage.before.mode, stage.before.twa_deg
    pauses = []
    for k, helm in enumerate(best.helms):
        mode = modes[helm.mode]
        tacking = manoeuvres.is_tacked(boat, twa_before + float(bows[0, course.first[k]]))
        kinds = () if before is None else manoeuvres.steps(before, mode, tacking=tacking)
        pauses.append(sum(manoeuvres.step_cost_s(boat, kind) for kind in kinds) / 3600.0)
        before, twa_before = mode, float(bows[1, last[k]])
    return tuple(pauses)
