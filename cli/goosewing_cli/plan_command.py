"""`goosewing plan`: the passage over all marks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, Annotated

import click

from goosewing_cli import hazards_options, inputs
from goosewing_cli.declared import command, option
from goosewing_cli.documents import print_document

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import tzinfo

    from goosewing.boat.model import Boat
    from goosewing.case import Case
    from goosewing.hazards.areas import Hazards
    from goosewing.records import Plan


@command(help="Plan the boards from mark to mark.")
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
    dangers: hazards_options.Dangers = hazards_options.DangerChoice.said,
    danger_distance: hazards_options.DangerDistance = hazards_options.USUAL_NM,
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
        option("--picture", metavar="FILE", help="Draw the plan, as PNG or SVG."),
    ] = None,
    handheld: Annotated[
        Path | None,
        option("--handheld", metavar="FILE", help="Write a route of 30 points for a handheld GPS."),
    ] = None,
    geojson: Annotated[
        Path | None, option("--geojson", metavar="FILE", help="Write the plan as GeoJSON.")
    ] = None,
    sheet: Annotated[
        Path | None,
        option("--sheet", metavar="FILE", help="Write the passage sheet to print, as HTML or PDF."),
    ] = None,
    hourly: Annotated[
        bool, option("--hourly", help="Print the passage hour by hour as well.")
    ] = False,
    what_if: Annotated[
        bool,
        option(
            "--what-if",
            help="Plan in lighter, stronger and turned wind and 2 h earlier and later, too.",
        ),
    ] = False,
    shifts: Annotated[
        str | None,
        option(
            "--shifts",
            metavar="SIGMA/TAU|auto",
            help="Shifty wind, such as 5/10 (degrees, minutes): chances, and when to turn.",
        ),
    ] = None,
    prefer: inputs.Prefer = None,
    alternatives: Annotated[
        bool,
        option(
            "--alternatives/--no-alternatives",
            help="In changing wind, plan what else would do, with its minutes.",
        ),
    ] = True,
) -> None:
    """Plan the boards from mark to mark."""
    from goosewing.case import Case
    from goosewing.hazards.kept import Kept
    from goosewing_cli.planning import (
        check_members,
        compass_headings,
        look_further,
        make,
        over_members,
        plan_options,
        with_band,
    )

    crew = inputs.load_boat(boat, performance)
    weather = inputs.load_weather(wind, current, hold_last=hold_last)
    if prefer is not None:
        check_members(weather, wind)
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
        dangers_apart=dangers is not hazards_options.DangerChoice.none,
    )
    noted = hazards_options.Noted(wanted.waypoints, marks, dangers, danger_distance)
    options = plan_options(
        first=first, margin_deg=margin, corridor_nm=corridor, start_with=start_with,
        behind=wanted.behind,
        start_tack=start_tack, shortest_board_min=shortest_board, watch_h=watch,
        worth_min=worth, engine=engine,
        source=inputs.source_words(wind, current, weather, hold_last=hold_last),
    )  # fmt: skip
    by_compass = compass_headings(variation, deviation)

    def keep_clear(tide_m: float | None) -> hazards_options.KeptClear:
        return hazards_options.kept_clear(
            wanted.marks, hazards, safe_depth, coast, clearance, tide_m, noted
        )

    def planned(clear: hazards_options.KeptClear) -> tuple[Case, Plan]:
        case = Case(
            marks=wanted.marks, boat=crew, weather=weather, departure=departure, options=options,
            hazards=clear.hazards, notices=(*wanted.notices, *clear.notices), kept=Kept(),
        )  # fmt: skip
        return case, make(case)

    hours = hazards_options.tide_hours(tide, departure, what_if=what_if)
    clear = keep_clear(None if hours is None else hours.lowest_m())
    others = (deviation, *inputs.weather_files(wind, current, tide), *clear.files)
    files = inputs.files_read(boat, marks, *others)
    asked = Outputs(out=out, picture=picture, sheet=sheet, handheld=handheld, geojson=geojson)
    asked = asked.checked(files)
    begun = perf_counter()
    clear, (case, made), hours = hazards_options.under_tide(
        hours, clear, keep_clear, planned, lambda found: found[1].arrival
    )
    if prefer is not None:
        made, case = over_members(case, made, prefer, took_s=perf_counter() - begun)
    made = replace(made, route=wanted.texts, dangers=clear.dangers)
    made = look_further(
        _as_planned(case, made), made, took_s=perf_counter() - begun, looked_at=clear.words,
        land=clear.land, alternatives=alternatives, what_if=what_if,
    )  # fmt: skip
    if shifts is not None:
        made = with_shifts(made, case, shifts)
    made = with_band(made, case)
    if hours is not None and clear.has_cells:
        told = hours.told(hazards_options.latest(made))
        made = replace(made, notices=(*made.notices, *told))
    deliver(
        by_compass(made), crew, asked, inputs_read=files, json=json, zone=local,
        hazards=clear.hazards, hourly=hourly, hints=clear.hints,
    )  # fmt: skip


def _as_planned(case: Case, made: Plan) -> Case:
    """Return the case over the marks that the plan leads over, with what was said of the others."""
    from goosewing.plan import usable_marks

    _, dropped = usable_marks(case.marks)
    return replace(case, marks=made.marks, notices=(*case.notices, *dropped))


@dataclass(frozen=True, slots=True, kw_only=True)
class Outputs:
    """The files that were asked for."""

    out: Path | None = None
    picture: Path | None = None
    sheet: Path | None = None
    handheld: Path | None = None
    geojson: Path | None = None
    picture_as: str = ""
    sheet_as: str = ""
    """In which formats, as the endings ask, once they are checked."""

    @property
    def paths(self) -> list[Path]:
        """All of them, in the order in which they are told."""
        every = (self.out, self.picture, self.sheet, self.handheld, self.geojson)
        return [path for path in every if path is not None]

    def checked(self, inputs_read: Sequence[Path]) -> Outputs:
        """Refuse before any planning what could not be written after it.

        Raises
        ------
        InputError
            If a file can't be written, is an input, has an ending of no use, or a package is
            missing.
        """
        inputs.check_outputs(self.paths, inputs_read)
        picture_as = sheet_as = ""
        if self.picture is not None:
            from goosewing.report import picture

            picture_as = picture.check_ending(self.picture)
        if self.sheet is not None:
            from goosewing.report import sheet

            sheet_as = sheet.check_ending(self.sheet)
        return replace(self, picture_as=picture_as, sheet_as=sheet_as)


def with_shifts(made: Plan, case: Case, text: str) -> Plan:
    """Add what a shifty wind makes of a plan, or in one line why nothing is told of it."""
    from goosewing.shifts.chances import with_chances
    from goosewing.shifts.model import parse_shifts, why_withheld

    wandering, source = parse_shifts(text, made.legs[0].boards[0].tws_kn)
    withheld = why_withheld(
        kept_clear=case.hazards is not None, corridor_nm=case.options.corridor_nm
    )
    if withheld is not None:
        return replace(made, notices=(*made.notices, withheld))
    return with_chances(made, case.boat, case.weather, wandering, source)


def deliver(
    made: Plan,
    boat: Boat,
    asked: Outputs,
    *,
    inputs_read: list[Path],
    json: bool,
    zone: tzinfo | None = None,
    hazards: Hazards | None = None,
    hourly: bool = False,
    hints: Sequence[str] = (),
) -> None:
    """Write what was asked for, all of it or nothing, then print the plan."""
    from goosewing.files.disk import write_all

    contents, told = _contents(made, boat, asked, zone, hazards)
    write_all(contents, inputs=inputs_read)
    if json:
        from goosewing.exchange.document import format_plan_json

        print_document(format_plan_json(made))
        return
    from goosewing_cli.show import show_plan

    show_plan(made, written=asked.paths, zone=zone, hourly=hourly, hints=hints)
    for line in told:
        click.echo(f"Handheld: {line}")


def _contents(
    made: Plan, boat: Boat, asked: Outputs, zone: tzinfo | None, hazards: Hazards | None
) -> tuple[dict[Path, bytes | str], tuple[str, ...]]:
    """Make the contents of every file asked for, and what is to be told of them."""
    contents: dict[Path, bytes | str] = {}
    told: tuple[str, ...] = ()
    if asked.out is not None:
        from goosewing.exchange.gpx import plans

        contents[asked.out] = plans.format_plan(made)
    if asked.picture is not None:
        from goosewing.report import picture

        contents[asked.picture] = picture.draw_plan(made, asked.picture_as, hazards)
    if asked.sheet is not None:
        from goosewing.report import sheet

        contents[asked.sheet] = sheet.sheet_bytes(
            made, boat, asked.sheet_as, hazards=hazards, zone=zone
        )
    if asked.handheld is not None:
        contents[asked.handheld], told = _handheld(made)
    if asked.geojson is not None:
        from goosewing.exchange.geojson import format_geojson

        contents[asked.geojson] = format_geojson(made)
    return contents, told


def _handheld(made: Plan) -> tuple[str, tuple[str, ...]]:
    """Make the handheld GPS's route, and what it had to leave out."""
    from goosewing.exchange.handheld.files import format_contents
    from goosewing.exchange.handheld.plans import fit_plan

    fitted = fit_plan(made)
    return format_contents(fitted.contents), tuple(fitted.report.lines)
