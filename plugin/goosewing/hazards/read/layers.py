"""Areas to keep clear of from whatever GDAL reads, through pyogrio: the extra ``hazards``."""

from __future__ import annotations

import warnings
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import shapely

from goosewing.errors import InputError
from goosewing.files.disk import shown
from goosewing.hazards.read.datum import WGS_84, bounds_in, use_system
from goosewing.hazards.read.shapes import NAME_KEYS, printable

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from goosewing.hazards.read.shapes import Box, Gathered
    from goosewing.units import AnyArray

LONGEST_REASON = 160


def gdal(kind: str, where: str) -> Any:
    """Return pyogrio.

    Raises
    ------
    InputError
        If it is not installed, with the command that installs it.
    """
    try:
        import pyogrio
        import pyogrio.errors
        import pyogrio.raw
    except ImportError:
        raise InputError(
            f'reading a {kind} needs GDAL: in Goosewing\'s folder, pip install ".[hazards]"; '
            "GeoJSON and GPX need nothing",
            where=where,
        ) from None
    return pyogrio


@contextmanager
def faults(file: Path, kind: str) -> Iterator[None]:
    """Say in one line what GDAL can't read; its own warnings are no news to a navigator."""
    from pyogrio import errors

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except UnboundLocalError:
        # The library's own slip, over a coordinate system that it can't write down.
        raise InputError(
            "its coordinate system makes no sense (a shapefile's stands in the .prj beside it)",
            where=shown(file.name),
        ) from None
    except (
        errors.DataLayerError, errors.DataSourceError, errors.FeatureError, errors.FieldError,
        errors.GeometryError, UnicodeDecodeError, shapely.GEOSException,
    ) as error:  # fmt: skip
        lines = [line.strip() for line in str(error).replace(str(file), file.name).splitlines()]
        said = next((line for line in lines if line), "no reason given")
        raise InputError(
            f"can't be read as {kind}: {shown(said)[:LONGEST_REASON]}", where=shown(file.name)
        ) from None


def gather(gathered: Gathered, file: Path, kind: str, near: Box | None) -> None:
    """Gather the shapes of every layer that has any.

    Raises
    ------
    InputError
        If the file is broken, a library missing, or its coordinates can't be placed.
    """
    pyogrio = gdal(kind, shown(file))
    target = file.resolve()
    with faults(target, kind):
        layers = [name for name, shape in pyogrio.list_layers(target) if shape is not None]
    for layer in layers:
        with faults(target, kind):
            info = pyogrio.read_info(target, layer=layer, force_total_bounds=True)
        if info["features"]:
            _layer(gathered, pyogrio, target, kind, layer, info, near)


def _layer(
    gathered: Gathered, pyogrio: Any, file: Path, kind: str, layer: str, info: Any, near: Box | None
) -> None:
    if info["crs"] is None:
        _doubt_degrees(gathered, info["total_bounds"])
    crs = info["crs"] or WGS_84
    use_system(gathered, crs)
    key = next((own for name in NAME_KEYS for own in info["fields"] if own.lower() == name), None)
    windows = [None] if near is None else bounds_in(crs, near, gathered.source)
    seen: set[int] = set()
    for window in windows:
        with faults(file, kind):
            _, numbers, shapes, columns = pyogrio.raw.read(
                file, layer=layer, columns=[] if key is None else [key], bbox=window,
                return_fids=True,
            )  # fmt: skip
            built = shapely.from_wkb(shapes)
        names = columns[0] if columns else [None] * len(numbers)
        for number, shape, name in zip(numbers, built, names, strict=True):
            if int(number) not in seen:
                seen.add(int(number))
                called = printable(name) if isinstance(name, str) else ""
                gathered.add(shape, place=f"{printable(layer)}, feature {number}", name=called)
    gathered.cut |= len(seen) < info["features"]


def _doubt_degrees(gathered: Gathered, bounds: AnyArray | None) -> None:
    """Take what has no coordinate system for degrees, if it can be."""
    west, south, east, north = (float(v) for v in (bounds if bounds is not None else (0.0,) * 4))
    if not (-180.0 <= west <= east <= 180.0 and -90.0 <= south <= north <= 90.0):
        raise InputError(
            "says nothing about its coordinate system, and its coordinates are no degrees: "
            "a shapefile needs the .prj beside it",
            where=gathered.source,
        )
    gathered.doubts.append(
        f"{gathered.source}: says nothing about its coordinate system: taken as longitude and "
        "latitude in WGS 84."
    )
