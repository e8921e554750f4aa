"""A plan as the contents of a handheld GPS's file, straight from its records."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from goosewing.earth.angles import wrap_longitude
from goosewing.exchange.document import format_time
from goosewing.exchange.gpx.elements import with_own
from goosewing.exchange.gpx.kept import Kept, kept_of
from goosewing.exchange.handheld.routes import PRESETS, Contents, Point, Route, Track, fit
from goosewing.files.gpx import split_name
from goosewing.turns import stops
from goosewing.words.points import briefing
from goosewing.words.titles import about, layline_titles, left_on_a_hand, length, route_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from goosewing.exchange.handheld.routes import Fitted, Limits
    from goosewing.records import Fix, Layline, Mark, Plan
    from goosewing.turns import Stop


def fit_plan(plan: Plan, limits: Limits = PRESETS["small"]) -> Fitted:
    """Make a plan fit a receiver: its route, its laylines, and marks that are passed by.

    Parameters
    ----------
    plan : Plan
        With a mark at each end of every leg, its turns named.
    limits : Limits
        What the receiver takes.

    Raises
    ------
    InputError
        If the names can't all be different within the limits.
    """
    return fit(contents_of(plan), limits)


def contents_of(plan: Plan) -> Contents:
    """Return route, laylines and marks of a plan, as if read from a file.

    Parameters
    ----------
    plan : Plan
        With a mark at each end of every leg.
    """
    kept = [kept_of(mark) for mark in plan.marks]
    laylines = [line for leg in plan.legs for line in leg.laylines]
    named = zip(laylines, layline_titles(laylines), strict=True)
    points = tuple(_route_point(stop, plan.departure) for stop in stops(plan))
    aside = [*left_on_a_hand(plan), *plan.dangers]
    says, comment = with_own(length(plan), plan.route.description, plan.route.comment)
    route = Route(name=route_name(plan), description=says, comment=comment, points=points)
    return Contents(
        name=route.name,
        description=about(plan),
        waypoints=tuple(map(_waypoint, aside)),
        routes=(route,),
        tracks=tuple(_track(line, name) for line, name in named),
        namespaces=tuple(dict.fromkeys(_namespaces(kept))),
        unread=tuple(dict.fromkeys(_unread(kept))),
    )


def _route_point(stop: Stop, departure: datetime) -> Point:
    own: dict[str, Any] = {"name": stop.name, "kind": stop.kind}
    if stop.mark is not None:
        own = _of_mark(stop.mark)
    return Point(
        lat=stop.lat,
        lon=float(wrap_longitude(stop.lon)),
        time=None if stop.time is None else format_time(stop.time),
        told=briefing(stop, departure),
        **own,
    )


def _waypoint(mark: Mark) -> Point:
    return Point(lat=mark.lat, lon=float(wrap_longitude(mark.lon)), **_of_mark(mark))


def _of_mark(mark: Mark) -> dict[str, Any]:
    kept = kept_of(mark)
    return {
        "name": mark.name,
        "description": mark.description,
        "comment": mark.comment,
        "symbol": mark.symbol,
        "kind": mark.kind,
        "elevation": dict(kept.fields).get("ele"),
        "extensions": kept.extensions,
    }


def _track(layline: Layline, name: str) -> Track:
    return Track(name=name, segments=(tuple(map(_track_point, layline.points)),))


def _track_point(fix: Fix) -> Point:
    time = None if fix.time is None else format_time(fix.time)
    return Point(lat=fix.lat, lon=float(wrap_longitude(fix.lon)), time=time)


def _namespaces(kept: Sequence[Kept]) -> Iterator[str]:
    for each in kept:
        yield from (split_name(element.tag)[0] for element in each.extensions)


def _unread(kept: Sequence[Kept]) -> Iterator[str]:
    """Name what marks brought that no such receiver uses."""
    for each in kept:
        yield from (f"{tag} of route points" for tag, _ in each.fields if tag != "ele")
        if each.links:
            yield "link of route points"
