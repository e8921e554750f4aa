"""How a plan is printed, for somebody tired."""

from __future__ import annotations

import re
import textwrap
from dataclasses import dataclass
from datetime import UTC
from math import floor
from typing import TYPE_CHECKING

from rich.console import Console
from rich.table import Table
from rich.text import Text

from goosewing.units import nearest_minute
from goosewing.words.alternatives import alternative_lines
from goosewing.words.chances import chances_lines
from goosewing.words.crew import begun_words
from goosewing.words.ensembles import ensemble_lines
from goosewing.words.figures import (
    clock,
    heading_words,
    hours_and_minutes,
    listed,
    position_words,
    seconds_words,
)
from goosewing.words.names import with_plain_names
from goosewing.words.on_the_way import (
    from_mark_words,
    ground_words,
    passed_words,
    weather_words,
)
from goosewing.words.points import (
    BEYOND,
    UNDER_ENGINE,
    Steering,
    altered_words,
    angle_words,
    err_words,
    keep_words,
    leaving_words,
    manoeuvred_words,
    steering,
    uncounted_words,
)
from goosewing.words.titles import arrival
from goosewing.words.what_if import lines as what_if_lines

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime, tzinfo
    from pathlib import Path

    from goosewing.records import Board, Fix, Leg, Mark, Order, Plan, PoleWork

SIDE_STYLE = {"port": "red", "starboard": "green"}
"""The trade's own colours; the word is always printed as well."""

NARROWEST = 80

HOLD = "\ue000"
"""Stands for a blank at which a line may not end: Rich breaks at no-break spaces too."""


def show_plan(
    plan: Plan,
    *,
    written: Sequence[Path] = (),
    zone: tzinfo | None = None,
    hourly: bool = False,
    hints: Sequence[str] = (),
) -> None:
    """Print a plan as a table, with what it saves, why, and the cautions."""
    console = console_for()
    plan = with_plain_names(plan)
    console.print(Text(_title(plan), style="bold"), soft_wrap=True)
    if plan.conditions:
        paragraph(console, plan.conditions)
    dates = _Dates(plan, zone)
    heads = _Heads(two_miles=_drifts(plan), wind=_told_above(plan))
    before: Board | None = None
    for number, leg in enumerate(plan.legs, 1):
        console.print()
        console.print(Text(f"Leg {number}  {leg.origin} to {leg.destination}", style="bold"))
        print_table(console, _leg_table(leg, plan.marks[number], dates, before, heads))
        before = leg.boards[-1]
        for reason in leg.reasons:
            paragraph(console, reason, indent="  ")
        if leg.alternatives:
            print_table(console, _alternatives_table(leg))
    if hourly:
        from goosewing_cli.show_hours import show_hours

        show_hours(console, plan, zone)
    console.print()
    doubts = (*ensemble_lines(plan), *what_if_lines(plan), *chances_lines(plan))
    for line in (*summary(plan), *doubts):
        paragraph(console, line)
    if zone is not None:
        paragraph(console, zone_words(plan, zone))
    notices = (*plan.notices, *(passed_words(each) for each in plan.passed))
    close_sheet(console, notices, plan.cautions, written, hints)


def close_sheet(
    console: Console,
    notices: Sequence[str],
    cautions: Sequence[str],
    written: Sequence[Path] = (),
    hints: Sequence[str] = (),
) -> None:
    """Print what every sheet ends with."""
    for notice in notices:
        paragraph(console, f"Note: {notice}")
    for hint in hints:
        paragraph(console, f"Hint: {hint}")
    console.print()
    for caution in cautions:
        paragraph(console, f"Caution: {caution}")
    if written:
        console.print()
        # As text, for a file's name may hold brackets; and never broken over two lines.
        console.print(Text(f"Written: {', '.join(map(str, written))}"), soft_wrap=True)


def console_for() -> Console:
    """Return the console to print on, never narrower than the tables need."""
    console = Console(highlight=False, soft_wrap=False, emoji=False, markup=False)
    if console.width < NARROWEST or not console.is_terminal:
        console.width = max(console.width, NARROWEST)
    return console


def print_table(console: Console, table: Table) -> None:
    """Print a table without blanks at the ends of its lines, held words in one piece."""
    lines = []
    for segments in console.render_lines(table, pad=False):
        line = Text()
        for segment in segments:
            line.append(segment.text.replace(HOLD, " "), style=segment.style)
        line.rstrip()
        lines.append(line)
    console.print(Text("\n").join(lines), soft_wrap=True)


def held(words: str) -> str:
    """Keep a table from breaking these words over two lines."""
    return words.replace(" ", HOLD)


def paragraph(console: Console, text: str, indent: str = "", style: str = "") -> None:
    """Print text wrapped at the console's width, never wider than is read well."""
    width = min(console.width, 100)
    whole = re.sub(r"(?<=\d) (?=(?:kn|nm|h|min|s)\b)", HOLD, text)
    for line in textwrap.wrap(whole, width, initial_indent=indent, subsequent_indent=indent + "  "):
        console.print(Text(line.replace(HOLD, " "), style=style))


def zone_words(plan: Plan, zone: tzinfo) -> str:
    """Say which zone the local times are in, and what it makes of the arrival."""
    leaves, arrives = (
        f"{nearest_minute(time).astimezone(zone):%Y-%m-%d %H:%M %Z}"
        for time in (plan.departure, plan.arrival)
    )
    return f"Local time: departure {leaves}, arrival {arrives}."


def _title(plan: Plan) -> str:
    names = [plan.legs[0].origin, *(leg.destination for leg in plan.legs)]
    return f"{plan.boat}: {' – '.join(names)}, {plan.departure:%Y-%m-%d} {clock(plan.departure)}"


class _Dates:
    """Which dates the times on the sheet are of; the title has told the first."""

    def __init__(self, plan: Plan, zone: tzinfo | None) -> None:
        self.zone = zone
        self._told = [_minute(plan.departure).date()] * (1 if zone is None else 2)

    def new(self, time: datetime) -> str | None:
        """Return what to say before a row of this time, if its date is another than before."""
        zones = [UTC] if self.zone is None else [UTC, self.zone]
        dates = [_minute(time).astimezone(zone).date() for zone in zones]
        names = ["UTC", "local"]
        changed: dict[date, list[str]] = {}
        for day, told, name in zip(dates, self._told, names, strict=False):
            if day != told:
                changed.setdefault(day, []).append(name)
        self._told = dates
        said = [f"{day} {' and '.join(of)}" for day, of in changed.items()]
        return ", ".join(said) or None


def _minute(time: datetime) -> datetime:
    """Round as `goosewing.words.figures.clock` does."""
    return nearest_minute(time.astimezone(UTC))


def _add_row(table: Table, dates: _Dates, time: datetime, *cells: str | Text) -> None:
    new = dates.new(time)
    blank = [""] * (0 if dates.zone is None else 1)
    if new is not None:
        table.add_row("", *blank, Text(held(new), style="dim"))
    table.add_row(*_times(time, dates.zone), *cells)


@dataclass(slots=True)
class _Heads:
    """What the tables of a plan have in common."""

    two_miles: bool
    """Whether miles by log and over the ground differ anywhere."""
    wind: str = ""
    """The wind and stream told last: only another is told again."""


def _told_above(plan: Plan) -> str:
    """Return the wind and stream that hold for the whole passage: its conditions tell them."""
    every = {
        "\n".join(weather_words(board.weather))
        for leg in plan.legs
        for board in leg.boards
        if board.weather is not None
    }
    return every.pop() if len(every) == 1 else ""


def _drifts(plan: Plan) -> bool:
    return any(
        f"{board.log_nm:.1f}" != f"{board.distance_nm:.1f}"
        for leg in plan.legs
        for board in leg.boards
    )


def _leg_table(leg: Leg, mark: Mark, dates: _Dates, before: Board | None, heads: _Heads) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("UTC", no_wrap=True)
    if dates.zone is not None:
        table.add_column("local", no_wrap=True)
    table.add_column("Board", ratio=1)
    table.add_column("Steer", justify="right")
    miles = ("nm log", "nm ground") if heads.two_miles else ("nm",)
    for name in ("AWA", "kn", *miles, "lasts"):
        table.add_column(name.replace(" ", "\n"), justify="right", no_wrap=True)
    for number, board in enumerate(leg.boards):
        _add_board(table, board, _changes(before, board, number), dates, heads, first=number == 0)
        for nth, order in enumerate(board.orders[1:], 1):
            _add_order(table, board.orders[nth - 1], order, steering(board, nth), dates)
        ahead = leg.boards[number + 1 : number + 2]
        until = (ahead[0].point or "the turn") if ahead else mark.name
        for begun in (board.pole_down, board.pole_ready):
            if begun is not None:
                _add_begun(table, board, begun, until, dates)
        before = board
    last = leg.boards[-1]
    assert last.end.time is not None
    _add_row(table, dates, last.end.time, _reached(mark, last.end))
    return table


def _alternatives_table(leg: Leg) -> Table:
    """Tell what else the leg could be sailed by: a line each, in the order of what it adds."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("", width=0)
    table.add_column("Instead", ratio=1)
    table.add_column("passage", justify="right", no_wrap=True)
    table.add_column("leg", justify="right", no_wrap=True)
    table.add_column("manoeuvres", ratio=1)
    for each in alternative_lines(leg):
        name = "; ".join(filter(None, (each.name, each.near)))
        table.add_row("", name, each.added, each.takes, each.manoeuvres)
    return table


def _times(time: datetime, zone: tzinfo | None) -> list[str]:
    """Return a time in UTC and, with a zone, by the ship's clock, without its zone's name."""
    if zone is None:
        return [clock(time)]
    return [clock(time), f"{nearest_minute(time).astimezone(zone):%H:%M}"]


def _reached(mark: Mark, end: Fix) -> Text:
    words = leaving_words(mark)
    if words is None:
        return Text(f"{mark.name} reached", style="bold")
    hand, *off = words.split(", ")
    said = Text(f"{mark.name}: {', '.join([hand, *map(held, off)])}", style="bold")
    return said.append(f"\n{_at(end)}", style="not bold")


def _at(place: Fix | Order | PoleWork) -> str:
    # Between latitude and longitude a line may end: a narrow column would cut them off.
    lat, lon = position_words(place.lat, place.lon).split(" ")
    return f"{held(f'at {lat}')} {lon}"


def _changes(before: Board | None, board: Board, number: int) -> str:
    """Say what is done before a board of a leg; nothing where nothing is."""
    down = None if before is None else before.pole_down
    motored = before is not None and before.engine
    words = [manoeuvred_words(board, down)] if board.manoeuvres else []
    if board.engine and not motored:
        words.append("start the engine")
    if motored and not board.engine:
        words.insert(0, "set sail")
    if not words and number:
        # A bend, such as round a shoal: its place is as needful as a tack's.
        words.append("alter course")
    return ", ".join(words)


def _add_board(
    table: Table, board: Board, words: str, dates: _Dates, heads: _Heads, *, first: bool
) -> None:
    assert board.start.time is not None
    done = board.manoeuvres
    if words:
        cost = f" ({held(seconds_words(sum(m.cost_s for m in done)))})" if done else ""
        name = "" if board.point is None else f"{board.point}: "
        said = Text(f"{name}{words}{cost}", style="bold")
        if not first:
            said.append(f"\n{_at(board.start)}", style="not bold")
            if board.from_mark is not None:
                said.append(f"\n{from_mark_words(board.from_mark)}", style="not bold")
        _add_row(table, dates, done[0].time if done else board.start.time, said)
    if board.engine:
        sails = Text(UNDER_ENGINE)
    else:
        sails = Text(f"{board.tack} tack", style=SIDE_STYLE[board.tack])
        sails.append(f", {board.sail_set}", style="default")
    then = steering(board)
    beside = (angle_words(board), err_words(then), BEYOND if board.beyond_forecast else None)
    for more in (*beside, *_over_ground(board, heads)):
        if more is not None:
            sails.append(f"\n{more}", style="default")
    _add_row(
        table,
        dates,
        board.start.time,
        sails,
        # One below the other: side by side they would take the room of the words.
        heading_words(
            board.heading_deg, board.heading_magnetic_deg, board.heading_compass_deg
        ).replace(" ", "\n"),
        f"{board.awa_deg:.0f}°",
        f"{board.boat_speed_kn:.1f}",
        *([f"{board.log_nm:.1f}"] if heads.two_miles else []),
        f"{board.distance_nm:.1f}",
        hours_and_minutes(board.elapsed_h),
    )


def _add_order(table: Table, before: Order, order: Order, then: Steering, dates: _Dates) -> None:
    """Tell what else is steered along a board."""
    name = "" if order.point is None else f"{order.point}: "
    altered = altered_words(before, order)
    said = Text(f"{name}{altered}", style="bold").append(f"\n{_at(order)}", style="not bold")
    if order.from_mark is not None:
        said.append(f"\n{from_mark_words(order.from_mark)}", style="not bold")
    if then.keep_twa_deg is not None:
        said.append(f"\n{keep_words(then.keep_twa_deg)}", style="not bold")
    if (err := err_words(then)) is not None:
        said.append(f"\n{err}", style="not bold")
    heading = heading_words(then.heading_deg, then.heading_magnetic_deg, then.heading_compass_deg)
    _add_row(table, dates, order.time, said, heading.replace(" ", "\n"))


def _add_begun(table: Table, board: Board, begun: PoleWork, until: str, dates: _Dates) -> None:
    """Tell when the pole is begun to be handled, so that it is done at the board's end."""
    steps = begun_words(board.crew, begun)
    takes = held(seconds_words(begun.takes_s))
    said = Text(f"Before {until}: {steps} ({takes})", style="bold")
    said.append(f"\n{_at(begun)}", style="not bold")
    if begun.from_mark is not None:
        said.append(f"\n{from_mark_words(begun.from_mark)}", style="not bold")
    if (told := uncounted_words(begun)) is not None:
        said.append(f"\n{told}", style="not bold")
    heading = heading_words(
        begun.heading_deg, begun.heading_magnetic_deg, begun.heading_compass_deg
    )
    _add_row(table, dates, begun.time, said, heading.replace(" ", "\n"))


def _over_ground(board: Board, heads: _Heads) -> list[str]:
    """Tell what the plotter shows where that differs from the helm's dials, and the wind."""
    said = [] if (course := ground_words(board)) is None else [course]
    if board.weather is not None:
        wind = "\n".join(weather_words(board.weather))
        if wind != heads.wind:
            said.append(wind)
            heads.wind = wind
    return said


def summary(plan: Plan) -> list[str]:
    """Say how long it takes, what it saves and against what."""
    lines = [
        arrival(plan),
        *_by_band(plan),
        *_under_engine(plan),
    ]
    if plan.saved_min is None:
        which = [leg.destination for leg in plan.legs if leg.straight_h is None]
        lines.append(f"No straight course can be held to {listed(which)}: nothing to compare.")
    elif plan.saved_min >= 0.5:
        lines.append(f"Saves {plan.saved_min:.0f} min against the straight course{_sailed(plan)}.")
    elif plan.saved_min > -0.5:
        lines.append("Saves nothing against the straight course.")
    else:
        lines.append(
            f"{-plan.saved_min:.0f} min slower than the straight course: {_why_slower(plan)}."
        )
    return [*lines, *_by_leg(plan), *_at_best(plan)]


def _sailed(plan: Plan) -> str:
    return " under sail" if plan.engine_h else ""


def _by_band(plan: Plan) -> list[str]:
    """Say what the doubt in the boat's own tables does to the arrival."""
    band = plan.band
    if band is None:
        return []
    share = f"{10 * band.chance:.0f} times in 10 or more"
    if band.earliest is None:
        return []
    if band.latest is None:
        soonest = _day_and_time(band.earliest, plan.arrival)
        return [f"Doubt in her tables alone: arrival {soonest} or later; at her slowest, no plan."]
    ends = " to ".join(_day_and_time(each, plan.arrival) for each in (band.earliest, band.latest))
    return [f"Doubt in her tables alone: arrival {ends} ({share})."]


def _day_and_time(time: datetime, beside: datetime) -> str:
    same_day = _minute(time).date() == _minute(beside).date()
    return clock(time) if same_day else f"{_minute(time):%Y-%m-%d} {clock(time)}"


def _under_engine(plan: Plan) -> list[str]:
    if plan.engine_h is None:
        return []
    if not plan.engine_h:
        return ["The engine is not needed."]
    litres = "" if plan.engine_litres is None else f", {plan.engine_litres:.1f} litres"
    return [f"Under engine: {hours_and_minutes(plan.engine_h)}{litres}."]


def _why_slower(plan: Plan) -> str:
    cost_min = sum(m.cost_s for leg in plan.legs for m in leg.manoeuvres) / 60.0
    if plan.saved_min is not None and cost_min < -plan.saved_min - 0.5:
        return "the cost of its manoeuvres and of what else was asked for"
    return "the cost of its manoeuvres"


def _at_best(plan: Plan) -> list[str]:
    """In changing wind, say how far the plan may be from the best possible."""
    if plan.relaxed_h is not None:
        best = hours_and_minutes(plan.relaxed_h)
        return [f"At best it would take {best} (an estimate)."]
    changing = any(len(board.points) > 2 for leg in plan.legs for board in leg.boards)
    if plan.bound_h is not None and changing:
        best = hours_and_minutes(plan.bound_h)
        return [f"No boards at all could take less than {best}."]
    return []


def _by_leg(plan: Plan) -> list[str]:
    """Say where the minutes come from; a single leg has said it already."""
    if len(plan.legs) == 1 and plan.saved_min is not None:
        return []
    gains = whole_minutes([leg.saved_min for leg in plan.legs], plan.saved_min)
    lines = []
    for word, sign in (("Saved", 1), ("Lost", -1)):
        parts = [
            f"{sign * gain} min on the way to {leg.destination}"
            for leg, gain in zip(plan.legs, gains, strict=True)
            if gain is not None and sign * gain > 0
        ]
        if parts:
            lines.append(f"{word}: {listed(parts)}.")
    return lines


def whole_minutes(parts: Sequence[float | None], total: float | None) -> list[int | None]:
    """Round parts so that they add up to their total rounded: by the largest remainders.

    Where the total is not known, as one part isn't, each is rounded by itself.

    Examples
    --------
    >>> whole_minutes([51.6, 21.6], 73.2), whole_minutes([51.6, None], None)
    ([52, 21], [52, None])
    """
    if total is None or None in parts:
        return [None if part is None else round(part) for part in parts]
    known = [part for part in parts if part is not None]
    down = [floor(part) for part in known]
    over = round(total) - sum(down)
    order = sorted(range(len(known)), key=lambda at: down[at] - known[at])
    for at in order[: max(over, 0)]:
        down[at] += 1
    return [*down]
