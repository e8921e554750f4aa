"""What a panel is made from, and what of it holds now."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from goosewing.live.core import health, sensing

if TYPE_CHECKING:
    from goosewing.live.core.state import Desk, State


class Look(NamedTuple):
    """What a panel is made from."""

    state: State
    desk: Desk

    @property
    def advises(self) -> bool:
        """Whether what the advice says holds now."""
        return health.status(self.state)[0] == "advising"

    @property
    def place_known(self) -> bool:
        """Whether the position is good now."""
        return health.position_fault(self.state, self.desk) is None

    @property
    def wind_known(self) -> bool:
        """Whether the wind is good now."""
        return health.wind_fault(self.state, self.desk) is None

    def magnetic_deg(self, true_deg: float | None) -> float | None:
        """Return a direction by magnetic north; None without a variation. [°]."""
        variation = sensing.variation_deg(self.state, self.desk)
        if true_deg is None or variation is None:
            return None
        # In plain floats: asked a dozen times a look, where an array's way would be a tenth of it.
        return (true_deg - variation) % 360.0 % 360.0
