"""What it takes to get from one tack and sail set to another, and what that costs.

A turn is a *tack* if the two true wind angles, from the bow, sum to less than
180°, and a *gybe* otherwise. A poled sail set is struck before a turn and set
after it; unpoled sets are exchanged after the turn, when she is settled on the
new side. Where a gybe costs much more than a tack she rounds up, tacks and bears away
instead. Before the engine is used a pole is struck; handing and setting sails for it
costs nothing, and under engine she turns as she likes. Common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from goosewing.boat.model import ENGINE_NAME
from goosewing.units import SECONDS_PER_HOUR, Array

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.boat.model import Boat, Manoeuvres
    from goosewing.records import ManoeuvreKind, Tack


ROUNDING_UP_S = 40.0
"""So much longer a gybe must take before a crew tacks round instead: from a broad reach to a
broad reach she then turns through some 240° more, at about 6° a second. Common practice, no
source. The tack itself is charged as the boat file says: changes of angle cost nothing."""


@dataclass(frozen=True, slots=True)
class Mode:
    """A tack with a sail set: what is kept along a board."""

    tack: Tack
    sail_set: int
    """Index into the boat's sail sets."""
    name: str
    poled: bool
    engine: bool = False
    """Under engine: no sail set at all; the tack means nothing then."""

    @property
    def side(self) -> int:
        """Sign of heading − true wind direction: +1 on port tack, −1 on starboard."""
        return 1 if self.tack == "port" else -1


def all_modes(boat: Boat) -> tuple[Mode, ...]:
    """Every tack of every sail set, port before starboard, in the boat file's order."""
    tacks: tuple[Tack, Tack] = ("port", "starboard")
    return tuple(
        Mode(tack, index, sails.name, sails.poled)
        for index, sails in enumerate(boat.sail_sets)
        for tack in tacks
    )


def engine_mode(boat: Boat) -> Mode:
    """Under engine; headings count clockwise from the wind, as on port tack, all the way round."""
    return Mode("port", len(boat.sail_sets), ENGINE_NAME, poled=False, engine=True)


def steps(before: Mode, after: Mode, *, tacking: bool) -> tuple[ManoeuvreKind, ...]:
    """Name the manoeuvres from one mode to another, in the order in which they are done.

    Parameters
    ----------
    before, after : Mode
        The two modes; equal ones need nothing.
    tacking : bool
        Whether a change of side goes through the wind's eye (the two true
        wind angles sum to less than 180°).
    """
    if before.engine or after.engine:
        return _about_the_engine(before, after)
    turns = before.tack != after.tack
    changes = before.sail_set != after.sail_set
    if not turns and not changes:
        return ()
    done: list[ManoeuvreKind] = []
    if before.poled:
        done.append("strike_pole")
    if turns:
        done.append("tack" if tacking else "gybe")
    if after.poled:
        done.append("set_pole")
    elif changes and not before.poled:
        done.append("change_sails")
    return tuple(done)


def is_tacked(boat: Boat, sum_of_twa_deg: float) -> bool:
    """Whether a change of side goes through the wind's eye.

    Parameters
    ----------
    boat : Boat
    sum_of_twa_deg : float
        True wind angles before and after it, from the bow, together. [°]
    """
    return sum_of_twa_deg < 180.0 or tacks_round(boat)


def tacks_round(boat: Boat) -> bool:
    """Whether she tacks where others gybe, because a gybe costs her so much more."""
    costs = boat.manoeuvres
    return costs.tack_s + ROUNDING_UP_S < costs.gybe_s


def _about_the_engine(before: Mode, after: Mode) -> tuple[ManoeuvreKind, ...]:
    if before.poled:
        return ("strike_pole",)
    return ("set_pole",) if after.poled else ()


def step_cost_s(boat: Boat, kind: ManoeuvreKind) -> float:
    """Return the seconds that one manoeuvre loses on this boat, in seconds."""
    return _step_s(boat.manoeuvres, kind)


def _step_s(costs: Manoeuvres, kind: ManoeuvreKind) -> float:
    seconds: float = getattr(costs, f"{kind}_s")
    return seconds


def cost_table_h(boat: Boat, modes: Sequence[Mode]) -> Array:
    """Tabulate the cost from every mode to every mode.

    Returns
    -------
    ndarray, shape (2, M, M)
        ``[0]`` where the two true wind angles sum to 180° or more (a gybe, as a
        rule), ``[1]`` where to less; rows the mode before, columns the mode after. [h]
    """
    return _cost_table_h(boat.manoeuvres, tuple(modes), tacks_round(boat))


@lru_cache(maxsize=16)
def _cost_table_h(costs: Manoeuvres, modes: tuple[Mode, ...], round_by_tacking: bool) -> Array:
    """Tabulate once: every leg of a passage asks for the same table, which nobody may write to."""
    table = np.zeros((2, len(modes), len(modes)))
    for tacking in (0, 1):
        for i, before in enumerate(modes):
            for j, after in enumerate(modes):
                kinds = steps(before, after, tacking=bool(tacking) or round_by_tacking)
                table[tacking, i, j] = sum(_step_s(costs, kind) for kind in kinds)
    table /= SECONDS_PER_HOUR
    table.flags.writeable = False
    return table
