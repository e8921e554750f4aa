"""`goosewing demo`: *Brisvik*'s passage, from packaged data."""

from __future__ import annotations

from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated

import typer

from goosewing_cli import inputs

DEPARTURE = datetime(2027, 6, 12, 5, 0, tzinfo=UTC)
WIND = "315/10"


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command("demo", help="Plan Brisvik's sample passage in the Kattegat.")(demo)


def demo(
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="DIR", help="Write plan.gpx, plan.json and, with Matplotlib, plan.png."
        ),
    ] = None,
    json: inputs.AsJson = False,
) -> None:
    """Plan the sample passage."""
    from goosewing.boat.read import read_boat

    from goosewing.exchange import document, gpx
    from goosewing.plan import make
    from goosewing_cli.samples import sample_folder

    folder = sample_folder()
    read = gpx.read_marks(folder / "kattegat.gpx")
    weather = inputs.load_weather(WIND, None)
    made = make(
        read.marks, read_boat(folder / "brisvik" / "boat.toml"), weather, DEPARTURE,
        notices=read.notices,
    )  # fmt: skip
    written: list[Path] = []
    if out is not None:
        inputs.ensure_folder(out)
        gpx.write_plan(out / "plan.gpx", made)
        document.write_json(out / "plan.json", made)
        written = [out / "plan.gpx", out / "plan.json"]
        if find_spec("matplotlib"):
            from goosewing.report.picture import write_picture

            write_picture(out / "plan.png", made)
            written.append(out / "plan.png")
    if json:
        typer.echo(document.format_plan_json(made).decode(), nl=False)
        return
    from goosewing_cli.show import show_plan

    show_plan(made, written=written)
