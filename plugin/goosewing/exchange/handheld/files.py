"""GPX 1.0 and 1.1 for handheld GPSs: read from any planner, written plainly.

Only what such a receiver uses is carried: places, names, comments,
descriptions, symbols, kinds, times and heights, and where it bears them
extension elements. What is passed over is told, a line each.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from goosewing.earth.angles import wrap_longitude
from goosewing.errors import InputError
from goosewing.exchange.gpx.elements import departure, own_text, told, written_text
from goosewing.exchange.gpx.points import with_line_ends, writable
from goosewing.exchange.handheld.routes import Contents, Point, Route, Track
from goosewing.files.disk import read_bytes, shown, write_atomically
from goosewing.files.gpx import GPX_1_0, GPX_1_1, GpxDocument, degrees, parse_gpx, split_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

_DECIMAL = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)", re.ASCII)

_POINT_TEXTS = {"name": "name", "cmt": "comment", "desc": "description"}
_CARRIED = frozenset({*_POINT_TEXTS, "sym", "type", "time", "ele", "extensions"})
_CARRIED_OF_LINES = frozenset({*_POINT_TEXTS, "rtept", "trkseg", "extensions", "number"})
_CARRIED_OF_FILE = frozenset(
    {"name", "desc", "time", "bounds", "metadata", "wpt", "rte", "trk", "extensions"}
)


# Reading -----------------------------------------------------------------------------------


def read_contents(path: Path | str) -> Contents:
    """Read a GPX file; see `parse_contents`.

    Raises
    ------
    InputError
        As `parse_contents`, and if the file can't be read.
    """
    return parse_contents(read_bytes(path, "a GPX file"), where=shown(path))


def parse_contents(data: bytes | str, *, where: str = "GPX") -> Contents:
    """Read from GPX 1.0 or 1.1 what a handheld GPS can use.

    Parameters
    ----------
    data : bytes or str
        The document.
    where : str
        The file, for messages.

    Raises
    ------
    InputError
        If it isn't GPX, or a position is missing or off the earth. Longitudes
        up to a turn either way are brought into [-180, 180), and told.
    """
    raw = data.encode() if isinstance(data, str) else data
    return _Reader(parse_gpx(raw, where=where)).read()


@dataclass(slots=True)
class _Reader:
    """One document being read."""

    gpx: GpxDocument
    passed_over: Counter[tuple[str, str]] = field(default_factory=Counter)
    moved: list[str] = field(default_factory=list)
    namespaces: dict[str, None] = field(default_factory=dict)

    def read(self) -> Contents:
        root = self.gpx.root
        head = self.gpx.first(root, "metadata")
        head = root if head is None else head
        self._note(root, "the file", _CARRIED_OF_FILE)
        if head is not root:
            self._note(head, "the file", _CARRIED_OF_FILE)
        return Contents(
            version=self.gpx.version,
            name=self._text(head, "name"),
            description=self._text(head, "desc"),
            waypoints=tuple(self._points(root, "wpt", "waypoints")),
            routes=tuple(self._route(each) for each in self.gpx.all(root, "rte")),
            tracks=tuple(self._track(each) for each in self.gpx.all(root, "trk")),
            namespaces=tuple(self.namespaces),
            unread=tuple(self._unread()),
            moved=tuple(self.moved),
        )

    def _unread(self) -> Iterable[str]:
        for (tag, owner), number in sorted(self.passed_over.items()):
            yield f"{tag} of {owner}" + (f" ({number} times)" if number > 1 else "")

    def _route(self, route: Element) -> Route:
        self._note(route, "routes", _CARRIED_OF_LINES)
        points = tuple(self._route_points(route))
        return Route(points=points, **self._texts(route))

    def _track(self, track: Element) -> Track:
        self._note(track, "tracks", _CARRIED_OF_LINES)
        segments = tuple(
            tuple(self._points(each, "trkpt", "track points"))
            for each in self.gpx.all(track, "trkseg")
        )
        return Track(segments=segments, **self._texts(track))

    def _texts(self, parent: Element) -> dict[str, Any]:
        return {field: self._text(parent, tag) for tag, field in _POINT_TEXTS.items()}

    def _points(self, parent: Element, tag: str, owner: str) -> Iterable[Point]:
        of_track = owner == "track points"
        carried = frozenset({"time", "ele", "extensions"}) if of_track else _CARRIED
        for at, point in enumerate(self.gpx.all(parent, tag), 1):
            self._note(point, owner, carried)
            yield self._point(point, f"{self.gpx.line(point)}, {owner[:-1]} {at}", owner)

    def _route_points(self, route: Element) -> Iterable[Point]:
        """Read the points of a route; of a plan's, what it tells the helm apart from the marks'."""
        departs = departure(route)
        points = tuple(self._points(route, "rtept", "route points"))
        for at, (element, point) in enumerate(
            zip(self.gpx.all(route, "rtept"), points, strict=True)
        ):
            texts = (point.description, point.comment, point.time)
            briefing = told(element, texts, departs, last=at == len(points) - 1)
            if briefing is None:
                yield point
                continue
            description, comment = (own_text(each, written_text(element)) for each in texts[:2])
            yield replace(point, description=description, comment=comment, told=briefing)

    def _point(self, point: Element, place: str, owner: str) -> Point:
        kept = self._foreign(point, owner)
        name = self._text(point, "name")
        place = f'{place} ("{shown(name)}")' if name else place
        return Point(
            lat=degrees(point, "lat", 90.0, f"{self.gpx.where}: {place}"),
            lon=self._longitude(point, place),
            symbol=self._text(point, "sym"),
            kind=self._text(point, "type"),
            time=self._checked(point, "time", owner, _utc),
            elevation=self._checked(point, "ele", owner, _decimal),
            extensions=kept,
            **self._texts(point),
        )

    def _longitude(self, point: Element, place: str) -> float:
        lon = degrees(point, "lon", 360.0, f"{self.gpx.where}: {place}")
        if -180.0 <= lon < 180.0:
            return lon
        # Rounded, or 190.1 would come back as -169.90000000000001.
        wrapped = round(float(wrap_longitude(lon)), 9)
        self.moved.append(f"{place} from longitude {lon:g} to {wrapped:g}, the same meridian")
        return wrapped

    def _checked(self, point: Element, tag: str, owner: str, read: Any) -> str | None:
        text = self._text(point, tag)
        value: str | None = read(text.strip()) if text else None
        if text and value is None:
            self.passed_over[f"unreadable {tag}", owner] += 1
        return value

    # What is not carried

    def _note(self, parent: Element, owner: str, carried: frozenset[str]) -> None:
        for child in parent:
            uri, tag = split_name(child.tag)
            if uri not in ("", GPX_1_0, GPX_1_1):
                self._foreign_of_lines(child, owner)
            elif tag not in carried:
                self.passed_over[tag, owner] += 1
            elif tag == "extensions" and not owner.endswith("points"):
                for each in child:
                    self._foreign_of_lines(each, owner)

    def _foreign_of_lines(self, element: Element, owner: str) -> None:
        if owner in ("waypoints", "route points"):
            return
        uri, tag = split_name(element.tag)
        self.namespaces[uri or "no namespace"] = None
        self.passed_over[f"extension element {tag}", owner] += 1

    def _foreign(self, point: Element, owner: str) -> tuple[Element, ...]:
        found = []
        inside = self.gpx.first(point, "extensions")
        own = ("", GPX_1_0, GPX_1_1)
        candidates = [*(() if inside is None else inside)]
        candidates += [each for each in point if split_name(each.tag)[0] not in own]
        for each in candidates:
            uri, tag = split_name(each.tag)
            self.namespaces[uri or "no namespace"] = None
            if owner == "track points" or any(split_name(e.tag)[0] in own for e in each.iter()):
                self.passed_over[f"extension element {tag}", owner] += 1
            else:
                found.append(each)
        return tuple(found)

    def _text(self, parent: Element, tag: str) -> str | None:
        text = self.gpx.text(parent, tag)
        return None if text is None else text.strip()


def _utc(text: str) -> str | None:
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        return None
    # GPX times are UTC; one without a zone is taken at the format's word.
    zoned = time.replace(tzinfo=UTC) if time.utcoffset() is None else time
    try:
        return f"{zoned.astimezone(UTC).replace(tzinfo=None).isoformat()}Z"
    except OverflowError:
        return None


def _decimal(text: str) -> str | None:
    return text if _DECIMAL.fullmatch(text) else None


# Writing -----------------------------------------------------------------------------------


def write_contents(
    path: Path | str, contents: Contents, *, inputs: Iterable[Path | str] = ()
) -> None:
    """Write `format_contents` to `path`, wholly or not at all.

    Raises
    ------
    InputError
        As `goosewing.files.disk.write_atomically`.
    """
    write_atomically(path, format_contents(contents), inputs=inputs)


def format_contents(contents: Contents) -> str:
    """Write contents as GPX of their version; equal contents give equal text.

    Parameters
    ----------
    contents : Contents
        As from `goosewing.exchange.handheld.routes`.

    Raises
    ------
    InputError
        If a latitude is beyond a pole, or points in GPX 1.0 have extensions.
    """
    old = contents.version == "1.0"
    root = Element("gpx", {"xmlns": GPX_1_0 if old else GPX_1_1})
    root.set("version", contents.version)
    root.set("creator", "Goosewing")
    if contents.name or contents.description:
        head = root if old else SubElement(root, "metadata")
        _texts(head, (("name", contents.name), ("desc", contents.description)))
    _add_points(root, "wpt", contents.waypoints, old=old)
    for route in contents.routes:
        line = _line(root, "rte", route)
        _add_points(line, "rtept", route.points, old=old)
    for track in contents.tracks:
        line = _line(root, "trk", track)
        for segment in track.segments:
            _add_points(SubElement(line, "trkseg"), "trkpt", segment, old=old)
    indent(root, " ")
    text = tostring(root, encoding="unicode", short_empty_elements=True)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{with_line_ends(text)}\n'


def _line(root: Element, tag: str, line: Route | Track) -> Element:
    element = SubElement(root, tag)
    _texts(element, (("name", line.name), ("cmt", line.comment), ("desc", line.description)))
    return element


def _add_points(parent: Element, tag: str, points: Sequence[Point], *, old: bool) -> None:
    for point in points:
        place = {"lat": _seven(point.lat, "lat"), "lon": _seven(_east(point.lon), "lon")}
        element = SubElement(parent, tag, place)
        texts = (
            ("ele", point.elevation),
            ("time", point.time),
            ("name", point.name),
            ("cmt", point.comment),
            ("desc", point.description),
            ("sym", point.symbol),
            ("type", point.kind),
        )
        _texts(element, texts)
        if point.extensions:
            if old:
                raise InputError("GPX 1.0 for a receiver carries no extension elements")
            SubElement(element, "extensions").extend(point.extensions)


def _texts(parent: Element, texts: Iterable[tuple[str, str | None]]) -> None:
    for tag, text in texts:
        if text:
            SubElement(parent, tag).text = writable(text)


def _east(lon: float) -> float:
    # Rounding may carry 179.99999999 to 180, which GPX 1.1 writes as -180.
    return float(wrap_longitude(round(lon, 7)))


def _seven(degrees: float, name: str) -> str:
    # Seven decimals: 1e-7° of latitude is 11 mm, finer than any receiver on board,
    # and never an exponent.
    if name == "lat" and not -90.0 <= degrees <= 90.0:
        raise InputError(f"lat must be from -90 to 90, got {degrees:g}")
    return f"{round(degrees, 7) + 0.0:.7f}"
