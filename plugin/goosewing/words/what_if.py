"""What a plan hangs on, in a navigator's words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from goosewing.records import WhatIf
from goosewing.words.figures import clock, hours_and_minutes, listed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.records import Plan


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
        _behind(wind, plan),
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


def advice_words(each: WhatIf) -> str:
    """Say whether the advice changes, and into what."""
    if each.same_boards is None:
        return "no plan"
    return "same boards" if each.same_boards else "other boards"


def time_words(each: WhatIf, plan: Plan) -> str:
    """Say when she is there, and by how much longer or sooner the passage takes."""
    if each.elapsed_h is None or each.arrival is None:
        return "can't be planned"
    more = each.elapsed_h - plan.elapsed_h
    minutes = round(abs(more) * 60.0)
    if not minutes:
        return f"arrival {clock(each.arrival)}, as long"
    words = hours_and_minutes(abs(more))
    return f"arrival {clock(each.arrival)}, {words} {'longer' if more > 0 else 'shorter'}"


def _row(name: str, found: Sequence[WhatIf], plan: Plan) -> str:
    if not found:
        return ""
    parts = [f"{change_words(each)}: {time_words(each, plan)}, {advice_words(each)}"
             for each in found]  # fmt: skip
    return f"{name}: {'; '.join(parts)}."


def _behind(wind: Sequence[WhatIf], plan: Plan) -> str:
    lighter = [each for each in wind if each.wind_factor < 1.0]
    if not lighter:
        return ""
    parts = [
        f"in {change_words(each)} of the wind "
        + (
            "one of them can't be sailed"
            if each.behind_nm is None
            else f"she has {each.behind_nm:.1f} nm still to go"
        )
        for each in lighter
    ]
    return f"On this plan's own boards at {clock(plan.arrival)}: {listed(parts)}."
