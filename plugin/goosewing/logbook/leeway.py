"""How she goes to leeward, from a log of both tacks or from the angle of her wake."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from goosewing.errors import InputError
from goosewing.files.cells import cells_of
from goosewing.logbook.estimates import CERTAIN, Estimate, robust_fit, student_quantile
from goosewing.logbook.motion import Motion, motion
from goosewing.logbook.samples import Log
from goosewing.logbook.stretches import Stretches, stretches
from goosewing.units import Array

WAKE_COLUMNS = ("heel_deg", "boat_speed_kn", "wake_deg")

FEWEST_READINGS = 4

LARGEST_WAKE_DEG, LARGEST_HEEL_DEG, LARGEST_SPEED_KN = 30.0, 60.0, 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LeewayFound:
    """The leeway coefficient, and what came out with it.

    Attributes
    ----------
    coefficient, low, high : float
        k and its 95 % interval. [° · kn² per °]
    compass_offset_deg : float or None
        What the compass reads too much; None where nothing tells it. [°]
    log_factor : float or None
        Multiplies what the log shows.
    by : str
        "log" or "wake".
    readings : int
        Steady stretches, or sights of the wake.
    boards : tuple of int or None
        On port and on starboard tack.
    notices : tuple of str
    """

    coefficient: float
    low: float
    high: float
    compass_offset_deg: float | None
    log_factor: float | None
    by: str
    readings: int
    boards: tuple[int, int] | None = None
    notices: tuple[str, ...] = ()


def leeway_from_log(log: Log, variation_deg: float | None = None) -> LeewayFound:
    """Tell k from a log of both tacks.

    Parameters
    ----------
    log : Log
        With heading, speed through the water, heel, and course and speed over the ground.
    variation_deg : float, optional
        Of a magnetic compass, east positive, where the log has none. [°]

    Raises
    ------
    InputError
        If something of that is missing, or one tack is.
    """
    where = ", ".join(log.names) or None
    _check_channels(log, where)
    sailed = stretches(log, variation_deg).sailed
    found = motion(sailed)
    if not found.leeway.told:
        raise InputError(_refusal(found, sailed), where=where)
    told = found.compass_offset_deg
    notices = list(log.notices)
    magnetic = not log.has("heading_deg") and not log.has("variation_deg")
    if magnetic and variation_deg is None:
        notices.append("The log has no variation: the compass's error holds it.")
    if not found.log_factor.told:
        notices.append(
            "The log factor can't be told from this log, and is taken as 1: sail other courses "
            "than a beat's too."
        )
    return LeewayFound(
        coefficient=found.leeway.value,
        low=max(found.leeway.low, 0.0),
        high=found.leeway.high,
        compass_offset_deg=told.value if told.told else None,
        log_factor=found.log_factor.value if found.log_factor.told else None,
        by="log",
        readings=len(sailed),
        boards=found.boards,
        notices=tuple(notices),
    )


def _check_channels(log: Log, where: str | None) -> None:
    missing = [
        words
        for words, there in (
            ("a heading", log.has("heading_deg") or log.has("heading_magnetic_deg")),
            ("speed through the water", log.has("stw_kn")),
            ("heel", log.has("heel_deg")),
            ("course and speed over the ground", log.has("cog_deg", "sog_kn")),
            ("a wind angle, which tells the tack", log.has("awa_deg") or log.has("twa_deg")),
        )
        if not there
    ]
    if missing:
        raise InputError(f"leeway can't be told without {', '.join(missing)}", where=where)


def _refusal(found: Motion, sailed: Stretches) -> str:
    counts = [int((sailed.side == side).sum()) for side in (-1.0, 1.0)]
    told = (
        f"{len(sailed)} steady stretches under sail, {counts[0]} on port and {counts[1]} on "
        "starboard tack"
    )
    if min(counts) == 0 and max(counts) > 0:
        return (
            "leeway can't be told from one tack alone: a compass's error and a stream look the "
            f"same ({told})"
        )
    return f"leeway can't be told from this log: {found.why or 'too little to tell'} ({told})"


# ---- from the wake -----------------------------------------------------------------------------


def is_wake_table(text: str) -> bool:
    """Whether a text begins as a table of sights of the wake."""
    plain = (line for line in text.lstrip("\ufeff").splitlines() if _holds(line))
    return "wake_deg" in next(plain, "").lower()


def _holds(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def leeway_from_wake(text: str, where: str) -> LeewayFound:
    """Tell k from sights of the wake: the angle between it and the line ahead and astern.

    Parameters
    ----------
    text : str
        A table with `WAKE_COLUMNS`. Heel and wake may be signed by side, positive to starboard,
        on both tacks: what the bearing instrument reads too much then drops out.
    where : str
        The file, for messages.

    Raises
    ------
    InputError
        With row and column of what is wrong, or if there are too few readings.
    """
    heel, speed, wake = _wake_readings(text, where)
    effect = heel / speed**2
    on_both = bool((heel > 0.0).any() and (heel < 0.0).any())
    columns = (effect, np.ones(heel.size)) if on_both else (effect,)
    design = np.column_stack(columns)
    found = robust_fit(design, wake, np.arange(heel.size), np.diag([1e-6] * len(columns)), pairs=1)
    freedom = heel.size - len(columns)
    reach = student_quantile(0.5 + CERTAIN / 2.0, freedom) * float(np.sqrt(found.covariance[0, 0]))
    k = Estimate(
        value=float(found.value[0]),
        low=float(found.value[0]) - reach,
        high=float(found.value[0]) + reach,
    )
    if k.high <= 0.0:
        raise InputError(
            "the wake lies to leeward of the line astern, which no leeway does: is a sign wrong?",
            where=where,
        )
    notices = () if on_both else ("One tack alone: what the sight reads too much is in k.",)
    return LeewayFound(
        coefficient=k.value,
        low=max(k.low, 0.0),
        high=k.high,
        compass_offset_deg=None,
        log_factor=None,
        by="wake",
        readings=heel.size,
        notices=notices,
    )


def _wake_readings(text: str, where: str) -> tuple[Array, Array, Array]:
    lines = [
        (number, line)
        for number, line in enumerate(text.lstrip("\ufeff").splitlines(), 1)
        if _holds(line)
    ]
    mark = next((m for m in "\t;," if m in lines[0][1]), ",")
    rows = [(n, [c.strip() for c in cells_of(ln, mark)]) for n, ln in lines]
    header = [cell.lower() for cell in rows[0][1]]
    for name in WAKE_COLUMNS:
        if name not in header:
            raise InputError(f'the column "{name}" is missing', where=f"{where}, row {rows[0][0]}")
    if len(rows) - 1 < FEWEST_READINGS:
        raise InputError(
            f"{len(rows) - 1} sights of the wake, expected {FEWEST_READINGS} or more", where=where
        )
    read = np.array([
        [_cell(cells, header.index(name), number, name, where) for name in WAKE_COLUMNS]
        for number, cells in rows[1:]
    ])  # fmt: skip
    return read[:, 0], read[:, 1], read[:, 2]


_LIMITS = {
    "heel_deg": (-LARGEST_HEEL_DEG, LARGEST_HEEL_DEG),
    "boat_speed_kn": (0.5, LARGEST_SPEED_KN),
    "wake_deg": (-LARGEST_WAKE_DEG, LARGEST_WAKE_DEG),
}


def _cell(cells: Sequence[str], at: int, number: int, name: str, where: str) -> float:
    place = f"{where}, row {number}, column {name}"
    text = cells[at] if at < len(cells) else ""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        raise InputError(f'"{text[:30]}" is not a number', where=place) from None
    low, high = _LIMITS[name]
    if not low <= value <= high:
        raise InputError(f"expected {low:g} to {high:g}, got {value:g}", where=place)
    return value
