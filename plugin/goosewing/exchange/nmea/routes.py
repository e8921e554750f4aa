r"""Routes as NMEA 0183 sentences: WPL and RTE, with their checksums.

Pure text; `goosewing.exchange.nmea.wires` puts it on a wire. A sentence is ``$``,
talker and type, comma fields, ``*``, the exclusive or of all bytes between
``$`` and ``*`` as two upper-case hex digits, CR, LF: 82 bytes at most in all.
Inside names no ``, * $ ! \ ^ ~`` stands, which are reserved. The rules are read
in public documentation of the format; the standard itself was not open.

The talker is ``GP`` by default, the navigator's own receiver handing a route
on: the oldest receivers take route sentences from that talker alone, newer ones
from any (common practice, no source). ``EC`` or ``II`` say more truly who
speaks, where the receiver bears it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from goosewing.earth.angles import wrap_longitude
from goosewing.errors import InputError
from goosewing.exchange.handheld.routes import Contents, Point, Route
from goosewing.words.short_names import to_ascii

LONGEST = 82
"""Bytes of a sentence, from ``$`` to line feed."""

DEFAULT_TALKER = "GP"

NAMES_PER_SENTENCE = 8
"""Most names in one RTE: some receivers read no more (common practice, no source)."""

_RESERVED = re.compile(r"[,*$!\\^~]")


def checksum(body: str) -> str:
    """Return the two hex digits for what stands between ``$`` and ``*``.

    Raises
    ------
    InputError
        If it is not ASCII.

    Examples
    --------
    >>> checksum("GPWPL,4917.16,N,12310.64,W,003")
    '65'
    """
    if not body.isascii():
        raise InputError(f"a sentence is ASCII, got {body!r}")
    total = 0
    for byte in body.encode("ascii"):
        total ^= byte
    return f"{total:02X}"


def format_sentence(talker: str, kind: str, fields: Iterable[str]) -> str:
    r"""Put a sentence together, with its checksum and line end.

    Parameters
    ----------
    talker : str
        Two capitals or digits.
    kind : str
        Three capitals.
    fields : iterable of str
        Already clean.

    Raises
    ------
    InputError
        If the talker is none, or the sentence would be over 82 bytes.

    Examples
    --------
    >>> format_sentence("GP", "RTE", ["1", "1", "c", "0"])
    '$GPRTE,1,1,c,0*07\r\n'
    """
    if not re.fullmatch(r"[A-Z][A-Z0-9]", talker, re.ASCII):
        raise InputError(f"a talker is two capitals, such as GP or II, got {talker!r}")
    body = ",".join([talker + kind, *fields])
    sentence = f"${body}*{checksum(body)}\r\n"
    if len(sentence) > LONGEST:
        raise InputError(f"a sentence has {LONGEST} bytes at most, got {len(sentence)}: ${body}")
    return sentence


def clean_name(name: str) -> str:
    """Return a name as a sentence can hold it; empty if nothing is left of it.

    Examples
    --------
    >>> clean_name("Vinga, fyr*")
    'Vinga fyr'
    """
    return " ".join(_RESERVED.sub(" ", to_ascii(name)).split())


def format_latitude(lat_deg: float, decimals: int = 4) -> tuple[str, str]:
    """Return ``ddmm.mmmm`` and the hemisphere.

    Raises
    ------
    InputError
        If it is beyond a pole.

    Examples
    --------
    >>> format_latitude(57.99999999)
    ('5800.0000', 'N')
    """
    if not -90.0 <= lat_deg <= 90.0:
        raise InputError(f"a latitude is -90 to 90, got {lat_deg:g}")
    return _degrees_and_minutes(lat_deg, 2, decimals, "NS")


def format_longitude(lon_deg: float, decimals: int = 4) -> tuple[str, str]:
    """Return ``dddmm.mmmm`` and the hemisphere, of a longitude of any winding.

    Examples
    --------
    >>> format_longitude(-11.33333333), format_longitude(190.5)
    (('01120.0000', 'W'), ('16930.0000', 'W'))
    """
    return _degrees_and_minutes(float(wrap_longitude(lon_deg)), 3, decimals, "EW")


def _degrees_and_minutes(
    degrees: float, digits: int, decimals: int, hemispheres: str
) -> tuple[str, str]:
    # Counted in the last decimal of a minute, so that 59.99999' is carried into
    # the degree and never written as 60.0000.
    units = round(abs(degrees) * 60 * 10**decimals)
    whole, rest = divmod(units, 60 * 10**decimals)
    minutes, fraction = divmod(rest, 10**decimals)
    point = f".{fraction:0{decimals}d}" if decimals else ""
    return f"{whole:0{digits}d}{minutes:02d}{point}", hemispheres[degrees < 0.0 and units > 0]


def format_wpl(
    lat: float, lon: float, name: str, *, talker: str = DEFAULT_TALKER, decimals: int = 4
) -> str:
    r"""Write a waypoint's position.

    Raises
    ------
    InputError
        If the name is empty once cleaned, or a position is off the earth.

    Examples
    --------
    >>> format_wpl(57.50833333, 11.33333333, "T1")
    '$GPWPL,5730.5000,N,01120.0000,E,T1*28\r\n'
    """
    position = (*format_latitude(lat, decimals), *format_longitude(lon, decimals))
    return format_sentence(talker, "WPL", [*position, _needed(name)])


def format_rte(
    names: Sequence[str],
    route: str,
    *,
    talker: str = DEFAULT_TALKER,
    complete: bool = True,
    names_per_sentence: int = NAMES_PER_SENTENCE,
) -> tuple[str, ...]:
    r"""Write a route: its waypoints' names over as many sentences as they need.

    Parameters
    ----------
    names : sequence of str
        In sailing order.
    route : str
        What the route is called.
    talker : str
        Who speaks.
    complete : bool
        Whether all waypoints stand in it, or those only that are still ahead.
    names_per_sentence : int
        Most names in one sentence.

    Raises
    ------
    InputError
        If a name is empty once cleaned, or too long to stand in a sentence.

    Examples
    --------
    >>> format_rte(["A", "B"], "0")
    ('$GPRTE,1,1,c,0,A,B*04\r\n',)
    """
    if names_per_sentence < 1:
        raise InputError(f"names_per_sentence must be 1 or more, got {names_per_sentence}")
    clean, called = [_needed(each) for each in names], _needed(route)
    mode = "c" if complete else "w"
    groups = _packed(clean, mode, called, names_per_sentence)
    total = str(len(groups))
    return tuple(
        format_sentence(talker, "RTE", [total, str(number), mode, called, *group])
        for number, group in enumerate(groups, 1)
    )


def _packed(names: Sequence[str], mode: str, called: str, most: int) -> list[list[str]]:
    # How many sentences there are takes room in each of them, and is known last.
    digits = 1
    while True:
        number = "9" * digits
        head = len(f"$GPRTE,{number},{number},{mode},{called}*hh\r\n")
        groups = _filled(names, LONGEST - head, most)
        if len(str(len(groups))) <= digits:
            return groups
        digits += 1


def _filled(names: Sequence[str], room: int, most: int) -> list[list[str]]:
    groups: list[list[str]] = [[]]
    used = 0
    for name in names:
        if groups[-1] and (used + 1 + len(name) > room or len(groups[-1]) >= most):
            groups.append([])
            used = 0
        groups[-1].append(name)
        used += 1 + len(name)
    return groups


def _needed(name: str) -> str:
    clean = clean_name(name)
    if not clean:
        raise InputError(f"no character of the name {name!r} can stand in a sentence")
    return clean


def format_routes(
    routes: Sequence[Route],
    waypoints: Sequence[Point] = (),
    *,
    talker: str = DEFAULT_TALKER,
    names_per_sentence: int = NAMES_PER_SENTENCE,
) -> tuple[str, ...]:
    """Write routes: first the position of every waypoint, then the routes by name.

    Parameters
    ----------
    routes, waypoints : sequence
        With names that are unlike once cleaned, as
        `goosewing.exchange.handheld.routes` gives them.

    Raises
    ------
    InputError
        If two places have one name.
    """
    places: dict[str, Point] = {}
    for point in [*(each for route in routes for each in route.points), *waypoints]:
        name = _needed(point.name or "")
        if places.setdefault(name.casefold(), point).place != point.place:
            raise InputError(f'two places are called "{name}": shorten the names first')
    positions = [
        format_wpl(each.lat, each.lon, each.name or "", talker=talker) for each in places.values()
    ]
    lines = [
        sentence
        for number, route in enumerate(routes, 1)
        for sentence in format_rte(
            [each.name or "" for each in route.points],
            route.name or str(number),
            talker=talker,
            names_per_sentence=names_per_sentence,
        )
    ]
    return (*positions, *lines)


def format_contents(contents: Contents, *, talker: str = DEFAULT_TALKER) -> tuple[str, ...]:
    """Write the routes and waypoints of a fitted file; sentences know no tracks."""
    return format_routes(contents.routes, contents.waypoints, talker=talker)
