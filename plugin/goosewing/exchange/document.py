"""A plan as one JSON document, and back.

`document` turns any of the records into plain JSON values under a named,
versioned format; it serves every document that the project writes. Positions
are ``{"lat", "lon"}`` in degrees, times UTC to the whole second with a ``Z``,
unknown is null. Numbers are written in full: only times are rounded here.
"""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, TypeVar

import msgspec

from goosewing.errors import InputError
from goosewing.files.disk import read_bytes, shown, write_atomically
from goosewing.records import Board, Departure, Leg, Manoeuvre, Mark, Plan
from goosewing.turns import names, numbered

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

PLAN_FORMAT = "goosewing.plan/1"
LAYLINES_FORMAT = "goosewing.laylines/1"
TARGETS_FORMAT = "goosewing.targets/1"
WEATHER_FORMAT = "goosewing.weather/1"
SHIFTS_FORMAT = "goosewing.shifts/1"
DEPARTURES_FORMAT = "goosewing.departures/1"
BOAT_FIT_FORMAT = "goosewing.boat-fit/1"
DEBRIEF_FORMAT = "goosewing.debrief/1"
LEEWAY_FORMAT = "goosewing.leeway/1"
BOAT_ESTIMATE_FORMAT = "goosewing.boat-estimate/1"
BOAT_CHECK_FORMAT = "goosewing.boat-check/1"

# A record's field is called otherwise in the document where the document's word
# is not one that Python allows.
_WRITTEN_AS: dict[type, dict[str, str]] = {Leg: {"origin": "from", "destination": "to"}}

# What a record works out from its fields and its document tells as well, behind the field named.
_DERIVED: dict[type, dict[str, str]] = {Leg: {"boards": "manoeuvres"}}

# What only the exchange module that filled it understands.
# Nor is a departure's plan written with it: the departure is planned again at will.
_LEFT_OUT: dict[type, frozenset[str]] = {
    Mark: frozenset({"extras"}),
    Departure: frozenset({"plan"}),
}

_Value = TypeVar("_Value")


def whole_second(time: datetime) -> datetime:
    """Return a time in UTC, rounded to the nearest second.

    Raises
    ------
    InputError
        If it carries no zone.
    """
    if time.utcoffset() is None:
        raise InputError(f"a time must carry its zone, got {time.isoformat()}")
    return (time.astimezone(UTC) + timedelta(milliseconds=500)).replace(microsecond=0)


def format_time(time: datetime) -> str:
    """Write a time as ISO 8601 in UTC, to the nearest second.

    Examples
    --------
    >>> from datetime import datetime, timezone
    >>> format_time(datetime(2027, 6, 1, 5, 59, 59, 600_000, tzinfo=timezone.utc))
    '2027-06-01T06:00:00Z'
    """
    return f"{whole_second(time).replace(tzinfo=None).isoformat()}Z"


def format_seconds(time_s: float) -> str:
    """Write seconds since 1970-01-01T00:00Z as ISO 8601, to the millisecond.

    Examples
    --------
    >>> format_seconds(60.5)
    '1970-01-01T00:01:00.500Z'
    """
    text = datetime.fromtimestamp(round(time_s, 3), tz=UTC).isoformat(timespec="milliseconds")
    return text.replace("+00:00", "Z")


def plain(value: Any) -> Any:
    """Turn a record, or anything made of records, into plain JSON values.

    Parameters
    ----------
    value : Any
        Records, mappings, sequences, times, numbers (NumPy's too), text, None.

    Raises
    ------
    ValueError
        If a number isn't finite: nothing in a document may be "not a number".
    TypeError
        If a value is of none of these kinds.
    """
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        return _finite(float(value))
    if isinstance(value, datetime):
        return format_time(value)
    if is_dataclass(value):
        return _plain_record(value)
    if hasattr(value, "items"):
        return {str(key): plain(each) for key, each in value.items()}
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    if isinstance(value, tuple | list):
        return [plain(each) for each in value]
    raise TypeError(f"{type(value).__name__} has no place in a document")


def _finite(value: float) -> float:
    if not math.isfinite(value):
        raise ValueError(f"a document holds finite numbers only, got {value}")
    return value


def _plain_record(record: Any) -> dict[str, Any]:
    kind = type(record)
    words = _WRITTEN_AS.get(kind, {})
    left_out = _LEFT_OUT.get(kind, frozenset())
    derived = _DERIVED.get(kind, {})
    names = [each.name for each in fields(record) if each.name not in left_out]
    every = [name for each in names for name in (each, derived.get(each)) if name]
    return {words.get(each, each): plain(getattr(record, each)) for each in every}


def document(format_name: str, **members: Any) -> dict[str, Any]:
    """Build a document: its format's name and version first, then its members as plain values.

    Examples
    --------
    >>> document("goosewing.targets/1", boat="Brisvik", wind_speeds=(), cautions=("Mind.",))
    {'format': 'goosewing.targets/1', 'boat': 'Brisvik', 'wind_speeds': [], 'cautions': ['Mind.']}
    """
    return {"format": format_name, **plain(members)}


def plan_document(plan: Plan) -> dict[str, Any]:
    """Return a plan as the document ``goosewing.plan/1``, in plain JSON values."""
    return {"format": PLAN_FORMAT, **_plain_record(plan)}


def format_json(content: Mapping[str, Any], *, indent: int | None = 2) -> bytes:
    """Write a document as UTF-8 JSON with a line end.

    Parameters
    ----------
    content : mapping
        A document of plain values, as from `document`.
    indent : int or None
        Blanks per level; None puts everything on one line.
    """
    raw = msgspec.json.encode(content)
    if indent is not None:
        raw = msgspec.json.format(raw, indent=indent)
    return raw + b"\n"


def format_plan_json(plan: Plan, *, indent: int | None = 2) -> bytes:
    """Write a plan as JSON: see `plan_document` and `format_json`."""
    return format_json(plan_document(plan), indent=indent)


def write_json(
    path: Path | str, content: Mapping[str, Any] | Plan, *, inputs: Iterable[Path | str] = ()
) -> None:
    """Write a document, or a plan, to `path`, wholly or not at all.

    Raises
    ------
    InputError
        As `write_atomically`.
    """
    chosen = plan_document(content) if isinstance(content, Plan) else content
    write_atomically(path, format_json(chosen), inputs=inputs)


def read_plan(path: Path | str) -> Plan:
    """Read a plan back from a file, as ``plan --json`` and ``demo`` write it.

    Raises
    ------
    InputError
        If the file can't be read, or as `parse_plan`.
    """
    return parse_plan(read_bytes(path, "a plan as JSON"), where=shown(path))


def parse_plan(data: bytes, *, where: str | None = None) -> Plan:
    """Read a plan back from its document.

    Parameters
    ----------
    data : bytes
        JSON, as from `format_plan_json`. Members unknown to this version are passed over.
    where : str, optional
        The file, for messages.

    Raises
    ------
    InputError
        If it isn't JSON, not a ``goosewing.plan/1``, or a member is missing or of
        the wrong kind (the message names it).
    """
    content = _decoded(data, where)
    legs = content.get("legs")
    if isinstance(legs, list):
        content = {**content, "legs": [_leg_members(leg) for leg in legs]}
    try:
        plan = msgspec.convert({"marks": [], **content}, Plan)
        beside = [msgspec.convert(leg, _Beside).manoeuvres for leg in content["legs"]]
    except msgspec.ValidationError as error:
        raise InputError(_member_fault(error), where=where) from None
    return _named(_paired(_checked(plan, where), _checked(tuple(beside), where)))


class _Beside(msgspec.Struct):
    """What a leg lists once more, and documents of old list there alone."""

    manoeuvres: tuple[Manoeuvre, ...]


def _paired(plan: Plan, beside: Sequence[tuple[Manoeuvre, ...]]) -> Plan:
    """Put manoeuvres that stand beside the boards into them: each before the next that starts."""
    if any(leg.manoeuvres for leg in plan.legs):
        return plan
    legs = []
    for leg, waiting in zip(plan.legs, beside, strict=True):
        boards = []
        for board in leg.boards:
            due = tuple(each for each in waiting if _is_before(each, board))
            waiting = waiting[len(due) :]
            boards.append(replace(board, manoeuvres=due))
        legs.append(replace(leg, boards=tuple(boards)))
    return replace(plan, legs=tuple(legs))


def _is_before(manoeuvre: Manoeuvre, board: Board) -> bool:
    if board.start.time is None:
        return (manoeuvre.lat, manoeuvre.lon) == (board.start.lat, board.start.lon)
    return manoeuvre.time <= board.start.time


def _named(plan: Plan) -> Plan:
    """Name the turning points of a document that names none."""
    return plan if names(plan) or not plan.marks else numbered(plan)


def _decoded(data: bytes, where: str | None) -> dict[str, Any]:
    try:
        content = msgspec.json.decode(data)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise InputError(f"not readable as JSON: {error}", where=where) from None
    if not isinstance(content, dict) or content.get("format") != PLAN_FORMAT:
        raise InputError(f'expected a document with "format": "{PLAN_FORMAT}"', where=where)
    return content


def _member_fault(error: msgspec.ValidationError) -> str:
    text = str(error)
    for written, field in (("from", "origin"), ("to", "destination")):
        text = text.replace(f"`{field}`", f"`{written}`").replace(f".{field}`", f".{written}`")
    return f"not a complete plan: {text}"


def _leg_members(leg: Any) -> Any:
    if not isinstance(leg, dict):
        return leg
    words = {written: field for field, written in _WRITTEN_AS[Leg].items()}
    return {words.get(key, key): each for key, each in leg.items()}


def _checked(value: _Value, where: str | None) -> _Value:
    """Return the same records, times in UTC; refuse times without zone, places off the earth."""
    if isinstance(value, tuple):
        return type(value)(_checked(each, where) for each in value)
    if isinstance(value, datetime):
        if value.utcoffset() is None:
            raise InputError(f"time {value.isoformat()} lacks its zone (expected Z)", where=where)
        return value.astimezone(UTC)
    if not is_dataclass(value) or isinstance(value, type):
        return value
    members = {each.name: _checked(getattr(value, each.name), where) for each in fields(value)}
    if abs(members.get("lat", 0.0)) > 90 or abs(members.get("lon", 0.0)) > 180:
        raise InputError(f"no such place: {members['lat']}, {members['lon']}", where=where)
    return replace(value, **members)
