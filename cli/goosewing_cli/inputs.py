"""What the commands have in common: reading options into what the engine takes."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from goosewing.boat.model import Boat
    from goosewing.weather.base import Weather

MarksFile = Annotated[
    Path, typer.Argument(metavar="MARKS.gpx", help="A GPX file with a route, waypoints or a track.")
]
BoatFile = Annotated[
    Path | None, typer.Option("--boat", metavar="FILE", help="The boat file (TOML).")
]
WindText = Annotated[
    str | None,
    typer.Option(
        "--wind", metavar="FROM/KNOTS|FILE", help="Ground wind at 10 m, such as 240/12, or a file."
    ),
]
CurrentText = Annotated[
    str | None,
    typer.Option("--current", metavar="SET/KNOTS|FILE", help="Stream, such as 090/1.5, or a file."),
]
DepartText = Annotated[
    str | None,
    typer.Option(
        "--depart", metavar="TIME", help="ISO 8601 with zone, such as 2027-06-01T06:00Z; now."
    ),
]
OutFile = Annotated[
    Path | None, typer.Option("--out", metavar="FILE", help="Write the plan as GPX 1.1.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
PerformanceFactor = Annotated[
    float | None,
    typer.Option("--performance", metavar="FACTOR", help="Factor on all boat speeds, such as 0.9."),
]


def load_boat(path: Path | None, performance: float | None) -> Boat:
    """Read the boat file and apply the factor on her speed."""
    from goosewing.boat.read import read_boat

    from goosewing.errors import InputError

    if path is None:
        raise InputError(
            "--boat FILE is needed: a boat file such as sample_routes/brisvik/boat.toml"
        )
    boat = read_boat(path)
    if performance is None:
        return boat
    if not 0.0 < performance <= 2.0:
        raise InputError(f"--performance must be above 0 and at most 2, got {performance:g}")
    return boat.scaled(performance)


def load_weather(wind: str | None, current: str | None) -> Weather:
    """Turn the two options into one source of wind and stream."""
    from goosewing.errors import InputError
    from goosewing.weather.steady import SteadyWeather, parse_current, parse_wind

    if wind is None:
        raise InputError("--wind FROM/KNOTS is needed, such as --wind 240/12")
    from_deg, wind_kn = parse_wind(wind)
    set_deg, drift_kn = (None, 0.0) if current is None else parse_current(current)
    return SteadyWeather(from_deg, wind_kn, set_deg, drift_kn)


def parse_time(text: str, option: str) -> datetime:
    """Read an ISO 8601 time with its zone, and give it in UTC.

    Raises
    ------
    InputError
        If it is no time, or has no zone.
    """
    from goosewing.errors import InputError

    try:
        time = datetime.fromisoformat(text.strip())
    except ValueError:
        raise InputError(
            f"{option} must be an ISO 8601 time with its zone, such as 2027-06-01T06:00Z, "
            f"got {text!r}"
        ) from None
    if time.utcoffset() is None:
        raise InputError(f"{option} needs a zone, such as {text.strip()}Z for UTC, got {text!r}")
    return time.astimezone(UTC)


def departure_time(text: str | None) -> datetime:
    """Read the time of departure; now, to the second, if none is given."""
    if text is None:
        return datetime.now(UTC).replace(microsecond=0)
    return parse_time(text, "--depart")


def ensure_folder(folder: Path) -> None:
    """Make a folder for output, if it is not there.

    Raises
    ------
    InputError
        If it can't be made.
    """
    from goosewing.errors import InputError

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"can't make the folder: {error.strerror}", where=str(folder)) from None
