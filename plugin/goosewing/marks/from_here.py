"""Marks as the navigator wants them now: from here, behind her dropped, left on a hand."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.earth import geodesy
from goosewing.errors import InputError
from goosewing.marks import lines
from goosewing.records import Mark, RouteTexts, Side
from goosewing.units import METRES_PER_NM, Array

if TYPE_CHECKING:
    from collections.abc import Sequence

HERE = "Here"
"""What the boat's own position is called among the marks."""

SAME_PLACE_M = 0.5
"""Places closer than this are one place."""

NO_COURSE_DEG = 89.0
"""Nearer the pole nobody is on a leg; the plan itself says so. [°]"""

OFF_COURSE_SHARE = 0.5
"""Farther off the nearest leg than this share of its length she is on none."""

AS_NEAR, AS_NEAR_NM = 1.5, 0.05
"""A leg up to so many times as far off as the nearest one, and a little, may be hers as well."""

FARTHEST_OFF_NM = 100.0
"""Nobody leaves a mark farther off than this: a unit went wrong. [nm]"""


_HAND = re.compile(r"\b(port|starboard)\b", re.IGNORECASE)


class Marks(NamedTuple):
    """Marks, and what is to be said about how they came to be these."""

    marks: tuple[Mark, ...]
    notices: tuple[str, ...] = ()
    texts: RouteTexts = RouteTexts()
    """Of the route that they were taken from."""
    waypoints: tuple[Mark, ...] = ()
    """Of the same file, that are no marks."""
    behind: Mark | None = None
    """The mark that the first leg leads from, where she is on that leg already."""


class Leave(NamedTuple):
    """The hand on which a mark is left, and how far off."""

    mark: str
    side: Side
    distance_nm: float


def metres_apart(a: Mark, b: Mark) -> float:
    """Return the distance between two marks along the geodesic, in metres."""
    return float(geodesy.geodesic_inverse(a.lat, a.lon, b.lat, b.lon).distance_nm) * METRES_PER_NM


def from_next(marks: Sequence[Mark], name: str) -> Marks:
    """Drop the marks that lie behind: all before the first one of this name.

    Of a course of laps ``NAME#2`` is the mark's second time.

    Raises
    ------
    InputError
        If there is none of that name, or not so often; the message lists those there are.
    """
    at, time = _times(marks, name)
    notices = []
    if time is None and len(at) > 1:
        notices.append(
            f"{name} stands {len(at)} times among the marks: the first of them is next "
            f"(--next {name.strip()}#2 for the second)."
        )
    first = at[(time or 1) - 1]
    if first > 0:
        behind = ", ".join(mark.name for mark in marks[:first])
        notices.append(f"Left behind: {behind}.")
    return Marks(tuple(marks[first:]), tuple(notices))


def _times(marks: Sequence[Mark], name: str) -> tuple[list[int], int | None]:
    """Return where a name stands, and which of its times is meant, if that is said."""
    bare, sign, number = name.rpartition("#")
    taken = any(mark.name.strip() == name.strip() for mark in marks)
    if taken or not sign or not number.strip().isdecimal():
        return _places(marks, name, "--next"), None
    at = _places(marks, bare, "--next")
    if not 1 <= int(number) <= len(at):
        raise InputError(
            f"--next: {bare.strip()} stands {len(at)} times among the marks, not {int(number)}"
        )
    return at, int(number)


def named_apart(marks: Sequence[Mark]) -> tuple[Mark, ...]:
    """Name marks that are passed more than once by their times, as `from_next` is told them.

    Ends of lines and gates keep their names, by which they are known.

    Examples
    --------
    >>> top, lee = Mark(name="Top", lat=57.1, lon=11), Mark(name="Lee", lat=57, lon=11)
    >>> [mark.name for mark in named_apart([top, lee, top])]
    ['Top', 'Lee', 'Top#2']
    """
    taken = {mark.name.strip() for mark in marks}
    times: dict[str, int] = {}
    found = []
    for mark in marks:
        name = mark.name.strip()
        times[name] = number = times.get(name, 0) + 1
        again = f"{name}#{number}"
        apart = number > 1 and again not in taken and lines.named(mark).line is None
        found.append(replace(mark, name=again) if apart else mark)
    return tuple(found)


def all_kept(marks: Sequence[Mark]) -> str:
    """Say that she sails to the first mark though she may be past it."""
    return f"All marks are kept, {marks[0].name} first: name the next with --next."


def ahead_of(marks: Sequence[Mark], lat: float, lon: float) -> Marks:
    """Drop the marks that lie behind her, by the leg that she is on: the one nearest to her.

    Before the first leg, or far off all of them, she sails to the first mark.

    Parameters
    ----------
    marks : sequence of Mark
    lat, lon : float
        Where she is. [°]

    Raises
    ------
    InputError
        If she is about as near to another leg: nobody can tell which mark is next.
    """
    here = Mark(name=HERE, lat=lat, lon=lon)
    if len(marks) < 2 or abs(lat) >= NO_COURSE_DEG or metres_apart(here, marks[0]) <= SAME_PLACE_M:
        return Marks(tuple(marks))
    off_nm, share, length_nm = _off_legs(marks, lat, lon)
    leg = int(np.argmin(off_nm))
    if off_nm[leg] > OFF_COURSE_SHARE * length_nm[leg] or (leg == 0 and share[0] <= 0.0):
        return Marks(tuple(marks), (all_kept(marks),))
    near = np.flatnonzero(off_nm <= AS_NEAR * off_nm[leg] + AS_NEAR_NM)
    if len(near) > 1:
        names = ", ".join(dict.fromkeys(marks[at + 1].name for at in near.tolist()))
        raise InputError(
            f"--at: from there the next mark may be any of {names}: say which with --next MARK"
        )
    behind = ", ".join(mark.name for mark in marks[: leg + 1])
    said = f"She is on the way to {marks[leg + 1].name}, left behind: {behind}. Else say --next."
    return Marks(tuple(marks[leg + 1 :]), (said,))


def _off_legs(marks: Sequence[Mark], lat: float, lon: float) -> tuple[Array, Array, Array]:
    """How far she is off each leg [nm], how far along it (0 to 1), and how long it is [nm]."""
    lats, lons = np.array([(mark.lat, mark.lon) for mark in marks]).T
    begin = geodesy.mercator_offset(lat, lon, lats[:-1], lons[:-1])
    end = geodesy.mercator_offset(lat, lon, lats[1:], lons[1:])
    east, north = end.east_deg - begin.east_deg, end.north_deg - begin.north_deg
    square = np.maximum(east**2 + north**2, 1e-30)
    share = np.clip(-(begin.east_deg * east + begin.north_deg * north) / square, 0.0, 1.0)
    off = np.hypot(begin.east_deg + share * east, begin.north_deg + share * north)
    # Between places of one neighbourhood the plane's one scale is good enough.
    scale = 60.0 * float(np.cos(np.radians(lat)))
    return off * scale, share, np.sqrt(square) * scale


def starting_here(marks: Sequence[Mark], lat: float, lon: float) -> Marks:
    """Put her own position before the marks, unless it is the first of them.

    Parameters
    ----------
    marks : sequence of Mark
        Those ahead of her, at least one.
    lat, lon : float
        Where she is. [°]
    """
    here = Mark(name=HERE, lat=lat, lon=lon)
    if marks and metres_apart(here, marks[0]) <= SAME_PLACE_M:
        first = marks[0]
        notice = f"She is at {first.name} already: the plan starts there."
        return Marks((replace(first, leave=None, leave_distance_nm=0.0), *marks[1:]), (notice,))
    return Marks((here, *marks))


def leaving(marks: Sequence[Mark], wishes: Sequence[Leave]) -> tuple[Mark, ...]:
    """Give marks the hand and the distance on which they are to be left.

    Raises
    ------
    InputError
        If there is no mark of that name; the message lists those there are.
    """
    changed = list(marks)
    for wish in wishes:
        places = _places(marks, wish.mark, "--leave")
        # Of a closed course the start is where she begins, and no mark yet.
        for at in places[1:] if places[0] == 0 and len(places) > 1 else places:
            changed[at] = replace(changed[at], leave=wish.side, leave_distance_nm=wish.distance_nm)
    return tuple(changed)


def leaving_by_words(marks: Sequence[Mark], distance_nm: float) -> Marks:
    """Leave marks on the hand that their own name or description says, where it says one.

    Parameters
    ----------
    marks : sequence of Mark
        What begins the passage, the ends of lines and what has a hand already stay as they are.
    distance_nm : float
        How far off. [nm]

    Raises
    ------
    InputError
        If the distance makes no sense, or not one mark says a hand.

    Examples
    --------
    >>> mark = Mark(name="Windward, to port", lat=57.0, lon=11.0)
    >>> leaving_by_words([mark, mark], 0.05).marks[1].leave
    'port'
    """
    if not 0.0 < distance_nm < FARTHEST_OFF_NM:
        raise InputError(
            f"--leave-by-words: the distance must be above 0 and under {FARTHEST_OFF_NM:g} nm, "
            f"got {distance_nm:g}"
        )
    changed, notices = list(marks), []
    for at, mark in enumerate(marks[1:], 1):
        if mark.leave is not None or lines.named(mark).line is not None:
            continue
        hands = {word.casefold() for word in _HAND.findall(f"{mark.name} {mark.description or ''}")}
        if len(hands) == 2:
            notices.append(f"{mark.name} says both hands: it is left on neither.")
        for hand in hands if len(hands) == 1 else ():
            side: Side = "port" if hand == "port" else "starboard"
            changed[at] = replace(mark, leave=side, leave_distance_nm=distance_nm)
    if changed == list(marks):
        raise InputError("--leave-by-words: no mark says port or starboard in name or description")
    return Marks(tuple(changed), tuple(notices))


def parse_leave(text: str) -> Leave:
    """Read how a mark is left, written ``MARK=port:0.2``.

    Raises
    ------
    InputError
        If it is written otherwise, the hand is neither, or the distance no
        number of miles.

    Examples
    --------
    >>> parse_leave("Anholt E=port:0.2")
    Leave(mark='Anholt E', side='port', distance_nm=0.2)
    """
    # The last equals sign: a mark's own name may hold one.
    name, equals, how = text.rpartition("=")
    side, colon, distance = how.partition(":")
    side = side.strip().casefold()
    if not (equals and colon and name.strip()):
        raise InputError(f"--leave must be written MARK=port:0.2, got {text!r}")
    if side not in ("port", "starboard"):
        raise InputError(f"--leave {text!r}: a mark is left to port or to starboard")
    return Leave(
        name.strip(), "port" if side == "port" else "starboard", _miles_off(distance, text)
    )


def _miles_off(distance: str, text: str) -> float:
    try:
        miles = float(distance)
    except ValueError:
        miles = float("nan")
    if not 0.0 < miles < FARTHEST_OFF_NM:
        raise InputError(
            f"--leave {text!r}: the distance must be above 0 and under "
            f"{FARTHEST_OFF_NM:g} nm, such as 0.2"
        )
    return miles


def _places(marks: Sequence[Mark], name: str, option: str) -> list[int]:
    wanted = name.strip().casefold()
    exact = [at for at, mark in enumerate(marks) if mark.name.strip() == name.strip()]
    found = exact or [at for at, mark in enumerate(marks) if mark.name.strip().casefold() == wanted]
    if not found:
        names = ", ".join(dict.fromkeys(mark.name for mark in marks))
        raise InputError(f"{option}: no mark is called {name.strip()!r}; there are {names}")
    return found
