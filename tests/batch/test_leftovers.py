"""Where what is free of a plan is gathered, and how the time for that is shared."""

import pytest
from batch_orders import batch, column, line, remnant

from nesting.batch.columns import Column, Picked
from nesting.batch.errands import Tidy, tidy
from nesting.batch.leftovers import EMPTIEST_SHARE, MOVES, Leftovers, Move, unevenness
from nesting.batch.planner import Planner
from nesting.batch.stock import Batch
from nesting.layout import Layout

ORDER = batch([line("a", 10, 10, 60)], [remnant("large", 100, 100), remnant("small", 50, 50)])


def picked(of: Batch, *columns: Column) -> Picked:
    return Picked(batch=of, columns=columns)


def test_what_is_free_is_better_off_on_the_large_piece_than_on_the_small_one() -> None:
    on_large = picked(ORDER, column(ORDER, 0, {"a": 35}), column(ORDER, 1, {"a": 25}))
    on_small = picked(ORDER, column(ORDER, 0, {"a": 59}), column(ORDER, 1, {"a": 1}))
    even = picked(ORDER, column(ORDER, 0, {"a": 48}), column(ORDER, 1, {"a": 12}))

    assert unevenness(on_large) > unevenness(even) > unevenness(on_small)


def test_parts_are_moved_off_the_piece_with_most_free_area() -> None:
    fuller, emptier = column(ORDER, 1, {"a": 10}), column(ORDER, 0, {"a": 50})

    assert Leftovers(ORDER).move(picked(ORDER, fuller, emptier), 0.0) == Move(onto=fuller, off=emptier, anew=False)


def test_each_piece_is_filled_up_as_it_lies_and_anew_by_turns() -> None:
    of = batch([line("a", 10, 10, 60)], [remnant("large", 100, 100), remnant("b", 50, 50), remnant("c", 50, 50)])
    columns = [column(of, p, {"a": 20}) for p in range(3)]
    leftovers, plan = Leftovers(of), picked(of, *columns)

    moves = [leftovers.move(plan, 0.0) for _ in range(2 * MOVES + 1)]

    assert [(m.onto, m.anew) for m in moves[:4] if m is not None] == [
        (columns[1], False), (columns[2], False), (columns[1], True), (columns[2], True),
    ]  # fmt: skip
    assert moves[-1] is None


def test_the_emptiest_piece_is_pulled_together_first_and_longest() -> None:
    columns = [column(ORDER, 0, {"a": 40}), column(ORDER, 1, {"a": 20})]
    leftovers, plan = Leftovers(ORDER), picked(ORDER, *columns)

    assert leftovers.tidy(plan, 100.0) == (columns[0], pytest.approx(100.0 * EMPTIEST_SHARE))
    assert not leftovers.finished
    assert leftovers.tidy(plan, 100.0) == (columns[1], pytest.approx(100.0 * (1.0 - EMPTIEST_SHARE)))
    assert leftovers.finished


def test_a_plan_of_one_full_piece_is_given_all_the_time() -> None:
    full = column(ORDER, 1, {"a": 25})
    leftovers = Leftovers(ORDER)

    assert leftovers.tidy(picked(ORDER, full), 100.0) == (full, 100.0)
    assert leftovers.finished


def test_all_workers_pull_the_emptiest_piece_together_and_nothing_else_goes_on_beside() -> None:
    clock = [0.0]
    planner = Planner(ORDER, seconds=600.0, workers=4, seed=0, progress=lambda: clock[0])
    columns = [column(ORDER, 0, {"a": 40}), column(ORDER, 1, {"a": 20})]
    planner.begin_with(columns)
    clock[0] = 0.95

    first = planner.next()

    assert first is not None and first.what == "tidy" and first.pieces == (0,)
    assert first.errand.threads == 4
    assert first.errand.seconds == pytest.approx(0.9 * EMPTIEST_SHARE * 0.05 * 600.0)
    assert planner.next() is None
    planner.take(first, columns[0].layout)
    second = planner.next()
    assert second is not None and second.pieces == (1,) and second.errand.threads == 1


@pytest.mark.parametrize("workers", [1, 2])
def test_nothing_is_pulled_together_while_parts_are_still_moved(workers: int) -> None:
    clock = [0.0]
    planner = Planner(ORDER, seconds=600.0, workers=workers, seed=0, progress=lambda: clock[0])
    planner.begin_with([column(ORDER, 0, {"a": 40}), column(ORDER, 1, {"a": 20})])
    clock[0] = 0.9
    move = planner.next()
    assert move is not None and move.what == "move"

    clock[0] = 0.95

    assert planner.next() is None


def test_an_errand_takes_no_more_threads_than_the_machine_it_runs_on_has(monkeypatch: pytest.MonkeyPatch) -> None:
    """A plan for sixty workers on a cluster is no reason for sixty threads on one of its machines."""
    given: list[int] = []

    def watched(layout: Layout, *, threads: int, **_: object) -> Layout:
        given.append(threads)
        return layout

    monkeypatch.setattr("nesting.batch.errands.pull_layout", watched)
    monkeypatch.setattr("os.cpu_count", lambda: 3)
    layout = column(ORDER, 1, {"a": 1}).layout
    for threads in (1, 60):
        tidy(Tidy(layout=layout, seed=0, seconds=1.0, threads=threads))

    assert given == [1, 3]
