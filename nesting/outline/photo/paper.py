"""A blank sheet of paper in a picture: a bright quadrilateral, its corners where its fitted sides meet."""

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from nesting.errors import InputError
from nesting.outline.fits import FittedLine, fit_line
from nesting.outline.photo.edges import at_strongest, cross
from nesting.outline.photo.lens import Lens, rays_of, seen

Floats = NDArray[np.float64]
Pixels = NDArray[np.uint8]

SHEETS: Final = {"A4": (210.0, 297.0), "A3": (297.0, 420.0), "Letter": (215.9, 279.4)}
"""Width and height in mm: ISO 216:2007; ANSI/ASME Y14.1 size A."""

_LEAST_SHARE: Final = 0.004
_MOST_SHARE: Final = 0.4
_SMALL_PX: Final = 1600
_SAME_PX: Final = 20.0
_MOST_TRIED: Final = 8
_STRAIGHT_PX: Final = 0.6
_SHARP_STEP: Final = 0.05


@dataclass(frozen=True, kw_only=True)
class SeenPaper:
    """Corners (4, 2) in pixels, counter-clockwise as seen, and how far (pixels) the sides are from straight."""

    corners: Floats
    off_px: float
    blur_px: float


def find_papers(pixels: Pixels, lens: Lens, name: str) -> list[SeenPaper]:
    """Return what may be the sheet, the likeliest first; raise `InputError` if nothing may be."""
    height, width = pixels.shape[:2]
    scale = min(1.0, _SMALL_PX / max(height, width))
    small = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    # White is bright in its weakest colour, whatever the lamp's tint.
    white = cv2.GaussianBlur(small.min(axis=2), (5, 5), 0)
    found: list[tuple[float, Floats]] = []
    for light in (white, _evenly_lit(white)):
        levels = np.outer(np.percentile(light, (99.5, 98, 96, 93, 90, 85, 80)), (0.8, 0.85, 0.9, 0.95, 1.0))
        for level in np.unique(levels.round()):
            found += _quads((light > level).astype(np.uint8), light)
    if not found:
        raise InputError(
            f"{name}: no sheet of paper found; lay a white one flat, whole and evenly lit beside the plate, "
            "or print marker sheets ('oddplate plate markers')"
        )
    likely: list[Floats] = []
    for _, quad in sorted(found, key=lambda f: -f[0]):
        if all(float(np.hypot(*(quad.mean(axis=0) - q.mean(axis=0)))) > _SAME_PX for q in likely):
            likely.append(quad)
    papers = [_refined(pixels, (q + 0.5) / scale - 0.5, lens) for q in likely[:_MOST_TRIED]]
    clear = [p for p in papers if p is not None and p.off_px <= max(_STRAIGHT_PX, max(height, width) / 4000)]
    if not clear:
        raise InputError(f"{name}: the paper's sides are not seen clearly; lay it flat and whole in the picture")
    return clear


def _evenly_lit(white: Pixels) -> Pixels:
    """The picture without shadows that have soft edges: only sharp steps are kept and put together again.

    B. K. P. Horn, Determining lightness from an image (1974); the sum of steps by cosine transform.
    """
    tall, wide = (v // 2 * 2 for v in white.shape)
    log = np.log(white[:tall, :wide].astype(np.float64) + 4.0)
    steps = [np.diff(log, axis=k, append=np.take(log, [-1], axis=k)) for k in (0, 1)]
    down, right = (np.where(abs(s) > _SHARP_STEP, s, 0.0) for s in steps)
    bend = np.diff(down, axis=0, prepend=0.0) + np.diff(right, axis=1, prepend=0.0)
    waves = cv2.dct(bend)
    curve = 2 * np.cos(np.pi * np.arange(tall) / tall)[:, None] + 2 * np.cos(np.pi * np.arange(wide) / wide) - 4.0
    curve[0, 0] = 1.0
    waves /= curve
    waves[0, 0] = 0.0
    even = np.exp(cv2.idct(waves))
    scaled = even * (200.0 / np.percentile(even, 99.5))
    found: Pixels = np.pad(scaled.clip(0, 255), [(0, white.shape[k] % 2) for k in (0, 1)], mode="edge").astype(np.uint8)
    return found


def _quads(mask: Pixels, white: Pixels) -> list[tuple[float, Floats]]:
    quads = []
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    for contour in cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]:
        area = cv2.contourArea(contour)
        if not _LEAST_SHARE * mask.size < area < _MOST_SHARE * mask.size:
            continue
        corners = cv2.approxPolyDP(contour, 0.03 * cv2.arcLength(contour, True), True).reshape(-1, 2)
        if len(corners) != 4 or not cv2.isContourConvex(corners):
            continue
        height, width = mask.shape
        if corners.min() < 3 or corners[:, 0].max() > width - 4 or corners[:, 1].max() > height - 4:
            continue  # runs out of the picture
        fill = area / max(cv2.contourArea(corners), 1.0)
        if not 0.94 < fill < 1.06:
            continue
        inner = np.zeros_like(mask)
        cv2.fillConvexPoly(inner, corners, 1)
        levels = white[cv2.erode(inner, np.ones((7, 7), np.uint8)) > 0]
        if not len(levels):
            continue
        evenness = float(levels.mean() / (6.0 + levels.std()))
        quads.append((evenness - 40 * abs(1 - fill), corners.astype(np.float64)))
    return quads


def _refined(pixels: Pixels, corners: Floats, lens: Lens) -> SeenPaper | None:
    x, y = corners.T
    if (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() > 0.0:
        corners = corners[::-1]
    size = float(np.sqrt(cv2.contourArea(corners.astype(np.float32))))
    along = max(4.0, 0.02 * size)
    edge = at_strongest(cross(pixels, _dense(corners), inside=1, reach_px=max(5.0, 0.03 * size), along_px=along))
    edge = at_strongest(cross(pixels, edge.points, inside=1, reach_px=4.0, along_px=along))
    rays = rays_of(lens.values, edge.points)
    sides, offs = [], []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along = b - a
        share = (edge.points - a) @ along / (along @ along)
        off = abs(along[0] * (edge.points - a)[:, 1] - along[1] * (edge.points - a)[:, 0]) / np.hypot(*along)
        near = (share > 0.1) & (share < 0.9) & (off < 0.06 * size)
        if near.sum() < 8:
            return None
        line = fit_line(rays[near])
        keep = abs(line.off) <= 2.5 * np.median(abs(line.off)) + 1e-6
        line = fit_line(rays[near][keep])
        sides.append(line)
        offs.append(float(np.sqrt((line.off**2).mean())) * float(np.exp(lens.values[0])))
    found = np.array([_crossing(sides[k - 1], sides[k]) for k in range(4)])
    return SeenPaper(corners=seen(lens.values, found), off_px=max(offs), blur_px=0.0)


def _dense(corners: Floats) -> Floats:
    parts = [
        a + np.linspace(0, 1, 40, endpoint=False)[:, None] * (b - a)
        for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)
    ]
    return np.concatenate(parts)


def _crossing(one: FittedLine, other: FittedLine) -> Floats:
    cross = float(one.direction[0] * other.direction[1] - one.direction[1] * other.direction[0])
    away = other.middle - one.middle
    at: Floats = one.middle + one.direction * float(away[0] * other.direction[1] - away[1] * other.direction[0]) / cross
    return at
