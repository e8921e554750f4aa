r"""The velocities over the ground that a boat can hold, and their convex hull.

Every steady question of the trade is one question about this set: a mark in
direction :math:`d` is reached soonest along the two hull vertices that enclose
:math:`d`, mixed so that their sum points at it. With velocities :math:`v_i` and
times :math:`t_i`,

.. math:: \min \sum_i t_i \quad\text{such that}\quad \sum_i t_i v_i = D,\; t_i \ge 0,

a linear programme whose optimum lies where the ray :math:`D` leaves the hull of
the :math:`v_i`: the *farther* crossing, where the stream outruns the boat and
the ray crosses twice. Its dual is a line that touches the set from outside;
`fastest_mix` turns that line from vertex to vertex until nothing lies beyond it
(the simplex method in the plane, so it ends after finitely many turns and its
answer carries its own proof).

Headings, courses and bearings are degrees true; velocities are components
*towards* east and north, in knots.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, NamedTuple, TypeVar

import numpy as np

from goosewing.boat.manoeuvres import Mode, all_modes
from goosewing.boat.model import motoring, row_angles, sailing
from goosewing.weather import wind

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from goosewing.boat.model import Boat
    from goosewing.units import Array, BoolArray

    Numbers = NDArray[np.intp]

TWO_ANGLES_GAIN = 5e-4
"""Two angles of one tack and sail set are two boards only if they gain this much on the
one angle between them: less is a ripple of the table, and no crew would sail it."""

LEAST_SHARE = 1e-9
"""A mix with less than this share of one velocity is the other one alone."""


STEP_DEG = 0.25
"""Spacing of the wind angles at which the set is sampled: the hull chord of a
smooth polar then lies within a few parts in 1e5 of the curve."""

ON_THE_RAY_KN = 1e-9
"""A velocity this close to the ray counts as lying on it: rounding in the turn
from bearings to components must not open a gap between a vertex and its mark."""

POLAR_WIND_HEIGHT_M = 10.0
"""The height a forecast's wind refers to."""


Values = TypeVar("Values")
"""Numbers at one place and time, or arrays of one shape over many."""


class Airs(NamedTuple, Generic[Values]):
    """The wind over the water, at the polar's height, and the stream."""

    twd_deg: Values
    tws_kn: Values
    stream_east_kn: Values = 0.0  # type: ignore[assignment]
    stream_north_kn: Values = 0.0  # type: ignore[assignment]
    gust_kn: Values = float("nan")  # type: ignore[assignment]


def airs_at_one_place(here: Airs[Array]) -> Airs[float]:
    """Take the numbers out of arrays that hold one value each."""
    return Airs(*(float(value) for value in here))


def airs_over_water(
    boat: Boat,
    wind_east_kn: float,
    wind_north_kn: float,
    stream_east_kn: float = 0.0,
    stream_north_kn: float = 0.0,
    gust_kn: float = float("nan"),
) -> Airs[float]:
    """Turn ground wind at 10 m and stream into what the boat feels.

    Parameters
    ----------
    boat : Boat
        For the height to which her polar refers.
    wind_east_kn, wind_north_kn, stream_east_kn, stream_north_kn : float
        Components *towards* east and north, over the ground. [kn]
    gust_kn : float
        Gust at 10 m, NaN where unknown. [kn]
    """
    twd, tws = wind.true_wind(wind_east_kn, wind_north_kn, stream_east_kn, stream_north_kn)
    scale = float(wind.wind_at_height(1.0, POLAR_WIND_HEIGHT_M, boat.polar_height_m))
    return Airs(
        float(twd), float(tws) * scale, float(stream_east_kn), float(stream_north_kn),
        float(gust_kn) * scale,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class VelocitySet:
    """What the boat can hold in these airs; all arrays of shape (n,).

    Entries of one mode are consecutive and ascend in wind angle, so that two
    neighbours of one mode are one board, sampled.
    """

    boat: Boat
    airs: Airs[float]
    modes: tuple[Mode, ...]
    mode: NDArray[np.intp]
    """Index into `modes`."""
    row_deg: Array
    """The polar's own angle. [°]"""
    twa_deg: Array
    """From the bow. [°]"""
    heading_deg: Array
    leeway_deg: Array
    heel_deg: Array
    boat_speed_kn: Array
    east_kn: Array
    north_kn: Array

    def __len__(self) -> int:
        """Return the number of velocities."""
        return len(self.mode)

    def some(self, wanted: Numbers) -> VelocitySet:
        """Return some of them."""
        return VelocitySet(
            self.boat, self.airs, self.modes, self.mode[wanted], self.row_deg[wanted],
            self.twa_deg[wanted], self.heading_deg[wanted], self.leeway_deg[wanted],
            self.heel_deg[wanted], self.boat_speed_kn[wanted], self.east_kn[wanted],
            self.north_kn[wanted],
        )  # fmt: skip


def velocity_set(boat: Boat, airs: Airs[float], *, step_deg: float = STEP_DEG) -> VelocitySet:
    """Sample every velocity over the ground that the boat can hold.

    Parameters
    ----------
    boat : Boat
    airs : Airs[float]
        Wind over the water and stream.
    step_deg : float
        Largest spacing of the wind angles. [°]

    Returns
    -------
    VelocitySet
        Empty if no sail set may be carried in this wind.
    """
    modes = all_modes(boat)
    rows = [row_angles(sails, step_deg) for sails in boat.sail_sets]
    mode = np.concatenate(
        [np.full(len(rows[m.sail_set]), i, dtype=np.intp) for i, m in enumerate(modes)]
    )
    row = np.concatenate([rows[m.sail_set] for m in modes])
    held, possible = velocities(boat, modes, airs, mode, row)
    return VelocitySet(boat, airs, modes, mode[possible], row[possible], *_kept(held, possible))


class Velocities(NamedTuple):
    """How the boat goes at given modes and polar angles; all of one shape."""

    twa_deg: Array
    heading_deg: Array
    leeway_deg: Array
    heel_deg: Array
    boat_speed_kn: Array
    east_kn: Array
    north_kn: Array


def _kept(held: Velocities, keep: BoolArray) -> tuple[Array, ...]:
    return tuple(values[keep] for values in held)


def velocities(
    boat: Boat, modes: tuple[Mode, ...], airs: Airs[float], mode: NDArray[np.intp], row_deg: Array
) -> tuple[Velocities, BoolArray]:
    """Give the velocity over the ground at polar angles of given modes.

    Parameters
    ----------
    mode : ndarray of int, shape (...)
        Index into `modes`.
    row_deg : ndarray, shape (...)
        The polar's own angle. [°]

    Returns
    -------
    Velocities
        Arrays of the same shape; undefined where not possible.
    possible : ndarray of bool, shape (...)
        Whether table, sector and wind limits allow it.
    """
    shape = np.broadcast_shapes(mode.shape, row_deg.shape)
    sail_set = np.array([m.sail_set for m in modes])[mode]
    unknown = np.full((5, *shape), np.nan)
    twa, track, speed, heel, leeway = (unknown[each, ...] for each in range(5))
    possible = np.zeros(shape, dtype=bool)
    for index in range(len(boat.sail_sets)):
        at = sail_set == index
        if not at.any():
            continue
        s = sailing(boat, index, row_deg[at], airs.tws_kn, airs.gust_kn)
        twa[at], track[at], speed[at] = s.twa_deg, s.track_angle_deg, s.boat_speed_kn
        heel[at], leeway[at], possible[at] = s.heel_deg, s.leeway_deg, s.possible
    at = sail_set == len(boat.sail_sets)
    if boat.engine is not None and at.any():
        s = motoring(boat.engine, row_deg[at])
        twa[at], track[at], speed[at] = s.twa_deg, s.track_angle_deg, s.boat_speed_kn
        leeway[at], possible[at] = s.leeway_deg, s.possible
    side = np.array([m.side for m in modes], dtype=float)[mode]
    water_track = np.radians(airs.twd_deg + side * track)
    east = speed * np.sin(water_track) + airs.stream_east_kn
    north = speed * np.cos(water_track) + airs.stream_north_kn
    # Under engine she heads where she goes through the water, all the way round.
    heading = np.mod(airs.twd_deg + side * np.where(at, track, twa), 360.0)
    return Velocities(twa, heading, leeway, heel, speed, east, north), possible


def along_and_across(
    east_kn: Array, north_kn: Array, bearing_deg: ArrayLike
) -> tuple[Array, Array]:
    """Resolve velocities along a bearing and to the right of it, in knots."""
    angle = np.radians(bearing_deg)
    sin, cos = np.sin(angle), np.cos(angle)
    along = east_kn * sin + north_kn * cos
    across = east_kn * cos - north_kn * sin
    return along, np.where(np.abs(across) < ON_THE_RAY_KN, 0.0, across)


class Mix(NamedTuple):
    """The fastest mixes of two velocities towards a bearing, shape (P,) each."""

    left: NDArray[np.intp]
    """Index of the vertex on or to the left of the ray."""
    right: NDArray[np.intp]
    """Index of the vertex on or to the right of it; may equal `left`."""
    right_share: Array
    """Share of the time spent on `right`, 0 to 1."""
    speed_kn: Array
    """Speed made good along the ray; NaN where the ray misses the hull."""


def fastest_mix(along_kn: Array, across_kn: Array, member: BoolArray) -> Mix:
    """Find where a ray leaves the convex hull of a set of velocities, P rays at once.

    Parameters
    ----------
    along_kn, across_kn : ndarray, shape (n,) or (P, n)
        Velocities along the ray and to the right of it (`along_and_across`): of one ray
        that meets P subsets, or each ray's own. [kn]
    member : ndarray of bool, shape (P, n)
        Which velocities belong to each set.

    Returns
    -------
    Mix
        NaN speed where the ray misses a set's hull, or where the farther
        crossing lies behind or at the start: that way the mark can't be made.
    """
    count = len(member)
    if along_kn.size == 0:
        none = np.zeros(count, dtype=np.intp)
        return Mix(none, none, np.zeros(count), np.full(count, np.nan))
    height = np.where(member, along_kn, -np.inf)
    # Adding an infinity takes a fraction of what a choice, place by place, does.
    left = (height + np.where(across_kn <= 0.0, 0.0, -np.inf)).argmax(axis=1)
    right = (height + np.where(across_kn >= 0.0, 0.0, -np.inf)).argmax(axis=1)
    every = np.arange(count)
    met = member[every, left] & member[every, right]
    met &= (_at(across_kn, every, left) <= 0.0) & (_at(across_kn, every, right) >= 0.0)
    turning = met.nonzero()[0]
    while turning.size:
        turning = _turn_line(height, along_kn, across_kn, left, right, turning)
    return _crossing(along_kn, across_kn, left, right, met)


def _at(values: Array, rows: Numbers, columns: Numbers) -> Array:
    """Pick one of each row; of what all rows share, one for each."""
    return values[columns] if values.ndim == 1 else values[rows, columns]


def _turn_line(
    height: Array, along: Array, across: Array, left: Numbers, right: Numbers, rows: Numbers
) -> Numbers:
    """Replace one end of each line by the velocity farthest beyond it; return whose lines moved."""
    i, j = left[rows], right[rows]
    at_right, high = _at(across, rows, j), _at(along, rows, j)
    slope = (high - _at(along, rows, i)) / _span(_at(across, rows, i), at_right)
    beyond = height[rows]
    beyond -= slope[:, np.newaxis] * (across if across.ndim == 1 else across[rows])
    best = beyond.argmax(axis=1)
    base = high - slope * at_right
    gain = beyond[np.arange(len(rows)), best] - base
    # Rounding may report the line's own ends as lying beyond it by an ulp or two.
    lifted = gain > 1e-12 * (1.0 + np.abs(base))
    side = _at(across, rows, best)
    to_left, to_right = lifted & (side <= 0.0), lifted & (side >= 0.0)
    left[rows[to_left]] = best[to_left]
    right[rows[to_right]] = best[to_right]
    moved: Numbers = rows[lifted & (best != i) & (best != j)]
    return moved


def _span(at_left: Array, at_right: Array) -> Array:
    """From one end of a line across to the other; where both are one velocity, anything."""
    return np.maximum(at_right - at_left, ON_THE_RAY_KN)


def _crossing(along: Array, across: Array, left: Numbers, right: Numbers, met: BoolArray) -> Mix:
    every = np.arange(len(met))
    at_left = _at(across, every, left)
    share = -at_left / _span(at_left, _at(across, every, right))
    low, high = _at(along, every, left), _at(along, every, right)
    with np.errstate(invalid="ignore"):  # where nothing is met there may be no velocity
        speed = low + share * (high - low)
    speed = np.where(met & (speed > ON_THE_RAY_KN), speed, np.nan)
    return Mix(left, right, share, speed)


def best_made_good_kn(held: VelocitySet, bearing_deg: float) -> float:
    """Return the greatest speed made good along a bearing by any mix of boards.

    Returns
    -------
    float
        NaN if the boat can't make good anything that way. [kn]
    """
    along, across = along_and_across(held.east_kn, held.north_kn, bearing_deg)
    everything = np.ones((1, len(held)), dtype=bool)
    return float(fastest_mix(along, across, everything).speed_kn[0])


def hull(held: VelocitySet) -> NDArray[np.intp]:
    """Return the vertices of the convex hull of a velocity set, for drawing it.

    Returns
    -------
    ndarray of int, shape (h,)
        Indices into the set, anticlockwise; one for a single point, two for
        collinear velocities, none for an empty set.
    """
    return hull_of(np.column_stack((held.east_kn, held.north_kn)))


def hull_of(points: Array) -> NDArray[np.intp]:
    """Return the vertices of the convex hull of velocities, shape (n, 2), as `hull` does."""
    if not len(points):
        return np.zeros(0, dtype=np.intp)
    import shapely

    outline = shapely.convex_hull(shapely.multipoints(points))
    corners = shapely.get_coordinates(outline)
    if len(corners) > 2:
        corners = shapely.get_coordinates(shapely.orient_polygons(outline))[:-1]
    # The corners are the points' own numbers, so that they are found again by equality.
    every, wanted = (places[:, 0] + 1j * places[:, 1] for places in (points, corners))
    order = np.argsort(every, kind="stable")
    return np.asarray(order[np.searchsorted(every, wanted, sorter=order)])


@dataclass(frozen=True, slots=True, eq=False)
class Straight:
    """The velocities that point exactly along a bearing, the fastest of each mode, shape (s,)."""

    mode: NDArray[np.intp]
    row_deg: Array
    along_kn: Array


def straight_velocities(held: VelocitySet, bearing_deg: float) -> Straight:
    """Find, mode by mode, the fastest single heading that makes good a bearing.

    The sampled curve is searched for where it crosses the ray; each crossing is
    then closed in on along the polar itself.

    Returns
    -------
    Straight
        One entry for each mode that can sail the course straight.
    """
    along, across = along_and_across(held.east_kn, held.north_kn, bearing_deg)
    lower, upper = _brackets(held.mode, along, across)
    row = _close_in(held, bearing_deg, held.mode[lower], held.row_deg[lower], held.row_deg[upper])
    mode = held.mode[lower]
    exact, _ = velocities(held.boat, held.modes, held.airs, mode, row)
    speed, _ = along_and_across(exact.east_kn, exact.north_kn, bearing_deg)
    ahead = speed > ON_THE_RAY_KN
    mode, row, speed = mode[ahead], row[ahead], speed[ahead]
    order = np.lexsort((-speed, mode))
    first = np.ones(len(order), dtype=bool)
    first[1:] = mode[order][1:] != mode[order][:-1]
    keep = order[first]
    return Straight(mode[keep], row[keep], speed[keep])


def _brackets(
    mode: NDArray[np.intp], along: Array, across: Array
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return index pairs between which a mode's curve crosses the ray ahead of the boat."""
    on_ray = np.flatnonzero((across == 0.0) & (along > 0.0))
    crossing = (mode[:-1] == mode[1:]) & (across[:-1] * across[1:] < 0.0)
    lower = np.flatnonzero(crossing & (np.maximum(along[:-1], along[1:]) > 0.0))
    return np.concatenate((on_ray, lower)), np.concatenate((on_ray, lower + 1))


_PIECES = 100
_ROUNDS = 3
"""0.25° in 100 pieces three times over is 2.5e-7°, and the last step interpolates."""


def _close_in(
    held: VelocitySet, bearing_deg: float, mode: NDArray[np.intp], low: Array, high: Array
) -> Array:
    """Return the polar angle between `low` and `high` that lies on the ray, shape (s,)."""
    every = np.arange(len(mode))
    share = np.linspace(0.0, 1.0, _PIECES + 1)
    for _ in range(_ROUNDS):
        rows = low[:, np.newaxis] + (high - low)[:, np.newaxis] * share
        modes = np.broadcast_to(mode[:, np.newaxis], rows.shape)
        exact, _ = velocities(held.boat, held.modes, held.airs, modes, rows)
        _, across = along_and_across(exact.east_kn, exact.north_kn, bearing_deg)
        beyond = np.sign(across) != np.sign(across[:, :1])
        at = np.maximum(np.argmax(beyond, axis=1), 1)
        low, high = rows[every, at - 1], rows[every, at]
        c_low, c_high = across[every, at - 1], across[every, at]
    span = c_high - c_low
    part = np.divide(-c_low, span, out=np.zeros_like(span), where=span != 0.0)
    return np.asarray(low + np.clip(part, 0.0, 1.0) * (high - low))
