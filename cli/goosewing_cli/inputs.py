"""What the commands have in common: reading options into what the engine takes."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, tzinfo
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from goosewing_cli.declared import argument, option

if TYPE_CHECKING:
    from goosewing.boat.model import Boat
    from goosewing.compass.headings import VariationModel
    from goosewing.marks.from_here import Marks
    from goosewing.weather.base import Weather
    from goosewing.weather.read import Wanted


FIRST_YEAR, LAST_YEAR = 1900, 2200
"""A time outside these years is a slip of the pen."""


class Source(StrEnum):
    """Where in a GPX file the marks are."""

    route = "route"
    waypoints = "waypoints"
    track = "track"


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


class PreferName(StrEnum):
    """Which plan suits an ensemble's members best."""

    mean = "mean"
    cautious = "cautious"


Prefer = Annotated[
    PreferName | None,
    option(
        "--prefer",
        help="With a forecast of many members: the plan that is fastest over all of them, in "
        "the mean, or in the slowest tenth (cautious).",
    ),
]

MarksFile = Annotated[
    Path, argument("MARKS.gpx", help="A GPX file with a route, waypoints or a track.")
]
BoatFile = Annotated[Path | None, option("--boat", metavar="FILE", help="The boat file (TOML).")]
WindText = Annotated[
    str | None,
    option(
        "--wind", metavar="FROM/KNOTS|FILE", help="Ground wind at 10 m, such as 240/12, or a file."
    ),
]
CurrentText = Annotated[
    str | None,
    option("--current", metavar="SET/KNOTS|FILE", help="Stream, such as 090/1.5, or a file."),
]
HoldLast = Annotated[
    bool,
    option("--hold-last", help="Beyond the forecast's end, keep using its last values."),
]
ShortestBoard = Annotated[
    float | None,
    option(
        "--shortest-board",
        metavar="MINUTES",
        help="Shortest board allowed in changing wind; 0 = no limit.",
    ),
]
WatchHours = Annotated[
    float | None,
    option(
        "--watch",
        metavar="HOURS",
        help="In changing wind the helm gets a new order at most so often, or when the wind has "
        "moved 10° (default: 2).",
    ),
]
WorthMinutes = Annotated[
    float,
    option(
        "--worth", metavar="MINUTES", help="A board or a change of sails gains so much, or isn't."
    ),
]
DepartText = Annotated[
    str | None,
    option(
        "--depart",
        metavar="TIME",
        help="ISO 8601 with zone, such as 2027-06-01T06:00Z (default: now).",
    ),
]
OutFile = Annotated[Path | None, option("--out", metavar="FILE", help="Write the plan as GPX 1.1.")]
AsJson = Annotated[bool, option("--json", help="Print one JSON document and nothing else.")]
PerformanceFactor = Annotated[
    float | None,
    option("--performance", metavar="FACTOR", help="Factor on all boat speeds, such as 0.9."),
]
SourceOfMarks = Annotated[
    Source | None,
    option(
        "--marks-from",
        "--from",
        help="Take the marks from this (default: a route if there is one).",
    ),
]
RouteName = Annotated[str | None, option("--route", metavar="NAME", help="Which route, by name.")]
AtText = Annotated[
    str | None,
    option("--at", metavar="LAT,LON", help="Start from here, such as \"57°30.5'N 11°20'E\"."),
]
NextMark = Annotated[
    str | None,
    option("--next", metavar="MARK", help="The next mark; those before it are dropped."),
]
LeaveTexts = Annotated[
    list[str] | None,
    option(
        "--leave",
        metavar="MARK=SIDE:NM",
        help='Leave a mark on a hand and at a distance, such as "Anholt E=port:0.2"; repeatable.',
    ),
]
LeaveByWords = Annotated[
    float | None,
    option(
        "--leave-by-words",
        metavar="NM",
        help="Leave marks this far off on the hand that their own name or description says.",
    ),
]
ZoneText = Annotated[
    str | None,
    option(
        "--zone", metavar="ZONE", help="Show local time too, such as Europe/Stockholm or +02:00."
    ),
]
VariationText = Annotated[
    str | None,
    option("--variation", metavar="DEG|model", help="Add magnetic headings; east is positive."),
]
MarginDegrees = Annotated[
    float, option("--margin", metavar="DEG", help="Tack this many degrees past the layline.")
]
FirstBoard = Annotated[
    First | None,
    option("--first", help="Which board first (default: the longer, if hardly slower)."),
]
CorridorMiles = Annotated[
    float | None,
    option(
        "--corridor",
        metavar="NM",
        help="Stay within this distance of the leg's rhumb line, also from --at.",
    ),
]
StartWith = Annotated[
    str | None,
    option("--start-with", metavar='"SAIL SET"', help="The sails set at the start."),
]
StartTack = Annotated[
    TackName | None, option("--start-tack", help="The tack she is on at the start.")
]
UseEngine = Annotated[
    bool,
    option(
        "--engine", help="Motor where sailing makes too little good, by the boat file's [engine]."
    ),
]
DeviationFile = Annotated[
    Path | None,
    option("--deviation", metavar="FILE", help="Deviation card; also show compass headings."),
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


def load_weather(wind: str | None, current: str | None, *, hold_last: bool = False) -> Weather:
    """Turn the options into one source of wind and stream.

    Parameters
    ----------
    wind, current : str or None
        Steady, such as ``240/12``, or the name of a file. A file of winds may
        hold the stream as well; `current` then takes its place.
    hold_last : bool
        Let the last values of files hold on after their end.

    Raises
    ------
    InputError
        If there is no wind, or a text is neither a value nor a file that holds it.
    """
    from goosewing.errors import InputError
    from goosewing.weather.combine import CombinedWeather
    from goosewing.weather.combine import hold_last as held
    from goosewing.weather.steady import SteadyWeather, parse_current, parse_wind

    if wind is None:
        raise InputError("--wind FROM/KNOTS or --wind FILE is needed, such as --wind 240/12")
    air = _steady_or_file(wind, parse_wind)
    water = None if current is None else _steady_or_file(current, parse_current)
    if isinstance(air, tuple) and not isinstance(water, Path):
        return SteadyWeather(*air, *(water or (None, 0.0)))
    winds = SteadyWeather(*air) if isinstance(air, tuple) else read_weather(air, "wind")
    if isinstance(water, Path):
        both: Weather = CombinedWeather(winds, read_weather(water, "stream"))
    elif water is not None:
        both = CombinedWeather(winds, SteadyWeather(0.0, 0.0, *water))
    else:
        both = winds
    return held(both) if hold_last else both


def source_words(
    wind: str | None, current: str | None, weather: Weather, *, hold_last: bool = False
) -> str:
    """Say where wind and stream come from, if any of them is a file; else nothing.

    Parameters
    ----------
    wind, current : str or None
        As given to `load_weather`, which has read them already.
    weather : Weather
        What it made of them.
    """
    from goosewing.files.disk import shown
    from goosewing.weather.base import STREAM
    from goosewing.weather.combine import holds
    from goosewing.weather.steady import parse_current, parse_wind
    from goosewing.words.figures import stream_words, three_figures

    air = _steady_or_file(wind or "", parse_wind)
    water = None if current is None else _steady_or_file(current, parse_current)
    if not isinstance(air, Path) and not isinstance(water, Path):
        return ""
    words = f"Wind by {shown(air.name)}" if isinstance(air, Path) else (
        f"Wind from {three_figures(air[0])} {air[1]:g} kn"
    )  # fmt: skip
    if isinstance(water, Path):
        words += f", stream by {shown(water.name)}"
    elif water is not None:
        words += f", {stream_words(*water)}"
    elif STREAM[0] in holds(weather):
        words = words.replace("Wind", "Wind and stream", 1)
    else:
        words += ", no stream"
    return f"{words}; after its end the last values hold on" if hold_last else words


def _steady_or_file(
    text: str, parse: Callable[[str], tuple[float, float]]
) -> tuple[float, float] | Path:
    from goosewing.errors import InputError

    try:
        return parse(text)
    except InputError as error:
        if not _exists(text):
            raise InputError(f"{error}; and there is no weather file of that name") from None
    return Path(text)


def _exists(text: str) -> bool:
    try:
        return bool(text.strip()) and Path(text).exists()
    except (OSError, ValueError):  # no name that a file could have
        return False


def read_weather(path: Path, wanted: Wanted) -> Weather:
    """Read a weather file of any kind that holds what is wanted."""
    from goosewing.weather import read

    return read.read_weather(path, wanted=wanted)


def weather_files(*texts: str | None) -> list[Path]:
    """Return the files among the options' texts: no output may overwrite them."""
    return [Path(text) for text in texts if text is not None and _exists(text)]


def parse_time(text: str, option: str) -> datetime:
    """Read an ISO 8601 time with its zone, and give it in UTC.

    Raises
    ------
    InputError
        If it is no time, or has no zone.
    """
    from goosewing.errors import InputError

    if option == "--from" and text.strip() in {each.value for each in Source}:
        raise InputError(
            f"--from is the first departure's time here; --marks-from {text.strip()} says what to "
            "take the marks from"
        )
    try:
        time = datetime.fromisoformat(text.strip())
    except ValueError:
        raise InputError(
            f"{option} must be an ISO 8601 time with its zone, such as 2027-06-01T06:00Z, "
            f"got {text!r}"
        ) from None
    if time.utcoffset() is None:
        raise InputError(f"{option} needs a zone, such as {text.strip()}Z for UTC, got {text!r}")
    if not FIRST_YEAR <= time.year <= LAST_YEAR:
        raise InputError(f"{option} must lie between {FIRST_YEAR} and {LAST_YEAR}, got {text!r}")
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


@contextlib.contextmanager
def folder_for_output(folder: Path) -> Iterator[None]:
    """Make a folder for what is written within; where that fails, none is left that was not there.

    Raises
    ------
    InputError
        If it can't be made.
    """
    missing = [each for each in (folder, *folder.parents) if not each.exists()]
    ensure_folder(folder)
    try:
        yield
    except BaseException:
        for each in missing:
            with contextlib.suppress(OSError):
                each.rmdir()
        raise


def load_zone(text: str | None) -> tzinfo | None:
    """Read the zone in which times are shown beside UTC."""
    if text is None:
        return None
    from goosewing.earth.positions import parse_zone

    return parse_zone(text)


def load_variation(text: str) -> float | VariationModel:
    """Read a variation, or the model that tells it."""
    from goosewing.compass.headings import parse_variation, variation_model

    given = parse_variation(text)
    return variation_model() if given == "model" else given


def read_marks(
    path: Path,
    source: Source | None,
    route: str | None,
    *,
    at: str | None = None,
    next_mark: str | None = None,
    leave: Sequence[str] = (),
    by_words_nm: float | None = None,
    dangers_apart: bool = False,
    every: bool = False,
) -> Marks:
    """Read the marks and put them as the navigator wants them now.

    With `dangers_apart` a waypoint whose symbol or type says danger is no mark, also where
    the marks are taken from waypoints. From here, without a next mark, those that lie behind
    are dropped unless `every` is asked for.

    Raises
    ------
    InputError
        If file, position, name or side is wrong.
    """
    from goosewing.earth.positions import parse_position
    from goosewing.exchange.gpx import marks
    from goosewing.marks import from_here
    from goosewing.marks.dangers import set_apart

    here = None if at is None else parse_position(at)
    wishes = [from_here.parse_leave(text) for text in leave]
    read = marks.read_marks(path, source=None if source is None else source.value, route=route)
    taken, waypoints = read.marks, read.waypoints
    if dangers_apart and read.source == "waypoints":
        taken, waypoints = set_apart(read.marks)
    made = from_here.Marks(from_here.leaving(taken, wishes), read.notices)
    if by_words_nm is not None:
        worded = from_here.leaving_by_words(made.marks, by_words_nm)
        made = from_here.Marks(worded.marks, (*made.notices, *worded.notices))
    all_ = made.marks
    if next_mark is not None:
        ahead = from_here.from_next(made.marks, next_mark)
        made = from_here.Marks(ahead.marks, (*made.notices, *ahead.notices))
    if here is not None:
        made = _from_here(made, *here, said=next_mark is not None, every=every)
        begun_at = len(all_) - len(made.marks)
        made = made._replace(behind=all_[begun_at] if begun_at >= 0 else None)
    return made._replace(texts=read.texts, waypoints=waypoints)


def _from_here(made: Marks, lat: float, lon: float, *, said: bool, every: bool) -> Marks:
    """Begin where she is; if no next mark was said, with the one that lies ahead, or with all."""
    from goosewing.marks import from_here

    if not said and not every:
        ahead = from_here.ahead_of(made.marks, lat, lon)
        made = from_here.Marks(ahead.marks, (*made.notices, *ahead.notices))
    begun = from_here.starting_here(made.marks, lat, lon)
    kept: tuple[str, ...] = ()
    if every and not said and len(begun.marks) > len(made.marks) > 1:
        kept = (from_here.all_kept(made.marks),)
    return from_here.Marks(begun.marks, (*made.notices, *begun.notices, *kept))


def files_read(boat: Path | None, *others: Path | None) -> list[Path]:
    """Return every file that a command has read, the boat's tables among them."""
    from goosewing.boat.read import boat_files

    files = [path for path in others if path is not None]
    return files if boat is None else [*files, *boat_files(boat)]


def check_outputs(
    outputs: Sequence[Path | None], files: Sequence[Path], *, makes_folder: bool = False
) -> None:
    """Refuse outputs that can't be written, before any of them is.

    Raises
    ------
    InputError
        If one is an input, can't be written, or stands twice.
    """
    from goosewing.errors import InputError
    from goosewing.files.disk import check_writable, shown

    taken: set[Path] = set()
    for path in outputs:
        if path is None:
            continue
        check_writable(path, inputs=files, makes_folder=makes_folder)
        if path.resolve() in taken:
            raise InputError("two outputs have the same name", where=shown(path))
        taken.add(path.resolve())
