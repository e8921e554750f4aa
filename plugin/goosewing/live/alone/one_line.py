"""How it stands, in one line for a terminal: what to steer, what comes next, how old it all is.

Made of the panel's document, so that both say the same. The most important stands first:
a narrow terminal cuts the end off.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

AGES = {"position": "fix", "wind": "wind", "heading": "heading", "boat_speed": "log"}


def one_line(document: Mapping[str, Any]) -> str:
    """Write a panel document (`goosewing.live.panel.document.panel`) as one line."""
    parts = [*_advice(document), _ages(document["ages_s"])]
    return " | ".join(part for part in parts if part)


def _advice(document: Mapping[str, Any]) -> list[str]:
    board, ahead = document["board"], document["next"]
    if document["state"] != "advising" or board is None or ahead is None:
        return [f"{document['state'].upper()} {document['message']}"]
    if ahead["awaiting"]:
        return [f"{ahead['point']} NOW: {ahead['words']}, {ahead['order']}"]
    text = ahead["text"] if ahead["kind"] == "mark" else f"{ahead['point']}: {ahead['text']}"
    return [f"{board['words']}, {board['order']}", text]


def _ages(ages: Mapping[str, float | None]) -> str:
    known = [
        f"{word} {ages[name]:.0f} s" for name, word in AGES.items() if ages.get(name) is not None
    ]
    return ", ".join(known) if known else "nothing heard yet"
