"""`goosewing depart`: when to leave."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

from goosewing_cli import hazards_options, inputs
from goosewing_cli.declared import command, option
from goosewing_cli.documents import print_document
from goosewing_cli.pool import side_by_side, workers_for

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from datetime import tzinfo

    from goosewing.case import Case
    from goosewing.departures.wants import Chosen
    from goosewing.records import Departure, Plan

USUAL_SPAN = timedelta(hours=24)
"""How far ahead departures are looked at where nothing is said."""

MOST_DEPARTURES = 1000
"""More than this many is a slip of the pen."""

OVER_MEMBERS = {
    inputs.PreferName.mean: "Times and arrivals are the mean over the forecast's members, each "
    "departure by the plan that suits them best so; all else holds in the wind of the member "
    "whose plan it is.",
    inputs.PreferName.cautious: "Times and arrivals are the mean of the slowest tenth of the "
    "forecast's members, each departure by the plan that suits them best so; all else holds in "
    "the wind of the member whose plan it is.",
}
"""What is told with departures planned for all members."""

_SPACING = re.compile(r"(\d+(?:\.\d*)?|\.\d+)\s*(h|min)?", re.ASCII)


@command(help="When to leave: the passage at many times of departure.")
def depart(
    marks: inputs.MarksFile,
    boat: inputs.BoatFile = None,
    wind: inputs.WindText = None,
    current: inputs.CurrentText = None,
    begin: Annotated[
        str | None,
        option("--from", metavar="TIME", help="The first departure, ISO 8601 (default: now)."),
    ] = None,
    until: Annotated[
        str | None,
        option("--until", metavar="TIME", help="The last one (default: 24 hours later)."),
    ] = None,
    every: Annotated[
        str, option("--every", metavar="SPACING", help="1h, 30min, or 90 (minutes).")
    ] = "1h",
    wants: Annotated[
        str | None,
        option(
            "--wants",
            metavar="LIST",
            help="Keep those that arrive by daylight, or stay within limits, such as "
            "daylight,gust<=25,night<3: elapsed, upwind, poled, downwind (dead downwind), "
            "engine, against, night, beyond in hours; wind, gust in knots.",
        ),
    ] = None,
    out: Annotated[
        Path | None,
        option("--out", metavar="FILE", help="Write the best departure's plan as GPX 1.1."),
    ] = None,
    json: inputs.AsJson = False,
    performance: inputs.PerformanceFactor = None,
    source: Annotated[
        inputs.Source | None,
        option("--marks-from", help="Take the marks from this (default: a route if there is one)."),
    ] = None,
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
    prefer: inputs.Prefer = None,
    engine: inputs.UseEngine = False,
    variation: inputs.VariationText = None,
    deviation: inputs.DeviationFile = None,
    zone: inputs.ZoneText = None,
) -> None:
    """Tell what the passage would be like at each of many times of departure."""
    from goosewing.case import Case
    from goosewing.departures.wants import NoneMeetsError, choose, parse_wants
    from goosewing.foresight.on_the_way import NO_LAND, cautions_for
    from goosewing_cli.planning import (
        check_members,
        compass_headings,
        look_further,
        member_case,
        plan_options,
    )

    wanted = parse_wants(wants)
    times = departure_times(begin, until, every)
    crew = inputs.load_boat(boat, performance)
    weather = inputs.load_weather(wind, current, hold_last=hold_last)
    if prefer is not None:
        check_members(weather, wind)
    local = inputs.load_zone(zone)
    read = inputs.read_marks(
        marks,
        source,
        route,
        at=at,
        next_mark=next_mark,
        leave=leave or (),
        by_words_nm=leave_by_words,
        dangers_apart=dangers is not hazards_options.DangerChoice.none,
    )
    noted = hazards_options.Noted(read.waypoints, marks, dangers, danger_distance)
    options = plan_options(
        first=first, margin_deg=margin, corridor_nm=corridor, start_with=start_with,
        behind=read.behind,
        start_tack=start_tack, shortest_board_min=shortest_board, watch_h=watch,
        worth_min=worth, engine=engine,
        source=inputs.source_words(wind, current, weather, hold_last=hold_last),
    )  # fmt: skip
    by_compass = compass_headings(variation, deviation)

    def keep_clear(tide_m: float | None) -> hazards_options.KeptClear:
        return hazards_options.kept_clear(
            read.marks, hazards, safe_depth, coast, clearance, tide_m, noted
        )

    hours = hazards_options.tide_hours(tide, times[0], alone=True)
    clear = keep_clear(None if hours is None else hours.lowest_m())
    others = (deviation, *inputs.weather_files(wind, current, tide), *clear.files)
    files = inputs.files_read(boat, marks, *others)
    inputs.check_outputs([out], files)

    # The members of a forecast come to a place at many times.
    depths = None if prefer else hazards_options.tidal_depths(hours, safe_depth, clear)

    def planned(clear: hazards_options.KeptClear) -> tuple[Case, tuple[Departure, ...]]:
        case = Case(
            marks=read.marks, boat=crew, weather=weather, departure=times[0], options=options,
            hazards=clear.hazards, notices=(*read.notices, *clear.notices), depths=depths,
        )  # fmt: skip
        return case, plan_all(case, times, prefer)

    def latest(found: tuple[Case, tuple[Departure, ...]]) -> datetime:
        return max([times[-1], *(each.plan.arrival for each in found[1] if each.plan is not None)])

    said = [] if prefer is None else [OVER_MEMBERS[prefer]]
    if depths is None:
        clear, (case, all_of_them), hours = hazards_options.under_tide(
            hours, clear, keep_clear, planned, latest
        )
        if hours is not None and clear.has_cells:
            said += hours.told(latest((case, all_of_them)))
    else:
        case, all_of_them = planned(clear)
        depths.tide.lowest_m(times[0], latest((case, all_of_them)))
        said.append(hazards_options.IN_ITS_OWN_HOURS)
    ends = Ends((*said, *(() if clear.land else (NO_LAND,))), cautions_for(clear.words))
    try:
        chosen = choose(all_of_them, wanted)
    except NoneMeetsError as error:
        # What there is helps to want less; the answer is still that there is none.
        _tell(error.chosen, crew.name, times, json=json, zone=local, ends=ends)
        raise
    best = chosen.meeting[0].plan
    assert best is not None
    best = replace(best, route=read.texts, dangers=clear.dangers)
    best = look_further(
        member_case(case, best),
        best,
        took_s=0.0,
        looked_at=clear.words,
        land=clear.land,
        alternatives=False,
    )
    written = _write(out, by_compass(best), files)
    _tell(chosen, crew.name, times, json=json, zone=local, written=written, ends=ends)


class Ends(NamedTuple):
    """What a sheet ends with."""

    notices: tuple[str, ...]
    cautions: tuple[str, ...]


def _tell(
    chosen: Chosen,
    boat: str,
    times: Sequence[datetime],
    *,
    json: bool,
    zone: tzinfo | None,
    ends: Ends,
    written: Sequence[Path] = (),
) -> None:
    from goosewing.departures.wants import common_notices

    notices = (*common_notices(chosen), *ends.notices)
    if json:
        print_document(_json(chosen, boat, times, Ends(notices, ends.cautions)))
        return
    from goosewing_cli.show_departures import show_departures

    show_departures(
        chosen, times, notices=notices, cautions=ends.cautions, written=written, zone=zone
    )


def departure_times(begin: str | None, until: str | None, every: str) -> list[datetime]:
    """Return the times of departure, first and last included.

    Raises
    ------
    InputError
        If they don't make a span, or too many departures.
    """
    from goosewing.errors import InputError

    first = (
        datetime.now(UTC).replace(second=0, microsecond=0)
        if begin is None
        else inputs.parse_time(begin, "--from")
    )
    last = first + USUAL_SPAN if until is None else inputs.parse_time(until, "--until")
    step = parse_spacing(every)
    if last < first:
        raise InputError(f"--until must not lie before --from, got {until}")
    count = (last - first) // step + 1
    if count > MOST_DEPARTURES:
        raise InputError(
            f"{count} departures are more than {MOST_DEPARTURES}: a longer --every, or --until "
            "sooner after --from"
        )
    return [first + number * step for number in range(count)]


def parse_spacing(text: str) -> timedelta:
    """Read the time between departures: hours, minutes, or a number of minutes.

    Raises
    ------
    InputError
        If it is neither, or under a minute.

    Examples
    --------
    >>> parse_spacing("1.5h") == parse_spacing("90min") == parse_spacing("90")
    True
    """
    from goosewing.errors import InputError

    found = _SPACING.fullmatch(text.strip())
    minutes = 0.0 if found is None else float(found[1]) * (60.0 if found[2] == "h" else 1.0)
    if not 1.0 <= minutes <= 60.0 * 24.0 * 366.0:
        raise InputError(
            f"--every must be a minute or more, such as 1h, 30min or 90 (minutes), got {text!r}"
        )
    return timedelta(minutes=minutes)


def plan_all(
    case: Case, times: Sequence[datetime], prefer: inputs.PreferName | None = None
) -> tuple[Departure, ...]:
    """Plan every departure: the first here, and the rest on all cores where that saves time."""
    from goosewing.departures.compare import best_first, hold
    from goosewing_cli.planning import counted

    work, wish = _work(prefer)
    with counted("departures", len(times)) as told:
        begun = perf_counter()
        hold(case)
        first, rest = work(*_part(times[0], wish)), times[1:]
        told(1)
        left_s = len(rest) * (perf_counter() - begun)
        workers = workers_for(len(rest), left_s)
        parts = [_part(time, wish) for time in rest]
        each = _side_by_side if workers > 1 else _one_by_one
        return best_first([*first, *each(case, work, parts, lambda done: told(done + 1), workers)])


def _work(prefer: inputs.PreferName | None) -> tuple[Callable[..., tuple[Departure, ...]], Any]:
    """Return what plans a departure of the case that a process holds, and the wish it is told."""
    if prefer is None:
        from goosewing.departures.compare import held_at

        return held_at, None
    from goosewing.foresight.ensembles import held_preferred

    return held_preferred, prefer.value


def _part(time: datetime, wish: Any) -> tuple[Any, ...]:
    return ((time,),) if wish is None else (time, wish)


def _side_by_side(
    case: Case,
    work: Callable[..., tuple[Departure, ...]],
    parts: Sequence[tuple[Any, ...]],
    told: Callable[[int], None],
    workers: int,
) -> Iterable[Departure]:
    return side_by_side(case, work, parts, workers, told)


def _one_by_one(
    _case: Case,
    work: Callable[..., tuple[Departure, ...]],
    parts: Sequence[tuple[Any, ...]],
    told: Callable[[int], None],
    _workers: int,
) -> Iterable[Departure]:
    for done, part in enumerate(parts, 1):
        yield from work(*part)
        told(done)


def _write(out: Path | None, best: Plan, files: list[Path]) -> list[Path]:
    if out is None:
        return []
    from goosewing.exchange.gpx import plans

    plans.write_plan(out, best, inputs=files)
    return [out]


def _json(chosen: Chosen, boat: str, times: Sequence[datetime], ends: Ends) -> bytes:
    from goosewing.departures.compare import best_first
    from goosewing.departures.wants import misses, want_costs
    from goosewing.exchange import document

    return document.format_json(
        document.document(
            document.DEPARTURES_FORMAT,
            boat=boat,
            first=times[0],
            last=times[-1],
            wants=[want.text for want in chosen.wants],
            departures=chosen.meeting,
            others=[
                {**document.plain(each), "misses": [w.text for w in misses(each, chosen.wants)]}
                for each in chosen.others
            ],
            failed=chosen.failed,
            want_costs=[
                {
                    "want": cost.want.text,
                    "departure": None if cost.best is None else cost.best.departure,
                    "added_h": cost.added_h,
                }
                for cost in want_costs(best_first([*chosen.meeting, *chosen.others]), chosen.wants)
            ],
            notices=ends.notices,
            cautions=ends.cautions,
        )
    )
