"""What is searched for over a leg, and the ways that are found; each sailed once more, exactly."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from goosewing.changing.cut_short import within_limits
from goosewing.changing.motion import Waters
from goosewing.changing.resailed import Steps, resailed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from goosewing.changing.pinned import Pins
    from goosewing.earth.corridor import Corridor
    from goosewing.units import Array

    Numbers = NDArray[np.intp]
    Column = NDArray[Any]


SPARE_H = (1.0 / 60.0, 1.0 / 20.0, 1.0 / 6.0)
"""Sails are handed so long before they must be: more, where less proves not to be enough. [h]"""


class Root(NamedTuple):
    """How a leg may begin: the mode she is in (−1: free), at what time, how long on that board."""

    mode: int
    time_h: float
    sailed_h: float


class Stretch(NamedTuple):
    """A part of the way found: one mode, from place to place."""

    mode: int
    lat: Array
    lon: Array
    time_h: Array
    row_deg: Array
    """The polar's angle held to each place from the one before; NaN at the first."""


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """A way found over one leg."""

    root: int
    """Index of the root from which it began."""
    root_mode: int
    """Its mode, −1 if free."""
    stretches: tuple[Stretch, ...]
    arrival_h: float
    exact: bool = False
    """Whether sailing each angle between its times leads from place to place and to the mark,
    its sails carried all along."""
    pins: Pins | None = None
    """Its boards, where they are pinned to corners among many islands."""

    @property
    def begins_h(self) -> float:
        """When it begins. [h]."""
        return float(self.stretches[0].time_h[0])

    @property
    def mode(self) -> int:
        """The mode in which the mark is reached."""
        return self.stretches[-1].mode

    @property
    def places(self) -> tuple[Array, Array]:
        """Latitude and longitude all along it."""
        lat, lon = (
            np.concatenate([getattr(part, name) for part in self.stretches])
            for name in ("lat", "lon")
        )
        return lat, lon


@dataclass(frozen=True, slots=True, kw_only=True)
class Search:
    """What to search for.

    Attributes
    ----------
    shortest_h : float
        No board is left before it has been sailed this long. [h]
    free : bool
        Whether manoeuvres cost nothing (the relaxed problem).
    fineness : float
        Cells and steps are this much smaller than usual, angles closer by its root.
    widest : float
        The first area grows to this many times its size where nothing arrives within it.
    corridor : Corridor, optional
        The channel that is not left; she may start outside, and then goes no farther out.
    """

    shortest_h: float = 0.0
    free: bool = False
    fineness: float = 1.0
    widest: float = 3.0
    corridor: Corridor | None = None


def stretches_of(modes: Numbers, lat: Array, lon: Array, time: Array, row: Array) -> list[Stretch]:
    """Cut a way's places, shape (n,), where its mode changes."""
    cuts = np.flatnonzero(modes[1:] != modes[:-1]) + 1
    bounds = [0, *cuts.tolist(), len(modes)]
    parts = [
        Stretch(int(modes[a]), lat[a:b], lon[a:b], time[a:b], row[a:b]) for a, b in pairwise(bounds)
    ]
    # A mode that was entered and left again at once was only passed through.
    return [part for part in parts if len(part.lat) > 1]


def fastest_of(ways: Sequence[Way]) -> list[Way]:
    """Of some ways over one leg the fastest for each mode of arrival, an exact one if there is."""
    best: dict[int, Way] = {}
    for way in sorted(ways, key=lambda way: (not way.exact, way.arrival_h)):
        best.setdefault(way.mode, way)
    return [best[mode] for mode in sorted(best)]


def sailed_exactly(waters: Waters, ways: list[Way]) -> list[Way]:
    """Sail ways once more, exactly; one that doesn't come out stays as it was found.

    Where sails can't be carried to a stretch's end it is cut there, and sailed again.
    """
    told = [_made(way, steps, exact=exact) for way, steps, exact in _resailed(waters, ways)]
    for spare_h in SPARE_H:
        lacks = [at for at, way in enumerate(told) if not way.exact]
        cut = {at: within_limits(waters, told[at], spare_h) for at in lacks}
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
