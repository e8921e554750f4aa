"""What `import goosewing` offers that takes more than one room to do."""

from __future__ import annotations

from typing import TYPE_CHECKING

from goosewing.plan import changes, make, usable_marks

if TYPE_CHECKING:
    import os
    from collections.abc import Callable, Iterable, Sequence
    from concurrent.futures import Executor
    from datetime import datetime

    from goosewing.boat.model import Boat
    from goosewing.hazards.areas import Hazards
    from goosewing.hazards.chart import Chart
    from goosewing.options import Options
    from goosewing.records import Departure, LaylineSheet, Mark, Plan
    from goosewing.velocities.targets import Targets
    from goosewing.weather.base import Weather


def read_hazards(
    *paths: str | os.PathLike[str],
    coast: bool = False,
    clearance_nm: float = 0.0,
    safe_depth_m: float | None = None,
) -> Chart:
    """Read what a passage keeps clear of: hazard files, the built-in coast, or both.

    Parameters
    ----------
    *paths : path
        GeoJSON, GPX, shapefiles, GeoPackages, S-57 cells.
    coast : bool
        Whether the built-in coast counts too; it is coarse and not for navigation.
    clearance_nm : float
        How far to keep off. [nm]
    safe_depth_m : float, optional
        For S-57 cells: less charted depth than this is a shoal. [m]

    Returns
    -------
    Chart
        Its ``notices`` say what the navigator should know.

    Raises
    ------
    InputError
        If a file is wrong, a number makes no sense, or nothing is named.
    """
    from pathlib import Path

    from goosewing.errors import InputError
    from goosewing.hazards.chart import read_chart

    chart = read_chart(
        [Path(path) for path in paths],
        safe_depth_m=safe_depth_m,
        coast=coast,
        clearance_nm=clearance_nm,
    )
    if chart is None:
        raise InputError("nothing to keep clear of: name a hazard file, or the coast")
    return chart


def make_plan(
    marks: Sequence[Mark],
    boat: Boat,
    weather: Weather,
    departure: datetime,
    options: Options | None = None,
    *,
    hazards: Chart | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> Plan:
    """Plan the passage over all marks, in steady or changing wind.

    Parameters
    ----------
    marks : sequence of Mark
        In the order in which to reach them; the first is where she starts.
    boat : Boat
    weather : Weather
        Wind and stream over the ground.
    departure : datetime
        Aware.
    options : Options, optional
    hazards : Chart, optional
        As `read_hazards` gives it.
    progress : callable, optional
        In changing wind, told the mark searched for and the miles that remain to it.

    Raises
    ------
    InputError
        If marks, departure or options make no sense.
    NoPlanError
        If a mark can't be made, with the reason.
    """
    notices = () if hazards is None else hazards.notices
    around = _around(marks, hazards)
    return make(
        marks, boat, weather, departure, options,
        notices=notices, progress=progress, hazards=around,
    )  # fmt: skip


def draw_laylines(
    marks: Sequence[Mark],
    boat: Boat,
    weather: Weather,
    departure: datetime,
    *,
    length_nm: float | None = None,
    hazards: Chart | None = None,
) -> LaylineSheet:
    """Draw the laylines of every mark but the first.

    In changing wind the passage is planned first, and each line is drawn back from the mark
    from the time she is there.

    Parameters
    ----------
    marks, boat, weather, departure, hazards
        As `make_plan`.
    length_nm : float, optional
        Of each line; the leg's own length if None. [nm]

    Raises
    ------
    InputError, NoPlanError
        As `make_plan`.
    """
    kept, dropped = usable_marks(marks)
    around = _around(kept, hazards)
    if changes(weather):
        from goosewing.laylines import changing

        plan = make(kept, boat, weather, departure, notices=dropped, hazards=around)
        return changing.sheet(
            plan, boat, weather, length_nm=length_nm, notices=dropped, hazards=around
        )
    from goosewing.laylines import steady
    from goosewing.steady import solver

    held = solver.sailable(boat, solver.steady_airs(boat, weather))
    return steady.sheet(held, kept, length_nm=length_nm, notices=dropped, hazards=around)


def find_targets(boat: Boat, wind_speeds_kn: Sequence[float]) -> Targets:
    """Work out what to steer by, up and down the wind, for several true wind speeds.

    Parameters
    ----------
    boat : Boat
    wind_speeds_kn : sequence of float
        True wind, at the height to which the polar refers. [kn]

    Raises
    ------
    InputError
        If a wind speed is no positive number.
    """
    from goosewing.velocities.targets import targets

    return targets(boat, wind_speeds_kn)


def compare_departures(
    marks: Sequence[Mark],
    boat: Boat,
    weather: Weather,
    departures: Iterable[datetime],
    options: Options | None = None,
    *,
    hazards: Chart | None = None,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[Departure, ...]:
    """Plan the passage for every time of departure, the best first.

    Parameters
    ----------
    marks, boat, weather, options, hazards
        As `make_plan`.
    departures : iterable of datetime
        Aware.
    executor : Executor, optional
        Any of `concurrent.futures`; departures are then planned side by side.
    progress : callable, optional
        Told how many are done, and of how many.

    Returns
    -------
    tuple of Departure
        Those that can't be made stand last, each with its reason.

    Raises
    ------
    InputError
        As `make_plan`: what is wrong with one departure is wrong with all.
    """
    from goosewing.departures.compare import departures as compare

    notices = () if hazards is None else hazards.notices
    return compare(
        marks, boat, weather, tuple(departures), options,
        hazards=_around(marks, hazards), notices=notices, executor=executor, progress=progress,
    )  # fmt: skip


def _around(marks: Sequence[Mark], hazards: Chart | None) -> Hazards | None:
    return None if hazards is None else hazards.around(usable_marks(marks)[0])
