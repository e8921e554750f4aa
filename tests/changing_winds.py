"""Winds and streams that change, and boards sailed by the tests' own reckoning."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import numpy as np
from geographiclib.geodesic import Geodesic

from goosewing.boat.model import Manoeuvres, sailing
from goosewing.records import Mark
from goosewing.weather.base import Conditions, Coverage, hours_from_datetime

DEPARTURE = datetime(2027, 6, 1, 6, tzinfo=UTC)
START_H = hours_from_datetime(DEPARTURE)
FREE = Manoeuvres(tack_s=0, gybe_s=0, set_pole_s=0, strike_pole_s=0, change_sails_s=0)

EQUATOR_M, ECCENTRICITY_2 = 6378137.0, 0.00669437999014
"""WGS 84."""


class Formula:
    """A weather by formula: (hours since departure, lat, lon) to (from, kn, gust, east, north)."""

    def __init__(self, formula, *, in_time=True, in_place=False, coverage=None):
        self.formula = formula
        self.varies_in_time, self.varies_in_place = in_time, in_place
        self.coverage = coverage or Coverage()

    def at(self, time_h, lat, lon):
        hours, lat, lon = np.broadcast_arrays(np.asarray(time_h, float) - START_H, lat, lon)
        values = self.formula(hours, lat, lon)
        twd, kn, gust, east, north = (v + np.zeros(hours.shape) for v in values)
        angle = np.radians(twd)
        return Conditions(-kn * np.sin(angle), -kn * np.cos(angle), gust, east, north)


def turning(rate_deg_h=5.0, base_deg=0.0, kn=10.0, kn_rate=0.0, stream=(0.0, 0.0), gust=np.nan):
    """Wind that turns steadily, the same everywhere."""
    return Formula(
        lambda t, _lat, _lon: (base_deg + rate_deg_h * t, kn + kn_rate * t, gust, *stream)
    )


def leg(lat, lon, bearing_deg, nm):
    """Two marks, the second by GeographicLib."""
    there = Geodesic.WGS84.Direct(lat, lon, bearing_deg, nm * 1852.0)
    return [Mark(name="A", lat=lat, lon=lon), Mark(name="B", lat=there["lat2"], lon=there["lon2"])]


def metres_apart(a, b):
    return Geodesic.WGS84.Inverse(a.lat, a.lon, b.lat, b.lon)["s12"]


def _rates(boat, weather, board, order, time_h, lat, lon):
    """Degrees an hour north and east, from the order to the helm alone."""
    here = weather.at(time_h, lat, lon)
    east, north = (
        float(here.wind_east_kn - here.stream_east_kn),
        float(here.wind_north_kn - here.stream_north_kn),
    )
    twd, tws = math.degrees(math.atan2(-east, -north)), math.hypot(east, north)
    side = 1 if board.tack == "port" else -1
    twa = order.twa_deg
    if order.steer == "heading":
        twa = side * ((order.heading_deg - twd + 180.0) % 360.0 - 180.0)
        assert twa >= 0.0, "by the lee"
    held = sailing(boat, boat.index(board.sail_set), twa, tws)
    track = math.radians(twd + side * float(held.track_angle_deg))
    speed = float(held.boat_speed_kn)
    north_m_h = (speed * math.cos(track) + float(here.stream_north_kn)) * 1852.0
    east_m_h = (speed * math.sin(track) + float(here.stream_east_kn)) * 1852.0
    w2 = 1.0 - ECCENTRICITY_2 * math.sin(math.radians(lat)) ** 2
    prime = EQUATOR_M / math.sqrt(w2)
    meridian = EQUATOR_M * (1.0 - ECCENTRICITY_2) / w2**1.5
    return (
        math.degrees(north_m_h / meridian),
        math.degrees(east_m_h / (prime * math.cos(math.radians(lat)))),
    )


def sailed(boat, weather, board, step_h=1.0 / 30.0):
    """Where a board's orders bring her: Runge and Kutta's classical fourth-order rule."""
    lat, lon = board.start.lat, board.start.lon
    orders = board.orders or (board,)
    times = [board.start.time, *(each.time for each in orders[1:]), board.end.time]
    for order, begin, end in zip(orders, times, times[1:], strict=False):
        time, hours = hours_from_datetime(begin), (end - begin).total_seconds() / 3600.0
        count = max(2, math.ceil(hours / step_h))
        for _ in range(count):
            lat, lon = _stepped(boat, weather, board, order, time, lat, lon, hours / count)
            time += hours / count
    return lat, lon


def _stepped(boat, weather, board, order, time, lat, lon, step):
    def rates(later, dlat, dlon):
        return _rates(boat, weather, board, order, time + later, lat + dlat, lon + dlon)

    half = step / 2
    k1 = rates(0.0, 0.0, 0.0)
    k2 = rates(half, half * k1[0], half * k1[1])
    k3 = rates(half, half * k2[0], half * k2[1])
    k4 = rates(step, step * k3[0], step * k3[1])
    dlat, dlon = (
        step / 6 * (a + 2 * b + 2 * c + d) for a, b, c, d in zip(k1, k2, k3, k4, strict=True)
    )
    return lat + dlat, lon + dlon


def front(seed):
    """A short passage on which a front passes: marks, and its weather by formula.

    The wind veers or backs by up to 90° within a quarter of an hour to an hour and a half,
    and freshens or drops; two fronts in three move across the chart.
    """
    rng = np.random.default_rng(seed)
    lat, bearing, nm = rng.uniform(30, 60), rng.uniform(0, 360), rng.uniform(12, 60)
    base, kn = bearing + rng.uniform(-180, 180), rng.uniform(8, 16)
    shift, change = rng.choice([-1, 1]) * rng.uniform(20, 90), rng.uniform(-4, 5)
    comes, lasts = rng.uniform(0.5, nm / 6.0), rng.uniform(0.25, 1.5)
    moves, towards = rng.uniform(10, 30), np.radians(rng.uniform(0, 360))
    tide, sets = rng.uniform(0, 1.5), np.radians(rng.uniform(0, 360))
    moving = seed % 3 > 0

    def weather(t, la, lo):
        x = (lo - 11.0) * 60.0 * np.cos(np.radians(lat)) * np.sin(towards)
        y = (la - lat) * 60.0 * np.cos(towards)
        late = (x + y) / moves if moving else 0.0
        share = 0.5 + 0.5 * np.tanh(2.0 * (t - comes - late) / lasts)
        flow = tide * np.cos(2.0 * np.pi * t / 12.4)
        return (
            base + shift * share, kn + change * share, np.nan,
            flow * np.sin(sets), flow * np.cos(sets),
        )  # fmt: skip

    return leg(lat, 11.0, bearing, nm), Formula(weather, in_place=moving)
