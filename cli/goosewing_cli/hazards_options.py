"""What commands have in common where land and shoals are kept clear of."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

from goosewing_cli.declared import option

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.hazards.areas import Hazards
    from goosewing.hazards.chart import Chart
    from goosewing.hazards.read.tide import Tide
    from goosewing.marks.dangers import Danger
    from goosewing.records import Mark

HazardFiles = Annotated[
    list[Path] | None,
    option(
        "--hazards",
        metavar="FILE",
        help="Keep clear of what this file holds: GeoJSON, GPX, shapefile, GeoPackage or S-57 "
        "cell; repeatable.",
    ),
]
SafeDepth = Annotated[
    float | None,
    option(
        "--safe-depth", metavar="METRES", help="With S-57 cells: keep clear of less charted depth."
    ),
]
TideText = Annotated[
    str | None,
    option(
        "--tide",
        metavar="METRES|FILE",
        help="Height of tide over charted depths, or a table time,height_m: its lowest while "
        "under way counts.",
    ),
]
UseCoast = Annotated[
    bool,
    option("--coast", help="Keep clear of the built-in coast; coarse, not for navigation."),
]
Clearance = Annotated[
    float,
    option("--clearance", metavar="NM", help="How far to keep off land and hazards."),
]


class DangerChoice(StrEnum):
    """Which waypoints of the marks' own file are dangers."""

    said = "said"
    symbols = "symbols"
    all = "all"
    none = "none"


Dangers = Annotated[
    DangerChoice,
    option(
        "--dangers",
        help="Keep clear of waypoints of MARKS.gpx: those whose symbol, type or name says rock, "
        "wreck, shoal …; by symbol and type alone; all; or none.",
    ),
]
DangerDistance = Annotated[
    float,
    option("--danger-distance", metavar="NM", help="How far to keep off such waypoints."),
]
USUAL_NM = 0.1
"""As `goosewing.marks.dangers.USUAL_NM`, which would take half a second to load for --help."""


class Noted(NamedTuple):
    """Waypoints of the marks' own file, and which of them count."""

    waypoints: tuple[Mark, ...]
    file: Path
    which: DangerChoice = DangerChoice.said
    distance_nm: float = USUAL_NM


class KeptClear(NamedTuple):
    """What a passage keeps clear of.

    Attributes
    ----------
    hazards : Hazards or None
        None where nothing was asked for.
    notices : tuple of str
        For the plan.
    files : tuple of path
        What was read: no output may overwrite it.
    words : str or None
        What it is, for whoever reads the plan; None where nothing was asked for.
    dangers : tuple of Mark
        Waypoints among it.
    land : bool
        Whether more than waypoints was looked at.
    """

    hazards: Hazards | None = None
    notices: tuple[str, ...] = ()
    files: tuple[Path, ...] = ()
    words: str | None = None
    dangers: tuple[Mark, ...] = ()
    land: bool = False


def kept_clear(
    marks: Sequence[Mark],
    files: list[Path] | None,
    safe_depth: float | None,
    coast: bool,
    clearance: float,
    tide_m: float | None = None,
    noted: Noted | None = None,
) -> KeptClear:
    """Read all that is kept clear of on the way over these marks.

    Parameters
    ----------
    marks, files, safe_depth, coast, clearance, tide_m
        As for `read_chart`.
    noted : Noted, optional
        Waypoints of the marks' own file.

    Raises
    ------
    InputError
        As `read_chart`, and if the distance makes no sense.
    """
    chart = read_chart(files, safe_depth, coast, clearance, marks, tide_m)
    found, told = ((), ()) if noted is None else _dangers(noted, marks)
    if chart is None and tide_m is not None:
        from goosewing.hazards.chart import NO_CELLS

        told = (*told, NO_CELLS.format(asked="tide"))
    if chart is None and not found:
        return KeptClear(notices=told)
    with_them = _with_dangers(chart, found, noted)
    words = looked_at(files or (), coast=coast, clearance=clearance)
    if noted is not None and found:
        from goosewing.words.figures import listed

        words = listed(filter(None, (words, danger_words(found, noted.file))))
    return KeptClear(
        with_them.around(marks),
        (*with_them.notices, *told),
        tuple(files or ()),
        words,
        tuple(each.mark for each in found),
        land=chart is not None,
    )


def _dangers(noted: Noted, marks: Sequence[Mark]) -> tuple[tuple[Danger, ...], tuple[str, ...]]:
    """Find the dangers among waypoints, and say which they are."""
    if not noted.waypoints:
        return (), ()
    from goosewing.files.disk import shown
    from goosewing.marks import dangers

    found = dangers.dangers_among(noted.waypoints, marks, noted.which.value, noted.distance_nm)
    others = (
        [] if noted.which is DangerChoice.none else dangers.others(noted.waypoints, marks, found)
    )
    return found, dangers.told(found, others, shown(noted.file.name))


def chart_with_dangers(chart: Chart | None, noted: Noted, marks: Sequence[Mark]) -> Chart | None:
    """Add the dangers among waypoints to what else is kept clear of under way."""
    from dataclasses import replace

    found, told = _dangers(noted, marks)
    if not told:
        return chart
    whole = _with_dangers(chart, found, noted)
    return replace(whole, notices=(*whole.notices, *told)) if found or chart else None


def _with_dangers(chart: Chart | None, found: Sequence[Danger], noted: Noted | None) -> Chart:
    """Add dangers to what else is kept clear of."""
    from dataclasses import replace

    from goosewing.files.disk import shown
    from goosewing.hazards.chart import Chart
    from goosewing.marks.dangers import areas_of

    whole = chart or Chart()
    if noted is None or not found:
        return whole
    rings = areas_of(found, f"waypoint of {shown(noted.file.name)}", whole.clearance_nm)
    return replace(whole, areas=(*whole.areas, *rings))


def danger_words(found: Sequence[Danger], file: Path) -> str:
    """Say how many waypoints were kept clear of."""
    from goosewing.files.disk import shown

    count = f"{len(found)} waypoint{'' if len(found) == 1 else 's'}"
    return f"{count} of {shown(file.name)} marked as dangers"


def read_tide(text: str) -> Tide:
    """Read heights of tide: metres, or a table."""
    from goosewing.hazards.read import tide

    return tide.read_tide(text)


def looked_at(files: Sequence[Path], *, coast: bool, clearance: float) -> str | None:
    """Say what a plan was kept clear of, and how far; None where nothing was asked for."""
    if not files and not coast:
        return None
    from goosewing.files.disk import shown
    from goosewing.words.figures import listed

    names = [shown(path.name) for path in files]
    if coast:
        names.append("the built-in coast, which is coarse")
    off = f", kept {clearance:g} nm off" if clearance else ", kept no distance off"
    return f"what lies in {listed(names)}{off}"


def read_chart(
    files: list[Path] | None,
    safe_depth: float | None,
    coast: bool,
    clearance: float,
    marks: Sequence[Mark] = (),
    tide_m: float | None = None,
) -> Chart | None:
    """Read all that is to be kept clear of; None where nothing is asked for.

    Parameters
    ----------
    files, safe_depth, coast, clearance
        As the options give them.
    marks : sequence of Mark
        What lies far from all of these may be left out.
    tide_m : float, optional
        Height of tide over charted depths. [m]

    Raises
    ------
    InputError
        If a file is wrong, or an option makes no sense.
    """
    if not files and not coast and not clearance and safe_depth is None:
        return None
    from goosewing.errors import InputError
    from goosewing.hazards import chart

    chart.check_numbers(safe_depth, clearance)
    if not files and not coast:
        option = "--clearance" if clearance else "--safe-depth"
        raise InputError(f"{option} needs --hazards FILE or --coast to keep clear of")
    near = chart.box_around(marks) if marks else None
    return chart.read_chart(
        files or (), safe_depth_m=safe_depth, tide_m=tide_m, coast=coast,
        clearance_nm=clearance, near=near,
    )  # fmt: skip
