"""`goosewing plan`: the passage over all marks."""

from __future__ import annotations

from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, Annotated

import typer

from goosewing_cli import hazards_options, inputs

if TYPE_CHECKING:
    from datetime import tzinfo

    from goosewing.hazards.areas import Hazards
    from goosewing.records import Plan


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
    source: inputs.SourceOfMarks = None,
    route: inputs.RouteName = None,
    at: inputs.AtText = None,
    next_mark: inputs.NextMark = None,
    leave: inputs.LeaveTexts = None,
    leave_by_words: inputs.LeaveByWords = None,
    first: inputs.FirstBoard = None,
    margin: inputs.MarginDegrees = 0.0,
    corridor: inputs.CorridorMiles = None,
    hazards: hazards_options.HazardFiles = None,
    safe_depth: hazards_options.SafeDepth = None,
    tide: hazards_options.TideText = None,
    coast: hazards_options.UseCoast = False,
    clearance: hazards_options.Clearance = 0.0,
    shortest_board: inputs.ShortestBoard = None,
    watch: inputs.WatchHours = None,
    worth: inputs.WorthMinutes = 1.0,
    hold_last: inputs.HoldLast = False,
    start_with: inputs.StartWith = None,
    start_tack: inputs.StartTack = None,
    engine: inputs.UseEngine = False,
    variation: inputs.VariationText = None,
    deviation: inputs.DeviationFile = None,
    zone: inputs.ZoneText = None,
    picture: Annotated[
        Path | None,
        typer.Option("--picture", metavar="FILE", help="Draw the plan, as PNG or SVG."),
    ] = None,
    handheld: Annotated[
        Path | None,
        typer.Option(
            "--handheld", metavar="FILE", help="Write a route of 30 points for a small receiver."
        ),
    ] = None,
    geojson: Annotated[
        Path | None, typer.Option("--geojson", metavar="FILE", help="Write the plan as GeoJSON.")
    ] = None,
    hourly: Annotated[
        bool, typer.Option("--hourly", help="Print the passage hour by hour as well.")
    ] = False,
    what_if: Annotated[
        bool,
        typer.Option(
            "--what-if",
            help="Plan in lighter, stronger and turned wind and 2 h earlier and later, too.",
        ),
    ] = False,
    alternatives: Annotated[
        bool,
        typer.Option(
            "--alternatives/--no-alternatives",
            help="In changing wind, plan what else would do, with its minutes.",
        ),
    ] = True,
) -> None:
    """Plan the boards from mark to mark."""
    from goosewing.departures.compare import Case
    from goosewing_cli.planning import compass_headings, look_further, make, plan_options, with_band

    crew = inputs.load_boat(boat, performance)
    weather = inputs.load_weather(wind, current, hold_last=hold_last)
    departure = inputs.departure_time(depart)
    local = inputs.load_zone(zone)
    wanted = inputs.read_marks(
        marks,
        source,
        route,
        at=at,
        next_mark=next_mark,
        leave=leave or (),
        by_words_nm=leave_by_words,
    )
    options = plan_options(
        first=first, margin_deg=margin, corridor_nm=corridor, start_with=start_with,
        start_tack=start_tack, shortest_board_min=shortest_board, watch_h=watch,
        worth_min=worth, engine=engine,
        source=inputs.source_words(wind, current, weather, hold_last=hold_last),
    )  # fmt: skip
    by_compass = compass_headings(variation, deviation)
    heights = None if tide is None else hazards_options.read_tide(tide)

    def keep_clear(tide_m: float | None) -> hazards_options.KeptClear:
        return hazards_options.kept_clear(
            wanted.marks, hazards, safe_depth, coast, clearance, tide_m
        )

    def planned(clear: hazards_options.KeptClear) -> Plan:
        said = (*wanted.notices, *clear.notices)
        return make(
            wanted.marks, crew, weather, departure, options, notices=said, hazards=clear.hazards
        )

    tide_m = None if heights is None else heights.lowest_m(departure)
    clear = keep_clear(tide_m)
    begun = perf_counter()
    made = planned(clear)
    if heights is not None and heights.lowest_m(departure, made.arrival) != tide_m:
        # With more water she is no later, so that the lowest of these hours holds.
        clear = keep_clear(heights.lowest_m(departure, made.arrival))
        made = planned(clear)
    case = Case(
        marks=made.marks, boat=crew, weather=weather, options=options, hazards=clear.hazards
    )
    made = look_further(
        case, made, took_s=perf_counter() - begun, looked_at=clear.words,
        alternatives=alternatives, what_if=what_if,
    )  # fmt: skip
    made = with_band(made, wanted.marks, crew, weather, departure, options, clear.hazards)
    others = (deviation, *inputs.weather_files(wind, current), *clear.files)
    files = inputs.files_read(boat, marks, *others)
    deliver(
        by_compass(made),
        out=out,
        picture=picture,
        json=json,
        inputs_read=files,
        zone=local,
        handheld=handheld,
        geojson=geojson,
        hazards=clear.hazards,
        hourly=hourly,
    )


def deliver(
    made: Plan,
    *,
    out: Path | None,
    picture: Path | None,
    json: bool,
    inputs_read: list[Path],
    zone: tzinfo | None = None,
    handheld: Path | None = None,
    geojson: Path | None = None,
    hazards: Hazards | None = None,
    hourly: bool = False,
) -> None:
    """Write what was asked for, all of it or nothing, then print the plan."""
    outputs = [out, picture, handheld, geojson]
    inputs.check_outputs(outputs, inputs_read)
    if picture is not None:
        from goosewing.report import picture as pictures

        pictures.check_ending(picture)
    if out is not None:
        from goosewing.exchange.gpx import plans

        plans.write_plan(out, made, inputs=inputs_read)
    if picture is not None:
        pictures.write_picture(picture, made, hazards=hazards, inputs=inputs_read)
    told = () if handheld is None else _write_handheld(handheld, made, inputs_read)
    if geojson is not None:
        from goosewing.exchange.geojson import write_geojson

        write_geojson(geojson, made, inputs=inputs_read)
    if json:
        from goosewing.exchange.document import format_plan_json

        typer.echo(format_plan_json(made).decode(), nl=False)
    else:
        from goosewing_cli.show import show_plan

        written = [path for path in outputs if path is not None]
        show_plan(made, written=written, zone=zone, hourly=hourly)
        for line in told:
            typer.echo(f"Handheld: {line}")


def _write_handheld(path: Path, made: Plan, inputs_read: list[Path]) -> tuple[str, ...]:
    """Write the small receiver's route; return what it had to leave out."""
    from goosewing.exchange.handheld.files import write_contents
    from goosewing.exchange.handheld.plans import fit_plan

    fitted = fit_plan(made)
    write_contents(path, fitted.contents, inputs=inputs_read)
    return tuple(fitted.report.lines)
