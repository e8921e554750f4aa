"""`goosewing boat fit`: a boat file from logs, or a base boat file bettered by them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import click

from goosewing_cli import inputs, logs
from goosewing_cli.declared import argument, command, option
from goosewing_cli.documents import print_document

if TYPE_CHECKING:
    from goosewing.logbook.fit import Fitted


@command(help="A boat file with its band from logs: sensors first, then steady stretches.")
def fit(
    log: Annotated[
        list[Path],
        argument(
            "LOG...",
            help="NMEA 0183, Signal K deltas, a GPX track with a CSV of winds, or CSV.",
        ),
    ],
    boat: Annotated[
        Path | None,
        option("--boat", metavar="BASE", help="Her tables as known: stand where it is thin."),
    ] = None,
    out: Annotated[
        Path | None, option("--out", metavar="DIR", help="Write the boat into this folder.")
    ] = None,
    quantile: Annotated[
        float,
        option(
            "--quantile", metavar="0.05-0.95", help="0.5: what she usually makes; 0.9: sailed well."
        ),
    ] = 0.5,
    factors_only: Annotated[
        bool, option("--factors-only", help="Fit the base's [performance], not its tables.")
    ] = False,
    sail_set: Annotated[
        str | None,
        option("--sail-set", metavar='"SAIL SET"', help="The sails carried all the while."),
    ] = None,
    wind_height: logs.WindHeight = None,
    variation: logs.VariationEast = None,
    name: Annotated[str, option("--name", help="Of a boat without a base.")] = "Logged",
    stretches: Annotated[
        Path | None,
        option("--stretches", metavar="FILE.csv", help="Write the steady stretches too."),
    ] = None,
    json: inputs.AsJson = False,
) -> None:
    """Fit a boat and write her; or her stretches alone, where no polar comes from a log."""
    from goosewing.errors import InputError
    from goosewing.exchange.boat_folder import check_folder, format_boat, write_folder
    from goosewing.files.disk import as_before, write_atomically
    from goosewing.logbook import fit as room

    if out is None and stretches is None:
        raise InputError("--out DIR is needed: the folder that the boat is written to")
    read = inputs.files_read(boat, *log)
    inputs.check_outputs([stretches], read)
    if out is not None:
        check_folder(out, ["boat.toml"])
    base = None if boat is None else inputs.load_boat(boat, None)
    wish = room.Wish(
        quantile=quantile,
        sail_set=sail_set,
        factors_only=factors_only,
        wind_height_m=wind_height,
        variation_deg=variation,
        name=name,
    )
    logged = logs.load_logs(log)
    # Where the log says too little for a boat, nothing is written; the table alone can be had.
    found = None if out is None else room.fit(logged, base, wish)
    texts = {} if found is None else format_boat(found.boat, _remarks(found, log))
    if out is not None:
        check_folder(out, texts)
        inputs.check_outputs([*(out / name for name in texts), stretches], read, makes_folder=True)
    with as_before([] if stretches is None else [stretches]):
        if stretches is not None:
            from goosewing.logbook.data_table import format_stretches

            put_right = room.put_right(logged, wish, base)
            write_atomically(stretches, format_stretches(put_right), inputs=read)
        written = [] if out is None else write_folder(out, texts)
    if found is None:
        assert stretches is not None
        _say_written([stretches], json=json)
        return
    if json:
        from goosewing.exchange import document

        print_document(document.format_json(_document(found, written)))
        return
    from goosewing_cli.show_logbook import show_fit

    show_fit(found, [*written, *([stretches] if stretches is not None else [])])


def _say_written(paths: list[Path], *, json: bool) -> None:
    from goosewing.files.disk import shown

    for path in paths:
        click.echo(f"Written: {shown(path)}", err=json)


def _remarks(found: Fitted, log: list[Path]) -> list[str]:
    from goosewing.files.disk import shown

    tally = found.tally
    names = ", ".join(shown(path.name) for path in log)
    return [
        f"Learned from {names}: {tally.used} steady stretches under sail; of {tally.logged_h:.1f} "
        f"h logged, {tally.engine_h:.1f} h were under engine. The band in confidence.csv holds "
        "the truth four times in five.",
    ]


def _document(found: Fitted, written: list[Path]) -> dict[str, Any]:
    from goosewing.exchange import document

    return document.document(
        document.BOAT_FIT_FORMAT,
        boat=found.boat.name,
        written=[str(path) for path in written],
        quantile=found.quantile,
        sensors={
            "log_factor": found.motion.log_factor,
            "compass_offset_deg": found.motion.compass_offset_deg,
            "deviation_sin_deg": found.motion.deviation_sin_deg,
            "deviation_cos_deg": found.motion.deviation_cos_deg,
            "vane_offset_deg": found.vane.offset_deg,
            "upwash_deg": found.vane.upwash_deg,
        },
        leeway=found.motion.leeway,
        performance=found.performance,
        tally=found.tally,
        sail_sets=found.sail_sets,
        notices=found.notices,
    )
