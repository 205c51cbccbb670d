"""Ends of curves that meet: which ends are one node."""

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.geometry.pose import Point

Ints = NDArray[np.int64]


def near_pairs(points: Sequence[Point], distance_mm: float) -> Ints:
    """Return index pairs (n, 2), first below second, of all points not farther apart than `distance_mm`."""
    if len(points) < 2:
        return np.empty((0, 2), dtype=np.int64)
    places = shapely.points(np.array(points))
    pairs = shapely.STRtree(places).query(places, predicate="dwithin", distance=distance_mm).T
    found: Ints = pairs[pairs[:, 0] < pairs[:, 1]].astype(np.int64)
    return found


def nodes(points: Sequence[Point], distance_mm: float) -> list[int]:
    """Return a node number for each point, counting from 0; points linked by steps up to `distance_mm` share one."""
    leader = list(range(len(points)))

    def find(i: int) -> int:
        while leader[i] != i:
            leader[i] = leader[leader[i]]
            i = leader[i]
        return i

    for i, j in near_pairs(points, distance_mm).tolist():
        a, b = find(i), find(j)
        if a != b:
            leader[max(a, b)] = min(a, b)
    numbers: dict[int, int] = {}
    return [numbers.setdefault(find(i), len(numbers)) for i in range(len(points))]
