"""What a GPX point holds besides its place and name, kept as it came.

Apart from what writes it (`points`): whoever only reads marks loads no library for writing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element

from goosewing.files.gpx import GPX_1_1, split_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    from goosewing.records import Mark

GOOSE = "urn:goosewing:gpx:1"
"""Namespace of this project's own extension elements."""

_DECIMAL = r"[+-]?(\d+(\.\d*)?|\.\d+)"
_COUNT = r"\+?\d+"
_DEGREES = r"\+?(([0-2]?\d?\d|3[0-5]\d)(\.\d*)?|\.\d+)"
_DGPS = r"\+?0*(\d{1,3}|10[01]\d|102[0-3])"

# Child elements that are kept as they came: the name gpxpy has for each, and
# what the schema allows in it.
STANDARD: dict[str, tuple[str, str]] = {
    "ele": ("elevation", _DECIMAL),
    "magvar": ("magnetic_variation", _DEGREES),
    "geoidheight": ("geoid_height", _DECIMAL),
    "src": ("source", r"(?s:.*)"),
    "fix": ("type_of_gpx_fix", "none|2d|3d|dgps|pps"),
    "sat": ("satellites", _COUNT),
    "hdop": ("horizontal_dilution", _DECIMAL),
    "vdop": ("vertical_dilution", _DECIMAL),
    "pdop": ("position_dilution", _DECIMAL),
    "ageofdgpsdata": ("age_of_dgps_data", _DECIMAL),
    "dgpsid": ("dgps_id", _DGPS),
}

# What the mark itself carries, or the plan's own times replace.
_ELSEWHERE = frozenset(
    {"name", "desc", "cmt", "sym", "type", "time", "link", "url", "urlname", "extensions"}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What of a point neither the mark nor the plan knows.

    Attributes
    ----------
    fields : tuple of (tag, text)
        Standard children such as ``ele``, word for word, those only that the
        schema allows.
    links : tuple of (href, text, type)
        Every link; the last two may be None.
    extensions : tuple of Element
        Foreign elements in Clark notation. Not to be changed.
    prefixes : tuple of (prefix, namespace)
        The file's own, used again where they are still free.
    """

    fields: tuple[tuple[str, str], ...] = ()
    links: tuple[tuple[str, str | None, str | None], ...] = ()
    extensions: tuple[Element, ...] = ()
    prefixes: tuple[tuple[str, str], ...] = ()


def kept_of(mark: Mark) -> Kept:
    """Return what was kept for a mark."""
    return next((each for each in mark.extras if isinstance(each, Kept)), Kept())


def keep(
    point: Element, namespace: str, prefixes: tuple[tuple[str, str], ...]
) -> tuple[Kept, list[str]]:
    """Take from a parsed point what must survive.

    Parameters
    ----------
    point : Element
        A ``wpt``, ``rtept`` or ``trkpt``.
    namespace : str
        The document's GPX namespace (empty for a file that declares none).
    prefixes : tuple of (prefix, namespace)
        Those that the document declares.

    Returns
    -------
    kept : Kept
        What can be put back.
    lost : list of str
        Names of children that no valid GPX could hold.
    """
    fields, lost = _standard_fields(point, namespace)
    extensions, nameless = _foreign(point, namespace)
    return (
        Kept(
            fields=fields,
            links=tuple(_links(point, namespace)),
            extensions=extensions,
            prefixes=prefixes if extensions else (),
        ),
        lost + nameless,
    )


def _standard_fields(
    point: Element, namespace: str
) -> tuple[tuple[tuple[str, str], ...], list[str]]:
    fields: dict[str, str] = {}
    lost: list[str] = []
    for child in point:
        uri, tag = split_name(child.tag)
        if uri != namespace or tag in _ELSEWHERE or tag in fields:
            continue
        text = child.text or ""
        bare = text if tag == "src" else text.strip()
        if tag in STANDARD and re.fullmatch(STANDARD[tag][1], bare, re.ASCII):
            fields[tag] = bare
        elif bare:
            lost.append(tag)
    return tuple(fields.items()), lost


def _links(point: Element, namespace: str) -> Iterator[tuple[str, str | None, str | None]]:
    space = f"{{{namespace}}}" if namespace else ""
    for link in point.iterfind(f"{space}link"):
        if href := link.get("href"):
            yield href, link.findtext(f"{space}text"), link.findtext(f"{space}type")
    # GPX 1.0 had one, in two elements.
    if url := (point.findtext(f"{space}url") or "").strip():
        yield url, point.findtext(f"{space}urlname"), None


def _foreign(point: Element, namespace: str) -> tuple[tuple[Element, ...], list[str]]:
    """Return foreign elements, in ``extensions`` (1.1) or straight in the point (1.0)."""
    found: list[Element] = []
    lost: list[str] = []
    inside = point.find(f"{{{namespace}}}extensions" if namespace else "extensions")
    for child in inside if inside is not None else ():
        uri, local = split_name(child.tag)
        if uri in ("", namespace, GPX_1_1):
            lost.append(local)
        elif uri != GOOSE:
            found.append(child)
    found += [
        child for child in point if split_name(child.tag)[0] not in ("", namespace, GPX_1_1, GOOSE)
    ]
    return tuple(found), lost
