"""The boards of a plan, cut into stretches that are taken as straight."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.earth import geodesy
from goosewing.units import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from goosewing.records import Board, BoardPoint

MOST_PIECES = 12
"""In changing wind a board is sailed through another wind in so many pieces."""


class Piece(NamedTuple):
    """A stretch of a board that is taken as straight."""

    board: Board
    lat: float
    lon: float
    bearing_deg: float
    distance_nm: float
    planned_h: float
    pause_h: float


def cuts_of(board: Board, shortest_h: float = 0.0) -> list[BoardPoint]:
    """Return the points of a board between which it is taken as straight, some hours apart."""
    most = MOST_PIECES if shortest_h == 0.0 else int(board.elapsed_h / shortest_h) + 1
    count = min(len(board.points) - 1, MOST_PIECES, most)
    kept = np.unique(np.linspace(0, len(board.points) - 1, count + 1).round().astype(int))
    return [board.points[at] for at in kept]


def pause_h(board: Board) -> float:
    """Return what is done before a board takes. [h]."""
    return sum(each.cost_s for each in board.manoeuvres) / SECONDS_PER_HOUR


def pieces_of(board: Board, shortest_h: float = 0.0) -> list[Piece]:
    """Cut a board into stretches, some hours long, the pause before it with the first."""
    pause = pause_h(board)
    found: list[Piece] = []
    for a, b in pairwise(cuts_of(board, shortest_h)):
        line = geodesy.loxodrome_inverse(a.lat, a.lon, b.lat, b.lon)
        middle = geodesy.loxodrome_direct(a.lat, a.lon, line.bearing_deg, line.distance_nm / 2.0)
        hours = (b.time - a.time).total_seconds() / SECONDS_PER_HOUR
        found.append(
            Piece(
                board, float(middle.lat), float(middle.lon), float(line.bearing_deg),
                float(line.distance_nm), hours, 0.0 if found else pause,
            )
        )  # fmt: skip
    return [piece for piece in found if piece.distance_nm > 0.0]
