"""Settling: never into overlap, never out of the region, and as far along the pull as told."""

import math

import numpy as np
import pytest
from crowds import COMPILED, TINY_MM, crowd, polygons_of, thick
from shapely.geometry import box
from shapes import regions

from nesting.search import region as region_arrays
from nesting.search.kernels.arrays import Shapes
from nesting.search.problem import Kind, Problem
from nesting.search.state import Crowd

REGIONS = {name: (region, region_arrays.pack(region)) for name, region in regions().items()}
TRIES = 1000 if COMPILED else 30
FAR = 1e9


def settled(shapes: Shapes, name: str, seed: int, pull: tuple[float, float, float, float]) -> tuple[Crowd, list[int]]:
    """Items put down one after the other, and the indices of those that found a place."""
    kinds = np.random.default_rng(seed).integers(len(shapes.radius), size=20 if COMPILED else 3)
    made = crowd(shapes, [(k, FAR, FAR, 0.0) for k in kinds], seed=seed)
    placed = [i for i in range(len(kinds)) if made.settle(i, REGIONS[name][1], pull, TRIES)]
    return made, placed


@pytest.mark.parametrize("pull", [(0.0, 1.0, 0.0, 0.05), (0.05, 0.0, 1.0, 0.0)])
@pytest.mark.parametrize("name", REGIONS)
def test_settled_items_are_free_and_inside(name: str, pull: tuple[float, float, float, float], shapes: Shapes) -> None:
    """By shapely, to a millionth of a millimetre."""
    made, placed = settled(shapes, name, 51, pull)
    polygons = polygons_of(made)
    region = REGIONS[name][0]

    assert len(placed) >= 10 or not COMPILED
    for n, i in enumerate(placed):
        assert not thick(polygons[i].difference(region))
        assert all(not thick(polygons[i].intersection(polygons[j])) for j in placed[:n])
    waiting = set(range(len(polygons))) - set(placed)
    assert all(made.items.x[i] == FAR for i in waiting)


def test_same_seed_same_place(shapes: Shapes) -> None:
    """To the last bit."""
    first, _ = settled(shapes, "holes", 52, (0.0, 1.0, 0.0, 1.0))
    second, _ = settled(shapes, "holes", 52, (0.0, 1.0, 0.0, 1.0))

    np.testing.assert_array_equal(first.poses, second.poses)


@pytest.mark.parametrize(
    ("pull", "side"), [((0, 1, 0, 0.05), 0), ((1, 0, 0.05, 0), 2), ((0, 0.05, 0, 1), 1), ((0.05, 0, 1, 0), 3)]
)
def test_the_pull_names_the_side(pull: tuple[float, float, float, float], side: int) -> None:
    """Alone on a rectangle an item goes all the way: reach to the right is what is made small, and so on."""
    problem = Problem([Kind(polygon=box(0, 0, 30, 20), turns=(0.0,))], box(0, 0, 300, 200))
    made = crowd(problem.shapes, [(0, FAR, FAR, 0.0)])

    assert made.settle(0, problem.region, pull, TRIES)

    x0, y0, x1, y1 = made.items.box[0]
    assert (x0, y0, 300 - x1, 200 - y1)[side] == pytest.approx(0.0, abs=0.05)


def test_no_room_is_no_place() -> None:
    """A second item on a plate as large as one finds nothing and stays where it waits."""
    problem = Problem([Kind(polygon=box(0, 0, 30, 20), turns=(0.0,), most=2)], box(0, 0, 31, 21))
    made = crowd(problem.shapes, [(0, 15.5, 10.5, 0.0), (0, FAR, FAR, 0.0)])

    assert not made.settle(1, problem.region, (0.0, 1.0, 0.0, 1.0), TRIES)
    assert made.items.x[1] == FAR


def test_free_turns_stay_free_of_overlap_after_the_slide() -> None:
    """Bars dropped into a corner pocket, turned as the slide likes."""
    problem = Problem([Kind(polygon=box(0, 0, 80, 6), turns=None, most=6)], box(0, 0, 120, 60))
    made = crowd(problem.shapes, [(0, FAR, FAR, 0.0)] * 6, seed=2)

    placed = [i for i in range(6) if made.settle(i, problem.region, (0.0, 1.0, 0.0, 1.0), TRIES)]

    polygons = [polygons_of(made)[i] for i in placed]
    assert len(placed) >= 2
    assert all(not thick(a.intersection(b)) for n, a in enumerate(polygons) for b in polygons[:n])
    assert all(box(-TINY_MM, -TINY_MM, 120 + TINY_MM, 60 + TINY_MM).covers(p) for p in polygons)
    assert all(math.isfinite(t) for t in made.items.turn)
