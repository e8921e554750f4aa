"""Routes cut to what a handheld GPS takes, with a report of every change.

Pure: records in, records out. `goosewing.exchange.handheld.files` reads and
writes the files. Nothing is lost silently: whatever was renamed, cut, split,
thinned, moved or left out has its line in the `Report`.

The limits of the two presets are those found in receivers' manuals and
handbooks; they are common practice, no source, and every one of them is an
option.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal, NamedTuple

import numpy as np

from goosewing.earth.geodesy import EQUATORIAL_RADIUS_NM, FLATTENING, isometric_latitude
from goosewing.errors import InputError
from goosewing.records import CAUTIONS
from goosewing.units import METRES_PER_NM, Array
from goosewing.words.brief import compact
from goosewing.words.names import plain_name
from goosewing.words.points import Briefing, sentence
from goosewing.words.short_names import (
    ShortNames,
    expand_charset,
    fits,
    knows_other_scripts,
    to_ascii,
)

LONGEST_TOLD = 240
"""Characters of a text in the report, before it is cut short."""

Tracks = Literal["auto", "keep", "route", "drop"]
"""Tracks stay tracks, become routes, or are left out; auto: routes if the file has no route."""

DEFAULT_TOLERANCE_M = 20.0
"""How far a thinned track may leave the full one: a little more than a fix is good for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What a receiver takes.

    Attributes
    ----------
    points : int
        Most points in a route, 2 or more.
    name_length : int
        Most characters in a name.
    charset : str
        Characters of a name, with ranges, such as ``A-Z0-9``.
    comment_length : int
        Most characters in a comment or description of a point; 0 for none. What a route or
        a track says is kept whole.
    gpx_version : "1.0" or "1.1"
        What it reads.
    extensions : bool
        Whether it bears extension elements; GPX 1.0 never carries them.
    track_points : int
        Most points in a track, 2 or more.
    tracks : "auto", "keep", "route" or "drop"
        What becomes of tracks; auto makes routes of them if the file has no
        route, else keeps them.
    """

    points: int = 30
    name_length: int = 6
    charset: str = "A-Z0-9"
    comment_length: int = 16
    gpx_version: str = "1.1"
    extensions: bool = False
    track_points: int = 500
    tracks: Tracks = "auto"

    def __post_init__(self) -> None:
        for name, least, most in (
            ("points", 2, 100_000),
            ("name_length", 1, 255),
            ("comment_length", 0, 10_000),
            ("track_points", 2, 1_000_000),
        ):
            value = getattr(self, name)
            if not least <= value <= most:
                raise InputError(f"{name} must be {least} to {most}, got {value}")
        if self.gpx_version not in ("1.0", "1.1"):
            raise InputError(f"gpx_version must be 1.0 or 1.1, got {self.gpx_version!r}")
        expand_charset(self.charset)

    @property
    def characters(self) -> str:
        """The characters of a name, written out."""
        return expand_charset(self.charset)

    @property
    def holds_extensions(self) -> bool:
        """Whether extension elements go into the file."""
        return self.extensions and self.gpx_version == "1.1"


PRESETS: dict[str, Limits] = {
    "small": Limits(),
    "larger": Limits(
        points=50,
        name_length=10,
        charset="A-Za-z0-9 ",
        comment_length=40,
        extensions=True,
        track_points=2000,
    ),
}
"""Two bundles of limits: 30 points and 6 capitals or digits; 50 points and 10 characters."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A point of a file; texts as they came, longitude already in [-180, 180)."""

    lat: float
    lon: float
    name: str | None = None
    comment: str | None = None
    description: str | None = None
    symbol: str | None = None
    kind: str | None = None
    time: str | None = None
    """ISO 8601 in UTC."""
    elevation: str | None = None
    """A decimal number. [m]"""
    extensions: tuple[Any, ...] = field(default=(), compare=False)
    """Elements of other namespaces, opaque here."""
    told: Briefing | None = None
    """What a plan tells the helm here; the texts are the mark's own then."""

    @property
    def place(self) -> tuple[float, float]:
        """Where it is."""
        return self.lat, self.lon


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """Points to be sailed to in order."""

    name: str | None = None
    comment: str | None = None
    description: str | None = None
    points: tuple[Point, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """A line, in one or more unbroken segments."""

    name: str | None = None
    comment: str | None = None
    description: str | None = None
    segments: tuple[tuple[Point, ...], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """All of a GPX file that a receiver can use.

    Attributes
    ----------
    version : str
        Of the file read.
    name, description : str or None
        The file's own.
    waypoints, routes, tracks : tuple
        In file order.
    namespaces : tuple of str
        Of extension elements anywhere in it.
    unread : tuple of str
        What the reader passed over, a line each.
    moved : tuple of str
        Longitudes that were outside [-180, 180), a line each.
    """

    version: str = "1.1"
    name: str | None = None
    description: str | None = None
    waypoints: tuple[Point, ...] = ()
    routes: tuple[Route, ...] = ()
    tracks: tuple[Track, ...] = ()
    namespaces: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()
    moved: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What was changed to make a file fit, a line each."""

    shortened: tuple[str, ...] = ()
    split: tuple[str, ...] = ()
    thinned: tuple[str, ...] = ()
    moved: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()

    @property
    def lines(self) -> tuple[str, ...]:
        """All lines, each opening with what was done."""
        return tuple(
            f"{word}: {line}"
            for word, lines in (
                ("shortened", self.shortened),
                ("split", self.split),
                ("thinned", self.thinned),
                ("moved", self.moved),
                ("left out", self.left_out),
            )
            for line in lines
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A file's contents within the limits, and what that took."""

    contents: Contents
    report: Report


# Fitting -----------------------------------------------------------------------------------


def fit(contents: Contents, limits: Limits, *, tolerance_m: float = DEFAULT_TOLERANCE_M) -> Fitted:
    """Make contents fit a receiver.

    Parameters
    ----------
    contents : Contents
        What was read.
    limits : Limits
        What the receiver takes.
    tolerance_m : float
        How far a point of a track may lie from the thinned track, rhumb lines
        between the points that stay. [m]

    Returns
    -------
    Fitted
        Routes of more points are split, each part beginning with the point that
        ends the one before.

    Raises
    ------
    InputError
        If there is nothing to fit, the tolerance makes no sense, or the names
        can't all be different.
    """
    if not 0.0 <= tolerance_m <= 100_000.0:
        raise InputError(f"the tolerance must be 0 to 100000 m, got {tolerance_m:g}")
    if not (contents.waypoints or contents.routes or contents.tracks):
        raise InputError("holds neither route nor waypoint nor track")
    return _Fitting(limits, tolerance_m).run(contents)


class _Fitting:
    """One run of `fit`, gathering its report."""

    def __init__(self, limits: Limits, tolerance_m: float) -> None:
        self.limits = limits
        self.tolerance_m = tolerance_m
        self.shortened: list[str] = []
        self.split: list[str] = []
        self.thinned: list[str] = []
        self.left_out: list[str] = []

    def run(self, contents: Contents) -> Fitted:
        self.left_out += contents.unread
        self._drop_extensions(contents)
        routes, tracks = self._routes_and_tracks(contents)
        if not (routes or tracks or contents.waypoints):
            raise InputError("nothing is left to write: its routes and tracks have no points")
        routes = self._split_routes(self._named_points(routes, contents.waypoints))
        tracks = self._split_tracks(tracks)
        made = replace(
            contents,
            version=self.limits.gpx_version,
            waypoints=tuple(self._commented(each) for each in self._waypoints),
            routes=self._named_lines(routes, "R"),
            tracks=self._named_lines(tracks, "TR"),
            namespaces=contents.namespaces if self.limits.holds_extensions else (),
            unread=(),
            moved=(),
        )
        return Fitted(contents=made, report=self._report(contents))

    def _report(self, contents: Contents) -> Report:
        return Report(
            shortened=tuple(dict.fromkeys(self.shortened)),
            split=tuple(self.split),
            thinned=tuple(self.thinned),
            moved=contents.moved,
            left_out=tuple(dict.fromkeys(self.left_out)),
        )

    def _drop_extensions(self, contents: Contents) -> None:
        if contents.namespaces and not self.limits.holds_extensions:
            self.left_out.append(f"extension elements of {', '.join(contents.namespaces)}")

    # Tracks

    def _routes_and_tracks(self, contents: Contents) -> tuple[list[Route], list[Track]]:
        routes = [each for each in contents.routes if each.points]
        self._left_empty("route", len(contents.routes) - len(routes))
        found = [_without_empty_segments(each) for each in contents.tracks]
        tracks = [each for each in found if each.segments]
        self._left_empty("track", len(found) - len(tracks))
        fate = self.limits.tracks
        if fate == "auto":
            fate = "keep" if routes else "route"
        if fate == "drop":
            self.left_out += [f"track {_quoted(each.name)}" for each in tracks]
            return routes, []
        thin = [self._thin(each) for each in tracks]
        if fate == "keep":
            return routes, thin
        return routes + [route for each in thin for route in self._as_routes(each)], []

    def _left_empty(self, kind: str, number: int) -> None:
        if number:
            self.left_out.append(f"{number} {kind}{'s' if number > 1 else ''} without points")

    def _as_routes(self, track: Track) -> list[Route]:
        self.left_out.append(
            f"track {_quoted(track.name)} as a track: it is written as a route, its times with it"
        )
        return [
            Route(
                name=track.name,
                comment=track.comment,
                description=track.description,
                points=tuple(replace(each, time=None) for each in segment),
            )
            for segment in track.segments
        ]

    def _thin(self, track: Track) -> Track:
        thin = tuple(_thinned(each, self.tolerance_m) for each in track.segments)
        before, after = sum(map(len, track.segments)), sum(map(len, thin))
        if after < before:
            self.thinned.append(
                f"track {_quoted(track.name)} from {before} points to {after}, "
                f"within {self.tolerance_m:g} m"
            )
        return replace(track, segments=thin)

    def _split_tracks(self, tracks: Sequence[Track]) -> list[Track]:
        parts: list[Track] = []
        most = self.limits.track_points
        for track in tracks:
            if sum(map(len, track.segments)) <= most:
                parts.append(track)
                continue
            pieces = [piece for each in track.segments for piece in _overlapping(each, most)]
            parts += [replace(track, segments=(piece,)) for piece in pieces]
            self._tell_split("track", track.name, sum(map(len, track.segments)), len(pieces), most)
        return [replace(each, segments=_bare(each.segments)) for each in parts]

    # Routes

    def _split_routes(self, routes: Sequence[Route]) -> list[Route]:
        parts: list[Route] = []
        most = self.limits.points
        for route in routes:
            pieces = _overlapping(route.points, most)
            parts += [replace(route, points=each) for each in pieces]
            if len(pieces) > 1:
                self._tell_split("route", route.name, len(route.points), len(pieces), most)
        return parts

    def _tell_split(self, kind: str, name: str | None, total: int, parts: int, most: int) -> None:
        self.split.append(
            f"{kind} {_quoted(name)} of {total} points into {parts} of at most {most}, "
            "each beginning where the one before ends"
        )

    # Names and texts

    def _named_points(self, routes: Sequence[Route], waypoints: Sequence[Point]) -> list[Route]:
        """Name all points: one name for one place that says one thing, wherever it stands.

        A receiver that keeps waypoints by name keeps the last of a name: of a mark that is
        passed twice, the first orders would be lost.
        """
        every = [*(p for route in routes for p in route.points), *waypoints]
        keys = list(dict.fromkeys(map(_said_there, every)))
        given = self._give([key.name for key in keys], "WP")
        short = dict(zip(keys, given, strict=True))

        def named(point: Point) -> Point:
            return replace(point, name=short[_said_there(point)])

        for key, name in short.items():
            self._tell_name("name", key.name, name)
        self._waypoints = [self._without_extensions(named(each)) for each in waypoints]
        return [
            replace(
                route,
                points=tuple(
                    self._commented(self._without_extensions(named(each))) for each in route.points
                ),
            )
            for route in routes
        ]

    def _without_extensions(self, point: Point) -> Point:
        return point if self.limits.holds_extensions else replace(point, extensions=())

    def _give(self, names: Sequence[str | None], stem: str) -> tuple[str, ...]:
        limits = self.limits
        names_in_use = ShortNames(length=limits.name_length, charset=limits.characters, stem=stem)
        return names_in_use.give(names)

    def _tell_name(self, what: str, old: str | None, new: str) -> None:
        if old == new:
            return
        line = f"{what} {_quoted(old)} → {new}"
        if old and not knows_other_scripts() and not to_ascii(old).strip():
            line += ' (pip install ".[handheld]" in Goosewing\'s folder spells other scripts)'
        self.shortened.append(line)

    def _named_lines(self, lines: Sequence[Any], stem: str) -> tuple[Any, ...]:
        kind = "route" if stem == "R" else "track"
        given = self._give([each.name for each in lines], stem)
        for line, name in zip(lines, given, strict=True):
            self._tell_name(f"{kind} name", line.name, name)
        return tuple(
            self._commented(replace(line, name=name))
            for line, name in zip(lines, given, strict=True)
        )

    def _commented(self, record: Any) -> Any:
        # A handheld GPS shows the comment and hides the description.
        if isinstance(record, Point) and record.told is not None:
            comment = self._orders(record.told, record.name or "")
            own = "; ".join(filter(None, map(_one_line, (record.description, record.comment))))
            description = self._brief("description", own, record.name or "") or comment
        else:
            shorten = self._brief if isinstance(record, Point) else self._spelled
            description = shorten("description", record.description, record.name)
            comment = shorten("comment", record.comment, record.name) or description
        kept = replace(record, comment=comment, description=description)
        if not isinstance(kept, Point):
            return kept
        return replace(kept, symbol=_one_line(kept.symbol), kind=_one_line(kept.kind))

    def _brief(self, what: str, text: str | None, name: str) -> str | None:
        if not text or not text.strip():
            return None
        return self._shortened(f"{what} of {name}", text, brief(text, self.limits))

    def _spelled(self, what: str, text: str | None, name: str) -> str | None:
        """Keep what a route or track says whole, in ASCII: the length is that of points' texts."""
        if not text or not text.strip() or not self.limits.comment_length:
            return None
        return self._shortened(f"{what} of {name}", text, _plain(text))

    def _orders(self, told: Briefing, name: str) -> str | None:
        new = brief_orders(told, self.limits)
        return self._shortened(f"comment of {name}", sentence(told), new)

    def _shortened(self, what: str, text: str, new: str) -> str | None:
        old = " ".join(text.split())
        if new.casefold() != old.casefold():
            self.shortened.append(f"{what} {_quoted(old)} → {_quoted(new or None)}")
        return new or None


def with_cautions(contents: Contents) -> Contents:
    """Add the cautions to what a file says of itself, unless a plan has said them there."""
    text = contents.description
    if text is not None and all(each in text for each in CAUTIONS[1:]):
        return contents
    return replace(contents, description=" ".join(filter(None, (text, *CAUTIONS))))


class _SaidThere(NamedTuple):
    """What makes two points of a receiver's list one."""

    name: str | None
    lat: float
    lon: float
    texts: tuple[str | None, ...]
    told: Briefing | None


def _said_there(point: Point) -> _SaidThere:
    texts = (point.comment, point.description, point.symbol, point.kind)
    return _SaidThere(point.name, point.lat, point.lon, texts, point.told)


def brief(text: str, limits: Limits) -> str:
    """Cut a comment to its length, in ASCII.

    Examples
    --------
    >>> brief("the lit buoy off the harbour", Limits())
    'THE LIT BUOY OFF'
    """
    return _cased(_cut(text, limits), limits)


def brief_orders(told: Briefing, limits: Limits) -> str:
    """Say within a comment's length what a plan tells the helm.

    Examples
    --------
    >>> from goosewing.words.points import Steering
    >>> held = Steering(tack="port", sail_set="main and jib", heading_deg=48.0,
    ...                 heading_magnetic_deg=44.0, heading_compass_deg=46.0)
    >>> brief_orders(Briefing(kinds=("tack",), steering=held), Limits())
    'TACK P 046C'
    """
    full = sentence(told)
    if len(_plain(full)) <= limits.comment_length:
        return brief(full, limits)
    return _cased(compact(told, limits.comment_length) or _cut(full, limits), limits)


def _plain(text: str) -> str:
    return " ".join(to_ascii(text).split())


def _cut(text: str, limits: Limits) -> str:
    return _plain(text)[: limits.comment_length].strip()


def _cased(text: str, limits: Limits) -> str:
    return text if set("abc") & set(limits.characters) else text.upper()


def _one_line(text: str | None) -> str | None:
    return " ".join(text.split()) or None if text else None


def _quoted(text: str | None) -> str:
    # Other people's words, on a terminal: of no length, and steering nothing.
    return f'"{plain_name(text, LONGEST_TOLD)}"' if text and text.strip() else "(none)"


# Lines -------------------------------------------------------------------------------------


def _overlapping(points: Sequence[Point], most: int) -> list[tuple[Point, ...]]:
    """Cut into parts of at most `most`, each beginning with the last point of the one before."""
    if len(points) <= most:
        return [tuple(points)]
    starts = range(0, len(points) - 1, most - 1)
    return [tuple(points[start : start + most]) for start in starts]


def _without_empty_segments(track: Track) -> Track:
    return replace(track, segments=tuple(each for each in track.segments if each))


def _bare(segments: Iterable[tuple[Point, ...]]) -> tuple[tuple[Point, ...], ...]:
    """Leave place, time and height: a receiver knows no more of a track."""
    return tuple(
        tuple(
            Point(lat=each.lat, lon=each.lon, time=each.time, elevation=each.elevation)
            for each in segment
        )
        for segment in segments
    )


def _thinned(points: tuple[Point, ...], tolerance_m: float) -> tuple[Point, ...]:
    if len(points) < 3:
        return points
    kept = thin([each.lat for each in points], [each.lon for each in points], tolerance_m)
    return tuple(points[at] for at in kept)


def thin(lat: Sequence[float], lon: Sequence[float], tolerance_m: float) -> tuple[int, ...]:
    """Choose the points of a line that must stay for it to keep its shape.

    Parameters
    ----------
    lat, lon : sequence of float, shape (n,)
        The line; it may cross the antimeridian. [°]
    tolerance_m : float
        How far any point may lie from the rhumb lines between those that stay. [m]

    Returns
    -------
    tuple of int
        Their indices, ascending; the first and last always stay.

    Notes
    -----
    Douglas and Peucker's method, as shapely has it, in the ellipsoidal Mercator
    plane, where rhumb lines are straight. A metre there is at its longest
    nearest the equator; measured in metres of that latitude, no distance is
    longer on the earth than in the plane.

    Examples
    --------
    >>> thin([57.0, 57.0001, 57.2, 57.2], [11.0, 11.0, 11.0, 11.5], 20.0)
    (0, 2, 3)
    """
    from shapely import LineString

    plane = _plane_m(np.asarray(lat, dtype=np.float64), np.asarray(lon, dtype=np.float64))
    line = LineString(plane).simplify(tolerance_m, preserve_topology=False)
    stay = np.asarray(line.coords)
    return _indices(plane, stay)


def _plane_m(lat: Array, lon: Array) -> Array:
    # Short of the poles, whose northing is infinite.
    capped = np.clip(lat, -89.9, 89.9)
    east = np.unwrap(lon, period=360.0)
    one_side = bool(np.all(capped > 0.0) or np.all(capped < 0.0))
    nearest = float(np.min(np.abs(capped))) if one_side else 0.0
    metres = _metres_per_degree_of_longitude(nearest)
    return np.column_stack([east - east[0], isometric_latitude(capped)]) * metres


def _metres_per_degree_of_longitude(lat_deg: float) -> float:
    sine = math.sin(math.radians(lat_deg))
    curved = math.sqrt(1.0 - FLATTENING * (2.0 - FLATTENING) * sine * sine)
    radius_m = EQUATORIAL_RADIUS_NM * METRES_PER_NM * math.cos(math.radians(lat_deg)) / curved
    return math.radians(radius_m)


def _indices(plane: Array, stay: Array) -> tuple[int, ...]:
    """Find the points that stayed, in order."""
    found: list[int] = []
    at = 0
    for place in stay[:-1]:
        while not np.array_equal(plane[at], place):
            at += 1
        found.append(at)
        at += 1
    return (*found, len(plane) - 1)


# Checking ----------------------------------------------------------------------------------


def check(contents: Contents, limits: Limits) -> tuple[str, ...]:
    """Say why contents don't fit a receiver, a line each; empty if they fit.

    Parameters
    ----------
    contents : Contents
        What was read.
    limits : Limits
        What the receiver takes.
    """
    return (
        *_check_file(contents, limits),
        *_check_lines(contents, limits),
        *_check_names(contents, limits),
        *_check_comments(contents, limits),
    )


def _check_file(contents: Contents, limits: Limits) -> Iterable[str]:
    if contents.version != limits.gpx_version:
        yield f"it is GPX {contents.version}, the receiver reads {limits.gpx_version}"
    if contents.namespaces and not limits.holds_extensions:
        yield f"it holds extension elements of {', '.join(contents.namespaces)}"
    yield from contents.moved
    if not (contents.waypoints or contents.routes or contents.tracks):
        yield "it holds neither route nor waypoint nor track"


def _check_lines(contents: Contents, limits: Limits) -> Iterable[str]:
    for route in contents.routes:
        if not route.points:
            yield f"route {_quoted(route.name)} has no points"
        total = len(route.points)
        if total > limits.points:
            yield f"route {_quoted(route.name)} has {total} points, over {limits.points}"
    for track in contents.tracks:
        total = sum(map(len, track.segments))
        if total > limits.track_points:
            yield f"track {_quoted(track.name)} has {total} points, over {limits.track_points}"
    if contents.tracks and limits.tracks == "drop":
        yield "it holds tracks, the receiver takes none"


def _check_names(contents: Contents, limits: Limits) -> Iterable[str]:
    points = [*contents.waypoints, *(p for route in contents.routes for p in route.points)]
    nameless = sum(1 for each in points if not (each.name or "").strip())
    if nameless:
        yield f"{nameless} point{'s have' if nameless > 1 else ' has'} no name"
    for kind, lines in (("route", contents.routes), ("track", contents.tracks)):
        names = [each.name or "" for each in lines]
        if "" in names:
            yield f"a {kind} has no name"
        yield from _check_each_name([n for n in names if n], f"{kind} name", limits)
        yield from _repeated(((n, at) for at, n in enumerate(names) if n), f"{kind}s")
    yield from _check_each_name([p.name for p in points if p.name], "name", limits)
    yield from _repeated(((p.name, p.place) for p in points if p.name), "places")
    yield from _says_two_things(points)


def _check_each_name(names: Sequence[str], what: str, limits: Limits) -> Iterable[str]:
    for name in dict.fromkeys(names):
        if len(name) > limits.name_length:
            yield f"{what} {_quoted(name)} has {len(name)} characters, over {limits.name_length}"
        elif not fits(name, limits.name_length, limits.characters):
            yield f"{what} {_quoted(name)} holds other characters than {limits.charset}"


def _repeated(pairs: Iterable[tuple[str, Any]], what: str) -> Iterable[str]:
    seen: dict[str, set[Any]] = {}
    for name, place in pairs:
        seen.setdefault(name.casefold(), set()).add(place)
    for name, places in seen.items():
        if len(places) > 1:
            yield f"{len(places)} {what} are called {_quoted(name.upper())}"


def _says_two_things(points: Iterable[Point]) -> Iterable[str]:
    """Find places of one name whose texts differ: a receiver that keeps one loses the others."""
    seen: dict[tuple[str, tuple[float, float]], set[str | None]] = {}
    for point in points:
        if point.name:
            seen.setdefault((point.name.casefold(), point.place), set()).add(point.comment)
    for (name, _), comments in seen.items():
        if len(comments) > 1:
            yield f"{_quoted(name.upper())} stands {len(comments)} times with other comments"


def _check_comments(contents: Contents, limits: Limits) -> Iterable[str]:
    points = [*contents.waypoints, *(p for route in contents.routes for p in route.points)]
    lines: list[Any] = [*contents.routes, *contents.tracks]
    texts, of_lines = (
        {t for each in records for t in (each.comment, each.description) if t}
        for records in (points, lines)
    )
    long = [each for each in texts if len(each) > limits.comment_length]
    if long:
        longest = max(map(len, long))
        yield (f"comments of up to {longest} characters, over {limits.comment_length}: {len(long)}")
    if not all(each.isascii() for each in texts | of_lines):
        yield "comments hold characters outside ASCII"
