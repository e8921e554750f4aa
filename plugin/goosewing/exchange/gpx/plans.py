"""Plans and laylines out to GPX 1.1.

A plan becomes one route, marks and turning points in sailing order, and one
track for each layline. What GPX has no word for stands in extension elements
(`goosewing.exchange.gpx.elements`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from goosewing.errors import InputError
from goosewing.exchange.document import whole_second
from goosewing.exchange.gpx.elements import (
    band_element,
    layline_element,
    leave_elements,
    plan_element,
    point_element,
    seven,
    via_element,
    with_own,
)
from goosewing.exchange.gpx.kept import kept_of
from goosewing.exchange.gpx.points import (
    Prefixes,
    RoutePoint,
    restore,
    with_line_ends,
    writable,
)
from goosewing.files.disk import write_atomically
from goosewing.totals import time_of
from goosewing.turns import Stop, stops
from goosewing.words.points import briefing, sentence
from goosewing.words.titles import (
    about,
    band_titles,
    layline_titles,
    left_on_a_hand,
    length,
    route_name,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path
    from xml.etree.ElementTree import Element

    from gpxpy.gpx import GPXRoute, GPXTrack, GPXTrackPoint, GPXWaypoint

    from goosewing.records import Fix, Layline, LaylineSheet, Mark, Plan


def write_plan(path: Path | str, plan: Plan, inputs: Iterable[Path | str] = ()) -> None:
    """Write `format_plan` to `path`, wholly or not at all.

    Raises
    ------
    InputError
        As `goosewing.files.disk.write_atomically`.
    """
    write_atomically(path, format_plan(plan), inputs=inputs)


def format_plan(
    plan: Plan,
    *,
    waypoints: Sequence[Mark] = (),
) -> str:
    """Write a plan as GPX 1.1; equal plans give equal text.

    Parameters
    ----------
    plan : Plan
        With a mark at each end of every leg.
    waypoints : sequence of Mark
        What is to be marked besides.

    Raises
    ------
    InputError
        If its marks don't fit its legs, or a time lacks its zone.
    """
    from gpxpy.gpx import GPX

    if not plan.legs or len(plan.marks) != len(plan.legs) + 1:
        raise InputError(
            f"a plan of {len(plan.legs)} legs needs {len(plan.legs) + 1} marks,"
            f" got {len(plan.marks)}"
        )
    prefixes = Prefixes(pair for mark in plan.marks for pair in kept_of(mark).prefixes)
    gpx = GPX()
    gpx.creator = "Goosewing"
    gpx.name = writable(route_name(plan))
    gpx.description = writable(about(plan))
    gpx.time = whole_second(plan.departure)
    aside = [*left_on_a_hand(plan), *_line_ends(plan), *plan.dangers]
    gpx.waypoints = [_waypoint(mark, prefixes) for mark in (*aside, *waypoints)]
    gpx.routes = [_route(plan, prefixes)]
    gpx.tracks = [
        *_tracks([line for leg in plan.legs for line in leg.laylines], prefixes),
        *_bands(plan, prefixes),
    ]
    gpx.nsmap = prefixes.declared()
    return with_line_ends(gpx.to_xml(version="1.1")) + "\n"


def _line_ends(plan: Plan) -> list[Mark]:
    """Return the ends of lines and gates, each once: laps pass them again."""
    ends = [end for line in plan.lines for end in (line.port, line.starboard)]
    return list({(end.name, end.lat, end.lon): end for end in ends}.values())


def write_laylines(
    path: Path | str, sheet: LaylineSheet, marks: Sequence[Mark], inputs: Iterable[Path | str] = ()
) -> None:
    """Write `format_laylines` to `path`, wholly or not at all.

    Raises
    ------
    InputError
        As `goosewing.files.disk.write_atomically`.
    """
    write_atomically(path, format_laylines(sheet, marks), inputs=inputs)


def format_laylines(sheet: LaylineSheet, marks: Sequence[Mark]) -> str:
    """Write laylines as tracks of GPX 1.1, and their marks as waypoints.

    Parameters
    ----------
    sheet : LaylineSheet
    marks : sequence of Mark
        Those that the lines belong to, with whatever the user's file held for them.
    """
    from gpxpy.gpx import GPX

    prefixes = Prefixes(pair for mark in marks for pair in kept_of(mark).prefixes)
    gpx = GPX()
    gpx.creator = "Goosewing"
    gpx.name = writable(f"{sheet.boat}: laylines")
    gpx.description = writable(" ".join((*sheet.notices, *sheet.cautions)))
    gpx.waypoints = [_waypoint(mark, prefixes) for mark in marks]
    gpx.tracks = _tracks(sheet.laylines, prefixes)
    gpx.nsmap = prefixes.declared()
    return with_line_ends(gpx.to_xml(version="1.1")) + "\n"


def _waypoint(mark: Mark, prefixes: Prefixes) -> GPXWaypoint:
    from gpxpy.gpx import GPXWaypoint

    point = GPXWaypoint()
    _put_at(point, mark.lat, mark.lon)
    _describe(point, mark)
    point.extensions = [
        prefixes.ready(each) for each in (*kept_of(mark).extensions, *leave_elements(mark))
    ]
    return point


# The route


def _route(plan: Plan, prefixes: Prefixes) -> GPXRoute:
    from gpxpy.gpx import GPXRoute

    route = GPXRoute(name=writable(route_name(plan)))
    description, comment = with_own(length(plan), plan.route.description, plan.route.comment)
    route.description = writable(description)
    route.comment = None if comment is None else writable(comment)
    route.extensions = [prefixes.ready(plan_element(plan))]
    route.points = list(_route_points(plan, prefixes))
    return route


def _route_points(plan: Plan, prefixes: Prefixes) -> Iterator[RoutePoint]:
    """Go along the stops, and by way of the places between that keep a route to the track."""
    via: list[Fix] = []
    for stop in stops(plan):
        while via and stop.time is not None and time_of(via[0]) < stop.time:
            yield _via_point(via.pop(0), prefixes)
        if stop.board is not None and stop.order is None:
            via = list(stop.board.via)
        yield _route_point(stop, plan, prefixes)


def _via_point(fix: Fix, prefixes: Prefixes) -> RoutePoint:
    point = RoutePoint()
    _put_at(point, fix.lat, fix.lon)
    point.time = whole_second(time_of(fix))
    point.type = "via"
    point.extensions = [prefixes.ready(via_element())]
    return point


def _route_point(stop: Stop, plan: Plan, prefixes: Prefixes) -> RoutePoint:
    point = RoutePoint()
    _put_at(point, stop.lat, stop.lon)
    point.time = None if stop.time is None else whole_second(stop.time)
    told = briefing(stop, plan.departure)
    text = sentence(told)
    elements = [point_element(stop, told, text)]
    if stop.mark is None:
        point.name = stop.name
        point.description = writable(text)
        point.type = stop.kind
    else:
        restore(kept_of(stop.mark), point)
        _describe(point, stop.mark)
        _add_orders(point, writable(text))
        elements = [*kept_of(stop.mark).extensions, *leave_elements(stop.mark), *elements]
    point.extensions = [prefixes.ready(each) for each in elements]
    return point


def _describe(point: RoutePoint | GPXWaypoint, mark: Mark) -> None:
    point.name = writable(mark.name)
    point.description, point.comment, point.symbol, point.type = (
        None if each is None else writable(each)
        for each in (mark.description, mark.comment, mark.symbol, mark.kind)
    )


def _add_orders(point: RoutePoint, text: str) -> None:
    point.description, point.comment = with_own(text, point.description, point.comment)


def _put_at(point: RoutePoint | GPXTrackPoint | GPXWaypoint, lat: float, lon: float) -> None:
    # 180 itself is outside GPX, which has -180 for it.
    east = round(lon, 7)
    east = (east + 180.0) % 360.0 - 180.0 if not -180.0 <= east < 180.0 else east
    # As text, which gpxpy writes as it is.
    point.latitude, point.longitude = seven(lat), seven(east)  # type: ignore[assignment]


# The laylines


def _tracks(laylines: Sequence[Layline], prefixes: Prefixes) -> list[GPXTrack]:
    titles = layline_titles(laylines)
    return [_layline_track(*each, prefixes) for each in zip(laylines, titles, strict=True)]


def _bands(plan: Plan, prefixes: Prefixes) -> list[GPXTrack]:
    """Tracks round the bands of laylines in shifty wind, where that was asked."""
    bands = () if plan.chances is None else plan.chances.bands
    return [
        _drawn(name, band_element(band), band.outline, prefixes)
        for band, name in zip(bands, band_titles(bands), strict=True)
    ]


def _layline_track(layline: Layline, name: str, prefixes: Prefixes) -> GPXTrack:
    return _drawn(name, layline_element(layline), layline.points, prefixes)


def _drawn(name: str, element: Element, points: Sequence[Fix], prefixes: Prefixes) -> GPXTrack:
    from gpxpy.gpx import GPXTrack, GPXTrackSegment

    track = GPXTrack(name=writable(name))
    track.extensions = [prefixes.ready(element)]
    segment = GPXTrackSegment()
    segment.points = [_track_point(each) for each in points]
    track.segments = [segment]
    return track


def _track_point(fix: Fix) -> GPXTrackPoint:
    from gpxpy.gpx import GPXTrackPoint

    point = GPXTrackPoint()
    _put_at(point, fix.lat, fix.lon)
    point.time = None if fix.time is None else whole_second(fix.time)
    return point
