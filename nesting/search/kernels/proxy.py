"""How much two shapes overlap, guessed from their inscribed circles: a smooth figure that guides the search.

For circles of radii r and s whose centres are d apart the depth is p = r + s - d.  Below a small e it is replaced by
e^2 / (2e - p), so that it never vanishes and still tells which way is out; the sum over all pairs of circles of
depth x smaller radius stands for the overlap (after Gardeyn, Vanden Berghe & Wauters 2025, arXiv:2509.13329).
"""

import math

import numpy as np

from nesting.search.kernels.arrays import Items, Region, Scratch, Shapes, Singles
from nesting.search.kernels.collide import depth_at
from nesting.search.kernels.compiled import guide_kernel, kernel

EPS_FRACTION = 0.01


@guide_kernel
def summed_depth(
    ax: Singles, ay: Singles, ar: Singles, bx: Singles, by: Singles, br: Singles, x: np.float32, y: np.float32,
    eps: np.float32, enough: np.float32,
) -> tuple[float, float]:  # fmt: skip
    """Return the summed depth of circles a, shifted by (x, y), in circles b, and how many pairs surely overlap.

    Rows of circles are radii `ar` (n,) and `br` (m,) with centres in longer rows.  Stops once something overlaps and
    the sum is above `enough`.  Single precision and no branches inside, so that it runs eight or sixteen at a time.
    """
    total = np.float32(0.0)
    hits = np.float32(0.0)  # a sum and not a maximum: only sums become vector code
    one, none = np.float32(1.0), np.float32(0.0)
    # A thousandth of e keeps circles that merely touch from being called an overlap.
    touch = np.float32(1e-3) * eps
    squared, double = eps * eps, eps + eps
    for i in range(ar.shape[0]):
        px, py, r = ax[i] + x, ay[i] + y, ar[i]
        for j in range(br.shape[0]):
            dx, dy, q = px - bx[j], py - by[j], br[j]
            p = r + q - np.sqrt(dx * dx + dy * dy)
            hits += one if p > touch else none
            under = double - p
            under = under if under > eps else eps
            near = squared / under
            depth = p if p >= eps else near
            total += depth * (q if q < r else r)
        if hits > none and total > enough:
            break
    return total, hits


@guide_kernel
def pole_overlap(
    shapes: Shapes, k: int, s: Scratch, x: float, y: float, items: Items, j: int, stop_at: float
) -> tuple[float, bool]:
    """Return the loss of the candidate in `s`, shifted to (x, y), against item `j`, and whether they surely overlap.

    Stops adding once the overlap is sure and the loss is above `stop_at`.
    """
    m = items.shape[j]
    eps = EPS_FRACTION * 2.0 * max(shapes.radius[k], shapes.radius[m])
    factor = math.sqrt(shapes.scale[k] * shapes.scale[m])
    enough = min((stop_at / factor) ** 2 / math.pi, 1e30)
    total, hits = summed_depth(
        s.pole_x, s.pole_y, shapes.pole_r[shapes.pole_start[k] : shapes.pole_start[k + 1]],
        items.pole_x[j], items.pole_y[j], shapes.pole_r[shapes.pole_start[m] : shapes.pole_start[m + 1]],
        np.float32(x - items.x[j]), np.float32(y - items.y[j]), np.float32(eps), np.float32(enough),
    )  # fmt: skip
    return math.sqrt(math.pi * total + eps * eps) * factor, hits > 0.0


@guide_kernel
def region_overlap(shapes: Shapes, k: int, s: Scratch, x: float, y: float, region: Region) -> tuple[float, bool]:
    """Return how far the candidate's circles stand out of the region, and whether any surely does."""
    p0 = shapes.pole_start[k]
    n = shapes.pole_start[k + 1] - p0
    eps = EPS_FRACTION * 2.0 * shapes.radius[k]
    nx, ny, c = region.limit[0], region.limit[1], region.limit[2]
    limited = nx != 0.0 or ny != 0.0
    total = 0.0
    deepest = -1e300
    for a in range(n):
        ax, ay, r = s.pole_x[a] + x, s.pole_y[a] + y, shapes.pole_r[p0 + a]
        p = r - depth_at(region, ax, ay)
        sure = p - 0.75 * region.step
        if limited:
            q = r - (c - nx * ax - ny * ay)
            p, sure = max(p, q), max(sure, q)
        deepest = max(deepest, sure)
        total += (p if p >= eps else eps * eps / (2.0 * eps - p)) * r * 4.0
    return 2.0 * math.sqrt(math.pi * total + eps * eps) * shapes.scale[k], deepest > 1e-3 * eps


@kernel
def rotate(shapes: Shapes, k: int, turn: float, s: Scratch) -> None:
    """Rotate the vertices, circles and box of shape `k` into `s`."""
    c, sn = math.cos(turn), math.sin(turn)
    if abs(c) < 1e-15:
        c = 0.0
    if abs(sn) < 1e-15:
        sn = 0.0
    v0, p0, r0 = shapes.vertex_start[k], shapes.pole_start[k], shapes.run_start[k]
    x0, y0, x1, y1 = 1e300, 1e300, -1e300, -1e300
    for i in range(shapes.vertex_start[k + 1] - v0):
        px = c * shapes.x[v0 + i] - sn * shapes.y[v0 + i]
        py = sn * shapes.x[v0 + i] + c * shapes.y[v0 + i]
        s.wx[i] = px
        s.wy[i] = py
        x0, x1 = min(x0, px), max(x1, px)
        y0, y1 = min(y0, py), max(y1, py)
    s.box[0], s.box[1], s.box[2], s.box[3] = x0, y0, x1, y1
    for i in range(shapes.pole_start[k + 1] - p0):
        s.pole_x[i] = c * shapes.pole_x[p0 + i] - sn * shapes.pole_y[p0 + i]
        s.pole_y[i] = sn * shapes.pole_x[p0 + i] + c * shapes.pole_y[p0 + i]
    for i in range(shapes.run_start[k + 1] - r0):
        s.run_x[i] = c * shapes.run_x[r0 + i] - sn * shapes.run_y[r0 + i]
        s.run_y[i] = sn * shapes.run_x[r0 + i] + c * shapes.run_y[r0 + i]
