"""Compaction moves everything as far as it goes, and makes nothing overlap."""

import math

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon
from shapes import random_polygon

from nesting.search.compact import compacted, mended
from nesting.search.crew import Crew
from nesting.search.fill import PULLS, Fill
from nesting.search.problem import Kind, Problem, worst_overlap

LEFT = (1.0, 0.0)
RIGHT_TRIANGLE = Polygon([(0, 0), (10, 0), (0, 10)])


def rows(problem: Problem, *places: tuple[int, float, float]) -> np.ndarray:
    """Poses that put the polygon of each kind, as drawn, at a place."""
    return np.array([[k, *(np.array((x, y)) + problem.shape_list[k].shift), 0.0] for k, x, y in places])


def test_loose_squares_end_in_a_row() -> None:
    """Value by hand: three of 10 in a lane 10 high reach 30."""
    problem = Problem([Kind(polygon=shapely.box(0, 0, 10, 10), turns=(0.0,), most=3)], shapely.box(0, 0, 100, 10))
    poses = rows(problem, (0, 5, 0), (0, 31, 0), (0, 70, 0))

    moved = compacted(problem, poses, LEFT, seconds=5.0)

    assert problem.extent(moved, *LEFT) == pytest.approx(30.0, abs=1e-5)
    assert problem.is_legal(problem.placed_polygons(moved))


def test_a_call_to_stop_is_heard_between_moves() -> None:
    problem = Problem([Kind(polygon=shapely.box(0, 0, 10, 10), turns=(0.0,))], shapely.box(0, 0, 100, 10))
    poses = rows(problem, (0, 70, 0))
    answers = iter([False, False, True])

    moved = compacted(problem, poses, LEFT, seconds=math.inf, should_stop=lambda: next(answers))

    assert problem.extent(poses, *LEFT) > problem.extent(moved, *LEFT) > 10.0


def test_sloping_sides_slide_along_one_another() -> None:
    """Two right triangles that make a square of 10: one has to go up while it goes in."""
    other = shapely.affinity.rotate(RIGHT_TRIANGLE, 180, origin=(5, 5))
    problem = Problem(
        [Kind(polygon=RIGHT_TRIANGLE, turns=(0.0,)), Kind(polygon=other, turns=(0.0,))], shapely.box(0, 0, 60, 12)
    )
    poses = rows(problem, (0, 3, 1), (1, 15, 0))

    moved = compacted(problem, poses, LEFT, seconds=5.0)

    assert problem.extent(moved, *LEFT) == pytest.approx(10.0, abs=1e-5)
    assert problem.is_legal(problem.placed_polygons(moved))


def test_a_hole_of_the_plate_stops_what_lies_beyond() -> None:
    region = shapely.box(0, 0, 100, 10).difference(shapely.box(40, 2, 50, 8))
    problem = Problem([Kind(polygon=shapely.box(0, 0, 10, 10), turns=(0.0,))], region)

    moved = compacted(problem, rows(problem, (0, 80, 0)), LEFT, seconds=5.0)

    assert problem.extent(moved, *LEFT) == pytest.approx(60.0, abs=1e-5)


@pytest.mark.parametrize("seed", range(4))
def test_any_layout_stays_legal_and_reaches_no_farther(seed: int) -> None:
    """Odd parts, turned any way, on a plate with a hole; pulled at a slant."""
    rng = np.random.default_rng(seed)
    region = Polygon([(0, 0), (900, 50), (1000, 600), (100, 700)]).difference(shapely.Point(500, 300).buffer(80))
    kinds = [Kind(polygon=random_polygon(rng), turns=None, most=2) for _ in range(8)]
    problem = Problem(kinds, region)
    crew = Crew(seed=seed, seconds=1.0, steps=1, threads=1)
    poses = Fill(problem, crew).greedy_once(PULLS[0], rng).poses
    assert len(poses) > 4
    away = (math.cos(seed), math.sin(seed))

    moved = compacted(problem, poses, away, seconds=5.0)

    assert problem.extent(moved, *away) < problem.extent(poses, *away)
    assert problem.is_legal(problem.placed_polygons(moved))
    np.testing.assert_array_equal(moved[:, [0, 3]], poses[:, [0, 3]])


def test_what_overlaps_a_little_is_moved_apart_exactly() -> None:
    """Squares of 10 in a lane 20 high: one 0.001 into the one below it, one 0.002 out of the lane."""
    problem = Problem([Kind(polygon=shapely.box(0, 0, 10, 10), turns=(0.0,), most=3)], shapely.box(0, 0, 50, 20))

    moved = mended(problem, rows(problem, (0, 3, 0), (0, 3, 9.999), (0, 20, 10.002)), LEFT, seconds=5.0)

    assert moved is not None
    lowest = [p.bounds[1] for p in problem.placed_polygons(moved)]
    np.testing.assert_allclose(lowest, (0.0, 10.0, 10.0), atol=1e-6)
    assert worst_overlap(problem.placed_polygons(moved)) < 1e-5


def test_what_small_moves_cannot_mend_is_refused() -> None:
    """Three squares of 10 never lie one above another in a lane 29 high."""
    problem = Problem([Kind(polygon=shapely.box(0, 0, 10, 10), turns=(0.0,), most=3)], shapely.box(0, 0, 50, 29))

    assert mended(problem, rows(problem, (0, 3, 0), (0, 3, 9.5), (0, 3, 19)), LEFT, seconds=5.0) is None
