"""What must survive a restart, on disk: written whole or not at all, read with suspicion."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from goosewing.errors import InputError
from goosewing.files.disk import read_bytes, write_atomically
from goosewing.live.core import memory
from goosewing.live.core.state import Memory

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

FORMAT = "goosewing.under-way/1"

WRITTEN_EVERY_S = 60.0
"""Where nothing else has changed, time and place are written so often."""


class _Document(msgspec.Struct):
    format: str
    kept: Memory


class MemoryFile:
    """The file, and what it holds.

    Parameters
    ----------
    path : Path
        Its folder is made if it is not there.
    tell : callable
        Takes a line: when the file can't be read or written, and when it can again.

    Attributes
    ----------
    kept : Memory or None
        What stands in it; None where nothing does, or nothing that can be read.
    """

    def __init__(self, path: Path, tell: Callable[[str], None]) -> None:
        self._path = path
        self._tell = tell
        self._failed = False
        self.kept = self._read()

    def _read(self) -> Memory | None:
        if not self._path.exists():
            return None
        try:
            document = msgspec.json.decode(read_bytes(self._path, "what was kept"), type=_Document)
        except (InputError, msgspec.MsgspecError, RecursionError) as error:
            words = " ".join(str(error).split())
            self._tell(f"What was passed before the start can't be read: {words:.200}")
            return None
        return document.kept if document.format == FORMAT else None

    def note(self, now: Memory) -> None:
        """Write what is so now, where it differs from what stands there, or is old."""
        before = self.kept
        age_s = None if before is None else now.time_s - before.time_s
        if memory.same(before, now) and age_s is not None and 0.0 <= age_s < WRITTEN_EVERY_S:
            return
        self.kept = now
        self._write(now)

    def _write(self, now: Memory) -> None:
        content = msgspec.json.encode({"format": FORMAT, "kept": now})
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            write_atomically(self._path, content.decode() + "\n")
        except (InputError, OSError) as error:
            if not self._failed:
                self._tell(f"What was passed can't be kept for a restart: {error}")
            self._failed = True
            return
        if self._failed:
            self._tell("What was passed is kept again.")
        self._failed = False
