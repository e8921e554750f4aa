"""What was planned a moment ago, for a passage that differs from it by little.

A mark that is left on a hand is passed at a place that the boards beside it tell, and a line
where the whole passage is fastest: the same passage is planned a dozen times with marks a
little aside. Which tack and sail set follow which is searched for once; after that the
boards found are only brought to their new ends, which is exact, and as quick as it is
without a search. Whoever asks for such trials plans once more afresh in the end, lest the
boards that were best a little aside are not the best here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from goosewing.earth import geodesy

if TYPE_CHECKING:
    from goosewing.changing.settling import Boards, Stage
    from goosewing.earth.course import Course

MOVED_SHARE = 0.1
"""Boards are brought to ends that moved by no more than this share of the leg's length."""

LATER_H = 1.0
"""And begin earlier or later by no more than this. [h]"""

MOST_KEPT = 8


class Settled(NamedTuple):
    """One leg as it was planned."""

    stage: Stage
    boards: Boards
    departure_h: float = 0.0
    """When the passage began. [h]"""


@dataclass(slots=True, eq=False)
class Recall:
    """The last passages planned, leg by leg."""

    passages: list[Sequence[Settled]] = field(default_factory=list)

    def keep(self, legs: Sequence[Settled]) -> None:
        """Remember a passage; the oldest are forgotten."""
        self.passages = [*self.passages[1 - MOST_KEPT :], legs]

    def near(self, courses: Sequence[Course], start_h: float) -> list[Settled | None]:
        """Return for each course the latest leg over all but the same one; None for none."""
        legs = [leg for passage in reversed(self.passages) for leg in passage]
        soon = [leg for leg in legs if abs(leg.departure_h - start_h) <= LATER_H]
        return [
            next((leg for leg in soon if _is_near(leg.stage.course, course)), None)
            for course in courses
        ]


def _is_near(one: Course, other: Course) -> bool:
    lat1, lon1, lat2, lon2 = one.lat1, one.lon1, one.lat2, one.lon2
    moved = geodesy.geodesic_inverse(
        (lat1, lat2), (lon1, lon2), (other.lat1, other.lat2), (other.lon1, other.lon2)
    )
    return bool(moved.distance_nm.max() <= MOVED_SHARE * other.distance_nm)
