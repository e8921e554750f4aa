"""Pages written from the templates beside this file; everything put in is escaped."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from goosewing.errors import InputError


def page(template: str, **values: Any) -> str:
    """Write a page.

    Parameters
    ----------
    template : str
        The file's name.
    **values
        What it tells; drawings are passed as they are, all else is escaped.

    Raises
    ------
    InputError
        If Jinja is missing.
    """
    text: str = _environment().get_template(template).render(**values)
    return text


@cache
def _environment() -> Any:
    try:
        from jinja2 import Environment, PackageLoader, StrictUndefined
    except ImportError:
        raise InputError(
            'sheets and cards need Jinja2: in Goosewing\'s folder, pip install ".[sheet]"'
        ) from None
    made = Environment(
        loader=PackageLoader("goosewing.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["together"] = together
    return made


def together(words: str) -> str:
    """Keep a line from ending between a number and its unit.

    Examples
    --------
    >>> together("wind 271° 11 kn, in 3 h 05 min").count("\N{NO-BREAK SPACE}")
    4
    """
    return re.sub(r"(?<=[\d°NSZ]) (?=\d|(?:kn|nm|h|min|s)\b)", "\N{NO-BREAK SPACE}", words)
