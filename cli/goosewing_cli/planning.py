"""Planning for a command: progress on a terminal, and the way out of a forecast too short."""

from __future__ import annotations

import sys
from contextlib import ExitStack, contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from datetime import datetime

    from rich.status import Status

    from goosewing.boat.model import Boat
    from goosewing.plan import Options
    from goosewing.records import Mark, Plan
    from goosewing.weather.base import Weather

    Progress = Callable[[str, float], None]


def make(
    marks: Sequence[Mark],
    boat: Boat,
    weather: Weather,
    departure: datetime,
    options: Options | None = None,
    *,
    notices: Sequence[str] = (),
) -> Plan:
    """Plan as `goosewing.plan.make` does, and show the progress of a long search.

    Raises
    ------
    OutsideForecastError
        If the forecast doesn't cover the passage; names the option that may help.
    """
    from goosewing import plan
    from goosewing.errors import OutsideForecastError

    try:
        with shown() as told:
            return plan.make(
                marks, boat, weather, departure, options, notices=notices, progress=told
            )
    except OutsideForecastError as error:
        if not error.ends_too_soon:
            raise
        raise OutsideForecastError(f"{error}: use a longer forecast, or --hold-last") from None


@contextmanager
def shown() -> Iterator[Progress | None]:
    """Hand out what tells the progress on stderr, where that is a terminal; else None.

    Nothing appears before the first word, so that a plan which takes no time is silent.
    """
    # Rich may be told to take anything for a terminal; a log file still is none.
    if not sys.stderr.isatty():
        yield None
        return
    with ExitStack() as stack:
        line: list[Status] = []

        def told(mark: str, left_nm: float) -> None:
            if not line:
                line.append(stack.enter_context(_status()))
            line[0].update(f"{_plain(mark)}: {left_nm:.0f} nm to search")

        yield told


def _status() -> Status:
    from rich.console import Console

    return Console(stderr=True).status("")


def _plain(text: str) -> str:
    from rich.markup import escape

    return escape(text)
