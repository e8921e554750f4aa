"""Steady stretches of a log: what is left when manoeuvres, surfing and the engine are out.

A stretch is a minute or so in which she holds course, side and speed. Its means are what is
learned from: a minute is many periods of the mast's motion in a seaway, so that what the
vane swings is averaged out, and its standard error tells what is left.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from goosewing.logbook.samples import Log, turned
from goosewing.units import AnyArray, Array, BoolArray
from goosewing.weather.wind import true_from_apparent

STRETCH_S = 60.0
"""Long against the seconds of a wave, short against a wind's shift; our choice."""

LONGEST_STRETCH_S = 300.0

FEWEST_READINGS = 5

AT_ONCE = 200_000
"""Readings looked at together."""

GAP_S = 15.0

HELD_COURSE_DEG = 8.0
"""Spread of the heading on one course, helm and yaw together; our choice."""

CHANGED_COURSE_DEG = 12.0
"""Between a stretch's halves: more is a turn."""

HELD_SPEED = 0.10
"""Change of speed from one half to the other, as a share; or `HELD_SPEED_KN`."""

HELD_SPEED_KN = 0.3

SURFED = 1.25
"""The fastest twentieth of a stretch against its median: beyond, she surfs."""

LEAST_SPEED_KN = 0.8
"""Below it a paddle wheel tells nothing."""

MAST_LEAVES_DEG, MAST_LEAVES = 3.0, 0.08
"""Standard errors of wind angle and speed (as a share) beyond which a stretch tells nothing."""

ENGINE_STEADY_KN = 0.05
"""No sea, helm or puff lets a sailing boat's speed be steadier than this."""

MINUTES_TOGETHER = 5
"""Stretches after another over which an engine's speed stays as it is, and the wind's does not."""

UPRIGHT_DEG = 2.0

CALM_KN = 3.0
"""True wind in which she sails slower than `CALM_SPEED_KN`."""

CALM_SPEED_KN = 3.0

OUTRUNS = 1.15
"""Boat speed over true wind speed beyond which it is no sailing of hers, in light air."""

IN_THE_WIND_DEG = 18.0
"""Apparent wind angle at which nothing sails."""

NEAR_THE_BOW_DEG, NEAR_ASTERN_DEG = 8.0, 165.0
"""Apparent angles between which it is clear from which side the wind comes."""

TELLING = 0.3
"""If more of the stretches under sail for certain are as steady as an engine's, steadiness tells
nothing in this log: a seaway that damps it, or a log that was never sailed."""

ENGINE_GAP_S = 300.0
"""Between two stretches under engine so close, she is under engine."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretches:
    """Means over stretches, each array of shape (n,); NaN where the log has none.

    Attributes
    ----------
    begin_s, end_s : [s]
    heading_deg : true, as the compass has it. [°]
    stw_kn, aws_kn : as log and wind instrument have them. [kn]
    awa_deg : negative to port, as the vane has it. [°]
    twa_deg, tws_kn : true wind, of the instruments' own or from wind over the ground. [°, kn]
    heel_deg : size, whichever side. [°]
    east_kn, north_kn : over the ground. [kn]
    log_east_kn, log_north_kn : means of what the log shows, along what the compass shows. [kn]
    awa_error_deg, aws_error : what the mast's motion leaves in the means: standard errors,
        of the speed as a share.
    board : which unbroken run on one side it is of.
    steady, engine : whether she holds course and speed; whether she is under engine.
    """

    begin_s: Array
    end_s: Array
    heading_deg: Array
    stw_kn: Array
    stw_spread_kn: Array
    awa_deg: Array
    aws_kn: Array
    twa_deg: Array
    tws_kn: Array
    heel_deg: Array
    east_kn: Array
    north_kn: Array
    log_east_kn: Array
    log_north_kn: Array
    lat: Array
    lon: Array
    awa_error_deg: Array
    aws_error: Array
    board: NDArray[np.intp]
    steady: BoolArray
    engine: BoolArray

    def __len__(self) -> int:
        return int(self.begin_s.size)

    def only(self, keep: BoolArray | NDArray[np.intp]) -> Stretches:
        """Return some of them."""
        return replace(self, **{f.name: getattr(self, f.name)[keep] for f in fields(self)})

    @property
    def sailed(self) -> Stretches:
        """Those that a boat's polar can be learned from."""
        return self.only(self.steady & ~self.engine)

    @property
    def side(self) -> Array:
        """1 with the wind from starboard, -1 from port."""
        angle = np.where(np.isfinite(self.awa_deg), self.awa_deg, self.twa_deg)
        return np.where(angle >= 0.0, 1.0, -1.0)

    @property
    def hours(self) -> float:
        """How long they are together."""
        return float((self.end_s - self.begin_s).sum() / 3600.0)


def stretches(log: Log, variation_deg: Array | float | None = None) -> Stretches:
    """Cut a log into stretches.

    Parameters
    ----------
    log : Log
    variation_deg : array_like, optional
        Of the compass, east positive, where the log itself has none. [°]
    """
    if log.time_s.size > AT_ONCE:
        return _in_pieces(log, variation_deg)
    time_s = log.time_s
    heading = true_heading(log, variation_deg)
    length_s = _length(time_s)
    wind = _wind_on_bow(log, heading)
    # A run ends with the log's silence, and where the wind comes over to the other side.
    breaks = np.diff(time_s) > max(GAP_S, 3.0 * _step(time_s))
    over = np.diff(wind_side(wind["angle"], time_s)) != 0.0
    begins = np.concatenate(([True], breaks | over))
    run = np.cumsum(begins) - 1
    into_run = time_s - time_s[np.flatnonzero(begins)][run]
    part = np.floor(into_run / length_s)
    first = np.flatnonzero(np.concatenate(([True], (np.diff(run) != 0) | (np.diff(part) != 0))))
    cut = _Cut(first, time_s)
    return _measured(log, cut, heading, wind, run[first], length_s)


def _in_pieces(log: Log, variation_deg: Array | float | None) -> Stretches:
    """Cut a long log piece by piece: a stretch at each seam is all that this loses."""
    parts = []
    boards = 0
    for first in range(0, log.time_s.size, AT_ONCE):
        there = slice(first, first + AT_ONCE)
        piece = replace(
            log,
            time_s=log.time_s[there],
            channels={name: values[there] for name, values in log.channels.items()},
        )
        given = variation_deg[there] if isinstance(variation_deg, np.ndarray) else variation_deg
        part = stretches(piece, given)
        parts.append(replace(part, board=part.board + boards))
        boards += int(part.board[-1]) + 1 if len(part) else 0
    return joined(parts)


def joined(parts: Sequence[Stretches]) -> Stretches:
    """Put stretches one after another."""
    return Stretches(
        **{
            each.name: np.concatenate([getattr(part, each.name) for part in parts])
            for each in fields(Stretches)
        }
    )


def thinned(part: Stretches, most: int) -> Stretches:
    """Return runs of stretches spread evenly over a log, `most` of them or a few more.

    Runs and not single ones: what the two tacks tell together lies side by side.
    """
    if len(part) <= most:
        return part
    number = np.arange(len(part))
    runs = -(-len(part) // RUN)
    kept = max(most // RUN, 1)
    wanted = np.unique(np.linspace(0, runs - 1, kept).round().astype(np.intp))
    return part.only(np.isin(number // RUN, wanted))


RUN = 60
"""Stretches in a run that is kept together: an hour of them."""


def true_heading(log: Log, variation_deg: Array | float | None = None) -> Array:
    """Heading as the compass has it, made true; the course over the ground where she has none."""
    heading = log.get("heading_deg")
    if log.has("heading_magnetic_deg"):
        told = log.get("variation_deg")
        given = told if variation_deg is None else np.where(np.isfinite(told), told, variation_deg)
        magnetic = log.get("heading_magnetic_deg") + np.nan_to_num(given)
        heading = np.where(np.isfinite(heading), heading, magnetic)
    if not np.isfinite(heading).any():
        heading = log.get("cog_deg")
    return np.mod(heading, 360.0)


def _step(time_s: Array) -> float:
    return float(np.median(np.diff(time_s))) if time_s.size > 1 else 1.0


def _length(time_s: Array) -> float:
    return float(np.clip(8.0 * _step(time_s), STRETCH_S, LONGEST_STRETCH_S))


def _wind_on_bow(log: Log, heading: Array) -> dict[str, Array]:
    """True wind on the bow by whatever tells it, and an angle that tells the side."""
    twa, tws = log.get("twa_deg"), log.get("tws_kn")
    if log.has("twd_deg") and not np.isfinite(twa).any():
        twa = turned(log.get("twd_deg") - heading)
    apparent = log.get("awa_deg")
    return {"twa": twa, "tws": tws, "angle": np.where(np.isfinite(apparent), apparent, twa)}


def wind_side(angle_deg: Array, time_s: Array) -> Array:
    """Tell the side the wind comes from: 1 starboard, -1 port, 0 before it is known.

    Near the bow and dead aft, where the vane swings from side to side, she is still on the
    side that she was on.

    Parameters
    ----------
    angle_deg : array_like, shape (n,)
        On the bow, negative to port. [°]
    time_s : array_like, shape (n,)
        [s]
    """
    known = np.isfinite(angle_deg)
    radians = np.radians(np.where(known, angle_deg, 0.0))
    width = max(1, round(10.0 / max(_step(time_s), 1.0)))
    # A kernel longer than the log would make the log longer.
    kernel = np.ones(min(width, known.size))
    across = np.convolve(np.where(known, np.sin(radians), 0.0), kernel, "same")
    ahead = np.convolve(np.where(known, np.cos(radians), 0.0), kernel, "same")
    smooth = np.degrees(np.arctan2(across, ahead))
    clear = (np.abs(smooth) > NEAR_THE_BOW_DEG) & (np.abs(smooth) < NEAR_ASTERN_DEG)
    clear &= np.hypot(across, ahead) > 0.0
    at = np.maximum.accumulate(np.where(clear, np.arange(smooth.size), -1))
    if not clear.any():
        # Dead aft all the while: the side the vane favours.
        return np.full(smooth.size, np.sign(np.nansum(np.sign(smooth))))
    return np.where(at < 0, 0.0, np.sign(smooth[np.maximum(at, 0)]))


@dataclass(frozen=True, slots=True)
class _Cut:
    """Where stretches begin among the readings, and sums over them."""

    first: NDArray[np.intp]
    time_s: Array

    @property
    def count(self) -> NDArray[np.intp]:
        return np.diff(np.append(self.first, self.time_s.size))

    def total(self, values: AnyArray) -> Array:
        return np.asarray(np.add.reduceat(values, self.first), dtype=np.float64)

    def known(self, values: Array) -> Array:
        return self.total(np.isfinite(values).astype(np.float64))

    def mean(self, values: Array) -> Array:
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.asarray(self.total(np.nan_to_num(values)) / self.known(values))

    def begin(self, values: Array) -> Array:
        """The first known value of each, at every reading."""
        at = np.where(np.isfinite(values), np.arange(values.size), values.size - 1)
        return np.asarray(values[np.repeat(np.minimum.reduceat(at, self.first), self.count)])

    def circular(self, angle: Array) -> tuple[Array, Array]:
        """Mean of angles, and each reading from it."""
        start = self.begin(angle)
        apart = turned(angle - start)
        mean = self.mean(apart)
        return turned(start[self.first] + mean), apart - np.repeat(mean, self.count)

    def spread(self, apart: Array) -> Array:
        return np.sqrt(self.mean(apart**2))

    def halves(self, values: Array) -> Array:
        """Mean of the second half less that of the first."""
        middle = np.repeat(self.first + self.count // 2, self.count)
        second = np.arange(values.size) >= middle
        return self.mean(np.where(second, values, np.nan)) - self.mean(
            np.where(second, np.nan, values)
        )

    def _tens(self, apart: Array) -> tuple[Array, _Cut]:
        """Means of ten readings after another, and the cut over them."""
        begin = np.repeat(self.first, self.count)
        group = (np.arange(apart.size) - begin) // 10
        new = np.concatenate(([True], (np.diff(group) != 0) | (np.diff(begin) != 0)))
        inner = _Cut(np.flatnonzero(new), self.time_s)
        return inner.mean(apart), _Cut(
            np.searchsorted(inner.first, self.first), inner.first.astype(np.float64)
        )

    def spread_of_tens(self, apart: Array) -> Array:
        parts, outer = self._tens(apart)
        return np.sqrt(outer.mean(parts**2))

    def standard_error(self, apart: Array) -> Array:
        """Of a mean of readings that hang together: from the means of tens of readings."""
        parts, outer = self._tens(apart)
        number = np.maximum(outer.known(parts), 1.0)
        return np.sqrt(outer.mean(parts**2) / np.maximum(number - 1.0, 1.0))


def _measured(
    log: Log,
    cut: _Cut,
    heading: Array,
    wind: Mapping[str, Array],
    run: NDArray[np.intp],
    length_s: float,
) -> Stretches:
    stw = log.get("stw_kn")
    if not np.isfinite(stw).any():
        stw = log.get("sog_kn")
    made = _means(log, cut, heading, wind, run, stw)
    steady = _steady(made, cut, cut.circular(heading)[1], heading, stw, length_s)
    engine = _engine(made, steady, cut.mean(log.get("engine_rpm")))
    return replace(made, steady=steady, engine=engine)


def _means(
    log: Log,
    cut: _Cut,
    heading: Array,
    wind: Mapping[str, Array],
    run: NDArray[np.intp],
    stw: Array,
) -> Stretches:
    """Average what was logged; whether she was steady, or under engine, is not judged yet."""
    mean_awa, swing = cut.circular(log.get("awa_deg"))
    aws, mean_aws, mean_stw = log.get("aws_kn"), cut.mean(log.get("aws_kn")), cut.mean(stw)
    course, sog, bow = np.radians(log.get("cog_deg")), log.get("sog_kn"), np.radians(heading)
    gusts = cut.standard_error(aws - np.repeat(mean_aws, cut.count))
    none = np.zeros(cut.first.size, dtype=bool)
    return Stretches(
        begin_s=log.time_s[cut.first],
        end_s=log.time_s[np.append(cut.first[1:], log.time_s.size) - 1],
        heading_deg=np.mod(cut.circular(heading)[0], 360.0),
        stw_kn=mean_stw,
        # Ten readings average out the log's own noise.
        stw_spread_kn=cut.spread_of_tens(stw - np.repeat(mean_stw, cut.count)),
        awa_deg=mean_awa,
        aws_kn=mean_aws,
        twa_deg=cut.circular(wind["twa"])[0],
        tws_kn=cut.mean(wind["tws"]),
        heel_deg=np.abs(cut.mean(log.get("heel_deg"))),
        east_kn=cut.mean(sog * np.sin(course)),
        north_kn=cut.mean(sog * np.cos(course)),
        log_east_kn=cut.mean(stw * np.sin(bow)),
        log_north_kn=cut.mean(stw * np.cos(bow)),
        lat=cut.mean(log.get("lat")),
        lon=cut.mean(log.get("lon")),
        awa_error_deg=cut.standard_error(swing),
        aws_error=gusts / np.maximum(mean_aws, 0.1),
        board=run,
        steady=none,
        engine=none,
    )


def _steady(
    made: Stretches,
    cut: _Cut,
    yaw: Array,
    heading: Array,
    stw: Array,
    length_s: float,
) -> BoolArray:
    enough = (cut.known(stw) >= FEWEST_READINGS) & (cut.known(heading) >= FEWEST_READINGS)
    enough &= made.end_s - made.begin_s >= 0.6 * length_s
    course = (cut.spread(yaw) <= HELD_COURSE_DEG) & (np.abs(cut.halves(yaw)) <= CHANGED_COURSE_DEG)
    speed = np.abs(cut.halves(stw)) <= np.maximum(HELD_SPEED_KN, HELD_SPEED * made.stw_kn)
    fast = cut.mean((stw > SURFED * np.repeat(made.stw_kn, cut.count)).astype(np.float64)) > 0.05
    with np.errstate(invalid="ignore"):
        shaken = (made.awa_error_deg > MAST_LEAVES_DEG) | (made.aws_error > MAST_LEAVES)
    steady = enough & course & speed & ~fast & ~shaken & (made.stw_kn >= LEAST_SPEED_KN)
    # She has her way again a stretch after a turn: the first of a run is left out.
    recovering = np.concatenate(([False], np.diff(made.board) != 0))
    turning = ~course & enough
    return np.asarray(steady & ~recovering & ~np.concatenate(([False], turning[:-1])))


def _engine(made: Stretches, steady: BoolArray, rpm: Array) -> BoolArray:
    """Tell stretches under engine: by its own revolutions, else by how she goes."""
    awa, tws = np.abs(made.awa_deg), made.tws_kn
    with np.errstate(invalid="ignore"):
        told = np.isfinite(awa) & np.isfinite(made.aws_kn) & np.isfinite(made.stw_kn)
        reckoned = true_from_apparent(
            np.where(told, awa, 0.0), np.where(told, made.aws_kn, 0.0), np.nan_to_num(made.stw_kn)
        ).tws_kn
        tws = np.where(told, reckoned, tws)
        without_wind = (tws < CALM_KN) & (made.stw_kn > CALM_SPEED_KN)
        without_wind |= (tws < 8.0) & (made.stw_kn > OUTRUNS * tws)
        in_the_wind = (awa < IN_THE_WIND_DEG) & (made.stw_kn > 1.0)
        smooth = (made.stw_spread_kn < ENGINE_STEADY_KN) & _steady_for_minutes(made.stw_kn)
        angle = np.where(np.isfinite(awa), awa, np.abs(made.twa_deg))
        blows = np.where(np.isfinite(made.aws_kn), made.aws_kn, tws)
        pressed = (angle > 25.0) & (angle < 100.0) & (blows > 9.0)
        heeled = np.where(np.isfinite(made.heel_deg), made.heel_deg > 2.0 * UPRIGHT_DEG, pressed)
        # Dead downwind a sailing boat is upright too, but not so steady.
        upright = ~(made.heel_deg >= UPRIGHT_DEG)
        known = steady & heeled & ~in_the_wind & ~without_wind
        smooth &= upright & (smooth[known].mean() < TELLING if known.any() else False)
        signs = without_wind | in_the_wind | smooth
        signs |= (made.heel_deg < UPRIGHT_DEG) & pressed
        signs &= steady | without_wind | _with_a_neighbour(in_the_wind)
        running = np.where(np.isfinite(rpm), rpm > 0.0, signs)
    return _closed(made, np.asarray(running))


def _steady_for_minutes(stw_kn: Array) -> BoolArray:
    """Whether the means of five stretches after another, one of them this, lie as close."""
    if stw_kn.size < MINUTES_TOGETHER:
        return np.zeros(stw_kn.size, dtype=bool)
    together = np.lib.stride_tricks.sliding_window_view(stw_kn, MINUTES_TOGETHER)
    close = np.ptp(together, axis=1) < 2.0 * ENGINE_STEADY_KN
    found = np.zeros(stw_kn.size, dtype=bool)
    for offset in range(MINUTES_TOGETHER):
        found[offset : offset + close.size] |= close
    return found


def _with_a_neighbour(where: BoolArray) -> BoolArray:
    """Those beside another: a tack passes through the wind within one stretch."""
    padded = np.concatenate(([False], where, [False]))
    return np.asarray(where & (padded[:-2] | padded[2:]))


def _closed(made: Stretches, engine: BoolArray) -> BoolArray:
    """Take what lies between two stretches under engine, close to each other, for engine too."""
    on = np.flatnonzero(engine)
    if on.size < 2:
        return engine
    before = np.searchsorted(on, np.arange(engine.size), side="right") - 1
    inside = (before >= 0) & (before < on.size - 1)
    left = on[np.maximum(before, 0)]
    right = on[np.minimum(before + 1, on.size - 1)]
    close = made.begin_s[right] - made.end_s[left] <= ENGINE_GAP_S
    return engine | (inside & close)
