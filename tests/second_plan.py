"""The steady plan once more, as simply as it can be written: every pair of boards is tried.

Nothing of the planner is used: no hull, no order of boards, no chain of legs. What it shares with
it is the boat (her tables as she reads them) and the sums that any textbook has: leeway grows
with heel and falls with speed squared, and a stream carries boat and wind alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from pyproj import Geod

from goosewing.boat.model import Boat, SailSet
from goosewing.records import Mark

GEOD = Geod(ellps="WGS84")
STEP_DEG = 0.5
NM = 1852.0
LEAST_H = 1.0 / 60.0
"""No board is shorter: a turn made on a board of nothing only looks cheaper than it is."""


@dataclass(frozen=True)
class Ways:
    """Every way she can go: over the ground, and what she carries."""

    east: np.ndarray
    north: np.ndarray
    mode: np.ndarray
    """Sail set times two, and one more on port tack."""
    twa: np.ndarray


def ways(boat: Boat, wind: tuple[float, float], stream: tuple[float, float]) -> Ways:
    """List them, in half degrees of the table's angle, for a wind over the ground."""
    set_rad = np.radians(stream[0])
    drift = stream[1] * np.array([np.sin(set_rad), np.cos(set_rad)])
    from_rad = np.radians(wind[0])
    over_ground = -wind[1] * np.array([np.sin(from_rad), np.cos(from_rad)])
    over_water = over_ground - drift
    tws = float(np.hypot(*over_water))
    blows_from = np.degrees(np.arctan2(-over_water[0], -over_water[1]))
    parts = []
    for index, sails in enumerate(boat.sail_sets):
        row = angles(sails)
        speed, heel = sails.speed_and_heel(row, np.full(row.size, tws))
        speed = speed * boat.performance.factor(row)
        with np.errstate(divide="ignore", invalid="ignore"):
            leeway = np.minimum(boat.leeway.coefficient * heel / speed**2, boat.leeway.largest_deg)
        leeway = np.where(np.isfinite(leeway), leeway, 0.0)
        bow, track = (row, row + leeway) if boat.polar_angle == "heading" else (row - leeway, row)
        good = np.isfinite(speed) & (speed > 0.0)
        good &= (bow >= sails.twa_deg[0]) & (bow <= sails.twa_deg[1])
        good &= (tws >= sails.tws_kn[0]) & (tws <= sails.tws_kn[1])
        for port, side in ((0, -1.0), (1, 1.0)):
            # With the wind from port she heads to the right of where it blows from.
            course = np.radians(blows_from + side * track[good])
            parts.append((
                speed[good] * np.sin(course) + drift[0],
                speed[good] * np.cos(course) + drift[1],
                np.full(int(good.sum()), 2 * index + port),
                bow[good],
            ))  # fmt: skip
    return Ways(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def angles(sails: SailSet) -> np.ndarray:
    """Half degrees, and where the table has a corner or the sector an end."""
    first, last = sails.polar.first_twa_deg, sails.polar.last_twa_deg
    steps = np.arange(first, last, STEP_DEG)
    own = [each for each in sails.twa_deg if first <= each <= last]
    return np.unique(np.concatenate((steps, sails.polar.twa_deg, own)))


def change_h(boat: Boat, a: np.ndarray, b: np.ndarray, twa_sum: np.ndarray) -> np.ndarray:
    """What it costs from one mode to another: the pole struck, the turn, the pole or sails set."""
    costs = boat.manoeuvres
    poled = np.array([sails.poled for sails in boat.sail_sets])
    turns, changes = (a % 2) != (b % 2), (a // 2) != (b // 2)
    was, will = poled[a // 2], poled[b // 2]
    tacks = (twa_sum < 180.0) | (costs.tack_s + 40.0 < costs.gybe_s)
    seconds = np.where(was, costs.strike_pole_s, 0.0)
    seconds = seconds + np.where(turns, np.where(tacks, costs.tack_s, costs.gybe_s), 0.0)
    seconds = seconds + np.where(
        will, costs.set_pole_s, np.where(changes & ~was, costs.change_sails_s, 0.0)
    )
    return np.where(a == b, 0.0, seconds) / 3600.0


def hours(
    boat: Boat, marks: list[Mark], wind: tuple[float, float], stream: tuple[float, float]
) -> float:
    """Return the least time over the marks, or infinity."""
    way = ways(boat, wind, stream)
    modes = 2 * len(boat.sail_sets)
    # By the mode at the last mark: the least time so far, and the angle to the wind there.
    done: dict[int, tuple[float, float]] = {-1: (0.0, 0.0)}
    for here, there in pairwise(marks):
        leg = best_boards(boat, way, made_good(here, there), modes)
        reached: dict[int, tuple[float, float]] = {}
        for before, (so_far, twa_before) in done.items():
            for (first, last), (takes, twa_first, twa_last) in leg.items():
                total = so_far + takes
                if before >= 0:
                    total += float(change_h(boat, np.array(before), np.array(first),
                                            np.array(twa_before + twa_first)))  # fmt: skip
                if total < reached.get(last, (np.inf, 0.0))[0]:
                    reached[last] = total, twa_last
        done = reached
    return min((so_far for so_far, _ in done.values()), default=float("inf"))


def made_good(here: Mark, there: Mark) -> tuple[float, float]:
    """East and north in miles: the line's own direction in its middle, near enough for a leg."""
    out, back, metres = GEOD.inv(here.lon, here.lat, there.lon, there.lat)
    middle = np.radians(out + (((back + 180.0) - out + 180.0) % 360.0 - 180.0) / 2.0)
    return float(metres / NM * np.sin(middle)), float(metres / NM * np.cos(middle))


def best_boards(
    boat: Boat, way: Ways, good: tuple[float, float], modes: int
) -> dict[tuple[int, int], tuple[float, float, float]]:
    """For each first and last mode the least time of two boards, and their angles to the wind."""
    east, north = good
    # a · v1 + b · v2 = D, solved for all pairs at once.
    det = way.east[:, None] * way.north[None, :] - way.north[:, None] * way.east[None, :]
    with np.errstate(divide="ignore", invalid="ignore"):
        a = (east * way.north[None, :] - north * way.east[None, :]) / det
        b = (way.east[:, None] * north - way.north[:, None] * east) / det
        least = np.where(way.mode[:, None] == way.mode[None, :], -1e-9, LEAST_H)
        takes = np.where((a >= least) & (b >= least) & np.isfinite(a + b), a + b, np.inf)
    takes = takes + change_h(
        boat, way.mode[:, None], way.mode[None, :], way.twa[:, None] + way.twa[None, :]
    )
    found = {}
    for first in range(modes):
        rows = np.flatnonzero(way.mode == first)
        for last in range(modes):
            columns = np.flatnonzero(way.mode == last)
            if not rows.size or not columns.size:
                continue
            block = takes[np.ix_(rows, columns)]
            i, j = np.unravel_index(int(np.argmin(block)), block.shape)
            if np.isfinite(block[i, j]):
                found[first, last] = (
                    float(block[i, j]), float(way.twa[rows[i]]), float(way.twa[columns[j]])
                )  # fmt: skip
    return found
