"""Charted depths that count with the tide of an hour, and what they leave to keep clear of."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from goosewing.hazards.areas import Hazards

if TYPE_CHECKING:
    from goosewing.hazards.read.tide import Tide
    from goosewing.units import Array, BoolArray

MOST_MADE = 24
"""So many sets of hazards are held for other departures: what was grown of one is costly."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TidalDepths:
    """A table of the tide over charted depths.

    Attributes
    ----------
    tide : Tide
    safe_depth_m : float
        She needs so much water. [m]
    """

    tide: Tide
    safe_depth_m: float
    _made: dict[tuple[int, bytes], Hazards] = field(default_factory=dict, repr=False)

    def charted_m(self, hazards: Hazards) -> Array:
        """Return the charted depths of areas, shape (n,); NaN where one always counts. [m]."""
        depths = [area.depth_m for area in hazards.areas]
        return np.array([np.nan if depth is None else depth for depth in depths], dtype=np.float64)

    def shut(self, charted_m: Array | float, height_m: Array | float) -> BoolArray:
        """Tell which charted depths have too little water at heights of the tide. [m]."""
        # What has no depth is no number, and is never deep enough.
        return np.asarray(~(charted_m + height_m >= self.safe_depth_m))

    def among(self, hazards: Hazards, counts: BoolArray) -> Hazards:
        """Return some of the areas alone; the last ones are held for the next that asks."""
        key = id(hazards), counts.tobytes()
        made = self._made.get(key)
        if made is None:
            if len(self._made) >= MOST_MADE:
                self._made.clear()
            areas = [area for area, kept in zip(hazards.areas, counts, strict=True) if kept]
            made = self._made[key] = Hazards.of(areas, hazards.clearance_nm)
        return made
