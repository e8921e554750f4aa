"""Documents for programs, on standard output."""

from __future__ import annotations

import sys

import click


def print_document(content: bytes) -> None:
    """Print a document as the UTF-8 that it is, whatever letters the terminal has.

    Parameters
    ----------
    content : bytes
        With its last line's end. A stream that takes text alone is given that.
    """
    takes_bytes = getattr(sys.stdout, "buffer", None) is not None
    click.echo(content if takes_bytes else content.decode(), nl=False)
