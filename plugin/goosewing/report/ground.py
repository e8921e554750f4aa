"""Land, shoals and what else a plan keeps clear of, drawn behind it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from goosewing.hazards.areas import Hazards
    from goosewing.units import Array

EDGE = "#8d8a82"

STYLES: Mapping[str, Mapping[str, Any]] = {
    "land": {"facecolor": "#cfccc4", "edgecolor": EDGE, "lw": 0.6},
    "shoal": {"facecolor": "#c5d9e8", "edgecolor": "#7f9bb0", "lw": 0.5},
    "area": {"facecolor": "none", "edgecolor": EDGE, "lw": 0.8, "hatch": "xxx"},
    "danger": {"facecolor": "#6f6c66", "edgecolor": "#6f6c66", "lw": 1.6},
}
"""By kind, in the order in which they are drawn: greys, as red and green are the tacks'."""

SMALL = 0.01
"""Share of the picture's width."""

WORDS = {"land": "land", "shoal": "shoal", "area": "drawn area", "danger": "danger"}


def draw(axes: Any, hazards: Hazards, centre: float) -> list[Any]:
    """Draw all areas that lie in the picture; its limits stay.

    Parameters
    ----------
    axes : Axes
        Laid out already; longitude to the right, latitude up.
    hazards : Hazards
    centre : float
        The longitude about which the picture is unwound. [°]

    Returns
    -------
    list of artists
        One for each kind that is seen, for the legend.
    """
    import shapely
    from matplotlib.collections import PathCollection
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    west, east = axes.get_xlim()
    south, north = axes.get_ylim()
    view = shapely.box(west, south, east, north)
    shown = []
    for kind, style in STYLES.items():
        paths = [
            path
            for area in hazards.areas
            if area.kind == kind
            for path in _paths(area.shape, view, centre)
        ]
        if paths:
            drawn = PathCollection(paths, zorder=0.5, **style)
            axes.add_collection(drawn, autolim=False)
            like = _cross() if kind == "danger" else {}
            shown.append(
                Line2D([], [], label=WORDS[kind], **like)
                if like
                else Patch(label=WORDS[kind], **{**style, "lw": min(style["lw"], 0.8)})
            )
            if kind == "danger":
                _mark(axes, paths)
    if shown and hazards.clearance_nm:
        words = f"kept {hazards.clearance_nm:g} nm off"
        shown.append(Patch(label=words, facecolor="none", edgecolor="none"))
    return shown


def _cross() -> dict[str, Any]:
    """Return the look of the cross on a danger, in the picture and in its key."""
    colour = STYLES["danger"]["edgecolor"]
    return {"marker": "+", "ms": 8, "mew": 1.6, "color": colour, "ls": "none"}


def _mark(axes: Any, paths: Sequence[Any]) -> None:
    """Put a cross on dangers too small to be seen."""
    west, east = axes.get_xlim()
    boxes = [path.get_extents() for path in paths]
    small = [box for box in boxes if max(box.width, box.height) < SMALL * (east - west)]
    lon, lat = [0.5 * (b.x0 + b.x1) for b in small], [0.5 * (b.y0 + b.y1) for b in small]
    # A plain line would widen the picture's limits.
    limits = axes.get_xlim(), axes.get_ylim()
    axes.plot(lon, lat, zorder=0.6, **_cross())
    axes.set_xlim(limits[0])
    axes.set_ylim(limits[1])


def _paths(shape: Any, view: Any, centre: float) -> list[Any]:
    """Outlines of what of a shape lies in the view, holes turning the other way."""
    import shapely
    from matplotlib.path import Path

    west, _, east, _ = shape.bounds
    turn = 360.0 * np.round((centre - 0.5 * (west + east)) / 360.0)
    paths = []
    for way in (turn - 360.0, turn, turn + 360.0):
        if east + way < view.bounds[0] or west + way > view.bounds[2]:
            continue
        there = shapely.transform(shape, lambda points, by=way: points + np.array([by, 0.0]))
        seen = shapely.get_parts(shapely.get_parts(shapely.intersection(there, view)))
        solid = (shapely.get_dimensions(seen) == 2) & ~shapely.is_empty(seen)
        for part in seen[solid]:
            rings = shapely.get_rings(shapely.orient_polygons(part))
            paths.append(Path.make_compound_path(*(_ring(ring) for ring in rings)))
    return paths


def _ring(ring: Any) -> Any:
    import shapely
    from matplotlib.path import Path

    points: Array = shapely.get_coordinates(ring)
    return Path(points, closed=True)
