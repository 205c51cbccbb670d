"""Ctrl-C during a search: the first press asks it to stop, the second gives up."""

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

from cli.output import say


@contextmanager
def stop_on_interrupt() -> Iterator[Callable[[], bool]]:
    """Give a function that turns true after the first Ctrl-C; the second raises `KeyboardInterrupt`."""
    asked = False

    def handle(_signum: int, _frame: FrameType | None) -> None:
        nonlocal asked
        if asked:
            raise KeyboardInterrupt
        asked = True
        say("stopping: the best layout so far is checked and written; press Ctrl-C again to give up")

    former = signal.signal(signal.SIGINT, handle)
    try:
        yield lambda: asked
    finally:
        signal.signal(signal.SIGINT, former)
