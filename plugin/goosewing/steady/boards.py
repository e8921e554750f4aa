"""One leg in steady wind and stream: every sensible choice of boards, in closed form.

In a steady wind a board is a loxodrome, which is a straight line in the
Mercator plane; turning points are intersections of straight lines there. The
wind is taken to have the same true direction everywhere, so on the ellipsoid
the two orders of a pair of boards differ a little (meridians converge), and
both are worked out.

A leg is sailed on one board, or on two that alternate. With `turns` turns
between them the boards reach equally far to both sides of the loxodrome, which
is what a corridor asks for; one turn is the plain case.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.earth import geodesy
from goosewing.earth.course import Course, along_and_aside_deg
from goosewing.errors import InputError
from goosewing.velocities.velocity_set import (
    LEAST_SHARE,
    TWO_ANGLES_GAIN,
    Straight,
    VelocitySet,
    along_and_across,
    fastest_mix,
    straight_velocities,
    velocities,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.earth.corridor import Corridor
    from goosewing.units import Array, BoolArray


LEAST_BOARD_IN_CORRIDOR_H = 1.0 / 60.0
"""A corridor must hold boards of at least a minute: less is not sailing."""

MOST_TURN_TRIALS = 64
"""How often turns are added to boards that still leave a corridor."""


@dataclass(frozen=True, slots=True, eq=False)
class Choices:
    """Ways to sail a leg before its geometry: o choices of at most two alternating boards."""

    mode: NDArray[np.intp]
    """Shape (o, 2): the first board's mode and the second's; equal for a single board."""
    row_deg: Array
    """Shape (o, 2): the polar angles of the two."""
    last_row_deg: Array
    """Shape (o,): the polar angle of the board into the mark (differs with a margin)."""
    turns: NDArray[np.intp]
    """Shape (o,): 0 for a single board."""
    partner: NDArray[np.intp]
    """Shape (o,): the choice with the boards in the other order; its own index if single."""


@dataclass(frozen=True, slots=True, eq=False)
class Ways:
    """Ways to sail a leg, laid out: o ways of up to b boards, padded with empty ones.

    ``mode``, ``row_deg``, ``distance_nm``, ``elapsed_h`` have shape (o, b);
    ``lat`` and ``lon`` (o, b + 1), from mark to mark; ``turns`` (o,).
    """

    mode: NDArray[np.intp]
    row_deg: Array
    twa_deg: Array
    distance_nm: Array
    elapsed_h: Array
    lat: Array
    lon: Array
    turns: NDArray[np.intp]
    partner: NDArray[np.intp]
    """Index of the way with the same boards in the other order; its own for a single board."""
    alternating: BoolArray | None = None
    """Which ways are a single board or two that alternate, shape (o,); all of them if None."""

    @property
    def last(self) -> NDArray[np.intp]:
        """Index of each way's last board, shape (o,)."""
        return self.turns

    def __len__(self) -> int:
        """Return the number of ways."""
        return len(self.turns)


def two_board_choices(held: VelocitySet, bearing_deg: float, straight: Straight) -> Choices:
    """Find the fastest mix of every pair of modes, in both orders.

    Each pair's own hull is asked, the same mode twice included: the two
    vertices of the whole hull may need a manoeuvre that they don't repay.
    """
    along, across = along_and_across(held.east_kn, held.north_kn, bearing_deg)
    first, second = np.triu_indices(len(held.modes))
    of_mode = held.mode == np.arange(len(held.modes))[:, np.newaxis]
    mix = fastest_mix(along, across, of_mode[first] | of_mode[second])
    keep = np.isfinite(mix.speed_kn) & (mix.right_share > LEAST_SHARE)
    keep &= mix.right_share < 1.0 - LEAST_SHARE
    same = held.mode[mix.left] == held.mode[mix.right]
    one_angle = np.zeros(len(held.modes))
    one_angle[straight.mode] = straight.along_kn
    alone = same & (mix.speed_kn < one_angle[first] * (1.0 + TWO_ANGLES_GAIN))
    keep &= ~alone & (same == (first == second))
    pair = np.column_stack((mix.left[keep], mix.right[keep]))
    pair = np.concatenate((pair, pair[:, ::-1]))
    return Choices(
        held.mode[pair],
        held.row_deg[pair],
        held.row_deg[pair[:, 1]],
        np.ones(len(pair), dtype=np.intp),
        np.roll(np.arange(len(pair)), len(pair) // 2),
    )


def one_board_choices(straight: Straight) -> Choices:
    """Turn the straight courses into choices of one board."""
    return Choices(
        np.column_stack((straight.mode, straight.mode)),
        np.column_stack((straight.row_deg, straight.row_deg)),
        straight.row_deg,
        np.zeros(len(straight.mode), dtype=np.intp),
        np.arange(len(straight.mode)),
    )


def joined(a: Choices, b: Choices) -> Choices:
    """Put the choices of both one after the other."""
    return Choices(
        np.concatenate((a.mode, b.mode)),
        np.concatenate((a.row_deg, b.row_deg)),
        np.concatenate((a.last_row_deg, b.last_row_deg)),
        np.concatenate((a.turns, b.turns)),
        np.concatenate((a.partner, b.partner + len(a.partner))),
    )


class Line(NamedTuple):
    """The line that boards reach to either side of, as it lies before her; in the plane."""

    bearing_deg: float
    along_deg: float
    """How far along it the mark lies. [°]"""
    aside_deg: float
    """How far to the right of it she starts. [°]"""
    half_deg: float
    """How far off it she may go. [°]"""

    @classmethod
    def between(cls, course: Course) -> Line:
        """Return the line from where she starts to the mark, with all the room there is."""
        return cls(course.bearing_deg, course.mercator_deg, 0.0, float("inf"))

    @classmethod
    def of(cls, corridor: Corridor, course: Course) -> Line:
        """Return a corridor's line as it lies before one who may start beside it."""
        own = corridor.course
        if own == course:
            return cls(own.bearing_deg, own.mercator_deg, 0.0, corridor.narrowest_deg)
        along, aside = along_and_aside_deg(own, course.lat1, course.lon1)
        left = own.mercator_deg - float(along)
        return cls(own.bearing_deg, left, float(aside), corridor.narrowest_deg)


def lay_out(held: VelocitySet, course: Course, choices: Choices, line: Line | None = None) -> Ways:
    """Place the turning points of each choice and time its boards.

    Boards that alternate reach equally far to both sides of `line`; of the course if None.
    """
    mode, row = _spread(choices, choices.turns)
    board = np.arange(mode.shape[1])
    exact, _ = velocities(held.boat, held.modes, held.airs, mode, row)
    length = _mercator_lengths(exact.east_kn, exact.north_kn, course, choices.turns, line)
    lat, lon = _turning_points(exact.east_kn, exact.north_kn, length, course, choices.turns)
    distance = geodesy.loxodrome_inverse(
        lat[:, :-1], lon[:, :-1], lat[:, 1:], lon[:, 1:]
    ).distance_nm
    distance = np.where(board <= choices.turns[:, np.newaxis], distance, 0.0)
    elapsed = distance / np.hypot(exact.east_kn, exact.north_kn)
    return Ways(
        mode, row, exact.twa_deg, distance, elapsed, lat, lon, choices.turns, choices.partner
    )


def _mercator_lengths(
    east: Array, north: Array, course: Course, turns: NDArray[np.intp], line: Line | None
) -> Array:
    """Return each board's length in the Mercator plane, shape (o, b), in degrees of longitude.

    NaN where no such boards lead to the mark. Two boards are the same whatever they reach
    to the side of, so that they are taken from the course itself.
    """
    own = Line.between(course)
    length = _lengths_about(own, east, north, turns)
    if line is None:
        return length
    return np.where((turns > 1)[:, np.newaxis], _lengths_about(line, east, north, turns), length)


def _lengths_about(line: Line, east: Array, north: Array, turns: NDArray[np.intp]) -> Array:
    _, across = along_and_across(east, north, line.bearing_deg)
    sideways = np.abs(across) / np.hypot(east, north)
    run = np.abs(np.diff(_edges_deg(line, east, north, turns), axis=1))
    slanted = np.divide(run, sideways, out=np.zeros_like(sideways), where=sideways > 0.0)
    first = np.arange(east.shape[1]) == 0
    single = (turns == 0)[:, np.newaxis]
    return np.where(single, first * line.along_deg, slanted)


def _edges_deg(line: Line, east: Array, north: Array, turns: NDArray[np.intp]) -> Array:
    """Return how far to the right of a line boards begin and end, shape (o, b + 1). [°].

    Between the first board and the last they run from edge to edge, to either side alike;
    the last ends on the line. NaN where no such boards lead to the mark.
    """
    along, across = along_and_across(east, north, line.bearing_deg)
    slant = np.divide(along, np.abs(across), out=np.zeros_like(along), where=across != 0.0)
    side = np.sign(across[:, 0])
    before = side * line.aside_deg
    share = _lateral_shares(east.shape[1], turns)
    progress = np.sum(share * slant, axis=1)
    reach = np.full(len(turns), np.nan)
    ahead = line.along_deg + slant[:, 0] * before
    np.divide(ahead, progress, out=reach, where=progress > 0.0)
    first = reach
    if line.aside_deg:
        first, reach = _stood_on(line, slant, before, (turns, progress, reach))
    board = np.arange(east.shape[1] + 1)
    edge = np.where(board % 2 == 1, 1.0, -1.0) * (side * reach)[:, np.newaxis]
    edge[:, 0], edge[:, 1] = line.aside_deg, side * first
    return np.where(board > turns[:, np.newaxis], 0.0, edge)


def _stood_on(
    line: Line, slant: Array, before: Array, evenly: tuple[NDArray[np.intp], Array, Array]
) -> tuple[Array, Array]:
    """Let the first board stand on to its edge where she starts farther out than boards reach.

    Returns
    -------
    first, reach : ndarray, shape (o,)
        How far out the first board ends, and all others; NaN where none lead to the mark. [°]
    """
    turns, progress, reach = evenly
    out = (before > reach) & (turns > 1)
    first = np.where(out, line.half_deg, reach)
    second = slant[:, min(1, slant.shape[1] - 1)]
    rest = progress - slant[:, 0] - second
    ahead = line.along_deg - slant[:, 0] * (line.half_deg - before) - second * line.half_deg
    others = np.divide(ahead, rest, out=np.full(len(turns), np.nan), where=out & (rest > 0.0))
    reach = np.where(out, others, reach)
    fits = (reach >= 0.0) & (first >= before)
    return np.where(fits, first, np.nan), np.where(fits, reach, np.nan)


def _lateral_shares(boards: int, turns: NDArray[np.intp]) -> Array:
    """How often each board covers the reach: the first and last once, those between twice."""
    board = np.arange(boards)
    outer = (board == 0) | (board == turns[:, np.newaxis])
    inside = board <= turns[:, np.newaxis]
    return np.where(inside, np.where(outer, 1.0, 2.0), 0.0)


def _turning_points(
    east: Array, north: Array, length: Array, course: Course, turns: NDArray[np.intp]
) -> tuple[Array, Array]:
    speed = np.hypot(east, north)
    start = np.zeros((len(turns), 1))
    x = np.concatenate((start, np.cumsum(length * east / speed, axis=1)), axis=1)
    y = np.concatenate((start, np.cumsum(length * north / speed, axis=1)), axis=1)
    lon = geodesy.wrap_longitude(course.lon1 + x)
    lat = geodesy.latitude_from_isometric(geodesy.isometric_latitude(course.lat1) + y)
    lat[:, 0], lon[:, 0] = course.lat1, course.lon1
    arrived = np.arange(x.shape[1]) > turns[:, np.newaxis]
    # The sums above end at the mark to rounding; the mark itself is exact.
    return np.where(arrived, course.lat2, lat), np.where(arrived, course.lon2, lon)


def with_margin(
    held: VelocitySet, course: Course, choices: Choices, margin_deg: float
) -> tuple[Choices, BoolArray]:
    """Let the board into the mark steer `margin_deg` freer, so that she turns past the layline.

    The course into the mark turns away from the board before it, which is the
    safe side upwind and downwind alike.

    Returns
    -------
    Choices
        With the last boards replaced.
    moved : ndarray of bool, shape (o,)
        Where that was possible; single boards and boards that reach the edge
        of their sector stay as they were.
    """
    mode = choices.mode[np.arange(len(choices.turns)), choices.turns % 2]
    other = choices.mode[np.arange(len(choices.turns)), (choices.turns + 1) % 2]
    other_row = choices.row_deg[np.arange(len(choices.turns)), (choices.turns + 1) % 2]
    last, _ = velocities(held.boat, held.modes, held.airs, mode, choices.last_row_deg)
    before, _ = velocities(held.boat, held.modes, held.airs, other, other_row)
    away = np.sign(before.east_kn * last.north_kn - before.north_kn * last.east_kn)
    bearing = np.degrees(np.arctan2(last.east_kn, last.north_kn)) - away * margin_deg
    # Beyond the turn at which the two boards point opposite ways no layline is left.
    opening = np.mod(away * (course.bearing_deg - bearing), 360.0)
    row = choices.last_row_deg.copy()
    moved = np.zeros(len(row), dtype=bool)
    for i in np.flatnonzero((choices.turns > 0) & (opening < 180.0)):
        found = straight_velocities(held, float(bearing[i]))
        at = np.flatnonzero(found.mode == mode[i])
        if at.size:
            row[i], moved[i] = found.row_deg[at[0]], True
    trial = replace(choices, last_row_deg=row)
    # So far freer that the boards make nothing good towards the mark: no layline there.
    lost = np.isnan(_lengths(held, course, trial)).any(axis=1)
    row = np.where(lost, choices.last_row_deg, row)
    return replace(choices, last_row_deg=row), moved & ~lost


def within_corridor(
    held: VelocitySet,
    course: Course,
    choices: Choices,
    line: Line,
    margin_deg: float = 0.0,
) -> Choices:
    """Add turns until no way reaches farther off a corridor's line than it is wide.

    Whether the first board's kind or the second's leads into the mark changes
    with every turn, and with it what `with_margin` makes of it.

    The Mercator plane's scale is taken where the corridor is narrowest in it,
    so that the boards never leave the corridor. Where she starts outside they
    lead no farther out.

    Returns
    -------
    Choices
        Without those that no number of turns keeps inside.
    """
    turns = choices.turns.copy()
    every = np.arange(len(turns))
    wide = np.zeros(len(turns), dtype=bool)
    for _ in range(MOST_TURN_TRIALS):
        last = choices.row_deg[every, turns % 2]
        choices = replace(choices, turns=turns.copy(), last_row_deg=last)
        if margin_deg:
            choices, _moved = with_margin(held, course, choices, margin_deg)
        share = _share_of_room(held, course, choices, line)
        wide = (turns > 0) & (share > 1.0 + 1e-12)
        if not wide.any():
            break
        # The reach falls as one over the number of turns, but for the margin's last board.
        turns[wide] = np.maximum(turns[wide] + 1, np.floor(share * turns)[wide])
    return choices if not line.aside_deg else _those(choices, ~wide & np.isfinite(share))


def _those(choices: Choices, keep: BoolArray) -> Choices:
    """Return some of the choices; one whose partner is left out is its own."""
    number = np.cumsum(keep) - 1
    alone = ~keep[choices.partner]
    partner = np.where(alone, np.arange(len(keep)), choices.partner)
    return Choices(
        choices.mode[keep], choices.row_deg[keep], choices.last_row_deg[keep],
        choices.turns[keep], number[partner[keep]],
    )  # fmt: skip


def _spread(choices: Choices, turns: NDArray[np.intp]) -> tuple[NDArray[np.intp], Array]:
    """Return the mode and polar angle of every board, each of shape (o, b)."""
    board = np.arange(int(turns.max(initial=0)) + 1)
    is_last = board == turns[:, np.newaxis]
    row = np.where(is_last, choices.last_row_deg[:, np.newaxis], choices.row_deg[:, board % 2])
    return choices.mode[:, board % 2], row


def _lengths(held: VelocitySet, course: Course, choices: Choices) -> Array:
    exact, _ = velocities(held.boat, held.modes, held.airs, *_spread(choices, choices.turns))
    return _mercator_lengths(exact.east_kn, exact.north_kn, course, choices.turns, None)


def _share_of_room(held: VelocitySet, course: Course, choices: Choices, line: Line) -> Array:
    """How far each way reaches to the side, as a share of the room there is; shape (o,).

    NaN where no such boards lead to the mark; outside the corridor the room ends where she is.
    """
    exact, _ = velocities(held.boat, held.modes, held.airs, *_spread(choices, choices.turns))
    east, north = exact.east_kn, exact.north_kn
    length = _mercator_lengths(east, north, course, choices.turns, line)
    _, across = along_and_across(east, north, line.bearing_deg)
    run = length * across / np.hypot(east, north)
    beside = line.aside_deg + np.cumsum(run, axis=1)
    room = np.maximum(line.half_deg, np.copysign(1.0, beside) * line.aside_deg)
    share: Array = np.max(np.abs(beside) / room, axis=1)
    return share


def check_corridor(fastest_kn: float, mark: str, half_width_nm: float) -> None:
    """Refuse a corridor too narrow to sail in.

    Raises
    ------
    InputError
        If a board from edge to edge takes less than a minute.
    """
    least_nm = fastest_kn * LEAST_BOARD_IN_CORRIDOR_H / 2.0
    if half_width_nm < least_nm:
        raise InputError(
            f"a corridor of {half_width_nm:g} nm either side leaves boards of under a minute "
            f"on the way to {mark}: at {fastest_kn:.1f} kn give it at least {least_nm:.3f} nm"
        )


def ways_to_sail(
    held: VelocitySet,
    course: Course,
    *,
    margin_deg: float = 0.0,
    corridor: Corridor | None = None,
) -> tuple[Ways, float]:
    """Work out every sensible way to sail a leg in steady airs.

    Parameters
    ----------
    held : VelocitySet
        What the boat can hold.
    course : Course
        The leg.
    margin_deg : float
        How far past the layline to turn. [°]
    corridor : Corridor, optional
        The channel to stay in.

    Returns
    -------
    ways : Ways
        Empty if the mark can't be made.
    straight_h : float
        Time of the fastest single board, NaN if none points at the mark. [h]
    """
    straight = straight_velocities(held, course.bearing_deg)
    pairs = two_board_choices(held, course.bearing_deg, straight)
    line = None if corridor is None else Line.of(corridor, course)
    if line is not None:
        pairs = within_corridor(held, course, pairs, line, margin_deg)
    elif margin_deg:
        pairs, _ = with_margin(held, course, pairs, margin_deg)
    ways = lay_out(held, course, joined(one_board_choices(straight), pairs), line)
    fastest = np.max(straight.along_kn, initial=0.0)
    return ways, course.distance_nm / fastest if fastest > 0.0 else float("nan")
