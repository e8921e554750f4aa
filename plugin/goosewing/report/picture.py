"""A picture of a plan, by Matplotlib: boards, turning points, laylines, the wind.

Port tack is red and drawn through, starboard tack green and in long dashes; a poled-out
stretch is drawn as a broad pale band under the line: all can be told without colours.
"""

from __future__ import annotations

import io
import logging
import textwrap
import warnings
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np

from goosewing.errors import InputError
from goosewing.files.disk import write_atomically
from goosewing.report import ground, labels
from goosewing.report.labels import Label
from goosewing.sail_handling import TURNS
from goosewing.turns import Stop, stops
from goosewing.units import nearest_minute
from goosewing.words.figures import clock, helm_words, hours_and_minutes, three_figures
from goosewing.words.points import (
    UNDER_ENGINE,
    done_words,
    goes_downwind,
    steering,
    turned_words,
    without_strike,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from datetime import tzinfo
    from pathlib import Path

    from goosewing.hazards.areas import Hazards
    from goosewing.records import Board, LaylineBand, Leg, LegRule, Order, Plan
    from goosewing.units import Array

PORT, STARBOARD, INK, QUIET = "#a51616", "#0a7a5c", "#1d2733", "#5f6b78"
"""The trade's red and green, of such hue and lightness that eyes which take one for the other still
tell them apart; patterns of lines do so without any colour."""

STREAM = "#2b6ca3"
MOTORED = (0, (1, 1.2))
"""Short dots for a board under engine: neither tack's colour, nor a layline's long dashes."""
DASHED = (0, (9, 2.5))
"""Starboard tack, beside port tack drawn through: told without colours."""

CONE = "#f2ead2"
"""Where either tack will do in a shifty wind."""

BAND_HATCH = {"port": "////", "starboard": "\\\\\\\\"}
"""Bands of the two tacks are told apart without their colours."""

LAYLINE, RHUMB = (0, (6, 2, 1, 2)), (0, (1, 3))
DPI = 110
WORDS_WIDTH = 34
"""Characters in a line of words beside a turn."""

LONGEST_NAME, LONGEST_LINE = 32, 110
"""Characters of a mark's name, and of a line above the picture, before they are cut."""

FORMATS = {".png": "png", ".svg": "svg", ".pdf": "pdf"}


def write_picture(
    path: Path, plan: Plan, *, hazards: Hazards | None = None, inputs: Iterable[Path] = ()
) -> None:
    """Draw a plan into a PNG, SVG or PDF file.

    Parameters
    ----------
    path : path
    plan : Plan
    hazards : Hazards, optional
        What it keeps clear of, drawn behind it as far as it lies in the picture.
    inputs : iterable of path
        Files that must not be overwritten.

    Raises
    ------
    InputError
        If the ending is none of these, Matplotlib is missing, or the file can't be written.
    """
    write_atomically(path, draw_plan(plan, check_ending(path), hazards), inputs=inputs)


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


def draw_plan(plan: Plan, kind: str = "png", hazards: Hazards | None = None) -> bytes:
    """Draw a plan and return the picture's bytes."""
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError:
        raise InputError(
            'pictures need Matplotlib: in Goosewing\'s folder, pip install ".[picture]"'
        ) from None
    figure = Figure(figsize=(9.0, 8.0), layout="constrained")
    FigureCanvasAgg(figure)
    buffer = io.BytesIO()
    undated = {"Date": None} if kind == "svg" else None
    with any_script():
        draw(figure, plan, hazards)
        figure.savefig(buffer, format=kind, dpi=DPI, metadata=undated)
    return as_file(buffer, kind)


def as_file(buffer: io.BytesIO, kind: str) -> bytes:
    """Return a drawn picture's bytes, those of SVG with a look for dark screens."""
    made = buffer.getvalue()
    return with_dark_look(made.decode()).encode() if kind == "svg" else made


@contextmanager
def any_script() -> Iterator[None]:
    """Let names of scripts that the font lacks be drawn as boxes, without a word.

    Nor is there a word of limits that give way to the chart's scale: they are to.
    """
    told = logging.getLogger("matplotlib.axes._base")
    told.addFilter(_no_matter)
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", message=r"Glyph \d+", category=UserWarning)
            warnings.filterwarnings("ignore", message=r"Matplotlib currently does not support")
            yield
    finally:
        told.removeFilter(_no_matter)


def _no_matter(record: logging.LogRecord) -> bool:
    return not record.getMessage().startswith("Ignoring fixed")


def draw(
    figure: Any,
    plan: Plan,
    hazards: Hazards | None = None,
    *,
    framed: bool = True,
    zone: tzinfo | None = None,
) -> list[Array]:
    """Draw a plan on an empty figure; return the boxes of its labels in pixels.

    Without a frame nothing is written around it: what it lies on tells title and cautions.
    With a zone the turns have the time by the ship's clock as well.
    """
    figure.set_dpi(DPI)
    axes = figure.add_subplot()
    centre = plan.marks[0].lon
    for leg in plan.legs:
        _draw_leg(axes, leg, centre)
    for line in plan.lines:
        ends = line.port, line.starboard
        lon, lat = _unwound([end.lon for end in ends], centre), [end.lat for end in ends]
        axes.plot(lon, lat, "--", lw=1.2, color=INK, zorder=4, marker="o", ms=3)
    for band in bands_of(plan):
        lon, lat = _line_of(band.outline, centre)
        hatch = BAND_HATCH[band.tack]
        axes.fill(lon, lat, fc="none", ec=_side(band.tack), lw=0, hatch=hatch, alpha=0.5, zorder=0)
    for rule in rules_of(plan):
        lon, lat = _line_of((*rule.cone, *rule.cone[:1]), centre)
        axes.fill(lon, lat, fc=CONE, lw=0, alpha=0.5, zorder=0)
        axes.plot(lon, lat, color=QUIET, lw=0.7, ls=(0, (4, 3)), zorder=0)
    lon, lat = _line_of(plan.marks, centre)
    axes.plot(lon, lat, color=QUIET, lw=0.9, ls=RHUMB, zorder=1)
    for mark in plan.marks:
        axes.plot(_unwound([mark.lon], centre), [mark.lat], "D", ms=6, color=INK, zorder=8)
    _dress(axes, plan)
    if framed:
        _frame(figure, axes, plan)
    # Words can be placed only when it is settled where everything else is.
    figure.draw_without_rendering()
    shown = [] if hazards is None else ground.draw(axes, hazards, centre)
    _legend(axes, plan, shown)
    _settle(figure, axes)
    lines = np.concatenate((_drawn(axes, plan, centre), _along_the_way(axes, plan)))
    taken = _corners(axes, plan, lines)
    return labels.place(axes, _labels(plan, centre, zone), lines, taken)


def _settle(figure: Any, axes: Any) -> None:
    """Lay the figure out until nothing moves any more, and keep it so.

    Words are placed on what is drawn where it is now: were it laid out anew when it is written,
    they would stand beside other marks.
    """
    for _ in range(MOST_LAYOUTS):
        before = axes.get_position().get_points()
        figure.draw_without_rendering()
        if np.allclose(axes.get_position().get_points(), before, atol=1e-4):
            break
    figure.set_layout_engine("none")


MOST_LAYOUTS = 8


def _frame(figure: Any, axes: Any, plan: Plan) -> None:
    figure.suptitle(_clipped(_title(plan), LONGEST_LINE), fontsize=11, color=INK, parse_math=False)
    conditions = _clipped(plan.conditions, LONGEST_LINE)
    axes.set_title(conditions, fontsize=8.5, color=QUIET, parse_math=False)
    figure.supxlabel(
        "Not for sole navigation. Charts, depth, traffic, collision rules and local rules come "
        f"first.{_downwind_words(plan)}",
        fontsize=8,
        color=QUIET,
    )


def _downwind_words(plan: Plan) -> str:
    return "\nDownwind: rig a preventer, handle the pole with care." if goes_downwind(plan) else ""


def _title(plan: Plan) -> str:
    return (
        f"{_clipped(plan.boat, LONGEST_NAME)}, {plan.departure:%Y-%m-%d} {clock(plan.departure)}: "
        f"{hours_and_minutes(plan.elapsed_h)}, {plan.distance_nm:.1f} nm{_saved(plan)}"
    )


def _saved(plan: Plan) -> str:
    if plan.saved_min is None:
        return ""
    words = "saved against" if plan.saved_min > -0.5 else "slower than"
    return f", {abs(plan.saved_min):.0f} min {words} straight"


def _clipped(words: str, length: int) -> str:
    return words if len(words) <= length else f"{words[: length - 1].rstrip()}…"


DARK = (
    "<style>@media screen and (prefers-color-scheme: dark) "
    "{ svg { filter: invert(1) hue-rotate(180deg); } }</style>"
)
"""Turns light and dark round and leaves red red, where a reader's screen is dark."""


def with_dark_look(svg: str) -> str:
    """Let a picture in SVG follow the screen that it is shown on."""
    begins = svg.index(">", svg.index("<svg")) + 1
    return f"{svg[:begins]}{DARK}{svg[begins:]}"


def _unwound(lon: Iterable[float], centre: float) -> list[float]:
    """Longitudes without the jump at the antimeridian."""
    return [centre + (value - centre + 180.0) % 360.0 - 180.0 for value in lon]


def _draw_leg(axes: Any, leg: Leg, centre: float) -> None:
    for layline in leg.laylines:
        lon, lat = _line_of(layline.points, centre)
        axes.plot(lon, lat, color=_side(layline.tack), lw=0.8, ls=LAYLINE, alpha=0.8, zorder=1)
    for number, board in enumerate(leg.boards):
        _draw_board(axes, board, centre)
        begins = [board.start] if number else []
        lon, lat = _line_of([*begins, *board.orders[1:]], centre)
        axes.plot(lon, lat, "o", ms=5, mfc="white", mec=INK, ls="none", zorder=7.5)


def _side(tack: str) -> str:
    return PORT if tack == "port" else STARBOARD


def _line_of(points: Iterable[Any], centre: float) -> tuple[list[float], list[float]]:
    every = list(points)
    return _unwound([p.lon for p in every], centre), [p.lat for p in every]


def _draw_board(axes: Any, board: Board, centre: float) -> None:
    lon, lat = _line_of(board.points, centre)
    if board.engine:
        axes.plot(lon, lat, color=INK, lw=2.2, ls=MOTORED, zorder=3)
        return
    colour = _side(board.tack)
    if board.poled:
        axes.plot(lon, lat, color=colour, lw=9, alpha=0.25, solid_capstyle="butt", zorder=2)
    solid = "-" if board.tack == "port" else DASHED
    axes.plot(lon, lat, color=colour, lw=2.2, ls=solid, dash_capstyle="butt", zorder=3)


def bands_of(plan: Plan) -> tuple[LaylineBand, ...]:
    """Return the bands of laylines in shifty wind, none where that wasn't asked."""
    return () if plan.chances is None else plan.chances.bands


def rules_of(plan: Plan) -> list[LegRule]:
    """Return the rules of legs on which either tack will do somewhere."""
    return [] if plan.chances is None else [rule for rule in plan.chances.rules if rule.cone]


def _drawn(axes: Any, plan: Plan, centre: float) -> Array:
    """Points along all boards, laylines and the rhumb line, in pixels."""
    every: list[Sequence[Any]] = [board.points for leg in plan.legs for board in leg.boards]
    every += [layline.points for leg in plan.legs for layline in leg.laylines]
    every += [rule.cone for rule in rules_of(plan)]
    every += [edge for band in bands_of(plan) for edge in (band.backed, band.veered)]
    every.append(plan.marks)
    return np.concatenate([
        labels.along(axes.transData.transform(np.column_stack(_line_of(points, centre))))
        for points in every
    ])  # fmt: skip


def _labels(plan: Plan, centre: float, zone: tzinfo | None = None) -> list[Label]:
    """What is written beside marks, turns and boards, the most needed first."""
    names = [
        Label(
            words=_clipped(mark.name, LONGEST_NAME),
            places=((_unwound([mark.lon], centre)[0], mark.lat),),
            style={"fontsize": 9, "weight": "bold", "color": INK},
        )
        for mark in plan.marks
    ]
    boards = [board for leg in plan.legs for board in leg.boards]
    turns = [_turn_label(stop, centre, zone) for stop in stops(plan)]
    dangers = [
        Label(
            words=_clipped(mark.name, LONGEST_NAME),
            places=((_unwound([mark.lon], centre)[0], mark.lat),),
            style={"fontsize": 7.5, "style": "italic", "color": INK},
            optional=True,
        )
        for mark in plan.dangers
    ]
    return [
        *names,
        *(turn for turn in turns if turn is not None),
        *(_board_label(board, centre) for board in boards),
        *dangers,
    ]


def _turn_label(stop: Stop, centre: float, zone: tzinfo | None = None) -> Label | None:
    """Say what is done where a board begins; at a mark under the mark's name."""
    words = _turn_words(stop)
    time = stop.time
    if not words or time is None:
        return None
    if stop.order is not None and words == "alter course":
        words += f", steer {_by_helm(stop.order)}"
    name = stop.point or (f"{_clipped(stop.mark.name, LONGEST_NAME)}:" if stop.mark else "")
    told = clock(time)
    if zone is not None:
        told += f" ({nearest_minute(time).astimezone(zone):%H:%M})"
    return Label(
        words=textwrap.fill(f"{name} {told} {words}", WORDS_WIDTH, break_on_hyphens=False),
        places=((_unwound([stop.lon], centre)[0], stop.lat),),
        style={"fontsize": 8, "color": INK},
    )


def _turn_words(stop: Stop) -> str:
    """Say what is done at a stop itself, a turn of the bow first: poles come down before it."""
    if stop.board is None:
        return "arrive" if stop.pole_down is not None else ""
    left = without_strike(stop)
    done = done_words(left, helm_only=True) if left is stop or left.manoeuvres else []
    turns = bool({each.kind for each in stop.manoeuvres} & TURNS)
    turned = None if turns else turned_words(stop, helm_only=True)
    words = [*([] if turned is None else [turned]), *done] or done_words(stop, helm_only=True)
    return ", ".join(words)


def _board_label(board: Board, centre: float) -> Label:
    lon, lat = _line_of(board.points, centre)
    at = np.linspace(0.0, 1.0, len(lon))
    places = tuple(
        (float(np.interp(share, at, lon)), float(np.interp(share, at, lat)))
        for share in (0.5, 0.35, 0.65, 0.2, 0.8)
    )
    under = UNDER_ENGINE if board.engine else _clipped(board.sail_set, LONGEST_NAME)
    steer = _steer_words(board)
    return Label(
        words=f"{under}, {steer}",
        shorter=steer,
        places=places,
        style={"fontsize": 7.5, "color": INK if board.engine else _side(board.tack)},
        optional=True,
        line=tuple(zip(lon, lat, strict=True)),
    )


def _steer_words(board: Board) -> str:
    """Say what is steered, from where to where it swings if an angle is kept; on every dial."""
    held = board.stretch
    swings = steering(board).keep_twa_deg is not None
    first = board.heading_deg, board.heading_magnetic_deg, board.heading_compass_deg
    last = (None,) * 3 if held is None or not swings else (
        held.last_heading_deg, held.last_heading_magnetic_deg, held.last_heading_compass_deg,
    )  # fmt: skip
    said = [
        _swung(dial, begins, ends)
        for dial, begins, ends in zip("TMC", first, last, strict=True)
        if begins is not None
    ]
    words = f"steer {' '.join(said)}"
    return f"{words} at first" if swings and held is None else words


def _swung(dial: str, first_deg: float, last_deg: float | None) -> str:
    first = three_figures(first_deg)
    if last_deg is None or three_figures(last_deg) == first:
        return f"{first}{dial}"
    return f"{first}–{three_figures(last_deg)}{dial}"


def _by_helm(held: Order) -> str:
    words = helm_words(held.heading_deg, held.heading_magnetic_deg, held.heading_compass_deg)
    return words if held.heading_magnetic_deg is not None else f"{words}T"


PLACES = {
    "upper left": (0.0, 1.0), "upper right": (1.0, 1.0), "lower left": (0.0, 0.0),
    "lower right": (1.0, 0.0), "upper center": (0.5, 1.0), "lower center": (0.5, 0.0),
    "center left": (0.0, 0.5), "center right": (1.0, 0.5),
}  # fmt: skip
"""Where wind and scale may stand: how far right and up; corners first."""

WIND_SIZE_POINTS = (110.0, 74.0)
"""Width and height of the wind's arrow with its words."""


def _corners(axes: Any, plan: Plan, lines: Array) -> list[Any]:
    """Put wind and scale where least is drawn; return their boxes."""
    shares = axes.transAxes.inverted().transform(lines)
    size = _shares(axes, WIND_SIZE_POINTS)
    wind = min(PLACES, key=lambda name: _drawn_in(_box(name, size), shares))
    written = _wind_arrow(axes, plan, _box(wind, size))
    return [*written, *_scale_bar(axes, plan, lines, written)]


def _shares(axes: Any, points: tuple[float, float]) -> tuple[float, float]:
    """Return a width and a height on paper as shares of the picture's."""
    frame, per_point = axes.get_window_extent(), axes.figure.dpi / 72.0
    return points[0] * per_point / frame.width, points[1] * per_point / frame.height


SCALE_SIZE = (0.26, 0.06)


def _scale_bar(axes: Any, plan: Plan, lines: Array, taken: Sequence[Any]) -> list[Any]:
    """Draw a bar of whole miles where least is drawn; return its box."""
    from matplotlib.lines import Line2D
    from matplotlib.transforms import Bbox, TransformedBbox

    shares = axes.transAxes.inverted().transform(lines)
    others = [axes.transAxes.inverted().transform(each.get_points()).ravel() for each in taken]
    free = [
        name
        for name in PLACES
        if not any(_overlap(_box(name, SCALE_SIZE), other) for other in others)
    ]
    if not free:
        return []
    box = _box(min(free, key=lambda n: _drawn_in(_box(n, SCALE_SIZE), shares)), SCALE_SIZE)
    west, east = axes.get_xlim()
    middle = np.radians(np.mean([mark.lat for mark in plan.marks]))
    width_nm = (east - west) * 60.0 * float(np.cos(middle))
    nm = _round_miles(0.2 * width_nm)
    share = nm / width_nm
    x, y = min(float(box[0]) + 0.03, 0.89 - share), float(box[1]) + 0.02
    ends = ([x, x, x + share, x + share], [y + 0.012, y, y, y + 0.012])
    axes.add_artist(Line2D(*ends, color=INK, lw=1.2, transform=axes.transAxes, zorder=6))
    words = f"{nm:g} nm"
    axes.text(
        x + share + 0.01, y, words, transform=axes.transAxes, fontsize=8, color=INK,
        path_effects=labels.halo(axes),
    )  # fmt: skip
    return [TransformedBbox(Bbox.from_extents(x, y, x + share + 0.09, y + 0.03), axes.transAxes)]


def _round_miles(most_nm: float) -> float:
    """Return the longest of 1, 2 or 5 times a power of ten that is no more."""
    power = 10.0 ** np.floor(np.log10(most_nm))
    return float(max(each * power for each in (1.0, 2.0, 5.0) if each * power <= most_nm * 1.0001))


MOST_ARROWS = 9
WIND_IN = 0.38
"""Length of a wind's arrow, on paper. [inches]"""

BESIDE_IN = 0.22
"""How far to port of her track the middle of a wind's arrow stands, to starboard a stream's."""

ARROW = {"arrowstyle": "-|>,head_width=.16,head_length=.32", "lw": 1.1, "shrinkA": 0, "shrinkB": 0}


def _along_the_way(axes: Any, plan: Plan) -> Array:
    """Draw wind and stream where she is at some of the hours, on either side of her track.

    Nothing is drawn where the plan was not looked up hour by hour.

    Returns
    -------
    ndarray, shape (n, 2)
        Points along the arrows. [px]
    """
    hours = plan.hours[1:-1] or plan.hours
    picked = hours[:: max(1, -(-len(hours) // MOST_ARROWS))]
    if not picked:
        return np.empty((0, 2))
    at = np.column_stack(_line_of(picked, plan.marks[0].lon))
    wind = WIND_IN * _unit([hour.weather.wind_from_deg + 180.0 for hour in picked])
    drift = np.array([hour.weather.drift_kn for hour in picked])
    length = np.where(drift >= 0.05, 0.2 + 0.15 * np.minimum(drift, 3.0), 0.0)
    stream = length[:, np.newaxis] * _unit([hour.weather.set_deg or 0.0 for hour in picked])
    port = BESIDE_IN * _unit([hour.course_over_ground_deg - 90.0 for hour in picked])
    dpi = axes.figure.dpi
    pixels = axes.transData.transform(at)
    ends = [
        _arrows(axes, pixels + dpi * port, dpi * wind, QUIET),
        _arrows(axes, (pixels - dpi * port)[length > 0.0], dpi * stream[length > 0.0], STREAM),
    ]
    return np.concatenate([np.empty((0, 2)), *ends])


def _unit(towards_deg: Sequence[float]) -> Array:
    """East and north of directions, shape (n, 2)."""
    to_rad = np.radians(np.asarray(towards_deg, dtype=np.float64))
    return np.column_stack((np.sin(to_rad), np.cos(to_rad)))


def _arrows(axes: Any, middles: Array, lengths: Array, colour: str) -> Array:
    """Draw arrows by their middles and lengths; return points along them. [px].

    One that would stand out of the frame is left out.
    """
    # In points: files of other resolutions than the screen's have other pixels.
    per_point = axes.figure.dpi / 72.0
    low, high = axes.get_window_extent().get_points()
    points = [np.empty((0, 2))]
    for middle, length in zip(middles, lengths, strict=True):
        tail, tip = middle - length / 2.0, middle + length / 2.0
        if np.any(np.minimum(tail, tip) < low) or np.any(np.maximum(tail, tip) > high):
            continue
        axes.annotate(
            "", xy=tip / per_point, xytext=tail / per_point, xycoords="figure points",
            textcoords="figure points", zorder=2.5, annotation_clip=False,
            arrowprops=ARROW | {"color": colour},
        )  # fmt: skip
        points.append(labels.along(np.stack((tail, tip))))
    return np.concatenate(points)


def _box(place: str, size: tuple[float, float]) -> Array:
    """Left, bottom, right and top of something of this size, in shares of the picture."""
    low = np.array(PLACES[place]) * (1.0 - np.array(size))
    return np.concatenate((low, low + size))


ROUND_ABOUT = np.array([-0.16, -0.08, 0.16, 0.08])
"""So far round wind and scale the words of marks and turns may want to stand."""


def _drawn_in(box: Array, shares: Array) -> float:
    """Weigh what is drawn in a box and, far less, round about it."""
    inside, near = (
        np.all((shares >= each[:2]) & (shares <= each[2:]), axis=1).sum()
        for each in (box, box + ROUND_ABOUT)
    )
    return float(1000 * inside + near)


def _overlap(one: Array, other: Array) -> bool:
    return bool(np.all(one[:2] < other[2:]) and np.all(other[:2] < one[2:]))


MOST_COLUMNS, KEY_SHARE = 4, 0.97
"""Columns of the key, and how much of the figure's width it may take."""

KEY_POINTS = 16.0
"""How far the key stands below the frame: clear of the figures of longitude. [points]"""

KEY_NAME = 24
"""Characters of a mark's name in the key."""

MOST_RULES = 3
"""So many legs have their rules in the key; of more it says what the area is."""


def _legend(axes: Any, plan: Plan, shown: Sequence[Any]) -> None:
    """Write the key below the picture: within, it would lie on a mark sooner or later.

    It has as many columns as the paper is wide enough for: Matplotlib's layout narrows a chart
    under a key that is wider than its figure until nothing is left of it.
    """
    from matplotlib.legend_handler import HandlerPatch
    from matplotlib.patches import FancyArrow
    from matplotlib.transforms import ScaledTranslation, blended_transform_factory

    handles = [*_board_keys(plan), *_band_keys(plan), *_arrow_keys(plan), *shown]
    frame = blended_transform_factory(axes.figure.transFigure, axes.transAxes)
    below = frame + ScaledTranslation(0.0, -KEY_POINTS / 72.0, axes.figure.dpi_scale_trans)
    for columns in range(MOST_COLUMNS, 0, -1):
        key = axes.legend(
            handles=handles, handler_map={FancyArrow: HandlerPatch(patch_func=_key_arrow)},
            loc="upper center", bbox_to_anchor=(0.5, 0.0), bbox_transform=below,
            ncols=columns, fontsize=8, frameon=False, handlelength=3.2, columnspacing=1.4,
        )  # fmt: skip
        for text in key.get_texts():
            text.set_parse_math(False)
        renderer = axes.figure.canvas.get_renderer()
        if key.get_window_extent(renderer).width < KEY_SHARE * axes.figure.bbox.width:
            return


def _board_keys(plan: Plan) -> list[Any]:
    """Name the lines that are drawn, and no others."""
    from matplotlib.lines import Line2D

    boards = [board for leg in plan.legs for board in leg.boards]
    sailed = [board for board in boards if not board.engine]
    looks: tuple[tuple[bool, str, dict[str, Any]], ...] = (
        (any(board.tack == "port" for board in sailed), "port tack", {"color": PORT, "lw": 2.2}),
        (
            any(board.tack == "starboard" for board in sailed),
            "starboard tack",
            {"color": STARBOARD, "lw": 2.2, "ls": DASHED},
        ),
        *(
            (
                any(board.poled and board.tack == tack for board in sailed),
                f"pole set, {tack} tack",
                {"color": _side(tack), "lw": 9, "alpha": 0.25},
            )
            for tack in ("port", "starboard")
        ),
        (
            any(leg.laylines for leg in plan.legs),
            "layline into the mark",
            {"color": INK, "lw": 0.8, "ls": LAYLINE},
        ),
        (True, "rhumb line", {"color": QUIET, "lw": 0.9, "ls": RHUMB}),
        (len(sailed) < len(boards), UNDER_ENGINE, {"color": INK, "lw": 2.2, "ls": MOTORED}),
    )
    return [Line2D([0], [0], label=name, **look) for drawn, name, look in looks if drawn]


def _band_keys(plan: Plan) -> list[Any]:
    from matplotlib.patches import Patch

    rules = [_cone_words(rule) for rule in rules_of(plan)]
    if len(rules) > MOST_RULES:
        rules = ["either tack will do"]
    cones = [
        Patch(fc=CONE, ec=QUIET, lw=0.7, ls=(0, (4, 3)), alpha=0.5, label=words) for words in rules
    ]
    if not bands_of(plan):
        return cones
    hatch = BAND_HATCH["port"]
    band = Patch(fc="none", ec=INK, lw=0, hatch=hatch, alpha=0.5, label="layline in 8 of 10 shifts")
    return [band, *cones]


def _cone_words(rule: LegRule) -> str:
    name = _clipped(rule.mark, KEY_NAME)
    turn = "gybe when lifted" if rule.downwind else "tack when headed"
    words = (
        "no shift is worth a turn"
        if rule.headed_deg is None
        else f"{turn} by over {max(rule.headed_deg, 0.0):.0f}°"
    )
    return f"to {name}:\n{words}"


def _arrow_keys(plan: Plan) -> list[Any]:
    from matplotlib.patches import FancyArrow

    if not plan.hours:
        return []
    keys = [FancyArrow(0, 0, 1, 0, fc=QUIET, ec=QUIET, label="wind over the ground")]
    if any(hour.weather.set_deg is not None for hour in plan.hours):
        keys.append(FancyArrow(0, 0, 1, 0, fc=STREAM, ec=STREAM, label="stream"))
    return keys


def _key_arrow(
    *, legend: Any, orig_handle: Any, xdescent: float, ydescent: float, width: float,
    height: float, fontsize: float,
) -> Any:  # fmt: skip
    """Draw an arrow in the key as it lies on the chart."""
    from matplotlib.patches import FancyArrow

    del legend, fontsize
    return FancyArrow(
        -xdescent, -ydescent + height / 2.0, width, 0.0, length_includes_head=True,
        width=1.1, head_width=0.7 * height, head_length=0.8 * height, lw=0.0,
        fc=orig_handle.get_facecolor(),
    )  # fmt: skip


RIM = 0.05
"""What stays free above and below all that is drawn, of its height."""


def _dress(axes: Any, plan: Plan) -> None:
    middle = np.radians(np.mean([mark.lat for mark in plan.marks]))
    axes.set_aspect(1.0 / np.cos(middle), adjustable="datalim")
    # To keep the aspect Matplotlib gives margins up, but for a hair about the data.
    drawn = axes.dataLim
    rim = RIM * drawn.height
    axes.update_datalim([(drawn.x0, drawn.y0 - rim), (drawn.x1, drawn.y1 + rim)])
    # Words stand outside the marks: room for them to either side.
    axes.margins(x=0.4, y=0.15)
    axes.grid(color="#d5dbe1", lw=0.5)
    axes.set_facecolor("#f4f8fb")
    in_minutes(axes)
    axes.tick_params(labelsize=8, colors=QUIET)


def in_minutes(axes: Any) -> None:
    """Part the axes of longitude and latitude in minutes of arc, and write them as a chart does."""
    from matplotlib.ticker import FixedLocator

    for axis, letters, limits in (
        (axes.xaxis, "EW", axes.get_xlim()), (axes.yaxis, "NS", axes.get_ylim()),
    ):  # fmt: skip
        step = _round_minutes(abs(limits[1] - limits[0]) / 6.0 * 60.0) / 60.0
        first, last = np.floor(min(limits) / step), np.ceil(max(limits) / step)
        axis.set_major_locator(FixedLocator((step * np.arange(first, last + 1.0)).tolist()))
        axis.set_major_formatter(_written(letters))


def _written(letters: str) -> Callable[[float, int], str]:
    return lambda angle, _: _minutes((angle + 180.0) % 360.0 - 180.0, letters)


def _round_minutes(least: float) -> float:
    """Return the shortest step of so many minutes of arc that charts are parted in."""
    steps = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0)
    return next((each for each in steps if each >= least), 3600.0)


def _minutes(angle: float, letters: str) -> str:
    minutes = round(abs(angle) * 600.0) / 10.0
    letter = letters[1] if angle < 0 else letters[0]
    return f"{int(minutes // 60)}°{minutes % 60:04.1f}'{letter}"


def _wind_arrow(axes: Any, plan: Plan, box: Array) -> list[Any]:
    """Draw the wind within a box; return what is taken, the arrow's box and the words'."""
    from matplotlib.transforms import Bbox, TransformedBbox

    board = plan.legs[0].boards[0]
    blows_from = np.radians(board.twd_deg or 0.0)
    across, up = _shares(axes, (WIND_POINTS, WIND_POINTS + 6.0))
    x, y = float(box[0] + box[2]) / 2.0, float(box[3]) - up
    # In points, as shares of a frame that is no square would turn it.
    east, north = -WIND_POINTS * np.sin(blows_from), -WIND_POINTS * np.cos(blows_from)
    middle = axes.transAxes.transform((x, y)) / (axes.figure.dpi / 72.0)
    axes.annotate(
        "",
        xy=middle + np.array([east, north]),
        xytext=middle - np.array([east, north]),
        xycoords="figure points",
        textcoords="figure points",
        arrowprops={"arrowstyle": "-|>", "lw": 2, "color": INK},
    )
    words = axes.text(
        x,
        y - up,
        _wind_words(plan),
        transform=axes.transAxes,
        ha="center",
        va="top",
        fontsize=8,
        color=INK,
        path_effects=labels.halo(axes),
    )
    arrow = Bbox.from_extents(x - across, y - up, x + across, y + up)
    renderer = axes.figure.canvas.get_renderer()
    return [TransformedBbox(arrow, axes.transAxes), words.get_window_extent(renderer)]


WIND_POINTS = 20.0
"""Half the length of the wind's arrow, on paper. [points]"""


def _wind_words(plan: Plan) -> str:
    board = plan.legs[0].boards[0]
    words = f"wind over the water\n{three_figures(board.twd_deg or 0.0)}T, {board.tws_kn:.0f} kn"
    # In steady wind a board has but its two ends.
    changing = any(len(each.points) > 2 for leg in plan.legs for each in leg.boards)
    return f"{words} at the start" if changing else words
