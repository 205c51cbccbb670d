"""Plainer outlines hold the true ones and reach no farther than said; checked by shapely."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon, box
from shapes import random_polygon

from nesting.search.coarse import outward
from nesting.search.problem import Kind, Problem


@given(st.integers(0, 10_000), st.floats(1e-4, 0.05))
def test_it_holds_the_polygon_and_reaches_no_farther_than_said(seed: int, share: float) -> None:
    polygon = random_polygon(np.random.default_rng(seed))
    tolerance = share * polygon.area**0.5

    plain = outward(polygon, tolerance)

    assert plain.is_valid
    assert polygon.difference(plain).area <= 1e-9 * polygon.area
    assert plain.difference(polygon.buffer(tolerance * 1.0005, quad_segs=64)).area <= 1e-9 * polygon.area
    assert shapely.get_num_coordinates(plain) <= shapely.get_num_coordinates(polygon)


def test_a_corner_that_moves_again_has_both_moves_counted() -> None:
    """By hand: without its chamfer the corner stands 0.9 out; lengthening the side below the bend adds 0.95 to that."""
    chamfer, slope = 0.9 * math.sqrt(2.0), 0.95 / 60
    polygon = Polygon(
        [(0, -60), (100 - 100 * slope, -60), (100, 40), (100, 100 - chamfer), (100 - chamfer, 100), (0, 100)]
    )

    plain = outward(polygon, 1.0)

    assert len(plain.exterior.coords) == len(polygon.exterior.coords) - 1
    assert plain.difference(polygon.buffer(1.0005, quad_segs=64)).area <= 1e-9 * polygon.area


def test_a_round_part_with_a_round_hole_needs_few_corners() -> None:
    """A tangent polygon of n sides stands out by r (1 / cos(pi / n) - 1): 18 sides for 2 % of the radius."""
    ring = Point(0, 0).buffer(100, quad_segs=90).difference(Point(0, 0).buffer(60, quad_segs=90))

    plain = outward(ring, 2.0)

    assert len(plain.exterior.coords) <= 41
    assert len(plain.interiors) == 1
    assert len(plain.interiors[0].coords) <= 41


@pytest.mark.parametrize(
    "polygon", [box(0, 0, 80, 40), Polygon([(0, 0), (90, 0), (90, 30), (30, 30), (30, 90), (0, 90)])]
)
def test_what_has_no_corner_to_spare_stays_as_it_is(polygon: Polygon) -> None:
    assert outward(polygon, 0.1).equals(polygon)


def test_poses_mean_the_same_with_plainer_outlines() -> None:
    kinds = [Kind(polygon=Point(40, 70).buffer(30, quad_segs=60), turns=None)]
    region = box(0, 0, 300, 300)
    plain, exact = Problem(kinds, region, plainer=0.01), Problem(kinds, region)
    row = np.array([0.0, 120.0, 90.0, 0.7])

    assert plain.pose(row) == exact.pose(row)
    assert len(plain.shapes.x) < len(exact.shapes.x)
    assert plain.extent(row.reshape(1, 4), 1.0, 0.0) >= exact.extent(row.reshape(1, 4), 1.0, 0.0) - 1e-9
