"""Reads PDF documents for tests: their words, the size of their pages, and the pages as pictures."""

import io
import re

import numpy as np
import pypdfium2
from numpy.typing import NDArray
from pypdf import PdfReader

MM_PER_POINT = 25.4 / 72


def words(pdf: bytes, page: int | None = None) -> str:
    """All texts, or those of one page counted from 1, blanks drawn together so that line ends do not matter."""
    pages = PdfReader(io.BytesIO(pdf)).pages
    chosen = pages if page is None else [pages[page - 1]]
    return re.sub(r"\s+", " ", " ".join(p.extract_text() for p in chosen))


def sizes_mm(pdf: bytes) -> list[tuple[float, float]]:
    """Width and height of every page."""
    boxes = (p.mediabox for p in PdfReader(io.BytesIO(pdf)).pages)
    return [(round(float(b.width) * MM_PER_POINT, 1), round(float(b.height) * MM_PER_POINT, 1)) for b in boxes]


def pictures(pdf: bytes, dots_per_mm: float = 4.0, *, colours: bool = False) -> list[NDArray[np.uint8]]:
    """Every page as grey levels, 0 black to 255 white, rows from the top; with `colours` as three levels a dot."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        scale = dots_per_mm * MM_PER_POINT
        return [np.array(page.render(scale=scale, grayscale=not colours).to_numpy()).squeeze() for page in document]
    finally:
        document.close()
