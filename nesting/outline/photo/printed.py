"""The marker sheets on paper: a PDF true to scale, with a ruler to check the print by."""

import io
from pathlib import Path
from typing import Any, Final

import cv2
import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import FigureCanvasPdf, PdfPages
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from nesting.errors import InputError
from nesting.outline.photo.sheets import (
    COLUMNS,
    DICTIONARY,
    FIELD_MM,
    MARKER_MM,
    MARKERS_A_SHEET,
    MOST_SHEETS,
    ROWS,
    RULER_MM,
    SQUARE_MM,
    marker_corners,
)
from nesting.outline.photo.written import refuse_taken, write_whole

PAPERS: Final = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height in mm: ISO 216; ANSI/ASME Y14.1 size A."""

_MM_PER_IN: Final = 25.4
_FIELD_FROM_BELOW_MM: Final = 38.0
_STYLE: Final[dict[Any, Any]] = {"pdf.fonttype": 42}


def write_marker_sheets(path: Path, *, paper: str = "A4", sheets: int = 8, force: bool = False) -> None:
    """Write `sheets` marker sheets, one a page; raise `InputError` where that cannot be."""
    if path.suffix.lower() != ".pdf":
        raise InputError(f"{path}: marker sheets are written as .pdf, which keeps their scale")
    if not 1 <= sheets <= MOST_SHEETS:
        raise InputError(f"{sheets} marker sheets; there are numbers for 1 to {MOST_SHEETS}")
    refuse_taken(path, force=force)
    buffer = io.BytesIO()
    with mpl.rc_context(_STYLE), PdfPages(buffer, metadata={"CreationDate": None}) as pages:
        for number in range(sheets):
            pages.savefig(_page(number, PAPERS[paper]))
    write_whole(path, buffer.getvalue(), force=force)


def _page(number: int, paper: tuple[float, float]) -> Figure:
    """One page; the axes are millimetres of the paper."""
    width, height = paper
    figure = Figure(figsize=(width / _MM_PER_IN, height / _MM_PER_IN))
    FigureCanvasPdf(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set(xlim=(0.0, width), ylim=(0.0, height))
    axes.axis("off")
    left = (width - FIELD_MM[0]) / 2
    _add_field(axes, number, left, _FIELD_FROM_BELOW_MM)
    _add_ruler(axes, left, 24.0)
    axes.text(
        width / 2,
        9.0,
        f"marker sheet {number + 1}: print at 100 %, lay flat, glued or weighed down; the ruler measures "
        f"{RULER_MM:.0f} mm if the print is true",
        fontsize=7,
        ha="center",
    )
    return figure


def _add_field(axes: Axes, number: int, left: float, low: float) -> None:
    for c in range(COLUMNS):
        for r in range(ROWS):
            if (c + r) % 2 == 0:
                _add_box(axes, left + c * SQUARE_MM, low + r * SQUARE_MM, SQUARE_MM)
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    cells = dictionary.markerSize + 2
    cell = MARKER_MM / cells
    for place in range(MARKERS_A_SHEET):
        image = cv2.aruco.generateImageMarker(dictionary, number * MARKERS_A_SHEET + place, cells)
        x, y = marker_corners(place)[0]
        for row, column in np.argwhere(image == 0):
            _add_box(axes, left + x + column * cell, low + y - (row + 1) * cell, cell)


def _add_box(axes: Axes, x: float, y: float, size: float) -> None:
    axes.add_patch(Rectangle((x, y), size, size, facecolor="black", edgecolor="none", antialiased=False))


def _add_ruler(axes: Axes, left: float, low: float) -> None:
    axes.plot([left, left + RULER_MM], [low, low], color="black", linewidth=0.4)
    for k in range(int(RULER_MM) + 1):
        long = 5.0 if k % 10 == 0 else 3.5 if k % 5 == 0 else 2.0
        axes.plot([left + k] * 2, [low, low + long], color="black", linewidth=0.25)
        if k % 10 == 0:
            axes.text(left + k, low - 3.0, str(k), fontsize=5, ha="center", va="center")
