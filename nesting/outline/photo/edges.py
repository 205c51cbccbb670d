"""Where exactly an edge lies: profiles of colour across it, averaged along it, cut in two where that leaves least.

Where the camera sees the plate's cut face beside the edge, the strongest step may be at the end of either: the edge is
taken to lie within the cut face, which the camera's place tells the width of.
"""

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter, uniform_filter1d

from nesting.outline.photo.colours import Likely, hues

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Picture = NDArray[np.uint8]

SAMPLE_PX: Final = 0.5
_LEAST_PIECE: Final = 3
_WEAK: Final = 2.0


@dataclass(frozen=True, kw_only=True)
class Edge:
    """Points (n, 2) round a contour in pixels, evenly apart; `clear` where the colours on both sides differ enough."""

    points: Floats
    clear: Bools


@dataclass(frozen=True, kw_only=True)
class Crossed:
    """Profiles across a contour: (n, s, c) from the plate outwards at samples `away` from `points` along `normals`.

    `main` (n,) is the sample of the strongest step, `clear` whether it stands out from the grain.
    """

    points: Floats
    normals: Floats
    away: Floats
    profiles: Floats
    main: Floats
    clear: Bools


def cross(
    picture: Picture, contour: Floats, *, inside: int, reach_px: float, along_px: float, likely: Likely | None = None
) -> Crossed:
    """Take profiles of colour across a contour, or of how likely it is floor.

    `inside` is 1 where the plate lies inside the contour, -1 for a hole; `reach_px` how far the edge may be away;
    `along_px` over what length profiles are averaged.
    """
    step = max(1.0, along_px / 6)
    points, normals = _even(contour, step)
    normals = normals * inside
    half = round(reach_px / SAMPLE_PX)
    away: Floats = np.arange(-half, half + 1, dtype=np.float64) * SAMPLE_PX
    at = (points[:, None, :] + normals[:, None, :] * away[:, None]).astype(np.float32)
    profiles = cv2.remap(picture, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    width = min(len(points) // 4 * 2 - 1, 2 * round(along_px / step / 2) + 1)
    mean = hues(uniform_filter1d(profiles.astype(np.float64), max(width, 1), axis=0, mode="wrap"))
    if likely is not None:
        mean = likely.floor(mean)[..., None]
    main, clear = _steps(mean, rising=likely is not None)
    return Crossed(points=points, normals=normals, away=away, profiles=mean, main=main, clear=clear)


def at_strongest(crossed: Crossed, within_px: Floats | float = 0.0) -> Edge:
    """The edge where the strongest steps are, or `within_px` of there."""
    return _moved(crossed, crossed.main - within_px / SAMPLE_PX)


def _moved(crossed: Crossed, samples: Floats) -> Edge:
    offsets = np.interp(samples, np.arange(len(crossed.away)), crossed.away)
    offsets = median_filter(offsets, size=min(7, len(offsets)), mode="wrap")
    offsets = gaussian_filter1d(offsets, 1.0, mode="wrap")
    return Edge(points=crossed.points + crossed.normals * offsets[:, None], clear=crossed.clear)


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


def _steps(profiles: Floats, *, rising: bool) -> tuple[Floats, Bools]:
    """For (n, s, c) profiles: the sample of the best cut in two by least squares, and whether it stands out.

    One that must be `rising` stands out only if it goes from below 0 to above.
    """
    n, s, channels = profiles.shape
    sums = np.concatenate([np.zeros((n, 1, channels)), profiles.cumsum(axis=1)], axis=1)
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
    clear = contrast > _WEAK * grain
    if rising:
        clear &= (inner[:, 0] < 0.0) & (outer[:, 0] > 0.0)
    return _halfway(profiles, main, inner, outer), clear


def _halfway(profiles: Floats, edge: Ints, inner: Floats, outer: Floats) -> Floats:
    """Sample at which profiles pass halfway from inner to outer colour, nearest to the cut."""
    n, s, _ = profiles.shape
    across = outer - inner
    levels = ((profiles - inner[:, None]) * across[:, None]).sum(axis=2) / np.maximum((across**2).sum(axis=1), 1e-9)[
        :, None
    ]
    found: Floats = edge.astype(np.float64) - 0.5
    nearest = np.full(n, 4.0)
    for k in range(s - 1):
        a, b = levels[:, k] - 0.5, levels[:, k + 1] - 0.5
        at = k + a / np.where(np.abs(a - b) > 1e-9, a - b, 1e-9)
        away = np.abs(at - (edge - 0.5))
        crosses = (a <= 0.0) & (b > 0.0) & (away < nearest)
        found = np.where(crosses, at, found)
        nearest = np.where(crosses, away, nearest)
    return found
