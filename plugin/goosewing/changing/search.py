"""Minimum-time search over place, tack and sail set, in wind and stream that change.

States keep their exact position; a grid serves only to forget: of all states in
one cell and one mode (tack and sail set) the best is kept, judged by its time
plus a fair guess of what remains. States are taken up in the order of their
times, a batch at once, so that none is looked at before it is final.

The grid is coarse at first, whatever the length of the leg; then it is refined,
and only cells near the way just found are looked at, until a step is short
against the changes of the weather. The work so grows no faster than the length.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from goosewing.boat import manoeuvres
from goosewing.changing.motion import Airs, Waters, degrees_per_hour
from goosewing.earth import geodesy
from goosewing.velocities.velocity_set import ON_THE_RAY_KN, along_and_across, fastest_mix

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from goosewing.boat.model import SailSet
    from goosewing.earth.course import Course
    from goosewing.hazards.areas import Hazards
    from goosewing.hazards.free_water import Waterways
    from goosewing.units import Array, BoolArray
    from goosewing.velocities.velocity_set import VelocitySet

    Numbers = NDArray[np.intp]
    Column = NDArray[Any]

CELLS_ALONG = 44
"""Cells along a leg in the first, coarse round."""

STEP_IN_CELLS = 1.5
"""Length of a step, at the speed made good, in cells: it must leave its cell."""

LONGEST_STEP_H = 0.75
"""Rounds of refinement go on until a step is no longer than this. [h]"""

BAND_CELLS = 7
"""Half the width of the band searched around the way found before, in coarse cells."""

BOX = (0.35, 0.8)
"""How far the first area reaches beyond the ends and to either side, in lengths of the leg."""

LARGE = 3.0
"""From so many times the first area on, cells grow with it."""

LEAST_STEPS = 20
"""Nor until the whole way has taken so many steps."""

LONGEST_GUESSES = 30.0
WAIT_H = 48.0
"""No leg is searched for longer than so many times its guess, and two days of waiting for wind."""

SLOWEST_H_PER_NM = 10.0
"""The guess for a direction in which nothing is made good. [h/nm]"""

ENGINE_ROWS = 53
"""Headings tried under engine, all round; first and last are one."""

ANGLE_STEP_DEG = 7.0
"""Spacing of the wind angles tried, apart from the best ones: the polish steers between them."""


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
    """The polar's angle by which each place was reached; NaN at the first."""


@dataclass(frozen=True, slots=True, eq=False)
class Way:
    """A way found over one leg."""

    root: int
    """Index of the root from which it began."""
    root_mode: int
    """Its mode, −1 if free."""
    stretches: tuple[Stretch, ...]
    arrival_h: float

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
        Cells are this much smaller than usual.
    widest : float
        The first area grows to this many times its size where nothing arrives within it.
    """

    shortest_h: float = 0.0
    free: bool = False
    fineness: float = 1.0
    widest: float = 3.0


@dataclass(slots=True, eq=False)
class _Store:
    """All states of one round, growing by blocks."""

    time: Array
    lat: Array
    lon: Array
    mode: Numbers
    row: Array
    sailed: Array
    parent: Numbers
    cell: Numbers
    """Where it is kept; of a cell that land parts, each part counts for itself."""
    square: Numbers
    """The cell it is in."""
    along: Array
    across: Array
    """Where that is in the grid."""
    count: int = 0

    @classmethod
    def empty(cls) -> _Store:
        size = 4096
        value, number = np.empty(size), np.empty(size, dtype=np.intp)
        return cls(
            value, value.copy(), value.copy(), number, value.copy(), value.copy(),
            number.copy(), number.copy(), number.copy(), value.copy(), value.copy(),
        )  # fmt: skip

    _columns = (
        "time", "lat", "lon", "mode", "row", "sailed", "parent",
        "cell", "square", "along", "across",
    )  # fmt: skip

    def add(self, block: dict[str, Column]) -> Numbers:
        """Append states and return their indices."""
        size = len(block["time"])
        while self.count + size > len(self.time):
            for name in self._columns:
                old = getattr(self, name)
                setattr(self, name, np.concatenate((old, np.empty_like(old))))
        index = np.arange(self.count, self.count + size)
        for name in self._columns:
            getattr(self, name)[index] = block[name]
        self.count += size
        return index


class _Places(NamedTuple):
    """Places about which a way may bend; arrays of shape (n,)."""

    lat: Array
    lon: Array
    nm_per_deg: Array
    """Miles to a degree of the Mercator plane there."""


@dataclass(frozen=True, slots=True, eq=False)
class _Grid:
    """Square cells in the Mercator plane, lying along the leg."""

    course: Course
    cell_deg: float
    ahead: int
    aside: int
    allowed: BoolArray | None = None

    @property
    def shape(self) -> tuple[int, int]:
        return self.ahead_total, 2 * self.aside + 1

    @property
    def ahead_total(self) -> int:
        return int(np.ceil(self.course.mercator_deg / self.cell_deg)) + 2 * self.ahead + 1

    def place(self, lat: Array, lon: Array) -> tuple[Array, Array]:
        """Cells along and across, as fractions."""
        course = self.course
        offset = geodesy.mercator_offset(course.lat1, course.lon1, lat, lon)
        angle = np.radians(course.bearing_deg)
        along = offset.east_deg * np.sin(angle) + offset.north_deg * np.cos(angle)
        across = offset.east_deg * np.cos(angle) - offset.north_deg * np.sin(angle)
        return along / self.cell_deg + self.ahead, across / self.cell_deg + self.aside

    def from_plane(self, east_north_deg: Array) -> Array:
        """Turn offsets from the leg's start in the plane into cells, shape (n, 2)."""
        angle = np.radians(self.course.bearing_deg)
        along = np.array([np.sin(angle), np.cos(angle)])
        across = np.array([np.cos(angle), -np.sin(angle)])
        cells = east_north_deg @ np.column_stack((along, across)) / self.cell_deg
        return np.asarray(cells + np.array([self.ahead, self.aside]))

    def to_plane(self, cells: Array) -> geodesy.Offset:
        """Turn differences in cells, shape (n, 2), into offsets in the plane."""
        angle = np.radians(self.course.bearing_deg)
        sin, cos = np.sin(angle), np.cos(angle)
        along, across = cells.T * self.cell_deg
        return geodesy.Offset(along * sin + across * cos, along * cos - across * sin)

    def places(self, cells: Array) -> _Places:
        """Where places in cells, shape (n, 2), are on the earth."""
        offset = self.to_plane(cells - np.array([self.ahead, self.aside]))
        north = float(geodesy.isometric_latitude(self.course.lat1)) + offset.north_deg
        lat = geodesy.latitude_from_isometric(north)
        _, per_nm = degrees_per_hour(lat, np.ones(len(lat)), np.zeros(len(lat)))
        return _Places(lat, self.course.lon1 + offset.east_deg, 1.0 / per_nm)

    def cells(self, along: Array, across: Array) -> Numbers:
        """Index of the cell of each place, in cells; −1 outside the area."""
        i, j = np.floor(along + 0.5), np.floor(across + 0.5)
        with np.errstate(invalid="ignore"):
            inside = (i >= 0) & (i < self.shape[0]) & (j >= 0) & (j < self.shape[1])
        flat = np.where(inside, i * self.shape[1] + j, -1.0).astype(np.intp)
        if self.allowed is not None:
            flat = np.where((flat >= 0) & self.allowed.ravel()[flat], flat, -1)
        return flat


@dataclass(slots=True, eq=False)
class _Round:
    """One search on one grid."""

    waters: Waters
    course: Course
    roots: tuple[Root, ...]
    grid: _Grid
    step_h: float
    gauge: Array
    fastest_kn: float
    what: Search
    costs: Array
    rows: list[Array]
    progress: Callable[[float], None] | None
    store: _Store = field(default_factory=_Store.empty)
    least_change_h: Array = field(init=False)
    cell_nm: float = field(init=False)
    latest_h: float = field(init=False)
    best: Array = field(init=False)
    holder: Numbers = field(init=False)
    water: Waterways | None = field(init=False)
    corners: _Places = field(init=False)
    arrived: dict[int, tuple[float, int]] = field(default_factory=dict)
    touched: bool = False

    def __post_init__(self) -> None:
        self.water = _waterways(self.waters.hazards, self.grid)
        cells = int(np.prod(self.grid.shape))
        if self.water is not None:
            cells = self.water.slots
            self.corners = self.grid.places(self.water.corners.place)
        size = cells * len(self.waters.modes)
        elsewhere = np.where(
            np.eye(len(self.waters.modes), dtype=bool), np.inf, self.costs.min(axis=0)
        )
        nm_per_deg = self.course.distance_nm / self.course.mercator_deg
        self.cell_nm = self.grid.cell_deg * nm_per_deg
        guess_h = self.course.distance_nm * float(np.min(self.gauge[-1]))
        self.latest_h = max(root.time_h for root in self.roots) + LONGEST_GUESSES * guess_h + WAIT_H
        least = elsewhere.min(axis=1)
        self.least_change_h = np.where(np.isfinite(least), least, 0.0)
        self.best = np.full(size, np.inf)
        self.holder = np.full(size, -1, dtype=np.intp)

    def run(self) -> None:
        """Take up states batch by batch until nothing can arrive earlier."""
        pending = self._start()
        while pending.size:
            times = self.store.time[pending]
            first = times.min()
            if first > self._deadline():
                break
            now = times <= first + 0.9 * self.step_h
            batch, pending = pending[now], pending[~now]
            batch = batch[self.holder[self._slots(batch)] == batch]
            if self.progress is not None and batch.size:
                self.progress(
                    float(self._remaining(self.store.lat[batch], self.store.lon[batch]).min())
                )
            born = [self._change(batch), self._sail(batch)]
            pending = np.concatenate((pending, *born))

    def _slots(self, index: Numbers) -> Numbers:
        return self.store.cell[index] * len(self.waters.modes) + self.store.mode[index]

    def _deadline(self) -> float:
        if not self.arrived:
            return np.inf
        return min(time for time, _ in self.arrived.values()) + float(self.costs.max())

    def _start(self) -> Numbers:
        born = []
        for number, root in enumerate(self.roots):
            modes = [root.mode] if root.mode >= 0 else range(len(self.waters.modes))
            for mode in modes:
                one = np.ones(1)
                born.append(
                    self._keep(
                        time=one * root.time_h, lat=one * self.course.lat1,
                        lon=one * self.course.lon1, mode=np.full(1, mode),
                        row=one * np.nan, sailed=one * root.sailed_h,
                        parent=np.full(1, -1 - number),
                    )
                )  # fmt: skip
        return np.concatenate(born)

    def _remaining(self, lat: Array, lon: Array) -> Array:
        """Distance to the mark, in nautical miles."""
        return self._distance_and_bearing(lat, lon)[0]

    def _distance_and_bearing(self, lat: Array, lon: Array) -> tuple[Array, Array]:
        offset = geodesy.mercator_offset(lat, lon, self.course.lat2, self.course.lon2)
        scale = self.course.distance_nm / self.course.mercator_deg
        bearing = np.degrees(np.arctan2(offset.east_deg, offset.north_deg)) % 360.0
        return np.asarray(np.hypot(offset.east_deg, offset.north_deg) * scale), bearing

    def _to_go_h(self, remaining: Array, bearing: Array, mode: Numbers) -> Array:
        """A fair guess of the hours to go: in the same mode, or after one change of it."""
        low = bearing.astype(np.intp)
        part = bearing - low

        def per_nm(row: Numbers | int) -> Array:
            return np.asarray(self.gauge[row, low] * (1.0 - part) + self.gauge[row, low + 1] * part)

        changed = remaining * per_nm(-1) + self.least_change_h[mode]
        return np.asarray(np.minimum(remaining * per_nm(mode), changed))

    def _keep(self, *, slow: BoolArray | None = None, **block: Column) -> Numbers:
        """Add states that are the best of their cell and mode so far; return their indices.

        A state that is too slow to leave its cell within a step may take its
        parent's place there, though it can't be better: else a lull would end the search.
        """
        lost = ~(np.abs(block["lat"]) < 89.0) | ~np.isfinite(block["lon"] + block["time"])
        block["lat"] = np.where(lost, self.course.lat1, block["lat"])
        block["lon"] = np.where(lost, self.course.lon1, block["lon"])
        along, across = self.grid.place(block["lat"], block["lon"])
        square = np.where(lost, -1, self.grid.cells(along, across))
        cell = square if self.water is None else self.water.slot(square, along, across)
        block.update(cell=cell, square=square, along=along, across=across)
        remaining, bearing = self._distance_and_bearing(block["lat"], block["lon"])
        self.touched |= bool(np.any(~lost & (cell < 0))) and self.grid.allowed is None
        ok = cell >= 0
        ok &= block["time"] + remaining / self.fastest_kn <= min(self._deadline(), self.latest_h)
        to_go = self._to_go_h(remaining, bearing, block["mode"])
        value = np.where(ok, block["time"] + to_go, np.inf)
        slot = np.where(ok, cell * len(self.waters.modes) + block["mode"], 0)
        better = value < self.best[slot] - 1e-9
        if slow is not None:
            better |= slow & (self.holder[slot] == block["parent"])
        at = np.flatnonzero(ok & better)
        if self.water is not None and slow is not None:
            at = at[self._clear({name: values[at] for name, values in block.items()})]
        if not at.size:
            return at
        at = at[np.lexsort((value[at], slot[at]))]
        first = np.ones(at.size, dtype=bool)
        first[1:] = slot[at][1:] != slot[at][:-1]
        at = at[first]
        index = self.store.add({name: values[at] for name, values in block.items()})
        self.best[slot[at]] = value[at]
        self.holder[slot[at]] = index
        return index

    def _clear(self, block: dict[str, Column]) -> BoolArray:
        """Tell which steps, from parents to new states, cross no hazard."""
        s, water, hazards = self.store, self.water, self.waters.hazards
        clear = np.ones(len(block["lat"]), dtype=bool)
        if water is None or hazards is None:
            return clear
        parent = block["parent"]
        length = np.hypot(block["along"] - s.along[parent], block["across"] - s.across[parent])
        at = np.flatnonzero(water.doubtful(s.square[parent], block["square"], length))
        if at.size:
            lat, lon = s.lat[parent[at]], s.lon[parent[at]]
            clear[at] = ~hazards.crossed(lat, lon, block["lat"][at], block["lon"][at])
        return clear

    def _change(self, batch: Numbers) -> Numbers:
        """Let states that have sailed long enough change tack or sails where they are."""
        s = self.store
        modes = len(self.waters.modes)
        # Sails are set as soon as they draw; but not, under engine, in the same moment as
        # they were handed, which would be a turn for nothing.
        shortest = np.full(modes, max(self.what.shortest_h, 1e-9))
        shortest[[mode.engine for mode in self.waters.modes]] = 1e-9
        batch = batch[s.sailed[batch] >= shortest[s.mode[batch]]]
        if not batch.size or modes < 2:
            return np.zeros(0, dtype=np.intp)
        after = np.tile(np.arange(modes), batch.size)
        before = np.repeat(batch, modes)
        other = after != s.mode[before]
        after, before = after[other], before[other]
        tacking = (np.nan_to_num(s.row[before], nan=180.0) < 90.0).astype(np.intp)
        cost = self.costs[tacking, s.mode[before], after]
        # At the start and at a mark the angle sailed next is not known yet: the cheaper turn.
        either = self.costs[:, s.mode[before], after].min(axis=0)
        cost = np.where(np.isnan(s.row[before]), either, cost)
        return self._keep(
            time=s.time[before] + cost, lat=s.lat[before], lon=s.lon[before], mode=after,
            row=np.full(len(after), np.nan), sailed=np.zeros(len(after)), parent=before,
        )  # fmt: skip

    def _sail(self, batch: Numbers) -> Numbers:
        """Sail every angle of each state's mode for a step, and straight for the mark."""
        s = self.store
        airs = self.waters.airs(s.time[batch] + 0.5 * self.step_h, s.lat[batch], s.lon[batch])
        born = []
        for number in np.unique(s.mode[batch]):
            at = np.flatnonzero(s.mode[batch] == number)
            here = Airs(*(np.asarray(values)[at] for values in airs))
            born.append(self._sail_mode(batch[at], int(number), here))
        return np.concatenate(born) if born else np.zeros(0, dtype=np.intp)

    def _sail_mode(self, index: Numbers, number: int, airs: Airs) -> Numbers:
        s, mode = self.store, self.waters.modes[number]
        rows = self.rows[mode.sail_set]
        wide = Airs(*(values[:, np.newaxis] for values in airs))
        going = self.waters.at_angle(mode, rows[np.newaxis, :], wide)
        possible = going.possible
        if mode.poled:
            allowed = self.waters.pole_allowed(s.time[index], s.lat[index], s.lon[index])
            possible = possible & allowed[:, np.newaxis]
        if mode.engine:
            time_h = s.time[index] + 0.5 * self.step_h
            used = self.waters.motored(airs, time_h, s.lat[index], s.lon[index])
            possible = possible & used[:, np.newaxis]
        east = np.where(possible, going.east_kn, np.nan)
        north = np.where(possible, going.north_kn, np.nan)
        aim_e, aim_n, aim_row = self._aim(index, number, east, north, rows)
        east = np.concatenate((east, aim_e[:, np.newaxis]), axis=1)
        north = np.concatenate((north, aim_n[:, np.newaxis]), axis=1)
        row = np.concatenate(
            (np.broadcast_to(rows, (len(index), len(rows))), aim_row[:, np.newaxis]), axis=1
        )
        parent = np.repeat(index, east.shape[1])
        lat = s.lat[parent]
        run = np.hypot(np.nan_to_num(east), np.nan_to_num(north)).max(axis=1) * self.step_h
        slow = np.repeat(run < self.cell_nm, east.shape[1])
        dlat, dlon = degrees_per_hour(lat, east.ravel(), north.ravel())
        block = {
            "time": np.where(np.isnan(dlat), np.nan, s.time[parent] + self.step_h),
            "lat": lat + dlat * self.step_h, "lon": s.lon[parent] + dlon * self.step_h,
            "mode": np.full(len(parent), number), "row": row.ravel(),
            "sailed": s.sailed[parent] + self.step_h, "parent": parent,
        }  # fmt: skip
        if self.water is not None:
            bent, which = self._bend(index, number, east[:, :-1], north[:, :-1], rows)
            block = {name: np.concatenate((old, bent[name])) for name, old in block.items()}
            slow = np.concatenate((slow, slow[:: east.shape[1]][which]))
        return self._keep(slow=slow, **block)

    def _bend(
        self, index: Numbers, number: int, east: Array, north: Array, rows: Array
    ) -> tuple[dict[str, Column], Numbers]:
        """Sail straight for corners of hazards within a step; tell which states do."""
        s, water = self.store, self.water
        assert water is not None
        which, corner = water.bends(s.square[index], s.along[index], s.across[index])
        parent = index[which]
        offset = self.grid.to_plane(
            water.corners.place[corner] - np.column_stack((s.along[parent], s.across[parent]))
        )
        speed, row, _, _ = _toward(offset, east[which], north[which], rows)
        far = np.hypot(offset.east_deg, offset.north_deg) * self.corners.nm_per_deg[corner]
        hours = far / np.maximum(speed, 1e-12)
        made = hours <= 1.05 * self.step_h
        which, corner, hours, parent = which[made], corner[made], hours[made], parent[made]
        block = {
            "time": s.time[parent] + hours,
            "lat": self.corners.lat[corner], "lon": self.corners.lon[corner],
            "mode": np.full(len(parent), number), "row": row[made],
            "sailed": s.sailed[parent] + hours, "parent": parent,
        }  # fmt: skip
        return block, which

    def _aim(
        self, index: Numbers, number: int, east: Array, north: Array, rows: Array
    ) -> tuple[Array, Array, Array]:
        """Sail straight for the mark where the mode can; note who arrives within the step."""
        s = self.store
        offset = geodesy.mercator_offset(
            s.lat[index], s.lon[index], self.course.lat2, self.course.lon2
        )
        speed, row, sin, cos = _toward(offset, east, north, rows)
        far = self._remaining(s.lat[index], s.lon[index])
        hours = np.where(speed > 0.0, far / np.maximum(speed, 1e-12), np.nan)
        self._note_arrivals(index, number, s.time[index] + hours, hours <= 1.05 * self.step_h)
        return speed * sin, speed * cos, row

    def _note_arrivals(self, index: Numbers, number: int, time: Array, near: BoolArray) -> None:
        if not near.any():
            return
        at = np.flatnonzero(near)
        if self.waters.hazards is not None:
            lat, lon = self.store.lat[index[at]], self.store.lon[index[at]]
            mark = self.course.lat2, self.course.lon2
            at = at[~self.waters.hazards.crossed(lat, lon, *mark)]
        if self.waters.modes[number].engine and at.size:
            at = at[self._still_motored(index[at], time[at])]
        if not at.size:
            return
        first = at[np.argmin(time[at])]
        if time[first] < self.arrived.get(number, (np.inf, -1))[0]:
            self.arrived[number] = (float(time[first]), int(index[first]))

    def _still_motored(self, index: Numbers, time: Array) -> BoolArray:
        """Whether the engine is used to the end of the last step."""
        lat, lon = self.store.lat[index], self.store.lon[index]
        return self.waters.motored(self.waters.airs(time, lat, lon), time, lat, lon)

    def ways(self) -> list[Way]:
        """Return the best way found for each mode of arrival."""
        return [self._trace(mode, *found) for mode, found in sorted(self.arrived.items())]

    def _trace(self, mode: int, arrival_h: float, last: int) -> Way:
        s = self.store
        chain = [last]
        while s.parent[chain[-1]] >= 0:
            chain.append(int(s.parent[chain[-1]]))
        root = -1 - int(s.parent[chain[-1]])
        chain.reverse()
        at = np.array(chain)
        modes = np.append(s.mode[at], mode)
        lat = np.append(s.lat[at], self.course.lat2)
        lon = np.append(s.lon[at], self.course.lon2)
        time = np.append(s.time[at], arrival_h)
        row = np.append(s.row[at], np.nan)
        parts = tuple(_stretches(modes, lat, lon, time, row))
        return Way(root, self.roots[root].mode, parts, arrival_h)


def _toward(
    offset: geodesy.Offset, east: Array, north: Array, rows: Array
) -> tuple[Array, Array, Array, Array]:
    """Fastest speed straight along offsets, its row, and the sine and cosine of the way there."""
    length = np.maximum(np.hypot(offset.east_deg, offset.north_deg), 1e-300)
    sin, cos = offset.east_deg / length, offset.north_deg / length
    along = east * sin[:, np.newaxis] + north * cos[:, np.newaxis]
    across = east * cos[:, np.newaxis] - north * sin[:, np.newaxis]
    return *fastest_crossing(along, across, rows), sin, cos


def _stretches(modes: Numbers, lat: Array, lon: Array, time: Array, row: Array) -> list[Stretch]:
    cuts = np.flatnonzero(modes[1:] != modes[:-1]) + 1
    bounds = [0, *cuts.tolist(), len(modes)]
    parts = [
        Stretch(int(modes[a]), lat[a:b], lon[a:b], time[a:b], row[a:b]) for a, b in pairwise(bounds)
    ]
    # A mode that was entered and left again at once was only passed through.
    return [part for part in parts if len(part.lat) > 1]


def fastest_crossing(along: Array, across: Array, rows: Array) -> tuple[Array, Array]:
    """Find the fastest velocity on the ray between neighbouring angles, for n states.

    Parameters
    ----------
    along, across : ndarray, shape (n, a)
        Velocities along the ray and to the right of it; NaN where not possible. [kn]
    rows : ndarray, shape (a,)
        The polar's angles of the columns. [°]

    Returns
    -------
    speed_kn, row_deg : ndarray, shape (n,)
        Interpolated along the chord; NaN where the mode can't sail that way.
    """
    across = np.where(np.abs(across) < ON_THE_RAY_KN, 0.0, across)
    a, b = across[:, :-1], across[:, 1:]
    with np.errstate(invalid="ignore"):
        meets = a * b <= 0.0
    span = a - b
    share = np.divide(a, span, out=np.zeros_like(span), where=meets & (np.abs(span) > 1e-12))
    speed = along[:, :-1] + share * (along[:, 1:] - along[:, :-1])
    speed = np.where(meets & (speed > 1e-6), speed, -np.inf)
    best = np.argmax(speed, axis=1)
    every = np.arange(len(best))
    row = rows[best] + share[every, best] * (rows[best + 1] - rows[best])
    found = np.isfinite(speed[every, best])
    return np.where(found, speed[every, best], np.nan), np.where(found, row, np.nan)


def search_leg(
    waters: Waters,
    course: Course,
    roots: tuple[Root, ...],
    what: Search,
    *,
    gauge: Array,
    fastest_kn: float,
    best_rows: list[Array],
    progress: Callable[[float], None] | None = None,
) -> list[Way]:
    """Search the fastest ways over a leg, one for each mode of arrival.

    Parameters
    ----------
    waters : Waters
        The boat in her weather.
    course : Course
        The leg.
    roots : tuple of Root
        How the leg may begin.
    what : Search
    gauge : ndarray, shape (M + 1, 361)
        A fair guess of the hours that a mile takes, by bearing, 0° to 360°, in
        each mode alone and, last, with all of them (`hours_per_mile`): it
        decides between states of one cell that lie a little apart. [h/nm]
    fastest_kn : float
        A speed over the ground that nothing exceeds. [kn]
    best_rows : list of ndarray
        For each sail set, polar angles that must be tried.
    progress : callable, optional
        Told the distance that remains. [nm]

    Returns
    -------
    list of Way
        Empty if the mark was not reached.
    """
    costs = manoeuvres.cost_table_h(waters.boat, waters.modes)
    if what.free:
        costs = np.zeros_like(costs)
    rows = [angles(s, b) for s, b in zip(waters.boat.sail_sets, best_rows, strict=True)]
    rows.append(np.linspace(0.0, 360.0, ENGINE_ROWS))
    cell = course.mercator_deg / (CELLS_ALONG * what.fineness)

    def begun(grid: _Grid, step_h: float) -> _Round:
        return _Round(
            waters, course, roots, grid, step_h, gauge, fastest_kn, what, costs, rows, progress
        )

    found = _first_round(begun, course, cell, _step_h(course, cell, gauge), what.widest)
    while (
        found.arrived and found.step_h > min(LONGEST_STEP_H, _longest_step_h(found)) / what.fineness
    ):
        finer = begun(_band(found), found.step_h / 2.0)
        finer.run()
        if not finer.arrived:
            break
        found = finer
    return found.ways()


def _longest_step_h(found: _Round) -> float:
    """A step that is short against the way found, whatever the leg's own length."""
    best = min(found.ways(), key=lambda way: way.arrival_h)
    return (best.arrival_h - found.roots[best.root].time_h) / LEAST_STEPS


def hours_per_mile(held: VelocitySet) -> Array:
    """Tabulate the hours that a mile takes in steady airs, by bearing.

    Returns
    -------
    ndarray, shape (M + 1, 361)
        For each mode alone, and last for all together; large where that way
        nothing is made good. [h/nm]
    """
    every = np.arange(len(held.modes))[:, np.newaxis]
    member = np.concatenate((held.mode == every, np.ones((1, len(held)), dtype=bool)))
    speed = np.array([
        fastest_mix(*along_and_across(held.east_kn, held.north_kn, bearing), member).speed_kn
        for bearing in range(361)
    ]).T  # fmt: skip
    return np.asarray(1.0 / np.fmax(speed, 1.0 / SLOWEST_H_PER_NM))


def _waterways(hazards: Hazards | None, grid: _Grid) -> Waterways | None:
    """Draw hazards into a grid; None if it holds none."""
    if hazards is None:
        return None
    from goosewing.hazards.free_water import waterways

    shores = _shores(hazards, grid)
    return waterways(shores, grid.shape, grid.allowed) if shores else None


def _shores(hazards: Hazards, grid: _Grid) -> list[Any]:
    """Return what may not be met, in a grid's cells."""
    import shapely

    start = np.array([grid.course.lon1, float(geodesy.isometric_latitude(grid.course.lat1))])
    frame = (np.array(grid.shape) - np.array([grid.ahead, grid.aside])).max() * grid.cell_deg
    reach = 1.5 * max(frame, grid.ahead * grid.cell_deg, grid.aside * grid.cell_deg)
    near = hazards.shapes_in(np.concatenate((start - reach, start + reach)))
    return list(shapely.transform(near, lambda plane: grid.from_plane(plane - start)))


def _step_h(course: Course, cell_deg: float, gauge: Array) -> float:
    nm_per_deg = course.distance_nm / course.mercator_deg
    hours_per_nm = float(np.interp(course.bearing_deg, np.arange(361.0), gauge[-1]))
    return STEP_IN_CELLS * cell_deg * nm_per_deg * hours_per_nm


def _first_round(
    begun: Callable[[_Grid, float], _Round],
    course: Course,
    cell: float,
    step: float,
    widest: float,
) -> _Round:
    """Search the whole area, and a larger one if the way found comes near its edge."""
    size = 1.0
    while True:
        # A very large area, that only land can ask for, is searched in larger cells at first.
        coarse = max(1.0, size / LARGE)
        cells = course.mercator_deg / (coarse * cell)
        ahead, aside = (int(np.ceil(share * cells * size)) for share in BOX)
        found = begun(_Grid(course, coarse * cell, ahead, aside), coarse * step)
        found.run()
        if size > widest or (found.arrived and (size > LARGE or not _near_edge(found))):
            return found
        if not found.touched:
            return found
        size *= 1.7


def _near_edge(found: _Round) -> bool:
    rows, columns = found.grid.shape
    for way in found.ways():
        for part in way.stretches:
            along, across = found.grid.place(part.lat, part.lon)
            near = (along < 2) | (along > rows - 3) | (across < 2) | (across > columns - 3)
            if near.any():
                return True
    return False


def _band(found: _Round) -> _Grid:
    """Return a finer grid of which only the neighbourhood of the ways found is allowed."""
    from scipy.ndimage import binary_dilation

    old = found.grid
    grid = _Grid(old.course, old.cell_deg / 2.0, old.ahead * 2, old.aside * 2)
    mask = np.zeros(grid.shape, dtype=bool)
    best = min(found.ways(), key=lambda way: way.arrival_h)
    for part in best.stretches:
        lat, lon = _densely(part.lat), _densely(part.lon)
        cells = grid.cells(*grid.place(lat, lon))
        mask.ravel()[cells[cells >= 0]] = True
    wide = binary_dilation(mask, structure=np.ones((3, 3), dtype=bool), iterations=2 * BAND_CELLS)
    return _Grid(old.course, grid.cell_deg, grid.ahead, grid.aside, wide)


def _densely(values: Array) -> Array:
    at = np.linspace(0.0, len(values) - 1.0, 8 * len(values))
    return np.interp(at, np.arange(len(values)), np.unwrap(values, period=360.0))


def angles(sails: SailSet, must: Array) -> Array:
    """Return the polar angles that the search tries: the best ones and a coarse comb."""
    low = max(sails.polar.first_twa_deg, sails.twa_deg[0])
    high = min(sails.polar.last_twa_deg, sails.twa_deg[1])
    if low > high:
        return np.array([low])
    count = max(2, int(np.ceil((high - low) / ANGLE_STEP_DEG)) + 1)
    inside = must[(must >= low) & (must <= high)]
    return np.unique(np.concatenate((np.linspace(low, high, count), inside)))
