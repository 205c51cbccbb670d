"""From kinds to arrays and back: where the kernels think an item is, its own polygon must be."""

import math

import numpy as np
import pytest
import shapely
from crowds import polygon_at
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, box
from shapes import random_polygon

from nesting.search.kernels.arrays import POLES
from nesting.search.problem import Kind, Problem, worst_overlap
from nesting.search.shapes import FREE_TURNS, centred, inscribed_circles, pack

SEEDS = st.integers(0, 10_000)
SIDES = st.floats(-500, 500)


@settings(max_examples=10)
@given(SEEDS, SIDES, SIDES, st.floats(0, 2 * math.pi), st.booleans())
def test_a_row_of_poses_is_the_same_place_for_kernel_and_polygon(
    seed: int, x: float, y: float, turn: float, flipped: bool
) -> None:
    polygon = random_polygon(np.random.default_rng(seed))
    problem = Problem([Kind(polygon=polygon, turns=None, may_flip=True)], box(0, 0, 10, 10))
    row = np.array([1.0 if flipped else 0.0, x, y, turn])

    pose = problem.pose(row)

    assert pose.flipped == flipped
    kernel, placed = polygon_at(problem.shapes, int(row[0]), x, y, turn), pose.geometry(polygon)
    assert kernel.symmetric_difference(placed).area < 1e-5 * polygon.length


@settings(max_examples=10)
@given(SEEDS)
def test_poles_lie_inside_and_runs_cover_their_edges(seed: int) -> None:
    polygon = random_polygon(np.random.default_rng(seed))
    problem = Problem([Kind(polygon=polygon, turns=None)], box(0, 0, 10, 10))
    shapes, own = pack(problem.shape_list), problem.shape_list[0].polygon

    row = slice(int(shapes.poles[0]))
    assert 1 <= row.stop <= POLES
    assert np.all(np.diff(shapes.pole_r[0, row]) <= 1e-6 * shapes.pole_r[0, 0])
    assert np.all(shapes.pole_r[0, row.stop :] == 0.0)
    for x, y, r in zip(shapes.pole_x[0, row], shapes.pole_y[0, row], shapes.pole_r[0, row], strict=True):
        assert own.boundary.distance(Point(x, y)) >= r * (1 - 1e-5) - 1e-5
        assert own.contains(Point(x, y))
    covered: set[int] = set()
    for c in range(len(shapes.run_r)):
        edges = range(shapes.run_first[c], shapes.run_last[c])
        covered |= set(edges)
        for e in edges:
            for v in (e, shapes.following[e]):
                assert math.hypot(shapes.x[v] - shapes.run_x[c], shapes.y[v] - shapes.run_y[c]) <= shapes.run_r[c]
    assert covered == set(range(len(shapes.x)))


def test_free_shapes_begin_square_with_the_axes() -> None:
    tilted = shapely.affinity.rotate(box(0, 0, 200, 30), 17.0)
    shapes = pack([centred(tilted, None)])

    x0, y0, x1, y1 = shapes.turn_box[0]
    assert len(shapes.turn) == FREE_TURNS // 2
    assert sorted((x1 - x0, y1 - y0)) == pytest.approx([30.0, 200.0])


def test_inscribed_circles_of_a_square_begin_with_its_own() -> None:
    circles = inscribed_circles(box(0, 0, 10, 10))

    assert circles[0] == pytest.approx([5.0, 5.0, 5.0], abs=0.01)


def test_worst_overlap_is_the_largest_common_area() -> None:
    assert worst_overlap([box(0, 0, 2, 2), box(1, 1, 3, 3), box(2, 0, 4, 1)]) == pytest.approx(1.0)
    assert worst_overlap([box(0, 0, 1, 1), box(1, 0, 2, 1)]) == 0.0
    assert worst_overlap([box(0, 0, 1, 1)]) == worst_overlap([]) == 0.0
