"""What fixes the camera: marker sheets found in the picture, one blank sheet, or points said; and the camera itself."""

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from nesting.errors import InputError
from nesting.outline.photo.camera import Camera, Known, find_camera
from nesting.outline.photo.lens import Lens
from nesting.outline.photo.paper import SHEETS, find_papers
from nesting.outline.photo.picture import Picture
from nesting.outline.photo.sheets import RULER_MM, find_sheets

Floats = NDArray[np.float64]
MarksOn = Literal["floor", "plate"]

TOLERANCE_MM: Final = 1.0
"""Points of one edge lie this near to its line or arc; torch-cut edges are hardly straighter."""
PRINT_SIGMA: Final = (0.0005, 0.002)
"""How far a print's size is off, as a fraction, one deviation: its ruler read, or not (common practice, no source)."""
PAPER_SIGMA_MM: Final = (0.1, 0.35)
"""How far a sheet's side is off: measured, or as sold (ISO 216 allows 2 mm; makers keep far nearer, no source)."""
RISE_SIGMA_MM: Final = 0.4
"""How far the plate's face is from where its thickness puts it over the sheets: floor and plate are not flat."""
_MOST_UNLIKE: Final = 4.0
_MOST_BLUR_MM: Final = 6.0


@dataclass(frozen=True, kw_only=True)
class Ask:
    """What is said of the picture: sheets, where they lie, how thick the plate is, and what is measured of the print.

    `sheet` is a blank sheet's name or None for marker sheets; `sheet_mm` its measured size; `ruler_mm` what the
    printed ruler measures; `points` (pixels and mm) are known places that stand in for sheets.
    """

    sheet: str | None = None
    sheet_mm: tuple[float, float] | None = None
    ruler_mm: float | None = None
    points: tuple[tuple[float, float, float, float], ...] = ()
    marks_on: MarksOn = "floor"
    thickness_mm: float | None = None
    packing_mm: float = 0.0
    middle: tuple[float, float] | None = None
    tolerance_mm: float = TOLERANCE_MM


@dataclass(frozen=True, kw_only=True)
class Marks:
    """What fixes the camera, and the sheets that lie there, (4, 2) in pixels: what is surely sheet, what may be."""

    known: tuple[Known, ...]
    outlines: tuple[Floats, ...]
    papers: tuple[Floats, ...]
    stretch_sigma: tuple[float, float]
    told: str
    warnings: tuple[str, ...] = ()


def lens_of(picture: Picture, lens: Lens | None) -> Lens:
    """The lens as the picture was turned, what is usual where it was never measured."""
    height, width = picture.pixels.shape[:2]
    if lens is None:
        return Lens.usual(width, height, picture.focal_px)
    return lens.of_size(*picture.stored, picture.name).turned(picture.turn, width, height)


def find_marks(picture: Picture, ask: Ask, lens: Lens) -> Marks:
    """Find the sheets, or take the points said; raise `InputError` where they are missing or blurred."""
    if ask.points:
        return _said_points(ask)
    if ask.sheet is not None:
        return _paper(picture, ask, ask.sheet, lens)
    sheets = find_sheets(picture.grey)
    if not sheets:
        raise InputError(
            f"{picture.name}: no marker sheets found (missing, covered, blurred or in bad light); lay printed ones "
            "('oddplate plate markers') flat round the plate, whole in the picture, or say --sheet A4 for a blank one"
        )
    blur = float(np.median([s.blur_px for s in sheets]))
    spot = float(np.median([_spot_mm(s.on_sheet, s.pixels) for s in sheets]))
    if blur > 5.0 and blur * spot > _MOST_BLUR_MM:
        raise InputError(
            f"{picture.name}: blurred: edges are spread over {blur:.0f} pixels, {blur * spot:.0f} mm; hold the camera "
            "still, let it focus, take more light"
        )
    scale = (ask.ruler_mm or RULER_MM) / RULER_MM
    sigma = PRINT_SIGMA[0 if ask.ruler_mm else 1]
    doubts = []
    if ask.ruler_mm is None:
        doubts.append("the printed ruler was not read (--ruler): the print may be off by 0.4 %")
    if len(sheets) < 4:
        doubts.append(f"only {len(sheets)} marker sheets are seen; four or more round the plate make it more exact")
    return Marks(
        known=tuple(Known(flat=s.on_sheet * scale, pixels=s.pixels) for s in sheets),
        outlines=tuple(s.outline for s in sheets),
        papers=tuple(s.paper for s in sheets),
        stretch_sigma=(sigma, sigma),
        told=f"{len(sheets)} marker sheets",
        warnings=tuple(doubts),
    )


def _paper(picture: Picture, ask: Ask, sheet: str, lens: Lens) -> Marks:
    """The blank sheet: of what may be one, and either side the long one, what fits a sheet of its size best."""
    width, height = ask.sheet_mm or SHEETS[sheet]
    flat = np.array([(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)])
    sigma = PAPER_SIGMA_MM[0 if ask.sheet_mm else 1]
    stretch = (sigma / width, sigma / height)
    tries = []
    for paper in find_papers(picture.pixels, lens, picture.name):
        for k in (0, 1):
            known = Known(flat=flat, pixels=np.roll(paper.corners, k, axis=0))
            camera = find_camera([known], lens, rise_mm=0.0, rise_sigma_mm=0.1, stretch_sigma=stretch)
            tries.append((camera.residual, known))
    off, known = min(tries, key=lambda t: t[0])
    if off > _MOST_UNLIKE:
        raise InputError(
            f"{picture.name}: nothing white in the picture has the shape of {sheet} paper; lay a whole sheet flat and "
            "evenly lit on a darker floor, or check its size"
        )
    return Marks(
        known=(known,),
        outlines=(known.pixels,),
        papers=(known.pixels,),
        stretch_sigma=stretch,
        told=f"one {sheet} sheet",
    )


def _said_points(ask: Ask) -> Marks:
    if len(ask.points) < 4:
        raise InputError(f"{len(ask.points)} known points; four or more are needed, no three in one line")
    table = np.array(ask.points)
    pixels, flat = table[:, :2], table[:, 2:]
    size = float(np.ptp(flat, axis=0).max())
    if not size > 0.0 or np.linalg.svd((flat - flat.mean(axis=0)) / size, compute_uv=False)[1] < 0.02:
        raise InputError("the known points lie in one line; spread them round the plate")
    spot = _spot_mm(flat, pixels)
    # Clicked to a pixel or so, measured to a millimetre (common practice, no source).
    return Marks(
        known=(Known(flat=flat, pixels=pixels, sigma_px=math.hypot(1.0, 1.0 / spot)),),
        outlines=(),
        papers=(),
        stretch_sigma=(1e-6, 1e-6),
        told=f"{len(table)} known points",
    )


def _spot_mm(flat: Floats, pixels: Floats) -> float:
    return float(np.ptp(flat, axis=0).max() / max(float(np.hypot(*np.ptp(pixels, axis=0))), 1e-9) * 1.2)


def camera_of(ask: Ask, marks: Marks, lens: Lens) -> Camera:
    """Return the camera; raise `InputError` if the plate's height over the sheets is not known, or nothing fits."""
    if ask.marks_on == "plate":
        rise = 0.0
    elif ask.thickness_mm is None:
        raise InputError(
            "the sheets lie on the floor and the plate's face above them, by a thickness that is not known; give "
            "--thickness, or lay them on the plate and say --marks-on plate"
        )
    else:
        rise = ask.thickness_mm + ask.packing_mm
    camera = find_camera(
        marks.known, lens, rise_mm=rise, rise_sigma_mm=RISE_SIGMA_MM, stretch_sigma=marks.stretch_sigma
    )
    limit = 6.0 if ask.points else 0.6 + 0.0003 * max(lens.width, lens.height)
    if camera.residual_px > limit:
        raise InputError(
            f"what is seen of {marks.told} does not fit one flat plane (off by {camera.residual_px:.1f} pixels); lay "
            "them flat, all at one height, and check sizes and points"
        )
    return camera
