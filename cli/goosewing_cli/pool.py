"""Processes of one's own for many plans: none hears an interrupt, none is left behind."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from concurrent.futures import Future
    from multiprocessing.process import BaseProcess

    from goosewing.case import Case

Found = TypeVar("Found")

WORTH_PROCESSES_S = 3.0
"""Less work than this is sooner done than processes are started for it. [s]"""


def workers_for(parts: int, left_s: float) -> int:
    """Return on how many processes so many parts of the work, of so many seconds, are done."""
    return min(cores(), parts) if left_s > WORTH_PROCESSES_S else 1


def cores() -> int:
    """Return how many processes can run side by side."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def pool(case: Case, workers: int) -> Iterator[ProcessPoolExecutor]:
    """Hold processes that each have the case (`goosewing.departures.compare.held_at`).

    They are spawned, never forked: the libraries for GRIB and for positions hold state that
    a fork would share. Leaving with an exception, an interrupt above all, ends them at once;
    and each ends by itself when this process is gone.
    """
    executor = ProcessPoolExecutor(
        max_workers=workers,
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_begin,
        initargs=(case,),
    )
    before = set(multiprocessing.active_children())
    with executor:
        try:
            with _undisturbed(), _without_script():
                # Each of the first tasks starts a process; they inherit what holds now.
                for _ in range(workers):
                    executor.submit(_nothing)
            yield executor
        except BaseException:
            _end(set(multiprocessing.active_children()) - before)
            executor.shutdown(cancel_futures=True)
            raise


def side_by_side(
    case: Case,
    work: Callable[..., tuple[Found, ...]],
    parts: Sequence[tuple[Any, ...]],
    workers: int,
    told: Callable[[int], None],
    *,
    and_here: bool = False,
) -> tuple[Found, ...]:
    """Let processes that hold the case do parts of the work; what they found, in their order.

    Parameters
    ----------
    case : Case
    work : callable
        A function of a module, called with each part's values.
    parts : sequence of tuple
    workers : int
        How many processes.
    told : callable
        Told how many are done.
    and_here : bool
        Whether this process is one of them, two or more. What is loaded here needn't be loaded
        once more: worth it where each part takes no longer than a process takes to start.
    """
    from goosewing.departures.compare import gathered, hold

    if and_here:
        hold(case)
    with pool(case, workers - and_here) as executor:
        if and_here:
            waiting = [executor.submit(partial(_done, work), part) for part in parts]
            return _shared_with_this(waiting, lambda at: work(*parts[at]), told)
        return gathered(
            executor, partial(_done, work), parts, len(parts), lambda done, _: told(done),
            called_off_by=(),
        )  # fmt: skip


def _shared_with_this(
    waiting: Sequence[Future[tuple[Found, ...]]],
    do: Callable[[int], tuple[Found, ...]],
    told: Callable[[int], None],
) -> tuple[Found, ...]:
    """Do here, from the end, what no other process has begun."""
    here: dict[int, tuple[Found, ...]] = {}
    for at in reversed(range(len(waiting))):
        if waiting[at].cancel():
            here[at] = do(at)
            told(len(here) + sum(each.done() for each in waiting[:at]))
    return tuple(
        each
        for at, future in enumerate(waiting)
        for each in (here[at] if at in here else future.result())
    )


def _done(work: Callable[..., tuple[Found, ...]], part: tuple[Any, ...]) -> tuple[Found, ...]:
    return work(*part)


def _nothing() -> None:
    """Do nothing: the task by which processes are started."""


def _begin(case: Case) -> None:
    """Begin a process of the pool: keep the case; leave interrupts to the parent."""
    from goosewing.departures import compare

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()
    compare.hold(case)


def _end_with(parent: BaseProcess) -> None:
    parent.join()
    os._exit(1)


def _end(processes: set[BaseProcess]) -> None:
    for process in processes:
        process.terminate()
    for process in processes:
        process.join()


@contextmanager
def _without_script() -> Iterator[None]:
    """Let processes start without running again the script by which this one was started.

    They need nothing of it; and one without a guard would begin everything anew in each.
    """
    script = sys.modules["__main__"].__dict__
    kept: dict[str, Any] = {
        name: script.pop(name) for name in ("__file__", "__spec__") if name in script
    }
    script["__spec__"] = None
    try:
        yield
    finally:
        script.pop("__spec__")
        script.update(kept)


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Keep an interrupt waiting; processes started meanwhile never see one.

    Otherwise one that comes while they load their modules would have each print a traceback.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
