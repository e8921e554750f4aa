"""Positions and time zones as people write them.

The parser is geopy's. By itself it takes more than it should: text before a
position, a height after it, minutes of 75, a longitude of 400, and it loses the
sign of -0°30'. So the two angles are told apart and checked first, and geopy is
handed each in a form that it can't mistake.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone, tzinfo

from goosewing.earth.angles import wrap_longitude
from goosewing.errors import InputError
from goosewing.units import nearest_minute

_EXAMPLES = "57°30.5'N 11°20'E, 57 30.5N 011 20.0E or 57.508,11.333"

_SIGNS = str.maketrans(
    {"º": "°", "′": "'", "’": "'", "‘": "'", "´": "'", "″": '"', "”": '"', "“": '"', "−": "-"}
)

_ANGLE = re.compile(
    r"""
    (?P<front>[NSEW])?\s*
    (?P<sign>[+-]?)(?P<degrees>\d{1,3}(?:\.\d+)?)(?:\s*°)?
    (?:(?:(?<=°)|\s)\s*(?P<minutes>\d{1,2}(?:\.\d+)?)(?:\s*')?
      (?:(?:(?<=')|\s)\s*(?P<seconds>\d{1,2}(?:\.\d+)?)(?:\s*")?)?
    )?
    \s*(?P<back>[NSEW])?
    """,
    re.VERBOSE | re.ASCII,
)


def parse_position(text: str) -> tuple[float, float]:
    """Read a position, latitude first.

    Parameters
    ----------
    text : str
        Degrees, or degrees and minutes, or those and seconds, with or without
        their signs; hemispheres before or behind, or north and east positive.

    Returns
    -------
    lat, lon : float
        Longitude in [-180, 180). [°]

    Raises
    ------
    InputError
        If it is anything else, or off the earth.

    Examples
    --------
    >>> print(*(round(each, 6) for each in parse_position("57°30.5'N 11°20.0'W")))
    57.508333 -11.333333
    >>> print(*(round(each, 6) for each in parse_position("56-44.5N 012-18.0E")))
    56.741667 12.3
    """
    from geopy import Point

    halves = _halves(_without_hyphens(text.translate(_SIGNS).upper().strip()))
    if halves is None:
        raise InputError(f"expected a position such as {_EXAMPLES}, got {text!r}")
    matches = [_ANGLE.fullmatch(each.strip()) for each in halves]
    lat, lon = (_angle(match, kind, text) for match, kind in zip(matches, _KINDS, strict=True))
    if ("+" in lat + lon) and not ("+" in lat and "+" in lon):
        raise InputError(f"one half has a hemisphere and the other none: {text!r}")
    point = Point.from_string(f"{lat.replace('+', '')}, {lon.replace('+', '')}")
    return float(point.latitude), float(wrap_longitude(point.longitude))


_KINDS = (("latitude", "NS", 90.0), ("longitude", "EW", 180.0))


def _without_hyphens(text: str) -> str:
    """Put blanks for the hyphens of 56-44.5N 012-18.0E: with letters they are no signs."""
    return re.sub(r"(?<=\d)-(?=\d)", " ", text) if re.search(r"[NSEW]", text) else text


def _halves(text: str) -> tuple[str, str] | None:
    if len(parts := re.split(r"[,;/]", text)) == 2:
        return parts[0], parts[1]
    letters = re.fullmatch(r"([^NSEW]*[NS])\s*([^NSEW]*[EW])", text) or re.fullmatch(
        r"([NS][^NSEW]*)([EW][^NSEW]*)", text
    )
    if letters:
        return letters[1], letters[2]
    words = text.split()
    if len(words) in (2, 4, 6):
        middle = len(words) // 2
        return " ".join(words[:middle]), " ".join(words[middle:])
    return None


def _angle(match: re.Match[str] | None, kind: tuple[str, str, float], text: str) -> str:
    """Return an angle as geopy can't mistake it; a plus marks one with a written hemisphere."""
    name, letters, limit = kind
    if match is None or (match["front"] and match["back"]):
        raise InputError(f"expected a {name} such as in {_EXAMPLES}, got {text!r}")
    letter = match["front"] or match["back"]
    if letter and letter not in letters:
        raise InputError(f"{name} can't be {letter}; latitude comes first: {text!r}")
    if letter and match["sign"]:
        raise InputError(f"{name} has both a sign and a hemisphere: {text!r}")
    degrees, minutes, seconds = (match[each] or "0" for each in ("degrees", "minutes", "seconds"))
    if _fraction_above_the_last(match) or float(minutes) >= 60 or float(seconds) >= 60:
        raise InputError(f"{name}: minutes and seconds must be under 60: {text!r}")
    if float(degrees) + float(minutes) / 60 + float(seconds) / 3600 > limit:
        raise InputError(f"{name} must be {limit:g} degrees at most: {text!r}")
    # The letters are written positive first: N and E.
    side = letter or letters[match["sign"] == "-"]
    return f"{'+' if letter else ''}{degrees} {minutes}' {seconds}\" {side}"


def _fraction_above_the_last(match: re.Match[str]) -> bool:
    given = [each for each in (match["degrees"], match["minutes"], match["seconds"]) if each]
    return any("." in each for each in given[:-1])


# Zones -------------------------------------------------------------------------------------


def parse_zone(text: str) -> tzinfo:
    """Read a time zone: a name such as Europe/Stockholm, UTC, or an offset such as +02:00.

    Raises
    ------
    InputError
        If there is no such zone, or the offset is a day or more.

    Examples
    --------
    >>> parse_zone("+02:00")
    datetime.timezone(datetime.timedelta(seconds=7200))
    """
    bare = text.strip()
    offset = re.fullmatch(r"([+-])(\d{2}):?(\d{2})", bare.replace("−", "-"), re.ASCII)
    if offset:
        return _offset(offset, text)
    if bare.upper() in ("Z", "UTC"):
        return UTC
    return _named_zone(bare)


def _offset(match: re.Match[str], text: str) -> tzinfo:
    hours, minutes = int(match[2]), int(match[3])
    if hours > 23 or minutes > 59:
        raise InputError(f"an offset is ±HH:MM and under a day, got {text!r}")
    size = timedelta(hours=hours, minutes=minutes)
    return timezone(-size if match[1] == "-" else size)


def _named_zone(name: str) -> tzinfo:
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(name)
    # A name with .. or a null in it, or of a folder, is a ValueError or an OSError.
    except (KeyError, ValueError, OSError):
        raise InputError(
            f"expected a time zone such as Europe/Stockholm or +02:00, got {name!r}"
        ) from None


def local_clock(time: datetime, zone: tzinfo) -> str:
    """Write a time of day in a zone, to the nearest minute, with the zone's name.

    Raises
    ------
    InputError
        If the time has no zone of its own.

    Examples
    --------
    >>> from datetime import UTC
    >>> local_clock(datetime(2027, 6, 1, 8, 14, 40, tzinfo=UTC), parse_zone("+02:00"))
    '10:15 +02:00'
    """
    if time.utcoffset() is None:
        raise InputError(f"a time must carry its zone, got {time.isoformat()}")
    local = nearest_minute(time).astimezone(zone)
    name = (local.tzname() or "").removeprefix("UTC") or "UTC"
    return f"{local:%H:%M} {name}"
