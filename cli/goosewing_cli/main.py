"""The `goosewing` command: one place where errors become one line and an exit code."""

from __future__ import annotations

import codecs
import io
import os
import signal
import sys

import click

from goosewing import __version__
from goosewing.files.disk import shown as printable
from goosewing_cli.declared import Commands

EXIT_BAD_INPUT = 2
EXIT_NO_PLAN = 3
EXIT_INTERRUPTED = 130

COMMANDS = (
    *("plan", "depart", "laylines", "targets", "weather"),
    *("demo", "handheld", "debrief", "live", "boat"),
)
"""Each stands under its name in a module `…_command` of this package."""

ARITHMETIC_THREADS = (
    *("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"),
    *("BLIS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"),
)
"""What tells the libraries of linear algebra how many threads to use.

The matrices here are small; and the last bits of a plan hang on that number, which else were
the machine's number of cores.
"""


LONGEST_LINE = 300
"""Characters of the one line that says what is wrong."""


def build_app() -> click.Group:
    """Assemble the command line."""
    return Commands(
        "goosewing",
        {name: f"goosewing_cli.{name}_command" for name in COMMANDS},
        help="From mark to mark under sail: which board first, where to tack or gybe, and "
        "when wing-and-wing pays. Not for sole navigation.",
        params=[version_option()],
        context_settings={"help_option_names": ["-h", "--help"]},
    )


def version_option() -> click.Option:
    """Return the option that tells the version and does nothing else."""
    return click.Option(
        ["--version"], is_flag=True, is_eager=True, expose_value=False, callback=_show_version,
        help="Show the version.",
    )  # fmt: skip


def _show_version(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted:
        click.echo(f"goosewing {__version__}")
        context.exit()


def run(arguments: list[str] | None = None) -> None:
    """Run the command line and leave with the exit code that the outcome has."""
    for name in ARITHMETIC_THREADS:
        os.environ.setdefault(name, "1")
    # Whoever ends it so wants no more of it than with ^C: what was begun is put away.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    speak_plainly()
    sys.exit(outcome(arguments))


PLAIN = {
    "–": "-", "−": "-", "…": ".", "→": ">", "°": "d", "·": ".", "×": "x", "±": "~",
}  # fmt: skip
"""One character each, so that tables stand; a degree sign's d is as old as its o."""


def speak_plainly() -> None:
    """Let whatever a terminal's encoding lacks be told by what it has, where it can't take all."""
    codecs.register_error("plain", _plain)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="plain")


def _plain(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    letters = error.object[error.start : error.end]
    return "".join(PLAIN.get(each, "?") for each in letters), error.end


def outcome(arguments: list[str] | None = None) -> int:
    """Run the command line and return its exit code; errors are one line on stderr."""
    from goosewing.errors import GoosewingError, NoPlanError

    try:
        code = _called(sys.argv[1:] if arguments is None else arguments)
        print(end="", flush=True)
    except NoPlanError as error:
        return _refuse(str(error), EXIT_NO_PLAN)
    except GoosewingError as error:
        return _refuse(str(error), EXIT_BAD_INPUT)
    except click.UsageError as error:
        return _refuse(error.format_message(), EXIT_BAD_INPUT)
    except KeyboardInterrupt:
        return _refuse("interrupted", EXIT_INTERRUPTED)
    except SystemExit as leaving:
        # Rich leaves like this when the pipe it prints to is closed.
        if not isinstance(leaving.__context__, BrokenPipeError):
            raise
        return _seen_enough()
    except BrokenPipeError:
        return _seen_enough()
    except OSError as error:
        # Files are in the hands of the exchange room, which has words of its own.
        _forget_output()
        return _refuse(f"the output can't be printed: {error.strerror}", EXIT_BAD_INPUT)
    return code


def _called(arguments: list[str]) -> int:
    # Not by Click's own `main`, which has words and codes of its own for how it ends.
    app = build_app()
    try:
        with app.make_context("goosewing", list(arguments)) as context:
            app.invoke(context)
    except click.exceptions.Exit as leaving:
        return leaving.exit_code
    return 0


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
    line = printable(" ".join(f"goosewing: {message}".split()))
    if len(line) > LONGEST_LINE:
        # What a damaged file holds can be as long as the file: where it is and what was expected
        # stand at the two ends.
        line = f"{line[: LONGEST_LINE - 101]}…{line[-100:]}"
    print(line, file=sys.stderr)
    return code
