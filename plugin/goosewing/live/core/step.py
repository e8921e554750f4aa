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
from dataclasses import replace

from goosewing.live.core import advice, orders, readings, sensing
from goosewing.live.core.state import (
    Acknowledge,
    Clear,
    Cleared,
    Desk,
    Event,
    Observation,
    Order,
    Output,
    Pending,
    PlanFailed,
    Planned,
    PlanReady,
    Reading,
    Replaced,
    Route,
    State,
    Status,
    Tick,
    Update,
)

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
    if isinstance(observation, Acknowledge):
        return _acknowledged(state, observation)
    return _cleared(state, observation)


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
    ages = advice.ages(state)
    state, told = _staleness(state, desk)
    outputs: list[Output] = [*events, *told]
    if not state.stale:
        state, more = _advising(state, desk)
        outputs += more
    state, order = _ordered(state, desk)
    outputs += [order] if order else []
    state, status = _status(state, desk, ages)
    return state, (*outputs, *([status] if status else []))


def _staleness(state: State, desk: Desk) -> tuple[State, list[Output]]:
    stale = advice.what_is_stale(state, desk)
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
        return state, [event, Update(time_s=state.now_s, figures=advice.NOTHING)]
    words = f"Advice again: {' and '.join(before)} no longer."
    return state, [Event(time_s=state.now_s, kind="recovered", message=words)]


def _advising(state: State, desk: Desk) -> tuple[State, list[Output]]:
    outputs: list[Output] = []
    if state.route is not None and state.route.from_here:
        state, rounded = advice.rounding(state, desk)
        outputs += rounded
        if state.route is None:
            outputs += [Cleared(), Update(time_s=state.now_s, figures=advice.NOTHING)]
    state = advice.refreshed(state, desk)
    if state.planned is None or state.route is None:
        return state, outputs
    state, events = advice.told(state, desk)
    outputs += events
    if state.updated_s is None or state.now_s - state.updated_s >= desk.rules.update_every_s:
        outputs.append(Update(time_s=state.now_s, figures=advice.figures(state, desk)))
        state = replace(state, updated_s=state.now_s)
    return state, outputs


def _ordered(state: State, desk: Desk) -> tuple[State, Order | None]:
    """Ask for a plan, if one is wanted and can be made."""
    state, reason = advice.why_anew(state, desk)
    if reason is None or state.route is None:
        return state, None
    order = orders.wanted(state, state.route, reason)
    return replace(state, waiting=order, orders=order.number, wanted=None), order


def _status(state: State, desk: Desk, ages: dict[str, float | None]) -> tuple[State, Status | None]:
    kind, words = advice.status(state)
    due = state.ticks_since_status >= desk.rules.status_every_ticks
    if state.status == (kind, words) and not due:
        return state, None
    status = Status(time_s=state.now_s, state=kind, message=words, ages_s=ages)
    return replace(state, status=(kind, words), ticks_since_status=0), status


# ---- route and plan -----------------------------------------------------------------------


def _without_plan(state: State) -> State:
    return replace(
        state, waiting=None, planned=None, pending=None, board=0, failure=None, failed_s=None,
        nearest_nm=None, finished=None, held=None, updated_s=None,
        told={k: v for k, v in state.told.items() if k == "disagree"},
        since={k: v for k, v in state.since.items() if k in ("disagree", "swung", "standing")},
    )  # fmt: skip


def _routed(state: State, route: Route) -> Step:
    had = state.planned is not None
    state = replace(_without_plan(state), route=route, wanted="a new route")
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
    before, plan = state, orders.by_compass(ready.plan, state, desk)
    told = {k: v for k, v in state.told.items() if k in ("disagree", "wing tried", "beyond")}
    state = replace(
        state, planned=Planned(order=order, plan=plan), board=0, pending=None, held=None,
        told=told, since={k: v for k, v in state.since.items() if not k.startswith("moved")},
        updated_s=None,
    )  # fmt: skip
    outputs: list[Output] = [Replaced(plan=plan, route=route)]
    outputs += advice.verdict(before, order, plan)
    state, turn = _turn_at_once(state)
    return state, (*outputs, *turn)


def _turn_at_once(state: State) -> tuple[State, tuple[Output, ...]]:
    """A plan that begins with a turn has it due now."""
    assert state.planned is not None
    first = orders.stages(state.planned.plan.legs[0])[0]
    if not first.manoeuvres:
        return state, ()
    words = orders.turn_words(first)
    pending = Pending(point=first.name, board=0, tack=first.board.tack, words=words)
    event = Event(
        time_s=state.now_s, kind="turn_now", severity="warn", message=f"{first.name} now: {words}.",
        values={"point": first.name},
    )  # fmt: skip
    return replace(state, pending=pending), (event,)


def _failed(state: State, failed: PlanFailed) -> Step:
    if state.waiting is None or state.waiting.number != failed.number:
        return state, ()
    had = state.planned is not None
    # A plan made for what no longer holds would be false advice.
    state = replace(
        state, waiting=None, planned=None, pending=None, failure=failed.message,
        failed_s=state.now_s, held=None,
    )  # fmt: skip
    return state, (Cleared(),) if had else ()


def _acknowledged(state: State, acknowledged: Acknowledge) -> Step:
    pending = state.pending
    if pending is None or acknowledged.point != pending.point:
        return state, ()
    state = replace(
        state, pending=None, board=pending.board, tack=pending.tack,
        wanted=f"{pending.point} is done",
        since={k: v for k, v in state.since.items() if not k.startswith(("on ", "moved"))},
        told={k: v for k, v in state.told.items() if k in ("disagree", "wing tried", "beyond")},
    )  # fmt: skip
    return state, ()
