"""A lens measured once: pictures of the marker sheet, from several sides, all adjusted together."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from nesting.errors import InputError
from nesting.outline.photo.camera import CORNER_SIGMA_PX
from nesting.outline.photo.lens import Lens, rays_of, seen
from nesting.outline.photo.picture import read_picture
from nesting.outline.photo.sheets import SeenSheet, find_sheets

Floats = NDArray[np.float64]

FEWEST_PICTURES: Final = 5
_LEAST_REACH: Final = 0.7
_MOST_OFF_PX: Final = 1.5
_LEAST_LEAN: Final = 0.004


@dataclass(frozen=True, kw_only=True)
class Calibrated:
    """The lens, how many sheets were seen, how far corners are off, and doubts."""

    lens: Lens
    views: int
    residual_px: float
    warnings: tuple[str, ...]

    def document(self) -> dict[str, object]:
        """What is told in JSON."""
        names = ("log_focal_px", "middle_x_px", "middle_y_px", "bend_k1", "bend_k2")
        deviations = np.sqrt(np.diag(self.lens.covariance))
        return {
            "sheets_seen": self.views,
            "residual_px": round(self.residual_px, 4),
            "values": {n: round(float(v), 6) for n, v in zip(names, self.lens.values, strict=True)},
            "deviations": {n: round(float(v), 6) for n, v in zip(names, deviations, strict=True)},
            "warnings": list(self.warnings),
        }


def calibrate(paths: Sequence[Path]) -> Calibrated:
    """Return the lens that took pictures of marker sheets; raise `InputError` where they do not tell.

    Pictures are looked at as stored, whichever way the camera was held.
    """
    if len(paths) < FEWEST_PICTURES:
        raise InputError(
            f"{len(paths)} pictures; give {FEWEST_PICTURES} or more of a marker sheet, from several sides, "
            "in the middle of the picture and in its corners"
        )
    views: list[tuple[Path, SeenSheet]] = []
    sizes: dict[tuple[int, int], Path] = {}
    for path in paths:
        picture = read_picture(path)
        sizes.setdefault(picture.stored, path)
        back = np.linalg.inv(np.vstack([picture.turn, [0.0, 0.0, 1.0]]))[:2]
        found = find_sheets(picture.grey)
        if not found:
            raise InputError(f"{path}: no marker sheet found; leave the picture out, or take it sharper and nearer")
        views += [
            (
                path,
                SeenSheet(
                    number=s.number,
                    on_sheet=s.on_sheet,
                    pixels=s.pixels @ back[:, :2].T + back[:, 2],
                    outline=s.outline,
                    paper=s.paper,
                    blur_px=s.blur_px,
                ),
            )
            for s in found
            if len(s.pixels) >= 6
        ]
    if len(sizes) > 1:
        told = ", ".join(f"{p.name} {w} x {h}" for (w, h), p in sizes.items())
        raise InputError(f"pictures of different sizes ({told}); all must come from one camera at one setting")
    ((width, height),) = sizes
    return adjusted(views, width, height)


def adjusted(views: Sequence[tuple[Path, SeenSheet]], width: int, height: int) -> Calibrated:
    """Return the lens that saw sheets, one pose each; raise `InputError` if they do not go together."""
    begin = Lens.usual(width, height)
    deviations = np.sqrt(np.diag(begin.covariance)) * 4
    poses = [_pose(view, begin) for _, view in views]

    def off(values: Floats) -> Floats:
        parts = [(values[:5] - begin.values) / deviations]
        for k, (_, view) in enumerate(views):
            turn, shift = values[5 + 6 * k : 8 + 6 * k], values[8 + 6 * k : 11 + 6 * k]
            lifted = np.column_stack([view.on_sheet, np.zeros(len(view.on_sheet))]) @ cv2.Rodrigues(turn)[0].T + shift
            parts.append(((seen(values[:5], lifted[:, :2] / lifted[:, 2:]) - view.pixels) / CORNER_SIGMA_PX).ravel())
        return np.concatenate(parts)

    fit = least_squares(off, np.concatenate([begin.values, *poses]), x_scale="jac", method="lm")
    jacobian = fit.jac
    spare = max(len(fit.fun) - len(fit.x), 1)
    ratio = math.sqrt(2 * fit.cost / spare)
    covariance = np.linalg.pinv(jacobian.T @ jacobian, hermitian=True)[:5, :5] * max(1.0, ratio) ** 2
    residual = float(np.sqrt((fit.fun[5:] ** 2).mean())) * CORNER_SIGMA_PX * math.sqrt(2)
    if residual > _MOST_OFF_PX * max(1.0, max(width, height) / 4000):
        worst = _worst(fit.fun[5:], views)
        raise InputError(
            f"corners are off by {residual:.1f} px in the mean, most in {worst}; lay the sheet flat and keep zoom and "
            "setting the same in all pictures"
        )
    lens = Lens(width=width, height=height, values=fit.x[:5], covariance=covariance, calibrated=True)
    return Calibrated(lens=lens, views=len(views), residual_px=residual, warnings=_doubts(lens, [v for _, v in views]))


def _pose(view: SeenSheet, lens: Lens) -> Floats:
    lifted = np.column_stack([view.on_sheet, np.zeros(len(view.on_sheet))])
    middle = lifted.mean(axis=0)
    rays = rays_of(lens.values, view.pixels)
    _, turn, shift = cv2.solvePnP(lifted - middle, rays, np.eye(3), None, flags=cv2.SOLVEPNP_IPPE)
    return np.concatenate([turn.ravel(), shift.ravel() - cv2.Rodrigues(turn)[0] @ middle])


def _worst(off: Floats, views: Sequence[tuple[Path, SeenSheet]]) -> str:
    ends = np.cumsum([2 * len(v.pixels) for _, v in views])
    means = [float((part**2).mean()) for part in np.split(off, ends[:-1])]
    return views[int(np.argmax(means))][0].name


def _doubts(lens: Lens, views: Sequence[SeenSheet]) -> tuple[str, ...]:
    doubts = []
    middle = np.array([lens.width, lens.height]) / 2
    reach = max(float(np.hypot(*(v.pixels - middle).T).max()) for v in views) / float(np.hypot(*middle))
    if reach < _LEAST_REACH:
        doubts.append(
            f"the sheets reach out to {reach:.0%} of the way to the picture's corners; bend beyond is a guess: add "
            "pictures with the sheet in the corners"
        )
    if math.sqrt(lens.covariance[0, 0]) > _LEAST_LEAN:
        doubts.append(
            f"focal length is known to {math.sqrt(lens.covariance[0, 0]):.1%} only; add pictures leaning over by "
            "30 degrees and more, to all sides"
        )
    return tuple(doubts)
