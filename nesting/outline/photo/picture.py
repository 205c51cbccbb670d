"""A picture as it is to be looked at: read, turned as the camera noted, refused where its light is bad."""

import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from nesting.errors import InputError

Floats = NDArray[np.float64]
Pixels = NDArray[np.uint8]

_ORIENTATION: Final = 0x0112  # Exif 2.32, table 4
_EXIF_IFD: Final = 0x8769
_FOCAL_35MM: Final = 0xA405
_LEAST_SIDE_PX: Final = 600
_DARK, _BRIGHT, _LEAST_SPREAD = 28.0, 238.0, 10.0
_MOST_BURNT: Final = 0.25


@dataclass(frozen=True, kw_only=True)
class Picture:
    """Pixels (height, width, 3), blue first, as seen; `turn` (2, 3) takes pixels as stored to those seen.

    `stored` is (width, height) as stored; `focal_px` the focal length that the camera noted, None if it did not.
    """

    name: str
    pixels: Pixels
    turn: Floats
    stored: tuple[int, int]
    focal_px: float | None

    @property
    def grey(self) -> Pixels:
        """Lightness."""
        grey: Pixels = cv2.cvtColor(self.pixels, cv2.COLOR_BGR2GRAY)
        return grey


def read_picture(path: Path) -> Picture:
    """Read a picture; raise `InputError` for one that is none, is small, too dark, too bright or without contrast."""
    try:
        data = np.frombuffer(path.read_bytes(), dtype=np.uint8)
    except OSError as error:
        raise InputError(f"{path}: cannot be read: {error.strerror or error}") from None
    flags = cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION
    raw = cv2.imdecode(data, flags) if len(data) else None
    if raw is None:
        raise InputError(f"{path}: no picture that can be read; give a JPEG or PNG")
    orientation, film_mm = _noted(path)
    height, width = raw.shape[:2]
    seen, turn = _turned(raw, orientation)
    # The figure for 35 mm film is by the picture's diagonal (CIPA DC-008).
    focal = film_mm / 43.2666 * float(np.hypot(width, height)) if film_mm else None
    picture = Picture(name=path.name, pixels=seen, turn=turn, stored=(width, height), focal_px=focal)
    _refuse_bad(picture)
    return picture


def _noted(path: Path) -> tuple[int, float | None]:
    """Orientation and focal length for 35 mm film from the picture's own notes; 1 and None where there are none."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(path) as image:
                notes = image.getexif()
                film = notes.get_ifd(_EXIF_IFD).get(_FOCAL_35MM)
                orientation = int(notes.get(_ORIENTATION, 1))
        return (orientation if 1 <= orientation <= 8 else 1), (float(film) if film and float(film) > 5 else None)
    except (OSError, UnidentifiedImageError, ValueError, TypeError, SyntaxError, ZeroDivisionError):
        return 1, None


def _turned(raw: Pixels, orientation: int) -> tuple[Pixels, Floats]:
    """The picture as it is to be seen, and the matrix that takes its stored pixels there."""
    height, width = raw.shape[:2]
    right, down = width - 1.0, height - 1.0
    matrices = {
        1: [[1, 0, 0], [0, 1, 0]],
        2: [[-1, 0, right], [0, 1, 0]],
        3: [[-1, 0, right], [0, -1, down]],
        4: [[1, 0, 0], [0, -1, down]],
        5: [[0, 1, 0], [1, 0, 0]],
        6: [[0, -1, down], [1, 0, 0]],
        7: [[0, -1, down], [-1, 0, right]],
        8: [[0, 1, 0], [-1, 0, right]],
    }
    matrix = np.array(matrices[orientation], dtype=np.float64)
    seen = raw.transpose(1, 0, 2) if orientation >= 5 else raw
    if matrix[0].sum() - matrix[0, 2] < 0:
        seen = seen[:, ::-1]
    if matrix[1].sum() - matrix[1, 2] < 0:
        seen = seen[::-1]
    return np.ascontiguousarray(seen), matrix


def _refuse_bad(picture: Picture) -> None:
    height, width = picture.pixels.shape[:2]
    if min(width, height) < _LEAST_SIDE_PX:
        raise InputError(f"{picture.name}: only {width} x {height} pixels; give the picture as the camera wrote it")
    small = cv2.resize(picture.grey, (200, 200), interpolation=cv2.INTER_AREA)
    level, burnt = float(small.mean()), float((small >= 254).mean())
    if level < _DARK:
        raise InputError(f"{picture.name}: too dark (mean {level:.0f} of 255); take it in more light")
    if level > _BRIGHT or burnt > _MOST_BURNT:
        raise InputError(
            f"{picture.name}: too bright ({burnt:.0%} of it burnt out, mean {level:.0f} of 255); "
            "take it in softer light, without flash"
        )
    if float(small.std()) < _LEAST_SPREAD:
        raise InputError(
            f"{picture.name}: hardly any contrast (spread {small.std():.0f} of 255); look at lens and light"
        )
