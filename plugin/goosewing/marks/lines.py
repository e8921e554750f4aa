"""Start and finish lines, and gates: two ends each, of which the faster is chosen.

Two marks one after the other that are ends of one line make one: first in the course the
start line, last the finish line, between them a gate. The port end is the one she has to
port as she passes. A line is crossed just inside an end or anywhere between; a gate at which
the course turns back is passed between its marks, and one of them rounded, the port one to
port; one that is sailed through is crossed like a line.

Each line is tried at every place in turn, the others held, until none changes: what it
tells is the time of the whole passage.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.earth import geodesy
from goosewing.errors import InputError, NoPlanError
from goosewing.marks.rounding import TURNS_BACK_DEG, WORSE_SHARE
from goosewing.records import Line, Mark, Plan, Side

if TYPE_CHECKING:
    from typing import Literal

Solve = Callable[[Sequence[Mark]], Plan]

INSIDE_NM = 0.005
"""Lines are crossed so far inside their ends: nine metres, and no more than a tenth of them."""

GATE_OFF_NM = 0.01
"""Marks of a gate are rounded so far off, and no more than a quarter of its width."""

SHARES = (0.25, 0.5, 0.75)
"""Between its ends a line is tried at these shares of its length."""

SWEEPS = 3

WORTH_S = 1.0
"""An end that gains less than this is not favoured."""

_END = re.compile(r"^(?P<line>.*\S)\s*\((?P<hand>port|starboard) end\)$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class _Choice:
    """One way to pass a line."""

    mark: Mark
    end: Side | None
    """The end that it passes; None between them."""


def named(mark: Mark) -> Mark:
    """Read from a mark's name which end of which line it is, unless it says so itself.

    Examples
    --------
    >>> named(Mark(name="Start (port end)", lat=57.0, lon=11.0)).line_end
    'port'
    """
    found = _END.match(mark.name)
    if mark.line is not None or found is None:
        return mark
    hand = found["hand"].casefold()
    return replace(mark, line=found["line"], line_end="port" if hand == "port" else "starboard")


def any_in(marks: Sequence[Mark]) -> bool:
    """Tell whether any mark is an end of a line."""
    return any(named(mark).line is not None for mark in marks)


def fastest(marks: Sequence[Mark], solve: Solve, afresh: Solve | None = None) -> Plan:
    """Plan a course, each of its lines passed where the whole passage is fastest.

    Parameters
    ----------
    marks : sequence of Mark
        The ends of a line stand one after the other.
    solve : callable
        Plans a passage over marks.
    afresh : callable, optional
        Does so without what earlier trials taught: asked once, where all is chosen.

    Raises
    ------
    InputError
        If an end stands alone, or a line has one hand twice.
    NoPlanError
        If no choice can be sailed.
    """
    course = _paired(marks)
    lines = {at: each for at, each in enumerate(course) if isinstance(each, Line)}
    task = _Task(course, {at: _choices(course, at) for at in lines}, solve, {})
    chosen = {at: _in_the_middle(task.choices[at]) for at in lines}
    best = task.tried(chosen)
    for _ in range(SWEEPS):
        before = dict(chosen)
        for at in lines:
            for number in range(len(task.choices[at])):
                trial = {**chosen, at: number}
                plan = None if trial == chosen else task.tried(trial)
                if plan is not None and (best is None or plan.elapsed_h < best.elapsed_h - 1e-9):
                    best, chosen = plan, trial
        if chosen == before:
            break
    if best is None:
        raise NoPlanError("the lines of this course can't be passed: no boards lead over them")
    told = tuple(_told(task, chosen, at) for at in lines)
    again = None if afresh is None else task._replace(solve=afresh, known={}).tried(chosen)
    if again is not None and again.elapsed_h < best.elapsed_h * (1.0 + WORSE_SHARE):
        best = again
    told = tuple(replace(line, bias_deg=_bias_deg(line, best)) for line in told)
    said = tuple(
        _words(line, task.choices[at][chosen[at]]) for at, line in zip(lines, told, strict=True)
    )
    return replace(best, lines=told, notices=(*best.notices, *said))


def _in_the_middle(choices: Sequence[_Choice]) -> int:
    return min(len(choices) // 2, len(choices) - 1)


class _Task(NamedTuple):
    """A course, how its lines may be passed, what plans it, and what was planned already."""

    course: Sequence[Mark | Line]
    choices: dict[int, list[_Choice]]
    solve: Solve
    known: dict[tuple[int, ...], Plan | None]

    def tried(self, chosen: dict[int, int]) -> Plan | None:
        """Plan the course with these choices; None if that can't be sailed."""
        key = tuple(chosen[at] for at in self.choices)
        if key not in self.known:
            self.known[key] = self._planned(chosen)
        return self.known[key]

    def _planned(self, chosen: dict[int, int]) -> Plan | None:
        marks = [
            self.choices[at][chosen[at]].mark if isinstance(each, Line) else each
            for at, each in enumerate(self.course)
        ]
        try:
            return self.solve(marks)
        except NoPlanError:
            return None


def _paired(marks: Sequence[Mark]) -> list[Mark | Line]:
    course: list[Mark | Line] = []
    waiting = [named(mark) for mark in marks]
    while waiting:
        one = waiting.pop(0)
        if one.line is None:
            course.append(one)
            continue
        other = waiting.pop(0) if waiting and waiting[0].line == one.line else None
        if other is None or other.line_end == one.line_end:
            raise InputError(
                f"{one.name} has no other end beside it: a line takes two marks one after the "
                f"other, such as {one.line} (port end) and {one.line} (starboard end)"
            )
        ends = {one.line_end: one, other.line_end: other}
        kind: Literal["start", "finish", "gate"] = "gate" if waiting else "finish"
        kind = kind if course else "start"
        course.append(
            Line(name=one.line, kind=kind, port=ends["port"], starboard=ends["starboard"])
        )
    return course


def _choices(course: Sequence[Mark | Line], at: int) -> list[_Choice]:
    line = course[at]
    assert isinstance(line, Line)
    if line.kind == "gate" and _turns_back(course, at):
        return [_rounded(line, "port"), _rounded(line, "starboard")]
    width = _width_nm(line)
    inside = min(INSIDE_NM, 0.1 * width) / width
    ends: tuple[Side | None, ...] = ("port", *(None,) * len(SHARES), "starboard")
    return [
        _Choice(_between(line, share), end)
        for share, end in zip((inside, *SHARES, 1.0 - inside), ends, strict=True)
    ]


def _turns_back(course: Sequence[Mark | Line], at: int) -> bool:
    before, here, after = (_middle(course[number]) for number in (at - 1, at, at + 1))
    into = geodesy.loxodrome_inverse(before.lat, before.lon, here.lat, here.lon).bearing_deg
    out = geodesy.loxodrome_inverse(here.lat, here.lon, after.lat, after.lon).bearing_deg
    return abs(float(geodesy.wrap_180(out - into))) > 180.0 - TURNS_BACK_DEG + 45.0


def _middle(each: Mark | Line) -> Mark:
    return each if isinstance(each, Mark) else _between(each, 0.5)


def _width_nm(line: Line) -> float:
    ends = (line.port.lat, line.port.lon, line.starboard.lat, line.starboard.lon)
    width = float(geodesy.geodesic_inverse(*ends).distance_nm)
    if width <= 0.0:
        raise InputError(f"both ends of {line.name} lie in the same place")
    return width


def _between(line: Line, share: float) -> Mark:
    """Return a place on a line, from its port end on."""
    way = geodesy.geodesic_inverse(
        line.port.lat, line.port.lon, line.starboard.lat, line.starboard.lon
    )
    bearing, miles = float(way.initial_bearing_deg), share * float(way.distance_nm)
    place = geodesy.geodesic_direct(line.port.lat, line.port.lon, bearing, miles)
    return Mark(name=line.name, lat=float(place.lat), lon=float(place.lon))


def _rounded(line: Line, end: Side) -> _Choice:
    mark = line.port if end == "port" else line.starboard
    off = mark.leave_distance_nm or min(GATE_OFF_NM, 0.25 * _width_nm(line))
    return _Choice(
        replace(
            mark, name=line.name, leave=end, leave_distance_nm=off, rounding=True,
            line=None, line_end=None,
        ),
        end,
    )  # fmt: skip


def _told(task: _Task, chosen: dict[int, int], at: int) -> Line:
    """Say what an end gains on the other, all else as chosen."""
    line = task.course[at]
    assert isinstance(line, Line)
    by_end = {}
    for number, choice in enumerate(task.choices[at]):
        if choice.end is not None:
            plan = task.tried({**chosen, at: number})
            by_end[choice.end] = np.inf if plan is None else plan.elapsed_h
    gain_s = (by_end["starboard"] - by_end["port"]) * 3600.0
    favoured: Side | None = None
    if abs(gain_s) > WORTH_S:
        favoured = "port" if gain_s > 0.0 else "starboard"
    gain = abs(float(gain_s)) if np.isfinite(gain_s) else None
    return replace(line, favoured=favoured, gain_s=gain)


def _bias_deg(line: Line, plan: Plan) -> float | None:
    """By how much a line lies off square to the wind; None for a gate."""
    if line.kind == "gate":
        return None
    board = plan.legs[0].boards[0] if line.kind == "start" else plan.legs[-1].boards[-1]
    if board.twd_deg is None:
        return None
    way = geodesy.geodesic_inverse(
        line.port.lat, line.port.lon, line.starboard.lat, line.starboard.lon
    )
    off = (
        float(geodesy.wrap_180(2.0 * (float(way.initial_bearing_deg) - board.twd_deg - 90.0))) / 2.0
    )
    return abs(off)


def _words(line: Line, choice: _Choice) -> str:
    where = "between its ends" if choice.end is None else f"at the {choice.end} end"
    do = {"start": f"{line.name}: start {where}", "finish": f"{line.name}: finish {where}"}
    if line.kind == "gate" and choice.mark.leave is not None:
        said = f"{line.name}: round the {choice.end} mark, to {choice.end}"
    else:
        said = do.get(line.kind, f"{line.name}: pass {where}")
    if line.favoured is None:
        return f"{said}; neither end is favoured."
    degrees = "" if line.bias_deg is None else f"{line.bias_deg:.0f}° off square to the wind, "
    gain = "the other can't be passed" if line.gain_s is None else f"{line.gain_s:.0f} s"
    return f"{said}; the {line.favoured} end is favoured: {degrees}{gain}."
