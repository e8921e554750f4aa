"""Dangers among the waypoints of the navigator's own file: a rock noted once is kept clear of.

A waypoint is a danger if its symbol, its type or its name says so in a word of the trade
(`goosewing.words.dangers`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from goosewing.earth.geodesy import geodesic_direct
from goosewing.errors import InputError
from goosewing.marks.from_here import SAME_PLACE_M, metres_apart
from goosewing.records import Mark
from goosewing.units import METRES_PER_NM
from goosewing.words.dangers import danger_words, word_in_name
from goosewing.words.figures import listed

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from goosewing.hazards.areas import Area

Which = Literal["said", "symbols", "all", "none"]
"""Waypoints that say so by symbol, type or name; by symbol or type alone; every one; none."""

USUAL_NM = 0.1
"""How far off a danger is kept where nothing is said: what a fix and a position taken from a chart
may be out, and room to see it. Common practice, no source. [nm]"""

FARTHEST_NM = 10.0

ROUND = 32
"""Corners of the ring about a danger, which lies wholly outside the distance asked for."""

MOST_NAMED = 6


@dataclass(frozen=True, slots=True)
class Danger:
    """A waypoint to keep clear of.

    Attributes
    ----------
    mark : Mark
    because : str
        What says so, in words.
    distance_nm : float
        How far off it is kept. [nm]
    """

    mark: Mark
    because: str
    distance_nm: float = USUAL_NM


def by_symbol(mark: Mark) -> bool:
    """Whether symbol or type says that a waypoint is a danger: these are no chance words."""
    return danger_words(mark.symbol, mark.kind, None) is not None


def check_distance(distance_nm: float) -> None:
    """Refuse a distance that makes no sense.

    Raises
    ------
    InputError
        If it is not above 0, or too large.
    """
    if not 0.0 < distance_nm <= FARTHEST_NM:
        raise InputError(
            f"--danger-distance must be above 0 and at most {FARTHEST_NM:g} nm, got {distance_nm:g}"
        )


def dangers_among(
    waypoints: Iterable[Mark], marks: Sequence[Mark], which: Which, distance_nm: float = USUAL_NM
) -> tuple[Danger, ...]:
    """Pick the dangers from a file's waypoints.

    Parameters
    ----------
    waypoints : iterable of Mark
    marks : sequence of Mark
        Those of the passage: a waypoint in the place of one is that mark, and no danger. One
        nearer to a mark than the distance is kept off by half of what lies between: the mark
        is to be reached.
    which : "said", "symbols", "all" or "none"
    distance_nm : float
        How far off. [nm]

    Raises
    ------
    InputError
        If the distance makes no sense.
    """
    check_distance(distance_nm)
    found = []
    for point in waypoints:
        because = _because(point, which)
        near_m = min((metres_apart(point, mark) for mark in marks), default=np.inf)
        if because is not None and near_m > SAME_PLACE_M:
            half_nm = 0.5 * near_m / METRES_PER_NM
            found.append(Danger(point, because, min(distance_nm, half_nm)))
    return tuple(found)


def others(waypoints: Iterable[Mark], marks: Sequence[Mark], found: Sequence[Danger]) -> list[Mark]:
    """Return the waypoints that are neither a mark of the passage nor among the dangers found."""
    taken = [each.mark for each in found]
    return [
        point
        for point in waypoints
        if point not in taken and all(metres_apart(point, mark) > SAME_PLACE_M for mark in marks)
    ]


def set_apart(waypoints: Sequence[Mark]) -> tuple[tuple[Mark, ...], tuple[Mark, ...]]:
    """Part waypoints that are to be the marks themselves into marks and dangers.

    A name alone sets none apart: the mark "Rock buoy" is to be reached.

    Raises
    ------
    InputError
        If no mark is left.
    """
    dangers = tuple(each for each in waypoints if by_symbol(each))
    marks = tuple(each for each in waypoints if not by_symbol(each))
    if dangers and not marks:
        raise InputError(
            "no marks: every waypoint is a danger by its symbol or type; --dangers none takes "
            "them as marks"
        )
    return marks, dangers


def _because(point: Mark, which: Which) -> str | None:
    if which == "none" or (which == "symbols" and not by_symbol(point)):
        return None
    said = danger_words(point.symbol, point.kind, point.name)
    return said or ("asked for" if which == "all" else None)


def areas_of(dangers: Sequence[Danger], source: str, clearance_nm: float = 0.0) -> list[Area]:
    """Return a ring about every danger, to be grown by the clearance that all else has.

    Parameters
    ----------
    dangers : sequence of Danger
    source : str
        The file, for messages.
    clearance_nm : float
        What is added to the ring: nothing is kept off by less, nor by more than the
        greater of the two. [nm]
    """
    import shapely

    from goosewing.hazards.areas import Area
    from goosewing.hazards.read.shapes import HAIR_M

    angle = np.linspace(0.0, 360.0, ROUND, endpoint=False)
    found = []
    for each in dangers:
        # The ring's sides, not its corners, are as far off as asked.
        off_nm = max(each.distance_nm - clearance_nm, HAIR_M / METRES_PER_NM)
        far_nm = off_nm / np.cos(np.pi / ROUND)
        mark = each.mark
        ring = geodesic_direct(
            np.full(ROUND, mark.lat), np.full(ROUND, mark.lon), angle, np.full(ROUND, far_nm)
        )
        east = mark.lon + (ring.lon - mark.lon + 180.0) % 360.0 - 180.0
        shape = shapely.Polygon(np.column_stack((east, ring.lat)))
        found.append(Area(shape=shape, name=mark.name, kind="danger", source=source))
    return found


def told(dangers: Sequence[Danger], others: Sequence[Mark], source: str) -> tuple[str, ...]:
    """Say which waypoints are kept clear of and why, and which are not.

    Parameters
    ----------
    dangers : sequence of Danger
    others : sequence of Mark
        Further waypoints of the file that are no marks of the passage.
    source : str
        The file.
    """
    said = []
    if dangers:
        names = [f"{each.mark.name} {_off(each)} ({each.because})" for each in dangers]
        said.append(f"Waypoints of {source} asked to be kept clear of: {_some(names)}.")
    words = [(each.name, word_in_name(each.name)) for each in others]
    passed = [f"{name} ({word})" for name, word in words if word is not None]
    if passed:
        said.append(
            f"Not kept clear of, although the name holds a word of danger: {listed(passed)} "
            f"(waypoints of {source})."
        )
    names = [name for name, word in words if word is None]
    if names:
        said.append(
            f"Not kept clear of, as nothing says that they are dangers: {_some(names)} (waypoints "
            f"of {source})."
        )
    return tuple(said)


def _off(danger: Danger) -> str:
    if danger.distance_nm < USUAL_NM:
        return f"never nearer than {danger.distance_nm * METRES_PER_NM:.0f} m"
    return f"never nearer than {danger.distance_nm:.2g} nm"


def _some(names: Sequence[str]) -> str:
    if len(names) <= MOST_NAMED:
        return listed(names)
    return f"{', '.join(names[:MOST_NAMED])} and {len(names) - MOST_NAMED} more"
