"""What happens at a point of a plan, in a sailor's words, for files that carry text."""

from __future__ import annotations

from datetime import UTC, timedelta
from typing import TYPE_CHECKING

from goosewing.words.figures import clock, heading_words, manoeuvre_words

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from goosewing.records import Board, Manoeuvre, ManoeuvreKind, Mark

_SWINGS_DEG = 1.0
"""A heading that changes less along a board is one heading to the helm. [°]"""

UNDER_ENGINE = "under engine"
"""Stands where the tack and the sails stand otherwise."""

BEYOND = "beyond the forecast"
"""Marks a board on which the last values of a forecast are held on."""


def time_words(time: datetime, since: datetime) -> str:
    """Write a time as ``0814Z``, to the nearest minute, with the date if that isn't `since`'s.

    Examples
    --------
    >>> from datetime import datetime, timedelta, UTC
    >>> start = datetime(2027, 6, 1, 22, tzinfo=UTC)
    >>> time_words(start, start), time_words(start + timedelta(hours=3), start)
    ('2200Z', '2027-06-02 0100Z')
    """
    day, first = (_nearest_minute(each).date() for each in (time, since))
    words = clock(time.astimezone(UTC))
    return words if day == first else f"{day.isoformat()} {words}"


def _nearest_minute(time: datetime) -> datetime:
    return time.astimezone(UTC) + timedelta(seconds=30)


def board_words(manoeuvres: Sequence[Manoeuvre], board: Board) -> str:
    """Tell what is done before a board, and how she then sails.

    Returns
    -------
    str
        As in "gybe onto starboard tack, set the pole for wing-and-wing, steer 048°".
    """
    kinds = [each.kind for each in manoeuvres]
    words = [manoeuvre_words(kinds, board.tack, board.sail_set)] if kinds else []
    if board.engine:
        words.append(UNDER_ENGINE)
    else:
        words += _sails_words(kinds, board)
    words.append(_steering_words(board))
    if board.beyond_forecast:
        words.append(BEYOND)
    return ", ".join(words)


def _sails_words(kinds: Sequence[ManoeuvreKind], board: Board) -> list[str]:
    """Tack and sails, as far as what is done before the board has not told them."""
    words = []
    if not {"tack", "gybe"} & set(kinds):
        words.append(f"on {board.tack} tack")
    if not {"set_pole", "change_sails"} & set(kinds):
        words.append(board.sail_set)
    return words


def _steering_words(board: Board) -> str:
    heading = heading_words(
        board.heading_deg, board.heading_magnetic_deg, board.heading_compass_deg
    )
    angle = angle_words(board)
    return f"steer {heading}" if angle is None else f"steer {heading} at first, {angle}"


def angle_words(board: Board) -> str | None:
    """Say which angle the helm keeps, where that makes the heading swing with the wind."""
    if board.steer == "angle" and _swings(board):
        return f"keep the true wind at {board.twa_deg:.0f}°"
    return None


def _swings(board: Board) -> bool:
    turns = (
        (each.heading_deg - board.heading_deg + 180.0) % 360.0 - 180.0 for each in board.points
    )
    return any(abs(turn) > _SWINGS_DEG for turn in turns)


def leaving_words(mark: Mark) -> str | None:
    """Tell on which hand, and how far off, a mark is left; None where it is passed through."""
    if mark.leave is None:
        return None
    off = f", {mark.leave_distance_nm:g} nm off" if mark.leave_distance_nm else ""
    return f"leave to {mark.leave}{off}"
