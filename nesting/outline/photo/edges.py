"""Where exactly an edge lies: profiles of colour across it, averaged along it, cut in two where that leaves least.

Beside a plate's edge lie its own shadow and its cut face; the step that counts is the innermost, where the colour of
the plate's face ends.  How wide the cut face is seen the camera tells; the shadow falls one way all over the plate, so
that where it falls is found from all of the edge at once.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, median_filter, uniform_filter1d

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Picture = NDArray[np.uint8]
Face = Callable[[Floats, Floats], Floats]

SAMPLE_PX: Final = 0.5
_LEAST_PIECE: Final = 3
LIGHTNESS: Final = 0.2
_LEAST_STEP: Final = 4.0
_OVER_GRAIN: Final = 1.8
_DIRECTIONS: Final = 36
_LENGTHS: Final = 14
_LEAST_BAND: Final = 1.2
_WEAK: Final = 2.0


@dataclass(frozen=True, kw_only=True)
class Edge:
    """Points (n, 2) round a contour in pixels, evenly apart; `clear` where the colours on both sides differ enough."""

    points: Floats
    clear: Bools


@dataclass(frozen=True, kw_only=True)
class Crossed:
    """Profiles across a contour: (n, s, 3) from the plate outwards at samples `away` from `points` along `normals`.

    `main` (n,) is the sample of the strongest step, `clear` whether it stands out from the grain.
    """

    points: Floats
    normals: Floats
    away: Floats
    profiles: Floats
    main: Floats
    clear: Bools


def cross(picture: Picture, contour: Floats, *, inside: int, reach_px: float, along_px: float) -> Crossed:
    """Take profiles across a contour.

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
    main, clear = _steps(mean)
    return Crossed(points=points, normals=normals, away=away, profiles=mean, main=main, clear=clear)


def at_strongest(crossed: Crossed) -> Edge:
    """The edge where the strongest steps are."""
    return _moved(crossed, crossed.main)


def at_innermost(edges: Sequence[Crossed], *, face: Face, longest_px: float, near_px: float) -> list[Edge]:
    """The edges where the plate's face ends, within its cut face and shadow where those are seen.

    `face` tells how many pixels of the cut face are seen beyond the edge at points with outward normals;
    `longest_px` how long the plate's shadow may be; `near_px` within what a step counts as where it is looked for.
    """
    looks = [_Look(c, face, near_px) for c in edges]
    angles = np.arange(_DIRECTIONS) * 2 * np.pi / _DIRECTIONS
    lengths = np.linspace(longest_px / _LENGTHS, longest_px, _LENGTHS)
    shadows = [np.zeros(2), *(r * np.array([np.cos(a), np.sin(a)]) for r in lengths for a in angles)]
    gains = [sum(float(look.gain(s).sum()) for look in looks) for s in shadows]
    shadow = shadows[int(np.argmax(gains))]
    return [look.edge(shadow) for look in looks]


class _Look:
    """Steps of one contour's profiles, to be asked for where a shadow would put the edge."""

    def __init__(self, crossed: Crossed, face: Face, near_px: float) -> None:
        self.crossed = crossed
        self.faces = face(crossed.points, crossed.normals).clip(0.0) / SAMPLE_PX
        self.near = max(2, round(near_px / SAMPLE_PX))
        half = max(_LEAST_PIECE, round(1.5 * near_px / SAMPLE_PX))
        sums = np.pad(crossed.profiles.cumsum(axis=1), ((0, 0), (1, 0), (0, 0)))
        middle = sums[:, half:-half]
        steps = np.linalg.norm(sums[:, 2 * half :] - 2 * middle + sums[:, : -2 * half], axis=2) / half
        self.steps = np.pad(steps, ((0, 0), (half, half)))
        self.tops = maximum_filter1d(self.steps, 2 * self.near + 1, axis=1)
        self.least = max(_LEAST_BAND * half, 4.0)
        plain = np.median(steps[:, : max(3, steps.shape[1] // 3)], axis=1)
        self.usual = _OVER_GRAIN * plain + _LEAST_STEP

    def bands(self, shadow: Floats) -> Floats:
        """Samples from the edge to the strongest step, if that is where the shadow ends; 0 where neither is seen."""
        bands = self.faces + (self.crossed.normals @ shadow).clip(0.0) / SAMPLE_PX
        return np.where(bands > self.least, bands, 0.0)

    def gain(self, shadow: Floats) -> Floats:
        """By how much the steps stand out from the grain there."""
        bands = self.bands(shadow)
        at = np.round(self.crossed.main - bands).astype(np.int64).clip(0, self.tops.shape[1] - 1)
        found = self.tops[np.arange(len(at)), at] - self.usual
        return np.where(bands > 0.0, np.minimum(found, 3 * self.usual), 0.0)

    def edge(self, shadow: Floats) -> Edge:
        """The edge with a shadow like that."""
        bands = self.bands(shadow)
        n = len(bands)
        real = median_filter((self.gain(shadow) > 0.0).astype(np.int8), size=min(13, n), mode="wrap") > 0
        at = np.round(self.crossed.main - bands).astype(np.int64)
        around = (at[:, None] + np.arange(-self.near, self.near + 1)).clip(0, self.steps.shape[1] - 1)
        best = around[np.arange(n), self.steps[np.arange(n)[:, None], around].argmax(axis=1)]
        # A step between samples k - 1 and k.
        return _moved(self.crossed, np.where(real & (bands > 0.0), best - 0.5, self.crossed.main))


def _moved(crossed: Crossed, samples: Floats) -> Edge:
    offsets = np.interp(samples, np.arange(len(crossed.away)), crossed.away)
    offsets = median_filter(offsets, size=min(7, len(offsets)), mode="wrap")
    offsets = gaussian_filter1d(offsets, 1.0, mode="wrap")
    return Edge(points=crossed.points + crossed.normals * offsets[:, None], clear=crossed.clear)


def hues(colours: Floats) -> Floats:
    """Colour as it is in any light, and a little of the lightness, which is all that shadows change."""
    blue, green, red = np.moveaxis(colours, 2, 0)
    light = blue + green + red
    apart = np.stack([red - blue, green - (red + blue) / 2], axis=2) * (300.0 / (light + 15.0))[..., None]
    return np.concatenate([apart, LIGHTNESS * light[..., None] / 3], axis=2)


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


def _steps(profiles: Floats) -> tuple[Floats, Bools]:
    """For (n, s, 3) profiles: the sample of the best cut in two by least squares, and whether it stands out."""
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
    return _halfway(profiles, main, inner, outer), contrast > _WEAK * grain


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
