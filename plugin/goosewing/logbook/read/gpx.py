"""Tracks of GPX 1.1: where she was when; her courses and speeds over the ground follow."""

from __future__ import annotations

import numpy as np

from goosewing.errors import InputError
from goosewing.files.gpx import degrees, parse_gpx
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
    gpx = parse_gpx(data, where=where, expected="a GPX track")
    tracks = gpx.all(gpx.root, "trk")
    for point in (point for track in tracks for point in gpx.track_points(track)):
        line = f"{where}, {gpx.line(point)}"
        text = (gpx.text(point, "time") or "").strip()
        seconds = seconds_of(text)
        if seconds is None:
            raise InputError(
                "a track's point needs its time with its zone, such as 2027-06-01T06:00:00Z, "
                f'got "{text[:30]}"',
                where=line,
            )
        lat, lon = (degrees(point, *each, line) for each in (("lat", 90.0), ("lon", 180.0)))
        points.append((seconds, lat, lon))
    if not points:
        raise InputError("has no track: a log needs where she was when", where=where)
    time_s, lats, lons = np.array(points).T
    order = np.argsort(time_s, kind="stable")
    time_s, lats, lons = time_s[order], lats[order], lons[order]
    into.add("lat", "the track", time_s, lats)
    into.add("lon", "the track", time_s, lons)
    middle, course, speed = track_courses(time_s, lats, lons)
    into.add("cog_deg", "the track", middle, course)
    into.add("sog_kn", "the track", middle, speed)
