"""Yes or no must be shapely's yes or no, wherever there is no doubt; touching is no overlap."""

import math

import numpy as np
import pytest
import shapely
from crowds import candidate, crowd, examples, outside, overlap, packed, polygon_at, polygons_of, put
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon
from shapes import regions

from nesting.search import region as region_arrays
from nesting.search.kernels.arrays import Shapes
from nesting.search.kernels.collide import (
    depth_at,
    edges_cross,
    inside_region,
    inside_rings,
    leaves_region,
    shapes_overlap,
    surely_inside,
)
from nesting.search.shapes import centred

WHOLE = st.integers(-20, 20).map(float)


@given(st.lists(WHOLE, min_size=8, max_size=8))
def test_edges_cross_where_interiors_meet_and_never_apart(v: list[float]) -> None:
    """On whole numbers all is exact.  Ends that touch may go either way: rings decide, not single edges."""
    a, b = shapely.LineString([v[0:2], v[2:4]]), shapely.LineString([v[4:6], v[6:8]])
    if a.length > 0 and b.length > 0:
        touching = a.touches(b) or a.intersection(b).length > 0
        assert touching or edges_cross(*v) == shapely.crosses(a, b)


@given(st.lists(st.integers(-4, 4), min_size=6, max_size=6), st.sampled_from([0, 1, 2, 3]))
def test_boxes_on_a_lattice_overlap_as_their_numbers_say(v: list[int], turn: int) -> None:
    """Shared sides, shared corners and sides in one line, whichever way the box is turned: only common area counts."""
    w, h, u, t = (abs(n) + 1 for n in v[:4])
    shapes = packed([shapely.box(0, 0, 2 * w, 2 * h), shapely.box(0, 0, 2 * u, 2 * t)])
    made = crowd(shapes, [(1, 0.0, 0.0, turn * math.pi / 2)])
    s = candidate(made, 0, 0.0)
    x, y = float(v[4]), float(v[5])

    actual = shapes_overlap(shapes, 0, s, x, y, made.items, 0)

    a, b = polygon_at(shapes, 0, x, y, 0.0), polygons_of(made)[0]
    same = a.equals(b)  # the circles see that, the edges cannot
    assert same or actual == (a.intersection(b).area > 1e-9)


def test_overlap_agrees_with_shapely_on_random_pairs(shapes: Shapes) -> None:
    """Pairs of all kinds near one another, one in three far from the origin."""
    rng = np.random.default_rng(11)
    count = len(shapes.radius)
    seen = {True: 0, False: 0}
    for _ in range(examples(5000)):
        k, m = (int(i) for i in rng.integers(count, size=2))
        ox, oy = rng.choice([0.0, 0.0, 1e6, -1e6], 2)
        reach = (shapes.radius[k] + shapes.radius[m]) * rng.choice([0.2, 0.7, 1.0])
        x, y = ox + rng.uniform(-reach, reach), oy + rng.uniform(-reach, reach)
        turns = rng.uniform(0, 2 * math.pi, 2) if rng.random() < 0.7 else rng.integers(4, size=2) * math.pi / 2
        made = crowd(shapes, [(m, ox, oy, turns[1])])
        s = candidate(made, k, turns[0])

        actual = shapes_overlap(shapes, k, s, x, y, made.items, 0)

        expected = overlap(polygon_at(shapes, k, x, y, turns[0]), polygon_at(shapes, m, ox, oy, turns[1]))
        if expected is not None:
            seen[expected] += 1
            assert actual == expected, (k, m, x, y, ox, oy, turns)
    assert min(seen.values()) > examples(5000) / 20, seen


SQUARE = shapely.box(-50, -50, 50, 50)
FRAME = SQUARE.difference(shapely.box(-30, -30, 30, 30))
NAMED = {
    "side by side, touching": (SQUARE, shapely.box(50, -50, 80, 50), False),
    "side by side, touching, shifted": (SQUARE, shapely.box(50, -10, 80, 90), False),
    "corner to corner": (SQUARE, shapely.box(50, 50, 80, 80), False),
    "corner on an edge": (SQUARE, Polygon([(50, 0), (90, -30), (90, 30)]), False),
    "corner just over an edge": (SQUARE, Polygon([(49.99, 0), (90, -30), (90, 30)]), True),
    "wholly inside": (SQUARE, shapely.box(-10, -10, 10, 10), True),
    "in the hole": (FRAME, shapely.box(-20, -20, 20, 20), False),
    "exactly filling the hole": (FRAME, shapely.box(-30, -30, 30, 30), False),
    "in a corner of the hole, touching": (FRAME, shapely.box(-30, -30, 0, 0), False),
    "a little too large for the hole on all sides": (FRAME, shapely.box(-30.4, -30.4, 30.4, 30.4), True),
    "frame round the hole, inside the other frame": (
        FRAME, shapely.box(-40, -40, 40, 40).difference(shapely.box(-35, -35, 35, 35)), True,
    ),
    "frame in the hole, with a hole of its own": (
        FRAME, shapely.box(-29, -29, 29, 29).difference(shapely.box(-9, -9, 9, 9)), False,
    ),
    "frame round the other": (
        FRAME, shapely.box(-90, -90, 90, 90).difference(shapely.box(-60, -60, 60, 60)), False,
    ),
    "sliver across": (SQUARE, Polygon([(-80, 0), (80, 0), (80, 0.1)]), True),
    "sliver beside": (SQUARE, Polygon([(-80, 50.01), (80, 50.01), (80, 50.1)]), False),
}  # fmt: skip


@pytest.mark.parametrize("off", [0.0, 1e6])
@pytest.mark.parametrize("name", NAMED)
def test_overlap_of_awkward_pairs(name: str, off: float) -> None:
    """Both ways round."""
    a, b, expected = NAMED[name]
    shapes = packed([a, b])
    places = [centred(p, None).shift for p in (a, b)]
    for k, m in ((0, 1), (1, 0)):
        made = crowd(shapes, [(m, places[m][0] + off, places[m][1] + off, 0.0)])
        s = candidate(made, k, 0.0)

        actual = shapes_overlap(shapes, k, s, places[k][0] + off, places[k][1] + off, made.items, 0)

        assert actual == expected, "candidate inside" if k else "candidate outside"


def test_inside_rings_agrees_with_shapely(shapes: Shapes) -> None:
    """Away from the edge, holes are outside."""
    rng = np.random.default_rng(12)
    for k in range(len(shapes.radius)):
        turn, dx, dy = rng.uniform(0, 6.0), *rng.choice([0.0, 17.0, 1e6], 2)
        polygon = polygon_at(shapes, k, dx, dy, turn)
        made = crowd(shapes, [(k, 0.0, 0.0, 0.0)])
        s = candidate(made, k, turn)
        xy = rng.uniform(-1.1, 1.1, (examples(100), 2)) * shapes.radius[k] + (dx, dy)
        clear = shapely.distance(polygon.boundary, shapely.points(xy)) > 1e-6

        actual = np.array([inside_rings(x, y, s.wx, s.wy, shapes, k, dx, dy) for x, y in xy])

        np.testing.assert_array_equal(actual[clear], shapely.contains_xy(polygon, xy)[clear])


@pytest.mark.parametrize("name", regions())
def test_leaving_the_region_agrees_with_shapely(name: str, shapes: Shapes) -> None:
    """Shapes all over a region and about its edge, with and without a line they may not pass."""
    region = regions()[name]
    arrays = region_arrays.pack(region)
    rng = np.random.default_rng(13)
    x0, y0, x1, y1 = region.bounds
    seen, by_a_look = {True: 0, False: 0}, 0
    made = crowd(shapes, [(0, 0.0, 0.0, 0.0)])
    for _ in range(examples(1500)):
        k = int(rng.integers(len(shapes.radius)))
        x, y, turn = rng.uniform(x0, x1), rng.uniform(y0, y1), rng.uniform(0, 2 * math.pi)
        allowed, within = region, arrays
        if rng.random() < 0.3:
            nx, ny = (1.0, 0.0) if rng.random() < 0.5 else (0.6, -0.8)
            c = nx * rng.uniform(x0, x1) + ny * rng.uniform(y0, y1)
            far = 1e4
            half = Polygon([(-far, -far), (0, -far), (0, far), (-far, far)])
            half = shapely.transform(half, lambda p, n=(nx, ny): p @ np.array([[n[0], n[1]], [-n[1], n[0]]]))
            foot = (x0 + nx * (c - nx * x0 - ny * y0), y0 + ny * (c - nx * x0 - ny * y0))
            allowed = region.intersection(shapely.transform(half, lambda p, f=foot: p + f))
            within = arrays._replace(limit=np.array([nx, ny, c]))
        s = candidate(made, k, turn)

        actual = leaves_region(shapes, k, s, x, y, within)
        quick = surely_inside(shapes, k, s, x, y, within)

        expected = outside(polygon_at(shapes, k, x, y, turn), allowed)
        if quick:
            by_a_look += 1
            assert not actual
            assert not expected, (k, x, y, turn, within.limit)
        if expected is not None:
            seen[expected] += 1
            assert actual == expected, (k, x, y, turn, within.limit)
    assert min(seen.values()) > examples(1500) / 100, seen
    assert by_a_look > examples(1500) / 1000


def test_a_part_may_ring_a_hole_of_the_plate() -> None:
    """Its own hole lies over the plate's."""
    region = region_arrays.pack(shapely.box(0, 0, 400, 400).difference(shapely.box(180, 180, 220, 220)))
    shapes = packed([FRAME, SQUARE])
    made = crowd(shapes, [(0, 200.0, 200.0, 0.0)])

    assert not leaves_region(shapes, 0, candidate(made, 0, 0.0), 200.0, 200.0, region)
    assert leaves_region(shapes, 1, candidate(made, 1, 0.0), 200.0, 200.0, region)


def test_a_part_exactly_as_large_as_the_region_fits() -> None:
    """Touching all round is allowed; the width of a hair over is not."""
    shapes = packed([SQUARE])
    made = crowd(shapes, [(0, 0.0, 0.0, 0.0)])
    region = region_arrays.pack(SQUARE)

    for turn in (0.0, math.pi / 2, math.pi, 1.5 * math.pi):
        assert not leaves_region(shapes, 0, candidate(made, 0, turn), 0.0, 0.0, region)
        assert leaves_region(shapes, 0, candidate(made, 0, turn), 1e-9, 0.0, region)


@pytest.mark.parametrize("name", regions())
def test_depth_is_the_signed_distance_to_within_0_71_steps(name: str) -> None:
    """On the grid; off it the sign is right and the figure no nearer than the truth."""
    region = regions()[name]
    arrays = region_arrays.pack(region)
    rng = np.random.default_rng(14)
    x0, y0, x1, y1 = region.bounds
    edge = 2 * arrays.step
    xy = rng.uniform((x0 - edge, y0 - edge), (x1 + edge, y1 + edge), (examples(2000), 2))
    true = shapely.distance(region.boundary, shapely.points(xy))
    inside = shapely.contains_xy(region, xy)
    signed = np.where(inside, true, -true)

    actual = np.array([depth_at(arrays, x, y) for x, y in xy])

    assert np.abs(actual - signed).max() <= 0.7072 * arrays.step
    clear = true > TINY
    assert np.array_equal(np.array([inside_region(x, y, arrays) for x, y in xy])[clear], inside[clear])
    far = rng.uniform(-1, 1, (examples(500), 2)) * 5000 + (x1 + x0) / 2
    off = ~shapely.contains_xy(shapely.box(x0 - edge, y0 - edge, x1 + edge, y1 + edge), far)
    depths = np.array([depth_at(arrays, x, y) for x, y in far[off]])
    assert np.all(depths <= -shapely.distance(region.boundary, shapely.points(far[off])) + 0.71 * arrays.step)


TINY = 1e-6


def test_putting_an_item_gives_shapely_s_own_turn(shapes: Shapes) -> None:
    """World coordinates of a placed item are the turned, shifted vertices."""
    rng = np.random.default_rng(15)
    made = crowd(shapes, [(0, 0.0, 0.0, 0.0)])
    for k in range(len(shapes.radius)):
        x, y, turn = *rng.uniform(-1e6, 1e6, 2), rng.uniform(-7, 7)
        put(made, 0, k, x, y, turn)
        polygon = polygon_at(shapes, k, x, y, turn)

        np.testing.assert_allclose(made.items.box[0], polygon.bounds, rtol=0, atol=1e-8)
        n = int(shapes.vertex_start[k + 1] - shapes.vertex_start[k])
        corners = shapely.get_coordinates(shapely.points(made.items.wx[0, :n], made.items.wy[0, :n]))
        assert (
            shapely.hausdorff_distance(shapely.MultiPoint(corners), shapely.boundary(polygon))
            <= max(
                shapely.hausdorff_distance(shapely.MultiPoint(shapely.get_coordinates(polygon)), polygon.boundary), 1e-8
            )
            + 1e-8
        )
