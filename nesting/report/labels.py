"""Sheets of labels as PDF: a title, lines of text, and what a phone or scanner reads as a QR code."""

import io
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import segno
from reportlab.lib.units import mm

from nesting.errors import InputError
from nesting.report.printing import BOLD, CAP_HEIGHT, PAPER_MM, PLAIN, fitted, new_pdf
from nesting.shop import Paper

_PAD_MM: Final = 3.0
_BETWEEN_MM: Final = 2.0
_TITLE_PT: Final = (17.0, 8.0)
_LINES_PT: Final = (10.5, 5.0)
_LEADING: Final = 1.2
_QUIET: Final = 4
"""Modules left white round a QR code, as ISO/IEC 18004 asks for."""

_MASK: Final = 4
"""Readers take any of the eight; trying which is best takes six times as long, and a plate may have 2000 labels."""


@dataclass(frozen=True, kw_only=True)
class Label:
    """One label; `code` is what its QR code says, None for none."""

    title: str
    lines: tuple[str, ...] = ()
    code: str | None = None


@dataclass(frozen=True, kw_only=True)
class Grid:
    """Where labels lie on a sheet, millimetres from its upper left corner."""

    columns: int
    rows: int
    width_mm: float
    height_mm: float
    left_mm: float
    top_mm: float
    gap_mm: float

    @property
    def per_sheet(self) -> int:
        """How many labels a sheet holds."""
        return self.columns * self.rows

    def place(self, index: int) -> tuple[float, float]:
        """Return the upper left corner of a label of a sheet, counted along the rows."""
        row, column = divmod(index, self.columns)
        return self.left_mm + column * (self.width_mm + self.gap_mm), self.top_mm + row * self.height_mm


GRIDS: Final[dict[Paper, Grid]] = {
    "A4": Grid(columns=2, rows=7, width_mm=99.1, height_mm=38.1, left_mm=4.65, top_mm=15.15, gap_mm=2.5),
    "Letter": Grid(columns=2, rows=7, width_mm=101.6, height_mm=33.86, left_mm=3.97, top_mm=21.19, gap_mm=4.76),
}
"""Fourteen to a sheet: sizes in which sticky label paper is sold (common practice, no source)."""


def write_labels(labels: Sequence[Label], path: Path, *, paper: Paper) -> None:
    """Write a PDF of label sheets beside its place, then rename it; without labels one page that says so.

    Texts are made smaller and wrapped until they fit.  Raises `InputError` for a code longer than a QR code holds.
    """
    content = labels_pdf(labels, paper=paper)
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        beside.write_bytes(content)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)


def labels_pdf(labels: Sequence[Label], *, paper: Paper) -> bytes:
    """Return the bytes of `write_labels`."""
    buffer = io.BytesIO()
    canvas, grid = new_pdf(buffer, paper=paper, title="Labels"), GRIDS[paper]
    height = PAPER_MM[paper][1]
    for start in range(0, len(labels), grid.per_sheet):
        for index, label in enumerate(labels[start : start + grid.per_sheet]):
            left, top = grid.place(index)
            _draw(canvas, label, left, height - top, grid)
        canvas.showPage()
    if not labels:
        canvas.setFont(PLAIN, 12)
        canvas.drawString(20 * mm, (height - 30) * mm, "no labels: nothing is placed")
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _draw(canvas: Any, label: Label, left: float, top: float, grid: Grid) -> None:
    """Draw one label, its upper left corner at (left, top) mm, y up."""
    _corner_marks(canvas, left, top, grid)
    side = grid.height_mm - 2 * _PAD_MM
    width = grid.width_mm - 2 * _PAD_MM
    if label.code is not None:
        _draw_code(canvas, label.code, left + grid.width_mm - _PAD_MM - side, top - _PAD_MM - side, side)
        width -= side + _BETWEEN_MM
    used = _draw_texts(canvas, [label.title], BOLD, (left, top - _PAD_MM), (width, 0.5 * side), _TITLE_PT)
    used += 0.8
    _draw_texts(canvas, list(label.lines), PLAIN, (left, top - _PAD_MM - used), (width, side - used), _LINES_PT)


def _draw_texts(
    canvas: Any,
    texts: list[str],
    font: str,
    at: tuple[float, float],
    room_mm: tuple[float, float],
    sizes_pt: tuple[float, float],
) -> float:
    """Draw texts from their upper left corner downwards and return the height they took, mm."""
    left, top = at[0] + _PAD_MM, at[1]
    largest, smallest = sizes_pt
    size, lines = fitted(
        texts, font, room_mm[0] * mm, room_mm[1] * mm, largest=largest, smallest=smallest, leading=_LEADING
    )
    canvas.setFont(font, size)
    for number, line in enumerate(lines):
        canvas.drawString(left * mm, top * mm - size * (CAP_HEIGHT + 0.1 + number * _LEADING), line)
    return float(len(lines) * _LEADING * size / mm)


def _corner_marks(canvas: Any, left: float, top: float, grid: Grid) -> None:
    """Short strokes at the corners, to cut plain paper by; on label paper they fall on the edges."""
    canvas.setLineWidth(0.25)
    right, low, reach = left + grid.width_mm, top - grid.height_mm, 1.5
    for x, dx in ((left, reach), (right, -reach)):
        for y, dy in ((top, -reach), (low, reach)):
            canvas.line(x * mm, y * mm, (x + dx) * mm, y * mm)
            canvas.line(x * mm, y * mm, x * mm, (y + dy) * mm)


def _draw_code(canvas: Any, code: str, left: float, low: float, side: float) -> None:
    """Draw a QR code with its white rim into a square, mm; one path, so that no hair lines show between modules."""
    try:
        modules = [bytes(row) for row in segno.make(code, error="m", micro=False, mask=_MASK).matrix]
    except segno.DataOverflowError:
        raise InputError(f"label code of {len(code)} letters is longer than a QR code holds: {code:.40}...") from None
    step = side * mm / (len(modules) + 2 * _QUIET)
    path = canvas.beginPath()
    for row, bits in enumerate(modules):
        y = (low + side) * mm - (row + 1 + _QUIET) * step
        for column, length in _runs(bits):
            path.rect(left * mm + (column + _QUIET) * step, y, length * step, step)
    canvas.drawPath(path, stroke=0, fill=1)


def _runs(bits: bytes) -> list[tuple[int, int]]:
    """Return start and length of every run of dark modules."""
    runs: list[tuple[int, int]] = []
    for column, dark in enumerate(bits):
        if dark and runs and sum(runs[-1]) == column:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        elif dark:
            runs.append((column, 1))
    return runs
