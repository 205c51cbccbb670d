"""Exact pieces of B-splines by knot insertion (Boehm 1980; Piegl and Tiller, The NURBS Book, section 5.2)."""

import numpy as np

from nesting.geometry.curves import Floats, Spline


def clamped(spline: Spline) -> Spline:
    """Return the same curve with knots from 0, repeated at both ends, so that it starts and ends on control points."""
    p, knots = spline.degree, spline.knots
    if knots[0] == knots[p] == 0.0 and knots[-1] == knots[-1 - p]:
        return spline
    return between(spline, knots[p], knots[len(spline.control)])


def domain(spline: Spline) -> tuple[float, float]:
    """Return the parameters of the curve's first and last point."""
    return spline.knots[spline.degree], spline.knots[len(spline.control)]


def between(spline: Spline, t0: float, t1: float) -> Spline:
    """Return the piece of a spline from parameter t0 to t1 > t0, both within its domain; its knots count from 0."""
    p = spline.degree
    knots = np.array(spline.knots, dtype=np.float64)
    points = _homogeneous(spline)
    for t in (t0, t1):
        while np.count_nonzero(knots == t) < p:
            knots, points = _with_knot(knots, points, p, t)
    first = int(np.searchsorted(knots, t0, side="right")) - p
    last = int(np.searchsorted(knots, t1, side="left"))
    inner = knots[(knots > t0) & (knots < t1)] - t0
    kept = points[first - 1 : last]
    new_knots = np.concatenate([[0.0] * (p + 1), inner, [t1 - t0] * (p + 1)])
    weights = tuple(float(w) for w in kept[:, 2]) if spline.weights else ()
    control = tuple((float(x / w), float(y / w)) for x, y, w in kept)
    return Spline(degree=p, control=control, knots=tuple(float(k) for k in new_knots), weights=weights)


def _homogeneous(spline: Spline) -> Floats:
    weights = np.array(spline.weights) if spline.weights else np.ones(len(spline.control))
    xy = np.array(spline.control, dtype=np.float64)
    return np.column_stack([xy * weights[:, None], weights])


def _with_knot(knots: Floats, points: Floats, p: int, t: float) -> tuple[Floats, Floats]:
    n = len(points)
    k = int(np.clip(np.searchsorted(knots, t, side="right") - 1, p, n - 1))
    new = np.empty((n + 1, 3))
    new[: k - p + 1] = points[: k - p + 1]
    new[k + 1 :] = points[k:]
    for i in range(k - p + 1, k + 1):
        span = knots[i + p] - knots[i]
        a = (t - knots[i]) / span if span > 0.0 else 0.0
        new[i] = a * points[i] + (1.0 - a) * points[i - 1]
    return np.insert(knots, k + 1, t), new
