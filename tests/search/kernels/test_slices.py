"""Neighbours found by slices are those found by looking at every item."""

import math

import numpy as np
from crowds import COMPILED
from shapely.geometry import box
from shapes import random_polygon

from nesting.search import region as region_arrays
from nesting.search.kernels.arrays import FAR
from nesting.search.kernels.compiled import lowest_bit
from nesting.search.kernels.pose import place, pose_loss, update_losses
from nesting.search.shapes import centred, pack
from nesting.search.state import Crowd

SIDE = 900.0
COUNT = 200 if COMPILED else 70  # more than one word of bits


def two_crowds() -> tuple[Crowd, Crowd]:
    """The same items, some of them not there or waiting far off: in slices, and all in one slice."""
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
    plain = Crowd(shapes, poses, seed=0, bounds=np.array([1e6, 1e6, 1e6 + 1.0, 1e6 + 1.0]))
    assert min(grid.items.slices.column.shape[1], grid.items.slices.row.shape[1]) > 10
    for made in (grid, plain):
        made.lay_out()
    return grid, plain


def test_losses_are_the_same_with_and_without_slices_while_items_move() -> None:
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


def test_the_bits_of_a_slice_are_the_items_whose_boxes_lie_across_it() -> None:
    grid, _ = two_crowds()
    rng = np.random.default_rng(7)
    for _ in range(COUNT):
        i, k = int(rng.integers(COUNT)), int(rng.integers(13))
        x, y = rng.uniform(-60, SIDE + 60, 2)
        place(i, k, x, y, 0.0, grid.shapes, grid.items, grid.scratch)
    slices, there = grid.items.slices, grid.items.box[:, 0] < 1e8
    for low, words in ((0, slices.column), (1, slices.row)):
        count = words.shape[1]
        # What lies outside the region counts to the slice at its side.
        first, last = (np.clip(grid.items.box[:, side] * count / SIDE, 0, count - 1) for side in (low, low + 2))
        for at in range(count):
            bits = {64 * w + b for w in range(len(words)) for b in range(64) if int(words[w, at]) >> b & 1}

            assert bits == {i for i in range(COUNT) if there[i] and int(first[i]) <= at <= int(last[i])}
    assert 0 < there.sum() < COUNT


def test_lowest_bit_is_that_of_whole_numbers() -> None:
    rng = np.random.default_rng(8)
    for bit in range(64):
        above = int(rng.integers(1 << 62)) << (bit + 1) & (1 << 64) - 1
        assert lowest_bit(np.uint64(1 << bit | above)) == bit


def test_items_may_become_larger_than_any_was_at_first() -> None:
    """A long part put where only small ones were is met by all that it reaches."""
    shapes = pack([centred(box(0, 0, 10, 10), None), centred(box(0, 0, 600, 4), None)])
    poses = np.array([[0.0, 15.0 * (i % 40) + 7, 15.0 * (i // 40) + 7, 0.0] for i in range(120)])
    made = Crowd(shapes, poses, seed=0, bounds=np.array([0.0, 0.0, SIDE, SIDE]))
    made.lay_out()
    region = region_arrays.pack(box(0, 0, SIDE, SIDE))

    place(119, 1, 310.0, 7.0, 0.0, shapes, made.items, made.scratch)
    update_losses(119, shapes, region, made.items, made.losses, made.scratch)
    place(0, 0, 600.0, 7.0, 0.0, shapes, made.items, made.scratch)
    update_losses(0, shapes, region, made.items, made.losses, made.scratch)

    assert made.losses.faults[119] == 40
    assert made.losses.pair[0, 119] > 0.0
