"""Plainer outlines that hold the true ones: a search on them is faster, and what it finds is legal for the true parts.

An edge is dropped by lengthening its neighbours until they meet, a corner that points inward by bridging it; both only
add to the polygon.  The cheapest first, as long as nothing moves outward by more than a tolerance.
"""

import heapq
import math

import numpy as np
import shapely
from shapely.geometry import Polygon

from nesting.search.kernels.arrays import Floats


def outward(polygon: Polygon, tolerance: float) -> Polygon:
    """Return a polygon with fewer corners that covers the given one and reaches at most `tolerance` beyond it.

    Holes get smaller by as much.  The polygon itself is returned if nothing is saved or the result does not hold it.
    """
    own = shapely.orient_polygons(polygon)
    rings = [_plainer(np.asarray(ring.coords)[:-1], tolerance) for ring in (own.exterior, *own.interiors)]
    found = Polygon(rings[0], rings[1:])
    fewer = shapely.get_num_coordinates(found) < shapely.get_num_coordinates(own)
    if not fewer or not found.is_valid or own.difference(found).area > 1e-12 * own.area:
        return polygon
    return found


def _plainer(ring: Floats, tolerance: float) -> Floats:
    """Drop corners of a ring, the inside on its left, so that the left side only grows."""
    points: list[tuple[float, float]] = [(float(x), float(y)) for x, y in ring]
    n = len(points)
    before, after = [(i - 1) % n for i in range(n)], [(i + 1) % n for i in range(n)]
    spent = [0.0] * n  # how far the outline has moved at each corner so far
    age = [0] * n
    left = n
    queue: list[tuple[float, int, int]] = []

    def offer(i: int) -> None:
        cost, moved = _drop(points, before, after, i)
        so_far = spent[i] if moved is None else max(spent[i], spent[after[i]])
        if cost + so_far <= tolerance:
            heapq.heappush(queue, (cost, i, age[i]))

    for i in range(n):
        offer(i)
    while queue and left > 3:
        cost, i, made = heapq.heappop(queue)
        if made != age[i]:
            continue
        moved = _drop(points, before, after, i)[1]
        a, b = before[i], after[i]
        age[i] += 1
        left -= 1
        after[a], before[b] = b, a
        if moved is not None:
            points[b] = moved  # the edge i-b is gone, its ends have become one corner
        spent[b] = max(spent[i], spent[b]) + cost
        spent[a] = max(spent[a], spent[b]) if moved is None else spent[a]
        for j in (before[a], a, b, after[b]):
            age[j] += 1
            offer(j)
    alive = [i for i in range(n) if after[before[i]] == i and before[after[i]] == i]
    start = alive[0]
    kept, j = [points[start]], after[start]
    while j != start:
        kept.append(points[j])
        j = after[j]
    return np.array(kept)


def _drop(
    points: list[tuple[float, float]], before: list[int], after: list[int], i: int
) -> tuple[float, tuple[float, float] | None]:
    """Return how far the outline moves if corner `i` goes, and where the corner after it moves to, if it does."""
    a, p, b = points[before[i]], points[i], points[after[i]]
    turn = _cross(a, p, b)
    if turn <= 0.0:
        # Pointing inward, or straight: bridge it.
        length = math.dist(a, b)
        return (-turn / length if length > 0.0 else math.inf), None
    c = points[after[after[i]]]
    if _cross(p, b, c) <= 0.0:
        return math.inf, None
    # Both ends of the edge p-b point outward: lengthen a-p and c-b until they meet.
    ux, uy, vx, vy = p[0] - a[0], p[1] - a[1], b[0] - c[0], b[1] - c[1]
    det = ux * vy - uy * vx
    if det >= 0.0:
        return math.inf, None
    t = ((b[0] - p[0]) * vy - (b[1] - p[1]) * vx) / det
    meet = (p[0] + t * ux, p[1] + t * uy)
    return (_from_edge(meet, p, b) if t >= 0.0 else math.inf), meet


def _from_edge(at: tuple[float, float], p: tuple[float, float], b: tuple[float, float]) -> float:
    """Return the distance of a point from an edge."""
    dx, dy = b[0] - p[0], b[1] - p[1]
    square = dx * dx + dy * dy
    t = min(1.0, max(0.0, ((at[0] - p[0]) * dx + (at[1] - p[1]) * dy) / square)) if square > 0.0 else 0.0
    return math.dist(at, (p[0] + t * dx, p[1] + t * dy))


def _cross(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    return (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])
