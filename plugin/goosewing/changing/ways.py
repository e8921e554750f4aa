"""What is searched for over a leg, and the ways that are found."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from goosewing.changing.pinned import Pins
    from goosewing.earth.corridor import Corridor
    from goosewing.units import Array

    Numbers = NDArray[np.intp]
    Column = NDArray[Any]


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
