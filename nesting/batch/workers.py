"""The pool of this machine: one process a core, called off together."""

import multiprocessing
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass

from nesting.batch.errands import enrol


@dataclass(frozen=True, kw_only=True)
class Pool:
    """An executor, how many errands it works on at once, and how to call them off."""

    executor: Executor
    workers: int
    call_off: Callable[[], None] = lambda: None


@contextmanager
def own_pool(workers: int) -> Iterator[Pool]:
    """Give a pool of processes; it is gone when the block ends."""
    # A forked process would inherit the threads' locks, but not the threads.
    context = multiprocessing.get_context("spawn")
    called_off = context.Event()
    executor = ProcessPoolExecutor(workers, mp_context=context, initializer=enrol, initargs=(called_off,))
    try:
        yield Pool(executor=executor, workers=workers, call_off=called_off.set)
    finally:
        called_off.set()
        executor.shutdown(cancel_futures=True)
