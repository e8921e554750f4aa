"""`goosewing weather`: what a forecast or a table of streams holds."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import click

from goosewing_cli import inputs, logs
from goosewing_cli.declared import argument, command, option
from goosewing_cli.documents import print_document

if TYPE_CHECKING:
    from goosewing.weather.base import Weather
    from goosewing.weather.spot import Spot


@command(help="How far and how long the wind wandered in a log, for plan --shifts.")
def shifts(
    log: Annotated[
        list[Path],
        argument("LOG", help="A log (NMEA 0183, Signal K, CSV) with wind, heading and speed."),
    ],
    variation: logs.VariationEast = None,
    json: inputs.AsJson = False,
) -> None:
    """Tell the spread of the wind's direction and how long its shifts last."""
    from goosewing.exchange import document
    from goosewing.logbook.wandering import shifts_from_log

    found = shifts_from_log(logs.load_logs(log), variation)
    if json:
        content = document.document(document.SHIFTS_FORMAT, **document.plain(found))
        print_document(document.format_json(content))
        return
    from goosewing_cli.show_logbook import show_shifts

    show_shifts(found)


class _FileOrShifts(click.Command):
    """What a file holds; with the word "shifts" first, how the wind wandered in a log."""

    def make_context(
        self,
        info_name: str | None,
        args: list[str],
        parent: click.Context | None = None,
        **extra: Any,
    ) -> click.Context:
        """Hand the words after "shifts" to the command of that name."""
        if args[:1] == [shifts.name]:
            return shifts.make_context(f"{info_name} {shifts.name}", args[1:], parent, **extra)
        return super().make_context(info_name, args, parent, **extra)


@command(
    help="What a forecast or a table of streams holds; weather shifts LOG tells how far and how "
    "long the wind wandered in a log.",
    kind=_FileOrShifts,
)
def weather(
    file: Annotated[
        Path,
        argument("FILE", help="GRIB, NetCDF, CSV, or TOML of tidal streams."),
    ],
    at: Annotated[
        str | None,
        option(
            "--at",
            metavar="LAT,LON",
            help="Tell what it says here, such as \"57°30.5'N 11°20'E\"; "
            "needless where the file says the same everywhere.",
        ),
    ] = None,
    time: Annotated[
        str | None,
        option(
            "--time", metavar="TIME", help="And when: ISO 8601 with zone, as 2027-06-01T06:00Z."
        ),
    ] = None,
    json: inputs.AsJson = False,
) -> None:
    """Tell what a weather file holds, and what it says of a place and time."""
    from goosewing.exchange import document
    from goosewing.weather import read

    kind = read.kind_of_file(file)
    source = inputs.read_weather(file, "either")
    facts = read.describe(source)
    here = _spot(source, file, at, time)
    if json:
        content = document.document(
            document.WEATHER_FORMAT,
            kind=kind,
            **document.plain(facts),
            at=None if here is None else document.plain(here),
        )
        print_document(document.format_json(content))
        return
    from goosewing_cli.show_weather import show_weather

    show_weather(file, kind, facts, here)


def _spot(source: Weather, file: Path, at: str | None, time: str | None) -> Spot | None:
    from goosewing.earth.positions import parse_position
    from goosewing.errors import InputError, OutsideForecastError
    from goosewing.files.disk import shown
    from goosewing.weather.spot import spot

    if at is None and time is None:
        return None
    place = parse_position(at) if at is not None else None
    if time is None or (place is None and (source.varies_in_place or source.coverage.bounded)):
        raise InputError("--at LAT,LON and --time TIME go together: it takes both to tell")
    moment = inputs.parse_time(time, "--time")
    try:
        return spot(source, moment, *(place or (None, None)))
    except OutsideForecastError as error:
        raise OutsideForecastError(f"{shown(file)}: {error}") from None
