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

_NO_DANGER = re.compile(
    r"\b(anchorages?|harbours?|harbors?|marinas?|moorings?|ports?|quays?|piers?|bays?|inns?|lights?"
    r"|lighthouses?|bars?|pubs?|restaurants?|beach(es)?|pools?)\b",
    re.IGNORECASE,
)
"""Beside such a word a name only speaks of a danger: "Rock Harbour"."""


def danger_words(symbol: str | None, kind: str | None, name: str | None) -> str | None:
    """Say by what a waypoint is a danger; None where nothing says so.

    Examples
    --------
    >>> danger_words("Rock awash", None, "Skarv"), danger_words(None, None, "Wreck 4 m")
    ('its symbol says rock', 'its name says wreck')
    >>> danger_words(None, None, "Rock Harbour") is None
    True
    """
    for field, text in (("symbol", symbol), ("type", kind), ("name", name)):
        found = _WORDS.search(text or "")
        if found is not None and not (field == "name" and _NO_DANGER.search(text or "")):
            return f"its {field} says {found[0].casefold()}"
    return None
