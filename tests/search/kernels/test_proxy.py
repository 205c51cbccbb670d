"""The figure that guides: never zero, sure only where shapely agrees, and equal to its slow, obvious form."""

import math

import numpy as np
import pytest
import shapely
from crowds import COMPILED, candidate, crowd, examples, polygon_at
from shapes import regions

from nesting.search import region as region_arrays
from nesting.search.kernels.arrays import Shapes
from nesting.search.kernels.collide import depth_at
from nesting.search.kernels.proxy import EPS_FRACTION, pole_overlap, region_overlap, rotate


def circles(shapes: Shapes, k: int, x: float, y: float, turn: float) -> np.ndarray:
    """Rows (x, y, r) of a shape's circles in a pose."""
    p = (k, slice(int(shapes.poles[k])))
    c, s = math.cos(turn), math.sin(turn)
    px, py = shapes.pole_x[p].astype(float), shapes.pole_y[p].astype(float)
    return np.column_stack([c * px - s * py + x, s * px + c * py + y, shapes.pole_r[p].astype(float)])


def smoothed(depth: float, eps: float) -> float:
    """The depth, or below `eps` something small that never vanishes."""
    return depth if depth >= eps else eps * eps / (2 * eps - depth)


def slow_pair_loss(shapes: Shapes, a: tuple[float, ...], b: tuple[float, ...]) -> float:
    """The loss of a pair, as the module's heading has it."""
    k, m = int(a[0]), int(b[0])
    eps = EPS_FRACTION * 2 * max(shapes.radius[k], shapes.radius[m])
    total = 0.0
    for ax, ay, ar in circles(shapes, k, *a[1:]):
        for bx, by, br in circles(shapes, m, *b[1:]):
            total += smoothed(ar + br - math.hypot(ax - bx, ay - by), eps) * min(ar, br)
    return math.sqrt(math.pi * total + eps * eps) * math.sqrt(shapes.scale[k] * shapes.scale[m])


def random_pair(shapes: Shapes, rng: np.random.Generator) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Two poses near one another, some far off."""
    k, m = (int(i) for i in rng.integers(len(shapes.radius), size=2))
    ox, oy = rng.choice([0.0, 0.0, 1e6], 2)
    reach = shapes.radius[k] + shapes.radius[m]
    turns = rng.uniform(0, 2 * math.pi, 2)
    if rng.random() < 0.3:
        turns[:] = turns[0]  # then what pads a row of circles lies at one point in both
    return (k, ox + rng.uniform(-reach, reach), oy + rng.uniform(-reach, reach), turns[0]), (m, ox, oy, turns[1])


def test_pair_loss_is_its_slow_form_and_sure_means_overlap(shapes: Shapes) -> None:
    """Single precision costs a ten-thousandth at most."""
    rng = np.random.default_rng(21)
    certain = 0
    for _ in range(examples(1500)):
        a, b = random_pair(shapes, rng)
        made = crowd(shapes, [b])
        s = candidate(made, int(a[0]), a[3])

        loss, sure = pole_overlap(shapes, int(a[0]), s, a[1], a[2], made.items, 0, 1e100)

        assert loss == pytest.approx(slow_pair_loss(shapes, a, b), rel=1e-4)
        assert loss > 0.0
        if sure:
            certain += 1
            common = polygon_at(shapes, int(a[0]), *a[1:]).intersection(polygon_at(shapes, int(b[0]), *b[1:]))
            assert common.area > 0.0
    assert certain > examples(1500) / 10


def test_a_stopped_sum_is_above_what_it_was_to_stop_at(shapes: Shapes) -> None:
    """Either the whole sum, or more than `stop_at` and sure."""
    rng = np.random.default_rng(22)
    stopped = 0
    for _ in range(examples(1500)):
        a, b = random_pair(shapes, rng)
        made = crowd(shapes, [b])
        s = candidate(made, int(a[0]), a[3])
        whole, _ = pole_overlap(shapes, int(a[0]), s, a[1], a[2], made.items, 0, 1e100)
        stop_at = whole * rng.uniform(0.0, 1.2)

        loss, sure = pole_overlap(shapes, int(a[0]), s, a[1], a[2], made.items, 0, stop_at)

        assert loss <= whole * (1 + 1e-6)
        if loss < whole * (1 - 1e-6):
            stopped += 1
            assert sure and loss > stop_at
    assert stopped > examples(1500) / 50


@pytest.mark.parametrize("name", regions())
def test_region_loss_is_its_slow_form_and_sure_means_outside(name: str, shapes: Shapes) -> None:
    """The distance field is taken as the kernel reads it; being sure is held against shapely."""
    region = regions()[name]
    arrays = region_arrays.pack(region)
    rng = np.random.default_rng(23)
    x0, y0, x1, y1 = region.bounds
    certain = 0
    for n in range(examples(400)):
        k = int(rng.integers(len(shapes.radius)))
        x, y, turn = rng.uniform(x0, x1), rng.uniform(y0, y1), rng.uniform(0, 2 * math.pi)
        limit = (0.8, 0.6, 0.8 * rng.uniform(x0, x1) + 0.6 * rng.uniform(y0, y1)) if n % 3 == 0 else (0.0, 0.0, 0.0)
        within = arrays._replace(limit=np.array(limit))
        s = candidate(crowd(shapes, [(k, 0.0, 0.0, 0.0)]), k, turn)

        loss, sure = region_overlap(shapes, k, s, x, y, within)

        eps = EPS_FRACTION * 2 * shapes.radius[k]
        total = 0.0
        for px, py, r in circles(shapes, k, x, y, turn):
            depth = r - depth_at(arrays, px, py)
            if any(limit):
                depth = max(depth, r - (limit[2] - limit[0] * px - limit[1] * py))
            total += smoothed(depth, eps) * r * 4
        slow = 2 * math.sqrt(math.pi * total + eps * eps) * shapes.scale[k]
        assert loss == pytest.approx(slow, rel=1e-3 if COMPILED else 1e-2)
        if sure:
            certain += 1
            polygon = polygon_at(shapes, k, x, y, turn)
            reach = shapely.get_coordinates(polygon) @ limit[:2]
            assert polygon.difference(region).area > 0.0 or reach.max() > limit[2]
    assert certain > examples(400) / 50


def test_rotate_is_exact_at_quarter_turns(shapes: Shapes) -> None:
    """Else a rectangle could not fill a plate of its own size."""
    made = crowd(shapes, [(0, 0.0, 0.0, 0.0)])
    for k in range(len(shapes.radius)):
        v = slice(int(shapes.vertex_start[k]), int(shapes.vertex_start[k + 1]))
        n = v.stop - v.start
        for turn, x, y in (
            (0.0, shapes.x[v], shapes.y[v]),
            (math.pi / 2, -shapes.y[v], shapes.x[v]),
            (math.pi, -shapes.x[v], -shapes.y[v]),
            (1.5 * math.pi, shapes.y[v], -shapes.x[v]),
        ):
            rotate(shapes, k, turn, made.scratch)

            np.testing.assert_array_equal(made.scratch.wx[:n], x)
            np.testing.assert_array_equal(made.scratch.wy[:n], y)
