"""A plan as a page shows it: the rows of its table and the words on its chart.

What is done, held and told is worded as everywhere else (`goosewing.words`); a page sets the
rows one below the other and words nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from goosewing.turns import stops
from goosewing.words.crew import begun_words
from goosewing.words.figures import (
    clock,
    heading_words,
    hours_and_minutes,
    position_words,
    seconds_words,
    three_figures,
)
from goosewing.words.points import (
    BEYOND,
    UNDER_ENGINE,
    angle_words,
    done_words,
    err_words,
    keep_words,
    leaving_words,
    new_day,
    steering,
    uncounted_words,
)
from goosewing.words.titles import arrival

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from goosewing.records import Board, Leg, Mark, Plan, PoleWork
    from goosewing.turns import Stop

Document = dict[str, Any]


def shown_plan(plan: Plan) -> Document:
    """Return the words a plan is shown in.

    Returns
    -------
    dict
        ``heads``: of the table's columns. ``legs``: each with a ``title``, ``rows`` and
        ``reasons``. A row is a ``turn`` (what is done, its place, and what is steered where
        only another order is given), a ``board``, by its number in the leg, or the ``mark``
        that is reached; one whose date is another than the row's before carries it.
        ``turns``: name and place of each turning point. ``boards``: by leg, what stands
        beside each on a chart. ``summary``: when she arrives.
    """
    dials = {len(_dials(board, 0)) for leg in plan.legs for board in leg.boards}
    steer = "Steer" if max(dials, default=1) > 1 else "Steer T"
    dates = _Dates(plan.departure)
    every = list(stops(plan))
    by_leg = [[stop for stop in every if stop.leg == at] for at in range(len(plan.legs))]
    ends = [next(stop for stop in every if stop.leg == at + 1) for at in range(len(plan.legs))]
    return {
        "heads": ["UTC", "Board", steer, "AWA", "kn", "nm", "Lasts"],
        "legs": [
            {
                "title": f"Leg {at + 1}  {leg.origin} to {leg.destination}",
                "rows": [
                    dates.dated(*row) for row in _rows(leg, found, plan.marks[at + 1], ends[at])
                ],
                "reasons": list(leg.reasons),
            }
            for at, (leg, found) in enumerate(zip(plan.legs, by_leg, strict=True))
        ],
        "turns": [
            {"name": stop.name, "lat": stop.lat, "lon": stop.lon}
            for stop in stops(plan) if stop.mark is None and stop.name is not None
        ],
        "boards": [[_on_chart(board) for board in leg.boards] for leg in plan.legs],
        "summary": arrival(plan),
    }  # fmt: skip


class _Dates:
    """Which date was told last."""

    def __init__(self, departure: datetime) -> None:
        self._told = departure

    def dated(self, time: datetime, row: Document) -> Document:
        """Give a row its time, and its date where that is new."""
        day = new_day(time, self._told)
        self._told = time
        return {**row, "time": clock(time), "date": None if day is None else day.isoformat()}


def _rows(
    leg: Leg, found: list[Stop], mark: Mark, reached: Stop
) -> Iterator[tuple[datetime, Document]]:
    for stop in found:
        board = stop.board
        if board is None or stop.time is None:
            continue
        if stop.at:
            yield from _beforehand(stop)
        if done_words(stop):
            yield stop.time, _turn(stop, board)
        if stop.order is None:
            assert board.start.time is not None
            yield board.start.time, _board(board, stop.at)
    if leg.boards:
        yield from _beforehand(reached)
        end = leg.boards[-1].end
        assert end.time is not None
        left = leaving_words(mark)
        words = f"{mark.name} reached" if left is None else f"{mark.name}: {left}"
        place = None if left is None else f"at {position_words(end.lat, end.lon)}"
        yield end.time, {"kind": "mark", "words": words, "at": place}


def _beforehand(stop: Stop) -> Iterator[tuple[datetime, Document]]:
    for begun in (stop.pole_down, stop.pole_ready):
        if begun is not None:
            yield begun.time, _begun(stop, begun)


def _turn(stop: Stop, board: Board) -> Document:
    cost_s = sum(each.cost_s for each in stop.manoeuvres)
    cost = f" ({seconds_words(cost_s)})" if stop.manoeuvres else ""
    held = steering(board, stop.nth)
    kept = held.keep_twa_deg if stop.order is not None else None
    return {
        "kind": "turn",
        "name": stop.point,
        "words": f"{', '.join(done_words(stop))}{cost}",
        "at": None if stop.mark is not None else f"at {position_words(stop.lat, stop.lon)}",
        "more": [
            *([] if kept is None else [keep_words(kept)]),
            *([] if stop.order is None or (err := err_words(held)) is None else [err]),
        ],
        "steer": _dials(board, stop.nth) if stop.order is not None else [],
    }


def _begun(stop: Stop, begun: PoleWork) -> Document:
    """Tell when the pole is begun to be handled, so that it is done at a stop."""
    headings = begun.heading_deg, begun.heading_magnetic_deg, begun.heading_compass_deg
    steps = begun_words(stop.crew, begun)
    told = uncounted_words(begun)
    return {
        "kind": "turn",
        "name": f"Before {stop.name or 'the turn'}",
        "words": f"{steps} ({seconds_words(begun.takes_s)})",
        "at": f"at {position_words(begun.lat, begun.lon)}",
        "more": [] if told is None else [told],
        "steer": heading_words(*headings).split(" "),
    }


def _board(board: Board, number: int) -> Document:
    beyond = BEYOND if board.beyond_forecast else None
    beside = angle_words(board), err_words(steering(board)), beyond
    return {
        "kind": "board",
        "number": number,
        "tack": board.tack,
        "poled": board.poled,
        "on": None if board.engine else f"{board.tack} tack",
        "sails": UNDER_ENGINE if board.engine else board.sail_set,
        "more": [words for words in beside if words is not None],
        "steer": _dials(board, 0),
        "figures": [
            f"{board.awa_deg:.0f}°",
            f"{board.boat_speed_kn:.1f}",
            f"{board.distance_nm:.1f}",
            hours_and_minutes(board.elapsed_h),
        ],
    }


def _dials(board: Board, nth: int) -> list[str]:
    """What is steered, by each dial that is known."""
    held = steering(board, nth)
    words = heading_words(held.heading_deg, held.heading_magnetic_deg, held.heading_compass_deg)
    return words.split(" ")


def _on_chart(board: Board) -> str:
    magnetic = board.heading_magnetic_deg
    steer = f"{three_figures(board.heading_deg)} T"
    if magnetic is not None:
        steer = f"{three_figures(magnetic)} M"
    if board.engine:
        return f"{UNDER_ENGINE} {steer}"
    return f"{board.tack}, {board.sail_set} {steer}" if board.poled else f"{board.tack} {steer}"
