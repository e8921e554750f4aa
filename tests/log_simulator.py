"""A yacht that keeps a log: an independent simulator, no line of it from the package.

Her polar comes from the sample tables through SciPy's own interpolation; wind, stream, helm,
seaway and instruments are drawn at random. What is true is kept beside what the
instruments say.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from scipy.interpolate import PchipInterpolator, RegularGridInterpolator
from scipy.signal import lfilter

START = datetime(2027, 6, 12, 6, tzinfo=UTC).timestamp()


class Table:
    """Monotone cubics in angle, straight lines in wind, to zero in no wind; on arrays."""

    def __init__(self, path, factor=1.0):
        with Path(path).open() as file:
            cells = list(csv.reader(file))
        winds = np.array([0.0, *(float(c) for c in cells[0][1:])])
        angles = np.array([float(row[0]) for row in cells[1:]])
        values = factor * np.array([[0.0, *(float(c) for c in row[1:])] for row in cells[1:]])
        fine = np.arange(angles[0], angles[-1] + 0.25, 0.5)
        self.first, self.last = angles[0], angles[-1]
        columns = [PchipInterpolator(angles, column)(fine) for column in values.T]
        self.grid = RegularGridInterpolator((fine, winds), np.column_stack(columns))

    def __call__(self, twa, tws):
        at = np.clip(twa, self.first, self.last), np.clip(tws, 0.0, 34.9)
        return self.grid(np.column_stack([a.ravel() for a in np.broadcast_arrays(*at)])).reshape(
            np.broadcast(*at).shape
        )


@dataclass
class Truth:
    """What is so aboard."""

    polar: Table
    heel: Table
    k: float = 10.0
    log_reads: float = 1.0
    """Of a true knot."""
    compass_reads_deg: float = 0.0
    """Too much."""
    deviation: tuple[float, float] = (0.0, 0.0)
    """Too much, on sine and cosine of the heading."""
    vane_reads_deg: float = 0.0
    """Too far to starboard."""
    upwash_deg: float = 0.0
    """Too wide on the wind, less beyond 40° of apparent wind, nothing at 120°."""
    speed_noise: float = 0.02
    crew_spread: float = 0.01
    vane_noise_deg: float = 4.0
    wind_noise: float = 0.06
    stream_kn: float = 0.6
    variation: float = 4.5


@dataclass
class Sailed:
    """One log: true values and readings at every second."""

    time_s: np.ndarray
    true: dict[str, np.ndarray] = field(default_factory=dict)
    read: dict[str, np.ndarray] = field(default_factory=dict)
    engine: np.ndarray | None = None


def wander(rng, size, spread, seconds):
    """A wander of this spread that forgets itself in so many seconds."""
    keep = math.exp(-1.0 / seconds)
    noise = rng.normal(0.0, spread * math.sqrt(1.0 - keep**2), size)
    noise[0] = rng.normal(0.0, spread)
    return lfilter([1.0], [1.0, -keep], noise)


def boards(rng, hours, angles, minutes=(6.0, 16.0)):
    """Wanted signed wind angle at each second, board by board: pairs of the two tacks."""
    wanted, side = [], 1.0
    left = hours * 3600.0
    while left > 0.0:
        angle = rng.choice(angles) if not callable(angles) else angles(rng)
        for _ in range(2):
            seconds = int(rng.uniform(*minutes) * 60.0)
            wanted.append(np.full(seconds, side * angle))
            left -= seconds
            side = -side
    return np.concatenate(wanted)[: int(hours * 3600.0)]


def sail(truth, wanted, seed=0, *, tws=(10.0, 3.0), engine=(), twd=240.0, wind_shift=8.0,
         shift_s=3600.0, flicker=2.0, heel_known=True, turn_s=12.0, lag_s=12.0,
         stop_s=0.0):  # fmt: skip
    """Sail so that the wind comes in at the wanted angle.

    `engine`: spans of seconds under it; `stop_s`: how long she lies still at every turn;
    `wind_shift`, `shift_s`: how far and for how long the wind's direction wanders, and
    `flicker` how far within a minute.
    """
    rng = np.random.default_rng(seed)
    n = wanted.size
    t = np.arange(n, dtype=float)
    blows = twd + wander(rng, n, wind_shift, shift_s) + wander(rng, n, flicker, 60.0)
    mean = np.full(n, tws[0]) if np.isscalar(tws[0]) else np.asarray(tws[0])
    speed = np.maximum(mean + wander(rng, n, tws[1], 5400.0), 2.5)
    speed = np.maximum(speed * (1.0 + wander(rng, n, 0.06, 45.0)), 1.0)
    phase = rng.uniform(0, 2 * math.pi)
    along = truth.stream_kn * np.sin(2 * math.pi * t / 44700.0 + phase)
    stream = along * math.sin(0.6), along * math.cos(0.6)
    # Wind over the water.
    rad = np.radians(blows)
    east = -speed * np.sin(rad) - stream[0]
    north = -speed * np.cos(rad) - stream[1]
    twd_water = np.degrees(np.arctan2(-east, -north))
    tws_water = np.hypot(east, north)
    motored = np.zeros(n, dtype=bool)
    for begin, end in engine:
        motored[int(begin) : int(end)] = True
    # The helm follows the wind's slow shifts, not its puffs; turns take a while.
    followed = lfilter([1 / 40.0], [1.0, -(1 - 1 / 40.0)], twd_water - twd_water[0]) + twd_water[0]
    steered = np.degrees(np.unwrap(np.radians(followed - wanted)))
    steered = lfilter([1 / turn_s], [1, -(1 - 1 / turn_s)], steered - steered[0]) + steered[0]
    heading = steered + wander(rng, n, 2.0, 8.0)
    heading[motored] = 70.0 + wander(rng, n, 1.5, 8.0)[motored]
    twa = (twd_water - heading + 180.0) % 360.0 - 180.0
    crew = np.exp(wander(rng, n, truth.crew_spread, 1200.0))
    wish = truth.polar(np.abs(twa), tws_water) * crew
    wish[motored] = 5.6
    v = lfilter([1 / lag_s], [1, -(1 - 1 / lag_s)], wish - wish[0]) + wish[0]
    v = np.maximum(v * np.exp(wander(rng, n, truth.speed_noise, 6.0)), 0.05)
    v[motored] = 5.6 + wander(rng, n, 0.02, 30.0)[motored]
    for turn in np.flatnonzero(np.diff(np.sign(wanted))) + 1:
        v[turn : turn + int(stop_s)] = 0.05
    heel = truth.heel(np.abs(twa), tws_water) + wander(rng, n, 1.5, 5.0)
    heel[motored] = wander(rng, n, 0.6, 5.0)[motored]
    leeway = np.where(v > 0.5, truth.k * np.maximum(heel, 0.0) / v**2, 0.0)
    leeway = np.minimum(lfilter([1 / 6.0], [1, -(5 / 6.0)], leeway), 20.0)
    leeway[motored] = 0.0
    track = np.radians(heading - np.sign(twa) * leeway)
    ground = v * np.sin(track) + stream[0], v * np.cos(track) + stream[1]
    lam = np.radians(leeway)
    th = np.radians(twa)
    fore = tws_water * np.cos(th) + v * np.cos(lam)
    abeam = tws_water * np.sin(th) - np.sign(twa) * v * np.sin(lam)
    awa, aws = np.degrees(np.arctan2(abeam, fore)), np.hypot(fore, abeam)
    wide = truth.upwash_deg * np.clip((120.0 - np.abs(awa)) / 80.0, 0.0, 1.0)
    swing = wander(rng, n, truth.vane_noise_deg, 1.5)
    read_awa = awa + np.sign(awa) * wide + truth.vane_reads_deg + swing
    gust = np.exp(wander(rng, n, truth.wind_noise, 1.5))
    h = np.radians(heading)
    off = truth.compass_reads_deg + truth.deviation[0] * np.sin(h) + truth.deviation[1] * np.cos(h)
    hours = np.cumsum(np.column_stack(ground), axis=0) / 3600.0
    lat = 57.0 + hours[:, 1] / 60.0
    lon = 11.0 + hours[:, 0] / 60.0 / np.cos(np.radians(lat))
    read = {
        "heading_deg": np.mod(heading + off + wander(rng, n, 0.3, 1.0), 360.0),
        "stw_kn": v * truth.log_reads * (1.0 + rng.normal(0.0, 0.01, n)),
        "awa_deg": (read_awa + 180.0) % 360.0 - 180.0,
        "aws_kn": aws * gust,
        "sog_kn": np.hypot(*ground) + wander(rng, n, 0.05, 5.0),
        "cog_deg": np.mod(np.degrees(np.arctan2(*ground)) + wander(rng, n, 0.8, 5.0), 360.0),
        "lat": lat, "lon": lon,
    }  # fmt: skip
    if heel_known:
        # Over to leeward: to port with the wind from starboard.
        read["heel_deg"] = -np.sign(twa) * heel
    true = {"twa_deg": twa, "tws_kn": tws_water, "stw_kn": v, "heel_deg": heel,
            "leeway_deg": leeway, "heading_deg": np.mod(heading, 360.0)}  # fmt: skip
    return Sailed(START + t, true, read, motored)


# ---- written out -------------------------------------------------------------------------------


def _line(body):
    total = 0
    for byte in body.encode("ascii"):
        total ^= byte
    return f"${body}*{total:02X}\r\n"


def _place(value, digits, marks):
    whole, rest = divmod(round(abs(float(value)) * 600000), 600000)
    return f"{whole:0{digits}d}{rest / 1e4:07.4f},{marks[int(value < 0)]}"


def nmea(log, variation=4.5, keep=None):
    """The log as sentences, a burst a second; its compass is magnetic."""
    out = []
    r = log.read
    for i, time_s in enumerate(log.time_s):
        if keep is not None and not keep(i):
            continue
        at = datetime.fromtimestamp(time_s, UTC)
        place = f"{_place(r['lat'][i], 2, 'NS')},{_place(r['lon'][i], 3, 'EW')}"
        out.append(_line(
            f"GPRMC,{at:%H%M%S}.00,A,{place},{max(r['sog_kn'][i], 0.0):.2f},{r['cog_deg'][i]:.1f},"
            f"{at:%d%m%y},{variation:.1f},E,A"
        ))  # fmt: skip
        magnetic = (r["heading_deg"][i] - variation) % 360.0
        out.append(_line(f"HCHDG,{magnetic:.1f},,,{variation:.1f},E"))
        out.append(_line(f"VWVHW,,T,{magnetic:.1f},M,{r['stw_kn'][i]:.2f},N,,K"))
        out.append(_line(f"WIMWV,{r['awa_deg'][i] % 360.0:.1f},R,{r['aws_kn'][i]:.2f},N,A"))
        if "heel_deg" in r:
            out.append(_line(f"IIXDR,A,{r['heel_deg'][i]:.1f},D,ROLL"))
    return "".join(out)
