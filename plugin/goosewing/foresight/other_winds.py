r"""Plans sailed in other winds than their own, all plans in all winds at once.

She keeps to a plan's tracks. On each board she sails them straight, under the board's own
tack and sails, as close or as free as that takes; or, where these sails don't hold the
course or only pinched, she makes it good by the fastest two boards under whatever sails,
and pays two turns more: whichever brings her to the board's end sooner. So every plan has
a time in every wind in which she can sail at all, and no plan is blamed for what its crew
would mend. A crew who then thinks again does better still: the times are not too short.

The speed made good along a bearing by two boards is where the ray leaves the hull of her
velocities; with :math:`a_i` along and :math:`c_i` across it, by duality
:math:`\min_s \max_i (a_i - s\,c_i)`, a convex function of one slope.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat.model import row_angles, sailing
from goosewing.changing.motion import Waters
from goosewing.earth.geodesy import loxodrome_direct, loxodrome_inverse
from goosewing.foresight.pieces import cuts_of, pause_h
from goosewing.units import SECONDS_PER_HOUR
from goosewing.velocities.velocity_set import Airs
from goosewing.weather.base import hours_from_datetime

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from goosewing.boat.manoeuvres import Mode
    from goosewing.boat.model import Boat
    from goosewing.records import Board, Plan
    from goosewing.units import Array, BoolArray
    from goosewing.weather.base import Weather

ROW_STEP_DEG = 2.5
MIX_STEP_DEG = 5.0
"""Angles looked at for a course held straight, and for one made good by two boards: chords
of a polar's curve, within 1e-3 and 4e-3 of it, on the slow side."""

SHORTEST_H = 0.5
"""A stretch of a board is no shorter: forecasts have nothing finer. [h]"""

STEEPEST, HALVINGS = 8.0, 16
"""Slopes of the hull's edge that is crossed, and how often their range is halved."""

ENGINE = -1


class _Pieces(NamedTuple):
    """Every plan's stretches side by side, shape (plans, most); those missing have no length."""

    lat: Array
    lon: Array
    bearing_deg: Array
    distance_nm: Array
    planned_h: Array
    pause_h: Array
    mode: NDArray[np.intp]
    """Index into the boat's modes, or `ENGINE`."""
    begins: BoolArray
    """Whether a board begins with it."""
    ends: BoolArray

    def only(self, at: NDArray[np.intp]) -> _Pieces:
        """Return a stretch of some plans as columns, shape (k, 1)."""
        return _Pieces(
            self.lat[at, np.newaxis], self.lon[at, np.newaxis], self.bearing_deg[at, np.newaxis],
            self.distance_nm[at, np.newaxis], self.planned_h[at, np.newaxis],
            self.pause_h[at, np.newaxis], self.mode[at, np.newaxis], self.begins[at, np.newaxis],
            self.ends[at, np.newaxis],
        )  # fmt: skip


class _Track(NamedTuple):
    """A plan's way, in stretches that are taken as straight; arrays of shape (n,)."""

    lat: Array
    lon: Array
    """Where each stretch begins."""
    to_lat: Array
    to_lon: Array
    planned_h: Array
    pause_h: Array
    mode: NDArray[np.intp]
    """Index into the boat's modes, or `ENGINE`."""
    board: NDArray[np.intp]
    """Which board of the plan it is of, from 0."""


def sailed_h(plans: Sequence[Plan], boat: Boat, weathers: Sequence[Weather]) -> Array:
    """Sail every plan in every wind along its own tracks.

    Parameters
    ----------
    plans : sequence of Plan
        Their departures may differ.
    boat : Boat
    weathers : sequence of Weather

    Returns
    -------
    ndarray, shape (plans, weathers)
        Elapsed time; NaN where she can't sail along a track, or the forecast ends. [h]
    """
    waters = [Waters(boat, weather) for weather in weathers]
    pieces = _side_by_side([_track(plan, waters[0].modes) for plan in plans])
    begun = np.array([[hours_from_datetime(plan.departure)] for plan in plans])
    fleet = _Fleet(waters, begun + np.zeros(len(weathers)))
    for each in zip(*(part.T for part in pieces), strict=True):
        fleet.sail(_Pieces(*each))
    return np.asarray(fleet.clock - begun)


def _track(plan: Plan, modes: tuple[Mode, ...]) -> _Track:
    """Cut a plan's way into stretches of no less than `SHORTEST_H`."""
    rows: list[tuple[float, ...]] = []
    boards = [board for leg in plan.legs for board in leg.boards]
    for number, board in enumerate(boards):
        mode = ENGINE if board.engine else _mode_of(board, modes)
        pause = pause_h(board)
        for a, b in pairwise(cuts_of(board, SHORTEST_H)):
            if (a.lat, a.lon) != (b.lat, b.lon):
                hours = (b.time - a.time).total_seconds() / SECONDS_PER_HOUR
                rows.append((a.lat, a.lon, b.lat, b.lon, hours, pause, mode, number))
                pause = 0.0
    lat, lon, to_lat, to_lon, planned, paused, mode_of, of = np.array(rows).T
    return _Track(
        lat, lon, to_lat, to_lon, planned, paused, mode_of.astype(np.intp), of.astype(np.intp)
    )


def _side_by_side(tracks: Sequence[_Track]) -> _Pieces:
    table = np.zeros((9, len(tracks), max(track.lat.size for track in tracks)))
    table[6] = ENGINE
    for number, track in enumerate(tracks):
        size, new = track.lat.size, np.diff(track.board) != 0
        table[:6, number, :size] = track[:6]
        table[6, number, :size] = track.mode
        table[7, number, :size] = np.concatenate(([True], new))
        table[8, number, :size] = np.concatenate((new, [True]))
    lat, lon, to_lat, to_lon, planned, pause, mode, begins, ends = table
    line = loxodrome_inverse(lat, lon, to_lat, to_lon)
    bearing, distance = np.asarray(line.bearing_deg), np.asarray(line.distance_nm)
    middle = loxodrome_direct(lat, lon, bearing, distance / 2.0)
    return _Pieces(
        np.asarray(middle.lat), np.asarray(middle.lon), bearing, distance, planned, pause,
        mode.astype(np.intp), begins > 0.0, ends > 0.0,
    )  # fmt: skip


def _mode_of(board: Board, modes: tuple[Mode, ...]) -> int:
    wanted = board.tack, board.sail_set
    return next(at for at, mode in enumerate(modes) if (mode.tack, mode.name) == wanted)


class _Fleet:
    """All plans in all winds, a stretch of each at a time; arrays of shape (plans, winds)."""

    def __init__(self, waters: Sequence[Waters], clock: Array) -> None:
        self.waters, self.clock = waters, clock
        self.speeds = _Speeds(waters[0])
        self.straight_h, self.mixed_h = np.zeros(clock.shape), np.zeros(clock.shape)

    def sail(self, piece: _Pieces) -> None:
        """Sail one stretch of every plan in every wind; `piece` is of shape (plans,)."""
        at = np.flatnonzero(piece.distance_nm > 0.0)
        here = piece.only(at)
        clock = self.clock[at] + here.pause_h
        begun = [np.where(here.begins, 0.0, each[at]) for each in (self.straight_h, self.mixed_h)]
        time = clock + np.fmin(*begun) + here.planned_h / 2.0
        states = _States.of(self._airs(time, here), here, self._pole_allowed(time, here))
        straight, mixed = (
            before + _hours(here, speed.reshape(time.shape))
            for before, speed in zip(begun, self.speeds.along(states), strict=True)
        )
        taken = np.fmin(straight, mixed + self.speeds.two_turns_h(states).reshape(time.shape))
        self.straight_h[at], self.mixed_h[at] = straight, mixed
        self.clock[at] = np.where(here.ends, clock + taken, clock)

    def _airs(self, time: Array, piece: _Pieces) -> Airs[Array]:
        each = [
            waters.airs(time[:, number], piece.lat[:, 0], piece.lon[:, 0])
            for number, waters in enumerate(self.waters)
        ]
        return Airs(*(np.stack(part, axis=1).reshape(-1) for part in zip(*each, strict=True)))

    def _pole_allowed(self, time: Array, piece: _Pieces) -> BoolArray:
        return self.waters[0].pole_allowed(time, piece.lat, piece.lon).reshape(-1)


def _hours(piece: _Pieces, speed: Array) -> Array:
    """Return how long a stretch takes, under engine as planned."""
    return np.where(piece.mode == ENGINE, piece.planned_h, piece.distance_nm / speed)


class _States(NamedTuple):
    """What a course is judged by; arrays of shape (n,)."""

    cos_off: Array
    """Of the wind's direction from the bearing."""
    sin_off: Array
    tws_kn: Array
    gust_kn: Array
    stream_along_kn: Array
    stream_across_kn: Array
    mode: NDArray[np.intp]
    pole_allowed: BoolArray

    @classmethod
    def of(cls, airs: Airs[Array], piece: _Pieces, pole_allowed: BoolArray) -> _States:
        """Resolve airs along each stretch's bearing."""
        winds = airs.tws_kn.size // len(piece.bearing_deg)
        bearing = np.radians(np.repeat(piece.bearing_deg[:, 0], winds))
        off = np.radians(airs.twd_deg) - bearing
        sin, cos = np.sin(bearing), np.cos(bearing)
        return cls(
            np.cos(off), np.sin(off), airs.tws_kn, airs.gust_kn,
            airs.stream_east_kn * sin + airs.stream_north_kn * cos,
            airs.stream_east_kn * cos - airs.stream_north_kn * sin,
            np.repeat(piece.mode[:, 0], winds), pole_allowed,
        )  # fmt: skip

    def only(self, at: NDArray[np.intp]) -> _States:
        """Return some of them."""
        return _States(
            self.cos_off[at], self.sin_off[at], self.tws_kn[at], self.gust_kn[at],
            self.stream_along_kn[at], self.stream_across_kn[at], self.mode[at],
            self.pole_allowed[at],
        )  # fmt: skip


class _Speeds:
    """How fast she makes good bearings, straight or by two boards."""

    def __init__(self, waters: Waters) -> None:
        self.boat, self.modes = waters.boat, waters.modes
        self.rows = [row_angles(sails, ROW_STEP_DEG) for sails in self.boat.sail_sets]
        self.coarse = [row_angles(sails, MIX_STEP_DEG) for sails in self.boat.sail_sets]

    def along(self, states: _States) -> tuple[Array, Array]:
        """Return speeds made good, straight in each state's mode and by any two, shape (n,)."""
        straight = np.full(states.mode.shape, np.nan)
        for number in np.unique(states.mode[states.mode != ENGINE]):
            mode, at = self.modes[number], np.flatnonzero(states.mode == number)
            (held,) = self._velocities(mode.sail_set, self.rows, (mode.side,), states.only(at))
            straight[at] = _crossing(*held)
        both = [
            held
            for sails in range(len(self.coarse))
            for held in self._velocities(sails, self.coarse, (1, -1), states)
        ]
        along, across = (np.concatenate(part) for part in zip(*both, strict=True))
        return straight, _made_good(along, across)

    def two_turns_h(self, states: _States) -> Array:
        """Return what it costs to leave a course and come back to it, shape (n,)."""
        costs = self.boat.manoeuvres
        turn_s = np.where(states.cos_off > 0.0, costs.tack_s, costs.gybe_s)
        return np.asarray(2.0 * turn_s / SECONDS_PER_HOUR)

    def _velocities(
        self, sail_set: int, rows: list[Array], sides: tuple[int, ...], states: _States
    ) -> list[tuple[Array, Array]]:
        """Return velocities along and across the bearing, shape (rows, n), for each side."""
        row = rows[sail_set][:, np.newaxis]
        held = sailing(self.boat, sail_set, row, states.tws_kn, states.gust_kn)
        can = held.possible & (states.pole_allowed | (not self.boat.sail_sets[sail_set].poled))
        speed = np.where(can, held.boat_speed_kn, np.nan)
        track = np.radians(held.track_angle_deg)
        ahead, aside = speed * np.cos(track), speed * np.sin(track)
        return [
            (
                states.cos_off * ahead - side * states.sin_off * aside + states.stream_along_kn,
                states.sin_off * ahead + side * states.cos_off * aside + states.stream_across_kn,
            )
            for side in sides
        ]


def _crossing(along: Array, across: Array) -> Array:
    """Return the fastest speed straight along, where the curve of angles crosses the ray."""
    low, high = across[:-1], across[1:]
    span = low - high
    share = np.divide(low, span, out=np.zeros_like(span), where=span != 0.0)
    speed = along[:-1] + share * (along[1:] - along[:-1])
    met = (low * high <= 0.0) & (speed > 0.0)
    return np.asarray(np.fmax.reduce(np.where(met, speed, np.nan), axis=0))


def _made_good(along: Array, across: Array) -> Array:
    """Return the speed made good by the fastest two boards, shape (n,); NaN where none do."""
    held = np.isfinite(along)
    along, across = np.where(held, along, -np.inf), np.where(held, across, 0.0)
    every = np.arange(along.shape[1])
    low, high = np.full(every.shape, -STEEPEST), np.full(every.shape, STEEPEST)
    for _ in range(HALVINGS):
        slope = 0.5 * (low + high)
        best = np.argmax(along - slope * across, axis=0)
        right = across[best, every] > 0.0
        low, high = np.where(right, slope, low), np.where(right, high, slope)
    slope = 0.5 * (low + high)
    speed = np.max(along - slope * across, axis=0)
    met = (np.abs(slope) < 0.99 * STEEPEST) & (speed > 0.0)
    return np.where(met, speed, np.nan)
