"""`goosewing targets`: what to steer up and down the wind, and what to carry when."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from goosewing_cli import inputs
from goosewing_cli.declared import command, option
from goosewing_cli.documents import print_document

if TYPE_CHECKING:
    from goosewing.boat.model import Boat
    from goosewing.units import Array
    from goosewing.velocities.targets import Targets

USUAL_WINDS_KN = (4.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0, 30.0, 35.0)
"""Asked of a boat where the user names no wind: closer where a knot matters more."""


@command(help="Best angles up and down the wind, and what to carry when.")
def targets(
    boat: inputs.BoatFile = None,
    wind_speed: Annotated[
        list[float] | None,
        option(
            "--wind-speed",
            metavar="KN",
            help="True wind; repeatable. Default: the usual speeds within her tables.",
        ),
    ] = None,
    performance: inputs.PerformanceFactor = None,
    json: inputs.AsJson = False,
    card: Annotated[
        Path | None,
        option("--card", metavar="FILE", help="Write the sail card to print, as HTML."),
    ] = None,
    picture: Annotated[
        Path | None,
        option(
            "--picture",
            metavar="FILE",
            help="Draw polar and speed made good, in four winds at most, as PNG, SVG or PDF.",
        ),
    ] = None,
) -> None:
    """Print best angles, groove, sectors not worth sailing and what to carry."""
    from goosewing.exchange import document
    from goosewing.files.disk import write_all
    from goosewing.velocities import targets as room

    crew = inputs.load_boat(boat, performance)
    inputs.check_outputs([card, picture], inputs.files_read(boat))
    winds = wind_speed or usual_winds(crew)
    made = room.targets(crew, winds)
    outputs = _contents(crew, made, winds, card, picture, asked=bool(wind_speed))
    write_all(outputs, inputs=inputs.files_read(boat))
    if json:
        content = document.document(document.TARGETS_FORMAT, **document.plain(made))
        print_document(document.format_json(content))
        return
    from goosewing_cli.show_targets import show_targets

    show_targets(made, written=tuple(outputs))


def _contents(
    boat: Boat,
    made: Targets,
    winds_kn: list[float],
    card: Path | None,
    picture: Path | None,
    *,
    asked: bool,
) -> dict[Path, bytes | str]:
    """Make the contents of the files asked for; of the usual winds a picture shows some."""
    outputs: dict[Path, bytes | str] = {}
    if card is not None:
        from goosewing.report import card as cards

        cards.check_ending(card)
        outputs[card] = cards.format_card(boat, winds_kn, made)
    if picture is not None:
        from goosewing.report.picture import check_ending
        from goosewing.report.targets_picture import draw_targets, some_of

        kind = check_ending(picture)
        outputs[picture] = draw_targets(boat, winds_kn if asked else some_of(winds_kn), kind)
    return outputs


def usual_winds(boat: Boat) -> list[float]:
    """Return the usual wind speeds between her tables' first column and what she bears."""
    first = min(_least_kn(sails.polar.tws_kn) for sails in boat.sail_sets)
    last = max(sails.strongest_tws_kn for sails in boat.sail_sets)
    return [kn for kn in USUAL_WINDS_KN if first <= kn <= last] or [last]


def _least_kn(tws_kn: Array) -> float:
    # A column of no wind holds zeros only.
    return float(min(kn for kn in tws_kn if kn > 0.0))
