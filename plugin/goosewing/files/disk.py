"""Bytes from disk and back, with one clear line for everything that can go wrong.

A file is written beside its place, flushed to the disk and renamed: whoever
looks finds the old file or the new one, never a half-written one. What a process
that was killed had begun is taken away by a later one.
"""

from __future__ import annotations

import contextlib
import errno
import functools
import os
import re
import shutil
import stat
import time
from pathlib import Path
from typing import TYPE_CHECKING

from goosewing.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping


MOST_BYTES = 64_000_000
"""What is larger is no text that a navigator made: a wrong file was named."""

MOST_BYTES_OF_FIELDS = 2_000_000_000
"""Of a forecast or a chart."""

MOST_BYTES_OF_LOG = 20_000_000_000
"""Of a log, which is read as it comes and never held whole."""

LEFT_AFTER_S = 24 * 3600.0
"""What is being written for so long is not being written any more: it takes seconds. By its age,
not by whose it is: of a process on another machine that shares the disk nothing is known."""

_UNFINISHED = re.compile(r"\.goosewing-[0-9a-f]{16}\.tmp")

UNPRINTABLE = "\N{REPLACEMENT CHARACTER}"
"""What stands for a character that a line of text can't hold."""


def shown(path: Path | str) -> str:
    """Return a path as it may stand in a one-line message, whatever bytes it is made of."""
    return "".join(
        each if each.isprintable() else "\N{REPLACEMENT CHARACTER}" for each in str(path)
    )


def check_readable(path: Path | str, what: str, *, most_bytes: int = MOST_BYTES) -> int:
    """Refuse what can't be an input, before anything is read; every reader asks here.

    Parameters
    ----------
    path : path
        The file.
    what : str
        What it should hold ("marks", "a boat file"), for the message.
    most_bytes : int
        How large it may be.

    Returns
    -------
    int
        Its size in bytes, above 0.

    Raises
    ------
    InputError
        If it is missing, a folder, a device or pipe, too large, empty or barred.
    """
    where = shown(path)
    try:
        # A pipe would be waited for without end, a device may never be done.
        found = Path(path).stat()
        if stat.S_ISDIR(found.st_mode):
            raise InputError(f"is a folder, expected a file ({what})", where=where)
        if not stat.S_ISREG(found.st_mode):
            raise InputError(f"is a device or pipe, expected a file ({what})", where=where)
        if not os.access(path, os.R_OK):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    except FileNotFoundError:
        raise InputError(f"no such file (expected {what})", where=where) from None
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise _unreadable(path, what, error) from error
    if found.st_size > most_bytes:
        raise InputError(
            f"holds {found.st_size / 1e6:.0f} MB, far too large for {what}: "
            f"at most {most_bytes / 1e6:.0f} MB",
            where=where,
        )
    if not found.st_size:
        raise InputError(f"is empty (expected {what})", where=where)
    return found.st_size


def read_bytes(path: Path | str, what: str, *, most_bytes: int = MOST_BYTES) -> bytes:
    """Read a whole file.

    Parameters
    ----------
    path, what, most_bytes
        As `check_readable`.

    Raises
    ------
    InputError
        As `check_readable`.
    """
    check_readable(path, what, most_bytes=most_bytes)
    return _read(path, what, most_bytes)


def read_head(path: Path | str, what: str, count: int, *, most_bytes: int = MOST_BYTES) -> bytes:
    """Read how a file begins: at most `count` bytes, to tell its kind.

    Parameters
    ----------
    path, what, most_bytes
        As `check_readable`.
    count : int
        How many bytes.

    Raises
    ------
    InputError
        As `check_readable`.
    """
    check_readable(path, what, most_bytes=most_bytes)
    return _read(path, what, count)


def read_text(path: Path | str, what: str, *, most_bytes: int = MOST_BYTES) -> str:
    """Read a whole file of UTF-8, with or without a byte-order mark.

    Parameters
    ----------
    path, what, most_bytes
        As `check_readable`.

    Raises
    ------
    InputError
        As `check_readable`, or if it is no such text.
    """
    data = read_bytes(path, what, most_bytes=most_bytes)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"is not text in UTF-8 (expected {what})", where=shown(path)) from None


def _read(path: Path | str, what: str, count: int) -> bytes:
    try:
        with Path(path).open("rb") as file:
            return file.read(count)
    except (OSError, ValueError) as error:
        raise _unreadable(path, what, error) from error


def _unreadable(path: Path | str, what: str, error: Exception) -> InputError:
    return InputError(f"cannot be read: {_reason(error)} (expected {what})", where=shown(path))


def write_atomically(
    path: Path | str, data: bytes | str, *, inputs: Iterable[Path | str] = ()
) -> None:
    """Write `data` to `path`, wholly or not at all.

    Parameters
    ----------
    path : path
        Where to; what was there is replaced and keeps its permissions. A
        symbolic link stays one, and the file it points to is replaced.
    data : bytes or str
        Text goes out as UTF-8, line ends untouched.
    inputs : iterable of paths
        Files read to make `data`: none of them is ever overwritten, by
        whatever name or link `path` reaches it.

    Raises
    ------
    InputError
        If `path` is one of `inputs`, a folder or no ordinary file, if its
        folder is missing, or if the disk refuses.
    """
    raw = data.encode() if isinstance(data, str) else data
    try:
        # Beside the file itself, not beside a link to it: a rename can't cross disks.
        target = Path(path).resolve()
        mode = _refuse_unfit(Path(path), target, inputs)
        _replace(target, raw, mode)
    except (OSError, ValueError, RuntimeError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"cannot be written: {_reason(error)}", where=shown(path)) from error


def write_all(contents: Mapping[Path, bytes | str], *, inputs: Iterable[Path | str] = ()) -> None:
    """Write several files, all of them or none.

    Where one can't be written, those before it are put back as they were.

    Parameters
    ----------
    contents : mapping of path to bytes or str
    inputs : iterable of paths
        Files read to make them, as for `write_atomically`.

    Raises
    ------
    InputError
        As `write_atomically`.
    """
    read = list(inputs)
    for path in contents:
        check_writable(path, inputs=read)
    with as_before(contents):
        for path, data in contents.items():
            write_atomically(path, data, inputs=read)


@contextlib.contextmanager
def as_before(paths: Iterable[Path]) -> Iterator[None]:
    """Put files back as they were, if what writes them fails or is interrupted.

    Parameters
    ----------
    paths : iterable of paths
        Ordinary files, or none yet.

    Raises
    ------
    InputError
        If what is there can't be read.
    """
    # What a link points to is what is written, and so what is put back.
    before = {path: _content_now(path) for path in (Path(each).resolve() for each in paths)}
    try:
        yield
    except BaseException:
        for path, data in before.items():
            with contextlib.suppress(OSError, InputError):
                if data is not None and path.read_bytes() != data:
                    write_atomically(path, data)
                elif data is None and path.is_file():
                    path.unlink()
        raise


def _content_now(path: Path) -> bytes | None:
    try:
        return path.read_bytes() if path.is_file() else None
    except OSError as error:
        raise _unreadable(path, "a file to be replaced", error) from error


def check_writable(
    path: Path | str, *, inputs: Iterable[Path | str] = (), makes_folder: bool = False
) -> None:
    """Refuse now what `write_atomically` would refuse later, and touch nothing.

    Parameters
    ----------
    path, inputs
        As `write_atomically`.
    makes_folder : bool
        Whether its folder will be made where there is none.

    Raises
    ------
    InputError
        As `write_atomically`, but for what only the disk knows.
    """
    try:
        _refuse_unfit(Path(path), Path(path).resolve(), inputs, makes_folder=makes_folder)
    except (OSError, ValueError, RuntimeError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"cannot be written: {_reason(error)}", where=shown(path)) from error


def _refuse_unfit(
    path: Path, target: Path, inputs: Iterable[Path | str], *, makes_folder: bool = False
) -> int | None:
    """Refuse a place that must not be written; else the mode of the file there, if any."""
    where = shown(path)
    if any(_same_file(target, Path(each)) for each in inputs):
        raise InputError("is an input and is not overwritten; name another file", where=where)
    folder = target.parent
    if makes_folder:
        folder = next((each for each in target.parents if each.exists()), folder)
        if not folder.is_dir():
            raise InputError("can't make the folder: it is a file", where=shown(folder))
    elif not folder.is_dir():
        raise InputError(f"no such folder: {shown(folder)}", where=where)
    if target.is_symlink():
        # What is resolved and still a link leads round to itself.
        raise InputError("cannot be written: a link that leads to itself", where=where)
    if not target.exists():
        _refuse_closed(folder, where)
        return None
    if target.is_dir():
        raise InputError("is a folder, expected the name of a file", where=where)
    # A rename would put a file in the place of /dev/null, and would replace a
    # write-protected file without asking.
    if not target.is_file():
        raise InputError("is a device or pipe, expected an ordinary file", where=where)
    if not os.access(target, os.W_OK):
        raise InputError("is write-protected", where=where)
    _refuse_closed(folder, where)
    return stat.S_IMODE(target.stat().st_mode)


def _refuse_closed(folder: Path, where: str) -> None:
    # What replaces a file is written beside it.
    if not os.access(folder, os.W_OK | os.X_OK):
        raise InputError(f"the folder is write-protected: {shown(folder)}", where=where)


def _same_file(target: Path, other: Path) -> bool:
    if target.exists() and other.exists():
        return target.samefile(other)
    return target == other.resolve()


def _replace(target: Path, raw: bytes, mode: int | None) -> None:
    beside = unfinished_in(target.parent)
    try:
        # 0o666 is narrowed by the user's umask, as for any new file.
        handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        with os.fdopen(handle, "wb") as file:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        if mode is not None:
            beside.chmod(mode)
        beside.replace(target)
    finally:
        # Gone already when the rename was done; else (also on ^C) nothing is left.
        beside.unlink(missing_ok=True)
    _sync_folder(target.parent)


def unfinished_in(folder: Path) -> Path:
    """Return a name in a folder for what is still being written.

    What stands under such a name for a day was left by a process that was killed, and goes.

    Parameters
    ----------
    folder : path
        Where it will be renamed to its place.

    Returns
    -------
    path
        Nothing is there yet.
    """
    _take_away_what_was_left(folder)
    return folder / f".goosewing-{os.urandom(8).hex()}.tmp"


@functools.cache
def _take_away_what_was_left(folder: Path) -> None:
    # Once in a process: a service writes for months, into folders with many files perhaps.
    before = time.time() - LEFT_AFTER_S
    with contextlib.suppress(OSError), os.scandir(folder) as entries:
        left = [each for each in entries if _UNFINISHED.fullmatch(each.name)]
        for each in left:
            # Another process may be at it too.
            with contextlib.suppress(OSError):
                if each.stat(follow_symlinks=False).st_mtime > before:
                    continue
                if each.is_dir(follow_symlinks=False):
                    shutil.rmtree(each.path, ignore_errors=True)
                else:
                    Path(each.path).unlink()


def _sync_folder(folder: Path) -> None:
    """Make the rename last through a power cut, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _reason(error: Exception) -> str:
    text = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return " ".join(text.split())
