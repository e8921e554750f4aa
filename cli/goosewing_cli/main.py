"""The `goosewing` command: one place where errors become one line and an exit code."""

from __future__ import annotations

import os
import sys
from importlib import import_module

import typer

EXIT_BAD_INPUT = 2
EXIT_NO_PLAN = 3
EXIT_INTERRUPTED = 130

UsageProblem: type[Exception] = typer.BadParameter.__mro__[2]
"""What every usage error of Typer is: Click's own class in older versions, Typer's in newer."""

COMMANDS = (
    "plan",
    "depart",
    "laylines",
    "targets",
    "weather",
    "demo",
    "handheld",
    "debrief",
    "live",
    "boat",
)
"""Modules of this package, each with a `register(app)`."""

ARITHMETIC_THREADS = (
    *("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"),
    *("BLIS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"),
)
"""What tells the libraries of linear algebra how many threads to use.

The matrices here are small; and the last bits of a plan hang on that number, which else were
the machine's number of cores.
"""


def build_app() -> typer.Typer:
    """Assemble the command line."""
    app = typer.Typer(
        help="From mark to mark under sail: which board first, where to tack or gybe, and "
        "when wing-and-wing pays. Not for sole navigation.",
        invoke_without_command=True,
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        context_settings={"help_option_names": ["-h", "--help"]},
    )
    app.callback()(_whole)
    for name in COMMANDS:
        import_module(f"goosewing_cli.{name}_command").register(app)
    return app


def _show_version(wanted: bool) -> None:
    if wanted:
        from goosewing import __version__

        typer.echo(f"goosewing {__version__}")
        raise typer.Exit


def _whole(
    context: typer.Context,
    version: bool = typer.Option(  # noqa: ARG001 - its callback has answered already
        False, "--version", callback=_show_version, is_eager=True, help="Show the version."
    ),
) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


def run(arguments: list[str] | None = None) -> None:
    """Run the command line and leave with the exit code that the outcome has."""
    for name in ARITHMETIC_THREADS:
        os.environ.setdefault(name, "1")
    sys.exit(outcome(arguments))


def outcome(arguments: list[str] | None = None) -> int:
    """Run the command line and return its exit code; errors are one line on stderr."""
    from goosewing.errors import GoosewingError, NoPlanError

    try:
        result = build_app()(args=arguments, prog_name="goosewing", standalone_mode=False)
        print(end="", flush=True)
    except NoPlanError as error:
        return _refuse(str(error), EXIT_NO_PLAN)
    except GoosewingError as error:
        return _refuse(str(error), EXIT_BAD_INPUT)
    except UsageProblem as error:
        said = error.format_message()  # type: ignore[attr-defined]
        # Which class of Python's refused it is no matter of the user's.
        return _refuse(said.replace(": Value error, ", ": "), EXIT_BAD_INPUT)
    except (KeyboardInterrupt, typer.Abort):
        return _refuse("interrupted", EXIT_INTERRUPTED)
    except SystemExit as leaving:
        # Typer and Rich leave like this when the pipe they print to is closed.
        if not isinstance(leaving.__context__, BrokenPipeError):
            raise
        return _seen_enough()
    except BrokenPipeError:
        return _seen_enough()
    except OSError as error:
        # Files are in the hands of the exchange room, which has words of its own.
        _forget_output()
        return _refuse(f"the output can't be printed: {error.strerror}", EXIT_BAD_INPUT)
    code = result if isinstance(result, int) else 0
    # Typer swallows an interrupt within a command and leaves but its code.
    return _refuse("interrupted", code) if code == EXIT_INTERRUPTED else code


def _seen_enough() -> int:
    """Whoever read the output wants no more of it, as in `goosewing plan … | head`: no failure."""
    _forget_output()
    return 0


def _forget_output() -> None:
    """Let what is still unprinted go nowhere, so that leaving doesn't fail on it once more."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


def _refuse(message: str, code: int) -> int:
    line = " ".join(message.split())
    print(f"goosewing: {line}", file=sys.stderr)
    return code
