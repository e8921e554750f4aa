"""A beat or run of two boards in a shifty wind: the plane it is sailed in, and its speeds.

The plane's axis is square to the line that joins the two boards' velocities in the mean
wind, so that both make equally good along it. Ahead along the axis is the distance still
to go, `y`; to the right of the axis through the mark, `x`. A shift turns both boards'
velocities through the water; the stream stays.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat import manoeuvres
from goosewing.earth.angles import wrap_180
from goosewing.earth.geodesy import loxodrome_direct, loxodrome_inverse
from goosewing.errors import NoPlanError
from goosewing.velocities.velocity_set import VelocitySet, along_and_across, fastest_mix
from goosewing.weather.wind import direction_to

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from goosewing.boat.manoeuvres import Mode
    from goosewing.records import Mark
    from goosewing.units import Array

BEARINGS = 5761
"""Directions to the mark at which speeds straight to it are kept: every sixteenth of a degree."""

PINCH_DEG = 2.0
"""So much closer to the wind than the best angle a helm goes to save two turns. Common
practice, no source."""

HELD_DEG = 0.25
"""No bow is held truer, and times allow for no more pinching than this. Where the wind hardly
shifts, by 0.5°, a beat's times spread by 0.4 %, and the helm's own habit shows in them: of helms
that pinch by 0, 0.5 and 2°, 78, 81 and 85 % come in between the tenth and the ninetieth
percentile reckoned so; reckoned with 2° it were 66, 71 and 78 %."""

LEAST_PROGRESS = 0.02
"""A board that makes less of its mean progress good along the axis leads nowhere."""


class Control(NamedTuple):
    """What the two boards do at each of n deviations, tack first."""

    ahead_kn: Array
    """Progress along the axis on the best angle, shape (2, n)."""
    right_kn: Array
    """To the right of the axis, shape (2, n)."""
    straight_kn: Array
    """Speed straight to a mark that bears so from the axis, shape (2, n, b); NaN: not fetched."""
    strictly_kn: Array
    """The same at the best angle and freer alone."""


@dataclass(frozen=True, slots=True, eq=False)
class Game:
    """Two boards of one sail set, towards one mark."""

    mark: Mark
    axis_deg: float
    """Where the plane's axis leads. [° true]"""
    mean_twd_deg: float
    modes: tuple[Mode, Mode]
    """Of each tack; ``side`` +1 (port) first."""
    cost_h: tuple[float, float]
    """Of turning off the first, and off the second."""
    water: tuple[NDArray[np.complex128], NDArray[np.complex128]]
    """Velocities through the water at which a mark may be fetched, pinched by a little to freer,
    along the axis + 1j to its right, in the mean wind. [kn]"""
    best: tuple[int, int]
    """Which of them are the best angles."""
    freer_deg: tuple[Array, Array]
    """How much freer than the best angle each is; below zero it is pinched."""
    stream: complex

    def at(self, deviation_deg: ArrayLike, pinched_deg: float = HELD_DEG) -> Control:
        """Return what the boards do when the wind has shifted.

        Parameters
        ----------
        deviation_deg : array_like, shape (n,)
            Clockwise from the mean. [°]
        pinched_deg : float
            So much closer than the best angle she goes for a mark, at most `PINCH_DEG`. [°]
        """
        turned = np.exp(1j * np.radians(np.asarray(deviation_deg, dtype=np.float64)))
        ground = [each[:, np.newaxis] * turned + self.stream for each in self.water]
        best = np.stack([each[at] for each, at in zip(ground, self.best, strict=True)])
        straight, strictly = (
            np.stack(
                [
                    _towards(each[freer >= -angle].T)
                    for each, freer in zip(ground, self.freer_deg, strict=True)
                ]
            )
            for angle in (pinched_deg, 0.0)
        )
        return Control(best.real, best.imag, straight, strictly)

    def place(self, lat: ArrayLike, lon: ArrayLike) -> tuple[Array, Array]:
        """Return `x` and `y` of positions, in nautical miles, along loxodromes to the mark."""
        line = loxodrome_inverse(lat, lon, self.mark.lat, self.mark.lon)
        off = np.radians(np.asarray(line.bearing_deg) - self.axis_deg)
        distance = np.asarray(line.distance_nm)
        return -distance * np.sin(off), distance * np.cos(off)

    def position(self, x: ArrayLike, y: ArrayLike) -> tuple[Array, Array]:
        """Return latitude and longitude of places in the plane: `place` turned round."""
        across, ahead = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
        off = np.degrees(np.arctan2(-across, ahead))
        away = self.axis_deg + off + 180.0
        there = loxodrome_direct(self.mark.lat, self.mark.lon, away, np.hypot(across, ahead))
        return np.asarray(there.lat), np.asarray(there.lon)


def _towards(ground: NDArray[np.complex128]) -> Array:
    """Return the speed along each of `BEARINGS` directions, shape (n, b), NaN where there is none.

    `ground` has shape (n, rows), best angle first.
    """
    bearing = np.linspace(-180.0, 180.0, BEARINGS)
    direction = np.unwrap(np.angle(ground, deg=True), period=360.0, axis=1)
    speed = np.abs(ground)
    found = np.full((len(ground), BEARINGS), np.nan)
    for row, (angles, kn) in enumerate(zip(direction, speed, strict=True)):
        # A stream can make a freer heading lead back again: only what still turns on counts.
        step = np.sign(angles[-1] - angles[0]) or 1.0
        rising = np.maximum.accumulate(angles * step)
        keep = np.concatenate(([True], np.diff(rising) > 0.0))
        known, speeds = rising[keep], kn[keep]
        for turn in (-360.0, 0.0, 360.0):
            at = bearing * step + turn
            inside = (at >= known[0]) & (at <= known[-1])
            found[row, inside] = np.interp(at[inside], known, speeds)
    return found


def game_to(held: VelocitySet, start: Mark, mark: Mark) -> Game:
    """Choose the two boards of one sail set that reach a mark soonest, and their plane.

    Raises
    ------
    NoPlanError
        If no sail set without a pole has a board on either tack that leads there.
    """
    line = loxodrome_inverse(start.lat, start.lon, mark.lat, mark.lon)
    bearing = float(line.bearing_deg)
    found = [
        pair
        for one, two in combinations(range(len(held.modes)), 2)
        if held.modes[one].sail_set == held.modes[two].sail_set
        # With the pole up nobody gybes on a shift, and past the mark she couldn't reach back.
        and not held.modes[one].poled
        and (pair := _pair(held, one, two, bearing)) is not None
    ]
    if not found:
        raise NoPlanError(f"no sail set without a pole has two boards that lead to {mark.name}")
    _, first, second = max(found)
    if held.modes[held.mode[first]].side < 0:
        first, second = second, first
    return _game(held, mark, first, second)


def _pair(held: VelocitySet, one: int, two: int, bearing: float) -> tuple[float, int, int] | None:
    """Return speed made good and the two velocities; along the wind where one board would do."""
    upwind = abs(float(wrap_180(bearing - held.airs.twd_deg))) <= 90.0
    along_wind = held.airs.twd_deg + (0.0 if upwind else 180.0)
    for aim in (bearing, along_wind):
        along, across = along_and_across(held.east_kn, held.north_kn, aim)
        member = (held.mode == one) | (held.mode == two)
        mix = fastest_mix(along, across, member[np.newaxis])
        left, right = int(mix.left[0]), int(mix.right[0])
        if np.isfinite(mix.speed_kn[0]) and held.mode[left] != held.mode[right]:
            return float(mix.speed_kn[0]), left, right
    return None


def _game(held: VelocitySet, mark: Mark, first: int, second: int) -> Game:
    velocity = held.east_kn + 1j * held.north_kn
    apart = velocity[first] - velocity[second]
    normal = apart / abs(apart) * 1j
    normal = normal if (velocity[first] * np.conj(normal)).real > 0.0 else -normal
    axis = float(direction_to(normal.real, normal.imag))
    modes = tuple(held.modes[held.mode[at]] for at in (first, second))
    airs = held.airs
    stream = complex(airs.stream_east_kn, airs.stream_north_kn)
    twas = held.twa_deg[[first, second]]
    table = manoeuvres.cost_table_h(held.boat, held.modes)[int(twas.sum() < 180.0)]
    ends = held.mode[first], held.mode[second]
    sailed = [_fetching(held, at) for at in (first, second)]
    return Game(
        mark=mark,
        axis_deg=axis,
        mean_twd_deg=airs.twd_deg,
        modes=(modes[0], modes[1]),
        cost_h=(float(table[ends]), float(table[ends[::-1]])),
        water=(
            _in_plane(velocity[sailed[0]] - stream, normal),
            _in_plane(velocity[sailed[1]] - stream, normal),
        ),
        best=(int(np.argmax(sailed[0] == first)), int(np.argmax(sailed[1] == second))),
        freer_deg=(_freer_deg(held, sailed[0], first), _freer_deg(held, sailed[1], second)),
        stream=complex(_in_plane(np.array([stream]), normal)[0]),
    )


def _fetching(held: VelocitySet, best: int) -> NDArray[np.intp]:
    """Return what may be sailed straight to the mark: from a little pinched on towards the beam."""
    same = np.flatnonzero(held.mode == held.mode[best])
    order = same if held.twa_deg[best] <= 90.0 else same[::-1]
    found: NDArray[np.intp] = order[_freer_deg(held, order, best) >= -PINCH_DEG]
    return found


def _freer_deg(held: VelocitySet, at: NDArray[np.intp], best: int) -> Array:
    """Return how much freer than the best angle others are: towards the beam."""
    towards_beam = 1.0 if held.twa_deg[best] <= 90.0 else -1.0
    return np.asarray(towards_beam * (held.twa_deg[at] - held.twa_deg[best]))


def _in_plane(velocity: NDArray[np.complex128], normal: complex) -> NDArray[np.complex128]:
    """Resolve along the axis and to its right: east and north turn the other way than a compass."""
    found: NDArray[np.complex128] = np.conj(velocity * np.conj(normal))
    return found
