"""Width and length of shapes, against known figures and a slow, obvious version."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapes import random_polygon

from nesting.geometry.span import span


def test_known_shapes():
    assert span(shapely.box(5, 5, 305, 105)) == pytest.approx((100.0, math.hypot(300, 100)))
    # The least width of a triangle is its least height: of a 3-4-5 triangle 3 x 4 / 5.
    assert span(shapely.Polygon([(0, 0), (300, 0), (0, 400)])) == pytest.approx((240.0, 500.0))
    assert span(shapely.Polygon([(0, 0), (9, 0), (9, 1), (1, 1), (1, 9), (0, 9)]))[0] == pytest.approx(
        10 / math.sqrt(2)
    )


def test_of_several_pieces_it_is_that_of_all():
    two = shapely.union_all([shapely.box(0, 0, 10, 10), shapely.box(90, 0, 100, 10)])
    assert span(two) == pytest.approx((10.0, math.hypot(100, 10)))


@given(st.integers(0, 10_000))
def test_no_turn_is_narrower_and_no_two_points_are_farther(seed: int):
    shape = random_polygon(np.random.default_rng(seed))
    width, length = span(shape)
    xy = shapely.get_coordinates(shape)
    angles = np.radians(np.arange(0.0, 180.0, 0.25))
    extents = np.ptp(xy @ np.vstack([np.cos(angles), np.sin(angles)]), axis=0)
    assert width <= extents.min() + 1e-9
    assert extents.min() <= width + length * math.radians(0.25)
    assert length == pytest.approx(shapely.distance(shapely.points(xy)[:, None], shapely.points(xy)[None, :]).max())
