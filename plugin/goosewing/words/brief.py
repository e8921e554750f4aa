"""What a plan says at a point, in as few characters as a receiver shows.

The sentence is taken apart into what is done and held, in its order; each part has
several forms, the longest first. Parts give way one after another, what the helm can
most easily do without first, until the whole fits; what then has room again is put
back. So "gybe onto port tack, set the pole for wing-and-wing, steer 127°, 0753Z"
becomes "gybe P, pole up, steer 127, 0753Z", and at 16 characters "gybe pole up 127".
``P`` and ``S`` are the tack, ``PU`` and ``PD`` the pole up and down where even those
words have no room, ``T``, ``M`` and ``C`` the dials as elsewhere.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

_Forms = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Part:
    kind: str
    forms: _Forms


def _on(found: re.Match[str]) -> _Forms:
    tack = found[1]
    # Never "P tack": a helm might tack.
    return f"on {tack} tack", _letter(tack), ""


def _turn(name: str, found: re.Match[str]) -> _Forms:
    tack = found[1]
    return f"{name} onto {tack} tack", f"{name} {_letter(tack)}", name, ""


def _heading(found: re.Match[str]) -> _Forms:
    headings = found[1].split()
    every = " ".join(headings)
    last = headings[-1]
    # A heading on no named dial is true.
    named = f"{last}T" if last.isdigit() else last
    return f"steer {every}", every, named, last, ""


def _leave(found: re.Match[str]) -> _Forms:
    side, off = found[1], f" {found[2]}" if found[2] else ""
    letter = _letter(side)
    full = f"leave to {side}{off} nm off" if off else f"leave to {side}"
    return full, f"leave {letter}{off}", f"leave {letter}", f"lv {letter}", ""


def _arrive(found: re.Match[str]) -> _Forms:
    time = _time_of(found)
    return f"arrive {time}", f"arr {time}", time


def _time_of(found: re.Match[str]) -> str:
    return f"{found[1]}/{found[2]}" if found[1] else found[2]


def _letter(side: str) -> str:
    return side[0].upper()


_TIME = r"(?:\d{4}-\d\d-(\d\d) )?(\d{4}Z)"

_KINDS: tuple[tuple[str, str, Callable[[re.Match[str]], _Forms]], ...] = (
    ("leave", r"leave to (port|starboard)(?:, ([\d.]+) nm off)?", _leave),
    ("alter", r"alter course", lambda _: ("alter course", "")),
    ("turn", r"gybe onto (port|starboard) tack", lambda m: _turn("gybe", m)),
    ("turn", r"onto (port|starboard) tack", lambda m: _turn("tack", m)),
    ("pole", r"set the pole(?: for ([^,]+))?", lambda m: (m[0], "pole up", "pole up", "PU", "")),
    ("pole", r"strike the pole", lambda m: (m[0], "pole down", "pole dn", "PD", "")),
    ("change", r"change to ([^,]+)", lambda m: (m[0], m[1], "sails", "")),
    ("engine", r"set sail", lambda m: (m[0], "sail", "")),
    ("engine", r"under engine", lambda m: (m[0], "engine", "engine")),
    ("on", r"on (port|starboard) tack", _on),
    ("heading", r"steer (\d{3}[TMC]?(?: \d{3}[TMC])*)(?: at first)?", _heading),
    ("angle", r"keep the true wind at (\d+)", lambda m: (m[0], f"TWA{m[1]}", f"W{m[1]}")),
    ("beyond", r"beyond the forecast", lambda m: (m[0], "")),
    ("arrive", rf"arrive {_TIME}", _arrive),
    ("time", _TIME, lambda m: (_time_of(m), "")),
    ("other", r"[^,]+", lambda m: (m[0], "")),
)
"""What a piece of the sentence may be; the first that fits is it."""

_GIVING_WAY = (
    *("engine", "angle", "on", "turn", "pole", "alter", "change", "leave", "heading", "other"),
    *("separator", "beyond", "time", "heading", "pole", "leave", "heading", "change"),
    *("turn", "pole", "leave", "leave", "heading if an angle", "angle", "on", "change"),
    *("engine", "pole", "turn", "arrive", "arrive"),
)
"""Whose turn it is to take its next shorter form."""


def compact(text: str, length: int) -> str | None:
    """Say at most so many characters of what a plan says at a point.

    Parameters
    ----------
    text : str
        As `goosewing.exchange.gpx.plans` writes it, in ASCII.
    length : int
        Most characters.

    Returns
    -------
    str or None
        None if the text is none of a plan's, or nothing of it fits.

    Examples
    --------
    >>> compact("strike the pole, gybe onto port tack, main and jib, steer 060, 2355Z", 16)
    'pole dn gybe 060'
    >>> compact("on starboard tack, main and jib, steer 268 at first, keep the true wind at 44", 16)
    'S, TWA44, 268'
    >>> compact("arrive 2027-06-29 0419Z", 16)
    'arrive 29/0419Z'
    """
    parts = _parts(text)
    if not {"heading", "arrive"} & {each.kind for each in parts}:
        return None
    taken = _squeezed(parts, length)
    return None if taken is None else _joined(parts, taken)


def _parts(text: str) -> list[_Part]:
    """Take a sentence apart; where an angle is kept, it goes before the heading at first."""
    found: list[_Part] = []
    rest = text.strip()
    while rest:
        for kind, pattern, forms in _KINDS:
            match = re.match(rf"{pattern}(?=,|$)", rest, re.IGNORECASE)
            if match:
                found.append(_Part(kind, forms(match)))
                rest = rest[match.end() :]
                break
        rest = rest.lstrip(", ")
    return _angle_first(found)


def _angle_first(parts: list[_Part]) -> list[_Part]:
    kinds = [each.kind for each in parts]
    if "angle" not in kinds or "heading" not in kinds:
        return parts
    angle = parts.pop(kinds.index("angle"))
    parts.insert(kinds.index("heading"), angle)
    return parts


def _squeezed(parts: list[_Part], length: int) -> list[str] | None:
    """Return whose turns to give way were needed, in order, those taken back left out."""
    given: list[str] = []
    for kind in _GIVING_WAY:
        if len(_joined(parts, given)) <= length:
            break
        given.append(kind)
    if not 0 < len(_joined(parts, given)) <= length:
        return None
    for at in range(len(given) - 1, -1, -1):
        fewer = given[:at] + given[at + 1 :]
        # Commas don't come back: words are worth more.
        if given[at] != "separator" and len(_joined(parts, fewer)) <= length:
            given = fewer
    return given


def _joined(parts: Iterable[_Part], given: list[str]) -> str:
    every = list(parts)
    angle = any(each.kind == "angle" for each in every)
    separator = " " if "separator" in given else ", "
    words = []
    for each in every:
        step = given.count(each.kind)
        if each.kind == "heading" and angle and "heading if an angle" in given:
            step = len(each.forms) - 1
        elif each.kind == "heading":
            step = min(step, len(each.forms) - 2)
        words.append(each.forms[min(step, len(each.forms) - 1)])
    return separator.join(word for word in words if word)
