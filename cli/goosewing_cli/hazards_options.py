"""What commands have in common where land and shoals are kept clear of."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.exchange.chart import Chart
    from goosewing.records import Mark

HazardFiles = Annotated[
    list[Path] | None,
    typer.Option(
        "--hazards",
        metavar="FILE",
        help="Keep clear of what this file holds: GeoJSON, GPX, shapefile, GeoPackage or S-57 "
        "cell; repeatable.",
    ),
]
SafeDepth = Annotated[
    float | None,
    typer.Option(
        "--safe-depth", metavar="METRES", help="With S-57 cells: keep clear of less charted depth."
    ),
]
UseCoast = Annotated[
    bool,
    typer.Option("--coast", help="Keep clear of the built-in coast; coarse, not for navigation."),
]
Clearance = Annotated[
    float,
    typer.Option("--clearance", metavar="NM", help="How far to keep off land and hazards."),
]


def chart_for(
    marks: Sequence[Mark],
    files: list[Path] | None,
    safe_depth: float | None,
    coast: bool,
    clearance: float,
) -> Chart | None:
    """Read all that is kept clear of on the way over these marks; None where nothing is.

    Raises
    ------
    InputError
        If a file is wrong, or an option makes no sense.
    """
    if not files and not coast and not clearance and safe_depth is None:
        return None
    from goosewing.exchange import chart

    near = chart.box_around(marks) if marks else None
    return chart.read_chart(
        files or (), safe_depth_m=safe_depth, coast=coast, clearance_nm=clearance, near=near
    )
