"""What displays are shown after a look: the panel's document, and the polar's if it changed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from goosewing.live.core import health
from goosewing.live.core.damping import turned_deg
from goosewing.live.panel import document

if TYPE_CHECKING:
    from goosewing.live.panel.document import Document
    from goosewing.live.watchkeeper import Watchkeeper
    from goosewing.velocities.velocity_set import VelocitySet

BEARING_DRAWN_DEG = 1.0
"""The polar of the moment is told anew when the bearing of the mark has moved by more. [°]"""


class Display:
    """Knows which polar was drawn last, and counts them."""

    def __init__(self) -> None:
        self._drawn: tuple[VelocitySet | None, float | None, int | None] = (None, None, None)
        self._polars = 0

    def look(self, keeper: Watchkeeper) -> tuple[Document, Document | None]:
        """Return the panel of this moment, and the polar if it is another than before."""
        polar = self._polar(keeper)
        number = None if self._drawn[0] is None else self._polars
        return document.panel(keeper.state, keeper.desk, keeper.events, number), polar

    def _polar(self, keeper: Watchkeeper) -> Document | None:
        state, desk = keeper.state, keeper.desk
        held, bearing = state.held, document.bearing_deg(state, desk)
        if held is None or health.wind_fault(state, desk) is not None:
            self._drawn = (None, None, None)
            return None
        following = None if state.route is None else state.route.next
        before, pointed, led = self._drawn
        if held is before and following == led and not _swung(pointed, bearing):
            return None
        # Shapely, which the hull needs, is loaded when it is first drawn.
        from goosewing.velocities.polar_view import polar_view

        self._drawn = (held, bearing, following)
        self._polars += 1
        return document.polar(polar_view(held, bearing), self._polars, state, desk)


def _swung(before_deg: float | None, now_deg: float | None) -> bool:
    if before_deg is None or now_deg is None:
        return before_deg is not now_deg
    return abs(turned_deg(now_deg, before_deg)) > BEARING_DRAWN_DEG
