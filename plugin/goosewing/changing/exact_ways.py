"""Ways of the search sailed exactly; sails handed, or set, where they can't be carried all along.

The search looks at the weather in the middle of a step. Where a limit of wind is passed, or
the sun sets on a pole, before the step's end, she hands those sails there and goes on to the
same place under the next ones; where she may not carry them yet, she sets them later.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from goosewing.changing.motion import Waters
from goosewing.changing.resailed import Steps, resailed
from goosewing.changing.ways import Stretch, Way
from goosewing.earth import geodesy

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.units import Array, BoolArray

    Column = NDArray[Any]

LOOK_H = 1.0 / 60.0
"""It is looked so often. [h]"""

SHORTEST_H = 0.1
"""What is left of a stretch is no shorter. [h]"""


SPARE_H = (1.0 / 60.0, 1.0 / 20.0, 1.0 / 6.0)
"""Sails are handed so long before they must be: more, where less proves not to be enough. [h]"""


def sailed_exactly(waters: Waters, ways: list[Way]) -> list[Way]:
    """Sail ways once more, exactly; one that doesn't come out stays as it was found.

    Where sails can't be carried to a stretch's end it is cut there, and sailed again.
    """
    told = [_made(way, steps, exact=exact) for way, steps, exact in _resailed(waters, ways)]
    for spare_h in SPARE_H:
        lacks = [at for at, way in enumerate(told) if not way.exact]
        cut = {at: _within_limits(waters, told[at], spare_h) for at in lacks}
        tried = {at: way for at, way in cut.items() if way is not None}
        for at, (way, steps, exact) in zip(
            tried, _resailed(waters, list(tried.values())), strict=True
        ):
            if exact:
                told[at] = _made(way, steps, exact=True)
    return [new if new.exact else old for old, new in zip(ways, told, strict=True)]


def _resailed(waters: Waters, ways: list[Way]) -> list[tuple[Way, Steps, bool]]:
    """Correct the steps of ways; tell of each whether it came out."""
    parts = [_steps_of(way, number) for number, way in enumerate(ways)]
    if not parts:
        return []
    every = Steps(*(np.concatenate(column) for column in zip(*parts, strict=True)))
    made, exact = resailed(waters, every)
    return [
        (way, made.of(number), bool(ok))
        for number, (way, ok) in enumerate(zip(ways, exact, strict=True))
    ]


def _steps_of(way: Way, number: int) -> tuple[Column, ...]:
    """Columns of `Steps`: what is sailed from place to place, and the pauses before it."""
    columns: list[tuple[Column, ...]] = []
    start_h = ended_h = way.begins_h
    for part in way.stretches:
        hours = np.diff(part.time_h)
        pause = np.zeros(len(hours))
        pause[0] = part.time_h[0] - ended_h
        ended_h = float(part.time_h[-1])
        each = np.ones(len(hours))
        lon = np.unwrap(part.lon, period=360.0)
        columns.append((
            np.full(len(hours), number), np.full(len(hours), part.mode), part.row_deg[1:], hours,
            pause, start_h * each, part.lat[:-1], lon[:-1], part.lat[1:], lon[1:],
        ))  # fmt: skip
    return tuple(np.concatenate(column) for column in zip(*columns, strict=True))


def _made(way: Way, made: Steps, *, exact: bool) -> Way:
    """The same way, by its corrected steps."""
    begins, at, parts = made.begins_h, 0, []
    row, hours = made.row_deg, made.hours
    for part in way.stretches:
        steps = slice(at, at + len(part.lat) - 1)
        at = steps.stop
        end_h = begins[steps][-1] + hours[steps][-1]
        parts.append(Stretch(
            part.mode,
            np.append(made.lat[steps], made.to_lat[at - 1]),
            np.append(made.lon[steps], made.to_lon[at - 1]),
            np.append(begins[steps], end_h),
            np.append(np.nan, row[steps]),
        ))  # fmt: skip
    return replace(way, stretches=tuple(parts), arrival_h=float(end_h), exact=exact)


def _within_limits(waters: Waters, way: Way, spare_h: float) -> Way | None:
    """Cut a way's stretches to where their sails are carried, with some time to spare.

    Returns
    -------
    Way or None
        None if there is nothing to cut, or no stretch beside to sail on in.
    """
    parts, cut = list(way.stretches), False
    for at in range(len(parts)):
        part = parts[at]
        if not np.isfinite(np.stack(part[1:4])).all() or not np.all(np.diff(part.time_h) > 0.0):
            return None
        begin, end = float(part.time_h[0]), float(part.time_h[-1])
        times = np.linspace(begin, end, int((end - begin) / LOOK_H) + 2)
        carried = _carried(waters, part, times)
        if carried.all() or waters.modes[part.mode].engine:
            continue
        if not carried.any():
            return None
        first = int(np.argmax(carried))
        last = first + int(np.argmin(np.append(carried[first:], False))) - 1
        opens_h = times[first] + spare_h if first else times[0]
        closes_h = times[last] - spare_h if last + 1 < len(times) else times[-1]
        if closes_h - opens_h < SHORTEST_H or carried[last + 1 :].any():
            return None
        if first:
            if at == 0:
                return None
            parts[at - 1], parts[at] = _set_later(waters, parts[at - 1], parts[at], opens_h)
        if last + 1 < len(times):
            if at + 1 == len(parts):
                return None
            parts[at], parts[at + 1] = _handed_sooner(waters, parts[at], parts[at + 1], closes_h)
        cut = True
    return replace(way, stretches=tuple(parts)) if cut else None


def _carried(waters: Waters, part: Stretch, times: Array) -> BoolArray:
    """Whether the sails of a stretch are carried, at the angles held and at times along it."""
    lat, lon = (np.interp(times, part.time_h, v) for v in (part.lat, part.lon))
    step = np.clip(np.searchsorted(part.time_h, times), 1, len(part.time_h) - 1)
    mode = waters.modes[part.mode]
    going = waters.at_angle(mode, part.row_deg[step], waters.airs(times, lat, lon))
    possible = going.possible
    return possible & waters.pole_allowed(times, lat, lon) if mode.poled else possible


def _handed_sooner(
    waters: Waters, part: Stretch, after: Stretch, closes_h: float
) -> tuple[Stretch, Stretch]:
    """End a stretch earlier; what it led through comes to the one after it."""
    pause_h = float(after.time_h[0] - part.time_h[-1])
    before, rest = _parted(part, closes_h)
    rest = _under(waters, rest._replace(mode=after.mode, time_h=rest.time_h + pause_h))
    return before, _joined(rest, after)


def _set_later(
    waters: Waters, before: Stretch, part: Stretch, opens_h: float
) -> tuple[Stretch, Stretch]:
    """Begin a stretch later; what it led through comes to the one before it."""
    pause_h = float(part.time_h[0] - before.time_h[-1])
    first, rest = _parted(part, opens_h)
    first = _under(waters, first._replace(mode=before.mode, time_h=first.time_h - pause_h))
    return _joined(before, first), rest


def _parted(part: Stretch, time_h: float) -> tuple[Stretch, Stretch]:
    """Part a stretch in two at a time within it."""
    lat, lon = (np.interp(time_h, part.time_h, v) for v in (part.lat, part.lon))
    at = int(np.searchsorted(part.time_h, time_h))
    row = part.row_deg[at]
    first = part._replace(
        lat=np.append(part.lat[:at], lat), lon=np.append(part.lon[:at], lon),
        time_h=np.append(part.time_h[:at], time_h), row_deg=np.append(part.row_deg[:at], row),
    )  # fmt: skip
    rest = part._replace(
        lat=np.append(lat, part.lat[at:]), lon=np.append(lon, part.lon[at:]),
        time_h=np.append(time_h, part.time_h[at:]), row_deg=np.append(np.nan, part.row_deg[at:]),
    )  # fmt: skip
    return first, rest


def _joined(one: Stretch, two: Stretch) -> Stretch:
    """Join two stretches of one mode, the second of which begins where the first ends."""
    values = (
        np.concatenate((a, b[1:])) for a, b in zip(one[1:], two[1:], strict=True)
    )  # fmt: skip
    return type(one)(one.mode, *values)


def _under(waters: Waters, part: Stretch) -> Stretch:
    """Take for the angles of a stretch those of its courses to the wind, under its own sails."""
    line = geodesy.loxodrome_inverse(part.lat[:-1], part.lon[:-1], part.lat[1:], part.lon[1:])
    middle = (0.5 * (v[:-1] + v[1:]) for v in (part.time_h, part.lat, part.lon))
    airs = waters.airs(*middle)
    off = waters.modes[part.mode].side * geodesy.wrap_180(line.bearing_deg - airs.twd_deg)
    return part._replace(row_deg=np.append(np.nan, np.abs(off)))
