"""Laylines of a mark in steady wind and stream, with leeway.

A layline is the ground course of one of the velocities that can be held, drawn
back from the mark: upwind and downwind the best VMG on either tack; for a poled
sail set the edges of the sector from which the mark can be reached under it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from goosewing.earth import geodesy
from goosewing.earth.course import course_between
from goosewing.errors import InputError
from goosewing.records import Fix, FromHere, Layline, LaylineSheet, Mark, PoledFromHere
from goosewing.velocities.velocity_set import VelocitySet, along_and_across

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from goosewing.hazards.areas import Hazards

ON_THE_LAYLINE_NM = 0.005
"""Nearer than this (9 m) she is on it."""

LONGEST_NM = 1000.0
"""Nobody plots a longer layline: a unit went wrong."""


@dataclass(frozen=True, slots=True)
class Held:
    """One velocity with the hand on which its layline's safe side lies."""

    index: int
    safer: int
    """+1 if the safe side is clockwise of the course, −1 if anticlockwise."""


def sheet(
    held: VelocitySet,
    marks: Sequence[Mark],
    *,
    length_nm: float | None = None,
    margin_deg: float = 0.0,
    here: tuple[float, float] | None = None,
    notices: Sequence[str] = (),
    hazards: Hazards | None = None,
) -> LaylineSheet:
    """Draw the laylines of every mark but the first.

    Parameters
    ----------
    held : VelocitySet
        What the boat can hold.
    marks : sequence of Mark
        In sailing order, at least two.
    length_nm : float, optional
        Length of each line; the leg's if None. [nm]
    margin_deg : float
        How far to turn each line to its safe side. [°]
    here : (lat, lon), optional
        Where she is: how she lies to the laylines of the second mark is added.
    notices : sequence of str
        Carried along.
    hazards : Hazards, optional
        Where a line meets one it ends.

    Raises
    ------
    InputError
        If length or margin make no sense, or a line would run past a pole.
    """
    check_length(length_nm)
    check_margin(margin_deg)
    lines: list[Layline] = []
    ahead: tuple[FromHere, ...] = ()
    poled: tuple[PoledFromHere, ...] = ()
    for number, (origin, mark) in enumerate(pairwise(marks)):
        course = course_between(origin.lat, origin.lon, mark.lat, mark.lon)
        needed = needed_velocities(held, course.bearing_deg)
        length = course.distance_nm if length_nm is None else length_nm
        of_mark = [_layline(held, mark, one, length, margin_deg) for one in needed]
        lines += of_mark
        if here is not None and number == 0:
            ahead = from_here(held, mark, needed, of_mark, here)
            poled = poled_from_here(held, mark, needed, of_mark, here)
    if hazards is not None:
        lines = [cut_short(hazards, line) for line in lines]
    said = (*notices, *sector_notices(held, lines))
    return LaylineSheet(
        boat=held.boat.name,
        laylines=tuple(lines),
        from_here=ahead,
        poled_from_here=poled,
        notices=said,
    )


def cut_short(hazards: Hazards, line: Layline) -> Layline:
    """End a layline where, seen from the mark, it first meets a hazard.

    Parameters
    ----------
    hazards : Hazards
    line : Layline
        Its points end at the mark.

    Returns
    -------
    Layline
        Itself where it meets none.
    """
    lat, lon = np.array([(fix.lat, fix.lon) for fix in line.points]).T
    met = np.flatnonzero(hazards.crossed_along(lat, lon))
    if not met.size:
        return line
    last = int(met[-1])
    end, start = line.points[last + 1], line.points[last]
    share = hazards.free_share(end.lat, end.lon, start.lat, start.lon)
    if share <= 0.0:
        return replace(line, points=line.points[last + 1 :])
    return replace(line, points=(_between(end, start, share), *line.points[last + 1 :]))


def _between(a: Fix, b: Fix, share: float) -> Fix:
    """Return the place and time at a share of the way from one fix to another."""
    offset = geodesy.mercator_offset(a.lat, a.lon, b.lat, b.lon)
    lat = geodesy.latitude_from_isometric(
        geodesy.isometric_latitude(a.lat) + share * offset.north_deg
    )
    lon = geodesy.wrap_longitude(a.lon + share * offset.east_deg)
    time = None
    if a.time is not None and b.time is not None:
        time = a.time + share * (b.time - a.time)
    return Fix(lat=float(lat), lon=float(lon), time=time)


def check_length(length_nm: float | None) -> None:
    """Refuse a length of laylines that makes no sense.

    Raises
    ------
    InputError
        Saying what was expected.
    """
    if length_nm is not None and not 0.0 < length_nm <= LONGEST_NM:
        raise InputError(
            f"a layline's length must be above 0 and at most {LONGEST_NM:g} nm, got {length_nm:g}"
        )


def check_margin(margin_deg: float) -> None:
    """Refuse a margin that makes no sense.

    Raises
    ------
    InputError
        Saying what was expected.
    """
    if not 0.0 <= margin_deg <= 45.0:
        raise InputError(f"the margin must be 0 to 45 degrees, got {margin_deg:g}")


def sector_notices(held: VelocitySet, lines: Sequence[Layline]) -> list[str]:
    """Say what the two lines of a poled sail set mean."""
    drawn = {line.sail_set for line in lines}
    poled = dict.fromkeys(mode.name for mode in held.modes if mode.poled and mode.name in drawn)
    return [f"Between the two lines of {name} a mark is reached under {name}." for name in poled]


def needed_velocities(held: VelocitySet, bearing_deg: float) -> list[Held]:
    """Choose the velocities whose courses are the laylines of a leg on this bearing.

    Upwind the best VMG on either tack; downwind the best VMG on either tack of
    the unpoled sail sets, and the edges of each poled sail set's sector.
    """
    off = abs(float(geodesy.wrap_180(bearing_deg - held.airs.twd_deg)))
    poled = np.array([mode.poled for mode in held.modes])[held.mode]
    if off < 90.0:
        return _best_pair(held, np.arange(len(held)), upwind=True)
    chosen = _best_pair(held, np.flatnonzero(~poled), upwind=False)
    for number in np.unique(held.mode[poled]):
        members = np.flatnonzero(held.mode == number)
        # The inside of the sector is the safe side: deeper, towards the other tack.
        side = held.modes[number].side
        chosen.append(Held(int(members[np.argmin(held.twa_deg[members])]), side))
    return chosen


def _best_pair(held: VelocitySet, members: NDArray[np.intp], *, upwind: bool) -> list[Held]:
    toward = held.airs.twd_deg if upwind else held.airs.twd_deg + 180.0
    # Made good through the water: the stream shifts both tacks alike.
    east = held.east_kn[members] - held.airs.stream_east_kn
    north = held.north_kn[members] - held.airs.stream_north_kn
    vmg, _ = along_and_across(east, north, toward)
    sides = np.array([mode.side for mode in held.modes])[held.mode[members]]
    pair = []
    for side in (1, -1):
        on_side = np.flatnonzero(sides == side)
        if on_side.size and vmg[on_side].max() > 0.0:
            best = members[on_side[np.argmax(vmg[on_side])]]
            # Freer than the layline: away from the wind's eye upwind, towards it downwind.
            pair.append(Held(int(best), side if upwind else -side))
    return pair


def _course_deg(held: VelocitySet, index: int) -> float:
    return float(np.degrees(np.arctan2(held.east_kn[index], held.north_kn[index])) % 360.0)


def _layline(
    held: VelocitySet, mark: Mark, one: Held, length_nm: float, margin_deg: float
) -> Layline:
    course = (_course_deg(held, one.index) + one.safer * margin_deg) % 360.0
    far = geodesy.loxodrome_direct(mark.lat, mark.lon, course + 180.0, length_nm)
    mode = held.modes[held.mode[one.index]]
    return Layline(
        mark=mark.name,
        tack=mode.tack,
        sail_set=mode.name,
        course_over_ground_deg=course,
        points=(Fix(lat=float(far.lat), lon=float(far.lon)), Fix(lat=mark.lat, lon=mark.lon)),
    )


def from_here(
    held: VelocitySet,
    mark: Mark,
    needed: Sequence[Held],
    lines: Sequence[Layline],
    here: tuple[float, float],
) -> tuple[FromHere, ...]:
    """Say how she lies to each best-VMG layline of a mark.

    Sailing the other tack's course from `here` she meets the layline after a
    distance; where that lies behind her she has overstood it.
    """
    pairs = [
        (own, other)
        for own in range(len(needed))
        for other in range(len(needed))
        if _same_sails(held, needed[own], needed[other]) and own != other
    ]
    return tuple(_lie(held, mark, lines[own], needed[other].index, here) for own, other in pairs)


def _same_sails(held: VelocitySet, a: Held, b: Held) -> bool:
    one, two = held.modes[held.mode[a.index]], held.modes[held.mode[b.index]]
    return one.sail_set == two.sail_set and not one.poled


def poled_from_here(
    held: VelocitySet,
    mark: Mark,
    needed: Sequence[Held],
    lines: Sequence[Layline],
    here: tuple[float, float],
) -> tuple[PoledFromHere, ...]:
    """Say for each poled sail set whether it reaches the mark from here, or from when on.

    Outside its sector she goes on, on the best board downwind of that side's tack
    under other sails, until the mark lies on the sector's edge.
    """
    bearing = course_between(*here, mark.lat, mark.lon).bearing_deg
    edges: dict[str, list[int]] = {}
    for at, one in enumerate(needed):
        mode = held.modes[held.mode[one.index]]
        if mode.poled:
            edges.setdefault(mode.name, []).append(at)
    found = []
    for name, of_set in edges.items():
        lies = partial(PoledFromHere, mark=mark.name, sail_set=name)
        inside = {
            at: needed[at].safer
            * float(geodesy.wrap_180(bearing - lines[at].course_over_ground_deg))
            for at in of_set
        }
        # The edge of which the mark lies farthest to the wrong side is the one to reach.
        at = min(inside, key=lambda edge: inside[edge])
        if inside[at] >= 0.0:
            found.append(lies(state="inside"))
            continue
        board = _board_to_the_edge(held, mark, needed, lines[at], here)
        found.append(lies(state="too far up") if board is None else lies(state="not yet", **board))
    return tuple(found)


def _board_to_the_edge(
    held: VelocitySet,
    mark: Mark,
    needed: Sequence[Held],
    edge: Layline,
    here: tuple[float, float],
) -> dict[str, Any] | None:
    for one in needed:
        mode = held.modes[held.mode[one.index]]
        if mode.poled or mode.tack != edge.tack:
            continue
        course = edge.course_over_ground_deg
        own = _course_deg(held, one.index)
        meeting = geodesy.loxodromes_meet(*here, own, mark.lat, mark.lon, course)
        distance = float(meeting.first_nm)
        if distance >= 0.0 and float(meeting.second_nm) >= 0.0:
            speed = float(np.hypot(held.east_kn[one.index], held.north_kn[one.index]))
            return {
                "tack": mode.tack,
                "by_sail_set": mode.name,
                "distance_nm": distance,
                "elapsed_h": distance / speed,
            }
    return None


def _lie(
    held: VelocitySet,
    mark: Mark,
    line: Layline,
    other: int,
    here: tuple[float, float],
) -> FromHere:
    course = line.course_over_ground_deg
    meeting = geodesy.loxodromes_meet(*here, _course_deg(held, other), mark.lat, mark.lon, course)
    first, second = float(meeting.first_nm), float(meeting.second_nm)
    back = geodesy.loxodrome_direct(mark.lat, mark.lon, course + 180.0, 1.0)
    off = float(geodesy.cross_track_nm(*here, float(back.lat), float(back.lon), mark.lat, mark.lon))
    bearing = course_between(*here, mark.lat, mark.lon).bearing_deg
    downwind = abs(float(geodesy.wrap_180(bearing - held.airs.twd_deg))) > 90.0
    lies = partial(
        FromHere, mark=mark.name, tack=line.tack, sail_set=line.sail_set, downwind=downwind
    )
    if abs(off) <= ON_THE_LAYLINE_NM:
        return lies(state="on it", distance_nm=0.0, elapsed_h=0.0)
    if first < 0.0:
        return lies(state="overstood", overstood_nm=abs(off))
    # NaN, where the two courses are parallel, is out of reach as well.
    if not (first >= 0.0 and second >= 0.0):
        return lies(state="out of reach")
    speed = float(np.hypot(held.east_kn[other], held.north_kn[other]))
    return lies(state="short of it", distance_nm=first, elapsed_h=first / speed)
