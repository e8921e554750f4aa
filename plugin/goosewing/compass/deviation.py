"""The deviation of a boat's compass, and headings by it.

East is positive throughout: ``magnetic = compass + deviation`` and ``true =
magnetic + variation``. A card is entered with the heading *by compass*, as it is
swung (common practice). Between its headings deviation is taken linearly; then
the way back, from magnetic to compass, is exact and needs no trial and error.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from goosewing.earth.angles import wrap_180, wrap_360
from goosewing.errors import InputError
from goosewing.units import Array

FEWEST_HEADINGS = 8
WIDEST_GAP_DEG = 45.0
LARGEST_DEVIATION_DEG = 30.0
"""A compass that is out by more wants its adjuster, not a card."""


class Fault(NamedTuple):
    """What is wrong with a card, and with which of its entries."""

    entry: int
    words: str


def card_fault(headings_deg: Sequence[float], deviations_deg: Sequence[float]) -> Fault | None:
    """Find the first thing that makes a card unfit for use; None if it is fit.

    Parameters
    ----------
    headings_deg : sequence of float, shape (n,)
        By compass, 0 to 360, in any order. [°]
    deviations_deg : sequence of float, shape (n,)
        East positive. [°]
    """
    return (
        _fault_of_an_entry(headings_deg, deviations_deg)
        or _fault_of_the_ends(headings_deg, deviations_deg)
        or _fault_of_the_round(headings_deg, deviations_deg)
    )


def _fault_of_an_entry(headings: Sequence[float], deviations: Sequence[float]) -> Fault | None:
    seen: set[float] = set()
    for at, (heading, deviation) in enumerate(zip(headings, deviations, strict=True)):
        if not 0.0 <= heading <= 360.0:
            return Fault(at, f"heading must be 0 to 360 degrees, got {heading:g}")
        if not abs(deviation) <= LARGEST_DEVIATION_DEG:
            largest = f"{LARGEST_DEVIATION_DEG:g} degrees"
            return Fault(at, f"deviation must be {largest} at most, got {deviation:g}")
        if heading in seen:
            return Fault(at, f"heading {heading:g} stands twice")
        seen.add(heading)
    return None


def _fault_of_the_ends(headings: Sequence[float], deviations: Sequence[float]) -> Fault | None:
    both = dict(zip(headings, deviations, strict=True))
    if 0.0 in both and 360.0 in both and both[0.0] != both[360.0]:
        words = (
            "the card doesn't close: 000 and 360 are one heading, "
            f"but have deviation {both[0.0]:g} and {both[360.0]:g}"
        )
        return Fault(list(headings).index(360.0), words)
    return None


def _fault_of_the_round(headings: Sequence[float], deviations: Sequence[float]) -> Fault | None:
    entries = _in_order(headings, deviations)
    if len(entries) < FEWEST_HEADINGS:
        last = max(len(headings) - 1, 0)
        return Fault(last, f"{FEWEST_HEADINGS} headings are needed, got {len(entries)}")
    following = [*entries[1:], (entries[0][0] + 360.0, entries[0][1])]
    for (heading, deviation), (later, next_deviation) in zip(entries, following, strict=True):
        at = next(i for i, each in enumerate(headings) if each % 360.0 == heading)
        span = f"from {heading:g} to {later % 360.0:g}"
        if later - heading > WIDEST_GAP_DEG:
            gap = f"{WIDEST_GAP_DEG:g} degrees"
            return Fault(at, f"no deviation {span}: gaps must be {gap} at most")
        if later - heading + next_deviation - deviation <= 0.0:
            return Fault(at, f"deviation falls {span} by as much as the heading rises")
    return None


def _in_order(headings: Sequence[float], deviations: Sequence[float]) -> list[tuple[float, float]]:
    """Return the entries by ascending heading in [0, 360), each once."""
    return sorted({h % 360.0: d for h, d in zip(headings, deviations, strict=True)}.items())


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviationCard:
    """Deviation by compass heading.

    Attributes
    ----------
    headings_deg : tuple of float
        By compass, 0 to 360, in any order; eight or more, no gap over 45°. [°]
    deviations_deg : tuple of float
        East positive, 30° at most. [°]

    Raises
    ------
    InputError
        If the card is unfit, with the entry at fault.

    Examples
    --------
    >>> card = DeviationCard(
    ...     headings_deg=(0, 45, 90, 135, 180, 225, 270, 315),
    ...     deviations_deg=(2, 4, 3, 1, -2, -4, -3, -1),
    ... )
    >>> print(card.deviation_at(67.5), card.compass_from_magnetic(93.0))
    3.5 90.0
    """

    headings_deg: tuple[float, ...]
    deviations_deg: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.headings_deg) != len(self.deviations_deg):
            raise InputError("a deviation card needs one deviation for each heading")
        fault = card_fault(self.headings_deg, self.deviations_deg)
        if fault:
            raise InputError(f"deviation card, entry {fault.entry + 1}: {fault.words}")

    def deviation_at(self, compass_deg: ArrayLike) -> Array:
        """Return the deviation on compass headings, east positive.

        Parameters
        ----------
        compass_deg : array_like, shape (...)
            Headings by compass, of any winding. [°]

        Returns
        -------
        ndarray, shape (...)
            [°]
        """
        headings, deviations = self._round()
        found: Array = np.interp(wrap_360(compass_deg), headings, deviations)
        return found

    def compass_from_magnetic(self, magnetic_deg: ArrayLike) -> Array:
        """Return headings by compass, in [0, 360), of magnetic headings.

        Parameters
        ----------
        magnetic_deg : array_like, shape (...)
            [°]

        Returns
        -------
        ndarray, shape (...)
            [°]

        Notes
        -----
        Magnetic heading over compass heading is a line of straight pieces that
        rises all the way round; so is its inverse, between the same corners.
        """
        headings, deviations = self._round()
        corners = headings + deviations
        inside = corners[0] + wrap_360(np.asarray(magnetic_deg, dtype=np.float64) - corners[0])
        return wrap_360(np.interp(inside, corners, headings))

    def _round(self) -> tuple[Array, Array]:
        """Return headings and deviations, going on past the north on either side."""
        entries = np.array(_in_order(self.headings_deg, self.deviations_deg))
        headings = np.concatenate([entries[-1:, 0] - 360.0, entries[:, 0], entries[:1, 0] + 360.0])
        return headings, np.concatenate([entries[-1:, 1], entries[:, 1], entries[:1, 1]])


def magnetic_from_true(true_deg: ArrayLike, variation_deg: ArrayLike) -> Array:
    """Return magnetic headings, in [0, 360); variation is east positive.

    Parameters
    ----------
    true_deg, variation_deg : array_like, shape (...)
        [°]

    Examples
    --------
    >>> print(magnetic_from_true(2.0, 5.0), magnetic_from_true(100.0, -10.0))
    357.0 110.0
    """
    return wrap_360(np.asarray(true_deg, dtype=np.float64) - np.asarray(variation_deg))


def east_or_west(angle_deg: float) -> str:
    """Write a variation or deviation as it is spoken.

    Examples
    --------
    >>> east_or_west(5.12), east_or_west(-3.0), east_or_west(-0.01)
    ('5.1°E', '3.0°W', '0.0°')
    """
    angle = round(float(wrap_180(angle_deg)), 1)
    if angle == 0.0:
        return "0.0°"
    return f"{abs(angle):.1f}°{'E' if angle > 0 else 'W'}"
