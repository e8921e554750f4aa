"""Invented oceans: trades, a passing low, a patch of calm and a stream, over days.

No forecast centre made these numbers. Everything follows from a seed and smooth formulas, so
that one ocean can be had by formula, on a grid in memory, as GRIB 2 (written by ecCodes) and
as CF NetCDF (written by xarray), with any step of time::

    ocean = invented_ocean(7)
    make(ocean.marks, brisvik, ocean.weather(step_h=3.0), DEPARTURE)
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from changing_winds import DEPARTURE, START_H, Formula, leg
from goosewing.units import METRES_PER_SECOND_PER_KNOT
from goosewing.weather.base import STREAM, WIND, Coverage
from goosewing.weather.grid import GridWeather, LatLonGrid, layer_of

CELL_DEG = 0.5
ROOM = 0.45
"""How far the grid reaches beyond the ends and to either side, in lengths of the passage."""

LONGEST_PASSAGE_KN = 2.6
"""Whoever makes less good is overtaken by the end of the forecast."""

TURN_DEG = 360.0


@dataclass(frozen=True, kw_only=True)
class Trades:
    """A wind that swings and freshens in long, moving waves."""

    from_deg: float
    kn: float
    swing_deg: float = 12.0
    freshens: float = 0.15
    period_h: float = 70.0
    length_nm: float = 900.0
    phase: float = 0.0

    def wind(self, t, x, y):
        """Components *towards* east and north [kn] at hours and miles."""
        wave = 2.0 * np.pi * (t / self.period_h + (x - 0.4 * y) / self.length_nm) + self.phase
        angle = np.radians(self.from_deg + self.swing_deg * np.sin(wave))
        kn = self.kn * (1.0 + self.freshens * np.cos(0.7 * wave + 1.0))
        return -kn * np.sin(angle), -kn * np.cos(angle)


@dataclass(frozen=True, kw_only=True)
class Low:
    """A depression that crosses: winds round its middle, strongest `reach_nm` off it."""

    x_nm: float
    y_nm: float
    towards_deg: float
    moves_kn: float
    strongest_kn: float
    reach_nm: float
    northern: bool = True

    def wind(self, t, x, y):
        """Components *towards* east and north [kn] at hours and miles."""
        track = np.radians(self.towards_deg)
        dx = (x - self.x_nm - self.moves_kn * t * np.sin(track)) / self.reach_nm
        dy = (y - self.y_nm - self.moves_kn * t * np.cos(track)) / self.reach_nm
        kn = self.strongest_kn * np.exp(0.5 * (1.0 - dx**2 - dy**2))
        turn = 1.0 if self.northern else -1.0
        return -turn * dy * kn, turn * dx * kn


@dataclass(frozen=True, kw_only=True)
class Calm:
    """A patch that takes the wind away, and drifts."""

    x_nm: float
    y_nm: float
    size_nm: float
    takes: float = 0.85
    moves_kn: tuple[float, float] = (0.0, 0.0)

    def left(self, t, x, y):
        """What share of the wind is left."""
        dx = (x - self.x_nm - self.moves_kn[0] * t) / self.size_nm
        dy = (y - self.y_nm - self.moves_kn[1] * t) / self.size_nm
        return 1.0 - self.takes * np.exp(-0.5 * (dx**2 + dy**2))


@dataclass(frozen=True, kw_only=True)
class Stream:
    """A meandering stream; the same at all times."""

    set_deg: float
    drift_kn: float
    x_nm: float
    y_nm: float
    width_nm: float
    meander_nm: float = 30.0
    length_nm: float = 350.0

    def flow(self, x, y):
        """Components *towards* east and north [kn] at miles."""
        angle = np.radians(self.set_deg)
        along = (x - self.x_nm) * np.sin(angle) + (y - self.y_nm) * np.cos(angle)
        across = (x - self.x_nm) * np.cos(angle) - (y - self.y_nm) * np.sin(angle)
        phase = 2.0 * np.pi * along / self.length_nm
        off = (across - self.meander_nm * np.sin(phase)) / self.width_nm
        kn = self.drift_kn * np.exp(-0.5 * off**2)
        # It flows along its own bends.
        bend = np.arctan(2.0 * np.pi * self.meander_nm / self.length_nm * np.cos(phase))
        return kn * np.sin(angle + bend), kn * np.cos(angle + bend)


@dataclass(frozen=True, kw_only=True)
class Ocean:
    """A passage and its invented weather; miles are counted from the passage's middle."""

    name: str
    lat: float
    lon: float
    bearing_deg: float
    nm: float
    trades: Trades
    lows: tuple[Low, ...] = ()
    calms: tuple[Calm, ...] = ()
    streams: tuple[Stream, ...] = ()
    wind_factor: float = 1.0

    @cached_property
    def marks(self):
        """Start and end, `nm` apart on the geodesic."""
        return leg(self.lat, self.lon, self.bearing_deg, self.nm)

    @property
    def hours(self) -> float:
        """How long the forecast is."""
        return float(np.ceil(self.nm / LONGEST_PASSAGE_KN / 3.0) * 3.0)

    def with_wind(self, factor: float) -> Ocean:
        """The same ocean with all winds multiplied; the stream stays."""
        return replace(self, wind_factor=factor)

    def at(self, t, lat, lon):
        """Wind and stream *towards* east and north [kn], hours after departure."""
        one, two = self.marks
        middle = 0.5 * (one.lat + two.lat), 0.5 * (one.lon + two.lon)
        x = (lon - middle[1]) * 60.0 * np.cos(np.radians(middle[0]))
        y = (lat - middle[0]) * 60.0
        east, north = self.trades.wind(t, x, y)
        for low in self.lows:
            more = low.wind(t, x, y)
            east, north = east + more[0], north + more[1]
        left = self.wind_factor
        for calm in self.calms:
            left = left * calm.left(t, x, y)
        set_east, set_north = np.zeros(np.shape(x)), np.zeros(np.shape(x))
        for stream in self.streams:
            more = stream.flow(x, y)
            set_east, set_north = set_east + more[0], set_north + more[1]
        return left * east, left * north, set_east, set_north

    # ---- as weathers in memory ------------------------------------------------------------

    def formula(self) -> Formula:
        """The ocean itself, without a grid."""

        def told(t, lat, lon):
            east, north, *stream = self.at(t, lat, lon)
            twd = np.degrees(np.arctan2(-east, -north))
            return twd, np.hypot(east, north), np.nan, *stream

        return Formula(told, in_place=True, coverage=Coverage())

    def weather(self, *, step_h: float = 1.0, cell_deg: float = CELL_DEG) -> GridWeather:
        """On a grid, as a reader of forecasts would give it."""
        grid = LatLonGrid(*self.grid(cell_deg))
        times = self.times(step_h)
        columns = dict(zip((*WIND, *STREAM), self.fields(times, *self.grid(cell_deg)), strict=True))
        return GridWeather((layer_of(columns, grid, START_H + times),))

    def grid(self, cell_deg: float = CELL_DEG):
        """Latitudes and longitudes, ascending, on whole cells."""
        axes = []
        one, two = self.marks
        for a, b, scale in (
            (one.lat, two.lat, 60.0),
            (one.lon, two.lon, 60.0 * np.cos(np.radians(0.5 * (one.lat + two.lat)))),
        ):
            reach = ROOM * self.nm / scale
            low = np.floor((min(a, b) - reach) / cell_deg)
            high = np.ceil((max(a, b) + reach) / cell_deg)
            axes.append(cell_deg * np.arange(low, high + 1.0))
        return axes[0], axes[1]

    def times(self, step_h: float = 1.0):
        """Hours after departure."""
        return np.arange(0.0, self.hours + step_h / 2.0, step_h)

    def fields(self, times, lats, lons):
        """Four arrays [kn], shape (times, lats, lons)."""
        t, lat, lon = np.meshgrid(times, lats, lons, indexing="ij")
        return self.at(t, lat, lon)

    # ---- as files -------------------------------------------------------------------------

    def write_netcdf(self, path, *, step_h: float = 1.0, cell_deg: float = CELL_DEG):
        """Write CF NetCDF, [m/s]."""
        import xarray as xr

        times, (lats, lons) = self.times(step_h), self.grid(cell_deg)
        names = (
            "eastward_wind", "northward_wind",
            "surface_eastward_sea_water_velocity", "surface_northward_sea_water_velocity",
        )  # fmt: skip
        moments = np.datetime64(DEPARTURE.replace(tzinfo=None), "ns") + (times * 3600.0).astype(
            "timedelta64[s]"
        ).astype("timedelta64[ns]")
        values = (v * METRES_PER_SECOND_PER_KNOT for v in self.fields(times, lats, lons))
        xr.Dataset(
            {
                f"v{number}": (
                    ("time", "lat", "lon"),
                    value.astype(np.float32),
                    {"standard_name": name, "units": "m s-1"},
                )
                for number, (name, value) in enumerate(zip(names, values, strict=True))
            },
            coords={
                "time": moments,
                "lat": ("lat", lats, {"standard_name": "latitude", "units": "degrees_north"}),
                "lon": ("lon", lons, {"standard_name": "longitude", "units": "degrees_east"}),
            },
        ).to_netcdf(path)
        return path

    def write_grib(self, path, *, step_h: float = 1.0, cell_deg: float = CELL_DEG):
        """Write GRIB 2, [m/s] in 16 bits, rows from north to south."""
        from goosewing.weather._eccodes import load

        eccodes = load()
        times, (lats, lons) = self.times(step_h), self.grid(cell_deg)
        every = self.fields(times, lats, lons)
        with path.open("wb") as file:
            for at, hour in enumerate(times):
                for keys, value in zip((EAST_10_M, NORTH_10_M, EAST_SEA, NORTH_SEA), every,
                                       strict=True):  # fmt: skip
                    file.write(
                        _message(eccodes, _grid_keys(lats, lons) | keys, hour, value[at, ::-1])
                    )
        return path


AT_10_M = {"typeOfFirstFixedSurface": 103, "scaleFactorOfFirstFixedSurface": 0,
           "scaledValueOfFirstFixedSurface": 10}  # fmt: skip
EAST_10_M = {"discipline": 0, "parameterCategory": 2, "parameterNumber": 2, **AT_10_M}
NORTH_10_M = EAST_10_M | {"parameterNumber": 3}
EAST_SEA = {"discipline": 10, "parameterCategory": 1, "parameterNumber": 2,
            "typeOfFirstFixedSurface": 1}  # fmt: skip
NORTH_SEA = EAST_SEA | {"parameterNumber": 3}
"""Products by WMO code tables 4.1, 4.2 and 4.5."""


def _grid_keys(lats, lons):
    return {
        "Ni": len(lons), "Nj": len(lats),
        "latitudeOfFirstGridPointInDegrees": float(lats[-1]),
        "latitudeOfLastGridPointInDegrees": float(lats[0]),
        "longitudeOfFirstGridPointInDegrees": float(lons[0]) % TURN_DEG,
        "longitudeOfLastGridPointInDegrees": float(lons[-1]) % TURN_DEG,
        "iDirectionIncrementInDegrees": float(lons[1] - lons[0]),
        "jDirectionIncrementInDegrees": float(lats[1] - lats[0]),
    }  # fmt: skip


def _message(eccodes, keys, hour, knots):
    handle = eccodes.codes_grib_new_from_samples("GRIB2")
    run = {"dataDate": int(f"{DEPARTURE:%Y%m%d}"), "dataTime": int(f"{DEPARTURE:%H%M}")}
    for key, value in (run | keys | {"bitsPerValue": 16, "endStep": int(hour)}).items():
        eccodes.codes_set(handle, key, value)
    eccodes.codes_set_values(handle, knots.ravel() * METRES_PER_SECOND_PER_KNOT)
    made = eccodes.codes_get_message(handle)
    eccodes.codes_release(handle)
    return made


# ---- oceans ---------------------------------------------------------------------------------


def five_days() -> Ocean:
    """About 640 nm for *Brisvik*, to windward at last, past a patch of calm, across a stream."""
    return Ocean(
        name="five days", lat=43.4, lon=-8.9, bearing_deg=322.0, nm=640.0,
        trades=Trades(from_deg=30.0, kn=10.5, swing_deg=18.0, freshens=0.2, phase=0.6),
        lows=(
            Low(x_nm=-900.0, y_nm=260.0, towards_deg=75.0, moves_kn=14.0, strongest_kn=13.0,
                reach_nm=220.0),
        ),
        calms=(Calm(x_nm=-30.0, y_nm=20.0, size_nm=70.0, takes=0.9, moves_kn=(0.6, -0.3)),),
        streams=(Stream(set_deg=70.0, drift_kn=1.3, x_nm=40.0, y_nm=-60.0, width_nm=45.0),),
    )  # fmt: skip


def invented_ocean(seed: int) -> Ocean:
    """A passage of three to seven days."""
    rng = np.random.default_rng(seed)
    nm = float(rng.uniform(360.0, 850.0))
    bearing = float(rng.uniform(0.0, TURN_DEG))
    southern = bool(rng.random() < 0.3)
    lat = float(rng.uniform(12.0, 48.0)) * (-1.0 if southern else 1.0)
    # A third of them to windward, the others anyhow.
    off = rng.uniform(-40.0, 40.0) if rng.random() < 1.0 / 3.0 else rng.uniform(-180.0, 180.0)
    trades = Trades(
        from_deg=bearing + float(off), kn=float(rng.uniform(9.0, 16.0)),
        swing_deg=float(rng.uniform(8.0, 30.0)), freshens=float(rng.uniform(0.1, 0.25)),
        period_h=float(rng.uniform(50.0, 110.0)), length_nm=float(rng.uniform(600.0, 1400.0)),
        phase=float(rng.uniform(0.0, 2.0 * np.pi)),
    )  # fmt: skip
    return Ocean(
        name=f"ocean {seed}", lat=lat, lon=float(rng.uniform(-140.0, 140.0)),
        bearing_deg=bearing, nm=nm, trades=trades,
        lows=tuple(_low(rng, nm, southern=southern) for _ in range(rng.integers(0, 3))),
        calms=tuple(_calm(rng, nm, bearing) for _ in range(rng.integers(0, 3))),
        streams=tuple(_stream(rng, nm) for _ in range(rng.integers(0, 3))),
    )  # fmt: skip


def _low(rng, nm, *, southern):
    towards = float(rng.uniform(40.0, 110.0))
    moves = float(rng.uniform(8.0, 18.0))
    # It passes near the middle at some time on the way.
    hours = float(rng.uniform(20.0, 100.0))
    x, y = (float(v) for v in rng.uniform(-0.5, 0.5, 2) * nm)
    return Low(
        x_nm=x - moves * hours * float(np.sin(np.radians(towards))),
        y_nm=y - moves * hours * float(np.cos(np.radians(towards))),
        towards_deg=towards, moves_kn=moves, strongest_kn=float(rng.uniform(7.0, 13.0)),
        reach_nm=float(rng.uniform(140.0, 300.0)), northern=not southern,
    )  # fmt: skip


def _calm(rng, nm, bearing):
    along, across = rng.uniform(-0.35, 0.35) * nm, rng.uniform(-0.12, 0.12) * nm
    angle = np.radians(bearing)
    return Calm(
        x_nm=float(along * np.sin(angle) + across * np.cos(angle)),
        y_nm=float(along * np.cos(angle) - across * np.sin(angle)),
        size_nm=float(rng.uniform(30.0, 90.0)), takes=float(rng.uniform(0.6, 0.92)),
        moves_kn=(float(rng.uniform(-1.0, 1.0)), float(rng.uniform(-1.0, 1.0))),
    )  # fmt: skip


def _stream(rng, nm):
    return Stream(
        set_deg=float(rng.uniform(0.0, TURN_DEG)), drift_kn=float(rng.uniform(0.5, 2.2)),
        x_nm=float(rng.uniform(-0.3, 0.3) * nm), y_nm=float(rng.uniform(-0.3, 0.3) * nm),
        width_nm=float(rng.uniform(30.0, 70.0)), meander_nm=float(rng.uniform(0.0, 40.0)),
        length_nm=float(rng.uniform(250.0, 500.0)),
    )  # fmt: skip


OCEANS = range(20)
"""Seeds of the passages that are always looked at."""


def restless_forecast(lat, lon, hours, *, base_deg, kn, step_h=1.0, cell_deg=0.25):
    """An invented forecast: waves of wind that move and turn, with a little noise.

    Some days long, they let her stay in a stronger wind if she keeps up with it: whoever is
    late meets another wind all the way.
    """
    rng = np.random.default_rng(3)
    lats, lons = (np.arange(low, high + cell_deg / 2, cell_deg) for low, high in (lat, lon))
    times = np.arange(0.0, hours + 0.1, step_h)
    t, la, lo = np.meshgrid(times, lats, lons, indexing="ij")
    wave = 25.0 * np.sin(2.0 * np.pi * t / 19.0 + la) + 15.0 * np.sin(1.3 * lo + t / 11.0)
    angle = np.radians(base_deg + wave + rng.normal(0.0, 3.0, t.shape))
    speed = kn + 3.0 * np.sin(t / 9.0 + 0.8 * lo)
    parts = {WIND[0]: -speed * np.sin(angle), WIND[1]: -speed * np.cos(angle)}
    flat = {name: values.reshape(len(times), -1) for name, values in parts.items()}
    return GridWeather((layer_of(flat, LatLonGrid(lats, lons), START_H + times),))
