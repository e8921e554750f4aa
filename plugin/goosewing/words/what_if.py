"""What a plan hangs on, in a navigator's words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from goosewing.records import WhatIf
from goosewing.units import nearest_minute
from goosewing.words.alternatives import near_words
from goosewing.words.crew import step_words, steps_words
from goosewing.words.figures import (
    by_ship,
    clock,
    helm_words,
    hours_and_minutes,
    listed,
    position_words,
    three_figures,
)
from goosewing.words.points import bow_words, spars_words

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import tzinfo

    from goosewing.records import Board, CrewStep, Plan, Turn


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


def wind_there_words(each: WhatIf) -> str:
    """Write in figures what a change of the wind is where she leaves; nothing for another change.

    Examples
    --------
    >>> wind_there_words(WhatIf(wind_factor=0.8, wind_from_deg=205.0, wind_kn=10.4))
    'wind 205°T 10.4 kn at first'
    >>> wind_there_words(WhatIf(delay_h=2.0, wind_from_deg=205.0, wind_kn=13.0))
    ''
    """
    if each.wind_from_deg is None or each.wind_kn is None or each.delay_h:
        return ""
    return f"wind {three_figures(each.wind_from_deg)}T {each.wind_kn:.1f} kn at first"


def otherwise_words(first: Turn | None, board: Board | None) -> str:
    """Say what is to be other than in the plan before she leaves; nothing if nothing is.

    Parameters
    ----------
    first : Turn or None
        Where she then departs.
    board : Board or None
        The plan's own first.

    Examples
    --------
    >>> otherwise_words(None, None)
    ''
    """
    if first is None or board is None or first.sail_set is None or board.engine:
        return ""
    if first.tack is None:
        return "unlike page 1, leave under engine"
    if board.poled and not first.poled:
        return "unlike page 1, leave with the pole down"
    if first.poled and (not board.poled or first.tack != board.tack):
        return f"unlike page 1, leave with the pole to {first.tack}"
    if first.tack != board.tack:
        return f"unlike page 1, leave on {first.tack} tack"
    if first.sail_set != board.sail_set:
        return f"unlike page 1, leave under {first.sail_set}"
    return ""


def advice_words(each: WhatIf) -> str:
    """Say whether the advice changes, and into what.

    The plan's own boards in their order are "same boards"; where they no longer lead along its
    tracks it is said why.

    Examples
    --------
    >>> advice_words(WhatIf(same_boards=True, behind_nm=2.0))
    'same boards'
    >>> advice_words(WhatIf(same_boards=True, off_track="by the lee"))
    "same boards on other tracks (the plan's own can't be kept: by the lee)"
    >>> advice_words(WhatIf(same_boards=True, same_tracks=False))
    'same boards on other tracks'
    """
    if each.same_boards is None:
        return ""
    if not each.same_boards:
        return "other boards"
    if each.off_track is None:
        return f"same boards{' on other tracks' if each.same_tracks is False else ''}"
    return f"same boards on other tracks (the plan's own can't be kept: {each.off_track})"


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


def turns_words(turns: Sequence[Turn], zone: tzinfo | None = None) -> str:
    """Say what is done when and where, by name where that is a mark."""
    if len(turns) > MOST_TURNS:
        turns = [each for each in turns if each.kinds]
    said = [turn_words(each, zone) for each in turns[:MOST_TURNS]]
    if len(turns) > MOST_TURNS:
        said.append(f"{len(turns) - MOST_TURNS} more")
    return "; ".join(said)


def added_minutes(each: WhatIf, plan: Plan) -> float | None:
    """Return by how much longer the passage takes, as the printed times tell it. [min].

    Both arrivals are printed to the minute, and whoever compares them on paper finds this.
    """
    if each.arrival is None:
        return None
    then, now = (nearest_minute(time) for time in (each.arrival, plan.arrival))
    return (then - now).total_seconds() / 60.0 - 60.0 * each.delay_h


def _done(each: Turn) -> str:
    if any(step.kind != "turn" for step in each.crew):
        return ", ".join(_step(step, each) for step in each.crew)
    if not each.kinds:
        carries_on = _carries_on(each)
        hand = "" if each.alters_to is None else f" to {each.alters_to}"
        if each.comes_deg is not None:
            dials = each.comes_deg, each.comes_magnetic_deg, each.comes_compass_deg
            hand += f" from {helm_words(*dials)}"
        return "carry on" if carries_on else f"alter course{hand}"
    said = {
        "tack": "tack" if each.tack is None else f"onto {each.tack} tack",
        "gybe": "gybe" if each.tack is None else f"gybe onto {each.tack} tack",
        "change_sails": "change sails" if each.sail_set is None else f"change to {each.sail_set}",
    }
    sides = spars_words(each) if {"set_pole", "gybe"} & set(each.kinds) else None
    done = (said.get(kind, kind.replace("_", " ")) for kind in each.kinds)
    return ", ".join([*done, *([] if sides is None else [sides])])


def _carries_on(each: Turn) -> bool:
    """Whether she holds on at a mark: only there it is known that she alters no course."""
    return not each.kinds and each.mark is not None and each.alters_to is None


def _step(step: CrewStep, each: Turn) -> str:
    """Say a step in few words: the boom's side with the turn, the pole's where it is set."""
    if step.kind == "turn" and step.side is not None:
        return bow_words(step.side, each.tack)
    if step.kind == "tack":
        return f"onto {each.tack} tack"
    if step.kind == "gybe":
        return f"gybe onto {each.tack} tack, boom and headsail to {step.side}"
    if step.kind == "change_sails":
        return f"change to {each.sail_set}"
    if step.kind == "ready_pole":
        return "make pole ready"
    if step.kind == "rig_preventer":
        return "rig preventer"
    return step_words(step).replace("the ", "")


def turn_words(each: Turn, zone: tzinfo | None = None) -> str:
    """Say when and where, by name or by the mark ahead, what is done, and how she then goes.

    Examples
    --------
    >>> from datetime import datetime, UTC
    >>> from goosewing.records import FromMark, Turn
    >>> noon = datetime(2027, 6, 1, 12, tzinfo=UTC)
    >>> turn_words(Turn(kinds=("gybe",), mark="B", lat=57.1, lon=11.2, time=noon, tack="port"))
    '1200Z B: gybe onto port tack'
    >>> turn_words(Turn(kinds=("tack",), point="T1", lat=57.1, lon=11.2, time=noon, tack="port"))
    '1200Z T1: onto port tack'
    >>> seen = FromMark(mark="C", bearing_deg=184.0, distance_nm=2.0)
    >>> turn_words(Turn(kinds=(), from_mark=seen, lat=57.1, lon=11.2, time=noon, heading_deg=9.0))
    "1200Z 57°06.00'N 011°12.00'E, C 004° 2.0 nm: alter course, 009°"
    """
    place = each.mark or each.point or position_words(each.lat, each.lon)
    if (seen := each.from_mark) is not None and each.point is None:
        magnetic = seen.bearing_magnetic_deg
        back = None if magnetic is None else magnetic + 180.0
        bears = helm_words(seen.bearing_deg + 180.0, back, None)
        place = f"{place}, {seen.mark} {bears} {seen.distance_nm:.1f} nm"
    begins = each.crew[0].time if each.crew else each.time
    if clock(begins) != clock(each.time):
        place += f" (begin {clock(begins)}{by_ship(begins, zone)})"
    # What is less than the helm can tell is no other heading.
    then = [] if _carries_on(each) else _then(each)
    said = ", ".join([_done(each), *then])
    return f"{clock(each.time)}{by_ship(each.time, zone)} {place}: {said}"


def arriving_words(steps: Sequence[CrewStep], mark: str, zone: tzinfo | None = None) -> str | None:
    """Say what hands begin when before the last mark; None where nothing is done.

    Examples
    --------
    >>> from datetime import datetime, UTC
    >>> from goosewing.records import CrewStep
    >>> noon = datetime(2027, 6, 1, 12, tzinfo=UTC)
    >>> arriving_words([CrewStep(kind="strike_pole", time=noon)], "B")
    '1200Z before B: strike pole'
    """
    if not steps:
        return None
    begins = steps[0].time
    luffs = [] if all(step.kind != "ease_preventer" for step in steps) else ["come up"]
    *work, last = (step_words(step).replace("the ", "") for step in steps)
    said = ", ".join([*work, *luffs, last])
    return f"{clock(begins)}{by_ship(begins, zone)} before {mark}: {said}"


def first_words(each: Turn | None, begins: str = "first") -> str | None:
    """Say how she begins, or goes on; None where that isn't known.

    Examples
    --------
    >>> from datetime import datetime, UTC
    >>> from goosewing.records import Turn
    >>> noon = datetime(2027, 6, 1, 12, tzinfo=UTC)
    >>> first_words(Turn(kinds=(), lat=57.1, lon=11.2, time=noon, heading_deg=95.0, poled=True,
    ...                  tack="port", sail_set="wing-and-wing", keep_twa_deg=171.0))
    'first port tack, wing-and-wing, boom to starboard, pole to port, 095°, keep 171°'
    """
    if each is None or each.sail_set is None:
        return None
    on = each.sail_set if each.tack is None else f"{each.tack} tack, {each.sail_set}"
    sides = spars_words(each)
    work = [] if each.kinds else [step for step in each.crew if step.kind != "turn"]
    luffs = any(step.kind == "ease_preventer" for step in work)
    return ", ".join([
        *(["come up"] if luffs else []),
        *([steps_words(work)] if work else []),
        f"{begins} {on}", *([] if sides is None else [sides]), *_then(each),
    ])  # fmt: skip


def as_planned_words(each: Turn | None) -> str | None:
    """Say how she begins where tack and sails are the plan's own; None where that isn't known.

    Examples
    --------
    >>> from datetime import datetime, UTC
    >>> from goosewing.records import Turn
    >>> noon = datetime(2027, 6, 1, 12, tzinfo=UTC)
    >>> as_planned_words(Turn(kinds=(), lat=57.1, lon=11.2, time=noon, heading_deg=95.0,
    ...                  tack="port", sail_set="wing-and-wing", keep_twa_deg=171.0))
    'tack and sails as on page 1, 095°, keep 171°'
    """
    if each is None or each.sail_set is None:
        return None
    return ", ".join(["tack and sails as on page 1", *_then(each)])


def _then(each: Turn) -> list[str]:
    """Say what is steered from a turn on."""
    steer, kept = steer_words(each), each.keep_twa_deg
    return [
        *([] if steer is None else [steer]),
        *([] if kept is None else [f"keep {kept:.0f}°"]),
    ]


def steer_words(each: Turn | None) -> str | None:
    """Say by the helm's own dial what is steered from a turn on; None where that isn't known."""
    if each is None or each.heading_deg is None:
        return None
    return helm_words(each.heading_deg, each.heading_magnetic_deg, each.heading_compass_deg)


def behind_line(plan: Plan) -> str:
    """Say where the plan's own tracks would leave her in lighter wind; nothing if not asked."""
    lighter = [each for each in plan.what_if if each.wind_factor < 1.0]
    if not lighter:
        return ""
    parts = [
        f"in {change_words(each)} of the wind "
        + (
            f"they can't be kept{_why(each)}"
            if each.behind_nm is None
            else "she is there to 0.05 nm"
            if each.behind_nm < 0.05
            else f"she has {each.behind_nm:.1f} nm still to go"
        )
        for each in lighter
    ]
    return f"On this plan's own tracks at {clock(plan.arrival)}: {listed(parts)}."


def _why(each: WhatIf) -> str:
    return "" if each.off_track is None else f" ({each.off_track})"
