"""Arcs by points on them: their bulge, and how well the points hold them."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy.optimize import minimize_scalar

from nesting.geometry.curves import Arc, bulge_piece
from nesting.geometry.pose import Point

_ARC_SAMPLES: Final = 33


def bulge_through(start: Point, through: Point, end: Point) -> float:
    """Return the bulge of the arc from `start` over `through` to `end`; 0 where they lie in one line.

    Half the sweep is what the angle at `through` lacks to a straight one (inscribed angle); bulge is the tangent of
    a quarter of the sweep, positive counter-clockwise.
    """
    a = (start[0] - through[0], start[1] - through[1])
    b = (end[0] - through[0], end[1] - through[1])
    inscribed = math.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])
    if abs(abs(inscribed) - math.pi) < 1e-12:
        return 0.0
    return -math.copysign(math.tan((math.pi - abs(inscribed)) / 2), inscribed)


def bulge_over(start: Point, through: Sequence[Point], end: Point) -> float:
    """Return the bulge of the arc between two points that passes nearest to those between, least squares."""
    single = [bulge_through(start, p, end) for p in through]
    if len(single) == 1:
        return single[0]
    low, high = min(single), max(single)
    if high - low < 1e-12:
        return low

    def misses(bulge: float) -> float:
        return sum(_off(start, end, bulge, p) ** 2 for p in through)

    return float(minimize_scalar(misses, bounds=(low, high), method="bounded", options={"xatol": 1e-10}).x)


def _off(start: Point, end: Point, bulge: float, point: Point) -> float:
    """How far a point is from the circle of an arc."""
    piece = bulge_piece(start, end, bulge)
    if isinstance(piece, Arc):
        return math.dist(piece.center, point) - piece.radius_mm
    (ux, uy) = (end[0] - start[0]) / piece.length_mm, (end[1] - start[1]) / piece.length_mm
    return (point[0] - start[0]) * uy - (point[1] - start[1]) * ux


def arc_spread(start: Point, through: Point, end: Point) -> float:
    """How many times worse than its three points an arc through them is at its worst place.

    Points 1 mm uncertain in x and y: worked out by moving each a little and looking at how far the arc moves.
    """
    bulge = bulge_through(start, through, end)
    piece = bulge_piece(start, end, bulge)
    if not isinstance(piece, Arc):
        return 1.0
    angles = np.radians(np.linspace(piece.start_deg, piece.end_deg, _ARC_SAMPLES))
    on_arc = np.asarray(piece.center) + piece.radius_mm * np.column_stack([np.cos(angles), np.sin(angles)])
    step = 1e-5 * piece.radius_mm
    squares = np.zeros(_ARC_SAMPLES)
    for k in range(3):
        for axis in range(2):
            moved = [list(p) for p in (start, through, end)]
            moved[k][axis] += step
            a, b, c = ((p[0], p[1]) for p in moved)
            other = bulge_piece(a, c, bulge_through(a, b, c))
            if isinstance(other, Arc):
                off = np.hypot(*(on_arc - np.asarray(other.center)).T) - other.radius_mm
                squares += (off / step) ** 2
    return float(max(1.0, np.sqrt(squares.max())))
