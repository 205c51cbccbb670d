"""What the kernel tests need: polygons packed, placed and read back as shapely sees them."""

import math
from collections.abc import Sequence

import numba
import numpy as np
import shapely
from shapely.geometry import Polygon
from shapes import random_polygon

from nesting.search.kernels.arrays import Scratch, Shapes
from nesting.search.kernels.pose import place, turn_to
from nesting.search.shapes import centred, pack
from nesting.search.state import Crowd

BOUNDS = np.array([0.0, 0.0, 1000.0, 800.0])
"""Of the slices that crowds file their items by; what lies outside counts to the slice at its side."""

COMPILED = not numba.config.DISABLE_JIT
"""False in the run that looks at the kernels as plain Python, which must make do with few examples."""

TINY_MM = 1e-6
"""Nearer to touching than this either answer is right."""


def examples(count: int) -> int:
    """So many examples, or a few if the kernels run as plain Python."""
    return count if COMPILED else max(count // 100, 8)


def pool(count: int = 120, seed: int = 1) -> list[Polygon]:
    """Random polygons of all kinds."""
    rng = np.random.default_rng(seed)
    return [random_polygon(rng) for _ in range(count if COMPILED else 12)]


def packed(polygons: Sequence[Polygon]) -> Shapes:
    """The polygons as shapes that take any turn, in the same order."""
    return pack([centred(p, None) for p in polygons])


def crowd(shapes: Shapes, poses: Sequence[Sequence[float]], seed: int = 0) -> Crowd:
    """Items in these poses (shape, x, y, turn), with their world coordinates laid out."""
    made = Crowd(shapes, np.array(poses, dtype=np.float64).reshape(-1, 4), seed=seed, bounds=BOUNDS)
    made.lay_out()
    return made


def candidate(made: Crowd, k: int, turn: float) -> Scratch:
    """The crowd's scratch, holding shape `k` at a turn."""
    turn_to(made.shapes, k, turn, made.scratch)
    return made.scratch


def put(made: Crowd, i: int, k: int, x: float, y: float, turn: float) -> None:
    """Move one item."""
    place(i, k, x, y, turn, made.shapes, made.items, made.scratch)


def polygon_at(shapes: Shapes, k: int, x: float, y: float, turn: float) -> Polygon:
    """Shape `k` in a pose, from the packed vertices but turned and shifted here."""
    c, s = math.cos(turn), math.sin(turn)
    rings, ring = [], []
    for e in range(shapes.vertex_start[k], shapes.vertex_start[k + 1]):
        ring.append((c * shapes.x[e] - s * shapes.y[e] + x, s * shapes.x[e] + c * shapes.y[e] + y))
        if shapes.following[e] <= e:
            rings.append(ring)
            ring = []
    return Polygon(rings[0], rings[1:])


def polygons_of(made: Crowd) -> list[Polygon]:
    """All items of a crowd where they lie."""
    return [polygon_at(made.shapes, int(k), x, y, turn) for k, x, y, turn in made.poses]


def overlap(a: Polygon, b: Polygon) -> bool | None:
    """Shapely's word on whether two polygons overlap; None if they merely touch or nearly so."""
    if a.distance(b) > TINY_MM:
        return False
    return True if thick(a.intersection(b)) else None


def outside(polygon: Polygon, region: shapely.Geometry) -> bool | None:
    """Shapely's word on whether a polygon is partly outside a region; None if it merely touches the edge."""
    if region.covers(polygon) and polygon.distance(region.boundary) > TINY_MM:
        return False
    return True if thick(polygon.difference(region)) else None


def thick(geometry: shapely.Geometry) -> bool:
    """True if there is more to a common area than rounding makes."""
    return bool(geometry.area > 1e-3 * TINY_MM * max(geometry.length, 1.0)) and not geometry.buffer(-TINY_MM).is_empty
