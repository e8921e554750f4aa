r"""Boards kept off hazards: what a path that crosses one must keep to instead.

Where a path crosses, it enters and leaves a hazard's outline; between the two the
outline can be followed on either hand, and the way that the search found tells on
which. Of that arc the corners that stick out are kept on that hand of the boards;
an arc without such a corner is a shore on which a turn was made too late: the turn
stays on the water's side of its edges.

::

        ___c1______c2__                     ~~~~~~~ shore ~~~~~~~
       /               \                         /\
    ──x─────────────────x──  c1, c2 to         x  x   the turn stays
       \_______________/     starboard        /    \  on this side

Both are smooth in the boards' angles and lengths, and so are limits that an
optimiser can keep; what else is then crossed is added, until nothing is.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import shapely

from goosewing.earth import geodesy

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from goosewing.earth.course import Course
    from goosewing.hazards.areas import Hazards
    from goosewing.units import Array, BoolArray

ASIDE_NM = 0.002
"""Boards keep so much farther off than they must, four metres: a turn is made on a metre."""

SIMPLER_NM = 0.0012
"""Corners that stick out by less are left out: well under `ASIDE_NM`."""

NEAR_SHARE = 0.05
"""Corners that boards pass within this share of the leg's length are kept in mind."""

JOINED_DEG = 1e-9
"""What a path does not leave for longer than this was not left."""

MOST_BANKS = 6


class Corner(NamedTuple):
    """A corner of a hazard, and on which hand it stays."""

    lat: float
    lon: float
    hand: float
    """+1 to starboard of the boards, −1 to port."""


class Bank(NamedTuple):
    """An edge of a hazard, on whose water side the boards are at a time."""

    lat: float
    lon: float
    out_east: float
    out_north: float
    """Unit vector towards the water."""
    time_h: float


@dataclass(frozen=True, slots=True)
class Limits:
    """What boards keep to."""

    corners: tuple[Corner, ...] = ()
    banks: tuple[Bank, ...] = ()

    def __len__(self) -> int:
        """Return the number of limits."""
        return len(self.corners) + len(self.banks)

    def also(self, other: Limits) -> Limits:
        """Both together, each once."""
        return Limits(
            tuple(dict.fromkeys(self.corners + other.corners)),
            tuple(dict.fromkeys(self.banks + other.banks)),
        )


class Path(NamedTuple):
    """A path as it is integrated; arrays of shape (p,)."""

    lat: Array
    lon: Array
    time_h: Array
    turn: BoolArray
    """Whether a board ends at this place."""


def off_nm(limits: Limits, path: Path, lat: Array, lon: Array) -> Array:
    """Measure by how much trials keep to limits.

    Parameters
    ----------
    limits : Limits
    path : Path
        The trial about which the others vary.
    lat, lon : ndarray, shape (B, p)
        All trials, point by point as the path.

    Returns
    -------
    ndarray, shape (B, m)
        Corners, then banks; negative beyond a limit. [nm]
    """
    if not len(limits):
        return np.zeros((len(lat), 0))
    corners = _off_corners(limits.corners, path, lat, lon)
    banks = [_off_bank(bank, path, lat, lon)[:, np.newaxis] for bank in limits.banks]
    return np.concatenate((corners, *banks), axis=1) - ASIDE_NM


def _miles(lat: Array, lon: Array, lat0: Array | float, lon0: Array | float) -> tuple[Array, Array]:
    """Miles east and north of places, near them; all broadcast."""
    east = (lon - lon0 + 180.0) % 360.0 - 180.0
    return east * 60.0 * np.cos(np.radians(lat0)), (lat - lat0) * 60.0


def _off_corners(corners: Sequence[Corner], path: Path, lat: Array, lon: Array) -> Array:
    """Distance of trials from corners, negative where they lie on the wrong hand, shape (B, c).

    The path's own place nearest to a corner is followed through all trials.
    """
    if not corners:
        return np.zeros((len(lat), 0))
    lat0, lon0, hand = np.array(corners).T
    x, y = _miles(path.lat, path.lon, lat0[:, np.newaxis], lon0[:, np.newaxis])
    k, share = _nearest(x, y)
    out = _away(x, y, k, share, hand)
    x1, y1 = _miles(lat[:, k], lon[:, k], lat0, lon0)
    x2, y2 = _miles(lat[:, k + 1], lon[:, k + 1], lat0, lon0)
    off = (x1 + share * (x2 - x1)) * out[:, 0] + (y1 + share * (y2 - y1)) * out[:, 1]
    return np.asarray(off)


def _nearest(x: Array, y: Array) -> tuple[NDArray[np.intp], Array]:
    """Pieces of a line nearest to places, seen from each, shape (c, p); and where on them."""
    dx, dy = np.diff(x), np.diff(y)
    square = np.maximum(dx**2 + dy**2, 1e-30)
    share = np.clip(-(x[:, :-1] * dx + y[:, :-1] * dy) / square, 0.0, 1.0)
    off = (x[:, :-1] + share * dx) ** 2 + (y[:, :-1] + share * dy) ** 2
    k = np.argmin(off, axis=1)
    return k, share[np.arange(len(k)), k]


def _away(x: Array, y: Array, k: NDArray[np.intp], share: Array, hand: Array) -> Array:
    """Unit vectors from corners to where boards should be, at their nearest places, (c, 2)."""
    every = np.arange(len(k))
    ahead = _courses(x, y, k, share)
    left = np.column_stack((-ahead[:, 1], ahead[:, 0]))
    here = np.column_stack((
        x[every, k] + share * (x[every, k + 1] - x[every, k]),
        y[every, k] + share * (y[every, k + 1] - y[every, k]),
    ))  # fmt: skip
    distance = np.hypot(*here.T)[:, np.newaxis]
    # A corner to starboard has the boards on its left.
    on_hand = np.sum(here * left, axis=1) * hand > 0.0
    sign = np.where(on_hand, 1.0, -1.0)[:, np.newaxis]
    away = sign * here / np.maximum(distance, 1e-12)
    return np.where(distance < 1e-6, hand[:, np.newaxis] * left, away)


def _courses(x: Array, y: Array, k: NDArray[np.intp], share: Array) -> Array:
    """Directions of a line at places on it; at a bend, the mean of both."""
    step = np.stack((np.diff(x), np.diff(y)), axis=2)
    step /= np.maximum(np.linalg.norm(step, axis=2), 1e-12)[..., np.newaxis]
    every, last = np.arange(len(k)), x.shape[1] - 2
    total = step[every, k]
    beside = np.where(share <= 0.0, k - 1, np.where(share >= 1.0, k + 1, -1))
    bend = (beside >= 0) & (beside <= last)
    total[bend] += step[every[bend], beside[bend]]
    return np.asarray(total / np.maximum(np.hypot(*total.T), 1e-12)[:, np.newaxis])


def _off_bank(bank: Bank, path: Path, lat: Array, lon: Array) -> Array:
    at = int(np.argmin(np.abs(path.time_h - bank.time_h)))
    turns = np.flatnonzero(path.turn)
    if turns.size:
        turn = int(turns[np.argmin(np.abs(path.time_h[turns] - bank.time_h))])
        if abs(path.time_h[turn] - bank.time_h) <= 1.5 * float(np.max(np.diff(path.time_h))):
            at = turn
    x, y = _miles(lat[:, at], lon[:, at], bank.lat, bank.lon)
    return np.asarray(x * bank.out_east + y * bank.out_north)


# ---- what a path crosses ---------------------------------------------------------------------


class _Arc(NamedTuple):
    """The outline of a hazard between where a path enters and leaves it."""

    points: Array
    """Shape (n, 2), in the plane, both ends included."""
    hand: float
    """On which hand of who follows it the hazard lies."""

    @property
    def length(self) -> float:
        return float(np.sum(np.hypot(*np.diff(self.points, axis=0).T)))


class _Crossing(NamedTuple):
    """One run of a path through a hazard."""

    begin: float
    end: float
    """In pieces of the path."""
    arcs: tuple[_Arc, _Arc]
    """The hazard to port, to starboard."""


@dataclass(slots=True, eq=False)
class Offing:
    """The hazards about one leg, and the way that the search found between them."""

    hazards: Hazards
    course: Course
    way: Array
    """Its places in the plane, shape (n, 2), from the leg's start."""
    known: Limits = field(default_factory=Limits)
    """What the last boards made exact passed near to."""
    _shapes: list[Any] = field(init=False)
    _tree: Any = field(init=False)

    def __post_init__(self) -> None:
        start = self._origin
        low, high = start + self.way.min(axis=0), start + self.way.max(axis=0)
        room = 0.5 * float(np.max(high - low)) + 1e-3
        near = self.hazards.shapes_in(np.concatenate((low - room, high + room)))
        self._shapes = list(shapely.transform(near, lambda plane: plane - start))
        self._tree = shapely.STRtree(self._shapes)

    @classmethod
    def of(cls, hazards: Hazards, course: Course, lat: Array, lon: Array) -> Offing | None:
        """Look at the hazards about a leg; None if there are none.

        Parameters
        ----------
        hazards : Hazards
        course : Course
        lat, lon : ndarray, shape (n,)
            The way found. [°]
        """
        made = cls(hazards, course, _in_plane(course, lat, lon))
        return made if made._shapes else None

    @property
    def _origin(self) -> Array:
        return np.array([self.course.lon1, float(geodesy.isometric_latitude(self.course.lat1))])

    def is_free(self, path: Path) -> bool:
        """Whether a path crosses nothing."""
        return self.clears(path.lat, path.lon)

    def clears(self, lat: Array, lon: Array) -> bool:
        """Whether a line through places, shape (n,), crosses nothing."""
        return not self.hazards.crossed_along(lat, lon).any()

    @property
    def is_far(self) -> bool:
        """Whether the way that the search found comes near none of the hazards."""
        line = shapely.LineString(self.way)
        near = NEAR_SHARE * self.course.mercator_deg
        return not self._tree.query(line, predicate="dwithin", distance=near).size

    def in_sight(self, lat: Array, lon: Array) -> list[int]:
        """Cut a way into runs whose ends see each other, the farthest each time.

        Returns
        -------
        list of int
            Indices, the first and the last included.
        """
        cuts, last = [0], len(lat) - 1
        while cuts[-1] < last:
            at = cuts[-1]
            seen = np.flatnonzero(self.sees(lat, lon, at))
            cuts.append(at + 1 + int(seen[-1] if seen.size else 0))
        return cuts

    def sees(self, lat: Array, lon: Array, at: int) -> BoolArray:
        """Tell which of the places after one are seen from it, shape (n - at - 1,)."""
        return ~self.hazards.crossed(lat[at], lon[at], lat[at + 1 :], lon[at + 1 :])

    def limits_of(self, path: Path) -> Limits:
        """Tell what a path that crosses hazards must keep to."""
        line = _in_plane(self.course, path.lat, path.lon)
        found = Limits()
        for shape in self._crossed_by(line):
            found = found.also(self._limits_at(shape, line, path))
        return found

    def remember(self, limits: Limits, path: Path) -> None:
        """Keep in mind the corners that are near boards that were made exact."""
        reach = NEAR_SHARE * self.course.distance_nm
        off = off_nm(Limits(limits.corners), path, path.lat[np.newaxis], path.lon[np.newaxis])
        near = off[0] < reach
        self.known = Limits(tuple(c for c, n in zip(limits.corners, near, strict=True) if n))

    def _crossed_by(self, line: Array) -> list[Any]:
        """The hazards that a line crosses, those that overlap joined."""
        seen = set(self._tree.query(shapely.LineString(line), predicate="intersects").tolist())
        waiting = list(seen)
        while waiting:
            near = self._tree.query(self._shapes[waiting.pop()], predicate="intersects").tolist()
            waiting += [each for each in near if each not in seen]
            seen.update(near)
        joined = shapely.union_all([self._shapes[each] for each in sorted(seen)])
        parts: list[Any] = shapely.get_parts(joined).tolist()
        return [each for each in parts if each.geom_type == "Polygon"]

    def _limits_at(self, shape: Any, line: Array, path: Path) -> Limits:
        ring, lagoon = _shore_about(shape, line[0])
        crossings = _crossings(ring, line, lagoon=lagoon)
        found = Limits()
        if not crossings:
            return found
        for crossing, arc in zip(
            crossings, self._hands(ring, crossings, line, lagoon), strict=True
        ):
            found = found.also(self._kept(crossing, arc, path))
        return found

    def _hands(
        self, ring: Array, crossings: Sequence[_Crossing], line: Array, lagoon: bool
    ) -> list[_Arc]:
        """Choose on which hand each crossing passes: so that all is as on the way found."""
        longer = [each.arcs[1].length - each.arcs[0].length for each in crossings]
        if lagoon:
            return [
                each.arcs[int(more < 0.0)] for each, more in zip(crossings, longer, strict=True)
            ]
        inside = shapely.get_coordinates(shapely.Polygon(ring).representative_point())[0]
        path = _replaced(line, crossings, [each.arcs[0] for each in crossings])
        turns = (_swept(path - inside) - _swept(self.way - inside)) / (2.0 * np.pi)
        count = int(np.clip(np.round(turns), 0, len(crossings)))
        starboard = set(np.argsort(longer, kind="stable")[:count].tolist())
        return [each.arcs[int(i in starboard)] for i, each in enumerate(crossings)]

    def _kept(self, crossing: _Crossing, arc: _Arc, path: Path) -> Limits:
        corners = _few_of(_sticking_out(arc), arc, self.course)
        if len(corners):
            lat, lon = self._on_earth(corners)
            return Limits(tuple(Corner(*each, arc.hand) for each in zip(lat, lon, strict=True)))
        inner = np.arange(int(np.floor(crossing.begin)) + 1, int(np.ceil(crossing.end)))
        turns = inner[path.turn[inner]]
        if not turns.size and inner.size:
            turns = inner[[len(inner) // 2]]
        return Limits(
            banks=tuple(
                bank
                for at in turns.tolist()
                for bank in self._banks(arc, float(path.time_h[at]))
            )
        )  # fmt: skip

    def _banks(self, arc: _Arc, time_h: float) -> Iterable[Bank]:
        edges = list(pairwise(arc.points))
        edges.sort(key=lambda edge: -float(np.hypot(*(edge[1] - edge[0]))))
        for a, b in edges[:MOST_BANKS]:
            along = (b - a) / max(float(np.hypot(*(b - a))), 1e-15)
            # Who follows the arc has the water on the other hand.
            out = arc.hand * np.array([-along[1], along[0]])
            lat, lon = self._on_earth(np.array([(a + b) / 2.0]))
            yield Bank(lat[0], lon[0], float(out[0]), float(out[1]), time_h)

    def _on_earth(self, points: Array) -> tuple[list[float], list[float]]:
        plane = points + self._origin
        return geodesy.latitude_from_isometric(plane[:, 1]).tolist(), plane[:, 0].tolist()


def _in_plane(course: Course, lat: Array, lon: Array) -> Array:
    """Offsets from the leg's start in the plane, shape (n, 2)."""
    offset = geodesy.mercator_offset(course.lat1, course.lon1, lat, lon)
    return np.column_stack((offset.east_deg, offset.north_deg))


def _shore_about(shape: Any, start: Array) -> tuple[Array, bool]:
    """The outline, anticlockwise, of the water in which a leg begins; whether it is a lagoon."""
    place = shapely.points(start)
    for hole in shape.interiors:
        water = shapely.Polygon(hole)
        if shapely.intersects(water, place):
            return _anticlockwise(water.exterior), True
    return _anticlockwise(shape.exterior), False


def _anticlockwise(ring: Any) -> Array:
    points: Array = shapely.get_coordinates(ring)
    return points if shapely.is_ccw(ring) else points[::-1]


def _crossings(ring: Array, line: Array, *, lagoon: bool) -> list[_Crossing]:
    """Find the runs of a line on the land's side of an outline, ends apart."""
    area = shapely.Polygon(ring)
    pieces = shapely.linestrings(np.stack((line[:-1], line[1:]), axis=1))
    over = shapely.difference(pieces, area) if lagoon else shapely.intersection(pieces, area)
    parts, piece = shapely.get_parts(over, return_index=True)
    real = ~shapely.is_empty(parts)
    parts, piece = parts[real], piece[real]
    runs: list[list[float]] = []
    spans = sorted(_span(part, line, int(k)) for part, k in zip(parts, piece, strict=True))
    for begin, end in spans:
        if runs and begin <= runs[-1][1] + JOINED_DEG:
            runs[-1][1] = max(runs[-1][1], end)
        else:
            runs.append([begin, end])
    last = float(len(line) - 1)
    return [
        _Crossing(begin, end, _both_arcs(ring, _at(line, begin), _at(line, end), lagoon=lagoon))
        for begin, end in runs
        if 0.0 < begin < end < last
    ]


def _span(part: Any, line: Array, k: int) -> tuple[float, float]:
    """Where a part of a piece begins and ends, in pieces of the line."""
    step = line[k + 1] - line[k]
    along = (shapely.get_coordinates(part) - line[k]) @ step / max(float(step @ step), 1e-30)
    return k + float(along.min()), k + float(along.max())


def _at(line: Array, where: float) -> Array:
    k = min(int(where), len(line) - 2)
    return np.asarray(line[k] + (where - k) * (line[k + 1] - line[k]))


def _both_arcs(ring: Array, begin: Array, end: Array, *, lagoon: bool) -> tuple[_Arc, _Arc]:
    """Follow an outline both ways from one place on it to another: land to port, to starboard."""
    lengths = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))))
    outline = shapely.LinearRing(ring)
    first, last = (float(outline.project(shapely.Point(place))) for place in (begin, end))
    forward = _between(ring, lengths, first, last, begin, end)
    back = _between(ring, lengths, last, first, end, begin)[::-1]
    # Anticlockwise about land it lies to port; about a lagoon, to starboard.
    if lagoon:
        return _Arc(back, -1.0), _Arc(forward, 1.0)
    return _Arc(forward, -1.0), _Arc(back, 1.0)


def _between(
    ring: Array, lengths: Array, first: float, last: float, begin: Array, end: Array
) -> Array:
    """Points of an outline from one place on it forwards to another, both included."""
    inner = ring[:-1]
    at = lengths[:-1]
    if first <= last:
        middle = inner[(at > first) & (at < last)]
    else:
        middle = np.concatenate((inner[at > first], inner[at < last]))
    return np.vstack((begin, middle, end))


def _replaced(line: Array, crossings: Sequence[_Crossing], arcs: Sequence[_Arc]) -> Array:
    """Return a line that follows arcs where it crossed."""
    parts, done = [], 0
    for crossing, arc in zip(crossings, arcs, strict=True):
        parts += [line[done : int(np.floor(crossing.begin)) + 1], arc.points]
        done = int(np.ceil(crossing.end))
    return np.vstack([*parts, line[done:]])


def _swept(points: Array) -> float:
    """Angle swept about the origin by a line, anticlockwise positive, in radians."""
    angle = np.arctan2(points[:, 1], points[:, 0])
    step = np.diff(angle)
    return float(np.sum((step + np.pi) % (2.0 * np.pi) - np.pi))


def _few_of(corners: Array, arc: _Arc, course: Course) -> Array:
    """Leave out corners that matter less than boards keep farther off than they must."""
    if not len(corners):
        return corners
    tolerance = SIMPLER_NM * course.mercator_deg / course.distance_nm
    line = shapely.LineString(np.vstack((arc.points[:1], corners, arc.points[-1:])))
    # In a triangle of corners the tolerance is of the chord: the least scale is the safe one.
    kept = shapely.get_coordinates(shapely.simplify(line, 0.9 * tolerance))[1:-1]
    return kept if len(kept) else corners


def _sticking_out(arc: _Arc) -> Array:
    """Corners of an arc about which a string drawn along it would bend, shape (c, 2)."""
    kept: list[Array] = []
    for point in arc.points:
        while len(kept) > 1 and not _bends(kept[-2], kept[-1], point, arc.hand):
            kept.pop()
        kept.append(point)
    return np.array(kept[1:-1])


def _bends(a: Array, b: Array, c: Array, hand: float) -> bool:
    """Whether a line turns towards the hand at b."""
    turn = (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])
    return bool(-hand * turn > 0.0)
