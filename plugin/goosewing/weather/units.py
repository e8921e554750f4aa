"""Speed units as forecast files spell them."""

from __future__ import annotations

from goosewing.errors import InputError
from goosewing.units import METRES_PER_NM, METRES_PER_SECOND_PER_KNOT, SECONDS_PER_HOUR

_KNOTS_PER_MS = 1.0 / METRES_PER_SECOND_PER_KNOT
_KNOTS_PER_KMH = 1000.0 / METRES_PER_NM
_METRES_PER_STATUTE_MILE = 1609.344  # exact, by definition

KNOTS_PER: dict[str, float] = {
    **dict.fromkeys(
        ("m s-1", "m s**-1", "m/s", "m s^-1", "ms-1", "meter second-1", "metre second-1",
         "meters per second", "metres per second", "meter/second", "m.s-1"),
        _KNOTS_PER_MS,
    ),
    **dict.fromkeys(("cm s-1", "cm s**-1", "cm/s"), _KNOTS_PER_MS / 100.0),
    **dict.fromkeys(("km h-1", "km/h", "km hr-1", "kmh", "km h**-1"), _KNOTS_PER_KMH),
    **dict.fromkeys(("knot", "knots", "kn", "kt", "kts", "international_knot"), 1.0),
    **dict.fromkeys(("mph", "mile/hour"),
                    _METRES_PER_STATUTE_MILE * SECONDS_PER_HOUR / METRES_PER_NM / 3600.0),
}  # fmt: skip
"""Knots in one of each unit. Spelt out, because a wrong guess here is a wrong wind."""


def knots_per(unit: str, what: str) -> float:
    """Knots in one `unit` of speed.

    Raises
    ------
    InputError
        If the unit is not one of `KNOTS_PER`, naming `what` has it.

    Examples
    --------
    >>> round(knots_per("m s-1", "the wind"), 6)
    1.943844
    """
    factor = KNOTS_PER.get(" ".join(unit.split()).lower())
    if factor is None:
        raise InputError(
            f"{what} is in {unit.strip() or 'no unit'!r}, expected m s-1, knots or km h-1"
        )
    return factor
