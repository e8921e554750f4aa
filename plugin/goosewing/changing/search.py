"""Minimum-time search over place, tack and sail set, in wind and stream that change.

Round after round of `goosewing.changing.rounds`: the grid is coarse at first, whatever the
length of the leg; then it is refined, and only cells near the way just found are looked
at, until a step is short against the changes of the weather. The work so grows no faster
than the length. In the end the way found is sailed once more, exactly
(`goosewing.changing.resailed`).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from goosewing.boat import manoeuvres
from goosewing.changing.cells import Grid
from goosewing.changing.exact_ways import sailed_exactly
from goosewing.changing.guide import Guide
from goosewing.changing.motion import Waters
from goosewing.changing.rounds import TRUSTED, Round, SearchedLeg
from goosewing.changing.ways import Root, Search, Way, fastest_of
from goosewing.earth.course import along_and_aside_deg

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from goosewing.earth.course import Course
    from goosewing.units import Array

    Numbers = NDArray[np.intp]
    Column = NDArray[Any]

CELLS_ALONG = 44
"""Cells along a leg in the first, coarse round."""

FIRST_STEP_H = 8.0
MOST_SHORTENED = 6.0
"""On a long leg up to so many times more, lest a step be longer: a low passes in a day."""

STEP_IN_CELLS = 1.5
"""Length of a step, at the speed made good, in cells: it must leave its cell."""

LONGEST_STEP_H = 1.5
"""Rounds of refinement go on until a step is no longer than this. [h]"""

BAND_CELLS = 7
"""Half the width of the band searched around the way found before, in coarse cells."""

BOX = (0.35, 0.8)
"""How far the first area reaches beyond the ends and to either side, in lengths of the leg."""

LARGE = 3.0
"""From so many times the first area on, cells grow with it."""

LEAST_STEPS = 20
"""Nor until the whole way has taken so many steps."""

WAITING_GAINS = 3e-3
"""Only where a share of the time as large is gained by it do cells stay open."""

SLACK = 0.015
"""Ways are followed that seem to take up to so much longer than the best known."""

MOST_ACROSS = 24
"""Of a row of cells, across the leg, so many are looked at in the next round: those through which
the fastest ways lead. By a share of the time alone the area would grow with the square of the
leg's length. Between hazards, where a row may be crossed more than once, all are."""

MOST_HALVINGS = 1
"""Steps are made half as long at once: a guide is good for little more than that."""

COARSE_APART_DEG = 4.0
APART_DEG = 3.0
"""Spacing of the wind angles tried, in the rounds before and in the last one; the best ones,
and both ends of every gap in the hull, are always tried."""

BETWEEN = 0.5
NEAR = 0.15
"""On a leg however short there is a second round, in steps so much shorter, where ways come nearer
to a hazard than this share of the leg: by a guess that knows of none they were led into bays."""

CELLS_IN_HALF = 4
"""Cells are at most as large as a corridor's half width divided by so many."""


def search_leg(
    waters: Waters,
    course: Course,
    roots: tuple[Root, ...],
    what: Search,
    *,
    gauge: Array,
    fastest_kn: float,
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
    leg = SearchedLeg(waters, course, roots, what, gauge, fastest_kn, costs, progress)
    cell = course.mercator_deg / (CELLS_ALONG * what.fineness)
    if what.corridor is not None:
        cell = min(cell, what.corridor.half_nm / (leg.nm_per_deg * CELLS_IN_HALF * what.fineness))
    step = _step_h(leg, cell)
    shorter = float(np.clip(step * what.fineness / FIRST_STEP_H, 1.0, MOST_SHORTENED))
    found = _waited_for(_first_round(leg, cell / shorter, step / shorter))
    before = None
    while found.arrived:
        longest = _longest_step_h(found)
        if before is None and found.step_h <= longest and _comes_near_hazards(found):
            longest = BETWEEN * found.step_h
        # A leg between two points that lie as one has no way to be looked at more closely.
        if found.step_h <= longest or found.hours <= 0.0:
            break
        finer = _finer(found, longest)
        if not finer.arrived:
            break
        before, found = found, finer
    return _told(waters, found, before)


def _told(waters: Waters, last: Round, before: Round | None) -> list[Way]:
    """Sail the ways of the last round exactly, and what the one before promises to do better.

    What a coarser one promised is not believed: in long steps the weather is taken for what it
    is in their middle, and the search finds the ways that gain most by that.
    """
    ways = sailed_exactly(waters, last.ways())
    if before is None:
        return ways
    known = {way.mode: way.arrival_h for way in ways}
    promised = [way for way in before.ways() if way.arrival_h < known.get(way.mode, np.inf)]
    kept = [way for way in sailed_exactly(waters, promised) if way.exact]
    return fastest_of([*ways, *kept])


def _waited_for(found: Round) -> Round:
    """Look whether it pays to let the stream carry her back and forth: the same area once more."""
    if not found.carried_off or not found.leg.waters.weather.varies_in_time:
        return found
    again = found.leg.run(found.grid, found.step_h, COARSE_APART_DEG, waits=True)
    if not again.arrived or (found.arrived and again.hours > (1.0 - WAITING_GAINS) * found.hours):
        return found
    return again


def _finer(found: Round, longest_h: float) -> Round:
    """Search about the ways found, in shorter steps."""
    if not found.waits:
        finer = _guided(found, longest_h)
        if finer is not None:
            return finer
    apart_deg = APART_DEG if found.step_h <= 2.0 * longest_h else COARSE_APART_DEG
    grid, step_h = _band(found), found.step_h / 2.0
    finer = found.leg.run(grid, step_h, apart_deg, waits=found.waits)
    if not finer.arrived and finer.carried_off and not finer.waits:
        finer = found.leg.run(grid, step_h, apart_deg, waits=True)
    return finer


def _guided(found: Round, longest_h: float) -> Round | None:
    """Sail backwards from the mark, and with what is learnt so once more, finer; None if lost.

    Where a state backwards and one forwards meet, their hours together tell what a way
    through that place takes: only places where that is little more than the best are
    looked at, and states are judged by what truly remains.
    """
    leg, begins_h = found.leg, found.begins_h
    back = leg.run(
        found.grid, found.step_h, COARSE_APART_DEG, backwards_from_h=begins_h + found.hours
    )
    if not back.arrived:
        return None
    guide = back.learnt()
    if found.guide is None and found.step_h > _longest_step_h(found):
        again = leg.run(found.grid, found.step_h, COARSE_APART_DEG, guide=guide)
        found = again if again.arrived else found
    beat_h = begins_h + found.hours * (1.0 + SLACK) + float(leg.costs.max())
    halvings = int(np.ceil(np.log2(found.step_h / longest_h)))
    factor = 2 ** min(halvings, MOST_HALVINGS)
    apart_deg = APART_DEG if halvings <= MOST_HALVINGS else COARSE_APART_DEG
    grid = _near_the_best(found, guide, beat_h, factor)
    finer = leg.run(grid, found.step_h / factor, apart_deg, guide=guide, beat_h=beat_h)
    return finer if finer.arrived else None


def _near_the_best(found: Round, guide: Guide, beat_h: float, factor: int) -> Grid:
    """Return a finer grid of the cells through which a way may be nearly as fast as the best."""
    from scipy.ndimage import maximum_filter

    s, old = found.store, found.grid
    kept = found.holder[found.holder >= 0]
    along, across = s.along[kept], s.across[kept]
    hours = guide.hours(old, along, across)[np.arange(len(kept)), s.mode[kept]]
    cells, total_h = old.cells(along, across), s.time[kept] + TRUSTED * hours
    close = (cells >= 0) & (total_h <= beat_h)
    cells, total_h = cells[close], total_h[close]
    if found.leg.waters.hazards is None:
        cells = _best_of_rows(old, cells, total_h, MOST_ACROSS // factor)
    coarse = np.zeros(old.shape, dtype=np.uint8)
    coarse.ravel()[cells] = 1
    for way in found.ways():
        for part in way.stretches:
            own = old.cells(*old.place(_densely(part.lat), _densely(part.lon)))
            coarse.ravel()[own[own >= 0]] = 1
    coarse = maximum_filter(coarse, size=3, mode="constant")
    grid = Grid(old.course, old.cell_deg / factor, old.ahead * factor, old.aside * factor)
    rows, columns = (np.arange(size) / factor for size in grid.shape)
    near = [
        np.minimum(np.floor(part + 0.5).astype(np.intp), size - 1)
        for part, size in zip((rows, columns), old.shape, strict=True)
    ]
    return replace(grid, allowed=coarse[np.ix_(*near)] > 0)


def _best_of_rows(grid: Grid, cells: Numbers, total_h: Array, most: int) -> Numbers:
    """Of cells, each with the time of a way through it, those of least time in each row."""
    least = np.full(int(np.prod(grid.shape)), np.inf)
    np.minimum.at(least, cells, total_h)
    rows = least.reshape(grid.shape)
    if rows.shape[1] <= most:
        return np.flatnonzero(np.isfinite(least))
    last = np.partition(rows, most - 1, axis=1)[:, most - 1 : most]
    return np.flatnonzero(np.isfinite(rows) & (rows <= last))


def _comes_near_hazards(found: Round) -> bool:
    """Whether any of the ways found does."""
    if found.water is None:
        return False
    room, grid = found.water.room_cells.ravel(), found.grid
    near = NEAR * grid.course.mercator_deg / grid.cell_deg
    lines = [grid.place(part.lat, part.lon) for way in found.ways() for part in way.stretches]
    cells = np.concatenate([grid.cells(*line) for line in lines])
    return bool(np.any(room[cells[cells >= 0]] <= near))


def _longest_step_h(found: Round) -> float:
    """A step that is short against the weather's changes and the way found."""
    return min(LONGEST_STEP_H, found.hours / LEAST_STEPS) / found.leg.what.fineness


def _step_h(leg: SearchedLeg, cell_deg: float) -> float:
    hours_per_nm = float(np.interp(leg.course.bearing_deg, np.arange(361.0), leg.gauge[-1]))
    return STEP_IN_CELLS * cell_deg * leg.nm_per_deg * hours_per_nm


def _first_round(leg: SearchedLeg, cell: float, step: float) -> Round:
    """Search the whole area, and a larger one if the way found comes near its edge."""
    size = 1.0
    while True:
        # A very large area, that only land can ask for, is searched in larger cells at first.
        coarse = max(1.0, size / LARGE)
        cells = leg.course.mercator_deg / (coarse * cell)
        ahead, aside = (int(np.ceil(share * cells * size)) for share in BOX)
        aside = min(aside, _most_aside(leg, coarse * cell) or aside)
        grid = Grid(leg.course, coarse * cell, ahead, aside)
        found = leg.run(grid, coarse * step, COARSE_APART_DEG)
        if size > leg.what.widest or (found.arrived and (size > LARGE or not _near_edge(found))):
            return found
        if not found.touched:
            return found
        size *= 1.7


def _most_aside(leg: SearchedLeg, cell_deg: float) -> int | None:
    """Cells to either side that a corridor needs, wherever the plane's scale is largest."""
    corridor = leg.what.corridor
    if corridor is None:
        return None
    start = along_and_aside_deg(corridor.course, leg.course.lat1, leg.course.lon1)
    off_nm = abs(float(start[1])) * leg.nm_per_deg
    return int(np.ceil(1.5 * (corridor.half_nm + off_nm) / (leg.nm_per_deg * cell_deg))) + 1


def _near_edge(found: Round) -> bool:
    rows, columns = found.grid.shape
    confined = found.leg.what.corridor is not None
    for way in found.ways():
        for part in way.stretches:
            along, across = found.grid.place(part.lat, part.lon)
            near = (along < 2) | (along > rows - 3)
            if not confined:
                near |= (across < 2) | (across > columns - 3)
            if near.any():
                return True
    return False


def _band(found: Round) -> Grid:
    """Return a finer grid of which only the neighbourhood of the way found is allowed."""
    from scipy.ndimage import maximum_filter

    old = found.grid
    grid = Grid(old.course, old.cell_deg / 2.0, old.ahead * 2, old.aside * 2)
    mask = np.zeros(grid.shape, dtype=np.uint8)
    best = min(found.ways(), key=lambda way: way.arrival_h)
    for part in best.stretches:
        lat, lon = _densely(part.lat), _densely(part.lon)
        cells = grid.cells(*grid.place(lat, lon))
        mask.ravel()[cells[cells >= 0]] = 1
    wide = maximum_filter(mask, size=4 * BAND_CELLS + 1, mode="constant") > 0
    return Grid(old.course, grid.cell_deg, grid.ahead, grid.aside, wide)


def _densely(values: Array) -> Array:
    at = np.linspace(0.0, len(values) - 1.0, 8 * len(values))
    return np.interp(at, np.arange(len(values)), np.unwrap(values, period=360.0))
