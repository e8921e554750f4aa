"""NetCDF with the CF conventions, by xarray.

Variables are found by their ``standard_name`` (CF standard name table), never by
what somebody called them; units by `KNOTS_PER`. Latitude and longitude must be
one-dimensional. Of several heights the 10 m one counts for the wind, of several
depths the shallowest for the stream.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from goosewing.errors import InputError
from goosewing.files.disk import MOST_BYTES_OF_FIELDS, read_head
from goosewing.units import Array
from goosewing.weather.base import GUST, STREAM, WIND, Name
from goosewing.weather.grid import Ensemble, GridWeather, LatLonGrid, Layer, joined, layer_of
from goosewing.weather.units import knots_per
from goosewing.weather.wind import components_from, components_to

if TYPE_CHECKING:
    import xarray

WIND_HEIGHT_M = 10.0

WIND_VECTORS = (("eastward_wind", "northward_wind"),)
WIND_SPEEDS = (("wind_speed", "wind_from_direction"), ("wind_speed", "wind_to_direction"))
STREAM_VECTORS = (
    ("surface_eastward_sea_water_velocity", "surface_northward_sea_water_velocity"),
    ("eastward_sea_water_velocity", "northward_sea_water_velocity"),
)
STREAM_SPEEDS = (
    ("sea_water_speed", "sea_water_velocity_to_direction"),
    ("sea_water_speed", "direction_of_sea_water_velocity"),
)
GUST_NAME = "wind_speed_of_gust"

DEGREES = ("degree", "degrees", "degree_true", "degrees_true", "deg")
LEVELS = ("depth", "depth_below_geoid", "height", "height_above_mean_sea_level", "altitude")
MEMBERS = ("realization", "member", "number", "ensemble", "ensemble_member")

_EPOCH = np.datetime64("1970-01-01T00:00:00", "us")


Floats = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True, eq=False)
class _Field:
    """A variable laid out as members, times, parallels, meridians."""

    label: str
    values: Floats
    units: str
    times_h: Array
    grid: LatLonGrid

    def knots(self) -> Floats:
        """Values as a speed. [kn]."""
        return np.asarray(self.values * knots_per(self.units, f"the variable {self.label}"))

    def degrees(self) -> Floats:
        """Values as a direction. [°]."""
        if self.units.strip().lower() not in DEGREES:
            raise InputError(f"the variable {self.label} is in {self.units!r}, expected degrees")
        return self.values


def read_netcdf(path: str | os.PathLike[str]) -> GridWeather | Ensemble:
    """Read wind, gust and surface current from a CF NetCDF file.

    Raises
    ------
    InputError
        If xarray is not installed, the file is damaged, or as `from_dataset`.
    """
    where = Path(path).name
    head = read_head(Path(path), "NetCDF", 3, most_bytes=MOST_BYTES_OF_FIELDS)
    try:
        with _opened(Path(path), classic=head == b"CDF") as dataset:
            return from_dataset(dataset)
    except InputError as error:
        raise InputError(str(error), where=where) from None


MISSING = 'NetCDF needs one extra: in Goosewing\'s folder, pip install ".[netcdf]"'


def load() -> None:
    """Load what reads NetCDF, if it is installed."""
    with suppress(ImportError):
        import h5netcdf  # type: ignore[import-untyped]  # noqa: F401 - xarray finds it by its name
        import xarray  # noqa: F401


def _opened(path: Path, *, classic: bool) -> Any:
    try:
        import xarray
    except ImportError:
        raise InputError(MISSING) from None
    try:
        engine = "scipy" if classic else "h5netcdf"
        return xarray.open_dataset(path, engine=engine, decode_timedelta=False)
    except ImportError:
        raise InputError(MISSING) from None
    except Exception as error:  # each library below has exceptions of its own
        line = " ".join(str(error).split())[:120]
        raise InputError(f"the NetCDF file is damaged or not CF ({line})") from None


def from_dataset(dataset: xarray.Dataset) -> GridWeather | Ensemble:
    """Read wind, gust and surface current from an open dataset.

    Parameters
    ----------
    dataset : xarray.Dataset
        Times decoded, as xarray does by default.

    Returns
    -------
    GridWeather or Ensemble
        An `Ensemble` where the wind has a dimension of members.

    Raises
    ------
    InputError
        If it holds neither wind nor current, lacks one component, a unit is not
        known, a coordinate is missing, or times do not increase.
    """
    finder = _Finder(dataset)
    columns = [*finder.wind(), *finder.gust(), *finder.stream()]
    if all(column.names == GUST for column in columns):
        raise InputError("holds neither a wind nor a current with a CF standard_name")
    count = max(column.parts[0].shape[0] for column in columns)
    forecasts = tuple(_member(columns, member, count) for member in range(count))
    return forecasts[0] if count == 1 else Ensemble(forecasts, finder.numbers(count))


@dataclass(frozen=True, slots=True, eq=False)
class _Column:
    """Components (or one speed) in knots, each of shape (members, times, ny, nx)."""

    names: tuple[Name, ...]
    parts: tuple[Floats, ...]
    times_h: Array
    grid: LatLonGrid

    def layer(self, member: int, count: int) -> Layer:
        """Layer of one member; a variable without members serves them all."""
        held = self.parts[0].shape[0]
        if held not in (1, count):
            raise InputError(f"{self.names[0]} has {held} members, expected {count}")
        at = member if held == count else 0
        values = [part[at] for part in self.parts]
        return layer_of(dict(zip(self.names, values, strict=True)), self.grid, self.times_h)


def _member(columns: list[_Column], member: int, count: int) -> GridWeather:
    return GridWeather(tuple(joined([column.layer(member, count) for column in columns])))


class _Finder:
    """Finds the variables of one dataset; equal grids are made once."""

    def __init__(self, dataset: xarray.Dataset) -> None:
        self.dataset = dataset
        self.grids: dict[bytes, LatLonGrid] = {}
        self.members: list[tuple[int, ...]] = []

    def wind(self) -> Iterator[_Column]:
        """Components of the wind, if there is one."""
        yield from self._kind(WIND, WIND_VECTORS, WIND_SPEEDS, "wind", WIND_HEIGHT_M)

    def stream(self) -> Iterator[_Column]:
        """Components of the stream, if there is one."""
        yield from self._kind(STREAM, STREAM_VECTORS, STREAM_SPEEDS, "current", 0.0)

    def gust(self) -> Iterator[_Column]:
        """Speed of the gusts, if known."""
        gust = self._field(GUST_NAME, WIND_HEIGHT_M)
        if gust is not None:
            yield _Column(GUST, (gust.knots(),), gust.times_h, gust.grid)

    def _kind(
        self,
        names: tuple[Name, Name],
        vectors: tuple[tuple[str, str], ...],
        speeds: tuple[tuple[str, str], ...],
        what: str,
        level: float,
    ) -> Iterator[_Column]:
        for east_name, north_name in vectors:
            east, north = self._field(east_name, level), self._field(north_name, level)
            if east is not None and north is not None:
                yield _column(names, east, north, (east.knots(), north.knots()))
                return
            if east is not None or north is not None:
                there, other = (east_name, north_name) if north is None else (north_name, east_name)
                raise InputError(f"of the {what} holds only {there}, expected {other} too")
        for speed_name, direction_name in speeds:
            speed, angle = self._field(speed_name, level), self._field(direction_name, level)
            if speed is not None and angle is not None:
                resolve = components_from if "from" in direction_name else components_to
                yield _column(names, speed, angle, resolve(angle.degrees(), speed.knots()))
                return

    def _field(self, standard_name: str, level: float) -> _Field | None:
        found = [
            variable
            for variable in self.dataset.data_vars.values()
            if variable.attrs.get("standard_name") == standard_name
        ]
        if len(found) > 1:
            found = [one for one in found if _fixed_level(one) in (None, level)] or found
        if len(found) > 1:
            labels = ", ".join(str(one.name) for one in found)
            raise InputError(f"several variables are {standard_name} ({labels}), expected one")
        return self._laid_out(_at_level(found[0], level)) if found else None

    def _laid_out(self, variable: xarray.DataArray) -> _Field:
        label = str(variable.name)
        lat, lon = _coordinate(variable, "latitude"), _coordinate(variable, "longitude")
        time, member = _time_of(variable), _member_axis(variable)
        if member is not None:
            self.members.append(_numbers(variable, member))
        wanted = [member, time.dims[0] if time.ndim else None, lat.dims[0], lon.dims[0]]
        left = [str(axis) for axis in variable.dims if axis not in wanted]
        if left:
            raise InputError(f"the variable {label} has the dimension {left[0]!r}, expected none")
        values = variable.transpose(*(axis for axis in wanted if axis is not None)).values
        shape = [1 if axis is None else variable.sizes[axis] for axis in wanted]
        rows, columns = _ascending(lat.values), _ascending(np.unwrap(lon.values, period=360.0))
        return _Field(
            label=label,
            values=values.reshape(shape)[:, :, rows, columns],
            units=str(variable.attrs.get("units", "")),
            times_h=_hours(time, label),
            grid=self._grid(lat.values[rows], lon.values[columns]),
        )

    def numbers(self, count: int) -> tuple[int, ...]:
        """Return what the file calls so many members; empty where it doesn't, or not clearly."""
        told = {numbers for numbers in self.members if len(numbers) == count}
        return told.pop() if len(told) == 1 else ()

    def _grid(self, lat: Floats, lon: Floats) -> LatLonGrid:
        key = lat.tobytes() + b"/" + lon.tobytes()
        if key not in self.grids:
            self.grids[key] = LatLonGrid(lat.astype(np.float64), lon.astype(np.float64))
        return self.grids[key]


def _column(
    names: tuple[Name, Name], one: _Field, other: _Field, parts: tuple[Floats, Floats]
) -> _Column:
    if one.grid is not other.grid or not np.array_equal(one.times_h, other.times_h):
        raise InputError(
            f"the variables {one.label} and {other.label} are on different grids or times, "
            "expected the same"
        )
    return _Column(names, parts, one.times_h, one.grid)


def _ascending(values: Floats) -> slice:
    return slice(None, None, -1) if values.size > 1 and values[0] > values[-1] else slice(None)


def _is(coordinate: xarray.DataArray, standard_name: str) -> bool:
    known = coordinate.attrs.get("standard_name")
    if known is not None:
        return bool(known == standard_name)
    unit = {"latitude": "degrees_north", "longitude": "degrees_east"}[standard_name]
    return coordinate.attrs.get("units") == unit or coordinate.name == standard_name


def _coordinate(variable: xarray.DataArray, standard_name: str) -> xarray.DataArray:
    found: list[xarray.DataArray] = [
        one for one in variable.coords.values() if _is(one, standard_name)
    ]
    if not found:
        raise InputError(f"the variable {variable.name} has no coordinate {standard_name}")
    if found[0].ndim != 1 or found[0].dims[0] not in variable.dims:
        raise InputError(
            f"{standard_name} of the variable {variable.name} must have one dimension that is "
            f"the variable's own, got {found[0].ndim}: expected a grid of parallels and meridians"
        )
    return found[0]


def _time_of(variable: xarray.DataArray) -> xarray.DataArray:
    dated: list[xarray.DataArray] = [
        one for one in variable.coords.values() if one.dtype.kind in "MO" and one.ndim <= 1
    ]
    # A run's own time may stand beside the time that it forecasts.
    named: list[xarray.DataArray] = [
        one for one in dated if one.attrs.get("standard_name") == "time"
    ] or [one for one in dated if one.attrs.get("standard_name") != "forecast_reference_time"]
    named.sort(key=lambda one: -one.ndim)
    if not named:
        raise InputError(f"the variable {variable.name} has no time that could be decoded")
    if named[0].dtype.kind != "M":
        raise InputError(f"{named[0].name} is in another than the standard calendar")
    return named[0]


def _hours(time: xarray.DataArray, label: str) -> Array:
    stamps = np.atleast_1d(time.values)
    if np.isnat(stamps).any():
        raise InputError(f"a time of the variable {label} is missing")
    micros = (stamps.astype("datetime64[us]") - _EPOCH).astype(np.int64)
    return np.asarray(micros / 3.6e9)


def _member_axis(variable: xarray.DataArray) -> str | None:
    for axis in variable.dims:
        standard_name = variable[axis].attrs.get("standard_name") if axis in variable.coords else ""
        if standard_name == "realization" or axis in MEMBERS:
            return str(axis)
    return None


def _numbers(variable: xarray.DataArray, axis: str) -> tuple[int, ...]:
    """Return the whole numbers along an axis of members; empty where they are none, or repeat."""
    if axis not in variable.coords:
        return ()
    values = np.atleast_1d(variable[axis].values)
    if values.dtype.kind not in "iuf" or not np.isfinite(values).all():
        return ()
    numbers = tuple(int(each) for each in values)
    return numbers if len(set(numbers)) == len(values) and (values == numbers).all() else ()


def _levels(variable: xarray.DataArray) -> list[xarray.DataArray]:
    return [
        one
        for one in variable.coords.values()
        if one.attrs.get("standard_name", one.name) in LEVELS and one.ndim <= 1
    ]


def _fixed_level(variable: xarray.DataArray) -> float | None:
    scalars = [one for one in _levels(variable) if one.size == 1]
    return float(scalars[0].values.reshape(-1)[0]) if scalars else None


def _at_level(variable: xarray.DataArray, level: float) -> xarray.DataArray:
    for one in _levels(variable):
        if one.ndim == 1 and one.dims[0] in variable.dims:
            nearest = int(np.argmin(np.abs(np.asarray(one.values, dtype=np.float64) - level)))
            height = float(one.values[nearest])
            if level == WIND_HEIGHT_M and height != level:
                raise InputError(
                    f"the variable {variable.name} has no level at {level:g} m, the nearest is "
                    f"{height:g} m"
                )
            variable = variable.isel({one.dims[0]: nearest})
    return variable
