"""Measured points into lines and arcs: corners that are seen round, corners that are cut off, doubt about which."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from nesting.outline.photo.colours import Likely, hues
from nesting.outline.photo.pieces import Straightened, sharp_corners, straighten

SQUARE = box(0, 0, 300, 200)


def points(shape: Polygon, seed: int = 1) -> np.ndarray:
    ring = shapely.Polygon(shape.exterior.segmentize(0.5)).exterior
    at = np.arange(0.0, ring.length, 2.0)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(ring, at))
    xy = xy if ring.is_ccw else xy[::-1]
    return xy + np.random.default_rng(seed).normal(0.0, 0.05, xy.shape)


def seen_round() -> np.ndarray:
    return points(SQUARE.buffer(-14).buffer(14, quad_segs=32))


def straightened(xy: np.ndarray, level: float) -> Straightened:
    return straighten(xy, tolerance_mm=1.0, corner_mm=9.0, floor_at=lambda patch: level)  # noqa: ARG005


def test_a_corner_seen_round_is_sharp_where_the_picture_shows_plate():
    found = straightened(seen_round(), -2.0)
    assert len(found.contour.pieces) == 4
    assert found.contour.area_mm2 == pytest.approx(300 * 200, rel=0.002)
    assert len(sharp_corners(found)) == 4


def test_a_corner_that_the_picture_shows_no_plate_at_is_not_claimed():
    cut = SQUARE.intersection(Polygon([(15, 0), (300, 0), (300, 200), (0, 200), (0, 15)]))
    found = straightened(points(cut), 3.0)
    drawn = found.contour.polygon(0.05, "midway")
    assert drawn.difference(cut.buffer(2.5)).area < 1.0
    assert found.contour.area_mm2 == pytest.approx(cut.area, rel=0.01)


def test_a_corner_of_doubtful_colour_is_cut_off_and_told():
    sure, doubtful = straightened(seen_round(), -2.0), straightened(seen_round(), 0.5)
    assert doubtful.contour.area_mm2 < sure.contour.area_mm2
    assert doubtful.contour.polygon(0.05, "midway").difference(SQUARE.buffer(0.3)).area < 1.0
    assert doubtful.outward_mm > 14 * (math.sqrt(2) - 1) - 2.0 > sure.outward_mm  # how deep a rounded corner lies


@given(st.floats(0.3, 1.0), st.tuples(*[st.integers(40, 200)] * 3))
def test_hues_are_those_of_any_light(light: float, colour: tuple[int, int, int]):
    bright = np.array(colour, dtype=np.float64)
    assert hues(bright * light)[:2] == pytest.approx(hues(bright)[:2], abs=35.0)
    grey = np.full(3, float(colour[0]))
    assert hues(grey)[:2] == pytest.approx([0.0, 0.0])


def test_colours_tell_plate_from_floor_in_shadow_and_light():
    rng = np.random.default_rng(2)
    plate, floor = np.array([45.0, 85.0, 150.0]), np.array([150.0, 156.0, 160.0])
    light = rng.uniform(0.4, 1.0, (80, 100, 1))
    mask = np.arange(100)[None, :].repeat(80, axis=0) < 50
    scene = np.where(mask[..., None], plate, floor) * light + rng.normal(0, 2.0, (80, 100, 3))
    likely = Likely.learnt(hues(scene), mask, ~mask)
    assert likely.alike < 0.05
    assert likely.floor(hues(plate * 0.5)) < -1.0
    assert likely.floor(hues(floor * 0.5)) > 1.0
    picture = scene.clip(0, 255).astype(np.uint8)
    assert likely.floor_in(picture, np.array([(60, 20), (90, 20), (90, 50), (60, 50)], dtype=float)) > 1.0
    assert likely.floor_in(picture, np.array([(10, 20), (40, 20), (40, 50), (10, 50)], dtype=float)) < -1.0
    grey = Likely.learnt(hues(floor * light), mask, ~mask)
    assert grey.alike > 0.8
