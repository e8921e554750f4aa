"""What every reader of GPX needs first: the document, its elements, and positions in it.

Who reads marks, outlines of hazards or a receiver's routes takes the elements from a
`GpxDocument`, so that a file that is no GPX, and a position that is none, are told alike.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from goosewing.errors import InputError
from goosewing.files.disk import shown
from goosewing.files.xml import parse_xml

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from goosewing.files.xml import XmlDocument

GPX_1_0 = "http://www.topografix.com/GPX/1/0"
GPX_1_1 = "http://www.topografix.com/GPX/1/1"

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True, slots=True)
class GpxDocument:
    """A parsed GPX file.

    Attributes
    ----------
    xml : XmlDocument
    namespace : str
        Of GPX 1.0 or 1.1; empty for a file that declares none.
    where : str
        The file, for messages.
    """

    xml: XmlDocument
    namespace: str
    where: str

    @property
    def root(self) -> Element:
        """The ``gpx`` element."""
        return self.xml.root

    @property
    def version(self) -> str:
        """Return "1.0" or "1.1", by the namespace, else by the attribute."""
        if self.namespace:
            return "1.0" if self.namespace == GPX_1_0 else "1.1"
        return "1.0" if self.root.get("version") == "1.0" else "1.1"

    def line(self, element: Element) -> str:
        """Say where in the file an element stands."""
        return f"line {self.xml.lines[element]}"

    def all(self, parent: Element, tag: str) -> list[Element]:
        """Return the children of GPX's own that are called so."""
        return parent.findall(f"{{{self.namespace}}}{tag}" if self.namespace else tag)

    def first(self, parent: Element, tag: str) -> Element | None:
        """Return the first such child."""
        found = self.all(parent, tag)
        return found[0] if found else None

    def text(self, parent: Element, tag: str) -> str | None:
        """Return a child's text as it stands; None if there is none but blanks."""
        found = self.first(parent, tag)
        text = None if found is None else found.text
        return text if text and text.strip() else None

    def track_points(self, track: Element) -> list[Element]:
        """Return the points of all segments of a track."""
        return [point for part in self.all(track, "trkseg") for point in self.all(part, "trkpt")]


def parse_gpx(data: bytes, *, where: str, expected: str = "a GPX file") -> GpxDocument:
    """Parse GPX 1.0 or 1.1.

    Parameters
    ----------
    data : bytes
        The document.
    where : str
        The file, for messages.
    expected : str
        What it should be, for messages.

    Raises
    ------
    InputError
        As `goosewing.files.xml.parse_xml`, and if it is other XML.
    """
    xml = parse_xml(data, where=where, expected=expected)
    namespace, root = split_name(xml.root.tag)
    if root != "gpx" or namespace not in (GPX_1_0, GPX_1_1, ""):
        raise InputError(
            f"is XML but not GPX: its root is <{brief(root)}>"
            f" of {brief(namespace) or 'no'} namespace,"
            " expected <gpx> of GPX 1.0 or 1.1",
            where=where,
        )
    return GpxDocument(xml, namespace, where)


def degrees(point: Element, name: str, limit: float, place: str) -> float:
    """Return a position's ``lat`` or ``lon``.

    Parameters
    ----------
    point : Element
        What carries it as an attribute.
    name : str
        Of the attribute.
    limit : float
        Largest value either way. [°]
    place : str
        Where in which file, for messages.

    Raises
    ------
    InputError
        If it is missing, no decimal number, or beyond the limit.
    """
    text = point.get(name)
    if text is None:
        raise InputError(f"{name} is missing", where=place)
    if not _NUMBER.fullmatch(text.strip()):
        raise InputError(f'{name} is not a decimal number: "{brief(text)}"', where=place)
    value = float(text)
    if not -limit <= value <= limit:
        raise InputError(f"{name} must be from -{limit:g} to {limit:g}, got {value:g}", where=place)
    return value


def is_number(text: str) -> bool:
    """Whether a text is a decimal number, as XML writes one."""
    return _NUMBER.fullmatch(text) is not None


def brief(text: str | None) -> str:
    """Return text from a file as it may stand in a one-line message."""
    words = " ".join(shown(" ".join((text or "").split())).split())
    return words if len(words) <= 40 else f"{words[:39]}…"


def split_name(tag: Any) -> tuple[str, str]:
    """Split ``{namespace}local`` in two; no namespace is the empty one."""
    namespace, brace, local = str(tag).rpartition("}")
    return (namespace[1:] if brace else ""), local
