"""What else a leg could be sailed by, in a navigator's words."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from goosewing.words.figures import helm_words, hours_and_minutes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from goosewing.records import Alternative, AlternativeBoard, Leg, ManoeuvreKind, Near


class AlternativeLine(NamedTuple):
    """One line of what else a leg could be sailed by."""

    name: str
    added: str
    """What the passage then takes more, or less."""
    takes: str
    """How long the leg then lasts."""
    manoeuvres: str
    near: str
    """How near it passes to dangers."""
    first: str
    """On which tack and heading it begins, where that is known."""


def alternative_lines(leg: Leg) -> list[AlternativeLine]:
    """Say what else a leg could be sailed by, a line each, the least time lost first.

    Alternatives that come to the same boards are told in one line.
    """
    alike: dict[tuple[object, ...], list[Alternative]] = {}
    for each in sorted(leg.alternatives, key=lambda one: one.added_min):
        alike.setdefault((each.boards, each.manoeuvres), []).append(each)
    return [_line(same) for same in alike.values()]


def _line(same: Sequence[Alternative]) -> AlternativeLine:
    names = [each for each in same if each.kind != "second best"] or same
    one = same[0]
    return AlternativeLine(
        ", ".join(alternative_name(each) for each in names),
        added_words(one.added_min),
        hours_and_minutes(one.elapsed_h),
        counted_manoeuvres(one.manoeuvres),
        near_words(one.near),
        _first_words(one.boards[0]),
    )


def _first_words(board: AlternativeBoard) -> str:
    """Say by the helm's own dial how a way begins; nothing where that isn't known."""
    if board.heading_deg is None:
        return ""
    steer = helm_words(board.heading_deg, board.heading_magnetic_deg, board.heading_compass_deg)
    return f"first {board.tack} tack, {steer}"


def alternative_name(each: Alternative) -> str:
    """Name an alternative by what is other in it."""
    first = each.boards[0]
    if each.kind == "straight":
        return f"straight, {first.sail_set} on {first.tack} tack"
    if each.kind == "other board first":
        return f"{first.tack} board first"
    if each.kind == "poled all the way":
        return f"{first.sail_set} all the way"
    if each.kind == "second best":
        return ", then ".join(_board_words(each))
    return each.kind


def _board_words(each: Alternative) -> list[str]:
    """Name the boards, each tack and sail set once, what goes on unchanged left out."""
    words, before = [], None
    for tack, sails in dict.fromkeys((board.tack, board.sail_set) for board in each.boards):
        words.append(f"{tack} {sails}" if before is None or tack != before else sails)
        before = tack
    return words


def near_words(near: Sequence[Near]) -> str:
    """Say how near a way passes to dangers; nothing where none is met.

    Examples
    --------
    >>> from goosewing.records import Near
    >>> near_words([Near(name="Skarv", distance_nm=0.42, side="port")])
    'passes Skarv 0.4 nm off to port'
    """
    said = [f"{each.name} {each.distance_nm:.1f} nm off to {each.side}" for each in near]
    return f"passes {', '.join(said)}" if said else ""


def added_words(minutes: float) -> str:
    """Say how much longer the passage takes.

    Examples
    --------
    >>> added_words(26.4), added_words(-61.0), added_words(0.3)
    ('+26 min', '-1 h 01 min', 'the same')
    """
    if abs(minutes) < 0.5:
        return "the same"
    return f"{'+' if minutes > 0 else ''}{hours_and_minutes(minutes / 60.0)}"


def longer_words(minutes: float) -> str:
    """Say the same in words alone.

    Examples
    --------
    >>> longer_words(26.4), longer_words(-61.0), longer_words(0.3)
    ('26 min longer', '1 h 01 min shorter', 'the same')
    """
    if abs(minutes) < 0.5:
        return "the same"
    return f"{hours_and_minutes(abs(minutes) / 60.0)} {'longer' if minutes > 0 else 'shorter'}"


_COUNTED = {
    "tack": ("1 tack", "{} tacks"),
    "gybe": ("1 gybe", "{} gybes"),
    "set_pole": ("pole set", "pole set {} times"),
    "strike_pole": ("pole struck", "pole struck {} times"),
    "change_sails": ("1 sail change", "{} sail changes"),
}


def counted_manoeuvres(kinds: Sequence[ManoeuvreKind]) -> str:
    """Say how much work there is.

    Examples
    --------
    >>> counted_manoeuvres(["set_pole", "strike_pole", "gybe", "gybe"]), counted_manoeuvres([])
    ('pole set, pole struck, 2 gybes', 'none')
    """
    said = []
    for kind in dict.fromkeys(kinds):
        one, more = _COUNTED[kind]
        count = list(kinds).count(kind)
        said.append(one if count == 1 else more.format(count))
    return ", ".join(said) or "none"
