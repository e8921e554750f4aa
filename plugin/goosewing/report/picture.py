"""A picture of a plan, by Matplotlib: boards, turning points, laylines, the wind.

Port tack is red and starboard tack green; a poled-out stretch is drawn as a
broad pale band under the line, so that it can be told without colours.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np

from goosewing.errors import InputError
from goosewing.exchange.files import write_atomically
from goosewing.words import clock, hours_and_minutes, manoeuvre_words, three_figures

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from goosewing.records import Board, Leg, Plan

PLATE = {"boxstyle": "square,pad=0.15", "fc": "white", "ec": "none", "alpha": 0.75}
PORT, STARBOARD, INK, QUIET = "#b3261e", "#1b7f3b", "#1d2733", "#7b8794"
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
    axes = figure.add_subplot()
    centre = plan.marks[0].lon
    for leg in plan.legs:
        _draw_leg(axes, plan, leg, centre)
    _label_marks(axes, plan, centre)
    _dress(axes, plan)
    _wind_arrow(axes, plan)
    figure.suptitle(_title(plan), fontsize=11, color=INK)
    figure.supxlabel(
        "Not for sole navigation. Charts, depth, traffic, collision rules and local rules come "
        "first.\nDownwind: rig a preventer, handle the pole with care.",
        fontsize=8,
        color=QUIET,
    )
    buffer = io.BytesIO()
    figure.savefig(buffer, format=kind, dpi=110, metadata={"Date": None} if kind == "svg" else None)
    return buffer.getvalue()


def _title(plan: Plan) -> str:
    saved = "" if plan.saved_min is None else f", {plan.saved_min:.0f} min saved against straight"
    return (
        f"{plan.boat}, {plan.departure:%Y-%m-%d} {clock(plan.departure)}: "
        f"{hours_and_minutes(plan.elapsed_h)}, {plan.distance_nm:.1f} nm{saved}"
    )


def _unwound(lon: Iterable[float], centre: float) -> list[float]:
    """Longitudes without the jump at the antimeridian."""
    return [centre + (value - centre + 180.0) % 360.0 - 180.0 for value in lon]


def _draw_leg(axes: Any, plan: Plan, leg: Leg, centre: float) -> None:
    for layline in leg.laylines:
        lon = _unwound([p.lon for p in layline.points], centre)
        lat = [p.lat for p in layline.points]
        axes.plot(lon, lat, color=_side(layline.tack), lw=0.8, ls=(0, (6, 4)), alpha=0.7, zorder=1)
    for number, board in enumerate(leg.boards):
        _draw_board(axes, board, centre)
        if number:
            _draw_turn(axes, plan, leg, board, centre)


def _side(tack: str) -> str:
    return PORT if tack == "port" else STARBOARD


def _draw_board(axes: Any, board: Board, centre: float) -> None:
    lon = _unwound([p.lon for p in board.points], centre)
    lat = [p.lat for p in board.points]
    colour = _side(board.tack)
    if board.poled:
        axes.plot(lon, lat, color=colour, lw=9, alpha=0.25, solid_capstyle="butt", zorder=2)
    axes.plot(lon, lat, color=colour, lw=2.2, zorder=3)
    middle = len(lon) // 2
    at = (lon[middle], lat[middle]) if len(lon) > 2 else (sum(lon) / 2, sum(lat) / 2)
    # Across an east-west board the label stands above it, beside any other.
    flat = abs(np.sin(np.radians(board.course_over_ground_deg))) > 0.8
    axes.annotate(
        f"{board.sail_set}, steer {three_figures(board.heading_deg)}",
        at,
        xytext=(0, 7) if flat else (8, 0),
        ha="center" if flat else "left",
        textcoords="offset points",
        fontsize=7.5,
        color=colour,
        zorder=5,
        bbox=PLATE,
    )


def _draw_turn(axes: Any, plan: Plan, leg: Leg, board: Board, centre: float) -> None:
    done = [m for m in leg.manoeuvres if (m.lat, m.lon) == (board.start.lat, board.start.lon)]
    lon = _unwound([board.start.lon], centre)[0]
    axes.plot([lon], [board.start.lat], "o", ms=5, mfc="white", mec=INK, zorder=4)
    if not done:
        return
    words = manoeuvre_words([m.kind for m in done], board.tack, board.sail_set)
    side = _clear_side(plan, board.start.lat, board.start.lon)
    _label(axes, f"{clock(done[0].time)} {words}", (lon, board.start.lat), side, 0, fontsize=8)


SIDES = ((1, 1), (1, -1), (-1, 1), (-1, -1))


def _clear_side(plan: Plan, lat: float, lon: float) -> tuple[int, int]:
    """Choose the quadrant of a point that lies farthest from the boards that meet there."""
    away = []
    for board in (board for leg in plan.legs for board in leg.boards):
        for here, there in ((board.start, board.end), (board.end, board.start)):
            if abs(here.lat - lat) < 1e-4 and abs(here.lon - lon) < 1e-4:
                east = (there.lon - here.lon + 180.0) % 360.0 - 180.0
                vector = np.array([east * np.cos(np.radians(lat)), there.lat - here.lat])
                away.append(vector / max(float(np.hypot(*vector)), 1e-9))
    # Words run sideways, so a board along them is worse than one across.
    return min(SIDES, key=lambda s: max((1.2 * s[0] * v[0] + s[1] * v[1] for v in away), default=0))


def _label(
    axes: Any, words: str, at: tuple[float, float], side: tuple[int, int], above: int, **style: Any
) -> None:
    """Write words beside a point, `above` lines farther out."""
    # The name stands nearest the top: what is done there goes below it on either side.
    rise = 6 + 11 * above if side[1] > 0 else (-6 if style.get("weight") == "bold" else -18)
    written = axes.annotate(
        words,
        at,
        xytext=(8 * side[0], rise),
        ha="left" if side[0] > 0 else "right",
        va="bottom" if side[1] > 0 else "top",
        textcoords="offset points",
        color=INK,
        zorder=7,
        **style,
    )
    written.set_in_layout(False)


def _label_marks(axes: Any, plan: Plan, centre: float) -> None:
    for mark in plan.marks:
        lon = _unwound([mark.lon], centre)[0]
        axes.plot([lon], [mark.lat], "D", ms=6, color=INK, zorder=5)
        side = _clear_side(plan, mark.lat, mark.lon)
        said = _done_at(plan, mark.name)
        _label(axes, mark.name, (lon, mark.lat), side, len(said), fontsize=9, weight="bold")
        if said:
            _label(axes, "\n".join(said), (lon, mark.lat), side, 0, fontsize=8)
    handles = [
        _line([0], [0], color=PORT, lw=2.2, label="port tack"),
        _line([0], [0], color=STARBOARD, lw=2.2, label="starboard tack"),
        _line([0], [0], color=INK, lw=9, alpha=0.25, label="pole set"),
        _line([0], [0], color=INK, lw=0.8, ls=(0, (6, 4)), label="layline into the mark"),
    ]
    axes.legend(handles=handles, loc="lower left", fontsize=8, framealpha=0.9)


def _line(*args: Any, **kwargs: Any) -> Any:
    from matplotlib.lines import Line2D

    return Line2D(*args, **kwargs)


def _done_at(plan: Plan, name: str) -> list[str]:
    """Say what the crew does at a mark, where a leg begins with a manoeuvre."""
    said = []
    for leg in plan.legs:
        start = leg.boards[0].start
        done = [m for m in leg.manoeuvres if (m.lat, m.lon) == (start.lat, start.lon)]
        if leg.origin == name and done:
            first = leg.boards[0]
            words = manoeuvre_words([m.kind for m in done], first.tack, first.sail_set)
            said.append(f"{clock(done[0].time)} {words}")
    return said


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


def _wind_arrow(axes: Any, plan: Plan) -> None:
    board = plan.legs[0].boards[0]
    blows_from = np.radians(board.twd_deg or 0.0)
    dx, dy = -0.06 * np.sin(blows_from), -0.06 * np.cos(blows_from)
    axes.annotate(
        "",
        xy=(0.1 + dx, 0.9 + dy),
        xytext=(0.1 - dx, 0.9 - dy),
        xycoords="axes fraction",
        arrowprops={"arrowstyle": "-|>", "lw": 2, "color": INK},
    )
    axes.text(
        0.1,
        0.81,
        f"wind over the water\n{three_figures(board.twd_deg or 0.0)}, {board.tws_kn:.0f} kn",
        transform=axes.transAxes,
        ha="center",
        va="top",
        fontsize=8,
        color=INK,
    )
