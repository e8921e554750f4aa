"""A picture of a plan, by Matplotlib: boards, turning points, laylines, the wind.

Port tack is red and starboard tack green; a poled-out stretch is drawn as a
broad pale band under the line, so that it can be told without colours.
"""

from __future__ import annotations

import io
import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from goosewing.errors import InputError
from goosewing.exchange.files import write_atomically
from goosewing.report import labels
from goosewing.report.labels import Label
from goosewing.words import clock, hours_and_minutes, manoeuvre_words, three_figures

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from goosewing.records import Board, Leg, Plan
    from goosewing.units import Array

PORT, STARBOARD, INK, QUIET = "#b3261e", "#1b7f3b", "#1d2733", "#7b8794"
DPI = 110
WORDS_WIDTH = 34
"""Characters in a line of words beside a turn."""

FORMATS = {".png": "png", ".svg": "svg", ".pdf": "pdf"}


def write_picture(path: Path, plan: Plan, *, inputs: Iterable[Path] = ()) -> None:
    """Draw a plan into a PNG, SVG or PDF file.

    Raises
    ------
    InputError
        If the ending is none of these, Matplotlib is missing, or the file can't be written.
    """
    write_atomically(path, draw_plan(plan, check_ending(path)), inputs=inputs)


def check_ending(path: Path) -> str:
    """Return the format that a file's ending asks for.

    Raises
    ------
    InputError
        If it is none that can be drawn.
    """
    kind = FORMATS.get(path.suffix.lower())
    if kind is None:
        raise InputError(f"a picture must end in {', '.join(FORMATS)}", where=str(path))
    return kind


def draw_plan(plan: Plan, kind: str = "png") -> bytes:
    """Draw a plan and return the picture's bytes."""
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError:
        raise InputError(
            "pictures need Matplotlib: install goosewing with its extra, goosewing[picture]"
        ) from None
    figure = Figure(figsize=(9.0, 8.0), layout="constrained")
    FigureCanvasAgg(figure)
    draw(figure, plan)
    buffer = io.BytesIO()
    figure.savefig(buffer, format=kind, dpi=DPI, metadata={"Date": None} if kind == "svg" else None)
    return buffer.getvalue()


def draw(figure: Any, plan: Plan) -> list[Array]:
    """Draw a plan on an empty figure; return the boxes of its labels in pixels."""
    figure.set_dpi(DPI)
    axes = figure.add_subplot()
    centre = plan.marks[0].lon
    for leg in plan.legs:
        _draw_leg(axes, leg, centre)
    for mark in plan.marks:
        axes.plot(_unwound([mark.lon], centre), [mark.lat], "D", ms=6, color=INK, zorder=5)
    _dress(axes, plan)
    figure.suptitle(_title(plan), fontsize=11, color=INK)
    figure.supxlabel(
        "Not for sole navigation. Charts, depth, traffic, collision rules and local rules come "
        "first.\nDownwind: rig a preventer, handle the pole with care.",
        fontsize=8,
        color=QUIET,
    )
    # Words can be placed only when it is settled where everything else is.
    figure.draw_without_rendering()
    lines = _drawn(axes, plan, centre)
    taken = _corners(axes, plan, lines)
    return labels.place(axes, _labels(plan, centre), lines, taken)


def _title(plan: Plan) -> str:
    saved = "" if plan.saved_min is None else f", {plan.saved_min:.0f} min saved against straight"
    return (
        f"{plan.boat}, {plan.departure:%Y-%m-%d} {clock(plan.departure)}: "
        f"{hours_and_minutes(plan.elapsed_h)}, {plan.distance_nm:.1f} nm{saved}"
    )


def _unwound(lon: Iterable[float], centre: float) -> list[float]:
    """Longitudes without the jump at the antimeridian."""
    return [centre + (value - centre + 180.0) % 360.0 - 180.0 for value in lon]


def _draw_leg(axes: Any, leg: Leg, centre: float) -> None:
    for layline in leg.laylines:
        lon, lat = _line_of(layline.points, centre)
        axes.plot(lon, lat, color=_side(layline.tack), lw=0.8, ls=(0, (6, 4)), alpha=0.7, zorder=1)
    for number, board in enumerate(leg.boards):
        _draw_board(axes, board, centre)
        if number:
            lon, lat = _line_of([board.start], centre)
            axes.plot(lon, lat, "o", ms=5, mfc="white", mec=INK, zorder=4)


def _side(tack: str) -> str:
    return PORT if tack == "port" else STARBOARD


def _line_of(points: Iterable[Any], centre: float) -> tuple[list[float], list[float]]:
    every = list(points)
    return _unwound([p.lon for p in every], centre), [p.lat for p in every]


def _draw_board(axes: Any, board: Board, centre: float) -> None:
    lon, lat = _line_of(board.points, centre)
    colour = _side(board.tack)
    if board.poled:
        axes.plot(lon, lat, color=colour, lw=9, alpha=0.25, solid_capstyle="butt", zorder=2)
    axes.plot(lon, lat, color=colour, lw=2.2, zorder=3)


def _drawn(axes: Any, plan: Plan, centre: float) -> Array:
    """Points along all boards and laylines, in pixels."""
    every: list[Sequence[Any]] = [board.points for leg in plan.legs for board in leg.boards]
    every += [layline.points for leg in plan.legs for layline in leg.laylines]
    return np.concatenate([
        labels.along(axes.transData.transform(np.column_stack(_line_of(points, centre))))
        for points in every
    ])  # fmt: skip


def _labels(plan: Plan, centre: float) -> list[Label]:
    """What is written beside marks, turns and boards, the most needed first."""
    names = [
        Label(
            words=mark.name,
            places=((_unwound([mark.lon], centre)[0], mark.lat),),
            style={"fontsize": 9, "weight": "bold", "color": INK},
        )
        for mark in plan.marks
    ]
    boards = [(leg, board) for leg in plan.legs for board in leg.boards]
    turns = [_turn_label(leg, board, centre) for leg, board in boards]
    return [
        *names,
        *(turn for turn in turns if turn is not None),
        *(_board_label(board, centre) for _, board in boards),
    ]


def _turn_label(leg: Leg, board: Board, centre: float) -> Label | None:
    done = [m for m in leg.manoeuvres if (m.lat, m.lon) == (board.start.lat, board.start.lon)]
    if not done:
        return None
    words = manoeuvre_words([m.kind for m in done], board.tack, board.sail_set)
    return Label(
        words=textwrap.fill(f"{clock(done[0].time)} {words}", WORDS_WIDTH, break_on_hyphens=False),
        places=((_unwound([board.start.lon], centre)[0], board.start.lat),),
        style={"fontsize": 8, "color": INK},
    )


def _board_label(board: Board, centre: float) -> Label:
    lon, lat = _line_of(board.points, centre)
    at = np.linspace(0.0, 1.0, len(lon))
    places = tuple(
        (float(np.interp(share, at, lon)), float(np.interp(share, at, lat)))
        for share in (0.5, 0.35, 0.65, 0.2, 0.8)
    )
    return Label(
        words=f"{board.sail_set}, steer {three_figures(board.heading_deg)}",
        places=places,
        style={"fontsize": 7.5, "color": _side(board.tack)},
        optional=True,
    )


CORNERS = {
    "upper left": (0.0, 0.7), "upper right": (0.7, 0.7),
    "lower left": (0.0, 0.0), "lower right": (0.7, 0.0),
}  # fmt: skip
"""Lower left of each corner, in shares of the picture; 0.3 wide and high."""


def _corners(axes: Any, plan: Plan, lines: Array) -> list[Any]:
    """Put wind and legend into the emptiest corners; return their boxes."""
    from matplotlib.transforms import Bbox

    shares = axes.transAxes.inverted().transform(lines)
    full = {
        name: int(np.all((shares >= low) & (shares < np.add(low, 0.3)), axis=1).sum())
        for name, low in CORNERS.items()
    }
    upper = min(("upper left", "upper right"), key=lambda name: full[name])
    words = _wind_arrow(axes, plan, 0.13 if upper == "upper left" else 0.87)
    other = ("lower left", "lower right", "upper left", "upper right")
    legend = _legend(axes, min((c for c in other if c != upper), key=lambda name: full[name]))
    renderer = axes.figure.canvas.get_renderer()
    x, y = CORNERS[upper]
    frame = axes.get_window_extent()
    arrow = Bbox.from_bounds(
        frame.x0 + (x + 0.02) * frame.width, frame.y0 + (y + 0.1) * frame.height,
        0.24 * frame.width, 0.18 * frame.height,
    )  # fmt: skip
    return [arrow, words.get_window_extent(renderer), legend.get_window_extent(renderer)]


def _legend(axes: Any, corner: str) -> Any:
    from matplotlib.lines import Line2D

    handles = [
        Line2D([0], [0], color=PORT, lw=2.2, label="port tack"),
        Line2D([0], [0], color=STARBOARD, lw=2.2, label="starboard tack"),
        Line2D([0], [0], color=INK, lw=9, alpha=0.25, label="pole set"),
        Line2D([0], [0], color=INK, lw=0.8, ls=(0, (6, 4)), label="layline into the mark"),
    ]
    return axes.legend(handles=handles, loc=corner, fontsize=8, framealpha=0.9)


def _dress(axes: Any, plan: Plan) -> None:
    middle = np.radians(np.mean([mark.lat for mark in plan.marks]))
    axes.set_aspect(1.0 / np.cos(middle), adjustable="datalim")
    # Words stand outside the marks: room for them to either side.
    axes.margins(x=0.4, y=0.15)
    axes.grid(color="#d5dbe1", lw=0.5)
    axes.set_facecolor("#f4f8fb")
    axes.xaxis.set_major_formatter(lambda lon, _: _minutes((lon + 180.0) % 360.0 - 180.0, "EW"))
    axes.yaxis.set_major_formatter(lambda lat, _: _minutes(lat, "NS"))
    axes.tick_params(labelsize=8, colors=QUIET)


def _minutes(angle: float, letters: str) -> str:
    minutes = round(abs(angle) * 600.0) / 10.0
    letter = letters[1] if angle < 0 else letters[0]
    return f"{int(minutes // 60)}°{minutes % 60:04.1f}'{letter}"


def _wind_arrow(axes: Any, plan: Plan, x: float) -> Any:
    board = plan.legs[0].boards[0]
    blows_from = np.radians(board.twd_deg or 0.0)
    dx, dy = -0.06 * np.sin(blows_from), -0.06 * np.cos(blows_from)
    axes.annotate(
        "",
        xy=(x + dx, 0.9 + dy),
        xytext=(x - dx, 0.9 - dy),
        xycoords="axes fraction",
        arrowprops={"arrowstyle": "-|>", "lw": 2, "color": INK},
    )
    return axes.text(
        x,
        0.82,
        _wind_words(plan),
        transform=axes.transAxes,
        ha="center",
        va="top",
        fontsize=8,
        color=INK,
    )


def _wind_words(plan: Plan) -> str:
    board = plan.legs[0].boards[0]
    words = f"wind over the water\n{three_figures(board.twd_deg or 0.0)}, {board.tws_kn:.0f} kn"
    # In steady wind a board has but its two ends.
    changing = any(len(each.points) > 2 for leg in plan.legs for each in leg.boards)
    return f"{words} at the start" if changing else words
