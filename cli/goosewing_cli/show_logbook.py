"""How what was learned from logs is printed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from goosewing_cli.show import console_for, paragraph

if TYPE_CHECKING:
    from goosewing.logbook.leeway import LeewayFound


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
