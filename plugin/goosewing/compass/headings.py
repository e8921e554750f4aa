"""Variation, by number or by the World Magnetic Model, and headings by compass.

Variation is east positive: ``magnetic = true - variation``. The model comes
with the package pygeomag (extra ``variation``), which is loaded when it is
first asked. Its stated error in declination is sqrt(0.26² + (5417 / H)²)
degrees, H the horizontal field in nanotesla: that, and not the model's
arithmetic, is what a variation is good for. The figures are read in that
package's code; the model's own report was not open.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, TypeVar

from goosewing.compass.deviation import DeviationCard, east_or_west, magnetic_from_true
from goosewing.earth.angles import wrap_longitude
from goosewing.errors import InputError
from goosewing.records import (
    Board,
    Hour,
    Layline,
    Leg,
    Order,
    Plan,
    PoleDown,
    PoleReady,
    PoleUp,
    Stretch,
)
from goosewing.turns import stops

if TYPE_CHECKING:
    from goosewing.records import (
        Alternative,
        AlternativeBoard,
        FromMark,
        Late,
        LaylineSheet,
        Turn,
        WhatIf,
    )
    from goosewing.turns import Stop

VariationAt = Callable[[float, float, datetime], float]
"""Variation at lat, lon [°] and an aware time; east positive. [°]"""

FARTHEST_YEARS = 5.0
"""Beyond the model's years by more than this it is not asked at all."""

WEAK_FIELD_NT = 6000.0
"""Where the horizontal field is weaker the model's makers warn of any compass."""


class Variation(NamedTuple):
    """Variation at a place and time."""

    variation_deg: float
    """East positive. [°]"""
    error_deg: float
    """One standard deviation, as the model's makers state it. [°]"""
    horizontal_nt: float
    """Strength of the horizontal field. [nT]"""


@dataclass(frozen=True, slots=True)
class VariationModel:
    """The World Magnetic Model; calling it gives the variation.

    Attributes
    ----------
    name : str
        With its year.
    first_year, last_year : float
        What it is valid for.
    """

    name: str
    first_year: float
    last_year: float
    _field: Any

    def at(self, lat: float, lon: float, time: datetime) -> Variation:
        """Return variation, its stated error and the field at sea level.

        Parameters
        ----------
        lat, lon : float
            Longitude of any winding. [°]
        time : datetime
            Aware.

        Raises
        ------
        InputError
            If a latitude is beyond a pole, the time has no zone, or is more than
            five years outside the model's own.
        """
        return self.at_height(lat, lon, decimal_year(time), 0.0)

    def at_height(self, lat: float, lon: float, year: float, height_km: float) -> Variation:
        """Return the same for a decimal year and a height over the ellipsoid, in kilometres."""
        if not -90.0 <= lat <= 90.0:
            raise InputError(f"a latitude is -90 to 90, got {lat:g}")
        if not self.first_year - FARTHEST_YEARS <= year <= self.last_year + FARTHEST_YEARS:
            raise InputError(
                f"{self.name} is valid for {self.first_year:g} to {self.last_year:g} and says "
                f"nothing about {year:.0f}; give the chart's variation, such as --variation 5.5"
            )
        found = self._field.calculate(
            glat=lat,
            glon=float(wrap_longitude(lon)),
            alt=height_km,
            time=year,
            allow_date_outside_lifespan=True,
        )
        return Variation(float(found.d), stated_error_deg(found.h), float(found.h))

    def __call__(self, lat: float, lon: float, time: datetime) -> float:
        """Return the variation in degrees, east positive."""
        return self.at(lat, lon, time).variation_deg

    def notice(self, time: datetime) -> str | None:
        """Return what to tell if a time is outside the model's years, else None."""
        if self.first_year <= decimal_year(time) <= self.last_year:
            return None
        return (
            f"{self.name} is valid for {self.first_year:g} to {self.last_year:g}: "
            f"its variation for {time.astimezone(UTC):%Y-%m-%d} is stretched beyond that; "
            "check it against the chart."
        )


def stated_error_deg(horizontal_nt: float) -> float:
    """Return the model's stated error in declination, one standard deviation, in degrees.

    Examples
    --------
    >>> print(round(stated_error_deg(17000.0), 2))
    0.41
    """
    return math.hypot(0.26, 5417.0 / horizontal_nt) if horizontal_nt > 0.0 else 180.0


@cache
def variation_model() -> VariationModel:
    """Return the World Magnetic Model 2025.

    Raises
    ------
    InputError
        If pygeomag (extra ``variation``) is missing.
    """
    try:
        from pygeomag import GeoMag
    except ImportError:
        raise InputError(
            "the variation model needs pygeomag: in Goosewing's folder, pip install "
            '".[variation]"; or '
            "give the chart's variation, such as --variation 5.5"
        ) from None
    field = GeoMag(coefficients_file="wmm/WMM_2025.COF")
    first, last = field.life_span
    return VariationModel(f"World Magnetic Model {first:.0f}", float(first), float(last), field)


def variation_deg(lat: float, lon: float, time: datetime) -> float:
    """Return the variation by the World Magnetic Model in degrees, east positive.

    Parameters
    ----------
    lat, lon : float
        [°]
    time : datetime
        Aware.

    Raises
    ------
    InputError
        As `variation_model` and `VariationModel.at`.
    """
    return variation_model()(lat, lon, time)


def decimal_year(time: datetime) -> float:
    """Return a time as year and fraction.

    Raises
    ------
    InputError
        If it has no zone.

    Examples
    --------
    >>> decimal_year(datetime(2028, 7, 4, tzinfo=UTC)) == 2028 + 185 / 366
    True
    """
    if time.utcoffset() is None:
        raise InputError(f"a time must carry its zone, got {time.isoformat()}")
    utc = time.astimezone(UTC)
    start = datetime(utc.year, 1, 1, tzinfo=UTC)
    length = 366.0 if _is_leap(utc.year) else 365.0
    return utc.year + (utc - start).total_seconds() / 86400.0 / length


def _is_leap(year: int) -> bool:
    return year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)


def parse_variation(text: str) -> float | Literal["model"]:
    """Read a variation: a number of degrees, east positive, or with E or W; or ``model``.

    Raises
    ------
    InputError
        If it is none of these, or over 180.

    Examples
    --------
    >>> parse_variation("-3.5"), parse_variation("5.5°E"), parse_variation("3W")
    (-3.5, 5.5, -3.0)
    """
    bare = text.strip().casefold()
    if bare == "model":
        return "model"
    match = re.fullmatch(r"([+-]?)(\d+(?:\.\d*)?|\.\d+) ?°? ?([ew]?)", bare, re.ASCII)
    if not match or (match[1] and match[3]):
        raise InputError(
            f'variation must be degrees, east positive (-3.5 or 3.5W), or "model", got "{text}"'
        )
    size = float(match[2])
    if size > 180.0:
        raise InputError(f"variation must be 180 degrees at most, got {text.strip()}")
    return -size if match[1] == "-" or match[3] == "w" else size


# Plans -------------------------------------------------------------------------------------


def with_variation(
    plan: Plan, variation: float | VariationAt, card: DeviationCard | None = None
) -> Plan:
    """Fill in the magnetic headings of a plan, and with a card those by compass.

    Parameters
    ----------
    plan : Plan
        Its boards' true headings stay as they are.
    variation : float or callable
        East positive, one for the whole passage [°], or a function of lat, lon
        and time; a `VariationModel` also tells its error and age.
    card : DeviationCard, optional
        The steering compass's.

    Returns
    -------
    Plan
        The same, with headings in [0, 360) at the start of each board, and
        notices of where they come from.

    Raises
    ------
    InputError
        If a given variation is over 180°, or as `VariationModel.at`.
    """
    find = _constant(variation) if isinstance(variation, float | int) else variation
    legs = tuple(_leg_with(leg, find, card) for leg in plan.legs)
    pole_up = _pole_with(plan.pole_up, find, card)
    hours = tuple(
        _hour_with(each, find(each.lat, each.lon, each.time), card) for each in plan.hours
    )
    passed = tuple(
        replace(
            each,
            bearing_magnetic_deg=float(
                magnetic_from_true(each.bearing_deg, find(each.lat, each.lon, each.time))
            ),
        )
        for each in plan.passed
    )
    ifs = tuple(_if_with(each, find, card) for each in plan.what_if)
    places = {stop.name: stop for stop in stops(plan)}
    late = tuple(_late_with(each, places.get(each.mark), find, card) for each in plan.late)
    notices = (*plan.notices, *_notices(plan, variation, find, card))
    return replace(
        plan, legs=legs, pole_up=pole_up, hours=hours, passed=passed, what_if=ifs, late=late,
        notices=notices,
    )  # fmt: skip


def laylines_with_variation(
    sheet: LaylineSheet, variation: float | VariationAt, time: datetime
) -> LaylineSheet:
    """Fill in the magnetic courses of laylines, by the variation at their marks.

    Parameters
    ----------
    sheet : LaylineSheet
    variation : float or callable
        As in `with_variation`.
    time : datetime
        Aware; when the lines are wanted.

    Raises
    ------
    InputError
        As `with_variation`.
    """
    find = _constant(variation) if isinstance(variation, float | int) else variation
    courses = tuple(_magnetic_course(line, find, time) for line in sheet.laylines)
    if isinstance(variation, float | int):
        told = [f"Magnetic courses by a variation of {east_or_west(variation)}, as entered."]
    else:
        name = variation.name if isinstance(variation, VariationModel) else "variation"
        old = variation.notice(time) if isinstance(variation, VariationModel) else None
        told = [f"Magnetic courses by the {name}, at each mark.", *([old] if old else [])]
    return replace(sheet, magnetic_courses_deg=courses, notices=(*sheet.notices, *told))


def _magnetic_course(line: Layline, find: VariationAt, time: datetime) -> float:
    mark = line.points[-1]
    variation = find(mark.lat, mark.lon, time)
    return float(magnetic_from_true(line.course_over_ground_deg, variation))


def _constant(variation: float) -> VariationAt:
    if not abs(variation) <= 180.0:
        raise InputError(f"variation must be 180 degrees at most, got {variation:g}")
    return lambda _lat, _lon, _time: float(variation)


def _leg_with(leg: Leg, find: VariationAt, card: DeviationCard | None) -> Leg:
    boards = tuple(_board_with(each, find, card) for each in leg.boards)
    others = tuple(_other_with(each, leg, find, card) for each in leg.alternatives)
    return replace(leg, boards=boards, alternatives=others)


def _other_with(
    other: Alternative, leg: Leg, find: VariationAt, card: DeviationCard | None
) -> Alternative:
    """Fill in what is steered on another way's boards, by the variation where the leg begins."""
    start = leg.boards[0].start
    assert start.time is not None
    variation = find(start.lat, start.lon, start.time)

    def board(each: AlternativeBoard) -> AlternativeBoard:
        if each.heading_deg is None:
            return each
        magnetic = float(magnetic_from_true(each.heading_deg, variation))
        return replace(
            each, heading_magnetic_deg=magnetic, heading_compass_deg=_by_card(magnetic, card)
        )

    return replace(other, boards=tuple(board(each) for each in other.boards))


_Steered = TypeVar("_Steered", Board, Order, Hour, PoleDown, PoleReady, PoleUp)
_Handled = TypeVar("_Handled", PoleDown, PoleReady, PoleUp)


def _board_with(board: Board, find: VariationAt, card: DeviationCard | None) -> Board:
    if board.start.time is None:
        raise InputError("a board has no time at its start, and variation needs one")
    variation = find(board.start.lat, board.start.lon, board.start.time)
    orders = tuple(
        _order_with(order, find(order.lat, order.lon, order.time), card) for order in board.orders
    )
    seen = _by_compass(board.from_mark, variation)
    return replace(
        _on_dials(board, variation, card),
        orders=orders,
        from_mark=seen,
        stretch=_ends_on_dials(board.stretch, variation, card),
        pole_down=_pole_with(board.pole_down, find, card),
        pole_ready=_pole_with(board.pole_ready, find, card),
    )


def _pole_with(
    handled: _Handled | None, find: VariationAt, card: DeviationCard | None
) -> _Handled | None:
    if handled is None:
        return None
    variation = find(handled.lat, handled.lon, handled.time)
    return replace(
        _on_dials(handled, variation, card), from_mark=_by_compass(handled.from_mark, variation)
    )


def _order_with(order: Order, variation: float, card: DeviationCard | None) -> Order:
    seen = _by_compass(order.from_mark, variation)
    return replace(
        _on_dials(order, variation, card),
        from_mark=seen,
        stretch=_ends_on_dials(order.stretch, variation, card),
    )


def _if_with(found: WhatIf, find: VariationAt, card: DeviationCard | None) -> WhatIf:
    def turn(each: Turn | None) -> Turn | None:
        if each is None or each.heading_deg is None:
            return each
        variation = find(each.lat, each.lon, each.time)
        magnetic = float(magnetic_from_true(each.heading_deg, variation))
        comes, begun = each.comes_deg, each.comes_from
        if comes is not None:
            # By the variation by which she is steered until there.
            held = variation if begun is None else find(begun.lat, begun.lon, begun.time)
            comes = float(magnetic_from_true(comes, held))
        return replace(
            each,
            from_mark=_by_compass(each.from_mark, variation),
            comes_magnetic_deg=comes,
            comes_compass_deg=None if comes is None else _by_card(comes, card),
            heading_magnetic_deg=magnetic,
            heading_compass_deg=_by_card(magnetic, card),
        )

    turns = tuple(told for each in found.turns if (told := turn(each)) is not None)
    return replace(found, turns=turns, first=turn(found.first))


def _late_with(
    found: Late, there: Stop | None, find: VariationAt, card: DeviationCard | None
) -> Late:
    if there is None or there.time is None:
        return found
    variation = find(there.lat, there.lon, there.time + timedelta(hours=found.delay_h))
    first, last = (
        None if true is None else float(magnetic_from_true(true, variation))
        for true in (found.heading_deg, found.last_heading_deg)
    )
    return replace(
        found,
        heading_magnetic_deg=first,
        heading_compass_deg=None if first is None else _by_card(first, card),
        last_heading_magnetic_deg=last,
        last_heading_compass_deg=None if last is None else _by_card(last, card),
        anew=None if found.anew is None else _if_with(found.anew, find, card),
    )


def _hour_with(hour: Hour, variation: float, card: DeviationCard | None) -> Hour:
    seen = _by_compass(hour.from_mark, variation)
    return replace(_on_dials(hour, variation, card), from_mark=seen)


def _ends_on_dials(
    stretch: Stretch | None, variation: float, card: DeviationCard | None
) -> Stretch | None:
    """Fill in what is steered at a stretch's end, by the variation at its start."""
    if stretch is None:
        return None
    magnetic = float(magnetic_from_true(stretch.last_heading_deg, variation))
    return replace(
        stretch,
        last_heading_magnetic_deg=magnetic,
        last_heading_compass_deg=_by_card(magnetic, card),
    )


def _by_card(magnetic_deg: float, card: DeviationCard | None) -> float | None:
    return None if card is None else float(card.compass_from_magnetic(magnetic_deg))


def _by_compass(seen: FromMark | None, variation: float) -> FromMark | None:
    """Add what a hand-bearing compass shows, which has no deviation to speak of."""
    if seen is None:
        return None
    magnetic = float(magnetic_from_true(seen.bearing_deg, variation))
    return replace(seen, bearing_magnetic_deg=magnetic)


def _on_dials(held: _Steered, variation: float, card: DeviationCard | None) -> _Steered:
    magnetic = float(magnetic_from_true(held.heading_deg, variation))
    compass = _by_card(magnetic, card)
    return replace(held, heading_magnetic_deg=magnetic, heading_compass_deg=compass)


def _notices(
    plan: Plan, given: float | VariationAt, find: VariationAt, card: DeviationCard | None
) -> list[str]:
    told = [_source_words(plan, given, find)]
    if isinstance(given, VariationModel):
        told += _warnings(plan, given)
    if card is not None:
        told.append("Compass headings by the deviation card, linear between its headings.")
    return told


def _source_words(plan: Plan, given: float | VariationAt, find: VariationAt) -> str:
    if isinstance(given, float | int):
        return f"Magnetic headings by a variation of {east_or_west(given)}, as entered."
    start, end = plan.marks[0], plan.marks[-1]
    words = east_or_west(find(start.lat, start.lon, plan.departure))
    at_end = east_or_west(find(end.lat, end.lon, plan.arrival))
    where = f"{words} at {start.name}"
    if at_end != words:
        where += f" and {at_end} at {end.name}"
    if not isinstance(given, VariationModel):
        return f"Magnetic headings by variation {where}."
    error = given.at(start.lat, start.lon, plan.departure).error_deg
    return f"Magnetic headings by the {given.name}, variation {where}, stated error ±{error:.1f}°."


def _warnings(plan: Plan, model: VariationModel) -> list[str]:
    told = {model.notice(plan.departure), model.notice(plan.arrival)}
    ends = ((plan.marks[0], plan.departure), (plan.marks[-1], plan.arrival))
    if any(model.at(m.lat, m.lon, time).horizontal_nt < WEAK_FIELD_NT for m, time in ends):
        told.add("The earth's field is too flat here for any magnetic compass to be trusted.")
    return sorted(each for each in told if each)
