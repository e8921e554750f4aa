"""What can go wrong, as one small tree.

::

    GoosewingError            everything this package raises on purpose
    ├── InputError            (also ValueError)  bad input: exit code 2
    └── NoPlanError           (also LookupError) understood, but it can't be done: exit code 3
        └── OutsideForecastError   the forecast does not cover the passage

A message is one line: what is wrong, where, and what was expected.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable
    from typing import Self


class GoosewingError(Exception):
    """Base of every error that this package raises on purpose."""

    def asking(self, doubts: Iterable[str]) -> Self:
        """Add what is doubted in the question, as sentences, to the message."""
        doubted = [doubt.rstrip(".") for doubt in doubts]
        if doubted:
            self.args = ("; ".join((str(self), *doubted)),)
        return self


class InputError(GoosewingError, ValueError):
    """Something handed in is wrong; the message says what, where, and what was expected.

    Parameters
    ----------
    message : str
        What is wrong and what was expected.
    where : str, optional
        The file (and row, column or key) at fault; put before the message.
    """

    def __init__(self, message: str, *, where: str | None = None) -> None:
        super().__init__(f"{where}: {message}" if where else message)
        self.where = where
        self.reason = message


class NoPlanError(GoosewingError, LookupError):
    """The question was understood, but no feasible plan answers it."""


class OutsideForecastError(NoPlanError):
    """Wind or stream was asked for where or when the source has none.

    Parameters
    ----------
    message : str
        What is not covered.
    ends_too_soon : bool
        Whether values held on after the forecast's end would help.
    """

    def __init__(self, message: str, *, ends_too_soon: bool = False) -> None:
        super().__init__(message)
        self.ends_too_soon = ends_too_soon
