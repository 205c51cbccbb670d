"""The flip, turn and shift keep lengths and go the way the glossary says."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from strategies import points, polygons, poses

from nesting.geometry.pose import Point, Pose


@given(points(), points(), poses())
def test_distances_stay(a: Point, b: Point, pose: Pose) -> None:
    assert math.dist(pose.point(a), pose.point(b)) == pytest.approx(math.dist(a, b), abs=1e-8)


@given(polygons(), poses())
def test_polygon_keeps_its_area_and_changes_hand_only_if_flipped(polygon: shapely.Polygon, pose: Pose) -> None:
    moved = pose.geometry(polygon)

    assert moved.area == pytest.approx(polygon.area, rel=1e-9)
    assert (moved.exterior.is_ccw == polygon.exterior.is_ccw) != pose.flipped


@given(points(), poses())
def test_one_point_and_many_and_vectors_agree(point: Point, pose: Pose) -> None:
    np.testing.assert_allclose(pose.points([point])[0], pose.point(point), atol=1e-9)
    ox, oy = pose.point((0.0, 0.0))
    vx, vy = pose.vector(point)
    np.testing.assert_allclose((ox + vx, oy + vy), pose.point(point), atol=1e-9)


@given(points(), poses())
def test_a_point_maps_back(point: Point, pose: Pose) -> None:
    np.testing.assert_allclose(pose.drawn_point(pose.point(point)), point, atol=1e-8)


@given(poses(), points())
def test_direction_follows_the_vector(pose: Pose, vector: Point) -> None:
    angle = math.atan2(vector[1], vector[0])
    turned = math.radians(pose.direction_deg(math.degrees(angle)))
    length = math.hypot(*vector)

    np.testing.assert_allclose(pose.vector(vector), (length * math.cos(turned), length * math.sin(turned)), atol=1e-9)


def test_flip_comes_before_turn_and_turn_before_shift() -> None:
    pose = Pose(flipped=True, turn_deg=90.0, x_mm=100.0, y_mm=200.0)

    # (3, 1) mirrors to (-3, 1), turns to (-1, -3), shifts to (99, 197).
    assert pose.point((3.0, 1.0)) == (99.0, 197.0)


@pytest.mark.parametrize("turn_deg", [-270.0, 90.0, 450.0])
def test_quarter_turns_are_exact(turn_deg: float) -> None:
    assert Pose(turn_deg=turn_deg).point((7.0, 0.1)) == (-0.1, 7.0)
