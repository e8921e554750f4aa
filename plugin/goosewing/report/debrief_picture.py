"""A picture of a debrief: where she sailed, how her angles lay beside the best, what it cost.

Port tack is red and solid, starboard tack green and dashed, so that it can be told
without colours.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np

from goosewing.errors import InputError
from goosewing.files.disk import write_atomically
from goosewing.report.picture import (
    DPI,
    INK,
    PORT,
    QUIET,
    STARBOARD,
    as_file,
    check_ending,
    in_minutes,
)

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from goosewing.boat.model import Boat
    from goosewing.logbook.boards import Seconds
    from goosewing.logbook.debrief import BoardSailed, Debrief
    from goosewing.units import Array

SIDES: dict[str, tuple[str, Any]] = {"port": (PORT, "-"), "starboard": (STARBOARD, (0, (4, 1.5)))}

MOST_POINTS = 4000
"""Of a track: more can't be told apart on a page."""

CAUTION = (
    "Of what was sailed, by instruments that may be wrong. Not for navigation: charts, depth, "
    "traffic and rules come first."
)

LEAST_SHOWN_MIN = 0.05


def write_debrief_picture(
    path: Path, found: Debrief, went: Seconds, boat: Boat, *, inputs: Iterable[Path] = ()
) -> None:
    """Draw a debrief into a PNG, SVG or PDF file.

    Parameters
    ----------
    path : path
    found : Debrief
    went : Seconds
        How she went, as the debrief has it.
    boat : Boat
        Whose targets are drawn.
    inputs : iterable of path
        Files that must not be overwritten.

    Raises
    ------
    InputError
        If the ending is none of these, Matplotlib is missing, or the file can't be written.
    """
    kind = check_ending(path)
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError:
        raise InputError(
            'pictures need Matplotlib: in Goosewing\'s folder, pip install ".[picture]"'
        ) from None
    figure = Figure(figsize=(10.0, 8.0), layout="constrained")
    FigureCanvasAgg(figure)
    _draw(figure, found, went, boat)
    buffer = io.BytesIO()
    undated = {"Date": None} if kind == "svg" else None
    figure.savefig(buffer, format=kind, dpi=DPI, metadata=undated)
    write_atomically(path, as_file(buffer, kind), inputs=inputs)


def _draw(figure: Any, found: Debrief, went: Seconds, boat: Boat) -> None:
    grid = figure.add_gridspec(2, 2, height_ratios=(1.7, 1.0), width_ratios=(1.5, 1.0))
    _track(figure.add_subplot(grid[0, 0]), found, went)
    _costs(figure.add_subplot(grid[0, 1]), found)
    _angles(figure.add_subplot(grid[1, :]), found, went, boat)
    title = f"{found.boat}, {found.start:%Y-%m-%d %H:%M} to {found.end:%H:%M} UTC"
    figure.suptitle(title, fontsize=11, color=INK, parse_math=False)
    figure.supxlabel(CAUTION, fontsize=8, color=QUIET)


def _within(went: Seconds, board: BoardSailed) -> Array:
    first, end = np.searchsorted(
        went.time_s, (board.start.time.timestamp(), board.end.time.timestamp() + 0.5)
    )
    step = max(1, went.time_s.size // MOST_POINTS)
    return np.arange(first, end, step)


def _track(axes: Any, found: Debrief, went: Seconds) -> None:
    known = np.isfinite(went.lat) & np.isfinite(went.lon)
    if not known.any():
        axes.text(0.5, 0.5, "no positions in the log", ha="center", color=QUIET)
        axes.set_axis_off()
        return
    axes.plot(went.lon[known], went.lat[known], color=QUIET, lw=0.6, zorder=1)
    for board in found.boards:
        at = _within(went, board)
        colour, line = SIDES[board.tack]
        axes.plot(went.lon[at], went.lat[at], color=colour, ls=line, lw=1.8, zorder=2)
    for turn in found.manoeuvres:
        if turn.lat is None or turn.lon is None:
            continue
        axes.plot(turn.lon, turn.lat, "o", ms=4, mfc="white", mec=INK, zorder=3)
        axes.annotate(
            f"{turn.cost_s:.0f} s",
            (turn.lon, turn.lat),
            xytext=(5, 4),
            textcoords="offset points",
            fontsize=7.5,
            color=INK,
        )
    axes.set_aspect(1.0 / np.cos(np.radians(float(np.nanmedian(went.lat)))), adjustable="datalim")
    in_minutes(axes)
    axes.tick_params(labelsize=7, colors=QUIET)
    axes.set_title(
        "Track; port tack solid, starboard dashed; seconds each turn cost",
        fontsize=8.5,
        color=QUIET,
    )
    _wind_arrow(axes, went)


def _wind_arrow(axes: Any, went: Seconds) -> None:
    radians = np.radians(went.twd_deg[np.isfinite(went.twd_deg)])
    east, north = float(np.sin(radians).mean()), float(np.cos(radians).mean())
    size = max(np.hypot(east, north), 1e-6)
    tip = (0.93 - 0.06 * east / size, 0.92 - 0.06 * north / size)
    axes.annotate(
        "",
        tip,
        xytext=(0.93 + 0.02 * east / size, 0.92 + 0.02 * north / size),
        xycoords="axes fraction",
        textcoords="axes fraction",
        arrowprops={"arrowstyle": "-|>", "color": INK, "lw": 1.4},
    )
    axes.text(0.93, 0.99, "wind", transform=axes.transAxes, fontsize=7.5, ha="center", va="top")


def _costs(axes: Any, found: Debrief) -> None:
    shown = [each for each in found.costs if each.minutes >= LEAST_SHOWN_MIN]
    axes.set_title("Minutes lost", fontsize=8.5, color=QUIET)
    if not shown:
        axes.text(0.5, 0.5, "none", ha="center", color=QUIET)
        axes.set_axis_off()
        return
    names = ["slower than the tables" if each.what == "other" else each.what for each in shown]
    colours = [INK if each.what == found.most else "#c4ccd4" for each in shown]
    places = np.arange(len(shown))[::-1]
    axes.barh(places, [each.minutes for each in shown], color=colours, height=0.6)
    for place, each in zip(places, shown, strict=True):
        axes.text(each.minutes, place, f" {each.minutes:.1f}", va="center", fontsize=8, color=INK)
    axes.set_yticks(places, names, fontsize=8)
    axes.set_ylim(len(shown) - max(len(shown), 5) - 0.5, len(shown) - 0.5)
    axes.set_xlim(0.0, 1.18 * max(each.minutes for each in shown))
    axes.tick_params(axis="x", labelsize=7, colors=QUIET)
    for side in ("top", "right", "bottom"):
        axes.spines[side].set_visible(False)


def _angles(axes: Any, found: Debrief, went: Seconds, boat: Boat) -> None:
    """True wind angle of every board over the hours, and the best of its wind as a bar."""
    from goosewing.logbook.boards import Best

    best = Best(boat)
    hours = (went.time_s - went.time_s[0]) / 3600.0
    begin = went.time_s[0]
    for board in found.boards:
        at = _within(went, board)
        colour, line = SIDES[board.tack]
        axes.plot(hours[at], went.twa_deg[at], color=colour, ls=line, lw=1.0)
        target = best.target(board.tws_kn, board.point, board.sail_set)
        if target is None:
            continue
        ends = [(t.timestamp() - begin) / 3600.0 for t in (board.start.time, board.end.time)]
        axes.fill_between(ends, *target.groove_twa_deg, color=QUIET, alpha=0.3, lw=0)
        axes.plot(ends, [target.twa_deg] * 2, color=INK, lw=1.0)
    axes.set_title(
        "True wind angle of each board; black: the best in its wind, grey: within 1 % of it",
        fontsize=8.5,
        color=QUIET,
    )
    axes.set_xlabel(f"hours from {found.start:%H:%M} UTC", fontsize=8, color=QUIET)
    axes.set_ylabel("degrees", fontsize=8, color=QUIET)
    axes.set_ylim(0.0, 180.0)
    axes.set_yticks(range(0, 181, 30))
    axes.tick_params(labelsize=7, colors=QUIET)
    axes.grid(visible=True, color="#e3e7eb", lw=0.6)
    axes.set_axisbelow(True)
