"""NMEA 0183 logs, read as arrays: a million sentences are never a million Python objects.

The same sentences mean the same as for `goosewing.exchange.nmea.readings`, which reads
them one by one off a wire. Here a whole block of the file is taken apart at once: where
sentences begin and end, the exclusive or of their bytes against the two hex digits, the
commas; then all sentences of one kind, field by field. Besides, heel (XDR) and an engine's
revolutions (RPM, XDR) are read.

The fields are read in public documentation of the format; the standard itself was not open.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from goosewing.logbook.gather import Gathering
from goosewing.logbook.samples import turned
from goosewing.units import METRES_PER_NM, METRES_PER_SECOND_PER_KNOT, Array, BoolArray

Index = NDArray[np.intp]
Bytes = NDArray[np.uint8]

LONGEST_NUMBER = 18
"""Characters of a field that is read as a number."""

DAY_S = 86400.0

CLOCKS_APART_S = 600.0
"""Two clocks of one boat that differ by more don't show the same zone's time."""

SATELLITES = ("GP", "GN", "GL", "GA", "GB")

SILENT_S = 5.0
"""Between two times this close, what stands between them is spread evenly."""

_DOLLAR, _STAR, _COMMA, _DOT, _MINUS, _PLUS, _ZERO, _SEMICOLON = b"$*,.-+0;"
_NEWLINE = 10

KNOTS: Mapping[str, float] = {
    "N": 1.0,
    "K": 1000.0 / METRES_PER_NM,
    "M": 1.0 / METRES_PER_SECOND_PER_KNOT,
    "S": 1609.344 / METRES_PER_NM,
}
"""Knots in one knot, kilometre an hour, metre a second, statute mile an hour."""

_HEX = np.full(256, -1, dtype=np.int16)
for _digit, _value in zip(b"0123456789ABCDEFabcdef", [*range(16), *range(10, 16)], strict=True):
    _HEX[_digit] = _value


class Sentences(NamedTuple):
    """Where the sound sentences of a block stand."""

    block: Bytes
    start: Index
    """Of the ``$``."""
    star: Index
    commas: Index
    first_comma: Index
    """Index into `commas` of each sentence's first."""
    fields: Index
    """How many each has."""
    damaged: int


def sentences(block: Bytes) -> Sentences:
    """Find the sentences whose checksum proves right.

    Parameters
    ----------
    block : ndarray of uint8, shape (n,)
        Whole lines.
    """
    starts = np.flatnonzero(block == _DOLLAR)
    stars = np.flatnonzero(block == _STAR)
    found = starts.size
    at = np.searchsorted(stars, starts)
    whole = at < stars.size
    starts, at = starts[whole], at[whole]
    star = stars[at]
    # A sentence begins wherever its sign stands: one that is cut holds the next one's sign.
    whole = (star < np.append(starts[1:], block.size)) & (star + 2 < block.size)
    starts, star = starts[whole], star[whole]
    whole = (star - starts > 6) & (star - starts < 250)
    starts, star = starts[whole], star[whole]
    if not starts.size:
        none = np.zeros(0, dtype=np.intp)
        return Sentences(block, none, none, none, none, none, found)
    edges = np.column_stack((starts + 1, star)).ravel()
    total = np.bitwise_xor.reduceat(block, edges)[::2]
    high, low = _HEX[block[star + 1]], _HEX[block[star + 2]]
    right = (high >= 0) & (low >= 0) & (total == high * 16 + low)
    right &= block[starts + 6] == _COMMA
    starts, star = starts[right], star[right]
    commas = np.flatnonzero(block == _COMMA)
    first = np.searchsorted(commas, starts)
    fields = np.searchsorted(commas, star) - first
    return Sentences(block, starts, star, commas, first, fields, found - starts.size)


@dataclass(frozen=True, slots=True)
class Fields:
    """The fields of all sentences of one kind and talker; what is missing is NaN or empty."""

    of: Sentences
    rows: Index

    def _span(self, at: int) -> tuple[Index, Index]:
        """Where a field begins and ends; of no length where a sentence has none."""
        commas, first, count = self.of.commas, self.of.first_comma[self.rows], None
        count = self.of.fields[self.rows]
        there = at < count
        begin = commas[np.where(there, first + at, first)] + 1
        following = np.where(at + 1 < count, first + at + 1, first)
        end = np.where(at + 1 < count, commas[following], self.of.star[self.rows])
        return begin, np.where(there, end, begin)

    def letter(self, at: int) -> Bytes:
        """Return a field's first character, 0 where it is empty."""
        begin, end = self._span(at)
        return np.where(end > begin, self.of.block[begin], 0).astype(np.uint8)

    def says(self, at: int, letter: str) -> BoolArray:
        """Whether a field is this letter."""
        begin, end = self._span(at)
        return np.asarray((end - begin == 1) & (self.of.block[begin] == ord(letter)))

    def number(self, at: int) -> Array:
        """Return a field as numbers."""
        begin, end = self._span(at)
        return numbers(self.of.block, begin, end)

    def marked(self, at: int, mark: str) -> Array:
        """Return numbers whose next field names the unit."""
        return np.where(self.says(at + 1, mark), self.number(at), np.nan)

    def signed(self, at: int, plus: str, minus: str) -> Array:
        """Return numbers whose next field tells the side."""
        side = self.letter(at + 1)
        sign = np.where(side == ord(plus), 1.0, np.where(side == ord(minus), -1.0, np.nan))
        return self.number(at) * sign

    def speed(self, *marked: tuple[int, str]) -> Array:
        """Return the first speed that stands there, in knots."""
        value = np.full(self.rows.size, np.nan)
        for at, unit in marked:
            other = self.marked(at, unit) * KNOTS[unit]
            value = np.where(np.isnan(value), other, value)
        return value

    def degrees(self, at: int, plus: str, minus: str) -> Array:
        """Return ``ddmm.mm`` and its hemisphere as degrees."""
        raw = self.signed(at, plus, minus)
        whole = np.trunc(raw / 100.0)
        return whole + (raw - 100.0 * whole) / 60.0

    def second_of_day(self, at: int) -> Array:
        """Return ``hhmmss.ss`` as seconds."""
        raw = self.number(at)
        hours, rest = np.floor(raw / 10000.0), np.mod(raw, 10000.0)
        minutes, seconds = np.floor(rest / 100.0), np.mod(rest, 100.0)
        good = (hours < 24.0) & (minutes < 60.0) & (seconds < 61.0)
        # A leap second stands as the end of the one before it.
        sum_s = hours * 3600.0 + minutes * 60.0 + np.minimum(seconds, 59.999)
        return np.where(good, sum_s, np.nan)

    def text(self, at: int, row: int) -> str:
        """Return one sentence's field as it stands."""
        begin, end = (int(each[row]) for each in self._span(at))
        return bytes(self.of.block[begin:end]).decode("ascii", "replace")

    def is_text(self, at: int, words: str) -> BoolArray:
        """Whether a field reads so."""
        begin, end = self._span(at)
        same = end - begin == len(words)
        for offset, letter in enumerate(words.encode("ascii", "replace")):
            place = np.minimum(begin + offset, self.of.block.size - 1)
            same = same & (self.of.block[place] == letter)
        return np.asarray(same)


def numbers(block: Bytes, begin: Index, end: Index) -> Array:
    """Read decimal numbers that stand in a block of bytes.

    Parameters
    ----------
    block : ndarray of uint8
    begin, end : ndarray of int, shape (n,)
        Where each begins, and where it has ended.

    Returns
    -------
    ndarray, shape (n,)
        NaN where there is none: empty, too long, or something else stands there.
    """
    length = end - begin
    width = int(min(max(length.max(initial=1), 1), LONGEST_NUMBER))
    place = end[:, np.newaxis] + np.arange(-width, 0)
    signs = block[np.minimum(begin, block.size - 1)]
    signed = (length > 0) & ((signs == _MINUS) | (signs == _PLUS))
    outside = place < (begin + signed)[:, np.newaxis]
    letters = block[np.maximum(place, 0)]
    letters[outside] = _ZERO
    dots = letters == _DOT
    digits = letters.astype(np.int64) - _ZERO
    digits[dots] = 0
    bad = (digits < 0) | (digits > 9)
    total = digits @ (10 ** np.arange(width - 1, -1, -1, dtype=np.int64))
    has_dot = dots.any(axis=1)
    behind = np.where(has_dot, width - 1 - dots.argmax(axis=1), 0)
    scale = 10 ** behind.astype(np.int64)
    # The dot holds a digit's place: what stands left of it is ten times too much.
    left, right = np.divmod(total, np.where(has_dot, scale * 10, 1))
    value = np.where(has_dot, left + right / scale, total.astype(np.float64))
    digit_count = length - signed - has_dot
    wrong = bad.any(axis=1) | (digit_count < 1) | (length > width) | (dots.sum(axis=1) > 1)
    return np.where(wrong, np.nan, np.where(signed & (signs == _MINUS), -value, value))


# ---- kinds of sentences --------------------------------------------------------------------------

Said = dict[str, Array]


class Clocks(NamedTuple):
    """Times that sentences of one kind give."""

    second_of_day: Array
    day: Array
    """Days since 1970-01-01; NaN where it is not told."""


Read = tuple[Said, Clocks | None]


def _day(year: Array, month: Array, day: Array) -> Array:
    """Days since 1970-01-01 of civil dates; NaN where there is none."""
    good = (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31) & (year >= 1970) & (year < 2200)
    known = np.where(good, year, 1970.0).astype(np.int64)
    months = (known - 1970) * 12 + np.where(good, month, 1).astype(np.int64) - 1
    first = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    return np.where(good, first + np.where(good, day, 1.0) - 1.0, np.nan)


def _masked(said: Said, good: BoolArray, clocks: Clocks | None = None) -> Read:
    kept = {name: np.where(good, values, np.nan) for name, values in said.items()}
    if clocks is None:
        return kept, None
    return kept, Clocks(np.where(good, clocks.second_of_day, np.nan), clocks.day)


def _rmc(f: Fields) -> Read:
    date = f.number(8)
    year = np.mod(date, 100.0)
    day = _day(
        np.where(year < 80.0, 2000.0, 1900.0) + year,
        np.mod(np.floor(date / 100.0), 100.0),
        np.floor(date / 10000.0),
    )
    said = {
        "lat": f.degrees(2, "N", "S"),
        "lon": f.degrees(4, "E", "W"),
        "sog_kn": f.number(6),
        "cog_deg": f.number(7),
        "variation_deg": f.signed(9, "E", "W"),
    }
    good = f.says(1, "A") & ~f.says(11, "N")
    return _masked(said, good, Clocks(f.second_of_day(0), day))


def _gga(f: Fields) -> Read:
    quality = f.number(5)
    # None, dead reckoning, and what was entered by hand are no fixes.
    good = (quality > 0.0) & (quality != 6.0) & (quality != 7.0)
    said = {"lat": f.degrees(1, "N", "S"), "lon": f.degrees(3, "E", "W")}
    return _masked(said, good, Clocks(f.second_of_day(0), np.full(f.rows.size, np.nan)))


def _gll(f: Fields) -> Read:
    # The oldest receivers give neither time nor status.
    good = (f.says(5, "A") | (f.of.fields[f.rows] <= 5)) & ~f.says(6, "N")
    said = {"lat": f.degrees(0, "N", "S"), "lon": f.degrees(2, "E", "W")}
    return _masked(said, good, Clocks(f.second_of_day(4), np.full(f.rows.size, np.nan)))


def _vtg(f: Fields) -> Read:
    said = {"cog_deg": f.marked(0, "T"), "sog_kn": f.speed((4, "N"), (6, "K"))}
    return _masked(said, ~f.says(8, "N"))


def _zda(f: Fields) -> Read:
    return {}, Clocks(f.second_of_day(0), _day(f.number(3), f.number(2), f.number(1)))


def _hdg(f: Fields) -> Read:
    deviation = f.signed(1, "E", "W")
    magnetic = np.mod(f.number(0) + np.nan_to_num(deviation), 360.0)
    return {"heading_magnetic_deg": magnetic, "variation_deg": f.signed(3, "E", "W")}, None


def _hdm(f: Fields) -> Read:
    return {"heading_magnetic_deg": f.marked(0, "M")}, None


def _hdt(f: Fields) -> Read:
    return {"heading_deg": f.marked(0, "T")}, None


def _vhw(f: Fields) -> Read:
    return {
        "heading_deg": f.marked(0, "T"),
        "heading_magnetic_deg": f.marked(2, "M"),
        "stw_kn": f.speed((4, "N"), (6, "K")),
    }, None


def _vbw(f: Fields) -> Read:
    return _masked({"stw_kn": f.number(0)}, f.says(2, "A"))


def _mwv(f: Fields) -> Read:
    unit = f.letter(3)
    knots = np.full(f.rows.size, np.nan)
    for letter, factor in KNOTS.items():
        knots = np.where(unit == ord(letter), factor, knots)
    good = f.says(4, "A") & np.isfinite(knots)
    angle, speed = turned(f.number(0)), f.number(2) * knots
    apparent, true = good & f.says(1, "R"), good & f.says(1, "T")
    return {
        "awa_deg": np.where(apparent, angle, np.nan),
        "aws_kn": np.where(apparent, speed, np.nan),
        "twa_deg": np.where(true, angle, np.nan),
        "tws_kn": np.where(true, speed, np.nan),
    }, None


def _mwd(f: Fields) -> Read:
    return {"twd_deg": f.marked(0, "T"), "tws_kn": f.speed((4, "N"), (6, "M"))}, None


def _on_a_side(angle: str, speed: str) -> Callable[[Fields], Read]:
    """Return the reader of a sentence with an angle left or right of the bow."""

    def read(f: Fields) -> Read:
        return {
            angle: f.signed(0, "R", "L"),
            speed: f.speed((2, "N"), (4, "M"), (6, "K")),
        }, None

    return read


def _rpm(f: Fields) -> Read:
    return _masked({"engine_rpm": f.number(2)}, f.says(0, "E") & f.says(4, "A"))


MOST_TRANSDUCERS = 8


def _xdr(f: Fields) -> Read:
    """Heel by whatever transducer is called so, and revolutions by a tachometer."""
    heel, rpm = np.full(f.rows.size, np.nan), np.full(f.rows.size, np.nan)
    for at in range(0, 4 * MOST_TRANSDUCERS, 4):
        there = f.of.fields[f.rows] > at + 3
        if not there.any():
            break
        # Names are the maker's own; a few sentences show which of them there are.
        seen = np.flatnonzero(there)[:: max(1, int(there.sum()) // 50)]
        for name in {f.text(at + 3, int(row)) for row in seen}:
            if "ROLL" in name.upper() or "HEEL" in name.upper():
                angle = there & f.says(at, "A") & f.says(at + 2, "D") & f.is_text(at + 3, name)
                heel = np.where(angle, f.number(at + 1), heel)
        turns = there & f.says(at, "T") & f.says(at + 2, "R")
        if turns.any():
            rpm = np.where(turns, f.number(at + 1), rpm)
    return {"heel_deg": heel, "engine_rpm": rpm}, None


READERS: Mapping[str, Callable[[Fields], Read]] = {
    "RMC": _rmc, "GGA": _gga, "GLL": _gll, "VTG": _vtg, "ZDA": _zda,
    "HDG": _hdg, "HDM": _hdm, "HDT": _hdt, "VHW": _vhw, "VBW": _vbw,
    "MWV": _mwv, "MWD": _mwd, "RPM": _rpm, "XDR": _xdr,
    "VWR": _on_a_side("awa_deg", "aws_kn"), "VWT": _on_a_side("twa_deg", "tws_kn"),
}  # fmt: skip
"""The kinds of sentences that are read."""

TELL_TIME = ("RMC", "ZDA", "GGA", "GLL")


class _Group(NamedTuple):
    source: str
    talker: str
    place: Index
    """Of each sentence in the block."""
    said: Said
    clocks: Clocks | None


def _groups(found: Sentences) -> Iterator[_Group]:
    """Read all sentences of a block, kind by kind and talker by talker."""
    block, start = found.block, found.start
    kind = _code(block, start, (3, 4, 5))
    talker = _code(block, start, (1, 2))
    own = block[start + 1] != ord("P")
    for name, reader in READERS.items():
        rows = np.flatnonzero(own & (kind == _code_of(name)))
        for code in np.flatnonzero(np.bincount(talker[rows])):
            mine = rows[talker[rows] == code]
            who = code.item().to_bytes(2, "big").decode("latin-1")
            said, clocks = reader(Fields(found, mine))
            yield _Group(f"{who}{name}", who, start[mine], said, clocks)


def _code(block: Bytes, start: Index, offsets: tuple[int, ...]) -> NDArray[np.int64]:
    code = np.zeros(start.size, dtype=np.int64)
    for offset in offsets:
        code = code * 256 + block[start + offset]
    return code


def _code_of(name: str) -> int:
    return int.from_bytes(name.encode("ascii"), "big")


# ---- the time ---------------------------------------------------------------------------------


class _Times(NamedTuple):
    place: Index
    second_of_day: Array
    day: Array


class Clock:
    """The time of a log's sentences, by one talker; carried on from block to block.

    Attributes
    ----------
    dated : bool
        Whether any sentence gave the date.
    apart_h : dict of str to float
        Other talkers whose clock shows something else, by so many hours.
    """

    def __init__(self, first_day: float) -> None:
        self._first_day = first_day
        self._talker: str | None = None
        self._last_s: float | None = None
        self.dated = False
        self.ran = False
        self.apart_h: dict[str, float] = {}

    @property
    def talker(self) -> str:
        """Whose time is followed."""
        return self._talker or ""

    def times(self, groups: list[_Group]) -> tuple[Index, Array]:
        """Where in the block which times stand, in order."""
        told = self._leading(groups)
        if told is None:
            return np.zeros(0, dtype=np.intp), np.zeros(0)
        seconds = self._absolute(told)
        self._last_s, self.ran = float(seconds[-1]), True
        return told.place, seconds

    def at(self, place: Index, known: Index, seconds: Array, before: float | None) -> Array:
        """Time of what stands at a place: spread evenly between two times close to each other."""
        if not known.size:
            return np.full(place.size, np.nan if before is None else before)
        after = np.searchsorted(known, place, side="right")
        left = np.where(after > 0, seconds[np.maximum(after - 1, 0)], seconds[0])
        spread = np.interp(place, known, seconds)
        right = seconds[np.minimum(after, known.size - 1)]
        return np.where(np.abs(right - left) <= SILENT_S, spread, left)

    def _leading(self, groups: list[_Group]) -> _Times | None:
        """Pick the talker whose time is followed: with the date, if one gives it."""
        by_talker: dict[str, list[_Times]] = {}
        for group in groups:
            if group.clocks is None:
                continue
            good = np.isfinite(group.clocks.second_of_day)
            if good.any():
                by_talker.setdefault(group.talker, []).append(
                    _Times(
                        group.place[good],
                        group.clocks.second_of_day[good],
                        group.clocks.day[good],
                    )
                )
        if not by_talker:
            return None
        if self._talker not in by_talker:
            self._talker = max(by_talker, key=lambda who: _worth(who, by_talker[who]))
        for who, parts in by_talker.items():
            if who != self._talker:
                self._compare(who, parts, by_talker[self._talker])
        parts = by_talker[self._talker]
        order = np.argsort(np.concatenate([part.place for part in parts]), kind="stable")
        place, second, day = (np.concatenate([part[i] for part in parts])[order] for i in range(3))
        return _Times(place, second, day)

    def _compare(self, who: str, parts: list[_Times], leading: list[_Times]) -> None:
        """Note how far another talker's clock is from the one that is followed."""
        theirs = float(np.median(np.concatenate([part.second_of_day for part in parts])))
        ours = float(np.median(np.concatenate([part.second_of_day for part in leading])))
        apart = (theirs - ours + DAY_S / 2.0) % DAY_S - DAY_S / 2.0
        if abs(apart) > CLOCKS_APART_S:
            self.apart_h[who] = apart / 3600.0

    def _absolute(self, told: _Times) -> Array:
        """Seconds since 1970: by the date where it stands, else by the day nearest to the last."""
        dated = np.isfinite(told.day)
        self.dated = self.dated or bool(dated.any())
        seconds = told.day * DAY_S + told.second_of_day
        if dated.all():
            return seconds
        if dated.any():
            last = np.maximum.accumulate(np.where(dated, np.arange(dated.size), -1))
            last = np.where(last < 0, np.flatnonzero(dated)[0], last)
            reference = seconds[last]
        else:
            begin = self._last_s
            if begin is None:
                begin = self._first_day * DAY_S + float(told.second_of_day[0])
            shifted = np.concatenate(([np.mod(begin, DAY_S)], told.second_of_day))
            run = np.unwrap(shifted, period=DAY_S)[1:]
            return np.asarray(run + begin - np.mod(begin, DAY_S))
        days = np.round((reference - told.second_of_day) / DAY_S)
        return np.where(dated, seconds, days * DAY_S + told.second_of_day)

    @property
    def last_s(self) -> float | None:
        """The last time told."""
        return self._last_s


def _worth(who: str, parts: list[_Times]) -> tuple[bool, int, int]:
    # A receiver has its time from the satellites; another device's may be the zone's.
    return (
        who in SATELLITES,
        sum(int(np.isfinite(part.day).sum()) for part in parts),
        sum(part.place.size for part in parts),
    )


@dataclass(slots=True)
class Tally:
    """What was met in a file."""

    sentences: int = 0
    damaged: int = 0
    unread_before_the_first_time: int = 0


def read_block(block: bytes, clock: Clock, into: Gathering, tally: Tally, name: str = "") -> None:
    """Read whole lines of a log whose sentences tell the time themselves."""
    found = sentences(np.frombuffer(block, dtype=np.uint8))
    groups = list(_groups(found))
    tally.sentences += found.start.size
    tally.damaged += found.damaged
    before = clock.last_s
    known, seconds = clock.times(groups)
    for group in groups:
        time_s = clock.at(group.place, known, seconds, before)
        _hand_on(group, time_s, into, name)


def read_stamped_block(block: bytes, into: Gathering, tally: Tally, name: str = "") -> None:
    """Read whole lines that each begin with their time: ``milliseconds;provider;sentence``."""
    letters = np.frombuffer(block, dtype=np.uint8)
    found = sentences(letters)
    tally.sentences += found.start.size
    line_ends = np.flatnonzero(letters == _NEWLINE)
    stops = np.flatnonzero(letters == _SEMICOLON)
    if not stops.size:
        return
    for group in _groups(found):
        line = np.searchsorted(line_ends, group.place)
        begin = np.where(line > 0, line_ends[np.maximum(line - 1, 0)] + 1, 0)
        stop = stops[np.minimum(np.searchsorted(stops, begin), stops.size - 1)]
        _hand_on(group, numbers(letters, begin, stop) / 1000.0, into, name)


def _hand_on(group: _Group, time_s: Array, into: Gathering, name: str) -> None:
    source = f"{group.source} ({name})" if name else group.source
    for channel, values in group.said.items():
        into.add(channel, source, time_s, values)
