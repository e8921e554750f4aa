"""The rim towards a Signal K host: its paths, units and shapes, in and out.

In: values in SI units and radians become `Reading`. Out: a plan becomes resources
(routes, waypoints, notes, laylines), figures become values on ``performance.*`` and
``navigation.racing.*``.

Two rules are kept here. Nothing is written that an autopilot could follow: no course,
no destination, no heading to steer, no ``steering.*``; a course is set by the crew's
own hand on the host. And nothing computed is written on a path that is measured: no
position, no wind, no current, so that no forecast is taken for a sensor.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from goosewing.errors import InputError
from goosewing.exchange.document import format_seconds, format_time, plan_document
from goosewing.live.core.orders import turn_words
from goosewing.live.core.state import Outlook, Reading, Route
from goosewing.marks.from_here import named_apart
from goosewing.records import Mark, Value
from goosewing.turns import stops
from goosewing.units import METRES_PER_NM, METRES_PER_SECOND_PER_KNOT
from goosewing.weather.base import hours_from_datetime
from goosewing.weather.table import parse_time
from goosewing.words.points import stop_sentence

if TYPE_CHECKING:
    from goosewing.live.core.state import Event, Figures, Status
    from goosewing.records import Layline, LaylineBand, Plan
    from goosewing.turns import Stop

DEGREES = 180.0 / math.pi
KNOTS = 1.0 / METRES_PER_SECOND_PER_KNOT

PATHS: Mapping[str, tuple[str, float]] = {
    "navigation.speedOverGround": ("sog_kn", KNOTS),
    "navigation.courseOverGroundTrue": ("cog_deg", DEGREES),
    "navigation.speedThroughWater": ("stw_kn", KNOTS),
    "navigation.headingTrue": ("heading_deg", DEGREES),
    "navigation.headingMagnetic": ("heading_magnetic_deg", DEGREES),
    "navigation.magneticVariation": ("variation_deg", DEGREES),
    "navigation.leewayAngle": ("leeway_deg", DEGREES),
    "environment.wind.angleApparent": ("awa_deg", DEGREES),
    "environment.wind.speedApparent": ("aws_kn", KNOTS),
    "environment.wind.angleTrueWater": ("twa_deg", DEGREES),
    "environment.wind.speedTrue": ("tws_kn", KNOTS),
    "environment.wind.directionTrue": ("twd_deg", DEGREES),
    "environment.wind.directionMagnetic": ("twd_magnetic_deg", DEGREES),
    "environment.wind.angleTrueGround": ("ground_wind_deg", DEGREES),
    "environment.wind.speedOverGround": ("ground_wind_kn", KNOTS),
}
"""Paths that are read: the name inside, and the factor from SI."""

SAILS = "sails.inventory."


# ---- in -----------------------------------------------------------------------------


def seconds(text: Any) -> float:
    """Read a time as seconds since 1970-01-01T00:00Z.

    Raises
    ------
    InputError
        If it is no time with a zone.

    Examples
    --------
    >>> seconds("1970-01-01T00:01:00.500Z")
    60.5
    """
    if not isinstance(text, str):
        raise InputError(f"expected a time like 2027-06-01T06:00:00Z, got {text!r}")
    time = hours_from_datetime(parse_time(text)) * 3600.0
    return round(time, 3)


def reading(time: Any, source: Any, values: Any) -> Reading:
    """Turn the values of one source into a reading; paths that are not used are passed over.

    Raises
    ------
    InputError
        If the time is none, or the values are no list of paths with values.
    """
    if not isinstance(values, list) or not all(isinstance(each, dict) for each in values):
        raise InputError("expected values as a list of {path, value}")
    found = [pair for each in values for pair in _pairs(each.get("path"), each.get("value"))]
    return Reading(time_s=seconds(time), source=str(source or "?"), values=tuple(found))


def _pairs(path: Any, value: Any) -> list[tuple[str, Value]]:
    if not isinstance(path, str):
        raise InputError(f"expected a path, got {path!r}")
    if path in PATHS:
        name, factor = PATHS[path]
        return [(name, None if value is None else _number(value) * factor)]
    if path == "navigation.position":
        return [("position", _position(value))]
    if path == "environment.current":
        return _current(value)
    if path.startswith(SAILS):
        return _sail(path.removeprefix(SAILS), value)
    return []


def _number(value: Any) -> float:
    """Return a number, NaN for whatever else stood there: the core leaves that aside."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return math.nan
    try:
        return float(value)
    except OverflowError:
        return math.nan


def _position(value: Any) -> Value:
    if not isinstance(value, dict):
        return None if value is None else (math.nan, math.nan)
    if value.get("latitude") is None or value.get("longitude") is None:
        return None
    return _number(value["latitude"]), _number(value["longitude"])


def _current(value: Any) -> list[tuple[str, Value]]:
    if not isinstance(value, dict):
        return [("set_deg", None), ("drift_kn", None)]
    setting, drift = value.get("setTrue"), value.get("drift")
    return [
        ("set_deg", None if setting is None else _number(setting) * DEGREES),
        ("drift_kn", None if drift is None else _number(drift) * KNOTS),
    ]


def _sail(name: str, value: Any) -> list[tuple[str, Value]]:
    """Take a sail's record, or its `active` alone: the name she is under, or nothing."""
    if name.endswith(".active"):
        sail = name.removesuffix(".active")
        return [(f"sail:{sail}", sail if value is True else None)]
    if isinstance(value, dict) and "active" in value:
        title = value.get("name")
        label = title if isinstance(title, str) else name
        return [(f"sail:{name}", label if value["active"] is True else None)]
    return []


def route(message: Mapping[str, Any]) -> Route:
    """Read the route of a ``plan`` message.

    Raises
    ------
    InputError
        Saying which member is wrong and what was expected.
    """
    points = message.get("points")
    if not isinstance(points, list) or not points:
        raise InputError("plan: expected points, a list of {lat, lon, name}")
    marks = named_apart([_mark(at, point) for at, point in enumerate(points)])
    from_here = message.get("from_here", True)
    if not isinstance(from_here, bool):
        raise InputError(f"plan: from_here must be true or false, got {from_here!r}")
    resume = message.get("resume", True)
    if not isinstance(resume, bool):
        raise InputError(f"plan: resume must be true or false, got {resume!r}")
    following = message.get("next", min(1, len(marks) - 1))
    if isinstance(following, bool) or not isinstance(following, int):
        raise InputError(f"plan: next must be a whole number, got {following!r}")
    if not (0 if from_here else 1) <= following < len(marks):
        raise InputError(f"plan: next must be one of {len(marks)} points, got {following}")
    identity = message.get("id")
    return Route(
        id=str(identity) if identity else "route",
        name=str(message.get("name") or "Plan"),
        marks=marks,
        next=following,
        from_here=from_here,
        resume=resume,
        forecast=_forecast(message.get("forecast")),
    )


def _mark(at: int, point: Any) -> Mark:
    if not isinstance(point, dict):
        raise InputError(f"plan: points[{at}] must be {{lat, lon, name}}, got {point!r}")
    lat, lon = _number(point.get("lat")), _number(point.get("lon"))
    if not (abs(lat) <= 90.0 and abs(lon) <= 360.0):
        raise InputError(f"plan: points[{at}] has no place on earth: {lat}, {lon}")
    return Mark(name=str(point.get("name") or f"Mark {at + 1}"), lat=lat, lon=_east(lon))


def _east(lon: float) -> float:
    return (lon + 180.0) % 360.0 - 180.0


def _forecast(rows: Any) -> tuple[Outlook, ...]:
    if rows is None:
        return ()
    if not isinstance(rows, list):
        raise InputError("plan: forecast must be a list of rows")
    found = [_outlook(at, row) for at, row in enumerate(rows)]
    for at in range(1, len(found)):
        if found[at].time_s <= found[at - 1].time_s:
            raise InputError(f"plan: forecast[{at}]: times must increase")
    return tuple(found)


def _outlook(at: int, row: Any) -> Outlook:
    if not isinstance(row, dict):
        raise InputError(f"plan: forecast[{at}] must be an object, got {row!r}")

    def number(name: str, most: float, *, needed: bool = False) -> float | None:
        if row.get(name) is None and not needed:
            return None
        value = _number(row.get(name))
        if not 0.0 <= value <= most:
            raise InputError(f"plan: forecast[{at}]: {name} must be 0 to {most:g}")
        return value

    drift = number("drift_kn", 30.0)
    return Outlook(
        time_s=seconds(row.get("time")),
        wind_from_deg=number("wind_from_deg", 360.0, needed=True) or 0.0,
        wind_kn=number("wind_kn", 150.0, needed=True) or 0.0,
        gust_kn=number("gust_kn", 150.0),
        set_deg=number("set_deg", 360.0, needed=bool(drift)),
        drift_kn=drift,
    )


# ---- ids ----------------------------------------------------------------------------


def stable_id(*parts: object) -> str:
    """Return an id of the shape of a version 4 UUID that is the same for the same parts.

    Hosts take version 4 only, and an id that stays over re-plans lets the new
    resource replace the old one.

    Examples
    --------
    >>> stable_id("route", "turn", 1)
    '0cef5adc-61ce-4c54-afc5-cb909695600e'
    """
    text = "\x1f".join(str(part) for part in parts)
    digits = list(hashlib.sha256(text.encode()).hexdigest()[:32])
    digits[12] = "4"
    digits[16] = "89ab"[int(digits[16], 16) % 4]
    h = "".join(digits)
    return f"{h[:8]}-{h[8:12]}-{h[12:16]}-{h[16:20]}-{h[20:]}"


# ---- resources ---------------------------------------------------------------------


Resources = dict[tuple[str, str], dict[str, Any]]
"""By kind and id."""


def resources(plan: Plan, of: Route, bands: Sequence[LaylineBand] = ()) -> Resources:
    """Return all that is published of a plan, and of its laylines' bands, by kind and id."""
    found: Resources = {}
    found["routes", stable_id(of.id, "plan", 0)] = _route(plan, of)
    turns = [stop for stop in stops(plan) if stop.mark is None or stop.manoeuvres]
    for number, stop in enumerate(turns):
        name = _name(stop)
        text = stop_sentence(stop, plan.departure)
        identity = stable_id(of.id, "turn", number)
        found["waypoints", identity] = _waypoint(of, stop, name, text)
        found["notes", stable_id(of.id, "note", number)] = _note(of, stop, name, text, identity)
    for number, line in enumerate(line for leg in plan.legs for line in leg.laylines):
        title = f"{line.mark}: {line.tack}-tack layline"
        found["laylines", stable_id(of.id, "layline", number)] = _layline(of, line, title)
        found["routes", stable_id(of.id, "layline as route", number)] = _layline_route(
            of, line, title
        )
    for number, band in enumerate(bands):
        found["regions", stable_id(of.id, "band", number)] = _region(of, band)
    return found


def _name(stop: Stop) -> str:
    """Return what the crew calls a turn: one due at once by its own name, not by its mark's."""
    return stop.point or stop.name or "?"


def _route(plan: Plan, of: Route) -> dict[str, Any]:
    points: list[tuple[float, float, str, str]] = []
    for stop in stops(plan):
        if stop.board is not None:
            start = stop.order or stop.board.start
            words = stop_sentence(stop, plan.departure)
            points.append((start.lat, start.lon, stop.name or "?", words))
    end = plan.legs[-1].boards[-1].end
    points.append((end.lat, end.lon, plan.marks[-1].name, "arrive"))
    meta = [{"name": name, "description": words} for _, _, name, words in points]
    return {
        "name": f"{of.name}: boards",
        "description": f"{plan.conditions} {plan.cautions[0]}".strip(),
        "distance": plan.distance_nm * METRES_PER_NM,
        "feature": {
            "type": "Feature",
            "geometry": _line([(lat, lon) for lat, lon, _, _ in points]),
            "properties": {
                "role": "plan",
                "coordinatesMeta": meta,
                "source": "goosewing",
                "plannedRoute": of.id,
            },
        },
    }


def _region(of: Route, band: LaylineBand) -> dict[str, Any]:
    """Return the region between a band's edges."""
    ring = _line([(each.lat, each.lon) for each in band.outline])["coordinates"]
    return {
        "name": f"{band.mark}: {band.tack}-tack layline in 8 of 10 shifts",
        "description": "Where the mark can just be fetched, by the shifts that were named.",
        "feature": {
            "type": "Feature",
            "geometry": {"type": "Polygon", "coordinates": [ring]},
            "properties": {"role": "layline", "source": "goosewing", "plannedRoute": of.id},
        },
    }


def _line(points: Iterable[tuple[float, float]]) -> dict[str, Any]:
    """Return a LineString of positions."""
    return {
        "type": "LineString",
        "coordinates": [[round(_east(lon), 7), round(lat, 7)] for lat, lon in points],
    }


def _waypoint(of: Route, stop: Stop, name: str, text: str) -> dict[str, Any]:
    assert stop.board is not None
    start = stop.order or stop.board.start
    assert start.time is not None
    kinds = [each.kind for each in stop.manoeuvres]
    return {
        "name": name,
        "description": text,
        "type": kinds[0].replace("_", "-") if kinds else "course-change",
        "feature": {
            "type": "Feature",
            "geometry": {
                "type": "Point",
                "coordinates": [round(_east(start.lon), 7), round(start.lat, 7)],
            },
            "properties": {
                "eta": format_time(start.time),
                "source": "goosewing",
                "plannedRoute": of.id,
            },
        },
    }


def _note(of: Route, stop: Stop, name: str, text: str, waypoint: str) -> dict[str, Any]:
    assert stop.board is not None
    start = stop.order or stop.board.start
    return {
        "title": f"{name}: {'alter course' if stop.order else turn_words(stop.board)}",
        "description": text,
        "mimeType": "text/plain",
        "position": {"latitude": round(start.lat, 7), "longitude": round(_east(start.lon), 7)},
        "properties": {"source": "goosewing", "plannedRoute": of.id, "waypoint": waypoint},
    }


def _layline(of: Route, line: Layline, title: str) -> dict[str, Any]:
    return {
        "name": title,
        "feature": {
            "type": "Feature",
            "geometry": _line([(p.lat, p.lon) for p in line.points]),
            "properties": {
                "mark": line.mark,
                "tack": line.tack,
                "sailSet": line.sail_set,
                "courseOverGroundTrue": line.course_over_ground_deg / DEGREES,
                "source": "goosewing",
                "plannedRoute": of.id,
            },
        },
    }


def _layline_route(of: Route, line: Layline, title: str) -> dict[str, Any]:
    return {
        "name": title,
        "description": "A layline, drawn for displays that know no laylines. Not to be followed.",
        "feature": {
            "type": "Feature",
            "geometry": _line([(p.lat, p.lon) for p in line.points]),
            "properties": {
                "role": "layline",
                "coordinatesMeta": [{"name": title}] * len(line.points),
                "source": "goosewing",
                "plannedRoute": of.id,
            },
        },
    }


def changes(before: Resources, after: Resources) -> list[dict[str, Any]]:
    """Return what must be written and deleted to get from one publication to the next."""
    gone = [
        {"kind": kind, "id": identity, "value": None}
        for kind, identity in before
        if (kind, identity) not in after
    ]
    new = [
        {"kind": kind, "id": identity, "value": value}
        for (kind, identity), value in after.items()
        if before.get((kind, identity)) != value
    ]
    return [*gone, *new]


# ---- figures ------------------------------------------------------------------------


PER_ANGLE, PER_SPEED = 1.0 / DEGREES, 1.0 / KNOTS


def deltas(figures: Figures) -> list[dict[str, Any]]:
    """Return figures as paths with values in SI; null where unknown, so that nothing old stays."""
    f = figures
    beat = f.beat or (None, None, None)
    gybe = f.gybe or (None, None, None)
    values: Sequence[tuple[str, float | None, float]] = (
        ("performance.targetAngle", f.target_angle_deg, PER_ANGLE),
        ("performance.targetSpeed", f.target_speed_kn, PER_SPEED),
        ("performance.beatAngle", beat[0], PER_ANGLE),
        ("performance.beatAngleTargetSpeed", beat[1], PER_SPEED),
        ("performance.beatAngleVelocityMadeGood", beat[2], PER_SPEED),
        ("performance.gybeAngle", gybe[0], PER_ANGLE),
        ("performance.gybeAngleTargetSpeed", gybe[1], PER_SPEED),
        ("performance.gybeAngleVelocityMadeGood", gybe[2], PER_SPEED),
        ("performance.polarSpeed", f.polar_speed_kn, PER_SPEED),
        ("performance.polarSpeedRatio", f.speed_ratio, 1.0),
        ("performance.velocityMadeGood", f.made_good_kn, PER_SPEED),
        ("performance.goosewing.velocityMadeGoodToMark", f.made_good_to_mark_kn, PER_SPEED),
        ("performance.tackTrue", f.opposite_heading_deg, PER_ANGLE),
        ("performance.leeway", f.leeway_deg, PER_ANGLE),
        ("navigation.racing.layline.distance", f.layline_nm, METRES_PER_NM),
        ("navigation.racing.layline.time", f.layline_s, 1.0),
        ("navigation.racing.oppositeLayline.distance", f.opposite_nm, METRES_PER_NM),
        ("navigation.racing.oppositeLayline.time", f.opposite_s, 1.0),
    )
    return [
        *({"path": path, "value": _times(value, factor)} for path, value, factor in values),
        {"path": "performance.goosewing.stream", "value": _stream(f)},
        {"path": "performance.goosewing.nextTurn", "value": _next_turn(f)},
    ]


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def _stream(f: Figures) -> dict[str, Any] | None:
    if f.stream is None:
        return None
    setting, drift, doubt = f.stream
    return {
        "setTrue": setting * PER_ANGLE,
        "drift": drift * PER_SPEED,
        "driftStandardDeviation": doubt * PER_SPEED,
    }


def _next_turn(f: Figures) -> dict[str, Any] | None:
    if f.turn is None:
        return None
    return {
        "name": f.turn,
        "distance": _times(f.turn_nm, METRES_PER_NM),
        "time": f.turn_s,
        "awaitingAcknowledgement": f.awaiting,
    }


# ---- messages -----------------------------------------------------------------------


def event_message(event: Event) -> dict[str, Any]:
    """Return an event as a message of the protocol."""
    return {
        "type": "event",
        "time": format_seconds(event.time_s),
        "kind": event.kind,
        "state": event.severity,
        "message": event.message,
        "values": dict(event.values),
    }


def status_message(status: Status) -> dict[str, Any]:
    """Return a status as a message of the protocol."""
    return {
        "type": "status",
        "time": format_seconds(status.time_s),
        "state": status.state,
        "message": status.message,
        "ages_s": dict(status.ages_s),
    }


def publication(
    reason: str,
    resources_changed: Sequence[Mapping[str, Any]],
    figures: Figures | None,
    plan: Plan | None,
) -> dict[str, Any]:
    """Return a publication as a message of the protocol."""
    return {
        "type": "publish",
        "reason": reason,
        "resources": list(resources_changed),
        "deltas": [] if figures is None else deltas(figures),
        "plan": None if plan is None else plan_document(plan),
    }
