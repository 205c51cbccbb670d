"""How wide and how long a shape is, at any turn: what a narrower slot or a shorter room can never hold."""

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from nesting.geometry.largest import Shape


def span(shape: Shape) -> tuple[float, float]:
    """Return the least width and the greatest length of a shape: both are those of its convex hull, millimetres."""
    hull = shapely.get_coordinates(shapely.convex_hull(shape))[:-1]
    if len(hull) < 3:
        return 0.0, math.dist(hull[0], hull[-1]) if len(hull) else 0.0
    edges = np.roll(hull, -1, axis=0) - hull
    lengths = np.hypot(edges[:, 0], edges[:, 1])
    normals = np.column_stack([-edges[:, 1], edges[:, 0]])[lengths > 0.0] / lengths[lengths > 0.0, None]
    return float(_extents(hull, normals).min()), float(_farthest(hull))


def _extents(points: NDArray[np.float64], directions: NDArray[np.float64]) -> NDArray[np.float64]:
    heights = points @ directions.T
    extents: NDArray[np.float64] = heights.max(axis=0) - heights.min(axis=0)
    return extents


def _farthest(points: NDArray[np.float64]) -> float:
    apart = points[:, None, :] - points[None, :, :]
    return float(np.hypot(apart[..., 0], apart[..., 1]).max())
