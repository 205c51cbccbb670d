"""Colour as it is in any light, and how much likelier a colour is to be floor than plate, learnt from one picture."""

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Picture = NDArray[np.uint8]

LIGHTNESS: Final = 0.2
_CELLS: Final = 64
_CELL: Final = 4.0
_SHIFT: Final = 90.0
_RARE: Final = 1e-4
_MOST: Final = 3.0
_FEWEST: Final = 8


def hues(colours: Floats) -> Floats:
    """Colour (..., 3) as it is in any light, and a little of the lightness, which is all that shadows change."""
    blue, green, red = np.moveaxis(colours, -1, 0)
    light = blue + green + red
    apart = np.stack([red - blue, green - (red + blue) / 2], axis=-1) * (300.0 / (light + 15.0))[..., None]
    return np.concatenate([apart, LIGHTNESS * light[..., None] / 3], axis=-1)


@dataclass(frozen=True, kw_only=True)
class Likely:
    """What colours tell: `table` (64, 64) over two hues, positive for floor; `alike` is 1 where they tell nothing."""

    table: Floats
    alike: float

    @staticmethod
    def learnt(hue: Floats, plate: Bools, floor: Bools) -> "Likely":
        """From places (h, w) that are surely plate, and surely floor, in a picture of hues (h, w, 3)."""
        on_plate, on_floor = _share(hue[plate]), _share(hue[floor])
        return Likely(
            table=np.log((on_floor + _RARE) / (on_plate + _RARE)).clip(-_MOST, _MOST),
            alike=float(np.sqrt(on_floor * on_plate).sum()),
        )

    def floor(self, hue: Floats) -> Floats:
        """How much likelier hues (..., 3) are floor than plate, as a logarithm from -3 to 3."""
        first, second = np.moveaxis(_cells(hue), -1, 0)
        found: Floats = self.table[first, second]
        return found

    def floor_in(self, picture: Picture, patch: Floats) -> float:
        """The same over a patch of a picture, its outline (n, 2) in pixels; 3 for one too small to be seen."""
        height, width = picture.shape[:2]
        x0, y0 = np.floor(patch.min(axis=0) - 4).astype(int).clip(0)
        x1, y1 = np.ceil(patch.max(axis=0) + 5).astype(int).clip(0, [width, height])
        if x1 - x0 < 3 or y1 - y0 < 3:
            return _MOST
        there = np.zeros((y1 - y0, x1 - x0), dtype=np.uint8)
        cv2.fillPoly(there, [np.round((patch - [x0, y0]) * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
        well_in = cv2.erode(there, np.ones((3, 3), dtype=np.uint8))
        chosen = well_in if well_in.sum() >= _FEWEST else there
        # The colours' mean, not the mean of what single pixels tell: these are noisier than what was learnt.
        colour = picture[y0:y1, x0:x1][chosen > 0].astype(np.float64).mean(axis=0)
        return float(self.floor(hues(colour)))


def _cells(hue: Floats) -> NDArray[np.int64]:
    return ((hue[..., :2] + _SHIFT) / _CELL).astype(np.int64).clip(0, _CELLS - 1)


def _share(hue: Floats) -> Floats:
    """How often each colour occurs, (64, 64), a little smoothed; sums to 1."""
    cells = _cells(hue)
    counts = np.zeros((_CELLS, _CELLS))
    np.add.at(counts, (cells[:, 0], cells[:, 1]), 1.0)
    smooth = cv2.GaussianBlur(counts, (0, 0), 1.0)
    share: Floats = smooth / max(float(smooth.sum()), 1.0)
    return share
