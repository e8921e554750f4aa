"""The service's core: a state and an observation give a state and what follows from it.

Nothing here knows a clock, a socket or a file: time comes with the observation. Values
are only noted when they come; what follows from them is worked out once a second, when
the first observation of another second closes the one before. So a recorded day gives
the same events again however its lines were grouped, and fifty observations a second
cost little more than one.

A turning point stays the next one until the crew acknowledges it. Until then no plan
that would lead past it is asked for; only a mark rounded or a new route replaces it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from goosewing.live.core import (
    figures,
    health,
    limits,
    lines,
    memory,
    orders,
    readings,
    replan,
    rounding,
    sensing,
    shifty,
    standing,
    turns,
)
from goosewing.live.core.copies import replace
from goosewing.live.core.state import (
    Acknowledge,
    Answer,
    Carries,
    Clear,
    Cleared,
    CrewOrder,
    Desk,
    Event,
    Memory,
    Observation,
    Order,
    Output,
    PlanFailed,
    Planned,
    PlanReady,
    Reading,
    Replaced,
    Route,
    State,
    Status,
    Tick,
    Undo,
    Update,
)
from goosewing.turns import numbered_like

if TYPE_CHECKING:
    from goosewing.records import Plan

Step = tuple[State, tuple[Output, ...]]


def step(state: State, observation: Observation, desk: Desk) -> Step:
    """Take one observation into the state.

    Parameters
    ----------
    state : State
        `State()` to begin with.
    observation : Observation
    desk : Desk
        The boat and the rules.

    Returns
    -------
    state : State
        The new one; the old one is unchanged.
    outputs : tuple
        What the crew, the displays and the planner should be told, in order.
    """
    if isinstance(observation, Reading):
        return _read(state, observation, desk)
    if isinstance(observation, Tick):
        return _tick(state, observation, desk)
    if isinstance(observation, Route):
        return _routed(state, observation)
    if isinstance(observation, PlanReady):
        return _planned(state, observation, desk)
    if isinstance(observation, PlanFailed):
        return _failed(state, observation)
    return _ordered_by_crew(state, observation, desk)


def refusal(state: State, given: Observation, desk: Desk) -> str | None:
    """Say in one line why an order of the crew can't be carried out; None if it can."""
    if isinstance(given, Acknowledge):
        return turns.why_not_acknowledged(state, given)
    if isinstance(given, Undo):
        return turns.why_not_undone(state, desk, given)
    if isinstance(given, Answer):
        return memory.why_not_answered(state, given)
    if isinstance(given, Carries):
        names = [sails.name for sails in desk.boat.sail_sets]
        if given.sail_set not in names:
            return f"she has no {given.sail_set:.40}: there are {', '.join(names)}"
        if given.tack not in ("port", "starboard"):
            return f"the tack is port or starboard, not {given.tack:.20}"
    return None


def _ordered_by_crew(state: State, given: CrewOrder, desk: Desk) -> Step:
    if refusal(state, given, desk) is not None:
        return state, ()
    if isinstance(given, Acknowledge):
        return turns.after_turn(state), ()
    if isinstance(given, Undo):
        return _undone(state, desk)
    if isinstance(given, Answer):
        state, events = memory.answered(state, given)
        gone = (Cleared(),) if state.route is None else ()
        return state, (*events, *gone)
    if isinstance(given, Carries):
        return _carries(state, given), ()
    return _cleared(state, given)


def _undone(state: State, desk: Desk) -> Step:
    done = turns.may_undo(state, desk)
    assert done is not None
    route = state.route
    assert route is not None
    other = done.planned is not state.planned
    state, event = turns.undone(state, done)
    back = Replaced(plan=done.planned.plan, route=route, bands=done.planned.bands)
    again = (back,) if other else ()
    return state, (*again, event)


def _carries(state: State, given: Carries) -> State:
    """Take what the crew says is up; a plan that counts on something else is made anew."""
    state = replace(
        state, sail_set=given.sail_set, tack=given.tack, up_since_s=state.now_s,
        told=replace(state.told, up=True),
    )  # fmt: skip
    board = standing.present_board(state)
    if board is None or (board.sail_set, board.tack) == (given.sail_set, given.tack):
        return state
    return replace(
        state, pending=None, done=None,
        wanted=f"{given.sail_set} is up on {given.tack} tack",
    )  # fmt: skip


# ---- time and data ------------------------------------------------------------------


def _read(state: State, reading: Reading, desk: Desk) -> Step:
    back = readings.went_back(state, reading, desk.rules)
    state, outputs = _to(state, reading.time_s, desk, tick=False, set_back=back)
    return readings.recorded(state, reading, desk.rules), outputs


def _tick(state: State, tick: Tick, desk: Desk) -> Step:
    state, outputs = _to(state, tick.time_s, desk, tick=True, set_back=True)
    state = replace(state, ticks_since_status=state.ticks_since_status + 1)
    return state, outputs


def _to(state: State, time_s: float, desk: Desk, *, tick: bool, set_back: bool) -> Step:
    """Let time go on, and look at everything when a second is over."""
    later, events = readings.on_time(state, time_s, desk.rules, tick=tick, set_back=set_back)
    second = math.floor(later.now_s)
    if second == later.second:
        return later, tuple(events)
    outputs: tuple[Output, ...] = tuple(events)
    if later.second is not None:
        # The second that is over is looked at as it ended.
        seen, found = look(replace(later, now_s=state.now_s), desk)
        later = replace(seen, now_s=later.now_s)
        outputs = (*outputs, *found)
    return replace(later, second=second), outputs


# ---- one look a second -----------------------------------------------------------------


def look(state: State, desk: Desk) -> Step:
    """Work out what is so, what to tell, and whether a plan is wanted."""
    state, events = sensing.sensed(state, desk)
    state = shifty.noted(state, desk)
    state, off = shifty.off(state, desk)
    ages = health.ages(state)
    state, told = _staleness(state, desk)
    outputs: list[Output] = [*events, *off, *told]
    if not state.stale:
        state, asked = memory.resumed(state, desk)
        state, more = _advising(state, desk)
        outputs += [*asked, *more]
    state, order = _ordered(state, desk)
    outputs += [order] if order else []
    state, status = _status(state, desk, ages)
    return state, (*outputs, *([status] if status else []))


def _staleness(state: State, desk: Desk) -> tuple[State, list[Output]]:
    stale = health.what_is_stale(state, desk)
    if stale == state.stale:
        return state, []
    before, state = state.stale, replace(state, stale=stale)
    if state.planned is None:
        return state, []
    if stale:
        words = f"No advice: {' and '.join(stale)}."
        event = Event(
            time_s=state.now_s, kind="stale", message=words, severity="warn",
            values={"inputs": list(stale)},
        )  # fmt: skip
        return state, [event, Update(time_s=state.now_s, figures=figures.NOTHING)]
    words = f"Advice again: {' and '.join(before)} no longer."
    return state, [Event(time_s=state.now_s, kind="recovered", message=words)]


def _advising(state: State, desk: Desk) -> tuple[State, list[Output]]:
    state, events = memory.shown(state, desk)
    outputs: list[Output] = [*events]
    if state.remembered is None and state.route is not None and state.route.from_here:
        state, rounded = rounding.rounding(state, desk)
        outputs += rounded
        if state.route is None:
            outputs += [Cleared(), Update(time_s=state.now_s, figures=figures.NOTHING)]
    state = standing.refreshed(state, desk)
    state, events = limits.dead_downwind(state, desk)
    outputs += events
    if state.planned is None or state.route is None:
        return state, outputs
    state, events = _told(state, desk)
    outputs += events
    if state.updated_s is None or state.now_s - state.updated_s >= desk.rules.update_every_s:
        outputs.append(Update(time_s=state.now_s, figures=figures.figures(state, desk)))
        state = replace(state, updated_s=state.now_s)
    return state, outputs


def _told(state: State, desk: Desk) -> tuple[State, list[Event]]:
    """Find what the crew should be told now; each thing once."""
    state, events = limits.carried(state, desk)
    if not standing.under_way(state):
        return state, events
    for find in (lines.met, shifty.advised, turns.turning):
        state, more = find(state, desk)
        events = [*events, *more]
    return state, events


def _ordered(state: State, desk: Desk) -> tuple[State, Order | None]:
    """Ask for a plan, if one is wanted and can be made."""
    state, reason = replan.why_anew(state, desk)
    if reason is None or state.route is None:
        return state, None
    order = orders.wanted(state, state.route, reason, desk)
    return replace(state, waiting=order, orders=order.number, wanted=None, hasty=False), order


def _status(state: State, desk: Desk, ages: dict[str, float | None]) -> tuple[State, Status | None]:
    kind, words = health.status(state)
    due = state.ticks_since_status >= desk.rules.status_every_ticks
    if state.status == (kind, words) and not due:
        return state, None
    status = Status(time_s=state.now_s, state=kind, message=words, ages_s=ages)
    return replace(state, status=(kind, words), ticks_since_status=0), status


# ---- route and plan -----------------------------------------------------------------------


def _without_plan(state: State) -> State:
    return replace(
        state, waiting=None, planned=None, weighed=None, pending=None, done=None, board=0, nth=0,
        failure=None, failed_s=None, nearest_nm=None, finished=None, updated_s=None,
        passed=(), used=(), remembered=None, question=None, waits=None, countdown=None,
        hasty=False,
        told=state.told.of_sensors(), since=state.since.of_sensors(),
    )  # fmt: skip


def _routed(state: State, route: Route) -> Step:
    had = state.planned is not None
    state = replace(
        _without_plan(state), route=replace(route, remembered=None), wanted="a new route"
    )
    if route.resume:
        kept = route.remembered or Memory(content=memory.NO_ROUTE, time_s=state.now_s)
        state = replace(state, remembered=kept)
    return state, (Cleared(),) if had else ()


def _cleared(state: State, _: Clear) -> Step:
    return replace(_without_plan(state), route=None, wanted=None), (Cleared(),)


def _planned(state: State, ready: PlanReady, desk: Desk) -> Step:
    order, route = state.waiting, state.route
    if order is None or order.number != ready.number or route is None:
        return state, ()  # Asked for before the route changed.
    state = replace(state, waiting=None, failure=None, failed_s=None)
    if order.next != route.next:
        return replace(state, wanted="a mark was rounded"), ()
    if order.hasty and ready.plan.legs[0].boards[0].manoeuvres:
        return replace(state, wanted=order.reason, hasty=True), ()
    standing_plan = None if state.planned is None else state.planned.plan
    named = numbered_like(ready.plan, standing_plan, state.used, at_once=True)
    if state.waits is not None:
        named = orders.still_called(named, state.waits)
    before, plan = state, orders.by_compass(named, state, desk)
    if order.keeps and state.planned is not None and replan.change(state, plan) == "nothing":
        return _with_rule(replace(state, weighed=order), ready, route)
    state = replace(
        state, planned=_made(order, plan, ready, before), weighed=None, board=0, nth=0,
        pending=None, used=orders.last_names(state.used, plan), held=None,
        told=state.told.of_plan(), since=state.since.of_plan(), updated_s=None,
        waits=None,
    )  # fmt: skip
    # Her velocities are those of the plan's own wind, not of one much like it.
    state = standing.refreshed(state, desk)
    assert state.planned is not None
    outputs: list[Output] = [Replaced(plan=plan, route=route, bands=state.planned.bands)]
    outputs += replan.verdict(before, order, plan)
    state, turn = _turn_at_once(state)
    return state, (*outputs, *turn)


def _made(order: Order, plan: Plan, ready: PlanReady, before: State) -> Planned:
    """Return a new plan with its rule for shifts: one that wasn't to be worked out anew stays."""
    planned = Planned(
        order=order, plan=plan, rule=ready.rule, bands=ready.bands, no_rule=ready.no_rule
    )
    if order.wants_rule or before.planned is None:
        return planned
    was = before.planned
    return replace(planned, rule=was.rule, bands=was.bands, no_rule=was.no_rule)


def _with_rule(state: State, ready: PlanReady, route: Route) -> Step:
    """Take the rule that came with a plan which changes nothing."""
    planned = state.planned
    if planned is None:
        return state, ()
    if ready.rule is None:
        no_rule = ready.no_rule or planned.no_rule
        return replace(state, planned=replace(planned, no_rule=no_rule)), ()
    with_rule = replace(planned, rule=ready.rule, bands=ready.bands, no_rule=None)
    state = replace(state, planned=with_rule)
    return state, (Replaced(plan=planned.plan, route=route, bands=ready.bands),)


def _turn_at_once(state: State) -> tuple[State, tuple[Output, ...]]:
    """A plan that begins with a turn has it due now."""
    assert state.planned is not None
    first = state.planned.plan.legs[0].boards[0]
    if not first.manoeuvres:
        return state, ()
    pending = turns.pending_at(state, 0)
    event = Event(
        time_s=state.now_s, kind="turn_now", severity="warn",
        message=f"{pending.point} now: {pending.words}.",
        values={"point": pending.point},
    )  # fmt: skip
    return replace(state, pending=pending), (event,)


def _failed(state: State, failed: PlanFailed) -> Step:
    if state.waiting is None or state.waiting.number != failed.number:
        return state, ()
    had = state.planned is not None
    # A plan made for what no longer holds would be false advice.
    state = replace(
        state, waiting=None, planned=None, pending=None, weighed=None, failure=failed.message,
        failed_s=state.now_s,
    )  # fmt: skip
    return state, (Cleared(),) if had else ()
