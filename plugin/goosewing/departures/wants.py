"""What a navigator wants of a passage: a few words with limits, and how far one is missed.

``daylight`` wants an arrival by day; every other want is a name, ``<`` or ``<=``, and a
number: ``gust<=25`` (kn), ``night<3`` (h). What isn't known doesn't meet a want.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

from goosewing.errors import InputError, NoPlanError
from goosewing.units import nearest_minute
from goosewing.words.figures import clock, hours_and_minutes, listed

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime, tzinfo

    from goosewing.records import Departure


class _Measure(NamedTuple):
    field: str
    unit: str


MEASURES = {
    "elapsed": _Measure("elapsed_h", "h"),
    "upwind": _Measure("upwind_h", "h"),
    "poled": _Measure("poled_h", "h"),
    "engine": _Measure("engine_h", "h"),
    "downwind": _Measure("dead_downwind_h", "h"),
    "wind": _Measure("strongest_wind_kn", "kn"),
    "gust": _Measure("strongest_gust_kn", "kn"),
    "against": _Measure("against_h", "h"),
    "night": _Measure("night_h", "h"),
    "beyond": _Measure("beyond_forecast_h", "h"),
}
"""What may be limited, and in which unit."""

DAYLIGHT = "daylight"

_LIMIT = re.compile(r"([a-z]+)\s*(<=?)\s*(\d+(?:\.\d*)?|\.\d+)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Want:
    """One want; `text` is how it was written, without blanks."""

    text: str
    name: str
    sign: Literal["<", "<=", ""]
    limit: float

    def excess(self, each: Departure) -> float:
        """Return by how much it is missed, as a share of its limit: 0 where it is met.

        Infinite where what is limited isn't known; 1 for an arrival in the dark.
        """
        if self.name == DAYLIGHT:
            return 0.0 if each.arrives_in_daylight else 1.0
        value = self.value(each)
        if value is None:
            return math.inf
        met = value < self.limit if self.sign == "<" else value <= self.limit
        # Even a miss by nothing, of "less than", is one.
        return 0.0 if met else max(value - self.limit, 1e-9) / max(self.limit, 1.0)

    def value(self, each: Departure) -> float | None:
        """Return what is limited, or None where it isn't known."""
        value: float | None = getattr(each, MEASURES[self.name].field)
        return value

    def missed(self, each: Departure) -> str:
        """Say how a departure misses it, in words."""
        if self.name == DAYLIGHT:
            return f"{self.text} (arrives at {clock(each.arrival)})" if each.arrival else self.text
        value, unit = self.value(each), MEASURES[self.name].unit
        return f"{self.text} ({'not known' if value is None else f'{value:.1f} {unit}'})"


def parse_wants(text: str | None) -> tuple[Want, ...]:
    """Read wants separated by commas, such as ``daylight,gust<=25,night<3``.

    Raises
    ------
    InputError
        If a word is none of these.

    Examples
    --------
    >>> [want.text for want in parse_wants("daylight, gust <= 25")]
    ['daylight', 'gust<=25']
    """
    if text is None:
        return ()
    return tuple(_want(" ".join(word.split())) for word in text.split(","))


def _want(word: str) -> Want:
    if word == DAYLIGHT:
        return Want(word, DAYLIGHT, "", 0.0)
    found = _LIMIT.fullmatch(word)
    if found is None or found[1] not in MEASURES:
        raise InputError(
            f"a want is daylight, or one of {', '.join(MEASURES)} with < or <= and a number, "
            f'such as gust<=25; got "{word}"'
        )
    sign: Literal["<", "<="] = "<" if found[2] == "<" else "<="
    return Want("".join(found.groups()), found[1], sign, float(found[3]))


def misses(each: Departure, wants: Sequence[Want]) -> tuple[Want, ...]:
    """Return the wants that a departure doesn't meet."""
    return tuple(want for want in wants if want.excess(each) > 0.0)


def nearest(planned: Sequence[Departure], wants: Sequence[Want]) -> Departure:
    """Return the departure that comes nearest: fewest misses, then the least in all.

    Of equals the first.
    """

    def far(each: Departure) -> tuple[int, float]:
        return len(misses(each, wants)), sum(want.excess(each) for want in wants)

    return min(planned, key=far)


def miss_words(each: Departure, wants: Sequence[Want]) -> str:
    """Say which wants a departure misses, and by what."""
    return listed(want.missed(each) for want in misses(each, wants))


class WantCost(NamedTuple):
    """What one want by itself costs: the best departure that meets it, against the best of all."""

    want: Want
    best: Departure | None
    """None where no departure meets it."""
    added_h: float | None


def want_costs(planned: Sequence[Departure], wants: Sequence[Want]) -> tuple[WantCost, ...]:
    """Tell what each want costs by itself; nothing is planned anew.

    Parameters
    ----------
    planned : sequence of Departure
        All that could be planned, the best first.
    wants : sequence of Want
    """
    found = []
    for want in wants:
        meeting = [each for each in planned if not want.excess(each)]
        best = meeting[0] if meeting else None
        added = None
        if best is not None and best.elapsed_h is not None and planned[0].elapsed_h is not None:
            added = best.elapsed_h - planned[0].elapsed_h
        found.append(WantCost(want, best, added))
    return tuple(found)


def cost_words(cost: WantCost, zone: tzinfo | None = None) -> str:
    """Say what a want costs."""
    if cost.best is None or cost.added_h is None:
        return f"{cost.want.text}: no departure meets it"
    longer = "as long as the shortest passage"
    if round(60.0 * cost.added_h) > 0:
        longer = f"{hours_and_minutes(cost.added_h)} longer than the shortest passage"
    return f"{cost.want.text}: leave {moment(cost.best.departure, zone)}, {longer}"


class NoneMeetsError(NoPlanError):
    """Departures can be planned, but none is as wanted; `chosen` holds them all."""

    def __init__(self, message: str, chosen: Chosen) -> None:
        super().__init__(message)
        self.chosen = chosen


class Chosen(NamedTuple):
    """Departures that meet what is wanted, those that don't, and those without a plan."""

    meeting: tuple[Departure, ...]
    others: tuple[Departure, ...]
    failed: tuple[Departure, ...]
    wants: tuple[Want, ...]


def choose(found: Sequence[Departure], wants: Sequence[Want]) -> Chosen:
    """Sort departures by whether they meet what is wanted, in the order given.

    Raises
    ------
    NoPlanError
        If none can be planned, with the reasons.
    NoneMeetsError
        If none meets the wants, with the one that comes nearest.
    """
    failed = tuple(sorted((d for d in found if d.plan is None), key=lambda d: d.departure))
    planned = [each for each in found if each.plan is not None]
    if not planned:
        raise NoPlanError(_why_none(failed))
    meeting = tuple(each for each in planned if not misses(each, wants))
    if not meeting:
        best = nearest(planned, wants)
        raise NoneMeetsError(
            f"none of {len(planned)} planned departures meets {','.join(w.text for w in wants)}; "
            f"nearest is {moment(best.departure)}, which misses {miss_words(best, wants)}",
            Chosen((), tuple(planned), failed, tuple(wants)),
        )
    others = tuple(each for each in planned if misses(each, wants))
    return Chosen(meeting, others, failed, tuple(wants))


def _why_none(failed: Sequence[Departure]) -> str:
    reasons = [each.reason or "" for each in failed]
    if len(set(reasons)) == 1:
        return f"no departure can be planned: {reasons[0]}"
    return (
        f"none of {len(failed)} departures can be planned: {moment(failed[0].departure)}: "
        f"{reasons[0]}; {moment(failed[-1].departure)}: {reasons[-1]}"
    )


def moment(time: datetime, zone: tzinfo | None = None) -> str:
    """Write the day and the time, and by the ship's clock if that is another."""
    words = f"{time:%Y-%m-%d} {clock(time)}"
    if zone is None:
        return words
    # To the minute, as `clock` rounds.
    return f"{words} ({nearest_minute(time).astimezone(zone):%d %H:%M %Z})"


def common_notices(chosen: Chosen) -> tuple[str, ...]:
    """Return what every plan has to say, in the best one's order."""
    plans = [each.plan for each in (*chosen.meeting, *chosen.others) if each.plan is not None]
    shared = set.intersection(*(set(made.notices) for made in plans))
    return tuple(line for line in plans[0].notices if line in shared)
