"""Which words of a waypoint say that it is a danger: pure text.

They are those of the dangers that charts show (IHO S-4, section B-400, speaks of rocks, wrecks,
obstructions and foul ground; S-57 calls their objects UWTROC, WRECKS and OBSTRN), and what
sailors write for them; common practice, no source.
"""

from __future__ import annotations

import re

_WORDS = re.compile(
    r"\b(dangers?|dangerous|hazards?|rocks?|wrecks?|shoals?|reefs?|obstructions?|obstn|foul ground"
    r"|sunken|awash|uwtroc|obstrn)\b",
    re.IGNORECASE,
)

_PLACE = re.compile(
    r"(?P<before>(?:[A-Z][^\W\d_]*[ '’-]+)*)"
    r"(?:Rocks?|ROCKS?|Wrecks?|WRECKS?|Shoals?|SHOALS?|Reefs?|REEFS?) (?P<noun>[A-Z][^\W\d_]+)"
)
_NOUNS = re.compile(
    r"anchorage|harbou?r|marina|port|quay|pier|bay|inn|pub|restaurant|beach", re.IGNORECASE
)
"""A name that is nothing but a place's, its danger word directly before such a noun, only speaks of
a danger: "Rock Harbour". A light stands on its rock, and a bar is a shoal: these are none."""


def danger_words(symbol: str | None, kind: str | None, name: str | None) -> str | None:
    """Say by what a waypoint is a danger; None where nothing says so.

    Examples
    --------
    >>> danger_words("Rock awash", None, "Skarv"), danger_words(None, None, "Wreck 4 m")
    ('its symbol says rock', 'its name says wreck')
    >>> danger_words(None, None, "Rock Harbour") is None
    True
    >>> danger_words(None, None, "Shoal N of harbour")
    'its name says shoal'
    """
    for field, text in (("symbol", symbol), ("type", kind), ("name", name)):
        found = _WORDS.search(text or "")
        if found is not None and not (field == "name" and _names_a_place(text or "")):
            return f"its {field} says {found[0].casefold()}"
    return None


def word_in_name(name: str) -> str | None:
    """Return the first danger word of a name, a place's name among them; None without one.

    Examples
    --------
    >>> word_in_name("Rock Harbour"), word_in_name("Fuel")
    ('rock', None)
    """
    found = _WORDS.search(name)
    return None if found is None else found[0].casefold()


def _names_a_place(name: str) -> bool:
    found = _PLACE.fullmatch(name.strip())
    return (
        found is not None
        and _NOUNS.fullmatch(found["noun"]) is not None
        and _WORDS.search(found["before"]) is None
    )
