"""How what was learned from logs is printed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from goosewing.words.figures import hours_and_minutes, three_figures
from goosewing_cli.show import console_for, paragraph, print_table

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from goosewing.logbook.estimates import Estimate
    from goosewing.logbook.fit import Fitted
    from goosewing.logbook.leeway import LeewayFound
    from goosewing.logbook.wandering import ShiftsFound, Told


def show_leeway(found: LeewayFound) -> None:
    """Print k with its interval, what came out with it, and what to write into the boat file."""
    console = console_for()
    k = found.coefficient
    console.print(
        Text(f"Leeway coefficient {k:.1f} ({found.low:.1f} to {found.high:.1f})", style="bold")
    )
    what = "steady stretches" if found.by == "log" else "sights of the wake"
    words = f"From {found.readings} {what}"
    if found.boards is not None:
        words += f": {found.boards[0]} boards on port tack, {found.boards[1]} on starboard"
    paragraph(console, f"{words}; 95 % interval.")
    if found.compass_offset_deg is not None:
        paragraph(console, f"The compass reads {compass_words(found.compass_offset_deg)}.")
    if found.log_factor is not None:
        paragraph(console, f"The log's speed times {found.log_factor:.3f} is her speed.")
    paragraph(
        console,
        f"Heeled 20° at 5.5 kn she makes {k * 20.0 / 5.5**2:.0f}° of leeway. In the boat file:",
    )
    console.print(Text(f"  [leeway]\n  coefficient = {k:.1f}"), soft_wrap=True)
    for notice in found.notices:
        paragraph(console, f"Note: {notice}")


def compass_words(offset_deg: float) -> str:
    """Say what a compass reads too much or too little."""
    if abs(offset_deg) < 0.05:
        return "right"
    return f"{abs(offset_deg):.1f}° too {'much' if offset_deg > 0.0 else 'little'}"


def show_shifts(found: ShiftsFound) -> None:
    """Print how far and how long the wind wandered, and what to give a plan."""
    console = console_for()
    sigma, tau = _with_interval(found.sigma_deg, ".1f"), _with_interval(found.tau_min, ".0f")
    console.print(Text(f"Shifts of {sigma}° that last {tau} min", style="bold"))
    paragraph(
        console,
        f"From {found.minutes} steady minutes under sail in {hours_and_minutes(found.lasting_h)}; "
        f"95 % intervals. In the mean the wind came from {three_figures(found.mean_from_deg)}"
        f"{_turning(found.turning_deg_h)}.",
    )
    if found.speed_share is None or found.speed_tau_min is None:
        paragraph(console, "The log is too short to tell how its speed wandered.")
    else:
        paragraph(
            console,
            f"Its speed wandered by {100.0 * found.speed_share.value:.0f} % for some "
            f"{found.speed_tau_min.value:.0f} min; no rule uses that, nor gusts of seconds.",
        )
    paragraph(console, "For a plan in such a wind:")
    shifts = found.shifts
    console.print(Text(f"  --shifts {shifts.sigma_deg:.1f}/{shifts.tau_min:.1f}"))
    for notice in found.notices:
        paragraph(console, f"Note: {notice}")


def _with_interval(figure: Told, form: str) -> str:
    most = f"over {figure.low:{form}}" if figure.high is None else (
        f"{figure.low:{form}} to {figure.high:{form}}"
    )  # fmt: skip
    return f"{figure.value:{form}} ({most})"


def _turning(deg_h: float) -> str:
    if abs(deg_h) < 0.5:
        return ""
    way = "veered" if deg_h > 0.0 else "backed"
    return (
        f" and {way} by {abs(deg_h):.0f}° an hour, which is taken off as a forecast would know it"
    )


def show_fit(found: Fitted, written: Sequence[Path]) -> None:
    """Print what the log told of the sensors and of the boat, and what was written."""
    from goosewing.files.disk import shown

    console = console_for()
    tally = found.tally
    console.print(
        Text(f"{found.boat.name}: {tally.used} steady stretches under sail", style="bold")
    )
    paragraph(
        console,
        f"Of {tally.logged_h:.1f} h logged, {tally.engine_h:.1f} h were under engine and left "
        f"out, {tally.unsteady_h:.1f} h unsteady.",
    )
    console.print()
    console.print(Text("Sensors", style="bold"))
    print_table(console, _sensors(found))
    console.print()
    if found.performance is not None:
        console.print(Text("Performance, against the base", style="bold"))
        print_table(console, _factors(found.performance))
    for each in found.sail_sets:
        paragraph(
            console,
            f"{each.sail_set}: {each.stretches} stretches, each {100 * each.error:.1f} % off the "
            f"polar; its band is ±{100 * each.median_half_band:.1f} % where there are stretches.",
        )
    for notice in found.notices:
        paragraph(console, f"Note: {notice}")
    for path in written:
        console.print(Text(f"Written: {shown(path)}"), soft_wrap=True)


UNTOLD = "can't be told from this log"


def _sensors(found: Fitted) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), show_header=False)
    table.add_column("", no_wrap=True)
    table.add_column("", justify="right", no_wrap=True)
    table.add_column("")
    rows: tuple[tuple[str, Estimate, str, str], ...] = (
        ("log: speed is what it shows times", found.motion.log_factor, ".3f", ""),
        ("compass reads too much", found.motion.compass_offset_deg, "+.1f", "°"),
        ("  besides, times sine of heading", found.motion.deviation_sin_deg, "+.1f", "°"),
        ("  besides, times cosine of heading", found.motion.deviation_cos_deg, "+.1f", "°"),
        ("vane reads too far to starboard", found.vane.offset_deg, "+.1f", "°"),
        ("vane reads too wide, close-hauled", found.vane.upwash_deg, "+.1f", "°"),
        ("leeway coefficient", found.motion.leeway, ".1f", ""),
    )
    for what, each, form, unit in rows:
        table.add_row(what, *_told(each, form, unit))
    return table


def _told(each: Estimate, form: str, unit: str) -> tuple[str, str]:
    if not each.told:
        return "", UNTOLD
    return f"{each.value:{form}}{unit}", f"{each.low:{form}} to {each.high:{form}}{unit}"


def _factors(performance: dict[str, Estimate]) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), show_header=False)
    for _ in range(3):
        table.add_column("", no_wrap=True)
    for name, each in performance.items():
        table.add_row(name, *_told(each, ".3f", ""))
    return table
