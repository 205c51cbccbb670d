"""Where the camera stood: lens, place and the sheets' places adjusted together, and how well that is known.

What is known beforehand (lens, height of the face over the sheets, size of the print) goes in as observations with
their deviations, so that the covariance that comes out holds all of it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from nesting.errors import InputError
from nesting.outline.photo.lens import Lens, rays_of, seen

Floats = NDArray[np.float64]

CORNER_SIGMA_PX: Final = 0.15
"""How far a corner found in a picture scatters, x and y; raised where the residuals say more (experience)."""

_SURELY: Final = 4.0
"""Mean square of residuals, in deviations, below which no other place of the camera needs to be tried."""

_HEAD: Final = 14  # lens 5, turn 3, shift 3, rise 1, stretch of the sheets 2
_NEEDED: Final = 12  # what takes a pixel to the face of the plate


@dataclass(frozen=True, kw_only=True)
class Known:
    """A figure lying flat: (n, 2) points in mm and pixels; `sigma_px` how far the pixels scatter."""

    flat: Floats
    pixels: Floats
    sigma_px: float = CORNER_SIGMA_PX


@dataclass(frozen=True, kw_only=True)
class Camera:
    """Takes pixels to the plate's face: `values` (12,) and their covariance; `residual` is 1 where all is as stated."""

    values: Floats
    covariance: Floats
    residual: float
    residual_px: float

    def on_face(self, pixels: Floats) -> Floats:
        """Places (n, 2) in mm on the plate's face that are seen at pixels (n, 2)."""
        return _on_face(self.values, pixels)

    def pixels(self, flat: Floats, height_mm: float | None = None) -> Floats:
        """Pixels (n, 2) at which places (n, 2) at a height over the sheets are seen; the plate's face unless said."""
        return _pixels(self.values, flat, float(self.values[11]) if height_mm is None else height_mm)

    def spread(self, pixels: Floats) -> Floats:
        """How the places move with every value, times their deviations: (2n, 12), its square is the covariance."""
        root = _root(self.covariance)
        steps = np.sqrt(np.diag(self.covariance)) * 0.1 + 1e-12
        columns = [
            (_on_face(self.values + s * e, pixels) - _on_face(self.values - s * e, pixels)).ravel() / (2 * s)
            for s, e in zip(steps, np.eye(_NEEDED), strict=True)
        ]
        moved: Floats = np.column_stack(columns) @ root
        return moved

    @property
    def place(self) -> Floats:
        """Where the camera stood, mm; z is the height over the sheets."""
        turn = cv2.Rodrigues(self.values[5:8])[0]
        at: Floats = -turn.T @ self.values[8:11]
        return at


def find_camera(
    sheets: Sequence[Known], lens: Lens, *, rise_mm: float, rise_sigma_mm: float, stretch_sigma: Sequence[float]
) -> Camera:
    """Return the camera that saw `sheets`, each lying anywhere on one plane, the plate's face `rise_mm` above it.

    `stretch_sigma` is how far a sheet's width and height may be off, as fractions.  Raise `InputError` if nothing fits.
    """
    first = max(range(len(sheets)), key=lambda k: len(sheets[k].flat))
    ordered = [sheets[first], *(s for k, s in enumerate(sheets) if k != first)]
    weights = np.linalg.cholesky(np.linalg.pinv(lens.covariance, hermitian=True)).T
    mean = np.concatenate([lens.values, np.zeros(6), [rise_mm, 1.0, 1.0]])
    loose = np.array([rise_sigma_mm, *stretch_sigma]).clip(1e-6)

    def off(values: Floats) -> Floats:
        parts = [weights @ (values[:5] - mean[:5]), (values[11:14] - mean[11:]) / loose]
        for k, sheet in enumerate(ordered):
            flat = sheet.flat * values[12:14]
            if k:
                flat = _laid(flat, values[_HEAD + 3 * k - 3 : _HEAD + 3 * k])
            parts.append((_pixels(values, flat, 0.0) - sheet.pixels).ravel() / sheet.sigma_px)
        return np.concatenate(parts)

    fits: list[Any] = []
    for begin in sorted(_beginnings(ordered, lens, rise_mm), key=lambda b: float((off(b) ** 2).sum())):
        fits.append(least_squares(off, begin, x_scale="jac", method="lm", max_nfev=200 * len(begin)))
        if 2 * fits[-1].cost < _SURELY * len(fits[-1].fun):
            break
    best = min(fits, key=lambda f: f.cost, default=None)
    if best is None or not np.isfinite(best.cost):
        raise InputError("no place of the camera fits what is seen of the sheets; take another picture")
    spare = len(best.fun) - len(best.x)
    ratio = math.sqrt(2 * best.cost / max(spare, 1))
    covariance = np.linalg.pinv(best.jac.T @ best.jac, hermitian=True)[:_NEEDED, :_NEEDED]
    seen_off = (
        best.fun[8:].reshape(-1, 2) * np.repeat([s.sigma_px for s in ordered], [len(s.flat) for s in ordered])[:, None]
    )
    return Camera(
        values=best.x[:_NEEDED],
        covariance=covariance * max(1.0, ratio) ** 2,
        residual=ratio,
        residual_px=float(np.sqrt((seen_off**2).mean())),
    )


def _beginnings(sheets: Sequence[Known], lens: Lens, rise_mm: float) -> list[Floats]:
    """First guesses, one for each of the two places from which a flat figure looks alike."""
    rays = rays_of(lens.values, sheets[0].pixels)
    lifted = np.column_stack([sheets[0].flat, np.zeros(len(sheets[0].flat))])
    middle = lifted.mean(axis=0)
    found = cv2.solvePnPGeneric(lifted - middle, rays, np.eye(3), None, flags=cv2.SOLVEPNP_IPPE)
    guesses = []
    for turn, shift in zip(found[1], found[2], strict=True):
        moved = shift.ravel() - cv2.Rodrigues(turn)[0] @ middle
        values = np.concatenate([lens.values, turn.ravel(), moved, [rise_mm, 1.0, 1.0]])
        if not np.isfinite(values).all():
            continue
        ground = values[:_NEEDED].copy()
        ground[11] = 0.0
        places = [_lie(s.flat, _on_face(ground, s.pixels)) for s in sheets[1:]]
        guesses.append(np.concatenate([values, *places]))
    return guesses


def _lie(flat: Floats, at: Floats) -> Floats:
    """Shift and turn (x, y, radians) that bring points nearest to others."""
    a, b = flat - flat.mean(axis=0), at - at.mean(axis=0)
    turn = math.atan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum())
    shift = at.mean(axis=0) - _laid(flat.mean(axis=0)[None], np.array([0.0, 0.0, turn]))[0]
    return np.array([*shift, turn])


def _laid(flat: Floats, pose: Floats) -> Floats:
    c, s = math.cos(pose[2]), math.sin(pose[2])
    laid: Floats = flat @ np.array([[c, s], [-s, c]]) + pose[:2]
    return laid


def _pixels(values: Floats, flat: Floats, height_mm: float) -> Floats:
    turn = cv2.Rodrigues(values[5:8])[0]
    lifted = np.column_stack([flat, np.full(len(flat), height_mm)]) @ turn.T + values[8:11]
    depth = np.where(np.abs(lifted[:, 2:]) > 1e-9, lifted[:, 2:], 1e-9)
    return seen(values[:5], lifted[:, :2] / depth)


def _on_face(values: Floats, pixels: Floats) -> Floats:
    turn = cv2.Rodrigues(values[5:8])[0]
    at = -turn.T @ values[8:11]
    rays = rays_of(values[:5], pixels)
    directions = np.column_stack([rays, np.ones(len(rays))]) @ turn
    reach = (values[11] - at[2]) / np.where(np.abs(directions[:, 2]) > 1e-9, directions[:, 2], 1e-9)
    places: Floats = at[:2] + directions[:, :2] * reach[:, None]
    return places


def _root(covariance: Floats) -> Floats:
    values, axes = np.linalg.eigh(covariance)
    root: Floats = axes * np.sqrt(values.clip(0.0))
    return root
