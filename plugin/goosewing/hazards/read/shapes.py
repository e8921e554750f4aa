"""Drawn shapes of any kind and datum, made the areas that planners keep clear of.

Nothing that is drawn is dropped: broken outlines are repaired outwards, so that a part
that is enclosed twice stays enclosed, and points and lines become areas a hair wide,
which the clearance then grows.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

import numpy as np
import shapely

from goosewing.errors import InputError
from goosewing.hazards.areas import Area, Kind

if TYPE_CHECKING:
    from collections.abc import Callable

    from goosewing.units import Array

    Turn: TypeAlias = Callable[[Array], Array]

HAIR_M = 5.0
"""Half the width of a point or line: more than what counts as touching."""

METRES_PER_DEGREE = 111_120.0
"""Of latitude, near enough for a hair's width: 60 nautical miles."""

LONGEST_EDGE_DEG = 0.05
LONGEST_EDGE_M = 2000.0
"""Longer edges of other systems are divided before they are turned: what is straight there is not
quite straight in longitude and latitude. That leaves a metre at most."""

REPAIR = 1e-11
"""Corners of broken outlines closer than this share of their coordinates are one: in degrees
and in metres less than a millimetre."""

AT_ONCE = 100
MOST_CROSSINGS = 5000
"""An outline that crosses itself more often is none, and would take minutes to repair."""

FARTHEST_M = 5e7
"""No map of the earth has coordinates beyond this: 40 000 km is once round it."""

NAME_KEYS = ("name", "objnam", "title", "label")
LONGEST_NAME = 40


class Box(NamedTuple):
    """A stretch of the earth; `west` greater than `east` across the antimeridian [°]."""

    south: float
    west: float
    north: float
    east: float

    @property
    def width_deg(self) -> float:
        """How far it reaches from west to east."""
        width = self.east - self.west
        return width if width >= 0.0 else width + 360.0

    def touches(self, bounds: tuple[float, float, float, float]) -> bool:
        """Whether it meets west, south, east and north of something, in any winding."""
        west, south, east, north = bounds
        if north < self.south or south > self.north:
            return False
        behind = (self.west - west) % 360.0 <= east - west
        return behind or (west - self.west) % 360.0 <= self.width_deg


@dataclass(slots=True)
class Gathered:
    """Areas of one file so far, and what to say about them.

    Attributes
    ----------
    source : str
        The file's name, for messages.
    turn : callable or None
        From the file's coordinates, shape (n, 2), to longitude and latitude.
    divide : float
        Edges longer than this are divided, in the file's units.
    unit_m : float
        About how long those are. [m]
    doubts : list of str
        Notices.
    cut : bool
        Whether something was left out as too far away.
    known : bool
        Whether the file is worth having though none of it counts.
    """

    source: str
    turn: Turn | None = None
    divide: float = LONGEST_EDGE_DEG
    unit_m: float = METRES_PER_DEGREE
    areas: list[Area] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)
    repaired: dict[str, None] = field(default_factory=dict)
    cut: bool = False
    known: bool = False
    thin: int = 0
    unplaced: int = 0

    def add(
        self,
        shape: Any,
        *,
        place: str,
        name: str = "",
        kind: Kind = "area",
        depth_m: float | None = None,
    ) -> None:
        """Take a shape in.

        Parameters
        ----------
        shape : shapely geometry or None
            In the file's coordinates.
        place : str
            Where in the file it stands, for messages.
        name : str
        kind : "land", "danger", "shoal" or "area"
            What a polygon is; points and lines are dangers unless they are land.
        depth_m : float, optional
            As `Area.depth_m`.

        Raises
        ------
        InputError
            If a coordinate is none, or not on the earth.
        """
        if shape is None or shape.is_empty:
            self.unplaced += 1
            return
        called = f'{place} ("{name}")' if name else place
        shape = self._on_earth(shapely.force_2d(shape), called)
        solid, bare = _split(shape)
        if solid is not None:
            self._keep(_in_one_piece(solid), name, kind, depth_m)
        if bare is not None:
            self.thin += 1
            self._keep(hair(bare), name, "land" if kind == "land" else "danger", depth_m)

    def _keep(self, shape: Any, name: str, kind: Kind, depth_m: float | None) -> None:
        self.areas.append(
            Area(shape=shape, name=name, kind=kind, source=self.source, depth_m=depth_m)
        )

    def _on_earth(self, shape: Any, called: str) -> Any:
        points = shapely.get_coordinates(shape)
        if not np.all(np.isfinite(points)):
            raise InputError(f"{called}: a coordinate is no number", where=self.source)
        if self.turn is None:
            _check_degrees(points, called, self.source)
            return self._sound(_unwound(shape), called)
        if np.abs(points).max() * self.unit_m > FARTHEST_M:
            raise InputError(
                f"{called}: {points[np.argmax(np.abs(points).max(axis=1))]} lies nowhere on the "
                "earth in its coordinate system",
                where=self.source,
            )
        # `shapely.segmentize` drops wings of what is not sound.
        whole = shapely.segmentize(self._sound(shape, called), self.divide)
        turned = shapely.transform(whole, self.turn)
        _check_degrees(shapely.get_coordinates(turned), called, self.source)
        return self._sound(_unwound(turned), called)

    def _sound(self, shape: Any, called: str) -> Any:
        if shapely.is_valid(shape):
            return shape
        crossings = _most_crossings(shape)
        if crossings > MOST_CROSSINGS:
            raise InputError(
                f"{called}: its outline crosses itself more than {MOST_CROSSINGS} times: it is "
                "none, draw it anew",
                where=self.source,
            )
        self.repaired[called] = None
        return _repaired(shape)

    def notices(self) -> list[str]:
        """Say what was done to the shapes."""
        said = list(dict.fromkeys(self.doubts))
        if self.repaired:
            said.append(f"{self.source}: {_some([*self.repaired])}: broken outline, repaired.")
        if self.thin:
            said.append(
                f"{self.source}: {self.thin} of its shapes are points or lines: they are kept "
                "clear of by the clearance alone."
            )
        if self.unplaced:
            said.append(f"{self.source}: {self.unplaced} of its entries have no place: left out.")
        return said


def _some(places: list[str]) -> str:
    shown = ", ".join(places[:3])
    return shown if len(places) <= 3 else f"{shown} and {len(places) - 3} more"


def name_of(properties: Any) -> str:
    """Return the name among a feature's properties, or nothing."""
    if not isinstance(properties, dict):
        return ""
    for key in NAME_KEYS:
        for own, value in properties.items():
            if str(own).lower() == key and isinstance(value, str) and value.strip():
                return printable(value)
    return ""


def printable(text: str) -> str:
    """Return a text from a file as it may stand in a one-line message."""
    words = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return words if len(words) <= LONGEST_NAME else f"{words[: LONGEST_NAME - 1]}…"


def _check_degrees(points: Array, place: str, source: str) -> None:
    with np.errstate(invalid="ignore"):
        wrong = ~((np.abs(points[:, 0]) <= 360.0) & (np.abs(points[:, 1]) <= 90.0))
    if np.any(wrong):
        lon, lat = points[wrong][0]
        raise InputError(
            f"{place}: {lon:g}, {lat:g} is no longitude and latitude in degrees, in that order",
            where=source,
        )


def _unwound(shape: Any) -> Any:
    """Undo jumps from one side of the antimeridian to the other within lines and outlines."""
    west, _, east, _ = shape.bounds
    if east - west <= 180.0 or not _jumps(shape):
        return shape
    parts = [_unwound_part(part) for part in shapely.get_parts(shapely.get_parts(shape))]
    return parts[0] if len(parts) == 1 else shapely.GeometryCollection(parts)


def _jumps(shape: Any) -> bool:
    """Whether an edge is wider than half the earth; the edge of a map, all round it, is none."""
    lines = shapely.get_parts(shapely.get_parts(shape))
    rings = [shapely.get_rings(part) if part.geom_type == "Polygon" else [part] for part in lines]
    edges = [np.diff(shapely.get_coordinates(ring)[:, 0]) for each in rings for ring in each]
    return any(np.any(_jump(edge) != 0.0) for edge in edges)


def _jump(step: Array) -> Array:
    wide = (np.abs(step) > 180.0) & (np.abs(step) < 359.99)
    return np.where(wide, np.copysign(360.0, step), 0.0)


def _unwound_part(part: Any) -> Any:
    if part.geom_type == "Point":
        return part
    if part.geom_type == "LineString":
        return shapely.LineString(_unwound_line(shapely.get_coordinates(part)))
    shell, *holes = (_unwound_line(shapely.get_coordinates(r)) for r in shapely.get_rings(part))
    middle = shell[:, 0].mean()
    turns = (360.0 * round((middle - hole[:, 0].mean()) / 360.0) for hole in holes)
    turned = [hole + np.array([turn, 0.0]) for hole, turn in zip(holes, turns, strict=True)]
    return shapely.Polygon(shell, turned)


def _unwound_line(points: Array) -> Array:
    steps = np.diff(points[:, 0])
    lon = points[0, 0] + np.concatenate(([0.0], np.cumsum(steps - _jump(steps))))
    return np.column_stack((lon, points[:, 1]))


def _most_crossings(shape: Any) -> int:
    """Count how often the edges of one ring of a shape cross each other, of the worst."""
    rings = [
        ring
        for part in shapely.get_parts(shapely.get_parts(shape))
        if part.geom_type == "Polygon"
        for ring in shapely.get_rings(part)
    ]
    return max((_crossings(shapely.get_coordinates(ring)) for ring in rings), default=0)


def _crossings(points: Array) -> int:
    edges = shapely.linestrings(np.stack((points[:-1], points[1:]), axis=1))
    tree, found = shapely.STRtree(edges), 0
    for at in range(0, len(edges), AT_ONCE):
        found += tree.query(edges[at : at + AT_ONCE], predicate="crosses").shape[1]
        # Each pair is found from both of its edges.
        if found > 4 * MOST_CROSSINGS:
            break
    return found // 2


def _repaired(shape: Any) -> Any:
    """Make outlines that cross or touch themselves into areas of all that they go round.

    What lies within an outline is what it goes round at least once, in either direction.
    `shapely.make_valid` knows no such rule: one of its ways opens what is gone round twice,
    the other drops a wing of a bow tie.
    """
    parts = shapely.get_parts(shapely.get_parts(shape))
    polygons = [part for part in parts if part.geom_type == "Polygon"]
    filled = []
    for polygon in polygons:
        shell, *holes = (_filled(ring) for ring in shapely.get_rings(polygon))
        solid = [hole for hole in holes if shapely.get_dimensions(hole) == 2]
        filled.append(shapely.difference(shell, shapely.union_all(solid)) if solid else shell)
    return shapely.union_all([*filled, *(part for part in parts if part.geom_type != "Polygon")])


def _filled(ring: Any) -> Any:
    """Return the area that a ring goes round; the bare line if there is none."""
    points = shapely.get_coordinates(ring)
    # Edge by edge: a line that comes back to a corner of its own is not parted there.
    edges = shapely.linestrings(np.stack((points[:-1], points[1:]), axis=1))
    noded = shapely.union_all(edges, grid_size=REPAIR * max(float(np.abs(points).max()), 1.0))
    faces = shapely.get_parts(shapely.polygonize([noded]))
    places = shapely.get_coordinates(shapely.point_on_surface(faces))
    inside = [_turns(points, place) != 0 for place in places]
    return shapely.union_all(faces[inside]) if any(inside) else shapely.LineString(points)


def _turns(ring: Array, place: Array) -> int:
    """Count how often a closed ring goes round a place, positive to the left.

    Crossings of the ray eastwards from the place, upwards less downwards.
    """
    (x1, y1), (x2, y2) = (ring[:-1] - place).T, (ring[1:] - place).T
    left = x1 * y2 - x2 * y1
    upwards = (y1 <= 0.0) & (y2 > 0.0) & (left > 0.0)
    downwards = (y1 > 0.0) & (y2 <= 0.0) & (left < 0.0)
    return int(upwards.sum() - downwards.sum())


def _split(shape: Any) -> tuple[Any, Any]:
    """Part the polygons of a shape from its points and lines."""
    parts = shapely.get_parts(shapely.get_parts(shape))
    solid = [part for part in parts if part.geom_type == "Polygon" and part.area > 0.0]
    bare = [part for part in parts if part.geom_type != "Polygon" or not part.area > 0.0]
    polygons = None if not solid else solid[0] if len(solid) == 1 else shapely.MultiPolygon(solid)
    return polygons, shapely.GeometryCollection(bare) if bare else None


def _in_one_piece(shape: Any) -> Any:
    """Join what was cut at the antimeridian, as RFC 7946 (3.1.9) wants it in files."""
    west, _, east, _ = shape.bounds
    if shape.geom_type == "Polygon" or west > -180.0 + 1e-9 or east < 180.0 - 1e-9:
        return shape
    parts = shapely.get_parts(shape)
    beyond = shapely.bounds(parts)[:, 2] <= 0.0
    parts[beyond] = shapely.transform(parts[beyond], lambda points: points + np.array([360.0, 0.0]))
    return shapely.union_all(parts)


def hair(shape: Any) -> Any:
    """Return points or lines as an area `HAIR_M` to either side."""
    middle = np.radians(0.5 * (shape.bounds[1] + shape.bounds[3]))
    scale = np.array([max(float(np.cos(middle)), 1e-3), 1.0])
    flat = shapely.transform(shape, lambda points: points * scale)
    grown = shapely.buffer(flat, HAIR_M / METRES_PER_DEGREE, quad_segs=2)
    return shapely.transform(grown, lambda points: points / scale)
