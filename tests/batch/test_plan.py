"""Whole plans: against an exact model, on other executors, called off, and judged as they should be."""

import threading
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from datetime import date

import numpy as np
import pytest
from batch_orders import batch, line, remnant, sheet
from exact_rectangles import least

from nesting.batch.plan import Planned, PlanProgress, plan
from nesting.batch.stock import Batch
from nesting.check import check_layout
from nesting.search.engine import load_kernels

Aim = tuple[float, float, int]
"""Price, worth of the remnants cut into, number of pieces."""


@pytest.fixture(scope="module")
def threads() -> Iterator[Executor]:
    """An executor that starts at once; errands let go of the interpreter's lock."""
    load_kernels()
    with ThreadPoolExecutor(2) as pool:
        yield pool


def plan_to(of: Batch, aim: Aim, executor: Executor, *, wanted: int | None = None) -> Planned:
    """Plan until so many parts cost no more than the aim, for 20 s at most."""
    wanted = sum(x.quantity for x in of.lines) if wanted is None else wanted
    reached = threading.Event()

    def watch(seen: PlanProgress) -> None:
        if seen.made >= wanted and not seen.late and (seen.price, round(seen.worth), seen.pieces) <= aim:
            reached.set()

    found = plan(of, seconds=20.0, executor=executor, workers=2, on_progress=watch, should_stop=reached.is_set)
    require_sound(of, found)
    return found


def cost(found: Planned) -> Aim:
    """Price, worth and number of pieces of a plan."""
    columns = [c for g in found.groups for c in g.columns]
    return (sum(g.price for g in found.groups), round(sum(g.worth for g in found.groups)), len(columns))


def require_sound(of: Batch, found: Planned) -> None:
    """Every layout is checked, nothing is made too often, nothing is cut that is not there."""
    for group in found.groups:
        assert all(check_layout(c.layout).passed for c in group.columns)
        assert all(n <= group.batch.pieces[p].count for p, n in Counter(group.pieces).items())
        serves = [{group.batch.lines[i].id for i in lines} for lines in group.batch.serves]
        assert all(set(c.counts) <= serves[c.piece] for c in group.columns)
    made = sum((g.made for g in found.groups), Counter())
    assert all(made[x.id] <= x.quantity for x in of.lines)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_rectangles_cost_what_an_exact_model_says(seed: int, threads: Executor) -> None:
    """Orders of up to eight rectangles on remnants and sheets, against a model that is solved to the end."""
    rng = np.random.default_rng(seed)
    sizes = [(int(rng.integers(20, 60)), int(rng.integers(20, 60))) for _ in range(3)]
    lines = [line(f"p{i}", w, h, int(rng.integers(1, 4))) for i, (w, h) in enumerate(sizes)]
    pieces = [
        remnant(f"r{i}", int(rng.integers(50, 110)), int(rng.integers(50, 110)), weight=float(rng.choice([1.0, 2.0])))
        for i in range(3)
    ]
    of = batch(lines, [*pieces, sheet("s", 120, 100, 40.0, 2)])

    exact = least(of)
    found = plan_to(of, exact, threads)

    assert not found.groups[0].short
    assert cost(found) == exact
    assert found.least_price <= exact[0]
    assert found.least_worth <= exact[1] or found.least_price < exact[0]


def test_nothing_is_bought_where_remnants_do_and_the_lesser_is_cut(threads: Executor) -> None:
    of = batch(
        [line("a", 40, 40, 2)],
        [
            remnant("large", 200, 200),
            remnant("old", 90, 60, weight=0.5),
            remnant("new", 85, 60),
            sheet("s", 99, 99, 5.0),
        ],
    )

    found = plan_to(of, (0.0, 2700, 1), threads)

    assert [of.pieces[p].id for p in found.groups[0].pieces] == ["old"]
    assert 0.0 < found.least_worth <= 0.5 * 90 * 60


def test_what_is_not_due_yet_buys_nothing(threads: Executor) -> None:
    of = batch(
        [line("now", 50, 50), line("then", 30, 30, 9, later=True)],
        [remnant("r", 90, 55), sheet("s", 300, 300, 5.0)],
    )

    found = plan_to(of, (0.0, 90 * 55, 1), threads, wanted=2)

    group = found.groups[0]
    assert group.price == 0.0
    assert group.made["now"] == 1
    assert group.made["then"] == 1
    assert group.short == {"then": 8}


def test_a_sheet_that_comes_too_late_is_the_last_choice(threads: Executor) -> None:
    of = batch(
        [line("a", 80, 80, due=date(2026, 11, 30))],
        [sheet("cheap", 99, 99, 5.0, comes=date(2026, 12, 9)), sheet("dear", 99, 99, 50.0, comes=date(2026, 11, 27))],
    )

    group = plan_to(of, (50.0, 0, 1), threads).groups[0]

    assert [of.pieces[p].id for p in group.pieces] == ["dear"]
    assert group.late == 0


def test_more_is_wanted_than_there_is(threads: Executor) -> None:
    of = batch([line("first", 50, 50, 2), line("second", 50, 50, 2, priority=2)], [remnant("r", 105, 70)])

    found = plan_to(of, (0.0, 105 * 70, 1), threads, wanted=2)

    assert found.groups[0].made == Counter(first=2)


def test_processes_of_its_own_can_be_called_off() -> None:
    """With a minute to go a plan is there soon after the call, and says so."""
    of = batch([line("a", 30, 20, 12)], [remnant(f"r{i}", 90 + i, 60) for i in range(3)])
    stop = threading.Event()

    def watch(seen: PlanProgress) -> None:
        if seen.made > 0:
            stop.set()

    begun = time.monotonic()
    found = plan(of, seconds=120.0, workers=2, on_progress=watch, should_stop=stop.is_set)

    assert found.stopped
    assert time.monotonic() - begun < 90.0
    require_sound(of, found)
    assert found.groups[0].columns


def test_a_cluster_engine_runs_the_same_plan() -> None:
    """Any executor does: here that of dask.distributed, with two workers of its own."""
    distributed = pytest.importorskip("distributed", reason="dask.distributed is not installed (extra 'cluster')")
    of = batch([line("a", 40, 40, 4)], [remnant("r", 85, 85), remnant("q", 200, 200)])

    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):
        found = plan_to(of, (0.0, 85 * 85, 1), client.get_executor())

    assert [of.pieces[p].id for p in found.groups[0].pieces] == ["r"]
