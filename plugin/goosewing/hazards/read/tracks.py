"""Areas to keep clear of, drawn in a plotter as tracks or routes and saved as GPX.

Each route and each segment of a track is the outline of an area. The waypoints of a file
that has neither are taken as dangers, and beside outlines those whose symbol, type or name says
that they are.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from goosewing.earth import geodesy
from goosewing.errors import InputError
from goosewing.files.gpx import degrees, parse_gpx
from goosewing.hazards.read.shapes import printable
from goosewing.words.dangers import danger_words

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from goosewing.files.gpx import GpxDocument
    from goosewing.hazards.read.shapes import Gathered
    from goosewing.units import Array

CLOSED_SHARE = 0.1
"""Ends farther apart than this share of the outline's length are worth a word."""


def gather(gathered: Gathered, data: bytes) -> None:
    """Gather the areas of a GPX document.

    Raises
    ------
    InputError
        If it is no GPX, or an outline of it encloses nothing; says where.
    """
    gpx = parse_gpx(data, where=gathered.source)
    outlines = [
        (route, gpx.all(route, "rtept"), _name(gpx, route)) for route in gpx.all(gpx.root, "rte")
    ]
    for track in gpx.all(gpx.root, "trk"):
        outlines += [
            (segment, gpx.all(segment, "trkpt"), _name(gpx, track))
            for segment in gpx.all(track, "trkseg")
        ]
    for line, points, name in outlines:
        if points:
            _outline(gathered, _places(points, gpx), gpx.line(line), name)
    waypoints = gpx.all(gpx.root, "wpt")
    if any(points for _, points, _ in outlines):
        said = [each for each in waypoints if _says_danger(gpx, each)]
        if len(said) < len(waypoints):
            gathered.doubts.append(
                f"{gathered.source}: its waypoints are left out, but for those that say danger: "
                "they are no areas."
                if said
                else f"{gathered.source}: its waypoints are left out: they are no areas."
            )
        waypoints = said
    for waypoint in waypoints:
        (place,) = _places([waypoint], gpx)
        gathered.add(shapely.Point(place), place=gpx.line(waypoint), name=_name(gpx, waypoint))


def _outline(gathered: Gathered, points: Array, place: str, name: str) -> None:
    called = f'{place} ("{name}")' if name else place
    if len(np.unique(points, axis=0)) < 3:
        raise InputError(
            f"{called}: an outline needs at least three different points", where=gathered.source
        )
    _say_if_open(gathered, points, called)
    gathered.add(shapely.Polygon(points), place=place, name=name)


def _say_if_open(gathered: Gathered, points: Array, called: str) -> None:
    closed = np.vstack((points, points[:1]))
    lon, lat = closed.T
    sides = geodesy.geodesic_inverse(lat[:-1], lon[:-1], lat[1:], lon[1:]).distance_nm
    gap = float(sides[-1])
    if gap > CLOSED_SHARE * float(sides[:-1].sum()):
        gathered.doubts.append(
            f"{gathered.source}: {called}: its ends lie {gap:.2g} nm apart; closed by a "
            "straight line."
        )


def _places(points: list[Element], gpx: GpxDocument) -> Array:
    """Longitudes and latitudes, shape (n, 2)."""
    return np.array([
        [degrees(point, name, limit, f"{gpx.where}: {gpx.line(point)}")
         for name, limit in (("lon", 180.0), ("lat", 90.0))]
        for point in points
    ])  # fmt: skip


def _says_danger(gpx: GpxDocument, waypoint: Element) -> bool:
    symbol, kind, name = (gpx.text(waypoint, tag) for tag in ("sym", "type", "name"))
    return danger_words(symbol, kind, name) is not None


def _name(gpx: GpxDocument, parent: Element) -> str:
    return printable(gpx.text(parent, "name") or "")
