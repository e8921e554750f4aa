"""What the navigator asks of a plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from goosewing.errors import InputError
from goosewing.records import Tack

First = Literal["port", "starboard", "longer", "faster"]
"""Which of two boards comes first: the one on that tack, the longer, or whatever is faster."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What the navigator asks of a plan beyond the fastest.

    Attributes
    ----------
    first : "port", "starboard", "longer", "faster" or None
        Which board comes first; None: the longer where it costs next to nothing.
    margin_deg : float
        How far past the layline to turn. [°]
    corridor_nm : float or None
        Half the width of the channel either side of the rhumb line. [nm]
    corridor_from : (float, float) or None
        Where that line begins on the first leg, if she is on the leg already: latitude and
        longitude of the mark behind. None: where she starts. [°]
    start_with, start_tack : str or None
        The sails and tack she is under at the first mark; free if None.
    shortest_board_min : float or None
        Shortest board allowed in changing wind; 0 for no limit. [min]
    watch_h : float or None
        In changing wind, how often an order to the helm may change within a board; oftener
        only where the wind has moved 10°. None: every two hours, or, where
        `shortest_board_min` is 0, as often as it pays. [h]
    worth_min : float
        What a board or a change of sails must gain; on a leg of less than 100 times as
        long, a hundredth of the leg. [min]
    engine : bool
        Whether she may motor where sailing makes less good towards the mark than the boat
        file's engine is started for.
    source : str
        Whose wind and stream a plan in changing wind is made for, such as "Wind and
        stream by forecast.grib2"; the plan's `conditions` say it.
    """

    first: First | None = None
    margin_deg: float = 0.0
    corridor_nm: float | None = None
    corridor_from: tuple[float, float] | None = None
    start_with: str | None = None
    start_tack: Tack | None = None
    shortest_board_min: float | None = None
    watch_h: float | None = None
    worth_min: float = 1.0
    source: str = ""
    engine: bool = False

    def __post_init__(self) -> None:
        if not 0.0 <= self.margin_deg <= 45.0:
            raise InputError(f"the margin must be 0 to 45 degrees, got {self.margin_deg:g}")
        if self.corridor_nm is not None and not 0.0 < self.corridor_nm < 1000.0:
            raise InputError(
                f"the corridor must be wider than 0 and under 1000 nm, got {self.corridor_nm:g}"
            )
        shortest = self.shortest_board_min
        if shortest is not None and not 0.0 <= shortest <= 1440.0:
            raise InputError(f"the shortest board must be 0 to 1440 minutes, got {shortest:g}")
        if self.watch_h is not None and not 0.0 <= self.watch_h <= 48.0:
            raise InputError(f"a watch must be 0 to 48 hours, got {self.watch_h:g}")
        if not 0.0 <= self.worth_min <= 1440.0:
            raise InputError(f"a board must gain 0 to 1440 minutes, got {self.worth_min:g}")
