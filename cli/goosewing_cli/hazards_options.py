"""What commands have in common where land and shoals are kept clear of."""

from __future__ import annotations

from datetime import timedelta
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple, TypeVar

from goosewing_cli.declared import option

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from goosewing.hazards.areas import Hazards
    from goosewing.hazards.chart import Chart
    from goosewing.hazards.read.tide import Tide
    from goosewing.hazards.tidal import TidalDepths
    from goosewing.marks.dangers import Danger
    from goosewing.records import Mark, Plan

Made = TypeVar("Made")

HazardFiles = Annotated[
    list[Path] | None,
    option(
        "--hazards",
        metavar="FILE",
        help="Keep clear of what this file holds: GeoJSON, GPX, shapefile, GeoPackage or S-57 "
        "cell; repeatable.",
    ),
]
SafeDepth = Annotated[
    float | None,
    option(
        "--safe-depth", metavar="METRES", help="With S-57 cells: keep clear of less charted depth."
    ),
]
TideText = Annotated[
    str | None,
    option(
        "--tide",
        metavar="METRES|FILE",
        help="Height of tide over charted depths, or a table time,height_m: its lowest "
        "over all hours planned counts; with depart, while each one is over a depth.",
    ),
]
UseCoast = Annotated[
    bool,
    option("--coast", help="Keep clear of the built-in coast; coarse, not for navigation."),
]
Clearance = Annotated[
    float,
    option("--clearance", metavar="NM", help="How far to keep off land and hazards."),
]


class DangerChoice(StrEnum):
    """Which waypoints of the marks' own file are dangers."""

    said = "said"
    symbols = "symbols"
    all = "all"
    none = "none"


Dangers = Annotated[
    DangerChoice,
    option(
        "--dangers",
        help="Keep clear of waypoints of MARKS.gpx: those whose symbol, type or name says rock, "
        "wreck, shoal …; by symbol and type alone; all; or none.",
    ),
]
DangerDistance = Annotated[
    float,
    option("--danger-distance", metavar="NM", help="How far to keep off such waypoints."),
]
USUAL_NM = 0.1
"""As `goosewing.marks.dangers.USUAL_NM`, which would take half a second to load for --help."""


class Noted(NamedTuple):
    """Waypoints of the marks' own file, and which of them count."""

    waypoints: tuple[Mark, ...]
    file: Path
    which: DangerChoice = DangerChoice.said
    distance_nm: float = USUAL_NM


class KeptClear(NamedTuple):
    """What a passage keeps clear of.

    Attributes
    ----------
    hazards : Hazards or None
        None where nothing was asked for.
    notices : tuple of str
        For the plan.
    files : tuple of path
        What was read: no output may overwrite it.
    words : str or None
        What it is, for whoever reads the plan; None where nothing was asked for.
    dangers : tuple of Mark
        Waypoints among it.
    land : bool
        Whether more than waypoints was looked at.
    """

    hazards: Hazards | None = None
    notices: tuple[str, ...] = ()
    files: tuple[Path, ...] = ()
    words: str | None = None
    dangers: tuple[Mark, ...] = ()
    land: bool = False

    noted: bool = False
    """Whether the marks' file holds waypoints beside its marks."""

    @property
    def hints(self) -> tuple[str, ...]:
        """How to ask otherwise; for a terminal, of no use on deck."""
        said = []
        if self.noted:
            said.append("--dangers says which waypoints of the marks' file are kept clear of.")
        if not self.land:
            said.append("--hazards FILE and --coast name land and shoals to keep clear of.")
        return tuple(said)

    @property
    def has_cells(self) -> bool:
        """Whether chart cells are among it, whose depths a tide covers."""
        from goosewing.hazards.read.files import kind_of_file

        return any(kind_of_file(path) == "S-57" for path in self.files)


class TideHours(NamedTuple):
    """The hours whose lowest tide counts: those of all that is planned, not of one plan alone.

    Members of a forecast, the slow edge of the boat's band and other ways to sail a leg are
    kept clear of the same ground as the plan, so that the hours reach to twice its time under
    way; where other departures are asked for, 2 h before and after as well.
    """

    tide: Tide
    departure: datetime
    what_if: bool = False
    end: datetime | None = None
    """None: to the table's end."""
    alone: bool = False
    """Whether nothing is told beside what is planned."""

    @property
    def start(self) -> datetime:
        """The first of the hours."""
        return self.departure - (OTHER_DEPARTURES if self.what_if else timedelta())

    def until(self, arrival: datetime) -> TideHours:
        """Return the hours of a plan with this arrival, as far as the table reaches.

        Raises
        ------
        InputError
            If it doesn't reach to the arrival.
        """
        self.tide.lowest_m(self.departure, arrival)
        end = arrival if self.alone else arrival + (arrival - self.departure)
        end += OTHER_DEPARTURES if self.what_if else timedelta()
        return self._replace(end=None if self.tide.ends_before(end) else end)

    def lowest_m(self) -> float:
        """Return the lowest height of these hours.

        Raises
        ------
        InputError
            If the table doesn't reach over them.
        """
        return self.tide.lowest_m(self.start, self.end)

    def told(self, late: datetime) -> tuple[str, ...]:
        """Say which hours they are, and whether the latest that is told is later than they."""
        if not self.tide.source:
            return ()
        end = "the table's end" if self.end is None else f"{self.end:%Y-%m-%d %H:%M} UTC"
        hours = f"from {self.start:%Y-%m-%d %H:%M} UTC to {end}"
        said = f"Charted depths count with the lowest tide {hours}, {self.lowest_m():.1f} m."
        after = self.tide.ends_before(late) if self.end is None else late > self.end
        if not after:
            return (said,)
        return (
            said,
            "Some of what is told beside the plan comes later than these hours: the tide may then "
            "be lower.",
        )


OTHER_DEPARTURES = timedelta(hours=2)
"""How much earlier and later `--what-if` departs."""


def latest(made: Plan) -> datetime:
    """Return the latest arrival of a plan and of what is told beside it."""
    added = [each.added_min for leg in made.legs for each in leg.alternatives]
    every = [made.arrival, *(each.arrival for each in made.what_if)]
    every.append(made.arrival + timedelta(minutes=max([0.0, *added])))
    every.append(None if made.band is None else made.band.latest)
    return max(each for each in every if each is not None)


def kept_clear(
    marks: Sequence[Mark],
    files: list[Path] | None,
    safe_depth: float | None,
    coast: bool,
    clearance: float,
    tide_m: float | None = None,
    noted: Noted | None = None,
) -> KeptClear:
    """Read all that is kept clear of on the way over these marks.

    Parameters
    ----------
    marks, files, safe_depth, coast, clearance, tide_m
        As for `read_chart`.
    noted : Noted, optional
        Waypoints of the marks' own file.

    Raises
    ------
    InputError
        As `read_chart`, if the distance makes no sense, and if the coast is asked for all the
        way to a mark whose latitude and longitude look exchanged.
    """
    if coast:
        _check_before_the_coast(marks)
    chart = read_chart(files, safe_depth, coast, clearance, marks, tide_m)
    found, told = ((), ()) if noted is None else _dangers(noted, marks)
    if chart is None and tide_m is not None:
        from goosewing.hazards.chart import NO_CELLS

        told = (*told, NO_CELLS.format(asked="tide"))
    if chart is None and not found:
        return KeptClear(notices=told, noted=bool(told))
    with_them = _with_dangers(chart, found, noted)
    words = looked_at(files or (), coast=coast, clearance=clearance)
    if noted is not None and found:
        from goosewing.words.figures import listed

        words = listed(filter(None, (words, danger_words(found, noted.file))))
    return KeptClear(
        with_them.around(marks),
        (*with_them.notices, *told),
        tuple(files or ()),
        words,
        tuple(each.mark for each in found),
        land=chart is not None,
        noted=noted is not None and bool(noted.waypoints),
    )


def _check_before_the_coast(marks: Sequence[Mark]) -> None:
    """Refuse to read the coasts of half the world for a mistaken position."""
    from goosewing.errors import InputError
    from goosewing.plan import exchanged_positions

    doubt = exchanged_positions(marks)
    if doubt is not None:
        raise InputError(
            f"{doubt.rstrip('.')}; the coast isn't read so far (without --coast it is planned "
            "all the same)"
        )


def _dangers(noted: Noted, marks: Sequence[Mark]) -> tuple[tuple[Danger, ...], tuple[str, ...]]:
    """Find the dangers among waypoints, and say which they are."""
    from goosewing.files.disk import shown
    from goosewing.marks import dangers

    dangers.check_distance(noted.distance_nm)
    if not noted.waypoints:
        return (), ()

    found = dangers.dangers_among(noted.waypoints, marks, noted.which.value, noted.distance_nm)
    others = (
        [] if noted.which is DangerChoice.none else dangers.others(noted.waypoints, marks, found)
    )
    return found, dangers.told(found, others, shown(noted.file.name))


def chart_with_dangers(chart: Chart | None, noted: Noted, marks: Sequence[Mark]) -> Chart | None:
    """Add the dangers among waypoints to what else is kept clear of under way."""
    from dataclasses import replace

    found, told = _dangers(noted, marks)
    if not told:
        return chart
    whole = _with_dangers(chart, found, noted)
    return replace(whole, notices=(*whole.notices, *told)) if found or chart else None


def _with_dangers(chart: Chart | None, found: Sequence[Danger], noted: Noted | None) -> Chart:
    """Add dangers to what else is kept clear of."""
    from dataclasses import replace

    from goosewing.files.disk import shown
    from goosewing.hazards.chart import Chart
    from goosewing.marks.dangers import areas_of

    whole = chart or Chart()
    if noted is None or not found:
        return whole
    rings = areas_of(found, f"waypoint of {shown(noted.file.name)}", whole.clearance_nm)
    return replace(whole, areas=(*whole.areas, *rings))


def danger_words(found: Sequence[Danger], file: Path) -> str:
    """Say how many waypoints were kept clear of."""
    from goosewing.files.disk import shown

    one = len(found) == 1
    count = f"{len(found)} waypoint{'' if one else 's'}"
    return f"{count} of {shown(file.name)} marked as {'a danger' if one else 'dangers'}"


def tide_hours(
    text: str | None, departure: datetime, *, what_if: bool = False, alone: bool = False
) -> TideHours | None:
    """Read heights of tide, metres or a table, for the hours from a departure on."""
    if text is None:
        return None
    from goosewing.hazards.read import tide

    return TideHours(tide.read_tide(text), departure, what_if, alone=alone)


IN_ITS_OWN_HOURS = (
    "Each departure keeps clear of those depths only where it would be over them with too little "
    "water: the lowest tide from half an hour before until half an hour after counts."
)
"""Said with departures that `goosewing.departures.own_tide` plans."""


def tidal_depths(
    hours: TideHours | None, safe_depth: float | None, clear: KeptClear
) -> TidalDepths | None:
    """Return how depths count hour by hour; None where no table says, or nothing has depths."""
    if hours is None or not hours.tide.source or safe_depth is None or not clear.has_cells:
        return None
    from goosewing.hazards.tidal import TidalDepths

    return TidalDepths(tide=hours.tide, safe_depth_m=safe_depth)


def tide_always_m(text: str | None, command: str) -> float | None:
    """Read a height of tide that holds always.

    Raises
    ------
    InputError
        If it is a table, or no height that makes sense.
    """
    if text is None:
        return None
    from goosewing.errors import InputError
    from goosewing.hazards.read import tide

    read = tide.read_tide(text)
    if read.source:
        raise InputError(
            f"{command} runs on after any table of the tide: give --tide METRES, the lowest height "
            f"of your hours, not {read.source}"
        )
    return float(read.height_m[0])


def under_tide(
    hours: TideHours | None,
    clear: KeptClear,
    keep_clear: Callable[[float | None], KeptClear],
    planned: Callable[[KeptClear], Made],
    arrival: Callable[[Made], datetime | None],
) -> tuple[KeptClear, Made, TideHours | None]:
    """Plan with the lowest tide of all hours to come, and once more if her own hours have more.

    Parameters
    ----------
    hours : TideHours or None
        To the table's end; None where no tide counts.
    clear : KeptClear
        With the lowest tide of these.
    keep_clear : callable
        Reads the same with another tide.
    planned, arrival : callable
        Make what is asked for, and tell the latest hour of it; None where it holds at any.

    Returns
    -------
    clear, made, hours
        What was planned, among what, and the hours whose lowest tide counted.
    """
    made = planned(clear)
    latest = arrival(made)
    if hours is None or latest is None:
        return clear, made, hours
    own = hours.until(latest)
    if clear.has_cells and own.lowest_m() != hours.lowest_m():
        # With more water she is no later, so that the lowest of these hours holds.
        clear = keep_clear(own.lowest_m())
        made = planned(clear)
    return clear, made, own


def looked_at(files: Sequence[Path], *, coast: bool, clearance: float) -> str | None:
    """Say what a plan was kept clear of, and how far; None where nothing was asked for."""
    if not files and not coast:
        return None
    from goosewing.files.disk import shown
    from goosewing.words.figures import listed

    names = [shown(path.name) for path in files]
    if coast:
        names.append("the built-in coast, which is coarse")
    off = f", kept {clearance:g} nm off" if clearance else ", kept no distance off"
    return f"what lies in {listed(names)}{off}"


def read_chart(
    files: list[Path] | None,
    safe_depth: float | None,
    coast: bool,
    clearance: float,
    marks: Sequence[Mark] = (),
    tide_m: float | None = None,
) -> Chart | None:
    """Read all that is to be kept clear of; None where nothing is asked for.

    Parameters
    ----------
    files, safe_depth, coast, clearance
        As the options give them.
    marks : sequence of Mark
        What lies far from all of these may be left out.
    tide_m : float, optional
        Height of tide over charted depths. [m]

    Raises
    ------
    InputError
        If a file is wrong, or an option makes no sense.
    """
    if not files and not coast and not clearance and safe_depth is None:
        return None
    from goosewing.errors import InputError
    from goosewing.hazards import chart

    chart.check_numbers(safe_depth, clearance)
    if not files and not coast:
        option = "--clearance" if clearance else "--safe-depth"
        raise InputError(f"{option} needs --hazards FILE or --coast to keep clear of")
    near = chart.box_around(marks) if marks else None
    return chart.read_chart(
        files or (), safe_depth_m=safe_depth, tide_m=tide_m, coast=coast,
        clearance_nm=clearance, near=near,
    )  # fmt: skip
