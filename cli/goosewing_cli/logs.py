"""Reading logs for a command, with its progress on a terminal."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from goosewing_cli.declared import option

if TYPE_CHECKING:
    from goosewing.logbook.samples import Log

SHOWN_FROM_BYTES = 20_000_000
"""A smaller log is read before anyone would look."""

WindHeight = Annotated[
    float | None,
    option("--wind-height", metavar="M", help="Of the wind sensor above the water."),
]
VariationEast = Annotated[
    float | None,
    option(
        "--variation",
        metavar="DEG",
        help="Of a magnetic compass, where the log has none; east is positive.",
    ),
]


def load_logs(paths: Sequence[Path]) -> Log:
    """Read logs into one; a long one shows how far it is, on a terminal."""
    from goosewing.logbook.read import read_logs
    from goosewing_cli.planning import Line

    if not sys.stderr.isatty():
        return read_logs(paths)
    line = Line()

    def told(done: int, whole: int) -> None:
        if whole >= SHOWN_FROM_BYTES:
            line.say(f"Reading: {done / 1e6:.0f} of {whole / 1e6:.0f} MB")

    try:
        return read_logs(paths, told)
    finally:
        line.wipe()
