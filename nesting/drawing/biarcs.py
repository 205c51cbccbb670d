"""Splines and ellipse arcs as few circular arcs, for drawings whose version has neither.

Two arcs that share a tangent (a biarc) join two points with given tangents; a stretch is halved until its biarc
stays within tolerance.  Construction with equal control lengths: Bolton, Biarc curves, Computer-Aided Design 7(2),
1975.  The error falls with the third power of the step, so that few arcs suffice where chords would need thousands.
"""

import math
from typing import Final

import numpy as np

from nesting.drawing.splines import domain
from nesting.geometry.curves import EllipseArc, Floats, Line, Polyline, Spline, bulge_piece
from nesting.geometry.pose import Point

Vertex = tuple[float, float, float]
_Step = tuple[float, Point, Point]
"""Parameter, point and unit tangent."""

_SAMPLES: Final = 12
_DEEPEST: Final = 16


def as_arcs(curve: Spline | EllipseArc, tolerance_mm: float) -> Polyline:
    """Return an open or closed polyline of arcs within `tolerance_mm` of the curve, with the same ends."""
    knots = _stops(curve)
    steps = [_step(curve, t) for t in knots]
    vertices: list[Vertex] = []
    for a, b in zip(steps[:-1], steps[1:], strict=True):
        vertices += _stretch(curve, a, b, tolerance_mm, _DEEPEST)
    if curve.closed:
        return Polyline(vertices=tuple(vertices), is_closed=True)
    end = curve.end
    return Polyline(vertices=(*vertices, (end[0], end[1], 0.0)))


def _stops(curve: Spline | EllipseArc) -> list[float]:
    """Parameters to start from: spline knots, or ellipse parameters at most an eighth of a turn apart."""
    if isinstance(curve, Spline):
        low, high = domain(curve)
        inner = [k for k in sorted(set(curve.knots)) if low < k < high]
        return [low, *inner, high]
    count = max(2, math.ceil(abs(curve.sweep_deg) / 45.0))
    return [float(t) for t in np.linspace(0.0, 1.0, count + 1)]


def _step(curve: Spline | EllipseArc, t: float, side: float = 0.0) -> _Step:
    if isinstance(curve, EllipseArc):
        angle = math.radians(curve.start_deg + t * curve.sweep_deg)
        c, s, q = math.cos(angle), math.sin(angle), curve.ratio
        (cx, cy), (mx, my) = curve.center, curve.major
        point = (cx + mx * c - q * my * s, cy + my * c + q * mx * s)
        sign = math.copysign(1.0, curve.sweep_deg)
        tangent = (sign * (-mx * s - q * my * c), sign * (-my * s + q * mx * c))
    else:
        point = curve.at(t)
        low, high = domain(curve)
        h = 1e-6 * (high - low)
        before, after = curve.at(max(t - h, low)), curve.at(min(t + h, high))
        if side > 0.0 and t + h < high:
            before = point
        if side < 0.0 and t - h > low:
            after = point
        tangent = (after[0] - before[0], after[1] - before[1])
    size = math.hypot(*tangent) or 1.0
    return t, point, (tangent[0] / size, tangent[1] / size)


def _stretch(curve: Spline | EllipseArc, a: _Step, b: _Step, tolerance_mm: float, depth: int) -> list[Vertex]:
    """Vertices from a to just before b."""
    a, b = _step(curve, a[0], 1.0), _step(curve, b[0], -1.0)
    found = _biarc(a, b)
    if depth == 0 or _within(curve, a, b, found, tolerance_mm):
        return found
    middle = _step(curve, (a[0] + b[0]) / 2)
    return [
        *_stretch(curve, a, middle, tolerance_mm, depth - 1),
        *_stretch(curve, middle, b, tolerance_mm, depth - 1),
    ]


def _biarc(a: _Step, b: _Step) -> list[Vertex]:
    (_, (x0, y0), (ux, uy)), (_, (x1, y1), (vx, vy)) = a, b
    dx, dy = x1 - x0, y1 - y0
    chord2 = dx * dx + dy * dy
    if chord2 == 0.0:
        return []
    # |d - k (u + v)| = 2 k, solved for the control length k > 0.
    sx, sy = ux + vx, uy + vy
    qa, qb, qc = 4.0 - (sx * sx + sy * sy), dx * sx + dy * sy, -chord2
    if qa < 1e-12:
        k = math.sqrt(chord2) / 2 if qb <= 0.0 else chord2 / (2 * qb)
    else:
        k = (-qb + math.sqrt(max(qb * qb - qa * qc, 0.0))) / qa
    jx, jy = (x0 + x1 + k * (ux - vx)) / 2, (y0 + y1 + k * (uy - vy)) / 2
    return [(x0, y0, _bulge((ux, uy), (jx - x0, jy - y0))), (jx, jy, -_bulge((-vx, -vy), (jx - x1, jy - y1)))]


def _bulge(tangent: Point, chord: Point) -> float:
    """Tangent of half the angle from the tangent to the chord: a quarter of the arc's included angle."""
    cross = tangent[0] * chord[1] - tangent[1] * chord[0]
    dot = tangent[0] * chord[0] + tangent[1] * chord[1]
    return math.tan(math.atan2(cross, dot) / 2)


def _within(curve: Spline | EllipseArc, a: _Step, b: _Step, vertices: list[Vertex], tolerance_mm: float) -> bool:
    """Tell whether points along the curve lie on the arcs, and the arcs do not run far longer than the curve."""
    if not vertices:
        return True
    ends = [v[:2] for v in vertices[1:]] + [b[1]]
    arcs = [bulge_piece((v[0], v[1]), (e[0], e[1]), v[2]) for v, e in zip(vertices, ends, strict=True)]
    points: Floats = np.array([_step(curve, float(t))[1] for t in np.linspace(a[0], b[0], _SAMPLES + 1)])
    length = float(np.hypot(*np.diff(points, axis=0).T).sum())
    if sum(arc.length_mm for arc in arcs) > 1.2 * length + tolerance_mm:
        return False
    away = np.full(len(points), np.inf)
    for arc in arcs:
        if isinstance(arc, Line):
            d = np.array(arc.end) - arc.start
            normal = np.array([-d[1], d[0]]) / max(math.hypot(*d), 1e-300)
            away = np.minimum(away, np.abs((points - arc.start) @ normal))
        else:
            away = np.minimum(away, np.abs(np.hypot(*(points - arc.center).T) - arc.radius_mm))
    # Samples may miss the worst point by a little; half the tolerance leaves room for that.
    return bool(away.max() <= tolerance_mm / 2)
