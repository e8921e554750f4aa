"""What came in: kept by path and source, with ages that no jumping clock falsifies.

Times of values and times of ticks may come from different clocks. Where a source's
clock is found to run `Rules.lag_s` or more apart from the host's, steadily, its values
are dated by the host's; a single old value is old. A clock that is set back takes all
that is remembered back with it, so that ages stay what they were.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from goosewing.live.core.copies import replace
from goosewing.live.core.state import (
    NEVER,
    Average,
    Event,
    Place,
    Reading,
    Rules,
    Sample,
    SourceClock,
    State,
    Stream,
)
from goosewing.records import Value

LARGEST = {
    "sog_kn": 80.0, "stw_kn": 60.0, "aws_kn": 150.0, "tws_kn": 150.0, "ground_wind_kn": 150.0,
    "drift_kn": 30.0, "cog_deg": 720.0, "heading_deg": 720.0, "heading_magnetic_deg": 720.0,
    "variation_deg": 180.0, "awa_deg": 720.0, "twa_deg": 720.0, "ground_wind_deg": 720.0,
    "twd_deg": 720.0, "twd_magnetic_deg": 720.0, "set_deg": 720.0, "leeway_deg": 45.0,
}  # fmt: skip
"""Beyond these a value is no measurement."""

NEVER_NEGATIVE = frozenset(
    {"sog_kn", "stw_kn", "aws_kn", "tws_kn", "ground_wind_kn", "drift_kn"}
)  # fmt: skip

MOST_SOURCES = 16
"""More names than this is a source that renames itself: the stalest is forgotten."""


def sane(name: str, value: Value) -> bool:
    """Whether a value can be a measurement: finite, and of a size that occurs.

    Examples
    --------
    >>> sane("stw_kn", 5.0), sane("stw_kn", float("nan")), sane("position", (91.0, 0.0))
    (True, False, False)
    """
    if isinstance(value, str):
        return name.startswith("sail:")
    if isinstance(value, tuple):
        lat, lon = value
        return name == "position" and abs(lat) <= 90.0 and abs(lon) <= 360.0
    if value is None or name not in LARGEST or not math.isfinite(value):
        return False
    return abs(value) <= LARGEST[name] and (value >= 0.0 or name not in NEVER_NEGATIVE)


def recorded(state: State, reading: Reading, rules: Rules) -> State:
    """Keep a reading's values; null clears what the source gave before, nonsense is left aside."""
    clock = _source_clock(state, reading, rules)
    seen = min(reading.time_s + clock.correction_s, state.now_s)
    readings = dict(state.readings)
    for name, value in reading.values:
        held = dict(readings.get(name, {}))
        if value is None:
            held.pop(reading.source, None)
        elif sane(name, value):
            held[reading.source] = Sample(value, seen)
        readings[name] = _bounded(held)
    sources = {**state.sources, reading.source: clock}
    if len(sources) > MOST_SOURCES:
        del sources[min(sources, key=lambda name: sources[name].time_s)]
    return replace(state, readings=readings, sources=sources)


def _bounded(held: dict[str, Sample]) -> dict[str, Sample]:
    if len(held) > MOST_SOURCES:
        del held[min(held, key=lambda name: held[name].seen_s)]
    return held


def _source_clock(state: State, reading: Reading, rules: Rules) -> SourceClock:
    lag = state.now_s - reading.time_s
    before = state.sources.get(reading.source)
    if abs(lag) <= rules.lag_s:
        return SourceClock(reading.time_s, lag)
    if before is not None and reading.time_s > before.time_s and abs(lag - before.lag_s) <= 5.0:
        return SourceClock(reading.time_s, lag, lag)
    if before is not None and reading.time_s == before.time_s:
        return SourceClock(reading.time_s, before.lag_s, before.correction_s)
    return SourceClock(reading.time_s, lag)


def on_time(
    state: State, time_s: float, rules: Rules, *, tick: bool, set_back: bool = True
) -> tuple[State, list[Event]]:
    """Let time go on to `time_s`.

    Once ticks have come, they alone move the time. A clock that goes back moves all
    that is remembered back as far; lines that merely come late (not `set_back`) do not.
    """
    if state.now_s == NEVER:
        return replace(state, now_s=time_s, ticked=tick), []
    if state.ticked and not tick:
        return state, []
    step = time_s - state.now_s
    if step >= 0.0:
        return replace(state, now_s=time_s, ticked=state.ticked or tick), []
    if step >= -rules.clock_back_s or not set_back:
        return replace(state, ticked=state.ticked or tick), []
    moved = replace(shifted(state, step), now_s=time_s, second=None, ticked=state.ticked or tick)
    if tick and not state.ticked:
        return moved, []  # From the sources' clock to the host's.
    words = f"The clock went back by {-step:.0f} s; ages are counted on from before."
    return moved, [Event(time_s=time_s, kind="clock", message=words, severity="alert")]


def went_back(state: State, reading: Reading, rules: Rules) -> bool:
    """Whether a source's own clock was set back, where no tick tells the time."""
    before = state.sources.get(reading.source)
    return (
        not state.ticked
        and before is not None
        and reading.time_s < before.time_s - rules.clock_back_s
    )


def shifted(state: State, by_s: float) -> State:
    """Move every remembered time, for a clock that was set back."""
    return replace(
        state,
        sources={
            name: replace(clock, time_s=clock.time_s + by_s)
            for name, clock in state.sources.items()
        },
        readings={
            name: {source: replace(s, seen_s=s.seen_s + by_s) for source, s in held.items()}
            for name, held in state.readings.items()
        },
        place=_moved_place(state.place, by_s),
        wind=_moved_average(state.wind, by_s),
        mean_wind=_moved_average(state.mean_wind, by_s),
        gusting=_moved_average(state.gusting, by_s),
        stream=_moved_stream(state.stream, by_s),
        course_made=_moved_average(state.course_made, by_s),
        steered=_moved_average(state.steered, by_s),
        since=state.since.shifted(by_s),
        up_since_s=_moved(state.up_since_s, by_s),
        failed_s=_moved(state.failed_s, by_s),
        updated_s=_moved(state.updated_s, by_s),
        planned=_moved_order(state.planned, by_s),
        waiting=_moved_order(state.waiting, by_s),
        weighed=_moved_order(state.weighed, by_s),
        done=None if state.done is None else replace(state.done, time_s=state.done.time_s + by_s),
        countdown=None,
    )


def _moved(time_s: float | None, by_s: float) -> float | None:
    return None if time_s is None else time_s + by_s


def _moved_place(place: Place | None, by_s: float) -> Place | None:
    if place is None:
        return None
    doubted = place.doubted
    if doubted is not None:
        doubted = (doubted[0], doubted[1], doubted[2] + by_s)
    return replace(place, seen_s=place.seen_s + by_s, moved_s=place.moved_s + by_s, doubted=doubted)


def _moved_average(average: Average | None, by_s: float) -> Average | None:
    if average is None:
        return None
    return replace(average, since_s=average.since_s + by_s, seen_s=average.seen_s + by_s)


def _moved_stream(stream: Stream | None, by_s: float) -> Stream | None:
    if stream is None:
        return None
    return replace(
        stream, since_s=stream.since_s + by_s, seen_s=stream.seen_s + by_s,
        through=_moved_average(stream.through, by_s),
    )  # fmt: skip


def _moved_order(held: Any, by_s: float) -> Any:
    if held is None:
        return None
    if hasattr(held, "order"):
        return replace(held, order=_moved_order(held.order, by_s))
    return replace(held, time_s=held.time_s + by_s)


# ---- which source is believed ----------------------------------------------------------


GROUPS: Mapping[str, str] = {
    "position": "position",
    "sog_kn": "course",
    "cog_deg": "course",
    "stw_kn": "log",
    "heading_deg": "heading",
    "heading_magnetic_deg": "heading",
    "set_deg": "current",
    "drift_kn": "current",
}


def fresh(state: State, name: str, within_s: float) -> dict[str, Sample]:
    """Return the sources that gave a value within so many seconds."""
    held = state.readings.get(name, {})
    return {k: s for k, s in held.items() if state.now_s - s.seen_s <= within_s}


def choose(
    state: State, group: str, candidates: Mapping[str, float], prefer: Mapping[str, str]
) -> str | None:
    """Choose a source: the preferred one, the one believed so far, or the freshest.

    Parameters
    ----------
    candidates : mapping
        Names of sources that are fresh, with the time of their last value.
    """
    if not candidates:
        return None
    for wanted in (prefer.get(group), state.chosen.get(group)):
        if wanted in candidates:
            return wanted
    return max(sorted(candidates), key=lambda name: candidates[name])
