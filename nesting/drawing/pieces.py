"""Places on a curve and exact pieces of it, by a parameter that runs from 0 at its start to 1 at its end."""

import math

import numpy as np

from nesting.drawing.splines import between, domain
from nesting.geometry.curves import Arc, Curve, EllipseArc, Line, Piece, Polyline, Spline
from nesting.geometry.pose import Point

_SAMPLES = 256


def parameter_of(piece: Piece, point: Point) -> float:
    """Return the parameter of the point of a piece nearest to `point` (for an ellipse arc nearly the nearest)."""
    if isinstance(piece, Line):
        (x0, y0), (x1, y1) = piece.start, piece.end
        dx, dy = x1 - x0, y1 - y0
        along = ((point[0] - x0) * dx + (point[1] - y0) * dy) / max(dx * dx + dy * dy, 1e-300)
        return min(max(along, 0.0), 1.0)
    if isinstance(piece, Spline):
        return _spline_parameter(piece, point)
    px, py = point[0] - piece.center[0], point[1] - piece.center[1]
    if isinstance(piece, Arc):
        angle = math.degrees(math.atan2(py, px))
    else:
        mx, my = piece.major
        angle = math.degrees(math.atan2((mx * py - my * px) / piece.ratio, mx * px + my * py))
    return _turned(angle - piece.start_deg, piece.sweep_deg)


def distance_to(piece: Piece, point: Point) -> float:
    """Return the distance from a point to a piece."""
    t = parameter_of(piece, point)
    return math.dist(point, piece.start if t <= 0.0 else piece_between(piece, 0.0, t).end)


def piece_between(piece: Piece, t0: float, t1: float) -> Piece:
    """Return the piece from parameter t0 to t1 > t0; the whole of it unchanged for 0 and 1."""
    if t0 <= 0.0 and t1 >= 1.0:
        return piece
    if isinstance(piece, Line):
        return Line(start=_on_line(piece, t0), end=_on_line(piece, t1))
    if isinstance(piece, Spline):
        low, high = domain(piece)
        return between(piece, low + t0 * (high - low), low + t1 * (high - low))
    start, sweep = piece.start_deg + t0 * piece.sweep_deg, (t1 - t0) * piece.sweep_deg
    if isinstance(piece, Arc):
        return Arc(center=piece.center, radius_mm=piece.radius_mm, start_deg=start % 360.0, sweep_deg=sweep)
    return EllipseArc(center=piece.center, major=piece.major, ratio=piece.ratio, start_deg=start, sweep_deg=sweep)


def middle(curve: Curve) -> Point:
    """Return a point that is the same for a curve and its reverse, and differs for curves of another course."""
    if isinstance(curve, Line):
        return ((curve.start[0] + curve.end[0]) / 2, (curve.start[1] + curve.end[1]) / 2)
    if isinstance(curve, Polyline):
        xy = np.array([v[:2] for v in curve.vertices])
        bulges = sum(v[2] for v in curve.vertices)
        mean = xy.mean(axis=0)
        return (float(mean[0] + abs(bulges)), float(mean[1]))
    if isinstance(curve, Spline):
        mean = np.array(curve.control).mean(axis=0)
        return (float(mean[0]), float(mean[1]))
    return piece_between(curve, 0.0, 0.5).end


def with_ends(curve: Curve, start: Point | None, end: Point | None) -> Curve | None:
    """Return a line or open polyline with its ends moved; None for curves whose ends cannot move alone."""
    if isinstance(curve, Line):
        return Line(start=start or curve.start, end=end or curve.end)
    if isinstance(curve, Polyline) and not curve.is_closed:
        first, *_, last = curve.vertices
        a = (*start, first[2]) if start else first
        b = (*end, last[2]) if end else last
        return Polyline(vertices=(a, *curve.vertices[1:-1], b), is_closed=False)
    return None


def _turned(angle_deg: float, sweep_deg: float) -> float:
    """Angle from the start as a part of the sweep; what lies outside goes to the nearer end."""
    sign = math.copysign(1.0, sweep_deg)
    along = (sign * angle_deg) % 360.0
    total = abs(sweep_deg)
    if along > total:
        return 1.0 if along - total < 360.0 - along else 0.0
    return along / total


def _on_line(line: Line, t: float) -> Point:
    if t <= 0.0:
        return line.start
    if t >= 1.0:
        return line.end
    return (
        line.start[0] + t * (line.end[0] - line.start[0]),
        line.start[1] + t * (line.end[1] - line.start[1]),
    )


def _spline_parameter(spline: Spline, point: Point) -> float:
    """Nearest by samples, then by halving the step around the best."""
    low, high = domain(spline)
    evaluate = spline.at
    ts = np.linspace(low, high, _SAMPLES)
    xy = np.array([evaluate(float(t)) for t in ts])
    best = float(ts[int(np.argmin(np.hypot(*(xy - point).T)))])
    step = (high - low) / _SAMPLES
    while step > 1e-13 * (high - low):
        around = [min(max(best + k * step, low), high) for k in (-1.0, -0.5, 0.0, 0.5, 1.0)]
        best = min(around, key=lambda t: math.dist(evaluate(t), point))
        step *= 0.5
    return (best - low) / (high - low)
