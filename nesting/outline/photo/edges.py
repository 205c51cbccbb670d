"""Where exactly an edge lies: profiles of colour across it, averaged along it, cut in two where that leaves least.

Beside a plate's edge lie its own shadow and its cut face; the step that counts is the innermost, where the colour of
the plate's face ends.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter, uniform_filter1d

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Picture = NDArray[np.uint8]
Face = Callable[[Floats, Floats], Floats]

SAMPLE_PX: Final = 0.5
_LEAST_PIECE: Final = 3
_LEAST_STEP: Final = 10.0
_FACE_SHARE: Final = 0.45
_LEAST_FACE_PX: Final = 1.5
_GAP_ALONG: Final = 2.0
_WEAK: Final = 2.0


@dataclass(frozen=True, kw_only=True)
class Edge:
    """Points (n, 2) round a contour in pixels, evenly apart; `clear` where the colours on both sides differ enough."""

    points: Floats
    clear: Bools
    contrast: Floats


def refine(
    picture: Picture, contour: Floats, *, inside: int, reach_px: float, along_px: float, face: Face | None = None
) -> Edge:
    """Move a contour onto the edge of the plate's face.

    `inside` is 1 where the plate lies inside the contour, -1 for a hole; `reach_px` how far the edge may be away;
    `along_px` over what length profiles are averaged.  `face` tells how many pixels of the cut face are seen
    beyond the edge at points with outward normals: where there is a step that far within, it is the edge.
    """
    step = max(1.0, along_px / 6)
    points, normals = _even(contour, step)
    normals = normals * inside
    half = round(reach_px / SAMPLE_PX)
    away = np.arange(-half, half + 1) * SAMPLE_PX
    at = points[:, None, :] + normals[:, None, :] * away[:, None]
    profiles = cv2.remap(
        picture, at[..., 0].astype(np.float32), at[..., 1].astype(np.float32), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    ).astype(np.float64)  # fmt: skip
    width = min(len(points) // 4 * 2 - 1, 2 * round(along_px / step / 2) + 1)
    mean = uniform_filter1d(profiles, max(width, 1), axis=0, mode="wrap")
    found, gap, contrast, grain = _steps(
        mean, np.zeros(len(points)) if face is None else _samples(face(points, normals))
    )
    near = min(len(points), 2 * round(_GAP_ALONG * along_px / step / 2) + 1)
    offsets = np.interp(found, np.arange(len(away)), away) - median_filter(gap, size=near, mode="wrap") * SAMPLE_PX
    offsets = median_filter(offsets, size=min(5, len(offsets)), mode="wrap")
    offsets = gaussian_filter1d(offsets, 1.0, mode="wrap")
    clear = contrast > _WEAK * grain
    return Edge(points=points + normals * offsets[:, None], clear=clear, contrast=contrast)


def _samples(faces_px: Floats) -> Floats:
    """Widths in samples; none where the face is hardly seen."""
    return np.where(faces_px > _LEAST_FACE_PX, faces_px / SAMPLE_PX, 0.0)


def _even(contour: Floats, step: float) -> tuple[Floats, Floats]:
    """Points evenly round a contour and their outward normals, smoothed over a few steps of the contour."""
    closed = np.vstack([contour, contour[:1]])
    lengths = np.hypot(*np.diff(closed, axis=0).T)
    run = np.concatenate([[0.0], lengths.cumsum()])
    count = max(12, round(run[-1] / step))
    at = np.arange(count) / count * run[-1]
    points = np.column_stack([np.interp(at, run, closed[:, k]) for k in range(2)])
    smooth = gaussian_filter1d(points, min(2.0, count / 20), axis=0, mode="wrap")
    along = np.roll(smooth, -1, axis=0) - np.roll(smooth, 1, axis=0)
    along /= np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    x, y = smooth.T
    area = (x * np.roll(y, -1) - np.roll(x, -1) * y).sum()
    normals = np.column_stack([along[:, 1], -along[:, 0]]) * np.sign(area)
    return smooth, normals


def _steps(profiles: Floats, faces: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """For (n, s, 3) profiles from the plate outwards: where they step, and how far within there is another step.

    Returned are the sample of the strongest step (best cut in two by least squares), the samples by which one further
    in precedes it (0 where there is none about `faces` samples away), the contrast at the step and the grain beside it.
    """
    n, s, _ = profiles.shape
    sums = np.concatenate([np.zeros((n, 1, 3)), profiles.cumsum(axis=1)], axis=1)
    squares = (profiles**2).sum(axis=(1, 2))
    rows = np.arange(n)
    cuts = np.arange(_LEAST_PIECE, s - _LEAST_PIECE + 1)
    first, rest = sums[:, cuts], sums[:, -1:] - sums[:, cuts]
    cost = squares[:, None] - (first**2).sum(axis=2) / cuts - (rest**2).sum(axis=2) / (s - cuts)
    main = cuts[cost.argmin(axis=1)]
    inner = sums[rows, main] / main[:, None]
    outer = (sums[:, -1] - sums[rows, main]) / (s - main)[:, None]
    contrast = np.sqrt(((outer - inner) ** 2).sum(axis=1))
    grain = np.sqrt(cost.min(axis=1).clip(0.0) / s)
    gap = _inner_step(sums, main, faces) if (faces > 0.0).any() else np.zeros(n)
    return _halfway(profiles, main, inner, outer), gap, contrast, grain


def _inner_step(sums: Floats, main: Ints, faces: Floats) -> Floats:
    """By how many samples a step precedes the main one about as far as the cut face is wide; 0 where none does."""
    n, s = len(sums), sums.shape[1] - 1
    a = max(_LEAST_PIECE, round(float(np.median(faces[faces > 0.0])) * 0.6))
    cuts = np.arange(a, s - a + 1)
    before, after = (sums[:, cuts] - sums[:, cuts - a]) / a, (sums[:, cuts + a] - sums[:, cuts]) / a
    steps = np.sqrt(((after - before) ** 2).sum(axis=2))
    ahead = main[:, None] - cuts
    within = abs(ahead - faces[:, None]) <= np.maximum(_FACE_SHARE * faces, 3.0)[:, None]
    # A rise towards the main step is that step seen from afar: only a top is another one.
    top = (steps >= np.roll(steps, 1, axis=1)) & (steps >= np.roll(steps, -1, axis=1))
    peak = np.where(within & top & (faces > 0.0)[:, None], steps, 0.0)
    best = peak.argmax(axis=1)
    real = peak[np.arange(n), best] > _LEAST_STEP
    return np.where(real, main - cuts[best], 0).astype(np.float64)


def _halfway(profiles: Floats, edge: Ints, inner: Floats, outer: Floats) -> Floats:
    """Sample at which profiles pass halfway from inner to outer colour, nearest to the cut."""
    n, s, _ = profiles.shape
    across = outer - inner
    levels = ((profiles - inner[:, None]) * across[:, None]).sum(axis=2) / np.maximum((across**2).sum(axis=1), 1e-9)[
        :, None
    ]
    found = edge - 0.5
    nearest = np.full(n, 4.0)
    for k in range(s - 1):
        a, b = levels[:, k] - 0.5, levels[:, k + 1] - 0.5
        at = k + a / np.where(np.abs(a - b) > 1e-9, a - b, 1e-9)
        away = np.abs(at - (edge - 0.5))
        crosses = (a <= 0.0) & (b > 0.0) & (away < nearest)
        found = np.where(crosses, at, found)
        nearest = np.where(crosses, away, nearest)
    return found
