"""Shifts by their rule: the mean of a wandering wind, and when a turn pays.

Where the crew has said how far and how long the wind wanders, plans are made for its mean
direction over many such times, and a shift is answered by the rule worked out for the leg
(`goosewing.shifts`), not by a new plan in the wind of the moment. Sailed with a mean that is
measured so, of one hour before the start and 1 minute's damping, the rule kept about four
fifths of what it gains where the mean is known.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from goosewing.errors import InputError, NoPlanError
from goosewing.live.core.copies import replace
from goosewing.live.core.damping import damped, from_deg, strength_kn, turned_deg, vector
from goosewing.live.core.sensing import lasting
from goosewing.live.core.standing import headed_deg
from goosewing.live.core.state import Event, PlanReady
from goosewing.shifts.chances import leg_bands
from goosewing.shifts.model import bounds, parse_shifts
from goosewing.shifts.rule import shift_rule
from goosewing.units import SECONDS_PER_HOUR
from goosewing.weather.base import datetime_from_hours
from goosewing.weather.steady import SteadyWeather

if TYPE_CHECKING:
    from goosewing.live.core.state import Desk, Order, Planned, State
    from goosewing.records import Plan
    from goosewing.shifts.model import Shifts

MEAN_OVER, MEAN_FROM = 12.0, 4.0
"""Correlation times over which the mean is taken, and after which it counts as known."""

MEAN_MOVED_DEG = 4.0
"""A rule is worked out anew when the mean has moved by more. [°]"""

HELD_S = 15.0
"""So long a turn must have paid before it is told. [s]"""

HEADED_DEG = 1.0
"""A shift of fewer degrees is none: the turn then pays for where she is."""


def why_off(state: State, desk: Desk) -> str | None:
    """Say why the shifts that the crew has named are not answered; None where they are."""
    kept = _bounds(desk)
    if kept is not None:
        return f"Shifts are off: their rule is for open water, and the plan {kept}."
    planned = state.planned
    if planned is None or planned.no_rule is None:
        return None
    return f"Shifts are off to {planned.plan.legs[0].destination}: {planned.no_rule}."


def _bounds(desk: Desk) -> str | None:
    if desk.shifts is None:
        return None
    return bounds(kept_clear=desk.chart is not None, corridor_nm=desk.corridor_nm)


def off(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """Tell once that shifts are off, and why."""
    words, before = why_off(state, desk), state.told.shifts_off
    if words == before:
        return state, []
    state = replace(state, told=replace(state.told, shifts_off=words))
    if words is None or before is not None:
        return state, []  # Only the miles in a reason differ from plan to plan.
    return state, [Event(time_s=state.now_s, kind="shifts_off", message=words)]


def shifts_of(desk: Desk, wind_kn: float) -> Shifts | None:
    """Return the shifts that the crew has named; None where none, or where they are off."""
    if desk.shifts is None or _bounds(desk) is not None:
        return None
    return parse_shifts(desk.shifts, wind_kn)[0]


def noted(state: State, desk: Desk) -> State:
    """Take the wind of this moment into its mean."""
    if desk.shifts is None or state.sense.wind is None or state.wind is None:
        return state
    shifts = shifts_of(desk, strength_kn(state.wind))
    if shifts is None:
        return state
    tau_s = MEAN_OVER * shifts.tau_min * 60.0
    return replace(state, mean_wind=damped(state.mean_wind, *state.sense.wind, state.now_s, tau_s))


def mean_from_deg(state: State, desk: Desk) -> float | None:
    """Return the wind's mean direction over the water, once it is known. [° true]."""
    mean = state.mean_wind
    if mean is None or state.wind is None:
        return None
    shifts = shifts_of(desk, strength_kn(state.wind))
    if shifts is None or state.now_s - mean.since_s < MEAN_FROM * shifts.tau_min * 60.0:
        return None
    return from_deg(mean.east_kn, mean.north_kn)


def planned_for(state: State, desk: Desk) -> tuple[float, float]:
    """Return the wind over the water that plans are made for, *towards* east and north. [kn].

    The wind of now; where shifts are answered by their rule, from its mean direction.
    """
    assert state.wind is not None
    mean = mean_from_deg(state, desk)
    if mean is None:
        return state.wind.east_kn, state.wind.north_kn
    return vector(mean + 180.0, strength_kn(state.wind))


def worked_out(order: Order, desk: Desk, plan: Plan) -> PlanReady:
    """Add to a plan that was made the rule of its first leg where one is wanted, or why not."""
    ready = PlanReady(number=order.number, plan=plan)
    shifts = shifts_of(desk, order.wind_kn)
    boards = plan.legs[0].boards
    unlike = len({board.tack for board in boards}) < 2
    if not order.wants_rule or shifts is None or unlike or any(b.poled or b.engine for b in boards):
        return ready
    weather = SteadyWeather(order.wind_from_deg, order.wind_kn, order.set_deg, order.drift_kn)
    time = datetime_from_hours(order.time_s / SECONDS_PER_HOUR)
    start, mark = plan.marks[:2]
    try:
        rule = shift_rule(start, mark, desk.boat, weather, time, shifts, tack=boards[0].tack)
    except (InputError, NoPlanError) as error:
        return replace(ready, no_rule=f"no rule is found, for {str(error).rstrip('.')}")
    return replace(ready, rule=rule, bands=leg_bands(plan.legs[0], rule.game, shifts))


def wants_rule(state: State, desk: Desk) -> bool:
    """Whether the next plan is to bring a rule: there is none yet, or the mean has moved."""
    mean = mean_from_deg(state, desk)
    if mean is None:
        return False
    rule = None if state.planned is None else state.planned.rule
    if rule is None or state.planned is None or state.route is None:
        return True
    moved = abs(turned_deg(mean, rule.game.mean_twd_deg)) > MEAN_MOVED_DEG
    return moved or state.planned.order.next != state.route.next


def mean_moved(state: State, desk: Desk, planned: Planned) -> tuple[State, str | None]:
    """Want a plan when the mean is known at last, or has moved."""
    mean = mean_from_deg(state, desk)
    if mean is None:
        return state, None
    if not (state.weighed or planned.order).wants_rule and planned.rule is None:
        return state, "the wind's mean is known"
    if planned.rule is None:
        return state, None
    turn = turned_deg(mean, planned.rule.game.mean_twd_deg)
    state, for_s = lasting(state, "mean_moved", abs(turn) > MEAN_MOVED_DEG)
    if for_s < desk.rules.moved_for_s:
        return state, None
    hand = "right" if turn > 0.0 else "left"
    return state, f"the wind's mean went {abs(turn):.0f}° to the {hand}"


def advised(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """Tell, once, when a turn pays by the rule."""
    planned, mean = state.planned, mean_from_deg(state, desk)
    if planned is None or planned.rule is None or mean is None or state.pending is not None:
        return state, []
    shift = _shift_deg(state, mean)
    state, for_s = lasting(state, "turn_pays", _pays(state, planned, shift))
    if for_s < HELD_S:
        told = state.told.turn_pays and state.since.turn_pays is not None
        return replace(state, told=replace(state.told, turn_pays=told)), []
    if state.told.turn_pays:
        return state, []
    state = replace(state, told=replace(state.told, turn_pays=True))
    return state, [_event(state, planned, shift, mean)]


def _shift_deg(state: State, mean: float) -> float:
    assert state.wind is not None
    return turned_deg(from_deg(state.wind.east_kn, state.wind.north_kn), mean)


def _pays(state: State, planned: Planned, shift: float) -> bool:
    rule, place, tack = planned.rule, state.place, state.tack
    if rule is None or place is None or tack is None:
        return False
    since = state.since.on_port if tack == "port" else state.since.on_starboard
    minutes = float("inf") if since is None else (state.now_s - since) / 60.0
    blowing = rule.game.mean_twd_deg + shift
    return bool(rule.turn_now(place.lat, place.lon, blowing, tack, minutes))


def _event(state: State, planned: Planned, shift: float, mean: float) -> Event:
    assert planned.rule is not None
    headed = headed_deg(shift, state.tack)
    turn = "gybe" if planned.rule.downwind else "tack"
    if abs(headed) < HEADED_DEG:
        words = f"By the rule of shifts a {turn} pays here, before the layline."
    else:
        kind = "Headed" if headed > 0.0 else "Lifted"
        words = f"{kind} {abs(headed):.0f}° from the mean, {mean:03.0f}°: a {turn} now pays."
    return Event(
        time_s=state.now_s, kind="turn_pays", severity="alert", message=words,
        values={
            "shift_deg": shift, "mean_from_deg": mean,
            "mark": planned.plan.legs[0].destination,
        },
    )  # fmt: skip
