"""When each board's sails can be carried: by daylight, before it blows too hard, in a lull.

A board of a sequence may be optimised into hours in which its sails can't be carried. When
that may be is looked up along its own way, closely where it begins and ends; as the way
changes, so does what is seen, and the look is taken again.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.changing.shooting import Orders, States, board_numbers

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.changing.motion import Waters
    from goosewing.units import Array, BoolArray

LOOK_H = 1.0 / 60.0
LOOK_ROUND_H = 3.0
"""Whether sails are carried, or the engine used, is looked up by the minute, so long before and
after. [h]"""

SLACK_H = 1.5 * LOOK_H
"""What a board under engine may stick out. [h]"""

FILLED_H = 2.0 * LOOK_H
"""A board that ends so near its window's end fills it. [h]"""


class Window(NamedTuple):
    """Hours between which a board must be sailed: by daylight, or before it blows too hard."""

    opens_h: float = -np.inf
    closes_h: float = np.inf

    @classmethod
    def seen(cls, begins_h: Array, ends_h: Array, carried: BoolArray) -> Window:
        """Tell it from the steps of a board that could be sailed; empty if neither end could."""
        if carried.all():
            return cls()
        if carried[0]:
            return cls(closes_h=float(begins_h[np.argmin(carried)]))
        if carried[-1]:
            return cls(opens_h=float(ends_h[len(carried) - 1 - np.argmin(carried[::-1])]))
        return cls(np.inf, -np.inf)

    @classmethod
    def round_about(cls, begin_h: float, end_h: float, times_h: Array, used: BoolArray) -> Window:
        """Tell it from when something may be used: the run that a board shares most with.

        Parameters
        ----------
        begin_h, end_h : float
            Of the board. [h]
        times_h : ndarray, shape (n,)
            Ascending, from well before to well after it; a run to either end is open. [h]
        used : ndarray of bool, shape (n,)
        """
        padded = np.concatenate(([False], used, [False]))
        firsts, ends = np.flatnonzero(padded[1:] != padded[:-1]).reshape(-1, 2).T
        if not len(firsts):
            return cls(np.inf, -np.inf)
        opens, closes = times_h[firsts], times_h[ends - 1]
        best = int(np.argmax(np.minimum(closes, end_h) - np.maximum(opens, begin_h)))
        return cls(
            -np.inf if firsts[best] == 0 else float(opens[best]),
            np.inf if ends[best] == len(used) else float(closes[best]),
        )

    def within(self, other: Window) -> Window:
        """Both at once."""
        return Window(max(self.opens_h, other.opens_h), min(self.closes_h, other.closes_h))


def judged(course: Orders, states: States) -> tuple[list[Window], bool]:
    """When each board may be sailed, and whether all are; the engine's use looked at closely."""
    carried = course.carried(states)
    windows, possible = [], True
    for at in _steps_of_boards(course):
        if course.waters.modes[course.helms[int(course.order[at[0]])].mode].engine:
            times, lat, lon = _way(course, states, at)
            window = _used_about(course.waters, times, lat, lon)
            possible &= window.opens_h - SLACK_H <= times[0]
            possible &= bool(times[-1] <= window.closes_h + SLACK_H)
        else:
            window = _closely(course, states, at, carried[at])
            possible &= bool(carried[at].all())
        windows.append(window)
    return windows, possible


def widened(course: Orders, states: States, windows: Sequence[Window]) -> tuple[Window, ...]:
    """Look beyond the ends of boards that fill their windows, if sails are carried there too."""
    if not windows:
        return ()
    wider = []
    for at, window in zip(_steps_of_boards(course), windows, strict=True):
        times, lat, lon = _way(course, states, at)
        if not course.waters.modes[course.helms[int(course.order[at[0]])].mode].engine:
            if abs(window.closes_h - times[-1]) < FILLED_H:
                window = window._replace(
                    closes_h=_carried_on(course, int(at[-1]), times[-2:], lat[-2:], lon[-2:])
                )
            if abs(window.opens_h - times[0]) < FILLED_H:
                window = window._replace(
                    opens_h=_carried_on(course, int(at[0]), times[1::-1], lat[1::-1], lon[1::-1])
                )
        wider.append(window)
    return tuple(wider)


def _steps_of_boards(course: Orders) -> list[Array]:
    boards = board_numbers(course.helms)[course.order]
    return np.split(np.arange(len(boards)), np.flatnonzero(np.diff(boards)) + 1)


def _way(course: Orders, states: States, at: Array) -> tuple[Array, Array, Array]:
    """Times, latitudes and longitudes at the ends of a board's steps."""
    part = slice(int(at[0]), int(at[-1]) + 2)
    after = 0.0 if at[-1] + 1 == len(course.pause_h) else float(course.pause_h[at[-1] + 1])
    times = np.append(states.time_h[at], states.time_h[at[-1] + 1] - after)
    return times, states.lat[part], states.lon[part]


def _closely(course: Orders, states: States, at: Array, carried: BoolArray) -> Window:
    """When a board's sails are carried, its ends looked at by the minute."""
    times, lat, lon = _way(course, states, at)
    window = Window.seen(times[:-1], times[1:], carried)
    if np.isfinite(window.closes_h):
        k = int(np.argmin(carried))
        part = slice(k - 1, k + 2)
        return Window(closes_h=_first_not(course, int(at[k]), times[part], lat[part], lon[part]))
    if np.isfinite(window.opens_h):
        k = len(carried) - 1 - int(np.argmin(carried[::-1]))
        part = slice(k + 2, k - 1 if k else None, -1)
        return Window(opens_h=_first_not(course, int(at[k]), times[part], lat[part], lon[part]))
    return window


def _first_not(course: Orders, step: int, times: Array, lat: Array, lon: Array) -> float:
    """The last time on a way, in the order that it is looked at, when sails are still carried."""
    looks = np.linspace(times[0], times[-1], int(abs(times[-1] - times[0]) / LOOK_H) + 2)
    order = np.argsort(times)
    lats, lons = (np.interp(looks, times[order], values[order]) for values in (lat, lon))
    carried = course.carried_in(step, looks, lats, lons)
    return float(looks[max(int(np.argmin(carried)) - 1, 0)] if not carried.all() else looks[-1])


def _carried_on(course: Orders, step: int, times: Array, lat: Array, lon: Array) -> float:
    """Until when sails are carried if she goes on as she did from one time to another."""
    ahead = np.sign(times[1] - times[0]) * np.arange(0.0, LOOK_ROUND_H, LOOK_H)
    share = ahead / (times[1] - times[0])
    carried = course.carried_in(
        step, times[1] + ahead, lat[1] + share * (lat[1] - lat[0]),
        lon[1] + share * (lon[1] - lon[0]),
    )  # fmt: skip
    last = len(carried) if carried.all() else int(np.argmin(carried))
    return float(times[1] + ahead[max(last - 1, 0)])


def _used_about(waters: Waters, time_h: Array, lat: Array, lon: Array) -> Window:
    """Look every minute, from well before a board to well after, whether the engine is used."""
    begin, end = float(time_h[0]), float(time_h[-1])
    times = np.arange(begin - LOOK_ROUND_H, end + LOOK_ROUND_H, LOOK_H)
    lats, lons = np.interp(times, time_h, lat), np.interp(times, time_h, lon)
    used = waters.motored(waters.airs(times, lats, lons), times, lats, lons)
    return Window.round_about(begin, end, times, used)
