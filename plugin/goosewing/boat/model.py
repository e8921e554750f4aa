"""The boat as the engine knows her: sail sets with their tables, leeway, costs.

Pure: tables come in as arrays, the answers go out as arrays; `goosewing.boat.read`
reads the files.

Angles off the wind are 0 at the wind's eye and grow to leeward, the same on both
tacks; speeds are through the water, along the water track.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from goosewing.boat.cubics import shape_preserving_cubics
from goosewing.errors import InputError
from goosewing.units import Array, BoolArray

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

PolarAngle = Literal["heading", "track"]
"""What the rows of a boat's tables count: the bow's angle off the wind, or the water track's."""

STEERAGE_KN = 0.1
"""Below this speed leeway is left out: k·heel/STW² grows without bound."""

BLEND_DEG = (60.0, 90.0, 120.0, 150.0)
"""Upwind up to the first, reach between the second and third, run from the last on; our choice."""

LARGEST_PERFORMANCE = 2.0
"""Greatest performance factor that is believed; our choice."""

FASTEST_ENGINE_KN = 15.0
"""No small displacement yacht motors faster; our choice."""

MOST_LITRES_PER_HOUR = 100.0
"""No engine of hers burns more; our choice."""

ENGINE_NAME = "engine"
"""What a plan calls the sail set that is none."""

SAME_ANGLE_DEG = 1e-6
"""Sampled angles closer than this are one."""


@dataclass(frozen=True, slots=True, eq=False)
class PolarTable:
    """A quantity over true wind angle and true wind speed: boat speed, or heel.

    Attributes
    ----------
    tws_kn : ndarray, shape (m,)
        True wind speeds, ascending, not negative. [kn]
    twa_deg : ndarray, shape (n,)
        True wind angles, ascending, 0 to 180; bow or track as the boat says. [°]
    values : ndarray, shape (n, m)
        Finite and not negative; boat speed [kn] or heel [°].

    Raises
    ------
    InputError
        If shapes, order or values are not as described.
    """

    tws_kn: Array
    twa_deg: Array
    values: Array
    _winds: Array = field(init=False, repr=False)
    _pieces: Array = field(init=False, repr=False)
    """Cubics of each column and their change to the next one, shape (pieces · gaps, 8)."""

    def __post_init__(self) -> None:
        for name in ("tws_kn", "twa_deg", "values"):
            fixed = np.array(getattr(self, name), dtype=np.float64)
            fixed.setflags(write=False)
            object.__setattr__(self, name, fixed)
        _check_table(self)
        winds, values = _from_no_wind(self.tws_kn, self.values)
        object.__setattr__(self, "_winds", winds)
        object.__setattr__(self, "_pieces", _side_by_side(_cubic_pieces(self.twa_deg, values)))

    @property
    def first_twa_deg(self) -> float:
        """Smallest angle of the table, in degrees."""
        return float(self.twa_deg[0])

    @property
    def last_twa_deg(self) -> float:
        """Largest angle of the table, in degrees."""
        return float(self.twa_deg[-1])

    @property
    def last_tws_kn(self) -> float:
        """Strongest wind of the table, in knots."""
        return float(self.tws_kn[-1])

    def at(self, twa_deg: ArrayLike, tws_kn: ArrayLike) -> Array:
        """Interpolate: each wind column shape-preserving in angle, then linear between two columns.

        Parameters
        ----------
        twa_deg : array_like
            The table's own angle. [°]
        tws_kn : array_like
            True wind speed, broadcast against the angle; between no wind and
            the table's first column the value goes to zero in proportion. [kn]

        Returns
        -------
        ndarray
            Of the broadcast shape; NaN outside the table's angles, above its
            last wind and below no wind.

        Notes
        -----
        The cubics are those of `goosewing.boat.cubics`: no column overshoots its
        own entries.
        """
        twa, tws = np.asarray(twa_deg, dtype=np.float64), np.asarray(tws_kn, dtype=np.float64)
        return self._value(self._segments(twa, tws))

    def _segments(self, twa: Array, tws: Array) -> _Segments:
        row, beyond_row = _segment(self.twa_deg, twa)
        column, beyond_column = _segment(self._winds, tws)
        share = beyond_column / (self._winds[column + 1] - self._winds[column])
        outside = (twa < self.twa_deg[0]) | (twa > self.twa_deg[-1])
        outside = outside | (tws < 0.0) | (tws > self._winds[-1])
        return _Segments(row * (self._winds.size - 1) + column, beyond_row, share, outside)

    def _value(self, at: _Segments) -> Array:
        """Values where `_segments` of this table, or of one over the same nodes, says."""
        both = self._pieces.take(at.piece, axis=0)
        cubic = both[..., :4] + at.share[..., np.newaxis] * both[..., 4:]
        value = np.maximum(_horner(cubic, at.beyond_row), 0.0)
        return np.where(at.outside, np.nan, value)

    def same_nodes(self, other: PolarTable) -> bool:
        """Whether both tables have the same angles and winds."""
        return np.array_equal(self.twa_deg, other.twa_deg) and np.array_equal(
            self.tws_kn, other.tws_kn
        )


class _Segments(NamedTuple):
    """Which piece of a table each state lies in, and where in it; broadcast over the states."""

    piece: NDArray[np.intp]
    beyond_row: Array
    share: Array
    outside: BoolArray


def _check_table(table: PolarTable) -> None:
    tws, twa, values = table.tws_kn, table.twa_deg, table.values
    if tws.ndim != 1 or twa.ndim != 1 or not tws.size or not twa.size:
        raise InputError("a polar table needs at least one wind speed and one wind angle")
    if values.shape != (twa.size, tws.size):
        raise InputError(
            f"a polar table of {twa.size} angles and {tws.size} wind speeds needs values of "
            f"shape {(twa.size, tws.size)}, got {values.shape}"
        )
    if not all(np.all(np.isfinite(a)) for a in (tws, twa, values)):
        raise InputError("a polar table must hold finite numbers only")
    if np.any(np.diff(tws) <= 0.0) or np.any(np.diff(twa) <= 0.0):
        raise InputError("a polar table's wind speeds and wind angles must ascend")
    if np.any(np.diff(twa) < SAME_ANGLE_DEG):
        raise InputError(f"a polar table's wind angles must lie {SAME_ANGLE_DEG:g}° apart or more")
    if tws[0] < 0.0 or twa[0] < 0.0 or twa[-1] > 180.0 or np.any(values < 0.0):
        raise InputError("a polar table holds no negative numbers and no angle beyond 180°")
    if tws[-1] == 0.0 or (tws[0] == 0.0 and np.any(values[:, 0] > 0.0)):
        raise InputError("a polar table holds zeros at 0 kn of wind, and needs a column above it")


def _from_no_wind(tws_kn: Array, values: Array) -> tuple[Array, Array]:
    """Put a column of zeros at no wind before a table that starts above it."""
    if tws_kn[0] == 0.0:
        return tws_kn, values
    zeros = np.zeros((len(values), 1))
    return np.concatenate(([0.0], tws_kn)), np.hstack((zeros, values))


def _cubic_pieces(twa_deg: Array, values: Array) -> Array:
    """Return the cubics of every column, shape (pieces, columns, 4), highest power first."""
    if twa_deg.size == 1:
        flat = np.zeros((1, values.shape[1], 4))
        flat[0, :, 3] = values[0]
        return flat
    return shape_preserving_cubics(twa_deg, values)


def _side_by_side(pieces: Array) -> Array:
    """Put the change to the next column beside each column's cubic: one look-up fetches both."""
    change = pieces[:, 1:] - pieces[:, :-1]
    return np.ascontiguousarray(np.concatenate((pieces[:, :-1], change), axis=2)).reshape(-1, 8)


def _segment(nodes: Array, at: Array) -> tuple[NDArray[np.intp], Array]:
    """Return the piece that holds each value, and how far into it the value lies."""
    piece = nodes[1:-1].searchsorted(at, side="right")
    return piece, np.asarray(at - nodes[piece])


def _horner(cubic: Array, x: Array) -> Array:
    value = cubic[..., 0]
    for power in (1, 2, 3):
        value = value * x + cubic[..., power]
    return np.asarray(value)


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """How far off a polar may be: its boat speed lies within it four times in five.

    Attributes
    ----------
    low, high : PolarTable
        Boat speeds at the polar's own angles and winds. [kn]
    stretches : ndarray, shape (n, m)
        Of a log, how many steady stretches each cell rests on; 0 for what was estimated.
    """

    low: PolarTable
    high: PolarTable
    stretches: Array


BandEdge = Literal["low", "high"]

BAND_SHARE = 0.8
"""How often the truth lies within a band: four times in five."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SailSet:
    """The sails carried together, with their table and their limits.

    Attributes
    ----------
    name : str
    polar : PolarTable
        Boat speed. [kn]
    heel : PolarTable or None
        Heel, covering the polar's angles and winds; without it no leeway. [°]
    twa_deg : (float, float)
        Sector, from the bow, in which these sails are carried. [°]
    tws_kn : (float, float)
        Wind in which they are carried; the gust is held against the upper one. [kn]
    poled : bool
        Whether the headsail is held out on a pole, and setting and striking it costs time.
    band : Band or None
        How far off the polar may be; None if nobody knows.
    """

    name: str
    polar: PolarTable
    heel: PolarTable | None = None
    twa_deg: tuple[float, float] = (0.0, 180.0)
    tws_kn: tuple[float, float] = (0.0, float("inf"))
    poled: bool = False
    band: Band | None = None
    _heel_alike: bool = field(init=False, repr=False, compare=False)
    """Whether the heel table has the polar's nodes, so that one look-up serves both."""

    def __post_init__(self) -> None:
        alike = self.heel is not None and self.heel.same_nodes(self.polar)
        object.__setattr__(self, "_heel_alike", alike)
        where = f'sail set "{self.name}"'
        if not self.name.strip():
            raise InputError("a sail set needs a name")
        if not 0.0 <= self.twa_deg[0] <= self.twa_deg[1] <= 180.0:
            raise InputError(_range_fault("twa_deg", self.twa_deg, "0 to 180"), where=where)
        if not 0.0 <= self.tws_kn[0] < self.tws_kn[1]:
            raise InputError(_range_fault("tws_kn", self.tws_kn, "0 upwards"), where=where)
        if self.heel is not None and not _covers(self.heel, self.polar):
            raise InputError(
                "its heel table does not cover its polar's angles and winds", where=where
            )
        if self.band is not None:
            _check_band(self.band, self.polar, where)

    def speed_and_heel(self, row_deg: Array, tws_kn: Array) -> tuple[Array, Array]:
        """Boat speed [kn] and heel [°] by the tables, of one shape; NaN where there is none."""
        at = self.polar._segments(row_deg, tws_kn)
        speed = self.polar._value(at)
        if self.heel is None:
            return speed, np.full(speed.shape, np.nan)
        heel = self.heel._value(at) if self._heel_alike else self.heel.at(row_deg, tws_kn)
        return speed, heel

    @property
    def strongest_tws_kn(self) -> float:
        """Strongest wind in which these sails are carried, by limit or by table, in knots."""
        return min(self.tws_kn[1], self.polar.last_tws_kn)


def _range_fault(key: str, got: tuple[float, float], expected: str) -> str:
    return f"{key} must be two numbers from low to high, {expected}, got [{got[0]:g}, {got[1]:g}]"


def _check_band(band: Band, polar: PolarTable, where: str) -> None:
    alike = band.low.same_nodes(polar) and band.high.same_nodes(polar)
    if not alike or band.stretches.shape != polar.values.shape:
        raise InputError("its band is not for its polar's angles and winds", where=where)
    if np.any(band.low.values > polar.values) or np.any(band.high.values < polar.values):
        raise InputError("its band does not hold its polar's boat speeds", where=where)


def _covers(heel: PolarTable, polar: PolarTable) -> bool:
    return (
        heel.first_twa_deg <= polar.first_twa_deg
        and heel.last_twa_deg >= polar.last_twa_deg
        and heel.last_tws_kn >= polar.last_tws_kn
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Leeway:
    """How she goes to leeward: k·heel/STW², never more than the largest."""

    coefficient: float = 10.0
    """k; 10 suits a light 10 m cruiser-racer (common practice, no source). [° · kn² per °]"""
    largest_deg: float = 20.0

    def __post_init__(self) -> None:
        if not 0.0 <= self.coefficient < float("inf"):
            raise InputError(f"leeway coefficient must be 0 or more, got {self.coefficient:g}")
        if not 0.0 <= self.largest_deg <= 90.0:
            raise InputError(f"largest leeway must be 0 to 90 degrees, got {self.largest_deg:g}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Performance:
    """Factors on boat speed for sea state and crew, above 0 and at most 2."""

    upwind: float = 1.0
    reach: float = 1.0
    run: float = 1.0

    def __post_init__(self) -> None:
        for name in ("upwind", "reach", "run"):
            value = getattr(self, name)
            if not 0.0 < value <= LARGEST_PERFORMANCE:
                raise InputError(
                    f"performance {name} must be above 0 and at most {LARGEST_PERFORMANCE:g}, "
                    f"got {value:g}"
                )

    def factor(self, twa_deg: ArrayLike) -> Array:
        """Blend the three: upwind up to 60°, reach from 90° to 120°, run from 150°.

        Between 60° and 90°, and between 120° and 150°, one goes over into the other
        without a corner: a corner in the factor would be one in the polar, at an angle
        that no boat knows of, and boards would be drawn to it.

        Parameters
        ----------
        twa_deg : array_like
            The polar's own angle. [°]

        Notes
        -----
        With t from 0 to 1 across such a gap the share of the farther factor is
        :math:`t^2 (3 - 2t)`, the cubic that leaves and arrives level.

        Examples
        --------
        >>> float(Performance(upwind=0.9, reach=1.0).factor(75))
        0.95
        >>> print(Performance(upwind=0.9, reach=1.0).factor([60.0, 67.5, 90.0, 120.0]))
        [0.9      0.915625 1.       1.      ]
        """
        if self.upwind == self.reach == self.run:
            return np.full(np.shape(twa_deg), self.reach)
        twa = np.asarray(twa_deg, dtype=np.float64)
        reaching, running = (_smooth_step(twa, *gap) for gap in (BLEND_DEG[:2], BLEND_DEG[2:]))
        factor = self.upwind + reaching * (self.reach - self.upwind)
        return np.asarray(factor + running * (self.run - self.reach))


def _smooth_step(at: Array, low: float, high: float) -> Array:
    """From 0 at `low` to 1 at `high`, level at both and beyond."""
    share = np.minimum(np.maximum((at - low) / (high - low), 0.0), 1.0)
    return np.asarray(share * share * (3.0 - 2.0 * share))


@dataclass(frozen=True, slots=True, kw_only=True)
class Manoeuvres:
    """What each manoeuvre loses, in seconds."""

    tack_s: float = 25.0
    gybe_s: float = 45.0
    set_pole_s: float = 240.0
    strike_pole_s: float = 180.0
    change_sails_s: float = 300.0

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            value = getattr(self, name)
            if not 0.0 <= value < float("inf"):
                raise InputError(f"manoeuvre {name} must be 0 seconds or more, got {value:g}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Engine:
    """What she makes under engine, and when it is worth starting.

    Attributes
    ----------
    speed_kn : float
        Through the water, whatever the wind. [kn]
    least_vmc_kn : float
        It is started where sailing makes less than this towards the mark over the
        ground; less than `speed_kn`. [kn]
    litres_per_hour : float or None
        What it burns; None if nobody knows. [l/h]
    """

    speed_kn: float
    least_vmc_kn: float
    litres_per_hour: float | None = None

    def __post_init__(self) -> None:
        if not 0.5 <= self.speed_kn <= FASTEST_ENGINE_KN:
            raise InputError(
                f"engine speed_kn must be 0.5 to {FASTEST_ENGINE_KN:g}, got {self.speed_kn:g}"
            )
        if not 0.0 < self.least_vmc_kn < self.speed_kn:
            raise InputError(
                f"engine least_vmc_kn must be above 0 and below its speed_kn, {self.speed_kn:g}, "
                f"got {self.least_vmc_kn:g}"
            )
        litres = self.litres_per_hour
        if litres is not None and not 0.0 < litres <= MOST_LITRES_PER_HOUR:
            raise InputError(
                f"engine litres_per_hour must be above 0 and at most {MOST_LITRES_PER_HOUR:g}, "
                f"got {litres:g}"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Boat:
    """A boat and what she can do.

    Attributes
    ----------
    name : str
    sail_sets : tuple of SailSet
        At least one; their names differ.
    polar_angle : "heading" or "track"
        What the tables' rows count: the bow's angle, or the bow's angle plus leeway.
    leeway, performance, manoeuvres
        See the classes.
    polar_height_m : float
        Height above the water at which the tables' wind blows. [m]
    night_poled : bool
        Whether poled sails are carried in the dark.
    engine : Engine or None
        None if she has none that a plan may count on.
    """

    name: str
    sail_sets: tuple[SailSet, ...]
    polar_angle: PolarAngle = "heading"
    leeway: Leeway = field(default_factory=Leeway)
    performance: Performance = field(default_factory=Performance)
    manoeuvres: Manoeuvres = field(default_factory=Manoeuvres)
    polar_height_m: float = 10.0
    night_poled: bool = True
    engine: Engine | None = None

    def __post_init__(self) -> None:
        if not self.sail_sets:
            raise InputError("a boat needs at least one sail set")
        names = [sails.name for sails in self.sail_sets]
        twice = next((n for i, n in enumerate(names) if n in names[:i]), None)
        if twice is not None:
            raise InputError(f'two sail sets are called "{twice}"')
        if self.engine is not None and ENGINE_NAME in names:
            raise InputError(f'a boat with an engine can have no sail set called "{ENGINE_NAME}"')
        if self.polar_angle not in ("heading", "track"):
            raise InputError(f'polar_angle must be "heading" or "track", got "{self.polar_angle}"')
        if not 0.5 <= self.polar_height_m <= 100.0:
            raise InputError(f"polar_height_m must be 0.5 to 100 m, got {self.polar_height_m:g}")

    def scaled(self, factor: float) -> Boat:
        """Return the same boat with all three performance factors multiplied.

        Raises
        ------
        InputError
            If a factor leaves what is believed (above 0, at most 2).
        """
        own = self.performance
        scaled = Performance(
            upwind=own.upwind * factor, reach=own.reach * factor, run=own.run * factor
        )
        return replace(self, performance=scaled)

    @property
    def has_band(self) -> bool:
        """Whether it is known of any sail set how far off its polar may be."""
        return any(sails.band is not None for sails in self.sail_sets)

    def at_band(self, edge: BandEdge) -> Boat:
        """Return her as slow, or as fast, as the bands of her sail sets allow, without bands.

        Parameters
        ----------
        edge : "low" or "high"
            A sail set without a band stays as it is.
        """
        sets = tuple(
            sails
            if sails.band is None
            else replace(sails, polar=getattr(sails.band, edge), band=None)
            for sails in self.sail_sets
        )
        return replace(self, sail_sets=sets)

    def index(self, sail_set_name: str) -> int:
        """Return the place of a sail set in `sail_sets`.

        Raises
        ------
        InputError
            If she has none of that name; the message lists those she has.
        """
        for i, sails in enumerate(self.sail_sets):
            if sails.name == sail_set_name:
                return i
        known = ", ".join(f'"{sails.name}"' for sails in self.sail_sets)
        raise InputError(f'{self.name} has no sail set "{sail_set_name}"; she has {known}')


class Sailing(NamedTuple):
    """How she goes at given angles and winds; all of one shape."""

    twa_deg: Array
    """From the bow. [°]"""
    track_angle_deg: Array
    """Angle off the wind of the water track: bow plus leeway; may exceed 180. [°]"""
    boat_speed_kn: Array
    heel_deg: Array
    """NaN where the sail set has no heel table. [°]"""
    leeway_deg: Array
    """Positive to leeward. [°]"""
    possible: BoolArray
    """Whether table, sector and wind limits allow it; where not, the rest means nothing."""


def leeway_angle(
    heel_deg: ArrayLike, boat_speed_kn: ArrayLike, coefficient: float, largest_deg: float
) -> Array:
    """Estimate leeway as k·heel/STW², limited; zero below 0.1 kn or where heel is unknown (NaN).

    Common practice; Garrett, *The Symmetry of Sailing* (1987), gives
    464·sin(heel)/STW² for a 12.2 m yacht, which is k ≈ 8.1 (quoted second-hand).

    Parameters
    ----------
    heel_deg, boat_speed_kn : array_like
        Heel [°] and speed through the water [kn], broadcast.
    coefficient : float
        k. [° · kn² per ° of heel]
    largest_deg : float
        Never more than this. [°]

    Examples
    --------
    >>> round(float(leeway_angle(30.0, 5.5, 10.0, 20.0)), 2)
    9.92
    >>> float(leeway_angle(20.0, 1.0, 10.0, 20.0))
    20.0
    """
    heel = np.asarray(heel_deg, dtype=np.float64)
    speed = np.asarray(boat_speed_kn, dtype=np.float64)
    known = np.isfinite(heel) & (speed >= STEERAGE_KN)
    angle = coefficient * heel / np.where(known, speed, 1.0) ** 2
    return np.where(known, np.minimum(angle, largest_deg), 0.0)


def sailing(
    boat: Boat,
    sail_set_index: int,
    row_twa_deg: ArrayLike,
    tws_kn: ArrayLike,
    gust_kn: ArrayLike | None = None,
) -> Sailing:
    """Tell how the boat goes under one sail set.

    Parameters
    ----------
    boat : Boat
    sail_set_index : int
    row_twa_deg : array_like
        The polar's own angle (bow or track, as ``boat.polar_angle`` says). [°]
    tws_kn : array_like
        True wind speed at the polar's height, broadcast. [kn]
    gust_kn : array_like, optional
        Gust at the polar's height; NaN or None where unknown. [kn]

    Returns
    -------
    Sailing
        Arrays of the broadcast shape.
    """
    sails = boat.sail_sets[sail_set_index]
    gust = np.asarray(np.nan if gust_kn is None else gust_kn, dtype=np.float64)
    row, tws = np.asarray(row_twa_deg, dtype=np.float64), np.asarray(tws_kn, dtype=np.float64)
    if not row.shape == tws.shape == gust.shape:
        row, tws, gust = np.broadcast_arrays(row, tws, gust)
    speed, heel = sails.speed_and_heel(row, tws)
    speed = speed * boat.performance.factor(row)
    leeway = leeway_angle(heel, speed, boat.leeway.coefficient, boat.leeway.largest_deg)
    by_bow = boat.polar_angle == "heading"
    twa = row.copy() if by_bow else row - leeway
    track = row + leeway if by_bow else row.copy()
    possible = np.isfinite(speed) & _carried(sails, twa, tws, gust)
    return Sailing(twa, track, speed, heel, leeway, possible)


def motoring(engine: Engine, row_deg: ArrayLike) -> Sailing:
    """Tell how the boat goes under engine: at one speed, upright, without leeway.

    Parameters
    ----------
    engine : Engine
    row_deg : array_like
        Heading, clockwise from the true wind's direction, all the way round. [°]

    Returns
    -------
    Sailing
        Of the same shape; heel unknown.
    """
    row = np.asarray(row_deg, dtype=np.float64)
    off = np.abs(np.mod(row + 180.0, 360.0) - 180.0)
    none = np.zeros(row.shape)
    return Sailing(
        off, row, np.full(row.shape, engine.speed_kn), none * np.nan, none, np.isfinite(row)
    )


def _carried(sails: SailSet, twa_deg: Array, tws_kn: Array, gust_kn: Array) -> BoolArray:
    """Hold bow angle and wind against the sail set's sector and limits."""
    in_sector = (twa_deg >= sails.twa_deg[0]) & (twa_deg <= sails.twa_deg[1])
    strongest = np.fmax(tws_kn, gust_kn)
    carried: BoolArray = in_sector & (tws_kn >= sails.tws_kn[0]) & (strongest <= sails.tws_kn[1])
    return carried


def row_angles(sail_set: SailSet, step_deg: float = 0.25) -> Array:
    """Sample a sail set's table: a regular grid, the table's own angles and the sector's edges.

    Parameters
    ----------
    sail_set : SailSet
    step_deg : float
        Largest spacing. [°]

    Returns
    -------
    ndarray, shape (r,)
        Ascending, within the table. [°]
    """
    polar = sail_set.polar
    first, last = polar.first_twa_deg, polar.last_twa_deg
    edges = [edge for edge in sail_set.twa_deg if first <= edge <= last]
    # Not by np.unique, which loads all of numpy.ma.
    exact = np.array(sorted({*polar.twa_deg.tolist(), *edges}))
    grid = np.arange(np.ceil(first / step_deg), np.floor(last / step_deg) + 1.0) * step_deg
    apart = np.abs(grid[:, np.newaxis] - exact).min(axis=1) > SAME_ANGLE_DEG
    return np.sort(np.concatenate((exact, grid[apart & (grid > first) & (grid < last)])))


def wind_limit_text(boat: Boat, sail_sets: Sequence[int] | None = None) -> str:
    """Say up to what wind each sail set is carried, for messages.

    Parameters
    ----------
    boat : Boat
    sail_sets : sequence of int, optional
        Which ones; all unless given.

    Returns
    -------
    str
        Such as ``main and jib to 30 kn, wing-and-wing from 4 to 22 kn``.
    """
    indices = range(len(boat.sail_sets)) if sail_sets is None else sail_sets
    return ", ".join(_limit_text(boat.sail_sets[i]) for i in indices)


def _limit_text(sails: SailSet) -> str:
    least = f"from {sails.tws_kn[0]:g} " if sails.tws_kn[0] > 0.0 else ""
    return f"{sails.name} {least}to {sails.strongest_tws_kn:g} kn"
