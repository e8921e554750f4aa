"""A boat file from logs: first the sensors, then steady stretches, then the polar with its band."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from goosewing.boat.model import (
    BLEND_DEG,
    LARGEST_PERFORMANCE,
    Band,
    Boat,
    Leeway,
    Performance,
    PolarTable,
    SailSet,
)
from goosewing.errors import InputError
from goosewing.logbook.estimates import (
    CERTAIN,
    Estimate,
    robust_fit,
    student_quantile,
    unknown,
)
from goosewing.logbook.motion import Motion, motion, nothing_told
from goosewing.logbook.samples import Log
from goosewing.logbook.stretches import Stretches, stretches
from goosewing.logbook.surface import Known, Points, Surface, fit_surface, usual_form
from goosewing.logbook.vane import TrueWind, Vane, fading, true_wind, vane
from goosewing.logbook.vane import nothing_told as unseen_vane
from goosewing.units import Array, BoolArray
from goosewing.weather.wind import true_from_apparent, wind_at_height

FEWEST_FOR_A_POLAR, FEWEST_FOR_A_FACTOR, FEWEST_FOR_A_SAIL_SET = 40, 8, 15
"""Steady stretches under sail; our choice."""

NARROWEST_DEG, NARROWEST_WINDS = 40.0, 2
"""Angles and winds that a log must span for a polar without a base; our choice."""

ANGLES_DEG = (
    30, 34, 38, 42, 46, 50, 55, 60, 70, 80, 90, 100, 110, 120, 130, 140, 150, 160, 170, 180
)  # fmt: skip
WINDS_KN = (4, 6, 8, 10, 12, 14, 16, 20, 25, 30)
"""Rows and columns of a table that is made without a base."""

LEAST_WIND_KN = 2.5

SAILED_AS_LOGGED = "as logged"
"""What a sail set is called that nobody named."""

UNTOLD_VANE_DEG = 2.0
"""Doubt of a vane that the log can't tell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """What of a log was used, in hours and stretches."""

    logged_h: float
    engine_h: float
    unsteady_h: float
    sailed: int
    used: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SailSetFit:
    """What was learned of one sail set."""

    sail_set: str
    stretches: int
    error: float
    """Of one stretch, as a share of speed."""
    median_half_band: float
    """Of the cells with stretches in them, as a share of speed."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted:
    """A boat learned from logs.

    Attributes
    ----------
    boat : Boat
    motion, vane : what the sensors read wrong.
    performance : mapping of str to Estimate, or None
        Factors against the base, where these were asked for.
    tally : Tally
    sail_sets : tuple of SailSetFit
    quantile : float
    remarks, notices : tuple of str
        For the boat file; for whoever reads the sheet.
    """

    boat: Boat
    motion: Motion
    vane: Vane
    performance: dict[str, Estimate] | None
    tally: Tally
    sail_sets: tuple[SailSetFit, ...]
    quantile: float
    notices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What is asked of a fit.

    Attributes
    ----------
    quantile : float
        Of boat speed: 0.5 what she usually makes, 0.9 what she makes sailed well.
    sail_set : str or None
        The sails that were carried all the while, if anyone knows.
    factors_only : bool
        Fit the base's performance factors and leave its tables.
    wind_height_m : float or None
        Of the wind sensor above the water; None: at the polar's own height. [m]
    variation_deg : float or None
        Of a magnetic compass, where the log has none. [°]
    name : str
        Of a boat without a base.
    """

    quantile: float = 0.5
    sail_set: str | None = None
    factors_only: bool = False
    wind_height_m: float | None = None
    variation_deg: float | None = None
    name: str = "Logged"

    def __post_init__(self) -> None:
        if not 0.05 <= self.quantile <= 0.95:
            raise InputError(f"the quantile must be 0.05 to 0.95, got {self.quantile:g}")
        if self.wind_height_m is not None and not 0.5 <= self.wind_height_m <= 100.0:
            raise InputError(f"a wind height is 0.5 to 100 m, got {self.wind_height_m:g}")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Read:
    """A log's stretches, put right."""

    every: Stretches
    sailed: Stretches
    motion: Motion
    vane: Vane
    wind: TrueWind
    tally: Tally
    where: str | None
    heel_logged: bool = True
    """If not, the stretches' heel is what the base's table says, or a rough guess."""


def put_right(log: Log, wish: Wish | None = None, base: Boat | None = None) -> Read:
    """Cut a log into stretches, tell the sensors' errors from it, and take them off.

    Raises
    ------
    InputError
        If the log has no wind, no speed or no direction.
    """
    wish = wish or Wish()
    where = ", ".join(log.names) or None
    _check_channels(log, where)
    every = stretches(log, wish.variation_deg)
    logged = log.has("heel_deg")
    if not logged:
        every = replace(every, heel_deg=_guessed_heel(every, base))
    sailed = every.sailed
    moved = _moved(log, sailed, base)
    # A course over the ground holds leeway and stream, which would pass for upwash.
    found = vane(sailed, moved) if _has_compass(log) else unseen_vane()
    wind = true_wind(sailed, moved, found)
    height = 10.0 if base is None else base.polar_height_m
    if wish.wind_height_m is not None:
        brought = wind_at_height(np.nan_to_num(wind.tws_kn), wish.wind_height_m, height)
        wind = replace(wind, tws_kn=np.where(np.isfinite(wind.tws_kn), brought, np.nan))
    tally = Tally(
        logged_h=log.hours,
        engine_h=every.only(every.engine).hours,
        unsteady_h=every.only(~every.steady & ~every.engine).hours,
        sailed=len(sailed),
        used=0,
    )
    return Read(
        every=every,
        sailed=sailed,
        motion=moved,
        vane=found,
        wind=wind,
        tally=tally,
        where=where,
        heel_logged=logged,
    )


def _has_compass(log: Log) -> bool:
    return log.has("heading_deg") or log.has("heading_magnetic_deg")


def _moved(log: Log, sailed: Stretches, base: Boat | None) -> Motion:
    """Tell log, compass and leeway; what stands in for a sensor can't be held against itself."""
    known = None if base is None else base.leeway.coefficient
    if not _has_compass(log):
        return nothing_told("there is no compass in it", known)
    if not log.has("stw_kn"):
        return nothing_told("there is no speed through the water in it", known)
    return motion(sailed, known, heel_logged=log.has("heel_deg"))


def _guessed_heel(every: Stretches, base: Boat | None) -> Array:
    """Heel where none is logged: by the base's tables, else by a small yacht's.

    Without any, what is leeway would pass for an error of the compass and the vane.
    """
    angle = np.where(np.isfinite(every.awa_deg), np.abs(every.awa_deg), np.abs(every.twa_deg))
    told = true_from_apparent(
        np.nan_to_num(angle), np.nan_to_num(every.aws_kn), np.nan_to_num(every.stw_kn)
    )
    apparent = np.isfinite(every.awa_deg) & np.isfinite(every.aws_kn)
    twa = np.where(apparent, told.twa_deg, angle)
    tws = np.where(apparent, told.tws_kn, every.tws_kn)
    heel = np.exp(_heel_form(np.nan_to_num(twa), np.nan_to_num(tws)))
    if base is not None:
        number = carried(base, twa, tws)
        for at, sails in enumerate(base.sail_sets):
            mine = number == at
            if sails.heel is None:
                heel[mine] = 0.0
                continue
            row = np.clip(twa[mine], sails.heel.first_twa_deg, sails.heel.last_twa_deg)
            heel[mine] = sails.heel.at(row, np.minimum(tws[mine], sails.heel.last_tws_kn))
    return np.asarray(np.nan_to_num(heel))


def _check_channels(log: Log, where: str | None) -> None:
    apparent, true = (
        log.has("awa_deg", "aws_kn"),
        log.has("tws_kn") and (log.has("twa_deg") or log.has("twd_deg")),
    )
    if not (apparent or true):
        raise InputError(
            "holds no wind: an apparent or true wind angle and speed are needed", where=where
        )
    if not (log.has("stw_kn") or log.has("sog_kn")):
        raise InputError(
            "holds no speed, neither through the water nor over the ground", where=where
        )
    if not any(log.has(n) for n in ("heading_deg", "heading_magnetic_deg", "cog_deg")):
        raise InputError(
            "holds no heading, nor a course over the ground in its place: whether she turns "
            "can't be told",
            where=where,
        )


def fit(log: Log, base: Boat | None = None, wish: Wish | None = None) -> Fitted:
    """Learn a boat from a log.

    Parameters
    ----------
    log : Log
    base : Boat, optional
        What is known of her beforehand: her tables stand where the log is thin.
    wish : Wish, optional

    Returns
    -------
    Fitted

    Raises
    ------
    InputError
        If the log can't tell what is asked: why, and how much of it was under engine.
    """
    wish = wish or Wish()
    if wish.factors_only and base is None:
        raise InputError("performance factors are against a base: name it with --boat")
    read = put_right(log, wish, base)
    usable = _usable(read)
    need = FEWEST_FOR_A_FACTOR if wish.factors_only else FEWEST_FOR_A_POLAR
    if int(usable.sum()) < need:
        raise InputError(_too_little(log, read, int(usable.sum()), need), where=read.where)
    notices = (*log.notices, *_notices(log, read, base, wish))
    read = replace(read, tally=replace(read.tally, used=int(usable.sum())))
    if wish.factors_only and base is not None:
        return _factors(read, usable, base, wish, notices)
    return _tables(read, usable, base, wish, notices)


def _usable(read: Read) -> BoolArray:
    wind = read.wind
    known = np.isfinite(wind.twa_deg) & np.isfinite(wind.tws_kn) & np.isfinite(wind.stw_kn)
    with np.errstate(invalid="ignore"):
        return np.asarray(known & (wind.tws_kn >= LEAST_WIND_KN) & (wind.twa_deg >= 20.0))


def _too_little(log: Log, read: Read, found: int, need: int) -> str:
    tally = read.tally
    parts = [
        f"{found} steady stretches under sail, expected {need} or more: of {tally.logged_h:.1f} h "
        f"logged, {tally.engine_h:.1f} h were under engine and {tally.unsteady_h:.1f} h unsteady"
    ]
    if not log.has("heading_deg") and not log.has("heading_magnetic_deg"):
        parts.append(
            "there is no compass in it either, so that its sensors can't be told from both tacks"
        )
    return "; ".join(parts)


def _notices(log: Log, read: Read, base: Boat | None, wish: Wish) -> list[str]:
    found = []
    if not log.has("heading_deg") and not log.has("heading_magnetic_deg"):
        found.append("No compass in it: her course over the ground stands for her heading.")
    if not log.has("stw_kn"):
        found.append(
            "No log in it: her speed over the ground stands for her speed, and a stream is in it."
        )
    if not log.has("awa_deg"):
        found.append("No apparent wind in it: true wind is taken as given, vane and all.")
    if read.motion.why:
        found.append(f"Log, compass and leeway can't be told from this log: {read.motion.why}.")
    if not read.heel_logged:
        source = "the base's table" if base is not None else "a small yacht's"
        found.append(f"No heel in it: {source} stands for hers, and leeway can't be told.")
    if wish.wind_height_m is None:
        found.append(
            "The wind is taken to be that of the polar's height; name the sensor's own with "
            "--wind-height."
        )
    if base is not None and len(base.sail_sets) > 1 and wish.sail_set is None:
        found.append(
            "Which sails were up is not logged: each stretch is taken to be sailed under what "
            "the base carries there; or name it with --sail-set."
        )
    return found


# ---- tables --------------------------------------------------------------------------------------


def _tables(
    read: Read, usable: BoolArray, base: Boat | None, wish: Wish, notices: tuple[str, ...]
) -> Fitted:
    points = _points(read, base)
    sets: list[SailSet] = []
    told: list[SailSetFit] = []
    for number, sails in enumerate(_sets_of(read, usable, base, wish)):
        mine = usable & (_set_of(read, base, wish) == number)
        if int(mine.sum()) < FEWEST_FOR_A_SAIL_SET:
            sets.append(sails)
            notices = (*notices, _kept_words(sails, int(mine.sum())))
            continue
        known = usual_form if base is None else _known(sails, base)
        polar = sails.polar
        winds = polar.tws_kn[polar.tws_kn > 0.0]
        surface = fit_surface(
            points.only(mine),
            polar.twa_deg,
            winds,
            known,
            quantile=wish.quantile,
            besides=_besides(read, known, polar.twa_deg, winds),
        )
        heel = sails.heel if base is not None else _heel(read, mine, points, polar)
        sets.append(_with(sails, surface, heel))
        told.append(_told(sails.name, surface))
    boat = _boat(read, base, tuple(sets), wish)
    return Fitted(
        boat=boat,
        motion=read.motion,
        vane=read.vane,
        performance=None,
        tally=read.tally,
        sail_sets=tuple(told),
        quantile=wish.quantile,
        notices=notices,
    )


def _kept_words(sails: SailSet, count: int) -> str:
    return (
        f"{sails.name}: {count} stretches, expected {FEWEST_FOR_A_SAIL_SET} or more; its table "
        "stays as it was."
    )


def _points(read: Read, base: Boat | None) -> Points:
    wind = read.wind
    angle = wind.twa_deg
    if base is not None and base.polar_angle == "track":
        angle = np.minimum(angle + wind.leeway_deg, 180.0)
    return Points(
        twa_deg=angle, tws_kn=wind.tws_kn, speed_kn=wind.stw_kn, time_s=read.sailed.begin_s
    )


def _sets_of(read: Read, usable: BoolArray, base: Boat | None, wish: Wish) -> tuple[SailSet, ...]:
    """The base's sail sets; without a base one over what the log spans."""
    if base is not None:
        if wish.sail_set is not None:
            base.index(wish.sail_set)
        return base.sail_sets
    twa, tws = read.wind.twa_deg[usable], read.wind.tws_kn[usable]
    low, high = np.quantile(twa, (0.02, 0.98))
    rows = np.array([a for a in ANGLES_DEG if low - 1.0 <= a <= high + 4.0], dtype=np.float64)
    light, strong = np.quantile(tws, (0.02, 0.98))
    columns = np.array([w for w in WINDS_KN if light - 1.0 <= w <= strong + 1.0], dtype=np.float64)
    if high - low < NARROWEST_DEG or columns.size < NARROWEST_WINDS:
        raise InputError(
            f"it was sailed at {low:.0f}° to {high:.0f}° in {light:.0f} to {strong:.0f} kn of wind "
            "only: no polar comes from that; name a base with --boat, which its stretches then "
            "better",
            where=read.where,
        )
    flat = PolarTable(columns, rows, np.ones((rows.size, columns.size)))
    return (SailSet(name=wish.sail_set or SAILED_AS_LOGGED, polar=flat),)


def _set_of(read: Read, base: Boat | None, wish: Wish) -> NDArray[np.intp]:
    """Under which sail set each stretch is taken to have been sailed."""
    count = len(read.sailed)
    if base is None or len(base.sail_sets) == 1:
        return np.zeros(count, dtype=np.intp)
    if wish.sail_set is not None:
        return np.full(count, base.index(wish.sail_set), dtype=np.intp)
    return carried(base, read.wind.twa_deg, read.wind.tws_kn)


def carried(boat: Boat, twa_deg: Array, tws_kn: Array) -> NDArray[np.intp]:
    """Which of her sail sets is the fastest that may be carried; -1 where none may be.

    Parameters
    ----------
    boat : Boat
    twa_deg, tws_kn : ndarray, shape (n,)
        From the bow; over the water. [°, kn]
    """
    known = np.isfinite(twa_deg) & np.isfinite(tws_kn)
    twa, tws = np.where(known, twa_deg, 0.0), np.where(known, tws_kn, 0.0)
    speeds = np.full((len(boat.sail_sets), twa.size), -1.0)
    for at, sails in enumerate(boat.sail_sets):
        polar = sails.polar
        inside = (
            known & (twa >= sails.twa_deg[0] - BESIDE_DEG) & (twa <= sails.twa_deg[1] + BESIDE_DEG)
        )
        inside &= (tws >= sails.tws_kn[0]) & (tws <= sails.strongest_tws_kn + BESIDE_KN)
        inside &= twa >= polar.first_twa_deg - 4.0 * BESIDE_DEG
        row = np.clip(twa, polar.first_twa_deg, polar.last_twa_deg)
        speeds[at, inside] = polar.at(row, np.clip(tws, 0.0, polar.last_tws_kn))[inside]
    best = speeds.argmax(axis=0)
    return np.where(speeds.max(axis=0) > 0.0, best, -1)


BESIDE_DEG, BESIDE_KN = 3.0, 1.0
"""So far outside its limits a sail set is still believed to have been carried."""


def _known(sails: SailSet, base: Boat) -> Known:
    """Logarithm of what the base says, held to its table's edges."""
    polar = sails.polar
    least = float(polar.tws_kn[polar.tws_kn > 0.0][0])

    def known(twa_deg: Array, tws_kn: Array) -> Array:
        angle = np.clip(twa_deg, polar.first_twa_deg, polar.last_twa_deg)
        wind = np.clip(tws_kn, min(least, 2.0), polar.last_tws_kn)
        speed = polar.at(angle, wind) * base.performance.factor(angle)
        return np.log(np.maximum(speed, 0.2))

    return known


def _besides(read: Read, known: Known, twa_deg: Array, tws_kn: Array) -> Array:
    """What all stretches have wrong together, in logarithm of speed: the log, the vane."""
    rows, columns = np.meshgrid(twa_deg, tws_kn, indexing="ij")
    log_factor = read.motion.log_factor.deviation
    if not np.isfinite(read.sailed.awa_deg).any():
        return np.full(rows.shape, log_factor)
    upwash = read.vane.upwash_deg
    doubt = upwash.deviation if upwash.told else UNTOLD_VANE_DEG
    slope = known(rows + 1.0, columns) - known(rows - 1.0, columns)
    # The true angle is wider than the apparent, and grows about half as fast again.
    vane_share = 1.5 * doubt * fading(rows * 0.7) * slope / 2.0
    return np.hypot(log_factor, vane_share)


def _with(sails: SailSet, surface: Surface, heel: PolarTable | None) -> SailSet:
    """Put a fitted surface in the place of a sail set's polar."""
    calm = sails.polar.tws_kn[0] == 0.0
    winds = sails.polar.tws_kn

    def table(values: Array) -> PolarTable:
        still = np.zeros((len(values), 1))
        rounded = np.round(values, 2)
        return PolarTable(winds, surface.twa_deg, np.hstack((still, rounded)) if calm else rounded)

    count = surface.stretches.astype(np.float64)
    band = Band(
        low=table(np.minimum(surface.low_kn, surface.speed_kn)),
        high=table(np.maximum(surface.high_kn, surface.speed_kn)),
        stretches=np.hstack((np.zeros((len(count), 1)), count)) if calm else count,
    )
    return replace(sails, polar=table(surface.speed_kn), heel=heel, band=band)


def _told(name: str, surface: Surface) -> SailSetFit:
    there = surface.stretches > 0
    half = np.log(surface.high_kn / surface.low_kn) / 2.0
    return SailSetFit(
        sail_set=name,
        stretches=int(surface.stretches.sum()),
        error=surface.error,
        median_half_band=float(np.median(half[there])) if there.any() else float(np.median(half)),
    )


HEEL_FORM = ((20.0, 60.0, 90.0, 120.0, 150.0, 180.0), (17.0, 17.0, 13.0, 7.0, 3.0, 2.0))
"""Heel in 12 kn of wind by angle, of a small yacht: only a beginning for the fit; our choice."""


def _heel_form(twa_deg: Array, tws_kn: Array) -> Array:
    return np.asarray(
        np.log(np.interp(twa_deg, *HEEL_FORM)) + np.log(np.clip(tws_kn, 3, 20) / 12.0)
    )


def _heel(read: Read, mine: BoolArray, points: Points, polar: PolarTable) -> PolarTable | None:
    """A heel table from the log's own heel, on the polar's nodes; None where it has none."""
    heel = read.sailed.heel_deg
    known = mine & np.isfinite(heel) & read.heel_logged
    if int(known.sum()) < FEWEST_FOR_A_SAIL_SET:
        return None
    part = replace(points, speed_kn=np.maximum(np.nan_to_num(heel), 0.5)).only(known)
    surface = fit_surface(part, polar.twa_deg, polar.tws_kn, _heel_form, shape=False)
    return PolarTable(
        polar.tws_kn, polar.twa_deg, np.clip(np.round(surface.speed_kn, 1), 0.0, 45.0)
    )


def _boat(read: Read, base: Boat | None, sets: tuple[SailSet, ...], wish: Wish) -> Boat:
    told = read.motion.leeway
    own = Leeway() if base is None else base.leeway
    leeway = replace(own, coefficient=round(told.value, 2)) if told.told else own
    if base is None:
        return Boat(name=wish.name, sail_sets=sets, leeway=leeway)
    return replace(base, sail_sets=_unscaled(base, sets), leeway=leeway, performance=Performance())


def _unscaled(base: Boat, sets: tuple[SailSet, ...]) -> tuple[SailSet, ...]:
    """Put the base's factors into the tables of the sail sets that were not fitted."""
    if base.performance == Performance():
        return sets
    return tuple(
        replace(
            sails,
            polar=replace(
                sails.polar,
                values=sails.polar.values
                * base.performance.factor(sails.polar.twa_deg)[:, np.newaxis],
            ),
            band=None,
        )
        if sails is own
        else sails
        for sails, own in zip(sets, base.sail_sets, strict=True)
    )


# ---- factors -------------------------------------------------------------------------------------


def _factors(
    read: Read, usable: BoolArray, base: Boat, wish: Wish, notices: tuple[str, ...]
) -> Fitted:
    """Fit upwind, reach and run against the base's own tables."""
    points = _points(read, base)
    number = _set_of(read, base, wish)
    bare = replace(base, performance=Performance())
    ratio = np.full(len(read.sailed), np.nan)
    for at, sails in enumerate(base.sail_sets):
        mine = usable & (number == at)
        known = _known(sails, bare)(points.twa_deg[mine], points.tws_kn[mine])
        ratio[mine] = points.speed_kn[mine] / np.exp(known)
    good = np.isfinite(ratio)
    found = _factor_estimates(
        ratio[good], points.twa_deg[good], read.sailed.board[good], base.performance, wish.quantile
    )
    performance = Performance(**{
        name: round(float(np.clip(each.value, 0.05, LARGEST_PERFORMANCE)), 3)
        for name, each in found.items()
    })  # fmt: skip
    told = read.motion.leeway
    leeway = replace(base.leeway, coefficient=round(told.value, 2)) if told.told else base.leeway
    return Fitted(
        boat=replace(base, performance=performance, leeway=leeway),
        motion=read.motion,
        vane=read.vane,
        performance=found,
        tally=read.tally,
        sail_sets=(),
        quantile=wish.quantile,
        notices=notices,
    )


FACTORS = ("upwind", "reach", "run")

FEWEST_BOARDS = 3

TOLD_FACTOR = 0.04
"""Standard deviation of a factor beyond which it is not told."""


def _factor_estimates(
    ratio: Array, twa_deg: Array, board: NDArray[np.intp], usual: Performance, quantile: float
) -> dict[str, Estimate]:
    ends = np.eye(3)[[0, 1, 1, 2]]
    shares = np.column_stack([np.interp(twa_deg, BLEND_DEG, ends[:, i]) for i in range(3)])
    beforehand = np.array([getattr(usual, name) for name in FACTORS])
    prior = np.eye(3) / 0.3**2
    solved = robust_fit(shares, ratio - shares @ beforehand, board, prior)
    shift = float(np.quantile(solved.residual, quantile))
    reach = student_quantile(0.5 + CERTAIN / 2.0, solved.freedom)
    found = {}
    for i, name in enumerate(FACTORS):
        value = float(solved.value[i] + beforehand[i]) + shift
        boards = np.unique(board[shares[:, i] > 0.5]).size
        # Of a few boards the spread between them says nothing yet.
        deviation = float(np.sqrt(solved.covariance[i, i]))
        deviation = max(deviation, solved.scale / np.sqrt(max(boards, 1)))
        told = deviation < TOLD_FACTOR and float(shares[:, i].sum()) >= FEWEST_FOR_A_FACTOR
        told = told and boards >= FEWEST_BOARDS
        found[name] = (
            Estimate(value=value, low=value - reach * deviation, high=value + reach * deviation)
            if told
            else unknown(float(beforehand[i]), 0.1)
        )
    return found
