"""The choice among columns against trying every choice, and bounds that hold."""

import itertools
from collections import Counter

import numpy as np
from batch_orders import batch, column, line, remnant, sheet
from hypothesis import given, settings
from hypothesis import strategies as st

from nesting.batch.columns import Column, Picked, Pool, trimmed
from nesting.batch.master import Guess, least_cost, pick, promising, short_prices
from nesting.batch.stock import Batch

SEEDS = st.integers(0, 10_000)


def random_case(seed: int) -> tuple[Batch, list[Column]]:
    rng = np.random.default_rng(seed)
    lines = [line(name, 10 + 5 * i, 20, int(rng.integers(1, 4)), later=i == 2) for i, name in enumerate("abc")]
    pieces = [remnant("r", 60, 60), remnant("q", 40, 80, weight=0.7), sheet("s", 100, 100, 50.0, 2)]
    of = batch(lines, pieces)
    columns = []
    for _ in range(7):
        counts = {n: int(rng.integers(0, 3)) for n in "abc"}
        if any(counts.values()):
            columns.append(column(of, int(rng.integers(3)), counts))
    return of, columns


@settings(max_examples=25)
@given(SEEDS)
def test_the_master_picks_what_trying_every_choice_picks(seed: int) -> None:
    of, columns = random_case(seed)

    found = pick(of, columns)

    choices = itertools.product(*(range(of.pieces[c.piece].count + 1) for c in columns))
    plans = []
    for times in choices:
        chosen = [c for c, n in zip(columns, times, strict=True) for _ in range(n)]
        used = Counter(c.piece for c in chosen)
        if all(n <= of.pieces[p].count for p, n in used.items()):
            plans.append(trimmed(of, chosen))
    best = min(plans, key=lambda p: tuple(round(x, 6) for x in p.score))
    assert not best.better_than(found), (best.score, found.score)
    assert not found.better_than(best), (best.score, found.score)


@given(SEEDS)
def test_trimming_makes_no_more_than_is_wanted_and_loses_nothing(seed: int) -> None:
    of, columns = random_case(seed)
    before = sum((c.counts for c in columns), Counter())

    after = trimmed(of, columns)

    for x in of.lines:
        assert after.made[x.id] == min(before[x.id], x.quantity)
    for c in after.columns:
        assert [p.number for p in c.layout.placements] == list(range(1, len(c.layout.placements) + 1))
        assert {d.part.id: d.quantity for d in c.layout.demands} == dict(c.counts)


def test_the_pool_keeps_what_holds_more() -> None:
    of = batch([line("a", 1, 1, 5), line("b", 1, 1, 5)], [remnant("r", 9, 9)])
    pool = Pool(of)

    assert pool.add(column(of, 0, {"a": 1}))
    assert pool.add(column(of, 0, {"a": 1, "b": 1}))
    assert not pool.add(column(of, 0, {"b": 1}))
    assert pool.add(column(of, 0, {"a": 3}))
    assert [dict(c.counts) for c in pool.of()] == [{"a": 1, "b": 1}, {"a": 3}]


def test_the_cheapest_set_that_may_do_is_tried_first_and_none_twice() -> None:
    of = batch([line("a", 10, 10, 8)], [remnant("small", 20, 20), remnant("large", 40, 40), sheet("s", 50, 50, 9.0)])
    guess = Guess(potential=(300.0, 1500.0, 2400.0), fits=(frozenset("a"),) * 3)

    first = promising(of, guess, below=None, tried=())
    second = promising(of, guess, below=None, tried=[Counter({1: 1})])
    plan = Picked(batch=of, columns=(column(of, 1, {"a": 8}),))

    assert first == Counter({1: 1})
    assert second == Counter({0: 1, 1: 1})
    assert promising(of, guess, below=plan, tried=()) is None
    assert promising(of, guess, below=plan, tried=(), roomiest=True) == Counter({0: 1})


def test_prices_are_high_for_what_the_columns_lack() -> None:
    """By hand: a is on the only column, b on none, so one more b would save all of its area, one more a nothing."""
    of = batch([line("a", 10, 10, 1), line("b", 20, 10, 1)], [remnant("r", 40, 40), remnant("q", 30, 30)])

    prices = short_prices(of, [column(of, 0, {"a": 1})], {0: 1, 1: 1})

    assert prices == {"a": 0.0, "b": 1.0}
    assert short_prices(of, [], {0: 1}) == {"a": 1.0, "b": 1.0}


def test_no_plan_stays_below_the_bound() -> None:
    of = batch(
        [line("a", 10, 10, 8)],
        [remnant("small", 20, 20), remnant("large", 40, 40, weight=0.5), sheet("s", 50, 50, 9.0)],
    )
    fits = (frozenset("a"),) * 3

    assert least_cost(of, [400.0, 1600.0, 2500.0], fits) == (0.0, 800.0)
    assert least_cost(of, [400.0, 200.0, 2500.0], fits) == (9.0, 0.0)


def test_a_set_of_no_pieces_is_never_tried() -> None:
    of = batch([line("then", 10, 10, 4, later=True)], [remnant("r", 100, 100)])
    guess = Guess(potential=(1e4,), fits=(frozenset({"then"}),))

    assert promising(of, guess, below=None, tried=()) == Counter({0: 1})
    assert promising(of, guess, below=Picked(batch=of), tried=()) is None
