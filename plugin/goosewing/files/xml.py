"""XML from strangers, parsed without obeying it.

Document types, entities and external references are refused before anything
is expanded, so that no file can fill the memory or fetch another file.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

from goosewing.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

DEEPEST = 100
"""Levels of elements inside each other; beyond, it is an attack or an accident."""


@dataclass(frozen=True, slots=True, kw_only=True)
class XmlDocument:
    """A parsed document.

    Attributes
    ----------
    root : Element
        Names in Clark notation, ``{namespace}local``.
    prefixes : tuple of (prefix, namespace)
        Every prefix declared anywhere, in order, each pair once.
    lines : mapping of Element to int
        The line on which each element begins, from 1.
    """

    root: Element
    prefixes: tuple[tuple[str, str], ...]
    lines: Mapping[Element, int]


class _Builder(TreeBuilder):
    """A tree builder that also notes prefixes and lines."""

    def __init__(self) -> None:
        super().__init__()
        self.prefixes: dict[tuple[str, str], None] = {}
        self.lines: dict[Element, int] = {}
        self.expat: Any = None
        self._depth = 0

    def start_ns(self, prefix: str, uri: str) -> None:
        if prefix:
            self.prefixes[prefix, uri] = None

    def start(self, tag: Any, attrs: Any, /) -> Any:
        self._depth += 1
        if self._depth > DEEPEST:
            raise _TooDeepError
        element = super().start(tag, attrs)
        self.lines[element] = self.expat.CurrentLineNumber
        return element

    def end(self, tag: str, /) -> Element:
        self._depth -= 1
        return super().end(tag)


class _TooDeepError(Exception):
    pass


def parse_xml(data: bytes, *, where: str, expected: str) -> XmlDocument:
    """Parse XML of any encoding that it declares.

    Parameters
    ----------
    data : bytes
        The document.
    where : str
        The file, for messages.
    expected : str
        What it should be ("a GPX file"), for messages.

    Raises
    ------
    InputError
        If it isn't well formed (with the line), or carries a document type,
        entities or external references.
    """
    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import DefusedXMLParser

    builder = _Builder()
    parser = DefusedXMLParser(target=builder, forbid_dtd=True)
    builder.expat = parser.parser
    try:
        parser.feed(data)
        root = parser.close()
    except DefusedXmlException:
        raise InputError(
            "declares a document type or entities, which are refused; "
            f"expected {expected} without them",
            where=where,
        ) from None
    except _TooDeepError:
        raise InputError(
            f"elements are nested over {DEEPEST} deep, expected {expected}", where=where
        ) from None
    except ParseError as error:
        raise InputError(_syntax_fault(error, expected), where=where) from None
    except (LookupError, ValueError) as error:
        raise InputError(
            f"unreadable encoding ({error}), expected {expected}", where=where
        ) from None
    return XmlDocument(root=root, prefixes=tuple(builder.prefixes), lines=builder.lines)


def _syntax_fault(error: ParseError, expected: str) -> str:
    line, _ = error.position
    fault = str(error).partition(": line")[0]
    return f"line {line}: not well-formed XML ({fault}), expected {expected}"
