"""From marks, boat, weather and departure to a `Plan`: the engine's front door.

Reads no files, prints nothing, knows no clock.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from goosewing import turns
from goosewing.boat.model import BAND_SHARE
from goosewing.case import Case
from goosewing.changing.recall import Recall
from goosewing.earth import geodesy
from goosewing.errors import InputError, NoPlanError
from goosewing.marks.from_here import SAME_PLACE_M, metres_apart
from goosewing.options import Options
from goosewing.records import ArrivalBand, Mark, Plan
from goosewing.sail_handling import with_sail_handling
from goosewing.steady import motoring
from goosewing.units import METRES_PER_NM
from goosewing.weather.base import Coverage, Weather, hours_from_datetime

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from goosewing.boat.model import BandEdge, Boat
    from goosewing.hazards.areas import Area, Hazards
    from goosewing.options import First

    Progress = Callable[[str, float], None]

HIGHEST_LATITUDE_DEG = 89.0
"""Nearer the pole a course has no meaning that a helm could follow."""


CHECK_IT = "check its position"

SUSPECT_NM, SUSPECT_SHARE = 500.0, 0.1
"""A leg of so many miles is doubted if exchanged latitude and longitude make it so much shorter."""


def make(
    marks: Sequence[Mark],
    boat: Boat,
    weather: Weather,
    departure: datetime,
    options: Options | None = None,
    *,
    notices: Sequence[str] = (),
    progress: Progress | None = None,
    hazards: Hazards | None = None,
) -> Plan:
    """Plan the passage over all marks.

    Parameters
    ----------
    marks : sequence of Mark
        In the order in which to reach them; the first is where she starts.
    boat : Boat
    weather : Weather
        Ground wind and stream.
    departure : datetime
        Aware.
    options : Options, optional
    notices : sequence of str
        What the reader of the marks had to say; carried into the plan.
    progress : callable, optional
        In changing wind, told the mark searched for and the miles that remain to it.
    hazards : Hazards, optional
        What may not be crossed.

    Returns
    -------
    Plan

    Raises
    ------
    InputError
        If fewer than two different marks are left, one lies at a pole or in a
        hazard, the departure has no zone, or an option makes no sense.
    NoPlanError
        If a mark can't be made, with the reason.
    """
    case = Case(
        marks=tuple(marks), boat=boat, weather=weather, departure=departure,
        options=options or Options(), hazards=hazards, notices=tuple(notices),
    )  # fmt: skip
    return of_case(case, progress)


def of_case(case: Case, progress: Progress | None = None, *, compare: bool = True) -> Plan:
    """Plan the passage of a case.

    Parameters
    ----------
    case : Case
    progress : callable, optional
        As `make`.
    compare : bool
        Whether the plan is to be told beside the straight course and what it could take at
        best. In changing wind that is a good part of the work, and whoever asks for boards and
        times alone needs neither: they are the same.

    Raises
    ------
    InputError, NoPlanError
        As `make`.
    """
    hours_from_datetime(case.departure)
    kept, dropped = usable_marks(case.marks)
    if case.options.engine and case.boat.engine is None:
        raise InputError(
            f"the engine can't be used: the boat file of {case.boat.name} has no [engine] table "
            "(speed_kn, least_vmc_kn)"
        )
    met = case.hazards if case.hazards is not None and len(case.hazards) else None
    case = replace(case, notices=(*case.notices, *dropped), hazards=met)

    def solve(course: Sequence[Mark], recall: Recall | None) -> Plan:
        over = tuple(course)
        if met is not None:
            _check_clear_of(met, over)
        return _made(replace(case, marks=over), progress, recall, compare=compare)

    try:
        made = _over_lines(kept, case, solve)
    except NoPlanError as error:
        # Nobody reads a plan's notices where there is none: a doubted position may be why.
        raise error.asking(doubted(dropped)) from None
    if case.options.engine:
        made = motoring.summed_up(made, case.boat)
    if met is not None:
        _look_over(met, made)
        made = _with_laylines_cut(met, made)
    sails_up = case.options.start_with is not None
    return turns.numbered(with_sail_handling(made, case.boat, sails_up=sails_up))


def with_band(made: Plan, case: Case, progress: Progress | None = None) -> Plan:
    """Add to a plan when she arrives if she is as fast, or as slow, as her band allows.

    The passage is planned again for her at either edge of her band: all her speeds are then
    as far off as the band says, which is the most that its doubt can do.

    Parameters
    ----------
    made : Plan
        As `of_case` made it from the case.
    case : Case
    progress : callable, optional
        As `make`.

    Returns
    -------
    Plan
        The same if she has no band. An edge at which the passage can't be planned is None.
    """
    if not case.boat.has_band:
        return made

    def at(edge: BandEdge) -> Plan | None:
        try:
            return of_case(replace(case, boat=case.boat.at_band(edge)), progress)
        except NoPlanError:
            return None

    fast, slow = at("high"), at("low")
    band = ArrivalBand(
        chance=BAND_SHARE,
        earliest=None if fast is None else fast.arrival,
        latest=None if slow is None else slow.arrival,
        shortest_h=None if fast is None else fast.elapsed_h,
        longest_h=None if slow is None else slow.elapsed_h,
    )
    return replace(made, band=band)


def _over_lines(
    marks: tuple[Mark, ...], case: Case, solve: Callable[[Sequence[Mark], Recall | None], Plan]
) -> Plan:
    """Plan over marks, each line among them passed where that is fastest."""
    from goosewing.marks import lines

    if not lines.any_in(marks):
        return solve(marks, None)
    recall = Recall()
    return lines.fastest(
        marks,
        lambda course: solve(course, recall),
        (lambda course: solve(course, None)) if _in_changing_wind(case) else None,
    )


def _made(case: Case, progress: Progress | None, recall: Recall | None, *, compare: bool) -> Plan:
    """Plan over marks; those to be left on a hand are passed so."""
    from goosewing.marks import rounding

    changing = _in_changing_wind(case)

    def solve(
        points: Sequence[Mark], firsts: Sequence[First | None] | None, recall: Recall | None
    ) -> Plan:
        over = replace(case, marks=tuple(points))
        if changing:
            from goosewing.changing import solver as in_changing_wind

            return in_changing_wind.solve(
                over, firsts, progress=progress, recall=recall, compare=compare
            )
        from goosewing.steady import solver as in_steady_wind

        return in_steady_wind.solve(over, firsts, compare=compare)

    if not rounding.needed(case.marks):
        return solve(case.marks, None, recall)
    # Trials of a trial need no plan made afresh.
    known = Recall() if recall is None else recall
    afresh = partial(solve, recall=None) if changing and recall is None else None
    return rounding.around(
        case.marks, partial(solve, recall=known), case.options.first, case.hazards,
        afresh=afresh, hasty=changing,
    )  # fmt: skip


def _check_clear_of(hazards: Hazards, marks: Sequence[Mark]) -> None:
    """Refuse marks that lie in a hazard or its clearance; one that is left on a hand may."""
    from goosewing.marks import rounding

    for mark in marks:
        if rounding.is_left(mark):
            continue
        area = hazards.at(mark.lat, mark.lon)
        if area is not None:
            raise InputError(_in_hazard(hazards, mark, area))


def _in_hazard(hazards: Hazards, mark: Mark, area: Area) -> str:
    off_nm = hazards.distance_nm(mark.lat, mark.lon, area)
    if abs(off_nm) * METRES_PER_NM < 1.0:
        return f"{mark.name} lies on the edge of {area.called}"
    if off_nm <= 0.0:
        return f"{mark.name} lies {_far(-off_nm)} inside {area.called}"
    return (
        f"{mark.name} lies {_far(off_nm)} off {area.called}: "
        f"the clearance asks {hazards.clearance_nm:g} nm"
    )


def _far(distance_nm: float) -> str:
    if distance_nm < 0.1:
        return f"{distance_nm * METRES_PER_NM:.0f} m"
    return f"{distance_nm:.2f} nm"


def _look_over(hazards: Hazards, plan: Plan) -> None:
    """Refuse a plan with a board over a hazard, whoever made it: a last look."""
    for leg in plan.legs:
        for board in leg.boards:
            places = [(point.lat, point.lon) for point in board.points]
            lat, lon = np.array(places).T
            met = np.flatnonzero(hazards.crossed_along(lat, lon))
            if met.size:
                at = int(met[0])
                area = hazards.what_blocks(lat[at], lon[at], lat[at + 1], lon[at + 1])
                raise NoPlanError(
                    f"no boards were found from {leg.origin} to {leg.destination} that keep clear "
                    f"of {'a hazard' if area is None else area.called}"
                )


def _with_laylines_cut(hazards: Hazards, plan: Plan) -> Plan:
    from goosewing.laylines.steady import cut_short

    legs = tuple(
        replace(leg, laylines=tuple(cut_short(hazards, line) for line in leg.laylines))
        for leg in plan.legs
    )
    return plan if legs == plan.legs else replace(plan, legs=legs)


def changes(weather: Weather) -> bool:
    """Whether wind or stream change, or are known for some times or places only."""
    return weather.varies_in_time or weather.varies_in_place or weather.coverage != Coverage()


def _in_changing_wind(case: Case) -> bool:
    return changes(case.weather) or _waits_for_daylight(case.boat)


def _waits_for_daylight(boat: Boat) -> bool:
    """Whether what she may carry changes with the hour, though the wind doesn't."""
    return not boat.night_poled and any(sails.poled for sails in boat.sail_sets)


def usable_marks(marks: Sequence[Mark]) -> tuple[tuple[Mark, ...], tuple[str, ...]]:
    """Drop marks that repeat the one before, doubt the odd, refuse what can't be a passage.

    Returns
    -------
    marks : tuple of Mark
        At least two.
    notices : tuple of str
        What was dropped, and positions that look exchanged.
    """
    if not marks:
        raise InputError("no marks: at least two are needed, a start and a destination")
    kept = [_checked(marks[0])]
    notices = []
    for mark in marks[1:]:
        if metres_apart(kept[-1], _checked(mark)) <= SAME_PLACE_M:
            notices.append(f"{mark.name} dropped: it is in the same place as {kept[-1].name}.")
        else:
            doubt = _exchanged(kept[-1], mark)
            notices += [doubt] if doubt else []
            kept.append(mark)
    if len(kept) < 2:
        raise InputError(
            f"only one mark ({kept[0].name}): at least two in different places are needed"
        )
    odd = None if notices else _far_from_all(kept)
    return tuple(kept), (*notices, *([odd] if odd else []))


def doubted(notices: Sequence[str]) -> tuple[str, ...]:
    """Return those of `usable_marks`' notices that doubt a position."""
    return tuple(notice for notice in notices if CHECK_IT in notice)


def exchanged_positions(marks: Sequence[Mark]) -> str | None:
    """Ask after the first of some marks whose latitude and longitude look exchanged."""
    return next(filter(None, (_exchanged(a, b) for a, b in pairwise(marks))), None)


def _far_from_all(marks: Sequence[Mark]) -> str | None:
    """Ask after a mark many times as far from all others as these are from one another."""
    lat, lon = np.array([(mark.lat, mark.lon) for mark in marks]).T
    apart = geodesy.geodesic_inverse(lat[:, np.newaxis], lon[:, np.newaxis], lat, lon).distance_nm
    nearest = np.where(np.eye(len(marks), dtype=bool), np.inf, apart).min(axis=1)
    at = int(np.argmax(nearest))
    others = np.delete(nearest, at)
    if nearest[at] < SUSPECT_NM or others.max() > SUSPECT_SHARE * nearest[at]:
        return None
    beside = at - 1 if at else 1
    return (
        f"{marks[at].name} lies {apart[at, beside]:.0f} nm from {marks[beside].name}, "
        f"far from all other marks: {CHECK_IT}."
    )


def _exchanged(one: Mark, two: Mark) -> str | None:
    """Ask after latitude and longitude where they look exchanged at one of two marks."""
    far_nm = metres_apart(one, two) / METRES_PER_NM
    if far_nm < SUSPECT_NM:
        return None
    mark, other = min(((two, one), (one, two)), key=lambda pair: _nm_exchanged(*pair))
    near_nm = _nm_exchanged(mark, other)
    if near_nm >= SUSPECT_SHARE * far_nm:
        return None
    return (
        f"{mark.name} lies {far_nm:.0f} nm from {other.name}, and only {near_nm:.0f} nm "
        f"with latitude and longitude exchanged: {CHECK_IT}."
    )


def _nm_exchanged(mark: Mark, other: Mark) -> float:
    """How far a mark would lie from another with its own latitude and longitude exchanged."""
    if abs(mark.lon) > HIGHEST_LATITUDE_DEG:
        return float("inf")
    return metres_apart(replace(mark, lat=mark.lon, lon=mark.lat), other) / METRES_PER_NM


def _checked(mark: Mark) -> Mark:
    if not abs(mark.lat) <= HIGHEST_LATITUDE_DEG:
        raise InputError(
            f"mark {mark.name} lies at latitude {mark.lat:g}: "
            f"planning ends at {HIGHEST_LATITUDE_DEG:g} degrees"
        )
    return (
        mark
        if -180.0 <= mark.lon < 180.0
        else replace(mark, lon=float(geodesy.wrap_longitude(mark.lon)))
    )
