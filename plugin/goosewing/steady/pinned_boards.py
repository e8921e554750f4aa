r"""Boards among islands by the thousand: every board lies against something, or is free to.

A way that keeps clear can be slid, board by board, until each board between two turns
touches a hazard. So boards of the angles that mixes are made of (the vertices of two modes'
hull) are looked for only where they touch a corner, or begin where one that does had to
end, at a shore. How far such a board can be held is a ray's free run, worked out for all
corners at once (`goosewing.hazards.rays`); two boards then lead from corner to corner if each is
shorter than its own free run::

      c1 ───a───╮                  c1 ───────a───────┤ shore
                 ╲ b                                ╱
                  c2                              b╱  (and on from there)

Boards on other angles lead from corner to corner and touch both. All of that is a graph of
places and modes with the manoeuvres in it, in which the fastest chain is found by Dijkstra's
method (SciPy's). Where there are too many corners, those on the fastest displacements by
the true gauge are kept; what then is found is not the best of all, but keeps clear alike.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np

from goosewing.earth import geodesy
from goosewing.hazards.rays import Outlines, run_free
from goosewing.hazards.sights import pairs_touching
from goosewing.hazards.taut_string import MARK, START, Places, touches
from goosewing.units import METRES_PER_NM
from goosewing.velocities.travel_time import Gauge, Pairs, along_one_mode, neighbours

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Sequence

    from numpy.typing import NDArray

    from goosewing.hazards.areas import Hazards
    from goosewing.steady.cheapest_chain import Costs
    from goosewing.steady.lane import Lane
    from goosewing.units import AnyArray, Array, BoolArray
    from goosewing.velocities.velocity_set import VelocitySet

    Numbers = NDArray[np.intp]

TABLE_DEG = 0.5
"""Spacing of the table of speeds by direction."""

WORTH = 0.95
"""Two boards make a pair if between them they make good this share of the best that mixes do."""

NEIGHBOURS = 2_000_000
"""So many pairs of places at most are looked at for boards that touch both."""

NEIGHBOURS_OF_ALL = 1_000_000
"""As many where no hazard had to be left out."""

LEAST_SCALE = 0.97
"""A board is taken to be no shorter over the ground than this share of its miles in the plane."""

SHORTER = 0.35
"""By so much a board is held shorter, until a way with it may fit into the limit."""

MOST_DOUBLES = 1_500_000

MOST_PLACES = 60_000

SIGHT_SIZES = 2.0
"""Lines are looked along in pieces of so many times the usual size of a hazard."""

TRIALS = 24
"""How often a chain is looked for again without what, looked at closely, is no way."""

NEARLY_M = 0.4
"""Outlines are simplified by this much before rays are cast: corners stand a metre farther out."""

SHORE_M = 3.0
"""Boards that end at a shore end so far off it."""

LEAST_BOARD_NM = 0.02
"""No board ends at a shore so near to where it began."""

FAR_NM = 1e4


class Edges(NamedTuple):
    """Boards from one state to another; arrays of shape (e,)."""

    start: Numbers
    """Place and mode: place · modes + mode."""
    end: Numbers
    hours: Array
    first: Numbers
    """Velocities of one or two boards, by index in the set; -1 for a board on another angle,"""
    second: Numbers
    """and for none."""

    def some(self, wanted: Numbers | BoolArray) -> Edges:
        """Return some of them."""
        return Edges(
            self.start[wanted], self.end[wanted], self.hours[wanted],
            self.first[wanted], self.second[wanted],
        )  # fmt: skip


NO_EDGES = Edges(*(np.empty(0, dtype=kind) for kind in (np.intp, np.intp, float, np.intp, np.intp)))


class Step(NamedTuple):
    """A piece of a chain: one board, or two that meet in free water."""

    start: int
    end: int
    mode: int
    first: int
    second: int


@dataclass(frozen=True, slots=True, eq=False)
class Board:
    """Velocities that mixes are made of: k of them."""

    number: Numbers
    """In the velocity set."""
    mode: Numbers
    twa_deg: Array
    towards: Array
    """Shape (k, 2): unit vectors."""
    speed_kn: Array


@dataclass(slots=True, eq=False)
class Waters:
    """Places in the plane, in miles about the leg's middle, and what surrounds them."""

    places: Places
    at: Array
    """Shape (n, 2). [nm]"""
    stretch: Array
    """Shape (n,): miles on the earth per mile of the plane, about 1."""
    outlines: Outlines
    """Of the hazards. [nm]"""
    middle: Array
    scale: float
    """Miles per degree of the plane."""

    def with_places(self, places: Places, at: Array) -> Waters:
        """Add places."""
        return replace(
            self,
            places=self.places.also(places),
            at=np.concatenate((self.at, at)),
            stretch=np.concatenate(
                (self.stretch, geodesy.miles_per_degree(places.lat) / self.scale)
            ),
        )


def waters_about(places: Places, shapes: AnyArray) -> Waters:
    """Draw places and hazards in miles about their middle."""
    middle = 0.5 * (places.at[START] + places.at[MARK])
    scale = float(geodesy.miles_per_degree(geodesy.latitude_from_isometric(middle[1])))
    return Waters(
        places,
        (places.at - middle) * scale,
        geodesy.miles_per_degree(places.lat) / scale,
        Outlines.of(shapes, middle, scale),
        middle,
        scale,
    )


# --- The boat, by direction ------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class Speeds:
    """How fast each mode makes good every direction, by a table."""

    speed_kn: Array
    """Shape (t, M); zero where a mode can't."""
    twa_deg: Array
    gauge: Gauge

    @classmethod
    def of(cls, held: VelocitySet) -> Speeds:
        """Tabulate a velocity set."""
        angle = np.radians(np.arange(0.0, 360.0, TABLE_DEG))
        speed, twa = along_one_mode(held, np.column_stack((np.cos(angle), np.sin(angle))))
        return cls(speed, twa, Gauge.of(held))

    def along(self, towards: Array) -> tuple[Array, Array]:
        """Return speed and wind angle, shape (n, M), along directions, shape (n, 2)."""
        where = np.degrees(np.arctan2(towards[:, 1], towards[:, 0])) % 360.0 / TABLE_DEG
        low = np.floor(where).astype(np.intp) % len(self.speed_kn)
        high = (low + 1) % len(self.speed_kn)
        share = (where - np.floor(where))[:, np.newaxis]
        a, b = self.speed_kn[low], self.speed_kn[high]
        speed = np.where((a > 0.0) & (b > 0.0), a + share * (b - a), 0.0)
        return speed, np.where(share < 0.5, self.twa_deg[low], self.twa_deg[high])


def worthy(held: VelocitySet, gauge: Gauge, pairs: Pairs | None = None) -> Pairs:
    """Keep the pairs of boards that make good nearly as much as the best between them."""
    pairs = neighbours(held) if pairs is None else pairs
    velocity = np.column_stack((held.east_kn, held.north_kn))
    a, b = velocity[pairs.first], velocity[pairs.second]
    keep = np.zeros(len(a), dtype=bool)
    for share in (0.25, 0.5, 0.75):
        middle = share * a + (1.0 - share) * b
        speed = np.maximum(np.hypot(*middle.T), 1e-9)
        best = 1.0 / gauge.hours_per_mile(middle / speed[:, np.newaxis])
        keep |= speed >= WORTH * best
    turning = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    # Two angles of one mode all but alike are one board on the angle between.
    keep &= turning > 0.2 * np.hypot(*a.T) * np.hypot(*b.T)
    return Pairs(pairs.first[keep], pairs.second[keep])


def boards_of(held: VelocitySet, pairs: Pairs) -> tuple[Board, Numbers, Numbers]:
    """Return the single boards of pairs, and both of each pair by their number among these."""
    number, of_pair = np.unique(np.concatenate((pairs.first, pairs.second)), return_inverse=True)
    velocity = np.column_stack((held.east_kn, held.north_kn))[number]
    speed = np.hypot(*velocity.T)
    board = Board(
        number, held.mode[number], held.twa_deg[number], velocity / speed[:, np.newaxis], speed
    )
    half = len(pairs.first)
    return board, of_pair[:half], of_pair[half:]


# --- The graph -------------------------------------------------------------------------------


class Reckoning(Protocol):
    """How long it takes at least to get to places and on from there, where that is not one gauge's.

    Places are given in the plane, shape (n, 2), in degrees; hours have shape (n,).
    """

    def ahead(self, at: Array) -> Array:
        """Return less than the time from places to the mark."""

    def behind(self, at: Array) -> Array:
        """Return less than the time from the start to places."""

    def roughly(self, at: Array) -> tuple[Array, Array]:
        """Return about the times from the start to places, and on to the mark, for very many."""

    def aside(self, at: Array) -> Array:
        """Return how far places lie off the middle of the fastest ways. [°]."""


class Runs(NamedTuple):
    """How far boards of one velocity run free from places, these ascending where kept."""

    place: Numbers
    ahead: Array
    behind: Array

    def also(self, more: Runs) -> Runs:
        """Add other places."""
        both = [np.concatenate(each) for each in zip(self, more, strict=True)]
        order = np.argsort(both[0], kind="stable")
        place, ahead, behind = (each[order] for each in both)
        return Runs(place.astype(np.intp), ahead, behind)

    def of(self, place: Numbers) -> Runs:
        """Look places up, all of which are known."""
        at = np.searchsorted(self.place, place)
        return Runs(place, self.ahead[at], self.behind[at])


@dataclass(slots=True, eq=False)
class Graph:
    """Places and modes, and the boards between them.

    A state is a place, a mode, and whether she sails above or below a beam wind: on that
    depends what a change of side is.
    """

    waters: Waters
    held: VelocitySet
    speeds: Speeds
    costs: Costs
    hazards: Hazards
    board: Board
    one: Numbers
    """Both boards of each pair, in both orders."""
    two: Numbers
    limit_h: float
    """Boards on ways that take longer are left out."""
    lane: Lane | None
    strict: bool
    """Whether every board must touch the corner that it leads to or from."""
    inside: Callable[[Array], BoolArray] | None
    """Tells which places, in miles, lie in waters all of whose hazards are known."""
    bounces: int
    """How often one after the other a board may be held until a shore ends it."""
    reach: float
    sight_deg: float
    """So long pieces of lines are looked along one after the other."""
    reckoned: Reckoning | None = None
    """By which times to places are told, if not by the gauge of these speeds."""
    alive: BoolArray | None = None
    """From which places boards begin, shape (n,); from all if None."""
    near: BoolArray | None = None
    """At which they end; at all if None."""
    time: tuple[float, float] = (0.0, np.inf)
    """Which time these places are alive in, [h]"""
    longest_h: float = np.inf
    """longer than which no board lasts,"""
    runs: dict[Hashable, Runs] | None = None
    """and how far boards run free at any time, kept for whoever asks again."""
    came: Numbers = field(init=False)
    """The board by which a place at a shore is come to; -1 for corners."""
    latest: int = field(init=False)
    scale_at_ends: float = field(init=False)
    """Of the plane, the lesser of start and mark. [nm/°]"""
    ahead: Array = field(init=False)
    behind: Array = field(init=False)

    def __post_init__(self) -> None:
        places = self.waters.places
        self.came = np.full(len(places), -1, dtype=np.intp)
        self.latest = len(places)
        self.scale_at_ends = float(np.min(geodesy.miles_per_degree(places.lat[:2])))
        self.ahead, self.behind = self.ahead_of(places), self.behind_of(places)

    def ahead_of(self, places: Places) -> Array:
        """Return less than the time from places to the mark, shape (n,)."""
        if self.reckoned is not None:
            return self.reckoned.ahead(places.at)
        scale = geodesy.miles_per_degree(places.lat)
        return self._open(self.waters.places.at[MARK] - places.at, scale)

    def behind_of(self, places: Places) -> Array:
        """Return less than the time from the start to places, shape (n,)."""
        if self.reckoned is not None:
            return self.reckoned.behind(places.at)
        scale = geodesy.miles_per_degree(places.lat)
        return self._open(places.at - self.waters.places.at[START], scale)

    def _open(self, run: Array, scale: Array) -> Array:
        plane = np.hypot(*run.T)
        each = self.speeds.gauge.hours_per_mile(run / np.maximum(plane, 1e-12)[:, np.newaxis])
        nearest = np.minimum(scale, self.scale_at_ends)
        return np.where(plane > 0.0, plane * nearest * np.where(plane > 0, each, 0.0), 0.0)

    @property
    def modes(self) -> int:
        """States of one place."""
        return 2 * len(self.costs.modes)

    def state(self, place: Numbers, mode: Numbers, twa: Array) -> Numbers:
        """Number states."""
        return np.asarray(place * self.modes + 2 * mode + (twa >= 90.0))

    def mixed(self) -> list[Edges]:
        """List the boards of a pair's two angles, without such as end at a shore."""
        some = np.arange(len(self.waters.at))
        if self.alive is not None and self.near is not None:
            some = np.flatnonzero(self.alive | self.near)
        touch = self._of_use(some)
        return self._doubles(some, *self._runs(some, touch), touch)

    def edges(self) -> Edges:
        """List all boards, each pair of states once."""
        singles = self._singles()
        every = np.arange(len(self.waters.at))
        touch = self._of_use(every)
        ahead, behind = self._runs(every, touch)
        shores: list[Edges] = []
        for _ in range(self.bounces):
            added = self._up_to_shores(ahead)
            if added is None:
                break
            shores.append(added[0])
            of_use = self._of_use(added[1])
            more = self._runs(added[1], of_use)
            ahead, behind = np.concatenate((ahead, more[0])), np.concatenate((behind, more[1]))
            touch = np.concatenate((touch, of_use))
        return fewest(
            [singles, *shores, *self._doubles(np.arange(len(ahead)), ahead, behind, touch)]
        )

    # Boards of a pair's two angles.

    def _runs(self, places: Numbers, of_use: BoolArray) -> tuple[Array, Array]:
        """How far places' boards run free ahead, and behind, shape (n, k) each."""
        ahead, behind = np.zeros((2, *of_use.shape))
        for k in range(of_use.shape[1]):
            some = np.flatnonzero(of_use[:, k])
            run = self._known_runs(places[some], k)
            ahead[some, k], behind[some, k] = run.ahead, run.behind
        return ahead, behind

    def _known_runs(self, places: Numbers, k: int) -> Runs:
        if self.runs is None:
            return self._cast(places, k)
        key = self.time, self.board.towards[k].tobytes(), float(self.board.speed_kn[k])
        known = self.runs.get(key)
        if known is None:
            known = Runs(*np.empty((3, 0))).also(self._cast(places, k))
        else:
            new = places[~np.isin(places, known.place)]
            known = known.also(self._cast(new, k)) if new.size else known
        self.runs[key] = known
        return known.of(places)

    def _cast(self, places: Numbers, k: int) -> Runs:
        """Cast rays from places along a board, and against it."""
        run = np.zeros((2, len(places)))
        in_time = [self._held_in_time(places, k, sign) for sign in (1.0, -1.0)]
        some = np.flatnonzero(np.maximum(*in_time) > 0.0)
        if some.size:
            at, towards = self.waters.at[places[some]], self.board.towards[k]
            within = np.stack([each[some] for each in in_time])
            free = run_free(at, towards, self.waters.outlines, float(within.max()))
            run[:, some] = np.minimum(free, within)
        return Runs(places, *run)

    def _of_use(self, places: Numbers) -> BoolArray:
        """Tell which boards are looked for at places, shape (n, k).

        Of boards that must touch the corner that they lead to or from, no others are.
        """
        if self.strict:
            return self._touching(places)
        return np.ones((len(places), len(self.board.mode)), dtype=bool)

    def _touching(self, places: Numbers) -> BoolArray:
        """Tell which boards touch the corners of places, shape (n, k)."""
        return touching(self.waters.places.some(places), self.board.towards)

    def _held_in_time(self, places: Numbers, k: int, sign: float) -> Array:
        """Return how far a board may be held, ahead or behind, on any way within the limit.

        Of a convex function of the distance, made shorter until it fits: never too little.
        """
        w, towards, speed = self.waters, sign * self.board.towards[k], self.board.speed_kn[k]
        # Longer than the whole way no board of it is.
        longest_h = min(self.limit_h, self.longest_h)
        run = min(self.reach, longest_h * float(speed) / LEAST_SCALE)
        most = np.full(len(places), run)
        if not np.isfinite(self.limit_h):
            return most
        own = self.ahead if sign < 0.0 else self.behind
        open_ = np.arange(len(places))
        while run > LEAST_BOARD_NM and open_.size:
            at = places[open_]
            there = (w.at[at] + run * towards) / w.scale + w.middle
            other = self._other_h(there, sign)
            hours = own[at] + other + LEAST_SCALE * run / speed
            open_ = open_[hours > self.limit_h]
            most[open_], run = run, SHORTER * run
        most[open_] = 0.0
        return most

    def _other_h(self, there: Array, sign: float) -> Array:
        """Return less than the time from places on to the mark, or from the start to them."""
        if self.reckoned is not None:
            return self.reckoned.roughly(there)[1 if sign > 0.0 else 0]
        ends = self.waters.places.at
        on = ends[MARK] - there if sign > 0.0 else there - ends[START]
        return self._open(on, _least_scale(there[:, 1]))

    def _up_to_shores(self, ahead: Array) -> tuple[Edges, Numbers] | None:
        """Hold boards from the latest places until a shore ends them; add where they end."""
        w, board = self.waters, self.board
        latest = np.arange(len(w.at) - self.latest, len(w.at))
        touch = self._touching(latest)
        # Back by the board that she came on she does not go.
        touch &= self.came[latest][:, np.newaxis] != np.arange(len(board.mode))
        off = SHORE_M / METRES_PER_NM
        run = ahead[latest] - off
        row, k = np.nonzero(touch & (run > LEAST_BOARD_NM) & (run < self.reach - 2.0 * off))
        start, run = latest[row], run[row, k]
        keep = start != MARK
        start, run, k = start[keep], run[keep], k[keep]
        at = w.at[start] + run[:, np.newaxis] * board.towards[k]
        hours = run * w.stretch[start] / board.speed_kn[k]
        new = Places.loose(at / w.scale + w.middle)
        behind = self.behind_of(new)
        onward = self.ahead_of(new)
        keep = behind + onward <= self.limit_h
        if self.lane is not None:
            keep &= self._in_lane(at)
        if self.inside is not None:
            keep &= self.inside(at)
        keep = np.flatnonzero(keep)
        if not keep.size or len(w.at) + len(keep) > MOST_PLACES:
            return None
        number = len(w.at) + np.arange(len(keep))
        start, k, hours = start[keep], k[keep], hours[keep]
        edges = Edges(
            self.state(start, board.mode[k], board.twa_deg[k]),
            self.state(number, board.mode[k], board.twa_deg[k]),
            hours, board.number[k], np.full(len(k), -1),
        )  # fmt: skip
        self.waters = w.with_places(new.some(keep), at[keep])
        self.behind = np.concatenate((self.behind, behind[keep]))
        self.ahead = np.concatenate((self.ahead, onward[keep]))
        self.came = np.concatenate((self.came, k))
        self.latest = len(keep)
        return edges, number

    def _doubles(
        self, places: Numbers, ahead: Array, behind: Array, touch: BoolArray
    ) -> list[Edges]:
        """List the boards of pairs between places, whose boards run as free and touch or not."""
        number = np.arange(len(self.board.mode))
        came = self.came[places]
        may_start = touch & (ahead > LEAST_BOARD_NM) & (places != MARK)[:, np.newaxis]
        may_start &= came[:, np.newaxis] != number
        # A shore is where a board ends that could go no farther, and no other.
        may_end = touch & (behind > LEAST_BOARD_NM)
        may_end &= ((places != START) & (came < 0))[:, np.newaxis]
        if self.alive is not None and self.near is not None:
            may_start &= self.alive[places, np.newaxis]
            may_end &= self.near[places, np.newaxis]
        found = []
        for a, b in zip(self.one.tolist(), self.two.tolist(), strict=True):
            start, end = np.flatnonzero(may_start[:, a]), np.flatnonzero(may_end[:, b])
            if start.size and end.size:
                edges = self._pair(
                    a, b, places[start], places[end], ahead[start, a], behind[end, b]
                )  # fmt: skip
                found += [] if edges is None else [edges]
        return found

    def _pair(
        self, a: int, b: int, start: Numbers, end: Numbers, ahead: Array, behind: Array
    ) -> Edges | None:
        import shapely

        board, at = self.board, self.waters.at
        basis = np.column_stack((board.towards[a], board.towards[b]))
        if abs(np.linalg.det(basis)) < 0.05:
            return None
        skewed = np.linalg.inv(basis).T
        here, there = at[start] @ skewed, at[end] @ skewed
        most = self._cap(np.concatenate((here, there)), ahead, behind)
        boxes = shapely.box(
            here[:, 0] + 1e-4, here[:, 1] + 1e-4,
            here[:, 0] + np.minimum(ahead, most),
            here[:, 1] + np.minimum(np.max(behind), most),
        )  # fmt: skip
        row, column = shapely.STRtree(shapely.points(there)).query(boxes)
        run = there[column] - here[row]
        keep = (run[:, 1] <= behind[column]) & (run[:, 0] > 0.0) & (run[:, 1] > 0.0)
        return self._of_pair(a, b, start[row[keep]], end[column[keep]], run[keep])

    def _cap(self, skew: Array, ahead: Array, behind: Array) -> float:
        """How far boards of a pair are held at most, so that there are not too many."""
        area = float(np.prod(np.ptp(skew, axis=0) + 1e-6))
        density = len(behind) / area
        wide, high = np.minimum(ahead, FAR_NM), float(np.max(behind))
        most = FAR_NM
        for _ in range(40):
            expected = density * float(np.sum(np.minimum(wide, most))) * min(high, most)
            if expected < MOST_DOUBLES:
                break
            most = min(most, float(wide.max()), high) * 0.8
        return most

    def _of_pair(self, a: int, b: int, start: Numbers, end: Numbers, run: Array) -> Edges:
        board, costs = self.board, self.costs
        scale = 0.5 * (self.waters.stretch[start] + self.waters.stretch[end])
        hours = (run[:, 0] / board.speed_kn[a] + run[:, 1] / board.speed_kn[b]) * scale
        turn = costs.between(board.mode[a], board.twa_deg[a], board.mode[b], board.twa_deg[b])
        hours = hours + float(turn)
        keep = self._in_time(start, end, hours)
        start, end, hours, run = start[keep], end[keep], hours[keep], run[keep]
        turned = self.waters.at[start] + run[:, :1] * board.towards[a]
        keep = np.ones(len(start), dtype=bool)
        if self.lane is not None:
            keep &= self._in_lane(turned)
        if self.inside is not None:
            keep &= self.inside(turned)
        start, end, hours = start[keep], end[keep], hours[keep]
        n = np.ones(len(start), dtype=np.intp)
        return Edges(
            self.state(start, board.mode[a] * n, board.twa_deg[a] * n),
            self.state(end, board.mode[b] * n, board.twa_deg[b] * n),
            hours, board.number[a] * n, board.number[b] * n,
        )  # fmt: skip

    def _in_time(self, start: Numbers, end: Numbers, hours: Array) -> BoolArray:
        return np.asarray(self.behind[start] + hours + self.ahead[end] <= self.limit_h)

    def _in_lane(self, at: Array) -> BoolArray:
        assert self.lane is not None
        return self.lane.holds(at / self.waters.scale + self.waters.middle)

    # Boards on other angles.

    def _singles(self) -> Edges:
        return self.straight(*self.in_sight())

    def straight(self, start: Numbers, end: Numbers) -> Edges:
        """List the boards from places to others that they see, in every mode that can."""
        run = self.waters.at[end] - self.waters.at[start]
        plane = np.hypot(*run.T)
        speed, twa = self.speeds.along(run / plane[:, np.newaxis])
        miles = plane * 0.5 * (self.waters.stretch[start] + self.waters.stretch[end])
        row, mode = np.nonzero(speed > 0.0)
        hours = miles[row] / speed[row, mode]
        keep = self._in_time(start[row], end[row], hours)
        row, mode, hours = row[keep], mode[keep], hours[keep]
        angle = twa[row, mode]
        none = np.full(len(row), -1)
        return Edges(
            self.state(start[row], mode, angle),
            self.state(end[row], mode, angle),
            hours,
            none,
            none,
        )

    def in_sight(self) -> tuple[Numbers, Numbers]:
        """Return pairs of places that see each other, and whose line touches what it passes."""
        one, other = self._near_pairs()
        places, at = self.waters.places, self.waters.at
        towards = at[other] - at[one]
        there = self._worth_a_look(one, other, towards)
        back = self._worth_a_look(other, one, -towards)
        some = there | back
        ends = np.concatenate((places.at[one[some]], places.at[other[some]]), axis=1)
        free = np.zeros(len(one), dtype=bool)
        free[some] = self.hazards.seen(ends, self.sight_deg)
        there, back = there & free, back & free
        return (
            np.concatenate((one[there], other[back])),
            np.concatenate((other[there], one[back])),
        )

    def _worth_a_look(self, start: Numbers, end: Numbers, towards: Array) -> BoolArray:
        miles = np.hypot(*towards.T)
        hours = miles * self.speeds.gauge.hours_per_mile(towards / miles[:, np.newaxis])
        in_time = self._in_time(start, end, hours * 0.98)
        return np.asarray(in_time & (start != MARK) & (end != START))

    def _near_pairs(self) -> tuple[Numbers, Numbers]:
        """Return pairs of places that may be looked along, each pair once."""
        places, at = self.waters.places, self.waters.at
        one, other = pairs_touching(places, at, self._sights())
        # From start and mark all are looked at.
        for end in (START, MARK):
            far = np.arange(end + 1, len(at))
            towards = at[far] - at[end]
            far = far[touches(places, far, towards) & np.any(towards != 0.0, axis=1)]
            one = np.concatenate((one, np.full(len(far), end)))
            other = np.concatenate((other, far))
        return one, other

    def _sights(self) -> Array:
        """How far each place looks, shape (n,)."""
        at, count = self.waters.at, len(self.waters.at)
        if count * count <= NEIGHBOURS:
            return np.full(count, np.inf)
        # Where hazards had to be left out she threads a multitude: there far sights pay.
        most = NEIGHBOURS if self.inside is not None else NEIGHBOURS_OF_ALL
        return _reach_of(at, most // count)

    # The fastest chains.

    def states_of(self, boards: Edges) -> BoolArray:
        """Tell in which states boards begin or end, shape (n, modes)."""
        used = np.zeros((len(self.waters.at), self.modes), dtype=bool)
        for states in (boards.start, boards.end):
            used[states // self.modes, states % self.modes] = True
        return used

    def turns(self, before: BoolArray, after: BoolArray) -> Edges:
        """List the turns at places, from some of the states there to others, shape (n, modes)."""
        half = np.arange(self.modes)
        mode, twa = half // 2, np.where(half % 2 == 1, 120.0, 45.0)
        cost = self.costs.between(mode[:, np.newaxis], twa[:, np.newaxis], mode, twa)
        # One above and one below a beam wind: by their true angles it may be either.
        mixed = (half[:, np.newaxis] + half) % 2 == 1
        least: Array = np.min(self.costs.table_h, axis=0)
        cost = np.where(mixed, least[np.ix_(mode, mode)], cost)
        some = np.flatnonzero(np.any(before, axis=1))
        others = ~np.eye(self.modes, dtype=bool)
        row, one, other = np.nonzero(before[some, :, np.newaxis] & after[some, np.newaxis] & others)
        place, none = some[row], np.full(len(row), -2)
        return Edges(
            place * self.modes + one, place * self.modes + other, cost[one, other], none, none
        )


def _least_scale(isometric_deg: Array) -> Array:
    """Return a little less than the scale of the plane, without the latitude [nm/°].

    On a sphere it is a·sech ψ; on the ellipsoid that is too much by ½e²·sin²φ at most, and by
    terms in e⁴.
    """
    radius = geodesy.EQUATORIAL_RADIUS_NM * (1.0 - 0.51 * geodesy.ECCENTRICITY_SQUARED)
    return np.asarray(np.radians(radius) / np.cosh(np.radians(isometric_deg)))


def _reach_of(at: Array, wanted: int) -> Array:
    """Return about how far from each place so many others lie, shape (n,)."""
    low, extent = at.min(axis=0), np.ptp(at, axis=0) + 1e-6
    cell = float(np.sqrt(wanted * np.prod(extent) / (len(at) * np.pi)))
    number = np.floor((at - low) / cell).astype(np.intp) + 1
    shape = np.ceil(extent / cell).astype(np.intp) + 3
    counts = np.zeros(shape)
    np.add.at(counts, tuple(number.T), 1.0)
    around = sum(counts[number[:, 0] + i, number[:, 1] + j] for i in (-1, 0, 1) for j in (-1, 0, 1))
    return np.asarray(cell * np.sqrt(9.0 * wanted / (np.pi * around)))


def touching(places: Places, towards: Array) -> BoolArray:
    """Tell which boards, by their direction, touch each place's hazard; shape (n, k)."""
    every = np.arange(len(places))
    found = np.zeros((len(places), len(towards)), dtype=bool)
    for k, each in enumerate(towards):
        found[:, k] = touches(places, every, np.broadcast_to(each, (len(places), 2)))
    return found


def together(edges: list[Edges]) -> Edges:
    """Join lists of boards."""
    start, end, hours, first, second = (np.concatenate(each) for each in zip(*edges, strict=True))
    return Edges(start, end, hours, first, second)


def fewest(every: list[Edges]) -> Edges:
    """Keep the fastest from each state to each other."""
    edges = together(every)
    order = np.lexsort((edges.hours, edges.end, edges.start))
    start, end = edges.start[order], edges.end[order]
    first = np.ones(len(order), dtype=bool)
    first[1:] = (start[1:] != start[:-1]) | (end[1:] != end[:-1])
    return edges.some(order[first])


# --- The fastest chains ----------------------------------------------------------------------


class Chain(NamedTuple):
    """A way from start to mark, and how long it takes."""

    hours: float
    steps: tuple[Step, ...]


@dataclass(slots=True, eq=False)
class Net:
    """All boards and turns, made ready to be searched."""

    graph: Graph
    edges: Edges
    _key: Numbers = field(init=False)

    def __post_init__(self) -> None:
        self._sort()

    @classmethod
    def of(cls, graph: Graph) -> Net:
        """List boards and turns."""
        boards = graph.edges()
        used = graph.states_of(boards)
        return cls(graph, together([boards, graph.turns(used, used)]))

    @property
    def _count(self) -> int:
        return len(self.graph.waters.at) * self.graph.modes

    def _sort(self) -> None:
        key = self.edges.start * self._count + self.edges.end
        order = np.argsort(key, kind="stable")
        self.edges = self.edges.some(order)
        self._key = key[order]

    def without(self, steps: Sequence[Step]) -> None:
        """Leave out some boards for good."""
        keys = np.array([step.start * self._count + step.end for step in steps])
        keep = ~np.isin(self._key, keys)
        self.edges, self._key = self.edges.some(keep), self._key[keep]

    def fastest(self, firsts: frozenset[int] | None, only: frozenset[int] | None,
                slack_h: float) -> list[Chain]:  # fmt: skip
        """Return the fastest chains to the mark.

        Parameters
        ----------
        firsts, only : frozenset of int, optional
            Modes that may come first, and that may be used at all.
        slack_h : float
            Above zero, of every first and last mode the fastest that takes no more than so
            much longer than the fastest of all. [h]
        """
        modes = range(len(self.graph.costs.modes))
        wanted = [m for m in modes if (firsts is None or m in firsts)]
        wanted = [m for m in wanted if only is None or m in only]
        groups = [[m] for m in wanted] if slack_h > 0.0 else [wanted]
        edges = self._allowed(only)
        best, found = np.inf, []
        for group in groups if wanted else ():
            these = self._from(edges, group, min(self.graph.limit_h, best + slack_h), slack_h)
            best = min([best, *(chain.hours for chain in these)])
            found += these
        return [chain for chain in found if chain.hours <= best + slack_h]

    def _allowed(self, only: frozenset[int] | None) -> Edges:
        edges, per = self.edges, self.graph.modes
        keep = ~((edges.first == -2) & (edges.start // per == START))
        if only is not None:
            inside = np.isin(np.arange(per) // 2, list(only))
            keep &= inside[edges.start % per] & inside[edges.end % per]
        return edges.some(keep)

    def _from(self, edges: Edges, group: list[int], limit_h: float, slack_h: float) -> list[Chain]:
        from scipy.sparse import csr_array
        from scipy.sparse.csgraph import dijkstra

        per, count = self.graph.modes, self._count
        starts = START * per + np.array([[2 * m, 2 * m + 1] for m in group]).ravel()
        begins = np.searchsorted(edges.start, np.arange(count + 1))
        # An explicit nothing would be no edge.
        net = csr_array(
            (np.maximum(edges.hours, 1e-12), edges.end.astype(np.int32), begins.astype(np.int32)),
            shape=(count, count),
        )
        hours, before, _ = dijkstra(
            net, indices=starts, min_only=True, return_predecessors=True,
            limit=limit_h if np.isfinite(limit_h) else np.inf,
        )  # fmt: skip
        there = MARK * per + np.arange(per)
        ends = there.reshape(-1, 2)[np.arange(per // 2), np.argmin(hours[there].reshape(-1, 2), 1)]
        if slack_h <= 0.0:
            ends = ends[[int(np.argmin(hours[ends]))]]
        return [
            Chain(float(hours[end]), self._steps(before, int(end)))
            for end in ends.tolist()
            if np.isfinite(hours[end])
        ]

    def _steps(self, before: Numbers, end: int) -> tuple[Step, ...]:
        states = [end]
        while before[states[-1]] >= 0:
            states.append(int(before[states[-1]]))
        states.reverse()
        pairs = np.array([states[:-1], states[1:]], dtype=np.intp)
        at = np.searchsorted(self._key, pairs[0] * self._count + pairs[1])
        first, second = self.edges.first[at], self.edges.second[at]
        modes = self.edges.end[at] % self.graph.modes // 2
        return tuple(
            Step(*each)
            for each in zip(
                pairs[0].tolist(), pairs[1].tolist(), modes.tolist(), first.tolist(),
                second.tolist(), strict=True,
            )
            if each[3] != -2
        )  # fmt: skip


# --- The boards of a chain -------------------------------------------------------------------


class Drawn(NamedTuple):
    """The boards of a step in the plane."""

    points: Array
    """Shape (b + 1, 2), in degrees."""
    numbers: tuple[int, ...]
    """Velocities, by index in the set; -1 for a board on another angle."""


def drawn(graph: Graph, step: Step) -> Drawn:
    """Lay out a step in the plane."""
    waters, per = graph.waters, graph.modes
    start, end = waters.places.at[step.start // per], waters.places.at[step.end // per]
    if step.second < 0:
        return Drawn(np.stack((start, end)), (step.first,))
    velocity = np.column_stack((graph.held.east_kn, graph.held.north_kn))
    a, b = velocity[step.first], velocity[step.second]
    share = np.linalg.solve(np.column_stack((a, b)), end - start)
    return Drawn(np.stack((start, start + share[0] * a, end)), (step.first, step.second))


def free_chains(
    net: Net, firsts: frozenset[int] | None, only: frozenset[int] | None, slack_h: float
) -> list[Chain]:
    """Return the fastest chains, as `Net.fastest`, each board of which truly keeps clear."""
    for _ in range(TRIALS):
        chains = net.fastest(firsts, only, slack_h)
        steps = list(dict.fromkeys(step for chain in chains for step in chain.steps))
        crossing = _crossing(net.graph, steps)
        if not crossing:
            return chains
        net.without(crossing)
    return []


def _crossing(graph: Graph, steps: Sequence[Step]) -> list[Step]:
    lines = [drawn(graph, step).points for step in steps]
    pieces = [np.concatenate((line[:-1], line[1:]), axis=1) for line in lines]
    if not pieces:
        return []
    of = np.repeat(np.arange(len(pieces)), [len(each) for each in pieces])
    met = graph.hazards.met(np.concatenate(pieces))
    return [steps[at] for at in np.unique(of[met]).tolist()]


# --- Which hazards, which corners ------------------------------------------------------------


MOST_CORNERS = (6000, 15_000, 60_000)
"""Among so many first, and among more where they leave no way; that takes its time."""

NEARLY_NOTHING = 0.02
"""A detour by less than this share of the way makes no place a worse one: else, near both ends,
where every detour is sharp, too narrow a strip would be looked at to get out of a bay."""

FEW_CORNERS = 700
"""Among so few a board need not touch the corner that it leads to or from."""

SAMPLES = 17


def graph_of(
    about: About,
    held: VelocitySet,
    costs: Costs,
    *,
    spacing_nm: float,
    lane: Lane | None,
    limit_h: float,
    speeds: Speeds,
    most_corners: int,
    bounces: int,
) -> Graph:
    """Gather the corners about a leg, and all that a search between them asks."""
    hazards, measure, box = about.hazards, about.measure, about.box
    solids, most = about.nearest(limit_h, most_corners)
    corners = hazards.corners(solids, box, spacing_nm)
    inside = measure(corners.places) <= most
    if np.isfinite(limit_h):
        inside &= measure.excess(corners.places) <= limit_h / measure.hours - 1.0
    if lane is not None:
        inside &= lane.holds(corners.places)
    ends = np.stack((measure.start, measure.mark))
    nowhere = np.full((2, 2), np.nan)
    at = np.concatenate((ends, corners.places[inside]))
    places = Places(
        at,
        geodesy.latitude_from_isometric(at[:, 1]),
        np.concatenate((nowhere, corners.before[inside])),
        np.concatenate((nowhere, corners.after[inside])),
        np.concatenate((np.full(2, -1), corners.solid[inside])).astype(np.intp),
        corners.over,
    )
    waters = waters_about(places, _nearly(hazards.forbidden(solids, _wider(box))))
    board, one, two = boards_of(held, worthy(held, speeds.gauge))
    few = len(places) <= FEW_CORNERS
    middle, scale = waters.middle, waters.scale
    return Graph(
        waters=waters, held=held, speeds=speeds, costs=costs, hazards=hazards, board=board,
        one=np.concatenate((one, two)), two=np.concatenate((two, one)), limit_h=limit_h,
        lane=lane, strict=not few,
        inside=None if not np.isfinite(most) else lambda at: measure(at / scale + middle) <= most,
        bounces=bounces, reckoned=about.measure.reckoned,
        reach=2.0 * float(np.max(np.ptp(waters.at, axis=0))) + 1.0,
        sight_deg=_sight_deg(hazards, solids),
    )  # fmt: skip


def _sight_deg(hazards: Hazards, solids: Numbers) -> float:
    """Return a few times the size that most hazards have."""
    if not len(solids):
        return 1.0
    boxes = hazards.boxes_of(solids)
    return SIGHT_SIZES * float(np.median(boxes[:, 2:] - boxes[:, :2]))


def _wider(box: Array) -> Array:
    room = 0.02 * np.tile(box[2:] - box[:2], 2)
    return np.asarray(box + room * [-1.0, -1.0, 1.0, 1.0])


def _nearly(shapes: AnyArray) -> AnyArray:
    """Leave out vertices that matter less than what corners stand farther out."""
    import shapely

    lat = geodesy.latitude_from_isometric(shapely.bounds(shapes)[:, 1])
    return np.asarray(
        shapely.simplify(
            shapes,
            NEARLY_M / METRES_PER_NM / geodesy.miles_per_degree(lat),
            preserve_topology=False,
        )
    )


@dataclass(frozen=True, slots=True, eq=False)
class Measure:
    """How far off the best displacement places lie: a convex function of the plane.

    Convex, so that of two places within a bound all between them is within it too.
    """

    gauge: Gauge
    start: Array
    mark: Array
    least: float
    """In hours, if a degree were a mile; true hours where they are reckoned."""
    reckoned: Reckoning | None = None

    @classmethod
    def of(cls, gauge: Gauge, leg: Array, reckoned: Reckoning | None = None) -> Measure:
        """Measure about a leg, as `Hazards.in_plane` draws it."""
        made = cls(gauge, leg[:2], leg[2:], 0.0, reckoned)
        return replace(made, least=float(made._there_and_on(leg[np.newaxis, 2:])[0]))

    def __call__(self, at: Array, excess: Array | None = None) -> Array:
        """Return how far off places lie, by time and aside, shape (n,)."""
        aside = self._aside(at) / float(np.hypot(*(self.mark - self.start)))
        excess = self.excess(at) if excess is None else excess
        slower = np.maximum(excess - NEARLY_NOTHING, 0.0)
        # Dead to windward all within the laylines is alike: the nearer to the line the better.
        return np.asarray(slower + 0.2 * aside)

    def _aside(self, at: Array) -> Array:
        if self.reckoned is not None:
            return self.reckoned.aside(at)
        along, off = self.mark - self.start, at - self.start
        foot = np.clip(off @ along / float(along @ along), 0.0, 1.0)[:, np.newaxis] * along
        return np.asarray(np.hypot(*(off - foot).T))

    def excess(self, at: Array) -> Array:
        """Return by what share the way over a place is slower, hazards or not."""
        return self._there_and_on(at) / self.least - 1.0

    @property
    def hours(self) -> float:
        """At least so long the leg takes."""
        if self.reckoned is not None:
            return self.least
        lat = geodesy.latitude_from_isometric(np.array([self.start[1], self.mark[1]]))
        return self.least * float(np.min(geodesy.miles_per_degree(lat)))

    def _there_and_on(self, at: Array) -> Array:
        if self.reckoned is not None:
            there, on = self.reckoned.roughly(at)
            return there + on
        return self._hours(at - self.start) + self._hours(self.mark - at)

    def _hours(self, run: Array) -> Array:
        plane = np.hypot(*run.T)
        each = self.gauge.hours_per_mile(run / np.maximum(plane, 1e-12)[:, np.newaxis])
        return np.where(plane > 1e-12, plane * np.where(plane > 1e-12, each, 0.0), 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class About:
    """The hazards about a leg, and how far off its fastest displacements they lie."""

    hazards: Hazards
    measure: Measure
    box: Array
    solids: Numbers
    weight: Array
    """Shape (s,): about how many corners each has."""
    off: Array
    """Shape (s,): by the measure, their nearest."""
    excess: Array
    """Shape (s,): by what share a way over them is slower at least."""

    @classmethod
    def of(
        cls, hazards: Hazards, gauge: Gauge, leg: Array, box: Array,
        reckoned: Reckoning | None = None,
    ) -> About:  # fmt: skip
        """Measure what reaches into a box about a leg, both as `Hazards.in_plane` draws them."""
        measure = Measure.of(gauge, leg, reckoned)
        solids, boxes, weight = hazards.reaching_into(box)
        off, excess = np.full(len(solids), np.inf), np.full(len(solids), np.inf)
        for share in np.linspace(0.0, 1.0, SAMPLES) if len(solids) else ():
            place = measure.start + share * (measure.mark - measure.start)
            nearest = np.clip(place, boxes[:, :2], boxes[:, 2:])
            slower = measure.excess(nearest)
            excess = np.minimum(excess, slower)
            off = np.minimum(off, measure(nearest, slower))
        return cls(hazards, measure, box, solids, weight, off, excess)

    @property
    def least_h(self) -> float:
        """Less than the time that the leg takes in open water, manoeuvres left out."""
        return self.measure.hours

    def crowded(self, limit_h: float, most_corners: int) -> bool:
        """Whether not all hazards can be looked at for ways that take so long at most."""
        return bool(np.isfinite(self.nearest(limit_h, most_corners)[1]))

    def nearest(self, limit_h: float, most_corners: int) -> tuple[Numbers, float]:
        """Choose the hazards nearest to the fastest displacements, and up to what measure all are.

        Those alone that ways within the limit may come near; infinite where these are all.
        """
        useful = self.excess <= (limit_h / self.measure.hours - 1.0) * 1.1 + 1e-3
        solids, off, weight = self.solids[useful], self.off[useful], self.weight[useful]
        if weight.sum() <= most_corners:
            return solids, float("inf")
        order = np.argsort(off, kind="stable")
        kept = int(np.searchsorted(np.cumsum(weight[order]), most_corners))
        return np.sort(solids[order[:kept]]), float(off[order[kept]])
