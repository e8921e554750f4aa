"""How what concerns the boat file is printed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from goosewing.boat.estimate.summary import remarks
from goosewing.records import CAUTIONS
from goosewing_cli.show import close_sheet, console_for, paragraph, print_table
from goosewing_cli.show_targets import show_targets

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from goosewing.boat.estimate.summary import Point, WindPoints
    from goosewing.boat.estimate.tables import Estimate
    from goosewing.boat.oddities import Oddity
    from goosewing.velocities.targets import Targets


def show_check(odd: Sequence[Oddity], places: Sequence[str], targets: Targets) -> None:
    """Print what is odd, a line each, then the targets."""
    console = console_for()
    if not odd:
        console.print(Text("Nothing odd found."))
    for each, where in zip(odd, places, strict=True):
        # Whole lines: a row and column broken over two is not found again.
        console.print(Text(f"Odd: {where}: {_words(each)}"), soft_wrap=True)
    console.print()
    show_targets(targets)


def _words(each: Oddity) -> str:
    if each.twa_deg is not None and each.tws_kn is not None:
        return f"at {each.twa_deg:g}° in {each.tws_kn:g} kn of wind, {each.what}"
    return each.what if each.sail_set is None else f"{each.sail_set} {each.what}"


def show_estimate(made: Estimate, winds: Sequence[WindPoints], written: Sequence[Path]) -> None:
    """Print what an estimate comes to, and what to know about it."""
    console = console_for()
    console.print(Text(f"{made.boat.name}: estimated from measurements", style="bold"))
    console.print()
    print_table(console, _estimate_table(winds))
    console.print()
    paragraph(
        console,
        "TWA from the bow; kn through the water, with the band that holds the truth four times in "
        "five; VMG straight up or down the wind, leeway counted.",
    )
    for remark in remarks(made):
        paragraph(console, remark)
    close_sheet(console, (), CAUTIONS, written)


def _estimate_table(winds: Sequence[WindPoints]) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("wind", justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)
    for name in ("TWA", "kn", "band", "VMG", "heel", "leeway"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("Sails")
    for wind in winds:
        label = f"{wind.tws_kn:g} kn"
        for where, point in (("up", wind.up), ("reach", wind.reach), ("down", wind.down)):
            if point is not None:
                table.add_row(label, where, *_point_cells(point, made_good=where != "reach"))
                label = ""
    return table


def _point_cells(point: Point, *, made_good: bool) -> tuple[str, ...]:
    return (
        f"{point.twa_deg:.0f}°",
        f"{point.boat_speed_kn:.1f}",
        f"{point.low_kn:.1f}–{point.high_kn:.1f}",
        f"{abs(point.vmg_kn):.1f}" if made_good else "",
        f"{point.heel_deg:.0f}°",
        f"{point.leeway_deg:.0f}°",
        point.sail_set,
    )
