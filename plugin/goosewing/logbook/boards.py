"""A log cut into boards and manoeuvres, with how she went at every second.

The wind's direction is that of some minutes, not of a second: in a turn the vane tells nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal, cast

import numpy as np
from numpy.typing import NDArray

from goosewing.boat.model import Boat
from goosewing.logbook.fit import Read
from goosewing.logbook.samples import Log, turned
from goosewing.logbook.stretches import GAP_S, true_heading, wind_side
from goosewing.logbook.vane import fading
from goosewing.units import Array, BoolArray
from goosewing.velocities.targets import Target, WindTargets, targets
from goosewing.weather.wind import true_from_apparent

SWING_S, WIND_S = 15.0, 180.0
"""Over which the vane's swinging and the wind's direction are averaged. [s]"""

SHORTEST_BOARD_S = 60.0
"""A shorter spell on the other side is no board."""

SHORTEST_MODE_S = 240.0
"""A shorter spell on another point of sail is none."""

LEAST_RUN_DEG = 120.0
"""A best angle downwind closer than this is a table's edge."""

STILL_BEATING_DEG, STILL_RUNNING_DEG = 15.0, 15.0
"""So far off the best angle she is still beating, or running; our choice."""

BEFORE_S, AFTER_S = 20.0, 100.0
"""About a turn, in which its cost arises."""

Point = Literal["upwind", "reach", "downwind"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seconds:
    """How she went, at every reading; arrays of shape (n,).

    Attributes
    ----------
    time_s : [s]
    lat, lon : NaN where not logged. [°]
    stw_kn : put right. [kn]
    twa_deg : from the bow, 0 to 180; of a quarter of a minute. [°]
    tws_kn, twd_deg : of the same; of three minutes. [kn, ° true]
    leeway_deg, track_deg : to leeward; water track. [°]
    side : 1 with the wind from starboard, -1 from port, 0 before it is known.
    engine : whether she is under engine.
    step_s : how long each reading stands for. [s]
    """

    time_s: Array
    lat: Array
    lon: Array
    stw_kn: Array
    twa_deg: Array
    tws_kn: Array
    twd_deg: Array
    leeway_deg: Array
    track_deg: Array
    side: Array
    engine: BoolArray
    step_s: Array

    def between(self, at: int, from_s: float, to_s: float) -> slice:
        """Return the readings from one time about that of a reading to another."""
        edges = self.time_s[at] + np.array([from_s, to_s])
        first, end = np.searchsorted(self.time_s, edges)
        return slice(int(first), int(end))

    @property
    def upwind_kn(self) -> Array:
        """Speed made good towards the wind, negative away from it."""
        return np.asarray(self.stw_kn * np.cos(np.radians(self.track_deg - self.twd_deg)))


@dataclass(frozen=True, slots=True)
class Turn:
    """A tack or gybe: where it is among the readings, and what it is."""

    at: int
    kind: Literal["tack", "gybe"]


@dataclass(frozen=True, slots=True)
class Span:
    """A board: its readings, from `first` up to but not `end`."""

    first: int
    end: int
    tack: Literal["port", "starboard"]
    point: Point

    @property
    def slice(self) -> slice:
        """Its readings."""
        return slice(self.first, self.end)


def seconds(log: Log, read: Read, variation_deg: float | None = None) -> Seconds:
    """Work out how she went at every reading, her sensors put right.

    Parameters
    ----------
    log : Log
    read : Read
        The same log's stretches, sensors' errors and engine hours.
    variation_deg : float, optional
        Of a magnetic compass, where the log has none. [°]
    """
    moved, time_s = read.motion, log.time_s
    stw = log.get("stw_kn") if log.has("stw_kn") else log.get("sog_kn")
    stw = _mean(stw * moved.log_factor.value, time_s, 3.0)
    heading = moved.heading(true_heading(log, variation_deg))
    signed, aws = _wind(log, read)
    angle = _mean_angle(signed, time_s, SWING_S)
    if read.heel_logged:
        heel = np.abs(_mean(np.nan_to_num(log.get("heel_deg")), time_s, SWING_S))
    else:
        heel = read.every.heel_deg[_stretch_of(time_s, read)]
    leeway = np.minimum(moved.leeway.value * heel / np.maximum(stw, 1.0) ** 2, 20.0)
    if log.has("awa_deg", "aws_kn"):
        told = true_from_apparent(np.abs(angle), _mean(aws, time_s, SWING_S), stw, leeway)
        twa, tws = np.asarray(told.twa_deg), np.asarray(told.tws_kn)
    else:
        twa, tws = np.abs(angle), _mean(log.get("tws_kn"), time_s, SWING_S)
    side = wind_side(signed, time_s)
    facing = np.where(angle >= 0.0, 1.0, -1.0)
    blows = _mean_angle(turned(heading + facing * twa), time_s, WIND_S)
    track = heading - np.where(side == 0.0, facing, side) * leeway
    steps = np.diff(time_s, append=time_s[-1:] + 1.0)
    typical = float(np.median(steps))
    return Seconds(
        time_s=time_s,
        lat=log.get("lat"),
        lon=log.get("lon"),
        stw_kn=stw,
        twa_deg=twa,
        tws_kn=tws,
        twd_deg=np.mod(blows, 360.0),
        leeway_deg=leeway,
        track_deg=np.mod(track, 360.0),
        side=side,
        engine=_engine(time_s, read),
        step_s=np.where(steps > max(GAP_S, 3.0 * typical), typical, steps),
    )


def _wind(log: Log, read: Read) -> tuple[Array, Array]:
    """Signed angle on the bow, put right, and apparent wind speed."""
    if not log.has("awa_deg", "aws_kn"):
        if log.has("twa_deg"):
            return log.get("twa_deg"), log.get("tws_kn")
        return turned(log.get("twd_deg") - true_heading(log)), log.get("tws_kn")
    vane = read.vane
    own = turned(log.get("awa_deg") - vane.offset_deg.value)
    wide = np.sign(own) * vane.upwash_deg.value * fading(own)
    return own - wide, log.get("aws_kn")


def _engine(time_s: Array, read: Read) -> BoolArray:
    return np.asarray(read.every.engine[_stretch_of(time_s, read)])


def _stretch_of(time_s: Array, read: Read) -> NDArray[np.intp]:
    """Which stretch each reading lies in."""
    at = np.searchsorted(read.every.begin_s, time_s, side="right") - 1
    return np.asarray(np.clip(at, 0, len(read.every) - 1))


def _width(time_s: Array, span_s: float) -> int:
    step = float(np.median(np.diff(time_s))) if time_s.size > 1 else 1.0
    return max(1, round(span_s / max(step, 1.0)))


def _mean(values: Array, time_s: Array, span_s: float) -> Array:
    """A running mean over a span; what is unknown is passed over."""
    known = np.isfinite(values)
    kernel = np.ones(_width(time_s, span_s))
    total = _convolved(np.where(known, values, 0.0), kernel)
    count = _convolved(known.astype(np.float64), kernel)
    return np.asarray(np.where(count > 0.0, total / np.maximum(count, 1.0), np.nan))


def _mean_angle(angle_deg: Array, time_s: Array, span_s: float) -> Array:
    radians = np.radians(angle_deg)
    across = _mean(np.sin(radians), time_s, span_s)
    return np.degrees(np.arctan2(across, _mean(np.cos(radians), time_s, span_s)))


def _convolved(values: Array, kernel: Array) -> Array:
    # A running sum: as long a log as you like takes no longer for a wider window.
    width = min(kernel.size, values.size)
    padded = np.concatenate(([0.0], np.cumsum(values)))
    centre = np.arange(values.size)
    high = np.minimum(centre + (width + 1) // 2, values.size)
    low = np.maximum(centre - width // 2, 0)
    return padded[high] - padded[low]


# ---- best angles ---------------------------------------------------------------------------------


class Best:
    """A boat's targets for every wind, worked out when first asked for.

    Examples
    --------
    A wind for which no sail set may be carried has none: `at` gives None.
    """

    def __init__(self, boat: Boat) -> None:
        self.boat = boat
        self._known: dict[float, WindTargets] = {}

    def targets(self, tws_kn: float) -> WindTargets:
        """Return the targets of the nearest half knot."""
        strongest = max(sails.strongest_tws_kn for sails in self.boat.sail_sets)
        wind = float(np.clip(round(2.0 * tws_kn) / 2.0, 1.0, strongest))
        if wind not in self._known:
            self._known[wind] = targets(self.boat, [wind], step_deg=0.25).wind_speeds[0]
        return self._known[wind]

    def angles(self, tws_kn: float) -> tuple[float, float]:
        """Return the best angles up and down the wind, from the bow, in degrees."""
        found = self.targets(tws_kn)
        up = max(found.upwind, key=lambda each: each.vmg_kn, default=None)
        down = [each.twa_deg for each in found.downwind if each.twa_deg > LEAST_RUN_DEG]
        # A boat that runs best under a pole still gybes from reach to reach without it.
        return (45.0 if up is None else up.twa_deg, min(down, default=150.0))

    def target(self, tws_kn: float, point: Point, sail_set: str) -> Target | None:
        """Return the best up or down the wind under these sails; under any, if they have none."""
        if point == "reach":
            return None
        told = self.targets(tws_kn)
        found = told.upwind if point == "upwind" else told.downwind
        own = [each for each in found if each.sail_set == sail_set]
        return max(own or found, key=lambda each: each.vmg_kn, default=None)


# ---- cutting -------------------------------------------------------------------------------------


def turns(went: Seconds) -> list[Turn]:
    """Find tacks and gybes: the wind comes over to the other side and stays there."""
    side = _settled(went)
    change = np.flatnonzero((side[1:] != side[:-1]) & (side[1:] != 0.0) & (side[:-1] != 0.0)) + 1
    gap = np.diff(went.time_s) > LONGEST_GAP_S
    found = []
    for at in change.tolist():
        if gap[max(at - 2, 0) : at + 1].any() or went.engine[at]:
            continue
        before = went.twa_deg[went.between(at, -AFTER_S, -BEFORE_S)]
        after = went.twa_deg[went.between(at, BEFORE_S, AFTER_S)]
        if np.isfinite(before).any() and np.isfinite(after).any():
            both = float(np.nanmedian(before) + np.nanmedian(after))
            found.append(Turn(at, "tack" if both < 180.0 else "gybe"))
    return found


LONGEST_GAP_S = 60.0


def _settled(went: Seconds) -> Array:
    """The side at each reading, short spells on the other one passed over."""
    side = went.side.copy()
    edges = np.flatnonzero(np.concatenate(([True], np.diff(side) != 0.0)))
    ends = np.append(edges[1:], side.size)
    for first, end in zip(edges.tolist(), ends.tolist(), strict=True):
        short = went.time_s[end - 1] - went.time_s[first] < SHORTEST_BOARD_S
        if short and first > 0 and end < side.size and went.side[end] == side[first - 1]:
            side[first:end] = side[first - 1]
    return side


def spans(went: Seconds, found: list[Turn], best: Best) -> list[Span]:
    """Cut what was sailed into boards: at turns, silences, the engine, and new points of sail."""
    side, point = _settled(went), _points(went, best)
    sailing = ~went.engine & (side != 0.0) & np.isfinite(went.twa_deg) & np.isfinite(went.stw_kn)
    silent = np.concatenate(([False], np.diff(went.time_s) > LONGEST_GAP_S))
    new = silent | np.concatenate(
        ([True], (np.diff(side) != 0.0) | (np.diff(point) != 0) | (np.diff(sailing) != 0))
    )
    edges = np.append(np.flatnonzero(new), went.time_s.size)
    names: tuple[Point, ...] = ("upwind", "reach", "downwind")
    boards = []
    for first, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        if sailing[first] and went.time_s[end - 1] - went.time_s[first] >= SHORTEST_BOARD_S:
            tack: Literal["port", "starboard"] = "starboard" if side[first] > 0.0 else "port"
            boards.append(Span(first, end, tack, names[int(point[first])]))
    return _meant(went, boards, found, best)


def _meant(went: Seconds, boards: list[Span], found: list[Turn], best: Best) -> list[Span]:
    """Take boards between tacks for beating and between gybes for running, freer or higher too.

    Of reaches only those that turn into each other twice or more, or that a tack on a beat
    begins: one gybe between two reaches rounds a mark.
    """
    meant = list(boards)
    for kind, point, sign in (("tack", "upwind", 1.0), ("gybe", "downwind", -1.0)):
        turned = [_turned_into(went, found, boards, n, kind) for n in range(len(boards))]
        for number, board in enumerate(boards):
            if board.point != "reach":
                continue
            twa, tws = (float(np.nanmedian(e[board.slice])) for e in (went.twa_deg, went.tws_kn))
            up, down = best.angles(tws)
            off = sign * (twa - (up if kind == "tack" else down))
            next_turned = turned[number + 1] if number + 1 < len(boards) else False
            from_it = turned[number] and boards[number - 1].point == point
            twice = _run_length(turned, number) >= TURNS_TO_MEAN_IT
            if off < MEANT_DEG and (from_it or (twice and (turned[number] or next_turned))):
                meant[number] = replace(board, point=cast("Point", point))
    return meant


MEANT_DEG, TURNS_TO_MEAN_IT = 28.0, 2
"""So far off the best angle a board may be and still belong to a beat or a run; our choice."""


def _turned_into(
    went: Seconds, found: list[Turn], boards: list[Span], number: int, kind: str
) -> bool:
    """Whether a board begins by such a turn out of the one before."""
    if not number:
        return False
    edge = boards[number - 1].end, boards[number].first
    beside = any(turn.kind == kind and edge[0] - 30 <= turn.at <= edge[1] + 30 for turn in found)
    pause = went.time_s[edge[1]] - went.time_s[edge[0] - 1]
    return bool(beside and pause < 2.0 * LONGEST_GAP_S)


def _run_length(turned: list[bool], number: int) -> int:
    """How many turns after another a board is part of."""
    first = number
    while first > 0 and turned[first]:
        first -= 1
    last = number
    while last + 1 < len(turned) and turned[last + 1]:
        last += 1
    return last - first


def _points(went: Seconds, best: Best) -> NDArray[np.intp]:
    """Upwind 0, reach 1, downwind 2, at each reading; short spells passed over."""
    wind = np.nan_to_num(_mean(went.tws_kn, went.time_s, WIND_S), nan=10.0)
    angle = _mean(went.twa_deg, went.time_s, 60.0)
    whole = np.round(wind)
    up, down = np.full(wind.shape, 45.0), np.full(wind.shape, 150.0)
    for each in np.unique(whole):
        up[whole == each], down[whole == each] = best.angles(float(each))
    point = np.ones(wind.size, dtype=np.intp)
    point[angle < up + STILL_BEATING_DEG] = 0
    point[angle > np.minimum(down - STILL_RUNNING_DEG, 165.0)] = 2
    # On each side for itself: what follows a turn doesn't belong to what was before it.
    side = _settled(went)
    begins = np.flatnonzero(np.concatenate(([True], np.diff(side) != 0.0)))
    for first, end in zip(begins, np.append(begins[1:], side.size), strict=True):
        point[first:end] = _without_short(point[first:end], went.time_s[first:end])
    return point


def _without_short(point: NDArray[np.intp], time_s: Array) -> NDArray[np.intp]:
    """Give short spells, the shortest first, to the longer of their neighbours."""
    edges = np.flatnonzero(np.concatenate(([True], np.diff(point) != 0))).tolist()
    values = point[edges].tolist()
    ends = [*edges[1:], point.size]
    lasts = [float(time_s[end - 1] - time_s[begin]) for begin, end in zip(edges, ends, strict=True)]
    while len(values) > 1 and min(lasts) < SHORTEST_MODE_S:
        at = int(np.argmin(lasts))
        left = lasts[at - 1] if at else -1.0
        right = lasts[at + 1] if at + 1 < len(lasts) else -1.0
        values[at] = values[at - 1] if left > right else values[at + 1]
        edges, values, lasts = _merged(edges, values, lasts)
    spread = np.diff([*edges, point.size])
    return np.repeat(np.array(values, dtype=np.intp), spread)


def _merged(
    edges: list[int], values: list[int], lasts: list[float]
) -> tuple[list[int], list[int], list[float]]:
    """Put neighbours of one value together."""
    starts: list[int] = []
    kinds: list[int] = []
    lengths: list[float] = []
    for edge, value, last in zip(edges, values, lasts, strict=True):
        if kinds and kinds[-1] == value:
            lengths[-1] += last
            continue
        starts.append(edge)
        kinds.append(value)
        lengths.append(last)
    return starts, kinds, lengths


def chains(boards: list[Span], went: Seconds) -> Iterator[list[int]]:
    """Group boards into beats and runs: one point of sail, one after another."""
    chain: list[int] = []
    for number, board in enumerate(boards):
        if chain:
            last = boards[chain[-1]]
            pause = went.time_s[board.first] - went.time_s[last.end - 1]
            motored = bool(went.engine[last.end - 1 : board.first + 1].any())
            if board.point != last.point or pause > 2.0 * LONGEST_GAP_S or motored:
                yield chain
                chain = []
        chain.append(number)
    if chain:
        yield chain
