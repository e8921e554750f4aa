"""What a plan says at a point, in as few characters as a receiver shows.

What is done and held is put in parts, in its order; each part has several forms, the
longest first. Parts give way one after another, what the helm can most easily do without
first, until the whole fits; what then has room again is put back. So "gybe onto port
tack, set the pole for wing-and-wing, steer 127°, 0753Z" becomes "gybe P, pole up, steer
127, 0753Z", and at 16 characters "gybe pole up 127". ``P`` and ``S`` are the tack,
``PU`` and ``PD`` the pole up and down where even those words have no room, ``T``, ``M``
and ``C`` the dials as elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC
from typing import TYPE_CHECKING

from goosewing.words.figures import clock
from goosewing.words.points import POLE_UP, strike_words, untold
from goosewing.words.short_names import to_ascii

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from datetime import datetime

    from goosewing.records import ManoeuvreKind, Side
    from goosewing.words.points import Briefing, Steering


@dataclass(frozen=True, slots=True)
class _Part:
    kind: str
    forms: tuple[str, ...]


def _parts(told: Briefing) -> Iterator[_Part]:
    """Put in parts what is told; where an angle is kept, it goes before the heading at first."""
    if told.leave is not None:
        yield _leave(told.leave, told.leave_distance_nm)
    if told.strike_from is not None and not told.kinds:
        yield _strike(told.strike_from)
    if told.steering is None:
        yield _reached(told)
        return
    if told.sets_sail:
        yield _Part("engine", ("set sail", "sail", ""))
    elif told.alters_course:
        yield _Part("alter", ("alter course", ""))
    for kind in told.kinds:
        yield _manoeuvre(kind, told.steering)
    yield from _under(told.kinds, told.steering)
    if told.pole_up:
        yield _Part("pole", (POLE_UP, "pole up", "pole up", "PU", ""))
    yield from _steered(told.steering)
    if told.steering.beyond_forecast:
        yield _Part("beyond", ("beyond the forecast", ""))
    if told.time is not None:
        yield _Part("time", (_time(told), ""))


def _leave(side: Side, off_nm: float) -> _Part:
    off = f" {off_nm:g}" if off_nm else ""
    full = f"leave to {side}{off} nm off" if off else f"leave to {side}"
    letter = _letter(side)
    return _Part("leave", (full, f"leave {letter}{off}", f"leave {letter}", f"lv {letter}", ""))


def _reached(told: Briefing) -> _Part:
    if told.time is None:
        return _Part("arrive", ("arrive" if told.ends else "carry on", ""))
    time = _time(told)
    if told.ends:
        return _Part("arrive", (f"arrive {time}", f"arr {time}", time))
    return _Part("arrive", (f"carry on {time}", f"on {time}", time))


def _strike(begins: datetime) -> _Part:
    """Say that the pole is to be down by here, where no manoeuvre of a board says so."""
    return _Part("down", (strike_words(begins), "pole down", "pole dn", "PD", ""))


def _manoeuvre(kind: ManoeuvreKind, then: Steering) -> _Part:
    if kind in ("tack", "gybe"):
        onto = (f"{kind} onto {then.tack} tack", f"{kind} {_letter(then.tack)}", kind, "")
        return _Part("turn", onto)
    sails = to_ascii(then.sail_set)
    if kind == "set_pole":
        return _Part("pole", (f"set the pole for {sails}", "pole up", "pole up", "PU", ""))
    if kind == "strike_pole":
        return _Part("pole", ("strike the pole", "pole down", "pole dn", "PD", ""))
    return _Part("change", (f"change to {sails}", sails, "sails", ""))


def _under(kinds: tuple[ManoeuvreKind, ...], held: Steering) -> Iterator[_Part]:
    """Tack and sails, as far as the manoeuvres have not told them; or the engine."""
    if held.engine:
        yield _Part("engine", ("under engine", "engine", "engine"))
        return
    on, sails = untold(kinds)
    if on:
        # Never "P tack": a helm might tack.
        yield _Part("on", (f"on {held.tack} tack", _letter(held.tack), ""))
    if sails:
        yield _Part("other", (to_ascii(held.sail_set), ""))


def _steered(held: Steering) -> Iterator[_Part]:
    if held.keep_twa_deg is not None:
        angle = f"{held.keep_twa_deg:.0f}"
        yield _Part("angle", (f"keep the true wind at {angle}", f"TWA{angle}", f"W{angle}"))
    dials = ((held.heading_deg, "T"), (held.heading_magnetic_deg, "M"),
             (held.heading_compass_deg, "C"))  # fmt: skip
    known = [(f"{round(deg) % 360:03d}", dial) for deg, dial in dials if deg is not None]
    figures, dial = known[-1]
    # A heading on no named dial is true.
    every = figures if len(known) == 1 else " ".join(map("".join, known))
    last = every.split()[-1]
    yield _Part("heading", (f"steer {every}", every, f"{figures}{dial}", last, ""))


def _time(told: Briefing) -> str:
    assert told.time is not None
    time = clock(told.time.astimezone(UTC))
    return time if told.day is None else f"{told.day:%d}/{time}"


def _letter(side: str) -> str:
    return side[0].upper()


_GIVING_WAY = (
    *("down", "engine", "angle", "on", "turn", "pole", "alter", "change", "leave", "heading"),
    *("other", "separator", "beyond", "time", "heading", "pole", "leave", "heading", "change"),
    *("turn", "pole", "leave", "leave", "heading if an angle", "angle", "on", "change"),
    *("engine", "pole", "turn", "arrive", "arrive", "down", "down", "down"),
)
"""Whose turn it is to take its next shorter form."""


def compact(told: Briefing, length: int) -> str | None:
    """Say in ASCII, in at most so many characters, what is told at a stop.

    Parameters
    ----------
    told : Briefing
    length : int
        Most characters.

    Returns
    -------
    str or None
        None if nothing of it fits.

    Examples
    --------
    >>> from goosewing.words.points import Steering, Briefing
    >>> held = Steering(tack="port", sail_set="main and jib", heading_deg=60.0)
    >>> compact(Briefing(kinds=("strike_pole", "gybe"), steering=held), 16)
    'pole dn gybe 060'
    >>> held = Steering(tack="starboard", sail_set="jib", heading_deg=268.0, keep_twa_deg=44.0)
    >>> compact(Briefing(steering=held), 16)
    'S, TWA44, 268'
    """
    parts = list(_parts(told))
    taken = _squeezed(parts, length)
    return None if taken is None else _joined(parts, taken)


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
