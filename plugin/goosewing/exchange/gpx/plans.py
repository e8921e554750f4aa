"""Marks in from GPX 1.0 and 1.1, plans out to GPX 1.1.

A plan becomes one route, marks and turning points in sailing order, and one
track for each layline. What GPX has no word for stands in extension elements
of the namespace ``urn:goosewing:gpx:1`` (prefix ``goose``):

``goose:plan``
    On the route: the plan's figures as attributes, ``goose:caution`` and
    ``goose:notice`` inside.
``goose:point``
    On every route point: ``kind`` is ``mark`` or ``turn``; inside, ``goose:text``
    says what happens there and what to steer next, each ``goose:manoeuvre`` what
    the crew does and its cost, ``goose:board`` the board that begins there.
``goose:leave``
    On a mark, in and out: ``side`` (``port``, ``starboard``) and ``distance_nm``. In a
    plan the route point is where she passes, ``lat`` and ``lon`` here are the mark's own
    place, and a waypoint marks it.
``goose:layline``
    On the track of a layline: mark, tack, sail set and course over the ground.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal, TypeAlias
from xml.etree.ElementTree import Element, SubElement

from goosewing.errors import InputError
from goosewing.exchange.document import PLAN_FORMAT, plain, whole_second
from goosewing.exchange.gpx.points import (
    GOOSE,
    Kept,
    Prefixes,
    RoutePoint,
    keep,
    restore,
    with_line_ends,
    writable,
)
from goosewing.files.disk import read_bytes, shown, write_atomically
from goosewing.files.gpx import GPX_1_0, GPX_1_1, split_name
from goosewing.files.xml import XmlDocument, parse_xml
from goosewing.records import Mark
from goosewing.turns import Numbers, Stop, stops
from goosewing.words.figures import hours_and_minutes, manoeuvre_words
from goosewing.words.points import board_words, leaving_words, time_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from gpxpy.gpx import GPXRoute, GPXTrack, GPXTrackPoint, GPXWaypoint

    from goosewing.records import Fix, Layline, LaylineSheet, Plan

Source: TypeAlias = Literal["route", "waypoints", "track"]
"""What of a GPX file is taken as the marks."""

# Reading -----------------------------------------------------------------------------------

_EXPECTED = "a GPX file"
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class MarksRead:
    """The marks of a GPX file.

    Attributes
    ----------
    marks : tuple of Mark
        At least one, in file order.
    source : "route", "waypoints" or "track"
        What they were taken from.
    name : str or None
        The name of that route or track.
    notices : tuple of str
        What the user should know: which of several routes was taken, what was left.
    """

    marks: tuple[Mark, ...]
    source: Source
    name: str | None
    notices: tuple[str, ...]


def read_marks(
    path: Path | str, *, source: Source | None = None, route: str | None = None
) -> MarksRead:
    """Read marks from a GPX file; see `parse_marks`.

    Raises
    ------
    InputError
        As `parse_marks`, and if the file can't be read.
    """
    return parse_marks(read_bytes(path, "marks"), source=source, route=route, where=shown(path))


def parse_marks(
    data: bytes, *, source: Source | None = None, route: str | None = None, where: str = "GPX"
) -> MarksRead:
    """Read marks from GPX 1.0 or 1.1.

    Parameters
    ----------
    data : bytes
        The document.
    source : "route", "waypoints", "track" or None
        What to take. None takes the first route that has points, else the
        waypoints in file order, else the track's two ends.
    route : str, optional
        The name of the route to take.
    where : str
        The file, for messages.

    Raises
    ------
    InputError
        If it isn't GPX, holds no such marks, or a position is missing or off the earth.
    """
    if route is not None and source not in (None, "route"):
        raise InputError(f"a route's name goes with source route, not {source}")
    xml = parse_xml(data, where=where, expected=_EXPECTED)
    return _Reader(xml, where).read(source, route)


@dataclass(slots=True)
class _Taken:
    """The points to be read, and what they are called in messages."""

    source: Source
    points: list[Element]
    label: str
    name: str | None = None


class _Reader:
    """One document being read."""

    def __init__(self, xml: XmlDocument, where: str) -> None:
        self.xml = xml
        self.where = where
        self.namespace, root = split_name(xml.root.tag)
        if root != "gpx" or self.namespace not in (GPX_1_0, GPX_1_1, ""):
            raise InputError(
                f"is XML but not GPX: its root is <{_brief(root)}>"
                f" of {_brief(self.namespace) or 'no'} namespace,"
                " expected <gpx> of GPX 1.0 or 1.1",
                where=where,
            )
        self.notices: list[str] = []

    def read(self, source: Source | None, route: str | None) -> MarksRead:
        taken = self._take(source, route)
        if not taken.points:
            raise InputError(f"no marks: {taken.label} has no points", where=self.where)
        marks = _with_names([self._mark(each, taken, at) for at, each in enumerate(taken.points)])
        return MarksRead(
            marks=tuple(marks),
            source=taken.source,
            name=taken.name,
            notices=tuple(dict.fromkeys(self.notices)),
        )

    # What to take

    def _take(self, source: Source | None, route: str | None) -> _Taken:
        chosen = source or ("route" if route is not None else self._first_source())
        if chosen == "route":
            return self._take_route(route)
        if chosen == "waypoints":
            return _Taken("waypoints", self._all(self.xml.root, "wpt"), "the list of waypoints")
        return self._take_track()

    def _first_source(self) -> Source:
        root = self.xml.root
        if any(self._all(route, "rtept") for route in self._all(root, "rte")):
            return "route"
        if self._all(root, "wpt"):
            return "waypoints"
        if any(self._track_points(track) for track in self._all(root, "trk")):
            return "track"
        raise InputError("no marks: neither route nor waypoints nor track", where=self.where)

    def _take_route(self, name: str | None) -> _Taken:
        routes = self._all(self.xml.root, "rte")
        if not routes:
            raise InputError("no marks: it has no route", where=self.where)
        if name is None:
            chosen = next((each for each in routes if self._all(each, "rtept")), routes[0])
        else:
            chosen = self._route_named(name, routes)
        titles = [self._title(each, "route", at) for at, each in enumerate(routes, 1)]
        label = titles[routes.index(chosen)]
        if len(routes) > 1:
            others = ", ".join(titles[at] for at, each in enumerate(routes) if each is not chosen)
            self.notices.append(f"{self.where}: took {label}, not {others}.")
        return _Taken("route", self._marks_of_plan(chosen), label, self._name(chosen))

    def _route_named(self, name: str, routes: list[Element]) -> Element:
        for each in routes:
            if (self._name(each) or "").strip() == name.strip():
                return each
        names = ", ".join(self._title(each, "route", at) for at, each in enumerate(routes, 1))
        raise InputError(f'no route named "{_brief(name)}"; it has {names}', where=self.where)

    def _marks_of_plan(self, route: Element) -> list[Element]:
        """Return a route's points; of a plan's route, the marks without the turning points."""
        points = self._all(route, "rtept")
        marks = [each for each in points if _point_kind(each) != "turn"]
        if len(marks) < len(points):
            self.notices.append(
                f"{self.where}: the turning points of an earlier plan are left out."
            )
        return marks

    def _take_track(self) -> _Taken:
        tracks = [each for each in self._all(self.xml.root, "trk") if self._track_points(each)]
        if not tracks:
            raise InputError("no marks: it has no track with points", where=self.where)
        points = self._track_points(tracks[0])
        label = self._title(tracks[0], "track", 1)
        self.notices.append(f"{self.where}: took the two ends of {label} as marks.")
        ends = points if len(points) == 1 else [points[0], points[-1]]
        return _Taken("track", ends, label, self._name(tracks[0]))

    def _track_points(self, track: Element) -> list[Element]:
        return [point for part in self._all(track, "trkseg") for point in self._all(part, "trkpt")]

    # One point

    def _mark(self, point: Element, taken: _Taken, at: int) -> Mark:
        place = self._place_in_file(point, taken, at)
        kept, lost = keep(point, self.namespace, self.xml.prefixes)
        if lost:
            self.notices.append(f"{place}: not kept: {', '.join(_brief(each) for each in lost)}.")
        leave, distance_nm = _leave(point, place)
        where = _own_place(point, place)
        written = _written_text(point)
        texts = {
            tag: None if (text := self._text(point, tag)) == written else text
            for tag in ("desc", "cmt", "sym", "type")
        }
        return Mark(
            name=(self._name(point) or "").strip(),
            lat=_coordinate(where, "lat", 90, place),
            lon=_west_of_180(_coordinate(where, "lon", 180, place)),
            description=texts["desc"],
            comment=texts["cmt"],
            symbol=texts["sym"],
            kind=texts["type"],
            leave=leave,
            leave_distance_nm=distance_nm,
            extras=(kept,) if kept != Kept() else (),
        )

    def _place_in_file(self, point: Element, taken: _Taken, at: int) -> str:
        name = self._name(point)
        called = f' ("{_brief(name)}")' if name else ""
        label = "" if taken.source == "waypoints" else f"{taken.label}, "
        kind = {"waypoints": "waypoint", "route": "point", "track": "end"}[taken.source]
        return f"{self.where}: line {self.xml.lines[point]}, {label}{kind} {at + 1}{called}"

    # The tree

    def _all(self, parent: Element, tag: str) -> list[Element]:
        return parent.findall(f"{{{self.namespace}}}{tag}" if self.namespace else tag)

    def _text(self, parent: Element, tag: str) -> str | None:
        found = self._all(parent, tag)
        text = found[0].text if found else None
        return text if text and text.strip() else None

    def _name(self, parent: Element) -> str | None:
        """Return a name as it stands, on one line: breaks in it are the XML's layout."""
        text = self._text(parent, "name")
        if text is None or not re.search(r"[\r\n\t]", text):
            return text
        return re.sub(r"\s*[\r\n\t]\s*", " ", text).strip()

    def _title(self, parent: Element, kind: str, number: int) -> str:
        name = self._name(parent)
        return f'{kind} "{_brief(name)}"' if name else f"{kind} {number} (nameless)"


def _coordinate(point: Element, name: str, limit: int, place: str) -> float:
    text = point.get(name)
    if text is None:
        raise InputError(f"{name} is missing", where=place)
    if not _NUMBER.fullmatch(text.strip()):
        raise InputError(f'{name} is not a decimal number: "{_brief(text)}"', where=place)
    value = float(text)
    if not -limit <= value <= limit:
        raise InputError(f"{name} must be from -{limit} to {limit}, got {value:g}", where=place)
    return value


def _west_of_180(lon: float) -> float:
    return -180.0 if lon == 180.0 else lon


def _own_place(point: Element, place: str) -> Element:
    """Return what holds the mark's position: its ``goose:leave``, where the route passes it by."""
    leave = point.find(f".//{{{GOOSE}}}leave")
    aside = leave is not None and leave.get("lat") is not None
    _coordinate(point, "lat", 90, place)
    _coordinate(point, "lon", 180, place)
    return leave if aside and leave is not None else point


def _leave(point: Element, place: str) -> tuple[Literal["port", "starboard"] | None, float]:
    leave = point.find(f".//{{{GOOSE}}}leave")
    if leave is None:
        return None, 0.0
    side, distance = leave.get("side"), leave.get("distance_nm", "0").strip()
    if side != "port" and side != "starboard":
        raise InputError('goose:leave: side must be "port" or "starboard"', where=place)
    if not _NUMBER.fullmatch(distance) or not 0.0 <= float(distance) < 100.0:
        raise InputError(
            f'goose:leave: distance_nm must be from 0 to 100, got "{_brief(distance)}"',
            where=place,
        )
    return ("port" if side == "port" else "starboard"), float(distance)


def _point_kind(point: Element) -> str | None:
    ours = point.find(f".//{{{GOOSE}}}point")
    return None if ours is None else ours.get("kind")


def _written_text(point: Element) -> str | None:
    """Return what an earlier plan said at this point, which is no text of the user's."""
    return point.findtext(f".//{{{GOOSE}}}text")


def _with_names(marks: list[Mark]) -> list[Mark]:
    taken = {mark.name.casefold() for mark in marks}
    numbers = Numbers(taken)
    return [mark if mark.name else replace(mark, name=numbers.next("MK")) for mark in marks]


def _brief(text: str | None) -> str:
    """Return text from a file as it may stand in a one-line message."""
    words = " ".join(shown(" ".join((text or "").split())).split())
    return words if len(words) <= 40 else f"{words[:39]}…"


# Writing -----------------------------------------------------------------------------------


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
    names: Mapping[tuple[float, float], str] | None = None,
    waypoints: Sequence[Mark] = (),
) -> str:
    """Write a plan as GPX 1.1; equal plans give equal text.

    Parameters
    ----------
    plan : Plan
        With a mark at each end of every leg.
    names : mapping, optional
        Names that turning points have already, by their latitude and longitude.
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
    prefixes = Prefixes(pair for mark in plan.marks for pair in _kept(mark).prefixes)
    gpx = GPX()
    gpx.creator = "Goosewing"
    gpx.name = _title(plan)
    gpx.description = writable(" ".join(filter(None, (plan.conditions, *plan.cautions))))
    gpx.time = whole_second(plan.departure)
    aside = [_marked(mark) for mark in plan.marks if mark.leave]
    gpx.waypoints = [_waypoint(mark, prefixes) for mark in (*aside, *waypoints)]
    gpx.routes = [_route(plan, prefixes, names or {})]
    gpx.tracks = _layline_tracks(plan, prefixes)
    gpx.nsmap = prefixes.declared()
    return with_line_ends(gpx.to_xml(version="1.1")) + "\n"


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

    prefixes = Prefixes(pair for mark in marks for pair in _kept(mark).prefixes)
    gpx = GPX()
    gpx.creator = "Goosewing"
    gpx.name = writable(f"{sheet.boat}: laylines")
    gpx.description = writable(" ".join((*sheet.notices, *sheet.cautions)))
    gpx.waypoints = [_waypoint(mark, prefixes) for mark in marks]
    gpx.tracks = _tracks(sheet.laylines, prefixes)
    gpx.nsmap = prefixes.declared()
    return with_line_ends(gpx.to_xml(version="1.1")) + "\n"


def _marked(mark: Mark) -> Mark:
    """Name a mark itself apart from the place at which the route passes it."""
    return replace(mark, name=f"{mark.name} itself")


def _waypoint(mark: Mark, prefixes: Prefixes) -> GPXWaypoint:
    from gpxpy.gpx import GPXWaypoint

    point = GPXWaypoint()
    _put_at(point, mark.lat, mark.lon)
    point.name = writable(mark.name)
    point.description, point.comment, point.symbol, point.type = (
        None if each is None else writable(each)
        for each in (mark.description, mark.comment, mark.symbol, mark.kind)
    )
    point.extensions = [
        prefixes.ready(each) for each in (*_kept(mark).extensions, *_leave_element(mark))
    ]
    return point


def _title(plan: Plan) -> str:
    return writable(f"{plan.marks[0].name} to {plan.marks[-1].name}")


def _kept(mark: Mark) -> Kept:
    return next((each for each in mark.extras if isinstance(each, Kept)), Kept())


# The route


def turn_names(plan: Plan) -> dict[tuple[float, float], str]:
    """Return the names of turning points by their latitude and longitude."""
    return {
        (stop.lat, stop.lon): stop.name
        for stop in stops(plan)
        if stop.mark is None and stop.name is not None
    }


def _route(plan: Plan, prefixes: Prefixes, names: Mapping[tuple[float, float], str]) -> GPXRoute:
    from gpxpy.gpx import GPXRoute

    length = f"{plan.distance_nm:.1f} nm in {hours_and_minutes(plan.elapsed_h)}"
    route = GPXRoute(name=_title(plan), description=writable(f"{plan.boat}: {length}"))
    route.extensions = [prefixes.ready(_plan_element(plan))]
    route.points = [
        _route_point(stop, plan, names.get((stop.lat, stop.lon)), prefixes) for stop in stops(plan)
    ]
    return route


def _route_point(stop: Stop, plan: Plan, name: str | None, prefixes: Prefixes) -> RoutePoint:
    point = RoutePoint()
    _put_at(point, stop.lat, stop.lon)
    point.time = None if stop.time is None else whole_second(stop.time)
    text = _text(stop, plan)
    if stop.mark is None:
        point.name = name or stop.name
        point.description = writable(text)
        point.type = stop.kind
    else:
        _describe_mark(point, stop.mark, writable(text))
    point.extensions = [prefixes.ready(each) for each in _extensions(stop, text)]
    return point


def _describe_mark(point: RoutePoint, mark: Mark, text: str) -> None:
    restore(_kept(mark), point)
    point.name = writable(mark.name)
    point.description, point.comment, point.symbol, point.type = (
        None if each is None else writable(each)
        for each in (mark.description, mark.comment, mark.symbol, mark.kind)
    )
    if not point.description:
        point.description = text
    elif not point.comment:
        point.comment = text


def _text(stop: Stop, plan: Plan) -> str:
    words = leaving_words(stop.mark) if stop.mark else None
    parts = [words] if words else []
    time = "" if stop.time is None else time_words(stop.time, plan.departure)
    if stop.board is None:
        # Only where two marks are one place does a passage go on without a board.
        passing = "arrive" if stop.last else "carry on"
        return ", ".join([*parts, f"{passing} {time}".strip()])
    if stop.after_engine:
        parts.append("set sail")
    elif stop.mark is None and not stop.manoeuvres and not stop.board.engine:
        parts.append("alter course")
    parts.append(board_words(stop.manoeuvres, stop.board))
    return ", ".join([*parts, time] if time else parts)


def _put_at(point: RoutePoint | GPXTrackPoint | GPXWaypoint, lat: float, lon: float) -> None:
    # Seven decimals: 1e-7° of latitude is 11 mm, finer than any receiver on board,
    # and never an exponent. 180 itself is outside GPX, which has -180 for it.
    east = round(lon, 7)
    east = (east + 180.0) % 360.0 - 180.0 if not -180.0 <= east < 180.0 else east
    # As text, which gpxpy writes as it is.
    point.latitude, point.longitude = _seven(lat), _seven(east)  # type: ignore[assignment]


def _seven(degrees: float) -> str:
    return f"{round(degrees, 7) + 0.0:.7f}"


# The extensions


def _extensions(stop: Stop, text: str) -> list[Element]:
    ours = _ours("point", kind="turn" if stop.mark is None else "mark")
    SubElement(ours, f"{{{GOOSE}}}text").text = text
    for each in stop.manoeuvres:
        words = None
        if stop.board is not None:
            words = manoeuvre_words([each.kind], stop.board.tack, stop.board.sail_set)
        ours.append(
            _ours("manoeuvre", kind=each.kind, cost_s=each.cost_s, time=each.time, text=words)
        )
    if stop.board is not None:
        ours.append(_ours("board", **_figures(replace(stop.board, point=None))))
    found = [ours]
    if stop.mark is not None:
        found = [*_kept(stop.mark).extensions, *_leave_element(stop.mark), ours]
    return found


def _leave_element(mark: Mark) -> list[Element]:
    if mark.leave is None:
        return []
    own = {"lat": _seven(mark.lat), "lon": _seven(mark.lon)}
    return [_ours("leave", side=mark.leave, distance_nm=mark.leave_distance_nm, **own)]


def _plan_element(plan: Plan) -> Element:
    element = _ours("plan", format=PLAN_FORMAT, **_figures(plan))
    for tag, lines in (("caution", plan.cautions), ("notice", plan.notices)):
        for line in lines:
            SubElement(element, f"{{{GOOSE}}}{tag}").text = line
    return element


def _figures(record: Any) -> dict[str, Any]:
    """Return what of a record's document is neither a list nor a place."""
    members: dict[str, Any] = plain(record)
    return {name: value for name, value in members.items() if not isinstance(value, list | dict)}


def _ours(tag: str, **attributes: Any) -> Element:
    written = {
        name: _attribute(plain(value)) for name, value in attributes.items() if value is not None
    }
    return Element(f"{{{GOOSE}}}{tag}", written)


def _attribute(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        # Six decimals hold a second of an hour to a hundredth, and no exponent.
        return f"{round(value, 6) + 0.0:.6f}".rstrip("0").rstrip(".")
    return str(value)


# The laylines


def _layline_tracks(plan: Plan, prefixes: Prefixes) -> list[GPXTrack]:
    return _tracks([layline for leg in plan.legs for layline in leg.laylines], prefixes)


def _tracks(laylines: Sequence[Layline], prefixes: Prefixes) -> list[GPXTrack]:
    taken: set[str] = set()
    return [_layline_track(each, _layline_name(each, taken), prefixes) for each in laylines]


def _layline_name(layline: Layline, taken: set[str]) -> str:
    short = f"Layline {layline.mark} {layline.tack}"
    long = f"{short} {layline.sail_set}"
    number = 2
    name = short if short.casefold() not in taken else long
    while name.casefold() in taken:
        name, number = f"{long} {number}", number + 1
    taken.add(name.casefold())
    return name


def _layline_track(layline: Layline, name: str, prefixes: Prefixes) -> GPXTrack:
    from gpxpy.gpx import GPXTrack, GPXTrackSegment

    track = GPXTrack(name=writable(name))
    track.extensions = [prefixes.ready(_ours("layline", **_figures(layline)))]
    segment = GPXTrackSegment()
    segment.points = [_track_point(each) for each in layline.points]
    track.segments = [segment]
    return track


def _track_point(fix: Fix) -> GPXTrackPoint:
    from gpxpy.gpx import GPXTrackPoint

    point = GPXTrackPoint()
    _put_at(point, fix.lat, fix.lon)
    point.time = None if fix.time is None else whole_second(fix.time)
    return point
