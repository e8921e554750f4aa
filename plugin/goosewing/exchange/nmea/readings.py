r"""NMEA 0183 as it comes off a wire: bytes to sentences, sentences to readings.

Pure: `goosewing.exchange.nmea.wires` listens. The rim where what instruments say, in the units
they say it in, becomes what the core takes: knots, degrees, angles on the bow negative to
port. A sentence counts once its checksum proves right, whatever stood around it: noise,
NULs, the tail of a sentence that was cut, a tag block (``\…\``). What is not read (AIS,
proprietary sentences, everything about the engine) is counted and left.

The sentences' fields are read in public documentation of the format; the standard itself
was not open.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import reduce
from operator import xor
from typing import TYPE_CHECKING, NamedTuple

from goosewing.units import METRES_PER_NM, METRES_PER_SECOND_PER_KNOT

if TYPE_CHECKING:
    from goosewing.records import Value

LONGEST = 255
"""Bytes of a sentence; the standard's 82 are overrun by many a receiver with a right checksum."""

LONGEST_LINE = 4096
"""Bytes without a line's end; more is no wire of sentences."""

DAY_S = 86400.0

SILENT_AFTER = 20
"""So many times of other talkers, and the one that a log's time went by has fallen silent."""

_LINE_ENDS = re.compile(rb"[\r\n\0]+")
_START = re.compile(rb"[$!]")
_STARTS = re.compile(rb"(?=[$!])")
_SENTENCE = re.compile(rb"([$!])([\x20-\x7e]+?)\*([0-9A-Fa-f]{2})")
_TAG_BLOCK = re.compile(rb"\s*(\\[^\\]*\\)?\s*")
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)", re.ASCII)
_TIME = re.compile(r"(\d\d)(\d\d)(\d\d(?:\.\d*)?)", re.ASCII)
_PLACE = re.compile(r"(\d{2,3})(\d\d(?:\.\d*)?)", re.ASCII)


# ---- bytes to sentences ---------------------------------------------------------------


class Framer:
    """Bytes in, however they were cut; whole sentences out. It keeps one unfinished line.

    Attributes
    ----------
    damaged : int
        Lines or parts of lines that were cut, garbled, or of a wrong checksum.
    """

    def __init__(self) -> None:
        self._rest = b""
        self.damaged = 0

    def feed(self, data: bytes) -> list[str]:
        """Take bytes; return the sentences that are now complete, with ``$`` or ``!``."""
        *lines, rest = _LINE_ENDS.split(self._rest + data)
        if len(rest) > LONGEST_LINE:
            lines.append(rest)
            rest = b""
        self._rest = rest
        return [sentence for line in lines for sentence in self._in_line(line)]

    def finish(self) -> list[str]:
        """Return what an unfinished last line still holds."""
        rest, self._rest = self._rest, b""
        return self._in_line(rest)

    def _in_line(self, line: bytes) -> list[str]:
        if not line.strip():
            return []
        first = _START.search(line)
        before = line if first is None else line[: first.start()]
        if before and not _TAG_BLOCK.fullmatch(before):
            self.damaged += 1
        # A sentence begins wherever its sign stands: the one before was cut.
        parts = [] if first is None else _STARTS.split(line[first.start() :])
        found = [self._sentence(part) for part in parts if part]
        return [sentence for sentence in found if sentence is not None]

    def _sentence(self, part: bytes) -> str | None:
        match = _SENTENCE.match(part)
        if match is None or len(match[0]) > LONGEST or reduce(xor, match[2]) != int(match[3], 16):
            self.damaged += 1
            return None
        return (match[1] + match[2]).decode("ascii")


# ---- sentences to readings ----------------------------------------------------------------


class Clock(NamedTuple):
    """The time that a sentence gives, UTC."""

    second_of_day: float
    day: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What one sentence says.

    Attributes
    ----------
    talker, kind : str
        Such as "GP" and "RMC".
    values : tuple
        Names and values as `goosewing.live.core.state.Reading` has them.
    clock : Clock or None
        Its own time, if it gives one that can be believed.
    """

    talker: str
    kind: str
    values: tuple[tuple[str, Value], ...]
    clock: Clock | None = None


Values = list[tuple[str, "Value"]]


class Fields:
    """The fields of a sentence; what is missing or no number is None."""

    def __init__(self, fields: list[str]) -> None:
        self._fields = fields

    def __len__(self) -> int:
        return len(self._fields)

    def text(self, at: int) -> str:
        """Return a field as it stands, empty where there is none."""
        return self._fields[at].strip() if at < len(self._fields) else ""

    def number(self, at: int) -> float | None:
        """Return a field as a number."""
        text = self.text(at)
        return float(text) if _NUMBER.fullmatch(text) else None

    def marked(self, at: int, mark: str) -> float | None:
        """Return a number that the next field names the unit of."""
        return self.number(at) if self.text(at + 1) == mark else None

    def signed(self, at: int, plus: str, minus: str) -> float | None:
        """Return a number that the next field tells the side of."""
        number, side = self.number(at), self.text(at + 1)
        if number is None or side not in (plus, minus):
            return None
        return number if side == plus else -number

    def place(self, at: int) -> tuple[float, float] | None:
        """Return latitude and longitude from ``ddmm.mm,N,dddmm.mm,E``."""
        lat = self._degrees(at, 2, 90.0, "N", "S")
        lon = self._degrees(at + 2, 3, 180.0, "E", "W")
        return None if lat is None or lon is None else (lat, lon)

    def _degrees(self, at: int, digits: int, most: float, plus: str, minus: str) -> float | None:
        match, side = _PLACE.fullmatch(self.text(at)), self.text(at + 1)
        if match is None or len(match[1]) != digits or side not in (plus, minus):
            return None
        degrees = int(match[1]) + float(match[2]) / 60.0
        if float(match[2]) >= 60.0 or degrees > most:
            return None
        return degrees if side == plus else -degrees

    def second_of_day(self, at: int) -> float | None:
        """Return a time of day from ``hhmmss.ss``."""
        match = _TIME.fullmatch(self.text(at))
        if match is None or int(match[1]) > 23 or int(match[2]) > 59 or float(match[3]) >= 61.0:
            return None
        # A leap second stands as the end of the one before it.
        return int(match[1]) * 3600.0 + int(match[2]) * 60.0 + min(float(match[3]), 59.999)


def heard(sentence: str) -> Heard | None:
    """Read one sentence, checksum already proven; None if it is of a kind that is not read.

    Examples
    --------
    >>> heard("$WIMWV,315.0,R,010.0,N,A").values
    (('awa_deg', -45.0), ('aws_kn', 10.0))
    >>> heard("!AIVDM,1,1,,A,14eG;o@034o8sd<L9i:a;WF>062D,0") is None
    True
    """
    address, *fields = sentence[1:].split(",")
    if sentence[0] != "$" or len(address) != 5 or address[0] == "P":
        return None
    talker, kind = address[:2], address[2:]
    reader = READERS.get(kind)
    if reader is None:
        return None
    values, clock = reader(Fields(fields))
    known = tuple((name, value) for name, value in values if value is not None)
    return Heard(talker=talker, kind=kind, values=known, clock=clock)


Read = tuple[Values, Clock | None]

SPEEDS: Mapping[str, float] = {
    "N": 1.0,
    "K": 1000.0 / METRES_PER_NM,
    "M": 1.0 / METRES_PER_SECOND_PER_KNOT,
    "S": 1609.344 / METRES_PER_NM,
}
"""Knots in one knot, kilometre an hour, metre a second, statute mile an hour."""

NO_FIX = frozenset({"0", "6", "7"})
"""Qualities of a GGA that are no measurement: none, dead reckoning, entered by hand."""


def _speed(fields: Fields, *marked: tuple[int, str]) -> float | None:
    """Return the first speed that stands there, in knots."""
    for at, unit in marked:
        speed = fields.marked(at, unit)
        if speed is not None:
            return speed * SPEEDS[unit]
    return None


def _bow(angle_deg: float | None) -> float | None:
    """Return an angle on the bow counted all round as one negative to port."""
    return None if angle_deg is None else (angle_deg + 180.0) % 360.0 - 180.0


def _clock(second: float | None, day: date | None = None) -> Clock | None:
    return None if second is None else Clock(second, day)


def _day(text: str) -> date | None:
    """Read ``ddmmyy``."""
    if not re.fullmatch(r"\d{6}", text, re.ASCII):
        return None
    year = int(text[4:])
    return _date(2000 + year if year < 80 else 1900 + year, int(text[2:4]), int(text[:2]))


def _date(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _rmc(f: Fields) -> Read:
    if f.text(1) != "A" or f.text(11) == "N":
        return [], None
    values: Values = [
        ("position", f.place(2)),
        ("sog_kn", f.number(6)),
        ("cog_deg", f.number(7)),
        ("variation_deg", f.signed(9, "E", "W")),
    ]
    return values, _clock(f.second_of_day(0), _day(f.text(8)))


def _gga(f: Fields) -> Read:
    if not f.text(5) or f.text(5) in NO_FIX:
        return [], None
    return [("position", f.place(1))], _clock(f.second_of_day(0))


def _gll(f: Fields) -> Read:
    # The oldest receivers give neither time nor status.
    if (len(f) > 5 and f.text(5) != "A") or f.text(6) == "N":
        return [], None
    return [("position", f.place(0))], _clock(f.second_of_day(4))


def _vtg(f: Fields) -> Read:
    if f.text(8) == "N":
        return [], None
    return [("cog_deg", f.marked(0, "T")), ("sog_kn", _speed(f, (4, "N"), (6, "K")))], None


def _zda(f: Fields) -> Read:
    numbers = [f.number(at) for at in (3, 2, 1)]
    if None in numbers:
        return [], None
    year, month, day = (int(n) for n in numbers if n is not None)
    found = _date(year, month, day) if 1 <= year <= 9999 else None
    return [], None if found is None else _clock(f.second_of_day(0), found)


def _hdg(f: Fields) -> Read:
    sensor, deviation = f.number(0), f.signed(1, "E", "W")
    magnetic = None if sensor is None else (sensor + (deviation or 0.0)) % 360.0
    return [("heading_magnetic_deg", magnetic), ("variation_deg", f.signed(3, "E", "W"))], None


def _hdm(f: Fields) -> Read:
    return [("heading_magnetic_deg", f.marked(0, "M"))], None


def _hdt(f: Fields) -> Read:
    return [("heading_deg", f.marked(0, "T"))], None


def _vhw(f: Fields) -> Read:
    values: Values = [
        ("heading_deg", f.marked(0, "T")),
        ("heading_magnetic_deg", f.marked(2, "M")),
        ("stw_kn", _speed(f, (4, "N"), (6, "K"))),
    ]
    return values, None


def _vbw(f: Fields) -> Read:
    return [("stw_kn", f.number(0) if f.text(2) == "A" else None)], None


def _mwv(f: Fields) -> Read:
    unit, reference = f.text(3), f.text(1)
    angle, speed = _bow(f.number(0)), f.number(2)
    if f.text(4) != "A" or reference not in ("R", "T") or unit not in SPEEDS:
        return [], None
    names = ("awa_deg", "aws_kn") if reference == "R" else ("twa_deg", "tws_kn")
    return [(names[0], angle), (names[1], None if speed is None else speed * SPEEDS[unit])], None


def _mwd(f: Fields) -> Read:
    values: Values = [
        ("twd_deg", f.marked(0, "T")),
        ("twd_magnetic_deg", f.marked(2, "M")),
        ("tws_kn", _speed(f, (4, "N"), (6, "M"))),
    ]
    return values, None


def _on_a_side(angle: str, speed: str) -> Callable[[Fields], Read]:
    """Return the reader of a sentence with an angle left or right of the bow."""

    def read(f: Fields) -> Read:
        knots = _speed(f, (2, "N"), (4, "M"), (6, "K"))
        return [(angle, f.signed(0, "R", "L")), (speed, knots)], None

    return read


def _vdr(f: Fields) -> Read:
    return [("set_deg", f.marked(0, "T")), ("drift_kn", f.marked(4, "N"))], None


READERS: Mapping[str, Callable[[Fields], Read]] = {
    "RMC": _rmc, "GGA": _gga, "GLL": _gll, "VTG": _vtg, "ZDA": _zda,
    "HDG": _hdg, "HDM": _hdm, "HDT": _hdt, "VHW": _vhw, "VBW": _vbw,
    "MWV": _mwv, "MWD": _mwd, "VDR": _vdr,
    "VWR": _on_a_side("awa_deg", "aws_kn"), "VWT": _on_a_side("twa_deg", "tws_kn"),
}  # fmt: skip
"""The kinds of sentences that are read."""


# ---- the time of a recorded log -----------------------------------------------------------------


class LogClock:
    """The time that runs in a recorded log, by the first talker that gives one.

    Where none gives any, each burst of sentences is a second: a burst ends before a kind
    of sentence that it already held.

    Parameters
    ----------
    begins : sequence of Heard
        The log's first sentences: their first time and date are the clock's.
    today : date
        The day, where the log does not tell it.

    Attributes
    ----------
    time_s : float
        Seconds since 1970-01-01T00:00Z.
    counted, dated : bool
        Whether bursts are counted for lack of times; whether the log tells its day.
    """

    def __init__(self, begins: Sequence[Heard], today: date) -> None:
        clocks = [said.clock for said in begins if said.clock is not None]
        days = [clock.day for clock in clocks if clock.day is not None]
        self.counted = not clocks
        self.dated = bool(days)
        day = days[0] if days else today
        self.time_s = _epoch(day, clocks[0].second_of_day if clocks else 0.0)
        self._talker: str | None = None
        self._others = 0
        self._burst: set[tuple[str, str]] = set()

    def hear(self, said: Heard) -> float:
        """Let time go on to that of a sentence; return the time now."""
        if self.counted:
            self._count(said)
        elif said.clock is not None and self._leads(said.talker):
            self.time_s = self._time(said.clock)
        return self.time_s

    def _leads(self, talker: str) -> bool:
        """Whether time goes by this talker; when the one that led has fallen silent, by another."""
        self._others = 0 if talker == self._talker else self._others + 1
        if self._talker is None or self._others > SILENT_AFTER:
            self._talker, self._others = talker, 0
        return talker == self._talker

    def _count(self, said: Heard) -> None:
        key = (said.talker, said.kind)
        if key in self._burst:
            self._burst.clear()
            self.time_s += 1.0
        self._burst.add(key)

    def _time(self, clock: Clock) -> float:
        if clock.day is not None:
            return _epoch(clock.day, clock.second_of_day)
        # A time of day without its date: the nearest one to the time before.
        days = round((self.time_s - clock.second_of_day) / DAY_S)
        return days * DAY_S + clock.second_of_day


def _epoch(day: date, second_of_day: float) -> float:
    return (day - date(1970, 1, 1)) / timedelta(days=1) * DAY_S + second_of_day


def seconds_of(clock: Clock) -> float | None:
    """Return a sentence's time as seconds since 1970-01-01T00:00Z, if it gives the date too.

    Examples
    --------
    >>> seconds_of(Clock(60.5, date(1970, 1, 2)))
    86460.5
    """
    return None if clock.day is None else _epoch(clock.day, clock.second_of_day)
