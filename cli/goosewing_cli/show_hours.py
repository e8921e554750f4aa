"""How a plan is printed hour by hour, with the orders that change in between."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.table import Table
from rich.text import Text

from goosewing.turns import stops
from goosewing.units import nearest_minute
from goosewing.words.figures import clock, heading_words, position_words, three_figures
from goosewing.words.points import stop_sentence
from goosewing_cli.show import print_table

if TYPE_CHECKING:
    from datetime import datetime, tzinfo

    from rich.console import Console

    from goosewing.records import Hour, Plan, WindAndStream
    from goosewing.turns import Stop


def show_hours(console: Console, plan: Plan, zone: tzinfo | None) -> None:
    """Print where she is at every full hour, and every order at its time."""
    console.print()
    console.print(Text("Hour by hour", style="bold"))
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("UTC" if zone is None else "UTC\nlocal", no_wrap=True)
    table.add_column("position, or order", ratio=1)
    for name in ("steer", "COG", "wind", "stream", "to go"):
        table.add_column(name, justify="right", no_wrap=True)
    day = plan.departure.date()
    for time, _, cells in sorted(_events(plan), key=lambda event: event[:2]):
        if (today := nearest_minute(time).date()) != day:
            table.add_row("", Text(str(today), style="dim"))
            day = today
        table.add_row(_time(time, zone), *cells)
    print_table(console, table)


def _time(time: datetime, zone: tzinfo | None) -> str:
    if zone is None:
        return clock(time)
    return f"{clock(time)}\n{nearest_minute(time).astimezone(zone):%H:%M}"


def _events(plan: Plan) -> list[tuple[datetime, int, list[Any]]]:
    """List hours and orders with their times; of the same time the order first."""
    orders = [
        (stop.time or plan.arrival, 0, [Text(_order(stop, plan.departure), style="bold")])
        for stop in stops(plan)
        if not stop.last
    ]
    return [*orders, *((hour.time, 1, _cells(hour)) for hour in plan.hours)]


def _order(stop: Stop, departure: datetime) -> str:
    """Tell an order by the name of its place, a turn's or a mark's."""
    return f"{stop.name}: {stop_sentence(stop, departure)}"


def _cells(hour: Hour) -> list[Any]:
    return [
        position_words(hour.lat, hour.lon),
        _steered(hour),
        three_figures(hour.course_over_ground_deg),
        _wind(hour.weather),
        _stream(hour.weather),
        f"{hour.to_go_nm:.1f}",
    ]


def _steered(hour: Hour) -> str:
    """Write the heading on each dial that is known, one below the other for want of room."""
    dials = hour.heading_deg, hour.heading_magnetic_deg, hour.heading_compass_deg
    return heading_words(*dials).replace(" ", "\n")


def _wind(here: WindAndStream) -> str:
    gust = "" if here.gust_kn is None else f" ({here.gust_kn:.0f})"
    return f"{three_figures(here.wind_from_deg)} {here.wind_kn:.0f}{gust}"


def _stream(here: WindAndStream) -> str:
    if here.set_deg is None or here.drift_kn < 0.05:
        return "–"
    return f"{three_figures(here.set_deg)} {here.drift_kn:.1f}"
