"""From polygons to the arrays kernels work on."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from nesting.geometry.pose import Pose
from nesting.search.kernels.arrays import POLES, Floats, Shapes
from nesting.search.symmetry import Symmetry, symmetry

RUN_EDGES = 6
"""Consecutive edges that share one circle for quick dismissal."""

FREE_TURNS = 72
"""Even steps in a full turn of a free shape, nearly; one that repeats itself lists those of its own share."""


@dataclass(frozen=True, kw_only=True)
class Shape:
    """One part seen from one side, ready for placing.

    `polygon` has its smallest enclosing circle's centre at the origin; `shift` moves it back: a point p of the polygon
    is p + shift in the (flipped) drawing.  `turns` are radians, None for any.  `mirror` is the index of the same part
    turned over, or -1.  Turned by 1 / `fold` of a full turn it looks the same.
    """

    polygon: Polygon
    shift: tuple[float, float]
    turns: tuple[float, ...] | None
    mirror: int = -1
    fold: int = 1


def centred(
    polygon: Polygon, turns: tuple[float, ...] | None, *,
    flipped: bool = False, mirror: int = -1, alike: Symmetry | None = None,
) -> Shape:  # fmt: skip
    """Return a shape for a polygon, flipped if asked, moved to its smallest enclosing circle's centre, or near it.

    Of turns that look alike it keeps one; `alike` says which do, where the true part is known better than its polygon.
    """
    alike = alike or symmetry(polygon)
    if turns is not None or alike.round:
        turns = alike.distinct(turns or (0.0,))
    own = Pose(flipped=True).geometry(polygon) if flipped else polygon
    own = shapely.orient_polygons(own)
    middle = shapely.minimum_bounding_circle(own).centroid
    # To a binary fraction, so that round numbers stay exact and sides in one line stay in line.
    c = (round(middle.x * 1024) / 1024, round(middle.y * 1024) / 1024)
    moved = shapely.transform(own, lambda xy: xy - c)
    return Shape(polygon=moved, shift=c, turns=turns, mirror=mirror, fold=alike.fold)


def pack(shapes: Sequence[Shape], *, with_nothing: bool = False) -> Shapes:
    """Return the arrays for a list of shapes; one more, if asked, stands for an item that is not there."""
    nothing = len(shapes) if with_nothing else -1
    if with_nothing:
        shapes = [*shapes, Shape(polygon=Polygon([(0, 0), (1, 0), (0, 1)]), shift=(0.0, 0.0), turns=(0.0,))]
    vertices: list[Floats] = []
    following: list[NDArray[np.int64]] = []
    runs: list[tuple[float, float, float, int, int]] = []
    # A circle that is not there is a point so far off that its depth is nothing, whatever the units.
    poles = np.full((len(shapes), POLES, 3), (1e15, 1e15, 0.0))
    counts: list[int] = []
    turns: list[float] = []
    boxes: list[list[float]] = []
    v_start, r_start, t_start = [0], [0], [0]
    for k, shape in enumerate(shapes):
        for ring in (shape.polygon.exterior, *shape.polygon.interiors):
            xy = np.asarray(ring.coords)[:-1]
            first = sum(len(v) for v in vertices)
            n = len(xy)
            vertices.append(xy)
            following.append(first + np.roll(np.arange(n), -1))
            runs += edge_runs(xy, first)
        v_start.append(sum(len(v) for v in vertices))
        r_start.append(len(runs))
        circles = inscribed_circles(shape.polygon)
        poles[k, : len(circles)] = circles
        counts.append(len(circles))
        angles = shape.turns if shape.turns is not None else _even_turns(shape.polygon, shape.fold)
        corners = np.asarray(shape.polygon.exterior.coords)
        for angle in angles:
            turns.append(angle)
            turned = Pose(turn_deg=math.degrees(angle)).points(corners)
            boxes.append([*turned.min(axis=0), *turned.max(axis=0)])
        t_start.append(len(turns))
    xy = np.vstack(vertices)
    run = np.array(runs, dtype=np.float64).reshape(-1, 5)
    return Shapes(
        x=_column(xy, 0),
        y=_column(xy, 1),
        following=np.concatenate(following).astype(np.int64),
        vertex_start=np.array(v_start, dtype=np.int64),
        run_x=_column(run, 0),
        run_y=_column(run, 1),
        run_r=_column(run, 2),
        run_first=run[:, 3].astype(np.int64),
        run_last=run[:, 4].astype(np.int64),
        run_start=np.array(r_start, dtype=np.int64),
        pole_x=np.ascontiguousarray(poles[:, :, 0], dtype=np.float32),
        pole_y=np.ascontiguousarray(poles[:, :, 1], dtype=np.float32),
        pole_r=np.ascontiguousarray(poles[:, :, 2], dtype=np.float32),
        poles=np.array(counts, dtype=np.int64),
        turn=np.array(turns),
        turn_box=np.array(boxes),
        turn_start=np.array(t_start, dtype=np.int64),
        free=np.array([s.turns is None for s in shapes]),
        fold=np.array([s.fold for s in shapes], dtype=np.int64),
        mirror=np.array([s.mirror for s in shapes], dtype=np.int64),
        radius=np.array([_radius(s.polygon) for s in shapes]),
        nothing=nothing,
        scale=np.array([math.sqrt(s.polygon.convex_hull.area) for s in shapes]),
    )


def edge_runs(xy: Floats, first: int) -> list[tuple[float, float, float, int, int]]:
    """Return circles (x, y, r, first edge, last edge + 1) round runs of a ring's consecutive edges."""
    n = len(xy)
    closed = np.vstack([xy, xy[:1]])
    found = []
    for a in range(0, n, RUN_EDGES):
        b = min(a + RUN_EDGES, n)
        points = closed[a : b + 1]
        circle = shapely.minimum_bounding_circle(shapely.MultiPoint(points))
        x, y = circle.centroid.coords[0]
        r = float(np.hypot(*(points - (x, y)).T).max()) * (1 + 1e-9)
        found.append((x, y, r, first + a, first + b))
    return found


def inscribed_circles(polygon: Polygon, *, cover: float = 0.9, grid: int = 90) -> Floats:
    """Return up to `POLES` circles inside the polygon, rows (x, y, r), largest first, an array (n, 3).

    Each is the largest that fits, by a grid of points, outside those before it; they stop when they cover
    `cover` of the area or get smaller than a twentieth of the first.
    """
    x0, y0, x1, y1 = polygon.bounds
    step = max(x1 - x0, y1 - y0) / grid
    gx, gy = (a.ravel() for a in np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step)))
    inside = shapely.contains_xy(polygon, gx, gy)
    gx, gy = gx[inside], gy[inside]
    depth = shapely.distance(polygon.boundary, shapely.points(gx, gy))
    best = shapely.maximum_inscribed_circle(polygon, tolerance=step / 50)
    (cx, cy), r = best.coords[0], best.length
    found = [(cx, cy, r)]
    area = math.pi * r * r
    while len(found) < POLES and len(depth):
        x, y, r = found[-1]
        depth = np.minimum(depth, np.hypot(gx - x, gy - y) - r)
        i = int(np.argmax(depth))
        if depth[i] < found[0][2] * 0.05 or (area > cover * polygon.area and len(found) >= 3):
            break
        found.append((gx[i], gy[i], float(depth[i])))
        area += math.pi * float(depth[i]) ** 2
    return np.array(found)


def _even_turns(polygon: Polygon, fold: int) -> tuple[float, ...]:
    """Return even steps through 1 / `fold` of a full turn, from one that lays the smallest enclosing rectangle square.

    Square turns that look different lie evenly among them, and start with the first.
    """
    corners = np.asarray(shapely.minimum_rotated_rectangle(polygon).exterior.coords)
    dx, dy = corners[1] - corners[0]
    start = -math.atan2(dy, dx) % (math.pi / 2)
    square = 4 // math.gcd(4, fold)
    count = square * max(1, round(FREE_TURNS / (fold * square)))
    return tuple(start + 2 * math.pi * i / (fold * count) for i in range(count))


def _radius(polygon: Polygon) -> float:
    return float(np.hypot(*np.asarray(polygon.exterior.coords).T).max())


def _column(rows: Floats, index: int) -> Floats:
    return np.ascontiguousarray(rows[:, index], dtype=np.float64)
