"""What must survive a restart, on disk: written whole or not at all, read with suspicion."""

from __future__ import annotations

from enum import Enum
from typing import TYPE_CHECKING

import msgspec

from goosewing.errors import InputError
from goosewing.files.disk import read_bytes, read_head, shown, write_atomically
from goosewing.live.core import memory
from goosewing.live.core.state import Memory

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

FORMAT = "goosewing.under-way/1"

WRITTEN_EVERY_S = 60.0
"""Where nothing else has changed, time and place are written so often."""

_BEGINS = b'{"format":"goosewing.under-way/'
"""How each begins that was ever written."""

COPIED_AFTER_S = 10.0
"""The copy follows so much later: what damages a disk while it is written to, such as power that
fails, finds one of the two at rest."""


class _Document(msgspec.Struct):
    format: str
    kept: Memory


def copy_of(path: Path) -> Path:
    """Return where the copy of a file lies."""
    return path.parent / f"{path.name}.copy"


def check_content(path: Path) -> None:
    """Refuse a file that holds something else than what was kept, and touch nothing.

    What is ours may be damaged: cut, blank, or read only from its copy.

    Raises
    ------
    InputError
        If neither the file nor its copy is ours, and either is somebody's own.
    """
    try:
        looks = [(each, _look(each)) for each in (path, copy_of(path))]
    except (OSError, ValueError) as error:
        raise InputError(f"cannot be read: {_line(error)}", where=shown(path)) from error
    if any(look is _Look.ours for _, look in looks):
        return
    for each, look in looks:
        if look is _Look.strange:
            raise InputError(
                "holds something else than marks passed and sails set, and is not overwritten; "
                "name another file",
                where=shown(each),
            )


class _Look(Enum):
    """How a file begins."""

    nothing = "nothing"
    ours = "ours"
    strange = "strange"


def _look(path: Path) -> _Look:
    if not path.exists() or not path.stat().st_size:
        return _Look.nothing
    # Power that fails leaves blocks of zeros, or a file cut short.
    head = b"".join(read_head(path, "what was kept", 4 * len(_BEGINS)).strip(b"\0").split())
    if not head:
        return _Look.strange if read_bytes(path, "what was kept").strip(b"\0 \n") else _Look.nothing
    begins = head[: len(_BEGINS)]
    return _Look.ours if _BEGINS.startswith(begins) else _Look.strange


class MemoryFile:
    """The file, its copy, and what they hold.

    It is replaced as a whole, so what can't be read was damaged by something else: then its copy
    is taken, which says the same from `COPIED_AFTER_S` on.

    Parameters
    ----------
    path : Path
        Its folder is made if it is not there. The copy, its name and ``.copy``, lies beside it.
    tell : callable
        Takes a line: when the file can't be read or written, and when it can again.
    inputs : iterable of paths
        Files that are never overwritten.

    Attributes
    ----------
    kept : Memory or None
        What stands in it; None where nothing does, or nothing that can be read.
    """

    def __init__(
        self, path: Path, tell: Callable[[str], None], *, inputs: Iterable[Path] = ()
    ) -> None:
        self._path = path
        self._copy = copy_of(path)
        self._inputs = tuple(inputs)
        self._tell = tell
        self._failed = False
        self._whole = True
        self._copied = False
        self.kept = self._read()

    def _read(self) -> Memory | None:
        # Who takes the file away wants to begin anew: its copy alone is nothing.
        if not self._path.exists():
            return None
        try:
            return _read(self._path)
        except _UNREADABLE as error:
            self._whole = False
            found, then = self._read_copy()
            self._tell(f"What was passed before the start can't be read: {_line(error)}{then}")
            return found

    def _read_copy(self) -> tuple[Memory | None, str]:
        try:
            found = _read(self._copy)
        except _UNREADABLE:
            return None, ""
        return found, "" if found is None else f"; its copy is taken, {shown(self._copy.name)}"

    def note(self, now: Memory) -> None:
        """Write what is so now, where it differs from what stands there, or is old."""
        before = self.kept if self._whole else None
        age_s = None if before is None else now.time_s - before.time_s
        if memory.same(before, now) and age_s is not None and 0.0 <= age_s < WRITTEN_EVERY_S:
            if before is not None and not self._copied and age_s >= COPIED_AFTER_S:
                self._copied = True
                self._write(self._copy, before)
            return
        self.kept, self._whole, self._copied = now, True, False
        self._write(self._path, now)

    def _write(self, path: Path, kept: Memory) -> None:
        content = msgspec.json.encode({"format": FORMAT, "kept": kept})
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            write_atomically(path, content.decode() + "\n", inputs=self._inputs)
        except (InputError, OSError) as error:
            if not self._failed:
                reason = error if isinstance(error, InputError) else error.strerror
                self._tell(f"What was passed can't be kept for a restart: {reason}")
            self._failed = True
            return
        if self._failed:
            self._tell("What was passed is kept again.")
        self._failed = False


_UNREADABLE = (InputError, msgspec.MsgspecError, RecursionError)


def _read(path: Path) -> Memory | None:
    document = msgspec.json.decode(read_bytes(path, "what was kept"), type=_Document)
    return document.kept if document.format == FORMAT else None


def _line(error: Exception) -> str:
    return f"{' '.join(str(error).split()):.200}"
