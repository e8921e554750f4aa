"""`goosewing demo`: *Brisvik*'s passage, from packaged data."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from goosewing_cli import inputs
from goosewing_cli.declared import command, option
from goosewing_cli.documents import print_document

if TYPE_CHECKING:
    from goosewing.records import Plan

DEPARTURE = datetime(2027, 6, 12, 5, 0, tzinfo=UTC)
WIND = "315/10"


@command(help="Plan Brisvik's sample passage in the Kattegat.")
def demo(
    out: Annotated[
        Path | None,
        option(
            "--out", metavar="DIR", help="Write plan.gpx, plan.json and, with Matplotlib, plan.png."
        ),
    ] = None,
    json: inputs.AsJson = False,
) -> None:
    """Plan the sample passage."""
    from goosewing.boat.read import read_boat
    from goosewing.case import Case
    from goosewing.exchange import document
    from goosewing.exchange.gpx import marks
    from goosewing.plan import of_case
    from goosewing_cli.planning import look_further
    from goosewing_cli.samples import sample_folder

    folder = sample_folder()
    read = marks.read_marks(folder / "kattegat.gpx")
    weather = inputs.load_weather(WIND, None)
    boat = read_boat(folder / "brisvik" / "boat.toml")
    case = Case(
        marks=read.marks, boat=boat, weather=weather, departure=DEPARTURE, notices=read.notices
    )
    made = replace(of_case(case), route=read.texts)
    made = look_further(case, made, took_s=0.0)
    written = [] if out is None else write_all(out, made)
    if json:
        print_document(document.format_plan_json(made))
        return
    from goosewing_cli.show import show_plan

    show_plan(made, written=written)


def write_all(folder: Path, made: Plan) -> list[Path]:
    """Write the plan in every form there is into a folder, all or none, and name the files."""
    from goosewing.exchange import document
    from goosewing.exchange.gpx import plans
    from goosewing.files import disk

    contents: dict[Path, bytes | str] = {
        folder / "plan.gpx": plans.format_plan(made),
        folder / "plan.json": document.format_plan_json(made),
    }
    if find_spec("matplotlib"):
        from goosewing.report.picture import draw_plan

        contents[folder / "plan.png"] = draw_plan(made)
    with inputs.folder_for_output(folder):
        disk.write_all(contents)
    return list(contents)
