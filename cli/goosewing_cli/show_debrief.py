"""How a debrief is printed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from goosewing.words.figures import hours_and_minutes
from goosewing_cli.show import SIDE_STYLE, close_sheet, console_for, paragraph, print_table

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from goosewing.logbook.debrief import BoardSailed, Debrief, MarkPassed

CHANGES = {
    "pinching": "not pinching: bear away to the best angle",
    "footing": "not footing: head up to the best angle",
    "too deep": "heading up to the best angle downwind",
    "too high": "bearing away to the best angle downwind",
    "overstood": "turning at the layline and not past it",
    "manoeuvres": "turns as quick as the boat file reckons with",
    "wrong sails": "the sails that her tables carry there",
    "not worth sailing": "keeping out of the sector not worth sailing",
    "other": "boat speed: trim, sails and bottom",
}
"""What would have saved the minutes that each cause cost."""

LOST = {"other": "slower than the tables"}


def show_debrief(found: Debrief, *, written: Sequence[Path] = ()) -> None:
    """Print boards, turns, what it cost, and what one change would have saved most."""
    console = console_for()
    console.print(
        Text(f"{found.boat}, {found.start:%Y-%m-%d %H:%M} to {found.end:%H:%M} UTC", style="bold")
    )
    engine = f", {hours_and_minutes(found.engine_h)} under engine" if found.engine_h > 0.01 else ""
    paragraph(
        console,
        f"{hours_and_minutes(found.sailed_h)} under sail{engine}, {found.log_nm:.1f} nm through "
        "the water.",
    )
    console.print()
    print_table(console, _boards(found))
    legend = "%: of the best VMG beating and running, else of the tables' speed; lost: minutes"
    past = "; past: miles past the layline" if _any_past(found) else ""
    paragraph(console, f"{legend}{past}.")
    if found.manoeuvres:
        console.print()
        print_table(console, _turns(found))
    if found.marks:
        console.print()
        for mark in found.marks:
            paragraph(console, _mark_words(mark))
    console.print()
    for each in found.costs:
        if each.minutes >= 0.05:
            console.print(
                Text(f"  {LOST.get(each.what, each.what):24}{each.minutes:6.1f} min"),
                soft_wrap=True,
            )
    paragraph(console, _verdict(found), style="bold")
    close_sheet(console, found.notices, found.cautions, written)


def _verdict(found: Debrief) -> str:
    if found.most is None:
        return "Nothing to be had: she was sailed to her targets."
    minutes = next(each.minutes for each in found.costs if each.what == found.most)
    return f"Most would have been saved by {CHANGES[found.most]}: {minutes:.1f} min."


def _any_past(found: Debrief) -> bool:
    return any(board.overstood_nm for board in found.boards)


def _boards(found: Debrief) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("From", no_wrap=True)
    table.add_column("Board", no_wrap=True)
    past = _any_past(found)
    columns = ("min", "wind", "TWA", "best", "kn", "VMG", "%", "lost", *(["past"] if past else []))
    for name in columns:
        table.add_column(name, justify="right", no_wrap=True)
    for board in found.boards:
        table.add_row(*_cells(board)[: len(columns) + 2])
    return table


def _cells(board: BoardSailed) -> list[str | Text]:
    share = ""
    if board.vmg_kn is not None and board.target_vmg_kn:
        share = f"{100 * board.vmg_kn / board.target_vmg_kn:.0f}"
    elif board.polar_speed_kn:
        share = f"{100 * board.boat_speed_kn / board.polar_speed_kn:.0f}"
    return [
        f"{board.start.time:%H:%M}",
        Text(f"{board.tack} {board.point}", style=SIDE_STYLE[board.tack]),
        f"{60 * board.elapsed_h:.0f}",
        f"{board.tws_kn:.0f}",
        f"{board.twa_deg:.0f}°",
        "" if board.best_twa_deg is None else f"{board.best_twa_deg:.0f}°",
        f"{board.boat_speed_kn:.1f}",
        "" if board.vmg_kn is None else f"{board.vmg_kn:.1f}",
        share,
        f"{round(board.lost_min, 1) + 0.0:.1f}",
        f"{board.overstood_nm:.2f}" if board.overstood_nm else "",
    ]


def _turns(found: Debrief) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("At", no_wrap=True)
    table.add_column("Turn", no_wrap=True)
    table.add_column("cost s", justify="right", no_wrap=True)
    table.add_column("boat file s", justify="right", no_wrap=True)
    for turn in found.manoeuvres:
        table.add_row(
            f"{turn.time:%H:%M:%S}", turn.kind, f"{turn.cost_s:.0f}", f"{turn.boat_file_s:.0f}"
        )
    return table


def _mark_words(mark: MarkPassed) -> str:
    if mark.passed is None:
        return f"{mark.mark}: not passed within half a mile."
    words = f"{mark.mark}: passed {mark.passed:%H:%M}"
    if mark.late_min is None:
        return f"{words}."
    side = "later" if mark.late_min >= 0.0 else "earlier"
    return f"{words}, {abs(mark.late_min):.0f} min {side} than planned."
