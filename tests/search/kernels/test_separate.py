"""Separation: what it says is left is left, what it calls free shapely finds free, and the seed decides all."""

import math

import numpy as np
import pytest
from crowds import BOUNDS, COMPILED, crowd, outside, overlap, polygons_of
from shapely.geometry import box
from shapes import regions

from nesting.search import region as region_arrays
from nesting.search.kernels.arrays import Shapes
from nesting.search.kernels.compiled import random, random_normal
from nesting.search.kernels.pose import update_losses
from nesting.search.kernels.separate import anywhere, near_by
from nesting.search.problem import Kind, Problem
from nesting.search.state import Crowd, Effort

REGIONS = {name: (region, region_arrays.pack(region)) for name, region in regions().items()}
SHORT = Effort(passes=5, patience=5, wide=5, near=5) if COMPILED else Effort(passes=1, patience=1, wide=2, near=1)
EFFORT = Effort(passes=60, patience=30) if COMPILED else Effort(passes=1, patience=1, wide=2, near=1)


def piled(shapes: Shapes, name: str, rng: np.random.Generator, count: int, seed: int) -> Crowd:
    """Items heaped anywhere on a region."""
    x0, y0, x1, y1 = REGIONS[name][0].bounds
    kinds = rng.integers(len(shapes.radius), size=count)
    x, y, turns = rng.uniform(x0, x1, count), rng.uniform(y0, y1, count), rng.uniform(0, 2 * math.pi, count)
    return crowd(shapes, np.column_stack([kinds, x, y, turns]), seed=seed)


def total_afresh(made: Crowd, name: str) -> float:
    """The losses of a crowd's poses, summed, computed by nothing but the poses."""
    fresh = Crowd(made.shapes, made.poses, seed=0, bounds=BOUNDS)
    fresh.lay_out()
    for i in range(len(fresh.items.x)):
        update_losses(i, made.shapes, REGIONS[name][1], fresh.items, fresh.losses, fresh.scratch)
    return float(fresh.losses.edge.sum() + np.triu(fresh.losses.pair).sum())


@pytest.mark.parametrize("name", REGIONS)
@pytest.mark.parametrize("count", [4, 12])
def test_what_is_left_is_what_shapely_says(name: str, count: int, shapes: Shapes) -> None:
    """Nothing left means free by shapely; otherwise the figure is that of the poses it ends in."""
    rng = np.random.default_rng(41)
    for seed in range(2 if COMPILED else 1):
        made = piled(shapes, name, rng, count, seed)
        before = total_afresh(made, name)

        left = made.separate(REGIONS[name][1], EFFORT)

        assert left == pytest.approx(total_afresh(made, name), rel=1e-4)
        assert left <= before * (1 + 1e-4)
        polygons = polygons_of(made)
        words = [outside(p, REGIONS[name][0]) for p in polygons]
        words += [overlap(a, b) for i, a in enumerate(polygons) for b in polygons[:i]]
        if True in words:
            assert left > 0.0
        elif None not in words:
            assert left == 0.0


@pytest.mark.skipif(not COMPILED, reason="needs more passes than plain Python can take")
@pytest.mark.parametrize("name", ["box", "ell", "holes"])
def test_a_loose_heap_comes_apart(name: str, shapes: Shapes) -> None:
    """Four parts on a plate of ten times their size."""
    made = piled(shapes, name, np.random.default_rng(42), 4, 0)

    assert made.separate(REGIONS[name][1], Effort(passes=300, patience=100)) == 0.0


def test_same_seed_same_poses_other_seed_others(shapes: Shapes) -> None:
    """To the last bit."""
    poses = []
    for seed in (3, 3, 4):
        made = piled(shapes, "holes", np.random.default_rng(43), 10, seed)
        made.separate(REGIONS["holes"][1], SHORT)
        poses.append(made.poses)

    np.testing.assert_array_equal(poses[0], poses[1])
    assert not np.array_equal(poses[0], poses[2])


def test_the_stop_flag_ends_it_before_the_first_pass(shapes: Shapes) -> None:
    """Nothing moves, and what is left is still told."""
    made = piled(shapes, "holes", np.random.default_rng(44), 10, 0)
    before = made.poses
    made.counters[2] = 1

    left = made.separate(REGIONS["holes"][1], EFFORT)

    np.testing.assert_array_equal(made.poses, before)
    assert made.counters[1] == 0
    assert left == pytest.approx(total_afresh(made, "holes"), rel=1e-4)


def test_turns_and_sides_stay_among_those_allowed() -> None:
    """Listed turns to the last bit; a shape that may not be flipped never is."""
    kinds = [
        Kind(polygon=box(0, 0, 90, 40), turns=(0.0, math.pi / 2)),
        Kind(polygon=box(0, 0, 50, 20), turns=(0.3,), may_flip=True),
    ]
    problem = Problem(kinds, box(0, 0, 220, 200))
    poses = [(problem.first_shape[i % 2], 110.0, 100.0, (0.0, 0.3)[i % 2]) for i in range(10)]
    made = crowd(problem.shapes, poses)

    made.separate(problem.region, EFFORT)

    assert set(made.items.shape[::2]) == {0}
    assert set(made.items.shape[1::2]) <= {1, 2}
    assert set(made.items.turn[::2]) <= {0.0, math.pi / 2}
    assert set(made.items.turn[1::2]) == {0.3}


def test_random_poses_lie_within_the_region_s_box(shapes: Shapes) -> None:
    """Listed turns: the box of the shape, too; and within the limit along x."""
    problem = Problem([Kind(polygon=box(0, 0, 90, 40), turns=(0.0, math.pi / 2))], box(0, 0, 300, 200))
    made = crowd(problem.shapes, [(0, 150.0, 100.0, 0.0)], seed=9)
    within = problem.region_within(1.0, 0.0, 180.0)
    for _ in range(500):
        x, y, turn = anywhere(0, made.shapes, within, made.random)
        w, h = (90, 40) if turn == 0.0 else (40, 90)
        assert w / 2 - 1e-9 <= x <= 180 - w / 2 + 1e-9
        assert h / 2 - 1e-9 <= y <= 200 - h / 2 + 1e-9
        assert near_by(0, 0, made.shapes, made.items, made.random)[2] in (0.0, math.pi / 2)


def test_random_numbers_are_even() -> None:
    """Mean, spread and bounds of the streams, on many draws."""
    state = np.array([12345], dtype=np.uint64)
    count = 20000 if COMPILED else 2000
    even = np.array([random(state) for _ in range(count)])
    normal = np.array([random_normal(state) for _ in range(count)])

    assert even.min() >= 0.0 and even.max() < 1.0
    assert even.mean() == pytest.approx(0.5, abs=0.03)
    assert even.std() == pytest.approx(math.sqrt(1 / 12), abs=0.02)
    assert normal.mean() == pytest.approx(0.0, abs=0.08)
    assert normal.std() == pytest.approx(1.0, abs=0.08)
