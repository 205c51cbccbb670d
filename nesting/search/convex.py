"""Polygons cut into convex pieces."""

import math
from typing import TypeAlias

import numpy as np
import shapely
from shapely.geometry import Polygon

from nesting.search.kernels.arrays import Floats

Corner: TypeAlias = tuple[float, float]
Side: TypeAlias = tuple[Corner, Corner]

_STRAIGHT = 1e-12
"""Twice the area, as a share of the polygon's, by which a corner may bend inward and still count as straight."""


def convex_pieces(polygon: Polygon) -> list[Floats]:
    """Return convex pieces that together are the polygon, each its corners (n, 2) counter-clockwise.

    Triangles (constrained Delaunay) are merged across common sides, the longest first, as long as what comes out is
    convex: not the fewest pieces, but at most four times as many (Hertel & Mehlhorn 1983).
    """
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))
    rings = {i: _corners(t) for i, t in enumerate(triangles) if t.area > 0.0}
    owners: dict[Side, list[int]] = {}
    for i, ring in rings.items():
        for a, b in zip(ring, [*ring[1:], ring[0]], strict=True):
            owners.setdefault((min(a, b), max(a, b)), []).append(i)
    shared = sorted((s for s, own in owners.items() if len(own) == 2), key=lambda s: -math.dist(*s))
    now = {i: i for i in rings}
    for side in shared:
        i, j = (_root(now, k) for k in owners[side])
        merged = _merged(rings[i], rings[j], side, _STRAIGHT * polygon.area)
        if merged is not None:
            rings[i] = merged
            del rings[j]
            now[j] = i
    return [np.array(ring) for ring in rings.values()]


def _corners(triangle: Polygon) -> list[Corner]:
    ring = shapely.orient_polygons(triangle).exterior
    return [(float(x), float(y)) for x, y in ring.coords[:-1]]


def _root(now: dict[int, int], i: int) -> int:
    while now[i] != i:
        i = now[i]
    return i


def _merged(one: list[Corner], two: list[Corner], side: Side, slack: float) -> list[Corner] | None:
    """Join two rings across a side; None if a corner at one of its ends would then point inward."""
    i, j = _at(one, side), _at(two, side)
    n, m = len(one), len(two)
    ring = [one[(i + 1 + q) % n] for q in range(n)] + [two[(j + 2 + q) % m] for q in range(m - 2)]
    for q in (0, n - 1):
        (ax, ay), (bx, by), (cx, cy) = ring[q - 1], ring[q], ring[(q + 1) % len(ring)]
        if (bx - ax) * (cy - by) - (by - ay) * (cx - bx) < -slack:
            return None
    return ring


def _at(ring: list[Corner], side: Side) -> int:
    """Return where in a ring a side begins."""
    ends = zip(ring, [*ring[1:], ring[0]], strict=True)
    return next(i for i, (a, b) in enumerate(ends) if (min(a, b), max(a, b)) == side)
