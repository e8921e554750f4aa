"""What a shifty wind makes of a plan, in a navigator's words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from goosewing.words.figures import hours_and_minutes, three_figures

if TYPE_CHECKING:
    from goosewing.records import Chances, LegRule, Plan


def chances_lines(plan: Plan) -> list[str]:
    """Say how long it may take, which marks may be missed, and when to turn on a shift."""
    chances = plan.chances
    if chances is None:
        return []
    lines = [chances.source, _spread_words(chances)]
    lines += [
        f"Chance of fetching {each.mark} without one more turn: {100.0 * each.chance:.0f} %."
        for each in chances.fetch
    ]
    return [*lines, *(_rule_words(rule) for rule in chances.rules)]


def _spread_words(chances: Chances) -> str:
    """Tell between which times she arrives; in changing wind from their own middle only."""
    spread = chances.elapsed_h
    middle = hours_and_minutes(spread.p50)
    if not chances.winds_held:
        return (
            f"Eight times of ten it takes {hours_and_minutes(spread.p10)} to "
            f"{hours_and_minutes(spread.p90)}, {middle} in the middle."
        )
    turning = ", turning by the rule told here" if chances.rules else ""
    return (
        f"Eight times of ten it takes from {hours_and_minutes(spread.p50 - spread.p10)} less to "
        f"{hours_and_minutes(spread.p90 - spread.p50)} more than in the middle. That middle, "
        f"{middle}, is reckoned with the wind at each leg's beginning{turning}: not the plan's "
        "time, which is reckoned with the wind as it changes."
    )


def _rule_words(rule: LegRule) -> str:
    turn = "Gybe" if rule.downwind else "Tack"
    gained = 60.0 * (rule.fixed_plan_h - rule.expected_h)
    when = (
        "no shift is worth a turn"
        if rule.headed_deg is None
        else f"{turn.lower()} when {'lifted' if rule.downwind else 'headed'} by more than "
        f"{max(rule.headed_deg, 0.0):.0f}° from {three_figures(rule.mean_wind_from_deg)}"
    )
    return (
        f"To {rule.mark}: {when} (halfway; sooner near the laylines), and turn "
        f"{rule.inside_nm:.1f} nm inside them until the last mile. In the mean "
        f"{hours_and_minutes(rule.expected_h)}, {gained:.0f} min less than on to the layline."
    )
