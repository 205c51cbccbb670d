"""The pool of this machine: one process a core, called off together."""

import multiprocessing
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass

from nesting.batch.errands import enrol, listen_to, warm_up


@dataclass(frozen=True, kw_only=True)
class Pool:
    """An executor, how many errands it works on at once, and how to call them off, where that can be done."""

    executor: Executor
    workers: int
    call_off: Callable[[], None] | None = None


@contextmanager
def own_pool(workers: int) -> Iterator[Pool]:
    """Give a pool of processes, ready to work, gone when the block ends; one worker is a thread of this process."""
    with _alone() if workers == 1 else _processes(workers) as pool:
        # Each has to load the search; a call to the pool comes back when all have.
        list(pool.executor.map(warm_up, range(workers)))
        yield pool


@contextmanager
def _alone() -> Iterator[Pool]:
    called_off = threading.Event()
    listen_to(called_off)
    executor = ThreadPoolExecutor(1)
    try:
        yield Pool(executor=executor, workers=1, call_off=called_off.set)
    finally:
        called_off.set()
        executor.shutdown(cancel_futures=True)
        listen_to(None)


@contextmanager
def _processes(workers: int) -> Iterator[Pool]:
    # A forked process would inherit the threads' locks, but not the threads.
    context = multiprocessing.get_context("spawn")
    called_off = context.Event()
    executor = ProcessPoolExecutor(workers, mp_context=context, initializer=enrol, initargs=(called_off,))
    try:
        yield Pool(executor=executor, workers=workers, call_off=called_off.set)
    finally:
        called_off.set()
        executor.shutdown(cancel_futures=True)
