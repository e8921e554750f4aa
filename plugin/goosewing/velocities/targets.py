"""What to steer: best angles, the groove, sectors not worth sailing, what to carry when.

Over the water and without stream: these are the boat's own numbers, for the
helm. A velocity is *worth sailing* if it lies on the convex hull of all that
can be held; inside it, two other boards get there sooner.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from goosewing.boat.doubts import doubts
from goosewing.errors import InputError
from goosewing.records import CAUTIONS
from goosewing.velocities.velocity_set import Airs, VelocitySet, velocity_set
from goosewing.weather import wind

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from goosewing.boat.model import Boat
    from goosewing.units import Array, BoolArray

STEP_DEG = 0.05
"""Spacing of the angles looked at: finer than any helm steers."""

GROOVE = 0.99
"""Within this share of the best VMG the helm is in the groove."""

ON_THE_HULL = 1.0 - 1e-6
"""A velocity with this share of the hull is a vertex of it, up to sampling."""

WORTH_A_MANOEUVRE = 0.995
"""A stretch of angles inside the hull that is nowhere deeper than this is as good as on it:
half a percent no crew can tell, and two boards for it would cost a manoeuvre."""

STILL_KN = 1e-9
"""No faster than this she makes no way: nothing to carry sails for, whatever the hull."""

Sector = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """The best angle of one sail set up or down the wind; angles from the bow."""

    sail_set: str
    twa_deg: float
    awa_deg: float
    boat_speed_kn: float
    vmg_kn: float
    heel_deg: float | None
    leeway_deg: float
    groove_twa_deg: Sector


@dataclass(frozen=True, slots=True, kw_only=True)
class SailSector:
    """A sector of true wind angles, from the bow, under one sail set."""

    sail_set: str
    twa_deg: Sector


@dataclass(frozen=True, slots=True, kw_only=True)
class WindTargets:
    """Everything about one wind speed."""

    tws_kn: float
    upwind: tuple[Target, ...]
    downwind: tuple[Target, ...]
    not_worth_sailing: tuple[SailSector, ...]
    carry: tuple[SailSector, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Targets:
    """The boat's targets over several wind speeds."""

    boat: str
    wind_speeds: tuple[WindTargets, ...]
    notices: tuple[str, ...] = ()
    cautions: tuple[str, ...] = CAUTIONS


def targets(boat: Boat, wind_speeds_kn: Sequence[float], *, step_deg: float = STEP_DEG) -> Targets:
    """Work out the targets for several true wind speeds.

    Parameters
    ----------
    boat : Boat
    wind_speeds_kn : sequence of float
        True wind, at the height to which the polar refers. [kn]
    step_deg : float
        Spacing of the angles looked at. [°]

    Raises
    ------
    InputError
        If a wind speed is no positive number.
    """
    for speed in wind_speeds_kn:
        if not 0.0 < speed < 150.0:
            raise InputError(f"a wind speed must be above 0 and under 150 kn, got {speed:g}")
    found = tuple(_for_wind(boat, float(speed), step_deg) for speed in wind_speeds_kn)
    silent = [w.tws_kn for w in found if not w.upwind and not w.downwind]
    notices = tuple(f"No sail set may be carried in {tws:g} kn." for tws in silent)
    return Targets(boat=boat.name, wind_speeds=found, notices=(*notices, *doubts(boat)))


def _for_wind(boat: Boat, tws_kn: float, step_deg: float) -> WindTargets:
    held = velocity_set(boat, Airs(0.0, tws_kn), step_deg=step_deg)
    port = [
        (number, np.flatnonzero(held.mode == number))
        for number, mode in enumerate(held.modes)
        if mode.tack == "port"
    ]
    own = [at for _, at in port if at.size]
    everything = np.concatenate(own) if own else np.zeros(0, dtype=np.intp)
    return WindTargets(
        tws_kn=tws_kn,
        upwind=tuple(t for at in own if (t := _best(held, at, held.north_kn[at]))),
        downwind=tuple(t for at in own if (t := _best(held, at, -held.north_kn[at]))),
        not_worth_sailing=_not_worth(held, own, everything),
        carry=_carry(held, own, everything),
    )


def _best(held: VelocitySet, at: NDArray[np.intp], vmg: Array) -> Target | None:
    """Return the target of one sail set, or None if it makes nothing good that way."""
    best = int(np.argmax(vmg))
    if vmg[best] <= 0.0:
        return None
    i = at[best]
    apparent = wind.apparent_wind(
        held.twa_deg[i], held.airs.tws_kn, held.boat_speed_kn[i], held.leeway_deg[i]
    )
    low, high = _run_around(vmg >= GROOVE * vmg[best], best)
    return Target(
        sail_set=held.modes[held.mode[i]].name,
        twa_deg=float(held.twa_deg[i]),
        awa_deg=float(apparent.awa_deg),
        boat_speed_kn=float(held.boat_speed_kn[i]),
        vmg_kn=float(vmg[best]),
        heel_deg=None if np.isnan(held.heel_deg[i]) else float(held.heel_deg[i]),
        leeway_deg=float(held.leeway_deg[i]),
        groove_twa_deg=(float(held.twa_deg[at[low]]), float(held.twa_deg[at[high]])),
    )


def _run_around(inside: BoolArray, centre: int) -> tuple[int, int]:
    """Return the first and last index of the unbroken run of True around `centre`."""
    breaks = np.flatnonzero(~inside)
    low = breaks[breaks < centre]
    high = breaks[breaks > centre]
    return (
        int(low[-1]) + 1 if low.size else 0,
        int(high[0]) - 1 if high.size else len(inside) - 1,
    )


def _share_of_hull(held: VelocitySet, at: NDArray[np.intp]) -> Array:
    """Return each velocity as a share of what the hull of all of them gives on its course.

    Parameters
    ----------
    at : ndarray of int, shape (n,)
        Velocities on port tack; their mirror images are on the hull too.

    Returns
    -------
    ndarray, shape (n,)
        1 on the hull, less inside it, 0 where she makes no way.
    """
    import shapely

    east, north = held.east_kn[at], held.north_kn[at]
    points = np.column_stack(
        (np.concatenate((east, -east, [0.0])), np.append(np.tile(north, 2), 0))
    )
    # Lying still is always possible; with it the outline lies all round the origin.
    # One line through them has the same hull, and is made far faster than as many points.
    outline = shapely.get_coordinates(shapely.convex_hull(shapely.linestrings(points)))
    corners = outline[np.hypot(*outline.T) > STILL_KN]
    if not len(corners):
        return np.zeros_like(east)
    return _share_of_outline(east, north, corners)


def _share_of_outline(east: Array, north: Array, corners: Array) -> Array:
    """Share of where each velocity's ray leaves a convex outline around the origin."""
    bearing = np.arctan2(corners[:, 0], corners[:, 1])
    order = np.argsort(bearing)
    after = np.searchsorted(bearing[order], np.arctan2(east, north)) % len(order)
    p, q = corners[order[after - 1]], corners[order[after]]
    speed = np.hypot(east, north)
    # The ray d meets the line p→q at (p × q) / (d × (q − p)).
    crossed = east * (q[:, 1] - p[:, 1]) - north * (q[:, 0] - p[:, 0])
    edge = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    reach = np.divide(edge * speed, crossed, out=speed.copy(), where=np.abs(crossed) > 1e-12)
    moves = speed > STILL_KN
    return np.divide(speed, reach, out=moves.astype(np.float64), where=moves & (reach > 1e-12))


def _sectors(held: VelocitySet, at: NDArray[np.intp], where: BoolArray) -> list[SailSector]:
    """Turn a run of angles into sectors."""
    padded = np.concatenate(([False], where, [False]))
    edges = np.flatnonzero(padded[1:] != padded[:-1])
    name = held.modes[held.mode[at[0]]].name
    twa = held.twa_deg[at]
    return [
        SailSector(sail_set=name, twa_deg=(float(twa[a]), float(twa[b - 1])))
        for a, b in zip(edges[::2], edges[1::2], strict=True)
        if b - a > 1
    ]


def _inside(share: Array) -> BoolArray:
    """Return which of a sail set's angles lie in stretches too deep inside the hull to be sailed.

    Such a stretch reaches from one vertex of the hull to the next, whatever its depth there.
    """
    inside = share < ON_THE_HULL
    edges = np.flatnonzero(np.diff(np.concatenate(([False], inside, [False])).astype(int)))
    deep = np.zeros_like(inside)
    for first, end in edges.reshape(-1, 2):
        deep[first:end] = share[first:end].min() < WORTH_A_MANOEUVRE
    return deep


def _deep(
    held: VelocitySet, own: list[NDArray[np.intp]], everything: NDArray[np.intp]
) -> list[BoolArray]:
    """Return which angles of each sail set lie too deep inside the hull of all of them."""
    if not everything.size:
        return []
    share = dict(zip(everything.tolist(), _share_of_hull(held, everything).tolist(), strict=True))
    return [_inside(np.array([share[i] for i in at.tolist()])) for at in own]


def _not_worth(
    held: VelocitySet, own: list[NDArray[np.intp]], everything: NDArray[np.intp]
) -> tuple[SailSector, ...]:
    deep = _deep(held, own, everything)
    return tuple(
        s for at, inside in zip(own, deep, strict=True) for s in _sectors(held, at, inside)
    )


def _carry(
    held: VelocitySet, own: list[NDArray[np.intp]], everything: NDArray[np.intp]
) -> tuple[SailSector, ...]:
    deep = _deep(held, own, everything)
    sectors = [s for at, inside in zip(own, deep, strict=True) for s in _sectors(held, at, ~inside)]
    return tuple(sorted(sectors, key=lambda sector: sector.twa_deg))
