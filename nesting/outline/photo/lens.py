"""A lens: focal length, middle and bend, how well each is known, and the file that keeps them.

Bend is radial (D. C. Brown, 1971): a point at radius r from the middle, in focal lengths, is seen at
r (1 + k1 r2 + k2 r4).
"""

import math
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from nesting.errors import InputError
from nesting.outline.photo.written import write_whole

Floats = NDArray[np.float64]

SCHEMA: Final = "oddplate-lens/1"
USUAL_FOCAL: Final = 0.75
"""Focal length of a telephone's main lens, in widths of the picture (27 mm on a 36 mm film; common practice)."""

UNKNOWN: Final = (0.15, 0.02, 0.02, 0.06, 0.06)
"""Of a lens never measured, one deviation: of focal length (fraction), middle (widths), k1, k2 (common practice)."""

REFOCUS: Final = 0.003
"""How much a lens' focal length changes when it focuses anew, one deviation, as a fraction (common practice)."""


@dataclass(frozen=True, kw_only=True)
class Lens:
    """Size of the picture in pixels; `values` are log of focal length (pixels), middle x and y (pixels), k1, k2.

    `covariance` (5, 5) says how well they are known; `calibrated` is False for a lens of which nothing is known.
    """

    width: int
    height: int
    values: Floats
    covariance: Floats
    calibrated: bool

    @staticmethod
    def usual(width: int, height: int, focal_px: float | None = None) -> "Lens":
        """What is to be expected of a lens that nobody measured."""
        wide = max(width, height)
        focal = focal_px or USUAL_FOCAL * wide
        spread = np.array(UNKNOWN) * [1.0 if focal_px is None else 0.5, wide, wide, 1.0, 1.0]
        middle = ((width - 1) / 2, (height - 1) / 2)
        values = np.array([math.log(focal), *middle, 0.0, 0.0])
        return Lens(width=width, height=height, values=values, covariance=np.diag(spread**2), calibrated=False)

    def turned(self, matrix: Floats, width: int, height: int) -> "Lens":
        """The lens of a picture shown turned by a (2, 3) `matrix` that takes its pixels to those shown."""
        jacobian = np.eye(5)
        jacobian[1:3, 1:3] = matrix[:, :2]
        values = self.values.copy()
        values[1:3] = matrix[:, :2] @ values[1:3] + matrix[:, 2]
        covariance = jacobian @ self.covariance @ jacobian.T
        return Lens(width=width, height=height, values=values, covariance=covariance, calibrated=self.calibrated)

    def of_size(self, width: int, height: int, where: str) -> "Lens":
        """The lens for a picture of another resolution; raise `InputError` for one of another shape."""
        scale = width / self.width
        if abs(height - self.height * scale) > 1.0:
            raise InputError(
                f"{where}: the picture is {width} x {height} pixels, the lens file is for "
                f"{self.width} x {self.height}; take both with one setting, and use files as the camera wrote them"
            )
        jacobian = np.diag([1.0, scale, scale, 1.0, 1.0])
        values = self.values.copy()
        values[0] += math.log(scale)
        values[1:3] = (values[1:3] + 0.5) * scale - 0.5
        covariance = jacobian @ self.covariance @ jacobian.T
        return Lens(width=width, height=height, values=values, covariance=covariance, calibrated=self.calibrated)


def seen(values: Floats, rays: Floats) -> Floats:
    """Pixels (n, 2) at which directions (n, 2), x/z and y/z in the camera, are seen."""
    squared = (rays**2).sum(axis=1)
    bent = rays * (1.0 + values[3] * squared + values[4] * squared**2)[:, None]
    pixels: Floats = math.exp(values[0]) * bent + values[1:3]
    return pixels


def rays_of(values: Floats, pixels: Floats) -> Floats:
    """Directions (n, 2) seen at pixels (n, 2): Newton's steps along the radius."""
    bent = (pixels - values[1:3]) / math.exp(values[0])
    far = np.hypot(*bent.T)
    radius = far.copy()
    for _ in range(8):
        square = radius**2
        slope = 1.0 + 3.0 * values[3] * square + 5.0 * values[4] * square**2
        radius -= (radius * (1.0 + values[3] * square + values[4] * square**2) - far) / np.maximum(slope, 0.2)
    found: Floats = bent * (radius / np.maximum(far, 1e-12))[:, None]
    return found


def write_lens_file(lens: Lens, path: Path, *, pictures: int, residual_px: float, force: bool) -> None:
    """Write a lens file; raise `InputError` where one is there and may not be replaced, or it cannot be written."""
    if path.suffix.lower() != ".toml":
        raise InputError(f"{path}: a lens file ends in .toml")
    rows = ",\n".join("  [" + ", ".join(f"{v:.9e}" for v in row) + "]" for row in lens.covariance)
    text = (
        f'schema = "{SCHEMA}"\nwidth_px = {lens.width}\nheight_px = {lens.height}\n'
        "# log of focal length in pixels, middle x and y in pixels, bend k1, k2\n"
        f"values = [{', '.join(f'{v:.9f}' for v in lens.values)}]\ncovariance = [\n{rows},\n]\n"
        f"pictures = {pictures}\nresidual_px = {residual_px:.4f}\n"
    )
    write_whole(path, text.encode(), force=force)


def read_lens_file(path: Path) -> Lens:
    """Read a lens file; raise `InputError` for one that is none."""
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
        lens = Lens(
            width=int(found["width_px"]),
            height=int(found["height_px"]),
            values=np.array(found["values"], dtype=np.float64),
            covariance=np.array(found["covariance"], dtype=np.float64),
            calibrated=True,
        )
        whole = np.isfinite(lens.values).all() and np.isfinite(lens.covariance).all()
        sound = found["schema"] == SCHEMA and lens.values.shape == (5,) and lens.covariance.shape == (5, 5) and whole
        if sound and lens.width > 0 and np.linalg.eigvalsh(lens.covariance).min() > -1e-9:
            return lens
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror or error}") from None
    except (ValueError, KeyError, TypeError, UnicodeDecodeError):
        pass
    raise InputError(f"{path}: no lens file ({SCHEMA}); make one with 'oddplate plate lens PICTURES... --out FILE'")
