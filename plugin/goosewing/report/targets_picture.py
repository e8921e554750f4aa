"""A picture of the targets: the polar with its hull, and speed made good against apparent angle.

One row a wind speed. Sail sets differ by colour and by the pattern of their lines; where no
board is worth sailing the line is thin and dotted. The colours are Okabe and Ito's [1]_, made
to be told apart by all kinds of colour vision.

References
----------
.. [1] M. Okabe and K. Ito, "Color Universal Design: how to make figures and presentations that
   are friendly to colorblind people," 2002, revised 2008.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from goosewing.errors import InputError
from goosewing.files.disk import write_atomically
from goosewing.report.picture import DPI, INK, QUIET, any_script, as_file, check_ending
from goosewing.velocities.polar_view import polar_view
from goosewing.velocities.targets import targets
from goosewing.velocities.velocity_set import Airs, velocity_set
from goosewing.weather.wind import apparent_wind
from goosewing.words.names import plain_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from goosewing.boat.model import Boat
    from goosewing.units import Array, BoolArray
    from goosewing.velocities.targets import Target, WindTargets
    from goosewing.velocities.velocity_set import VelocitySet

COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00")
LINES: tuple[Any, ...] = ("-", (0, (7, 2)), (0, (6, 2, 1, 2)), (0, (3, 1.5)), "-", (0, (9, 2)))
"""More sail sets than these take them again."""

DOTS, HULL = (0, (1, 2.2)), (0, (1, 4))

MOST_WINDS = 4
"""More rows than this are no page."""

ROW_INCHES, WIDTH_INCHES = 4.0, 10.0

CAUTION = (
    "Not for sole navigation. Over the water, at the polar's height, without stream; charts, "
    "depth, traffic and rules come first.\nDownwind: rig a preventer, handle the pole with care."
)


class Curve(NamedTuple):
    """One sail set on port tack, arrays of shape (n,), ascending in true wind angle."""

    number: int
    sail_set: str
    twa_deg: Array
    awa_deg: Array
    abeam_kn: Array
    """Square to the wind."""
    vmg_kn: Array
    """Towards the wind; negative down it."""


def write_targets_picture(
    path: Path, boat: Boat, winds_kn: Sequence[float], *, inputs: Iterable[Path] = ()
) -> None:
    """Draw the targets in these winds, four at most, as PNG, SVG or PDF.

    Raises
    ------
    InputError
        If the ending is none of these, there are more winds, one makes no sense, Matplotlib is
        missing, or the file can't be written.
    """
    kind = check_ending(path)
    write_atomically(path, draw_targets(boat, winds_kn, kind), inputs=inputs)


def some_of(winds_kn: Sequence[float]) -> list[float]:
    """Pick as many winds as there is room for, evenly among them.

    Examples
    --------
    >>> some_of([4, 6, 8, 10, 12, 16, 20]), some_of([10.0])
    ([4, 8, 12, 20], [10.0])
    """
    if len(winds_kn) <= MOST_WINDS:
        return list(winds_kn)
    at = np.linspace(0, len(winds_kn) - 1, MOST_WINDS).round().astype(int)
    return [winds_kn[each] for each in at]


def draw_targets(boat: Boat, winds_kn: Sequence[float], kind: str = "png") -> bytes:
    """Draw the targets and return the picture's bytes; see `write_targets_picture`."""
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError:
        raise InputError(
            'pictures need Matplotlib: in Goosewing\'s folder, pip install ".[picture]"'
        ) from None
    if len(winds_kn) > MOST_WINDS:
        raise InputError(
            f"a picture shows {MOST_WINDS} wind speeds at most, got {len(winds_kn)}: name fewer "
            "with --wind-speed"
        )
    figure = Figure(figsize=(WIDTH_INCHES, ROW_INCHES * len(winds_kn) + 0.9), layout="constrained")
    FigureCanvasAgg(figure)
    buffer = io.BytesIO()
    undated = {"Date": None} if kind == "svg" else None
    with any_script():
        draw(figure, boat, winds_kn)
        figure.savefig(buffer, format=kind, dpi=DPI, metadata=undated)
    return as_file(buffer, kind)


def draw(figure: Any, boat: Boat, winds_kn: Sequence[float]) -> None:
    """Draw on an empty figure: a row a wind speed, the polar on the left."""
    found = targets(boat, winds_kn)
    rows = figure.subplots(len(winds_kn), 2, squeeze=False, width_ratios=(1.0, 1.5))
    for (left, right), wind in zip(rows, found.wind_speeds, strict=True):
        held = velocity_set(boat, Airs(0.0, wind.tws_kn))
        curves = list(_curves(held, boat))
        _polar(left, held, curves, wind)
        _made_good(right, curves, wind)
    figure.supxlabel(CAUTION, fontsize=8, color=QUIET)
    _key(figure, boat)


def _curves(held: VelocitySet, boat: Boat) -> Iterator[Curve]:
    names = [sails.name for sails in boat.sail_sets]
    for number, mode in enumerate(held.modes):
        at = np.flatnonzero(held.mode == number)
        if mode.tack != "port" or not at.size:
            continue
        apparent = apparent_wind(
            held.twa_deg[at], held.airs.tws_kn, held.boat_speed_kn[at], held.leeway_deg[at]
        )
        yield Curve(
            names.index(mode.name), mode.name, held.twa_deg[at],
            np.asarray(apparent.awa_deg, dtype=np.float64), held.east_kn[at], held.north_kn[at],
        )  # fmt: skip


def _style(number: int) -> dict[str, Any]:
    return {"color": COLOURS[number % len(COLOURS)], "ls": LINES[number % len(LINES)]}


def _not_worth(curve: Curve, wind: WindTargets) -> BoolArray:
    """Return where the curve lies so deep inside the hull that two other boards are sooner."""
    inside = np.zeros(len(curve.twa_deg), dtype=bool)
    for sector in wind.not_worth_sailing:
        if sector.sail_set == curve.sail_set:
            low, high = sector.twa_deg
            inside |= (curve.twa_deg >= low) & (curve.twa_deg <= high)
    return inside


def _drawn(axes: Any, curve: Curve, x: Array, y: Array, wind: WindTargets) -> None:
    """Draw a curve, thin and dotted where it isn't worth sailing."""
    inside = _not_worth(curve, wind)
    style = _style(curve.number)
    edges = np.flatnonzero(np.diff(inside.astype(int))) + 1
    for part in np.split(np.arange(len(x)), edges):
        worth = not inside[part[0]]
        # Pieces meet: each is drawn on to the next one's first point.
        part = np.append(part, min(part[-1] + 1, len(x) - 1))
        own = style if worth else {"color": style["color"], "ls": DOTS}
        axes.plot(x[part], y[part], lw=2.0 if worth else 1.1, zorder=3, **own)


def _polar(axes: Any, held: VelocitySet, curves: Sequence[Curve], wind: WindTargets) -> None:
    axes.set_title(f"{wind.tws_kn:g} kn of true wind, from above", fontsize=9, color=QUIET)
    hull = polar_view(held, None).hull
    if len(hull) > 2:
        ring = np.vstack((hull, hull[:1]))
        axes.plot(*ring.T, color=INK, lw=0.9, ls=HULL, zorder=2)
    for curve in curves:
        _drawn(axes, curve, curve.abeam_kn, curve.vmg_kn, wind)
    for best, curve in _bests(curves, wind):
        at = int(np.argmin(np.abs(curve.twa_deg - best.twa_deg)))
        axes.plot(curve.abeam_kn[at], curve.vmg_kn[at], "o", ms=5, mfc="white", mec=INK, zorder=5)
    fastest = max([1.0, *(float(np.hypot(c.abeam_kn, c.vmg_kn).max()) for c in curves)])
    most = 2.0 * float(np.ceil(fastest / 2.0))
    angle = np.radians(np.arange(0.0, 181.0, 2.0))
    for kn in np.arange(2.0, most + 0.1, 2.0):
        axes.plot(kn * np.sin(angle), kn * np.cos(angle), color="#d5dbe1", lw=0.6, zorder=1)
        axes.text(0.0, kn, f"{kn:g}", fontsize=7, color=QUIET, ha="right", va="center")
    for deg in range(30, 180, 30):
        turn = np.radians(deg)
        axes.plot([0, most * np.sin(turn)], [0, most * np.cos(turn)], color="#e3e7eb", lw=0.5)
        axes.text(1.05 * most * np.sin(turn), 1.05 * most * np.cos(turn), f"{deg}°",
                  fontsize=7, color=QUIET, ha="center", va="center")  # fmt: skip
    axes.set_xlim(-0.09 * most, 1.15 * most)
    axes.set_aspect("equal")
    axes.set_axis_off()


def _bests(curves: Sequence[Curve], wind: WindTargets) -> Iterator[tuple[Target, Curve]]:
    """Go through the best points, each with the curve that it lies on."""
    for best in (*wind.upwind, *wind.downwind):
        for curve in curves:
            if curve.sail_set == best.sail_set:
                yield best, curve


def _made_good(axes: Any, curves: Sequence[Curve], wind: WindTargets) -> None:
    axes.axhline(0.0, color=INK, lw=0.7)
    for curve in curves:
        _drawn(axes, curve, curve.awa_deg, curve.vmg_kn, wind)
    for best, curve in _bests(curves, wind):
        _groove(axes, best, curve)
    for side, found in ((1.0, wind.upwind), (-1.0, wind.downwind)):
        greatest = max(found, key=lambda each: each.vmg_kn, default=None)
        if greatest is not None:
            _told(axes, greatest, side)
    axes.set_xlim(0.0, 180.0)
    axes.set_xticks(range(0, 181, 20))
    axes.margins(y=0.16)
    axes.tick_params(labelsize=7, colors=QUIET)
    axes.grid(color="#e3e7eb", lw=0.6)
    axes.set_axisbelow(True)
    axes.set_xlabel("apparent wind angle from the bow, degrees", fontsize=8, color=QUIET)
    axes.set_ylabel("made good to the wind, kn\n(below 0: down the wind)", fontsize=8, color=QUIET)


def _groove(axes: Any, best: Target, curve: Curve) -> None:
    """Mark a best point, and broadly the angles at which she loses less than 1 % of it."""
    low, high = best.groove_twa_deg
    within = (curve.twa_deg >= low - 1e-6) & (curve.twa_deg <= high + 1e-6)
    colour = COLOURS[curve.number % len(COLOURS)]
    axes.plot(curve.awa_deg[within], curve.vmg_kn[within], color=colour, lw=9, alpha=0.28,
              solid_capstyle="butt", zorder=2)  # fmt: skip
    at = int(np.argmin(np.abs(curve.twa_deg - best.twa_deg)))
    side = np.sign(curve.vmg_kn[at]) or 1.0
    axes.plot(best.awa_deg, side * best.vmg_kn, "o", ms=5, mfc="white", mec=INK, zorder=5)


def _told(axes: Any, best: Target, side: float) -> None:
    low, high = best.groove_twa_deg
    words = (
        f"{plain_name(best.sail_set)}: AWA {best.awa_deg:.0f}°, TWA {best.twa_deg:.0f}° "
        f"({low:.0f}–{high:.0f}°),\n{best.boat_speed_kn:.1f} kn, made good {best.vmg_kn:.1f}"
    )
    right = best.awa_deg > 90.0
    axes.annotate(
        words, (best.awa_deg, side * best.vmg_kn), xytext=(-8 if right else 8, 9 * side),
        textcoords="offset points", ha="right" if right else "left",
        va="bottom" if side > 0 else "top", fontsize=7.5, color=INK, zorder=6, parse_math=False,
    )  # fmt: skip


def _key(figure: Any, boat: Boat) -> None:
    from matplotlib.lines import Line2D

    def shown(label: str, **style: Any) -> Any:
        return Line2D([0], [0], label=label, **style)

    key = figure.legend(
        handles=[
            *(
                shown(plain_name(sails.name), lw=2.0, **_style(number))
                for number, sails in enumerate(boat.sail_sets[: len(COLOURS)])
            ),
            shown("not worth sailing: two boards sooner", lw=1.1, ls=DOTS, color=INK),
            shown("groove: less than 1 % lost", lw=9, alpha=0.28, color=INK),
            shown("best angle", marker="o", ls="none", mfc="white", mec=INK),
            shown("hull: what mixed boards make", lw=0.9, ls=HULL, color=INK),
        ],
        loc="outside upper center", ncols=4, fontsize=8, frameon=False, handlelength=3.4,
        title=f"{plain_name(boat.name)}: targets", title_fontsize=11,
    )  # fmt: skip
    # A name may hold what Matplotlib takes for formulas.
    for text in (key.get_title(), *key.get_texts()):
        text.set_parse_math(False)
