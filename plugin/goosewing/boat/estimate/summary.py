"""What an estimate comes to: its best angles in a few winds, and what to know about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from goosewing.boat.model import SailSet, leeway_angle

if TYPE_CHECKING:
    from collections.abc import Iterator

    from goosewing.boat.estimate.tables import Estimate
    from goosewing.boat.estimate.yacht import Guess
    from goosewing.boat.model import Boat
    from goosewing.units import Array

STEP_DEG = 0.25
BEAM_DEG = 90.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One angle in one wind, by the tables alone: flat water, good crew.

    Attributes
    ----------
    sail_set : str
    twa_deg : float
        From the bow. [°]
    boat_speed_kn, low_kn, high_kn : float
        And the band it lies in four times in five. [kn]
    vmg_kn : float
        Made good up (positive) or down (negative) the wind. [kn]
    heel_deg, leeway_deg : float
    """

    sail_set: str
    twa_deg: float
    boat_speed_kn: float
    low_kn: float
    high_kn: float
    vmg_kn: float
    heel_deg: float
    leeway_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WindPoints:
    """The best angle up the wind, a beam reach, the best angle down the wind."""

    tws_kn: float
    up: Point | None
    reach: Point | None
    down: Point | None


def summary(made: Estimate) -> tuple[WindPoints, ...]:
    """Sum up an estimate, a line for each wind of its tables.

    Parameters
    ----------
    made : Estimate

    Returns
    -------
    tuple of WindPoints
        None where nothing can be sailed.
    """
    boat = made.boat
    winds = boat.sail_sets[0].polar.tws_kn
    return tuple(_in_wind(boat, float(tws)) for tws in winds)


def _in_wind(boat: Boat, tws_kn: float) -> WindPoints:
    carried = [s for s in boat.sail_sets if s.tws_kn[0] <= tws_kn <= s.strongest_tws_kn]
    points = [_Row.of(boat, sails, tws_kn) for sails in carried]
    return WindPoints(
        tws_kn=tws_kn,
        up=_most(points, lambda row: row.made_good),
        reach=_most(points, lambda row: np.where(row.twa == BEAM_DEG, row.speed, 0.0)),
        down=_most(points, lambda row: -row.made_good),
    )


@dataclass(frozen=True, slots=True)
class _Row:
    """A sail set in one wind, over finely spaced angles of the bow."""

    sails: SailSet
    tws_kn: float
    twa: Array
    speed: Array
    heel: Array
    leeway: Array

    @classmethod
    def of(cls, boat: Boat, sails: SailSet, tws_kn: float) -> _Row:
        first, last = sails.polar.first_twa_deg, sails.polar.last_twa_deg
        twa = np.arange(first, last + STEP_DEG / 2, STEP_DEG)
        speed, heel = sails.speed_and_heel(twa, np.full(twa.shape, tws_kn))
        k = boat.leeway
        leeway = leeway_angle(heel, speed, k.coefficient, k.largest_deg)
        return cls(sails, tws_kn, twa, speed, heel, leeway)

    @property
    def made_good(self) -> Array:
        """Straight up the wind, negative down it, in knots."""
        return np.asarray(self.speed * np.cos(np.radians(self.twa + self.leeway)))

    def point(self, at: int) -> Point:
        band, twa = self.sails.band, self.twa[at]
        speed = float(self.speed[at])
        edges = (
            (speed, speed)
            if band is None
            else tuple(float(table.at(twa, self.tws_kn)) for table in (band.low, band.high))
        )
        return Point(
            sail_set=self.sails.name,
            twa_deg=float(twa),
            boat_speed_kn=speed,
            low_kn=edges[0],
            high_kn=edges[1],
            vmg_kn=float(self.made_good[at]),
            heel_deg=float(self.heel[at]),
            leeway_deg=float(self.leeway[at]),
        )


def _most(rows: list[_Row], worth: Worth) -> Point | None:
    """Return the point of all rows that is worth most, if any is worth something."""
    best, found = 0.0, None
    for row in rows:
        values = np.asarray(worth(row))
        at = int(np.argmax(values))
        if values[at] > best:
            best, found = float(values[at]), row.point(at)
    return found


# --- in words --------------------------------------------------------------------------------


def remarks(made: Estimate) -> tuple[str, ...]:
    """Tell what a reader of the boat file must know, a remark each."""
    return tuple(_remarks(made))


def _remarks(made: Estimate) -> Iterator[str]:
    yield (
        f"{made.boat.name}: estimated from measurements by balance of forces; nothing was "
        "measured under sail. Wind at 10 m, clean bottom, a good crew; [performance] takes 3 % off "
        "for a usual one (common practice, no source)."
    )
    yield (
        "The balance is for flat water; its angles are taken for the bow's, which makes her best "
        "angles and her way to windward those of a moderate sea. The band (confidence.csv) holds "
        "the truth four times in five."
    )
    yield (
        "Wing-and-wing is an estimate: there are no published coefficients of a poled jib. "
        "Manoeuvres are usual costs, not hers."
    )
    fit = made.leeway
    yield (
        f"Leeway coefficient {fit.coefficient:g} by her own balance close-hauled, four fifths of "
        f"{fit.cells} cells between {fit.low:g} and {fit.high:g}."
        if fit.cells
        else f"Leeway coefficient {fit.coefficient:g} as usual: she is nowhere driven enough."
    )
    if made.guesses:
        yield f"Not measured, guessed from her type: {guessed_words(made.guesses)}."
    for fault in made.outside:
        yield f"Beyond the tested hulls: {fault}; trust the figures less."
    if made.unsolved:
        yield f"No balance, 0 in the tables: {unsolved_words(made)}."


def guessed_words(guesses: tuple[Guess, ...]) -> str:
    """List what was guessed, with its value."""
    return ", ".join(
        f"{each.key} {each.value}" if isinstance(each.value, str)
        else f"{each.key} {each.value:.3g}"
        for each in guesses
    )  # fmt: skip


def unsolved_words(made: Estimate) -> str:
    """List the cells without a balance, by sail set and wind."""
    cells: dict[tuple[str, float], list[float]] = {}
    for name, twa, tws in made.unsolved:
        cells.setdefault((name, tws), []).append(twa)
    return "; ".join(
        f"{name} at {', '.join(f'{each:g}°' for each in angles)} in {tws:g} kn"
        for (name, tws), angles in cells.items()
    )


if TYPE_CHECKING:
    from collections.abc import Callable

    Worth = Callable[[_Row], Array]
