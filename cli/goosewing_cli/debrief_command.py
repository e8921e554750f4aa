"""`goosewing debrief`: what a sail was worth, board by board, turn by turn."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from goosewing_cli import inputs, logs
from goosewing_cli.declared import argument, command, option
from goosewing_cli.documents import print_document


@command(help="What a sail was worth: boards and turns against the targets.")
def debrief(
    log: Annotated[list[Path], argument("LOG...", help="NMEA 0183, Signal K, GPX track, CSV.")],
    boat: inputs.BoatFile = None,
    plan: Annotated[
        Path | None,
        option("--plan", metavar="PLAN.gpx", help="The plan she sailed by, as GPX."),
    ] = None,
    wind_height: logs.WindHeight = None,
    variation: logs.VariationEast = None,
    picture: Annotated[
        Path | None,
        option("--picture", metavar="FILE", help="Draw it into a PNG, SVG or PDF file."),
    ] = None,
    json: inputs.AsJson = False,
) -> None:
    """Judge a sail against what her boat file says she can do."""
    from goosewing.logbook import debrief as room
    from goosewing.logbook.fit import Wish, put_right
    from goosewing.logbook.read.plan_points import read_plan_points

    crew = inputs.load_boat(boat, None)
    files = inputs.files_read(boat, plan, *log)
    inputs.check_outputs([picture], files)
    if picture is not None:
        from goosewing.report.picture import check_ending

        check_ending(picture)
    points = () if plan is None else read_plan_points(plan)
    logged = logs.load_logs(log)
    read = put_right(logged, Wish(wind_height_m=wind_height, variation_deg=variation), crew)
    found = room.debrief(logged, read, crew, points, variation_deg=variation)
    if picture is not None:
        from goosewing.logbook.boards import seconds
        from goosewing.report.debrief_picture import write_debrief_picture

        went = seconds(logged, read, variation)
        write_debrief_picture(picture, found, went, crew, inputs=files)
    if json:
        from goosewing.exchange import document

        content = document.document(document.DEBRIEF_FORMAT, **document.plain(found))
        print_document(document.format_json(content))
        return
    from goosewing_cli.show_debrief import show_debrief

    show_debrief(found, written=[] if picture is None else [picture])
