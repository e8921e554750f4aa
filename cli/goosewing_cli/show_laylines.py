"""How laylines are printed, for the chart and for the watch on deck."""

from __future__ import annotations

from datetime import timedelta
from itertools import groupby
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from goosewing import earth
from goosewing.words import clock, hours_and_minutes, three_figures
from goosewing_cli.show import SIDE_STYLE, console_for, paragraph

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime, tzinfo
    from pathlib import Path

    from goosewing.laylines import FromHere, LaylineSheet
    from goosewing.records import Layline

OTHER = {"port": "starboard", "starboard": "port"}


def show_laylines(
    sheet: LaylineSheet,
    time: datetime,
    *,
    zone: tzinfo | None = None,
    written: Sequence[Path] = (),
) -> None:
    """Print the laylines mark by mark, and first how she lies to those of the next one."""
    console = console_for()
    console.print(Text(f"{sheet.boat}: laylines", style="bold"))
    if sheet.from_here:
        console.print()
        console.print(Text(f"From here to the laylines of {sheet.from_here[0].mark}", style="bold"))
        for lie in sheet.from_here:
            paragraph(console, lie_words(lie, time, zone), indent="  ")
    magnetic = sheet.magnetic_courses_deg or (None,) * len(sheet.laylines)
    both = zip(sheet.laylines, magnetic, strict=True)
    for mark, lines in groupby(both, key=lambda pair: pair[0].mark):
        console.print()
        console.print(Text(f"Into {mark}", style="bold"))
        console.print(_table(list(lines)))
    console.print()
    paragraph(
        console,
        "Course: over the ground, true, along the line into the mark; the mark bears so from "
        "anywhere on it. Plot: from the mark back along the line.",
    )
    for notice in sheet.notices:
        paragraph(console, f"Note: {notice}")
    console.print()
    for caution in sheet.cautions:
        paragraph(console, f"Caution: {caution}")
    if written:
        console.print()
        console.print(f"Written: {', '.join(str(path) for path in written)}")


def _table(lines: Sequence[tuple[Layline, float | None]]) -> Table:
    magnetic = any(course is not None for _, course in lines)
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("Layline", no_wrap=True)
    table.add_column("Sails")
    for name in ("Course", *(["magnetic"] if magnetic else []), "Plot", "nm"):
        table.add_column(name, justify="right", no_wrap=True)
    for line, from_magnetic in lines:
        course = [three_figures(line.course_over_ground_deg)]
        if from_magnetic is not None:
            course.append(f"{three_figures(from_magnetic)}M")
        table.add_row(
            Text(f"{line.tack} tack", style=SIDE_STYLE[line.tack]),
            line.sail_set,
            *course,
            three_figures(line.course_over_ground_deg + 180.0),
            f"{_length_nm(line):.1f}",
        )
    return table


def _length_nm(line: Layline) -> float:
    far, mark = line.points[0], line.points[-1]
    return float(earth.loxodrome_inverse(far.lat, far.lon, mark.lat, mark.lon).distance_nm)


def lie_words(lie: FromHere, time: datetime, zone: tzinfo | None) -> str:
    """Say how she lies to one layline."""
    line = f"{lie.tack} tack, {lie.sail_set}"
    if lie.state == "on it":
        return f"{line}: on it now."
    if lie.overstood_nm is not None:
        return f"{line}: overstood by {lie.overstood_nm:.1f} nm."
    if lie.distance_nm is None or lie.elapsed_h is None:
        return f"{line}: not met on {OTHER[lie.tack]} tack."
    there = time + timedelta(hours=lie.elapsed_h)
    local = ""
    if zone is not None:
        from goosewing.positions import local_clock

        local = f" ({local_clock(there, zone)})"
    return (
        f"{line}: {lie.distance_nm:.1f} nm to it on {OTHER[lie.tack]} tack, "
        f"{hours_and_minutes(lie.elapsed_h)}, at {clock(there)}{local}."
    )
