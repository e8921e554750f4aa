"""How targets are printed, for the helm."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from goosewing_cli.show import close_sheet, console_for, paragraph, print_table

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from goosewing.velocities.targets import SailSector, Target, Targets, WindTargets


def show_targets(targets: Targets, written: Sequence[Path] = ()) -> None:
    """Print a block for each wind speed: the best angles, then what to carry."""
    console = console_for()
    console.print(Text(f"{targets.boat}: targets", style="bold"))
    for wind in targets.wind_speeds:
        if not (wind.upwind or wind.downwind):
            continue
        console.print()
        console.print(Text(f"{wind.tws_kn:g} kn of true wind", style="bold"))
        print_table(console, _table(wind))
        for line in _sector_lines(wind):
            paragraph(console, line, indent="  ")
    console.print()
    paragraph(
        console,
        "TWA and AWA from the bow; kn through the water; VMG straight up or down the wind, with "
        "leeway. In the groove she loses under 1 % of VMG.",
    )
    close_sheet(console, targets.notices, targets.cautions, written)


def _table(wind: WindTargets) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("", no_wrap=True)
    table.add_column("Sails")
    for name in ("TWA", "AWA", "kn", "VMG", "heel", "leeway", "groove"):
        table.add_column(name, justify="right", no_wrap=True)
    for where, found in (("up", wind.upwind), ("down", wind.downwind)):
        # The best first: that is what she steers.
        ordered = sorted(found, key=lambda each: -each.vmg_kn)
        for at, target in enumerate(ordered):
            table.add_row(where if at == 0 else "", *_cells(target, best=at == 0))
    return table


def _cells(target: Target, *, best: bool) -> list[Text]:
    low, high = (f"{edge:.0f}" for edge in target.groove_twa_deg)
    cells = (
        target.sail_set,
        f"{target.twa_deg:.0f}°",
        f"{target.awa_deg:.0f}°",
        f"{target.boat_speed_kn:.1f}",
        f"{target.vmg_kn:.1f}",
        "?" if target.heel_deg is None else f"{target.heel_deg:.0f}°",
        "?" if target.heel_deg is None else f"{target.leeway_deg:.0f}°",
        f"{low}°" if low == high else f"{low}–{high}°",
    )
    return [Text(cell, style="bold" if best else "dim") for cell in cells]


def _sector_lines(wind: WindTargets) -> list[str]:
    lines = []
    if wind.carry:
        lines.append(f"Carry: {_sectors(wind.carry)}.")
    if wind.not_worth_sailing:
        lines.append(f"Not worth sailing: {_sectors(wind.not_worth_sailing)}.")
    return lines


def _sectors(sectors: Sequence[SailSector]) -> str:
    return ", ".join(
        f"{each.sail_set} {each.twa_deg[0]:.0f}–{each.twa_deg[1]:.0f}°" for each in sectors
    )
