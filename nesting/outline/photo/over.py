"""The outline as found, drawn over the picture."""

from pathlib import Path
from typing import Final

import cv2
import numpy as np

from nesting.errors import InputError
from nesting.outline.photo.photo import Floats, Photo
from nesting.outline.photo.written import refuse_taken, write_whole

_EDGE, _HOLE, _SHEET, _NAME = (80, 255, 0), (255, 200, 0), (255, 0, 255), (0, 255, 255)
_FORMATS: Final = (".png", ".jpg", ".jpeg")


def refuse_over(path: Path, *, force: bool) -> None:
    """Raise `InputError` where the picture with the outline over it cannot be written."""
    if path.suffix.lower() not in _FORMATS:
        raise InputError(f"{path}: the outline over the picture is written as one of {', '.join(_FORMATS)}")
    refuse_taken(path, force=force)


def write_over(photo: Photo, path: Path, *, force: bool) -> None:
    """Write the picture with edge, holes, sheets and the corners' names; raise `InputError` where that cannot be."""
    refuse_over(path, force=force)
    drawn = photo.picture.pixels.copy()
    wide = max(1, round(max(drawn.shape) / 1500))

    def line(ring: Floats, colour: tuple[int, int, int], width: int) -> None:
        cv2.polylines(drawn, [np.round(ring * 16).astype(np.int32)], True, colour, width, cv2.LINE_AA, 4)

    for sheet in photo.marks:
        line(sheet, _SHEET, wide)
    for number, ring in enumerate(photo.rings):
        line(ring, _HOLE if number else _EDGE, wide)
    middle = photo.corners.mean(axis=0) if len(photo.corners) else np.zeros(2)
    for number, at in enumerate(photo.corners, start=1):
        away = (at - middle) / max(float(np.hypot(*(at - middle))), 1.0)
        place = np.round(at + away * 14 * wide + [-6 * wide, 6 * wide]).astype(int)
        for colour, width in ((0, 0, 0), 4 * wide), (_NAME, wide):
            cv2.putText(drawn, str(number), place.tolist(), cv2.FONT_HERSHEY_SIMPLEX, 0.6 * wide, colour, width)
    data = cv2.imencode(path.suffix.lower(), drawn)[1]
    write_whole(path, data.tobytes(), force=force)
