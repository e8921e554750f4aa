"""`goosewing laylines`: the laylines of each mark, and how she lies to the next one's."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

from goosewing_cli import hazards_options, inputs
from goosewing_cli.declared import command, option
from goosewing_cli.documents import print_document

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from goosewing.boat.model import Boat
    from goosewing.hazards.areas import Hazards
    from goosewing.records import LaylineSheet, Mark
    from goosewing.weather.base import Weather


@command(help="Laylines of each mark, and how she lies to the next one's.")
def laylines(
    marks: inputs.MarksFile,
    boat: inputs.BoatFile = None,
    wind: inputs.WindText = None,
    current: inputs.CurrentText = None,
    depart: inputs.DepartText = None,
    length: Annotated[
        float | None,
        option("--length", metavar="NM", help="Length of each line; its leg's if not given."),
    ] = None,
    margin: Annotated[
        float,
        option(
            "--margin", metavar="DEG", help="Shift each layline this many degrees to the safe side."
        ),
    ] = 0.0,
    hazards: hazards_options.HazardFiles = None,
    safe_depth: hazards_options.SafeDepth = None,
    tide: hazards_options.TideText = None,
    coast: hazards_options.UseCoast = False,
    clearance: hazards_options.Clearance = 0.0,
    dangers: hazards_options.Dangers = hazards_options.DangerChoice.said,
    danger_distance: hazards_options.DangerDistance = hazards_options.USUAL_NM,
    hold_last: inputs.HoldLast = False,
    at: Annotated[
        str | None,
        option("--at", metavar="LAT,LON", help="Where she is: how she lies to the laylines."),
    ] = None,
    next_mark: inputs.NextMark = None,
    source: inputs.SourceOfMarks = None,
    route: inputs.RouteName = None,
    zone: inputs.ZoneText = None,
    variation: inputs.VariationText = None,
    out: Annotated[
        Path | None, option("--out", metavar="FILE", help="Write the laylines as GPX 1.1.")
    ] = None,
    json: inputs.AsJson = False,
    performance: inputs.PerformanceFactor = None,
) -> None:
    """Print, and write, the laylines of every mark but the first."""
    from goosewing.compass.headings import laylines_with_variation
    from goosewing.errors import GoosewingError
    from goosewing.exchange import document
    from goosewing.exchange.gpx import plans
    from goosewing.plan import changes, doubted, usable_marks

    crew = inputs.load_boat(boat, performance)
    weather = inputs.load_weather(wind, current, hold_last=hold_last)
    time, local = inputs.departure_time(depart), inputs.load_zone(zone)
    apart = dangers is not hazards_options.DangerChoice.none
    wanted = inputs.read_marks(
        marks, source, route, at=at, next_mark=next_mark, dangers_apart=apart, every=True
    )
    noted = hazards_options.Noted(wanted.waypoints, marks, dangers, danger_distance)
    kept, dropped = usable_marks(wanted.marks)

    def keep_clear(tide_m: float | None) -> hazards_options.KeptClear:
        return hazards_options.kept_clear(
            kept, hazards, safe_depth, coast, clearance, tide_m, noted
        )

    def drawn(clear: hazards_options.KeptClear) -> LaylineSheet:
        said = (*wanted.notices, *dropped, *clear.notices)
        given = Lines(kept, length, margin, at is not None, said, clear.hazards)
        return (curved if changes(weather) else straight)(crew, weather, time, given)

    hours = hazards_options.tide_hours(tide, time, alone=True)
    clear = keep_clear(None if hours is None else hours.lowest_m())
    others = (*inputs.weather_files(wind, current, tide), *clear.files)
    files = inputs.files_read(boat, marks, *others)
    inputs.check_outputs([out], files)
    try:
        clear, made, hours = hazards_options.under_tide(hours, clear, keep_clear, drawn, _latest)
    except GoosewingError as error:
        # Nobody reads notices where there are no lines: a doubted position may be why.
        raise error.asking(doubted(dropped)) from None
    if hours is not None and clear.has_cells:
        made = replace(made, notices=(*made.notices, *hours.told(_latest(made) or time)))
    if variation is not None:
        made = laylines_with_variation(made, inputs.load_variation(variation), time)
    if out is not None:
        plans.write_laylines(out, made, kept[1:], inputs=files)
    if json:
        content = document.document(document.LAYLINES_FORMAT, **document.plain(made))
        print_document(document.format_json(content))
        return
    from goosewing_cli.show_laylines import show_laylines

    show_laylines(made, time, zone=local, written=[] if out is None else [out])


def _latest(made: LaylineSheet) -> datetime | None:
    """Return the latest hour on any line; None in steady wind, where they hold at any."""
    times = (point.time for line in made.laylines for point in line.points)
    return max((time for time in times if time is not None), default=None)


class Lines(NamedTuple):
    """Which laylines are wanted."""

    marks: Sequence[Mark]
    length_nm: float | None
    margin_deg: float
    from_here: bool
    notices: Sequence[str]
    hazards: Hazards | None


def straight(crew: Boat, weather: Weather, _: datetime, wanted: Lines) -> LaylineSheet:
    """Draw the laylines of a steady wind, which are the same at any time."""
    from goosewing.laylines.steady import sheet
    from goosewing.steady import solver

    first = wanted.marks[0]
    return sheet(
        solver.sailable(crew, solver.steady_airs(crew, weather)), wanted.marks,
        length_nm=wanted.length_nm, margin_deg=wanted.margin_deg, notices=wanted.notices,
        here=(first.lat, first.lon) if wanted.from_here else None, hazards=wanted.hazards,
    )  # fmt: skip


def curved(crew: Boat, weather: Weather, departure: datetime, wanted: Lines) -> LaylineSheet:
    """Plan the passage first, to know when she is at each mark; then draw back from there."""
    from goosewing.case import Case
    from goosewing.laylines import changing
    from goosewing.laylines.steady import check_length, check_margin
    from goosewing_cli import planning

    check_length(wanted.length_nm)
    check_margin(wanted.margin_deg)
    made = planning.make(
        Case(
            marks=tuple(wanted.marks), boat=crew, weather=weather, departure=departure,
            hazards=wanted.hazards,
        )
    )  # fmt: skip
    said = ["How she lies to them from here is told in steady wind only."]
    return changing.sheet(
        made, crew, weather, length_nm=wanted.length_nm, margin_deg=wanted.margin_deg,
        notices=(*wanted.notices, *(said if wanted.from_here else ())), hazards=wanted.hazards,
    )  # fmt: skip
