"""Small drawings as numbers: where the lines of a graph or of a polar run, for a template to write.

Nothing is decided here but places on paper: every value is a plan's, or of the velocity set
that its boards were chosen from.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.velocities.polar_view import polar_view
from goosewing.velocities.velocity_set import airs_over_water, velocity_set
from goosewing.weather.base import hours_from_datetime
from goosewing.words.figures import clock, three_figures
from goosewing.words.on_the_way import weather_words

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from goosewing.boat.model import Boat
    from goosewing.records import Board, Leg, Plan, WindAndStream
    from goosewing.units import Array

WIDTH, HEIGHT = 640.0, 150.0
"""Of the graph against time, in its own units; words and axes lie within."""

LEFT, RIGHT, TOP, BOTTOM = 34.0, 22.0, 30.0, 18.0
"""To the right as well half an axis's time stands beyond the last line."""

ROOM = 34.0
"""So far apart the times of an axis stand."""

RADIUS = 100.0
"""Of a polar, in its own units."""

MOST_POLARS = 6


class Tick(NamedTuple):
    """A mark of an axis."""

    at: float
    words: str


class Arrow(NamedTuple):
    """An arrow over the graph, pointing where wind or stream go."""

    x: float
    turn_deg: float
    kn: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeGraph:
    """Wind, gusts and stream against time; each line as the points of an SVG polyline."""

    wind: str
    gust: str
    stream: str
    times: tuple[Tick, ...]
    knots: tuple[Tick, ...]
    winds: tuple[Arrow, ...]
    streams: tuple[Arrow, ...]


def time_graph(plan: Plan) -> TimeGraph | None:
    """Lay out wind, gusts and stream along the way; None where they were not looked up."""
    if len(plan.hours) < 2:
        return None
    time = np.array([hours_from_datetime(hour.time) for hour in plan.hours])
    met = [hour.weather for hour in plan.hours]
    wind = np.array([each.wind_kn for each in met])
    gust = np.array([np.nan if each.gust_kn is None else each.gust_kn for each in met])
    drift = np.array([each.drift_kn for each in met])
    top = 5.0 * np.ceil(max(float(np.nanmax(np.concatenate((wind, gust, drift)))), 4.0) / 5.0)
    x = LEFT + (time - time[0]) / (time[-1] - time[0]) * (WIDTH - LEFT - RIGHT)
    step = max(1, -(-len(time) // 12))
    picked = range(0, len(time), step)
    return TimeGraph(
        wind=_polyline(x, _height(wind, top)),
        gust=_polyline(x, _height(gust, top)),
        stream=_polyline(x, _height(drift, top)) if np.any(drift > 0.0) else "",
        times=tuple(
            Tick(float(x[at]), clock(plan.hours[at].time))
            for at in picked
            if at in (0, len(x) - 1) or min(x[at] - x[0], x[-1] - x[at]) > ROOM
        ),
        knots=tuple(
            Tick(float(_height(np.array(kn), top)), f"{kn:.0f}")
            for kn in np.arange(0.0, top + 1.0, 5.0 if top <= 30.0 else 10.0)
        ),
        winds=tuple(Arrow(float(x[at]), met[at].wind_from_deg + 180.0, wind[at]) for at in picked),
        streams=tuple(
            Arrow(float(x[at]), deg, drift[at])
            for at in picked
            if (deg := met[at].set_deg) is not None
        ),
    )


def _height(kn: Array, top_kn: float) -> Array:
    return np.asarray(HEIGHT - BOTTOM - kn / top_kn * (HEIGHT - BOTTOM - TOP))


def _polyline(x: Array, y: Array) -> str:
    known = np.isfinite(y)
    return " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x[known], y[known], strict=True))


# ---- polars ------------------------------------------------------------------------------------


class PolarCurve(NamedTuple):
    """One tack and sail set."""

    tack: str
    poled: bool
    points: str


class Held(NamedTuple):
    """A board on the polar: course and speed over the ground."""

    number: int
    x: float
    y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Polar:
    """What she can hold over the ground, and which of it the boards hold."""

    numbers: tuple[int, ...]
    mark: str
    wind: str
    bearing_deg: float
    ray: tuple[float, float]
    curves: tuple[PolarCurve, ...]
    hull: str
    held: tuple[Held, ...]
    rings: tuple[Tick, ...]
    wind_turn_deg: float


def polars(plan: Plan, boat: Boat) -> list[Polar]:
    """Draw up the polar of every board; boards of one leg in the same wind share one.

    No more than `MOST_POLARS`; none for a board under engine.
    """
    found: list[Polar] = []
    for leg, numbers, boards in _alike(plan):
        if len(found) == MOST_POLARS:
            break
        found.append(_polar(boat, leg, numbers, boards))
    return found


def _alike(plan: Plan) -> Iterator[tuple[Leg, tuple[int, ...], list[Board]]]:
    numbered = [
        (number, leg, board)
        for number, (leg, board) in enumerate(
            ((leg, board) for leg in plan.legs for board in leg.boards), 1
        )
        if not board.engine and board.weather is not None
    ]
    for _, group in groupby(numbered, lambda each: (id(each[1]), _rounded(each[2].weather))):
        some = list(group)
        yield some[0][1], tuple(each[0] for each in some), [each[2] for each in some]


def _rounded(here: WindAndStream | None) -> tuple[int, ...]:
    if here is None:  # pragma: no cover - left out above
        return ()
    return (
        round(here.wind_from_deg), round(here.wind_kn), round(here.set_deg or 0.0),
        round(10.0 * here.drift_kn),
    )  # fmt: skip


def _polar(boat: Boat, leg: Leg, numbers: tuple[int, ...], boards: Sequence[Board]) -> Polar:
    here = boards[0].weather
    assert here is not None
    held = velocity_set(boat, airs_over_water(boat, *_components(here)))
    line = boards[0].from_mark
    bearing = 0.0 if line is None else (line.bearing_deg + 180.0) % 360.0
    view = polar_view(held, bearing)
    speeds = [np.hypot(curve.east_kn, curve.north_kn).max() for curve in view.curves]
    most = max([1.0, *speeds, *(board.speed_over_ground_kn for board in boards)])
    scale = RADIUS / most
    angle = np.radians(bearing)
    return Polar(
        numbers=numbers,
        mark=leg.destination,
        wind=", ".join(weather_words(here)),
        bearing_deg=bearing,
        ray=(float(RADIUS * np.sin(angle)), float(-RADIUS * np.cos(angle))),
        curves=tuple(
            PolarCurve(
                curve.tack, curve.poled, _polyline(scale * curve.east_kn, -scale * curve.north_kn)
            )
            for curve in view.curves
        ),
        hull=_polyline(scale * view.hull[:, 0], -scale * view.hull[:, 1]),
        held=tuple(
            _held(number, board, scale) for number, board in zip(numbers, boards, strict=True)
        ),
        rings=tuple(Tick(kn * scale, f"{kn:g}") for kn in np.arange(2.0, most + 0.01, 2.0)),
        wind_turn_deg=here.wind_from_deg + 180.0,
    )


def _components(here: WindAndStream) -> tuple[float, float, float, float, float]:
    blows, sets = np.radians(here.wind_from_deg + 180.0), np.radians(here.set_deg or 0.0)
    return (
        float(here.wind_kn * np.sin(blows)), float(here.wind_kn * np.cos(blows)),
        float(here.drift_kn * np.sin(sets)), float(here.drift_kn * np.cos(sets)),
        float("nan") if here.gust_kn is None else here.gust_kn,
    )  # fmt: skip


def _held(number: int, board: Board, scale: float) -> Held:
    course = np.radians(board.course_over_ground_deg)
    speed = scale * board.speed_over_ground_kn
    return Held(number, float(speed * np.sin(course)), float(-speed * np.cos(course)))


def polar_words(polar: Polar) -> str:
    """Say of which boards a polar is, and in which wind."""
    of = "Board" if len(polar.numbers) == 1 else "Boards"
    numbers = ", ".join(str(number) for number in polar.numbers)
    bearing = three_figures(polar.bearing_deg)
    return f"{of} {numbers}: {polar.wind}; {polar.mark} bears {bearing}"
