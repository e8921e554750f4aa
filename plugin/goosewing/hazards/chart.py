"""All that a passage keeps clear of: hazard files and the built-in coast, gathered once."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import shapely

from goosewing.errors import InputError
from goosewing.hazards.areas import Area, Hazards
from goosewing.hazards.read.files import kind_of_file, read_hazards
from goosewing.hazards.read.shapes import Box

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from goosewing.records import Mark

WIDEST_CLEARANCE_NM = 10.0
DEEPEST_M = 100.0
"""A safe depth beyond this is a slip of the pen."""

DETOUR_NM = 180.0
"""So far round the marks, and as far as they lie apart, the waters are looked at: from Kiel to the
North Sea the way leads round Skagen."""

HIGHEST_DEG = 89.0
WIDEST_PANE_DEG = 120.0
MILES_PER_DEGREE = 60.0

NO_CLEARANCE = "No clearance was asked for: boards may pass land and dangers as close as can be."
NO_CELLS = "The {asked} does nothing: no chart cell (S-57) is among what is kept clear of."
FAR_OFF = "Nothing in {} lies near this passage: are latitude and longitude exchanged in it?"
COAST = "built-in coast"
EDGE = "the edge of the waters looked at"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chart:
    """What is kept clear of.

    Attributes
    ----------
    areas : tuple of Area
        From files.
    notices : tuple of str
        What the navigator should know, the coast's warning and credit among it.
    coast : bool
        Whether the built-in coast counts too.
    clearance_nm : float
        How far to keep off. [nm]
    cut : bool
        Whether areas far away were left out of `areas`.
    """

    areas: tuple[Area, ...] = ()
    notices: tuple[str, ...] = ()
    coast: bool = False
    clearance_nm: float = 0.0
    cut: bool = False
    _latest: dict[Box, Hazards] = field(default_factory=dict, repr=False)

    def around(self, marks: Sequence[Mark]) -> Hazards:
        """Return the hazards for a passage; the last is kept for the next in the same waters.

        Parameters
        ----------
        marks : sequence of Mark
            At least one.
        """
        box = box_around(marks)
        made = self._latest.get(box)
        if made is None:
            made = Hazards.of(self._within(box), self.clearance_nm)
            self._latest.clear()
            self._latest[box] = made
        return made

    def _within(self, box: Box) -> list[Area]:
        areas = [area for area in self.areas if box.touches(area.shape.bounds)]
        if self.coast:
            areas += coast_areas(box)
        bounded = self.coast or self.cut or len(areas) < len(self.areas)
        return areas + (edges(box) if bounded else [])


def read_chart(
    paths: Iterable[Path | str] = (),
    *,
    safe_depth_m: float | None = None,
    tide_m: float | None = None,
    coast: bool = False,
    clearance_nm: float = 0.0,
    near: Box | None = None,
) -> Chart | None:
    """Read all that is to be kept clear of.

    Parameters
    ----------
    paths : iterable of path
        Hazard files; see `goosewing.hazards.read.files.read_hazards`.
    safe_depth_m : float, optional
        For S-57 cells. [m]
    tide_m : float, optional
        Height of tide over their charted depths. [m]
    coast : bool
        Whether the built-in coast counts too.
    clearance_nm : float
        How far to keep off. [nm]
    near : Box, optional
        What lies wholly outside may be left out; as `box_around` gives it.

    Returns
    -------
    Chart or None
        None where nothing is to be kept clear of.

    Raises
    ------
    InputError
        If a file is wrong, a number makes no sense, or stands without anything to
        keep clear of.
    """
    files = list(paths)
    check_numbers(safe_depth_m, clearance_nm)
    if not files and not coast:
        given = {"clearance": clearance_nm or None, "safe depth": safe_depth_m, "tide": tide_m}
        asked = next((name for name, value in given.items() if value is not None), None)
        if asked is not None:
            raise InputError(f"a {asked} needs hazard files, or the coast, to keep clear of")
        return None
    areas: list[Area] = []
    notices: list[str] = []
    cut = False
    for path in files:
        read = read_hazards(path, safe_depth_m=safe_depth_m, tide_m=tide_m, near=near)
        areas += read.areas
        notices += read.notices
        cut |= read.cut
        if near is not None and not any(near.touches(area.shape.bounds) for area in read.areas):
            notices.append(FAR_OFF.format(Path(path).name))
    if coast:
        from goosewing.hazards.coast import CREDIT, WARNING

        notices += [WARNING, CREDIT]
    if not clearance_nm:
        notices.append(NO_CLEARANCE)
    if not any(kind_of_file(Path(path)) == "S-57" for path in files):
        notices += [
            NO_CELLS.format(asked=name)
            for name, value in (("safe depth", safe_depth_m), ("tide", tide_m))
            if value is not None
        ]
    return Chart(
        areas=tuple(areas), notices=tuple(notices), coast=coast, clearance_nm=clearance_nm,
        cut=cut,
    )  # fmt: skip


def check_numbers(safe_depth_m: float | None, clearance_nm: float) -> None:
    """Refuse a clearance or safe depth that can't be meant.

    Raises
    ------
    InputError
        Naming it and its limits.
    """
    if not 0.0 <= clearance_nm <= WIDEST_CLEARANCE_NM:
        raise InputError(
            f"the clearance must be 0 to {WIDEST_CLEARANCE_NM:g} nm, got {clearance_nm:g}"
        )
    if safe_depth_m is not None and not 0.0 < safe_depth_m <= DEEPEST_M:
        raise InputError(
            f"the safe depth must be above 0 and at most {DEEPEST_M:g} m, got {safe_depth_m:g}"
        )


def box_around(marks: Sequence[Mark]) -> Box:
    """Return the waters a passage may need for its detours, in whole degrees.

    Parameters
    ----------
    marks : sequence of Mark
        At least one.
    """
    first = marks[0].lon
    east = [(mark.lon - first + 180.0) % 360.0 - 180.0 for mark in marks]
    lats = [mark.lat for mark in marks]
    south, north, west, far = min(lats), max(lats), min(east), max(east)
    squeeze = math.cos(math.radians(min(max(abs(south), abs(north)), HIGHEST_DEG)))
    apart_nm = MILES_PER_DEGREE * math.hypot(north - south, (far - west) * squeeze)
    margin = max(DETOUR_NM, apart_nm) / MILES_PER_DEGREE
    bottom = max(math.floor(south - margin), -HIGHEST_DEG)
    top = min(math.ceil(north + margin), HIGHEST_DEG)
    narrow = math.cos(math.radians(max(abs(bottom), abs(top))))
    west, far = math.floor(first + west - margin / narrow), math.ceil(first + far + margin / narrow)
    if far - west >= 360:
        return Box(bottom, -180.0, top, 180.0)
    return Box(bottom, _wrapped(west), top, _wrapped(far))


def _wrapped(lon: float) -> float:
    return (lon + 180.0) % 360.0 - 180.0


def coast_areas(box: Box) -> list[Area]:
    """Return the land of the built-in coast within a box."""
    from goosewing.hazards.coast import land

    shapes = [land(box.south, west, box.north, east) for west, east in _panes(box)]
    return [Area(shape=each, kind="land", source=COAST) for each in shapes if not each.is_empty]


def _panes(box: Box) -> list[tuple[float, float]]:
    """Part a box from west to east: no edge of land cut off at it is wider than half the earth."""
    if box.width_deg <= WIDEST_PANE_DEG:
        return [(box.west, box.east)]
    count = math.ceil(box.width_deg / WIDEST_PANE_DEG)
    edges = [box.west + box.width_deg * at / count for at in range(count + 1)]
    return [(_wrapped(west), _wrapped(east)) for west, east in pairwise(edges)]


def edges(box: Box) -> list[Area]:
    """Return a fence round a box: beyond it nothing is known, so no plan may lead there."""
    strips = []
    for west, east in _panes(box):
        far = west + (east - west) % 360.0
        strips += [
            (west, box.south - 1.0, far, box.south), (west, box.north, far, box.north + 1.0)
        ]  # fmt: skip
    if box.width_deg < 360.0:
        west, east = box.west, box.west + box.width_deg
        strips += [
            (west - 1.0, box.south, west, box.north), (east, box.south, east + 1.0, box.north)
        ]  # fmt: skip
    return [Area(shape=shapely.box(*strip), name=EDGE) for strip in strips]
