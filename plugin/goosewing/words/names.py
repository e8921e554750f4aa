"""Names as they may be shown: other people's, of any length and any characters."""

from __future__ import annotations

import unicodedata
from dataclasses import fields, is_dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterable

    from goosewing.records import Plan

LONGEST_NAME = 40
"""Characters of a name, before it is cut short."""

TURNS_WRITING = frozenset(
    "\u200e\u200f\u061c\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
)
"""Marks that turn the direction of what is written after them (Unicode Standard Annex 9)."""


def plain_name(name: str, longest: int = LONGEST_NAME) -> str:
    r"""Return a name in one line, without what steers a terminal, and cut short.

    Examples
    --------
    >>> plain_name("Anholt E"), plain_name("a\x1b[2Jb\u202ec\nd")
    ('Anholt E', 'a�[2Jbc d')
    >>> plain_name("x" * 99, 5)
    'xxxx…'
    """
    kept = "".join(_harmless(each) for each in name[: 4 * longest + 100])
    words = " ".join(kept.split()) or "unnamed"
    return words if len(words) <= longest else f"{words[: longest - 1].rstrip()}…"


def _harmless(character: str) -> str:
    if character in TURNS_WRITING:
        return ""
    if character.isspace():
        return " "
    # Cc, Cs, Co, Cn: controls, halves of pairs, and what no standard gives a shape.
    if unicodedata.category(character) in ("Cc", "Cs", "Co", "Cn"):
        return "\N{REPLACEMENT CHARACTER}"
    return character


def with_plain_names(plan: Plan) -> Plan:
    """Return a plan for showing: every name in it as `plain_name` has it, in sentences too."""
    return with_plain(plan, names_of(plan))


def names_of(plan: Plan) -> set[str]:
    """Return every name of other people's that a plan's sentences may hold."""
    names = {mark.name for mark in (*plan.marks, *plan.dangers)} | {plan.boat}
    names |= {tide.port for tide in plan.tides}
    for leg in plan.legs:
        names |= {leg.origin, leg.destination}
        names |= {board.sail_set for board in leg.boards}
    return names


_Value = TypeVar("_Value")


def with_plain(value: _Value, names: Iterable[str]) -> _Value:
    r"""Return a text, a record or a tuple of these with the names as `plain_name` has them.

    Examples
    --------
    >>> with_plain("on the way to B\u202eB", ["B\u202eB"])
    'on the way to BB'
    >>> with_plain(("on the way", " "), ["", " "])
    ('on the way', 'unnamed')
    """
    # The longest first: one name may be a part of another.
    shorter = {
        name: plain_name(name)
        for name in sorted(names, key=len, reverse=True)
        if name and plain_name(name) != name
    }
    shown: _Value = _shown(value, shorter) if shorter else value
    return shown


def _shown(value: Any, shorter: dict[str, str]) -> Any:
    if isinstance(value, str):
        if value in shorter:
            return shorter[value]
        for name, short in shorter.items():
            # One of spaces alone stands between all words.
            value = value.replace(name, short) if name.strip(" ") else value
        return value
    if isinstance(value, tuple):
        return tuple(_shown(each, shorter) for each in value)
    if is_dataclass(value) and not isinstance(value, type):
        members = {each.name: _shown(getattr(value, each.name), shorter) for each in fields(value)}
        return replace(value, **members)
    return value
