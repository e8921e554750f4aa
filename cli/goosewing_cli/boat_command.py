"""`goosewing boat …`: the boat file, made, checked and bettered."""

from __future__ import annotations

from importlib import import_module

import typer

PARTS = ("estimate", "fit", "leeway", "check")
"""Modules `boat_…` of this package, each with a `register(app)` for the commands below `boat`."""


def register(app: typer.Typer) -> None:
    """Add the commands to the application."""
    boat = typer.Typer(
        help="The boat file: made from measurements or a log, and checked.",
        invoke_without_command=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
    )
    boat.callback()(_whole)
    for name in PARTS:
        import_module(f"goosewing_cli.boat_{name}").register(boat)
    app.add_typer(boat, name="boat")


def _whole(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())
