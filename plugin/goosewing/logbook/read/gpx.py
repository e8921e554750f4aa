"""Tracks of GPX 1.1: where she was when; her courses and speeds over the ground follow."""

from __future__ import annotations

import numpy as np

from goosewing.errors import InputError
from goosewing.files.xml import parse_xml
from goosewing.logbook.gather import Gathering
from goosewing.logbook.read.signalk import seconds_of
from goosewing.logbook.read.table import track_courses


def read_track(data: bytes, into: Gathering, where: str) -> None:
    """Read every track of a file.

    Raises
    ------
    InputError
        If it is no GPX, has no track, or its points have no times with their zone.
    """
    points: list[tuple[float, float, float]] = []
    document = parse_xml(data, where=where, expected="a GPX track")
    for point in document.root.iter():
        if point.tag.rpartition("}")[2] != "trkpt":
            continue
        line = f"{where}, line {document.lines[point]}"
        told = next((each for each in point if each.tag.rpartition("}")[2] == "time"), None)
        text = (told.text or "").strip() if told is not None else ""
        seconds = seconds_of(text)
        if seconds is None:
            raise InputError(
                "a track's point needs its time with its zone, such as 2027-06-01T06:00:00Z, "
                f'got "{text[:30]}"',
                where=line,
            )
        try:
            points.append((seconds, float(point.attrib["lat"]), float(point.attrib["lon"])))
        except (KeyError, ValueError):
            raise InputError("expected lat and lon as degrees", where=line) from None
    if not points:
        raise InputError("has no track: a log needs where she was when", where=where)
    time_s, lat, lon = np.array(points).T
    order = np.argsort(time_s, kind="stable")
    time_s, lat, lon = time_s[order], lat[order], lon[order]
    into.add("lat", "the track", time_s, lat)
    into.add("lon", "the track", time_s, lon)
    middle, course, speed = track_courses(time_s, lat, lon)
    into.add("cog_deg", "the track", middle, course)
    into.add("sog_kn", "the track", middle, speed)
