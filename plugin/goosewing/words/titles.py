"""What files call a plan, its laylines and a mark that is passed at a distance."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from goosewing.words.figures import clock, hours_and_minutes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.records import Layline, LaylineBand, Mark, Plan


def title(plan: Plan) -> str:
    """Name a passage by its two ends."""
    return f"{plan.marks[0].name} to {plan.marks[-1].name}"


def route_name(plan: Plan) -> str:
    """Call a route as its owner does, else by the passage's two ends."""
    return plan.route.name or title(plan)


def length(plan: Plan) -> str:
    """Tell whose passage it is, how far and how long."""
    return f"{plan.boat}: {plan.distance_nm:.1f} nm in {hours_and_minutes(plan.elapsed_h)}"


def arrival(plan: Plan) -> str:
    """Tell when she arrives, and what it takes."""
    day = f"{plan.arrival:%Y-%m-%d} {clock(plan.arrival)}"
    return (
        f"Arrival {day}: {hours_and_minutes(plan.elapsed_h)}, "
        f"{plan.distance_nm:.1f} nm over the ground, {plan.log_nm:.1f} nm by log."
    )


def about(plan: Plan) -> str:
    """Tell for which wind and stream it is, and the cautions."""
    return " ".join(filter(None, (plan.conditions, *plan.cautions)))


def itself(mark: Mark) -> Mark:
    """Name a mark itself apart from the place at which the route passes it."""
    return replace(mark, name=f"{mark.name} itself")


def left_on_a_hand(plan: Plan) -> list[Mark]:
    """Name the marks themselves that are left on a hand, each once: laps pass them again."""
    named = [itself(mark) for mark in plan.marks if mark.leave]
    return list({(mark.name, mark.lat, mark.lon): mark for mark in named}.values())


def band_titles(bands: Sequence[LaylineBand]) -> list[str]:
    """Name the bands of laylines, each unlike the others."""
    names = [f"Layline band {each.mark} {each.tack} {each.sail_set}" for each in bands]
    return [
        name if name not in names[:at] else f"{name} {names[:at].count(name) + 1}"
        for at, name in enumerate(names)
    ]


def layline_titles(laylines: Sequence[Layline]) -> list[str]:
    """Name laylines, each unlike the others in either case of letters."""
    taken: dict[str, str] = {}
    return [_layline_title(each, taken) for each in laylines]


def _layline_title(layline: Layline, taken: dict[str, str]) -> str:
    """Name a layline by mark and tack, then by sail set; of a further lap by its number."""
    name = short = f"Layline {layline.mark} {layline.tack}"
    if taken.get(short.casefold(), layline.sail_set) != layline.sail_set:
        name = short = f"{short} {layline.sail_set}"
    number = 2
    while name.casefold() in taken:
        name, number = f"{short} {number}", number + 1
    taken[name.casefold()] = layline.sail_set
    return name
