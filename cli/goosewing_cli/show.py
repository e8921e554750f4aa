"""How a plan is printed, for somebody tired."""

from __future__ import annotations

import textwrap
from datetime import timedelta
from typing import TYPE_CHECKING

from rich.console import Console
from rich.table import Table
from rich.text import Text

from goosewing.exchange.wording import BEYOND, angle_words, leaving_words
from goosewing.words import (
    clock,
    heading_words,
    hours_and_minutes,
    listed,
    manoeuvre_words,
    position_words,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime, tzinfo
    from pathlib import Path

    from goosewing.records import Board, Fix, Leg, Manoeuvre, Mark, Plan

SIDE_STYLE = {"port": "red", "starboard": "green"}
"""The trade's own colours; the word is always printed as well."""

NARROWEST = 80


def show_plan(plan: Plan, *, written: Sequence[Path] = (), zone: tzinfo | None = None) -> None:
    """Print a plan as a table, with what it saves, why, and the cautions."""
    console = console_for()
    console.print(Text(_title(plan), style="bold"))
    if plan.conditions:
        paragraph(console, plan.conditions)
    for number, leg in enumerate(plan.legs, 1):
        console.print()
        console.print(Text(f"Leg {number}  {leg.origin} to {leg.destination}", style="bold"))
        console.print(_leg_table(leg, plan.marks[number], zone))
        for reason in leg.reasons:
            paragraph(console, reason, indent="  ")
    console.print()
    for line in summary(plan):
        paragraph(console, line)
    if zone is not None:
        paragraph(console, zone_words(plan, zone))
    for notice in plan.notices:
        paragraph(console, f"Note: {notice}")
    console.print()
    for caution in plan.cautions:
        paragraph(console, f"Caution: {caution}")
    if written:
        console.print()
        # As text, for a file's name may hold brackets; and never broken over two lines.
        console.print(Text(f"Written: {', '.join(map(str, written))}"), soft_wrap=True)


def console_for() -> Console:
    """Return the console to print on, never narrower than the tables need."""
    console = Console(highlight=False, soft_wrap=False)
    if console.width < NARROWEST or not console.is_terminal:
        console.width = max(console.width, NARROWEST)
    return console


def paragraph(console: Console, text: str, indent: str = "") -> None:
    """Print text wrapped at the console's width, never wider than is read well."""
    width = min(console.width, 100)
    for line in textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=indent + "  "):
        console.print(Text(line))


def zone_words(plan: Plan, zone: tzinfo) -> str:
    """Say which zone the local times are in, and what it makes of the arrival."""
    leaves, arrives = (
        f"{(time + timedelta(seconds=30)).astimezone(zone):%Y-%m-%d %H:%M %Z}"
        for time in (plan.departure, plan.arrival)
    )
    return f"Local time: departure {leaves}, arrival {arrives}."


def _title(plan: Plan) -> str:
    names = [plan.legs[0].origin, *(leg.destination for leg in plan.legs)]
    return f"{plan.boat}: {' – '.join(names)}, {plan.departure:%Y-%m-%d} {clock(plan.departure)}"


def _leg_table(leg: Leg, mark: Mark, zone: tzinfo | None) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("UTC", no_wrap=True)
    if zone is not None:
        table.add_column("local", no_wrap=True)
    table.add_column("Board", ratio=1)
    table.add_column("Steer", justify="right")
    for name in ("AWA", "kn", "nm", "lasts"):
        table.add_column(name, justify="right", no_wrap=True)
    waiting = list(leg.manoeuvres)
    for number, board in enumerate(leg.boards):
        done, waiting = _before(board, waiting)
        _add_board(table, board, done, zone, first=number == 0)
    last = leg.boards[-1]
    assert last.end.time is not None
    table.add_row(*_times(last.end.time, zone), _reached(mark, last.end))
    return table


def _times(time: datetime, zone: tzinfo | None) -> list[str]:
    """Return a time in UTC and, with a zone, by the ship's clock, without its zone's name."""
    if zone is None:
        return [clock(time)]
    return [clock(time), f"{(time + timedelta(seconds=30)).astimezone(zone):%H:%M}"]


def _reached(mark: Mark, end: Fix) -> Text:
    words = leaving_words(mark)
    if words is None:
        return Text(f"{mark.name} reached", style="bold")
    said = Text(f"{mark.name}: {words}", style="bold")
    return said.append(f"\nat {position_words(end.lat, end.lon)}", style="not bold")


def _before(board: Board, waiting: list[Manoeuvre]) -> tuple[list[Manoeuvre], list[Manoeuvre]]:
    """Split off the manoeuvres that come before a board starts."""
    assert board.start.time is not None
    now = [m for m in waiting if m.time < board.start.time or m.cost_s == 0.0]
    return now, [m for m in waiting if m not in now]


def _add_board(
    table: Table, board: Board, done: list[Manoeuvre], zone: tzinfo | None, *, first: bool
) -> None:
    assert board.start.time is not None
    if done:
        words = manoeuvre_words([m.kind for m in done], board.tack, board.sail_set)
        said = Text(f"{words} ({_short(sum(m.cost_s for m in done))})", style="bold")
        if not first:
            where = position_words(board.start.lat, board.start.lon)
            said.append(f"\nat {where}", style="not bold")
        table.add_row(*_times(done[0].time, zone), said)
    sails = Text(f"{board.tack} tack", style=SIDE_STYLE[board.tack])
    sails.append(f", {board.sail_set}", style="default")
    for more in (angle_words(board), BEYOND if board.beyond_forecast else None):
        if more is not None:
            sails.append(f"\n{more}", style="default")
    table.add_row(
        *_times(board.start.time, zone),
        sails,
        # One below the other: side by side they would take the room of the words.
        heading_words(
            board.heading_deg, board.heading_magnetic_deg, board.heading_compass_deg
        ).replace(" ", "\n"),
        f"{board.awa_deg:.0f}°",
        f"{board.boat_speed_kn:.1f}",
        f"{board.distance_nm:.1f}",
        hours_and_minutes(board.elapsed_h),
    )


def _short(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"


def summary(plan: Plan) -> list[str]:
    """Say how long it takes, what it saves and against what."""
    arrival = f"{plan.arrival:%Y-%m-%d} {clock(plan.arrival)}"
    lines = [
        f"Arrival {arrival}: {hours_and_minutes(plan.elapsed_h)}, "
        f"{plan.distance_nm:.1f} nm over the ground, {plan.log_nm:.1f} nm by log."
    ]
    if plan.saved_min is None:
        which = [leg.destination for leg in plan.legs if leg.straight_h is None]
        lines.append(f"No straight course can be held to {listed(which)}: nothing to compare.")
    elif plan.saved_min >= 0.5:
        lines.append(f"Saves {plan.saved_min:.0f} min against the straight course.")
    elif plan.saved_min > -0.5:
        lines.append("Saves nothing against the straight course: it is the straight course.")
    else:
        lines.append(
            f"Takes {-plan.saved_min:.0f} min more than the straight course would without its "
            "manoeuvres, or than it would if nothing else had been asked for."
        )
    return [*lines, *_by_leg(plan), *_at_best(plan)]


def _at_best(plan: Plan) -> list[str]:
    """In changing wind, say how far the plan may be from the best possible."""
    if plan.relaxed_h is not None:
        best = hours_and_minutes(plan.relaxed_h)
        return [f"At best, manoeuvres costing nothing, it would take {best} (an estimate)."]
    changing = any(len(board.points) > 2 for leg in plan.legs for board in leg.boards)
    if plan.bound_h is not None and changing:
        best = hours_and_minutes(plan.bound_h)
        return [f"No boards at all could take less than {best}."]
    return []


def _by_leg(plan: Plan) -> list[str]:
    """Say where the minutes come from; a single leg has said it already."""
    gains = [
        f"{leg.saved_min:.0f} min on the way to {leg.destination}"
        for leg in plan.legs
        if leg.saved_min is not None and leg.saved_min >= 0.5
    ]
    if not gains or (len(plan.legs) == 1 and plan.saved_min is not None):
        return []
    return [f"Saved: {listed(gains)}."]
