"""What a GPX point holds besides its place and name, put back.

gpxpy writes the documents. Four things it leaves to its caller, and they live
here: the text and attributes of extension elements must reach it escaped, and
their names with prefixes; of several links it knows one; and characters that
XML can't hold must not reach it at all.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import Element
from xml.sax.saxutils import escape

from gpxpy import gpx as gpxpy_gpx
from gpxpy import gpxfield

from goosewing.exchange.gpx.kept import GOOSE, STANDARD, Kept
from goosewing.files.disk import UNPRINTABLE
from goosewing.files.gpx import GPX_1_1, split_name

if TYPE_CHECKING:
    from collections.abc import Iterable


_XML = "http://www.w3.org/XML/1998/namespace"
_XSI = "http://www.w3.org/2001/XMLSchema-instance"


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
        setattr(point, STANDARD[tag][0], writable(text))
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
