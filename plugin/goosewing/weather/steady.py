"""Wind and stream that change neither with time nor with place.

Winds are named by where they blow *from*, streams by where they set
*towards*; both degrees true, 0 to 360 inclusive. Components point towards
east and north.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from goosewing.errors import InputError
from goosewing.weather.base import Conditions, Coverage
from goosewing.weather.wind import components_from, components_to

LARGEST_WIND_KN = 150.0
"""More than any wind a yacht plans for: beyond it a unit went wrong. [kn]"""

LARGEST_DRIFT_KN = 30.0
"""More than any stream on earth runs: beyond it a unit went wrong. [kn]"""


@dataclass(frozen=True, slots=True)
class SteadyWeather:
    """The same ground wind and stream everywhere and always.

    Parameters
    ----------
    wind_from_deg : float
        Direction the ground wind blows *from*, true, 0 to 360 inclusive. [°]
    wind_kn : float
        Its speed, 0 to 150. [kn]
    set_deg : float, optional
        Direction the stream flows *towards*, true, 0 to 360 inclusive; None is
        allowed only where there is no drift. [°]
    drift_kn : float
        Speed of the stream, 0 to 30. [kn]
    gust_kn : float, optional
        Speed of the gusts, not below `wind_kn`; None: not known. [kn]

    Raises
    ------
    InputError
        If a value is outside its range, not finite, or a drift has no set.
    """

    wind_from_deg: float
    wind_kn: float
    set_deg: float | None = None
    drift_kn: float = 0.0
    gust_kn: float | None = None

    def __post_init__(self) -> None:
        check_between("wind_from_deg", self.wind_from_deg, 360.0, "degrees")
        check_between("wind_kn", self.wind_kn, LARGEST_WIND_KN, "knots")
        check_between("drift_kn", self.drift_kn, LARGEST_DRIFT_KN, "knots")
        if self.set_deg is not None:
            check_between("set_deg", self.set_deg, 360.0, "degrees")
        elif self.drift_kn > 0.0:
            raise InputError(f"a drift of {self.drift_kn:g} knots needs a set_deg")
        if self.gust_kn is not None:
            check_between("gust_kn", self.gust_kn, LARGEST_WIND_KN, "knots")
            if self.gust_kn < self.wind_kn:
                raise InputError(
                    f"gust_kn must not be below wind_kn ({self.wind_kn:g}), got {self.gust_kn:g}"
                )

    @property
    def coverage(self) -> Coverage:
        """Everywhere and always."""
        return Coverage()

    @property
    def holds(self) -> frozenset[str]:
        """Which of the fields of `Conditions` were given."""
        known = ["wind_east_kn", "wind_north_kn"]
        if self.gust_kn is not None:
            known.append("gust_kn")
        if self.set_deg is not None:
            known += ["stream_east_kn", "stream_north_kn"]
        return frozenset(known)

    @property
    def varies_in_time(self) -> bool:
        """Never."""
        return False

    @property
    def varies_in_place(self) -> bool:
        """Nowhere."""
        return False

    def at(self, time_h: ArrayLike, lat: ArrayLike, lon: ArrayLike) -> Conditions:
        """Ground wind and stream, broadcast over the three arguments (see `Weather.at`).

        A time or position that is NaN gives NaN, as in every other source.
        """
        shape = np.broadcast_shapes(np.shape(time_h), np.shape(lat), np.shape(lon))
        # Zero where all three are numbers, NaN where one is not.
        nought = np.zeros(shape) + 0.0 * (
            np.asarray(time_h, dtype=np.float64)
            + np.asarray(lat, dtype=np.float64)
            + np.asarray(lon, dtype=np.float64)
        )
        wind_east, wind_north = components_from(self.wind_from_deg, self.wind_kn)
        stream_east, stream_north = components_to(self.set_deg or 0.0, self.drift_kn)
        gust = math.nan if self.gust_kn is None else self.gust_kn
        return Conditions(
            wind_east + nought,
            wind_north + nought,
            gust + nought,
            stream_east + nought,
            stream_north + nought,
        )


def check_between(name: str, value: float, largest: float, unit: str) -> None:
    """Refuse a value that is not a number from 0 to `largest`.

    Raises
    ------
    InputError
        Naming the value, what it was and what was expected.
    """
    if not 0.0 <= value <= largest:  # NaN fails this too
        raise InputError(f"{name} must be 0 to {largest:g} {unit}, got {value:g}")


def parse_wind(text: str) -> tuple[float, float]:
    """Read a wind written as ``FROM/KNOTS``, such as ``240/12``.

    Returns
    -------
    wind_from_deg, wind_kn : float
        Direction it blows *from*, true [°], and its speed [kn].

    Raises
    ------
    InputError
        If the text is not two numbers with a slash between, or one is out of range.

    Examples
    --------
    >>> parse_wind("240/12")
    (240.0, 12.0)
    """
    return _parse_pair(text, "wind", "FROM/KNOTS, such as 240/12", LARGEST_WIND_KN)


def parse_current(text: str) -> tuple[float, float]:
    """Read a stream written as ``SET/KNOTS``, such as ``090/1.5``.

    Returns
    -------
    set_deg, drift_kn : float
        Direction it flows *towards*, true [°], and its speed [kn].

    Raises
    ------
    InputError
        If the text is not two numbers with a slash between, or one is out of range.

    Examples
    --------
    >>> parse_current("090/1.5")
    (90.0, 1.5)
    """
    return _parse_pair(text, "current", "SET/KNOTS, such as 090/1.5", LARGEST_DRIFT_KN)


def _parse_pair(text: str, what: str, form: str, largest_kn: float) -> tuple[float, float]:
    parts = text.split("/")
    try:
        direction, speed = (float(part) for part in parts)
    except ValueError:
        raise InputError(f"{what} must be written {form}, got {text!r}") from None
    for value, largest, unit in ((direction, 360.0, "degrees"), (speed, largest_kn, "knots")):
        if not 0.0 <= value <= largest:
            raise InputError(f"{what} {text!r}: {value:g} is not 0 to {largest:g} {unit}")
    return direction, speed
