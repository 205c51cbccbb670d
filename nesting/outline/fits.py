"""Straight lines and circles through measured points, nearest in the sense of least squares of distances."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class FittedLine:
    """A point on the line (the points' middle), its unit direction, and the points' distances, left positive."""

    middle: Floats
    direction: Floats
    off: Floats


@dataclass(frozen=True, kw_only=True)
class FittedCircle:
    """Centre, radius, the points' distances from it (outside positive) and the covariance of (x, y, r).

    The covariance is that of points scattering by 1 mm.
    """

    center: Floats
    radius_mm: float
    off: Floats
    covariance: Floats


def fit_line(points: ArrayLike) -> FittedLine:
    """Return the line nearest to (n, 2) points, n >= 2, pointing from the first to the last.

    Raise ValueError if all points are one.
    """
    xy = np.asarray(points, dtype=np.float64)
    middle = xy.mean(axis=0)
    _, spread, axes = np.linalg.svd(xy - middle, full_matrices=False)
    if not spread[0] > 0.0:
        raise ValueError("all points are one")
    direction = axes[0] if axes[0] @ (xy[-1] - xy[0]) >= 0.0 else -axes[0]
    away = xy - middle
    off = direction[0] * away[:, 1] - direction[1] * away[:, 0]
    return FittedLine(middle=middle, direction=direction, off=off)


def fit_circle(points: ArrayLike) -> FittedCircle:
    """Return the circle nearest to (n, 2) points, n >= 3.

    Begins at the algebraic fit (linear in x, y and x2 + y2) and makes distances least.  Raise ValueError if the
    points lie in one line.
    """
    xy = np.asarray(points, dtype=np.float64)
    middle = xy.mean(axis=0)
    size = float(np.abs(xy - middle).max())
    if not size > 0.0 or np.linalg.svd((xy - middle) / size, compute_uv=False)[1] < 1e-6:
        raise ValueError("the points lie in one line")
    unit = (xy - middle) / size
    system = np.column_stack([2 * unit, np.ones(len(unit))])
    a, b, c = np.linalg.lstsq(system, (unit**2).sum(axis=1), rcond=None)[0]
    begin = np.array([a, b, np.sqrt(c + a * a + b * b)])

    def off(v: Floats) -> Floats:
        distances: Floats = np.hypot(*(unit - v[:2]).T) - v[2]
        return distances

    found = least_squares(off, begin, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    x, y, r = found.x
    return FittedCircle(
        center=middle + size * np.array([x, y]),
        radius_mm=float(size * r),
        off=size * off(found.x),
        covariance=np.linalg.pinv(found.jac.T @ found.jac),
    )


def worst_circle_sigma(fit: FittedCircle) -> float:
    """Standard deviation of the circle's edge at its worst place, for points scattering by 1 mm."""
    angles = np.radians(np.arange(0.0, 360.0, 5.0))
    normals = np.column_stack([np.cos(angles), np.sin(angles), np.ones(len(angles))])
    return float(np.sqrt(np.einsum("ij,jk,ik->i", normals, fit.covariance, normals).max()))
