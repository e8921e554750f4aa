"""What commands have in common where land and shoals are kept clear of."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

from goosewing_cli.declared import option

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.hazards.areas import Hazards
    from goosewing.hazards.chart import Chart
    from goosewing.hazards.read.tide import Tide
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
    """

    hazards: Hazards | None = None
    notices: tuple[str, ...] = ()
    files: tuple[Path, ...] = ()
    words: str | None = None


def kept_clear(
    marks: Sequence[Mark],
    files: list[Path] | None,
    safe_depth: float | None,
    coast: bool,
    clearance: float,
    tide_m: float | None = None,
) -> KeptClear:
    """Read all that is kept clear of on the way over these marks.

    Raises
    ------
    InputError
        As `read_chart`.
    """
    chart = read_chart(files, safe_depth, coast, clearance, marks, tide_m)
    if chart is None:
        return KeptClear()
    words = looked_at(files or (), coast=coast, clearance=clearance)
    return KeptClear(chart.around(marks), chart.notices, tuple(files or ()), words)


def read_tide(text: str) -> Tide:
    """Read heights of tide: metres, or a table."""
    from goosewing.hazards.read import tide

    return tide.read_tide(text)


def looked_at(files: Sequence[Path], *, coast: bool, clearance: float) -> str:
    """Say what a plan was kept clear of, and how far."""
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
