"""Fans of velocities for the search: what each sail set makes in every wind, by few angles.

Within one tack and sail set a change of angle costs nothing, so of all angles only
those matter that are vertices of the convex hull of the velocities: whatever lies
inside it is made good by two of them at least as fast, and so is standing still.
Of the hull's smooth parts a vertex every few degrees is enough: the chord between two
falls short of the curve by 1 − cos(½·spacing).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat.model import motoring, row_angles, sailing
from goosewing.changing.engine_rule import farthest_mix_kn

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.boat.model import Boat, SailSet
    from goosewing.units import Array, BoolArray
    from goosewing.velocities.velocity_set import Airs

    Numbers = NDArray[np.intp]

WIND_STEP_KN = 0.5
"""Spacing of the winds tabulated: between the table's own columns speeds are linear."""

LOOKED_AT_DEG = 1.5
DIRECTIONS = 120
"""Directions in which a fan's farthest velocity is looked for: its hull to 3°."""

LEAST_SHARE = 0.75
"""Angles that no way at all makes better use of than this share of the boat's best are left out:
pinching, and reaching under sails meant for the run."""

CORNER_DEG = 3.5
"""The ends of a wider gap between vertices are kept: there the hull has a real edge."""

ROWS_KNOWN = 241
"""Angles of each sail set at which velocities are known: some half a degree apart."""

ENGINE_ROWS = 53
"""Headings tried under engine, all round; first and last are one."""

WORTH_KN = 0.01
"""Sails that are nowhere so much faster than some others of the boat's are not worth setting."""


MADE_GOOD_DEG = 10.0
"""Spacing of the angles for which it is tabulated what is made good."""


class Spread(NamedTuple):
    """Velocities of n states, one after the other; shape (c,)."""

    state: Numbers
    row_deg: Array
    ahead_kn: Array
    """Through the water, towards where the wind comes from."""
    aside_kn: Array
    """And across it, to leeward of a boat on port tack."""


@dataclass(frozen=True, slots=True, eq=False)
class Fans:
    """Velocities through the water, by sail set and wind; the engine last, in every wind alike.

    Attributes
    ----------
    first, count : ndarray of int, shape (S, B)
        Where the velocities of a sail set in a wind begin, and how many they are.
    table : ndarray, shape (E, 5)
        Row [°]; ahead and aside [kn] at the lighter wind; their change to the next one.
    weakest_kn, strongest_kn : ndarray, shape (S,)
        Wind in which a sail set is carried; the gust is held against the latter. [kn]
    worth_setting : ndarray of bool, shape (S, B)
        Whether a sail set does anything better than another one of the boat's.
    """

    first: Numbers
    count: Numbers
    table: Array
    weakest_kn: Array
    strongest_kn: Array
    last_kn: Array
    worth_setting: BoolArray
    made_good: Array
    """What the best boards make good, by wind and angle off it, shape (B, angles). [kn]"""
    rows: Array
    """The first angle of each sail set at which velocities are known, and their spacing,
    shape (S, 2). [°]"""
    known: Array
    """Velocities at these, ahead and aside, shape (S, B + 1, rows, 2); NaN where unknown. [kn]"""

    def bins(self, tws_kn: Array) -> tuple[Numbers, Array]:
        """Which of the tabulated winds lies below each wind, and how far the wind is beyond it."""
        at = np.nan_to_num(tws_kn) / WIND_STEP_KN
        low = np.minimum(at.astype(np.intp), self.first.shape[1] - 1)
        return low, at - low

    def carried(self, sail_set: Numbers, airs: Airs[Array]) -> BoolArray:
        """Whether sail sets may be carried in the winds of n states; false where none is known."""
        gust = np.fmax(airs.tws_kn, airs.gust_kn)
        tws = airs.tws_kn
        ok = (tws >= self.weakest_kn[sail_set]) & (gust <= self.strongest_kn[sail_set])
        return np.asarray(ok & (tws <= self.last_kn[sail_set]))

    def made_good_kn(self, airs: Airs[Array], off_deg: Array) -> Array:
        """What n states can make good through the water, so far off the wind, by any boards. [kn].

        With the angle's sign left out: on one tack as on the other.
        """
        low, part = self.bins(airs.tws_kn)
        off = np.abs(np.mod(np.nan_to_num(off_deg) + 180.0, 360.0) - 180.0) / MADE_GOOD_DEG
        near = np.minimum(off.astype(np.intp), self.made_good.shape[1] - 2)
        share = off - near
        lighter, stronger = (
            (1.0 - share) * self.made_good[row, near] + share * self.made_good[row, near + 1]
            for row in (low, np.minimum(low + 1, len(self.made_good) - 1))
        )
        return np.asarray(lighter + part * (stronger - lighter))

    def velocities(
        self, sail_set: Numbers, row_deg: Array, airs: Airs[Array]
    ) -> tuple[Array, Array]:
        """Velocities of n states at angles of their own, ahead and aside; NaN if unknown. [kn].

        Under sail only; between angles, and between winds, they are taken to be linear.
        """
        low, part = self.bins(airs.tws_kn)
        first, spacing = self.rows[sail_set].T
        winds, rows = self.known.shape[1:3]
        at = np.minimum(np.maximum((row_deg - first) / spacing, 0.0), rows - 1.0)
        near = np.minimum(at.astype(np.intp), rows - 2)
        share = (at - near)[:, np.newaxis]
        entry = (sail_set * winds + low) * rows + near
        table = self.known.reshape(-1, 2)
        lighter, stronger = (
            table.take(e, axis=0) * (1.0 - share) + table.take(e + 1, axis=0) * share
            for e in (entry, entry + rows)
        )
        ahead, aside = (lighter + part[:, np.newaxis] * (stronger - lighter)).T
        return ahead, aside

    def spread(self, sail_set: Numbers, airs: Airs[Array], carried: BoolArray) -> Spread:
        """Spread the velocities of n states out, state by state, angles ascending."""
        low, part = self.bins(airs.tws_kn)
        first = self.first[sail_set, low]
        count = np.where(carried, self.count[sail_set, low], 0)
        state = np.repeat(np.arange(len(count)), count)
        ends = np.cumsum(count)
        entry = np.arange(len(state)) + np.repeat(first - ends + count, count)
        row, ahead, aside, ahead_more, aside_more = self.table.take(entry, axis=0).T
        share = part[state]
        return Spread(state, row, ahead + share * ahead_more, aside + share * aside_more)


@lru_cache(maxsize=4)
def fans_of(boat: Boat, apart_deg: float) -> Fans:
    """Tabulate a boat's fans.

    Parameters
    ----------
    boat : Boat
    apart_deg : float
        Least spacing of the angles kept where the hull is smooth. [°]
    """
    last = max(_last_kn(sails) for sails in boat.sail_sets)
    winds = WIND_STEP_KN * np.arange(np.ceil(last / WIND_STEP_KN) + 2.0)
    sampled = [_sampled(boat, number, winds) for number in range(len(boat.sail_sets))]
    reaches = _reaches(sampled)
    useful = _useful(reaches)
    blocks, counts = [], []
    for (rows, ahead, aside), (_, best), used in zip(sampled, reaches, useful, strict=True):
        chosen: Numbers = np.where(used, best, -1)
        for number in range(len(winds) - 1):
            pair = slice(number, number + 2)
            kept = _kept(rows, ahead[pair], aside[pair], chosen[pair], apart_deg)
            blocks.append(_block(rows, ahead[pair], aside[pair], kept))
            counts.append(len(kept))
    under_engine = _engine_block(boat)
    per_set = len(winds) - 1
    count = np.array(counts, dtype=np.intp)
    first = (np.cumsum(count) - count).reshape(-1, per_set)
    total = int(count.sum())
    first = np.vstack((first, np.full(per_set, total, dtype=np.intp)))
    sizes = np.vstack((count.reshape(-1, per_set), np.full(per_set, len(under_engine))))
    limits = [(s.tws_kn[0], s.tws_kn[1], _last_kn(s)) for s in boat.sail_sets]
    weakest, strongest, lasts = np.array([*limits, (0.0, np.inf, np.inf)]).T
    return Fans(
        first, sizes, np.vstack((*blocks, under_engine)), weakest, strongest, lasts,
        _worth_setting(boat, reaches, per_set), _made_good(sampled, per_set),
        *_known(boat, winds),
    )  # fmt: skip


def _last_kn(sails: SailSet) -> float:
    return float(sails.strongest_tws_kn)


def _sampled(boat: Boat, number: int, winds: Array) -> tuple[Array, Array, Array]:
    """Rows, and velocities ahead and aside, shape (B, rows); NaN where not possible.

    Just beyond its limits a sail set is taken to go as at them: limits are kept by `carried`.
    """
    sails = boat.sail_sets[number]
    rows = row_angles(sails, LOOKED_AT_DEG)
    within = np.clip(winds, sails.tws_kn[0], sails.strongest_tws_kn)[:, np.newaxis]
    held = sailing(boat, number, rows[np.newaxis, :], within)
    speed = np.where(held.possible, held.boat_speed_kn, np.nan)
    track = np.radians(held.track_angle_deg)
    return rows, speed * np.cos(track), speed * np.sin(track)


def _known(boat: Boat, winds: Array) -> tuple[Array, Array]:
    """Angles, as `Fans.rows` tells them, and velocities at them in every wind, as `Fans.known`."""
    share = np.linspace(0.0, 1.0, ROWS_KNOWN)
    rows, known = [], []
    for number, sails in enumerate(boat.sail_sets):
        first, last = sails.polar.first_twa_deg, sails.polar.last_twa_deg
        within = np.clip(winds, sails.tws_kn[0], sails.strongest_tws_kn)[:, np.newaxis]
        held = sailing(boat, number, first + share * (last - first), within)
        speed, track = held.boat_speed_kn, np.radians(held.track_angle_deg)
        rows.append((first, (last - first) / (ROWS_KNOWN - 1)))
        known.append(np.stack((speed * np.cos(track), speed * np.sin(track)), axis=2))
    return np.array(rows), np.stack(known)


def _reaches(sampled: list[tuple[Array, Array, Array]]) -> list[tuple[Array, Numbers]]:
    """How far each sail set gets in every direction, and by which row; shape (B, directions)."""
    angle = 2.0 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    cos, sin = np.cos(angle), np.sin(angle)
    found = []
    for _, ahead, aside in sampled:
        lost = np.isnan(ahead)
        there = np.nan_to_num(ahead)[..., np.newaxis] * cos
        there += np.nan_to_num(aside)[..., np.newaxis] * sin
        there[lost] = -np.inf
        best = np.argmax(there, axis=1)
        reach = np.take_along_axis(there, best[:, np.newaxis], axis=1)[:, 0]
        found.append((reach, np.where(reach > 0.0, best, -1)))
    return found


def _made_good(sampled: list[tuple[Array, Array, Array]], winds: int) -> Array:
    """What the best boards make good by wind and angle off it, shape (B, angles)."""
    ahead = np.concatenate([each[1][:winds, ::3] for each in sampled] * 2, axis=1)
    aside = [each[2][:winds, ::3] for each in sampled]
    across = np.concatenate((*aside, *(-each for each in aside)), axis=1)
    made = []
    for angle in np.radians(np.arange(0.0, 180.1, MADE_GOOD_DEG)):
        cos, sin = np.cos(angle), np.sin(angle)
        made.append(farthest_mix_kn(ahead * cos + across * sin, across * cos - ahead * sin))
    return np.stack(made, axis=1)


def _useful(reaches: list[tuple[Array, Numbers]]) -> list[BoolArray]:
    """In which directions each set gets nearly as far as any, on either tack; shape (B, D)."""
    every = np.max([reach for reach, _ in reaches if np.isfinite(reach).any()], axis=0)
    mirrored = np.maximum(every, np.roll(every[:, ::-1], 1, axis=1))
    return [reach >= LEAST_SHARE * mirrored for reach, _ in reaches]


def _kept(rows: Array, ahead: Array, aside: Array, best: Numbers, apart_deg: float) -> Numbers:
    """Which rows are tried between two winds: vertices of either's hull, thinned where smooth."""
    known: BoolArray = np.all(np.isfinite(ahead + aside), axis=0)
    # The ends of the table are the slow ones: with them she can point anywhere in between,
    # which in a stream that outruns her may be the only way to the mark.
    ends = np.flatnonzero(known)[[0, -1]] if known.any() else np.zeros(0, dtype=np.intp)
    vertices = np.unique(np.concatenate((best[best >= 0], ends)))
    vertices = vertices[known[vertices]]
    if vertices.size < 3:
        return np.asarray(vertices)
    gaps = np.diff(rows[vertices]) > CORNER_DEG
    must = np.append(True, gaps) | np.append(gaps, True)
    # The best angles up and down the wind are vertices of the two tacks together.
    middle = ahead.mean(axis=0)[vertices]
    must[[np.argmax(middle), np.argmin(middle)]] = True
    return vertices[_thinned(rows[vertices], must, apart_deg)]


def _thinned(rows: Array, must: BoolArray, apart_deg: float) -> Numbers:
    kept = [0]
    for at in range(1, len(rows)):
        if must[at] or rows[at] - rows[kept[-1]] >= apart_deg - 1e-9:
            kept.append(at)
    return np.array(kept)


def _block(rows: Array, ahead: Array, aside: Array, kept: Numbers) -> Array:
    forward, side = ahead[:, kept], aside[:, kept]
    return np.column_stack((rows[kept], forward[0], side[0], *np.diff(forward, axis=0),
                            *np.diff(side, axis=0)))  # fmt: skip


def _engine_block(boat: Boat) -> Array:
    rows = np.linspace(0.0, 360.0, ENGINE_ROWS)
    if boat.engine is None:
        return np.zeros((0, 5))
    speed, track = (motoring(boat.engine, rows).boat_speed_kn, np.radians(rows))
    still = np.zeros(ENGINE_ROWS)
    return np.column_stack((rows, speed * np.cos(track), speed * np.sin(track), still, still))


def _worth_setting(boat: Boat, reaches: list[tuple[Array, Numbers]], winds: int) -> BoolArray:
    """Whether each sail set is anywhere faster than the boat's other unpoled ones.

    A poled set may be forbidden by night: it makes no other one worthless. Limits of
    wind are left out: near its own limit no set makes another one worthless either.
    """
    worth = np.ones((len(boat.sail_sets) + 1, winds), dtype=bool)
    for number, (reach, _) in enumerate(reaches):
        others = [
            np.where(_well_within(sails, len(other[0]))[:, np.newaxis], other[0], -np.inf)
            for at, (sails, other) in enumerate(zip(boat.sail_sets, reaches, strict=True))
            if at != number and not sails.poled
        ]
        if others:
            rivals = np.max(others, axis=0)
            # Where no set goes at all there is nothing to be gained, nor a difference to be had.
            gain: Array = np.max(
                np.subtract(reach, rivals, out=np.full_like(reach, -np.inf), where=reach > -np.inf),
                axis=1,
            )
            worth[number] = np.maximum(gain[:-1], gain[1:]) > WORTH_KN
    return worth


def _well_within(sails: SailSet, winds: int) -> BoolArray:
    """Winds in which a sail set is carried without a thought of its limits."""
    tws = WIND_STEP_KN * np.arange(winds)
    room = 0.15 * _last_kn(sails)
    return np.asarray((tws >= sails.tws_kn[0]) & (tws <= _last_kn(sails) - room))
