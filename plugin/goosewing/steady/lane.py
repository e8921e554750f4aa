"""A corridor among hazards: in their plane, in which it is straight."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from goosewing.earth.corridor import Corridor
    from goosewing.hazards.areas import Hazards
    from goosewing.units import Array, BoolArray


class Lane(NamedTuple):
    """A corridor in the plane of hazards, as it is for one who starts in it or beside it."""

    line: Array
    """As `Hazards.in_plane` gives it. [°]"""
    half_deg: float
    start: Array
    """Where she starts, shape (2,): from outside she may come in. [°]"""

    @classmethod
    def of(cls, hazards: Hazards, corridor: Corridor, leg: Array) -> Lane:
        """Lay a corridor into the plane for a leg that starts in it or beside it."""
        own = corridor.course
        line = hazards.in_plane(own.lat1, own.lon1, own.lat2, own.lon2)
        return cls(line, corridor.narrowest_deg, leg[:2])

    def holds(self, points: Array) -> BoolArray:
        """Tell which places, shape (..., 2), lie within it, or no farther out than the start.

        Among hazards who starts outside may need a shore there to turn at.
        """
        aside, start = self._aside(points), self._aside(self.start)
        room = np.maximum(self.half_deg, np.copysign(1.0, aside) * start)
        return np.asarray(np.abs(aside) <= room * (1.0 + 1e-9))

    def _aside(self, points: Array) -> Array:
        along = self.line[2:] - self.line[:2]
        off = points - self.line[:2]
        return np.asarray((off[..., 0] * along[1] - off[..., 1] * along[0]) / np.hypot(*along))
