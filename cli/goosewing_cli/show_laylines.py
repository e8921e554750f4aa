"""How laylines are printed, for the chart and for the watch on deck."""

from __future__ import annotations

from datetime import timedelta
from itertools import groupby, pairwise
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from goosewing.earth import geodesy
from goosewing.records import OTHER_SIDE
from goosewing.words.figures import clock, hours_and_minutes, position_words, three_figures
from goosewing.words.names import with_plain
from goosewing_cli.show import SIDE_STYLE, close_sheet, console_for, paragraph, print_table

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime, tzinfo
    from pathlib import Path

    from goosewing.records import FromHere, Layline, LaylineSheet, PoledFromHere

PLOTTED = 4
"""So many positions of a curved line are printed; a file holds them all."""


def show_laylines(
    sheet: LaylineSheet,
    time: datetime,
    *,
    zone: tzinfo | None = None,
    written: Sequence[Path] = (),
) -> None:
    """Print the laylines mark by mark, and first how she lies to those of the next one."""
    console = console_for()
    sheet = with_plain(sheet, _names(sheet))
    console.print(Text(f"{sheet.boat}: laylines", style="bold"))
    if sheet.from_here:
        console.print()
        console.print(Text(f"From here to the laylines of {sheet.from_here[0].mark}", style="bold"))
        for lie in sheet.from_here:
            paragraph(console, lie_words(lie, time, zone), indent="  ")
        for poled in sheet.poled_from_here:
            paragraph(console, poled_words(poled, time, zone), indent="  ")
    magnetic = sheet.magnetic_courses_deg or (None,) * len(sheet.laylines)
    both = zip(sheet.laylines, magnetic, strict=True)
    for mark, lines in groupby(both, key=lambda pair: pair[0].mark):
        console.print()
        console.print(Text(f"Into {mark}", style="bold"))
        of_mark = list(lines)
        print_table(console, _table(of_mark))
        for line, _ in of_mark:
            if _curved(line):
                paragraph(console, _plotted(line, zone), indent="  ")
    console.print()
    paragraph(console, _legend(curved=any(map(_curved, sheet.laylines))))
    close_sheet(console, sheet.notices, sheet.cautions, written)


def _names(sheet: LaylineSheet) -> set[str]:
    """Return every name of other people's on the sheet."""
    names = {sheet.boat}
    names |= {name for each in sheet.laylines for name in (each.mark, each.sail_set)}
    names |= {name for each in sheet.from_here for name in (each.mark, each.sail_set)}
    return names | {name for each in sheet.poled_from_here for name in (each.mark, each.sail_set)}


def _table(lines: Sequence[tuple[Layline, float | None]]) -> Table:
    magnetic = any(course is not None for _, course in lines)
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("Layline", no_wrap=True)
    table.add_column("Sails")
    twin = ["magnetic"] if magnetic else []
    for name in ("Course", *twin, "Plot", *twin, "nm"):
        table.add_column(name, justify="right", no_wrap=True)
    for line, from_magnetic in lines:
        course = [three_figures(line.course_over_ground_deg)]
        plot = [three_figures(line.course_over_ground_deg + 180.0)]
        if from_magnetic is not None:
            course.append(f"{three_figures(from_magnetic)}M")
            plot.append(f"{three_figures(from_magnetic + 180.0)}M")
        table.add_row(
            Text(f"{line.tack} tack", style=SIDE_STYLE[line.tack]),
            line.sail_set,
            *course,
            *plot,
            f"{_length_nm(line):.1f}",
        )
    return table


def _legend(*, curved: bool) -> str:
    if curved:
        return (
            "Course: over the ground, true, on reaching the mark. Plot: from the mark back, "
            "at first; then through the positions, each with the time for which it holds."
        )
    return (
        "Course: over the ground, true, along the line into the mark. Anywhere on the line "
        "the mark bears this. Plot: from the mark back along the line."
    )


def _curved(line: Layline) -> bool:
    # Lines in steady wind hold at any time.
    return line.points[-1].time is not None


def _plotted(line: Layline, zone: tzinfo | None) -> str:
    """List positions along a curved line, from the mark back: a few, and its far end."""
    back = line.points[::-1]
    every = max(1, -(-(len(back) - 1) // PLOTTED))
    chosen = [*back[every:-1:every], back[-1]]
    places = "; ".join(
        f"{_moment(fix.time, zone)} {position_words(fix.lat, fix.lon)}" for fix in chosen
    )
    return f"{line.tack} tack, {line.sail_set}: mark {_moment(back[0].time, zone)}; {places}"


def _moment(time: datetime | None, zone: tzinfo | None) -> str:
    assert time is not None
    if zone is None:
        return clock(time)
    from goosewing.earth.positions import local_clock

    return f"{clock(time)} ({local_clock(time, zone)})"


def _length_nm(line: Layline) -> float:
    return sum(
        float(geodesy.loxodrome_inverse(a.lat, a.lon, b.lat, b.lon).distance_nm)
        for a, b in pairwise(line.points)
    )


def lie_words(lie: FromHere, time: datetime, zone: tzinfo | None) -> str:
    """Say how she lies to one layline."""
    line = f"{lie.tack} tack, {lie.sail_set}"
    if lie.state == "on it":
        return f"{line}: on it now."
    if lie.overstood_nm is not None and lie.downwind:
        return f"{line}: beyond it by {lie.overstood_nm:.1f} nm: steer up for the mark."
    if lie.overstood_nm is not None:
        return f"{line}: overstood by {lie.overstood_nm:.1f} nm."
    if lie.distance_nm is None or lie.elapsed_h is None:
        return f"{line}: not met on {OTHER_SIDE[lie.tack]} tack."
    there = time + timedelta(hours=lie.elapsed_h)
    return (
        f"{line}: {lie.distance_nm:.1f} nm to it on {OTHER_SIDE[lie.tack]} tack, "
        f"{hours_and_minutes(lie.elapsed_h)}, at {_moment(there, zone)}."
    )


def poled_words(lie: PoledFromHere, time: datetime, zone: tzinfo | None) -> str:
    """Say how she lies to the sector of a poled sail set."""
    if lie.state == "inside":
        return f"{lie.sail_set}: inside the sector, the mark can be reached under it now."
    if lie.distance_nm is None or lie.elapsed_h is None:
        return f"{lie.sail_set}: outside the sector, and no board downwind leads into it."
    there = time + timedelta(hours=lie.elapsed_h)
    return (
        f"{lie.sail_set}: not yet: {lie.distance_nm:.1f} nm on {lie.tack} tack, "
        f"{lie.by_sail_set}, {hours_and_minutes(lie.elapsed_h)}, at {_moment(there, zone)}."
    )
