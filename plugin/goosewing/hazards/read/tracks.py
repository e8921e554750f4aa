"""Areas to keep clear of, drawn in a plotter as tracks or routes and saved as GPX.

Each route and each segment of a track is the outline of an area. The waypoints of a file
that has neither are taken as dangers.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

from goosewing.earth import geodesy
from goosewing.errors import InputError
from goosewing.files.gpx import GPX_1_0, GPX_1_1, split_name
from goosewing.files.xml import parse_xml
from goosewing.hazards.read.shapes import printable

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from goosewing.files.xml import XmlDocument
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
    source = gathered.source
    xml = parse_xml(data, where=source, expected="a GPX file")
    namespace, root = split_name(xml.root.tag)
    if root != "gpx" or namespace not in (GPX_1_0, GPX_1_1, ""):
        raise InputError(f"is XML but not GPX: its root is <{printable(root)}>", where=source)
    lines = [(route, "rtept") for route in _all(xml.root, "rte")] + [
        (segment, "trkpt") for track in _all(xml.root, "trk") for segment in _all(track, "trkseg")
    ]
    outlines = [(line, _all(line, tag)) for line, tag in lines]
    names = _track_names(xml.root)
    for line, points in outlines:
        if points:
            place = f"line {xml.lines[line]}"
            _outline(gathered, _places(points, xml, source), place, names.get(line) or _name(line))
    waypoints = _all(xml.root, "wpt")
    if any(points for _, points in outlines):
        if waypoints:
            gathered.doubts.append(f"{source}: its waypoints are left out: they are no areas.")
        return
    for waypoint in waypoints:
        (place,) = _places([waypoint], xml, source)
        gathered.add(
            shapely.Point(place), place=f"line {xml.lines[waypoint]}", name=_name(waypoint)
        )


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


def _places(points: list[Element], xml: XmlDocument, source: str) -> Array:
    """Longitudes and latitudes, shape (n, 2)."""
    return np.array([
        [_degrees(point, name, limit, f"{source}: line {xml.lines[point]}")
         for name, limit in (("lon", 180.0), ("lat", 90.0))]
        for point in points
    ])  # fmt: skip


def _degrees(point: Element, name: str, limit: float, where: str) -> float:
    text = point.get(name, "")
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not -limit <= value <= limit:
        raise InputError(
            f'{name} must be from -{limit:g} to {limit:g}, got "{printable(text)}"', where=where
        )
    return value


def _track_names(root: Element) -> dict[Element, str]:
    """The names of tracks, by their segments."""
    return {
        segment: _name(track) for track in _all(root, "trk") for segment in _all(track, "trkseg")
    }


def _all(parent: Element, tag: str) -> list[Element]:
    namespace, _ = split_name(parent.tag)
    return parent.findall(f"{{{namespace}}}{tag}" if namespace else tag)


def _name(parent: Element) -> str:
    found = _all(parent, "name")
    return printable(found[0].text or "") if found else ""
