"""A pose's loss is zero exactly if shapely finds it free, and giving up early never makes a bad pose look good."""

import math

import numpy as np
import pytest
from crowds import BOUNDS, COMPILED, crowd, examples, outside, overlap, polygon_at, polygons_of, put
from shapes import regions

from nesting.search import region as region_arrays
from nesting.search.kernels.arrays import Losses, Shapes
from nesting.search.kernels.pose import pose_loss, update_losses, weighted_loss
from nesting.search.state import Crowd

REGIONS = {name: (region, region_arrays.pack(region)) for name, region in regions().items()}


def scattered(shapes: Shapes, name: str, rng: np.random.Generator, count: int = 9) -> Crowd:
    """Items here and there on a region, with weights of all sizes."""
    x0, y0, x1, y1 = REGIONS[name][0].bounds
    kinds = rng.integers(len(shapes.radius), size=count)
    turns = rng.uniform(0, 2 * math.pi, count)
    made = crowd(shapes, np.column_stack([kinds, rng.uniform(x0, x1, count), rng.uniform(y0, y1, count), turns]))
    weights = rng.uniform(1.0, 30.0, (count, count))
    made.losses.pair_weight[:] = weights + weights.T
    made.losses.edge_weight[:] = rng.uniform(1.0, 30.0, count)
    return made


def random_pose(made: Crowd, name: str, rng: np.random.Generator) -> tuple[int, float, float, float]:
    """A pose within the region's box."""
    x0, y0, x1, y1 = REGIONS[name][0].bounds
    k = int(rng.integers(len(made.shapes.radius)))
    return k, rng.uniform(x0, x1), rng.uniform(y0, y1), rng.uniform(0, 2 * math.pi)


def loss_of(made: Crowd, name: str, pose: tuple[int, float, float, float], bound: float) -> float:
    """Loss of item 0 in a pose."""
    arrays = REGIONS[name][1]
    return float(pose_loss(0, *pose, bound, made.shapes, arrays, made.items, made.losses, made.scratch))


@pytest.mark.parametrize("name", REGIONS)
def test_loss_is_zero_if_and_only_if_free(name: str, shapes: Shapes) -> None:
    """Free of all other items and inside the region, by shapely; the item's own old place does not count."""
    rng = np.random.default_rng(31)
    seen = {True: 0, False: 0}
    for _ in range(examples(60)):
        made = scattered(shapes, name, rng)
        others = polygons_of(made)[1:]
        for _ in range(25 if COMPILED else 2):
            pose = random_pose(made, name, rng)
            polygon = polygon_at(shapes, *pose)
            words = [outside(polygon, REGIONS[name][0]), *(overlap(polygon, other) for other in others)]
            if None in words:
                continue
            free = not any(words)

            assert (loss_of(made, name, pose, 1e300) == 0.0) == free, pose
            assert (loss_of(made, name, pose, 0.0) == 0.0) == free, pose
            seen[free] += 1
    assert not COMPILED or min(seen.values()) > 0, seen


@pytest.mark.parametrize("name", ["holes", "far off"])
def test_giving_up_early_never_returns_a_figure_within_the_bound_wrongly(name: str, shapes: Shapes) -> None:
    """At or below the bound the figure is the whole loss; above it, the whole loss is above it too."""
    rng = np.random.default_rng(32)
    given_up = 0
    for _ in range(examples(100)):
        made = scattered(shapes, name, rng, count=15)
        for _ in range(10):
            pose = random_pose(made, name, rng)
            whole = loss_of(made, name, pose, 1e300)
            bound = whole * rng.uniform(0.0, 1.5)

            found = loss_of(made, name, pose, bound)

            if found <= bound:
                assert found == pytest.approx(whole, rel=1e-6)
            else:
                assert whole > bound * (1 - 1e-6)
                given_up += found < whole * (1 - 1e-6)
    assert given_up > examples(100) / 10


@pytest.mark.parametrize("name", REGIONS)
def test_recorded_losses_are_those_computed_afresh(name: str, shapes: Shapes) -> None:
    """After many moves the record is what a fresh look says, symmetric, and above zero just where shapely says so."""
    rng = np.random.default_rng(33)
    region, arrays = REGIONS[name]
    made = scattered(shapes, name, rng)
    for i in range(len(made.items.x)):
        update_losses(i, shapes, arrays, made.items, made.losses, made.scratch)
    for _ in range(examples(60)):
        i = int(rng.integers(len(made.items.x)))
        put(made, i, *random_pose(made, name, rng))
        update_losses(i, shapes, arrays, made.items, made.losses, made.scratch)

    fresh = Crowd(shapes, made.poses, seed=0, bounds=BOUNDS)
    fresh.lay_out()
    for i in range(len(made.items.x)):
        update_losses(i, shapes, arrays, fresh.items, fresh.losses, fresh.scratch)
    np.testing.assert_allclose(made.losses.pair, fresh.losses.pair, rtol=1e-4)
    np.testing.assert_allclose(made.losses.edge, fresh.losses.edge, rtol=1e-9)
    np.testing.assert_array_equal(made.losses.pair, made.losses.pair.T)
    polygons = polygons_of(made)
    for i, a in enumerate(polygons):
        assert outside(a, region) in (made.losses.edge[i] > 0.0, None)
        for j, b in enumerate(polygons[:i]):
            assert overlap(a, b) in (made.losses.pair[i, j] > 0.0, None), (i, j)


def test_the_record_and_a_try_of_the_same_pose_agree(shapes: Shapes) -> None:
    """Weighted loss from the record = loss of trying the pose the item is in."""
    rng = np.random.default_rng(34)
    for _ in range(examples(50)):
        made = scattered(shapes, "holes", rng)
        update_losses(0, shapes, REGIONS["holes"][1], made.items, made.losses, made.scratch)
        k, x, y, turn = made.poses[0]

        tried = loss_of(made, "holes", (int(k), x, y, turn), 1e300)

        assert weighted_loss(0, made.losses) == pytest.approx(tried, rel=1e-6)


def test_weighted_loss_is_the_weighted_sum() -> None:
    """By numbers small enough to do by hand."""
    losses = Losses(
        pair=np.array([[0.0, 2.0], [2.0, 0.0]]),
        edge=np.array([3.0, 0.0]),
        pair_weight=np.array([[1.0, 5.0], [5.0, 1.0]]),
        edge_weight=np.array([7.0, 1.0]),
        faults=np.array([2, 1]),
        heavy=np.array([[0, 1]]),
        heavies=np.array([1]),
    )

    assert weighted_loss(0, losses) == 31.0
    assert weighted_loss(1, losses) == 10.0
