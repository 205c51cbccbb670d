"""How much two shapes overlap, guessed from their inscribed circles: a smooth figure that guides the search.

For circles of radii r and s whose centres are d apart the depth is p = r + s - d.  Below a small e it is replaced by
e^2 / (2e - p), so that it never vanishes and still tells which way is out; the sum over all pairs of circles of
depth x smaller radius stands for the overlap (after Gardeyn, Vanden Berghe & Wauters 2025, arXiv:2509.13329).
"""

import math

import numpy as np

from nesting.search.kernels.arrays import POLES, Items, Region, Scratch, Shapes, Singles
from nesting.search.kernels.collide import depth_at
from nesting.search.kernels.compiled import guide_kernel, inner_kernel

EPS_FRACTION = 0.01


@guide_kernel
def depth_of_two(
    dx: np.float32, dy: np.float32, r: np.float32, q: np.float32, eps: np.float32, touch: np.float32
) -> tuple[float, float]:  # fmt: skip
    """Return the weighed depth of two circles of radii `r` and `q`, and 1 if they surely overlap, else 0."""
    p = r + q - np.sqrt(dx * dx + dy * dy)
    under = eps + eps - p
    near = eps * eps / (under if under > eps else eps)
    depth = p if p >= eps else near
    return depth * (q if q < r else r), np.float32(1.0) if p > touch else np.float32(0.0)


@guide_kernel
def summed_depth(
    ax: Singles, ay: Singles, ar: Singles, n: int, bx: Singles, by: Singles, br: Singles,
    x: np.float32, y: np.float32, eps: np.float32, enough: np.float32,
) -> tuple[float, float]:  # fmt: skip
    """Return the summed depth of `n` circles a, shifted by (x, y), in circles b, and how many pairs surely overlap.

    Rows are POLES long; what they hold beyond their circles weighs nothing.  Stops once something overlaps and the sum
    is above `enough`.  Single precision, no branches inside and a fixed length, so that it runs eight or sixteen at a
    time; four circles a at once, since adding up a vector's own numbers costs as much as several vectors.
    """
    total = np.float32(0.0)
    hits = np.float32(0.0)  # a sum and not a maximum: only sums become vector code
    # A thousandth of e keeps circles that merely touch from being called an overlap.
    touch = np.float32(1e-3) * eps
    for i in range(0, n, 4):
        ax0, ay0, ar0 = ax[i] + x, ay[i] + y, ar[i]
        ax1, ay1, ar1 = ax[i + 1] + x, ay[i + 1] + y, ar[i + 1]
        ax2, ay2, ar2 = ax[i + 2] + x, ay[i + 2] + y, ar[i + 2]
        ax3, ay3, ar3 = ax[i + 3] + x, ay[i + 3] + y, ar[i + 3]
        for j in range(POLES):
            cx, cy, q = bx[j], by[j], br[j]
            depth0, hit0 = depth_of_two(ax0 - cx, ay0 - cy, ar0, q, eps, touch)
            depth1, hit1 = depth_of_two(ax1 - cx, ay1 - cy, ar1, q, eps, touch)
            depth2, hit2 = depth_of_two(ax2 - cx, ay2 - cy, ar2, q, eps, touch)
            depth3, hit3 = depth_of_two(ax3 - cx, ay3 - cy, ar3, q, eps, touch)
            total += (depth0 + depth1) + (depth2 + depth3)
            hits += (hit0 + hit1) + (hit2 + hit3)
        if hits > np.float32(0.0) and total > enough:
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
        s.pole_x, s.pole_y, shapes.pole_r[k], shapes.poles[k], items.pole_x[j], items.pole_y[j], shapes.pole_r[m],
        np.float32(x - items.x[j]), np.float32(y - items.y[j]), np.float32(eps), np.float32(enough),
    )  # fmt: skip
    return math.sqrt(math.pi * total + eps * eps) * factor, hits > 0.0


@guide_kernel
def region_overlap(shapes: Shapes, k: int, s: Scratch, x: float, y: float, region: Region) -> tuple[float, bool]:
    """Return how far the candidate's circles stand out of the region, and whether any surely does."""
    eps = EPS_FRACTION * 2.0 * shapes.radius[k]
    nx, ny, c = region.limit[0], region.limit[1], region.limit[2]
    limited = nx != 0.0 or ny != 0.0
    total = 0.0
    deepest = -1e300
    for a in range(shapes.poles[k]):
        ax, ay, r = s.pole_x[a] + x, s.pole_y[a] + y, shapes.pole_r[k, a]
        p = r - depth_at(region, ax, ay)
        sure = p - 0.75 * region.step
        if limited:
            q = r - (c - nx * ax - ny * ay)
            p, sure = max(p, q), max(sure, q)
        deepest = max(deepest, sure)
        total += (p if p >= eps else eps * eps / (2.0 * eps - p)) * r * 4.0
    return 2.0 * math.sqrt(math.pi * total + eps * eps) * shapes.scale[k], deepest > 1e-3 * eps


@inner_kernel
def rotate(shapes: Shapes, k: int, turn: float, s: Scratch) -> None:
    """Rotate the vertices, circles and box of shape `k` into `s`."""
    c, sn = math.cos(turn), math.sin(turn)
    if abs(c) < 1e-15:
        c = 0.0
    if abs(sn) < 1e-15:
        sn = 0.0
    v0, r0 = shapes.vertex_start[k], shapes.run_start[k]
    x0, y0, x1, y1 = 1e300, 1e300, -1e300, -1e300
    for i in range(shapes.vertex_start[k + 1] - v0):
        px = c * shapes.x[v0 + i] - sn * shapes.y[v0 + i]
        py = sn * shapes.x[v0 + i] + c * shapes.y[v0 + i]
        s.wx[i] = px
        s.wy[i] = py
        x0, x1 = min(x0, px), max(x1, px)
        y0, y1 = min(y0, py), max(y1, py)
    s.box[0], s.box[1], s.box[2], s.box[3] = x0, y0, x1, y1
    for i in range(POLES):
        s.pole_x[i] = c * shapes.pole_x[k, i] - sn * shapes.pole_y[k, i]
        s.pole_y[i] = sn * shapes.pole_x[k, i] + c * shapes.pole_y[k, i]
    for i in range(shapes.run_start[k + 1] - r0):
        s.run_x[i] = c * shapes.run_x[r0 + i] - sn * shapes.run_y[r0 + i]
        s.run_y[i] = sn * shapes.run_x[r0 + i] + c * shapes.run_y[r0 + i]
