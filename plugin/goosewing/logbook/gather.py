"""From what many devices say to one log: seconds averaged, one device chosen, faults left out.

What comes in is reduced to a mean for each second at once, so that ten million sentences
are never held. One device is chosen for each channel; where others say something else, it
is said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from goosewing.errors import InputError
from goosewing.logbook.samples import CHANNELS, Log, turned
from goosewing.units import AnyArray, Array, BoolArray

HOLD_S = 3.0
"""A reading holds so long, or two and a half times its sensor's own interval."""

LONGEST_HOLD_S = 15.0

ENOUGH_TO_JUDGE = 50
"""Readings that tell one device from two under one name."""

FROZEN_S = 120.0
"""A reading that never changes for so long, while the boat turns, is a sensor that stands still."""

LATEST_S = 4.2e9

SECONDS = np.uint32
"""Seconds since 1970 in four bytes, to the year 2106: they are the bulk of what is held."""

TURNED_DEG = 45.0

RESTLESS = {"heading_deg": 0.3, "heading_magnetic_deg": 0.3, "cog_deg": 1.0, "aws_kn": 0.1}
"""Where these waver by so much from second to second, nothing on board holds still."""

STUCK_S = 60.0
"""A log that shows nothing so long while she makes way has its wheel stuck."""

MAKES_WAY_KN, STEERAGE_KN = 2.0, 1.0

WORTH_A_WORD_S = 60.0
"""Faults shorter than this are mended without a word."""


@dataclass(slots=True)
class _Series:
    """One channel by one device."""

    seconds: list[AnyArray] = field(default_factory=list)
    values: list[AnyArray] = field(default_factory=list)
    alternating: float = 0.0
    judged: float = 0.0
    backward: int = 0
    last_s: float = -np.inf

    def whole(self, turns: bool) -> tuple[AnyArray, AnyArray]:
        """Seconds ascending, each once, and the values."""
        seconds, values = np.concatenate(self.seconds), np.concatenate(self.values)
        self.seconds, self.values = [], []
        return _by_second(seconds, values, turns)


class Gathering:
    """What was read so far."""

    def __init__(self) -> None:
        self._series: dict[tuple[str, str], _Series] = {}
        self.notices: list[str] = []
        self.dated = True

    def add(self, channel: str, source: str, time_s: Array, values: AnyArray) -> None:
        """Take readings of one channel by one device, in the order in which they were said."""
        known = np.isfinite(values) & (time_s >= 0.0) & (time_s < LATEST_S)
        time_s, values = time_s[known], values[known]
        if not time_s.size:
            return
        series = self._series.setdefault((channel, source), _Series())
        series.backward += int(np.count_nonzero(np.diff(time_s) < -1.0))
        series.backward += int(time_s[0] < series.last_s - 1.0)
        series.last_s = float(time_s[-1])
        turns = CHANNELS[channel].turns
        _judge(series, channel, time_s, values)
        seconds, means = _by_second(np.floor(time_s).astype(SECONDS), values, turns)
        exact = channel in ("lat", "lon")
        series.seconds.append(seconds)
        series.values.append(means if exact else means.astype(np.float32))

    def log(self, names: Sequence[str]) -> Log:
        """Put the log together.

        Raises
        ------
        InputError
            If nothing was read.
        """
        if not self._series:
            raise InputError(
                "holds no reading of a boat's sensors with its time", where=", ".join(names)
            )
        chosen: dict[str, tuple[str, AnyArray, AnyArray]] = {}
        backward = max(series.backward for series in self._series.values())
        for channel in CHANNELS:
            best = self._best(channel)
            if best is not None:
                chosen[channel] = best
        if not chosen:
            raise InputError(" ".join(self.notices), where=", ".join(names))
        if backward:
            self.notices.append(
                f"Its time runs backwards {backward} times: what was logged twice is taken once."
            )
        _check_hours_meet(chosen, names)
        clock = _union([seconds for _, seconds, _ in chosen.values()])
        sources = {channel: source for channel, (source, _, _) in chosen.items()}
        # One at a time, and each let go: a summer's log is held once, not twice.
        channels = {name: _on_clock(name, clock, *chosen.pop(name)[1:]) for name in list(chosen)}
        log = Log(
            time_s=clock.astype(np.float64),
            channels=channels,
            sources=sources,
            names=tuple(names),
            notices=tuple(self.notices),
            dated=self.dated,
        )
        return without_frozen(log)

    def _best(self, channel: str) -> tuple[str, AnyArray, AnyArray] | None:
        """The device heard most often, its seconds and values; what others say is compared."""
        kind = CHANNELS[channel]
        heard = {
            source: self._series.pop((name, source))
            for name, source in list(self._series)
            if name == channel
        }
        found: list[tuple[str, AnyArray, AnyArray]] = []
        for source, series in heard.items():
            if series.judged and series.alternating > 0.5 * series.judged:
                self.notices.append(
                    f"Two devices say the {kind.what} under one name, {source}, and differ: "
                    "it is left out."
                )
                continue
            found.append((source, *series.whole(kind.turns)))
        if not found:
            return None
        found.sort(key=lambda each: -each[1].size)
        for source, seconds, values in found[1:]:
            apart = _apart(found[0][1:], (seconds, values), kind.turns)
            if apart > kind.alike:
                self.notices.append(
                    f"Two devices say the {kind.what}, {found[0][0]} and {source}, "
                    f"{apart:.3g}{kind.unit if kind.unit == '°' else f' {kind.unit}'} apart: "
                    f"{found[0][0]}, heard more often, is taken."
                )
        return found[0]


def _check_hours_meet(
    chosen: Mapping[str, tuple[str, AnyArray, AnyArray]], names: Sequence[str]
) -> None:
    """Refuse files that were never logged at the same time: one of them has another clock."""
    wind = [chosen[name][1] for name in ("awa_deg", "twa_deg", "twd_deg") if name in chosen]
    moves = [chosen[name][1] for name in ("stw_kn", "sog_kn") if name in chosen]
    if not wind or not moves:
        return
    first, last = max(w[0] for w in wind), min(w[-1] for w in wind)
    if any(first <= each[-1] and last >= each[0] for each in moves):
        return
    apart_h = (int(first) - int(moves[0][0])) / 3600.0
    raise InputError(
        f"the wind and the boat's speed were never logged at the same time ({apart_h:+.1f} h "
        "apart): is one of them in local time?",
        where=", ".join(names),
    )


def _by_second(seconds: AnyArray, values: AnyArray, turns: bool) -> tuple[AnyArray, AnyArray]:
    """Average what was said within each second; angles about the first of them."""
    if seconds.size > 1 and np.any(seconds[1:] < seconds[:-1]):
        order = np.argsort(seconds, kind="stable")
        seconds, values = seconds[order], values[order]
    first = np.flatnonzero(np.concatenate(([True], seconds[1:] != seconds[:-1])))
    if first.size == seconds.size:
        return seconds, values
    count = np.diff(np.append(first, seconds.size))
    begin = values[first]
    apart = values - np.repeat(begin, count)
    mean = begin + np.add.reduceat(turned(apart) if turns else apart, first) / count
    return seconds[first], mean


def _judge(series: _Series, channel: str, time_s: Array, values: AnyArray) -> None:
    """Note whether neighbours differ as two devices that speak in turn would make them."""
    close = np.flatnonzero((np.diff(time_s[1:]) < 1.5) & (np.diff(time_s[:-1]) < 1.5))
    if close.size < ENOUGH_TO_JUDGE:
        return
    some = close[:: max(1, close.size // 2000)]
    one, two = values[some + 2] - values[some + 1], values[some + 2] - values[some]
    if CHANNELS[channel].turns:
        one, two = turned(one), turned(two)
    series.judged += 1.0
    next_but_one = float(np.median(np.abs(two)))
    alternate = float(np.median(np.abs(one))) > 3.0 * next_but_one + CHANNELS[channel].alike
    series.alternating += float(alternate)


def _apart(
    first: tuple[AnyArray, AnyArray], other: tuple[AnyArray, AnyArray], turns: bool
) -> float:
    """Median difference where both speak within the same second; 0 where they never do."""
    _, at, there = np.intersect1d(first[0], other[0], assume_unique=True, return_indices=True)
    if at.size < ENOUGH_TO_JUDGE:
        return 0.0
    apart = np.asarray(first[1][at], dtype=np.float64) - other[1][there]
    return float(np.median(np.abs(turned(apart) if turns else apart)))


def _union(series: Sequence[AnyArray]) -> AnyArray:
    clock = series[0]
    for seconds in series[1:]:
        clock = clock if np.array_equal(clock, seconds) else np.union1d(clock, seconds)
    return clock


def _on_clock(name: str, clock: AnyArray, seconds: AnyArray, values: AnyArray) -> AnyArray:
    step = float(np.median(np.diff(seconds[:100_000]))) if seconds.size > 1 else 1.0
    if name in SLOW and LONGEST_HOLD_S / 2.5 < step <= SLOWEST_S:
        return _between(clock, seconds, values, step, CHANNELS[name].turns)
    return _held(clock, seconds, values)


SLOW, SLOWEST_S = ("twd_deg", "tws_kn"), 10800.0
"""A wind over the ground may be a station's or a forecast's: told every quarter of an hour, say."""


def _between(
    clock: AnyArray, seconds: AnyArray, values: AnyArray, step: float, turns: bool
) -> AnyArray:
    """Draw what is told now and then between its readings, but not across a gap."""
    whole = values.astype(np.float64)
    smooth = np.unwrap(whole, period=360.0) if turns else whole
    drawn = np.interp(clock, seconds, smooth, left=np.nan, right=np.nan)
    after = np.clip(np.searchsorted(seconds, clock), 1, seconds.size - 1)
    gap = seconds[after].astype(np.float64) - seconds[after - 1] > 1.6 * step
    drawn[gap] = np.nan
    return np.mod(drawn, 360.0) if turns else drawn


def _held(clock: AnyArray, seconds: AnyArray, values: AnyArray) -> AnyArray:
    """Carry each reading on over the clock's next seconds."""
    if seconds.size == clock.size:
        return values
    step = float(np.median(np.diff(seconds[:100_000]))) if seconds.size > 1 else 1.0
    hold = min(max(HOLD_S, 2.5 * step), LONGEST_HOLD_S)
    at = np.searchsorted(seconds, clock, side="right") - 1
    early = at < 0
    at[early] = 0
    old = early | (clock - seconds[at] > hold)
    held = values[at]
    held[old] = np.nan
    return held


# ---- sensors that stand still --------------------------------------------------------------------


def without_frozen(log: Log) -> Log:
    """Leave out what a sensor says while it stands still and the boat does not."""
    channels, notices = dict(log.channels), list(log.notices)
    heading = next((n for n in ("heading_deg", "heading_magnetic_deg") if log.has(n)), None)
    for name in (heading, "awa_deg", "aws_kn", "stw_kn", "cog_deg"):
        if name is None or not log.has(name):
            continue
        other = "cog_deg" if name == heading else heading
        frozen = _frozen(log, name, other if other and log.has(other) else None)
        spent = _seconds_of(log.time_s, frozen)
        if not spent:
            continue
        channels[name] = np.where(frozen, np.asarray(np.nan, dtype=np.float32), channels[name])
        if spent >= WORTH_A_WORD_S:
            notices.append(
                f"The {CHANNELS[name].what} stands still for {spent / 60.0:.0f} min while she "
                "moves: left out there."
            )
    return Log(
        time_s=log.time_s,
        channels=channels,
        sources=log.sources,
        names=log.names,
        notices=tuple(notices),
        dated=log.dated,
    )


def _frozen(log: Log, name: str, turning: str | None) -> BoolArray:
    values = np.asarray(log.channels[name])
    first = np.flatnonzero(np.concatenate(([True], values[1:] != values[:-1])))
    last = np.append(first[1:], values.size) - 1
    lasted = log.time_s[last] - log.time_s[first]
    still = np.zeros(first.size, dtype=bool)
    for run in np.flatnonzero((lasted >= FROZEN_S) & np.isfinite(values[first])):
        there = slice(first[run], last[run] + 1)
        if turning is not None:
            still[run] = _turned_by(log, turning, there) > TURNED_DEG
        still[run] |= any(
            _restless(log.channels[other][there], CHANNELS[other].turns) > much
            for other, much in RESTLESS.items()
            if other != name and log.has(other)
        )
    if name == "stw_kn" and log.has("sog_kn"):
        way = np.nan_to_num(np.asarray(log.channels["sog_kn"]))
        for run in np.flatnonzero((lasted >= STUCK_S) & (values[first] == 0.0)):
            still[run] |= np.median(way[first[run] : last[run] + 1]) > MAKES_WAY_KN
    return np.repeat(still, last - first + 1)


def _turned_by(log: Log, turning: str, there: slice) -> float:
    """By how much she turned, but for a twentieth of the time at either end."""
    told = np.asarray(log.channels[turning][there], dtype=np.float64)
    if turning == "cog_deg" and log.has("sog_kn"):
        # A boat that lies still has no course, and its receiver says anything.
        told = told[np.asarray(log.channels["sog_kn"][there]) > STEERAGE_KN]
    told = told[np.isfinite(told)]
    if told.size < 2:
        return 0.0
    low, high = np.quantile(turned(told - told[told.size // 2]), (0.05, 0.95))
    return float(high - low)


def _restless(values: AnyArray, turns: bool) -> float:
    """How far neighbours typically lie from the middle between their own neighbours."""
    told = np.asarray(values, dtype=np.float64)
    told = told[np.isfinite(told)]
    if told.size < 10:
        return 0.0
    one, other = told[1:-1] - told[:-2], told[2:] - told[1:-1]
    bend = turned(one) - turned(other) if turns else one - other
    return float(np.median(np.abs(bend)) / 2.0)


def _seconds_of(time_s: Array, where: BoolArray) -> float:
    steps = np.minimum(np.diff(time_s, append=time_s[-1:]), LONGEST_HOLD_S)
    return float(steps[where].sum())
