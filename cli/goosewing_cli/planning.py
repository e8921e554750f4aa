"""Planning for a command: progress on a terminal, and the way out of a forecast too short."""

from __future__ import annotations

import os
import sys
from contextlib import contextmanager
from dataclasses import replace
from time import monotonic
from typing import TYPE_CHECKING, Any

from goosewing_cli import inputs

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from goosewing.case import Case
    from goosewing.options import Options
    from goosewing.records import Mark, Plan
    from goosewing.weather.base import Weather

    Progress = Callable[[str, float], None]

WIPE_REST = "\x1b[K"
"""Clears a terminal's line from the cursor on (ECMA-48, EL)."""

NARROWEST = 80

AGAIN = 0.4
"""Where much of what a plan takes is kept, another of the same waters takes such a share of it; in
another process it would all be worked out once more."""

SECONDS_A_LINE = 10.0
"""Where stderr is no terminal, progress is a line every so many seconds. [s]"""


def plan_options(
    *,
    first: inputs.First | None,
    start_tack: inputs.TackName | None,
    behind: Mark | None,
    **others: Any,
) -> Options:
    """Return what is asked of a plan, from the options of a command.

    Parameters
    ----------
    first, start_tack, **others
        As the fields of `goosewing.options.Options`.
    behind : Mark or None
        Where the leg that she is on begins.

    Raises
    ------
    InputError
        As `goosewing.options.Options`.
    """
    from goosewing.options import Options

    return Options(
        first=None if first is None else first.value,
        start_tack=None if start_tack is None else start_tack.value,
        corridor_from=None if behind is None else (behind.lat, behind.lon),
        **others,
    )


def compass_headings(variation: str | None, deviation: Path | None) -> Callable[[Plan], Plan]:
    """Read variation and deviation card first, to fail before any planning; then fill them in.

    Raises
    ------
    InputError
        If one is wrong, or a card comes without a variation.
    """
    from goosewing.errors import InputError

    if variation is None:
        if deviation is not None:
            raise InputError("--deviation needs --variation DEG or --variation model as well")
        return lambda made: made
    from goosewing.compass.card import read_card
    from goosewing.compass.headings import with_variation

    given = inputs.load_variation(variation)
    card = None if deviation is None else read_card(deviation)
    return lambda made: with_variation(made, given, card)


def make(case: Case) -> Plan:
    """Plan as `goosewing.plan.of_case` does, and show the progress of a long search.

    Raises
    ------
    OutsideForecastError
        If the forecast doesn't cover the passage; names the option that may help.
    """
    from goosewing import plan
    from goosewing.errors import OutsideForecastError

    try:
        with shown() as told:
            return plan.of_case(case, told)
    except OutsideForecastError as error:
        if not error.ends_too_soon:
            raise
        raise OutsideForecastError(f"{error}: use a longer forecast, or --hold-last") from None


def look_further(
    case: Case,
    made: Plan,
    *,
    took_s: float,
    looked_at: str | None = None,
    land: bool = False,
    alternatives: bool = True,
    what_if: bool = False,
) -> Plan:
    """Add to a plan what it meets on its way, what else would do, and what it hangs on.

    Parameters
    ----------
    case : Case
        What it was made from.
    made : Plan
    took_s : float
        How long it took to make: what takes long is shared among processes. [s]
    looked_at : str, optional
        What it was kept clear of, in words.
    land : bool
        Whether that is more than single waypoints.
    alternatives, what_if : bool
        What is asked for.
    """
    from goosewing.foresight import alternatives as instead
    from goosewing.foresight import on_the_way

    def ask(of: Plan, asked: Sequence[instead.Question]) -> Sequence[instead.Answer]:
        ways = [(of, each) for each in asked]
        each_s = took_s / len(of.legs)
        if case.kept is not None and case.kept.found:
            each_s *= AGAIN
        return _shared(case, "alternatives", instead.held_answer, ways, each_s)

    if alternatives:
        made = instead.fastest(case, made, ask)
    if what_if:
        from goosewing.foresight import what_if as changes

        made = replace(made, late=changes.late(made, case.boat, case.weather))
        parts = changes.parts(made)
        found = _shared(case, "what if", changes.held_part, parts, took_s)
        made = changes.with_parts(made, found)
    return on_the_way.look_ahead(made, case.weather, looked_at=looked_at, land=land)


def check_members(weather: Weather, wind: str | None) -> None:
    """Refuse, before any planning, what holds no members, or unlike ones.

    Parameters
    ----------
    weather : Weather
    wind : str or None
        What it was read from, to be named.

    Raises
    ------
    InputError
        If so.
    """
    from goosewing.errors import InputError
    from goosewing.weather.members import members_of

    try:
        members_of(weather)
    except InputError as error:
        raise InputError(f"{error} (--prefer)", where=wind) from None


def member_case(case: Case, made: Plan) -> Case:
    """Return the case with the wind that a plan is told for: a member's, if it was chosen so."""
    if made.ensemble is None:
        return case
    from goosewing.foresight.ensembles import case_of
    from goosewing.weather.members import numbers_of

    return case_of(case, numbers_of(case.weather).index(made.ensemble.chosen))


def over_members(
    case: Case, made: Plan, prefer: inputs.PreferName, *, took_s: float
) -> tuple[Plan, Case]:
    """Plan for every member too, and return the plan that suits them best with its own case.

    Parameters
    ----------
    case : Case
        Its weather an ensemble.
    made : Plan
        The control's.
    prefer : PreferName
    took_s : float
        How long that took. [s]
    """
    from goosewing.foresight import ensembles
    from goosewing.weather.members import members_of

    # The control's own plan is there already.
    parts = [(number,) for number in range(1, len(members_of(case.weather)))]
    found = _shared(case, "members", ensembles.held_member, parts, took_s)
    chosen = ensembles.chosen(case, [ensembles.Planned(made, None), *found], prefer.value)
    return chosen.plan, replace(case, weather=chosen.weather)


def _shared(
    case: Case,
    name: str,
    work: Callable[..., tuple[Any, ...]],
    parts: Sequence[tuple[Any, ...]],
    each_s: float,
) -> tuple[Any, ...]:
    """Do parts of the work on as many processes as are worth it."""
    from goosewing.departures import compare
    from goosewing_cli.pool import side_by_side, workers_for

    with counted(name, len(parts)) as told:
        workers = workers_for(len(parts), each_s * len(parts))
        if workers > 1:
            return side_by_side(case, work, parts, workers, told, and_here=True)
        compare.hold(case)
        found: list[Any] = []
        for done, part in enumerate(parts, 1):
            found += work(*part)
            told(done)
        return tuple(found)


def with_band(made: Plan, case: Case) -> Plan:
    """Add the arrival's band as `goosewing.plan.with_band` does, and show its progress."""
    from goosewing import plan

    with shown() as told:
        return plan.with_band(made, case, told)


@contextmanager
def shown() -> Iterator[Progress | None]:
    """Hand out what tells the progress on stderr.

    On a terminal one line, written over and wiped in the end; in a file or a pipe a
    line of its own now and then. Nothing appears before the first word, so that a plan
    which takes no time is silent.
    """
    line = Line() if sys.stderr.isatty() else Log()
    try:
        yield line.told
    finally:
        line.wipe()


@contextmanager
def counted(what: str, total: int) -> Iterator[Callable[[int], None]]:
    """Hand out what tells on stderr how many are done; now and then where it is no terminal."""
    line = Line() if sys.stderr.isatty() else Log()
    line.say(f"{what}: none of {total} looked at yet")
    try:
        yield lambda done: line.say(f"{what}: {done} of {total} looked at")
    finally:
        line.wipe()


class Line:
    """The line of progress; plain writes, which an interrupt may end anywhere without harm."""

    def __init__(self) -> None:
        self._words = ""
        self._least: dict[str, float] = {}

    def told(self, mark: str, left_nm: float) -> None:
        """Say how far it still is to a mark."""
        # The front of the search wavers; what is shown only goes down.
        least = self._least[mark] = min(left_nm, self._least.get(mark, left_nm))
        self.say(_words(mark, least))

    def say(self, words: str) -> None:
        """Write over what stands there."""
        words = words[: columns() - 1]
        if words != self._words:
            self._words = words
            print(f"\r{words}{WIPE_REST}", end="", file=sys.stderr, flush=True)

    def wipe(self) -> None:
        """Leave the line empty."""
        if self._words:
            print(f"\r{WIPE_REST}", end="", file=sys.stderr, flush=True)


class Log(Line):
    """Progress where nothing can be written over: a line every ten seconds, none before."""

    def __init__(self) -> None:
        super().__init__()
        self._next = monotonic() + SECONDS_A_LINE

    def say(self, words: str) -> None:
        """Write a line if it is time for one and there is something new to say."""
        now = monotonic()
        if now >= self._next and words != self._words:
            self._words, self._next = words, now + SECONDS_A_LINE
            print(words, file=sys.stderr, flush=True)

    def wipe(self) -> None:
        """Leave what was written."""


def columns() -> int:
    """Return how wide the terminal on stderr is, or a usual width."""
    try:
        return os.get_terminal_size(sys.stderr.fileno()).columns or NARROWEST
    except (OSError, ValueError):
        return NARROWEST


def _words(mark: str, left_nm: float) -> str:
    from goosewing.files.disk import shown as printable

    if round(left_nm) > 0:
        return f"{printable(mark)}: {left_nm:.0f} nm still to search"
    return f"{printable(mark)}: making the boards exact"
