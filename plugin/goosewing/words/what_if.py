"""What a plan hangs on, in a navigator's words."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import TYPE_CHECKING

from goosewing.records import WhatIf
from goosewing.words.alternatives import near_words
from goosewing.words.figures import (
    by_ship,
    clock,
    helm_words,
    hours_and_minutes,
    listed,
    position_words,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime, tzinfo

    from goosewing.records import Mark, Plan, Turn


def lines(plan: Plan) -> list[str]:
    """Say in five lines what a plan hangs on; none where that was not asked."""
    if not plan.what_if:
        return []
    wind = [each for each in plan.what_if if each.wind_factor != 1.0]
    shifts = [each for each in plan.what_if if each.shift_deg]
    delays = [each for each in plan.what_if if each.delay_h]
    said = [
        _row("Lighter wind", [each for each in wind if each.wind_factor < 1.0], plan),
        _row("Stronger wind", [each for each in wind if each.wind_factor > 1.0], plan),
        _row("Wind turned", shifts, plan),
        _row("Another departure", delays, plan),
        behind_line(plan),
    ]
    return [line for line in said if line]


def change_words(each: WhatIf) -> str:
    """Name a change.

    Examples
    --------
    >>> change_words(WhatIf(wind_factor=0.8)), change_words(WhatIf(shift_deg=-10.0))
    ('80 %', 'backed 10°')
    >>> change_words(WhatIf(delay_h=-2.0))
    '2 h earlier'
    """
    if each.shift_deg:
        return f"{'veered' if each.shift_deg > 0 else 'backed'} {abs(each.shift_deg):.0f}°"
    if each.delay_h:
        return f"{abs(each.delay_h):g} h {'later' if each.delay_h > 0 else 'earlier'}"
    return f"{100.0 * each.wind_factor:.0f} %"


def change_name(each: WhatIf) -> str:
    """Name a change where it stands alone.

    Examples
    --------
    >>> change_name(WhatIf(wind_factor=0.8)), change_name(WhatIf(delay_h=2.0))
    ('80 % of the wind', 'leaving 2 h later')
    """
    words = change_words(each)
    if each.shift_deg:
        return f"wind {words}"
    return f"leaving {words}" if each.delay_h else f"{words} of the wind"


def advice_words(each: WhatIf) -> str:
    """Say whether the advice changes, and into what."""
    if each.same_boards is None:
        return ""
    return "same boards" if each.same_boards else "other boards"


def time_words(each: WhatIf, plan: Plan) -> str:
    """Say when she is there, and by how much longer or sooner the passage takes."""
    if each.elapsed_h is None or each.arrival is None:
        return "can't be planned" + ("" if each.reason is None else f" ({each.reason})")
    more = added_minutes(each, plan) or 0.0
    if abs(more) < 0.5:
        return f"arrival {clock(each.arrival)}, as long"
    words = hours_and_minutes(abs(more) / 60.0)
    return f"arrival {clock(each.arrival)}, {words} {'longer' if more > 0 else 'shorter'}"


def _row(name: str, found: Sequence[WhatIf], plan: Plan) -> str:
    if not found:
        return ""
    said = [
        filter(None, (time_words(each, plan), advice_words(each), nearer_words(each, plan)))
        for each in found
    ]
    parts = [
        f"{change_words(each)}: {', '.join(words)}" for each, words in zip(found, said, strict=True)
    ]
    return f"{name}: {'; '.join(parts)}."


def nearer_words(each: WhatIf, plan: Plan) -> str:
    """Say which dangers are then passed nearer than by the plan, as printed; nothing if none."""
    own = {danger.name: round(danger.distance_nm, 1) for danger in plan.passed}
    return near_words([
        danger
        for danger in each.near
        if round(danger.distance_nm, 1) < own.get(danger.name, math.inf)
    ])  # fmt: skip


MOST_TURNS = 6
"""Of more, altered courses are passed over; then the first are told, and how many besides."""


def turns_words(
    turns: Sequence[Turn], marks: Sequence[Mark] = (), zone: tzinfo | None = None
) -> str:
    """Say what is done when and where, by name where that is a mark."""
    if len(turns) > MOST_TURNS:
        turns = [each for each in turns if each.kinds]
    said = [turn_words(each, marks, zone) for each in turns[:MOST_TURNS]]
    if len(turns) > MOST_TURNS:
        said.append(f"{len(turns) - MOST_TURNS} more")
    return "; ".join(said)


def added_minutes(each: WhatIf, plan: Plan) -> float | None:
    """Return by how much longer the passage takes, as the printed times tell it. [min].

    Both arrivals are printed to the minute, and whoever compares them on paper finds this.
    """
    if each.arrival is None:
        return None
    then, now = (_minute(time) for time in (each.arrival, plan.arrival))
    return (then - now).total_seconds() / 60.0 - 60.0 * each.delay_h


def _minute(time: datetime) -> datetime:
    """Round as `goosewing.words.figures.clock` does."""
    return (time + timedelta(seconds=30)).replace(second=0, microsecond=0)


def _done(each: Turn) -> str:
    return ", ".join(kind.replace("_", " ") for kind in each.kinds) or "alter course"


def turn_words(each: Turn, marks: Iterable[Mark] = (), zone: tzinfo | None = None) -> str:
    """Say what is done, when and where; by name, where that is a mark.

    Examples
    --------
    >>> from datetime import datetime, UTC
    >>> from goosewing.records import Turn
    >>> noon = datetime(2027, 6, 1, 12, tzinfo=UTC)
    >>> turn_words(Turn(kinds=("gybe", "set_pole"), lat=57.1, lon=11.2, time=noon))
    "gybe, set pole 1200Z 57°06.00'N 011°12.00'E"
    """
    at = position_words(each.lat, each.lon)
    named = (mark.name for mark in marks if position_words(mark.lat, mark.lon) == at)
    return f"{_done(each)} {clock(each.time)}{by_ship(each.time, zone)} {next(named, at)}" + (
        "" if (steer := steer_words(each)) is None else f" to {steer}"
    )


def steer_words(each: Turn | None) -> str | None:
    """Say by the helm's own dial what is steered from a turn on; None where that isn't known."""
    if each is None or each.heading_deg is None:
        return None
    return helm_words(each.heading_deg, each.heading_magnetic_deg, each.heading_compass_deg)


def behind_line(plan: Plan) -> str:
    """Say where the plan's own boards would leave her in lighter wind; nothing if not asked."""
    lighter = [each for each in plan.what_if if each.wind_factor < 1.0]
    if not lighter:
        return ""
    parts = [
        f"in {change_words(each)} of the wind "
        + (
            "one of them can't be sailed"
            if each.behind_nm is None
            else "she is there"
            if each.behind_nm < 0.05
            else f"she has {each.behind_nm:.1f} nm still to go"
        )
        for each in lighter
    ]
    return f"On this plan's own boards at {clock(plan.arrival)}: {listed(parts)}."
