"""Pieces that wait and take the places of items: the books balance, and what is asked is never undercut."""

import math

import numpy as np
import pytest
from crowds import COMPILED
from shapely.geometry import box
from shapes import random_polygon

from nesting.search.kernels.arrays import Stock
from nesting.search.problem import Kind, Problem
from nesting.search.state import Crowd, Effort

EFFORT = Effort(passes=80, patience=40) if COMPILED else Effort(passes=1, patience=1, wide=2, near=1)
MOST = 3


def crowded(seed: int) -> tuple[Problem, Crowd, Stock]:
    """Two of each of eight kinds heaped on a plate, one of each waiting, and two places left empty."""
    rng = np.random.default_rng(seed)
    kinds = [Kind(polygon=random_polygon(rng), turns=None, most=MOST, may_flip=i % 2 == 0) for i in range(8)]
    side = math.sqrt(2.2 * sum(k.polygon.area for k in kinds))
    problem = Problem(kinds, box(0, 0, side, side))
    shapes = [problem.first_shape[i] for i in range(8) for _ in range(2)] + [problem.shapes.nothing] * 2
    poses = np.column_stack(
        [shapes, rng.uniform(0, side, 18), rng.uniform(0, side, 18), rng.uniform(0, 2 * math.pi, 18)]
    )
    stock = Stock(
        kind=np.append(problem.kind_of_shape, 8),
        first_shape=np.array([*problem.first_shape, problem.shapes.nothing], dtype=np.int64),
        waiting=np.array([1] * 6 + [0] * 2 + [100], dtype=np.int64),
        swaps=np.array([True] * 6 + [False] * 2 + [True]),
        worth=np.array([*problem.area, 0.0]),
        slack=np.array([0.1 * problem.area.sum()]),
    )
    return problem, Crowd(problem.shapes, poses, seed=seed, bounds=problem.region.bounds), stock


def kinds_in(problem: Problem, made: Crowd) -> np.ndarray:
    """How many of each kind are in a crowd."""
    there = made.items.shape[made.items.shape != problem.shapes.nothing]
    return np.bincount(problem.kind_of_shape[there], minlength=8)


@pytest.mark.parametrize("seed", range(6 if COMPILED else 1))
def test_the_books_balance(seed: int) -> None:
    problem, made, stock = crowded(seed)
    slack, waiting, before = stock.slack[0], stock.waiting.copy(), kinds_in(problem, made)

    made.separate(problem.region, EFFORT, stock=stock)

    after = kinds_in(problem, made)
    np.testing.assert_array_equal(after + stock.waiting[:8], before + waiting[:8])
    assert np.all(stock.waiting >= 0)
    assert stock.slack[0] == pytest.approx(slack + float((after - before) @ problem.area))
    assert stock.slack[0] >= -1e-6
    np.testing.assert_array_equal(after[6:], before[6:])


def test_pieces_do_come_in_and_go() -> None:
    """Over some seeds at least one kind has changed in number; without a stock none ever does."""
    if not COMPILED:
        return
    changed = 0
    for seed in range(4):
        problem, made, stock = crowded(seed)
        before = kinds_in(problem, made)
        made.separate(problem.region, EFFORT, stock=stock)
        changed += not np.array_equal(before, kinds_in(problem, made))
        problem, made, _ = crowded(seed)
        made.separate(problem.region, EFFORT)
        np.testing.assert_array_equal(before, kinds_in(problem, made))
    assert changed > 0
