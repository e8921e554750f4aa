"""What a GPX point holds besides its place and name, kept and put back.

gpxpy writes the documents. Four things it leaves to its caller, and they live
here: the text and attributes of extension elements must reach it escaped, and
their names with prefixes; of several links it knows one; and characters that
XML can't hold must not reach it at all.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import Element
from xml.sax.saxutils import escape

from gpxpy import gpx as gpxpy_gpx
from gpxpy import gpxfield

from goosewing.files.disk import UNPRINTABLE
from goosewing.files.gpx import GPX_1_1, split_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from goosewing.records import Mark

GOOSE = "urn:goosewing:gpx:1"
"""Namespace of this project's own extension elements."""

_XML = "http://www.w3.org/XML/1998/namespace"
_XSI = "http://www.w3.org/2001/XMLSchema-instance"

_DECIMAL = r"[+-]?(\d+(\.\d*)?|\.\d+)"
_COUNT = r"\+?\d+"
_DEGREES = r"\+?(([0-2]?\d?\d|3[0-5]\d)(\.\d*)?|\.\d+)"
_DGPS = r"\+?0*(\d{1,3}|10[01]\d|102[0-3])"

# Child elements that are kept as they came: the name gpxpy has for each, and
# what the schema allows in it.
_KEPT: dict[str, tuple[str, str]] = {
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


# Keeping -----------------------------------------------------------------------------------


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
        if tag in _KEPT and re.fullmatch(_KEPT[tag][1], bare, re.ASCII):
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


# Putting back ------------------------------------------------------------------------------


class _Links(gpxfield.GPXExtensionsField):
    """All of a point's links: gpxpy by itself writes one, its address not escaped."""

    def to_xml(
        self,
        value: Any,
        version: str,  # noqa: ARG002
        nsmap: dict[str, str] | None = None,
        prettyprint: bool = True,
        indent: str = "",
    ) -> str:
        return "".join(self._ETree_to_xml(link, nsmap or {}, prettyprint, indent) for link in value)


def _fields_with_every_link() -> list[Any]:
    fields = list(gpxpy_gpx.GPX_11_POINT_FIELDS)
    first, last = fields.index("link:@link"), fields.index("/link")
    return [*fields[:first], _Links("links", tag="link"), *fields[last + 1 :]]


class RoutePoint(gpxpy_gpx.GPXRoutePoint):
    """A route point of gpxpy's that holds any number of links."""

    gpx_11_fields = _fields_with_every_link()

    def __init__(self) -> None:
        super().__init__()
        self.links: list[Element] = []


def restore(kept: Kept, point: RoutePoint) -> None:
    """Put standard children and links back; extensions wait for `Prefixes`."""
    for tag, text in kept.fields:
        setattr(point, _KEPT[tag][0], writable(text))
    point.links = [_link(*link) for link in kept.links]


def _link(href: str, text: str | None, kind: str | None) -> Element:
    link = Element("link", {"href": _attribute(href)})
    for tag, content in (("text", text), ("type", kind)):
        if content is not None:
            child = Element(tag)
            child.text = _text(content)
            link.append(child)
    return link


class Prefixes:
    """The namespace prefixes of one document, all of them declared at its root.

    Parameters
    ----------
    preferred : iterable of (prefix, namespace)
        What the sources called them; the first to claim a prefix has it.
    """

    def __init__(self, preferred: Iterable[tuple[str, str]] = ()) -> None:
        self._by_uri = {GOOSE: "goose", _XSI: "xsi", _XML: "xml"}
        for prefix, uri in preferred:
            if self._free(prefix) and uri not in self._by_uri and uri != GPX_1_1:
                self._by_uri[uri] = prefix

    def _free(self, prefix: str) -> bool:
        # "defaultns" is gpxpy's own word for the namespace without a prefix.
        return prefix not in ("xmlns", "defaultns") and prefix not in self._by_uri.values()

    def of(self, uri: str) -> str:
        """Return the prefix of a namespace; a new one if it has none yet."""
        if uri not in self._by_uri:
            number = 1
            while not self._free(f"ns{number}"):
                number += 1
            self._by_uri[uri] = f"ns{number}"
        return self._by_uri[uri]

    def declared(self) -> dict[str, str]:
        """Return namespaces by prefix, as gpxpy wants them (it escapes nothing)."""
        return {prefix: _attribute(uri) for uri, prefix in self._by_uri.items() if prefix != "xml"}

    def ready(self, element: Element, around: str = GPX_1_1) -> Element:
        """Copy an element with prefixed names and escaped text, which gpxpy then writes as it is.

        Parameters
        ----------
        element : Element
            In Clark notation.
        around : str
            The namespace that an unprefixed name has at this place.
        """
        name, attributes, around = self._opening(element, around)
        copy = Element(name, attributes)
        copy.text = _text(element.text, beside_elements=len(element) > 0)
        for child in element:
            inner = self.ready(child, around)
            inner.tail = _text(child.tail, beside_elements=True)
            copy.append(inner)
        return copy

    def _opening(self, element: Element, around: str) -> tuple[str, dict[str, str], str]:
        attributes = {self._name(name): _attribute(value) for name, value in element.attrib.items()}
        uri, local = split_name(element.tag)
        if uri not in ("", GPX_1_1):
            return self._name(element.tag), attributes, around
        # These two go without a prefix, so the default has to be right.
        if uri != around:
            attributes = {"xmlns": uri, **attributes}
        return local, attributes, uri

    def _name(self, tag: str) -> str:
        uri, local = split_name(tag)
        return f"{self.of(uri)}:{local}" if uri else local


# Text --------------------------------------------------------------------------------------

_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def writable(text: str) -> str:
    """Replace the characters that XML 1.0 can't hold."""
    return _NOT_XML.sub(UNPRINTABLE, text)


def with_line_ends(xml: str) -> str:
    """Protect carriage returns, which a reader would turn into line feeds, in a whole document."""
    return xml.replace("\r", "&#13;")


def _attribute(value: str) -> str:
    return escape(writable(value), {'"': "&quot;", "\n": "&#10;", "\t": "&#9;", "\r": "&#13;"})


def _text(text: str | None, *, beside_elements: bool = False) -> str | None:
    """Escape; blanks at either end become references, for gpxpy strips plain ones.

    Beside elements gpxpy lays out lines, so that blanks there are layout and
    go: else they would grow with every file made from the last.
    """
    if beside_elements:
        text = (text or "").strip()
    if not text:
        return None
    bare = writable(text)
    inner = bare.strip()
    start = bare.index(inner) if inner else len(bare)
    before, after = bare[:start], bare[start + len(inner) :]
    return _references(before) + escape(inner) + _references(after)


def _references(blanks: str) -> str:
    return "".join(f"&#{ord(each)};" for each in blanks)
