"""A sequence of orders through changing wind and stream, all its steps at once.

The states at the beginnings of all steps are variables, as in direct multiple shooting
(Bock and Plitt, *A multiple shooting algorithm for direct solution of optimal control
problems*, 1984): one look at the fields tells how every step goes and how it would go a
little beside, and what is left between the end of a step and the beginning of the next is
undone by Newton's method. So a passage of days costs a few wide look-ups, not hundreds
one after another.

A step is sailed by the midpoint rule, as `goosewing.changing.motion.advance` does.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from goosewing.boat.model import sailing
from goosewing.changing.motion import BY_THE_LEE_DEG, SAME_ANGLE_DEG, Waters, degrees_per_hour
from goosewing.earth import geodesy

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from goosewing.boat.model import Sailing
    from goosewing.records import Steer
    from goosewing.units import Array, BoolArray
    from goosewing.velocities.velocity_set import Airs

    Numbers = NDArray[np.intp]

STEP_H = 0.25
"""Longest step of the integration, second order. [h]"""

FINER = 4
"""Whether steps are short enough is told by steps so many times shorter."""

LEAST_STEPS = 2
"""Steps that even the shortest order gets."""

ROWS_FOR_THE_BOW = 4

NUDGES = np.array([0.01, 0.01, 0.05, 0.5, 1e-3])
"""Changes of latitude, longitude [°], time [h], control [°] and length [h] by which effects
are measured."""

PAIRS = ((0, 3), (1, 3), (2, 3), (0, 1), (0, 2), (1, 2))
"""Inputs whose joint effect is measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Helm:
    """An order to the helm."""

    mode: int
    steer: Steer
    control_deg: float
    """The polar's angle to keep, or the heading."""
    hours: float
    held: bool = False
    """Whether that is given, and not the optimiser's to choose."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """Where and when a leg begins, and where it must end."""

    time_h: float
    lat: float
    lon: float
    mark_lat: float
    mark_lon: float


def steps_for(hours: float, step_h: float = STEP_H) -> int:
    """Return into how many steps of the integration an order is cut."""
    return max(LEAST_STEPS, int(np.ceil(hours / step_h - 1e-9)))


class States(NamedTuple):
    """The beginnings of all steps and the last one's end; arrays of shape (m + 1,)."""

    lat: Array
    lon: Array
    time_h: Array
    """The last one without a pause; the others when the pause before the step is over."""


class Nearby(NamedTuple):
    """How steps go, and would go a little beside; m steps, n variables."""

    jacobian: Array
    """Of the miss, shape (2, n)."""
    spread: Array
    """How the states move with the variables, shape (m + 1, 3, n)."""
    onward: Array
    """How the miss moves with each state, shape (m + 1, 2, 3)."""
    carried: Array
    """How each state moves with the first, shape (m + 1, 3, 3)."""
    back: Array
    """The inverse of that."""
    rates: Array
    """Derivatives of each step by its inputs, shape (m, 2, 5)."""
    bends: Array
    """Second derivatives, shape (m, 2, 5, 5)."""
    gaps: Array
    """What is left between each step's end and the next one's beginning, shape (m, 3)."""


@dataclass(frozen=True, slots=True, eq=False)
class _Kind:
    """The steps under one sail set, or under engine."""

    number: int
    at: Numbers
    side: Array
    by_heading: BoolArray
    low_deg: float
    high_deg: float


@dataclass(frozen=True, eq=False)
class Orders:
    """Orders cut into steps.

    Attributes
    ----------
    waters : Waters
    helms : tuple of Helm, length k
    groups : ndarray of int, shape (k,)
        Which length each order has a share of: orders of one group grow and shrink together.
    pauses_h : ndarray, shape (k,)
        What the manoeuvres before each order cost; she lies still meanwhile. [h]
    start : Start
    step_h : float
        Longest step. [h]
    counts : tuple of int, length k, optional
        Into how many steps each order is cut; None: as many as `step_h` asks for.

    Notes
    -----
    The variables are the k controls [°], then the lengths of the groups [h].
    """

    waters: Waters
    helms: tuple[Helm, ...]
    groups: Numbers
    pauses_h: Array
    start: Start
    step_h: float = STEP_H
    counts: tuple[int, ...] | None = None
    share: Array = field(init=False)
    """Of its group's length that each order has, shape (k,)."""
    order: Numbers = field(init=False)
    """Which order each step belongs to, shape (m,)."""
    weight: Array = field(init=False)
    """Of its group's length that each step has, shape (m,)."""
    pause_h: Array = field(init=False)
    """Before each step, shape (m,)."""
    first: Numbers = field(init=False)
    """The first step of each order, shape (k,)."""

    def __post_init__(self) -> None:
        hours = np.array([helm.hours for helm in self.helms])
        total = np.zeros(int(self.groups[-1]) + 1)
        np.add.at(total, self.groups, hours)
        counts = np.array(
            self.counts or [steps_for(helm.hours, self.step_h) for helm in self.helms]
        )
        share = hours / total[self.groups]
        first = np.concatenate(([0], np.cumsum(counts)[:-1]))
        pause = np.zeros(int(counts.sum()))
        pause[first] = self.pauses_h
        for name, value in (
            ("share", share), ("order", np.repeat(np.arange(len(hours)), counts)),
            ("weight", np.repeat(share / counts, counts)), ("pause_h", pause), ("first", first),
        ):  # fmt: skip
            object.__setattr__(self, name, value)

    @property
    def size(self) -> int:
        """The number of variables."""
        return len(self.helms) + int(self.groups[-1]) + 1

    @cached_property
    def variables(self) -> Array:
        """What the orders are now."""
        controls = [helm.control_deg for helm in self.helms]
        lengths = np.zeros(int(self.groups[-1]) + 1)
        np.add.at(lengths, self.groups, [helm.hours for helm in self.helms])
        return np.concatenate((controls, lengths))

    def hours(self, x: Array) -> Array:
        """Length of each order, shape (k,), in hours."""
        return np.asarray(x[len(self.helms) :][self.groups] * self.share)

    def at(self, x: Array) -> tuple[Helm, ...]:
        """Return the orders at x."""
        return tuple(
            replace(helm, control_deg=float(control), hours=float(hours))
            for helm, control, hours in zip(self.helms, x, self.hours(x), strict=False)
        )

    def moved_to(self, x: Array, step_h: float | None = None) -> Orders:
        """Return the orders at x, in steps that fit them."""
        return replace(self, helms=self.at(x), step_h=step_h or self.step_h, counts=None)

    def settled_at(self, x: Array) -> Orders:
        """Return the orders at x, in as many steps as these have, whether or not they fit."""
        counts = tuple(np.bincount(self.order).tolist())
        return replace(self, helms=self.at(x), counts=counts)

    def steps_fit(self, x: Array) -> bool:
        """Whether orders of these lengths would be cut into as many steps as they are."""
        counts = np.bincount(self.order)
        wanted = [steps_for(hours, self.step_h) for hours in self.hours(x).tolist()]
        return bool(np.array_equal(counts, wanted))

    @cached_property
    def _kinds(self) -> list[_Kind]:
        modes = [self.waters.modes[helm.mode] for helm in self.helms]
        sails = np.array([mode.sail_set for mode in modes])[self.order]
        sides = np.array([float(mode.side) for mode in modes])[self.order]
        heading = np.array([helm.steer == "heading" for helm in self.helms])[self.order]
        kinds = []
        for number in np.unique(sails).tolist():
            at = np.flatnonzero(sails == number)
            low, high = limits_deg(self.waters, number)
            kinds.append(_Kind(number, at, sides[at], heading[at], low, high))
        return kinds

    def _inputs(self, states: States, x: Array) -> Array:
        """Latitude, longitude, time, control and length of each step, shape (5, m)."""
        lengths = x[len(self.helms) :][self.groups[self.order]] * self.weight
        lat, lon, time = (values[:-1] for values in states)
        return np.stack((lat, lon, time, x[self.order], lengths))

    # ---- how steps go ------------------------------------------------------------------------

    def _velocity(self, time: Array, lat: Array, lon: Array, control: Array) -> tuple[Array, Array]:
        """Velocity over the ground of steps, shape (v, m) each. [kn]."""
        airs = self.waters.airs(time, lat, lon)
        east, north = np.empty(control.shape), np.empty(control.shape)
        for kind in self._kinds:
            here = type(airs)(*(values[:, kind.at] for values in airs))
            east[:, kind.at], north[:, kind.at] = self._going(kind, control[:, kind.at], here)
        return east, north

    def _going(self, kind: _Kind, control: Array, airs: Airs[Array]) -> tuple[Array, Array]:
        engine = self.waters.boat.engine
        if kind.number == len(self.waters.boat.sail_sets) and engine is not None:
            track = np.radians(np.where(kind.by_heading, control, airs.twd_deg + control))
            speed = np.full(track.shape, engine.speed_kn)
        else:
            bow = kind.side * geodesy.wrap_180(control - airs.twd_deg)
            row = np.where(kind.by_heading, np.abs(bow), control)
            held = self._held(kind, row, airs)
            # A bow a little by the lee goes where it points: the other side's leeway is her own.
            by_the_lee = np.where(bow < 0.0, -1.0, 1.0)
            drift = np.where(kind.by_heading, by_the_lee * held.leeway_deg, held.track_angle_deg)
            base = np.where(kind.by_heading, control, airs.twd_deg)
            track = np.radians(base + kind.side * drift)
            speed = held.boat_speed_kn
        east = speed * np.sin(track) + airs.stream_east_kn
        return east, speed * np.cos(track) + airs.stream_north_kn

    def _held(self, kind: _Kind, row: Array, airs: Airs[Array]) -> Sailing:
        boat = self.waters.boat

        def at(row: Array) -> Sailing:
            kept = np.minimum(np.maximum(row, kind.low_deg), kind.high_deg)
            return sailing(boat, kind.number, kept, airs.tws_kn, airs.gust_kn)

        held = at(row)
        if boat.polar_angle == "track" and kind.by_heading.any():
            for _ in range(ROWS_FOR_THE_BOW):
                held = at(np.where(kind.by_heading, row + np.nan_to_num(held.leeway_deg), row))
        return held

    def apart(self, inputs: Array, counts: Numbers) -> list[Array]:
        """Sail each order from a place of its own, all at once; each counts as one step.

        Parameters
        ----------
        inputs : ndarray, shape (5, v, k)
            Latitude, longitude, time, control and length of the orders, in v ways.
        counts : ndarray of int, shape (k,)
            In how many steps each is sailed.

        Returns
        -------
        list of ndarray, shape (2, v, k)
            Where they begin, and latitude and longitude after each step; those that have ended
            stay there.
        """
        lat, lon, time, control, hours = inputs
        found = [np.stack((lat, lon))]
        for step in range(int(counts.max())):
            part = np.where(counts > step, hours / counts, 0.0)
            lat, lon = self._ends(np.stack((lat, lon, time, control, part)))
            time = time + part
            found.append(np.stack((lat, lon)))
        return found

    def _ends(self, inputs: Array) -> Array:
        """Where steps of inputs of shape (5, v, m) end: latitude and longitude, shape (2, v, m)."""
        lat, lon, time, control, hours = inputs
        for stroke_h in self._strokes_h(time, hours):
            # Up to the stroke, and from there on with what is left.
            until = np.minimum(np.maximum(stroke_h - time, 0.0), hours)
            lat, lon = self._midpoint(lat, lon, time, control, until)
            time, hours = time + until, hours - until
        return np.stack(self._midpoint(lat, lon, time, control, hours))

    def _strokes_h(self, time: Array, hours: Array) -> list[float]:
        """Hours within these steps at which the weather shifts at a stroke."""
        return [
            stroke_h
            for stroke_h in self.waters.strokes_h
            if ((time < stroke_h) & (stroke_h < time + hours)).any()
        ]

    def _midpoint(
        self, lat: Array, lon: Array, time: Array, control: Array, hours: Array
    ) -> tuple[Array, Array]:
        east, north = self._velocity(time, lat, lon, control)
        dlat, dlon = degrees_per_hour(lat, east, north)
        half = 0.5 * hours
        middle = lat + half * dlat
        east, north = self._velocity(time + half, middle, lon + half * dlon, control)
        dlat, dlon = degrees_per_hour(middle, east, north)
        return lat + hours * dlat, lon + hours * dlon

    def gaps(self, states: States, x: Array) -> Array:
        """What is left between each step's end and the next one's beginning, shape (m, 3)."""
        inputs = self._inputs(states, x)
        return self._left(states, inputs, self._ends(inputs[:, np.newaxis])[:, 0])

    def _left(self, states: States, inputs: Array, ends: Array) -> Array:
        after = np.append(self.pause_h[1:], 0.0)
        arrive = inputs[2] + inputs[4] + after
        ended = np.stack((*ends, arrive))
        return np.asarray((ended - np.stack([values[1:] for values in states])).T)

    def coarse_nm(self, states: States) -> tuple[Array, Array]:
        """How far off each order ends, sailed in steps a quarter as long, and how far it leads.

        Returns
        -------
        off_nm, sailed_nm : ndarray, shape (k,)
            The steps' own errors added up, and their lengths. [nm]
        """
        lat, lon, time, control, hours = self._inputs(states, self.variables)
        scale = 60.0 * np.cos(np.radians(lat))
        begin_lat, begin_lon, part = lat, lon, hours / FINER
        for _ in range(FINER):
            lat, lon = self._ends(np.stack((lat, lon, time, control, part))[:, np.newaxis])[:, 0]
            time = time + part
        off_lat, off_lon = lat - states.lat[1:], lon - states.lon[1:]
        off = [
            np.add.reduceat(off_lat * 60.0, self.first),
            np.add.reduceat(off_lon * scale, self.first),
        ]
        sailed = np.hypot((lat - begin_lat) * 60.0, (lon - begin_lon) * scale)
        return np.hypot(*off), np.add.reduceat(sailed, self.first)

    def carried(self, states: States) -> BoolArray:
        """Whether the sails may be carried in the middle of each step, shape (m,)."""
        after = np.append(self.pause_h[1:], 0.0)
        time, lat, lon = (
            0.5 * (begin + end)
            for begin, end in (
                (states.time_h[:-1], states.time_h[1:] - after),
                (states.lat[:-1], states.lat[1:]),
                (states.lon[:-1], states.lon[1:]),
            )
        )
        control = np.array([helm.control_deg for helm in self.helms])[self.order]
        possible = np.ones(len(time), dtype=bool)
        for kind in self._kinds:
            at = time[kind.at], lat[kind.at], lon[kind.at]
            possible[kind.at] = self._carried(kind, control[kind.at], *at)
        return possible

    def carried_in(self, step: int, time_h: Array, lat: Array, lon: Array) -> BoolArray:
        """Whether the sails of a step may be carried at other times and places, shape (n,)."""
        one = self._alone(step)
        control = np.full(len(time_h), one.helms[0].control_deg)
        return one._carried(one._kinds[0], control, time_h, lat, lon)

    def _carried(
        self, kind: _Kind, control: Array, time_h: Array, lat: Array, lon: Array
    ) -> BoolArray:
        possible = self._possible(kind, control, self.waters.airs(time_h, lat, lon))
        sets = self.waters.boat.sail_sets
        if kind.number < len(sets) and sets[kind.number].poled:
            possible &= self.waters.pole_allowed(time_h, lat, lon)
        return possible

    def _possible(self, kind: _Kind, control: Array, airs: Airs[Array]) -> BoolArray:
        if kind.number == len(self.waters.boat.sail_sets):
            return np.isfinite(airs.tws_kn)
        signed = kind.side * geodesy.wrap_180(control - airs.twd_deg)
        bow = np.where(kind.by_heading, np.abs(signed), control)
        held = self._held(kind, bow, airs)
        # Where a heading brings the wind out of the table or the sector, or by the lee.
        by_the_lee = kind.by_heading & (signed < 0.0) & (bow < 180.0 - BY_THE_LEE_DEG)
        kept = ~kind.by_heading | (np.abs(held.twa_deg - bow) < SAME_ANGLE_DEG)
        return np.asarray(held.possible & kept & ~by_the_lee)

    def bows_deg(self, states: States) -> Array:
        """Angle of the bow off the wind at the beginnings and ends of steps, shape (2, m).

        From the side of each order's own tack: beyond 180° she is by the lee.
        """
        control = np.array([helm.control_deg for helm in self.helms])[self.order]
        side = np.empty(len(self.order))
        heading = np.zeros(len(self.order), dtype=bool)
        for kind in self._kinds:
            side[kind.at], heading[kind.at] = kind.side, kind.by_heading
        after = np.append(self.pause_h[1:], 0.0)
        begin = self.waters.airs(*(np.asarray(v)[:-1] for v in (
            states.time_h, states.lat, states.lon)))  # fmt: skip
        end = self.waters.airs(states.time_h[1:] - after, states.lat[1:], states.lon[1:])
        bows = side * geodesy.wrap_180(control - np.stack((begin.twd_deg, end.twd_deg)))
        bows = np.where(bows < -90.0, bows + 360.0, bows)
        return np.where(heading, bows, control)

    def misses(self, states: States) -> Array:
        """Degrees by which the last state misses the mark, shape (2,)."""
        lon = (states.lon[-1] - self.start.mark_lon + 180.0) % 360.0 - 180.0
        return np.array([states.lat[-1] - self.start.mark_lat, lon])

    def sailed(self, x: Array) -> States:
        """Sail the orders step after step."""
        inputs = self._inputs(self._still(), x)
        lat, lon, time = [self.start.lat], [self.start.lon], [self.start.time_h + self.pause_h[0]]
        after = np.append(self.pause_h[1:], 0.0)
        for step in range(len(self.order)):
            one = self._alone(step)
            state = np.array([lat[-1], lon[-1], time[-1], *inputs[3:, step]])
            ended = one._ends(state[:, np.newaxis, np.newaxis])
            lat.append(float(ended[0, 0, 0]))
            lon.append(float(ended[1, 0, 0]))
            time.append(time[-1] + inputs[4, step] + after[step])
        return States(np.array(lat), np.array(lon), np.array(time))

    def _alone(self, step: int) -> Orders:
        """The order of one step, by itself."""
        k = int(self.order[step])
        known = self._singles.get(k)
        if known is None:
            helm = replace(self.helms[k], hours=1e-3)
            known = Orders(
                self.waters, (helm,), np.zeros(1, dtype=np.intp), np.zeros(1), self.start, 1.0
            )
            known.__dict__["_kinds"] = [
                replace(kind, at=np.zeros(1, dtype=np.intp), side=kind.side[:1],
                        by_heading=kind.by_heading[:1])
                for kind in known._kinds
            ]  # fmt: skip
            self._singles[k] = known
        return known

    @cached_property
    def _singles(self) -> dict[int, Orders]:
        return {}

    def _still(self) -> States:
        size = len(self.order) + 1
        return States(
            np.full(size, self.start.lat), np.full(size, self.start.lon),
            np.full(size, self.start.time_h),
        )  # fmt: skip

    # ---- how they would go a little beside ---------------------------------------------------

    def roughly_nearby(self, states: States, x: Array) -> Nearby:
        """Measure how steps would go a little beside, on one side only: enough to close by."""
        inputs = self._inputs(states, x)
        nudged = inputs[:, np.newaxis] + np.vstack((np.zeros(5), np.diag(NUDGES))).T[:, :, None]
        ends = self._ends(nudged)
        if not np.isfinite(ends).all():
            return self.nearby(states, x, bends=False)
        rates = (ends[:, 1:] - ends[:, :1]) / NUDGES[:, np.newaxis]
        gaps = self._left(states, inputs, ends[:, 0])
        flat = np.zeros((inputs.shape[1], 2, 5, 5))
        return self._composed(np.asarray(rates.transpose(2, 0, 1)), flat, gaps)

    def nearby(self, states: States, x: Array, *, bends: bool) -> Nearby:
        """Measure how steps would go a little beside.

        Parameters
        ----------
        bends : bool
            Whether second derivatives are asked for; zeros otherwise.
        """
        inputs = self._inputs(states, x)
        trials, size = self._trials(inputs, bends=bends)
        ends = _mended(self._ends(trials))
        up, down = ends[:, 1:6], ends[:, 6:11]
        rates = np.asarray((up - down) / (2.0 * size[:, np.newaxis]))
        second = self._bends(ends, size) if bends else np.zeros((2, 5, 5, inputs.shape[1]))
        gaps = self._left(states, inputs, ends[:, 0])
        return self._composed(rates.transpose(2, 0, 1), second.transpose(3, 0, 1, 2), gaps)

    def _trials(self, inputs: Array, *, bends: bool) -> tuple[Array, Array]:
        size = NUDGES.copy()
        rows = [np.zeros((1, 5)), np.eye(5), -np.eye(5)]
        if bends:
            both = np.array([np.eye(5)[a] + np.eye(5)[b] for a, b in PAIRS])
            rows.append(both)
        nudges = np.vstack(rows) * size
        return inputs[:, np.newaxis] + nudges.T[:, :, np.newaxis], size

    def _bends(self, ends: Array, size: Array) -> Array:
        """Second derivatives of every step, shape (2, 5, 5, m)."""
        base, up, down = ends[:, 0], ends[:, 1:6], ends[:, 6:11]
        single = up + down - 2.0 * base[:, np.newaxis]
        found = np.zeros((2, 5, 5, ends.shape[2]))
        for a in range(4):
            found[:, a, a] = single[:, a] / size[a] ** 2
        # What acts together is measured on one side only.
        for pair, (a, b) in enumerate(PAIRS):
            joint = ends[:, 11 + pair] - up[:, a] - up[:, b] + base
            found[:, a, b] = found[:, b, a] = joint / (size[a] * size[b])
        return found

    def _composed(self, rates: Array, second: Array, gaps: Array) -> Nearby:
        """Compose what single steps do into what the whole does."""
        count, last = len(rates), len(rates)
        single = np.zeros((count, 3, 3))
        single[:, :2, :] = rates[:, :, :3]
        single[:, 2, 2] = 1.0
        carried = np.empty((count + 1, 3, 3))
        carried[0] = np.eye(3)
        for step in range(count):
            np.matmul(single[step], carried[step], out=carried[step + 1])
        back = np.linalg.inv(carried)
        pushed = np.zeros((count, 3, self.size))
        every = np.arange(count)
        pushed[every, :2, self.order] = rates[:, :, 3]
        group = len(self.helms) + self.groups[self.order]
        pushed[every, :2, group] = rates[:, :, 4] * self.weight[:, np.newaxis]
        pushed[every, 2, group] = self.weight
        spread = np.zeros((count + 1, 3, self.size))
        spread[1:] = carried[1:] @ np.cumsum(back[1:] @ pushed, axis=0)
        onward = carried[last, :2] @ back
        # Lengths also act by how they change what a control does within a step.
        hours = np.maximum(self._lengths(), 1e-9)[:, np.newaxis]
        bent = second.copy()
        for a in range(3):
            identity = np.array([float(a == 0), float(a == 1)])
            bent[:, :, a, 4] = bent[:, :, 4, a] = (rates[:, :, a] - identity) / hours
        bent[:, :, 3, 4] = bent[:, :, 4, 3] = rates[:, :, 3] / hours
        return Nearby(
            spread[last, :2],
            spread,
            np.asarray(onward),
            carried,
            np.asarray(back),
            rates,
            bent,
            gaps,
        )

    def _lengths(self) -> Array:
        hours = np.array([helm.hours for helm in self.helms])
        return np.asarray(hours[self.order] / np.bincount(self.order)[self.order])

    def undone(self, near: Nearby, gaps: Array) -> Array:
        """How states must move to undo gaps, the start kept, shape (m + 1, 3)."""
        moved = np.zeros((len(gaps) + 1, 3))
        summed = np.cumsum(near.back[1:] @ gaps[:, :, np.newaxis], axis=0)
        moved[1:] = (near.carried[1:] @ summed)[:, :, 0]
        return moved

    def hessian(self, near: Nearby, price: Array) -> Array:
        """Second derivative of price · miss by the variables, shape (n, n).

        Parameters
        ----------
        price : ndarray, shape (2,)
            Hours that a degree of the miss is worth.
        """
        costate = np.einsum("i,mij->mj", price, near.onward[1:])[:, :2]
        bent = np.einsum("mi,miab->mab", costate, near.bends)
        spread = near.spread[:-1]
        count, size = spread.shape[0], self.size
        moved = np.matmul(bent[:, :3, :3], spread)
        found = spread.reshape(3 * count, size).T @ moved.reshape(3 * count, size)
        orders = len(self.helms)
        across = np.zeros((size, size))
        by_control = np.einsum("ma,man->mn", bent[:, 3, :3], spread)
        across[:orders] = np.add.reduceat(by_control, self.first, axis=0)
        by_length = np.einsum("ma,man->mn", bent[:, 4, :3] * self.weight[:, np.newaxis], spread)
        groups = orders + self.groups[self.order]
        np.add.at(across, groups, by_length)
        own = np.zeros((size, size))
        np.add.at(own, (self.order, self.order), bent[:, 3, 3])
        np.add.at(own, (self.order, groups), bent[:, 3, 4] * self.weight)
        np.add.at(own, (groups, self.order), bent[:, 3, 4] * self.weight)
        return np.asarray(found + across + across.T + own)


def _mended(ends: Array) -> Array:
    """Where a nudge leaves what a forecast knows, suppose it would go on as on the other side."""
    if np.isfinite(ends).all():
        return ends
    base, up, down = ends[:, :1], ends[:, 1:6], ends[:, 6:11]
    up, down = (
        np.where(np.isnan(one), np.where(np.isnan(other), base, 2.0 * base - other), one)
        for one, other in ((up, down), (down, up))
    )
    part = up - base
    joint = base + part[:, [a for a, _ in PAIRS]] + part[:, [b for _, b in PAIRS]]
    beyond = joint[:, : ends.shape[1] - 11]
    both = np.where(np.isnan(ends[:, 11:]), beyond, ends[:, 11:])
    return np.concatenate((base, up, down, both), axis=1)


def limits_deg(waters: Waters, sail_set: int) -> tuple[float, float]:
    """Return the smallest and largest angle of the polar at which a sail set is sailed."""
    boat = waters.boat
    if sail_set >= len(boat.sail_sets):
        return -np.inf, np.inf
    sails = boat.sail_sets[sail_set]
    low, high = sails.polar.first_twa_deg, sails.polar.last_twa_deg
    if boat.polar_angle == "heading":
        low = min(max(low, sails.twa_deg[0]), sails.twa_deg[1])
        high = max(min(high, sails.twa_deg[1]), sails.twa_deg[0])
    return low, high


def groups_of(helms: Sequence[Helm], *, each: bool = False) -> Numbers:
    """Number the lengths: one for each board, or for each order."""
    if each:
        return np.arange(len(helms))
    modes = np.array([helm.mode for helm in helms])
    return np.concatenate(([0], np.cumsum(modes[1:] != modes[:-1])))


def board_numbers(helms: Sequence[Helm]) -> Numbers:
    """Number the boards that orders belong to, shape (k,): one tack and sail set each."""
    return groups_of(helms)
