"""Work that may die, hang or devour all memory, done in a process of its own.

Libraries in C that decode forecasts trust what a file says of itself: a flipped bit
can end the process that reads it, and a header of a few hundred bytes can ask for
gigabytes. What comes over a bad radio link is damaged as a rule, so such a file is
read by a child with a limit of memory and of time, and what it made is handed over.

Where this process has one thread alone the child is a fork, which costs a few
milliseconds; else (a fork may then inherit a lock that nobody opens again) it is a
fresh interpreter.
"""

from __future__ import annotations

import contextlib
import faulthandler
import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any, NoReturn, TypeVar

from goosewing.errors import InputError

MOST_BYTES_MORE = 800_000_000
BYTES_PER_BYTE = 40
"""A child may take that much memory beyond what it begins with, and so much for every byte of
the file: packed fields hold 8 to 24 bits a point, arrays 32, and both stand there for a while."""

SECONDS = 15.0
SECONDS_PER_MB = 1.0
"""Processor time that a child may take."""

WAITS = 6.0
"""So many times as long it may take by the clock: the machine has other work."""

_TASKS = Path("/proc/self/task")

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class _Said:
    """What a child hands over: what it made, or why it didn't."""

    made: Any = None
    refused: str | None = None


@dataclass(frozen=True, slots=True)
class _Limits:
    memory_bytes: int
    seconds: float

    @classmethod
    def for_file(cls, path: Path) -> _Limits:
        size = path.stat().st_size
        return cls(MOST_BYTES_MORE + BYTES_PER_BYTE * size, SECONDS + SECONDS_PER_MB * size / 1e6)


def read_apart(read: Callable[[Path], T], path: Path, *, ready: Callable[[], Any]) -> T:
    """Read a file in a process of its own.

    Parameters
    ----------
    read : callable
        A function of a module, of the path alone; what it makes can be pickled.
    path : Path
        A file that is there.
    ready : callable
        Loads the libraries that `read` wants, which is done once, on this side of a fork.

    Returns
    -------
    Whatever `read` makes.

    Raises
    ------
    InputError
        As `read`; or if it dies, hangs, wants more memory than such a file can need, or
        ends in an error of its own.
    """
    limits = _Limits.for_file(path)
    if _alone():
        ready()
        how, raw = _forked(read, path, limits)
    else:
        how, raw = _fresh(read, path, limits)
    where = path.name
    try:
        said = pickle.loads(raw) if raw else None
    except Exception:
        said = None
    if said is None:
        raise InputError(_ended(how, limits), where=where)
    if said.refused is not None:
        raise InputError(said.refused)
    made: T = said.made
    return made


def _alone() -> bool:
    """Tell whether this process can be forked: it has one thread, those of libraries counted."""
    try:
        return threading.active_count() == 1 and len(list(_TASKS.iterdir())) == 1
    except OSError:
        return False


def _ended(how: int | None, limits: _Limits) -> str:
    if how is None or -how == signal.SIGXCPU:
        return f"is damaged: reading it had not ended after {limits.seconds:.0f} s"
    if how < 0:
        with contextlib.suppress(ValueError):
            return f"is damaged: reading it ended in {signal.Signals(-how).name}"
    return "is damaged: reading it broke off"


def _answer(read: Callable[[Path], Any], path: Path, limits: _Limits) -> bytes:
    """Do the work in the child."""
    _limit(limits)
    try:
        return pickle.dumps(_Said(made=read(path)), protocol=pickle.HIGHEST_PROTOCOL)
    except InputError as error:
        told = str(error)
    except MemoryError:
        told = (
            f"{path.name}: wants more than {limits.memory_bytes / 1e9:.1f} GB of memory, "
            "far more than a file of its size can need: it is damaged"
        )
    except Exception as error:
        line = " ".join(f"{type(error).__name__}: {error}".split())[:120]
        told = f"{path.name}: can't be decoded: damaged, or of no kind that is known here ({line})"
    return pickle.dumps(_Said(refused=told))


def _limit(limits: _Limits) -> None:
    if sys.platform == "win32":
        return
    import resource

    pages = Path("/proc/self/statm")
    held = int(pages.read_text().split()[0]) * resource.getpagesize() if pages.exists() else 0
    used = resource.getrusage(resource.RUSAGE_SELF)
    for kind, most in (
        (resource.RLIMIT_AS, held + limits.memory_bytes),
        (resource.RLIMIT_CPU, int(used.ru_utime + used.ru_stime + limits.seconds)),
        (resource.RLIMIT_CORE, 0),
    ):
        _, hard = resource.getrlimit(kind)
        most = most if hard == resource.RLIM_INFINITY else min(most, hard)
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(kind, (most, hard))


def _forked(read: Callable[[Path], Any], path: Path, limits: _Limits) -> tuple[int | None, bytes]:
    """Return how the child ended (a signal negative, None if it hung), and what it handed over."""
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(out)
        _be_the_child(read, path, limits, into)
    os.close(into)
    raw, hung = b"", True
    try:
        with os.fdopen(out, "rb") as pipe:
            raw, hung = _all_of(pipe, limits.seconds * WAITS)
    finally:
        if hung:
            os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
    return (None if hung else os.waitstatus_to_exitcode(status)), raw


def _be_the_child(read: Callable[[Path], Any], path: Path, limits: _Limits, into: int) -> NoReturn:
    # Nothing of this side's clean-up may run: neither handlers, nor what waits to be flushed.
    try:
        faulthandler.disable()
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        nowhere = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(nowhere, stream)
        sys.stdout = sys.stderr = os.fdopen(nowhere, "w")
        with os.fdopen(into, "wb") as pipe:
            pipe.write(_answer(read, path, limits))
        os._exit(0)
    except BaseException:
        os._exit(1)


def _all_of(pipe: Any, seconds: float) -> tuple[bytes, bool]:
    """Read a pipe to its end; and whether that hadn't come in time."""
    import select
    from time import monotonic

    parts: list[bytes] = []
    ends = monotonic() + seconds
    while (left := ends - monotonic()) > 0.0:
        if select.select([pipe], [], [], left)[0]:
            part = os.read(pipe.fileno(), 1 << 20)
            if not part:
                return b"".join(parts), False
            parts.append(part)
    return b"", True


def _fresh(read: Callable[[Path], Any], path: Path, limits: _Limits) -> tuple[int | None, bytes]:
    """Return as `_forked` does, from an interpreter of its own."""
    import subprocess

    code = "from goosewing.files.own_process import main; main()"
    words = [sys.executable, "-c", code, read.__module__, read.__name__, str(path)]
    try:
        ran = subprocess.run(
            words,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=limits.seconds * WAITS,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            check=False,
        )
    except subprocess.TimeoutExpired:
        return None, b""
    return ran.returncode, ran.stdout


def main() -> None:
    """Be the child that `_fresh` starts: module, function and path stand on the command line."""
    module, name, path = sys.argv[1:]
    read = getattr(import_module(module), name)
    # What libraries print must not get among the bytes that are handed over.
    into = os.dup(1)
    os.dup2(2, 1)
    raw = _answer(read, Path(path), _Limits.for_file(Path(path)))
    with os.fdopen(into, "wb") as pipe:
        pipe.write(raw)
