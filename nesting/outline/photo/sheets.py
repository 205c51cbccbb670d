"""Printed marker sheets: a chequered field with an ArUco marker in every white square, told apart by numbers.

Markers (S. Garrido-Jurado and others, 2014; dictionary 5x5) say which sheet and which corner is seen; what is
measured are the corners where four squares meet, since blur and light do not move those.
"""

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Grey = NDArray[np.uint8]

COLUMNS: Final = 4
ROWS: Final = 5
SQUARE_MM: Final = 45.0
MARKER_MM: Final = 33.0
RULER_MM: Final = 180.0
MARKERS_A_SHEET: Final = COLUMNS * ROWS // 2
MOST_SHEETS: Final = 10
DICTIONARY: Final = cv2.aruco.DICT_5X5_100
FIELD_MM: Final = (COLUMNS * SQUARE_MM, ROWS * SQUARE_MM)
_WHITE_MM: Final = (12.0, 34.0, 13.0)
"""White paper beside, below and above the chequered field that every size of sheet has."""

_PAPER_MM: Final = (18.0, 38.0, 34.0)
"""The same, the most that any size of sheet has."""


@dataclass(frozen=True, kw_only=True)
class SeenSheet:
    """A sheet in a picture: its number, (n, 2) corners on the sheet in mm and in the picture in pixels.

    `outline` (4, 2) is the sheet's edge in the picture, or lies within, `paper` is that edge or lies beyond; `blur_px`
    is how far its edges are spread.
    """

    number: int
    on_sheet: Floats
    pixels: Floats
    outline: Floats
    paper: Floats
    blur_px: float


def white_squares() -> list[tuple[int, int]]:
    """Column and row, from the lower left, of the squares that hold markers, in the order of their numbers."""
    return [(c, r) for r in range(ROWS) for c in range(COLUMNS) if (c + r) % 2 == 1]


def marker_corners(place: int) -> Floats:
    """The corners of a sheet's marker, from its upper left clockwise as seen, mm from the field's lower left."""
    c, r = white_squares()[place]
    x, y = (c + 0.5) * SQUARE_MM, (r + 0.5) * SQUARE_MM
    h = MARKER_MM / 2
    return np.array([(x - h, y + h), (x + h, y + h), (x + h, y - h), (x - h, y - h)])


def inner_corners() -> Floats:
    """Where four squares meet, (n, 2), mm."""
    return np.array([(c * SQUARE_MM, r * SQUARE_MM) for r in range(1, ROWS) for c in range(1, COLUMNS)])


def find_sheets(grey: Grey) -> list[SeenSheet]:
    """Return the sheets in a picture of which two markers or more are seen, and four corners or more."""
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    settings.minMarkerPerimeterRate = 0.01
    settings.adaptiveThreshWinSizeMin = 5
    settings.adaptiveThreshWinSizeMax = max(23, round(max(grey.shape) / 60))
    settings.adaptiveThreshWinSizeStep = max(8, round(max(grey.shape) / 180))
    found, numbers, _ = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(DICTIONARY), settings).detectMarkers(
        grey
    )
    by_sheet: dict[int, list[tuple[int, Floats]]] = {}
    for corners, number in zip(found, [] if numbers is None else numbers.ravel(), strict=True):
        sheet, place = divmod(int(number), MARKERS_A_SHEET)
        if sheet < MOST_SHEETS:
            by_sheet.setdefault(sheet, []).append((place, corners.reshape(4, 2).astype(np.float64)))
    sheets = [_sheet(grey, number, markers) for number, markers in sorted(by_sheet.items()) if len(markers) >= 2]
    return [s for s in sheets if s is not None]


def _sheet(grey: Grey, number: int, markers: list[tuple[int, Floats]]) -> SeenSheet | None:
    on_sheet = np.concatenate([marker_corners(place) for place, _ in markers])
    pixels = np.concatenate([corners for _, corners in markers])
    across, kept = cv2.findHomography(on_sheet, pixels, cv2.RANSAC, 3.0)
    if across is None or kept.sum() < 8:
        return None
    inner = inner_corners()
    # Only corners beside a marker that was seen: elsewhere something may lie on the sheet.
    middles = np.array([marker_corners(place).mean(axis=0) for place, _ in markers])
    near = [np.hypot(*(middles - p).T).min() < 0.8 * SQUARE_MM for p in inner]
    inner = inner[near]
    if len(inner) < 4:
        return None
    guess = _mapped(across, inner)
    square_px = float(np.median(np.hypot(*(_mapped(across, inner + [SQUARE_MM, 0]) - guess).T)))
    height, width = grey.shape
    half = int(np.clip(round(0.16 * square_px), 2, 15))
    edge = half + 2
    inside = ((guess > edge) & (guess < [width - 1 - edge, height - 1 - edge])).all(axis=1)
    inner, guess = inner[inside], guess[inside]
    if len(inner) < 4:
        return None
    ending = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 40, 0.005)
    sharp = cv2.cornerSubPix(grey, guess.astype(np.float32).reshape(-1, 1, 2), (half, half), (-1, -1), ending)
    sharp = sharp.reshape(-1, 2).astype(np.float64)
    good = np.hypot(*(sharp - guess).T) < max(1.5, 0.08 * square_px)
    if good.sum() < 4:
        return None
    return SeenSheet(
        number=number,
        on_sheet=inner[good],
        pixels=sharp[good],
        outline=_mapped(across, _rim(_WHITE_MM)),
        paper=_mapped(across, _rim(_PAPER_MM)),
        blur_px=_blur(grey, across, inner[good]),
    )


def _rim(white_mm: tuple[float, float, float]) -> Floats:
    """The sheet's corners, (4, 2), mm from the field's lower left, with so much white beside, below and above it."""
    beside, below, above = white_mm
    left, right, low, high = -beside, FIELD_MM[0] + beside, -below, FIELD_MM[1] + above
    return np.array([(left, low), (right, low), (right, high), (left, high)])


def _mapped(matrix: Floats, points: Floats) -> Floats:
    lifted = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    mapped: Floats = lifted[:, :2] / lifted[:, 2:]
    return mapped


def _blur(grey: Grey, across: Floats, inner: Floats) -> float:
    """Width in pixels over which black turns white, across the edge halfway along a square: contrast / slope."""
    widths = []
    for at in inner[:: max(1, len(inner) // 6)]:
        line = np.linspace(-0.09, 0.09, 41)[:, None] * SQUARE_MM * [1.0, 0.0] + at + [0.0, 0.45 * SQUARE_MM]
        places = _mapped(across, line).astype(np.float32)
        levels = cv2.remap(grey, places[:, 0], places[:, 1], cv2.INTER_LINEAR).ravel().astype(np.float64)
        step = float(np.hypot(*(places[-1] - places[0]))) / 40
        low, high = np.percentile(levels, (5, 95))
        slope = np.abs(np.gradient(levels, step)).max()
        widths.append((high - low) / max(slope, 1e-6))
    return float(np.median(widths))
