"""GRIB 1 and 2, decoded by ecCodes message by message.

Taken from a file: the wind 10 m up (or one given for the surface, where a file
has nothing better), the gust, and the current nearest the surface. Other
messages are passed over undecoded. Where several runs forecast the same time,
the latest run counts. A gust that is the greatest of a period belongs to the
period's end. Winds relative to a grid are turned to true north on reading.

References
----------
.. [1] WMO, Manual on Codes, No. 306, volume I.2: flag table 3.3 (resolution and
   component flags) and 3.4 (scanning mode), code tables 4.2-0-2 (wind) and
   4.2-10-1 (currents), as the tables that ecCodes carries have them.
"""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from goosewing.errors import InputError
from goosewing.files.disk import MOST_BYTES_OF_FIELDS, check_readable
from goosewing.units import Array
from goosewing.weather._eccodes import load
from goosewing.weather.base import (
    GUST,
    STREAM,
    WIND,
    Name,
    datetime_from_hours,
    hours_from_datetime,
)
from goosewing.weather.grid import (
    Ensemble,
    Grid,
    GridWeather,
    IndexArray,
    LatLonGrid,
    Layer,
    ProjectedGrid,
    ReducedGrid,
    joined,
    layer_of,
)
from goosewing.weather.units import knots_per

Kind = Literal["wind", "gust", "stream"]
Values = NDArray[np.float32]
"""Packed fields hold 8 to 24 bits, so single precision loses nothing and halves the memory."""

NAMES: dict[Kind, tuple[Name, ...]] = {"wind": WIND, "gust": GUST, "stream": STREAM}
SAID: dict[Kind, str] = {"wind": "wind at 10 m", "gust": "gust", "stream": "surface current"}

MISSING = 1e36
"""What ecCodes is told to put for a missing point: no field reaches it, single precision can."""

RELATIVE_TO_GRID = 8
"""Bit of the resolution and component flags: components run along the grid's axes [1]_."""

WIND_SHORT_NAMES = {"10u": 0, "10v": 1, "u": 0, "v": 1}
GUST_SHORT_NAMES = ("i10fg", "gust", "10fg", "max_10fg", "10fg3", "10fg6")
"""In the order of preference: what blows at the time before the greatest of a period."""

CURRENT_SHORT_NAMES = {"ocu": 0, "ocv": 1, "ucurr": 0, "vcurr": 1}
LEVELS_FOR_WIND = {
    ("heightAboveGround", 10): 0,
    ("heightAboveSea", 10): 1,
    ("surface", 0): 2,
    ("meanSea", 0): 3,
}
"""Levels that pass for 10 m, the best first: small files for yachts often say 'surface'."""

UNSAID = "unknown"
"""What ecCodes calls a unit that it has no name for."""

NOT_A_FORECAST = {5, 6, 9, 10}
"""Product templates of probabilities and percentiles (code table 4.0)."""

FIRST_LOCAL_TABLE = 128
"""GRIB 1 tables from here on belong to single centres; below, 49 and 50 are the current."""


@dataclass(frozen=True, slots=True)
class _Place:
    """A grid, and how a message's values are put in its order."""

    grid: Grid
    order: IndexArray
    turned: bool


@dataclass(slots=True)
class _Pair:
    """The components of one kind at one time from one run."""

    parts: dict[int, Values] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, order=True)
class _Key:
    member: int
    kind: Kind
    rank: int
    place: str


@dataclass(slots=True)
class _Held:
    """Everything of use in a file: by key, valid time and run."""

    places: dict[str, _Place] = field(default_factory=dict)
    fields: dict[_Key, dict[float, dict[float, _Pair]]] = field(
        default_factory=lambda: defaultdict(lambda: defaultdict(dict))
    )


def read_grib(path: str | os.PathLike[str]) -> GridWeather | Ensemble:
    """Read wind, gust and surface current from a GRIB file.

    Parameters
    ----------
    path : path-like
        The file; nothing is written beside it.

    Returns
    -------
    GridWeather or Ensemble
        An `Ensemble` where the file has several members, the control (or the
        lowest number) first.

    Raises
    ------
    InputError
        If the file is damaged or truncated, holds neither wind nor current, lacks
        one component, or is on a kind of grid that is not known.
    """
    where = Path(path).name
    check_readable(Path(path), "GRIB", most_bytes=MOST_BYTES_OF_FIELDS)
    held = _Held()
    try:
        for number, handle in enumerate(_messages(Path(path)), start=1):
            _take(held, handle, number)
        return _weather(held)
    except InputError as error:
        raise InputError(str(error), where=where) from None


def _messages(path: Path) -> Iterator[int]:
    eccodes = load()
    # u and v often share one message; without this ecCodes shows the first of them only.
    eccodes.codes_grib_multi_support_on()
    number = 0
    try:
        with path.open("rb") as file:
            while True:
                number += 1
                try:
                    handle = eccodes.codes_grib_new_from_file(file)
                except eccodes.CodesInternalError as error:
                    raise InputError(
                        f"the GRIB file is damaged or cut short at field {number} ({error})"
                    ) from None
                if handle is None:
                    return
                try:
                    yield handle
                finally:
                    eccodes.codes_release(handle)
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror})") from None
    finally:
        eccodes.codes_grib_multi_support_off()


def _take(held: _Held, handle: int, number: int) -> None:
    eccodes = load()
    try:
        what = _classify(handle)
        if what is None:
            return
        kind, component, rank = what
        place = str(_get(handle, "md5GridSection"))
        if place not in held.places:
            held.places[place] = _place(handle)
        key = _Key(int(_get(handle, "number", 0)), kind, rank, place)
        valid = _time(handle, "validityDate", "validityTime")
        run = _time(handle, "dataDate", "dataTime")
        values = _values(handle, held.places[place], SAID[kind])
    except eccodes.CodesInternalError as error:
        raise InputError(f"field {number} of the GRIB file cannot be decoded ({error})") from None
    except ValueError as error:
        raise InputError(f"field {number} of the GRIB file: {error}") from None
    held.fields[key][valid].setdefault(run, _Pair()).parts[component] = values


def _get(handle: int, key: str, default: Any = None) -> Any:
    eccodes = load()
    try:
        return eccodes.codes_get(handle, key)
    except eccodes.KeyValueNotFoundError:
        if default is None:
            raise
        return default


def _classify(handle: int) -> tuple[Kind, int, int] | None:
    """Kind, component (0 east, 1 north) and rank (least is best) of what is of use."""
    # Spreads, probabilities and percentiles carry the names of what they are spreads of.
    if int(_get(handle, "productDefinitionTemplateNumber", -1)) in NOT_A_FORECAST:
        return None
    if int(_get(handle, "derivedForecast", 0)) > 1:
        return None
    name = str(_get(handle, "shortName"))
    level = (str(_get(handle, "typeOfLevel", "unknown")), int(_get(handle, "level", 0)))
    current = _current_component(handle, name)
    if current is not None:
        return "stream", current, level[1]
    if name in GUST_SHORT_NAMES:
        return "gust", 0, GUST_SHORT_NAMES.index(name)
    if name in WIND_SHORT_NAMES and level in LEVELS_FOR_WIND:
        return "wind", WIND_SHORT_NAMES[name], LEVELS_FOR_WIND[level]
    return None


def _current_component(handle: int, name: str) -> int | None:
    if name in CURRENT_SHORT_NAMES:
        return CURRENT_SHORT_NAMES[name]
    if int(_get(handle, "edition")) == 2:
        numbers = [
            int(_get(handle, key)) for key in ("discipline", "parameterCategory", "parameterNumber")
        ]
        return {2: 0, 3: 1}.get(numbers[2]) if numbers[:2] == [10, 1] else None
    if int(_get(handle, "table2Version")) < FIRST_LOCAL_TABLE:
        return {49: 0, 50: 1}.get(int(_get(handle, "indicatorOfParameter")))
    return None


def _time(handle: int, date_key: str, time_key: str) -> float:
    date, time = int(_get(handle, date_key)), int(_get(handle, time_key))
    day, clock = f"{date:08d}", f"{time:04d}"
    return hours_from_datetime(datetime.strptime(day + clock, "%Y%m%d%H%M").replace(tzinfo=UTC))


def _values(handle: int, place: _Place, said: str) -> Values:
    eccodes = load()
    factor = _factor(handle, said)
    eccodes.codes_set(handle, "missingValue", MISSING)
    values = eccodes.codes_get_values(handle)
    if values.size != place.order.size:
        raise InputError(f"{values.size} values for the {place.order.size} points of the grid")
    values = np.where(values == MISSING, np.nan, values * factor)
    return np.asarray(values[place.order], dtype=np.float32)


def _factor(handle: int, said: str) -> float:
    # ecCodes names no unit for currents on some levels; both editions' tables fix it [1]_.
    unit = str(_get(handle, "units", UNSAID))
    return knots_per("m s**-1" if unit == UNSAID else unit, f"the {said}")


def _place(handle: int) -> _Place:
    kind = str(_get(handle, "gridType"))
    makers = {
        "regular_ll": _lat_lon,
        "regular_gg": _lat_lon,
        "reduced_gg": _reduced,
        "rotated_ll": _rotated,
        "lambert": _projected,
        "polar_stereographic": _projected,
        "mercator": _projected,
        "lambert_azimuthal_equal_area": _projected,
    }
    if kind not in makers:
        raise InputError(
            f"its grid is of the kind {kind!r}, expected a regular, Gaussian, rotated, Lambert, "
            "polar stereographic or Mercator grid"
        )
    return makers[kind](handle)


def arrange(
    width: int,
    height: int,
    *,
    from_east: bool,
    from_south: bool,
    columns_first: bool,
    alternating: bool,
) -> IndexArray:
    """Where each point of a grid stands among a message's values.

    Parameters
    ----------
    width, height : int
        Points along x (eastwards) and y (northwards).
    from_east, from_south, columns_first, alternating : bool
        Scanning mode of the message [1]_: the first point is an eastern one; it is a
        southern one; points of a column follow each other; every other line is
        written backwards.

    Returns
    -------
    ndarray of int, shape (height * width,)
        Indices into the message's values, rows from the south, each from the west.

    Examples
    --------
    >>> print(arrange(2, 2, from_east=False, from_south=False, columns_first=False,
    ...               alternating=False))
    [2 3 0 1]
    """
    number = np.arange(width * height, dtype=np.intp)
    lines = number.reshape((width, height) if columns_first else (height, width))
    if alternating:
        lines[1::2] = lines[1::2, ::-1].copy()
    rows = lines.T if columns_first else lines
    if from_east:
        rows = rows[:, ::-1]
    if not from_south:
        rows = rows[::-1]
    return np.ascontiguousarray(rows).reshape(-1)


def _order(handle: int, width: int, height: int) -> IndexArray:
    return arrange(
        width,
        height,
        from_east=bool(_get(handle, "iScansNegatively", 0)),
        from_south=bool(_get(handle, "jScansPositively", 0)),
        columns_first=bool(_get(handle, "jPointsAreConsecutive", 0)),
        alternating=bool(_get(handle, "alternativeRowScanning", 0)),
    )


def _size(handle: int) -> tuple[int, int]:
    width, height = int(_get(handle, "Ni")), int(_get(handle, "Nj"))
    if width < 1 or height < 1:
        raise InputError(f"its grid has {width} by {height} points")
    return width, height


def _ends(handle: int, which: Literal["latitude", "longitude"]) -> tuple[float, float]:
    return (
        float(_get(handle, f"{which}OfFirstGridPointInDegrees")),
        float(_get(handle, f"{which}OfLastGridPointInDegrees")),
    )


def _longitudes(handle: int, width: int) -> Array:
    first, last = _ends(handle, "longitude")
    if bool(_get(handle, "iScansNegatively", 0)):
        first, last = last, first
    turn = (last - first) % 360.0
    # A first and last point on the same meridian are a whole turn apart, not none.
    span = 360.0 if turn == 0.0 and width > 1 else turn
    return np.asarray(first + np.linspace(0.0, span, width))


def _latitudes(handle: int, height: int) -> Array:
    eccodes = load()
    if str(_get(handle, "gridType")) == "regular_gg":
        lat = np.sort(eccodes.codes_get_array(handle, "distinctLatitudes"))
    else:
        first, last = _ends(handle, "latitude")
        if first != last and (first < last) != bool(_get(handle, "jScansPositively", 0)):
            raise InputError(
                f"its rows run from {first:g}° to {last:g}°, against its own scanning mode"
            )
        lat = np.linspace(min(first, last), max(first, last), height)
    if lat.size != height:
        raise InputError(f"its grid has {lat.size} latitudes for {height} rows")
    return np.asarray(lat, dtype=np.float64)


def _lat_lon(handle: int) -> _Place:
    width, height = _size(handle)
    grid = LatLonGrid(_latitudes(handle, height), _longitudes(handle, width))
    return _Place(grid, _order(handle, width, height), turned=False)


def _reduced(handle: int) -> _Place:
    eccodes = load()
    counts = np.asarray(eccodes.codes_get_array(handle, "pl"), dtype=np.intp)
    lat = np.sort(eccodes.codes_get_array(handle, "distinctLatitudes"))
    first = float(_get(handle, "longitudeOfFirstGridPointInDegrees"))
    whole = int(counts.sum()) == int(_get(handle, "numberOfDataPoints"))
    if not whole or lat.size != counts.size or first != 0.0:
        raise InputError("its reduced Gaussian grid covers a part of the globe, expected all of it")
    if bool(_get(handle, "jScansPositively", 0)):
        return _Place(ReducedGrid(lat, counts), np.arange(counts.sum()), turned=False)
    starts = np.cumsum(counts) - counts
    rows = [np.arange(start, start + count) for start, count in zip(starts, counts, strict=True)]
    return _Place(ReducedGrid(lat, counts[::-1]), np.concatenate(rows[::-1]), turned=False)


def _relative_to_grid(handle: int) -> bool:
    return bool(int(_get(handle, "resolutionAndComponentFlags", 0)) & RELATIVE_TO_GRID)


def _rotated(handle: int) -> _Place:
    width, height = _size(handle)
    pole_lat = float(_get(handle, "latitudeOfSouthernPoleInDegrees"))
    pole_lon = float(_get(handle, "longitudeOfSouthernPoleInDegrees"))
    angle = float(_get(handle, "angleOfRotationInDegrees", 0.0))
    projection = (
        f"+proj=ob_tran +o_proj=longlat +o_lat_p={-pole_lat!r} +o_lon_p={angle!r} "
        f"+lon_0={pole_lon!r} +R=6371229"
    )
    x, y = _longitudes(handle, width), _latitudes(handle, height)
    # PROJ counts this one in radians.
    grid = ProjectedGrid(projection, x, y, x_period=360.0, unit=np.pi / 180.0)
    return _Place(grid, _order(handle, width, height), turned=_relative_to_grid(handle))


def _projected(handle: int) -> _Place:
    from pyproj import Proj

    width, height = _size(handle)
    projection = str(_get(handle, "projString"))
    x_first, y_first = Proj(projection)(
        float(_get(handle, "longitudeOfFirstGridPointInDegrees")),
        float(_get(handle, "latitudeOfFirstGridPointInDegrees")),
    )
    x = _steps(handle, x_first, "DxInMetres", width, back=bool(_get(handle, "iScansNegatively", 0)))
    y = _steps(handle, y_first, "DyInMetres", height, back=not _get(handle, "jScansPositively", 0))
    grid = ProjectedGrid(projection, x, y)
    return _Place(grid, _order(handle, width, height), turned=_relative_to_grid(handle))


def _steps(handle: int, first: float, key: str, count: int, *, back: bool) -> Array:
    step = abs(float(_get(handle, key)))
    if step == 0.0 and count > 1:
        raise InputError(f"its grid's points are 0 m apart ({key})")
    start = first - step * (count - 1) if back else first
    return np.asarray(start + step * np.arange(count))


def _weather(held: _Held) -> GridWeather | Ensemble:
    members = sorted({key.member for key in held.fields if key.kind != "gust"})
    if not members:
        raise InputError("holds neither wind at 10 m nor a surface current")
    forecasts = tuple(_member(held, member) for member in members)
    return forecasts[0] if len(forecasts) == 1 else Ensemble(forecasts, tuple(members))


def _member(held: _Held, member: int) -> GridWeather:
    layers = [_layer(held, member, kind) for kind in NAMES]
    return GridWeather(tuple(joined([layer for layer in layers if layer is not None])))


def _layer(held: _Held, member: int, kind: Kind) -> Layer | None:
    keys = [key for key in held.fields if (key.member, key.kind) == (member, kind)]
    if not keys:
        return None
    best = min(key.rank for key in keys)
    keys = [key for key in keys if key.rank == best]
    if len(keys) > 1:
        raise InputError(f"holds {SAID[kind]} on {len(keys)} different grids, expected one")
    place = held.places[keys[0].place]
    times = held.fields[keys[0]]
    stacks = np.stack([_newest(kind, time, times[time]) for time in sorted(times)])
    columns = [stacks[:, number] for number in range(stacks.shape[1])]
    if kind != "gust" and place.turned and isinstance(place.grid, ProjectedGrid):
        shape = (len(times), place.grid.y.size, place.grid.x.size)
        east, north = place.grid.true_from_grid(
            columns[0].reshape(shape), columns[1].reshape(shape)
        )
        columns = [part.astype(np.float32) for part in (east, north)]
    return layer_of(dict(zip(NAMES[kind], columns, strict=True)), place.grid, sorted(times))


def _newest(kind: Kind, time: float, runs: dict[float, _Pair]) -> Values:
    """Components at one time from the latest run that has them all, shape (k, points)."""
    wanted = range(len(NAMES[kind]))
    whole = [run for run in runs if len(runs[run].parts) == len(wanted)]
    if not whole:
        there = "eastward" if 0 in next(iter(runs.values())).parts else "northward"
        other = "northward" if there == "eastward" else "eastward"
        raise InputError(
            f"holds only the {there} component of the {SAID[kind]} at "
            f"{datetime_from_hours(time):%Y-%m-%dT%H:%MZ}, expected the {other} one too"
        )
    parts = runs[max(whole)].parts
    return np.stack([parts[number] for number in wanted])
