"""Executors to plan on: processes of one's own, Dask's, and one that weighs what it is sent."""

from __future__ import annotations

import multiprocessing
import pickle
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager

import pytest


def processes():
    return ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn"))


@contextmanager
def dask_workers():
    """Two processes of Dask's on this machine: loopback only, no dashboard."""
    distributed = pytest.importorskip("distributed")
    import dask

    # Of itself it gives its workers one thread of linear algebra, whatever this process has.
    as_here = {"distributed.nanny.pre-spawn-environ": {}}
    with dask.config.set(as_here), _workers(distributed) as client:
        yield client.get_executor()


@contextmanager
def _workers(distributed):
    cluster = distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address=None
    )
    with cluster, distributed.Client(cluster) as client:
        yield client


class Counting(Executor):
    """Runs at once, and weighs what it is sent."""

    def __init__(self):
        self.sent = []

    def submit(self, fn, /, *args):
        self.sent.append(len(pickle.dumps((fn, args))))
        future = Future()
        try:
            future.set_result(fn(*args))
        except BaseException as error:
            future.set_exception(error)
        return future
