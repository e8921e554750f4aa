"""`goosewing boat …`: the boat file, made, checked and bettered."""

from __future__ import annotations

from goosewing_cli.declared import Commands

PARTS = ("estimate", "fit", "leeway", "check")
"""Each stands under its name in a module `boat_…` of this package."""

boat = Commands(
    "boat",
    {name: f"goosewing_cli.boat_{name}" for name in PARTS},
    help="The boat file: made from measurements or a log, and checked.",
)
