"""What is due and has no place when time is up."""

from collections import Counter
from collections.abc import Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import replace
from datetime import date

import pytest
from batch_orders import batch, line, plate, remnant, sheet

from nesting.batch import rest
from nesting.batch.columns import Picked
from nesting.batch.knowledge import Knowledge
from nesting.batch.plan import plan
from nesting.batch.planner import Planner
from nesting.batch.rest import laid_quickly
from nesting.batch.stock import Batch, StockPiece
from nesting.check import check_layout
from nesting.search.engine import load_kernels


@pytest.fixture(scope="module")
def thread() -> Iterator[Executor]:
    load_kernels()
    with ThreadPoolExecutor(1) as pool:
        yield pool


def never() -> bool:
    return False


def graded(name: str, grade: str, price: float, count: int) -> StockPiece:
    """A sheet of 100 x 100 mm."""
    return replace(sheet(name, 100, 100, price, count), plate=plate(name, 100, 100, grade=grade), unlimited=True)


def two_grades() -> Batch:
    """Of the cheaper sheets there are more than the whole order could need, and they serve one line alone."""
    lines = [line("a", 40, 40, 8, grade="JR"), line("b", 60, 60, 3, grade="J2"), line("any", 20, 20, 4)]
    return batch(lines, [graded("JR", "JR", 10.0, 40), graded("J2", "J2", 20.0, 40)])


def test_with_no_time_at_all_every_line_due_has_a_place(thread: Executor) -> None:
    of = two_grades()

    found = plan(of, seconds=0.0, executor=thread, workers=1)

    (group,) = found.groups
    assert group.short == {}
    assert found.untried == frozenset()
    assert all(check_layout(c.layout).passed for c in group.columns)
    assert [of.pieces[p].id for p in group.pieces].count("J2") == 3


def test_the_first_plans_reach_the_only_sheet_that_serves_a_line() -> None:
    of = two_grades()
    planner = Planner(of, seconds=60.0, workers=1, seed=0, progress=lambda: 0.0)

    order = planner._ordered(by_size=True)

    assert {of.pieces[p].id for p in order} == {"JR", "J2"}


def test_only_what_is_due_is_laid_and_no_piece_is_cut_twice() -> None:
    lines = [line("now", 60, 60, 3), line("then", 30, 30, 5, later=True)]
    of = batch(lines, [remnant("r", 70, 70), sheet("s", 100, 100, 5.0, 4)])
    known = Knowledge(of)

    found = laid_quickly(known, Picked(batch=of), should_stop=never)

    counts: Counter[str] = sum((c.counts for c in found.columns), Counter())
    assert counts == Counter(now=3)
    assert Counter(of.pieces[c.piece].id for c in found.columns) == Counter(r=1, s=2)


def test_equal_sheets_are_laid_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    laid = rest.lay_quickly
    monkeypatch.setattr(rest, "lay_quickly", lambda task: asked.append(task) or laid(task))
    of = batch([line("a", 60, 60, 50)], [sheet("s", 100, 100, 5.0, 60)])

    found = laid_quickly(Knowledge(of), Picked(batch=of), should_stop=never)

    assert len(found.columns) == 50
    assert len(asked) == 1


def test_a_sheet_that_comes_in_time_goes_before_a_cheaper_one() -> None:
    cheap = sheet("cheap", 99, 99, 5.0, comes=date(2026, 12, 9))
    of = batch(
        [line("a", 80, 80, due=date(2026, 11, 30))], [cheap, sheet("dear", 99, 99, 50.0, comes=date(2026, 11, 27))]
    )

    found = laid_quickly(Knowledge(of), Picked(batch=of), should_stop=never)

    assert [of.pieces[c.piece].id for c in found.columns] == ["dear"]


def test_leftovers_that_there_was_no_time_for_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rest, "REMNANTS_S", -1.0)
    of = batch([line("a", 60, 60, 3)], [remnant("r", 100, 100), sheet("s", 100, 100, 5.0, 2)])

    found = laid_quickly(Knowledge(of), Picked(batch=of), should_stop=never)

    assert [of.pieces[c.piece].id for c in found.columns] == ["s", "s"]
    assert found.untried == {"a"}


@pytest.mark.parametrize("due", [None, 500.0], ids=["nothing due", "what is due fits nowhere"])
def test_a_group_in_which_nothing_due_can_be_made_opens_nothing_and_ends(
    due: float | None, thread: Executor
) -> None:  # fmt: skip
    lines = [line("then", 30, 30, 4, later=True)]
    lines += [line("now", due, due)] if due is not None else []
    of = batch(lines, [remnant("r", 200, 200), sheet("s", 200, 200, 5.0)])

    found = plan(of, seconds=3.0, executor=thread, workers=1)

    assert [g.columns for g in found.groups] == [()]
    assert found.seconds < 3.0 or due is not None
