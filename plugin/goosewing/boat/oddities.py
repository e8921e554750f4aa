"""What looks odd about a boat's tables and figures: said cell by cell, never refused.

`goosewing.boat.doubts` has the one line a plan carries; this is the whole list, for
whoever wants to put the boat file right. The bounds are common practice, no source,
where none is named.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from goosewing.boat.doubts import NEXT_ANGLE_DEG, TIMES_ITS_NEIGHBOURS, leaps, outruns

if TYPE_CHECKING:
    from collections.abc import Iterator

    from goosewing.boat.model import Boat, PolarTable, SailSet
    from goosewing.units import Array, BoolArray

DENT = 0.88
"""A speed below this share of what its neighbours in angle let expect is a dent."""

SLOWER_IN_MORE_WIND = 0.9
"""A speed below this share of that in the next lesser wind is odd, but close-hauled."""

CLOSE_HAULED_DEG = 60.0
"""Nearer the wind than this she may well be slower in more of it: reefs and sea. [°]"""

LARGEST_HEEL_DEG = 35.0
"""A displacement yacht is reefed long before this. [°]"""

HEEL_DENT_DEG = 6.0
"""Heel so far below that in both neighbouring winds is a slip. [°]"""

USUAL_LEEWAY = (5.0, 20.0)
"""Coefficients met with: 9 to 16 as taught, 8.1 by Garrett (1987, second-hand), deep fins less."""

USUAL_PERFORMANCE = (0.8, 1.1)
USUAL_TURN_S = (5.0, 180.0)
FORWARDMOST_POLE_DEG = 120.0
"""Forward of this a poled headsail can't be set on the other side from the main. [°]"""

Which = Literal["polar", "heel"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Oddity:
    """One thing to look at again.

    Attributes
    ----------
    what : str
        In words, without the place.
    sail_set : str or None
        Whose; None if it is the boat's.
    table : "polar", "heel" or None
        Which of its tables.
    twa_deg, tws_kn : float or None
        The cell's row [°] and column [kn].
    """

    what: str
    sail_set: str | None = None
    table: Which | None = None
    twa_deg: float | None = None
    tws_kn: float | None = None


def oddities(boat: Boat) -> tuple[Oddity, ...]:
    """List what looks odd about a boat, cells first.

    Parameters
    ----------
    boat : Boat

    Returns
    -------
    tuple of Oddity
        Empty if nothing does.
    """
    found = [odd for sails in boat.sail_sets for odd in _of_tables(sails)]
    found += [odd for sails in boat.sail_sets for odd in _of_limits(sails)]
    return (*found, *_of_figures(boat))


def _of_tables(sails: SailSet) -> Iterator[Oddity]:
    polar = sails.polar
    # What stands in winds in which she doesn't carry them is never read.
    carried = polar.tws_kn <= sails.tws_kn[1]
    leap, outrun = leaps(polar) & carried, outruns(polar) & carried
    yield from _cells(
        sails, "polar", leap, "{value:g} kn is over " + f"{TIMES_ITS_NEIGHBOURS:g} times what "
        "stands beside it",
    )  # fmt: skip
    yield from _cells(
        sails, "polar", outrun & ~leap,
        "{value:g} kn makes more good along the wind than the wind blows",
    )  # fmt: skip
    still = _still(sails)
    yield from _cells(
        sails, "polar", still, "{value:g} kn is no way at all: these sails are no use here"
    )
    beside = _spread(leap) | still
    yield from _cells(
        sails, "polar", _dents(polar) & carried & ~beside,
        "{value:g} kn is a dent: the angles beside it are much faster",
    )  # fmt: skip
    yield from _cells(
        sails, "polar", _slower(polar) & carried & ~beside,
        "{value:g} kn is far less than in the next lesser wind",
    )  # fmt: skip
    if sails.heel is not None:
        yield from _of_heel(sails, sails.heel)


def _still(sails: SailSet) -> BoolArray:
    """Tell cells of no speed at angles and in winds in which the sails may be carried.

    Rows nearer the wind than any that she sails in some wind are zero by rights.
    """
    polar = sails.polar
    sailed = (polar.values > 0.0).any(axis=1)
    rows = np.logical_or.accumulate(sailed) if sailed.any() else ~sailed
    rows &= (polar.twa_deg >= sails.twa_deg[0]) & (polar.twa_deg <= sails.twa_deg[1])
    winds = (polar.tws_kn >= sails.tws_kn[0]) & (polar.tws_kn <= sails.tws_kn[1])
    winds &= polar.tws_kn > 0.0
    return np.asarray((polar.values <= 0.0) & rows[:, np.newaxis] & winds)


def _of_heel(sails: SailSet, heel: PolarTable) -> Iterator[Oddity]:
    far = heel.values > LARGEST_HEEL_DEG
    yield from _cells(
        sails, "heel", far, "{value:g}° of heel is more than a yacht of displacement is sailed at"
    )
    yield from _cells(
        sails, "heel", _heel_dents(heel.values) & ~_spread(far),
        "{value:g}° of heel is far less than in the winds beside it",
    )  # fmt: skip


def _cells(sails: SailSet, which: Which, odd: BoolArray, words: str) -> Iterator[Oddity]:
    table = sails.polar if which == "polar" or sails.heel is None else sails.heel
    for row, column in np.argwhere(odd):
        yield Oddity(
            what=words.format(value=table.values[row, column]),
            sail_set=sails.name,
            table=which,
            twa_deg=float(table.twa_deg[row]),
            tws_kn=float(table.tws_kn[column]),
        )


def _spread(odd: BoolArray) -> BoolArray:
    """Add the eight cells around each: what stands beside a slip only looks odd by it."""
    padded = np.pad(odd, 1)
    rows, columns = odd.shape
    shifted = [padded[r : r + rows, c : c + columns] for r in range(3) for c in range(3)]
    return np.asarray(np.logical_or.reduce(shifted), dtype=np.bool_)


def _dents(table: PolarTable) -> BoolArray:
    """Tell cells well below the straight line between their two neighbours in angle."""
    twa, speed = table.twa_deg, table.values
    dent = np.zeros(speed.shape, dtype=bool)
    if twa.size < 3:
        return dent
    share = ((twa[1:-1] - twa[:-2]) / (twa[2:] - twa[:-2]))[:, np.newaxis]
    line = speed[:-2] + share * (speed[2:] - speed[:-2])
    near = (np.diff(twa)[:-1] <= NEXT_ANGLE_DEG) & (np.diff(twa)[1:] <= NEXT_ANGLE_DEG)
    # Beside an angle that can't be sailed, one that hardly can is no dent.
    sailed = near[:, np.newaxis] & (speed[:-2] > 0.0)
    dent[1:-1] = sailed & (speed[1:-1] < DENT * line)
    return dent


def _slower(table: PolarTable) -> BoolArray:
    slower = np.zeros(table.values.shape, dtype=bool)
    slower[:, 1:] = table.values[:, 1:] < SLOWER_IN_MORE_WIND * table.values[:, :-1]
    return slower & (table.twa_deg >= CLOSE_HAULED_DEG)[:, np.newaxis]


def _heel_dents(heel: Array) -> BoolArray:
    dent = np.zeros(heel.shape, dtype=bool)
    if heel.shape[1] > 2:
        dent[:, 1:-1] = heel[:, 1:-1] < np.minimum(heel[:, :-2], heel[:, 2:]) - HEEL_DENT_DEG
    return dent


def _of_limits(sails: SailSet) -> Iterator[Oddity]:
    polar = sails.polar
    if sails.heel is None and max(sails.twa_deg[0], polar.first_twa_deg) < CLOSE_HAULED_DEG:
        yield Oddity(what="has no heel table, so no leeway close-hauled", sail_set=sails.name)
    if np.isfinite(sails.tws_kn[1]) and sails.tws_kn[1] > polar.last_tws_kn:
        yield Oddity(
            what=f"is carried to {sails.tws_kn[1]:g} kn, but its table ends at "
            f"{polar.last_tws_kn:g} kn: above it she has no speed",
            sail_set=sails.name,
        )
    forward = max(sails.twa_deg[0], polar.first_twa_deg)
    if sails.poled and forward < FORWARDMOST_POLE_DEG:
        yield Oddity(
            what=f"is poled and carried from {forward:g}°: a pole can't be held so far forward",
            sail_set=sails.name,
        )
    made_good = polar.values * np.cos(np.radians(polar.twa_deg))[:, np.newaxis]
    if polar.twa_deg.size > 2 and polar.first_twa_deg < 90.0:
        first = (np.argmax(made_good, axis=0) == 0) & (made_good[0] > 0.0)
        if first.any() and sails.twa_deg[0] < polar.first_twa_deg < CLOSE_HAULED_DEG:
            yield Oddity(
                what=f"is best upwind at its table's first row, {polar.first_twa_deg:g}°: "
                "add rows nearer the wind",
                sail_set=sails.name,
                table="polar",
                twa_deg=polar.first_twa_deg,
                tws_kn=float(polar.tws_kn[int(np.argmax(first))]),
            )


def _of_figures(boat: Boat) -> Iterator[Oddity]:
    k = boat.leeway.coefficient
    if not USUAL_LEEWAY[0] <= k <= USUAL_LEEWAY[1]:
        yield Oddity(what=_unusual("leeway coefficient", k, USUAL_LEEWAY))
    for name in ("upwind", "reach", "run"):
        factor = getattr(boat.performance, name)
        if not USUAL_PERFORMANCE[0] <= factor <= USUAL_PERFORMANCE[1]:
            yield Oddity(what=_unusual(f"performance {name}", factor, USUAL_PERFORMANCE))
    for name in ("tack_s", "gybe_s"):
        cost = getattr(boat.manoeuvres, name)
        if not USUAL_TURN_S[0] <= cost <= USUAL_TURN_S[1]:
            yield Oddity(what=_unusual(f"manoeuvres {name}", cost, USUAL_TURN_S))


def _unusual(name: str, value: float, usual: tuple[float, float]) -> str:
    return f"{name} is {value:g}; usual are {usual[0]:g} to {usual[1]:g}"
