"""Marks as the navigator wants them now: from here, behind her dropped, left on a hand."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from goosewing.earth import geodesy
from goosewing.errors import InputError
from goosewing.records import Mark, Side
from goosewing.units import METRES_PER_NM

if TYPE_CHECKING:
    from collections.abc import Sequence

HERE = "Here"
"""What the boat's own position is called among the marks."""

SAME_PLACE_M = 0.5
"""Places closer than this are one place."""

FARTHEST_OFF_NM = 100.0
"""Nobody leaves a mark farther off than this: a unit went wrong. [nm]"""


class Marks(NamedTuple):
    """Marks, and what is to be said about how they came to be these."""

    marks: tuple[Mark, ...]
    notices: tuple[str, ...] = ()


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

    Raises
    ------
    InputError
        If there is none of that name; the message lists those there are.
    """
    at = _places(marks, name, "--next")
    notices = []
    if len(at) > 1:
        notices.append(f"{name} stands {len(at)} times among the marks: the first of them is next.")
    if at[0] > 0:
        behind = ", ".join(mark.name for mark in marks[: at[0]])
        notices.append(f"Left behind: {behind}.")
    return Marks(tuple(marks[at[0] :]), tuple(notices))


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
        for at in _places(marks, wish.mark, "--leave"):
            changed[at] = replace(changed[at], leave=wish.side, leave_distance_nm=wish.distance_nm)
    return tuple(changed)


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
