"""The route of a plan written as GPX: its marks and turning points, and when they were due."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from xml.etree.ElementTree import Element

from goosewing.errors import InputError
from goosewing.files.disk import read_bytes, shown
from goosewing.files.xml import parse_xml
from goosewing.logbook.debrief import PlanPoint


def read_plan_points(path: Path) -> tuple[PlanPoint, ...]:
    """Read the points of a plan's route.

    A route that no plan wrote counts as marks alone.

    Raises
    ------
    InputError
        If there is no route in it, or a point makes no sense.
    """
    where = shown(path)
    document = parse_xml(read_bytes(path, "a plan"), where=where, expected="a plan as GPX")
    points = [each for each in document.root.iter() if _local(each) == "rtept"]
    if not points:
        raise InputError("has no route: expected a plan as GPX", where=where)
    return tuple(
        _point(each, f"{where}, line {document.lines[each]}", number)
        for number, each in enumerate(points, 1)
    )


def _local(element: Element) -> str:
    return str(element.tag).rpartition("}")[2]


def _point(element: Element, where: str, number: int) -> PlanPoint:
    try:
        lat, lon = float(element.attrib["lat"]), float(element.attrib["lon"])
    except (KeyError, ValueError):
        raise InputError("expected lat and lon as degrees", where=where) from None
    inside = {_local(each): (each.text or "").strip() for each in element}
    kinds = [each.attrib.get("kind") for each in element.iter() if _local(each) == "point"]
    return PlanPoint(
        name=inside.get("name") or f"point {number}",
        lat=lat,
        lon=lon,
        time=_time(inside.get("time"), where),
        mark="turn" not in kinds,
    )


def _time(text: str | None, where: str) -> datetime | None:
    if not text:
        return None
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        time = None
    if time is None or time.utcoffset() is None:
        raise InputError(f'expected an ISO 8601 time with its zone, got "{text[:30]}"', where=where)
    return time.astimezone(UTC)
