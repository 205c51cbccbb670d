"""What lies near what: ends of curves that meet, and boxes that overlap, counted before they are looked at."""

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.errors import DrawingError
from nesting.geometry.pose import Point

Ints = NDArray[np.int64]

MOST_PAIRS = 500_000
"""A perforated sheet of 100,000 holes has 100,000 pairs of overlapping boxes; only junk has more than this."""

_CHUNK = 256
_IN_A_CELL = 4


def near_pairs(points: Sequence[Point], distance_mm: float) -> Ints:
    """Return index pairs (n, 2), first below second, of all points not farther apart than `distance_mm`.

    Raise `TooDenseError` for more than `MOST_PAIRS`.
    """
    if len(points) < 2:
        return np.empty((0, 2), dtype=np.int64)
    places = shapely.points(np.array(points))
    tree = shapely.STRtree(places)
    return _counted(tree, places, distance_mm)


def nearest_others(points: Sequence[Point], distance_mm: float) -> dict[int, tuple[float, int]]:
    """Return for each point that has another one within `distance_mm` the distance and index of the nearest.

    No two points may be equal.  Of several at the same distance the first counts.
    """
    if len(points) < 2 or distance_mm <= 0.0:
        return {}
    places = shapely.points(np.array(points))
    pairs, gaps = shapely.STRtree(places).query_nearest(
        places, max_distance=distance_mm, exclusive=True, return_distance=True
    )
    nearest: dict[int, tuple[float, int]] = {}
    for i, j, gap in zip(*pairs.tolist(), gaps.tolist(), strict=True):
        nearest[i] = min(nearest.get(i, (gap, j)), (gap, j))
    return nearest


def box_pairs(geometries: Sequence[shapely.Geometry] | NDArray[np.object_]) -> Ints:
    """Return index pairs (n, 2), first below second, of geometries whose boxes overlap or touch.

    Raise `TooDenseError` for more than `MOST_PAIRS`.
    """
    if len(geometries) < 2:
        return np.empty((0, 2), dtype=np.int64)
    return _counted(shapely.STRtree(geometries), np.array(geometries, dtype=object), None)


class TooDenseError(DrawingError):
    """So much lies at one place that telling it apart would take hours; no part is drawn like that."""


def _counted(tree: shapely.STRtree, geometries: NDArray[np.object_], distance_mm: float | None) -> Ints:
    found, total = [], 0
    for start in range(0, len(geometries), _CHUNK):
        chunk = geometries[start : start + _CHUNK]
        if distance_mm is None:
            i, j = tree.query(chunk)
        else:
            i, j = tree.query(chunk, predicate="dwithin", distance=distance_mm)
        kept = i + start < j
        found.append(np.column_stack([i[kept] + start, j[kept]]))
        total += int(kept.sum())
        if total > MOST_PAIRS:
            x, y = shapely.get_coordinates(chunk[0])[0]
            raise TooDenseError(
                f"over {MOST_PAIRS:,} pairs of curves lie at or over one another, some near ({x:.2f}, {y:.2f}); "
                "delete what is drawn many times over"
            )
    pairs: Ints = np.vstack(found).astype(np.int64)
    return pairs


def nodes(points: Sequence[Point], distance_mm: float) -> list[int]:
    """Return a node number for each point, counting from 0; points linked by steps up to `distance_mm` share one."""
    leader = list(range(len(points)))
    if not points:
        return []

    def find(i: int) -> int:
        while leader[i] != i:
            leader[i] = leader[leader[i]]
            i = leader[i]
        return i

    def join(i: int, j: int) -> None:
        a, b = find(i), find(j)
        if a != b:
            leader[max(a, b)] = min(a, b)

    cells = _cells(points, distance_mm)
    for cell in cells:
        for i in cell[1:]:
            join(cell[0], i)
    kept = sorted(i for cell in cells for i in _outermost(cell, points))
    for a, b in near_pairs([points[i] for i in kept], distance_mm).tolist():
        join(kept[a], kept[b])
    numbers: dict[int, int] = {}
    return [numbers.setdefault(find(i), len(numbers)) for i in range(len(points))]


def _cells(points: Sequence[Point], distance_mm: float) -> list[list[int]]:
    """Points in squares of half the distance, so that all in one are near one another."""
    found: dict[tuple[int, int], list[int]] = {}
    side = distance_mm / 2
    for i, (x, y) in enumerate(points):
        found.setdefault((int(x // side), int(y // side)), []).append(i)
    return list(found.values())


def _outermost(cell: list[int], points: Sequence[Point]) -> set[int]:
    """All of a few; of many in one cell the outermost four, so that thousands at one point stay few."""
    distinct = {points[i]: i for i in reversed(cell)}
    if len(distinct) <= _IN_A_CELL:
        return set(distinct.values())
    by_x, by_y = sorted(distinct), sorted(distinct, key=lambda p: p[1])
    chosen = (by_x[0], by_x[-1], by_y[0], by_y[-1])
    return {distinct[p] for p in chosen}
