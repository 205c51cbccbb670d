"""Which pixels are plate: colours of floor and plate are learnt from the picture's rim and middle, then cut apart.

The first cut is the cheapest one along edges of the picture (C. Rother, V. Kolmogorov, A. Blake, 2004), on a small copy
of the picture in which lightness counts for little beside colour, since shadows change lightness.  It likes short edges
and may close a hole: what each place's colour is likelier to be, plate or the floor beside it, then has the last word.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from nesting.errors import InputError
from nesting.outline.photo.colours import Likely, hues

Floats = NDArray[np.float64]
Picture = NDArray[np.uint8]
Bools = NDArray[np.bool_]

SMALL_PX: Final = 640
"""Long side of the copy in which plate and floor are told apart; edges are found in the picture itself."""

RIM: Final = 0.04
_LEAST_PLATE: Final = 0.02
_MIDDLE: Final = 0.12
_WIDE_RIM: Final = 0.12
_COLOURS: Final = 10
_ROUNDS: Final = 3
_AROUND: Final = 40
_MOST_TURNS: Final = 4
_SETTLED, _UNSETTLED = 0.002, 0.02
_MOST_ALIKE: Final = 0.3
_FINE_PX: Final = 1600
_COMPACT: Final = 0.6
_DARK: Final = 35.0
_SURELY_FLOOR: Final = 1.8


@dataclass(frozen=True, kw_only=True)
class Steel:
    """Contours in pixels of the picture, (n, 2) each, no finer than `step_px`: the plate's edge, and its holes.

    `likely` is what colours tell of plate and floor.
    """

    edge: Floats
    holes: tuple[Floats, ...]
    step_px: float
    likely: Likely


def find_steel(
    picture: Picture, *, floor: list[Floats], face: list[Floats], middle: Floats | None = None, least_hole_px: float
) -> Steel:
    """Return what lies in the middle of a picture, or at the pixel `middle`, and is not floor.

    `floor` and `face` are (n, 2) outlines in pixels of sheets that lie on floor and on plate.  Raise `InputError`
    where no plate is found, or where it reaches the picture's rim.
    """
    height, width = picture.shape[:2]
    scale = min(1.0, SMALL_PX / max(height, width))
    small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    features = _features(small)
    at = np.array([small.shape[1] / 2, small.shape[0] / 2]) if middle is None else middle * scale
    marks = _marks(features, [f * scale for f in floor], [f * scale for f in face], at)
    cv2.setRNGSeed(1)
    cv2.grabCut(features, marks, None, np.zeros((1, 65)), np.zeros((1, 65)), _ROUNDS, cv2.GC_INIT_WITH_MASK)
    mask = _piece_at(((marks == cv2.GC_FGD) | (marks == cv2.GC_PR_FGD)).astype(np.uint8), at)
    sheets = _covered([f * scale for f in floor], *mask.shape) > 0
    paper = cv2.dilate(_covered([f * scale for f in face], *mask.shape), _disc(5)) > 0
    mask, likely = _by_colour(_plain(small), mask, sheets, paper, at)
    _refuse_cut(mask, RIM)
    found = _contours(mask, likely, scale, least_hole_px * scale * scale)
    return replace(found, holes=(*found.holes, *_small_holes(picture, mask, likely, face, least_hole_px)))


def _by_colour(hue: Floats, mask: Picture, sheets: Bools, paper: Bools, at: Floats) -> tuple[Picture, Likely]:
    """The mask in which every place near the plate is what its colour is likelier to be; refused where that is open."""
    for _ in range(_MOST_TURNS):
        before = mask
        around = (cv2.dilate(mask, _disc(2 * _AROUND + 1)) > 0) & ~sheets
        floor = around & (cv2.dilate(mask, _disc(9)) == 0)
        likely = Likely.learnt(hue, (cv2.erode(mask, _disc(9)) > 0) & ~paper, floor)
        here = (cv2.blur(likely.floor(hue), (3, 3)) < 0.0) & around | paper
        mask = _piece_at(here.astype(np.uint8), at)
        moved = int((mask != before).sum()) / max(int(mask.sum()), 1)
        if moved < _SETTLED:
            break
    if likely.alike > _MOST_ALIKE or moved > _UNSETTLED:
        raise InputError(
            f"plate and floor are too much of one colour to be told apart surely ({likely.alike:.0%} alike); take the "
            "picture on a floor of another colour, or with something laid under the plate, or give --points"
        )
    return mask, likely


def _small_holes(
    picture: Picture, mask: Picture, likely: Likely, face: list[Floats], least_hole_px: float
) -> list[Floats]:
    """Holes too small for the small copy: compact spots of the floor's colour well inside the plate, pixels."""
    height, width = picture.shape[:2]
    scale = min(1.0, _FINE_PX / max(height, width))
    fine = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    inner = cv2.resize(cv2.erode(mask, _disc(5)), fine.shape[1::-1], interpolation=cv2.INTER_NEAREST)
    inner[cv2.dilate(_covered([f * scale for f in face], *inner.shape), _disc(15)) > 0] = 0
    inner[cv2.blur(fine, (5, 5)).mean(axis=2) < _DARK] = 0
    hue = hues(cv2.GaussianBlur(cv2.medianBlur(fine, 3), (0, 0), 1.0).astype(np.float64))
    level = cv2.blur(likely.floor(hue), (3, 3))
    spots = cv2.morphologyEx(((level > 0.0) & (inner > 0)).astype(np.uint8), cv2.MORPH_OPEN, _disc(3))
    holes = []
    for contour in cv2.findContours(spots, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]:
        there = np.zeros_like(spots)
        cv2.fillPoly(there, [contour], 1)
        round_px = math.pi * cv2.minEnclosingCircle(contour)[1] ** 2
        compact = there.sum() > _COMPACT * round_px and there.sum() >= 0.6 * least_hole_px * scale * scale
        if compact and float(level[there > 0].mean()) > _SURELY_FLOOR:
            holes.append((contour.reshape(-1, 2).astype(np.float64) + 0.5) / scale - 0.5)
    return holes


def _disc(size: int) -> Picture:
    disc: Picture = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    return disc


def _features(small: Picture) -> Picture:
    """Colour as it is in any light, and a little lightness, of a picture without its grain."""
    features: Picture = (_plain(small) * [1.0, 1.0, 1.5] + [90.0, 90.0, 0.0]).clip(0, 255).astype(np.uint8)
    return features


def _plain(small: Picture) -> Floats:
    return hues(cv2.GaussianBlur(cv2.medianBlur(small, 5), (0, 0), 1.0).astype(np.float64))


def _marks(features: Picture, floor: list[Floats], face: list[Floats], at: Floats) -> Picture:
    """What is surely floor or plate, and what likely is: colours that are at home in the middle, not at the rim."""
    height, width = features.shape[:2]
    rim = max(2, round(RIM * max(height, width)))
    sure = np.full((height, width), cv2.GC_PR_FGD, dtype=np.uint8)
    for side in (sure[:rim], sure[-rim:], sure[:, :rim], sure[:, -rim:]):
        side[:] = cv2.GC_BGD
    for corners in floor:
        cv2.fillPoly(sure, [np.round(corners).astype(np.int32)], cv2.GC_BGD)
    for corners in face:
        cv2.fillPoly(sure, [np.round(corners).astype(np.int32)], cv2.GC_FGD)
    colours = features.reshape(-1, 3).astype(np.float32)
    ending = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.5)
    cv2.setRNGSeed(1)
    means = cv2.kmeans(colours[::7], _COLOURS, None, ending, 2, cv2.KMEANS_PP_CENTERS)[2]
    nearest = ((colours[:, None] - means) ** 2).sum(axis=2).argmin(axis=1).reshape(height, width)
    yy, xx = np.mgrid[:height, :width]
    in_middle = (np.hypot(xx - at[0], yy - at[1]) < _MIDDLE * max(height, width)) & (sure != cv2.GC_BGD)
    outer = np.ones((height, width), dtype=bool)
    wide = round(_WIDE_RIM * max(height, width))
    outer[wide:-wide, wide:-wide] = False
    # Beside the sheets is floor, too.
    sheets = _covered(floor, height, width)
    outer |= cv2.dilate(sheets, np.ones((wide // 3, wide // 3), np.uint8)) > 0
    outer[sheets > 0] = False
    here, there = (np.bincount(nearest[m], minlength=_COLOURS) / max(m.sum(), 1) for m in (in_middle, outer))
    marks = np.where((here > 2.0 * there)[nearest], cv2.GC_PR_FGD, cv2.GC_PR_BGD).astype(np.uint8)
    marks = cv2.medianBlur(marks, 7)
    return np.where(sure == cv2.GC_PR_FGD, marks, sure).astype(np.uint8)


def _covered(outlines: list[Floats], height: int, width: int) -> Picture:
    covered = np.zeros((height, width), dtype=np.uint8)
    for corners in outlines:
        cv2.fillPoly(covered, [np.round(corners).astype(np.int32)], 1)
    return covered


def _piece_at(mask: Picture, at: Floats) -> Picture:
    """The piece that covers most of the picture's middle, without specks and threads."""
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, _disc(5))
    count, labels, sizes, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
    yy, xx = np.mgrid[: mask.shape[0], : mask.shape[1]]
    near = np.hypot(xx - at[0], yy - at[1]) < _MIDDLE * max(mask.shape)
    covered = np.bincount(labels[near], minlength=count)
    covered[0] = 0
    best = int(covered.argmax())
    if not covered[best] or sizes[best, cv2.CC_STAT_AREA] < _LEAST_PLATE * mask.size:
        raise InputError(
            "no plate found in the middle of the picture: it cannot be told from the floor, or is small; take the "
            "picture in even light on a floor of another colour, plate in the middle, or give --points"
        )
    piece: Picture = (labels == best).astype(np.uint8)
    return piece


def _refuse_cut(mask: Picture, rim: float) -> None:
    """Refuse a plate that runs into the picture's rim along more than a touch."""
    margin = max(2, round(rim * max(mask.shape))) + 1
    sides = {
        "top": mask[margin],
        "bottom": mask[-margin - 1],
        "left": mask[:, margin],
        "right": mask[:, -margin - 1],
    }
    for name, line in sides.items():
        if line.any():
            raise InputError(
                f"the plate runs into the {name} rim of the picture; step back so that floor is seen all round it, "
                "or give --points"
            )


def _contours(mask: Picture, likely: Likely, scale: float, least_hole_px: float) -> Steel:
    found, nested = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    big = max((k for k in range(len(found)) if nested[0][k][3] < 0), key=lambda k: cv2.contourArea(found[k]))
    holes = [found[k] for k in range(len(found)) if nested[0][k][3] == big]

    def placed(contour: NDArray[np.int32]) -> Floats:
        # Middle of a small pixel to middle of the same place in the picture.
        at: Floats = (contour.reshape(-1, 2).astype(np.float64) + 0.5) / scale - 0.5
        return at

    kept = [placed(h) for h in holes if len(h) >= 8 and cv2.contourArea(h) >= least_hole_px]
    return Steel(edge=placed(found[big]), holes=tuple(kept), step_px=1 / scale, likely=likely)
