"""`goosewing laylines`: the laylines of each mark, and how she lies to the next one's."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from goosewing_cli import inputs

if TYPE_CHECKING:
    from goosewing.boat.model import Boat
    from goosewing.velocity import VelocitySet
    from goosewing.weather.base import Weather


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command("laylines", help="Laylines of each mark, and how she lies to the next one's.")(
        laylines
    )


def laylines(
    marks: inputs.MarksFile,
    boat: inputs.BoatFile = None,
    wind: inputs.WindText = None,
    current: inputs.CurrentText = None,
    depart: inputs.DepartText = None,
    length: Annotated[
        float | None,
        typer.Option("--length", metavar="NM", help="Length of each line; its leg's if not given."),
    ] = None,
    margin: Annotated[
        float,
        typer.Option("--margin", metavar="DEG", help="Turn each line to its safe side."),
    ] = 0.0,
    at: Annotated[
        str | None,
        typer.Option("--at", metavar="LAT,LON", help="Where she is: how she lies to the laylines."),
    ] = None,
    next_mark: inputs.NextMark = None,
    source: inputs.SourceOfMarks = None,
    route: inputs.RouteName = None,
    zone: inputs.ZoneText = None,
    variation: inputs.VariationText = None,
    out: inputs.OutFile = None,
    json: inputs.AsJson = False,
    performance: inputs.PerformanceFactor = None,
) -> None:
    """Print, and write, the laylines of every mark but the first."""
    from goosewing.exchange import document, gpx
    from goosewing.laylines import sheet
    from goosewing.magnetic import laylines_with_variation
    from goosewing.plan import usable_marks

    crew = inputs.load_boat(boat, performance)
    weather = inputs.load_weather(wind, current)
    time, local = inputs.departure_time(depart), inputs.load_zone(zone)
    wanted = inputs.read_marks(marks, source, route, at=at, next_mark=next_mark)
    kept, dropped = usable_marks(wanted.marks)
    here = None if at is None else (kept[0].lat, kept[0].lon)
    made = sheet(
        steady_velocities(crew, weather),
        kept,
        length_nm=length,
        margin_deg=margin,
        here=here,
        notices=(*wanted.notices, *dropped),
    )
    if variation is not None:
        made = laylines_with_variation(made, inputs.load_variation(variation), time)
    if out is not None:
        gpx.write_laylines(out, made, kept[1:], inputs=inputs.files_read(boat, marks))
    if json:
        content = document.document(document.LAYLINES_FORMAT, **document.plain(made))
        typer.echo(document.format_json(content).decode(), nl=False)
        return
    from goosewing_cli.show_laylines import show_laylines

    show_laylines(made, time, zone=local, written=[] if out is None else [out])


def steady_velocities(crew: Boat, weather: Weather) -> VelocitySet:
    """Return what the boat can hold in the one wind and stream there is.

    Raises
    ------
    InputError
        If wind or stream change: then the laylines are those of a plan.
    """
    from goosewing import steady
    from goosewing.errors import InputError

    if weather.varies_in_time or weather.varies_in_place:
        raise InputError(
            "laylines are drawn in a steady wind and stream, such as --wind 240/12 "
            "--current 090/1.5; in changing ones a plan has those it sails into each mark"
        )
    return steady.sailable(crew, steady.steady_airs(crew, weather))
