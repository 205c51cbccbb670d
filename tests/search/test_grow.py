"""Grown parts hold the exact offset, shrunk plates lie inside it: by shapely's own offset with very fine corners."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon, box
from shapes import random_polygon, rectangle

from nesting.search.grow import grown, shrunk, without_small_holes

DISTANCES = st.floats(0.1, 20.0)
SEEDS = st.integers(0, 10_000)


@given(SEEDS, DISTANCES)
def test_grown_holds_every_point_within_the_distance(seed: int, distance: float) -> None:
    polygon = random_polygon(np.random.default_rng(seed))

    bigger = grown(polygon, distance)

    assert bigger.covers(polygon)
    assert bigger.boundary.distance(polygon) >= distance * (1 - 1e-9)
    assert bigger.area <= polygon.buffer(1.25 * distance + 0.2).area


@given(SEEDS, DISTANCES)
def test_shrunk_keeps_the_distance_everywhere(seed: int, distance: float) -> None:
    polygon = random_polygon(np.random.default_rng(seed))

    inner = shrunk(polygon, distance)

    assert inner.is_empty or inner.distance(polygon.boundary) >= distance * (1 - 1e-9)
    assert inner.difference(polygon).area <= 1e-9 * polygon.area


@given(SEEDS, DISTANCES)
def test_a_convex_plate_moved_out_takes_grown_what_it_took(seed: int, distance: float) -> None:
    """Every side has moved out by as much, and no more; a plate of another shape is left as it is."""
    polygon = random_polygon(np.random.default_rng(seed))
    hull = polygon.convex_hull

    wider = shrunk(hull, -distance)

    corners, moved = np.asarray(hull.exterior.coords), np.asarray(wider.exterior.coords)
    for a, b in zip(corners, corners[1:], strict=False):
        along = (b - a) / np.hypot(*(b - a))
        # Hulls of shapely run clockwise: outside is on the left.
        beyond = ((moved - a) @ np.array([-along[1], along[0]])).max()
        assert beyond == pytest.approx(distance, rel=1e-6, abs=1e-6)
    assert wider.contains(hull)
    assert len(moved) == len(corners)
    if polygon.interiors:
        assert shrunk(polygon, -distance).equals(polygon)


def test_straight_sides_give_nothing_away() -> None:
    assert grown(box(0, 0, 200, 100), 2.5).bounds == pytest.approx((-2.5, -2.5, 202.5, 102.5), abs=1e-12)
    assert shrunk(box(0, 0, 2500, 1250), 7.5).equals(box(7.5, 7.5, 2492.5, 1242.5))
    assert grown(box(0, 0, 200, 100), 0.0).equals(box(0, 0, 200, 100))


def test_corners_shared_by_two_lines_count_once() -> None:
    """Else dropping them would pass for thinning and cost straight-sided parts a tenth of a millimetre all round."""
    drawn = rectangle("bar", 200.0, 100.0).placing_polygon

    assert grown(drawn, 2.5).bounds == pytest.approx((-2.5, -2.5, 202.5, 102.5), abs=1e-12)
    assert shapely.get_num_coordinates(grown(drawn, 0.0)) == 5


def test_holes_nothing_fits_into_are_filled() -> None:
    plate = box(0, 0, 100, 100)
    holed = plate.difference(shapely.union_all([box(10, 10, 20, 20), box(50, 50, 90, 90)]))

    plain = without_small_holes(holed, radius=10.0)

    assert [Polygon(ring).bounds for ring in plain.interiors] == [(50, 50, 90, 90)]
