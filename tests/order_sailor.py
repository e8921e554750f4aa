"""A stranger who sails a plan by its printed orders, and knows nothing else of it.

What he has is the JSON document, the boat and the weather. From the time and place of
an order to those of the next he holds what it names, a heading or an angle to the wind
from the bow, and does nothing else; his own reckoning is SciPy's Runge-Kutta-Fehlberg
pair (`scipy.integrate.solve_ivp`, RK45) at a tight tolerance, over the radii of WGS 84.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from geographiclib.geodesic import Geodesic
from scipy.integrate import solve_ivp

from goosewing.boat.model import sailing
from goosewing.weather.base import hours_from_datetime

EQUATOR_M, ECCENTRICITY_2 = 6378137.0, 0.00669437999014
"""WGS 84."""

LOOKS = 13
"""So often he looks at the wind on his bow under each order, ends included."""


@dataclass(frozen=True)
class Sailed:
    """What came of one board."""

    miss_nm: float
    length_nm: float
    by_the_lee_deg: float
    """Most that the wind came over the other quarter."""
    outside_deg: float
    """Most that the bow was outside the table or the sector, by the lee left out."""
    wrong_side_h: float
    """Time with the wind on the other side by more than a degree, but near dead aft."""

    @property
    def as_told(self) -> bool:
        """Whether it ended where the plan says: within 0.05 nm and 0.2 % of its length."""
        return self.miss_nm <= 0.05 + 0.002 * self.length_nm


def hours(text: str) -> float:
    return hours_from_datetime(datetime.fromisoformat(text))


def sail_plan(boat, weather, document: dict[str, Any]) -> list[Sailed]:
    """Sail every board of a plan's document, each from where it is said to begin."""
    return [sail_board(boat, weather, board) for leg in document["legs"] for board in leg["boards"]]


def sail_board(boat, weather, board: dict[str, Any]) -> Sailed:
    orders, end = board["orders"], board["end"]
    assert orders[0]["steer"] == board["steer"]
    lat, lon = board["start"]["lat"], board["start"]["lon"]
    ends = [hours(each["time"]) for each in (*orders[1:], end)]
    lee = outside = wrong = 0.0
    for order, until in zip(orders, ends, strict=True):
        begin = hours(order["time"])
        helm = _Helm(boat, weather, board, order)
        way = solve_ivp(
            helm.rates, (begin, until), (lat, lon), method="RK45", rtol=1e-9, atol=1e-9,
            max_step=0.25, t_eval=np.linspace(begin, until, LOOKS),
        )  # fmt: skip
        assert way.success, way.message
        lat, lon = float(way.y[0, -1]), float(way.y[1, -1])
        bows = np.array([helm.bow(*each) for each in zip(way.t, *way.y, strict=True)])
        if not helm.engine:
            lee = max(lee, float((bows - 180.0).max()))
            outside = max(outside, float(helm.outside(np.minimum(bows, 180.0)).max()))
            aside = (bows < -1.0) | (bows > 181.0 + 5.0)
            wrong += float(aside.mean()) * (until - begin)
    apart = Geodesic.WGS84.Inverse(lat, lon, end["lat"], end["lon"])["s12"] / 1852.0
    return Sailed(apart, board["distance_nm"], lee, outside, wrong)


class _Helm:
    """One order, held."""

    def __init__(self, boat, weather, board: dict[str, Any], order: dict[str, Any]) -> None:
        self.boat, self.weather, self.order = boat, weather, order
        self.engine = board["engine"]
        self.sails = None if self.engine else boat.index(board["sail_set"])
        self.side = 1.0 if board["tack"] == "port" else -1.0

    def wind(self, time, lat, lon):
        """Direction from and speed over the water, and the stream."""
        here = self.weather.at(time, lat, lon)
        stream = float(here.stream_east_kn), float(here.stream_north_kn)
        east, north = float(here.wind_east_kn) - stream[0], float(here.wind_north_kn) - stream[1]
        return math.degrees(math.atan2(-east, -north)), math.hypot(east, north), stream

    def bow(self, time, lat, lon) -> float:
        """Angle of the bow from the wind on her own tack; beyond 180° she is by the lee."""
        if self.order["steer"] == "angle":
            return self.order["twa_deg"]
        twd, _, _ = self.wind(time, lat, lon)
        signed = self.side * ((self.order["heading_deg"] - twd + 180.0) % 360.0 - 180.0)
        return signed + 360.0 if signed < -90.0 else signed

    def outside(self, bows):
        sails = self.boat.sail_sets[self.sails]
        low = max(sails.twa_deg[0], sails.polar.first_twa_deg)
        high = min(sails.twa_deg[1], sails.polar.last_twa_deg)
        return np.maximum(low - bows, bows - high)

    def water_track(self, time, lat, lon, twd, tws):
        """Direction and speed through the water."""
        if self.engine:
            return self.order["heading_deg"], self.boat.engine.speed_kn
        bow = self.bow(time, lat, lon)
        by_the_lee = bow > 180.0
        table = 360.0 - bow if by_the_lee else max(bow, 0.0)
        held = self._held(table, tws)
        leeway, speed = float(held.leeway_deg), float(held.boat_speed_kn)
        leeward = -self.side if by_the_lee else self.side
        return twd + self.side * bow + leeward * leeway, speed

    def _held(self, bow, tws):
        """Where rows count the track, the row that belongs to the bow."""
        sails = self.boat.sail_sets[self.sails]
        row = bow
        for _ in range(1 if self.boat.polar_angle == "heading" else 8):
            kept = min(max(row, sails.polar.first_twa_deg), sails.polar.last_twa_deg)
            held = sailing(self.boat, self.sails, kept, tws)
            row = bow + float(held.leeway_deg)
        return held

    def rates(self, time, place):
        lat, lon = (float(each) for each in place)
        twd, tws, stream = self.wind(time, lat, lon)
        direction, speed = self.water_track(time, lat, lon, twd, tws)
        angle = math.radians(direction)
        east = (speed * math.sin(angle) + stream[0]) * 1852.0
        north = (speed * math.cos(angle) + stream[1]) * 1852.0
        w2 = 1.0 - ECCENTRICITY_2 * math.sin(math.radians(lat)) ** 2
        prime = EQUATOR_M / math.sqrt(w2)
        meridian = EQUATOR_M * (1.0 - ECCENTRICITY_2) / w2**1.5
        return (
            math.degrees(north / meridian),
            math.degrees(east / (prime * math.cos(math.radians(lat)))),
        )
