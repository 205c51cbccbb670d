"""A plan for a whole batch: errands handed to an executor until time is up, and what came of it."""

import os
import time
from collections.abc import Callable, Iterable
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from contextlib import nullcontext
from dataclasses import dataclass

from nesting.batch.columns import Column, Picked
from nesting.batch.planner import Planner, Task
from nesting.batch.stock import Batch
from nesting.batch.workers import Pool, own_pool

_LOOK_S = 0.1
_CALL_OFF_S, _GRACE_S = 0.5, 5.0
"""How long what is under way when time is up is waited for, and how much longer once it is called off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanProgress:
    """How far a running plan is: parts placed, pieces cut, price of the sheets, worth of the remnants cut into."""

    seconds: float
    time_limit_s: float
    made: int
    wanted: int
    pieces: int
    price: float
    worth: float
    late: int
    phase: str


@dataclass(frozen=True, kw_only=True)
class Planned:
    """What was found, one `Picked` for each group of lines and pieces that share nothing with others.

    `least_price` and `least_worth`: no plan that makes all due lines costs less, or cuts into less at that price.
    `untried` are lines left over that time ran out for before they were tried on every piece.
    """

    groups: tuple[Picked, ...]
    least_price: float
    least_worth: float
    seconds: float
    layouts_tried: int
    untried: frozenset[str] = frozenset()
    stopped: bool = False
    note: str = ""


def plan(
    batch: Batch,
    *,
    seconds: float,
    seed: int = 0,
    executor: Executor | None = None,
    workers: int | None = None,
    known: Iterable[Column] = (),
    on_progress: Callable[[PlanProgress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> Planned:
    """Return the best plan found in the time.

    Without an `executor` it runs in processes of its own, as many as `workers` (default: one a core); any executor of
    `concurrent.futures` kind does, on other machines too.  `known` are columns to begin with, of pieces by their index
    in `batch`.
    """
    count = workers or os.cpu_count() or 1
    given = Pool(executor=executor, workers=count) if executor is not None else None
    with own_pool(count) if given is None else nullcontext(given) as pool:
        run = _Run(batch, seconds, seed, pool, on_progress, should_stop)
        run.begin_with(known)
        run.go()
        return run.result()


class _Run:
    """One run over all groups of a batch."""

    def __init__(
        self, batch: Batch, seconds: float, seed: int, pool: Pool,
        on_progress: Callable[[PlanProgress], None] | None, should_stop: Callable[[], bool] | None,
    ) -> None:  # fmt: skip
        self._batch, self._seconds, self._pool = batch, seconds, pool
        self._on_progress, self._should_stop = on_progress, should_stop
        self._begun = time.monotonic()
        groups = batch.parts()
        self._planners = [
            Planner(
                group,
                seconds=seconds,
                workers=max(1, pool.workers // max(1, len(groups))),
                seed=seed + n,
                progress=self._progress,
            )
            for n, group in enumerate(groups)
        ]
        self._flying: dict[Future[object], tuple[Planner, Task]] = {}
        self._tried = 0
        self._stopped = False
        self._note = ""

    def _elapsed(self) -> float:
        return time.monotonic() - self._begun

    def _progress(self) -> float:
        return min(1.0, self._elapsed() / max(self._seconds, 1e-9))

    def begin_with(self, known: Iterable[Column]) -> None:
        columns = list(known)
        for planner in self._planners:
            index = {piece.id: p for p, piece in enumerate(planner.batch.pieces)}
            ids = [self._batch.pieces[c.piece].id for c in columns]
            mine = [Column(piece=index[i], layout=c.layout) for i, c in zip(ids, columns, strict=True) if i in index]
            if mine:
                planner.begin_with(mine)

    def go(self) -> None:
        try:
            while self._on():
                self._hand_out()
                if not self._flying:
                    break
                self._collect(_LOOK_S)
        except BrokenExecutor as error:
            self._note = f"the search ended early: a process of it is gone ({error}); the best plan so far is kept"
            self._flying.clear()
        self._bring_home()
        for planner in self._planners:
            if not self._asked_to_stop():
                planner.finish(self._asked_to_stop)
        self._report()

    def _asked_to_stop(self) -> bool:
        self._stopped = self._stopped or (self._should_stop is not None and self._should_stop())
        return self._stopped

    def _on(self) -> bool:
        stopped = self._asked_to_stop()
        self._report()
        return not stopped and self._elapsed() < self._seconds

    def _report(self) -> None:
        if self._on_progress is not None:
            self._on_progress(self._told())

    def _hand_out(self) -> None:
        """Give every free worker something to do; the group that had least time for its size comes first."""
        while len(self._flying) < self._pool.workers:
            waiting = sorted(self._planners, key=lambda p: p.spent / (1 + len(p.batch.lines)))
            found = next(((p, task) for p in waiting if (task := p.next()) is not None), None)
            if found is None:
                return
            planner, task = found
            self._flying[self._pool.executor.submit(task.run, task.errand)] = (planner, task)

    def _collect(self, seconds: float) -> None:
        finished, _ = wait(self._flying, timeout=seconds, return_when=FIRST_COMPLETED)
        for future in finished:
            planner, task = self._flying.pop(future)
            self._tried += len(task.pieces)
            planner.take(task, future.result())

    def _bring_home(self) -> None:
        """Wait a little for what is still under way; it may hold the best."""
        begun = time.monotonic()
        call_off = self._pool.call_off
        grace_s = _CALL_OFF_S + (_GRACE_S if call_off is not None else 0.0)
        try:
            while self._flying and time.monotonic() < begun + grace_s:
                if call_off is not None and (self._stopped or time.monotonic() > begun + _CALL_OFF_S):
                    call_off()
                self._collect(_LOOK_S)
        except BrokenExecutor:
            self._flying.clear()
        for future in self._flying:
            future.cancel()

    def _told(self) -> PlanProgress:
        plans = [p.plan for p in self._planners]
        return PlanProgress(
            seconds=self._elapsed(),
            time_limit_s=self._seconds,
            made=sum(p.made.total() for p in plans),
            wanted=sum(line.quantity for line in self._batch.lines),
            pieces=sum(len(p.columns) for p in plans),
            price=sum(p.price for p in plans),
            worth=sum(p.worth for p in plans),
            late=sum(p.late for p in plans),
            phase=next((p.phase for p in self._planners if not p.done), "done"),
        )

    def result(self) -> Planned:
        bounds = [planner.least_cost() for planner in self._planners]
        return Planned(
            groups=tuple(p.plan for p in self._planners),
            least_price=sum(price for price, _ in bounds),
            least_worth=sum(worth for _, worth in bounds),
            seconds=round(self._elapsed(), 1),
            layouts_tried=self._tried,
            untried=frozenset().union(*(p.untried for p in self._planners)),
            stopped=self._stopped,
            note=self._note,
        )
