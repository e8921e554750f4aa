"""`goosewing boat estimate`: a boat file from a tape measure."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from goosewing_cli import inputs
from goosewing_cli.declared import argument, command, option
from goosewing_cli.documents import print_document

if TYPE_CHECKING:
    from goosewing.boat.estimate.tables import Estimate


@command(help="Make a boat file from a yacht's measurements.")
def estimate(
    dimensions: Annotated[Path, argument("DIMENSIONS.toml", help="What was measured (TOML).")],
    out: Annotated[
        Path, option("--out", metavar="DIR", help="Write boat.toml and its tables here.")
    ],
    json: inputs.AsJson = False,
) -> None:
    """Predict speed, heel and leeway, and write them as a boat file with its tables."""
    from goosewing.boat.estimate.summary import remarks, summary
    from goosewing.boat.estimate.tables import estimate as predicted
    from goosewing.boat.measurements import read_dimensions
    from goosewing.exchange.boat_folder import (
        BOAT_FILE,
        CONFIDENCE_FILE,
        check_folder,
        format_boat,
        write_folder,
    )

    given = read_dimensions(dimensions)
    check_folder(out, (BOAT_FILE, CONFIDENCE_FILE))
    made = predicted(given)
    written = write_folder(out, format_boat(made.boat, remarks(made)))
    if json:
        print_document(_json(made, written))
        return
    from goosewing_cli.show_boat import show_estimate

    show_estimate(made, summary(made), written)


def _json(made: Estimate, written: list[Path]) -> bytes:
    from goosewing.boat.estimate.summary import summary
    from goosewing.exchange import document

    content = document.document(
        document.BOAT_ESTIMATE_FORMAT,
        boat=made.boat.name,
        leeway={"coefficient": made.leeway.coefficient, "low": made.leeway.low,
                "high": made.leeway.high},
        guessed=[
            {"key": each.key, "value": each.value, "spread": each.spread}
            for each in made.guesses
        ],
        outside=made.outside,
        unsolved=[
            {"sail_set": name, "twa_deg": twa, "tws_kn": tws} for name, twa, tws in made.unsolved
        ],
        band_chance=0.8,
        winds=summary(made),
        files=[str(path) for path in written],
    )  # fmt: skip
    return document.format_json(content)
