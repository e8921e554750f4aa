"""`goosewing boat check`: what looks odd about a boat file, and her targets."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from goosewing_cli import inputs
from goosewing_cli.declared import argument, command
from goosewing_cli.documents import print_document

if TYPE_CHECKING:
    from goosewing.boat.oddities import Oddity


@command(help="What is odd about a boat file, cell by cell, and its targets.")
def check(
    boat: Annotated[Path, argument("BOAT.toml", help="The boat file (TOML).")],
    json: inputs.AsJson = False,
) -> None:
    """List what is odd, with file, row and column, then print the targets."""
    from goosewing.boat.oddities import oddities
    from goosewing.velocities.targets import targets
    from goosewing_cli.targets_command import usual_winds

    crew = inputs.load_boat(boat, None)
    odd = oddities(crew)
    places = _places(boat, odd)
    made = targets(crew, usual_winds(crew))
    if json:
        from goosewing.exchange import document

        found = [
            {**document.plain(each), "where": where}
            for each, where in zip(odd, places, strict=True)
        ]
        content = document.document(
            document.BOAT_CHECK_FORMAT, boat=crew.name, odd=found, targets=made
        )
        print_document(document.format_json(content))
        return
    from goosewing_cli.show_boat import show_check

    show_check(odd, places, made)


def _places(boat: Path, odd: tuple[Oddity, ...]) -> list[str]:
    """Tell the file of each, with row and column where it is a cell."""
    from goosewing.boat.read import table_files
    from goosewing.boat.tables import cell_place
    from goosewing.files.disk import shown

    files = table_files(boat)

    def place(each: Oddity) -> str:
        if each.table is None or each.sail_set is None:
            return shown(boat)
        file = files[each.sail_set, each.table]
        if each.twa_deg is None or each.tws_kn is None:
            return shown(file)
        return shown(cell_place(file, each.twa_deg, each.tws_kn))

    return [place(each) for each in odd]
