"""How the boat moves through wind and stream that change with time and place.

The one place where fields, polar and steering meet for arrays of states: the
search asks it for many headings at once, the polish integrates boards through
it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat.manoeuvres import Mode, all_modes, engine_mode
from goosewing.boat.model import motoring, sailing
from goosewing.earth import geodesy, sun
from goosewing.velocities.velocity_set import POLAR_WIND_HEIGHT_M, Airs
from goosewing.weather import wind

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from goosewing.boat.model import Boat, Sailing
    from goosewing.changing.engine_rule import Lulls
    from goosewing.hazards.areas import Hazards
    from goosewing.records import Steer
    from goosewing.units import Array, BoolArray
    from goosewing.weather.base import Weather

ROWS_FOR_THE_BOW = 4
"""Rounds in which the polar's row is found from the bow's angle; leeway is small and
changes slowly, so that each round gains more than a digit."""

BY_THE_LEE_DEG = 3.0
"""A heading held may bring the wind so far over the other quarter, no farther. [°]"""

SAME_ANGLE_DEG = 1e-3
"""An angle kept within a table's edges that differs by less is inside."""


class Going(NamedTuple):
    """How she goes; arrays of one shape."""

    east_kn: Array
    north_kn: Array
    possible: BoolArray
    sailing: Sailing
    heading_deg: Array


@dataclass(frozen=True, slots=True, eq=False)
class Waters:
    """A boat in a weather, among hazards: what every state is asked of."""

    boat: Boat
    weather: Weather
    hazards: Hazards | None = None
    """What may not be crossed; None if nothing is known that may not."""
    lulls: Lulls | None = None
    """When the engine is used; None if it is not to be."""
    toward: tuple[float, float] | None = None
    """Latitude and longitude of the mark, to which that rule looks."""
    strokes_h: tuple[float, ...] = ()
    """When the weather, the same everywhere, shifts at a stroke. [h]"""
    modes: tuple[Mode, ...] = field(init=False)
    """Every tack of every sail set; the engine last, if it may be used."""
    height_factor: float = field(init=False)
    """From the forecast's wind to that at the polar's height."""

    def __post_init__(self) -> None:
        factor = wind.wind_at_height(1.0, POLAR_WIND_HEIGHT_M, self.boat.polar_height_m)
        motored = () if self.lulls is None else (engine_mode(self.boat),)
        object.__setattr__(self, "modes", (*all_modes(self.boat), *motored))
        object.__setattr__(self, "height_factor", float(factor))

    def airs(self, time_h: ArrayLike, lat: ArrayLike, lon: ArrayLike) -> Airs[Array]:
        """Wind over the water and stream; NaN outside the weather's cover."""
        here = self.weather.at(time_h, lat, lon)
        # `wind.true_wind` checks its arguments; here, in the innermost loop, they are known good.
        east = here.wind_east_kn - here.stream_east_kn
        north = here.wind_north_kn - here.stream_north_kn
        return Airs(
            np.degrees(np.arctan2(-east, -north)),
            np.hypot(east, north) * self.height_factor,
            here.stream_east_kn,
            here.stream_north_kn,
            here.gust_kn * self.height_factor,
        )

    def pole_allowed(self, time_h: ArrayLike, lat: ArrayLike, lon: ArrayLike) -> BoolArray:
        """Whether a pole may be set: always, or by daylight only if the boat file says so."""
        shape = np.broadcast_shapes(np.shape(time_h), np.shape(lat), np.shape(lon))
        if self.boat.night_poled:
            return np.ones(shape, dtype=bool)
        return np.broadcast_to(sun.is_daylight(time_h, lat, lon), shape)

    def motored(
        self, airs: Airs[Array], time_h: ArrayLike, lat: ArrayLike, lon: ArrayLike
    ) -> BoolArray:
        """Whether the engine is used at n states, by the rule; shape (n,)."""
        if self.lulls is None or self.toward is None:
            return np.zeros(np.shape(lat), dtype=bool)
        offset = geodesy.mercator_offset(lat, lon, *self.toward)
        bearing = np.degrees(np.arctan2(offset.east_deg, offset.north_deg))
        allowed = self.pole_allowed(time_h, lat, lon)
        return self.lulls.motored(airs, bearing, allowed)

    def at_angle(self, mode: Mode, row_deg: ArrayLike, airs: Airs[Array]) -> Going:
        """Tell how she goes at angles of the polar, kept within the sail set's sector."""
        if mode.engine:
            return self._motoring(np.asarray(row_deg), airs)
        sails = self.boat.sail_sets[mode.sail_set]
        low, high = sails.polar.first_twa_deg, sails.polar.last_twa_deg
        if self.boat.polar_angle == "heading":
            low = min(max(low, sails.twa_deg[0]), sails.twa_deg[1])
            high = max(min(high, sails.twa_deg[1]), sails.twa_deg[0])
        # Two plain functions: `np.clip` takes four times as long on a few states.
        return self._going(mode, np.minimum(np.maximum(row_deg, low), high), airs)

    def on_heading(self, mode: Mode, heading_deg: ArrayLike, airs: Airs[Array]) -> Going:
        """Tell how she goes on a heading: where her bow points, whatever the wind does.

        Not possible where that is outside the table or the sector, or by the lee by
        more than `BY_THE_LEE_DEG`.
        """
        heading = np.asarray(heading_deg, dtype=np.float64)
        if mode.engine:
            return self._motoring(heading - airs.twd_deg, airs)
        signed = mode.side * geodesy.wrap_180(heading - airs.twd_deg)
        bow = np.abs(signed)
        row = self._row_from_bow(mode, bow, airs)
        going = self.at_angle(mode, row, airs)
        held = going.sailing
        # By the lee, the other side's leeway is her own.
        drift = np.where(signed < 0.0, -held.leeway_deg, held.leeway_deg)
        track = np.radians(heading + mode.side * drift)
        inside = np.abs(held.twa_deg - bow) < SAME_ANGLE_DEG
        return Going(
            held.boat_speed_kn * np.sin(track) + airs.stream_east_kn,
            held.boat_speed_kn * np.cos(track) + airs.stream_north_kn,
            going.possible & inside & ((signed >= 0.0) | (bow > 180.0 - BY_THE_LEE_DEG)),
            held,
            np.mod(heading + np.zeros(bow.shape), 360.0),
        )

    def _row_from_bow(self, mode: Mode, bow_deg: Array, airs: Airs[Array]) -> Array:
        if self.boat.polar_angle == "heading":
            return bow_deg
        row = bow_deg
        for _ in range(ROWS_FOR_THE_BOW):
            row = bow_deg + np.nan_to_num(self.at_angle(mode, row, airs).sailing.leeway_deg)
        return row

    def _motoring(self, row: Array, airs: Airs[Array]) -> Going:
        """Tell how she goes under engine, heading so far clockwise from the wind."""
        if self.boat.engine is None:  # pragma: no cover - no such mode without an engine
            raise AssertionError("no engine")
        held = motoring(self.boat.engine, row + np.zeros(np.shape(airs.twd_deg)))
        heading = np.radians(airs.twd_deg + held.track_angle_deg)
        east = held.boat_speed_kn * np.sin(heading) + airs.stream_east_kn
        north = held.boat_speed_kn * np.cos(heading) + airs.stream_north_kn
        known = np.isfinite(east + airs.tws_kn)
        return Going(east, north, known, held, np.mod(np.degrees(heading), 360.0))

    def _going(self, mode: Mode, row: Array, airs: Airs[Array]) -> Going:
        held = sailing(self.boat, mode.sail_set, row, airs.tws_kn, airs.gust_kn)
        track = np.radians(airs.twd_deg + mode.side * held.track_angle_deg)
        east = held.boat_speed_kn * np.sin(track) + airs.stream_east_kn
        north = held.boat_speed_kn * np.cos(track) + airs.stream_north_kn
        heading = np.mod(airs.twd_deg + mode.side * held.twa_deg, 360.0)
        return Going(east, north, held.possible & np.isfinite(east), held, heading)

    def steered(self, mode: Mode, steer: Steer, control_deg: ArrayLike, airs: Airs[Array]) -> Going:
        """Tell how she goes while the helm keeps an angle of the polar, or a heading."""
        if steer == "angle":
            return self.at_angle(mode, control_deg, airs)
        return self.on_heading(mode, control_deg, airs)


def degrees_per_hour(lat: Array, east_kn: Array, north_kn: Array) -> tuple[Array, Array]:
    """Turn a velocity into rates of latitude and longitude on the ellipsoid.

    By the radii of curvature of the meridian and of the prime vertical.
    """
    angle = np.radians(lat)
    w2 = 1.0 - geodesy.ECCENTRICITY_SQUARED * np.sin(angle) ** 2
    prime = geodesy.EQUATORIAL_RADIUS_NM / np.sqrt(w2)
    meridian = prime * (1.0 - geodesy.ECCENTRICITY_SQUARED) / w2
    return np.degrees(north_kn / meridian), np.degrees(east_kn / (prime * np.cos(angle)))


def advance(
    waters: Waters,
    mode: Mode,
    steer: Steer,
    control_deg: ArrayLike,
    time_h: Array,
    lat: Array,
    lon: Array,
    hours: Array,
    *,
    aside_deg: float = 0.0,
) -> tuple[Array, Array, BoolArray]:
    """Sail for a while by one midpoint step (second order), forwards or backwards in time.

    Parameters
    ----------
    aside_deg : float
        By how much the course over the ground is turned clockwise: for a line a margin beside
        the one that is sailed. [°]

    Returns
    -------
    lat, lon : ndarray
    possible : ndarray of bool
        Whether the sails may be carried at the middle of the step.
    """
    start = waters.steered(mode, steer, control_deg, waters.airs(time_h, lat, lon))
    dlat, dlon = degrees_per_hour(lat, *_turned(start, aside_deg))
    half = 0.5 * hours
    mid_lat, mid_lon = lat + half * dlat, lon + half * dlon
    airs = waters.airs(time_h + half, mid_lat, mid_lon)
    middle = waters.steered(mode, steer, control_deg, airs)
    dlat, dlon = degrees_per_hour(mid_lat, *_turned(middle, aside_deg))
    possible = middle.possible
    if mode.poled:
        possible = possible & waters.pole_allowed(time_h + half, mid_lat, mid_lon)
    return lat + hours * dlat, lon + hours * dlon, possible


def _turned(going: Going, aside_deg: float) -> tuple[Array, Array]:
    """Velocity over the ground, turned clockwise."""
    sin, cos = np.sin(np.radians(aside_deg)), np.cos(np.radians(aside_deg))
    return going.east_kn * cos + going.north_kn * sin, going.north_kn * cos - going.east_kn * sin
