"""The sail card: targets, what to carry when, when to reef and when to pole out, on one page."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.errors import InputError
from goosewing.files.disk import write_atomically
from goosewing.report.pages import page
from goosewing.velocities.crossovers import (
    ANGLE_STEP_DEG,
    REEF_HEEL_DEG,
    REEF_LEEWAY_DEG,
    asks_for_a_reef,
    best_of,
    crossovers,
)
from goosewing.words.names import plain_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from goosewing.boat.model import Boat
    from goosewing.velocities.crossovers import Crossovers
    from goosewing.velocities.targets import Target, Targets, WindTargets

LEFT, TOP, WIDTH, ROW = 40.0, 8.0, 540.0, 16.0

PATTERNS = 6
"""So many hatchings there are; more sail sets take them again."""


class Cell(NamedTuple):
    """A run of angles under one sail set in one wind."""

    x: float
    y: float
    width: float
    pattern: int
    two: bool


class Row(NamedTuple):
    """One wind speed of the card."""

    kn: str
    up: tuple[str, ...]
    down: tuple[str, ...]
    carry: str
    pole: str
    reef: str


def check_ending(path: Path) -> None:
    """Refuse a card that isn't to be HTML.

    Raises
    ------
    InputError
        With the ending that is expected.
    """
    if path.suffix.lower() != ".html":
        raise InputError("a sail card must end in .html", where=str(path))


def write_card(
    path: Path, boat: Boat, winds_kn: Sequence[float], *, inputs: Iterable[Path] = ()
) -> None:
    """Write the sail card for these true wind speeds.

    Raises
    ------
    InputError
        If the ending is another, Jinja is missing, a wind makes no sense, or the file can't be
        written.
    """
    check_ending(path)
    write_atomically(path, format_card(boat, winds_kn), inputs=inputs)


def format_card(boat: Boat, winds_kn: Sequence[float], made: Targets | None = None) -> str:
    """Return the sail card as HTML, of the targets already made if there are; see `write_card`."""
    found = crossovers(boat, winds_kn, made=made)
    poled = {sails.name for sails in boat.sail_sets if sails.poled}
    return page(
        "card.html",
        title=f"{plain_name(boat.name)}: sail card",
        rows=[_row(wind, poled) for wind in found.targets.wind_speeds],
        cells=list(_cells(found)),
        winds=[(f"{kn:g}", _y(number, found)) for number, kn in enumerate(found.tws_kn)],
        angles=[(f"{deg}°", LEFT + WIDTH * deg / 180.0) for deg in range(0, 181, 20)],
        names=[
            (plain_name(name), number % PATTERNS) for number, name in enumerate(found.sail_sets)
        ],
        height=TOP + ROW * len(found.tws_kn),
        width=LEFT + WIDTH + 20.0,
        row=ROW,
        reef=f"{REEF_HEEL_DEG:.0f}° of heel or {REEF_LEEWAY_DEG:.0f}° of leeway",
        notices=found.targets.notices,
        cautions=found.targets.cautions,
    )


def _y(number: int, found: Crossovers) -> float:
    """Top of a wind's row; the lightest stands lowest."""
    return TOP + ROW * (len(found.tws_kn) - 1 - number)


def _cells(found: Crossovers) -> Iterator[Cell]:
    """Join neighbouring angles under the same sails."""
    per_deg = WIDTH / 180.0
    for number in range(len(found.tws_kn)):
        sails, two = found.fastest[number], found.sooner_by_two[number]
        changes = np.flatnonzero(np.diff(sails) | np.diff(two.astype(int))) + 1
        edges = [0, *changes.tolist(), len(sails)]
        for first, end in pairwise(edges):
            if sails[first] >= 0:
                yield Cell(
                    LEFT + per_deg * ANGLE_STEP_DEG * first,
                    _y(number, found),
                    per_deg * ANGLE_STEP_DEG * (end - first),
                    int(sails[first]) % PATTERNS,
                    bool(two[first]),
                )


def _row(wind: WindTargets, poled: set[str]) -> Row:
    up, down = best_of(wind.upwind), best_of(wind.downwind)
    reef = None if up is None else asks_for_a_reef(up)
    carried = [f"{plain_name(s.sail_set)} {_sector(s.twa_deg)}" for s in wind.carry]
    pole = [f"{plain_name(s.sail_set)} {_sector(s.twa_deg)}" for s in wind.carry
            if s.sail_set in poled]  # fmt: skip
    return Row(
        f"{wind.tws_kn:g}", _target(up), _target(down), ", ".join(carried) or "none",
        ", ".join(pole) or "no", "no" if reef is None else reef,
    )  # fmt: skip


def _sector(sector: tuple[float, float]) -> str:
    return f"{sector[0]:.0f}–{sector[1]:.0f}°"


def _target(best: Target | None) -> tuple[str, ...]:
    if best is None:
        return ("–",) * 6
    heel = "?" if best.heel_deg is None else f"{best.heel_deg:.0f}°/{best.leeway_deg:.0f}°"
    return (
        plain_name(best.sail_set),
        f"{best.twa_deg:.0f}° ({_sector(best.groove_twa_deg)})",
        f"{best.awa_deg:.0f}°",
        f"{best.boat_speed_kn:.1f}",
        f"{best.vmg_kn:.1f}",
        heel,
    )
