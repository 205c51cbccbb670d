"""Parts as the kernels see them: nothing of the outline lost, circles that hold what they say they hold."""

import math

import numpy as np
import pytest
import shapely
import shapely.affinity
from crowds import polygon_at
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon, box
from shapes import random_polygon

from nesting.geometry.pose import Pose
from nesting.search.kernels.arrays import POLES
from nesting.search.shapes import FREE_TURNS, RUN_EDGES, Shape, centred, edge_runs, inscribed_circles, pack
from nesting.search.symmetry import symmetry

TURNS = st.lists(st.floats(0.0, 6.28), min_size=1, max_size=4)
SEEDS = st.integers(0, 10_000)
PLATE = box(0, 0, 80, 40).difference(shapely.union_all([box(5, 5, 15, 15), box(40, 10, 70, 30)]))


def random_shapes(seed: int, turns: list[float] | None) -> list[Shape]:
    """Three shapes of all kinds."""
    rng = np.random.default_rng(seed)
    return [centred(random_polygon(rng), None if turns is None else tuple(turns)) for _ in range(3)]


@settings(max_examples=20)
@given(SEEDS)
def test_packed_rings_are_the_polygons_inside_on_the_left(seed: int) -> None:
    """Several shapes in one array keep apart, vertex for vertex and hole for hole."""
    listed = random_shapes(seed, None)
    shapes = pack(listed)

    for k, shape in enumerate(listed):
        packed = polygon_at(shapes, k, 0.0, 0.0, 0.0)
        assert packed.equals(shape.polygon)
        assert len(packed.interiors) == len(shape.polygon.interiors)
        assert packed.exterior.is_ccw
        assert not any(ring.is_ccw for ring in packed.interiors)
        assert shapes.radius[k] == pytest.approx(shapely.hausdorff_distance(Point(0, 0), packed), rel=1e-12)
        assert shapes.scale[k] == pytest.approx(math.sqrt(packed.convex_hull.area))
        edges = range(shapes.vertex_start[k], shapes.vertex_start[k + 1])
        assert sorted(shapes.following[edges.start : edges.stop]) == list(edges)


@settings(max_examples=20)
@given(SEEDS, st.one_of(st.none(), TURNS))
def test_turn_boxes_bound_the_turned_shape(seed: int, turns: list[float] | None) -> None:
    """At every listed turn, for each shape its own."""
    listed = random_shapes(seed, turns)
    shapes = pack(listed)

    for k, shape in enumerate(listed):
        rows = slice(int(shapes.turn_start[k]), int(shapes.turn_start[k + 1]))
        assert bool(shapes.free[k]) == (turns is None)
        assert turns is None or list(shapes.turn[rows]) == list(symmetry(shape.polygon).distinct(turns))
        for turn, bounds in zip(shapes.turn[rows], shapes.turn_box[rows], strict=True):
            turned = Pose(turn_deg=math.degrees(turn)).geometry(shape.polygon)
            np.testing.assert_allclose(bounds, turned.bounds, atol=1e-9)


@pytest.mark.parametrize("fold", [1, 2, 3, 4, 5, 6, 8, 12])
def test_a_free_shape_lists_one_share_of_the_turns(fold: int) -> None:
    """Turned to and fro by its own shares the list goes all the way round evenly, and every square turn is in it."""
    shape = centred(wheel(fold), None)
    shapes = pack([shape])

    turns = shapes.turn
    share = 2 * math.pi / fold
    count = len(turns)
    assert shapes.fold[0] == fold
    np.testing.assert_allclose(np.diff(turns), share / count)
    assert 0.5 * FREE_TURNS <= count * fold <= 2 * FREE_TURNS
    square = 4 // math.gcd(4, fold)
    assert count % square == 0
    drawn = {round(t % share, 6) % round(share, 6) for t in turns[:: count // square]}
    meant = {round((turns[0] + q * math.pi / 2) % share, 6) % round(share, 6) for q in range(4)}
    assert drawn == meant


def wheel(fold: int) -> Polygon:
    """A lopsided arm, repeated all round."""
    arm = Polygon([(-5, -5), (60, -8), (60, 3), (40, 12), (0, 9)])
    return shapely.union_all([shapely.affinity.rotate(arm, 360 * i / fold, origin=(0, 0)) for i in range(fold)])


@settings(max_examples=20)
@given(SEEDS)
def test_runs_hold_each_edge_once(seed: int) -> None:
    """All edges of all rings of all shapes, six at most to a circle, within the circle to the last bit."""
    shapes = pack(random_shapes(seed, None))

    edges: list[int] = []
    for c in range(len(shapes.run_r)):
        run = range(shapes.run_first[c], shapes.run_last[c])
        assert 1 <= len(run) <= RUN_EDGES
        edges += run
        ends = np.array([*run, *shapes.following[run.start : run.stop]])
        reach = np.hypot(shapes.x[ends] - shapes.run_x[c], shapes.y[ends] - shapes.run_y[c])
        assert np.all(reach <= shapes.run_r[c])
    assert edges == list(range(len(shapes.x)))


@settings(max_examples=20)
@given(SEEDS)
def test_inscribed_circles_lie_inside_and_apart(seed: int) -> None:
    """The first is the largest there is; no centre lies in an earlier circle."""
    polygon = random_polygon(np.random.default_rng(seed))

    circles = inscribed_circles(polygon)

    assert 1 <= len(circles) <= POLES
    largest = shapely.maximum_inscribed_circle(polygon, tolerance=1e-4).length
    assert circles[0, 2] == pytest.approx(largest, rel=0.02, abs=0.02)
    assert np.all(np.diff(circles[1:, 2]) <= 1e-9)
    for n, (x, y, r) in enumerate(circles):
        assert polygon.contains(Point(x, y))
        assert polygon.boundary.distance(Point(x, y)) >= r - 1e-9
        apart = np.hypot(circles[:n, 0] - x, circles[:n, 1] - y) - circles[:n, 2]
        assert n == 0 or apart.min() >= r - 1e-9


@settings(max_examples=20)
@given(SEEDS, st.booleans())
def test_a_centred_shape_shifts_back_to_where_it_came_from(seed: int, flipped: bool) -> None:
    """Its smallest enclosing circle is round the origin to a thousandth of a millimetre."""
    polygon = random_polygon(np.random.default_rng(seed))

    shape = centred(polygon, None, flipped=flipped)

    middle = shapely.minimum_bounding_circle(shape.polygon).centroid
    assert middle.distance(Point(0, 0)) < 2e-3
    back = shapely.transform(shape.polygon, lambda xy: xy + shape.shift)
    own = shapely.transform(polygon, lambda xy: xy * (-1, 1)) if flipped else polygon
    assert back.symmetric_difference(own).area < 1e-9 * own.length


def test_round_numbers_stay_round() -> None:
    """Sides in one line must stay in one line, else no row of rectangles fits a plate to the last digit."""
    shape = centred(box(0.5, 0.25, 200.5, 100.25), None)

    assert shape.shift == (100.5, 50.25)
    assert shape.polygon.bounds == (-100.0, -50.0, 100.0, 50.0)


def test_a_mirror_is_the_other_side_and_knows_it() -> None:
    """Two shapes of one part name each other; one that may not be flipped names none."""
    sides = [centred(PLATE, None, mirror=1), centred(PLATE, None, flipped=True, mirror=0), centred(PLATE, (0.0,))]

    assert list(pack(sides).mirror) == [1, 0, -1]
    assert not sides[0].polygon.equals(sides[1].polygon)
    back = shapely.transform(sides[1].polygon, lambda xy: xy * (-1, 1))
    assert back.equals_exact(sides[0].polygon, 1e-9, normalize=True)


def test_edge_runs_close_the_ring() -> None:
    """Seven edges: six in one circle, the last, back to the start, in another."""
    xy = np.array([(math.cos(a), math.sin(a)) for a in 2 * math.pi * np.arange(7) / 7])

    (*_, first, last), (x, y, r, first_of_last, end) = edge_runs(xy, 100)

    assert (first, last, first_of_last, end) == (100, 106, 106, 107)
    assert Point(x, y).buffer(r * 1.001, quad_segs=64).covers(shapely.LineString([xy[6], xy[0]]))


def test_a_thin_part_still_has_a_circle() -> None:
    """A tenth of a millimetre thin, a metre long."""
    circles = inscribed_circles(Polygon([(0, 0), (1000, 0), (1000, 0.1)]))

    assert circles[0, 2] > 0.01
