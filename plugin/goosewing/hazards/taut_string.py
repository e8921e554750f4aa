"""The fastest line round hazards, manoeuvres left out: a string drawn taut from mark to mark.

In one wind and stream the time for a displacement is a gauge
(`goosewing.velocities.travel_time`), so the string bends only at outward corners of the
hazards, round them, and touches what it bends round. It is looked for backwards from the mark,
with the time that the open sea would take as a guess of what remains; hazards join in only
when they block a line that could be part of it.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from goosewing.earth import geodesy

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.hazards.areas import Hazards
    from goosewing.units import AnyArray, Array, BoolArray
    from goosewing.velocities.travel_time import Gauge

TIED = 1e-7
"""Lines longer by less than this share are as long: in open water a beat has many."""

ROOM = 0.6
"""So much of the leg's length is looked at beside it at first, and twice that when in need."""

FARTHEST = 16.0
"""Beyond so many lengths of the leg no way round is looked for."""

LEAST_ROOM_NM = 3.0

ENCLOSED = 4.0
"""A leg that nothing opens within so many lengths of it is taken to be enclosed."""

MOST_CORNERS = 1200
COARSEST_NM = 4.0
"""Of so many corners those close together become one, up to this spacing."""

START, MARK = 0, 1
"""The first two places of a chart of lines."""


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Start, mark and corners in the plane, n in all."""

    at: Array
    """Shape (n, 2): longitude and isometric latitude. [°]"""
    lat: Array
    before: Array
    after: Array
    """Shape (n, 2): neighbours along a corner's outline; NaN for start and mark."""
    solid: NDArray[np.intp]
    """Which hazard a corner belongs to; -1 for start and mark."""
    over: NDArray[np.intp]
    """The hazards that lie over corners of others."""

    def __len__(self) -> int:
        """Return their number."""
        return len(self.lat)

    @classmethod
    def loose(cls, at: Array) -> Places:
        """Take places, shape (n, 2), that are no corners."""
        nowhere, none = np.full(at.shape, np.nan), np.full(len(at), -1, dtype=np.intp)
        return cls(at, geodesy.latitude_from_isometric(at[:, 1]), nowhere, nowhere, none, none[:0])

    def some(self, wanted: NDArray[np.intp]) -> Places:
        """Return some of them."""
        return Places(
            self.at[wanted], self.lat[wanted], self.before[wanted],
            self.after[wanted], self.solid[wanted], self.over,
        )  # fmt: skip

    def also(self, other: Places) -> Places:
        """Return these and then others."""

        def both(one: AnyArray, two: AnyArray) -> AnyArray:
            return np.concatenate((one, two))

        return Places(
            both(self.at, other.at), both(self.lat, other.lat), both(self.before, other.before),
            both(self.after, other.after), both(self.solid, other.solid),
            both(self.over, other.over),
        )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Taut:
    """What is known of the lines that lead to the mark."""

    places: Places
    hours: Array
    """Shape (n,): least time to the mark, infinite where it was not found. [h]"""
    onward: NDArray[np.intp]
    """Shape (n,): the next place on the way there, -1 if none."""
    solids: NDArray[np.intp]
    """The hazards that joined in."""
    box: Array
    """West, south, east and north of what was looked at, in the plane. [°]"""

    @property
    def string(self) -> list[int]:
        """The places of the fastest line, from start to mark; empty if there is none."""
        if not np.isfinite(self.hours[START]):
            return []
        chain = [START]
        while chain[-1] != MARK:
            chain.append(int(self.onward[chain[-1]]))
        return chain


def places_of(
    hazards: Hazards, leg: Array, solids: NDArray[np.intp], box: Array, spacing_nm: float
) -> Places:
    """Gather start, mark and the corners of some hazards.

    Parameters
    ----------
    leg : ndarray, shape (4,)
        As `Hazards.in_plane` gives it. [°]
    """
    corners = hazards.corners(solids, box, spacing_nm)
    while spacing_nm and len(corners.solid) > MOST_CORNERS and spacing_nm < COARSEST_NM:
        spacing_nm *= 2.0
        corners = hazards.corners(solids, box, spacing_nm)
    ends = leg.reshape(2, 2)
    nowhere = np.full((2, 2), np.nan)
    at = np.concatenate((ends, corners.places))
    return Places(
        at,
        geodesy.latitude_from_isometric(at[:, 1]),
        np.concatenate((nowhere, corners.before)),
        np.concatenate((nowhere, corners.after)),
        np.concatenate((np.full(2, -1), corners.solid)).astype(np.intp),
        corners.over,
    )


def hours_between(
    gauge: Gauge, places: Places, start: NDArray[np.intp], end: NDArray[np.intp]
) -> Array:
    """Return how long the straight lines between places take, hazards or not; they broadcast."""
    start, end = np.broadcast_arrays(np.atleast_1d(start), np.atleast_1d(end))
    miles, towards = lines_between(places, start, end)
    each = gauge.hours_per_mile(towards)
    return np.multiply(miles, each, out=np.zeros_like(miles), where=miles > 0.0)


def lines_between(
    places: Places, start: NDArray[np.intp], end: NDArray[np.intp]
) -> tuple[Array, Array]:
    """Return length [nm] and direction (unit vectors, shape (n, 2)) of lines between places."""
    run = places.at[end] - places.at[start]
    length = np.hypot(run[:, 0], run[:, 1])
    miles = geodesy.loxodrome_inverse(
        places.lat[start], places.at[start, 0], places.lat[end], places.at[end, 0]
    ).distance_nm
    return miles, run / np.where(length > 0.0, length, 1.0)[:, np.newaxis]


def drawn(
    hazards: Hazards,
    gauge: Gauge,
    leg: Array,
    *,
    spacing_nm: float = 0.0,
    within_h: float = 0.0,
    start_from: NDArray[np.intp] | None = None,
) -> Taut:
    """Draw the string taut, and time the way to the mark from every corner of use.

    Parameters
    ----------
    hazards : Hazards
    gauge : Gauge
    leg : ndarray, shape (4,)
        As `Hazards.in_plane` gives it. [°]
    spacing_nm : float
        As for `Hazards.corners`. [nm]
    within_h : float
        Corners are timed that could lie on ways that take no longer. [h]
    start_from : ndarray of int, optional
        Hazards that are known to matter.

    Returns
    -------
    Taut
    """
    miles = float(np.hypot(leg[2] - leg[0], leg[3] - leg[1])) * _miles(leg)
    room = max(ROOM * miles, LEAST_ROOM_NM)
    solids = np.zeros(0, dtype=np.intp) if start_from is None else start_from
    while True:
        box = _box(leg, room)
        taut = _with_those_that_block(hazards, gauge, leg, solids, box, spacing_nm, within_h)
        solids = taut.solids
        # Whoever goes round farther out would need longer even at her best speed.
        most = max(float(taut.hours[START]), within_h) * gauge.fastest_kn
        if 0.5 * (most - miles) <= room or room > FARTHEST * max(miles, LEAST_ROOM_NM):
            return taut
        if not np.isfinite(most) and not connected(hazards, leg, _box(leg, 2.0 * room)):
            if room > ENCLOSED * max(miles, LEAST_ROOM_NM):
                return taut
            room *= 2.0
        room = min(2.0 * room, 0.5 * (most - miles) * 1.01) if np.isfinite(most) else 2.0 * room


def connected(hazards: Hazards, leg: Array, box: Array) -> bool:
    """Tell whether free water joins both ends of a leg within a box of the plane."""
    import shapely

    land = shapely.union_all(hazards.shapes_in(box))
    waters = shapely.get_parts(shapely.difference(shapely.box(*box), land))
    start, end = shapely.points(leg.reshape(2, 2))
    return bool(np.any(shapely.intersects(waters, start) & shapely.intersects(waters, end)))


def _miles(leg: Array) -> float:
    lat = float(geodesy.latitude_from_isometric(0.5 * (leg[1] + leg[3])))
    return float(geodesy.loxodrome_inverse(lat, 0.0, lat, 1.0).distance_nm)


def _box(leg: Array, room_nm: float) -> Array:
    room = room_nm / _miles(leg)
    low, high = np.minimum(leg[:2], leg[2:]), np.maximum(leg[:2], leg[2:])
    return np.concatenate((low - room, high + room))


def _with_those_that_block(
    hazards: Hazards,
    gauge: Gauge,
    leg: Array,
    solids: NDArray[np.intp],
    box: Array,
    spacing_nm: float,
    within_h: float,
) -> Taut:
    while True:
        places = places_of(hazards, leg, solids, box, spacing_nm)
        if np.setdiff1d(places.over, solids).size:
            # Where clearances overlap, a way round one goes round the other.
            solids = np.union1d(solids, places.over)
            continue
        hours, onward, blocking = _searched(hazards, gauge, places, within_h)
        new = np.setdiff1d(blocking, solids)
        if not new.size:
            return Taut(places, hours, onward, solids, box)
        solids = np.union1d(solids, new)


def _searched(
    hazards: Hazards, gauge: Gauge, places: Places, within_h: float
) -> tuple[Array, NDArray[np.intp], NDArray[np.intp]]:
    """Time the way to the mark from every place (Dijkstra's method, with a guess ahead)."""
    count = len(places)
    guess = hours_between(gauge, places, np.array([START]), np.arange(count))
    hours = np.full(count, np.inf)
    hours[MARK] = 0.0
    onward = np.full(count, -1, dtype=np.intp)
    settled = np.zeros(count, dtype=bool)
    blocked: list[Array] = []
    waiting = [(float(guess[MARK]), MARK)]
    while waiting:
        total, here = heapq.heappop(waiting)
        if settled[here] or total > hours[here] + guess[here]:
            continue
        if total > max(hours[START], within_h) * (1.0 - TIED) and here != START:
            break
        settled[here] = True
        source, took = _reached(gauge, places, settled, hours, here, tight=not within_h)
        limit = max(float(hours[START]) * (1.0 - TIED), within_h)
        useful = took + guess[source] < limit
        source, took = source[useful], took[useful]
        ends = np.concatenate(
            (places.at[source], np.broadcast_to(places.at[here], (len(source), 2))), axis=1
        )
        met = hazards.met(ends)
        blocked.append(ends[met])
        source, took = source[~met], took[~met]
        hours[source], onward[source] = took, here
        for at, time in zip(source.tolist(), took.tolist(), strict=True):
            heapq.heappush(waiting, (time + float(guess[at]), at))
    return hours, onward, hazards.solids_met(np.concatenate(blocked))


def _reached(
    gauge: Gauge, places: Places, settled: BoolArray, hours: Array, here: int, *, tight: bool
) -> tuple[NDArray[np.intp], Array]:
    """Return the places from which a line that touches what it bends round improves the time.

    A `tight` string bends round its beginning too; from a corner that is timed for its own
    sake she may leave in any direction.
    """
    source = np.flatnonzero(~settled)
    towards = places.at[here] - places.at[source]
    on_one_side = touches(places, np.full(len(source), here), towards)
    if tight:
        on_one_side &= touches(places, source, towards)
    source = source[on_one_side]
    took = hours_between(gauge, places, source, np.array([here])) + hours[here]
    better = took < hours[source] * (1.0 - TIED)
    return source[better], took[better]


def touches(places: Places, corner: NDArray[np.intp], towards: Array) -> BoolArray:
    """Tell where a line through a corner leaves the corner's hazard on one side of it."""
    on_one_side = np.ones(len(corner), dtype=bool)
    # Start and mark are no corners: their neighbours are NaN, and no comparison is true.
    sides = [_side(towards, (each - places.at)[corner]) for each in (places.before, places.after)]
    on_one_side[(sides[0] > 0.0) & (sides[1] < 0.0)] = False
    on_one_side[(sides[0] < 0.0) & (sides[1] > 0.0)] = False
    return on_one_side


def _side(towards: Array, offset: Array) -> Array:
    ahead, across = towards[:, 0], offset[:, 1]
    cross = ahead * across - towards[:, 1] * offset[:, 0]
    scale = 1e-18 * np.einsum("ij,ij->i", towards, towards)
    scale *= np.einsum("ij,ij->i", offset, offset)
    return np.where(cross * cross < scale, 0.0, cross)
