"""TOML files: parsed by the standard library, whatever they hold."""

from __future__ import annotations

import tomllib
from typing import Any

from goosewing.errors import InputError


def parsed(text: str, *, where: str | None = None) -> dict[str, Any]:
    """Return what a TOML file holds.

    Parameters
    ----------
    where : str, optional
        The file, for the message.

    Raises
    ------
    InputError
        If it is no TOML, or more than the parser takes: nested a thousand deep, or a number of
        thousands of digits.

    Examples
    --------
    >>> parsed("port = 'Skarvhamn'")
    {'port': 'Skarvhamn'}
    """
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise InputError("not a valid TOML file: too deeply nested", where=where) from None
    except ValueError as error:  # TOMLDecodeError is one, and so is what `int` says of its digits.
        words = f"{error}".partition(";")[0]
        raise InputError(f"not a valid TOML file: {words}", where=where) from None
