"""Goosewing: boards, laylines and wing-and-wing, from mark to mark.

A passage under sail is planned from four things: the marks, the boat, the weather and
the time of departure. Each has a reader here, and the plan has one maker and one writer:

>>> from datetime import UTC, datetime
>>> import goosewing
>>> marks = [
...     goosewing.Mark(name="Start", lat=56.705, lon=12.3),
...     goosewing.Mark(name="Anholt E", lat=56.72, lon=11.85),
... ]
>>> boat = goosewing.read_boat("sample_routes/brisvik/boat.toml")
>>> wind = goosewing.SteadyWeather(315, 10)
>>> plan = goosewing.make_plan(marks, boat, wind, datetime(2027, 6, 12, 5, tzinfo=UTC))
>>> [board.tack for leg in plan.legs for board in leg.boards]
['starboard', 'port']

Reading
    `read_boat`, `read_marks`, `read_weather`, `read_hazards`; a wind as it is heard is a
    `SteadyWeather`. `read_plan` reads a plan back from its JSON.
Planning
    `make_plan`, `draw_laylines`, `find_targets`, `compare_departures`; `Options` holds what
    the navigator asks beyond the fastest passage.
Writing
    `write_gpx`.
Records
    `Plan`, its `Leg`, `Board`, `Manoeuvre`, `Layline` and `Mark`; `LaylineSheet`, `Departure`.
    They are frozen, and every output is made from them alone.
Errors
    All are `GoosewingError`: `InputError` for what is wrong with a file or an option,
    `NoPlanError` where there is no way to sail there. Each says what, where, and what was
    expected, in one line.

Speeds are in knots, angles in degrees true, distances in nautical miles, durations in
hours, times aware. Positions are always ``lat, lon``. A plan is not for sole navigation:
see its ``cautions``.

What is named here is kept; everything else in the package may change without notice.
Importing it loads nothing heavy: each name is fetched when it is first used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from goosewing.boat.model import Boat as Boat
    from goosewing.boat.read import read_boat as read_boat
    from goosewing.errors import GoosewingError as GoosewingError
    from goosewing.errors import InputError as InputError
    from goosewing.errors import NoPlanError as NoPlanError
    from goosewing.exchange.document import read_plan as read_plan
    from goosewing.exchange.gpx.marks import read_marks as read_marks
    from goosewing.exchange.gpx.plans import write_plan as write_gpx
    from goosewing.front_door import compare_departures as compare_departures
    from goosewing.front_door import draw_laylines as draw_laylines
    from goosewing.front_door import find_targets as find_targets
    from goosewing.front_door import make_plan as make_plan
    from goosewing.front_door import read_hazards as read_hazards
    from goosewing.options import Options as Options
    from goosewing.records import Board as Board
    from goosewing.records import Departure as Departure
    from goosewing.records import Layline as Layline
    from goosewing.records import LaylineSheet as LaylineSheet
    from goosewing.records import Leg as Leg
    from goosewing.records import Manoeuvre as Manoeuvre
    from goosewing.records import Mark as Mark
    from goosewing.records import Plan as Plan
    from goosewing.weather.read import read_weather as read_weather
    from goosewing.weather.steady import SteadyWeather as SteadyWeather

__version__ = "0.1.0"

_HOMES = {
    "Boat": "boat.model",
    "read_boat": "boat.read",
    "GoosewingError": "errors",
    "InputError": "errors",
    "NoPlanError": "errors",
    "read_plan": "exchange.document",
    "read_marks": "exchange.gpx.marks",
    "write_gpx": "exchange.gpx.plans:write_plan",
    "compare_departures": "front_door",
    "draw_laylines": "front_door",
    "find_targets": "front_door",
    "make_plan": "front_door",
    "read_hazards": "front_door",
    "Options": "options",
    "Board": "records",
    "Departure": "records",
    "Layline": "records",
    "LaylineSheet": "records",
    "Leg": "records",
    "Manoeuvre": "records",
    "Mark": "records",
    "Plan": "records",
    "read_weather": "weather.read",
    "SteadyWeather": "weather.steady",
}
"""Where each public name lives; after a colon its name there, if that is another."""

__all__ = [
    "Board",
    "Boat",
    "Departure",
    "GoosewingError",
    "InputError",
    "Layline",
    "LaylineSheet",
    "Leg",
    "Manoeuvre",
    "Mark",
    "NoPlanError",
    "Options",
    "Plan",
    "SteadyWeather",
    "compare_departures",
    "draw_laylines",
    "find_targets",
    "make_plan",
    "read_boat",
    "read_hazards",
    "read_marks",
    "read_plan",
    "read_weather",
    "write_gpx",
]


def __getattr__(name: str) -> Any:
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    module, _, there = home.partition(":")
    found = getattr(import_module(f"{__name__}.{module}"), there or name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
