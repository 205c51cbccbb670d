"""Edges that face one another: widths against shapely, whatever the shape's place."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from shapes import round_contour
from strategies import lengths, poses

from nesting.geometry.contour import Contour
from nesting.geometry.facing import edges_of, facing, narrowest, sharp_points, straight_edges
from nesting.geometry.pose import Pose

FRAME = Contour.of_rectangle(300.0, 200.0)


def test_edges_have_the_metal_on_their_left_and_close():
    edges = edges_of(FRAME, [round_contour((100, 100), 40)])
    doubled = np.sum(edges.start[:, 0] * edges.end[:, 1] - edges.end[:, 0] * edges.start[:, 1])
    assert doubled / 2 == pytest.approx(300 * 200 - math.pi * 400, rel=1e-4)
    for ring in (0, 1):
        own = edges.ring == ring
        np.testing.assert_allclose(edges.end[own], np.roll(edges.start[own], -1, axis=0))


@settings(max_examples=25)
@given(lengths(0.2, 4.9), poses())
def test_a_web_between_a_circle_and_an_edge_is_its_distance(web: float, pose: Pose):
    hole = round_contour((20 + web, 100), 40).posed(pose)
    (place,) = narrowest(facing(edges_of(FRAME.posed(pose), [hole]), 5.0, "metal"), 5.0)
    assert place.width_mm == pytest.approx(web, abs=0.005)
    assert math.dist(place.at, pose.point((web / 2, 100))) < 1.0
    assert sorted(place.rings) == [0, 1]


def test_metal_and_waste_are_told_apart():
    slotted = Contour.of_points([(0, 0), (100, 0), (100, 60), (53, 60), (53, 20), (50, 20), (50, 60), (0, 60)])
    edges = straight_edges(slotted, [])
    assert not facing(edges, 5.0, "metal", depth=0.0)
    (gap,) = facing(edges, 5.0, "waste", depth=0.0)
    assert (gap.width_mm, gap.length_mm) == (pytest.approx(3.0), pytest.approx(40.0))
    assert gap.at == pytest.approx((51.5, 40))


def test_a_step_as_wide_as_deep_is_no_narrow_place():
    stepped = Contour.of_points([(0, 0), (60, 0), (60, 20), (61, 20), (61, 21), (60, 21), (60, 40), (0, 40)])
    assert not facing(edges_of(stepped, []), 2.0, "metal")


@pytest.mark.parametrize("angle", [5.0, 29.0, 31.0, 90.0])
def test_points_under_thirty_degrees_are_sharp(angle: float):
    wedge = Contour.of_points([(0, 0), (100, 0), (100, 100 * math.tan(math.radians(angle)))])
    tips = [a for at, a in sharp_points(edges_of(wedge, [])) if at == (0.0, 0.0)]
    assert tips == ([pytest.approx(angle)] if angle < 30 else [])


def test_an_inside_corner_is_no_point():
    notched = Contour.of_points([(0, 0), (100, 0), (100, 100), (51, 100), (50, 20), (49, 100), (0, 100)])
    assert not sharp_points(edges_of(notched, []))
