r"""The polar of the moment as it is drawn: velocities over the ground, their hull, what it chooses.

One picture answers why the boards are these: each tack and sail set is a curve of
velocities in the plane of east and north; the mark is reached soonest where the ray
towards it leaves the convex hull of all of them, and the two velocities at the ends of
that edge, mixed by their shares, make good the speed at which the ray crosses it. Both
come from the same `VelocitySet` and the same `fastest_mix` as the boards of a plan, and
agree with them where manoeuvres cost nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from goosewing.velocities.velocity_set import (
    LEAST_SHARE,
    TWO_ANGLES_GAIN,
    VelocitySet,
    along_and_across,
    fastest_mix,
    hull,
    straight_velocities,
    velocities,
)
from goosewing.weather import wind

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from goosewing.boat.manoeuvres import Mode
    from goosewing.records import Tack
    from goosewing.units import Array
    from goosewing.velocities.velocity_set import Airs, Velocities

DRAWN_DEG = 2.0
"""Spacing of the angles of a drawn curve: finer is not seen on a screen. [°]"""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """All that one tack and sail set can hold, shape (k,) each, ascending in wind angle."""

    tack: Tack
    sail_set: str
    poled: bool
    twa_deg: Array
    """From the bow. [°]"""
    east_kn: Array
    north_kn: Array
    boat_speed_kn: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """One of the velocities that reach the mark soonest."""

    tack: Tack
    sail_set: str
    twa_deg: float
    """From the bow. [°]"""
    heading_deg: float
    course_over_ground_deg: float
    east_kn: float
    north_kn: float
    speed_over_ground_kn: float
    share: float
    """Of the time, 0 to 1."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PolarView:
    """The polar of the moment, for drawing.

    Attributes
    ----------
    airs : Airs[float]
        Wind over the water and stream that it holds for.
    bearing_deg : float or None
        Of the mark; None without one, and then nothing is chosen. [°]
    curves : tuple of Curve
        Empty in a wind in which nothing may be carried.
    hull : ndarray, shape (h, 2)
        Corners *towards* east and north, anticlockwise, the first not repeated; fewer
        than three where the velocities lie on one line. [kn]
    chosen : tuple of Chosen
        None, one or two; the one that covers more ground first.
    made_good_kn : float or None
        Along the bearing. [kn]
    """

    airs: Airs[float]
    bearing_deg: float | None
    curves: tuple[Curve, ...]
    hull: Array
    chosen: tuple[Chosen, ...]
    made_good_kn: float | None

    def outline(self, finest_kn: float) -> Array:
        """Return the hull without corners that bend it by less than `finest_kn`, shape (k, 2)."""
        if len(self.hull) < 4:
            return self.hull
        import shapely

        ring = shapely.simplify(shapely.linearrings(self.hull), finest_kn)
        return np.asarray(shapely.get_coordinates(ring)[:-1])


def polar_view(
    held: VelocitySet, bearing_deg: float | None, *, step_deg: float = DRAWN_DEG
) -> PolarView:
    """Draw up the polar of the moment.

    Parameters
    ----------
    held : VelocitySet
        What the boat can hold now.
    bearing_deg : float or None
        Of the mark. [°]
    step_deg : float
        Spacing of the angles of the curves; hull and choice always use all of the set. [°]
    """
    corners = hull(held)
    chosen, made_good = ((), None) if bearing_deg is None else choice(held, bearing_deg)
    return PolarView(
        airs=held.airs,
        bearing_deg=bearing_deg,
        curves=curves(held, step_deg),
        hull=np.column_stack((held.east_kn[corners], held.north_kn[corners])),
        chosen=chosen,
        made_good_kn=made_good,
    )


def curves(held: VelocitySet, step_deg: float = DRAWN_DEG) -> tuple[Curve, ...]:
    """Return the curve of each tack and sail set that can be carried, ends included."""
    found = []
    for number, mode in enumerate(held.modes):
        at = np.flatnonzero(held.mode == number)
        if at.size:
            at = at[_spaced(held.row_deg[at], step_deg)]
            found.append(
                Curve(
                    tack=mode.tack, sail_set=mode.name, poled=mode.poled,
                    twa_deg=held.twa_deg[at], east_kn=held.east_kn[at],
                    north_kn=held.north_kn[at], boat_speed_kn=held.boat_speed_kn[at],
                )
            )  # fmt: skip
    return tuple(found)


def _spaced(angle_deg: Array, step_deg: float) -> NDArray[np.intp]:
    """Return the first of the angles within each step, and the last of all."""
    step = np.floor((angle_deg - angle_deg[0]) / step_deg + 1e-9)
    first = np.flatnonzero(np.diff(step, prepend=-1.0) > 0.0)
    return np.union1d(first, [len(angle_deg) - 1])


def choice(held: VelocitySet, bearing_deg: float) -> tuple[tuple[Chosen, ...], float | None]:
    """Return the velocities that reach a mark of this bearing soonest, and the speed made good.

    Returns
    -------
    chosen : tuple of Chosen
        Empty if the mark can't be made.
    made_good_kn : float or None
        Along the bearing; None if the mark can't be made. [kn]
    """
    along, across = along_and_across(held.east_kn, held.north_kn, bearing_deg)
    mix = fastest_mix(along, across, np.ones((1, len(held)), dtype=bool))
    speed = float(mix.speed_kn[0])
    if not np.isfinite(speed):
        return (), None
    left, right, share = int(mix.left[0]), int(mix.right[0]), float(mix.right_share[0])
    one_angle = _one_angle(held, bearing_deg, left, right, speed)
    if one_angle is not None:
        return one_angle
    pair = [
        _chosen(held.modes[held.mode[at]], held, at, part)
        for at, part in ((left, 1.0 - share), (right, share))
        if part > LEAST_SHARE
    ]
    pair.sort(key=lambda one: -one.share * one.speed_over_ground_kn)
    return tuple(pair), speed


def _one_angle(
    held: VelocitySet, bearing_deg: float, left: int, right: int, speed_kn: float
) -> tuple[tuple[Chosen, ...], float] | None:
    """Return the one angle that two neighbours on a curve stand for; None if they are two boards.

    The same rule as for the boards of a plan.
    """
    number = held.mode[left]
    if left == right or number != held.mode[right]:
        return None
    straight = straight_velocities(held, bearing_deg)
    at = np.flatnonzero(straight.mode == number)
    if not at.size or speed_kn >= float(straight.along_kn[at[0]]) * (1.0 + TWO_ANGLES_GAIN):
        return None
    exact, _ = velocities(
        held.boat, held.modes, held.airs, straight.mode[at[:1]], straight.row_deg[at[:1]]
    )
    one = _chosen(held.modes[number], exact, 0, 1.0)
    return (one,), float(straight.along_kn[at[0]])


def _chosen(mode: Mode, values: VelocitySet | Velocities, at: int, share: float) -> Chosen:
    east, north = float(values.east_kn[at]), float(values.north_kn[at])
    return Chosen(
        tack=mode.tack,
        sail_set=mode.name,
        twa_deg=float(values.twa_deg[at]),
        heading_deg=float(values.heading_deg[at]),
        course_over_ground_deg=float(wind.direction_to(east, north)),
        east_kn=east,
        north_kn=north,
        speed_over_ground_kn=float(np.hypot(east, north)),
        share=share,
    )
