"""The cut sheet as PDF: all that the cutter needs on the front, cautions, drawings and what did not fit behind it."""

import io
from typing import Any, Final

from reportlab.lib.units import mm
from reportlab.platypus import Flowable

from nesting.report.cut_sheet import CutSheet, Pairs
from nesting.report.cut_sheet_draw import draw_pdf
from nesting.report.cut_sheet_forms import FOOT_MM, GAP_MM, HEAD_MM, MARGIN_MM, Column, Form
from nesting.report.cut_sheet_picture import Picture
from nesting.report.cut_sheet_stories import Block, Stories, back_stories, front_stories
from nesting.report.printing import BOLD, PLAIN, fitted, new_pdf

_SHORT_HEAD_MM: Final = 9.0
_TITLE_MM: Final = 10.5
_BOX_MM: Final = 11.5


def picture_height_mm(sheet: CutSheet, form: Form, tapes: Picture) -> float:
    """Return the height that the texts of the front leave for the picture, within the bounds of the form."""
    room = form.page_mm[1] - 2 * MARGIN_MM - HEAD_MM - FOOT_MM
    canvas = new_pdf(io.BytesIO(), paper=form.paper, title="")
    widths = form.widths_mm
    needed = 0.0
    for name, story in front_stories(sheet, tapes, widths).items():
        heights = (_height(block, canvas, widths[name] * mm) for block in story)
        needed = max(needed, sum(heights) / mm / sum(c.story == name for c in form.columns))
    return min(form.picture_mm[1], max(form.least_mm, room - needed - GAP_MM))


def cut_sheet_pdf(sheet: CutSheet, form: Form, picture: Picture, tapes: Picture) -> bytes:
    """Return the sheet as a PDF document; the same sheet gives the same bytes."""
    total = _Pages(sheet, form, picture, tapes).draw()
    pages = _Pages(sheet, form, picture, tapes, total=total)
    pages.draw()
    return pages.buffer.getvalue()


class _Pages:
    """Fills page after page until nothing is left over; drawn twice, since only then their number is known."""

    def __init__(self, sheet: CutSheet, form: Form, picture: Picture, tapes: Picture, *, total: int = 0) -> None:
        self.buffer = io.BytesIO()
        title = f"Cut sheet, plate {sheet.plate}, layout {sheet.layout_id}"
        self._canvas = new_pdf(self.buffer, paper=form.paper, title=title, landscape=form.landscape)
        self._sheet, self._form, self._picture, self._tapes = sheet, form, picture, tapes
        self._total, self._number = total, 1

    def draw(self) -> int:
        """Draw all pages and return how many there are."""
        form, height = self._form, self._form.page_mm[1]
        stories = front_stories(self._sheet, self._tapes, form.widths_mm)
        self._head()
        top = height - MARGIN_MM - HEAD_MM
        picture = self._picture
        draw_pdf(picture, self._canvas, MARGIN_MM * mm, (top - picture.height_mm) * mm)
        self._fill(stories, top - (picture.height_mm + GAP_MM / 2 if form.on_top else 0.0))
        for name, story in back_stories(self._sheet, form.widths_mm).items():
            stories[name] += story
        while any(stories.values()):
            self._turn_over()
            self._fill(stories, height - MARGIN_MM - _SHORT_HEAD_MM)
        self._foot()
        self._canvas.showPage()
        self._canvas.save()
        return self._number

    def _turn_over(self) -> None:
        self._foot()
        self._canvas.showPage()
        self._number += 1
        width, height = self._form.page_mm
        at = (height - MARGIN_MM - 4.0) * mm
        self._canvas.setFont(BOLD, 12)
        self._canvas.drawString(MARGIN_MM * mm, at, f"Plate {self._sheet.plate}")
        self._canvas.setFont(PLAIN, 8)
        self._canvas.drawRightString(
            (width - MARGIN_MM) * mm, at, f"{self._sheet.title} · layout {self._sheet.layout_id}"
        )
        self._rule(height - MARGIN_MM - 6.0)

    def _fill(self, stories: Stories, top_mm: float) -> None:
        """Pour each story into its columns; raise ValueError if not even an empty page takes the next block."""
        low, before = MARGIN_MM + FOOT_MM, {name: len(story) for name, story in stories.items()}
        for column in self._form.columns:
            _pour(stories[column.story], self._canvas, column, top_mm=top_mm, low_mm=low)
        if self._number > 1 and before == {name: len(story) for name, story in stories.items()}:
            raise ValueError("a block of the cut sheet is higher than a page")

    def _head(self) -> None:
        """Plate and job, and what the material is, large."""
        canvas, sheet = self._canvas, self._sheet
        width, height = self._form.page_mm
        top, inner = height - MARGIN_MM, width - 2 * MARGIN_MM
        size, (name, *_) = fitted([f"Plate {sheet.plate}"], BOLD, 0.62 * inner * mm, 8 * mm, largest=20, smallest=11)
        canvas.setFont(BOLD, size)
        canvas.drawString(MARGIN_MM * mm, (top - 7.0) * mm, name)
        job = [sheet.title, f"layout {sheet.layout_id}" + (f" · {sheet.shop}" if sheet.shop else "")]
        for line, (text, font, largest) in enumerate(zip(job, (BOLD, PLAIN), (11, 8), strict=True)):
            size, (shown, *_) = fitted([text or " "], font, 0.36 * inner * mm, 4 * mm, largest=largest, smallest=5) or [
                ""
            ]
            canvas.setFont(font, size)
            canvas.drawRightString((width - MARGIN_MM) * mm, (top - 3.8 - 4.2 * line) * mm, shown)
        low = top - _TITLE_MM - 2 * _BOX_MM
        self._boxes(sheet.material, low + _BOX_MM, inner)
        self._boxes(sheet.work, low, inner)
        size, (warning, *_) = fitted([sheet.warning], BOLD, inner * mm, 5 * mm, largest=10.5, smallest=5)
        canvas.setFont(BOLD, size)
        canvas.drawString(MARGIN_MM * mm, (low - 4.8) * mm, warning)

    def _boxes(self, pairs: Pairs, low: float, inner: float) -> None:
        canvas, width = self._canvas, inner / len(pairs)
        canvas.setLineWidth(0.6)
        for number, (label, value) in enumerate(pairs):
            left = MARGIN_MM + number * width
            canvas.rect(left * mm, low * mm, width * mm, _BOX_MM * mm)
            canvas.setFont(PLAIN, 7)
            canvas.drawString((left + 1.5) * mm, (low + _BOX_MM - 3.4) * mm, label)
            size, lines = fitted([value], BOLD, (width - 3) * mm, (_BOX_MM - 4.6) * mm, largest=14, smallest=6)
            canvas.setFont(BOLD, size)
            for line, text in enumerate(reversed(lines)):
                canvas.drawString((left + 1.5) * mm, (low + 1.6) * mm + 1.2 * size * line, text)

    def _foot(self) -> None:
        canvas, width = self._canvas, self._form.page_mm[0]
        self._rule(MARGIN_MM + FOOT_MM - 2.5)
        canvas.setFont(PLAIN, 8)
        canvas.drawString(MARGIN_MM * mm, MARGIN_MM * mm, "cut by ____________________   date ______________")
        last = f"page {self._number} of {self._total}"
        told = last if self._number > 1 else f"{last} · cautions and drawings overleaf"
        canvas.drawRightString((width - MARGIN_MM) * mm, MARGIN_MM * mm, told)

    def _rule(self, at_mm: float) -> None:
        self._canvas.setLineWidth(0.5)
        self._canvas.setStrokeGray(0.0)
        self._canvas.line(MARGIN_MM * mm, at_mm * mm, (self._form.page_mm[0] - MARGIN_MM) * mm, at_mm * mm)


def _height(block: Block, canvas: Any, width: float) -> float:
    return float(sum(piece.wrapOn(canvas, width, 1e6)[1] + piece.getSpaceAfter() for piece in block))


def _pour(story: list[Block], canvas: Any, column: Column, *, top_mm: float, low_mm: float) -> None:
    """Move blocks from a story into a column until it is full.

    What is in one block stays together, but for its last piece, such as a table, which may be split.
    """
    left, width, at = column.left_mm * mm, column.width_mm * mm, top_mm * mm
    while story:
        *held, last = story[0]
        heights = [piece.wrapOn(canvas, width, at)[1] + piece.getSpaceAfter() for piece in held]
        room = at - low_mm * mm - sum(heights)
        high = last.wrapOn(canvas, width, room)[1]
        shown: list[Flowable] = [last]
        rest: list[Flowable] = []
        if high > room:
            shown, rest = _split(last, canvas, width, room)
            if not shown:
                return
        for piece in (*held, *shown):
            high = piece.wrapOn(canvas, width, at)[1]
            at -= high
            piece.drawOn(canvas, left, at)
            at -= piece.getSpaceAfter()
        story[0:1] = [tuple(rest)] if rest else []
        if rest:
            return


def _split(block: Flowable, canvas: Any, width: float, room: float) -> tuple[list[Flowable], list[Flowable]]:
    """Return what of a block fits a room, nothing where it cannot be split there, and the rest."""
    pieces = block.splitOn(canvas, width, room) if room > 0.0 else []
    return list(pieces[:1]), list(pieces[1:])
