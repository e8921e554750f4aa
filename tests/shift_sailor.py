"""A sailor of a beat who knows the boat's tables and asks a rule when to turn, and nothing else."""

from __future__ import annotations

import numpy as np
from pyproj import Geod

from goosewing.boat.model import sailing
from goosewing.weather.steady import SteadyWeather

NORTHERLY = SteadyWeather(0.0, 10.0)
TACK_H = 25.0 / 3600.0
STEP_H = 5.0 / 3600.0
WGS84 = Geod(ellps="WGS84")


def minutes_north_nm(minutes, lat=57.0):
    """How far apart two marks are, so many minutes of latitude north of one another."""
    return WGS84.inv(11.0, lat, 11.0, lat + minutes / 60.0)[2] / 1852.0


FIVE_MINUTES_NM = minutes_north_nm(5.0)
"""The sailor's miles are of 1852 m: at 57° N a minute of latitude is 0.22 % longer, half a
standard deviation of a beat's time where the wind hardly shifts."""


class Sailor:
    """Knows the tables of the main and jib in 10 kn, upwind, and nothing of the engine's plane.

    The mark counts as fetched from so many degrees closer to the wind than her best angle.
    """

    def __init__(self, boat, pinch_deg=0.5):
        self.pinch_deg = pinch_deg
        twa = np.arange(38.0, 120.0, 0.1)
        held = sailing(boat, 0, twa, 10.0, np.nan)
        self.track, self.kn = held.track_angle_deg, held.boat_speed_kn
        vmg = self.kn * np.cos(np.radians(self.track))
        self.best = int(np.argmax(vmg))

    def sail(self, shifts, turns, winds, seed, start_tack, miles=FIVE_MINUTES_NM):
        """Sail from miles to leeward in many winds; the winds depend on the seed alone."""
        random = np.random.default_rng(seed)
        east, north = np.zeros(winds), np.full(winds, -miles)
        side = np.full(winds, 1.0 if start_tack == "port" else -1.0)
        wind, clock = np.zeros(winds), 0.0
        pause, since = np.zeros(winds), np.full(winds, np.inf)
        arrived = np.full(winds, np.nan)
        fade = np.exp(-STEP_H / shifts.tau_h)
        while np.isnan(arrived).any():
            assert clock < 6.0, "still at sea after six hours"
            at_sea = np.isnan(arrived)
            fetched, speed = self.fetched(east, north, wind, side)
            turn = at_sea & (pause <= 0.0) & ~fetched
            turn &= turns(self, east, north, wind, side, 60.0 * since)
            side, since = np.where(turn, -side, side), np.where(turn, 0.0, since)
            pause = np.where(turn, TACK_H, pause)
            free = np.clip(STEP_H - pause, 0.0, STEP_H) * at_sea
            pause = np.maximum(pause - STEP_H, 0.0)
            fetched, speed = self.fetched(east, north, wind, side)
            heading = np.radians(wind + side * self.track[self.best])
            distance = np.hypot(east, north)
            fast = np.where(fetched, speed, self.kn[self.best])
            near = at_sea & ((fast * free >= distance) & fetched | (distance < 0.01))
            arrived = np.where(near, clock + STEP_H - free + distance / fast, arrived)
            to_east = np.where(fetched, -east / distance, np.sin(heading))
            to_north = np.where(fetched, -north / distance, np.cos(heading))
            east, north = east + fast * free * to_east, north + fast * free * to_north
            wind = wind * fade + shifts.sigma_deg * np.sqrt(1 - fade**2) * random.standard_normal(
                winds
            )
            clock, since = clock + STEP_H, since + STEP_H
        return arrived

    def fetched(self, east, north, wind, side):
        """Whether the mark is fetched on this tack, at the best angle or freer; and the speed."""
        bearing = np.degrees(np.arctan2(-east, -north))
        off = side * ((bearing - wind + 180.0) % 360.0 - 180.0)
        speed = np.interp(off, self.track, self.kn)
        return (off >= self.track[self.best] - self.pinch_deg) & (off <= self.track[-1]), speed


def parallel_degree_nm(lat):
    """How long a degree of longitude is: a cos φ / √(1 − e² sin² φ), the ellipsoid's own."""
    phi = np.radians(lat)
    return np.radians(WGS84.a * np.cos(phi) / np.sqrt(1.0 - WGS84.es * np.sin(phi) ** 2)) / 1852.0


def to_the_layline(sailor, east, north, wind, side, _minutes):
    return sailor.fetched(east, north, wind, -side)[0]


def by(rule, mark):
    degree_nm = WGS84.inv(mark.lon, mark.lat - 0.02, mark.lon, mark.lat)[2] / 1852.0 / 0.02

    def turns(_sailor, east, north, wind, side, minutes):
        lat = mark.lat + north / degree_nm
        lon = mark.lon + east / parallel_degree_nm(lat)
        tack = np.where(side > 0.0, "port", "starboard")
        return rule.turn_now(lat, lon, wind % 360.0, tack, minutes)

    return turns
