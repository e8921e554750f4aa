"""`goosewing boat leeway`: how she goes to leeward, from a log or from the angle of her wake."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from goosewing_cli import inputs, logs
from goosewing_cli.declared import argument, command
from goosewing_cli.documents import print_document

if TYPE_CHECKING:
    from goosewing.logbook.leeway import LeewayFound


@command(help="The leeway coefficient, from a log of both tacks or from the wake's angle.")
def leeway(
    log: Annotated[
        list[Path],
        argument(
            "LOG|READINGS.csv",
            help="A log (NMEA 0183, Signal K, CSV), or sights of the wake: "
            "heel_deg,boat_speed_kn,wake_deg.",
        ),
    ],
    variation: logs.VariationEast = None,
    json: inputs.AsJson = False,
) -> None:
    """Tell k with its interval, and what came out with it."""
    from goosewing.exchange import document

    found = _found(log, variation)
    if json:
        content = document.document(document.LEEWAY_FORMAT, **document.plain(found))
        print_document(document.format_json(content))
        return
    from goosewing_cli.show_logbook import show_leeway

    show_leeway(found)


def _found(paths: list[Path], variation: float | None) -> LeewayFound:
    from goosewing.files.disk import read_bytes, shown
    from goosewing.logbook import leeway as room

    if len(paths) == 1 and paths[0].suffix.lower() in (".csv", ".txt"):
        text = read_bytes(paths[0], "a log or sights of the wake").decode("utf-8", "replace")
        if room.is_wake_table(text):
            return room.leeway_from_wake(text, shown(paths[0]))
    return room.leeway_from_log(logs.load_logs(paths), variation)
