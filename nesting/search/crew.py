"""Several threads on one problem: they share the best state, and stop together."""

import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from nesting.search.problem import Poses, Problem
from nesting.search.state import OVERTAKEN, STOPPED, Crowd

_REMEMBERED = 40

Score = tuple[float, ...]
"""Larger is better, compared from the left."""


@dataclass(frozen=True, kw_only=True)
class State:
    """Items free of overlap, and how good they are."""

    poses: Poses
    score: Score


class Crew:
    """Shared by the threads of one search: the best state, the clock and the stop flag.

    With `steps` None the threads run freely until `seconds` have passed.  With a number of steps one thread takes that
    many, so that the same seed gives the same layout again on the same machine; time then only counts.
    """

    def __init__(self, *, seed: int, seconds: float, steps: int | None, threads: int) -> None:
        self.seed = seed
        self.seconds = seconds
        self.steps = steps
        self.steps_left = steps
        self.threads = 1 if steps is not None else max(1, threads)
        self.history: list[State] = []
        self.watch: Callable[[Crew], bool] | None = None
        self.called_off = False
        self.poses_tried = 0
        self.steps_taken = 0
        self.phase = ""
        self._start = time.monotonic()
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._crowds: list[Crowd] = []

    @property
    def best(self) -> State | None:
        """The best state so far."""
        return self.history[-1] if self.history else None

    @property
    def elapsed(self) -> float:
        """Seconds since the start."""
        return time.monotonic() - self._start

    @property
    def progress(self) -> float:
        """Share of the time, or of the steps where those are counted, that has gone."""
        if self.steps is not None:
            return self.steps_taken / max(self.steps, 1)
        return min(1.0, self.elapsed / max(self.seconds, 1e-9))

    @property
    def stopped(self) -> bool:
        """True once the threads must come home."""
        return self._stop.is_set()

    def stop(self) -> None:
        """Bring the threads home at once, out of the kernels too."""
        self._stop.set()
        for crowd in list(self._crowds):
            crowd.counters[2] = STOPPED

    def asked_to_stop(self) -> bool:
        """Ask the watch, which may report progress too, whether to stop; once it has said so that stays."""
        self.called_off = self.called_off or (self.watch is not None and self.watch(self))
        return self.called_off

    def crowd(self, problem: Problem, poses: Poses, *, seed: int) -> Crowd:
        """Make a crowd that stops when the crew does."""
        crowd = Crowd(problem.shapes, poses, seed=seed, bounds=problem.region.bounds)
        with self._lock:
            self._crowds.append(crowd)
            if self._stop.is_set():
                crowd.counters[2] = STOPPED
        return crowd

    def done_with(self, crowd: Crowd) -> None:
        """Book what a crowd has tried."""
        with self._lock:
            self.poses_tried += int(crowd.counters[0])
            self._crowds = [c for c in self._crowds if c is not crowd]

    def offer(self, state: State, *, by: Crowd | None = None) -> bool:
        """Make a state the best if it is better; tell whether it was.

        With `by` the separations of all other crowds end at once: what they work on has been overtaken.
        """
        with self._lock:
            if self.best is not None and state.score <= self.best.score:
                return False
            self.history.append(state)
            del self.history[:-_REMEMBERED]
            for crowd in self._crowds if by is not None else ():
                if crowd is not by and not self._stop.is_set():
                    crowd.counters[2] = OVERTAKEN
            return True

    def restart(self, state: State) -> None:
        """Begin again from a state, with scores of another kind."""
        self.history = [state]

    def take_step(self) -> bool:
        """Count one step; False if there is none left or the crew has stopped."""
        if self._stop.is_set():
            return False
        with self._lock:
            if self.steps_left is not None:
                if self.steps_left <= 0:
                    return False
                self.steps_left -= 1
            self.steps_taken += 1
            return True

    def run(self, work: Callable[[int, np.random.Generator], None], until: float, *, steps_share: float = 1.0) -> None:
        """Run `work(thread, random)` in every thread until all return, time is over or the watch says stop.

        Where steps are counted it ends after a share of all of them.
        """
        if self.steps is not None:
            self.steps_left = round(steps_share * self.steps) - self.steps_taken
        generators = [np.random.default_rng([self.seed, self.steps_taken, t]) for t in range(self.threads)]
        self._stop.clear()
        with ThreadPoolExecutor(self.threads) as pool:
            jobs = [pool.submit(work, t, generators[t]) for t in range(self.threads)]
            try:
                while not all(job.done() for job in jobs):
                    if self.asked_to_stop() or (self.steps_left is None and self.elapsed > until):
                        self.stop()
                        break
                    time.sleep(0.02)
            except BaseException:
                self.stop()
                raise
            for job in jobs:
                job.result()
