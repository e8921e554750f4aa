"""How times of departure are printed, the best first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from goosewing.departures.compare import best_first
from goosewing.departures.wants import (
    cost_words,
    miss_words,
    moment,
    want_costs,
)
from goosewing.records import CAUTIONS
from goosewing.units import nearest_minute
from goosewing.words.figures import clock, hours_and_minutes
from goosewing.words.names import names_of, with_plain, with_plain_names
from goosewing_cli.show import close_sheet, console_for, paragraph, print_table

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime, tzinfo
    from pathlib import Path

    from rich.console import Console

    from goosewing.departures.wants import Chosen
    from goosewing.records import Departure, Plan

NOTHING = "–"
"""Stands for no hours at all, so that those that there are stand out."""

LEAST_H = 0.05
"""What would be printed as 0.0 h is nothing."""

LEGEND = (
    "Days of the month and UTC; takes in hours:minutes, {second}, upwind, poled and night in "
    "hours (upwind: close-hauled, within 60° of the wind), against: hours of wind against a "
    "stream of over 1 kn; strongest wind and gust over the ground in knots."
)
"""The key to the table, which has one of two second columns."""

MOTORED = "engine in hours"
SAVED = (
    "saved in minutes against the straight course (less than 0: straight would be sooner, and the "
    "boards are what was asked for or spare a later manoeuvre)"
)


def show_departures(
    chosen: Chosen,
    times: Sequence[datetime],
    *,
    notices: Sequence[str] = (),
    cautions: Sequence[str] = CAUTIONS,
    written: Sequence[Path] = (),
    zone: tzinfo | None = None,
) -> None:
    """Print departures as a table, the best first, with what it takes to read it."""
    console = console_for()
    listed = chosen.meeting or chosen.others
    best = listed[0]
    assert best.plan is not None
    names = names_of(best.plan)
    title = _title(with_plain_names(best.plan), times)
    console.print(Text(title, style="bold"), soft_wrap=True)
    paragraph(console, with_plain(_asked(chosen, times), names))
    console.print()
    print_table(console, _table(listed, zone))
    _others(console, chosen, names)
    console.print()
    if chosen.meeting:
        paragraph(console, _best_words(best, zone))
    planned = best_first([*chosen.meeting, *chosen.others])
    for cost in want_costs(planned, chosen.wants):
        paragraph(console, f"Wanted {cost_words(cost, zone)}.")
    paragraph(console, LEGEND.format(second=SAVED if best.engine_h is None else MOTORED))
    close_sheet(console, with_plain(tuple(notices), names), cautions, written)


def _title(made: Plan, times: Sequence[datetime]) -> str:
    names = [made.legs[0].origin, *(leg.destination for leg in made.legs)]
    return f"{made.boat}: {' – '.join(names)}, leaving {moment(times[0])} to {moment(times[-1])}"


def _asked(chosen: Chosen, times: Sequence[datetime]) -> str:
    words = f"{len(times)} departures"
    if chosen.wants:
        asked = ", ".join(want.text for want in chosen.wants)
        words += f", {len(chosen.meeting)} meet {asked}"
    best = (chosen.meeting or chosen.others)[0].plan
    conditions = "" if best is None or len(times) == 1 else f" {best.conditions}"
    return f"{words}.{conditions}"


def _table(found: Sequence[Departure], zone: tzinfo | None) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("Leave", no_wrap=True)
    table.add_column("Arrive", no_wrap=True)
    # There is room for one of the two: who motors asks for how long.
    motored = found[0].engine_h is not None
    second = "engine" if motored else "saved"
    for name in ("takes", second, "upwind", "poled", "night", "against", "wind", "gust"):
        table.add_column(name, justify="right", no_wrap=True)
    for number, each in enumerate(found):
        table.add_row(*_cells(each, zone), style="bold" if number == 0 else "")
    return table


def _cells(each: Departure, zone: tzinfo | None) -> list[str]:
    assert each.arrival is not None
    assert each.elapsed_h is not None
    minutes = round(each.elapsed_h * 60.0)
    light = "" if each.arrives_in_daylight else " dark"
    held = "*" if each.beyond_forecast_h else ""
    return [
        _day_and_clock(each.departure, zone),
        _day_and_clock(each.arrival, zone, f"{light}{held}"),
        f"{minutes // 60}:{minutes % 60:02d}",
        _saved(each) if each.engine_h is None else _hours(each.engine_h),
        _hours(each.upwind_h),
        _hours(each.poled_h),
        _hours(each.night_h),
        _hours(each.against_h),
        _knots(each.strongest_wind_kn),
        _knots(each.strongest_gust_kn),
    ]


def _day_and_clock(time: datetime, zone: tzinfo | None, more: str = "") -> str:
    rounded = nearest_minute(time)
    words = f"{rounded:%d} {clock(time)}{more}"
    return words if zone is None else f"{words}\n{rounded.astimezone(zone):%d %H:%M}"


def _saved(each: Departure) -> str:
    return "?" if each.saved_min is None else f"{each.saved_min:.0f}"


def _hours(hours: float | None) -> str:
    return NOTHING if hours is None or hours < LEAST_H else f"{hours:.1f}"


def _knots(speed: float | None) -> str:
    return "?" if speed is None else f"{speed:.0f}"


def _best_words(best: Departure, zone: tzinfo | None) -> str:
    assert best.arrival is not None
    assert best.elapsed_h is not None
    light = "in daylight" if best.arrives_in_daylight else "in the dark"
    words = (
        f"Best: leave {moment(best.departure, zone)}, arrive {moment(best.arrival, zone)} {light}, "
        f"{hours_and_minutes(best.elapsed_h)}."
    )
    held = best.beyond_forecast_h
    return f"{words} {_beyond_words(held)}" if held else words


def _beyond_words(hours: float) -> str:
    return f"The last {hours_and_minutes(hours)} lie beyond the forecast."


def _others(console: Console, chosen: Chosen, names: set[str]) -> None:
    """List what is not in the table: departures that miss a want, and those without a plan."""
    shown = chosen.meeting or chosen.others
    if any(each.beyond_forecast_h for each in shown):
        paragraph(console, "* beyond the forecast, whose last values are held on, for a part.")
    lines = [(each, f"misses {miss_words(each, chosen.wants)}") for each in chosen.others]
    lines += [(each, f"no plan: {each.reason}") for each in chosen.failed]
    if lines:
        console.print()
    for each, words in sorted(lines, key=lambda line: line[0].departure):
        paragraph(
            console, f"{each.departure:%d} {clock(each.departure)}  {with_plain(words, names)}"
        )
    if any(each.ends_too_soon for each in chosen.failed):
        paragraph(console, "A longer forecast, or --hold-last, would plan more.")
