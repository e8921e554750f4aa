"""How a plan does in every member of an ensemble, in a navigator's words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from goosewing.words.figures import clock, hours_and_minutes, listed

if TYPE_CHECKING:
    from goosewing.records import Decision, EnsembleVerdict, MemberSailed, Plan


def ensemble_lines(plan: Plan) -> list[str]:
    """Say which member's plan this is, what it takes in all, and until when they agree."""
    verdict = plan.ensemble
    if verdict is None:
        return []
    return [
        _chosen(verdict),
        _times(verdict),
        _regret(verdict),
        _parting(verdict, plan),
        *_missing(verdict),
    ]


def _chosen(verdict: EnsembleVerdict) -> str:
    by = "in the mean" if verdict.prefer == "mean" else "in the slowest tenth of members"
    return (
        f"{len(verdict.each)} members. This is the best plan of member {verdict.chosen}, told for "
        f"its wind; of all their plans it is the fastest {by}, each sailed on its own tracks in "
        "every member's wind."
    )


def _times(verdict: EnsembleVerdict) -> str:
    spread, own = verdict.elapsed_h, verdict.own_h
    return (
        f"It takes {hours_and_minutes(verdict.mean_h)} in the mean, "
        f"{hours_and_minutes(spread.p10)} to {hours_and_minutes(spread.p90)} in eight members of "
        f"ten, {hours_and_minutes(verdict.worst_tenth_h)} in the slowest tenth; the members' own "
        f"best plans {hours_and_minutes(own.p10)} to {hours_and_minutes(own.p90)}."
    )


def _regret(verdict: EnsembleVerdict) -> str:
    worst = max(verdict.each, key=_regret_min)
    return (
        "Against knowing the member beforehand it loses "
        f"{hours_and_minutes(verdict.mean_regret_min / 60.0)} in the mean and "
        f"{hours_and_minutes(verdict.worst_regret_min / 60.0)} at most (member {worst.member}), "
        "if it is kept to, whatever comes."
    )


def _regret_min(each: MemberSailed) -> float:
    return -1.0 if each.regret_min is None else each.regret_min


def _parting(verdict: EnsembleVerdict, plan: Plan) -> str:
    apart = (
        "" if verdict.apart_nm is None else f" Tracks lie up to {verdict.apart_nm:.1f} nm apart."
    )
    if verdict.decision is None:
        return (
            "All members' best plans agree on tacks and sails until the first would be there."
            f"{apart}"
        )
    return f"{_decision(verdict.decision, plan)}{apart}"


def _decision(decision: Decision, plan: Plan) -> str:
    choices = listed([f"{each.members} on {each.board}" for each in decision.choices])
    if decision.time <= plan.departure:
        return f"Decide before the start, where the members' best plans part: {choices}."
    return (
        f"Decide by {clock(decision.time)}, until when all members' best plans agree; then "
        f"{choices}."
    )


def _missing(verdict: EnsembleVerdict) -> list[str]:
    none = [each for each in verdict.each if each.elapsed_h is None]
    lines = []
    if none:
        numbers = listed([str(each.member) for each in none])
        lines.append(f"No plan of its own has member {numbers}: {none[0].reason}.")
    lost = [str(each.member) for each in verdict.each if each.sailed_h is None]
    if lost:
        lines.append(
            f"This plan can't be sailed to its end in member {listed(lost)}: no wind for it, or "
            "the forecast ends."
        )
    return lines
