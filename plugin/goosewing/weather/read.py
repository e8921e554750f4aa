"""Weather files of every kind, told apart by what they hold and never by their name."""

from __future__ import annotations

import os
from codecs import getincrementaldecoder
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal

from goosewing.errors import InputError
from goosewing.files.disk import MOST_BYTES_OF_FIELDS, read_head
from goosewing.weather.base import GUST, NO_KIND, STREAM, WIND, Coverage, Weather
from goosewing.weather.combine import holds

Kind = Literal["GRIB", "NetCDF", "table", "tidal streams"]
Wanted = Literal["wind", "stream", "either"]

WEATHER = "GRIB, NetCDF, CSV or TOML"
HEAD_BYTES = 1024
"""How much of a file is looked at: some files have a bulletin's heading before the GRIB."""

PACKED = {b"\x1f\x8b": "gzip", b"BZh": "bzip2", b"PK\x03\x04": "zip", b"\xfd7zXZ": "xz"}
NETCDF = (b"CDF\x01", b"CDF\x02", b"CDF\x05", b"\x89HDF\r\n\x1a\n")


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What a source holds.

    Attributes
    ----------
    wind, gust, stream : bool
        Which of the three it knows.
    coverage : Coverage
        Where and when.
    times : int
        Steps of time; 0 where it does not change with time.
    step_h : tuple of float or None
        Shortest and longest time between them. [h]
    members : int
        Ensemble members.
    """

    wind: bool
    gust: bool
    stream: bool
    coverage: Coverage
    times: int
    step_h: tuple[float, float] | None
    members: int
    varies_in_time: bool
    varies_in_place: bool


def kind_of(head: bytes) -> Kind:
    """Tell a file's kind from how it begins.

    Parameters
    ----------
    head : bytes
        Its first bytes, `HEAD_BYTES` of them.

    Raises
    ------
    InputError
        If it is empty, packed, or nothing that is read here.
    """
    if not head.strip():
        raise InputError("is empty, expected GRIB, NetCDF, CSV or TOML")
    for magic, name in PACKED.items():
        if head.startswith(magic):
            raise InputError(f"is packed ({name}), unpack it first")
    if head.startswith(NETCDF):
        return "NetCDF"
    at = head.find(b"GRIB")
    # The eighth byte of a GRIB message is its edition.
    if at >= 0 and head[at + 7 : at + 8] in (b"\x01", b"\x02"):
        return "GRIB"
    return _kind_of_text(head)


def _kind_of_text(head: bytes) -> Kind:
    try:
        # A character of several bytes may be cut at the end of the head, and nowhere else.
        text = getincrementaldecoder("utf-8")().decode(head, final=len(head) < HEAD_BYTES)
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise InputError(NO_KIND)
    for line in text.lstrip("\ufeff").splitlines():
        bare = line.strip()
        if bare.startswith("<"):
            raise InputError(NO_KIND)
        if bare and not bare.startswith("#"):
            return "tidal streams" if "=" in bare or bare.startswith("[") else "table"
    raise InputError("holds nothing but comments, expected GRIB, NetCDF, CSV or TOML")


def read_weather(path: str | os.PathLike[str], *, wanted: Wanted = "either") -> Weather:
    """Read a weather file of any kind.

    Parameters
    ----------
    path : path-like
        The file.
    wanted : "wind", "stream" or "either"
        What it must hold.

    Raises
    ------
    InputError
        If it cannot be read, is of no known kind or does not hold what is wanted;
        one line that names the file.
    """
    file = Path(path)
    weather = _reader(kind_of_file(file))(file)
    return _having(weather, wanted, file.name)


def kind_of_file(path: Path) -> Kind:
    """Tell a file's kind from what it holds.

    Raises
    ------
    InputError
        If it cannot be read, or as `kind_of`.
    """
    head = read_head(path, WEATHER, HEAD_BYTES, most_bytes=MOST_BYTES_OF_FIELDS)
    try:
        return kind_of(head)
    except InputError as error:
        raise InputError(str(error), where=path.name) from None


def _reader(kind: Kind) -> Callable[[Path], Weather]:
    # Each reader's libraries are loaded only when a file asks for them.
    from goosewing.files.own_process import read_apart

    if kind == "GRIB":
        from goosewing.weather import grib
        from goosewing.weather._eccodes import load

        return lambda path: read_apart(grib.read_grib, path, ready=load)
    if kind == "NetCDF":
        from goosewing.weather import netcdf

        return lambda path: read_apart(netcdf.read_netcdf, path, ready=netcdf.load)
    if kind == "table":
        from goosewing.weather.table import read_table

        return read_table
    from goosewing.weather.tides import read_tides

    return read_tides


def _having(weather: Weather, wanted: Wanted, where: str) -> Weather:
    known = holds(weather)
    if wanted == "wind" and WIND[0] not in known:
        raise InputError("holds no wind, only a stream", where=where)
    if wanted == "stream" and STREAM[0] not in known:
        raise InputError("holds no stream, only wind", where=where)
    return weather


def describe(weather: Weather) -> Facts:
    """Facts about a source, for a person to read.

    Parameters
    ----------
    weather : Weather
        Any source.
    """
    known = holds(weather)
    times: Any = getattr(weather, "times_h", ())
    steps = [float(late - early) for early, late in pairwise(times)]
    return Facts(
        wind=WIND[0] in known,
        gust=GUST[0] in known,
        stream=STREAM[0] in known,
        coverage=weather.coverage,
        times=len(times),
        step_h=(min(steps), max(steps)) if steps else None,
        members=int(getattr(weather, "members", 1)),
        varies_in_time=weather.varies_in_time,
        varies_in_place=weather.varies_in_place,
    )
