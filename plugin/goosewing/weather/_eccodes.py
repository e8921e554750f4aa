"""The one door to ecCodes, loaded late and in the only order that is safe.

The wheels of ecCodes and of pyproj each bring a PROJ library of their own, and
ecCodes puts its one before all: a pyproj loaded after it then runs on a library it
was not built for (seen with eccodes 2.50 and pyproj 3.7: no database, and a crash
at exit). Loaded first, pyproj keeps its own.
"""

from __future__ import annotations

import functools
import os
from types import ModuleType
from typing import Any


@functools.cache
def load() -> ModuleType:
    """Return the module ``eccodes``, silenced: a user is promised one clear line, ours."""
    import pyproj  # noqa: F401 - before eccodes, see above
    import eccodes  # isort: skip

    eccodes.codes_context_set_logging(_nowhere())
    module: ModuleType = eccodes
    return module


@functools.cache
def _nowhere() -> Any:
    # Kept open for good: ecCodes holds on to it.
    return os.fdopen(os.open(os.devnull, os.O_WRONLY), "w", closefd=False)
