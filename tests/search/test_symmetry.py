"""What looks alike is found to, and nothing else is."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Point, Polygon, box
from shapes import random_polygon, round_part
from strategies import corners

from nesting.search.symmetry import RELATIVE_TOLERANCE, Symmetry, symmetry

ARM = Polygon([(-5, -5), (60, -8), (60, 3), (40, 12), (0, 9)])
SEEDS = st.integers(0, 10_000)
ANGLES = st.floats(0.0, 360.0).map(lambda v: round(v, 6))


def wheel(fold: int) -> Polygon:
    """A lopsided arm, repeated all round: no mirror image of itself."""
    return shapely.union_all([affinity.rotate(ARM, 360 * i / fold, origin=(0, 0)) for i in range(fold)])


def mirrored(shape: Polygon) -> Polygon:
    return affinity.scale(shape, -1, 1, origin=shape.centroid)


def turned(shape: Polygon, turn: float) -> Polygon:
    return affinity.rotate(shape, math.degrees(turn), origin=shape.centroid)


@settings(max_examples=30)
@given(st.sampled_from([1, 2, 3, 4, 5, 6, 7, 8, 9, 12]), ANGLES, st.tuples(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4)))
def test_a_wheel_repeats_as_often_as_it_was_made_to(fold: int, turn: float, shift: tuple[float, float]) -> None:
    """Wherever it lies and however it is turned; and lopsided arms look alike from no other side."""
    shape = affinity.translate(affinity.rotate(wheel(fold), turn), *shift)

    assert symmetry(shape) == Symmetry(fold=fold)


@settings(max_examples=30)
@given(SEEDS)
def test_what_is_said_to_look_alike_does(seed: int) -> None:
    """By shapely's own measure of the farthest point, about the centroid."""
    shape = random_polygon(np.random.default_rng(seed))

    found = symmetry(shape)

    allowed = 2 * RELATIVE_TOLERANCE * math.hypot(shape.bounds[2] - shape.bounds[0], shape.bounds[3] - shape.bounds[1])
    again = turned(shape, 2 * math.pi / found.fold)
    assert shapely.hausdorff_distance(shape.boundary, again.boundary) <= allowed
    if found.mirror_turn is not None:
        alike = turned(shape, found.mirror_turn)
        assert shapely.hausdorff_distance(mirrored(shape).boundary, alike.boundary) <= allowed


@settings(max_examples=30)
@given(corners(), ANGLES)
def test_half_a_shape_and_its_mirror_image_are_found_out(points: list, turn: float) -> None:
    """Whatever the axis."""
    half = affinity.translate(Polygon(points), -Polygon(points).bounds[0] - 5.0, 0.0).intersection(
        box(0, -1e4, 1e4, 1e4)
    )
    whole = shapely.union_all([half, affinity.scale(half, -1, 1, origin=(0, 0))])
    assume(isinstance(whole, Polygon) and whole.is_valid)
    shape = affinity.rotate(whole, turn)

    found = symmetry(shape)

    assert found.mirror_turn is not None
    assert not found.flip_adds(None)


def test_a_hair_more_on_one_side_is_another_shape() -> None:
    """Exact fits depend on it: 0.01 mm on 100 mm tells a square from a rectangle."""
    assert symmetry(box(0, 0, 100, 100)).fold == 4
    assert symmetry(box(0, 0, 100, 100.01)).fold == 2


def test_a_hole_off_its_place_counts() -> None:
    plate = box(-50, -30, 50, 30)
    four = shapely.union_all([Point(x, y).buffer(5) for x in (-30, 30) for y in (-15, 15)])

    assert symmetry(plate.difference(four)).fold == 2
    assert symmetry(plate.difference(shapely.union_all([four, Point(10, 3).buffer(2)]))) == Symmetry()


def test_a_true_circle_is_round_and_a_washer_off_its_middle_is_not() -> None:
    disc = round_part("disc", 70.0).fine_polygon
    washer = Polygon(disc.exterior, [Point(1.0, 0).buffer(10, quad_segs=200).exterior])

    assert symmetry(disc, tolerance=0.001) == Symmetry(fold=36, round=True, mirror_turn=0.0)
    found = symmetry(washer, tolerance=0.001)
    assert (found.fold, found.round) == (1, False)
    assert not found.flip_adds(None)


def test_turns_that_look_alike_are_kept_once() -> None:
    quarter = [math.radians(a) for a in (0, 90, 180, 270)]

    assert symmetry(box(0, 0, 20, 10)).distinct(quarter) == pytest.approx(quarter[:2])
    assert symmetry(box(0, 0, 10, 10)).distinct(quarter) == (0.0,)
    assert symmetry(ARM).distinct(quarter) == tuple(quarter)
    assert Symmetry(fold=36, round=True, mirror_turn=0.0).distinct([0.3, 1.0]) == (0.3,)


def test_a_flip_adds_nothing_where_some_turn_looks_the_same() -> None:
    """A gable mirrored in x looks like itself; laid on its side it looks as it does turned half round."""
    gable = Polygon([(0, 0), (40, 0), (20, 70)])
    lying = affinity.rotate(gable, 90)

    assert not symmetry(gable).flip_adds([0.0])
    assert symmetry(lying).flip_adds([0.0])
    assert not symmetry(lying).flip_adds([0.0, math.pi])
    assert not symmetry(lying).flip_adds(None)
    assert symmetry(ARM).flip_adds(None)
