"""Convex pieces are convex, lie side by side, and together are the polygon."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from shapely.geometry import Polygon
from shapes import comb, frame, ring, star, star_with_holes
from strategies import polygons

from nesting.search.convex import convex_pieces


def agrees(polygon: Polygon) -> None:
    pieces = [Polygon(p) for p in convex_pieces(polygon)]
    scale = polygon.area
    assert all(p.exterior.is_ccw for p in pieces)
    assert all(p.convex_hull.area - p.area <= 1e-9 * scale for p in pieces)
    assert sum(p.area for p in pieces) == pytest.approx(scale, rel=1e-9)
    assert shapely.union_all(pieces).symmetric_difference(polygon).area <= 1e-9 * scale


@given(polygons())
def test_pieces_of_any_polygon(polygon: Polygon) -> None:
    agrees(polygon)


@pytest.mark.parametrize("make", [star, star_with_holes, frame, ring, comb])
def test_pieces_of_hard_polygons(make) -> None:
    for seed in range(5):
        agrees(make(np.random.default_rng(seed)))


def test_what_is_convex_stays_whole() -> None:
    """A regular polygon is not left in triangles; an L is two rectangles."""
    assert len(convex_pieces(shapely.Point(0, 0).buffer(10))) == 1
    assert len(convex_pieces(shapely.box(0, 0, 2, 1).union(shapely.box(0, 0, 1, 2)))) == 2
