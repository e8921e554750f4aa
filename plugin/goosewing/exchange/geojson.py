"""A plan as GeoJSON (RFC 7946): one FeatureCollection.

Every feature's property ``feature`` says what it is: ``mark``, ``manoeuvre`` and
``order`` (what else is steered along a board) are points, ``board``, ``layline`` and ``band``
(an edge of a layline's band in shifty wind, ``edge`` telling which) lines;
the other properties are those of the plan's JSON document. Lines that cross the
antimeridian are cut there (section 3.1.9). Between two positions a GeoJSON line is straight in
longitude and latitude (section 3.1.1), which a chart in Mercator's projection
draws a little beside the rhumb line sailed.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

from goosewing.earth.angles import wrap_longitude
from goosewing.exchange.document import plain
from goosewing.records import Board, BoardPoint, Fix, Layline, Leg, Mark, Plan

FORMAT = "goosewing.geojson/1"

DECIMALS = 7
"""1e-7° of latitude is 11 mm."""

_ELSEWHERE = frozenset({"lat", "lon", "points", "manoeuvres", "orders"})
"""What the geometry says, or a feature of its own."""


def plan_features(plan: Plan) -> dict[str, Any]:
    """Return a plan as a FeatureCollection, in plain JSON values.

    Parameters
    ----------
    plan : Plan
        The plan; its conditions, notices and cautions become foreign members.
    """
    return {
        "type": "FeatureCollection",
        "format": FORMAT,
        "boat": plan.boat,
        "departure": plain(plan.departure),
        "arrival": plain(plan.arrival),
        "features": [
            *map(_mark, plan.marks),
            *_features_of_legs(plan.legs),
            *_features_of_bands(plan),
        ],
        "conditions": plan.conditions,
        "notices": list(plan.notices),
        "cautions": list(plan.cautions),
    }


def format_geojson(plan: Plan) -> str:
    """Write `plan_features` as text; equal plans give equal text."""
    return json.dumps(plan_features(plan), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _mark(mark: Mark) -> dict[str, Any]:
    return _feature("mark", _point(mark.lat, mark.lon), plain(mark))


def _features_of_legs(legs: Sequence[Leg]) -> Iterator[dict[str, Any]]:
    for number, leg in enumerate(legs, 1):
        of_leg = {"leg": number, "from": leg.origin, "to": leg.destination}
        for board in leg.boards:
            yield _feature("board", _board_line(board), of_leg | plain(board))
        for board in leg.boards:
            for turn in board.manoeuvres:
                at = of_leg | plain(turn) | {"point": board.point}
                yield _feature("manoeuvre", _point(turn.lat, turn.lon), at)
            for order in board.orders[1:]:
                yield _feature("order", _point(order.lat, order.lon), of_leg | plain(order))
        for line in leg.laylines:
            yield _feature("layline", _layline(line), of_leg | plain(line))


def _features_of_bands(plan: Plan) -> Iterator[dict[str, Any]]:
    for band in () if plan.chances is None else plan.chances.bands:
        for edge, points in (("backed", band.backed), ("veered", band.veered)):
            line = line_geometry([(each.lat, each.lon) for each in points])
            told = {"mark": band.mark, "tack": band.tack, "sail_set": band.sail_set}
            yield _feature("band", line, told | {"edge": edge})


def _feature(kind: str, geometry: dict[str, Any], properties: dict[str, Any]) -> dict[str, Any]:
    kept = {name: value for name, value in properties.items() if name not in _ELSEWHERE}
    return {"type": "Feature", "geometry": geometry, "properties": {"feature": kind, **kept}}


def _board_line(board: Board) -> dict[str, Any]:
    points: Sequence[BoardPoint | Fix] = board.points
    return line_geometry([(p.lat, p.lon) for p in _at_least_two(points, board.start, board.end)])


def _layline(layline: Layline) -> dict[str, Any]:
    return line_geometry([(each.lat, each.lon) for each in layline.points])


def _at_least_two(
    points: Sequence[BoardPoint | Fix], start: Fix, end: Fix
) -> Sequence[BoardPoint | Fix]:
    return points if len(points) > 1 else (start, end)


def _point(lat: float, lon: float) -> dict[str, Any]:
    return {"type": "Point", "coordinates": _position(lat, float(wrap_longitude(lon)))}


def _position(lat: float, lon: float) -> list[float]:
    return [round(lon, DECIMALS) + 0.0, round(lat, DECIMALS) + 0.0]


def line_geometry(positions: Sequence[tuple[float, float]]) -> dict[str, Any]:
    """Return a line as LineString, or cut at the antimeridian as MultiLineString.

    Parameters
    ----------
    positions : sequence of (lat, lon)
        Two or more; from each to the next the shorter way round. [°]

    Examples
    --------
    >>> line_geometry([(10.0, 179.0), (12.0, -179.0)])["coordinates"]
    [[[179.0, 10.0], [180.0, 11.0]], [[-180.0, 11.0], [-179.0, 12.0]]]
    """
    parts = _cut(_unrolled(positions))
    if len(parts) == 1:
        return {"type": "LineString", "coordinates": parts[0]}
    return {"type": "MultiLineString", "coordinates": parts}


def _unrolled(positions: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Let longitudes run on past the antimeridian instead of jumping."""
    found: list[tuple[float, float]] = []
    for lat, lon in positions:
        east = float(wrap_longitude(lon))
        if found:
            east += 360.0 * round((found[-1][1] - east) / 360.0)
        found.append((lat, east))
    return found


def _cut(line: Sequence[tuple[float, float]]) -> list[list[list[float]]]:
    pieces: list[list[tuple[float, float]]] = [[line[0]]]
    for start, end in pairwise(line):
        for crossing in _crossings(start, end):
            if crossing != start:
                pieces[-1].append(crossing)
            pieces.append([crossing])
        pieces[-1].append(end)
    whole = [piece for piece in pieces if len(piece) > 1]
    return [_in_one_world(piece) for piece in _merged(whole)]


def _merged(
    pieces: Sequence[list[tuple[float, float]]],
) -> Iterator[list[tuple[float, float]]]:
    """Join again what only touched the antimeridian and turned back."""
    current = pieces[0]
    for piece in pieces[1:]:
        if _turns(piece) == _turns(current):
            current = current + piece[1:]
        else:
            yield current
            current = piece
    yield current


def _crossings(start: tuple[float, float], end: tuple[float, float]) -> list[tuple[float, float]]:
    """Return where a stretch passes, or leaves, the antimeridian."""
    (lat, lon), (end_lat, end_lon) = start, end
    # No stretch is longer than half a turn, so it meets one antimeridian at most.
    west, east = sorted((lon, end_lon))
    meridian = 360.0 * math.floor((east + 180.0) / 360.0) - 180.0
    if not west <= meridian <= east or west == east or meridian == end_lon:
        return []
    share = (meridian - lon) / (end_lon - lon)
    return [(lat + share * (end_lat - lat), meridian)]


def _in_one_world(piece: Sequence[tuple[float, float]]) -> list[list[float]]:
    turns = 360.0 * _turns(piece)
    return [_position(lat, lon - turns) for lat, lon in piece]


def _turns(piece: Sequence[tuple[float, float]]) -> int:
    """Return how many times round the earth a piece between antimeridians lies."""
    middle = (min(lon for _, lon in piece) + max(lon for _, lon in piece)) / 2.0
    return math.floor((middle + 180.0) / 360.0)
