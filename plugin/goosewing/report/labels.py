"""Where the words of a picture stand: clear of its lines and of each other."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise, product
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from goosewing.units import Array

GAPS_POINTS = (6.0, 14.0, 26.0, 40.0, 60.0, 90.0)
"""How far from its place a label may stand, the nearest first."""

DIRECTIONS = ((1, 0.6), (1, -0.6), (-1, 0.6), (-1, -0.6), (0, 1), (0, -1), (1, 0), (-1, 0))
"""East and north of the place, as shares of the gap and of the label's own half size."""

OUTSIDE, ON_A_LABEL, ON_A_LINE, FARTHER = 1000.0, 400.0, 6.0, 4.0
"""What each fault weighs: leaving the picture, covering words, each bit of a line, a gap more."""

ASTRAY = 400.0
"""What it weighs to stand no nearer to its own line than to another label's: it would be read
there, and an order read on the wrong board is worse than none."""

LED_FROM_POINTS = 12.0
"""Words farther than this from what they speak of have a thin line that leads there."""

LED_FARTHER = 4.0
"""How much more a bit of a line weighs where a thin line leads from the words to their place."""

MOVED, ROOM_PX = 20.0, 3.0
"""What it weighs to be moved into the frame; how far words keep off the frame and each other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """Words that may stand beside any of some places.

    Attributes
    ----------
    words : str
    places : tuple of (lon, lat)
        The first is liked best.
    style : mapping
        For Matplotlib.
    optional : bool
        Whether it is left out where there is no room.
    line : tuple of (lon, lat)
        The line that it speaks of, if of one; it keeps nearer to this than to any other's.
    shorter : str
        What is written where there is no room for the words.
    """

    words: str
    places: tuple[tuple[float, float], ...]
    style: Mapping[str, Any] = field(default_factory=dict)
    optional: bool = False
    line: tuple[tuple[float, float], ...] = ()
    shorter: str = ""


def place(axes: Any, labels: Sequence[Label], lines: Array, taken: Sequence[Any]) -> list[Array]:
    """Write labels one by one, each where it disturbs least.

    Parameters
    ----------
    axes : Axes
        Laid out already.
    labels : sequence of Label
        The most important first.
    lines : ndarray, shape (n, 2)
        Points along everything that is drawn, in pixels.
    taken : sequence of Bbox
        What words must keep off besides.

    Returns
    -------
    list of ndarray, shape (4,)
        Left, bottom, right and top of each label that was written. [px]
    """
    boxes = [np.array([b.x0, b.y0, b.x1, b.y1]) for b in taken]
    written: list[Array] = []
    spoken_of = [_pixels(axes, label.line) for label in labels]
    for number, label in enumerate(labels):
        own, others = spoken_of[number], spoken_of[:number] + spoken_of[number + 1 :]
        rivals = np.concatenate((np.zeros((0, 2)), *others)) if len(own) else own
        box = _write(axes, label, lines, [*boxes, *written], own, rivals)
        if box is None and label.shorter:
            brief = replace(label, words=label.shorter)
            box = _write(axes, brief, lines, [*boxes, *written], own, rivals)
            if box is None:
                # Wherever it stands, a thin line then leads to what it speaks of.
                box = _write(axes, brief, lines, [*boxes, *written], own[:0], own[:0], led=True)
        if box is not None:
            written.append(box)
    return written


def _pixels(axes: Any, line: Sequence[tuple[float, float]]) -> Array:
    """Points along a line, shape (n, 2), none of no line. [px]."""
    if not line:
        return np.zeros((0, 2))
    return along(axes.transData.transform(np.array(line)))


def _write(
    axes: Any,
    label: Label,
    lines: Array,
    boxes: Sequence[Array],
    own: Array,
    rivals: Array,
    *,
    led: bool = False,
) -> Array | None:
    figure = axes.figure
    text = axes.annotate(
        label.words, label.places[0], xytext=(0, 0), textcoords="offset points",
        ha="left", va="bottom", zorder=7, parse_math=False, path_effects=halo(axes), **label.style,
    )  # fmt: skip
    text.set_in_layout(False)
    extent = text.get_window_extent(figure.canvas.get_renderer())
    size = np.array([extent.width, extent.height])
    per_point = figure.dpi / 72.0
    places = axes.transData.transform(np.array(label.places))
    trials: list[Array] = []
    weights: list[float] = []
    for (number, place), (far, gap), (way, direction) in product(
        enumerate(places), enumerate(GAPS_POINTS), enumerate(DIRECTIONS)
    ):
        middle = place + np.array(direction) * (gap * per_point + size / 2.0)
        trials.append(np.concatenate((middle - size / 2.0, middle + size / 2.0)))
        weights.append(FARTHER * far + 0.5 * number + 0.1 * way)
    frame = axes.get_window_extent()
    trials += [_moved_inside(trial, frame) for trial in trials]
    weights += [weight + MOVED for weight in weights]
    faults = _faults(np.array(trials), frame, lines, boxes)
    if led:
        # It may stand far off, so it need not stand on anybody's line.
        faults += LED_FARTHER * (_faults(np.array(trials), frame, lines, ()) % OUTSIDE)
    if len(own) and len(rivals):
        astray = _off(np.array(trials), own) + ROOM_PX > _off(np.array(trials), rivals)
        faults += np.where(astray, ASTRAY, 0.0)
    best = int(np.argmin(faults + np.array(weights)))
    if label.optional and faults[best] >= ON_A_LABEL:
        text.remove()
        return None
    offset = trials[best][:2] - places[0]
    text.set_position(tuple(offset / per_point))
    spot = _spot(trials[best], places, own)
    if led or _off(trials[best][np.newaxis], spot[np.newaxis])[0] > LED_FROM_POINTS * per_point:
        _lead(axes, trials[best], spot, label)
    return trials[best]


def _spot(box: Array, places: Array, own: Array) -> Array:
    """Return the nearest place that words speak of; on a line, any of its points."""
    spots = own if len(own) else places
    aside = np.maximum(np.maximum(box[:2] - spots, spots - box[2:]), 0.0)
    nearest: Array = spots[int(np.argmin(np.hypot(*aside.T)))]
    return nearest


def halo(axes: Any) -> list[Any]:
    """Edge letters with the ground's colour: lines and hatched islands don't cross them out."""
    from matplotlib.patheffects import withStroke

    return [withStroke(linewidth=3.2, foreground=axes.get_facecolor())]


def _lead(axes: Any, box: Array, place: Array, label: Label) -> None:
    """Draw a thin line from the nearest edge of a label's box to the place it speaks of."""
    # In points: files of other resolutions than the screen's have other pixels.
    per_point = axes.figure.dpi / 72.0
    begins, place = np.clip(place, box[:2], box[2:]) / per_point, place / per_point
    axes.annotate(
        "", xy=place, xytext=begins, xycoords="figure points", textcoords="figure points", zorder=6,
        arrowprops={"arrowstyle": "-", "lw": 0.7, "shrinkA": 0, "shrinkB": 2,
                    "color": label.style.get("color", "black")},
    )  # fmt: skip


def _moved_inside(trial: Array, frame: Any) -> Array:
    """Move a box by as much as it stands out of the frame, and a little more."""
    low = np.array([frame.x0, frame.y0]) + ROOM_PX
    high = np.array([frame.x1, frame.y1]) - ROOM_PX
    shift = np.maximum(low - trial[:2], 0.0) + np.minimum(high - trial[2:], 0.0)
    moved: Array = trial + np.concatenate((shift, shift))
    return moved


def _faults(trials: Array, frame: Any, lines: Array, boxes: Sequence[Array]) -> Array:
    """Weigh boxes, shape (t, 4), by what they leave or cover; shape (t,)."""
    left, bottom, right, top = trials.T
    inside = (left > frame.x0) & (bottom > frame.y0) & (right < frame.x1) & (top < frame.y1)
    faults = np.where(inside, 0.0, OUTSIDE)
    for box in boxes:
        low, high = box[:2] - ROOM_PX, box[2:] + ROOM_PX
        over = (left < high[0]) & (right > low[0]) & (bottom < high[1]) & (top > low[1])
        faults += np.where(over, ON_A_LABEL, 0.0)
    x, y = lines.T
    covered = (
        (x > left[:, np.newaxis]) & (x < right[:, np.newaxis])
        & (y > bottom[:, np.newaxis]) & (y < top[:, np.newaxis])
    )  # fmt: skip
    weighed: Array = faults + ON_A_LINE * covered.sum(axis=1)
    return weighed


def _off(trials: Array, points: Array) -> Array:
    """How far boxes, shape (t, 4), are off the nearest of some points, shape (n, 2). [px]."""
    left, bottom, right, top = trials.T[:, :, np.newaxis]
    x, y = points.T
    aside = np.maximum(np.maximum(left - x, x - right), 0.0)
    above = np.maximum(np.maximum(bottom - y, y - top), 0.0)
    nearest: Array = np.hypot(aside, above).min(axis=1)
    return nearest


def along(pixels: Array, step_px: float = 5.0) -> Array:
    """Put points along a line so closely that no word slips between them.

    Parameters
    ----------
    pixels : ndarray, shape (n, 2)
        The line's own points. [px]
    """
    parts = [pixels[:1]]
    for here, there in pairwise(pixels):
        count = max(1, int(np.ceil(np.hypot(*(there - here)) / step_px)))
        share = np.arange(1, count + 1)[:, np.newaxis] / count
        parts.append(here + share * (there - here))
    return np.concatenate(parts)
