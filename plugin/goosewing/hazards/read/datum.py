"""Other coordinate systems than WGS 84, turned into it by pyproj."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError

from goosewing.errors import InputError
from goosewing.hazards.read.shapes import LONGEST_EDGE_DEG, LONGEST_EDGE_M, printable

if TYPE_CHECKING:
    from goosewing.hazards.read.shapes import Box, Gathered
    from goosewing.units import Array

WGS_84 = "EPSG:4326"

SHORTEST_UNIT_M, LONGEST_UNIT_M = 1e-3, 1e4
"""From millimetres to miles and more."""


def use_system(gathered: Gathered, crs: str) -> None:
    """Take the shapes that follow as being in this coordinate system, easting first.

    Parameters
    ----------
    gathered : Gathered
    crs : str
        A name such as ``EPSG:25832`` or ``urn:ogc:def:crs:OGC:1.3:CRS84``, or WKT.

    Raises
    ------
    InputError
        If it is not known.
    """
    system = _system(crs, gathered.source)
    gathered.turn, gathered.divide = None, LONGEST_EDGE_DEG
    if system.is_geographic and system.to_2d().equals(WGS_84, ignore_axis_order=True):
        return
    transformer = _transformer(system, crs, gathered.source)

    def turn(points: Array) -> Array:
        return np.column_stack(transformer.transform(points[:, 0], points[:, 1]))

    gathered.turn = turn
    if not system.is_geographic:
        gathered.unit_m = _unit_m(system, gathered.source)
        gathered.divide = LONGEST_EDGE_M / gathered.unit_m


def _transformer(system: Any, crs: str, source: str) -> Any:
    try:
        return Transformer.from_crs(system, WGS_84, always_xy=True)
    except ProjError:
        raise InputError(
            f"its coordinate system can't be turned into WGS 84: {printable(crs)}", where=source
        ) from None


def _unit_m(system: Any, source: str) -> float:
    unit = float(system.axis_info[0].unit_conversion_factor)
    if not SHORTEST_UNIT_M <= unit <= LONGEST_UNIT_M:
        raise InputError(
            f"its coordinate system counts in units of {unit:g} m: no map does", where=source
        )
    return unit


def bounds_in(crs: str, near: Box, source: str) -> list[tuple[float, float, float, float]]:
    """Return a box's west, south, east, north in another system; two across the antimeridian.

    Raises
    ------
    InputError
        If the system is not known.
    """
    back = Transformer.from_crs(WGS_84, _system(crs, source), always_xy=True)
    spans = [(near.west, near.east)]
    if near.west > near.east:
        spans = [(near.west, 180.0), (-180.0, near.east)]
    boxes = [back.transform_bounds(w, near.south, e, near.north) for w, e in spans]
    return [box for box in boxes if np.all(np.isfinite(box))]


def _system(crs: str, source: str) -> Any:
    try:
        system = CRS.from_user_input(crs)
    except (CRSError, ProjError):
        raise InputError(
            f"its coordinate system is not known: {printable(crs)}", where=source
        ) from None
    if not (system.is_geographic or system.is_projected):
        raise InputError(
            f"its coordinate system is no map of the earth: {printable(system.name)}", where=source
        )
    return system
