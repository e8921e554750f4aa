"""Areas to keep clear of from GeoJSON (RFC 7946, and the ``crs`` member of 2008)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import msgspec
import shapely
import shapely.geometry

from goosewing.errors import InputError
from goosewing.hazards.read.shapes import name_of, printable

if TYPE_CHECKING:
    from collections.abc import Iterator

    from goosewing.hazards.read.shapes import Gathered

GEOMETRIES = frozenset(
    {"Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon"}
)


def gather(gathered: Gathered, data: bytes) -> None:
    """Gather the areas of a GeoJSON document.

    Raises
    ------
    InputError
        If it is no GeoJSON, or a shape of it none; says which.
    """
    source = gathered.source
    try:
        content = msgspec.json.decode(data.removeprefix(b"\xef\xbb\xbf"))
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        said = "too deeply nested" if isinstance(error, RecursionError) else error
        raise InputError(f"is no GeoJSON: {said}", where=source) from None
    crs = _crs_member(content, source)
    if crs is not None:
        from goosewing.hazards.read.datum import use_system

        use_system(gathered, crs)
    for place, feature in _features(content, source):
        shape = _geometry(feature.get("geometry"), place, source)
        gathered.add(shape, place=place, name=name_of(feature.get("properties")))


def _features(content: Any, source: str) -> Iterator[tuple[str, dict[str, Any]]]:
    kind = content.get("type")
    if kind == "FeatureCollection":
        features = content.get("features")
        if not isinstance(features, list):
            raise InputError("its FeatureCollection has no list of features", where=source)
        for number, feature in enumerate(features, 1):
            if not isinstance(feature, dict) or feature.get("type") != "Feature":
                raise InputError(f"feature {number} is no Feature", where=source)
            yield f"feature {number}", feature
    elif kind == "Feature":
        yield "the feature", content
    elif isinstance(kind, str) and (kind == "GeometryCollection" or kind in GEOMETRIES):
        yield "the geometry", {"geometry": content}
    else:
        raise InputError(
            f"is JSON but not GeoJSON: its type is {printable(repr(kind))}", where=source
        )


def _geometry(geometry: Any, place: str, source: str) -> Any:
    """Build a shape; None where a feature has no place."""
    if geometry is None:
        return None
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    if kind == "GeometryCollection":
        parts = geometry.get("geometries")
        if not isinstance(parts, list):
            raise InputError(f"{place}: its GeometryCollection has no geometries", where=source)
        built = (_geometry(part, place, source) for part in parts)
        return shapely.GeometryCollection([each for each in built if each is not None])
    if not isinstance(kind, str) or kind not in GEOMETRIES:
        raise InputError(
            f"{place}: {printable(repr(kind))} is no kind of GeoJSON geometry", where=source
        )
    if geometry.get("coordinates") == []:
        return None
    try:
        if _holds_bool(geometry.get("coordinates")):
            raise TypeError
        return shapely.geometry.shape(geometry)
    except (ValueError, TypeError, LookupError, AttributeError, shapely.GEOSException):
        raise InputError(
            f"{place}: its coordinates make no {kind} of longitudes and latitudes", where=source
        ) from None


def _holds_bool(coordinates: Any) -> bool:
    """Whether a coordinate is true or false, which Python takes for 1 and 0."""
    if isinstance(coordinates, list):
        flat = coordinates and not isinstance(coordinates[0], list)
        if flat:
            return any(isinstance(each, bool) for each in coordinates)
        return any(_holds_bool(each) for each in coordinates)
    return isinstance(coordinates, bool)


def _crs_member(content: Any, source: str) -> str | None:
    """Return what the ``crs`` member of GeoJSON before RFC 7946 names, if there is one."""
    if not isinstance(content, dict):
        raise InputError("is JSON but not GeoJSON", where=source)
    given = content.get("crs")
    if given is None:
        return None
    properties = given.get("properties") if isinstance(given, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    if not isinstance(name, str):
        raise InputError('its "crs" names no coordinate system', where=source)
    return name
