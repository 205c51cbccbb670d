"""Neighbours found by the grid are those found by looking at every item."""

import math

import numpy as np
from crowds import COMPILED
from shapely.geometry import box
from shapes import random_polygon

from nesting.search import region as region_arrays
from nesting.search.kernels.arrays import FAR
from nesting.search.kernels.pose import place, pose_loss, update_losses
from nesting.search.shapes import centred, pack
from nesting.search.state import GRID_FROM, Crowd

SIDE = 900.0
COUNT = GRID_FROM + (140 if COMPILED else 5)


def two_crowds() -> tuple[Crowd, Crowd]:
    """The same items, some of them not there or waiting far off: in a grid, and in a list."""
    rng = np.random.default_rng(5)
    shapes = pack([centred(random_polygon(rng), None) for _ in range(12)], with_nothing=True)
    poses = np.column_stack(
        [
            rng.integers(12, size=COUNT),
            rng.uniform(-50, SIDE + 50, COUNT),
            rng.uniform(-50, SIDE + 50, COUNT),
            rng.uniform(0, 2 * math.pi, COUNT),
        ]
    )
    poses[:3, 0] = shapes.nothing
    poses[3:6, 1:3] = FAR
    grid = Crowd(shapes, poses, seed=0, bounds=np.array([0.0, 0.0, SIDE, SIDE]))
    plain = Crowd(shapes, poses, seed=0)
    assert grid.items.buckets.columns > 1
    assert plain.items.buckets.columns == 0
    for made in (grid, plain):
        made.lay_out()
    return grid, plain


def test_losses_are_the_same_with_and_without_the_grid_while_items_move() -> None:
    region = region_arrays.pack(box(0, 0, SIDE, SIDE))
    grid, plain = two_crowds()
    rng = np.random.default_rng(6)
    for made in (grid, plain):
        for i in range(COUNT):
            update_losses(i, made.shapes, region, made.items, made.losses, made.scratch)
    for _ in range(400 if COMPILED else 3):
        i, k = int(rng.integers(COUNT)), int(rng.integers(13))
        x, y, turn = rng.uniform(-60, SIDE + 60), rng.uniform(-60, SIDE + 60), rng.uniform(0, 6.0)
        tried = []
        for made in (grid, plain):
            if k != made.shapes.nothing:
                tried.append(
                    pose_loss(i, k, x, y, turn, 1e300, made.shapes, region, made.items, made.losses, made.scratch)
                )
            place(i, k, x, y, turn, made.shapes, made.items, made.scratch)
            update_losses(i, made.shapes, region, made.items, made.losses, made.scratch)
        if tried:
            np.testing.assert_allclose(tried[0], tried[1], rtol=1e-9)

    np.testing.assert_allclose(grid.losses.pair, plain.losses.pair, rtol=1e-6)
    np.testing.assert_array_equal(grid.losses.faults, (grid.losses.pair > 0).sum(axis=1) + (grid.losses.edge > 0))
    np.testing.assert_array_equal(grid.losses.faults, plain.losses.faults)


def test_every_item_that_is_there_is_in_exactly_one_list() -> None:
    grid, _ = two_crowds()
    cells = grid.items.buckets
    met = []
    for first in cells.head:
        j = int(first)
        while j >= 0:
            met.append(j)
            j = int(cells.following[j])

    assert sorted(met) == [i for i in range(COUNT) if i >= 6]


def test_items_may_become_larger_than_any_was_at_first() -> None:
    """A long part put where only small ones were is met by all that it reaches."""
    shapes = pack([centred(box(0, 0, 10, 10), None), centred(box(0, 0, 600, 4), None)])
    poses = np.array([[0.0, 15.0 * (i % 40) + 7, 15.0 * (i // 40) + 7, 0.0] for i in range(GRID_FROM + 60)])
    made = Crowd(shapes, poses, seed=0, bounds=np.array([0.0, 0.0, SIDE, SIDE]))
    made.lay_out()
    region = region_arrays.pack(box(0, 0, SIDE, SIDE))

    place(GRID_FROM + 59, 1, 310.0, 7.0, 0.0, shapes, made.items, made.scratch)
    update_losses(GRID_FROM + 59, shapes, region, made.items, made.losses, made.scratch)
    place(0, 0, 600.0, 7.0, 0.0, shapes, made.items, made.scratch)
    update_losses(0, shapes, region, made.items, made.losses, made.scratch)

    assert made.losses.faults[GRID_FROM + 59] == 40
    assert made.losses.pair[0, GRID_FROM + 59] > 0.0
