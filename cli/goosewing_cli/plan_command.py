"""`goosewing plan`: the passage over all marks."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from goosewing_cli import inputs

if TYPE_CHECKING:
    from goosewing.records import Plan


class First(StrEnum):
    """Which of two boards comes first."""

    port = "port"
    starboard = "starboard"
    longer = "longer"
    faster = "faster"


class TackName(StrEnum):
    """The side the wind comes from."""

    port = "port"
    starboard = "starboard"


class Source(StrEnum):
    """Where in a GPX file the marks are."""

    route = "route"
    waypoints = "waypoints"
    track = "track"


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command("plan", help="Plan the boards from mark to mark.")(plan)


def plan(
    marks: inputs.MarksFile,
    boat: inputs.BoatFile = None,
    wind: inputs.WindText = None,
    current: inputs.CurrentText = None,
    depart: inputs.DepartText = None,
    out: inputs.OutFile = None,
    json: inputs.AsJson = False,
    performance: inputs.PerformanceFactor = None,
    source: Annotated[
        Source | None,
        typer.Option("--from", help="Take the marks from this; a route if there is one."),
    ] = None,
    route: Annotated[
        str | None, typer.Option("--route", metavar="NAME", help="Which route, by name.")
    ] = None,
    first: Annotated[
        First | None,
        typer.Option("--first", help="Which board first; the longer where it costs nothing."),
    ] = None,
    margin: Annotated[
        float,
        typer.Option("--margin", metavar="DEG", help="Sail past the layline by this much."),
    ] = 0.0,
    corridor: Annotated[
        float | None,
        typer.Option(
            "--corridor", metavar="NM", help="Stay within this distance of the rhumb line."
        ),
    ] = None,
    start_with: Annotated[
        str | None,
        typer.Option("--start-with", metavar='"SAIL SET"', help="The sails set at the start."),
    ] = None,
    start_tack: Annotated[
        TackName | None, typer.Option("--start-tack", help="The tack she is on at the start.")
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option("--picture", metavar="FILE", help="Draw the plan, as PNG or SVG."),
    ] = None,
) -> None:
    """Plan the boards from mark to mark."""
    from goosewing.exchange import gpx
    from goosewing.plan import Options, make

    crew = inputs.load_boat(boat, performance)
    weather = inputs.load_weather(wind, current)
    departure = inputs.departure_time(depart)
    read = gpx.read_marks(marks, source=None if source is None else source.value, route=route)
    options = Options(
        first=None if first is None else first.value,
        margin_deg=margin,
        corridor_nm=corridor,
        start_with=start_with,
        start_tack=None if start_tack is None else start_tack.value,
    )
    made = make(read.marks, crew, weather, departure, options, notices=read.notices)
    files = [path for path in (marks, boat) if path is not None]
    deliver(made, out=out, picture=picture, json=json, inputs_read=files)


def deliver(
    made: Plan, *, out: Path | None, picture: Path | None, json: bool, inputs_read: list[Path]
) -> None:
    """Write what was asked for, then print the plan."""
    if out is not None:
        from goosewing.exchange import gpx

        gpx.write_plan(out, made, inputs=inputs_read)
    if picture is not None:
        from goosewing.report import picture as pictures

        pictures.write_picture(picture, made, inputs=inputs_read)
    if json:
        from goosewing.exchange.document import format_plan_json

        typer.echo(format_plan_json(made).decode(), nl=False)
    else:
        from goosewing_cli.show import show_plan

        show_plan(made, written=[path for path in (out, picture) if path is not None])
