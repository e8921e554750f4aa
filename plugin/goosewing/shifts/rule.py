"""A rule for one beat or run in a shifty wind: when to turn, and what it is worth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from goosewing.earth.angles import wrap_180
from goosewing.errors import InputError
from goosewing.plan import changes
from goosewing.shifts.game import game_to
from goosewing.shifts.programme import WIDEST_SIGMAS, solved
from goosewing.shifts.sails import Course, Sailed, sail
from goosewing.steady.solver import sailable
from goosewing.velocities.velocity_set import airs_over_water
from goosewing.weather.base import hours_from_datetime

if TYPE_CHECKING:
    from datetime import datetime

    from numpy.typing import ArrayLike

    from goosewing.boat.model import Boat
    from goosewing.records import Mark, Tack
    from goosewing.shifts.game import Game
    from goosewing.shifts.model import Shifts
    from goosewing.shifts.programme import Layers
    from goosewing.units import Array, BoolArray
    from goosewing.velocities.velocity_set import Airs
    from goosewing.weather.base import Weather

FIXED_PLAN_SAILS = 2000
"""Winds in which the fixed plan is sailed for its mean: 0.1 % of it either way."""

LONGEST_NM = 100.0
"""A longer leg outlasts any one forecast wind."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShiftRule:
    """The best rule for one beat or run, and what it is worth.

    Attributes
    ----------
    expected_h : float
        Mean time by the rule, the wind starting as forecast, on the better tack. [h]
    fixed_plan_h : float
        Mean time of sailing on to the layline of the moment, time after time, from the
        same tack. [h]
    tack : "port" or "starboard"
        The tack to begin on.
    """

    game: Game
    shifts: Shifts
    expected_h: float
    fixed_plan_h: float
    tack: Tack
    course: Course
    layers: Layers

    def turn_now(
        self,
        lat: ArrayLike,
        lon: ArrayLike,
        twd_deg: ArrayLike,
        tack: ArrayLike,
        minutes_on_tack: ArrayLike = np.inf,
    ) -> BoolArray:
        """Say where she should tack or gybe now.

        Parameters
        ----------
        lat, lon : array_like, shape (...)
            Where she is. [°]
        twd_deg : array_like, shape (...)
            True wind direction of the moment. [° true]
        tack : array_like of "port" or "starboard", shape (...)
        minutes_on_tack : array_like, shape (...)
            Since the last turn: within the time a turn itself costs she doesn't turn back.

        Returns
        -------
        ndarray of bool, shape (...)
        """
        x, y = self.game.place(lat, lon)
        deviation = wrap_180(np.asarray(twd_deg, dtype=np.float64) - self.game.mean_twd_deg)
        on = np.where(np.asarray(tack) == self.game.modes[0].tack, 0, 1)
        settled = (
            np.asarray(minutes_on_tack) * 60.0 >= 3600.0 * np.asarray(self.game.cost_h)[1 - on]
        )
        gain = self.layers.gain_h(x, y, deviation, on)
        turn: BoolArray = (gain > 0.0) & settled
        return turn

    @property
    def downwind(self) -> bool:
        """Whether it is a run, gybed."""
        off = np.radians(self.game.axis_deg - self.game.mean_twd_deg)
        return bool(np.cos(off) <= 0.0)

    def sailed(self, count: int, *, seed: int = 0) -> Sailed:
        """Sail by the rule from the start in many winds; the same winds for the same seed."""
        return sail(self.course, self.layers, count, seed=seed)

    def inside_nm(self, y: float) -> float:
        """Return how far short of the layline she turns in the mean wind, square to it.

        Parameters
        ----------
        y : float
            Distance to go along the game's axis. [nm]
        """
        mean = self.game.at(np.zeros(1))
        slope = float(np.abs(mean.right_kn / mean.ahead_kn).max())
        at = self.edge_nm(y, 1.0)
        return max(y * slope - at, 0.0) / float(np.hypot(1.0, slope))

    def edge_nm(self, y: float, side: float) -> float:
        """Return how far to one side of the axis she turns back in the mean wind.

        Parameters
        ----------
        y : float
            Distance to go along the game's axis. [nm]
        side : float
            1 to the right of the axis, -1 to the left.

        Returns
        -------
        float
            From the axis, 0 or more; the layline itself where she turns no sooner. [nm]
        """
        mean = self.game.at(np.zeros(1))
        out = int(side * mean.right_kn[1, 0] > 0.0)
        slope = float(np.abs(mean.right_kn / mean.ahead_kn).max())
        x = np.linspace(0.0, y * slope, 400)
        gain = self.layers.gain_h(
            side * x, np.full(x.shape, y), np.zeros(x.shape), np.full(x.shape, out)
        )
        turns = np.flatnonzero(gain > 0.0)
        return float(x[turns[0]]) if turns.size else y * slope

    def cone(self, rows: int = 16) -> tuple[Array, Array]:
        """Return the outline of where either tack will do in the mean wind.

        Inside she turns on a shift alone; at an edge she turns back in any case.

        Returns
        -------
        lat, lon : ndarray, shape (2 * rows - 1,)
            From the edge left of the axis, abreast of the start, to the mark, and back along
            the right one. [°]
        """
        y = np.linspace(max(self.course.y, 0.0), 0.0, rows)
        left, right = (
            np.array([self.edge_nm(float(at), side) for at in y]) for side in (-1.0, 1.0)
        )
        x = np.concatenate((-left, right[-2::-1]))
        return self.game.position(x, np.concatenate((y, y[-2::-1])))

    def headed_by_deg(self, x: float, y: float) -> tuple[float, float]:
        """Return by how much she must be headed before she turns, on either tack.

        Returns
        -------
        float, float
            On the first tack of the game and on the second; negative where she turns even when
            lifted, infinite where she doesn't turn at all. [°]
        """
        widest = WIDEST_SIGMAS * self.shifts.sigma_deg
        trial = np.linspace(-widest, widest, 281)
        found = []
        for on in (0, 1):
            # On port tack a wind that veers comes nearer the bow, on starboard one that backs.
            headed = trial * self.game.modes[on].side
            gain = self.layers.gain_h(
                np.full(trial.shape, x), np.full(trial.shape, y), headed, np.full(trial.shape, on)
            )
            turns = np.flatnonzero(gain > 0.0)
            found.append(float(trial[turns[0]]) if turns.size else float("inf"))
        return found[0], found[1]


def shift_rule(
    start: Mark,
    mark: Mark,
    boat: Boat,
    weather: Weather,
    departure: datetime,
    shifts: Shifts,
    *,
    tack: Tack | None = None,
) -> ShiftRule:
    """Work out the best rule for one leg in a shifty wind.

    Parameters
    ----------
    start, mark : Mark
    boat : Boat
    weather : Weather
        The mean wind and the stream; where they change, those halfway along at departure hold.
    departure : datetime
        Aware.
    shifts : Shifts
    tack : "port" or "starboard", optional
        The tack she begins on; the better one if None.

    Returns
    -------
    ShiftRule

    Raises
    ------
    InputError
        If the marks lie in the same place or over 100 nm apart.
    NoPlanError
        If no sails may be carried, or none has a board on either tack that leads there.
    """
    held = sailable(boat, mean_airs(boat, weather, start, mark, departure))
    game = game_to(held, start, mark)
    x, y = (float(each) for each in game.place(start.lat, start.lon))
    if not 1e-3 < np.hypot(x, y) <= LONGEST_NM:
        raise InputError(
            f"a shift rule is for legs up to {LONGEST_NM:g} nm; "
            f"{start.name} and {mark.name} lie {np.hypot(x, y):.1f} nm apart"
        )
    layers, expected = solved(game, shifts, x, y)
    on = int(np.argmin(expected)) if tack is None else int(tack != game.modes[0].tack)
    course = Course(game, shifts, x, y, on)
    fixed = sail(course, "layline", FIXED_PLAN_SAILS)
    return ShiftRule(
        game=game,
        shifts=shifts,
        expected_h=float(expected[on]),
        fixed_plan_h=float(fixed.elapsed_h.mean()),
        tack=game.modes[on].tack,
        course=course,
        layers=layers,
    )


def mean_airs(
    boat: Boat, weather: Weather, start: Mark, mark: Mark, departure: datetime
) -> Airs[float]:
    """Return the wind and stream halfway between two marks, at one time."""
    middle = (start.lat + mark.lat) / 2.0, start.lon + float(wrap_180(mark.lon - start.lon)) / 2.0
    time = hours_from_datetime(departure) if changes(weather) else 0.0
    here = weather.at(time, *middle)
    return airs_over_water(
        boat,
        *(
            float(each)
            for each in (
                here.wind_east_kn,
                here.wind_north_kn,
                here.stream_east_kn,
                here.stream_north_kn,
                here.gust_kn,
            )
        ),
    )
