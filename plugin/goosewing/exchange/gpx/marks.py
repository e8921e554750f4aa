"""Marks in from GPX 1.0 and 1.1: a route, waypoints, or the two ends of a track."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal, TypeAlias

from goosewing.errors import InputError
from goosewing.exchange.gpx.elements import (
    is_turn,
    leave,
    line_end,
    own_place,
    own_route_texts,
    own_text,
    rounding,
    written_text,
)
from goosewing.exchange.gpx.kept import Kept, keep
from goosewing.files.disk import read_bytes, shown
from goosewing.files.gpx import GpxDocument, brief, degrees, parse_gpx
from goosewing.records import Mark, RouteTexts
from goosewing.turns import Numbers

if TYPE_CHECKING:
    from pathlib import Path
    from xml.etree.ElementTree import Element

Source: TypeAlias = Literal["route", "waypoints", "track"]
"""What of a GPX file is taken as the marks."""


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
    texts : RouteTexts
        What that route or track is called and says; no words of an earlier plan's.
    waypoints : tuple of Mark
        Of the file, where the marks were not taken from them.
    """

    marks: tuple[Mark, ...]
    source: Source
    name: str | None
    notices: tuple[str, ...]
    texts: RouteTexts = field(default_factory=RouteTexts)
    waypoints: tuple[Mark, ...] = ()


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
    return _Reader(parse_gpx(data, where=where)).read(source, route)


@dataclass(slots=True)
class _Taken:
    """The points to be read, and what they are called in messages."""

    source: Source
    points: list[Element]
    label: str
    name: str | None = None
    texts: RouteTexts = field(default_factory=RouteTexts)


class _Reader:
    """One document being read."""

    def __init__(self, gpx: GpxDocument) -> None:
        self.gpx = gpx
        self.where = gpx.where
        self.notices: list[str] = []

    def read(self, source: Source | None, route: str | None) -> MarksRead:
        taken = self._take(source, route)
        if not taken.points:
            raise InputError(f"no marks: {taken.label} has no points", where=self.where)
        marks = _with_names([self._mark(each, taken, at) for at, each in enumerate(taken.points)])
        waypoints = () if taken.source == "waypoints" else self._waypoints()
        return MarksRead(
            marks=tuple(marks),
            source=taken.source,
            name=taken.name,
            notices=tuple(dict.fromkeys(self.notices)),
            texts=taken.texts,
            waypoints=waypoints,
        )

    def _waypoints(self) -> tuple[Mark, ...]:
        """Return the file's waypoints that are no marks; one that can't be read is only told."""
        taken = _Taken("waypoints", self.gpx.all(self.gpx.root, "wpt"), "the list of waypoints")
        found, faults, told = [], [], len(self.notices)
        for at, each in enumerate(taken.points):
            try:
                found.append(self._mark(each, taken, at))
            except InputError as error:
                faults.append(f"{error}: not looked at.")
        # What of a mark could not be kept is no matter of these.
        self.notices[told:] = faults
        return tuple(_with_names(found))

    # What to take

    def _take(self, source: Source | None, route: str | None) -> _Taken:
        chosen = source or ("route" if route is not None else self._first_source())
        if chosen == "route":
            return self._take_route(route)
        if chosen == "waypoints":
            return _Taken("waypoints", self.gpx.all(self.gpx.root, "wpt"), "the list of waypoints")
        return self._take_track()

    def _first_source(self) -> Source:
        root = self.gpx.root
        if any(self.gpx.all(route, "rtept") for route in self.gpx.all(root, "rte")):
            return "route"
        if self.gpx.all(root, "wpt"):
            return "waypoints"
        if any(self.gpx.track_points(track) for track in self.gpx.all(root, "trk")):
            return "track"
        raise InputError("no marks: neither route nor waypoints nor track", where=self.where)

    def _take_route(self, name: str | None) -> _Taken:
        routes = self.gpx.all(self.gpx.root, "rte")
        if not routes:
            raise InputError("no marks: it has no route", where=self.where)
        if name is None:
            chosen = next((each for each in routes if self.gpx.all(each, "rtept")), routes[0])
        else:
            chosen = self._route_named(name, routes)
        titles = [self._title(each, "route", at) for at, each in enumerate(routes, 1)]
        label = titles[routes.index(chosen)]
        if len(routes) > 1:
            others = ", ".join(titles[at] for at, each in enumerate(routes) if each is not chosen)
            self.notices.append(f"{self.where}: took {label}, not {others}.")
        texts = own_route_texts(chosen, self.gpx)
        return _Taken("route", self._marks_of_plan(chosen), label, self._name(chosen), texts)

    def _route_named(self, name: str, routes: list[Element]) -> Element:
        for each in routes:
            if (self._name(each) or "").strip() == name.strip():
                return each
        names = ", ".join(self._title(each, "route", at) for at, each in enumerate(routes, 1))
        raise InputError(f'no route named "{brief(name)}"; it has {names}', where=self.where)

    def _marks_of_plan(self, route: Element) -> list[Element]:
        """Return a route's points; of a plan's route, the marks without the turning points."""
        points = self.gpx.all(route, "rtept")
        marks = [each for each in points if not is_turn(each)]
        if len(marks) < len(points):
            self.notices.append(
                f"{self.where}: the turning points of an earlier plan are left out."
            )
        return marks

    def _take_track(self) -> _Taken:
        tracks = [
            each for each in self.gpx.all(self.gpx.root, "trk") if self.gpx.track_points(each)
        ]
        if not tracks:
            raise InputError("no marks: it has no track with points", where=self.where)
        points = self.gpx.track_points(tracks[0])
        label = self._title(tracks[0], "track", 1)
        self.notices.append(f"{self.where}: took the two ends of {label} as marks.")
        ends = points if len(points) == 1 else [points[0], points[-1]]
        texts = RouteTexts(
            name=self._name(tracks[0]),
            description=self.gpx.text(tracks[0], "desc"),
            comment=self.gpx.text(tracks[0], "cmt"),
        )
        return _Taken("track", ends, label, texts.name, texts)

    # One point

    def _mark(self, point: Element, taken: _Taken, at: int) -> Mark:
        place = self._place_in_file(point, taken, at)
        kept, lost = keep(point, self.gpx.namespace, self.gpx.xml.prefixes)
        if lost:
            self.notices.append(f"{place}: not kept: {', '.join(brief(each) for each in lost)}.")
        side, distance_nm = leave(point, place)
        line, end = line_end(point, place)
        where = own_place(point, place)
        written = written_text(point)
        texts = {
            tag: own_text(self.gpx.text(point, tag), written)
            for tag in ("desc", "cmt", "sym", "type")
        }
        return Mark(
            name=(self._name(point) or "").strip(),
            lat=degrees(where, "lat", 90.0, place),
            lon=_west_of_180(degrees(where, "lon", 180.0, place)),
            description=texts["desc"],
            comment=texts["cmt"],
            symbol=texts["sym"],
            kind=texts["type"],
            leave=side,
            leave_distance_nm=distance_nm,
            rounding=rounding(point, place),
            line=line,
            line_end=end,
            extras=(kept,) if kept != Kept() else (),
        )

    def _place_in_file(self, point: Element, taken: _Taken, at: int) -> str:
        name = self._name(point)
        called = f' ("{brief(name)}")' if name else ""
        label = "" if taken.source == "waypoints" else f"{taken.label}, "
        kind = {"waypoints": "waypoint", "route": "point", "track": "end"}[taken.source]
        return f"{self.where}: {self.gpx.line(point)}, {label}{kind} {at + 1}{called}"

    # Names

    def _name(self, parent: Element) -> str | None:
        """Return a name as it stands, on one line: breaks in it are the XML's layout."""
        text = self.gpx.text(parent, "name")
        if text is None or not re.search(r"[\r\n\t]", text):
            return text
        return re.sub(r"\s*[\r\n\t]\s*", " ", text).strip()

    def _title(self, parent: Element, kind: str, number: int) -> str:
        name = self._name(parent)
        return f'{kind} "{brief(name)}"' if name else f"{kind} {number} (nameless)"


def _west_of_180(lon: float) -> float:
    return -180.0 if lon == 180.0 else lon


def _with_names(marks: list[Mark]) -> list[Mark]:
    taken = {mark.name.casefold() for mark in marks}
    numbers = Numbers(taken)
    return [mark if mark.name else replace(mark, name=numbers.next("MK")) for mark in marks]
